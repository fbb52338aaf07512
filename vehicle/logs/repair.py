"""Repairs of a log that is in SI by now: what jumps or sticks is emptied, what is missing is filled where it may be.

Every repair is counted, and flagged in the rows that it touches.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vehicle.logs.believe import RPM_RAD_S
from vehicle.logs.columns import BY_NAME, FAST_HOLD_S
from vehicle.logs.log import Draft, Quality
from vehicle.logs.neighbours import ratio_spread, smallest_step
from vehicle.logs.stuck import marked_stretches

_STUCK_S = 20.0


def _plateaus(numbers: np.ndarray) -> np.ndarray:
    """Return where each stretch of one unchanging value begins."""
    with np.errstate(invalid="ignore"):
        changed = numbers[1:] != numbers[:-1]
    changed &= ~(np.isnan(numbers[1:]) & np.isnan(numbers[:-1]))
    return np.concatenate([[0], np.flatnonzero(changed) + 1])


def despike(draft: Draft, name: str) -> None:
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
    values, time_s = draft.values, draft.time_s
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
            away = (returns & (size > 5000 * RPM_RAD_S)) | (zero & (lasting <= 2.5) & (size > 400 * RPM_RAD_S))
        elif name == "calculated_load":
            away = zero & (lasting <= 1.2) & (size > 0.1)
        elif parameter.kind == "temperature":
            away = returns & (size > 15.0)
        else:
            away = returns & (size > 5e3)
    spikes = np.flatnonzero(away) + 1
    if not spikes.size:
        return
    spike = np.zeros(numbers.size, dtype=bool)
    for i in spikes.tolist():
        spike[starts[i] : starts[i + 1]] = True
    numbers = np.where(spike, np.nan, numbers)
    values[name] = numbers
    draft.quality[spike] |= int(Quality.SPIKE)
    draft.repairs.add(f"{parameter.words}: values that jump away and back, left empty", int(spike.sum()))


# A column is stuck where it holds one value for 20 s while one of these moves by at least so much.
_WITNESSES: dict[str, tuple[tuple[str, float], ...]] = {
    "engine_speed_rad_s": (
        ("speed_m_s", 3.0),
        ("manifold_pressure_pa", 25e3),
        ("calculated_load", 0.35),
        ("air_flow_kg_s", 8e-3),
    ),
    "manifold_pressure_pa": (
        ("calculated_load", 0.35),
        ("engine_speed_rad_s", 1200 * RPM_RAD_S),
        ("air_flow_kg_s", 8e-3),
    ),
    "air_flow_kg_s": (
        ("engine_speed_rad_s", 700 * RPM_RAD_S),
        ("manifold_pressure_pa", 25e3),
        ("calculated_load", 0.35),
    ),
    "calculated_load": (
        ("manifold_pressure_pa", 25e3),
        ("engine_speed_rad_s", 1200 * RPM_RAD_S),
        ("air_flow_kg_s", 8e-3),
    ),
}


STANDING = (
    *("engine_speed_rad_s", "speed_m_s", "manifold_pressure_pa", "air_flow_kg_s", "calculated_load"),
    *("absolute_load", "fuel_rate_m3_s", "fuel_mass_flow_kg_s"),
)


def unstick(draft: Draft, name: str) -> None:
    """Empty a value that stands still for 20 s while the others say that it cannot."""
    values, time_s = draft.values, draft.time_s
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
        if any(_moved(values, other, starts[i], ends[i], least) for other, least in _WITNESSES.get(name, ())):
            stuck[starts[i] : ends[i]] = True
    stuck |= _speed_stands(values, starts, ends, lasting) if name == "speed_m_s" else _too_long(draft, name)
    if not stuck.any():
        return
    draft.stuck += marked_stretches(name, time_s, numbers, stuck)
    values[name] = np.where(stuck, np.nan, numbers)
    draft.quality[stuck] |= int(Quality.STUCK)
    draft.repairs.add(
        f"{BY_NAME[name].words}: stuck at one value while others moved, left empty", int(stuck.sum()), sensor=True
    )


# Own choice: a value that usually changes within 3 s does not stay for 20 s while the car drives, one that changes
# within
# 10 s not for 60 s.
_TIMES_USUAL, _LEAST_SHORT, _LEAST_ANSWERS = 6.0, 20, 8
_LOW_SHARE, _HIGH_SHARE = 0.12, 0.97  # overrun and full load may hold one value for long
_RISES_M_S = 1.0
_SHIFT, _CREEP, _CREEP_SPREADS = 0.04, 0.05, 6.0  # steps that are shifts; what the rest may add up to at one speed
_LEVEL, _LEVEL_SHARE, _MOST_LEVELS = 0.08, 0.05, 3  # at one road speed the engine has a speed for each of a few gears


def _too_long(draft: Draft, name: str) -> np.ndarray:
    """Return the rows in which a value stands still for much longer than it ever does while the car drives."""
    stuck = np.zeros(draft.time_s.size, dtype=bool)
    known = np.flatnonzero(np.isfinite(draft.values[name]))
    moving = _driving(draft.values, draft.time_s.size)
    if known.size < 2 * _LEAST_SHORT:
        return stuck
    numbers, time_s = draft.values[name][known], draft.time_s[known]
    starts = np.concatenate([[0], np.flatnonzero(np.diff(numbers) != 0) + 1])
    ends = np.append(starts[1:], known.size)
    lasting = time_s[np.minimum(ends, known.size - 1)] - time_s[starts]
    drives = np.add.reduceat(moving[known], starts, dtype=float) / (ends - starts) > 0.9
    short = lasting[drives & (lasting < _STUCK_S)]
    if short.size < _LEAST_SHORT:
        return stuck
    limit = max(_STUCK_S, _TIMES_USUAL * float(np.quantile(short, 0.95)))
    of_plateaus = np.sort(numbers[starts[drives & (lasting < limit)]])  # each once, so that what is stuck has no weight
    low, high = np.quantile(of_plateaus, (_LOW_SHARE, _HIGH_SHARE))
    speed = draft.values.get("speed_m_s")
    for a, b in zip(starts[drives & (lasting >= limit)], ends[drives & (lasting >= limit)], strict=True):
        between = low < numbers[a] < high
        if b - a >= _LEAST_ANSWERS and (between or (numbers[a] <= low and _rises(speed, known[a], known[b - 1]))):
            stuck[known[a] : known[b - 1] + 1] = True
    return stuck & np.isfinite(draft.values[name])


def _driving(values: Mapping[str, np.ndarray], rows: int) -> np.ndarray:
    """Return the rows in which the car drives, or, without a speed, its engine turns faster than at idle."""
    with np.errstate(invalid="ignore"):
        if "speed_m_s" in values:
            return values["speed_m_s"] > 2.0
        if "engine_speed_rad_s" in values:
            return values["engine_speed_rad_s"] > 1200 * RPM_RAD_S
    return np.zeros(rows, dtype=bool)


def _rises(speed: np.ndarray | None, start: int, end: int) -> bool:
    """Return whether the car gains speed between two rows: it does not roll out with the fuel shut off."""
    if speed is None:
        return False
    part = speed[start : end + 1]
    part = part[np.isfinite(part)]
    return bool(part.size > 2 and (part - np.minimum.accumulate(part)).max() > _RISES_M_S)


def _speed_stands(
    values: Mapping[str, np.ndarray], starts: np.ndarray, ends: np.ndarray, lasting: np.ndarray
) -> np.ndarray:
    """Return the rows in which one road speed stands although the engine's speed creeps away from it within a gear."""
    stuck = np.zeros(values["speed_m_s"].size, dtype=bool)
    turning = values.get("engine_speed_rad_s")
    if turning is None:
        return stuck
    creep = max(_CREEP, _CREEP_SPREADS * ratio_spread(values["speed_m_s"], turning))
    for i in np.flatnonzero((lasting >= _STUCK_S) & (values["speed_m_s"][starts] > 2.0)).tolist():
        part = turning[starts[i] : ends[i]]
        part = part[np.isfinite(part) & (part > 0)]
        if part.size < _LEAST_ANSWERS:
            continue
        steps = np.diff(np.log(part))
        way = np.cumsum(np.where(np.abs(steps) < _SHIFT, steps, 0.0))
        room = creep + smallest_step(values["speed_m_s"]) / values["speed_m_s"][starts[i]]
        _, counts = np.unique(np.floor(np.log(part) / _LEVEL), return_counts=True)
        levels = int((counts > np.maximum(2, _LEVEL_SHARE * part.size)).sum())
        if np.quantile(way, 0.95) - np.quantile(way, 0.05) > room or levels > _MOST_LEVELS + (room > 0.15):
            stuck[starts[i] : ends[i]] = True
    return stuck


def _pulls(values: Mapping[str, np.ndarray], part: slice) -> bool:
    """Return whether the engine works as never at rest: above 1200 rpm and loaded, in a twentieth of the rows."""
    if "engine_speed_rad_s" not in values:
        return False
    with np.errstate(invalid="ignore"):
        fast = values["engine_speed_rad_s"][part] > 1200 * RPM_RAD_S
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


def fill(draft: Draft, name: str) -> None:
    """Fill holes in place: short ones of fast values by a line, those of slow values by the last value"""
    parameter, numbers = BY_NAME[name], draft.values[name]
    time_s, quality, repairs = draft.time_s, draft.quality, draft.repairs
    empty = np.isnan(numbers)
    if not empty.any() or empty.all():
        return
    good = np.flatnonzero(~empty)
    sparse = good.size < 0.6 * numbers.size
    holes = np.flatnonzero(empty)
    place = np.searchsorted(good, holes)
    before, after = good[np.maximum(place - 1, 0)], good[np.minimum(place, good.size - 1)]
    inside = (place > 0) & (place < good.size)
    if parameter.hold_s <= FAST_HOLD_S:
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
