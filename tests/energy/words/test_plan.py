"""The plan of a road test, in words, data and picture: one function for command and screen."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests_support import run

from energy.chain.road_plan import PlanAsked, RoadPlan, road_plan, typed_length, typed_spread
from energy.pictures.road import plan_picture
from energy.words import plan as plan_words
from vehicle.problems import InputError
from vehicle.road_test.planning import HEAVIER, chance_on_the_road, pairs_needed


def _plan(effect: tuple[float, float] | None = (0.04, 0.01), **options: object) -> RoadPlan:
    return road_plan(effect, typed_spread("4 %"), PlanAsked(seed=1, **options))  # type: ignore[arg-type]


def test_the_wanted_power_plans_the_pairs() -> None:
    assert _plan().pairs_planned == pairs_needed(0.04, 0.04 * HEAVIER, 0.8) == 14
    assert _plan(power=0.95).needed[0.95] == pairs_needed(0.04, 0.04 * HEAVIER, 0.95)
    assert _plan(pairs=5).pairs_planned == 6
    assert "6 pairs are planned, not 5" in " ".join(plan_words.notes(_plan(pairs=5)))
    words = plan_words.plan_sentence(_plan())
    chance = f"{100 * chance_on_the_road(0.04, 0.04, 14):.0f} % (judged by the 95 % interval)"
    assert words == (
        "14 pairs (28 runs) are enough to show the predicted +4.0 % of the fuel, working compared with stowed, with a "
        f"chance of {chance}."
    )
    assert "if the effect is only +3.0 %" in " ".join(plan_words.notes(_plan()))
    assert "too small to show" in " ".join(plan_words.notes(_plan((-0.04, 0.05))))
    assert "too many to drive" in plan_words.plan_sentence(_plan((0.005, 0.0)))
    assert "are enough to show an effect of" in plan_words.plan_sentence(_plan(None, pairs=6))


def test_way_and_time_of_all_runs() -> None:
    plan = _plan(run_length_m=15e3, speed_m_s=25.0)
    assert plan.distance_m == pytest.approx(28 * 15e3)
    assert plan.driving_s == pytest.approx(28 * 15e3 / 25)
    assert "420 km (261 mi) in all, 4.7 h" in plan_words.effort_words(plan)
    for bad in ("15", "1 m", "fast"):
        with pytest.raises(InputError, match="15 km"):
            typed_length(bad, "--length")


def test_the_picture_shows_the_plans_own_chances() -> None:
    plan = _plan()
    picture = plan_picture(plan)
    assert picture.title == plan_words.plan_sentence(plan)
    at = picture.table[picture.table["pairs"] == 14].iloc[0]
    assert at["chance to show it, %"] == pytest.approx(100 * chance_on_the_road(0.04, 0.04, 14))
    assert np.all(np.diff(picture.table["chance to show it, %"]) > -1e-9)
    assert picture.svg().startswith(b"<svg")
    without = plan_picture(_plan(None, pairs=6))
    assert without.table.set_index("pairs").loc[6, "smallest effect, %"] == pytest.approx(
        100 * road_plan(None, typed_spread("4 %"), PlanAsked(pairs=6)).smallest[6]
    )


def test_the_command_says_it(demos: Path) -> None:
    done = run(
        "plan",
        str(demos / "van_water_tank" / "scenario.toml"),
        "--json",
        "--chance",
        "90",
        "--length",
        "10 mi",
        "--seed",
        "3",
    )
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["pairs_planned"] >= data["pairs_needed"] == data["pairs_for_90_percent_power"]
    assert data["distance_km"] == pytest.approx(2 * data["pairs_planned"] * 16.09344)
    assert data["driving_h"] == pytest.approx(data["distance_km"] / 100)
    assert f"{data['pairs_planned']} pairs" in data["sentence"]


def test_a_plan_to_drive_over_a_limit_says_so_first(demos: Path) -> None:
    scenario = str(demos / "van_water_tank" / "scenario.toml")
    over = run("plan", scenario, "--set", "rotor.highest_thrust=200 N")
    assert over.returncode == 3, over.stderr
    assert over.stdout.startswith("Do not operate. Thrust ")
    data = json.loads(run("plan", scenario, "--set", "rotor.highest_thrust=200 N", "--json").stdout)
    assert data["safe"] is False
    assert data["dangers"][0].startswith("Do not operate. Thrust ")
    kept = run("plan", scenario)
    assert kept.returncode == 0
    assert "May it be operated like this? Not checked yet" in kept.stdout


def test_a_chance_below_the_wanted_is_not_called_enough() -> None:
    few = plan_words.plan_sentence(_plan(pairs=4))
    assert "with a chance of only" in few
    assert "enough" not in few


def test_both_orders_alike_are_said_once() -> None:
    words = plan_words.changes_words(_plan((0.2, 0.01), pairs=8))
    assert words.endswith("The chance is nearly 100 % either way.")
