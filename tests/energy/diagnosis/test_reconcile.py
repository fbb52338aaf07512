from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from tests_support import of_study

from energy.chain.draws import spread_of
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.commands.reconcile import command
from energy.diagnosis import reconcile as updating
from energy.diagnosis.reconcile import Result, as_scenario, read_results, reconcile
from energy.scenario.inputs import inputs_of, ranges_of
from energy.scenario.keys import spec_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of
from energy.uncertainty.propagate import Sampling
from vehicle.problems import InputError
from vehicle.quantity import Uncertain, read_quantity, written

WATTS, LITRES = 40.0, 0.3 / 3.6e6  # standard deviations of the readings below


def results_of(watts: float, change_m3_s: float) -> tuple[Result, ...]:
    def known(value: float, deviation: float) -> Uncertain:
        return Uncertain(value, value - 1.959964 * deviation, value + 1.959964 * deviation, "normal")

    def exactly(value: float) -> Uncertain:
        return Uncertain(value, value, value)

    return (
        Result(road_speed=exactly(80 / 3.6), electrical_power=known(watts, WATTS)),
        Result(road_speed=exactly(100 / 3.6), fuel_change=known(change_m3_s, LITRES)),
    )


def readings_in(scenario: Scenario, world: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    slow = answer(inputs_of(scenario, {**world, "trip.road_speed": np.array(80 / 3.6)}))
    fast = answer(inputs_of(scenario, {**world, "trip.road_speed": np.array(100 / 3.6)}))
    return slow.turbine.electrical_power_w, fast.change.volume_m3_s


def test_synthetic_worlds_are_found_again(van: Scenario) -> None:
    """In worlds drawn from the stated ranges, with honest readings: 90 % intervals hold, and few are called wrong.

    Of 32 worlds 24 to 31 (binomial, 98 %), of 12 so many; the posterior itself is held to weighed draws in
    test_reconcile_by_hand.py.
    """
    rng = np.random.default_rng(5)
    ranges = ranges_of(van)
    worlds = 32
    world = draws_of(ranges, rng.uniform(1e-6, 1 - 1e-6, (worlds, len(ranges))))
    watts, change = readings_in(van, world)
    watts = np.maximum(watts + rng.normal(0, WATTS, worlds), 0.0)
    change = change + rng.normal(0, LITRES, worlds)
    truth = answer(inputs_of(van, world)).change.power_w
    held, factor_held, called_wrong, narrower = 0, 0, 0, []
    looked_at, held_in = of_study((12, (9, 11)), (worlds, (24, 31)))
    for k in range(looked_at):
        found = reconcile(van, results_of(float(watts[k]), float(change[k])))
        assert found.before is not None
        held += found.after.change_w[0] <= truth[k] <= found.after.change_w[-1]
        local = next(u for u in found.inputs if u.key == "rotor.local_speed_factor")
        factor_held += local.low <= world["rotor.local_speed_factor"][k] <= local.high
        called_wrong += not found.agrees
        narrower.append(
            (found.after.change_w[-1] - found.after.change_w[0])
            / (found.before.change_w[-1] - found.before.change_w[0])
        )
    assert held_in[0] <= held <= held_in[1]
    assert held_in[0] <= factor_held <= held_in[1]
    assert called_wrong / looked_at <= 0.10
    assert np.mean(narrower) < 0.7


def test_readings_that_contradict_are_told(van: Scenario) -> None:
    nominal = answer(inputs_of(van))
    change = float(nominal.change.volume_m3_s)
    good = reconcile(van, results_of(920.0, change))
    assert good.agrees
    bad = reconcile(van, results_of(2600.0, change))
    assert not bad.agrees
    worst = max(bad.readings, key=lambda r: abs(r.miss_before))
    assert worst.reading == "electrical_power"
    assert abs(worst.miss_before) > 3
    assert any(abs(u.moved) > 2 for u in bad.inputs)


def test_the_miss_before_is_set_against_both_doubts(van: Scenario) -> None:
    # Law of propagation (JCGM 100:2008, 5.1.2): the variance of reading less prediction is the sum of both. Here from
    # draws of the scenario's own ranges, so that a prediction's doubt left out, or the reading's, would show.
    ranges = ranges_of(van)
    world = draws_of(ranges, np.random.default_rng(3).uniform(1e-6, 1 - 1e-6, (4000, len(ranges))))
    predicted = readings_in(van, world)[0]
    doubt = float(np.std(predicted))
    reading = Uncertain(1500.0, 1500.0 - 1.959964 * doubt, 1500.0 + 1.959964 * doubt, "normal")
    road = Uncertain(80 / 3.6, 80 / 3.6, 80 / 3.6)
    row = reconcile(van, (Result(road_speed=road, electrical_power=reading),)).readings[0]
    both = math.sqrt(2) * doubt
    assert row.miss_before == pytest.approx((1500.0 - row.before) / both, rel=0.12)
    assert row.miss_after == pytest.approx((1500.0 - row.after) / doubt, rel=1e-6)


def test_a_reading_worth_nothing_changes_nothing(van: Scenario) -> None:
    road = Uncertain(80 / 3.6, 80 / 3.6, 80 / 3.6)
    useless = (Result(road_speed=road, electrical_power=Uncertain(900.0, -1e6, 1e6, "normal")),)
    found = reconcile(van, useless)
    before = spread_of(van, sampling=Sampling(with_sensitivity=False))
    assert before is not None
    assert found.after.change_w == pytest.approx(before.change_w, rel=0.02)
    assert max(abs(u.moved) for u in found.inputs) < 1e-3


def test_conditions_known_only_roughly_weigh_less(van: Scenario) -> None:
    road = Uncertain(80 / 3.6, 80 / 3.6, 80 / 3.6)
    watts = Uncertain(1000.0, 980.0, 1020.0, "normal")
    still = Uncertain(0.0, 0.0, 0.0)
    gusty = Uncertain(0.0, 0.0, 3.0, "uniform")
    shrinks = []
    for wind in (still, gusty):
        found = reconcile(van, (Result(road_speed=road, wind_speed=wind, electrical_power=watts),))
        shrinks.append(next(u for u in found.inputs if u.key == "rotor.local_speed_factor").shrinks_by)
    assert shrinks[0] > shrinks[1] + 0.05


def test_other_settings_and_other_comparisons(van: Scenario) -> None:
    road = Uncertain(90 / 3.6, 90 / 3.6, 90 / 3.6)

    def one(**more: object) -> Result:
        return Result(road_speed=road, **more)  # type: ignore[arg-type]

    inputs = {"trip.road_speed": np.array(90 / 3.6), "rotor.pitch": np.array(2.0), "heater.resistance": np.array(7.0)}
    expected = answer(inputs_of(van, inputs))
    watts = Uncertain(800.0, 760.0, 840.0, "normal")
    litre = 1e-3 / 3600
    found = reconcile(
        van,
        (
            one(pitch=Uncertain(2.0, 2.0, 2.0), resistance=Uncertain(7.0, 7.0, 7.0), heat_power=watts),
            one(compared_with="stowed", fuel_change=Uncertain(2 * litre, litre, 3 * litre, "normal")),
            one(fuel_without=Uncertain(7 * litre, 6 * litre, 8 * litre, "normal")),
        ),
    )
    names = [r.reading for r in found.readings]
    assert names == ["heat_power", "fuel_change", "fuel_without"]
    steady = answer(inputs_of(van, {"trip.road_speed": np.array(90 / 3.6)}))
    # At the median of every input the prediction is near that of the values as stated.
    assert found.readings[0].before == pytest.approx(float(expected.turbine.heat_power_w), rel=0.1)
    stowed = steady.states["working"].supply.source_w - steady.states["stowed"].supply.source_w
    assert steady.inputs.fuel is not None
    assert found.readings[1].before == pytest.approx(
        float(stowed) / steady.inputs.fuel.heating_value_j_per_m3, rel=0.15
    )


def test_what_it_prints_can_be_pasted(van: Scenario, demos: Path) -> None:
    found = reconcile(van, results_of(1100.0, float(answer(inputs_of(van)).change.volume_m3_s)))
    for updated in found.inputs:
        if updated.shrinks_by < 0.02:
            continue
        known = as_scenario(updated)
        text = written(known, spec_of(updated.key).unit)
        again = load(demos / "van_water_tank" / "scenario.toml", [f"{updated.key}={text}"])
        table, name = updated.key.split(".")
        value = getattr(again.table(table), name)
        assert value.value == pytest.approx(known.value, abs=0.1 * known.standard_deviation)
        assert value.standard_deviation == pytest.approx(known.standard_deviation, rel=0.06)
    assert read_quantity({"value": "20 degC", "plus_minus": "2 K"}, spec_of("air.temperature")).value == pytest.approx(
        293.15
    )
    assert written(Uncertain(293.15, 291.15, 295.15, "normal"), "K") == '{ value = "20.0 degC", plus_minus = "2.0 K" }'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "at least one"),
        ("[[result]]\nroad_speed = '80 km/h'\n", "no reading"),
        ("[[result]]\nroad_speed = '80 km/h'\nheat_power = '900 W'\n", "without its own uncertainty"),
        ("[[result]]\nroad_sped = '80 km/h'\n", "road_speed"),
        ("[[result]]\nroad_speed = '80'\nheat_power = { low = '1 W', high = '2 W' }\n", "unit"),
        ("[[reading]]\n", "unknown key"),
        ("result = 3\n", "at least one"),
    ],
)
def test_faulty_results_are_told(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "results.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_results(path)


def test_a_reading_of_nothing_is_known_to_its_own_error(tmp_path: Path, van: Scenario) -> None:
    """What an instrument tells is 0 W ± 10 W; a speed that the driver states keeps both its ends."""
    path = tmp_path / "results.toml"
    nothing = "[[result]]\nroad_speed = '80 km/h'\nelectrical_power = { value = '0 W', plus_minus = '10 W' }\n"
    path.write_text(nothing, encoding="utf-8")
    (result,) = read_results(path)
    assert result.electrical_power is not None
    assert (result.electrical_power.low, result.electrical_power.high) == pytest.approx((-10.0, 10.0))
    assert not reconcile(van, [result]).agrees  # the van's generator gives more
    for wrong, key in (
        (nothing.replace("'0 W'", "'-1 W'"), "electrical_power"),
        (nothing.replace("'80 km/h'", "{ value = '3 km/h', plus_minus = '4 km/h' }"), "road_speed"),
    ):
        path.write_text(wrong, encoding="utf-8")
        with pytest.raises(InputError, match=key):
            read_results(path)


@pytest.mark.parametrize(
    ("key", "within", "beyond"),
    [
        ("pitch", ("-20 deg", "100 deg"), ("-21 deg", "101 deg")),
        ("grade", ("-0.4", "0.4"), ("-0.41", "0.41")),
        ("wind_speed", ("0 m/s", "60 m/s"), ("-1 m/s", "61 m/s")),
        ("temperature", ("-40 degC", "340 K"), ("341 K",)),
        ("resistance", ("0.1 ohm",), ("0 ohm",)),
    ],
)
def test_a_condition_is_read_to_its_limits(
    tmp_path: Path, key: str, within: tuple[str, ...], beyond: tuple[str, ...]
) -> None:
    """From feather to beyond stall, any road, any wind in which somebody drives: own choice."""
    path = tmp_path / "results.toml"

    def written(text: str) -> Path:
        value = text if key == "grade" else f'"{text}"'
        known = 'electrical_power = { value = "900 W", plus_minus = "40 W" }'
        path.write_text(f'[[result]]\nroad_speed = "80 km/h"\n{key} = {value}\n{known}\n', encoding="utf-8")
        return path

    for text in within:
        assert getattr(read_results(written(text))[0], key) is not None
    for text in beyond:
        with pytest.raises(InputError, match=key):
            read_results(written(text))


def test_what_cannot_be_weighed_is_one_sentence(van: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    """Readings that leave the fit singular (here: a fit without a covariance) are told, not a failure of algebra."""
    whole = updating.fit

    def flat(*arguments: Any) -> Any:
        fitted = whole(*arguments)
        return replace(fitted, covariance=np.zeros_like(fitted.covariance))

    monkeypatch.setattr(updating, "fit", flat)
    with pytest.raises(
        InputError, match=r"cannot be weighed against it.*accepted: readings that the scenario can reach"
    ):
        reconcile(van, results_of(1500.0, 0.8e-3 / 3600))


def test_command(demos: Path, tmp_path: Path) -> None:
    path = tmp_path / "results.toml"
    path.write_text(
        '[[result]]\nwhat = "wattmeter"\nroad_speed = "80 km/h"\n'
        'electrical_power = { value = "1.05 kW", plus_minus = "40 W" }\n',
        encoding="utf-8",
    )
    scenario = str(demos / "van_water_tank" / "scenario.toml")
    told = CliRunner().invoke(command, [scenario, str(path)], catch_exceptions=False)
    assert told.exit_code == 3
    for words in (
        "Do not operate. With the readings, at the scenario's own conditions: Blade tip speed",
        "With the readings: it costs fuel, +",
        "Before the readings: it costs fuel, +",
        "agree within",
        "[rotor]",
        "local_speed_factor = {",
    ):
        assert words in " ".join(told.output.split())
    data = json.loads(CliRunner().invoke(command, [scenario, str(path), "--json"], catch_exceptions=False).output)
    assert data["agrees"] is True
    assert data["inputs"][0]["input"] == "rotor.local_speed_factor"
    width = [
        data[when]["fuel_change_l_per_h"]["high"] - data[when]["fuel_change_l_per_h"]["low"]
        for when in ("before", "after")
    ]
    assert width[1] < 0.7 * width[0]
    town = str(demos / "van_in_town" / "scenario.toml")
    assert "With the readings" in CliRunner().invoke(command, [town, str(path)], catch_exceptions=False).output


def test_a_range_that_widens_is_not_narrowed_by_less_than_nothing() -> None:
    from energy.diagnosis.reconcile import Updated
    from energy.words.reconcile import input_row

    before = Uncertain(0.6, 0.5, 0.7, "uniform")
    wider = Updated("rotor.local_speed_factor", before, 0.6, before.standard_deviation * 1.06, 0.49, 0.71, 0.0)
    assert input_row(wider)[1].endswith("range widened by 6 %")
    narrower = Updated("rotor.local_speed_factor", before, 0.6, before.standard_deviation * 0.7, 0.55, 0.65, 0.0)
    assert input_row(narrower)[1].endswith("range narrowed by 30 %")
