"""A battery drive has what a fuel has: money, energy per distance, and the charger's loss, by a pocket calculator."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from tests_support import run

from energy.chain.answer import answered
from energy.chain.heating import heating
from energy.chain.load import load
from energy.scenario.read import Scenario
from energy.words import answer as report
from energy.words import heat as heat_words
from energy.words.cautions import cautions, pressing_cautions
from energy.words.verdict import pack_kwh_per_100km


@pytest.fixture
def path(van_folder: Path) -> Path:
    """The van with a battery drive, charged at 0.32 EUR/kWh."""
    scenario = van_folder / "scenario.toml"
    text = scenario.read_text(encoding="utf-8")
    start = text.index("\n[engine]") + 1
    end = text.index("\n[", start) + 1
    text = text[:start] + "[battery]\n\n" + text[end:]
    scenario.write_text(text, encoding="utf-8")
    return scenario


@pytest.fixture
def battery(path: Path) -> Scenario:
    return load(path)


def test_money_and_energy_per_distance_by_hand(battery: Scenario) -> None:
    told = answered(battery, exact=True)
    added_w = float(told.answer.change.power_w)
    assert added_w > 1000
    # An hour draws added_w from the pack, of which 88 % came in from the mains (the default), at 0.32 EUR/kWh.
    money = report.money_per_hour(told, added_w)
    assert money == (pytest.approx(added_w / 0.88 / 1000 * 0.32), "EUR")
    # 100 km at 100 km/h take an hour: as many kWh as kW.
    assert pack_kwh_per_100km(told.answer) == pytest.approx(added_w / 1000, rel=1e-3)
    assert f"{added_w / 1000:.0f} kWh/100 km" in report.verdict(told, "metric").sentence
    assert f"{added_w / 1000 * 1.609344:.0f} kWh/100 mi" in report.verdict(told, "us").sentence


def test_the_same_heat_from_the_pack_takes_the_loss_of_charging(battery: Scenario) -> None:
    found = answered(battery, exact=True).answer
    heat_w = float(found.turbine.heat_power_w)
    # The inverter passes 90 % (the default of credit.inverter_efficiency), the charger and cells 88 %.
    assert float(found.other_sources["pack"].mains_w) == pytest.approx(heat_w / 0.90 / 0.88, rel=1e-6)


def test_heating_costs_the_charge(battery: Scenario) -> None:
    found = heating(battery)
    words = " ".join(text for _, text in heat_words.key_numbers(found, "metric"))
    money = float(np.median(found.pack_j[1:])) / 0.88 / 3.6e6 * 0.32  # entry 0 is as stated, the others are draws
    assert f"+{money:.2g} EUR" in words


def test_the_command_says_it(path: Path) -> None:
    done = run("answer", str(path), "--exact", "--json")
    assert done.returncode in (0, 1), done.stderr
    change = json.loads(done.stdout)["fuel_change"]
    assert change["kwh_per_100km"] == pytest.approx(change["power_w"] / 1000, rel=1e-3)
    assert change["money_per_h"] == pytest.approx(change["power_w"] / 0.88 / 1000 * 0.32, rel=1e-4)
    assert change["currency"] == "EUR"


def test_the_numbers_show_the_pack_without_and_with_the_turbine(battery: Scenario) -> None:
    told = answered(battery, exact=True)
    rows = dict(report.main_numbers(told, "metric"))
    absent, working = (float(told.answer.states[name].supply.source_w) / 1e3 for name in ("absent", "working"))
    assert rows["battery power, not fitted, then working"] == f"{absent:.1f} kW, then {working:.1f} kW"
    everything = report.key_numbers(told, "metric")
    assert not any("fuel" in text for row in everything for text in row)


def test_a_battery_in_town_is_not_held_to_the_fuel_of_certified_engines(demos: Path, tmp_path: Path) -> None:
    folder = tmp_path / "town"
    shutil.copytree(demos / "van_in_town", folder)
    path = folder / "scenario.toml"
    with_fuel = answered(load(path), exact=True)
    assert any("Fuel in town reads low" in text for text in pressing_cautions(with_fuel, "metric"))
    text = path.read_text(encoding="utf-8")
    start = text.index("\n[engine]") + 1
    path.write_text(text[:start] + "[battery]\n\n" + text[text.index("\n[", start) + 1 :], encoding="utf-8")
    told = answered(load(path), exact=True)
    assert not any("Fuel in town" in text for text in cautions(told, "metric"))
    assert "battery energy, not fitted, then working" in dict(report.main_numbers(told, "metric"))


def test_a_distance_costs_kilowatt_hours_from_the_battery(path: Path) -> None:
    told = answered(load(path, ["trip.distance=250 km"]), exact=True)
    added_kwh = float(told.answer.change.power_w) * 2.5 / 1000  # 250 km at 100 km/h
    row = dict(report.key_numbers(told, "metric"))["over 250 km"]
    assert row.endswith(f" kWh of heat, +{added_kwh:.3g} kWh from the battery")


def test_no_word_of_fuel_about_a_battery(path: Path) -> None:
    done = run("answer", str(path), "--set", "rotor.highest_rotor_speed=2000 rpm", "--exact", "--json")
    asked = [question["why"] for question in json.loads(done.stdout)["next_questions"]]
    assert "It costs battery energy like this: wind, descents or standing still may not." in asked
    done = run("payback", str(path), "--exact", "--full")
    text = " ".join(done.stdout.split())
    assert " the heat costs no battery energy on descents steeper than " in text
    assert "prices.fuel" not in text


def test_too_close_to_call_on_a_battery_has_one_unit_and_its_own_word(path: Path) -> None:
    """Down a hill the drive takes back all it can in some of the simulations, in others the drag costs energy."""
    told = answered(load(path, ["trip.grade=-0.12", "battery.regeneration_limit={low='20 kW', high='95 kW'}"]))
    headline = report.verdict(told, "metric").headline
    assert told.spread is not None
    assert 0.05 < told.spread.probability_costs < 0.95
    assert re.fullmatch(
        r"Too close to call\. \S+ k?W \(90 % range \S+( k?W)? to \S+ k?W\); in \d+ % of the simulations it .*battery "
        r"energy, in \d+ % it costs battery energy\.",
        headline,
    ), headline


def test_what_the_drive_cannot_take_back_the_brakes_would_waste(path: Path) -> None:
    steep = load(path, ["trip.grade=-0.12", "battery.regeneration_limit=5 kW"])
    headline = report.verdict(answered(steep, exact=True), "metric").headline
    assert headline.startswith("No extra battery energy. It puts ")
    assert headline.endswith("; the drive takes back all it can: the brakes would otherwise waste that power.")


def test_a_trip_on_a_battery_has_its_energy_in_json(path: Path) -> None:
    """Ten minutes there and back through one speed: watts times hours are kilowatt-hours."""
    (path.parent / "way.csv").write_text("time_s,speed_km_h\n0,0\n60,80\n540,80\n600,0\n", encoding="utf-8")
    text = path.read_text(encoding="utf-8")
    start = text.index("\n[trip]") + 1
    end = text.index("\n[", start) + 1
    path.write_text(text[:start] + '[trip]\nschedule = "way.csv"\n\n' + text[end:], encoding="utf-8")
    data = report.as_data(answered(load(path), exact=True))
    trip, hours = data["trip"], 600 / 3600
    assert trip["fuel_change_l"] is None
    assert trip["pack_working_kwh"] == pytest.approx(
        data["states"]["working"]["source_power_w"] * hours / 1e3, rel=1e-6
    )
    assert trip["pack_without_kwh"] == pytest.approx(data["states"]["absent"]["source_power_w"] * hours / 1e3, rel=1e-6)
    assert trip["pack_change_kwh"] == pytest.approx(trip["pack_working_kwh"] - trip["pack_without_kwh"])
    assert trip["pack_change_kwh"] > 0.1


def test_a_battery_has_no_exhaust_to_heat_with(battery: Scenario) -> None:
    assert set(answered(battery, exact=True).answer.other_sources) == {"pack", "burner", "mains"}


def test_a_plan_for_a_battery_says_how_its_runs_are_judged(path: Path) -> None:
    text = " ".join(run("plan", str(path)).stdout.split())
    assert " % of the battery energy, working compared with stowed" in text
    assert "% of the battery energy (standard deviation)" in text
    assert "windtoll compare judges these runs by battery energy: write energy_used of every run" in text
    assert "reads no battery" not in text
    assert "Battery and tyres warm before the first run" in text
    assert "No run is rejected for its battery energy." in text
    assert "ahead energy" in text
    for word in ("fuel", "Fuel", "Engine warm", "SAE J1321"):
        assert word not in text
    sheet, call = path.parent / "sheet.html", path.parent / "call.html"
    done = run("plan", str(path), "--sheet", str(sheet), "--call-sheet", str(call))
    assert "with energy_used, distance and duration" in " ".join(done.stdout.split())
    for page in (sheet, call):
        assert "battery energy" in page.read_text(encoding="utf-8")
        assert re.search(r"\bfuel\b", page.read_text(encoding="utf-8"), re.I) is None
    assert "energy used" in sheet.read_text(encoding="utf-8")
    assert "of the fuel," not in text
