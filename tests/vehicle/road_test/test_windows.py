"""Runs cut into windows: what is known of their rows, by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from vehicle.logs.read import read_log
from vehicle.road_test.run_list import Run
from vehicle.road_test.windows import COVARIATES, UNKNOWN, Filter, RunWindows, runs_of_states

SPEED = np.array([20.0, 24.0])
RUN = RunWindows(
    name="run",
    state="working",
    pair="",
    direction="",
    date="",
    weight_s=np.array([30.0, 10.0]),
    fuel_m3_s=np.array([2e-6, 4e-6]),
    load=np.array([0.4, 0.8]),
    covariates=np.column_stack([SPEED if name == "speed" else np.zeros(2) for name in COVARIATES]),
    filters=(Filter("braking", 3), Filter(UNKNOWN, 2), Filter("warming up", 1)),
    rows=10,
    kept_rows=4,
    source="fuel rate",
    means={},
)


def test_shares_of_the_rows() -> None:
    assert RUN.kept_s == 40.0
    assert RUN.kept_share == pytest.approx(0.4)
    assert RUN.known_share == pytest.approx(0.8)  # what was left out for another reason is known


def test_a_run_without_a_log_counts_whole() -> None:
    bare = replace(RUN, rows=0, kept_rows=0, filters=(), metered_m3_s=3e-6)
    assert (bare.kept_share, bare.known_share) == (1.0, 1.0)
    assert bare.mean_fuel_m3_s == 3e-6
    empty = replace(bare, metered_m3_s=None)
    assert (empty.kept_share, empty.known_share) == (0.0, 0.0)


def test_means_and_variance_go_by_the_seconds() -> None:
    assert RUN.mean_fuel_m3_s == pytest.approx(2.5e-6)
    assert RUN.mean_load == pytest.approx(0.5)
    assert RUN.mean_covariates[COVARIATES.index("speed")] == pytest.approx(21.0)
    # sum of w (v - 21)² = 30 + 90, over 40 less the sum of squared weights over 40 (reliability weights: 1000/40)
    assert RUN.speed_variance == pytest.approx(120 / (40 - 25))


def test_stretches_that_a_log_marks_make_pairs_two_by_two(tmp_path: Path) -> None:
    path = tmp_path / "drive.csv"
    states = ["working"] * 20 + ["stowed"] * 20 + ["stowed"] * 5 + ["working"] * 20 + ["stowed"] * 20
    rows = "".join(f"{t},{80 + t % 5},2000,4.2,{state}\n" for t, state in enumerate(states))
    path.write_text("time_s,vehicle_speed_km_h,engine_speed_rpm,fuel_rate_l_h,state\n" + rows, encoding="utf-8")
    log = read_log(path)
    cut = runs_of_states(Run(path, ""), log)
    assert [(run.state, run.start_s, run.end_s) for run in cut] == [
        ("working", 0, 19),
        ("stowed", 20, 44),
        ("working", 45, 64),
        ("stowed", 65, 84),
    ]
    assert [run.pair for run in cut] == [f"{log.name} 1", f"{log.name} 1", f"{log.name} 2", f"{log.name} 2"]
    assert {run.pair for run in runs_of_states(Run(path, "", pair="mine"), log)} == {"mine"}
