"""Clocks of logs: whatever a logger wrote in its time column, to seconds since the first row that rise from row to row.

Reads seconds (or ms, µs, ns), seconds since 1970, ISO 8601, dates with a time of day, and a time of day alone in 24
or 12 hours. Repairs are counted: single cells off the line, clocks that start again, whole seconds shared by several
rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from vehicle.logs.clock_unit import FACTORS_S, ClockUnit, ClockWitness, unit_of_clock
from vehicle.logs.columns import unit_factor

if TYPE_CHECKING:
    import pandas as pd

DAY_S = 86400.0
NO_WITNESS = ClockWitness()
_FORMATS = (
    "%d/%m/%Y %H:%M:%S.%f",
    "%d/%m/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M:%S.%f",
    "%m/%d/%Y %H:%M:%S",
    "%d.%m.%Y %H:%M:%S.%f",
    "%d.%m.%Y %H:%M:%S",
    "%d-%m-%Y %H:%M:%S",
    "%m/%d/%Y %I:%M:%S.%f %p",
    "%m/%d/%Y %I:%M:%S %p",
    "%d/%m/%Y %I:%M:%S %p",
    "%d-%b-%Y %H:%M:%S.%f",
    "%d-%b-%Y %H:%M:%S",
    "%b %d, %Y %I:%M:%S %p",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %H:%M",
    "%Y/%m/%d %H:%M:%S.%f",
    "%Y/%m/%d %H:%M:%S",
    "%Y-%m-%d %I:%M:%S %p",
    "%Y-%m-%d %I:%M:%S.%f %p",
    "%a %b %d %H:%M:%S %Y",
)
_TIME_OF_DAY = r"^\s*(\d{1,3}):(\d{1,2})(?::(\d{1,2}(?:[.,:]\d+)?))?\s*([AaPp]\.?[Mm]\.?)?\s*$"


@dataclass(frozen=True)
class Clock:
    """Seconds as read (NaN where a cell was no time), what kind of clock it was, and whether it wraps at midnight.

    `unit` is that of a bare number whose unit the file does not name, as the numbers themselves settle it.
    """

    seconds: np.ndarray
    kind: str
    wraps_s: float | None = None
    unit: ClockUnit | None = None


def parse_clock(
    cells: pd.Series, unit: str = "", dates: pd.Series | None = None, witness: ClockWitness = NO_WITNESS
) -> Clock | None:
    """Return the clock that a column holds, or None where fewer than half of its cells are times.

    `unit` is the unit in the header, if any; `dates` a column of dates beside a time of day; `witness` what else the
    log says about time, for a bare number without a unit.
    """
    if cells.dtype.kind in "iuf":
        return _numeric(cells.to_numpy(dtype=float), unit, witness)
    filled = int(cells.notna().sum())
    if not filled:
        return None
    present = cells[cells.notna()]
    sample = present.iloc[:: max(1, filled // 400)].astype("str").str.strip()
    if np.isfinite(_plain_numbers(sample)).mean() > 0.5:
        return _numeric(_plain_numbers(cells.astype("str")), unit, witness)
    if sample.str.fullmatch(_TIME_OF_DAY).mean() > 0.5:
        clock = _time_of_day(cells.astype("str"))
        if dates is not None:
            days = _dates(dates)
            if days is not None:
                return Clock(clock.seconds + days, "date and time of day")
        return clock
    stamps = _stamps(cells.astype("str"), sample)
    if stamps is None or np.isfinite(stamps).sum() * 2 < filled:
        return None
    return Clock(stamps, "date and time")


def _plain_numbers(text: pd.Series) -> np.ndarray:
    import pandas as pd

    if text.str.contains(",", regex=False).any():
        text = text.str.replace(",", ".", regex=False)
    return pd.to_numeric(text.str.strip(), errors="coerce").to_numpy(dtype=float)


def _numeric(values: np.ndarray, unit: str, witness: ClockWitness) -> Clock | None:
    values = np.where(np.isfinite(values), values, np.nan)
    finite = values[np.isfinite(values)]
    if finite.size * 2 < values.size or finite.size < 2:
        return None
    if unit:
        factor = unit_factor("time", unit)
        if factor is not None:
            return Clock(values * factor[0], f"seconds, written in {unit}")
        return None
    middle = float(np.median(finite))
    for limit, factor_s, name in ((1e17, 1e-9, "ns"), (1e14, 1e-6, "µs"), (1e11, 1e-3, "ms")):
        if middle > limit:
            return Clock(values * factor_s, f"{name} since 1970")
    if middle > 5e8:
        return Clock(values, "seconds since 1970")
    settled = unit_of_clock(values, witness)
    return Clock(values * FACTORS_S[settled.unit], settled.words, unit=settled)


def _time_of_day(text: pd.Series) -> Clock:
    parts = text.str.extract(_TIME_OF_DAY)
    import pandas as pd

    def numbers(column: int) -> np.ndarray:
        return pd.to_numeric(parts[column].str.replace(r"[,:]", ".", regex=True), errors="coerce").to_numpy(dtype=float)

    hours, minutes, seconds = numbers(0), numbers(1), np.nan_to_num(numbers(2))
    marks = parts[3].str.lower().str[0]
    twelve = bool(marks.notna().mean() > 0.5)
    if twelve:
        hours = np.where((hours >= 1) & (hours <= 12), hours % 12, np.nan)
        hours = hours + np.where(marks.to_numpy() == "p", 12.0, 0.0)
        hours = np.where(marks.isna().to_numpy(), np.nan, hours)
    good = (minutes < 60) & (seconds < 60)
    total = np.where(good, hours * 3600 + minutes * 60 + seconds, np.nan)
    finite = total[np.isfinite(total)]
    # 12-hour clocks written without AM and PM fall from 12:59:59 to 1:00:00
    bare = (
        not twelve
        and finite.size > 0
        and finite.max() < 13 * 3600
        and bool(((finite[:-1] >= 12.9 * 3600) & (finite[1:] < 1.1 * 3600 + 60)).any())
    )
    kind = "12-hour time of day" if twelve or bare else "time of day"
    return Clock(total, kind, DAY_S / 2 if bare else DAY_S)


def _dates(dates: pd.Series) -> np.ndarray | None:
    import pandas as pd

    text = dates.astype("str").str.strip()
    best: np.ndarray | None = None
    for form in ("%Y-%m-%d", "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%Y/%m/%d", "%d-%m-%Y"):
        days = pd.to_datetime(text, format=form, errors="coerce")
        seconds = _seconds(days)
        if best is None or np.isfinite(seconds).sum() > np.isfinite(best).sum():
            best = seconds
    if best is None or np.isfinite(best).mean() < 0.5:
        return None
    return best


def _seconds(stamps: pd.Series) -> np.ndarray:
    import pandas as pd

    origin = pd.Timestamp(1970, 1, 1, tz=stamps.dt.tz)
    return (stamps - origin).dt.total_seconds().to_numpy(dtype=float)


def _stamps(text: pd.Series, sample: pd.Series) -> np.ndarray | None:
    import pandas as pd

    best: tuple[int, float, str] | None = None
    for form in ("ISO8601", *_FORMATS):
        parsed = _to_datetime(sample, form)
        if parsed is None:
            continue
        seconds = _seconds(parsed)
        good = int(np.isfinite(seconds).sum())
        steps = np.abs(np.diff(seconds[np.isfinite(seconds)]))
        spread = float(steps.sum()) if steps.size else 0.0  # day first or month first: the smoother reading is right
        if good and (best is None or good > best[0] or (good == best[0] and spread < best[1])):
            best = (good, spread, form)
        if form == "ISO8601" and good == len(sample):  # what another form reads of these is the same
            break
    if best is None:
        return None
    parsed = _to_datetime(text, best[2])
    if parsed is not None and parsed.isna().any():  # perhaps only blanks around the cells
        parsed = _to_datetime(text.str.strip(), best[2])
    return None if parsed is None else _seconds(pd.Series(parsed))


_ZONE = r"(?:Z|UTC|GMT|[+-]\d{2}:?\d{2})\s*$"


def of_zone(seconds: float, cells: pd.Series) -> float:
    """Return seconds since 1970 (UTC) of a date that was read as UTC: without a zone in its cells it is the local time
    of this computer.
    """
    if cells.dropna().astype("str").str.contains(_ZONE).mean() > 0.5:
        return seconds
    return datetime.fromtimestamp(seconds, UTC).replace(tzinfo=None).astimezone().timestamp()


def _to_datetime(text: pd.Series, form: str) -> pd.Series | None:
    import pandas as pd

    try:
        return pd.to_datetime(text, format=form, errors="coerce", utc=True)
    except (ValueError, TypeError, OverflowError):  # mixed zones or years out of range: this form is not it
        return None


@dataclass(frozen=True)
class MendedClock:
    """Seconds since the first row that rise strictly; which rows had their clock repaired; which follow a gap."""

    time_s: np.ndarray
    repaired: np.ndarray
    after_gap: np.ndarray
    step_s: float
    repairs: tuple[tuple[str, int], ...]


def mend_clock(clock: Clock, *, spread: bool = True) -> MendedClock | None:
    """Return the clock made to rise strictly, or None where it never moves.

    A cell off the line between its neighbours is interpolated. A clock that jumps back and goes on from there has
    started again: it is carried on from the row before, one usual step later. Rows that share one reading are spread
    evenly up to the next reading (not with `spread=False`, for logs where one reading is one round of questions).
    """
    seconds = clock.seconds.astype(float).copy()
    size = seconds.size
    if size < 2:
        return None
    repairs: list[tuple[str, int]] = []
    unread = ~np.isfinite(seconds)
    repaired = unread.copy()
    if unread.any():
        repairs.append(("clock cells that are no time, interpolated", int(unread.sum())))
    good = np.flatnonzero(~unread)
    if good.size < 2:
        return None
    values = seconds[good]
    values, wrapped = _unwrapped(values, clock.wraps_s)
    if wrapped:
        repairs.append(("clock passed midnight", wrapped))
    keep, off = _on_the_line(values)
    if off:
        repairs.append(("clock cells out of line, interpolated", off))
        repaired[good[~keep]] = True
        good, values = good[keep], values[keep]
    values, restarts = _carried_on(values)
    if restarts.size:
        repairs.append(("clock jumped back, extended from the row before", int(restarts.size)))
        repaired[good[restarts]] = True
    if values.size < 2 or values[-1] - values[0] <= 0:
        return None
    shared, stuck = 0, np.zeros(values.size, dtype=bool)
    if spread:
        values, shared, stuck = _spread(values)
    if shared:
        repairs.append(("rows sharing one clock reading, spread evenly", shared))
    if stuck.any():
        repairs.append(("rows under a clock that stood still", int(stuck.sum())))
        repaired[good[stuck]] = True
    steps = np.diff(values)
    step = float(np.median(steps[steps > 0]))
    seconds = np.interp(np.arange(size), good, values)
    head, tail = np.arange(size) < good[0], np.arange(size) > good[-1]
    seconds[head] = values[0] - (good[0] - np.flatnonzero(head)) * step
    seconds[tail] = values[-1] + (np.flatnonzero(tail) - good[-1]) * step
    after_gap = np.zeros(size, dtype=bool)
    after_gap[1:] = np.diff(seconds) > gap_limit(step)
    if after_gap.any():
        repairs.append(("gaps in the clock, not counted as driving", int(after_gap.sum())))
    return MendedClock(seconds - seconds[0], repaired, after_gap, step, tuple(repairs))


def gap_limit(step_s: float) -> float:
    """Return the longest step between rows that still counts as logged time: five usual steps, at least 5 s."""
    return max(5.0, 5.0 * step_s)


def _unwrapped(values: np.ndarray, wraps_s: float | None) -> tuple[np.ndarray, int]:
    if wraps_s is None:
        return values, 0
    step = np.diff(values)
    fall = np.concatenate([[False], (step < -0.5 * wraps_s) & (step > -1.01 * wraps_s)])
    # a real midnight is followed by rows that stay low; a damaged cell comes back up by the same amount
    rise = np.concatenate([step > 0.5 * wraps_s, [False]])
    fall &= ~rise
    return values + wraps_s * np.cumsum(fall), int(fall.sum())


def _on_the_line(values: np.ndarray) -> tuple[np.ndarray, int]:
    """Return which readings lie on a rising line; blocks of up to five readings above or below their neighbours do
    not."""
    keep = np.ones(values.size, dtype=bool)
    for _ in range(3):
        left = np.flatnonzero(keep)
        now = values[left]
        drops = np.flatnonzero(np.diff(now) < 0)
        if not drops.size:
            break
        gone = np.zeros(left.size, dtype=bool)
        for i in drops.tolist():
            if gone[i] or gone[i + 1]:
                continue
            for width in range(1, 6):
                back = i + 1 + width  # a dip: readings i+1 .. i+width lie below the line
                if back < left.size and now[back] >= now[i]:
                    gone[i + 1 : back] = True
                    break
                front = i - width  # a peak: readings i-width+1 .. i lie above it
                if front >= 0 and now[i + 1] >= now[front]:
                    gone[front + 1 : i + 1] = True
                    break
        if not gone.any():
            break
        keep[left[gone]] = False
    left = np.flatnonzero(keep)
    now = values[left]
    if now.size > 10:
        steps = np.diff(now)
        usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
        far = max(3600.0, 1000 * usual)
        # one reading alone at either end, an hour from all others, is a damaged cell rather than a drive
        if steps[-1] > far:
            keep[left[-1]] = False
        if steps[0] > far:
            keep[left[0]] = False
    return keep, int((~keep).sum())


def _carried_on(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    step = np.diff(values)
    back = np.flatnonzero(step < 0)
    if not back.size:
        return values, back
    rising = step[step > 0]
    usual = float(np.median(rising)) if rising.size else 1.0
    lift = np.zeros(values.size)
    lift[back + 1] = -step[back] + usual
    return values + np.cumsum(lift), back + 1


def _spread(values: np.ndarray) -> tuple[np.ndarray, int, np.ndarray]:
    """Return readings spread over the rows that share them, how many rows moved, and which stood under a stuck
    clock."""
    size = values.size
    first = np.concatenate([[True], np.diff(values) > 0])
    stuck = np.zeros(size, dtype=bool)
    if first.all():
        return values, 0, stuck
    starts = np.flatnonzero(first)
    counts = np.diff(np.append(starts, size))
    readings = values[starts]
    inner = np.diff(readings)
    per_row = float(np.sum(np.minimum(inner, 10 * np.median(inner))) / max(1, np.sum(counts[:-1])))
    lengths = np.append(inner, per_row * counts[-1])
    # no row can last longer than the usual: a pause after the last row of a group stays a pause
    row_s = np.minimum(lengths / counts, np.maximum(per_row * 3, 1e-9))
    group = np.repeat(np.arange(starts.size), counts)
    spread = readings[group] + (np.arange(size) - starts[group]) * row_s[group]
    usual = max(10.0, 10 * float(np.median(counts)))
    stuck = (counts > usual)[group]
    return spread, int(size - starts.size), stuck
