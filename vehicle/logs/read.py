"""Any log of a drive to one tidy table in SI, with quality flags; every repair is counted and told.

What cannot be understood is listed, never dropped in silence; what cannot be believed is left empty, never guessed.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from vehicle.logs import columns as known
from vehicle.logs.clock import MendedClock, gap_limit, mend_clock, parse_clock
from vehicle.logs.columns import BY_NAME, DATE, MARK, PARAMETER, TIME, UNIT, VALUE, Column, Parameter
from vehicle.logs.text import RawLog, is_long, read_raw
from vehicle.problems import InputError, Problem, shown

if TYPE_CHECKING:
    import pandas as pd

_RPM = 2 * np.pi / 60
_MOST_UNBELIEVABLE = 0.3  # share of cells out of range above which a column is not what its name says
_STUCK_S = 20.0
_RECORDED = ("time_s", "time_utc", "row_duration_s")  # our recorder's file: its names never shift, and cells stay empty


class Quality(enum.IntFlag):
    """What is known against a row of a tidy table; 0 is a row as logged."""

    CLOCK = 1
    AFTER_GAP = 2
    MISSING = 4
    NOT_A_NUMBER = 8
    OUT_OF_RANGE = 16
    SPIKE = 32
    STUCK = 64
    BROKEN_ROW = 128
    ZEROS = 256
    FILLED = 512


@dataclass(frozen=True)
class Repair:
    """One kind of repair and how many cells or rows it touched."""

    what: str
    count: int

    def as_dict(self) -> dict[str, Any]:
        """Return the repair as data, for `--json`."""
        return {"what": self.what, "count": self.count}


@dataclass(frozen=True)
class Log:
    """One log, tidied.

    `table` has one row per row of the log: `time_s` since the first row, `step_s` (the time that the row stands for),
    one column per parameter (SI, names of `vehicle.log_columns.PARAMETERS`; NaN where unknown) and `quality` (bits of
    `Quality`). `columns` says what became of every column of the file, `repairs` what was mended, `notes` what a
    reader should know before trusting the numbers, `clock` which clock was used.
    """

    name: str
    table: pd.DataFrame
    columns: tuple[Column, ...]
    repairs: tuple[Repair, ...]
    notes: tuple[str, ...]
    clock: str
    states: np.ndarray | None = field(default=None, compare=False)

    @property
    def rows(self) -> int:
        """Return the number of rows."""
        return len(self.table)

    @property
    def duration_s(self) -> float:
        """Return the seconds from the first row to the last."""
        return float(self.table["time_s"].iloc[-1]) if len(self.table) else 0.0

    @property
    def distance_m(self) -> float | None:
        """Return the metres driven (speed summed over the logged time, gaps left out), or None without a speed."""
        if "speed_m_s" not in self.table:
            return None
        return float(np.nansum(self.table["speed_m_s"].to_numpy() * self.table["step_s"].to_numpy()))

    def flagged(self, flag: Quality) -> np.ndarray:
        """Return which rows carry `flag`."""
        return (self.table["quality"].to_numpy() & int(flag)) != 0


class _Repairs:
    """Counts by what was done, in the order of first use."""

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}

    def add(self, what: str, count: int) -> None:
        if count:
            self.counts[what] = self.counts.get(what, 0) + int(count)

    def done(self) -> tuple[Repair, ...]:
        return tuple(Repair(what, count) for what, count in self.counts.items())


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
            roles = [known.match_header(header).parameter for header in headers]
            assigned.extend(
                replace(known.match_header(header), index=index, header=header) for index, header in enumerate(headers)
            )
            return [index for index, role in enumerate(roles) if role in (TIME, DATE, PARAMETER, VALUE, UNIT)]
        assigned.extend(known.assign(headers, unit_row, overrides, where or path.name))
        return [column.index for column in assigned if column.use == "used"]

    raw = read_raw(path, wanted)
    repairs = _Repairs()
    for what, count in raw.repairs:
        repairs.add(what, count)
    if is_long(raw.headers) and not overrides:
        return _read_long(path, raw.frame, assigned, raw.decimal, repairs)
    return _read_wide(path, raw, assigned, repairs)


def _read_wide(path: Path, raw: RawLog, columns: list[Column], repairs: _Repairs) -> Log:
    frame, broken = raw.frame, raw.broken
    mended, source = _clock_of(path, frame, columns)
    for what, count in mended.repairs:
        repairs.add(what, count)
    quality = np.zeros(len(frame), dtype=np.uint16)
    quality[broken] |= int(Quality.BROKEN_ROW)
    quality[mended.repaired & ~broken] |= int(Quality.CLOCK)
    quality[mended.after_gap] |= int(Quality.AFTER_GAP)
    values: dict[str, np.ndarray] = {}
    for column in columns:
        if column.use != "used" or column.parameter not in BY_NAME:
            continue
        numbers, unread = _numbers(frame[column.index], raw.decimal)
        parameter = BY_NAME[column.parameter]
        if unread.any():
            repairs.add(f"{parameter.words}: cells that are no number, left empty", int(unread.sum()))
            quality[unread] |= int(Quality.NOT_A_NUMBER)
        values[column.parameter] = numbers
    zeros = _rows_of_zeros(values)
    if zeros.any():
        repairs.add("rows in which every value is zero, not used", int(zeros.sum()))
        quality[zeros] |= int(Quality.ZEROS)
        for numbers in values.values():
            numbers[zeros] = np.nan
    columns, values = _in_si(columns, values, quality, repairs)
    odd = [column for column in columns if column.use == "not understood"]
    if raw.last_is_empty and len(odd) >= 2 and tuple(raw.headers[:3]) != _RECORDED:
        raise InputError(
            Problem(path.name, "header", f"nothing stands under the last name, and {shown(odd[0].header)} and "
                    f"{shown(odd[1].header)} fit no column: the names may be shifted against the columns",
                    "one name for each column")
        )  # fmt: skip
    return _finish(path, columns, values, mended, quality, repairs, source, _states(frame, columns))


def _clock_of(path: Path, frame: pd.DataFrame, columns: list[Column]) -> tuple[MendedClock, str]:
    """Return the best clock: of those that move, the one with the finest steps; engine run time only where no other
    is."""
    dates = next((frame[c.index] for c in columns if c.parameter == DATE and c.index in frame), None)
    candidates = [c for c in columns if c.parameter == TIME and c.index in frame]
    fallback = [c for c in columns if c.parameter == "run_time_s" and c.use == "used" and c.index in frame]
    best: tuple[tuple[float, int], int, MendedClock, str] | None = None
    for group in (candidates, fallback):
        for column in group:
            unit = "" if column.unit_from == "standard" else column.unit
            clock = parse_clock(frame[column.index], unit, dates)
            mended = mend_clock(clock) if clock is not None else None
            if clock is None or mended is None:
                continue
            moves = np.unique(clock.seconds[np.isfinite(clock.seconds)][:5000]).size
            rank = (-float(moves), int(mended.repaired.sum()))
            if best is None or rank < best[0]:
                best = (rank, column.index, mended, f"{column.header.strip()} ({clock.kind})")
        if best is not None:
            return best[2], best[3]
    names = ", ".join(shown(c.header) for c in (*candidates, *fallback)) or "no column is a clock"
    raise InputError(
        Problem(path.name, "clock", f"no clock that moves ({names})",
                'a column "time" in seconds, ISO 8601 or hours:minutes:seconds, or the engine run time')
    )  # fmt: skip


def _numbers(cells: pd.Series, decimal: str) -> tuple[np.ndarray, np.ndarray]:
    """Return a column as floats (NaN where no number) and which cells held something that is no number."""
    if cells.dtype.kind in "iuf":
        numbers = cells.to_numpy(dtype=float, copy=True)
        endless = np.isinf(numbers)
        if endless.any():
            numbers[endless] = np.nan
        return numbers, endless
    import pandas as pd

    text = cells.astype("str").str.strip()
    if decimal == ",":
        pointed = text.str.contains(".", regex=False) & cells.map(lambda cell: isinstance(cell, str))
        text = text.str.replace(",", ".", regex=False).mask(pointed, "?")
    plain = text.str.fullmatch(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?")
    numbers = pd.to_numeric(text.where(plain.fillna(False).astype(bool)), errors="coerce").to_numpy(
        dtype=float, copy=True
    )
    numbers[~np.isfinite(numbers)] = np.nan
    said_empty = text.str.upper().isin(("", "NAN", "NONE", "NULL", "NA", "N/A", "<NA>", "-", "--", "NO DATA", "NODATA"))
    unread = np.isnan(numbers) & ~said_empty.to_numpy(dtype=bool)
    return numbers, unread


def _states(frame: pd.DataFrame, columns: Sequence[Column]) -> np.ndarray | None:
    """Return the words of the column that is headed "state" (or "turbine"), carried on over empty cells."""
    column = next((c for c in columns if c.parameter == MARK and c.index in frame
                   and any(word in c.header.lower() for word in ("state", "turbine"))), None)  # fmt: skip
    if column is None or frame[column.index].isna().all():
        return None
    words = frame[column.index].ffill().fillna("").astype("str").str.strip().str.lower()
    return words.to_numpy(dtype=object)


def _rows_of_zeros(values: Mapping[str, np.ndarray]) -> np.ndarray:
    names = [name for name in values if name != "run_time_s"]
    if len(names) < 3 or not any(BY_NAME[name].kind in ("pressure", "temperature") for name in names):
        return np.zeros(len(next(iter(values.values()))) if values else 0, dtype=bool)
    zeros = values[names[0]] == 0
    for name in names[1:]:
        if not zeros.any():
            break
        zeros &= (values[name] == 0) | np.isnan(values[name])
    return zeros


_ZERO_IS_ABSENT = frozenset({
    "commanded_equivalence_ratio", "air_flow_kg_s", "manifold_pressure_pa", "fuel_rate_m3_s", "fuel_mass_flow_kg_s",
    "calculated_load", "absolute_load", "barometric_pressure_pa", "control_module_voltage_v", "reference_torque_n_m",
    "intake_temperature_k", "coolant_temperature_k", "ambient_temperature_k", "actual_torque",
})  # fmt: skip


def _in_si(
    columns: list[Column], values: dict[str, np.ndarray], quality: np.ndarray | None, repairs: _Repairs
) -> tuple[list[Column], dict[str, np.ndarray]]:
    """Return columns and values in SI; cells out of range are emptied, columns that cannot be what they say are
    listed."""
    running = values.get("engine_speed_rad_s")
    listed: list[Column] = []
    kept: dict[str, np.ndarray] = {}
    for column in columns:
        name = column.parameter
        if column.use != "used" or name not in values:
            listed.append(column)
            continue
        parameter = BY_NAME[name]
        numbers = values[name]
        filled = np.isfinite(numbers)
        if not filled.any():
            listed.append(replace(column, use="not reported", note="no value in any row"))
            continue
        if name in _ZERO_IS_ABSENT and not numbers[filled].any():
            listed.append(replace(column, use="not reported", note="zero in every row: taken as not reported"))
            continue
        column, factor, offset = _unit_of(column, parameter, numbers[filled])
        si = numbers * factor + offset if (factor, offset) != (1, 0) else numbers
        with np.errstate(invalid="ignore"):
            wrong = filled & ((si < parameter.low) | (si > parameter.high))
        if name == "commanded_equivalence_ratio":
            wrong |= numbers == 0
        bad = int(wrong.sum())
        if bad > _MOST_UNBELIEVABLE * filled.sum() and not (name == "manifold_pressure_pa" and running is None):
            listed.append(replace(column, use="not understood", note=(
                f"{100 * bad / filled.sum():.0f} % of its values cannot be {parameter.words} in "
                f"{column.unit or 'this unit'}; "
                "name parameter and unit in the manifest")))  # fmt: skip
            repairs.add(f"{parameter.words}: column not used, most of its values are out of range", bad)
            continue
        if bad:
            si = np.where(wrong, np.nan, si)
            repairs.add(f"{parameter.words}: values out of range, left empty", bad)
            if quality is not None:
                quality[wrong] |= int(Quality.OUT_OF_RANGE)
        doubt = _median_doubt(column, parameter, si, running)
        if doubt:
            listed.append(replace(column, use="not understood", note=doubt))
            repairs.add(f"{parameter.words}: column not used, its unit must be another one", int(filled.sum()))
            continue
        listed.append(column)
        kept[name] = si
    return listed, kept


def _unit_of(column: Column, parameter: Parameter, numbers: np.ndarray) -> tuple[Column, float, float]:
    factor, offset = known.unit_factor(parameter.kind, column.unit) or (1.0, 0.0)
    shares = ("calculated_load", "absolute_load", "throttle", "pedal", "relative_throttle")
    if column.unit_from == "standard" and parameter.name in shares and 0.02 < float(numbers.max()) <= 1.0:
        note = "read as shares of one: percent below one throughout cannot be"
        return replace(column, unit="fraction", unit_from="its values", note=note), 1.0, 0.0
    return column, factor, offset


def _median_doubt(column: Column, parameter: Parameter, si: np.ndarray, running: np.ndarray | None) -> str:
    """Return why the numbers of a column without a unit cannot be in the usual one ("" where they can)."""
    if column.unit_from != "standard":
        return ""
    low, high = parameter.median_low, parameter.median_high
    if parameter.name == "engine_speed_rad_s":
        low, high, running = 200 * _RPM, 7000 * _RPM, si
    if not (np.isfinite(low) or np.isfinite(high)):
        return ""
    with np.errstate(invalid="ignore"):
        use = np.isfinite(si) & (running > 0) if running is not None else np.isfinite(si)
    if use.sum() < 5:
        return ""
    middle = float(np.median(si[use]))
    if low <= middle <= high:
        return ""
    factor, offset = known.unit_factor(parameter.kind, column.unit) or (1.0, 0.0)
    return (f"its median {(middle - offset) / factor:.3g} {column.unit} cannot be {parameter.words}: "
            "name the unit in the manifest")  # fmt: skip


def _finish(
    path: Path, columns: list[Column], values: dict[str, np.ndarray], clock: MendedClock, quality: np.ndarray,
    repairs: _Repairs, source: str, states: np.ndarray | None,
) -> Log:  # fmt: skip
    import pandas as pd

    notes: list[str] = []
    if not values:
        listed = "; ".join(f"{shown(c.header)}: {c.note or c.use}" for c in columns[:8])
        raise InputError(
            Problem(
                path.name,
                "columns",
                f"none can be used ({listed})",
                "vehicle speed, engine speed and one of fuel rate, air flow, manifold pressure",
            )
        )
    if "speed_m_s" not in values and "gps_speed_m_s" in values:
        values["speed_m_s"] = values["gps_speed_m_s"].copy()
        notes.append("speed is that of the satellite receiver: the car's own is not in the log")
    time_s = clock.time_s
    for name in values:
        _despike(name, values, time_s, quality, repairs)
    for name in ("engine_speed_rad_s", "speed_m_s", "manifold_pressure_pa", "air_flow_kg_s", "calculated_load"):
        if name in values:
            _unstick(name, values, time_s, quality, repairs)
    emptied: list[str] = []
    for name, numbers in values.items():
        _fill(BY_NAME[name], numbers, time_s, quality, repairs)
        if not np.isfinite(numbers).any():
            emptied.append(name)
    for name in emptied:
        del values[name]
        columns = [replace(c, use="not used", note="no value could be believed") if c.parameter == name else c
                   for c in columns]  # fmt: skip
    step_s = np.empty_like(time_s)
    step_s[:-1] = np.diff(time_s)
    step_s[-1] = clock.step_s
    np.copyto(step_s, clock.step_s, where=step_s > gap_limit(clock.step_s))
    order = [parameter.name for parameter in known.PARAMETERS if parameter.name in values]
    table = pd.DataFrame({"time_s": time_s, "step_s": step_s, **{name: values[name] for name in order},
                          "quality": quality}, copy=False)  # fmt: skip
    if clock.step_s > 10.0:
        notes.append(f"the rows are {clock.step_s:.3g} s apart: too far for fuel and distance to be summed "
        "with confidence; "
                     "if the clock is not in seconds, name its unit (\"time (ms)\") in the manifest")  # fmt: skip
    assumed = [c for c in columns if c.use == "used" and c.unit_from == "standard" and c.unit and c.parameter in values]
    if assumed:
        said = ", ".join(f"{BY_NAME[c.parameter].words} {c.unit}" for c in assumed)
        notes.append(f"no units in the file for: {said} (the units of SAE J1979)")
    if "engine_speed_rad_s" in values:
        still = _leading(values["engine_speed_rad_s"] == 0)
        if 0 < still < len(table):
            repairs.add("first rows before the engine reports (engine speed zero)", still)
    return Log(path.name, table, tuple(columns), repairs.done(), tuple(notes), source, states)


def _leading(flags: np.ndarray) -> int:
    return int(np.argmin(flags)) if not flags.all() else len(flags)


def _plateaus(numbers: np.ndarray) -> np.ndarray:
    """Return where each stretch of one unchanging value begins."""
    with np.errstate(invalid="ignore"):
        changed = numbers[1:] != numbers[:-1]
    changed &= ~(np.isnan(numbers[1:]) & np.isnan(numbers[:-1]))
    return np.concatenate([[0], np.flatnonzero(changed) + 1])


def _despike(
    name: str, values: dict[str, np.ndarray], time_s: np.ndarray, quality: np.ndarray, repairs: _Repairs
) -> None:
    """Empty values that jump away and back faster than the thing measured can.

    A speed cannot change by more than 6 m/s² up and down again within 2.5 s; an engine speed or load that is zero for a
    moment between running rows is an answer cut short; a temperature does not jump by 15 K.
    """
    parameter = BY_NAME[name]
    if parameter.kind not in ("speed", "rotation", "temperature") and name not in (
        "calculated_load",
        "barometric_pressure_pa",
    ):
        return
    if name in ("head_wind_m_s", "rotor_speed_rad_s", "load_temperature_k"):
        return
    numbers = values[name]
    starts = _plateaus(numbers)
    if starts.size < 3:
        return
    level = numbers[starts]
    ends = np.append(starts[1:], numbers.size - 1)
    lasting = (time_s[ends] - time_s[starts])[1:-1]
    up, down = level[1:-1] - level[:-2], level[1:-1] - level[2:]
    with np.errstate(invalid="ignore"):
        size = np.minimum(np.abs(up), np.abs(down))
        returns = (np.sign(up) == np.sign(down)) & (np.abs(level[2:] - level[:-2]) < 0.5 * size) & (lasting <= 2.5)
        zero = (level[1:-1] == 0) & (level[:-2] > 0) & (level[2:] > 0)
        if parameter.kind == "speed":
            away = returns & (size > np.maximum(3.0, 6.0 * np.maximum(lasting, 0.5)))
        elif parameter.kind == "rotation":
            away = (returns & (size > 5000 * _RPM)) | (zero & (lasting <= 2.5) & (size > 400 * _RPM))
        elif name == "calculated_load":
            away = zero & (lasting <= 1.2) & (size > 0.1)
        elif parameter.kind == "temperature":
            away = returns & (size > 15.0)
        else:
            away = returns & (size > 5e3)
    found = np.flatnonzero(away) + 1
    if not found.size:
        return
    spike = np.zeros(numbers.size, dtype=bool)
    for i in found.tolist():
        spike[starts[i] : starts[i + 1]] = True
    numbers = np.where(spike, np.nan, numbers)
    values[name] = numbers
    quality[spike] |= int(Quality.SPIKE)
    repairs.add(f"{parameter.words}: values that jump away and back, left empty", int(spike.sum()))


# A column is stuck where it holds one value for 20 s while one of these moves by at least so much.
_WITNESSES: dict[str, tuple[tuple[str, float], ...]] = {
    "engine_speed_rad_s": (("speed_m_s", 3.0), ("manifold_pressure_pa", 25e3), ("calculated_load", 0.35),
                           ("air_flow_kg_s", 8e-3)),
    "speed_m_s": (("engine_speed_rad_s", 500 * _RPM),),
    "manifold_pressure_pa": (("calculated_load", 0.35), ("engine_speed_rad_s", 1200 * _RPM), ("air_flow_kg_s", 8e-3)),
    "air_flow_kg_s": (("engine_speed_rad_s", 700 * _RPM), ("manifold_pressure_pa", 25e3), ("calculated_load", 0.35)),
    "calculated_load": (("manifold_pressure_pa", 25e3), ("engine_speed_rad_s", 1200 * _RPM), ("air_flow_kg_s", 8e-3)),
}  # fmt: skip


def _unstick(
    name: str, values: dict[str, np.ndarray], time_s: np.ndarray, quality: np.ndarray, repairs: _Repairs
) -> None:
    """Empty a value that stands still for 20 s while the others say that it cannot."""
    numbers = values[name]
    starts = _plateaus(numbers)
    ends = np.append(starts[1:], numbers.size)
    lasting = time_s[ends - 1] - time_s[starts]
    stuck = np.zeros(numbers.size, dtype=bool)
    for i in np.flatnonzero((lasting >= _STUCK_S) & np.isfinite(numbers[starts])).tolist():
        if name in ("speed_m_s", "engine_speed_rad_s") and numbers[starts[i]] == 0:
            # at rest, or the engine off, unless the car surely drove
            part = slice(int(starts[i]), int(ends[i]))
            drove = (
                _pulls(values, part) if name == "speed_m_s" else _moved(values, "speed_m_s", part.start, part.stop, 5.0)
            )
            stuck[part] = drove
            continue
        if any(_moved(values, other, starts[i], ends[i], least) for other, least in _WITNESSES[name]):
            stuck[starts[i] : ends[i]] = True
    if not stuck.any():
        return
    values[name] = np.where(stuck, np.nan, numbers)
    quality[stuck] |= int(Quality.STUCK)
    repairs.add(f"{BY_NAME[name].words}: stuck at one value while others moved, left empty", int(stuck.sum()))


def _pulls(values: Mapping[str, np.ndarray], part: slice) -> bool:
    """Return whether the engine works as never at rest: above 1200 rpm and loaded, in a twentieth of the rows."""
    if "engine_speed_rad_s" not in values:
        return False
    with np.errstate(invalid="ignore"):
        fast = values["engine_speed_rad_s"][part] > 1200 * _RPM
        loaded = np.zeros(fast.size, dtype=bool)
        pressure = values.get("manifold_pressure_pa")
        if pressure is not None and (pressure < 45e3).mean() > 0.05:  # an engine that is throttled at rest
            loaded |= pressure[part] > 50e3
        if "calculated_load" in values:
            loaded |= values["calculated_load"][part] > 0.55
    return bool((fast & loaded).mean() > 0.05)


def _moved(values: Mapping[str, np.ndarray], name: str, start: int, end: int, least: float) -> bool:
    if name not in values:
        return False
    part = values[name][start + 1 : end]
    part = part[np.isfinite(part)]
    if part.size < 5:
        return False
    # quantiles: one odd row is no witness
    low, high = np.quantile(part, (0.1, 0.9))
    return bool(high - low >= least)


def _fill(
    parameter: Parameter, numbers: np.ndarray, time_s: np.ndarray, quality: np.ndarray, repairs: _Repairs
) -> None:
    """Fill holes in place: short ones of fast values by a line, those of slow values by the last value known."""
    empty = np.isnan(numbers)
    if not empty.any() or empty.all():
        return
    good = np.flatnonzero(~empty)
    sparse = good.size < 0.6 * numbers.size
    holes = np.flatnonzero(empty)
    place = np.searchsorted(good, holes)
    before, after = good[np.maximum(place - 1, 0)], good[np.minimum(place, good.size - 1)]
    inside = (place > 0) & (place < good.size)
    if parameter.hold_s <= known.FAST_HOLD_S:
        longest = 120.0 if parameter.name == "run_time_s" else parameter.hold_s  # a clock runs on between its samples
        fillable = inside & (time_s[after] - time_s[before] <= longest + 1e-9)
        line = np.interp(time_s[holes], time_s[good], numbers[good])
        numbers[holes[fillable]] = line[fillable]
    else:
        backward = (place == 0) & (time_s[after] - time_s[holes] <= parameter.hold_s)
        forward = (place > 0) & (time_s[holes] - time_s[before] <= parameter.hold_s)
        fillable = backward | forward
        numbers[holes[forward]] = numbers[before[forward]]
        numbers[holes[backward]] = numbers[after[backward]]
    filled, left = holes[fillable], holes[~fillable]
    if parameter.name == "run_time_s" and left.size:  # nothing rests on it before its first and after its last sample
        left = left[(left > good[0]) & (left < good[-1])]
    whole = (quality & int(Quality.BROKEN_ROW | Quality.ZEROS)) == 0  # rows told of already are not told of again
    filled_told, left_told = int(whole[filled].sum()), int(whole[left].sum())
    if sparse:
        repairs.add(f"{parameter.words}: asked less often, carried between its samples", filled_told)
    else:
        repairs.add(f"{parameter.words}: short holes filled", filled_told)
        quality[filled] |= int(Quality.FILLED)
    repairs.add(f"{parameter.words}: values missing", left_told)
    quality[left] |= int(Quality.MISSING)


def _read_long(path: Path, frame: pd.DataFrame, columns: list[Column], decimal: str, repairs: _Repairs) -> Log:
    """Return the table of a log of (time; parameter; value; unit) rows, one row per sample of its fastest parameter."""
    import pandas as pd

    role = {column.parameter: column.index for column in columns if column.parameter}
    dates = frame[role[DATE]] if DATE in role else None
    time_column = next(column for column in columns if column.parameter == TIME)
    clock = parse_clock(frame[role[TIME]], time_column.unit, dates)
    mended = mend_clock(clock, spread=False) if clock is not None else None
    if clock is None or mended is None:
        raise InputError(Problem(path.name, "clock", "no clock that moves", "times in seconds, ISO 8601 or h:m:s"))
    for what, count in mended.repairs:
        if "gaps" not in what:
            repairs.add(what, count)
    names = frame[role[PARAMETER]].astype("str").str.strip()
    units = (
        frame[role[UNIT]].astype("str").str.strip() if UNIT in role else pd.Series("", index=frame.index, dtype="str")
    )
    units = units.fillna("").replace({"nan": "", "None": ""})
    numbers, unread = _numbers(frame[role[VALUE]], decimal)
    repairs.add("cells that are no number, left empty", int(unread.sum()))
    label = names.fillna("") + "\x1f" + units
    codes, labels = pd.factorize(label)
    order = np.argsort(codes, kind="stable")
    bounds = np.searchsorted(codes[order], np.arange(len(labels) + 1))
    series: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    listed: list[Column] = []
    for code, text in enumerate(labels.astype("str").tolist()):
        name, _, unit = text.partition("\x1f")
        if not name:
            continue
        column = replace(known.match_header(name, unit), header=name, index=code)
        if column.unit_from == "unit row":
            column = replace(column, unit_from="unit column")
        if column.use != "used" or column.parameter not in BY_NAME:
            listed.append(replace(column, use="not understood" if column.use == "used" else column.use))
            continue
        rows = order[bounds[code] : bounds[code + 1]]
        one, values = _in_si([column], {column.parameter: numbers[rows].copy()}, None, repairs)
        if column.parameter in values and column.parameter in series:
            # the same parameter under two units or spellings: one series, in SI by now
            times = np.concatenate([series[column.parameter][0], mended.time_s[rows]])
            both = np.concatenate([series[column.parameter][1], values[column.parameter]])
            merged = np.argsort(times, kind="stable")
            series[column.parameter] = (times[merged], both[merged])
        elif column.parameter in values:
            series[column.parameter] = (mended.time_s[rows], values[column.parameter])
        listed.extend(one)
    fast = [name for name in series if BY_NAME[name].hold_s <= known.FAST_HOLD_S and name != "run_time_s"] or list(
        series
    )
    if not fast:
        names_seen = ", ".join(shown(column.header) for column in listed[:8])
        raise InputError(
            Problem(
                path.name,
                "parameters",
                f"none is known ({names_seen})",
                "vehicle speed, engine speed, manifold pressure, ...",
            )
        )
    base = max(fast, key=lambda name: series[name][0].size)
    from vehicle.logs.clock import Clock

    grid = mend_clock(Clock(series[base][0], clock.kind))
    if grid is None:
        raise InputError(Problem(path.name, "clock", f"only one reading of {BY_NAME[base].words}", "at least two"))
    start = float(series[base][0][0])
    for what, count in grid.repairs:
        repairs.add(what, count)
    on_grid = {name: _on_grid(BY_NAME[name], times - start, numbers_of, grid.time_s)
               for name, (times, numbers_of) in series.items()}  # fmt: skip
    on_grid[base] = series[base][1].copy()
    quality = np.zeros(grid.time_s.size, dtype=np.uint16)
    quality[grid.repaired] |= int(Quality.CLOCK)
    quality[grid.after_gap] |= int(Quality.AFTER_GAP)
    repairs.add(
        "long log: samples of several rates brought to the rows of one", sum(s[0].size for s in series.values())
    )
    source = f"{time_column.header.strip()} ({clock.kind}), rows at the samples of {BY_NAME[base].words}"
    return _finish(path, listed, on_grid, grid, quality, repairs, source, None)


def _on_grid(parameter: Parameter, times: np.ndarray, numbers: np.ndarray, grid: np.ndarray) -> np.ndarray:
    good = np.isfinite(numbers)
    times, numbers = times[good], numbers[good]
    out = np.full(grid.size, np.nan)
    if not times.size:
        return out
    place = np.searchsorted(times, grid, side="right")
    before = np.maximum(place - 1, 0)
    after = np.minimum(place, times.size - 1)
    if parameter.hold_s <= known.FAST_HOLD_S:
        near = (times[after] - times[before] <= parameter.hold_s) | (np.abs(grid - times[before]) < 1e-9)
        near &= (place > 0) | (np.abs(times[0] - grid) <= parameter.hold_s)
        near &= grid <= times[-1] + parameter.hold_s
        out[near] = np.interp(grid[near], times, numbers)
    else:
        age = np.where(place > 0, grid - times[before], times[0] - grid)
        fresh = age <= parameter.hold_s
        out[fresh] = numbers[before[fresh]]
    return out
