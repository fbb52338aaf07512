"""Road load found again from simulated coast-downs, in wind, on a grade, logged in whole km/h."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests_support import of_study

from vehicle.driving.coast_run import CoastRun
from vehicle.driving.coastdown import fit_coastdown
from vehicle.logs.coast_runs import coast_runs
from vehicle.logs.read import read_log
from vehicle.problems import InputError

TRUE = (150.0, 1.5, 0.45)
MASS = 1400.0


def drive(path: Path, count: int, seed: int, wind: float = 1.5, grade: float = 0.001) -> Path:
    """Write a log of coast-downs from about 108 to 22 km/h, alternating in direction, one row a second."""
    draw = np.random.default_rng(seed)
    a, b, c = TRUE
    rows, t = [], 0
    for number in range(count):
        sign, gust = (1 if number % 2 == 0 else -1), wind + draw.normal(0, 0.3)
        v, phase = float(draw.uniform(0, 1)), "up"
        while True:
            if phase == "up":
                v, rpm, throttle = v + 1.5, 2000, 40
                phase = "roll" if v > 30 else "up"
            elif phase == "roll":
                for _ in range(10):
                    air = v + sign * gust
                    v -= 0.1 * (a + b * v + c * air * abs(air) + sign * MASS * 9.80665 * grade) / (1.03 * MASS)
                rpm, throttle = 800, 15
                phase = "brake" if v < 6 else "roll"
            else:
                v, rpm, throttle = v - 2, 800, 15
                if v <= 0:
                    break
            rows.append(f"{t},{round(3.6 * v)},{rpm},{throttle}")
            t += 1
    path.write_text("time,speed,rpm,throttle\n" + "\n".join(rows) + "\n")
    return path


def exact(sign: int, wind: float = 1.5, grade: float = 0.001) -> CoastRun:
    a, b, c = TRUE
    times, speeds, v, step = [], [], 30.0, 0
    while v > 7:
        if step % 100 == 0:
            times.append(step / 100)
            speeds.append(v)
        air = v + sign * wind
        v -= 0.01 * (a + b * v + c * air * abs(air) + sign * MASS * 9.80665 * grade) / (1.03 * MASS)
        step += 1
    return CoastRun("exact", np.array(times), np.array(speeds), sign)


def test_exact_runs_give_the_exact_road_load():
    fit = fit_coastdown([exact(1), exact(-1)] * 2, MASS)
    assert (fit.a_n.estimate, fit.b_n_s_m.estimate, fit.c_n_s2_m2.estimate) == pytest.approx(TRUE, rel=2e-3)
    assert fit.head_wind_m_s == pytest.approx(1.5, abs=0.01)
    assert fit.grade == pytest.approx(0.001, rel=0.01)


def test_intervals_hold_the_truth(tmp_path):
    covered, (seeds, least) = np.zeros(4), of_study((8, 7), (20, 16))
    for seed in range(seeds):
        runs = coast_runs(read_log(drive(tmp_path / "log.csv", 8, seed)))
        assert len(runs) == 8
        fit = fit_coastdown(runs, MASS)
        v = fit.speeds_m_s[2]
        truths = (*TRUE, TRUE[0] + TRUE[1] * v + TRUE[2] * v * v)
        found = (fit.a_n, fit.b_n_s_m, fit.c_n_s2_m2, fit.force_n[2])
        covered += [one.low <= truth <= one.high for one, truth in zip(found, truths, strict=True)]
        assert fit.force_n[2].estimate == pytest.approx(truths[3], rel=0.02)
    assert (covered >= least).all(), covered


def test_too_little_is_refused(tmp_path):
    log = read_log(drive(tmp_path / "log.csv", 3, 1))
    with pytest.raises(InputError, match="at least two each way"):
        fit_coastdown(coast_runs(log), MASS)
    with pytest.raises(InputError, match="directions"):
        coast_runs(log, [1, -1])
    with pytest.raises(InputError, match="mass"):
        fit_coastdown([exact(1), exact(-1)] * 2, 0.0)
    few = fit_coastdown([exact(1), exact(-1)] * 2, MASS)
    assert any("8 each way" in text for text in few.warnings)


def test_a_b_that_may_be_nought_is_said_and_no_other(tmp_path):
    fits = [fit_coastdown([exact(1), exact(-1)] * 2, MASS)]
    fits += [fit_coastdown(coast_runs(read_log(drive(tmp_path / "log.csv", 8, seed))), MASS) for seed in range(3)]
    nought = [one.b_n_s_m.low < 0 < one.b_n_s_m.high for one in fits]
    assert set(nought) == {True, False}
    assert [any("B is not different from zero" in text for text in one.warnings) for one in fits] == nought
