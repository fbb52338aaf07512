import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests_support import run

from energy.aero.momentum import BETZ_LIMIT, induction_of_power_coefficient
from energy.chain.load import load
from energy.chain.sizing import (
    DRIVELINE_EFFICIENCY,
    RotorGrade,
    SizingCase,
    Wanted,
    needed_diameter_m,
    round_diameters,
    size_table,
    sized,
)
from energy.words.size import sentence
from vehicle.problems import InputError

PETROL_M3_PER_J = 0.264e-3 / 3.6e6  # Commission Implementing Decision (EU) 2020/728, Annex: 0.264 L/kWh


def table(**changes):
    arguments = {"density_kg_m3": 1.2, "marginal_fuel_m3_per_j": PETROL_M3_PER_J} | changes
    heat, speed = arguments.pop("heat", 2000.0), arguments.pop("speed", 29.0576)
    asked = {key: arguments.pop(key) for key in ("grades", "diameter_m") if key in arguments}
    return size_table(heat, SizingCase(speed, **arguments), **asked)


def test_ideal_disc_by_hand():
    """2 kW at 65 mph: A = P / (16/27 1/2 rho U^3); CT = 8/9 there (Betz, closed form)."""
    ideal = RotorGrade("ideal", BETZ_LIMIT, 1.0)
    speed, density = 29.0576, 1.2
    area = 2000.0 / (BETZ_LIMIT * 0.5 * density * speed**3)
    diameter = needed_diameter_m(2000.0, speed, density, ideal)
    assert diameter == pytest.approx(math.sqrt(4 * area / math.pi), rel=1e-12)
    row = table(diameter_m=np.array([diameter]), grades=[ideal])
    assert row.enough.all()
    assert row.thrust_n[0, 0] == pytest.approx(8 / 9 * 0.5 * density * speed**2 * area, rel=1e-6)
    # At the Betz point the thrust moved by the air speed is 3/2 of the shaft power.
    assert row.drag_power_w[0, 0] == pytest.approx(1.5 * 2000.0, rel=1e-6)


def test_fuel_is_thrust_times_road_speed_over_the_driveline():
    row = table(road_speed_m_s=20.0, driveline_efficiency=0.9)
    np.testing.assert_allclose(row.drag_power_w, row.thrust_n * 20.0)
    np.testing.assert_allclose(row.fuel_flow_m3_s, row.thrust_n * 20.0 / 0.9 * PETROL_M3_PER_J)


def test_speeds_and_generator_speeds():
    row = table(tip_speed_ratio=6.0, gear_ratios=(1.0, 2.5))
    np.testing.assert_allclose(row.rotor_speed_rad_s * row.diameter_m / 2, row.tip_speed_m_s)
    np.testing.assert_allclose(row.generator_speed_rad_s[1], 2.5 * row.rotor_speed_rad_s)
    assert any("loud" in note for note in row.notes)
    assert any("Betz" in note and "common practice" in note for note in row.notes)


def test_too_small_a_rotor_says_so_and_gives_what_there_is():
    row = table(diameter_m=np.array([0.3, 3.0]))
    assert not row.enough[:, 0].any()
    assert row.enough[:, 1].all()
    np.testing.assert_allclose(row.heat_w[:, 0], row.largest_heat_w[:, 0])
    np.testing.assert_allclose(row.heat_w[:, 1], 2000.0)


def test_default_diameters_reach_over_all_grades():
    row = table()
    assert row.diameter_m[0] < row.needed_diameter_m.min()
    assert row.diameter_m[-1] > row.needed_diameter_m.max()
    assert row.enough[:, -1].all()
    assert 4 <= row.diameter_m.size <= 16


@given(st.floats(0.0, BETZ_LIMIT))
def test_induction_inverts_the_disc(power):
    a = float(induction_of_power_coefficient(np.array(power)))
    assert -1e-12 <= a <= 1 / 3 + 1e-6
    assert 4 * a * (1 - a) ** 2 == pytest.approx(power, abs=1e-12)


@given(st.floats(50.0, 5e4), st.floats(5.0, 50.0), st.floats(0.7, 1.4))
def test_drag_always_exceeds_shaft_power_in_still_air(heat, speed, density):
    row = table(heat=heat, speed=speed, density_kg_m3=density)
    conversion = np.array([grade.conversion_efficiency for grade in row.grades])[:, None]
    assert (row.drag_power_w > row.heat_w / conversion).all()
    # A larger rotor for the same heat pulls less.
    for thrust, enough in zip(row.thrust_n, row.enough, strict=True):
        assert (np.diff(thrust[enough]) < 0).all()


@given(st.floats(0.05, 20.0), st.floats(1.01, 4.0))
def test_round_diameters_cover_the_range(low, factor):
    found = round_diameters(low, low * factor)
    # From below the range, or from the first step: below that there is only a diameter of nothing.
    assert found[0] <= low * (1 + 1e-9) or found.size == 1 or found[0] == pytest.approx(found[1] - found[0])
    assert found[-1] >= low * factor * (1 - 1e-9)
    assert (np.diff(found) > 0).all()


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"speed": -3.0}, "air speed"),
        ({"heat": float("nan")}, "heat"),
        ({"tip_speed_ratio": 0.0}, "tip-speed ratio"),
        ({"gear_ratios": (0.0,)}, "gear ratio"),
        ({"diameter_m": np.array([1.0, -1.0])}, "diameter"),
        ({"grades": [RotorGrade("wonder", 0.8, 1.0)]}, "wonder"),
        ({"driveline_efficiency": 1.2}, "driveline"),
    ],
)
def test_impossible_inputs_are_named(change, word):
    with pytest.raises(InputError, match=word):
        table(**change)


def test_the_drivetrain_is_that_of_the_answer(demos):
    scenario = load(demos / "van_water_tank" / "scenario.toml")
    assert scenario.engine is not None
    assert scenario.engine.drivetrain_efficiency.value == DRIVELINE_EFFICIENCY


@pytest.mark.parametrize(
    ("heat", "road", "wind", "wide"), [(1e3, 14.0, 0.0, True), (1e3, 0.0, 4.2, False), (1e3, 25.0, 0.0, False)]
)
def test_a_rotor_too_wide_for_the_road_is_said_first(heat: float, road: float, wind: float, wide: bool) -> None:
    """1 kW out of 4.2 m/s takes some 12 m: no vehicle drives with that, one that parks may carry it."""
    wanted = Wanted(heat, road, wind, shelter=0.3 if road == 14.0 else 1.0)
    needed = sized(wanted)
    assert (needed.needed_diameter_m[1] > 2.55) == (road < 25)
    said = sentence(needed, road, "metric")
    assert said.startswith(("Not on a road: ", "Too wide in many countries: ")) == wide
    assert ("wider than a lane" in said) == wide


@pytest.mark.parametrize(("ratio", "fast"), [(9.0, True), (3.3, True), (3.2, False), (None, False)])
def test_tips_too_fast_for_hand_made_blades_are_said_first(ratio: float | None, fast: bool) -> None:
    """At 25 m/s the tips pass 80 m/s from a tip-speed ratio of 3.2 on."""
    said = sentence(sized(Wanted(1e3, 25.0, tip_speed_ratio=ratio)), 25.0, "metric")
    assert said.startswith("Tips too fast: ") == fast
    assert (f"{25 * (ratio or 0):.3g} m/s at this tip-speed ratio" in said) == fast


def test_no_rotor_within_the_limits_is_said_before_the_size() -> None:
    asked = ("size", "--heat", "3 kW", "--speed", "120 km/h", "--highest-rotor-speed")
    none, some = (run(*asked, speed).stdout for speed in ("500 rpm", "3000 rpm"))
    assert none.startswith("No rotor of these brings 3.00 kW within its limits: rotor too fast")
    assert some.startswith("3.00 kW of heat at 120 km/h takes a hand-made rotor of about ")
