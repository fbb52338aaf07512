"""The numbers that stand large on the first screen and on the report's first page: fuel and heat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from energy.chain.limits import limits_of
from energy.words.answer import money_per_hour
from energy.words.verdict import drawn_heat, median_change_w, median_heat_w, number, range_words
from vehicle.units import UnitSystem, figures, show, show_pair

if TYPE_CHECKING:
    from energy.chain.answer import Answered


@dataclass(frozen=True)
class Card:
    """One number: what it is, the number, and what goes with it, a line each."""

    name: str
    value: str
    lines: tuple[str, ...]


def cards(answered: Answered, system: UnitSystem) -> tuple[Card, Card]:
    """Return the change in fuel and the heat, from the figures that the verdict states."""
    return _fuel_card(answered, system), _heat_card(answered, system)


def _fuel_card(answered: Answered, system: UnitSystem) -> Card:
    fuel, base = answered.answer.inputs.fuel, number(answered.answer.without.supply.source_w)
    name = "Fuel" if fuel is not None else "Battery energy"
    kind = answered.power_kind if fuel is None else answered.fuel_kind
    change = median_change_w(answered)

    def shown(watts: float) -> str:
        volume = watts * answered.over_s / (1.0 if fuel is None else fuel.heating_value_j_per_m3)
        return show(volume, kind, system, digits=3)

    if abs(change) < 0.05:
        return Card(name, "no change", () if base < 0.05 else (f"{shown(base)} with and without",))
    money = money_per_hour(answered, change)
    lines = [f"from {shown(base)} to {shown(base + change)}"]
    if money is not None and answered.trip is None:
        lines.append(f"{figures(money[0], 3, signed=True)} {money[1]} per hour")
    value = f"{figures(100 * change / base, 2, signed=True)} %" if base > 0.05 else shown(change)
    return Card(name, value, tuple(lines))


def _heat_card(answered: Answered, system: UnitSystem) -> Card:
    heat, kind = median_heat_w(answered), answered.power_kind
    name = f"Heat into {answered.scenario.heater.what}"
    if heat <= 0.5:
        return Card(name, "none", ())
    lines = () if answered.spread is None else (f"90 % range {range_words(drawn_heat(answered), kind, system)}",)
    return Card(name, show(heat * answered.over_s, kind, system), lines)


@dataclass(frozen=True)
class Taken:
    """What a turbine takes or gives: its name, the power (or, over a trip, the energy) in SI units, and in words."""

    name: str
    amount: float
    words: str


def taken_and_given(answered: Answered, system: UnitSystem) -> tuple[Taken, Taken]:
    """Return what goes into the engine (or out of the pack) for the turbine, and the heat that it gives for it."""
    source = "extra fuel" if answered.answer.inputs.fuel is not None else "out of the pack"
    change, heat = median_change_w(answered) * answered.over_s, median_heat_w(answered) * answered.over_s
    words = "none" if abs(change) < 0.05 else show(change, answered.power_kind, system)
    return Taken(source, change, words), Taken("heat", heat, show(heat, answered.power_kind, system))


@dataclass(frozen=True)
class LimitRow:
    """A stated limit: its name, how much of it is used (1 at the limit), and that in words."""

    name: str
    share: float
    words: str


def largest_limits(answered: Answered, system: UnitSystem, most: int = 3) -> tuple[LimitRow, ...]:
    """Return the stated limits that are used most, the most used first; what is not known is left out."""
    known = sorted((x for x in limits_of(answered) if x.share == x.share), key=lambda limit: -limit.share)
    return tuple(
        LimitRow(
            limit.name,
            limit.share,
            " of ".join(show_pair(limit.value, limit.limit, limit.kind, system))
            + (", over its limit" if limit.broken else f" ({100 * limit.share:.0f} %)"),
        )
        for limit in known[:most]
    )
