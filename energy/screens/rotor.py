"""What will the rotor do? Power, thrust and turning speed over air speed, with limits."""

from __future__ import annotations

from energy.pictures.answer import operating_line
from energy.pictures.base import Picture
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, waiting
from energy.words import answer as report
from energy.words.cautions import cautions
from energy.words.screens import QUESTIONS
from vehicle.units import UnitSystem


@waiting.drawn
def _pictures(bundle: Bundle, system: UnitSystem) -> tuple[Picture, ...]:
    return operating_line(desk.nominal_of(bundle), system)


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    page.answer_line(work, QUESTIONS["rotor"], report.rotor_sentence(work.told, system))
    pictures = _pictures(work.usable, system)
    page.picture(pictures[0], "The rings mark the air speed of the scenario; dashed lines are limits.")
    page.finding("The numbers that matter, at the stated values")
    page.table(
        ("", ""), report.key_numbers(work.told, system)[:7], caption="The numbers that matter, at the stated values"
    )
    for found in pictures[1:]:
        page.picture(found)
    page.cautions(cautions(work.told, system))
    page.assumptions(work)
