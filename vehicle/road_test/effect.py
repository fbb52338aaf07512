"""What a turbine (or any other change) did to fuel and engine load: runs with and without, an interval, plain words.

Rows of one run are not independent, so no test is made over rows. Each run gives one number: its mean fuel flow over
the rows kept, brought to the conditions of its pair with slopes that are learnt inside runs only (where the state
does not change, so that the effect cannot leak into them). The effect is then estimated over runs: within pairs where
there are pairs, with the interval of Student's t on as many degrees of freedom as there are independent differences,
and a randomisation test beside it. That is the cluster-level analysis advised where clusters are few (Cameron &
Miller, Journal of Human Resources 50 (2015) 317).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from vehicle.logs.fuel_flow import LITRES_PER_HOUR, SOURCES, Engine, FuelFlow, acceleration_m_s2, fuel_flow
from vehicle.problems import InputError, Problem

if TYPE_CHECKING:
    from vehicle.logs.read import Log
    from vehicle.road_test.manifest import Run

WARM_COOLANT_K = 273.15 + 70
MOVING_M_S = 2.0
BRAKING_M_S2 = -0.5
WINDOW_S = 10.0
SMALLEST_OF_INTEREST = 0.03
_LEAST_WINDOWS = 3
_SIGN_FLIPS_EXACT = 14
_DRAWS = 9999


@dataclass(frozen=True)
class Step:
    """One filter of a run: what was taken out, and how many rows it took that were still in."""

    what: str
    rows: int


@dataclass(frozen=True)
class RunWindows:
    """One run cut into windows of 10 s: weights in s, fuel flow in m3/s, load as a share, and what it is adjusted for.

    `adjusters` has one row a window and one column a name in `ADJUSTERS` (NaN column where the log does not say).
    """

    name: str
    state: str
    pair: str
    direction: str
    date: str
    weight_s: np.ndarray
    fuel_m3_s: np.ndarray
    load: np.ndarray
    adjusters: np.ndarray
    steps: tuple[Step, ...]
    rows: int
    kept_rows: int
    source: str
    means: dict[str, float]
    warnings: tuple[str, ...] = ()

    @property
    def kept_s(self) -> float:
        """Return the seconds kept."""
        return float(self.weight_s.sum())

    @property
    def mean_fuel_m3_s(self) -> float:
        """Return the mean fuel flow over the rows kept."""
        return float(np.average(self.fuel_m3_s, weights=self.weight_s)) if self.kept_s else math.nan


# speed, accelerating power per mass, climbing power per mass, air drag power (speed × air speed² × relative density),
# coolant temperature
ADJUSTERS = ("speed", "acceleration", "grade", "air", "warm-up")
# A column varies enough inside runs to learn a slope from where its spread is above this.
_LEAST_SPREAD = (0.4, 0.3, 0.3, 60.0, 1.0)
# Fuel cannot fall with speed, acceleration, grade or air drag, nor rise as the engine warms: a slope of the wrong sign
# comes from something unlogged (a hill slows the car and costs fuel) and would mislead.
_SIGNS = np.array([1.0, 1.0, 1.0, 1.0, -1.0])
_LEAST_T = 2.0


@dataclass(frozen=True)
class Interval:
    """An estimate with its interval at `level`; `low` and `high` are None where the runs cannot give one."""

    estimate: float
    low: float | None
    high: float | None
    level: float
    freedom: int
    spread: float | None
    p_value: float | None = None
    error: float | None = None  # standard error of the estimate

    def times(self, factor: float) -> Interval:
        """Return the interval in another unit."""
        return replace(self, estimate=self.estimate * factor, low=None if self.low is None else self.low * factor,
                       high=None if self.high is None else self.high * factor,
                       spread=None if self.spread is None else self.spread * abs(factor),
                       error=None if self.error is None else self.error * abs(factor))  # fmt: skip

    def moved(self, by: float) -> Interval:
        """Return the interval with estimate and ends moved."""
        return replace(self, estimate=self.estimate + by, low=None if self.low is None else self.low + by,
                       high=None if self.high is None else self.high + by)  # fmt: skip

    def as_dict(self) -> dict[str, float | None]:
        """Return the interval as data, for `--json`."""
        return {"estimate": self.estimate, "low": self.low, "high": self.high, "level": self.level}


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
    effect: Interval
    paired: Interval
    effect_m3_s: Interval | None
    effect_m2: Interval | None
    load_points: Interval | None
    baseline_m3_s: float | None
    baseline_m2: float | None
    randomisation_p: float | None
    randomisation_least_p: float | None
    conclusion: str
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


def common_source(logs: Sequence[Log], engine: Engine) -> tuple[str, Engine, bool]:
    """Return the best source of fuel that all logs share, the engine to use, and whether litres are absolute.

    Without a known displacement speed-density still gives a ratio: one litre is taken, and only percent is told.
    """
    for source in SOURCES:
        trial, absolute = engine, True
        if source == "speed-density" and engine.displacement_m3 is None:
            trial, absolute = replace(engine, displacement_m3=1e-3), False
        if all(fuel_flow(log, trial, source=source).source == source for log in logs):
            return source, trial, absolute
    why: list[Problem] = []
    for log in logs:
        flow = fuel_flow(log, engine)
        if flow.source == "none":
            why.append(
                Problem(log.name, "fuel", "; ".join(flow.why_not), "a fuel rate, air flow, or manifold pressure")
            )
    if not why:
        why = [Problem("runs", "fuel", "the logs share no source of fuel", "the same parameters logged in every run")]
    raise InputError(why)


def runs_of_states(run: Run, log: Log) -> list[Run]:
    """Return the run itself where it has one state, else one run for each stretch that the log marks as one state.

    A state in the manifest is that of the beginning: where the log marks a change, and the manifest does not cut the
    run out of it (start, end), the log's marks count. Stretches that follow each other make pairs (first and second,
    third and fourth, ...), unless the manifest names one. Raises InputError where neither manifest nor log says the
    state.
    """
    from vehicle.road_test.manifest import STATES

    states = log.states
    marked = set() if states is None else {str(state) for state in np.unique(states.astype(str))} & set(STATES)
    if run.state and (len(marked) < 2 or run.start_s is not None or run.end_s is not None):
        return [run]
    if states is None or not marked:
        raise InputError(
            Problem(log.name, "state", "neither the manifest nor a column of the log says it", ", ".join(STATES))
        )
    time_s = log.table["time_s"].to_numpy()
    starts = np.concatenate([[0], np.flatnonzero(states[1:] != states[:-1]) + 1, [states.size]])
    stretches = [(a, b) for a, b in itertools.pairwise(starts.tolist()) if states[a] in STATES]
    return [
        replace(run, state=str(states[a]), start_s=float(time_s[a]), end_s=float(time_s[b - 1]),
                pair=run.pair or f"{log.name} {number // 2 + 1}")
        for number, (a, b) in enumerate(stretches)
    ]  # fmt: skip


def windows_of(log: Log, flow: FuelFlow, run: Run) -> RunWindows:
    """Return a run cut into windows, after cold engine, standstill, braking and gear shifts have been taken out.

    No row is chosen by its fuel: that would favour one answer.
    """
    table = log.table
    time_s, step_s = table["time_s"].to_numpy(), table["step_s"].to_numpy()
    if "speed_m_s" not in table:
        raise InputError(Problem(log.name, "speed", "no vehicle speed in the log", "a log with vehicle speed"))
    speed = table["speed_m_s"].to_numpy()
    acceleration = acceleration_m_s2(log)
    keep = np.ones(len(table), dtype=bool)
    steps: list[Step] = []
    warnings: list[str] = []

    def out(what: str, bad: np.ndarray) -> None:
        nonlocal keep
        steps.append(Step(what, int((keep & bad).sum())))
        keep = keep & ~bad

    if run.start_s is not None or run.end_s is not None:
        low = run.start_s if run.start_s is not None else -math.inf
        high = run.end_s if run.end_s is not None else math.inf
        out("outside its start and end", (time_s < low) | (time_s > high))
    if log.states is not None and run.state:
        other = (log.states != "") & (log.states != run.state)
        if other.all():  # whoever corrects a state does it in the manifest
            marked = ", ".join(dict.fromkeys(log.states.tolist()))
            warnings.append(f"{log.name}: {run.state} in the manifest, {marked} in the log: the manifest is taken")
        else:
            out("marked as another state in the log", other)
    out("fuel or speed not known", ~np.isfinite(flow.flow_m3_s) | ~np.isfinite(speed))
    with np.errstate(invalid="ignore"):
        if "coolant_temperature_k" in table:
            out("engine not warm (coolant under 70 °C)", ~(table["coolant_temperature_k"].to_numpy() >= WARM_COOLANT_K))
        else:
            warnings.append(f"{log.name}: no coolant temperature, so a cold engine is not seen")
        if np.nanmax(speed, initial=0.0) > MOVING_M_S:
            out("standing or under 7 km/h", ~(speed > MOVING_M_S))
        braking = acceleration < BRAKING_M_S2
        if "brake" in table:
            braking |= table["brake"].to_numpy() > 0.5
        out("braking", braking)
        if "engine_speed_rad_s" in table:
            out("gear shifts and clutch", _shifting(time_s, speed, table["engine_speed_rad_s"].to_numpy()))
    return _cut(log, flow, run, keep, acceleration, time_s, step_s, speed, tuple(steps), tuple(warnings))


def _shifting(time_s: np.ndarray, speed: np.ndarray, turning: np.ndarray) -> np.ndarray:
    """Return the rows within 1 s of a change of the ratio of engine speed to road speed by more than a sixth."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(speed > MOVING_M_S, turning / speed, np.nan)
        jump = np.abs(np.diff(np.log(ratio))) > math.log(7 / 6)
    at = np.flatnonzero(jump)
    shifting = np.zeros(time_s.size, dtype=bool)
    if not at.size:
        return shifting
    starts = np.searchsorted(time_s, time_s[at] - 1.0)
    ends = np.searchsorted(time_s, time_s[at + 1] + 1.0, side="right")
    edges = np.zeros(time_s.size + 1, dtype=np.int64)
    np.add.at(edges, starts, 1)
    np.add.at(edges, ends, -1)
    return np.cumsum(edges[:-1]) > 0


def _cut(
    log: Log, flow: FuelFlow, run: Run, keep: np.ndarray, acceleration: np.ndarray, time_s: np.ndarray,
    step_s: np.ndarray, speed: np.ndarray, steps: tuple[Step, ...], warnings: tuple[str, ...],
) -> RunWindows:  # fmt: skip
    table = log.table
    rows = np.flatnonzero(keep)
    bins = np.floor(time_s[rows] / WINDOW_S).astype(np.int64)  # a gap is longer than half a window: none spans one
    code = np.cumsum(np.concatenate([[0], np.diff(bins) != 0])) if rows.size else bins
    weight = np.bincount(code, weights=step_s[rows]) if rows.size else np.zeros(0)
    full = weight >= 0.4 * WINDOW_S

    def mean(values: np.ndarray) -> np.ndarray:
        return (np.bincount(code, weights=values[rows] * step_s[rows], minlength=weight.size) / weight)[full]

    def column(name: str) -> np.ndarray | None:
        return table[name].to_numpy() if name in table else None

    wind = column("head_wind_m_s")
    head_wind: np.ndarray | float = wind if wind is not None else (run.head_wind_m_s or 0.0)
    density = _relative_density(log, run)
    air_speed = speed + head_wind
    grade = column("grade")
    coolant = column("coolant_temperature_k")
    count = int(full.sum())
    none = np.full(count, np.nan)
    if rows.size:
        v = speed
        adjusters = np.column_stack([
            mean(v), mean(acceleration * v), none if grade is None else mean(9.81 * np.sin(np.arctan(grade)) * v),
            mean(v * air_speed * np.abs(air_speed) * density),
            none if coolant is None else mean(coolant),
        ])  # fmt: skip
        fuel = mean(flow.flow_m3_s)
        load_column = column("calculated_load")
        load = none if load_column is None else mean(load_column)
    else:
        adjusters, fuel, load = np.zeros((0, len(ADJUSTERS))), np.zeros(0), np.zeros(0)
    temperature = run.temperature_k
    for name in ("ambient_temperature_k", "intake_temperature_k"):
        found = column(name)
        if temperature is None and found is not None and rows.size:
            temperature = _mean_of(found[rows])
    means = {
        "speed_m_s": float(np.average(speed[rows], weights=step_s[rows])) if rows.size else math.nan,
        "temperature_k": math.nan if temperature is None else temperature,
        "head_wind_m_s": math.nan if wind is None and run.head_wind_m_s is None else _mean_of(head_wind),
        "coolant_k": math.nan if coolant is None or not rows.size else _mean_of(coolant[rows]),
        "relative_density": density,
    }
    return RunWindows(log.name, run.state, run.pair, run.direction, run.date, weight[full], fuel, load, adjusters,
    steps,
                      len(table), int(keep.sum()), flow.source, means, warnings)  # fmt: skip


def _mean_of(values: np.ndarray | float) -> float:
    """Return the mean of the finite values, NaN where there are none."""
    numbers = np.atleast_1d(values)
    good = numbers[np.isfinite(numbers)]
    return float(good.mean()) if good.size else math.nan


def _relative_density(log: Log, run: Run) -> float:
    """Return the density of the air over 1.2 kg/m3 where pressure and outside temperature of the run are known, else
    1."""
    table = log.table
    pressure = run.pressure_pa
    if pressure is None and "barometric_pressure_pa" in table:
        pressure = _mean_of(table["barometric_pressure_pa"].to_numpy())
    temperature = run.temperature_k
    if temperature is None and "ambient_temperature_k" in table:
        temperature = _mean_of(table["ambient_temperature_k"].to_numpy())
    if pressure is None or temperature is None:
        return 1.0
    return pressure / (287.05 * temperature) / 1.2


@dataclass(frozen=True)
class _Slopes:
    """Fuel and load as lines in the adjusters, learnt inside runs; `names` are those that varied enough."""

    names: tuple[str, ...]
    places: tuple[int, ...]
    fuel: np.ndarray
    load: np.ndarray | None


def inside_slopes(runs: Sequence[RunWindows]) -> _Slopes:
    """Return the slopes of fuel flow and load over the adjusters, from the variation inside runs alone.

    Least squares with one constant per run, the slopes of fuel held to the signs that physics gives them. An adjuster
    that a log does not have, that hardly varies inside runs, or whose slope is not two standard errors from zero is
    left out: a slope that is mostly noise would add that noise to every run.
    """
    x = np.vstack([run.adjusters for run in runs])
    weight = np.concatenate([run.weight_s for run in runs])
    fuel = np.concatenate([run.fuel_m3_s for run in runs])
    load = np.concatenate([run.load for run in runs])
    code = np.repeat(np.arange(len(runs)), [run.weight_s.size for run in runs])
    total = np.bincount(code, weights=weight, minlength=len(runs))
    root = np.sqrt(weight)

    def centred(values: np.ndarray) -> np.ndarray:
        return (values - (np.bincount(code, weights=weight * values, minlength=len(runs)) / total)[code]) * root

    places = [
        place for place, least in enumerate(_LEAST_SPREAD) if np.isfinite(x[:, place]).all()
        and math.sqrt(float((centred(x[:, place]) ** 2).sum() / weight.sum())) >= least
    ]  # fmt: skip
    y = centred(fuel)
    columns = {place: centred(x[:, place]) * _SIGNS[place] for place in places}
    while places:
        freedom = fuel.size - len(runs) - len(places)
        if freedom < 5 * len(places):
            places = places[:-1]
            continue
        places, slopes, t_values = _signed_least_squares(columns, y, places, freedom)
        weakest = int(np.argmin(t_values)) if places else -1
        if not places or t_values[weakest] >= _LEAST_T:
            break
        places = places[:weakest] + places[weakest + 1 :]
    if not places:
        return _Slopes((), (), np.zeros(0), None)
    load_slopes = None
    if np.isfinite(load).all():
        design = np.column_stack([columns[place] * _SIGNS[place] for place in places])
        scale = np.sqrt((design**2).sum(axis=0))
        load_slopes = np.linalg.lstsq(design / scale, centred(load), rcond=1e-6)[0] / scale
    return _Slopes(tuple(ADJUSTERS[place] for place in places), tuple(places), slopes * _SIGNS[places], load_slopes)


def _signed_least_squares(
    columns: dict[int, np.ndarray], y: np.ndarray, places: list[int], freedom: int
) -> tuple[list[int], np.ndarray, np.ndarray]:
    """Return the columns with slopes above zero in the best least-squares fit with no slope below zero, their slopes
    and t values: all subsets are tried, of at most five columns."""
    design = np.column_stack([columns[place] for place in places])
    scale = np.sqrt((design**2).sum(axis=0))
    gram = (design / scale).T @ (design / scale)
    right = (design / scale).T @ y
    best: tuple[float, list[int], np.ndarray] | None = None
    for size in range(len(places), 0, -1):
        for chosen in itertools.combinations(range(len(places)), size):
            inside = gram[np.ix_(chosen, chosen)]
            if np.linalg.cond(inside) > 1e6:
                continue
            found = np.linalg.solve(inside, right[list(chosen)])
            gain = float(found @ right[list(chosen)])
            if (found > 0).all() and (best is None or gain > best[0]):
                best = (gain, list(chosen), found)
    if best is None:
        return [], np.zeros(0), np.zeros(0)
    gain, kept, found = best
    variance = max(float(y @ y) - gain, 0.0) / freedom
    errors = np.sqrt(variance * np.diag(np.linalg.inv(gram[np.ix_(kept, kept)])))
    return [places[i] for i in kept], found / scale[kept], found / np.maximum(errors, 1e-300)


def _run_mean(run: RunWindows, values: np.ndarray) -> Any:
    return np.average(values, axis=0, weights=run.weight_s)


def adjusted_means(runs: Sequence[RunWindows], slopes: _Slopes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return for each run its mean fuel flow in m3/s, the same brought to the mean conditions of its pair, and its
    load."""
    plain = np.array([run.mean_fuel_m3_s for run in runs])
    load = np.array([float(_run_mean(run, run.load)) for run in runs])
    if not slopes.places:
        return plain, plain.copy(), load
    conditions = np.array([_run_mean(run, run.adjusters[:, list(slopes.places)]) for run in runs])
    _, code = np.unique(np.array([run.pair for run in runs]), return_inverse=True)
    total = np.zeros((int(code.max()) + 1, conditions.shape[1]))
    np.add.at(total, code, conditions)
    away = conditions - (total / np.bincount(code)[:, None])[code]
    if slopes.load is not None:
        load = load - away @ slopes.load
    return plain, plain - away @ slopes.fuel, load


def run_level_effect(
    values: np.ndarray,
    treated: np.ndarray,
    blocks: np.ndarray,
    level: float = 0.95,
    covariate: np.ndarray | None = None,
) -> Interval:
    """Return the effect of `treated` on `values`, one value a run, by least squares with one constant per block.

    With one run of each kind in every block this is the paired t-test; with one block it is the two-sample t-test
    with a pooled spread. `covariate` is one more term, linear, such as the head wind of the runs. The interval is None
    where no degree of freedom is left. `spread` is the standard deviation of a difference between one run with and one
    without.
    """
    _, code = np.unique(blocks, return_inverse=True)
    count = np.bincount(code)
    t = treated.astype(float)
    t = t - (np.bincount(code, weights=t) / count)[code]
    y = values - (np.bincount(code, weights=values) / count)[code]
    freedom = int(values.size - count.size - 1)
    if covariate is not None:
        z = covariate - (np.bincount(code, weights=covariate) / count)[code]
        t, y = t - z * float(z @ t) / float(z @ z), y - z * float(z @ y) / float(z @ z)
        freedom -= 1
    information = float(t @ t)
    if information <= 1e-9:
        return Interval(math.nan, None, None, level, 0, None)
    estimate = float(t @ y) / information
    if freedom < 1:
        return Interval(estimate, None, None, level, 0, None)
    from scipy.special import stdtr, stdtrit

    rest = y - estimate * t
    variance = float(rest @ rest) / freedom
    error = math.sqrt(variance / information)
    half = float(stdtrit(freedom, 0.5 + level / 2)) * error
    p_value = 2 * float(stdtr(freedom, -abs(estimate) / error)) if error > 0 else 0.0
    return Interval(estimate, estimate - half, estimate + half, level, freedom, math.sqrt(2 * variance), p_value,
                    error)  # fmt: skip


def randomisation_p(values: np.ndarray, treated: np.ndarray, blocks: np.ndarray, seed: int = 1) -> float | None:
    """Return the two-sided p-value of a randomisation test: states are dealt anew inside blocks.

    All sign changes where the blocks are pairs and at most 14 (Fisher 1935, §21), otherwise 9 999 draws. None where a
    single dealing is possible.
    """
    _, code = np.unique(blocks, return_inverse=True)
    count = np.bincount(code)
    y = values - (np.bincount(code, weights=values) / count)[code]
    share = (np.bincount(code, weights=treated.astype(float)) / count)[code]
    if not ((share > 0) & (share < 1)).any():
        return None
    if (count == 2).all() and np.allclose(share, 0.5):
        differences = np.bincount(code, weights=np.where(treated, values, -values))
        return sign_flip_p(differences, seed)
    draw = np.random.default_rng(seed)
    weight = 1.0 / np.maximum(float(((treated - share) ** 2).sum()), 1e-12)
    seen = abs(float((treated - share) @ y)) * weight
    order = np.lexsort((draw.random((_DRAWS, values.size)), np.broadcast_to(code, (_DRAWS, values.size))), axis=1)
    by_block = np.argsort(code, kind="stable")
    dealt = np.empty((_DRAWS, values.size))
    np.put_along_axis(dealt, order, np.broadcast_to(treated[by_block].astype(float), order.shape), axis=1)
    found = np.abs((dealt - share) @ y) * weight
    return float((1 + (found >= seen * (1 - 1e-12)).sum()) / (_DRAWS + 1))


def _least_p(treated: np.ndarray, blocks: np.ndarray) -> float:
    """Return the least p-value that a randomisation test can give: one dealing of all, or two where states mirror."""
    _, code = np.unique(blocks, return_inverse=True)
    sizes, ours = np.bincount(code).tolist(), np.bincount(code, weights=treated.astype(float)).astype(int).tolist()
    dealings = math.prod(math.comb(size, count) for size, count in zip(sizes, ours, strict=True))
    mirrored = all(size == 2 * count for size, count in zip(sizes, ours, strict=True))
    return min(1.0, (2 if mirrored else 1) / dealings)


def sign_flip_p(differences: np.ndarray, seed: int = 1) -> float:
    """Return the two-sided p-value of the paired randomisation test on differences (exact up to 14 pairs)."""
    count = differences.size
    seen = abs(float(differences.sum()))
    slack = 1e-12 * float(np.abs(differences).sum())
    if count <= _SIGN_FLIPS_EXACT + 2:
        sums = np.zeros(1)
        for difference in differences.tolist():
            sums = np.concatenate([sums + difference, sums - difference])
        return float((np.abs(sums) >= seen - slack).mean())
    draw = np.random.default_rng(seed)
    signs = draw.choice((-1.0, 1.0), size=(_DRAWS, count))
    return float((1 + (np.abs(signs @ differences) >= seen - slack).sum()) / (_DRAWS + 1))


def compare(
    runs: Sequence[RunWindows], *, with_state: str = "working", without_state: str | None = None, level: float = 0.95,
    predicted: float | None = None, predicted_error: float = 0.0, absolute: bool = True,
) -> Comparison:  # fmt: skip
    """Return what `with_state` does to fuel and load against `without_state` (stowed if there are such runs, else
    absent).

    `predicted` and `predicted_error` are the effect and half-width expected, as shares of the fuel. Raises InputError
    where a state has no run at all; where runs are too few for an interval the conclusion is "cannot tell", with the
    reason.
    """
    warnings = [text for run in runs for text in run.warnings]
    without_state = without_state or _without(runs, with_state)
    used: list[RunWindows] = []
    driven = [run.means["speed_m_s"] > MOVING_M_S for run in runs if run.kept_s]
    for run in runs:
        if run.state not in (with_state, without_state):
            continue
        if any(driven) and run.kept_s and not run.means["speed_m_s"] > MOVING_M_S:
            warnings.append(f"{run.name}: left out, the car stands in all of it")
            continue
        if run.weight_s.size < _LEAST_WINDOWS or not run.mean_fuel_m3_s > 0:
            most = max(run.steps, key=lambda step: step.rows, default=None)
            because = f" ({most.what}: {most.rows} rows)" if most is not None and most.rows else ""
            warnings.append(f"{run.name}: left out, only {run.kept_s:.0f} s are left after the filters{because}")
            continue
        used.append(run)
    for state in (with_state, without_state):
        if not any(run.state == state for run in used):
            listed = any(run.state == state for run in runs)
            read = f"no run with the turbine {state} {'has enough rows left' if listed else 'is listed'}"
            if listed:
                read += ": " + "; ".join(text for text in warnings if "left out" in text)[:300]
            raise InputError(Problem("runs", "state", read, f"at least two runs {with_state} and two {without_state}"))
    used, design, pairs, said = _designed(used, with_state)
    warnings += said
    treated = np.array([run.state == with_state for run in used])
    blocks = np.array([run.pair for run in used])
    slopes = inside_slopes(used)
    plain, adjusted, load = adjusted_means(used, slopes)
    runs_with, runs_without = int(treated.sum()), int((~treated).sum())
    wind = _run_wind(used, blocks)
    change = run_level_effect(adjusted, treated, blocks, level, wind)
    plain_change = run_level_effect(plain, treated, blocks, level)
    if min(runs_with, runs_without) < 2:
        change, plain_change = _no_interval(change), _no_interval(plain_change)
    without_m3_s = _without_mean(adjusted, treated, change)
    effect = change.times(1.0 / without_m3_s)
    if effect.error is not None:
        # a ratio whose denominator falls when the effect is overestimated lies too high on average, by this much
        effect = effect.moved(-float(treated.mean()) * min(effect.error, 0.3) ** 2)
    plain_without_m3_s = _without_mean(plain, treated, plain_change)
    paired = plain_change.times(1.0 / plain_without_m3_s)
    baseline = without_m3_s if absolute else None
    speed = float(np.mean([run.means["speed_m_s"] for run in used]))
    per_m = baseline / speed if baseline is not None and speed > MOVING_M_S else None
    warnings += confounding(used, with_state, without_state, pairs)
    calm = adjusted if wind is None else _without_wind(adjusted, treated, blocks, change.estimate, wind)
    changes = tuple(
        RunChange(run.name, run.state, run.pair, run.direction, own / plain_without_m3_s - 1, like / without_m3_s - 1)
        for run, own, like in zip(used, plain.tolist(), calm.tolist(), strict=True)
    )
    p_value = randomisation_p(calm, treated, blocks) if effect.low is not None else None
    target = abs(predicted) if predicted else SMALLEST_OF_INTEREST
    conclusion, words, more = _conclusion(
        effect,
        with_state,
        without_state,
        target,
        pairs,
        runs_with,
        runs_without,
        design,
        named=predicted is not None and predicted != 0,
    )
    least_p = None if p_value is None else _least_p(treated, blocks)
    unsure = p_value is not None and least_p is not None and p_value > max(2 * (1 - level), 1.5 * least_p)
    if unsure and conclusion in ("costs", "saves"):
        warnings.append(
            f"the randomisation test (p = {p_value:.3f}) is less sure than the interval: a few runs carry it"
        )
    return Comparison(
        with_state, without_state, level, effect, paired,
        change if absolute else None,
        effect.times(per_m) if per_m is not None else None,
        None if not np.isfinite(load).all() else _load_points(load, treated, blocks, level, effect.low is None),
        baseline, per_m, p_value, least_p, conclusion, words, pairs, runs_with, runs_without, design,
        (*slopes.names, *(() if wind is None else ("head wind",))), more,
        _agreement(effect, predicted, predicted_error, level), tuple(dict.fromkeys(warnings)), tuple(used),
        changes,
    )  # fmt: skip


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
        found.append(f"{alone} run{'s' if alone > 1 else ''} without a pair beside runs that have one")
    return found


def spread_within_pairs(runs: Sequence[RunWindows]) -> tuple[float, int]:
    """Return the standard deviation of a difference between two runs of equal kind, as a share of the fuel, and its
    d.o.f.

    States are allowed for, so that runs of a finished test serve as well as repeated runs of one state. Raises
    InputError where fewer than three runs are left or nothing can be told.
    """
    used = [run for run in runs if run.weight_s.size >= _LEAST_WINDOWS and run.mean_fuel_m3_s > 0]
    states = sorted({run.state for run in used})
    if len(used) - len(states) < 1 or len(used) < 3:
        raise InputError(
            Problem(
                "runs",
                "",
                f"{len(used)} usable run{'' if len(used) == 1 else 's'}",
                "at least three runs of one state, or two pairs",
            )
        )
    if len(states) > 1:
        used, _, _, _ = _designed([run for run in used if run.state in (states[0], states[-1])], states[-1])
    else:
        used = [replace(run, pair="") for run in used]
    slopes = inside_slopes(used)
    _, adjusted, _ = adjusted_means(used, slopes)
    treated = np.array([run.state == states[-1] for run in used])
    if len(states) == 1:
        return math.sqrt(2) * float(adjusted.std(ddof=1)) / float(adjusted.mean()), len(used) - 1
    found = run_level_effect(adjusted, treated, np.array([run.pair for run in used]))
    if found.spread is None:
        raise InputError(
            Problem("runs", "", "no two runs to compare", "at least two pairs, or three runs of one state")
        )
    return found.spread / _without_mean(adjusted, treated, found), found.freedom


def _run_wind(runs: Sequence[RunWindows], blocks: np.ndarray) -> np.ndarray | None:
    """Return the head wind of every run where all say it, it differs inside pairs, and six differences are left."""
    wind = np.array([run.means["head_wind_m_s"] for run in runs])
    if not np.isfinite(wind).all():
        return None
    _, code = np.unique(blocks, return_inverse=True)
    count = np.bincount(code)
    away = wind - (np.bincount(code, weights=wind) / count)[code]
    return wind if float(away.std()) > 0.2 and wind.size - count.size - 2 >= 5 else None


def _without_wind(
    values: np.ndarray, treated: np.ndarray, blocks: np.ndarray, effect: float, wind: np.ndarray
) -> np.ndarray:
    """Return the values less what the wind explains beside the effect."""
    _, code = np.unique(blocks, return_inverse=True)
    count = np.bincount(code)
    z = wind - (np.bincount(code, weights=wind) / count)[code]
    rest = values - effect * treated
    rest = rest - (np.bincount(code, weights=rest) / count)[code]
    adjusted: np.ndarray = values - z * float(z @ rest) / float(z @ z)
    return adjusted


def _load_points(
    load: np.ndarray, treated: np.ndarray, blocks: np.ndarray, level: float, no_interval: bool
) -> Interval:
    found = run_level_effect(load, treated, blocks, level).times(100.0)
    return _no_interval(found) if no_interval else found


def _no_interval(interval: Interval) -> Interval:
    return replace(interval, low=None, high=None, spread=None, p_value=None)


def _without_mean(values: np.ndarray, treated: np.ndarray, change: Interval) -> float:
    """Return the mean fuel flow without the effect, from all runs: those with it less the effect."""
    mean = float(values.mean()) - change.estimate * float(treated.mean())
    return mean if mean > 0 else float(values[~treated].mean())


def _without(runs: Sequence[RunWindows], with_state: str) -> str:
    for state in ("stowed", "absent"):
        if state != with_state and any(run.state == state for run in runs):
            return state
    others = "runs absent" if with_state == "stowed" else "runs stowed (or absent)"
    only = all(run.state == with_state for run in runs)
    read = f"every run is {with_state}" if only else f"there is nothing to set the runs {with_state} against"
    raise InputError(Problem("runs", "state", read, f"runs {with_state} and {others}"))


def _designed(runs: list[RunWindows], with_state: str) -> tuple[list[RunWindows], str, int, list[str]]:
    """Return the runs to use, the design in words, the number of complete pairs, and warnings.

    Pairs (or blocks) hold both states; a run whose pair has only one state is left out. Without two complete pairs
    all runs are compared as two groups.
    """
    warnings: list[str] = []
    states: dict[str, set[bool]] = {}
    for run in runs:
        if run.pair:
            states.setdefault(run.pair, set()).add(run.state == with_state)
    complete = {pair for pair, found in states.items() if len(found) == 2}
    inside = [run for run in runs if run.pair in complete]
    size = {pair: sum(run.pair == pair for run in inside) for pair in complete}
    both = len(complete) >= 2 or any(count > 2 for count in size.values())
    if complete and (both or len(inside) == len(runs)):
        for run in runs:
            if run.pair not in complete:
                reason = "no pair given" if not run.pair else f"pair {run.pair} has no run in the other state"
                warnings.append(f"{run.name}: left out, {reason}")
        pairs = sum(
            min(
                sum(r.state == with_state for r in inside if r.pair == pair),
                sum(r.state != with_state for r in inside if r.pair == pair),
            )
            for pair in complete
        )
        return inside, "within pairs", pairs, warnings
    warnings.append(
        "the runs are not in pairs (pair = 1, 2, ... in the manifest): compared as two groups, which is less sharp"
    )
    return [replace(run, pair="") for run in runs], "two groups", 0, warnings


def _conclusion(
    effect: Interval, with_state: str, without_state: str, target: float, pairs: int, runs_with: int, runs_without: int,
    design: str, *, named: bool,
) -> tuple[str, str, int | None]:  # fmt: skip
    from vehicle.road_test.planning import pairs_needed

    subject = f"{with_state} against {without_state}"
    percent = round(100 * effect.level)
    if effect.low is None or effect.high is None or effect.spread is None:
        few = f"{runs_with} run{'s' if runs_with != 1 else ''} {with_state} and {runs_without} {without_state}"
        why = (
            f"cannot tell: {few} {'show' if runs_with + runs_without > 2 else 'give'} one difference "
            f"({100 * effect.estimate:+.1f} %) but not how much two equal runs differ; drive at least two "
            "pairs, better six"
        )
        return "cannot tell", f"{subject}: {why}.", None
    half = 0.5 * (effect.high - effect.low)
    if effect.low > 0:
        return (
            "costs",
            f"{subject}: costs {100 * effect.estimate:.1f} % ± {100 * half:.1f} % more fuel ({percent} %).",
            None,
        )
    if effect.high < 0:
        return (
            "saves",
            f"{subject}: saves {-100 * effect.estimate:.1f} % ± {100 * half:.1f} % of the fuel ({percent} %).",
            None,
        )
    bound = max(-effect.low, effect.high)
    seen = f"{100 * effect.estimate:+.1f} % ± {100 * half:.1f} %"
    if bound <= target:
        return (
            "no effect larger than",
            (
                f"{subject}: no effect larger than {100 * bound:.1f} %, anything larger can be excluded at "
                f"{percent} % ({seen})."
            ),
            None,
        )
    need = pairs_needed(target, max(effect.spread, 1e-6), 0.8, effect.level)
    have = pairs if design == "within pairs" else min(runs_with, runs_without)
    more = max(1, need - have)
    aim = f"the predicted {100 * target:.1f} %" if named else f"an effect of {100 * target:.0f} %"
    return (
        "cannot tell",
        (
            f"{subject}: cannot tell ({seen}, {percent} %): would need {more} more "
            f"pair{'s' if more > 1 else ''} to show {aim} "
            "with 80 % power."
        ),
        more,
    )


def _agreement(effect: Interval, predicted: float | None, error: float, level: float) -> str:
    if predicted is None:
        return ""
    said = f"predicted {100 * predicted:+.1f} %" + (f" ± {100 * error:.1f} %" if error else "")
    if effect.low is None or effect.high is None:
        return f"{said}: no interval to hold it against."
    if predicted + error < effect.low or predicted - error > effect.high:
        more = "more" if effect.estimate > predicted else "less"
        return (
            f"{said}: disagrees with the measurement, which shows {more}. What could explain it: wind or "
            "traffic that was "
            "not the same for both states; a rotor that turned at another speed or pitch than assumed; drag of "
            "frame and "
            "mast; a marginal efficiency other than the model's; filling that changes with load, where fuel comes from "
            "manifold pressure."
        )
    if effect.low <= predicted <= effect.high:
        return f"{said}: agrees with the measurement (inside its interval at {100 * level:.0f} %)."
    return (
        f"{said}: agrees with the measurement so far as the interval of the prediction reaches into that of the runs."
    )


def confounding(runs: Sequence[RunWindows], with_state: str, without_state: str, pairs: int) -> list[str]:
    """Return what else than the turbine differs between the two groups, in words."""
    one = [run for run in runs if run.state == with_state]
    other = [run for run in runs if run.state != with_state]
    found: list[str] = []
    for label, get in (("in one direction", lambda run: run.direction), ("on one day", lambda run: run.date[:10])):
        ours, theirs = {get(run) for run in one} - {""}, {get(run) for run in other} - {""}
        if ours and theirs and not ours & theirs:
            found.append(
                f"confounded: all {with_state} runs are {label} ({', '.join(sorted(ours))}) and all "
                f"{without_state} runs "
                f"on another ({', '.join(sorted(theirs))}): the difference may be that of {label.split()[-1]}s"
            )  # fmt: skip
    by_pair: dict[str, set[str]] = {}
    for run in runs:
        if run.pair and run.direction:
            by_pair.setdefault(run.pair, set()).add(run.direction)
    mixed = [pair for pair, directions in by_pair.items() if len(directions) > 1]
    if pairs and mixed and not _balanced(runs, with_state):
        found.append(
            f"pairs {', '.join(sorted(mixed)[:6])} hold runs in different directions, not balanced between states"
        )

    def means(group: Sequence[RunWindows], key: str) -> np.ndarray:
        return np.array([run.means[key] for run in group], dtype=float)

    for key, words, least, scale, unit in (
        ("speed_m_s", "speed", 0.6, 3.6, "km/h"), ("temperature_k", "air temperature", 4.0, 1.0, "K"),
        ("head_wind_m_s", "head wind", 1.0, 1.0, "m/s"), ("coolant_k", "coolant temperature", 4.0, 1.0, "K"),
    ):  # fmt: skip
        ours_, theirs_ = means(one, key), means(other, key)
        ours_, theirs_ = ours_[np.isfinite(ours_)], theirs_[np.isfinite(theirs_)]
        if not ours_.size or not theirs_.size:
            continue
        gap = float(ours_.mean() - theirs_.mean())
        if key == "speed_m_s":
            least = max(least, 0.02 * float(theirs_.mean()))
        if abs(gap) > least:
            found.append(
                f"{words} differs: {with_state} runs {gap * scale:+.1f} {unit} against {without_state} runs"
                + (" (adjusted for, as far as the slopes inside runs go)" if key == "speed_m_s" else "")
            )
    places = {run.name: place for place, run in enumerate(runs)}
    firsts = []
    for pair in {run.pair for run in runs if run.pair}:
        inside = sorted((run for run in runs if run.pair == pair), key=lambda run: places[run.name])
        if len(inside) == 2:
            firsts.append(inside[0].state)
    if len(firsts) >= 3 and len(set(firsts)) == 1:
        found.append(
            f"in every pair the {firsts[0]} run comes first in the list: a drift (warming up, wind, traffic) would "
            "look like an effect; alternate the order, as `windtoll plan` does"
        )
    return found


def _balanced(runs: Sequence[RunWindows], with_state: str) -> bool:
    directions = {run.direction for run in runs if run.direction}
    for direction in directions:
        count = sum(1 if run.state == with_state else -1 for run in runs if run.direction == direction)
        if count:
            return False
    return True


def fuel_l_per_h(value_m3_s: float) -> float:
    """Return a fuel flow in litres per hour."""
    return value_m3_s / LITRES_PER_HOUR
