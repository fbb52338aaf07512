from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from energy.aero.air import (
    density_kg_m3,
    dynamic_viscosity_pa_s,
    rotor_air_speed_m_s,
    shear_speed_factor,
    sound_speed_m_s,
    turbulence_factors,
    wind_triangle,
)

speeds = st.floats(0, 60)
angles = st.floats(-math.pi, math.pi)


def test_moist_air_is_lighter_than_dry() -> None:
    assert density_kg_m3(303.15, 101325.0, 1.0) < density_kg_m3(303.15, 101325.0, 0.0)
    # By hand at 30 °C saturated: vapour 4.24 kPa; dry 97.08 kPa/(287.05*303.15) + 4.24 kPa/(461.5*303.15) = 1.1459
    assert float(density_kg_m3(303.15, 101325.0, 1.0)) == pytest.approx(1.1459, rel=1e-3)


def test_viscosity_and_sound_at_sea_level() -> None:
    # US Standard Atmosphere 1976 at 288.15 K: 1.7894e-5 Pa·s, 340.294 m/s (from memory).
    assert float(dynamic_viscosity_pa_s(288.15)) == pytest.approx(1.7894e-5, rel=1e-4)
    assert float(sound_speed_m_s(288.15)) == pytest.approx(340.294, rel=1e-5)


@given(speeds, speeds, angles)
def test_the_wind_triangle_closes(road: float, wind: float, angle: float) -> None:
    air = wind_triangle(road, wind, angle)
    # Law of cosines.
    assert float(air.speed_m_s) ** 2 == pytest.approx(road**2 + wind**2 + 2 * road * wind * math.cos(angle), abs=1e-9)
    assert 0 <= float(air.yaw_rad) <= math.pi
    mirrored = wind_triangle(road, wind, -angle)
    assert float(mirrored.yaw_rad) == pytest.approx(float(air.yaw_rad))


def test_head_side_and_tail_wind() -> None:
    assert float(wind_triangle(20, 5, 0).ahead_m_s) == 25
    assert float(wind_triangle(20, 5, math.pi).ahead_m_s) == pytest.approx(15)
    side = wind_triangle(20, 20, math.pi / 2)
    assert math.degrees(float(side.yaw_rad)) == pytest.approx(45)
    assert float(wind_triangle(0, 10, math.pi).yaw_rad) == pytest.approx(math.pi)


@given(speeds, speeds, angles, st.floats(0, 6))
def test_yaw_never_adds_and_power_falls_with_the_stated_power_of_the_cosine(
    road: float, wind: float, angle: float, exponent: float
) -> None:
    air = wind_triangle(road, wind, angle)
    working = float(rotor_air_speed_m_s(air, exponent))
    assert 0 <= working <= float(air.speed_m_s) + 1e-12
    cosine = math.cos(float(air.yaw_rad))
    if cosine > 0.01 and float(air.speed_m_s) > 0.1:
        assert (working / float(air.speed_m_s)) ** 3 == pytest.approx(cosine**exponent, rel=1e-6)


def test_air_from_behind_gives_nothing_unless_the_rotor_turns_to_it() -> None:
    air = wind_triangle(5, 12, math.pi)
    assert float(rotor_air_speed_m_s(air, 3.0)) == 0
    assert float(rotor_air_speed_m_s(air, 3.0, turns_into_wind=True)) == pytest.approx(7)


def test_arrays_of_draws_go_the_same_way() -> None:
    wind = np.linspace(0, 10, 7)
    air = wind_triangle(20, wind, 0.3)
    one = [float(rotor_air_speed_m_s(wind_triangle(20, w, 0.3), 2.5, 1.1)) for w in wind]
    np.testing.assert_allclose(rotor_air_speed_m_s(air, 2.5, 1.1), one)


@pytest.mark.parametrize(("height", "radius"), [(2.0, 1.0), (6.0, 4.0)])
def test_mean_over_the_disc_by_hand(height: float, radius: float) -> None:
    # With an exponent of 2/3 the cube of the speed goes with the square of the height, whose mean over a disc is
    # h^2 + R^2/4 (second moment of a circle about its diameter, pi R^4/4, over its area).
    expected = ((height**2 + radius**2 / 4) / 10.0**2) ** (1 / 3)
    assert float(shear_speed_factor(height, radius, 10.0, 2 / 3)) == pytest.approx(expected, rel=1e-9)


def test_gusts_raise_the_means_of_square_and_cube() -> None:
    """Against a sample of a normal distribution; 20 to 30 % of turbulence raise the mean cube by 12 to 27 %."""
    gusts = np.random.default_rng(3).normal(1.0, 0.25, 400_000)
    power, thrust = turbulence_factors(0.25)
    assert float(power) == pytest.approx(float((gusts**3).mean()), rel=5e-3)
    assert float(thrust) == pytest.approx(float((gusts**2).mean()), rel=5e-3)
    assert [round(float(turbulence_factors(share)[0]), 2) for share in (0.2, 0.3)] == [1.12, 1.27]
    assert turbulence_factors(0.0) == (1.0, 1.0)
