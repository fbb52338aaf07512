"""Cases of a car and its adapter, recorded and checked cell by cell against what the simulated adapter sent."""

from __future__ import annotations

import csv
import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from recording_support import FORMULAS, PROJECT, CarProcess

from vehicle.recording.access import AdapterError
from vehicle.recording.loop import Settings, Status, Summary, record

SCRIPT = PROJECT / "tests" / "vehicle" / "serial_adapter.py"
SLACK_S = 0.5  # between the clocks of the simulated adapter and of a row: a busy machine holds up either as long
BEFORE_S = 0.15  # a hole that began longer before the first row is the time until a first value came
LONG_HOLE_S = 4.5  # a hole that has to be reported on the slowest car too


@dataclass(frozen=True)
class Case:
    """A setup of the simulated adapter, and what happens when: seconds after the first row, and a command."""

    name: str
    setup: dict[str, Any] = field(default_factory=dict)
    steps: tuple[tuple[float, dict[str, Any]], ...] = ()
    duration_s: float = 6.0
    protocol: str | None = "6"
    before: tuple[tuple[float, dict[str, Any]], ...] = ()  # seconds after the start
    wait_s: float = 0.0
    interval_s: float | None = None

    def pause_s(self) -> float:
        """Return the time between rows [s]; none where the adapter has no delays."""
        return self.interval_s if self.interval_s is not None else 0.0 if self.setup.get("quick") else 0.2


@dataclass
class Outcome:
    """What a case gave. Cells are counted; times in seconds; `holes` are pairs of reported and true length."""

    rows: int = 0
    rows_per_s: float = 0.0
    first_sign_s: float = float("nan")
    first_value_s: float = float("nan")
    right: int = 0
    foreign: int = 0
    stale: int = 0
    false: int = 0
    holes: list[tuple[float, float]] = field(default_factory=list)
    unreported: list[float] = field(default_factory=list)
    stop_s: float = float("nan")
    longest_silence_s: float = 0.0
    refused: str = ""
    refused_s: float = float("nan")
    summary: Summary | None = None
    seen: list[Status] = field(default_factory=list)
    file_rows: list[dict[str, str]] = field(default_factory=list)

    def events(self) -> list[str]:
        """Return the events in sequence."""
        return [status.event for status in self.seen if status.event]


class _Player:
    """Plays the steps of a case from the recorder's own callbacks, and stops it with a key at the end.

    Steps go by the world's time; what the recorder took is measured with `clock`.
    """

    def __init__(self, case: Case, car: CarProcess, outcome: Outcome, clock: Callable[[], float]) -> None:
        self.case, self.car, self.outcome, self.clock = case, car, outcome, clock
        self.began_s = time.monotonic()
        self.clock_began_s = clock()
        self.steps = list(case.steps)
        self.before = list(case.before)
        self.first_row_s: float | None = None
        self.pressed_s: float | None = None
        self.last_call_s = self.clock_began_s

    def took_s(self) -> float:
        """Return the seconds since the start."""
        return self.clock() - self.clock_began_s

    def show(self, status: Status) -> None:
        self.outcome.seen.append(status)
        if len(self.outcome.seen) == 1:
            self.outcome.first_sign_s = self.took_s()
        if self.first_row_s is None and status.rows:
            self.first_row_s = time.monotonic()
            self.outcome.first_value_s = self.took_s()

    def keys(self) -> str:
        at_s, called_s = time.monotonic(), self.clock()
        self.outcome.longest_silence_s = max(self.outcome.longest_silence_s, called_s - self.last_call_s)
        self.last_call_s = called_s
        while self.before and at_s - self.began_s >= self.before[0][0]:
            self.car.tell(**self.before.pop(0)[1])
        if self.first_row_s is not None:
            while self.steps and at_s - self.first_row_s >= self.steps[0][0]:
                self.car.tell(**self.steps.pop(0)[1])
            if at_s - self.first_row_s >= self.case.duration_s and self.pressed_s is None:
                self.pressed_s = called_s
                return "q"
        if at_s - self.began_s > 150:
            return "q"
        return ""


def play(case: Case, folder: Path, clock: Callable[[], float] = time.monotonic, **more: Any) -> Outcome:
    """Record a case into a folder of its own; return what came of it, its times by `clock`."""
    folder.mkdir(parents=True)
    car = CarProcess(folder / "adapter", script=SCRIPT)
    outcome = Outcome()
    try:
        car.tell(set=case.setup)
        player = _Player(case, car, outcome, clock)
        settings = Settings(
            folder / "runs", car.port, None, case.protocol, interval_s=case.pause_s(), wait_s=case.wait_s, **more
        )
        try:
            outcome.summary = record(settings, keys=player.keys, show=player.show)
            outcome.stop_s = clock() - (player.pressed_s if player.pressed_s is not None else clock())
        except AdapterError as error:
            outcome.refused = str(error)
            outcome.refused_s = player.took_s()
    finally:
        car.kill()
    if outcome.summary is not None:
        check(outcome, Path(f"{car.port}.sent"))
    return outcome


def check(outcome: Outcome, sent: Path) -> None:
    """Trace each cell to what was sent, and each hole to its report."""
    assert outcome.summary is not None
    with outcome.summary.file.open(newline="") as file:
        outcome.file_rows = list(csv.DictReader(file))
    log = [json.loads(line) for line in sent.read_text().splitlines()]
    data = [row for row in outcome.file_rows if any(row[column] for column in FORMULAS)]
    outcome.rows = len(data)
    outcome.rows_per_s = outcome.rows / outcome.summary.duration_s
    by_pid: dict[str, list[dict[str, Any]]] = {}
    for entry in log:
        by_pid.setdefault(entry["pid"], []).append(entry)
    times = {pid: np.array([entry["t"] for entry in entries]) for pid, entries in by_pid.items()}
    for row in data:
        began = datetime.fromisoformat(row["time_utc"]).timestamp()
        window = (began - SLACK_S, began + float(row["row_duration_s"]) + SLACK_S)
        for column, (number, _, formula) in FORMULAS.items():
            if row[column]:
                kind = _kind(float(row[column]), f"{number:02X}", formula, window, by_pid, times)
                setattr(outcome, kind, getattr(outcome, kind) + 1)
    _check_holes(outcome, log)


def _kind(
    value: float,
    pid: str,
    formula: Callable[[int], float],
    window: tuple[float, float],
    by_pid: dict[str, list[dict[str, Any]]],
    times: dict[str, np.ndarray],
) -> str:
    """Return what a cell is: right (the engine's, of its row's time), foreign, stale (the engine's, earlier) or
    false.
    """
    first, last = np.searchsorted(times[pid], window)
    near = by_pid[pid][first:last]
    same = [entry for entry in near if abs(formula(entry["raw"]) - value) <= 1e-6 * max(1.0, abs(value))]
    if any(entry["unit"] == "engine" for entry in same):
        return "right"
    if same:
        return "foreign"
    earlier = by_pid[pid][:first]
    if any(e["unit"] == "engine" and abs(formula(e["raw"]) - value) < 1e-6 * max(1.0, value) for e in earlier):
        return "stale"
    return "false"


def _check_holes(outcome: Outcome, log: list[dict[str, Any]]) -> None:
    """Compare the holes in what the engine sent, undamaged, with what the file says."""
    good = [entry["t"] for entry in log if entry["unit"] == "engine" and entry["whole"]]
    lengths = [(b - a, a) for a, b in pairwise(good) if b - a > LONG_HOLE_S]
    first = datetime.fromisoformat(outcome.file_rows[0]["time_utc"]).timestamp()
    true = [(length, at) for length, at in lengths if at > first - BEFORE_S]
    reported = [
        (float(row["gap"].removeprefix("end: ").removesuffix(" s")), row)
        for row in outcome.file_rows
        if row["gap"].startswith("end: ")
    ]
    for length, at in true:
        ends = [
            (abs(said - length), said)
            for said, row in reported
            if abs(datetime.fromisoformat(row["time_utc"]).timestamp() - (at + length)) < 3.0
        ]
        if ends:
            outcome.holes.append((min(ends)[1], length))
        else:
            outcome.unreported.append(length)


ENGINE_PIDS = ["04", "05", "0B", "0C", "0D", "0F", "10", "11"]
GEARBOX = {"pids": ["05", "0C", "0D", "42"]}
# On a line without check bytes a noisy value is asked twice: it has to stay the same for that.
STEADY = {pid: 0x5A if size == 1 else 0x2D5A for _, (number, size, _) in FORMULAS.items() for pid in [f"{number:02X}"]}


def both(**gearbox: Any) -> dict[str, Any]:
    """Return an engine and a gearbox that answers what it has."""
    return {"gearbox": {**GEARBOX, **gearbox}, "engine": {"pids": ENGINE_PIDS}}


CASES: tuple[Case, ...] = (
    *(
        Case(f"protocol {digit}", {"protocol": digit, "init_s": 2.5 if digit in "34" else 0.3}, protocol=digit)
        for digit in "123456789"
    ),
    Case("protocol 3, searched 12 s", {"protocol": "3", "search_s": 12.0, "init_s": 2.5}, protocol=None),
    Case("engine and gearbox, 11 bit", {"units": both(), "quick": True}, duration_s=8.0),
    Case("engine and gearbox, 29 bit", {"units": both(), "quick": True, "protocol": "7"}, protocol="7"),
    Case("engine and gearbox, protocol 5", {"units": both(), "protocol": "5"}, protocol="5"),
    Case(
        "engine loses answers, gearbox not",
        {
            "quick": True,
            "units": {"gearbox": GEARBOX, "engine": {"pids": ENGINE_PIDS, "absent": 0.2}},
        },
    ),
    Case(
        "gearbox alone at first",
        {"units": {"gearbox": GEARBOX, "engine": {"pids": ENGINE_PIDS, "awake": False}}, "quick": True},
        before=((4.0, {"set": {"units": both()}}),),
    ),
    Case(
        "gearbox alone after a gap",
        {"units": both(), "quick": True},
        (
            (2.0, {"set": {"units": {"gearbox": GEARBOX, "engine": {"pids": ENGINE_PIDS, "awake": False}}}}),
            (9.0, {"set": {"units": both()}}),
        ),
        duration_s=13.0,
    ),
    Case("ignition off 16 s", {}, ((2.0, {"set": {"fault": "no data"}}), (18.0, {"set": {"fault": ""}})), 22.0),
    Case(
        "ignition off 16 s, protocol 3",
        {"protocol": "3", "init_s": 2.5},
        ((3.0, {"set": {"fault": "no data"}}), (19.0, {"set": {"fault": ""}})),
        27.0,
        protocol="3",
    ),
    Case("adapter silent 31 s", {}, ((2.0, {"set": {"fault": "silent"}}), (33.0, {"set": {"fault": ""}})), 40.0),
    Case("adapter restarts", {}, tuple((at, {"restart": True}) for at in (1.5, 3.0, 5.0)), 9.0),
    Case(
        "adapter restarts, protocol 4",
        {"protocol": "4", "init_s": 1.0},
        tuple((at, {"restart": True}) for at in (2.0, 6.0)),
        12.0,
        protocol="4",
    ),
    Case("1 % of characters lost", {"lose": 0.01, "quick": True}, duration_s=20.0),
    Case("1 % lost, protocol 5", {"lose": 0.01, "protocol": "5"}, duration_s=20.0, protocol="5"),
    Case("1 % flipped, protocol 2", {"flip": 0.01, "quick": True, "protocol": "2"}, duration_s=15.0, protocol="2"),
    Case("1 % flipped, protocol 5", {"flip": 0.01, "quick": True, "protocol": "5"}, duration_s=15.0, protocol="5"),
    Case("0.1 % flipped, 11 bit", {"flip": 0.001, "quick": True, "steady": STEADY}, duration_s=10.0),
    Case("bytes that are no text", {}, ((2.0, {"set": {"fault": "bytes"}}), (9.0, {"set": {"fault": ""}})), 12.0),
    Case("talks without a prompt", {}, ((2.0, {"set": {"fault": "chatter"}}), (12.0, {"set": {"fault": ""}})), 18.0),
    Case("bus start fails once", {"protocol": "4", "init_s": 1.0, "init_fails": 1}, protocol=None, wait_s=30.0),
    Case("search ends in STOPPED", {"search_stops": 1, "search_s": 1.0}, protocol=None, wait_s=30.0),
    Case("echo stays on", {"echo_stays": True}),
    Case("headers stay off", {"headers_stay": True}),
    Case("frames filled up", {"pad": "AA", "units": both(), "quick": True}),
)
