"""The two cases in which a turbine is looked at: at the operating point, and the worst.

The worst case is a gust with a truck passing while the load is cut: the greatest thrust of the rotor speed held, of the
rotor settled in the gust and of the rotor running free; and the speed it runs away to, unless a brake stops it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from energy.aero.operating_point import Rotor, coefficients, free_run_is_told, free_run_speed_rad_s, solve
from energy.chain.ledger import TurbineAtWork, turbine_at_work
from energy.scenario.inputs import Inputs, KeyReader, inputs_of, reader
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.strength.equations import BladeMass, gust_air_speed_m_s, wind_force_n

Case = Literal["operating point", "worst case", ""]
NOT_TURNING = "At the operating point the rotor does not turn: only the worst case and standing loads mean something."
NO_LOAD_CUT = (
    "rotor speed with the load cut, and thrust there: rotor.curves with [generator] (a measured table does not tell)"
)
LIMIT_STANDS_IN = "Worst rotor speed: the limit in the scenario, as the free-running speed is not known."
CURVES_END = "The curves end before the power falls to zero: the rotor runs away to more than the speed shown here."


@dataclass(frozen=True)
class Rig:
    """A scenario's turbine as the parts read it: the wheel's radius (m), the air's density (kg/m³), one blade's
    mass."""

    scenario: Scenario
    read: KeyReader
    inputs: Inputs
    turbine: TurbineAtWork
    density_kg_m3: float
    radius_m: float
    blade: BladeMass | None

    @property
    def area_m2(self) -> float:
        """Swept area, m²."""
        return math.pi * self.radius_m**2

    def maybe(self, key: QuantityKey) -> float | None:
        """Return a key's value in SI, None where the scenario does not tell it."""
        found = self.read.maybe(key)
        return None if found is None else float(found)

    def number_of_blades(self) -> float:
        """Return the number of blades, of [blade_loads] or of [blade]."""
        given = self.read.maybe("blade_loads.number_of_blades")
        return float(self.read("blade.number_of_blades") if given is None else given)


@dataclass(frozen=True)
class Conditions:
    """One case: air speed at the rotor and in the free air (m/s), rotor speed (rad/s; NaN unknown), thrust (N)."""

    air_speed_m_s: float
    free_air_speed_m_s: float
    rotor_speed_rad_s: float
    thrust_n: float
    thrust_from: str


@dataclass(frozen=True)
class BothCases:
    """Both cases, the speed of the rotor running free in the worst air (NaN unknown), and what must be said of them."""

    operating: Conditions
    worst: Conditions
    free_run_rad_s: float = math.nan
    free_run_known: bool = False
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def named(self) -> tuple[tuple[Case, Conditions], ...]:
        """Return the cases by name."""
        return (("operating point", self.operating), ("worst case", self.worst))


def rig_of(scenario: Scenario) -> Rig:
    """Return a scenario's turbine as the parts read it. Raises InputError where nothing turns the rotor."""
    read, inputs = reader(scenario), inputs_of(scenario)
    radius = float(inputs.turbine.diameter_m) / 2
    density = float(inputs.density_kg_m3)
    return Rig(scenario, read, inputs, turbine_at_work(inputs), density, radius, _blade_mass(scenario, read))


def _blade_mass(scenario: Scenario, read: KeyReader) -> BladeMass | None:
    """Return one blade's pieces, or its mass at its centre; None where the scenario tells neither."""
    table = scenario.blade_loads
    if table is not None and table.piece_masses is not None:
        return BladeMass(read.all_of("blade_loads.piece_masses"), read.all_of("blade_loads.piece_radii"))
    if table is not None and table.mass is not None:
        mass, centre = float(read("blade_loads.mass")), float(read("blade_loads.centre_of_mass"))
        return BladeMass(np.array([mass]), np.array([centre]))
    return None


def both_cases(rig: Rig) -> BothCases:
    """Return the operating point and the worst case."""
    operating = _operating_point(rig)
    free_air, air = _worst_air_speeds_m_s(rig)
    turbine = rig.inputs.turbine
    if turbine.curves is None or turbine.chain is None:
        cases = _worst_of_a_measured_table(rig, operating, free_air, air)
    else:
        cases = _worst_of_curves(rig, operating, free_air, air)
    return cases if bool(rig.turbine.turning) else replace(cases, notes=(NOT_TURNING, *cases.notes))


def _operating_point(rig: Rig) -> Conditions:
    return Conditions(
        air_speed_m_s=float(rig.inputs.rotor_air_speed_m_s),
        free_air_speed_m_s=float(rig.inputs.air.speed_m_s),
        rotor_speed_rad_s=float(rig.turbine.rotor_speed_rad_s),
        thrust_n=float(rig.turbine.thrust_n),
        thrust_from="settled",
    )


def _worst_air_speeds_m_s(rig: Rig) -> tuple[float, float]:
    """Return the worst air speed (m/s) in the free air and at the rotor."""
    read, scenario = rig.read, rig.scenario
    trip_speed = max(float(np.asarray(rig.inputs.road_speed_m_s)), scenario.fastest_road_speed_m_s)
    highest = read.maybe("gust.road_speed")
    road = trip_speed if highest is None else max(trip_speed, float(highest))
    head_wind = float(np.maximum(0.0, np.asarray(read("air.wind_speed")) * np.cos(read("air.wind_from"))))
    read("rotor.local_speed_factor")
    shelter = scenario.rotor.local_speed_factor.high  # not to be trusted in a gust: the upper end
    gust, passing = float(read("gust.speed")), float(read("gust.passing_factor"))
    free_air = float(gust_air_speed_m_s(road, head_wind, gust, passing, 1.0))
    return free_air, float(gust_air_speed_m_s(road, head_wind, gust, passing, shelter))


def _worst_of_a_measured_table(rig: Rig, operating: Conditions, free_air: float, air: float) -> BothCases:
    """Return the cases where nothing tells the free run: the thrust grows with the square of the air speed."""
    stop = rig.read.maybe("gust.overspeed_stop")
    fastest = rig.inputs.turbine.highest_rotor_speed_rad_s if stop is None else stop
    thrust = operating.thrust_n * (air / max(operating.air_speed_m_s, 1e-9)) ** 2
    speed = math.nan if fastest is None else float(np.asarray(fastest))
    worst = Conditions(air, free_air, speed, thrust, "scaled with the square of air speed")
    notes = () if fastest is None else (LIMIT_STANDS_IN,)
    return BothCases(operating, worst, left_out=(NO_LOAD_CUT,), notes=notes)


def _worst_of_curves(rig: Rig, operating: Conditions, free_air: float, air: float) -> BothCases:
    """Return the cases of a rotor with curves: the greatest thrust of three rotor speeds in the gust."""
    turbine = rig.inputs.turbine
    curves, chain = turbine.curves, turbine.chain
    assert curves is not None
    assert chain is not None
    pitch = float(turbine.pitch_deg)
    power_factor, thrust_factor = (float(np.asarray(v)) for v in (turbine.power_factor, turbine.thrust_factor))
    rotor = Rotor(curves, rig.radius_m, pitch, rig.density_kg_m3, air, power_factor, thrust_factor)
    free_run, known = float(free_run_speed_rad_s(rotor, chain)), free_run_is_told(curves, pitch)
    stop = rig.maybe("gust.overspeed_stop")
    fastest = free_run if stop is None else min(free_run, stop)
    settled = solve(rotor, chain, load_connected_after_spin_up=True)
    speeds = {
        "rotor speed held": operating.rotor_speed_rad_s,
        "settled in the gust": float(settled.rotor_speed_rad_s),
        "load cut" if stop is None or stop >= free_run else "at the overspeed stop": fastest,
    }
    ratios = np.array(list(speeds.values())) * rig.radius_m / max(air, 1e-9)
    _, ct, beyond = coefficients(curves, pitch, ratios)
    thrusts = wind_force_n(rig.density_kg_m3, rig.area_m2, air, ct * thrust_factor)
    place = int(np.argmax(thrusts))
    # Whatever the curves say at the gust, the thrust does not fall below that of the operating point.
    thrust = max(float(thrusts[place]), operating.thrust_n)
    worst = Conditions(air, free_air, fastest, thrust, list(speeds)[place])
    notes: tuple[str, ...] = () if known else (CURVES_END,)
    if bool(beyond.any()):
        notes += (
            f"The worst case reaches tip-speed ratio {ratios.max():.1f}, past the curves' last of "
            f"{curves.tip_speed_ratio[-1]:g}: the thrust coefficient of their end is held there.",
        )
    return BothCases(operating, worst, free_run, known, notes=notes)
