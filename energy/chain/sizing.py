"""First size of a rotor: from wanted heat at an air speed to diameters, thrust, speeds and the fuel that the thrust
costs.

Momentum theory of the actuator disc (Rankine, Froude, Betz), never a promise: an ideal disc and a realistic rotor side
by side. The realistic one keeps an assumed share of the Betz limit and loses more on the way to the element.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.aero.air import density_kg_m3, standard_atmosphere
from energy.aero.momentum import BETZ_LIMIT, induction_of_power_coefficient, thrust_coefficient_of_induction
from energy.chain.ledger import turbine_at_work
from energy.scenario.defaults import FUEL_DEFAULTS
from energy.scenario.element import element_rating_w
from energy.scenario.inputs import inputs_of
from energy.scenario.keys import spec_of
from energy.scenario.read import Scenario
from vehicle.driving.fuels import FUELS
from vehicle.problems import InputError, Problem
from vehicle.units import figures, parse

# Power coefficients that small hand-made rotors reach: common practice, no source.
HAND_MADE_LOW, HAND_MADE_USUAL, HAND_MADE_HIGH = 0.25, 0.30, 0.35
# Engine shaft to road, what grows with torque: that of the scenario's own key, so that `size` and `answer` agree.
DRIVELINE_EFFICIENCY = parse(str(spec_of("engine.drivetrain_efficiency").default), "dimensionless")
CONVERSION_EFFICIENCY = 0.70  # rotor shaft to heat (belt, generator, rectifier, cables): common practice, no source
NOISY_TIP_SPEED_M_S = 80.0  # common practice, no source
USUAL_HEAT_W = 2000.0  # to begin with, where a scenario makes no heat
USUAL_RATIOS = (2.0, 3.0, 4.0)
FUEL_NAMES = tuple(FUEL_DEFAULTS["engine.indicated_efficiency"])


@dataclass(frozen=True)
class RotorGrade:
    """How good a rotor is assumed to be: its best power coefficient, and rotor shaft to heat."""

    name: str
    power_coefficient: float
    conversion_efficiency: float

    @property
    def betz_share(self) -> float:
        """Share of the Betz limit that the rotor reaches."""
        return self.power_coefficient / BETZ_LIMIT


def usual_grades(conversion_efficiency: float = CONVERSION_EFFICIENCY) -> tuple[RotorGrade, ...]:
    """Return the ideal disc and three hand-made rotors (usual, and the ends of the common range)."""
    return (
        RotorGrade("ideal (Betz, no losses)", BETZ_LIMIT, 1.0),
        RotorGrade("realistic", HAND_MADE_USUAL, conversion_efficiency),
        RotorGrade("realistic, poor end", HAND_MADE_LOW, conversion_efficiency),
        RotorGrade("realistic, good end", HAND_MADE_HIGH, conversion_efficiency),
    )


@dataclass(frozen=True)
class SizingTable:
    """Rows over diameter (D,), for each grade (C,): maps are (C, D), generator speeds (G, D).

    `heat_w` is what is delivered: the wanted heat, or all there is where the rotor is too small (`enough` False).
    Thrust, drag power (thrust times road speed) and fuel are those at that heat, the rotor being loaded just so far.
    """

    wanted_heat_w: float
    diameter_m: np.ndarray
    grades: tuple[RotorGrade, ...]
    needed_diameter_m: np.ndarray
    largest_heat_w: np.ndarray
    heat_w: np.ndarray
    enough: np.ndarray
    thrust_n: np.ndarray
    drag_power_w: np.ndarray
    fuel_flow_m3_s: np.ndarray
    rotor_speed_rad_s: np.ndarray
    tip_speed_m_s: float
    gear_ratios: tuple[float, ...]
    generator_speed_rad_s: np.ndarray
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Wanted:
    """What a rotor is sized for (SI): heat, road speed and head wind, air at the rotor over free air, shaft to heat."""

    heat_w: float
    road_speed_m_s: float
    head_wind_m_s: float = 0.0
    shelter: float = 1.0
    efficiency: float = CONVERSION_EFFICIENCY
    fuel: str = "petrol"
    tip_speed_ratio: float | None = None  # 5, or less to keep the tips at NOISY_TIP_SPEED_M_S
    gear_ratios: tuple[float, ...] = USUAL_RATIOS

    @property
    def air_speed_m_s(self) -> float:
        """Air speed at the rotor."""
        return (self.road_speed_m_s + self.head_wind_m_s) * self.shelter


@dataclass(frozen=True)
class SizingCase:
    """The air that a rotor is sized in and what its drag costs (SI); air speed along the rotor axis.

    `road_speed_m_s` is the air speed where it is None (still air). `marginal_fuel_m3_per_j` is the fuel volume that one
    more joule at the engine shaft costs.
    """

    air_speed_m_s: float
    density_kg_m3: float
    marginal_fuel_m3_per_j: float
    road_speed_m_s: float | None = None
    tip_speed_ratio: float = 5.0
    gear_ratios: tuple[float, ...] = (1.0, 2.0, 3.0, 4.0)
    driveline_efficiency: float = DRIVELINE_EFFICIENCY

    @property
    def driven_m_s(self) -> float:
        """Road speed at which the thrust is paid for."""
        return self.air_speed_m_s if self.road_speed_m_s is None else self.road_speed_m_s


def wanted_of(scenario: Scenario) -> Wanted:
    """Return what a scenario would have a rotor sized for: its rated heat (else the heat it makes), its speed, air and
    chain.

    Numbers that it does not tell, or that no rotor could be sized for, are left to the defaults of `Wanted`.
    """
    inputs = inputs_of(scenario)
    work = turbine_at_work(inputs, with_free_run=False)
    heat, shaft = float(work.heat_power_w), float(work.shaft_power_w)
    rated = element_rating_w(scenario)
    efficiency = heat / shaft if shaft > 0 else math.nan
    road = float(np.asarray(inputs.road_speed_m_s))
    return Wanted(
        heat_w=rated if rated is not None else heat if heat > 0 else USUAL_HEAT_W,
        road_speed_m_s=road,
        head_wind_m_s=float(np.asarray(inputs.free_air_speed_m_s)) - road,
        shelter=float(np.asarray(inputs.turbine.local_speed_factor)),
        efficiency=efficiency if 0.01 <= efficiency <= 1 else CONVERSION_EFFICIENCY,
        fuel=scenario.engine.fuel if scenario.engine is not None else "petrol",
        gear_ratios=(scenario.drive.ratio.value,) if scenario.generator is not None else USUAL_RATIOS,
    )


def sized(wanted: Wanted, diameter_m: np.ndarray | None = None) -> SizingTable:
    """Return `size_table` for what is wanted, in air of 15 °C at sea level, with the fuel's usual marginal use.

    Its notes tell these assumptions with their sources. Raises InputError.
    """
    ratio = wanted.tip_speed_ratio
    if ratio is None:
        ratio = min(5.0, NOISY_TIP_SPEED_M_S / max(wanted.air_speed_m_s, 1e-9))
    marginal, source = FUEL_DEFAULTS["engine.indicated_efficiency"][wanted.fuel]
    case = SizingCase(
        air_speed_m_s=wanted.air_speed_m_s,
        density_kg_m3=float(density_kg_m3(*standard_atmosphere(0.0))),
        marginal_fuel_m3_per_j=1 / (marginal.value * FUELS[wanted.fuel].heating_value_j_per_m3),
        road_speed_m_s=wanted.road_speed_m_s,
        tip_speed_ratio=ratio,
        gear_ratios=wanted.gear_ratios,
    )
    table = size_table(wanted.heat_w, case, usual_grades(wanted.efficiency), diameter_m)
    notes = (
        *table.notes,
        f"extra fuel at {100 * marginal.value:.0f} % of {wanted.fuel}'s heating value ({source})",
        "air at 15 °C (59 °F) and sea level (US Standard Atmosphere 1976)",
    )
    return replace(table, notes=notes)


def needed_diameter_m(heat_w: float, air_speed_m_s: float, density_kg_m3: float, grade: RotorGrade) -> float:
    """Return the least diameter that brings a heat: heat = conversion · Cp · 1/2 rho (pi/4) D^2 U^3.

    Parameters
    ----------
    heat_w : float
        Heat into the load [W].
    air_speed_m_s : float
        Air speed U along the rotor axis [m/s].
    density_kg_m3 : float
        Air density rho [kg/m^3].
    grade : RotorGrade
        Power coefficient Cp of the rotor, and shaft to heat [-].

    Returns
    -------
    float
        Diameter D [m].
    """
    flux = 0.5 * density_kg_m3 * air_speed_m_s**3 * grade.power_coefficient * grade.conversion_efficiency
    return math.sqrt(heat_w / flux * 4.0 / math.pi)


def round_diameters(low_m: float, high_m: float, count: int = 8) -> np.ndarray:
    """Return about `count` rising diameters on a round step (1, 2 or 5 times a power of ten) that reach
    over low..high.
    """
    rough = max(high_m - low_m, 1e-3 * high_m) / max(count - 1, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough * 0.999)
    first = max(math.floor(low_m / step + 1e-9), 1)
    return np.arange(first, math.ceil(high_m / step - 1e-9) + 1) * step


def size_table(
    wanted_heat_w: float,
    case: SizingCase,
    grades: Sequence[RotorGrade] | None = None,
    diameter_m: np.ndarray | None = None,
) -> SizingTable:
    """Return the table of diameters for a wanted heat.

    A rotor of grade k (share of the Betz limit) is taken to give k 4 a (1-a)^2 of power for 4 a (1-a) of thrust: what
    it loses in swirl, tips and drag it does not save in thrust [1]_.

    Parameters
    ----------
    wanted_heat_w : float
        Heat into the load [W].
    case : SizingCase
        Air speed, road speed, density, and what drag costs.
    grades : sequence of RotorGrade, optional
        How good the rotor is; the usual ones by default.
    diameter_m : (D,) array, optional
        Rotor diameters [m]; by default round ones around those needed. Raises InputError for what no rotor has.

    References
    ----------
    .. [1] Manwell, McGowan and Rogers, Wind Energy Explained, 2nd ed., chapter 3 (from memory).
    """
    air_speed, density = case.air_speed_m_s, case.density_kg_m3
    grades = tuple(grades or usual_grades())
    case = replace(case, gear_ratios=tuple(float(ratio) for ratio in case.gear_ratios))
    _check(wanted_heat_w, case, grades)
    needed = np.array([needed_diameter_m(wanted_heat_w, air_speed, density, grade) for grade in grades])
    diameter = _diameters_m(needed, diameter_m)
    pressure_area = 0.5 * density * air_speed**2 * math.pi / 4.0 * diameter**2
    best = np.array([grade.power_coefficient for grade in grades])[:, None]
    conversion = np.array([grade.conversion_efficiency for grade in grades])[:, None]
    largest = conversion * best * pressure_area * air_speed
    heat = np.minimum(wanted_heat_w, largest)
    thrust = (
        thrust_coefficient_of_induction(induction_of_power_coefficient(heat / largest * BETZ_LIMIT)) * pressure_area
    )
    drag_power = thrust * case.driven_m_s
    tip_speed = case.tip_speed_ratio * air_speed
    rotor_speed = tip_speed / (0.5 * diameter)
    return SizingTable(
        wanted_heat_w=wanted_heat_w,
        diameter_m=diameter,
        grades=grades,
        needed_diameter_m=needed,
        largest_heat_w=largest,
        heat_w=heat,
        enough=largest >= wanted_heat_w * (1.0 - 1e-12),
        thrust_n=thrust,
        drag_power_w=drag_power,
        fuel_flow_m3_s=drag_power / case.driveline_efficiency * case.marginal_fuel_m3_per_j,
        rotor_speed_rad_s=rotor_speed,
        tip_speed_m_s=tip_speed,
        gear_ratios=case.gear_ratios,
        generator_speed_rad_s=np.array(case.gear_ratios)[:, None] * rotor_speed,
        notes=_notes(grades, case.tip_speed_ratio, tip_speed, case.driveline_efficiency),
    )


def _diameters_m(needed_m: np.ndarray, asked_m: np.ndarray | None) -> np.ndarray:
    """Return the diameters asked for, or round ones around those needed."""
    diameters = (
        round_diameters(0.9 * needed_m.min(), 1.15 * needed_m.max()) if asked_m is None else np.atleast_1d(asked_m)
    )
    if not (np.isfinite(diameters).all() and (diameters > 0).all()):
        raise InputError(Problem("size", "diameter", "a diameter that is not above 0", "diameters above 0"))
    return diameters


# As the usual ends of heater.rated_power and trip.road_speed, and of air.wind_speed on top of that.
MOST_HEAT_W, MOST_ROAD_SPEED_M_S, MOST_AIR_SPEED_M_S = 50e3, 50.0, 85.0


def _check(heat_w: float, case: SizingCase, grades: tuple[RotorGrade, ...]) -> None:
    limits = [
        ("heat", heat_w, "W", 1.0, MOST_HEAT_W),
        ("air speed", case.air_speed_m_s, "m/s", 0.5, MOST_AIR_SPEED_M_S),
        ("density", case.density_kg_m3, "kg/m3", 0.1, 3.0),
        ("road speed", case.driven_m_s, "m/s", 0.0, MOST_ROAD_SPEED_M_S),
        ("tip-speed ratio", case.tip_speed_ratio, "", 0.1, 30.0),
        ("driveline efficiency", case.driveline_efficiency, "", 0.1, 1.0),
        ("marginal fuel", case.marginal_fuel_m3_per_j * 3.6e9, "L/kWh", 0.0, 5.0),
    ]
    limits += [("gear ratio", ratio, "", 0.01, 200.0) for ratio in case.gear_ratios]
    for grade in grades:
        limits.append((f"power coefficient of {grade.name}", grade.power_coefficient, "", 0.01, BETZ_LIMIT + 1e-12))
        limits.append((f"conversion efficiency of {grade.name}", grade.conversion_efficiency, "", 0.01, 1.0))
    problems = [
        Problem("size", name, f"{figures(value, 4)} {unit}".strip(), f"{low:g} to {high:g} {unit}".strip())
        for name, value, unit, low, high in limits
        if not low <= value <= high
    ]
    if problems:
        raise InputError(problems)


def _notes(grades: tuple[RotorGrade, ...], ratio: float, tip_speed: float, driveline: float) -> tuple[str, ...]:
    notes = [
        f"{grade.name}: {100 * grade.betz_share:.0f} % of the Betz limit (power coefficient "
        f"{grade.power_coefficient:.3g}), {100 * grade.conversion_efficiency:.0f} % from shaft to heat"
        for grade in grades
    ]
    notes += [
        f"small hand-made rotors reach power coefficients of {HAND_MADE_LOW:g} to {HAND_MADE_HIGH:g}, "
        f"{100 * HAND_MADE_LOW / BETZ_LIMIT:.0f} % to {100 * HAND_MADE_HIGH / BETZ_LIMIT:.0f} % of the Betz limit "
        "(common practice, no source)",
        f"tip-speed ratio taken as {ratio:.3g}; drivetrain efficiency {100 * driveline:.1f} %",
        "thrust is that of momentum theory at the heat shown; mount, stowed drag and gusts come on top",
    ]
    if tip_speed > NOISY_TIP_SPEED_M_S:
        notes.append(
            f"tip speed {tip_speed:.0f} m/s: above about {NOISY_TIP_SPEED_M_S:g} m/s rotors get loud, and blades "
            "must be proven for the pull (common practice)"
        )
    return tuple(notes)
