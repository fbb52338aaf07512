"""What a road test is predicted to show: the answer's own numbers as shares of the fuel without the turbine."""

from __future__ import annotations

from pathlib import Path

import pytest

from energy.chain.answer import answered
from energy.chain.load import load
from energy.chain.prediction import scenario_prediction


def test_change_and_half_width_are_those_of_the_answer(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    result = answered(load(path, ["trip.compared_with=absent"]))
    burnt = float(result.answer.states["absent"].supply.source_w)
    low, high = result.outcome.change_w.ends
    found = scenario_prediction(path, (), "working", "absent")
    assert found.share == pytest.approx(float(result.answer.change.power_w) / burnt)
    assert 0 < found.error < found.share
    assert found.error == pytest.approx(0.5 * (high - low) / burnt)
    assert scenario_prediction(path, (), "stowed", "absent").error == 0.0
