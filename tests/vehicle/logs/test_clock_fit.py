"""Clocks that drift and rotors that lag: a drive, a rotor on it and its meter, invented, by a simulator of its own."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from tests_support import of_study

from energy.commands.join import command
from tests.vehicle.lying_sensors import wandering_speed
from vehicle.logs.clock_fit import ClockFit
from vehicle.logs.join import join_second_log

OFFSET_S = 42.0
SEEDS = of_study((1, 2), (1, 2, 3))


def study(
    seed: int,
    *,
    seconds: float = 1500,
    drift_s_per_h: float = 0.0,
    lag_s: float = 0.0,
    power: int = 1,
    jump_s: float = 0.0,
    kind: str = "town",
) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray], np.ndarray]:
    """Return a log of speed, a log of the rotor on a clock of its own, and the true times of the second log's rows.

    The rotor follows the speed with a first-order lag, in gusts of 5 % that last 10 s; `power` 3 makes it watts.
    """
    draw = np.random.default_rng(seed)
    half = np.arange(0, seconds, 0.5)
    fine = np.arange(0, seconds, 0.1)
    speed = np.interp(fine, half, wandering_speed(draw, half, kind))
    rotor = speed.copy()
    for row in range(1, speed.size if lag_s else 0):
        rotor[row] = rotor[row - 1] + 0.1 / lag_s * (speed[row] - rotor[row - 1])
    first_s = np.arange(0, seconds - 1, 0.7)
    true_s = np.arange(60.0, seconds - 60)
    gust = np.zeros(true_s.size)
    for row in range(1, gust.size):
        gust[row] = 0.9 * gust[row - 1] + draw.normal(0, 0.02)
    values = np.interp(true_s, fine, rotor) ** power * (1 + gust)
    second_s = (true_s - OFFSET_S) / (1 + drift_s_per_h / 3600)
    second_s = np.where(true_s > seconds / 2, second_s - jump_s, second_s)
    first = {"time_s": first_s, "speed": np.round(3.6 * np.interp(first_s, fine, speed))}
    return first, {"time_s": second_s, "rotor": values}, true_s


def fitted(seed: int, **more) -> tuple[ClockFit, np.ndarray, list[str]]:
    """Return the fit, by how much the joined times are off [s], and what is doubted."""
    first, second, true_s = study(seed, **more)
    joined = join_second_log(first, second, match=("speed", "rotor"))
    assert joined.fit is not None
    return joined.fit, joined.fit.first_time_s(second["time_s"]) - true_s, joined.doubts()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("drift", [30.0, -30.0])
def test_a_clock_that_drifts_half_a_minute_an_hour_is_followed(seed, drift):
    """With one offset for all rows it was off by -18 to +4 s, and nothing was said."""
    found, off, doubts = fitted(seed, drift_s_per_h=drift, seconds=3600)
    assert np.abs(off).max() < 0.6
    assert found.drift_s_per_h is not None
    assert found.drift_s_per_h.estimate == pytest.approx(drift, abs=1.0)
    assert doubts == []


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("lag", "power"), [(4.0, 1), (8.0, 1), (4.0, 3)])
def test_the_lag_of_a_rotor_is_no_offset_of_the_clocks(seed, lag, power):
    found, off, _ = fitted(seed, lag_s=lag, power=power)
    assert np.abs(off).max() < 0.8
    assert found.lag_s is not None
    assert found.lag_s.estimate == pytest.approx(lag, rel=0.2)


@pytest.mark.parametrize("power", [1, 3])
def test_watts_that_go_with_the_cube_of_the_speed_do_not_look_late(power):
    found, off, doubts = fitted(2, power=power)
    assert np.abs(off).max() < 0.4
    assert found.lag_s is None or found.lag_s.estimate < 1.0
    assert doubts == []


def test_intervals_hold_the_truth():
    held, (seeds, least) = np.zeros(3), of_study((range(10, 16), 6), (range(10, 22), 10))
    for seed in seeds:
        found, _, _ = fitted(seed, drift_s_per_h=20.0, lag_s=4.0)
        assert found.drift_s_per_h is not None
        assert found.lag_s is not None
        for place, (interval, truth) in enumerate(
            ((found.offset_s, OFFSET_S), (found.drift_s_per_h, 20.0), (found.lag_s, 4.0))
        ):
            low, high = interval.ends
            held[place] += low <= truth <= high
    assert (held >= least).all()


def test_a_clock_that_jumps_is_named():
    said = [doubt for seed in (1, 2, 3) for doubt in fitted(seed, jump_s=4.0, seconds=2400)[2]]
    assert sum("off by over a second" in doubt for doubt in said) == 3


def test_the_command_says_offset_drift_and_lag_with_their_intervals(tmp_path: Path):
    first, second, _ = study(1, drift_s_per_h=30.0, lag_s=4.0)
    for name, columns in (("run", first), ("meter", second)):
        rows = [",".join(f"{value:.4f}" for value in row) for row in zip(*columns.values(), strict=True)]
        (tmp_path / f"{name}.csv").write_text("\n".join([",".join(columns), *rows]) + "\n")
    paths = [str(tmp_path / "run.csv"), str(tmp_path / "meter.csv"), "--match", "speed", "rotor"]
    answer = json.loads(CliRunner().invoke(command, [*paths, "--json"]).output)
    for key, truth in (("offset", OFFSET_S), ("drift_s_per_h", 30.0), ("lag_s", 4.0)):
        assert answer[key]["low"] - 0.3 < truth < answer[key]["high"] + 0.3
        assert answer[key]["level"] == 0.95
    assert answer["residual_s"] < 1.0
    said = CliRunner().invoke(command, [*paths, "--force"]).output
    assert "drift: +" in said
    assert "lag of the second signal: " in said
    given = json.loads(CliRunner().invoke(command, [*paths[:2], "--offset", "42 s", "--json", "--force"]).output)
    assert given["offset"]["estimate"] is None
