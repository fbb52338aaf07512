"""A rotor behind a blunt vehicle: the air there reaches near zero, and the verdict says when that decides."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from energy.chain.answer import answered
from energy.chain.begin import PLACES, Beginning, begin
from energy.chain.ledger import turbine_at_work
from energy.chain.load import load, opened
from energy.chain.matching import thriftiest
from energy.chain.place import place_risk
from energy.scenario.inputs import inputs_of
from energy.words.verdict import verdict

VAN = Path("van_water_tank") / "scenario.toml"


def test_begin_behind_reaches_near_zero_and_says_where_clean_air_is() -> None:
    bundle = begin(Beginning(place="behind"), thriftiest)
    scenario = opened(bundle)
    known = scenario.rotor.local_speed_factor
    assert known.low == pytest.approx(0.05)
    assert known.high >= 0.8
    assert "clean air is 0.5 m above the roof or out from the side (common practice, no source)" in bundle.text
    told = verdict(answered(scenario), "metric")
    assert any(line.startswith("The air where the rotor sits decides: no heat at 0.05") for line in told.lines)
    assert any("0.5 m above the roof" in line and "SAE 2011-01-0178" in line for line in told.lines)
    others = [place.local_speed_factor[0] for name, place in PLACES.items() if name != "behind"]
    assert min(others) > PLACES["behind"].local_speed_factor[0]


def test_the_ends_are_those_of_single_answers(demos: Path) -> None:
    scenario = load(demos / VAN, ["rotor.local_speed_factor={ value = 0.6, low = 0.2, high = 0.8 }"])
    risk = place_risk(scenario)
    assert risk is not None
    for factor, heat in ((0.2, risk.slow_heat_w), (0.8, risk.fast_heat_w)):
        alone = turbine_at_work(inputs_of(scenario, {"rotor.local_speed_factor": np.array(factor)}))
        assert heat == pytest.approx(float(alone.heat_power_w), rel=1e-12)
    us = " ".join(verdict(answered(scenario, exact=True), "us").lines)
    assert "2 ft above the roof" in us or "1.6 ft above the roof" in us


@pytest.mark.parametrize(
    "settings",
    [
        ["rotor.local_speed_factor={ value = 0.6, low = 0.5, high = 0.8 }"],  # no dead air
        ["rotor.local_speed_factor=0.3"],  # known: nothing to decide
        ["rotor.local_speed_factor={ value = 0.6, low = 0.2, high = 0.8 }", "trip.road_speed=0 km/h"],  # no wake
    ],
)
def test_it_is_silent_where_the_place_does_not_decide(demos: Path, settings: list[str]) -> None:
    assert place_risk(load(demos / VAN, settings)) is None


def test_over_a_trip_the_place_decides_as_well(demos: Path) -> None:
    """The ends are the heats of two trips, each with the rotor in that air."""
    town = demos / "van_in_town" / "scenario.toml"
    wide = "rotor.local_speed_factor={ value = 0.5, low = 0.05, high = 0.85 }"
    told = answered(load(town, [wide]), exact=True)
    assert told.place is not None
    fast = answered(load(town, ["rotor.local_speed_factor=0.85"]), exact=True)
    assert told.place.fast_heat_w == pytest.approx(float(fast.answer.turbine.heat_power_w), rel=1e-9)
    assert told.place.slow_heat_w < 0.1
    energy = float(fast.answer.turbine.heat_power_w) * fast.over_s / 3.6e6
    lines = verdict(told, "metric").lines
    assert any(
        line.startswith("The air where the rotor sits decides: no heat at 0.05") and f"{energy:.2g} kWh at 0.85" in line
        for line in lines
    )
    assert any("above the roof" in line for line in lines)
    assert place_risk(load(town)) is None
    assert place_risk(load(town, [wide, "trip.works=only_parked"])) is None  # no wake where it stands


def test_draws_that_do_not_start_are_among_the_slow_ones(demos: Path) -> None:
    scenario = load(demos / VAN, ["rotor.local_speed_factor={ value = 0.6, low = 0.15, high = 0.8 }"])
    told = answered(scenario)
    assert told.stall is not None
    assert told.stall.share > 0.05
    assert told.stall.running_heat_w is not None
    assert told.stall.stalled_heat_w is not None
    assert told.stall.running_heat_w.ends[0] > told.stall.stalled_heat_w.ends[1] / 2
    assert told.stall.running_heat_w.ends[0] > 20  # no rotor that stands is called running
