"""What a road test says: `with_state` against `without_state`, over runs brought to like conditions.

Each run gives one number: its mean fuel flow over the rows kept, brought to the conditions of its pair with slopes that
are learnt inside runs only. The effect is then estimated over runs (`vehicle.road_test.effect`).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from vehicle.problems import InputError, Problem
from vehicle.quantity import Estimate
from vehicle.road_test.conclusion import Conclusion, Design, agreement_words, concluded, confounding
from vehicle.road_test.effect import (
    Blocks,
    RunLevelEffect,
    least_randomisation_p,
    less_covariate,
    randomisation_p,
    run_level_effect,
)
from vehicle.road_test.slopes import Slopes, adjusted_means, inside_slopes
from vehicle.road_test.windows import MOVING_M_S, RunWindows

SMALLEST_OF_INTEREST = 0.03
_LEAST_WINDOWS = 3
_LEAST_WIND_M_S = 0.2
_LEAST_WIND_FREEDOM = 5


@dataclass(frozen=True)
class RunChange:
    """One run against the mean fuel flow without the turbine: shares of it (0.04: 4 % more).

    `plain` is that of its own mean; `adjusted` of its mean brought to the conditions of its pair, as the effect is
    estimated from. Each is held against the mean without of its own kind, so that in pairs of two the working runs
    differ from the others by the effect on average (by `paired` for the plain ones).
    """

    name: str
    state: str
    pair: str
    direction: str
    plain: float
    adjusted: float


@dataclass(frozen=True)
class Comparison:
    """The answer of a road test: `with_state` against `without_state`.

    `effect` is the relative change of fuel flow (0.04: 4 % more), adjusted; `paired` the same from plain run means,
    without adjustment; `effect_m3_s` and `effect_m2` the change in fuel per time and per distance (None where the
    logs give no absolute fuel), `load_points` that of calculated load in percent points. `randomisation_p` is the
    share of reassignments of the states that give an effect at least as large, and `randomisation_least_p` the least
    that it can be with so many runs. `conclusion` is one of "costs",
    "saves", "no effect larger than", "cannot tell". `changes` has each of the `runs` against the mean without.
    """

    with_state: str
    without_state: str
    level: float
    effect: Estimate
    paired: Estimate
    effect_m3_s: Estimate | None
    effect_m2: Estimate | None
    load_points: Estimate | None
    baseline_m3_s: float | None
    baseline_m2: float | None
    randomisation_p: float | None
    randomisation_least_p: float | None
    conclusion: Conclusion
    words: str
    pairs: int
    runs_with: int
    runs_without: int
    design: str
    adjusted_for: tuple[str, ...]
    more_pairs: int | None
    agreement: str
    warnings: tuple[str, ...]
    runs: tuple[RunWindows, ...] = field(repr=False, default=())
    changes: tuple[RunChange, ...] = field(repr=False, default=())


@dataclass(frozen=True)
class _Found:
    """What the runs of a design show, in their own unit: flows in m3/s, load as a share.

    `wind_m_s` is the head wind of the runs (runs,) where it is allowed for, `calm` the adjusted flows less its part.
    """

    slopes: Slopes
    wind_m_s: np.ndarray | None
    plain: np.ndarray
    adjusted: np.ndarray
    calm: np.ndarray
    load: np.ndarray
    change: RunLevelEffect
    plain_change: RunLevelEffect
    without_m3_s: float
    plain_without_m3_s: float


def compare(
    runs: Sequence[RunWindows],
    *,
    with_state: str = "working",
    without_state: str | None = None,
    level: float = 0.95,
    predicted: float | None = None,
    predicted_error: float = 0.0,
    absolute: bool = True,
) -> Comparison:
    """Return what `with_state` does to fuel and load against `without_state` (stowed if there are such runs, else
    absent).

    `predicted` and `predicted_error` are the effect and half-width expected, as shares of the fuel. Raises InputError
    where a state has no run at all; where runs are too few for an interval the conclusion is "cannot tell", with the
    reason.
    """
    without_state = without_state or _without(runs, with_state)
    used, left_out = _usable(runs, with_state, without_state)
    design, not_paired = _designed(used, with_state, without_state)
    found = _found(design, level)
    effect = _relative(found, design)
    target = abs(predicted) if predicted else SMALLEST_OF_INTEREST
    conclusion, words, more = concluded(effect, design, target, named=bool(predicted))
    told = effect.change.low is not None
    p_value = randomisation_p(found.calm, design.treated, design.blocks) if told else None
    least_p = None if p_value is None else least_randomisation_p(design.treated, design.blocks)
    warnings = [text for run in runs for text in run.warnings]
    warnings += [*left_out, *not_paired, *confounding(design), *_unsure(conclusion, p_value, least_p, level)]
    baseline = found.without_m3_s if absolute else None
    speed = float(np.mean([run.means["speed_m_s"] for run in design.runs]))
    per_m = baseline / speed if baseline is not None and speed > MOVING_M_S else None
    return Comparison(
        with_state=with_state,
        without_state=without_state,
        level=level,
        effect=effect.change,
        paired=found.plain_change.times(1.0 / found.plain_without_m3_s).change,
        effect_m3_s=found.change.change if absolute else None,
        effect_m2=effect.change.times(per_m) if per_m is not None else None,
        load_points=_load_points(found, design, level, told=told),
        baseline_m3_s=baseline,
        baseline_m2=per_m,
        randomisation_p=p_value,
        randomisation_least_p=least_p,
        conclusion=conclusion,
        words=words,
        pairs=design.pairs,
        runs_with=design.runs_with,
        runs_without=design.runs_without,
        design=design.words,
        adjusted_for=(*found.slopes.names, *(() if found.wind_m_s is None else ("head wind",))),
        more_pairs=more,
        agreement=agreement_words(effect.change, predicted, predicted_error),
        warnings=tuple(dict.fromkeys(warnings)),
        runs=design.runs,
        changes=_changes(found, design),
    )


def _usable(runs: Sequence[RunWindows], with_state: str, without_state: str) -> tuple[list[RunWindows], list[str]]:
    """Return the runs of both states with enough rows left, and why others are left out.

    Raises InputError where a state has none.
    """
    used: list[RunWindows] = []
    left_out: list[str] = []
    driven = any(run.means["speed_m_s"] > MOVING_M_S for run in runs if run.kept_s)
    for run in runs:
        if run.state not in (with_state, without_state):
            continue
        if driven and run.kept_s and not run.means["speed_m_s"] > MOVING_M_S:
            left_out.append(f"{run.name}: left out, the car stands in all of it")
        elif run.weight_s.size < _LEAST_WINDOWS or not run.mean_fuel_m3_s > 0:
            most = max(run.filters, key=lambda one: one.rows, default=None)
            because = f" ({most.what}: {most.rows} rows)" if most is not None and most.rows else ""
            left_out.append(f"{run.name}: left out, only {run.kept_s:.0f} s are left after the filters{because}")
        else:
            used.append(run)
    for state in (with_state, without_state):
        if any(run.state == state for run in used):
            continue
        listed = any(run.state == state for run in runs)
        read = f"no run with the turbine {state} {'has enough rows left' if listed else 'is listed'}"
        if listed:
            read += ": " + "; ".join(left_out)[:300]
        raise InputError(Problem("runs", "state", read, f"at least two runs {with_state} and two {without_state}"))
    return used, left_out


def _found(design: Design, level: float) -> _Found:
    treated, blocks = design.treated, design.blocks
    slopes = inside_slopes(design.runs)
    plain, adjusted, load = adjusted_means(design.runs, slopes)
    wind = _run_wind(design.runs, blocks)
    change = run_level_effect(adjusted, treated, blocks, level, wind)
    plain_change = run_level_effect(plain, treated, blocks, level)
    if min(design.runs_with, design.runs_without) < 2:
        change, plain_change = change.without_interval(), plain_change.without_interval()
    calm = adjusted
    if wind is not None:
        calm = less_covariate(adjusted, treated, blocks, change.change.estimate, wind)
    without, plain_without = _without_mean(adjusted, treated, change), _without_mean(plain, treated, plain_change)
    return _Found(slopes, wind, plain, adjusted, calm, load, change, plain_change, without, plain_without)


def _relative(found: _Found, design: Design) -> RunLevelEffect:
    """Return the change as a share of the fuel without it."""
    effect = found.change.times(1.0 / found.without_m3_s)
    if effect.standard_error is None:
        return effect
    # a ratio whose denominator falls when the effect is overestimated lies too high on average, by this much
    bias = float(design.treated.mean()) * min(effect.standard_error, 0.3) ** 2
    return replace(effect, change=effect.change.moved(-bias))


def _changes(found: _Found, design: Design) -> tuple[RunChange, ...]:
    plain = (found.plain / found.plain_without_m3_s - 1).tolist()
    adjusted = (found.calm / found.without_m3_s - 1).tolist()
    return tuple(
        RunChange(run.name, run.state, run.pair, run.direction, own, like)
        for run, own, like in zip(design.runs, plain, adjusted, strict=True)
    )


def _load_points(found: _Found, design: Design, level: float, *, told: bool) -> Estimate | None:
    if not np.isfinite(found.load).all():
        return None
    points = run_level_effect(found.load, design.treated, design.blocks, level).times(100.0)
    return (points if told else points.without_interval()).change


def _unsure(conclusion: str, p_value: float | None, least_p: float | None, level: float) -> list[str]:
    if p_value is None or least_p is None or conclusion not in ("costs", "saves"):
        return []
    if p_value <= max(2 * (1 - level), 1.5 * least_p):
        return []
    return [f"the randomisation test (p = {p_value:.3f}) is less sure than the interval: a few runs carry it"]


def half_pairs(marked: Iterable[tuple[str, str]], with_state: str, without_state: str) -> list[str]:
    """Return in words what keeps runs from being compared in pairs, for who marks them; [] where nothing does.

    `marked` has (state, pair) of each run. `compare` is more lenient: it leaves out what has no partner.
    """
    runs = [(state, pair) for state, pair in marked if state in (with_state, without_state)]
    found = [f"no run is marked {s}" for s in (with_state, without_state) if all(state != s for state, _ in runs)]
    if found:
        return found
    for name in dict.fromkeys(pair for _, pair in runs if pair):
        states = {state for state, pair in runs if pair == name}
        if len(states) == 1:
            missing = without_state if with_state in states else with_state
            found.append(f"pair {name} has no run {missing}")
    alone = sum(not pair for _, pair in runs)
    if 0 < alone < len(runs):
        found.append(f"{alone} run{'s' if alone > 1 else ''} without a pair, next to runs that have one")
    return found


def spread_within_pairs(runs: Sequence[RunWindows]) -> tuple[float, int]:
    """Return how far two runs of equal kind differ, and what that rests on.

    States are allowed for, so that runs of a finished test serve as well as repeated runs of one state.

    Parameters
    ----------
    runs
        Runs cut into windows.

    Returns
    -------
    tuple
        The standard deviation of a difference between two runs [share of the fuel], and its degrees of freedom.

    Raises
    ------
    InputError
        Where fewer than three runs are left or nothing can be calculated.
    """
    used = [run for run in runs if run.weight_s.size >= _LEAST_WINDOWS and run.mean_fuel_m3_s > 0]
    states = sorted({run.state for run in used})
    if len(used) - len(states) < 1 or len(used) < 3:
        read = f"{len(used)} usable run{'' if len(used) == 1 else 's'}"
        raise InputError(Problem("runs", "", read, "at least three runs of one state, or two pairs"))
    if len(states) == 1:
        alike = [replace(run, pair="") for run in used]
        _, adjusted, _ = adjusted_means(alike, inside_slopes(alike))
        return math.sqrt(2) * float(adjusted.std(ddof=1)) / float(adjusted.mean()), len(used) - 1
    outer = [run for run in used if run.state in (states[0], states[-1])]
    design, _ = _designed(outer, states[-1], states[0])
    _, adjusted, _ = adjusted_means(design.runs, inside_slopes(design.runs))
    found = run_level_effect(adjusted, design.treated, design.blocks)
    if found.pair_spread is None:
        raise InputError(
            Problem("runs", "", "no two runs to compare", "at least two pairs, or three runs of one state")
        )
    return found.pair_spread / _without_mean(adjusted, design.treated, found), found.freedom


def _run_wind(runs: Sequence[RunWindows], blocks: np.ndarray) -> np.ndarray | None:
    """Return the head wind of every run where all say it, it differs inside pairs, and six differences are left."""
    wind = np.array([run.means["head_wind_m_s"] for run in runs])
    if not np.isfinite(wind).all():
        return None
    inside = Blocks(blocks)
    enough = inside.freedom - 1 >= _LEAST_WIND_FREEDOM
    return wind if float(inside.centred(wind).std()) > _LEAST_WIND_M_S and enough else None


def _without_mean(values: np.ndarray, treated: np.ndarray, effect: RunLevelEffect) -> float:
    """Return the mean fuel flow without the effect, from all runs: those with it less the effect."""
    mean = float(values.mean()) - effect.change.estimate * float(treated.mean())
    return mean if mean > 0 else float(values[~treated].mean())


def _without(runs: Sequence[RunWindows], with_state: str) -> str:
    for state in ("stowed", "absent"):
        if state != with_state and any(run.state == state for run in runs):
            return state
    others = "runs absent" if with_state == "stowed" else "runs stowed (or absent)"
    only = all(run.state == with_state for run in runs)
    read = f"every run is {with_state}" if only else f"there is nothing to set the runs {with_state} against"
    raise InputError(Problem("runs", "state", read, f"runs {with_state} and {others}"))


def _designed(runs: list[RunWindows], with_state: str, without_state: str) -> tuple[Design, list[str]]:
    """Return the runs to use as a design, and warnings.

    Pairs (or blocks) hold both states; a run whose pair has only one state is left out. Without two complete pairs
    all runs are compared as two groups.
    """
    states: dict[str, set[bool]] = {}
    for run in runs:
        if run.pair:
            states.setdefault(run.pair, set()).add(run.state == with_state)
    complete = {pair for pair, found in states.items() if len(found) == 2}
    inside = [run for run in runs if run.pair in complete]
    with_it = Counter(run.pair for run in inside if run.state == with_state)
    size = Counter(run.pair for run in inside)
    both = len(complete) >= 2 or any(count > 2 for count in size.values())
    if complete and (both or len(inside) == len(runs)):
        warnings = []
        for run in runs:
            if run.pair not in complete:
                reason = "no pair given" if not run.pair else f"pair {run.pair} has no run in the other state"
                warnings.append(f"{run.name}: left out, {reason}")
        pairs = sum(min(with_it[pair], size[pair] - with_it[pair]) for pair in complete)
        return Design(with_state, without_state, tuple(inside), "within pairs", pairs), warnings
    loose = tuple(replace(run, pair="") for run in runs)
    return Design(with_state, without_state, loose, "two groups", 0), [
        "the runs are not in pairs (pair = 1, 2, ... in the manifest): compared as two groups, which is less sharp"
    ]
