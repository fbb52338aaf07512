"""What is asked how often, chosen by how many questions a second the car and its adapter answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vehicle.recording.parameters import FUEL_SOURCES, PidParameter

ROW_TARGET_S = 1.0  # a row with all that is asked each time should take no longer
CORE = 3  # speed, engine speed and one source of fuel are asked each time whatever the rate
SLOW_SHARE = 0.15  # of all questions, at most, for what changes slowly or does not fit into a row
FAST_CAR_PER_S = 15.0  # from here on the first row asks everything
COSTLY_RUNS = 1.1  # times the runs: from here on the rate of a log is worth a sentence
_ORDER = (0x0D, 0x0C, 0x5E, 0x10, 0x0B, 0x04, 0x44, 0x43, 0x06, 0x08, 0x62, 0x11)

# Runs that a road test needs, relative to rows of 1.5 s, against the duration of a row: interval of an effect of 9 % in
# simulated road tests of windtoll's own, the same runs read at 0.67, 0.33, 0.18 and 0.09 rows a second.
_ROW_S = np.array([1.5, 3.0, 5.5, 11.0])
_INTERVAL_PERCENT = np.array([6.2, 6.6, 8.9, 17.5])


@dataclass(frozen=True)
class Plan:
    """What is asked in each row, what in turn with the slow ones, and the time between two questions for one [s]."""

    each_row: tuple[PidParameter, ...]
    in_turn: tuple[PidParameter, ...]
    turn_s: float

    @property
    def left_out(self) -> tuple[PidParameter, ...]:
        """Return the fast parameters that do not fit into each row."""
        return tuple(p for p in self.in_turn if p.fast)


def plan_for(
    wanted: Sequence[PidParameter], per_s: float | None, slow_interval_s: float, rare: frozenset[str] = frozenset()
) -> Plan:
    """Return the plan for a rate of `per_s` questions a second; None is not known yet, and counts as slow.

    `rare` are columns of parameters that never answer: they are asked in turn only.
    """
    fast = sorted((p for p in wanted if p.fast and p.column not in rare), key=lambda p: _ORDER.index(p.pid))
    source = next((p for pid in FUEL_SOURCES for p in fast if p.pid == pid), None)
    first = [p for p in fast if p.pid in (0x0D, 0x0C) or p is source]
    ordered = first + [p for p in fast if p not in first]
    each_row = tuple(ordered or wanted)[: max(CORE, int((per_s or 0.0) * ROW_TARGET_S))]
    in_turn = tuple(p for p in wanted if p not in each_row)
    turn_s = max(slow_interval_s, len(in_turn) / (SLOW_SHARE * per_s) if per_s else slow_interval_s)
    return Plan(each_row, in_turn, turn_s)


def runs_factor(plan: Plan, per_s: float) -> float:
    """Return how many times the runs a road test would need if all fast parameters were asked in each row."""
    now_s = len(plan.each_row) / per_s
    all_s = (len(plan.each_row) + len(plan.left_out)) / per_s
    return relative_runs(all_s) / relative_runs(now_s)


def relative_runs(row_s: float) -> float:
    """Return how many times the runs a road test needs with a row in `row_s` [s], against rows of 1.5 s or less."""
    return float((_interval_percent(row_s) / _INTERVAL_PERCENT[0]) ** 2)


def _interval_percent(row_s: float) -> float:
    return float(np.exp(np.interp(np.log(row_s), np.log(_ROW_S), np.log(_INTERVAL_PERCENT))))
