"""What a road test says: `with_state` against `without_state`, over runs brought to like conditions.

Each run gives one number: its mean fuel flow (or load) over the rows kept, brought to the conditions of its pair. The
effect is then estimated over runs (`vehicle.road_test.run_quantities`, `vehicle.road_test.effect`).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from vehicle.problems import InputError, Problem
from vehicle.quantity import Estimate
from vehicle.road_test.conclusion import Conclusion, Design, agreement_words, concluded, confounding, load_words
from vehicle.road_test.effect import RunLevelEffect, least_randomisation_p, randomisation_p
from vehicle.road_test.odd import Drift, WithoutOne, drift_of, without_each
from vehicle.road_test.rule import beyond_limits, rejected
from vehicle.road_test.run_quantities import (
    About,
    Quantity,
    RunQuantities,
    quantities_of,
    spread_of_repeated,
    widened,
)
from vehicle.road_test.slopes import adjusted_means, inside_slopes
from vehicle.road_test.sources import MOVING_M_S, source_word
from vehicle.road_test.windows import NO_COOLANT, RunWindows

SMALLEST_OF_INTEREST = 0.03
_LEAST_WINDOWS = 3
_KNOWN_APART = 0.03
_DRIFTS_P = 0.05


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
class WindExplains:
    """The head wind that would explain the whole effect: `equal_m_s` more of it in the runs with the turbine.

    `given` is whether the list says the wind of every run, `alike` whether both states were driven in the same
    directions as often, so that a steady wind cancels, `ways` in how many directions, `controlled` whether a control
    vehicle was in the same air.
    """

    equal_m_s: float
    given: bool
    alike: bool
    ways: int
    controlled: bool


@dataclass(frozen=True)
class Rejected:
    """What the rule on the run sheet rejects: why, by run; why it is not applied (""); the effect with all runs."""

    runs: dict[str, str] = field(default_factory=dict)
    not_applied: str = ""
    effect_with_them: Estimate | None = None


@dataclass(frozen=True)
class BatteryEffect:
    """What the turbine does to the power that the battery gives [W] and to its energy per distance [J/m].

    `beyond_w` is the change with what no number of runs removes, `without_w` and `without_j_m` what is drawn without;
    what is per distance is None for a vehicle that stands.
    """

    change_w: Estimate
    change_j_m: Estimate | None
    beyond_w: Estimate
    without_w: float
    without_j_m: float | None


@dataclass(frozen=True)
class Comparison:
    """The answer of a road test: `with_state` against `without_state`.

    `effect` is the relative change of fuel flow (0.04: 4 % more), adjusted; `paired` the same from plain run means,
    without adjustment; `effect_m3_s` and `effect_m2` the change in fuel per time and per distance (None where the
    logs give no absolute fuel). `load_points` is the change of load in percent points, `load_share` as a share of the
    load. Where `firm` is False the fuel is converted from load, and the conclusion is that of the load.
    `beyond` and `beyond_m3_s` are `effect` and `effect_m3_s` with what no number of runs removes. `randomisation_p` is
    the share of reassignments of the states that give an effect at least as large, and `randomisation_least_p` the
    smallest that it can be with so many runs. `conclusion` is one of "costs", "saves", "no effect larger than",
    "cannot tell". `changes` has each of the `runs` against the mean without; `kept` the share of the rows that is used,
    with and without. Of runs judged by battery energy every share is one of that, `battery` has the watts, and what is
    in m3/s or m2 is None.
    """

    with_state: str
    without_state: str
    level: float
    effect: Estimate
    paired: Estimate
    effect_m3_s: Estimate | None
    effect_m2: Estimate | None
    load_points: Estimate | None
    load_share: Estimate | None
    beyond: Estimate
    beyond_m3_s: Estimate | None
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
    firm: bool
    wind: WindExplains | None
    rejected: Rejected
    each: tuple[WithoutOne, ...]
    drift: Drift | None
    kept: tuple[float, float]
    controlled: bool
    warnings: tuple[str, ...]
    runs: tuple[RunWindows, ...] = field(repr=False, default=())
    changes: tuple[RunChange, ...] = field(repr=False, default=())
    battery: BatteryEffect | None = None

    @property
    def used(self) -> str:
        """What the runs are judged by: fuel or battery energy."""
        return source_word(self.battery is not None)

    @property
    def odd(self) -> tuple[WithoutOne, ...]:
        """The pairs or runs that stand out, or run the other way."""
        return tuple(one for one in self.each if one.stands_out or one.swapped)


def compare(
    runs: Sequence[RunWindows],
    *,
    with_state: str = "working",
    without_state: str | None = None,
    level: float = 0.95,
    predicted: float | None = None,
    predicted_error: float = 0.0,
    about: About | None = None,
) -> Comparison:
    """Return what `with_state` does to fuel and load against `without_state` (stowed if there are such runs, else
    absent).

    `predicted` and `predicted_error` are the effect and half-width expected, as shares of the fuel; `about` is what is
    known of the fuel. The rule of the run sheet is applied first (`vehicle.road_test.rule`). Raises InputError where a
    state has no run at all; where runs are too few for an interval the conclusion is "cannot tell", with the reason.
    """
    about = about or About()
    without_state = without_state or _without(runs, with_state)
    design, rule, left_out = _design_by_rule(runs, (with_state, without_state), level, about)
    result = quantities_of(design, level, about)
    conclusion, words, more = _concluded(result, design, about, predicted)
    judged = result.fuel if about.firm or result.load is None else result.load
    shown = result.fuel.relative.change.low is not None
    p_value, least_p = _p_values(judged, design) if shown else (None, None)
    each, drift, wind = _checked(result, judged, design)
    warnings = [*_kept_apart(design), *_odd_words(each), *_rejected_words(rule), *_drift_words(drift, design.used)]
    warnings += [*_collected(runs), *left_out, *confounding(design, controlled=result.controlled)]
    warnings += [*beyond_limits(design.runs), *_unsure(conclusion, p_value, least_p, level)]
    fuel, battery = _fuel_or_battery(_fuel(result, design, about), design)
    return Comparison(
        with_state=with_state,
        without_state=without_state,
        level=level,
        effect=fuel.share,
        paired=result.fuel.plain_change.times(1.0 / result.fuel.plain_without).change,
        effect_m3_s=fuel.m3_s,
        effect_m2=fuel.m2,
        load_points=None if result.load is None else _shown(result.load.change.times(100.0), shown),
        load_share=None if result.load is None else _shown(result.load.relative, shown),
        beyond=fuel.beyond,
        beyond_m3_s=fuel.beyond_m3_s,
        baseline_m3_s=fuel.baseline_m3_s,
        baseline_m2=fuel.baseline_m2,
        randomisation_p=p_value,
        randomisation_least_p=least_p,
        conclusion=conclusion,
        words=words,
        pairs=design.pairs,
        runs_with=design.runs_with,
        runs_without=design.runs_without,
        design=design.words,
        adjusted_for=(*result.slopes.names, *result.fuel.conditions),
        more_pairs=more,
        agreement=_agreement(result, about, fuel.share, predicted, predicted_error, design.used),
        firm=about.firm,
        wind=wind,
        rejected=rule,
        each=each,
        drift=drift,
        kept=_kept(design),
        controlled=result.controlled,
        warnings=tuple(dict.fromkeys(warnings)),
        runs=design.runs,
        changes=_changes(result.fuel, design),
        battery=battery,
    )


def effect_alone(
    runs: Sequence[RunWindows],
    *,
    with_state: str = "working",
    without_state: str | None = None,
    level: float = 0.95,
    about: About | None = None,
) -> Estimate:
    """Return the effect on fuel as `compare` gives it, as a share, without what it checks and says around it."""
    about = about or About()
    design, _, _ = _design_by_rule(runs, (with_state, without_state or _without(runs, with_state)), level, about)
    return _fuel(quantities_of(design, level, about), design, about).share


def _design_by_rule(
    runs: Sequence[RunWindows], states: tuple[str, str], level: float, about: About
) -> tuple[Design, Rejected, list[str]]:
    """Return the design of the runs with and without, what the rule of the run sheet rejects, and what is left out."""
    used, left_out = _usable(runs, *states)
    every, _ = _designed(used, *states)
    rule, kept = _ruled(used, every, level, about)
    design, not_paired = _designed(kept, *states)
    return design, rule, [*left_out, *not_paired]


def _p_values(judged: Quantity, design: Design) -> tuple[float | None, float | None]:
    """Return p of the randomisation test and the least p that so few runs can give; None where it is not drawn."""
    p_value = randomisation_p(judged.unlabelled, design.treated, design.blocks)
    return p_value, None if p_value is None else least_randomisation_p(design.treated, design.blocks)


@dataclass(frozen=True)
class _FuelEffect:
    """The effect on fuel as a share and in m³/s (None without litres), each with what runs cannot remove in `beyond`,
    and the fuel without it, in m³/s and per m driven. Of battery energy W and J/m, until `_fuel_or_battery`."""

    share: Estimate
    m3_s: Estimate | None
    beyond: Estimate
    beyond_m3_s: Estimate | None
    baseline_m3_s: float | None
    baseline_m2: float | None

    @property
    def m2(self) -> Estimate | None:
        """Return the effect per m driven, None where the fuel without it is not known per m."""
        return None if self.baseline_m2 is None else self.share.times(self.baseline_m2)


def _fuel(result: RunQuantities, design: Design, about: About) -> _FuelEffect:
    """Return the effect on fuel; an error of the source that lies inside the runs widens the effect itself."""
    change = result.fuel.relative.change
    speed = float(np.mean([run.means["speed_m_s"] for run in design.runs]))
    baseline = _level_m3_s(result, design) if about.absolute or design.on_battery else None
    per_m = baseline / speed if baseline is not None and speed > MOVING_M_S else None
    litres = change.times(baseline) if baseline is not None else None
    wide = widened(change, about.error.percent)
    wide_litres = None if litres is None else widened(litres, about.error.litres)
    if about.error.inside:
        return _FuelEffect(wide, wide_litres, wide, wide_litres, baseline, per_m)
    return _FuelEffect(change, litres, wide, wide_litres, baseline, per_m)


def _fuel_or_battery(effect: _FuelEffect, design: Design) -> tuple[_FuelEffect, BatteryEffect | None]:
    """Return the effect in litres, or, of runs judged by battery energy, without litres and in watts."""
    if not design.on_battery:
        return effect, None
    assert effect.m3_s is not None
    assert effect.beyond_m3_s is not None
    assert effect.baseline_m3_s is not None
    battery = BatteryEffect(effect.m3_s, effect.m2, effect.beyond_m3_s, effect.baseline_m3_s, effect.baseline_m2)
    return replace(effect, m3_s=None, beyond_m3_s=None, baseline_m3_s=None, baseline_m2=None), battery


def _level_m3_s(result: RunQuantities, design: Design) -> float:
    """Return the mean fuel flow without the effect [m3/s]; with a control, where the values are ratios, of plain
    runs.
    """
    return result.fuel.plain_without if result.controlled else result.fuel.without


def _shown(effect: RunLevelEffect, shown: bool) -> Estimate:
    return (effect if shown else effect.without_interval()).change


def _concluded(
    result: RunQuantities, design: Design, about: About, predicted: float | None
) -> tuple[Conclusion, str, int | None]:
    if about.firm or result.load is None:
        target = abs(predicted) if predicted else SMALLEST_OF_INTEREST
        return concluded(result.fuel.relative, design, target, named=bool(predicted))
    share, points = result.load.relative, result.load.change.times(100.0).change
    expected = about.predicted_load[0] / 100 / result.load.without if about.predicted_load else None
    target = abs(expected) if expected else SMALLEST_OF_INTEREST
    conclusion, words, more = concluded(share, design, target, named=bool(expected))
    return conclusion, load_words(conclusion, words, points, share.change, design, about.load_name), more


def _agreement(
    result: RunQuantities, about: About, change: Estimate, predicted: float | None, error: float, used: str
) -> str:
    if about.firm or result.load is None:
        return agreement_words(change, predicted, error, used=used)
    if about.predicted_load is None:
        return agreement_words(change, predicted, error)
    points = result.load.change.change
    return agreement_words(points, about.predicted_load[0] / 100, about.predicted_load[1] / 100, unit="points of load")


def _ruled(used: list[RunWindows], every: Design, level: float, about: About) -> tuple[Rejected, list[RunWindows]]:
    """Return what the rule of the run sheet rejects, and the runs that are left; all where too few would be left."""
    why, not_applied = rejected(used)
    if not why:
        return Rejected(not_applied=not_applied), used
    left = [run for run in used if run.name not in why]
    pairs = {run.pair for run in used if run.name in why and run.pair}
    if every.words == "within pairs":
        left = [run for run in left if run.pair not in pairs or _both_left(left, run.pair)]
    count = Counter(run.state == every.with_state for run in left)
    if min(count[True], count[False]) < 2:
        return Rejected(why, "too few runs would be left"), used
    with_them = quantities_of(every, level, about).fuel.relative.change
    return Rejected(why, "", with_them), left


def _both_left(runs: Sequence[RunWindows], pair: str) -> bool:
    return len({run.state for run in runs if run.pair == pair}) == 2


def _rejected_words(rule: Rejected) -> list[str]:
    if not rule.runs:
        return []
    names = "; ".join(f"{name} ({why})" for name, why in rule.runs.items())
    if rule.not_applied:
        return [f"the rule of the run sheet would reject {names}, and is not applied: {rule.not_applied}"]
    with_them = rule.effect_with_them
    said = f": with all runs {100 * with_them.estimate:+.1f} %" if with_them is not None else ""
    return [f"rejected by the rule of the run sheet: {names}{said}"]


def _odd_words(each: Sequence[WithoutOne]) -> list[str]:
    said = []
    for one in each:
        if one.stands_out:
            own = "" if one.own is None else f" with {100 * one.own:+.1f} %"
            where = f" (most likely {one.suspect})" if one.suspect != one.label else ""
            said.append(
                f"{one.label} stands out{own}{where}: without it {100 * one.effect:+.1f} %; a traffic jam, a swapped "
                "label, a fault? It is not left out"
            )
        elif one.swapped and one.own is not None:
            said.append(
                f"{one.label} runs the other way ({100 * one.own:+.1f} %, the others {100 * one.effect:+.1f} "
                f"%): are its "
                "labels swapped? It is not left out"
            )
    return said[:3]


def _drift_words(drift: Drift | None, used: str) -> list[str]:
    if drift is None or drift.p_value >= _DRIFTS_P:
        return []
    moved = (
        "the order of the states cancels it"
        if abs(drift.moves_effect) < 0.003
        else f"it explains {100 * drift.moves_effect:+.1f} % of the change of {used}"
    )
    return [f"{used} drifts by {100 * drift.per_run:+.2f} % from run to run (p = {drift.p_value:.3f}): {moved}"]


def _checked(
    result: RunQuantities, judged: Quantity, design: Design
) -> tuple[tuple[WithoutOne, ...], Drift | None, WindExplains | None]:
    names = [run.name for run in design.runs]
    each = without_each(judged.calm / judged.without, design.treated, design.blocks, names)
    return (
        each,
        _drift(judged, design, controlled=result.controlled, load=judged is result.load),
        _wind_explains(result, judged, design),
    )


def _drift(judged: Quantity, design: Design, *, controlled: bool, load: bool) -> Drift | None:
    """Return the drift along the order driven, by the times that the list says, else by the order of the list."""
    started = [run.started for run in design.runs]
    order = np.arange(len(started))
    if all(started) and len(set(started)) == len(started):
        order = np.argsort(np.argsort(np.array(started)))
    values = judged.calm
    if not controlled and design.words == "within pairs":
        alike = [replace(run, pair="") for run in design.runs]
        _, of_fuel, of_load = adjusted_means(alike, inside_slopes(alike))
        values = of_load if load else of_fuel
    ways = np.array([run.direction for run in design.runs])
    return drift_of(values / float(np.mean(values)), design.treated, ways, design.blocks, order)


def _wind_explains(result: RunQuantities, judged: Quantity, design: Design) -> WindExplains | None:
    """Return the head wind that explains the effect; None for vehicles that stand."""
    speed = float(np.mean([run.means["speed_m_s"] for run in design.runs]))
    if not speed > MOVING_M_S:
        return None
    # air drag goes with the square of the air speed: share ((1 + w/v)^2 - 1) = effect
    inside = 1 + judged.relative.change.estimate / judged.sensitivity.air_share
    equal = speed * (math.sqrt(max(inside, 0.0)) - 1)
    given = all(math.isfinite(run.means["head_wind_m_s"]) for run in design.runs)
    alike, ways = _directions(design)
    return WindExplains(equal, given, alike, ways, result.controlled)


def _directions(design: Design) -> tuple[bool, int]:
    """Return whether both states were driven in the same directions as often, and in how many."""
    shares = []
    for treated in (True, False):
        count = Counter(run.direction for run in design.runs if (run.state == design.with_state) == treated)
        shares.append({way: many / count.total() for way, many in count.items()})
    alike = shares[0].keys() == shares[1].keys() and all(
        abs(shares[0][way] - shares[1][way]) < 1e-9 for way in shares[0]
    )
    return alike, len((shares[0].keys() | shares[1].keys()) - {""})


def _kept(design: Design) -> tuple[float, float]:
    def share(treated: bool) -> float:
        runs = [run for run in design.runs if (run.state == design.with_state) == treated]
        rows = sum(run.rows for run in runs)
        return sum(run.kept_rows for run in runs) / rows if rows else float(np.mean([run.kept_share for run in runs]))

    return share(True), share(False)


def _kept_apart(design: Design) -> list[str]:
    """Return a warning where fuel is known for a clearly different share of the rows in the two states."""
    known = [
        float(np.mean([run.known_share for run in design.runs if (run.state == design.with_state) == treated]))
        for treated in (True, False)
    ]
    kept, said = _kept(design), []
    if abs(known[0] - known[1]) > _KNOWN_APART:
        said.append(
            f"not like for like: {design.used} is known for {100 * known[0]:.0f} % of the rows {design.with_state} and "
            f"{100 * known[1]:.0f} % {design.without_state}; the interval does not cover that"
        )
    elif abs(kept[0] - kept[1]) > 2 * _KNOWN_APART:
        said.append(
            f"{100 * kept[0]:.0f} % of the rows {design.with_state} are used and {100 * kept[1]:.0f} % "
            f"{design.without_state}: the driving was not alike"
        )
    return said


def _collected(runs: Sequence[RunWindows]) -> list[str]:
    """Return the warnings of the runs, one that most of them share once."""
    texts = [text for run in runs for text in run.warnings]
    unseen = [text for text in texts if text.endswith(NO_COOLANT)]
    if len(unseen) < 3:
        return texts
    return [text for text in texts if text not in unseen] + [f"{len(unseen)} runs: {NO_COOLANT}"]


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
        elif run.weight_s.size < _LEAST_WINDOWS or not run.mean_used > 0:
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
        raise InputError(Problem("run", "state", read, f"at least two runs {with_state} and two {without_state}"))
    return used, left_out


def _changes(fuel: Quantity, design: Design) -> tuple[RunChange, ...]:
    plain = (fuel.plain / fuel.plain_without - 1).tolist()
    adjusted = (fuel.calm / fuel.without - 1).tolist()
    return tuple(
        RunChange(run.name, run.state, run.pair, run.direction, own, like)
        for run, own, like in zip(design.runs, plain, adjusted, strict=True)
    )


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
    sentences = [f"no run is marked {s}" for s in (with_state, without_state) if all(state != s for state, _ in runs)]
    if sentences:
        return sentences
    for name in dict.fromkeys(pair for _, pair in runs if pair):
        states = {state for state, pair in runs if pair == name}
        if len(states) == 1:
            missing = without_state if with_state in states else with_state
            sentences.append(f"pair {name} has no run {missing}")
    alone = sum(not pair for _, pair in runs)
    if 0 < alone < len(runs):
        sentences.append(f"{alone} run{'s' if alone > 1 else ''} without a pair, next to runs that have one")
    return sentences


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
    used = [run for run in runs if run.weight_s.size >= _LEAST_WINDOWS and run.mean_used > 0]
    states = sorted({run.state for run in used})
    if len(used) - len(states) < 1 or len(used) < 3:
        read = f"{len(used)} usable run{'' if len(used) == 1 else 's'}"
        raise InputError(Problem("runs", "", read, "at least three runs of one state, or two pairs"))
    if len(states) == 1:
        alike = tuple(replace(run, pair="") for run in used)
        return spread_of_repeated(Design(states[0], "", alike, "two groups", 0)), len(used) - 1
    outer = [run for run in used if run.state in (states[0], states[-1])]
    design, _ = _designed(outer, states[-1], states[0])
    effect = quantities_of(design, 0.95, About()).fuel.relative
    if effect.pair_spread is None:
        raise InputError(
            Problem("runs", "", "no two runs to compare", "at least two pairs, or three runs of one state")
        )
    return effect.pair_spread, effect.freedom


def _without(runs: Sequence[RunWindows], with_state: str) -> str:
    for state in ("stowed", "absent"):
        if state != with_state and any(run.state == state for run in runs):
            return state
    others = "runs absent" if with_state == "stowed" else "runs stowed (or absent)"
    only = all(run.state == with_state for run in runs)
    read = f"every run is {with_state}" if only else f"there is nothing to set the runs {with_state} against"
    raise InputError(Problem("run", "state", read, f"runs {with_state} and {others}"))


def _designed(runs: list[RunWindows], with_state: str, without_state: str) -> tuple[Design, list[str]]:
    """Return the runs to use as a design, and warnings.

    Pairs (or blocks) hold both states; a run whose pair has only one state is left out. Without two complete pairs
    all runs are compared as two groups.
    """
    states: dict[str, set[bool]] = {}
    for run in runs:
        if run.pair:
            states.setdefault(run.pair, set()).add(run.state == with_state)
    complete = {pair for pair, states_of_pair in states.items() if len(states_of_pair) == 2}
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
