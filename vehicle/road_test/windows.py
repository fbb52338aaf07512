"""Runs of a road test cut into windows: what is left out, and what each window is compared and adjusted by."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from vehicle.constants import DRY_AIR_GAS_CONSTANT_J_KG_K, ZERO_CELSIUS_K
from vehicle.logs.fuel_flow import FuelFlow, acceleration_m_s2
from vehicle.problems import InputError, Problem
from vehicle.road_test.run_list import STATES
from vehicle.road_test.sources import MOVING_M_S

if TYPE_CHECKING:
    from vehicle.logs.log import Log
    from vehicle.road_test.run_list import Run

WARM_COOLANT_K = ZERO_CELSIUS_K + 70
BRAKING_M_S2 = -0.5
WINDOW_S = 10.0
UNKNOWN = "fuel or speed not known"
SPEED_UNKNOWN = "speed not known"  # where fuel is not looked at
SHIFTS = "gear shifts and clutch"
OUTSIDE = "outside its start and end"
NO_COOLANT = "no coolant temperature, so a cold engine is not seen"
_LEAST_SHARE_OF_WINDOW = 0.4
_RATIO_OF_A_GEAR = 7 / 6  # the ratio of engine speed to road speed changes by more than this between two gears

# speed, accelerating power per mass, climbing power per mass, air drag power (speed × air speed² × relative density),
# coolant temperature
COVARIATES = ("speed", "acceleration", "grade", "air", "warm-up")

# Scales of two covariates. Their slopes take the scale up, so no answer rests on the last digits of these.
_GRADE_SCALE_M_S2 = 9.81
_USUAL_DENSITY_KG_M3 = 1.2


@dataclass(frozen=True)
class Filter:
    """One filter of a run: what was taken out, and how many rows it took that were still in."""

    what: str
    rows: int


@dataclass(frozen=True)
class RunWindows:
    """One run cut into windows of 10 s: weights in s, fuel flow in m3/s, load as a share, and what it is adjusted for.

    `covariates` has one row a window and one column a name in `COVARIATES` (NaN column where the log does not say).
    `metered_m3_s` is the mean flow of the whole run where its fuel was weighed or metered, `metered_w` its mean power
    where the energy of its battery was, in steps of `metered_step_w`, `control` the same drive of a second vehicle.
    `name` is unlike that of any other run; `file` is its log, of which several runs may be cut, and `rows` are those of
    its own stretch.
    """

    name: str
    state: str
    pair: str
    direction: str
    date: str
    weight_s: np.ndarray
    fuel_m3_s: np.ndarray
    load: np.ndarray
    covariates: np.ndarray
    filters: tuple[Filter, ...]
    rows: int
    kept_rows: int
    source: str
    means: dict[str, float]
    warnings: tuple[str, ...] = ()
    metered_m3_s: float | None = None
    control: RunWindows | None = None
    started: str = ""
    file: str = ""
    metered_w: float | None = None
    metered_step_w: float = 0.0

    @property
    def on_battery(self) -> bool:
        """Return whether the run is judged by metered battery energy."""
        return self.metered_w is not None

    @property
    def kept_s(self) -> float:
        """Return the seconds kept."""
        return float(self.weight_s.sum())

    @property
    def kept_share(self) -> float:
        """Return the share of the rows kept; one for a run without a log, of which all counts."""
        return self.kept_rows / self.rows if self.rows else float(self.on_battery or self.metered_m3_s is not None)

    @property
    def known_share(self) -> float:
        """Return the share of the rows for which fuel and speed are known."""
        unknown = sum(one.rows for one in self.filters if one.what in (UNKNOWN, SPEED_UNKNOWN))
        return 1 - unknown / self.rows if self.rows else self.kept_share

    @property
    def mean_fuel_m3_s(self) -> float:
        """Return the mean fuel flow: as weighed or metered, else over the rows kept."""
        if self.metered_m3_s is not None:
            return self.metered_m3_s
        return self.logged_fuel_m3_s if self.kept_s else math.nan

    @property
    def mean_used(self) -> float:
        """Return what the run is judged by: power of its battery [W] as metered, else the mean fuel flow [m3/s]."""
        return self.mean_fuel_m3_s if self.metered_w is None else self.metered_w

    # Kept once computed: a comparison asks each run for these some twenty times.

    @cached_property
    def logged_fuel_m3_s(self) -> float:
        """Return the mean of the logged fuel flow over the rows kept; of no rows there is none (ZeroDivisionError)."""
        return float(np.average(self.fuel_m3_s, weights=self.weight_s))

    @cached_property
    def mean_load(self) -> float:
        """Return the mean load (a share) over the rows kept."""
        return float(np.average(self.load, weights=self.weight_s))

    @cached_property
    def mean_covariates(self) -> np.ndarray:
        """Return the means of the covariates over the rows kept, in the sequence of `COVARIATES`."""
        return np.average(self.covariates, axis=0, weights=self.weight_s)

    @cached_property
    def speed_variance(self) -> float:
        """Return the variance of the speed [m2/s2] over the rows kept, of two windows at least."""
        return float(np.cov(self.covariates[:, COVARIATES.index("speed")], aweights=self.weight_s))


def runs_of_states(run: Run, log: Log) -> list[Run]:
    """Return the run itself where it has one state, else one run for each stretch that the log marks as one state.

    A state in the manifest is that of the beginning: where the log marks a change, and the manifest does not cut the
    run out of it (start, end), the log's marks count. Stretches that follow each other make pairs (first and second,
    third and fourth, ...), unless the manifest names one. Raises InputError where neither manifest nor log says the
    state.
    """
    states = log.states
    marked = set() if states is None else {str(state) for state in np.unique(states.astype(str))} & set(STATES)
    if run.state and (len(marked) < 2 or run.start_s is not None or run.end_s is not None):
        return [run]
    if states is None or not marked:
        raise InputError(
            Problem(log.name, "state", "neither the manifest nor a column of the log says it", ", ".join(STATES))
        )
    time_s = log.table["time_s"].to_numpy()
    starts = np.concatenate([[0], np.flatnonzero(states[1:] != states[:-1]) + 1, [states.size]])
    stretches = [(a, b) for a, b in itertools.pairwise(starts.tolist()) if states[a] in STATES]
    if len(stretches) > 1 and (run.fuel_used_m3 is not None or run.energy_used_j is not None):
        key = "fuel_used" if run.fuel_used_m3 is not None else "energy_used"
        read = f"given once for a log that marks {len(stretches)} stretches of working, stowed or absent"
        raise InputError(Problem(log.name, key, read, "one [[run]] for each stretch, with start, end and what it used"))
    return [
        replace(
            run,
            state=str(states[a]),
            start_s=float(time_s[a]),
            end_s=float(time_s[b - 1]),
            pair=run.pair or f"{log.name} {number // 2 + 1}",
        )
        for number, (a, b) in enumerate(stretches)
    ]


def windows_of(log: Log, flow: FuelFlow, run: Run, *, shifts_kept: bool = True) -> RunWindows:
    """Return a run cut into windows, after cold engine, standstill and braking have been taken out.

    Gear shifts are taken out where they are not kept. Nothing is taken out where the fuel of the whole run was weighed
    or metered, or the energy of its battery. No row is chosen by its fuel: that would favour one answer.
    """
    if "speed_m_s" not in log.table:
        raise InputError(Problem(log.name, "speed", "no vehicle speed in the log", "a log with vehicle speed"))
    acceleration = acceleration_m_s2(log)
    stretch, warnings = _stretch_filters(log, run)
    on_battery = run.energy_used_j is not None
    whole = on_battery or run.fuel_used_m3 is not None
    driving = _driving_filters(log, flow, acceleration, shifts_kept=shifts_kept)[: 1 if whole else None]
    if on_battery:
        driving = [(SPEED_UNKNOWN, ~np.isfinite(log.table["speed_m_s"].to_numpy()))]
    keep, filters = _applied([*stretch, *driving], len(log.table))
    if not whole and "coolant_temperature_k" not in log.table:
        warnings.append(f"{log.name}: {NO_COOLANT}")
    windows = _Windows.of(log, np.flatnonzero(keep))
    load = log.table["calculated_load"].to_numpy() if "calculated_load" in log.table else None
    outside = sum(one.rows for one in filters if one.what == OUTSIDE)
    return RunWindows(
        name=_name(log, run),
        state=run.state,
        pair=run.pair,
        direction=run.direction,
        date=run.date,
        weight_s=windows.weight_s[windows.full],
        fuel_m3_s=windows.mean(flow.flow_m3_s),
        load=windows.unknown() if load is None else windows.mean(load),
        covariates=_covariates(log, run, acceleration, windows),
        filters=filters,
        rows=len(log.table) - outside,
        kept_rows=int(keep.sum()),
        source=flow.source,
        means=_means(log, run, windows),
        warnings=tuple(warnings),
        metered_m3_s=_per_second(run.fuel_used_m3, log, run),
        metered_w=_per_second(run.energy_used_j, log, run),
        metered_step_w=_per_second(run.energy_step_j, log, run) or 0.0,
        started=run.date,
        file=log.name,
    )


def _name(log: Log, run: Run) -> str:
    """Return what a run is called: its log, and where that holds several, its part of it."""
    if run.start_s is None and run.end_s is None:
        return log.name
    begin, end = run.start_s or 0.0, log.duration_s if run.end_s is None else run.end_s
    return f"{log.name} {begin:.0f}-{end:.0f} s"


def _per_second(metered: float | None, log: Log, run: Run) -> float | None:
    """Return what was weighed or metered of a run over its time from start to end; None where nothing was."""
    if metered is None:
        return None
    begin = run.start_s if run.start_s is not None else 0.0
    end = run.end_s if run.end_s is not None else log.duration_s
    return metered / (end - begin) if end > begin else None


_Bad = tuple[str, np.ndarray]


def _applied(filters: Sequence[_Bad], rows: int) -> tuple[np.ndarray, tuple[Filter, ...]]:
    """Return the rows that all filters leave, and what each took of those that were still in."""
    keep = np.ones(rows, dtype=bool)
    applied = []
    for what, bad in filters:
        applied.append(Filter(what, int((keep & bad).sum())))
        keep &= ~bad
    return keep, tuple(applied)


def _stretch_filters(log: Log, run: Run) -> tuple[list[_Bad], list[str]]:
    """Return what the list of runs and the marks of the log take out, and warnings."""
    filters: list[_Bad] = []
    warnings: list[str] = []
    time_s = log.table["time_s"].to_numpy()
    if run.start_s is not None or run.end_s is not None:
        low = run.start_s if run.start_s is not None else -math.inf
        high = run.end_s if run.end_s is not None else math.inf
        filters.append((OUTSIDE, (time_s < low) | (time_s > high)))
    if log.states is not None and run.state:
        other = (log.states != "") & (log.states != run.state)
        if other.all():  # whoever corrects a state does it in the manifest
            marked = ", ".join(dict.fromkeys(log.states.tolist()))
            warnings.append(f"{log.name}: {run.state} in the manifest, {marked} in the log: the manifest is taken")
        else:
            filters.append(("marked as another state in the log", other))
    return filters, warnings


def _driving_filters(log: Log, flow: FuelFlow, acceleration: np.ndarray, *, shifts_kept: bool) -> list[_Bad]:
    """Return the rows in which the engine is cold or the car does not drive on steadily."""
    table = log.table
    speed = table["speed_m_s"].to_numpy()
    filters: list[_Bad] = [(UNKNOWN, ~np.isfinite(flow.flow_m3_s) | ~np.isfinite(speed))]
    with np.errstate(invalid="ignore"):
        if "coolant_temperature_k" in table:
            cold = ~(table["coolant_temperature_k"].to_numpy() >= WARM_COOLANT_K)
            filters.append(("engine not warm (coolant under 70 °C)", cold))
        if np.nanmax(speed, initial=0.0) > MOVING_M_S:
            filters.append(("standing or under 7 km/h", ~(speed > MOVING_M_S)))
        braking = acceleration < BRAKING_M_S2
        if "brake" in table:
            braking |= table["brake"].to_numpy() > 0.5
        filters.append(("braking", braking))
    if not shifts_kept and "engine_speed_rad_s" in table:
        filters.append((SHIFTS, shifting_rows(log)))
    return filters


def shifting_rows(log: Log, within_s: float = 1.0) -> np.ndarray:
    """Return the rows within a second of a change of the ratio of engine speed to road speed by more than a sixth."""
    time_s, speed = log.table["time_s"].to_numpy(), log.table["speed_m_s"].to_numpy()
    turning = log.table["engine_speed_rad_s"].to_numpy()
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(speed > MOVING_M_S, turning / speed, np.nan)
        jump = np.abs(np.diff(np.log(ratio))) > math.log(_RATIO_OF_A_GEAR)
    at = np.flatnonzero(jump)
    shifting = np.zeros(time_s.size, dtype=bool)
    if not at.size:
        return shifting
    starts = np.searchsorted(time_s, time_s[at] - within_s)
    ends = np.searchsorted(time_s, time_s[at + 1] + within_s, side="right")
    edges = np.zeros(time_s.size + 1, dtype=np.int64)
    np.add.at(edges, starts, 1)
    np.add.at(edges, ends, -1)
    return np.cumsum(edges[:-1]) > 0


_NEAR_S, _LEAST_SHIFTS, _DISTURBED = 4.0, 20, 1.5


def shifts_disturbed(logs: Sequence[Log], flows: Sequence[FuelFlow]) -> float | None:
    """Return the fuel in gear shifts over that around them, where it shows that they are disturbed; else None.

    The rows within 4 s of a shift are what a shift is held against. Under twenty such rows nothing is shown.
    """
    inside, around, rows = 0.0, 0.0, 0
    near_rows = 0
    for log, flow in zip(logs, flows, strict=True):
        if "engine_speed_rad_s" not in log.table or "speed_m_s" not in log.table:
            continue
        shifting = shifting_rows(log)
        near = shifting_rows(log, _NEAR_S) & ~shifting
        known = np.isfinite(flow.flow_m3_s)
        inside += float(flow.flow_m3_s[shifting & known].sum())
        around += float(flow.flow_m3_s[near & known].sum())
        rows += int((shifting & known).sum())
        near_rows += int((near & known).sum())
    if rows < _LEAST_SHIFTS or near_rows < _LEAST_SHIFTS or around <= 0:
        return None
    ratio = (inside / rows) / (around / near_rows)
    return ratio if not 1 / _DISTURBED < ratio < _DISTURBED else None


@dataclass(frozen=True)
class _Windows:
    """The rows kept of a log, the window that each is in, how long each row stands for, and the length of windows.

    `full` marks the windows of which enough is left.
    """

    rows: np.ndarray
    step_s: np.ndarray
    window: np.ndarray
    weight_s: np.ndarray
    full: np.ndarray

    @classmethod
    def of(cls, log: Log, rows: np.ndarray) -> _Windows:
        """Return the windows of the rows kept."""
        step_s = log.table["step_s"].to_numpy()[rows]
        number = np.floor(log.table["time_s"].to_numpy()[rows] / WINDOW_S).astype(np.int64)
        # a gap is longer than half a window: no window spans one
        window = np.cumsum(np.concatenate([[0], np.diff(number) != 0])) if rows.size else number
        weight_s = np.bincount(window, weights=step_s) if rows.size else np.zeros(0)
        return cls(rows, step_s, window, weight_s, weight_s >= _LEAST_SHARE_OF_WINDOW * WINDOW_S)

    def mean(self, values: np.ndarray) -> np.ndarray:
        """Return the mean over each full window of a value for every row of the log."""
        sums = np.bincount(self.window, weights=values[self.rows] * self.step_s, minlength=self.weight_s.size)
        return (sums / self.weight_s)[self.full]

    def unknown(self) -> np.ndarray:
        """Return a value for each full window that is not known."""
        return np.full(int(self.full.sum()), np.nan)


def _covariates(log: Log, run: Run, acceleration: np.ndarray, windows: _Windows) -> np.ndarray:
    table = log.table
    speed = table["speed_m_s"].to_numpy()
    air_speed = speed + _head_wind(log, run)
    climbing = warm = windows.unknown()
    if "grade" in table:
        climbing = windows.mean(_GRADE_SCALE_M_S2 * np.sin(np.arctan(table["grade"].to_numpy())) * speed)
    if "coolant_temperature_k" in table:
        warm = windows.mean(table["coolant_temperature_k"].to_numpy())
    air = windows.mean(speed * air_speed * np.abs(air_speed) * _relative_density(log, run))
    return np.column_stack([windows.mean(speed), windows.mean(acceleration * speed), climbing, air, warm])


def _head_wind(log: Log, run: Run) -> np.ndarray | float:
    return log.table["head_wind_m_s"].to_numpy() if "head_wind_m_s" in log.table else (run.head_wind_m_s or 0.0)


def _means(log: Log, run: Run, windows: _Windows) -> dict[str, float]:
    """Return the mean conditions of a run, NaN where they are not known."""
    table, rows = log.table, windows.rows
    temperature = run.temperature_k
    for name in ("ambient_temperature_k", "intake_temperature_k"):
        if temperature is None and name in table and rows.size:
            temperature = _mean_of(table[name].to_numpy()[rows])
    wind_known = "head_wind_m_s" in table or run.head_wind_m_s is not None
    speed = table["speed_m_s"].to_numpy()[rows]
    coolant = table["coolant_temperature_k"].to_numpy()[rows] if "coolant_temperature_k" in table else np.zeros(0)
    return {
        "speed_m_s": float(np.average(speed, weights=windows.step_s)) if rows.size else math.nan,
        "temperature_k": math.nan if temperature is None else temperature,
        "head_wind_m_s": _mean_of(_head_wind(log, run)) if wind_known else math.nan,
        "coolant_k": _mean_of(coolant),
        "relative_density": _relative_density(log, run),
        "gust_m_s": math.nan if run.gust_m_s is None else run.gust_m_s,
        "vehicle_ahead": math.nan if run.vehicle_ahead is None else run.vehicle_ahead,
        "tyre_pressure_pa": math.nan if run.tyre_pressure_pa is None else run.tyre_pressure_pa,
        "standing_s": _standing_s(log, run),
    }


def _standing_s(log: Log, run: Run) -> float:
    """Return how long the vehicle stands or creeps in the stretch of the run."""
    table = log.table
    time_s = table["time_s"].to_numpy()
    begin = run.start_s if run.start_s is not None else -math.inf
    end = run.end_s if run.end_s is not None else math.inf
    with np.errstate(invalid="ignore"):
        still = (table["speed_m_s"].to_numpy() <= MOVING_M_S) & (time_s >= begin) & (time_s <= end)
    return float(table["step_s"].to_numpy()[still].sum())


def _mean_of(values: np.ndarray | float) -> float:
    """Return the mean of the finite values, NaN where there are none."""
    numbers = np.atleast_1d(values)
    good = numbers[np.isfinite(numbers)]
    return float(good.mean()) if good.size else math.nan


def _relative_density(log: Log, run: Run) -> float:
    """Return the density of the air over 1.2 kg/m3 where pressure and outside temperature are known, else 1."""
    table = log.table
    pressure = run.pressure_pa
    if pressure is None and "barometric_pressure_pa" in table:
        pressure = _mean_of(table["barometric_pressure_pa"].to_numpy())
    temperature = run.temperature_k
    if temperature is None and "ambient_temperature_k" in table:
        temperature = _mean_of(table["ambient_temperature_k"].to_numpy())
    if pressure is None or temperature is None:
        return 1.0
    return pressure / (DRY_AIR_GAS_CONSTANT_J_KG_K * temperature) / _USUAL_DENSITY_KG_M3
