"""What must it withstand? Loads on mount, bearing, blades and linkage, at work and in the worst case."""

from __future__ import annotations

import streamlit as st

from energy.pictures.base import Picture
from energy.pictures.margins import margins_picture
from energy.pictures.pitch_system import pitch_system_pictures
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, spin, waiting
from energy.screens.desk import Work
from energy.strength.bearing_kinds import bearings
from energy.strength.electrical_side import electrical_side
from energy.strength.pitch_system import PitchSystem, pitch_system
from energy.strength.root import blade_root
from energy.strength.table import StructuralLoads, structural_loads
from energy.words import answer as answer_words
from energy.words import electrical_side as electrical_words
from energy.words import loads as loads_words
from energy.words import pitch_system as pitch_words
from energy.words import root as root_words
from energy.words import screens as screen_words
from energy.words.said import Said
from energy.words.screens import MARGINS_NOTE, QUESTIONS
from vehicle.problems import InputError
from vehicle.units import UnitSystem

_HEADING = QUESTIONS["loads"]


@waiting.drawn
def _loads(bundle: Bundle) -> StructuralLoads:
    return structural_loads(desk.scenario_of(bundle))


@waiting.drawn
def _pitch(bundle: Bundle, system: UnitSystem) -> tuple[PitchSystem, tuple[Picture, Picture, Picture]]:
    result = pitch_system(desk.scenario_of(bundle))
    return result, pitch_system_pictures(result, system)


@waiting.drawn
def _parts(bundle: Bundle, system: UnitSystem) -> list[tuple[str, Said | InputError]]:
    """Return what each part says, or what of the scenario it needs."""
    scenario = desk.scenario_of(bundle)
    parts = {
        "Electrical side: fuse, switch, dump load, short-circuit brake": lambda: electrical_words.said(
            electrical_side(scenario), system
        ),
        "Bearing: life and safety of each kind": lambda: root_words.bearing_said(bearings(scenario), system),
        "Blade root: stress and first frequency": lambda: root_words.root_said(blade_root(scenario), system),
    }
    result: list[tuple[str, Said | InputError]] = []
    for name, says in parts.items():
        try:
            result.append((name, says()))
        except InputError as error:
            result.append((name, error))
    return result


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    try:
        table = _loads(work.usable)
    except InputError as error:
        page.cannot(work, _HEADING, screen_words.NO_LOADS, error.problems)
        return
    top = st.container()
    _of_all_loads(table, system)
    dangers = _pitch_section(work, system)
    for name, part in _parts(work.usable, system):
        with st.expander(name):
            if isinstance(part, Said):
                page.said(part)
            else:
                page.bullets([str(problem) for problem in part.problems])
        dangers += list(part.headlines[:1]) if isinstance(part, Said) and part.unsafe else []
    if table.ladder is not None:
        dangers += spin.show(work)
    with top:
        page.answer_line(work, _HEADING, loads_words.headline(table), loads_words.may_be_operated(table))
        if dangers:
            page.problem_list(dangers, "Danger")
        page.cautions(loads_words.cautions_of(table))
    _rest(table, system)


def _of_all_loads(table: StructuralLoads, system: UnitSystem) -> None:
    picture = margins_picture(table)
    if picture is not None:
        page.picture(picture, MARGINS_NOTE)
    page.finding("The loads")
    page.table(
        loads_words.LOAD_COLUMNS, loads_words.load_rows(table, system), numbers=(1, 2, 3, 4), caption="The loads"
    )
    if table.thin:
        page.finding("Margins under 2, the thinnest first")
        page.bullets([loads_words.margin_sentence(row, system) for row in table.thin])
    page.finding("The two cases")
    page.table(("case", "what is in it"), loads_words.case_words(table, system), caption="The two cases")
    with st.expander(loads_words.CORNERS):
        page.table(("corner", "loads"), loads_words.corner_rows(table, system), caption=loads_words.CORNERS)
    for case, travel in table.travel.items():
        page.finding(f"Pitch linkage through its travel, {case}")
        page.bullets(loads_words.travel_words(travel, table, system))


def _pitch_section(work: Work, system: UnitSystem) -> list[str]:
    """Show the force at the actuator over travel, terms and rotor speed; return what is dangerous in it.

    A scenario without a pitch linkage has no such section: what the loads leave out names its keys.
    """
    if work.answered.scenario.linkage is None:
        return []
    try:
        result, (over_travel, terms, over_speed) = _pitch(work.usable, system)
    except InputError as error:
        page.finding("Pitch system")
        page.bullets([str(problem) for problem in error.problems])
        return []
    said = pitch_words.said(result, system)
    page.finding("Pitch system: will the actuator hold?")
    page.bullets(said.headlines)
    page.picture(over_travel, pitch_words.TRAVEL_NOTE)
    page.picture(terms)
    page.picture(over_speed, pitch_words.SPEED_NOTE)
    with st.expander("Pitch system: the numbers, what to ask for when buying"):
        page.said(said, headed=False)
    return list(said.headlines[:1]) if said.unsafe else []


def _rest(table: StructuralLoads, system: UnitSystem) -> None:
    if table.left_out:
        with st.expander(f"Left out; these keys would add it ({len(table.left_out)})"):
            page.bullets(table.left_out)
    if table.notes:
        page.bullets(table.notes)
    with st.expander(f"Defaults used ({len(table.assumptions)})"):
        page.bullets([answer_words.assumption_words(entry, system) for entry in table.assumptions])
