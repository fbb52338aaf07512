"""When could it pay? Maps over wind, descent and road speed with the lines where it pays; standing still; a year."""

from __future__ import annotations

import streamlit as st

from energy.chain.payback import Payback, payback
from energy.pictures.base import Picture
from energy.pictures.payback import pay_map
from energy.progress import Progress
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, typed, waiting
from energy.screens.waiting import kept
from energy.words import payback as payback_words
from energy.words.cautions import of_the_file
from vehicle.problems import InputError
from vehicle.units import UnitSystem
from vehicle.units import show as shown

_HEADING = "When could it pay?"
_HEIGHT_M = 100.0


@kept("Trying winds, descents and speeds")
def _payback(progress: Progress | None, bundle: Bundle, exact: bool) -> Payback:
    stated, scenario = desk.nominal_of(bundle), desk.scenario_of(bundle)
    return payback(scenario, height_m=_HEIGHT_M, exact=exact, stated=stated, progress=progress)


@waiting.drawn
def _maps(bundle: Bundle, exact: bool, system: UnitSystem) -> tuple[Picture, Picture]:
    result = _payback(bundle, exact)
    wind, wind_table = pay_map(result.wind, "head wind", "speed", ("alternator", "energy"), system)
    descent, descent_table = pay_map(result.descent, "descent", "share", ("fuel", "alternator"), system)
    speed = shown(result.road_speed_m_s, "speed", system)
    driven = payback_words.finding(result, system)
    if not result.parked:
        driven = f"At {speed} the heat exceeds the drag power {payback_words.wind_words(result, 'energy', system)}"
    return (
        Picture(
            "pays_in_wind",
            driven,
            wind.properties(height=340),
            wind_table,
        ),
        Picture(
            "pays_on_descents", payback_words.finding(result, system), descent.properties(height=340), descent_table
        ),
    )


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.empty()
    exact = not typed.tick("with intervals (some seconds more)", "pay intervals")
    try:
        with top.container():
            st.title(_HEADING)
            result = _payback(work.usable, exact)
        maps = _maps(work.usable, exact, system)
    except InputError as error:
        with top.container():
            page.cannot(work, _HEADING, "Not enough data to calculate when it could pay.", error.problems)
        return
    with top.container():
        page.first_lines(work, _HEADING, payback_words.first_lines(result, work.answered.scenario, system))
    scenario, speed = work.answered.scenario, shown(result.road_speed_m_s, "speed", system)
    page.finding(payback_words.money_title(result))
    page.table(payback_words.MONEY_COLUMNS, payback_words.money_rows(result), caption="Money", numbers=(1, 2, 3))
    with st.expander("What the money rests on"):
        page.bullets(payback_words.money_notes(result))
    page.picture(maps[0], "Colour: gain or loss; lines: from where it pays, by what it is held against.")
    if not result.parked:
        page.finding(f"Head wind from which it pays, at {speed} on the flat")
        rows = payback_words.head_wind_rows(result, scenario, system)
        page.table(("", ""), rows, caption="Head wind from which it pays")
    page.picture(maps[1])
    if not result.parked:
        page.finding(f"Down {shown(_HEIGHT_M, 'length', system)} at {speed}, in still air")
        page.table(
            payback_words.DESCENT_COLUMNS,
            payback_words.descent_rows(result, system),
            caption="Descents",
            numbers=(0, 1, 2, 3, 4, 5),
        )
    page.finding("Standing with the nose in the wind: no fuel")
    page.table(
        ("wind", "heat"), payback_words.parked_rows(result, system), caption="Standing with the nose in the wind"
    )
    page.finding("Over a year of winds")
    page.table(("", ""), payback_words.year_rows(result, scenario, system), caption="Over a year of winds")
    if result.year.assumed:
        page.bullets([f"Assumed: {result.year.assumed}. Name your own in wind_climate."])
    page.cautions([*of_the_file(scenario), *payback_words.CAUTIONS])
    page.assumptions(work)
