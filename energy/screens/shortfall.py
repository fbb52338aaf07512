"""Why so few watts? Every cause weighed against what a passenger read, and the test that parts them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from energy.diagnosis.examples import shortfall_example
from energy.diagnosis.shortfall import Shortfall, shortfall
from energy.diagnosis.shortfall_readings import read_lines, read_readings
from energy.pictures.base import Picture
from energy.pictures.measured import shortfall_picture
from energy.progress import Progress
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, typed, uploads, waiting
from energy.screens.desk import Work
from energy.screens.waiting import kept
from energy.words import forms
from energy.words import screens as screen_words
from energy.words import shortfall as words
from energy.words.screens import QUESTIONS
from vehicle.problems import InputError
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

_HEADING = QUESTIONS["shortfall"]
_FILE = "readings.csv"
_BY_HAND, _BY_FILE = "typed here", "from a file (readings.csv)"
_MOST = 8
_EXAMPLES = ("210 W at 95 km/h, 400 rpm, 55 V", "150 W at 80 km/h, air 35 km/h")
_EXAMPLES_IN_MILES = ("210 W at 60 mph, 400 rpm, 55 V", "150 W at 50 mph, air 22 mph")


@waiting.drawn
def _example(bundle: Bundle, system: UnitSystem) -> bytes:
    return shortfall_example(desk.scenario_of(bundle), system).encode()


@kept("Weighing the causes")
def _shortfall(progress: Progress | None, bundle: Bundle, content: bytes | tuple[str, ...]) -> Shortfall:
    """Return the causes for the bytes of a file, or for lines as they were typed."""
    if isinstance(content, tuple):
        return shortfall(desk.scenario_of(bundle), read_lines(content), progress)
    with uploads.as_file(content, _FILE) as path:
        return shortfall(desk.scenario_of(bundle), read_readings(path), progress)


@waiting.drawn
def _picture(bundle: Bundle, content: bytes | tuple[str, ...]) -> Picture:
    return shortfall_picture(_shortfall(bundle, content))


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.empty()
    if typed.way("What was read", "shortfall way", (_BY_HAND, _BY_FILE)) == _BY_HAND:
        _typed(work, system, top)
    else:
        _uploaded(work, system, top)
    page.cautions(words.CAUTIONS)
    page.assumptions(work)


def _typed(work: Work, system: UnitSystem, top: DeltaGenerator) -> None:
    st.html(
        '<p class="wt-note">One line for each reading: watts at a road speed. Optional: rpm, volts, amps, air speed at '
        "the rotor, dial, out or back.</p>"
    )
    number = typed.count("How many readings?", "shortfall count", _MOST)
    examples = _EXAMPLES if system == "metric" else _EXAMPLES_IN_MILES
    texts = tuple(
        text
        for k in range(1, number + 1)
        if (text := typed.text(f"reading {k}", f"shortfall {k}", example=examples[(k - 1) % len(examples)]))
    )
    if texts:
        _answer(work, system, texts, top)
    else:
        _nothing(work, top)


def _uploaded(work: Work, system: UnitSystem, top: DeltaGenerator) -> None:
    try:
        example = _example(work.usable, system)
    except InputError:  # no watts in the scenario's air: its readings can be weighed all the same
        example = None
    upload = uploads.ask("shortfall", forms.PASSENGER_READINGS, example, _FILE)
    if upload is None:
        _nothing(work, top)
        return
    try:
        _answer(work, system, upload.content, top)
    except InputError as error:
        _cannot(work, top, uploads.faults(upload, error, _FILE))


def _nothing(work: Work, top: DeltaGenerator) -> None:
    with top.container():
        page.answer_line(work, _HEADING, screen_words.NO_WATTS)


def _cannot(work: Work, top: DeltaGenerator, texts: list[str]) -> None:
    with top.container():
        page.cannot(work, _HEADING, "These readings cannot be used yet.", texts)


def _answer(work: Work, system: UnitSystem, content: bytes | tuple[str, ...], top: DeltaGenerator) -> None:
    try:
        with top.container():
            st.title(_HEADING)
            result = _shortfall(work.usable, content)
    except InputError as error:
        if isinstance(content, bytes):
            raise
        _cannot(work, top, [str(problem) for problem in error.problems])
        return
    with top.container():
        page.first_lines(work, _HEADING, words.first_lines(result, system))
    if not words.to_look_for(result):
        return
    page.picture(_picture(work.usable, content), headed=False)
    page.table(words.CAUSE_HEADINGS, words.cause_rows(result, system), numbers=(1, 2), caption="Causes")
    todo = words.to_do(result, system)
    if todo:
        page.finding("What to do")
        page.bullets(todo)
    if result.tests:
        page.finding("Tests, most resolved per minute first")
        page.bullets(words.test_lines(result))
        headings = ("outcome of the first", "probability", "it would mean")
        page.table(headings, words.outcome_rows(result.tests[0]), numbers=(1,), caption="Outcomes of the first test")
    tree = words.tree_lines(result.tree)
    if tree:
        page.finding("Decision tree, to print and tick")
        st.code("\n".join(tree), language=None, wrap_lines=True)
