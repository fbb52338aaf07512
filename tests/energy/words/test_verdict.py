"""The first lines of an answer: danger first, one number a line, and nothing that reads as its opposite."""

from __future__ import annotations

import json
import math
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from tests_support import computed_once, cut_curves, run

from energy.chain.answer import answered
from energy.chain.limits import broken_limits, limits_of
from energy.chain.load import load
from energy.scenario.read import Scenario
from energy.words.answer import as_data, key_numbers
from energy.words.cautions import STANDING, cautions, pressing_cautions
from energy.words.next_question import next_questions
from energy.words.verdict import called, range_words, verdict

UNLOADED = "generator.load_connected=after_spin_up"
STORM = "air.wind_speed=40 mph"


@pytest.fixture(scope="module", autouse=True)
def _worded_again_not_computed_again() -> Iterator[None]:
    """Word one answer in both systems of units, and as text, JSON and pieces; with few draws where they take long."""
    with computed_once(answered), pytest.MonkeyPatch.context() as patch:
        patch.setattr("energy.chain.payback._DRAWS", 16)
        yield


@pytest.fixture(scope="module")
def pickup_in_a_storm(demos: Path) -> Scenario:
    return load(demos / "pickup_drying_box" / "scenario.toml", [STORM])


def test_a_broken_limit_is_the_first_thing_that_is_said(pickup_in_a_storm: Scenario) -> None:
    result = answered(pickup_in_a_storm, exact=True)
    said = verdict(result, "us")
    assert said.dangers[0].startswith("Do not operate. ")
    assert said.sentence.startswith("Do not operate. ")
    assert said.operate == "no"
    assert said.may_be_operated == "May it be operated like this? No. Once changed, run windtoll loads first"
    assert len(said.dangers) == len(broken_limits(result)) + 1  # and what to change
    assert "What to change:" in said.dangers[-1]
    shares = [limit.share for limit in broken_limits(result)]
    assert shares == sorted(shares, reverse=True)


def test_a_limit_is_broken_just_above_it_and_not_just_below(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    thrust = float(answered(load(path), exact=True).answer.turbine.thrust_n)
    for factor, broken in ((0.99, True), (1.01, False)):
        result = answered(load(path, [f"rotor.highest_thrust={factor * thrust} N"]), exact=True)
        assert ("rotor.highest_thrust" in {limit.key for limit in broken_limits(result)}) is broken
        limit = next(limit for limit in limits_of(result) if limit.key == "rotor.highest_thrust")
        assert limit.share == pytest.approx(1 / factor)


@pytest.mark.parametrize("options", [(), ("--brief",), ("--full",)])
def test_the_command_says_it_first_and_leaves_with_status_3(demos: Path, options: tuple[str, ...]) -> None:
    path = str(demos / "pickup_drying_box" / "scenario.toml")
    done = run("answer", path, "--exact", "--set", STORM, "--units", "us", *options, COLUMNS="80")
    assert done.returncode == 3
    lines = done.stdout.splitlines()
    assert lines[1].startswith("Do not operate.")  # below the scenario's title
    assert "May it be operated like this? No. Once changed, run windtoll loads first" in lines[:14]
    assert "projectile" in done.stdout


def test_json_says_unsafe_with_the_list(demos: Path) -> None:
    path = str(demos / "pickup_drying_box" / "scenario.toml")
    done = run("answer", path, "--exact", "--set", STORM, "--json")
    data = json.loads(done.stdout)
    assert done.returncode == 3
    assert data["safe"] is False
    assert data["may_be_operated"] == "no"
    assert [limit["key"] for limit in data["limits"] if limit["broken"]]
    assert len(data["broken_limits"]) == sum(limit["broken"] for limit in data["limits"])
    calm = run("answer", path, "--exact", "--json", "--set", "trip.road_speed=20 mph")
    assert calm.returncode == 0
    assert json.loads(calm.stdout)["safe"] is None  # structural loads are not checked here
    assert json.loads(calm.stdout)["broken_limits"] == []


_STALLED = ("heater.resistance=3 ohm",)
_TOO_FAST = ("trip.road_speed=115 km/h", "air.wind_speed=25 km/h", "rotor.highest_thrust=600 N")


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("van_water_tank", ()),
        ("parked_on_a_ridge", ()),
        ("van_in_town", ()),
        ("camper_oven", ()),
        ("pickup_drying_box", ()),
        ("pickup_drying_box", (STORM,)),
        ("camper_oven", _TOO_FAST),
        ("camper_oven", _STALLED),
        ("van_water_tank", ("heater.resistance=1.5 ohm",)),
        ("van_in_town", ("rotor.highest_thrust=50 N",)),
    ],
)
def test_the_short_answer_fits_one_screen(demos: Path, name: str, options: tuple[str, ...], units: str) -> None:
    sets = [word for option in options for word in ("--set", option)]
    done = run("answer", str(demos / name / "scenario.toml"), "--units", units, *sets, COLUMNS="80")
    assert done.returncode in (0, 3), done.stderr
    lines = done.stdout.replace(str(demos), "scenarios").splitlines()
    # A command to copy stays on one line, however long the path of its file; a terminal of 80 columns breaks it.
    assert sum(max(1, math.ceil(len(line.rstrip()) / 80)) for line in lines) <= 40
    assert max(len(line) for line in lines if not line.startswith(("Next: windtoll", "More: windtoll"))) <= 80
    assert any(line.startswith("May it be operated like this? ") for line in lines[:14])
    assert any(line.startswith("Next: windtoll ") for line in lines[-2:])


def test_the_headline_is_the_median_with_its_range(van: Scenario) -> None:
    result = answered(van)
    assert result.spread is not None
    fuel = result.answer.inputs.fuel
    assert fuel is not None
    litres = result.spread.change_w[2] / fuel.heating_value_j_per_m3 * 3.6e6
    assert verdict(result, "metric").headline.startswith(f"Costs fuel: +{litres:.2g} L/h (90 % range")
    data = as_data(result)
    assert data["interval"]["fuel_change_l_per_h"]["estimate"] == pytest.approx(litres)


def test_a_saving_against_carrying_it_is_not_told_as_a_saving_alone(demos: Path) -> None:
    """Feathered for nothing, the stowed rotor drags more than the working one here: against none at all it still
    costs.
    """
    path = demos / "van_water_tank" / "scenario.toml"
    result = answered(
        load(path, ["trip.compared_with=stowed", "rotor.stowed=stopped", "rotor.solidity=0.7"]), exact=True
    )
    said = verdict(result, "metric")
    assert said.word == "saves"
    against = [line for line in said.lines if line.startswith("Against the same vehicle without it: costs +")]
    assert len(against) == 1


def test_too_close_to_call_gives_both_shares(demos: Path) -> None:
    path = demos / "pickup_drying_box" / "scenario.toml"
    options = [
        "credit.replaces_alternator=true",
        'credit.alternator_efficiency="52 %"',
        "credit.alternator_belt_efficiency=0.93",
        'credit.inverter_efficiency="75 %"',
    ]
    result = answered(load(path, options))
    assert result.spread is not None
    said = verdict(result, "metric")
    saves = round(100 * result.spread.probability_saves)
    assert said.headline.startswith("Too close to call.")
    assert f"in {saves} % of the simulations it saves fuel" in said.headline


def test_wind_pays_for_what_is_parked(demos: Path) -> None:
    said = verdict(answered(load(demos / "parked_on_a_ridge" / "scenario.toml")), "metric")
    assert said.headline.startswith("No extra fuel. It puts ")
    assert "the wind supplies it" in said.headline
    assert said.lines[0].startswith("Parked, a head wind of 45.0 km/h")


def test_a_parked_rotor_that_barely_turns_is_not_too_close_to_call(demos: Path) -> None:
    """No draw changes the fuel: a range of 0 to 0 L/h with shares that do not add up to all was said of it."""
    weak = ['heater.resistance="4.2 ohm"', 'air.wind_speed="24 km/h"']
    found = answered(load(demos / "parked_on_a_ridge" / "scenario.toml", weak))
    assert found.spread is not None
    assert found.spread.verdict == "cannot tell"  # some draws give no heat at all
    said = verdict(found, "metric")
    assert said.headline.startswith("No extra fuel. It puts ")
    assert said.warnings[0].startswith("Stalled blades: ")


def _told(demos: Path, *settings: str) -> str:
    ridge = load(demos / "parked_on_a_ridge" / "scenario.toml", settings)
    return " ".join(cautions(answered(ridge, exact=True), "metric"))


def test_a_rotor_without_air_is_not_blamed_on_its_torque(demos: Path) -> None:
    """Why it stands: too little air, air from the side, air from behind; only else friction and cogging."""
    torque = "its torque at standstill is too small for cogging"
    calm = _told(demos, "air.wind_speed=6 km/h")
    assert "The rotor stands: 6.00 km/h of air at the rotor is too little to turn it." in calm
    side = _told(demos, "air.wind_from=90 deg")
    assert "The air meets the rotor 90° off its axis." in side
    assert "The rotor stands: 0 km/h of air at the rotor" in side
    behind = _told(demos, "air.wind_from=180 deg")
    assert "The air comes from behind the rotor" in behind
    assert "can turn backwards" in behind
    assert "The rotor stands" not in behind
    for told in (calm, side, behind):
        assert torque not in told
    held = ("air.wind_speed=15 km/h", "generator.cogging_torque=3 N*m")
    assert f"does not start with the load connected: {torque}, friction and load" in _told(demos, *held)
    later = _told(demos, "air.wind_speed=15 km/h", "generator.friction_torque=4 N*m", UNLOADED)
    assert f"does not start: {torque} and friction" in later


def test_air_from_the_side_is_cautioned_unless_the_rotor_turns_into_it(demos: Path) -> None:
    """With road and wind of one speed the air comes from half the wind's angle."""
    for angle, off in ((50, 25), (80, 40), (110, 55)):
        told = _told(demos, "trip.road_speed=45 km/h", f"air.wind_from={angle} deg")
        assert (f"The air meets the rotor {off}° off its axis" in told) == (off > 30)
        turning = _told(demos, "trip.road_speed=45 km/h", f"air.wind_from={angle} deg", "rotor.turns_into_wind=true")
        assert "off its axis" not in turning


def test_a_rotor_past_its_curves_is_told_before_the_answer(van_folder: Path) -> None:
    """Curves cut off while power still rises hold no balance with a light load: the answer then stands on nothing."""
    cut_curves(van_folder)
    for element, light in (("100 ohm", True), ("3 ohm", False)):
        told = verdict(answered(load(van_folder / "scenario.toml", [f"heater.resistance={element}"]), exact=True), "us")
        said = " ".join(told.warnings)
        assert ("past the last tip-speed ratio of the curves (3)" in said) == light
        assert bool(told.dangers) or not light or told.sentence.startswith("The load is too light")


def test_standing_cautions_name_every_danger(van: Scenario) -> None:
    told = cautions(answered(van, exact=True), "metric")
    for danger in (
        "projectile",
        "load cut",
        "Short-circuit braking",
        "rated for AC",
        "clearance",
        "cross wind",
        "Ventilate",
        "unattended",
        "Dust",
        "licensed electrician",
        "authority",
    ):
        assert any(danger in text for text in told), danger
    assert set(pressing_cautions(answered(van, exact=True), "metric")) < set(told)
    assert told[-len(STANDING) :] == list(STANDING)


def test_the_answer_is_the_median_of_one_field(demos: Path) -> None:
    """Every first line follows the outcome of the result; the stated values play no part where draws are there."""
    told = answered(load(demos / "van_water_tank" / "scenario.toml"))
    assert told.spread is not None
    assert told.outcome.change_w.estimate == told.spread.change_w[2]
    assert told.outcome.change_w.ends == (told.spread.change_w[0], told.spread.change_w[-1])
    assert told.outcome.heat_w.estimate == told.spread.heat_w[2]
    doubled = replace(told, spread=replace(told.spread, change_w=tuple(2 * v for v in told.spread.change_w)))
    said, twice = verdict(told, "metric"), verdict(doubled, "metric")
    once = float(re.search(r"\+([\d.]+) L/h", said.headline).group(1))
    assert float(re.search(r"\+([\d.]+) L/h", twice.headline).group(1)) == pytest.approx(2 * once, rel=0.05)
    exact = replace(told, spread=None)
    assert exact.outcome.change_w.estimate == float(told.answer.change.power_w)


def test_printed_range_and_json_are_one_field(van: Scenario) -> None:
    told = answered(van)
    data, outcome = as_data(told)["interval"], told.outcome
    assert told.answer.inputs.fuel is not None
    litres = 3.6e6 / told.answer.inputs.fuel.heating_value_j_per_m3
    found = data["fuel_change_l_per_h"]
    assert (found["low"], found["high"]) == pytest.approx([end * litres for end in outcome.change_w.ends], rel=1e-12)
    assert f"90 % range {found['low']:.1f} to {found['high']:.1f}" in verdict(told, "metric").headline
    half = data["half_of_heat_power_w"]
    assert (half["low"], half["high"], half["level"]) == (*outcome.half_heat_w.ends, 0.5)
    assert found["low"] < data["half_of_fuel_change_l_per_h"]["low"] < found["estimate"]


def test_what_the_engine_cannot_drive_is_said_before_the_headline(demos: Path) -> None:
    camper = demos / "camper_oven" / "scenario.toml"
    said = verdict(answered(load(camper, ["trip.grade=4 %"]), exact=True), "metric")
    assert not said.warnings
    answered_there = answered(load(camper, ["trip.grade=14 %", "trip.road_speed=110 km/h"]), exact=True)
    said = verdict(answered_there, "metric")
    (warning,) = said.warnings
    assert warning.startswith("The engine does not have the torque for this speed, not fitted or working")
    # No stall: neither the next question nor a comparison takes it for one.
    assert not any(question.place == "rotor" for question in next_questions(answered_there))


@pytest.mark.parametrize("command", ["payback", "loads", "match", "tune"])
def test_unusual_values_stand_in_every_json(demos: Path, tmp_path: Path, command: str) -> None:
    folder = tmp_path / "van"
    shutil.copytree(demos / "van_water_tank", folder)
    path = folder / "scenario.toml"
    text = path.read_text(encoding="utf-8").replace('temperature = "15 degC"', 'temperature = "55 degC"', 1)
    path.write_text(f'unusual = ["air.temperature"]\n{text}', encoding="utf-8")
    more = (str(folder / "sweep.csv"),) if command == "tune" else ()
    found = json.loads(run(command, str(path), *more, "--json").stdout)
    assert found["cautions"][0].startswith("Unusual and meant: air.temperature is 55 °C")


def test_a_limit_that_is_passed_by_a_hair_does_not_read_as_kept() -> None:
    from energy.chain.limits import OperatingLimit
    from energy.words.verdict import limit_sentence

    hair = OperatingLimit("Blade tip speed", "rotor.highest_tip_speed", "tip_speed", 80.0004, 80.0)
    assert hair.broken
    assert limit_sentence(hair, "metric") == "Blade tip speed 80.0004 m/s exceeds its limit of 80.0000 m/s."


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("engine.torque_follows_air_density", "the fall of the engine's torque with air density"),
        ("engine.converter_locks_above", "the speed at which the torque converter locks"),
        ("rotor.turbine_mass", "the turbine's mass"),
        ("air.wind_from", "the direction of the wind"),
        ("vehicle.coastdown_b", "coast-down coefficient B"),
        ("heater.resistance", "the element's resistance"),
    ],
)
def test_an_input_has_a_name_that_fits_a_sentence(key: str, name: str) -> None:
    assert called(key) == name


def test_with_the_alternators_fuel_taken_off_no_share_of_it_arrives_as_heat(demos: Path) -> None:
    """Of a change that is nearly nothing any heat would be hundreds of per cent."""
    path = demos / "pickup_drying_box" / "scenario.toml"
    rows = dict(key_numbers(answered(load(path), exact=True), "metric"))
    change, heat = rows["from fuel to heat"], "of the extra fuel's energy arrives as heat"
    assert change.endswith(heat)
    assert float(change.split()[0]) < 40
    credited = load(path, ["credit.replaces_alternator=true", "credit.alternator_efficiency=45 %"])
    assert "from fuel to heat" not in dict(key_numbers(answered(credited, exact=True), "metric"))


def test_the_fuel_without_names_the_heat_that_is_counted_in_it(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    told = answered(load(path, ["credit.replaces_alternator=true"]), exact=True)
    rows = dict(key_numbers(told, "metric"))
    assert told.answer.inputs.fuel is not None
    without = float(told.answer.without.supply.source_w) / told.answer.inputs.fuel.heating_value_j_per_m3 * 3.6e6
    assert without > 1.05 * float(dict(key_numbers(answered(load(path), exact=True), "metric"))[PLAIN].split()[0])
    assert rows["fuel, not fitted with the heat by alternator, then working"].startswith(f"{without:.2f} L/h, then ")
    assert PLAIN not in rows


PLAIN = "fuel, not fitted, then working"


def test_a_tail_wind_that_overtakes_the_vehicle_is_the_reason_why_nothing_turns(demos: Path) -> None:
    wind = ["trip.road_speed=50 km/h", "air.wind_speed=70 km/h", "air.wind_from=180 deg"]
    told = answered(load(demos / "van_water_tank" / "scenario.toml", wind))
    said = cautions(told, "metric")
    assert any(text.startswith("The air comes from behind the rotor, which is taken as standing") for text in said)
    assert not any("does not start" in text for text in said)
    assert "e−" not in verdict(told, "metric").headline
    turns = answered(
        load(demos / "van_water_tank" / "scenario.toml", [*wind, "rotor.turns_into_wind=true"]), exact=True
    )
    assert not any("comes from behind" in text for text in cautions(turns, "metric"))


@pytest.mark.parametrize(
    ("quantiles", "kind", "expected"),
    [
        ((-0.0171 / 3.6e6, 0, 0, 0, -3.9e-5 / 3.6e6), "fuel_flow", "−0.017 to 0 L/h"),
        ((0.0, 0, 0, 0, 5300.0), "power", "0 to 5.3 kW"),
        ((-1500.0, 0, 0, 0, 200.0), "power", "−1.5 kW to +200 W"),
        ((-0.5 / 3.6e6, 0, 0, 0, 2.0 / 3.6e6), "fuel_flow", "−0.50 to +2.0 L/h"),
    ],
)
def test_both_ends_of_a_range_are_read_in_one_way(quantiles: tuple[float, ...], kind: str, expected: str) -> None:
    assert range_words(quantiles, kind, "metric") == expected


@pytest.mark.parametrize(
    ("angle", "words"),
    [
        (20, "a head wind of"),
        (45, "a wind from ahead and the side of"),
        (90, "a wind from the side of"),
        (150, "a wind from behind and the side of"),
        (-140, "a wind from behind and the side of"),
        (170, "a tail wind of"),
    ],
)
def test_a_wind_is_named_by_where_it_comes_from(demos: Path, angle: int, words: str) -> None:
    wind = ["air.wind_speed=25 km/h", f"air.wind_from={angle} deg"]
    told = answered(load(demos / "van_water_tank" / "scenario.toml", wind), exact=True)
    assert f", {words} 25.0 km/h (" in verdict(told, "metric").sentence


@pytest.mark.parametrize(
    ("heat", "speed", "start"),
    [
        ("1 kW", "90 km/h", "1.00 kW of heat at 90.0 km/h takes"),
        (
            "11 kW",
            "90 km/h",
            "Too wide in many countries: 2.64 m is more than the largest vehicle width there, 2.55 m. ",
        ),
        ("30 kW", "90 km/h", "Not on a road: 4.36 m is wider than a lane (3.50 m). "),
    ],
)
def test_a_size_that_no_road_takes_is_said_first(heat: str, speed: str, start: str) -> None:
    told = run("size", "--heat", heat, "--speed", speed)
    before, _, _ = " ".join(told.stdout.split()).partition(start)
    assert (before == "") == (heat != "30 kW")
    assert before == "" or before.startswith("No rotor of these brings 30.0 kW within its limits: ")
    assert len(before) < 160


@pytest.mark.parametrize(
    ("heat", "speed", "words"),
    [
        ("1 MW", "90 km/h", "heat: 1000000 W; accepted: 1 to 50000 W"),
        ("1 kW", "300 km/h", "road speed: 83.33 m/s; accepted: 0 to 50 m/s"),
    ],
)
def test_a_size_asked_for_beyond_all_vehicles_is_a_fault(heat: str, speed: str, words: str) -> None:
    told = run("size", "--heat", heat, "--speed", speed)
    assert told.returncode == 2
    assert words in told.stderr
