"""A wattmeter's log of power as steps of time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from energy.heat.steps import FloatArray, HeaterError
from vehicle.problems import InputError, Problem
from vehicle.road_test.call_sheet import has_entries
from vehicle.tables import increasing, read_table


def trip_steps(time_s: npt.ArrayLike) -> FloatArray:
    """Return the step lengths of sample times (samples,), the last step as long as the median one: shape (samples,).

    A sample's power holds until the next sample. Raises HeaterError unless times rise.

    Parameters
    ----------
    time_s : [s] (samples,)

    Returns
    -------
    [s] (samples,).

    Raises
    ------
    HeaterError
        Unless times rise.
    """
    times = np.asarray(time_s, dtype=float)
    if times.ndim != 1 or times.size < 2 or not bool(np.isfinite(times).all()):
        raise HeaterError("times are at least two finite numbers")
    step = np.diff(times)
    if not bool((step > 0).all()):
        raise HeaterError(f"times do not rise after sample {int(np.argmax(step <= 0)) + 1}")
    return np.append(step, np.median(step))


_LEAST_READ = 2


@dataclass(frozen=True)
class PowerLog:
    """A logged power as steps: `durations_s` and `power_w` (steps,), and `remarks` on what was not logged.

    `columns` holds what else was logged: "speed" (m/s) and "ambient" (K), (steps,).
    """

    durations_s: FloatArray
    power_w: FloatArray
    remarks: tuple[str, ...]
    columns: Mapping[str, FloatArray] = field(default_factory=dict)


def read_wattmeter_log(path: Path, *, gap_s: float | None = None) -> PowerLog:
    """Return a wattmeter's CSV log (columns time and power, units in the headers) as steps for `simulate`.

    Columns speed and ambient are read where they are there. A reading holds until the next one. Where none follows for
    longer than `gap_s` (by default five typical steps, at least 30 s) it holds for one typical step, and then nothing
    counts until the next: heat that was not logged is not promised.

    Parameters
    ----------
    path : the CSV file
    gap_s : [s] a longer silence counts as no power

    Returns
    -------
    The log, arrays (steps,).

    Raises
    ------
    InputError
        Naming every fault.
    """
    marks = has_entries(path)  # a call sheet: rows that mark a setting or a peak have no power
    table = read_table(
        path,
        {"time": "s", "power": "W"},
        optional={"speed": "m/s", "ambient": "K"},
        blanks_allowed=("power",) if marks else (),
    )
    if marks:
        read = np.isfinite(table["power"])
        table = {name: values[read] for name, values in table.items()}
        if read.sum() < _LEAST_READ:
            raise InputError(Problem(path.name, "column power", f"{read.sum()} readings", "two or more"))
    time, power = table["time"], table["power"]
    increasing(path, "time", time)
    if float(power.min()) < 0:
        row = int(np.argmin(power))
        raise InputError(
            Problem(path.name, f"column power, row {row + 1} of the numbers", f"{power[row]:g} W", "0 W or more")
        )
    durations = trip_steps(time)
    typical = float(np.median(durations))
    gap = durations > (max(5 * typical, 30.0) if gap_s is None else gap_s)
    others: dict[str, FloatArray] = {name: table[name] for name in ("speed", "ambient") if name in table}
    if not gap.any():
        return PowerLog(durations, power, (), others)
    after = np.flatnonzero(gap) + 1
    silent = durations[gap] - typical
    durations = np.insert(np.where(gap, typical, durations), after, silent)
    remark = (
        f"{path.name}: nothing logged for {float(silent.sum()) / 60:.3g} min in {silent.size} "
        f"gap{'s' if silent.size > 1 else ''}; counted as no power"
        f"{', driven on at the last speed' if 'speed' in others else ''}"
    )
    held: dict[str, FloatArray] = {name: np.insert(values, after, values[after - 1]) for name, values in others.items()}
    return PowerLog(durations, np.insert(power, after, 0.0), (remark,), held)
