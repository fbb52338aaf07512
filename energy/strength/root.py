"""The blade root as a beam: stress in a spar or a laminated shell, and the first flapwise frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.strength import equations
from energy.strength.cases import BothCases, Conditions, Rig, both_cases, rig_of
from vehicle.arrays import Values
from vehicle.constants import GRAVITY_M_S2
from vehicle.problems import InputError, Problem

FIRST_MODE = 3.516
"""ω·√(m·L⁴/(E·I)) of a cantilever's first bending mode, m its mass per length, from memory."""
STIFFENING = 1.2
"""Share of the square of rotor speed that centrifugal stiffening adds to the square of the first flapwise frequency
(Southwell; about 1.2 for a uniform blade without a hinge, from memory)."""
HARMONICS = (1, 2, 3)
NEAR = 0.15  # a frequency within this share of a multiple of the rotor speed shakes: common practice, no source


@dataclass(frozen=True)
class Section:
    """A root's cross-section: area (m²), section modulus (m³) and second moment of area (m⁴), flapwise."""

    what: str
    area_m2: float
    modulus_m3: float
    second_moment_m4: float


@dataclass(frozen=True)
class RootStress:
    """Stress (Pa) at a root in one case: of the pull, of the bending, and where it lies."""

    pull_n: float
    bending_n_m: float
    pull_pa: float
    bending_pa: float
    at: Conditions

    @property
    def total_pa(self) -> float:
        """Sum of both, Pa, at the outermost fibre."""
        return self.pull_pa + self.bending_pa


@dataclass(frozen=True)
class BladeRoot:
    """The root at both cases; strength (Pa) and safety wanted; first flapwise frequency (rad/s; NaN unknown)."""

    section: Section
    operating: RootStress
    worst: RootStress
    strength_pa: float | None
    wanted_safety: float
    standing_rad_s: float
    working_rad_s: float
    rotor_rad_s: float
    fastest_rad_s: float

    def safety(self, stress: RootStress) -> float | None:
        """Return strength over stress, None where the strength is not told."""
        return None if self.strength_pa is None or stress.total_pa <= 0 else self.strength_pa / stress.total_pa

    def crossings_rad_s(self) -> dict[int, float]:
        """Return the rotor speeds at which 1, 2, 3 pushes a turn meet the frequency; infinite where they never do."""
        return {n: float(crossing_speed_rad_s(self.standing_rad_s, n)) for n in HARMONICS}

    def near(self) -> tuple[int, ...]:
        """Return the multiples of the working rotor speed that lie within NEAR of the frequency."""
        ratio = self.working_rad_s / self.rotor_rad_s if self.rotor_rad_s > 0 else math.nan
        return tuple(n for n in HARMONICS if abs(ratio / n - 1) < NEAR)


def tube(outer_m: float, inner_m: float) -> Section:
    """Return a round tube: A = π(D² − d²)/4, I = π(D⁴ − d⁴)/64, W = 2I/D (beam formulas).

    Raises ValueError where the bore is as wide as the tube.
    """
    if inner_m >= outer_m:
        raise ValueError("the bore is as wide as the spar")
    second = math.pi * (outer_m**4 - inner_m**4) / 64
    what = "tube" if inner_m > 0 else "solid round spar"
    return Section(what, math.pi * (outer_m**2 - inner_m**2) / 4, 2 * second / outer_m, second)


def shell(chord_m: float, height_m: float, wall_m: float) -> Section:
    """Return a hollow ellipse of a chord, height and wall, for a laminated shell.

    I = π/4·(a·b³ − (a−s)·(b−s)³) and W = I/b, a and b half of chord and height, s the wall (beam formulas).
    An aerofoil's shell is not an ellipse; that is as near as a beam formula gets. A wall of half the height is solid.
    """
    a, b, s = chord_m / 2, height_m / 2, min(wall_m, height_m / 2)
    inner_a, inner_b = max(a - s, 0.0), max(b - s, 0.0)
    second = math.pi / 4 * (a * b**3 - inner_a * inner_b**3)
    return Section("laminated shell", math.pi * (a * b - inner_a * inner_b), second / b, second)


def cantilever_frequency_rad_s(
    stiffness_pa: Values, second_moment_m4: Values, mass_kg: Values, length_m: Values
) -> np.ndarray:
    """Return the first bending frequency (rad/s) of an even cantilever, 3.516·√(E·I/(m·L³)), m its whole mass (kg)."""
    return FIRST_MODE * np.sqrt(
        np.asarray(stiffness_pa) * second_moment_m4 / (np.asarray(mass_kg) * np.asarray(length_m) ** 3)
    )


def turning_frequency_rad_s(standing_rad_s: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the first flapwise frequency (rad/s) of a turning blade, √(ω₀² + STIFFENING·Ω²)."""
    return np.sqrt(np.asarray(standing_rad_s) ** 2 + STIFFENING * np.asarray(rotor_speed_rad_s) ** 2)


def crossing_speed_rad_s(standing_rad_s: float, pushes_a_turn: int) -> float:
    """Return the rotor speed at which so many pushes a turn meet the flapwise frequency, ω₀/√(n² − STIFFENING)."""
    below = pushes_a_turn**2 - STIFFENING
    return standing_rad_s / math.sqrt(below) if below > 0 else math.inf


def blade_root(scenario: Scenario) -> BladeRoot:
    """Return the root of a scenario's blades. Raises InputError naming the keys that are missing."""
    table = scenario.blade_loads
    if table is None or (table.spar_diameter is None and table.shell_thickness is None):
        keys = "blade_loads.spar_diameter (and spar_bore), or shell_thickness with chord; root_strength"
        raise InputError(Problem(scenario.name, "[blade_loads]", "no section of the root", keys))
    rig = rig_of(scenario)
    if rig.blade is None:
        keys = "blade_loads.mass and centre_of_mass, or piece_masses and piece_radii"
        raise InputError(Problem(scenario.name, "[blade_loads]", "no mass of the blades", keys))
    cases, section, weak = both_cases(rig), _section(rig), _section(rig, weak=True)
    strength, stiffness = table.root_strength, rig.maybe("blade_loads.root_stiffness")
    standing = math.nan
    if stiffness is not None:
        length = rig.radius_m - float(rig.read("blade_loads.root_radius"))
        standing = float(cantilever_frequency_rad_s(stiffness, section.second_moment_m4, rig.blade.mass_kg, length))
    rotor = float(cases.operating.rotor_speed_rad_s)
    return BladeRoot(
        section=section,
        operating=_stress(rig, section, cases.operating),
        worst=_worst_stress(rig, weak, cases),
        strength_pa=None if strength is None else strength.low,
        wanted_safety=rig.taken("blade_loads.required_root_safety", cases.worst),
        standing_rad_s=standing,
        working_rad_s=float(turning_frequency_rad_s(standing, rotor)),
        rotor_rad_s=rotor,
        fastest_rad_s=float(cases.worst.rotor_speed_rad_s),
    )


def _section(rig: Rig, *, weak: bool = False) -> Section:
    """Return the root's section as stated, or that of the weak ends of its ranges."""
    name = rig.scenario.name

    def end(key: QuantityKey, *, high: bool = False) -> float | None:
        stated, value = rig.maybe(key), rig.read.uncertain(key)
        if value is None or not weak:
            return stated
        return value.high if high else value.low

    outer = end("blade_loads.spar_diameter")
    if outer is not None:
        try:
            return tube(outer, end("blade_loads.spar_bore", high=True) or 0.0)
        except ValueError as error:
            raise InputError(Problem(name, "blade_loads.spar_bore", str(error), "less than spar_diameter")) from None
    chord = end("blade_loads.root_chord") or end("blade_loads.chord")
    if chord is None:
        raise InputError(Problem(name, "blade_loads.root_chord", "none", "the chord at the root, such as '110 mm'"))
    height = chord * (end("blade_loads.thickness_ratio") or 0.0)
    return shell(chord, height, end("blade_loads.shell_thickness") or 0.0)


def _forces(rig: Rig, at: Conditions) -> tuple[np.ndarray, np.ndarray]:
    """Return the pull (N) and the bending (N·m: flap, and the blade's own weight square to it) at a root."""
    blade, root = rig.blade_in(at), rig.taken("blade_loads.root_radius", at, least=True)
    number = rig.number_of_blades()
    pull = equations.centrifugal_force_n(blade.first_moment_kg_m, 1.0, at.rotor_speed_rad_s)
    flap = equations.flap_bending_n_m(np.abs(at.thrust_n) / number, rig.radius_in(at), root)
    if at.unfavourable:
        flap = flap + equations.gyroscopic_root_bending_n_m(
            blade, root, at.rotor_speed_rad_s, equations.PITCHING_RATE_RAD_S
        )
    weight = GRAVITY_M_S2 * max(blade.first_moment_kg_m - blade.mass_kg * root, 0.0)
    return pull, np.hypot(flap, weight)


def _stress(rig: Rig, section: Section, at: Conditions) -> RootStress:
    pull, bending = (float(v) for v in _forces(rig, at))
    return RootStress(pull, bending, pull / section.area_m2, bending / section.modulus_m3, at)


def _worst_stress(rig: Rig, section: Section, cases: BothCases) -> RootStress:
    pull, bending = _forces(rig, cases.corners)
    total = pull / section.area_m2 + bending / section.modulus_m3
    return _stress(rig, section, cases.corners.corner(int(np.nanargmax(total))))
