"""When is it hot? Temperature against time at the steady speed, over a trip, or under a wattmeter's log."""

from __future__ import annotations

import streamlit as st

from energy.chain.heating import Heating, Trip, band, heating, read_power, read_trip
from energy.pictures.base import Picture
from energy.pictures.heat import heating_layers
from energy.progress import Progress
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, typed, uploads
from energy.screens.waiting import kept
from energy.words import answer as report
from energy.words import heat as heat_report
from energy.words import screens as screen_words
from energy.words.screens import QUESTIONS
from vehicle.problems import InputError
from vehicle.units import UnitSystem

_HEADING = QUESTIONS["heat"]
_STEADY, _TRIP, _POWER = "at the steady speed", "over a trip of mine (CSV)", "by my wattmeter's log (CSV)"
_COLUMNS = {
    _TRIP: screen_words.COLUMNS_OF_TRIP,
    _POWER: screen_words.COLUMNS_OF_POWER,
}


@kept("Following the temperature")
def at_steady_speed(progress: Progress | None, bundle: Bundle) -> Heating:
    """Return how the load of a bundle warms at its steady speed. Raises InputError."""
    return heating(desk.scenario_of(bundle), progress=progress)


@kept("Following the temperature along the way")
def _along(progress: Progress | None, bundle: Bundle, kind: str, content: bytes, repeats: int) -> Heating:
    return heating(desk.scenario_of(bundle), _read(kind, content, repeats), progress=progress)


def _read(kind: str, content: bytes, repeats: int) -> Trip:
    name = "trip.csv" if kind == _TRIP else "power.csv"
    with uploads.as_file(content, name) as path:
        return read_trip(path, repeats=repeats) if kind == _TRIP else read_power(path, repeats=repeats)


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.empty()
    kind = typed.way("Calculated", "heat kind", (_STEADY, _TRIP, _POWER))
    upload, repeats = None, 1
    if kind != _STEADY:
        st.html(f'<p class="wt-note">{page.escape(_COLUMNS[kind])}</p>')
        upload = uploads.one("The CSV file", "csv", f"heat {kind}")
        repeats = typed.count("Driven this many times in a row", "heat repeats", 100)
    try:
        with top.container():
            st.title(_HEADING)
            steady = at_steady_speed(work.usable)
            result = steady if upload is None else _along(work.usable, kind, upload.content, repeats)
    except InputError as error:
        with top.container():
            page.cannot(work, _HEADING, screen_words.NO_HEATING, error.problems)
        return
    with top.container():
        page.first_lines(work, _HEADING, heat_report.first_lines(result, system))
    picture, shaded = _picture(result, steady, system)
    page.picture(picture, shaded, headed=False)
    page.finding("The numbers that matter")
    page.table(("", ""), heat_report.key_numbers(result, system), caption="The numbers that matter")
    help_ = heat_report.what_would_help(result, system)
    if help_:
        page.finding("What would fix it (each by itself)")
        page.bullets([remedy.words for remedy in help_])
    if result.trip is not None:
        page.finding("For comparison, a steady cruise")
        page.bullets(heat_report.steady_lines(steady, system))
    notes = heat_report.notes(result, system)
    if notes:
        page.finding("Notes")
        page.bullets(notes)
    page.cautions(heat_report.cautions(result, system))
    entries = heat_report.assumptions(result)
    with st.expander(f"Defaults used ({len(entries)})"):
        page.bullets([report.assumption_words(entry, system) for entry in entries])


def _picture(result: Heating, steady: Heating, system: UnitSystem) -> tuple[Picture, str]:
    bands = [("steady cruise", result.band)]
    if result.trip is not None:
        own = "trip" if result.trip.power_w is None else "logged power"
        bands = [("steady cruise", band(steady.watched, result.trip.seconds)), (own, result.band)]
    layers, table, shaded = heating_layers(bands, float(result.outcome.target_k[0]), system)
    chart = layers.properties(height=320)
    return Picture("temperature_over_time", heat_report.first_lines(result, system).headline, chart, table), shaded
