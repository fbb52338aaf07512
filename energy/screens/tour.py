"""Three steps on the first visit: what the first screen says, where one's own goes, what comes after measuring."""

from __future__ import annotations

import streamlit as st

from energy.scenario import works
from energy.screens import desk, page
from vehicle.files import write_whole

_STEPS = (
    (
        "What you see",
        "The verdict of an invented demo: what it costs, how sure that is, and what is worth a look after it.",
    ),
    ("Put in your own", "Five questions under “What is built, and how is it driven?” give you an answer of your own."),
    (
        "After you measured",
        "The last group of questions reads your logs: was it worth it, why so few watts, what next.",
    ),
)
_SEEN = "tour_seen.txt"


def show() -> None:
    """Show the step that is due, with a button to skip the rest; nothing once it was seen or skipped."""
    at = int(st.session_state.get("tour", 0))
    if at >= len(_STEPS) or not desk.is_demo() or _was_seen():
        return
    title, text = _STEPS[at]
    with st.container(border=True, key="wt-tour"):
        page.finding(f"{at + 1} of {len(_STEPS)}: {title}")
        st.html(f'<p class="wt-note">{page.escape(text)}</p>')
        row = st.container(horizontal=True)
        last = at == len(_STEPS) - 1
        row.button("Done" if last else "Next", key="tour next", on_click=_go, args=(at + 1,))
        if not last:
            row.button("Skip", key="tour skip", on_click=_go, args=(len(_STEPS),))


def _was_seen() -> bool:
    return (works.folder() / _SEEN).exists()


def _go(to: int) -> None:
    st.session_state["tour"] = to
    if to < len(_STEPS):
        return
    try:
        works.folder().mkdir(parents=True, exist_ok=True)
        write_whole(works.folder() / _SEEN, b"The tour of the app was seen: take this file away to see it again.\n")
    except OSError as error:
        desk.notice(f"That the tour was seen could not be kept ({error.strerror}); it will be shown again.")
