"""Coast-downs once more by hand: what is cut and why, and the fit over pairs of invented runs whose truth is known.

Least squares of a line in closed form; Student's t over pairs and Welch's t between directions from statistics texts;
the limits are our own choice, met from both sides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from vehicle.driving import coast_cuts, coastdown
from vehicle.driving.coast_cuts import deceleration_m_s2, without_braking
from vehicle.driving.coast_run import CoastRun
from vehicle.driving.coastdown import fit_coastdown
from vehicle.problems import InputError
from vehicle.quantity import Estimate

MASS = 1400.0


def line_run(rate: float, *, start: float = 30.0, seconds: int = 80, sign: int = 1, name: str = "r") -> CoastRun:
    """Return a run that slows evenly, a row a second."""
    time = np.arange(float(seconds + 1))
    return CoastRun(name, time, start - rate * time, sign)


def slope_by_hand(time: Sequence[float], speed: Sequence[float]) -> float:
    n, t, v = len(time), sum(time) / len(time), sum(speed) / len(time)
    over = sum((a - t) ** 2 for a in time)
    return -sum((time[k] - t) * (speed[k] - v) for k in range(n)) / over if over else math.nan


def test_how_much_it_slows_row_by_row() -> None:
    rng = np.random.default_rng(2)
    time = np.array([0.0, 1, 2, 3, 3.5, 6, 7, 9.9, 13, 14, 16, 17, 30])
    speed = 30 - 0.5 * time + rng.normal(0, 0.2, time.size)
    found = deceleration_m_s2(CoastRun("x", time, speed, 1))
    for row, at in enumerate(time.tolist()):
        near = [k for k in range(time.size) if abs(float(time[k]) - at) <= 3]  # three seconds to either side
        expected = slope_by_hand([float(time[k]) for k in near], [float(speed[k]) for k in near])
        assert found[row] == pytest.approx(expected, nan_ok=True)
    assert np.isnan(found[-1])


def test_room_for_rounded_speeds() -> None:
    # 0.07 m/s², or five deviations of a slope over three seconds either way of speeds rounded to a step q:
    # q/sqrt(12) over the root of the sum of t².
    fine = line_run(0.5)
    assert coast_cuts._room(fine) == pytest.approx(max(0.07, 5 * 0.5 / math.sqrt(12) / math.sqrt(28)))
    coarse = replace(fine, speed_m_s=np.round(fine.speed_m_s / 2) * 2)
    assert coast_cuts._room(coarse) == pytest.approx(5 * 2 / math.sqrt(12) / math.sqrt(2 * (1 + 4 + 9)))
    slow = CoastRun("x", np.arange(0.0, 40, 1.4), 30 - np.floor(np.arange(0.0, 40, 1.4)), 1)  # rows 1.4 s apart: 5 of 7
    step = float(np.diff(np.unique(slow.speed_m_s)).min())
    assert coast_cuts._room(slow) == pytest.approx(5 * step / math.sqrt(12) / math.sqrt(1.4**2 * (1 + 4) * 2))
    assert coast_cuts._room(replace(fine, speed_m_s=np.full(81, 20.0))) == 0.07
    assert coast_cuts._room(line_run(0.01)) == 0.07


def straight(speed: list[float], rates: list[float]) -> tuple[float, float]:
    """Return a and c of a + c v² by least squares, c no less than 0."""
    squares = [v * v for v in speed]
    c = -slope_by_hand(squares, rates)
    if not c > 0:
        return sum(rates) / len(rates), 0.0
    return sum(rates) / len(rates) - c * sum(squares) / len(squares), c


def usual_by_hand(runs: list[CoastRun], slopes: list[np.ndarray], sign: int) -> tuple[float, float] | None:
    mine = [k for k, run in enumerate(runs) if run.direction == sign]
    heaps: dict[int, list[float]] = {}
    for k in mine:
        bins: dict[int, list[float]] = {}
        for v, rate in zip(runs[k].speed_m_s.tolist(), slopes[k].tolist(), strict=True):
            bins.setdefault(int(v // 2), []).append(rate)  # bins of 2 m/s
        for number, rates in bins.items():
            good = [rate for rate in rates if not math.isnan(rate)]
            if good:
                heaps.setdefault(number, []).append(float(np.median(good)))
    known = sorted(number for number, rates in heaps.items() if len(rates) >= max(1, len(mine) // 2))
    if len(known) < 4:
        return None
    speed = [2 * number + 1.0 for number in known]
    usual = [float(np.quantile(heaps[number], 0.4)) for number in known]
    falling = [min(usual[k:]) for k in range(len(usual))]
    from_speed = speed[-1] - 0.6 * (speed[-1] - speed[0])  # the upper six tenths
    upper = [k for k, v in enumerate(speed) if v >= from_speed]
    a, c = straight([speed[k] for k in upper], [falling[k] for k in upper])
    near = [k for k, v in enumerate(speed) if abs(usual[k] - a - c * v * v) < 0.07]
    return straight([speed[k] for k in near], [usual[k] for k in near]) if len(near) >= 4 else (a, c)


@pytest.mark.parametrize("seed", range(6))
def test_what_is_usual_in_a_direction(seed: int) -> None:
    rng = np.random.default_rng(seed)
    runs, slopes = [], []
    for number in range(6):
        top, low = rng.uniform(22, 31), rng.uniform(4, 16)
        speed = np.linspace(top, low, 40)
        rate = 0.12 + 4e-4 * speed**2 + rng.normal(0, 0.03, 40) + 0.5 * (speed < rng.uniform(3, 14))
        rate[rng.integers(0, 40)] = np.nan
        runs.append(CoastRun("x", np.arange(40.0), speed, 1 if number < 4 else -1))
        slopes.append(rate)
    if seed == 5:  # hardly any air: c is held at 0
        slopes = [0.3 - 1e-4 * run.speed_m_s**2 for run in runs]
    for sign in (1, -1):
        found, expected = coast_cuts._usual(runs, slopes, sign), usual_by_hand(runs, slopes, sign)
        assert found is not None
        assert expected is not None
        assert (found.a, found.c) == pytest.approx(expected, abs=1e-6)
        assert found.at(np.array([0.0, 20.0])) == pytest.approx(
            [expected[0], expected[0] + 400 * expected[1]], abs=1e-4
        )


def test_four_bins_of_speed_are_usual_and_three_are_not() -> None:
    for top, known in ((7.9, True), (5.9, False)):
        run = CoastRun("x", np.arange(30.0), np.linspace(top, 0.1, 30), 1)
        found = coast_cuts._usual([run], [np.full(30, 0.2)], 1)
        assert (found is not None) == known
        if found is not None:
            assert (found.a, found.c) == pytest.approx((0.2, 0.0), abs=1e-9)


USUAL = coast_cuts._Usual(0.2, 0.0)


@pytest.mark.parametrize(
    ("first", "last", "cut"),
    # rows a second apart: two seconds from the first braked row to the last are braking, one is none
    [(30, 31, False), (30, 32, True), (10, 40, True), (60, 79, True)],
)
def test_what_is_cut_of_a_run(first: int, last: int, cut: bool) -> None:
    run = line_run(0.3, seconds=79)
    slope = np.full(80, 0.2)
    slope[first : last + 1] = 0.2 + coast_cuts._room(run) + 0.01
    piece, said = coast_cuts._cut(run, slope, USUAL, 4.0)
    if not cut:
        assert (piece, said) == (run, "")
        return
    # 1.5 s more to either side go with it: one row; of what is left the stretch over more speed stays, from its own 0 s
    begin, end = first - 1, min(last + 1, 79)
    keep = (0, begin) if begin > 79 - end else (end + 1, 80)
    assert piece is not None
    assert piece.time_s == pytest.approx(np.arange(keep[1] - keep[0]))
    assert piece.speed_m_s == pytest.approx(30 - 0.3 * np.arange(*keep))
    assert (piece.name, piece.direction) == ("r", 1)
    fast, slow = (3.6 * (30 - 0.3 * row) for row in (begin, end))
    assert said == f"r: braking cut, {last - first} s at {fast:.0f} to {slow:.0f} km/h"


@pytest.mark.parametrize(
    ("rows_left", "least_m_s", "kept"),
    # eight seconds are nine rows; over 0.3 m/s² they lose 2.4 m/s
    [(9, 2.39, True), (9, 2.41, False), (8, 1.0, False)],
)
def test_how_much_has_to_be_left_of_a_run(rows_left: int, least_m_s: float, kept: bool) -> None:
    run = line_run(0.3, seconds=60)
    slope = np.full(61, 0.2)
    slope[rows_left + 1 :] = 5.0
    piece, said = coast_cuts._cut(run, slope, USUAL, least_m_s)
    assert (piece is not None) == kept
    if kept:
        assert piece is not None
        assert piece.time_s.size == rows_left
    else:
        assert said.startswith(f"r: left out, braked for {60 - rows_left - 1} s at ")


def test_a_run_that_is_braked_all_along_is_left_out() -> None:
    run = line_run(0.3, seconds=60)
    assert coast_cuts._cut(run, np.full(61, 5.0), USUAL, 1.0)[0] is None
    # at the limit itself it is not braked
    limit = USUAL.at(run.speed_m_s) + coast_cuts._room(run)
    assert coast_cuts._cut(run, limit, USUAL, 1.0) == (run, "")


@pytest.mark.parametrize(
    ("spreads", "odd"),
    [
        # five times the floor of 0.006 are 0.03 m/s²
        ([0.0, 0.0, 0.0, 0.0, 0.029], []),
        ([0.0, 0.0, 0.0, 0.0, 0.031], [4]),
        ([0.0, 0.0, 0.0, 0.0, -0.031], [4]),
        # four are too few to judge by
        ([0.0, 0.0, 0.0, 0.5], []),
        # a median of 0.02 from the middle: 5 · 1.4826 · 0.02 = 0.148
        ([-0.02, 0.0, 0.02, 0.02, -0.02, 0.0, 0.147, -0.147, 0.02], []),
        ([-0.02, 0.0, 0.02, 0.02, -0.02, 0.0, 0.150, -0.147, 0.02], [6]),
    ],
)
def test_runs_unlike_the_others(spreads: list[float], odd: list[int]) -> None:
    runs = [line_run(0.25 + more, seconds=40, name=f"r{k}") for k, more in enumerate(spreads)]
    found, said = coast_cuts._odd(runs, {1: USUAL})
    assert found == {id(runs[k]) for k in odd}
    assert len(said) == len(odd)
    for k, text in zip(odd, said, strict=True):
        way = "more" if spreads[k] > 0 else "less"
        assert text.startswith(f"r{k}: left out, it slows by {abs(spreads[k]):.2f} m/s² {way} than the other runs")


def test_each_direction_has_its_own_middle() -> None:
    ahead = [line_run(0.25, seconds=40) for _ in range(3)]
    back = [line_run(0.45, seconds=40, sign=-1) for _ in range(3)]
    unknown = coast_cuts._Usual(0.4, 0.0)
    assert coast_cuts._odd([*ahead, *back], {1: USUAL, -1: unknown}) == (set(), [])
    strange = line_run(0.55, seconds=40, sign=-1)
    assert coast_cuts._odd([*ahead, *back, strange], {1: USUAL, -1: unknown})[0] == {id(strange)}
    # a direction of which nothing is known is not judged
    assert coast_cuts._odd([*ahead, *back, strange], {1: USUAL, -1: None})[0] == set()


def test_notes_are_passed_on_and_short_runs_are_kept() -> None:
    short = [replace(line_run(0.25, start=5.0, seconds=4, sign=s), note="cut short") for s in (1, -1)]
    clean = without_braking(short)
    assert (clean.runs, clean.remarks) == (tuple(short), ("r: cut short", "r: cut short"))


@pytest.mark.parametrize(
    ("start", "rate", "seconds", "second", "kept"),
    # Five runs that lose 24.6 m/s: what is left of the braked one, 0.2 m/s a second up to 5 s before it brakes, has to
    # be four tenths of that, 9.84 m/s; where they lose 8 m/s it has to be 4 m/s all the same.
    [(30.0, 0.2, 123, 54, False), (30.0, 0.2, 123, 55, True), (14.0, 0.1, 80, 44, False), (14.0, 0.1, 80, 46, True)],
)
def test_how_much_a_piece_has_to_lose(start: float, rate: float, seconds: int, second: int, kept: bool) -> None:
    runs = [line_run(rate, start=start, seconds=seconds, name=f"r{k}") for k in range(5)]
    speed = runs[4].speed_m_s.copy()
    for row in range(second, seconds + 1):
        speed[row] = max(speed[row - 1] - 0.9, 0.01)
    clean = without_braking([*runs[:4], replace(runs[4], speed_m_s=speed)])
    assert (len(clean.runs) == 5) == kept
    assert ("braking cut" if kept else "left out") in clean.remarks[0]


# The fit


def rolled(a: float, b: float, c: float, wind: float, grade: float, sign: int, name: str = "x") -> CoastRun:
    """Return a run from 31 m/s to 7 m/s, a row a second, by Runge and Kutta's fourth order."""

    def rate(v: float) -> float:
        air = v + sign * wind
        return -(a + b * v + c * air * abs(air) + sign * MASS * 9.80665 * grade) / (1.03 * MASS)

    speed = [31.0]
    while speed[-1] > 7:
        v = speed[-1]
        for _ in range(4):
            k1 = rate(v)
            k2 = rate(v + 0.125 * k1)
            k3 = rate(v + 0.125 * k2)
            v += 0.25 / 6 * (k1 + 2 * k2 + 2 * k3 + rate(v + 0.25 * k3))
        speed.append(v)
    return CoastRun(name, np.arange(float(len(speed))), np.array(speed), sign)


TRUTHS = [
    (150.0, 1.5, 0.45, 1.5, 0.0010),
    (158.0, 1.1, 0.46, 0.9, 0.0012),
    (146.0, 1.8, 0.43, 2.2, 0.0009),
]


def test_a_fit_over_pairs_whose_truth_is_known() -> None:
    runs = [rolled(*truth, sign) for truth in TRUTHS for sign in (1, -1)]
    surplus = rolled(*TRUTHS[0], 1)
    found = fit_coastdown([*runs, surplus], MASS, level=0.9)
    a, b, c, wind, grade = np.array(TRUTHS).T
    quantile = float(stats.t(2).ppf(0.95))

    def same(estimate: Estimate, values: np.ndarray, near: float) -> None:
        half = quantile * float(np.std(values, ddof=1)) / math.sqrt(3)
        mean = float(values.mean())
        assert estimate.level == 0.9
        expected = [mean - half, mean, mean + half]
        assert [estimate.low, estimate.estimate, estimate.high] == pytest.approx(expected, abs=near)

    same(found.a_n, a, 0.4)
    same(found.b_n_s_m, b, 0.05)
    same(found.c_n_s2_m2, c, 0.0015)
    low, high = min(float(run.speed_m_s.min()) for run in runs), 31.0
    assert found.speeds_m_s == pytest.approx([low + k * (high - low) / 4 for k in range(5)])
    for v, force in zip(found.speeds_m_s, found.force_n, strict=True):
        same(force, a + b * v + c * v * v, 0.3)
    assert found.head_wind_m_s == pytest.approx(float((c * wind).sum() / c.sum()), abs=0.01)
    assert found.grade == pytest.approx(float(grade.mean()), rel=0.01)
    assert found.residual_m_s < 2e-3
    assert (found.runs, found.pairs, found.mass_kg, found.level) == (6, 3, MASS, 0.9)
    assert (found.remarks, found.unusable) == ((), "")
    assert [id(run) for run in found.used] == [id(run) for run in runs]
    assert [text.split(":")[0] for text in found.warnings] == [
        "3 pairs of coast-downs",
        "4 coast-downs one way and 3 the other",
    ]


def test_what_a_fit_leaves_and_what_turns_with_the_wheels() -> None:
    # Speeds a tenth too high and too low in turn: the fit leaves a tenth. Without rotating mass 1/1.03 of the force.
    runs = [rolled(*TRUTHS[0], sign) for sign in (1, -1)] * 2
    rough = [replace(run, speed_m_s=run.speed_m_s + 0.1 * (-1) ** np.arange(run.time_s.size)) for run in runs]
    assert fit_coastdown(rough, MASS).residual_m_s == pytest.approx(0.1, rel=0.05)
    light = fit_coastdown(runs, MASS, rotating_mass=0.0)
    heavy = fit_coastdown(runs, MASS)
    assert light.a_n.estimate == pytest.approx(heavy.a_n.estimate / 1.03, rel=2e-3)
    assert light.force_n[2].estimate == pytest.approx(heavy.force_n[2].estimate / 1.03, rel=1e-4)
    assert heavy.level == 0.95


def test_the_first_guess_by_differences_of_speed() -> None:
    # Speeds that fall by exactly (150 + 0.4 v² ± 20 N) / 1442 kg over 4 s, v the middle of both ends.
    def made(a: float, c: float, sign: int, between: float = 1.0) -> CoastRun:
        speed = [31.0]
        while len(speed) < 20:
            v = speed[-1]
            for _ in range(60):
                after = speed[-1] - 4 * (a + c * ((v + speed[-1]) / 2) ** 2 + sign * 20) / 1442
                v = after
            speed.append(v)
        rows = np.arange(0, 76.5, between)
        return CoastRun("x", rows, np.interp(rows, 4.0 * np.arange(20), speed), sign)

    for between in (1.0, 0.5, 2.0):
        guess = coastdown._first_guess([made(150, 0.4, sign, between) for sign in (1, -1)], 1442.0)
        assert guess == pytest.approx([150, 0.5, 0.4, 0, 20], rel=1e-6)
    # Never below 10 N, nor 0.05 N s²/m².
    assert coastdown._first_guess([made(5, 0.4, sign) for sign in (1, -1)], 1442.0)[0] == 10
    assert coastdown._first_guess([made(250, 0.0, sign) for sign in (1, -1)], 1442.0)[2] == 0.05
    # a run of fewer rows than one such step is passed over
    stub = CoastRun("x", np.arange(3.0), np.array([9.0, 8, 7]), 1)
    both = [made(150, 0.4, sign) for sign in (1, -1)]
    assert coastdown._first_guess([stub, *both], 1442.0) == pytest.approx([150, 0.5, 0.4, 0, 20], rel=1e-6)


def test_wind_and_drag_are_held_to_what_can_be() -> None:
    # 8.8 m/s, a tenth more than is believed, and a drag area of 0.1 m² at 1.2 kg/m³: 0.06 N s²/m² (own choice).
    windy = [rolled(150.0, 1.5, 0.45, -12.0, 0.001, sign) for sign in (1, -1)]
    assert coastdown._fit(windy, 1442.0, None)[0][3] == pytest.approx(-8.8, abs=1e-3)
    windy = [rolled(150.0, 1.5, 0.45, 12.0, 0.001, sign) for sign in (1, -1)]
    assert coastdown._fit(windy, 1442.0, None)[0][3] == pytest.approx(8.8, abs=1e-3)
    slick = [rolled(250.0, 2.0, 0.03, 1.0, 0.001, sign) for sign in (1, -1)]
    assert coastdown._fit(slick, 1442.0, None)[0][2] == pytest.approx(0.06, abs=1e-4)


def test_students_t_over_pairs() -> None:
    found = coastdown._over_pairs(np.array([1.0, 2.0, 4.0, 5.0]), 0.95)
    # mean 3, deviation sqrt(10/3), t of three degrees of freedom 3.1824 (tables)
    half = 3.18245 * math.sqrt(10 / 3) / 2
    assert [found.low, found.estimate, found.high] == pytest.approx([3 - half, 3, 3 + half], abs=1e-4)


# What is refused, and what is warned of


@pytest.mark.parametrize(
    ("ahead", "back", "said"),
    [
        (2, 2, ""),
        (1, 2, "1 one way and 2 the other; x"),
        (2, 1, "2 one way and 1 the other; x"),
        (3, 0, "3 one way and 0 the other; one direction cannot part wind and grade from the road load; x"),
        (0, 0, "0 one way and 0 the other; x"),
    ],
)
def test_two_runs_each_way_at_least(ahead: int, back: int, said: str) -> None:
    runs = [line_run(0.25)] * ahead + [line_run(0.25, sign=-1)] * back
    if not said:
        assert [len(some) for some in coastdown._both_ways(runs)] == [2, 2]
        return
    with pytest.raises(InputError) as caught:
        coastdown._both_ways(runs, ["x"])
    assert said in str(caught.value)
    assert "at least two each way" in str(caught.value)


def test_twenty_km_h_from_top_to_bottom() -> None:
    for km_h, enough in ((20.01, True), (19.99, False)):
        run = CoastRun("x", np.arange(3.0), np.array([10 + km_h / 3.6, 12.0, 10.0]), 1)
        if enough:
            assert coastdown._span_m_s([run]) == pytest.approx((10, 10 + km_h / 3.6))
            continue
        with pytest.raises(InputError, match=r"speeds from 36 to 56 km/h.*at least 20 km/h"):
            coastdown._span_m_s([run])


@pytest.mark.parametrize(
    ("a", "b", "c", "wind", "said"),
    [
        (100.0, (-1.0, 1.0), 0.4, 8.0, ""),
        (100.0, (-1.0, 1.0), 0.4, 8.1, "the runs fit only with a wind of 8 m/s along the road"),
        (100.0, (-1.0, 1.0), 0.4, -8.6, "the runs fit only with a wind of 9 m/s along the road"),
        (0.0, (-1.0, 1.0), 0.4, 0.0, "A or C is not above zero"),
        (100.0, (-1.0, 1.0), 0.0, 0.0, "A or C is not above zero"),
        (0.01, (-1.0, 0.0), 0.001, 0.0, ""),
        (100.0, (-3.0, -0.1), 0.4, 0.0, "B is below zero (-1.6 N/(m/s)) with its whole interval"),
    ],
)
def test_coefficients_of_no_vehicle(a: float, b: tuple[float, float], c: float, wind: float, said: str) -> None:
    ends = Estimate((b[0] + b[1]) / 2, b[0], b[1], 0.95)
    assert coastdown._unusable(Estimate(a, a, a, 0.95), ends, Estimate(c, c, c, 0.95), wind) == said


def test_warnings_by_their_limits() -> None:
    run = line_run(0.25)
    assert coastdown._warnings_of_runs([run] * 8, [run] * 8) == []
    assert coastdown._warnings_of_runs([run] * 7, [run] * 8)[0].startswith("7 pairs of coast-downs: 8 each way")
    assert coastdown._warnings_of_runs([run] * 9, [run] * 8) == [
        "9 coast-downs one way and 8 the other: the surplus is not used"
    ]
    for low, high, warned in ((-0.1, 0.1, True), (0.1, 0.3, False), (-0.3, -0.1, False)):
        assert bool(coastdown._warnings_of_fit(Estimate((low + high) / 2, low, high, 0.95))) == warned


@pytest.mark.parametrize(("apart", "shown"), [(3.05, True), (2.95, False), (-3.05, True)])
def test_directions_that_are_assumed_have_to_show(apart: float, shown: bool) -> None:
    # Welch's t of 3: one way 0.28, 0.30, 0.32 m/s², the other 0.01 and −0.03, 0 and 0.03 about the middle; all runs
    # from 30 m/s for 40 s or so, judged between the speeds that all of them passed.
    spread = np.array([-0.02, 0.0, 0.02])
    other = np.array([-0.03, 0.0, 0.03])
    error = math.sqrt(spread.var(ddof=1) / 3 + other.var(ddof=1) / 3)
    runs = [replace(line_run(0.3 + d, seconds=40), assumed=True) for d in spread]
    runs += [replace(line_run(0.3 + apart * error + d, seconds=40, sign=-1), assumed=True) for d in other]
    if shown:
        coastdown._check_directions(runs)
        return
    with pytest.raises(InputError, match="no direction in the logs") as caught:
        coastdown._check_directions(runs)
    assert '"+-+-+-"' in str(caught.value)
    coastdown._check_directions([replace(run, assumed=False) for run in runs])
    # one that is assumed is enough to ask
    with pytest.raises(InputError):
        coastdown._check_directions([*(replace(run, assumed=False) for run in runs[1:]), runs[0]])


def test_directions_are_judged_where_all_runs_were() -> None:
    # Above 22 m/s, where only some were, they brake: that shows no direction.
    def two_rates(high: float, low: float, sign: int, start: float) -> CoastRun:
        speed = [start]
        while speed[-1] > 10:
            speed.append(speed[-1] - (high if speed[-1] > 24 else low))
        return CoastRun("x", np.arange(float(len(speed))), np.array(speed), sign, assumed=True)

    rates = (0.29, 0.30, 0.31)
    runs = [two_rates(0.9, r, 1, 30.0) for r in rates] + [two_rates(0.3, r, -1, 20.0) for r in rates]
    with pytest.raises(InputError, match="no direction"):
        coastdown._check_directions(runs)
    # Where they share no two metres a second, everything counts: here it does show.
    apart = [two_rates(0.9, r, 1, 30.0) for r in rates] + [two_rates(0.3, r, -1, 11.5) for r in rates]
    coastdown._check_directions(apart)


def test_a_mass_is_above_zero() -> None:
    runs = [line_run(0.25), line_run(0.27, sign=-1)] * 2
    for mass in (0.0, -1.0, math.nan):
        with pytest.raises(InputError, match="a mass above zero"):
            fit_coastdown(runs, mass)
