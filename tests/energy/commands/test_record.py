"""`windtoll record` as a program: killed, ended, watched and operated on a terminal; options that cannot be used."""

from __future__ import annotations

import csv
import json
import os
import pty
import re
import select
import signal
import subprocess
import threading
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from recording_support import (
    CRUISE,
    PATIENT_S,
    PROJECT,
    SPEED,
    CarProcess,
    Passenger,
    after,
    complete_lines,
    ride,
    rows_of,
    wait_until,
)
from tests_support import program

from energy.commands.record import command
from vehicle.recording.row_file import COLUMNS


@pytest.fixture(scope="module")
def car(tmp_path_factory: pytest.TempPathFactory) -> Iterator[CarProcess]:
    found = CarProcess(tmp_path_factory.mktemp("car") / "adapter")
    found.tell(values=CRUISE)
    yield found
    found.kill()


def recorder(car: CarProcess, folder: Path, *options: str) -> list[str]:
    """Return the program that records from the car into the folder."""
    return program("record", "--out", str(folder), "--port", car.port, "--protocol", "6", *options)


def test_kill_loses_at_most_the_row_in_flight(car: CarProcess, tmp_path: Path) -> None:
    recording = subprocess.Popen(
        recorder(car, tmp_path, "--interval", "0.01 s"),
        cwd=PROJECT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        stdin=subprocess.DEVNULL,
    )
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


@pytest.mark.parametrize("request_to_end", [signal.SIGTERM, signal.SIGINT])
def test_a_request_to_end_ends_the_recording_cleanly(
    car: CarProcess, tmp_path: Path, request_to_end: signal.Signals
) -> None:
    recording = subprocess.Popen(
        recorder(car, tmp_path, "--state", "stowed"),
        cwd=PROJECT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        text=True,
    )
    wait_until(lambda: complete_lines(tmp_path) > 3)
    recording.send_signal(request_to_end)
    said, cautions = recording.communicate(timeout=PATIENT_S)
    assert recording.returncode == 0
    assert "A passenger logs; the driver drives" in cautions
    assert re.search(r"\d+ rows in 0:\d\d, no gaps: .*_stowed\.csv", said)


def test_keys_and_live_table_on_a_terminal(car: CarProcess, tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    recording = subprocess.Popen(
        recorder(car, tmp_path, "--state", "stowed", "--duration", "50 s", "--interval", "0.05 s"),
        cwd=PROJECT,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100", "LINES": "50"},
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
    )
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


@pytest.mark.parametrize("as_json", [False, True])
def test_a_full_disk_ends_it_with_the_rows_that_are_safe(
    car: CarProcess, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, as_json: bool
) -> None:
    write = os.write
    rows: list[bytes] = []

    def full(handle: int, data: bytes) -> int:
        if data[:1].isdigit() and b"," in data:  # a row; questions to the adapter go the same way
            if len(rows) == 5:
                raise OSError(28, "No space left on device")
            rows.append(data)
        return write(handle, data)

    monkeypatch.setattr("vehicle.recording.row_file.os.write", full)
    options = ["--port", car.port, "--protocol", "6", "--out", str(tmp_path / "runs"), "--duration", "60 s"]
    said = CliRunner().invoke(command, [*options, *(["--json"] if as_json else [])])
    assert said.exit_code == 2
    (path,) = (tmp_path / "runs").glob("*.csv")
    sentence = f"{path}: the disk is full: recording has stopped; 5 rows are safe in this file"
    if as_json:
        (problem,) = json.loads(said.stderr.splitlines()[-1])["errors"]
        assert problem["file"] == str(path)
        assert problem["read"].endswith("5 rows are safe in this file")
    else:
        assert said.stderr.splitlines()[-1] == sentence
    assert "nothing was computed or written" not in said.output
    assert path.read_bytes().count(b"\n") == 6  # with the header
