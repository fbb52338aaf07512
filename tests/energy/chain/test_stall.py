"""A rotor that may stay stalled: the groups are kept apart, and the verdict says it before the headline."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from energy.aero.operating_point import coefficients
from energy.chain.answer import answered
from energy.chain.ledger import answer, turbine_at_work
from energy.chain.limits import broken_limits
from energy.chain.load import load
from energy.chain.matching import match
from energy.chain.settings import look_of
from energy.chain.stall import WORTH_SAYING, stall_risk
from energy.scenario.inputs import correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.words.answer import as_data
from energy.words.cautions import cautions, pressing_cautions
from energy.words.match import first_lines
from energy.words.next_question import next_questions
from energy.words.verdict import limit_sentence, number, stall_lines, verdict


def test_what_is_known_as_stated_changes_nothing(demos: Path) -> None:
    """An answer goes on from the one of the values as stated, where that is at hand: to the last bit the same."""
    for name, settings in (
        ("van_water_tank", ["heater.resistance=3 ohm"]),
        ("van_water_tank", ["trip.road_speed=25 km/h"]),
        ("camper_oven", []),
        ("pickup_drying_box", []),
        ("van_in_town", []),
    ):
        scenario = load(demos / name / "scenario.toml", settings)
        whole, stated = answered(scenario), answered(scenario, exact=True)
        assert stated.spread is None
        assert as_data(answered(scenario, stated=stated)) == as_data(whole)


@pytest.fixture(scope="module")
def heavy(demos: Path) -> Scenario:
    """The van with an element that loads the rotor too much for most of its draws."""
    return load(demos / "van_water_tank" / "scenario.toml", ["heater.resistance=3 ohm"])


def test_an_ordinary_rotor_needs_no_word_about_stall(van: Scenario) -> None:
    risk = stall_risk(van)
    assert risk is not None
    assert risk.share < WORTH_SAYING
    assert not risk.matters
    assert verdict(answered(van), "metric").warnings == ()


def test_the_share_is_that_of_the_draws_one_by_one(heavy: Scenario) -> None:
    """Each of 128 draws is answered alone and judged by the rule: slow of two speeds, or slow and under half its
    best.
    """
    risk = stall_risk(heavy)
    assert risk is not None
    ranges = ranges_of(heavy)
    draws = draws_of(ranges, sobol_sample(1024, len(ranges)), correlations_of(heavy))
    stalled, heats = [], []
    for k in range(0, 1024, 8):
        inputs = inputs_of(heavy, {key: np.asarray(values[k]) for key, values in draws.items()})
        turbine, curves = turbine_at_work(inputs, with_free_run=False), inputs.turbine.curves
        assert curves is not None
        assert turbine.point is not None
        row = [
            np.interp(float(inputs.turbine.pitch_deg), curves.pitch_deg, column)
            for column in curves.power_coefficient.T
        ]
        ratio = float(turbine.tip_speed_ratio)
        poor = np.interp(ratio, curves.tip_speed_ratio, row) < 0.5 * max(row)
        slow = ratio < curves.tip_speed_ratio[int(np.argmax(row))]
        stalled.append((bool(turbine.point.is_stalled) or (poor and slow)) if bool(turbine.turning) else True)
        heats.append(float(turbine.heat_power_w))
    share = np.mean(stalled)
    assert risk.share == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / len(stalled)))
    slow_heat, fast_heat = np.array(heats)[stalled], np.array(heats)[~np.array(stalled)]
    assert risk.stalled_heat_w is not None
    assert risk.running_heat_w is not None
    assert risk.stalled_heat_w.estimate == pytest.approx(np.median(slow_heat), rel=0.5)
    assert risk.running_heat_w.estimate == pytest.approx(np.median(fast_heat), rel=0.5)


def test_the_verdict_says_both_groups_before_the_headline(heavy: Scenario) -> None:
    said = verdict(answered(heavy), "metric")
    assert said.warnings[0].startswith("Can get stuck in stall: ")
    assert "the others give" in said.warnings[0]
    assert said.sentence.index("Can get stuck in stall") < said.sentence.index(said.headline)


def test_a_rotor_that_is_simply_stalled_is_called_so(demos: Path) -> None:
    said = verdict(answered(load(demos / "van_water_tank" / "scenario.toml", ["heater.resistance=1.5 ohm"])), "metric")
    assert said.warnings[0].startswith("Stalled blades: the rotor turns, but far too slowly (tip-speed ratio ")
    assert "windtoll match" in said.warnings[0]


def test_a_stalled_rotor_is_shown_what_the_best_setting_would_give(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml", ["heater.resistance=1.5 ohm"])
    risk = stall_risk(scenario, exact=True)
    assert risk is not None
    assert risk.best is not None
    best = match(scenario).best
    heat = float(best.answer.turbine.heat_power_w)
    assert float(risk.best.answer.turbine.heat_power_w) == pytest.approx(heat, rel=1e-9)
    # Set to that, the same scenario gives this heat and is not stalled.
    setting = {"rotor.pitch": best.pitch_deg, "drive.ratio": best.ratio, "heater.resistance": best.resistance_ohm}
    turbine = turbine_at_work(inputs_of(scenario, {key: np.array(value) for key, value in setting.items()}))
    assert float(turbine.heat_power_w) == pytest.approx(heat, rel=1e-9)
    (line,) = verdict(answered(scenario, exact=True), "metric").warnings
    # Litres an hour by hand: the change in fuel power between the two states over the heating value.
    inputs = inputs_of(scenario, {key: np.array(value) for key, value in setting.items()})
    change = answer(inputs).change
    assert inputs.fuel is not None
    litres = float(change.power_w) / inputs.fuel.heating_value_j_per_m3 * 3.6e6
    gives = f"would give {heat / 1e3:.1f} kW and cost +{litres:.1f} L/h in all: pitch"
    assert f"The best setting within the limits {gives}" in line
    assert "check the loads of that setting before you operate it" in line


def test_a_rotor_that_does_not_start_is_called_so_before_the_headline(demos: Path) -> None:
    said = verdict(answered(load(demos / "camper_oven" / "scenario.toml", ["rotor.pitch=-4 deg"])), "metric")
    assert said.warnings[0].startswith("Does not start. ")
    assert "would give 2." in said.warnings[0]
    no_air = load(demos / "parked_on_a_ridge" / "scenario.toml", ["air.wind_speed=5 km/h"])
    assert verdict(answered(no_air), "metric").warnings == ()  # 1.4 m/s of air: nothing is expected to turn


def test_no_best_setting_is_looked_for_where_the_rotor_only_has_to_start_unloaded(van: Scenario) -> None:
    risk = stall_risk(van, exact=True)
    assert risk is not None
    assert risk.best is None
    assert not risk.stands


def test_exact_values_are_stalled_or_not(heavy: Scenario, van: Scenario) -> None:
    for scenario in (heavy, van):
        risk = stall_risk(scenario, exact=True)
        assert risk is not None
        assert risk.share == float(risk.at_stated_values)


def test_a_trip_and_a_measured_table_have_no_such_answer(demos: Path) -> None:
    assert stall_risk(load(demos / "van_in_town" / "scenario.toml")) is None


def test_the_power_it_judges_by_is_numpys_interpolation_row_by_row(van: Scenario) -> None:
    curves = inputs_of(van).turbine.curves
    assert curves is not None
    at = np.array([2.0, 4.6])
    rows = curves.power_coefficient[:2]
    expected = [np.interp(a, curves.tip_speed_ratio, row) for a, row in zip(at, rows, strict=True)]
    assert coefficients(curves, curves.pitch_deg[:2], at)[0] == pytest.approx(expected)


def test_stall_is_data_with_both_groups_and_what_it_loses(heavy: Scenario) -> None:
    told = answered(heavy)
    data = as_data(told)
    stall = data["stall"]
    assert told.stall is not None
    assert stall["chance"] == told.stall.share
    assert data["warnings"] == list(verdict(told, "metric").warnings)
    slow, fast = stall["stalled_heat_w"], stall["running_heat_w"]
    assert slow["low"] <= slow["estimate"] <= slow["high"] < fast["estimate"]
    assert stall["lost_heat_w"] == pytest.approx(fast["estimate"] - slow["estimate"])
    assert 0.9 == slow["level"] == fast["level"]


def test_a_rotor_that_is_always_stalled_loses_against_the_best_setting(demos: Path) -> None:
    told = answered(load(demos / "van_water_tank" / "scenario.toml", ["heater.resistance=1.5 ohm"]), exact=True)
    stall = as_data(told)["stall"]
    assert stall["chance"] == 1.0
    assert stall["running_heat_w"] is None
    best = stall["best_setting"]
    assert stall["lost_heat_w"] == pytest.approx(best["heat_power_w"] - stall["stalled_heat_w"]["estimate"])
    assert best["heat_power_w_interval"]["estimate"] == best["heat_power_w"]  # --exact: nothing is drawn
    assert stall["lost_heat_w"] > 1000


def test_over_a_trip_stall_is_not_told(demos: Path) -> None:
    told = answered(load(demos / "van_in_town" / "scenario.toml"), exact=True)
    assert as_data(told)["stall"] is None


UNLOADED = "generator.load_connected=after_spin_up"


def test_a_start_without_load_is_not_advised_where_it_breaks_a_limit(demos: Path) -> None:
    """What the first lines advise is done: then no limit may be broken that was kept before."""
    camper, heavier = demos / "camper_oven" / "scenario.toml", "heater.resistance=4 ohm"
    stalled = answered(load(camper, [heavier]), exact=True)
    followed = answered(load(camper, [heavier, UNLOADED]), exact=True)
    assert broken_limits(stalled) == ()
    broken = broken_limits(followed)
    assert [limit.key for limit in broken] == ["generator.highest_current"]
    assert stalled.stall is not None
    assert [vars(limit) for limit in stalled.stall.beyond_limits] == [vars(limit) for limit in broken]
    assert as_data(stalled)["stall"]["faster_speed_breaks"] == ["generator.highest_current"]
    (line,) = verdict(stalled, "metric").warnings
    assert "At this setting do not connect the load after the start: the rotor would run beyond its limits." in line
    assert limit_sentence(broken[0], "metric") in line
    assert "Connect the load after the start" not in line
    assert "The best setting within the limits would give 2.7 kW" in line
    wider = answered(load(camper, [heavier, "generator.highest_current=25 A"]), exact=True)
    assert wider.stall is not None
    assert wider.stall.two_speeds
    assert wider.stall.beyond_limits == ()
    (line,) = verdict(wider, "metric").warnings
    assert "Connect the load after the start" in line


def _weak_at_the_start(demos: Path, folder: Path, *settings: str) -> Scenario:
    """Return the van with a rotor of little torque below tip-speed ratio 3: no element takes it through stall."""
    folder.mkdir()
    for file in (demos / "van_water_tank").iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    points = [(0, 0.0), (0.5, 0.004), (3, 0.02), (3.5, 0.15), (4, 0.28), (5, 0.32), (6, 0.3), (7, 0.22), (9, -0.1)]
    rows = [f"{ratio},{power},{max(0.15, 2.2 * power)}" for ratio, power in points]
    text = "\n".join(["tip_speed_ratio,power_coefficient,thrust_coefficient", *rows, ""])
    (folder / "weak.csv").write_text(text, encoding="utf-8")
    text = (folder / "scenario.toml").read_text(encoding="utf-8").replace('pitch = "4 deg"', "")
    if any(setting.startswith("trip.schedule=") for setting in settings):
        text = text.replace('road_speed = "100 km/h"', "").replace('grade = "0 %"', "")
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    return load(folder / "scenario.toml", ["rotor.curves=weak.csv", "rotor.highest_tip_speed=100 m/s", *settings])


def test_the_best_setting_starts_without_load_where_no_other_gets_through_stall(demos: Path, tmp_path: Path) -> None:
    scenario = _weak_at_the_start(demos, tmp_path / "weak", "heater.resistance=2 ohm")
    risk = stall_risk(scenario, exact=True)
    assert risk is not None
    assert risk.best is not None
    assert risk.at_stated_values
    assert not risk.two_speeds
    assert risk.best_unloaded
    best = risk.best
    setting = [f"drive.ratio={best.ratio}", f"heater.resistance={best.resistance_ohm} ohm"]
    loaded = answered(_weak_at_the_start(demos, tmp_path / "loaded", *setting), exact=True)
    unloaded = answered(_weak_at_the_start(demos, tmp_path / "unloaded", *setting, UNLOADED), exact=True)
    heat = float(unloaded.answer.turbine.heat_power_w)
    assert best.outcome.heat_w.estimate == pytest.approx(heat, rel=1e-9)
    assert broken_limits(unloaded) == ()
    assert heat > 10 * float(loaded.answer.turbine.heat_power_w)
    assert heat > 2 * float(match(scenario).best.answer.turbine.heat_power_w)
    told = answered(scenario, exact=True)
    assert as_data(told)["stall"]["best_setting_starts_unloaded"]
    (line,) = verdict(told, "metric").warnings
    assert f"would give {heat / 1e3:.1f} kW" in line
    assert f"its load connected only after the start (see windtoll match --set {UNLOADED};" in line


def test_the_search_says_that_it_holds_for_a_load_always_connected(demos: Path, tmp_path: Path, van: Scenario) -> None:
    """Where stall spoils the best of all settings, the other way to connect the load is named next to it."""
    for name, settings, named in (
        ("always", ("heater.resistance=2 ohm",), True),
        ("later", ("heater.resistance=2 ohm", UNLOADED), False),
    ):
        scenario = _weak_at_the_start(demos, tmp_path / name, *settings)
        found = match(scenario)
        less = replace(found.best.outcome.heat_w, estimate=0.5 * float(found.best.answer.turbine.heat_power_w))
        fragile = replace(found.best, outcome=replace(found.best.outcome, heat_w=less))
        lines = first_lines(replace(found, best=fragile), "metric").lines
        assert any(line.startswith("That setting is fragile") for line in lines)
        assert any(line.endswith(f"windtoll match --set {UNLOADED}") for line in lines) == named
    assert not any(UNLOADED in line for line in first_lines(match(van), "metric").lines)


def test_a_load_that_is_connected_later_is_not_advised_again(demos: Path, tmp_path: Path) -> None:
    scenario = _weak_at_the_start(demos, tmp_path / "weak", UNLOADED, "heater.resistance=2 ohm")
    for told in (answered(scenario, exact=True), answered(scenario)):
        assert told.stall is not None
        assert told.stall.starts_unloaded
        assert not told.stall.best_unloaded
        assert "onnect the load after the start" not in " ".join(verdict(told, "metric").warnings)
    # Running at the stated values, stalled in half of the simulations.
    risk = stall_risk(scenario, exact=True)
    assert risk is not None
    mixed = replace(risk, share=0.5, running_heat_w=risk.stalled_heat_w, at_stated_values=False, best=None)
    for later in (True, False):
        (line,) = stall_lines(replace(mixed, starts_unloaded=later), "metric")
        assert line.startswith("Can get stuck in stall: in 50 %")
        assert ("or connect the load after the start" in line) != later


def test_a_rotor_that_only_a_push_starts_is_called_so(demos: Path, tmp_path: Path) -> None:
    """Its torque at standstill by hand: ½·ρ·π·R³·U²·Cp/λ of the curves' first stretch, below the cogging at its
    shaft.
    """
    light = (UNLOADED, "heater.resistance=40 ohm", "trip.road_speed=60 km/h")
    torque = 0.5 * 1.22 * np.pi * 0.9**3 * (0.6 * 60 / 3.6) ** 2 * 0.004 / 0.5
    for cogging, needs in ((0.5 * torque / 2.5, False), (1.5 * torque / 2.5, True)):
        scenario = _weak_at_the_start(
            demos, tmp_path / str(needs), *light, f"generator.cogging_torque={cogging} N*m", "generator.iron_loss=5 W"
        )
        told = answered(scenario, exact=True)
        assert bool(told.answer.turbine.turning)
        assert told.stall is not None
        assert told.stall.needs_a_push == needs == as_data(told)["stall"]["needs_a_push"]
        said = " ".join(verdict(told, "metric").warnings)
        assert ("Does not start by itself, even unloaded" in said) == needs
        assert ("Never start it by hand" in said) == needs
        heat = look_of(scenario)(np.array([[0.0, 2.5, 40.0]])).heat_w
        assert bool(np.isnan(heat[0])) == needs  # no setting to advise, as it never gets there


def test_a_trip_is_not_advised_to_break_a_limit_either(demos: Path, tmp_path: Path) -> None:
    trip = ("trip.schedule=trip.csv", "heater.resistance=9 ohm")
    for name, limit, broken in (("low", "300 rpm", True), ("high", "3000 rpm", False)):
        folder = tmp_path / name
        limits = (f"rotor.highest_rotor_speed={limit}", "rotor.highest_tip_speed=150 m/s", "heater.rated_power=9 kW")
        scenario = _weak_at_the_start(demos, folder, *trip, *limits, "generator.highest_current=90 A")
        told = answered(scenario, exact=True)
        assert told.trip_stall is not None
        assert told.trip_stall.starting_unloaded_helps
        assert broken_limits(told) == ()
        assert bool(told.trip_stall.beyond_limits) == broken
        said = " ".join(verdict(told, "metric").warnings)
        assert ("do not connect the load after the start" in said) == broken
        assert ("With the load connected only after each start" in said) != broken


def test_limits_that_a_part_of_the_simulations_breaks_are_cautioned(van: Scenario, demos: Path) -> None:
    """Each draw's rotor speed by itself against the limits of the file: 900 rpm, and 80 m/s at a radius of 0.9 m."""
    ranges = ranges_of(van)
    draws = draws_of(ranges, sobol_sample(1024, len(ranges)), correlations_of(van))
    speeds = turbine_at_work(inputs_of(van, draws), with_free_run=False).rotor_speed_rad_s
    radius = np.asarray(draws.get("rotor.diameter", 1.8)) / 2
    shares = (float(np.mean(speeds * radius > 80)), float(np.mean(speeds > 900 * np.pi / 30)))
    assert shares[0] > shares[1] > 0.1
    told = answered(van)
    assert told.stall is not None
    at_risk = {risk.limit.key: risk.share for risk in told.stall.at_risk}
    assert at_risk == pytest.approx({"rotor.highest_tip_speed": shares[0], "rotor.highest_rotor_speed": shares[1]})
    words = f"In {100 * shares[0]:.0f} % of the simulations blade tip speed exceeds 80.0 m/s, its limit."
    assert words in cautions(told, "metric")
    assert words in pressing_cautions(told, "metric")
    as_stated = answered(van, exact=True).stall
    assert as_stated is not None
    assert as_stated.at_risk == ()
    # What is broken as stated is the first thing said, and no risk; what no draw breaks is none either.
    low = answered(load(demos / "van_water_tank" / "scenario.toml", ["rotor.highest_tip_speed=70 m/s"]))
    assert low.stall is not None
    assert [risk.limit.key for risk in low.stall.at_risk] == ["rotor.highest_rotor_speed"]


def test_a_limit_that_most_simulations_break_is_a_danger(demos: Path) -> None:
    """The headline is the median of the simulations: where that is beyond a limit, the limit goes before it."""
    van = demos / "van_water_tank" / "scenario.toml"
    stated = answered(load(van), exact=True)
    tips = number(stated.at_its_most.rotor_speed_rad_s) * 0.9
    limits = [f"rotor.highest_tip_speed={tips * 1.02:.4f} m/s", "rotor.highest_rotor_speed=2000 rpm"]
    told = answered(load(van, ["rotor.local_speed_factor={value=0.6, low=0.59, high=0.8}", *limits]))
    assert told.stall is not None
    share = told.stall.at_risk[0].share
    assert share > 0.5
    first = verdict(told, "metric")
    said = f"Do not operate. In {100 * share:.0f} % of the simulations blade tip speed exceeds"
    assert first.dangers[0].startswith(said)
    assert first.dangers[-1].startswith("What to change: ")
    assert first.operate == "no"
    assert as_data(told)["safe"] is False
    assert not any("of the simulations blade tip" in text for text in pressing_cautions(told, "metric"))
    likely = "Over a limit (blade tip speed): look for a setting within the limits."
    assert next_questions(told)[0].why == likely
    rare = verdict(answered(load(van)), "metric")  # 36 %
    assert rare.dangers == ()
