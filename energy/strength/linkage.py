"""The pitch linkage through its travel: what air, centrifugal force and friction put on the actuator."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from energy.aero.curves import RotorCurves
from energy.aero.operating_point import coefficients_of
from energy.scenario.inputs import Inputs
from energy.scenario.keys.names import QuantityKey
from energy.strength.cases import Conditions, Rig, air_at_either_end
from energy.strength.equations import (
    BladeMass,
    centrifugal_force_n,
    centrifugal_twisting_moment_n_m,
    lift_moment_n_m,
    pitch_friction_n_m,
    plate_inertia_difference_kg_m2,
    rod_lever_m,
    section_moment_n_m,
    wind_force_n,
)
from vehicle.arrays import Values

_TRAVEL_STEPS = 181
_AIRS = 7
_SHOWN_STEPS = 9


@dataclass(frozen=True)
class Travel:
    """The pitch linkage through its travel, arrays of the pitches (degrees): moments per blade (N·m) and the force (N)
    that all blades put on the actuator, positive towards feather; `friction_n` works against any motion."""

    pitch_deg: np.ndarray
    aerodynamic_n_m: np.ndarray
    centrifugal_n_m: np.ndarray
    friction_n_m: np.ndarray
    actuator_n: np.ndarray
    friction_n: np.ndarray
    per_moment: np.ndarray  # force at the actuator for each N·m of a blade: all blades over the rod's lever, 1/m
    changes_sign_at_deg: np.ndarray
    settles_at_deg: np.ndarray  # where a loose blade would rest
    beyond_curves: np.ndarray

    def shown(self) -> np.ndarray:
        """Return the places of the pitches to print."""
        return np.unique(np.linspace(0, len(self.pitch_deg) - 1, _SHOWN_STEPS).round().astype(int))


@dataclass(frozen=True)
class PitchedBlades:
    """Blades that a linkage turns: the travel as the dial reads it and as chord angles (degrees), lengths in m.

    `pitch_axis` is a share of the chord from its leading edge; `bearing_diameter_m` is None where the friction is not
    told.
    """

    curves: RotorCurves
    pitch_deg: np.ndarray
    curve_pitch_deg: np.ndarray  # as the curves count it: of the chord from the rotor plane, towards feather
    mean_twist_deg: float
    number: float
    chord_m: float
    pitch_axis: float
    section_moment_coefficient: float
    root_radius_m: float
    inertia_difference_kg_m2: float
    first_moment_kg_m: float
    bearing_diameter_m: float | None
    bearing_friction: float
    lever_m: np.ndarray

    @property
    def chord_angle_rad(self) -> np.ndarray:
        """Angle of the mean chord from the rotor plane, rad."""
        return np.asarray(np.deg2rad(self.curve_pitch_deg + self.mean_twist_deg))


def pitched_blades(
    rig: Rig, ends: Mapping[QuantityKey, float] | None = None, blade: BladeMass | None = None
) -> PitchedBlades | None:
    """Return the blades that the scenario's linkage turns, None where it does not tell enough of them.

    `ends` takes the place of single values (SI), and `blade` that of the stated masses, for the worst case.
    """
    read, scenario, curves = rig.read, rig.scenario, rig.inputs.turbine.curves
    blade = rig.blade if blade is None else blade
    if scenario.linkage is None or scenario.blade_loads is None:
        return None
    if scenario.blade_loads.chord is None or blade is None or curves is None:
        return None

    def value(key: QuantityKey) -> float:
        stated = float(read(key))
        return (ends or {}).get(key, stated)

    low, high = value("linkage.travel_from"), value("linkage.travel_to")
    square = rig.maybe("linkage.square_at")
    square = square if square is None else value("linkage.square_at")
    pitch = np.linspace(low, high, _TRAVEL_STEPS)
    twist, number = value("blade_loads.mean_twist"), rig.number_of_blades()
    chord, axis = value("blade_loads.chord"), value("blade_loads.pitch_axis")
    section = value("blade_loads.section_moment_coefficient")
    root = value("blade_loads.root_radius")
    thickness = chord * value("blade_loads.thickness_ratio")
    offset = (value("blade_loads.mass_axis") - axis) * chord
    diameter = rig.maybe("blade_loads.pitch_bearing_diameter")
    diameter = diameter if diameter is None else value("blade_loads.pitch_bearing_diameter")
    return PitchedBlades(
        curves=curves,
        pitch_deg=pitch,
        curve_pitch_deg=scenario.pitch_convention.chord_angle_deg(pitch),  # the travel is told as the dial reads
        mean_twist_deg=twist,
        number=number,
        chord_m=chord,
        pitch_axis=axis,
        section_moment_coefficient=section,
        root_radius_m=root,
        inertia_difference_kg_m2=float(plate_inertia_difference_kg_m2(blade.mass_kg, chord, thickness, offset)),
        first_moment_kg_m=blade.first_moment_kg_m,
        bearing_diameter_m=diameter,
        bearing_friction=0.0 if diameter is None else value("blade_loads.pitch_bearing_friction"),
        lever_m=rod_lever_m(value("linkage.arm"), pitch, (low + high) / 2 if square is None else square),
    )


def travel_of(rig: Rig, blades: PitchedBlades, at: Conditions) -> Travel:
    """Return the linkage's travel in one case, the rotor speed of which is held through the whole of it."""
    at = replace(at, unfavourable=False)
    pitch, curves = blades.pitch_deg, blades.curves
    aerodynamic = _aerodynamic_moment_n_m(_in_air(rig, rig.inputs_in(at), blades, at), blades, at)
    speed = at.rotor_speed_rad_s
    centrifugal = centrifugal_twisting_moment_n_m(blades.inertia_difference_kg_m2, speed, blades.chord_angle_rad)
    friction = _friction_n_m(blades, at)
    moment = aerodynamic + centrifugal
    crosses, falls_towards_feather = _sign_changes(blades, moment)
    return Travel(
        pitch_deg=pitch,
        aerodynamic_n_m=aerodynamic,
        centrifugal_n_m=centrifugal,
        friction_n_m=np.full(pitch.shape, friction),
        actuator_n=blades.number * moment / blades.lever_m,
        friction_n=blades.number * friction / blades.lever_m,
        per_moment=blades.number / blades.lever_m,
        changes_sign_at_deg=crosses,
        settles_at_deg=crosses[falls_towards_feather],
        beyond_curves=(blades.curve_pitch_deg < curves.pitch_deg[0] - 1e-9)
        | (blades.curve_pitch_deg > curves.pitch_deg[-1] + 1e-9),
    )


@dataclass(frozen=True)
class WorstForce:
    """The maximum force on the actuator (N), friction added, and the corner at which it lies; `by_speed_n` (N, per
    rotor speed asked for) is the maximum at each.
    """

    force_n: float
    at: Conditions
    by_speed_n: np.ndarray


def worst_actuator_force(rig: Rig, worst: Conditions, speeds_rad_s: np.ndarray | None = None) -> WorstForce:
    """Return the maximum force that all blades put on the actuator: over the travel, rotor speeds up to the fastest
    (or those of `speeds_rad_s`), air speeds up to the worst, and both ends of every range of the blades and of the
    air, which can relieve the actuator; friction at its upper end.
    """
    # From no air at all (driven by a motor, or running on while the vehicle stops) to the worst.
    airs = np.linspace(0.0, 1.0, _AIRS) * worst.air_speed_m_s
    speeds = np.linspace(0.0, 1.0, 21) * worst.rotor_speed_rad_s if speeds_rad_s is None else speeds_rad_s
    shape = (len(airs), len(speeds), 1)  # and the pitches behind
    at = replace(
        worst,
        air_speed_m_s=np.broadcast_to(airs[:, None, None], shape),
        rotor_speed_rad_s=np.broadcast_to(speeds[:, None], shape),
        unfavourable=True,
    )
    best: WorstForce | None = None
    by_speed = np.zeros(len(speeds))
    either_air = air_at_either_end(rig)
    in_air: dict[tuple[float, float], list[_InAir]] = {}  # by the ends of the travel: most corners share theirs
    for ends, blade in itertools.product(_corners_of_ranges(rig), _heavy_and_light(rig)):
        blades = pitched_blades(rig, ends, blade)
        assert blades is not None
        travel = float(blades.pitch_deg[0]), float(blades.pitch_deg[-1])
        if travel not in in_air:
            in_air[travel] = [_in_air(rig, inputs, blades, at) for inputs in either_air]
        twisting = centrifugal_twisting_moment_n_m(
            blades.inertia_difference_kg_m2, np.asarray(at.rotor_speed_rad_s), blades.chord_angle_rad
        )
        aerodynamic = [_aerodynamic_moment_n_m(air, blades, at) for air in in_air[travel]]
        against = np.max([np.abs(moment + twisting) for moment in aerodynamic], axis=0)
        moment = against + _friction_n_m(blades, at)
        force = blades.number * moment / np.abs(blades.lever_m)
        by_speed = np.maximum(by_speed, force.max(axis=(0, 2)))
        place = np.unravel_index(int(np.argmax(force)), force.shape)
        if best is None or float(force[place]) > best.force_n:
            same = np.isclose(force[:, place[1], place[2]], force[place], rtol=1e-9)
            corner = replace(
                worst,
                air_speed_m_s=math.nan if same.all() else float(airs[place[0]]),  # whatever the air
                rotor_speed_rad_s=float(speeds[place[1]]),
                pitch_deg=float(blades.curve_pitch_deg[place[2]]),
            )
            best = WorstForce(float(force[place]), corner, by_speed)
    assert best is not None
    return replace(best, by_speed_n=by_speed)


_EITHER_END: tuple[QuantityKey, ...] = (
    "blade_loads.pitch_axis",
    "blade_loads.mass_axis",
    "blade_loads.mean_twist",
    "blade_loads.section_moment_coefficient",
    "blade_loads.chord",
    "blade_loads.root_radius",
    "blade_loads.thickness_ratio",
    "linkage.travel_from",
    "linkage.travel_to",
    "linkage.square_at",
)


def _heavy_and_light(rig: Rig) -> tuple[BladeMass, ...]:
    """Return the blade with heavy pieces far out, and the lightest where that differs: more of the air is left over."""
    assert rig.heavy_blade is not None
    assert rig.light_blade is not None
    if rig.light_blade.inertia_kg_m2 == rig.heavy_blade.inertia_kg_m2:
        return (rig.heavy_blade,)
    return rig.heavy_blade, rig.light_blade


def _corners_of_ranges(rig: Rig) -> list[dict[QuantityKey, float]]:
    """Return every combination of the ends that may hurt either way, with friction high and the arm short."""
    ranges = [(key, value) for key in _EITHER_END if (value := rig.read.uncertain(key)) is not None]
    both = [sorted({value.low, value.high}) for _, value in ranges]
    names = [key for key, _ in ranges]
    fixed: dict[QuantityKey, float] = {}
    ends: tuple[tuple[QuantityKey, bool], ...] = (
        ("blade_loads.pitch_bearing_friction", True),
        ("blade_loads.pitch_bearing_diameter", True),
        ("linkage.arm", False),
    )
    for key, high in ends:
        value = rig.read.uncertain(key)
        if value is not None:
            fixed[key] = value.high if high else value.low
    return [{**fixed, **dict(zip(names, chosen, strict=True))} for chosen in itertools.product(*both)]


@dataclass(frozen=True)
class _InAir:
    """The rotor in its air through the travel: thrust (N) and torque (N·m) of all blades, density (kg/m³), radius."""

    thrust_n: np.ndarray
    torque_n_m: np.ndarray
    density_kg_m3: float
    radius_m: float


def _in_air(rig: Rig, inputs: Inputs, blades: PitchedBlades, at: Conditions) -> _InAir:
    air, speed, density = np.asarray(at.air_speed_m_s), np.asarray(at.rotor_speed_rad_s), float(inputs.density_kg_m3)
    rotor = rig.rotor(inputs, blades.curve_pitch_deg, air)
    radius = float(rotor.radius_m)
    area = math.pi * radius**2
    cp, ct, _ = coefficients_of(rotor, speed * radius / np.maximum(air, 1e-9))
    thrust = wind_force_n(density, area, air, ct)
    torque = cp * 0.5 * density * area * air**3 / np.maximum(speed, 1e-9)
    return _InAir(thrust, torque, density, radius)


def _aerodynamic_moment_n_m(air: _InAir, blades: PitchedBlades, at: Conditions) -> np.ndarray:
    """Return one blade's moment of the air about its pitch axis (N·m, towards feather positive) through the travel."""
    lift = lift_moment_n_m(
        air.thrust_n / blades.number,
        air.torque_n_m / blades.number,
        air.radius_m,
        blades.chord_angle_rad,
        blades.chord_m,
        blades.pitch_axis,
    )
    section = section_moment_n_m(
        blades.section_moment_coefficient,
        air.density_kg_m3,
        blades.chord_m,
        at.air_speed_m_s,
        at.rotor_speed_rad_s,
        blades.root_radius_m,
        air.radius_m,
    )
    return np.asarray(lift + section)


def _friction_n_m(blades: PitchedBlades, at: Conditions) -> Values:
    """Return the friction of one blade's pitch bearing (N·m), 0 where its diameter is not told."""
    if blades.bearing_diameter_m is None:
        return 0.0
    pull = centrifugal_force_n(blades.first_moment_kg_m, 1.0, at.rotor_speed_rad_s)
    return pitch_friction_n_m(pull, blades.bearing_friction, blades.bearing_diameter_m)


def _sign_changes(blades: PitchedBlades, moment_n_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the pitches (degrees) at which a moment changes its sign, and at which of them a loose blade would rest.

    It rests where the moment falls from towards feather to towards fine as the blade turns towards feather.
    """
    pitch = blades.pitch_deg
    towards = float(np.sign(blades.curve_pitch_deg[-1] - blades.curve_pitch_deg[0]))  # a dial may count towards fine
    k = np.flatnonzero(moment_n_m[:-1] * moment_n_m[1:] < 0)
    before, after = moment_n_m[k], moment_n_m[k + 1]
    return pitch[k] + (pitch[k + 1] - pitch[k]) * before / (before - after), before * towards > 0
