"""The demos are safe to copy: each stays within its limits and the loads of its parts, and says that it is invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from energy.chain.answer import answered
from energy.chain.limits import broken_limits
from energy.chain.load import load
from energy.strength.table import structural_loads
from energy.words.loads import headline, over_limit
from vehicle.logs.read import read_log

DEMOS = ("van_water_tank", "pickup_drying_box", "parked_on_a_ridge", "camper_oven", "van_in_town")


@pytest.mark.parametrize("name", DEMOS)
def test_every_demo_stays_within_its_limits_and_the_loads_of_its_parts(demos: Path, name: str) -> None:
    scenario = load(demos / name / "scenario.toml")
    assert broken_limits(answered(scenario, exact=True)) == ()
    table = structural_loads(scenario)
    assert [row.name for row in over_limit(table)] == []
    assert not headline(table).startswith("Do not operate")


@pytest.mark.parametrize("name", DEMOS)
def test_every_demo_says_that_it_is_invented(demos: Path, name: str) -> None:
    assert load(demos / name / "scenario.toml").title.startswith("Invented demo: ")


def test_what_is_published_says_so(demos: Path) -> None:
    for name in ("wind_tunnel_rotor", "van_in_town"):
        assert "US Government work" in (demos / name / "SOURCE.md").read_text(encoding="utf-8")


def test_every_log_of_a_demo_says_that_it_is_invented(demos: Path) -> None:
    own = [
        p for p in demos.rglob("*.csv") if p.parent.name in ("road_test", "van_water_tank") and p.name != "urban.csv"
    ]
    for path in own:
        head = [line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("#")]
        assert any("invented" in line.lower() for line in head), path.name
    run = next(p for p in own if p.parent.name == "road_test")
    assert any("Invented" in note for note in read_log(run).notes)
