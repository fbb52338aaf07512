"""Fuel, engine power and tractive power from logs."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from vehicle.driving.fuels import FUELS
from vehicle.logs.fuel_flow import (
    LITRES_PER_HOUR,
    LoggedEngine,
    acceleration_m_s2,
    brake_power_w,
    calibrated_efficiency,
    fuel_flow,
    fuel_named,
    overrun,
    tractive_power_w,
)
from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.problems import InputError

LOGS = Path(__file__).parents[2] / "data" / "obd_logs"
CAR = LoggedEngine(1.496e-3)


def log_of(tmp_path: Path, header: str, row: str, count: int = 60) -> Log:
    path = tmp_path / "log.csv"
    path.write_text(f"time,{header}\n" + "".join(f"{t},{row}\n" for t in range(count)))
    return read_log(path)


def test_best_source_first(tmp_path):
    header, row = "speed,rpm,map,iat,maf,lambda,stft,ltft,fuel rate", "90,2000,50,20,12,1.0,2,3,4.2"
    log = log_of(tmp_path, header, row)
    assert fuel_flow(log, CAR).source == "fuel rate"
    assert fuel_flow(log, CAR).mean_l_per_h == pytest.approx(4.2)
    air = fuel_flow(log, CAR, source="air flow")
    assert air.mean_l_per_h == pytest.approx(12e-3 / 14.7 * 1.05 / 741 / LITRES_PER_HOUR)
    assert fuel_flow(log_of(tmp_path, header.replace("fuel rate", "x"), row), CAR).source == "air flow"
    by_pressure = fuel_flow(log, LoggedEngine(2e-3, volumetric_efficiency=0.8), source="speed-density")
    # 2 L, 2000 rpm: 1000 fillings a minute of 50 kPa, 293.15 K air, 80 % of them caught
    expected = 0.8 * 50e3 / (287.0528 * 293.15) * 2e-3 * 1000 / 60 / 14.7 / 741 / LITRES_PER_HOUR
    assert by_pressure.mean_l_per_h == pytest.approx(expected)


def test_lambda_and_what_is_not_reported(tmp_path):
    rich = fuel_flow(log_of(tmp_path, "rpm,maf,lambda", "3000,30,0.9"), CAR)
    plain = fuel_flow(log_of(tmp_path, "rpm,maf,lambda", "3000,30,0"), CAR)
    assert rich.mean_l_per_h == pytest.approx(plain.mean_l_per_h / 0.9)
    assert any("lambda not reported" in text for text in plain.words)


def test_mass_rate(tmp_path):
    flow = fuel_flow(log_of(tmp_path, "rpm,Engine fuel rate (g/s)", "3000,1.5"), LoggedEngine(fuel=FUELS["diesel"]))
    assert flow.source == "fuel mass flow"
    assert flow.mean_l_per_h == pytest.approx(1.5e-3 / 837 / LITRES_PER_HOUR)


def test_a_diesel_without_lambda_gives_no_fuel_from_air(tmp_path):
    flow = fuel_flow(log_of(tmp_path, "rpm,maf", "2000,30"), LoggedEngine(2e-3, FUELS["diesel"]))
    assert flow.source == "none"
    assert flow.litres is None
    assert flow.mean_l_per_h is None
    assert any("lean" in reason for reason in flow.why_not)


def test_without_displacement_it_says_so():
    flow = fuel_flow(read_log(LOGS / "idle1.csv"), LoggedEngine())
    assert flow.source == "none"
    assert any("--displacement" in reason for reason in flow.why_not)


def test_idle_fuel_is_plausible():
    # US DOE Fact #861: petrol 2.0 L idles at 0.16 US gal/h without load; scaled to 1.496 L: 0.45 L/h, accessories on
    # top
    flow = fuel_flow(read_log(LOGS / "idle1.csv"), CAR)
    bare = 0.16 * 3.785411784 * 1.496 / 2.0
    assert bare == pytest.approx(0.453, abs=0.001)
    assert 0.4 < flow.mean_l_per_h < 1.1
    assert flow.mean_l_per_h > bare


@pytest.mark.parametrize("name", ["drive1", "live1"])
def test_overrun_is_found_on_the_road_and_only_at_closed_pedal(name):
    log = read_log(LOGS / f"{name}.csv")
    cut = overrun(log)
    assert 0.01 < cut.mean() < 0.15
    table = log.table[cut]
    assert (table["pedal"] < log.table["pedal"].min() + 0.02).all()
    idling = (log.table["speed_m_s"] == 0) & (log.table["engine_speed_rad_s"] > 42)
    assert (table["manifold_pressure_pa"] < log.table["manifold_pressure_pa"][idling].median()).all()
    assert fuel_flow(log, CAR).flow_m3_s[cut].max() == 0
    assert 5 < fuel_flow(log, CAR).litres / log.distance_m * 1e5 < 12


def test_idling_car_has_no_overrun():
    assert not overrun(read_log(LOGS / "idle1.csv")).any()


def test_calibration_to_a_receipt():
    log = read_log(LOGS / "live1.csv")
    efficiency = calibrated_efficiency([log], CAR, litres=41.0, distance_m=540e3)
    flow = fuel_flow(log, LoggedEngine(1.496e-3, volumetric_efficiency=efficiency))
    assert flow.litres / log.distance_m * 1e5 == pytest.approx(41.0 / 5.4)
    with pytest.raises(InputError, match="volumetric efficiency"):
        calibrated_efficiency([log], CAR, litres=410.0, distance_m=540e3)
    with pytest.raises(InputError, match="km"):
        calibrated_efficiency([read_log(LOGS / "idle1.csv")], CAR, litres=41.0, distance_m=540e3)


def test_engine_power_from_torque_and_from_load(tmp_path):
    turning = 3000 * 2 * math.pi / 60
    log = log_of(tmp_path, "rpm,actual engine torque (%),reference torque,load", "3000,40,250,55")
    power, words = brake_power_w(log)
    assert power == pytest.approx(0.4 * 250 * turning)
    assert words == "actual torque"
    log = log_of(tmp_path, "rpm,actual engine torque (%),friction torque (%),reference torque", "3000,40,8,250")
    assert brake_power_w(log)[0] == pytest.approx(0.32 * 250 * turning)
    log = log_of(tmp_path, "rpm,load", "3000,50")
    assert brake_power_w(log) is None
    curve = (np.array([0.0, 2 * turning]), np.array([100.0, 200.0]))
    assert brake_power_w(log, curve)[0] == pytest.approx(0.5 * 150 * turning)


def test_tractive_power():
    v = np.array([25.0])
    assert tractive_power_w(v, np.zeros(1), 0.0, 1500, (150, 2, 0.4))[0] == pytest.approx((150 + 50 + 250) * 25)
    extra = tractive_power_w(v, np.array([0.5]), 0.05, 1500, (0, 0, 0))[0]
    assert extra == pytest.approx((1500 * 9.80665 * math.sin(math.atan(0.05)) + 1.04 * 1500 * 0.5) * 25)


def test_acceleration_of_whole_km_h(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time,speed,rpm\n" + "".join(f"{t / 2},{round(3.6 * 0.8 * t / 2)},2000\n" for t in range(60)))
    assert acceleration_m_s2(read_log(path))[5:-5] == pytest.approx(0.8, abs=0.15)


def test_fuels():
    assert fuel_named("Petrol") is FUELS["petrol"]
    with pytest.raises(InputError, match="diesel"):
        fuel_named("deisel")
    # US DOE AFDC: 116 090 Btu per US gallon of petrol
    assert FUELS["petrol"].heating_value_j_per_m3 == pytest.approx(32.36e9, rel=1e-3)
