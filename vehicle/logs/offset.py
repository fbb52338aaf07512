"""Where two signals that rise and fall together agree best: the offset of one clock against another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LEAST_CORRELATION = 0.6  # below this the two signals are not telling the same story (our choice, told to the user)
NEAR_RIVAL = 0.05  # a second peak within this of the best one leaves the offset open
_LEAST_OVERLAP = 0.5
MOST_STEPS = 400_000  # of the common grid


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
        doubts = []
        if self.correlation < LEAST_CORRELATION:
            doubts.append(f"the signals agree poorly at the best offset (correlation {self.correlation:.2f})")
        if self.rival_correlation > self.correlation - NEAR_RIVAL:
            doubts.append(
                f"another offset fits almost as well (correlation {self.rival_correlation:.2f} against"
                f" {self.correlation:.2f}): the signals repeat themselves"
            )
        return doubts


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
    known = covered(grid, time_s, max(longest_gap_s, 3 * _typical_step(time_s)))
    return np.where(known, np.interp(grid, time_s, values), 0.0), known.astype(float)


def covered(at: np.ndarray, time_s: np.ndarray, longest_gap_s: float) -> np.ndarray:
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
