"""Three steps on the first visit: what the first screen says, where one's own goes, what comes after measuring."""

from __future__ import annotations

import streamlit as st

from energy.scenario import works
from energy.screens import desk, page
from energy.words.screens import TOUR
from vehicle.files import write_whole

_SEEN = "tour_seen.txt"


def show() -> None:
    """Show the step that is due, with a button to skip the rest; nothing once it was seen or skipped."""
    at = int(st.session_state.get("tour", 0))
    if at >= len(TOUR) or not desk.is_demo() or _was_seen():
        return
    title, text = TOUR[at]
    with st.container(border=True, key="wt-tour"):
        page.finding(f"{at + 1} of {len(TOUR)}: {title}")
        st.html(f'<p class="wt-note">{page.escape(text)}</p>')
        row = st.container(horizontal=True)
        last = at == len(TOUR) - 1
        row.button("Done" if last else "Next", key="tour next", on_click=_go, args=(at + 1,))
        if not last:
            row.button("Skip", key="tour skip", on_click=_go, args=(len(TOUR),))


def _was_seen() -> bool:
    return (works.folder() / _SEEN).exists()


def _go(to: int) -> None:
    st.session_state["tour"] = to
    if to < len(TOUR):
        return
    try:
        works.folder().mkdir(parents=True, exist_ok=True)
        write_whole(works.folder() / _SEEN, b"The tour of the app was seen: take this file away to see it again.\n")
    except OSError as error:
        desk.notice(f"That the tour was seen could not be kept ({error.strerror}); it will be shown again.")
