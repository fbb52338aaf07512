from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trip_by_steps import drive_trip

from energy.chain.answer import answered
from energy.chain.draws import steady_chain
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.chain.trip import answer_trip, steps_of_scenario, trip_chain
from energy.scenario.inputs import inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.uncertainty.propagate import Sampling
from energy.words.answer import as_data, key_numbers
from energy.words.cautions import cautions
from energy.words.verdict import verdict
from vehicle.driving.trip import stops_and_goes
from vehicle.problems import InputError
from vehicle.quantity import exact

POLICIES = [
    [],
    ["trip.works=braking_or_descending"],
    ["trip.works=only_parked"],
    ["trip.works=below_speed", "trip.works_speed=50 km/h"],
    ["trip.works=above_speed", "trip.works_speed=50 km/h"],
]


@pytest.fixture(scope="module")
def town(demos: Path) -> Scenario:
    return load(demos / "van_in_town" / "scenario.toml")


def scheduled(folder: Path, rows: str, *overrides: str, profile: str = "") -> Scenario:
    (folder / "urban.csv").write_text("time_s,speed_km_h\n" + rows, encoding="utf-8")
    more = []
    if profile:
        (folder / "way.csv").write_text(profile, encoding="utf-8")
        more = ["trip.profile=way.csv"]
    return load(folder / "scenario.toml", [*more, *overrides])


@pytest.fixture
def town_folder(demos: Path, tmp_path: Path) -> Path:
    import shutil

    return Path(shutil.copytree(demos / "van_in_town", tmp_path / "town"))


@pytest.mark.parametrize(
    "wind",
    [
        [],
        ["air.wind_speed=30 km/h", "air.wind_from=40 deg"],
        ["air.wind_speed=40 km/h", "air.wind_from=180 deg"],
        ["air.wind_speed=30 km/h", "air.wind_from=70 deg", "rotor.turns_into_wind=true"],
    ],
)
def test_a_trip_at_a_steady_speed_is_the_steady_answer(town_folder: Path, demos: Path, wind: list[str]) -> None:
    for speed in (100, 25):
        trip = answer_trip(scheduled(town_folder, f"0,{speed}\n600,{speed}\n", *wind)).mean
        steady = answer(
            inputs_of(load(demos / "van_water_tank" / "scenario.toml", [f"trip.road_speed={speed} km/h", *wind]))
        )
        assert float(trip.change.power_w) == pytest.approx(float(steady.change.power_w), rel=3e-3, abs=1.0)
        assert float(trip.turbine.heat_power_w) == pytest.approx(float(steady.turbine.heat_power_w), rel=5e-3, abs=0.5)
        assert float(trip.without.supply.source_w) == pytest.approx(float(steady.without.supply.source_w), rel=1e-9)
        for one, other in zip(trip.ledger, steady.ledger, strict=True):
            assert one[:2] == other[:2]
            assert float(one[2]) == pytest.approx(float(other[2]), rel=1e-2, abs=2.0)


@pytest.mark.parametrize("policy", POLICIES)
def test_the_books_close_over_the_trip_and_in_every_step(demos: Path, policy: list[str]) -> None:
    for wind in ([], ["air.wind_speed=20 km/h", "air.wind_from=60 deg"]):
        found = answer_trip(load(demos / "van_in_town" / "scenario.toml", [*policy, *wind]))
        assert np.max(found.by_step.residual_w) < 1e-6
        assert float(found.mean.residual_w) < 1e-6
        turbine = found.by_step.turbine
        assert (turbine.heat_power_w[~found.works] == 0).all()
        assert (turbine.air_power_w[found.works] >= turbine.shaft_power_w[found.works] - 1e-6).all()


@settings(max_examples=15)
@given(seed=st.integers(0, 10**6), policy=st.sampled_from(POLICIES))
def test_the_books_close_over_any_trip(
    tmp_path_factory: pytest.TempPathFactory, demos: Path, seed: int, policy: list[str]
) -> None:
    rng = np.random.default_rng(seed)
    folder = tmp_path_factory.mktemp("any")
    for name in ("scenario.toml", "rotor_curves.csv"):
        (folder / name).write_bytes((demos / "van_in_town" / name).read_bytes())
    speed = np.maximum(0, np.cumsum(rng.normal(0, 6, 80)) + 30)
    rows = "".join(f"{3 * k},{v:.2f}\n" for k, v in enumerate(speed))
    heights = np.cumsum(rng.normal(0, 10, 12))
    way = "distance_m,altitude_m,wind_speed_m_s,wind_from_deg\n" + "".join(
        f"{400 * k},{h:.1f},{abs(rng.normal(0, 6)):.1f},{rng.uniform(0, 360):.0f}\n" for k, h in enumerate(heights)
    )
    found = answer_trip(scheduled(folder, rows, *policy, profile=way))
    assert np.max(found.by_step.residual_w) < 1e-6
    assert float(found.mean.residual_w) < 1e-6
    assert float(found.mean.turbine.heat_power_w) <= float(found.mean.turbine.shaft_power_w) + 1e-9


def test_every_second_by_a_plain_loop(town: Scenario) -> None:
    """Each step as a steady answer of its own, operating point and all, summed by hand."""
    found = answer_trip(town)
    steps = steps_of_scenario(town)
    total = np.zeros(2)
    for k in range(0, len(steps.duration_s), 7):
        alone = answer(
            inputs_of(
                town,
                {
                    "trip.road_speed": steps.speed_m_s[k],
                    "trip.acceleration": steps.acceleration_m_s2[k],
                    "trip.grade": steps.grade[k],
                },
            )
        )
        if steps.speed_m_s[k] > 0:
            total += [float(alone.change.power_w), float(alone.turbine.heat_power_w)]
    every = slice(0, len(steps.duration_s), 7)
    by_step = found.by_step
    assert by_step.change.power_w[every].sum() == pytest.approx(total[0], rel=5e-3)
    assert by_step.turbine.heat_power_w[every].sum() == pytest.approx(total[1], rel=1e-2)


def test_between_the_air_speeds_where_the_turbine_is_solved(town_folder: Path) -> None:
    """Steady stretches half way between two of the 48 air speeds up to the trip's fastest: what is scaled by the wrong
    power of air speed shows there and not at the air speeds themselves.
    """
    rows, time_s = "0,100\n100,100\n", 100
    speeds = [100 / 48 * place for place in (14.5, 30.5)]
    for speed in speeds:
        rows += f"{time_s + 20},{speed}\n{time_s + 120},{speed}\n"
        time_s += 120
    scenario = scheduled(town_folder, rows)
    found = answer_trip(scenario)
    turbine, steps = found.by_step.turbine, found.steps
    # In still air the wind gives nothing, to the last watt: drag (a force) times road speed is all that the air takes
    # (a
    # power), and both are interpolated alike only where force goes with the square and power with the cube.
    paid = turbine.rotor_drag_n * steps.speed_m_s
    assert paid.max() > 4000
    assert turbine.air_power_w == pytest.approx(paid, rel=1e-12, abs=1e-9)
    # Solved at that very speed: rotor speed, current and voltage go nearly with the air speed itself.
    for speed in speeds:
        k = int(np.flatnonzero((steps.acceleration_m_s2 == 0) & np.isclose(steps.speed_m_s, speed / 3.6))[0])
        alone = answer(inputs_of(scenario, {"trip.road_speed": np.array(speed / 3.6)})).turbine
        assert float(turbine.rotor_speed_rad_s[k]) == pytest.approx(float(alone.rotor_speed_rad_s), rel=3e-4)
        assert float(turbine.thrust_n[k]) == pytest.approx(float(alone.thrust_n), rel=5e-4)
        assert float(turbine.shaft_power_w[k]) == pytest.approx(float(alone.shaft_power_w), rel=5e-4)
        assert float(turbine.heat_power_w[k]) == pytest.approx(float(alone.heat_power_w), rel=4e-3)
        parts, solved = turbine.electrical, alone.electrical
        assert parts is not None
        assert solved is not None
        assert float(parts.current_a[k]) == pytest.approx(float(solved.current_a), rel=2e-3)
        assert float(parts.element_voltage_v[k]) == pytest.approx(float(solved.element_voltage_v), rel=2e-3)


def test_a_rotor_stowed_spinning_is_that_of_the_steady_answer_between_the_air_speeds_too(town_folder: Path) -> None:
    speed = 100 / 48 * 14.5
    rows = f"0,100\n100,100\n120,{speed}\n220,{speed}\n"
    scenario = scheduled(town_folder, rows, "rotor.stowed=spinning", "trip.compared_with=stowed")
    drag = answer_trip(scenario).by_step.states["stowed"].rotor_drag_n[-1]
    alone = answer(inputs_of(scenario, {"trip.road_speed": np.array(speed / 3.6)})).states["stowed"].rotor_drag_n
    assert float(alone) > 10
    assert float(drag) == pytest.approx(float(alone), rel=5e-4)


def test_without_the_turbine_it_is_the_vehicle_alone(town: Scenario) -> None:
    inputs = inputs_of(town)
    driven = drive_trip(inputs.engine, inputs.road_load, steps_of_scenario(town), inputs.density_kg_m3)
    found = answer_trip(town)
    assert float(found.mean.states["absent"].supply.source_w) * found.steps.total_s == pytest.approx(
        float(driven.source_j)
    )


@pytest.mark.parametrize(
    "policy",
    [
        *POLICIES,
        ["rotor.stowed=spinning"],
        ["rotor.turns_into_wind=true", "air.wind_speed=5 m/s", "air.wind_from=70 deg"],
    ],
)
def test_draws_go_the_same_way_as_one_trip(demos: Path, policy: list[str]) -> None:
    scenario = load(demos / "van_in_town" / "scenario.toml", policy)
    ranges = ranges_of(scenario)
    drawn = draws_of(ranges, sobol_sample(64, len(ranges)))
    drawn = {key: np.concatenate([[ranges[key].value], values]) for key, values in drawn.items()}
    together = trip_chain(scenario)(drawn)
    single = answer_trip(scenario).mean
    # The grid of air speeds reaches as far as the fastest draw, so that its nodes differ a little.
    assert together.change_w[0] == pytest.approx(float(single.change.power_w), rel=5e-3, abs=1.0)
    assert together.heat_w[0] == pytest.approx(float(single.turbine.heat_power_w), rel=1e-2, abs=0.2)
    coarse = trip_chain(scenario, coarse=True)(drawn)
    assert np.corrcoef(coarse.change_w, together.change_w)[0, 1] > 0.98


def test_coverage_over_the_trip(town: Scenario) -> None:
    from energy.chain.draws import spread_of

    spread = spread_of(town, trip_chain(town), sampling=Sampling(draws=1024, with_sensitivity=False))
    assert spread is not None
    rng = np.random.default_rng(3)
    ranges = ranges_of(town)
    worlds = draws_of(ranges, rng.uniform(1e-6, 1 - 1e-6, (1000, len(ranges))))
    truth = trip_chain(town)(worlds).change_w
    assert 0.88 <= np.mean((truth >= spread.change_w[0]) & (truth <= spread.change_w[-1])) <= 0.92


def test_working_only_while_braking_takes_from_the_brakes(town_folder: Path) -> None:
    """Down a long hill at a steady speed the brakes pay; on the flat the same policy keeps it stowed."""
    hill = scheduled(
        town_folder,
        "0,60\n600,60\n",
        "trip.works=braking_or_descending",
        "trip.compared_with=stowed",
        profile="distance_km,grade_percent\n0,-7\n20,-7\n",
    )
    down = answer_trip(hill)
    assert down.works_share == 1
    assert float(down.mean.change.power_w) == pytest.approx(0, abs=1e-9)
    assert float(down.mean.turbine.heat_power_w) > 200
    word = verdict(answered(hill, exact=True), "metric")
    assert word.word == "saves"
    assert word.headline.startswith("No extra fuel.")
    flat = answer_trip(scheduled(town_folder, "0,60\n600,60\n", "trip.works=braking_or_descending"))
    assert flat.works_share == 0
    assert float(flat.mean.turbine.heat_power_w) == 0


def test_policies_by_speed_and_parked(town: Scenario, demos: Path) -> None:
    path = demos / "van_in_town" / "scenario.toml"
    always = answer_trip(town).mean.turbine.heat_power_w
    parts = [answer_trip(load(path, policy)) for policy in POLICIES[3:]]
    assert sum(p.works_share for p in parts) == pytest.approx(1)
    assert sum(float(p.mean.turbine.heat_power_w) for p in parts) == pytest.approx(float(always), rel=1e-4)
    parked = answer_trip(load(path, ["trip.works=only_parked", "air.wind_speed=12 m/s"]))
    assert 0.1 < parked.works_share < 0.3
    assert float(parked.mean.turbine.heat_power_w) > 1


def test_winds_of_a_year(demos: Path) -> None:
    path = demos / "van_in_town" / "scenario.toml"
    scenario = load(path, ["wind_climate.mean_speed=6 m/s"])
    assert {"wind_climate.mean_speed", "wind_climate.shape"} & set(ranges_of(scenario)) == {"wind_climate.shape"}
    found = answer_trip(scenario)
    still = answer_trip(load(path))
    winds = np.asarray(found.by_step.inputs.air.across_m_s)
    assert winds.std() > 2
    assert float(found.mean.turbine.heat_power_w) > float(still.mean.turbine.heat_power_w)
    assert "winds of a year" in verdict(answered(scenario, exact=True), "metric").sentence


@pytest.mark.usefixtures("fewer_draws")
def test_words_and_data_of_a_trip(town: Scenario) -> None:
    told = answered(town)
    words = verdict(told, "metric")
    assert words.word == "costs"
    assert words.lines[0].startswith("The 12.0 km of urban.csv (22.8 min), still air")
    assert " L over the trip (90 % range" in words.headline
    names = [name for name, _ in key_numbers(told, "metric")]
    assert names[0] == "trip"
    assert cautions(told, "metric")
    data = as_data(told)
    trip = data["trip"]
    assert trip["fuel_working_l"] - trip["fuel_without_l"] == pytest.approx(trip["fuel_change_l"])
    assert data["fuel_change"]["l_per_h"] == pytest.approx(trip["fuel_change_l"] / trip["duration_s"] * 3600)
    assert trip["heat_kwh"] == pytest.approx(data["heat_power_w"] * trip["duration_s"] / 3.6e6)
    assert data["ledger_residual_w"] == pytest.approx(0, abs=1e-6)
    assert sum(row["watts"] for row in data["ledger"]) == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("overrides", "words"),
    [
        (["trip.road_speed=50 km/h"], "both given"),
        (["trip.works=below_speed"], "works_speed"),
        (["trip.works=sometimes"], "nearest|always"),
        (["trip.acceleration=1 m/s^2"], "together with a schedule"),
        (["trip.schedule=nowhere.csv"], "no such file"),
    ],
)
def test_faults_of_a_trip_are_told(demos: Path, overrides: list[str], words: str) -> None:
    with pytest.raises(InputError, match=words):
        load(demos / "van_in_town" / "scenario.toml", overrides)


def test_a_policy_needs_a_schedule(demos: Path) -> None:
    with pytest.raises(InputError, match="without a schedule"):
        load(demos / "van_water_tank" / "scenario.toml", ["trip.works=only_parked"])


def test_an_exact_input_is_not_drawn(town: Scenario) -> None:
    assert "trip.longest_idle" in ranges_of(town)
    assert exact(3.0).standard_deviation == 0
    assert steady_chain(town)({"rotor.diameter": np.array([1.7, 1.9])}).heat_w[1] > 0


def test_a_coarse_schedule_gives_the_heat_and_fuel_of_a_fine_one(town_folder: Path) -> None:
    """The same straight lines of speed over time, read off every 10 s and every 1 s."""
    time = np.arange(0, 601)
    corners = np.array([0, 60, 120, 200, 280, 340, 400, 480, 540, 600])
    speed = np.interp(time, corners, [0, 62, 30, 74, 20, 88, 45, 96, 10, 0])

    def at(every: int) -> tuple[float, float]:
        rows = "".join(f"{t},{v:.6f}\n" for t, v in zip(time[::every], speed[::every], strict=True))
        policy = ["trip.works=below_speed", "trip.works_speed=80 km/h"]
        found = answer_trip(scheduled(town_folder, rows, *policy)).mean
        return float(found.turbine.heat_power_w), float(found.without.supply.source_w)

    fine, coarse = at(1), at(20)
    assert coarse[0] == pytest.approx(fine[0], rel=0.02)
    assert coarse[1] == pytest.approx(fine[1], rel=0.01)


def test_town_fuel_is_said_to_read_low_and_a_motorway_is_not(demos: Path) -> None:
    town = answered(load(demos / "van_in_town" / "scenario.toml"), exact=True)
    said = [text for text in cautions(town, "metric") if text.startswith("Fuel in town reads low")]
    assert len(said) == 1
    assert "by 14 % against the city test" in said[0]
    assert town.trip is not None
    assert stops_and_goes(town.trip.steps)
    fast = replace(town.trip.steps, speed_m_s=town.trip.steps.speed_m_s * 2)
    assert not stops_and_goes(fast)
    rolling = replace(town.trip.steps, standing_s=np.zeros_like(town.trip.steps.standing_s))
    assert not stops_and_goes(rolling)


def test_working_outside_the_fuel_map_is_said(demos: Path, tmp_path: Path) -> None:
    for name in ("scenario.toml", "rotor_curves.csv"):
        (tmp_path / name).write_bytes((demos / "van_water_tank" / name).read_bytes())
    rows = ["engine_speed_rpm,torque_nm,fuel_g_kwh"]
    rows += [f"{s},{t},{g}" for s in (1200, 3200) for t, g in ((20, 420), (120, 230), (320, 210))]
    (tmp_path / "map.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    maps = ['engine.fuel_map="map.csv"']

    def said(*more: str) -> list[str]:
        told = answered(load(tmp_path / "scenario.toml", [*maps, *more]), exact=True)
        return [text for text in cautions(told, "metric") if "outside its fuel map" in text]

    assert said("trip.road_speed=80 km/h") == []
    assert len(said("trip.road_speed=100 km/h", 'engine.speed_per_1000_rpm=["8 km/h", "30 km/h"]')) == 1
    assert "1200 rpm to 3200 rpm, 20.0 N·m to 320 N·m" in said('engine.speed_per_1000_rpm=["8 km/h", "30 km/h"]')[0]
    assert len(said("trip.grade=-3 %")) <= 1
