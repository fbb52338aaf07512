"""What setting is best? Pitch, ratio and element resistance with the most heat, within the limits."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from energy.chain.matching import Match, match
from energy.chain.settings import SETTINGS
from energy.pictures.base import Picture
from energy.pictures.match import heat_over_settings
from energy.progress import Progress
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, sweep, typed, waiting
from energy.screens.desk import Work
from energy.screens.waiting import kept
from energy.words import screens as screen_words
from energy.words.cautions import cautions
from energy.words.match import ROWS_TITLE, SETTING_NAMES, first_lines, flat_words, map_title, notes_of, rows_of
from energy.words.screens import QUESTIONS
from vehicle.problems import InputError
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

_HEADING = QUESTIONS["setting"]
_CALCULATED, _DRIVEN = "calculated", "by a sweep that I drove (CSV)"


@kept("Trying settings")
def _match(progress: Progress | None, bundle: Bundle, held: tuple[str, ...]) -> Match:
    return match(desk.scenario_of(bundle), held, progress)


@waiting.drawn
def _picture(bundle: Bundle, marks: tuple[tuple[str, float, float], ...], ratio: float, title: str) -> Picture:
    places = {name: (pitch, resistance) for name, pitch, resistance in marks}
    return replace(heat_over_settings(desk.scenario_of(bundle), places, ratio), title=title)


def show() -> None:
    """Show the screen: calculated, or by a sweep that was driven."""
    work, top = desk.work(), st.empty()
    if typed.way("Found", "setting way", (_CALCULATED, _DRIVEN)) == _DRIVEN:
        sweep.show(work, _HEADING, top)
    else:
        _calculated(work, top)


def _calculated(work: Work, top: DeltaGenerator) -> None:
    system = desk.system()
    held = tuple(key for key in SETTINGS if desk.typed().get(f"hold {key}") is True)
    try:
        with top.container():
            st.title(_HEADING)
            result = _match(work.usable, held)
    except InputError as error:
        with top.container():
            page.cannot(work, _HEADING, screen_words.NO_BEST_SETTING, error.problems)
        _holds()
        return
    with top.container():
        page.first_lines(work, _HEADING, first_lines(result, system))
    _holds()
    _map(work.usable, result, system)
    page.finding(ROWS_TITLE)
    page.table(
        ("setting", "today", "maximum heat", "lowest fuel per heat"),
        [(name, *texts) for name, texts in rows_of((result.own, result.best, result.thriftiest), system)],
        caption=ROWS_TITLE,
    )
    first, second = st.columns(2)
    first.button("Use the setting of maximum heat", on_click=_use, args=(result, "best"), width="stretch")
    second.button(
        "Use the setting of lowest fuel per heat", on_click=_use, args=(result, "thriftiest"), width="stretch"
    )
    page.finding(screen_words.HOW_FLAT)
    page.table(
        ("setting", "from, to"),
        [(SETTING_NAMES[f.key], flat_words(f, system)) for f in result.flatness],
        caption="How flat the best is",
    )
    page.bullets(notes_of(result))
    page.cautions(cautions(work.answered, system))
    page.assumptions(work)


def _map(bundle: Bundle, result: Match, system: UnitSystem) -> None:
    best, own, thrifty = result.best, result.own, result.thriftiest
    marks = [("maximum heat", best.pitch_deg, best.resistance_ohm)]
    for name, setting in (("today", own), ("lowest fuel per heat", thrifty)):
        if abs(setting.ratio / best.ratio - 1) < 0.02:
            marks.append((name, setting.pitch_deg, setting.resistance_ohm))
    title = map_title(best, system)
    note = screen_words.OF_BLANKS
    if len(marks) < 3:
        note += screen_words.NOT_ON_THIS_MAP
    page.picture(_picture(bundle, tuple(marks), best.ratio, title), note)


def _holds() -> None:
    with st.container(border=True, horizontal=True):
        for key in SETTINGS:
            typed.tick(f"keep my {SETTING_NAMES[key]}", f"hold {key}")


def _use(result: Match, which: str) -> None:
    """Put a found setting into the scenario in work."""
    setting = getattr(result, which)
    values: dict[str, object] = {}
    if result.own.pitch_deg != setting.pitch_deg:
        values["rotor.pitch"] = f"{round(setting.pitch_deg, 2) + 0.0:g} deg"
    values["drive.ratio"] = float(f"{setting.ratio:.4g}")
    values["heater.resistance"] = f"{setting.resistance_ohm:.4g} ohm"
    desk.put_values(values)
    desk.renew()
