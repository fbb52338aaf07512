"""Sensors that lie: the drive is known, one of its sensors is made to lie, and the log must not pass it on unsaid."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests_support import of_study

from energy.words.read import as_data, in_words
from tests.vehicle import lying_sensors
from vehicle.logs.fuel_flow import LoggedEngine, fuel_flow, litres_and_metres
from vehicle.logs.log import Log
from vehicle.logs.pressure import doubts, rows_by_place
from vehicle.logs.read import read_log

LOGS = Path(__file__).parents[2] / "data" / "obd_logs"
ENGINE = LoggedEngine(1.6e-3, volumetric_efficiency=0.78)


def read(tmp_path: Path, drive: lying_sensors.Drive, **more) -> Log:
    path = tmp_path / "drive.csv"
    path.write_text(drive.csv(**more))
    return read_log(path)


def dropped(log: Log) -> dict[str, int]:
    return {repair.what: repair.count for repair in log.repairs if repair.sensor}


def litres(log: Log) -> float:
    return fuel_flow(log, ENGINE, source="speed-density").litres


@pytest.mark.parametrize("kind", ["town", "motorway", "mixed"])
@pytest.mark.parametrize("boost", [1.0, 1.8])
@pytest.mark.parametrize("step_s", [0.5, 1.0, 2.0])
def test_an_honest_drive_is_left_alone(tmp_path, kind, boost, step_s):
    log = read(tmp_path, lying_sensors.drive(3, kind=kind, boost=boost, step_s=step_s))
    assert sum(dropped(log).values()) <= 2


@pytest.mark.parametrize("name", ["drive1", "idle1", "live1"])
def test_real_logs_lose_almost_nothing(name):
    """Logs of a real car (tests/data/obd_logs/SOURCE.md): nothing in them is known to be wrong."""
    log = read_log(LOGS / f"{name}.csv")
    assert sum(dropped(log).values()) <= 0.005 * log.rows


@pytest.mark.parametrize("boost", [1.0, 1.9])
@pytest.mark.parametrize("columns", ["all", "pressure alone"])
def test_a_pressure_of_all_bits_set_adds_no_fuel(tmp_path, boost, columns):
    """255 kPa in 2 % of the rows: 9 to 14 % more fuel where it is believed."""
    drive = lying_sensors.drive(1, boost=boost)
    if columns != "all":
        drive = lying_sensors.only(drive, "speed", "rpm", "map", "intake temperature")
    honest = litres(read(tmp_path, drive))
    rows = np.random.default_rng(2).random(drive.time_s.size) < 0.02
    log = read(tmp_path, lying_sensors.with_rows(drive, "map", rows, 255))
    assert litres(log) == pytest.approx(honest, rel=0.004)
    assert [count for what, count in dropped(log).items() if "255 kPa" in what] == [rows.sum()]
    assert any("255 kPa" in text for text in log.concerns)


def test_a_compressor_that_truly_reaches_255_kpa_is_believed(tmp_path):
    drive = lying_sensors.drive(1, boost=1.9)
    climb = 150 + 104 * np.sin(np.linspace(0, np.pi, 30)) ** 0.5
    climb = np.minimum(np.concatenate([climb[:15], [255] * 12, climb[15:]]), 255)
    drive.columns["map"] = drive.columns["map"].copy()
    drive.columns["map"][500:542] = np.round(climb)
    log = read(tmp_path, lying_sensors.only(drive, "speed", "rpm", "map"))
    assert not any("255 kPa" in what for what in dropped(log))


def test_a_pressure_above_the_air_needs_a_compressor(tmp_path):
    drive = lying_sensors.drive(4)
    rows = np.random.default_rng(3).random(drive.time_s.size) < 0.02
    log = read(tmp_path, lying_sensors.with_rows(drive, "map", rows, 140))
    assert litres(log) == pytest.approx(litres(read(tmp_path, drive)), rel=0.004)
    assert any("without a compressor" in what for what in dropped(log))


@pytest.mark.parametrize(
    ("name", "tidy"),
    [
        ("map", "manifold_pressure_pa"),
        ("maf", "air_flow_kg_s"),
        ("engine load", "calculated_load"),
        ("rpm", "engine_speed_rad_s"),
    ],
)
def test_a_value_frozen_for_two_minutes_is_seen(tmp_path, name, tidy):
    """Wherever it happens in a drive; half of such freezes went unseen by the size of the neighbours' moves alone."""
    seen, draw, (seeds, least) = 0, np.random.default_rng(5), of_study((8, 8), (15, 14))
    for seed in range(seeds):
        drive = lying_sensors.drive(seed, kind=("town", "motorway", "mixed")[seed % 3], boost=(1, 1.8)[seed % 2])
        start = int(draw.integers(60, 700))
        table = read(tmp_path, lying_sensors.frozen(drive, name, start, start + 120)).table
        seen += bool(table[tidy].isna().to_numpy()[start : start + 120].mean() > 0.9)
    assert seen >= least


def test_a_speed_frozen_while_the_engine_creeps_away_is_seen(tmp_path):
    drive = lying_sensors.drive(28, kind="motorway")
    speed = drive.columns["speed"]
    changing = next(s for s in range(60, 700) if np.ptp(speed[s : s + 120]) > 18)
    log = read(tmp_path, lying_sensors.frozen(drive, "speed", changing, changing + 120))
    assert log.table["speed_m_s"].isna().to_numpy()[changing : changing + 120].mean() > 0.9


def test_a_load_that_two_others_outvote_is_dropped(tmp_path):
    drive = lying_sensors.drive(6, kind="motorway")
    rows = np.arange(300, 330)
    lie = drive.columns["engine load"][rows] + 32 + 5 * np.sin(rows)  # it moves: stuck it is not
    changed = drive.columns["engine load"].copy()
    changed[rows] = lie
    log = read(tmp_path, lying_sensors.Drive(drive.time_s, {**drive.columns, "engine load": changed}))
    found = {what: count for what, count in dropped(log).items() if "contradicts" in what}
    assert list(found) == [
        "calculated load: contradicts two other measures of the engine's load that agree, left empty"
    ]
    assert next(iter(found.values())) >= 10  # in the others a neighbouring row would explain it


def test_a_speed_that_no_gear_allows_is_dropped(tmp_path):
    drive = lying_sensors.drive(7, kind="motorway")
    log = read(tmp_path, lying_sensors.with_rows(drive, "speed", np.arange(400, 412), 200))
    assert any("fit no gear" in what for what in dropped(log))
    assert np.nanmax(log.table["speed_m_s"]) < 45


@pytest.mark.parametrize(("unit", "factor"), [("km/h", 1.0), ("mph", 1 / 1.609344), ("m/s", 1 / 3.6)])
def test_a_speed_without_a_unit_is_settled_by_the_gears_or_said_to_be_open(tmp_path, unit, factor):
    settled = 0
    for seed in range(8):
        drive = lying_sensors.drive(seed, kind=("mixed", "motorway")[seed % 2])
        written = {**drive.columns, "speed": np.round(drive.columns["speed"] * factor)}
        log = read(tmp_path, lying_sensors.Drive(drive.time_s, written))
        column = next(column for column in log.columns if column.header == "speed")
        right = log.distance_m is not None and abs(log.distance_m / drive.true_metres - 1) < 0.01
        assert right or any("vehicle speed" in text and "name the unit" in text for text in log.checks), seed
        assert log.distance_m is None or right or column.unit == "km/h"
        settled += right
        if unit == "m/s":  # never taken for km/h, which would be out by 3.6
            assert right or log.distance_m is None
    assert settled >= (8 if unit == "km/h" else 3)


@pytest.mark.parametrize(("unit", "factor", "digits"), [("mph", 1 / 1.609344, 2), ("m/s", 1 / 3.6, 3)])
def test_whole_km_h_show_through_another_unit(tmp_path, unit, factor, digits):
    drive = lying_sensors.only(lying_sensors.drive(2), "speed", "map", "intake temperature")
    drive.columns["speed"] = np.round(drive.columns["speed"] * factor, digits)
    log = read(tmp_path, drive)
    assert log.distance_m == pytest.approx(drive.true_metres, rel=0.01)
    assert any(f"whole km/h written in {unit}" in text for text in log.checks)


def test_a_speed_by_satellite_settles_the_unit(tmp_path):
    drive = lying_sensors.drive(2, kind="town")
    drive.columns["gps speed (km/h)"] = drive.columns["speed"] + 0.7
    drive.columns["speed"] = np.round(drive.columns["speed"] / 1.609344)
    log = read(tmp_path, drive)
    assert log.distance_m == pytest.approx(drive.true_metres, rel=0.01)
    assert any("mph taken" in text for text in log.checks)


# Shares: SAE J1979 writes a percent in steps of 100/255, so 0.392 is one step and no share of one.
def test_one_step_of_a_percent_is_no_share_of_one(tmp_path):
    drive = lying_sensors.drive(1)
    drive.columns["accelerator pedal"] = np.where(drive.time_s % 7 == 0, 0.392, 0.0)
    log = read(tmp_path, drive)
    assert log.table["pedal"].max() == pytest.approx(0.00392)
    assert "shares" not in " ".join(column.note for column in log.columns)


def test_shares_of_one_are_read_as_such_by_all_columns_together(tmp_path):
    drive = lying_sensors.drive(1)
    pedal = np.clip(drive.columns["throttle"] - 14, 0, None)
    drive.columns |= {"engine load": drive.columns["engine load"] / 100, "throttle": drive.columns["throttle"] / 100}
    drive.columns["accelerator pedal"] = np.round(pedal * 0.01 / 100, 5)  # under two percent throughout
    log = read(tmp_path, drive)
    assert log.table["throttle"].median() == pytest.approx(np.median(drive.columns["throttle"]), rel=0.01)
    assert log.table["pedal"].max() == pytest.approx(drive.columns["accelerator pedal"].max(), rel=0.01)
    shares = [column.header for column in log.columns if "shares of one" in column.note]
    assert shares == ["engine load", "throttle", "accelerator pedal"]


def test_a_load_in_shares_next_to_a_throttle_in_percent(tmp_path):
    drive = lying_sensors.drive(1)
    drive.columns["engine load"] = drive.columns["engine load"] / 100
    log = read(tmp_path, drive)
    assert log.table["calculated_load"].median() == pytest.approx(np.median(drive.columns["engine load"]), rel=0.01)
    assert log.table["throttle"].median() == pytest.approx(np.median(drive.columns["throttle"]) / 100, rel=0.01)


def test_fuel_for_a_distance_counts_only_rows_with_both(tmp_path):
    """A fuel rate that dies after 100 s of 900: a true 5.0 L/100 km was 0.6."""
    drive = lying_sensors.drive(1, kind="motorway")
    speed = drive.columns["speed"] / 3.6
    drive = lying_sensors.only(drive, "speed", "rpm")
    drive.columns["fuel rate (L/h)"] = np.where(drive.time_s < 100, 0.05 * speed * 3.6, np.nan)  # 5.0 L/100 km
    log = read(tmp_path, drive)
    data, flow = as_data(log, ENGINE, None, None, None)
    assert data.fuel.l_per_100km == pytest.approx(5.0, rel=0.01)
    assert data.fuel.l_per_100km_over_km == pytest.approx(speed[:100].sum() / 1000, rel=0.03)
    assert "with both fuel and speed" in "\n".join(in_words(log, data, flow))
    whole = calibrated_efficiency_of(log)
    assert whole == (pytest.approx(data.fuel.l_per_100km, rel=1e-9))


def calibrated_efficiency_of(log: Log) -> float:
    """Return litres for 100 km by the function that the calibration to a receipt uses."""
    litres, metres = litres_and_metres(log, fuel_flow(log, ENGINE))
    return litres / metres * 1e5


@pytest.mark.parametrize(
    ("neighbour", "columns"), [("calculated load", "engine load"), ("throttle position", "throttle")]
)
@pytest.mark.parametrize("off_kpa", [25.0, -20.0])
def test_a_pressure_that_is_off_for_two_minutes_is_dropped_by_one_neighbour(tmp_path, neighbour, columns, off_kpa):
    """Tens of kPa, inside the physical range: nothing but its neighbour shows it."""
    if (neighbour, off_kpa) == ("throttle position", -20.0):
        off_kpa = 35.0  # a throttle says less of the pressure: 20 kPa are within what it does by itself
    honest = lying_sensors.only(lying_sensors.drive(1), "speed", "rpm", "map", columns, "intake temperature")
    rows = np.arange(300, 420)
    wrong = honest.columns["map"].copy()
    wrong[rows] = np.maximum(wrong[rows] + off_kpa, 12)
    log = read(tmp_path, lying_sensors.Drive(honest.time_s, {**honest.columns, "map": wrong}))
    text = f"manifold pressure: contradicts {neighbour} for a while, as it does not elsewhere, left empty"
    assert dropped(log)[text] >= 55
    left = np.isfinite(log.table["manifold_pressure_pa"].to_numpy())
    kept = np.flatnonzero(left)
    off = log.table["manifold_pressure_pa"].to_numpy()[kept] / 1e3 - honest.columns["map"][kept]
    assert (np.abs(off) > 12.0).sum() < 15
    assert abs(off.mean()) < 0.6
    assert text not in dropped(read(tmp_path, honest))


def test_a_pressure_that_is_off_throughout_is_said(tmp_path):
    """30 kPa too much: 43 kPa and more while coasting; with the engine standing the barometer shows it exactly."""
    honest = lying_sensors.drive(1)
    assert read(tmp_path, honest).checks == () or "manifold" not in " ".join(read(tmp_path, honest).checks)
    high = {**honest.columns, "map": honest.columns["map"] + 30.0}
    checks = " ".join(read(tmp_path, lying_sensors.Drive(honest.time_s, high)).checks)
    assert "manifold pressure does not fall under 47 kPa although the calculated load falls to 6 %" in checks
    standing = {name: values.copy() for name, values in honest.columns.items()}
    standing["rpm"][:20], standing["speed"][:20] = 0.0, 0.0
    standing["map"][:20] = lying_sensors.BAROMETER_KPA
    assert "engine standing" not in " ".join(read(tmp_path, lying_sensors.Drive(honest.time_s, standing)).checks)
    standing["map"] = standing["map"] - 9.0
    checks = " ".join(read(tmp_path, lying_sensors.Drive(honest.time_s, standing)).checks)
    assert "manifold pressure reads 9 kPa too low: with the engine standing 89 kPa, the air 98 kPa" in checks


def test_rows_by_place_by_hand():
    """Places 2, 0, 2, 1, 2 of four: row 1 in the first, 3 in the second, 0, 2 and 4 in the third, none in the last."""
    rows = rows_by_place(np.array([2, 0, 2, 1, 2]), 4)
    assert [inside.tolist() for inside in rows] == [[1], [3], [0, 2, 4], []]


def test_a_pressure_too_low_at_full_load_is_said():
    """200 rows, 30 of them at full load: 66 kPa there are no 101."""
    load = np.where(np.arange(200) < 30, 0.96, 0.4)
    values = {"calculated_load": load, "engine_speed_rad_s": np.full(200, 250.0)}
    assert doubts({**values, "manifold_pressure_pa": 95e3 * load}) == []
    (said,) = doubts({**values, "manifold_pressure_pa": 67e3 * load})
    assert said.startswith("manifold pressure reaches only 64 kPa at full load (the air 101 kPa)")
    diesel = np.full(200, 104e3)
    assert doubts({**values, "calculated_load": load - 0.3, "manifold_pressure_pa": diesel}) == []
