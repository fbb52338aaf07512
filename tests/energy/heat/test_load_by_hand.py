"""Loads by name, what they may be, water, and the logs of a wattmeter: figure by figure from their sources."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from energy.heat import kinds, water
from energy.heat.kinds import NamedLoad, domestic_oven, insulated_box, load_of_kind, small_electric_oven, water_tank
from energy.heat.load import (
    ElementLimits,
    HeatedLoad,
    SecondNode,
    Thermostat,
    coefficients,
    common_draws,
    draws_of,
    faults,
    food_specific_heat_j_kg_k,
    most_power_w,
    with_contents,
)
from energy.heat.steps import HeaterError, loss_in_wind_w_k
from energy.heat.wattmeter import read_wattmeter_log, trip_steps
from vehicle.problems import InputError


def _ends(load: NamedLoad) -> list[float]:
    return [
        getattr(number, end) for number in (load.heat_capacity_j_k, load.loss_w_k) for end in ("low", "value", "high")
    ]


# Loads by name


@pytest.mark.parametrize(("litres", "full"), [(30.0, 1.0), (80.0, 0.4)])
def test_a_tank_and_its_range(litres: float, full: float) -> None:
    # 0.99 kg/L of water; 0.05, 0.15 or 0.3 kg of steel a litre of 490 J/(kg K) (common practice, no source: a third and
    # twice the middle); class C limit, from half of it to three times.
    tank = water_tank(litres, full=full)
    wet = litres * full * 0.99 * 4186
    steel = 0.15 * litres * 490
    label = (16.66 + 8.33 * litres**0.4) / 45
    assert _ends(tank) == pytest.approx(
        [wet + 0.3 * steel, wet + steel, wet + 2 * steel, 0.5 * label, label, 3 * label], rel=1e-9
    )
    assert tank.water_kg == pytest.approx(litres * full * 0.99)
    assert tank.name == f"water tank, {litres:.3g} L"
    node = tank.heater()
    assert (node.heat_capacity_j_k, node.loss_w_k) == (tank.heat_capacity_j_k.value, tank.loss_w_k.value)
    assert (node.water_kg, node.second_node) == (tank.water_kg, None)
    assert tank.heat_capacity_j_k.shape == tank.loss_w_k.shape == "triangular"


@pytest.mark.parametrize(("litres", "lining_mm"), [(60.0, 25.0), (27.0, 100.0)])
def test_a_box_and_its_range(litres: float, lining_mm: float) -> None:
    # The middle of inner and outer surface of a cube; films of EN ISO 6946 on both sides; lining and leaks together
    # from good (0.035 W/(m K), a fifth) over usual (0.04, a half) to poor (0.05, one and a half more).
    side = (litres / 1000) ** (1 / 3)
    area = (6 * side**2 + 6 * (side + 2 * lining_mm / 1000) ** 2) / 2
    lost = [
        leaks * area / (lining_mm / 1000 / conductivity + 2 / (2.50 + 5.42))
        for conductivity, leaks in ((0.035, 1.2), (0.04, 1.5), (0.05, 2.5))
    ]
    sheet = 6 * side**2 * 0.0015 * 7850 * 490
    box = insulated_box(litres, insulation_mm=lining_mm)
    assert _ends(box) == pytest.approx([0.4 * sheet, sheet, 2.5 * sheet, *lost], rel=1e-9)
    assert (box.name, box.water_kg) == (f"insulated box, {litres:.3g} L", 0)
    assert _ends(insulated_box(litres)) == _ends(insulated_box(litres, insulation_mm=40.0))


def test_ovens_by_what_one_takes() -> None:
    # The small one: 2.2 kW for 5 min to 200 °C, 1 kW over 180 K to hold: 5.6 W/K; of 0.183 kWh what is not lost on the
    # way (half the difference, for 5 min) over 180 K.
    small = small_electric_oven()
    assert small.loss_w_k.value == pytest.approx(1000 / 180, abs=0.06)
    assert small.heat_capacity_j_k.value == pytest.approx((2200 * 300 - 0.5 * 1000 * 300) / 180, rel=0.02)
    # Common practice, no source.
    assert _ends(small) == [1800, 2800, 5000, 3.5, 5.6, 7]
    assert _ends(domestic_oven()) == [6500, 8500, 10500, 3.8, 5.6, 7.5]
    assert (small.water_kg, domestic_oven().water_kg) == (0, 0)


def test_a_scenario_calls_a_load_by_its_kind() -> None:
    assert load_of_kind("water_tank", 30.0, full=0.5) == water_tank(30.0, full=0.5)
    assert load_of_kind("water_tank", 30.0) == water_tank(30.0)
    assert load_of_kind("insulated_box", 30.0, insulation_mm=70.0) == insulated_box(30.0, insulation_mm=70.0)
    assert load_of_kind("insulated_box", 30.0) == insulated_box(30.0, insulation_mm=40.0)
    assert load_of_kind("small_electric_oven", 1.0) == small_electric_oven()
    assert load_of_kind("domestic_oven", 1.0) == domestic_oven()


@pytest.mark.parametrize(
    ("make", "accepted"),
    [
        (lambda: water_tank(10_000.0), True),
        (lambda: water_tank(10_001.0), False),
        (lambda: insulated_box(10_000.0), True),
        (lambda: insulated_box(10_001.0), False),
        (lambda: insulated_box(30.0, insulation_mm=500.0), True),
        (lambda: insulated_box(30.0, insulation_mm=501.0), False),
        (lambda: water_tank(30.0, full=1.0), True),
        (lambda: water_tank(30.0, full=1.01), False),
        (lambda: water_tank(30.0, full=0.0), False),
        (lambda: water_tank(30.0, full=0.01), True),
    ],
)
def test_kinds_up_to_their_limits(make: Callable[[], NamedLoad], accepted: bool) -> None:
    if accepted:
        assert make().heat_capacity_j_k.value > 0
        return
    with pytest.raises(HeaterError):
        make()


def test_contents_by_their_names() -> None:
    # Siebel for food of a water share; the rest common values, from memory.
    for word, specific_heat in {
        "vegetables": 837 + 3349 * 0.90,
        "fruit": 837 + 3349 * 0.90,
        "herbs": 837 + 3349 * 0.90,
        "potatoes": 837 + 3349 * 0.78,
        "meat": 837 + 3349 * 0.72,
        "dough": 837 + 3349 * 0.45,
        "water": 4186,
        "oil": 2000,
        "wood": 1600,
        "aluminium": 900,
        "stone": 900,
        "steel": 490,
    }.items():
        assert kinds.CONTENTS_J_KG_K[kinds.CONTENTS_BY_WORD[word]][0] == pytest.approx(specific_heat, abs=0.6), word
    assert len(kinds.CONTENTS_BY_WORD) == 12
    assert food_specific_heat_j_kg_k([0.0, 0.5, 1.0]) == pytest.approx([837, 2511.5, 4186])
    for outside in (-0.01, 1.01):
        with pytest.raises(HeaterError):
            food_specific_heat_j_kg_k(outside)


def test_contents_are_added_draw_by_draw() -> None:
    base = HeatedLoad(1000.0, 2.0, water_kg=0.1)
    masses = np.array([0.0, 0.5])
    dry = with_contents(base, masses, 2000.0)
    assert dry.heat_capacity_j_k == pytest.approx([1000, 2000])
    assert dry.water_kg == pytest.approx(0.1)
    wet = with_contents(base, masses, 4186.0, boils=True)
    assert wet.water_kg == pytest.approx([0.1, 0.6])
    for mass, heat in ((-0.01, 1.0), (1.0, 0.0), (np.array([1.0, -1.0]), 1.0)):
        with pytest.raises(HeaterError, match="0 kg or more"):
            with_contents(base, mass, heat)


# What a load may be


@pytest.mark.parametrize(
    ("load", "said"),
    [
        (HeatedLoad(1e-3, 0.0), []),
        (HeatedLoad(0.0, 0.0), ["heat_capacity_j_k is 0; accepted: above 0"]),
        (HeatedLoad(1.0, -1e-9), ["loss_w_k is -1e-09; accepted: 0 or more"]),
        (HeatedLoad(1.0, 1.0, radiating_area_m2=-1.0), ["radiating_area_m2 is -1; accepted: 0 or more"]),
        (HeatedLoad(1.0, 1.0, outside_area_m2=-1.0), ["outside_area_m2 is -1; accepted: 0 or more"]),
        (HeatedLoad(1.0, 1.0, water_kg=-1.0), ["water_kg is -1; accepted: 0 or more"]),
        (HeatedLoad(1.0, 1.0, open_water_area_m2=-1.0), ["open_water_area_m2 is -1; accepted: 0 or more"]),
        (HeatedLoad(1.0, 1.0, water_film_w_m2_k=0.0), ["water_film_w_m2_k is 0; accepted: above 0"]),
        (HeatedLoad(1.0, 1.0, relative_humidity=1.0), []),
        (HeatedLoad(1.0, 1.0, relative_humidity=0.0), []),
        (HeatedLoad(1.0, 1.0, relative_humidity=1.01), ["relative_humidity is 1.01; accepted: 0 or more, at most 1"]),
        (HeatedLoad(1.0, 1.0, pressure_pa=1e4), []),
        (HeatedLoad(1.0, 1.0, pressure_pa=2e5), []),
        (HeatedLoad(1.0, 1.0, pressure_pa=9.9e3), ["pressure_pa is 9900; accepted: 10000 or more, at most 200000"]),
        (HeatedLoad(1.0, 1.0, pressure_pa=2.1e5), ["pressure_pa is 210000; accepted: 10000 or more, at most 200000"]),
        (HeatedLoad(np.array([1.0, -3.0, -4.0]), 1.0), ["heat_capacity_j_k is -3; accepted: above 0"]),
        (HeatedLoad(1.0, 1.0, second_node=SecondNode(1.0, 1e-3)), []),
        (HeatedLoad(1.0, 1.0, second_node=SecondNode(1.0, 0.0)), ["second_node.coupling_w_k is 0; accepted: above 0"]),
        (
            HeatedLoad(1.0, 1.0, second_node=SecondNode(1.0, 1.0, -1.0, -2.0, -3.0)),
            [
                "second_node.loss_w_k is -1; accepted: 0 or more",
                "second_node.radiating_area_m2 is -2; accepted: 0 or more",
                "second_node.outside_area_m2 is -3; accepted: 0 or more",
            ],
        ),
        # the whole node counts its water, to the last bit or so
        (HeatedLoad(0.7 * 4186.0, 1.0, water_kg=0.7), []),
        (
            HeatedLoad(0.7 * 4186.0 * 0.999, 1.0, water_kg=0.7),
            ["heat_capacity_j_k is less than that of water_kg alone; accepted: the whole node, its water too"],
        ),
        # 5.7 W/(m² K) of still air over 0.5 m²: 2.85 W/K at most, and a wall lets less through
        (HeatedLoad(1.0, 2.84, outside_area_m2=0.5), []),
        (
            HeatedLoad(1.0, 2.86, outside_area_m2=0.5),
            [
                "loss_w_k is 2.86, more than the film of still air over outside_area_m2 lets through (2.85 W/K); "
                "accepted: a smaller loss or a larger area"
            ],
        ),
        (
            HeatedLoad(1.0, 0.0, second_node=SecondNode(1.0, 1.0, 2.86, outside_area_m2=0.5)),
            [
                "second_node.loss_w_k is 2.86, more than the film of still air over second_node.outside_area_m2 lets "
                "through (2.85 W/K); accepted: a smaller loss or a larger area"
            ],
        ),
    ],
)
def test_what_a_load_cannot_be_is_said_in_full(load: HeatedLoad, said: list[str]) -> None:
    assert faults(load) == said
    if said:
        with pytest.raises(HeaterError) as caught:
            coefficients(load, 3)
        assert str(caught.value) == "; ".join(said)


def test_numbers_of_a_load_as_arrays() -> None:
    second = SecondNode(300.0, 20.0, 1.0, 0.03, 0.4, takes_power=True)
    load = HeatedLoad(
        np.array([5e3, 6e3]), 2.0, 0.05, 0.6, np.array([0.0, 1.0]), 0.1, 9e4, 0.4, 7.0, second_node=second
    )
    found = coefficients(load, 2)
    sigma = 5.670374419e-8
    assert found.main_dry_capacity == pytest.approx([5000, 6000 - 4186])
    for name, value in {
        "main_loss": 2,
        "main_radiating": 0.05 * sigma,
        "main_outside": 0.6,
        "open_water": 0.1,
        "humidity": 0.4,
        "water_film": 7,
        "second_capacity": 300,
        "second_loss": 1,
        "second_radiating": 0.03 * sigma,
        "second_outside": 0.4,
        "coupling": 20,
    }.items():
        assert getattr(found, name).tolist() == pytest.approx([value]), name
    assert found.water.tolist() == [0, 1]
    assert math.isinf(found.boiling[0])
    assert found.boiling[1] == pytest.approx(273.15 + 96.7, abs=0.05)  # steam tables: 90 kPa
    assert (found.main_share, found.second_share) == (0, 1)
    assert (found.two_nodes, found.wet, found.radiates, found.steams, found.windy) == (True,) * 5
    plain = coefficients(HeatedLoad(5e3, 2.0, open_water_area_m2=0.1), 2)
    assert (plain.main_share, plain.second_share) == (1, 0)
    assert (plain.two_nodes, plain.wet, plain.radiates, plain.steams, plain.windy) == (False,) * 5
    assert plain.coupling.tolist() == [0]
    lidded = coefficients(HeatedLoad(5e3, 2.0, water_kg=1.0), 1)
    assert (lidded.wet, lidded.steams) == (True, False)
    walls = coefficients(HeatedLoad(5e3, 2.0, second_node=SecondNode(1.0, 1.0, 0.0, 0.01, 0.0)), 1)
    assert (walls.radiates, walls.windy, walls.main_share) == (True, False, 1)
    blown = coefficients(HeatedLoad(5e3, 2.0, second_node=SecondNode(1.0, 1.0, 0.0, 0.0, 0.01)), 1)
    assert (blown.radiates, blown.windy) == (False, True)
    # a node that is all water keeps a millionth of its capacity, lest what is left when it is gone has none
    only = coefficients(HeatedLoad(4186.0, 2.0, water_kg=1.0), 1)
    assert only.main_dry_capacity == pytest.approx([4186e-6])
    with pytest.raises(HeaterError, match=r"shape \(2,\) where 3 draws"):
        coefficients(HeatedLoad(np.array([1.0, 2.0]), 1.0), 3)
    # the coefficients of some draws: what holds for all stays
    some = found.take(np.array([1]))
    assert (some.main_dry_capacity.tolist(), some.main_loss.tolist()) == ([6000 - 4186], [2])


def test_how_many_draws_are_spoken_of() -> None:
    three = np.ones(3)
    assert draws_of(1.0, None, True, "a word", np.array([2.0])) == 1
    assert draws_of(1.0, three) == draws_of(HeatedLoad(three, 1.0)) == draws_of(Thermostat(three, 1.0)) == 3
    assert draws_of(HeatedLoad(1.0, 1.0, second_node=SecondNode(three, 1.0)), three) == 3
    with pytest.raises(HeaterError, match=r"\[2, 3\]"):
        draws_of(three, np.ones(2))
    with pytest.raises(HeaterError, match=r"shape \(3, 1\)"):
        draws_of(np.ones((3, 1)))
    assert common_draws([1, 1]) == 1
    assert common_draws([1, 4, 4]) == 4
    with pytest.raises(HeaterError, match=r"\[2, 4\]"):
        common_draws([4, 2, 1])


@pytest.mark.parametrize(
    ("limits", "watts"),
    [
        (ElementLimits(), math.inf),
        (ElementLimits(rated_power_w=900.0, rated_voltage_v=20.0, resistance_ohm=0.5), 800),
        (ElementLimits(rated_power_w=700.0, rated_voltage_v=20.0, resistance_ohm=0.5), 700),
        (ElementLimits(rated_voltage_v=20.0), math.inf),
    ],
)
def test_the_most_power_of_an_element(limits: ElementLimits, watts: float) -> None:
    assert most_power_w(limits) == watts


def test_wind_thins_the_film_over_a_wall() -> None:
    # Wall 1/2 − 1/(5.7 · 0.8) K/W and the film 5.7 + 3.8 · 10 over 0.8 m².
    expected = 1 / (1 / 2 - 1 / (5.7 * 0.8) + 1 / (43.7 * 0.8))
    found = loss_in_wind_w_k(np.array([2.0, 2.0, 2.0]), np.array([0.8, 0.0, 0.8]), np.array([10.0, 10.0, 0.0]))
    assert found == pytest.approx([expected, 2, 2])


# Water


def test_latent_heat_between_its_two_points() -> None:
    # Steam tables (from memory): 2501 kJ/kg at 0 °C, 2257 kJ/kg at 100 °C.
    assert water.latent_heat_j_kg([273.15, 373.15, 323.15]) == pytest.approx([2.501e6, 2.257e6, 2.379e6])


def test_vapour_pressure_at_fixed_points() -> None:
    # IAPWS: 611.657 Pa at the triple point, 22.064 MPa at the critical point, 2.6389 kPa and 0.10142 MPa (300 K and
    # 100 °C, tables); nothing above the critical temperature.
    found = water.saturation_pressure_pa([273.16, 647.096, 373.124, 700.0])
    assert found[:3] == pytest.approx([611.657, 22.064e6, 101325], rel=3e-5)
    assert found[3] == pytest.approx(22.064e6)


def test_the_boiling_point_gives_its_pressure_back() -> None:
    pressure = np.array([1e4, 7e4, 101_325.0, 2e5])
    assert water.saturation_pressure_pa(water.boiling_point_k(pressure)) == pytest.approx(pressure, rel=1e-9)


def test_one_ambient_is_that_of_all_draws() -> None:
    # Vapour by the ideal gas law and the analogy, as in `energy/heat/water.py`'s sources.
    hot, around = np.array([330.0, 350.0]), 290.0
    found = water.evaporation_w_m2(hot, around, 0.6, 8.0)
    assert found == pytest.approx(water.evaporation_w_m2(hot, np.array([around, around]), 0.6, 8.0), rel=1e-12)
    densities = [float(water.saturation_pressure_pa(t)) / (461.523 * t) for t in (330.0, 350.0, 290.0)]
    transfer = 8 / (1.1 * 1007 * 0.85 ** (2 / 3))
    for k in (0, 1):
        latent = 2.501e6 - 2440 * (float(hot[k]) - 273.15)
        assert found[k] == pytest.approx(transfer * (densities[k] - 0.6 * densities[2]) * latent)


# Wattmeter


def _log(folder: Path, text: str) -> Path:
    path = folder / "watts.csv"
    path.write_text(text)
    return path


def test_sample_times_as_steps() -> None:
    assert trip_steps([0.0, 2.0]).tolist() == [2, 2]
    assert trip_steps([0.0, 1.0, 4.0, 6.0]).tolist() == [1, 3, 2, 2]
    for wrong in ([0.0], [[0.0, 1.0]], [0.0, math.nan]):
        with pytest.raises(HeaterError, match="two finite numbers"):
            trip_steps(wrong)
    with pytest.raises(HeaterError, match="after sample 3"):
        trip_steps([0.0, 1.0, 2.0, 1.5, 3.0])


@pytest.mark.parametrize(
    ("silence", "gap_s", "parted"),
    # Own choice: five typical steps, at least 30 s. Steps of 10 s: 50 s are still a step, 51 s are a gap.
    [(50.0, None, False), (51.0, None, True), (51.0, 51.0, False), (51.0, 50.0, True)],
)
def test_a_silence_is_no_power(tmp_path: Path, silence: float, gap_s: float | None, parted: bool) -> None:
    times = [0.0, 10.0, 20.0, 20 + silence, 30 + silence]
    rows = [f"{t},{100 * (k + 1)},{10 + k},{280 + k}" for k, t in enumerate(times)]
    log = read_wattmeter_log(
        _log(tmp_path, "time_s,power_w,speed_m_s,ambient_k\n" + "\n".join(rows) + "\n"), gap_s=gap_s
    )
    if not parted:
        assert log.durations_s == pytest.approx([10, 10, silence, 10, 10])
        assert (log.power_w.tolist(), log.remarks) == ([100, 200, 300, 400, 500], ())
        assert log.columns["speed"] == pytest.approx([10, 11, 12, 13, 14])
        return
    assert log.durations_s == pytest.approx([10, 10, 10, silence - 10, 10, 10])
    assert log.power_w.tolist() == [100, 200, 300, 0, 400, 500]
    assert log.columns["speed"] == pytest.approx([10, 11, 12, 12, 13, 14])
    assert log.columns["ambient"] == pytest.approx([280, 281, 282, 282, 283, 284])
    minutes = (silence - 10) / 60
    said = f"watts.csv: nothing logged for {minutes:.3g} min in 1 gap; counted as no power, driven on at the last speed"
    assert log.remarks == (said,)


def test_thirty_seconds_are_no_gap_in_a_quick_log(tmp_path: Path) -> None:
    for silence, gaps in ((30.0, 0), (31.0, 2)):
        times = [0.0, 1.0, 2.0, 2 + silence, 3 + silence, 3 + 2 * silence, 4 + 2 * silence, 5 + 2 * silence]
        log = read_wattmeter_log(_log(tmp_path, "time_s,power_w\n" + "\n".join(f"{t},5" for t in times) + "\n"))
        assert log.durations_s.size == 8 + gaps
        assert dict(log.columns) == {}
        if gaps:
            assert log.remarks == ("watts.csv: nothing logged for 1 min in 2 gaps; counted as no power",)


def test_no_power_is_accepted_and_less_is_not(tmp_path: Path) -> None:
    assert read_wattmeter_log(_log(tmp_path, "time_s,power_w\n0,0\n1,5\n")).power_w.tolist() == [0, 5]
    with pytest.raises(InputError, match=r"row 2 of the numbers: -0\.1 W"):
        read_wattmeter_log(_log(tmp_path, "time_s,power_w\n0,0\n1,-0.1\n2,3\n"))


def test_rows_of_a_call_sheet_that_only_mark_something_are_passed_over(tmp_path: Path) -> None:
    head = "time_s,time_utc,event,power_w\n"
    rows = ["0,,reading,100", "2,,setting,", "10,,reading,300", "20,,reading,200", "25,,peak,"]
    log = read_wattmeter_log(_log(tmp_path, head + "\n".join(rows) + "\n"))
    assert log.durations_s == pytest.approx([10, 10, 10])
    assert log.power_w.tolist() == [100, 300, 200]
    two = read_wattmeter_log(_log(tmp_path, head + "0,,reading,100\n5,,setting,\n8,,reading,50\n"))
    assert two.power_w.tolist() == [100, 50]
    with pytest.raises(InputError, match=r"column power: 1 readings.*two or more"):
        read_wattmeter_log(_log(tmp_path, head + "0,,reading,100\n5,,setting,\n"))
    with pytest.raises(InputError, match="empty cell"):
        read_wattmeter_log(_log(tmp_path, "time_s,power_w\n0,100\n5,\n8,50\n"))
