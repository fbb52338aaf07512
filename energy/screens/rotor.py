"""What will the rotor do? Power, thrust and turning speed over air speed, with limits."""

from __future__ import annotations

from energy.pictures.answer import operating_line
from energy.pictures.base import Picture
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, waiting
from energy.words import answer as report
from energy.words import screens as screen_words
from energy.words.cautions import cautions
from energy.words.screens import QUESTIONS
from vehicle.units import UnitSystem


@waiting.drawn
def _pictures(bundle: Bundle, system: UnitSystem) -> tuple[Picture, ...]:
    return operating_line(desk.nominal_of(bundle), system)


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    page.answer_line(work, QUESTIONS["rotor"], report.rotor_sentence(work.answered, system))
    pictures = _pictures(work.usable, system)
    page.picture(pictures[0], screen_words.OF_RINGS)
    page.finding(screen_words.NUMBERS_STATED)
    page.table(("", ""), report.key_numbers(work.answered, system)[:7], caption=screen_words.NUMBERS_STATED)
    for picture in pictures[1:]:
        page.picture(picture)
    page.cautions(cautions(work.answered, system))
    page.assumptions(work)
