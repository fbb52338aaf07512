"""Certified vehicles: the highway fuel that the defaults predict from road load, engine size and top gear.

The vehicles, their road load and measured CO2 are the US EPA's test car lists (tests/data/certified_fuel/SOURCE.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.progress import Progress, tell
from energy.scenario.defaults import FUEL_DEFAULTS
from energy.scenario.keys.vehicle import EngineTable
from vehicle.constants import MILE_M, MILE_PER_HOUR_M_S, POUND_FORCE_N, POUND_KG
from vehicle.driving.engine import Engine, TorqueCurve, drive
from vehicle.driving.fuels import FUELS
from vehicle.driving.road_load import from_coastdown, road_forces
from vehicle.driving.trip import Steps, merged, read_schedule, steps_of, with_idling
from vehicle.driving.typical import spaced_gears

if TYPE_CHECKING:
    import pandas as pd

TOWN_FUEL_READS_LOW = {"petrol": 0.17, "diesel": 0.14}
"""By how much of the city test's fuel the urban schedule, driven warm, reads low: medians of the certified vehicles
(tests/outside/test_certified_vehicles.py). The test holds a cold start, and shifts and slip that are not known."""
TORQUE_N_M_PER_L = {"diesel": 150.0, "petrol": 100.0}
"""Peak torque over displacement (common practice, no source); highway fuel hardly depends on it."""

FAMILY = ["displacement_l", "transmission", "gears", "rated_power_hp", "engine_rpm_per_mph_top_gear"]
"""What vehicles of one family share, whatever their road load and weight."""
DISTINCT = [
    *FAMILY,
    "fuel",
    "equivalent_test_weight_lb",
    "coastdown_a_lbf",
    "coastdown_b_lbf_per_mph",
    "coastdown_c_lbf_per_mph2",
    "highway_co2_g_per_mile",
]
"""What sets one car apart from another; the same car is listed in several years."""
_DRIVEN = ["fuel", "displacement_l", "gears", "engine_rpm_per_mph_top_gear", "equivalent_test_weight_lb"]
_DRIVEN += [
    "coastdown_a_lbf",
    "coastdown_b_lbf_per_mph",
    "coastdown_c_lbf_per_mph2",
]  # all that a prediction is made of
_SCHEDULES = {"highway": "highway.csv", "city": "udds.csv"}
_LEAST_SPREAD_J_M = 2.0  # families without any change in what explains say nothing

_LONGEST_IDLE_S = 300.0  # the schedule's stops are shorter
_TEST_AIR_KG_M3 = 1.2  # certified road load and schedule are of one air: only their being equal counts


@dataclass(frozen=True)
class CertifiedFuel:
    """Certified vehicles (rows of `table`), measured and predicted; arrays (vehicles,), fuel energy per metre in J/m.

    `wheel_work_j_m` is the work at the wheels, per metre of the schedule, over the seconds that burn fuel.
    """

    table: pd.DataFrame
    measured_j_m: np.ndarray
    predicted_j_m: np.ndarray
    wheel_work_j_m: np.ndarray

    @property
    def error(self) -> np.ndarray:
        """Predicted over measured fuel, less one."""
        return self.predicted_j_m / self.measured_j_m - 1

    def of(self, fuel: str) -> np.ndarray:
        """Return which vehicles burn a fuel."""
        return np.asarray(self.table.fuel == fuel)


def predicted(folder: Path, progress: Progress | None = None, *, test: str = "highway") -> CertifiedFuel:
    """Return the certified vehicles of a folder of published data, predicted with the defaults alone.

    `test` is "highway", or "city": the urban schedule, which is driven warm here. Displacement, test weight, A, B, C
    and top gear are the vehicle's; its other gears are spaced by rule.
    """
    import pandas as pd

    table = pd.read_csv(folder / "certified_fuel" / "vehicles.csv")
    schedule = read_schedule(folder / "drive_cycles" / _SCHEDULES[test])
    steps = merged(steps_of(schedule))
    number = table.groupby(_DRIVEN, sort=False).ngroup().to_numpy()  # the same car in several years is driven once
    rows = list(table[_DRIVEN].drop_duplicates().itertuples(index=False))
    distinct = np.empty((2, len(rows)))
    for k, row in enumerate(rows):
        distinct[:, k] = _fuel_and_work(row, steps)
        if k % 100 == 0:
            tell(progress, k / len(rows))
    fuel, work = distinct[:, number]
    return CertifiedFuel(table, _measured_j_m(table, test), fuel, work)


def default_engine(fuel: str, displacement_m3: float, travel_per_radian_m: np.ndarray) -> Engine:
    """Return an engine of a size with windtoll's defaults for all else, behind a drivetrain without spin loss."""
    table = EngineTable(fuel=fuel, displacement=f"{displacement_m3} m^3")  # type: ignore[arg-type]
    efficiency, friction = (
        FUEL_DEFAULTS[f"engine.{name}"][fuel][0].value for name in ("indicated_efficiency", "friction_mean_pressure")
    )
    peak = TORQUE_N_M_PER_L[fuel] * displacement_m3 * 1e3
    return Engine(
        fuel=FUELS[fuel],
        displacement_m3=displacement_m3,
        indicated_efficiency=efficiency,
        friction_mean_pressure_pa=friction,
        idle_speed_rad_s=table.idle_speed.value,
        torque_curve=TorqueCurve(np.array([0.0]), np.array([peak])),
        travel_per_radian_m=travel_per_radian_m,
        drivetrain_efficiency=table.drivetrain_efficiency.value,
        lowest_driving_speed_rad_s=table.lowest_driving_speed.value,
        highest_speed_rad_s=table.highest_speed.value,
        overrun_cut_off=table.overrun_cut_off,
        accessory_power_w=table.accessory_power.value,
    )


def _measured_j_m(table: pd.DataFrame, test: str) -> np.ndarray:
    per_kg = {name: fuel.heating_value_j_per_m3 / fuel.co2_kg_per_m3 for name, fuel in FUELS.items()}
    return np.asarray(table[f"{test}_co2_g_per_mile"] * 1e-3 / MILE_M * table.fuel.map(per_kg), float)


def _fuel_and_work(row: Any, steps: Steps) -> tuple[float, float]:
    """Return (fuel energy, wheel work while fuel burns) per metre of the schedule, J/m."""
    load = from_coastdown(
        row.equivalent_test_weight_lb * POUND_KG,
        row.coastdown_a_lbf * POUND_FORCE_N,
        row.coastdown_b_lbf_per_mph * POUND_FORCE_N / MILE_PER_HOUR_M_S,
        row.coastdown_c_lbf_per_mph2 * POUND_FORCE_N / MILE_PER_HOUR_M_S**2,
        _TEST_AIR_KG_M3,
    )
    speed = steps.speed_m_s
    forces = road_forces(load, speed, _TEST_AIR_KG_M3, speed, acceleration_m_s2=steps.acceleration_m_s2)
    travel_in_top_m = MILE_PER_HOUR_M_S / (row.engine_rpm_per_mph_top_gear * np.pi / 30)
    warm = default_engine(row.fuel, row.displacement_l * 1e-3, spaced_gears(travel_in_top_m, int(row.gears)))
    engine = with_idling(warm, steps.standing_s, _LONGEST_IDLE_S)
    supply = drive(engine, forces.total_n * speed, speed)
    burning = (supply.source_w > 0) & (speed > 0)
    over = steps.duration_s / steps.distance_m
    return float(supply.source_w @ over), float(np.where(burning, supply.wheel_w, 0.0) @ over)


def within_families(certified: CertifiedFuel, fuel: str, explaining_j_m: np.ndarray) -> float:
    """Return how measured fuel changes per J/m of `explaining_j_m` between vehicles of one family [J/J].

    A family here shares engine size, power, gearbox and top gear, in whatever year; repeated cars count once. Slope of
    least squares with an effect for each family, outliers weighed down.

    Parameters
    ----------
    certified : CertifiedFuel
        The certified vehicles.
    fuel : str
        Which of them: "petrol" or "diesel".
    explaining_j_m : array, shape (vehicles,)
        What the change is set against: predicted fuel, or work at the wheels [J/m].

    Returns
    -------
    float
        The slope; over wheel work its inverse is the marginal efficiency from fuel to wheels.

    References
    ----------
    .. [1] Huber, Robust Statistics (1981): weights min(1, 1.345 s/|residual|) (from memory).
    """
    table = certified.table[DISTINCT].assign(measured=certified.measured_j_m, explaining=explaining_j_m)
    suspect = (table.coastdown_a_lbf > 100) | ((table.engine_rpm_per_mph_top_gear >= 40) & (table.gears >= 7))
    table = table[(table.fuel == fuel) & ~suspect].drop_duplicates(DISTINCT)
    number = table.groupby(FAMILY).ngroup().to_numpy()
    y, x = table.measured.to_numpy(), table.explaining.to_numpy()
    spread = table.groupby(FAMILY).explaining.transform(np.ptp).to_numpy()
    resolved = spread > _LEAST_SPREAD_J_M
    return _slope(number[resolved], x[resolved], y[resolved])


def _slope(group: np.ndarray, x: np.ndarray, y: np.ndarray) -> float:
    """Return the slope of y over x with group effects, by iteratively reweighted least squares."""
    weight = np.ones(len(x))
    slope = float("nan")
    for _ in range(60):
        total = np.maximum(np.bincount(group, weight), 1e-12)
        x_in, y_in = (v - (np.bincount(group, weight * v) / total)[group] for v in (x, y))
        slope = float((weight * x_in) @ y_in / ((weight * x_in) @ x_in))
        residual = np.abs(y_in - slope * x_in)
        scale = 1.4826 * float(np.median(residual[residual > 1e-9]))
        weight = np.minimum(1.0, 1.345 * scale / np.maximum(residual, 1e-12))
    return slope
