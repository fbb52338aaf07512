"""One heat and one change in fuel: the median of the draws, everywhere; the rest is named "at the stated values"."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from energy.chain.answer import answered
from energy.chain.heating import heating
from energy.chain.load import load
from energy.chain.matching import match, over_draws
from energy.chain.outcome import steady_outcome
from energy.chain.payback import payback
from energy.words import heat as heat_words
from energy.words import match as match_words
from energy.words.answer import difference_sentence
from energy.words.first import cards
from energy.words.verdict import mpg, verdict


@pytest.mark.parametrize("demo", ["van_water_tank", "parked_on_a_ridge", "pickup_drying_box"])
def test_answer_heat_and_match_state_one_heat(demos: Path, demo: str) -> None:
    scenario = load(demos / demo / "scenario.toml")
    told, warmed, matched = answered(scenario), heating(scenario), match(scenario)
    assert told.spread is not None
    # By hand from the draws that the answer itself made.
    heat_w = float(np.median(told.spread.outcome.heat_w))
    change_w = float(np.median(told.spread.outcome.change_w))
    assert warmed.heat_w.estimate == pytest.approx(heat_w, rel=1e-12)
    assert matched.own.outcome.heat_w.estimate == pytest.approx(heat_w, rel=1e-12)
    assert matched.own.outcome.change_w.estimate == pytest.approx(change_w, rel=1e-12, abs=1e-9)
    assert matched.own.outcome.heat_w == told.outcome.heat_w
    # The stated values give another figure: the check can tell them apart.
    assert float(told.answer.turbine.heat_power_w) != pytest.approx(heat_w, rel=5e-3)
    said = re.search(
        r"Heat into [a-z ]+: ([0-9.]+ k?W)",
        verdict(told, "metric").sentence
        + " ".join([line for card in cards(told, "metric")[1:] for line in (f"{card.name}: {card.value}",)]),
    )
    assert said is not None
    assert f": {said[1]} (90 % range" in heat_words.first_lines(warmed, "metric").sentence
    rows = dict(match_words.rows_of((matched.own, matched.best), "metric"))
    assert rows["heat"][0] == said[1]
    assert ("Do not operate" in match_words.first_lines(matched, "metric").sentence) or (
        f"Today's setting gives {said[1]} (90 % range" in match_words.first_lines(matched, "metric").sentence
    )


def test_another_setting_keeps_what_is_uncertain_about_the_own(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    wide = load(path, ['rotor.pitch={ value = "4 deg", plus_minus = "3 deg" }'])
    exact = load(path, ["rotor.pitch=6 deg"])
    moved = steady_outcome(wide, {"rotor.pitch": 6.0})
    direct = steady_outcome(load(path, ['rotor.pitch={ value = "6 deg", plus_minus = "3 deg" }']))
    assert moved.heat_w.estimate == pytest.approx(direct.heat_w.estimate, rel=1e-9)
    assert moved.heat_w.ends == pytest.approx(direct.heat_w.ends, rel=1e-9)
    narrow = steady_outcome(exact).heat_w.ends
    assert moved.heat_w.ends[0] < narrow[0]
    stated = float(match(exact, held=("rotor.pitch",)).own.answer.turbine.heat_power_w)
    assert steady_outcome(wide, {"rotor.pitch": 6.0}, exact=True).heat_w.estimate == pytest.approx(stated)


def test_a_best_setting_is_drawn_anew(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml")
    best = match(scenario).best
    again = over_draws(scenario, best)
    assert again.outcome == best.outcome
    assert best.outcome.heat_w.ends[0] < best.outcome.heat_w.estimate < best.outcome.heat_w.ends[1]


def test_miles_per_gallon_and_differences_come_from_the_medians(demos: Path) -> None:
    told = answered(load(demos / "pickup_drying_box" / "scenario.toml"))
    assert told.spread is not None
    change_w = float(np.median(told.spread.outcome.change_w))
    base_w, fuel = float(told.answer.without.supply.source_w), told.answer.inputs.fuel
    assert fuel is not None
    speed = float(told.answer.inputs.road_speed_m_s)

    def by_hand(source_w: float) -> float:
        return 3.785411784e-3 / 1609.344 / (source_w / fuel.heating_value_j_per_m3 / speed)

    shown = re.search(r"from ([0-9.]+) (?:down|up) to ([0-9.]+) mpg", verdict(told, "us").headline)
    assert shown is not None
    assert (float(shown[1]), float(shown[2])) == pytest.approx((by_hand(base_w), by_hand(base_w + change_w)), abs=0.051)
    stated = mpg(told.answer, "us")
    assert stated is not None
    assert stated[1] != pytest.approx(by_hand(base_w + change_w), rel=1e-3)
    other = answered(load(demos / "pickup_drying_box" / "scenario.toml", ["trip.road_speed=55 mph"]))
    assert other.spread is not None
    more_w = float(np.median(other.spread.outcome.heat_w) - np.median(told.spread.outcome.heat_w))
    assert f"{more_w / 1e3:.2f} kW more heat" in difference_sentence(told, other, "metric")


def test_payback_states_the_same_heat_of_a_parked_turbine(demos: Path) -> None:
    scenario = load(demos / "parked_on_a_ridge" / "scenario.toml")
    told = answered(scenario)
    assert payback(scenario, exact_maps=True).heat_w == told.outcome.heat_w


def test_what_an_element_is_offered_above_its_rating_is_named_in_heat(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml", ["heater.rated_power=1 kW"])
    first = heat_words.first_lines(heating(scenario, draws=16), "metric")
    told = verdict(answered(scenario), "metric")
    offered = next(line for line in told.lines if line.startswith("Heat into the tank: ")).partition(",")[0]
    line = next(line for line in first.lines if line.startswith("Heat into the tank: "))
    assert line.startswith(f"{offered} (90 % range")
    assert line.endswith("; the time counts no more than the element's rating, 1.00 kW")
    assert first.dangers[0] == told.dangers[0]
    assert first.operate == told.operate == "no"
