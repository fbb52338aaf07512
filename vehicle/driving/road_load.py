"""The force that the road and the air ask of a vehicle, and what it costs at the wheels.

Road load F = A + B·v + C·v² from a coast-down (SAE J1263 / J2263 form), or from drag area, rolling resistance and mass.
The air's part acts on the AIR speed, so that wind changes it with and without anything bolted to the vehicle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vehicle.arrays import Values
from vehicle.constants import GRAVITY_M_S2


@dataclass(frozen=True)
class RoadLoad:
    """A vehicle on the road; every field is a float or an array of draws.

    `constant_n`, `linear_n_s_m` and `drag_area_m2` give the flat-road, still-air force
    constant + linear·v + ½·ρ·drag_area·v²; `mass_kg` serves for grade and inertia only where the
    constant was measured (coast-down), and `extra_mass_rolling_coefficient` is what added mass adds to the constant.
    """

    mass_kg: Values
    constant_n: Values
    linear_n_s_m: Values
    drag_area_m2: Values
    extra_mass_rolling_coefficient: Values
    rotating_mass_factor: Values = 1.03


@dataclass(frozen=True)
class RoadForces:
    """Forces against the motion, in newtons (negative pushes), each an array of the operating points' shape."""

    tyres_n: np.ndarray
    body_drag_n: np.ndarray
    grade_n: np.ndarray
    inertia_n: np.ndarray

    @property
    def total_n(self) -> np.ndarray:
        """Sum of all, in newtons: the tractive force needed without anything else on the vehicle."""
        return self.tyres_n + self.body_drag_n + self.grade_n + self.inertia_n


def from_drag_area(mass_kg: Values, drag_area_m2: Values, rolling_resistance_coefficient: Values) -> RoadLoad:
    """Return the road load of a vehicle known by mass, drag area Cd·A (m²) and rolling resistance coefficient.

    Parameters
    ----------
    mass_kg : [kg] any shape
    drag_area_m2 : [m²] any shape
    rolling_resistance_coefficient : [-] any shape

    Returns
    -------
    The road load, fields of those shapes.

    References
    ----------
    .. [1] Definitions of the two coefficients.
    """
    mass, rolling = np.asarray(mass_kg, float), np.asarray(rolling_resistance_coefficient, float)
    return RoadLoad(mass_kg, mass * GRAVITY_M_S2 * rolling, 0.0, drag_area_m2, rolling)


def from_coastdown(
    mass_kg: Values,
    a_n: Values,
    b_n_s_m: Values,
    c_n_s2_m2: Values,
    air_density_kg_m3: Values,
    rolling_resistance_coefficient: Values = 0.010,
) -> RoadLoad:
    """Return the road load of a vehicle known by coast-down coefficients A (N), B (N·s/m), C (N·s²/m²).

    C was measured at `air_density_kg_m3`; it becomes the drag area 2·C/ρ so that weather can change it. The rolling
    coefficient serves only for mass added later.

    Parameters
    ----------
    mass_kg : [kg] any shape
    a_n : [N] any shape
    b_n_s_m : [N·s/m] any shape
    c_n_s2_m2 : [N·s²/m²] any shape
    air_density_kg_m3 : [kg/m³] any shape
    rolling_resistance_coefficient : [-] any shape

    Returns
    -------
    The road load, fields of those shapes.

    References
    ----------
    .. [1] SAE J1263 and J2263, the form of the road load.
    """
    drag_area = 2 * np.asarray(c_n_s2_m2, float) / np.asarray(air_density_kg_m3, float)
    return RoadLoad(mass_kg, a_n, b_n_s_m, drag_area, rolling_resistance_coefficient)


def with_added_mass(load: RoadLoad, added_mass_kg: Values) -> RoadLoad:
    """Return the road load of a vehicle that carries more: it weighs more, and its tyres roll harder.

    Parameters
    ----------
    load : fields of shapes that broadcast
    added_mass_kg : [kg] broadcasts with them

    Returns
    -------
    The road load.

    References
    ----------
    .. [1] Definition of the rolling resistance coefficient.
    """
    added = np.asarray(added_mass_kg)
    rolling = added * GRAVITY_M_S2 * np.asarray(load.extra_mass_rolling_coefficient)
    return replace(load, mass_kg=np.asarray(load.mass_kg) + added, constant_n=np.asarray(load.constant_n) + rolling)


def air_drag_n(
    drag_area_m2: Values, density_kg_m3: Values, air_ahead_m_s: Values, air_across_m_s: Values = 0.0
) -> np.ndarray:
    """Return the drag along the vehicle's axis, in newtons, of a drag area in air that comes from ahead and across.

    D = ½·ρ·CdA·|u|·u_ahead: the drag vector of a body whose drag area does not change with yaw. Real bodies' drag area
    grows by some per cent at 10° of yaw, which this leaves to the uncertainty of the drag area.

    Parameters
    ----------
    drag_area_m2 : [m²], any shape
    density_kg_m3 : [kg/m³], any shape
    air_ahead_m_s, air_across_m_s : [m/s], any shape

    Returns
    -------
    [N] against the way of driving, the shape of all inputs broadcast.

    References
    ----------
    .. [1] Definition of a drag coefficient; a drag area that does not change with yaw: common practice, no source.
    """
    ahead, across = np.asarray(air_ahead_m_s, float), np.asarray(air_across_m_s, float)
    return 0.5 * np.asarray(density_kg_m3) * np.asarray(drag_area_m2) * np.hypot(ahead, across) * ahead


def road_forces(
    load: RoadLoad,
    speed_m_s: Values,
    density_kg_m3: Values,
    air_ahead_m_s: Values,
    air_across_m_s: Values = 0.0,
    *,
    grade: Values = 0.0,
    acceleration_m_s2: Values = 0.0,
) -> RoadForces:
    """Return the forces on a vehicle at `speed_m_s` (arrays broadcast); `grade` is rise over run.

    Tyres resist only a moving vehicle. Source of the form: SAE J1263 road load; grade force m·g·sin(atan(grade)).

    Parameters
    ----------
    load : fields of shapes that broadcast
    speed_m_s : [m/s], any shape
    density_kg_m3 : [kg/m³], any shape
    air_ahead_m_s, air_across_m_s : [m/s], any shape
    grade : [-], any shape
    acceleration_m_s2 : [m/s²], any shape

    Returns
    -------
    [N] the forces, of the broadcast shape.

    References
    ----------
    .. [1] SAE J1263, the form of the road load; mechanics.
    """
    speed = np.asarray(speed_m_s, float)
    mass = np.asarray(load.mass_kg)
    slope = np.arctan(np.asarray(grade, float))
    rolling = np.asarray(load.constant_n) * np.cos(slope) + np.asarray(load.linear_n_s_m) * speed
    tyres = np.where(speed > 0, rolling, 0.0)
    drag = air_drag_n(load.drag_area_m2, density_kg_m3, air_ahead_m_s, air_across_m_s)
    climb = mass * GRAVITY_M_S2 * np.sin(slope)
    inertia = mass * np.asarray(load.rotating_mass_factor) * np.asarray(acceleration_m_s2)
    tyres, drag, climb, inertia = np.broadcast_arrays(tyres, drag, climb, inertia)
    return RoadForces(tyres, drag, climb, inertia)
