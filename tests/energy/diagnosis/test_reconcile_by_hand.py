"""Readings against the model, worked out again: posterior in closed form and by weighed draws, readings one by one."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from energy.chain.ledger import answer
from energy.chain.load import load
from energy.diagnosis import reconcile as updating
from energy.diagnosis.reconcile import (
    READINGS,
    Fit,
    Reconciled,
    Result,
    Updated,
    _compared,
    _conditions,
    _limits_read,
    _nuisance,
    _predictions,
    _updated,
    _with_means,
    as_scenario,
    fit,
    reconcile,
    reconciled,
    results_of,
    unit_of,
)
from energy.scenario.inputs import inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from vehicle.problems import InputError
from vehicle.quantity import Uncertain

LITRE_PER_HOUR = 1e-3 / 3600


def exact(value: float) -> Uncertain:
    return Uncertain(value, value, value)


def normal(value: float, deviation: float) -> Uncertain:
    return Uncertain(value, value - 1.959964 * deviation, value + 1.959964 * deviation, "normal")


def test_linear_readings_have_the_exact_posterior():
    """Gelman et al., Bayesian Data Analysis, chapter 14 (from memory): precision 1 + AᵀA, in correlated scores."""
    draw = np.random.default_rng(1)
    slope, constant = draw.normal(size=(3, 2)), np.array([0.4, -0.7])
    root = np.linalg.cholesky(np.array([[1.0, 0.6, 0.0], [0.6, 1.0, -0.3], [0.0, -0.3, 1.0]]))
    values, deviations = np.array([1.5, 0.2]), np.array([0.3, 0.8])
    asked = []

    def model(scores):
        asked.append(scores)
        return constant + scores @ slope

    found = fit(model, 3, values, deviations, root)
    prior = root @ root.T
    precision = np.linalg.inv(prior) + slope @ np.diag(deviations**-2) @ slope.T
    mean = np.linalg.solve(precision, slope @ ((values - constant) / deviations**2))
    assert found.mean == pytest.approx(mean)
    assert found.covariance == pytest.approx(np.linalg.inv(precision))
    assert found.before == pytest.approx(constant)
    assert found.after == pytest.approx(constant + mean @ slope)
    assert found.prior_deviation == pytest.approx(np.sqrt(np.diag(slope.T @ prior @ slope)))
    missed = values - constant
    whole = slope.T @ prior @ slope + np.diag(deviations**2)
    assert found.chi_square == pytest.approx(missed @ np.linalg.solve(whole, missed))
    assert len(asked[0]) == 7  # a point and one step either side of it along each score
    alone = fit(model, 3, values, deviations)
    precision = np.eye(3) + slope @ np.diag(deviations**-2) @ slope.T
    assert alone.covariance == pytest.approx(np.linalg.inv(precision))


def test_a_curved_model_is_met_where_its_posterior_is_greatest():
    """One score, y = exp(x) read as 3 ± 0.5: z + (exp(z) − 3)·exp(z)/0.25 = 0 (by bisection), spread of its line."""
    found = fit(lambda scores: np.exp(scores), 1, np.array([3.0]), np.array([0.5]))
    low, high = 0.0, 2.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if middle + (math.exp(middle) - 3) * math.exp(middle) / 0.25 > 0 else (middle, high)
    assert found.mean[0] == pytest.approx(low, abs=1e-6)
    assert found.covariance[0, 0] == pytest.approx(1 / (1 + math.exp(2 * low) / 0.25), rel=1e-5)
    assert found.chi_square == pytest.approx(low**2 + ((math.exp(low) - 3) / 0.5) ** 2)
    assert found.prior_deviation[0] == pytest.approx(1.0, rel=1e-5)


def test_the_whole_update_is_that_of_weighed_draws(van: Scenario):
    """Bayes by brute force: draws of the scenario's own ranges, weighed by the likelihood of two readings."""
    readings = (
        Result(what="wattmeter", road_speed=exact(80 / 3.6), electrical_power=normal(1250.0, 150.0)),
        Result(road_speed=exact(100 / 3.6), rotor_speed=normal(60.0, 4.0)),
    )
    told: list[float] = []
    found = reconcile(van, readings, progress=told.append)
    ranges = ranges_of(van)
    world = draws_of(ranges, sobol_sample(4096, len(ranges), seed=3))
    predicted = [answer(inputs_of(van, {**world, "trip.road_speed": np.array(v / 3.6)})).turbine for v in (80.0, 100.0)]
    watts, speed = np.asarray(predicted[0].electrical_power_w), np.asarray(predicted[1].rotor_speed_rad_s)
    weight = np.exp(-0.5 * ((watts - 1250) / 150) ** 2 - 0.5 * ((speed - 60) / 4) ** 2)
    weight /= weight.sum()
    moved = 0
    for updated in found.inputs:
        values = world[updated.key]
        mean = float(weight @ values)
        spread = math.sqrt(float(weight @ (values - mean) ** 2))
        before = ranges[updated.key].standard_deviation
        assert updated.before == ranges[updated.key]
        assert updated.mean == pytest.approx(mean, abs=0.15 * before), updated.key
        assert updated.standard_deviation == pytest.approx(spread, rel=0.12), updated.key
        assert updated.shrinks_by == pytest.approx(1 - updated.standard_deviation / before)
        order = np.argsort(values)
        levels = np.cumsum(weight[order])
        ends = np.interp([0.05, 0.95], levels, values[order])
        assert [updated.low, updated.high] == pytest.approx(ends, abs=0.35 * before), updated.key
        moved += abs(updated.moved) > 0.3
    assert moved >= 1
    shrunk = [u.standard_deviation / u.before.standard_deviation for u in found.inputs]
    assert shrunk == sorted(shrunk)
    change = np.asarray(answer(inputs_of(van, world)).change.power_w)
    order = np.argsort(change)
    middle = np.interp([0.05, 0.5, 0.95], np.cumsum(weight[order]), change[order])
    assert found.before is not None
    ends = (found.after.change_w[0], found.after.change_w[-1])
    assert ends == pytest.approx((middle[0], middle[2]), abs=0.1 * (middle[2] - middle[0]))
    wide = np.quantile(change, [0.05, 0.95])
    assert found.before.change_w[0] == pytest.approx(wide[0], abs=0.05 * (wide[1] - wide[0]))
    assert ends[1] - ends[0] < found.before.change_w[-1] - found.before.change_w[0]
    assert found.probability == pytest.approx(chi2.sf(found.chi_square, 2))
    assert [(r.result, r.what, r.reading) for r in found.readings] == [
        (1, "wattmeter", "electrical_power"),
        (2, "", "rotor_speed"),
    ]
    assert [(r.value, r.standard_deviation) for r in found.readings] == [
        (1250.0, pytest.approx(150.0, rel=1e-6)),
        (60.0, pytest.approx(4.0, rel=1e-6)),
    ]
    assert told[0] == 0.2
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_a_reading_against_its_prediction_before_and_after():
    posterior = Fit(np.zeros(1), np.eye(1), np.array([0.0, 100.0]), np.array([0.0, 112.0]), np.array([0.0, 12.0]), 1.0)
    found = _compared(2, Result(what="meter", road_speed=exact(1.0)), "thrust", posterior, 1, (120.0, 5.0))
    assert (found.result, found.what, found.reading, found.value, found.standard_deviation) == (
        3,
        "meter",
        "thrust",
        120.0,
        5.0,
    )
    assert (found.before, found.after) == (100.0, 112.0)
    assert found.miss_before == pytest.approx(20 / 13)
    assert found.miss_after == pytest.approx(8 / 5)


def test_inputs_before_and_after_those_told_most_first():
    inputs = {"a": normal(5.0, 2.0), "b": normal(1.0, 0.1)}
    draw = np.random.default_rng(1)
    drawn = {"a": draw.normal(6.0, 1.9, 500), "b": draw.normal(1.1, 0.02, 500)}
    posterior = Fit(np.array([0.5, 1.0, 9.0]), np.eye(3), np.zeros(1), np.zeros(1), np.zeros(1), 0.0)
    first, second = _updated(inputs, drawn, posterior)
    assert (first.key, second.key) == ("b", "a")
    assert (first.moved, second.moved) == (1.0, 0.5)
    assert second.mean == pytest.approx(sum(drawn["a"]) / 500)
    assert second.standard_deviation == pytest.approx(math.sqrt(sum((v - second.mean) ** 2 for v in drawn["a"]) / 500))
    ordered = sorted(drawn["a"])
    assert second.low == pytest.approx(ordered[24] + 0.95 * (ordered[25] - ordered[24]))
    assert second.high == pytest.approx(ordered[474] + 0.05 * (ordered[475] - ordered[474]))


@pytest.mark.parametrize(("probability", "agrees"), [(0.05, True), (0.0499, False)])
def test_worse_than_nineteen_of_twenty_is_a_contradiction(probability, agrees):
    assert Reconciled(None, None, (), (), 1.0, probability).agrees == agrees  # type: ignore[arg-type]


def test_conditions_are_exact_or_unknowns_of_one_result():
    gusty = Uncertain(2.0, 1.0, 3.0, "uniform")
    results = (
        Result(road_speed=exact(20.0), wind_speed=gusty, thrust=normal(50.0, 2.0)),
        Result(road_speed=normal(25.0, 1.0), thrust=normal(50.0, 2.0)),
        Result(road_speed=exact(30.0), wind_speed=exact(1.0), grade=exact(0.02), thrust=normal(50.0, 2.0)),
    )
    nuisance = _nuisance(results)
    assert nuisance == [(0, "wind_speed"), (1, "road_speed")]
    found = _conditions(results, nuisance, np.array([[0.0, 0.0], [50.0, 2.0]]))
    assert set(found) == {"trip.road_speed", "air.wind_speed", "trip.grade"}
    speeds, told = found["trip.road_speed"]
    assert speeds == pytest.approx(np.array([[20, 25, 30], [20, 27, 30]]), rel=1e-5)
    assert told.tolist() == [True, True, True]
    wind, told = found["air.wind_speed"]
    assert told.tolist() == [True, False, True]
    assert wind[:, 0] == pytest.approx([2.0, 3.0])
    assert wind[:, 2].tolist() == [1.0, 1.0]
    assert found["trip.grade"][1].tolist() == [False, False, True]


@pytest.mark.parametrize("drive", ["fuel", "battery"])
def test_what_the_model_says_of_every_reading(van: Scenario, van_folder: Path, drive: str):
    """Each prediction is the answer at that result's own conditions and the draw's inputs, one at a time."""
    if drive == "battery":
        text = (van_folder / "scenario.toml").read_text(encoding="utf-8")
        start = text.index("\n[engine]") + 1
        text = text[:start] + "[battery]\n\n" + text[text.index("\n[", start) + 1 :]
        (van_folder / "scenario.toml").write_text(text, encoding="utf-8")
        van = load(van_folder / "scenario.toml")
    names = [name for name in READINGS if name.startswith(drive) or not name.startswith(("fuel", "battery"))]
    road = [exact(v / 3.6) for v in (80, 100, 60)]
    results = (
        Result(
            road_speed=road[0], pitch=exact(6.0), wind_speed=exact(3.0), wind_from=exact(0.5), thrust=normal(1.0, 1.0)
        ),
        Result(
            road_speed=road[1], grade=exact(0.01), resistance=exact(7.0), compared_with="stowed", thrust=normal(1, 1)
        ),
        Result(road_speed=road[2], temperature=exact(273.15), thrust=normal(1.0, 1.0)),
    )
    keys = {
        "road_speed": "trip.road_speed",
        "wind_speed": "air.wind_speed",
        "wind_from": "air.wind_from",
        "grade": "trip.grade",
        "temperature": "air.temperature",
        "pitch": "rotor.pitch",
        "resistance": "heater.resistance",
    }
    ranges = ranges_of(van)
    drawn = draws_of(ranges, sobol_sample(2, len(ranges), seed=5))
    readings = [(j, name) for j in range(3) for name in names]
    found = _predictions(van, results, readings, drawn, _conditions(results, [], np.zeros((2, 0))))
    assert found.shape == (2, 27 if drive == "fuel" else 24)
    for n in range(2):
        for j, result in enumerate(results):
            at = {key: np.array(v[n]) for key, v in drawn.items()}
            at |= {key: np.array(value.value) for name, key in keys.items() if (value := getattr(result, name))}
            ledger = answer(inputs_of(van, at))
            turbine, fuel = ledger.turbine, ledger.inputs.fuel
            assert (fuel is None) == (drive == "battery")
            unit = 1.0 if fuel is None else fuel.heating_value_j_per_m3
            working, without = (
                float(ledger.states[name].supply.source_w) / unit
                for name in ("working", "stowed" if j == 1 else "absent")
            )
            expected = {
                "electrical_power": turbine.electrical_power_w,
                "heat_power": turbine.heat_power_w,
                "current": turbine.electrical.current_a,  # type: ignore[union-attr]
                "rotor_speed": turbine.rotor_speed_rad_s,
                "thrust": turbine.thrust_n,
                "fuel_without": without,
                "fuel_working": working,
                "fuel_change": working - without,
                "fuel_change_per_distance": (working - without) / result.road_speed.value,
                "battery_power_without": without,
                "battery_power_working": working,
                "battery_power_change": working - without,
            }
            for k, name in enumerate(names):
                assert found[n, len(names) * j + k] == pytest.approx(float(expected[name]), rel=1e-6), (j, name)


def test_standing_still_nothing_is_divided_by_the_speed(van: Scenario):
    standing = (
        Result(road_speed=exact(20.0), thrust=normal(1.0, 1.0)),
        Result(road_speed=exact(0.0), current=normal(1.0, 1.0)),
    )
    drawn = {key: np.array([v.value]) for key, v in ranges_of(van).items()}
    found = _predictions(
        van, standing, [(1, "fuel_change_per_distance")], drawn, _conditions(standing, [], np.zeros((1, 0)))
    )
    assert np.isfinite(found).all()


def test_units_of_readings():
    assert {name: unit_of(name) for name in ("thrust", "current", "fuel_change_per_distance", "rotor_speed")} == {
        "thrust": "N",
        "current": "A",
        "fuel_change_per_distance": "m**2",
        "rotor_speed": "rad/s",
    }


def test_nothing_uncertain_is_nothing_to_update(van: Scenario, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(updating, "ranges_of", lambda _: {})
    with pytest.raises(InputError, match="nothing uncertain; accepted: inputs with ± or low and high to update"):
        reconcile(van, (Result(road_speed=exact(20.0), thrust=normal(50.0, 2.0)),))


@pytest.mark.parametrize("fault", [np.linalg.LinAlgError("singular"), ValueError("not finite")])
def test_what_cannot_be_solved_is_one_sentence(van: Scenario, monkeypatch: pytest.MonkeyPatch, fault: Exception):
    def failing(*_: object) -> Fit:
        raise fault

    monkeypatch.setattr(updating, "fit", failing)
    with pytest.raises(InputError, match=f"cannot be weighed against it \\({fault}\\)"):
        reconcile(van, (Result(road_speed=exact(20.0), thrust=normal(50.0, 2.0)),))


def test_limits_are_held_against_the_highest_readings(van: Scenario):
    def one(**more: Uncertain) -> Result:
        return Result(road_speed=exact(20.0), **more)  # type: ignore[arg-type]

    found = _limits_read(
        van, (one(rotor_speed=normal(100.0, 1.0)), one(rotor_speed=normal(90.0, 1.0), thrust=normal(2600.0, 9.0)))
    )
    assert {o.key: o.value for o in found} == {
        "rotor.highest_rotor_speed": 100.0,
        "rotor.highest_tip_speed": pytest.approx(90.0),
        "rotor.highest_thrust": 2600.0,
    }
    watts = _limits_read(
        van, (one(heat_power=normal(2000.0, 9.0)), one(electrical_power=normal(3100.0, 9.0), current=normal(17.0, 1.0)))
    )
    assert {o.key: o.value for o in watts} == {"heater.rated_power": 3100.0, "generator.highest_current": 17.0}
    assert _limits_read(van, (one(heat_power=normal(2999.0, 9.0)),)) == ()


def test_the_scenario_with_what_was_learnt(van: Scenario):
    local, area = van.rotor.local_speed_factor, ranges_of(van)["vehicle.drag_area"]
    changed = _with_means(
        van,
        [
            Updated("rotor.local_speed_factor", local, 0.55, 0.02, 0.5, 0.6, 0.0),
            Updated("vehicle.drag_area", area, 1.5, 0.03, 1.4, 1.6, 0.0),
        ],
    )
    assert changed.rotor.local_speed_factor.value == pytest.approx(0.55)
    assert changed.rotor.local_speed_factor.standard_deviation == pytest.approx(0.02)
    assert changed.vehicle.drag_area.value == pytest.approx(1.5)
    assert van.rotor.local_speed_factor == local
    assert as_scenario(Updated("x", local, 0.55, 0.02, 0.5, 0.6, 0.0)).standard_deviation == pytest.approx(0.02)


def test_limits_with_what_was_learnt(van: Scenario, monkeypatch: pytest.MonkeyPatch):
    """More air at the rotor than was assumed: at the scenario's own road speed it would turn too fast."""
    held = van.rotor.model_copy(update={"highest_rotor_speed": exact(75.0), "highest_tip_speed": exact(500.0)})
    scenario = replace(van, rotor=held)
    inputs = (Updated("rotor.local_speed_factor", van.rotor.local_speed_factor, 0.7, 0.01, 0.69, 0.71, 0.0),)
    done = Reconciled(None, None, inputs, (), 1.0, 0.5)  # type: ignore[arg-type]
    seen = []
    monkeypatch.setattr(updating, "reconcile", lambda *args: seen.append(args) or done)
    readings = (Result(road_speed=exact(20.0), rotor_speed=normal(80.0, 1.0)),)
    found = reconciled(scenario, readings)
    assert seen == [(scenario, readings, None, None)]  # no trip: the steady answer
    assert [(o.key, o.value) for o in found.broken_read] == [("rotor.highest_rotor_speed", 80.0)]
    at = inputs_of(scenario, {"rotor.local_speed_factor": np.array(0.7)})
    speed = float(answer(at).turbine.rotor_speed_rad_s)
    assert speed > 75
    assert {o.key: o.value for o in found.broken_after}["rotor.highest_rotor_speed"] == pytest.approx(speed, rel=1e-3)


def test_faults_of_results_are_all_told():
    data = {
        "other": 3,
        "result": [
            5,
            {"road_speed": "20 m/s"},
            {"road_speed": "20 m/s", "thrust": "50 N", "current": {"value": "2 A", "plus_minus": "1 A"}},
            {"thrust": {"value": "50 N", "plus_minus": "1 N"}},
        ],
    }
    with pytest.raises(InputError) as caught:
        results_of(data, "mine.toml")
    said = [(p.where, p.key, p.read) for p in caught.value.problems]
    assert said[:3] == [
        ("mine.toml", "other", "unknown key"),
        ("mine.toml", "result 1", "5 is no table"),
        ("mine.toml", "result 2", "no reading"),
    ]
    assert said[3] == ("mine.toml", "result 3.thrust", "a reading without its own uncertainty")
    assert said[4][1].startswith("result 4")
    assert len(said) == 5
    assert caught.value.problems[2].accepted == "one of " + ", ".join(READINGS)
    with pytest.raises(InputError, match="at least one"):
        results_of({"result": []}, "mine.toml")
    whole = results_of(
        {"result": data["result"][2:3]}
        | {"result": [{"road_speed": "20 m/s", "thrust": {"value": "50 N", "plus_minus": "1 N"}}] * 2},
        "m",
    )
    assert [r.thrust.value for r in whole if r.thrust] == [50.0, 50.0]


def test_a_trip_is_answered_as_a_trip(demos: Path, monkeypatch: pytest.MonkeyPatch):
    from energy.chain.load import load

    town = load(demos / "van_in_town" / "scenario.toml")
    seen = []
    done = Reconciled(None, None, (), (), 1.0, 0.5)  # type: ignore[arg-type]
    monkeypatch.setattr(updating, "reconcile", lambda *args: seen.append(args) or done)
    monkeypatch.setattr(updating, "broken_as_stated", lambda _: ())
    reconciled(town, (Result(road_speed=exact(20.0), thrust=normal(80.0, 1.0)),))
    assert callable(seen[0][2])
