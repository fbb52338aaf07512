"""Is the pitch what the dial says? The pitch that measured rows ask for, beside what dial or scenario say."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import streamlit as st

from energy.diagnosis.examples import measured_example
from energy.diagnosis.true_pitch import (
    MeasuredRows,
    PitchInterval,
    TruePitch,
    as_setting,
    corrected,
    curves_over_pitches,
    true_pitch_of_file,
)
from energy.pictures.base import Picture
from energy.pictures.measured import pitch_picture
from energy.progress import Progress
from energy.scenario.bundle import Bundle
from energy.scenario.works import Upload
from energy.screens import desk, page, uploads, waiting
from energy.screens.desk import Work
from energy.screens.waiting import kept
from energy.words import forms
from energy.words import pitch as pitch_words
from energy.words import screens as screen_words
from energy.words.headings import one_line
from energy.words.screens import QUESTIONS
from vehicle.problems import InputError
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

_HEADING = QUESTIONS["pitch"]
_FILE = "measured.csv"
_STEPPED_DEG = 1.0  # a dial that was turned by more was no single setting


@waiting.drawn
def _example(bundle: Bundle, system: UnitSystem) -> bytes:
    return measured_example(desk.scenario_of(bundle), system).encode()


@kept("Looking for the pitch")
def _pitch_of(progress: Progress | None, bundle: Bundle, content: bytes) -> tuple[TruePitch, MeasuredRows]:
    with uploads.as_file(content, _FILE) as path:
        return true_pitch_of_file(desk.scenario_of(bundle), path, progress)


@waiting.drawn
def _picture(bundle: Bundle, content: bytes, system: UnitSystem) -> Picture:
    return pitch_picture(desk.scenario_of(bundle), *_pitch_of(bundle, content), system)


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.empty()
    try:
        curves_over_pitches(desk.scenario_of(work.usable))
    except InputError as error:
        with top.container():
            page.cannot(work, _HEADING, screen_words.NO_CURVES, error.problems)
        return
    try:
        example, why = _example(work.usable, system), []
    except InputError as error:  # a rotor that stands still in the scenario's air gives no example
        example, why = None, [str(problem) for problem in error.problems]
    upload = uploads.ask("pitch", forms.MEASURED_ROWS, example, _FILE)
    if why:
        page.bullets([f"No example can be made: {text}." for text in why])
    if upload is None:
        with top.container():
            page.answer_line(work, _HEADING, "Nothing yet: upload what you measured.")
    else:
        _answer(work, system, upload, top)
    page.cautions(pitch_words.CAUTIONS)
    page.assumptions(work)


def _answer(work: Work, system: UnitSystem, upload: Upload, top: DeltaGenerator) -> None:
    scenario = desk.scenario_of(work.usable)
    try:
        with top.container():
            st.title(_HEADING)
            result, rows = _pitch_of(work.usable, upload.content)
    except InputError as error:
        with top.container():
            page.cannot(
                work,
                _HEADING,
                screen_words.NO_PITCH,
                uploads.faults(upload, error, _FILE),
            )
        return
    with top.container():
        page.first_lines(work, _HEADING, pitch_words.first_lines(scenario, result, rows, system))
    dashed = "what the dial read" if rows.dial_deg is not None else "what the scenario says"
    page.picture(
        _picture(work.usable, upload.content, system),
        f"Band: the pitch found from all rows together ({pitch_words.SURENESS}). Dashed: {dashed}. Grey bars: where "
        f"each row by itself "
        "puts the pitch; marks: its solutions on either side of the best pitch.",
        headed=False,
    )
    _buttons(scenario.rotor.pitch.value if scenario.rotor.pitch is not None else None, result, rows)
    page.finding(pitch_words.rows_title(rows, "all in the picture's CSV"))
    headings = one_line(pitch_words.row_headings(rows, system))
    page.table(
        headings, pitch_words.row_texts(result, rows, system), numbers=range(len(headings)), caption="Row by row"
    )
    notes = pitch_words.notes_of(result)
    if notes:
        page.finding("Notes")
        page.bullets(notes)


def _buttons(own_deg: float | None, result: TruePitch, rows: MeasuredRows) -> None:
    """Offer the pitch found for the scenario; where the dial was turned meanwhile, the scenario's own reading
    corrected.
    """
    stepped = rows.dial_deg is not None and float(np.ptp(rows.dial_deg)) > _STEPPED_DEG
    if result.pitch_deg is not None and not stepped:
        st.button(
            f"Use this pitch in the scenario ({pitch_words.degrees(result.pitch_deg.estimate)})",
            on_click=_use,
            args=(result.pitch_deg,),
            key="use pitch",
        )
    elif result.offset_deg is not None and own_deg is not None:
        right = corrected(own_deg, result.offset_deg)
        st.button(
            f"Use this pitch in the scenario: its dial reads {pitch_words.degrees(own_deg)}, the blades stand at "
            f"{pitch_words.degrees(right.estimate)}",
            on_click=_use,
            args=(right,),
            key="use pitch",
        )


def _use(pitch: PitchInterval) -> None:
    """Put a pitch with its ± into the scenario in work."""
    desk.put_value("rotor.pitch", as_setting(pitch))
    desk.renew()
