"""Charts over road speed: titles made from the verdict's own result, limits and stall where the chain finds them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import altair as alt
import numpy as np
import pytest

from energy.chain.answer import Answered, answered
from energy.chain.ledger import turbine_at_work
from energy.chain.load import load
from energy.chain.stalled import is_stalled
from energy.pictures.answer import operating_line
from energy.pictures.flow import flow_picture
from energy.pictures.over_speed import pictures_over_speed
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from energy.words.answer import as_data
from energy.words.over_speed import COSTS, NOTHING, OPEN, SAVES, fuel_title, heat_title
from energy.words.verdict import verdict


def _texts(chart: Any) -> list[str]:
    """Return the words that stand on a chart's upright lines."""
    return [layer.data["limit"].iloc[0] for layer in chart.layer if "limit" in getattr(layer.data, "columns", ())]


def _compared(scenario: Scenario, state: str) -> Scenario:
    return replace(scenario, trip=scenario.trip.model_copy(update={"compared_with": state}))


def test_what_a_screen_shows_is_a_valid_chart_with_readable_axes(van: Scenario) -> None:
    told = answered(van)
    for picture in (flow_picture(told, "metric"), *pictures_over_speed(told, "metric")):
        shown = picture.shown
        rows = {name: table.to_pylist() for name, table in shown["datasets"].items()}
        alt.LayerChart.from_dict({**shown, "datasets": rows}, validate=True)
        assert shown["config"]["axis"]["labelFontSize"] == 13
        assert "title" not in shown
        points = sum(len(entries) for entries in rows.values())
        assert points >= len(picture.table)
        assert picture.shown is shown
    assert flow_picture(told, "metric").shown["config"]["view"]["stroke"] is None


def test_a_little_change_changes_the_numbers_of_a_picture_and_not_its_drawing(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    first, second = (answered(load(path, [f"trip.road_speed={speed} km/h"])) for speed in (96, 97))
    for one, other in zip(
        (flow_picture(first, "metric"), *pictures_over_speed(first, "metric")),
        (flow_picture(second, "metric"), *pictures_over_speed(second, "metric")),
        strict=True,
    ):
        assert {k: v for k, v in one.shown.items() if k != "datasets"} == {
            k: v for k, v in other.shown.items() if k != "datasets"
        }
        tables = zip(one.shown["datasets"].values(), other.shown["datasets"].values(), strict=True)
        assert not all(before.equals(after) for before, after in tables)
        # What is saved holds the same numbers as what is shown.
        saved = list(one.titled().to_dict()["datasets"].values())
        rows = [table.to_pylist() for table in one.shown["datasets"].values()]
        assert sum(map(len, saved)) == sum(map(len, rows))


def test_zero_is_what_the_verdict_is_compared_with(van: Scenario) -> None:
    for state, name in (("absent", "not fitted"), ("stowed", "stowed")):
        told = answered(_compared(van, state))
        table = pictures_over_speed(told, "metric")[0].table.set_index("turbine")["change, L/h"]
        assert np.nanmax(np.abs(table[name])) == 0.0
        here = pictures_over_speed(told, "metric")[0].table
        here = here[np.isclose(here["road speed, km/h"], 100.0)].set_index("turbine")["change, L/h"]
        assert here["working"] == pytest.approx(as_data(told)["fuel_change"]["l_per_h"])


def test_the_title_names_the_baseline_of_the_verdict(van: Scenario) -> None:
    stowed = pictures_over_speed(answered(_compared(van, "stowed")), "metric")[0].title
    assert "compared with carrying it stowed" in stowed


def test_too_close_to_call_is_never_called_a_cost_at_every_speed(demos: Path) -> None:
    # A tail of the interaction factor below 1 makes the change in fuel against carrying it stowed nothing certain.
    told = answered(
        load(
            demos / "van_water_tank" / "scenario.toml",
            ["air.wind_speed=60 km/h", "trip.road_speed=20 km/h", "trip.compared_with=stowed"],
        )
    )
    found = verdict(told, "metric")
    title = pictures_over_speed(told, "metric")[0].title
    said = {
        "costs": "costs fuel",
        "saves": "no extra fuel",
        "cannot tell": "too close to call",
        "no effect": "no effect",
    }
    assert said[found.word] in title


@pytest.mark.parametrize("word", [COSTS, SAVES, OPEN, NOTHING])
def test_at_its_own_speed_the_title_says_what_the_verdict_says(
    van: Scenario, word: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = answered(van, exact=True)
    meant = replace(verdict(told, "metric"), word=word)  # type: ignore[arg-type]
    monkeypatch.setattr("energy.words.over_speed.verdict", lambda *_: meant)
    title = fuel_title(told, [10.0, 100 / 3.6, 36.0], [COSTS, COSTS, COSTS], "metric")
    said = {
        COSTS: "Working costs fuel at every road speed",
        SAVES: "At 100 km/h it costs no extra fuel",
        OPEN: "At 100 km/h it is too close to call",
        NOTHING: "At 100 km/h it has no effect",
    }
    assert title.startswith(said[word])
    if word != COSTS:
        assert "at every" not in title


def test_parked_and_trips_are_not_taken_for_a_drive(demos: Path) -> None:
    parked = answered(load(demos / "parked_on_a_ridge" / "scenario.toml", ["air.wind_speed=0 km/h"]))
    assert verdict(parked, "metric").word == "no effect"
    assert verdict(parked, "metric").headline.startswith("No effect")
    assert pictures_over_speed(parked, "metric")[0].title.startswith("If driven: ")
    trip = answered(load(demos / "van_in_town" / "scenario.toml"), exact=True)
    assert pictures_over_speed(trip, "metric")[0].title.startswith("Driven steadily: ")


def test_a_limit_that_the_chart_crosses_is_in_its_title_and_on_it(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    told = answered(load(path), exact=True)
    picture = pictures_over_speed(told, "metric")[1]
    assert "the limit of blade tip speed is passed from 10" in picture.title
    assert "limit of blade tip speed" in _texts(picture.chart)
    assert "no limit" not in picture.title
    # The speed at which it is passed is where the chain reaches it.
    (at,) = [
        layer.data["road speed, km/h"].iloc[0] / 3.6
        for layer in picture.chart.layer
        if "limit" in getattr(layer.data, "columns", ()) and layer.data["limit"].iloc[0] == "limit of blade tip speed"
    ][:1]
    inputs = inputs_of(told.scenario, {"trip.road_speed": np.array(at)})
    work = turbine_at_work(inputs)
    tip = float(work.rotor_speed_rad_s * inputs.turbine.diameter_m / 2)
    assert tip == pytest.approx(float(inputs.turbine.highest_tip_speed_m_s), rel=2e-3)
    fine = answered(
        load(
            path,
            [
                "rotor.highest_tip_speed=150 m/s",
                "rotor.highest_rotor_speed=3000 rpm",
                "heater.rated_power=50 kW",
                "generator.highest_current=500 A",
            ],
        ),
        exact=True,
    )
    assert "no limit is passed up to 130 km/h" in pictures_over_speed(fine, "metric")[1].title
    assert not [words for words in _texts(pictures_over_speed(fine, "metric")[1].chart) if words.startswith("limit")]


def test_the_outcomes_around_its_own_speed_are_named(van: Scenario) -> None:
    told = answered(van, exact=True)
    speeds = [10.0, 15.0, 20.0, 100 / 3.6, 36.0]
    title = fuel_title(told, speeds, [OPEN, COSTS, COSTS, COSTS, SAVES], "metric")
    assert title == (
        "At 100 km/h it costs fuel in still air on the flat, compared with not fitting it; "
        "below about 54 km/h it is too close to call; above about 100 km/h it costs no extra fuel"
    )


def test_over_a_limit_that_stands_first(demos: Path) -> None:
    told = answered(load(demos / "van_water_tank" / "scenario.toml", ["trip.road_speed=125 km/h"]))
    assert verdict(told, "metric").dangers
    assert pictures_over_speed(told, "metric")[1].title.startswith("Over the limit of ")
    element = answered(load(demos / "van_water_tank" / "scenario.toml", ["heater.rated_power=1 kW"]))
    title = pictures_over_speed(element, "metric")[1].title
    assert title.startswith("Over the limit of power into the element at 100 km/h")
    assert "power into the element is passed" not in title


def _stalling(demos: Path) -> Answered:
    """The van with an element that loads its rotor too early: found by trying, as a builder would."""
    path = demos / "van_water_tank" / "scenario.toml"
    for ohm in (6, 5, 4, 3, 2.5, 2, 1.5, 1):
        scenario = load(path, [f"heater.resistance={ohm} ohm"])
        told = answered(scenario)
        if told.stall is not None and told.stall.at_stated_values:
            return told
    raise AssertionError("no element stalls it")


def test_the_stall_cliff_is_on_the_chart_and_in_its_title(demos: Path) -> None:
    told = _stalling(demos)
    picture = pictures_over_speed(told, "metric")[1]
    assert picture.title.startswith("Stalled at 100 km/h: ")
    assert "stalled up to here" in _texts(picture.chart)
    cliff, *_ = (
        layer.data["road speed, km/h"].iloc[0] / 3.6
        for layer in picture.chart.layer
        if "limit" in getattr(layer.data, "columns", ())
        and layer.data["limit"].iloc[0] == "stalled up to here"
        and "text" not in layer.to_dict()["encoding"]
    )
    at = inputs_of(told.scenario, {"trip.road_speed": np.array([cliff, cliff + 1.0])})
    stalled = is_stalled(at, turbine_at_work(at))
    assert bool(stalled[0])
    assert not bool(stalled[1]) or cliff * 3.6 >= 129


def test_two_ways_to_start_are_drawn_where_they_differ(demos: Path) -> None:
    table = pictures_over_speed(_stalling(demos), "metric")[1].table
    kinds = set(table["start"])
    if len(kinds) == 2:
        assert kinds == {"load on from standstill", "load on after the start"}
        heat = table.pivot_table(index="road speed, km/h", columns="start", values="heat, kW")
        assert (heat["load on after the start"] >= heat["load on from standstill"] - 1e-6).all()
    else:
        assert kinds == {"heat"}


def test_the_heat_in_the_title_is_the_verdicts(van: Scenario) -> None:
    told = answered(van)
    heat = heat_title(told, [], None, 36.0, "metric").partition(" at ")[0]
    assert f"{heat}" in " ".join(verdict(told, "metric").lines)


def test_a_limit_crossed_with_the_load_cut_is_in_the_title(van: Scenario) -> None:
    told = answered(van, exact=True)
    power, _, turning = operating_line(told, "metric")
    assert "with the load cut the highest tip speed is passed from" in turning.title
    assert "with the load on the limit of blade tip speed is passed from" in power.title
