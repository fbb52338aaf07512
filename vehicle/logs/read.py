"""Any log of a drive to one tidy table in SI, with quality flags; every repair is counted and told.

What cannot be understood is listed, never dropped in silence; what cannot be believed is left empty, never guessed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vehicle.csv_text import numbers_of
from vehicle.logs.believe import in_si, rows_of_zeros, units_in_cells
from vehicle.logs.clock import NO_WITNESS, MendedClock, gap_limit, mend_clock, of_zone, parse_clock
from vehicle.logs.clock_unit import ClockUnit, ClockWitness
from vehicle.logs.columns import (
    BY_NAME,
    DATE,
    MARK,
    PARAMETER,
    PARAMETERS,
    TIME,
    UNIT,
    VALUE,
    Column,
    assign,
    match_header,
    unit_factor,
)
from vehicle.logs.derive import derive
from vehicle.logs.log import Draft, Log, Quality, Repairs
from vehicle.logs.long import rows_of_long
from vehicle.logs.neighbours import check_neighbours, drop_codes
from vehicle.logs.pressure import doubts
from vehicle.logs.repair import STANDING, despike, fill, unstick
from vehicle.logs.settle import settle_shares, settle_speed
from vehicle.logs.text import RawLog, is_long, read_raw
from vehicle.problems import InputError, Problem, shown

if TYPE_CHECKING:
    import pandas as pd

_WALL_ROWS = 50
_RECORDED = ("time_s", "time_utc", "row_duration_s")  # our recorder's file: its names never shift, and cells stay empty


def read_log(path: Path | str, columns: Mapping[str, str] | None = None, *, where: str = "") -> Log:
    """Return the log in `path` as one tidy table in SI.

    `columns` maps headers of the file to parameters ("Spd": "vehicle speed (mph)", "X7": "ignore") and overrides what
    the names say; `where` names the manifest it came from. Raises InputError for a file that cannot be read as a log:
    missing, binary, without known parameters, without a clock that moves, with rows that do not fit the header.
    """
    path = Path(path)
    overrides = dict(columns or {})
    assigned: list[Column] = []

    def wanted(headers: Sequence[str], unit_row: Sequence[str]) -> list[int]:
        if is_long(headers) and not overrides:
            roles = [match_header(header).parameter for header in headers]
            assigned.extend(
                replace(match_header(header), index=index, header=header) for index, header in enumerate(headers)
            )
            return [index for index, role in enumerate(roles) if role in (TIME, DATE, PARAMETER, VALUE, UNIT)]
        assigned.extend(assign(headers, unit_row, overrides, where or path.name))
        return [column.index for column in assigned if column.use == "used"]

    raw = read_raw(path, wanted, names=overrides)
    repairs = Repairs()
    for what, count in raw.repairs:
        repairs.add(what, count)
    if is_long(raw.headers) and not overrides:
        rows = rows_of_long(path, raw, assigned, repairs)
        return _finish(path, rows.draft, rows.columns, rows.clock, rows.source)
    return _read_wide(path, raw, assigned, repairs)


def _read_wide(path: Path, raw: RawLog, columns: list[Column], repairs: Repairs) -> Log:
    frame, broken = raw.frame, raw.broken
    mended, source, said = _clock_of(path, raw, columns)
    for what, count in mended.repairs:
        repairs.add(what, count)
    quality = np.zeros(len(frame), dtype=np.uint16)
    quality[broken] |= int(Quality.BROKEN_ROW)
    quality[mended.repaired & ~broken] |= int(Quality.CLOCK)
    quality[mended.after_gap] |= int(Quality.AFTER_GAP)
    draft = Draft(mended.time_s, {}, quality, repairs)
    _read_cells(raw, columns, draft)
    columns, draft.values = in_si(columns, draft.values, quality, repairs)
    odd = [column for column in columns if column.use == "not understood"]
    if raw.last_is_empty and len(odd) >= 2 and tuple(raw.headers[:3]) != _RECORDED:
        read = (
            f"nothing stands under the last name, and {shown(odd[0].header)} and {shown(odd[1].header)} fit no column: "
            "the names may be shifted against the columns"
        )
        raise InputError(Problem(path.name, "header", read, "one name for each column"))
    log = _finish(path, draft, columns, mended, source)
    wall = _wall_start_s(raw, columns, mended.time_s)
    notes = (*(f"the file begins with: {comment}" for comment in raw.comments), *log.notes)
    return replace(log, states=_states(frame, columns), checks=(*said, *log.checks), wall_start_s=wall, notes=notes)


def _wall_start_s(raw: RawLog, columns: Sequence[Column], time_s: np.ndarray) -> float | None:
    """Return the wall clock (seconds since 1970, UTC) at time 0, from the first rows of a column with dates."""
    first = raw.frame.iloc[:_WALL_ROWS]
    dates = next((first[c.index] for c in columns if c.parameter == DATE and c.index in first), None)
    for column in columns:
        if column.parameter != TIME or column.index not in first:
            continue
        unit = "" if column.unit_from == "standard" else column.unit
        clock = parse_clock(first[column.index], unit, dates)
        if clock is None or not ("date" in clock.kind or "1970" in clock.kind):
            continue
        result = clock.seconds - time_s[: len(first)]
        if np.isfinite(result).any():
            start = float(np.nanmedian(result))
            return start if "1970" in clock.kind else of_zone(start, first[column.index])
    return None


def _read_cells(raw: RawLog, columns: list[Column], draft: Draft) -> None:
    """Put the numbers of every column that is used into the draft; rows of nothing but zeros are emptied."""
    for place, column in enumerate(columns):
        if column.use != "used" or column.parameter not in BY_NAME:
            continue
        column, cells = _without_units(raw, column)
        columns[place] = column
        numbers, unread = numbers_of(cells, raw.decimal)
        if unread.any():
            what = f"{BY_NAME[column.parameter].words}: cells that are no number, left empty"
            draft.repairs.add(what, int(unread.sum()))
            draft.quality[unread] |= int(Quality.NOT_A_NUMBER)
        draft.values[column.parameter] = numbers
    zeros = rows_of_zeros(draft.values)
    if zeros.any():
        draft.repairs.add("rows in which every value is zero, not used", int(zeros.sum()))
        draft.quality[zeros] |= int(Quality.ZEROS)
        for numbers in draft.values.values():
            numbers[zeros] = np.nan


def _without_units(raw: RawLog, column: Column) -> tuple[Column, pd.Series]:
    """Return a column and its cells without the units in them; the column's unit is then that of its cells."""
    cells = raw.frame[column.index]
    kind = BY_NAME[column.parameter].kind if column.parameter in BY_NAME else "time"
    bare, unit = units_in_cells(cells, kind, raw.decimal)
    return (replace(column, unit=unit, unit_from="cells"), bare) if unit else (column, cells)


def _clock_of(path: Path, raw: RawLog, columns: list[Column]) -> tuple[MendedClock, str, list[str]]:
    """Return the best clock, where it is from, and what to say of its unit.

    Of the clocks that move it is the one with the finest steps; engine run time only where no other is. A clock whose
    unit stays open is taken only if there is no other. Raises InputError where none moves, or its unit stays open.
    """
    frame = raw.frame
    dates = next((frame[c.index] for c in columns if c.parameter == DATE and c.index in frame), None)
    candidates = [c for c in columns if c.parameter == TIME and c.index in frame]
    fallback = [c for c in columns if c.parameter == "run_time_s" and c.use == "used" and c.index in frame]
    witness = _witness(raw, columns)
    open_: list[Problem] = []
    for group in (candidates, fallback):
        best: tuple[tuple[float, int], MendedClock, str, list[str]] | None = None
        for column in group:
            column, cells = _without_units(raw, column)
            unit = "" if column.unit_from == "standard" else column.unit
            clock = parse_clock(cells, unit, dates, witness if group is candidates else NO_WITNESS)
            mended = mend_clock(clock) if clock is not None else None
            if clock is None or mended is None:
                continue
            if clock.unit is not None and clock.unit.open:
                open_.append(_open_clock(path, column, clock.unit))
                continue
            moves = np.unique(clock.seconds[np.isfinite(clock.seconds)][:5000]).size
            rank = (-float(moves), int(mended.repaired.sum()))
            if best is None or rank < best[0]:
                best = (rank, mended, f"{column.header.strip()} ({clock.kind})", _said_of_clock(column, clock.unit))
        if best is not None:
            return best[1], best[2], best[3]
    if open_:
        raise InputError(open_)
    names = ", ".join(shown(c.header) for c in (*candidates, *fallback)) or "no column is a clock"
    raise InputError(
        Problem(
            path.name,
            "clock",
            f"no clock that moves ({names})",
            'a column "time" in seconds, ISO 8601 or hours:minutes:seconds, or the engine run time',
        )
    )


def _open_clock(path: Path, column: Column, unit: ClockUnit) -> Problem:
    header = column.header.strip()
    read = f"no unit, and {' or '.join(unit.open)} is possible ({unit.why})"
    return Problem(path.name, f"column {header}", read, f'its unit: --column "{header}=time ({unit.open[0]})"')


def _said_of_clock(column: Column, unit: ClockUnit | None) -> list[str]:
    if unit is None or not unit.why:
        return []
    return [f"the clock {shown(column.header.strip())} has no unit: {unit.words} taken, because {unit.why}"]


def _witness(raw: RawLog, columns: Sequence[Column]) -> ClockWitness:
    """Return what else the log says about time: its speed, as it is written, and the engine's run time."""
    kept: dict[str, np.ndarray] = {}
    for name in ("speed_m_s", "gps_speed_m_s", "run_time_s"):
        column = next((c for c in columns if c.parameter == name and c.use == "used" and c.index in raw.frame), None)
        if column is not None:
            column, cells = _without_units(raw, column)
            factor, _ = unit_factor(BY_NAME[name].kind, column.unit) or (1.0, 0.0)
            kept[name] = numbers_of(cells, raw.decimal)[0] * factor
    return ClockWitness(kept.get("speed_m_s", kept.get("gps_speed_m_s")), kept.get("run_time_s"))


def _states(frame: pd.DataFrame, columns: Sequence[Column]) -> np.ndarray | None:
    """Return the words of the column that is headed "state" (or "turbine"), carried on over empty cells."""
    column = next(
        (
            c
            for c in columns
            if c.parameter == MARK
            and c.index in frame
            and any(word in c.header.lower() for word in ("state", "turbine"))
        ),
        None,
    )
    if column is None or frame[column.index].isna().all():
        return None
    words = frame[column.index].ffill().fillna("").astype("str").str.strip().str.lower()
    return words.to_numpy(dtype=object)


def _finish(path: Path, draft: Draft, columns: list[Column], clock: MendedClock, source: str) -> Log:
    """Return the log of a draft: repaired, with the time that each row stands for, and what a reader should know."""
    values, repairs = draft.values, draft.repairs
    if not values:
        listed = "; ".join(f"{shown(c.header)}: {c.note or c.use}" for c in columns[:8])
        accepted = "vehicle speed, engine speed and one of fuel rate, air flow, manifold pressure"
        raise InputError(Problem(path.name, "columns", f"none can be used ({listed})", accepted))
    notes: list[str] = []
    checks: list[str] = []
    if "speed_m_s" not in values and "gps_speed_m_s" in values:
        values["speed_m_s"] = values["gps_speed_m_s"].copy()
        notes.append("speed is that of the satellite receiver: the car's own is not in the log")
    for settle in (settle_shares, settle_speed):
        columns, said = settle(columns, draft)
        checks += said
    checks += derive(columns, draft)
    columns = _repaired(draft, columns)
    checks += doubts(values)
    table = _table(draft, clock)
    notes += _notes(columns, values, clock)
    if "engine_speed_rad_s" in values:
        still = _leading(values["engine_speed_rad_s"] == 0)
        if 0 < still < len(table):
            repairs.add("first rows before the engine reports (engine speed zero)", still)
    log = Log(path.name, table, tuple(columns), repairs.done(), tuple(notes), source, checks=tuple(checks))
    return replace(log, stuck=tuple(draft.stuck))


def _repaired(draft: Draft, columns: list[Column]) -> list[Column]:
    """Repair the values of a draft; return its columns, those marked of which nothing is left."""
    for name in draft.values:
        despike(draft, name)
    drop_codes(draft)
    for name in STANDING:
        if name in draft.values:
            unstick(draft, name)
    check_neighbours(draft)
    for name in draft.values:
        fill(draft, name)
    emptied = [name for name, numbers in draft.values.items() if not np.isfinite(numbers).any()]
    for name in emptied:
        del draft.values[name]
    return [
        replace(column, use="not used", note="no value could be believed") if column.parameter in emptied else column
        for column in columns
    ]


def _table(draft: Draft, clock: MendedClock) -> pd.DataFrame:
    import pandas as pd

    step_s = np.empty_like(draft.time_s)
    step_s[:-1] = np.diff(draft.time_s)
    step_s[-1] = clock.step_s
    np.copyto(step_s, clock.step_s, where=step_s > gap_limit(clock.step_s))
    known = {one.name: draft.values[one.name] for one in PARAMETERS if one.name in draft.values}
    return pd.DataFrame({"time_s": draft.time_s, "step_s": step_s, **known, "quality": draft.quality}, copy=False)


def _notes(columns: Sequence[Column], values: Mapping[str, np.ndarray], clock: MendedClock) -> list[str]:
    notes = []
    if clock.step_s > 10.0:
        notes.append(
            f"the rows are {clock.step_s:.3g} s apart: too far for fuel and distance to be summed with confidence; "
            'if the clock is not in seconds, name its unit ("time (ms)") in the manifest'
        )
    assumed = [c for c in columns if c.use == "used" and c.unit_from == "standard" and c.unit and c.parameter in values]
    if assumed:
        said = ", ".join(f"{BY_NAME[c.parameter].words} {c.unit}" for c in assumed)
        notes.append(f"no units in the file for: {said} (the units of SAE J1979)")
    return notes


def _leading(flags: np.ndarray) -> int:
    return int(np.argmin(flags)) if not flags.all() else len(flags)
