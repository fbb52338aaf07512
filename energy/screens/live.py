"""The last values of a recording that another terminal writes, looked at every two seconds."""

from __future__ import annotations

import time
from pathlib import Path

import streamlit as st

from energy.screens import desk, page, road_marks, typed
from energy.words import live as words
from energy.words.screens import OF_LIVE
from vehicle.logs.tail import Seen, look_at, newest_recording
from vehicle.problems import InputError

_EVERY_S = 2.0


def show() -> None:
    """Let a recording be named, and show it as it grows."""
    road_marks.note(OF_LIVE)
    named = typed.text(words.ASKED, "live file", "/home/me/runs")
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
        page.problem_list([str(problem) for problem in problems], words.NOTHING_YET)
        return
    st.session_state["live seen"] = {str(path): look.seen}
    page.finding(words.condition(look))
    page.bullets(words.lines(look, path.name))
    rows = words.rows(look, desk.system())
    old = [k for k, row in enumerate(rows) if row[2]]
    page.table(words.HEADINGS, rows, numbers=(1,), caption=words.CAPTION, old=old)
