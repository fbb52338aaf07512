from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicle.driving.engine import (
    Battery,
    Engine,
    FuelMap,
    TorqueCurve,
    calculated_load_points,
    drive,
    fuel_power_w,
    idle_fuel_power_w,
)
from vehicle.driving.fuels import FUELS

RPM = 2 * np.pi / 60
PETROL = Engine(
    fuel=FUELS["petrol"],
    displacement_m3=2e-3,
    indicated_efficiency=0.42,
    friction_mean_pressure_pa=190e3,
    idle_speed_rad_s=750 * RPM,
    torque_curve=TorqueCurve(np.array([0.0]), np.array([190.0])),
    travel_per_radian_m=np.array([8.0, 15.0, 23.0, 31.0, 40.0]) / 3.6 / (1000 * RPM),
    drivetrain_efficiency=0.92,
    lowest_driving_speed_rad_s=1200 * RPM,
    highest_speed_rad_s=6000 * RPM,
)
powers = st.floats(-60e3, 60e3)
speeds = st.floats(0, 45)


def closes(supply: object) -> None:
    s = supply
    total = s.engine_loss_w + s.accessory_w + s.drivetrain_loss_w + s.brake_loss_w + s.wheel_w
    assert float(total) == pytest.approx(float(s.source_w), abs=1e-9 * max(1.0, abs(float(s.source_w))))


def test_willans_line_by_hand() -> None:
    # 15 kW at 3000 rpm: friction 190 kPa * 2 L * 25 cycles/s = 9.5 kW; (15 + 9.5) / 0.42 = 58.33 kW of fuel.
    assert float(fuel_power_w(PETROL, 15e3, 3000 * RPM)) == pytest.approx(58_333, rel=1e-4)
    # Idle: 190 kPa * 2 L * 6.25 / 0.42 = 5.655 kW.
    assert float(idle_fuel_power_w(PETROL)) == pytest.approx(5655, rel=1e-3)


@given(powers, speeds, st.booleans(), st.booleans(), st.floats(0, 3e3))
def test_every_watt_of_the_drive_is_accounted_for(
    wheel: float, speed: float, cut: bool, parked: bool, extra: float
) -> None:
    engine = replace(PETROL, overrun_cut_off=cut, runs_when_parked=parked, accessory_power_w=extra)
    supply = drive(engine, wheel, speed)
    closes(supply)
    assert float(supply.source_w) >= 0
    assert float(supply.drivetrain_loss_w) >= -1e-9
    assert float(supply.brake_loss_w) >= -1e-9
    assert float(supply.engine_loss_w) >= -1e-9


@given(powers, powers, st.floats(0.5, 45))
def test_more_power_at_the_wheels_never_takes_less_fuel(one: float, other: float, speed: float) -> None:
    low, high = sorted((one, other))
    assert float(drive(PETROL, low, speed).source_w) <= float(drive(PETROL, high, speed).source_w) + 1e-6


def test_fuel_is_cut_on_overrun_and_the_brakes_take_the_rest() -> None:
    supply = drive(PETROL, -30e3, 25.0)
    assert float(supply.source_w) == 0
    assert float(supply.brake_loss_w) > 0
    held_back = -30e3 + float(supply.brake_loss_w)
    friction = 190e3 * 2e-3 * float(supply.engine_speed_rad_s) / (4 * np.pi)
    assert held_back * 0.92 == pytest.approx(-friction)
    without_cut = drive(replace(PETROL, overrun_cut_off=False), -30e3, 25.0)
    assert float(without_cut.source_w) == pytest.approx(float(idle_fuel_power_w(PETROL)))


@given(powers, st.floats(0.5, 45), st.floats(0, 200))
def test_spin_loss_is_power_at_the_wheels_that_no_torque_changes(wheel: float, speed: float, spin: float) -> None:
    spinning = drive(replace(PETROL, drivetrain_spin_force_n=spin), wheel, speed)
    closes(spinning)
    # To engine and brakes it is as so much more power at the wheels; the books call it a loss of the drivetrain.
    more = drive(PETROL, wheel + spin * speed, speed)
    for name in ("source_w", "brake_loss_w", "engine_loss_w"):
        assert float(getattr(spinning, name)) == pytest.approx(float(getattr(more, name)), abs=1e-6)
    assert float(spinning.drivetrain_loss_w - more.drivetrain_loss_w) == pytest.approx(spin * speed, abs=1e-6)


def test_thin_air_takes_torque_and_with_it_the_gear() -> None:
    # US Standard Atmosphere 1976: 0.957 kg/m³ at 2500 m, 0.781 of sea level. 190 N·m in fifth gear at 70 km/h
    # (1750 rpm) are 34.8 kW, in thin air 27.2 kW: 30 kW at the flywheel asks for a lower gear there.
    thin = replace(PETROL, torque_factor=0.957 / 1.225)
    wheel = 30e3 * 0.92
    assert int(drive(PETROL, wheel, 70 / 3.6).gear) == 5
    assert int(drive(thin, wheel, 70 / 3.6).gear) == 4
    assert float(drive(thin, wheel, 70 / 3.6).greatest_torque_n_m) == pytest.approx(190 * 0.957 / 1.225)


def test_enrichment_grows_over_the_last_tenth_of_the_torque() -> None:
    rich = replace(PETROL, full_load_enrichment=0.10)
    speed = 120 / 3.6  # 3000 rpm in fifth gear: 190 N·m are 59.69 kW
    for share, more in ((0.80, 1.0), (0.90, 1.0), (0.95, 1.05), (0.999, 1.099)):
        wheel = share * 190 * 3000 * RPM * 0.92
        plain, enriched = drive(PETROL, wheel, speed), drive(rich, wheel, speed)
        closes(enriched)
        assert float(enriched.source_w / plain.source_w) == pytest.approx(more, abs=2e-3)


def test_an_unlocked_converter_turns_the_engine_faster_and_loses_its_slip() -> None:
    slipping = replace(PETROL, converter_slip=0.15, converter_locks_above_m_s=50 / 3.6)
    town, locked = drive(slipping, 5e3, 48 / 3.6), drive(slipping, 5e3, 52 / 3.6)
    closes(town)
    plain = drive(PETROL, 5e3, 48 / 3.6)
    assert float(town.engine_speed_rad_s / plain.engine_speed_rad_s) == pytest.approx(1 / 0.85)
    # Same torque at the gearbox, so brake power grows with the speed: 5 kW / 0.92 / 0.85 at the flywheel.
    assert float(town.torque_n_m * town.engine_speed_rad_s) == pytest.approx(5e3 / 0.92 / 0.85)
    assert float(locked.source_w) == pytest.approx(float(drive(PETROL, 5e3, 52 / 3.6).source_w))


def test_a_steep_pull_takes_the_next_lower_gear() -> None:
    gentle, steep = drive(PETROL, 8e3, 70 / 3.6), drive(PETROL, 38e3, 70 / 3.6)
    assert int(gentle.gear) == 5
    assert int(steep.gear) < 5
    assert bool(steep.enough_torque)
    assert not bool(drive(PETROL, 500e3, 70 / 3.6).enough_torque)


def test_standing_still() -> None:
    off = drive(PETROL, 0.0, 0.0)
    assert float(off.source_w) == 0
    assert int(off.gear) == 0
    idling = drive(replace(PETROL, runs_when_parked=True), 0.0, 0.0)
    assert float(idling.source_w) == pytest.approx(float(idle_fuel_power_w(PETROL)))


def willans_map() -> FuelMap:
    speeds = np.array([1000, 2000, 4000]) * RPM
    torques = np.array([20.0, 80.0, 180.0])
    power = np.array([[float(fuel_power_w(PETROL, s * t, s)) for t in torques] for s in speeds])
    return FuelMap(speeds, torques, power)


@given(st.floats(-5e3, 40e3), st.floats(1000, 4000))
def test_a_map_of_the_willans_line_gives_the_willans_line(brake: float, rpm: float) -> None:
    # The line is bilinear in speed and torque, so that interpolation and its continuation below are exact.
    mapped = replace(PETROL, fuel_map=willans_map())
    assert float(fuel_power_w(mapped, brake, rpm * RPM)) == pytest.approx(
        float(fuel_power_w(PETROL, brake, rpm * RPM)), abs=0.5
    )


@pytest.mark.parametrize(
    ("brake_w", "turning_rad_s", "fuel_w"),
    [
        # Between the map's speeds, 7.5 kW at 150 rad/s is 50 N m: 25 kW at 100, 53 kW at 200, 39 kW half way.
        (7500, 150, 39e3),
        # Below its speeds, 2.5 kW at 50 rad/s is 50 N m too: the fuel of a turn is that at 100 rad/s, half the turns.
        (2500, 50, 12.5e3),
        # Above them, 12.5 kW at 250 rad/s is 50 N m: the fuel of a turn at 200 rad/s, of 1.25 times the turns.
        (12500, 250, 66.25e3),
        # Torque beyond the map goes on along its line: -20 N m at 100 rad/s is 10 - 0.2 * 30 = 4 kW, 150 N m 55 kW.
        (-2000, 100, 4e3),
        (15000, 100, 55e3),
        # Both at once: -10 N m at 50 rad/s is half of 10 - 0.1 * 30 = 7 kW; -50 N m at 100 rad/s is none, not less.
        (-500, 50, 3.5e3),
        (-5000, 100, 0.0),
    ],
)
def test_a_fuel_map_between_its_points_and_beyond_them_by_hand(
    brake_w: float, turning_rad_s: float, fuel_w: float
) -> None:
    table = FuelMap(np.array([100.0, 200.0]), np.array([0.0, 100.0]), np.array([[10e3, 40e3], [22e3, 84e3]]))
    assert float(fuel_power_w(replace(PETROL, fuel_map=table), brake_w, turning_rad_s)) == pytest.approx(fuel_w)


@given(powers, st.floats(0, 45))
def test_the_books_close_with_a_map_too(wheel: float, speed: float) -> None:
    closes(drive(replace(PETROL, fuel_map=willans_map()), wheel, speed))


@given(powers, speeds)
def test_a_battery_drive_closes_and_takes_back_no_more_than_it_gets(wheel: float, speed: float) -> None:
    battery = Battery(0.85, 0.7, 20e3, 300.0)
    supply = drive(battery, wheel, speed)
    closes(supply)
    assert float(supply.source_w) >= 300 - 0.7 * 20e3 - 1e-9
    if wheel > 0:
        assert float(supply.source_w) == pytest.approx(wheel / 0.85 + 300)


def test_load_points_are_a_share_of_the_greatest_torque() -> None:
    light, heavy = drive(PETROL, 10e3, 30.0), drive(PETROL, 12e3, 30.0)
    extra = 2e3 / 0.92 / float(light.engine_speed_rad_s)
    assert float(calculated_load_points(heavy, light)) == pytest.approx(100 * extra / 190)


def test_arrays_and_single_values_agree() -> None:
    wheel, speed = np.linspace(-40e3, 60e3, 23), np.linspace(0, 40, 23)
    together = drive(PETROL, wheel, speed)
    for k in range(23):
        assert float(drive(PETROL, wheel[k], speed[k]).source_w) == pytest.approx(float(together.source_w[k]))
