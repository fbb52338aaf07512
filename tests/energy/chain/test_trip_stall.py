"""A rotor that works stalled on a part of a trip: said before the headline; shares checked against steady answers."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from energy.chain.answer import answered
from energy.chain.heating import heating, read_trip
from energy.chain.load import load
from energy.chain.trip_stall import trip_stall_risk
from energy.words import heat as heat_words
from energy.words.answer import as_data
from energy.words.verdict import verdict

SLOW, FAST = 41.0, 72.0  # km/h


@pytest.fixture
def two_speeds(demos: Path, tmp_path: Path) -> Path:
    """Return a scenario that is driven slowly for two minutes and faster for one, with a second in between."""
    shutil.copytree(demos / "van_in_town", tmp_path / "van")
    rows = [(0, SLOW), (120, SLOW), (121, FAST), (181, FAST)]
    text = "time_s,speed_km_h\n" + "".join(f"{t},{v}\n" for t, v in rows)
    (tmp_path / "van" / "urban.csv").write_text(text, encoding="utf-8")
    return tmp_path / "van" / "scenario.toml"


def _is_stalled_at(demos: Path, speed: float) -> bool:
    steady = load(demos / "van_water_tank" / "scenario.toml", [f"trip.road_speed={speed} km/h"])
    stall = answered(steady, exact=True).stall
    assert stall is not None
    return stall.at_stated_values


def test_the_share_by_hand_from_steady_answers(demos: Path, two_speeds: Path) -> None:
    assert _is_stalled_at(demos, SLOW)
    assert not _is_stalled_at(demos, FAST)
    risk = trip_stall_risk(load(two_speeds), exact=True)
    assert risk is not None
    # The energy of air goes with the cube of its speed; the second in between counts on both sides.
    slow, fast = SLOW**3 * 120, FAST**3 * 60
    between = (0.5 * (SLOW + FAST)) ** 3
    assert slow / (slow + fast + between) <= risk.energy_share.estimate <= (slow + between) / (slow + fast + between)
    assert risk.matters
    stated = answered(load(two_speeds), exact=True)
    assert risk.heat_w.estimate == pytest.approx(float(stated.answer.turbine.heat_power_w), rel=0.02)


def test_a_load_connected_later_is_recommended_only_where_it_helps(demos: Path, two_speeds: Path) -> None:
    # Where a steady drive at the slow speed has a second, faster steady speed, a later load gives its heat.
    later = 'generator.load_connected="after_spin_up"'
    for overrides in ([], ["heater.resistance=13 ohm"], ["heater.resistance=16 ohm"]):
        risk = trip_stall_risk(load(two_speeds, overrides), exact=True)
        started = trip_stall_risk(load(two_speeds, [*overrides, later]), exact=True)
        assert risk is not None
        assert started is not None
        assert risk.unloaded_heat_w.estimate == pytest.approx(started.heat_w.estimate, rel=1e-9)
        assert risk.starting_unloaded_helps == (started.heat_w.estimate > 1.05 * risk.heat_w.estimate)


def test_answer_and_heat_say_it_before_the_headline(two_speeds: Path) -> None:
    scenario = load(two_speeds)
    told = answered(scenario)
    assert told.trip_stall is not None
    said = verdict(told, "metric").warnings
    percent = f"{100 * told.trip_stall.energy_share.estimate:.0f} % of the air's energy"
    assert said[0].startswith(f"Stalled for part of the trip: {percent} (90 % range ")
    assert as_data(told)["trip_stall"]["energy_share"]["estimate"] == told.trip_stall.energy_share.estimate
    warmed = heating(scenario, read_trip(two_speeds.parent / "urban.csv"), draws=16)
    assert heat_words.first_lines(warmed, "metric").warnings[0].startswith("Stalled for part of the trip")


def test_all_of_it_and_none_of_it(demos: Path, two_speeds: Path) -> None:
    always = trip_stall_risk(load(two_speeds, ["heater.resistance=1.5 ohm"]))
    assert always is not None
    assert always.energy_share.estimate == pytest.approx(1.0)
    assert always.mostly_stalled == 1.0
    never = answered(load(two_speeds, ["heater.resistance=19 ohm", "drive.ratio=1.9"]))
    assert never.trip_stall is not None
    assert not never.trip_stall.matters
    assert verdict(never, "metric").warnings == ()
    # Stowed while it drives: nothing stalls.
    stowed = trip_stall_risk(load(two_speeds, ["trip.works=only_parked"]), exact=True)
    assert stowed is not None
    assert stowed.energy_share.estimate == 0.0
    assert trip_stall_risk(load(demos / "van_water_tank" / "scenario.toml"), exact=True) is None
