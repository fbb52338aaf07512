"""What is no rolling out in a coast-down: braking in it or after it, and runs that differ from all others.

A vehicle that rolls out slows the less, the slower it is. What slows more than the other runs of its direction at that
speed, and more than at any higher speed, is braked. Limits without a source are our own choice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vehicle.driving.coast_run import CoastRun

_WINDOW_S = 3.0  # either side, for the slope of the speed
_BIN_M_S = 2.0
_LOW_QUANTILE = 0.4  # of the runs at one speed: braking only ever adds
_ROOM_M_S2, _NOISES = 0.07, 5.0
_UPPER_SHARE = 0.4  # of the speeds, from which the rest is extrapolated
_LEAST_S, _LEAST_DROP_M_S, _SUSTAINED_S = 8.0, 4.0, 2.0
_LEAST_SHARE = 0.4  # of the usual fall in speed, for what is left of a run
_ODD_SPREADS, _ODD_M_S2, _FLOOR_M_S2 = 5.0, 0.02, 0.006


@dataclass(frozen=True)
class CleanRuns:
    """Runs without what is no rolling out, and in sentences what was cut from which run, and which was left out."""

    runs: tuple[CoastRun, ...]
    remarks: tuple[str, ...]


def without_braking(runs: Sequence[CoastRun]) -> CleanRuns:
    """Return the runs with braking cut away and odd runs left out, each named.

    Parameters
    ----------
    runs : in both directions

    Returns
    -------
    What is left of them, and remarks.

    References
    ----------
    .. [1] Own rule, see the head of this module.
    """
    slopes = [deceleration_m_s2(run) for run in runs]
    limits = {sign: _usual(runs, slopes, sign) for sign in {run.direction for run in runs}}
    kept: list[CoastRun] = []
    remarks = [f"{run.name}: {run.note}" for run in runs if run.note]
    least = max(_LEAST_DROP_M_S, _LEAST_SHARE * float(np.median([_drop_m_s(run) for run in runs])))
    for run, slope in zip(runs, slopes, strict=True):
        usual = limits[run.direction]
        if usual is None:
            kept.append(run)
            continue
        piece, remark = _cut(run, slope, usual, least)
        remarks += [remark] if remark else []
        kept += [piece] if piece is not None else []
    odd, said = _odd(kept, limits)
    return CleanRuns(tuple(run for run in kept if id(run) not in odd), (*remarks, *said))


def _drop_m_s(run: CoastRun) -> float:
    return float(run.speed_m_s[0] - run.speed_m_s[-1])


def deceleration_m_s2(run: CoastRun) -> np.ndarray:
    """Return how much the vehicle slows [m/s²] (rows,): the slope of a straight line over 3 s to either side.

    Parameters
    ----------
    run : of rows (rows,)

    Returns
    -------
    [m/s²] (rows,), positive where it slows.

    References
    ----------
    .. [1] Least squares of a straight line, closed form.
    """
    out = np.empty(run.time_s.size)
    starts = np.searchsorted(run.time_s, run.time_s - _WINDOW_S - 1e-6)
    ends = np.searchsorted(run.time_s, run.time_s + _WINDOW_S + 1e-6, side="right")
    for row, (start, end) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
        t, v = run.time_s[start:end], run.speed_m_s[start:end]
        t = t - t.mean()
        spread = float(t @ t)
        out[row] = -float(t @ v) / spread if spread > 0 else np.nan
    return out


def _room(run: CoastRun) -> float:
    """Return what a deceleration may be above the usual: rounding of the speeds, gusts, an uneven road [m/s²]."""
    steps = np.diff(np.unique(run.speed_m_s))
    step = float(steps.min()) if steps.size else 0.0
    between = float(np.median(np.diff(run.time_s)))
    count = 2 * int(_WINDOW_S / between) + 1
    t = (np.arange(count) - count // 2) * between
    return max(_ROOM_M_S2, _NOISES * step / np.sqrt(12) / np.sqrt(max(float(t @ t), 1e-9)))


@dataclass(frozen=True)
class _Usual:
    """The deceleration of undisturbed runs of one direction, a + c v² [m/s²]."""

    a: float
    c: float

    def at(self, speed_m_s: np.ndarray) -> np.ndarray:
        return np.asarray(self.a + self.c * speed_m_s**2)


def _usual(runs: Sequence[CoastRun], slopes: Sequence[np.ndarray], sign: int) -> _Usual | None:
    """Return what is usual in one direction: of each run the median in bins of speed, of those a low quantile.

    The line a + c v² is laid through the higher speeds first, then through all that stays near it: braking after every
    run does not count as usual.
    """
    top = max(float(run.speed_m_s.max()) for run in runs)
    bins = int(top / _BIN_M_S) + 1
    table = np.full((sum(run.direction == sign for run in runs), bins), np.nan)
    mine = [(run, slope) for run, slope in zip(runs, slopes, strict=True) if run.direction == sign]
    for row, (run, slope) in enumerate(mine):
        place = (run.speed_m_s / _BIN_M_S).astype(int)
        for number in np.unique(place):
            table[row, number] = np.nanmedian(slope[place == number])
    known = np.isfinite(table).sum(axis=0) >= max(1, len(mine) // 2)
    if known.sum() < 4:
        return None
    speed = (np.flatnonzero(known) + 0.5) * _BIN_M_S
    usual = np.nanquantile(table[:, known], _LOW_QUANTILE, axis=0)
    falling = np.minimum.accumulate(usual[::-1])[::-1]  # from the top down never more than before
    upper = speed >= speed[-1] - (1 - _UPPER_SHARE) * (speed[-1] - speed[0])
    line = _line(speed[upper], falling[upper])
    near = np.abs(usual - line.at(speed)) < _ROOM_M_S2
    return _line(speed[near], usual[near]) if near.sum() >= 4 else line


def _line(speed: np.ndarray, deceleration: np.ndarray) -> _Usual:
    """Return the line a + c v² of least squares whose c is not negative: where it would be, the mean is the best."""
    design = np.column_stack([np.ones_like(speed), speed**2])
    a, c = np.linalg.lstsq(design, deceleration)[0]
    return _Usual(float(a), float(c)) if c > 0 else _Usual(float(deceleration.mean()), 0.0)


def _cut(run: CoastRun, slope: np.ndarray, usual: _Usual, least_m_s: float) -> tuple[CoastRun | None, str]:
    """Return the longest stretch of a run that is not braked (None where nothing is left), and what was cut."""
    braked = slope > usual.at(run.speed_m_s) + _room(run)
    wide = np.zeros(run.time_s.size, dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], braked.astype(np.int8), [0]])))
    cut_s = 0.0
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if run.time_s[end - 1] - run.time_s[start] < _SUSTAINED_S:
            continue
        # the slope is seen as far as its window reaches: a braked second shows before it begins
        begin, stop = run.time_s[start] - 0.5 * _WINDOW_S, run.time_s[end - 1] + 0.5 * _WINDOW_S
        wide |= (run.time_s >= begin) & (run.time_s <= stop)
        cut_s += float(run.time_s[end - 1] - run.time_s[start])
    if not wide.any():
        return run, ""
    free = np.flatnonzero(np.diff(np.concatenate([[0], (~wide).astype(np.int8), [0]])))
    pieces = list(zip(free[::2].tolist(), free[1::2].tolist(), strict=True))
    where = f"at {run.speed_m_s[wide].max() * 3.6:.0f} to {run.speed_m_s[wide].min() * 3.6:.0f} km/h"
    if pieces:
        start, end = max(pieces, key=lambda piece: run.speed_m_s[piece[0]] - run.speed_m_s[piece[1] - 1])
        enough = run.time_s[end - 1] - run.time_s[start] >= _LEAST_S
        if enough and run.speed_m_s[start] - run.speed_m_s[end - 1] >= least_m_s:
            piece = replace(
                run, time_s=run.time_s[start:end] - run.time_s[start], speed_m_s=run.speed_m_s[start:end].copy()
            )
            return piece, f"{run.name}: braking cut, {cut_s:.0f} s {where}"
    return None, f"{run.name}: left out, braked for {cut_s:.0f} s {where}"


def _odd(runs: Sequence[CoastRun], limits: dict[int, _Usual | None]) -> tuple[set[int], list[str]]:
    """Return which runs slow all along by more or less than the others of their direction, and their names."""
    excess = np.full(len(runs), np.nan)
    for place, run in enumerate(runs):
        usual = limits[run.direction]
        if usual is not None:
            excess[place] = float(np.nanmean(deceleration_m_s2(run) - usual.at(run.speed_m_s)))
    for sign in limits:
        mine = np.array([run.direction == sign for run in runs]) & np.isfinite(excess)
        if mine.any():
            excess[mine] -= np.median(excess[mine])
    good = excess[np.isfinite(excess)]
    if good.size < 5:
        return set(), []
    spread = max(_FLOOR_M_S2, 1.4826 * float(np.median(np.abs(good))))
    odd, said = set(), []
    for run, more in zip(runs, excess.tolist(), strict=True):
        if abs(more) > max(_ODD_SPREADS * spread, _ODD_M_S2):
            way = "more" if more > 0 else "less"
            odd.add(id(run))
            said.append(
                f"{run.name}: left out, it slows by {abs(more):.2f} m/s² {way} than the other runs of its direction "
                "(brake, gear, another road or a gust)"
            )
    return odd, said
