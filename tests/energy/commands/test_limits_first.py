"""What was read, or is advised, and breaks a limit: the first lines say so, JSON too, and the exit status is 3."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests_support import computed_once, run

RESULTS = """
[[result]]
what = "wattmeter, both directions"
road_speed = "80 km/h"
electrical_power = { value = "1.05 kW", plus_minus = "40 W" }
rotor_speed = { value = "690 rpm", plus_minus = "20 rpm" }
"""
WIDE = ("rotor.highest_rotor_speed=1500 rpm", "rotor.highest_tip_speed=140 m/s", "rotor.highest_thrust=2500 N")


@pytest.fixture
def questions(demos: Path, tmp_path: Path) -> dict[str, tuple[str, ...]]:
    van = demos / "van_water_tank"
    scenario = str(van / "scenario.toml")
    results = tmp_path / "results.toml"
    results.write_text(RESULTS, encoding="utf-8")
    return {
        "truepitch": ("truepitch", scenario, str(van / "measured.csv")),
        "reconcile": ("reconcile", scenario, str(results)),
        "compare": ("compare", str(demos / "road_test" / "runs.toml"), "--scenario", scenario),
    }


# The command, limits just over what is read (or predicted), and each of them just under it with what the sentence then
# begins with. The limits of `WIDE` are over it too.
CASES = [
    (
        "truepitch",
        ("rotor.highest_rotor_speed=965 rpm",),
        [
            ("rotor.highest_rotor_speed=960 rpm", "As measured: Rotor speed 962 rpm"),
            ("rotor.highest_thrust=150 N", "At this pitch, in the fastest air of these rows: Thrust"),
        ],
    ),
    (
        "reconcile",
        (),
        [
            ("rotor.highest_rotor_speed=680 rpm", "As read: Rotor speed 690 rpm"),
            ("rotor.highest_thrust=150 N", "With the readings, at the scenario's own conditions: Thrust"),
        ],
    ),
    ("compare", (), [("rotor.highest_thrust=150 N", "By the scenario: Thrust")]),
]


@pytest.fixture(scope="module", autouse=True)
def _one_reading_of_the_road_test() -> Iterator[None]:
    from vehicle.road_test.read import windows_of_runs

    with computed_once(windows_of_runs):
        yield


@pytest.mark.parametrize(("question", "over", "broken_by"), CASES, ids=[case[0] for case in CASES])
def test_a_broken_limit_comes_first(
    questions: dict[str, tuple[str, ...]], question: str, over: tuple[str, ...], broken_by: list[tuple[str, str]]
) -> None:
    kept = run(*questions[question], *_set(*WIDE, *over), "--json")
    assert kept.returncode == 0, kept.stderr
    data = json.loads(kept.stdout)
    assert (data["safe"], data["dangers"], data["may_be_operated"]) == (None, [], "not checked")
    for under, said in broken_by:
        broken = run(*questions[question], *_set(*WIDE, under), "--json")
        assert broken.returncode == 3
        data = json.loads(broken.stdout)
        assert (data["safe"], data["may_be_operated"]) == (False, "no")
        assert data["dangers"][0].startswith(f"Do not operate. {said}")
        assert "What to change" in data["dangers"][-1]


def _set(*values: str) -> list[str]:
    return [word for value in values for word in ("--set", value)]


@pytest.mark.parametrize("question", ["truepitch", "reconcile", "compare"])
def test_the_text_says_it_before_the_answer(questions: dict[str, tuple[str, ...]], question: str) -> None:
    done = run(
        *questions[question], "--set", "rotor.highest_thrust=150 N", "--set", "rotor.highest_rotor_speed=680 rpm"
    )
    assert done.returncode == 3
    lines = done.stdout.splitlines()
    assert any(line.startswith("Do not operate. ") for line in lines[:2])  # under the scenario's title
    assert "May it be operated like this? No. Once changed, run windtoll loads first" in lines[:6]


def test_a_typed_effect_does_not_hide_the_scenarios_limits(questions: dict[str, tuple[str, ...]]) -> None:
    done = run(*questions["compare"], "--effect", "4 %", "--set", "rotor.highest_thrust=150 N")
    assert done.returncode == 3
    assert done.stdout.startswith("Do not operate. By the scenario: Thrust")


def test_without_a_scenario_nothing_is_said_of_limits(demos: Path) -> None:
    done = run("compare", str(demos / "road_test" / "runs.toml"))
    assert done.returncode == 0
    assert "May it be operated like this? Not checked yet" in done.stdout
