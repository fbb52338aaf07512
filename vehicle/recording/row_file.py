"""What a recording leaves on the disk: a CSV file that only grows, and a `[[run]]` table in the list of runs."""

from __future__ import annotations

import csv
import errno
import io
import os
import tomllib
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import tomlkit

from vehicle.files import alone_in, write_whole
from vehicle.problems import InputError, Problem
from vehicle.recording.parameters import PARAMETERS

COLUMNS: tuple[str, ...] = (
    *("time_s", "time_utc", "row_duration_s", "state", "mark", "gap"),
    *(parameter.column for parameter in PARAMETERS),
)
RUN_LIST = "runs.toml"
NEW_RUN_LIST = """\
# Runs of a road test, for `windtoll compare`. Runs are appended below; earlier text stays as you write it.
# Describe the car: remove the # in front of these lines and put in your own values.
# [engine]
# fuel = "diesel"                  # petrol, e10, diesel, lpg
# displacement = "2.0 L"           # for litres where the car reports no fuel rate
# [directions]                     # to use the wind: where your words for the direction lead
# out = "north-east"
# back = "south-west"
"""
_NEW_FILE = os.O_CREAT | os.O_EXCL | os.O_APPEND | os.O_WRONLY | getattr(os, "O_BINARY", 0)


class RowLostError(Exception):
    """A row could not be written to `path`; `rows` before it are safe. `number` is the system's (28: disk full)."""

    def __init__(self, error: OSError, path: Path, rows: int) -> None:
        super().__init__(f"{path}: {error.strerror}")
        self.number, self.reason, self.path, self.rows = error.errno, error.strerror or str(error), path, rows


class RowFile:
    """A CSV file that only grows: each row is one write, flushed to the disk before the next question is asked.

    The one writer of `vehicle.files` puts whole files in place; a recording must keep its rows when the power goes, so
    it appends.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = os.open(path, _NEW_FILE, 0o644)
        self._append(COLUMNS)
        _sync_folder(path.parent)

    def write(self, row: Mapping[str, float | str]) -> None:
        """Append one row; columns that it does not have stay empty. Raises OSError (a full disk, a pulled stick)."""
        self._append([_cell(row.get(column, "")) for column in COLUMNS])

    def _append(self, cells: Sequence[str]) -> None:
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerow(cells)
        data = text.getvalue().encode()
        written = os.write(self._file, data)
        if written != len(data):
            os.ftruncate(self._file, os.fstat(self._file).st_size - written)  # no half row stays
            raise OSError(errno.ENOSPC, "No space left on device", str(self.path))
        os.fsync(self._file)

    def close(self) -> None:
        """Close the file."""
        os.close(self._file)


def _cell(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.7g}"


def _sync_folder(folder: Path) -> None:
    """Make a new name in `folder` survive a pulled plug (where the system lets a folder be opened)."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def append_run(run_list: Path, run: Mapping[str, Any]) -> None:
    """Append one `[[run]]` table to the run list; the earlier text stays as it is, byte for byte.

    The new text is checked, written beside the run list and moved over it, so that a reader sees the old or the new
    one; of several recorders that begin at once each finds the others' runs. Empty values are left out. Raises
    InputError, with nothing written, where the run list is not TOML or has a `run` that no table can be appended to.
    """
    with alone_in(run_list.parent):
        write_whole(run_list, _with_run(run_list, run))
        _sync_folder(run_list.parent)


def _with_run(run_list: Path, run: Mapping[str, Any]) -> bytes:
    """Return the run list's text with one more table at its end. Raises InputError."""
    before = read_run_list(run_list) or NEW_RUN_LIST.encode()
    table = tomlkit.table()
    for key, value in run.items():
        if value not in (None, "", []):
            table.add(key, value)
    runs = tomlkit.aot()
    runs.append(table)
    document = tomlkit.document()
    document.add("run", runs)
    gap = "" if not before else "\n" if before.endswith(b"\n") else "\n\n"
    text = before + (gap + tomlkit.dumps(document)).encode()
    try:
        tomllib.loads(text.decode())
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(
            Problem(str(run_list), "", f"no run can be appended to it ({error})", "[[run]] tables")
        ) from None
    return text


def read_run_list(run_list: Path) -> bytes:
    """Return the run list's bytes, checked to be TOML (empty where there is none yet). Raises InputError."""
    try:
        before = run_list.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise InputError(Problem(str(run_list), "", f"cannot be read ({error.strerror})", "a TOML file")) from None
    try:
        tomllib.loads(before.decode())
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(
            Problem(str(run_list), "", f"not TOML ({error})", "TOML: mend it, or name another folder with --out")
        ) from None
    return before


def free_name(folder: Path, moment: datetime, state: str | None) -> Path:
    """Return the path of a new recording in `folder`: the local time of its beginning, then the turbine's state."""
    stem = f"{moment.astimezone():%Y-%m-%d_%H%M%S}" + (f"_{state}" if state else "")
    path, number = folder / f"{stem}.csv", 2
    while path.exists():
        path, number = folder / f"{stem}_{number}.csv", number + 1
    return path
