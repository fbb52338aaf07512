"""Loads against published relations and worked examples."""

import math

import numpy as np
import pytest

from energy.strength import equations as loads


def test_centrifugal_twisting_moment_against_the_closed_form_of_a_flat_plate():
    # Closed form for a thin plate about its middle: m·c²·ω²/24·sin 2β; here by summing point masses pulled outwards
    # (mechanics). The direction, towards flat pitch, is that of the aviation glossary.
    mass, chord, speed, beta = 1.2, 0.11, 90.0, math.radians(20)
    xi = (np.arange(4000) + 0.5) / 4000 * chord - chord / 2
    radii = np.linspace(0.2, 0.9, 8)
    dm = mass / xi.size / radii.size
    moment = 0.0
    for r in radii:
        position = np.stack([np.full_like(xi, r), xi * np.cos(beta), xi * np.sin(beta)])  # radial, along, axial
        force = dm * speed**2 * np.stack([position[0], position[1], np.zeros_like(xi)])  # away from the rotor axis
        arm = np.stack([np.zeros_like(xi), position[1], position[2]])
        moment += float(np.sum(arm[1] * force[2] - arm[2] * force[1]))  # about the pitch axis
    inertia = loads.plate_inertia_difference_kg_m2(mass, chord, 0.0)
    found = float(loads.centrifugal_twisting_moment_n_m(inertia, speed, beta))
    assert found == pytest.approx(moment, rel=1e-6)
    assert found == pytest.approx(-mass * chord**2 * speed**2 / 24 * math.sin(2 * beta), rel=1e-12)
    assert found < 0  # towards flat pitch


@pytest.mark.parametrize(("grade", "micrometres"), [(2.5, 39.8), (6.3, 100.3), (16.0, 254.6)])
def test_balance_grades_at_600_rpm(grade, micrometres):
    # ISO 21940-11 as summarised in texts: grade in mm/s = e·ω; 600 rpm.
    found = float(loads.permissible_imbalance_kg_m(grade * 1e-3, 1.0, 600 * math.pi / 30))
    assert found * 1e6 == pytest.approx(micrometres, abs=0.05)


def test_worked_use_of_a_balance_grade():
    # By the formula of ISO 21940-11 by hand: an 11 kg rotor, G 16, 900 rpm: e = 16/94.25 = 0.1698 mm, 1867 g·mm,
    # shared by two correction planes 934 g·mm each.
    found = float(loads.permissible_imbalance_kg_m(0.016, 11.0, 900 * math.pi / 30)) * 1e6
    assert found == pytest.approx(1867.4, abs=0.1)
    force = float(loads.imbalance_force_n(found * 1e-6, 900 * math.pi / 30))
    assert force == pytest.approx(11 * 0.016 * 900 * math.pi / 30, rel=1e-9)  # m·G·ω


def test_basic_life_worked_example():
    # ISO 281 as taught, worked example: C 30 kN, P 5 kN, 1500 rpm: 216 million revolutions, 2400 h.
    revolutions = float(loads.basic_life_revolutions(30e3, 5e3, "deep_groove_ball"))
    assert revolutions == pytest.approx(216e6)
    assert float(loads.basic_life_s(revolutions, 1500 * math.pi / 30)) / 3600 == pytest.approx(2400)
    # Rollers: p = 10/3.
    assert float(loads.basic_life_revolutions(30e3, 5e3, "tapered_roller")) == pytest.approx(1e6 * 6 ** (10 / 3))


def test_equivalent_dynamic_load_of_a_deep_groove_bearing_by_hand():
    # ISO 281 table of factors (from memory): f0·Fa/C0 = 14·1000/13 538 = 1.034 -> e 0.28, Y 1.55; Fa/Fr 2 > e:
    # P = 0.56·500 + 1.55·1000.
    c0 = 14.0 * 1000 / 1.03
    assert float(loads.equivalent_dynamic_load_n("deep_groove_ball", 500.0, 1000.0, c0)) == pytest.approx(1830.0)
    # A small axial load does not count: Fa/Fr = 0.1 < e.
    assert float(loads.equivalent_dynamic_load_n("deep_groove_ball", 5000.0, 500.0, c0)) == 5000.0


def test_static_load_and_axial_limit_of_a_deep_groove_bearing():
    # Bearing maker's catalogue text: P0 = 0.6·Fr + 0.5·Fa (not below Fr); Fa at most 0.5·C0, 0.25·C0 for a bore up to
    # 12 mm and light series.
    assert float(loads.equivalent_static_load_n("deep_groove_ball", 180.0, 1600.0)) == pytest.approx(908.0)
    assert float(loads.equivalent_static_load_n("deep_groove_ball", 180.0, 10.0)) == 180.0
    assert loads.highest_axial_load_n(11.2e3, "deep_groove_ball", 0.030, False) == pytest.approx(5600)
    assert loads.highest_axial_load_n(2.37e3, "deep_groove_ball", 0.010, False) == pytest.approx(592.5)
    assert loads.highest_axial_load_n(11.2e3, "deep_groove_ball", 0.030, True) == pytest.approx(2800)


def test_small_deep_groove_bearing_is_not_made_for_a_gust():
    # Common practice, no source: a small deep-groove bearing is not made for axial load. A 10 mm bore with C0
    # 2.37 kN takes 0.59 kN; the thrust of a 1.8 m rotor (Ct 0.9) in 34 m/s is more.
    thrust = float(loads.wind_force_n(1.225, math.pi * 0.81, 34.0, 0.9))
    limit = loads.highest_axial_load_n(2.37e3, "deep_groove_ball", 0.010, False)
    assert limit is not None
    assert thrust > 2 * limit


def test_a_small_servo_against_the_blade_pitch_moment():
    # Common practice, no source: small linear servos give tens of newtons, blade pitch moments at road speed ask for
    # hundreds. Three 1.2 kg blades, 0.11 m chord, 900 rpm, 24° off the plane, 45 mm horn.
    inertia = loads.plate_inertia_difference_kg_m2(1.2, 0.11, 0.015)
    moment = 3 * abs(float(loads.centrifugal_twisting_moment_n_m(inertia, 94.2, math.radians(24))))
    assert 100 < moment / 0.045 < 1000


def test_centrifugal_force_of_a_point_mass():
    # m·r·ω², mechanics: 1 kg at 1 m and 60 rpm pulls 4π² N.
    assert float(loads.centrifugal_force_n(1.0, 1.0, 2 * math.pi)) == pytest.approx(4 * math.pi**2)


def test_wind_force_of_a_gust():
    # Velocity pressure q = 0.613·V² N/m² (ASCE 7, standard air, from memory).
    assert float(loads.wind_force_n(1.225, 1.0, 40.0, 1.0)) == pytest.approx(0.613 * 40.0**2, rel=1e-3)
    # A gust that adds a half to the air speed more than doubles the force.
    assert float(loads.wind_force_n(1.2, 2.0, 30.0, 1.0) / loads.wind_force_n(1.2, 2.0, 20.0, 1.0)) == pytest.approx(
        2.25
    )


def test_plate_inertia_about_an_axis_off_its_middle_against_a_sum():
    # Mechanics: sum of (ξ² − η²) over the points of a rectangle, the axis 0.02 m from its middle along the chord.
    mass, chord, thickness, offset = 1.2, 0.11, 0.02, 0.02
    xi, eta = np.meshgrid(
        (np.arange(2000) + 0.5) / 2000 * chord - chord / 2 + offset,
        (np.arange(200) + 0.5) / 200 * thickness - thickness / 2,
    )
    by_sum = mass * float(np.mean(xi**2 - eta**2))
    found = float(loads.plate_inertia_difference_kg_m2(mass, chord, thickness, offset))
    assert found == pytest.approx(by_sum, rel=1e-5)
    # By hand: 1.2·((0.0121 − 0.0004)/12 + 0.0004) = 1.65e-3 kg·m².
    assert found == pytest.approx(1.65e-3, rel=1e-12)


def test_lift_moment_by_hand():
    # Mechanics, by hand: 100 N of thrust and 12 N·m of torque at 2/3 of 0.9 m (20 N sideways), chord 30° off the plane:
    # 100·cos 30° + 20·sin 30° = 96.60 N across the chord, 0.15·0.11 m behind the quarter chord, towards fine.
    found = float(loads.lift_moment_n_m(100.0, 12.0, 0.9, math.radians(30), 0.11, 0.40))
    assert found == pytest.approx(-(86.6025 + 10.0) * 0.0165, rel=1e-5)


def test_friction_of_a_pitch_bearing_by_hand():
    # Mechanics: the friction 0.15·4000 N = 600 N acts at the radius, 15 mm of a 30 mm bearing: 9 N·m.
    assert float(loads.pitch_friction_n_m(4000.0, 0.15, 0.030)) == pytest.approx(9.0)


def test_gyroscopic_moment_and_lever_by_hand():
    # Mechanics: 0.8 kg·m² at 90 rad/s, swung at 0.5 rad/s: 36 N·m. A 40 mm horn 60° off square levers 20 mm.
    assert float(loads.gyroscopic_moment_n_m(0.8, 90.0, 0.5)) == pytest.approx(36.0)
    assert float(loads.rod_lever_m(0.040, 70.0, 10.0)) == pytest.approx(0.020)
