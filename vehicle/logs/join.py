"""A second log of the same drive (wattmeter, rotor speed, load temperature, GPS), set onto the clock of the first.

The two clocks seldom agree. Their offset is given, or taken from wall clocks where both logs have one, or found by
cross-correlation of one signal of each that move together (vehicle speed and GPS speed; vehicle speed and rotor speed).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np

from vehicle import csv_text
from vehicle.files import write_output
from vehicle.logs.clock_fit import ClockFit, fit_clock
from vehicle.logs.clock_unit import FACTORS_S, ClockWitness, unit_of_clock
from vehicle.logs.columns import TIME, match_header, unit_factor
from vehicle.logs.offset import OffsetEstimate, covered, find_offset
from vehicle.logs.text import is_unit, layout_of, text_of
from vehicle.problems import InputError, Problem, nearest, shown

_TIME_NAMES = (
    "time_s",
    "elapsed_s",
    "seconds",
    "time_ms",
    "time_min",
    "time",
    "time_utc",
    "timestamp",
    "datetime",
    "date_time",
    "clock",
)
_TO_SECONDS = {"time_ms": 1e-3, "time_min": 60.0}


@dataclass(frozen=True)
class Joined:
    """The second log on the first's clock: its columns at the first's times (NaN where it does not reach).

    `how`: "given", "clocks" or "correlation"; `estimate` and `fit` only for the last. `offset_s` is that at the
    beginning of the second log.
    """

    columns: Mapping[str, np.ndarray]
    offset_s: float
    how: Literal["given", "clocks", "correlation"]
    estimate: OffsetEstimate | None = None
    fit: ClockFit | None = None

    def doubts(self) -> list[str]:
        """Return in words why the offset may be wrong."""
        return [
            *(self.estimate.doubts() if self.estimate is not None else ()),
            *(self.fit.doubts() if self.fit is not None else ()),
        ]


def join_second_log(
    first: Mapping[str, np.ndarray],
    second: Mapping[str, np.ndarray],
    *,
    offset_s: float | None = None,
    match: tuple[str, str] | None = None,
    clock_offset_s: float | None = None,
    within_s: float = 600.0,
    longest_gap_s: float = 5.0,
) -> Joined:
    """Return the columns of `second` at the times of `first`, both mappings of equally long arrays with "time_s".

    The offset (added to the second's time) is `offset_s` where given; else found, with the drift of the clock and the
    lag of the second signal, from the column pair `match`, where there is a `clock_offset_s` only within `within_s` of
    it; else `clock_offset_s`, the offset that the wall clocks say. Values are interpolated straight between samples no
    further apart than `longest_gap_s`, and NaN elsewhere: nothing is invented. Raises ValueError where none of the
    three is given or the signals do not fit.
    """
    how: Literal["given", "clocks", "correlation"] = "given"
    estimate = fit = None
    if offset_s is None and match is not None:
        how = "correlation"
        estimate = find_offset(
            first["time_s"],
            first[match[0]],
            second["time_s"],
            second[match[1]],
            around_s=clock_offset_s,
            within_s=within_s if clock_offset_s is not None else None,
            longest_gap_s=longest_gap_s,
        )
        fit = fit_clock(
            (np.asarray(first["time_s"], float), np.asarray(first[match[0]], float)),
            (np.asarray(second["time_s"], float), np.asarray(second[match[1]], float)),
            estimate,
            longest_gap_s,
        )
        offset_s = fit.offset_s.estimate
    elif offset_s is None and clock_offset_s is not None:
        how, offset_s = "clocks", clock_offset_s
    if offset_s is None:
        raise ValueError("no offset, no pair of columns to match, and no wall clock in both logs")
    at = np.asarray(first["time_s"], float)
    own = np.asarray(second["time_s"], float)
    moved = fit.first_time_s(own) if fit is not None else own + offset_s
    columns = {
        name: _at_times(at, moved, np.asarray(values, float), longest_gap_s)
        for name, values in second.items()
        if name != "time_s"
    }
    return Joined(columns, offset_s, how, estimate, fit)


def _at_times(at: np.ndarray, time_s: np.ndarray, values: np.ndarray, longest_gap_s: float) -> np.ndarray:
    known = np.isfinite(time_s) & np.isfinite(values)
    if not known.any():
        return np.full(len(at), np.nan)
    time_s, values = time_s[known], values[known]
    order = np.argsort(time_s, kind="stable")
    time_s, values = time_s[order], values[order]
    if len(time_s) == 1:
        return np.where(at == time_s[0], values[0], np.nan)
    return np.where(covered(at, time_s, longest_gap_s), np.interp(at, time_s, values), np.nan)


# ------------------------------------------------------------------------------------------------------- files


@dataclass(frozen=True)
class LogText:
    """A CSV log as it stands: header and cells, the numbers in it, its own seconds and, where known, its wall clock.

    `numbers` has "time_s" and every column with at least one number (NaN elsewhere); `wall_start_s` is the wall clock
    (seconds since 1970, UTC) at time_s = 0, None where the log has no dates.
    """

    path: Path
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: Mapping[str, np.ndarray]
    wall_start_s: float | None


def read_log_text(path: Path) -> LogText:
    """Return a CSV log with a time column (time_s, or time, timestamp … as seconds, ISO date or clock time).

    Its header is that of a log (`vehicle.logs.text`), or its first line where that names nothing that is known. A row
    with too few or too many cells has no numbers: the place of each cell in it is unknown. Raises InputError.
    """
    lines = text_of(path).split("\n")
    layout = layout_of(lines) or csv_text.first_layout(lines, is_unit)
    body = [line for line in lines[layout.first_row :] if csv_text.says_something(line)] if layout is not None else []
    if layout is None or not body:
        raise InputError(Problem(str(path), "", "no rows", "a header line and rows of numbers"))
    header = _with_units(layout)
    rows, whole = _rows(body, layout)
    place = _time_column(path, header)
    time_s, wall_start_s = _seconds(path, header, rows, place, layout.decimal)
    time_s[~whole] = np.nan
    numbers: dict[str, np.ndarray] = {"time_s": time_s}
    for column, name in enumerate(header):
        values, unit = _column([row[column] for row in rows], layout.decimal)
        if not name or column == place or name in numbers or not np.isfinite(values[whole]).any():
            continue
        named = name if not unit or csv_text.name_and_unit(name)[1] else f"{name} ({unit})"
        numbers[named] = np.where(whole, values, np.nan)
    return LogText(path, header, rows, numbers, wall_start_s)


def _with_units(layout: csv_text.Layout) -> tuple[str, ...]:
    """Return the headers, each with its unit from the row of units under them, where there is one."""
    units = (*(cell.strip("()[] ") for cell in layout.unit_row), *[""] * len(layout.headers))
    return tuple(
        f"{name} ({unit})" if name and unit else name for name, unit in zip(layout.headers, units, strict=False)
    )


def _rows(body: Sequence[str], layout: csv_text.Layout) -> tuple[tuple[tuple[str, ...], ...], np.ndarray]:
    """Return the cells of every row as many as there are headers, and which rows had that many."""
    width = len(layout.headers)
    split = [csv_text.split_line(line, layout.delimiter) for line in body]
    whole = np.array([len(cells) >= width and not any(cells[width:]) for cells in split])
    return tuple(tuple((*cells, *[""] * width)[:width]) for cells in split), whole


def _column(cells: Sequence[str], decimal: str) -> tuple[np.ndarray, str]:
    """Return the numbers of a column and the unit that stands behind most of them; those in another unit are NaN."""
    pairs = [csv_text.number_and_unit(cell, decimal) for cell in cells]
    units = [one[1] for one in pairs if one is not None]
    unit = max(set(units), key=units.count) if units else ""
    return np.array([np.nan if one is None or one[1] != unit else one[0] for one in pairs]), unit


def _normal(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")


def _time_column(path: Path, header: Sequence[str]) -> int:
    names = [_normal(name) for name in header]
    for wanted in _TIME_NAMES:
        if wanted in names:
            return names.index(wanted)
    for place, name in enumerate(header):  # "Time [ms]", "Zeit (s)": whatever a log may call its clock
        if match_header(name).parameter == TIME:
            return place
    raise InputError(
        Problem(str(path), "header", "no time column among " + shown(", ".join(header)), "a column such as time_s")
    )


def _seconds(
    path: Path, header: Sequence[str], rows: Sequence[Sequence[str]], place: int, decimal: str
) -> tuple[np.ndarray, float | None]:
    cells = [row[place].strip() for row in rows]
    plain, unit = _column(cells, decimal)
    if np.isfinite(plain).mean() > 0.5:
        factor = (unit_factor("time", unit) or (None,))[0]
        time_s = plain * (factor or _unit_s(path, header, rows, place, plain, decimal))
        return time_s, _wall_start(header, rows, time_s)
    moments = [_moment(cell) for cell in cells]
    stamps = np.array([np.nan if moment is None else moment[0] for moment in moments])
    if not np.isfinite(stamps).any():
        raise InputError(
            Problem(str(path), f"column {header[place]}", shown(cells[0]), "seconds, ISO dates, or clock times")
        )
    dated = any(moment is not None and moment[1] for moment in moments)
    start = float(stamps[np.isfinite(stamps)][0])
    return stamps - start, start if dated else None


def _unit_s(
    path: Path, header: Sequence[str], rows: Sequence[Sequence[str]], place: int, plain: np.ndarray, decimal: str
) -> float:
    """Return the seconds in one unit of a clock of bare numbers: what its header says, else what the log shows."""
    factor = (
        _TO_SECONDS.get(_normal(header[place])) or (unit_factor("time", match_header(header[place]).unit) or (0,))[0]
    )
    if factor or _normal(header[place]).endswith("_s"):
        return float(factor or 1.0)
    speeds = [column for column, name in enumerate(header) if match_header(name).parameter == "speed_m_s"]
    speed = _column([row[speeds[0]] for row in rows], decimal)[0] / 3.6 if speeds else None
    unit = unit_of_clock(plain, ClockWitness(speed))
    if unit.open:
        read = f"no unit, and {' or '.join(unit.open)} is possible ({unit.why})"
        accepted = f'a header with the unit: "{header[place]} ({unit.open[0]})"'
        raise InputError(Problem(str(path), f"column {header[place]}", read, accepted))
    return FACTORS_S[unit.unit]


def _wall_start(header: Sequence[str], rows: Sequence[Sequence[str]], time_s: np.ndarray) -> float | None:
    """Return the wall clock at time 0, from a column of dates beside the seconds."""
    names = [_normal(name) for name in header]
    for wanted in ("time_utc", "timestamp", "datetime", "date_time"):
        if wanted not in names:
            continue
        moments = [_moment(row[names.index(wanted)]) for row in rows]
        starts = [m[0] - t for m, t in zip(moments, time_s, strict=True) if m and m[1] and np.isfinite(t)]
        if starts:
            return float(np.median(starts))
    return None


def _moment(text: str) -> tuple[float, bool] | None:
    """Return a time text as seconds and whether it has a date (then since 1970, UTC); None where it is no time.

    A date without a zone is taken in the time zone of this computer.
    """
    text = text.strip()
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        for form in ("%H:%M:%S.%f", "%H:%M:%S", "%I:%M:%S.%f %p", "%I:%M:%S %p"):
            try:
                clock = datetime.strptime(text, form)
            except ValueError:
                continue
            return (clock - datetime(1900, 1, 1)).total_seconds(), False
        return None
    return (moment if moment.tzinfo else moment.astimezone()).astimezone(UTC).timestamp(), True


def write_joined(
    first: LogText, joined: Joined, out: Path, inputs: Iterable[Path] = (), *, force: bool = False
) -> tuple[str, ...]:
    """Write the first log's cells as they stand with the second's columns behind them; return the new columns' names.

    A name that the first log has already gets "second_" in front. The file is complete or not there. Raises InputError.
    """
    names = tuple(f"second_{name}" if name in first.header else name for name in joined.columns)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*first.header, *names])
    added = np.column_stack(list(joined.columns.values())) if names else np.empty((len(first.rows), 0))
    for row, values in zip(first.rows, added, strict=True):
        writer.writerow([*row, *("" if np.isnan(value) else f"{value:.7g}" for value in values)])
    write_output(out, text.getvalue().encode(), inputs, force=force)
    return names


def pick_column(log: LogText, name: str) -> str:
    """Return the numeric column called `name`; InputError names the nearest where there is none."""
    if name in log.numbers and name != "time_s":
        return name
    columns = [column for column in log.numbers if column != "time_s"]
    near = nearest(name, columns)
    raise InputError(
        Problem(
            str(log.path),
            "--match",
            f"no numeric column {shown(name)}",
            f"{f'perhaps {near}; ' if near else ''}one of {', '.join(columns)}",
        )
    )
