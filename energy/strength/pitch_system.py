"""The pitch system over its whole travel: force at the actuator by rotor speed, stall speed, counterweight, slider."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from energy.scenario.read import Scenario
from energy.strength.cases import Conditions, Rig, both_cases, rig_of
from energy.strength.linkage import PitchedBlades, Travel, pitched_blades, travel_of, worst_actuator_force
from vehicle.problems import InputError, Problem

SPEED_SHARES = (0.25, 0.5, 0.75, 1.0)  # of the fastest rotor speed
_STALL_STEPS = 12  # halvings
COUNTERWEIGHT_ARM_M = 0.05
"""Distance of the counterweight from the pitch axis that its mass is given for: a choice of ours."""


@dataclass(frozen=True)
class PitchRow:
    """The maximum over the travel at one rotor speed (rad/s) and air speed (m/s): force at the actuator (N), friction
    added; where (degrees); and each term's share of the moment there (N·m a blade)."""

    rotor_speed_rad_s: float
    air_speed_m_s: float
    force_n: float
    pitch_deg: float
    centrifugal_n_m: float
    aerodynamic_n_m: float
    friction_n_m: float


@dataclass(frozen=True)
class PitchSystem:
    """Rows by rotor and air speed (stated values); the force to ask for (N), every range at its unfavourable end; the
    rating (N) and whether it locks itself; the rotor speed (rad/s) from which the
    actuator stalls (infinite for never); where the blades then drive; arm (m) and counterweight (kg a blade, at
    COUNTERWEIGHT_ARM_M square to the chord) that bring the force below the rating; travel of the rod (m)."""

    rows: tuple[PitchRow, ...]
    asked_n: float
    rating_n: float | None
    self_locking: bool
    stalls_from_rad_s: float
    towards_fine: bool
    arm_m: float
    arm_needed_m: float | None
    counterweight_kg: float
    rod_travel_m: float
    held_n: float


def counterweight_kg(inertia_difference_kg_m2: float, arm_m: float) -> float:
    """Return the mass (kg) at a distance (m) square to the chord that cancels a blade's centrifugal twisting moment.

    A mass η off the chord line adds −m·η² to ∫(ξ² − η²)dm, so that m = ∫(ξ² − η²)dm/η² (mechanics).
    """
    return inertia_difference_kg_m2 / arm_m**2


def pitch_system(scenario: Scenario) -> PitchSystem:
    """Return the pitch system of a scenario. Raises InputError naming the keys that are missing."""
    rig = rig_of(scenario)
    blades = pitched_blades(rig)
    if blades is None or scenario.linkage is None:
        keys = "[linkage] arm, travel_from, travel_to; blade_loads.chord and mass; rotor.curves"
        raise InputError(Problem(scenario.name, "[linkage]", "not enough of a pitch linkage", keys))
    cases = both_cases(rig)
    fastest = float(cases.worst.rotor_speed_rad_s)
    airs = (float(cases.operating.air_speed_m_s), float(cases.worst.air_speed_m_s))

    def travel(speed: float, air: float) -> Travel:
        return travel_of(rig, blades, replace(cases.operating, rotor_speed_rad_s=speed, air_speed_m_s=air))

    rows = tuple(_row(travel(s * fastest, air), s * fastest, air) for air in airs for s in SPEED_SHARES)
    rating = scenario.linkage.actuator_rating
    asked = worst_actuator_force(rig, cases.worst).force_n
    limit = None if rating is None else rating.low
    arm = float(rig.read("linkage.arm"))
    stalls = math.inf if limit is None else _stalls_from_rad_s(rig, cases.worst, limit)
    at_top = travel(fastest, airs[1])
    moment = at_top.aerodynamic_n_m + at_top.centrifugal_n_m
    return PitchSystem(
        rows=rows,
        asked_n=asked,
        rating_n=limit,
        self_locking=scenario.linkage.self_locking,
        stalls_from_rad_s=stalls,
        towards_fine=float(moment[int(np.argmax(np.abs(moment)))]) <= 0,
        arm_m=arm,
        arm_needed_m=None if limit is None else arm * asked / limit,
        counterweight_kg=counterweight_kg(blades.inertia_difference_kg_m2, COUNTERWEIGHT_ARM_M),
        rod_travel_m=_rod_travel_m(blades),
        held_n=float(np.max(np.abs(at_top.actuator_n))),
    )


def _stalls_from_rad_s(rig: Rig, worst: Conditions, limit_n: float) -> float:
    """Return the rotor speed (rad/s) from which the actuator is too weak in its travel; infinite for never."""
    low, high = 0.0, float(worst.rotor_speed_rad_s)
    if worst_actuator_force(rig, worst).force_n <= limit_n:
        return math.inf
    for _ in range(_STALL_STEPS):
        middle = 0.5 * (low + high)
        over = worst_actuator_force(rig, replace(worst, rotor_speed_rad_s=middle)).force_n > limit_n
        low, high = (low, middle) if over else (middle, high)
    return low


def _row(travel: Travel, speed: float, air: float) -> PitchRow:
    force = np.abs(travel.actuator_n) + np.abs(travel.friction_n)
    k = int(np.argmax(force))
    return PitchRow(
        speed,
        air,
        float(force[k]),
        float(travel.pitch_deg[k]),
        float(travel.centrifugal_n_m[k]),
        float(travel.aerodynamic_n_m[k]),
        float(travel.friction_n_m[k]),
    )


def _rod_travel_m(blades: PitchedBlades) -> float:
    """Return how far the rod moves over the travel: the lever integrated over the angle."""
    return abs(float(np.trapezoid(blades.lever_m, np.deg2rad(blades.pitch_deg))))
