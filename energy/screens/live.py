"""The last values of a recording that another terminal writes, looked at every two seconds."""

from __future__ import annotations

import time
from pathlib import Path

import streamlit as st

from energy.screens import desk, page, road_marks, typed
from energy.words.read import in_usual_unit
from energy.words.record import OLD_S
from energy.words.screens import OF_LIVE
from vehicle import units
from vehicle.logs.columns import BY_NAME
from vehicle.logs.tail import Look, Seen, look_at, newest_recording
from vehicle.problems import InputError

_EVERY_S = 2.0


def show() -> None:
    """Let a recording be named, and show it as it grows."""
    road_marks.note(OF_LIVE)
    named = typed.text("Recording to watch: a CSV file or its folder on this machine", "live file", "/home/me/runs")
    if named:
        _follow(named)


@st.fragment(run_every=_EVERY_S)
def _follow(named: str) -> None:
    seen: dict[str, Seen] = st.session_state.setdefault("live seen", {})
    try:
        path = newest_recording(Path(named).expanduser())
        look = look_at(path, seen.get(str(path)), time.time())
    except (InputError, RuntimeError) as error:  # RuntimeError: a home folder that is not known
        problems = error.problems if isinstance(error, InputError) else (str(error),)
        page.problem_list([str(problem) for problem in problems], "Nothing to watch yet; it is looked for again")
        return
    st.session_state["live seen"] = {str(path): look.seen}
    page.finding(_condition(look))
    page.bullets([f"{path.name}: {look.rows} rows over {_clock(look.duration_s)}", *_turbine(look)])
    rows = []
    for name, value in look.values.items():
        rows.append((BY_NAME[name].words, _in_words(name, value), _age(look, name)))
    old = [k for k, row in enumerate(rows) if row[2]]
    page.table(("quantity", "last value", "age"), rows, numbers=(1,), caption="Last values of the recording", old=old)


def _in_words(name: str, value: float) -> str:
    """Return a value in the units to show: speeds and fuel as the user reads them, the rest as every car tells it."""
    kind = {"speed": "speed", "volume flow": "fuel_flow"}.get(BY_NAME[name].kind)
    if kind is not None:
        return units.show(value, kind, desk.system())
    shown, unit = in_usual_unit(name, value)
    return f"{units.figures(shown, 3)} {unit}"


def _age(look: Look, name: str) -> str:
    """Return how old a value is where it is no longer the current one, and whether this parameter alone stopped."""
    age_s = look.ages_s[name] + look.silent_s
    if name not in look.old and not look.stopped:
        return f"{_clock(age_s)} old" if age_s > OLD_S else ""
    return f"{_clock(age_s)} old" if look.gap or look.stopped else f"no answer any more, {_clock(age_s)} old"


def _condition(look: Look) -> str:
    since = f"no new row for {_clock(look.silent_s)}"
    if look.gap:
        return f"Waiting, {since}: {look.gap}"
    if look.stopped:
        return f"Stopped: {since}. It has ended, or it waits for the adapter or the car"
    return "Recording"


def _turbine(look: Look) -> list[str]:
    return [f"turbine: {look.state}"] if look.state else []


def _clock(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    minutes = seconds / 60
    return f"{minutes:.1f} min" if minutes < 90 else f"{minutes / 60:.1f} h"
