"""How the clock of a second log goes against the first's: offset, drift and the lag of what the second one measures.

A rotor follows the wind that the vehicle makes with a delay of its own, which must not be taken for an offset of the
clocks: the second signal is modelled as the first one, seen through a first-order lag, at the time that an offset and a
steady drift give. Local offsets of stretches show where that does not hold.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vehicle.logs.offset import OffsetEstimate, covered, find_offset
from vehicle.quantity import Estimate

MOST_RESIDUAL_S = 1.0
_MOST_DRIFT = 0.02
_MOST_LAG_S = 60.0
_STRETCH_S, _STRETCHES = (120.0, 600.0), 8
_GOOD_CORRELATION = 0.75
_LEAST_SHARP_S = 1.5  # standard error of a stretch's own offset, above which it shows nothing
_LEAST_SHARE, _LOOK_S, _CLEAR = (
    0.4,
    10.0,
    12.0,
)  # explained; seconds that count as one look; chi-squared of a difference
_SAME_NOISE_S = 40.0  # what is left of the signals is taken to be related over this time
_LEVEL, _SIDE = 0.95, 1.96
_HOUR_S = 3600.0
_ALL = slice(None)


@dataclass(frozen=True)
class Stretch:
    """One stretch of the second log: from and to [s of its clock], how far its best offset is from the fit, and the
    standard error of that [s]; `clear` where the fit's own offset leaves much more of the stretch than its best one.
    """

    begin_s: float
    end_s: float
    off_s: float
    error_s: float
    clear: bool

    @property
    def differs(self) -> bool:
        """Return whether it is off by more than a second, and by more than chance makes it."""
        return self.clear and abs(self.off_s) > max(MOST_RESIDUAL_S, _SIDE * self.error_s)


@dataclass(frozen=True)
class ClockFit:
    """The second clock against the first: first = second + offset_s + drift × (second − begin_s).

    `offset_s` at the beginning of the second log, `drift_s_per_h` what it loses an hour, `lag_s` the time constant by
    which the second signal follows the first: with their 95 % intervals; drift and lag are None where they are not
    different from zero and 0 is used. `stretches` are those whose offset could be found by themselves.
    """

    begin_s: float
    offset_s: Estimate
    drift_s_per_h: Estimate | None
    lag_s: Estimate | None
    stretches: tuple[Stretch, ...]

    def first_time_s(self, second_s: np.ndarray) -> np.ndarray:
        """Return times of the second clock on the first."""
        drift = self.drift_s_per_h.estimate / _HOUR_S if self.drift_s_per_h is not None else 0.0
        return np.asarray(second_s + self.offset_s.estimate + drift * (second_s - self.begin_s))

    @property
    def residual_s(self) -> float:
        """Return by how much the worst stretch is clearly off [s], 0 where none is, NaN where none shows an offset."""
        clear = [abs(stretch.off_s) for stretch in self.stretches if stretch.clear]
        return max(clear, default=0.0) if self.stretches else float("nan")

    def doubts(self) -> list[str]:
        """Return in words where the clocks do not go as fitted."""
        doubts = []
        off = [stretch for stretch in self.stretches if stretch.differs]
        if off:
            worst = max(off, key=lambda stretch: abs(stretch.off_s))
            doubts.append(
                f"{len(off)} of {len(self.stretches)} stretches are off by over a second, the worst by "
                f"{worst.off_s:+.1f} s ({worst.begin_s:.0f} to {worst.end_s:.0f} s of the second clock): the clock "
                "does not go steadily, or it jumped"
            )
        if self.offset_s.ends[1] - self.offset_s.ends[0] > 2 * MOST_RESIDUAL_S:
            half = (self.offset_s.ends[1] - self.offset_s.ends[0]) / 2
            doubts.append(f"the offset is known to {half:.1f} s only")
        return doubts


def fit_clock(
    first: tuple[np.ndarray, np.ndarray],
    second: tuple[np.ndarray, np.ndarray],
    start: OffsetEstimate,
    longest_gap_s: float = 5.0,
) -> ClockFit:
    """Return offset, drift and lag of two signals that rise and fall together; `start` is where they agree best at all.

    `first` and `second` are times [s] and values, one-dimensional, NaN left out.
    """
    one, two = _clean(*first), _clean(*second)
    begin_s, end_s = float(two[0][0]), float(two[0][-1])
    local = _local_offsets(one, two, start.offset_s, longest_gap_s)
    offset, drift = _line(local, start.offset_s, 0.5 * (begin_s + end_s))
    model = _Model(one, two, 0.5 * (begin_s + end_s), longest_gap_s)
    solution = model.fitted(np.array([offset, drift, 0.5]), use=(True, len(local) >= 3, True))
    keep = (True, _differs(solution, 1), _differs(solution, 2) and solution.values[2] > 0.3)
    if keep != solution.use:
        solution = model.fitted(np.where(keep, solution.values, 0.0), use=keep)
    stretches = _stretches(model, solution)
    return _as_fit(solution, begin_s, model.middle_s, stretches)


def _clean(time_s: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    good = np.isfinite(time_s) & np.isfinite(values)
    order = np.argsort(time_s[good], kind="stable")
    time_s, values = time_s[good][order], values[good][order]
    fresh = np.concatenate(([True], np.diff(time_s) > 0))
    return time_s[fresh], values[fresh]


_Signal = tuple[np.ndarray, np.ndarray]


def _local_offsets(one: _Signal, two: _Signal, around_s: float, gap_s: float) -> list[tuple[float, float, float]]:
    """Return (begin, end, offset) of each stretch of the second log whose offset shows by itself."""
    begin, end = float(two[0][0]), float(two[0][-1])
    length = float(np.clip((end - begin) / _STRETCHES, *_STRETCH_S))
    within = max(60.0, _MOST_DRIFT * (end - begin))
    offsets = []
    for left in np.arange(begin, end - 0.6 * length, length):
        part = (two[0] >= left) & (two[0] < left + length)
        near = (one[0] >= left + around_s - within - 5) & (one[0] <= left + length + around_s + within + 5)
        if part.sum() < 10 or near.sum() < 10:
            continue
        try:
            best = find_offset(
                one[0][near],
                one[1][near],
                two[0][part],
                two[1][part],
                around_s=around_s,
                within_s=within,
                longest_gap_s=gap_s,
            )
        except ValueError:  # a stretch without a story, such as a standstill: it shows no offset
            continue
        if best.correlation >= _GOOD_CORRELATION and best.rival_correlation < best.correlation - 0.05:
            offsets.append((float(left), float(left + length), best.offset_s))
    return offsets


def _line(local: list[tuple[float, float, float]], otherwise: float, middle_s: float) -> tuple[float, float]:
    """Return offset at the middle and drift (share of one) of a robust line through local offsets."""
    if len(local) < 3:
        return (float(np.median([offset for *_, offset in local])) if local else otherwise), 0.0
    at = np.array([0.5 * (a + b) for a, b, _ in local]) - middle_s
    offsets = np.array([offset for *_, offset in local])
    i, j = np.triu_indices(at.size, 1)
    drift = float(np.median((offsets[j] - offsets[i]) / (at[j] - at[i])))  # Theil and Sen
    return float(np.median(offsets - drift * at)), float(np.clip(drift, -_MOST_DRIFT, _MOST_DRIFT))


@dataclass(frozen=True)
class _Solution:
    """Offset at the middle [s], drift (share of one), lag [s], their covariance, and which of them were fitted."""

    values: np.ndarray
    covariance: np.ndarray
    use: tuple[bool, bool, bool]


def _differs(solution: _Solution, place: int) -> bool:
    error = float(np.sqrt(max(solution.covariance[place, place], 0.0)))
    return solution.use[place] and abs(float(solution.values[place])) > 2.0 * error


class _Model:
    """The second signal as a smooth curve of the first one, lagged, at shifted and stretched times."""

    def __init__(self, one: _Signal, two: _Signal, middle_s: float, gap_s: float) -> None:
        self.one, self.two, self.middle_s = one, two, middle_s
        self.gap_s = max(gap_s, 3 * float(np.median(np.diff(one[0]))))
        self.step_s = float(np.clip(np.median(np.diff(one[0])) / 4, 0.05, 0.5))
        self.grid_s = np.arange(one[0][0], one[0][-1] + self.step_s, self.step_s)
        self.on_grid = np.interp(self.grid_s, *one)
        self.lagged = functools.lru_cache(maxsize=8)(self._lagged)  # many offsets are tried with one lag

    def _lagged(self, lag_s: float) -> np.ndarray:
        """Return the first signal on the grid as something follows it that takes `lag_s` [s]."""
        if lag_s < 1e-3:
            return self.on_grid
        from scipy.signal import lfilter

        stay = float(np.exp(-self.step_s / lag_s))
        out, _ = lfilter([1 - stay], [1, -stay], self.on_grid, zi=[stay * self.on_grid[0]])
        return np.asarray(out)

    def at_s(self, values: np.ndarray, rows: np.ndarray | slice = _ALL) -> np.ndarray:
        """Return the times of the second log (or of some of its rows) on the first clock."""
        second_s = self.two[0][rows]
        return np.asarray(second_s + values[0] + values[1] * (second_s - self.middle_s))

    def left(self, values: np.ndarray, known: np.ndarray) -> np.ndarray:
        """Return what the best smooth curve leaves of the second signal, in its standard deviations (rows known,).

        A cubic of the lagged first signal: watts go with the cube of a speed, and what is bent must not look late.
        """
        expected = self.expected(values, known)
        measured = self.two[1][known]
        spread = float(expected.std())
        design = np.vander((expected - expected.mean()) / spread if spread > 0 else expected * 0.0, 4)
        curve, *_ = np.linalg.lstsq(design, measured, rcond=None)
        return np.asarray((measured - design @ curve) / measured.std())

    def expected(self, values: np.ndarray, rows: np.ndarray | slice = _ALL) -> np.ndarray:
        """Return the lagged first signal at the times of the second log, or of some of its rows."""
        return np.asarray(np.interp(self.at_s(values, rows), self.grid_s, self.lagged(float(values[2]))))

    def fitted(self, start: np.ndarray, use: tuple[bool, bool, bool]) -> _Solution:
        """Return the values that leave least, with errors that allow for what is left being related in time."""
        from scipy.optimize import least_squares

        known = covered(self.at_s(start), self.one[0], self.gap_s)
        free = np.flatnonzero(use)
        scale = np.array([1.0, 1e-3, 1.0])
        start = self._scanned(np.where(use, start, 0.0), known, use)
        low = np.array([start[0] - 30.0, -_MOST_DRIFT, 0.0])
        high = np.array([start[0] + 30.0, _MOST_DRIFT, _MOST_LAG_S])

        def full(x: np.ndarray) -> np.ndarray:
            values = start.copy()
            values[free] = x * scale[free]
            return values

        # counted from the start, so that the step of the numerical slope is a time and no share of the offset
        def left(x: np.ndarray) -> np.ndarray:
            return self.left(full(x + start[free] / scale[free]), known)

        def slopes(x: np.ndarray) -> np.ndarray:
            return self._slopes(left, x)

        bounds = ((low - start)[free] / scale[free] - 1e-9, (high - start)[free] / scale[free] + 1e-9)
        solution = least_squares(left, np.zeros(free.size), bounds=bounds, jac=slopes)
        covariance = np.zeros((3, 3))
        errors = related_errors(slopes(solution.x), solution.fun, self.related_rows(known)) * self._few(known)
        errors[0, 0] += float(np.median(np.diff(self.one[0]))) ** 2 / 12  # when within its row a value was asked
        covariance[np.ix_(free, free)] = errors * np.outer(scale[free], scale[free])
        return _Solution(full(solution.x + start[free] / scale[free]), covariance, use)

    @staticmethod
    def _slopes(left: Callable[[np.ndarray], np.ndarray], x: np.ndarray) -> np.ndarray:
        """Return central differences over 0.5 (s, s in 1000 s, s): wider than a step of a speed in whole km/h."""
        sides = 0.25 * np.eye(x.size)
        return np.column_stack([(left(x + side) - left(x - side)) / 0.5 for side in sides])

    def _scanned(self, start: np.ndarray, known: np.ndarray, use: tuple[bool, bool, bool]) -> np.ndarray:
        """Return the best of offsets 10 s around the start with several lags: the fit then ends in the right dip."""
        best, lowest = start, np.inf
        for lag in (0.0, 1.0, 3.0, 6.0, 12.0) if use[2] else (0.0,):
            for more in np.arange(-10.0, 10.1, 0.5):
                trial = np.array([start[0] - lag + more, start[1], lag])
                left = self.left(trial, known)
                if (cost := float(left @ left)) < lowest:
                    best, lowest = trial, cost
        return best

    def _few(self, known: np.ndarray) -> float:
        """Return by what errors grow where the log is short against the time over which what is left is related."""
        looks = max(10.0, float(np.ptp(self.two[0][known])) / _SAME_NOISE_S)
        return looks / (looks - 7.0)  # three values and a cubic

    def related_rows(self, known: np.ndarray) -> int:
        """Return over how many rows of the second log what is left is taken to be related."""
        step = float(np.median(np.diff(self.two[0][known])))
        return int(min(max(1, round(_SAME_NOISE_S / step)), known.sum() // 4))


def related_errors(slopes: np.ndarray, left: np.ndarray, lags: int) -> np.ndarray:
    """Return the covariance of least-squares values where what is left is related over `lags` rows.

    Newey and West, Econometrica 55 (1987) 703, from memory. `slopes` (rows, values), `left` (rows,).
    """
    scores = slopes * left[:, None]
    middle = scores.T @ scores
    for lag in range(1, lags + 1):
        product = scores[lag:].T @ scores[:-lag]
        middle += (1 - lag / (lags + 1)) * (product + product.T)
    bread = np.linalg.pinv(slopes.T @ slopes)
    return np.asarray(bread @ middle @ bread)


def _stretches(model: _Model, solution: _Solution) -> tuple[Stretch, ...]:
    """Return how far the best offset of each stretch is from the fit, where the stretch shows it to about a second."""
    begin, end = float(model.two[0][0]), float(model.two[0][-1])
    length = float(np.clip((end - begin) / _STRETCHES, *_STRETCH_S))
    known = covered(model.at_s(solution.values), model.one[0], model.gap_s)
    out = []
    for left in np.arange(begin, end - 0.6 * length, length):
        part = known & (model.two[0] >= left) & (model.two[0] < left + length)
        if part.sum() < 20:
            continue
        off, error, clear, share = _off_s(model, solution.values, part)
        if error < _LEAST_SHARP_S and share > _LEAST_SHARE:
            out.append(Stretch(float(left), float(left + length), off, error, clear))
    return tuple(out)


def _off_s(model: _Model, values: np.ndarray, part: np.ndarray) -> tuple[float, float, bool, float]:
    """Return the best offset of a stretch on top of the fit, its standard error [s], whether it is clearly better than
    none, and the share of the second signal that it explains.
    """

    def left(off: float) -> np.ndarray:
        return model.left(values + np.array([off, 0.0, 0.0]), part)

    offs = np.arange(-20.0, 20.1, 0.25)
    costs = np.array([float(r @ r) for r in map(left, offs)])
    off, lowest = float(offs[int(np.argmin(costs))]), float(costs.min())
    looks = max(3.0, float(np.ptp(model.two[0][part])) / _LOOK_S)
    clear = (float(costs[offs == 0.0][0]) - lowest) / max(lowest, 1e-12) * looks > _CLEAR
    share = 1.0 - lowest / float(part.sum())  # what is left is counted in standard deviations of the stretch
    slopes = (left(off + 0.25) - left(off - 0.25))[:, None] / 0.5
    lags = model.related_rows(part)
    return off, float(np.sqrt(max(related_errors(slopes, left(off), lags)[0, 0], 0.0))), clear, share


def _as_fit(solution: _Solution, begin_s: float, middle_s: float, stretches: tuple[Stretch, ...]) -> ClockFit:
    to_begin = np.array([1.0, begin_s - middle_s, 0.0])  # the fit has its offset at the middle
    offset, half = (
        float(to_begin @ solution.values),
        _SIDE * float(np.sqrt(max(to_begin @ solution.covariance @ to_begin, 0))),
    )

    def estimate(place: int, factor: float) -> Estimate | None:
        if not solution.use[place]:
            return None
        value, side = (
            factor * float(solution.values[place]),
            _SIDE * factor * float(np.sqrt(solution.covariance[place, place])),
        )
        return Estimate(value, value - side, value + side, _LEVEL)

    return ClockFit(
        begin_s,
        Estimate(offset, offset - half, offset + half, _LEVEL),
        estimate(1, _HOUR_S),
        estimate(2, 1.0),
        stretches,
    )
