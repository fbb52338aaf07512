"""The published checks, computed anew from data that ship with windtoll: what is predicted, what was measured.

Nothing here is fitted to the rotor, the road test, the warm-up or the air. The friction default of the engine is
fitted to the certified vehicles' fuel; what more road load costs them is not.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import numpy as np

from energy.aero.air import density_kg_m3, standard_atmosphere
from energy.aero.blade import CurveSettings, PitchConvention, Root, blade_curves, read_blade
from energy.aero.polar import read_polars
from energy.chain.certified import predicted, within_families
from energy.heat.heater import HeatingSteps, simulate
from energy.heat.load import HeatedLoad
from energy.progress import Progress, part, tell
from energy.scenario.demos import published_folder
from vehicle.logs.fuel_flow import LoggedEngine, fuel_flow
from vehicle.logs.read import read_log
from vehicle.road_test.comparison import effect_alone
from vehicle.road_test.run_list import Run
from vehicle.road_test.windows import RunWindows, windows_of
from vehicle.tables import read_table

_PIECE_S, _SPLITS = 90.0, 200
_CAR = LoggedEngine(1.496e-3)
# US Standard Atmosphere 1976 (from memory): altitude in m, density in kg/m³.
_STANDARD_AIR = ((0.0, 1.2250), (1000.0, 1.1117), (2000.0, 1.0066), (3000.0, 0.9093))


@dataclass(frozen=True)
class Check:
    """One check: points (x, y) by group, with ends of an interval where they have one, and its figures.

    What x, y and the figures are goes by `key`; words/evidence.py says it.
    """

    key: str
    x: np.ndarray
    y: np.ndarray
    group: np.ndarray
    figures: dict[str, float]
    low: np.ndarray = field(default_factory=lambda: np.zeros(0))
    high: np.ndarray = field(default_factory=lambda: np.zeros(0))


def evidence(progress: Progress | None = None) -> tuple[Check, ...]:
    """Return every check, computed from the published data (some seconds)."""
    folder = published_folder()
    rotor = _rotor(folder)
    tell(progress, 0.1)
    vehicles = _vehicles(folder, part(progress, 0.1, 0.3))
    road = _road_test(folder, part(progress, 0.3, 0.95))
    checks = rotor, *vehicles, road, _warm_up(), _air()
    tell(progress, 1.0)
    return checks


def _rotor(folder: Path) -> Check:
    """Return the error of power and thrust [share] over wind speed [m/s] of the wind-tunnel rotor.

    With the polar of the rotor's own Reynolds number; the power also with those measured at lower ones.
    """
    data = folder / "two_blade_rotor"
    means = read_table(
        data / "measured_means.csv",
        {"wind_speed": "m/s", "shaft_power": "W", "thrust_estimate": "N"},
        optional={"rpm": "dimensionless", "air_density_kg_m3": "dimensionless"},
    )
    blade = read_blade(data / "blade_geometry.csv", 2, Root(aerofoil_start_m=1.2575, diameter_m=0.218))
    wind = means["wind_speed"]
    ratio = means["rpm"] * math.pi / 30 * blade.tip_radius_m / wind
    settings = CurveSettings(convention=PitchConvention(measured_at=1.0))
    order = np.argsort(ratio)
    back = np.argsort(order)
    area = 0.5 * means["air_density_kg_m3"] * math.pi * blade.tip_radius_m**2 * wind**2

    def errors_with(thousands: int) -> tuple[np.ndarray, np.ndarray]:
        polars = read_polars(data / f"polar_s809_re{thousands}k.csv", 1e3 * thousands)
        curves = blade_curves(blade, polars, ratio[order], np.array([3.0]), settings)
        power = curves.power_coefficient[0, back] * area * wind / means["shaft_power"] - 1
        return power, curves.thrust_coefficient[0, back] * area / means["thrust_estimate"] - 1

    power, thrust = errors_with(1000)
    others = np.stack([errors_with(thousands)[0] for thousands in (300, 650)])
    figures = {
        f"{what}_error_at_{speed:g}_m_s": float(error)
        for what, errors in (("power", power), ("thrust", thrust))
        for speed, error in zip(wind, errors, strict=True)
    }
    for speed, errors in zip(wind, others.T, strict=True):
        figures[f"lowest_power_error_at_{speed:g}_m_s_with_other_polars"] = float(errors.min())
        figures[f"highest_power_error_at_{speed:g}_m_s_with_other_polars"] = float(errors.max())
    names = ["shaft power", "thrust", "shaft power, polar at Re 300 000", "shaft power, polar at Re 650 000"]
    y = np.concatenate([power, thrust, *others])
    return Check("rotor", np.tile(wind, len(names)), y, np.repeat(names, len(wind)), figures)


def _vehicles(folder: Path, progress: Progress | None) -> tuple[Check, ...]:
    """Return predicted over measured highway fuel [J/m] of the certified vehicles."""
    vehicles = predicted(folder, progress)
    figures: dict[str, float] = {}
    for fuel in ("petrol", "diesel"):
        error = vehicles.error[vehicles.of(fuel)]
        low, middle, high = np.quantile(error, [0.05, 0.5, 0.95])
        figures |= {
            f"{fuel}_vehicles": float(len(error)),
            f"{fuel}_error_05": float(low),
            f"{fuel}_error_50": float(middle),
            f"{fuel}_error_95": float(high),
            f"{fuel}_within_15_percent": float(np.mean(np.abs(error) < 0.15)),
            f"{fuel}_measured_over_predicted_change": within_families(vehicles, fuel, vehicles.predicted_j_m),
            f"{fuel}_fuel_to_wheels": 1 / within_families(vehicles, fuel, vehicles.wheel_work_j_m),
        }
    group = vehicles.table.fuel.to_numpy(dtype=str)
    return (Check("vehicles", vehicles.measured_j_m, vehicles.predicted_j_m, group, figures),)


def _pieces(folder: Path, added: float) -> list[dict[str, RunWindows]]:
    """Return real drives cut into runs, each in both states; `added` is the share of fuel that working costs."""
    out = []
    for name in ("drive1", "live1"):
        log = read_log(folder / "obd_logs" / f"{name}.csv")
        time_s = log.table["time_s"].to_numpy()
        for number in range(int(time_s[-1] // _PIECE_S)):
            inside = (time_s >= number * _PIECE_S) & (time_s < (number + 1) * _PIECE_S)
            table = log.table[inside].reset_index(drop=True).copy()
            table["time_s"] -= table["time_s"].iloc[0]
            piece = replace(log, table=table, name=f"{name} {number}")
            flow = fuel_flow(piece, _CAR)
            more = replace(flow, flow_m3_s=(1 + added) * flow.flow_m3_s)
            run = windows_of(piece, flow, Run(Path(piece.name), "stowed"))
            if run.weight_s.size >= 3 and run.mean_fuel_m3_s > 0:
                out.append({"stowed": run, "working": windows_of(piece, more, Run(Path(piece.name), "working"))})
    return out[: len(out) // 2 * 2]


def _splits(runs: list[dict[str, RunWindows]], tell_share: Callable[[float], None]) -> np.ndarray:
    """Return (estimate, low, high) of the effect [share] for random orders of the states in pairs (splits, 3)."""
    draw = np.random.default_rng(0)
    percents = np.empty((_SPLITS, 3))
    # Paired once: a run keeps what a comparison has asked it for.
    paired = [
        {state: replace(one, pair=str(place // 2)) for state, one in run.items()} for place, run in enumerate(runs)
    ]
    for k in range(_SPLITS):
        first = draw.random(len(runs) // 2) < 0.5
        states = np.column_stack([first, ~first]).ravel()
        chosen = [run["working" if state else "stowed"] for run, state in zip(paired, states.tolist(), strict=True)]
        effect = effect_alone(chosen)
        low, high = (math.nan if end is None else end for end in (effect.low, effect.high))
        percents[k] = effect.estimate, low, high
        tell_share((k + 1) / _SPLITS)
    return percents


def _road_test(folder: Path, progress: Progress | None) -> Check:
    """Return the effects [share] that a road test finds on real drives without any turbine, in random order."""
    parts = (part(progress, 0.0, 0.5), part(progress, 0.5, 1.0))
    nothing, three = (
        _splits(_pieces(folder, added), partial(tell, part_progress))
        for added, part_progress in zip((0.0, 0.03), parts, strict=True)
    )
    alarms = (nothing[:, 1] > 0) | (nothing[:, 2] < 0)
    figures = {
        "splits": float(_SPLITS),
        "false_alarms": float(np.mean(alarms)),
        "mean_effect_where_there_is_none": float(np.mean(nothing[:, 0])),
        "mean_effect_where_it_is_3_percent": float(np.mean(three[:, 0])),
        "coverage_of_3_percent": float(np.mean((three[:, 1] <= 0.03) & (three[:, 2] >= 0.03))),
    }
    order = np.argsort(nothing[:, 0])
    group = np.where(alarms, "false alarm", "holds zero")[order]
    y, low, high = nothing[order].T
    return Check("road_test", np.arange(1.0, _SPLITS + 1), y, group, figures, low, high)


def _warm_up() -> Check:
    """Return the temperature [K] over time [s] of a load with a straight-line loss, computed and in closed form."""
    capacity, loss, power, air, start = 5000.0, 4.0, 300.0, 290.0, 310.0
    time = 250.0 * np.arange(21)
    outcome = simulate(
        HeatedLoad(capacity, loss), HeatingSteps(power, np.full(20, 250.0), air), target_k=400.0, start_k=start
    )
    computed = outcome.history.main_k[:, 0]
    left = np.exp(-time * loss / capacity)
    closed = air + (start - air) * left + power / loss * (1 - left)
    figures = {
        "greatest_error_k": float(np.abs(computed - closed).max()),
        "time_constants": float(time[-1] * loss / capacity),
    }
    group = np.repeat(["computed", "closed form"], len(time))
    return Check("warm_up", np.tile(time, 2), np.concatenate([computed, closed]), group, figures)


def _air() -> Check:
    """Return the error of air density [share] over altitude [m]."""
    altitude, table = (np.array(column) for column in zip(*_STANDARD_AIR, strict=True))
    error = density_kg_m3(*standard_atmosphere(altitude)) / table - 1
    figures = {"greatest_error": float(np.abs(error).max())}
    return Check("air", altitude, error, np.full(len(altitude), "density"), figures)
