"""How the clock of a second log goes against the first's: lines and data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypedDict

from energy.words.result_model import EstimateData, estimate_data

if TYPE_CHECKING:
    from vehicle.logs.clock_fit import ClockFit
    from vehicle.quantity import Estimate


class ClockData(TypedDict):
    """The fields of `JoinData` that the clocks fill."""

    offset: EstimateData
    drift_s_per_h: EstimateData
    lag_s: EstimateData
    residual_s: float | None


def clock_data(fit: ClockFit | None) -> ClockData:
    """Return offset [s], drift [s/h] and lag [s] with their intervals, and what the worst stretch is off [s]."""
    return {
        "offset": estimate_data(None if fit is None else fit.offset_s),
        "drift_s_per_h": estimate_data(None if fit is None else fit.drift_s_per_h),
        "lag_s": estimate_data(None if fit is None else fit.lag_s),
        "residual_s": None if fit is None else fit.residual_s,
    }


def clock_lines(fit: ClockFit | None) -> list[str]:
    """Return the clock as lines, each with its 95 % interval."""
    if fit is None:
        return []
    lines = [f"offset at its beginning: {_said(fit.offset_s)} s"]
    drift = "too small to measure" if fit.drift_s_per_h is None else f"{_said(fit.drift_s_per_h)} s an hour"
    lag = "too small to measure" if fit.lag_s is None else f"{_said(fit.lag_s, sign='')} s (not part of the clock)"
    lines += [f"drift: {drift}", f"lag of the second signal: {lag}"]
    if math.isfinite(fit.residual_s):
        lines.append(f"worst of {len(fit.stretches)} stretches: {fit.residual_s:.1f} s off")
    return lines


def _said(estimate: Estimate, sign: str = "+") -> str:
    low, high = estimate.ends
    return f"{estimate.estimate:{sign}.2f} ({low:{sign}.2f} to {high:{sign}.2f})"
