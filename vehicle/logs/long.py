"""Logs of (time; parameter; value; unit) rows, several samples an instant, to one row per sample of the fastest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vehicle.csv_text import numbers_of
from vehicle.logs.believe import in_si
from vehicle.logs.clock import Clock, MendedClock, mend_clock, parse_clock
from vehicle.logs.clock_unit import ClockWitness
from vehicle.logs.columns import (
    BY_NAME,
    DATE,
    FAST_HOLD_S,
    PARAMETER,
    TIME,
    UNIT,
    VALUE,
    Column,
    LoggedParameter,
    match_header,
)
from vehicle.logs.log import Draft, Quality, Repairs
from vehicle.logs.text import RawLog
from vehicle.problems import InputError, Problem, shown

if TYPE_CHECKING:
    import pandas as pd

_Series = tuple[np.ndarray, np.ndarray]  # times in s, values in SI


@dataclass(frozen=True)
class LongLog:
    """A long log brought to rows: the draft of its table, its columns (one a parameter), its clock and where from."""

    draft: Draft
    columns: list[Column]
    clock: MendedClock
    source: str


def rows_of_long(path: Path, raw: RawLog, headers: Sequence[Column], repairs: Repairs) -> LongLog:
    """Return the rows of a long log, at the samples of its fastest parameter. Raises InputError where none are."""
    role = {column.parameter: column.index for column in headers if column.parameter}
    time_column = next(column for column in headers if column.parameter == TIME)
    clock, mended = _clock_of(path, raw.frame, role, time_column, raw.decimal)
    for what, count in mended.repairs:
        if "gaps" not in what:
            repairs.add(what, count)
    series, listed = _series_of(raw, role, mended.time_s, repairs)
    base = _fastest(path, series, listed)
    grid = mend_clock(Clock(series[base][0], clock.kind))
    if grid is None:
        raise InputError(Problem(path.name, "clock", f"only one reading of {BY_NAME[base].words}", "at least two"))
    for what, count in grid.repairs:
        repairs.add(what, count)
    start = float(series[base][0][0])
    values = {
        name: _on_grid(BY_NAME[name], times - start, numbers, grid.time_s) for name, (times, numbers) in series.items()
    }
    values[base] = series[base][1].copy()
    quality = np.zeros(grid.time_s.size, dtype=np.uint16)
    quality[grid.repaired] |= int(Quality.CLOCK)
    quality[grid.after_gap] |= int(Quality.AFTER_GAP)
    samples = sum(times.size for times, _ in series.values())
    repairs.add("long log: samples of several rates brought to the rows of one", samples)
    source = f"{time_column.header.strip()} ({clock.kind}), rows at the samples of {BY_NAME[base].words}"
    return LongLog(Draft(grid.time_s, values, quality, repairs), listed, grid, source)


def _witness(frame: pd.DataFrame, role: dict[str, int], decimal: str) -> ClockWitness:
    """Return the speed among the samples, as it is written, and how many samples make a row."""
    names = frame[role[PARAMETER]].astype("str")
    speeds = [name for name in names.unique() if match_header(name.strip()).parameter == "speed_m_s"]
    speed = None
    if speeds:
        numbers, _ = numbers_of(frame[role[VALUE]], decimal)
        speed = np.where(names == speeds[0], numbers / 3.6, np.nan)
    return ClockWitness(speed, rows_each=max(1, int(names.nunique())))


def _clock_of(
    path: Path, frame: pd.DataFrame, role: dict[str, int], time_column: Column, decimal: str
) -> tuple[Clock, MendedClock]:
    dates = frame[role[DATE]] if DATE in role else None
    clock = parse_clock(frame[role[TIME]], time_column.unit, dates, _witness(frame, role, decimal))
    if clock is not None and clock.unit is not None and clock.unit.open:
        read = f"no unit, and {' or '.join(clock.unit.open)} is possible ({clock.unit.why})"
        header = time_column.header.strip()
        raise InputError(Problem(path.name, f"column {header}", read, f'a header with the unit: "{header} (s)"'))
    mended = mend_clock(clock, spread=False) if clock is not None else None
    if clock is None or mended is None:
        raise InputError(Problem(path.name, "clock", "no clock that moves", "times in seconds, ISO 8601 or h:m:s"))
    return clock, mended


def _series_of(
    raw: RawLog, role: dict[str, int], time_s: np.ndarray, repairs: Repairs
) -> tuple[dict[str, _Series], list[Column]]:
    """Return the samples of each parameter that is known, and what became of every name in the log."""
    import pandas as pd

    frame = raw.frame
    names = frame[role[PARAMETER]].astype("str").str.strip()
    units = pd.Series("", index=frame.index, dtype="str")
    if UNIT in role:
        units = frame[role[UNIT]].astype("str").str.strip()
    units = units.fillna("").replace({"nan": "", "None": ""})
    numbers, unread = numbers_of(frame[role[VALUE]], raw.decimal)
    repairs.add("cells that are no number, left empty", int(unread.sum()))
    codes, labels = pd.factorize(names.fillna("") + "\x1f" + units)
    order = np.argsort(codes, kind="stable")
    bounds = np.searchsorted(codes[order], np.arange(len(labels) + 1))
    series: dict[str, _Series] = {}
    listed: list[Column] = []
    for code, text in enumerate(labels.astype("str").tolist()):
        name, _, unit = text.partition("\x1f")
        if not name:
            continue
        column = replace(match_header(name, unit), header=name, index=code)
        if column.unit_from == "unit row":
            column = replace(column, unit_from="unit column")
        if column.use != "used" or column.parameter not in BY_NAME:
            listed.append(replace(column, use="not understood" if column.use == "used" else column.use))
            continue
        rows = order[bounds[code] : bounds[code + 1]]
        one, values = in_si([column], {column.parameter: numbers[rows].copy()}, None, repairs)
        if column.parameter in values:
            sample = (time_s[rows], values[column.parameter])
            before = series.get(column.parameter)
            series[column.parameter] = sample if before is None else _merged(before, sample)
        listed.extend(one)
    return series, listed


def _merged(one: _Series, other: _Series) -> _Series:
    """Return the same parameter under two units or spellings as one series, in SI by now."""
    times, values = np.concatenate([one[0], other[0]]), np.concatenate([one[1], other[1]])
    order = np.argsort(times, kind="stable")
    return times[order], values[order]


def _fastest(path: Path, series: dict[str, _Series], listed: Sequence[Column]) -> str:
    """Return the parameter with most samples, of those that change fast where there are some."""
    fast = [name for name in series if BY_NAME[name].hold_s <= FAST_HOLD_S and name != "run_time_s"] or list(series)
    if not fast:
        seen = ", ".join(shown(column.header) for column in listed[:8])
        accepted = "vehicle speed, engine speed, manifold pressure, ..."
        raise InputError(Problem(path.name, "parameters", f"none is known ({seen})", accepted))
    return max(fast, key=lambda name: series[name][0].size)


def _on_grid(parameter: LoggedParameter, times: np.ndarray, numbers: np.ndarray, grid: np.ndarray) -> np.ndarray:
    good = np.isfinite(numbers)
    times, numbers = times[good], numbers[good]
    out = np.full(grid.size, np.nan)
    if not times.size:
        return out
    place = np.searchsorted(times, grid, side="right")
    before = np.maximum(place - 1, 0)
    after = np.minimum(place, times.size - 1)
    if parameter.hold_s <= FAST_HOLD_S:
        near = (times[after] - times[before] <= parameter.hold_s) | (np.abs(grid - times[before]) < 1e-9)
        near &= (place > 0) | (np.abs(times[0] - grid) <= parameter.hold_s)
        near &= grid <= times[-1] + parameter.hold_s
        out[near] = np.interp(grid[near], times, numbers)
    else:
        age = np.where(place > 0, grid - times[before], times[0] - grid)
        fresh = age <= parameter.hold_s
        out[fresh] = numbers[before[fresh]]
    return out
