"""A whole road test from the command line: planned, recorded from an emulated adapter, read, joined and compared.

The car is a process of its own behind a pseudo-terminal; the recorder is the real command with the real python-obd. The
drive is invented and packed into half a minute a run: two headings, wind, hills, and a rotor that adds a known drag.
"""

from __future__ import annotations

import contextlib
import csv
import importlib.util
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from tests_support import program, run

from vehicle.recording.row_file import COLUMNS

PROJECT = Path(__file__).parents[3]
RUN_S, HILL_S = 36.0, 12.0
TIME_S = np.arange(0, RUN_S + 30, 0.5)


def _helper(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, PROJECT / "tests" / "vehicle" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


van = _helper("simulated_van")
CarProcess = _helper("car_process").CarProcess
NOT_OF_THIS_CAR = ["43", "10", "0B", "44", "06", "07", "08", "09", "11", "62", "63"]


def recording_of(car, folder: Path, *options: str) -> list[str]:
    """Return what `windtoll record` is asked on an emulated car."""
    return ["record", "--out", str(folder), "--port", car.port, "--protocol", "6", "--interval", "0.5 s", *options]


_AT_THE_SAME_TIME = """
import json, os, sys
import energy.commands.record, vehicle.recording.loop
from energy.cli import main
recorders = []
for number, words in enumerate(json.load(sys.stdin)):
    recorders.append(os.fork())
    if recorders[-1] == 0:
        os.dup2(os.open(f"said{number}", os.O_WRONLY | os.O_CREAT), 1)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        sys.argv = ["windtoll", *words]
        main()
sys.exit(max(os.waitstatus_to_exitcode(os.waitpid(recorder, 0)[1]) != 0 for recorder in recorders))
"""


def record_at_the_same_time(recordings: list[list[str]], folder: Path) -> list[str]:
    """Run commands at the same time, each in a process of its own; return what each writes to standard output.

    What they import is imported once: they are forked from there.
    """
    together = subprocess.Popen(
        [sys.executable, "-c", _AT_THE_SAME_TIME],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(PROJECT), *sys.path])},
        stdin=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        _, told = together.communicate(json.dumps(recordings), timeout=600)
        assert together.returncode == 0, told
    finally:
        with contextlib.suppress(ProcessLookupError):  # none is left
            os.killpg(together.pid, signal.SIGKILL)
        together.communicate()
    return [(folder / f"said{number}").read_text() for number in range(len(recordings))]


def start_recording(car, folder: Path, *options: str) -> subprocess.Popen[str]:
    """Start `windtoll record` on an emulated car."""
    return subprocess.Popen(
        program(*recording_of(car, folder, *options)),
        cwd=PROJECT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        stdin=subprocess.DEVNULL,
    )


def data(*arguments: object):
    """Return the JSON answer of a windtoll command."""
    done = run(*(str(argument) for argument in arguments), "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def drives() -> list:
    return van.study(4, seed=2)


@pytest.fixture(scope="module")
def runs(drives, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with eight runs, recorded from eight emulated cars at the same time to save time.

    Each recorder has a folder of its own, and they begin as it happens: the list is put together in the order of the
    plan, without the moments.
    """
    folder = tmp_path_factory.mktemp("runs")
    ports = tmp_path_factory.mktemp("ports")
    cars, recordings = [], []
    try:
        for number, drive in enumerate(drives):
            car = CarProcess(ports / f"adapter{number}")
            cars.append(car)
            car.tell(values=van.STEADY, without=NOT_OF_THIS_CAR, table=van.raw_integers(drive, TIME_S, HILL_S))
            recordings.append(
                recording_of(
                    car,
                    folder / f"{number}",
                    "--duration",
                    f"{RUN_S} s",
                    "--state",
                    drive.state,
                    "--pair",
                    str(drive.pair),
                    "--direction",
                    drive.heading,
                    "--wind",
                    f"{drive.wind_m_s} m/s",
                    "--wind-from",
                    "north",
                    "--temperature",
                    "14 degC",
                    "--json",
                )
            )
        for said in record_at_the_same_time(recordings, ports):
            assert json.loads(said)["ended_by"] == "duration"
            assert json.loads(said)["gaps"] == 0
    finally:
        for car in cars:
            car.kill()
    listed = ""
    for number in range(len(drives)):
        (log,) = (folder / f"{number}").glob("*.csv")
        log.rename(folder / f"{number}_{log.name}")
        text = (folder / f"{number}" / "runs.toml").read_text()
        lines = [line for line in text.splitlines() if not line.startswith("started")]
        listed += "\n".join(lines).replace(f'"{log.name}"', f'"{number}_{log.name}"') + "\n\n"
    (folder / "runs.toml").write_text(listed)
    return folder


def test_every_recorded_log_reads_without_a_complaint(runs: Path, drives) -> None:
    logs = sorted(runs.glob("*.csv"))
    assert len(logs) == len(drives)
    found = data("read", *logs)["logs"]
    for answer in found:
        assert {"rows", "duration_s", "distance_km", "columns", "repairs", "fuel"} <= set(answer)
        assert answer["duration_s"] == pytest.approx(RUN_S, abs=3)
        assert answer["distance_km"] == pytest.approx(98 / 3600 * RUN_S, rel=0.12)
        assert answer["fuel"]["source"] == "fuel rate"
        assert answer["fuel"]["known_share"] == pytest.approx(1.0)
        assert 5 < answer["fuel"]["mean_l_per_h"] < 12
        assert [c["header"] for c in answer["columns"]] == list(COLUMNS)
        assert not [c for c in answer["columns"] if c["use"] == "not understood"]
        assert all("asked less often" in repair["what"] for repair in answer["repairs"]), answer["repairs"]
        assert answer["statistics"]["coolant_temperature_k"]["known_share"] == 1.0


def test_the_known_load_comes_out_within_its_interval(runs: Path, drives) -> None:
    answer = data("compare", runs / "runs.toml")
    truth = 100 * van.true_effect(drives, TIME_S[TIME_S < RUN_S], HILL_S)
    effect = answer["effect_percent"]
    assert set(effect) == {"estimate", "low", "high", "level"}
    assert effect["low"] < truth < effect["high"]
    assert abs(effect["estimate"] - truth) < 4.5  # three standard deviations over 100 such studies, drawn beforehand
    assert effect["level"] == 0.95
    assert answer["conclusion"] == "costs"
    assert answer["pairs"] == 4
    assert answer["runs_with"] == answer["runs_without"] == 4
    per_hour = answer["effect_l_per_h"]
    assert per_hour["low"] < per_hour["estimate"] < per_hour["high"]
    assert per_hour["estimate"] == pytest.approx(effect["estimate"] / 100 * answer["without_l_per_h"], rel=0.05)
    assert answer["warnings"] == []  # wind and direction were understood, nothing is confounded
    assert answer["effect_load_points"]["estimate"] == pytest.approx(100 * 0.05 * per_hour["estimate"], abs=1)


def test_the_prediction_stands_beside_it(runs: Path) -> None:
    scenario = PROJECT / "scenarios" / "van_water_tank" / "scenario.toml"
    answer = data("compare", runs / "runs.toml", "--scenario", scenario)
    assert answer["predicted_percent"]["estimate"] == pytest.approx(24.3, abs=0.3)
    assert "agrees with the measurement" in answer["agreement"]
    other = data("compare", runs / "runs.toml", "--effect", "60 %")
    assert "disagrees with the measurement, which shows less" in other["agreement"]
    slow = data("compare", runs / "runs.toml", "--scenario", scenario, "--set", "trip.road_speed=70 km/h")
    assert any("the prediction is for 70 km/h" in text for text in slow["warnings"])
    words = run("compare", str(runs / "runs.toml"), "--scenario", str(scenario)).stdout
    assert words.startswith("Costs fuel: +")


def test_the_plan_takes_the_spread_of_the_runs(runs: Path) -> None:
    plan = data("plan", "--effect", "3 %", "--runs", runs / "runs.toml", "--seed", "1")
    assert plan["pairs_for_80_percent_power"] <= plan["pairs_for_90_percent_power"]
    assert "from the 8 runs" in plan["spread_from"]
    assert len(plan["order"]) == 2 * plan["pairs_planned"]


def test_a_killed_recorder_and_marks_by_key_leave_logs_that_read(tmp_path: Path, drives) -> None:
    car = CarProcess(tmp_path / "adapter")
    folder = tmp_path / "runs"
    try:
        car.tell(values=van.STEADY, without=NOT_OF_THIS_CAR, table=van.raw_integers(drives[0], TIME_S, HILL_S))
        recording = start_recording(car, folder, "--state", "working", "--interval", "0.02 s")
        end = time.monotonic() + 300
        while not (logs := list(folder.glob("*.csv"))) or logs[0].read_bytes().count(b"\n") < 40:
            assert recording.poll() is None, recording.communicate()
            assert time.monotonic() < end, "the recorder never began"
            time.sleep(0.05)
        (path,) = logs
        recording.send_signal(signal.SIGKILL)
        recording.communicate()
    finally:
        car.kill()
    whole = data("read", path)
    assert whole["rows"] == path.read_bytes().count(b"\n") - 1
    assert whole["fuel"]["mean_l_per_h"] > 5
    torn = tmp_path / "torn.csv"
    torn.write_bytes(path.read_bytes()[:-30])  # a pulled plug may leave half a row
    answer = data("read", torn)
    assert answer["rows"] >= whole["rows"] - 1
    assert answer["fuel"]["mean_l_per_h"] == pytest.approx(whole["fuel"]["mean_l_per_h"], rel=0.05)


def test_a_joined_wattmeter_reads_too(runs: Path, tmp_path: Path) -> None:
    engine = next(runs.glob("*_working.csv"))
    with engine.open(newline="") as file:
        times = [float(row["time_s"]) for row in csv.DictReader(file)]
    meter = tmp_path / "wattmeter.csv"
    meter.write_text(
        "time_s,electrical_power_w,rotor_speed_rpm\n"
        + "".join(f"{second:.2f},{1700 + 20 * np.sin(second):.1f},818\n" for second in np.arange(0, times[-1], 0.5))
    )
    joined = tmp_path / "joined.csv"
    assert data("join", engine, meter, "--offset", "0.25 s", "--out", joined)["offset_s"] == 0.25
    answer = data("read", joined)
    assert answer["statistics"]["electrical_power_w"]["mean"] == pytest.approx(1700, abs=10)
    assert answer["statistics"]["rotor_speed_rad_s"]["mean"] == pytest.approx(818 * 2 * np.pi / 60)
    plain = data("read", engine)
    assert answer["fuel"]["litres"] == pytest.approx(plain["fuel"]["litres"])
