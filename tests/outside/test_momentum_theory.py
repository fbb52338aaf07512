"""Betz's momentum theory: A. Betz, Das Maximum der theoretisch möglichen Ausnützung des Windes durch Windmotoren
(1920).

The numbers a = 1/3, Cp = 16/27, Ct = 8/9 stand in any wind-energy textbook. Break-even in a head wind is derived here.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ideal_rotor import ideal_break_even_head_wind
from scipy.optimize import brentq, minimize_scalar

from energy.aero import momentum


def test_betz_point() -> None:
    def power(a: float) -> float:
        return float(momentum.thrust_coefficient_of_induction(a)) * (1 - a)

    found = minimize_scalar(lambda a: -power(a), bounds=(0, 0.4), method="bounded")
    assert found.x == pytest.approx(1 / 3, abs=1e-5)
    assert -found.fun == pytest.approx(16 / 27, abs=1e-9)
    assert float(momentum.thrust_coefficient_of_induction(1 / 3)) == pytest.approx(8 / 9)
    assert pytest.approx(16 / 27) == momentum.BETZ_LIMIT


@given(st.floats(0.0, 1.0))
def test_induction_and_thrust_are_inverse(a: float) -> None:
    thrust = momentum.thrust_coefficient_of_induction(a)
    assert float(momentum.induction_of_thrust_coefficient(thrust)) == pytest.approx(a, abs=1e-7)


def test_high_thrust_branch_joins_smoothly() -> None:
    # Buhl (2005), NREL/TP-500-36834, from memory: value and slope meet 4a(1-a) at a = 0.4, and Ct = 2 at a = 1.
    step = 1e-6
    below = (
        momentum.thrust_coefficient_of_induction(0.4) - momentum.thrust_coefficient_of_induction(0.4 - step)
    ) / step
    above = (
        momentum.thrust_coefficient_of_induction(0.4 + step) - momentum.thrust_coefficient_of_induction(0.4)
    ) / step
    assert float(momentum.thrust_coefficient_of_induction(0.4)) == pytest.approx(0.96)
    assert float(below) == pytest.approx(float(above), abs=1e-4)
    assert float(momentum.thrust_coefficient_of_induction(1.0)) == pytest.approx(2.0)


@given(st.floats(0.01, 0.5), st.floats(0.2, 1.0))
def test_break_even_head_wind_against_the_power_balance(a: float, efficiency: float) -> None:
    road = 25.0

    def balance(wind: float) -> float:
        air = road + wind
        return efficiency * 4 * a * (1 - a) ** 2 * air**3 - 4 * a * (1 - a) * air**2 * road

    wind = brentq(balance, 0.0, 1000.0) if balance(0.0) < 0 else 0.0
    assert float(ideal_break_even_head_wind(a, efficiency)) * road == pytest.approx(wind, abs=1e-6)


def test_at_the_betz_point_half_the_road_speed_of_head_wind_breaks_even() -> None:
    assert float(ideal_break_even_head_wind(1 / 3)) == pytest.approx(0.5)
    assert np.all(np.diff(ideal_break_even_head_wind(np.linspace(0.01, 0.5, 50))) > 0)


@pytest.mark.parametrize(
    ("induction", "thrust"),
    # Betz: 4a(1−a) to 0.4; above it Buhl's line without loss, 8/9 − 4/9·a + 14/9·a².
    [
        (-0.1, -0.44),
        (0.0, 0.0),
        (0.2, 0.64),
        (0.4, 0.96),
        (0.5, 19 / 18),
        (0.7, 8 / 9 - 2.8 / 9 + 6.86 / 9),
        (1.2, 2.59556),
    ],
)
def test_thrust_over_induction_by_hand(induction: float, thrust: float) -> None:
    assert float(momentum.thrust_coefficient_of_induction(induction)) == pytest.approx(thrust, abs=1e-5)
    if induction >= 0:
        assert float(momentum.induction_of_thrust_coefficient(thrust)) == pytest.approx(induction, abs=1e-5)
    else:
        assert float(momentum.induction_of_thrust_coefficient(thrust)) < 0


@pytest.mark.parametrize("power", [0.0, 0.05, 0.3, 0.5, 0.59])
def test_light_root_of_the_power_by_bisection(power: float) -> None:
    found = brentq(lambda a: 4 * a * (1 - a) ** 2 - power, 0.0, 1 / 3, xtol=1e-14)
    assert float(momentum.induction_of_power_coefficient(power)) == pytest.approx(found, abs=1e-8)


def test_more_power_than_betz_and_less_than_none_are_held() -> None:
    assert momentum.induction_of_power_coefficient(np.array([-0.3, 0.7])) == pytest.approx([0.0, 1 / 3], abs=1e-12)


@pytest.mark.parametrize("thrust", [-0.2, 0.0, 0.5, 8 / 9, 0.96, 1.2, 1.9, 2.0, 2.4])
def test_power_at_the_disc_is_thrust_times_the_slowed_air(thrust: float) -> None:
    if thrust <= 0:
        a = 0.0
    elif thrust <= 0.96:
        a = brentq(lambda a: 4 * a * (1 - a) - thrust, 0.0, 0.4 + 1e-12)
    else:  # Buhl's line; from a = 1 on no air passes the disc
        a = min(brentq(lambda a: 8 / 9 - 4 / 9 * a + 14 / 9 * a * a - thrust, 0.39, 2.0), 1.0)
    assert float(momentum.disc_power_coefficient(thrust)) == pytest.approx(thrust * (1 - a), abs=1e-9)
