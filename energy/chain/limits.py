"""The limits that a scenario states for its rotor, generator and element, and which of them an answer breaks.

A limit that is broken is the first thing that any answer says; it makes the command line leave with status 3.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from energy.chain.ledger import TurbineAtWork, turbine_at_work
from energy.scenario.inputs import Inputs
from energy.scenario.keys.names import QuantityKey

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.chain.heating import Heating

_INTO_THE_ELEMENT = "Power into the element"
ROUNDING = 1e-9  # of a share
LimitKind = Literal["rotor_speed", "tip_speed", "force", "current", "power"]


@dataclass(frozen=True)
class StatedLimit:
    """One limit that the scenario states: what is limited, its key, its values at work and the limit, arrays in SI."""

    name: str
    key: QuantityKey
    kind: LimitKind
    value: np.ndarray
    limit: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """The values as a share of the limit (1 at the limit), NaN where they are not known."""
        return np.asarray(self.value / self.limit)

    @property
    def in_a_sentence(self) -> str:
        """What is limited, as it stands in a sentence."""
        return _in_a_sentence(self.name)


@dataclass(frozen=True)
class OperatingLimit:
    """One limit that applies: what is limited, its key, its value at work and the limit, both in SI.

    `value` is NaN where it is not known (the rotor speed of a turbine known by its watts alone).
    """

    name: str
    key: QuantityKey
    kind: LimitKind
    value: float
    limit: float

    @property
    def share(self) -> float:
        """The value as a share of the limit: above 1 it is broken."""
        return self.value / self.limit if self.limit > 0 else math.inf

    @property
    def in_a_sentence(self) -> str:
        """What is limited, as it stands in a sentence."""
        return _in_a_sentence(self.name)

    @property
    def broken(self) -> bool:
        """Whether the value exceeds the limit (by more than rounding)."""
        return self.share > 1 + ROUNDING


def stated_limits(inputs: Inputs, turbine: TurbineAtWork) -> tuple[StatedLimit, ...]:
    """Return every limit that the scenario states, with its values at work, arrays of the conditions' shape."""
    limits = inputs.turbine
    tip = np.asarray(turbine.rotor_speed_rad_s) * np.asarray(limits.diameter_m) / 2
    current = math.nan if turbine.electrical is None else turbine.electrical.current_a
    stated: tuple[tuple[str, QuantityKey, LimitKind, Any, Any], ...] = (
        (
            "Rotor speed",
            "rotor.highest_rotor_speed",
            "rotor_speed",
            turbine.rotor_speed_rad_s,
            limits.highest_rotor_speed_rad_s,
        ),
        ("Blade tip speed", "rotor.highest_tip_speed", "tip_speed", tip, limits.highest_tip_speed_m_s),
        ("Thrust", "rotor.highest_thrust", "force", turbine.thrust_n, limits.highest_thrust_n),
        ("Current", "generator.highest_current", "current", current, limits.highest_current_a),
        (_INTO_THE_ELEMENT, "heater.rated_power", "power", turbine.heat_power_w, limits.rated_power_w),
    )
    return tuple(
        StatedLimit(name, key, kind, np.asarray(value), np.asarray(limit))
        for name, key, kind, value, limit in stated
        if limit is not None
    )


def operating_limits(inputs: Inputs, turbine: TurbineAtWork) -> tuple[OperatingLimit, ...]:
    """Return every limit that the scenario states, for one working point (0-dimensional results)."""
    return tuple(
        OperatingLimit(one.name, one.key, one.kind, _number(one.value), _number(one.limit))
        for one in stated_limits(inputs, turbine)
    )


def measured_limits(
    inputs: Inputs,
    *,
    rotor_speed_rad_s: float = math.nan,
    thrust_n: float = math.nan,
    element_power_w: float = math.nan,
    current_a: float = math.nan,
) -> tuple[OperatingLimit, ...]:
    """Return the stated limits that the highest readings break, the most exceeded first; NaN breaks none."""
    measured: dict[str, float] = {
        "rotor.highest_rotor_speed": rotor_speed_rad_s,
        "rotor.highest_tip_speed": rotor_speed_rad_s * _number(inputs.turbine.diameter_m) / 2,
        "rotor.highest_thrust": thrust_n,
        "generator.highest_current": current_a,
        "heater.rated_power": element_power_w,
    }
    stated = operating_limits(inputs, turbine_at_work(inputs, with_free_run=False))
    return in_order(replace(limit, value=measured.get(limit.key, math.nan)) for limit in stated)


def keeps_limits(inputs: Inputs, turbine: TurbineAtWork) -> np.ndarray:
    """Return where no limit is passed, of the conditions' shape; what is not known passes none."""
    kept = np.ones(np.shape(turbine.heat_power_w), dtype=bool)
    for one in stated_limits(inputs, turbine):
        kept = kept & ~(one.share > 1 + ROUNDING)
    return kept


def limits_of(answered: Answered) -> tuple[OperatingLimit, ...]:
    """Return every stated limit at the hardest moment of an answer."""
    return operating_limits(answered.answer.inputs, answered.at_its_most)


def heating_limits(result: Heating) -> tuple[OperatingLimit, ...]:
    """Return every stated limit at the hardest moment of a heating; of a power log its highest power counts."""
    inputs = result.answer.inputs
    limits = () if result.hardest is None else operating_limits(inputs, result.hardest)
    if result.trip is None or result.trip.power_w is None or inputs.turbine.rated_power_w is None:
        return limits
    logged, rated = float(np.max(result.trip.power_w)), _number(inputs.turbine.rated_power_w)
    others = tuple(limit for limit in limits if limit.key != "heater.rated_power")
    return (*others, OperatingLimit(_INTO_THE_ELEMENT, "heater.rated_power", "power", logged, rated))


def in_order(limits: Iterable[OperatingLimit]) -> tuple[OperatingLimit, ...]:
    """Return those of the limits that are broken, the most exceeded first."""
    return tuple(sorted((limit for limit in limits if limit.broken), key=lambda limit: -limit.share))


def broken_limits(answered: Answered) -> tuple[OperatingLimit, ...]:
    """Return the limits that an answer breaks, the most exceeded first."""
    return in_order(limits_of(answered))


def _number(value: Any) -> float:
    return float(np.asarray(value))


def _in_a_sentence(name: str) -> str:
    return name[0].lower() + name[1:]
