"""Live logging of the engine through an OBD adapter, so that neither a lost adapter nor a pulled plug loses the run.

Safety: the driver never operates this; a passenger logs. Laws on devices in view or reach of the driver differ from
place to place. The socket stays powered with the ignition off: take the adapter out when you are done.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from vehicle.problems import InputError, Problem
from vehicle.recording.adapter import Adapter, AdapterError, clock_s, obd_log_kept, open_adapter
from vehicle.recording.parameters import PARAMETERS, PidParameter
from vehicle.recording.questions import FastMode, Questions
from vehicle.recording.row_file import MANIFEST, RowFile, append_run, free_name, read_manifest_text

State = Literal["absent", "stowed", "working"]
STATES: tuple[State, ...] = ("absent", "stowed", "working")
KEYS: dict[str, str] = {"w": "working", "s": "stowed", "a": "absent", "m": "mark", " ": "mark", "q": "stop"}
FIRST_WAIT_S, LONGEST_WAIT_S = 0.5, 5.0  # between two tries to open a lost adapter again


@dataclass(frozen=True)
class Settings:
    """How to record. Times in seconds; `duration_s` None records until it is stopped."""

    out: Path
    port: str | None = None
    baud_rate: int | None = None
    protocol: str | None = None
    duration_s: float | None = None
    interval_s: float = 0.2
    slow_interval_s: float = 10.0
    wait_s: float = 0.0  # how long to wait for adapter and car before the first row
    fast_mode: bool = True  # may be tried; it must prove itself on this adapter


@dataclass(frozen=True)
class RunDetails:
    """What the engine cannot say about a run; goes to the manifest as it stands. Empty text: not said."""

    state: State | None = None
    pair: str = ""
    direction: str = ""
    vehicle: str = ""
    route: str = ""
    wind: str = ""
    wind_from: str = ""
    temperature: str = ""
    notes: str = ""


@dataclass(frozen=True)
class Status:
    """What a screen may show: `condition` is "recording" or the words about what is waited for."""

    condition: str
    elapsed_s: float
    duration_s: float | None
    rows: int
    gaps: int
    state: State | None
    values: Mapping[str, float]
    file: Path | None
    fast: bool
    event: str = ""


@dataclass(frozen=True)
class Summary:
    """One finished recording. Times in seconds; `ended_by` is "duration", "key", "interrupt"."""

    file: Path
    manifest: Path
    rows: int
    duration_s: float
    gaps: int
    gap_s: float
    marks: int
    columns: tuple[str, ...]
    fast_mode: bool
    ended_by: str


class _Stop(Exception):  # noqa: N818  # no error: the way out of the loop
    pass


class _Marks:
    """The state of the turbine and the marks that wait for the next row."""

    def __init__(self, state: State | None) -> None:
        self.state = state
        self.count = 0
        self.pending: list[str] = []
        self._wall_offset_s: float | None = None

    def pressed(self, meaning: str) -> None:
        """Take in a key's meaning: a state of the turbine, or "mark"."""
        self.count += 1
        for state in STATES:
            if meaning == state:
                self.state = state
        self.pending.append(f"mark {self.count}" if meaning == "mark" else meaning)

    def watch_wall_clock(self, wall_s: float) -> None:
        """Mark where the computer's clock was moved since the last row."""
        offset_s = wall_s - clock_s()
        if self._wall_offset_s is not None and abs(offset_s - self._wall_offset_s) > 1.0:
            self.pending.append(f"wall clock moved by {offset_s - self._wall_offset_s:+.1f} s")
        self._wall_offset_s = offset_s

    def taken(self) -> str:
        """Return the pending marks as one cell, and forget them."""
        text = "; ".join(self.pending)
        self.pending.clear()
        return text


class _Rows:
    """The rows of one recording, written with the clocks, the state and the marks of their moment."""

    def __init__(self, file: RowFile, marks: _Marks) -> None:
        self.file = file
        self.count = 0
        self.started_s = clock_s()
        self._marks = marks

    def put(self, began_s: float, took_s: float, values: Mapping[str, float], gap: str = "") -> None:
        """Append a row that began at `began_s` [s] of `clock_s` and took `took_s` [s]."""
        wall_s = time.time()
        self._marks.watch_wall_clock(wall_s)
        moment = datetime.fromtimestamp(wall_s - (clock_s() - began_s), UTC)
        row: dict[str, float | str] = {
            "time_s": f"{began_s - self.started_s:.4f}",
            "time_utc": moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "row_duration_s": f"{took_s:.4f}",
            "state": self._marks.state or "",
            "mark": self._marks.taken(),
            "gap": gap,
            **values,
        }
        self.file.write(row)
        self.count += bool(values)

    def put_marks(self) -> None:
        """Append a row without values where marks wait."""
        if self._marks.pending:
            self.put(clock_s(), 0.0, {})

    def close(self) -> None:
        """Write the last marks and close the file."""
        try:
            self.put_marks()
        finally:
            self.file.close()


@dataclass
class _Gaps:
    """The gaps of a recording: how many, how long in all [s], and the words for the first row after one."""

    count: int = 0
    total_s: float = 0.0
    pending: str = ""

    @contextmanager
    def measured(self, lost_at_s: float) -> Iterator[None]:
        """Count one gap, from `lost_at_s` [s] to the end of the context, however that ends."""
        self.count += 1
        try:
            yield
        finally:
            length_s = clock_s() - lost_at_s
            self.total_s += length_s
        self.pending = f"end: {length_s:.1f} s"


class _Recording:
    """One recording from the first try to reach the car until its end."""

    def __init__(
        self, settings: Settings, details: RunDetails, keys: Callable[[], str], show: Callable[[Status], None]
    ) -> None:
        self.settings = settings
        self.details = details
        self.keys = keys
        self.show = show
        self.marks = _Marks(details.state)
        self.gaps = _Gaps()
        self.fast_mode = FastMode(allowed=settings.fast_mode)
        self.values: dict[str, float] = {}
        self.started_s = clock_s()
        self.adapter: Adapter | None = None
        self.rows: _Rows | None = None
        self.wanted: tuple[PidParameter, ...] = ()

    # -- clock, keys, screen

    def elapsed_s(self) -> float:
        return clock_s() - self.started_s

    def tell(self, condition: str, event: str = "") -> None:
        status = Status(
            condition=condition,
            elapsed_s=self.elapsed_s(),
            duration_s=self.settings.duration_s,
            rows=self.rows.count if self.rows else 0,
            gaps=self.gaps.count,
            state=self.marks.state,
            values=dict(self.values),
            file=self.rows.file.path if self.rows else None,
            fast=bool(self.adapter and self.adapter.fast),
            event=event,
        )
        self.show(status)

    def heed(self) -> None:
        """Take in key presses and the end of the time; raises _Stop."""
        for key in self.keys():
            meaning = KEYS.get(key.lower(), "")
            if meaning == "stop":
                raise _Stop("key")
            if meaning:
                self.marks.pressed(meaning)
                self.tell("recording" if self.adapter else "waiting", self.marks.pending[-1])
        if self.settings.duration_s is not None and self.elapsed_s() >= self.settings.duration_s:
            raise _Stop("duration")

    def sleep(self, seconds: float) -> None:
        end_s = clock_s() + seconds
        while (left_s := end_s - clock_s()) > 0:
            time.sleep(min(left_s, 0.05))
            self.heed()

    # -- from beginning to end

    def run(self) -> Summary:
        ended_by = "interrupt"
        fast = False
        try:
            rows, questions = self.begin()
            self.record_rows(rows, questions)
        except _Stop as stop:
            ended_by = str(stop)
        except KeyboardInterrupt:
            if self.rows is None:
                raise
        finally:
            fast = bool(self.adapter and self.adapter.fast)
            if self.adapter is not None:
                self.adapter.close()
            if self.rows is not None:
                self.rows.close()
        if self.rows is None:
            raise AdapterError("no adapter", "Stopped before the adapter answered; nothing was recorded.")
        return Summary(
            file=self.rows.file.path,
            manifest=self.settings.out / MANIFEST,
            rows=self.rows.count,
            duration_s=self.elapsed_s(),
            gaps=self.gaps.count,
            gap_s=self.gaps.total_s,
            marks=self.marks.count,
            columns=tuple(p.column for p in self.wanted),
            fast_mode=fast,
            ended_by=ended_by,
        )

    def begin(self) -> tuple[_Rows, Questions]:
        self.started_s = clock_s()
        supported = self.first_connection()
        wanted = self.wanted = tuple(p for p in PARAMETERS if p.pid in supported)
        if not any(p.fast for p in wanted):
            raise AdapterError("no ignition", "The car lists none of the parameters that windtoll records.")
        questions = Questions(
            wanted,
            slow_interval_s=self.settings.slow_interval_s,
            fast_mode=self.fast_mode,
            event=lambda words: self.tell("recording", words),
        )
        moment = datetime.now(UTC)
        rows = self.rows = _Rows(_new_file(free_name(self.settings.out, moment, self.marks.state)), self.marks)
        assert self.adapter is not None
        entry = _run_entry(rows.file.path, moment, self.details, self.adapter.protocol_name, wanted)
        append_run(self.settings.out / MANIFEST, entry)
        self.started_s = rows.started_s = clock_s()
        self.tell("recording", f"recording to {rows.file.path}")
        return rows, questions

    def first_connection(self) -> set[int]:
        """Open the adapter, again and again for the time that the settings give; return what the car supports."""
        until_s = clock_s() + self.settings.wait_s
        while True:
            try:
                self.adapter, supported = open_adapter(
                    self.settings.port, self.settings.baud_rate, self.settings.protocol
                )
                return supported
            except AdapterError as trouble:
                if clock_s() >= until_s or trouble.kind == "no permission":
                    raise
                self.tell(f"waiting: {trouble}")
                self.sleep(min(until_s - clock_s(), 1.0))

    def record_rows(self, rows: _Rows, questions: Questions) -> None:
        due_s = clock_s()
        while True:
            self.heed()
            self.row(rows, questions)
            self.tell("recording")
            due_s = max(due_s + self.settings.interval_s, clock_s())
            self.sleep(due_s - clock_s())

    # -- one row, one gap

    def row(self, rows: _Rows, questions: Questions) -> None:
        """Ask what is due, write the answers, and mend the connection where it is lost."""
        adapter = self.adapter
        assert adapter is not None
        began_s = clock_s()
        values: dict[str, float] = {}
        asked, why = 0, ""
        for parameter in questions.due(began_s):
            value = questions.ask(adapter, parameter)
            asked += 1
            if value is not None:
                values[parameter.column] = value
            why = questions.lost(adapter)
            if why:
                break
        self.values.update(values)
        if values:
            rows.put(began_s, clock_s() - began_s, values, self.gaps.pending)
            self.gaps.pending = ""
        elif self.marks.pending:
            rows.put(began_s, clock_s() - began_s, values)
        if why:
            self.gap(why, adapter, rows, questions)
        else:
            questions.row_done(adapter, whole=len(values) == asked)

    def gap(self, why: str, lost: Adapter, rows: _Rows, questions: Questions) -> None:
        """Close the lost connection, say so in the file, and open new ones until one answers."""
        lost_at_s = clock_s()
        lost.close()
        self.adapter = None
        with self.gaps.measured(lost_at_s):
            rows.put(lost_at_s, 0.0, {}, f"begin: {why}")
            self.tell(f"waiting: {why}", f"gap begins: {why}")
            wait_s = FIRST_WAIT_S
            while self.adapter is None:
                self.heed()
                rows.put_marks()
                try:
                    self.adapter = self.reopened(lost)
                except AdapterError as trouble:
                    self.tell(f"waiting: {trouble}")
                    self.sleep(wait_s)
                    wait_s = min(1.5 * wait_s, LONGEST_WAIT_S)
        questions.begin_again()
        self.tell("recording", f"back after{self.gaps.pending.removeprefix('end:')}")

    def reopened(self, before: Adapter) -> Adapter:
        """Return a new adapter whose car gives a usable value; a list of what it supports is not enough.

        Takes the port of before; where none was named and that one is gone, any (a replugged adapter may get another).
        """
        port = self.settings.port or (before.port if Path(before.port).exists() else None)
        adapter, _ = open_adapter(port, self.settings.baud_rate or before.baud_rate, before.protocol_id)
        if any(adapter.ask(parameter).value is not None for parameter in self.wanted[:3]):
            return adapter
        heard = adapter.heard()
        adapter.close()
        raise AdapterError("no ignition", f"the car gives no usable answer ({heard})")


def _new_file(path: Path) -> RowFile:
    try:
        return RowFile(path)
    except OSError as error:
        raise InputError(
            Problem(str(path), "", f"cannot be written ({error.strerror})", "a folder that can be written to")
        ) from None


def _run_entry(
    path: Path, moment: datetime, details: RunDetails, protocol_name: str, wanted: tuple[PidParameter, ...]
) -> dict[str, Any]:
    return {
        "file": path.name,
        "started": moment.replace(microsecond=0),
        "state": details.state,
        "pair": int(details.pair) if details.pair.isdecimal() else details.pair,
        "direction": details.direction,
        "vehicle": details.vehicle,
        "route": details.route,
        "wind": details.wind,
        "wind_from": details.wind_from,
        "temperature": details.temperature,
        "notes": details.notes,
        "protocol": protocol_name,
        "parameters": [p.column for p in wanted],
    }


def _no_keys() -> str:
    return ""


def _no_screen(_: Status) -> None:
    return None


def record(
    settings: Settings,
    details: RunDetails | None = None,
    *,
    keys: Callable[[], str] = _no_keys,
    show: Callable[[Status], None] = _no_screen,
) -> Summary:
    """Record the engine until the duration is over, the stop key or an interrupt; return what was recorded.

    Makes `settings.out`, a new CSV file of `COLUMNS` in it, and a `[[run]]` table in its manifest, both when the car
    first answers. Each round asks the fast parameters and now and then a slow one, and writes one row: `time_s` counts
    from the first row on a clock that never steps, `time_utc` is the computer's clock, both of the moment when the
    row's first question was sent; `row_duration_s` is the time until its last answer. An empty cell was not asked or
    not answered. `state` is the state of the turbine, `mark` what a key said. When the connection is lost, a row with
    `gap` "begin: why" is written at once, and the first row after it has "end: seconds".

    `keys` returns the characters pressed since it was last called (see `KEYS`); `show` gets a `Status` after each row
    and each event. Raises AdapterError where adapter or car cannot be reached at first (later they are waited for),
    InputError for a folder or manifest that cannot be used, OSError where a row cannot be written.
    """
    details = details or RunDetails()
    try:
        settings.out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            Problem(str(settings.out), "", f"cannot be made ({error.strerror})", "a folder that can be written to")
        ) from None
    read_manifest_text(settings.out / MANIFEST)  # told before the drive, not after it
    with obd_log_kept():
        return _Recording(settings, details, keys, show).run()
