"""Stretches of rolling out of gear, found in a log."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from vehicle.driving.coast_run import CoastRun
from vehicle.logs.fuel_flow import acceleration_m_s2
from vehicle.logs.log import Log, Quality
from vehicle.problems import InputError, Problem

_LEAST_S = 10.0
_LEAST_DROP_M_S = 4.0
_LEAST_SPEED_M_S = 3.0
_RISES_M_S = 2.0
_EDGE_S = 3.0  # the pedal comes up and the clutch opens in these seconds


def coast_runs(log: Log, directions: Sequence[int] | None = None) -> list[CoastRun]:
    """Return the stretches of a log in which the vehicle rolls out: slowing steadily, pedal and brake untouched, in
    neutral.

    Direction comes from `directions` (one sign per stretch), else from the satellite track, else the stretches are
    taken to alternate. Raises InputError for signs that do not match the stretches.
    """
    table = log.table
    if "speed_m_s" not in table:
        raise InputError(Problem(log.name, "speed", "no vehicle speed in the log", "a log with vehicle speed"))
    time_s, speed = table["time_s"].to_numpy(), table["speed_m_s"].to_numpy()
    rolling = _rolling(log, time_s, speed)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], rolling.astype(np.int8), [0]])))
    spans: list[tuple[int, int]] = []
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        start = int(np.searchsorted(time_s, time_s[start] + _EDGE_S))
        end = int(np.searchsorted(time_s, time_s[end - 1] - _EDGE_S, side="right"))
        if end - start < 5 or time_s[end - 1] - time_s[start] < _LEAST_S:
            continue
        if speed[start] - speed[end - 1] < _LEAST_DROP_M_S:
            continue
        spans.append((start, end))
    spans, notes = _whole_runs(spans, time_s, speed)
    if directions is not None and len(directions) != len(spans):
        raise InputError(
            Problem(
                log.name,
                "--directions",
                f"{len(directions)} directions for {len(spans)} coast-downs",
                "one + or - for each coast-down in the log",
            )
        )
    runs = []
    for number, (start, end) in enumerate(spans):
        sign = directions[number] if directions is not None else _track(table, start, end, spans[0])
        assumed = sign == 0
        if assumed:
            sign = 1 if number % 2 == 0 else -1
        name = f"{log.name} #{number + 1} (from {time_s[start]:.0f} s)"
        seconds, speeds = time_s[start:end] - time_s[start], speed[start:end].copy()
        runs.append(CoastRun(name, seconds, speeds, sign, assumed, notes[number]))
    return runs


def _whole_runs(
    spans: Sequence[tuple[int, int]], time_s: np.ndarray, speed: np.ndarray
) -> tuple[list[tuple[int, int]], list[str]]:
    """Return one stretch a run, the longest fall in speed where hard braking cut a run in two, and what was cut."""
    runs: list[list[tuple[int, int]]] = []
    for piece in spans:
        if runs:
            between = speed[runs[-1][-1][1] - 1 : piece[0] + 1]
            between = between[np.isfinite(between)]
            if between.size and between.max() <= between[0] + _RISES_M_S:  # no pulling away in between
                runs[-1].append(piece)
                continue
        runs.append([piece])
    best = [max(pieces, key=lambda piece: speed[piece[0]] - speed[piece[1] - 1]) for pieces in runs]
    notes = []
    for piece, pieces in zip(best, runs, strict=True):
        last_s = time_s[pieces[-1][1] - 1]
        parts = []
        if speed[piece[0]] < (top := _top_before(speed, piece[0])) - _LEAST_DROP_M_S:
            parts.append(f"above {3.6 * speed[piece[0]]:.0f} km/h (from {3.6 * top:.0f})")
        if piece != pieces[-1]:
            parts.append(f"after {time_s[piece[1] - 1]:.0f} s (up to {last_s:.0f} s)")
        notes.append(f"interrupted by hard braking, the stretch {' and '.join(parts)} is not used" if parts else "")
    return best, notes


def _top_before(speed: np.ndarray, start: int) -> float:
    """Return the speed from which the vehicle slowed to that of row `start` without pulling away [m/s]."""
    top = low = float(speed[start])
    for value in speed[:start][::-1]:
        if np.isfinite(value):
            if value < max(top - 0.5, low):
                break
            top = max(top, float(value))
    return top


def _rolling(log: Log, time_s: np.ndarray, speed: np.ndarray) -> np.ndarray:
    table = log.table
    pace = acceleration_m_s2(log)
    with np.errstate(invalid="ignore"):
        rolling = (speed > _LEAST_SPEED_M_S) & (pace < -0.02) & (pace > -1.2) & np.isfinite(speed)
        if "engine_speed_rad_s" in table:
            turning = table["engine_speed_rad_s"].to_numpy()
            # neutral: the engine idles (or is off) whatever the road speed
            rolling &= (turning < 1300 * 2 * np.pi / 60) | np.isnan(turning)
        for name in ("pedal", "relative_throttle", "throttle"):
            if name in table:
                opening = table[name].to_numpy()
                rest = np.nanquantile(opening, 0.02)
                rolling &= (opening < rest + 0.05) | np.isnan(opening)
                break
        if "brake" in table:
            rolling &= ~(table["brake"].to_numpy() > 0.5)
    rolling &= ~log.flagged(Quality.AFTER_GAP)
    return rolling


def _track(table: Any, start: int, end: int, first: tuple[int, int]) -> int:
    """Return +1 where a stretch runs the way of the first one by the satellite track, −1 where it runs back, 0
    unknown."""
    if "latitude_deg" not in table or "longitude_deg" not in table:
        return 0
    north, east = table["latitude_deg"].to_numpy(), table["longitude_deg"].to_numpy()

    def way(i: int, j: int) -> np.ndarray:
        return np.array([north[j] - north[i], (east[j] - east[i]) * math.cos(math.radians(float(north[i])))])

    here, there = way(start, end - 1), way(first[0], first[1] - 1)
    dot = float(here @ there)
    return 0 if not math.isfinite(dot) or dot == 0 else (1 if dot > 0 else -1)
