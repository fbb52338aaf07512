"""A manifold pressure that could be true and is not: held against load, throttle and barometer over a whole log.

How pressure goes with its neighbour is learned from the log itself. Limits without a source are our own choice, wide
enough to leave undamaged drives alone (tried on real logs).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vehicle.logs.believe import RPM_RAD_S

_LEAST_ROWS = 150
_HOLDS_S, _WIDEST, _MOST_AWAY = 8.0, 101, 0.4
_OF_ITS_SPREAD, _DRAGS_IN = 7.0, 0.5
# What a neighbour says of the pressure, and how far that is off at times by itself [Pa]: a throttle says less.
_AGAINST = {"calculated_load": 10e3, "absolute_load": 10e3, "throttle": 20e3, "relative_throttle": 20e3}
_OTHERS_ROOM = 0.4
_PASSES = 3  # values that are emptied no longer pull what is usual


_PLACES = np.concatenate([[0.01, 0.03], np.linspace(0, 1, 16)[1:-1], [0.97, 0.99]])
_STILL_OFF_PA, _STILL_PTP_PA = 6e3, 2e3
_COASTS_LOAD, _COASTS_MOST_PA, _UNTHROTTLED = 0.20, 42e3, 0.8
_FULL_LOAD, _FULL_LEAST, _FULL_LEAST_UNKNOWN_AIR = 0.9, 0.75, 0.65


def contradicted(time_s: np.ndarray, values: Mapping[str, np.ndarray]) -> tuple[np.ndarray, str]:
    """Return the rows (rows,) in which manifold pressure leaves, for seconds, what its nearest neighbour says of it.

    The rows before and after are those of the same engine: a deviation that comes and goes is no property of it.

    Parameters
    ----------
    time_s
        Time of the rows [s].
    values
        Parameters of the log by name, SI, NaN unknown.

    Returns
    -------
    tuple
        The rows, and the neighbour by its name ("" where nothing is known).
    """
    wrong = np.zeros(time_s.size, dtype=bool)
    neighbour = ""
    for _ in range(_PASSES if "manifold_pressure_pa" in values else 0):
        pressure = np.where(wrong, np.nan, values["manifold_pressure_pa"])
        if not (away := _neighbours(values, pressure)):
            break
        neighbour, *others = away
        more = _held_away(time_s, away[neighbour], _AGAINST[neighbour])
        for other in others:  # one that agrees with the pressure shows that it is the first neighbour that lies
            more &= _held_away(time_s, away[other], _AGAINST[other], _OTHERS_ROOM)
        if not more.any():
            break
        wrong |= more
    return (wrong if wrong.mean() <= _MOST_AWAY else np.zeros(wrong.size, dtype=bool)), neighbour


def doubts(values: Mapping[str, np.ndarray]) -> list[str]:
    """Return in words why a manifold pressure may be off in the whole log; nothing is left out for it.

    An engine that stands has the pressure of the air in its manifold; one that coasts with its throttle shut 20 to
    40 kPa; one at full load nearly that of the air (from memory; a diesel has no throttle and is passed over).
    """
    pressure, turning = values.get("manifold_pressure_pa"), values.get("engine_speed_rad_s")
    if pressure is None or turning is None or not np.isfinite(pressure).any():
        return []
    logged = values.get("barometric_pressure_pa")
    air = float(np.nanmedian(logged)) if logged is not None and np.isfinite(logged).any() else None
    return [*_standing_doubt(pressure, turning, air), *_load_doubts(values, pressure, turning, air)]


_BASED = "fuel from it is off with it"


def _standing_doubt(pressure: np.ndarray, turning: np.ndarray, air: float | None) -> list[str]:
    still = pressure[(turning == 0) & np.isfinite(pressure)]
    if air is None or still.size < 3 or np.ptp(still) > _STILL_PTP_PA:
        return []
    off = float(np.median(still)) - air
    if abs(off) <= _STILL_OFF_PA:
        return []
    return [
        f"manifold pressure reads {abs(off) / 1e3:.0f} kPa too {'high' if off > 0 else 'low'}: with the engine "
        f"standing {np.median(still) / 1e3:.0f} kPa, the air {air / 1e3:.0f} kPa; {_BASED}"
    ]


def _load_doubts(
    values: Mapping[str, np.ndarray], pressure: np.ndarray, turning: np.ndarray, air: float | None
) -> list[str]:
    load = values.get("calculated_load")
    if load is None:
        return []
    with np.errstate(invalid="ignore"):
        rows = np.isfinite(load) & np.isfinite(pressure) & (turning > 1300 * RPM_RAD_S)
        full = rows & (load > _FULL_LOAD)
    if rows.sum() < _LEAST_ROWS:
        return []
    least_pa, least_load = (float(np.quantile(one[rows], 0.02)) for one in (pressure, load))
    usual_air = 101325.0 if air is None else air
    if least_load < _COASTS_LOAD and _COASTS_MOST_PA < least_pa < _UNTHROTTLED * usual_air:
        return [
            f"manifold pressure does not fall under {least_pa / 1e3:.0f} kPa although the calculated load falls to "
            f"{100 * least_load:.0f} % (20 to 40 kPa is usual there): if it reads too high, {_BASED}"
        ]
    least = _FULL_LEAST_UNKNOWN_AIR if air is None else _FULL_LEAST
    if full.sum() >= 10 and float(np.median(pressure[full])) < least * usual_air:
        return [
            f"manifold pressure reaches only {np.median(pressure[full]) / 1e3:.0f} kPa at full load "
            f"(the air {usual_air / 1e3:.0f} kPa): if it reads too low, {_BASED}"
        ]
    return []


def _held_away(time_s: np.ndarray, away: np.ndarray, least_pa: float, room: float = 1.0) -> np.ndarray:
    """Return the rows in which a deviation [Pa] holds for seconds, with those around that share it.

    `room` widens or narrows what is allowed.
    """
    wrong = np.zeros(away.size, dtype=bool)
    known = np.flatnonzero(np.isfinite(away))
    step_s = float(np.median(np.diff(time_s[known]))) if known.size > 1 else 0.0
    width = max(3, 2 * round(0.5 * _HOLDS_S / max(step_s, 1e-3)) + 1)
    if width > _WIDEST or known.size < max(_LEAST_ROWS, 4 * width):
        return wrong
    held = _running_median(away[known], width)
    held = held - np.median(held)
    off = np.abs(held) > room * max(least_pa, _OF_ITS_SPREAD * 1.4826 * float(np.median(np.abs(held))))
    for start, end in _stretches(off):
        level = float(np.median(held[start:end]))
        reach = known[max(0, start - width) : end + width]
        wrong[reach[np.sign(level) * away[reach] > _DRAGS_IN * abs(level)]] = True
    return wrong


def _neighbours(values: Mapping[str, np.ndarray], pressure: np.ndarray) -> dict[str, np.ndarray]:
    """Return how far the pressure is off each neighbour [Pa], the neighbour first that says most of the pressure."""
    turning = values.get("engine_speed_rad_s")
    away = {
        name: rows
        for name in _AGAINST
        if name in values and (rows := _away_from_usual(pressure, values[name], turning)) is not None
    }
    return dict(sorted(away.items(), key=lambda one: float(np.nanmedian(np.abs(one[1])))))


def _away_from_usual(pressure: np.ndarray, by: np.ndarray, turning: np.ndarray | None) -> np.ndarray | None:
    """Return how far pressures are off what is usual at a neighbour's value and the engine's speed [Pa]; None unknown.

    The usual value is the median in each of bins of the neighbour, less the same over the engine's speed.
    """
    both = np.isfinite(pressure) & np.isfinite(by)
    if turning is not None:
        with np.errstate(invalid="ignore"):
            both &= turning > 300 * RPM_RAD_S
    if both.sum() < _LEAST_ROWS or not np.ptp(by[both]) > 0:
        return None
    away = np.full(pressure.size, np.nan)
    away[both] = pressure[both]
    for measure in (by, turning, by, turning) if turning is not None else (by,):
        away[both] -= _median_by(away[both], measure[both])
    return away


def _median_by(values: np.ndarray, by: np.ndarray) -> np.ndarray:
    """Return for each value the median of those at a like `by`: straight lines through bins, and on beyond the ends."""
    edges = np.unique(np.quantile(by, _PLACES))
    place = np.searchsorted(edges, by, side="right")
    rows = [rows for rows in rows_by_place(place, edges.size + 1) if rows.size >= 5]
    if len(rows) < 3:
        return np.full(values.size, float(np.median(values)))
    middles = np.array([np.median(by[inside]) for inside in rows])
    usual = np.array([np.median(values[inside]) for inside in rows])
    line = np.interp(by, middles, usual)
    for end, inner, beyond in ((0, 2, by < middles[0]), (-1, -3, by > middles[-1])):
        slope = (usual[end] - usual[inner]) / (middles[end] - middles[inner])
        line[beyond] += slope * (by[beyond] - middles[end])
    return line


def rows_by_place(place: np.ndarray, places: int) -> list[np.ndarray]:
    """Return the rows of each place, where `place` (rows,) counts from 0 and there are so many `places`."""
    order = np.argsort(place, kind="stable")
    return np.split(order, np.cumsum(np.bincount(place, minlength=places))[:-1])


def _running_median(values: np.ndarray, width: int) -> np.ndarray:
    """Return the median over `width` values (odd) around each, the ends held."""
    padded = np.pad(values, width // 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))


def _stretches(flags: np.ndarray) -> list[tuple[int, int]]:
    """Return the first row and the one after the last of each stretch of true flags."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
