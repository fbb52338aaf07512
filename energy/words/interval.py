"""What the picture of a verdict's range holds: its ends, and the marks to read it by. Numbers are in the user's units.

The picture is drawn by energy/pictures/interval.py; the words here are its labels and its text for a screen reader.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from energy.chain.limits import limits_of
from energy.words.verdict import baseline, drawn_change, drawn_heat, median_change_w, median_heat_w, number
from vehicle.units import UnitSystem, figures, label, to_user

if TYPE_CHECKING:
    from energy.chain.answer import Answered

_STATE_WORDS = {"absent": "not fitted", "stowed": "carried stowed"}
_SAME_PLACE = 1e-9


@dataclass(frozen=True)
class Mark:
    """A value on the axis and what it is; `kind` is zero, baseline, other (another source of the heat) or limit."""

    value: float
    words: str
    kind: str


@dataclass(frozen=True)
class Interval:
    """One quantity with its range: `ends` are the quantiles 5, 25, 50, 75, 95 %, or the one value without a range."""

    name: str
    unit: str
    ends: tuple[float, ...]
    marks: tuple[Mark, ...]
    signed: bool

    @property
    def middle(self) -> float:
        """The median, or the one value."""
        return self.ends[len(self.ends) // 2]

    def figure(self, value: float) -> str:
        """Return a value as it is written beside the axis, without its unit."""
        return figures(value, 2, signed=self.signed)

    @property
    def words(self) -> str:
        """The picture in words."""
        text = f"{self.name}: {self.figure(self.middle)} {self.unit}"
        if len(self.ends) == 5:
            low, lower, _, upper, high = (self.figure(end) for end in self.ends)
            text += f"; 90 % range {low} to {high}, 50 % range {lower} to {upper}"
        others = [f"{mark.words} at {self.figure(mark.value)}" for mark in self.marks if mark.kind != "zero"]
        zero = next((mark.words for mark in self.marks if mark.kind == "zero"), "")
        return "; ".join([text, f"zero is {zero.removeprefix('0: ')}", *others]) + "."


def main_interval(answered: Answered, system: UnitSystem) -> Interval:
    """Return the range of what the headline states: the change in fuel or, where that does not change, the heat."""
    about_heat = answered.spread.of == "heat" if answered.spread is not None else abs(median_change_w(answered)) < 0.05
    return heat_interval(answered, system) if about_heat else change_interval(answered, system)


def change_interval(answered: Answered, system: UnitSystem) -> Interval:
    """Return the change in fuel (of a battery drive: in pack power) with its baselines and the alternator's fuel."""
    answer, fuel = answered.answer, answered.answer.inputs.fuel
    kind = answered.power_kind if fuel is None else answered.fuel_kind
    factor = answered.over_s / (1.0 if fuel is None else fuel.heating_value_j_per_m3)
    unit, scale = _unit(kind, system)

    def shown(watts: float) -> float:
        return to_user(watts * factor, kind, system) * scale

    ends: tuple[float, ...] = (shown(median_change_w(answered)),)
    if answered.spread is not None:
        ends = tuple(to_user(value, kind, system) * scale for value in drawn_change(answered)[0])
    credited = answer.inputs.credit.replaces_alternator
    here = answer.compared_with
    zero = "same heat by the alternator" if credited else _STATE_WORDS[here]
    marks = [Mark(0.0, f"0: {zero}", "zero")]
    other = "absent" if here == "stowed" else "stowed"
    if not credited:
        base = number(answer.without.supply.source_w)
        marks.append(Mark(shown(number(answer.states[other].supply.source_w) - base), _STATE_WORDS[other], "baseline"))
        marks += _by_alternator(answered, shown)
    what = "fuel" if fuel is not None else "battery energy"
    return Interval(f"Change in {what} against {baseline(answered)}", unit, ends, tuple(marks), signed=True)


def _by_alternator(answered: Answered, shown: Callable[[float], float]) -> list[Mark]:
    source, fuel = answered.answer.other_sources.get("alternator"), answered.answer.inputs.fuel
    if source is None or fuel is None:
        return []
    value = shown(number(source.fuel_m3_s) * fuel.heating_value_j_per_m3)
    return [Mark(value, "same heat by alternator", "other")] if abs(value) > _SAME_PLACE else []


def heat_interval(answered: Answered, system: UnitSystem) -> Interval:
    """Return the heat with zero and what the element is rated for."""
    kind = answered.power_kind
    unit, scale = _unit(kind, system)
    ends: tuple[float, ...] = (to_user(median_heat_w(answered) * answered.over_s, kind, system) * scale,)
    if answered.spread is not None:
        ends = tuple(to_user(value, kind, system) * scale for value in drawn_heat(answered))
    marks = [Mark(0.0, "0: no heat", "zero")]
    rated = [limit for limit in limits_of(answered) if limit.key == "heater.rated_power"]
    if rated and answered.trip is None:
        marks.append(Mark(to_user(rated[0].limit, kind, system) * scale, "limit of the element", "limit"))
    return Interval(f"Heat into {answered.scenario.heater.what}", unit, ends, tuple(marks), signed=False)


def _unit(kind: str, system: UnitSystem) -> tuple[str, float]:
    """Return the unit of an axis and its factor; watts are read in kW."""
    return ("kW", 1e-3) if kind == "power" else (label(kind, system), 1.0)
