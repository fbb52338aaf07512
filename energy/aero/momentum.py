"""Momentum theory of the rotor disc: thrust, power and axial induction, and the line for high thrust.

A rotor that slows the air by the axial induction a takes Cp = 4a(1−a)² and Ct = 4a(1−a) [1]_, at most Cp = 16/27. Above
a = 0.4 the wake is turbulent and the thrust follows Glauert's measurements, in the line fitted by Buhl [2]_. With
Prandtl's loss factor F of tip and root,

    Ct = 8/9 + (4F − 40/9)·a + (50/9 − 4F)·a²,

which meets 4a(1−a)F at a = 0.4 in value and slope; without loss F = 1. All from memory.

.. [1] Betz, A., Zeitschrift für das gesamte Turbinenwesen 26 (1920) 307; any wind-energy textbook.
.. [2] Buhl, M. L., NREL/TP-500-36834 (2005).
"""

from __future__ import annotations

import numpy as np

from vehicle.arrays import Values

BETZ_LIMIT = 16.0 / 27.0
HIGH_THRUST_INDUCTION = 0.4
_HIGHEST_MOMENTUM_THRUST = 0.96  # 4a(1−a) at a = 0.4
_HIGH_THRUST = (8.0 / 9.0, 4.0 - 40.0 / 9.0, 50.0 / 9.0 - 4.0)  # the line's coefficients without loss


def thrust_coefficient_of_induction(induction: Values) -> np.ndarray:
    """Return the thrust coefficient of an axial induction, without losses.

    Parameters
    ----------
    induction : axial induction a [-], of any shape.

    Returns
    -------
    4a(1−a) up to a = 0.4, the line for high thrust above [-], of the same shape.

    References
    ----------
    .. [1] Betz and Buhl, see the head of this module.
    """
    a = np.asarray(induction, float)
    c0, c1, c2 = _HIGH_THRUST
    return np.where(a <= HIGH_THRUST_INDUCTION, 4 * a * (1 - a), c0 + c1 * a + c2 * a * a)


def induction_of_thrust_coefficient(thrust_coefficient: Values) -> np.ndarray:
    """Return the axial induction a of a thrust coefficient: the inverse of `thrust_coefficient_of_induction`.

    Parameters
    ----------
    thrust_coefficient : [-] Ct of any shape

    Returns
    -------
    [-] a, of that shape; never below 0.

    References
    ----------
    .. [1] Betz and Buhl, see the head of this module.
    """
    ct = np.asarray(thrust_coefficient, float)
    c0, c1, c2 = _HIGH_THRUST
    low = 0.5 * (1 - np.sqrt(np.maximum(0.0, 1 - np.minimum(ct, _HIGHEST_MOMENTUM_THRUST))))
    high = (-c1 + np.sqrt(np.maximum(0.0, c1 * c1 - 4 * c2 * (c0 - np.maximum(ct, _HIGHEST_MOMENTUM_THRUST))))) / (
        2 * c2
    )
    return np.where(ct <= _HIGHEST_MOMENTUM_THRUST, low, high)


def wake_speed_at_high_thrust(sine: np.ndarray, four_losses: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Return the air speed over the relative speed of a blade section on the line for high thrust.

    With w the free air speed over the section's relative speed, a = 1 − sin φ/w, and the thrust of the blades balances
    that of the annulus, σ·Cn = Ct(a)·w². The line of the module's head makes that a square in w,

        2w² + (4F − 20/3)·sin φ·w + (50/9 − 4F)·sin² φ − σ·Cn = 0,

    whose larger root is returned, in the form without cancellation.

    Parameters
    ----------
    sine : sine of the inflow angle φ [-], any shape
    four_losses : 4F [-], any shape
    normal : σ·Cn, solidity times the coefficient of the force along the rotor axis [-], any shape

    Returns
    -------
    w [-], of the shape that the three broadcast to.

    References
    ----------
    .. [1] Buhl, see the head of this module.
    """
    square = four_losses * (four_losses - 16.0 / 3.0) * (sine * sine) + 8.0 * normal
    return np.asarray(0.25 * ((20.0 / 3.0 - four_losses) * sine + np.sqrt(np.maximum(square, 0.0))))


def induction_of_power_coefficient(power_coefficient: Values) -> np.ndarray:
    """Return the light root (a ≤ 1/3) of 4a(1−a)² = Cp by the trigonometric formula of the cubic.

    Parameters
    ----------
    power_coefficient : [-] Cp of any shape, 0 to 16/27; held there beyond

    Returns
    -------
    [-] a, of that shape.

    References
    ----------
    .. [1] Betz, see the head of this module; trigonometric formula of the cubic, closed form.
    """
    # With x = 1 − a: x³ − x² + Cp/4 = 0, whose largest root is x = 1/3 + (2/3)·cos(θ/3), cos θ = 1 − 27·Cp/8.
    theta = np.arccos(np.clip(1 - 27.0 * np.asarray(power_coefficient) / 8.0, -1.0, 1.0))
    return 1 - (1.0 / 3.0 + (2.0 / 3.0) * np.cos(theta / 3))


def disc_power_coefficient(thrust_coefficient: Values) -> np.ndarray:
    """Return the power coefficient of the thrust at the disc, Ct·(1−a): no rotor gives more shaft power than that.

    Above a thrust coefficient of 0.96 the flow is turbulent and momentum theory no longer bounds it; there the
    induction of the empirical branch is used.

    Parameters
    ----------
    thrust_coefficient : [-] Ct of any shape

    Returns
    -------
    [-], of that shape.

    References
    ----------
    .. [1] Betz and Buhl, see the head of this module.
    """
    ct = np.asarray(thrust_coefficient, float)
    return ct * (1 - np.clip(induction_of_thrust_coefficient(ct), 0.0, 1.0))
