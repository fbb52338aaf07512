"""Money recomputed: what a year takes and gives, by each way, draw by draw."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from energy.chain import costs as chain
from energy.chain.costs import ASSUMED_PRICES, Money, YearFlows, money_of, years_to_pay
from energy.chain.load import load
from energy.scenario.read import Scenario

DIESEL_KWH_L = 128_450 * 1055.056 / 3.785411784 / 3.6e6  # Btu per US gallon, US DOE AFDC
LPG_KWH_L = 84_250 * 1055.056 / 3.785411784 / 3.6e6
STATED = [
    "costs.turbine_parts=600",
    "costs.turbine_hours=30",
    "costs.alternator_parts=150",
    "costs.alternator_hours=6",
    "costs.battery_parts=900",
    "costs.battery_hours=8",
    "costs.gas_parts=200",
    "costs.gas_hours=4",
    "costs.hour_value=20",
    "costs.life_years=10",
    "costs.driving_hours=300",
    "costs.parked_hours=800",
    "costs.carried_hours=150",
    "costs.energy_price_factor=1.5",
]


def flows(drives: bool = True) -> YearFlows:
    return YearFlows(
        driving_heat_w=np.array([900.0, 700.0, 1000.0, 0.0, 700.0]) * drives,
        added_w=np.array([7000.0, 6000.0, 7500.0, 0.0, 6000.0]) * drives,
        stowed_w=np.array([800.0, 500.0, 900.0, 100.0, 500.0]) * drives,
        parked_heat_w=np.array([90.0, 20.0, 400.0, 0.0, 20.0]),
        alternator_per_heat=np.array([4.1, 3.6, 4.6, 4.0, 3.6]),
        drives=drives,
    )


def first(year: YearFlows) -> YearFlows:
    return YearFlows(
        year.driving_heat_w[:1],
        year.added_w[:1],
        year.stowed_w[:1],
        year.parked_heat_w[:1],
        year.alternator_per_heat[:1],
        year.drives,
    )


def payback_years(more: float, saved: float, life: float) -> float:
    """Years until the saving has made up for what it cost more; never where that is past the life."""
    if more <= 0:
        return 0.0 if -more >= -saved * life else math.inf
    return more / saved if saved > 0 and more / saved <= life else math.inf


def by_hand(year: YearFlows, k: int) -> dict[str, dict[str, float]]:
    """Of one world, all else as `STATED`: builds in money, runs in money a year, money for each kWh over ten years."""
    heat = (year.driving_heat_w[k] * 300 + year.parked_heat_w[k] * 800) / 1000
    source = (year.added_w[k] * 300 + year.stowed_w[k] * 150) / 1000
    fuel, electricity, gas = 1.5 * 1.65 / DIESEL_KWH_L, 1.5 * 0.32, 1.5 * 0.95 / LPG_KWH_L
    runs = {
        "turbine": source * fuel,
        "alternator": heat * year.alternator_per_heat[k] * fuel,
        "battery": heat / 0.82 * electricity,
        "gas": heat / 0.60 * gas,
    }
    builds = {"turbine": 600 + 30 * 20, "alternator": 150 + 6 * 20, "battery": 900 + 8 * 20, "gas": 200 + 4 * 20}
    ways = {}
    for name, run in runs.items():
        each = (builds[name] / 10 + run) / heat if heat > 0 else math.inf
        back = payback_years(builds["turbine"] - builds[name], run - runs["turbine"], 10) if heat > 0 else math.inf
        ways[name] = {"build": builds[name], "per_year": run, "per_kwh": each, "pays_back_years": back}
    ways["turbine"] |= {"heat_kwh": heat, "source_kwh": source}
    return ways


def ways_of(money: Money) -> dict[str, chain.HeatingWay]:
    return {way.key: way for way in (money.turbine, *money.others)}


EFFICIENCIES = ["other_sources.burner_efficiency=0.60", "other_sources.mains_charge_efficiency=0.82"]


@pytest.fixture(scope="module")
def stated(demos: Path) -> Scenario:
    return load(demos / "van_water_tank" / "scenario.toml", [*STATED, *EFFICIENCIES])


def test_every_figure_of_the_values_as_stated(stated: Scenario) -> None:
    money = money_of(stated, first(flows()))
    expected = by_hand(flows(), 0)
    assert money.currency == "EUR"
    assert money.life_years.estimate == 10
    assert {name: hours.estimate for name, hours in money.hours.items()} == {
        "driving": 300,
        "parked": 800,
        "carried": 150,
    }
    assert money.heat_kwh.estimate == pytest.approx(expected["turbine"]["heat_kwh"])
    assert money.source_kwh.estimate == pytest.approx(expected["turbine"]["source_kwh"])
    assert [way.key for way in money.others] == ["alternator", "battery", "gas"]
    for key, way in ways_of(money).items():
        for figure in ("build", "per_year", "per_kwh"):
            found = getattr(way, figure)
            assert found.estimate == found.low == found.high == pytest.approx(expected[key][figure]), (key, figure)
            assert found.level == 0.9
        if key == "turbine":
            assert way.pays_back_years is None
            assert way.pays_share is None
        else:
            assert way.pays_back_years is not None
            assert way.pays_back_years.estimate == pytest.approx(expected[key]["pays_back_years"])
            assert way.pays_share == float(math.isfinite(expected[key]["pays_back_years"]))
    assert money.remarks == ()
    assert money.assumed == ()


def test_every_figure_over_draws_of_the_winds(stated: Scenario) -> None:
    """Costs are exact here: four worlds of heat, two alike; in what share of them the turbine is ever ahead."""
    money = money_of(stated, flows())
    worlds = [by_hand(flows(), k) for k in (1, 2, 3, 4)]
    for key, way in ways_of(money).items():
        for figure in ("build", "per_year", "per_kwh", "pays_back_years"):
            found = getattr(way, figure)
            if found is None:
                continue
            values = sorted(world[key][figure] for world in worlds)
            assert (found.low, found.high) == pytest.approx((values[0], values[-1])), (key, figure)
            assert any(found.estimate == pytest.approx(middle) for middle in values[1:3]), (key, figure)
        if key != "turbine":
            ever = [math.isfinite(world[key]["pays_back_years"]) for world in worlds]
            assert way.pays_share == pytest.approx(sum(ever) / 4)
    assert money.heat_kwh.ends == pytest.approx((0.0, worlds[1]["turbine"]["heat_kwh"]))


def test_one_that_parks_has_no_hours_of_driving(stated: Scenario) -> None:
    money = money_of(stated, first(flows(drives=False)))
    assert set(money.hours) == {"parked"}
    assert money.source_kwh.estimate == 0
    assert money.heat_kwh.estimate == pytest.approx(90 * 800 / 1000)


def test_draws_of_costs_and_prices_that_are_not_known(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml", ["prices.gas=0.8 GBP/L"])
    many = YearFlows(*(np.full(513, v) for v in (900.0, 7000.0, 800.0, 90.0, 4.1)), drives=True)
    currency, prices, remarks = chain._prices(scenario, 512)
    assert currency == "EUR"
    assert (prices["fuel"] == prices["fuel"][0]).all()
    assert prices["fuel"][0] == pytest.approx(1.65)
    usual = ASSUMED_PRICES["gas"]
    assert prices["gas"].shape == (513,)
    assert prices["gas"][0] == usual.value
    assert prices["gas"][1:].min() > usual.low
    assert prices["gas"][1:].max() < usual.high
    assert prices["gas"][1:].mean() == pytest.approx((usual.low + usual.value + usual.high) / 3, rel=0.01)
    assert len(remarks) == 1
    drawn = chain._draws(scenario, 512)
    for key, values in drawn.items():
        table, _, name = key.partition(".")
        known = getattr(scenario.table(table), name)
        assert values.shape == (513,)
        assert values[0] == known.value
        assert known.low <= values[1:].min() < values[1:].max() <= known.high
    assert {"costs.turbine_hours", "costs.life_years", "costs.parked_hours"} <= set(drawn)
    money = money_of(scenario, many)
    low, high = money.turbine.build.ends
    assert low < money.turbine.build.estimate < high
    assert {entry.key for entry in money.assumed} >= {"costs.turbine_parts", "costs.life_years"}
    assert chain._draws(scenario, 0) == {}


def test_the_price_of_a_kwh_out_of_the_pack_and_what_its_heat_is_called(van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    start, end = text.index("[engine]"), text.index("[trip]")
    path.write_text(f"{text[:start]}[battery]\ncharging_efficiency = 0.9\n\n{text[end:]}", encoding="utf-8")
    money = money_of(load(path, STATED), first(flows()))
    source = (7000 * 300 + 800 * 150) / 1000
    assert money.turbine.per_year.estimate == pytest.approx(source * 1.5 * 0.32 / 0.9)
    assert money.others[0].name == "the vehicle's own pack, with inverter"


def test_ends_hold_nine_tenths_of_the_draws() -> None:
    values = np.concatenate([[1e6], np.arange(1.0, 102.0)])  # entry 0 is as stated, no draw
    found = chain._estimate(values)
    assert (found.estimate, found.low, found.high, found.level) == (51.0, 6.0, 96.0, 0.9)
    alone = chain._estimate(np.array([7.0]))
    assert (alone.estimate, alone.low, alone.high, alone.level) == (7.0, 7.0, 7.0, 0.9)


def test_years_to_pay_at_random() -> None:
    rng = np.random.default_rng(3)
    more, saved = rng.normal(0, 500, 300), rng.normal(0, 80, 300)
    life = rng.uniform(2, 20, 300)
    found = years_to_pay(more, saved, life)
    expected = [payback_years(*one) for one in zip(more.tolist(), saved.tolist(), life.tolist(), strict=True)]
    assert found == pytest.approx(expected)
    assert 20 < np.isfinite(found).sum() < 280
