"""What is typed into a screen and is no part of the scenario: quantities with a choice of unit, choices, short texts.

It stays with the session while another screen, or another system of units, is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from energy.screens import desk
from vehicle import units
from vehicle.typed import as_people_type


def quantity(
    label: str, name: str, unit: str, start: float | None = None, *, offered: Sequence[str] = (), example: str = ""
) -> str:
    """Show a number with a choice of unit; return it as text with its unit ("1.05 kW"), "" where there is none.

    `unit` is the SI unit of its kind, `start` the value (SI) that counts until another is typed, `offered` units in
    place of the usual ones."""
    held = desk.typed()
    choices = tuple(offered) or units.written_units(unit, desk.system())
    chosen = held.get(f"unit of {name}")  # stays while the field is empty
    choices = (chosen, *(c for c in choices if c != chosen)) if isinstance(chosen, str) else choices
    own = "" if start is None else _started(start, choices[0], unit)
    number, now = _split(str(held.get(name, own)), choices)
    choices = choices if now in choices else (*choices, now)
    drawn = desk.times_converted(name)
    value_key, unit_key = _widget(f"{name} value", number, f".{drawn}"), _widget(f"{name} unit", now)

    def typed() -> str:
        return as_people_type(str(st.session_state[value_key]).strip(), thousands_comma=desk.system() != "metric")

    def store() -> None:
        text, there = typed(), st.session_state[unit_key]
        if text:  # a unit that was typed goes to the unit's box
            st.session_state[value_key], st.session_state[unit_key] = _split(_text(text, there), (there,))
        _keep(name, _text(text, st.session_state[unit_key]) if text else None, st.session_state[unit_key])
        desk.typed_into(name, drawn)

    def convert() -> None:
        """Keep the quantity in another unit."""
        to = st.session_state[unit_key]
        # From the unit that its number has by now: a late browser may tell of the unit together with a text that
        # carries a unit of its own, and that was followed just before.
        _, before = _split(str(desk.typed().get(name, own)), (now,))
        try:
            value = units.parse(_text(typed(), before), unit)
            _keep(name, _text(f"{units.express(value, to, unit) if to else value:.6g}", to), to)
        except units.QuantityError:
            store()  # empty, or a text that is told as a fault where it is used
        desk.converted(name)

    row = st.container(horizontal=True, vertical_alignment="bottom", gap="small")
    row.text_input(
        label,
        desk.stands_at(value_key),
        key=value_key,
        on_change=desk.if_drawn(store),
        placeholder=own or example,
        autocomplete="off",
    )
    row.selectbox(
        f"unit of {label}",
        choices,
        desk.stands_in(unit_key, choices),
        key=unit_key,
        on_change=desk.if_drawn(convert),
        label_visibility="collapsed",
        width=112,
        format_func=lambda each: each or "number",
        disabled=len(choices) == 1,
    )
    return str(held.get(name, own))


def scenario_value(text: str, unit: str) -> str | float:
    """Return a typed quantity as a scenario has it: a bare number where its kind has no unit, else the text."""
    try:
        return float(text) if unit == "dimensionless" else text
    except ValueError:
        return text  # "85 %", or a text that is told as a fault


def choice(label: str, name: str, options: Sequence[str], start: str, words: Callable[[str], str] = str) -> str:
    """Show a choice of names in a list; return the chosen one."""
    # Where nobody chose it follows what it depends on, as another widget: a browser that has not heard of that yet
    # tells what it stood at before, and must not be taken for a user who chooses that.
    key = _widget(name, _known(name, options, start), f".{start}")
    return str(
        st.selectbox(
            label,
            options,
            desk.stands_in(key, options),
            key=key,
            on_change=desk.if_drawn(_storing(name, key)),
            format_func=words,
        )
    )


def way(label: str, name: str, options: Sequence[str], words: Callable[[str], str] = str) -> str:
    """Show a choice between few ways side by side; return the chosen one."""
    key = _widget(name, _known(name, options, options[0]))
    chosen = st.radio(
        label,
        options,
        desk.stands_in(key, options),
        key=key,
        on_change=desk.if_drawn(_storing(name, key)),
        horizontal=True,
        format_func=words,
    )
    return str(chosen)


def text(label: str, name: str, example: str = "", start: str = "") -> str:
    """Show a line of text; return it without blanks about it."""
    key = _widget(name, str(desk.typed().get(name, start)))
    typed = st.text_input(
        label,
        desk.stands_at(key),
        key=key,
        on_change=desk.if_drawn(_storing(name, key)),
        placeholder=example,
        autocomplete="off",
    )
    return str(typed or "").strip()


def count(label: str, name: str, most: int, least: int = 1, start: int = 1) -> int:
    """Show a choice of a whole number from `least` to `most`; return it."""
    held = desk.typed().get(name, start)
    known = held if isinstance(held, int) and least <= held <= most else start
    key = _widget(name, known)
    counts = range(least, most + 1)
    start_at = desk.stands_in(key, counts)
    return int(st.selectbox(label, counts, start_at, key=key, on_change=desk.if_drawn(_storing(name, key))))


def tick(label: str, name: str) -> bool:
    """Show a box to tick; return whether it is ticked."""
    key = _widget(name, desk.typed().get(name) is True)
    return bool(st.checkbox(label, desk.stands_at(key), key=key, on_change=desk.if_drawn(_storing(name, key))))


def forget(*beginnings: str) -> None:
    """Forget what was typed under names that begin so, and let its fields show where they start from."""
    starts = tuple(text for beginning in beginnings for text in (beginning, f"unit of {beginning}"))
    desk.forget_typed([name for name in desk.typed() if name.startswith(starts)])
    desk.renew()


def any_typed(beginning: str) -> bool:
    """Return whether anything was typed under names that begin so."""
    return any(name.startswith(beginning) for name in desk.typed())


def _known(name: str, options: Sequence[str], start: str) -> str:
    held = desk.typed().get(name, start)
    return str(held if held in options else start)


def _widget(name: str, value: Any, nth: str = "") -> str:
    """Return the key of a widget that begins with `value`; `nth` makes it another one."""
    key = desk.field_key(f"typed {name}") + nth
    if key not in st.session_state:
        st.session_state[key] = value
    return key


def _storing(name: str, key: str) -> Callable[[], None]:
    def store() -> None:
        desk.keep_typed(name, st.session_state[key])

    return store


def _text(number: str, unit: str) -> str:
    """Return a typed number with its unit; a text with a unit of its own stays."""
    try:
        _, own = units.split(number)
    except units.QuantityError:
        return number  # told as a fault where it is used
    return number if own or not unit else f"{number} {unit}"


def _keep(name: str, text: str | None, unit: str) -> None:
    desk.keep_typed(name, text)
    desk.keep_typed(f"unit of {name}", unit)


def _started(start: float, chosen: str, unit: str) -> str:
    """Return what a field begins with, given in the SI unit `unit`, in the chosen one."""
    return _text(f"{units.express(start, chosen, unit) if chosen else start:.4g}", chosen)


def _split(text: str, choices: Sequence[str]) -> tuple[str, str]:
    """Return (number, unit) as the fields show a text; what is no quantity is shown whole."""
    try:
        number, own = units.split(text)
    except units.QuantityError:
        return text, choices[0]
    return f"{number:.12g}", own
