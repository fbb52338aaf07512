"""Rotors next to each other before one is built: blades, diameters and tip-speed ratios for one heat in one air.

Each is a textbook blade with the section of a bent plate, solved by blade elements; it is turned towards feather
until it brings just the
heat that is wanted. One efficiency from shaft to heat serves all: generator and drive are matched afterwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from energy.aero.air import density_kg_m3, standard_atmosphere
from energy.aero.blade import CurveSettings, blade_curves, polar_of_plate_blade
from energy.aero.textbook_blade import CAMBER, Build, TextbookBlade, build_of, textbook_blade
from energy.chain.sizing import (
    DRIVELINE_EFFICIENCY,
    NOISY_TIP_SPEED_M_S,
    Wanted,
    needed_diameter_m,
    usual_grades,
    wanted_of,
)
from energy.progress import Progress, tell
from energy.scenario.defaults import FUEL_DEFAULTS
from energy.scenario.keys import spec_of
from energy.scenario.read import Scenario
from vehicle.driving.fuels import FUELS
from vehicle.problems import InputError, Problem
from vehicle.units import parse

BLADES = (2, 3, 5)
TIP_SPEED_RATIOS = (2.0, 2.5, 3.0, 4.0, 5.0)
_DIAMETERS = (1.0, 1.2, 1.45)  # of what a hand-made rotor needs
_ABOUT = (0.85, 1.0, 1.2)  # of a scenario's own diameter
_PITCH_DEG = np.arange(-4.0, 24.1, 2.0)
_AT_REST = 0.02  # tip-speed ratio that stands for a rotor that begins to turn
_PEAK = 2.0  # thrust in a gust over the steady one, on which the material is chosen: (1.4)², common practice, no source
_AS_GOOD = 1.1  # fuel of a smaller rotor over the least that still makes it the choice


@dataclass(frozen=True)
class Alternative:
    """One rotor at work (SI): what it brings and asks for.

    `starting_air_m_s` is the air speed at the rotor that overcomes the generator's usual friction and cogging, NaN
    where none does. `against` says why it is no choice (empty: it is one).
    """

    diameter_m: float
    blade: TextbookBlade
    build: Build
    heat_w: float
    thrust_n: float
    drag_power_w: float
    fuel_flow_m3_s: float
    rotor_speed_rad_s: float
    tip_speed_m_s: float
    starting_air_m_s: float
    against: tuple[str, ...]

    @property
    def root_pull_n(self) -> float:
        """Centrifugal pull of one blade at this rotor speed."""
        return self.build.root_pull_n

    @property
    def number_of_blades(self) -> int:
        """Blades of the rotor."""
        return self.blade.number_of_blades

    @property
    def tip_speed_ratio(self) -> float:
        """Tip-speed ratio at work."""
        return self.blade.tip_speed_ratio


@dataclass(frozen=True)
class RotorChoice:
    """All alternatives, the one to choose (None: none of them will do), and what they are chosen for."""

    wanted: Wanted
    highest_rotor_speed_rad_s: float | None
    alternatives: tuple[Alternative, ...]
    chosen: Alternative | None

    @property
    def best_of_each(self) -> tuple[Alternative, ...]:
        """The best tip-speed ratio of each diameter and number of blades: fewest objections, then least fuel."""
        best: dict[tuple[float, int], Alternative] = {}
        for each in self.alternatives:
            key = each.diameter_m, each.number_of_blades
            if key not in best or _rank(each) < _rank(best[key]):
                best[key] = each
        return tuple(best.values())


def compare_rotors(
    wanted: Wanted,
    diameter_m: Sequence[float] = (),
    *,
    blades: Sequence[int] = BLADES,
    highest_rotor_speed_rad_s: float | None = None,
    progress: Progress | None = None,
) -> RotorChoice:
    """Return rotors for a heat next to each other, and which to choose.

    Parameters
    ----------
    wanted : Wanted
        Heat, road speed and air, shaft to heat, fuel; its tip-speed ratio, where stated, is the only one compared.
    diameter_m : sequence of float, optional
        Diameters [m]; by default what a hand-made rotor needs, and two larger ones.
    blades : sequence of int, optional
        Numbers of blades.
    highest_rotor_speed_rad_s : float, optional
        Rotor speed that none may pass [rad/s].
    progress : Progress, optional
        Told the share done.

    Raises
    ------
    InputError
        Where no air blows at the rotor.
    """
    if not wanted.air_speed_m_s > 0.5:
        read = f"{wanted.air_speed_m_s:.3g} m/s of air at the rotor"
        raise InputError(Problem("rotors compared", "air speed", read, "0.5 m/s or more"))
    density = float(density_kg_m3(*standard_atmosphere(0.0)))
    if not diameter_m:
        needed = needed_diameter_m(wanted.heat_w, wanted.air_speed_m_s, density, usual_grades(wanted.efficiency)[1])
        diameter_m = [round(needed * factor, 2) for factor in _DIAMETERS]
    ratios = TIP_SPEED_RATIOS if wanted.tip_speed_ratio is None else (wanted.tip_speed_ratio,)
    cases = [(d, b, r) for d in diameter_m for b in blades for r in ratios]
    alternatives = []
    for k, (diameter, count, ratio) in enumerate(cases):
        alternatives.append(_alternative(wanted, density, (diameter, count, ratio), highest_rotor_speed_rad_s))
        tell(progress, (k + 1) / len(cases))
    return RotorChoice(wanted, highest_rotor_speed_rad_s, tuple(alternatives), _chosen(alternatives))


def rotors_like(scenario: Scenario) -> RotorChoice:
    """Return rotors about a scenario's own diameter, for the heat that it makes within its highest rotor speed."""
    own, limit = scenario.rotor.diameter.value, scenario.rotor.highest_rotor_speed
    wanted = wanted_of(scenario)
    diameters = [round(own * factor, 2) for factor in _ABOUT]
    return compare_rotors(wanted, diameters, highest_rotor_speed_rad_s=None if limit is None else limit.value)


def _rank(each: Alternative) -> tuple[int, float]:
    return len(each.against), each.fuel_flow_m3_s if not each.against else -each.heat_w


def _chosen(alternatives: Sequence[Alternative]) -> Alternative | None:
    """Return the smallest whose drag is hardly above the least; of that diameter the one of least drag."""
    good = [each for each in alternatives if not each.against]
    if not good:
        return None
    least = min(each.drag_power_w for each in good)
    near = [each for each in good if each.drag_power_w <= _AS_GOOD * least + 1e-9]
    smallest = min(each.diameter_m for each in near)
    return min((e for e in near if e.diameter_m == smallest), key=lambda e: (e.drag_power_w, e.thrust_n))


def _alternative(
    wanted: Wanted, density: float, case: tuple[float, int, float], highest_rad_s: float | None
) -> Alternative:
    diameter, count, ratio = case
    blade = textbook_blade(diameter / 2, count, ratio)
    flow = 0.5 * density * math.pi * diameter**2 / 4 * wanted.air_speed_m_s**2
    power, thrust, start = _coefficients(blade, wanted.air_speed_m_s)
    most = float(power.max())
    needed = wanted.heat_w / (wanted.efficiency * flow * wanted.air_speed_m_s)
    coefficient = min(needed, most)
    # From the pitch of most power towards feather: there power falls, and with it thrust.
    top = int(np.argmax(power))
    falling = np.minimum.accumulate(power[top:])
    push = float(np.interp(-coefficient, -falling, thrust[top:])) * flow
    speed = ratio * wanted.air_speed_m_s / (diameter / 2)
    heat = coefficient * flow * wanted.air_speed_m_s * wanted.efficiency
    build = build_of(blade, _PEAK * float(thrust.max()) * flow, speed)
    tip = ratio * wanted.air_speed_m_s
    against = [build.against] if build.against else []
    if needed > most * (1 + 1e-9):
        against.insert(0, "not enough heat")
    if tip > NOISY_TIP_SPEED_M_S * 1.001:
        against.append("tips too fast")
    if highest_rad_s is not None and speed > highest_rad_s:
        against.append("rotor too fast")
    marginal = FUEL_DEFAULTS["engine.indicated_efficiency"][wanted.fuel][0].value
    drag_power = push * wanted.road_speed_m_s
    fuel = drag_power / DRIVELINE_EFFICIENCY / (marginal * FUELS[wanted.fuel].heating_value_j_per_m3)
    return Alternative(
        diameter,
        blade,
        build,
        heat,
        push,
        drag_power,
        fuel,
        speed,
        tip,
        _starting_air_m_s(wanted, blade, start),
        tuple(against),
    )


def _starting_air_m_s(wanted: Wanted, blade: TextbookBlade, torque_coefficient: float) -> float:
    """Return the air speed at which the torque at rest overcomes the generator's usual friction and cogging."""
    hold = sum(
        parse(str(spec_of(f"generator.{name}").default), "N*m") for name in ("friction_torque", "cogging_torque")
    )
    hold *= wanted.gear_ratios[0] if len(wanted.gear_ratios) == 1 else 1.0
    if torque_coefficient <= 0:
        return math.nan
    density = float(density_kg_m3(*standard_atmosphere(0.0)))
    radius = float(blade.radius_m[-1])
    return math.sqrt(hold / (0.5 * density * math.pi * radius**3 * torque_coefficient))


def _coefficients(blade: TextbookBlade, air_speed_m_s: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Return power and thrust coefficient over pitch (P,) at the design ratio, and the best torque coefficient at
    rest.
    """
    ratio, solved = blade.tip_speed_ratio, blade.as_blade()
    polar = polar_of_plate_blade(solved, camber=CAMBER, air_speed_m_s=air_speed_m_s, tip_speed_ratio=ratio)
    settings = CurveSettings(air_speed_m_s=air_speed_m_s)
    curves = blade_curves(solved, [polar], np.array([_AT_REST, ratio]), _PITCH_DEG, settings)
    at_rest = curves.power_coefficient[np.argmax(curves.power_coefficient[:, 1]), 0] / _AT_REST
    return curves.power_coefficient[:, 1], curves.thrust_coefficient[:, 1], float(at_rest)
