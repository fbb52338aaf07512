from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats
from scipy.special import gamma

from energy.chain import payback as chain
from energy.chain.answer import answered
from energy.chain.costs import years_to_pay
from energy.chain.ledger import answer
from energy.chain.limits import broken_limits
from energy.chain.load import load
from energy.chain.payback import Payback, least_that_pays, payback, pays
from energy.commands.payback import command
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from energy.words.answer import as_data
from energy.words.payback import as_data as as_data_of_payback
from energy.words.payback import finding, first_lines, money_title
from energy.words.verdict import verdict
from vehicle.constants import GRAVITY_M_S2
from vehicle.problems import InputError

# Physically allowed, and never broken here.
UNLIMITED = [
    'unusual=["rotor.highest_tip_speed", "heater.rated_power", "rotor.highest_rotor_speed", "rotor.highest_thrust"]',
    "rotor.highest_tip_speed=290 m/s",
    "rotor.highest_rotor_speed=3000 rpm",
    "rotor.highest_thrust=1e6 N",
    "heater.rated_power=1e6 W",
    "generator.highest_current=500 A",
]


@pytest.fixture(scope="module", autouse=True)
def _fewer_draws_of_years() -> Iterator[None]:
    """A quarter of the draws: what is looked at is the answer, or whether something is likely at all."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_DRAWS", 32)
        yield


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


@pytest.mark.parametrize(
    ("no_heat", "said"),
    [
        ("rotor.highest_rotor_speed=300 rpm", "no descent is free: a limit is broken in still air already"),
        ("trip.road_speed=6 km/h", "no descent pays: in still air there is no heat"),
    ],
)
def test_a_descent_without_heat_is_not_said_to_cost_fuel(demos: Path, no_heat: str, said: str) -> None:
    """Over a limit, or too slow to turn: no heat that a descent could pay for, be the brakes as hot as they may."""
    van = demos / "van_water_tank" / "scenario.toml"
    line = finding(payback(load(van, [no_heat]), exact=True), "metric")
    assert line.endswith(said)
    line = finding(payback(load(van), exact=True), "metric")
    assert "the heat costs no fuel on descents steeper than" in line
    # Heat, but too much drag for any descent.
    wide = ['unusual=["rotor.mount_drag_area"]', "rotor.mount_drag_area=9 m^2", "vehicle.drag_area=12 m^2"]
    line = finding(payback(load(van, wide), exact=True), "metric")
    assert "the heat costs fuel on every descent up to 20 % within its limits" in line


def test_maps_hold_the_answers_within_the_limits(demos: Path, found: Payback) -> None:
    for paid, key, sign, unit in ((found.wind, "air.wind_speed", 1, " m/s"), (found.descent, "trip.grade", -1, "")):
        for i, j in ((0, 3), (7, 11), (20, 24)):
            here = [f"trip.road_speed={paid.speeds_m_s[j]} m/s", f"{key}={sign * paid.along[i]}{unit}"]
            told = answered(load(demos / "van_water_tank" / "scenario.toml", here), exact=True)
            alone, stops = told.answer, bool(broken_limits(told))
            working = alone.states["stowed" if stops else "working"].supply.source_w
            change = float(working - alone.states["absent"].supply.source_w)
            assert paid.balances["fuel"][i, j] == pytest.approx(-change, abs=1e-6)
            heat = 0.0 if stops else float(alone.turbine.heat_power_w)
            assert paid.heat_w[i, j] == pytest.approx(heat, abs=1e-6)
            assert stops == ((i, j) == (20, 24))
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


def test_a_year_of_winds_one_by_one(pickup: Scenario, demos: Path) -> None:
    """The quadrature against 8000 winds of equal likelihood of the library's Weibull distribution, from all around."""
    scenario = load(
        demos / "pickup_drying_box" / "scenario.toml",
        ["trip.road_speed=35 mph", "wind_climate.mean_speed=6 m/s", "wind_climate.shape=1.9", *UNLIMITED],
    )
    year = payback(scenario, exact=True).year
    count = 8000
    wind = stats.weibull_min(1.9, scale=6 / gamma(1 + 1 / 1.9)).ppf((np.arange(count) + 0.5) / count)
    angle = np.pi * (2 * (np.arange(count) * 0.6180339887498949 % 1) - 1)  # golden ratio: evenly round the compass
    sampled = answer(inputs_of(scenario, {"air.wind_speed": wind, "air.wind_from": angle}))
    # The demo's rotor would pass 3000 rpm in the strongest of these winds.
    fine = sampled.turbine.rotor_speed_rad_s <= 3000 * np.pi / 30
    assert 0.9 < fine.mean() < 1
    heat = np.where(fine, sampled.turbine.heat_power_w, 0.0)
    assert year.driving_heat_w[1] == pytest.approx(float(heat.mean()), rel=0.02)
    working, stowed = (sampled.states[name].supply.source_w for name in ("working", "stowed"))
    change = np.where(fine, working, stowed) - sampled.states[sampled.compared_with].supply.source_w
    assert year.change_w[1] == pytest.approx(float(change.mean()), rel=0.02)
    credited = load(
        demos / "pickup_drying_box" / "scenario.toml",
        ["trip.road_speed=35 mph", "credit.replaces_alternator=true", *UNLIMITED],
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
        assert len(result.descents) == (0 if result.parked else 5)
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
    brief = runner.invoke(command, [path, "--exact"], catch_exceptions=False)
    assert brief.exit_code == 0
    assert brief.output.count("\n") <= 40
    told = runner.invoke(command, [path, "--exact", "--full"], catch_exceptions=False)
    for words in (
        "the heat costs no fuel on descents steeper than",
        "ideal rotor of this loading",
        "Over a year",
        "Cautions",
    ):
        assert words in told.output
    data = json.loads(runner.invoke(command, [path, "--exact", "--json"], catch_exceptions=False).output)
    assert data["descents"][1]["fuel_change_l"] == 0
    assert data["head_wind_from_which_it_pays_m_s"]["fuel"]["estimate"] is None
    for bad in (["--descent", "-3 m"], ["--descent", "3 kg"], ["--picture", str(tmp_path / "x.docx")]):
        with pytest.raises(InputError):
            runner.invoke(command, [path, *bad], catch_exceptions=False)
    assert list(tmp_path.iterdir()) == []


# Limits


def test_a_year_counts_no_heat_where_the_answer_says_do_not_operate(demos: Path) -> None:
    """Wind by wind, each answered by itself; the demo's tips pass their limit in a head wind at 100 km/h."""
    path = demos / "van_water_tank" / "scenario.toml"
    climate = ["wind_climate.mean_speed=6 m/s", "wind_climate.direction=given", "trip.road_speed=80 km/h"]
    scenario = load(path, climate)
    result = payback(scenario, exact=True)
    rng = np.random.default_rng(5)
    winds = stats.weibull_min(2.0, scale=6 / gamma(1.5)).rvs(20_000, random_state=rng)
    many = answer(inputs_of(scenario, {"air.wind_speed": winds}))
    tips = np.asarray(many.turbine.rotor_speed_rad_s) * 0.9
    assert many.turbine.electrical is not None
    speeds = np.asarray(many.turbine.rotor_speed_rad_s) * 30 / np.pi
    fine = (tips <= 80) & (speeds <= 900) & (np.asarray(many.turbine.heat_power_w) <= 3000)
    fine &= (many.turbine.electrical.current_a <= 16) & (many.turbine.thrust_n <= 2500)
    assert 0.2 < fine.mean() < 0.8
    heat = np.where(fine, many.turbine.heat_power_w, 0.0)
    assert result.year.within_limits[1] == pytest.approx(fine.mean(), abs=0.06)
    assert result.year.driving_heat_w[1] == pytest.approx(heat.mean(), rel=0.15)
    states = many.states
    source = np.where(fine, states["working"].supply.source_w, states["stowed"].supply.source_w)
    assert result.year.change_w[1] == pytest.approx((source - states["absent"].supply.source_w).mean(), rel=0.05)
    first = result.limit_wind_m_s
    for wind, stops in ((first - 0.01, False), (first + 0.01, True)):
        told = answered(load(path, [f"air.wind_speed={wind} m/s", "trip.road_speed=80 km/h"]), exact=True)
        assert bool(broken_limits(told)) == stops


def test_over_a_limit_in_still_air_no_descent_is_judged(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml", ["heater.rated_power=1 kW"])
    result = payback(scenario, exact=True)
    assert result.limit_wind_m_s == 0
    sentence = first_lines(result, scenario, "metric").sentence
    assert "At 100 km/h no descent is free: a limit is broken in still air already" in sentence
    assert "costs fuel on every descent" not in sentence
    unlimited = payback(load(demos / "van_water_tank" / "scenario.toml", UNLIMITED), exact=True)
    assert math.isnan(unlimited.limit_wind_m_s)
    assert "the heat costs no fuel on descents" in first_lines(unlimited, scenario, "metric").sentence


@pytest.mark.parametrize("works", ["always", "braking_or_descending"])
def test_a_schedule_is_not_said_to_be_driven(demos: Path, works: str) -> None:
    scenario = load(demos / "van_in_town" / "scenario.toml", [f"trip.works={works}"])
    lines = first_lines(payback(scenario, exact=True), scenario, "metric").lines
    always = ", always working" if works != "always" else ""
    assert f"Counted as a steady drive at the mean speed of urban.csv while it moves{always}: " in lines[1]
    steady = load(demos / "van_water_tank" / "scenario.toml")
    said = first_lines(payback(steady, exact=True), steady, "metric").lines
    assert not any("Counted as a steady drive" in line for line in said)


def test_a_battery_vehicle_is_not_told_of_fuel(van_folder: Path) -> None:
    text = (van_folder / "scenario.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[engine]")
    prices = '[prices]\nelectricity = "0.45 EUR/kWh"\n'
    before, _, after = rest.partition("[prices]")
    text = f"{head}[battery]\n[trip]{before.partition('[trip]')[2]}{prices}[gust]{after.partition('[gust]')[2]}"
    (van_folder / "scenario.toml").write_text(text, encoding="utf-8")
    scenario = load(van_folder / "scenario.toml")
    result = payback(scenario, exact=True)
    sentence = first_lines(result, scenario, "metric").sentence
    assert "the heat costs no battery energy on descents steeper than" in sentence
    assert "costs no fuel" not in sentence
    assert [remark.split(" ")[0] for remark in result.money.remarks] == ["prices.gas"]  # no fuel's price is used


def test_a_parked_scenario_is_answered_as_parked(demos: Path) -> None:
    scenario = load(demos / "parked_on_a_ridge" / "scenario.toml")
    result = payback(scenario, exact=True)
    assert result.parked
    assert result.descents == ()
    assert result.at_speed == {}
    assert result.ideal is None
    assert result.year.pays_share == {}
    first = first_lines(result, scenario, "metric")
    assert "km/h driven" not in first.sentence
    assert "80" not in first.headline
    heat = float(answered(scenario, exact=True).answer.turbine.heat_power_w)
    assert f"In its wind of 45.0 km/h: {heat:.0f} W, no fuel" in first.lines
    assert set(result.money.hours) == {"parked"}
    assert result.money.turbine.per_year.estimate == 0
    over = next(i for i, kept in enumerate(result.parked_within) if not kept)
    assert result.parked_heat_w[over:].max() == 0
    data = as_data_of_payback(result, scenario)
    assert data["ideal_head_wind_m_s"] is None
    json.dumps(data, allow_nan=False)


def test_what_breaks_a_limit_is_said_first_and_leaves_with_three(demos: Path) -> None:
    path = str(demos / "van_water_tank" / "scenario.toml")
    done = CliRunner().invoke(command, [path, "--exact", "--set", "trip.road_speed=140 km/h"], catch_exceptions=False)
    assert done.exit_code == 3
    assert done.output.splitlines()[1].startswith("Do not operate. ")
    assert "Never pays back in money" in done.output


def test_a_wind_that_breaks_a_limit_forbids_before_anything_is_left_unchecked(demos: Path) -> None:
    path = str(demos / "camper_oven" / "scenario.toml")
    done = CliRunner().invoke(command, [path, "--exact"], catch_exceptions=False)
    text = " ".join(done.output.split())
    assert "May it be operated like this? No, not in that wind. In less wind: not checked yet" in text
    assert "May it be operated like this? Not checked yet" not in text
    assert text.index("Do not operate it in a head wind") < text.index("No, not in that wind") < text.index("pays back")


# Money


@pytest.mark.parametrize(
    ("more", "saved", "life", "years"),
    [
        (1000, 250, 8, 4.0),
        (1000, 100, 8, np.inf),
        (1000, -5, 8, np.inf),
        (-300, 10, 8, 0.0),
        (-300, -20, 8, 0.0),
        (-300, -40, 8, np.inf),
        (0, 0, 8, 0.0),
        (1000, 125, 8, 8.0),
    ],
)
def test_years_to_pay(more: float, saved: float, life: float, years: float) -> None:
    assert float(years_to_pay(more, saved, life)) == years


def test_money_by_hand(demos: Path) -> None:
    """Calm air for a year: the steady answer times the hours, at the scenario's prices."""
    costs = [
        "costs.driving_hours=100",
        "costs.parked_hours=0",
        "costs.carried_hours=40",
        "costs.hour_value=20",
        "costs.turbine_parts=1000",
        "costs.turbine_hours=50",
        "costs.gas_parts=200",
        "costs.gas_hours=5",
        "costs.life_years=10",
        "wind_climate.mean_speed=0.5 m/s",
    ]
    path = demos / "van_water_tank" / "scenario.toml"
    money = payback(load(path, [*costs, *UNLIMITED]), exact=True).money
    told = answered(load(path), exact=True).answer
    heat_kwh = float(told.turbine.heat_power_w) / 1e3 * 100
    states = told.states
    litre_kwh = told.inputs.fuel.heating_value_j_per_m3 / 3.6e9
    litres = 100 * float(told.change.volume_m3_s) * 3.6e6
    stowed = float(states["stowed"].supply.source_w - states["absent"].supply.source_w) / 1e3 * 40 / litre_kwh
    assert money.currency == "EUR"
    assert money.heat_kwh.estimate == pytest.approx(heat_kwh, rel=0.02)
    assert money.turbine.build.estimate == 1000 + 50 * 20
    assert money.turbine.per_year.estimate == pytest.approx(1.65 * (litres + stowed), rel=0.02)
    ways = {way.key: way for way in money.others}
    lpg_kwh = 84250 * 1055.056 / 3.785411784 / 3.6e6  # Btu/US gal of propane, US DOE AFDC
    assert ways["gas"].per_year.estimate == pytest.approx(heat_kwh / 0.6 / lpg_kwh * 0.95, rel=0.02)
    assert ways["battery"].per_year.estimate == pytest.approx(heat_kwh / 0.82 * 0.32, rel=0.02)
    alternator = float(told.other_sources["alternator"].fuel_m3_s) * 3.6e6 * 100 * 1.65
    assert ways["alternator"].per_year.estimate == pytest.approx(alternator, rel=0.02)
    gas = ways["gas"]
    each = (gas.build.estimate / 10 + gas.per_year.estimate) / money.heat_kwh.estimate
    assert gas.per_kwh.estimate == pytest.approx(each)
    assert all(way.pays_back_years is not None and np.isinf(way.pays_back_years.estimate) for way in money.others)


def test_where_the_wind_pays_the_turbine_pays_back(demos: Path) -> None:
    """Parked for a year in strong wind, against gas that costs much: years by hand."""
    path = demos / "parked_on_a_ridge" / "scenario.toml"
    windy = [
        "wind_climate.mean_speed=9 m/s",
        "wind_climate.direction=given",
        "costs.parked_hours=5000",
        "costs.turbine_parts=600",
        "costs.turbine_hours=0",
        "costs.gas_parts=100",
        "costs.gas_hours=0",
        "prices.gas=2.2 EUR/L",
        'unusual=["costs.parked_hours"]',
    ]
    scenario = load(path, windy)
    result = payback(scenario)
    gas = next(way for way in result.money.others if way.key == "gas")
    assert gas.pays_back_years is not None
    exact = payback(scenario, exact=True).money
    by_hand = next(way for way in exact.others if way.key == "gas")
    saved = by_hand.per_year.estimate
    assert by_hand.pays_back_years is not None
    assert by_hand.pays_back_years.estimate == pytest.approx(500 / saved)
    low, high = gas.pays_back_years.ends
    assert low < gas.pays_back_years.estimate < high
    assert low < 500 / saved < high
    assert gas.pays_share is not None
    assert gas.pays_share > 0.5
    assert re.search(r"back in money: .* against gas burner", first_lines(result, scenario, "metric").headline)


def test_a_turbine_that_only_may_pay_back_is_said_with_its_likelihood(demos: Path) -> None:
    """The costs at their defaults: wide, so that neither outcome is sure."""
    windy = ["wind_climate.mean_speed=9 m/s", "wind_climate.direction=given", "costs.parked_hours=4000"]
    scenario = load(demos / "parked_on_a_ridge" / "scenario.toml", windy)
    result = payback(scenario)
    gas = next(way for way in result.money.others if way.key == "gas")
    assert gas.pays_back_years is not None
    assert gas.pays_share is not None
    assert 0.5 < gas.pays_share < 0.9
    assert gas.pays_back_years.ends[1] == np.inf
    headline = first_lines(result, scenario, "metric").headline
    assert headline.startswith("Can pay back in money: ")
    assert f" to never; {100 * gas.pays_share:.0f} % likely) against gas burner" in headline


def test_assumed_amounts_follow_a_currency_that_is_not_worth_a_euro(demos: Path) -> None:
    """1 700 dong for a turbine would be six cents: 900 and 80 hours at 10 are amounts of euro."""
    stated = [
        "prices.fuel=28000 VND/L",
        "prices.gas=20000 VND/L",
        "prices.electricity=5000 VND/kWh",
        "costs.gas_parts=6000000",
        "unusual=['costs.gas_parts']",
    ]
    money = payback(load(demos / "van_water_tank" / "scenario.toml", stated), exact=True).money
    rate = (28000 / 1.6 * 20000 / 1.0 * 5000 / 0.3) ** (1 / 3)
    assert money.per_euro == pytest.approx(rate)
    assert money.turbine.build.estimate == pytest.approx(1700 * rate)
    gas = next(way for way in money.others if way.key == "gas")
    assert gas.build.estimate == pytest.approx(6e6 + 60 * rate)  # what is stated stays
    parts = next(entry for entry in money.assumed if entry.key == "costs.turbine_parts")
    assert (parts.value, parts.low, parts.high) == pytest.approx((900 * rate, 400 * rate, 2500 * rate))
    title = money_title(payback(load(demos / "van_water_tank" / "scenario.toml", stated), exact=True))
    assert title.endswith("amounts not given: at 18000 VND to the euro, from your prices")
    alone = payback(load(demos / "van_water_tank" / "scenario.toml", ["prices.fuel=28800 VND/L"]), exact=True).money
    assert alone.remarks[2] == "amounts of money not given are at 18000 VND to the euro, from the prices given"
    assert alone.remarks[1].startswith("prices.electricity is in EUR, the others in VND: 5400 VND/kWh (2160 to 8100)")
    euro = payback(load(demos / "van_water_tank" / "scenario.toml"), exact=True)
    assert (euro.money.per_euro, "euro" in money_title(euro)) == (1.0, False)


def test_prices_that_are_missing_or_in_another_currency_are_assumed_aloud(demos: Path) -> None:
    money = payback(load(demos / "van_water_tank" / "scenario.toml", ["prices.gas=0.8 GBP/L"]), exact=True).money
    assert len(money.remarks) == 1
    assert money.remarks[0].startswith("prices.gas is in GBP, the others in EUR: 1 EUR/L (0.6 to 1.4) was used")
