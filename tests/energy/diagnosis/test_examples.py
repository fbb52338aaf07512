"""Invented measurements and the plan of a stepped drive: what they hold, worked out again from the scenario's chain."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from energy.chain.ledger import answer, turbine_at_work
from energy.chain.limits import operating_limits
from energy.chain.load import load
from energy.diagnosis import stepping
from energy.diagnosis.examples import (
    measured_example,
    results_example,
    shortfall_example,
    spin_up_example,
    stepped,
    sweep_example,
    tap_example,
)
from energy.diagnosis.reconcile import read_results
from energy.diagnosis.shortfall_readings import read_readings
from energy.diagnosis.stepping import HOLD_S, stepping_plan
from energy.diagnosis.true_pitch import read_measured, true_pitch_of
from energy.diagnosis.tuning import read_sweep
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from energy.strength import spin_up as spinning
from energy.strength.spin_up import spin_up, tapped
from vehicle.problems import InputError
from vehicle.quantity import Uncertain


def exact(value: float) -> Uncertain:
    return Uncertain(value, value, value)


def at_work(scenario: Scenario, **draws):
    keys = {
        "road": "trip.road_speed",
        "pitch": "rotor.pitch",
        "ohm": "heater.resistance",
        "local": "rotor.local_speed_factor",
    }
    return turbine_at_work(inputs_of(scenario, {keys[k]: np.asarray(v, float) for k, v in draws.items()}))


def written(tmp_path: Path, text: str, name: str = "log.csv") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    assert text.startswith("# Invented, not measured: ")
    return path


def one_pitch(scenario: Scenario) -> Scenario:
    curves = scenario.curves
    assert curves is not None
    kept = {name: getattr(curves, name)[:1] for name in ("pitch_deg", "power_coefficient", "thrust_coefficient")}
    return replace(scenario, curves=replace(curves, **kept))


def in_the_open(scenario: Scenario) -> Scenario:
    return replace(scenario, measurement=scenario.measurement.model_copy(update={"air_speed_at": "free_air"}))


def standing(scenario: Scenario, factor: float = 1e-6) -> Scenario:
    """Return a scenario whose rotor gives next to nothing."""
    curves = scenario.curves
    assert curves is not None
    return replace(scenario, curves=replace(curves, power_coefficient=factor * curves.power_coefficient))


# --- steady stretches with a dial that reads too little ---


@pytest.mark.parametrize(("system", "unit"), [("metric", "km_h"), ("us", "mph"), ("uk", "mph")])
def test_steady_stretches_are_the_scenario_s_own_at_a_pitch_hidden_from_the_dial(
    van: Scenario, tmp_path: Path, system, unit
):
    text = measured_example(van, system)
    assert text.splitlines()[0].endswith("the true pitch was 1.5 degrees more than the dial read.")
    assert text.splitlines()[1] == f"time_s,air_speed_{unit},rotor_speed_rpm,electrical_power_w,dial_deg"
    rows = read_measured(written(tmp_path, text))
    air = float(inputs_of(van).rotor_air_speed_m_s)
    # Four dials about the scenario's 4, twice through, four air speeds each.
    assert rows.dial_deg is not None
    assert rows.dial_deg.tolist() == np.repeat([2.0, 4.0, 6.0, 8.0] * 2, 4).tolist()
    speeds = air * np.tile([0.8, 0.93, 1.0, 1.1], 8)
    assert rows.time_s is not None
    assert rows.time_s.tolist() == (40.0 * np.arange(32)).tolist()
    share = rows.air_speed_m_s / speeds - 1
    assert 0.005 < np.std(share) < 0.016  # an anemometer of one percent
    assert abs(share).max() < 0.04
    work = at_work(van, road=speeds / van.rotor.local_speed_factor.value, pitch=rows.dial_deg + 1.5)
    assert rows.rotor_speed_rad_s == pytest.approx(np.asarray(work.rotor_speed_rad_s), abs=0.06)
    scatter = rows.electrical_power_w / np.asarray(work.heat_power_w) - 1
    assert 0.002 < np.std(scatter) < 0.009  # half a percent
    if system == "us":
        found = true_pitch_of(van, rows)
        assert found.offset_deg is not None
        assert found.offset_deg.low <= 1.5 <= found.offset_deg.high


def test_an_anemometer_in_the_open_reads_the_free_air(van: Scenario, tmp_path: Path):
    local = van.rotor.local_speed_factor.value
    near = read_measured(written(tmp_path, measured_example(van)))
    free = read_measured(written(tmp_path, measured_example(in_the_open(van))))
    assert free.air_speed_m_s == pytest.approx(near.air_speed_m_s / local, rel=0.01)
    assert free.electrical_power_w == pytest.approx(near.electrical_power_w)
    swept = [read_sweep(written(tmp_path, sweep_example(s)), s) for s in (van, in_the_open(van))]
    assert swept[1].air_speed_m_s == pytest.approx(swept[0].air_speed_m_s, rel=0.01)


def test_dials_stay_within_the_curves(van: Scenario, tmp_path: Path):
    assert van.curves is not None
    low, high = float(van.curves.pitch_deg[0]), float(van.curves.pitch_deg[-1])
    steep = replace(van, rotor=van.rotor.model_copy(update={"pitch": exact(low + 1.0)}))
    dials = read_measured(written(tmp_path, measured_example(steep))).dial_deg
    assert dials is not None
    assert sorted(set(dials)) == [low, low + 1, low + 3, low + 5]
    flat = replace(van, rotor=van.rotor.model_copy(update={"pitch": None}))
    dials = read_measured(written(tmp_path, measured_example(flat))).dial_deg
    assert dials is not None
    assert sorted(set(dials)) == [low, low + 2, low + 4]  # the first pitch of the curves stands for the scenario's own
    key, _, settings = stepped(replace(van, rotor=van.rotor.model_copy(update={"pitch": exact(high - 2)})))
    assert key == "rotor.pitch"
    assert (settings[0], settings[-1]) == (high - 6, high)


def test_a_scenario_that_cannot_be_measured_so_says_why(van: Scenario):
    with pytest.raises(InputError, match="no curves over several pitches"):
        measured_example(one_pitch(van))
    for example in (measured_example, sweep_example, results_example, shortfall_example):
        with pytest.raises(
            InputError, match=r"rotor: no watts in the scenario's air; accepted: a scenario whose rotor turns"
        ):
            example(standing(van))


# --- a drive with a setting stepped ---


def test_a_stepped_drive_follows_the_scenario_s_own_watts_behind_their_lag(van: Scenario, tmp_path: Path):
    text = sweep_example(van)
    sweep = read_sweep(written(tmp_path, text), van)
    assert text.splitlines()[1] == "time_s,pitch_deg,air_speed_km_h,electrical_power_w"
    assert sweep_example(van, "us").splitlines()[1] == "time_s,pitch_deg,air_speed_mph,electrical_power_w"
    settings = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    assert sorted(set(sweep.setting)) == settings  # 4 below the scenario's 4 degrees to 6 above
    assert len(sweep.setting) == 12 * 45
    order = sweep.setting[::45]
    assert (sweep.setting == np.repeat(order, 45)).all()
    assert sorted(order[:6]) == sorted(order[6:]) == settings
    assert list(order[:6]) != list(order[6:])
    assert sweep.time_s.tolist() == list(range(540))
    mean = float(inputs_of(van).rotor_air_speed_m_s)
    ratio = sweep.air_speed_m_s / mean
    assert np.mean(ratio) == pytest.approx(1.0, abs=0.05)
    assert np.std(ratio) == pytest.approx(0.08, abs=0.03)
    assert ratio.min() >= 0.5
    assert ratio.max() <= 1.5
    gust = ratio - ratio.mean()
    assert float(gust[1:] @ gust[:-1] / (gust @ gust)) == pytest.approx(0.9, abs=0.07)  # gusts of ten seconds
    steady = np.asarray(
        at_work(van, road=sweep.air_speed_m_s / van.rotor.local_speed_factor.value, pitch=sweep.setting).heat_power_w
    )
    behind = [steady[0]]
    for watts in steady[1:]:
        behind.append(math.exp(-0.5) * behind[-1] + (1 - math.exp(-0.5)) * watts)  # a lag of two seconds
    scatter = sweep.electrical_power_w / np.array(behind) - 1
    assert np.std(scatter) == pytest.approx(0.01, abs=0.004)
    assert abs(np.mean(scatter)) < 0.005


def test_a_rotor_with_one_pitch_is_stepped_by_its_element(van: Scenario, tmp_path: Path):
    key, column, settings = stepped(one_pitch(van))
    assert (key, column) == ("heater.resistance", "resistance_ohm")
    expected = [9 * 4 ** (k / 5) / 2 for k in range(6)]  # half to double, in equal ratios
    assert settings == pytest.approx(expected, rel=5e-3)
    assert (settings[0], settings[-1]) == (4.5, 18.0)
    sweep = read_sweep(written(tmp_path, sweep_example(one_pitch(van))), van)
    assert sweep.kind == "resistance"
    key, column, settings = stepped(van, "ratio")
    assert (key, column) == ("drive.ratio", "ratio")
    assert (settings[0], settings[-1]) == (1.25, 5.0)
    assert stepped(van, "resistance")[0] == "heater.resistance"
    two = van.curves
    assert two is not None
    kept = {name: getattr(two, name)[:2] for name in ("pitch_deg", "power_coefficient", "thrust_coefficient")}
    assert stepped(replace(van, curves=replace(two, **kept)))[0] == "rotor.pitch"
    with pytest.raises(InputError, match="no curves over several pitches"):
        stepped(one_pitch(van), "pitch")
    for lost in ({"curves": None}, {"generator": None}, {"heater": van.heater.model_copy(update={"resistance": None})}):
        with pytest.raises(InputError, match="a measured table has no setting to step"):
            stepped(replace(van, **lost))


def test_slow_air_is_made_enough_to_turn(van: Scenario, tmp_path: Path):
    slow = replace(van, trip=van.trip.model_copy(update={"road_speed": exact(1.0)}))
    rows = read_measured(written(tmp_path, measured_example(slow)))
    assert np.median(rows.air_speed_m_s) == pytest.approx(8.0, rel=0.12)
    sweep = read_sweep(written(tmp_path, sweep_example(slow)), slow)
    assert np.mean(sweep.air_speed_m_s) == pytest.approx(8.0, rel=0.05)


# --- a spin-up, a tap ---


def test_a_spin_up_shakes_as_a_mass_on_a_spring(van: Scenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Rotating unbalance (Thomson, Theory of Vibration with Applications, from memory): x = (u/m) r² over the root of
    (1 − r²)² + (2ζr)², and a harmonic velocity's root mean square is ωx/√2."""
    plan = spin_up(van)
    monkeypatch.setattr(spinning, "spin_up", lambda _: plan)
    text = spin_up_example(van)
    written(tmp_path, text)
    top, rung = plan.top_rad_s, plan.ladder.rungs[-1]
    natural = 0.55 * top
    head, columns, *rows = text.splitlines()
    ringing = f"on a mount that rings at {natural / (2 * math.pi):.1f} Hz."
    assert head == f"# Invented, not measured: an imbalance of 1.8 times the planned one, {ringing}"
    assert columns == "time_s,rotor_speed_rpm,vibration_mm_s"
    table = np.array([[float(cell) for cell in row.split(",")] for row in rows])
    assert table[:, 0].tolist() == [10.0 * k for k in range(56)]
    speed = np.repeat(top * (0.1 + 0.9 * np.arange(28) / 27), 2)
    assert table[:, 1] == pytest.approx(speed * 30 / math.pi, abs=0.51)
    unbalance = 1.8 * rung.imbalance_n / top**2
    errors = []
    for v, (_, _, shaken) in zip(speed, table, strict=True):
        r = v / natural
        swing = unbalance / van.rotor.turbine_mass.value * r**2 / math.hypot(1 - r**2, 2 * 0.05 * r)
        errors.append(shaken / (1e3 * v * swing / math.sqrt(2)) - 1)
    assert np.std(errors) == pytest.approx(0.04, abs=0.012)
    assert abs(np.mean(errors)) < 0.02


def test_a_tap_rings_and_dies_away(tmp_path: Path):
    path = written(tmp_path, tap_example())
    table = np.array([[float(c) for c in row.split(",")] for row in path.read_text().splitlines()[2:]])
    time, swing = table.T
    assert time == pytest.approx(np.arange(600) * 0.01)
    assert np.std(swing[:100]) == pytest.approx(0.03, abs=0.008)  # before the tap: noise alone
    after = time[100:] - 1.0
    expected = np.exp(-1.4 * after) * np.sin(2 * math.pi * 7.5 * after)
    assert np.std(swing[100:] - expected) == pytest.approx(0.03, abs=0.006)
    assert tapped(path).hz == pytest.approx(7.5, abs=0.1)


# --- readings of watts and fuel, and few watts ---


def test_readings_are_seven_percent_below_the_scenario(van: Scenario, tmp_path: Path):
    text = results_example(van)
    found = read_results(written(tmp_path, text, "results.toml"))
    assert "7 % fewer watts than the scenario predicts" in text.splitlines()[0]
    assert [r.what for r in found] == ["wattmeter", "wattmeter", "road test"]
    here = van.trip.road_speed.value
    for result, speed in zip(found, (0.85 * here, here), strict=False):
        assert result.road_speed.value == pytest.approx(speed, rel=2e-3)
        watts = 0.93 * float(answer(inputs_of(van, {"trip.road_speed": np.array(speed)})).turbine.electrical_power_w)
        assert result.electrical_power is not None
        assert result.electrical_power.value == pytest.approx(watts, abs=0.51)
        half = 0.5 * (result.electrical_power.high - result.electrical_power.low)
        assert half == pytest.approx(0.04 * watts, abs=0.51)
    change = float(answer(inputs_of(van)).change.volume_m3_s)
    reading = found[2].fuel_change
    assert reading is not None
    litre = 1e-3 / 3600
    assert reading.value == pytest.approx(0.95 * change, abs=0.0051 * litre)
    assert 0.5 * (reading.high - reading.low) == pytest.approx(0.2 * abs(change), abs=0.0051 * litre)
    assert found[2].road_speed.value == pytest.approx(here)


def test_readings_of_a_parked_and_of_a_slow_scenario(van: Scenario, demos: Path, tmp_path: Path):
    parked = load(demos / "parked_on_a_ridge" / "scenario.toml")
    found = read_results(written(tmp_path, results_example(parked), "results.toml"))
    assert found[0].what == "wattmeter"
    assert sum(r.what == "wattmeter" for r in found) == 1  # both would be one
    assert found[0].road_speed.value == 0.0
    slow = replace(van, trip=van.trip.model_copy(update={"road_speed": exact(1.0)}))
    found = read_results(written(tmp_path, results_example(slow), "results.toml"))
    assert found[-1].road_speed.value == pytest.approx(8.0 / van.rotor.local_speed_factor.value, rel=2e-3)


@pytest.mark.parametrize("connection", ["rectifier", "three_phase"])
def test_few_watts_of_air_that_is_slower_than_assumed(van: Scenario, tmp_path: Path, connection: str):
    assert van.generator is not None
    scenario = replace(van, generator=van.generator.model_copy(update={"connection": connection}))
    text = shortfall_example(scenario)
    assert text.splitlines()[0].endswith("the air at the rotor is 0.7 times what the scenario says.")
    assert text.splitlines()[1] == "road_speed_km_h,electrical_power_w,rotor_speed_rpm,voltage_v"
    found = read_readings(written(tmp_path, text))
    local = van.rotor.local_speed_factor.value
    speeds = float(inputs_of(scenario).rotor_air_speed_m_s) / local * np.array([1.0, 1.15, 1.3])
    work = at_work(scenario, road=speeds, local=np.full(3, 0.7 * local))
    assert found.road_speed_m_s == pytest.approx(speeds, abs=0.015)
    assert found.electrical_power_w == pytest.approx(np.asarray(work.heat_power_w), abs=0.51)
    assert found.rotor_speed_rad_s == pytest.approx(np.asarray(work.rotor_speed_rad_s), abs=0.06)
    # Ohm's law at the element: U²/R, between two leads √3 times one element's where three are in star.
    ohm = float(np.asarray(inputs_of(scenario).turbine.chain.element_resistance_ohm))  # type: ignore[union-attr]
    across = np.sqrt(np.asarray(work.heat_power_w) * ohm / (3 if connection == "three_phase" else 1))
    line = math.sqrt(3) if connection == "three_phase" else 1.0
    assert found.voltage_v == pytest.approx(across * line, abs=0.06)
    assert shortfall_example(scenario, "us").splitlines()[1].startswith("road_speed_mph,")


# --- the plan of a stepped drive ---


@pytest.fixture
def no_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Plans without their limits, which another test looks at: they are what takes long."""
    monkeypatch.setattr(stepping, "_broken", lambda *_: ())


@pytest.mark.usefixtures("no_limits")
def test_a_plan_goes_twice_through_its_settings(van: Scenario):
    plan = stepping_plan(van)
    assert plan.kind == "pitch"
    assert plan.hold_s == HOLD_S == 45.0
    settings = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    assert len(plan.order) == 12
    assert sorted(plan.order[:6]) == sorted(plan.order[6:]) == settings
    assert stepping_plan(van) == plan
    assert stepping_plan(van, seed=2).order != plan.order
    assert stepping_plan(van, "ratio").order[0] in stepped(van, "ratio")[2]
    assert stepping_plan(van, "resistance").kind == "resistance"


@pytest.mark.usefixtures("no_limits")
def test_no_setting_comes_twice_in_a_row(van: Scenario):
    plans = [stepping_plan(van, "ratio", "1, 2, 3", seed=seed).order for seed in range(12)]
    for order in plans:
        assert all(a != b for a, b in itertools.pairwise(order))
        assert sorted(order[:3]) == sorted(order[3:]) == [1.0, 2.0, 3.0]
    rolled = 0
    for seed, order in enumerate(plans):
        draw = np.random.default_rng(seed)
        first, second = draw.permutation(3), draw.permutation(3)
        assert order[:3] == tuple(1.0 + first)
        if first[-1] == second[0]:
            second = second[[2, 0, 1]]
            rolled += 1
        assert order[3:] == tuple(1.0 + second)
    assert rolled >= 2


@pytest.mark.usefixtures("no_limits")
@pytest.mark.parametrize(
    ("kind", "typed", "settings"),
    [
        (None, "4, 2,6", (2.0, 4.0, 6.0)),
        ("pitch", "-4, 0.1 rad", (-4.0, math.degrees(0.1))),
        ("pitch", "-200, 3", (-200.0, 3.0)),
        ("resistance", "500 mohm, 9, 12 ohm", (0.5, 9.0, 12.0)),
        ("ratio", "2, 1000000", (2.0, 1e6)),
        ("ratio", ",".join(str(k) for k in range(1, 31)), tuple(range(1, 31))),
    ],
)
def test_typed_settings(van: Scenario, kind, typed, settings):
    plan = stepping_plan(van, kind, typed)
    assert plan.kind == (kind or "pitch")
    half = len(plan.order) // 2
    assert sorted(plan.order[:half]) == pytest.approx(sorted(settings))


@pytest.mark.parametrize(
    ("kind", "typed", "said"),
    [
        ("pitch", "2, many", r"--settings: many: .*numbers such as \"2, 4, 6\" \(deg\)"),
        ("resistance", "2, 3 V", r"3 V: .*\(ohm\)"),
        ("ratio", "0, 2", "accepted: finite numbers above 0"),
        ("resistance", "-1, 2", "accepted: finite numbers above 0"),
        ("pitch", "2, inf", "accepted: finite numbers above 0"),
        ("pitch", "2, nan", "accepted: finite numbers above 0"),
        ("ratio", "2, 1000001", "accepted: finite numbers above 0"),
        ("pitch", "2", "1 different settings of 1; accepted: 2 to 30 settings, each once"),
        ("pitch", "2, 4, 2", "2 different settings of 3"),
        ("pitch", ",".join(str(k) for k in range(31)), "31 different settings of 31"),
    ],
)
def test_settings_that_cannot_be_stepped(van: Scenario, kind, typed, said):
    with pytest.raises(InputError, match=said):
        stepping_plan(van, kind, typed)


@pytest.mark.parametrize(("seconds", "accepted"), [(4.9, False), (5.0, True), (3600.0, True), (3601.0, False)])
def test_how_long_a_setting_is_held(van: Scenario, seconds, accepted):
    if accepted:
        assert stepping_plan(van, "pitch", "2, 4", seconds).hold_s == seconds
        return
    with pytest.raises(InputError, match=rf"--hold: {seconds:g} s; accepted: 5 s to 3600 s"):
        stepping_plan(van, "pitch", "2, 4", seconds)


def test_settings_that_break_a_limit_are_named_from_the_smallest_on(van: Scenario, monkeypatch: pytest.MonkeyPatch):
    """At the highest road speed of the scenario, its gust's 110 km/h: held against the chain at each setting."""
    low = replace(van, rotor=van.rotor.model_copy(update={"highest_rotor_speed": exact(70.0)}))
    plan = stepping_plan(low, "pitch", "12, 2, 6")
    expected = {}
    for pitch in (2.0, 6.0, 12.0):
        at = inputs_of(low, {"trip.road_speed": np.array(low.fastest_road_speed_m_s), "rotor.pitch": np.array(pitch)})
        broken = {one.key: one.value for one in operating_limits(at, turbine_at_work(at)) if one.value > one.limit}
        if broken:
            expected[pitch] = broken
    assert expected
    assert list(dict(plan.broken)) == sorted(expected)
    for setting, limits in plan.broken:
        assert {one.key: pytest.approx(one.value) for one in limits} == expected[setting]
    by_watts = replace(inputs_of(low), turbine=replace(inputs_of(low).turbine, chain=None))
    monkeypatch.setattr(stepping, "inputs_of", lambda _: by_watts)
    assert stepping_plan(low, "pitch", "12, 2, 6").broken == ()
