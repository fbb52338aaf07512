"""What the fit of the pitch is told by, and what it says, worked out again number by number."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t as student

from energy.aero.blade import PitchConvention
from energy.aero.curves import RotorCurves
from energy.chain.ledger import turbine_at_work
from energy.chain.load import load
from energy.diagnosis.pitch_fit import (
    CHUNK,
    Accuracy,
    CoefficientRows,
    MeasuredRows,
    PitchFit,
    PitchProblem,
    RowNoise,
    Surface,
    pitch_grid,
)
from energy.diagnosis.true_pitch import (
    PitchInterval,
    _as_the_dial_reads,
    _branch,
    _coefficients_of,
    _drift,
    _held,
    _interpreted,
    _intervals,
    _limited,
    _no_pitch,
    _offsets_deg,
    _power_gradient,
    _reach,
    _row_by_row,
    accuracy_of,
    as_setting,
    corrected,
    curves_over_pitches,
    read_measured,
    shaft_power_w,
    true_pitch,
    true_pitch_of,
    true_pitch_of_file,
)
from energy.electrical import ElectricalChain
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from vehicle.problems import InputError
from vehicle.quantity import Uncertain

RATIOS, PITCHES = np.linspace(1.0, 8.0, 29), np.linspace(-4.0, 12.0, 9)
USUAL = Accuracy(air_speed_noise=0.03, air_speed_calibration=0.02, power=0.03, curves=0.04, thrust=0.06)


def power_at(ratio, pitch):
    """Return an invented Cp, with its best near a ratio of 4.5 and 3 degrees."""
    return 0.36 - 0.022 * (ratio - 4.5 + 0.1 * pitch) ** 2 - 0.0022 * (pitch - 3) ** 2


CURVES = RotorCurves(
    RATIOS,
    PITCHES,
    power_at(RATIOS[None], PITCHES[:, None]),
    0.25 + 0.11 * RATIOS[None] - 0.015 * PITCHES[:, None],
)


def problem_of(ratio, power, *, dial=None, used=None, accuracy=USUAL, curves=CURVES):
    ratio = np.asarray(ratio, float)
    used = np.ones(len(ratio), dtype=bool) if used is None else used
    rows = CoefficientRows(ratio, np.asarray(power, float), None, dial, None, used)
    return PitchProblem(pitch_grid(curves, len(ratio)), rows, accuracy)


def test_coefficients_by_their_definitions():
    rows = MeasuredRows(
        np.array([10.0, 0.0, 1.0, 1.01, 12.0, 5.0]),
        np.array([50.0, 3.0, 4.0, 4.0, 0.0, 50.0]),
        np.array([300.0, 5.0, 0.2, 0.2, 100.0, 10.0]),
        np.array([60.0, 1.0, 0.5, 0.5, 40.0, 20.0]),
        np.arange(6.0),
        np.arange(6.0) * 10,
    )
    found = _coefficients_of(CURVES, 0.9, 1.2, rows)
    area = math.pi * 0.9**2
    assert found.tip_speed_ratio[[0, 3]] == pytest.approx([50 * 0.9 / 10, 4 * 0.9 / 1.01])
    assert found.power_coefficient[0] == pytest.approx(300 / (0.6 * area * 1000))
    assert found.thrust_coefficient is not None
    assert found.thrust_coefficient[0] == pytest.approx(60 / (0.6 * area * 100))
    # Standing air, 1 m/s exactly, a rotor at rest, and a ratio of 9 beyond the curves' 8 do not count.
    assert found.used.tolist() == [True, False, False, True, False, False]
    assert found.dial_deg is rows.dial_deg
    assert found.time_s is rows.time_s
    guess = replace(CURVES, thrust_is_estimated=True)
    assert _coefficients_of(guess, 0.9, 1.2, rows).thrust_coefficient is None
    assert _coefficients_of(CURVES, 0.9, 1.2, replace(rows, thrust_n=None)).thrust_coefficient is None
    edge = replace(rows, rotor_speed_rad_s=rows.air_speed_m_s * 8.0 / 0.9)
    assert _coefficients_of(CURVES, 0.9, 1.2, edge).used[0]  # the last ratio of the curves is still known


def test_what_was_left_out_and_what_was_not_used_is_said():
    rows = MeasuredRows(
        np.array([10.0, 0.5, 11.0]), np.array([45.0, 45.0, 50.0]), np.array([400.0, 9.0, 500.0]), np.full(3, 80.0)
    )
    found = true_pitch(replace(CURVES, thrust_is_estimated=True), 0.9, 1.2, rows, USUAL, watts_ratio=0.7)
    assert found.notes == (
        "1 of 3 rows were left out: standing, air below 1 m/s, or faster than tip-speed ratio 8, where the curves end.",
        "The logged thrust was not used: the curves' own thrust is only an estimate.",
    )
    assert found.watts_ratio == 0.7
    assert found.explained
    assert true_pitch(CURVES, 0.9, 1.2, replace(rows, air_speed_m_s=np.full(3, 10.0)), USUAL).notes == ()
    none = true_pitch(CURVES, 0.9, 1.2, replace(rows, air_speed_m_s=np.zeros(3)), USUAL)
    assert none.notes[-1] == "No row can be used."
    assert (none.pitch_deg, none.other_deg, none.other_branch, none.offset_deg, none.drift_deg) == (None,) * 5
    assert (none.branch, none.correlation, none.at_edge, none.ends_at) == ("none", 0.0, False, ())
    assert math.isnan(none.scatter)
    assert none.shared_errors.tolist() == [0.0] * 4


def test_offsets_of_the_dial_to_look_at():
    """Every pitch of the curves for every used row, and 8 degrees either way as far as the curves go."""
    assert _offsets_deg(problem_of([4.0], [0.3])) == pytest.approx(pitch_grid(CURVES, 1).pitch_deg)
    dial = np.array([1.0, 2.0, 6.0, 99.0])
    used = np.array([True, True, True, False])
    found = _offsets_deg(problem_of([4.0] * 4, [0.3] * 4, dial=dial, used=used))
    # From the middle dial of 2: down to -4, which is 6 off, but -4 - 6 = -10 for the last row; up to 12: 11 for the
    # first row, 8 for the middle.
    assert (found[0], found[-1]) == pytest.approx((-10.0, 11.0))
    assert np.diff(found) == pytest.approx(np.full(len(found) - 1, 0.1))
    far = _offsets_deg(problem_of([4.0] * 3, [0.3] * 3, dial=np.array([20.0, 25.0, 31.0])))
    assert (far[0], far[-1]) == pytest.approx((-4.0 - 31, 12.0 - 20))
    near = _offsets_deg(problem_of([4.0] * 3, [0.3] * 3, dial=np.array([-20.0, 3.0, 30.0])))
    assert (near[0], near[-1]) == pytest.approx((-34.0, 32.0))
    apart = replace(CURVES, pitch_deg=PITCHES * 3)  # -12 to 36: 8 degrees to either side of 12
    wide = _offsets_deg(problem_of([4.0] * 2, [0.3] * 2, dial=np.array([-12.0, 36.0]), curves=apart))
    assert (wide[0], wide[-1]) == pytest.approx((-48.0, 48.0))


def test_reach_is_students_t_and_a_part_for_the_learnt_scatter():
    for free in (8, 12, 30, 200, 10**6):
        assert _reach(free) == pytest.approx(student.ppf(0.975, free) + 4.0 / free, rel=3e-3)


def parabola(grid, middle, spread):
    return ((grid - middle) / spread) ** 2


def test_an_interval_ends_where_the_sum_of_squares_has_risen_by_the_reach():
    grid = np.arange(-3.0, 6.01, 0.5)
    chi = 7.0 + parabola(grid, 1.1, 0.8)
    (found,) = _intervals(grid, chi, 2.0)
    assert found.estimate == pytest.approx(1.1)  # a parabola through three points is that parabola
    assert found.level == 0.95

    def crossing(inside, outside):
        below, above = (parabola(v, 1.1, 0.8) - chi.min() + 7.0 for v in (inside, outside))
        return inside + (outside - inside) * (2.0 - below) / (above - below)

    assert found.low == pytest.approx(crossing(0.0, -0.5))
    assert found.high == pytest.approx(crossing(2.0, 2.5))


def test_two_minima_are_two_intervals_the_better_first():
    grid = np.arange(0.0, 10.01, 0.25)
    chi = np.minimum(1.0 + parabola(grid, 2.0, 0.5), 0.4 + parabola(grid, 7.1, 0.6))
    first, second = _intervals(grid, chi, 2.0)
    assert (first.estimate, second.estimate) == pytest.approx((7.1, 2.0), abs=0.01)
    assert first.low < 7.1 < first.high < 9
    assert second.high - second.low == pytest.approx(
        2 * 0.5 * math.sqrt(1.4 + (first.estimate - 7.0) ** 2 / 0.36), abs=0.1
    )
    (only,) = _intervals(grid, chi, 0.5)
    assert only.estimate == pytest.approx(7.1, abs=0.01)


def test_an_interval_is_never_narrower_than_the_curves_are_known():
    fine, coarse = np.arange(0.0, 4.01, 0.1), np.arange(0.0, 4.01, 1.0)
    (sharp,) = _intervals(fine, parabola(fine, 2.0, 1e-3), 4.0)
    assert (sharp.low, sharp.high) == pytest.approx((1.8, 2.2))  # 0.2 degrees either way
    (sharp,) = _intervals(coarse, parabola(coarse, 2.0, 1e-3), 4.0)
    assert (sharp.low, sharp.high) == pytest.approx((1.5, 2.5))  # half a step
    (one,) = _intervals(np.array([3.0]), np.array([5.0]), 4.0)
    assert (one.low, one.estimate, one.high) == pytest.approx((2.8, 3.0, 3.2))


def test_an_interval_at_the_ends_of_the_grid():
    grid = np.arange(0.0, 5.01, 0.5)
    (low,) = _intervals(grid, parabola(grid, -1.0, 1.0), 3.0)
    assert (low.estimate, low.low) == (0.0, pytest.approx(-0.25))
    assert low.high == pytest.approx(1.0)  # (2² − 1²) = 3, on the grid
    (high,) = _intervals(grid, parabola(grid, 6.0, 1.0), 3.0)
    assert (high.estimate, high.high, high.low) == (5.0, pytest.approx(5.25), pytest.approx(4.0))
    # The least of three on a slope: the vertex is not looked for further than half a step away.
    (steep,) = _intervals(grid, np.array([0, 0, 0, 0, 9.0, 1.0, 1.01, 9, 9, 9, 9]) + 5.0, 0.5)[-1:]
    assert steep.estimate <= 1.5
    flat = _intervals(grid, np.full(11, 2.0), 1.0)
    assert [(f.low, f.estimate, f.high) for f in flat] == [(-0.25, 0.0, 5.0)]


def test_the_branch_is_the_sign_of_the_slope_of_power():
    offsets, slope = np.array([0.0, 2.0, 4.0]), np.array([0.2, 0.0, -0.2])
    assert _branch(PitchInterval(0.5, 0.2, 0.8), offsets, slope) == "stalled"
    assert _branch(PitchInterval(3.0, 2.5, 3.5), offsets, slope) == "unstalled"
    assert _branch(PitchInterval(1.5, 1.0, 2.5), offsets, slope) == "either"
    assert _branch(PitchInterval(1.5, 1.0, 2.0), offsets, slope) == "stalled"  # touches the best, no more
    assert _branch(PitchInterval(2.5, 2.0, 3.0), offsets, slope) == "unstalled"
    assert _branch(PitchInterval(2.0, 2.0, 2.0), offsets, slope) == "unstalled"


def test_an_interval_is_moved_and_held_to_the_curves():
    assert _held(PitchInterval(1.0, -3.0, 9.0), 2.0, (-0.5, 10.0)) == PitchInterval(3.0, -0.5, 10.0)
    assert _held(PitchInterval(1.0, 0.5, 3.0), 2.0, (-0.5, 10.0)) == PitchInterval(3.0, 2.5, 5.0)


def test_settings_and_corrected_dials():
    assert as_setting(PitchInterval(4.123, 2.0, 5.0)) == {"value": "4.12 deg", "plus_minus": "2.12 deg"}
    assert as_setting(PitchInterval(4.0, 3.5, 6.25)) == {"value": "4.00 deg", "plus_minus": "2.25 deg"}
    assert as_setting(PitchInterval(4.0, 4.0, 4.0))["plus_minus"] == "0.01 deg"
    assert corrected(10.0, PitchInterval(1.5, -1.0, 2.0)) == PitchInterval(11.5, 9.0, 12.0)


def test_the_slope_of_power_over_the_offset():
    ratio, dial = np.array([3.0, 4.2, 5.1, 6.0]), np.array([0.0, 1.0, 2.0, 5.0])
    used = np.array([True, True, False, True])
    problem = problem_of(ratio, np.full(4, 0.3), dial=dial, used=used)
    offsets = np.array([-1.0, 0.0, 1.0, 2.0])

    def mean(offset):
        read = []
        for r, d in zip(ratio[used], dial[used], strict=True):
            column = [np.interp(r, RATIOS, row) for row in CURVES.power_coefficient]
            read.append(np.interp(d + offset, PITCHES, column))
        return sum(read) / 3

    found = _power_gradient(problem, offsets)
    assert found[1] == pytest.approx((mean(1.0) - mean(-1.0)) / 2)
    assert found[2] == pytest.approx((mean(2.0) - mean(0.0)) / 2)
    assert found[0] == pytest.approx(mean(0.0) - mean(-1.0))


def test_row_by_row_where_the_curves_cross_what_was_measured():
    ratio = np.array([4.0, 4.0, 4.0, 4.0, 6.0, 4.3])
    power = np.array([0.30, 0.50, -0.2, 0.3, 0.2, 0.342])
    used = np.array([True, True, True, False, True, True])
    problem = problem_of(ratio, power, used=used)
    found = _row_by_row(problem, None)
    grid = problem.grid.pitch_deg
    for n in range(6):
        curve = np.array(
            [
                np.interp(p, PITCHES, [np.interp(ratio[n], RATIOS, row) for row in CURVES.power_coefficient])
                for p in grid
            ]
        )
        up = [k for k in range(len(grid) - 1) if curve[k] < power[n] <= curve[k + 1]]
        down = [k for k in range(len(grid) - 1) if curve[k] >= power[n] > curve[k + 1]]

        def at(k, curve=curve, n=n):
            return grid[k] + (power[n] - curve[k]) / (curve[k + 1] - curve[k]) * (grid[k + 1] - grid[k])

        expected = [at(k[place]) if k and used[n] else math.nan for k, place in ((up, 0), (down, -1))]
        assert [found.stalled_deg[n], found.unstalled_deg[n]] == pytest.approx(expected, nan_ok=True)
        lean = np.array(
            [
                np.interp(
                    p,
                    PITCHES,
                    [
                        np.interp(ratio[n], RATIOS, RATIOS * np.gradient(row, RATIOS))
                        for row in CURVES.power_coefficient
                    ],
                )
                for p in grid
            ]
        )
        # An error of the air speed moves the curve's point and the cube below the watts; then instruments and curves.
        variance = (lean - 3 * power[n]) ** 2 * (0.03**2 + 0.02**2) + curve**2 * (0.03**2 + 0.04**2)
        variance += 0.003**2 + (0.015 * power[n]) ** 2
        fits = np.flatnonzero((power[n] - curve) ** 2 <= 1.96**2 * variance)
        explained = bool(len(fits)) and used[n]
        assert found.explained[n] == explained
        ends = [grid[fits[0]], grid[fits[-1]]] if explained else [math.nan] * 2
        assert [found.low_deg[n], found.high_deg[n]] == pytest.approx(ends, nan_ok=True)
        assert found.more_than_any_pitch[n] == (used[n] and bool((power[n] > curve).all()))
    assert found.explained.tolist() == [True, False, False, False, True, True]
    assert found.more_than_any_pitch.tolist() == [False, True, False, False, False, False]
    assert np.isfinite(found.stalled_deg[0])
    assert np.isfinite(found.unstalled_deg[0])
    assert found.tip_speed_ratio is problem.rows.tip_speed_ratio
    assert found.power_coefficient is problem.rows.power_coefficient
    assert found.used is used


def test_rows_of_many_chunks_are_each_read_once():
    count = CHUNK + 3
    ratio = np.linspace(3.0, 6.0, count)
    told = []
    found = _row_by_row(problem_of(ratio, power_at(ratio, 8.0)), told.append)
    assert len(found.unstalled_deg) == count
    assert found.unstalled_deg == pytest.approx(np.full(count, 8.0), abs=0.2)
    assert told == pytest.approx([0.0, 0.2 * CHUNK / count])


def test_one_pitch_is_never_crossed():
    one = RotorCurves(RATIOS, np.array([3.0]), power_at(RATIOS, 3.0)[None], power_at(RATIOS, 3.0)[None])
    found = _row_by_row(problem_of([4.0, 5.0], [0.3, 0.3], curves=one), None)
    assert np.isnan(found.stalled_deg).all()
    assert np.isnan(found.unstalled_deg).all()


def fit_of(offsets, drifts, chi, *, errors=(0.0, 0.0, 0.0, 0.0), free=20, with_drift=True):
    surface = Surface(chi, offsets, drifts, np.array(errors))
    return PitchFit(surface, RowNoise(0.04, 0.02, power=1.21, correlation=0.3), free, with_drift)


def test_drift_is_all_that_fits_together():
    drifts, offsets = np.linspace(-3.0, 3.0, 61), np.arange(-1.0, 1.01, 0.5)
    two = np.minimum(parabola(drifts, -1.5, 0.3), 0.2 + parabola(drifts, 2.0, 0.3))
    chi = two[:, None] + parabola(offsets, 0.0, 0.1)[None, :]
    found = _drift(fit_of(offsets, drifts, chi), 1.0)
    assert found is not None
    assert found.estimate == pytest.approx(-1.5)
    assert found.low == pytest.approx(-1.8, abs=0.01)
    assert found.high == pytest.approx(2.0 + 0.3 * math.sqrt(0.8), abs=0.01)
    assert _drift(fit_of(offsets, drifts, chi, with_drift=False), 1.0) is None


def interpreted(middle, spread, *, dial=(1.0, 3.0), errors=(0.0,) * 4, free=20, used=None):
    count = len(dial) if dial is not None else 2
    ratio = np.full(count, 4.5)
    kept = np.ones(count, dtype=bool) if used is None else np.array(used)
    problem = problem_of(ratio, np.full(count, 0.3), dial=None if dial is None else np.array(dial), used=kept)
    offsets = _offsets_deg(problem)
    drifts = np.array([-1.0, 0.0, 1.0])
    chi = parabola(offsets, middle, spread)[None] + parabola(drifts, 0.0, 0.2)[:, None]
    result = _no_pitch(_row_by_row(problem, None), 0.8)
    return _interpreted(problem, fit_of(offsets, drifts, chi, errors=errors, free=free), result)


def test_pitch_is_the_offset_and_the_mean_dial_of_the_rows_used():
    found = interpreted(2.5, 0.5, dial=(1.0, 2.0, 50.0), used=(True, True, False))
    reach = _reach(20)
    assert found.offset_deg is not None
    assert found.pitch_deg is not None
    assert found.offset_deg.estimate == pytest.approx(2.5, abs=0.05)
    assert found.pitch_deg.estimate == pytest.approx(4.0, abs=0.05)
    assert found.pitch_deg.high - found.pitch_deg.low == pytest.approx(2 * 0.5 * reach, rel=0.03)
    assert found.scatter == pytest.approx(2 * 1.1)
    assert found.correlation == 0.3
    assert found.watts_ratio == 0.8
    assert found.branch == "unstalled"
    assert (found.at_edge, found.ends_at, found.other_deg, found.other_branch) == (False, (), None, None)
    assert found.drift_deg is not None
    few = interpreted(2.5, 0.5, free=7).pitch_deg  # the scatter is not learnt then: the normal's reach
    assert few is not None
    assert few.high - few.low == pytest.approx(2 * 0.5 * 1.96, rel=0.03)
    learnt = interpreted(2.5, 0.5, free=8).pitch_deg
    assert learnt is not None
    assert learnt.high - learnt.low == pytest.approx(2 * 0.5 * _reach(8), rel=0.03)


def test_without_a_dial_pitch_is_what_was_looked_at():
    found = interpreted(7.0, 0.5, dial=None)
    assert found.pitch_deg is not None
    assert found.pitch_deg.estimate == pytest.approx(7.0, abs=0.01)
    assert found.offset_deg is None


def test_shared_errors_beyond_reason_mean_that_no_pitch_explains_the_rows():
    assert interpreted(2.5, 0.5, errors=(2.0, 2.0, 2.0, 0.45)).pitch_deg is not None  # √12.25 is 3.5
    none = interpreted(2.5, 0.5, errors=(2.0, 2.0, 2.0, 0.6))
    assert none.pitch_deg is None
    assert none.scatter == pytest.approx(2.2)
    assert none.shared_errors.tolist() == [2.0, 2.0, 2.0, 0.6]


def test_ends_of_the_curves_that_cut_the_interval_are_named():
    low = interpreted(-6.0, 0.5)  # a dial of 2 on average: the pitch is at the curves' -4
    assert low.pitch_deg is not None
    assert low.pitch_deg.low == -4.0
    assert (low.at_edge, low.ends_at) == (True, (-4.0,))
    high = interpreted(10.0, 0.5)
    assert (high.at_edge, high.ends_at) == (True, (12.0,))
    both = interpreted(2.0, 10.0)
    assert (both.at_edge, both.ends_at) == (False, (-4.0, 12.0))
    near = interpreted(8.5, 1.0)
    assert (near.at_edge, near.ends_at) == (False, (12.0,))


def test_a_dial_that_counts_the_other_way_round_turns_every_angle():
    """A dial that shows 0 at feather and counts towards flat: reading = 90 − angle."""
    result = interpreted(2.5, 0.5)
    result = replace(
        result,
        other_deg=PitchInterval(-1.0, -2.0, 0.5),
        drift_deg=PitchInterval(0.5, -0.25, 1.0),
        ends_at=(-4.0, 12.0),
    )
    turned = _as_the_dial_reads(result, PitchConvention(zero_is="feather", positive_towards="flat"))
    for mine, its in ((turned.pitch_deg, result.pitch_deg), (turned.other_deg, result.other_deg)):
        assert mine is not None
        assert its is not None
        assert (mine.estimate, mine.low, mine.high) == pytest.approx((90 - its.estimate, 90 - its.high, 90 - its.low))
    for mine, its in ((turned.offset_deg, result.offset_deg), (turned.drift_deg, result.drift_deg)):
        assert mine is not None
        assert its is not None
        assert (mine.estimate, mine.low, mine.high) == pytest.approx((-its.estimate, -its.high, -its.low))
    assert turned.ends_at == (94.0, 78.0)
    assert turned.rows.stalled_deg == pytest.approx(90 - result.rows.stalled_deg, nan_ok=True)
    assert turned.rows.unstalled_deg == pytest.approx(90 - result.rows.unstalled_deg, nan_ok=True)
    assert turned.rows.low_deg == pytest.approx(90 - result.rows.high_deg, nan_ok=True)
    assert turned.rows.high_deg == pytest.approx(90 - result.rows.low_deg, nan_ok=True)
    empty = _as_the_dial_reads(replace(result, pitch_deg=None, drift_deg=None), PitchConvention())
    assert empty.pitch_deg is None
    assert empty.drift_deg is None
    assert empty.offset_deg == result.offset_deg


@pytest.mark.parametrize("connection", ["rectifier", "three_phase", "direct_current"])
def test_shaft_power_is_watts_and_every_loss(connection):
    """Joule's law in winding, leads and element, the diodes' volts times the current, friction and iron (hysteresis in
    proportion to speed, eddy currents by its square), and the belt."""
    chain = ElectricalChain(connection, 2.5, 0.9, 0.6, 1.6, 0.0, 4, 0.3, 0.0, 20.0, 0.4, 1.8, 0.25, 9.0)
    watts, speed = np.array([0.0, 400.0, 900.0, -5.0]), np.array([10.0, 40.0, 60.0, 5.0])
    found = shaft_power_w(chain, watts, speed)
    for n in range(4):
        turns = 2.5 * speed[n]
        thousand = 1000 * math.pi / 30
        iron = 20.0 * (0.6 * turns / thousand + 0.4 * (turns / thousand) ** 2)
        if connection == "three_phase":
            amps = math.sqrt(max(watts[n], 0.0) / 3 / 9.0)
            loss = 3 * amps**2 * (0.8 + 0.25)
        else:
            amps = math.sqrt(max(watts[n], 0.0) / 9.0)
            loss = amps**2 * (1.6 + 0.25) + (1.8 * amps if connection == "rectifier" else 0.0)
        assert found[n] == pytest.approx((watts[n] + loss + iron + 0.3 * turns) / 0.9)


def test_accuracies_from_the_scenario(van: Scenario):
    keys = {
        "air_speed_noise": 0.0392,
        "air_speed_calibration": 0.049,
        "power_accuracy": 0.0294,
        "thrust_accuracy": 0.098,
    }
    table = van.measurement.model_copy(update={k: Uncertain(v, v, v) for k, v in keys.items()})
    rotor = van.rotor.model_copy(
        update={
            "power_factor": Uncertain(0.8, 0.8 - 0.0784, 0.8 + 0.0784, "normal"),
            "thrust_factor": Uncertain(1.25, 1.25 - 0.147, 1.25 + 0.147, "normal"),
        }
    )
    found = accuracy_of(replace(van, measurement=table, rotor=rotor))
    assert found.air_speed_noise == pytest.approx(0.02, rel=1e-4)
    assert found.air_speed_calibration == pytest.approx(0.025, rel=1e-4)
    assert found.power == pytest.approx(0.015, rel=1e-4)
    assert found.curves == pytest.approx(0.04 / 0.8, rel=1e-4)
    assert found.thrust == pytest.approx(math.hypot(0.05, 0.075 / 1.25), rel=1e-4)
    assert found.power_and_curves == pytest.approx(math.hypot(0.015, 0.05), rel=1e-4)


def test_the_rows_of_a_file(tmp_path: Path):
    log = tmp_path / "log.csv"
    log.write_text(
        "time_s,air_speed_km_h,rotor_speed_rpm,electrical_power_w,dial_deg,thrust_n\n"
        "0,36,300,100,2,50\n10,,300,100,2,50\n20,72,600,0,4,\n30,54,,100,3,60\n"
    )
    rows = read_measured(log)
    assert rows.air_speed_m_s == pytest.approx([10, 20])
    assert rows.rotor_speed_rad_s == pytest.approx([10 * math.pi, 20 * math.pi])
    assert rows.electrical_power_w.tolist() == [100, 0]  # nothing is not negative
    assert rows.time_s is not None
    assert rows.time_s.tolist() == [0, 20]
    assert rows.dial_deg is not None
    assert rows.dial_deg.tolist() == [2, 4]
    assert rows.thrust_n is None  # one of the rows has none
    log.write_text("air_speed_m_s,rotor_speed_rpm,electrical_power_w\n10,,5\n,300,5\n")
    with pytest.raises(InputError, match=r"log\.csv: rows: none with air speed, rotor speed and watts together"):
        read_measured(log)
    log.write_text("air_speed_m_s,rotor_speed_rpm,electrical_power_w\n10,300,5\n-1,300,5\n10,-3,-4\n10,300,-9\n")
    with pytest.raises(InputError) as caught:
        read_measured(log)
    said = [(p.key, p.read) for p in caught.value.problems]
    assert said == [
        ("column air_speed", "-1, first in row 2 of the numbers"),
        ("column rotor_speed", "-0.314159, first in row 3 of the numbers"),
        ("column electrical_power", "-9, first in row 3 of the numbers"),
    ]
    assert [p.accepted for p in caught.value.problems] == ["0 or more"] * 3


def test_curves_that_can_tell_a_pitch(van: Scenario):
    assert curves_over_pitches(van) is van.curves
    assert van.curves is not None
    one = replace(
        van.curves,
        pitch_deg=van.curves.pitch_deg[:1],
        power_coefficient=van.curves.power_coefficient[:1],
        thrust_coefficient=van.curves.thrust_coefficient[:1],
    )
    with pytest.raises(InputError, match="no curves over several pitches"):
        curves_over_pitches(replace(van, curves=one))
    two = replace(
        van.curves,
        pitch_deg=van.curves.pitch_deg[:2],
        power_coefficient=van.curves.power_coefficient[:2],
        thrust_coefficient=van.curves.thrust_coefficient[:2],
    )
    assert curves_over_pitches(replace(van, curves=two)) is two
    with pytest.raises(InputError, match="no power coefficient above 0"):
        curves_over_pitches(replace(van, curves=replace(two, power_coefficient=0 * two.power_coefficient)))


def rows_at_work(van: Scenario, pitch: float) -> tuple[MeasuredRows, np.ndarray]:
    """Return noiseless rows of the scenario's own machine at a pitch, and its watts."""
    air = np.resize([12.0, 14.0, 16.0], 6)
    local = van.rotor.local_speed_factor.value
    work = turbine_at_work(inputs_of(van, {"trip.road_speed": air / local, "rotor.pitch": np.full(6, pitch)}))
    watts = np.asarray(work.electrical.element_w)  # type: ignore[union-attr]
    return MeasuredRows(air, np.asarray(work.rotor_speed_rad_s), watts), watts


def test_the_scenario_s_own_rows_give_its_own_pitch_and_watts(van: Scenario):
    rows, watts = rows_at_work(van, 9.0)
    told = []
    found = true_pitch_of(van, rows, told.append)
    assert found.pitch_deg is not None
    assert found.pitch_deg.estimate == pytest.approx(9.0, abs=0.15)
    assert found.watts_ratio == pytest.approx(1.0)
    assert told[-1] == 1.0
    # 30 % fewer watts than the generator gives at that speed are told as such; rows with next to none are not asked.
    fewer = replace(rows, electrical_power_w=0.7 * watts)
    assert true_pitch_of(van, fewer).watts_ratio == pytest.approx(0.7)
    slow = replace(fewer, rotor_speed_rad_s=np.where(np.arange(6) < 4, 4.0, rows.rotor_speed_rad_s))
    assert true_pitch_of(van, slow).watts_ratio == pytest.approx(0.7)
    assert math.isnan(true_pitch_of(van, replace(fewer, rotor_speed_rad_s=np.zeros(6))).watts_ratio)


def test_factors_of_the_rotor_and_air_in_the_open_are_taken_into_account(van: Scenario):
    """With a power factor f the curves give f times the power: the same rows at f times the watts' share."""
    rows, _ = rows_at_work(van, 9.0)
    local = van.rotor.local_speed_factor.value
    free = van.measurement.model_copy(update={"air_speed_at": "free_air"})
    found = true_pitch_of(replace(van, measurement=free), replace(rows, air_speed_m_s=rows.air_speed_m_s / local))
    assert found.rows.tip_speed_ratio == pytest.approx(true_pitch_of(van, rows).rows.tip_speed_ratio)
    weak = van.rotor.model_copy(
        update={"power_factor": Uncertain(0.8, 0.8, 0.8), "thrust_factor": Uncertain(0.5, 0.5, 0.5)}
    )
    other, _ = rows_at_work(replace(van, rotor=weak), 9.0)
    again = true_pitch_of(replace(van, rotor=weak), other)
    assert again.pitch_deg is not None
    assert again.pitch_deg.estimate == pytest.approx(9.0, abs=0.2)
    assert van.curves is not None
    ratio = other.rotor_speed_rad_s * 0.9 / other.air_speed_m_s
    thrust = [
        0.5
        * np.interp(
            9.0,
            van.curves.pitch_deg,
            [np.interp(r, van.curves.tip_speed_ratio, c) for c in van.curves.thrust_coefficient],
        )
        for r in ratio
    ]
    density = float(inputs_of(van).density_kg_m3)
    pushed = replace(other, thrust_n=np.array(thrust) * 0.5 * density * math.pi * 0.81 * other.air_speed_m_s**2)
    by_thrust = true_pitch_of(replace(van, rotor=weak), pushed)
    if not van.curves.thrust_is_estimated:
        assert np.abs(by_thrust.shared_errors).max() < 0.3


def test_limits_that_the_rows_or_the_pitch_break(van: Scenario):
    rows, watts = rows_at_work(van, 9.0)
    result = replace(true_pitch_of(van, rows), pitch_deg=PitchInterval(9.0, 8.0, 10.0))
    speed = float(np.max(rows.rotor_speed_rad_s))
    low = van.rotor.model_copy(update={"highest_rotor_speed": Uncertain(speed * 0.99, speed * 0.99, speed * 0.99)})
    rated = van.heater.model_copy(update={"rated_power": Uncertain(*[0.999 * float(watts.max())] * 3)})
    found = _limited(replace(van, rotor=low, heater=rated), rows, rows.air_speed_m_s, result)
    assert [one.key for one in found.broken_read] == ["rotor.highest_rotor_speed", "heater.rated_power"]
    assert found.broken_read[0].value == pytest.approx(speed)
    assert found.broken_read[1].value == pytest.approx(float(watts.max()))
    # At the pitch found, in the fastest air but one row in a hundred: the scenario's own chain at that road speed.
    air = float(np.quantile(rows.air_speed_m_s, 0.99))
    draws = {
        "trip.road_speed": np.array(air / van.rotor.local_speed_factor.value),
        "air.wind_speed": np.array(0.0),
        "rotor.pitch": np.array(9.0),
    }
    expected = float(turbine_at_work(inputs_of(van, draws)).rotor_speed_rad_s)
    assert {one.key for one in found.broken_at_pitch} >= {"rotor.highest_rotor_speed"}
    said = next(one for one in found.broken_at_pitch if one.key == "rotor.highest_rotor_speed")
    assert said.value == pytest.approx(expected)
    none = _limited(replace(van, rotor=low), rows, rows.air_speed_m_s, replace(result, pitch_deg=None))
    assert none.broken_at_pitch == ()
    assert [one.key for one in none.broken_read] == ["rotor.highest_rotor_speed"]
    unknown = _limited(replace(van, rotor=low), rows, np.full(6, np.nan), result)
    assert unknown.broken_at_pitch == ()
    pushed = replace(rows, thrust_n=np.array([np.nan, 2600.0, 10.0, 10.0, 10.0, 10.0]))
    thrust = _limited(van, pushed, rows.air_speed_m_s, result).broken_read
    assert [(one.key, one.value) for one in thrust] == [("rotor.highest_thrust", 2600.0)]
    assert _limited(van, replace(rows, thrust_n=np.full(6, np.nan)), rows.air_speed_m_s, result).broken_read == ()


def test_a_file_tells_its_share_of_the_work(demos: Path, van: Scenario):
    told: list[float] = []
    found, rows = true_pitch_of_file(van, demos / "van_water_tank" / "measured.csv", told.append)
    assert told == sorted(told)
    assert 0.5 in told
    assert told[-1] == 1.0
    assert len(found.rows.low_deg) == len(rows.air_speed_m_s)
    assert load(demos / "van_water_tank" / "scenario.toml").name == van.name
