"""What makes the numbers doubtful stands first in every output that rests on them, in the same words."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests_support import cut_curves

from energy.chain.answer import answered
from energy.chain.heating import heating, read_trip
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.chain.matching import match
from energy.chain.payback import payback
from energy.scenario.inputs import correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.words import heat as heat_words
from energy.words import match as match_words
from energy.words import payback as payback_words
from energy.words.cautions import cautions, pressing_cautions
from energy.words.verdict import FirstLines, verdict

CAMPER, VAN = "camper_oven", "van_water_tank"


def _three(scenario: Scenario, *, exact: bool = True) -> tuple[FirstLines, FirstLines, FirstLines]:
    """Return the first lines of answer, heat and payback."""
    warmed = heating(scenario, draws=0) if exact else heating(scenario, draws=64)
    paid = payback(scenario, exact=exact, exact_maps=True)
    return (
        verdict(answered(scenario, exact=exact), "metric"),
        heat_words.first_lines(warmed, "metric"),
        payback_words.first_lines(paid, scenario, "metric"),
    )


def _measured_watts(folder: Path, coefficient: float) -> None:
    """Put watts of a share of the power of the air through 1.8 m in the place of the van's curves."""
    area = math.pi / 4 * 1.8**2
    rows = [f"{wind},{coefficient * 0.5 * 1.225 * area * wind**3:.6g}" for wind in np.linspace(5, 50, 46)]
    (folder / "watts.csv").write_text("\n".join(["air_speed_m_s,electrical_power_w", *rows, ""]), encoding="utf-8")
    path = folder / "scenario.toml"
    text = path.read_text(encoding="utf-8").replace('curves = "rotor_curves.csv"', 'measured_power = "watts.csv"')
    path.write_text(text, encoding="utf-8")


def test_curves_that_end_below_the_rotors_speed_are_doubted_first_everywhere(van_folder: Path) -> None:
    cut_curves(van_folder)
    for element, light in (("100 ohm", True), ("3 ohm", False)):
        scenario = load(van_folder / "scenario.toml", [f"heater.resistance={element}"])
        for said in _three(scenario):
            doubts = [line for line in said.warnings if "past the last tip-speed ratio of the curves (3)" in line]
            assert len(doubts) == light
    assert any("past the last" in line for line in payback_words.as_data(payback(scenario), scenario)["warnings"]) == (
        light
    )


def test_watts_beyond_betz_are_doubted_first_everywhere(van_folder: Path) -> None:
    _measured_watts(van_folder, 0.5)
    path = van_folder / "scenario.toml"
    for efficiency, doubted in ((0.65, True), (0.95, False)):
        scenario = load(path, [f"rotor.chain_efficiency={efficiency}", "heater.rated_power=50 kW"])
        first, *others = (
            [line for line in said.warnings if line.startswith("Too many watts for this air")]
            for said in _three(scenario)
        )
        assert len(first) == doubted
        assert others == [first, first]
        paid = payback(scenario, exact=True)
        assert payback_words.as_data(paid, scenario)["warnings"][1:] == first  # after the wind that breaks a limit
        # On a trip the hardest moment counts.
        (van_folder / "trip.csv").write_text("time_s,speed_km_h\n0,50\n60,90\n120,90\n", encoding="utf-8")
        driven = heat_words.first_lines(heating(scenario, read_trip(van_folder / "trip.csv"), draws=0), "metric")
        assert any(line.startswith("Too many watts") for line in driven.warnings) == doubted


def test_what_the_engine_cannot_drive_is_said_everywhere(demos: Path, tmp_path: Path) -> None:
    path = demos / CAMPER / "scenario.toml"
    words = "The engine does not have the torque for "
    for grade, short in ((0.04, False), (0.14, True)):
        scenario = load(path, [f"trip.grade={100 * grade} %"])
        for said in _three(scenario):
            assert any(line.startswith(f"{words}this speed") for line in said.warnings) == short
        climb = tmp_path / "climb.csv"
        climb.write_text(f"time_s,speed_km_h,grade\n0,80,{grade}\n60,80,{grade}\n120,80,0\n", encoding="utf-8")
        driven = heat_words.first_lines(heating(scenario, read_trip(climb), draws=0), "metric")
        assert any(line.startswith(f"{words}all of this trip") for line in driven.lines) == short


def test_limits_and_stall_in_the_simulations_are_said_everywhere(demos: Path) -> None:
    """Most simulations break the limit on tip speed: a danger. A part gets stuck in stall: a warning."""
    fast = ["rotor.local_speed_factor={value=0.6, low=0.59, high=0.8}", "rotor.highest_tip_speed=79 m/s"]
    first, *others = _three(load(demos / VAN / "scenario.toml", fast), exact=False)
    assert "of the simulations blade tip speed exceeds 79.0 m/s, its limit." in first.dangers[0]
    for said in others:
        assert said.dangers == first.dangers
        assert said.operate == "no"
    first, *others = _three(load(demos / CAMPER / "scenario.toml"), exact=False)
    (stuck,) = first.warnings
    assert stuck.startswith("Can get stuck in stall")
    assert all(said.warnings.count(stuck) == 1 for said in others)


def test_a_limit_that_a_part_of_the_simulations_breaks_is_cautioned_everywhere(demos: Path) -> None:
    scenario = load(demos / VAN / "scenario.toml")
    words = pressing_cautions(answered(scenario), "metric")[0]
    assert words == "In 36 % of the simulations blade tip speed exceeds 80.0 m/s, its limit."
    assert words in heat_words.cautions(heating(scenario, draws=64), "metric")
    assert words in payback_words.cautions_of(payback(scenario, exact_maps=True), "metric", full=False)
    # Of the element's rating heat warns by itself, once.
    camper = load(demos / CAMPER / "scenario.toml")
    warmed, said = heating(camper), "of the simulations power into the element exceeds"
    assert any(said in caution for caution in cautions(answered(camper), "metric"))
    assert not any(said in caution for caution in heat_words.cautions(warmed, "metric"))
    assert any("Can exceed the element's rating" in line for line in heat_words.first_lines(warmed, "metric").warnings)


@pytest.mark.parametrize(("grade", "place"), [("10 %", ""), ("10.8 %", "caution"), ("11.3 %", "first")])
def test_torque_that_lacks_in_a_part_of_the_simulations_is_said_once(demos: Path, grade: str, place: str) -> None:
    """The share by hand: every draw answered by itself. At the stated values the engine can drive each of these."""
    scenario = load(demos / CAMPER / "scenario.toml", [f"trip.grade={grade}"])
    told = answered(scenario)
    ranges = ranges_of(scenario)
    # As the answer draws: two halves of one cube.
    cube = sobol_sample(128, 2 * len(ranges))
    both = np.concatenate([cube[:, : len(ranges)], cube[:, len(ranges) :]])
    drawn = answer(inputs_of(scenario, draws_of(ranges, both, correlations_of(scenario))))
    enough = drawn.without.supply.enough_torque & drawn.states["working"].supply.enough_torque
    share = float(np.mean(~np.broadcast_to(enough, (256,))))
    assert told.spread is not None
    assert told.spread.short_of_torque == pytest.approx(share)
    assert bool(told.answer.states["working"].supply.enough_torque)
    words = f"In {100 * share:.0f} % of the simulations the engine does not have the torque for this speed"
    first = verdict(told, "metric")
    lists = (first.warnings, cautions(told, "metric"), pressing_cautions(told, "metric"))
    counts = [sum(line.startswith(words) for line in lines) for lines in lists]
    assert counts == {"": [0, 0, 0], "caution": [0, 1, 1], "first": [1, 0, 0]}[place]
    warmed, paid = heating(scenario, draws=64), payback(scenario, exact_maps=True)
    others = (
        (heat_words.first_lines(warmed, "metric").warnings, heat_words.cautions(warmed, "metric")),
        (
            payback_words.first_lines(paid, scenario, "metric").warnings,
            payback_words.cautions_of(paid, "metric", full=False),
        ),
    )
    for warned, cautioned in others:
        assert any(line.startswith(words) for line in warned) == (place == "first")
        assert any(line.startswith(words) for line in cautioned) == (place == "caution")


def test_torque_that_lacks_at_a_moment_of_a_trip_is_cautioned(demos: Path) -> None:
    scenario = load(demos / "van_in_town" / "scenario.toml", ["engine.peak_torque=212 N*m"])
    told = answered(scenario)
    assert told.spread is not None
    share = told.spread.short_of_torque
    assert 0.05 < share <= 0.5
    assert bool(told.answer.states["working"].supply.enough_torque)
    words = f"In {100 * share:.0f} % of the simulations the engine does not have the torque for all of this trip: "
    assert sum(line.startswith(words) for line in cautions(told, "metric")) == 1
    most = replace(told, spread=replace(told.spread, outcome=replace(told.spread.outcome, short_of_torque=np.ones(4))))
    first = verdict(most, "metric")
    assert not any("torque" in line for line in (*first.warnings, *cautions(most, "metric")))
    assert sum(line.startswith("In 100 % of the simulations the engine does not") for line in first.lines) == 1


def test_match_doubts_a_setting_of_today_that_runs_past_its_curves(van_folder: Path) -> None:
    cut_curves(van_folder)
    wide = ["rotor.highest_rotor_speed=2500 rpm", "rotor.highest_tip_speed=150 m/s"]
    for element, light in (("30 ohm", True), ("3 ohm", False)):
        scenario = load(van_folder / "scenario.toml", [f"heater.resistance={element}", *wide])
        lines = match_words.first_lines(match(scenario), "metric").lines
        (own,) = (line for line in lines if line.startswith("Today's setting gives "))
        assert own.endswith("; extrapolated, as the rotor would run past its curves there") == light


def test_match_names_no_maximum_where_the_air_gives_no_heat(demos: Path) -> None:
    path = demos / "parked_on_a_ridge" / "scenario.toml"
    for wind, none in (("8 km/h", True), ("45 km/h", False)):
        said = match_words.first_lines(match(load(path, [f"air.wind_speed={wind}"])), "metric").headline
        assert said.startswith("Next to no heat in this air at any setting within the stated limits: ") == none
        assert said.startswith("Maximum heat within the stated limits: ") != none
