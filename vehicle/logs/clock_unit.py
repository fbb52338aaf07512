"""In which unit a clock counts that does not say so: seconds, milliseconds, minutes, hours or days.

Each unit is held against how often loggers write a row, how fast road vehicles gain and lose speed, and the engine's
own run time where it is logged. The bounds are common practice, no source; units lie a factor of 24 to 1000 apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FACTORS_S = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "days": 86400.0}
_WORDS = {"s": "seconds", "ms": "milliseconds", "min": "minutes", "h": "hours", "days": "days"}

_ROWS_S, _ROWS_SPREAD = (0.08, 6.0), 0.7  # between two rows; spread of the logarithm outside of it
_GAIN_M_S2, _GAIN_SPREAD = (0.05, 1.0), 0.5  # mean change of speed, up or down
_RUN_TIME_SPREAD = 0.1
_USUAL = 1.5  # seconds are what an unmarked clock usually counts (logarithm of the odds)
_SPREADSHEET_DAYS = (20_000.0, 80_000.0)  # since 1900: 1954 to 2119
_LEAST_ROWS = 10
_SETTLED, _SILENT = 2.5, 1.0


@dataclass(frozen=True)
class ClockWitness:
    """What else a log says about time: a speed [m/s] (rows,) or None, the engine's run time [s] (rows,) or None.

    `rows_each` is how many lines of the file make one row: more than one in a log of one value a line.
    """

    speed_m_s: np.ndarray | None = None
    run_time_s: np.ndarray | None = None
    rows_each: float = 1.0


@dataclass(frozen=True)
class ClockUnit:
    """The unit of a clock and what spoke for it ("" where nothing spoke against seconds); open: units left."""

    unit: str
    why: str
    open: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Return the unit in words."""
        return _WORDS[self.unit]


def unit_of_clock(values: np.ndarray, witness: ClockWitness) -> ClockUnit:
    """Return in which unit a clock counts; `values` (rows,) as they stand in the file, NaN unread."""
    good = values[np.isfinite(values)]
    steps = np.diff(good)
    steps = steps[steps > 0]
    if good.size < _LEAST_ROWS or not steps.size:
        return ClockUnit("s", "")
    usual = float(np.median(steps))
    row = float(np.minimum(steps, 10 * usual).sum()) / (good.size - 1) * witness.rows_each
    if _SPREADSHEET_DAYS[0] < float(np.median(good)) < _SPREADSHEET_DAYS[1] and usual < 0.01:
        return ClockUnit("days", f"{good[0]:.5f} is a day number of a spreadsheet")
    score = {unit: -_outside(row * f, _ROWS_S, _ROWS_SPREAD) for unit, f in FACTORS_S.items()}
    score["s"] += _USUAL
    score["days"] += 1.5 if good.min() > 100 * usual and good.max() < 1 else -1.5  # a time of day as a share of it
    gain = _mean_gain(values, witness.speed_m_s)
    pace = _run_time_pace(values, witness.run_time_s)
    for unit, factor in FACTORS_S.items():
        if gain is not None:
            score[unit] -= _outside(gain / factor, _GAIN_M_S2, _GAIN_SPREAD)
        if pace is not None:
            score[unit] -= _outside(pace / factor, (1.0, 1.0), _RUN_TIME_SPREAD)
    return _chosen(score, row, gain, pace)


def _chosen(score: dict[str, float], row: float, gain: float | None, pace: float | None) -> ClockUnit:
    ranked = sorted(score, key=lambda unit: -score[unit])
    best, lead = ranked[0], score[ranked[0]] - score[ranked[1]]
    if pace is not None and score[best] < -50:  # run time and clock fit in no unit: it is another clock
        return ClockUnit("s", "")
    if best == "s" and lead >= _SILENT:
        return ClockUnit("s", "")
    other = ranked[1] if best == "s" else "s"

    def as_if(unit: str) -> str:
        parts = [f"a row in {row * FACTORS_S[unit]:.2g} s"]
        if gain is not None:
            parts.append(f"a speed that changes by {gain / FACTORS_S[unit]:.2g} m/s each second")
        if pace is not None:
            parts.append(f"{pace / FACTORS_S[unit]:.2g} s of engine run time each second")
        return f"{_WORDS[unit]} give {' and '.join(parts)}"

    why = f"{as_if(best)}, {as_if(other)}"
    if lead >= _SETTLED:
        return ClockUnit(best, why)
    near = tuple(unit for unit in ranked if score[best] - score[unit] < _SETTLED)
    return ClockUnit(best, why, near)


def _outside(value: float, bounds: tuple[float, float], spread: float) -> float:
    """Return half the square of how far the logarithm of a value lies outside its bounds, in spreads."""
    away = max(0.0, np.log(bounds[0] / value), np.log(value / bounds[1]))
    return float((away / spread) ** 2 / 2)


def _mean_gain(clock: np.ndarray, speed_m_s: np.ndarray | None) -> float | None:
    """Return the mean change of speed, up or down, for one unit of the clock; None where it hardly changes.

    Gaps of the clock are left out, and jumps of the speed: one damaged cell is no acceleration.
    """
    if speed_m_s is None:
        return None
    both = np.isfinite(clock) & np.isfinite(speed_m_s)
    step, change = np.diff(clock[both]), np.abs(np.diff(speed_m_s[both]))
    if change.size < _LEAST_ROWS or (step < 0).any():
        return None
    rising = step[step > 0]
    use = step <= 10 * np.median(rising) if rising.size else np.zeros(step.size, dtype=bool)
    if not change[use].any():
        return None
    change = np.minimum(change, np.quantile(change[use], 0.995))
    total = float(change[use].sum())
    return total / float(step[use].sum()) if total > 5.0 and step[use].sum() > 0 else None


def _run_time_pace(clock: np.ndarray, run_time_s: np.ndarray | None) -> float | None:
    """Return the seconds of engine run time in one unit of the clock; None where it does not run on."""
    if run_time_s is None:
        return None
    both = np.isfinite(clock) & np.isfinite(run_time_s)
    step, ran = np.diff(clock[both]), np.diff(run_time_s[both])
    use = (step >= 0) & (ran >= 0)
    if use.size < _LEAST_ROWS or use.mean() < 0.9 or ran[use].sum() < 10 or step[use].sum() <= 0:
        return None
    return float(ran[use].sum() / step[use].sum())
