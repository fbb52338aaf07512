"""Sizes and rotors compared, recomputed row by row from momentum theory and the definitions."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from energy.aero.blade import CurveSettings, blade_curves, polar_of_plate_blade
from energy.aero.textbook_blade import build_of, textbook_blade
from energy.chain import rotor_choice, sizing
from energy.chain.load import load
from energy.chain.rotor_choice import Alternative, RotorChoice, compare_rotors, rotors_like
from energy.chain.sizing import (
    RotorGrade,
    SizingCase,
    Wanted,
    round_diameters,
    size_table,
    sized,
    usual_grades,
    wanted_of,
)
from vehicle.problems import InputError

BETZ = 16 / 27
SEA_LEVEL_KG_M3 = 1.2250  # US Standard Atmosphere 1976, 15 °C
DIESEL_J_M3 = 128_450 * 1055.056 / 3.785411784e-3  # US DOE AFDC
MARGINAL = {"petrol": 0.40, "diesel": 0.46}  # indicated efficiencies: the defaults of engine.indicated_efficiency


def induction(power_coefficient: float) -> float:
    """Of 4a(1 - a)², by halving."""
    low, high = 0.0, 1 / 3
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if 4 * middle * (1 - middle) ** 2 < power_coefficient else (low, middle)
    return low


@pytest.mark.parametrize("heat", [400.0, 2500.0])
def test_every_row_of_a_size_table(heat: float) -> None:
    grades = (RotorGrade("one", 0.3, 0.7), RotorGrade("other", 0.45, 0.9))
    case = SizingCase(20.0, 1.1, 7e-11, 15.0, tip_speed_ratio=4.5, gear_ratios=(1.5, 3.0), driveline_efficiency=0.9)
    diameters = np.array([0.6, 1.1, 2.4])
    found = size_table(heat, case, grades, diameters)
    assert found.wanted_heat_w == heat
    assert found.grades == grades
    assert found.gear_ratios == (1.5, 3.0)
    assert found.tip_speed_m_s == pytest.approx(90.0)
    assert any("loud" in note for note in found.notes)
    assert any("0.25 to 0.35, 42 % to 59 % of the Betz limit" in note for note in found.notes)  # over 16/27
    assert "tip-speed ratio taken as 4.5; drivetrain efficiency 90.0 %" in found.notes
    for j, diameter in enumerate(diameters.tolist()):
        pressure = 0.5 * 1.1 * 20**2 * math.pi * diameter**2 / 4
        assert found.rotor_speed_rad_s[j] == pytest.approx(90 / (diameter / 2))
        for g, ratio in enumerate((1.5, 3.0)):
            assert found.generator_speed_rad_s[g, j] == pytest.approx(ratio * 90 / (diameter / 2))
        for k, grade in enumerate(grades):
            largest = grade.conversion_efficiency * grade.power_coefficient * pressure * 20
            given = min(heat, largest)
            # A rotor of a share of the Betz limit gives that share of the power for the whole of the thrust.
            a = induction(given / largest * BETZ)
            thrust = 4 * a * (1 - a) * pressure
            assert found.largest_heat_w[k, j] == pytest.approx(largest)
            assert found.heat_w[k, j] == pytest.approx(given)
            assert found.enough[k, j] == (largest >= heat)
            assert found.thrust_n[k, j] == pytest.approx(thrust, rel=1e-6)
            assert found.drag_power_w[k, j] == pytest.approx(thrust * 15, rel=1e-6)
            assert found.fuel_flow_m3_s[k, j] == pytest.approx(thrust * 15 / 0.9 * 7e-11, rel=1e-6)
            area = heat / (0.5 * 1.1 * 20**3 * grade.power_coefficient * grade.conversion_efficiency)
            assert found.needed_diameter_m[k] == pytest.approx(math.sqrt(4 * area / math.pi))
            assert grade.betz_share == pytest.approx(grade.power_coefficient / BETZ)
    assert found.enough.any()
    still = size_table(heat, replace(case, road_speed_m_s=None), grades, diameters)
    assert still.drag_power_w == pytest.approx(found.drag_power_w * 20 / 15)
    quiet = size_table(heat, replace(case, tip_speed_ratio=4.0), grades, diameters)
    assert not any("loud" in note for note in quiet.notes)  # 80 m/s are not above 80


def test_an_enough_rotor_is_enough_to_the_last_bit() -> None:
    grade = RotorGrade("one", 0.3, 0.7)
    needed = sizing.needed_diameter_m(1000.0, 20.0, 1.2, grade)
    table = size_table(1000.0, SizingCase(20.0, 1.2, 7e-11), [grade], np.array([needed, needed * 0.999]))
    assert table.enough.tolist() == [[True, False]]


@pytest.mark.parametrize(
    ("low", "high", "count", "expected"),
    [
        (0.93, 2.13, 8, [0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2]),
        (1.0, 2.0, 6, [1.0, 1.2, 1.4, 1.6, 1.8, 2.0]),
        (1.0, 2.0, 3, [1.0, 1.5, 2.0]),
        (9.0, 31.0, 8, [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0]),
        (0.011, 0.019, 9, [0.011, 0.012, 0.013, 0.014, 0.015, 0.016, 0.017, 0.018, 0.019]),
        (0.3, 8.0, 4, [5.0, 10.0]),
        (2.0, 2.0, 1, [2.0]),
    ],
)
def test_round_diameters(low: float, high: float, count: int, expected: list[float]) -> None:
    """Steps of 1, 2 or 5 times a power of ten, the next above the even one, from below the low end past the high."""
    assert round_diameters(low, high, count) == pytest.approx(expected)
    assert round_diameters(1.0, 1.75) == pytest.approx([1.0, 1.2, 1.4, 1.6, 1.8])  # about eight


@pytest.mark.parametrize(
    ("field", "low", "high"),
    [
        ("air_speed_m_s", 0.5, 85.0),
        ("density_kg_m3", 0.1, 3.0),
        ("road_speed_m_s", 0.0, 50.0),
        ("tip_speed_ratio", 0.1, 30.0),
        ("driveline_efficiency", 0.1, 1.0),
        ("marginal_fuel_m3_per_j", 0.0, 5.0 / 3.6e9),
    ],
)
def test_the_ends_of_what_a_size_table_takes(field: str, low: float, high: float) -> None:
    case = SizingCase(20.0, 1.2, 7e-11, road_speed_m_s=20.0)
    for value in (low, high):
        sizing._check(1000.0, replace(case, **{field: value}), ())
    for value in (low - 1e-3 * (low or high), high * 1.001):
        with pytest.raises(InputError):
            sizing._check(1000.0, replace(case, **{field: value}), ())


def test_the_ends_of_heat_gears_and_grades() -> None:
    case = SizingCase(20.0, 1.2, 7e-11)
    for heat, fine in ((1.0, True), (5e4, True), (0.999, False), (5.001e4, False)):
        expect(lambda h=heat: sizing._check(h, case, ()), fine)
    for ratio, fine in ((0.01, True), (200.0, True), (0.0099, False), (200.1, False)):
        expect(lambda r=ratio: sizing._check(9.0, replace(case, gear_ratios=(1.0, r)), ()), fine)
    for cp, eta, fine in (
        (0.01, 1.0, True),
        (BETZ, 0.01, True),
        (0.0099, 1.0, False),
        (BETZ + 1e-6, 1.0, False),
        (0.3, 0.0099, False),
        (0.3, 1.001, False),
    ):
        expect(lambda c=cp, e=eta: sizing._check(9.0, case, (RotorGrade("one", c, e),)), fine)
    for diameter, fine in ((0.1, True), (0.0, False), (-1.0, False), (math.nan, False)):
        expect(lambda d=diameter: sizing._diameters_m(np.array([1.0]), np.array([d])), fine)


def expect(what: Any, fine: bool) -> None:
    if fine:
        what()
    else:
        with pytest.raises(InputError):
            what()


def test_usual_grades_are_the_ideal_disc_and_hand_made_ones() -> None:
    ideal, usual, poor, good = usual_grades(0.6)
    assert (ideal.power_coefficient, ideal.conversion_efficiency) == (pytest.approx(BETZ), 1.0)
    assert [g.power_coefficient for g in (poor, usual, good)] == [0.25, 0.30, 0.35]
    assert {g.conversion_efficiency for g in (poor, usual, good)} == {0.6}
    assert usual_grades()[1].conversion_efficiency == 0.7


def test_what_is_wanted_in_air_at_sea_level() -> None:
    wanted = Wanted(1500.0, 22.0, 3.0, 0.8, fuel="diesel")
    assert wanted.air_speed_m_s == pytest.approx(20.0)
    found = sized(wanted, np.array([1.8]))
    pressure = 0.5 * SEA_LEVEL_KG_M3 * 20**2 * math.pi * 0.81
    assert found.largest_heat_w[1, 0] == pytest.approx(0.7 * 0.3 * pressure * 20, rel=1e-4)
    assert found.drag_power_w == pytest.approx(found.thrust_n * 22)
    assert found.fuel_flow_m3_s == pytest.approx(
        found.drag_power_w / 0.965 / (MARGINAL["diesel"] * DIESEL_J_M3), rel=1e-3
    )
    assert found.tip_speed_m_s == pytest.approx(80.0)  # tips at 80 m/s: a ratio of 4 here
    assert any("46 % of diesel" in note for note in found.notes)
    assert sized(replace(wanted, road_speed_m_s=10.0), np.array([1.8])).tip_speed_m_s == pytest.approx(5 * 13 * 0.8)
    assert sized(replace(wanted, tip_speed_ratio=3.0), np.array([1.8])).tip_speed_m_s == pytest.approx(60.0)
    own = sized(wanted).diameter_m
    needed = found.needed_diameter_m
    assert own[0] <= 0.9 * min(needed)
    assert own[-1] >= 1.15 * max(needed)


def test_what_a_scenario_would_have_a_rotor_sized_for(demos: Any) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    settings = ["air.wind_speed=3 m/s", "rotor.local_speed_factor=0.8"]
    found = wanted_of(load(path, settings))
    assert found.heat_w == pytest.approx(3000)
    assert found.road_speed_m_s == pytest.approx(100 / 3.6)
    assert found.head_wind_m_s == pytest.approx(3.0)
    assert found.shelter == 0.8
    assert found.fuel == "diesel"
    assert found.gear_ratios == (2.5,)
    from energy.chain.ledger import turbine_at_work
    from energy.scenario.inputs import inputs_of

    work = turbine_at_work(inputs_of(load(path, settings)))
    assert found.efficiency == pytest.approx(float(work.heat_power_w / work.shaft_power_w))
    assert 0.5 < found.efficiency < 1
    # Without a rating it is the heat that it makes; where nothing blows, what one begins with.
    scenario = load(path, settings)
    unrated = replace(scenario, heater=scenario.heater.model_copy(update={"rated_power": None}))
    assert wanted_of(unrated).heat_w == pytest.approx(float(work.heat_power_w))
    still = load(demos / "parked_on_a_ridge" / "scenario.toml", ["air.wind_speed=0 m/s"])
    still = replace(still, heater=still.heater.model_copy(update={"rated_power": None}))
    assert wanted_of(still).heat_w == 2000.0
    assert wanted_of(still).efficiency == 0.7


# Rotors next to each other


def fixed(power: list[float], thrust: list[float], at_rest: float = 0.02) -> Any:
    return lambda blade, air: (np.array(power), np.array(thrust), at_rest)


POWER, THRUST = [0.10, 0.40, 0.30, 0.05], [0.9, 0.8, 0.5, 0.2]  # over pitch towards feather


@pytest.mark.parametrize(("heat", "against"), [(1000.0, ()), (400.0, ()), (1e5, ("not enough heat",))])
def test_one_alternative_by_hand(monkeypatch: pytest.MonkeyPatch, heat: float, against: tuple[str, ...]) -> None:
    """From the pitch of most power towards feather: thrust on the straight line at the power that is needed."""
    monkeypatch.setattr(rotor_choice, "_coefficients", fixed(POWER, THRUST))
    wanted = Wanted(heat, 15.0, 1.0, 1.25, 0.75, "diesel", gear_ratios=(2.0,))
    density, air, diameter, ratio = 1.2, 20.0, 1.0, 3.0
    flow = 0.5 * density * math.pi / 4 * air**2
    found = rotor_choice._alternative(wanted, density, (diameter, 3, ratio), None)
    needed = heat / (0.75 * flow * air)
    coefficient = min(needed, 0.4)
    if coefficient > 0.3:
        exact = 0.5 + (coefficient - 0.3) / 0.1 * (0.8 - 0.5)
    else:
        exact = 0.2 + (coefficient - 0.05) / 0.25 * (0.5 - 0.2)
    blade = textbook_blade(0.5, 3, ratio)
    speed = 3 * 20 / 0.5
    build = build_of(blade, 2.0 * 0.9 * flow, speed)  # in a gust of 1.4 times the air speed, the thrust doubles
    assert found.diameter_m == 1.0
    assert found.heat_w == pytest.approx(coefficient * flow * air * 0.75)
    assert found.thrust_n == pytest.approx(exact * flow)
    assert found.drag_power_w == pytest.approx(exact * flow * 15)
    assert found.fuel_flow_m3_s == pytest.approx(exact * flow * 15 / 0.965 / (0.46 * DIESEL_J_M3), rel=1e-3)
    assert found.rotor_speed_rad_s == pytest.approx(speed)
    assert found.tip_speed_m_s == pytest.approx(60.0)
    assert (found.number_of_blades, found.tip_speed_ratio) == (3, 3.0)
    assert found.build.root_pull_n == found.root_pull_n == pytest.approx(build.root_pull_n)
    assert found.build.thickness_m == pytest.approx(build.thickness_m)
    expected = (*against, *([build.against] if build.against else []))
    assert found.against == expected
    # Friction 0.1 and cogging 0.2 N·m (defaults) at a generator twice as fast: ½ρπR³U²·CQ holds against 0.6 N·m.
    start = math.sqrt(0.3 * 2 / (0.5 * SEA_LEVEL_KG_M3 * math.pi * 0.5**3 * 0.02))
    assert found.starting_air_m_s == pytest.approx(start, rel=1e-3)


def test_what_speaks_against_a_rotor(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rotor_choice, "_coefficients", fixed(POWER, THRUST, -0.001))
    wanted = Wanted(400.0, 20.0)

    def said(ratio: float, limit: float | None = None) -> tuple[str, ...]:
        return rotor_choice._alternative(wanted, 1.2, (1.0, 3, ratio), limit).against

    assert "tips too fast" not in said(4.0)  # 80 m/s
    assert "tips too fast" in said(4.01)
    assert "rotor too fast" not in said(3.0, 120.0)
    assert "rotor too fast" in said(3.0, 119.9)
    still = rotor_choice._alternative(wanted, 1.2, (1.0, 3, 3.0), None)
    assert math.isnan(still.starting_air_m_s)
    # Two ratios to choose from say nothing of the generator: it is taken to turn with the rotor.
    blade = textbook_blade(0.5, 3, 3.0)
    alone = rotor_choice._starting_air_m_s(wanted, blade, 0.02)
    assert alone == pytest.approx(math.sqrt(0.3 / (0.5 * SEA_LEVEL_KG_M3 * math.pi * 0.5**3 * 0.02)), rel=1e-3)


def test_the_usual_ratios_are_those_that_the_help_names() -> None:
    from energy.commands import size

    named = Path(size.__file__).read_text(encoding="utf-8").split("Gear ratios to show the generator speed at.")[1]
    words = named.split("[default: ")[1].split("]")[0].split()
    assert tuple(float(word) for word in words) == sizing.USUAL_RATIOS


def test_coefficients_of_a_textbook_blade_alone() -> None:
    """Power and thrust at the design ratio over pitch; torque at rest at the pitch of most power there."""
    blade = textbook_blade(0.6, 3, 2.5)
    power, thrust, start = rotor_choice._coefficients(blade, 20.0)
    solved = blade.as_blade()
    polar = polar_of_plate_blade(solved, camber=0.06, air_speed_m_s=20.0, tip_speed_ratio=2.5)
    pitches = [-4.0 + 2 * k for k in range(15)]  # towards feather, degrees
    assert len(power) == len(thrust) == len(pitches)
    best = int(np.argmax(power))
    for k in (best, 12):
        alone = blade_curves(
            solved, [polar], np.array([0.02, 2.5]), np.array([pitches[k]]), CurveSettings(air_speed_m_s=20.0)
        )
        assert power[k] == pytest.approx(alone.power_coefficient[0, 1], rel=1e-6)
        assert thrust[k] == pytest.approx(alone.thrust_coefficient[0, 1], rel=1e-6)
        if k == best:
            assert start == pytest.approx(alone.power_coefficient[0, 0] / 0.02, rel=1e-6)  # CQ = Cp / λ


def made(diameter: float, drag: float, thrust: float = 1.0, against: tuple[str, ...] = (), **more: Any) -> Any:
    blades, ratio = more.get("blades", 3), more.get("ratio", 3.0)
    return Alternative(
        diameter,
        SimpleNamespace(number_of_blades=blades, tip_speed_ratio=ratio),  # type: ignore[arg-type]
        SimpleNamespace(root_pull_n=0.0),  # type: ignore[arg-type]
        more.get("heat", 1000.0),
        thrust,
        drag,
        drag / 1e9,
        100.0,
        60.0,
        3.0,
        against,
    )


def test_the_smallest_within_a_tenth_of_the_least_drag_is_chosen() -> None:
    small, middle, large = made(1.0, 1100.0), made(1.2, 1050.0), made(1.5, 1000.0)
    assert rotor_choice._chosen([large, small, middle]) is small
    assert rotor_choice._chosen([large, made(1.0, 1101.0), middle]) is middle
    assert rotor_choice._chosen([large, made(0.8, 500.0, against=("tips too fast",))]) is large
    assert rotor_choice._chosen([made(1.0, 1.0, against=("x",))]) is None
    twin = made(1.0, 1100.0, thrust=0.5)
    assert rotor_choice._chosen([small, twin, large]) is twin
    lighter = made(1.0, 1090.0, thrust=9.0)
    assert rotor_choice._chosen([small, twin, lighter, large]) is lighter


def test_the_best_ratio_of_each_diameter_and_number_of_blades() -> None:
    one, two = made(1.0, 1100.0, ratio=2.0), made(1.0, 1000.0, ratio=3.0)
    barred = made(1.0, 10.0, against=("x",), ratio=4.0)
    five = made(1.0, 2000.0, blades=5)
    weak, strong = made(1.2, 5.0, against=("x",), heat=500.0), made(1.2, 9.0, against=("y",), heat=900.0)
    worse = made(1.2, 1.0, against=("x", "y"), heat=5000.0)
    found = RotorChoice(Wanted(1.0, 20.0), None, (one, two, barred, five, weak, strong, worse), None).best_of_each
    assert found == (two, five, strong)
    # Of equals the one that comes first: the lower tip-speed ratio turns more slowly.
    slow, fast = made(1.0, 1000.0, ratio=2.0), made(1.0, 1000.0, ratio=3.0)
    assert RotorChoice(Wanted(1.0, 20.0), None, (slow, fast), None).best_of_each == (slow,)


def test_which_rotors_are_compared(monkeypatch: pytest.MonkeyPatch, demos: Any) -> None:
    seen: list[Any] = []

    def noted(wanted: Wanted, density: float, case: Any, limit: float | None) -> Alternative:
        seen.append((case, density, limit))
        return made(case[0], 1000.0, blades=case[1], ratio=case[2])

    monkeypatch.setattr(rotor_choice, "_alternative", noted)
    shares: list[float] = []
    compare_rotors(Wanted(1000.0, 20.0), blades=(2, 3), highest_rotor_speed_rad_s=88.0, progress=shares.append)
    # What a rotor of Cp 0.30 needs, 1.2 and 1.45 times that.
    area = 1000 / (0.7 * 0.3 * 0.5 * SEA_LEVEL_KG_M3 * 20**3)
    needed = math.sqrt(4 * area / math.pi)
    diameters = [round(needed * factor, 2) for factor in (1.0, 1.2, 1.45)]
    assert [case for case, _, _ in seen] == [(d, b, r) for d in diameters for b in (2, 3) for r in (2, 2.5, 3, 4, 5)]
    assert {limit for _, _, limit in seen} == {88.0}
    assert seen[0][1] == pytest.approx(SEA_LEVEL_KG_M3, rel=1e-4)
    assert shares == pytest.approx([(k + 1) / 30 for k in range(30)])
    seen.clear()
    compare_rotors(Wanted(1000.0, 20.0, tip_speed_ratio=3.3), [1.1], blades=(2,))
    assert [case for case, _, _ in seen] == [(1.1, 2, 3.3)]
    seen.clear()
    rotors_like(load(demos / "van_water_tank" / "scenario.toml"))
    assert {case[0] for case, _, _ in seen} == {1.53, 1.8, 2.16}
    assert seen[0][2] == pytest.approx(900 * math.pi / 30)
    for air, fine in ((0.51, True), (0.5, False)):
        expect(lambda a=air: compare_rotors(Wanted(10.0, a), [1.0], blades=(2,)), fine)
