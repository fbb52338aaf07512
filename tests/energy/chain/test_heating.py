"""From a scenario to its heating: the demos against hand calculations, hostile input, units, trips and draws."""

from __future__ import annotations

import math
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from energy.chain import heating as chain
from energy.chain.answer import answered
from energy.chain.heating import Heating, Trip, load_of, read_power, read_trip, sampled, uncertain_keys
from energy.chain.ledger import answer, turbine_at_work
from energy.chain.load import load
from energy.chain.trip import answer_trip
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from energy.words import heat as heat_report
from energy.words.cautions import pressing_cautions
from vehicle.problems import InputError
from vehicle.quantity import Uncertain

ZERO_C = 273.15


def heating(scenario: Scenario, trip: Trip | None = None, *, draws: int = 64) -> Heating:
    """Return how a load warms, with an eighth of the draws that users get: the answer itself is none of them."""
    return chain.heating(scenario, trip, draws=draws)


@pytest.fixture(scope="module")
def demo(demos: Path) -> Callable[..., Scenario]:
    return lambda name, *overrides: load(demos / name / "scenario.toml", overrides)


def power_and_fuel(scenario: Scenario) -> tuple[float, float]:
    found = answer(inputs_of(scenario))
    return float(found.turbine.heat_power_w), float(found.change.volume_m3_s) * 3.6e6


def test_the_van_by_hand(demo: Callable[..., Scenario]) -> None:
    """One temperature and a straight-line loss: t = C/G ln(P/(P - G dT)) (Incropera, transient conduction, from
    memory).
    """
    scenario = demo("van_water_tank")
    power, litres_per_hour = power_and_fuel(scenario)
    capacity = 0.99 * 30 * 4186 + 0.15 * 30 * 490  # water and the steel of its vessel
    loss = (16.66 + 8.33 * 30**0.4) / 45  # energy label, class C
    time = capacity / loss * math.log(power / (power - loss * 45))
    found = heating(scenario)
    outcome = found.outcome
    assert outcome.time_to_target_s[0] == pytest.approx(time, rel=1e-6)
    assert time == pytest.approx(55.2 * 60, rel=0.01)
    assert outcome.energy_to_target_j[0] == pytest.approx(power * time, rel=1e-6)
    assert outcome.holding_power_w[0] == pytest.approx(loss * 45)
    assert outcome.highest_temperature_k[0] - ZERO_C == pytest.approx(100.0, abs=0.05)  # it boils at 1013 hPa
    assert found.fuel_m3[0] * 1e3 == pytest.approx(litres_per_hour * time / 3600, rel=1e-6)
    # Without any loss it takes C dT / P, a hundredth less.
    assert time == pytest.approx(capacity * 45 / power, rel=0.02)
    assert time > capacity * 45 / power
    assert found.watched.peak_temperature_k[0] == pytest.approx(ZERO_C + 67, abs=1e-3)  # 65 °C and half of 4 K


def test_the_oven_by_hand(demo: Callable[..., Scenario]) -> None:
    scenario = demo("camper_oven")
    power, litres_per_hour = power_and_fuel(scenario)
    capacity, loss = 2800 + 0.9 * (837 + 3349 * 0.45), 5.6  # Siebel's formula for dough of 45 % water
    time = capacity / loss * math.log(power / (power - loss * 162))
    outcome = heating(scenario).outcome
    assert outcome.time_to_target_s[0] == pytest.approx(time, rel=1e-4)
    assert outcome.highest_temperature_k[0] == pytest.approx(ZERO_C + 18 + power / loss)
    assert outcome.holding_power_w[0] == pytest.approx(5.6 * 162)
    assert heating(scenario).fuel_m3[0] * 1e3 == pytest.approx(litres_per_hour * time / 3600, rel=1e-4)


def test_the_drying_box_in_the_road_wind_by_hand(demo: Callable[..., Scenario]) -> None:
    scenario = demo("pickup_drying_box")
    power, _ = power_and_fuel(scenario)
    side, thick = (4 * 0.3048**3) ** (1 / 3), 1.5 * 0.0254
    inside, outside = 6 * side**2, 6 * (side + 2 * thick) ** 2
    still = 1.5 * 0.5 * (inside + outside) / (thick / 0.04 + 2 / 7.92)
    area, wind = 18 * 0.3048**2, 45 * 0.44704
    # Wall and outer film in series: the wind thins the film only.
    loss = 1 / (1 / still - 1 / (5.7 * area) + 1 / ((5.7 + 3.8 * wind) * area))
    capacity = inside * 0.0015 * 7850 * 490 + 6 * 0.45359237 * (837 + 3349 * 0.9)
    rise = 33 * 5 / 9
    time = capacity / loss * math.log(power / (power - loss * rise))
    outcome = heating(scenario).outcome
    assert outcome.holding_power_w[0] == pytest.approx(loss * rise, rel=1e-3)
    assert outcome.time_to_target_s[0] == pytest.approx(time, rel=1e-3)


def test_a_parked_van_warms_without_fuel(demo: Callable[..., Scenario]) -> None:
    found = heating(demo("parked_on_a_ridge"))
    assert found.outcome.reachable[0]
    assert found.fuel_m3[0] == 0
    assert "Fuel until 60.0 °C: none" in heat_report.first_lines(found, "metric").sentence


def test_draws_surround_the_answer_and_are_the_same_twice(demo: Callable[..., Scenario]) -> None:
    one, two = (chain.heating(demo("van_water_tank")) for _ in range(2))
    assert np.array_equal(one.outcome.time_to_target_s, two.outcome.time_to_target_s)
    low, high = heat_report.interval(one.outcome.time_to_target_s) or (math.nan, math.nan)
    assert low < one.outcome.time_to_target_s[0] < high
    assert one.drawn == 512


def test_draws_follow_their_ranges(demo: Callable[..., Scenario]) -> None:
    ranges = {
        "load.loss": Uncertain(2.0, 1.0, 4.0, "triangular"),
        "rotor.local_speed_factor": Uncertain(0.6, 0.5, 0.7, "uniform"),
        "load.heat_capacity": Uncertain(100e3, 90e3, 110e3, "normal"),
    }
    drawn = sampled(demo("van_water_tank"), ranges, 2048)
    for key, value in ranges.items():
        assert drawn[key][0] == value.value
        assert drawn[key][1:].std() == pytest.approx(value.standard_deviation, rel=0.02)
    assert drawn["load.loss"].mean() == pytest.approx(7 / 3, rel=0.01)
    assert drawn["load.loss"].min() >= 1
    assert drawn["load.loss"].max() <= 4
    assert abs(np.corrcoef(drawn["load.loss"], drawn["load.heat_capacity"])[0, 1]) < 0.06


def test_not_reachable_is_an_answer(demo: Callable[..., Scenario]) -> None:
    found = heating(demo("camper_oven", "trip.road_speed=50 km/h"))
    data = heat_report.as_data(found, "metric")
    power, _ = power_and_fuel(found.scenario)
    assert data["reachable"] is False
    assert data["reason"] == "power"
    assert data["time_to_target_s"] is None
    assert data["energy_to_target_kwh"] is None
    assert data["fuel_to_target_l"] is None
    assert data["highest_temperature_degc"] == pytest.approx(18 + power / 5.6)
    assert data["shortfall_w"] == pytest.approx(5.6 * 162 - power)
    assert {entry["kind"] for entry in data["remedies"]} == {"power", "loss", "target"}
    text = heat_report.first_lines(found, "metric").sentence
    assert "180 °C is unlikely to be reached" in text or "180 °C is never reached" in text
    assert "more would hold 180 °C" in text


def test_boiling_ends_the_rise(demo: Callable[..., Scenario]) -> None:
    found = heating(demo("van_water_tank", "load.target_temperature=120 degC", "load.thermostat=125 degC"))
    assert "the water boils at 100 °C" in heat_report.first_lines(found, "metric").sentence
    assert heat_report.as_data(found, "metric")["reason"] == "boiling"
    assert any("never a sealed vessel" in text for text in heat_report.cautions(found, "metric"))
    high = heating(demo("van_water_tank", "air.pressure=700 hPa"))
    assert high.outcome.highest_temperature_k[0] - ZERO_C == pytest.approx(89.9, abs=0.2)  # steam tables


def test_a_closed_tank_asks_for_its_relief_valve(demo: Callable[..., Scenario]) -> None:
    found = heating(demo("van_water_tank", "load.vented=false"))
    assert any("pressure relief valve" in text for text in heat_report.cautions(found, "metric"))
    assert ("highest temperature it can reach", "far past boiling, if no thermostat or relief valve ends it") in (
        heat_report.key_numbers(found, "metric")
    )


def test_the_elements_limits(demo: Callable[..., Scenario]) -> None:
    found = heating(demo("van_water_tank", "heater.rated_voltage=60 V", "heater.surface_limit=40 degC"))
    assert found.outcome.available_power_w[0] == pytest.approx(60**2 / 9)
    said = " ".join(heat_report.cautions(found, "metric"))
    assert "the element stands 400 W" in said
    assert "above its limit of 40.0 °C" in said
    assert "licensed electrician" in said
    three = heating(demo("pickup_drying_box", "heater.rated_voltage=40 V"))
    assert three.outcome.available_power_w[0] == pytest.approx(3 * 40**2 / 5.5)  # each of three elements


def test_a_load_that_loses_nothing_has_no_highest_temperature(demo: Callable[..., Scenario]) -> None:
    found = heating(demo("van_water_tank", "load.loss=0 W/K", "load.vented=false"))
    assert heat_report.as_data(found, "metric")["highest_temperature_degc"] is None
    assert found.outcome.reachable[0]


def test_two_nodes_from_the_scenario(demo: Callable[..., Scenario]) -> None:
    element = heating(
        demo(
            "van_water_tank",
            "load.second_node=element",
            "load.second_heat_capacity=1 kJ/K",
            "load.second_coupling=50 W/K",
        )
    )
    power, _ = power_and_fuel(element.scenario)
    hottest = float(element.watched.second_peak_k[0] - element.watched.peak_temperature_k[0])
    assert hottest == pytest.approx(power / 50, rel=0.05)  # the element is hotter by power over coupling
    walls = heating(
        demo(
            "camper_oven",
            "load.second_node=walls",
            "load.second_heat_capacity=2 kJ/K",
            "load.second_coupling=20 W/K",
            "load.second_loss=6 W/K",
            "load.heat_capacity=1 kJ/K",
        )
    )
    assert walls.outcome.holding_power_w[0] == pytest.approx(162 / (1 / 20 + 1 / 6))  # two resistances in series


@pytest.mark.parametrize(
    ("name", "overrides", "key", "words"),
    [
        ("wrong unit", ("load.target_temperature=60 W",), "load.target_temperature", "unit of another kind"),
        ("no unit", ("load.target_temperature=60",), "load.target_temperature", "no unit"),
        ("negative", ("load.loss=-1 W/K",), "load.loss", "at least 0"),
        ("below zero", ("load.target_temperature=-300 degC",), "load.target_temperature", "below absolute zero"),
        ("contents alone", ("load.contents_mass=1 kg",), "load.contents", "missing"),
        (
            "two contents",
            ("load.contents=meat", "load.contents_water_share=0.7", "load.contents_mass=1 kg"),
            "load.contents_water_share",
            "given together with contents",
        ),
        ("half a node", ("load.second_node=element",), "load.second_coupling", "missing"),
        ("odd kind", ("load.kind=water tank",), "load.kind", "nearest: water_tank"),
    ],
)
def test_wrong_keys_are_told_when_the_file_is_read(
    demo: Callable[..., Scenario], name: str, overrides: tuple[str, ...], key: str, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        demo("van_water_tank", *overrides)
    assert any(problem.key == key and words in str(problem) for problem in caught.value.problems), name


@pytest.mark.parametrize(
    ("overrides", "key", "words"),
    [
        (("load.target_temperature=80 degC",), "load.target_temperature", "thermostat opens at 67 degC"),
        (("load.start_temperature=120 degC",), "load.start_temperature", "boiled away"),
        (("load.heat_capacity=20 kJ/K",), "load.heat_capacity", "load.volume"),
        (("load.outside_area=0.1 m^2",), "load.loss", "load.outside_area"),
    ],
)
def test_impossible_loads_are_told_with_file_key_and_what_is_accepted(
    demo: Callable[..., Scenario], overrides: tuple[str, ...], key: str, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        heating(demo("van_water_tank", *overrides))
    (problem,) = caught.value.problems
    assert problem.where == "scenario.toml"
    assert problem.key == key
    assert words in problem.read
    assert problem.accepted


def test_a_scenario_without_a_load_says_what_is_missing(demos: Path, tmp_path: Path) -> None:
    text = (demos / "van_water_tank" / "scenario.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[load]")
    bare = tmp_path / "scenario.toml"
    bare.write_text(head + "[vehicle]" + rest.partition("[vehicle]")[2], encoding="utf-8")
    (tmp_path / "rotor_curves.csv").write_bytes((demos / "van_water_tank" / "rotor_curves.csv").read_bytes())
    answer(inputs_of(load(bare)))  # other questions do not need it
    with pytest.raises(InputError) as caught:
        heating(load(bare))
    assert {p.key for p in caught.value.problems} == {"load.heat_capacity", "load.loss", "load.target_temperature"}


# Temperatures and their differences


@given(st.floats(0.5, 300, allow_nan=False))
def test_a_difference_never_gets_the_offset(degrees: float) -> None:
    from vehicle.quantity import Spec, read_quantity

    hysteresis = Spec("delta_degC", "a difference")
    assert read_quantity(f"{degrees:.6f} degF", hysteresis).value == pytest.approx(degrees * 5 / 9, abs=1e-5)
    assert read_quantity(f"{degrees:.6f} degC", hysteresis).value == pytest.approx(degrees, abs=1e-5)
    temperature = Spec("K", "a temperature")
    read = read_quantity({"value": "500 degF", "plus_minus": f"{degrees:.6f} degF"}, temperature)
    assert read.value == pytest.approx(ZERO_C + (500 - 32) * 5 / 9)
    assert read.high - read.value == pytest.approx(degrees * 5 / 9, abs=1e-5)


@pytest.mark.parametrize("degc", [45.0, 60.0, 65.0])
def test_fahrenheit_and_celsius_say_the_same(demo: Callable[..., Scenario], degc: float) -> None:
    def at(target: str, hysteresis: str) -> Heating:
        return heating(
            demo("van_water_tank", f"load.target_temperature={target}", f"load.hysteresis={hysteresis}"), draws=1
        )

    one = at(f"{degc} degC", "5 K")
    two = at(f"{degc * 9 / 5 + 32:.9f} degF", "9 degF")
    assert two.outcome.time_to_target_s[0] == pytest.approx(one.outcome.time_to_target_s[0], rel=1e-7)
    assert two.watched.peak_temperature_k[0] == pytest.approx(one.watched.peak_temperature_k[0], rel=1e-9)


# Trips and logs


def _driven_finely(trip: Trip) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a trip's speed, acceleration and length of pieces of at most half a metre a second: straight lines."""
    assert trip.speed_m_s is not None
    pieces = []
    after = np.append(trip.speed_m_s[1:], trip.speed_m_s[-1])
    for speed, following, length in zip(trip.speed_m_s, after, trip.durations_s, strict=True):
        number = max(1, math.ceil(abs(following - speed) / 0.5))
        for piece in range(number):
            mean = speed + (following - speed) * (piece + 0.5) / number
            pieces.append((mean, (following - speed) / length, length / number))
    speeds, accelerations, lengths = np.array(pieces).T
    return speeds, accelerations, lengths


def test_the_demo_trip_against_a_plain_loop(demo: Callable[..., Scenario], demos: Path) -> None:
    scenario = demo("van_water_tank", "load.target_temperature=50 degC")
    trip = read_trip(demos / "van_water_tank" / "trip.csv")
    found = heating(scenario, trip)
    load_now = load_of(scenario, 288.15, 101300.0, {})
    capacity, loss = float(load_now.heater.heat_capacity_j_k), float(load_now.heater.loss_w_k)
    speeds, accelerations, lengths = _driven_finely(trip)
    inputs = inputs_of(scenario, {"trip.road_speed": speeds, "trip.acceleration": accelerations})
    steps = answer(inputs, turbine_at_work(inputs, with_free_run=False), with_other_sources=False)
    flows = np.where(speeds > 0, steps.change.volume_m3_s * 1e3, 0.0)
    temperature, clock, litres, reached, fuel_then = 15.0, 0.0, 0.0, math.nan, math.nan
    for watts, flow, length in zip(steps.turbine.heat_power_w, flows, lengths, strict=True):
        end = 15 + float(watts) / loss
        warmer = end + (temperature - end) * math.exp(-loss * length / capacity)
        if math.isnan(reached) and warmer >= 50:
            reached = clock + capacity / loss * math.log((end - temperature) / (end - 50))
            fuel_then = litres + flow * (reached - clock)
        temperature, clock, litres = warmer, clock + length, litres + flow * length
    assert found.outcome.time_to_target_s[0] == pytest.approx(reached, rel=2e-3)
    assert found.outcome.final_temperature_k[0] - ZERO_C == pytest.approx(temperature, abs=0.05)
    assert found.fuel_m3[0] * 1e3 == pytest.approx(fuel_then, rel=2e-3)
    assert found.over_trip_fuel_m3[0] * 1e3 == pytest.approx(litres, rel=2e-3)
    low, high = heat_report.interval(found.fuel_m3) or (math.nan, math.nan)
    assert low < fuel_then < high


_POLICIES = {
    "always": (),
    "above 50 km/h": ("trip.works=above_speed", "trip.works_speed=50 km/h"),
    "below 50 km/h": ("trip.works=below_speed", "trip.works_speed=50 km/h"),
    "braking": ("trip.works=braking_or_descending",),
    "parked": ("trip.works=only_parked",),
}


@pytest.mark.parametrize("policy", _POLICIES)
@pytest.mark.parametrize("every", [1, 30])
def test_a_schedule_heats_and_burns_as_its_answer_says(demos: Path, tmp_path: Path, policy: str, every: int) -> None:
    """The turbine rests where its policy says so, and speed runs straight between rows far apart."""
    folder = tmp_path / "town"
    shutil.copytree(demos / "van_in_town", folder)
    lines = [line for line in (folder / "urban.csv").read_text(encoding="utf-8").splitlines() if line[0] != "#"]
    rows = [lines[0], *lines[1::every], "1400,0"]  # it ends standing
    (folder / "urban.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    scenario = load(folder / "scenario.toml", _POLICIES[policy])
    stated = answer_trip(scenario)
    found = heating(scenario, read_trip(folder / "urban.csv"))
    seconds = stated.steps.total_s
    joules = float(stated.mean.turbine.heat_power_w) * seconds
    assert found.outcome.energy_given_j[0] == pytest.approx(joules, rel=1e-3, abs=1.0)
    litres = float(stated.mean.change.volume_m3_s) * seconds * 1e3
    assert found.over_trip_fuel_m3[0] * 1e3 == pytest.approx(litres, rel=2e-3)
    middle = float(np.median(found.over_trip_fuel_m3[1:])) * 1e3
    assert middle == pytest.approx(litres, rel=0.25)  # and so do the draws: always working burns twice as much
    assert found.outcome.energy_given_j.max() == 0 if policy == "parked" else found.outcome.energy_given_j.min() > 0
    line = heat_report.first_lines(found, "metric").lines[0]
    assert ("working only" in line) == (policy != "always")


def test_wind_and_descent_along_the_way(demo: Callable[..., Scenario], tmp_path: Path) -> None:
    """A trip of one speed in a head wind of its own is a steady drive in that wind."""
    path = tmp_path / "way.csv"
    rows = "".join(f"{60 * k},72,18,-0.02\n" for k in range(5))
    path.write_text("time_s,speed_km_h,wind_speed_km_h,grade\n" + rows, encoding="utf-8")
    found = heating(demo("van_water_tank"), read_trip(path), draws=4)
    steady = heating(demo("van_water_tank", "trip.road_speed=72 km/h", "air.wind_speed=18 km/h"), draws=0)
    assert found.power_w[0] == pytest.approx(steady.power_w[0], rel=2e-3)
    windy = demo("van_water_tank", "trip.road_speed=72 km/h", "air.wind_speed=18 km/h", "trip.grade=-2 %")
    rate = float(answer(inputs_of(windy)).change.volume_m3_s)
    assert found.over_trip_fuel_m3[0] == pytest.approx(rate * 300, rel=2e-3)


def test_driven_again_and_again(demo: Callable[..., Scenario], demos: Path) -> None:
    path = demos / "van_water_tank" / "trip.csv"
    once = heating(demo("van_water_tank"), read_trip(path))
    assert once.outcome.reachable[0]
    assert np.isnan(once.outcome.time_to_target_s[0])
    twice = heating(demo("van_water_tank"), read_trip(path, repeats=2))
    assert twice.outcome.time_to_target_s[0] == pytest.approx(once.reached_if_repeated_s, rel=1e-6)
    assert twice.over_trip_fuel_m3[0] == pytest.approx(2 * once.over_trip_fuel_m3[0])


def test_the_profile_goes_with_its_own_schedule_only(demos: Path, tmp_path: Path) -> None:
    """Wind and altitude along the way, as the answer has them; another trip leads elsewhere."""
    folder = tmp_path / "town"
    shutil.copytree(demos / "van_in_town", folder)
    (folder / "hill.csv").write_text("distance_km,altitude_m,wind_speed_km_h\n0,100,40\n6,400,0\n13,100,40\n")
    scenario = load(folder / "scenario.toml", ["trip.profile=hill.csv"])
    stated = answer_trip(scenario)
    joules = float(stated.mean.turbine.heat_power_w) * stated.steps.total_s
    found = heating(scenario, read_trip(folder / "urban.csv"), draws=2)
    assert found.outcome.energy_given_j[0] == pytest.approx(joules, rel=1e-3)
    shutil.copy(folder / "urban.csv", tmp_path / "elsewhere.csv")
    flat = heating(load(folder / "scenario.toml"), read_trip(folder / "urban.csv"), draws=2)
    other = heating(scenario, read_trip(tmp_path / "elsewhere.csv"), draws=2)
    assert other.power_w[0] == pytest.approx(flat.power_w[0])
    assert found.power_w[0] > 1.2 * flat.power_w[0]


def test_the_ambient_of_a_row_holds_until_the_next(demo: Callable[..., Scenario], tmp_path: Path) -> None:
    """Cooling of a load without power, row by row in closed form; between its rows the trip is cut into steps."""
    path = tmp_path / "way.csv"
    path.write_text("time_s,speed_km_h,ambient_degc\n0,0,10\n3600,40,30\n7200,0,-10\n10800,0,-10\n")
    cold = ("trip.works=only_parked", "load.start_temperature=50 degC", "load.target_temperature=60 degC")
    town = demo("van_in_town", *cold)
    found = heating(town, read_trip(path), draws=0)
    heater = found.load.heater
    rate = float(np.ravel(heater.loss_w_k)[0]) / float(np.ravel(heater.heat_capacity_j_k)[0])
    temperature = 50.0
    for around in (10, 30, -10, -10):
        temperature = around + (temperature - around) * math.exp(-rate * 3600)
    assert found.outcome.final_temperature_k[0] - ZERO_C == pytest.approx(temperature, abs=1e-6)


def test_a_wattmeters_log(demo: Callable[..., Scenario], tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = "".join(f"{60 * k},{2.0},{36.0 * (k % 2)},{5 + k / 10}\n" for k in range(80))
    path.write_text("time_s,power_kw,speed_km_h,ambient_degc\n" + rows, encoding="utf-8")
    log = read_power(path)
    assert log.power_w is not None
    assert log.ambient_k is not None
    assert log.power_w[0] == 2000
    assert log.ambient_k[-1] == pytest.approx(ZERO_C + 12.9)
    found = heating(demo("van_water_tank"), log)
    assert found.outcome.history.main_k[0, 0] == pytest.approx(ZERO_C + 5)  # it starts at the ambient of the log
    assert found.outcome.available_power_w[1:] == pytest.approx(2000)  # measured: no draws of the turbine's power
    assert found.fuel_m3[0] > 0  # from the speeds in the log
    path.write_text("time_s,power_w\n" + "".join(f"{60 * k},2000\n" for k in range(80)), encoding="utf-8")
    silent = heating(demo("van_water_tank"), read_power(path))
    assert heat_report.as_data(silent, "metric")["fuel_to_target_l"] is None
    assert ("fuel to get there", "not known: log.csv has no column speed") in heat_report.key_numbers(silent, "metric")


@pytest.mark.parametrize("stowed", ["stopped", "spinning", "feathered"])
@pytest.mark.parametrize("off_w", [0.0, 19.0])
def test_a_log_charges_the_turbine_only_where_it_gives_power(
    demo: Callable[..., Scenario], tmp_path: Path, stowed: str, off_w: float
) -> None:
    """By hand: the fuel of the working turbine in the rows with power, of the stowed one in the others."""
    scenario = demo("van_water_tank", f'rotor.stowed="{stowed}"')
    path = tmp_path / "log.csv"
    speeds, watts = (90.0, 90.0, 60.0, 60.0, 90.0), (2000.0, off_w, 900.0, off_w, 21.0)
    rows = [f"{60 * k},{watts[k]},{speeds[k]}\n" for k in range(5)]
    path.write_text("time_s,power_w,speed_km_h\n" + "".join(rows), encoding="utf-8")
    found = heating(scenario, read_power(path, repeats=2), draws=64)
    changes = np.diff([*speeds, speeds[-1]]) / 3.6 / 60
    spent = 0.0
    for speed, change, power in zip(speeds, changes, watts, strict=True):
        drive = {"trip.road_speed": np.asarray(speed / 3.6), "trip.acceleration": np.asarray(change)}
        there = answer(inputs_of(scenario, drive))
        state = there.states["working" if power > 20 else "stowed"]  # a hundredth of the highest power
        assert there.inputs.fuel is not None
        watts_more = state.supply.source_w - there.without.supply.source_w
        spent += 2 * 60 * float(watts_more) / there.inputs.fuel.heating_value_j_per_m3
    assert found.over_trip_fuel_m3[0] == pytest.approx(spent, rel=1e-9)
    # The draws lie about the stated value, not about that of a turbine that works all the time.
    assert found.over_trip_fuel_m3[1:].min() < spent < found.over_trip_fuel_m3[1:].max()
    always = np.maximum(watts, 21.0)
    rows = [f"{60 * k},{always[k]},{speeds[k]}\n" for k in range(5)]
    path.write_text("time_s,power_w,speed_km_h\n" + "".join(rows), encoding="utf-8")
    working = heating(scenario, read_power(path, repeats=2), draws=64)
    # A rotor that spins without load drags more than one at work.
    ratio = np.median(found.over_trip_fuel_m3[1:]) / np.median(working.over_trip_fuel_m3[1:])
    assert ratio > 1.05 if stowed == "spinning" else ratio < 0.8
    assert (
        heat_report.first_lines(found, "metric").lines[0]
        == "On log.csv (10 min, driven 2 times), at work 60 % of the time"
    )
    assert "at work" not in heat_report.first_lines(working, "metric").lines[0]
    rule = "working where the log shows more than 20 W (1 % of its highest power), stowed elsewhere, gaps included."
    assert any(rule in note for note in heat_report.notes(found, "metric"))


def test_a_log_of_no_power_at_all_costs_what_a_stowed_turbine_does(
    demo: Callable[..., Scenario], tmp_path: Path
) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time_s,power_w,speed_km_h\n0,0,80\n60,0,80\n", encoding="utf-8")
    scenario = demo("van_water_tank")
    found = heating(scenario, read_power(path), draws=16)
    ranges = uncertain_keys(scenario, inputs_of(scenario).used)
    drawn = sampled(scenario, {key: known for key, known in ranges.items() if not key.startswith("trip.")}, 16)
    there = answer(inputs_of(scenario, {**drawn, "trip.road_speed": np.asarray(80 / 3.6)}))
    stowed = there.states["stowed"].supply.source_w - there.without.supply.source_w
    assert there.inputs.fuel is not None
    assert found.over_trip_fuel_m3 == pytest.approx(120 * stowed / there.inputs.fuel.heating_value_j_per_m3)
    assert found.hardest is not None
    assert found.hardest.rotor_speed_rad_s == 0  # no limit is broken by a rotor that rests


def test_hostile_trips(tmp_path: Path) -> None:
    path = tmp_path / "trip.csv"
    for text, words in (
        ("time_s,speed_km_h\n0,50\n10,-3\n", "column speed, row 2"),
        ("time_s,speed_km_h\n0,50\n10,nan\n", "finite number"),
        ("time_s,speed_km_h\n0,50\n0,60\n", "row 2 of the numbers: the value of row 1 again"),
        ("time_s,speed\n0,50\n9,60\n", "no unit in the header"),
        ("time_s,power_w\n0,50\n9,60\n", "column speed_m_s: missing"),
        ("time_s,speed_km_h,grade_percent\n0,50,80\n9,60,1\n", "column grade, row 1"),
        ("", "no rows"),
    ):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError) as caught:
            read_trip(path)
        assert words in str(caught.value)


def test_a_battery_vehicle_pays_from_its_pack(demos: Path, tmp_path: Path) -> None:
    text = (demos / "van_water_tank" / "scenario.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[engine]")
    path = tmp_path / "scenario.toml"
    path.write_text(head + "[battery]\n[trip]" + rest.partition("[trip]")[2], encoding="utf-8")
    (tmp_path / "rotor_curves.csv").write_bytes((demos / "van_water_tank" / "rotor_curves.csv").read_bytes())
    found = heating(load(path))
    data = heat_report.as_data(found, "metric")
    assert data["fuel_to_target_l"] is None
    change = float(found.answer.change.power_w)
    assert data["pack_energy_to_target_kwh"] == pytest.approx(change * data["time_to_target_s"] / 3.6e6)
    assert "from the battery pack" in heat_report.first_lines(found, "metric").sentence


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (45, "45 s"),
        (252, "4.2 min"),
        (3240, "54 min"),
        (6360, "1 h 46 min"),
        (118800, "33 h"),
        (1e6, "12 days"),
        (math.nan, "never"),
    ],
)
def test_durations_in_words(seconds: float, words: str) -> None:
    assert heat_report.duration_words(seconds) == words


# Boiling and running dry: at 1013 hPa water boils at 99.97 degC, at 700 hPa at 89.9 degC (steam tables).


@pytest.fixture
def without_thermostat(van_folder: Path) -> Path:
    path = van_folder / "scenario.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('thermostat = "65 degC"\n', ""), encoding="utf-8")
    return path


def _over_the_trip(path: Path, *overrides: str) -> Heating:
    scenario = load(path, ["load.volume=3 L", *overrides])
    return heating(scenario, read_trip(path.parent / "trip.csv", repeats=4), draws=64)


def test_a_target_above_boiling_is_never_reached_though_the_dry_tank_gets_hotter(without_thermostat: Path) -> None:
    found = _over_the_trip(without_thermostat, "load.target_temperature=120 degC")
    assert found.outcome.peak_temperature_k[0] > ZERO_C + 200  # of the empty tank
    data = heat_report.as_data(found, "metric")
    assert (data["reached"], data["reachable"], data["reason"]) == (False, False, "boiling")
    assert data["time_to_target_s"] is None
    assert data["energy_to_target_kwh"] is None
    assert data["highest_temperature_degc"] == pytest.approx(99.97, abs=0.05)
    assert data["peak_temperature_degc"] is None
    assert max(data["history"]["temperature_degc"]["estimate"]) < 100.1
    assert data["history"]["time_s"][-1] == pytest.approx(data["dry_from_s"], rel=0.05)
    words = heat_report.first_lines(found, "metric").sentence
    assert words.startswith("Do not operate. The tank boils dry after ")
    assert "120 °C is never reached: the water boils at 100 °C" in words
    rows = dict(heat_report.key_numbers(found, "metric"))
    assert rows["hottest on the way"] == "boiled dry"
    assert "time to 120 °C" not in rows


def test_a_target_below_boiling_is_reached_and_the_danger_comes_first(without_thermostat: Path) -> None:
    found = _over_the_trip(without_thermostat)
    assert found.outcome.reachable.all()
    assert found.outcome.time_to_target_s[0] < found.outcome.boiling_from_s[0]
    assert heat_report.first_lines(found, "metric").sentence.startswith("Do not operate. The tank boils dry after ")


def test_a_power_log_in_thin_air_boils_before_it_gets_to_95_degrees(without_thermostat: Path, tmp_path: Path) -> None:
    log = tmp_path / "watts.csv"
    log.write_text("time_s,power_w\n" + "".join(f"{60 * i},2000\n" for i in range(200)), encoding="utf-8")
    thin = ["load.volume=3 L", "load.target_temperature=95 degC", "air.pressure=700 hPa"]
    found = heating(load(without_thermostat, thin), read_power(log), draws=64)
    assert math.isnan(found.outcome.time_to_target_s[0])
    words = heat_report.first_lines(found, "metric").sentence
    assert "The tank boils dry" in words
    assert "95.0 °C is never reached: the water boils at 89.9 °C" in words


def test_a_closed_tank_past_boiling_is_a_danger_without_a_number(without_thermostat: Path) -> None:
    found = _over_the_trip(without_thermostat, "load.vented=false")
    words = heat_report.first_lines(found, "metric").sentence
    assert words.startswith("Do not operate. The water in the closed tank passes 100 °C; ")
    assert dict(heat_report.key_numbers(found, "metric"))["hottest on the way"] == "past boiling"
    data = heat_report.as_data(found, "metric")
    assert data["dangers"] == heat_report.dangers(found, "metric")
    assert data["peak_temperature_degc"] is None
    assert data["highest_temperature_degc"] is None
    assert max(data["history"]["temperature_degc"]["high"]) < 100.1


def test_a_thermostat_keeps_both_dangers_away(van_folder: Path) -> None:
    for vented in ("true", "false"):
        found = _over_the_trip(van_folder / "scenario.toml", f"load.vented={vented}")
        assert heat_report.dangers(found, "metric") == []


@pytest.mark.parametrize("trip", [True, False])
def test_a_closed_tank_never_reaches_a_target_above_boiling(without_thermostat: Path, trip: bool) -> None:
    wanted = ["load.vented=false", "load.target_temperature=120 degC"]
    found = _over_the_trip(without_thermostat, *wanted) if trip else heating(load(without_thermostat, wanted), draws=64)
    assert not found.outcome.reachable.any()
    assert np.isnan(found.outcome.time_to_target_s).all()
    assert np.isnan(found.fuel_m3).all()
    assert math.isnan(found.reached_if_repeated_s)
    first = heat_report.first_lines(found, "metric")
    assert first.dangers[0].startswith("Do not operate. The water in the closed tank passes 100 °C")
    assert first.headline.startswith("120 °C is never reached: past 100 °C a closed tank")
    assert first.operate == "no"
    data = heat_report.as_data(found, "metric")
    assert (data["safe"], data["reached"], data["reachable"], data["reason"]) == (False, False, False, "boiling")
    remedy = data["remedies"][0]
    assert remedy["value"] == pytest.approx(ZERO_C + 99.97, abs=0.05)


def test_a_closed_tank_below_boiling_is_heated_as_ever(demo: Callable[..., Scenario]) -> None:
    opened, closed = (
        heating(demo("van_water_tank", f"load.vented={vented}"), draws=64) for vented in ("true", "false")
    )
    assert closed.outcome.time_to_target_s == pytest.approx(opened.outcome.time_to_target_s)
    assert heat_report.first_lines(closed, "metric").operate == "not checked"


def test_where_a_weak_power_ends_is_not_called_boiling(demo: Callable[..., Scenario]) -> None:
    hot = ("load.target_temperature=120 degC", "load.thermostat=125 degC", "trip.road_speed=20 km/h")
    found = heating(demo("van_water_tank", *hot), draws=64)
    assert "the water boils at 100 °C" in heat_report.first_lines(found, "metric").headline
    assert "a target below 15.0 °C, where this power ends" in heat_report.what_would_help(found, "metric")[0].words


def test_a_heating_over_a_limit_says_so_first(demo: Callable[..., Scenario], demos: Path) -> None:
    fast = heat_report.first_lines(heating(demo("van_water_tank", "trip.road_speed=160 km/h"), draws=0), "metric")
    assert fast.dangers[0].startswith("Do not operate. Blade tip speed ")
    assert any("Power into the element" in line for line in fast.dangers)
    assert fast.dangers[-1].startswith("What to change: ")
    assert fast.operate == "no"


def test_a_power_log_above_the_elements_rating_is_over_a_limit(demo: Callable[..., Scenario], tmp_path: Path) -> None:
    log = tmp_path / "watts.csv"
    log.write_text("time_s,power_w\n0,2000\n60,3300\n120,2000\n", encoding="utf-8")
    first = heat_report.first_lines(heating(demo("van_water_tank"), read_power(log), draws=0), "metric")
    assert first.dangers[0].startswith("Do not operate. Power into the element 3.30 kW exceeds its limit of 3.00 kW.")


def test_a_stalled_rotor_is_said_before_how_long_it_takes(demo: Callable[..., Scenario]) -> None:
    found = chain.heating(demo("camper_oven", "trip.road_speed=50 km/h"))
    first = heat_report.first_lines(found, "metric")
    assert first.warnings[0].startswith(("Stalled blades: ", "Can get stuck in stall"))
    share = float(np.mean(found.outcome.reachable[1:]))
    assert f"180 °C is unlikely to be reached ({100 * share:.0f} %)." == first.headline


@pytest.mark.parametrize(("target", "vented"), [("60 degC", "true"), ("120 degC", "true"), ("60 degC", "false")])
def test_a_thermostat_that_opens_above_boiling_protects_nothing(demos: Path, target: str, vented: str) -> None:
    overrides = [f"load.target_temperature={target}", "load.volume=3 L", f"load.vented={vented}"]
    path = demos / "van_water_tank" / "scenario.toml"
    useless = heat_report.first_lines(heating(load(path, [*overrides, "load.thermostat=130 degC"]), draws=16), "metric")
    assert useless.operate == "no"
    said = "boils dry after" if vented == "true" else "The water in the closed tank passes 100 °C"
    assert said in useless.dangers[0]
    if target == "60 degC":
        safe = heating(load(path, [*overrides, "load.thermostat=65 degC"]), draws=16)
        assert heat_report.first_lines(safe, "metric").dangers == ()
        assert not np.isfinite(safe.watched.dry_from_s).any()


# An element that gets too hot or takes too much, an oven that nothing ends

ELEMENT = ("load.second_node=element", "load.second_heat_capacity=1.2 kJ/K", "load.second_coupling=20 W/K")


def _element_surface_degc(scenario: Scenario) -> float:
    """Return how hot the element is at the thermostat's upper edge: 67 °C of water and its power over the coupling."""
    return 67 + power_and_fuel(scenario)[0] / 20


def test_an_element_above_its_surface_limit_is_a_danger(demo: Callable[..., Scenario]) -> None:
    surface = _element_surface_degc(demo("van_water_tank", *ELEMENT))
    below, above = (f"heater.surface_limit={surface + more} degC" for more in (-3, 3))
    broken = heating(demo("van_water_tank", *ELEMENT, below))
    first = heat_report.first_lines(broken, "metric")
    said = re.match(r"Do not operate\. Element surface (\d+) °C exceeds its limit of (\d+) °C\.", first.dangers[0])
    assert said is not None
    assert float(said[1]) == pytest.approx(surface, abs=1.5)
    assert float(said[2]) == pytest.approx(surface - 3, abs=0.51)
    assert first.dangers[-1].startswith("What to change: an element of more surface")
    assert first.operate == "no"
    assert heat_report.as_data(broken, "metric")["safe"] is False
    # As stated it keeps the limit, in simulations of more power it does not.
    kept = heating(demo("van_water_tank", *ELEMENT, above))
    share = float(np.mean(kept.watched.second_peak_k[1:] > ZERO_C + surface + 3))
    assert share > 0.05
    first = heat_report.first_lines(kept, "metric")
    assert first.dangers == ()
    assert first.warnings[0].startswith(f"Can burn out: in {100 * share:.0f} % of the simulations")
    cool = heat_report.first_lines(heating(demo("van_water_tank", *ELEMENT, "heater.surface_limit=400 degC")), "metric")
    assert (cool.dangers, cool.warnings) == ((), ())


def test_an_element_that_is_no_node_is_not_called_cool(demo: Callable[..., Scenario]) -> None:
    """What it heats is the least that its surface has: within its limit nothing is known, beyond it all."""
    unknown = heating(demo("van_water_tank", "heater.surface_limit=400 degC"))
    assert heat_report.dangers(unknown, "metric") == []
    said = "Not checked: the element's surface against its limit of 400 °C."
    assert sum(text.startswith(said) for text in heat_report.cautions(unknown, "metric")) == 1
    over = heating(demo("van_water_tank", "heater.surface_limit=50 degC"))
    assert heat_report.dangers(over, "metric")[0].startswith(
        "Do not operate. Element surface of at least 67.0 °C exceeds"
    )
    assert not any("Not checked: the element" in text for text in heat_report.cautions(over, "metric"))
    known = heating(demo("van_water_tank", *ELEMENT, "heater.surface_limit=400 degC"))
    assert not any("Not checked: the element" in text for text in heat_report.cautions(known, "metric"))


def test_an_oven_that_nothing_ends_is_said_first(demo: Callable[..., Scenario], demos: Path, tmp_path: Path) -> None:
    text = (demos / "camper_oven" / "scenario.toml").read_text(encoding="utf-8")
    text = text.replace('thermostat = "185 degC"\n', "").replace('hysteresis = "10 K"\n', "")
    path = Path(shutil.copytree(demos / "camper_oven", tmp_path / "oven")) / "scenario.toml"
    path.write_text(text, encoding="utf-8")
    fast = ["trip.road_speed=90 km/h", "heater.rated_power=9 kW"]
    found = heating(load(path, fast))
    hottest = heat_report.figure(found.outcome.highest_temperature_k) - ZERO_C
    said = heat_report.first_lines(found, "metric").warnings[-1]
    assert said.startswith(f"No thermostat: this power, kept up, heats the oven to {hottest:.0f} °C (90 % range ")
    assert "Fit a thermostat" in said
    kept = heating(demo("camper_oven", *fast))
    assert not any("No thermostat" in line for line in heat_report.first_lines(kept, "metric").warnings)
    weak = heating(load(path, ["trip.road_speed=40 km/h"]))  # it ends below its target
    assert not any("No thermostat" in line for line in heat_report.first_lines(weak, "metric").warnings)


def test_a_log_that_ends_while_the_tank_boils_says_so(without_thermostat: Path, tmp_path: Path) -> None:
    log = tmp_path / "watts.csv"
    log.write_text("time_s,power_w\n" + "".join(f"{60 * i},2000\n" for i in range(20)), encoding="utf-8")
    found = heating(load(without_thermostat, ["load.volume=3 L"]), read_power(log))
    assert math.isnan(found.watched.dry_from_s[0])
    first = heat_report.first_lines(found, "metric")
    assert first.dangers == ()
    assert "heats the tank to 100 °C: there the water boils" in first.warnings[0]


def test_a_tank_that_boils_dry_is_not_said_to_have_a_thermostat(without_thermostat: Path) -> None:
    dry = heating(load(without_thermostat, ["load.volume=3 L"]))
    assert np.isfinite(dry.watched.dry_from_s).all()
    assert not any("is refused" in text for text in heat_report.cautions(dry, "metric"))
    assert any("without water burns out" in text for text in heat_report.cautions(dry, "metric"))
    over = heating(load(without_thermostat, ["load.volume=400 L", "heater.rated_power=500 W"]), draws=0)
    assert any("is refused" in text for text in heat_report.cautions(over, "metric"))


@pytest.mark.parametrize(("rated", "said"), [("1.8 kW", True), ("3 kW", False), ("1 kW", False)])
def test_an_element_that_draws_overload_is_a_warning(demo: Callable[..., Scenario], rated: str, said: bool) -> None:
    """Below the stated power it is a danger, and said once."""
    found = heating(demo("van_water_tank", f"heater.rated_power={rated}"))
    warnings = heat_report.first_lines(found, "metric").warnings
    share = 100 * float(np.mean(found.power_w[1:] > 1800))
    expected = f"Can exceed the element's rating: in {share:.0f} % of the simulations more than 1.80 kW"
    assert any(line.startswith(expected) for line in warnings) == said
    assert not any("exceed the element" in line for line in warnings) or said


WET_OVEN = ("load.contents=water", "load.contents_mass=1 kg", "trip.road_speed=85 km/h", "heater.rated_power=9 kW")


def test_a_vessel_that_boils_dry_in_an_oven_burns_out_no_element(demo: Callable[..., Scenario]) -> None:
    """The element stands in air: the oven is no tank, and its thermostat is rightly set above boiling."""
    found = heating(demo("camper_oven", *WET_OVEN))
    after = heat_report.duration_words(float(found.watched.dry_from_s[0]))
    first = heat_report.first_lines(found, "metric")
    assert first.dangers == ()
    assert f"The water in the oven boils away after {after}: steam scalds, and a dry vessel burns." in first.warnings
    assert not any("without water burns out" in text for text in heat_report.cautions(found, "metric"))
    closed = heat_report.first_lines(heating(demo("camper_oven", *WET_OVEN, "load.vented=false")), "metric")
    assert closed.dangers[0].startswith("Do not operate. The water in the closed tank passes ")


def test_a_target_below_the_air_around_it_needs_no_holding(demo: Callable[..., Scenario]) -> None:
    warm = ("load.ambient_temperature=58 degC", "load.target_temperature=40 degC", "load.start_temperature=20 degC")
    rows = dict(heat_report.key_numbers(heating(demo("van_water_tank", *warm)), "metric"))
    assert rows["power that holds 40.0 °C"] == "none: it is warmer around it"


def test_an_answer_says_that_no_thermostat_ends_the_heating(
    without_thermostat: Path, demo: Callable[..., Scenario]
) -> None:
    said = "No thermostat ends the heating of the tank (load.thermostat): windtoll heat shows how hot it gets"
    bare = answered(load(without_thermostat), exact=True)
    assert [text.startswith(said) for text in pressing_cautions(bare, "metric")].count(True) == 1
    kept = answered(demo("van_water_tank"), exact=True)
    assert not any("No thermostat" in text for text in pressing_cautions(kept, "metric"))
    still = answered(load(without_thermostat, ["trip.road_speed=5 km/h"]), exact=True)  # no heat, so nothing to end
    assert not any("No thermostat" in text for text in pressing_cautions(still, "metric"))
