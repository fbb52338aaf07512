"""The effect on fuel that the model expects, for whatever holds a road test against it or plans one."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from vehicle.driving.engine import calculated_load_points
from vehicle.problems import InputError, Problem
from vehicle.road_test.sources import source_word
from vehicle.units import QuantityError, parse

if TYPE_CHECKING:
    from energy.chain.limits import OperatingLimit

# Load stands for torque in the ledger; a reader has the share of friction in it: common practice, no source.
_LOAD_FOR_TORQUE = 0.12
ACCEPTED = '"4 %", "-1.5 %" (a saving) or "4 % +- 1 %"'


@dataclass(frozen=True)
class Prediction:
    """The change of fuel that is predicted and its half-width, as shares (0.04: 4 % more); that of calculated load in
    points, None where nothing says it.

    `broken` are the limits that the working turbine breaks as the scenario is; none where no scenario was looked at.
    `on_battery` is whether the scenario drives on a battery, so that the change is one of battery energy; None without
    a scenario.
    """

    share: float
    error: float
    load_points: float | None = None
    load_error: float = 0.0
    broken: tuple[OperatingLimit, ...] = ()
    on_battery: bool | None = None


def predicted_effect(
    effect: str | None,
    scenario: Path | None,
    overrides: tuple[str, ...] = (),
    *,
    with_state: str = "working",
    without_state: str = "stowed",
) -> tuple[float, float] | None:
    """Return the predicted change of fuel and its half-width as shares (0.04: 4 % more), or None where none is asked
    for.

    `effect` is what the user typed, and goes first; else the ledger of the scenario tells it, between the two states.
    Raises InputError for text that is no percentage, a faulty scenario, or one that burns no fuel without the turbine.
    """
    if effect is not None:
        return typed_effect(effect, "--effect")
    return None if scenario is None else scenario_effect(scenario, overrides, with_state, without_state)


def prediction(
    effect: str | None,
    scenario: Path | None,
    overrides: tuple[str, ...] = (),
    *,
    with_state: str = "working",
    without_state: str = "stowed",
) -> Prediction | None:
    """Return what is predicted of fuel and load, or None where nothing is asked for; see `predicted_effect`."""
    if effect is not None:
        typed = Prediction(*typed_effect(effect, "--effect"))
        return typed if scenario is None else _of_scenario(typed, scenario, overrides)
    return None if scenario is None else scenario_prediction(scenario, overrides, with_state, without_state)


def _of_scenario(typed: Prediction, scenario: Path, overrides: tuple[str, ...]) -> Prediction:
    """Return what was typed with what the scenario says of its limits and its drive."""
    from energy.chain.answer import broken_as_stated
    from energy.chain.load import load

    loaded = load(scenario, overrides)
    return replace(typed, broken=broken_as_stated(loaded), on_battery=loaded.battery is not None)


def scenario_effect(
    scenario: Path,
    overrides: tuple[str, ...],
    with_state: str,
    without_state: str,
    progress: Callable[[float], None] | None = None,
) -> tuple[float, float]:
    """Return the change of fuel of `scenario_prediction` as a share, and its half-width."""
    prediction = scenario_prediction(scenario, overrides, with_state, without_state, progress)
    return prediction.share, prediction.error


def scenario_prediction(
    scenario: Path,
    overrides: tuple[str, ...],
    with_state: str,
    without_state: str,
    progress: Callable[[float], None] | None = None,
) -> Prediction:
    """Return the ledger's change of fuel between two states of the turbine as a share, and its half-width (90 %), with
    that of calculated load where it is for one speed.

    Over the scenario's trip where it has a schedule. The price of carrying the turbine (stowed against absent) has no
    half-width of its own. `progress` is told the share done.
    """
    from energy.chain.answer import answered
    from energy.chain.limits import broken_limits
    from energy.chain.load import load

    checked = load(scenario, [*overrides, f"trip.compared_with={without_state}"])
    result = answered(checked, exact=with_state != "working", progress=progress)
    states = result.answer.states
    base = float(states[without_state].supply.source_w)
    on_battery = checked.battery is not None
    if not base > 0:
        nothing, such = ("no battery energy is drawn", "draws") if on_battery else ("no fuel is burnt", "burns")
        accepted = f"a trip that {such} {source_word(on_battery)}: a road speed, no steep descent"
        raise InputError(Problem(scenario.name, "trip", f"{nothing} with the turbine {without_state}", accepted))
    low, high = result.outcome.change_w.ends
    change = float(states[with_state].supply.source_w) - base
    error = (high - low) / 2 / base
    broken = broken_limits(result) if with_state == "working" else ()
    if result.trip is not None:  # a schedule has no one load
        return Prediction(change / base, error, broken=broken, on_battery=on_battery)
    points = float(calculated_load_points(states[with_state].supply, states[without_state].supply))
    if not math.isfinite(points):
        return Prediction(change / base, error, broken=broken, on_battery=on_battery)
    own = abs(error * base / change) if change else 0.0
    load_error = abs(points) * math.hypot(own, _LOAD_FOR_TORQUE)
    return Prediction(change / base, error, points, load_error, broken, on_battery)


def typed_effect(text: str, where: str) -> tuple[float, float]:
    """Return value and half-width of "4 % +- 1 %" as shares; InputError for anything that is no percentage."""
    parts = re.split(r"\+-|\+/-|±", text, maxsplit=1)
    try:
        numbers = [_share(part) for part in parts]
    except QuantityError as error:
        raise InputError(Problem(where, "", str(error), ACCEPTED)) from None
    value, error_share = numbers[0], abs(numbers[1]) if len(numbers) > 1 else 0.0
    if not abs(value) < 2:
        raise InputError(Problem(where, "", f"{100 * value:g} %", f"an effect within ±200 %, such as {ACCEPTED}"))
    return value, error_share


def _share(text: str) -> float:
    if "%" not in text and "percent" not in text:
        raise QuantityError(f"{text.strip()!r} has no % sign")
    return parse(text.replace("−", "-"), "dimensionless")
