"""Limits, stall, place, and what an answer is made of: every share and threshold, from both sides."""

from __future__ import annotations

import dataclasses
import math
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from ledger_by_hand import at_work, number

from energy.chain import impossible, outcome, place, stall, stalled, trip_stall
from energy.chain.answer import Answered, answered, broken_as_stated
from energy.chain.draws import spread_of, steady_chain
from energy.chain.ledger import answer, turbine_at_work
from energy.chain.limits import (
    OperatingLimit,
    broken_limits,
    heating_limits,
    in_order,
    keeps_limits,
    limits_of,
    measured_limits,
    operating_limits,
    stated_limits,
)
from energy.chain.load import load, widened
from energy.chain.outcome import Outcome, outcome_of, steady_outcome, trip_outcome
from energy.chain.rotor_at import rotor_at
from energy.chain.stall import StallRisk, stall_risk
from energy.chain.trip import answer_trip, stalled_over_trip
from energy.chain.trip_stall import TripStallRisk
from energy.scenario.inputs import correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario, load_rotor
from energy.uncertainty.draws import draws_of, sobol_sample
from vehicle.problems import InputError
from vehicle.quantity import Estimate, Uncertain

VAN = Path("van_water_tank") / "scenario.toml"

# Limits


def test_every_limit_with_its_value(van: Scenario) -> None:
    inputs = inputs_of(van)
    turbine = at_work(inputs)
    expected = {
        "rotor.highest_rotor_speed": ("Rotor speed", "rotor_speed", turbine["rotor_speed_rad_s"], 900 * math.pi / 30),
        "rotor.highest_tip_speed": ("Blade tip speed", "tip_speed", turbine["rotor_speed_rad_s"] * 0.9, 80.0),
        "rotor.highest_thrust": ("Thrust", "force", turbine["thrust_n"], 2500.0),
        "generator.highest_current": ("Current", "current", turbine["electrical.current_a"], 16.0),
        "heater.rated_power": ("Power into the element", "power", turbine["heat_power_w"], 3000.0),
    }
    for found in (operating_limits(inputs, turbine_at_work(inputs)), limits_of(answered(van, exact=True))):
        assert [one.key for one in found] == list(expected)
        for one in found:
            name, kind, value, limit = expected[one.key]
            assert (one.name, one.kind) == (name, kind)
            assert (one.value, one.limit) == (pytest.approx(value), pytest.approx(limit))
            assert one.share == pytest.approx(value / limit)
            assert one.in_a_sentence == name[0].lower() + name[1:]
            assert not one.broken
    many = stated_limits(inputs, turbine_at_work(inputs))
    assert [float(one.share) for one in many] == pytest.approx([v / limit for _, _, v, limit in expected.values()])


@pytest.mark.parametrize(
    ("value", "limit", "broken"),
    [(1.0, 1.0, False), (1 + 0.9e-9, 1.0, False), (1 + 2e-9, 1.0, True), (math.nan, 1.0, False), (0.0, 0.0, True)],
)
def test_a_limit_is_broken_above_it_by_more_than_rounding(value: float, limit: float, broken: bool) -> None:
    one = OperatingLimit("Thrust", "rotor.highest_thrust", "force", value, limit)
    assert one.broken == broken


def test_the_most_exceeded_comes_first_and_none_that_is_kept() -> None:
    made = [OperatingLimit(str(k), "rotor.highest_thrust", "force", v, 1.0) for k, v in enumerate((1.2, 0.9, 3.0, 1.5))]
    assert [one.name for one in in_order(made)] == ["2", "3", "0"]


@pytest.mark.parametrize(
    ("settings", "key"),
    [
        (["rotor.highest_rotor_speed=800 rpm"], "rotor.highest_rotor_speed"),
        (["rotor.highest_tip_speed=76 m/s"], "rotor.highest_tip_speed"),
        (["rotor.highest_thrust=300 N"], "rotor.highest_thrust"),
        (["generator.highest_current=11 A"], "generator.highest_current"),
        (["heater.rated_power=1.2 kW"], "heater.rated_power"),
    ],
)
def test_a_broken_limit_stops_the_working_turbine(demos: Path, settings: list[str], key: str) -> None:
    scenario = load(demos / VAN, settings)
    inputs = inputs_of(scenario)
    assert not keeps_limits(inputs, turbine_at_work(inputs))
    assert [one.key for one in broken_as_stated(scenario)] == [key]
    assert [one.key for one in broken_limits(answered(scenario, exact=True))] == [key]
    measured = measured_limits(inputs, rotor_speed_rad_s=85.0, thrust_n=301.0, element_power_w=1201.0, current_a=11.1)
    assert key in [one.key for one in measured]


def test_highest_readings_against_the_limits(van: Scenario) -> None:
    inputs = inputs_of(van)
    assert measured_limits(inputs) == ()
    found = measured_limits(inputs, rotor_speed_rad_s=100.0, thrust_n=5000.0, element_power_w=2999.0, current_a=17.6)
    assert [one.key for one in found] == [
        "rotor.highest_thrust",
        "rotor.highest_tip_speed",
        "generator.highest_current",
        "rotor.highest_rotor_speed",
    ]
    assert [one.share for one in found] == pytest.approx([2.0, 90 / 80, 1.1, 100 / (900 * math.pi / 30)])


def test_the_highest_power_of_a_log_counts(van: Scenario) -> None:
    inputs = inputs_of(van)

    def limits(hardest: Any, power: Any) -> dict[str, float]:
        trip = None if power is None else SimpleNamespace(power_w=np.array(power))
        result = SimpleNamespace(answer=SimpleNamespace(inputs=inputs), hardest=hardest, trip=trip)
        return {one.key: one.value for one in heating_limits(result)}  # type: ignore[arg-type]

    assert limits(None, None) == {}
    assert limits(None, [100.0, 3300.0, 20.0]) == {"heater.rated_power": 3300.0}
    turbine = turbine_at_work(inputs)
    assert len(limits(turbine, None)) == 5
    both = limits(turbine, [100.0, 3300.0])
    assert len(both) == 5
    assert both["heater.rated_power"] == 3300.0
    assert both["rotor.highest_thrust"] == pytest.approx(number(turbine.thrust_n))


# What cannot be


def test_tips_faster_than_sound_and_no_number_are_refused(van: Scenario) -> None:
    """340.3 m/s at 15 °C (US Standard Atmosphere 1976)."""
    found = answer(inputs_of(van))

    def refused(tip_m_s: float = 50.0, change: float = 1.0) -> None:
        change_of = dataclasses.replace(found.change, power_w=np.array(change))
        turbine = dataclasses.replace(found.turbine, rotor_speed_rad_s=np.array(tip_m_s / 0.9))
        impossible.refuse_impossible(van, dataclasses.replace(found, change=change_of), turbine)

    refused(tip_m_s=340.0)
    with pytest.raises(InputError, match="faster than sound"):
        refused(tip_m_s=340.6)
    for wrong in (math.nan, math.inf, -math.inf):
        with pytest.raises(InputError, match="no finite number"):
            refused(change=wrong)


# Outcomes


def test_an_outcome_of_quantiles() -> None:
    """At 5, 25, 50, 75 and 95 %: the median, the outer ones for 90 %, the inner ones for the middle half."""
    found = outcome_of((1.0, 2.0, 3.0, 5.0, 9.0), (10.0, 20.0, 30.0, 50.0, 90.0))
    assert found == Outcome(
        Estimate(3.0, 1.0, 9.0, 0.9),
        Estimate(30.0, 10.0, 90.0, 0.9),
        Estimate(3.0, 2.0, 5.0, 0.5),
        Estimate(30.0, 20.0, 50.0, 0.5),
    )
    alone = outcome_of((4.0,), (7.0,))
    assert alone.change_w == Estimate(4.0, 4.0, 4.0, 0.9)
    assert alone.half_heat_w == Estimate(7.0, 7.0, 7.0, 0.5)


def test_draws_about_a_value_go_with_it_to_another() -> None:
    drawn = np.array([9.0, 10.0, 12.0])
    assert outcome._moved("rotor.pitch", drawn, 10.0, 4.0).tolist() == [3.0, 4.0, 6.0]
    assert outcome._moved("drive.ratio", drawn, 10.0, 5.0).tolist() == [4.5, 5.0, 6.0]
    assert outcome._moved("drive.ratio", drawn - 10, 0.0, 5.0).tolist() == [4.0, 5.0, 7.0]


def test_a_setting_of_its_own_has_draws_of_its_own(demos: Path) -> None:
    """The pitch is uncertain by a degree: at another setting still by a degree, the ratio in proportion."""
    path = demos / VAN
    own = ['rotor.pitch={ value = "4 deg", plus_minus = "1 deg" }', "drive.ratio={ value = 2.5, plus_minus = 0.2 }"]
    scenario = load(path, own)
    seen: list[dict[str, np.ndarray]] = []

    def chain(draws: dict[str, np.ndarray], progress: Any = None) -> None:
        seen.append(draws)

    at = outcome._at_setting(scenario, {"rotor.pitch": 7.0, "drive.ratio": 5.0, "heater.resistance": 11.0}, chain)  # type: ignore[arg-type]
    at({"rotor.pitch": np.array([3.5, 4.5]), "drive.ratio": np.array([2.0, 3.0]), "vehicle.mass": np.array([1.0, 2.0])})
    (moved,) = seen
    assert moved["rotor.pitch"] == pytest.approx([6.5, 7.5])
    assert moved["drive.ratio"] == pytest.approx([4.0, 6.0])
    assert moved["heater.resistance"].tolist() == [11.0, 11.0]
    assert moved["vehicle.mass"].tolist() == [1.0, 2.0]


def test_a_steady_outcome_is_that_of_its_answer(van: Scenario) -> None:
    exact = steady_outcome(van, {"heater.resistance": 12.0}, exact=True)
    alone = answer(inputs_of(van, {"heater.resistance": np.array(12.0)}))
    assert exact.change_w.estimate == exact.change_w.low == pytest.approx(number(alone.change.power_w))
    assert exact.heat_w.estimate == pytest.approx(number(alone.turbine.heat_power_w))
    with pytest.MonkeyPatch.context() as patch:
        few = dataclasses.replace(outcome._ONLY_RANGES, draws=64)
        patch.setattr(outcome, "_ONLY_RANGES", few)
        drawn = steady_outcome(van)
        spread = spread_of(van, steady_chain(van), sampling=few)
    assert spread is not None
    assert drawn == outcome_of(spread.change_w, spread.heat_w)
    assert drawn.heat_w.low is not None
    assert drawn.heat_w.high is not None
    assert drawn.heat_w.low < drawn.heat_w.estimate < drawn.heat_w.high
    assert not few.with_sensitivity
    assert outcome.OVER_A_TRIP.with_sensitivity
    assert not outcome._ONLY_RANGES_OF_A_TRIP.with_sensitivity


def test_an_answer_is_what_its_draws_say(van: Scenario) -> None:
    shares: list[float] = []
    stated = answered(van, exact=True, progress=shares.append)
    assert shares == [1.0]
    change, heat = number(stated.answer.change.power_w), number(stated.answer.turbine.heat_power_w)
    assert stated.outcome == outcome_of((change,), (heat,))
    quantiles = {"change_w": (1.0, 2.0, 3.0, 4.0, 5.0), "heat_w": (6.0, 7.0, 8.0, 9.0, 10.0)}
    fuel: Any = SimpleNamespace(of="fuel", **quantiles)
    only_heat: Any = SimpleNamespace(of="heat", **quantiles)
    assert dataclasses.replace(stated, spread=fuel).outcome == outcome_of(quantiles["change_w"], quantiles["heat_w"])
    # Where no draw moves the fuel, its change is the one as stated.
    assert dataclasses.replace(stated, spread=only_heat).outcome == outcome_of((change,), quantiles["heat_w"])
    assert (stated.fuel_kind, stated.power_kind, stated.over_s) == ("fuel_flow", "power", 1.0)
    assert stated.at_its_most is stated.answer.turbine
    assert stated.spread is None
    assert stated.stall is not None
    assert stated.trip is None
    assert stated.best_pitch is not None  # at 100 km/h no head wind pays at the set pitch


def test_another_pitch_is_looked_for_only_where_it_drives_and_none_pays(demos: Path) -> None:
    slow = ["trip.road_speed=15 km/h", "rotor.local_speed_factor=1.0", "rotor.mount_drag_area=0.01 m^2"]
    pays = answered(load(demos / VAN, slow), exact=True)
    assert math.isfinite(pays.break_even_head_wind_m_s)
    assert pays.best_pitch is None
    parked = answered(load(demos / "parked_on_a_ridge" / "scenario.toml"), exact=True)
    assert math.isnan(parked.break_even_head_wind_m_s)
    assert parked.best_pitch is None


@pytest.fixture(scope="module")
def two_speeds(demos: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two minutes at 41 km/h, one at 72."""
    folder = Path(shutil.copytree(demos / "van_in_town", tmp_path_factory.mktemp("two") / "van"))
    (folder / "urban.csv").write_text("time_s,speed_km_h\n0,41\n120,41\n121,72\n181,72\n", encoding="utf-8")
    return folder / "scenario.toml"


def test_an_answer_over_a_trip(two_speeds: Path) -> None:
    scenario = load(two_speeds)
    shares: list[float] = []
    stated = answered(scenario, exact=True, progress=shares.append)
    assert shares[-1] == 1
    assert stated.trip is not None
    assert (stated.fuel_kind, stated.power_kind) == ("volume", "energy")
    assert stated.over_s == pytest.approx(181)
    assert stated.at_its_most is stated.trip.most
    assert stated.answer is stated.trip.mean
    assert math.isnan(stated.break_even_head_wind_m_s)
    assert stated.trip_stall is not None
    assert stated.spread is None
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(outcome, "_ONLY_RANGES_OF_A_TRIP", dataclasses.replace(outcome._ONLY_RANGES_OF_A_TRIP, draws=16))
        found = trip_outcome(scenario, {"drive.ratio": 2.5}, stated.answer)
        patch.setattr(outcome, "spread_of", lambda *_, **__: None)
        exact = trip_outcome(scenario, {"drive.ratio": 2.5}, stated.answer)
    assert found.heat_w.low is not None
    assert found.heat_w.low < found.heat_w.estimate
    assert exact.change_w.estimate == number(stated.answer.change.power_w)
    assert exact.heat_w.estimate == number(stated.answer.turbine.heat_power_w)


# Stall


def poor_by_hand(inputs: Any, turbine: Any) -> bool:
    """Slow of two steady speeds, or slower than its best tip-speed ratio with less than half of its best power."""
    curves = inputs.turbine.curves
    row = [
        np.interp(float(inputs.turbine.pitch_deg), curves.pitch_deg, column) for column in curves.power_coefficient.T
    ]
    slow = number(turbine.tip_speed_ratio) < curves.tip_speed_ratio[int(np.argmax(row))]
    poor = number(turbine.power_coefficient) < 0.5 * max(row) * number(inputs.turbine.power_factor)
    return bool(turbine.turning) and (bool(turbine.point.is_stalled) or (slow and poor))


@pytest.mark.parametrize("settings", [[], ["rotor.power_factor=0.8"]])
def test_which_rotors_are_stalled_or_stand(demos: Path, settings: list[str]) -> None:
    scenario = load(demos / VAN, settings)
    ohms, speeds = np.geomspace(1, 30, 12), np.array([3.0, 8.0, 20.0])
    draws = {"heater.resistance": ohms[:, None], "trip.road_speed": speeds}
    inputs = inputs_of(scenario, draws)
    turbine = turbine_at_work(inputs, with_free_run=False)
    found, either = stalled.is_stalled(inputs, turbine), stalled.stalled_or_stands(inputs, turbine)
    kinds = set()
    for i, ohm in enumerate(ohms):
        for j, speed in enumerate(speeds):
            alone = inputs_of(scenario, {"heater.resistance": np.array(ohm), "trip.road_speed": np.array(speed)})
            working = turbine_at_work(alone, with_free_run=False)
            stands = not bool(working.turning) and number(alone.rotor_air_speed_m_s) > 3.0
            assert np.broadcast_to(found, (12, 3))[i, j] == poor_by_hand(alone, working)
            assert np.broadcast_to(either, (12, 3))[i, j] == (poor_by_hand(alone, working) or stands)
            kinds.add((poor_by_hand(alone, working), bool(working.turning)))
    assert kinds >= {(True, True), (False, True)}


def test_less_than_half_of_the_best_power_while_slow_is_stalled(van: Scenario) -> None:
    inputs = inputs_of(van)
    curves = inputs.turbine.curves
    assert curves is not None
    row = [
        np.interp(float(np.asarray(inputs.turbine.pitch_deg)), curves.pitch_deg, c) for c in curves.power_coefficient.T
    ]
    best, at = max(row), float(curves.tip_speed_ratio[int(np.argmax(row))])
    turbine = turbine_at_work(inputs)

    def judged(ratio: float, cp: float, *, turning: bool = True) -> bool:
        made = dataclasses.replace(
            turbine, tip_speed_ratio=np.array(ratio), power_coefficient=np.array(cp), turning=np.array(turning)
        )
        return bool(stalled.is_stalled(inputs, made))

    assert judged(at - 0.01, 0.499 * best)
    assert not judged(at - 0.01, 0.501 * best)
    assert not judged(at + 0.01, 0.1 * best)
    assert not judged(at, 0.1 * best)
    assert not judged(at - 1, 0.1 * best, turning=False)
    still = dataclasses.replace(turbine, turning=np.array(False))
    for air, stands in ((3.0, False), (3.01, True), (2.0, False)):
        assert (
            bool(stalled.stalled_or_stands(dataclasses.replace(inputs, rotor_air_speed_m_s=np.array(air)), still))
            == stands
        )


def test_the_risk_of_stall_draw_by_draw(demos: Path) -> None:
    scenario = load(demos / VAN, ["heater.resistance=3.3 ohm"])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stall, "_DRAWS", 32)
        found = stall_risk(scenario)
    assert found is not None
    ranges = ranges_of(scenario)
    draws = draws_of(ranges, sobol_sample(32, len(ranges)), correlations_of(scenario))
    groups: dict[bool, list[float]] = {True: [], False: []}
    for k in range(32):
        inputs = inputs_of(scenario, {key: np.array(values[k]) for key, values in draws.items()})
        working = turbine_at_work(inputs, with_free_run=False)
        groups[bool(stalled.stalled_or_stands(inputs, working))].append(number(working.heat_power_w))
    assert found.share == len(groups[True]) / 32
    assert 0 < found.share < 1
    for group, estimate in ((groups[True], found.stalled_heat_w), (groups[False], found.running_heat_w)):
        assert estimate is not None
        low, middle, high = np.quantile(group, [0.05, 0.5, 0.95])
        assert (estimate.low, estimate.estimate, estimate.high, estimate.level) == pytest.approx(
            (low, middle, high, 0.9)
        )
    stated = stall_risk(scenario, exact=True)
    assert stated is not None
    inputs = inputs_of(scenario)
    working = turbine_at_work(inputs)
    assert working.point is not None
    assert stated.at_stated_values == bool(stalled.stalled_or_stands(inputs, working))
    assert stated.two_speeds == bool(working.point.is_stalled)
    assert stated.tip_speed_ratio == pytest.approx(number(working.tip_speed_ratio))
    assert stated.share == float(stated.at_stated_values)
    assert (stated.stalled_heat_w is None) == (not stated.at_stated_values)
    assert (stated.running_heat_w is None) == stated.at_stated_values
    assert not stated.stands


def test_what_staying_stalled_loses_and_when_it_is_said() -> None:
    heat = {name: Estimate(value, value, value, 0.9) for name, value in (("slow", 80.0), ("fast", 500.0))}
    best: Any = SimpleNamespace(outcome=SimpleNamespace(heat_w=Estimate(900.0, 0.0, 0.0, 0.9)))

    def risk(**changes: Any) -> StallRisk:
        usual = {"share": 0.0, "stalled_heat_w": None, "running_heat_w": None}
        kept = usual | {"at_stated_values": False, "two_speeds": False, "tip_speed_ratio": 2.0} | changes
        return StallRisk(**kept)

    assert math.isnan(risk().lost_heat_w)
    assert math.isnan(risk(stalled_heat_w=heat["slow"]).lost_heat_w)
    assert risk(stalled_heat_w=heat["slow"], running_heat_w=heat["fast"], best=best).lost_heat_w == 420.0
    assert risk(stalled_heat_w=heat["slow"], best=best).lost_heat_w == 820.0
    assert [risk(share=share).matters for share in (0.0, 0.05, 0.051)] == [False, False, True]
    assert risk(at_stated_values=True).matters


def over_a_trip(share: float, mostly: float, heat: float, unloaded: float) -> TripStallRisk:
    estimates = [Estimate(value, value, value, 0.9) for value in (share, heat, unloaded)]
    return TripStallRisk(estimates[0], mostly, estimates[1], estimates[2], 60.0)


def test_when_stall_over_a_trip_is_said() -> None:
    assert [over_a_trip(s, m, 1, 1).matters for s, m in ((0.05, 0.05), (0.06, 0), (0, 0.06))] == [False, True, True]
    helps = [over_a_trip(0, 0, 100, unloaded).starting_unloaded_helps for unloaded in (104.9, 105.1, 90)]
    assert helps == [False, True, False]


def test_stall_over_a_trip_of_given_draws(two_speeds: Path, demos: Path) -> None:
    scenario = load(two_speeds)
    shares = SimpleNamespace(
        energy_share=np.array([0.2, 0.5, 0.6, 0.9]), heat_w=np.arange(4.0), unloaded_heat_w=np.arange(4.0) + 10
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(trip_stall, "stalled_over_trip", lambda *_: shares)
        found = trip_stall.trip_stall_risk(scenario)
        assert found is not None
        assert found.mostly_stalled == 0.5  # more than half of the energy in two of four
        assert found.energy_share.estimate == pytest.approx(0.55)
        assert found.energy_share.ends == pytest.approx((0.2 + 0.3 * 0.15, 0.6 + 0.3 * 0.85))
        assert found.heat_w.estimate == pytest.approx(1.5)
        assert found.unloaded_heat_w.estimate == pytest.approx(11.5)
        assert found.over_s == pytest.approx(181)
        patch.setattr(trip_stall, "stalled_over_trip", lambda *_: None)
        assert trip_stall.trip_stall_risk(scenario) is None
    assert trip_stall.trip_stall_risk(load(demos / VAN)) is None


@pytest.mark.parametrize("works", [[], ["trip.works=above_speed", "trip.works_speed=50 km/h"]])
def test_stall_over_a_trip_step_by_step(two_speeds: Path, works: list[str]) -> None:
    """The air's energy (cube of its speed) that meets a stalled rotor while it works, over all that passes then."""
    scenario = load(two_speeds, works)
    found = stalled_over_trip(scenario, {})
    assert found is not None
    trip = answer_trip(scenario)
    met, whole = 0.0, 0.0
    for k, seconds in enumerate(trip.steps.duration_s):
        alone = inputs_of(scenario, {"trip.road_speed": np.array(trip.steps.speed_m_s[k])})
        working = turbine_at_work(alone, with_free_run=False)
        if not np.broadcast_to(trip.works, trip.steps.duration_s.shape)[k]:
            continue
        energy = number(alone.rotor_air_speed_m_s) ** 3 * seconds
        whole += energy
        met += energy * bool(stalled.stalled_or_stands(alone, working))
    assert found.energy_share[0] == pytest.approx(met / whole, abs=0.01)
    assert found.heat_w[0] == pytest.approx(number(trip.mean.turbine.heat_power_w), rel=0.02)
    later = answer_trip(load(two_speeds, [*works, "generator.load_connected=after_spin_up"]))
    assert found.unloaded_heat_w[0] == pytest.approx(number(later.mean.turbine.heat_power_w), rel=0.02)
    draws = {"vehicle.mass": np.array([2500.0, 3000.0, 3500.0])}
    several = stalled_over_trip(scenario, draws)
    assert several is not None
    assert several.energy_share == pytest.approx([found.energy_share[0]] * 3)


# Where the rotor sits


@pytest.mark.parametrize(
    ("factor", "more", "decides"),
    [
        ("{ value = 0.6, low = 0.399, high = 0.9 }", [], True),
        ("{ value = 0.6, low = 0.4, high = 0.9 }", [], False),
        ("{ value = 0.39, low = 0.38, high = 0.4 }", [], False),
        ("{ value = 0.6, low = 0.3, high = 0.9 }", ["trip.road_speed=0 km/h", "air.wind_speed=9 m/s"], False),
    ],
)
def test_whether_the_place_decides(demos: Path, factor: str, more: list[str], decides: bool) -> None:
    scenario = load(demos / VAN, [f"rotor.local_speed_factor={factor}", *more])
    found = place.place_risk(scenario)
    assert (found is not None) == decides
    if found is not None:
        assert (found.slow_factor, found.fast_factor) == (0.399, 0.9)
        assert found.slow_heat_w < 0.5 * found.fast_heat_w


def test_half_of_the_heat_decides(demos: Path) -> None:
    scenario = load(demos / VAN, ["rotor.local_speed_factor={ value = 0.6, low = 0.3, high = 0.9 }"])
    with pytest.MonkeyPatch.context() as patch:
        for slow, decides in ((49.9, True), (50.0, False), (50.1, False)):
            heat = SimpleNamespace(heat_power_w=np.array([slow, 100.0]))
            patch.setattr(place, "turbine_at_work", lambda inputs, heat=heat: heat)
            assert (place.place_risk(scenario) is not None) == decides


# A rotor by itself, and ranges that curves deserve


def test_a_rotor_at_one_air_speed_by_hand(demos: Path) -> None:
    rotor = load_rotor(demos / VAN)
    curves = rotor.curves
    at = 5.2
    found = rotor_at(rotor, 12.0, at * 12.0 / 0.9)
    k = int(np.searchsorted(curves.tip_speed_ratio, at)) - 1
    share = (at - curves.tip_speed_ratio[k]) / (curves.tip_speed_ratio[k + 1] - curves.tip_speed_ratio[k])

    def between(table: np.ndarray) -> float:
        row = np.array([np.interp(rotor.pitch_deg, curves.pitch_deg, column) for column in table.T])
        return float(row[k] + share * (row[k + 1] - row[k]))

    pressure = 0.5 * rotor.density_kg_m3 * math.pi * 0.9**2 * 12**2
    assert found.power_coefficient == pytest.approx(between(curves.power_coefficient))
    assert found.thrust_coefficient == pytest.approx(between(curves.thrust_coefficient))
    assert found.shaft_power_w == pytest.approx(between(curves.power_coefficient) * pressure * 12)
    assert found.thrust_n == pytest.approx(between(curves.thrust_coefficient) * pressure)
    assert found.tip_speed_ratio == pytest.approx(at)
    assert found.rotor_speed_rad_s == pytest.approx(at * 12 / 0.9)
    assert (found.air_speed_m_s, found.pitch_deg) == (12.0, rotor.pitch_deg)
    assert not found.stall_delay
    best = rotor_at(rotor, 12.0, None)
    row = [np.interp(rotor.pitch_deg, curves.pitch_deg, column) for column in curves.power_coefficient.T]
    assert best.power_coefficient == pytest.approx(max(row), rel=2e-3)
    assert best.tip_speed_ratio == pytest.approx(curves.tip_speed_ratio[int(np.argmax(row))], abs=0.02)
    assert best.rotor_speed_rad_s == pytest.approx(best.tip_speed_ratio * 12 / 0.9)
    end = float(curves.tip_speed_ratio[-1])
    assert rotor_at(rotor, 12.0, end * 12 / 0.9 * (1 - 1e-12)).tip_speed_ratio == pytest.approx(end)
    with pytest.raises(InputError, match=f"at most {end:g}"):
        rotor_at(rotor, 12.0, end * 12 / 0.9 * 1.0001)


def test_ranges_that_an_estimated_thrust_deserves(van: Scenario) -> None:
    assert van.curves is not None
    assert widened(van) is van
    guessed = widened(dataclasses.replace(van, curves=dataclasses.replace(van.curves, thrust_is_estimated=True)))
    assert guessed.rotor.thrust_factor == Uncertain(1.0, 0.5, 1.25, "triangular")
    assert "thrust_factor" not in guessed.rotor.model_fields_set
    assert guessed.rotor.power_factor == van.rotor.power_factor
    assert "0.5 to 1.15 times" in guessed.reasons["rotor.thrust_factor"]
    own = van.rotor.model_copy(update={"thrust_factor": Uncertain(1.1, 1.0, 1.2, "uniform")})
    own.model_fields_set.add("thrust_factor")
    curves = dataclasses.replace(van.curves, thrust_is_estimated=True)
    kept = widened(dataclasses.replace(van, rotor=own, curves=curves))
    assert kept.rotor.thrust_factor == Uncertain(1.1, 1.0, 1.2, "uniform")
    blade: Any = SimpleNamespace(polar=None)
    plate = widened(dataclasses.replace(van, blade=blade))
    assert plate.rotor.power_factor == Uncertain(1.0, 0.55, 1.1, "triangular")
    measured: Any = SimpleNamespace(polar="polar.csv")
    assert widened(dataclasses.replace(van, blade=measured)).rotor.power_factor == van.rotor.power_factor


def test_a_chain_of_draws_is_their_single_answers(van: Scenario) -> None:
    shares: list[float] = []
    found = steady_chain(van)(
        {"vehicle.mass": np.array([2000.0, 4000.0]), "rotor.pitch": np.array([2.0, 9.0])}, shares.append
    )
    for k, (mass, pitch) in enumerate(((2000.0, 2.0), (4000.0, 9.0))):
        alone = answer(inputs_of(van, {"vehicle.mass": np.array(mass), "rotor.pitch": np.array(pitch)}))
        assert found.change_w[k] == pytest.approx(number(alone.change.power_w))
        assert found.heat_w[k] == pytest.approx(number(alone.turbine.heat_power_w))
    assert shares[-1] == 1.0
    only = steady_chain(van)({"vehicle.mass": np.array([2000.0, 4000.0])})
    assert only.heat_w.shape == (2,)


def test_an_answer_goes_on_from_the_one_as_stated(van: Scenario) -> None:
    with pytest.MonkeyPatch.context() as patch:
        from energy.chain import answer as chain

        patch.setattr(chain, "spread_of", lambda scenario, progress: None)
        patch.setattr(stall, "_DRAWS", 16)
        stated: Answered = answered(van, exact=True)
        found = answered(van, stated=stated)
    assert found.answer is stated.answer
    assert found.stall is not None
    assert found.stall != stated.stall
