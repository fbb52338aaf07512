"""What the air, the turning and the weight do to mount, bearing, blade roots and pitch linkage: the equations.

Every function works on floats or arrays, SI, angles in radians. Moments about the pitch axis are positive where they turn
the blade towards feather. None of this is a proof of strength: it says what a part has to carry, not whether it will.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vehicle.arrays import Values

STANDARD_GRAVITY_M_S2 = 9.80665
# Cargo is held for this deceleration of hard braking: EN 12195-1, forward, from memory.
BRAKING_SHARE_OF_GRAVITY = 0.8
# A vehicle's nose dips this fast over a bump: common practice, no source.
PITCHING_RATE_RAD_S = 1.0


def wind_force_n(density_kg_m3: Values, area_m2: Values, air_speed_m_s: Values, coefficient: Values) -> np.ndarray:
    """Return the force of the air (N), c·½·ρ·A·U² (definition of a force coefficient); with Ct and swept area: thrust."""
    return np.asarray(coefficient) * 0.5 * density_kg_m3 * area_m2 * np.asarray(air_speed_m_s, float) ** 2


def gust_air_speed_m_s(
    road_speed_m_s: Values, head_wind_m_s: Values, gust_m_s: Values, passing_factor: Values, local_speed_factor: Values
) -> np.ndarray:
    """Return the worst air speed at the rotor (m/s): (road speed + head wind + gust) × passing truck × local speed-up."""
    total = np.asarray(road_speed_m_s, float) + head_wind_m_s + gust_m_s
    return np.maximum(total, 0.0) * passing_factor * local_speed_factor


def bolt_pulls_n(moment_n_m: Values, distances_m: np.ndarray) -> np.ndarray:
    """Return the pull of each bolt (…, bolts) of a rigid foot that tips about an edge: M·x/Σx².

    Bolt group under a moment, machine-design texts (from memory): pull grows with the distance x from the edge. Weight on
    the foot, which would relieve the bolts, is not counted, because a bump takes it away.
    """
    x = np.asarray(distances_m, float)
    return np.asarray(moment_n_m, float)[..., None] * x / np.sum(x * x)


# --- bearing -----------------------------------------------------------------------------------------------------------

# Single-row deep-groove ball bearings, normal clearance: f0·Fa/C0 -> e, Y; X = 0.56. ISO 281, table of factors (from
# memory); f0 about 14 for the common sizes.
_F0 = 14.0
_GROOVE = np.array(
    [
        (0.172, 0.19, 2.30),
        (0.345, 0.22, 1.99),
        (0.689, 0.26, 1.71),
        (1.03, 0.28, 1.55),
        (1.38, 0.30, 1.45),
        (2.07, 0.34, 1.31),
        (3.45, 0.38, 1.15),
        (5.17, 0.42, 1.04),
        (6.89, 0.44, 1.00),
    ]
)
LIFE_EXPONENT = {"deep_groove_ball": 3.0, "angular_contact_ball": 3.0, "thrust_ball": 3.0, "tapered_roller": 10 / 3}


def equivalent_static_load_n(
    kind: str, radial_n: Values, axial_n: Values, static_axial_factor: Values | None = None
) -> np.ndarray:
    """Return the static equivalent load P0 (N) of ISO 76: X0·Fr + Y0·Fa, never below Fr.

    Deep groove 0.6 and 0.5 (catalogue text); angular contact of 40° 0.5 and 0.26, tapered roller 0.5 and the maker's Y0,
    thrust ball Fa + 2.7·Fr (from memory; a thrust ball bearing should see no radial load at all).
    """
    radial, axial = np.asarray(radial_n, float), np.abs(np.asarray(axial_n, float))
    if kind == "thrust_ball":
        return axial + 2.7 * radial
    x0, y0 = {"deep_groove_ball": (0.6, 0.5), "angular_contact_ball": (0.5, 0.26), "tapered_roller": (0.5, math.nan)}[
        kind
    ]
    factor = y0 if static_axial_factor is None else static_axial_factor
    return np.maximum(x0 * radial + np.asarray(factor) * axial, radial)


def equivalent_dynamic_load_n(
    kind: str, radial_n: Values, axial_n: Values, static_rating_n: Values, axial_factor: Values | None = None
) -> np.ndarray:
    """Return the dynamic equivalent load P (N) of ISO 281: Fr where Fa/Fr ≤ e, else X·Fr + Y·Fa (factors from memory).

    Deep groove: Y and e by Fa/C0; angular contact of 40°: e 1.14, X 0.35, Y 0.57; tapered roller: X 0.4, the maker's Y,
    e = 0.4/Y; thrust ball: Fa.
    """
    radial, axial = np.asarray(radial_n, float), np.abs(np.asarray(axial_n, float))
    if kind == "thrust_ball":
        return axial
    if kind == "deep_groove_ball":
        share = _F0 * axial / np.asarray(static_rating_n)
        e, y, x = np.interp(share, _GROOVE[:, 0], _GROOVE[:, 1]), np.interp(share, _GROOVE[:, 0], _GROOVE[:, 2]), 0.56
        if axial_factor is not None:
            y = np.asarray(axial_factor)
    elif kind == "angular_contact_ball":
        e, x, y = np.asarray(1.14), 0.35, np.asarray(0.57 if axial_factor is None else axial_factor)
    else:
        assert axial_factor is not None
        y, x = np.asarray(axial_factor), 0.4
        e = 0.4 / y
    return np.where(axial <= e * radial, radial, np.maximum(x * radial + y * axial, radial))


def basic_life_revolutions(dynamic_rating_n: Values, equivalent_load_n: Values, kind: str) -> np.ndarray:
    """Return the basic life of ISO 281: (C/P)^p million revolutions, reached by 9 of 10 bearings; p 3 ball, 10/3 roller."""
    load = np.asarray(equivalent_load_n, float)
    with np.errstate(divide="ignore"):
        return 1e6 * (np.asarray(dynamic_rating_n) / load) ** LIFE_EXPONENT[kind]


def basic_life_s(revolutions: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the time (s) that so many revolutions last at a steady speed."""
    speed = np.asarray(rotor_speed_rad_s, float)
    with np.errstate(divide="ignore"):
        return np.asarray(revolutions) * 2 * np.pi / speed


def highest_axial_load_n(static_rating_n: float, kind: str, bore_m: float | None, light_series: bool) -> float | None:
    """Return the axial load a deep-groove ball bearing takes at all, 0.5·C0, or 0.25·C0 for a bore up to 12 mm and light
    series (bearing maker's catalogue text); None for other kinds, whose limit is their rating."""
    if kind != "deep_groove_ball":
        return None
    small = light_series or (bore_m is not None and bore_m <= 0.012 + 1e-9)
    return (0.25 if small else 0.5) * static_rating_n


# --- blade root --------------------------------------------------------------------------------------------------------


def centrifugal_force_n(mass_kg: Values, radius_m: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the centrifugal force (N) of masses at radii, m·r·ω² (mechanics)."""
    return np.asarray(mass_kg) * radius_m * np.asarray(rotor_speed_rad_s, float) ** 2


def flap_bending_n_m(blade_thrust_n: Values, tip_radius_m: Values, root_radius_m: Values) -> np.ndarray:
    """Return the flap bending moment (N·m) at the root radius of one blade's thrust.

    The thrust is taken as even over the swept disc, so that it grows with the radius along the blade; about the axis
    itself that gives 2/3·R·T. Stiffening by centrifugal force is left out (it would relieve the root).
    """
    tip, root = np.asarray(tip_radius_m, float), np.asarray(root_radius_m, float)
    arm = 2 / tip**2 * ((tip**3 - root**3) / 3 - root * (tip**2 - root**2) / 2)
    return np.asarray(blade_thrust_n) * arm


def gyroscopic_moment_n_m(inertia_kg_m2: Values, rotor_speed_rad_s: Values, turning_rate_rad_s: Values) -> np.ndarray:
    """Return the gyroscopic moment (N·m) of a rotor whose axis is swung: J·ω·Ω (mechanics); two blades peak at twice it."""
    return np.asarray(inertia_kg_m2) * rotor_speed_rad_s * turning_rate_rad_s


# --- pitch axis --------------------------------------------------------------------------------------------------------


def plate_inertia_difference_kg_m2(
    mass_kg: Values, chord_m: Values, thickness_m: Values, offset_m: Values = 0.0
) -> np.ndarray:
    """Return ∫(ξ² − η²)dm (kg·m²) about the pitch axis of a flat plate: m·(c² − t²)/12 + m·d².

    ξ along the chord, η across it; d is the chordwise distance between centre of mass and pitch axis (parallel axes). A
    plate's mass lies farther out than that of a section, which errs to the safe side.
    """
    return np.asarray(mass_kg) * (
        (np.asarray(chord_m) ** 2 - np.asarray(thickness_m) ** 2) / 12 + np.asarray(offset_m) ** 2
    )


def centrifugal_twisting_moment_n_m(
    inertia_difference_kg_m2: Values, rotor_speed_rad_s: Values, chord_angle_rad: Values
) -> np.ndarray:
    """Return the centrifugal ("tennis racket") moment (N·m, towards feather positive) about the pitch axis of a blade.

    −½·ω²·∫(ξ² − η²)dm·sin 2β, with β the angle of the chord from the rotor plane: each part is pulled away from the pitch
    axis along the rotor plane, which turns the chord into that plane (mechanics; "towards flat pitch": aviation glossary).
    """
    return (
        -0.5
        * np.asarray(inertia_difference_kg_m2)
        * np.asarray(rotor_speed_rad_s, float) ** 2
        * np.sin(2 * np.asarray(chord_angle_rad))
    )


def section_moment_n_m(
    moment_coefficient: Values,
    density_kg_m3: Values,
    chord_m: Values,
    air_speed_m_s: Values,
    rotor_speed_rad_s: Values,
    root_radius_m: Values,
    tip_radius_m: Values,
) -> np.ndarray:
    """Return one blade's section moment (N·m, towards feather positive): −cm·½·ρ·c²·∫(U² + (ω·r)²)dr, root to tip.

    Nose down (cm negative) turns the nose into the wind, which is towards feather. Constant chord.
    """
    tip, root, speed = (
        np.asarray(tip_radius_m, float),
        np.asarray(root_radius_m, float),
        np.asarray(rotor_speed_rad_s, float),
    )
    square = np.asarray(air_speed_m_s, float) ** 2 * (tip - root) + speed**2 * (tip**3 - root**3) / 3
    return -np.asarray(moment_coefficient) * 0.5 * density_kg_m3 * np.asarray(chord_m) ** 2 * square


def lift_moment_n_m(
    blade_thrust_n: Values,
    blade_torque_n_m: Values,
    tip_radius_m: Values,
    chord_angle_rad: Values,
    chord_m: Values,
    pitch_axis: Values,
) -> np.ndarray:
    """Return the moment (N·m, towards feather positive) of one blade's air force that acts off the pitch axis.

    The force across the chord acts at the quarter chord (thin-aerofoil theory); a pitch axis behind it lets the force turn
    the nose up, towards fine pitch and stall. Thrust and torque are taken at 2/3 of the radius.
    """
    beta = np.asarray(chord_angle_rad, float)
    sideways = np.asarray(blade_torque_n_m) / (2 / 3 * np.asarray(tip_radius_m))
    across = np.asarray(blade_thrust_n) * np.cos(beta) + sideways * np.sin(beta)
    return across * (0.25 - np.asarray(pitch_axis)) * chord_m


def pitch_friction_n_m(centrifugal_n: Values, friction: Values, bearing_diameter_m: Values) -> np.ndarray:
    """Return the friction moment (N·m, no sign: against any motion) of a pitch bearing: μ·F·d/2 (mechanics)."""
    return np.asarray(friction) * centrifugal_n * np.asarray(bearing_diameter_m) / 2


def rod_lever_m(arm_m: Values, pitch_deg: Values, square_at_deg: Values) -> np.ndarray:
    """Return the effective lever (m) of a pitch horn: arm × cosine of the angle off square."""
    return np.asarray(arm_m) * np.cos(np.deg2rad(np.asarray(pitch_deg, float) - square_at_deg))


# --- balance -----------------------------------------------------------------------------------------------------------


def imbalance_force_n(imbalance_kg_m: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the turning force (N) of an imbalance m·e: m·e·ω² (mechanics)."""
    return np.asarray(imbalance_kg_m) * np.asarray(rotor_speed_rad_s, float) ** 2


def permissible_imbalance_kg_m(grade_m_s: Values, rotor_mass_kg: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the permissible residual imbalance (kg·m) of a balance grade, m·G/ω (ISO 21940-11: G = e·ω, as summarised)."""
    return np.asarray(grade_m_s) * rotor_mass_kg / np.asarray(rotor_speed_rad_s, float)


# --- spin-up -----------------------------------------------------------------------------------------------------------

LADDER_SHARES = (0.25, 0.5, 0.7, 0.85, 1.0)  # of the speed limit: loads of 6, 25, 49, 72 and 100 %


@dataclass(frozen=True)
class BladeMass:
    """One blade as masses (kg) at radii (m)."""

    masses_kg: np.ndarray
    radii_m: np.ndarray

    @property
    def mass_kg(self) -> float:
        """Mass of the blade, kg."""
        return float(self.masses_kg.sum())

    @property
    def first_moment_kg_m(self) -> float:
        """Mass times radius of its centre, kg·m."""
        return float(self.masses_kg @ self.radii_m)

    @property
    def inertia_kg_m2(self) -> float:
        """Moment of inertia about the rotor axis, kg·m²."""
        return float(self.masses_kg @ self.radii_m**2)


def blade_mass(masses_kg: Sequence[float], radii_m: Sequence[float]) -> BladeMass:
    """Return a blade of the given pieces; the centrifugal pull needs Σm·r, the inertia Σm·r²."""
    return BladeMass(np.asarray(masses_kg, float), np.asarray(radii_m, float))
