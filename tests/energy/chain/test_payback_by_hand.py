"""When it pays, recomputed: balances within the limits, zero lines, descents, a year of winds, shares of draws."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from ledger_by_hand import Numbers, at_work, number, state_of
from scipy import stats
from scipy.special import gamma

from energy.chain import payback as chain
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.chain.payback import Payback, alternator_per_heat, least_that_pays, pays
from energy.scenario.inputs import Inputs, inputs_of
from energy.scenario.read import Scenario
from vehicle.driving.engine import Engine


def figures(inputs: Inputs, *, keeps: bool) -> Numbers:
    """Each balance at one condition, the turbine stowed where it breaks a limit; all in W."""
    turbine = at_work(inputs)
    speed = number(inputs.road_speed_m_s)
    states = {name: state_of(inputs, name, turbine) for name in ("absent", "stowed", "working")}
    plain = states[inputs.compared_with]["supply.source_w"]
    made = states["working" if keeps else "stowed"]
    heat = turbine["heat_power_w"] if keeps else 0.0
    by_alternator = state_of(inputs, inputs.compared_with, turbine, heat)["supply.source_w"] if keeps else plain
    absent = states["absent"]["supply.source_w"]
    return {
        "fuel": plain - made["supply.source_w"],
        "alternator": by_alternator - made["supply.source_w"],
        "energy": heat - (made["mount_drag_n"] + made["rotor_drag_n"]) * speed,
        "heat_w": heat,
        "within": float(keeps),
        "added_w": made["supply.source_w"] - absent,
        "stowed_w": states["stowed"]["supply.source_w"] - absent,
        "braked_w": states[inputs.compared_with]["supply.brake_loss_w"],
        "change_w": made["supply.source_w"] - plain,
    }


def keeps(inputs: Inputs, turbine: Numbers) -> bool:
    """Whether no limit of the van is passed: 900 rpm, 80 m/s at the tips, 2500 N, 16 A, 3 kW."""
    turns = turbine["rotor_speed_rad_s"]
    return bool(
        turns * 30 / math.pi <= 900
        and turns * number(inputs.turbine.diameter_m) / 2 <= 80
        and turbine["thrust_n"] <= 2500
        and turbine["electrical.current_a"] <= 16
        and turbine["heat_power_w"] <= 3000
    )


def at(scenario: Scenario, speed: float, wind: float = 0.0, grade: float = 0.0) -> Numbers:
    where = {"trip.road_speed": speed, "air.wind_speed": wind, "air.wind_from": 0.0, "trip.grade": grade}
    inputs = inputs_of(scenario, {key: np.array(value) for key, value in where.items()})
    return figures(inputs, keeps=keeps(inputs, at_work(inputs)))


SPEEDS, WINDS, DESCENTS = np.array([2.0, 25.0]), np.array([6.0, 16.0]), np.array([0.05, 0.09])


@pytest.fixture(scope="module")
def small(van: Scenario) -> Payback:
    """The van's with few draws on small maps: where the numbers of a map lie is an own choice, what they are is not."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_DRAWS", 4)
        patch.setattr(chain, "_SPEEDS_M_S", SPEEDS)
        patch.setattr(chain, "_WINDS_M_S", np.linspace(0, 30, 31))
        patch.setattr(chain, "_CLIMATE_POINTS", (6, 3))
        real = chain._map

        def smaller(scenario, speeds, along, kind, drawn):  # type: ignore[no-untyped-def]
            few = {"wind": WINDS, "descent": DESCENTS}[kind] if len(speeds) > 1 else along
            return real(scenario, speeds, few, kind, drawn)

        patch.setattr(chain, "_map", smaller)
        shares: list[float] = []
        found = chain.payback(van, height_m=40.0, progress=shares.append)
        assert shares == sorted(shares)
        assert (shares[0] > 0, shares[-1]) == (True, 1.0)
        return found


def test_maps_and_their_shares_of_draws(van: Scenario, small: Payback) -> None:
    drawn = {key: values[:4, 0, 0] for key, values in _four_draws(van).items()}
    for paid, kind in ((small.wind, "wind"), (small.descent, "descent")):
        assert paid.along.tolist() == (WINDS if kind == "wind" else DESCENTS).tolist()
        counts = {name: np.zeros((2, 2)) for name in chain.BALANCES}
        for i, along in enumerate(paid.along):
            for j, speed in enumerate(SPEEDS):
                wind, grade = (along, 0.0) if kind == "wind" else (0.0, -along)
                expected = at(van, speed, wind, grade)
                assert paid.heat_w[i, j] == pytest.approx(expected["heat_w"], abs=1e-7)
                for name in chain.BALANCES:
                    assert paid.balances[name][i, j] == pytest.approx(expected[name], rel=1e-9, abs=1e-6)
                where = {"trip.road_speed": speed, "air.wind_speed": wind, "air.wind_from": 0.0, "trip.grade": grade}
                for k in range(4):
                    draws = {key: np.array(values[k]) for key, values in drawn.items()}
                    inputs = inputs_of(van, draws | {key: np.array(value) for key, value in where.items()})
                    world = figures(inputs, keeps=keeps(inputs, at_work(inputs)))
                    for name in chain.BALANCES:
                        counts[name][i, j] += world[name] >= -0.05 and world["heat_w"] > 0.5
        for name in chain.BALANCES:
            assert paid.probability[name].tolist() == (counts[name] / 4).tolist(), (kind, name)
    assert 0 < small.wind.probability["energy"].sum() < 4
    assert 0 < small.descent.probability["fuel"].sum() < 4


def _four_draws(scenario: Scenario) -> dict[str, np.ndarray]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_DRAWS", 4)
        return chain._drawn(scenario)


def test_draws_leave_out_what_the_map_asks(van: Scenario) -> None:
    drawn = _four_draws(van)
    assert {"rotor.local_speed_factor", "vehicle.drag_area"} <= set(drawn)
    assert not {"trip.road_speed", "trip.grade", "trip.acceleration", "air.wind_speed", "air.wind_from"} & set(drawn)
    assert all(values.shape == (4, 1, 1) for values in drawn.values())


def test_exact_maps_are_those_of_the_values_as_stated(van: Scenario) -> None:
    found = chain._map(van, SPEEDS, WINDS, "wind", None)
    for name in chain.BALANCES:
        paying = [[cell >= -0.05 for cell in row] for row in found.balances[name].tolist()]
        warm = (found.heat_w > 0.5).tolist()
        both = [[p and w for p, w in zip(ps, ws, strict=True)] for ps, ws in zip(paying, warm, strict=True)]
        assert found.probability[name].tolist() == np.array(both, float).tolist()
        line = found.lines[name]
        assert np.array_equal(line.low, line.value, equal_nan=True)
        assert np.array_equal(line.high, line.value, equal_nan=True)


def least_by_hand(along: np.ndarray, balance: np.ndarray, heat: np.ndarray) -> float:
    """The first place that pays, moved back to where a straight line reaches zero: through the last place before it;
    where the balance only reaches zero and stays there, along the slope that it had before that place.
    """
    for k in range(len(along)):
        if balance[k] < -0.05 or heat[k] <= 0.5:
            continue
        if k == 0:
            return float(along[0])
        rise = balance[k] - balance[k - 1] if balance[k] > 0.05 else balance[k - 1] - balance[max(k - 2, 0)]
        share = 1.0 if rise <= 1e-9 else min(1.0, max(0.0, -balance[k - 1] / rise))
        return float(along[k - 1] + share * (along[k] - along[k - 1]))
    return math.nan


def test_where_a_balance_first_pays() -> None:
    rng = np.random.default_rng(1)
    along = np.array([0.0, 1.0, 2.5, 4.0, 7.0])
    crossing = np.cumsum(rng.uniform(0, 900, (5, 60)), axis=0) - rng.uniform(0, 2500, 60)
    reaching = np.minimum(0.0, crossing)
    wild = rng.normal(0, 300, (5, 60))
    heat = rng.choice([0.0, 0.4, 0.6, 900.0], (5, 60), p=[0.1, 0.1, 0.1, 0.7])
    for balance in (crossing, reaching, wild):
        found = least_that_pays(along, balance, heat)
        expected = [least_by_hand(along, balance[:, k], heat[:, k]) for k in range(60)]
        assert found == pytest.approx(expected, nan_ok=True)
        assert 5 < np.isfinite(found).sum() < 60
    stacked = least_that_pays(along, np.stack([crossing, wild]), np.stack([heat, heat]))
    assert stacked.shape == (2, 60)
    assert stacked[1] == pytest.approx(least_that_pays(along, wild, heat), nan_ok=True)


def test_what_pays_at_its_edges() -> None:
    assert pays(np.array([-0.0501, -0.05, 0.0]), np.array([9.0, 9.0, 9.0])).tolist() == [False, True, True]
    assert pays(np.array([0.0, 0.0]), np.array([0.5, 0.5001])).tolist() == [False, True]


@pytest.mark.parametrize("overrides", [[], ["rotor.highest_thrust=150 N", "trip.compared_with=stowed"]])
def test_descents_by_hand(demos: Path, overrides: list[str]) -> None:
    """Down 40 m at 100 km/h: length from the grade, time from the length, watts times that time."""
    scenario = load(demos / "van_water_tank" / "scenario.toml", overrides)
    speed = 100 / 3.6
    for grade in (0.04, 0.12):
        found = chain._descent(scenario, speed, grade, 40.0)
        where = {"trip.road_speed": speed, "air.wind_speed": 0.0, "air.wind_from": 0.0, "trip.grade": -grade}
        inputs = inputs_of(scenario, {key: np.array(value) for key, value in where.items()})
        watts = figures(inputs, keeps=not overrides)
        seconds = 40 * math.hypot(1, grade) / grade / speed
        assert inputs.fuel is not None
        expected = {
            "grade": grade,
            "length_m": 40 * math.hypot(1, grade) / grade,
            "duration_s": seconds,
            "heat_j": watts["heat_w"] * seconds,
            "fuel_change_m3": watts["change_w"] * seconds / inputs.fuel.heating_value_j_per_m3,
            "pack_change_j": watts["change_w"] * seconds,
            "height_energy_j": (2900 + 55) * 9.80665 * 40,
            "braked_j": watts["braked_w"] * seconds,
        }
        assert dataclasses.asdict(found) == pytest.approx(expected, rel=1e-9, abs=1e-15)
        assert (found.heat_j == 0) == bool(overrides)


def test_the_rest_of_it(van: Scenario, small: Payback) -> None:
    speed = 100 / 3.6
    assert [d.grade for d in small.descents] == [0.04, 0.06, 0.08, 0.10, 0.12]
    assert all(d.height_energy_j == pytest.approx(2955 * 9.80665 * 40) for d in small.descents)
    assert (small.road_speed_m_s, small.parked, small.stated_wind_m_s) == (pytest.approx(speed), False, 0.0)
    for k in (0, 9, 18, 30):
        standing = at(van, 0.0, small.parked_winds_m_s[k])
        assert small.parked_heat_w[k] == pytest.approx(standing["heat_w"], abs=1e-7)
        assert small.parked_within[k] == bool(standing["within"])
    assert not small.parked_within[-1]
    # The least wind that breaks a limit at the road speed, never above it by a rounding to some grid of winds.
    first = small.limit_wind_m_s
    assert at(van, speed, first + 0.005)["within"] == 0
    assert at(van, speed, first - 0.005)["within"] == 1
    low, value, high = small.least_descent
    assert low <= value <= high
    assert set(small.at_speed) == set(chain.BALANCES)
    alternator = small.at_speed["alternator"][1]
    line = [at(van, speed, wind)["alternator"] for wind in (alternator - 0.5, alternator + 0.5)]
    assert line[0] < 0 < line[1] or math.isnan(alternator) or alternator == 0
    assert small.ideal is not None
    assert (small.best_pitch is None) == math.isfinite(small.at_speed["energy"][1])


def test_winds_of_a_year_crowd_towards_the_strongest_and_keep_every_mean() -> None:
    """Weibull's mean and mean cube: c Γ(1 + 1/k) and c³ Γ(1 + 3/k) (Troen and Petersen, European Wind Atlas)."""
    share, weight = chain._crowded(24)
    assert weight.sum() == pytest.approx(1, abs=1e-12)
    assert (np.diff(share) > 0).all()
    assert share[0] > 0
    assert share[-1] < 1
    assert weight @ share == pytest.approx(0.5, abs=2e-3)
    assert weight @ share**2 == pytest.approx(1 / 3, abs=2e-3)
    for shape in (1.6, 2.0, 2.4):
        wind = stats.weibull_min(shape).ppf(share)
        assert weight @ wind == pytest.approx(gamma(1 + 1 / shape), rel=4e-3)
        assert weight @ wind**3 == pytest.approx(gamma(1 + 3 / shape), rel=0.02)
    assert (1 - share[-1]) < 0.1 * (share[0])  # the rare ones are looked at one by one


@pytest.mark.parametrize("direction", ["any", "given"])
def test_a_year_wind_by_wind(demos: Path, direction: str) -> None:
    """Each wind of the year as an answer of its own, standing and driving, weighed by its share of the year."""
    climate = ["wind_climate.mean_speed=11 m/s", f"wind_climate.direction={direction}", "air.wind_from=30 deg"]
    scenario = load(
        demos / "van_water_tank" / "scenario.toml",
        [*climate, "trip.road_speed=60 km/h", "rotor.local_speed_factor=1.0"],
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_CLIMATE_POINTS", (6, 3))
        year = chain._year(scenario, 60 / 3.6, None)
        share, weight = chain._crowded(6)
    # Left and right are alike: the middles of three sixths of the circle.
    angles = [math.pi / 6, math.pi / 2, 5 * math.pi / 6] if direction == "any" else [math.pi / 6]
    winds = stats.weibull_min(2.0, scale=11 / gamma(1.5)).ppf(share)
    means: Numbers = {}
    for wind, part in zip(winds, weight, strict=True):
        for angle in angles:
            for speed in (0.0, 60 / 3.6):
                where = {"trip.road_speed": speed, "air.wind_speed": wind, "air.wind_from": angle}
                inputs = inputs_of(scenario, {key: np.array(value) for key, value in where.items()})
                here = figures(inputs, keeps=keeps(inputs, at_work(inputs)))
                here |= {f"pays {n}": float(here[n] >= -0.05 and here["heat_w"] > 0.5) for n in chain.BALANCES}
                for name, value in here.items():
                    key = f"{name} {'driving' if speed else 'standing'}"
                    means[key] = means.get(key, 0.0) + value * part / len(angles)
    assert (year.mean_wind_m_s, year.direction, year.assumed) == (11.0, direction, "")
    assert year.change_w == pytest.approx([means["change_w driving"]] * 3)
    assert year.driving_heat_w == pytest.approx([means["heat_w driving"]] * 3)
    assert year.parked_heat_w == pytest.approx([means["heat_w standing"]] * 3)
    assert year.within_limits == pytest.approx([means["within driving"]] * 3)
    for name in chain.BALANCES:
        assert year.pays_share[name] == pytest.approx([means[f"pays {name} driving"]] * 3)
    flows = year.flows
    assert flows.driving_heat_w == pytest.approx([means["heat_w driving"]])
    assert flows.added_w == pytest.approx([means["added_w driving"]])
    assert flows.stowed_w == pytest.approx([means["stowed_w driving"]])
    assert flows.parked_heat_w == pytest.approx([means["heat_w standing"]])
    assert flows.drives
    assert 0 < means["within standing"] < 1
    parked = chain._year(scenario, 0.0, None)
    assert not parked.flows.drives
    assert parked.pays_share == {}
    assert parked.change_w == parked.driving_heat_w == (0.0, 0.0, 0.0)
    assert parked.within_limits == pytest.approx([float(parked.within_limits[1])] * 3)


def test_a_years_ends_hold_nine_tenths_of_its_draws(small: Payback) -> None:
    flows, year = small.year.flows, small.year
    for values, ends in ((flows.driving_heat_w, year.driving_heat_w), (flows.parked_heat_w, year.parked_heat_w)):
        assert values.shape == (5,)
        low, middle, high = ends
        assert middle == values[0]
        # Of four draws the ends that hold nine tenths are the outermost.
        assert (low, high) == (values[1:].min(), values[1:].max())
        assert low < high


def test_the_winds_are_drawn_of_a_turbine_that_is_surely_known(van: Scenario) -> None:
    """Without a range of turbine or vehicle the year's winds keep theirs; with some there are as many draws."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_DRAWS", 8)
        patch.setattr(chain, "_CLIMATE_POINTS", (3, 2))
        sure = chain._year(van, 0.0, {})
        few = chain._year(van, 0.0, _four_draws(van))
    assert sure.flows.parked_heat_w.shape == (1 + 8,)
    assert np.ptp(sure.flows.parked_heat_w[1:]) > 0
    assert few.flows.parked_heat_w.shape == (1 + 4,)


def test_the_climate_that_is_assumed_and_the_one_that_is_given(van: Scenario, demos: Path) -> None:
    mean, shape, direction, words = chain.climate_of(van)
    assert (mean.value, shape.value, direction) == (3.5, 2.0, "any")
    assert mean.low < mean.value < mean.high
    assert shape.low < shape.value < shape.high
    assert "open inland country" in words
    given = load(demos / "van_water_tank" / "scenario.toml", ["wind_climate.mean_speed=6 m/s"])
    assert chain.climate_of(given)[0].value == 6.0
    assert chain.climate_of(given)[3] == ""


def test_what_the_alternator_takes_for_a_watt(van: Scenario) -> None:
    """Alternator 0.60, belt 0.98, inverter 0.90, indicated efficiency 0.46 (the defaults): one over their product."""
    found = float(alternator_per_heat(van, {}, 100 / 3.6)[0, 0])
    assert found == pytest.approx(1 / (0.6 * 0.98 * 0.9 * 0.46), rel=1e-9)
    parked = float(alternator_per_heat(van, {}, 0.0)[0, 0])
    engine = inputs_of(van).engine
    assert isinstance(engine, Engine)
    # The engine idles for it: friction over the cycles, and its accessories, for each of a thousand watts.
    friction = number(engine.friction_mean_pressure_pa) * number(engine.displacement_m3)
    idle = friction * number(engine.idle_speed_rad_s) / (4 * math.pi) + number(engine.accessory_power_w)
    assert parked == pytest.approx((1000 / (0.6 * 0.98 * 0.9) + idle) / 0.46 / 1000, rel=1e-9)


def test_balances_are_said_for_fuel_and_pack(van: Scenario, van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    start, end = text.index("[engine]"), text.index("[trip]")
    path.write_text(f"{text[:start]}[battery]\n\n{text[end:]}", encoding="utf-8")
    pack = load(path)
    assert "fuel" in chain.balances_in_words(van)["fuel"]
    assert "pack" in chain.balances_in_words(pack)["fuel"]
    down = chain._descent(pack, 25.0, 0.04, 40.0)
    assert math.isnan(down.fuel_change_m3)
    where = {"trip.road_speed": 25.0, "trip.grade": -0.04}
    found = answer(inputs_of(pack, {key: np.array(value) for key, value in where.items()}))
    assert down.pack_change_j == pytest.approx(number(found.change.power_w) * down.duration_s)
