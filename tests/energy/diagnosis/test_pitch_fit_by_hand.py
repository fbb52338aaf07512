"""The least squares of rows over pitch, worked out again number by number.

The model, from the definitions: a row's power coefficient is P/(½ρAU³) and its tip-speed ratio ΩR/U, so that an error e
of ln U multiplies them by exp(-3e) and exp(-e) (thrust: exp(-2e)); to first order the miss moves by λ·dC/dλ − m·C.
Shared errors are generalised least squares (statistics texts): rᵀC⁻¹r with C = diag(variance) + Σ d·dᵀ.
"""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from energy.aero.curves import RotorCurves
from energy.diagnosis import pitch_fit
from energy.diagnosis.pitch_fit import (
    CHUNK,
    MANY_ROWS,
    Accuracy,
    CoefficientRows,
    NormalProducts,
    PitchGrid,
    PitchProblem,
    ResidualsAtBest,
    RowNoise,
    Surface,
    _correlation,
    _drifted,
    _in_order,
    _mean_square,
    _products,
    _residuals_at_best,
    _RowsInOrder,
    _surface,
    fit_offsets,
    pitch_grid,
)

RATIOS = np.array([1.0, 2.0, 3.5, 4.0, 5.5, 7.0])
PITCHES = np.array([-2.0, 1.0, 4.0, 9.0])
USUAL = Accuracy(air_speed_noise=0.03, air_speed_calibration=0.02, power=0.03, curves=0.04, thrust=0.06)


def power_at(ratio, pitch):
    """Return an invented Cp that is smooth, with its best near 4.5 and 3 degrees."""
    return 0.36 - 0.022 * (ratio - 4.5 + 0.1 * pitch) ** 2 - 0.0012 * (pitch - 3) ** 2


def thrust_at(ratio, pitch):
    return 0.25 + 0.11 * ratio - 0.004 * ratio**2 - 0.015 * pitch


def curves_of(ratios=RATIOS, pitches=PITCHES):
    ratio, pitch = np.meshgrid(ratios, pitches)
    return RotorCurves(ratios, pitches, power_at(ratio, pitch), thrust_at(ratio, pitch))


def line(xs, ys, x):
    """Return a table between its points, one number; the ends held."""
    x = min(max(x, xs[0]), xs[-1])
    k = max(n for n in range(len(xs) - 1) if xs[n] <= x or n == 0)
    return ys[k] + (x - xs[k]) / (xs[k + 1] - xs[k]) * (ys[k + 1] - ys[k])


def on_map(grid: PitchGrid, table, ratio, pitch):
    return line(grid.pitch_deg, [line(grid.tip_speed_ratio, column, ratio) for column in table.T], pitch)


def rows_of(count, *, thrust=True, dial=True, time=True, seed=1):
    draw = np.random.default_rng(seed)
    ratio = draw.uniform(2.2, 6.5, count)
    at = draw.choice([1.0, 3.0, 5.0], count)
    return CoefficientRows(
        tip_speed_ratio=ratio,
        power_coefficient=power_at(ratio, at + 1) * (1 + 0.05 * draw.normal(size=count)),
        thrust_coefficient=thrust_at(ratio, at + 1) * (1 + 0.05 * draw.normal(size=count)) if thrust else None,
        dial_deg=at if dial else None,
        time_s=draw.permutation(count) * 7.0 if time else None,
        used=np.ones(count, dtype=bool),
    )


@pytest.mark.parametrize(
    ("ends", "rows", "step"),
    [((-2.0, 9.0), 40, 0.1), ((-30.0, 60.0), 3000, 90 / 240), ((-30.0, 60.0), 3001, 90 / 119), ((0.0, 0.3), 1, 0.1)],
)
def test_the_grid_of_pitches_is_a_tenth_of_a_degree_or_bounded_in_number(ends, rows, step):
    curves = curves_of(pitches=np.linspace(*ends, 4))
    grid = pitch_grid(curves, rows)
    assert grid.step_deg == pytest.approx(step)
    assert grid.pitch_deg == pytest.approx(np.linspace(*ends, round((ends[1] - ends[0]) / step) + 1))
    assert grid.curve_ends_deg == ends
    best = np.unravel_index(np.argmax(curves.power_coefficient), curves.power_coefficient.shape)
    assert grid.best_tip_speed_ratio == curves.tip_speed_ratio[best[1]]


def test_the_maps_over_pitch_and_their_slopes():
    curves = curves_of()
    grid = pitch_grid(curves, 10)
    for of, source, power in ((grid.power, curves.power_coefficient, 3), (grid.thrust, curves.thrust_coefficient, 2)):
        assert of.power_of_air_speed == power
        for j in (0, 7, 30, 75, len(grid.pitch_deg) - 1):
            column = [line(PITCHES, row, grid.pitch_deg[j]) for row in source.T]
            assert of.value[:, j] == pytest.approx(column)
            for k in range(1, len(RATIOS) - 1):  # the parabola through three uneven points (Lagrange)
                h, g = RATIOS[k] - RATIOS[k - 1], RATIOS[k + 1] - RATIOS[k]
                below, above = (column[k] - column[k - 1]) / h, (column[k + 1] - column[k]) / g
                assert of.slope[k, j] == pytest.approx(RATIOS[k] * (below * g + above * h) / (g + h))
            first = (column[1] - column[0]) / (RATIOS[1] - RATIOS[0])
            assert of.slope[0, j] == pytest.approx(RATIOS[0] * first)


def test_one_pitch_is_a_grid_of_one_with_a_step_that_can_be_divided_by():
    only = RotorCurves(RATIOS, np.array([3.0]), power_at(RATIOS, 3.0)[None], thrust_at(RATIOS, 3.0)[None])
    grid = pitch_grid(only, 5)
    assert grid.pitch_deg.tolist() == [3.0]
    assert grid.step_deg == 1.0


def test_reading_the_maps_between_and_beyond_their_points():
    grid = pitch_grid(curves_of(), 10)
    ratios = np.array([0.2, 1.0, 2.7, 4.0, 6.9, 7.0, 9.0])
    dial = np.array([-9.0, -2.0, 0.03, 3.33, 5.0, 8.95, 30.0])
    offsets = np.array([-1.0, 0.0, 0.27])
    table = grid.power.value
    over = grid.over_pitch(table, ratios)
    read = grid.at_offsets(over, dial, offsets)
    points = grid.reader_at(dial, ratios)(table)
    for n, (ratio, at) in enumerate(zip(ratios, dial, strict=True)):
        assert over[n, [0, 33]] == pytest.approx([line(RATIOS, table[:, j], ratio) for j in (0, 33)])
        assert read[n] == pytest.approx([on_map(grid, table, ratio, at + o) for o in offsets], abs=2e-8)
        assert points[n] == pytest.approx(on_map(grid, table, ratio, at), abs=2e-8)
    assert grid.at_offsets(over, None, offsets) is over


def test_a_lean_of_the_curves_is_one_half_again_past_the_best():
    problem = PitchProblem(pitch_grid(curves_of(), 10), rows_of(3), USUAL)
    best = problem.grid.best_tip_speed_ratio
    assert problem.lean(np.array([best, 1.5 * best, 0.5 * best])) == pytest.approx([0.0, 1.0, -1.0])


def by_hand(problem, order, air_error, offsets, noise, only=None):
    """Return the miss (N, K) of each quantity over its deviation, and what each shared error does to it (4, N, K)."""
    rows, grid, accuracy = problem.rows, problem.grid, problem.accuracy
    kinds = [(rows.power_coefficient, grid.power, 3, noise.power, math.hypot(accuracy.power, accuracy.curves))]
    if rows.thrust_coefficient is not None:
        kinds.append((rows.thrust_coefficient, grid.thrust, 2, noise.thrust, accuracy.thrust))
    found = []
    for kind, (measured, maps, power, factor, shared) in enumerate(kinds):
        miss, pulls = np.zeros((len(order.places), len(offsets))), np.zeros((4, len(order.places), len(offsets)))
        for n, place in enumerate(order.places):
            if only is not None and n not in only:
                continue
            error = air_error[n]
            ratio, level = rows.tip_speed_ratio[place] * math.exp(error), measured[place] * math.exp(power * error)
            for k, offset in enumerate(offsets):
                pitch = offset + (0.0 if rows.dial_deg is None else rows.dial_deg[place])
                curve = on_map(grid, maps.value, ratio, pitch)
                tilt = on_map(grid, maps.slope, ratio, pitch) - power * curve
                variance = (tilt * noise.air_speed) ** 2 + 0.003**2 + (0.015 * level) ** 2
                variance *= factor * (1 + noise.correlation) / (1 - noise.correlation)
                deviation = math.sqrt(variance)
                miss[n, k] = (level - curve + tilt * error) / deviation
                pulls[0, n, k] = tilt * accuracy.air_speed_calibration / deviation
                pulls[1 + kind, n, k] = shared * curve / deviation
                if kind == 0:
                    best = grid.best_tip_speed_ratio
                    pulls[3, n, k] = accuracy.curves * (ratio - best) / (best / 2) * curve / deviation
        found.append((miss, pulls))
    return found


NAMES = ("air", "power", "thrust", "lean")


@pytest.mark.parametrize(("thrust", "dial", "count"), [(True, True, 9), (False, True, 7), (True, False, 6)])
def test_the_products_of_every_row_and_offset(thrust, dial, count):
    problem = PitchProblem(pitch_grid(curves_of(), count), rows_of(count, thrust=thrust, dial=dial), USUAL)
    order, with_drift = _in_order(problem.rows)
    assert with_drift == dial
    offsets = np.array([-0.7, 0.0, 1.3]) if dial else np.array([0.5, 2.0, 3.1])
    if not dial:  # without a dial the offsets are the grid itself
        offsets = problem.grid.pitch_deg
    some = slice(None) if dial else slice(0, None, 37)
    error = 0.04 * np.random.default_rng(3).normal(size=count)
    noise = RowNoise(0.025, 0.03, power=1.3, thrust=0.7, correlation=0.4)
    blocks = int(order.block.max()) + 1
    sums = _products(problem, order, error, offsets, (noise, blocks))
    expected = {f.name: np.zeros((blocks, len(offsets[some]))) for f in fields(NormalProducts)}
    for miss, pulls in by_hand(problem, order, error, offsets[some], noise):
        for n, block in enumerate(order.block):
            expected["residual_residual"][block] += miss[n] ** 2
            for a, name in enumerate(NAMES):
                expected[f"residual_{name}"][block] += miss[n] * pulls[a, n]
                for b, other in enumerate(NAMES):
                    if (key := f"{name}_{other}") in expected:
                        expected[key][block] += pulls[a, n] * pulls[b, n]
    for name, value in expected.items():
        assert getattr(sums, name)[:, some] == pytest.approx(value, rel=1e-6, abs=1e-6), name


def test_rows_of_many_chunks_add_up_to_those_of_one_at_a_time():
    count = 2 * CHUNK + 5
    problem = PitchProblem(pitch_grid(curves_of(), count), rows_of(count), USUAL)
    order, _ = _in_order(problem.rows)
    error, offsets = 0.02 * np.sin(np.arange(count)), np.array([0.0, 1.0])
    noise = RowNoise(0.03, 0.03)
    told = []
    sums = _products(problem, order, error, offsets, (noise, 12), told.append)
    for block in (0, 5, 11):
        mine = np.flatnonzero(order.block == block)
        total = sum((miss**2).sum(axis=0) for miss, _ in by_hand(problem, order, error, offsets, noise, set(mine)))
        assert sums.residual_residual[block] == pytest.approx(total, rel=1e-6)
    assert told == pytest.approx([0.2, 0.2 + 0.8 * CHUNK / count, 0.2 + 0.8 * 2 * CHUNK / count])


def test_the_shared_errors_are_those_of_the_whole_covariance():
    problem = PitchProblem(pitch_grid(curves_of(), 5), rows_of(5), USUAL)
    order, _ = _in_order(problem.rows)
    order = replace(order, block=np.zeros(5, dtype=int))
    offsets, noise = np.array([-1.0, 0.3, 1.2]), RowNoise(0.03, 0.03)
    surface = _surface(_products(problem, order, np.zeros(5), offsets, (noise, 1)), order, offsets, np.zeros(1))
    found = by_hand(problem, order, np.zeros(5), offsets, noise)
    miss = np.concatenate([m for m, _ in found])
    pulls = np.concatenate([p for _, p in found], axis=1)
    chi = [m @ np.linalg.solve(np.eye(10) + p.T @ p, m) for m, p in zip(miss.T, np.moveaxis(pulls, 2, 0), strict=True)]
    assert surface.chi_square[0] == pytest.approx(chi, rel=1e-6)
    best = int(np.argmin(chi))
    assert surface.best == (offsets[best], 0.0)
    # Shared errors with a standard normal prior: least squares of rows and prior together.
    wide = np.concatenate([pulls[:, :, best].T, np.eye(4)])
    solved = np.linalg.lstsq(wide, np.concatenate([miss[:, best], np.zeros(4)]), rcond=None)[0]
    assert surface.shared_errors == pytest.approx(solved, rel=1e-5, abs=1e-6)


def test_a_drift_reads_each_block_of_time_at_its_own_offset():
    offsets, drifts = np.arange(-2.0, 2.01, 0.5), np.array([-1.2, 0.0, 0.9])
    time = np.array([-0.5, -0.4, -0.1, 0.1, 0.45, 0.5])
    order = _RowsInOrder(np.arange(6), time, np.array([0, 0, 1, 1, 2, 2]))
    draw = np.random.default_rng(2)
    names = [f.name for f in fields(NormalProducts)]
    sums = NormalProducts(**{name: draw.normal(size=(3, len(offsets))) for name in names})
    total = _drifted(sums, order, offsets, drifts)
    for name in names:
        for d, drift in enumerate(drifts):
            for k, offset in enumerate(offsets):
                value = 0.0
                for block, middle in enumerate((-0.45, 0.0, 0.475)):
                    value += line(offsets, getattr(sums, name)[block], offset + drift * middle)
                assert getattr(total, name)[d, k] == pytest.approx(value, abs=1e-5), name


def test_the_best_of_a_surface_is_its_least():
    chi = np.array([[3.0, 2.0, 4.0], [5.0, 1.0, 0.5]])
    surface = Surface(chi, np.array([-1.0, 0.0, 2.0]), np.array([0.3, 0.7]), np.zeros(4))
    assert surface.best == (2.0, 0.7)


def test_rows_go_in_order_of_time_about_their_middle():
    rows = rows_of(8)
    used = rows.used.copy()
    used[2] = False
    time = np.array([50.0, 0.0, 999.0, 10.0, 20.0, 30.0, 40.0, 100.0])
    order, drifts = _in_order(replace(rows, used=used, time_s=time))
    assert order.places.tolist() == [1, 3, 4, 5, 6, 0, 7]
    assert order.time == pytest.approx([-0.5, -0.4, -0.3, -0.2, -0.1, 0.0, 0.5])
    assert order.block.tolist() == [0, 1, 2, 3, 4, 6, 11]  # twelfths of the time, the last row in the last
    assert drifts
    some = order.some(slice(1, 4, 2))
    assert (some.places.tolist(), some.block.tolist()) == ([3, 5], [1, 3])
    assert some.time == pytest.approx([-0.4, -0.2])
    plain, _ = _in_order(replace(rows, used=used, time_s=None))
    assert plain.places.tolist() == [0, 1, 3, 4, 5, 6, 7]
    assert plain.time == pytest.approx((plain.places - 3.5) / 7)


def test_a_dial_can_drift_only_where_there_is_one_and_time_and_six_rows():
    six, five = rows_of(6), rows_of(5)
    assert _in_order(six)[1]
    assert not _in_order(five)[1]
    assert not _in_order(rows_of(6, dial=False))[1]
    same, drifts = _in_order(replace(six, time_s=np.full(6, 3.0)))
    assert not drifts
    assert same.time.tolist() == [0.0] * 6
    assert not same.block.any()


def test_residuals_at_the_best_pitch_without_the_shared_errors():
    for dial in (True, False):
        problem = PitchProblem(pitch_grid(curves_of(), 7), rows_of(7, dial=dial), USUAL)
        order, _ = _in_order(problem.rows)
        surface = Surface(np.zeros((1, 1)), np.array([1.7]), np.array([0.6]), np.array([0.5, -0.8, 1.1, -0.3]))
        error = 0.03 * np.cos(np.arange(7))
        found = _residuals_at_best(problem, surface, order, error)
        for n, place in enumerate(order.places):
            pitch = 1.7 + 0.6 * order.time[n] + (problem.rows.dial_deg[place] if dial else 0.0)
            ratio = problem.rows.tip_speed_ratio[place] * math.exp(error[n])
            for kind, (measured, maps, power) in enumerate(
                (
                    (problem.rows.power_coefficient, problem.grid.power, 3),
                    (problem.rows.thrust_coefficient, problem.grid.thrust, 2),
                )
            ):
                level = measured[place] * math.exp(power * error[n])
                curve = on_map(problem.grid, maps.value, ratio, pitch)
                tilt = on_map(problem.grid, maps.slope, ratio, pitch) - power * curve
                shared = 0.5 * 0.02 * tilt
                if kind == 0:
                    best = problem.grid.best_tip_speed_ratio
                    shared += -0.8 * 0.05 * curve - 0.3 * 0.04 * (ratio - best) / (0.5 * best) * curve
                else:
                    shared += 1.1 * 0.06 * curve
                assert found.level[kind, n] == pytest.approx(level)
                assert found.tilt[kind, n] == pytest.approx(tilt, abs=1e-6)
                assert found.residual[kind, n] == pytest.approx(level - curve + tilt * error[n] - shared, abs=1e-6)


def test_the_noise_of_a_row():
    noise = RowNoise(0.04, 0.02, power=1.5, thrust=0.6, correlation=0.5)
    assert noise.inflation == pytest.approx(3.0)  # (1 + 0.5)/(1 - 0.5), time-series texts
    assert noise.over == pytest.approx(2 * math.sqrt(1.5))
    assert RowNoise(0.0, 0.0).over == 0.0
    tilt, level = np.array([-0.5, 1.2]), np.array([0.3, 0.9])
    for kind, factor in enumerate((1.5, 0.6)):
        expected = [factor * ((0.04 * t) ** 2 + 0.003**2 + (0.015 * v) ** 2) for t, v in zip(tilt, level, strict=True)]
        assert noise.variance(kind, tilt, level) == pytest.approx(expected)
    # Regression of x on y = x·t + floor: cov(x, y)/var(y).
    part = [
        0.04**2 * 1.5 * t / (1.5 * ((0.04 * t) ** 2 + 0.003**2 + (0.015 * v) ** 2))
        for t, v in zip(tilt, level, strict=True)
    ]
    assert noise.part_of_air(tilt, level) == pytest.approx(part)


@pytest.mark.parametrize("scale", [0.05, 0.7, 1.4, 6.0])
def test_the_scatter_is_learnt_from_the_rows_within_reason(scale):
    declared, start, correction = 0.03, RowNoise(0.036, 0.03, power=1.2), 40 / 38
    draw = np.random.default_rng(4)
    tilt, level = np.stack([np.full(40, -0.9), np.full(40, -1.1)]), np.stack([np.full(40, 0.3), np.full(40, 0.7)])
    residual = scale * np.stack([0.03 * 0.9 * draw.normal(size=40), 0.05 * draw.normal(size=40)])
    found = start.learnt(ResidualsAtBest(residual, tilt, level), correction)

    def ratio(air, factor, kind):
        """Mean square over the variance, wild rows held to three robust deviations (median of χ² of one: 0.455)."""
        variance = factor * ((air * tilt[kind, 0]) ** 2 + 0.003**2 + (0.015 * level[kind, 0]) ** 2)
        squares = residual[kind] ** 2 / variance
        highest = 9 * np.median(squares) / 0.455
        return correction * sum(min(s, highest) for s in squares) / 40

    wanted = 0.036 * math.sqrt(ratio(0.036, 1.2, 0) * 1.2)
    air = min(max(wanted, 0.4 * declared), 2.5 * declared)
    assert found.air_speed == pytest.approx(air)
    assert found.declared == declared
    assert found.power == pytest.approx(max(ratio(air, 1.0, 0), 1e-3))
    assert found.thrust == pytest.approx(max(ratio(air, 1.0, 1), 1e-3))
    assert found.correlation == 0.0
    alone = start.learnt(ResidualsAtBest(residual[:1], tilt[:1], level[:1]), correction)
    assert alone.thrust == 1.0
    assert alone.power == pytest.approx(found.power)


def test_one_wild_row_counts_as_three_robust_deviations():
    standard = np.array([1.0, -1.0, 0.5, 2.0, 100.0])
    assert _mean_square(standard) == pytest.approx((1 + 1 + 0.25 + 4 + 9 * 1 / 0.455) / 5)
    assert _mean_square(np.zeros(3)) == 0.0


def test_neighbours_are_correlated_only_beyond_their_own_error():
    draw = np.random.default_rng(6)
    shock, slow = draw.normal(size=60), np.zeros(60)
    for k in range(1, 60):
        slow[k] = 0.7 * slow[k - 1] + shock[k]
    slow += 5.0
    mean = sum(slow) / 60
    expected = sum((slow[k] - mean) * (slow[k - 1] - mean) for k in range(1, 60)) / sum((v - mean) ** 2 for v in slow)
    assert 0.4 < expected < 0.95
    assert _correlation(slow) == pytest.approx(expected)
    assert _correlation(slow[:19]) == 0.0  # too few
    assert _correlation(np.linspace(0, 1, 2000)) == 0.95  # not above, or the inflation has no end
    assert _correlation(shock * (-1.0) ** np.arange(60) * 0 + (-1.0) ** np.arange(60)) == 0.0  # alternating: no help
    weak = np.tile([1.0, 1.0, -1.0, -1.0], 5)  # 20 rows: sum of neighbours' products is 1, over 20: below 1.5/√20
    assert _correlation(weak) == 0.0
    ramp = np.array([0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0] * 2)
    middle = ramp - ramp.mean()
    assert _correlation(ramp) == (
        pytest.approx(r) if (r := (middle[1:] @ middle[:-1]) / (middle @ middle)) > 1.5 / 20**0.5 else 0.0
    )


def smooth(count, *, noise, seed, offset=1.3):
    """Return a problem over finely known curves, so that straight lines between their points are no error."""
    curves = curves_of(np.linspace(1.0, 8.0, 141), np.linspace(-4.0, 12.0, 33))
    draw = np.random.default_rng(seed)
    ratio, dial = draw.uniform(3.0, 6.5, count), np.resize([1.0, 3.0, 6.0], count)
    error = noise * draw.normal(size=count)
    shared = math.exp(0.015)
    rows = CoefficientRows(
        tip_speed_ratio=ratio * np.exp(-error) / shared,
        power_coefficient=power_at(ratio, dial + offset) * np.exp(-3 * error) / shared**3,
        thrust_coefficient=thrust_at(ratio, dial + offset) * np.exp(-2 * error) / shared**2,
        dial_deg=dial,
        time_s=None,
        used=np.ones(count, dtype=bool),
    )
    return PitchProblem(pitch_grid(curves, count), rows, USUAL)


def test_the_fit_is_the_least_of_errors_in_air_speed_and_shared_errors_together():
    """The same minimum found by a solver over every row's air speed, the shared errors, and the offset."""
    problem = smooth(5, noise=0.03, seed=11)
    problem = replace(problem, rows=replace(problem.rows, thrust_coefficient=None))
    offsets = np.arange(-1.0, 3.51, 0.1)
    found = fit_offsets(problem, offsets)
    assert not found.with_drift  # five rows
    assert found.degrees_of_freedom == 4
    assert found.noise == RowNoise(0.03, 0.03)  # too few rows to learn it from
    rows, best = problem.rows, problem.grid.best_tip_speed_ratio

    def misses(x, offset):
        error, (air, power, lean) = x[:5] * 0.03, x[5:8]
        freed = error + 0.02 * air
        ratio = rows.tip_speed_ratio * np.exp(freed)
        curve, cp = power_at(ratio, rows.dial_deg + offset), rows.power_coefficient * np.exp(3 * freed)
        gap = cp - curve * (1 + 0.05 * power + 0.04 * lean * (ratio - best) / (0.5 * best))
        return np.concatenate([gap / np.sqrt(0.003**2 + (0.015 * cp) ** 2), x])

    least = {o: 2 * least_squares(misses, np.zeros(8), args=(o,)).cost for o in (0.5, 1.3, 2.1)}
    for offset, square in least.items():
        place = int(np.argmin(abs(offsets - offset)))
        assert found.surface.chi_square[0, place] == pytest.approx(square, rel=0.05, abs=0.05)
    assert found.surface.best[0] == pytest.approx(1.3, abs=1.2)


def test_scatter_is_learnt_from_eight_degrees_of_freedom_on():
    offsets = np.arange(-1.0, 3.51, 0.1)
    # One offset alone takes one degree of freedom, a drift as well takes two.
    few, enough = (fit_offsets(smooth(n, noise=0.08, seed=3), offsets) for n in (MANY_ROWS + 1, MANY_ROWS + 2))
    assert (few.degrees_of_freedom, enough.degrees_of_freedom) == (MANY_ROWS - 1, MANY_ROWS)
    assert few.with_drift
    assert few.noise == RowNoise(0.03, 0.03)
    assert enough.noise.air_speed > 0.04
    assert few.surface.drifts == pytest.approx(np.linspace(-2.25, 2.25, 61))  # half of the offsets' span either way


def test_passes_end_where_nothing_moves_any_more(monkeypatch):
    """Each of sixteen passes takes time: rows that a few settle do not wait for all of them."""
    passes = []

    def counted(*of):
        passes.append(1)
        return _products(*of)

    monkeypatch.setattr(pitch_fit, "_products", counted)
    fit_offsets(smooth(60, noise=0.03, seed=5), np.arange(-1.0, 3.51, 0.1))
    assert 3 <= len(passes) < 16


def test_exact_rows_have_no_miss_at_their_offset_and_drift():
    curves = curves_of(np.linspace(1.0, 8.0, 141), np.linspace(-4.0, 12.0, 33))
    ratio, dial = np.linspace(3.0, 6.5, 24), np.tile([1.0, 3.0, 6.0], 8)
    time = np.linspace(-0.5, 0.5, 24)
    rows = CoefficientRows(
        ratio,
        power_at(ratio, dial + 1.3 + 1.5 * time),
        thrust_at(ratio, dial + 1.3 + 1.5 * time),
        dial,
        None,
        ratio > 0,
    )
    told = []
    accuracy = Accuracy(0.005, 0.0, 0.0, 0.0, 0.0)
    found = fit_offsets(PitchProblem(pitch_grid(curves, 24), rows, accuracy), np.arange(-1.0, 3.51, 0.1), told.append)
    assert found.surface.best == pytest.approx((1.3, 1.5), abs=0.051)
    assert found.surface.shared_errors == pytest.approx(np.zeros(4))
    assert found.noise.air_speed == pytest.approx(0.4 * 0.005)
    assert (told[0], told[-1]) == (0.2, 1.0)
