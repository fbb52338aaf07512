"""The recorder against an emulated adapter with a car behind it, over a real pseudo-terminal or socket."""

from __future__ import annotations

import os
import random
import re
import socket
import time
import tomllib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from recording_support import (
    CRUISE,
    FORMULAS,
    PATIENT_S,
    SPEED,
    CarProcess,
    Passenger,
    after,
    data_of,
    event,
    own_time_s,
    ride,
    rows_of,
)

from vehicle.recording.loop import RunDetails, Status
from vehicle.recording.parameters import PARAMETERS
from vehicle.recording.row_file import COLUMNS


def test_steady_values_are_recorded_as_the_standard_says(
    car: CarProcess, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    on_the_disk: list[int] = []
    fsync = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (fsync(handle), on_the_disk.append(handle)))
    noise = random.Random(5)
    raw = {name: noise.randrange(256**size) for name, (_, size, _) in FORMULAS.items()}
    car.tell(values={f"{FORMULAS[name][0]:02X}": value for name, value in raw.items()})
    passenger = Passenger((lambda s: s.fast, lambda: None), (after(40), "q"))
    details = RunDetails("working", "2", "out", "own van", "ridge road", "4 m/s", "270 deg", "12 degC", 'a "quote"')
    summary = ride(car, tmp_path, passenger, details)
    rows = rows_of(summary.file)
    assert tuple(rows[0]) == COLUMNS
    assert summary.columns == tuple(p.column for p in PARAMETERS)
    for name, (_, _, formula) in FORMULAS.items():
        assert float(rows[0][name]) == pytest.approx(formula(raw[name]), rel=1e-6)
    for row in rows[1:]:  # fast ones in each row, slow ones not again so soon
        for parameter in PARAMETERS:
            assert bool(row[parameter.column]) == parameter.fast
            if parameter.fast:
                assert row[parameter.column] == rows[0][parameter.column]
    times = np.array([float(row["time_s"]) for row in rows])
    walls = np.array([datetime.fromisoformat(row["time_utc"]).timestamp() for row in rows])
    assert (np.diff(times) > 0).all()
    assert np.ptp(walls - times) < 0.5
    assert abs(walls[-1] - time.time()) < 60
    assert {row["state"] for row in rows} == {"working"}
    assert {row["gap"] for row in rows} == {""}
    assert (summary.rows, summary.gaps, summary.ended_by) == (len(rows), 0, "key")
    assert summary.fast_mode  # it has proved itself
    assert max(map(on_the_disk.count, set(on_the_disk))) >= len(rows) + 1  # each row and the header on its own
    run = tomllib.loads((tmp_path / "runs.toml").read_text())["run"][0]
    assert run["file"] == summary.file.name
    assert (run["state"], run["pair"], run["direction"], run["wind"]) == ("working", 2, "out", "4 m/s")
    assert (run["notes"], run["temperature"], run["wind_from"]) == ('a "quote"', "12 degC", "270 deg")


def test_ramps_are_followed_in_time(car: CarProcess, tmp_path: Path) -> None:
    car.tell(table={"time_s": [0, 100], "0C": [4000, 24000], "10": [500, 20500]})  # 50 rpm/s, 2 g/s per second
    summary = ride(car, tmp_path, Passenger((lambda s: s.elapsed_s > 3.0, "q")))
    rows = data_of(summary.file)
    at = np.array([float(row["time_s"]) for row in rows])
    for column, slope in (("engine_speed_rpm", 50.0), ("mass_air_flow_g_s", 2.0)):
        values = np.array([float(row[column]) for row in rows])
        assert np.polyfit(at, values, 1)[0] == pytest.approx(slope, rel=0.03)
        assert (np.diff(values) >= 0).all()


def test_slow_parameters_come_again_one_a_row_and_a_moved_clock_is_marked(
    car: CarProcess, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = time.time

    def move() -> None:
        monkeypatch.setattr(time, "time", lambda: clock() + 3600)

    slow = [p.column for p in PARAMETERS if not p.fast]
    # Three rounds of them, however slowly rows come, and longer than two intervals, however quickly.
    passenger = Passenger(
        (lambda s: s.rows > 20, move), (lambda s: s.rows > 20 + 3 * len(slow) and s.elapsed_s > 1.5, "q")
    )
    summary = ride(car, tmp_path, passenger, slow_interval_s=0.5)
    rows = data_of(summary.file)
    assert all(sum(bool(row[column]) for row in rows) >= 2 for column in slow)
    assert all(sum(bool(row[column]) for column in slow) <= 1 for row in rows[1:])
    assert [row["mark"] for row in rows if row["mark"]] == ["wall clock moved by +3600.0 s"]
    assert max(np.diff([float(row["time_s"]) for row in rows])) < 5  # the recording's own clock has not moved


def test_parameters_that_the_car_lacks_stay_empty_and_silent_ones_are_asked_rarely(
    car: CarProcess, tmp_path: Path
) -> None:
    car.tell(without=["5E", "62", "63", "08", "09"], mute=["43", "10", "0B", "44", "06", "11"])
    summary = ride(car, tmp_path, Passenger((after(60), "q")))
    assert "fuel_rate_l_h" not in summary.columns
    assert "mass_air_flow_g_s" in summary.columns  # claimed by the car, never answered
    assert not any(row["fuel_rate_l_h"] or row["mass_air_flow_g_s"] for row in rows_of(summary.file))
    assert all(row["engine_speed_rpm"] for row in rows_of(summary.file))
    assert summary.gaps == 0


# ------------------------------------------------------------------------------------------------- faults


def test_car_that_stops_answering_is_a_marked_gap(car: CarProcess, tmp_path: Path) -> None:
    passenger = Passenger(
        (after(20), lambda: car.tell(fault="no data")),
        (event("gap begins: the car does not answer (NO DATA)"), lambda: car.tell(fault=None)),
        (event("back after"), lambda: None),
        (after(20), "q"),
    )
    summary = ride(car, tmp_path, passenger)
    gaps = [row["gap"] for row in rows_of(summary.file) if row["gap"]]
    assert summary.gaps == 1
    assert gaps[0] == "begin: the car does not answer (NO DATA)"
    assert len(gaps) == 2
    end = re.fullmatch(r"end: ([\d.]+) s", gaps[1])
    assert end is not None
    assert float(end.group(1)) == pytest.approx(summary.gap_s, abs=0.1)
    assert {row[SPEED] for row in data_of(summary.file)} == {"90"}


def test_spoiled_answers_never_become_values(car: CarProcess, tmp_path: Path) -> None:
    faults = ("garbage", "truncated", "wrong parameter")
    steps: list[tuple[Callable[[Status], bool], Callable[[], object] | str]] = []
    for fault in faults:
        steps += [
            (after(20), lambda fault=fault: car.tell(fault=fault)),
            (event("gap begins"), lambda: None),
            (lambda s: s.condition.startswith("waiting: ") and not s.event, lambda: car.tell(fault=None)),
            (event("back after"), lambda: None),
        ]
    summary = ride(car, tmp_path, Passenger(*steps, (after(20), "q")))
    assert summary.gaps == len(faults)
    rows = data_of(summary.file)
    steady = {p.column: f"{FORMULAS[p.column][2](CRUISE[f'{p.pid:02X}']):.7g}" for p in PARAMETERS if p.fast}
    for row in rows:
        for column, value in steady.items():
            assert row[column] in (value, "")  # nothing else, above all no zero
    assert sum(all(row[column] for column in steady) for row in rows) >= 75


def test_killed_adapter_is_noticed_and_a_new_one_taken(own_car: CarProcess, tmp_path: Path) -> None:
    died: list[float] = []

    def die() -> None:
        own_car.kill()
        died.append(own_time_s())

    passenger = Passenger(
        (after(20), die),
        (event("gap begins"), lambda: died.append(own_time_s())),
        (lambda s: "is gone" in s.condition, own_car.restart),
        (event("back after"), lambda: None),
        (after(20), "q"),
    )
    summary = ride(own_car, tmp_path / "runs", passenger)
    assert died[1] - died[0] < 10
    rows = rows_of(summary.file)
    gaps = [row["gap"] for row in rows if row["gap"]]
    assert (summary.gaps, len(gaps)) == (1, 2)
    assert gaps[0].startswith("begin: ")
    assert gaps[1].startswith("end: ")
    where = [row["gap"] for row in rows].index(gaps[0])
    assert float(rows[where + 1]["time_s"]) - float(rows[where]["time_s"]) == pytest.approx(summary.gap_s, abs=0.5)
    assert (np.diff([float(row["time_s"]) for row in rows]) >= 0).all()
    assert summary.rows == len(data_of(summary.file)) >= 40


def test_frozen_adapter_is_noticed_within_seconds(own_car: CarProcess, tmp_path: Path) -> None:
    moments: list[float] = []

    def freeze() -> None:
        own_car.stop()
        moments.append(own_time_s())

    def thaw() -> None:
        moments.append(own_time_s())
        own_car.go_on()

    passenger = Passenger(
        (after(20), freeze),
        (event("gap begins: the adapter does not answer"), thaw),
        (event("back after"), lambda: None),
        (after(20), "q"),
    )
    summary = ride(own_car, tmp_path / "runs", passenger)
    assert moments[1] - moments[0] < 15  # python-obd alone: 120 s for one question
    assert summary.gaps == 1
    assert {row[SPEED] for row in data_of(summary.file)} == {"90"}


def test_ends_on_time_while_waiting_for_a_lost_adapter(own_car: CarProcess, tmp_path: Path) -> None:
    summary = ride(own_car, tmp_path / "runs", Passenger((after(5), own_car.kill)), duration_s=2.0)
    assert summary.ended_by == "duration"
    assert summary.duration_s < 15
    assert rows_of(summary.file)[-1]["gap"].startswith("begin: ")


# ---------------------------------------------------------------------------------------------- fast mode


def test_fast_mode_stays_off_where_it_loses_answers(car: CarProcess, tmp_path: Path) -> None:
    car.tell(fault="no counts")
    summary = ride(car, tmp_path, Passenger((event("fast mode off"), lambda: None), (after(20), "q")))
    assert not summary.fast_mode
    assert summary.gaps == 0
    assert all(row["engine_speed_rpm"] for row in rows_of(summary.file))


def test_fast_mode_that_goes_bad_later_is_dropped_without_losing_a_value(car: CarProcess, tmp_path: Path) -> None:
    passenger = Passenger(
        (lambda s: s.fast, lambda: car.tell(fault="no counts")), (event("fast mode off"), lambda: None), (after(9), "q")
    )
    summary = ride(car, tmp_path, passenger)
    assert not summary.fast_mode
    assert summary.gaps == 0
    assert all(row["engine_speed_rpm"] and row[SPEED] for row in rows_of(summary.file))


def test_waits_for_the_ignition_when_asked_to(car: CarProcess, tmp_path: Path) -> None:
    car.tell(fault="no data")
    passenger = Passenger((lambda s: "ignition" in s.condition, lambda: car.tell(fault=None)), (after(5), "q"))
    summary = ride(car, tmp_path, passenger, wait_s=PATIENT_S)
    assert summary.rows >= 5


def test_network_adapter(tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        free = probe.getsockname()[1]
    car = CarProcess(tcp=free)
    try:
        car.tell(values=CRUISE)
        summary = ride(car, tmp_path, Passenger((after(20), "q")))
    finally:
        car.kill()
    assert {row["engine_speed_rpm"] for row in data_of(summary.file)} == {"2250"}
