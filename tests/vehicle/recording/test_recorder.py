"""The recorder against an emulated adapter with a car behind it, over a real pseudo-terminal or socket."""

from __future__ import annotations

import csv
import importlib.util
import os
import pty
import random
import re
import select
import signal
import socket
import subprocess
import sys
import threading
import time
import tomllib
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
import obd
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from obd.protocols.protocol import Message

from energy.commands.record import command
from vehicle.problems import InputError
from vehicle.recording import recorder
from vehicle.recording.recorder import (
    COLUMNS,
    PARAMETERS,
    AdapterError,
    RunDetails,
    Settings,
    Status,
    Summary,
    append_run,
    decode,
    open_adapter,
    record,
)

_spec = importlib.util.spec_from_file_location("car_process", Path(__file__).parents[1] / "car_process.py")
assert _spec is not None
assert _spec.loader is not None
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)
CarProcess = _module.CarProcess

PROJECT = Path(__file__).parents[3]
PATIENT_S = 60.0  # how long a test waits for what must happen; a loaded machine may need seconds

# SAE J1979 / ISO 15031-5, table of mode 01 PIDs, written out from memory: raw integer N (or byte A) to the unit.
FORMULAS: dict[str, tuple[int, int, Callable[[int], float]]] = {
    "calculated_load_percent": (0x04, 1, lambda n: n / 2.55),
    "coolant_temperature_degc": (0x05, 1, lambda n: n - 40),
    "short_term_fuel_trim_1_percent": (0x06, 1, lambda n: n / 1.28 - 100),
    "long_term_fuel_trim_1_percent": (0x07, 1, lambda n: n / 1.28 - 100),
    "short_term_fuel_trim_2_percent": (0x08, 1, lambda n: n / 1.28 - 100),
    "long_term_fuel_trim_2_percent": (0x09, 1, lambda n: n / 1.28 - 100),
    "intake_manifold_pressure_kpa": (0x0B, 1, lambda n: n),
    "engine_speed_rpm": (0x0C, 2, lambda n: n / 4),
    "vehicle_speed_km_h": (0x0D, 1, lambda n: n),
    "intake_air_temperature_degc": (0x0F, 1, lambda n: n - 40),
    "mass_air_flow_g_s": (0x10, 2, lambda n: n / 100),
    "throttle_percent": (0x11, 1, lambda n: n / 2.55),
    "run_time_s": (0x1F, 2, lambda n: n),
    "barometric_pressure_kpa": (0x33, 1, lambda n: n),
    "control_module_voltage_v": (0x42, 2, lambda n: n / 1000),
    "absolute_load_percent": (0x43, 2, lambda n: n / 2.55),
    "commanded_equivalence_ratio": (0x44, 2, lambda n: n / 32768),
    "ambient_air_temperature_degc": (0x46, 1, lambda n: n - 40),
    "fuel_rate_l_h": (0x5E, 2, lambda n: n / 20),
    "actual_torque_percent": (0x62, 1, lambda n: n - 125),
    "reference_torque_nm": (0x63, 2, lambda n: n),
}
CRUISE = {"0D": 90, "0C": 9000, "04": 110, "43": 120, "10": 2210, "0B": 65, "5E": 130, "44": 32768, "06": 130,
          "08": 126, "11": 70, "62": 165, "07": 131, "09": 127, "05": 130, "0F": 62, "46": 55, "33": 100, "63": 320,
          "1F": 700, "42": 14100}  # fmt: skip
SPEED = "vehicle_speed_km_h"


@pytest.fixture(scope="module")
def shared_car(tmp_path_factory: pytest.TempPathFactory) -> Iterator[CarProcess]:
    car = CarProcess(tmp_path_factory.mktemp("car") / "adapter")
    yield car
    car.kill()


@pytest.fixture
def car(shared_car: CarProcess) -> CarProcess:
    shared_car.tell(values=CRUISE, table=None, without=[], mute=[], fault=None)
    return shared_car


@pytest.fixture
def own_car(tmp_path: Path) -> Iterator[CarProcess]:
    car = CarProcess(tmp_path / "adapter")
    car.tell(values=CRUISE)
    yield car
    car.kill()


class Passenger:
    """Watches a recording from its own callbacks: acts when something is so, stops when all is done."""

    def __init__(self, *steps: tuple[Callable[[Status], bool], Callable[[], object] | str]) -> None:
        self.steps = list(steps)
        self.pressed = ""
        self.seen: list[Status] = []
        self.began = time.monotonic()

    def show(self, status: Status) -> None:
        self.seen.append(status)
        if self.steps and self.steps[0][0](status):
            action = self.steps.pop(0)[1]
            if isinstance(action, str):
                self.pressed += action
            else:
                action()

    def keys(self) -> str:
        pressed, self.pressed = self.pressed, ""
        if time.monotonic() - self.began > PATIENT_S:
            return "q"  # the test then fails on what is missing, and does not hang
        return pressed

    def events(self) -> list[str]:
        return [status.event for status in self.seen if status.event]


def ride(
    car: CarProcess, out: Path, passenger: Passenger, details: RunDetails | None = None, **more: object
) -> Summary:
    how = Settings(out, port=car.port, protocol="6", interval_s=0.01, **more)  # type: ignore[arg-type]
    summary = record(how, details, keys=passenger.keys, show=passenger.show)
    assert not passenger.steps, f"never came to pass; events: {passenger.events()}"
    return summary


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def data_of(path: Path) -> list[dict[str, str]]:
    return [row for row in rows_of(path) if row[SPEED]]


def after(count: int) -> Callable[[Status], bool]:
    """Return a condition: `count` rows more than when it was first looked at."""
    start: list[int] = []

    def met(status: Status) -> bool:
        if not start:
            start.append(status.rows)
        return status.condition == "recording" and status.rows >= start[0] + count

    return met


def event(words: str) -> Callable[[Status], bool]:
    return lambda status: words in status.event


# ------------------------------------------------------------------------------------------------ decoders


def test_every_parameter_has_its_formula_here() -> None:
    assert {p.column: (p.pid, p.size) for p in PARAMETERS} == {name: f[:2] for name, f in FORMULAS.items()}


@pytest.mark.parametrize("parameter", PARAMETERS, ids=lambda p: p.column)
def test_decoder_follows_the_standard_over_its_whole_range(parameter: recorder.Parameter) -> None:
    _, size, formula = FORMULAS[parameter.column]
    for raw in range(0, 256**size, 1 if size == 1 else 7):
        answer = bytes([0x41, parameter.pid]) + raw.to_bytes(size, "big")
        assert decode(parameter, answer) == pytest.approx(formula(raw), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("parameter", [p for p in PARAMETERS if p.pid < 0x60], ids=lambda p: p.column)
def test_decoder_agrees_with_python_obd(parameter: recorder.Parameter) -> None:
    theirs = obd.commands[1][parameter.pid]
    tolerance = 6e-4 if parameter.pid == 0x44 else 1e-9  # python-obd rounds 2/65536 to 0.0000305
    for raw in range(0, 256**parameter.size, 1 if parameter.size == 1 else 251):
        answer = bytes([0x41, parameter.pid]) + raw.to_bytes(parameter.size, "big")
        message = Message([])
        message.data, message.ecu = bytearray(answer), obd.ECU.ENGINE
        assert decode(parameter, answer) == pytest.approx(theirs([message]).value.magnitude, rel=tolerance, abs=1e-9)


@given(st.binary(max_size=8), st.sampled_from(PARAMETERS))
def test_only_a_whole_answer_to_this_question_is_a_value(answer: bytes, parameter: recorder.Parameter) -> None:
    whole = len(answer) >= 2 + parameter.size and answer[:2] == bytes([0x41, parameter.pid])
    assert (decode(parameter, answer) is not None) == whole


@given(st.sampled_from(PARAMETERS), st.binary(min_size=2, max_size=2), st.integers(0, 3))
def test_a_truncated_answer_is_never_zero(parameter: recorder.Parameter, data: bytes, kept: int) -> None:
    answer = (bytes([0x41, parameter.pid]) + data[: parameter.size])[: min(kept, 1 + parameter.size)]
    assert decode(parameter, answer) is None


# ------------------------------------------------------------------------------------------------- values


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

    passenger = Passenger((lambda s: s.elapsed_s > 0.3, move), (lambda s: s.elapsed_s > 1.5, "q"))
    summary = ride(car, tmp_path, passenger, slow_interval_s=0.5)
    rows = data_of(summary.file)
    slow = [p.column for p in PARAMETERS if not p.fast]
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
    assert float(re.fullmatch(r"end: ([\d.]+) s", gaps[1]).group(1)) == pytest.approx(summary.gap_s, abs=0.1)  # type: ignore[union-attr]
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
        died.append(time.monotonic())

    passenger = Passenger(
        (after(20), die),
        (event("gap begins"), lambda: died.append(time.monotonic())),
        (lambda s: "no port" in s.condition, own_car.restart),
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
        moments.append(time.monotonic())

    def thaw() -> None:
        moments.append(time.monotonic())
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


@pytest.mark.parametrize("fault", ["no repeats", "no counts"])
def test_fast_mode_stays_off_where_it_loses_answers(car: CarProcess, tmp_path: Path, fault: str) -> None:
    car.tell(fault=fault)
    summary = ride(car, tmp_path, Passenger((event("fast mode stays off"), lambda: None), (after(20), "q")))
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


# --------------------------------------------------------------------------------- words before the first row


def test_no_port_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(AdapterError, match=r"No adapter: there is no port .*nowhere") as caught:
        record(Settings(tmp_path / "runs", port=str(tmp_path / "nowhere")))
    assert caught.value.kind == "no adapter"
    assert not list((tmp_path / "runs").iterdir())


@pytest.mark.parametrize("port", ["/dev/null", "socket://127.0.0.1:1", "nonsense://here"])
def test_what_is_no_serial_port_says_so(port: str) -> None:
    with pytest.raises(AdapterError, match="cannot be opened as a serial port") as caught:
        open_adapter(port, 38400, "6")
    assert caught.value.kind == "no adapter"


def test_no_ignition_says_so(car: CarProcess) -> None:
    car.tell(fault="unable to connect")
    with pytest.raises(AdapterError, match="switch the ignition on") as caught:
        open_adapter(car.port, 38400, "6")
    assert caught.value.kind == "no ignition"


def test_silent_adapter_is_given_up_within_seconds(car: CarProcess) -> None:
    car.tell(fault="silent")
    began = time.monotonic()
    with pytest.raises(AdapterError, match="no adapter answers on it") as caught:
        open_adapter(car.port, 38400, "6")
    assert caught.value.kind == "no answer"
    assert time.monotonic() - began < 20


def test_port_in_use_says_so(car: CarProcess) -> None:
    adapter, supported = open_adapter(car.port, 38400, "6")
    assert {p.pid for p in PARAMETERS} <= supported
    try:
        with pytest.raises(AdapterError, match="in use by another program") as caught:
            open_adapter(car.port, 38400, "6")
    finally:
        adapter.close()
    assert caught.value.kind == "busy"
    again, _ = open_adapter(car.port, 38400, "6")  # at once, while the adapter still resets from the closing
    again.close()


@pytest.mark.skipif(os.name != "posix", reason="permissions of a device file")
def test_no_permission_says_how_to_get_it(tmp_path: Path) -> None:
    port = tmp_path / "ttyUSB7"
    port.touch(mode=0o000)
    script = (
        "import os, sys\nfrom vehicle.recorder import *\n"
        "if os.getuid() == 0: os.setuid(65534)\n"  # root may open anything, whatever the mode says
        "try: open_adapter(sys.argv[1])\nexcept AdapterError as error: print(error.kind, '|', error)"
    )
    for folder in (tmp_path, *tmp_path.parents):
        if folder.stat().st_uid == os.getuid() and folder.is_relative_to("/tmp") and folder != Path("/tmp"):
            folder.chmod(folder.stat().st_mode | 0o011)
    said = subprocess.run(
        [sys.executable, "-c", script, str(port)], cwd=PROJECT, capture_output=True, text=True, timeout=PATIENT_S,
        check=False, env={**os.environ, "PYTHONPATH": str(PROJECT)},
    )  # fmt: skip
    assert said.stdout.startswith("no permission | No permission to open"), said.stderr
    assert "usermod" in said.stdout


def test_waits_for_the_ignition_when_asked_to(car: CarProcess, tmp_path: Path) -> None:
    car.tell(fault="no data")
    passenger = Passenger((lambda s: "ignition" in s.condition, lambda: car.tell(fault=None)), (after(5), "q"))
    summary = ride(car, tmp_path, passenger, wait_s=PATIENT_S)
    assert summary.rows >= 5


# ----------------------------------------------------------------------------------------------- network


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


# ---------------------------------------------------------------------------------------------- the program


def program(*options: str) -> list[str]:
    return [sys.executable, "-c", "from energy.commands.record import command; command()", *options]


def wait_until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENT_S
    while not condition():
        assert time.monotonic() < end, "never came to pass"
        time.sleep(0.05)


def complete_lines(folder: Path) -> int:
    return sum(path.read_bytes().count(b"\n") for path in folder.glob("*.csv"))


def test_kill_loses_at_most_the_row_in_flight(car: CarProcess, tmp_path: Path) -> None:
    recording = subprocess.Popen(
        program("--out", str(tmp_path), "--port", car.port, "--protocol", "6", "--interval", "0.01 s"),
        cwd=PROJECT, env={**os.environ, "PYTHONPATH": str(PROJECT)}, stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        wait_until(lambda: complete_lines(tmp_path) > 30)
        before = complete_lines(tmp_path)
    finally:
        recording.send_signal(signal.SIGKILL)
        recording.wait(20)
    (path,) = tmp_path.glob("*.csv")
    assert path.read_bytes().endswith(b"\n")
    with path.open(newline="") as file:
        lines = list(csv.reader(file))
    assert len(lines) >= before
    assert {len(line) for line in lines} == {len(COLUMNS)}
    assert all(float(line[COLUMNS.index(SPEED)]) == 90 for line in lines[1:])
    run = tomllib.loads((tmp_path / "runs.toml").read_text())["run"]
    assert [entry["file"] for entry in run] == [path.name]
    again = ride(car, tmp_path, Passenger((after(5), "q")))  # the adapter still owed an answer to the killed one
    assert again.file != path
    assert len(tomllib.loads((tmp_path / "runs.toml").read_text())["run"]) == 2


def test_termination_ends_the_recording_cleanly(car: CarProcess, tmp_path: Path) -> None:
    recording = subprocess.Popen(
        program("--out", str(tmp_path), "--port", car.port, "--protocol", "6", "--state", "stowed"),
        cwd=PROJECT, env={**os.environ, "PYTHONPATH": str(PROJECT)}, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    wait_until(lambda: complete_lines(tmp_path) > 3)
    recording.terminate()
    said, cautions = recording.communicate(timeout=PATIENT_S)
    assert recording.returncode == 0
    assert "A passenger logs; the driver drives" in cautions
    assert re.search(r"\d+ rows in 0:\d\d, no gaps: .*_stowed\.csv", said)


def test_keys_and_live_table_on_a_terminal(car: CarProcess, tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    recording = subprocess.Popen(
        program("--out", str(tmp_path), "--port", car.port, "--protocol", "6", "--state", "stowed", "--duration",
                "50 s", "--interval", "0.05 s"),
        cwd=PROJECT, env={**os.environ, "PYTHONPATH": str(PROJECT), "TERM": "xterm", "COLUMNS": "100", "LINES": "50"},
        stdin=theirs, stdout=theirs, stderr=theirs,
    )  # fmt: skip
    os.close(theirs)
    screen = bytearray()

    def read() -> None:
        while select.select([ours], [], [], PATIENT_S)[0]:
            try:
                screen.extend(os.read(ours, 65536))
            except OSError:  # the other side is closed
                return

    reader = threading.Thread(target=read)
    reader.start()
    try:
        wait_until(lambda: complete_lines(tmp_path) > 5)
        (path,) = tmp_path.glob("*.csv")
        for key, state in ((b"w", "working"), (b"s", "stowed"), (b"m", "stowed")):
            os.write(ours, key)
            lines = complete_lines(tmp_path)
            wait_until(lambda lines=lines: complete_lines(tmp_path) > lines + 4)
            assert rows_of(path)[-2]["state"] == state
        os.write(ours, b"q")
        assert recording.wait(PATIENT_S) == 0
    finally:
        recording.kill()
        recording.wait(20)
        reader.join(PATIENT_S)
        os.close(ours)
    assert [row["mark"] for row in rows_of(path) if row["mark"]] == ["working", "stowed", "mark 3"]
    seen = screen.decode(errors="replace")
    for words in ("vehicle speed", "2250", "turbine working", "w working", "no gaps"):
        assert words in seen


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--duration", "5"], "has no unit"),
        (["--interval", "-1 s"], "is negative"),
        (["--wind", "12 degC"], "another kind"),
        (["--temperature", "20 mph"], "another kind"),
        (["--wind-from", "downhill"], "no direction"),
        (["--state", "spinning"], "spinning"),
        (["--port", "/nowhere/at/all"], "there is no port"),
    ],
)
def test_options_that_cannot_be_used_are_told(tmp_path: Path, options: list[str], words: str) -> None:
    said = CliRunner().invoke(command, ["--out", str(tmp_path / "runs"), *options])
    assert said.exit_code == 2
    assert words in said.output


def test_points_of_the_compass_and_angles_are_directions(tmp_path: Path) -> None:
    for text in ("270 deg", "WNW", "north-west", "East", "south south west"):
        said = CliRunner().invoke(command, ["--out", str(tmp_path), "--wind-from", text, "--port", "/nowhere"])
        assert "there is no port" in said.output


# ------------------------------------------------------------------------------------------------ manifest


@settings(max_examples=60)
@given(
    notes=st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\r"), max_size=40),
    earlier=st.sampled_from([
        "", "# mine\n", '[columns]\nspeed = "GPS"', '[[run]]\nfile = "a.csv"   # keep\n\n[fuel]\nprice = 1.7\n',
    ]),
)  # fmt: skip
def test_manifest_keeps_its_earlier_text(tmp_path_factory: pytest.TempPathFactory, notes: str, earlier: str) -> None:
    manifest = tmp_path_factory.mktemp("manifest") / "runs.toml"
    if earlier:
        manifest.write_text(earlier)
    append_run(manifest, {"file": "b.csv", "notes": notes, "pair": 3})
    text = manifest.read_bytes().decode()
    assert text.startswith(earlier)
    last = tomllib.loads(text)["run"][-1]
    assert last == {"file": "b.csv", "pair": 3, **({"notes": notes} if notes else {})}
    assert [path.name for path in manifest.parent.iterdir()] == ["runs.toml"]


@pytest.mark.parametrize("earlier", ["run = [1]\n", "[[run]\n", "[run]\nfile = 1\n", "\xff"])
def test_manifest_that_cannot_take_a_run_is_left_alone(tmp_path: Path, earlier: str) -> None:
    manifest = tmp_path / "runs.toml"
    manifest.write_bytes(earlier.encode("latin-1"))
    with pytest.raises(InputError, match=r"runs\.toml"):
        append_run(manifest, {"file": "b.csv"})
    assert manifest.read_bytes() == earlier.encode("latin-1")


def test_broken_manifest_is_told_before_the_drive(tmp_path: Path) -> None:
    (tmp_path / "runs.toml").write_text("[[run]\n")
    with pytest.raises(InputError, match="not TOML"):
        record(Settings(tmp_path, port=str(tmp_path / "nowhere")))


def test_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").touch()
    with pytest.raises(InputError, match="cannot be made"):
        record(Settings(tmp_path / "taken", port=str(tmp_path / "nowhere")))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
def test_full_disk_is_an_error_and_not_a_silent_loss(monkeypatch: pytest.MonkeyPatch) -> None:
    opened = os.open
    monkeypatch.setattr(recorder.os, "open", lambda path, flags, mode=0o777: opened("/dev/full", os.O_WRONLY))
    with pytest.raises(OSError, match="No space left"):
        recorder.RowFile(Path("any.csv"))


def test_only_the_recorder_loads_python_obd() -> None:
    script = (
        "import sys, pkgutil, importlib, energy.commands, vehicle\n"
        "for package in (energy.commands, vehicle):\n"
        "    for module in pkgutil.walk_packages(package.__path__, f'{package.__name__}.'):\n"
        "        if module.name != 'vehicle.recording.recorder': importlib.import_module(module.name)\n"
        "assert 'obd' not in sys.modules, 'python-obd was loaded'\n"
        "import vehicle.recording.recorder\nassert 'obd' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", script], cwd=PROJECT, check=True, timeout=PATIENT_S,
                   env={**os.environ, "PYTHONPATH": str(PROJECT)})  # fmt: skip
