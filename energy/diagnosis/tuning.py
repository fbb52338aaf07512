"""Which setting was best: a drive on which one setting was stepped, read without taking gusts or peaks for it.

Watts over the wind's own power (the cube of air speed), with the lag of rotor and load fitted, give a power
coefficient for every steady stretch; a setting's mean comes with the scatter of its stretches and of its visits. A
smooth curve (a Gaussian process of scikit-learn) through the settings says where the best lies, how sure that is, and
where to look next.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from energy.chain.ledger import turbine_at_work
from energy.chain.limits import OperatingLimit, in_order, measured_limits, operating_limits
from energy.progress import Progress, part, tell
from energy.scenario.inputs import inputs_of
from energy.scenario.keys import spec_of
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from vehicle.problems import InputError, Problem
from vehicle.tables import increasing, read_table
from vehicle.units import convert

Kind = Literal["pitch", "resistance", "ratio"]
KINDS: tuple[Kind, ...] = ("pitch", "resistance", "ratio")
SETTINGS = {"pitch": "deg", "resistance": "ohm", "ratio": "dimensionless"}
SCENARIO_KEYS: dict[Kind, QuantityKey] = {
    "pitch": "rotor.pitch",
    "resistance": "heater.resistance",
    "ratio": "drive.ratio",
}
_LAGS_S = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)
_LEAST_SETTLE_S, _SETTLE_LAGS = 3.0, 4.0  # after a change of the setting
_LEAST_STRETCH_S, _STRETCH_LAGS = 8.0, 6.0
_LEAST_WIND_W = 1e-6
_LEAST_MEAN_WIND_W = 1.0
_MOST_LOOPED = 1000  # rows: a loop is quicker than the import of the filter
_READ = 0.3  # of the work: reading the file
_READING_SCATTER = 0.05  # of the level at least, for a number read off a display in gusts: common practice, no source
_LEAST_READINGS = 4
_READ_BY_HAND_S = 3.0  # rows nearer than that are a log, whose neighbours repeat each other: no readings by themselves
_GRID = 121
_DRAWS = 4000
# Priors of the smooth curve: how much it changes over the range (share of the level), over which part of the range.
_AMPLITUDES = (0.01, 0.03, 0.1, 0.3)
_LENGTHS = (0.25, 0.5, 1.0)
_NEXT_BEYOND = 0.3  # of the draws at an end of the range: look beyond it
_TEETH = 10


@dataclass(frozen=True)
class Sweep:
    """A logged drive (N,): time s (rising), the setting, watts into the load, air speed at the rotor's place m/s, and
    rotor speed rad/s where logged. `kind` is pitch, resistance or ratio; `wind_is_known` tells road speed alone from
    air speed."""

    kind: Kind
    time_s: np.ndarray
    setting: np.ndarray
    electrical_power_w: np.ndarray
    air_speed_m_s: np.ndarray
    rotor_speed_rad_s: np.ndarray | None
    wind_is_known: bool


@dataclass(frozen=True)
class SettingResult:
    """One setting: power coefficient (watts over the wind's own) with its interval; peak, mean and energy apart."""

    setting: float
    power_coefficient: float
    low: float
    high: float
    standard_error: float
    visits: int
    stretches: int
    peak_w: float
    mean_w: float
    energy_j: float
    seconds: float


@dataclass(frozen=True)
class TuningLimits:
    """Broken limits: in the drive as logged, and by the best and the next setting as predicted in its fastest air."""

    logged: tuple[OperatingLimit, ...]
    best: tuple[OperatingLimit, ...]
    next: tuple[OperatingLimit, ...]


@dataclass(frozen=True)
class Tuned:
    """The best setting with its interval (19 times out of 20), the next to try, and every setting that was tried.

    `alike` are pairs of neighbouring settings between which no difference can be seen; `at_edge` that the best may lie
    beyond the settings tried; `skipped` settings whose stretches were too short.
    """

    kind: Kind
    best: float
    low: float
    high: float
    next: float
    next_beyond: bool
    settings: tuple[SettingResult, ...]
    alike: tuple[tuple[float, float], ...]
    best_is_known: bool
    at_edge: bool
    lag_s: float
    inertia_used: bool
    skipped: tuple[float, ...]
    wind_is_known: bool
    by_readings: bool  # numbers read now and then, each taken by itself: no stretch was long enough
    visits_vary: bool  # every setting was visited once only: a drift of the wind would look like a setting
    curve_setting: np.ndarray
    curve: np.ndarray
    limits: TuningLimits | None = None  # where the scenario is known


def tuned_of_file(scenario: Scenario, path: Path, progress: Progress | None = None) -> Tuned:
    """Return `tuned_of` the drive in a CSV file (see `read_sweep`)."""
    sweep = read_sweep(path, scenario, part(progress, 0.0, _READ))
    return tuned_of(scenario, sweep, progress=part(progress, _READ, 1.0))


def read_sweep(path: Path, scenario: Scenario, progress: Progress | None = None) -> Sweep:
    """Return a drive from a CSV file: time_s, electrical_power_w, one of pitch_deg, resistance_ohm or ratio, and
    air_speed_* or road_speed_* (with wind_speed_*, the head wind, if known); optional rotor_speed_rpm.

    A few numbers a setting will do (a log in which rows lack watts, setting or speed is read without those rows), but
    four rows in all are the minimum. Road speed and wind are multiplied by rotor.local_speed_factor, air speed too
    where measurement.air_speed_at says free_air. `progress` is told the share done. Raises InputError.
    """
    data = read_table(
        path,
        {"time": "s", "electrical_power": "W"},
        optional={**SETTINGS, "air_speed": "m/s", "road_speed": "m/s", "wind_speed": "m/s", "rotor_speed": "rad/s"},
        blanks_allowed=("electrical_power", *SETTINGS, "air_speed", "road_speed", "wind_speed", "rotor_speed"),
        least_rows=_LEAST_READINGS,
        progress=progress,
    )
    data = _whole_rows(path, data)
    increasing(path, "time", data["time"])
    kinds = [name for name in KINDS if name in data]
    problems = []
    if len(kinds) != 1:
        read = "none of them" if not kinds else " and ".join(kinds)
        problems.append(Problem(path.name, "header", read, "one column of pitch_deg, resistance_ohm or ratio"))
    elif len(np.unique(data[kinds[0]])) < 2:
        problems.append(Problem(path.name, f"column {kinds[0]}", "one setting only", "two settings or more, stepped"))
    elif kinds[0] != "pitch" and (data[kinds[0]] <= 0).any():
        problems.append(Problem(path.name, f"column {kinds[0]}", f"{data[kinds[0]].min():g}", "values above 0"))
    if "air_speed" not in data and "road_speed" not in data:
        problems.append(
            Problem(path.name, "header", "no speed", "a column air_speed_* or road_speed_* (and wind_speed_*)")
        )
    if (data["electrical_power"] < 0).any():
        problems.append(
            Problem(path.name, "column electrical_power", f"{data['electrical_power'].min():g}", "no negative watts")
        )
    if problems:
        raise InputError(problems)
    local = scenario.rotor.local_speed_factor.value
    if "air_speed" in data:
        air = data["air_speed"] * (local if scenario.measurement.air_speed_at == "free_air" else 1.0)
    else:
        air = (data["road_speed"] + data.get("wind_speed", np.zeros(len(data["time"])))) * local
    return Sweep(
        kinds[0],
        data["time"],
        data[kinds[0]],
        data["electrical_power"],
        np.maximum(air, 0.0),
        data.get("rotor_speed"),
        "air_speed" in data or "wind_speed" in data,
    )


def _whole_rows(path: Path, data: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Return the rows with watts, a setting and a speed; a column without any number is left out, as is a rotor speed
    that is missing now and then.
    """
    data = {name: values for name, values in data.items() if name == "time" or np.isfinite(values).any()}
    if (
        "rotor_speed" in data
        and not np.isfinite(data["rotor_speed"][np.isfinite(data.get("electrical_power", 0))]).all()
    ):
        del data["rotor_speed"]
    known = np.all([np.isfinite(values) for values in data.values()], axis=0)
    if int(known.sum()) < _LEAST_READINGS or "electrical_power" not in data:
        raise InputError(
            Problem(
                path.name,
                "rows",
                f"{int(known.sum())} rows with watts, setting and speed",
                f"at least {_LEAST_READINGS}: two settings, each read twice",
            )
        )
    return {name: values[known] for name, values in data.items()}


def tuned_of(scenario: Scenario, sweep: Sweep, seed: int = 1, progress: Progress | None = None) -> Tuned:
    """Return the best setting of a drive with the rotor of a scenario (its area, density, inertia).

    `progress` is told the share done (see energy/progress.py). Raises InputError as `tuned` does.
    """
    inputs = inputs_of(scenario)
    area = math.pi / 4 * float(np.asarray(inputs.turbine.diameter_m)) ** 2
    work = turbine_at_work(inputs)
    shaft = float(work.shaft_power_w)
    efficiency = float(work.heat_power_w) / shaft if shaft > 0 else 1.0
    inertia = _inertia(scenario)
    # Of the turning energy only what the generator chain lets through counts as watts of the load.
    turning = None if inertia is None else efficiency * inertia
    result = tuned(sweep, area, float(inputs.density_kg_m3), turning, seed, progress)
    return replace(result, limits=_limits(scenario, sweep, result))


_FASTEST = 0.99  # of the rows: a single gust of a log is no air to judge a setting by (own rule, no source)


def _limits(scenario: Scenario, sweep: Sweep, result: Tuned) -> TuningLimits:
    """Return which limits the drive broke, and which its best and its next setting would break in its fastest air."""
    inputs = inputs_of(scenario)
    top = math.nan if sweep.rotor_speed_rad_s is None else float(np.nanmax(sweep.rotor_speed_rad_s))
    watts = float(np.nanmax(sweep.electrical_power_w))
    logged = measured_limits(inputs, rotor_speed_rad_s=top, element_power_w=watts)
    if inputs.turbine.chain is None:  # known by its watts alone: no setting of it is modelled
        return TuningLimits(logged, (), ())
    followed = lagged(sweep.air_speed_m_s, sweep.time_s, result.lag_s)  # a gust is over before a heavy rotor has it
    air = float(np.nanquantile(followed, _FASTEST)) / float(np.asarray(inputs.turbine.local_speed_factor))

    def predicted(setting: float) -> tuple[OperatingLimit, ...]:
        return limits_at_setting(scenario, sweep.kind, setting, {"trip.road_speed": air, "air.wind_speed": 0.0})

    return TuningLimits(logged, predicted(result.best), predicted(result.next))


def limits_at_setting(
    scenario: Scenario, kind: Kind, setting: float, others: Mapping[QuantityKey, float]
) -> tuple[OperatingLimit, ...]:
    """Return the limits that a setting is predicted to break, with `others` (SI) in place of the scenario's values."""
    key = SCENARIO_KEYS[kind]
    value = setting if SETTINGS[kind] == "dimensionless" else convert(setting, SETTINGS[kind], spec_of(key).unit)
    at = inputs_of(scenario, {key: np.array(value), **{other: np.array(held) for other, held in others.items()}})
    return in_order(operating_limits(at, turbine_at_work(at, with_free_run=False)))


def as_setting(kind: str, value: float) -> str | float:
    """Return a setting as the scenario takes it at SCENARIO_KEYS[kind]: "6.1 deg", "9.5 ohm", 2.5."""
    rounded = float(f"{value:.4g}")
    unit = SETTINGS[kind]
    return rounded if unit == "dimensionless" else f"{rounded:g} {unit}"


def _inertia(scenario: Scenario) -> float | None:
    """Return the moment of inertia of all blades (kg·m²), None where the scenario does not tell it."""
    table = scenario.blade_loads
    if table is None or (table.mass is None and table.piece_masses is None):
        return None
    count = table.number_of_blades or (scenario.blade.number_of_blades if scenario.blade is not None else None)
    if count is None:
        return None
    if table.piece_masses is not None and table.piece_radii is not None:
        one = sum(m.value * r.value**2 for m, r in zip(table.piece_masses, table.piece_radii, strict=True))
    else:
        assert table.mass is not None
        assert table.centre_of_mass is not None
        one = table.mass.value * table.centre_of_mass.value**2
    return count.value * one


def tuned(
    sweep: Sweep,
    area_m2: float,
    density_kg_m3: float,
    inertia_kg_m2: float | None = None,
    seed: int = 1,
    progress: Progress | None = None,
) -> Tuned:
    """Return the best setting, its interval, the next to try and every setting's result.

    With an inertia (times the efficiency from shaft to load) and a logged rotor speed the turning energy is kept
    account of, and the wind's power is taken as it comes; else it is taken behind the fitted lag. Where fewer than two
    settings were held long enough for that, rows seconds apart are readings by themselves.
    Raises InputError where even those are too few.
    """
    wind_w = 0.5 * density_kg_m3 * area_m2 * sweep.air_speed_m_s**3
    if float(np.mean(wind_w)) < _LEAST_MEAN_WIND_W:
        raise InputError(
            Problem(
                "the drive", "air speed", f"{sweep.air_speed_m_s.mean():.2g} m/s on average", "a drive in moving air"
            )
        )
    visits = _visits(sweep)
    lag, behind = _fitted_lag(sweep, wind_w, visits)
    if inertia_kg_m2 is None or sweep.rotor_speed_rad_s is None:
        wind_w = behind
    stretches = [_stretches(sweep, wind_w, first, stop, lag, inertia_kg_m2) for first, stop in visits]
    values = np.array([sweep.setting[first] for first, _ in visits])
    tried = np.unique(values)
    enough = [v for v in tried if any(len(s) for s, x in zip(stretches, values, strict=True) if x == v)]
    if len(enough) < 2:
        if float(np.median(np.diff(sweep.time_s))) >= _READ_BY_HAND_S:
            return _tuned_of_readings(sweep, wind_w, visits, seed, progress)
        raise InputError(
            Problem(
                "the drive",
                sweep.kind,
                f"{len(enough)} settings held long enough",
                f"two settings or more, each held {_LEAST_SETTLE_S + _LEAST_STRETCH_S:.0f} s or more "
                f"(longer with a lag of {lag:g} s)",
            )
        )
    results = _results(sweep, visits, stretches, values, enough)
    inertia_used = inertia_kg_m2 is not None and sweep.rotor_speed_rad_s is not None
    return _with_curve(sweep, results, tried, lag, inertia_used, seed, progress)


def _tuned_of_readings(
    sweep: Sweep, wind_w: np.ndarray, visits: list[tuple[int, int]], seed: int, progress: Progress | None
) -> Tuned:
    """Return the best setting where each number read stands by itself: wide, as few numbers are.

    A reading's watts over the wind's power at that moment, without any lag; the scatter of all readings (not below
    _READING_SCATTER) with Student's t. Raises InputError where no setting was read twice.
    """
    readings = [sweep.electrical_power_w[a:b] / np.maximum(wind_w[a:b], _LEAST_WIND_W) for a, b in visits]
    values = np.array([sweep.setting[first] for first, _ in visits])
    tried = np.unique(values)
    if len(sweep.setting) <= len(tried) or len(tried) < 2:
        raise InputError(
            Problem(
                "the drive",
                sweep.kind,
                f"{len(sweep.setting)} readings of {len(tried)} settings",
                f"two settings or more, each read twice or three times, or held "
                f"{_LEAST_SETTLE_S + _LEAST_STRETCH_S:.0f} s or more in a log",
            )
        )
    level = float(np.mean(np.concatenate(readings)))
    results = _results(sweep, visits, readings, values, list(tried), least_scatter=_READING_SCATTER * level)
    return replace(_with_curve(sweep, results, tried, 0.0, False, seed, progress), by_readings=True)


def _visits(sweep: Sweep) -> list[tuple[int, int]]:
    """Return (first, stop) of the stretches of one setting; a gap in the log ends one too."""
    step = np.diff(sweep.time_s)
    gap = step > max(5.0, 5 * float(np.median(step)))
    edges = np.flatnonzero((np.diff(sweep.setting) != 0) | gap) + 1
    ends = [0, *edges.tolist(), len(sweep.setting)]
    return list(itertools.pairwise(ends))


def lagged(values: np.ndarray, time_s: np.ndarray, lag_s: float) -> np.ndarray:
    """Return values behind a first-order lag: y' = (x − y)/lag, exact for inputs held from row to row."""
    if lag_s <= 0:
        return values
    step = np.diff(time_s)
    if len(values) > _MOST_LOOPED and np.ptp(step) < 0.01 * step.mean():
        from scipy.signal import lfilter

        keep = math.exp(-float(step.mean()) / lag_s)
        filtered, _ = lfilter([1 - keep], [1, -keep], values, zi=[keep * values[0]])
        return np.asarray(filtered)
    filtered = np.empty_like(values)
    filtered[0] = values[0]
    for k, kept in enumerate(np.exp(-step / lag_s), 1):
        filtered[k] = kept * filtered[k - 1] + (1 - kept) * values[k]
    return filtered


def _fitted_lag(sweep: Sweep, wind_w: np.ndarray, visits: list[tuple[int, int]]) -> tuple[float, np.ndarray]:
    """Return the lag (s) at which the wind's power explains the watts best, and the wind's power behind it.

    Least squares of watts on lagged wind power, each visit with its own factor; lags too long for the median visit to
    hold one stretch are not tried.
    """
    longest = float(np.median([sweep.time_s[b - 1] - sweep.time_s[a] for a, b in visits])) / (
        _SETTLE_LAGS + _STRETCH_LAGS + 1
    )
    best: tuple[float, float, np.ndarray] | None = None
    for lag in _LAGS_S:
        if lag > longest and lag > 0:
            continue
        behind = np.maximum(lagged(wind_w, sweep.time_s, lag), _LEAST_WIND_W)
        miss = 0.0
        for a, b in visits:
            x, y = behind[a:b], sweep.electrical_power_w[a:b]
            miss += float(y @ y - (x @ y) ** 2 / (x @ x))
        if best is None or miss < best[1] * (1 - 1e-9):
            best = (lag, miss, behind)
    assert best is not None
    return best[0], best[2]


def _stretches(
    sweep: Sweep, wind_w: np.ndarray, first: int, stop: int, lag_s: float, inertia_kg_m2: float | None
) -> np.ndarray:
    """Return the power coefficient of each steady stretch of a visit, from energy over energy.

    What the rotor's turning energy took or gave within the stretch is added, where inertia and rotor speed are known.
    """
    time = sweep.time_s[first:stop]
    begin = time[0] + max(_LEAST_SETTLE_S, _SETTLE_LAGS * lag_s)
    length = max(_LEAST_STRETCH_S, _STRETCH_LAGS * lag_s)
    count = int((time[-1] - begin) / length + 1e-9)
    if count < 1:
        return np.empty(0)
    bounds = np.searchsorted(time, np.linspace(begin, time[-1], count + 1), side="left")
    bounds[-1] = len(time) - 1
    stretches = []
    for a, b in itertools.pairwise(bounds):
        if b - a < 3:
            continue
        part = slice(first + a, first + b + 1)
        energy = float(np.trapezoid(sweep.electrical_power_w[part], sweep.time_s[part]))
        wind = float(np.trapezoid(wind_w[part], sweep.time_s[part]))
        if inertia_kg_m2 is not None and sweep.rotor_speed_rad_s is not None:
            speed = sweep.rotor_speed_rad_s
            # A mean of three rows about either end, so that one bad reading does not matter much.
            start, end = (float(speed[max(k - 1, 0) : k + 2].mean()) for k in (first + a, first + b))
            energy += 0.5 * inertia_kg_m2 * (end**2 - start**2)
        if wind > 0:
            stretches.append(energy / wind)
    return np.array(stretches)


@dataclass(frozen=True)
class _Scatter:
    """Variance of a stretch's power coefficient within its visit and between visits, and degrees of freedom."""

    within: float
    between: float
    degrees_of_freedom: int


def _results(
    sweep: Sweep,
    visits: list[tuple[int, int]],
    stretches: list[np.ndarray],
    values: np.ndarray,
    enough: list[float],
    least_scatter: float = 0.0,
) -> list[SettingResult]:
    """Return each setting's mean with its error: scatter of stretches (pooled) and of visits to the same setting."""
    scatter = _scatter(sweep, stretches, values, enough)
    scatter = replace(scatter, within=max(scatter.within, least_scatter**2))
    results = []
    for value in enough:
        of_value = [s for s, x in zip(stretches, values, strict=True) if x == value and len(s)]
        spans = [span for span, x in zip(visits, values, strict=True) if x == value]
        results.append(_result(sweep, float(value), of_value, spans, scatter))
    return results


def _scatter(sweep: Sweep, stretches: list[np.ndarray], values: np.ndarray, enough: list[float]) -> _Scatter:
    """Return the scatter of all stretches. Raises InputError where one stretch of each setting tells none."""
    residuals = [s - s.mean() for s in stretches if len(s) > 1]
    degrees = sum(len(s) - 1 for s in residuals)
    within = float(sum((s**2).sum() for s in residuals)) / degrees if degrees > 0 else math.nan
    # Variance between visits to one setting beyond what their stretches explain.
    excess, visit_degrees = 0.0, 0
    for value in enough:
        means = [(s.mean(), len(s)) for s, x in zip(stretches, values, strict=True) if x == value and len(s)]
        if len(means) > 1:
            level = float(np.mean([m for m, _ in means]))
            expected = 0.0 if math.isnan(within) else within * float(np.mean([1 / n for _, n in means]))
            excess += sum((m - level) ** 2 for m, _ in means) - (len(means) - 1) * expected
            visit_degrees += len(means) - 1
    between = max(0.0, excess / visit_degrees) if visit_degrees else 0.0
    if math.isnan(within):  # one stretch a visit: only the visits tell the scatter
        within, between, degrees = (between if visit_degrees else math.nan), 0.0, visit_degrees
    if math.isnan(within):
        raise InputError(
            Problem("the drive", sweep.kind, "one stretch of each setting", "longer stretches, or each setting twice")
        )
    return _Scatter(within, between, max(min(degrees, visit_degrees) if between > 0 else degrees, 1))


def _result(
    sweep: Sweep, setting: float, stretches: list[np.ndarray], spans: list[tuple[int, int]], scatter: _Scatter
) -> SettingResult:
    """Return one setting's mean, its error, and the watts of its visits (first, stop)."""
    from scipy.stats import t as student

    every = np.concatenate(stretches)
    error = math.sqrt(scatter.within / len(every) + scatter.between / len(stretches))
    # The interval of few degrees of freedom is wider than its standard error says; the curve uses the wider one.
    error *= float(student.ppf(0.975, scatter.degrees_of_freedom)) / 1.96
    energy = sum(float(np.trapezoid(sweep.electrical_power_w[a:b], sweep.time_s[a:b])) for a, b in spans)
    seconds = sum(float(sweep.time_s[b - 1] - sweep.time_s[a]) for a, b in spans)
    level = float(every.mean())
    return SettingResult(
        setting=setting,
        power_coefficient=level,
        low=level - 1.96 * error,
        high=level + 1.96 * error,
        standard_error=error,
        visits=len(stretches),
        stretches=len(every),
        peak_w=max(float(sweep.electrical_power_w[a:b].max()) for a, b in spans),
        mean_w=energy / seconds if seconds > 0 else float(np.mean([sweep.electrical_power_w[a] for a, _ in spans])),
        energy_j=energy,
        seconds=seconds,
    )


def _scale(kind: str, values: np.ndarray, *, back: bool = False) -> np.ndarray:
    """Return pitches as they are, ratios and resistances as logarithms (they matter by their ratio)."""
    if kind == "pitch":
        return values
    return np.exp(values) if back else np.log(values)


def _with_curve(
    sweep: Sweep,
    results: list[SettingResult],
    tried: np.ndarray,
    lag: float,
    inertia_used: bool,
    seed: int,
    progress: Progress | None,
) -> Tuned:
    """Return the best setting of the smooth curve through the results, and what it says."""
    tried_at = _scale(sweep.kind, np.array([r.setting for r in results]))
    level = np.array([r.power_coefficient for r in results])
    error = np.array([r.standard_error for r in results])
    grid = np.linspace(tried_at[0], tried_at[-1], _GRID)
    draws, mean = _curve_draws(tried_at, level, error, grid, seed, progress)
    best_of_draw = grid[np.argmax(draws, axis=1)]
    low, high = np.quantile(best_of_draw, [0.025, 0.975])
    best_setting = float(grid[np.argmax(mean)])
    low, high = min(float(low), best_setting), max(float(high), best_setting)
    next_setting, next_beyond = _next(grid, draws, best_of_draw, float(np.median(error)), tried_at, seed)
    alike = tuple((a.setting, b.setting) for a, b in itertools.pairwise(results) if not _differ(a, b))
    top = max(results, key=lambda r: r.power_coefficient)
    best_is_known = any(_differ(top, r) for r in results if r is not top)

    def back(value: float) -> float:
        return float(_scale(sweep.kind, np.asarray(value), back=True))

    return Tuned(
        kind=sweep.kind,
        best=back(best_setting),
        low=back(low),
        high=back(high),
        next=back(next_setting),
        next_beyond=next_beyond,
        settings=tuple(results),
        alike=alike,
        best_is_known=best_is_known,
        at_edge=bool(low <= grid[1] or high >= grid[-2]),
        lag_s=lag,
        inertia_used=inertia_used,
        skipped=tuple(float(v) for v in tried if v not in [r.setting for r in results]),
        wind_is_known=sweep.wind_is_known,
        by_readings=False,
        visits_vary=all(r.visits == 1 for r in results),
        curve_setting=_scale(sweep.kind, grid, back=True),
        curve=mean,
    )


def _differ(a: SettingResult, b: SettingResult) -> bool:
    """Return whether two settings differ (95 %, errors in quadrature)."""
    return abs(a.power_coefficient - b.power_coefficient) > 1.96 * math.hypot(a.standard_error, b.standard_error)


def _curve_draws(
    at: np.ndarray,
    level: np.ndarray,
    error: np.ndarray,
    grid: np.ndarray,
    seed: int,
    progress: Progress | None,
) -> tuple[np.ndarray, np.ndarray]:
    """Return draws (_DRAWS, grid) of the smooth curve through the settings, and its mean (grid,).

    Gaussian process with a squared-exponential kernel about an unknown level (Rasmussen & Williams, Gaussian Processes
    for Machine Learning, 2006, algorithm 2.1, as scikit-learn has it). Its height and length are not fitted, which too
    few settings cannot bear, but averaged over a set, weighed by the marginal likelihood.
    """
    import warnings

    tell(progress, 0.1)
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel

    size = max(float(np.mean(np.abs(level))), 1e-9)
    x, points = (at - at[0])[:, None] / np.ptp(at), (grid - at[0])[:, None] / np.ptp(at)
    y = (level - level.mean()) / size
    fits, weights = [], []
    for amplitude in _AMPLITUDES:
        for length in _LENGTHS:
            kernel = ConstantKernel(0.25) + ConstantKernel(amplitude**2) * RBF(length)
            fit = GaussianProcessRegressor(kernel, alpha=(error / size) ** 2 + 1e-10, optimizer=None).fit(x, y)
            fits.append(fit)
            weights.append(fit.log_marginal_likelihood_value_)
    share = np.exp(np.array(weights) - max(weights))
    share /= share.sum()
    counts = np.random.default_rng(seed).multinomial(_DRAWS, share)
    draws, mean = [], np.zeros(len(grid))
    for k, (fit, count) in enumerate(zip(fits, counts, strict=True)):
        tell(progress, 0.5 + 0.5 * k / len(fits))
        mean += share[k] * fit.predict(points)
        if count:
            with warnings.catch_warnings():
                # The draws' covariance is singular to rounding (a smooth curve on a fine grid), which numpy remarks on.
                warnings.simplefilter("ignore", RuntimeWarning)
                draws.append(fit.sample_y(points, int(count), random_state=seed + k).T)
    tell(progress, 1.0)
    return np.concatenate(draws), mean * size + level.mean()


def _next(
    grid: np.ndarray, draws: np.ndarray, best_at: np.ndarray, error: float, at: np.ndarray, seed: int
) -> tuple[float, bool]:
    """Return the setting whose measurement would tell most about where the best lies, and whether it lies beyond the
    range.

    For each candidate the draws are sorted by what it would read (with noise) and cut in ten; the more the place of
    the best differs between the tenths, the more the reading would teach.
    """
    step = float(np.median(np.diff(at)))
    share_low, share_high = float(np.mean(best_at <= grid[1])), float(np.mean(best_at >= grid[-2]))
    if max(share_low, share_high) > _NEXT_BEYOND:
        return (float(grid[0] - step), True) if share_low > share_high else (float(grid[-1] + step), True)
    size = float(np.std(draws)) or 1.0
    noise = np.random.default_rng(seed).normal(size=len(draws)) * min(error / max(size, 1e-12), 1e6) * size
    taught = []
    for k in range(0, len(grid), 4):
        order = np.argsort(draws[:, k] + noise)
        parts = np.array_split(best_at[order], _TEETH)
        taught.append(float(np.var([part.mean() for part in parts])))
    return float(grid[4 * int(np.argmax(taught))]), False
