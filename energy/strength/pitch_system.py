"""The pitch system over its whole travel: force at the actuator by rotor speed, stall speed, counterweight, slider."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from energy.scenario.keys.garage import Linkage
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.strength.cases import Conditions, Rig, both_cases, rig_of
from energy.strength.linkage import (
    Travel,
    WorstForce,
    pitched_blades,
    travel_of,
    worst_actuator_force,
)
from vehicle.problems import InputError, Problem

SPEED_SHARES = (0.25, 0.5, 0.75, 1.0)  # of the fastest rotor speed
_SPEEDS = 21  # rotor speeds over which the worst force is scanned, and again between two of them
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
class PitchLine:
    """The whole travel at one rotor speed (rad/s) and air speed (m/s), at the stated values."""

    rotor_speed_rad_s: float
    air_speed_m_s: float
    travel: Travel

    @property
    def force_n(self) -> np.ndarray:
        """Force at the actuator over the travel (N): what the blades push, friction added against the motion."""
        return np.asarray(np.abs(self.travel.actuator_n) + np.abs(self.travel.friction_n))


@dataclass(frozen=True)
class PitchSystem:
    """Rows by rotor and air speed (stated values), and the whole travel of each (`lines`); over the rotor speeds
    `speeds_rad_s` the force with every range at its unfavourable end (`worst_n`), and its maximum, the force to ask
    for (N); the rating (N) and whether it locks itself; the rotor speed (rad/s) from which the
    actuator stalls (infinite for never); where the blades then drive; arm (m) and counterweight (kg a blade, at
    COUNTERWEIGHT_ARM_M square to the chord) that bring the force below the rating; travel of the rod (m)."""

    rows: tuple[PitchRow, ...]
    lines: tuple[PitchLine, ...]
    speeds_rad_s: np.ndarray
    worst_n: np.ndarray
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

    lines = tuple(PitchLine(s * fastest, air, travel(s * fastest, air)) for air in airs for s in SPEED_SHARES)
    rating = scenario.linkage.actuator_rating
    speeds = np.linspace(0.0, fastest, _SPEEDS)
    worst = worst_actuator_force(rig, cases.worst, speeds)
    limit = None if rating is None else rating.low
    arm = float(rig.read("linkage.arm"))
    at_top = lines[-1].travel
    moment = at_top.aerodynamic_n_m + at_top.centrifugal_n_m
    return PitchSystem(
        rows=tuple(_row(line) for line in lines),
        lines=lines,
        speeds_rad_s=speeds,
        worst_n=worst.by_speed_n,
        asked_n=worst.force_n,
        rating_n=limit,
        self_locking=scenario.linkage.self_locking,
        stalls_from_rad_s=math.inf if limit is None else _stalls_from_rad_s(rig, cases.worst, limit, speeds, worst),
        towards_fine=float(moment[int(np.argmax(np.abs(moment)))]) <= 0,
        arm_m=arm,
        arm_needed_m=None if limit is None else arm * worst.force_n / limit,
        counterweight_kg=counterweight_kg(blades.inertia_difference_kg_m2, COUNTERWEIGHT_ARM_M),
        rod_travel_m=_longest_rod_travel_m(rig, scenario.linkage),
        held_n=float(np.max(np.abs(at_top.actuator_n))),
    )


def _stalls_from_rad_s(rig: Rig, at: Conditions, limit_n: float, speeds_rad_s: np.ndarray, worst: WorstForce) -> float:
    """Return the rotor speed (rad/s) from which the actuator is too weak in its travel; infinite for never."""
    over = np.flatnonzero(worst.by_speed_n > limit_n)
    if not over.size:
        return math.inf
    k = int(over[0])
    if k == 0:
        return 0.0
    between = np.linspace(speeds_rad_s[k - 1], speeds_rad_s[k], _SPEEDS)
    force = worst_actuator_force(rig, at, between).by_speed_n
    first = max(1, int(np.argmax(force > limit_n)))
    share = (limit_n - force[first - 1]) / (force[first] - force[first - 1])
    return float(between[first - 1] + share * (between[first] - between[first - 1]))


def _row(line: PitchLine) -> PitchRow:
    travel, force = line.travel, line.force_n
    k = int(np.argmax(force))
    return PitchRow(
        line.rotor_speed_rad_s,
        line.air_speed_m_s,
        float(force[k]),
        float(travel.pitch_deg[k]),
        float(travel.centrifugal_n_m[k]),
        float(travel.aerodynamic_n_m[k]),
        float(travel.friction_n_m[k]),
    )


def _longest_rod_travel_m(rig: Rig, linkage: Linkage) -> float:
    """Return how far the rod moves over the travel, the lever integrated over the angle: the long ends of ranges."""
    ends: dict[QuantityKey, float] = {
        "linkage.arm": linkage.arm.high,
        "linkage.travel_from": linkage.travel_from.low,
        "linkage.travel_to": linkage.travel_to.high,
    }
    blades = pitched_blades(rig, ends)
    assert blades is not None
    return abs(float(np.trapezoid(blades.lever_m, np.deg2rad(blades.pitch_deg))))
