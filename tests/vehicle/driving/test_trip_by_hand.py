"""Trips, road load, fuels and usual gears once more in plain numbers, step by step."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from vehicle.driving import typical
from vehicle.driving.engine import Battery, Engine, TorqueCurve
from vehicle.driving.fuels import FUELS
from vehicle.driving.road_load import RoadLoad, from_coastdown, from_drag_area, road_forces, with_added_mass
from vehicle.driving.trip import (
    Profile,
    Schedule,
    Steps,
    merged,
    read_profile,
    read_schedule,
    split_at_speeds,
    spread_over,
    steps_of,
    stops_and_goes,
    weibull_quantile,
    with_idling,
)
from vehicle.problems import InputError

NAMES = ("duration_s", "speed_m_s", "acceleration_m_s2", "grade", "wind_speed_m_s", "wind_from_rad", "standing_s")
# Stops of 8 and of 30 + 20 s, a stop at the end; unevenly spaced.
TIME = [0.0, 3.0, 8.0, 10.0, 18.0, 25.0, 31.0, 61.0, 81.0, 90.0, 97.0, 99.0]
SPEED = [4.0, 4.0, 9.0, 0.0, 0.0, 12.0, 0.0, 0.0, 0.0, 15.0, 0.0, 0.0]
WAY = Profile(
    "way",
    np.array([0.0, 30.0, 80.0, 150.0, 400.0]),
    np.array([50.0, 52.0, 47.0, 47.0, 60.0]),
    np.array([3.0, 5.0, 2.0, 2.0, 8.0]),
    np.array([0.1, 0.3, 1.0, 1.2, 2.0]),
)


def _between(at: float, xs: np.ndarray, ys: np.ndarray) -> float:
    for k in range(len(xs) - 1):
        if at <= xs[k + 1]:
            return float(ys[k] + (at - xs[k]) / (xs[k + 1] - xs[k]) * (ys[k + 1] - ys[k]))
    return float(ys[-1])


def _stop_lengths(duration: list[float], speed: list[float]) -> list[float]:
    lengths, k = [0.0] * len(speed), 0
    while k < len(speed):
        end = k
        while end < len(speed) and speed[end] == 0:
            end += 1
        for place in range(k, end):
            lengths[place] = sum(duration[k:end])
        k = max(end, k + 1)
    return lengths


def test_steps_along_a_way_one_by_one() -> None:
    found = steps_of(Schedule("s", np.array(TIME), np.array(SPEED)), WAY, grade=0.9)
    duration = [b - a for a, b in pairwise(TIME)]
    speed = [(a + b) / 2 for a, b in pairwise(SPEED)]
    way = 0.0
    for k, (length, v) in enumerate(zip(duration, speed, strict=True)):
        then = way + length * v
        rise = _between(then, WAY.distance_m, WAY.altitude_m) - _between(way, WAY.distance_m, WAY.altitude_m)
        slope = math.tan(math.asin(rise / (then - way))) if v > 0 else 0.0  # along the road, not along the map
        wind = [_between(at, WAY.distance_m, WAY.wind_speed_m_s) for at in (way, then)]
        side = [_between(at, WAY.distance_m, WAY.wind_from_rad) for at in (way, then)]
        expected = (length, v, (SPEED[k + 1] - SPEED[k]) / length, slope, sum(wind) / 2, sum(side) / 2)
        assert [float(getattr(found, name)[k]) for name in NAMES[:-1]] == pytest.approx(expected)
        way = then
    assert found.standing_s.tolist() == _stop_lengths(duration, speed)
    assert {8.0, 50.0, 2.0} < set(found.standing_s.tolist())
    assert found.total_s == 99
    assert found.distance_m == pytest.approx(way)
    # Only what rises counts: 2 m to begin with, and the last 0.5 m or so of the way.
    climbed = 0.0
    for v, length, grade in zip(speed, duration, found.grade.tolist(), strict=True):
        climbed += max(v * length * grade / math.hypot(1, grade), 0.0)
    assert found.climb_m == pytest.approx(climbed)
    assert climbed > 2
    moving = [length for length, v in zip(duration, speed, strict=True) if v > 0]
    assert Schedule("s", np.array(TIME), np.array(SPEED)).mean_moving_speed_m_s == pytest.approx(way / sum(moving))


def test_what_a_schedule_tells_goes_before_what_the_way_tells() -> None:
    time, speed = np.array([0.0, 10.0, 20.0]), np.array([0.0, 10.0, 10.0])
    told = Schedule("s", time, speed, np.array([0.0, 0.02, 0.06]), np.array([1.0, 3.0, 4.0]), np.array([0.0, 1.0, 3.0]))
    found = steps_of(told, WAY, grade=0.3)
    assert found.grade == pytest.approx([0.01, 0.04])
    assert found.wind_speed_m_s == pytest.approx([2, 3.5])
    assert found.wind_from_rad == pytest.approx([0.5, 2])
    bare = steps_of(Schedule("s", time, speed), Profile("p", np.array([0.0, 200.0])), grade=0.3)
    assert bare.grade.tolist() == [0.3, 0.3]
    assert np.isnan(bare.wind_speed_m_s).all()
    assert np.isnan(bare.wind_from_rad).all()
    assert (steps_of(Schedule("s", time, speed)).grade == 0).all()
    for sign in (1, -1):  # what cannot be stays a number: a sine of 0.999
        cliff = Profile("p", np.array([0.0, 200.0]), np.array([0.0, 500.0 * sign]))
        assert steps_of(Schedule("s", time, speed), cliff).grade == pytest.approx(
            [sign * 0.999 / 0.04471] * 2, rel=1e-3
        )
    bare_profile = Profile("p", np.array([0.0, 200.0]))
    assert (bare_profile.altitude_m, bare_profile.wind_speed_m_s, bare_profile.wind_from_rad) == (None, None, None)


def test_points_are_added_at_speeds_and_in_large_changes_one_by_one() -> None:
    time, speed, grade = [0.0, 4.0, 6.0, 9.0, 15.0], [0.0, 6.0, 6.0, 3.0, 4.4], [0.0, 0.1, 0.0, 0.02, 0.05]
    schedule = Schedule("s", np.array(time), np.array(speed), np.array(grade), None, np.array(grade) * 3)
    found = split_at_speeds(schedule, np.array([2.0, 4.0]))
    expected = set(time)
    for k in range(4):
        parts = max(1, math.ceil(abs(speed[k + 1] - speed[k]) / 1.5 - 1e-9))  # 1.5 m/s: own choice
        expected |= {time[k] + part * (time[k + 1] - time[k]) / parts for part in range(parts)}
        for level in (2.0, 4.0):
            if min(speed[k], speed[k + 1]) < level < max(speed[k], speed[k + 1]):
                expected.add(time[k] + (level - speed[k]) / (speed[k + 1] - speed[k]) * (time[k + 1] - time[k]))
    assert found.time_s == pytest.approx(sorted(expected))
    for name, values in (("speed_m_s", speed), ("grade", grade), ("wind_from_rad", [3 * g for g in grade])):
        between = [_between(at, np.array(time), np.array(values)) for at in found.time_s.tolist()]
        assert getattr(found, name) == pytest.approx(between), name
    assert found.wind_speed_m_s is None
    assert found.name == "s"
    # a change of three times 1.5 m/s to the last bit is three parts, not four; 1.5 itself is one, a little more is two
    for change, parts in ((4.5, 3), (1.5, 1), (1.51, 2)):
        ramp = Schedule("s", np.array([0.0, 9.0]), np.array([10.0, 10.0 + change]))
        assert split_at_speeds(ramp, np.array([])).time_s.size == parts + 1
    # crossings a microsecond apart are one; those of a touched speed are none
    close = split_at_speeds(Schedule("s", np.array([0.0, 1.0]), np.array([0.0, 1.0])), np.array([0.5, 0.5 + 5e-7]))
    assert close.time_s == pytest.approx([0, 0.5, 1])
    apart = split_at_speeds(Schedule("s", np.array([0.0, 1.0]), np.array([0.0, 1.0])), np.array([0.5, 0.5 + 2e-6]))
    assert apart.time_s.size == 4


def _some_steps() -> Steps:
    rng = np.random.default_rng(8)
    count = 60
    pick = rng.integers(0, 6, count)
    speed = np.array([0.0, 0.4, 8.0, 8.6, 20.0, 20.0])[pick]
    return Steps(
        duration_s=rng.uniform(0.5, 3.0, count),
        speed_m_s=speed,
        acceleration_m_s2=np.array([0.0, 0.2, 0.1, 0.1, -0.4, 0.0])[pick],
        grade=np.array([0.0, 0.0, 0.012, 0.013, 0.03, 0.03])[pick],
        wind_speed_m_s=np.where(pick == 5, np.nan, 4.1 + 0.1 * (pick == 3)),
        wind_from_rad=np.where(pick == 5, np.nan, 1.1),
        standing_s=np.where(speed == 0, 70.0, 0.0),
    )


@pytest.mark.parametrize("nearly", [False, True])
def test_equal_steps_are_put_together_one_by_one(nearly: bool) -> None:
    steps = _some_steps()
    # Nearly alike (own choice): the same multiple of these, to the nearest; standing and creeping stay apart.
    widths = (1.5, 0.3, 0.01, 2.0, 0.5, 60.0) if nearly else (1e-9,) * 6
    heaps: dict[tuple[object, ...], list[int]] = {}
    for k in range(60):
        values = [float(getattr(steps, name)[k]) for name in NAMES[1:]]
        key = tuple("unknown" if math.isnan(v) else round(v / w) for v, w in zip(values, widths, strict=True))
        heaps.setdefault((*key, values[0] > 0), []).append(k)
    found = merged(steps, nearly=nearly)
    # 8 and 8.6 m/s (5.3 and 5.7 times 1.5) are nearly alike at most where both are nearest to the same multiple
    assert len(found.duration_s) == len(heaps) == (6 if not nearly else len(heaps))
    expected = []
    for heap in heaps.values():
        whole = sum(float(steps.duration_s[k]) for k in heap)
        means = [sum(float(getattr(steps, n)[k] * steps.duration_s[k]) for k in heap) / whole for n in NAMES[1:]]
        expected.append((whole, *means))
    got = list(zip(*(getattr(found, name).tolist() for name in NAMES), strict=True))
    for one in expected:
        assert any(one == pytest.approx(other, nan_ok=True) for other in got), one


@pytest.mark.parametrize(
    ("name", "one", "other", "alike"),
    [
        ("speed_m_s", 15.0, 15.7, True),
        ("speed_m_s", 15.0, 15.8, False),
        ("acceleration_m_s2", 0.3, 0.44, True),
        ("acceleration_m_s2", 0.3, 0.46, False),
        ("grade", 0.02, 0.0249, True),
        ("grade", 0.02, 0.0251, False),
        ("wind_speed_m_s", 4.0, 4.9, True),
        ("wind_speed_m_s", 4.0, 5.1, False),
        ("wind_from_rad", 1.0, 1.24, True),
        ("wind_from_rad", 1.0, 1.26, False),
        ("standing_s", 60.0, 89.0, True),
        ("standing_s", 60.0, 91.0, False),
    ],
)
def test_how_much_alike_is_nearly_alike(name: str, one: float, other: float, alike: bool) -> None:
    # Own choice: 1.5 m/s, 0.3 m/s², 0.01, 2 m/s of wind, 0.5 rad, 60 s.
    steady = {n: np.array([6.0, 6.0]) if n != "grade" else np.zeros(2) for n in NAMES}
    steady["duration_s"] = np.array([1.0, 3.0])
    steps = Steps(**{**steady, name: np.array([one, other])})
    found = merged(steps, nearly=True)
    assert len(found.duration_s) == (1 if alike else 2)
    if alike:
        assert getattr(found, name) == pytest.approx([(one + 3 * other) / 4])


def test_town_is_a_twentieth_standing_and_50_km_h_between() -> None:
    # Own rule, no source. 95 s at 50 km/h and 5 s of standing are just town.
    def trip(standing_s: float, speed_km_h: float) -> Steps:
        still = np.zeros(2)
        speed = np.array([speed_km_h / 3.6, 0.0])
        stop = np.array([0.0, standing_s])
        return Steps(np.array([100 - standing_s, standing_s]), speed, still, still, still, still, stop)

    assert stops_and_goes(trip(5.0, 49.9))
    assert stops_and_goes(trip(5.1, 49.9))
    assert not stops_and_goes(trip(4.9, 49.9))
    assert not stops_and_goes(trip(5.1, 50.1))
    still = trip(99.0, 30.0)
    assert not stops_and_goes(replace(still, speed_m_s=np.zeros(2), standing_s=np.full(2, 100.0)))


def test_winds_and_their_spread_by_formula() -> None:
    # Median of a Weibull climate: c·(ln 2)^(1/k) with c = mean/Γ(1 + 1/k).
    for k, mean in ((2.0, 5.0), (1.5, 7.0)):
        expected = mean / math.gamma(1 + 1 / k) * math.log(2) ** (1 / k)
        assert float(weibull_quantile(0.5, mean, k)) == pytest.approx(expected)
    assert float(weibull_quantile(0.0, 5.0, 2.0)) == 0
    # The plastic number is the real root of x³ = x + 1.
    plastic = 1.0
    for _ in range(60):
        plastic = (plastic + 1) ** (1 / 3)
    first, second = spread_over(7)
    assert first == pytest.approx([math.modf(0.5 + k / plastic)[0] for k in range(1, 8)])
    assert second == pytest.approx([math.modf(0.5 + k / plastic**2)[0] for k in range(1, 8)])


def test_an_engine_idles_up_to_the_longest_stop() -> None:
    engine = Engine(
        FUELS["petrol"], 1e-3, 0.4, 2e5, 80.0, TorqueCurve(np.zeros(1), np.ones(1)), np.ones(2), 0.9, 130.0, 600.0
    )
    stops = np.array([0.0, 299.0, 300.0, 301.0])
    assert with_idling(engine, stops, 300.0).runs_when_parked.tolist() == [True, True, True, False]
    always = replace(engine, runs_when_parked=True)
    assert with_idling(always, stops, 300.0).runs_when_parked.tolist() == [True] * 4
    pack = Battery(0.8, 0.6, 1e4)
    assert with_idling(pack, stops, 300.0) is pack


def _written(folder: Path, text: str) -> Path:
    path = folder / "way.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time_s,speed_m_s\n0,99\n1,100\n", ""),
        ("time_s,speed_m_s\n0,99\n1,100.1\n", r"100\.1 m/s.*at most 100 m/s"),
        ("time_s,speed_m_s\n0,0\n1,-0.1\n", r"-0\.1 m/s.*0 or more"),
        ("time_s,speed_m_s\n0,0\n2,24\n4,24\n", ""),
        ("time_s,speed_m_s\n0,0\n2,1\n4,25.2\n", r"time 2 s.*jump of 12\.1 m/s.*at most 12 m/s"),
        ("time_s,speed_m_s\n0,24.2\n2,0\n", r"time 0 s.*jump of -12\.1 m/s"),
        ("time_h,speed_km_h\n0,30\n160,30\n", ""),
        ("time_h,speed_km_h\n0,60\n160,60\n", r"a trip of 9600 km in 160 h.*at most 5000 km in 168 h"),
        ("time_h,speed_km_h\n0,5\n170,5\n", r"a trip of 850 km in 170 h.*check the unit of the time"),
        ("time_s,speed_m_s,grade_percent\n0,9,40\n9,9,-40\n", ""),
        ("time_s,speed_m_s,grade_percent\n0,9,0\n9,9,-40.1\n", r"-40\.1 %.*-40 % to 40 %"),
    ],
)
def test_schedules_up_to_their_limits(tmp_path: Path, text: str, words: str) -> None:
    path = _written(tmp_path, text)
    if not words:
        assert read_schedule(path).name == "way.csv"
        return
    with pytest.raises(InputError, match=words):
        read_schedule(path)


def test_a_way_summed_up_from_its_grade(tmp_path: Path) -> None:
    rows = "0,0,1,0\n100,10,2,90\n300,-20,3,180\n"
    way = read_profile(_written(tmp_path, "distance_m,grade_percent,wind_speed_m_s,wind_from_deg\n" + rows))
    first, second = 0.1 / math.hypot(1, 0.1), -0.2 / math.hypot(1, 0.2)  # sines
    assert way.altitude_m == pytest.approx([0, 50 * first, 50 * first + 100 * (first + second)])
    assert way.distance_m == pytest.approx([0, 100, 300])
    assert way.wind_speed_m_s == pytest.approx([1, 2, 3])
    assert way.wind_from_rad == pytest.approx([0, math.pi / 2, math.pi])
    # A rise of 3 over a hypotenuse of 5 is a grade of 3 in 4; 37.1 over 100 is one of 40 %.
    windy = read_profile(_written(tmp_path, "distance_m,wind_speed_m_s\n0,1\n100,2\n"))
    assert windy.altitude_m is None
    assert read_profile(_written(tmp_path, "distance_m,altitude_m\n0,0\n100,37.1\n")).altitude_m is not None
    for altitude in ("199", "-199"):  # steeper than any road, and than a line can be along one
        with pytest.raises(InputError, match="-40 % to 40 %"):
            read_profile(_written(tmp_path, f"distance_m,altitude_m\n0,0\n100,{altitude}\n"))
    with pytest.raises(InputError, match="-75 %"):
        read_profile(_written(tmp_path, "distance_m,altitude_m\n0,60\n100,0\n"))
    with pytest.raises(InputError, match="40 %"):
        read_profile(_written(tmp_path, "distance_m,altitude_m\n0,0\n100,37.2\n"))


# Road load


def test_forces_on_the_road_in_plain_numbers() -> None:
    load = RoadLoad(1600.0, 150.0, 1.2, 0.7, 0.011)
    heavier = with_added_mass(load, 250.0)
    for speed, ahead, across, grade, rate in (
        (20.0, 24.0, 7.0, 0.06, 0.5),
        (0.0, -6.0, 3.0, -0.04, 0.0),
        (30.0, -2.0, 0.0, -0.08, -1.1),
    ):
        found = road_forces(heavier, speed, 1.1, ahead, across, grade=grade, acceleration_m_s2=rate)
        cosine = 1 / math.hypot(1, grade)
        tyres = (150 + 250 * 9.80665 * 0.011) * cosine + 1.2 * speed if speed > 0 else 0.0
        drag = 0.5 * 1.1 * 0.7 * math.hypot(ahead, across) * ahead
        parts = (tyres, drag, 1850 * 9.80665 * grade * cosine, 1850 * 1.03 * rate)
        got = (found.tyres_n, found.body_drag_n, found.grade_n, found.inertia_n)
        assert [float(x) for x in got] == pytest.approx(parts)
        assert float(found.total_n) == pytest.approx(sum(parts))
    plain = road_forces(load, 20.0, 1.2, 20.0)
    assert (float(plain.grade_n), float(plain.inertia_n)) == (0, 0)
    assert float(plain.body_drag_n) == pytest.approx(0.5 * 1.2 * 0.7 * 400)
    made = from_drag_area(1500.0, 0.65, 0.012)
    assert (made.mass_kg, made.linear_n_s_m, made.drag_area_m2) == (1500, 0, 0.65)
    assert made.constant_n == pytest.approx(1500 * 9.80665 * 0.012)
    assert made.extra_mass_rolling_coefficient == pytest.approx(0.012)
    measured = from_coastdown(1500.0, 140.0, 2.0, 0.42, 1.15)
    assert measured == RoadLoad(1500.0, 140.0, 2.0, pytest.approx(0.84 / 1.15), 0.010)
    assert measured.rotating_mass_factor == 1.03


# Fuels and gears


@pytest.mark.parametrize(
    ("name", "btu_a_gallon", "density", "air", "words"),
    [
        ("petrol", 116_090, 741, 14.7, "petrol"),
        # a tenth of ethanol by volume is 0.1058 by mass: 0.1058 · 9 + 0.8942 · 14.7
        ("e10", 112_114, 0.9 * 741 + 0.1 * 789, 14.1, "E10"),
        ("diesel", 128_450, 837, 14.5, "diesel"),
        # C3H8 + 5 O2: 160 of oxygen on 44.1, air holds 0.2314 of it by mass
        ("lpg", 84_250, 533, 160 / 0.2314 / 44.1, "LPG"),
    ],
)
def test_fuels_by_their_sources(name: str, btu_a_gallon: float, density: float, air: float, words: str) -> None:
    # Lower heating values of AFDC (GREET 2013); international table Btu of 1055.056 J, 231 cubic inches a gallon.
    fuel = FUELS[name]
    assert fuel.heating_value_j_per_m3 == pytest.approx(btu_a_gallon * 1055.056 / (231 * 0.0254**3), rel=1e-9)
    assert fuel.density_kg_m3 == pytest.approx(density, abs=0.5)
    assert fuel.stoichiometric_air_fuel_ratio == pytest.approx(air, abs=0.02)
    assert fuel.heating_value_j_per_kg == pytest.approx(fuel.heating_value_j_per_m3 / fuel.density_kg_m3)
    assert (fuel.name, fuel.in_words) == (name, words)


def test_carbon_dioxide_of_propane() -> None:
    # 40 CFR 98 Table C-1: 62.87 kg a million Btu, 0.091 million Btu a US gallon.
    assert FUELS["lpg"].co2_kg_per_m3 * 231 * 0.0254**3 == pytest.approx(62.87 * 0.091, abs=0.005)


@pytest.mark.parametrize(
    ("number", "first_over_top"),
    # common practice, no source: what gearboxes of so many gears span, first over top
    [(2, 4.0), (3, 4.0), (4, 4.0), (5, 4.6), (6, 5.6), (7, 6.4), (8, 7.0), (9, 7.6), (10, 7.6)],
)
def test_gears_span_what_boxes_span_in_equal_steps(number: int, first_over_top: float) -> None:
    gears = typical.spaced_gears(0.12, number)
    assert len(gears) == number
    assert gears[-1] == pytest.approx(0.12)
    step = first_over_top ** (1 / (number - 1))
    assert gears[1:] / gears[:-1] == pytest.approx([step] * (number - 1))


def test_a_law_is_a_power_of_mass() -> None:
    law = typical.Law(10.0, 2.0, 0.5, 1.5)
    assert law.at(1800.0) == pytest.approx((10, 5, 15))
    assert law.at(3600.0) == pytest.approx((40, 20, 60))
