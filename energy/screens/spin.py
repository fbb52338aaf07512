"""The spin-up in the shop: steps, tap test and a log of it; a part of the screen "What must it withstand?"."""

from __future__ import annotations

import streamlit as st

from energy.diagnosis.examples import spin_up_example, tap_example
from energy.scenario.bundle import Bundle
from energy.scenario.works import Upload
from energy.screens import desk, page, typed, uploads, waiting
from energy.screens.desk import Work
from energy.strength.spin_up import NaturalFrequency, SpinLog, SpinUp, read_log, spin_up, stated_frequency, tapped
from energy.words import forms
from energy.words import loads as loads_words
from energy.words import spin_up as words
from vehicle.problems import InputError

_LOG, _TAP = "spin_up.csv", "tap.csv"
_TITLE = "Before the first drive: spin it up in the shop, step by step"
_NOT_READ = "This file cannot be used yet"


@waiting.drawn
def _example(bundle: Bundle) -> bytes:
    return spin_up_example(desk.scenario_of(bundle)).encode()


@waiting.drawn
def _spun(bundle: Bundle, natural: NaturalFrequency | None) -> SpinUp:
    return spin_up(desk.scenario_of(bundle), natural)


def show(work: Work) -> list[str]:
    """Show the steps with their tap test and log; return what is dangerous in the log, for the top of the screen."""
    page.finding(_TITLE)
    page.cautions(loads_words.LADDER_CAUTIONS)
    natural = _natural(work)
    result = _spun(work.usable, natural)
    slot = st.container()
    log = _log(work, result)
    system = desk.system()
    with slot:
        page.bullets([*words.critical_lines(result, system), loads_words.ladder_headline(result.ladder, system)])
        if log is not None:
            page.finding("The log against the plan")
            page.bullets([*words.log_dangers(result, log, system), *words.log_lines(result, log, system)])
    with st.expander("Steps, motor, energy, when to stop"):
        page.table(loads_words.LADDER_COLUMNS, loads_words.ladder_rows(result.ladder, system), caption="Spin-up ladder")
        page.table(words.STEP_COLUMNS, words.step_rows(result, system), caption=words.STEP_TITLE)
        page.finding(words.STOP_TITLE)
        page.bullets(words.stop_rules(result, system))
        page.bullets(words.notes(result, system))
    return [] if log is None else words.log_dangers(result, log, system)


def _natural(work: Work) -> NaturalFrequency | None:
    """Return the mount's natural frequency as typed or tapped; None where neither is there or can be used."""
    text = typed.text("tap test: natural frequency or stiffness of the mount (optional)", "tap test", "7.5 Hz")
    with st.expander("Or a tap test recorded by a phone (CSV)"):
        upload = uploads.ask("tap", forms.TAP_ROWS, tap_example().encode(), _TAP, " of the tap test")
    try:
        if text:
            mass = work.answered.scenario.rotor.turbine_mass.value
            return stated_frequency(text, mass, ("what you typed", "tap test"))
        if upload is not None:
            with uploads.as_file(upload.content, _TAP) as path:
                return tapped(path)
    except InputError as error:
        faults = [str(p) for p in error.problems] if text or upload is None else uploads.faults(upload, error, _TAP)
        page.problem_list(faults, _NOT_READ if not text else "This value cannot be used yet")
    return None


def _log(work: Work, spin_up: SpinUp) -> SpinLog | None:
    """Return the log of a spin-up as uploaded; None where there is none, or it cannot be used."""
    upload: Upload | None = uploads.ask("spin up", forms.SPIN_UP_ROWS, _example(work.usable), _LOG, " of the spin-up")
    if upload is None:
        return None
    try:
        with uploads.as_file(upload.content, _LOG) as path:
            return read_log(path, spin_up, work.answered.scenario.rotor.turbine_mass.value)
    except InputError as error:
        page.problem_list(uploads.faults(upload, error, _LOG), _NOT_READ)
        return None
