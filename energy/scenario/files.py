"""The CSV files that a scenario names, but for curves and blades: measured watts, torque curves, fuel maps."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vehicle.arrays import Values
from vehicle.driving.engine import FuelMap, TorqueCurve
from vehicle.driving.fuels import FUELS
from vehicle.problems import InputError, Problem
from vehicle.tables import increasing, read_table


@dataclass(frozen=True)
class MeasuredPower:
    """Measured electrical watts over air speed (m/s, rising); thrust (N) and rotor speed (rad/s) where measured."""

    air_speed_m_s: np.ndarray
    electrical_power_w: np.ndarray
    thrust_n: np.ndarray | None
    rotor_speed_rad_s: np.ndarray | None

    def times_its_end(self, air_speed_m_s: Values) -> np.ndarray:
        """Return air speeds over that of the nearest row where they lie outside the table, else 1.

        Watts go on with its cube, thrust with its square, rotor speed in proportion: a rotor at one tip-speed ratio.
        """
        air = np.asarray(air_speed_m_s, float)
        first, last = self.air_speed_m_s[[0, -1]]
        low = air / first if first > 0 else np.ones(np.shape(air))
        return np.where(air < first, low, np.where(air > last, air / last, 1.0))


def read_measured_power(path: Path) -> MeasuredPower:
    """Return measured watts over air speed; columns air_speed_*, electrical_power_*, optional thrust_*,
    rotor_speed_*.
    """
    more = {"thrust": "N", "rotor_speed": "rad/s"}
    data = read_table(path, {"air_speed": "m/s", "electrical_power": "W"}, optional=more, by_unit_alone=tuple(more))
    increasing(path, "air_speed", data["air_speed"])
    for name, values in data.items():
        if (values < 0).any():
            raise InputError(Problem(path.name, f"column {name}", f"{values.min():g}", "no negative value"))
    return MeasuredPower(data["air_speed"], data["electrical_power"], data.get("thrust"), data.get("rotor_speed"))


def read_torque_curve(path: Path) -> TorqueCurve:
    """Return the greatest torque over engine speed; columns engine_speed_rpm, torque_nm (other units in the header)."""
    data = read_table(path, {"engine_speed": "rad/s", "torque": "N*m"})
    increasing(path, "engine_speed", data["engine_speed"])
    if (data["torque"] <= 0).any() or data["engine_speed"][0] < 0:
        raise InputError(Problem(path.name, "column torque", f"{data['torque'].min():g} N*m", "positive torques"))
    return TorqueCurve(data["engine_speed"], data["torque"])


def map_reader(engine: Mapping[str, Any]) -> Callable[[Path], FuelMap]:
    """Return the reader of a brake-specific map for the fuel that an [engine] table names."""

    def reader(path: Path) -> FuelMap:
        fuel = FUELS.get(str(engine.get("fuel")))
        return read_fuel_map(path, fuel.heating_value_j_per_kg if fuel else 42e6)

    return reader


def read_fuel_map(path: Path, heating_value_j_per_kg: float) -> FuelMap:
    """Return a brake-specific map as fuel power; columns engine_speed_rpm, torque_nm, fuel_g_kwh, every pair once.

    Raises InputError for holes in the grid, and where more torque would need less fuel at the same speed.
    """
    data = read_table(path, {"engine_speed": "rad/s", "torque": "N*m", "fuel": "kg/J"}, least_rows=4)
    speeds, torques = np.unique(data["engine_speed"]), np.unique(data["torque"])
    if len(speeds) < 2 or len(torques) < 2:
        raise InputError(Problem(path.name, "", "one speed or one torque only", "at least two of each"))
    if speeds[0] <= 0 or torques[0] <= 0 or (data["fuel"] <= 0).any():
        raise InputError(Problem(path.name, "", "a speed, torque or consumption of 0 or less", "positive values only"))
    power = np.full((len(speeds), len(torques)), np.nan)
    row, column = np.searchsorted(speeds, data["engine_speed"]), np.searchsorted(torques, data["torque"])
    if len(data["fuel"]) != power.size or len(set(zip(row.tolist(), column.tolist(), strict=True))) != power.size:
        raise InputError(
            Problem(
                path.name,
                "",
                f"{len(data['fuel'])} rows for {len(speeds)} speeds and {len(torques)} torques",
                "every torque at every speed, each once",
            )
        )
    power[row, column] = data["fuel"] * heating_value_j_per_kg * data["engine_speed"] * data["torque"]
    shaft = speeds[:, None] * torques
    if (power < shaft / 0.65).any():
        i, j = np.unravel_index(np.argmin(power / shaft), power.shape)
        raise InputError(
            Problem(
                path.name,
                f"{speeds[i] * 30 / np.pi:.0f} rpm, {torques[j]:.0f} N*m",
                f"an efficiency of {shaft[i, j] / power[i, j]:.2f}",
                "up to 0.65",
            )
        )
    if (np.diff(power, axis=1) <= 0).any():
        i, j = np.argwhere(np.diff(power, axis=1) <= 0)[0]
        raise InputError(
            Problem(
                path.name,
                f"{speeds[i] * 30 / np.pi:.0f} rpm",
                f"more torque than {torques[j]:.0f} N*m with less fuel",
                "fuel that rises with torque",
            )
        )
    return FuelMap(speeds, torques, power)
