"""The first screen's numbers are those of the verdict; prices are the ledger's; the next question follows."""

from __future__ import annotations

from pathlib import Path

import pytest

from energy.chain.answer import answered
from energy.chain.load import load
from energy.scenario.read import Scenario
from energy.words.answer import as_data
from energy.words.first import cards
from energy.words.next_question import next_questions
from energy.words.price import price_sentence, prices_of_heat
from energy.words.verdict import verdict


def test_loud_and_quiet_make_the_headline(demos: Path) -> None:
    for path in sorted(demos.glob("*/scenario.toml")):
        found = verdict(answered(load(path)), "metric")
        assert f"{found.loud} {found.quiet}".strip() == found.headline
        assert len(found.loud) < 40
        assert "(" not in found.loud


def test_cards_show_the_verdicts_own_figures(van: Scenario) -> None:
    told = answered(van)
    fuel, heat = cards(told, "metric")
    headline = verdict(told, "metric").headline
    assert fuel.value in headline
    assert heat.value in " ".join(verdict(told, "metric").lines)
    without, working = (float(part.split()[0]) for part in fuel.lines[0].removeprefix("from ").split(" to "))
    data = as_data(told)
    assert without == pytest.approx(data["states"]["absent"]["fuel_l_per_h"], rel=0.005)
    assert working - without == pytest.approx(data["interval"]["fuel_change_l_per_h"]["estimate"], abs=0.011)


def test_prices_in_money_are_those_of_the_ledger(van: Scenario) -> None:
    told = answered(van)
    data = as_data(told)
    prices = {price.source: price for price in prices_of_heat(told, "metric")}
    assert van.prices.fuel is not None
    spread = data["interval"]
    litres = spread["fuel_change_l_per_h"]["estimate"] / (spread["heat_power_w"]["estimate"] / 1e3)
    assert prices["turbine"].amount == pytest.approx(litres * van.prices.fuel.amount)
    for source, name in (("alternator", "engine's alternator"), ("gas burner", "gas burner")):
        money = next(s for s in data["other_sources"] if s["name"] == name)["money_per_h"]
        assert prices[source].amount == pytest.approx(money / (data["heat_power_w"] / 1e3))
    assert price_sentence(told, "metric").endswith("times that of the gas burner")


def test_without_prices_litres_are_compared(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    assert "[prices]" in text
    told = answered(load(path))
    bare = answered(_without_prices(told.scenario))
    prices = prices_of_heat(bare, "metric")
    assert [price.source for price in prices] == ["turbine", "alternator", "gas burner"]
    data = as_data(bare)
    assert prices[1].amount == pytest.approx(
        next(s for s in data["other_sources"] if "alternator" in s["name"])["fuel_l_per_h"] / data["heat_power_w"] * 1e3
    )
    assert prices[0].words.endswith("L of diesel")
    assert prices[0].words.split()[0] in " ".join(verdict(bare, "metric").lines)
    gallons = prices_of_heat(bare, "us")
    assert gallons[0].amount == pytest.approx(prices[0].amount / 3.785411784)  # NIST Handbook 44: 1 gal = 3.785411784 L


def _without_prices(scenario: Scenario) -> Scenario:
    from dataclasses import replace

    bare = {"fuel": None, "gas": None, "electricity": None}
    return replace(scenario, prices=scenario.prices.model_copy(update=bare))


def test_heat_in_wind_is_free_and_no_heat_has_no_price(demos: Path) -> None:
    told = answered(load(demos / "parked_on_a_ridge" / "scenario.toml"))
    assert prices_of_heat(told, "metric")[0].words == "free"
    assert price_sentence(told, "metric") == "The turbine's heat takes no extra fuel here"
    calm = answered(load(demos / "parked_on_a_ridge" / "scenario.toml", ["air.wind_speed=0 km/h"]), exact=True)
    assert prices_of_heat(calm, "metric") == ()
    assert cards(calm, "metric")[1].value == "none"


def test_a_broken_limit_asks_for_a_setting_first(demos: Path) -> None:
    told = answered(load(demos / "van_water_tank" / "scenario.toml", ["heater.rated_power=500 W"]), exact=True)
    first, second = next_questions(told)
    assert first.command == "match"
    assert "power into the element" in first.why
    assert second.command == "loads"


def test_what_is_not_checked_comes_before_what_pays(van: Scenario) -> None:
    told = answered(van)
    assert [question.command for question in next_questions(told)] == ["loads", "payback"]
    assert [question.place for question in next_questions(told, here="loads")] == ["pay", "scenario"]
    assert "%" in next_questions(told, here="loads")[1].why


def test_heat_without_fuel_asks_when_it_is_hot(demos: Path) -> None:
    told = answered(load(demos / "parked_on_a_ridge" / "scenario.toml"))
    assert "heat" in [question.place for question in next_questions(told)]


def test_no_road_test_is_advised_where_nothing_is_burnt(demos: Path) -> None:
    """On overrun the headline says that no extra fuel is burnt: there is nothing that runs could prove."""
    down = answered(load(demos / "van_water_tank" / "scenario.toml", ["trip.grade=-9 %"]), exact=True)
    assert verdict(down, "metric").headline.startswith("No extra fuel.")
    asked = [question.command for question in next_questions(down, here="loads")]
    assert "plan" not in asked
    assert "heat" in asked
    wind = ["air.wind_speed=100 km/h", "air.wind_from=180 deg", "trip.road_speed=50 km/h"]
    pushed = answered(load(demos / "van_water_tank" / "scenario.toml", wind), exact=True)
    assert verdict(pushed, "metric").headline.startswith("Saves fuel: ")
    assert "plan" in [question.command for question in next_questions(pushed, here="loads")]
