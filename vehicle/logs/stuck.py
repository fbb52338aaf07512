"""Values of a log that stand still while others move: a sensor or a control unit that no longer follows the engine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

STUCK_S = 45.0  # what sticks for 50 s shows for a little less
_LEAST_ANSWERS = 8  # what is asked once in ten seconds may be the same five times
_MOVES = 0.10  # of its largest value: a companion that moved by less may as well be a steady drive
_FULL_LOAD = 0.99
_NAMES = (
    *("speed_m_s", "engine_speed_rad_s", "calculated_load", "absolute_load"),
    *("air_flow_kg_s", "manifold_pressure_pa", "fuel_rate_m3_s"),
)


@dataclass(frozen=True)
class StuckValue:
    """A parameter that did not change from `begin_s` to `end_s` [s of the log] while another moved by a tenth or more.

    `value` is in the unit of the table (SI).
    """

    name: str
    begin_s: float
    end_s: float
    value: float


def stuck_values(table: pd.DataFrame) -> list[StuckValue]:
    """Return what stood still for `STUCK_S` and more while others moved, by parameter and time.

    Zero is no sign: a car that stands, or a fuel supply that is cut while coasting, stays at zero. Nor is full load,
    which a long climb may hold. `table` is that of a `Log`: `time_s` and one column per parameter, SI, NaN unknown.
    """
    found = []
    time_s = table["time_s"].to_numpy()
    for name in (name for name in _NAMES if name in table):
        values = table[name].to_numpy()
        known = np.flatnonzero(np.isfinite(values))
        if known.size < 2:
            continue
        starts = np.concatenate(([0], np.flatnonzero(np.diff(values[known]) != 0) + 1))
        ends = np.append(starts[1:], known.size) - 1
        for first, last in zip(known[starts], known[ends], strict=True):
            lasting_s = time_s[last] - time_s[first]
            answers = int(np.isfinite(values[first : last + 1]).sum())
            if lasting_s < STUCK_S or answers < _LEAST_ANSWERS or values[first] == 0:
                continue
            if name == "calculated_load" and values[first] >= _FULL_LOAD:
                continue
            if any(_moved(table[other].to_numpy()[first : last + 1]) for other in _NAMES if other in table):
                found.append(StuckValue(name, float(time_s[first]), float(time_s[last]), float(values[first])))
    return found


def marked_stretches(name: str, time_s: np.ndarray, values: np.ndarray, marked: np.ndarray) -> list[StuckValue]:
    """Return the stretches of one unchanging value in rows that are `marked` as stuck; unknown rows part none."""
    known = np.flatnonzero(np.isfinite(values))
    starts = np.concatenate(([0], np.flatnonzero(np.diff(values[known]) != 0) + 1))
    found = []
    for rows in np.split(known, starts[1:]):
        rows = rows[marked[rows]]
        if rows.size:
            begin_s, end_s = float(time_s[rows[0]]), float(time_s[rows[-1]])
            found.append(StuckValue(name, begin_s, end_s, float(values[rows[0]])))
    return found


def _moved(values: np.ndarray) -> bool:
    good = values[np.isfinite(values)]
    return good.size > 1 and bool(np.ptp(good) > _MOVES * np.abs(good).max())
