"""The CSV of a passenger's call sheet: when each run of a road test began and ended, and the run list that it makes.

One row an entry, as the page on the phone shares it: `time_s`, `time_utc`, `run`, `state`, `pair`, `direction`,
`event` ("run 3 begins", "run 3 ends", "run 3 void"), `note`, and numbers that were typed. The phone's clock is set
onto the log's by the dates in both, or where these are missing or disagree, by the standstill between the runs.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from vehicle.files import is_file
from vehicle.logs.join import LogText, read_log_text
from vehicle.logs.log import Log
from vehicle.logs.offset import LEAST_CORRELATION, OffsetEstimate, find_offset
from vehicle.problems import InputError, Problem, shown
from vehicle.road_test.run_list import STATES
from vehicle.road_test.sources import MOVING_M_S

_NEEDED = ("run", "state", "event")
_EVENT = re.compile(r"run (\d+) (begins|ends|void)")
_TAPPED_S = 30.0  # taps and clocks agree within that: the clocks are taken
_WITHIN_S = 600.0  # as `windtoll join` looks about the clocks
_LEAST_COVERED = 0.8  # of a run by its log
_LEAST_RUN_S = 30.0
_HEAD_BYTES = 4096
_LEAST_MOVING = 0.9  # of the time in its runs
# Without dates, by the stops alone: traffic lights may stand in the runs. Where the log does not cover every run, the
# next best place must be clearly worse; where they agree only roughly, the user is asked to check (our choice, on
# invented drives of runs as alike as a stopwatch makes them).
_LEAST_MOVING_BY_STOPS, _CLOSELY, _CLEARLY_WORSE = 0.75, 0.8, 0.15


@dataclass(frozen=True)
class SheetRun:
    """One run as it was tapped: from `begin_s` to `end_s` on the sheet's clock; what was typed in it (SI)."""

    number: int
    state: str
    pair: str
    direction: str
    begin_s: float
    end_s: float
    notes: str = ""
    temperature_k: float | None = None
    gust_m_s: float | None = None


@dataclass(frozen=True)
class CallSheet:
    """The runs of a call sheet in their order, the wall clock at its second 0 (None unknown), and what was left out."""

    name: str
    runs: tuple[SheetRun, ...]
    wall_start_s: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class SheetOffset:
    """What to add to a sheet's seconds to get a log's, and how it was found."""

    offset_s: float
    how: str
    warning: str = ""


def is_call_sheet(content: bytes) -> bool:
    """Return whether a file is the CSV of a road test's call sheet."""
    return {name.encode() for name in _NEEDED} <= _header(content[:_HEAD_BYTES])


def has_entries(path: Path) -> bool:
    """Return whether a CSV is a call sheet of any kind: rows that only mark something stand between the readings.

    What cannot be read is none; whoever reads it then says why.
    """
    if not is_file(path):
        return False
    try:
        with path.open("rb") as file:
            header = _header(file.read(_HEAD_BYTES))
    except OSError:
        return False
    return {b"event", b"time_utc"} <= header


def _header(head: bytes) -> set[bytes]:
    lines = [line for line in head.lstrip(b"\xef\xbb\xbf").splitlines() if line.strip(b' ,;\t"')]
    lines = [line for line in lines if not line.lstrip(b'"').startswith(b"#")]
    return {cell.strip(b' "') for cell in re.split(rb"[,;\t]", lines[0])} if lines else set()


def read_call_sheet(path: Path) -> CallSheet:
    """Return the runs of a call sheet. Raises InputError for a file that is none, or has no whole run."""
    log = read_log_text(path)
    missing = [name for name in _NEEDED if name not in log.header]
    if missing:
        accepted = "the CSV of a road test's call sheet (windtoll plan --call-sheet), as its Share gives it"
        raise InputError(Problem(path.name, "header", f"no column {', '.join(missing)}", accepted))
    entries = _entries(log)
    runs, warnings = _runs(path.name, log, entries)
    if not runs:
        why = "; ".join(warnings) or "no entry such as 'run 1 begins'"
        raise InputError(Problem(path.name, "event", f"no whole run ({why})", "runs that begin and end"))
    return CallSheet(path.name, tuple(runs), log.wall_start_s, tuple(warnings))


@dataclass(frozen=True)
class _Entry:
    row: int
    time_s: float
    run: int
    event: str


def _entries(log: LogText) -> list[_Entry]:
    place = log.header.index("event")
    entries = []
    for row, cells in enumerate(log.rows):
        match = _EVENT.fullmatch(cells[place].strip().lower())
        time_s = float(log.numbers["time_s"][row])
        if match and np.isfinite(time_s):
            entries.append(_Entry(row, time_s, int(match[1]), match[2]))
    return sorted(entries, key=lambda one: one.time_s)


def _runs(name: str, log: LogText, entries: Sequence[_Entry]) -> tuple[list[SheetRun], list[str]]:
    """Return the runs that begin, end and count; of one driven again the last. A run without its end is left out."""
    begun: dict[int, _Entry] = {}
    runs: dict[int, SheetRun] = {}
    warnings: list[str] = []
    for entry in entries:
        if entry.event == "begins":
            begun[entry.run] = entry
        elif entry.event == "void":
            begun.pop(entry.run, None)
            if runs.pop(entry.run, None) is not None:
                warnings.append(f"run {entry.run} of {name} is marked void and left out")
        elif entry.run in begun:
            first = begun.pop(entry.run)
            run = _run(log, first, entry)
            if run is None:
                state = shown(_cell(log, first.row, "state"))
                warnings.append(f"run {entry.run} of {name} is left out: its state reads {state}")
            elif run.end_s - run.begin_s < _LEAST_RUN_S:
                warnings.append(f"run {entry.run} of {name} is left out: {run.end_s - run.begin_s:.0f} s long")
            else:
                runs[entry.run] = run
    warnings += [f"run {number} of {name} is left out: it begins and does not end" for number in begun]
    return sorted(runs.values(), key=lambda run: run.begin_s), warnings


def _cell(log: LogText, row: int, name: str) -> str:
    return log.rows[row][log.header.index(name)].strip() if name in log.header else ""


def _run(log: LogText, first: _Entry, last: _Entry) -> SheetRun | None:
    state = _cell(log, first.row, "state").lower()
    if state not in STATES:
        return None
    time_s = log.numbers["time_s"]
    inside = np.flatnonzero((time_s >= first.time_s) & (time_s <= last.time_s))
    notes = "; ".join(text for row in inside.tolist() if (text := _cell(log, row, "note").lstrip("'")))
    return SheetRun(
        first.run,
        state,
        _cell(log, first.row, "pair"),
        _cell(log, first.row, "direction"),
        first.time_s,
        last.time_s,
        notes,
        _typed(log, inside, {"air_temperature_degc": (1.0, 273.15), "air_temperature_degf": (5 / 9, 273.15 - 160 / 9)}),
        _typed(log, inside, {"gust_km_h": (1 / 3.6, 0.0), "gust_mph": (0.44704, 0.0)}, highest=True),
    )


def _typed(
    log: LogText, rows: np.ndarray, columns: Mapping[str, tuple[float, float]], *, highest: bool = False
) -> float | None:
    """Return the mean (or the highest) of what was typed in one of the columns, in SI; None where nothing was."""
    for name, (factor, zero) in columns.items():
        if name in log.numbers:
            values = log.numbers[name][rows]
            values = values[np.isfinite(values)]
            if values.size:
                return float((values.max() if highest else values.mean()) * factor + zero)
    return None


# ------------------------------------------------------------------------------------------------------ two clocks


def offset_to(sheet: CallSheet, log: Log, given_s: float | None = None) -> SheetOffset:
    """Return what to add to the sheet's seconds to get the log's.

    As given; else by the dates in both; else, or where the vehicle's standstill between the runs clearly says
    otherwise, by matching the runs with the speed (`vehicle.logs.offset.find_offset`). Raises InputError where
    neither is there.
    """
    if given_s is not None:
        return SheetOffset(given_s, "as given")
    clocks, alike = None, "the log has no speed that stops between the runs"
    if sheet.wall_start_s is not None and log.wall_start_s is not None:
        clocks = sheet.wall_start_s - log.wall_start_s
    offset = None if clocks is None else _matched(sheet, log, clocks)
    if not _is_clear(offset):
        offset = _matched(sheet, log, None) or offset
        if _is_clear(offset) and not _only_there(sheet, log, offset):
            offset = None if clocks is None else _matched(sheet, log, clocks)
            alike = "the runs are so alike that the stops leave open which is which"
    if offset is not None and _is_clear(offset) and (clocks is None or abs(offset.offset_s - clocks) > _TAPPED_S):
        warning = _to_check(sheet, log, offset) if clocks is None else _differ(sheet, log, offset.offset_s - clocks)
        return SheetOffset(offset.offset_s, "by the standstill between the runs", warning)
    if clocks is not None and _fits(sheet, log, clocks):
        return SheetOffset(clocks, "from the dates in both")
    why = "; ".join(offset.doubts()) if offset is not None else alike
    read = f"its runs cannot be set on the clock of {log.name}: " + (
        "no dates in both"
        if clocks is None
        else f"by the dates ({clocks:+.0f} s) they lie outside of it, or the vehicle stands in them"
    )
    raise InputError(
        Problem(sheet.name, "time", f"{read}; {why}", '--offset "95 s": the second of the log at the sheet\'s second 0')
    )


def _is_clear(match: OffsetEstimate | None) -> bool:
    return match is not None and match.correlation >= LEAST_CORRELATION and not match.doubts()


def _only_there(sheet: CallSheet, log: Log, match: OffsetEstimate | None) -> bool:
    """Return whether a match over all offsets can be no other one: the vehicle moves in its runs, and the log covers
    them all, or the next best place is clearly worse.
    """
    if match is None or not _fits(sheet, log, match.offset_s, _LEAST_MOVING_BY_STOPS):
        return False
    whole = all(_covered(run, match.offset_s, log) >= _LEAST_COVERED for run in sheet.runs)
    return whole or _clearly_best(match)


def _clearly_best(match: OffsetEstimate) -> bool:
    return match.correlation - match.rival_correlation >= _CLEARLY_WORSE


def _to_check(sheet: CallSheet, log: Log, match: OffsetEstimate) -> str:
    """Return the warning where runs without dates agree with the stops only roughly; empty where closely."""
    if match.correlation >= _CLOSELY or _clearly_best(match):
        return ""
    minutes, seconds = divmod(round(sheet.runs[0].begin_s + match.offset_s), 60)
    return (
        f"CHECK: no dates in both, and the stops of {log.name} agree only roughly with {sheet.name}. It is read as if "
        f"run {sheet.runs[0].number} began {minutes} min {seconds} s into the log; if that is not so, say --offset"
    )


def _differ(sheet: CallSheet, log: Log, seconds: float) -> str:
    return (
        f"the clocks of {sheet.name} and {log.name} differ by {abs(seconds):.0f} s: the runs are set where the vehicle "
        "moves between its stops"
    )


def _fits(sheet: CallSheet, log: Log, offset_s: float, least_moving: float = _LEAST_MOVING) -> bool:
    """Return whether at this offset the vehicle moves in the runs that the log covers, and there are such runs."""
    inside = [run for run in sheet.runs if _covered(run, offset_s, log) >= _LEAST_COVERED]
    if not inside or "speed_m_s" not in log.table:
        return bool(inside)
    time_s, speed = log.table["time_s"].to_numpy(), log.table["speed_m_s"].to_numpy()
    driven = np.zeros(len(time_s), dtype=bool)
    for run in inside:
        driven |= (time_s >= run.begin_s + offset_s) & (time_s <= run.end_s + offset_s)
    known = driven & np.isfinite(speed)
    return not known.any() or float(np.mean(speed[known] > MOVING_M_S)) >= least_moving


def _matched(sheet: CallSheet, log: Log, clocks_s: float | None) -> OffsetEstimate | None:
    """Return where the runs, as 0 and 1 over time, agree best with the speed of the log; None where nothing does."""
    if "speed_m_s" not in log.table:
        return None
    time = np.arange(sheet.runs[0].begin_s - _LEAST_RUN_S, sheet.runs[-1].end_s + _LEAST_RUN_S, 1.0)
    driven = np.zeros(len(time))
    for run in sheet.runs:
        driven[(time >= run.begin_s) & (time <= run.end_s)] = 1.0
    try:
        return find_offset(
            log.table["time_s"].to_numpy(),
            log.table["speed_m_s"].to_numpy(),
            time,
            driven,
            around_s=clocks_s,
            within_s=None if clocks_s is None else _WITHIN_S,
        )
    except ValueError:  # nothing overlaps, or nothing ever changes
        return None


def _covered(run: SheetRun, offset_s: float, log: Log) -> float:
    """Return the share of a run that a log covers."""
    begin, end = run.begin_s + offset_s, run.end_s + offset_s
    return max(0.0, min(end, log.duration_s) - max(begin, 0.0)) / (end - begin)


# ------------------------------------------------------------------------------------------------------- run list


def run_list_of(
    sheet: CallSheet, logs: Mapping[str, Log], engine: Mapping[str, str], given_s: float | None = None
) -> tuple[str, tuple[str, ...]]:
    """Return the list of runs (`runs.toml`) that a call sheet and the logs of the same drive make, and what to mind.

    `logs` by the name that the list calls them. Each run goes to the log that covers most of it. Raises InputError
    where the clocks cannot be brought together, or no run lies in any log.
    """
    import tomlkit

    warnings = list(sheet.warnings)
    offsets: dict[str, SheetOffset] = {}
    problems: list[Problem] = []
    for name, log in logs.items():
        try:
            offsets[name] = offset_to(sheet, log, given_s)
        except InputError as error:
            problems += error.problems
    if problems and not offsets:
        raise InputError(problems)
    warnings += [str(problem) for problem in problems]
    document = tomlkit.document()
    document.add(tomlkit.comment(f" Runs as {sheet.name} marks them; begin and end on the clock of the log."))
    if engine:
        document["engine"] = dict(engine)
    runs = tomlkit.aot()
    for run in sheet.runs:
        name = max(offsets, key=lambda each: _covered(run, offsets[each].offset_s, logs[each]))
        offset_s = offsets[name].offset_s
        share = _covered(run, offset_s, logs[name])
        if share < _LEAST_COVERED:
            lies = "lies outside of every log" if share == 0 else f"is logged for {100 * share:.0f} % of its time only"
            warnings.append(f"run {run.number} of {sheet.name} is left out: it {lies}")
            continue
        runs.append(_table(run, name, offset_s, sheet.wall_start_s))
    if not len(runs):
        how = ", ".join(f"{offset.offset_s:+.0f} s {offset.how}" for offset in offsets.values())
        raise InputError(
            Problem(sheet.name, "time", f"no run lies in {', '.join(logs)} ({how})", "the logs of the same drive")
        )
    document["run"] = runs
    for name, offset in offsets.items():
        warnings += [offset.warning] if offset.warning else []
        warnings.append(
            f"{name} is cut into runs by {sheet.name}: its clock moved by {offset.offset_s:+.1f} s, {offset.how}"
        )
    return tomlkit.dumps(document), tuple(warnings)


def with_relative_files(text: str, folder: Path) -> str:
    """Return a list of runs whose logs are named from `folder`, where the list will lie: both can move together.

    A log that no relative path leads to (on another drive) keeps its name.
    """
    import tomlkit

    document = tomlkit.parse(text)
    for run in document["run"]:
        try:
            run["file"] = Path(os.path.relpath(run["file"], folder)).as_posix()
        except ValueError:
            continue
    return tomlkit.dumps(document)


def _table(run: SheetRun, name: str, offset_s: float, wall_start_s: float | None) -> dict[str, object]:
    table: dict[str, object] = {"file": name, "state": run.state}
    table |= {key: value for key, value in (("pair", run.pair), ("direction", run.direction)) if value}
    table |= {"start": f"{run.begin_s + offset_s:.1f} s", "end": f"{run.end_s + offset_s:.1f} s"}
    if wall_start_s is not None:
        table["date"] = f"{datetime.fromtimestamp(wall_start_s + run.begin_s, UTC):%Y-%m-%d %H:%M:%S}"
    if run.temperature_k is not None:
        table["temperature"] = f"{run.temperature_k - 273.15:.1f} degC"
    if run.gust_m_s is not None:
        table["gust"] = f"{run.gust_m_s:.1f} m/s"
    if run.notes:
        table["notes"] = run.notes
    return table
