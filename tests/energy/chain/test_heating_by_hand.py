"""The parts of a heating recomputed: the load as it is stated, what draws may do to it, charts, trips and costs."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from energy.chain import heating as chain
from energy.chain.heating import Heating, Trip, heating, load_of, read_power, read_trip, sampled
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.heat.heater import History
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from vehicle.problems import InputError
from vehicle.quantity import Uncertain

ZERO_C = 273.15
BOILS_C = 99.97  # at 1013 hPa, steam tables


@pytest.fixture(scope="module")
def demo(demos: Path) -> Callable[..., Scenario]:
    return lambda name, *overrides: load(demos / name / "scenario.toml", overrides)


# The load


def test_the_tank_as_it_is_stated(demo: Callable[..., Scenario]) -> None:
    """Water 0.99 kg/L of 4186 J/(kg K), a steel vessel of 0.15 kg for each litre of 490 J/(kg K), loss by the label."""
    found = load_of(demo("van_water_tank", "load.filled=80 %"), 280.0, 90000.0, {})
    heater = found.heater
    assert float(heater.heat_capacity_j_k) == pytest.approx(0.99 * 24 * 4186 + 0.15 * 30 * 490)
    assert float(heater.loss_w_k) == pytest.approx((16.66 + 8.33 * 30**0.4) / 45)
    assert float(heater.water_kg) == pytest.approx(0.99 * 24)
    assert (heater.pressure_pa, heater.relative_humidity) == (90000.0, pytest.approx(0.6))
    assert float(np.asarray(heater.radiating_area_m2)) == 0
    assert heater.second_node is None
    assert found.ambient_k == 280.0
    assert found.start_k == 280.0
    assert found.target_k == pytest.approx(ZERO_C + 60)
    assert found.thermostat is not None
    assert float(found.thermostat.set_k) == pytest.approx(ZERO_C + 65)
    assert float(found.thermostat.hysteresis_k) == pytest.approx(4)
    assert not found.closed_water
    assert not {"load.radiating_area", "load.outside_area", "load.open_water_area"} & {a.key for a in found.assumptions}
    closed = load_of(demo("van_water_tank", "load.vented=false"), 280.0, 90000.0, {})
    assert closed.closed_water
    assert float(closed.heater.water_kg) == 0


def test_start_and_surroundings_of_their_own(demo: Callable[..., Scenario]) -> None:
    own = ("load.ambient_temperature=18 degC", "load.start_temperature=30 degC")
    found = load_of(demo("van_water_tank", *own), 280.0, 90000.0, {})
    assert found.ambient_k == pytest.approx(ZERO_C + 18)
    assert found.start_k == pytest.approx(ZERO_C + 30)
    assert load_of(demo("van_water_tank", own[0]), 280.0, 9e4, {}).start_k == pytest.approx(ZERO_C + 18)


BOX = ("load.radiating_area=0.5 m^2", "load.outside_area=0.9 m^2", "load.loss=4 W/K", "load.heat_capacity=5 kJ/K")


@pytest.mark.parametrize("second", ["none", "element", "walls"])
def test_which_node_radiates_and_meets_the_wind(demo: Callable[..., Scenario], second: str) -> None:
    """The outside is that of the walls where they are a node of their own, and the power goes in elsewhere."""
    more = ["load.emissivity=0.8"]
    if second != "none":
        more += [f"load.second_node={second}", "load.second_heat_capacity=2 kJ/K", "load.second_coupling=20 W/K"]
        more += ["load.second_loss=3 W/K"]
    found = load_of(demo("camper_oven", *BOX, *more), 288.0, 101300.0, {})
    heater = found.heater
    outside = (0.5 * 0.8, 0.9)
    bare = (float(np.asarray(heater.radiating_area_m2)), float(np.asarray(heater.outside_area_m2)))
    assert float(np.asarray(heater.loss_w_k)) == pytest.approx(4.0)
    if second == "none":
        assert bare == pytest.approx(outside)
        assert heater.second_node is None
    else:
        node = heater.second_node
        assert node is not None
        assert (node.heat_capacity_j_k, node.coupling_w_k, node.loss_w_k) == pytest.approx((2000, 20, 3))
        theirs = (float(np.asarray(node.radiating_area_m2)), float(np.asarray(node.outside_area_m2)))
        assert (theirs, bare) == (
            (pytest.approx(outside), (0, 0)) if second == "walls" else ((0, 0), pytest.approx(outside))
        )
        assert node.takes_power == (second == "element")
    assert float(heater.heat_capacity_j_k) == pytest.approx(5000 + 0.9 * 2344)  # and the dough in it
    assert "load.emissivity" not in {entry.key for entry in found.assumptions}


def test_contents_by_name_by_number_and_by_water(demo: Callable[..., Scenario]) -> None:
    plain = ("load.heat_capacity=5 kJ/K", "load.loss=2 W/K")

    def capacity(*more: str) -> tuple[float, float]:
        scenario = demo("van_water_tank", *plain, "load.kind=small_electric_oven", "load.contents_mass=2 kg", *more)
        table = scenario.load.model_copy(update={"volume": None})
        heater = load_of(dataclasses.replace(scenario, load=table), 288.0, 101300.0, {}).heater
        return float(heater.heat_capacity_j_k), float(np.asarray(heater.water_kg))

    assert capacity("load.contents_specific_heat=2 kJ/kg/K") == pytest.approx((9000, 0))
    assert capacity("load.contents_water_share=0.5") == pytest.approx((5000 + 2 * (837 + 3349 * 0.5), 0))
    assert capacity("load.contents=water") == pytest.approx((5000 + 2 * 4186, 2))
    assert capacity("load.contents=water", "load.vented=false") == pytest.approx((5000 + 2 * 4186, 0))


def test_draws_of_the_loss_are_held_to_what_still_air_takes() -> None:
    """A surface in still air gives 5.7 W/(m² K) (McAdams, as in the wind film); at most eight tenths are drawn."""
    held = chain._possible_loss(np.array([9.0, 1.0, 5.0, 4.5]), np.array([1.0, 1.0, 1.0, 1.0]))
    assert held == pytest.approx([9.0, 1.0, 0.8 * 5.7, 4.5])
    each = chain._possible_loss(np.array([1.0, 5.0, 5.0]), np.array([0.5, 0.0, 0.5]))
    assert each == pytest.approx([1.0, 5.0, 0.8 * 5.7 * 0.5])
    small = chain._possible_loss(np.array([1.0, 5.0]), np.array([0.1, 0.1]))  # a lunch box: less than 1 W/K
    assert small == pytest.approx([1.0, 0.8 * 5.7 * 0.1])
    assert chain._possible_loss(9.0, 1.0) == 9.0
    values = np.array([9.0, 8.0])
    assert chain._possible_loss(values, 0.0) is values
    assert chain._possible_loss(values, 1.0) == pytest.approx([9.0, 0.8 * 5.7])


@pytest.mark.parametrize(("start", "fine"), [(BOILS_C - 0.1, True), (BOILS_C + 0.1, False)])
def test_water_starts_below_its_boiling(demo: Callable[..., Scenario], start: float, fine: bool) -> None:
    hot = (f"load.start_temperature={start} degC", 'unusual=["load.start_temperature"]')
    scenario = demo("van_water_tank", *hot)
    if fine:
        load_of(scenario, 288.0, 101300.0, {})
    else:
        with pytest.raises(InputError, match="boiled away") as caught:
            load_of(scenario, 288.0, 101300.0, {})
        assert f"{start:.4g} degC" in str(caught.value)
        assert f"at most {BOILS_C:.4g}" in str(caught.value)
    load_of(demo("van_water_tank", *hot, "load.vented=false"), 288.0, 101300.0, {})


@pytest.mark.parametrize(("target", "fine"), [(66.9, True), (67.0, True), (67.1, False)])
def test_a_thermostat_opens_above_the_target(demo: Callable[..., Scenario], target: float, fine: bool) -> None:
    """65 °C and half of 4 K."""
    scenario = demo("van_water_tank", f"load.target_temperature={target} degC")
    if fine:
        load_of(scenario, 288.0, 101300.0, {})
    else:
        with pytest.raises(InputError, match=r"67\.1 degC, but the thermostat opens at 67 degC"):
            load_of(scenario, 288.0, 101300.0, {})


def test_what_errs_together_with_a_number_that_is_sure_errs_alone(van: Scenario) -> None:
    ranges = {"vehicle.mass": Uncertain(2500.0, 2300.0, 2900.0, "triangular")}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("energy.scenario.inputs.correlations_of", lambda _: (("vehicle.mass", "air.wind_speed", 0.5),))
        found = sampled(van, ranges, 16)
    assert list(found) == ["vehicle.mass"]
    assert found["vehicle.mass"] == pytest.approx(sampled(van, ranges, 16)["vehicle.mass"])
    assert found["vehicle.mass"][0] == 2500


def test_what_is_drawn_of_nothing_is_the_value_as_stated(van: Scenario) -> None:
    ranges = chain.uncertain_keys(van, inputs_of(van).used)
    assert {"load.loss", "load.heat_capacity", "rotor.local_speed_factor"} <= set(ranges)
    assert all(values.tolist() == [ranges[key].value] for key, values in sampled(van, ranges, 0).items())
    assert all(values.shape == (9,) for values in sampled(van, ranges, 8).values())


# Charts


def outcome_with(**changes: Any) -> Any:
    """Return what a chart takes of an outcome: three draws, the first as stated."""
    time = np.arange(0.0, 600.0, 100.0)
    rise = np.array([1.0, 0.8, 1.2])
    usual = {
        "history": History(time, 290 + 0.1 * time[:, None] * rise, np.full((6, 3), np.nan)),
        "dry_from_s": np.full(3, np.nan),
        "highest_temperature_k": np.full(3, 373.0),
        "time_to_target_s": np.array([300.0, 375.0, 250.0]),
        "boiling_from_s": np.full(3, np.nan),
    }
    return SimpleNamespace(**(usual | changes))


def test_how_long_a_chart_shows() -> None:
    """Half as long again as the target takes; a tenth past what 95 of 100 draws take, at most three times as long."""
    assert chain._horizon_s(outcome_with(), 1000.0) == pytest.approx(450.0)
    late = outcome_with(time_to_target_s=np.array([300.0, 375.0, 700.0]))
    assert chain._horizon_s(late, 1000.0) == pytest.approx(770.0)
    never = outcome_with(time_to_target_s=np.array([300.0, np.nan, 250.0]))
    assert chain._horizon_s(never, 1000.0) == pytest.approx(900.0)
    soon = outcome_with(time_to_target_s=np.array([10.0, 11.0, 12.0]))
    assert chain._horizon_s(soon, 1000.0) == 60.0
    unreached = {"time_to_target_s": np.full(3, np.nan)}
    assert chain._horizon_s(outcome_with(**unreached, boiling_from_s=np.array([200.0, 9, 9])), 1e3) == pytest.approx(
        300
    )
    assert chain._horizon_s(outcome_with(**unreached, boiling_from_s=np.array([20.0, 9, 9])), 1e3) == 60.0
    # Nearly settled: four time constants, a day where nothing is lost; no longer than what was computed.
    assert chain._horizon_s(outcome_with(**unreached), 100.0) == pytest.approx(400.0)
    assert chain._horizon_s(outcome_with(**unreached), 200.0) == pytest.approx(500.0)
    long = History(np.array([0.0, 1e6]), np.full((2, 3), 290.0), np.full((2, 3), np.nan))
    assert chain._horizon_s(outcome_with(**unreached, history=long), math.inf) == 86400.0


def test_a_band_of_draws_up_to_an_end() -> None:
    time = np.arange(0.0, 600.0, 100.0)
    whole = chain.band(outcome_with())
    assert whole.time_s.tolist() == time.tolist()
    # Two draws at 0.8 and 1.2 of the rise: the middle between, and nine tenths of the way from end to end.
    assert whole.middle_k == pytest.approx(290 + 0.1 * time)
    assert whole.low_k == pytest.approx(290 + 0.1 * time * (0.8 + 0.4 * 0.05))
    assert whole.high_k == pytest.approx(290 + 0.1 * time * (0.8 + 0.4 * 0.95))
    # One record past the end, so that the line reaches it.
    assert chain.band(outcome_with(), 250.0).time_s.tolist() == [0, 100, 200, 300]
    assert chain.band(outcome_with(), 500.0).time_s.tolist() == time.tolist()
    dry = outcome_with(
        dry_from_s=np.array([350.0, 150.0, np.nan]), highest_temperature_k=np.array([373.0, 300.0, 373.0])
    )
    ended = chain.band(dry)
    assert ended.time_s.tolist() == [0, 100, 200, 300, 400]
    # The first draw is dry from 150 s on, and stays at what its water could be.
    assert ended.high_k[3] == pytest.approx(300 + 0.95 * (326 - 300))
    assert ended.low_k[1] == pytest.approx(298 + 0.05 * 4)
    closed = chain.band(outcome_with(), boiling_k=315.0)
    # As stated it passes 315 K after 250 s: the record of 300 s is the last, one more reaches over it.
    assert closed.time_s.tolist() == [0, 100, 200, 300, 400]
    assert closed.high_k.max() <= 315
    alone = outcome_with()
    alone.history = History(time, 290 + 0.1 * time[:, None], np.full((6, 1), np.nan))
    alone.dry_from_s, alone.highest_temperature_k = np.full(1, np.nan), np.full(1, 373.0)
    single = chain.band(alone)
    assert single.low_k == pytest.approx(single.middle_k)
    assert single.high_k == pytest.approx(290 + 0.1 * time)


def test_a_closed_tank_never_gets_past_boiling(demo: Callable[..., Scenario]) -> None:
    found = heating(demo("van_water_tank", "load.vented=false"), draws=2)
    targets = np.array([ZERO_C + 60, ZERO_C + 99, ZERO_C + 101])
    load_now = dataclasses.replace(found.load, limits=found.load.limits)
    before = dataclasses.replace(found.outcome, target_k=targets)
    after = chain._never_past_boiling(before, load_now)
    assert after.reachable.tolist() == [True, True, False]
    assert after.reason[2] == "boiling"
    assert list(after.reason[:2]) == list(before.reason[:2])
    for name in ("time_to_target_s", "energy_to_target_j", "holding_power_w", "shortfall_w"):
        assert np.isnan(getattr(after, name)[2])
        assert getattr(after, name)[:2] == pytest.approx(getattr(before, name)[:2])
    open_tank = dataclasses.replace(load_now, closed_water=False)
    assert chain._never_past_boiling(before, open_tank) is before
    assert chain._closed_boiling_k(load_now) == pytest.approx(ZERO_C + BOILS_C, abs=0.05)
    assert chain._closed_boiling_k(open_tank) == math.inf


def test_a_thermostat_above_boiling_never_opens(demo: Callable[..., Scenario]) -> None:
    found = heating(demo("van_water_tank", "load.vented=false"), draws=2)
    base = found.outcome
    kept_up = dataclasses.replace(
        base,
        boiling_from_s=np.full(3, 500.0),
        dry_from_s=np.full(3, 900.0),
        peak_temperature_k=np.array([400.0, 360.0, np.nan]),
    )
    watched = dataclasses.replace(
        base,
        boiling_from_s=np.full(3, np.nan),
        dry_from_s=np.full(3, np.nan),
        peak_temperature_k=np.array([372.0, 371.0, 370.0]),
    )
    for set_k, never in ((ZERO_C + BOILS_C - 2.2, False), (ZERO_C + BOILS_C - 1.8, True), (ZERO_C + 120, True)):
        thermostat = dataclasses.replace(found.load.thermostat, set_k=set_k, hysteresis_k=4.0)  # type: ignore[type-var]
        after = chain._past_the_horizon(watched, kept_up, dataclasses.replace(found.load, thermostat=thermostat))
        if never:
            assert after.boiling_from_s.tolist() == [500.0] * 3
            assert after.dry_from_s.tolist() == [900.0] * 3
            # Closed: no hotter than where it would open.
            expected = [min(400.0, set_k + 2), min(371.0, set_k + 2), min(370.0, set_k + 2)]
            assert after.peak_temperature_k == pytest.approx(expected)
        else:
            assert np.isnan(after.boiling_from_s).all()
            assert np.isnan(after.dry_from_s).all()
            assert after.peak_temperature_k.tolist() == [372.0, 371.0, 370.0]
        opened = dataclasses.replace(found.load, thermostat=thermostat, closed_water=False)
        assert chain._past_the_horizon(watched, kept_up, opened).peak_temperature_k.tolist() == [372.0, 371.0, 370.0]


# Steady


def test_costs_of_a_steady_warm_up_are_rates_times_time(demo: Callable[..., Scenario]) -> None:
    scenario = demo("pickup_drying_box")
    found = heating(scenario, draws=4)
    assert found.drawn == 4
    ranges = chain.uncertain_keys(scenario, inputs_of(scenario).used)
    drawn = sampled(scenario, ranges, 4)
    for k in range(5):
        alone = answer(inputs_of(scenario, {key: np.array(values[k]) for key, values in drawn.items()}))
        assert found.power_w[k] == pytest.approx(float(alone.turbine.heat_power_w))
        time = found.outcome.time_to_target_s[k]
        assert found.fuel_m3[k] == pytest.approx(float(alone.change.volume_m3_s) * time)
    for values in (found.pack_j, found.over_trip_fuel_m3, found.over_trip_pack_j):
        assert values.shape == (5,)
        assert np.isnan(values).all()
    assert math.isnan(found.reached_if_repeated_s)
    assert found.trip is None
    assert found.trip_stall is None
    assert found.hardest is not None
    alone = heating(scenario, draws=0)
    assert (alone.drawn, alone.power_w.shape) == (0, (1,))
    assert alone.fuel_m3[0] == pytest.approx(found.fuel_m3[0])
    # Capacity over loss in the road's wind: here the slowest constant of one node.
    loaded = load_of(demo("van_water_tank"), 288.15, 101300.0, {}).heater
    tank = heating(demo("van_water_tank"), draws=0)
    assert tank.time_constant_s == pytest.approx(float(loaded.heat_capacity_j_k) / float(loaded.loss_w_k), rel=1e-3)


# Trips


def trip_of(speed_km_h: list[float], *, seconds: float = 20.0, grade: float | None = None, repeats: int = 1) -> Trip:
    speed = np.array(speed_km_h) / 3.6
    lengths = np.full(len(speed), seconds)
    return Trip(
        "way.csv", lengths, speed, None, None if grade is None else np.full(len(speed), grade), None, (), repeats
    )


def in_short_pieces(trip: Trip) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return speed, acceleration and length of pieces of a quarter of a metre a second: straight lines between rows."""
    assert trip.speed_m_s is not None
    after = np.append(trip.speed_m_s[1:], trip.speed_m_s[-1])
    pieces = []
    for speed, following, length in zip(trip.speed_m_s, after, trip.durations_s, strict=True):
        number = max(1, math.ceil(abs(following - speed) / 0.25))
        shares = (np.arange(number) + 0.5) / number
        pieces += [(speed + (following - speed) * s, (following - speed) / length, length / number) for s in shares]
    speeds, accelerations, lengths = np.array(pieces).T
    return speeds, accelerations, lengths


def test_costs_of_a_trip_world_by_world(demo: Callable[..., Scenario]) -> None:
    """Each draw driven piece by piece, twice over; until the target by the stated rate moved by its own mean rate."""
    scenario = demo("van_water_tank", "load.volume=1 L", "load.target_temperature=30 degC")
    trip = trip_of([90, 90, 95, 100, 100, 60, 0, 0, 80], grade=0.01, repeats=2)
    found = heating(scenario, trip, draws=4)
    assert found.drawn == 4
    assert trip.seconds == 360
    assert trip.speed_m_s is not None
    ranges = chain.uncertain_keys(scenario, inputs_of(chain._way(scenario, trip).scenario).used)
    for key in ("trip.road_speed", "trip.acceleration", "trip.grade"):
        ranges.pop(key, None)
    drawn = sampled(scenario, ranges, 4)
    speeds, accelerations, lengths = in_short_pieces(trip)
    clock = np.concatenate([[0.0], np.cumsum(lengths)])
    means = []
    for k in range(5):
        draws = {key: np.array(values[k]) for key, values in drawn.items()}
        draws |= {"trip.road_speed": speeds, "trip.grade": np.array(0.01), "trip.acceleration": accelerations}
        alone = answer(inputs_of(scenario, draws))
        rates, heat = (np.broadcast_to(v, speeds.shape) for v in (alone.change.volume_m3_s, alone.turbine.heat_power_w))
        means.append((rates @ lengths / 180, heat @ lengths / 180))
        if k == 0:
            spent = np.concatenate([[0.0], np.cumsum(rates * lengths)])
    for k in range(5):
        assert found.over_trip_fuel_m3[k] == pytest.approx(means[k][0] * 360, rel=3e-3)
        time = found.outcome.time_to_target_s[k]
        assert 0 < time < 180
        until = np.interp(time, clock, spent)
        assert found.fuel_m3[k] == pytest.approx(
            until + (means[k][0] - means[0][0]) * time, rel=1.5e-2
        )  # a step's fuel is spread evenly
    assert found.power_w == pytest.approx([mean[1] for mean in means], rel=3e-3)
    assert found.heat_w.level == 0.9
    assert np.isnan(found.pack_j).all()
    assert found.trip_stall is not None


def test_a_second_round_costs_like_the_first(demo: Callable[..., Scenario]) -> None:
    scenario = demo("van_water_tank", "load.volume=10 L")
    once = trip_of([95, 95, 100, 100], seconds=200)
    found = heating(scenario, dataclasses.replace(once, repeats=3), draws=0)
    time = float(found.outcome.time_to_target_s[0])
    assert 800 < time < 1600
    speeds, accelerations, lengths = in_short_pieces(once)
    driven = answer(inputs_of(scenario, {"trip.road_speed": speeds, "trip.acceleration": accelerations}))
    spent = np.concatenate([[0.0], np.cumsum(np.broadcast_to(driven.change.volume_m3_s, speeds.shape) * lengths)])
    until = spent[-1] + np.interp(time - 800, np.concatenate([[0.0], np.cumsum(lengths)]), spent)
    assert found.fuel_m3[0] == pytest.approx(until, rel=2e-3)
    assert found.over_trip_fuel_m3[0] == pytest.approx(3 * spent[-1], rel=2e-3)


@pytest.mark.parametrize("way", ["steady", "trip"])
def test_what_is_done_only_grows(demo: Callable[..., Scenario], way: str) -> None:
    shares: list[float] = []
    trip = None if way == "steady" else trip_of([100, 0, 100], seconds=100)
    heating(demo("van_water_tank"), trip, draws=2, progress=shares.append)
    assert shares == sorted(shares)
    assert 0 <= shares[0] < 0.5
    assert shares[-1] == 1.0
    assert len(shares) > 3
    if trip is not None:
        # Three steps take next to no time: the power's three tenths come first, the fuel's seven last.
        assert shares[0] == pytest.approx(0.3, abs=0.01)
        assert shares[-2] == pytest.approx(0.3 + 0.4 * 0.7, abs=0.01)


def test_accelerations_are_held_to_what_a_vehicle_can_do() -> None:
    trip = trip_of([0, 36, 36, 360, 0], seconds=2.0)
    assert chain._acceleration(trip) == pytest.approx([5.0, 0.0, 10.0, -10.0, 0.0])


def test_long_trips_take_fewer_draws(demo: Callable[..., Scenario], monkeypatch: pytest.MonkeyPatch) -> None:
    scenario = demo("van_water_tank")
    monkeypatch.setattr(chain, "_MOST_CELLS", 600)
    assert heating(scenario, trip_of([90] * 9, repeats=2), draws=64).drawn == 32  # of 33 that 600 cells hold
    assert heating(scenario, trip_of([90] * 9, repeats=2), draws=8).drawn == 8
    assert heating(scenario, trip_of([90] * 40), draws=64).drawn == 16


def test_the_mean_heat_of_a_trip() -> None:
    found = chain._mean_heat_w(np.array([5.0, 1.0, 2.0, 3.0, 4.0, 5.0]))
    assert (found.estimate, found.low, found.high, found.level) == pytest.approx((3.0, 1.2, 4.8, 0.9))
    for logged in (np.array([7.0]), np.array([7.0, 7.0, 7.0])):
        alone = chain._mean_heat_w(logged)
        assert (alone.estimate, alone.low, alone.high) == (7.0, 7.0, 7.0)
    assert chain._mean_heat_w(np.array([7.0, 8.0])).estimate == 8.0


@pytest.mark.parametrize(
    ("column", "fine", "wrong"),
    [("speed_m_s", ("0", "100"), ("-0.1", "100.1")), ("grade", ("-0.4", "0.4"), ("-0.41", "0.41"))],
)
def test_what_a_trip_may_hold(tmp_path: Path, column: str, fine: tuple[str, str], wrong: tuple[str, str]) -> None:
    path = tmp_path / "trip.csv"

    def written(value: str) -> Path:
        head = "time_s,speed_m_s" + ("" if column == "speed_m_s" else f",{column}")
        cells = value if column == "speed_m_s" else f"5,{value}"
        other = "5" if column == "speed_m_s" else "5,0"
        path.write_text(f"{head},ambient_K\n0,{other},290\n3,{cells},290\n9,{other},291\n", encoding="utf-8")
        return path

    for value in fine:
        assert read_trip(written(value)).repeats == 1
        trip = read_trip(written(value), repeats=3)
        assert trip.repeats == 3
        assert trip.name == "trip.csv"
        # The last row holds as long as those before it do in the middle.
        assert trip.durations_s[:2].tolist() == [3.0, 6.0]
        assert trip.ambient_k is not None
        assert trip.ambient_k.tolist() == [290.0, 290.0, 291.0]
        assert trip.power_w is None
    for value in wrong:
        with pytest.raises(InputError, match="row 2 of the numbers"):
            read_trip(written(value))


@pytest.mark.parametrize(("kelvin", "fine"), [(200, True), (400, True), (199.9, False), (400.1, False)])
def test_what_a_power_log_may_hold(tmp_path: Path, kelvin: float, fine: bool) -> None:
    path = tmp_path / "log.csv"
    path.write_text(f"time_s,power_W,ambient_K\n0,900,290\n60,950,{kelvin}\n120,900,290\n", encoding="utf-8")
    if fine:
        assert read_power(path).repeats == 1
        log = read_power(path, repeats=2)
        assert (log.repeats, log.speed_m_s, log.grade) == (2, None, None)
        assert log.power_w is not None
        assert log.power_w.tolist() == [900, 950, 900]
    else:
        with pytest.raises(InputError, match="column ambient, row 2"):
            read_power(path)


def test_a_log_without_speeds_tells_no_cost(demo: Callable[..., Scenario]) -> None:
    scenario = demo("van_water_tank")
    log = Trip("log.csv", np.full(4, 60.0), None, np.array([900.0, 0.0, 900.0, 900.0]), None, None)
    found = heating(scenario, log, draws=4)
    for values in (found.fuel_m3, found.over_trip_fuel_m3, found.pack_j, found.over_trip_pack_j):
        assert values.shape == (5,)
        assert np.isnan(values).all()
    assert found.hardest is None
    assert found.trip_stall is None
    assert found.power_w == pytest.approx(675.0)
    assert (found.heat_w.low, found.heat_w.high) == (pytest.approx(675.0), pytest.approx(675.0))


def test_again_and_again_until_it_is_warm(demo: Callable[..., Scenario]) -> None:
    """One node with a straight-line loss, warmed piece by piece in closed form, the trip driven over and over."""
    scenario = demo("van_water_tank", "load.volume=10 L", "load.target_temperature=50 degC")
    trip = trip_of([100, 0, 100], seconds=100)
    found: Heating = heating(scenario, trip, draws=0)
    assert math.isnan(found.outcome.time_to_target_s[0])
    heater = found.load.heater
    capacity, loss = (float(np.ravel(v)[0]) for v in (heater.heat_capacity_j_k, heater.loss_w_k))
    speeds, _, lengths = in_short_pieces(trip)
    powers = answer(inputs_of(scenario, {"trip.road_speed": speeds})).turbine.heat_power_w
    temperature, clock = 15.0, 0.0
    for watts, length in itertools.cycle(zip(powers, lengths, strict=True)):
        end = 15 + float(watts) / loss
        warmer = end + (temperature - end) * math.exp(-loss * length / capacity)
        if warmer >= 50:
            break
        temperature, clock = warmer, clock + length
    reached = clock + capacity / loss * math.log((end - temperature) / (end - 50))
    assert found.reached_if_repeated_s == pytest.approx(reached, rel=2e-3)
    twice = heating(scenario, dataclasses.replace(trip, repeats=2), draws=0)
    assert twice.reached_if_repeated_s == pytest.approx(found.reached_if_repeated_s, rel=1e-6)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_MOST_STEPS_AGAIN", 3)
        about = heating(scenario, trip, draws=0).reached_if_repeated_s
    # Far away it is told from the mean power.
    mean = float(found.outcome.available_power_w[0])
    assert about == pytest.approx(capacity / loss * math.log(mean / (mean - loss * 35)), rel=1e-4)
    # Of several draws it is that of the first, as stated.
    along = chain._Along(found.load, trip.durations_s, 1, np.zeros(3), np.array([[288.15]]), 288.15)
    several = SimpleNamespace(available_power_w=np.array([mean, 3 * mean]), ambient_k=np.array([288.15, 280.0]))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_MOST_STEPS_AGAIN", 3)
        told = chain._reached_if_repeated_s(along, several, np.full((3, 2), mean), None)  # type: ignore[arg-type]
    assert told == pytest.approx(about, rel=1e-4)


def test_the_most_that_an_element_takes(demo: Callable[..., Scenario]) -> None:
    def cap(*overrides: str) -> float:
        return chain.element_cap_w(load_of(demo("van_water_tank", *overrides), 288.0, 101300.0, {}))

    assert cap() == pytest.approx(3000)
    assert cap("heater.rated_voltage=60 V") == pytest.approx(400)  # 60² / 9
