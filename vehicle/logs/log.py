"""A log, tidied: its table in SI, what became of its columns, what was mended and what is known against its rows."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from vehicle.logs.columns import Column
from vehicle.logs.stuck import StuckValue

if TYPE_CHECKING:
    import pandas as pd


class Quality(enum.IntFlag):
    """What is known against a row of a tidy table; 0 is a row as logged."""

    CLOCK = 1
    AFTER_GAP = 2
    MISSING = 4
    NOT_A_NUMBER = 8
    OUT_OF_RANGE = 16
    SPIKE = 32
    STUCK = 64
    BROKEN_ROW = 128
    ZEROS = 256
    FILLED = 512


@dataclass(frozen=True)
class Repair:
    """One kind of repair and how many cells or rows it touched; `sensor`: values that cannot be what was measured."""

    what: str
    count: int
    sensor: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return the repair as data, for `--json`."""
        return {"what": self.what, "count": self.count}


@dataclass(frozen=True)
class Log:
    """One log, tidied.

    `table` has one row per row of the log: `time_s` since the first row, `step_s` (the time that the row stands for),
    one column per parameter (SI, names of `vehicle.logs.columns.PARAMETERS`; NaN where unknown) and `quality` (bits of
    `Quality`). `columns` says what became of every column of the file, `repairs` what was mended, `notes` what a
    reader should know before trusting the numbers, `clock` which clock was used, `checks` what was settled by the
    numbers alone (units, the clock) and deserves a look, `stuck` which values stood still and were emptied for it.
    """

    name: str
    table: pd.DataFrame
    columns: tuple[Column, ...]
    repairs: tuple[Repair, ...]
    notes: tuple[str, ...]
    clock: str
    states: np.ndarray | None = field(default=None, compare=False)
    checks: tuple[str, ...] = ()
    stuck: tuple[StuckValue, ...] = ()

    @property
    def rows(self) -> int:
        """Return the number of rows."""
        return len(self.table)

    @property
    def duration_s(self) -> float:
        """Return the seconds from the first row to the last."""
        return float(self.table["time_s"].iloc[-1]) if len(self.table) else 0.0

    @property
    def concerns(self) -> tuple[str, ...]:
        """Return in sentences what deserves a look before the log is used: what was settled and what was dropped."""
        return (*self.checks, *(f"{repair.what} ({repair.count} values)" for repair in self.repairs if repair.sensor))

    @property
    def distance_m(self) -> float | None:
        """Return the metres driven (speed summed over the logged time, gaps left out), or None without a speed."""
        if "speed_m_s" not in self.table:
            return None
        return float(np.nansum(self.table["speed_m_s"].to_numpy() * self.table["step_s"].to_numpy()))

    def flagged(self, flag: Quality) -> np.ndarray:
        """Return which rows carry `flag`."""
        return (self.table["quality"].to_numpy() & int(flag)) != 0


class Repairs:
    """Counts by what was done, in the order of first use."""

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.sensors: set[str] = set()

    def add(self, what: str, count: int, *, sensor: bool = False) -> None:
        """Count cells or rows to which something was done (`sensor`: to values that cannot be); none is left out."""
        if count:
            self.sensors |= {what} if sensor else set()
            self.counts[what] = self.counts.get(what, 0) + int(count)

    def done(self) -> tuple[Repair, ...]:
        """Return every kind of repair with its count."""
        return tuple(Repair(what, count, what in self.sensors) for what, count in self.counts.items())


@dataclass
class Draft:
    """A log on the way to its table: one array a parameter (rows,), which are changed as the log is mended.

    `values` are in SI by the names of `vehicle.logs.columns.PARAMETERS`, `quality` has the bits of `Quality`, `stuck`
    which values stood still and were emptied.
    """

    time_s: np.ndarray
    values: dict[str, np.ndarray]
    quality: np.ndarray
    repairs: Repairs
    stuck: list[StuckValue] = field(default_factory=list)
