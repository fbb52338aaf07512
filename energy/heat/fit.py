"""What a load really leaks: heat capacity and loss from logged warm-ups and cool-downs, with intervals.

The model is one node with a linear loss, solved exactly from sample to sample (the power of a row holds until the next
row), with a sensor that may lag. Residuals of a temperature log are never independent: a thermometer drifts, the wind
turns. So the fit whitens them by their own first-order autocorrelation (Cochrane & Orcutt, J. Am. Stat. Assoc. 44
(1949) 32), and takes the wider of the usual and the Newey-West covariance (Econometrica 55 (1987) 703) of what is
left. Both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from energy.heat.steps import HeaterError
from vehicle.problems import InputError, Problem
from vehicle.quantity import Estimate
from vehicle.tables import increasing, read_table

FloatArray = npt.NDArray[np.float64]

LEAST_ROWS = 10
MOST_ROWS_FITTED = 4000
"""Longer logs are averaged down to about this many rows: neighbours say the same."""
TELLING_HALF_WIDTH = 0.5
"""An interval that reaches further than this share of its value is too wide to be used alone."""

# A log below these says little about the load; power jumps that explain this share of a misfit come first (no source).
_SHORT_S, _SMALL_K, _UNSEEN_SHARE = 300.0, 5.0, 0.5
MOST_SPREAD = 5.0
FINEST_K = 1e-3
"""No logged temperature is taken to be truer than this."""


@dataclass(frozen=True)
class HeatLog:
    """A logged warm-up or cool-down. All arrays (rows,); NaN marks a value that was not logged."""

    time_s: FloatArray
    temperature_k: FloatArray
    power_w: FloatArray
    ambient_k: FloatArray
    name: str = "log"


@dataclass(frozen=True)
class Residuals:
    """Logged less fitted temperature of one log, for a plot; (rows,) of the rows that were fitted."""

    name: str
    time_s: FloatArray
    fitted_k: FloatArray
    residual_k: FloatArray


@dataclass(frozen=True)
class HeaterFit:
    """Heat capacity, loss and time constant with intervals of the given level.

    `heat_capacity_j_k` and `loss_w_k` are None where the logs hold no power: then only the time constant can be
    calculated.
    `remarks` say in plain words what the logs cannot tell and what to log next. `autocorrelation` is that of residuals
    one typical sample apart.
    """

    heat_capacity_j_k: Estimate | None
    loss_w_k: Estimate | None
    time_constant_s: Estimate
    sensor_lag_s: Estimate | None
    level: float
    residual_rms_k: float
    autocorrelation: float
    correlation: float
    rows: int
    separable: bool
    remarks: tuple[str, ...]
    residuals: tuple[Residuals, ...]


@dataclass(frozen=True)
class _Segment:
    """A stretch of a log without a gap: step lengths, mean temperature readings, power and ambient of each step."""

    log: int
    time: FloatArray
    temperature: FloatArray
    power: FloatArray  # (rows - 1,)
    ambient: FloatArray  # (rows - 1,)


def read_heater_log(path: Path, *, ambient_k: float | None = None) -> HeatLog:
    """Return a log read from CSV with the columns time, temperature, power and ambient, units in the headers.

    Such as `time_s,temperature_degc,power_w,ambient_degc` (or `_min`, `_degf`, `_kw`). Empty cells are gaps. The
    ambient column may be missing where `ambient_k` is given.

    Parameters
    ----------
    path : the CSV file
    ambient_k : [K] temperature around the load where the log has none

    Returns
    -------
    The log, arrays (rows,), NaN in gaps.

    Raises
    ------
    InputError
        Naming every fault.
    """
    columns = {"time": "s", "temperature": "K", "power": "W"}
    optional = {"ambient": "K"} if ambient_k is not None else {}
    if ambient_k is None:
        columns["ambient"] = "K"
    table = read_table(
        path, columns, optional=optional, blanks_allowed=("temperature", "power", "ambient"), least_rows=LEAST_ROWS
    )
    increasing(path, "time", table["time"])
    ambient = table.get("ambient", np.full(table["time"].shape, np.nan))
    if ambient_k is not None:
        ambient = np.where(np.isnan(ambient), ambient_k, ambient)
    log = HeatLog(table["time"], table["temperature"], table["power"], ambient, path.name)
    wrong = _problems(log, path.name)
    if wrong:
        raise InputError(wrong)
    return log


def _problems(log: HeatLog, where: str) -> list[Problem]:
    """Return what is impossible about a log."""
    found: list[Problem] = []
    count = log.time_s.size
    if any(array.shape != (count,) for array in (log.temperature_k, log.power_w, log.ambient_k)):
        return [Problem(where, "", "columns of different lengths", "one value of each a row")]
    if not bool(np.isfinite(log.time_s).all()) or bool((np.diff(log.time_s) <= 0).any()):
        found.append(Problem(where, "column time", "times that do not rise from row to row", "each time once, rising"))
    for key, values, low, high, unit in (
        ("temperature", log.temperature_k, 173.0, 1500.0, "K"),
        ("ambient", log.ambient_k, 173.0, 1500.0, "K"),
        ("power", log.power_w, 0.0, 1e6, "W"),
    ):
        bad = np.isinf(values) | (values < low) | (values > high)
        if bool(bad.any()):
            row = int(np.argmax(bad))
            found.append(
                Problem(
                    where,
                    f"column {key}, row {row + 1} of the numbers",
                    f"{values[row]:g} {unit}",
                    f"{low:g} to {high:g} {unit}",
                )
            )
        if int(np.isfinite(values).sum()) < LEAST_ROWS:
            found.append(
                Problem(where, f"column {key}", f"{int(np.isfinite(values).sum())} values", f"at least {LEAST_ROWS}")
            )
    return found


def fit_heater(
    logs: Sequence[HeatLog], *, sensor_lag: bool = False, level: float = 0.95, gap_s: float | None = None
) -> HeaterFit:
    """Return heat capacity, loss and time constant that all the logs together speak for.

    A stretch without power readings, or with none at all for longer than `gap_s` (by default five typical samples, at
    least 30 s), parts a log: the temperature starts anew behind it. With `sensor_lag` the thermometer's time constant
    is fitted too. Raises InputError for logs that cannot be fitted.

    Parameters
    ----------
    logs : of the same load
    sensor_lag : fit the thermometer's time constant too
    level : [-] of the intervals, 0.5 to below 1
    gap_s : [s] a longer silence parts a log

    Returns
    -------
    Heat capacity [J/K], loss [W/K] and time constant [s], with intervals.

    Raises
    ------
    InputError
        For logs that cannot be fitted.
    HeaterError
        For a level that cannot be.

    References
    ----------
    .. [1] Cochrane and Orcutt, J. Am. Stat. Assoc. 44 (1949) 32, from memory.
    .. [2] Newey and West, Econometrica 55 (1987) 703, from memory.
    """
    if not 0.5 <= level < 1:
        raise HeaterError(f"level is {level:g}; accepted: 0.5 to below 1")
    if not logs:
        raise InputError(Problem("logs", "", "none", "at least one log"))
    wrong = [problem for log in logs for problem in _problems(log, log.name)]
    if wrong:
        raise InputError(wrong)
    segments = [part for number, log in enumerate(logs) for part in _segments(number, log, gap_s)]
    rows = sum(part.time.size for part in segments)
    if rows < LEAST_ROWS:
        raise InputError(
            Problem(
                ", ".join(log.name for log in logs),
                "",
                f"{rows} rows without gaps between them",
                f"at least {LEAST_ROWS} rows in stretches of 3 or more",
            )
        )
    powered = any(bool((part.power > 0).any()) for part in segments)
    return _fitted(logs, segments, powered=powered, sensor_lag=sensor_lag, level=level)


def _segments(number: int, log: HeatLog, gap_s: float | None) -> list[_Segment]:
    """Return the stretches of a log without gaps, averaged down where it is long."""
    thinned = _thinned(log)
    ambient = _bridged(thinned.time_s, thinned.ambient_k)
    seen = np.isfinite(thinned.temperature_k)
    typical = float(np.median(np.diff(log.time_s)))
    typical = max(typical, float(np.median(np.diff(thinned.time_s))))
    longest = max(5.0 * typical, 30.0) if gap_s is None else gap_s
    step = np.diff(thinned.time_s)
    # A row's power holds until the next row: unknown power, or a long silence, parts the log.
    parted = np.isnan(thinned.power_w[:-1]) | (step > longest)
    bounds = np.concatenate([[0], np.flatnonzero(parted) + 1, [thinned.time_s.size]])
    found: list[_Segment] = []
    for first, last in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
        inside = np.flatnonzero(seen[first:last])
        if inside.size < 3:
            continue
        first, last = first + int(inside[0]), first + int(inside[-1]) + 1
        middle_ambient = 0.5 * (ambient[first : last - 1] + ambient[first + 1 : last])
        found.append(
            _Segment(
                number,
                thinned.time_s[first:last],
                thinned.temperature_k[first:last],
                thinned.power_w[first : last - 1],
                middle_ambient,
            )
        )
    return found


def _bridged(time: FloatArray, values: FloatArray) -> FloatArray:
    """Return slow values (the ambient) with their gaps bridged by straight lines."""
    known = np.isfinite(values)
    return np.interp(time, time[known], values[known])


def _thinned(log: HeatLog) -> HeatLog:
    """Return a long log with fewer rows: every n-th time and temperature as the mean around it, the power as the mean
    until the next row kept, so that no energy is lost.
    """
    every = math.ceil(log.time_s.size / MOST_ROWS_FITTED)
    if every == 1:
        return log
    count = log.time_s.size // every
    used = count * every

    def means(values: FloatArray) -> FloatArray:
        return values[:used].reshape(count, every).mean(axis=1)

    step = np.append(np.diff(log.time_s), np.median(np.diff(log.time_s)))[:used].reshape(count, every)
    centre = means(log.time_s)
    # The energy up to a centre, by the staircase of the readings, differs between centres by what was given in between.
    edges = np.concatenate([[log.time_s[0]], log.time_s[0] + np.cumsum(step)])
    energy = np.concatenate([[0.0], np.cumsum(np.nan_to_num(log.power_w[:used]).reshape(count, every) * step)])
    unknown = np.concatenate([[0.0], np.cumsum(np.isnan(log.power_w[:used]).reshape(count, every) * 1.0)])
    power = np.diff(np.interp(centre, edges, energy)) / np.diff(centre)
    holes = np.diff(np.interp(centre, edges, unknown)) > 0
    power = np.append(np.where(holes, np.nan, power), np.nan if holes.size and holes[-1] else 0.0)
    return replace(
        log, time_s=centre, temperature_k=means(log.temperature_k), power_w=power, ambient_k=means(log.ambient_k)
    )


def _predicted(part: _Segment, capacity: float, loss: float, lag: float, start: float) -> FloatArray:
    """Return the temperature that the sensor shows at each row of a segment, exact for steps of constant power."""
    step = np.diff(part.time)
    rate = loss / capacity
    ends = part.ambient + part.power / loss
    decay = np.exp(-rate * step)
    body = np.empty(part.time.size)
    body[0] = start
    value = start
    drive = ends * -np.expm1(-rate * step)
    for row, (keep, add) in enumerate(zip(decay.tolist(), drive.tolist(), strict=True), 1):
        value = keep * value + add
        body[row] = value
    if lag <= 0:
        return body
    quick = 1.0 / lag
    if abs(quick - rate) < 1e-6 * rate:
        quick = rate * (1 + 1e-6)
    ratio = quick / (quick - rate)
    fade = np.exp(-quick * step)
    # The sensor follows the body: two exponentials, its own and the body's.
    follow = ends * (1.0 - fade) + (body[:-1] - ends) * ratio * (decay - fade)
    shown = np.empty_like(body)
    shown[0] = value = start
    for row, (keep, add) in enumerate(zip(fade.tolist(), follow.tolist(), strict=True), 1):
        value = keep * value + add
        shown[row] = value
    return shown


@dataclass(frozen=True)
class _Problem:
    """A least-squares problem: which parameters are free and how residuals are whitened."""

    segments: tuple[_Segment, ...]
    powered: bool
    sensor_lag: bool

    def numbers(self, theta: FloatArray) -> tuple[float, float, float]:
        """Return capacity, loss and lag for logarithms of (time constant, capacity, lag) as far as they are free."""
        time_constant = math.exp(theta[0])
        capacity = math.exp(theta[1]) if self.powered else time_constant
        lag = math.exp(theta[1 + int(self.powered)]) if self.sensor_lag else 0.0
        return capacity, capacity / time_constant, lag

    @property
    def shape(self) -> int:
        """Number of parameters before the start temperatures."""
        return 1 + int(self.powered) + int(self.sensor_lag)

    def raw(self, theta: FloatArray) -> list[FloatArray]:
        """Return the residuals of each segment, NaN where no temperature was logged."""
        capacity, loss, lag = self.numbers(theta)
        starts = theta[self.shape :]
        return [
            part.temperature - _predicted(part, capacity, loss, lag, float(start))
            for part, start in zip(self.segments, starts, strict=True)
        ]

    def whitened(self, theta: FloatArray, per_step: float, typical: float) -> FloatArray:
        """Return residuals freed of their autocorrelation `per_step` over a step of `typical` seconds."""
        whole: list[FloatArray] = []
        for part, residual in zip(self.segments, self.raw(theta), strict=True):
            seen = np.isfinite(residual)
            kept, time = residual[seen], part.time[seen]
            share = per_step ** (np.diff(time) / typical)
            rest = (kept[1:] - share * kept[:-1]) / np.sqrt(1.0 - share**2)
            whole.append(np.concatenate([kept[:1], rest]))
        return np.concatenate(whole)


def _fitted(
    logs: Sequence[HeatLog], segments: list[_Segment], *, powered: bool, sensor_lag: bool, level: float
) -> HeaterFit:
    from scipy.optimize import least_squares
    from scipy.stats import t as student

    problem = _Problem(tuple(segments), powered, sensor_lag)
    typical = float(np.median(np.concatenate([np.diff(part.time) for part in segments])))
    theta = _first_guess(problem)
    low = np.concatenate(
        [[math.log(1.0)], [math.log(1.0)] * powered, [math.log(0.05)] * sensor_lag, np.full(len(segments), 100.0)]
    )
    high = np.concatenate(
        [[math.log(1e9)], [math.log(1e10)] * powered, [math.log(3600.0)] * sensor_lag, np.full(len(segments), 2000.0)]
    )
    scale = np.concatenate([np.full(problem.shape, 1.0), np.full(len(segments), 10.0)])
    autocorrelation = 0.0
    result = None
    for _ in range(4):
        before = autocorrelation
        result = least_squares(
            problem.whitened,
            np.clip(theta, low, high),
            bounds=(low, high),
            x_scale=scale,
            args=(autocorrelation, typical),
            xtol=1e-12,
            ftol=1e-12,
            gtol=1e-12,
        )
        theta = result.x
        autocorrelation = _autocorrelation(problem, theta, typical)
        if abs(autocorrelation - before) < 0.005:
            break
    result = least_squares(
        problem.whitened,
        theta,
        bounds=(low, high),
        x_scale=scale,
        args=(autocorrelation, typical),
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
    )
    theta = result.x
    covariance = _covariance(np.asarray(result.jac), np.asarray(result.fun))
    raw = np.concatenate(problem.raw(theta))
    seen = int(np.isfinite(raw).sum())
    effective = max(seen * (1 - autocorrelation) / (1 + autocorrelation) - theta.size, 3.0)
    factor = float(student.ppf(0.5 + level / 2, effective))
    return _summary(logs, problem, theta, covariance, factor, autocorrelation, level)


def _first_guess(problem: _Problem) -> FloatArray:
    """Return starting values: an energy balance by least squares over stretches of the logs, else rules of thumb."""
    rows, right = [], []
    for part in problem.segments:
        seen = np.flatnonzero(np.isfinite(part.temperature))
        time, temperature = part.time[seen], part.temperature[seen]
        energy = np.concatenate([[0.0], np.cumsum(part.power * np.diff(part.time))])[seen]
        ambient = np.concatenate([part.ambient, part.ambient[-1:]])[seen]
        over = temperature - ambient
        area = np.concatenate([[0.0], np.cumsum(0.5 * (over[1:] + over[:-1]) * np.diff(time))])
        pick = np.unique(np.linspace(0, seen.size - 1, min(30, seen.size)).astype(int))
        rows.append(np.column_stack([temperature[pick][1:] - temperature[pick][0], area[pick][1:]]))
        right.append(energy[pick][1:])
    matrix, given = np.concatenate(rows), np.concatenate(right)
    span = max(float(part.time[-1] - part.time[0]) for part in problem.segments)
    if problem.powered:
        capacity, loss = np.linalg.lstsq(matrix, given, rcond=None)[0].tolist()
        if capacity <= 0:
            capacity = max(float(given.max()), 1.0) / max(float(np.abs(matrix[:, 0]).max()), 0.1)
        constant = capacity / loss if loss > 0 else 10.0 * span
        free = [math.log(min(max(constant, span / 100), 100 * span)), math.log(capacity)]
    else:
        ratio = -float(matrix[:, 0] @ matrix[:, 1]) / max(float(matrix[:, 1] @ matrix[:, 1]), 1e-9)
        free = [math.log(min(max(1.0 / ratio if ratio > 0 else 10 * span, span / 100), 100 * span))]
    if problem.sensor_lag:
        free.append(math.log(max(span / 200, 1.0)))
    starts = [float(part.temperature[0]) for part in problem.segments]
    return np.array(free + starts)


def _autocorrelation(problem: _Problem, theta: FloatArray, typical: float) -> float:
    """Return the autocorrelation of residuals one typical step apart, between 0 and 0.995."""
    above = below = 0.0
    for part, residual in zip(problem.segments, problem.raw(theta), strict=True):
        seen = np.isfinite(residual)
        kept, time = residual[seen], part.time[seen]
        near = np.diff(time) < 1.5 * typical
        above += float((kept[1:] * kept[:-1])[near].sum())
        below += float((0.5 * (kept[1:] ** 2 + kept[:-1] ** 2))[near].sum())
    count = sum(part.time.size for part in problem.segments)
    estimate = above / below if below > 0 else 0.0
    # The residuals of a fit look less correlated than the noise is: a first-order correction for that bias, and one
    # standard error on top, since an interval that is too narrow is the worse fault.
    estimate += (1.0 + 3.0 * max(estimate, 0.0)) / max(count, 10)
    estimate += math.sqrt(max(1.0 - estimate**2, 0.0) / max(count, 10))
    return min(max(estimate, 0.0), 0.995)


def _covariance(jacobian: FloatArray, residual: FloatArray) -> FloatArray:
    """Return the wider of the usual and the Newey-West covariance of the parameters, entry by entry of its diagonal."""
    count, free = jacobian.shape
    size = np.linalg.norm(jacobian, axis=0)
    size = np.where(size > 0, size, 1.0)
    _, singular, right = np.linalg.svd(jacobian / size, full_matrices=False)
    # A direction that the logs say nothing about gets a huge variance, where a pseudo-inverse would give it none.
    singular = np.maximum(singular, 1e-8 * max(float(singular.max()), 1e-300))
    half = right.T / singular / size[:, None]
    bread = half @ half.T
    usual = bread * max(float(residual @ residual) / max(count - free, 1), FINEST_K**2)
    scores = jacobian * residual[:, None]
    lags = math.ceil(4 * (count / 100) ** (2 / 9))
    meat = scores.T @ scores
    for lag in range(1, min(lags, count - 1) + 1):
        product = scores[lag:].T @ scores[:-lag]
        meat += (1 - lag / (lags + 1)) * (product + product.T)
    robust = bread @ meat @ bread * count / max(count - free, 1)
    wider = np.sqrt(np.maximum(np.diag(robust) / np.maximum(np.diag(usual), 1e-300), 1.0))
    return usual * np.outer(wider, wider)


def _summary(
    logs: Sequence[HeatLog],
    problem: _Problem,
    theta: FloatArray,
    covariance: FloatArray,
    factor: float,
    autocorrelation: float,
    level: float,
) -> HeaterFit:
    capacity, loss, lag = problem.numbers(theta)

    def estimate(value: float, weights: list[float]) -> Estimate:
        direction = np.zeros(theta.size)
        direction[: len(weights)] = weights
        width = min(factor * math.sqrt(max(float(direction @ covariance @ direction), 0.0)), 30.0)
        return Estimate(value, value * math.exp(-width), value * math.exp(width), level)

    constant = estimate(capacity / loss, [1.0])
    sensor = estimate(lag, [0.0] * (1 + problem.powered) + [1.0]) if problem.sensor_lag else None
    capacity_found = estimate(capacity, [0.0, 1.0]) if problem.powered else None
    loss_found = estimate(loss, [-1.0, 1.0]) if problem.powered else None
    correlation = math.nan
    if problem.powered:
        variance_loss = float(covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1])
        shared = float(covariance[1, 1] - covariance[0, 1])
        correlation = shared / math.sqrt(max(variance_loss * float(covariance[1, 1]), 1e-300))
    residuals, raw = [], problem.raw(theta)
    for number, log in enumerate(logs):
        mine = [(part, rest) for part, rest in zip(problem.segments, raw, strict=True) if part.log == number]
        if mine:
            time = np.concatenate([part.time for part, _ in mine])
            rest = np.concatenate([rest for _, rest in mine])
            seen = np.isfinite(rest)
            logged = np.concatenate([part.temperature for part, _ in mine])
            residuals.append(Residuals(log.name, time[seen], (logged - rest)[seen], rest[seen]))
    whole = np.concatenate([entry.residual_k for entry in residuals])
    remarks, separable = _remarks(problem, capacity_found, loss_found, constant, whole)
    return HeaterFit(
        capacity_found,
        loss_found,
        constant,
        sensor,
        level,
        float(np.sqrt(np.mean(whole**2))),
        autocorrelation,
        correlation,
        whole.size,
        separable,
        tuple(remarks),
        tuple(residuals),
    )


def _ends(estimate: Estimate) -> tuple[float, float]:
    """Return the ends of a fitted value, which a fit always has."""
    assert estimate.low is not None
    assert estimate.high is not None
    return estimate.low, estimate.high


def _wide(estimate: Estimate) -> bool:
    return _ends(estimate)[1] / estimate.estimate - 1.0 > TELLING_HALF_WIDTH


def _remarks(
    problem: _Problem, capacity: Estimate | None, loss: Estimate | None, constant: Estimate, residual: FloatArray
) -> tuple[list[str], bool]:
    """Return what the logs cannot tell, in plain words, and whether loss and capacity can be told apart."""
    told: list[str] = []
    cools = any(bool((part.power <= 0).mean() > 0.15) for part in problem.segments)
    separable = True
    if capacity is None or loss is None:
        separable = False
        told.append(
            "These logs hold no power: they give the time constant only. Log a warm-up with a wattmeter too, and loss "
            "and capacity can be separated."
        )
        if _wide(constant):
            told.append("Even the time constant is loose: let it cool down for longer.")
    elif _wide(loss) or _wide(capacity):
        separable = False
        which = "This log cannot" if len({part.log for part in problem.segments}) == 1 else "These logs cannot"
        ask = "log for longer, or start hotter" if cools else "let it cool down too"
        told.append(f"{which} separate loss from capacity: {ask}.")
    wander = float(np.sqrt(np.mean(residual**2)))
    spans = [float(np.nanmax(part.temperature) - np.nanmin(part.temperature)) for part in problem.segments]
    if wander > 0.05 * max(spans):
        missed = f"The fit misses the logged temperatures by {wander:.1f} K on average, much against a span of "
        missed += f"{max(spans):.0f} K: "
        told.append(missed + _why_missed(problem, capacity, wander, max(spans)))
    return told, separable


def _why_missed(problem: _Problem, capacity: Estimate | None, wander: float, span: float) -> str:
    """Return why a fit misses much: the log before the load, where the log itself can do it."""
    longest = max(float(part.time[-1] - part.time[0]) for part in problem.segments)
    if longest < _SHORT_S or span < _SMALL_K:
        minutes = f"{longest / 60:.0f} min" if longest >= 90 else f"{longest:.0f} s"
        return f"{minutes} and {span:.0f} K are too little to judge the load by. Log ten minutes or more, and 10 K."
    jumped = 0.0 if capacity is None else _unseen_k(problem, capacity.estimate)
    if jumped > _UNSEEN_SHARE * wander:
        step = float(np.median(np.concatenate([np.diff(part.time) for part in problem.segments])))
        return (
            f"the power jumps between rows {step:.0f} s apart, and what it did between them was not logged. Log it "
            "every few seconds, or its energy (kWh), before blaming the load."
        )
    return "one temperature and a straight-line loss do not describe this load well."


def _unseen_k(problem: _Problem, capacity_j_k: float) -> float:
    """Return the temperature error (K) from power that switches anywhere between two rows: uniform, so 1/sqrt(12)."""
    errors = []
    for part in problem.segments:
        step = np.diff(part.time)
        jump = np.abs(np.diff(part.power, append=part.power[-1:]))
        errors.append(math.sqrt(float((jump**2 * step**2).sum()) / 12) / capacity_j_k)
    return max(errors)


def scenario_table(fit: HeaterFit) -> str:
    """Return the fit as the `[load]` table of a scenario file (TOML text).

    Parameters
    ----------
    fit : of logs

    Returns
    -------
    TOML text.

    Raises
    ------
    HeaterError
        Where the logs do not tell capacity and loss at all.
    """
    if fit.heat_capacity_j_k is None or fit.loss_w_k is None:
        raise HeaterError("the logs hold no power, so there is no capacity and no loss to write; log a warm-up too")
    for name, estimate in (("capacity", fit.heat_capacity_j_k), ("loss", fit.loss_w_k)):
        if _ends(estimate)[1] > MOST_SPREAD * estimate.estimate:
            raise HeaterError(
                f"these logs do not give the {name} within a factor of {MOST_SPREAD:g}: "
                f"{' '.join(fit.remarks) or 'log for longer.'}"
            )
    lines = [
        f"# Fitted to {fit.rows} rows of {', '.join(_safe(entry.name) for entry in fit.residuals)}; "
        f"intervals of {100 * fit.level:g} %."
    ]
    lines += [f"# {remark}" for remark in fit.remarks]
    lines.append("[load]")
    for key, estimate, scale, unit in (
        ("heat_capacity", fit.heat_capacity_j_k, 1e-3, "kJ/K"),
        ("loss", fit.loss_w_k, 1.0, "W/K"),
    ):
        value, low, high = (number * scale for number in (estimate.estimate, *_ends(estimate)))
        if low > 0 and high - value < 1.2 * (value - low):
            spread = f'plus_minus = "{_text(0.5 * (high - low))} {unit}"'
        else:
            spread = f'low = "{_text(low)} {unit}", high = "{_text(high)} {unit}"'
        lines.append(f'{key} = {{value = "{_text(value)} {unit}", {spread}}}')
    return "\n".join(lines) + "\n"


def _safe(name: str) -> str:
    """Return a file name fit for a comment of one line."""
    return "".join(letter if letter.isprintable() else "?" for letter in name)


def _text(number: float) -> str:
    return f"{number:.4g}" if number < 1e4 else f"{number:.0f}"
