"""A pitch far from its best is named where it costs clearly much heat, by answers at every pitch one by one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from energy.chain.answer import Answered, answered
from energy.chain.ledger import answer
from energy.chain.limits import broken_limits
from energy.chain.load import load
from energy.chain.matching import better_pitch
from energy.chain.settings import look_of
from energy.scenario.inputs import inputs_of
from energy.words.answer import as_data
from energy.words.verdict import number, verdict


def _at(demos: Path, demo: str, *overrides: str) -> Answered:
    return answered(load(demos / demo / "scenario.toml", overrides), exact=True)


@pytest.mark.parametrize(
    ("demo", "limits"),
    [("van_water_tank", ()), ("van_water_tank", ("rotor.highest_rotor_speed=760 rpm",)), ("pickup_drying_box", ())],
)
def test_the_pitch_of_most_heat_is_the_best_of_all(demos: Path, demo: str, limits: tuple[str, ...]) -> None:
    off = "16 deg" if demo == "van_water_tank" else "11 deg"
    told = _at(demos, demo, f"rotor.pitch={off}", *limits)
    curves = told.scenario.curves
    assert curves is not None
    pitches = told.scenario.pitch_convention.setting_deg(np.linspace(curves.pitch_deg[0], curves.pitch_deg[-1], 41))
    heats = {}
    for pitch in pitches:
        there = answered(load(demos / demo / "scenario.toml", [f"rotor.pitch={pitch} deg", *limits]), exact=True)
        if not broken_limits(there) and there.stall is not None and not there.stall.stands:
            heats[float(pitch)] = number(there.answer.turbine.heat_power_w)
    best = max(heats, key=lambda pitch: heats[pitch])
    assert told.better_pitch is not None
    assert told.better_pitch.pitch_deg == pytest.approx(best)
    assert number(told.better_pitch.answer.turbine.heat_power_w) == pytest.approx(heats[best])
    assert heats[best] > 1.5 * number(told.answer.turbine.heat_power_w)
    (line,) = (line for line in verdict(told, "metric").lines if line.startswith("Pitch far from its best: "))
    assert f": {best:.1f}° would give {heats[best] / 1e3:.1f} kW instead of " in line
    there = answer(inputs_of(told.scenario, {"rotor.pitch": np.asarray(best)}))
    assert f"and cost +{number(there.change.volume_m3_s) * 3.6e6:.1f} L/h in all" in line
    data = as_data(told)["better_pitch"]
    assert (data["pitch_deg"], data["heat_power_w"]) == (pytest.approx(best), pytest.approx(heats[best]))


def test_parked_the_better_pitch_costs_nothing(demos: Path) -> None:
    told = _at(demos, "parked_on_a_ridge", "rotor.pitch=14 deg")
    (line,) = (line for line in verdict(told, "metric").lines if line.startswith("Pitch far from its best: "))
    assert "cost" not in line


@pytest.mark.parametrize(
    ("demo", "overrides"),
    [
        ("van_water_tank", ()),
        ("van_water_tank", ("rotor.pitch=10 deg",)),  # 27 % less than the best
        ("van_water_tank", ("rotor.pitch=16 deg", "rotor.highest_thrust=60 N")),  # no pitch keeps the limit
        ("camper_oven", ("rotor.pitch=0 deg",)),  # stalled: that goes first, with its own remedy
        ("van_in_town", ("rotor.pitch=16 deg",)),  # a trip
    ],
)
def test_no_pitch_is_named_where_it_is_good_or_something_else_goes_first(
    demos: Path, demo: str, overrides: tuple[str, ...]
) -> None:
    told = _at(demos, demo, *overrides)
    assert told.better_pitch is None
    assert not any("Pitch far" in line for line in verdict(told, "metric").lines)
    assert as_data(told)["better_pitch"] is None


def test_half_as_much_more_is_worth_it(demos: Path) -> None:
    # What the setting of least fuel per heat may give up, three tenths, is not called far from the best.
    scenario = load(demos / "van_water_tank" / "scenario.toml", ["rotor.pitch=16 deg"])
    found = better_pitch(scenario, 0.0)
    assert found is not None
    most = number(found.answer.turbine.heat_power_w)
    assert better_pitch(scenario, most / 1.499) is None
    assert better_pitch(scenario, most / 1.501) is not None


def test_some_watts_are_no_reason_to_turn_blades(demos: Path) -> None:
    slow = load(demos / "van_water_tank" / "scenario.toml", ["trip.road_speed=42 km/h"])
    assert 2 < np.nanmax(look_of(slow)(np.array([[pitch, 2.5, 9.0] for pitch in range(18)])).heat_w) < 20
    assert better_pitch(slow, 1.0) is None
