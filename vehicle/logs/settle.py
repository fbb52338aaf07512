"""Units that a log does not name, settled by what its numbers can be: speeds by the gears, shares by their company."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vehicle.logs.believe import RPM_RAD_S
from vehicle.logs.columns import Column
from vehicle.logs.log import Draft
from vehicle.logs.neighbours import highest_gear, lowest_gear

_KM_H = 3.6
_SPEED_UNITS = {"km/h": 1.0, "mph": 1.609344, "m/s": 3.6}  # in km/h
_SETTLED = float(np.log(10.0))  # likelihood ratio from which another unit than the standard's is taken
_SILENT = float(np.log(3.0))  # and from which the standard's is taken without a word

# Common practice, no source: km/h at 1000 rpm in the gear driven at motorway speed (small petrol cars 33, long geared
# diesels 60, old vans 28), and in first gear (6 to 9.5); spreads of their logarithms.
_TOP_GEAR, _TOP_SPREAD, _TOP_FROM_KM_H = 42.0, 0.22, 85.0
_FIRST_GEAR, _FIRST_SPREAD = 7.6, 0.22
_FASTEST_KM_H, _FASTER_KM_H = 150.0, 15.0


@dataclass(frozen=True)
class _Evidence:
    """How likely each unit of the speed is (logarithm, relative), and what speaks for it."""

    likelihood: dict[str, float]
    why: str

    def best(self) -> tuple[str, float]:
        """Return the likeliest unit and by how much it beats the next."""
        ranked = sorted(self.likelihood, key=lambda unit: -self.likelihood[unit])
        return ranked[0], self.likelihood[ranked[0]] - self.likelihood[ranked[1]]


def settle_speed(columns: list[Column], draft: Draft) -> tuple[list[Column], list[str]]:
    """Return the columns with the unit that a speed without one must have, and notes; its values are brought to it.

    Held against each other: a speed by satellite or positions, whole km/h that show through another unit, and the
    ratio to engine speed in the lowest and the highest gear.
    """
    place = next(
        (i for i, c in enumerate(columns) if c.parameter == "speed_m_s" and c.use == "used" and _unmarked(c)), None
    )
    notes: list[str] = []
    if place is not None and "speed_m_s" in draft.values:
        number = draft.values["speed_m_s"] * _KM_H  # as it stands in the file, taken for km/h
        evidence = _by_satellite(number, columns, draft) or _by_lattice(number) or _by_gears(number, draft)
        if evidence is not None:
            unit, lead = evidence.best()
            best = evidence.likelihood[unit]
            if unit != "km/h" and lead >= _SETTLED:
                draft.values["speed_m_s"] = draft.values["speed_m_s"] * _SPEED_UNITS[unit]
                note = f"no unit in the file: read as {unit}, because {evidence.why}"
                columns = [*columns]
                columns[place] = replace(columns[place], unit=unit, unit_from="its values", note=note)
                notes.append(f"vehicle speed has no unit: {unit} taken, because {evidence.why}")
            elif unit != "km/h" and best - evidence.likelihood["km/h"] >= _SETTLED:
                del draft.values["speed_m_s"]
                note = f"no unit in the file, and km/h cannot be: {evidence.why}; name the unit (mph or m/s)"
                columns = [*columns]
                columns[place] = replace(columns[place], use="not understood", note=note)
                notes.append(f"vehicle speed is not used: {note}")
            elif unit != "km/h" or lead < _SILENT:
                near = " or ".join(u for u, value in evidence.likelihood.items() if best - value < _SETTLED)
                header = columns[place].header.strip()
                notes.append(
                    f"vehicle speed has no unit: km/h taken, but its numbers fit {near} ({evidence.why}). To "
                    f"be certain, "
                    f'name the unit: --column "{header}=vehicle speed (km/h)"'
                )
    return columns, notes


def _unmarked(column: Column) -> bool:
    return column.unit_from == "standard"


def _by_satellite(number: np.ndarray, columns: Sequence[Column], draft: Draft) -> _Evidence | None:
    """Hold the speed against one by satellite whose unit the file names, or against the positions."""
    named = any(c.parameter == "gps_speed_m_s" and c.use == "used" and not _unmarked(c) for c in columns)
    true_m_s = draft.values.get("gps_speed_m_s") if named else _track_speed(draft)
    if true_m_s is None:
        return None
    with np.errstate(invalid="ignore"):
        use = (true_m_s > 4.0) & (number > 0)
    if use.sum() < 30:
        return None
    factor = float(np.median(true_m_s[use] * _KM_H / number[use]))
    likelihood = {unit: -(((np.log(factor / f)) / 0.06) ** 2) / 2 for unit, f in _SPEED_UNITS.items()}
    if max(likelihood.values()) < -5:
        return None
    return _Evidence(likelihood, f"the speed by satellite is {factor:.2f} km/h for each unit of it")


def _track_speed(draft: Draft) -> np.ndarray | None:
    """Return the speed [m/s] between positions 10 s before and after each row; None without positions."""
    north, east = draft.values.get("latitude_deg"), draft.values.get("longitude_deg")
    if north is None or east is None:
        return None
    good = np.isfinite(north) & np.isfinite(east)
    if good.sum() < 30:
        return None
    time_s = draft.time_s
    metre = 6_371_000 * np.pi / 180

    def at(values: np.ndarray, seconds: np.ndarray) -> np.ndarray:
        return np.interp(seconds, time_s[good], values[good])

    wide = np.cos(np.radians(float(np.median(north[good]))))
    span = 10.0
    dy = at(north, time_s + span) - at(north, time_s - span)
    dx = (at(east, time_s + span) - at(east, time_s - span)) * wide
    speed = metre * np.hypot(dx, dy) / (2 * span)
    inside = (time_s - span >= time_s[good][0]) & (time_s + span <= time_s[good][-1])
    return np.where(inside, speed, np.nan)


def _by_lattice(number: np.ndarray) -> _Evidence | None:
    """Find whole km/h behind numbers with decimals: 62.1371 is 100 km/h in mph, 27.78 in m/s."""
    values = np.unique(np.round(number[np.isfinite(number) & (number > 0)], 6))
    whole = np.abs(values - np.round(values)) < 1e-6
    if values.size < 20 or whole.mean() > 0.7:
        return None
    decimals = next((d for d in range(1, 6) if np.all(np.abs(values * 10**d - np.round(values * 10**d)) < 1e-4)), 6)
    for unit, factor in _SPEED_UNITS.items():
        room = 0.5 * 10.0**-decimals * factor + 0.005
        km_h = values * factor
        if unit != "km/h" and room < 0.2 and np.mean(np.abs(km_h - np.round(km_h)) <= room) > 0.97:
            return _Evidence(
                {u: 0.0 if u == unit else -20.0 for u in _SPEED_UNITS}, f"its numbers are whole km/h written in {unit}"
            )
    return None


def _by_gears(number: np.ndarray, draft: Draft) -> _Evidence | None:
    """Hold the ratios to engine speed in the lowest and highest gear driven against those that road vehicles have."""
    turning = draft.values.get("engine_speed_rad_s")
    if turning is None:
        return None
    per_1000 = 1000 * RPM_RAD_S
    top, first = highest_gear(number, turning), lowest_gear(number, turning)
    if top is None:
        return None
    fast = float(np.nanquantile(number, 0.97))
    likelihood = {}
    for unit, factor in _SPEED_UNITS.items():
        km_h = fast * factor
        usual = _TOP_GEAR * min(1.0, (km_h / _TOP_FROM_KM_H) ** 0.8)  # in town the highest gear may not be reached
        score = -((np.log(top * per_1000 * factor / usual) / _TOP_SPREAD) ** 2) / 2
        # no gear is lower than the first; the lowest that shows may be a higher one
        if first is not None:
            score -= min(0.0, np.log(first * per_1000 * factor / _FIRST_GEAR) / _FIRST_SPREAD) ** 2 / 2
        score -= max(0.0, (km_h - _FASTEST_KM_H) / _FASTER_KM_H) ** 2 / 2
        likelihood[unit] = float(score)
    low = "" if first is None else f"{first * per_1000:.1f} in the lowest gear driven and "
    why = (
        f"1000 rpm give {low}{top * per_1000:.0f} in the highest gear driven; road vehicles have 6 to 10 km/h in the"
        f" lowest and 28 to 65 in the highest gear, and this drive reached {fast:.0f}"
    )
    return _Evidence(likelihood, why)


# One step of a percent in SAE J1979 is 100/255 (a trim's 100/128): below one percent there are only these.
_PERCENT_STEPS = np.array([0.0, 100 / 255, 200 / 255, 100 / 128, 1.0])
_LEAST_LOAD = 0.02  # median calculated load of a turning engine: idling takes ten times as much


def settle_shares(columns: list[Column], draft: Draft) -> tuple[list[Column], list[str]]:
    """Return the columns with shares of one found among percents without a unit, and notes; values are brought to SI.

    All columns of the kind decide together: a logger writes them alike. One above one means percent; none above one and
    more values than percent has below one means shares of one.
    """
    names = {
        c.parameter: i
        for i, c in enumerate(columns)
        if c.use == "used" and _unmarked(c) and c.unit == "%" and c.parameter in draft.values and c.parameter != "grade"
    }
    if not names:
        return columns, []
    written = {name: 100 * draft.values[name] for name in names}
    largest = max(float(np.nanmax(np.abs(numbers))) for numbers in written.values())
    words = ", ".join(columns[i].header.strip() for i in names.values())
    if largest > 1.02:
        alone = [name for name in names if "load" in name and _too_low(written[name], draft)]
        why = "no running engine has so small a load in percent"
    elif any(_too_low(numbers, draft) for name, numbers in written.items() if name == "calculated_load") or any(
        _between_steps(numbers) for numbers in written.values()
    ):
        alone, why = list(names), f"no value of {words} is above one"
    else:
        steps = f"{words}: read as percent, though no value is above one: name the unit if they are shares of one"
        return columns, [steps] if largest > 0 else []
    columns = [*columns]
    for name in alone:
        draft.values[name] = 100 * draft.values[name]
        place = names[name]
        columns[place] = replace(
            columns[place], unit="fraction", unit_from="its values", note=f"read as shares of one: {why}"
        )
    return columns, []


def _too_low(numbers: np.ndarray, draft: Draft) -> bool:
    """Return whether a load, taken for percent, is under that of any running engine."""
    turning = draft.values.get("engine_speed_rad_s")
    with np.errstate(invalid="ignore"):
        use = np.isfinite(numbers) & ((turning > 0) if turning is not None else True)
    if not use.any() or float(np.nanmax(numbers)) > 1.02:
        return False
    return bool(float(np.median(numbers[use])) > _LEAST_LOAD or float(np.quantile(numbers[use], 0.9)) > 0.05)


def _between_steps(numbers: np.ndarray) -> bool:
    """Return whether a tenth of the values lie between the steps that percent has below one."""
    good = np.abs(numbers[np.isfinite(numbers) & (numbers != 0)])
    if good.size < 3:
        return False
    away = np.min(np.abs(good[:, None] - _PERCENT_STEPS), axis=1)
    return bool(np.mean(away > 0.011) > 0.1)
