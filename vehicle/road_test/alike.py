"""Whether the fuel of each run goes with the load of the engine as it does in the other runs: a sensor that reads
differently from run to run makes an effect of its own.

The turbine loads the engine more; it does not change how much fuel the engine takes at a load and speed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from vehicle.logs.fuel_flow import FuelFlow
    from vehicle.logs.log import Log

_MEASURES = ("calculated_load", "absolute_load", "throttle", "relative_throttle")
_BINS, _LEAST_ROWS, _LEAST_RUNS = 12, 60, 4
_RUN_OFF, _RUN_SPREADS = 0.10, 6.0
_STATE_OFF, _STATE_SPREADS = 0.05, 4.0


def fuel_over_usual(logs: Sequence[Log], flows: Sequence[FuelFlow]) -> tuple[str, np.ndarray] | None:
    """Return the fuel of each log over what all logs together show at the same load (or throttle) and engine speed.

    Parameters
    ----------
    logs
        Of the runs.
    flows
        Fuel of each log, row by row [m3/s].

    Returns
    -------
    tuple or None
        The name of the parameter that the fuel is held against, and the ratios (logs,); None where the logs share none.
    """
    for name in _MEASURES:
        if all(name in log.table and "engine_speed_rad_s" in log.table for log in logs):
            break
    else:
        return None
    rows = [_rows(log, flow, name) for log, flow in zip(logs, flows, strict=True)]
    if min(one[0].size for one in rows) < _LEAST_ROWS:
        return None
    of = np.repeat(np.arange(len(rows)), [one[0].size for one in rows])
    fuel, measure, turning = (np.concatenate([one[k] for one in rows]) for k in range(3))
    usual = np.full(fuel.size, float(np.mean(fuel / turning)))
    for by in (measure, turning, measure):
        usual *= _ratio_by(fuel / turning, usual, by)
    ratios = np.bincount(of, fuel) / np.bincount(of, usual * turning)
    return name, ratios


def _rows(log: Log, flow: FuelFlow, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return fuel, the measure of load, and engine speed in the rows in which the engine pulls."""
    measure, turning = log.table[name].to_numpy(), log.table["engine_speed_rad_s"].to_numpy()
    with np.errstate(invalid="ignore"):
        use = np.isfinite(flow.flow_m3_s) & np.isfinite(measure) & (turning > 100.0) & (flow.flow_m3_s > 0)
    return flow.flow_m3_s[use], measure[use], turning[use]


def _ratio_by(values: np.ndarray, usual: np.ndarray, by: np.ndarray) -> np.ndarray:
    """Return the mean of `values` over that of `usual` in bins of `by`, straight between their middles."""
    edges = np.unique(np.quantile(by, np.linspace(0, 1, _BINS + 1)[1:-1]))
    place = np.searchsorted(edges, by, side="right")
    count = np.bincount(place, minlength=edges.size + 1)
    filled = count > 0
    middles = np.bincount(place, by, edges.size + 1)[filled] / count[filled]
    means = (np.bincount(place, values, edges.size + 1)[filled]) / np.bincount(place, usual, edges.size + 1)[filled]
    return np.interp(by, middles, means)


def not_alike(ratios: np.ndarray, names: Sequence[str], states: Sequence[str]) -> tuple[dict[str, float], float]:
    """Return the runs whose fuel stands off what is usual in their state, and the gap between two states.

    Parameters
    ----------
    ratios
        Fuel over the usual (runs,).
    names
        Of the runs.
    states
        Of the turbine in the runs; the gap is the second of two over the first, in the order of the alphabet.

    Returns
    -------
    tuple
        Off the others by name [share], and the gap [share], 0 where it is within its scatter or there are not two
        states.
    """
    if ratios.size < _LEAST_RUNS:
        return {}, 0.0
    kinds = sorted(set(states))
    group = np.array([kinds.index(state) for state in states])
    middle = np.array([np.median(ratios[group == k]) for k in range(len(kinds))])
    off = ratios / middle[group] - 1
    spread = 1.4826 * float(np.median(np.abs(off)))
    room = max(_RUN_OFF, _RUN_SPREADS * spread)
    odd = {name: float(one) for name, one in zip(names, off, strict=True) if abs(one) > room}
    if len(kinds) != 2 or min(np.bincount(group)) < 2:
        return odd, 0.0
    error = spread * math.sqrt(float((1 / np.bincount(group)).sum()))
    gap = float(middle[1] / middle[0] - 1)
    return odd, gap if abs(gap) > max(_STATE_OFF, _STATE_SPREADS * error) else 0.0
