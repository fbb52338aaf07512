"""The best setting of a sweep that was driven: a part of the screen "What setting is best?"."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from energy.diagnosis.examples import sweep_example
from energy.diagnosis.stepping import stepping_plan
from energy.diagnosis.tuning import SCENARIO_KEYS, Tuned, as_setting, tuned_of_file
from energy.pages import call_sheet
from energy.pictures.base import Picture
from energy.pictures.measured import tuned_picture
from energy.progress import Progress
from energy.scenario.bundle import Bundle
from energy.scenario.works import Upload
from energy.screens import desk, page, uploads, waiting
from energy.screens.desk import Work
from energy.screens.waiting import kept
from energy.words import call_sheet as call_words
from energy.words import forms
from energy.words import screens as screen_words
from energy.words import tune as tune_words
from energy.words.headings import one_line
from vehicle.problems import InputError
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

_FILE = "sweep.csv"


@waiting.drawn
def _example(bundle: Bundle, system: UnitSystem) -> bytes:
    return sweep_example(desk.scenario_of(bundle), system).encode()


@waiting.drawn
def _sheet(bundle: Bundle, system: UnitSystem) -> bytes:
    scenario = desk.scenario_of(bundle)
    data = call_words.as_data(stepping_plan(scenario), scenario.title, call_words.USUALLY_ASKED, system)
    return call_sheet.as_html(data).encode()


def _call_sheet(work: Work, system: UnitSystem) -> None:
    """Offer the passenger's page, where the scenario has a setting to step."""
    try:
        content = _sheet(work.usable, system)
    except InputError:  # a measured table: nothing to step
        return
    st.download_button(
        "Download the call sheet for the passenger's phone (HTML, works without network)",
        data=content,
        file_name="call_sheet.html",
        mime="text/html",
        key="take call sheet",
        on_click="ignore",
    )


@kept("Weighing the settings")
def _tuned(progress: Progress | None, bundle: Bundle, content: bytes) -> Tuned:
    with uploads.as_file(content, _FILE) as path:
        return tuned_of_file(desk.scenario_of(bundle), path, progress)


@waiting.drawn
def _picture(bundle: Bundle, content: bytes) -> Picture:
    return tuned_picture(_tuned(bundle, content))


def show(work: Work, heading: str, top: DeltaGenerator) -> None:
    """Show the upload and what it says; the answer goes into `top`."""
    system = desk.system()
    try:
        example = _example(work.usable, system)
    except InputError:  # measured watts only, or a rotor that stands still: a sweep can be read all the same
        example = None
    _call_sheet(work, system)
    upload = uploads.ask("sweep", forms.SWEEP_ROWS, example, _FILE)
    if upload is None:
        with top.container():
            page.answer_line(work, heading, screen_words.NO_SWEEP)
    else:
        _answer(work, heading, system, upload, top)
    page.cautions(tune_words.cautions_of(desk.scenario_of(work.usable)))
    page.assumptions(work)


def _answer(work: Work, heading: str, system: UnitSystem, upload: Upload, top: DeltaGenerator) -> None:
    try:
        with top.container():
            st.title(heading)
            tuned = _tuned(work.usable, upload.content)
    except InputError as error:
        with top.container():
            page.cannot(
                work,
                heading,
                screen_words.NO_SWEEP_RESULT,
                uploads.faults(upload, error, _FILE),
            )
        return
    with top.container():
        page.first_lines(work, heading, tune_words.first_lines(tuned, system))
    page.picture(
        _picture(work.usable, upload.content),
        screen_words.OF_SWEEP_BARS,
        headed=False,
    )
    if tuned.best_is_known:
        st.button(
            f"Use the best setting ({tuned.kind} {tune_words.setting_words(tuned.kind, tuned.best)})",
            on_click=_use,
            args=(tuned,),
            key="use best of sweep",
        )
    page.finding(tune_words.ROWS_TITLE)
    headings = one_line(tune_words.setting_headings(tuned))
    rows = tune_words.setting_rows(tuned, system)
    page.table(headings, rows, numbers=range(len(headings)), caption="Settings that were tried")
    page.finding("Notes")
    page.bullets(tune_words.notes_of(tuned, system))


def _use(tuned: Tuned) -> None:
    """Put the best setting into the scenario in work."""
    desk.put_value(SCENARIO_KEYS[tuned.kind], as_setting(tuned.kind, tuned.best))
    desk.renew()
