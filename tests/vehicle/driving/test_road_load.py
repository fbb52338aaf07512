from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicle.driving.road_load import air_drag_n, from_coastdown, from_drag_area, road_forces, with_added_mass


def test_by_hand() -> None:
    # 1500 kg, 0.012, CdA 0.65 m2, 25 m/s, density 1.2: tyres 176.5 N, drag 0.5*1.2*0.65*625 = 243.75 N.
    forces = road_forces(from_drag_area(1500, 0.65, 0.012), 25.0, 1.2, 25.0)
    assert float(forces.tyres_n) == pytest.approx(176.52, rel=1e-4)
    assert float(forces.body_drag_n) == pytest.approx(243.75)
    up = road_forces(from_drag_area(1500, 0.65, 0.012), 25.0, 1.2, 25.0, grade=0.05)
    assert float(up.grade_n) == pytest.approx(1500 * 9.80665 * 0.05 / np.sqrt(1 + 0.05**2))
    faster = road_forces(from_drag_area(1500, 0.65, 0.012), 25.0, 1.2, 25.0, acceleration_m_s2=1.0)
    assert float(faster.inertia_n) == pytest.approx(1545)


@given(st.floats(0, 400), st.floats(0, 10), st.floats(0.1, 3), st.floats(1, 45))
def test_coastdown_coefficients_come_back_as_force(a: float, b: float, c: float, speed: float) -> None:
    forces = road_forces(from_coastdown(1500, a, b, c, 1.2), speed, 1.2, speed)
    assert float(forces.total_n) == pytest.approx(a + b * speed + c * speed**2)


def test_thin_air_drags_less_and_the_tyres_do_not_care() -> None:
    load = from_coastdown(1500, 150, 1.0, 0.4, 1.2)
    thick, thin = road_forces(load, 30, 1.2, 30), road_forces(load, 30, 0.9, 30)
    assert float(thin.body_drag_n) == pytest.approx(0.75 * float(thick.body_drag_n))
    assert float(thin.tyres_n) == float(thick.tyres_n)


@given(st.floats(-60, 60), st.floats(-30, 30))
def test_drag_points_along_the_air_and_grows_with_cross_wind(ahead: float, across: float) -> None:
    drag = float(air_drag_n(0.7, 1.2, ahead, across))
    assert drag * ahead >= 0
    assert abs(drag) >= abs(float(air_drag_n(0.7, 1.2, ahead))) - 1e-12


def test_added_mass_rolls_and_climbs() -> None:
    load = from_drag_area(1500, 0.65, 0.012)
    light, heavy = (
        road_forces(load, 20, 1.2, 20, grade=0.03),
        road_forces(with_added_mass(load, 50), 20, 1.2, 20, grade=0.03),
    )
    assert float(heavy.grade_n / light.grade_n) == pytest.approx(1550 / 1500)
    assert float(heavy.tyres_n / light.tyres_n) == pytest.approx(1550 / 1500)


@pytest.mark.parametrize("way", [1, -1])
def test_on_a_slope_the_road_carries_less_of_the_weight(way: int) -> None:
    # A slope of 3 in 4 (sides 3, 4, 5: sine 0.6, cosine 0.8), 1500 kg and 100 kg more, rolling resistance 0.012:
    # the road carries 1600 kg * 9.80665 * 0.8 = 12 552.5 N, of which the tyres take 0.012: 150.63 N, uphill and down;
    # the weight pulls with 1600 * 9.80665 * 0.6 = 9414.4 N, against the motion uphill and with it downhill.
    loaded = with_added_mass(from_drag_area(1500, 0.65, 0.012), 100)
    forces = road_forces(loaded, 5.0, 1.2, 5.0, grade=0.75 * way)
    assert float(forces.tyres_n) == pytest.approx(150.63, rel=1e-4)
    assert float(forces.grade_n) == pytest.approx(9414.4 * way, rel=1e-5)
    # What grows with speed in a coast-down (bearings, oil) is no weight, and stays: 200 N * 0.8 + 2 N s/m * 5 m/s.
    rolled = road_forces(from_coastdown(1500, 200, 2.0, 0.4, 1.2), 5.0, 1.2, 5.0, grade=0.75 * way)
    assert float(rolled.tyres_n) == pytest.approx(170)


def test_a_standing_vehicle_has_no_rolling_resistance() -> None:
    assert float(road_forces(from_drag_area(1500, 0.65, 0.012), 0.0, 1.2, 5.0).tyres_n) == 0
