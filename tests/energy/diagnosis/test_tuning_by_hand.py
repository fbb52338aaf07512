"""The stepped drive worked out again: stretches, scatter, the smooth curve, the next setting, limits, and the file."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t as student

from energy.chain.ledger import turbine_at_work
from energy.chain.limits import operating_limits
from energy.diagnosis import tuning
from energy.diagnosis.tuning import (
    SettingResult,
    Sweep,
    _curve_draws,
    _differ,
    _fitted_lag,
    _inertia,
    _limits,
    _next,
    _result,
    _scale,
    _scatter,
    _stretches,
    _visits,
    _with_curve,
    as_setting,
    lagged,
    limits_at_setting,
    read_sweep,
    tuned,
    tuned_of,
    tuned_of_file,
)
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from vehicle.problems import InputError
from vehicle.quantity import Uncertain

AREA, DENSITY = 2.5, 1.2


@pytest.fixture
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """The curve on fewer points, where a test asks for something else: its draws are what takes long."""
    monkeypatch.setattr(tuning, "_GRID", 33)
    monkeypatch.setattr(tuning, "_DRAWS", 500)


def exact(value: float) -> Uncertain:
    return Uncertain(value, value, value)


def sweep_of(setting, watts=None, air=None, *, time=None, kind="pitch", speed=None) -> Sweep:
    setting = np.asarray(setting, float)
    count = len(setting)
    time = np.arange(count, dtype=float) if time is None else np.asarray(time, float)
    watts = np.full(count, 500.0) if watts is None else np.asarray(watts, float)
    air = np.full(count, 15.0) if air is None else np.asarray(air, float)
    return Sweep(kind, time, setting, watts, air, speed, True)


def behind(values, time, lag):
    """Return a first-order lag of inputs held from row to row, one row at a time."""
    out = [values[0]]
    for k in range(1, len(values)):
        kept = math.exp(-(time[k] - time[k - 1]) / lag)
        out.append(kept * out[-1] + (1 - kept) * values[k])
    return np.array(out)


def test_visits_end_where_the_setting_changes_or_the_log_has_a_gap():
    setting = [2, 2, 2, 4, 4, 4, 4, 2, 2]
    assert _visits(sweep_of(setting)) == [(0, 3), (3, 7), (7, 9)]
    gap = [0, 1, 2, 3, 4, 9.1, 10, 11, 12]  # 5.1 s where rows come each second
    assert _visits(sweep_of(setting, time=gap)) == [(0, 3), (3, 5), (5, 7), (7, 9)]
    near = [0, 1, 2, 3, 4, 9, 10, 11, 12]  # 5 s are none yet
    assert _visits(sweep_of(setting, time=near)) == [(0, 3), (3, 7), (7, 9)]
    slow = np.cumsum([0, 2, 2, 2, 2, 9.9, 2, 2, 2])  # five times the usual step
    assert len(_visits(sweep_of(setting, time=slow))) == 3
    slow[5:] += 0.2
    assert len(_visits(sweep_of(setting, time=slow))) == 4


@pytest.mark.parametrize(("count", "bent"), [(999, 0.0), (1003, 0.0), (1003, 0.5)])
def test_a_lag_row_by_row(count, bent):
    time = np.arange(count) * 0.5
    time[-1] += bent
    values = np.sin(np.arange(count) / 7.0) + 2.0
    assert lagged(values, time, 1.5) == pytest.approx(behind(values, time, 1.5))
    assert lagged(values, time, 0.0) is values


@pytest.mark.parametrize(("true_lag", "hold"), [(0.0, 60), (4.0, 60), (6.0, 60), (6.0, 40), (16.0, 200), (1.0, 8)])
def test_the_lag_is_that_of_the_least_squares(true_lag, hold):
    draw = np.random.default_rng(2)
    setting = np.repeat([2.0, 6.0, 4.0], hold)
    count = 3 * hold
    wind = 3000 * (1 + 0.3 * np.sin(np.arange(count) / 5) + 0.2 * draw.normal(size=count)).clip(0.1)
    time = np.arange(count, dtype=float)
    factor = np.where(setting == 6.0, 0.24, 0.2)
    base = wind if true_lag == 0 else behind(wind, time, true_lag)
    watts = factor * base * (1 + 0.01 * draw.normal(size=count))
    sweep = sweep_of(setting, watts)
    visits = [(0, hold), (hold, 2 * hold), (2 * hold, count)]
    lag, lagging = _fitted_lag(sweep, wind, visits)
    longest = (hold - 1) / 11  # four lags to settle, six of a stretch, and one
    misses = {}
    for candidate in (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0):
        if candidate > longest:
            continue
        x = wind if candidate == 0 else behind(wind, time, candidate)
        misses[candidate] = sum(float(np.linalg.lstsq(x[a:b, None], watts[a:b], rcond=None)[1][0]) for a, b in visits)
    assert lag == min(misses, key=misses.__getitem__)
    assert (lag == true_lag) == (true_lag <= longest)
    assert lagging == pytest.approx(wind if lag == 0 else behind(wind, time, lag))


def test_a_lag_that_says_nothing_is_none():
    """In steady air every lag explains alike: the first, none, is taken; and no wind at all is no division by it."""
    sweep = sweep_of(np.repeat([1.0, 2.0], 40))
    assert _fitted_lag(sweep, np.full(80, 3000.0), [(0, 40), (40, 80)])[0] == 0.0
    lag, floor = _fitted_lag(sweep, np.zeros(80), [(0, 40), (40, 80)])
    assert lag == 0.0
    assert floor == pytest.approx(np.full(80, 1e-6))


@pytest.mark.parametrize("inertia", [None, 2.0])
@pytest.mark.parametrize(("lag", "first", "stop"), [(0.0, 5, 37), (2.0, 5, 60), (0.5, 5, 17), (0.5, 5, 16)])
def test_energy_over_energy_of_each_steady_stretch(inertia, lag, first, stop):
    draw = np.random.default_rng(4)
    count = 70
    watts, wind, speed = (m * draw.uniform(0.5, 1.5, count) for m in (400, 2000, 60))
    sweep = sweep_of(np.full(count, 3.0), watts, speed=speed)
    found = _stretches(sweep, wind, first, stop, lag, inertia)
    settle, length = max(3.0, 4 * lag), max(8.0, 6 * lag)
    start, end = first + settle, stop - 1.0
    number = int((end - start) / length + 1e-9)
    assert len(found) == number
    edges = [math.ceil(start + k * (end - start) / number - 1e-9) for k in range(number + 1)] if number else []
    for value, a, b in zip(found, edges, edges[1:], strict=False):
        energy = sum((watts[k] + watts[k + 1]) / 2 for k in range(a, b))
        if inertia:
            mean = [(speed[k - 1] + speed[k] + speed[k + 1]) / 3 for k in (a, b)]
            energy += 0.5 * inertia * (mean[1] ** 2 - mean[0] ** 2)
        assert value == pytest.approx(energy / sum((wind[k] + wind[k + 1]) / 2 for k in range(a, b)))


def test_a_stretch_needs_rows_and_wind():
    sweep = sweep_of(np.full(5, 3.0), time=[0, 10, 20, 30, 40])
    assert len(_stretches(sweep, np.full(5, 100.0), 0, 5, 0.0, None)) == 0  # fewer than three steps in each
    steady = sweep_of(np.full(40, 3.0))
    assert len(_stretches(steady, np.zeros(40), 0, 40, 0.0, None)) == 0
    assert len(_stretches(steady, np.full(40, 9.0), 0, 40, 0.0, None)) == 4
    three = sweep_of(np.full(5, 3.0), time=[0, 3, 6, 9, 12])  # from 3 to 12 s: three steps
    assert len(_stretches(three, np.full(5, 100.0), 0, 5, 0.0, None)) == 1
    # from 3.4 to 19.4 s are two stretches of 8 s, though as floats a hair less
    tenths = sweep_of(np.full(191, 3.0), time=np.round(0.4 + 0.1 * np.arange(191), 1))
    assert len(_stretches(tenths, np.full(191, 9.0), 0, 191, 0.0, None)) == 2
    first = sweep_of(np.full(30, 3.0), speed=np.r_[9.0, np.full(29, 5.0)])  # the first row has no neighbour before it
    assert len(_stretches(replace(first, time_s=first.time_s - 3), np.full(30, 9.0), 0, 30, 0.0, 1.0)) == 3


def test_scatter_within_visits_and_between_them():
    """One-way analysis of variance (statistics texts): what visits differ by beyond what their stretches explain."""
    sweep = sweep_of([1.0, 2.0])
    stretches = [np.array([0.20, 0.22]), np.array([0.30, 0.31, 0.32]), np.array([0.26, 0.28]), np.array([0.30])]
    values = np.array([1.0, 2.0, 1.0, 2.0])
    found = _scatter(sweep, stretches, values, [1.0, 2.0])
    within = (2 * 0.01**2 + 2 * 0.01**2 + 2 * 0.01**2) / 4
    assert found.within == pytest.approx(within)
    of_one = 2 * 0.03**2 - within * (1 / 2 + 1 / 2) / 2  # means 0.21 and 0.27
    of_two = 2 * 0.005**2 - within * (1 / 3 + 1) / 2
    assert found.between == pytest.approx((of_one + of_two) / 2)
    assert found.degrees_of_freedom == 2  # of the visits, fewer than the four of the stretches
    alike = [np.array([0.20, 0.22]), np.array([0.30, 0.31, 0.32]), np.array([0.20, 0.22]), np.array([0.31])]
    calm = _scatter(sweep, alike, values, [1.0, 2.0])
    assert calm.between == 0.0
    assert calm.degrees_of_freedom == 4
    once = _scatter(sweep, alike[:2], values[:2], [1.0, 2.0])
    assert (once.between, once.degrees_of_freedom) == (0.0, 3)
    pair = _scatter(sweep, [np.array([0.20, 0.22]), np.array([0.30])], values[:2], [1.0, 2.0])
    assert (pair.within, pair.degrees_of_freedom) == (pytest.approx(2 * 0.01**2), 1)
    single = [np.array([v]) for v in (0.20, 0.30, 0.24, 0.31, 0.22)]
    visits = _scatter(sweep, single, np.array([1.0, 2.0, 1.0, 2.0, 1.0]), [1.0, 2.0])
    assert visits.within == pytest.approx((2 * 0.02**2 + 2 * 0.005**2) / 3)
    assert (visits.between, visits.degrees_of_freedom) == (0.0, 3)
    with pytest.raises(InputError, match="one stretch of each setting"):
        _scatter(sweep, single[:2], values[:2], [1.0, 2.0])
    missing = _scatter(sweep, [*stretches, np.empty(0)], np.array([*values, 1.0]), [1.0, 2.0])
    assert missing == found


def test_a_setting_s_mean_error_and_watts():
    watts = np.array([100.0, 200.0, 300.0, 50.0, 70.0, 400.0, 600.0])
    sweep = sweep_of([1, 1, 1, 2, 2, 1, 1], watts, time=[0, 1, 3, 4, 5, 8, 10])
    stretches = [np.array([0.20, 0.22, 0.24]), np.array([0.30])]
    scatter = _scatter(sweep, [*stretches, np.array([0.1, 0.12])], np.array([1.0, 1.0, 2.0]), [1.0, 2.0])
    found = _result(sweep, 1.0, stretches, [(0, 3), (5, 7)], scatter)
    mean = (0.20 + 0.22 + 0.24 + 0.30) / 4
    error = math.sqrt(scatter.within / 4 + scatter.between / 2)
    error *= student.ppf(0.975, scatter.degrees_of_freedom) / 1.96
    energy = 150 * 1 + 250 * 2 + 500 * 2
    assert found == SettingResult(
        1.0,
        pytest.approx(mean),
        pytest.approx(mean - 1.96 * error),
        pytest.approx(mean + 1.96 * error),
        pytest.approx(error),
        2,
        4,
        600.0,
        pytest.approx(energy / 5),
        pytest.approx(energy),
        pytest.approx(5.0),
    )
    alone = _result(sweep, 1.0, [np.array([0.2])], [(0, 1), (5, 6)], scatter)
    assert (alone.seconds, alone.energy_j, alone.mean_w) == (0.0, 0.0, 250.0)


def test_a_whole_drive_by_hand():
    """Two settings, two visits each, steady air: power coefficients, and what is told of the drive."""
    draw = np.random.default_rng(9)
    setting = np.repeat([2.0, 6.0, 2.0, 6.0], 30)
    wind = 0.5 * DENSITY * AREA * 15.0**3
    watts = np.where(setting == 2.0, 0.20, 0.25) * wind * (1 + 0.002 * draw.normal(size=120))
    sweep = sweep_of(setting, watts)
    told: list[float] = []
    found = tuned(sweep, AREA, DENSITY, progress=told.append)
    for one, value in zip(found.settings, (2.0, 6.0), strict=True):
        stretches = []
        for start in np.flatnonzero((setting == value) & (np.arange(120) % 30 == 0)):
            # From 3 s on to the last row, at 29 s: three stretches of 26/3 s, from 3, 12, 21 to 29.
            for a, b in ((3, 12), (12, 21), (21, 29)):
                part = watts[start + a : start + b + 1]
                stretches.append(float((part[1:] + part[:-1]).sum() / 2) / ((b - a) * wind))
        assert one.power_coefficient == pytest.approx(np.mean(stretches))
        assert (one.visits, one.stretches, one.seconds) == (2, 6, 58.0)
        assert one.peak_w == watts[setting == value].max()
    assert (found.kind, found.lag_s, found.skipped, found.wind_is_known) == ("pitch", 0.0, (), True)
    assert (found.inertia_used, found.by_readings, found.visits_vary) == (False, False, False)
    assert found.best == pytest.approx(6.0)
    assert found.best_is_known
    assert found.alike == ()
    assert found.at_edge
    assert (found.next, found.next_beyond) == (pytest.approx(10.0), True)
    assert found.curve_setting == pytest.approx(np.linspace(2.0, 6.0, 121))
    assert told == sorted(told)
    assert told[-1] == 1.0


@pytest.mark.usefixtures("coarse")
def test_air_too_slow_to_judge_by_is_refused():
    """One watt of wind on average: (2/(1.2·2.5))^(1/3) = 0.874 m/s."""
    sweep = sweep_of(np.repeat([2.0, 6.0], 30), np.linspace(0.1, 0.3, 60))
    with pytest.raises(
        InputError, match=r"the drive: air speed: 0\.87 m/s on average; accepted: a drive in moving air"
    ):
        tuned(replace(sweep, air_speed_m_s=np.full(60, 0.873)), AREA, DENSITY)
    assert tuned(replace(sweep, air_speed_m_s=np.full(60, 0.875)), AREA, DENSITY).settings


@pytest.mark.usefixtures("coarse")
def test_settings_held_too_short_are_readings_only_where_they_are_seconds_apart():
    near = sweep_of(np.repeat([2.0, 6.0, 4.0], 4), np.linspace(400, 500, 12), time=np.arange(12) * 2.9)
    with pytest.raises(InputError) as caught:
        tuned(near, AREA, DENSITY)
    (problem,) = caught.value.problems
    assert (problem.where, problem.key, problem.read) == ("the drive", "pitch", "0 settings held long enough")
    assert "each held 11 s or more (longer with a lag of 0 s)" in problem.accepted
    far = replace(near, time_s=np.arange(12) * 3.0)
    found = tuned(far, AREA, DENSITY, seed=3)
    assert found.by_readings
    assert found.lag_s == 0.0
    assert not found.inertia_used
    assert found.visits_vary
    with pytest.raises(InputError, match="2 readings of 2 settings"):
        tuned(sweep_of([2.0, 6.0], time=[0, 10]), AREA, DENSITY)


@pytest.mark.usefixtures("coarse")
def test_numbers_read_by_themselves_scatter_by_a_twentieth_at_least():
    wind = 0.5 * DENSITY * AREA * 15.0**3
    watts = np.array([1000.0, 1002.0, 998.0, 1100.0, 1101.0, 1099.0])
    found = tuned(sweep_of(np.repeat([2.0, 6.0], 3), watts, time=np.arange(6) * 10.0), AREA, DENSITY)
    error = 0.05 * 1050 / wind / math.sqrt(3) * student.ppf(0.975, 4) / 1.96
    assert [one.standard_error for one in found.settings] == pytest.approx([error] * 2)
    assert [one.stretches for one in found.settings] == [3, 3]


@pytest.mark.usefixtures("coarse")
def test_a_known_inertia_means_the_wind_as_it_comes():
    """With rotor speed and inertia the watts are set against the wind of the moment, else behind the fitted lag."""
    draw = np.random.default_rng(1)
    setting = np.repeat([2.0, 6.0, 2.0, 6.0], 40)
    time = np.arange(160.0)
    air = 15 * (1 + 0.1 * np.sin(time / 4) + 0.03 * draw.normal(size=160))
    wind = 0.5 * DENSITY * AREA * air**3
    watts = 0.2 * behind(wind, time, 2.0)
    sweep = sweep_of(setting, watts, air, speed=np.full(160, 50.0))
    lag = tuned(sweep, AREA, DENSITY, 3.0)
    assert lag.inertia_used
    assert not tuned(replace(sweep, rotor_speed_rad_s=None), AREA, DENSITY, 3.0).inertia_used
    without = tuned(sweep, AREA, DENSITY)
    assert not without.inertia_used
    assert without.lag_s == lag.lag_s == 2.0
    assert [one.power_coefficient for one in without.settings] == pytest.approx([0.2, 0.2])
    # Settled after 8 s; of 39 s 31 are left, two stretches of 15.5 s: rows 8 to 24 and 24 to 39.
    expected = [
        np.trapezoid(watts[s + a : s + b + 1]) / np.trapezoid(wind[s + a : s + b + 1])
        for s in (0, 80)
        for a, b in ((8, 24), (24, 39))
    ]
    assert lag.settings[0].power_coefficient == pytest.approx(np.mean(expected))


def kernel(x, y, amplitude, length):
    return 0.25 + amplitude**2 * np.exp(-0.5 * ((x[:, None] - y[None]) / length) ** 2)


def test_the_smooth_curve_is_the_gaussian_process_of_the_textbook():
    """Rasmussen and Williams 2006, algorithm 2.1, with numpy alone: mean, covariance, marginal likelihood."""
    at, level = np.array([1.0, 2.0, 4.0, 5.0]), np.array([0.18, 0.21, 0.22, 0.17])
    error, grid = np.array([0.004, 0.006, 0.005, 0.009]), np.linspace(1.0, 5.0, 9)
    told: list[float] = []
    draws, mean = _curve_draws(at, level, error, grid, 4, told.append)
    size, y = 0.195, (level - 0.195) / 0.195
    x, points = (at - 1.0) / 4.0, (grid - 1.0) / 4.0
    parts = []
    for amplitude in (0.01, 0.03, 0.1, 0.3):
        for length in (0.25, 0.5, 1.0):
            noisy = kernel(x, x, amplitude, length) + np.diag((error / size) ** 2)
            cross = kernel(points, x, amplitude, length)
            weights = np.linalg.solve(noisy, y)
            evidence = -0.5 * y @ weights - 0.5 * np.linalg.slogdet(noisy)[1] - 2 * math.log(2 * math.pi)
            covariance = kernel(points, points, amplitude, length) - cross @ np.linalg.solve(noisy, cross.T)
            parts.append((evidence, cross @ weights, covariance))
    share = np.exp([p[0] for p in parts])
    share /= share.sum()
    middle = sum(s * p[1] for s, p in zip(share, parts, strict=True))
    assert mean == pytest.approx(0.195 + 0.195 * middle, rel=1e-5)
    assert draws.shape == (4000, 9)
    assert draws.mean(axis=0) == pytest.approx(middle, abs=3e-3)
    spread = sum(s * (np.diag(p[2]) + (p[1] - middle) ** 2) for s, p in zip(share, parts, strict=True))
    assert draws.std(axis=0) == pytest.approx(np.sqrt(spread), rel=0.08)
    assert told[0] == 0.1
    assert told[1:-1] == pytest.approx([0.5 + 0.5 * k / 12 for k in range(12)])
    assert told[-1] == 1.0
    again, _ = _curve_draws(at, level, error, grid, 4, None)
    assert (again == draws).all()


def results_of(levels, error=0.004, visits=2):
    return [
        SettingResult(s, v, v - 1.96 * error, v + 1.96 * error, error, visits, 4, 9.0, 5.0, 50.0, 10.0)
        for s, v in levels.items()
    ]


@pytest.mark.usefixtures("coarse")
def test_what_the_curve_says_of_the_best():
    sweep = sweep_of([1.0, 4.0], kind="ratio")
    levels = {1.0: 0.17, 2.0: 0.22, 4.0: 0.215, 8.0: 0.12}
    found = _with_curve(sweep, results_of(levels), np.array([1.0, 2.0, 3.0, 4.0, 8.0]), 1.5, True, 2, None)
    at = np.log([1.0, 2.0, 4.0, 8.0])
    grid = np.linspace(at[0], at[-1], 33)
    draws, mean = _curve_draws(at, np.array(list(levels.values())), np.full(4, 0.004), grid, 2, None)
    tops = np.sort(grid[np.argmax(draws, axis=1)])
    best = grid[np.argmax(mean)]
    low, high = np.quantile(tops, [0.025, 0.975])
    assert found.best == pytest.approx(math.exp(best))
    assert (found.low, found.high) == pytest.approx((math.exp(min(low, best)), math.exp(max(high, best))))
    following, beyond = _next(grid, draws, grid[np.argmax(draws, axis=1)], 0.004, at, 2)
    assert (found.next, found.next_beyond) == (pytest.approx(math.exp(following)), beyond)
    assert found.alike == ((2.0, 4.0),)
    assert found.best_is_known
    assert (found.lag_s, found.inertia_used, found.skipped) == (1.5, True, (3.0,))
    assert (found.at_edge, found.visits_vary, found.by_readings) == (False, False, False)
    assert found.curve_setting == pytest.approx(np.exp(grid))
    assert found.curve == pytest.approx(mean)
    once = _with_curve(sweep, results_of(levels, visits=1), np.array([1.0, 2.0, 4.0, 8.0]), 0.0, False, 2, None)
    assert once.visits_vary
    flat = _with_curve(
        sweep, results_of(dict.fromkeys(levels, 0.2)), np.array([1.0, 2.0, 4.0, 8.0]), 0.0, False, 2, None
    )
    assert not flat.best_is_known
    assert flat.at_edge
    assert len(flat.alike) == 3
    falling = results_of({1.0: 0.25, 2.0: 0.2, 4.0: 0.15})
    assert _with_curve(sweep, falling, np.array([1.0, 2.0, 4.0]), 0.0, False, 2, None).at_edge


def test_settings_differ_by_both_errors_in_quadrature():
    a, b = results_of({1.0: 0.2, 2.0: 0.2})
    both = 1.96 * math.hypot(0.003, 0.004)
    a, b = replace(a, standard_error=0.003), replace(b, standard_error=0.004)
    assert not _differ(a, replace(b, power_coefficient=0.2 - 0.999 * both))
    assert _differ(a, replace(b, power_coefficient=0.2 - 1.001 * both))
    assert _differ(a, replace(b, power_coefficient=0.2 + 1.001 * both))


def test_scales_of_settings():
    values = np.array([1.0, 3.0])
    assert _scale("pitch", values) is values
    assert _scale("pitch", values, back=True) is values
    for kind in ("ratio", "resistance"):
        assert _scale(kind, values) == pytest.approx([0.0, math.log(3)])
        assert _scale(kind, np.array([0.0, math.log(3)]), back=True) == pytest.approx(values)


@pytest.mark.parametrize(("place", "edge"), [(0, True), (1, True), (2, False), (-3, False), (-2, True), (-1, True)])
def test_a_best_within_one_step_of_an_end_may_lie_beyond(monkeypatch: pytest.MonkeyPatch, place: int, edge: bool):
    def drawn(_at, _level, _error, grid, *_more):
        mean = np.zeros(grid.size)
        mean[place] = 1.0
        return np.tile(mean, (100, 1)), mean

    monkeypatch.setattr(tuning, "_curve_draws", drawn)
    results = results_of({1.0: 0.2, 2.0: 0.2, 4.0: 0.2})
    assert _with_curve(sweep_of([1.0, 2.0]), results, np.array([1.0, 2.0, 4.0]), 0.0, False, 2, None).at_edge is edge


def test_a_best_at_an_end_sends_beyond_it_by_a_usual_step():
    grid, at = np.linspace(0.0, 10.0, 121), np.array([0.0, 2.0, 4.0, 10.0])
    draws = np.random.default_rng(1).normal(size=(100, 121))

    def found(low, high):
        best = np.r_[np.full(low, grid[1]), np.full(high, grid[-2]), np.full(100 - low - high, 5.0)]
        return _next(grid, draws, best, 0.1, at, 1)

    assert found(31, 10) == (-2.0, True)
    assert found(10, 31) == (12.0, True)
    assert found(32, 31) == (-2.0, True)
    assert found(31, 32) == (12.0, True)
    assert not found(30, 30)[1]
    inside = np.full(100, grid[2])
    assert not _next(grid, draws, inside, 0.1, at, 1)[1]


def test_the_next_setting_is_the_one_whose_reading_parts_the_best_places_most():
    grid, at = np.linspace(0.0, 10.0, 121), np.array([0.0, 5.0, 10.0])
    draw = np.random.default_rng(2)
    best = draw.uniform(2.0, 8.0, 4000)
    draws = np.ones((4000, 121)) + 0.05 * draw.normal(size=(4000, 121))
    draws[:, 80] += best  # one candidate whose value says where the best lies
    draws[:, 40] -= 0.1 * best
    setting, beyond = _next(grid, draws, best, 0.2, at, 3)
    assert (setting, beyond) == (grid[80], False)
    # A reading's own error far above what the draws differ by hides it: by hand, tenths of draw and noise.
    size, noise = np.std(draws), np.random.default_rng(3).normal(size=4000)
    for error in (0.2, 5.0):
        taught = []
        for k in range(0, 121, 4):
            order = np.argsort(draws[:, k] + noise * error)
            taught.append(np.var([best[order[400 * t : 400 * (t + 1)]].mean() for t in range(10)]))
        assert _next(grid, draws, best, error, at, 3)[0] == grid[4 * int(np.argmax(taught))]
    assert size > 0
    same = np.ones((4000, 121))
    assert _next(grid, same, best, 0.1, at, 3)[0] in grid


@pytest.mark.parametrize(
    ("kind", "value", "said"),
    [("pitch", 6.12345, "6.123 deg"), ("resistance", 9.5, "9.5 ohm"), ("ratio", 2.50004, 2.5)],
)
def test_a_setting_as_the_scenario_takes_it(kind, value, said):
    assert as_setting(kind, value) == said


def test_inertia_needs_masses_and_a_number_of_blades(van: Scenario):
    table = van.blade_loads
    assert table is not None
    assert _inertia(replace(van, blade_loads=None)) is None
    bare = table.model_copy(update={"mass": None, "piece_masses": None})
    assert _inertia(replace(van, blade_loads=bare)) is None
    unknown = table.model_copy(update={"number_of_blades": None})
    assert _inertia(replace(van, blade_loads=unknown)) is None
    whole = table.model_copy(
        update={
            "mass": exact(2.0),
            "centre_of_mass": exact(0.4),
            "piece_masses": None,
            "number_of_blades": exact(2.0),
        }
    )
    assert _inertia(replace(van, blade_loads=whole)) == pytest.approx(2 * 2.0 * 0.16)
    both = table.model_copy(update={"mass": exact(2.0), "centre_of_mass": exact(0.4)})
    assert _inertia(replace(van, blade_loads=both)) == pytest.approx(_inertia(van))  # pieces are the better measure


@pytest.mark.usefixtures("coarse")
def test_a_scenario_gives_area_density_and_what_its_generator_lets_through(van: Scenario):
    setting = np.repeat([2.0, 6.0, 2.0, 6.0], 30)
    speed = 50 + 10 * np.sin(np.arange(120) / 9.0)
    sweep = sweep_of(setting, np.full(120, 700.0), speed=speed)
    found = tuned_of(van, sweep)
    inputs = inputs_of(van)
    work = turbine_at_work(inputs)
    through = float(work.heat_power_w) / float(work.shaft_power_w)
    inertia = _inertia(van)
    assert inertia is not None
    direct = tuned(sweep, math.pi * 0.9**2, float(inputs.density_kg_m3), through * inertia)
    assert found.settings == direct.settings
    assert found.inertia_used
    assert found.limits is not None
    no_masses = replace(van, blade_loads=None)
    assert not tuned_of(no_masses, sweep).inertia_used
    still = van.trip.model_copy(update={"road_speed": exact(0.0)})
    standing = tuned_of(replace(van, trip=still), sweep)  # nothing turns there: all of the energy counts
    assert standing.settings == tuned(sweep, math.pi * 0.9**2, float(inputs.density_kg_m3), inertia).settings


@pytest.mark.parametrize(
    ("kind", "key", "value"),
    [("pitch", "rotor.pitch", 6.0), ("resistance", "heater.resistance", 6.0), ("ratio", "drive.ratio", 3.0)],
)
def test_limits_of_a_setting_are_those_of_the_scenario_so_set(van: Scenario, kind, key, value):
    fast = {"trip.road_speed": 40.0, "air.wind_speed": 3.0}
    found = limits_at_setting(van, kind, value, fast)
    at = inputs_of(van, {key: np.array(value), **{k: np.array(v) for k, v in fast.items()}})
    expected = [one for one in operating_limits(at, turbine_at_work(at)) if one.value > one.limit * (1 + 1e-9)]
    assert expected
    assert {(one.key, one.value) for one in found} == {(one.key, one.value) for one in expected}
    assert list(found) == sorted(found, key=lambda one: -one.value / one.limit)


@pytest.mark.usefixtures("coarse")
def test_limits_of_a_drive(van: Scenario):
    setting = np.repeat([2.0, 6.0, 2.0, 6.0], 30)
    air = np.full(120, 15.0)
    air[50] = 60.0  # one gust in a hundred and twenty rows, that the rotor does not follow
    speed = np.full(120, 40.0)
    speed[3] = 100.0
    sweep = sweep_of(setting, np.full(120, 3100.0), air, speed=speed)
    result = replace(tuned(sweep, AREA, DENSITY), lag_s=2.0, best=5.0, next=7.0)
    found = _limits(van, sweep, result)
    assert [(one.key, one.value) for one in found.logged] == [
        ("rotor.highest_tip_speed", pytest.approx(90.0)),
        ("rotor.highest_rotor_speed", 100.0),
        ("heater.rated_power", 3100.0),
    ]
    followed = np.sort(behind(air, sweep.time_s, 2.0))
    at = 0.99 * 119
    fastest = followed[int(at)] + (at - int(at)) * (followed[int(at) + 1] - followed[int(at)])
    road = {"trip.road_speed": fastest / van.rotor.local_speed_factor.value, "air.wind_speed": 0.0}
    assert found.best == limits_at_setting(van, "pitch", 5.0, road)
    assert found.next == limits_at_setting(van, "pitch", 7.0, road)
    assert found.best != found.next
    unlogged = _limits(van, replace(sweep, rotor_speed_rad_s=None), result)
    assert [one.key for one in unlogged.logged] == ["heater.rated_power"]


HEAD = "time_s,electrical_power_w,"


def read(van: Scenario, tmp_path: Path, text: str) -> Sweep:
    path = tmp_path / "sweep.csv"
    path.write_text(text)
    return read_sweep(path, van)


def test_a_file_of_air_at_the_rotor_or_in_the_open_or_of_the_road(van: Scenario, tmp_path: Path):
    local = van.rotor.local_speed_factor.value
    rows = "0,100,{a}\n1,200,{a}\n2,300,{b}\n3,400,{b}\n"
    found = read(
        van, tmp_path, HEAD + "ratio,air_speed_km_h,rotor_speed_rpm\n" + rows.format(a="2,36,300", b="3,54,600")
    )
    assert found.kind == "ratio"
    assert found.setting.tolist() == [2, 2, 3, 3]
    assert found.air_speed_m_s == pytest.approx([10, 10, 15, 15])
    assert found.electrical_power_w.tolist() == [100, 200, 300, 400]
    assert found.rotor_speed_rad_s == pytest.approx(np.array([10, 10, 20, 20]) * math.pi)
    assert found.wind_is_known
    free = replace(van, measurement=van.measurement.model_copy(update={"air_speed_at": "free_air"}))
    open_air = read(free, tmp_path, HEAD + "pitch_deg,air_speed_km_h\n" + rows.format(a="2,36", b="3,54"))
    assert open_air.air_speed_m_s == pytest.approx(np.array([10, 10, 15, 15]) * local)
    road = read(van, tmp_path, HEAD + "resistance_ohm,road_speed_km_h\n" + rows.format(a="2,36", b="3,54"))
    assert road.air_speed_m_s == pytest.approx(np.array([10, 10, 15, 15]) * local)
    assert (road.kind, road.wind_is_known) == ("resistance", False)
    wind = read(
        van, tmp_path, HEAD + "pitch_deg,road_speed_km_h,wind_speed_km_h\n" + rows.format(a="2,36,18", b="3,9,-18")
    )
    assert wind.air_speed_m_s == pytest.approx(np.array([15, 15, 0, 0]) * local)  # a tail wind faster than the road
    assert wind.wind_is_known
    negative = read(van, tmp_path, HEAD + "pitch_deg,air_speed_m_s\n" + rows.format(a="-2,6", b="0,5"))
    assert negative.setting.tolist() == [-2, -2, 0, 0]  # pitches may be below 0


@pytest.mark.parametrize(
    ("columns", "rows", "said"),
    [
        ("pitch_deg,ratio,air_speed_m_s", ("2,2,9", "3,3,9"), "header: pitch and ratio"),
        ("air_speed_m_s", ("9", "9"), "header: none of them"),
        ("ratio,air_speed_m_s", ("0,9", "3,9"), "column ratio: 0; accepted: values above 0"),
        ("resistance_ohm,air_speed_m_s", ("-2,9", "3,9"), "column resistance: -2; accepted: values above 0"),
        ("pitch_deg,air_speed_m_s", ("2,9", "2,9"), "column pitch: one setting only"),
        ("pitch_deg,thing", ("2,9", "3,9"), "header: no speed"),
    ],
)
def test_what_a_file_lacks(van: Scenario, tmp_path: Path, columns, rows, said):
    a, b = rows
    with pytest.raises(InputError, match=said):
        read(van, tmp_path, f"{HEAD}{columns}\n0,100,{a}\n1,200,{a}\n2,300,{b}\n3,400,{b}\n")


def test_negative_watts_and_times_that_do_not_rise(van: Scenario, tmp_path: Path):
    with pytest.raises(InputError, match="column electrical_power: -7; accepted: no negative watts"):
        read(van, tmp_path, HEAD + "pitch_deg,air_speed_m_s\n0,1,2,9\n1,-7,2,9\n2,-3,3,9\n3,4,3,9\n")
    assert (
        read(van, tmp_path, HEAD + "pitch_deg,air_speed_m_s\n0,0,2,9\n1,0,2,9\n2,3,3,9\n3,4,3,9\n").electrical_power_w[
            0
        ]
        == 0
    )
    with pytest.raises(InputError, match="time"):
        read(van, tmp_path, HEAD + "pitch_deg,air_speed_m_s\n0,0,2,9\n2,0,2,9\n1,3,3,9\n3,4,3,9\n")


def test_rows_that_are_whole(van: Scenario, tmp_path: Path):
    head = HEAD + "pitch_deg,air_speed_m_s,rotor_speed_rpm,wind_speed_m_s\n"
    four = "0,1,2,9,300,\n1,1,2,9,300,\n2,3,3,9,300,\n3,4,3,9,300,\n"
    found = read(van, tmp_path, head + four + "4,,3,9,,\n5,4,,9,300,\n")
    assert found.time_s.tolist() == [0, 1, 2, 3]  # a column without numbers is no column; a mark has no speed
    assert found.rotor_speed_rad_s is not None
    holes = read(van, tmp_path, head + four + "4,4,3,9,,\n")
    assert holes.rotor_speed_rad_s is None
    assert len(holes.time_s) == 5
    with pytest.raises(InputError, match=r"3 rows with watts, setting and speed; accepted: at least 4: two settings"):
        read(van, tmp_path, head + four.replace("3,4,3,9,300", "3,4,,9,300"))
    with pytest.raises(InputError, match="rows"):
        read(van, tmp_path, head + "".join(f"{k},,{k},9,300,\n" for k in range(5)))


def test_a_file_tells_its_share_of_the_work(demos: Path, van: Scenario):
    told: list[float] = []
    found = tuned_of_file(van, demos / "van_water_tank" / "sweep.csv", told.append)
    assert found.settings
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert told[0] < 0.3  # the reading of the file
    assert told[1] == pytest.approx(0.3 + 0.7 * 0.1)
