"""The plan of a road test: how many pairs of runs show the predicted effect, and the order to drive them in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from energy.chain.prediction import typed_effect
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
from vehicle.units import QuantityError, parse

MOST_ORDERED = 200
_POWERS = (0.8, 0.9)
_MOST_SHOWN = 60


@dataclass(frozen=True)
class RunSpread:
    """The standard deviation of the difference within a pair, as a share of the fuel, and where it comes from."""

    share: float
    words: str


@dataclass(frozen=True)
class PlanAsked:
    """What a plan is asked for; `pairs` plans that many instead of as many as are needed for `power` at `level`.

    `speed` and `road` are words for the sheet; the same `seed` draws the same order.
    """

    pairs: int | None = None
    without_state: str = "stowed"
    level: float = 0.95
    power: float = 0.8
    speed: str = "one steady speed"
    road: str = "the same road out and back"
    seed: int | None = None
    run_length_m: float | None = None
    speed_m_s: float | None = None


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
    spread: RunSpread
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


def assumed_spread() -> RunSpread:
    """Return the spread that is taken where nothing is known."""
    return RunSpread(DEFAULT_SPREAD, DEFAULT_SPREAD_WORDS)


def typed_spread(text: str, where: str = "--spread") -> RunSpread:
    """Return the spread that a user states, such as "3 %". Raises InputError."""
    value, _ = typed_effect(text, where)
    if value <= 0:
        raise InputError(Problem(where, "", text, 'a share above zero, such as "3 %"'))
    return RunSpread(value, "as given")


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


def spread_of_runs(
    test: Manifest, name: str = "", *, read: Reader = read_one, progress: Callable[[float], None] | None = None
) -> RunSpread:
    """Return the spread that the runs of a test (or runs of one state alone) show; `name` is what to call them.

    Raises InputError where they are too few, do not differ, or cannot be read.
    """
    runs = windows_of_runs(test, read=read, progress=progress).runs
    value, freedom = spread_within_pairs(runs)
    name = name or test.path.name
    if not value > 0:
        raise InputError(Problem(name, "", "the runs do not differ at all", "runs of real drives"))
    return RunSpread(value, f"from the {len(runs)} runs of {name} ({freedom} degrees of freedom)")


def road_plan(predicted: tuple[float, float] | None, spread: RunSpread, asked: PlanAsked) -> RoadPlan:
    """Return the plan that shows a predicted effect (value and half-width) with the chance that is asked for.

    Raises InputError where there is neither an effect nor a number of pairs, the effect is zero, or more than 100 000
    pairs would be needed.
    """
    powers = sorted({*_POWERS, asked.power})
    if predicted is None:
        if asked.pairs is None:
            raise InputError(Problem("plan", "", "no effect to plan for", 'a scenario, --effect "4 %", or --pairs 6'))
        needed: dict[float, int | None] = dict.fromkeys(powers)
    else:
        if predicted[0] == 0:
            raise InputError(Problem("--effect", "", "0 %", 'an effect other than zero, such as "4 %"'))
        needed = {p: pairs_needed(abs(predicted[0]), spread.share, p, asked.level) for p in powers}
    planned = asked.pairs or needed[asked.power] or 2
    planned += planned % 2  # whole blocks of two pairs: out and back
    shown = sorted({4, 6, 8, 12, 16, 24, planned})
    return RoadPlan(
        effect=None if predicted is None else predicted[0],
        error=0.0 if predicted is None else predicted[1],
        spread=spread,
        level=asked.level,
        power=asked.power,
        without_state=asked.without_state,
        needed=needed,
        pairs_asked=asked.pairs,
        pairs_planned=planned,
        smallest={n: smallest_effect(spread.share, n, 0.8, asked.level) for n in shown},
        order=driving_order(min(planned, MOST_ORDERED), ("working", asked.without_state), asked.seed),
        speed=asked.speed,
        road=asked.road,
        run_length_m=asked.run_length_m,
        speed_m_s=asked.speed_m_s,
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
