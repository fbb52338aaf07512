"""Every field of a trip's answer, step by step and over the trip, against the ledger worked out by hand."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ledger_by_hand import (
    Numbers,
    at_work,
    change_of,
    flat,
    in_local_air,
    number,
    other_sources,
    road_forces,
    same,
    state_of,
    stowed_drag,
)
from scipy import stats
from scipy.special import gamma

from energy.chain import trip as chain
from energy.chain.load import load
from energy.chain.trip import TripAnswer, _averaged, answer_trip, steps_of_scenario, trip_chain, trip_look
from energy.scenario.inputs import Inputs, inputs_of
from energy.scenario.read import Scenario
from vehicle.driving.engine import Engine
from vehicle.driving.trip import Steps, spread_over

NODES = 48  # air speeds at which the turbine is solved, evenly up to a millionth above the trip's fastest (own choice)
ROWS = "0,0\n40,0\n42,16\n60,16\n63,45\n70,45\n74,0\n475,0\n"  # s, km/h: a short stop and one of 400 s
CASES = {
    "a head wind, braking, credit": [
        "trip.works=braking_or_descending",
        "air.wind_speed=5 m/s",
        "trip.grade=-3 %",
        "credit.replaces_alternator=true",
    ],
    "parked": ["trip.works=only_parked", "air.wind_speed=8 m/s"],
    "below": ["trip.works=below_speed", "trip.works_speed=30 km/h", "rotor.stowed=spinning"],
    "above, into the wind": [
        "trip.works=above_speed",
        "trip.works_speed=30 km/h",
        "rotor.turns_into_wind=true",
        "air.wind_speed=6 m/s",
        "air.wind_from=70 deg",
        "rotor.local_speed_factor=1.1",
        "trip.compared_with=stowed",
    ],
    "wind from behind, feathered": ["air.wind_speed=10 m/s", "air.wind_from=170 deg", "rotor.stowed=feathered"],
}


@pytest.fixture
def folder(demos: Path, tmp_path: Path) -> Path:
    for name in ("scenario.toml", "rotor_curves.csv"):
        (tmp_path / name).write_bytes((demos / "van_in_town" / name).read_bytes())
    (tmp_path / "urban.csv").write_text("time_s,speed_km_h\n" + ROWS, encoding="utf-8")
    return tmp_path


def power_of_air_speed(path: str) -> int:
    """Powers go with the cube of air speed, forces with its square, speeds, currents and voltages with itself."""
    ends = {"_w": 3, "_n": 2, "_rad_s": 1, "_a": 1, "_v": 1}
    return next((power for end, power in ends.items() if path.endswith(end)), 0)


def step_inputs(scenario: Scenario, steps: Steps, k: int) -> Inputs:
    driven = {
        "trip.road_speed": steps.speed_m_s[k],
        "trip.acceleration": steps.acceleration_m_s2[k],
        "trip.grade": steps.grade[k],
    }
    inputs = inputs_of(scenario, driven)
    engine = inputs.engine
    assert isinstance(engine, Engine)
    short_stop = steps.standing_s[k] <= number(inputs.longest_idle_s)  # it idles through these
    return replace(inputs, engine=replace(engine, runs_when_parked=engine.runs_when_parked or bool(short_stop)))


def turbine_in_step(
    inputs: Inputs, node: Callable[[int], Numbers], step_m_s: float, works: bool, stowed_n: float
) -> Numbers:
    """Straight lines between the air speeds solved: of power over the cube of air speed, force over its square."""
    air = number(inputs.rotor_air_speed_m_s)
    column = int(air / step_m_s)
    share = air / step_m_s - column
    found: Numbers = {}
    for path, low in node(column).items():
        high = node(column + 1)[path]
        if path in ("turning", "beyond_data", "thrust_floor"):
            found[path] = float(low + share * (high - low) >= 0.5)
        elif low is not None:
            found[path] = (low + share * (high - low)) * air ** power_of_air_speed(path)
    area = (
        inputs.turbine.feathered_drag_area_m2
        if inputs.turbine.stowed == "feathered"
        else (inputs.turbine.stopped_drag_area_m2)
    )
    ahead, across = number(inputs.air.ahead_m_s), number(inputs.air.across_m_s)
    along = ahead / math.hypot(ahead, across) if inputs.turbine.turns_into_wind and math.hypot(ahead, across) else 1.0
    if works and air > 0:
        found["rotor_drag_n"] *= along
    else:  # blades that stand, or air from behind
        resting = in_local_air(inputs, number(area), number(inputs.turbine.local_speed_factor))
        drag = resting if works else stowed_n
        found |= {"rotor_drag_n": drag, "air_power_w": drag * ahead}
    if not works:
        kept = ("rotor_drag_n", "air_power_w", "free_run_speed_rad_s")
        found = {path: value if path in kept else 0.0 for path, value in found.items()}
    found["stowed_drag_n"] = stowed_n
    return found


def works_in(scenario: Scenario, inputs: Inputs, stowed_n: float) -> bool:
    speed, limit = number(inputs.road_speed_m_s), scenario.trip.works_speed
    policy = scenario.trip.works
    if policy == "always":
        return True
    if policy == "only_parked":
        return speed == 0
    if limit is not None:
        return (speed < limit.value) == (policy == "below_speed")
    mount = in_local_air(inputs, number(inputs.turbine.mount_drag_area_m2), number(inputs.turbine.mount_speed_factor))
    pushes = -sum(road_forces(inputs, number(inputs.turbine.mass_kg)).values()) - mount - stowed_n
    return speed > 0 and pushes > 0


def picked(thing: Any, k: int, count: int) -> Any:
    """Return a result of all steps as that of one."""
    if is_dataclass(thing):
        kept = {
            f.name: picked(getattr(thing, f.name), k, count) for f in fields(thing) if f.name not in ("point", "inputs")
        }
        return replace(thing, **kept)
    if isinstance(thing, dict):
        return {key: picked(value, k, count) for key, value in thing.items()}
    if isinstance(thing, tuple) and thing and isinstance(thing[0], tuple):
        return tuple((account, name, picked(watts, k, count)) for account, name, watts in thing)
    return np.broadcast_to(thing, (count,))[k] if isinstance(thing, np.ndarray) else thing


PARTS = ("turbine", "states.absent", "states.stowed", "states.working", "without", "change", "change_without_credit")


def part_of(found: Any, part: str) -> Any:
    return found.states[part.partition(".")[2]] if part.startswith("states") else getattr(found, part)


def trip_by_hand(scenario: Scenario, found: TripAnswer) -> tuple[list[dict[str, Numbers]], list[bool]]:
    steps = found.steps
    count = len(steps.duration_s)
    each = [step_inputs(scenario, steps, k) for k in range(count)]
    fastest = max(1.0, *(number(one.rotor_air_speed_m_s) for one in each)) * 1.000001
    step, local = fastest / NODES, scenario.rotor.local_speed_factor.value

    @functools.cache
    def node(k: int) -> tuple[Numbers, float]:
        """The turbine in air from ahead of one speed, and the drag of the stowed rotor, as coefficients."""
        air = step * k or 1e-3 * step
        quiet = {"trip.road_speed": air / local, "air.wind_speed": 0.0, "air.wind_from": 0.0}
        inputs = inputs_of(scenario, {key: np.array(value) for key, value in quiet.items()})
        figures = at_work(inputs)
        coefficients = {p: v if v is None else v / air ** power_of_air_speed(p) for p, v in figures.items()}
        return coefficients, stowed_drag(inputs) / air**2 if inputs.turbine.stowed == "spinning" else 0.0

    days, works = [], []
    for inputs in each:
        stowed = stowed_drag(replace(inputs, turbine=replace(inputs.turbine, stowed="stopped")))
        air = number(inputs.rotor_air_speed_m_s)
        if inputs.turbine.stowed == "feathered":
            stowed = stowed_drag(inputs)
        elif inputs.turbine.stowed == "spinning" and air > 0:
            column = int(air / step)
            low, high = node(column)[1], node(column + 1)[1]
            stowed = low + (air / step - column) * (high - low)
            stowed *= air**2
        works.append(works_in(scenario, inputs, stowed))
        turbine = turbine_in_step(inputs, lambda k: node(k)[0], step, works[-1], stowed)
        states = {name: state_of(inputs, name, turbine) for name in ("absent", "stowed", "working")}
        plain = states[inputs.compared_with]
        without = plain
        if inputs.credit.replaces_alternator:
            without = state_of(inputs, inputs.compared_with, turbine, turbine["heat_power_w"])
        days.append(
            {
                "turbine": turbine,
                **{f"states.{name}": state for name, state in states.items()},
                "without": without,
                "change": change_of(inputs, states["working"], without),
                "change_without_credit": change_of(inputs, states["working"], plain),
                "other_sources": other_sources(inputs, turbine, plain),
            }
        )
    return days, works


ANY = ("turning", "beyond_data", "thrust_floor")


def mean_of(days: list[dict[str, Numbers]], part: str, seconds: np.ndarray) -> Numbers:
    """Means over time; whether anything was ever true of the turbine, whether torque was always enough."""
    mean: Numbers = {}
    for path, first in {path: value for day in days for path, value in day[part].items()}.items():
        values = [day[part].get(path, 0.0) for day in days]
        if isinstance(first, str):
            mean[path] = first
        elif path in ANY:
            mean[path] = float(any(values))
        elif path == "supply.enough_torque":
            mean[path] = float(all(values))
        else:
            mean[path] = sum(v * s for v, s in zip(values, seconds, strict=True)) / seconds.sum()
    if part in ("states.absent", "states.stowed", "states.working", "without"):
        mean["supply.gear"] = round(mean["supply.gear"])
    return mean


@pytest.mark.parametrize("case", CASES)
def test_every_number_of_a_trip(folder: Path, case: str) -> None:
    scenario = load(folder / "scenario.toml", CASES[case])
    found = answer_trip(scenario)
    steps = found.steps
    count = len(steps.duration_s)
    days, works = trip_by_hand(scenario, found)
    assert np.broadcast_to(found.works, (count,)).tolist() == works
    assert found.works_share == pytest.approx(sum(steps.duration_s[works]) / steps.duration_s.sum())
    assert found.name == "urban.csv"
    for k in range(0, count, 3):
        alone = picked(found.by_step, k, count)
        for part in PARTS:
            expected = days[k][part]
            seen = flat(part_of(alone, part), "point")
            same(seen, {key: 0.0 for key in seen if "alternator" in key} | expected)
        same(flat(alone.other_sources, "name", "note"), days[k]["other_sources"])
    seconds = np.asarray(steps.duration_s)
    speed = float(sum(steps.speed_m_s * seconds) / seconds.sum())
    for part in PARTS:
        expected = mean_of(days, part, seconds)
        if part.startswith("change"):
            plain = "without" if part == "change" else f"states.{scenario.trip.compared_with}"
            base = mean_of(days, plain, seconds)["supply.source_w"]
            expected |= {
                "percent": 100 * expected["power_w"] / base,
                "volume_m3_per_m": expected["volume_m3_s"] / speed,
                "load_points": math.nan,
            }
        same(flat(part_of(found.mean, part), "point"), expected)
    most = {path: float(np.max([day["turbine"][path] for day in days])) for path in days[0]["turbine"]}
    same(flat(found.most, "point"), most)
    mean = found.mean.inputs
    assert number(mean.road_speed_m_s) == pytest.approx(speed)
    climbed = sum(math.sin(math.atan(g)) * v * s for g, v, s in zip(steps.grade, steps.speed_m_s, seconds, strict=True))
    assert number(mean.grade) == pytest.approx(climbed / (speed * seconds.sum()))
    assert mean.acceleration_m_s2 == 0
    airs = [step_inputs(scenario, steps, k) for k in range(count)]
    for name in ("rotor_air_speed_m_s", "free_air_speed_m_s"):
        each = [number(getattr(one, name)) for one in airs]
        assert number(getattr(mean, name)) == pytest.approx(float(np.dot(each, seconds)) / seconds.sum())
    ahead = [number(one.air.ahead_m_s) for one in airs]
    assert number(mean.air.ahead_m_s) == pytest.approx(float(np.dot(ahead, seconds)) / seconds.sum())


@pytest.mark.parametrize("direction", ["any", "given"])
def test_the_winds_of_a_year_along_a_trip(folder: Path, direction: str) -> None:
    """Each step has a wind of its own, spread evenly over the climate's speeds, and round the compass."""
    climate = ["wind_climate.mean_speed=5 m/s", f"wind_climate.direction={direction}", "air.wind_from=40 deg"]
    found = answer_trip(load(folder / "scenario.toml", climate))
    count = len(found.steps.duration_s)
    shares, sides = spread_over(count)
    speeds = stats.weibull_min(2.0, scale=5 / gamma(1.5)).ppf(shares)
    angles = 2 * np.pi * sides if direction == "any" else np.full(count, np.radians(40))
    air = found.by_step.inputs.air
    assert air.ahead_m_s == pytest.approx(found.steps.speed_m_s + speeds * np.cos(angles))
    assert np.abs(air.across_m_s) == pytest.approx(np.abs(speeds * np.sin(angles)))
    own = [*climate, "air.wind_speed=3 m/s"]  # a wind that is stated goes before the climate's
    stated = answer_trip(load(folder / "scenario.toml", own)).by_step.inputs.air
    assert stated.ahead_m_s == pytest.approx(found.steps.speed_m_s + 3 * math.cos(math.radians(40)))


def test_the_winds_of_the_schedule_and_of_the_scenario(folder: Path) -> None:
    """What the schedule says of the wind goes first; where it says nothing it is the scenario's."""
    rows = "time_s,speed_km_h,wind_speed_m_s\n0,40,2\n60,40,2\n61,41,6\n120,41,6\n"
    (folder / "urban.csv").write_text(rows, encoding="utf-8")
    found = answer_trip(load(folder / "scenario.toml", ["air.wind_speed=9 m/s", "air.wind_from=60 deg"]))
    wind = (found.by_step.inputs.air.ahead_m_s - found.steps.speed_m_s) / 0.5
    assert wind == pytest.approx([2, 4, 6])
    rows = "time_s,speed_km_h,wind_from_deg\n0,40,0\n60,40,0\n120,41,90\n"
    (folder / "urban.csv").write_text(rows, encoding="utf-8")
    turned = answer_trip(load(folder / "scenario.toml", ["air.wind_speed=9 m/s", "air.wind_from=180 deg"]))
    ahead = turned.by_step.inputs.air.ahead_m_s - turned.steps.speed_m_s
    assert ahead == pytest.approx([9, 9 * math.cos(math.radians(45))])


def test_a_trip_is_cut_where_policy_or_gear_changes(folder: Path) -> None:
    scenario = load(folder / "scenario.toml", CASES["below"])
    engine = inputs_of(scenario).engine
    assert isinstance(engine, Engine)
    levels = [30 / 3.6] + [engine.lowest_driving_speed_rad_s * travel for travel in engine.travel_per_radian_m[1:]]
    ends = np.concatenate([[0.0], np.cumsum(steps_of_scenario(scenario).duration_s)])
    schedule = scenario.schedule
    assert schedule is not None
    crossed = 0
    for level in levels:
        for k in range(len(schedule.time_s) - 1):
            before, after = schedule.speed_m_s[k], schedule.speed_m_s[k + 1]
            if min(before, after) < level < max(before, after):
                share = (level - before) / (after - before)
                at = schedule.time_s[k] + share * (schedule.time_s[k + 1] - schedule.time_s[k])
                assert np.abs(ends - at).min() < 1e-6
                crossed += 1
    assert crossed >= 6


@pytest.mark.parametrize("case", ["wind from behind, feathered", "below", "above, into the wind"])
def test_draws_over_a_trip_are_the_trip_of_each(folder: Path, case: str) -> None:
    """Two worlds, each as a trip of its own; the air speeds solved reach to the faster of them for both."""
    scenario = load(folder / "scenario.toml", [*CASES[case], "rotor.local_speed_factor=0.7"])
    draws = {"rotor.local_speed_factor": np.array([0.7, 0.7]), "vehicle.mass": np.array([2500.0, 3300.0])}
    fine, coarse = trip_chain(scenario)(draws), trip_chain(scenario, coarse=True)(draws)
    for k, mass in enumerate((2500, 3300)):
        overrides = [*CASES[case], "rotor.local_speed_factor=0.7", f"vehicle.mass={mass} kg"]
        alone = answer_trip(load(folder / "scenario.toml", overrides)).mean
        assert fine.heat_w[k] == pytest.approx(number(alone.turbine.heat_power_w), rel=1e-9)
        assert fine.change_w[k] == pytest.approx(number(alone.change.power_w), rel=1e-9)
        # Steps put together and half as many air speeds: some per cent.
        assert coarse.heat_w[k] == pytest.approx(number(alone.turbine.heat_power_w), rel=0.06, abs=0.05)
        assert coarse.change_w[k] == pytest.approx(number(alone.change.power_w), rel=0.12, abs=2.0)


def test_what_holds_over_a_trip_holds_in_every_step() -> None:
    """A mean of yes and no would count as yes: one no is a no."""

    @dataclass(frozen=True)
    class Told:
        watts: np.ndarray
        kept: np.ndarray

    weights = np.array([0.5, 0.25, 0.25])
    for kept in ([True, True, False], [True, True, True], [False, False, False]):
        mean = _averaged(Told(np.array([8.0, 4.0, 0.0]), np.array(kept)), weights)
        assert float(mean.watts) == 5.0
        assert mean.kept.dtype == bool
        assert bool(mean.kept) == all(kept)


def test_a_setting_past_the_curves_all_along_gives_no_heat(folder: Path) -> None:
    settled = chain._turbine

    def past_the_curves(*given: Any) -> Any:
        turbine, works = settled(*given)
        return replace(turbine, beyond_data=np.ones(np.shape(turbine.heat_power_w), dtype=bool)), works

    (folder / "urban.csv").write_text("time_s,speed_km_h\n0,60\n100,60\n104,50\n200,50\n", encoding="utf-8")
    scenario = load(folder / "scenario.toml")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_turbine", past_the_curves)
        patch.setattr(chain, "_COARSE_NODES", 4)
        found = trip_look(scenario)({"rotor.pitch": np.array([4.0, 8.0])}, False)
    assert found.heat_within_curves_w.tolist() == [0.0, 0.0]
    assert (found.rotor_drag_n > 0).all()
