"""A drive on which one setting is stepped, planned: which settings, in which order, how long each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from energy.chain.limits import OperatingLimit
from energy.diagnosis.examples import stepped
from energy.diagnosis.tuning import KINDS, SCENARIO_KEYS, SETTINGS, Kind, limits_at_setting
from energy.scenario.inputs import inputs_of
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from vehicle.problems import InputError, Problem
from vehicle.units import QuantityError, parse

HOLD_S = 45.0
"""Each setting is held for that long: the lag of rotor and load passes, and gusts average out (common practice)."""
_MOST_SETTINGS = 30
_ROUNDS = 2


@dataclass(frozen=True)
class SteppingPlan:
    """What is stepped (pitch in degrees, resistance in ohm, or ratio), the settings in order, seconds to hold each.

    `broken` has the limits that a setting is predicted to break at the scenario's highest road speed, for each that
    breaks one.
    """

    kind: Kind
    order: tuple[float, ...]
    hold_s: float
    broken: tuple[tuple[float, tuple[OperatingLimit, ...]], ...] = ()


def stepping_plan(
    scenario: Scenario, kind: Kind | None = None, typed: str | None = None, hold_s: float = HOLD_S, seed: int = 1
) -> SteppingPlan:
    """Return a plan: settings about the scenario's own, or those typed ("2, 4, 6"), twice through.

    The second round is in another order, so that a drift of the wind does not look like a setting. Raises InputError
    for settings that are no numbers, out of reach, or fewer than two.
    """
    if not 5 <= hold_s <= 3600:
        raise InputError(Problem("--hold", "", f"{hold_s:g} s", "5 s to 3600 s"))
    if typed is not None:
        chosen: Kind = kind or "pitch"
        values = _typed_settings(typed, chosen)
    else:
        key, _, settings = stepped(scenario, kind)
        chosen, values = next(name for name in KINDS if SCENARIO_KEYS[name] == key), [float(v) for v in settings]
    draw = np.random.default_rng(seed)
    rounds = [draw.permutation(len(values)) for _ in range(_ROUNDS)]
    if rounds[0][-1] == rounds[1][0]:  # the same setting twice in a row would be one visit
        rounds[1] = np.roll(rounds[1], 1)
    order = tuple(values[k] for turn in rounds for k in turn)
    return SteppingPlan(chosen, order, hold_s, _broken(scenario, chosen, values))


def _broken(
    scenario: Scenario, kind: Kind, values: Sequence[float]
) -> tuple[tuple[float, tuple[OperatingLimit, ...]], ...]:
    """Return the settings that break a limit, from the smallest on, each with what it breaks."""
    if inputs_of(scenario).turbine.chain is None:  # known by its watts alone: no setting of it is modelled
        return ()
    speed: dict[QuantityKey, float] = {"trip.road_speed": scenario.fastest_road_speed_m_s}
    each = ((value, limits_at_setting(scenario, kind, value, speed)) for value in sorted(values))
    return tuple((value, broken) for value, broken in each if broken)


def _typed_settings(typed: str, kind: str) -> list[float]:
    unit, faults, values = SETTINGS[kind], [], []
    for text in typed.split(","):
        try:
            values.append(float(text) if _is_plain(text) else parse(text, unit))
        except (QuantityError, ValueError) as error:
            faults.append(Problem("--settings", text.strip(), str(error), f'numbers such as "2, 4, 6" ({unit})'))
    if faults:
        raise InputError(faults)
    low = -180.0 if kind == "pitch" else 0.0
    if not all(math.isfinite(v) and (v > low or kind == "pitch") and abs(v) <= 1e6 for v in values):
        raise InputError(Problem("--settings", "", typed, "finite numbers above 0"))
    if not 2 <= len(set(values)) <= _MOST_SETTINGS or len(set(values)) != len(values):
        words = f"{len(set(values))} different settings of {len(values)}"
        raise InputError(Problem("--settings", "", words, f"2 to {_MOST_SETTINGS} settings, each once"))
    return values


def _is_plain(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
