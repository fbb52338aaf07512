"""One value at a time that would make the answer surer, until the user has had enough."""

from __future__ import annotations

from typing import Any

import streamlit as st

from energy.chain.answer import Answered
from energy.scenario.keys import spec_of
from energy.screens import desk, page, typed
from energy.words.next_value import NextValue, next_value
from energy.words.screens import accepted_words
from energy.words.verdict import called
from vehicle.quantity import FieldError, read_quantity

_LEFT, _ENOUGH = "asked and not known", "asked enough"


def show(answered: Answered) -> None:
    """Ask for the value whose measurement would narrow the answer's range most; show nothing where none would."""
    held = desk.typed()
    left = [key for key in str(held.get(_LEFT, "")).split() if key]
    if held.get(_ENOUGH) is True:
        st.button("Ask me what would make the answer surer", key="ask again", on_click=_ask_again)
        return
    asked = next_value(answered, left, desk.system())
    if asked is None:
        return
    with st.container(border=True, key="ask next"):
        page.finding(asked.why)
        st.html(f'<p class="wt-note">{page.escape(asked.how)}</p>')
        spec = spec_of(asked.key)
        text = typed.quantity(called(asked.key), f"next {asked.key}", spec.unit)
        fault = ""
        if text:
            try:
                read_quantity(typed.scenario_value(text, spec.unit), spec)
            except FieldError as error:
                fault = f"{error.read}; accepted: {accepted_words(error.accepted, spec, desk.system())}"
                page.problem_list([fault], "Cannot be used")
        row = st.container(horizontal=True)
        row.button(
            "Use it",
            type="primary",
            key=desk.field_key("use next"),
            disabled=not text or bool(fault),
            on_click=lambda: _use(asked, text),
        )
        row.button(
            "I cannot know that",
            key=desk.field_key("skip next"),
            on_click=lambda: desk.keep_typed(_LEFT, " ".join([*left, asked.key])),
        )
        row.button("Enough questions", key=desk.field_key("stop next"), on_click=lambda: desk.keep_typed(_ENOUGH, True))


def _ask_again() -> None:
    desk.keep_typed(_ENOUGH, None)
    desk.keep_typed(_LEFT, None)


def _use(asked: NextValue, text: str) -> None:
    """Put the measured value into the scenario with what it was measured to."""
    unit = spec_of(asked.key).unit
    width: Any = f"{asked.plus_minus:.3g} {'delta_degC' if unit == 'K' else unit}"
    value = typed.scenario_value(text, unit)
    if unit == "dimensionless":
        width = float(f"{asked.plus_minus:.3g}")
    desk.put_value(asked.key, {"value": value, "plus_minus": width})
    typed.forget(f"next {asked.key}")
