"""Clocks that do not name their unit: read right and said, or refused, never off by sixty."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.vehicle import lying_sensors
from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.problems import InputError

UNITS = {"seconds": 1.0, "milliseconds": 1e-3, "minutes": 60.0, "hours": 3600.0, "days": 86400.0}


def read(tmp_path: Path, drive: lying_sensors.Drive, times: np.ndarray, **more) -> Log:
    path = tmp_path / "drive.csv"
    path.write_text(drive.csv(times=times))
    return read_log(path, **more)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("kind", ["town", "motorway"])
@pytest.mark.parametrize("step_s", [0.1, 0.5, 2.0, 10.0])
def test_a_speed_settles_the_unit(tmp_path, unit, kind, step_s):
    drive = lying_sensors.drive(1, kind=kind, step_s=step_s)
    log = read(tmp_path, drive, drive.time_s / UNITS[unit])
    assert log.duration_s == pytest.approx(900 - step_s, rel=1e-3)
    assert log.distance_m == pytest.approx(drive.true_metres, rel=0.02)
    said = [text for text in log.checks if "clock" in text]
    assert len(said) == (unit != "seconds")
    assert all(f"no unit: {unit} taken" in text for text in said)


@pytest.mark.parametrize("digits", [1, 2, 3])
def test_minutes_written_short_are_minutes(tmp_path, digits):
    drive = lying_sensors.drive(2)
    log = read(tmp_path, drive, np.round(drive.time_s / 60, digits))
    assert log.duration_s == pytest.approx(899, abs=7)


@pytest.mark.parametrize(
    ("start", "columns"),
    [(46000.4, ("speed", "rpm")), (0.4, ("speed", "rpm")), (46000.4, ("rpm", "map", "intake temperature"))],
)
def test_day_numbers_of_a_spreadsheet(tmp_path, start, columns):
    drive = lying_sensors.only(lying_sensors.drive(2), *columns)
    log = read(tmp_path, drive, start + drive.time_s / 86400)
    assert log.duration_s == pytest.approx(899, abs=1)
    assert "days" in log.clock


def test_the_run_time_settles_the_unit_without_a_speed(tmp_path):
    drive = lying_sensors.only(lying_sensors.drive(2), "rpm", "map")
    drive.columns["run time since engine start"] = np.round(drive.time_s) + 40
    log = read(tmp_path, drive, drive.time_s / 60)
    assert log.duration_s == pytest.approx(899, abs=1)
    assert any("minutes taken" in text and "run time" in text for text in log.checks)


def test_what_stays_open_is_refused_and_can_be_named(tmp_path):
    drive = lying_sensors.only(lying_sensors.drive(2), "rpm", "map")
    with pytest.raises(InputError, match=r'min or s is possible.*--column "time=time'):
        read(tmp_path, drive, drive.time_s / 60)
    log = read(tmp_path, drive, drive.time_s / 60, columns={"time": "time (min)"})
    assert log.duration_s == pytest.approx(899)


def test_a_long_log_in_minutes_is_no_log_of_sixty_rows_a_second(tmp_path):
    drive = lying_sensors.drive(2)
    lines = ["time,parameter,value"]
    for place, second in enumerate(drive.time_s):
        lines += [f"{(second + 0.1 * k) / 60:.6f},{n},{v[place]:g}" for k, (n, v) in enumerate(drive.columns.items())]
    path = tmp_path / "long.csv"
    path.write_text("\n".join(lines))
    assert read_log(path).duration_s == pytest.approx(899, abs=2)
