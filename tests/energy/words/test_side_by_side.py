"""Side by side: every number is that of its own answer; danger is said before who leads."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from energy.chain.answer import answered
from energy.chain.heating import heating
from energy.chain.load import load
from energy.pictures.side_by_side import side_by_side
from energy.words.answer import as_data
from energy.words.side_by_side import Contender, finding, measures, short_names


def _contender(demos: Path, name: str, demo: str, *overrides: str) -> Contender:
    scenario = load(demos / demo / "scenario.toml", list(overrides))
    return Contender(name, answered(scenario), heating(scenario, draws=16) if scenario.schedule is None else None)


def test_numbers_are_those_of_each_answer(demos: Path) -> None:
    both = [
        _contender(demos, "slow", "van_water_tank", "trip.road_speed=80 km/h"),
        _contender(demos, "fast", "van_water_tank"),
    ]
    found = {measure.name: measure for measure in measures(both, "metric")}
    for k, one in enumerate(both):
        data = as_data(one.answered)
        assert found["extra fuel"].values[k] == pytest.approx(data["interval"]["fuel_change_power_w"]["estimate"])
        assert found["heat"].values[k] == pytest.approx(data["interval"]["heat_power_w"]["estimate"])
        assert found["thrust"].values[k] == pytest.approx(data["rotor"]["thrust_n"])
        assert found["limits"].values[k] == pytest.approx(max(x["share"] for x in data["limits"]))
        assert one.heated is not None
        drawn = np.sort(one.heated.outcome.time_to_target_s[1:])  # NaN (never reached) sorts last
        assert found["warm-up"].values[k] == drawn[len(drawn) // 2]
    said = finding(both, "metric")
    assert "Maximum heat: fast" in said
    assert "Minimum extra fuel: slow" in said
    picture = side_by_side(both, "metric")
    assert picture.title == said
    heats = picture.table[picture.table["measure"] == "heat"].set_index("which")["value"]
    assert heats["fast"] > heats["slow"]


def test_what_must_not_be_operated_is_said_first(demos: Path) -> None:
    both = [
        _contender(demos, "mine", "van_water_tank"),
        _contender(demos, "too fast", "van_water_tank", "trip.road_speed=130 km/h"),
    ]
    assert finding(both, "metric").startswith("Do not operate: too fast. ")


def test_three_with_a_trip_among_them(demos: Path) -> None:
    three = [
        _contender(demos, "a", "van_water_tank"),
        _contender(demos, "b", "parked_on_a_ridge"),
        _contender(demos, "c", "van_in_town"),
    ]
    found = {measure.name: measure for measure in measures(three, "us")}
    assert found["warm-up"].words[2] == "not known"
    assert found["extra fuel"].words[1] == "none"
    assert "Minimum extra fuel: b" in finding(three, "us")


def test_the_same_is_called_the_same(demos: Path) -> None:
    one = _contender(demos, "a", "van_water_tank")
    said = finding([one, Contender("b", one.answered, one.heated)], "metric")
    assert "Maximum heat: the same for all" in said
    assert "Minimum extra fuel: the same for all" in said


def test_short_names_are_never_alike() -> None:
    titles = ["Invented demo: touring van, 1.8 m rotor", "touring van, mine", "", "x" * 90, "touring van"]
    found = short_names(titles, ["untitled"])
    assert found[0] == "touring van"
    assert len(set(found)) == len(found)
    assert "untitled" not in found
    assert max(map(len, found)) <= 34
    assert short_names(["Invented demo: the same van through town: 12 km of stop and go"]) == [
        "the same van through town"
    ]
