"""What a vehicle of a given mass usually has: road load, engine size, top gear, and gears spaced below it.

Laws of the form k · (mass / 1800 kg)^p, fitted to the certified vehicles of the US EPA test car lists of 2014 to 2019
(tests/data/certified_fuel); their spread is that of nine vehicles in ten about the law.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_MIDDLE_KG = 1800.0
# First gear over top gear by number of gears; equal steps between (common practice, no source). Highway fuel changes by
# 0.2 % where these are stretched by a quarter.
_FIRST_OVER_TOP = {4: 4.0, 5: 4.6, 6: 5.6, 7: 6.4, 8: 7.0}
_FIRST_OVER_TOP_OF_MORE = 7.6


@dataclass(frozen=True)
class Law:
    """One quantity over mass: `at_1800_kg` · (mass / 1800 kg)^`power`, and the factors that hold nine in ten."""

    at_1800_kg: float
    power: float
    low_factor: float
    high_factor: float

    def at(self, mass_kg: float) -> tuple[float, float, float]:
        """Return (typical, low, high) at a mass in kg, in the law's own unit.

        Parameters
        ----------
        mass_kg : [kg]

        Returns
        -------
        [unit of the law] three numbers.
        """
        typical = self.at_1800_kg * (mass_kg / _MIDDLE_KG) ** self.power
        return typical, typical * self.low_factor, typical * self.high_factor


CONSTANT_N = {"car": Law(187.0, 1.26, 0.77, 1.28), "truck": Law(164.0, 1.13, 0.75, 1.29)}
"""Coast-down A (N) with B = 0, spin loss of gearbox and axle in it."""
SQUARE_N_S2_M2 = {"car": Law(0.473, 0.19, 0.84, 1.31), "truck": Law(0.636, 0.55, 0.84, 1.27)}
"""Coast-down C (N·s²/m²) with B = 0, in air of 1.2 kg/m³."""
DISPLACEMENT_L = {"petrol": Law(2.78, 1.73, 0.61, 1.48), "diesel": Law(2.10, 0.91, 0.85, 1.28)}
"""Engine displacement (L)."""
TOP_GEAR_RAD_M = {"petrol": Law(7.22, -0.65, 0.78, 1.24), "diesel": Law(6.31, -0.12, 0.80, 1.12)}
"""Engine speed over road speed in top gear (rad/m)."""


def spaced_gears(travel_per_radian_in_top_m: float, number_of_gears: int) -> np.ndarray:
    """Return the travel per radian (m/rad) of the engine in each gear, lowest gear first, in equal ratio steps.

    Parameters
    ----------
    travel_per_radian_in_top_m : float
        Travel of the vehicle per radian of the engine in top gear [m].
    number_of_gears : int
        Gears, 2 or more.

    Returns
    -------
    array, shape (number_of_gears,)
        Travel per radian [m].

    References
    ----------
    .. [1] Equal ratio steps: common practice, no source.
    """
    first_over_top = _FIRST_OVER_TOP.get(max(number_of_gears, min(_FIRST_OVER_TOP)), _FIRST_OVER_TOP_OF_MORE)
    steps = np.arange(number_of_gears)[::-1] / (number_of_gears - 1)
    return np.asarray(travel_per_radian_in_top_m / first_over_top**steps)
