"""Two or three works or variants side by side: what each gives, costs and is limited by, and which leads in what."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from energy.words.first import largest_limits
from energy.words.heat import duration_words
from energy.words.verdict import median_change_w, median_heat_w, verdict
from vehicle.units import UnitSystem, show

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.chain.heating import Heating


@dataclass(frozen=True)
class Contender:
    """One of those that are compared: its name, its answer and how its load warms (None where that is not known)."""

    name: str
    told: Answered
    heated: Heating | None


@dataclass(frozen=True)
class Measure:
    """One thing that all are compared by: a value for each (NaN where there is none) to draw, and in words."""

    name: str
    values: tuple[float, ...]
    words: tuple[str, ...]


def measures(contenders: Sequence[Contender], system: UnitSystem) -> tuple[Measure, ...]:
    """Return extra fuel, heat, thrust, warm-up and the limit used most, each for every contender.

    Values of one measure share a unit: source power and heat in W (mean over a trip), N, s, share of the limit.
    """

    def of(name: str, found: Callable[[Contender], tuple[float, str]]) -> Measure:
        pairs = [found(one) for one in contenders]
        return Measure(name, tuple(value for value, _ in pairs), tuple(words for _, words in pairs))

    return (
        of("extra fuel or charge", lambda one: _cost(one.told, system)),
        of("heat", lambda one: _heat(one.told, system)),
        of("thrust", lambda one: _thrust(one.told, system)),
        of("warm-up to the target", lambda one: _warm_up(one.heated)),
        of("limit used most", lambda one: _limit(one.told, system)),
    )


def _cost(told: Answered, system: UnitSystem) -> tuple[float, str]:
    watts, fuel = median_change_w(told), told.answer.inputs.fuel
    if abs(watts) < 0.05:
        return 0.0, "none"
    volume = watts * told.over_s / (1.0 if fuel is None else fuel.heating_value_j_per_m3)
    kind = told.power_kind if fuel is None else told.fuel_kind
    return watts, show(volume, kind, system, signed=True, digits=2)


def _heat(told: Answered, system: UnitSystem) -> tuple[float, str]:
    watts = median_heat_w(told)
    return watts, show(watts * told.over_s, told.power_kind, system) if watts > 0.5 else "none"


def _thrust(told: Answered, system: UnitSystem) -> tuple[float, str]:
    newtons = float(np.asarray(told.at_its_most.thrust_n))
    return newtons, show(newtons, "force", system)


def _warm_up(heated: Heating | None) -> tuple[float, str]:
    if heated is None:
        return math.nan, "not known"
    seconds = float(heated.outcome.time_to_target_s[0])
    return seconds, duration_words(seconds) if math.isfinite(seconds) else "not reached"


def _limit(told: Answered, system: UnitSystem) -> tuple[float, str]:
    rows = largest_limits(told, system, 1)
    return (rows[0].share, f"{rows[0].name.lower()}: {rows[0].words}") if rows else (math.nan, "none stated")


def finding(contenders: Sequence[Contender], system: UnitSystem) -> str:
    """Return what the comparison shows: first who must not be operated, then who leads in heat and in cost."""
    barred = [one.name for one in contenders if verdict(one.told, system).dangers]
    stalled = [one.name for one in contenders if verdict(one.told, system).warnings and one.name not in barred]
    parts = [f"Do not operate: {_listed(barred)}. A limit is exceeded."] if barred else []
    parts += [f"Stalled, or may stay so: {_listed(stalled)}."] if stalled else []
    named = {measure.name: measure for measure in measures(contenders, system)}
    heat, cost = named["heat"], named["extra fuel or charge"]
    parts.append(_leader(contenders, heat, "Maximum heat", highest=True))
    fuels = {one.told.answer.inputs.fuel is None for one in contenders}
    if len(fuels) == 1:
        parts.append(_leader(contenders, cost, "Minimum extra fuel" if fuels == {False} else "Minimum charge"))
    else:
        parts.append("Fuel and battery energy do not compare.")
    return " ".join(parts)


def _leader(contenders: Sequence[Contender], measure: Measure, words: str, *, highest: bool = False) -> str:
    """Return who leads in a measure; all of those that differ by less than what is shown are named together."""
    best = max(measure.values) if highest else min(measure.values)
    k = measure.values.index(best)
    same = [one.name for one, text in zip(contenders, measure.words, strict=True) if text == measure.words[k]]
    if len(same) == len(contenders):
        return f"{words}: the same for all ({measure.words[k]})."
    return f"{words}: {_listed(same)} ({measure.words[k]})."


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
