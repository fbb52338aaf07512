"""Beam formulas, a cantilever's first natural frequency and bearing lives against handbook values (from memory)."""

from __future__ import annotations

import math

import pytest

from energy.strength import bearing_kinds, root
from energy.strength.equations import basic_life_revolutions, basic_life_s, equivalent_dynamic_load_n


def test_sections_of_handbooks():
    # Tube 60 x 50 mm: A = 863.9 mm², I = 32.94e4 mm⁴, W = 10.98e3 mm³ (π(D⁴ − d⁴)/64; by hand).
    tube = root.tube(0.060, 0.050)
    assert tube.area_m2 == pytest.approx(863.9e-6, rel=1e-4)
    assert tube.second_moment_m4 == pytest.approx(32.94e-8, rel=1e-3)
    assert tube.modulus_m3 == pytest.approx(10.98e-6, rel=1e-3)
    # A solid rod's W is π·D³/32; a shell as thick as half its height is the solid ellipse, I = π·a·b³/4.
    assert root.tube(0.02, 0.0).modulus_m3 == pytest.approx(math.pi * 0.02**3 / 32)
    assert root.shell(0.1, 0.02, 0.5).second_moment_m4 == pytest.approx(math.pi / 4 * 0.05 * 0.01**3, rel=1e-9)
    # A thin round shell is a tube.
    assert root.shell(0.06, 0.06, 0.005).second_moment_m4 == pytest.approx(tube.second_moment_m4, rel=1e-9)
    with pytest.raises(ValueError, match="as wide"):
        root.tube(0.02, 0.02)


def test_first_natural_frequency_of_a_cantilever():
    # Handbooks of vibration: (β·L)² = 1.8751² = 3.516. Steel rule 1 mm thick, 25 mm wide, 0.3 m free: 9.3 Hz.
    assert pytest.approx(1.8751**2, rel=1e-3) == root.FIRST_MODE
    mass = 7850 * 0.001 * 0.025 * 0.3
    found = float(root.cantilever_frequency_rad_s(210e9, 0.025 * 0.001**3 / 12, mass, 0.3)) / (2 * math.pi)
    assert found == pytest.approx(9.28, abs=0.03)


def test_a_turning_blade_meets_two_and_three_pushes_a_turn_but_never_one():
    # Southwell: ω² = ω₀² + 1.2·Ω²; with 1.2 above 1 the frequency stays above one per turn at any speed.
    assert math.isinf(root.crossing_speed_rad_s(100.0, 1))
    for n in (2, 3):
        at = root.crossing_speed_rad_s(100.0, n)
        assert float(root.turning_frequency_rad_s(100.0, at)) == pytest.approx(n * at)


def test_life_of_the_worked_example_and_of_a_pair():
    # ISO 281 as taught: C 30 kN, P 5 kN, 1500 rpm: 216 million turns, 2400 h.
    turns = basic_life_revolutions(30e3, 5e3, "angular_contact_ball")
    assert float(turns) == pytest.approx(216e6)
    assert float(basic_life_s(turns, 1500 * math.pi / 30)) / 3600 == pytest.approx(2400)
    # A pair of two equal ball bearings: 2^0.7 = 1.625 times C (ISO 281, from memory), 4.3 times the life.
    assert pytest.approx(4.29, rel=1e-3) == bearing_kinds.PAIR_DYNAMIC**3
    # ISO 281, table of a pair of 40° (from memory): Fr 1 kN, Fa 0.5 kN and 2 kN.
    assert bearing_kinds.pair_dynamic_load_n(1000, 500) == pytest.approx(1275)
    assert bearing_kinds.pair_dynamic_load_n(1000, 2000) == pytest.approx(2430)
    assert bearing_kinds.pair_static_load_n(1000, 2000) == pytest.approx(2040)


def test_equivalent_loads_of_single_bearings():
    # ISO 281 (from memory), Fr 1 kN: tapered roller with Y 1.5, X 0.4 above e = 0.6/Y = 0.4; angular contact of 40°,
    # X 0.35, Y 0.57 above e 1.14; below e the radial load alone.
    def load_n(axial_n, kind, axial_factor=None):
        return float(equivalent_dynamic_load_n(kind, 1000.0, axial_n, 20e3, axial_factor))

    assert load_n(2000.0, "tapered_roller", 1.5) == pytest.approx(0.4 * 1000 + 1.5 * 2000)
    assert load_n(-500.0, "tapered_roller", 1.5) == pytest.approx(0.4 * 1000 + 1.5 * 500)
    assert load_n(390.0, "tapered_roller", 1.5) == pytest.approx(1000)
    assert load_n(410.0, "tapered_roller", 1.5) == pytest.approx(0.4 * 1000 + 1.5 * 410)
    assert load_n(2000.0, "angular_contact_ball") == pytest.approx(0.35 * 1000 + 0.57 * 2000)
    assert load_n(1100.0, "angular_contact_ball") == pytest.approx(1000)


@pytest.mark.parametrize(
    ("share", "e", "y"),
    # ISO 281, single-row deep-groove ball bearings, normal clearance (from memory): f0·Fa/C0, e, Y; X is 0.56.
    [
        (0.172, 0.19, 2.30),
        (0.345, 0.22, 1.99),
        (0.689, 0.26, 1.71),
        (1.03, 0.28, 1.55),
        (1.38, 0.30, 1.45),
        (2.07, 0.34, 1.31),
        (3.45, 0.38, 1.15),
        (5.17, 0.42, 1.04),
        (6.89, 0.44, 1.00),
    ],
)
def test_factors_of_a_deep_groove_bearing_are_those_of_the_table(share, e, y):
    axial = 1000.0
    rating = 14.0 * axial / share  # f0 about 14
    heavy = float(equivalent_dynamic_load_n("deep_groove_ball", 0.5 * axial / e, axial, rating))
    assert heavy == pytest.approx(max(0.56 * 0.5 * axial / e + y * axial, 0.5 * axial / e), rel=1e-9)
    light = float(equivalent_dynamic_load_n("deep_groove_ball", 1.01 * axial / e, axial, rating))
    assert light == pytest.approx(1.01 * axial / e)
