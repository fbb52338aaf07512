"""A textbook blade that hands can build: optimum chord and twist, narrowed at the hub, and the material that
carries it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from energy.aero.blade import Blade, blade_from_stations
from vehicle.constants import PSI_PA

SOURCE = (
    "optimum blade with wake rotation, Manwell, McGowan and Rogers, Wind Energy Explained, 2nd ed., section 3.9 "
    "(from memory): inflow angle 2/3 atan(1/local speed ratio), chord 8 pi r (1 - cos inflow) / (blades x lift "
    "coefficient), angle = inflow - angle of attack"
)
LIFT_COEFFICIENT, ANGLE_OF_ATTACK_DEG, CAMBER = 1.0, 3.2, 0.06  # of a bent plate (polar.py)
HUB_FILL = 0.6  # share of the circumference that blades laid flat may fill: they turn in pitch beside each other
_INNERMOST, _STATIONS = 0.2, 9
# Aluminium sheet: density; stress that is allowed, a third of a soft alloy's yield (from memory). Softwood: density, a
# quarter of its bending strength (from memory), thickness over chord, and how full a section of that box is.
PLATE_DENSITY_KG_M3, PLATE_STRESS_PA = 2700.0, 40e6
PLATE_THICKNESSES_M = np.array([2, 3, 4, 5, 6, 8, 10, 12, 15, 20]) * 1e-3
WOOD_DENSITY_KG_M3, WOOD_STRESS_PA = 550.0, 12e6
WOOD_THICKNESS_SHARES, WOOD_FULLNESS = np.array([0.12, 0.15, 0.18]), 0.7
# Common practice, no source: thinner plates flutter and dent; thicker ones are not bent by hand; narrower tips not cut.
LEAST_THICKNESS_SHARE, BENT_BY_HAND_M, NARROW_M, THICKEST_WOOD_M = 0.02, 0.008, 0.02, 0.12


@dataclass(frozen=True)
class TextbookBlade:
    """Stations (N,) of one blade in m and degrees towards feather; `optimum_chord_m` is what the formula wants."""

    radius_m: np.ndarray
    chord_m: np.ndarray
    twist_deg: np.ndarray
    optimum_chord_m: np.ndarray
    number_of_blades: int
    tip_speed_ratio: float

    @property
    def narrowed(self) -> np.ndarray:
        """Which stations (N,) are narrower than the formula wants, so that the blades pass each other at the hub."""
        return np.asarray(self.chord_m < self.optimum_chord_m * (1 - 1e-9))

    def as_blade(self) -> Blade:
        """Return it as the blade-element solver takes it.

        Returns
        -------
        The blade.
        """
        return blade_from_stations(self.radius_m, self.chord_m, self.twist_deg, self.number_of_blades)


@dataclass(frozen=True)
class Build:
    """What a blade is made of: "plate" (bent sheet) or "wood" (carved), thickness at the widest chord, mass of a blade,
    its pull on the root, stress there (SI). `no_plate` says why no bent sheet will do, `against` why neither does."""

    material: str
    thickness_m: float
    blade_mass_kg: float
    root_pull_n: float
    stress_pa: float
    no_plate: str = ""
    against: str = ""


def textbook_blade(tip_radius_m: float, number_of_blades: int, tip_speed_ratio: float) -> TextbookBlade:
    """Return a textbook blade: the optimum blade with wake rotation [1]_, narrowed where it would fill the hub.

    Parameters
    ----------
    tip_radius_m : float
        Radius of the blade's tip [m].
    number_of_blades : int
        Blades of the rotor.
    tip_speed_ratio : float
        Tip speed over air speed that the blade is made for [-].

    Returns
    -------
    TextbookBlade
        With inflow angle phi = 2/3 atan(1/local speed ratio) and chord 8 pi r (1 - cos phi) / (blades · lift
        coefficient), but no chord above `HUB_FILL` of 2 pi r / blades.

    References
    ----------
    .. [1] Manwell, McGowan and Rogers, Wind Energy Explained, 2nd ed., section 3.9 (from memory).
    """
    radius = np.linspace(_INNERMOST, 1.0, _STATIONS) * tip_radius_m
    inflow = 2 / 3 * np.arctan(tip_radius_m / (tip_speed_ratio * radius))
    optimum = 8 * np.pi * radius * (1 - np.cos(inflow)) / (number_of_blades * LIFT_COEFFICIENT)
    chord = np.minimum(optimum, HUB_FILL * 2 * np.pi * radius / number_of_blades)
    twist = np.degrees(inflow) - ANGLE_OF_ATTACK_DEG
    return TextbookBlade(radius, chord, twist, optimum, number_of_blades, tip_speed_ratio)


def arc_section_modulus_m3(chord_m: float, camber: float, thickness_m: float) -> float:
    """Return the section modulus [m³] of a plate bent to a flat parabola, about its own axis along the chord.

    With y = 4 f (x/c)(1 - x/c) the mean is 2 f / 3 and the mean square deviation 4 f² / 45 (own derivation), so
    I = t c (4 f²/45 + t²/12), and the edges stand furthest off, 2 f / 3 + t / 2.

    Parameters
    ----------
    chord_m : float
        Chord c [m].
    camber : float
        Height of the arc over the chord, f / c [-].
    thickness_m : float
        Thickness t [m].

    Returns
    -------
    [m³]

    References
    ----------
    .. [1] Own derivation, above.
    """
    height = camber * chord_m
    inertia = thickness_m * chord_m * (4 * height**2 / 45 + thickness_m**2 / 12)
    return float(inertia / (2 * height / 3 + thickness_m / 2))


def build_of(blade: TextbookBlade, thrust_n: float, rotor_speed_rad_s: float) -> Build:
    """Return what carries a blade at a thrust of the whole rotor and a rotor speed: the thinnest sheet, else wood.

    The thrust of a blade is taken at two thirds of the radius; root stress is bending plus centrifugal pull over the
    innermost section, a beam formula: clamps, holes, flutter and fatigue are beyond it.

    Parameters
    ----------
    blade : TextbookBlade
        The stations.
    thrust_n : float
        Thrust of the rotor [N].
    rotor_speed_rad_s : float
        Rotor speed [rad/s].

    Returns
    -------
    Material, thickness, mass, pull and stress of one blade, SI.

    References
    ----------
    .. [1] Beam theory, closed form; allowable stresses and least thickness: common practice, no source.
    """
    radius, chord = blade.radius_m, blade.chord_m
    bending = thrust_n / blade.number_of_blades * (2 * float(radius[-1]) / 3 - float(radius[0]))
    root = float(chord[0])
    area, moment = np.trapezoid(chord, radius), np.trapezoid(chord * radius, radius)
    plate = Build("plate", np.nan, np.nan, np.nan, np.inf)
    for thickness in PLATE_THICKNESSES_M:
        sheet = PLATE_DENSITY_KG_M3 * thickness
        pull = float(sheet * moment * rotor_speed_rad_s**2)
        stress = bending / arc_section_modulus_m3(root, CAMBER, thickness) + pull / (root * thickness)
        plate = Build("plate", float(thickness), float(sheet * area), pull, float(stress))
        if stress <= PLATE_STRESS_PA and thickness >= LEAST_THICKNESS_SHARE * chord.max():
            break
    why = _not_bent(plate)
    narrow = float(chord.min())
    against = f"only {1e3 * narrow:.0f} mm wide where it is narrowest" if narrow < NARROW_M else ""
    if not why:
        return replace(plate, against=against)
    area, moment = np.trapezoid(chord**2, radius), np.trapezoid(chord**2 * radius, radius)
    wood = plate
    for share in WOOD_THICKNESS_SHARES:
        carved = WOOD_DENSITY_KG_M3 * WOOD_FULLNESS * share
        pull = float(carved * moment * rotor_speed_rad_s**2)
        modulus = root * (share * root) ** 2 * np.pi / 32  # of an ellipse of that box
        stress = bending / modulus + pull / (WOOD_FULLNESS * share * root**2)
        wood = Build("wood", float(share * chord.max()), float(carved * area), pull, float(stress), why)
        if stress <= WOOD_STRESS_PA:
            break
    if not against and wood.stress_pa > WOOD_STRESS_PA:
        thickest = 100 * WOOD_THICKNESS_SHARES[-1]
        against = (
            f"too weak at the root: {_stress(wood.stress_pa)} even in wood of {thickest:.0f} % of the chord's "
            f"width; {_stress(WOOD_STRESS_PA)} are allowed"
        )
    if not against and wood.thickness_m > THICKEST_WOOD_M:
        against = f"it would need wood {_thick(wood)} thick"
    return replace(wood, against=against)


def _stress(pascal: float) -> str:
    return f"{pascal / 1e6:.0f} MPa ({round(pascal / PSI_PA, -2):.0f} psi)"


def _thick(build: Build) -> str:
    return f"{1e3 * build.thickness_m:.0f} mm ({build.thickness_m / 0.0254:.2g} in)"


def _not_bent(plate: Build) -> str:
    """Return why a sheet will not do; empty if it does."""
    if plate.stress_pa > PLATE_STRESS_PA:
        return (
            f"too weak at the root: {_stress(plate.stress_pa)} even in {_thick(plate)} sheet; "
            f"{_stress(PLATE_STRESS_PA)} are allowed"
        )
    if plate.thickness_m > BENT_BY_HAND_M:
        return f"it would need {_thick(plate)} sheet, which is not bent by hand"
    return ""
