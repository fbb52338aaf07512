"""The drive once more in plain numbers, point by point: Willans line or map, gears, converter, overrun, standing, pack.

Written from the balance of power (flywheel, meshes, brakes), the definition of a mean effective pressure and straight
lines between the points of a map; where a rule is our own (the choice of a gear, enrichment from nine tenths of the
torque) it is written from its description.
"""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest

from vehicle.driving.engine import (
    Battery,
    Engine,
    FuelMap,
    Supply,
    TorqueCurve,
    calculated_load_points,
    choose_gear,
    drive,
    enrichment,
    idle_fuel_power_w,
    outside_the_map,
)
from vehicle.driving.fuels import FUELS

CURVE = TorqueCurve(np.array([100.0, 250.0, 450.0]), np.array([140.0, 210.0, 160.0]))
PLAIN = Engine(
    fuel=FUELS["petrol"],
    displacement_m3=1.8e-3,
    indicated_efficiency=0.41,
    friction_mean_pressure_pa=200e3,
    idle_speed_rad_s=80.0,
    torque_curve=CURVE,
    travel_per_radian_m=np.array([0.02, 0.04, 0.065, 0.1]),
    drivetrain_efficiency=0.9,
    lowest_driving_speed_rad_s=130.0,
    highest_speed_rad_s=600.0,
)
RICH = replace(
    PLAIN,
    overrun_cut_off=False,
    runs_when_parked=True,
    accessory_power_w=700.0,
    drivetrain_spin_force_n=45.0,
    torque_factor=0.85,
    full_load_enrichment=0.15,
    converter_slip=0.12,
    converter_locks_above_m_s=13.0,
)
# Speeds (rad/s) by torques (N m): fuel in W, no straight line anywhere.
MAP = FuelMap(
    np.array([90.0, 200.0, 480.0]),
    np.array([15.0, 70.0, 190.0]),
    np.array([[9e3, 21e3, 50e3], [19e3, 43e3, 105e3], [52e3, 110e3, 270e3]]),
)
MAPPED = replace(RICH, fuel_map=MAP, torque_factor=1.0)
POINTS = [
    (wheel, speed)
    for wheel in (-40e3, -6e3, -500.0, 0.0, 400.0, 3e3, 9e3, 21e3, 32e3, 90e3)
    for speed in (0.0, 0.7, 4.0, 12.9, 13.0, 13.1, 24.0, 39.0, 70.0)
]


def _line(at: float, xs: list[float], ys: list[float]) -> float:
    """Return the broken line through (xs, ys) at `at`, its first and last piece going on for ever."""
    k = 0
    while k < len(xs) - 2 and at >= xs[k + 1]:
        k += 1
    return ys[k] + (at - xs[k]) * (ys[k + 1] - ys[k]) / (xs[k + 1] - xs[k])


def _greatest(e: Engine, turning: float) -> float:
    xs, ys = e.torque_curve.engine_speed_rad_s.tolist(), e.torque_curve.torque_n_m.tolist()
    return _line(min(max(turning, xs[0]), xs[-1]), xs, ys) * e.torque_factor


def _burnt(e: Engine, brake_w: float, turning: float) -> float:
    """Return the fuel power before it is cut at nothing."""
    if e.fuel_map is None:
        friction = e.friction_mean_pressure_pa * e.displacement_m3 * turning / (2 * math.pi) / 2  # a cycle in two turns
        return (brake_w + friction) / e.indicated_efficiency
    speeds, torques = e.fuel_map.engine_speed_rad_s.tolist(), e.fuel_map.torque_n_m.tolist()
    inside = min(max(turning, speeds[0]), speeds[-1])
    at_speeds = [_line(brake_w / turning, torques, row) for row in e.fuel_map.fuel_power_w.tolist()]
    return turning / inside * _line(inside, speeds, at_speeds)


def _hold_back(e: Engine, turning: float) -> float:
    """Return the power at which the engine, driven by the wheels, needs no fuel (a straight line below the map)."""
    at_none = _burnt(e, 0.0, turning)
    return max(0.0, at_none * 10 / (at_none - _burnt(e, -10.0, turning)))


def by_hand(e: Engine, wheel: float, v: float) -> dict[str, float]:
    idle_fuel = max(0.0, _burnt(e, e.accessory_power_w, e.idle_speed_rad_s))
    if v == 0:
        runs = bool(e.runs_when_parked)
        turning = e.idle_speed_rad_s if runs else 0.0
        out = dict.fromkeys((f.name for f in fields(Supply) if f.name != "notes"), 0.0)
        out |= {"greatest_torque_n_m": _greatest(e, turning), "enough_torque": True, "engine_speed_rad_s": turning}
        if runs:
            out |= {"source_w": idle_fuel, "accessory_w": e.accessory_power_w}
            out["engine_loss_w"] = idle_fuel - e.accessory_power_w
        return out
    spin = e.drivetrain_spin_force_n * v
    slip = e.converter_slip if v < e.converter_locks_above_m_s else 0.0
    through = e.drivetrain_efficiency * (1 - slip)
    road_side = wheel + spin
    flywheel = road_side / through if road_side >= 0 else road_side * through
    wanted = flywheel + e.accessory_power_w
    last = len(e.travel_per_radian_m) - 1
    allowed, strong = [], []
    for gear, travel in enumerate(e.travel_per_radian_m.tolist()):
        turns = v / travel
        if (turns < e.lowest_driving_speed_rad_s and gear > 0) or (turns > e.highest_speed_rad_s and gear < last):
            continue
        allowed.append(gear)
        turns = max(turns, e.idle_speed_rad_s)
        if wanted * (1 - slip) <= _greatest(e, turns) * turns:  # the torque, at the speed behind the converter
            strong.append(gear)
    gear = strong[-1] if strong else allowed[0]
    turning = max(v / e.travel_per_radian_m[gear] / (1 - slip), e.idle_speed_rad_s)
    brake = max(wanted, -_hold_back(e, turning))
    brakes = (brake - wanted) / through
    meshed = road_side + brakes
    at_flywheel = meshed / through if meshed >= 0 else meshed * through
    torque = brake / turning
    richer = min(max(torque / _greatest(e, turning) - 0.9, 0.0), 0.1) * 10
    fuel = max(0.0, _burnt(e, brake, turning)) * (1 + e.full_load_enrichment * richer)
    if not e.overrun_cut_off:
        fuel = max(fuel, idle_fuel)
    return {
        "source_w": fuel,
        "engine_loss_w": fuel - brake,
        "accessory_w": e.accessory_power_w,
        "drivetrain_loss_w": at_flywheel - meshed + spin,
        "brake_loss_w": brakes,
        "wheel_w": wheel,
        "engine_speed_rad_s": turning,
        "torque_n_m": torque,
        "greatest_torque_n_m": _greatest(e, turning),
        "gear": gear + 1,
        "enough_torque": bool(strong),
    }


@pytest.mark.parametrize(
    "engine",
    [PLAIN, RICH, MAPPED, replace(PLAIN, accessory_power_w=900.0, fuel_map=MAP), replace(RICH, converter_slip=0.0)],
    ids=["plain", "rich", "mapped", "map and cut-off", "locked"],
)
def test_every_figure_of_the_drive_by_hand(engine: Engine) -> None:
    wheel, speed = np.array(POINTS).T
    found = drive(engine, wheel, speed)
    expected = [by_hand(engine, *point) for point in POINTS]
    for name in expected[0]:
        assert getattr(found, name) == pytest.approx([one[name] for one in expected], rel=1e-9, abs=1e-6), name
    assert found.notes == ()
    # The points reach all branches: no torque enough, every gear, brakes on, fuel cut or kept at its idle.
    assert set(found.gear.tolist()) == {0, 1, 2, 3, 4}
    assert {bool(x) for x in found.enough_torque} == {True, False}
    assert (found.brake_loss_w > 0).any()


def test_a_pack_in_plain_numbers() -> None:
    pack = Battery(0.85, 0.6, 15e3, 400.0, 0.9)
    wheel = [-40e3, -15e3, -9e3, 0.0, 7e3, 30e3]
    found = drive(pack, np.array(wheel), 20.0)
    for k, watts in enumerate(wheel):
        back = min(max(-watts, 0.0), 15e3)
        source = watts / 0.85 if watts > 0 else -back * 0.6
        assert found.source_w[k] == pytest.approx(source + 400)
        assert found.brake_loss_w[k] == pytest.approx(max(-watts - 15e3, 0.0))
        assert found.drivetrain_loss_w[k] == pytest.approx(watts / 0.85 - watts if watts > 0 else back * 0.4)
        assert (found.accessory_w[k], found.wheel_w[k]) == (400, watts)
    assert found.enough_torque.all()
    assert np.isnan(found.greatest_torque_n_m).all()
    for name in ("engine_loss_w", "engine_speed_rad_s", "torque_n_m", "gear"):
        assert (getattr(found, name) == 0).all(), name
    defaults = Battery(0.85, 0.6, 15e3)
    assert (defaults.auxiliary_power_w, defaults.charging_efficiency) == (0, 1)


def test_gears_change_at_the_very_speed_and_torque() -> None:
    # Powers of two, so that the limits are met to the last bit: 0.25 and 0.5 m a radian, 64 N·m at every speed.
    flat = replace(
        PLAIN,
        torque_curve=TorqueCurve(np.array([0.0]), np.array([64.0])),
        travel_per_radian_m=np.array([0.25, 0.5]),
        lowest_driving_speed_rad_s=128.0,
        highest_speed_rad_s=512.0,
    )
    speed = np.array([64.0, 63.9, 64.0, 64.0, 128.0, 128.1, 20.0, 300.0])
    brake = np.array([100.0, 100.0, 64 * 128.0, 64 * 128.0 + 1, 64 * 512.0, 64 * 512.0, 64 * 80.0, 1e9])
    gear, turning, enough = choose_gear(flat, speed, brake)
    # At its lowest speed the second gear still serves; below it, or a watt more, it is the first. At 128 m/s the first
    # still turns at its highest; above that only the second is left, strong enough or not. At a crawl the engine idles.
    assert gear.tolist() == [1, 0, 1, 0, 0, 1, 0, 1]
    assert turning.tolist() == pytest.approx([128, 63.9 * 4, 128, 256, 512, 256.2, 80, 600])
    assert enough.tolist() == [True, True, True, True, True, False, True, False]


def test_enrichment_between_nine_tenths_and_the_whole_torque() -> None:
    # Common practice, no source. 100 rad/s: 140 N·m at most.
    rich = replace(PLAIN, full_load_enrichment=0.2)
    found = enrichment(rich, np.array([0.0, 125.9, 126.0, 133.0, 140.0, 200.0]), 100.0)
    assert found == pytest.approx([1, 1, 1, 1.1, 1.2, 1.2])


def test_idle_takes_friction_and_accessories() -> None:
    # 200 kPa × 1.8 L × 80 rad/s over 4π: 2292 W, and 700 W of accessories.
    friction = 200e3 * 1.8e-3 * 80 / (4 * math.pi)
    assert float(idle_fuel_power_w(replace(PLAIN, accessory_power_w=700.0))) == pytest.approx((friction + 700) / 0.41)
    assert float(idle_fuel_power_w(PLAIN)) == pytest.approx(friction / 0.41)


def test_where_a_map_is_left() -> None:
    # 90 to 480 rad/s, 15 to 190 N·m: the edges belong to the map, a thousandth beyond does not; without fuel nothing.
    supply = drive(PLAIN, np.zeros(10), 10.0)
    speed = np.array([90.0, 89.9, 480.0, 480.5, 200.0, 200.0, 200.0, 200.0, 89.9, 300.0])
    torque = np.array([50.0, 50.0, 50.0, 50.0, 15.0, 14.98, 190.0, 190.2, 50.0, 100.0])
    fuel = np.array([9e3] * 8 + [0.0, 9e3])
    worked = replace(supply, source_w=fuel, engine_speed_rad_s=speed, torque_n_m=torque)
    outside = [False, True, False, True, False, True, False, True, False, False]
    assert outside_the_map(MAPPED, worked).tolist() == outside
    assert outside_the_map(PLAIN, worked).tolist() == [False] * 10
    # both corners of both ends, and a rounding of a billionth is none
    corners = replace(
        worked,
        source_w=np.full(4, 9e3),
        engine_speed_rad_s=np.array([90 * (1 - 5e-10), 480 * (1 + 5e-10), 50.0, 500.0]),
        torque_n_m=np.array([15 * (1 - 5e-10), 190 * (1 + 5e-10), 5.0, 300.0]),
    )
    assert outside_the_map(MAPPED, corners).tolist() == [False, False, True, True]


def test_load_points_of_two_engine_speeds() -> None:
    # 50 of 100 N·m against 60 of 150 N·m: 50 less 40 per cent.
    supply = drive(PLAIN, 0.0, 10.0)
    one = replace(supply, torque_n_m=np.array(50.0), greatest_torque_n_m=np.array(100.0))
    other = replace(supply, torque_n_m=np.array(60.0), greatest_torque_n_m=np.array(150.0))
    assert float(calculated_load_points(one, other)) == pytest.approx(10)


def test_an_engine_is_plain_unless_it_is_said() -> None:
    said = {f.name: getattr(PLAIN, f.name) for f in fields(Engine)[:10]}
    plain = Engine(**said)
    assert (plain.overrun_cut_off, plain.runs_when_parked, plain.fuel_map) == (True, False, None)
    assert (plain.accessory_power_w, plain.drivetrain_spin_force_n, plain.torque_factor) == (0, 0, 1)
    assert (plain.full_load_enrichment, plain.converter_slip, plain.converter_locks_above_m_s) == (0, 0, 0)
