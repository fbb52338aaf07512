"""The rows of a recording as they come to be: answers so far, marks and states, gaps, and their writing with clocks."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

from vehicle.recording.port import clock_s
from vehicle.recording.row_file import RowFile, RowLostError

State = Literal["absent", "stowed", "working"]
STATES: tuple[State, ...] = ("absent", "stowed", "working")


class RowMarks:
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


class Rows:
    """The rows of one recording, written with the clocks, the state and the marks of their moment."""

    def __init__(self, file: RowFile, marks: RowMarks) -> None:
        self.file = file
        self.count = 0
        self.started_s = self.last_s = clock_s()
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
        try:
            self.file.write(row)
        except OSError as error:
            raise RowLostError(error, self.file.path, self.count) from None
        self.last_s = began_s
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
class Gaps:
    """The gaps of a recording: how many, how long in all [s], and the words for the first row after one."""

    count: int = 0
    total_s: float = 0.0
    since_s: float | None = None
    pending: str = ""

    def begin(self, since_s: float) -> None:
        """Begin a gap at the last good answer, `since_s` [s]."""
        self.count += 1
        self.since_s = since_s

    def end(self, at_s: float) -> float:
        """End the gap at `at_s` [s]; return its length [s]."""
        assert self.since_s is not None
        length_s = at_s - self.since_s
        self.since_s = None
        self.total_s += length_s
        self.pending = f"end: {length_s:.1f} s"
        return length_s

    def taken(self) -> str:
        """Return the words for the first row after a gap, and forget them."""
        text, self.pending = self.pending, ""
        return text


@dataclass
class OpenRow:
    """The answers that the row being asked has so far."""

    began_s: float = 0.0
    ended_s: float = 0.0
    values: dict[str, float] = field(default_factory=dict)

    def add(self, column: str, value: float, asked_s: float, answered_s: float) -> None:
        """Take in an answer that came at `answered_s` to a question of `asked_s` [s]."""
        if not self.values:
            self.began_s = asked_s
        self.values[column] = value
        self.ended_s = answered_s
