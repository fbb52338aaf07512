"""Do readings and model agree? Readings of wattmeter, spring scale or road test against the model, and what they say of
its inputs.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

import numpy as np
import streamlit as st
import tomlkit

from energy.diagnosis.examples import results_example
from energy.diagnosis.reconcile import READINGS, Reconciled, Result, read_results, reconciled, results_of, unit_of
from energy.pictures.base import Picture
from energy.pictures.measured import reconciled_picture
from energy.progress import Progress
from energy.scenario.bundle import Bundle
from energy.scenario.read import override_value
from energy.screens import desk, page, typed, uploads, waiting
from energy.screens.desk import Work
from energy.screens.waiting import kept
from energy.words import forms
from energy.words import reconcile as reconcile_words
from energy.words import screens as screen_words
from energy.words.screens import QUESTIONS, READING_CAUTION
from energy.words.verdict import called
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

_HEADING = QUESTIONS["watts"]
_FILE, _TYPED = "results.toml", "what you typed"
_BY_HAND, _BY_FILE = "typed here", "from a file (results.toml)"
_MOST_READINGS = 8
_PER_DISTANCE = ("L/100 km",)
_EXAMPLES = {"W": ("1050", "40"), "A": ("10.8", "0.3"), "rad/s": ("480", "10"), "N": ("260", "15")}


@waiting.drawn
def _example(bundle: Bundle) -> bytes:
    return results_example(desk.scenario_of(bundle)).encode()


@kept("Weighing readings and model")
def _reconciled(progress: Progress | None, bundle: Bundle, content: str | bytes) -> Reconciled:
    """Return what readings say; they are the bytes of an uploaded file, or the text that stands for what was typed."""
    if isinstance(content, str):
        results = results_of(tomllib.loads(content), _TYPED)
    else:
        with uploads.as_file(content, _FILE) as path:
            results = read_results(path)
    return reconciled(desk.scenario_of(bundle), results, progress)


@waiting.drawn
def _picture(bundle: Bundle, content: str | bytes, system: UnitSystem) -> Picture:
    return reconciled_picture(_reconciled(bundle, content), system)


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.empty()
    way = typed.way("What was read", "watts way", (_BY_HAND, _BY_FILE))
    if way == _BY_HAND:
        _typed(work, system, top)
    else:
        _uploaded(work, system, top)
    page.cautions((READING_CAUTION,))
    page.assumptions(work)


def _weighed(work: Work, content: str | bytes, top: DeltaGenerator) -> Reconciled:
    """Return what readings say, with a bar under the heading meanwhile."""
    with top.container():
        st.title(_HEADING)
        return _reconciled(work.usable, content)


def _nothing(work: Work, top: DeltaGenerator) -> None:
    with top.container():
        page.answer_line(work, _HEADING, screen_words.NO_READING)


def _cannot(work: Work, top: DeltaGenerator, texts: list[str]) -> None:
    with top.container():
        page.cannot(work, _HEADING, screen_words.NOT_COMPARED, texts)


def _uploaded(work: Work, system: UnitSystem, top: DeltaGenerator) -> None:
    try:
        example = _example(work.usable)
    except InputError:  # no watts in the scenario's air: its readings can be compared all the same
        example = None
    form = forms.OTHER_READINGS
    upload = uploads.ask(
        "watts",
        f"One [[result]] for each reading: road_speed, the reading with its ± (electrical_power and others). {form}",
        example,
        _FILE,
    )
    if upload is None:
        _nothing(work, top)
        return

    try:
        result = _weighed(work, upload.content, top)
    except InputError as error:
        _cannot(work, top, uploads.faults(upload, error, _FILE))
        return
    _answer(work, system, result, upload.content, top)


def _typed(work: Work, system: UnitSystem, top: DeltaGenerator) -> None:
    st.html(
        '<p class="wt-note">Each reading at a steady speed, with its uncertainty (±, half-width of a 95 % interval). '
        "What is left empty is as in the scenario.</p>"
    )
    number = typed.count("How many readings?", "watts count", _MOST_READINGS)
    numbered = [(k, _reading(k, work)) for k in range(1, number + 1)]
    numbered = [(k, entry) for k, entry in numbered if any(name in entry for name in READINGS)]
    entries = [entry for _, entry in numbered]
    if not entries:
        _nothing(work, top)
        return
    loose = [_without_doubt(k, entry) for k, entry in numbered]
    if any(loose):
        _cannot(work, top, [text for text in loose if text])
        return
    document = tomlkit.dumps({"result": entries})
    try:
        result = _weighed(work, document, top)
    except InputError as error:
        _cannot(work, top, [str(problem) for problem in error.problems])
        return
    st.download_button(
        "Download these readings (results.toml, for windtoll reconcile)",
        data=document.encode(),
        file_name=_FILE,
        mime="application/toml",
        key="take results",
        on_click="ignore",
    )
    _answer(work, system, result, document, top)


def _reading(k: int, work: Work) -> dict[str, Any]:
    """Show the fields of one reading; return it as the file would have it."""
    entry: dict[str, Any] = {}
    with st.container(border=True):
        pairs = [st.columns(2) for _ in range(3)]  # pair by pair, so that they stay in order on a phone
        with pairs[0][0]:
            kind = typed.choice(f"reading {k}: what was read", f"watts {k} kind", READINGS, READINGS[0], _kind_words)
        with pairs[0][1]:
            what = typed.text(f"reading {k}: in your words", f"watts {k} what", example="wattmeter, both directions")
        unit = unit_of(kind)
        offered = _PER_DISTANCE if kind.endswith("per_distance") else ()
        example, width = _EXAMPLES.get(unit, ("2.3", "0.4"))
        with pairs[1][0]:
            value = typed.quantity(f"reading {k}: value", f"watts {k} {kind}", unit, offered=offered, example=example)
        with pairs[1][1]:
            half = typed.quantity(f"reading {k}: ±", f"watts {k} {kind} half", unit, offered=offered, example=width)
        with pairs[2][0]:
            speed = typed.quantity(
                f"reading {k}: road speed",
                f"watts {k} speed",
                "m/s",
                float(np.asarray(work.answered.answer.inputs.road_speed_m_s)),
            )
        with pairs[2][1]:
            wind = typed.quantity(f"reading {k}: wind speed", f"watts {k} wind", "m/s")
        with st.expander(f"Reading {k}: other conditions"):
            others = _others(k)
    if value:
        entry[kind] = {"value": value, "plus_minus": half} if half else value
    if what:
        entry["what"] = what
    entry["road_speed"] = speed
    for name, text in {"wind_speed": wind, **others}.items():
        if text:
            entry[name] = text
    return entry


def _without_doubt(k: int, entry: dict[str, Any]) -> str:
    """Return what to say of a reading that does not tell what it is good to, "" where it does."""
    kind = next(name for name in READINGS if name in entry)
    if isinstance(entry[kind], dict):
        return ""
    return str(Problem(f"reading {k}", "±", "nothing", "the reading's 95 % interval, such as 40 W"))


def _others(k: int) -> dict[str, str]:
    left, right = st.columns(2)
    others = {}
    with left:
        others["wind_from"] = typed.quantity(f"reading {k}: wind from (0 ahead)", f"watts {k} from", "rad")
        others["grade"] = typed.quantity(f"reading {k}: grade", f"watts {k} grade", "dimensionless")
        others["temperature"] = typed.quantity(f"reading {k}: air temperature", f"watts {k} temperature", "K")
    with right:
        others["pitch"] = typed.quantity(f"reading {k}: pitch", f"watts {k} pitch", "deg")
        others["resistance"] = typed.quantity(f"reading {k}: element", f"watts {k} ohm", "ohm")
        against = typed.choice(
            f"reading {k}: fuel compared with",
            f"watts {k} against",
            ("as the scenario", "absent", "stowed"),
            "as the scenario",
        )
    others["compared_with"] = "" if against == "as the scenario" else against
    return others


def _kind_words(kind: str) -> str:
    return f"{kind.replace('_', ' ')}: {Result.model_fields[kind].description}"


def _answer(work: Work, system: UnitSystem, result: Reconciled, content: str | bytes, top: DeltaGenerator) -> None:
    scenario = desk.scenario_of(work.usable)
    with top.container():
        first = reconcile_words.first_lines(result, scenario, system)
        if first.dangers:
            page.first_lines(work, _HEADING, first)
        else:
            page.answer_line(work, _HEADING, first.headline, *first.lines)
    page.picture(_picture(work.usable, content, system), screen_words.OF_READING_BAND)
    page.finding("Readings against the model (off by: before, the uncertainty of the scenario counts too)")
    rows = [
        (f"{reading}, {what}", read, before, after, off)
        for what, read, reading, before, after, off in reconcile_words.reading_rows(result, system)
    ]
    headings = ("reading", "was read", *reconcile_words.READING_HEADINGS[3:])
    page.table(headings, rows, numbers=(1, 2, 3, 4), caption="Readings against the model")
    page.finding("What the readings change in the inputs")
    inputs = [(called(key), text) for key, text in reconcile_words.input_rows(result, system)]
    page.table(("input", "before → with the readings"), inputs, caption="Inputs before and after")
    updates = reconcile_words.updates(result)
    if result.agrees and updates:
        st.button(
            f"Use these values in the scenario ({len(updates)} input{'s' if len(updates) > 1 else ''})",
            on_click=_use,
            args=(updates,),
            key="use readings",
        )
        page.bullets([reconcile_words.TOGETHER])


def _use(updates: dict[str, str]) -> None:
    """Put the inputs as the readings have them into the scenario in work."""
    desk.put_values({key: override_value(text) for key, text in updates.items()})
    desk.renew()
