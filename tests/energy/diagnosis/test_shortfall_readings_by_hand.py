"""What a passenger read: from a line, from a file, and put together, by hand."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from energy.diagnosis.shortfall_readings import (
    MOST_GROUPS,
    Readings,
    grouped,
    joined,
    read_lines,
    read_readings,
    readings_of,
)
from vehicle.problems import InputError

COLUMNS = {
    "road_speed": ("road_speed_m_s", 20.0),
    "electrical_power": ("electrical_power_w", 300.0),
    "rotor_speed": ("rotor_speed_rad_s", 40.0),
    "voltage": ("voltage_v", 50.0),
    "current": ("current_a", 6.0),
    "thrust": ("thrust_n", 90.0),
    "air_speed": ("air_speed_m_s", 14.0),
    "free_air_speed": ("free_air_speed_m_s", 21.0),
    "wind_speed": ("wind_speed_m_s", 2.0),
    "dial": ("dial_deg", 5.0),
    "resistance": ("resistance_ohm", 9.0),
    "ratio": ("ratio", 2.5),
    "heading": ("heading_deg", 180.0),
    "time": ("time_s", 77.0),
}


def of(**columns) -> Readings:
    return readings_of({name: np.asarray(values, float) for name, values in columns.items()}, "mine")


def test_each_column_goes_to_its_own_place():
    found = readings_of({name: np.array([value]) for name, (_, value) in COLUMNS.items()}, "mine")
    for field, value in COLUMNS.values():
        assert getattr(found, field).tolist() == [value], field
    assert found.count.tolist() == [1.0]
    assert len(found) == 1
    for name, (field, _) in COLUMNS.items():
        if name in ("road_speed", "electrical_power"):
            continue
        alone = of(road_speed=[1.0], electrical_power=[2.0], **{name: [3.0]})
        known = {f.name for f in fields(Readings) if alone.known(f.name)}
        assert known == {"road_speed_m_s", "electrical_power_w", "count", field}
    assert of(vehicle_speed=[7.0], electrical_power=[1.0]).road_speed_m_s.tolist() == [7.0]
    assert of(road_speed=[3.0], pitch=[8.0], electrical_power=[1.0]).dial_deg.tolist() == [8.0]
    assert of(road_speed=[3.0], vehicle_speed=[9.0], electrical_power=[1.0]).road_speed_m_s.tolist() == [3.0]


@pytest.mark.parametrize("speed", ["road_speed", "air_speed", "free_air_speed"])
def test_any_of_three_speeds_will_do(speed):
    nan = math.nan
    assert len(of(**{speed: [5.0, 0.0]}, electrical_power=[1.0, 2.0])) == 2
    with pytest.raises(InputError, match="mine: reading 2: no speed; accepted: the road speed, such as 60 mph"):
        of(**{speed: [5.0, nan, nan]}, electrical_power=[1.0, 2.0, 3.0])


@pytest.mark.parametrize("measured", ["electrical_power", "rotor_speed", "voltage", "current"])
def test_any_of_four_measured_values_will_do(measured):
    assert len(of(road_speed=[5.0, 6.0], **{measured: [1.0, 0.0]})) == 2
    with pytest.raises(InputError, match="mine: reading 3: a speed alone; accepted: the watts as well"):
        of(road_speed=[5.0, 6.0, 7.0], **{measured: [1.0, 2.0, math.nan]})


def test_thrust_alone_is_no_reading():
    with pytest.raises(InputError, match="a speed alone"):
        of(road_speed=[5.0], thrust=[60.0])


@pytest.mark.parametrize(
    "name",
    ["road_speed", "vehicle_speed", "electrical_power", "rotor_speed", "voltage", "current", "thrust"],
)
def test_negative_measured_values_are_refused(name):
    refused_below_zero(name)


@pytest.mark.parametrize("name", ["air_speed", "free_air_speed", "resistance", "ratio"])
def test_negative_air_and_settings_are_refused(name):
    refused_below_zero(name)


def refused_below_zero(name):
    base = {"electrical_power": [1.0, 1.0, 1.0], "free_air_speed": [1.0, 1.0, 1.0]}
    assert len(of(**{**base, name: [1.0, 0.0, 2.0]})) == 3
    with pytest.raises(InputError, match=rf"mine: reading 2: {name}: -0\.5; accepted: 0 or more"):
        of(**{**base, name: [0.5, -0.5, -7.0]})


@pytest.mark.parametrize("name", ["wind_speed", "dial", "pitch", "heading", "time"])
def test_wind_angles_and_times_may_be_negative(name):
    assert len(of(road_speed=[5.0], electrical_power=[1.0], **{name: [-3.0]})) == 1


MPH, RPM, POUND = 0.44704, math.pi / 30, 4.4482216


@pytest.mark.parametrize(
    ("piece", "field", "value"),
    [
        ("out", "heading_deg", 0.0),
        ("back", "heading_deg", 180.0),
        ("north", "heading_deg", 0.0),
        ("East", "heading_deg", 90.0),
        ("south", "heading_deg", 180.0),
        ("west", "heading_deg", 270.0),
        ("heading 45 deg", "heading_deg", 45.0),
        ("dial 6 deg", "dial_deg", 6.0),
        ("-4.5°", "dial_deg", -4.5),
        ("−4.5 degrees", "dial_deg", -4.5),
        ("+3 degree", "dial_deg", 3.0),
        ("400 rpm", "rotor_speed_rad_s", 400 * RPM),
        ("55 V", "voltage_v", 55.0),
        ("3.8 A", "current_a", 3.8),
        ("20 lbf", "thrust_n", 20 * POUND),
        ("9 ohm", "resistance_ohm", 9.0),
        ("2 min", "time_s", 120.0),
        ("air 20 mph", "air_speed_m_s", 20 * MPH),
        ("free air 30 mph", "free_air_speed_m_s", 30 * MPH),
        ("30 mph free", "free_air_speed_m_s", 30 * MPH),
        ("head wind 5 mph", "wind_speed_m_s", 5 * MPH),
        ("Wind -5 mph", "wind_speed_m_s", -5 * MPH),
    ],
)
def test_a_piece_of_a_line(piece, field, value):
    found = read_lines([f"210 W at 60 mph, {piece}"])
    assert getattr(found, field)[0] == pytest.approx(value, rel=1e-6)
    known = {f.name for f in fields(Readings) if found.known(f.name)}
    assert known == {"road_speed_m_s", "electrical_power_w", "count", field}


@pytest.mark.parametrize(
    "text", ["210 W @ 60 mph", "210 W; 60 mph", "210W,60mph", "60 mph and 210 W", "210 W, , 60 mph"]
)
def test_ways_to_part_a_line(text):
    found = read_lines([text])
    assert found.electrical_power_w[0] == pytest.approx(210)
    assert found.road_speed_m_s[0] == pytest.approx(60 * MPH)


def test_a_comma_without_a_space_loses_no_reading():
    found = read_lines(["210 W at 60 mph,400 rpm,55 V"])
    assert found.rotor_speed_rad_s[0] == pytest.approx(400 * RPM)
    assert found.voltage_v[0] == 55
    with pytest.raises(InputError, match="'1,200 W' is none of watts"):  # a comma in a number is asked about, not cut
        read_lines(["1,200 W at 60 mph"])


def test_faults_of_lines_are_all_named():
    with pytest.raises(InputError) as caught:
        read_lines(["210 W at 60 mph, 220 W", "fast at 60 mph", "210 at 60 mph", "1 W at 2 m/s"])
    said = [(p.key, p.read) for p in caught.value.problems]
    assert said == [
        ("'210 W at 60 mph, 220 W'", "two values for electrical_power"),
        ("'fast at 60 mph'", "'fast' holds no number"),
        ("'210 at 60 mph'", "'210' is none of watts, speed, rpm, volts, amperes, thrust, degrees, ohm"),
    ]


def test_two_sources_joined():
    one, other = read_lines(["210 W at 10 m/s"]), read_lines(["55 V at 20 m/s, dial 4 deg"])
    both = joined(one, other)
    assert both.road_speed_m_s == pytest.approx([10, 20])
    assert both.voltage_v == pytest.approx([math.nan, 55], nan_ok=True)
    assert both.dial_deg == pytest.approx([math.nan, 4], nan_ok=True)
    assert both.count.tolist() == [1, 1]


def test_files_of_unknown_columns_and_call_sheets(tmp_path: Path):
    path = tmp_path / "mine.csv"
    path.write_text("colour,mood\n1,2\n")
    with pytest.raises(InputError, match=r"mine\.csv: header: no column that is known"):
        read_readings(path)
    path.write_text(
        "event,time_utc,time_s,road_speed_km_h,electrical_power_w,pitch_deg\n"
        ",,0,36,100,4\nsetting,,9,,,6\n,,20,54,200,6\n"
    )
    found = read_readings(path)
    assert found.road_speed_m_s == pytest.approx([10, 15])
    assert found.dial_deg.tolist() == [4, 6]
    assert found.time_s.tolist() == [0, 20]


def many(speeds, **columns) -> Readings:
    speeds = np.asarray(speeds, float)
    columns = {"electrical_power": np.full(len(speeds), 100.0)} | columns
    return of(road_speed=speeds, **columns)


def test_readings_within_six_percent_of_speed_are_one_row():
    """Steps of 0.06 in ln(speed) from the slowest on: 10 to 10.62 m/s, then to 11.27."""
    found, _ = grouped(many([10.0, 10.6, 10.63, 11.2, 11.3], time=[0, 1, 2, 3, 4]))
    order = np.argsort(found.road_speed_m_s)
    assert found.count[order].tolist() == [2, 2, 1]
    assert found.road_speed_m_s[order] == pytest.approx([10.3, 10.915, 11.3])
    assert found.time_s[order] == pytest.approx([0.5, 2.5, 4.0])


def test_settings_directions_and_what_was_read_stay_apart():
    base = {"electrical_power": [100.0, 100.0]}
    for name in ("dial", "resistance", "ratio", "heading"):
        assert len(grouped(many([10, 10], **base, **{name: [4.0, 5.0]}))[0]) == 2
        assert len(grouped(many([10, 10], **base, **{name: [4.0, math.nan]}))[0]) == 2
        assert len(grouped(many([10, 10], **base, **{name: [4.0, 4.001]}))[0]) == 1
        assert len(grouped(many([10, 10], **base, **{name: [4.0, 4.02]}))[0]) == 2
    for name in ("rotor_speed", "voltage", "current", "thrust", "air_speed", "free_air_speed"):
        assert len(grouped(many([10, 10], **base, **{name: [4.0, 5.0]}))[0]) == 1
        assert len(grouped(many([10, 10], **base, **{name: [4.0, math.nan]}))[0]) == 2
    assert len(grouped(many([10, 10], **base, wind_speed=[4.0, math.nan]))[0]) == 1


def test_halves_of_a_long_drive_stay_apart():
    time = np.arange(8.0) * 60
    assert sorted(grouped(many(np.full(8, 10.0), time=time))[0].count) == [4, 4]
    assert len(grouped(many(np.full(7, 10.0), time=time[:7]))[0]) == 1  # a short one
    assert len(grouped(many(np.full(8, 10.0), time=[*time[:7], math.nan]))[0]) == 1  # times not all known
    found, _ = grouped(many(np.full(9, 10.0), time=np.arange(9.0)))
    assert sorted(found.count) == [4, 5]  # the middle belongs to the first half
    assert found.time_s[np.argmax(found.count)] == 2.0


def test_many_speeds_are_put_into_wider_groups_until_twelve_are_left():
    """Steps of 0.0601 in ln(speed): twelve rows at most of one width, else of double the width."""
    twelve, _ = grouped(many(10 * np.exp(0.0601 * np.arange(12))))
    assert twelve.count.tolist() == [1.0] * 12
    doubled, _ = grouped(many(10 * np.exp(0.0601 * np.arange(13))))
    assert len(doubled) == 7
    assert doubled.count.sum() == 13
    assert doubled.count[0] == 2.0  # the largest group first
    again, _ = grouped(many(10 * np.exp(0.0601 * np.arange(26))))
    assert len(again) == 7  # a quarter: 0.25
    wide, _ = grouped(many(10 * np.exp(0.255 * np.arange(13))))
    assert len(wide) == 7  # a half
    widest, _ = grouped(many(10 * np.exp(0.51 * np.arange(13)), time=np.arange(13.0)))
    assert widest.count.tolist() == [13.0]  # all of one setting; the halves of time do not part them any more
    settings, _ = grouped(many(np.full(30, 10.0), dial=[*np.arange(14.0), *np.zeros(16)]))
    assert len(settings) == MOST_GROUPS  # fourteen settings: those read most often
    assert settings.count[0] == 17.0


def test_a_speed_is_that_of_the_road_or_else_of_the_air():
    nan = math.nan
    base = {"electrical_power": np.full(3, 100.0), "dial": np.full(3, 1.0)}
    only_air = of(air_speed=[10.0, 10.2, 20.0], **base)
    assert sorted(grouped(only_air)[0].count) == [1, 2]
    free = of(free_air_speed=[10.0, 10.2, 20.0], **base)
    assert sorted(grouped(free)[0].count) == [1, 2]
    both = of(road_speed=[10.0, 10.2, 10.1], air_speed=[5.0, 9.0, 20.0], **base)
    assert grouped(both)[0].count.tolist() == [3.0]
    assert grouped(both)[0].air_speed_m_s == pytest.approx([34 / 3])
    standing = of(road_speed=[0.0, 0.4, nan], free_air_speed=[1.0, 1.0, 0.1], **base)
    assert len(grouped(standing)[0]) == 2  # below half a metre a second all is standing; one was not on the road


def test_scatter_of_the_watts_over_the_cube_of_speed():
    watts, speed = np.array([100.0, 130.0, 90.0, 310.0, 300.0, 500.0]), np.array([10.0, 10.2, 9.9, 14.0, 14.1, 30.0])
    found, scatter = grouped(many(speed, electrical_power=watts))
    assert sorted(found.count) == [1, 2, 3]
    logs = [math.log(w / v**3) for w, v in zip(watts, speed, strict=True)]
    square = 0.0
    for part in (logs[:3], logs[3:5]):
        mean = sum(part) / len(part)
        square += sum((v - mean) ** 2 for v in part)
    assert scatter == pytest.approx(math.sqrt(square / 3))
    assert math.isnan(grouped(many(speed[1:], electrical_power=watts[1:]))[1])  # two degrees of freedom show none
    dead = replace(many(speed, electrical_power=watts), electrical_power_w=np.array([0.0, 130, 90, 310, 300, 500.0]))
    assert math.isnan(grouped(dead)[1])  # nothing has no logarithm
