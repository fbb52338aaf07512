"""What no road vehicle has is refused unless it is said to be meant; what cannot stand together is refused always."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests_support import run

from energy.chain.answer import answered
from energy.chain.impossible import refuse_impossible
from energy.chain.load import load
from energy.scenario.defaults import FUEL_DEFAULTS
from energy.scenario.keys import TABLES, quantity_keys, spec_of
from energy.words.answer import as_data, cautions
from energy.words.keys import key_rows, key_words
from vehicle.problems import InputError
from vehicle.quantity import Uncertain
from vehicle.units import QuantityError, parse


def told(folder: Path, *overrides: str) -> str:
    with pytest.raises(InputError) as caught:
        load(folder / "scenario.toml", overrides)
    return str(caught.value)


@pytest.mark.parametrize("key", quantity_keys())
def test_every_quantity_has_a_plausible_range_within_its_physical_one(key: str) -> None:
    spec = spec_of(key)
    ends = spec.plausible_ends()
    assert ends is not None, f"{key} declares no plausible range"
    low, high = ends
    assert low < high
    assert spec.at_least is None or low >= spec.at_least - 1e-9
    assert spec.above is None or low >= spec.above
    assert spec.at_most is None or high <= spec.at_most + 1e-9
    table, name = key.split(".")
    info = TABLES[table].model_fields[name]
    default = None if info.is_required() else info.get_default(call_default_factory=True, validated_data={})
    if isinstance(default, Uncertain):
        assert low <= default.low <= default.high <= high


@pytest.mark.parametrize(
    ("override", "read"),
    [
        ('air.temperature="-60 degC"', "−60 °C"),
        ('engine.speed_per_1000_rpm=["1e-9 km/h"]', "1.00e−09 km/h; "),
        ('engine.highest_speed="1e6 rpm"', "1000000 rpm"),
        ('vehicle.coastdown_b="-100 N*s/m"', "−100 N·s/m"),
        ('rotor.diameter={value="1.8 m", low="0.1 m", high="2 m"}', "0.1 m (an end of its range)"),
        ('vehicle.mass="3 kg"', "3 kg"),
    ],
)
def test_a_slip_of_the_pen_is_refused_with_the_way_out(van_folder: Path, override: str, read: str) -> None:
    message = told(van_folder, override)
    key = override.partition("=")[0]
    assert f"--set: {key}: " in message
    assert read in message
    assert f'unusual = ["{key}"]' in message


@pytest.mark.parametrize(
    ("override", "read"),
    [
        ("trip.road_speed=-90 km/h", "-90 km/h; "),
        ("air.pressure=1013 kPa", "1013 kPa; "),
        ("engine.displacement=2200 L", "2200 L; "),
        ("air.relative_humidity=150 %", "150 %; "),
        ("air.relative_humidity=60", "60; "),
        ('trip.road_speed={value="90 km/h", low="80 km/h", high="900 km/h"}', "900 km/h (an end of its range); "),
        ('trip.road_speed={value="20 km/h", plus_minus="30 km/h"}', "−10 km/h (an end of its range); "),
    ],
)
def test_a_value_beyond_its_limits_is_named_as_it_was_written(van_folder: Path, override: str, read: str) -> None:
    message = told(van_folder, override)
    assert f"{override.partition('=')[0]}: {read}accepted: " in message


def test_what_is_said_to_be_meant_is_named_in_the_answer(van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    text = path.read_text(encoding="utf-8").replace('temperature = "15 degC"', 'temperature = "-55 degC"')
    path.write_text(text, encoding="utf-8")
    assert "air.temperature: −55 °C; accepted: air temperature, −40 °C to 50 °C" in told(van_folder)
    path.write_text('unusual = ["air.temperature"]\n' + text, encoding="utf-8")
    found = answered(load(path), exact=True)
    sentence = "Unusual and meant: air.temperature is −55 °C; usual is −40 °C to 50 °C."
    assert sentence in cautions(found, "metric")
    assert sentence in as_data(found)["cautions"]


def test_a_usual_value_that_is_called_unusual_is_not_named(van_folder: Path) -> None:
    scenario = load(van_folder / "scenario.toml", ['unusual=["air.temperature"]'])
    assert scenario.warnings == ()


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        ('["air.temprature"]', "air.temperature (nearest)"),
        ('"air.temperature"', "no list"),
        ("[5]", "a list of keys"),
        ("true", "no list"),
    ],
)
def test_the_list_of_unusual_keys_is_checked(van_folder: Path, raw: str, expected: str) -> None:
    message = told(van_folder, f"unusual={raw}")
    assert "--set: unusual" in message
    assert expected in message


@pytest.mark.parametrize("text", ["65 m/h", "65 M/h", "65 m/hr"])
def test_metres_an_hour_are_no_miles_an_hour(text: str) -> None:
    with pytest.raises(QuantityError, match="metres an hour: write mph"):
        parse(text, "m/s")
    assert parse("65 mi/h", "m/s") == pytest.approx(65 * 0.44704)  # the international mile


def test_an_engine_beyond_its_limit_in_every_gear(van_folder: Path) -> None:
    # 100 km/h over 17 km/h per 1000 rpm: 5882 rpm.
    gears = 'engine.speed_per_1000_rpm=["8 km/h", "17 km/h"]'
    message = told(van_folder, gears, "engine.highest_speed=5800 rpm")
    assert "5880 rpm at 100 km/h, beyond engine.highest_speed (5800 rpm)" in message
    assert load(van_folder / "scenario.toml", [gears, "engine.highest_speed=5900 rpm"]).engine is not None


def test_gears_by_ratio_are_held_to_the_same_limit(demos: Path) -> None:
    path = demos / "pickup_drying_box" / "scenario.toml"
    # 45 mph = 20.117 m/s; 14.6 in = 0.37084 m: 54.25 rad/s at the wheel, 3.55 and 4.2 to the engine: 7724 rpm.
    one_gear = ["engine.gear_ratios=[4.2]", "engine.highest_speed=7700 rpm"]
    with pytest.raises(InputError, match=r"engine\.gear_ratios: in its longest gear .* 7720 rpm"):
        load(path, one_gear)
    load(path, [one_gear[0], "engine.highest_speed=7750 rpm"])


COAST_DOWN = ["vehicle.coastdown_a=100 N", "vehicle.coastdown_c=0.5 N*s^2/m^2"]


@pytest.mark.parametrize("meant", [[], ['unusual=["vehicle.coastdown_b"]']])
def test_no_road_pushes_a_coasting_vehicle(demos: Path, meant: list[str]) -> None:
    path = demos / "pickup_drying_box" / "scenario.toml"
    # 100 - 14.2 v + 0.5 v^2 has its least at 14.2 m/s: 100 - 100.8 = -0.8 N, at 51 km/h; the trip's 20.1 m/s pass it.
    with pytest.raises(InputError, match=r"coastdown_b: .* would push the coasting vehicle on at 51 km/h \(−0\.82 N\)"):
        load(path, [*COAST_DOWN, "vehicle.coastdown_b=-14.2 N*s/m", *meant])
    load(path, [*COAST_DOWN, "vehicle.coastdown_b=-14.1 N*s/m", *meant])  # 100 - 99.4 N


def test_only_speeds_of_the_trip_count_for_a_road_that_pushes(demos: Path) -> None:
    path = demos / "pickup_drying_box" / "scenario.toml"
    # At 10 m/s 100 - 142 + 50 = 8 N; the dip at 14.2 m/s is never driven.
    load(path, [*COAST_DOWN, "vehicle.coastdown_b=-14.2 N*s/m", "trip.road_speed=10 m/s"])


def test_a_limit_that_lets_the_tips_reach_sound_is_no_limit(van_folder: Path) -> None:
    assert "the tips of a 1.8 m rotor would move at 377 m/s" in told(van_folder, "rotor.highest_rotor_speed=4000 rpm")
    load(van_folder / "scenario.toml", ["rotor.highest_rotor_speed=3000 rpm"])  # 283 m/s


def test_tips_that_would_pass_sound_get_no_answer(van_folder: Path) -> None:
    # Nearly no load: 80 m/s of air at a tip-speed ratio of about 10, where sqrt(1.4 · 287.05 · 288.15) = 340 m/s.
    fast = [
        "trip.road_speed=180 km/h",
        "air.wind_speed=30 m/s",
        "rotor.local_speed_factor=1",
        "heater.resistance=1000 ohm",
    ]
    with pytest.raises(InputError, match=r"faster than sound \(340 m/s\)"):
        answered(load(van_folder / "scenario.toml", fast), exact=True)


def by_watts(folder: Path, rows: str) -> Path:
    """Write the van with measured watts for its curves."""
    path = folder / "scenario.toml"
    lines = path.read_text(encoding="utf-8").replace('curves = "rotor_curves.csv" ', 'measured_power = "watts.csv" ')
    path.write_text("\n".join(line for line in lines.split("\n") if not line.startswith("pitch = ")), encoding="utf-8")
    (folder / "watts.csv").write_text(rows, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("rows", "read"),
    [
        # 16/27 * 0.75 kg/m3 * 2.545 m2 * (60/3.6)^3 = 5 240 W; 2.5 * 0.75 * 2.545 * (60/3.6)^2 = 1 330 N.
        ("air_speed_km_h,electrical_power_kW\n30,80\n60,700\n", "column electrical_power: 700000 W at 60 km/h"),
        ("air_speed_km_h,electrical_power_w\n30,80\n60,5300\n", "at most 5200 W there"),
        ("air_speed_km_h,electrical_power_w,thrust_n\n30,80,90\n60,700,1400\n", "column thrust: 1400 N at 60 km/h"),
    ],
)
def test_no_rotor_takes_more_from_the_wind_than_it_has(van_folder: Path, rows: str, read: str) -> None:
    by_watts(van_folder, rows)
    message = told(van_folder)
    assert message.startswith("watts.csv: rotor.measured_power: column ")
    assert read in message
    assert load(van_folder / "scenario.toml", ['unusual=["rotor.diameter"]']).measured is not None  # in a duct


def test_watts_that_an_ideal_rotor_gives_are_read(van_folder: Path) -> None:
    path = by_watts(van_folder, "air_speed_km_h,electrical_power_w,thrust_n\n2,9,12\n30,80,90\n60,5200,1300\n")
    assert load(path).measured is not None


@pytest.mark.parametrize(
    ("overrides", "read"),
    [
        (
            ("engine.idle_speed=900 rpm", "engine.lowest_driving_speed=800 rpm"),
            "idle_speed: 900 rpm, not below engine.low",
        ),
        (
            ("engine.lowest_driving_speed=2500 rpm", "engine.highest_speed=2400 rpm"),
            "lowest_driving_speed: 2500 rpm, not",
        ),
        (
            ("engine.displacement=0.4 L",),
            "340 N·m from an engine of 0.4 L; accepted: 12.7 N·m to 143 N·m for that size",
        ),
        (("engine.displacement=15 L",), "340 N·m from an engine of 15 L; accepted: 477 N·m to 5370 N·m for that size"),
    ],
)
def test_engine_values_that_cannot_stand_together(van_folder: Path, overrides: tuple[str, ...], read: str) -> None:
    assert read in told(van_folder, *overrides)


def test_a_torque_that_is_meant_is_read(van_folder: Path) -> None:
    meant = ['unusual=["engine.peak_torque"]', "engine.displacement=0.4 L"]
    assert load(van_folder / "scenario.toml", meant).engine is not None


def test_air_colder_than_any_weather_is_no_air(van_folder: Path) -> None:
    message = told(van_folder, "air.temperature=15 K", 'unusual=["air.temperature"]')
    assert "air.temperature: 15 K; accepted: air temperature" in message
    assert "at least −100 °C" in message


def test_a_rotor_wider_than_a_lane_may_park_but_not_drive(van_folder: Path) -> None:
    assert "4 m, wider than a lane" in told(van_folder, "rotor.diameter=4 m")
    load(van_folder / "scenario.toml", ["rotor.diameter=4 m", "trip.road_speed=0 km/h"])
    meant = load(van_folder / "scenario.toml", ["rotor.diameter=4 m", 'unusual=["rotor.diameter"]'])
    assert any("stands out" in warning for warning in meant.warnings)


def test_no_answer_without_a_finite_fuel_power(van: Any) -> None:
    from dataclasses import replace

    found = answered(van, exact=True).answer
    broken = replace(found, change=replace(found.change, power_w=float("nan")))
    with pytest.raises(InputError, match="no finite number"):
        refuse_impossible(van, broken, broken.turbine)


@pytest.mark.parametrize("grade", ["-8 %", "-3 %", "0 %", "4 %"])
@pytest.mark.parametrize("wind", ["0 km/h", "40 km/h", "90 km/h"])
@pytest.mark.parametrize("speed", ["0 km/h", "2 km/h", "60 km/h", "120 km/h"])
def test_a_verdict_has_the_sign_of_its_fuel_power(demos: Path, grade: str, wind: str, speed: str) -> None:
    overrides = [f"trip.grade={grade}", f"air.wind_speed={wind}", f"trip.road_speed={speed}"]
    data = as_data(answered(load(demos / "van_water_tank" / "scenario.toml", overrides), exact=True))
    watts, verdict = data["fuel_change"]["power_w"], data["verdict"]
    assert not (watts > 1 and verdict != "costs")
    assert not (watts < -1 and verdict != "saves")


def test_keys_show_the_plausible_range() -> None:
    row = next(row for row in key_rows("air") if row.key == "temperature")
    assert row.plausible == "−40 °C to 50 °C"
    assert "plausible −40 °C to 50 °C" in key_words(row)


@pytest.mark.parametrize("command", ["answer", "heat", "payback", "loads", "match", "tune"])
def test_every_answer_names_what_is_meant_though_unusual(van_folder: Path, command: str) -> None:
    more = {"answer": ["--exact"], "heat": ["--exact"], "payback": ["--exact"], "tune": [van_folder / "sweep.csv"]}
    meant = ["--set", "air.temperature=-45 degC", "--set", 'unusual=["air.temperature"]']
    done = run(command, str(van_folder / "scenario.toml"), *map(str, more.get(command, [])), *meant)
    assert done.stderr == ""
    assert "Unusual and meant: air.temperature is −45 °C" in " ".join(done.stdout.split())


@pytest.mark.parametrize("key", sorted(FUEL_DEFAULTS))
def test_keys_show_range_and_source_of_each_fuels_default(key: str) -> None:
    table, _, name = key.partition(".")
    row = next(row for row in key_rows(table) if row.key == name)
    shown = spec_of(key).shown
    for fuel, (value, source) in FUEL_DEFAULTS[key].items():
        assert f"{fuel} {shown(value.value)} ({shown(value.low)} to {shown(value.high)})" in str(row.default)
        assert source in row.source
        assert fuel in row.source.partition(source)[0]


@pytest.mark.parametrize(
    ("old", "new", "read", "accepted"),
    [
        (
            'road_speed = "100 km/h"',
            'road_speed = "100 km/h"\nroad_speed = "80 km/h"',
            "'road_speed' is given a",
            "once",
        ),
        ("[trip]", "[rotor]\n[trip]", "'[rotor]' is given a second time", "each table and each of its keys once"),
        ('"100 km/h"', "“100 km/h”", "that line reads 'road_speed = “100 km/h”'", "lines such as"),
        ('mass = "2900 kg"', 'mass = "2900 kg', "that line reads 'mass = \"2900 kg'", "lines such as"),
        ("speed_per_1000_rpm = [", "speed_per_1000_rpm = [] # [", "an empty list", "a list [...] of road speed"),
    ],
)
def test_a_slip_in_the_file_is_shown_with_its_line(
    van_folder: Path, old: str, new: str, read: str, accepted: str
) -> None:
    path = van_folder / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    message = told(van_folder)
    assert read in message
    assert accepted in message.partition(read)[2]


def test_columns_are_asked_for_in_the_units_that_builders_write(van_folder: Path) -> None:
    (van_folder / "map.csv").write_text("speed,load\n1,2\n3,4\n5,6\n7,8\n", encoding="utf-8")
    message = told(van_folder, "engine.fuel_map=map.csv")
    for column in ("engine_speed_rpm", "torque_nm", "fuel_g_kwh"):
        assert f"accepted: a column {column}" in message


def test_what_is_accepted_would_not_be_refused_again(van_folder: Path) -> None:
    """66 degC lies within the limits of air, and is refused too: the usual range is told at once."""
    message = told(van_folder, "air.temperature=70 degC")
    assert message.endswith("at least −100 °C and at most 66.9 °C, usually −40 °C to 50 °C")
    assert told(van_folder, "trip.road_speed=65").endswith("at most 360 km/h, usually 0 km/h to 180 km/h")
    assert "usually" not in told(van_folder, "air.relative_humidity=150 %")  # its limits are its usual range
