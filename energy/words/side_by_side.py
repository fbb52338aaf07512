"""Two or three works or variants side by side: what each gives, costs and is limited by, and which leads in what."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from energy.words.first import largest_limits
from energy.words.heat import DANGEROUS_SHARE, duration_words, figure, reached_share
from energy.words.verdict import median_change_w, median_heat_w, stall_warnings, verdict
from vehicle.units import UnitSystem, show

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.chain.heating import Heating

_LONGEST = 28  # letters of a name


@dataclass(frozen=True)
class Contender:
    """One of those that are compared: its name, its answer and how its load warms (None where that is not known)."""

    name: str
    answered: Answered
    heated: Heating | None


@dataclass(frozen=True)
class Measure:
    """One thing that all are compared by: a value for each (NaN where there is none) to draw, and in words."""

    name: str
    values: tuple[float, ...]
    words: tuple[str, ...]


def measures(contenders: Sequence[Contender], system: UnitSystem) -> tuple[Measure, ...]:
    """Return extra fuel (or charge), heat, thrust, warm-up to the target and the limit used most, for every contender.

    Values of one measure share a unit: source power and heat in W (mean over a trip), N, s, share of the limit.
    """

    def of(name: str, figure: Callable[[Contender], tuple[float, str]]) -> Measure:
        pairs = [figure(one) for one in contenders]
        return Measure(name, tuple(value for value, _ in pairs), tuple(words for _, words in pairs))

    return (
        of("extra fuel", lambda one: _cost(one.answered, system)),
        of("heat", lambda one: _heat(one.answered, system)),
        of("thrust", lambda one: _thrust(one.answered, system)),
        of("warm-up", lambda one: _warm_up(one.heated)),
        of("limits", lambda one: _limit(one.answered, system)),
    )


def _cost(answered: Answered, system: UnitSystem) -> tuple[float, str]:
    watts, fuel = median_change_w(answered), answered.answer.inputs.fuel
    if abs(watts) < 0.05:
        return 0.0, "none"
    volume = watts * answered.over_s / (1.0 if fuel is None else fuel.heating_value_j_per_m3)
    kind = answered.power_kind if fuel is None else answered.fuel_kind
    return watts, show(volume, kind, system, signed=True, digits=2) + _over(answered)


def _heat(answered: Answered, system: UnitSystem) -> tuple[float, str]:
    watts = median_heat_w(answered)
    if watts <= 0.5:
        return watts, "none"
    return watts, show(watts * answered.over_s, answered.power_kind, system) + _over(answered)


def _over(answered: Answered) -> str:
    """Return what a number is of, where it is that of a trip: next to one of a steady drive it would mislead."""
    return "" if answered.trip is None else " on the trip"


def _thrust(answered: Answered, system: UnitSystem) -> tuple[float, str]:
    newtons = float(np.asarray(answered.at_its_most.thrust_n))
    return newtons, show(newtons, "force", system)


def _warm_up(heated: Heating | None) -> tuple[float, str]:
    if heated is None:
        return math.nan, "not known"
    seconds = figure(heated.outcome.time_to_target_s)
    if math.isfinite(seconds):
        return seconds, duration_words(seconds)
    share = reached_share(heated)
    return seconds, f"unlikely to be reached ({100 * share:.0f} %)" if share >= DANGEROUS_SHARE else "not reached"


def _limit(answered: Answered, system: UnitSystem) -> tuple[float, str]:
    rows = largest_limits(answered, system, 1)
    return (rows[0].share, f"{rows[0].name.lower()}: {rows[0].words}") if rows else (math.nan, "none stated")


def short_names(titles: Sequence[str], taken: Sequence[str] = ()) -> list[str]:
    """Return a short name for each title, no two alike: what stands before its first comma."""
    names: list[str] = []
    for title in titles:
        name = title.removeprefix("Invented demo: ").partition(",")[0].strip()
        if len(name) > _LONGEST:  # to a whole word, where it has several: half of one, or of a number, misleads
            name = name[:_LONGEST].rpartition(" ")[0].rstrip(" :;-") or name[:_LONGEST]
        name = name or "untitled"
        k, unlike = 2, name
        while unlike in names or unlike in taken:
            unlike, k = f"{name} ({k})", k + 1
        names.append(unlike)
    return names


def finding(contenders: Sequence[Contender], system: UnitSystem) -> str:
    """Return what the comparison shows: first who must not be operated, then who leads in heat and in cost."""
    barred = [one.name for one in contenders if verdict(one.answered, system).dangers]
    stalled = [one.name for one in contenders if stall_warnings(one.answered, system) and one.name not in barred]
    parts = [f"Do not operate: {_listed(barred)}. A limit is exceeded."] if barred else []
    parts += [f"Stalled, or may stay so: {_listed(stalled)}."] if stalled else []
    named = {measure.name: measure for measure in measures(contenders, system)}
    heat, cost = named["heat"], named["extra fuel"]
    parts.append(_leader(contenders, heat, "Maximum heat", highest=True))
    fuels = {one.answered.answer.inputs.fuel is None for one in contenders}
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
