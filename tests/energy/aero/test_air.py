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
    saturation_vapour_pressure_pa,
    shear_speed_factor,
    sound_speed_m_s,
    standard_atmosphere,
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


def test_air_square_to_the_axis_is_none_along_it() -> None:
    """cos 90° and sin 180° leave 6e-17 in floating point: no air, not a billionth of a metre a second."""
    side = wind_triangle(0, 10, math.pi / 2)
    assert float(side.ahead_m_s) == 0
    assert float(rotor_air_speed_m_s(side, 2.5)) == 0
    with_it = wind_triangle(80 / 3.6, 80 / 3.6, math.pi)
    assert (float(with_it.ahead_m_s), float(with_it.across_m_s)) == (0, 0)
    nearly = wind_triangle(0, 10, math.radians(89.9))
    assert float(nearly.ahead_m_s) == pytest.approx(10 * math.cos(math.radians(89.9)), rel=1e-12)


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


@pytest.mark.parametrize("altitude", [-300.0, 0.0, 1500.0, 4000.0, 11000.0])
def test_the_atmosphere_as_a_column_of_air(altitude: float) -> None:
    """Hydrostatic balance stepped up through the air: dp = −ρ·g dh, T falls by 6.5 K per geopotential km (US Standard
    Atmosphere 1976: earth's radius 6356.766 km, air of 28.9644 kg/kmol, gas constant 8314.32 J/(kmol·K))."""
    gas, steps = 8314.32 / 28.9644, 4000
    geopotential = 6356766.0 * altitude / (6356766.0 + altitude)
    middle = (np.arange(steps) + 0.5) / steps * geopotential
    thinned = -(9.80665 / (gas * (288.15 - 0.0065 * middle))).sum() * geopotential / steps
    temperature, pressure = standard_atmosphere(altitude)
    assert float(temperature) == pytest.approx(288.15 - 0.0065 * geopotential, rel=1e-12)
    assert float(pressure) == pytest.approx(101325.0 * math.exp(thinned), rel=2e-6)  # 287.0528 is rounded


@pytest.mark.parametrize(("celsius", "printed_pa"), [(-20.0, 125.4), (0.0, 611.2), (20.0, 2339.3), (45.0, 9595.0)])
def test_vapour_pressure_over_water_as_printed(celsius: float, printed_pa: float) -> None:
    # Saturation over liquid water, steam tables (from memory), below freezing over supercooled water; the Magnus form
    # is good to 0.4 %.
    assert float(saturation_vapour_pressure_pa(273.15 + celsius)) == pytest.approx(printed_pa, rel=4e-3)


def test_vapour_pressure_and_density_by_hand() -> None:
    # Alduchov and Eskridge (1996), from memory: 610.94·exp(17.625·t/(t + 243.04)).
    for kelvin, pressure, share in ((263.15, 98000.0, 0.3), (293.15, 101325.0, 0.5), (313.15, 84000.0, 0.9)):
        celsius = kelvin - 273.15
        vapour = 610.94 * math.exp(17.625 * celsius / (243.04 + celsius))
        assert float(saturation_vapour_pressure_pa(kelvin)) == pytest.approx(vapour, rel=1e-12)
        # Dalton: each gas at its own pressure; 287.0528 J/(kg·K) dry air, 461.523 vapour.
        density = (pressure - share * vapour) / (287.0528 * kelvin) + share * vapour / (461.523 * kelvin)
        assert float(density_kg_m3(kelvin, pressure, share)) == pytest.approx(density, rel=1e-12)
        assert float(density_kg_m3(kelvin, pressure)) == pytest.approx(pressure / (287.0528 * kelvin), rel=1e-12)


@pytest.mark.parametrize("kelvin", [253.15, 288.15, 318.15])
def test_viscosity_and_sound_away_from_sea_level(kelvin: float) -> None:
    # Sutherland with its own reference (273.15 K) and 110.4 K; sound with 1.4 (US Standard Atmosphere 1976).
    reference = 1.458e-6 * 273.15 * math.sqrt(273.15) / (273.15 + 110.4)
    sutherland = reference * (kelvin / 273.15) ** 1.5 * (273.15 + 110.4) / (kelvin + 110.4)
    assert float(dynamic_viscosity_pa_s(kelvin)) == pytest.approx(sutherland, rel=1e-12)
    assert float(sound_speed_m_s(kelvin)) == pytest.approx(math.sqrt(1.4 * 287.0528 * kelvin), rel=1e-12)


@pytest.mark.parametrize(
    ("road", "wind", "degrees"), [(20, 6, 40), (3, 9, 150), (25, 4, -70), (5, 12, -170), (0, 7, 90)]
)
def test_the_air_at_the_vehicle_as_vectors(road: float, wind: float, degrees: float) -> None:
    # As complex numbers: the vehicle's own air from ahead plus the wind, turned by where it comes from.
    met = road + wind * complex(math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
    air = wind_triangle(road, wind, math.radians(degrees))
    assert float(air.ahead_m_s) == pytest.approx(met.real, abs=1e-12)
    assert float(air.across_m_s) == pytest.approx(met.imag, abs=1e-12)
    assert float(air.speed_m_s) == pytest.approx(abs(met), rel=1e-12)
    yaw = math.acos(met.real / abs(met))
    assert float(air.yaw_rad) == pytest.approx(yaw, abs=1e-7)
    for exponent, factor in ((0.0, 1.0), (2.0, 1.3), (3.0, 0.8), (4.5, 1.0)):
        along = max(math.cos(yaw), 0.0)
        wanted = factor * abs(met) * (along ** (exponent / 3) if exponent else 1.0)
        assert float(rotor_air_speed_m_s(air, exponent, factor)) == pytest.approx(wanted, rel=1e-7, abs=1e-7)
        turned = rotor_air_speed_m_s(air=air, yaw_exponent=exponent, local_speed_factor=factor, turns_into_wind=True)
        assert float(turned) == pytest.approx(factor * abs(met), rel=1e-12)


def test_shear_over_the_disc_by_chords() -> None:
    """Cube mean over horizontal chords of the disc, in thin strips; a seventh where no exponent is given."""
    edge = np.linspace(-1, 1, 200_001)
    y = 0.5 * (edge[1:] + edge[:-1])
    chord = np.sqrt(1 - y * y)
    for height, radius, known, exponent in ((2.5, 1.2, 10.0, 0.25), (6.0, 0.9, 2.0, 1 / 7), (0.5, 0.9, 3.0, 1 / 7)):
        cube = (np.maximum(height + radius * y, 0.0) / known) ** (3 * exponent)
        wanted = ((chord * cube).sum() / chord.sum()) ** (1 / 3)
        tolerance = 1e-7 if height > radius else 2e-4  # where it is cut off at the ground the curve has a kink
        assert float(shear_speed_factor(height, radius, known, exponent)) == pytest.approx(wanted, rel=tolerance)
        if exponent == 1 / 7:
            assert float(shear_speed_factor(height, radius, known)) == pytest.approx(wanted, rel=tolerance)
