"""The fit of a load once more, number by number: the node solved row by row, whitening, both covariances, the words.

Cochrane and Orcutt (1949) for the whitening, Newey and West (1987) with Bartlett's weights for the wider covariance,
Marriott and Pope (1954) for the bias of an autocorrelation, Bartlett (1946) for its standard error: all from memory.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import leastsq

from energy.heat import fit
from energy.heat.fit import HeaterFit, HeatLog, Residuals, fit_heater, read_heater_log, scenario_table
from energy.heat.steps import HeaterError
from vehicle.problems import InputError
from vehicle.quantity import Estimate


def shown(part: fit._Segment, capacity: float, loss: float, start: float) -> list[float]:
    """Return the temperatures of a node at the rows of a stretch."""
    out = [start]
    for k in range(len(part.time) - 1):
        end = float(part.ambient[k]) + float(part.power[k]) / loss
        out.append(end + (out[-1] - end) * math.exp(-float(part.time[k + 1] - part.time[k]) * loss / capacity))
    return out


def invented(seed: int, rows: int, *, watts: float = 700.0, jitter: float = 0.0, noise: float = 0.25) -> HeatLog:
    """Return a warm-up and cool-down of 20 kJ/K and 8 W/K with a thermometer that wanders."""
    rng = np.random.default_rng(seed)
    time = 60.0 * np.arange(rows) + jitter * rng.uniform(-25, 25, rows)
    power = np.where(np.arange(rows) < rows * 0.6, watts * (1 + 0.3 * np.sin(np.arange(rows) / 3)), 0.0)
    ambient = 288.0 + np.sin(np.arange(rows) / 9)
    part = fit._Segment(0, time, time, power[:-1], 0.5 * (ambient[1:] + ambient[:-1]))
    body = np.array(shown(part, 20e3, 8.0, 290.0))
    wander = np.zeros(rows)
    for k in range(1, rows):
        wander[k] = 0.6 * wander[k - 1] + noise * rng.normal()
    return HeatLog(time, body + wander, power, ambient, f"log {seed}")


def stretches(logs: list[HeatLog]) -> list[fit._Segment]:
    """Return whole logs as stretches: what they are where nothing is missing."""
    return [
        fit._Segment(n, log.time_s, log.temperature_k, log.power_w[:-1], 0.5 * (log.ambient_k[1:] + log.ambient_k[:-1]))
        for n, log in enumerate(logs)
    ]


def by_hand(logs: list[HeatLog], level: float) -> dict[str, object]:
    """Return what the fit of logs with power should give."""
    parts = stretches(logs)
    typical = float(np.median(np.concatenate([np.diff(part.time) for part in parts])))

    def left(x: np.ndarray) -> list[np.ndarray]:
        capacity, loss = math.exp(x[1]), math.exp(x[1] - x[0])
        return [p.temperature - shown(p, capacity, loss, float(s)) for p, s in zip(parts, x[2:], strict=True)]

    def white(x: np.ndarray, rho: float) -> np.ndarray:
        out = []
        for part, rest in zip(parts, left(x), strict=True):
            out.append(rest[0])
            for k in range(1, rest.size):
                share = rho ** (float(part.time[k] - part.time[k - 1]) / typical)
                out.append((rest[k] - share * rest[k - 1]) / math.sqrt(1 - share**2))
        return np.array(out)

    def correlated(x: np.ndarray) -> float:
        above = below = count = 0.0
        for part, rest in zip(parts, left(x), strict=True):
            count += rest.size
            for k in range(1, rest.size):
                if part.time[k] - part.time[k - 1] < 1.5 * typical:
                    above += rest[k] * rest[k - 1]
                    below += (rest[k] ** 2 + rest[k - 1] ** 2) / 2
        rho = above / below
        rho += (1 + 3 * max(rho, 0.0)) / count  # its bias
        return min(max(rho + math.sqrt(max(1 - rho**2, 0.0) / count), 0.0), 0.995)  # and one standard error

    x, rho = np.array([math.log(2000.0), math.log(18e3), *(p.temperature[0] for p in parts)]), 0.0
    for _ in range(4):
        x = leastsq(white, x, args=(rho,), xtol=1e-12, ftol=1e-12)[0]
        before, rho = rho, correlated(x)
        if abs(rho - before) < 0.005:
            break
    x = leastsq(white, x, args=(rho,), xtol=1e-12, ftol=1e-12)[0]
    rest = white(x, rho)
    n, p = rest.size, x.size
    columns = []
    for k in range(p):
        step = np.zeros(p)
        step[k] = 1e-5 * max(1.0, abs(x[k]) / 100)
        columns.append((white(x + step, rho) - white(x - step, rho)) / (2 * step[k]))
    jacobian = np.column_stack(columns)
    bread = np.linalg.inv(jacobian.T @ jacobian)
    usual = bread * float(rest @ rest) / (n - p)
    lags = math.ceil(4 * (n / 100) ** (2 / 9))
    meat = np.zeros((p, p))
    for i in range(n):
        for j in range(n):
            if abs(i - j) <= lags:
                weight = 1 - abs(i - j) / (lags + 1)
                meat += weight * rest[i] * rest[j] * np.outer(jacobian[i], jacobian[j])
    robust = bread @ meat @ bread * n / (n - p)
    wider = [max(robust[k, k] / usual[k, k], 1.0) ** 0.5 for k in range(p)]
    covariance = usual * np.outer(wider, wider)
    factor = float(stats.t(max(n * (1 - rho) / (1 + rho) - p, 3)).ppf(0.5 + level / 2))
    plain = np.concatenate(left(x))
    var_loss = covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1]
    return {
        "heat_capacity_j_k": (math.exp(x[1]), factor * covariance[1, 1] ** 0.5),
        "time_constant_s": (math.exp(x[0]), factor * covariance[0, 0] ** 0.5),
        "loss_w_k": (math.exp(x[1] - x[0]), factor * var_loss**0.5),
        "correlation": (covariance[1, 1] - covariance[0, 1]) / (var_loss * covariance[1, 1]) ** 0.5,
        "autocorrelation": rho,
        "residual_rms_k": float(np.mean(plain**2)) ** 0.5,
        "rows": n,
        "rest": plain,
        "wider": max(wider),
    }


@pytest.mark.parametrize(
    ("logs", "level"),
    [([invented(1, 60)], 0.95), ([invented(3, 50, jitter=1.0), invented(5, 40, watts=500.0)], 0.8)],
)
def test_every_figure_of_a_fit(logs: list[HeatLog], level: float) -> None:
    found, expected = fit_heater(logs, level=level), by_hand(logs, level)
    for name in ("heat_capacity_j_k", "time_constant_s", "loss_w_k"):
        estimate, (value, width) = getattr(found, name), expected[name]
        assert estimate.estimate == pytest.approx(value, rel=1e-5), name
        assert math.log(estimate.high / estimate.estimate) == pytest.approx(width, rel=2e-3), name
        assert math.log(estimate.estimate / estimate.low) == pytest.approx(width, rel=2e-3), name
        assert estimate.level == level
    for name in ("correlation", "autocorrelation", "residual_rms_k"):
        assert getattr(found, name) == pytest.approx(expected[name], rel=1e-3), name
    assert (found.rows, found.level, found.sensor_lag_s) == (expected["rows"], level, None)
    assert np.concatenate([one.residual_k for one in found.residuals]) == pytest.approx(expected["rest"], abs=1e-4)
    for one, log in zip(found.residuals, logs, strict=True):
        assert one.name == log.name
        assert one.time_s == pytest.approx(log.time_s)
        assert one.fitted_k + one.residual_k == pytest.approx(log.temperature_k)


def test_a_sensor_that_lags_follows_the_body() -> None:
    # The sensor's own equation, lag · ds/dt = body − s, in short steps.
    time = np.array([0.0, 40.0, 100.0, 130.0, 250.0])
    part = fit._Segment(0, time, time, np.array([500.0, 0.0, 900.0, 200.0]), np.array([290.0, 291.0, 290.0, 288.0]))
    capacity, loss, lag, start = 9e3, 6.0, 35.0, 300.0
    found = fit._predicted(part, capacity, loss, lag, start)
    body, sensor, expected = start, start, [start]
    for k in range(4):
        end, parts = part.ambient[k] + part.power[k] / loss, 400
        h = float(time[k + 1] - time[k]) / parts
        keep = math.exp(-h * loss / capacity)
        for _ in range(parts):
            middle = end + (body - end) * math.sqrt(keep)
            body = end + (body - end) * keep
            sensor = middle + (sensor - middle) * math.exp(-h / lag)
        expected.append(sensor)
    assert found == pytest.approx(expected, abs=1e-3)
    assert fit._predicted(part, capacity, loss, 0.0, start) == pytest.approx(shown(part, capacity, loss, start))
    # A sensor as slow as the load: the limit of two equal rates, by its neighbours.
    equal = fit._predicted(part, capacity, loss, capacity / loss, start)
    near = [fit._predicted(part, capacity, loss, capacity / loss * f, start) for f in (0.999, 1.001)]
    assert equal == pytest.approx((near[0] + near[1]) / 2, abs=1e-3)


def test_the_first_guess_of_quiet_logs_is_near_the_truth() -> None:
    quiet = [invented(1, 80, noise=0.0), invented(2, 60, noise=0.0, watts=400.0)]
    guess = fit._first_guess(fit._Problem(tuple(stretches(quiet)), powered=True, sensor_lag=True))
    assert np.exp(guess[:2]) == pytest.approx([2500, 20e3], rel=0.03)
    assert math.exp(guess[2]) == pytest.approx(79 * 60 / 200)
    assert guess[3:] == pytest.approx([290, 290])
    brief = [replace(log, time_s=log.time_s / 50) for log in quiet]
    hasty = fit._first_guess(fit._Problem(tuple(stretches(brief)), powered=True, sensor_lag=True))
    assert math.exp(hasty[2]) == pytest.approx(1)  # a second at least
    cooling = [replace(log, power_w=np.zeros(log.time_s.size)) for log in quiet]
    for log in cooling:
        bare = stretches([log])[0]
        log.temperature_k[:] = shown(bare, 20e3, 8.0, 340.0)
    alone = fit._first_guess(fit._Problem(tuple(stretches(cooling)), powered=False, sensor_lag=False))
    assert math.exp(alone[0]) == pytest.approx(2500, rel=0.03)
    assert alone[1:] == pytest.approx([340, 340])


def test_a_flat_direction_gets_a_wide_interval() -> None:
    # Two parameters that do the same: nothing tells them apart, so the variance of each is huge and that of their sum
    # is that of one; with n = 4 and residuals of 1: s² = 4/2, and 1/(4 + 4) of it each way.
    jacobian = np.column_stack([np.ones(4), np.ones(4)])
    found = fit._covariance(jacobian, np.array([1.0, -1.0, 1.0, -1.0]))
    assert found[0, 0] > 1e6
    lone = fit._covariance(np.ones((4, 1)), np.array([1.0, -1.0, 1.0, -1.0]))
    assert float(lone[0, 0]) == pytest.approx(4 / 3 / 4)
    # No temperature is truer than a millikelvin, and where a parameter moves nothing its variance is no nan.
    assert float(fit._covariance(np.ones((4, 1)), np.zeros(4))[0, 0]) == pytest.approx(1e-6 / 4)
    assert np.isfinite(fit._covariance(np.column_stack([np.ones(4), np.zeros(4)]), np.ones(4))).all()
    # What wanders together is wider: n = 4, all residuals 1, lags ceil(4 (4/100)^(2/9)) = 2, Bartlett 2/3 and 1/3:
    # meat 4 + 2 (2/3 · 3 + 1/3 · 2), over 4², times 4/3; the usual 4/3 / 4.
    together = float(fit._covariance(np.ones((4, 1)), np.ones(4))[0, 0])
    assert together == pytest.approx((4 + 2 * (2 / 3 * 3 + 1 / 3 * 2)) / 16 * 4 / 3)


# Gaps and long logs


def test_a_log_is_parted_where_it_is_silent_row_by_row() -> None:
    nan = math.nan
    # 10 s steps; 50 s (five typical) are no gap, 51 s are; unknown power parts; fewer than three readings are left out.
    step = [10, 10, 10, 50, 10, 10, 51, 10, 10, 10, 10, 10, 10, 10, 10]
    time = np.concatenate([[0.0], np.cumsum(step)])
    count = time.size
    temperature = 300.0 + np.arange(count)
    temperature[[0, 3]] = nan
    power = 100.0 + np.arange(count)
    power[9] = power[11] = nan
    ambient = 290.0 + np.arange(count) ** 1.5
    ambient[[1, 2]] = nan
    log = HeatLog(time, temperature, power, ambient, "x")
    bridged = ambient.copy()
    bridged[1:3] = [290 + (ambient[3] - 290) * t / 30 for t in (10, 20)]
    parts = fit._segments(7, log, None)
    # rows 0-6 (row 0 unread), 7-9, 10-11 (two rows: out), 12-15
    expected = [(1, 7), (7, 10), (12, 16)]
    assert len(parts) == 3
    for part, (first, last) in zip(parts, expected, strict=True):
        assert part.log == 7
        assert part.time.tolist() == time[first:last].tolist()
        assert part.temperature == pytest.approx(temperature[first:last], nan_ok=True)
        assert part.power.tolist() == power[first : last - 1].tolist()
        middles = [(bridged[k] + bridged[k + 1]) / 2 for k in range(first, last - 1)]
        assert part.ambient == pytest.approx(middles)
    assert len(fit._segments(0, log, 51.0)) == 2
    strict = fit._segments(0, log, 49.0)  # of the first four rows only two were read
    assert [float(part.time[0]) for part in strict] == [time[4], time[7], time[12]]
    # at least 30 s: a quick log is not parted by a short silence
    for silence, number in ((30.0, 1), (31.0, 2)):
        quick = np.array([0.0, 1, 2, 3, 3 + silence, 4 + silence, 5 + silence])
        ones = np.ones(7)
        assert len(fit._segments(0, HeatLog(quick, 300 * ones, ones, 290 * ones), None)) == number


def test_a_long_log_is_averaged_down_row_by_row(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fit, "MOST_ROWS_FITTED", 4)
    time = np.array([0.0, 1, 3, 6, 7, 8, 10, 13, 14, 15.5, 16])
    power = np.array([5.0, 0, 8, 2, 9, 4, 4, 0, 1, 3, 7])
    log = HeatLog(time, time + 300, power, time * 0.1 + 280, "x")
    found = fit._thinned(log)  # eleven rows: every third, the last two left over
    centres = [4 / 3, 7.0, 37 / 3]
    assert found.time_s == pytest.approx(centres)
    assert found.temperature_k == pytest.approx([300 + c for c in centres])
    assert found.ambient_k == pytest.approx([280 + 0.1 * c for c in centres])

    def energy(until: float) -> float:
        """Return what was given until then: a row's power holds until the next."""
        return sum(power[k] * (min(max(until, time[k]), time[k + 1]) - time[k]) for k in range(10))

    for k in (0, 1):
        mean = (energy(centres[k + 1]) - energy(centres[k])) / (centres[k + 1] - centres[k])
        assert found.power_w[k] == pytest.approx(mean)
    assert found.power_w[2] == 0
    hole = fit._thinned(replace(log, power_w=np.where(time == 7, math.nan, power)))
    assert np.isnan(hole.power_w).tolist() == [False, True, True]  # what follows the last centre is as unknown
    early = fit._thinned(replace(log, power_w=np.where(time == 1, math.nan, power)))
    assert np.isnan(early.power_w).tolist() == [True, False, False]
    # Pairs: the first centre is inside the first row.
    monkeypatch.setattr(fit, "MOST_ROWS_FITTED", 6)
    pairs = fit._thinned(log)
    centres = [0.5, 4.5, 7.5, 11.5, 14.75]
    assert pairs.time_s == pytest.approx(centres)
    means = [(energy(b) - energy(a)) / (b - a) for a, b in pairwise(centres)]
    assert pairs.power_w == pytest.approx([*means, 0])
    monkeypatch.setattr(fit, "MOST_ROWS_FITTED", 4)
    short = HeatLog(time[:4], time[:4], power[:4], time[:4])
    assert fit._thinned(short) is short


# What a log may hold


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("temperature", 173.0, ""),
        ("temperature", 172.9, "172.9 K: 173 to 1500 K"),
        ("temperature", 1500.0, ""),
        ("temperature", 1500.5, "1500.5 K"),
        ("ambient", 172.9, "172.9 K"),
        ("ambient", 1500.0, ""),
        ("ambient", 1501.0, "1501 K"),
        ("power", 0.0, ""),
        ("power", -0.1, "-0.1 W"),
        ("power", 1e6, ""),
        ("power", 1.1e6, "1.1e+06 W"),
        ("power", math.inf, "inf W"),
    ],
)
def test_logs_up_to_their_limits(name: str, value: float, said: str) -> None:
    columns = {"temperature": np.full(12, 300.0), "power": np.full(12, 50.0), "ambient": np.full(12, 290.0)}
    columns[name][4] = value
    log = HeatLog(np.arange(12.0), columns["temperature"], columns["power"], columns["ambient"], "x")
    problems = fit._problems(log, "x")
    assert len(problems) == (1 if said else 0)
    if said:
        text = str(InputError(problems))
        assert f"column {name}, row 5 of the numbers" in text
        assert said.split(":")[0] in text
        assert {"power": "0 to 1e+06 W"}.get(name, "173 to 1500 K") in text


@pytest.mark.parametrize("name", ["temperature", "ambient", "power"])
def test_ten_readings_are_enough_and_nine_are_not(name: str) -> None:
    for known, few in ((10, False), (9, True)):
        columns = {"temperature": np.full(15, 300.0), "power": np.full(15, 50.0), "ambient": np.full(15, 290.0)}
        columns[name][known:] = math.nan
        log = HeatLog(np.arange(15.0), columns["temperature"], columns["power"], columns["ambient"], "x")
        problems = fit._problems(log, "x")
        assert bool(problems) == few
        if few:
            assert f"column {name}: 9 values" in str(InputError(problems))
            assert "at least 10" in str(InputError(problems))


def test_a_log_is_fitted_from_ten_rows_and_at_half_a_level() -> None:
    log = invented(1, 10)
    assert fit_heater([log], level=0.5).rows == 10
    for level in (0.49, 1.0):
        with pytest.raises(HeaterError, match=r"accepted: 0\.5 to below 1"):
            fit_heater([log], level=level)
    nine = replace(invented(1, 12), temperature_k=np.where(np.arange(12) < 10, invented(1, 12).temperature_k, math.nan))
    parted = replace(nine, power_w=np.where(np.arange(12) == 0, math.nan, nine.power_w))
    with pytest.raises(InputError, match="9 rows without gaps"):
        fit_heater([parted])
    with pytest.raises(InputError, match="do not rise"):
        fit_heater([replace(log, time_s=np.where(np.arange(10) == 5, log.time_s[4], log.time_s))])
    with pytest.raises(InputError, match="do not rise"):
        fit_heater([replace(log, time_s=np.where(np.arange(10) == 9, math.inf, log.time_s))])


def test_an_ambient_that_is_given_fills_only_what_is_missing(tmp_path) -> None:
    path = tmp_path / "log.csv"
    cells = ["" if k == 2 else "10" for k in range(12)]
    lines = [f"{k},{20 + k},100,{cell}" for k, cell in enumerate(cells)]
    path.write_text("time_s,temperature_degc,power_w,ambient_degc\n" + "\n".join(lines) + "\n")
    log = read_heater_log(path, ambient_k=270.0)
    assert log.ambient_k.tolist() == pytest.approx([283.15, 283.15, 270] + [283.15] * 9)
    assert log.time_s.tolist() == list(range(12))
    assert log.power_w.tolist() == [100.0] * 12


# What is said of it


def _estimate(value: float, high: float) -> Estimate:
    return Estimate(value, value * value / high, high, 0.95)


def _problem(span_k: float = 40.0, length_s: float = 3600.0, off: float = 0.3, logs: int = 1) -> fit._Problem:
    time = np.linspace(0.0, length_s, 101)
    power = np.where(np.arange(100) < round(100 * (1 - off)), 1000.0, 0.0)
    temperature = 300 + span_k * np.linspace(0, 1, 101)
    return fit._Problem(
        tuple(fit._Segment(n, time, temperature, power, np.full(100, 290.0)) for n in range(logs)), True, False
    )


@pytest.mark.parametrize(
    ("capacity", "loss", "off", "logs", "remark"),
    [
        (1.49, 1.49, 0.3, 1, ""),
        (1.49, 1.51, 0.3, 1, "This log cannot separate loss from capacity: log for longer, or start hotter."),
        (1.51, 1.49, 0.15, 1, "This log cannot separate loss from capacity: let it cool down too."),
        (1.51, 1.49, 0.16, 2, "These logs cannot separate loss from capacity: log for longer, or start hotter."),
    ],
)
def test_what_cannot_be_separated_is_said(capacity: float, loss: float, off: float, logs: int, remark: str) -> None:
    # Own choice: half of a value is too wide; it cools where a log has more than 15 % of its steps without power.
    found = fit._remarks(
        _problem(off=off, logs=logs),
        _estimate(1e4, 1e4 * capacity),
        _estimate(5.0, 5 * loss),
        _estimate(2e3, 2.1e3),
        np.full(100, 0.1),
    )
    assert found == ([remark] if remark else [], not remark)


def test_a_log_without_power_is_said_to_be_one() -> None:
    bare = replace(_problem(), powered=False)
    for high, loose in ((1.49, False), (1.51, True)):
        remarks, separable = fit._remarks(bare, None, None, _estimate(2e3, 2e3 * high), np.full(100, 0.1))
        assert not separable
        assert remarks[0].startswith("These logs hold no power")
        assert remarks[1:] == (["Even the time constant is loose: let it cool down for longer."] if loose else [])


@pytest.mark.parametrize(
    ("miss_k", "problem", "said"),
    [
        (1.99, _problem(), None),
        (2.01, _problem(), "one temperature and a straight-line loss"),
        (2.01, _problem(length_s=299.0), "5 min and 40 K are too little"),
        (2.01, _problem(length_s=301.0), "one temperature and a straight-line loss"),
        (2.01, _problem(length_s=89.0), "89 s and 40 K are too little"),
        (2.01, _problem(length_s=90.0), "2 min and 40 K are too little"),
        (0.26, _problem(span_k=4.9), "60 min and 5 K are too little"),
        (0.26, _problem(span_k=5.1), "one temperature and a straight-line loss"),
    ],
)
def test_why_a_fit_misses(miss_k: float, problem: fit._Problem, said: str | None) -> None:
    # Own choice: a twentieth of the span is much; five minutes and 5 K are the least to judge by.
    capacity = _estimate(1e6, 1.1e6)
    remarks, _ = fit._remarks(problem, capacity, _estimate(5.0, 5.1), _estimate(2e3, 2.1e3), np.full(100, miss_k))
    assert len(remarks) == (said is not None)
    if said is not None:
        assert said in remarks[0]
        assert f"by {miss_k:.1f} K on average, much against a span of" in remarks[0]


def test_power_that_jumps_between_rows_comes_before_the_load() -> None:
    # A jump of 1000 W anywhere in a step of 36 s: uniform, so 36 000 J / sqrt(12) / C. Own choice: half of the miss.
    problem = _problem()
    error = 36 * 1000 / math.sqrt(12) / 4e3
    assert fit._unseen_k(problem, 4e3) == pytest.approx(error)
    for share, blamed in ((1.99, True), (2.01, False)):
        words = fit._why_missed(problem, _estimate(4e3, 5e3), share * error, 40.0)
        assert ("between rows 36 s apart" in words) == blamed
    assert "one temperature" in fit._why_missed(problem, None, 3.0, 40.0)


def _fitted(capacity: Estimate | None, loss: Estimate | None, remarks: tuple[str, ...] = ()) -> HeaterFit:
    residuals = (Residuals("a\nb.csv", *(np.zeros(3),) * 3),)
    return HeaterFit(capacity, loss, _estimate(2e3, 2.1e3), None, 0.9, 0.1, 0.5, 0.2, 77, True, remarks, residuals)


def test_the_table_of_a_fit_line_by_line() -> None:
    # 12.4 kJ/K from 10.4 to 14.4 is even; 5 W/K from 4 to 6.19 too (own choice: up to a fifth more above than below).
    even = scenario_table(_fitted(Estimate(12.4e3, 10.4e3, 14.4e3, 0.9), Estimate(5.0, 4.0, 6.19, 0.9), ("Look.",)))
    assert even == (
        "# Fitted to 77 rows of a?b.csv; intervals of 90 %.\n# Look.\n[load]\n"
        'heat_capacity = {value = "12.4 kJ/K", plus_minus = "2 kJ/K"}\n'
        'loss = {value = "5 W/K", plus_minus = "1.095 W/K"}\n'
    )
    skewed = scenario_table(_fitted(Estimate(23_456e3, 20_000e3, 30_000e3, 0.9), Estimate(5.0, 4.0, 6.21, 0.9)))
    assert skewed.splitlines()[2:] == [
        'heat_capacity = {value = "23456 kJ/K", low = "20000 kJ/K", high = "30000 kJ/K"}',
        'loss = {value = "5 W/K", low = "4 W/K", high = "6.21 W/K"}',
    ]
    little = scenario_table(_fitted(Estimate(0.9e3, 0.5e3, 1.3e3, 0.9), Estimate(0.9, 0.5, 1.3, 0.9)))
    assert little.splitlines()[2:] == [
        'heat_capacity = {value = "0.9 kJ/K", plus_minus = "0.4 kJ/K"}',
        'loss = {value = "0.9 W/K", plus_minus = "0.4 W/K"}',
    ]
    # A factor of five above is the most.
    good = Estimate(10.0, 5.0, 20.0, 0.9)
    assert scenario_table(_fitted(good, Estimate(5.0, 1.0, 25.0, 0.9)))
    with pytest.raises(HeaterError, match="do not give the loss within a factor of 5: Cool it"):
        scenario_table(_fitted(good, Estimate(5.0, 1.0, 25.1, 0.9), ("Cool it.",)))
    with pytest.raises(HeaterError, match="do not give the capacity within a factor of 5: log for longer"):
        scenario_table(_fitted(Estimate(5.0, 1.0, 25.1, 0.9), good))
    for missing in ((None, good), (good, None)):
        with pytest.raises(HeaterError, match="no power"):
            scenario_table(_fitted(*missing))
