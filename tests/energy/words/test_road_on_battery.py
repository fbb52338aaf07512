"""A road test of a battery vehicle in words, data and pages: battery energy everywhere, and never a litre."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from tests_support import run

from energy.chain.answer import answered
from energy.chain.load import load
from energy.chain.prediction import Prediction
from energy.chain.road_test import road_test
from energy.pages.road_test import as_html
from energy.pictures.road import effect_picture
from energy.words import road_test as words
from energy.words.schema import schema_of
from vehicle.road_test.marks import marks_of
from vehicle.road_test.run_list import read_manifest

pytestmark = pytest.mark.usefixtures("few_draws")

OF_FUEL = re.compile(
    r"\b(fuels?|litres?|petrol|diesel|gallons?|displacement|manifold|L/h|L/100 km|US gal\S*|mpg)\b", re.I
)
STATES = ("working", "stowed", "stowed", "working")
SCATTER = np.array([0.6, -0.4, 0.3, -0.5, 0.5, -0.6, 0.5, -0.4, 0.2, -0.3, 0.4, -0.1]) / 100


def write(path: Path, effect: float, without: str = "stowed", more: str = "") -> Path:
    """Write twelve runs of 15 km in 10 min in pairs, 3.2 kWh without the turbine."""
    text = ""
    for k, off in enumerate(SCATTER.tolist()):
        working = STATES[k % 4] == "working"
        kwh = 3.2 * (1 + effect * working) * (1 + off)
        text += (
            f'[[run]]\nstate = "{"working" if working else without}"\npair = {1 + 2 * (k // 4) + k % 2}\n'
            f'direction = "{"back" if k % 2 else "out"}"\nenergy_used = "{kwh:.4f} kWh"\n'
            f'distance = "15 km"\nduration = "10 min"\n{more.format(working=str(working).lower())}'
        )
    path.write_text(text, encoding="utf-8")
    return path


def texts_of(data: Any) -> Iterator[str]:
    """Return every text of JSON, keys left out: these are the same for fuel."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from texts_of(value)
    elif isinstance(data, list):
        for value in data:
            yield from texts_of(value)


@pytest.fixture
def runs(tmp_path: Path) -> Path:
    return write(tmp_path / "runs.toml", 0.05)


@pytest.fixture
def on_battery(van_folder: Path) -> Path:
    """The van with a battery drive, at the speed of the runs."""
    scenario = van_folder / "scenario.toml"
    text = scenario.read_text(encoding="utf-8")
    start = text.index("\n[engine]") + 1
    scenario.write_text(text[:start] + "[battery]\n\n" + text[text.index("\n[", start) + 1 :], encoding="utf-8")
    return scenario


@pytest.mark.parametrize(
    ("effect", "without", "conclusion", "headline"),
    [
        (0.05, "stowed", "costs", "Costs battery energy: +"),
        (0.05, "absent", "costs", "Costs battery energy: +"),
        (-0.05, "stowed", "saves", "Saves battery energy: −"),
        (-0.002, "stowed", "no effect larger than", "No effect larger than "),
    ],
)
def test_no_word_of_fuel(tmp_path: Path, effect: float, without: str, conclusion: str, headline: str) -> None:
    """Sentences, rows, data, page and picture of every conclusion, with and without a prediction."""
    path = write(tmp_path / "runs.toml", effect, without, "vehicle_ahead = {working}\n")
    for share in (None, effect if abs(effect) > 0.01 else 0.04, effect + 0.2):
        predicted = None if share is None else Prediction(share, 0.001, on_battery=True)
        test = road_test(read_manifest(path), predict=lambda _one, _other, predicted=predicted: predicted)
        assert test.answer.conclusion == conclusion
        first = words.verdict(test)
        assert first.headline.startswith(headline)
        data = words.as_data(test)
        said = [
            *texts_of(data),
            as_html(test, "us"),
            as_html(test, "metric"),
            " ".join(effect_picture(test).table.columns),
        ]
        for system in ("metric", "us", "uk"):
            shown = words.said(test, system)  # type: ignore[arg-type]
            said += [str(shown), str(words.verdict(test, system))]  # type: ignore[arg-type]
        found = [OF_FUEL.search(text) for text in said]
        assert [hit.string[max(hit.start() - 60, 0) : hit.end() + 20] for hit in found if hit] == []
        assert not any(OF_FUEL.search(line) for line in words.reconcile_words(test))
        assert any("air conditioning" in text for text in words.explains_words(test))
        assert any("its slipstream saves battery energy" in text for text in test.warnings)


def test_too_close_to_call_and_one_run_of_each(tmp_path: Path) -> None:
    path = write(tmp_path / "runs.toml", 0.01)
    text = path.read_text(encoding="utf-8").split("[[run]]")
    path.write_text("[[run]]".join(text[:5]), encoding="utf-8")
    close = road_test(read_manifest(path))
    assert words.verdict(close).headline.startswith("Too close to call: battery energy +")
    path.write_text("[[run]]".join(text[:3]).replace("pair = 2", "pair = 1"), encoding="utf-8")
    few = road_test(read_manifest(path))
    assert words.verdict(few).headline.startswith("Too few runs.")
    for test in (close, few):
        assert OF_FUEL.search(json.dumps(list(texts_of(words.as_data(test))))) is None


def test_a_drift_is_one_of_battery_energy(tmp_path: Path) -> None:
    path = write(tmp_path / "runs.toml", 0.05)
    text = path.read_text(encoding="utf-8")
    for k, kwh in enumerate(re.findall(r'"([\d.]+) kWh"', text)):
        text = text.replace(f'"{kwh} kWh"', f'"{float(kwh) * (1 + 0.01 * k):.4f} kWh"', 1)
    path.write_text(text, encoding="utf-8")
    (drift,) = [text for text in road_test(read_manifest(path)).warnings if "drifts by" in text]
    assert drift.startswith("battery energy drifts by +0.96 % from run to run")


def test_the_units_are_those_of_energy(runs: Path) -> None:
    """3.2 kWh in a sixth of an hour are 19.2 kW; over 15 km 21.3 kWh/100 km; 5 % of them is the effect."""
    data = json.loads(run("compare", str(runs), "--json").stdout)
    jsonschema.validate(data, schema_of("compare"))
    kwh = [float(text) for text in re.findall(r'"([\d.]+) kWh"', runs.read_text(encoding="utf-8"))]
    stowed = np.mean([value for k, value in enumerate(kwh) if STATES[k % 4] == "stowed"])
    assert data["measured"] == "battery energy"
    assert data["without_w"] == pytest.approx(stowed * 6000)
    assert data["without_kwh_per_100km"] == pytest.approx(stowed / 15 * 100)
    share = data["effect_percent"]["estimate"] / 100
    for end in ("estimate", "low", "high"):
        assert data["effect_w"][end] == pytest.approx(data["effect_percent"][end] / 100 * stowed * 6000)
        assert data["effect_kwh_per_100km"][end] == pytest.approx(data["effect_percent"][end] * stowed / 15)
    assert data["effect_w_with_what_runs_cannot_remove"]["high"] > data["effect_w"]["high"]
    assert data["runs"][0]["mean_w"] == pytest.approx(kwh[0] * 6000)
    for key in ("effect_l_per_h", "effect_l_per_100km", "effect_l_per_h_with_what_runs_cannot_remove"):
        assert data[key]["estimate"] is None
    assert (data["without_l_per_h"], data["without_l_per_100km"], data["runs"][0]["mean_l_per_h"]) == (None,) * 3
    lines = "\n".join(data["verdict"]["lines"])
    assert "Rests on every run as a whole; battery energy as the display" in lines
    assert f"Battery power, from the runs: +{share * stowed * 6:.3g} kW (" in lines
    assert f"Battery energy per distance, from the runs: +{share * stowed / 15 * 100:.3g} kWh/100 km (" in lines
    miles = " ".join(run("compare", str(runs), "--units", "us").stdout.split())
    assert f"+{share * stowed / 15 * 100 * 1.609344:.3g} kWh/100 mi" in miles
    assert "kWh/100 mi" in str(
        words.verdict(road_test(read_manifest(runs)), "uk").lines
    )  # who reads mph gets miles, as in the answer
    assert f"{kwh[0] * 6:.3g} kW" in miles


def test_fuel_has_its_own_numbers_and_none_of_energy(demos: Path) -> None:
    data = json.loads(run("compare", str(demos / "road_test" / "runs.toml"), "--json").stdout)
    assert data["measured"] == "fuel"
    assert data["effect_l_per_h"]["estimate"] is not None
    assert (data["effect_w"]["estimate"], data["without_w"], data["runs"][0]["mean_w"]) == (None, None, None)
    text = run("compare", str(demos / "road_test" / "runs.toml")).stdout
    assert "battery" not in text
    assert "fuel, adjusted" in text


def test_the_prediction_of_a_battery_is_held_against_it(runs: Path, on_battery: Path) -> None:
    data = json.loads(run("compare", str(runs), "--scenario", str(on_battery), "--json").stdout)
    states = answered(load(on_battery, ["trip.compared_with=stowed"]), exact=True).answer.states
    stowed, working = (float(states[name].supply.source_w) for name in ("stowed", "working"))
    assert data["predicted_percent"]["estimate"] == pytest.approx(100 * (working / stowed - 1), rel=1e-6)
    assert data["agreement"].startswith(f"predicted {100 * (working / stowed - 1):+.1f} % ±")
    assert OF_FUEL.search(json.dumps(list(texts_of(data)))) is None


def test_runs_and_scenario_have_one_drive(runs: Path, on_battery: Path, demos: Path) -> None:
    fuel = demos / "van_water_tank" / "scenario.toml"
    wrong = run("compare", str(runs), "--scenario", str(fuel))
    assert wrong.returncode == 2
    said = " ".join(wrong.stderr.split())
    assert "--scenario: the scenario predicts fuel, the runs are judged by battery energy" in said
    assert "[battery] in the scenario, no [engine]" in said
    typed = run("compare", str(runs), "--scenario", str(fuel), "--effect", "4 %")
    assert typed.returncode == 2
    other = run("compare", str(demos / "road_test" / "runs.toml"), "--scenario", str(on_battery))
    assert other.returncode == 2
    said = " ".join(other.stderr.split())
    assert "the scenario predicts battery energy, the runs are judged by fuel" in said
    assert 'energy_used = "3.2 kWh" for every run of runs.toml' in said


def test_a_coarse_display_is_said_and_is_in_the_interval(tmp_path: Path) -> None:
    path = write(tmp_path / "runs.toml", 0.05)
    path.write_text(re.sub(r'"(\d\.\d)\d+ kWh"', r'"\1 kWh"', path.read_text(encoding="utf-8")), encoding="utf-8")
    test = road_test(read_manifest(path))
    assert any("what rounding can make or hide is counted" in text for text in words.other_warnings(test))
    assert test.answer.effect.high - test.answer.effect.estimate > 0.8 * 0.1 / 3.3


def test_marks_show_what_a_run_used(runs: Path) -> None:
    assert marks_of(runs.read_text(encoding="utf-8"))[0].metered.endswith(" kWh over 15 km")


def test_the_result_goes_on_to_reconcile(runs: Path, on_battery: Path, demos: Path, tmp_path: Path) -> None:
    """3.2 kWh in ten minutes are 19.2 kW, 5 % of it 0.96 kW; the scenario's own prediction is the ledger's."""
    from energy.diagnosis.reconcile import read_results, reconciled

    test = road_test(read_manifest(runs))
    lines = words.reconcile_words(test)
    path = tmp_path / "results.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    (result,) = read_results(path)
    assert result.battery_power_change is not None
    assert result.battery_power_change.value == pytest.approx(960, rel=0.02)
    battery = test.answer.battery
    assert battery is not None
    assert battery.beyond_w.high is not None
    half = battery.beyond_w.high - battery.beyond_w.estimate
    assert 1.96 * result.battery_power_change.standard_deviation == pytest.approx(half, rel=0.06)
    scenario = load(on_battery)
    found = reconciled(scenario, (result,))
    at_that_speed = load(on_battery, ["trip.road_speed=90 km/h", "trip.compared_with=stowed"])
    ledger = answered(at_that_speed, exact=True).answer
    expected = float(ledger.change.power_w)
    # The model stands in the middle of each range, the ledger at the stated values.
    assert found.readings[0].before == pytest.approx(expected, rel=0.05)
    assert abs(found.readings[0].miss_after) < 0.9 * abs(found.readings[0].value - expected) / (half / 1.96)
    conditions = "[[result]]\nroad_speed = '90 km/h'\ncompared_with = 'stowed'\n"
    states = [
        f"battery_power_{state} = {{ value = '19 kW', plus_minus = '1 kW' }}\n" for state in ("without", "working")
    ]
    path.write_text("".join(conditions + state for state in states), encoding="utf-8")
    without, working = reconciled(scenario, read_results(path)).readings
    assert working.before - without.before == pytest.approx(found.readings[0].before, rel=1e-6)
    assert without.before == pytest.approx(float(ledger.states["stowed"].supply.source_w), rel=0.05)
    # Neither drive has what the other one takes.
    done = run("reconcile", str(demos / "van_water_tank" / "scenario.toml"), str(path))
    assert done.returncode == 2
    assert "battery_power_without: nothing to compare it with" in done.stderr
