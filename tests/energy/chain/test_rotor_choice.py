"""Rotors next to each other: against momentum theory, by hand, and what wins for a stated reason."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from energy.chain.rotor_choice import RotorChoice, compare_rotors, rotors_like
from energy.chain.sizing import Wanted
from energy.scenario.read import Scenario
from energy.words import rotor_choice as words
from vehicle.problems import InputError

WANTED = Wanted(2000.0, 25.0, fuel="diesel")


@pytest.fixture(scope="module")
def choice() -> RotorChoice:
    return compare_rotors(WANTED)


def test_blades_diameters_and_ratios_stand_next_to_each_other(choice: RotorChoice) -> None:
    assert {e.number_of_blades for e in choice.alternatives} == {2, 3, 5}
    assert len({e.diameter_m for e in choice.alternatives}) == 3
    assert len({e.tip_speed_ratio for e in choice.alternatives}) >= 3
    assert len(choice.best_of_each) == 9


def test_no_rotor_pushes_less_than_the_actuator_disc(choice: RotorChoice) -> None:
    """Betz's disc: for Cp = 4 a (1 - a)^2 it needs Ct = 4 a (1 - a); heat over 0.7 of shaft power, air 1.225 kg/m3."""
    for each in choice.alternatives:
        area = math.pi * each.diameter_m**2 / 4
        power = each.heat_w / 0.7 / (0.5 * 1.225 * area * 25.0**3)
        assert power < 16 / 27
        low, high = 0.0, 1 / 3
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if 4 * middle * (1 - middle) ** 2 < power else (low, middle)
        assert each.thrust_n > 4 * low * (1 - low) * 0.5 * 1.225 * area * 25.0**2
        assert each.drag_power_w == pytest.approx(each.thrust_n * 25.0)
        assert each.tip_speed_m_s == pytest.approx(each.rotor_speed_rad_s * each.diameter_m / 2)
        assert each.tip_speed_m_s == pytest.approx(each.tip_speed_ratio * 25.0)
        # In still air drag power exceeds the shaft power: it costs fuel.
        assert each.drag_power_w > each.heat_w / 0.7
        assert each.heat_w == pytest.approx(2000.0, rel=1e-6) or "not enough heat" in each.against


def test_the_smallest_of_hardly_more_drag_wins(choice: RotorChoice) -> None:
    best = choice.chosen
    assert best is not None
    good = [e for e in choice.alternatives if not e.against]
    least = min(e.drag_power_w for e in good)
    assert best.drag_power_w <= 1.1 * least
    assert not [e for e in good if e.diameter_m < best.diameter_m and e.drag_power_w <= 1.1 * least]
    assert words.sentence(choice, "metric").startswith(
        f"Choose {best.diameter_m:.2f} m, {best.number_of_blades} blades"
    )
    others = [e for e in choice.best_of_each if e.diameter_m == best.diameter_m and e is not best]
    assert len(others) == 2
    assert len(words.why(choice, "metric")) == len([e for e in others if not e.against])
    barred = [e for e in choice.best_of_each if e.against]
    lines = words.against_lines(choice, "metric")
    assert sum(line.partition(": ")[0].count(" with ") for line in lines) == len(barred)


def test_a_highest_rotor_speed_is_kept(choice: RotorChoice) -> None:
    limit = 900 * math.pi / 30
    slow = compare_rotors(WANTED, highest_rotor_speed_rad_s=limit)
    assert choice.chosen is not None
    assert slow.chosen is not None
    assert slow.chosen.rotor_speed_rad_s <= limit < choice.chosen.rotor_speed_rad_s
    none = compare_rotors(WANTED, highest_rotor_speed_rad_s=limit / 20)
    assert none.chosen is None
    assert f"rotor too fast ({len(none.alternatives)} of" in words.sentence(none, "metric")


def test_what_no_garage_builds_is_no_choice() -> None:
    """50 kW at 30 mph: discs of 14 m and more, with blades too thick to carve."""
    huge = compare_rotors(Wanted(50e3, 13.4), blades=[2])
    assert huge.chosen is None
    assert "blades too thick" in words.sentence(huge, "metric")


def test_more_blades_start_earlier_and_a_drive_ratio_later(choice: RotorChoice) -> None:
    at = {e.number_of_blades: e for e in choice.alternatives if e.tip_speed_ratio == 2 and e.diameter_m == 1.35}
    assert at[5].starting_air_m_s < at[2].starting_air_m_s
    geared = compare_rotors(replace(WANTED, gear_ratios=(4.0,)), [1.35], blades=[2])
    one = next(e for e in geared.alternatives if e.tip_speed_ratio == 2)
    assert one.starting_air_m_s == pytest.approx(2 * at[2].starting_air_m_s)  # torque is four times, air speed squared


def test_no_air_is_said() -> None:
    with pytest.raises(InputError, match="air at the rotor"):
        compare_rotors(Wanted(1000.0, 0.0))


def test_rotors_like_ones_own_stand_below_and_above_it(van: Scenario) -> None:
    found = rotors_like(van)
    assert van.rotor.diameter.value == 1.8
    assert sorted({each.diameter_m for each in found.alternatives}) == [1.53, 1.8, 2.16]  # 0.85, 1 and 1.2 times
    assert found.highest_rotor_speed_rad_s == pytest.approx(van.rotor.highest_rotor_speed.value)
