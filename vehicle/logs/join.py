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

from vehicle.files import read_input, write_output
from vehicle.problems import InputError, Problem, nearest, shown

LEAST_CORRELATION = 0.6  # below this the two signals are not telling the same story (our choice, told to the user)
NEAR_RIVAL = 0.05  # a second peak within this of the best one leaves the offset open
_LEAST_OVERLAP = 0.5
MOST_BYTES = 256 * 1024 * 1024
MOST_STEPS = 400_000  # of the common grid
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
class OffsetEstimate:
    """Where two signals agree best.

    `offset_s`: add it to the second log's time to get the first's. `correlation`: Pearson's, over the overlap.
    `rival_correlation`: the best at any offset outside the peak. `overlap_s`: time for which both signals are there.
    """

    offset_s: float
    correlation: float
    rival_correlation: float
    overlap_s: float

    def doubts(self) -> list[str]:
        """Return in words why the offset may be wrong; empty where nothing speaks against it."""
        found = []
        if self.correlation < LEAST_CORRELATION:
            found.append(f"the signals agree poorly at the best offset (correlation {self.correlation:.2f})")
        if self.rival_correlation > self.correlation - NEAR_RIVAL:
            found.append(
                f"another offset fits almost as well (correlation {self.rival_correlation:.2f} against"
                f" {self.correlation:.2f}): the signals repeat themselves"
            )
        return found


def find_offset(
    first_time_s: np.ndarray,
    first_values: np.ndarray,
    second_time_s: np.ndarray,
    second_values: np.ndarray,
    *,
    around_s: float | None = None,
    within_s: float | None = None,
    longest_gap_s: float = 5.0,
) -> OffsetEstimate:
    """Return the offset at which the second signal follows the first most closely.

    All arrays are one-dimensional; times in seconds, rising within each log; NaN values are left out. Both signals are
    set onto one even grid and correlated at every offset for which at least half of the shorter one is
    covered; samples within gaps longer than `longest_gap_s` do not count (masked normalised cross-correlation,
    D. Padfield, IEEE Transactions on Image Processing 21 (2012) 2706, in one dimension, from memory). The peak is
    refined by a parabola, so the offset is finer than the grid. With `around_s` and `within_s`, only offsets within
    `within_s` of `around_s` are tried. Raises ValueError where a signal has fewer than 10 samples or does not change,
    or where no offset gives enough overlap.
    """
    first_time_s, first_values = _usable(first_time_s, first_values, "first")
    second_time_s, second_values = _usable(second_time_s, second_values, "second")
    spans = np.ptp(first_time_s), np.ptp(second_time_s)
    step = float(np.clip(min(_typical_step(first_time_s), _typical_step(second_time_s)), 0.02, 1.0))
    step = max(step, float(sum(spans)) / MOST_STEPS)
    a, a_known = _on_grid(first_time_s, first_values, step, longest_gap_s)
    b, b_known = _on_grid(second_time_s, second_values, step, longest_gap_s)
    size = 1 << int(np.ceil(np.log2(len(a) + len(b))))
    lags = np.arange(size)
    lags[lags >= len(a)] -= size  # a[i + lag] meets b[i]
    correlation, count = _masked_correlation(a, a_known, b, b_known, size)
    offsets = lags * step + first_time_s[0] - second_time_s[0]
    allowed = count >= max(10.0, _LEAST_OVERLAP * min(a_known.sum(), b_known.sum()))
    if around_s is not None and within_s is not None:
        allowed &= np.abs(offsets - around_s) <= within_s
    if not allowed.any() or not np.isfinite(correlation[allowed]).any():
        raise ValueError("no offset within the limits gives enough overlap of the two logs")
    order = np.argsort(offsets)
    correlation = np.where(allowed & np.isfinite(correlation), correlation, -1.0)[order]
    offsets, count = offsets[order], count[order]
    best = int(np.argmax(correlation))
    return OffsetEstimate(
        float(offsets[best] + step * _vertex(correlation, best)),
        float(correlation[best]),
        _rival(correlation, best),
        float(count[best] * step),
    )


def _usable(time_s: np.ndarray, values: np.ndarray, which: str) -> tuple[np.ndarray, np.ndarray]:
    time_s, values = np.asarray(time_s, float), np.asarray(values, float)
    known = np.isfinite(time_s) & np.isfinite(values)
    time_s, values = time_s[known], values[known]
    if len(values) < 10:
        raise ValueError(f"the {which} signal has only {len(values)} samples")
    order = np.argsort(time_s, kind="stable")
    time_s, values = time_s[order], values[order]
    fresh = np.concatenate(([True], np.diff(time_s) > 0))
    time_s, values = time_s[fresh], values[fresh]
    if len(values) < 10 or np.ptp(values) == 0:
        raise ValueError(f"the {which} signal does not change, so its offset cannot be found")
    return time_s, values - values.mean()


def _typical_step(time_s: np.ndarray) -> float:
    return float(np.median(np.diff(time_s)))


def _on_grid(
    time_s: np.ndarray, values: np.ndarray, step: float, longest_gap_s: float
) -> tuple[np.ndarray, np.ndarray]:
    grid = np.arange(time_s[0], time_s[-1] + step / 2, step)
    known = _covered(grid, time_s, max(longest_gap_s, 3 * _typical_step(time_s)))
    return np.where(known, np.interp(grid, time_s, values), 0.0), known.astype(float)


def _covered(at: np.ndarray, time_s: np.ndarray, longest_gap_s: float) -> np.ndarray:
    """Return whether each time lies between two samples that are no further apart than `longest_gap_s`."""
    after = np.searchsorted(time_s, at, side="left")
    exact = (after < len(time_s)) & (time_s[np.minimum(after, len(time_s) - 1)] == at)
    inside = (after > 0) & (after < len(time_s))
    upper = np.clip(after, 1, len(time_s) - 1)
    return exact | (inside & (time_s[upper] - time_s[upper - 1] <= longest_gap_s))


def _masked_correlation(
    a: np.ndarray, a_known: np.ndarray, b: np.ndarray, b_known: np.ndarray, size: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return Pearson's correlation and the number of common samples for every circular lag of `size`."""

    def against(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.fft.irfft(np.fft.rfft(x, size) * np.conj(np.fft.rfft(y, size)), size)

    count = np.round(against(a_known, b_known))
    sum_a, sum_b = against(a, b_known), against(a_known, b)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread_a = against(a * a, b_known) - sum_a**2 / count
        spread_b = against(a_known, b * b) - sum_b**2 / count
        covariance = against(a, b) - sum_a * sum_b / count
        # Rounding of the transform leaves about 1e-12 of the whole where a stretch is flat: no correlation there.
        enough = (spread_a > 1e-9 * (a @ a)) & (spread_b > 1e-9 * (b @ b))
        correlation = np.where(enough, covariance / np.sqrt(np.where(enough, spread_a * spread_b, 1.0)), np.nan)
    return np.clip(correlation, -1.0, 1.0), count


def _vertex(values: np.ndarray, best: int) -> float:
    """Return how far, in steps, the parabola through the peak and its neighbours has its top from the peak."""
    if best in (0, len(values) - 1):
        return 0.0
    left, top, right = values[best - 1 : best + 2]
    bend = left - 2 * top + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0 and min(left, right) > -1 else 0.0


def _rival(correlation: np.ndarray, best: int) -> float:
    """Return the largest correlation outside the hill around the peak (the stretch above 0.8 of it)."""
    low = correlation < 0.8 * correlation[best]
    left = np.flatnonzero(low[:best])
    right = np.flatnonzero(low[best:])
    outside = np.concatenate(
        (
            correlation[: left[-1] + 1] if left.size else correlation[:0],
            correlation[best + right[0] :] if right.size else correlation[:0],
        )
    )
    return float(outside.max()) if outside.size else -1.0


@dataclass(frozen=True)
class Joined:
    """The second log on the first's clock: its columns at the first's times (NaN where it does not reach).

    `how`: "given", "clocks" or "correlation"; `estimate` only for the last.
    """

    columns: Mapping[str, np.ndarray]
    offset_s: float
    how: Literal["given", "clocks", "correlation"]
    estimate: OffsetEstimate | None = None


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

    The offset (added to the second's time) is `offset_s` where given; else found by cross-correlating the column pair
    `match`, where there is a `clock_offset_s` only within `within_s` of it; else `clock_offset_s`, the offset that the
    wall clocks say. Values are interpolated straight between samples no further apart than `longest_gap_s`, and NaN
    elsewhere: nothing is invented. Raises ValueError where none of the three is given or the signals do not fit.
    """
    how: Literal["given", "clocks", "correlation"] = "given"
    estimate = None
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
        offset_s = estimate.offset_s
    elif offset_s is None and clock_offset_s is not None:
        how, offset_s = "clocks", clock_offset_s
    if offset_s is None:
        raise ValueError("no offset, no pair of columns to match, and no wall clock in both logs")
    at = np.asarray(first["time_s"], float)
    columns = {
        name: _at_times(at, np.asarray(second["time_s"], float) + offset_s, np.asarray(values, float), longest_gap_s)
        for name, values in second.items()
        if name != "time_s"
    }
    return Joined(columns, offset_s, how, estimate)


def _at_times(at: np.ndarray, time_s: np.ndarray, values: np.ndarray, longest_gap_s: float) -> np.ndarray:
    known = np.isfinite(time_s) & np.isfinite(values)
    if not known.any():
        return np.full(len(at), np.nan)
    time_s, values = time_s[known], values[known]
    order = np.argsort(time_s, kind="stable")
    time_s, values = time_s[order], values[order]
    if len(time_s) == 1:
        return np.where(at == time_s[0], values[0], np.nan)
    return np.where(_covered(at, time_s, longest_gap_s), np.interp(at, time_s, values), np.nan)


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

    Comma, semicolon or tab; decimal commas where the cells are not split by commas. Raises InputError.
    """
    text = _text(path)
    lines = [line for line in text.splitlines() if line.strip(" ,;\t") and not line.startswith("#")]
    if len(lines) < 2:
        raise InputError(Problem(str(path), "", "no rows", "a header line and rows of numbers"))
    delimiter = max(";\t,", key=lines[0].count)
    cells = list(csv.reader(lines, delimiter=delimiter))
    header = tuple(cell.strip() for cell in cells[0])
    rows = tuple(tuple((*row, *[""] * len(header))[: len(header)]) for row in cells[1:])
    place = _time_column(path, header)
    time_s, wall_start_s = _seconds(path, header, rows, place)
    numbers: dict[str, np.ndarray] = {"time_s": time_s}
    for column, name in enumerate(header):
        values = np.array([_number(row[column], decimal_comma=delimiter != ",") for row in rows])
        if name and column != place and name not in numbers and np.isfinite(values).any():
            numbers[name] = values
    return LogText(path, header, rows, numbers, wall_start_s)


def _text(path: Path) -> str:
    try:
        return read_input(path, MOST_BYTES, "a CSV file").decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(Problem(str(path), "", "no such file", "an existing CSV file")) from None
    except UnicodeDecodeError:
        raise InputError(Problem(str(path), "", "not UTF-8 text", "a CSV file saved as UTF-8")) from None
    except OSError as error:
        raise InputError(Problem(str(path), "", f"cannot be read ({error.strerror})", "a readable CSV file")) from None


def _normal(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")


def _time_column(path: Path, header: Sequence[str]) -> int:
    names = [_normal(name) for name in header]
    for wanted in _TIME_NAMES:
        if wanted in names:
            return names.index(wanted)
    raise InputError(
        Problem(str(path), "header", "no time column among " + shown(", ".join(header)), "a column such as time_s")
    )


def _seconds(
    path: Path, header: Sequence[str], rows: Sequence[Sequence[str]], place: int
) -> tuple[np.ndarray, float | None]:
    cells = [row[place].strip() for row in rows]
    plain = np.array([_number(cell, decimal_comma=True) for cell in cells])
    if np.isfinite(plain).mean() > 0.5:
        time_s = plain * _TO_SECONDS.get(_normal(header[place]), 1.0)
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


def _number(text: str, *, decimal_comma: bool) -> float:
    text = text.strip()
    if decimal_comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        return float(text)
    except ValueError:
        return float("nan")


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
