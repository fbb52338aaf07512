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
from energy.words.screens import QUESTIONS
from vehicle.problems import InputError
from vehicle.units import UnitSystem

_HEADING = QUESTIONS["pay"]
_HEIGHT_M = 100.0


@kept("Trying winds, descents and speeds")
def _payback(progress: Progress | None, bundle: Bundle, exact_maps: bool) -> Payback:
    stated, scenario = desk.nominal_of(bundle), desk.scenario_of(bundle)
    return payback(scenario, height_m=_HEIGHT_M, exact_maps=exact_maps, stated=stated, progress=progress)


@waiting.drawn
def _maps(bundle: Bundle, exact_maps: bool, system: UnitSystem) -> tuple[Picture, Picture]:
    result = _payback(bundle, exact_maps)
    wind, wind_table = pay_map(result.wind, "head wind", "speed", ("alternator", "energy"), system)
    descent, descent_table = pay_map(result.descent, "descent", "share", ("fuel", "alternator"), system)
    in_wind, downhill = payback_words.wind_finding(result, system), payback_words.finding(result, system)
    return (
        Picture("pays_in_wind", in_wind, wind.properties(height=340), wind_table),
        Picture("pays_on_descents", downhill, descent.properties(height=340), descent_table),
    )


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.empty()
    exact_maps = not typed.tick(payback_words.RANGES_OF_MAPS, "pay intervals")
    try:
        with top.container():
            st.title(_HEADING)
            result = _payback(work.usable, exact_maps)
        maps = _maps(work.usable, exact_maps, system)
    except InputError as error:
        with top.container():
            page.cannot(work, _HEADING, payback_words.NOT_ENOUGH, error.problems)
        return
    with top.container():
        page.first_lines(work, _HEADING, payback_words.first_lines(result, work.answered.scenario, system))
    scenario = work.answered.scenario
    page.finding(payback_words.money_title(result))
    page.table(payback_words.MONEY_COLUMNS, payback_words.money_rows(result), caption="Money", numbers=(1, 2, 3))
    with st.expander("What the money rests on"):
        page.bullets(payback_words.money_notes(result, system))
    page.picture(maps[0], payback_words.MAP_NOTE)
    if not result.parked:
        page.finding(payback_words.wind_title(result, system))
        rows = payback_words.head_wind_rows(result, scenario, system)
        page.table(("", ""), rows, caption="Head wind from which it pays")
    page.picture(maps[1])
    if not result.parked:
        page.finding(payback_words.descents_title(result, _HEIGHT_M, system))
        page.table(
            payback_words.DESCENT_COLUMNS,
            payback_words.descent_rows(result, system),
            caption="Descents",
            numbers=(0, 1, 2, 3, 4, 5),
        )
    page.finding(payback_words.PARKED_TITLE)
    page.table(("wind", "heat"), payback_words.parked_rows(result, system), caption=payback_words.PARKED_TITLE)
    page.finding("Over a year of winds")
    page.table(("", ""), payback_words.year_rows(result, scenario, system), caption="Over a year of winds")
    if result.year.assumed:
        page.bullets([payback_words.assumed_climate(result, system)])
    page.cautions(payback_words.cautions_of(result, system, full=True))
    page.assumptions(work)
