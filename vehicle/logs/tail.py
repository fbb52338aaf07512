"""A recording that another program is still writing, looked at again and again: only what is new is read.

Every look reads the head of the file and its last stretch, whatever its length, and counts the lines that came since
the look before; so a look at a long recording takes no longer than one at a short one.
"""

from __future__ import annotations

import os
import stat
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from vehicle import csv_text
from vehicle.logs.columns import PARAMETERS
from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.problems import InputError, Problem

if TYPE_CHECKING:
    import pandas as pd

TAIL_BYTES = 64 * 1024
_HEAD_BYTES = 16 * 1024
_CHUNK_BYTES = 1024 * 1024
_LEAST_SILENCE_S = 5.0  # a recorder that finds no answer writes nothing for some seconds
_ROWS_OF_SILENCE = 5.0
_LEAST_AGE_S = 3.0  # a value younger than that is current
_TURNS_MISSED = 3.0  # times the usual time between two answers of a parameter: it has stopped answering


@dataclass(frozen=True)
class Seen:
    """How far a file was read: which file (device, number, first bytes), up to which byte, and the lines so far."""

    device: int
    number: int
    head: bytes
    offset: int
    lines: int


@dataclass(frozen=True)
class Look:
    """What a look at a recording shows.

    `rows` are those written whole so far, `duration_s` from the first of them to the last. `values` has the last known
    value of each parameter in SI, by its tidy name, `ages_s` how long before the last row it was read, `old` those that
    have not been read for much longer than usual, or all of them while the recorder waits. `state` is what
    the turbine is marked as ("" unknown), `gap` what
    the last row says of a lost adapter or car. `silent_s` is the time since the file last grew, `row_s` the usual time
    from row to row.
    """

    path: Path
    rows: int
    duration_s: float
    values: dict[str, float]
    state: str
    gap: str
    silent_s: float
    row_s: float
    seen: Seen
    ages_s: dict[str, float]
    old: frozenset[str]

    @property
    def stopped(self) -> bool:
        """Return whether no row has come for so long that the recording has ended, or waits."""
        return self.silent_s > max(_LEAST_SILENCE_S, _ROWS_OF_SILENCE * self.row_s)


def newest_recording(typed: Path) -> Path:
    """Return the CSV file that was typed, or the newest in the folder that was typed. Raises InputError otherwise.

    Nothing but plain files that end in .csv is ever opened.
    """
    accepted = "a CSV file that windtoll record writes, or the folder that it writes to"
    try:
        mode = typed.stat().st_mode
        if stat.S_ISDIR(mode):
            recordings = [
                (p.stat().st_mtime_ns, p) for p in typed.iterdir() if p.suffix.lower() == ".csv" and p.is_file()
            ]
            if not recordings:
                raise InputError(Problem(str(typed), "", "no CSV file in this folder yet", accepted))
            return max(recordings)[1]
    except FileNotFoundError:
        raise InputError(Problem(str(typed), "", "no such file or folder yet", accepted)) from None
    except OSError as error:
        raise InputError(Problem(str(typed), "", f"cannot be looked at ({error.strerror})", accepted)) from None
    except ValueError:  # a name that no system takes, such as one with a null character
        raise InputError(Problem(repr(str(typed)), "", "no name of a file", accepted)) from None
    if typed.suffix.lower() != ".csv":
        raise InputError(Problem(str(typed), "", f"a file of kind {typed.suffix or '(none)'}", accepted))
    if not stat.S_ISREG(mode):
        raise InputError(Problem(str(typed), "", "no plain file", accepted))
    return typed


def look_at(path: Path, before: Seen | None, now_s: float) -> Look:
    """Return what a recording shows now; `before` is what was seen at the last look, `now_s` the time (seconds, epoch).

    A file that was replaced or cut is begun anew. Raises InputError where the file cannot be read, or has no row yet.
    """
    try:
        with open(path, "rb") as file:
            about = os.fstat(file.fileno())
            head = file.read(min(_HEAD_BYTES, about.st_size))
            seen = _counted(file, before, about, head)
            start = max(len(head), about.st_size - TAIL_BYTES)
            file.seek(start)
            tail = file.read(about.st_size - start)
    except OSError as error:
        raise InputError(Problem(str(path), "", f"cannot be read ({error.strerror})", "a file you may read")) from None
    if head and (csv_text.is_packed(head) or not csv_text.is_plain(head)):
        raise InputError(
            Problem(path.name, "", "no plain text (packed, or of wide signs)", "what windtoll record writes")
        )
    text = _stretch(head, tail, joined=start == len(head))
    if text.count(b"\n") < 2:
        raise InputError(Problem(path.name, "", "no whole row yet", "a recording with rows; it is looked at again"))
    log = _as_log(path.name, text)
    table = log.table.iloc[-max(1, tail.count(b"\n")) :] if tail else log.table
    values, ages_s, old = _last_values(table)
    gap = _last_gap(text)
    return Look(
        path,
        max(0, seen.lines - 1),
        log.duration_s,
        values,
        "" if log.states is None or not log.states.size else str(log.states[-1]),
        gap,
        max(0.0, now_s - about.st_mtime),
        float(log.table["step_s"].iloc[-50:].median()) if log.rows else 0.0,
        seen,
        ages_s,
        frozenset(values) if gap else old,
    )


def _counted(file: BinaryIO, before: Seen | None, about: os.stat_result, head: bytes) -> Seen:
    """Return how far the file is read now, lines counted from where the last look ended."""
    same = (
        before is not None
        and (before.device, before.number) == (about.st_dev, about.st_ino)
        and about.st_size >= before.offset
        and head.startswith(before.head)
    )
    offset, lines = (before.offset, before.lines) if before is not None and same else (0, 0)
    file.seek(offset)
    while chunk := file.read(min(_CHUNK_BYTES, about.st_size - offset)):
        lines += chunk.count(b"\n")
        offset += len(chunk)
    return Seen(about.st_dev, about.st_ino, head[:512], offset, lines)


def _stretch(head: bytes, tail: bytes, *, joined: bool) -> bytes:
    """Return header and first rows, then the last rows; only whole lines."""
    text = head + tail if joined else head[: head.rfind(b"\n") + 1] + tail[tail.find(b"\n") + 1 :]
    return text[: text.rfind(b"\n") + 1]


def _as_log(name: str, text: bytes) -> Log:
    with tempfile.TemporaryDirectory(prefix="windtoll-") as folder:
        path = Path(folder) / "recording.csv"
        path.write_bytes(text)
        try:
            return read_log(path)
        except InputError as error:
            raise InputError(
                [Problem(name if p.where == path.name else p.where, p.key, p.read, p.accepted) for p in error.problems]
            ) from None


def _last_values(table: pd.DataFrame) -> tuple[dict[str, float], dict[str, float], frozenset[str]]:
    """Return the last value of each parameter, how long before the last row it was read [s], and which are old."""
    values, ages_s, old = {}, {}, set()
    last_s = float(table["time_s"].iloc[-1]) if len(table) else 0.0
    for parameter in PARAMETERS:
        if parameter.name not in table:
            continue
        known = table[["time_s", parameter.name]].dropna()
        if not len(known):
            continue
        values[parameter.name] = float(known[parameter.name].iloc[-1])
        ages_s[parameter.name] = last_s - float(known["time_s"].iloc[-1])
        usual_s = float(known["time_s"].diff().median()) if len(known) > 1 else float("inf")
        if ages_s[parameter.name] > max(_LEAST_AGE_S, _TURNS_MISSED * usual_s):
            old.add(parameter.name)
    return values, ages_s, frozenset(old)


def _last_gap(text: bytes) -> str:
    """Return what the last row says under "gap": why the recorder waits; "" where it does not."""
    lines = csv_text.decoded(text).rstrip("\n").split("\n")
    header, last = csv_text.split_line(lines[0], ","), csv_text.split_line(lines[-1], ",")
    if "gap" not in header or len(last) != len(header):
        return ""
    said = last[header.index("gap")]
    return said.removeprefix("begin: ") if said.startswith("begin: ") else ""
