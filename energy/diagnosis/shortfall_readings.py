"""What a passenger read: watts and road speed at least, more where there is more; from a CSV file or from one line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np

from vehicle.problems import InputError, Problem, shown
from vehicle.road_test.call_sheet import has_entries
from vehicle.tables import read_table
from vehicle.units import QuantityError, convert

# Columns of a file and their SI units; several names for one thing, as other questions and recordings have them.
_COLUMNS = {
    "road_speed": "m/s",
    "vehicle_speed": "m/s",
    "electrical_power": "W",
    "rotor_speed": "rad/s",
    "voltage": "V",
    "current": "A",
    "thrust": "N",
    "air_speed": "m/s",
    "free_air_speed": "m/s",
    "wind_speed": "m/s",
    "dial": "deg",
    "pitch": "deg",
    "resistance": "ohm",
    "ratio": "dimensionless",
    "heading": "deg",
    "time": "s",
}
_BY_UNIT = ("road_speed", "electrical_power", "rotor_speed", "voltage", "current", "thrust", "resistance")
_MEASURED = ("electrical_power", "rotor_speed", "voltage", "current", "thrust")
_BINS = (0.06, 0.12, 0.25, 0.5, 10.0)  # widths of a group of readings, in ln(speed)
MOST_GROUPS = 12


@dataclass(frozen=True)
class Readings:
    """Readings (N,) in SI, NaN where a passenger did not read it.

    `dial_deg`, `resistance_ohm` and `ratio` are settings where they differ from the scenario's; `heading_deg` is the
    way the road ran, `wind_speed_m_s` the head wind; `count` the readings that a row stands for.
    """

    road_speed_m_s: np.ndarray
    electrical_power_w: np.ndarray
    rotor_speed_rad_s: np.ndarray
    voltage_v: np.ndarray
    current_a: np.ndarray
    thrust_n: np.ndarray
    air_speed_m_s: np.ndarray
    free_air_speed_m_s: np.ndarray
    wind_speed_m_s: np.ndarray
    dial_deg: np.ndarray
    resistance_ohm: np.ndarray
    ratio: np.ndarray
    heading_deg: np.ndarray
    time_s: np.ndarray
    count: np.ndarray

    def __len__(self) -> int:
        """Return how many readings there are."""
        return len(self.road_speed_m_s)

    def known(self, name: str) -> bool:
        """Return whether any reading holds a value of that field."""
        return bool(np.isfinite(getattr(self, name)).any())


def readings_of(columns: dict[str, np.ndarray], where: str) -> Readings:
    """Return readings from columns by base name ("road_speed") in SI.

    Raises InputError where a reading holds no speed or nothing that was measured, or a negative value.
    """
    count = len(next(iter(columns.values())))
    nothing = np.full(count, np.nan)

    def column(*names: str) -> np.ndarray:
        return next((columns[name] for name in names if name in columns), nothing)

    readings = Readings(
        road_speed_m_s=column("road_speed", "vehicle_speed"),
        electrical_power_w=column("electrical_power"),
        rotor_speed_rad_s=column("rotor_speed"),
        voltage_v=column("voltage"),
        current_a=column("current"),
        thrust_n=column("thrust"),
        air_speed_m_s=column("air_speed"),
        free_air_speed_m_s=column("free_air_speed"),
        wind_speed_m_s=column("wind_speed"),
        dial_deg=column("dial", "pitch"),
        resistance_ohm=column("resistance"),
        ratio=column("ratio"),
        heading_deg=column("heading"),
        time_s=column("time"),
        count=np.ones(count),
    )
    problems = []
    speed = (
        np.isfinite(readings.road_speed_m_s)
        | np.isfinite(readings.air_speed_m_s)
        | np.isfinite(readings.free_air_speed_m_s)
    )
    if not speed.all():
        row = int(np.argmin(speed)) + 1
        problems.append(Problem(where, f"reading {row}", "no speed", "the road speed, such as 60 mph"))
    measured = np.isfinite(np.stack([column(name) for name in _MEASURED[:4]])).any(axis=0)
    if not measured.all():
        row = int(np.argmin(measured)) + 1
        problems.append(Problem(where, f"reading {row}", "a speed alone", "the watts as well, such as 210 W at 60 mph"))
    for name in ("road_speed", "vehicle_speed", *_MEASURED, "air_speed", "free_air_speed", "resistance", "ratio"):
        values = column(name)
        if (values < 0).any():
            row = int(np.argmax(values < 0)) + 1
            problems.append(Problem(where, f"reading {row}: {name}", f"{values[row - 1]:g}", "0 or more"))
    if problems:
        raise InputError(problems)
    return readings


_READ = ("electrical_power", "voltage", "current", "rotor_speed", "road_speed", "air_speed", "thrust")


def read_readings(path: Path) -> Readings:
    """Return the readings of a CSV file, units in its headers. Empty cells are values that were not read.

    Raises InputError for a file without speeds and without watts, volts, amperes or rotor speed.
    """
    columns = read_table(
        path, {}, optional=_COLUMNS, blanks_allowed=tuple(_COLUMNS), by_unit_alone=_BY_UNIT, least_rows=1
    )
    if not columns:
        raise InputError(
            Problem(path.name, "header", "no column that is known", "electrical_power_w and road_speed_mph (or _km_h)")
        )
    if has_entries(path):  # a call sheet: a row that marks a setting or a peak is no reading
        read = np.any([np.isfinite(columns[name]) for name in _READ if name in columns], axis=0)
        columns = {name: values[read] for name, values in columns.items()}
    return readings_of(columns, path.name)


def read_lines(texts: Sequence[str]) -> Readings:
    """Return the readings of lines such as "210 W at 60 mph, 400 rpm, 55 V, air 20 mph, dial 6 deg, back"."""
    rows, problems = [], []
    for text in texts:
        row: dict[str, float] = {}
        for piece in re.split(r"(?<!\d),|,(?!\d)|;|\bat\b|\band\b|@", text):  # 1,200 is one number
            if not piece.strip():
                continue
            try:
                name, value = _piece(piece.strip().lower(), piece.strip())
            except QuantityError as error:
                problems.append(Problem("--reading", shown(text), str(error), "such as '210 W at 60 mph, 400 rpm'"))
                continue
            if name in row:
                problems.append(Problem("--reading", shown(text), f"two values for {name}", "one of each"))
            row[name] = value
        rows.append(row)
    if problems:
        raise InputError(problems)
    names = sorted({name for row in rows for name in row} | {"road_speed"})
    return readings_of({name: np.array([row.get(name, np.nan) for row in rows]) for name in names}, "--reading")


_DIRECTIONS = {"out": 0.0, "back": 180.0, "north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}
_KINDS = (
    ("electrical_power", "W"),
    ("road_speed", "m/s"),
    ("rotor_speed", "rad/s"),
    ("voltage", "V"),
    ("current", "A"),
    ("thrust", "N"),
    ("resistance", "ohm"),
    ("time", "s"),
)
_ANGLES = ("deg", "degrees", "degree", "°")


def _piece(text: str, written: str) -> tuple[str, float]:
    """Return which column one piece of a line is, and its value in SI."""
    if text in _DIRECTIONS:
        return "heading", _DIRECTIONS[text]
    match = re.search(r"([+\-−]?\d+(?:\.\d+)?)\s*([^\W\d_][\w/*·°]*|°)?", written)
    if not match:
        raise QuantityError(f"{shown(written)} holds no number")
    number, unit = float(match.group(1).replace("−", "-")), match.group(2) or ""
    words = written.replace(match.group(0), " ").lower()
    if unit.lower() in _ANGLES:
        return ("heading" if "heading" in words else "dial"), number
    for name, si in _KINDS:
        try:
            value = convert(number, unit, si) if unit else None
        except QuantityError:
            continue
        if value is None:
            break
        return (_speed_of(words) if name == "road_speed" else name), value
    raise QuantityError(f"{shown(written)} is none of watts, speed, rpm, volts, amperes, thrust, degrees, ohm")


def _speed_of(words: str) -> str:
    if "free" in words:
        return "free_air_speed"
    if "wind" in words:
        return "wind_speed"
    return "air_speed" if "air" in words else "road_speed"


def joined(one: Readings, other: Readings) -> Readings:
    """Return the readings of two sources as one."""
    return Readings(*(np.concatenate([getattr(one, f.name), getattr(other, f.name)]) for f in fields(Readings)))


def grouped(readings: Readings) -> tuple[Readings, float]:
    """Return readings of one setting and nearly one speed as one row each, and the scatter of ln(watts) within them.

    The scatter (standard deviation of one reading) is NaN where no group holds enough readings to show it.
    """
    speed = _speeds(readings)
    for width in _BINS:
        label = _labels(readings, speed, width)
        if label.max() + 1 <= MOST_GROUPS:
            break
    groups = [np.flatnonzero(label == k) for k in range(label.max() + 1)]
    groups = sorted(groups, key=len, reverse=True)[:MOST_GROUPS]
    rows = [[_mean(getattr(readings, f.name)[g], f.name) for g in groups] for f in fields(Readings)]
    with np.errstate(divide="ignore", invalid="ignore"):
        per_cube = np.log(readings.electrical_power_w) - 3 * np.log(speed)
    kept = [per_cube[g][np.isfinite(per_cube[g])] for g in groups]
    free = sum(len(values) - 1 for values in kept if len(values) > 1)
    square = sum(float(np.sum((values - values.mean()) ** 2)) for values in kept if len(values) > 1)
    return Readings(*(np.array(row) for row in rows)), (square / free) ** 0.5 if free >= 3 else float("nan")


def _mean(values: np.ndarray, name: str) -> float:
    if name == "count":
        return float(values.sum())
    return float(np.nanmean(values)) if np.isfinite(values).any() else float("nan")


def _speeds(readings: Readings) -> np.ndarray:
    speed = np.where(np.isfinite(readings.road_speed_m_s), readings.road_speed_m_s, readings.air_speed_m_s)
    return np.asarray(np.maximum(np.where(np.isfinite(speed), speed, readings.free_air_speed_m_s), 0.5))


def _labels(readings: Readings, speed: np.ndarray, width: float) -> np.ndarray:
    """Return the number of each reading's group: settings, direction, what was read, speed, half of the time."""
    half = np.zeros(len(speed))
    if np.isfinite(readings.time_s).all() and len(speed) >= 8:
        half = (readings.time_s > np.median(readings.time_s)).astype(float)
    settings = (readings.dial_deg, readings.resistance_ohm, readings.ratio, readings.heading_deg)
    seen = [np.isfinite(getattr(readings, f.name)).astype(float) for f in fields(Readings)[:8]]
    keys = [*(np.nan_to_num(values, nan=-999.0).round(2) for values in settings), *seen]
    keys += [np.floor(np.log(speed / speed.min()) / width), half if width < 1 else np.zeros(len(speed))]
    label = np.unique(np.stack(keys, axis=1), axis=0, return_inverse=True)[1]
    return np.asarray(label).ravel()
