"""How often a log has a row, and which of its values stood still while others moved: lines and data."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vehicle.logs.columns import BY_NAME
from vehicle.logs.stuck import StuckValue, stuck_values
from vehicle.recording.schedule import COSTLY_RUNS, relative_runs

if TYPE_CHECKING:
    from energy.words.read_model import StuckData
    from vehicle.logs.log import Log


def row_s(log: Log) -> float | None:
    """Return the usual time from row to row [s], None for a log of a single row."""
    return float(log.table["time_s"].diff().median()) if log.rows > 1 else None


def _stuck(log: Log) -> list[tuple[StuckValue, bool]]:
    """Return what stood still, by time, and whether reading the log left it empty for that."""
    found = [(value, True) for value in log.stuck] + [(value, False) for value in stuck_values(log.table)]
    return sorted(found, key=lambda entry: entry[0].begin_s)


def stuck_data(log: Log) -> list[StuckData]:
    """Return values that stood still as data for `--json`; values in SI."""
    from energy.words.read_model import StuckData

    return [
        StuckData(parameter=found.name, begin_s=found.begin_s, end_s=found.end_s, value=found.value, left_empty=emptied)
        for found, emptied in _stuck(log)
    ]


def rate_and_stuck_lines(log: Log) -> list[str]:
    """Return the lines of `windtoll read` about the rate and about values that stood still."""
    lines = []
    between_s = row_s(log)
    if between_s:
        cost = relative_runs(between_s)
        lines.append(
            f"  a row in {between_s:.2g} s"
            + (
                f": a road test needs about {cost:.1f} times the runs of one with a row in 1.5 s"
                if cost > COSTLY_RUNS
                else ""
            )
        )
    for found, emptied in _stuck(log):
        what_of_it = "left empty" if emptied else "check it before you use this log"
        lines.append(
            f"  {BY_NAME[found.name].words} did not change from {found.begin_s:.0f} s to {found.end_s:.0f} s while"
            f" others moved: {what_of_it}"
        )
    return lines
