"""Glauert's optimum rotor with wake rotation: the exact integral, and the blade-element solver on the optimum blade.

H. Glauert, "Airplane Propellers" (in Durand, Aerodynamic Theory, vol. IV, 1935); closed-form treatment: Tyagi and
Schmitz,
Wind Energy Science 10 (2025) 451. Some printed tables of this integral are off by 0.003 and more, so it is derived
here.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from energy.aero.blade import Corrections, CurveSettings, blade_curves, blade_from_stations
from energy.aero.polar import SectionPolar

EXACT = {0.5: 0.2894, 1.0: 0.4155, 1.5: 0.4772, 2.0: 0.5112, 2.5: 0.5319, 5.0: 0.5704, 7.5: 0.5808, 10.0: 0.5852}


def optimum_induction(local_speed_ratio):
    """The optimum annulus: lambda_r^2 = (1-a)(4a-1)^2/(1-3a), with a between 1/4 and 1/3."""
    return brentq(lambda a: (1 - a) * (4 * a - 1) ** 2 - local_speed_ratio**2 * (1 - 3 * a), 0.25, 1 / 3, xtol=1e-15)


def glauert_power_coefficient(tip_speed_ratio):
    """Cp = (8/lambda^2) integral of a'(1-a) lambda_r^3 with a' = (1-3a)/(4a-1)."""

    def annulus(local):
        a = optimum_induction(local)
        swirl = (1 - 3 * a) / (4 * a - 1)
        return swirl * (1 - a) * local**3

    return 8 / tip_speed_ratio**2 * quad(annulus, 0, tip_speed_ratio, epsabs=1e-9)[0]


@pytest.mark.parametrize(("ratio", "printed"), EXACT.items())
def test_integral_gives_the_published_values(ratio, printed):
    assert glauert_power_coefficient(ratio) == pytest.approx(printed, abs=6e-5)


@pytest.mark.parametrize("ratio", EXACT)
def test_solver_reaches_the_optimum_without_drag_and_with_many_blades(ratio):
    """Blade of the optimum: phi = (2/3) atan(1/lambda_r), solidity Cl = 4 (1 - cos phi) (same theory), at alpha =
    5 deg.
    """
    alpha = np.arange(-40.0, 41.0, 1.0)
    polar = SectionPolar(alpha, 2 * np.pi * np.radians(alpha), np.zeros_like(alpha), name="no drag, no stall")
    x = np.linspace(0.005, 1.0, 600)
    inflow = 2 / 3 * np.arctan(1 / (ratio * x))
    blades = 5000
    lift = 2 * np.pi * np.radians(5.0)
    chord = 4 * (1 - np.cos(inflow)) / lift * 2 * np.pi * x / blades
    blade = blade_from_stations(x, chord, np.degrees(inflow) - 5.0, blades, name="optimum blade")
    curves = blade_curves(
        blade,
        [polar],
        np.array([ratio]),
        np.array([0.0]),
        CurveSettings(sections=300, corrections=Corrections(root_loss=False)),
    )
    assert curves.power_coefficient[0, 0] == pytest.approx(glauert_power_coefficient(ratio), abs=1e-3)
