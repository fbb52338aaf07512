"""What the air, the turning and the weight do to mount, bearing, blade roots and pitch linkage: the equations.

Every function works on floats or arrays that broadcast, in SI units, angles in radians unless the name says degrees.
Moments about the pitch axis are positive where they turn the blade towards feather. None of this is a proof of
strength: it says what a part has to carry, not whether it will.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vehicle.arrays import Values

BRAKING_SHARE_OF_GRAVITY = 0.8
"""Cargo is held for this deceleration of hard braking: EN 12195-1, forward, from memory."""
PITCHING_RATE_RAD_S = 1.0
"""A vehicle's nose dips this fast over a bump: common practice, no source."""


def wind_force_n(density_kg_m3: Values, area_m2: Values, air_speed_m_s: Values, coefficient: Values) -> np.ndarray:
    """Return the force of the air, c·½·ρ·A·U².

    Parameters
    ----------
    density_kg_m3 : [kg/m³], any shape
    area_m2 : [m²] any shape; the area that the coefficient belongs to; with the swept area and Ct the force is the
        thrust
    air_speed_m_s : [m/s], any shape
    coefficient : [1] force coefficient, any shape

    Returns
    -------
    [N], the shape of all inputs broadcast.

    References
    ----------
    .. [1] Definition of a force coefficient.
    """
    return np.asarray(coefficient) * 0.5 * density_kg_m3 * area_m2 * np.asarray(air_speed_m_s, float) ** 2


def gust_air_speed_m_s(
    road_speed_m_s: Values, head_wind_m_s: Values, gust_m_s: Values, passing_factor: Values, local_speed_factor: Values
) -> np.ndarray:
    """Return the worst air speed at the rotor, (road speed + head wind + gust) × passing truck × local speed-up.

    Parameters
    ----------
    road_speed_m_s, head_wind_m_s, gust_m_s : [m/s] along the road, against the vehicle, any shape
    passing_factor : [1] what a passing truck multiplies the air speed by, any shape
    local_speed_factor : [1] air speed at the rotor over that of the free air, any shape

    Returns
    -------
    [m/s], of the broadcast shape, never below 0.

    References
    ----------
    .. [1] A sum of speeds, closed form; the passing factor: common practice, no source.
    """
    total = np.asarray(road_speed_m_s, float) + head_wind_m_s + gust_m_s
    return np.maximum(total, 0.0) * passing_factor * local_speed_factor


def bolt_pulls_n(moment_n_m: Values, distances_m: np.ndarray) -> np.ndarray:
    """Return the pull of each bolt of a rigid foot that tips about an edge, M·x/Σx².

    The pull grows with the distance from the edge. Weight on the foot, which would relieve the bolts, is not counted,
    because a bump takes it away.

    Parameters
    ----------
    moment_n_m : [N·m] shape S
    distances_m : [m] (bolts,) from the edge

    Returns
    -------
    [N] (*S, bolts).

    References
    ----------
    .. [1] Bolt group under a moment, machine-design texts (from memory).
    """
    x = np.asarray(distances_m, float)
    return np.asarray(moment_n_m, float)[..., None] * x / np.sum(x * x)


# --- bearing ---------------------------------------------------------------------------------------------------------

# Single-row deep-groove ball bearings, normal clearance: f0·Fa/C0 -> e, Y; X = 0.56. ISO 281, table of factors (from
# memory); f0 about 14 for the common sizes.
_F0 = 14.0
_GROOVE_SHARE = np.array([0.172, 0.345, 0.689, 1.03, 1.38, 2.07, 3.45, 5.17, 6.89])
_GROOVE_E = np.array([0.19, 0.22, 0.26, 0.28, 0.30, 0.34, 0.38, 0.42, 0.44])
_GROOVE_Y = np.array([2.30, 1.99, 1.71, 1.55, 1.45, 1.31, 1.15, 1.04, 1.00])
LIFE_EXPONENT = {"deep_groove_ball": 3.0, "angular_contact_ball": 3.0, "thrust_ball": 3.0, "tapered_roller": 10 / 3}
# X0 and Y0; a tapered roller's Y0 is on its maker's sheet.
_STATIC_FACTORS = {
    "deep_groove_ball": (0.6, 0.5),
    "angular_contact_ball": (0.5, 0.26),
    "tapered_roller": (0.5, math.nan),
}


def equivalent_static_load_n(
    kind: str, radial_n: Values, axial_n: Values, static_axial_factor: Values | None = None
) -> np.ndarray:
    """Return the static equivalent load of a bearing, P0 = X0·Fr + Y0·Fa, never below Fr (thrust ball: Fa + 2.7·Fr).

    Parameters
    ----------
    kind : a key of LIFE_EXPONENT
    radial_n, axial_n : [N] loads; the sign of the axial one does not matter, any shape
    static_axial_factor : [1] the maker's Y0; needed for a tapered roller bearing, any shape

    Returns
    -------
    [N], of the broadcast shape

    References
    ----------
    .. [1] ISO 76; deep groove 0.6 and 0.5, angular contact of 40° 0.5 and 0.26, tapered
       roller 0.5, thrust ball 2.7 from memory (a thrust ball bearing should see no radial load at all).
    """
    radial, axial = np.asarray(radial_n, float), np.abs(np.asarray(axial_n, float))
    if kind == "thrust_ball":
        return axial + 2.7 * radial
    x0, y0 = _STATIC_FACTORS[kind]
    factor = y0 if static_axial_factor is None else static_axial_factor
    return np.maximum(x0 * radial + np.asarray(factor) * axial, radial)


def equivalent_dynamic_load_n(
    kind: str, radial_n: Values, axial_n: Values, static_rating_n: Values, axial_factor: Values | None = None
) -> np.ndarray:
    """Return the dynamic equivalent load of a bearing: Fr where Fa/Fr ≤ e, else X·Fr + Y·Fa (thrust ball: Fa).

    Parameters
    ----------
    kind : a key of LIFE_EXPONENT
    radial_n, axial_n : [N] loads; the sign of the axial one does not matter, any shape
    static_rating_n : [N] C0, on which the factors of a deep-groove bearing hang, any shape
    axial_factor : [1] the maker's Y; needed for a tapered roller bearing, any shape

    Returns
    -------
    [N], of the broadcast shape

    References
    ----------
    .. [1] ISO 281, factors from memory. Deep groove: e and Y by f0·Fa/C0, X 0.56; angular contact of 40°: e 1.14,
       X 0.35, Y 0.57; tapered roller: X 0.4, Y = 0.4·cot α and e = 1.5·tan α, so that e = 0.6/Y.
    """
    radial, axial = np.asarray(radial_n, float), np.abs(np.asarray(axial_n, float))
    if kind == "thrust_ball":
        return axial
    e, x, y = _dynamic_factors(kind, _F0 * axial / np.asarray(static_rating_n), axial_factor)
    return np.where(axial <= e * radial, radial, np.maximum(x * radial + y * axial, radial))


def _dynamic_factors(kind: str, share: np.ndarray, axial_factor: Values | None) -> tuple[Values, float, Values]:
    """Return e, X and Y of ISO 281; `share` is f0·Fa/C0, which only a deep-groove bearing's factors hang on."""
    if kind == "deep_groove_ball":
        y = np.interp(share, _GROOVE_SHARE, _GROOVE_Y) if axial_factor is None else axial_factor
        return np.interp(share, _GROOVE_SHARE, _GROOVE_E), 0.56, y
    if kind == "angular_contact_ball":
        return 1.14, 0.35, 0.57 if axial_factor is None else axial_factor
    assert axial_factor is not None
    return 0.6 / np.asarray(axial_factor), 0.4, axial_factor


def basic_life_revolutions(dynamic_rating_n: Values, equivalent_load_n: Values, kind: str) -> np.ndarray:
    """Return the basic life of a bearing, (C/P)^p million revolutions, reached by 9 of 10 bearings.

    Parameters
    ----------
    dynamic_rating_n : [N] C, any shape
    equivalent_load_n : [N] P, any shape
    kind : a key of LIFE_EXPONENT

    Returns
    -------
    [1] revolutions, of the broadcast shape; infinite without a load.

    References
    ----------
    .. [1] ISO 281: p = 3 for balls, 10/3 for rollers.
    """
    load = np.asarray(equivalent_load_n, float)
    with np.errstate(divide="ignore"):
        return 1e6 * (np.asarray(dynamic_rating_n) / load) ** LIFE_EXPONENT[kind]


def basic_life_s(revolutions: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the time that so many revolutions last at a steady speed.

    Parameters
    ----------
    revolutions : [1], any shape
    rotor_speed_rad_s : [rad/s], any shape

    Returns
    -------
    [s], of the broadcast shape; infinite at standstill.

    References
    ----------
    .. [1] Definition of a rotational speed.
    """
    speed = np.asarray(rotor_speed_rad_s, float)
    with np.errstate(divide="ignore"):
        return np.asarray(revolutions) * 2 * np.pi / speed


def highest_axial_load_n(static_rating_n: float, kind: str, bore_m: float | None, light_series: bool) -> float | None:
    """Return the axial load that a deep-groove ball bearing takes at all, a share of C0.

    Parameters
    ----------
    static_rating_n : [N] C0
    kind : a key of LIFE_EXPONENT
    bore_m : [m], None where it is not known
    light_series : whether the bearing is of a light series

    Returns
    -------
    [N] 0.5·C0, or 0.25·C0 for a bore up to 12 mm and for a light series; None for other kinds, whose limit is their
    rating.

    References
    ----------
    .. [1] Limits that makers of bearings give: common practice, no source.
    """
    if kind != "deep_groove_ball":
        return None
    small = light_series or (bore_m is not None and bore_m <= 0.012 + 1e-9)
    return (0.25 if small else 0.5) * static_rating_n


# --- blade root ------------------------------------------------------------------------------------------------------


def centrifugal_force_n(mass_kg: Values, radius_m: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the centrifugal force of masses at radii, m·r·ω².

    Parameters
    ----------
    mass_kg : [kg], any shape
    radius_m : [m] of the centre of mass, any shape
    rotor_speed_rad_s : [rad/s], any shape

    Returns
    -------
    [N], of the broadcast shape, away from the axis.

    References
    ----------
    .. [1] Mechanics.
    """
    return np.asarray(mass_kg) * radius_m * np.asarray(rotor_speed_rad_s, float) ** 2


def flap_bending_n_m(blade_thrust_n: Values, tip_radius_m: Values, root_radius_m: Values) -> np.ndarray:
    """Return the flap bending moment at the root radius of one blade's thrust.

    The thrust is taken as even over the swept disc, so that it grows with the radius along the blade:
    T·2/R²·((R³ − r³)/3 − r·(R² − r²)/2), which about the axis itself is 2/3·R·T. Stiffening by the centrifugal force is
    left out (it would relieve the root).

    Parameters
    ----------
    blade_thrust_n : [N] of one blade, any shape
    tip_radius_m, root_radius_m : [m], any shape

    Returns
    -------
    [N·m], of the broadcast shape

    References
    ----------
    .. [1] Integral of the thrust's arm about the root (mechanics).
    """
    tip, root = np.asarray(tip_radius_m, float), np.asarray(root_radius_m, float)
    arm = 2 / tip**2 * ((tip**3 - root**3) / 3 - root * (tip**2 - root**2) / 2)
    return np.asarray(blade_thrust_n) * arm


def gyroscopic_moment_n_m(inertia_kg_m2: Values, rotor_speed_rad_s: Values, turning_rate_rad_s: Values) -> np.ndarray:
    """Return the gyroscopic moment of a rotor whose axis is swung, J·ω·Ω; that of two blades peaks at twice it.

    Parameters
    ----------
    inertia_kg_m2 : [kg·m²] about the rotor axis, any shape
    rotor_speed_rad_s : [rad/s], any shape
    turning_rate_rad_s : [rad/s] of the axis, square to it, any shape

    Returns
    -------
    [N·m], of the broadcast shape

    References
    ----------
    .. [1] Mechanics.
    """
    return np.asarray(inertia_kg_m2) * rotor_speed_rad_s * turning_rate_rad_s


def gyroscopic_root_bending_n_m(
    blade: BladeMass, root_radius_m: Values, rotor_speed_rad_s: Values, turning_rate_rad_s: Values
) -> np.ndarray:
    """Return the peak of one blade's own gyroscopic bending at its root, 2·ω·Ω·Σm·r·(r − r₀), once a turn, flapwise.

    Each mass is accelerated along the rotor axis by 2·ω·Ω·r·cos ψ while the axis is swung (Coriolis), and the root at
    r₀ feels it at the arm r − r₀.

    Parameters
    ----------
    blade : masses [kg] at radii [m]; those inside the root radius do not count
    root_radius_m : [m] r₀, any shape
    rotor_speed_rad_s : [rad/s] ω, any shape
    turning_rate_rad_s : [rad/s] Ω, of the axis, square to it, any shape

    Returns
    -------
    [N·m], of the broadcast shape

    References
    ----------
    .. [1] Mechanics; about the axis itself three blades add up to J·ω·Ω, as they must.
    """
    arms = np.maximum(blade.radii_m - np.asarray(root_radius_m), 0.0)
    moment = float(np.sum(blade.masses_kg * blade.radii_m * arms))
    return np.asarray(2.0 * moment * np.asarray(rotor_speed_rad_s, float) * turning_rate_rad_s)


# --- pitch axis ------------------------------------------------------------------------------------------------------


def plate_inertia_difference_kg_m2(
    mass_kg: Values, chord_m: Values, thickness_m: Values, offset_m: Values = 0.0
) -> np.ndarray:
    """Return ∫(ξ² − η²)dm of a flat plate about the pitch axis, m·(c² − t²)/12 + m·d².

    ξ runs along the chord, η across it. A plate's mass lies farther out than that of a section, which errs to the safe
    side.

    Parameters
    ----------
    mass_kg : [kg] of one blade, any shape
    chord_m, thickness_m : [m] c and t, any shape
    offset_m : [m] d, along the chord from the pitch axis to the centre of mass, any shape

    Returns
    -------
    [kg·m²], of the broadcast shape

    References
    ----------
    .. [1] Moments of inertia of a rectangle and of parallel axes (mechanics).
    """
    return np.asarray(mass_kg) * (
        (np.asarray(chord_m) ** 2 - np.asarray(thickness_m) ** 2) / 12 + np.asarray(offset_m) ** 2
    )


def centrifugal_twisting_moment_n_m(
    inertia_difference_kg_m2: Values, rotor_speed_rad_s: Values, chord_angle_rad: Values
) -> np.ndarray:
    """Return the centrifugal ("tennis racket") moment about the pitch axis of a blade, −½·ω²·∫(ξ² − η²)dm·sin 2β.

    Each part is pulled away from the rotor axis along the rotor plane, which turns the chord into that plane.

    Parameters
    ----------
    inertia_difference_kg_m2 : [kg·m²] ∫(ξ² − η²)dm, any shape
    rotor_speed_rad_s : [rad/s], any shape
    chord_angle_rad : [rad] β, of the chord from the rotor plane, any shape

    Returns
    -------
    [N·m], of the broadcast shape, towards feather positive.

    References
    ----------
    .. [1] Mechanics; "towards flat pitch": aviation glossary.
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
    """Return one blade's section moment, −cm·½·ρ·c²·∫(U² + (ω·r)²)dr from root to tip, for a constant chord.

    Nose down (cm negative) turns the nose into the wind, which is towards feather.

    Parameters
    ----------
    moment_coefficient : [1] cm about the quarter chord, nose up positive, any shape
    density_kg_m3 : [kg/m³], any shape
    chord_m : [m], any shape
    air_speed_m_s : [m/s] through the disc, any shape
    rotor_speed_rad_s : [rad/s], any shape
    root_radius_m, tip_radius_m : [m] between which the blade is an aerofoil, any shape

    Returns
    -------
    [N·m], of the broadcast shape, towards feather positive.

    References
    ----------
    .. [1] Definition of a section's moment coefficient.
    """
    tip, root = np.asarray(tip_radius_m, float), np.asarray(root_radius_m, float)
    speed = np.asarray(rotor_speed_rad_s, float)
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
    """Return the moment of one blade's air force that acts off the pitch axis.

    The force across the chord, T·cos β + Q/(2/3·R)·sin β, acts at the quarter chord; a pitch axis behind it lets the
    force turn the nose up, towards fine pitch and stall. Thrust and torque are taken at 2/3 of the radius.

    Parameters
    ----------
    blade_thrust_n : [N] T of one blade, any shape
    blade_torque_n_m : [N·m] Q of one blade, any shape
    tip_radius_m : [m] R, any shape
    chord_angle_rad : [rad] β, of the chord from the rotor plane, any shape
    chord_m : [m], any shape
    pitch_axis : [1] where it lies, as a share of the chord from the leading edge, any shape

    Returns
    -------
    [N·m], of the broadcast shape, towards feather positive.

    References
    ----------
    .. [1] Quarter chord: thin-aerofoil theory.
    """
    beta = np.asarray(chord_angle_rad, float)
    sideways = np.asarray(blade_torque_n_m) / (2 / 3 * np.asarray(tip_radius_m))
    across = np.asarray(blade_thrust_n) * np.cos(beta) + sideways * np.sin(beta)
    return across * (0.25 - np.asarray(pitch_axis)) * chord_m


def pitch_friction_n_m(centrifugal_n: Values, friction: Values, bearing_diameter_m: Values) -> np.ndarray:
    """Return the friction moment of a blade's pitch bearing, μ·F·d/2.

    Parameters
    ----------
    centrifugal_n : [N] F, the blade's pull on its bearing, any shape
    friction : [1] μ, any shape
    bearing_diameter_m : [m] d, mean diameter of the track, any shape

    Returns
    -------
    [N·m], of the broadcast shape, without a sign: against any motion.

    References
    ----------
    .. [1] Mechanics.
    """
    return np.asarray(friction) * centrifugal_n * np.asarray(bearing_diameter_m) / 2


def rod_lever_m(arm_m: Values, pitch_deg: Values, square_at_deg: Values) -> np.ndarray:
    """Return the effective lever of a pitch horn, its arm times the cosine of the angle off square.

    Parameters
    ----------
    arm_m : [m], any shape
    pitch_deg, square_at_deg : [°] the pitch, and that at which the rod stands square to the horn, any shape

    Returns
    -------
    [m], of the broadcast shape

    References
    ----------
    .. [1] Geometry, closed form.
    """
    return np.asarray(arm_m) * np.cos(np.deg2rad(np.asarray(pitch_deg, float) - square_at_deg))


# --- balance ---------------------------------------------------------------------------------------------------------


def imbalance_force_n(imbalance_kg_m: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the turning force of an imbalance, m·e·ω².

    Parameters
    ----------
    imbalance_kg_m : [kg·m] m·e, any shape
    rotor_speed_rad_s : [rad/s], any shape

    Returns
    -------
    [N], of the broadcast shape

    References
    ----------
    .. [1] Mechanics.
    """
    return np.asarray(imbalance_kg_m) * np.asarray(rotor_speed_rad_s, float) ** 2


def permissible_imbalance_kg_m(grade_m_s: Values, rotor_mass_kg: Values, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the permissible residual imbalance of a balance grade, m·G/ω.

    Parameters
    ----------
    grade_m_s : [m/s] G = e·ω; grade G 16 is 0.016 m/s, any shape
    rotor_mass_kg : [kg], any shape
    rotor_speed_rad_s : [rad/s] the highest in service, any shape

    Returns
    -------
    [kg·m], of the broadcast shape

    References
    ----------
    .. [1] ISO 21940-11, as summarised elsewhere: the standard itself was not read.
    """
    return np.asarray(grade_m_s) * rotor_mass_kg / np.asarray(rotor_speed_rad_s, float)


@dataclass(frozen=True)
class BladeMass:
    """One blade as pieces: masses (kg) at radii (m), both (pieces,). The pull needs Σm·r, the inertia Σm·r²."""

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
