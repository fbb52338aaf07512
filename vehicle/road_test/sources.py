"""Where the fuel of a road test comes from: the best source that covers all runs alike, calculated load where no other.

Each source carries what no number of runs removes: how far its litres, and its differences in percent, may be off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vehicle.logs.fuel_flow import (
    SOURCES,
    FuelFlow,
    LoggedEngine,
    fuel_flow,
    fuel_from_air,
    has_source,
    overrun,
)
from vehicle.problems import InputError, Problem

if TYPE_CHECKING:
    from vehicle.logs.log import Log

MOVING_M_S = 2.0
LOAD_SOURCES = ("absolute load", "calculated load")

# A better source is left for the next one where it covers this much less of the worst covered run.
_LEAST_OF_BEST = 0.9
_LEAST_OF_LOAD = 0.7

# The load at which an engine burns nothing: 0 where load is air flow over peak air flow (SAE J1979), under it by the
# share of friction where load is net torque over peak torque. The ends are common practice, no source.
_EMPTY_LOAD, _EMPTY_LOAD_HALF = -0.04, 0.08
_NET_TO_INDICATED, _NET_TO_INDICATED_HALF = 1.07, 0.07
# Fuel per kWh of extra shaft work: Commission Implementing Decision (EU) 2020/728, Annex, "consumption of effective
# power" (petrol, diesel, LPG); E10 as petrol by heating value. The range is common practice, no source.
_MARGINAL_L_KWH = {"petrol": 0.264, "e10": 0.273, "diesel": 0.220, "lpg": 0.342}
_MARGINAL_ERROR = 0.12
_AIR_OF_ABSOLUTE_LOAD_KG_M3 = 1.184  # SAE J1979: absolute load is air per stroke over displacement at 1.184 g/L


def source_word(on_battery: bool) -> str:
    """Return what the runs of a road test are judged by, as every sentence calls it."""
    return "battery energy" if on_battery else "fuel"


@dataclass(frozen=True)
class FullLoad:
    """Torque at full load over engine speed (one point: a peak torque), and its error as a share (95 %)."""

    engine_speed_rad_s: np.ndarray
    torque_n_m: np.ndarray
    error: float

    def at(self, engine_speed_rad_s: np.ndarray) -> np.ndarray:
        """Return the torque [N·m] at engine speeds [rad/s] (rows,), held constant beyond the ends of the curve."""
        return np.interp(engine_speed_rad_s, self.engine_speed_rad_s, self.torque_n_m)


@dataclass(frozen=True)
class SourceError:
    """What no number of runs removes: errors (95 %) of the litres and of a difference in percent, both as shares.

    `inside` where they belong into the interval of the runs (what is converted from load).
    """

    litres: float
    percent: float
    words: str
    inside: bool = False


NO_ERROR = SourceError(0.0, 0.0, "")


@dataclass(frozen=True)
class CommonFuel:
    """The fuel of several logs from one source: `flows` has one entry a log.

    `absolute` is False where only ratios mean something: displacement or torque at full load are then not those of
    the car. `covered` is the share of the driving of each log for which the source says something, `error` what runs
    cannot remove, `passed_over` says in words which better source was left, and why.
    """

    source: str
    engine: LoggedEngine
    absolute: bool
    flows: tuple[FuelFlow, ...]
    covered: tuple[float, ...] = ()
    error: SourceError = NO_ERROR
    passed_over: tuple[str, ...] = ()

    @property
    def firm(self) -> bool:
        """Whether fuel is what was logged; else it is converted from load, which is what was logged."""
        return self.source not in LOAD_SOURCES


def common_source(logs: Sequence[Log], engine: LoggedEngine, full_load: FullLoad | None = None) -> CommonFuel:
    """Return the fuel of all logs from the best source that covers them alike.

    Best source first, by `SOURCES`; one that covers less than nine tenths of what another covers, in the run that it
    covers worst, is passed over. Where no fuel is logged it is converted from absolute or calculated load.

    Parameters
    ----------
    logs
        One a run, or several runs in one.
    engine
        What is known of the engine. Without a displacement speed-density gives ratios: one litre is taken.
    full_load
        Torque at full load, for litres from calculated load.

    Returns
    -------
    CommonFuel
        Flows row by row [m3/s].

    Raises
    ------
    InputError
        Where the logs share no source at all.
    """
    candidates = [logged for source in SOURCES if (logged := _logged(logs, engine, source)) is not None]
    best = max((min(logged.covered) for logged in candidates), default=0.0)
    chosen = next((logged for logged in candidates if best > 0 and min(logged.covered) >= _LEAST_OF_BEST * best), None)
    by_load = next(
        (logged for source in LOAD_SOURCES if (logged := _from_load(logs, engine, source, full_load)) is not None), None
    )
    worse = by_load is not None and best < _LEAST_OF_LOAD * min(by_load.covered)
    if by_load is not None and (chosen is None or worse):
        chosen = by_load
    if chosen is None:
        raise InputError(_why_none(logs, engine))
    passed = [logged for logged in candidates if SOURCES.index(logged.source) < _rank(chosen.source)]
    return replace(chosen, passed_over=tuple(_passed_words(logged, chosen) for logged in passed))


def _rank(source: str) -> int:
    return SOURCES.index(source) if source in SOURCES else len(SOURCES)


def _passed_words(passed: CommonFuel, chosen: CommonFuel) -> str:
    return (
        f"{passed.source} covers only {100 * min(passed.covered):.0f} % of one run, {chosen.source} "
        f"{100 * min(chosen.covered):.0f} %: {chosen.source} is used for every run"
    )


def _logged(logs: Sequence[Log], engine: LoggedEngine, source: str) -> CommonFuel | None:
    trial, absolute = engine, True
    if source == "speed-density" and engine.displacement_m3 is None:
        trial, absolute = replace(engine, displacement_m3=1e-3), False
    if not all(has_source(log, trial, source) for log in logs):
        return None
    flows = tuple(fuel_flow(log, trial, source=source) for log in logs)
    covered = tuple(_covered(log, flow.flow_m3_s) for log, flow in zip(logs, flows, strict=True))
    return CommonFuel(source, trial, absolute, flows, covered, _error_of(source, engine))


def _error_of(source: str, engine: LoggedEngine) -> SourceError:
    """Return what runs cannot remove. Shares from memory, but for those of an assumed filling (see `fuel_flow`)."""
    if source == "air flow":
        return SourceError(0.07, 0.05, "air flow meter and lambda: litres ± 7 %, percent ± 5 % of itself (from memory)")
    if source == "speed-density":
        if engine.volumetric_efficiency is None:
            return SourceError(0.25, 0.20, "assumed volumetric efficiency: litres ± 25 %, percent ± a fifth of itself")
        return SourceError(
            0.06, 0.10, "volumetric efficiency as given: litres ± 6 %, percent ± 10 % of itself (from memory)"
        )
    return SourceError(0.06, 0.03, "fuel as the car reports it: litres ± 6 %, percent ± 3 % of itself (from memory)")


def _covered(log: Log, flow: np.ndarray) -> float:
    """Return the share of the driving (of all rows in a log that stands) for which a flow is known."""
    step = log.table["step_s"].to_numpy()
    rows = np.ones(step.size, dtype=bool)
    if "speed_m_s" in log.table:
        with np.errstate(invalid="ignore"):
            moving = log.table["speed_m_s"].to_numpy() > MOVING_M_S
        rows = moving if moving.any() else rows
    total = float(step[rows].sum())
    return float(step[rows & np.isfinite(flow)].sum()) / total if total > 0 else 0.0


def _from_load(logs: Sequence[Log], engine: LoggedEngine, source: str, full_load: FullLoad | None) -> CommonFuel | None:
    column = source.replace(" ", "_")
    if not all(column in log.table and "engine_speed_rad_s" in log.table for log in logs):
        return None
    if source == "absolute load":
        if engine.fuel.name == "diesel":  # runs lean: air says nothing of fuel
            return None
        flows = [_flow_of_absolute_load(log, engine) for log in logs]
        absolute, error = engine.displacement_m3 is not None, SourceError(0.10, 0.07, "", inside=True)
        words = f"converted from absolute load, engine speed and displacement: {engine.fuel.name} at lambda 1"
    else:
        flows = [_flow_of_calculated_load(log, engine, full_load) for log in logs]
        absolute, error = full_load is not None, _load_error(logs, full_load)
        torque = "its torque at full load" if full_load is not None else "a level torque curve"
        words = (
            f"converted from calculated load, engine speed and {torque}, at "
            f"{_marginal_l_kwh(engine):.3g} L of {engine.fuel.name} per kWh of extra shaft work"
        )
    covered = tuple(_covered(log, flow) for log, flow in zip(logs, flows, strict=True))
    made = tuple(_as_flow(log, flow, source, words) for log, flow in zip(logs, flows, strict=True))
    percent = f"percent ± {100 * error.percent:.0f} % of itself"
    said = f"{words}; " + (f"litres ± {100 * error.litres:.0f} %, {percent}" if absolute else percent)
    return CommonFuel(source, engine, absolute, made, covered, replace(error, words=said))


def marginal_m3_j(engine: LoggedEngine) -> float:
    """Return the fuel for a joule of extra shaft work [m3/J]."""
    return _marginal_l_kwh(engine) * 1e-3 / 3.6e6


def _marginal_l_kwh(engine: LoggedEngine) -> float:
    return _MARGINAL_L_KWH.get(engine.fuel.name, 0.264)


def _flow_of_absolute_load(log: Log, engine: LoggedEngine) -> np.ndarray:
    """Return fuel [m3/s] (rows,): air per stroke of SAE J1979's absolute load, burnt at lambda 1."""
    strokes_per_s = log.table["engine_speed_rad_s"].to_numpy() / (4 * math.pi)
    volume = engine.displacement_m3 or 1e-3
    air = log.table["absolute_load"].to_numpy() * _AIR_OF_ABSOLUTE_LOAD_KG_M3 * volume * strokes_per_s
    return np.where(overrun(log), 0.0, fuel_from_air(air, engine.fuel))


def _flow_of_calculated_load(log: Log, engine: LoggedEngine, full_load: FullLoad | None) -> np.ndarray:
    """Return fuel [m3/s] (rows,): indicated power as load x torque at full load x engine speed, at the marginal fuel.

    The load at which nothing is burnt, and load over torque, lie between two definitions of load in use.
    """
    turning = log.table["engine_speed_rad_s"].to_numpy()
    torque = full_load.at(turning) * _NET_TO_INDICATED if full_load is not None else np.ones(turning.size)
    power = (log.table["calculated_load"].to_numpy() - _EMPTY_LOAD) * torque * turning
    return power * marginal_m3_j(engine)


def _load_error(logs: Sequence[Log], full_load: FullLoad | None) -> SourceError:
    """Return the errors of a conversion from calculated load: of percent by the load at which nothing is burnt."""
    load = float(np.nanmean(np.concatenate([log.table["calculated_load"].to_numpy() for log in logs])))
    percent = 0.95 * _EMPTY_LOAD_HALF / max(load - _EMPTY_LOAD, 0.1)
    torque = full_load.error if full_load is not None else 0.0
    net = 0.95 * _NET_TO_INDICATED_HALF / _NET_TO_INDICATED
    return SourceError(math.sqrt(torque**2 + _MARGINAL_ERROR**2 + net**2), percent, "", inside=True)


def level_flow(log: Log) -> FuelFlow:
    """Return a flow that is the same in every row, for runs whose fuel is known as a whole only."""
    return _as_flow(log, np.full(len(log.table), 1e-6), "none", "")


def _as_flow(log: Log, flow: np.ndarray, source: str, words: str) -> FuelFlow:
    step = log.table["step_s"].to_numpy()
    good = np.isfinite(flow)
    known = float(step[good].sum())
    litres = float((flow[good] * step[good]).sum() * 1e3) if known > 0 else None
    return FuelFlow(
        flow, np.zeros(flow.size, bool), source, (words,) if words else (), (), litres, known, float(step.sum())
    )


def _why_none(logs: Sequence[Log], engine: LoggedEngine) -> list[Problem]:
    """Return for each log why no fuel can be had from it, equal ones once."""
    why: dict[str, list[str]] = {}
    for log in logs:
        flow = fuel_flow(log, engine)
        if flow.source == "none":
            why.setdefault("; ".join(flow.why_not), []).append(log.name)
    accepted = (
        "a fuel rate, air flow, manifold pressure, or calculated load, each with engine speed; for a battery vehicle "
        "energy_used of every run in the list"
    )
    problems = [
        Problem(names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more", "fuel", reasons, accepted)
        for reasons, names in why.items()
    ]
    return problems or [
        Problem("runs", "fuel", "the logs share no source of fuel", "the same parameters logged in every run")
    ]
