"""Sliders for what changes from drive to drive: road speed, wind and where it comes from, grade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import streamlit as st

from energy.scenario import bundle as bundles
from energy.screens import desk
from energy.screens.desk import Work
from vehicle import units


@dataclass(frozen=True)
class Dial:
    """One slider: the key it sets, its label, unit by unit system, range and step in that unit."""

    key: str
    label: str
    units: dict[str, str]
    low: float
    high: dict[str, float]
    step: float
    format: str


def _same(value: Any) -> dict[str, Any]:
    return dict.fromkeys(units.UNIT_SYSTEMS, value)


_SPEED = {"metric": "km/h", "us": "mph", "uk": "mph"}
DIALS = (
    Dial("trip.road_speed", "road speed", _SPEED, 0, {"metric": 140, "us": 90, "uk": 90}, 1, "%.0f"),
    Dial("trip.grade", "grade (downhill below 0)", _same("%"), -10, _same(10), 0.5, "%.1f"),
    Dial("air.wind_speed", "wind speed", _SPEED, 0, {"metric": 80, "us": 50, "uk": 50}, 1, "%.0f"),
    Dial("air.wind_from", "wind from (0 ahead, 180 behind)", _same("deg"), 0, _same(180), 5, "%.0f"),
)
_SI = {"trip.road_speed": "m/s", "air.wind_speed": "m/s", "air.wind_from": "rad", "trip.grade": "dimensionless"}


def show(work: Work) -> None:
    """Show the sliders and what the trip is compared with; each changes the scenario in work."""
    columns = st.columns(2)
    for k, dial in enumerate(DIALS):
        with columns[k // 2]:
            _slider(dial, work)
    key = _showing("trip.compared_with", work.answered.scenario.trip.compared_with)

    def store() -> None:
        desk.put_value("trip.compared_with", st.session_state[key])

    states = ["absent", "stowed"]
    st.radio(
        "compared with",
        states,
        desk.stands_in(key, states),
        key=key,
        on_change=desk.if_drawn(store),
        horizontal=True,
        format_func={"absent": "not fitting it", "stowed": "carrying it stowed"}.__getitem__,
    )


def one(key: str, work: Work) -> None:
    """Show the slider of one key."""
    _slider(next(dial for dial in DIALS if dial.key == key), work)


def _showing(name: str, value: Any) -> str:
    """Return the key of a widget that shows a value of the scenario: whatever it stood at, the scenario is right."""
    key = desk.field_key(f"dial {name}")
    if st.session_state.get(key) != value:
        st.session_state[key] = value
    return key


def _slider(dial: Dial, work: Work) -> None:
    table, _, name = dial.key.partition(".")
    quantity = getattr(work.answered.scenario.table(table), name)
    if quantity is None:  # a schedule tells the speed
        st.empty()  # so that the other sliders keep their places while the screen is drawn anew
        return
    held = quantity.value
    unit = dial.units[desk.system()]
    now = units.express(held, unit, _SI[dial.key])
    if dial.key == "air.wind_from":
        now = abs((now + 180) % 360 - 180)  # port and starboard are alike to the ledger
    low, high = min(dial.low, now), max(dial.high[desk.system()], now)
    key = _showing(f"{dial.key} {unit}", float(now))

    def store() -> None:
        text = f"{st.session_state[key]:.6g} {unit}"
        raw = bundles.value_at(desk.bundle(), dial.key)
        sure = isinstance(raw, dict) and "plus_minus" in raw
        desk.put_value(dial.key, {**raw, "value": text} if sure else text)

    st.slider(
        f"{dial.label}, {unit}",
        min_value=float(low),
        max_value=float(high),
        value=desk.stands_at(key),
        step=float(dial.step),
        key=key,
        format=dial.format,
        on_change=desk.if_drawn(store),
    )
