"""The plan of a road test: how many pairs of runs show the predicted effect, and the order to drive them in."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from energy.chain.prediction import typed_effect
from vehicle.problems import InputError, Problem
from vehicle.road_test.comparison import spread_within_pairs
from vehicle.road_test.planning import (
    DEFAULT_SPREAD,
    DEFAULT_SPREAD_ON_BATTERY_WORDS,
    DEFAULT_SPREAD_WORDS,
    HEAVIER,
    HEAVIER_UNSTEADY,
    Chance,
    PlannedRun,
    chance_on_the_road,
    changes_of,
    driving_order,
    pairs_needed,
    smallest_effect,
)
from vehicle.road_test.read import Reader, read_one, windows_of_runs
from vehicle.road_test.rule import at_steady_speed
from vehicle.road_test.run_list import Manifest
from vehicle.units import QuantityError, parse

MOST_ORDERED = 200
_POWERS = (0.8, 0.9)
_MOST_SHOWN = 60


@dataclass(frozen=True)
class RunSpread:
    """The standard deviation of the difference within a pair, as a share of the fuel, and where it comes from.

    `freedom` are the degrees of freedom that it was found with, None where it is given or assumed; `heavier` is what it
    is widened by for the tails of real runs.
    """

    share: float
    words: str
    freedom: int | None = None
    heavier: float = HEAVIER


@dataclass(frozen=True)
class PlanAsked:
    """What a plan is asked for; `pairs` plans that many instead of as many as are needed for `power` at `level`.

    `on_battery` is a drive that has no fuel: shares are then of battery energy.
    `speed` and `road` are words for the sheet; the same `seed` draws the same order. `few_changes` plans out and
    back in
    one state before the rotor is changed; `change_s` is how long a change takes (None: a usual time).
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
    few_changes: bool = False
    change_s: float | None = None
    on_battery: bool = False


# Time to stow a rotor or set it free again, and to take it off or put it on: common practice, no source.
CHANGE_S = {"stowed": 300.0, "absent": 2700.0}


@dataclass(frozen=True)
class RoadPlan:
    """How many pairs are needed and planned, what they can show, and the order to drive them in.

    `effect` and `error` are the predicted change of fuel and its half-width as shares (None: nothing is predicted).
    `needed` has the pairs by power (the wanted one among them), None where no effect is predicted; `smallest` the
    smallest effect (share) by number of pairs, shown with 80 %. `run_length_m` and `speed_m_s` are None where they
    are not known. `changes` is how often the rotor is changed in the order planned, `other_changes` how often in the
    other order (the ideal one where few changes are planned), each taking `change_s`.
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
    on_battery: bool
    few_changes: bool
    changes: int
    other_changes: int
    change_s: float

    def chance(self, effect: float, pairs: int, *, few: bool | None = None) -> float:
        """Return the chance that a number of pairs shows an effect (share), in the planned order or as `few` says."""
        few = self.few_changes if few is None else few
        return _chance(self.spread, few)(effect, self.spread.share, pairs, self.level)

    def smallest_shown(self, pairs: int, power: float) -> float:
        """Return the smallest effect (share) that a number of pairs shows with the chance `power`."""
        of = _chance(self.spread, self.few_changes)
        return smallest_effect(self.spread.share, pairs, power, self.level, of)

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

    @property
    def run_s(self) -> float | None:
        """Return the time of one run; None where its length or speed is not known."""
        return None if self.run_length_m is None or not self.speed_m_s else self.run_length_m / self.speed_m_s


def _chance(spread: RunSpread, few: bool) -> Chance:
    return functools.partial(chance_on_the_road, freedom=spread.freedom, few=few, heavier=spread.heavier)


def assumed_spread(on_battery: bool = False) -> RunSpread:
    """Return the spread that is taken where nothing is known."""
    return RunSpread(DEFAULT_SPREAD, DEFAULT_SPREAD_ON_BATTERY_WORDS if on_battery else DEFAULT_SPREAD_WORDS)


def typed_spread(text: str, where: str = "--spread") -> RunSpread:
    """Return the spread that a user states, such as "3 %". Raises InputError."""
    value, _ = typed_effect(text, where)
    if value <= 0:
        raise InputError(Problem(where, "", text, 'a share above zero, such as "3 %"'))
    return RunSpread(value, "as given")


def typed_change(text: str, where: str = "--change-time") -> float:
    """Return how long a change of the rotor takes in s, as typed ("20 min"). Raises InputError that names `where`."""
    accepted = '"20 min" or "1 h", up to 8 h'
    try:
        seconds = parse(text, "s")
    except QuantityError as error:
        raise InputError(Problem(where, "", str(error), accepted)) from None
    if not 0 <= seconds <= 8 * 3600:
        raise InputError(Problem(where, "", text, accepted))
    return seconds


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
    heavier = HEAVIER if at_steady_speed(runs) else HEAVIER_UNSTEADY
    return RunSpread(value, f"from the {len(runs)} runs of {name} ({freedom} degrees of freedom)", freedom, heavier)


def road_plan(predicted: tuple[float, float] | None, spread: RunSpread, asked: PlanAsked) -> RoadPlan:
    """Return the plan that shows a predicted effect (value and half-width) with the chance that is asked for.

    Raises InputError where there is neither an effect nor a number of pairs, the effect is zero, or more than 100 000
    pairs would be needed.
    """
    powers, chance = sorted({*_POWERS, asked.power}), _chance(spread, asked.few_changes)
    if predicted is None:
        if asked.pairs is None:
            raise InputError(Problem("plan", "", "no effect to plan for", 'a scenario, --effect "4 %", or --pairs 6'))
        needed: dict[float, int | None] = dict.fromkeys(powers)
    else:
        if predicted[0] == 0:
            raise InputError(Problem("--effect", "", "0 %", 'an effect other than zero, such as "4 %"'))
        needed = {p: pairs_needed(abs(predicted[0]), spread.share, p, asked.level, chance) for p in powers}
    planned = asked.pairs or needed[asked.power] or 2
    planned += planned % 2  # whole blocks of two pairs: out and back
    states = ("working", asked.without_state)
    both = [driving_order(min(planned, MOST_ORDERED), states, asked.seed, few=few) for few in (False, True)]
    order, other = both[::-1] if asked.few_changes else both
    shown = sorted({4, 6, 8, 12, 16, 24, planned})
    return RoadPlan(
        effect=None if predicted is None else predicted[0],
        error=0.0 if predicted is None else predicted[1],
        spread=spread,
        level=asked.level,
        power=asked.power,
        without_state=asked.without_state,
        on_battery=asked.on_battery,
        needed=needed,
        pairs_asked=asked.pairs,
        pairs_planned=planned,
        smallest={n: smallest_effect(spread.share, n, 0.8, asked.level, chance) for n in shown},
        order=order,
        speed=asked.speed,
        road=asked.road,
        run_length_m=asked.run_length_m,
        speed_m_s=asked.speed_m_s,
        few_changes=asked.few_changes,
        changes=changes_of(order),
        other_changes=changes_of(other),
        change_s=CHANGE_S.get(asked.without_state, 300.0) if asked.change_s is None else asked.change_s,
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
    smallest = np.array([plan.smallest_shown(n, plan.power) for n in pairs.tolist()])
    if plan.effect is None:
        return Chances(pairs, None, None, None, smallest)

    def chance(effect: float) -> np.ndarray:
        return np.array([plan.chance(effect, n) for n in pairs.tolist()])

    size = abs(plan.effect)
    return Chances(pairs, chance(size), chance(max(0.0, size - plan.error)), chance(size + plan.error), smallest)
