from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats
from scipy.special import gamma

from energy.chain.answer import answered
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.chain.payback import Payback, least_that_pays, payback, pays
from energy.commands.payback import command
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from energy.words.answer import as_data
from energy.words.verdict import verdict
from vehicle.constants import GRAVITY_M_S2
from vehicle.problems import InputError


@pytest.fixture(scope="module")
def found(van: Scenario) -> Payback:
    return payback(van)


def test_least_that_pays_is_where_the_line_crosses_zero() -> None:
    along = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    balance = np.column_stack(
        [
            along - 2.25,  # crosses
            np.minimum(0.0, 2 * along - 5.0),  # reaches zero at 2.5 and stays
            along - 9,  # never
            along + 1,  # pays at once
        ]
    )
    found = least_that_pays(along, 1000 * balance, np.full(balance.shape, 100.0))
    assert found == pytest.approx([2.25, 2.5, np.nan, 0.0], nan_ok=True)
    assert np.isnan(least_that_pays(along, balance, np.zeros(balance.shape))).all()


def test_half_a_watt_of_heat_is_heat_and_a_twentieth_of_a_watt_of_fuel_is_none() -> None:
    # An element of 0.6 W is warm to the hand; what the arithmetic leaves of a rotor at rest is none (common practice,
    # no source). A balance that rounding has put 0.04 W below zero pays nothing and costs nothing.
    balance = np.array([0.0, 0.0, 100.0, -0.04, -0.06, -100.0])
    heat = np.array([0.6, 0.4, 0.6, 400.0, 400.0, 400.0])
    assert pays(balance, heat).tolist() == [True, False, True, True, False, False]


def test_a_little_heat_in_little_wind_is_heat(demos: Path) -> None:
    """Parked, the wind pays for all heat, be it a bulb's."""
    told = answered(load(demos / "parked_on_a_ridge" / "scenario.toml", ["air.wind_speed=7 m/s"]), exact=True)
    heat = float(told.answer.turbine.heat_power_w)
    assert 5 < heat < 400
    assert verdict(told, "metric").word == "saves"
    assert verdict(told, "metric").headline.startswith("No extra fuel.")


def test_on_the_flat_it_never_spares_fuel(found: Payback) -> None:
    """With no credit, level driving cannot pay in any wind: the resistor gives nothing back to the wheels."""
    assert np.isnan(found.wind.lines["fuel"].value).all()
    assert found.wind.probability["fuel"].max() == 0
    assert (found.wind.balances["fuel"] < 0).all()


def test_the_descent_from_which_heat_is_free_is_that_of_the_answer(van: Scenario, found: Payback) -> None:
    low, value, high = found.least_descent
    assert low <= value <= high
    grades = np.linspace(0.03, 0.09, 6001)
    change = answer(inputs_of(van, {"trip.grade": -grades})).change.power_w
    assert value == pytest.approx(grades[np.argmax(change <= 0.05)], abs=2e-4)


def test_maps_hold_the_answers(van: Scenario, found: Payback) -> None:
    for paid, key, sign in ((found.wind, "air.wind_speed", 1), (found.descent, "trip.grade", -1)):
        for i, j in ((0, 3), (7, 11), (20, 24)):
            alone = answer(inputs_of(van, {key: sign * paid.along[i], "trip.road_speed": paid.speeds_m_s[j]}))
            assert paid.balances["fuel"][i, j] == pytest.approx(-float(alone.change.power_w), abs=1e-6)
            assert paid.heat_w[i, j] == pytest.approx(float(alone.turbine.heat_power_w), abs=1e-6)
        for name, probability in paid.probability.items():
            assert ((probability >= 0) & (probability <= 1)).all()
            line = paid.lines[name]
            told = np.isfinite(line.value)
            assert (line.low[told] <= line.high[told]).all()


def test_a_descent_gives_what_its_height_holds(found: Payback) -> None:
    for d in found.descents:
        assert d.height_energy_j == pytest.approx((2900 + 55) * GRAVITY_M_S2 * 100)
        assert d.length_m * np.sin(np.arctan(d.grade)) == pytest.approx(100)
        assert d.heat_j < d.height_energy_j
        assert d.braked_j < d.height_energy_j
        if d.braked_j > 5 * d.heat_j:
            assert d.fuel_change_m3 == 0
    # The steeper, the shorter the way, and so the less heat from the same height.
    heats = [d.heat_j for d in found.descents]
    assert heats == sorted(heats, reverse=True)


def test_a_year_of_winds_by_random_sampling(pickup: Scenario, demos: Path) -> None:
    """The quadrature against winds drawn one by one from the library's Weibull distribution."""
    scenario = load(
        demos / "pickup_drying_box" / "scenario.toml",
        ["trip.road_speed=35 mph", "wind_climate.mean_speed=6 m/s", "wind_climate.shape=1.9"],
    )
    year = payback(scenario, exact=True).year
    rng = np.random.default_rng(2)
    wind = stats.weibull_min(1.9, scale=6 / gamma(1 + 1 / 1.9)).rvs(150_000, random_state=rng)
    angle = rng.uniform(-np.pi, np.pi, 150_000)
    sampled = answer(inputs_of(scenario, {"air.wind_speed": wind, "air.wind_from": angle}))
    assert year.driving_heat_w[1] == pytest.approx(float(sampled.turbine.heat_power_w.mean()), rel=0.02)
    assert year.change_w[1] == pytest.approx(float(sampled.change.power_w.mean()), rel=0.02)
    credited = load(
        demos / "pickup_drying_box" / "scenario.toml", ["trip.road_speed=35 mph", "credit.replaces_alternator=true"]
    )
    against = answer(inputs_of(credited, {"air.wind_speed": wind, "air.wind_from": angle}))
    share = np.mean((against.change.power_w <= 0) & (against.turbine.heat_power_w > 0.5))
    assert 0.1 < share < 0.9
    assert year.pays_share["alternator"][1] == pytest.approx(float(share), abs=0.03)
    parked = answer(
        inputs_of(scenario, {"air.wind_speed": wind, "air.wind_from": angle, "trip.road_speed": np.zeros(1)})
    )
    assert year.parked_heat_w[1] == pytest.approx(float(parked.turbine.heat_power_w.mean()), rel=0.15)


def test_every_demo(demos: Path) -> None:
    for path in sorted(demos.glob("*/scenario.toml")):
        result = payback(load(path), exact=True)
        assert len(result.descents) == 5
        assert result.wind.heat_w.shape == (31, 25)


def test_a_battery_never_gets_it_free(demos: Path, tmp_path: Path) -> None:
    """Downhill too the turbine takes what would have been regenerated, up to what the drive can take back."""
    for name in ("van_water_tank", "van_in_town"):
        folder = tmp_path / name
        folder.mkdir()
        for file in (demos / name).iterdir():
            text = file.read_text(encoding="utf-8")
            if file.name == "scenario.toml":
                start, end = text.index("[engine]"), text.index("[trip]")
                text = f"{text[:start]}[battery]\n\n{text[end:]}"
            (folder / file.name).write_text(text, encoding="utf-8")
        scenario = load(folder / "scenario.toml")
        told = answered(scenario)
        assert verdict(told, "metric").word == "costs"
        assert verdict(told, "metric").headline.startswith("Costs battery energy: +")
        assert "(90 % range" in verdict(told, "metric").headline
        data = as_data(told)["interval"]
        assert data["fuel_change_l_per_h"] is None
        assert 0 < data["fuel_change_power_w"]["low"] < data["fuel_change_power_w"]["high"]
        result = payback(scenario, exact=True)
        assert np.isnan(result.descents[0].fuel_change_m3)
        if name == "van_water_tank":  # slower, the turbine's own mass pushes more than its drag holds
            assert result.descents[0].pack_change_j > 0
        assert (
            "pack"
            in CliRunner().invoke(command, [str(folder / "scenario.toml"), "--exact"], catch_exceptions=False).output
        )


def test_the_picture(found: Payback, tmp_path: Path) -> None:
    from energy.pictures.base import save
    from energy.pictures.payback import payback_chart

    save(payback_chart(found, "When it pays", "us"), tmp_path / "pay.svg")
    text = (tmp_path / "pay.svg").read_text(encoding="utf-8")
    assert "When it pays" in text
    assert "road speed (mph)" in text
    assert "heat is free of fuel" in text


def test_command(demos: Path, tmp_path: Path) -> None:
    path = str(demos / "van_water_tank" / "scenario.toml")
    runner = CliRunner()
    told = runner.invoke(command, [path, "--exact"], catch_exceptions=False)
    assert told.exit_code == 0
    for words in ("the heat is free from a descent of", "ideal rotor of this loading", "Over a year", "Cautions"):
        assert words in told.output
    data = json.loads(runner.invoke(command, [path, "--exact", "--json"], catch_exceptions=False).output)
    assert data["descents"][1]["fuel_change_l"] == 0
    assert data["head_wind_from_which_it_pays_m_s"]["fuel"]["estimate"] is None
    for bad in (["--descent", "-3 m"], ["--descent", "3 kg"], ["--picture", str(tmp_path / "x.docx")]):
        with pytest.raises(InputError):
            runner.invoke(command, [path, *bad], catch_exceptions=False)
    assert list(tmp_path.iterdir()) == []
