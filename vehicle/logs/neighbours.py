"""What a sensor says, held against its physical range, its own past and its neighbours; what cannot be is emptied.

Calculated and absolute load, manifold pressure, air and fuel for each revolution and the throttle all follow the
filling of the cylinders. How each goes with each is learned from the log itself, so no engine has to be known. Limits
without a source are our own choice, wide enough to leave undamaged drives alone (tried on real logs).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vehicle.constants import SEA_LEVEL_PRESSURE_PA
from vehicle.logs.believe import RPM_RAD_S
from vehicle.logs.columns import BY_NAME
from vehicle.logs.log import Draft, Quality
from vehicle.logs.pressure import contradicted, rows_by_place

# All bits set, as SAE J1979 encodes it: what many control units send where a sensor does not answer.
_ALL_BITS = {"manifold_pressure_pa": 255e3, "speed_m_s": 255 / 3.6}
_BITS_SHARE = 0.002  # of the value: a logger's rounding
_NEAR_S = 5.0  # a true value of that size is reached through values between
_NEAR_SHARE = 0.85

_FILLING = (
    "manifold_pressure_pa",
    "calculated_load",
    "absolute_load",
    "air_flow_kg_s",
    "fuel_rate_m3_s",
    "fuel_mass_flow_kg_s",
    "throttle",
)
_PER_TURN = frozenset({"air_flow_kg_s", "fuel_rate_m3_s", "fuel_mass_flow_kg_s"})
_BINS = 15
_LEAST_ROWS = 150
_OFF_SPREADS, _OFF_RANGE = 6.0, 0.15  # off: by so many robust standard deviations, and by this share of the range
_AWAY_RANGE, _FOLLOWS_RANGE, _AWAY_S = 0.25, 0.06, 2.5
_BOOST_SHARE = 0.3  # of the rows above the barometer that stand together, for an engine with a compressor


def drop_codes(draft: Draft) -> None:
    """Empty the values of a draft that mean "no answer": all bits set."""
    for name in _ALL_BITS:
        if name in draft.values:
            _drop_all_bits(draft, name)


def check_neighbours(draft: Draft) -> None:
    """Empty the values of a draft that cannot be: pressures above the air, outvoted by the others, in no gear."""
    _drop_pressure_above_air(draft)
    _drop_outvoted(draft)
    _drop_pressure_against_one(draft)
    for name in _FILLING:
        if name in draft.values and name != "throttle":
            _drop_lone_jumps(draft, name)
    _drop_impossible_gear(draft)


def _empty(draft: Draft, name: str, wrong: np.ndarray, why: str, flag: Quality = Quality.OUT_OF_RANGE) -> None:
    if wrong.any():
        draft.values[name] = np.where(wrong, np.nan, draft.values[name])
        draft.quality[wrong] |= int(flag)
        draft.repairs.add(f"{BY_NAME[name].words}: {why}, left empty", int(wrong.sum()), sensor=True)


def _drop_all_bits(draft: Draft, name: str) -> None:
    """Empty all-bits values (255 kPa, 255 km/h) that are not reached through values just below."""
    code, values, time_s = _ALL_BITS[name], draft.values[name], draft.time_s
    with np.errstate(invalid="ignore"):
        full = np.abs(values - code) <= _BITS_SHARE * code
        near = (values >= _NEAR_SHARE * code) & ~full
    if not full.any():
        return
    edges = np.flatnonzero(np.diff(np.concatenate([[0], full.astype(np.int8), [0]])))
    support = time_s[near]
    wrong = full.copy()
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        first, last = time_s[start] - _NEAR_S, time_s[end - 1] + _NEAR_S
        if np.searchsorted(support, first) < np.searchsorted(support, last, side="right"):
            wrong[start:end] = False
    said = "255 kPa" if name == "manifold_pressure_pa" else "255 km/h"
    _empty(draft, name, wrong, f"{said} (all bits set: the sensor did not answer)")


def _drop_pressure_above_air(draft: Draft) -> None:
    """Empty manifold pressures above the barometer in an engine that shows no compressor."""
    pressure = draft.values.get("manifold_pressure_pa")
    if pressure is None:
        return
    limit = 1.06 * _barometer_pa(draft.values) + 2e3
    with np.errstate(invalid="ignore"):
        over = pressure > limit
    known = int(np.isfinite(pressure).sum())
    if not over.any() or over.sum() > 0.3 * known:
        return
    together = over & (np.roll(over, 1) | np.roll(over, -1))
    if together.sum() >= max(5, _BOOST_SHARE * over.sum()) and _pulls_more(draft.values, over, 0.65):
        return
    if _pulls_more(draft.values, over, 0.85, unknown=False):
        return
    _empty(draft, "manifold_pressure_pa", over, "above the barometer in an engine without a compressor")


def _barometer_pa(values: Mapping[str, np.ndarray]) -> float:
    """Return the pressure of the air [Pa]: logged, or that in the manifold of the standing engine, or 1013 hPa."""
    logged = values.get("barometric_pressure_pa")
    if logged is not None and np.isfinite(logged).any():
        return float(np.nanmedian(logged))
    turning = values.get("engine_speed_rad_s")
    if turning is not None:
        still = values["manifold_pressure_pa"][turning == 0]
        still = still[np.isfinite(still)]
        if still.size >= 3 and np.ptp(still) < 2e3:
            return float(np.median(still))
    return SEA_LEVEL_PRESSURE_PA


def _pulls_more(values: Mapping[str, np.ndarray], rows: np.ndarray, than: float, *, unknown: bool = True) -> bool:
    """Return whether the engine is loaded in these rows more than in the share `than` of all; `unknown` without
    data.
    """
    for name in ("calculated_load", "absolute_load", "pedal", "throttle"):
        if name in values and np.isfinite(values[name][rows]).any():
            return bool(np.nanmedian(values[name][rows]) > np.nanquantile(values[name], than))
    return unknown


def _fillings(draft: Draft) -> dict[str, np.ndarray]:
    """Return what follows the filling of the cylinders, rows of a turning engine only, flows for each turn."""
    turning = draft.values.get("engine_speed_rad_s")
    fillings = {}
    for name in _FILLING:
        if name not in draft.values or (name in _PER_TURN and turning is None):
            continue
        values = draft.values[name]
        with np.errstate(invalid="ignore", divide="ignore"):
            if turning is not None:
                runs = turning > 300 * RPM_RAD_S
                values = np.where(runs, values / turning if name in _PER_TURN else values, np.nan)
        if np.isfinite(values).sum() >= _LEAST_ROWS and _range(values) > 0:
            fillings[name] = values
    return fillings


def _range(values: np.ndarray) -> float:
    low, high = np.nanquantile(values, (0.02, 0.98))
    return float(high - low)


def _off(values: np.ndarray, by: np.ndarray) -> np.ndarray | None:
    """Return the rows in which `values` stand far off from what they usually are at this value of `by`; None unknown.

    The usual value is the median in each of 15 bins of `by`, the usual spread the median deviation from it, of the bin
    and its two neighbours.
    """
    both = np.isfinite(values) & np.isfinite(by)
    if both.sum() < _LEAST_ROWS:
        return None
    edges = np.unique(np.quantile(by[both], np.linspace(0, 1, _BINS + 1)[1:-1]))
    place = np.searchsorted(edges, by[both], side="right")
    known = values[both]
    middle = np.full(edges.size + 1, np.nan)
    spread = np.zeros(edges.size + 1)
    for number, rows in enumerate(rows_by_place(place, edges.size + 1)):
        inside = known[rows]
        if inside.size >= 5:
            middle[number] = np.median(inside)
            spread[number] = 1.4826 * np.median(np.abs(inside - middle[number]))
    wide = np.maximum(spread, np.maximum(np.append(spread[1:], 0), np.append([0], spread[:-1])))
    room = np.maximum(_OFF_SPREADS * wide, _OFF_RANGE * _range(known))[place]
    low, high = np.full(values.size, np.nan), np.full(values.size, np.nan)
    low[both], high[both] = middle[place] - room, middle[place] + room
    # a logger asks one after the other: what `by` is in the rows before and after counts as well
    low, high = _over_three(low, np.fmin), _over_three(high, np.fmax)
    with np.errstate(invalid="ignore"):
        return both & ((values < low) | (values > high))


def _over_three(values: np.ndarray, pick: np.ufunc) -> np.ndarray:
    """Return the extreme, by `pick` (NaN left out), of each row and those before and after."""
    before, after = np.append(values[:1], values[:-1]), np.append(values[1:], values[-1:])
    return np.asarray(pick(values, pick(before, after)))


def _drop_outvoted(draft: Draft) -> None:
    """Empty a value that contradicts two others which agree with each other; needs three measures of the filling."""
    fillings = _fillings(draft)
    if len(fillings) < 3:
        return
    off: dict[tuple[str, str], np.ndarray] = {}
    for one in fillings:
        for other in fillings:
            if one != other and (rows := _off(fillings[one], fillings[other])) is not None:
                off[one, other] = rows
    for name in fillings:
        if name == "throttle":
            continue
        wrong = np.zeros(draft.time_s.size, dtype=bool)
        others = [other for other in fillings if other != name and (name, other) in off]
        for place, one in enumerate(others):
            for two in others[place + 1 :]:
                if (one, two) not in off or (two, one) not in off:
                    continue
                agree = ~off[one, two] & ~off[two, one] & np.isfinite(fillings[one]) & np.isfinite(fillings[two])
                wrong |= agree & off[name, one] & off[name, two]
        wrong &= np.isfinite(draft.values[name])
        _empty(draft, name, wrong, "contradicts two other measures of the engine's load that agree")


def _drop_pressure_against_one(draft: Draft) -> None:
    """Empty manifold pressures that leave, for seconds, what one neighbour says of them in the other rows.

    One measure against one does not show which of the two is wrong; fuel comes from the pressure, so it is the
    pressure that is emptied.
    """
    wrong, neighbour = contradicted(draft.time_s, draft.values)
    words = BY_NAME[neighbour].words if neighbour else ""
    _empty(draft, "manifold_pressure_pa", wrong, f"contradicts {words} for a while, as it does not elsewhere")


def _drop_lone_jumps(draft: Draft, name: str) -> None:
    """Empty values that jump away and back for a moment while nothing that should move with them moves."""
    values, time_s = draft.values[name], draft.time_s
    others = [
        draft.values[other]
        for other in (*_FILLING, "relative_throttle", "pedal")
        if other != name and other in draft.values and np.isfinite(draft.values[other]).sum() >= 0.5 * values.size
    ]
    known = np.flatnonzero(np.isfinite(values))
    if not others or known.size < 20:
        return
    size = _AWAY_RANGE * _range(values)
    usual = 2 * float(np.quantile(np.abs(np.diff(values[known])), 0.9))
    least = max(size, usual)
    if least <= 0:
        return
    level = values[known]
    up, down = level[1:-1] - level[:-2], level[1:-1] - level[2:]
    lasting = time_s[known[2:]] - time_s[known[:-2]]
    away = (np.sign(up) == np.sign(down)) & (np.minimum(np.abs(up), np.abs(down)) > least)
    away &= (np.abs(level[2:] - level[:-2]) < 0.5 * np.minimum(np.abs(up), np.abs(down))) & (lasting <= 2 * _AWAY_S)
    wrong = np.zeros(values.size, dtype=bool)
    for place in (np.flatnonzero(away) + 1).tolist():
        row = int(known[place])
        wrong[row] = not any(_follows(other, row, float(np.sign(up[place - 1]))) for other in others)
    _empty(draft, name, wrong, "jumps away and back while its neighbours stay", Quality.SPIKE)


def _follows(other: np.ndarray, row: int, way: float) -> bool:
    """Return whether a neighbour moved the same way around this row (True where it is not known)."""
    part = other[max(0, row - 2) : row + 3]
    if np.isfinite(part).sum() < 3:
        return True
    rise = float(np.nanmax(way * part) - np.nanmedian(way * part))
    return rise > _FOLLOWS_RANGE * _range(other)


_GEAR_OVER_TOP = 1.3


def _drop_impossible_gear(draft: Draft) -> None:
    """Empty speed and engine speed where the car is faster than its highest gear allows while the engine pulls.

    Only the engine's load shows that a gear is engaged: without it nothing is concluded.
    """
    values = draft.values
    speed, turning, load = (values.get(n) for n in ("speed_m_s", "engine_speed_rad_s", "calculated_load"))
    if speed is None or turning is None or load is None:
        return
    top = highest_gear(speed, turning)
    if top is None:
        return
    with np.errstate(invalid="ignore", divide="ignore"):
        fast = (speed / turning > _GEAR_OVER_TOP * top) & (turning > 1300 * RPM_RAD_S)
        pulls = load > 0.35
    stretch = np.cumsum(np.diff(np.concatenate([[0], fast.astype(np.int8)])) == 1)  # its number, for rows in it
    wrong = fast & np.isin(stretch, stretch[fast & pulls])
    if wrong.sum() > 0.1 * np.isfinite(speed).sum():  # then it is the gear that was found wrongly
        return
    for name in ("speed_m_s", "engine_speed_rad_s"):
        _empty(draft, name, wrong & np.isfinite(values[name]), "speed and engine speed fit no gear while it pulls")


def engaged_ratios(speed: np.ndarray, turning: np.ndarray, *, briefly: bool = False) -> np.ndarray:
    """Return speed over engine speed (rows,), NaN where no gear is engaged: the ratio must hold from row to row.

    It must hold towards the row before and the one after, or (`briefly`) towards one of them while the engine's speed
    changes by a tenth. `speed` may be in any unit, since whole numbers are allowed for by its smallest step.
    """
    step = smallest_step(speed)
    ratio = np.full(speed.size, np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        use = (turning > 1100 * RPM_RAD_S) & (speed > 0)
        ratio[use] = speed[use] / turning[use]
        room = 0.03 + np.minimum(step / np.where(speed > 0, speed, np.inf), 0.05 if briefly else 0.1)
        holds = np.abs(np.diff(np.log(ratio))) < room[1:]
        if briefly:
            holds &= np.abs(np.diff(np.log(np.where(turning > 0, turning, np.nan)))) > 0.1
    before, after = np.concatenate([[False], holds]), np.concatenate([holds, [False]])
    return np.where(before | after if briefly else before & after, ratio, np.nan)


def ratio_spread(speed: np.ndarray, turning: np.ndarray) -> float:
    """Return the robust spread of the ratio of speed to engine speed in the highest gear: a slipping converter's."""
    top = highest_gear(speed, turning)
    if top is None:
        return 0.0
    logs = np.log(engaged_ratios(speed, turning) / top)
    near = logs[np.abs(logs) < 0.12]
    return 1.4826 * float(np.median(np.abs(near - np.median(near)))) if near.size else 0.0


def smallest_step(values: np.ndarray) -> float:
    """Return the smallest difference between two values that occur, 0 where there is one only."""
    known = values[np.isfinite(values)]
    steps = np.diff(np.unique(known)) if known.size else np.zeros(0)
    return float(steps[steps > 1e-9].min()) if (steps > 1e-9).any() else 0.0


def highest_gear(speed: np.ndarray, turning: np.ndarray) -> float | None:
    """Return the ratio of speed to engine speed of the highest gear that was driven for a while; None unknown."""
    return _gear(engaged_ratios(speed, turning), highest=True)


def lowest_gear(speed: np.ndarray, turning: np.ndarray) -> float | None:
    """Return the ratio of the lowest gear that was driven; None unknown."""
    return _gear(engaged_ratios(speed, turning, briefly=True), highest=False)


def _gear(ratio: np.ndarray, *, highest: bool) -> float | None:
    logs = np.sort(np.log(ratio[np.isfinite(ratio)]))
    if logs.size < (40 if highest else 10):
        return None
    width, least = 0.12, max(12 if highest else 5, 0.04 * logs.size)
    inside = np.searchsorted(logs, logs + width, side="right") - np.arange(logs.size)
    dense = np.flatnonzero(inside >= least)
    if not dense.size:
        return None
    first = int(dense[-1] if highest else dense[0])
    return float(np.exp(np.median(logs[first : first + int(inside[first])])))
