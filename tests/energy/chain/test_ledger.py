from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from energy.chain.answer import answered
from energy.chain.ledger import Answer, answer, turbine_efficiency_at_flywheel
from energy.chain.load import load
from energy.scenario.inputs import inputs_of, ranges_of
from energy.scenario.read import Scenario

# Ranges far wider than any honest uncertainty: key -> (low, high), SI.
WIDE = {
    "trip.road_speed": (2.0, 45.0),
    "rotor.diameter": (0.3, 4.0),
    "rotor.pitch": (0.0, 12.0),
    "rotor.local_speed_factor": (0.4, 1.5),
    "rotor.mount_speed_factor": (0.2, 1.5),
    "rotor.interaction_factor": (0.3, 3.0),
    "rotor.mount_drag_area": (0.0, 0.6),
    "rotor.turbine_mass": (0.0, 200.0),
    "drive.ratio": (0.3, 8.0),
    "drive.efficiency": (0.5, 1.0),
    "generator.voltage_constant": (0.05, 4.0),
    "generator.winding_resistance": (0.0, 5.0),
    "generator.cogging_torque": (0.0, 2.0),
    "heater.resistance": (0.3, 100.0),
    "vehicle.mass": (500.0, 8000.0),
    "vehicle.rolling_resistance": (0.005, 0.03),
    "engine.displacement": (0.8e-3, 6e-3),
    "engine.drivetrain_efficiency": (0.7, 1.0),
    "engine.indicated_efficiency": (0.25, 0.5),
    "engine.friction_mean_pressure": (0.5e5, 4e5),
    "air.temperature": (250.0, 315.0),
}


def random_draws(count: int, seed: int, **fixed: tuple[float, float]) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    return {
        key: rng.uniform(low, high, count)
        for key, (low, high) in (WIDE | {k.replace("__", "."): v for k, v in fixed.items()}).items()
    }


def assert_books_close(found: Answer) -> None:
    for state in (*found.states.values(), found.without):
        allowed = 1e-9 * np.maximum(np.abs(state.supply.source_w), 1.0)
        assert (np.abs(state.residual_w) <= allowed).all()
        for account in {account for account, _, _ in state.rows} - {"alternator"}:
            total = sum(watts for a, _, watts in state.rows if a == account)
            if account == "road":  # what the alternator makes is booked in its own account
                total = total + sum(watts for a, _, watts in state.rows if a == "alternator")
            assert (np.abs(np.asarray(total)) <= allowed).all(), account


@pytest.mark.parametrize("name", ["van", "pickup"])
def test_in_still_air_on_the_flat_the_rotor_always_costs_fuel(name: str, request: pytest.FixtureRequest) -> None:
    scenario = request.getfixturevalue(name)
    for compared in ("absent", "stowed"):
        draws = random_draws(4000, 1)
        found = answer(replace(inputs_of(scenario, draws), compared_with=compared))
        working = found.turbine.turning
        assert working.mean() > 0.5
        speed = draws["trip.road_speed"]
        # The drag power paid always exceeds the shaft power got ...
        assert (found.turbine.rotor_drag_n * speed >= found.turbine.shaft_power_w * (1 - 1e-12))[working].all()
        if compared == "absent":
            # ... and so fuel is spent.
            assert (found.change.power_w > 0).all()
        else:
            # Against a rotor carried with stopped blades it may even drag less, but never to make heat for nothing:
            made = found.turbine.heat_power_w
            drag_more = (found.turbine.rotor_drag_n - found.states["stowed"].rotor_drag_n) > 0
            assert (found.change.power_w[drag_more] >= -1e-6).all()
            assert made.min() >= 0
        assert_books_close(found)


@settings(max_examples=40)
@given(st.integers(0, 10**6), st.floats(0, 20), st.floats(-math.pi, math.pi), st.floats(-0.12, 0.12))
def test_the_books_close_in_any_wind_on_any_grade(
    van: Scenario, seed: int, wind: float, angle: float, grade: float
) -> None:
    draws = random_draws(50, seed)
    draws |= {
        "air.wind_speed": np.full(50, wind),
        "air.wind_from": np.full(50, angle),
        "trip.grade": np.full(50, grade),
    }
    found = answer(inputs_of(van, draws))
    assert_books_close(found)
    turbine = found.turbine
    assert (turbine.heat_power_w <= turbine.shaft_power_w + 1e-9).all()
    # Never more than the Betz limit of the air at the disc.
    area = np.pi / 4 * draws["rotor.diameter"] ** 2
    air_power = 0.5 * np.asarray(found.inputs.density_kg_m3) * area * found.inputs.rotor_air_speed_m_s**3
    assert (turbine.shaft_power_w <= 16 / 27 * air_power + 1e-9).all()
    # What the air gives up covers the shaft power: the wake's loss is never negative.
    assert (turbine.air_power_w >= turbine.shaft_power_w - 1e-9 * np.abs(turbine.air_power_w) - 1e-9).all()


def test_one_answer_and_ten_thousand_draws_go_the_same_way(van: Scenario) -> None:
    draws = random_draws(10_000, 3)
    together = answer(inputs_of(van, draws))
    assert together.change.power_w.shape == (10_000,)
    for k in (0, 17, 4096, 9999):
        alone = answer(inputs_of(van, {key: np.asarray(values[k]) for key, values in draws.items()}))
        assert float(alone.change.power_w) == pytest.approx(float(together.change.power_w[k]), rel=1e-9)
        assert float(alone.turbine.heat_power_w) == pytest.approx(float(together.turbine.heat_power_w[k]), rel=1e-9)


def test_a_descent_with_braking_makes_heat_free(van: Scenario) -> None:
    steep = answer(inputs_of(van, {"trip.grade": np.linspace(-0.08, 0.0, 17)}))
    change, heat = steep.change.power_w, steep.turbine.heat_power_w
    assert change[0] == 0
    assert heat[0] > 1000
    assert change[-1] > 0
    assert (np.diff(change) >= -1e-6).all()
    # Where it is free, it comes out of the brakes and the gravity that they would have burnt.
    saved = steep.states["absent"].supply.brake_loss_w - steep.states["working"].supply.brake_loss_w
    assert saved[0] > heat[0]


def test_standing_still_costs_no_fuel(demos: Path) -> None:
    told = answered(load(demos / "parked_on_a_ridge" / "scenario.toml"))
    found = told.answer
    assert float(found.change.power_w) == 0
    assert float(found.turbine.heat_power_w) > 300
    rows = {name: float(w) for account, name, w in found.ledger if account == "rotor"}
    assert rows["wind"] == pytest.approx(-rows["wake and blade loss"] - rows["shaft"])


def test_a_head_wind_pays_part_of_it(van: Scenario) -> None:
    winds = np.linspace(0, 20, 21)
    found = answer(inputs_of(van, {"air.wind_speed": winds}))
    wind_row = next(w for account, name, w in found.ledger if (account, name) == ("rotor", "wind"))
    assert wind_row[0] == pytest.approx(0, abs=1e-9)
    assert (np.diff(wind_row) > 0).all()
    share = wind_row / (wind_row + found.turbine.rotor_drag_n * 100 / 3.6)
    assert (np.diff(share) > 0).all()


def test_the_alternator_credit_and_where_its_line_runs(van: Scenario) -> None:
    credited = replace(inputs_of(van).credit, replaces_alternator=True)
    efficiency = float(turbine_efficiency_at_flywheel(answer(inputs_of(van))))
    for path, expected in ((efficiency * 1.02, 1), (efficiency * 0.98, -1)):
        inputs = replace(inputs_of(van), credit=replace(credited, path_efficiency=path))
        found = answer(inputs)
        assert_books_close(found)
        # A worse alternator path than the turbine's own makes the turbine the cheaper source; a better one, the dearer.
        assert np.sign(float(found.change.power_w)) == expected
        assert float(found.change_without_credit.power_w) > 0


@pytest.mark.parametrize("compared_with", ["absent", "stowed"])
@pytest.mark.parametrize("grade", [0.0, 0.03])
def test_a_battery_that_carries_the_heat_by_hand(van: Scenario, compared_with: str, grade: float) -> None:
    """What the same heat weighs as charge from the mains, and what carrying it burns, with a pocket calculator."""
    inputs = inputs_of(van, {"trip.grade": np.array(grade)})
    found = answer(replace(inputs, compared_with=compared_with))
    heat_w = float(found.turbine.heat_power_w)
    mains = found.other_sources["mains"]
    # An hour of it is heat_w * 1 h; a battery of 100 Wh/kg (the default) weighs heat_w / 100 kg: 10 kg for each kW.
    kilograms = heat_w / 100
    assert f"about {kilograms:.0f} kg ({kilograms / 0.45359237:.0f} lb) of battery" in mains.note
    # Of 100 Wh from the mains 82 arrive (the default).
    assert float(mains.mains_w) == pytest.approx(heat_w / 0.82)
    # Its weight rolls and climbs beside whatever is carried already: kg * 9.80665 * (0.0095 * cosine + sine) newtons at
    # 27.778 m/s, over gear meshes 0.965 and indicated efficiency 0.46 (the gear stays), over 35.80 MJ/L of diesel.
    length = math.hypot(1, grade)
    newtons = kilograms * 9.80665 * (0.0095 / length + grade / length)
    litres_per_hour = newtons * 27.778 / 0.965 / 0.46 * 3600 / 35.80e6
    assert float(mains.fuel_m3_s) * 3.6e6 == pytest.approx(litres_per_hour, rel=2e-3)


def test_the_same_heat_from_alternator_and_burner_by_hand(van: Scenario) -> None:
    found = answer(inputs_of(van))
    heat_w = float(found.turbine.heat_power_w)
    # Alternator 0.60, its belt 0.98, inverter 0.90 (defaults): heat / 0.5292 more at the crankshaft, over the indicated
    # efficiency 0.46 (friction does not change), over 35.80 MJ/L of diesel.
    litres_per_hour = heat_w / 0.5292 / 0.46 * 3600 / 35.80e6
    assert float(found.other_sources["alternator"].fuel_m3_s) * 3.6e6 == pytest.approx(litres_per_hour, rel=1e-3)
    # Burner 0.60 (default); propane 84 250 Btu per US gallon (AFDC) * 1055.06 J / 3.7854 L = 23.48 MJ/L.
    gas = heat_w / 0.60 * 3600 / 23.48e6
    assert float(found.other_sources["burner"].gas_m3_s) * 3.6e6 == pytest.approx(gas, rel=1e-3)


def test_stowed_ways(van: Scenario) -> None:
    drag = {}
    for way in ("stopped", "feathered", "spinning"):
        inputs = inputs_of(van)
        found = answer(replace(inputs, turbine=replace(inputs.turbine, stowed=way)))
        drag[way] = float(found.states["stowed"].rotor_drag_n)
        assert_books_close(found)
    assert 0 < drag["feathered"] < drag["stopped"]
    assert drag["spinning"] > drag["feathered"]


def test_a_measured_table_instead_of_the_chain(van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    (van_folder / "watts.csv").write_text(
        "air_speed_km_h,electrical_power_w\n30,150\n60,1300\n90,4000\n", encoding="utf-8"
    )
    text = path.read_text(encoding="utf-8").replace('curves = "rotor_curves.csv" ', 'measured_power = "watts.csv" ')
    path.write_text(text, encoding="utf-8")
    found = answer(inputs_of(load(path)))
    assert float(found.turbine.heat_power_w) == pytest.approx(1300, rel=1e-6)
    assert float(found.turbine.shaft_power_w) == pytest.approx(1300 / 0.65, rel=1e-6)
    assert float(found.turbine.rotor_drag_n) * 100 / 3.6 > float(found.turbine.shaft_power_w)
    assert_books_close(found)
    draws = answer(inputs_of(load(path), {"trip.road_speed": np.linspace(5, 60, 12)}))
    assert_books_close(draws)
    assert draws.turbine.beyond_data[-1]


def test_measured_watts_beyond_the_data_go_with_the_cube_of_air_speed(van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    (van_folder / "watts.csv").write_text(
        "air_speed_km_h,electrical_power_w,thrust_N\n30,150,20\n60,1300,90\n90,4000,200\n", encoding="utf-8"
    )
    text = path.read_text(encoding="utf-8").replace('curves = "rotor_curves.csv" ', 'measured_power = "watts.csv" ')
    path.write_text(text, encoding="utf-8")
    inputs = inputs_of(load(path), {"trip.road_speed": np.array([45.0, 60.0])})
    found = answer(inputs).turbine
    over = np.asarray(inputs.rotor_air_speed_m_s) / 25.0  # 90 km/h
    assert (over > 1).all()
    assert found.electrical_power_w == pytest.approx(4000 * over**3, rel=1e-9)
    assert found.thrust_n == pytest.approx(200 * over**2, rel=1e-9)


def test_a_rotor_turned_into_the_wind_drags_along_its_own_axis(van_folder: Path) -> None:
    # Its thrust points down the wind that it meets: along the road only the cosine of the yaw angle of it counts.
    settings = ["rotor.turns_into_wind=true", "air.wind_speed=15 m/s", "air.wind_from=90 deg"]
    inputs = inputs_of(load(van_folder / "scenario.toml", settings))
    found = answer(inputs).turbine
    factor = float(np.asarray(inputs.turbine.interaction_factor)) * max(1.0, float(inputs.turbine.local_speed_factor))
    cosine = float(inputs.air.ahead_m_s) / math.hypot(float(inputs.air.ahead_m_s), float(inputs.air.across_m_s))
    assert 0.5 < cosine < 0.95
    assert not found.thrust_floor
    assert float(found.rotor_drag_n) == pytest.approx(float(found.thrust_n) * factor * cosine, rel=1e-9)


@pytest.mark.parametrize(("factor", "charged"), [(0.6, 0.6**2), (1.0, 1.0), (1.2, 1.2**3)])
@pytest.mark.parametrize(("stowed", "coefficient"), [("stopped", 1.2), ("feathered", 0.1)])
def test_blades_at_rest_and_the_mount_feel_the_air_where_they_sit(
    van_folder: Path, factor: float, charged: float, stowed: str, coefficient: float
) -> None:
    # Drag of a body, handbook: ½ρ·Cd·A·U², in the local air; above 1 the vehicle pays it times the factor.
    settings = [f"rotor.local_speed_factor={factor}", f"rotor.stowed={stowed}", "rotor.mount_speed_factor=0.8"]
    inputs = inputs_of(load(van_folder / "scenario.toml", settings))
    found = answer(inputs).states
    pressure = 0.5 * float(inputs.density_kg_m3) * (100 / 3.6) ** 2
    blades = 0.10 * math.pi / 4 * 1.8**2  # the default solidity
    assert float(found["stowed"].rotor_drag_n) == pytest.approx(pressure * blades * coefficient * charged, rel=1e-9)
    for state in ("stowed", "working"):
        assert float(found[state].mount_drag_n) == pytest.approx(pressure * 0.10 * 0.8**2, rel=1e-9)
    assert float(found["absent"].mount_drag_n) == 0


@pytest.mark.parametrize(
    ("factor", "expected"),
    [
        ("{ value = 0.6, low = 0.5, high = 0.7 }", (0.6, 0.5, 1.0)),
        ("{ value = 1.05, low = 1.02, high = 1.15 }", (1.05, 1.0, 1.15)),
    ],
)
def test_the_mount_stands_where_the_rotor_does_with_a_range_to_free_air(
    van_folder: Path, factor: str, expected: tuple[float, float, float]
) -> None:
    scenario = load(van_folder / "scenario.toml", [f"rotor.local_speed_factor={factor}"])
    found = ranges_of(scenario)["rotor.mount_speed_factor"]
    assert (found.value, found.low, found.high) == pytest.approx(expected)
    assumed = {a.key: a for a in inputs_of(scenario).assumptions}
    assert "as the rotor's" in assumed["rotor.mount_speed_factor"].source
    assert "above 1" in str(assumed["rotor.local_speed_factor (rule)"].value)


def test_thrust_power_is_never_below_shaft_power(van_folder: Path) -> None:
    # Factors that spare the thrust cannot make power out of nothing: then the drag is shaft power over air speed.
    inputs = inputs_of(load(van_folder / "scenario.toml", ["rotor.interaction_factor=0.5", "rotor.thrust_factor=0.2"]))
    found = answer(inputs).turbine
    assert found.thrust_floor
    expected = float(found.shaft_power_w) / float(inputs.free_air_speed_m_s)
    assert float(found.rotor_drag_n) == pytest.approx(expected, rel=1e-9)


def test_a_battery_vehicle(van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    start, end = text.index("[engine]"), text.index("[trip]")
    path.write_text(text[:start] + "[battery]\ndrive_efficiency = 0.86\n\n" + text[end:], encoding="utf-8")
    draws = {"trip.grade": np.linspace(-0.1, 0.1, 21)}
    found = answer(inputs_of(load(path), draws))
    assert_books_close(found)
    assert (found.change.power_w > 0).all()  # downhill too: it takes from what would have been regenerated
    assert np.isnan(found.change.volume_m3_s).all()


def test_the_van_by_hand(van: Scenario) -> None:
    """The demo's answer worked out step by step with a pocket calculator, to 1 %."""
    # 1. Air: 15 °C, 1013 hPa, 60 % humidity. Vapour: 0.6 × 1705 Pa = 1023 Pa.
    #    ρ = (101300 − 1023)/(287.05 × 288.15) + 1023/(461.5 × 288.15) = 1.2123 + 0.0077
    density = 1.2200
    # 2. Air speed at the rotor: 100 km/h = 27.778 m/s, times 0.6.
    air = 16.667
    # 3. Swept area π/4 × 1.8² and the power in that air, ½ρAU³.
    area = 2.5447
    air_power = 0.5 * density * area * air**3  # 7 187 W
    assert air_power == pytest.approx(7187, rel=2e-3)

    # 4. Where does it settle? Torque of the rotor at pitch 4° from the curve file (tip-speed ratio 4.5: Cp 0.2997,
    #    5.0: 0.2901) against the torque of the load. Rotor speed = λ·U/R = 18.519·λ rad/s.
    def load_power(rotor_speed: float) -> tuple[float, float]:
        generator_speed = 2.5 * rotor_speed
        # Open circuit behind the rectifier: 60 V/krpm = 0.5730 V·s/rad; × 1.3505; less two diodes 1.8 V.
        volts = 1.3505 * 0.5730 * generator_speed - 1.8
        # Loop: element 9 + leads 0.05 + winding 0.8 × (1 + 0.00393 × 40) Ω at 60 °C, and commutation (3/π) × 6 pole
        # pairs × ω × 1.5 mH.
        ohms = 9 + 0.05 + 0.926 + 0.9549 * 6 * generator_speed * 0.0015
        current = volts / ohms
        # Into the generator: copper, diodes, friction 0.1 N·m, iron 15 W at 104.72 rad/s (half ∝ speed, half ∝ speed²).
        share = generator_speed / 104.72
        into = current**2 * 9.976 + 1.8 * current + 0.1 * generator_speed + 15 * (0.5 * share + 0.5 * share**2)
        return into / 0.95, current

    def rotor_power(ratio: float) -> float:
        return air_power * (0.2997 + (ratio - 4.5) / 0.5 * (0.2901 - 0.2997))

    low, high = 4.5, 5.0
    at_low = rotor_power(low) - load_power(18.519 * low)[0]
    at_high = rotor_power(high) - load_power(18.519 * high)[0]
    assert at_low > 0 > at_high
    ratio = low + (high - low) * at_low / (at_low - at_high)  # straight line between: about 4.63
    shaft, current = load_power(18.519 * ratio)
    heat = current**2 * 9

    # 5. Drag. Thrust coefficient between 0.8181 (4.5) and 0.8236 (5.0): T = ½ρAU²·Ct; mount ½ρ·0.10·U²;
    #    55 kg more on the tyres: 55 × 9.807 × 0.0095.
    thrust = 0.5 * density * area * air**2 * (0.8181 + (ratio - 4.5) / 0.5 * (0.8236 - 0.8181))
    mount = 0.5 * density * 0.10 * air**2  # it stands where the rotor does
    tyres = 55 * 9.807 * 0.0095
    # 6. Fuel: the added force × road speed, over gear meshes 0.965 and indicated efficiency 0.46 (friction does not
    #    change in the same gear), over diesel's 35.80 MJ/L.
    added_fuel = (thrust + mount + tyres) * 27.778 / 0.965 / 0.46
    litres_per_hour = added_fuel * 3600 / 35.80e6
    # 7. Without it: tyres 2900 × 9.807 × 0.0095 = 270.2 N, body ½ρ·1.45·V² = 682.5 N; spin loss 25 N,
    #    alternator and pumps 500 W, friction 155 kPa × 2.2 L × cycles per second, sixth gear, 100/58 × 1000 rpm / 120.
    brake = (270.2 + 25 + 0.5 * density * 1.45 * 27.778**2) * 27.778 / 0.965 + 500
    friction = 155e3 * 2.2e-3 * (100 / 58 * 1000) / 120
    litres_without = (brake + friction) / 0.46 * 3600 / 35.80e6

    found = answer(inputs_of(van))
    assert float(found.turbine.tip_speed_ratio) == pytest.approx(ratio, rel=0.01)
    assert float(found.turbine.shaft_power_w) == pytest.approx(shaft, rel=0.01)
    assert float(found.turbine.heat_power_w) == pytest.approx(heat, rel=0.01)
    assert float(found.turbine.thrust_n) == pytest.approx(thrust, rel=0.01)
    assert float(found.change.volume_m3_s) * 3.6e6 == pytest.approx(litres_per_hour, rel=0.01)
    assert float(found.without.supply.source_w) / 35.80e6 * 3600 == pytest.approx(litres_without, rel=0.01)
    assert float(found.change.percent) == pytest.approx(100 * litres_per_hour / litres_without, rel=0.015)


def test_turbulence_raises_power_and_thrust_of_curves_and_leaves_measured_watts(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    calm, gusty = (inputs_of(load(path, [f"air.turbulence={share}"])).turbine for share in (0, 0.3))
    assert gusty.power_factor == pytest.approx(1.27 * calm.power_factor)
    assert gusty.thrust_factor == pytest.approx(1.09 * calm.thrust_factor)
    heat = [float(answer(inputs_of(load(path, [f"air.turbulence={s}"]))).turbine.heat_power_w) for s in (0, 0.3)]
    assert 1.1 < heat[1] / heat[0] < 1.4
    measured = load(path.parent / "scenario.toml", ["air.turbulence=0.3"])
    from dataclasses import replace

    from energy.scenario.files import MeasuredPower

    watts = MeasuredPower(np.array([5.0, 30.0]), np.array([100.0, 3000.0]), None, None)
    by_watts = inputs_of(replace(measured, measured=watts)).turbine
    assert by_watts.power_factor == 1.0
    assert by_watts.thrust_factor == pytest.approx(calm.thrust_factor)
