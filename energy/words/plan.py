"""The plan of a road test: how many pairs of runs show the predicted effect, their order and sheet, in words and data."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from energy.chain.prediction import typed_effect
from energy.pages import run_sheet
from vehicle.problems import InputError, Problem
from vehicle.road_test.comparison import spread_within_pairs
from vehicle.road_test.planning import (
    DEFAULT_SPREAD,
    DEFAULT_SPREAD_WORDS,
    PlannedRun,
    driving_order,
    pairs_needed,
    power_of_pairs,
    smallest_effect,
)
from vehicle.road_test.read import Reader, read_one, windows_of_runs
from vehicle.road_test.run_list import Manifest
from vehicle.units import QuantityError, parse, show

MOST_ORDERED = 200
MANY_PAIRS = 40
_POWERS = (0.8, 0.9)
_MOST_SHOWN = 60


@dataclass(frozen=True)
class Spread:
    """The standard deviation of the difference within a pair, as a share of the fuel, and where it comes from."""

    share: float
    words: str


@dataclass(frozen=True)
class RoadPlan:
    """How many pairs are needed and planned, what they can show, and the order to drive them in.

    `effect` and `error` are the predicted change of fuel and its half-width as shares (None: nothing is predicted).
    `needed` has the pairs by power (the wanted one among them), None where no effect is predicted; `smallest` the
    smallest effect (share) by number of pairs, shown with 80 %. `run_length_m` and `speed_m_s` are None where they
    are not known.
    """

    effect: float | None
    error: float
    spread: Spread
    level: float
    power: float
    without_state: str
    needed: dict[float, int | None]
    pairs_asked: int | None
    pairs_planned: int
    smallest: dict[int, float]
    order: tuple[PlannedRun, ...]
    speed: str
    road: str
    run_length_m: float | None
    speed_m_s: float | None

    @property
    def distance_m(self) -> float | None:
        """Return the way of all runs together, None where the length of one is not known."""
        return None if self.run_length_m is None else 2 * self.pairs_planned * self.run_length_m

    @property
    def driving_s(self) -> float | None:
        """Return the time of all runs together, without the turning around; None where it is not known."""
        if self.distance_m is None or not self.speed_m_s:
            return None
        return self.distance_m / self.speed_m_s


def assumed_spread() -> Spread:
    """Return the spread that is taken where nothing is known."""
    return Spread(DEFAULT_SPREAD, DEFAULT_SPREAD_WORDS)


def typed_spread(text: str, where: str = "--spread") -> Spread:
    """Return the spread that a user states, such as "3 %". Raises InputError."""
    value, _ = typed_effect(text, where)
    if value <= 0:
        raise InputError(Problem(where, "", text, 'a share above zero, such as "3 %"'))
    return Spread(value, "as given")


def typed_length(text: str, where: str) -> float:
    """Return the length of a run in m, as typed ("15 km", "10 mi"). Raises InputError that names `where`."""
    accepted = '0.5-500 km, such as "15 km" or "10 mi"'
    try:
        metres = parse(text, "m")
    except QuantityError as error:
        raise InputError(Problem(where, "", str(error), accepted)) from None
    if not 500 <= metres <= 500e3:
        raise InputError(Problem(where, "", text, accepted))
    return metres


def speed_words(speed_m_s: float | None) -> str:
    """Return a road speed for the sheet, in both of the units that people drive by."""
    if speed_m_s is None:  # a schedule, or nothing known: no one speed
        return "one steady speed"
    return f"{show(speed_m_s, 'speed', 'metric')} ({show(speed_m_s, 'speed', 'us')})"


def spread_of_runs(
    test: Manifest, name: str = "", *, read: Reader = read_one, progress: Callable[[float], None] | None = None
) -> Spread:
    """Return the spread that the runs of a test (or runs of one state alone) show; `name` is what to call them.

    Raises InputError where they are too few, do not differ, or cannot be read.
    """
    runs, _, _ = windows_of_runs(test, read=read, progress=progress)
    value, freedom = spread_within_pairs(runs)
    name = name or test.path.name
    if not value > 0:
        raise InputError(Problem(name, "", "the runs do not differ at all", "runs of real drives"))
    return Spread(value, f"from the {len(runs)} runs of {name} ({freedom} degrees of freedom)")


def road_plan(
    predicted: tuple[float, float] | None,
    spread: Spread,
    *,
    pairs: int | None = None,
    without_state: str = "stowed",
    level: float = 0.95,
    power: float = 0.8,
    speed: str = "one steady speed",
    road: str = "the same road out and back",
    seed: int | None = None,
    run_length_m: float | None = None,
    speed_m_s: float | None = None,
) -> RoadPlan:
    """Return the plan that shows a predicted effect (value and half-width) with the chance `power` at `level`.

    `pairs` plans that many instead; the same `seed` draws the same order. Raises InputError where there is neither an
    effect nor a number of pairs, the effect is zero, or more than 100 000 pairs would be needed.
    """
    powers = sorted({*_POWERS, power})
    if predicted is None:
        if pairs is None:
            raise InputError(Problem("plan", "", "no effect to plan for", 'a scenario, --effect "4 %", or --pairs 6'))
        needed: dict[float, int | None] = dict.fromkeys(powers)
    else:
        if predicted[0] == 0:
            raise InputError(Problem("--effect", "", "0 %", 'an effect other than zero, such as "4 %"'))
        needed = {p: pairs_needed(abs(predicted[0]), spread.share, p, level) for p in powers}
    planned = pairs or needed[power] or 2
    planned += planned % 2  # whole blocks of two pairs: out and back
    return RoadPlan(
        None if predicted is None else predicted[0],
        0.0 if predicted is None else predicted[1],
        spread,
        level,
        power,
        without_state,
        needed,
        pairs,
        planned,
        {n: smallest_effect(spread.share, n, 0.8, level) for n in sorted({4, 6, 8, 12, 16, 24, planned})},
        driving_order(min(planned, MOST_ORDERED), ("working", without_state), seed),
        speed,
        road,
        run_length_m,
        speed_m_s,
    )


@dataclass(frozen=True)
class Chances:
    """By number of pairs: the chance to show the predicted effect, and its ends; the smallest effect that is shown.

    `chance` and its ends (the predicted effect less and plus its half-width) are None where nothing is predicted.
    `smallest_effect` is shown with the plan's wanted chance.
    """

    pairs: np.ndarray
    chance: np.ndarray | None
    chance_low: np.ndarray | None
    chance_high: np.ndarray | None
    smallest_effect: np.ndarray


def chances(plan: RoadPlan) -> Chances:
    """Return what each number of pairs can do, from two up to twice the plan's own (at most 60 numbers)."""
    last = max(8, 2 * plan.pairs_planned)
    pairs = np.unique(
        np.append(np.linspace(2, last, min(_MOST_SHOWN, last - 1)).round().astype(int), plan.pairs_planned)
    )
    smallest = np.array([smallest_effect(plan.spread.share, n, plan.power, plan.level) for n in pairs.tolist()])
    if plan.effect is None:
        return Chances(pairs, None, None, None, smallest)

    def chance(effect: float) -> np.ndarray:
        return np.array([power_of_pairs(effect, plan.spread.share, n, plan.level) for n in pairs.tolist()])

    size = abs(plan.effect)
    return Chances(pairs, chance(size), chance(max(0.0, size - plan.error)), chance(size + plan.error), smallest)


def plan_sentence(plan: RoadPlan) -> str:
    """Return the answer in one sentence."""
    sure = f"at {100 * plan.level:g} % confidence"
    against = f"working against {plan.without_state}"
    planned = f"{plan.pairs_planned} pairs ({2 * plan.pairs_planned} runs)"
    if plan.effect is None:
        shown = smallest_effect(plan.spread.share, plan.pairs_planned, plan.power, plan.level)
        return (
            f"{planned} show an effect of {100 * shown:.1f} % of the fuel or more, {against}, with {100 * plan.power:.0f} % "
            f"chance ({sure})."
        )
    effect = f"the predicted {100 * plan.effect:+.1f} % of the fuel, {against},"
    chance = power_of_pairs(abs(plan.effect), plan.spread.share, plan.pairs_planned, plan.level)
    if plan.pairs_asked is None and plan.pairs_planned > MANY_PAIRS:
        return f"{planned} would be needed to show {effect} with {100 * plan.power:.0f} % chance ({sure}): too many to drive."
    return f"{planned} show {effect} with {_chance_words(chance)} % chance ({sure})."


def _chance_words(chance: float) -> str:
    return "nearly 100" if chance > 0.995 else f"{100 * chance:.0f}"


def effort_words(plan: RoadPlan) -> str:
    """Return the way and time of all runs in words; "" where the length of a run is not known."""
    if plan.distance_m is None:
        return ""
    hours = plan.driving_s
    time = "" if hours is None else f", {hours / 3600:.1f} h of driving without the turning around"
    return f"{2 * plan.pairs_planned} runs of {_way(plan.run_length_m or 0.0)}: {_way(plan.distance_m)} in all{time}"


def _way(metres: float) -> str:
    return f"{metres / 1000:.3g} km ({metres / 1609.344:.3g} mi)"


def plan_words(plan: RoadPlan) -> list[str]:
    """Return the plan as lines of text: the answer, what it rests on, what can be shown, without the run sheet."""
    out = [plan_sentence(plan), "",
           f"Spread of the difference within a pair: {100 * plan.spread.share:.2f} % of the fuel (standard deviation), "
           f"{plan.spread.words}."]  # fmt: skip
    if plan.effect is not None:
        out.append(f"To show {100 * plan.effect:+.1f} % at {100 * plan.level:g} %:")
        out += [f"  {pairs} pairs for {100 * power:.0f} % power" for power, pairs in plan.needed.items()]
        if (plan.needed[plan.power] or 0) > MANY_PAIRS:
            out.append(f"  {TOO_MANY}")
    out += ["Smallest effect that can be shown with 80 % power:"]
    out += [f"  {n:>3} pairs: {100 * shown:.1f} %" for n, shown in plan.smallest.items()]
    return out + notes(plan)


TOO_MANY = (
    "That is more than a few days of driving: a steadier road, longer runs (20 minutes) and a calmer day shrink the "
    "spread; or measure a larger effect (a higher speed)."
)


def notes(plan: RoadPlan) -> list[str]:
    """Return what else is to be said of a plan."""
    found = []
    least = abs(plan.effect or 0.0) - plan.error
    if plan.effect is not None and plan.error > 0:
        if least > 0:
            chance = power_of_pairs(least, plan.spread.share, plan.pairs_planned, plan.level)
            small = math.copysign(100 * least, plan.effect)
            found.append(
                f"The prediction is {100 * plan.effect:+.1f} % ± {100 * plan.error:.1f} %: if the effect is only "
                f"{small:+.1f} %, {plan.pairs_planned} pairs show it with {_chance_words(chance)} % chance."
            )
        else:
            found.append(
                f"The prediction is {100 * plan.effect:+.1f} % ± {100 * plan.error:.1f} %: the effect may be too small to show."
            )
    effort = effort_words(plan)
    if effort:
        found.append(f"{effort}.")
    if plan.pairs_asked is not None and plan.pairs_planned != plan.pairs_asked:
        found.append(
            f"({plan.pairs_planned} pairs are planned, not {plan.pairs_asked}: two make a block, out and back)"
        )
    if plan.pairs_planned > MOST_ORDERED:
        found.append(f"(the order below is for the first {MOST_ORDERED} pairs)")
    return found


def as_data(plan: RoadPlan) -> dict[str, Any]:
    """Return the plan for `--json`."""
    chance = None
    if plan.effect is not None:
        chance = 100 * power_of_pairs(abs(plan.effect), plan.spread.share, plan.pairs_planned, plan.level)
    return {
        "sentence": plan_sentence(plan),
        "effect_percent": None if plan.effect is None else 100 * plan.effect,
        "spread_percent": 100 * plan.spread.share,
        "spread_from": plan.spread.words,
        "level": plan.level,
        "power": plan.power,
        "pairs_needed": plan.needed[plan.power],
        "pairs_for_80_percent_power": plan.needed[0.8],
        "pairs_for_90_percent_power": plan.needed[0.9],
        "pairs_planned": plan.pairs_planned,
        "chance_percent": chance,
        "distance_km": None if plan.distance_m is None else plan.distance_m / 1000,
        "driving_h": None if plan.driving_s is None else plan.driving_s / 3600,
        "smallest_effect_percent": {str(n): 100 * shown for n, shown in plan.smallest.items()},
        "order": [run.as_dict() for run in plan.order],
    }


def sheet(plan: RoadPlan) -> str:
    """Return the run sheet as one HTML page to print."""
    return run_sheet.as_html(plan.order, plan.speed, plan.road)


def sheet_lines(plan: RoadPlan) -> list[str]:
    """Return the run sheet as lines of text."""
    return run_sheet.lines(plan.order, plan.speed, plan.road)
