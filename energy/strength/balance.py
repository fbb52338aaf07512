"""Balancing a rotor in one plane: from blade masses, a knife edge, or two vibrations and a trial weight.

An imbalance is a complex number (kg·m): its size, and its angle from a mark on the hub in the direction of rotation.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np

from energy.strength.equations import permissible_imbalance_kg_m

# Share of the first reading that a trial weight must change. Below the first nothing is calculated, below the second
# the answer is rough: readings scatter by some percent (common practice, no source).
LEAST_CHANGE, CLEAR_CHANGE = 0.1, 0.3


@dataclass(frozen=True)
class Bolt:
    """A weight (kg) at one bolt, numbered from 1 at the mark, and the bolt's angle (rad)."""

    number: int
    mass_kg: float
    angle_rad: float


@dataclass(frozen=True)
class Balance:
    """The imbalance found (kg·m), the one weight against it, the two nearest bolts, what is left of it with them, and
    what the grade permits (kg·m; None where rotor mass or speed are not given). Of a trial: the change of the reading
    over the first one, and the imbalance (kg·m) if its phases were read against the rotation (None otherwise).
    """

    imbalance_kg_m: complex
    radius_m: float
    bolts: tuple[Bolt, ...]
    left_kg_m: float
    permitted_kg_m: float | None
    trial_change: float | None = None
    other_way_kg_m: complex | None = None

    @property
    def correction_kg(self) -> float:
        """Return the weight at the radius that takes the imbalance away, kg."""
        return abs(self.imbalance_kg_m) / self.radius_m

    @property
    def correction_rad(self) -> float:
        """Return the angle of that weight: opposite to the imbalance."""
        return cmath.phase(-self.imbalance_kg_m) % (2 * math.pi)

    @property
    def other_way_rad(self) -> float | None:
        """Return the angle of the weight if the phases were read against the rotation."""
        return None if self.other_way_kg_m is None else cmath.phase(-self.other_way_kg_m) % (2 * math.pi)


def imbalance_of_blades_kg_m(masses_kg: np.ndarray, radii_m: np.ndarray) -> complex:
    """Return the imbalance (kg·m) of blades at even angles, the first at the mark: Σ m·r·e^(iφ) (mechanics)."""
    angles = 2 * np.pi * np.arange(len(masses_kg)) / len(masses_kg)
    return complex(np.sum(np.asarray(masses_kg) * np.asarray(radii_m) * np.exp(1j * angles)))


def imbalance_by_trial_kg_m(before: complex, after: complex, trial_kg_m: complex) -> complex:
    """Return the imbalance (kg·m) from two vibrations at one speed: without and with a trial weight (kg·m).

    The influence coefficient is (after − before)/trial, and the imbalance is the first vibration over it. Vibrations
    are complex (any unit): size and phase from the same mark.

    References
    ----------
    .. [1] Single-plane influence-coefficient method (from memory).

    Raises ValueError where the trial weight changed nothing.
    """
    change = after - before
    if abs(change) < 1e-9 * max(abs(before), abs(after), 1e-12) or trial_kg_m == 0:
        raise ValueError("the trial weight changed nothing")
    return before * trial_kg_m / change


def two_bolts(correction_kg_m: complex, radius_m: float, holes: int, step_kg: float) -> tuple[Bolt, ...]:
    """Return the weights (kg, in whole steps) at the two neighbouring holes that come nearest to a correction (kg·m).

    The two holes on either side of its angle share it as the sides of a parallelogram do (mechanics).
    """
    turn = 2 * math.pi / holes
    first = int(cmath.phase(correction_kg_m) % (2 * math.pi) // turn) % holes
    angles = np.array([first, first + 1]) * turn
    sides = np.array([np.cos(angles), np.sin(angles)]) * radius_m
    shares = np.linalg.solve(sides, [correction_kg_m.real, correction_kg_m.imag])
    masses = np.round(np.maximum(shares, 0.0) / step_kg) * step_kg
    return tuple(
        Bolt(int(k) % holes + 1, float(mass), float(angle) % (2 * math.pi))
        for k, mass, angle in zip((first, first + 1), masses, angles, strict=True)
        if mass > 0
    )


def balance(
    imbalance_kg_m: complex,
    radius_m: float,
    holes: int,
    step_kg: float,
    permitted: tuple[float, float, float] | None = None,
    trial_change: float | None = None,
    other_way_kg_m: complex | None = None,
) -> Balance:
    """Return the correction of an imbalance; `permitted` is (grade m/s, rotor mass kg, rotor speed rad/s).

    `trial_change` and `other_way_kg_m` are those of `Balance`.
    """
    bolts = two_bolts(-imbalance_kg_m, radius_m, holes, step_kg)
    added = sum((bolt.mass_kg * radius_m * cmath.exp(1j * bolt.angle_rad) for bolt in bolts), 0j)
    allowed = None if permitted is None else float(permissible_imbalance_kg_m(*permitted))
    return Balance(imbalance_kg_m, radius_m, bolts, abs(imbalance_kg_m + added), allowed, trial_change, other_way_kg_m)
