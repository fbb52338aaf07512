"""When could it pay? Maps over wind, descent and road speed with the lines where it pays; standing still; a year."""

from __future__ import annotations

import functools

import streamlit as st

from energy.chain.payback import Payback, payback
from energy.commands import payback as told
from energy.pictures.answer import Picture
from energy.pictures.charts import pay_map
from energy.progress import Progress
from energy.scenario.bundle import Bundle
from energy.screens import desk, page
from energy.screens.waiting import kept
from vehicle.problems import InputError
from vehicle.units import UnitSystem
from vehicle.units import show as shown

_HEADING = "When could it pay?"
_HEIGHT_M = 100.0


@kept("Trying winds, descents and speeds", most=8)
def _payback(progress: Progress | None, bundle: Bundle, exact: bool) -> Payback:
    return payback(desk.scenario_of(bundle), height_m=_HEIGHT_M, exact=exact, progress=progress)


@functools.lru_cache(maxsize=8)
def _maps(bundle: Bundle, exact: bool, system: UnitSystem) -> tuple[Picture, Picture]:
    found = _payback(bundle, exact)
    wind, wind_table = pay_map(found.wind, "head wind", "speed", ("alternator", "energy"), system)
    descent, descent_table = pay_map(found.descent, "descent", "share", ("fuel", "alternator"), system)
    speed = shown(found.road_speed_m_s, "speed", system)
    energy = told.wind_words(found, "energy", system)
    return (
        Picture(
            "pays_in_wind",
            f"At {speed} the heat exceeds the drag power {energy}",
            wind.properties(height=340),
            wind_table,
        ),
        Picture("pays_on_descents", told.finding(found, system), descent.properties(height=340), descent_table),
    )


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.empty()
    exact = not st.checkbox("with intervals (some seconds more)", key="pay intervals")
    try:
        with top.container():
            st.title(_HEADING)
            found = _payback(work.usable, exact)
        maps = _maps(work.usable, exact, system)
    except InputError as error:
        with top.container():
            page.cannot(work, _HEADING, "When it could pay cannot be told from what is there.", error.problems)
        return
    with top.container():
        page.answer_line(work, _HEADING, f"{told.finding(found, system)}.")
    scenario, speed = work.told.scenario, shown(found.road_speed_m_s, "speed", system)
    page.picture(maps[0], "Colour: gain or loss; lines: from where it pays, by what it is held against.")
    page.finding(f"Head wind from which it pays, at {speed} on the flat")
    page.table(("", ""), told.head_wind_rows(found, scenario, system), caption="Head wind from which it pays")
    page.picture(maps[1])
    page.finding(f"Down {shown(_HEIGHT_M, 'length', system)} at {speed}, in still air")
    page.table(told.DESCENT_COLUMNS, told.descent_rows(found, system), caption="Descents", numbers=(0, 1, 2, 3, 4, 5))
    page.finding("Standing with the nose in the wind: no fuel")
    page.table(("wind", "heat"), told.parked_rows(found, system), caption="Standing with the nose in the wind")
    page.finding("Over a year of winds")
    page.table(("", ""), told.year_rows(found, scenario, system), caption="Over a year of winds")
    if found.year.assumed:
        page.bullets([f"Assumed: {found.year.assumed}. Name your own in wind_climate."])
    page.cautions(told.CAUTIONS)
    page.assumptions(work)
