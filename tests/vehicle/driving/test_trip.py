from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from trip_by_steps import drive_trip

from vehicle.constants import GRAVITY_M_S2
from vehicle.driving.engine import Engine, TorqueCurve
from vehicle.driving.fuels import FUELS
from vehicle.driving.road_load import from_drag_area
from vehicle.driving.trip import (
    Profile,
    Schedule,
    merged,
    read_profile,
    read_schedule,
    split_at_speeds,
    spread_over,
    steps_of,
    weibull_quantile,
)
from vehicle.problems import InputError

URBAN = Path(__file__).parents[2] / "data" / "drive_cycles" / "udds.csv"
LOAD = from_drag_area(1500.0, 0.7, 0.010)
ENGINE = Engine(
    fuel=FUELS["petrol"],
    displacement_m3=1.6e-3,
    indicated_efficiency=0.40,
    friction_mean_pressure_pa=190e3,
    idle_speed_rad_s=78.5,
    torque_curve=TorqueCurve(np.array([0.0]), np.array([180.0])),
    travel_per_radian_m=np.array([8.0, 15.0, 23.0, 31.0, 40.0]) / 3.6 / 104.72,
    drivetrain_efficiency=0.92,
    lowest_driving_speed_rad_s=130.0,
    highest_speed_rad_s=600.0,
)


def written(folder: Path, text: str) -> Path:
    path = folder / "way.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_energies_come_out_exactly_whatever_the_schedule() -> None:
    """Inertia takes ½·m·v² (with the rotating mass), grade m·g·h, to rounding."""
    rng = np.random.default_rng(4)
    time = np.concatenate([[0.0], np.cumsum(rng.uniform(0.5, 3.0, 300))])
    speed = np.abs(np.cumsum(rng.normal(0, 0.8, 301))) + 3
    way = Profile("p", np.array([0.0, 800.0, 1500.0, 9000.0]), np.array([100.0, 140.0, 90.0, 300.0]))
    steps = steps_of(Schedule("s", time, speed), way)
    driven = drive_trip(ENGINE, LOAD, steps, 1.2)
    inertia = (driven.forces.inertia_n * steps.speed_m_s * steps.duration_s).sum()
    assert inertia == pytest.approx(0.5 * 1500 * 1.03 * (speed[-1] ** 2 - speed[0] ** 2), rel=1e-9)
    grade = (driven.forces.grade_n * steps.speed_m_s * steps.duration_s).sum()
    height = np.interp(steps.distance_m, way.distance_m, way.altitude_m) - 100.0
    assert grade == pytest.approx(1500 * GRAVITY_M_S2 * height, rel=1e-9)


def test_the_supply_closes_in_every_step() -> None:
    driven = drive_trip(ENGINE, LOAD, steps_of(read_schedule(URBAN)), 1.2, extra_force_n=50.0, added_mass_kg=60.0)
    s = driven.supply
    parts = s.engine_loss_w + s.accessory_w + s.drivetrain_loss_w + s.brake_loss_w + s.wheel_w
    assert s.source_w == pytest.approx(parts, abs=1e-6)
    assert driven.brake_j > 0
    more = drive_trip(ENGINE, LOAD, steps_of(read_schedule(URBAN)), 1.2, extra_force_n=80.0, added_mass_kg=60.0)
    assert more.source_j > driven.source_j


def test_engine_idles_through_short_stops_only() -> None:
    time = np.array([0.0, 10, 20, 140, 150, 160, 1360, 1370])
    speed = np.array([0.0, 10, 0, 0, 10, 0, 0, 10])  # stops of 120 s and of 1 200 s
    steps = steps_of(Schedule("s", time, speed))
    driven = drive_trip(ENGINE, LOAD, steps, 1.2, longest_idle_s=300)
    idle = 190e3 * 1.6e-3 * 78.5 / (4 * np.pi) / 0.40
    assert driven.supply.source_w[2] == pytest.approx(idle)
    assert driven.supply.source_w[5] == 0
    # Overrun with the fuel cut while it slows down.
    assert driven.supply.source_w[1] == 0
    assert driven.supply.brake_loss_w[1] > 0
    kept = drive_trip(replace(ENGINE, overrun_cut_off=False), LOAD, steps, 1.2)
    assert kept.supply.source_w[1] >= idle * 0.999


@settings(max_examples=20)
@given(st.integers(0, 10**6))
def test_merged_steps_keep_the_totals(seed: int) -> None:
    rng = np.random.default_rng(seed)
    speed = np.round(np.abs(np.cumsum(rng.integers(-2, 3, 200)) * 1.0), 0)
    steps = steps_of(Schedule("s", np.arange(200.0), speed))
    fewer = merged(steps)
    assert len(fewer.duration_s) <= len(steps.duration_s)
    assert fewer.total_s == pytest.approx(steps.total_s)
    assert fewer.distance_m == pytest.approx(steps.distance_m)
    whole, less = (drive_trip(ENGINE, LOAD, s, 1.2).source_j for s in (steps, fewer))
    assert less == pytest.approx(whole, rel=1e-9)


def test_nearly_alike_steps_are_close() -> None:
    steps = steps_of(read_schedule(URBAN))
    coarse = merged(steps, nearly=True)
    assert len(coarse.duration_s) < len(steps.duration_s) / 5
    assert coarse.distance_m == pytest.approx(steps.distance_m)
    whole, less = (drive_trip(ENGINE, LOAD, s, 1.2).source_j for s in (steps, coarse))
    assert less == pytest.approx(whole, rel=0.02)


def test_winds_of_a_climate_are_those_of_the_library() -> None:
    share = np.linspace(0.01, 0.99, 50)
    from scipy.special import gamma

    scale = 5.0 / gamma(1 + 1 / 1.8)
    assert weibull_quantile(share, 5.0, 1.8) == pytest.approx(stats.weibull_min(1.8, scale=scale).ppf(share))
    speeds, sides = spread_over(1369)
    assert weibull_quantile(speeds, 5.0, 1.8).mean() == pytest.approx(5.0, rel=0.01)
    assert stats.kstest(sides, "uniform").statistic < 0.01
    assert abs(np.corrcoef(speeds, sides)[0, 1]) < 0.02


def test_files_in_other_units_and_with_grade_and_wind(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        "time_min,speed_mph,grade_percent,wind_speed_km_h,wind_from_deg\n0,0,0,0,0\n1,60,4,36,90\n2,60,4,36,90\n",
    )
    steps = steps_of(read_schedule(path))
    assert steps.duration_s == pytest.approx([60, 60])
    assert steps.grade == pytest.approx([0.02, 0.04])
    assert steps.wind_speed_m_s == pytest.approx([5, 10])
    assert steps.wind_from_rad[1] == pytest.approx(np.pi / 2)
    way = read_profile(written(tmp_path, "distance_km,grade_percent\n0,5\n2,5\n"))
    assert way.altitude_m is not None
    assert way.altitude_m[-1] == pytest.approx(2000 * np.sin(np.arctan(0.05)))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time_s,speed_km_h\n0,0\n0,10\n", "time"),
        ("time_s,speed_km_h\n0,0\n1,-10\n", "0 or more"),
        ("time_s,speed_km_h\n0,0\n1,130\n", "jump"),
        ("time_s,speed_km_h\n0,0\n9,0\n", "moves"),
        ("time_s,speed_km_h,grade_percent\n0,0,90\n9,9,90\n", "40 %"),
        ("time_s,velocity\n0,0\n1,1\n", "speed"),
    ],
)
def test_faulty_schedules_are_told(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_schedule(written(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("distance_km\n0\n1\n", "distance alone"),
        ("distance_km,altitude_m,grade_percent\n0,1,1\n1,1,1\n", "both given"),
        ("distance_m,altitude_m\n0,0\n100,90\n", "40 %"),
    ],
)
def test_faulty_profiles_are_told(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_profile(written(tmp_path, text))


def test_steps_are_split_where_something_changes() -> None:
    # 0 to 20 m/s in 20 s: 5 m/s is passed at 5 s, 12.5 m/s at 12.5 s; grade and wind run along in straight lines.
    schedule = Schedule(
        "coarse", np.array([0.0, 20.0, 30.0]), np.array([0.0, 20.0, 20.0]), grade=np.array([0.0, 0.02, 0.02])
    )
    split = split_at_speeds(schedule, np.array([5.0, 12.5, 20.0, 33.0]), most_change_m_s=100.0)
    assert split.time_s == pytest.approx([0, 5, 12.5, 20, 30])
    assert split.speed_m_s == pytest.approx([0, 5, 12.5, 20, 20])
    assert split.grade == pytest.approx([0, 0.005, 0.0125, 0.02, 0.02])
    even = split_at_speeds(schedule, np.array([]))
    assert np.abs(np.diff(even.speed_m_s)).max() <= 1.5
    assert steps_of(even).distance_m == pytest.approx(steps_of(schedule).distance_m)
    # The mean of the cube over the rise is 20^3 / 4 = 2000, that of one mean speed 1000, of fourteen even parts 1995.
    rise = steps_of(even)
    moving = rise.acceleration_m_s2 > 0
    cube = float(rise.speed_m_s[moving] ** 3 @ rise.duration_s[moving]) / 20
    assert cube == pytest.approx(2000, rel=0.006)
