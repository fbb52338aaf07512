from __future__ import annotations

import random
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests_support import of_study

import energy
from energy.chain.answer import answered
from energy.chain.load import load
from energy.scenario.files import read_fuel_map, read_measured_power
from energy.scenario.keys import TABLES
from energy.words.answer import as_data
from vehicle.problems import InputError
from vehicle.quantity import Spec, read_quantity


def told(folder: Path, *overrides: str) -> str:
    with pytest.raises(InputError) as caught:
        load(folder / "scenario.toml", overrides)
    return str(caught.value)


@pytest.mark.parametrize("name", ["van_water_tank", "pickup_drying_box", "parked_on_a_ridge"])
def test_the_demos_are_right(demos: Path, name: str) -> None:
    scenario = load(demos / name / "scenario.toml")
    assert scenario.title
    assert "nvented" in scenario.note
    assert scenario.warnings == ()


def test_all_faults_of_a_file_at_once(van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    for good, bad in (
        ('diameter = "1.8 m"', 'diametre = "1.8 m"'),
        ('road_speed = "100 km/h"', 'road_speed = "3 kg"'),
        ('mass = "2900 kg"', "mass = 2900"),
        ('fuel = "diesel"', 'fuel = "deisel"'),
        ('efficiency = "95 %"', 'efficiency = "195 %"'),
        ('curves = "rotor_curves.csv"', 'curves = "rotorcurves.csv"'),
    ):
        assert good in text
        text = text.replace(good, bad)
    path.write_text(text, encoding="utf-8")
    lines = told(van_folder).splitlines()
    for expected in (
        "scenario.toml: rotor.diametre: unknown key; accepted: a known key, perhaps diameter (nearest)",
        "scenario.toml: rotor.diameter: missing",
        "trip.road_speed: 'kg' is a unit of another kind",
        "vehicle.mass: the bare number 2900 has no unit",
        "engine.fuel: 'deisel'; accepted: 'petrol', 'e10', 'diesel' or 'lpg' (nearest: diesel)",
        "drive.efficiency: 195 %; accepted: efficiency of belt or gear",
        "rotor.curves: no such file; accepted: an existing CSV file, perhaps rotor_curves.csv",
    ):
        assert any(expected in line for line in lines), (expected, lines)
    assert len(lines) == 7


@pytest.mark.parametrize(
    ("override", "expected"),
    [
        ('vehicle.mass="-3 kg"', "-3 kg"),
        ("drive.efficiency=1.2", "at most 1"),
        ('heater.resistance="0 ohm"', "above 0"),
        ('air.temperature="nan degC"', "not a finite number"),
        ('air.temperature="1e400 degC"', "not a finite number"),
        ("rotor.diameter=[1]", "no quantity"),
        ("rotor.diameter=true", "no quantity"),
        ('rotor.diameter={value="1 m", plusminus="1 cm"}', "unknown key 'plusminus'"),
        ('rotor.diameter={low="2 m", high="1 m"}', "low '2 m' above high '1 m'"),
        ('rotor.diameter={value="3 m", low="1 m", high="2 m"}', "outside low..high"),
        ('rotor.diameter={value="1 m", plus_minus="2 m"}', "an end of its range"),
        ('rotor.diameter={value="1 m", plus_minus="-2 cm"}', "0 or more"),
        ("engine.speed_per_1000_rpm=[]", "an empty list"),
        ('engine.speed_per_1000_rpm=["50 km/h","40 km/h"]', "lowest gear first"),
        ('rotor.pitch="40 deg"', "within the curves, 0 to 18 deg"),
        ("rotor.stowed=flying", "'stopped', 'feathered' or 'spinning'"),
        ('air.altitude="100 m"', "either pressure or altitude"),
        ('vehicle.coastdown_a="100 N"', "go together"),
        ("battery.drive_efficiency=0.9", "either a table [engine] or a table [battery]"),
        ('rotor.measured_power="watts.csv"', "one of curves, blade and measured_power"),
        ("prices.fuel=1.75", "no price"),
        ('prices.fuel="1.75 EUR"', "no price"),
        ('prices.fuel="1.75 EUR/kg"', "another kind"),
        ('prices.fuel="-1 EUR/L"', "negative"),
        ("road_speed=5", "trip.road_speed (nearest)"),
        ("rotor=5", "no table"),
        ("trip.road_speed", "--set table.key"),
        ("a.b.c=1", "--set table.key"),
        ("title=5", "no text"),
        ('title="\\u001b[31mred"', "control characters"),
        ('heater.what="\\u001b[31mred"', "control characters"),
        ('heater.what="' + "x" * 90 + '"', "at most 60"),
        ("rotor.turns_into_wind=yes", "true or false"),
    ],
)
def test_one_clear_sentence_each(van_folder: Path, override: str, expected: str) -> None:
    message = told(van_folder, override)
    assert expected in message
    assert all(len(line) < 420 for line in message.splitlines())


def test_files_that_are_no_scenario(tmp_path: Path, van_folder: Path) -> None:
    cases: dict[str, bytes] = {
        "empty.toml": b"",
        "broken.toml": b"[rotor\n",
        "binary.toml": bytes(range(256)),
        "latin.toml": "title='é'".encode("latin-1"),
        "list.toml": b"rotor = [1, 2]\n",
        "deep.toml": b"x=" + b"[" * 3000 + b"]" * 3000,
        "twice.toml": b"[air]\n[air]\n",
        "huge.toml": b"#" * 2_000_000,
    }
    for name, content in cases.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises(InputError) as caught:
            load(tmp_path / name)
        assert name in str(caught.value)
    with pytest.raises(InputError, match=r"a folder.*perhaps .*scenario\.toml"):
        load(van_folder)
    with pytest.raises(InputError, match="no such file"):
        load(tmp_path / "no.toml")
    with pytest.raises(InputError):
        load(Path("a\0b"))


def test_an_override_is_told_as_such_and_the_file_is_left_alone(van_folder: Path) -> None:
    before = (van_folder / "scenario.toml").read_bytes()
    assert told(van_folder, "trip.road_speed=fast").startswith("--set: trip.road_speed")
    scenario = load(
        van_folder / "scenario.toml", ["trip.road_speed=65 mph", "rotor.pitch=6 deg", "credit.replaces_alternator=true"]
    )
    assert scenario.trip.road_speed.value == pytest.approx(65 * 0.44704)
    assert scenario.credit.replaces_alternator
    assert (van_folder / "scenario.toml").read_bytes() == before


@pytest.mark.parametrize("text", ["true", "True", "TRUE"])
def test_true_in_any_capitals_on_the_command_line(van_folder: Path, text: str) -> None:
    assert load(van_folder / "scenario.toml", [f"load.vented={text}"]).load.vented is True


def test_true_in_capitals_in_a_file_is_told_how_to_write_it(van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("vented = true", "vented = True"), encoding="utf-8")
    assert told(van_folder).endswith("accepted: true or false, in small letters")


def test_a_table_that_no_file_has_is_blamed_on_the_setting_that_names_it(van_folder: Path) -> None:
    assert told(van_folder, "nonsense.key=3").startswith("--set: nonsense: unknown key")


def test_emptied_keys_are_told_one_by_one(van_folder: Path) -> None:
    text = told(van_folder, 'rotor.curves=""', 'vehicle.mass=""')
    assert "rotor.curves: an empty name; accepted: a CSV file" in text
    assert "vehicle.mass: '' does not begin with a number; accepted: " in text


def test_warnings_do_not_stop(van_folder: Path) -> None:
    wide = load(van_folder / "scenario.toml", ["rotor.diameter=6.2 m", 'unusual=["rotor.diameter"]'])
    assert any("unusual and meant: rotor.diameter is 6.2 m" in warning for warning in wide.warnings)
    assert any("stands out" in warning for warning in wide.warnings)


@pytest.mark.parametrize(
    ("raw", "shape", "low", "high", "deviation"),
    [
        ("2 m", "exact", 2.0, 2.0, 0.0),
        ({"value": "2 m", "plus_minus": "20 cm"}, "normal", 1.8, 2.2, 0.2 / 1.959963984540054),
        ({"value": "2 m", "plus_minus": "10 %"}, "normal", 1.8, 2.2, 0.2 / 1.959963984540054),
        ({"low": "1 m", "high": "3 m"}, "uniform", 1.0, 3.0, 2 / np.sqrt(12)),
        ({"value": "2 m", "low": "1 m", "high": "3 m"}, "triangular", 1.0, 3.0, 1 / np.sqrt(6)),
        ({"value": "2 m", "low": "1 m", "high": "3 m", "shape": "normal"}, "normal", 1.0, 3.0, 1 / 1.959963984540054),
    ],
)
def test_ranges(raw: Any, shape: str, low: float, high: float, deviation: float) -> None:
    value = read_quantity(raw, Spec("m", "a length"))
    assert (value.shape, value.low, value.high) == (shape, pytest.approx(low), pytest.approx(high))
    assert value.standard_deviation == pytest.approx(deviation)


def test_a_range_of_a_temperature_is_a_difference() -> None:
    value = read_quantity({"value": "59 degF", "plus_minus": "9 degF"}, Spec("K", "a temperature"))
    assert value.high - value.value == pytest.approx(5.0)


def test_measured_watts_and_fuel_maps(tmp_path: Path) -> None:
    table = tmp_path / "watts.csv"
    table.write_text(
        "air_speed_km_h;electrical_power_w;rotor_speed_rpm\n40;120,5;400\n60;400;600\n80;900;800\n", encoding="utf-8"
    )
    measured = read_measured_power(table)
    assert measured.electrical_power_w[0] == 120.5
    assert measured.thrust_n is None
    table.write_text("mph,Watts,RPM,lbf\n25,120,400,20\n50,900,800,70\n", encoding="utf-8")
    as_typed = read_measured_power(table)
    assert as_typed.rotor_speed_rad_s == pytest.approx(np.array([400, 800]) * np.pi / 30)
    assert as_typed.thrust_n == pytest.approx(np.array([20, 70]) * 4.4482216)
    table.write_text("air_speed_km_h,electrical_power_w\n40,120\n40,130\n", encoding="utf-8")
    with pytest.raises(InputError, match="the value of row 1 again"):
        read_measured_power(table)
    table.write_text("air_speed_km_h,electrical_power_w\n40,-1\n50,130\n", encoding="utf-8")
    with pytest.raises(InputError, match="no negative"):
        read_measured_power(table)
    fuel = tmp_path / "map.csv"
    fuel.write_text(
        "engine_speed_rpm,torque_nm,fuel_g_kwh\n1000,50,320\n1000,150,240\n3000,50,350\n3000,150,260\n",
        encoding="utf-8",
    )
    read = read_fuel_map(fuel, 43e6)
    # 240 g/kWh at 150 N·m and 1000 rpm: 15.708 kW × 240 g/kWh × 43 MJ/kg = 45.03 kW.
    assert read.fuel_power_w[0, 1] == pytest.approx(15.708e3 * 0.240 / 3.6e6 * 43e6, rel=1e-3)
    whole = fuel.read_text(encoding="utf-8")
    for bad in ("3000,250,260\n", "1000,150,240\n"):
        fuel.write_text(whole.replace("1000,150,240\n", "") + bad, encoding="utf-8")
        if bad not in whole:
            with pytest.raises(InputError, match="every torque at every speed"):
                read_fuel_map(fuel, 43e6)
        else:
            assert read_fuel_map(fuel, 43e6).torque_n_m.size == 2
    fuel.write_text(
        "engine_speed_rpm,torque_nm,fuel_g_kwh\n1000,50,320\n1000,150,40\n3000,50,350\n3000,150,260\n", encoding="utf-8"
    )
    with pytest.raises(InputError, match=r"up to 0\.65"):
        read_fuel_map(fuel, 43e6)


KEYS = sorted(f"{table}.{key}" for table, model in TABLES.items() for key in model.model_fields)
numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(lambda v: f"{v:g}"), st.integers(-(10**6), 10**6).map(str)
)
unit_texts = st.sampled_from(
    [
        "m",
        "km/h",
        "mph",
        "kg",
        "N",
        "ohm",
        "%",
        "degC",
        "rpm",
        "deg",
        "V/krpm",
        "W",
        "L",
        "N*m",
        "",
        "m^2",
        "hPa",
        "xyz",
    ]
)


@settings(max_examples=of_study(100, 300))
@given(st.sampled_from(KEYS), numbers, unit_texts)
def test_any_value_of_any_key_gives_an_answer_or_a_clear_error(demos: Path, key: str, number: str, unit: str) -> None:
    path, override = demos / "van_water_tank" / "scenario.toml", f'{key}="{number} {unit}"'
    try:
        scenario = load(path, [override])
    except InputError as error:
        lines = str(error).splitlines()
        scenario = None
    if scenario is None:
        assert lines
        assert all("accepted: " in line for line in lines)
        return
    data = as_data(answered(scenario))
    assert data["verdict"] in ("costs", "saves", "cannot tell")
    assert abs(data["ledger_residual_w"]) <= 1e-9 * max(1.0, data["states"]["working"]["source_power_w"])


def test_mutated_files_give_a_scenario_or_an_input_error(demos: Path, tmp_path: Path) -> None:
    text = (demos / "van_water_tank" / "scenario.toml").read_text(encoding="utf-8")
    curves = (demos / "van_water_tank" / "rotor_curves.csv").read_text(encoding="utf-8")
    rng = random.Random(20)
    read, told_lines = 0, []
    for _ in range(files := of_study(300, 1000)):
        changed, table = list(text), list(curves)
        target = changed if rng.random() < 0.6 else table
        for _ in range(rng.randint(1, 4)):
            place = rng.randrange(len(target))
            kind = rng.random()
            if kind < 0.4:
                target[place] = chr(rng.choice([34, 44, 46, 59, 10, 48, 57, 45, 91, 93, 61, 32, 0x3BB, 101]))
            elif kind < 0.7:
                del target[place : place + rng.randint(1, 30)]
            else:
                target[place:place] = target[rng.randrange(len(target)) :][: rng.randint(1, 40)]
        (tmp_path / "scenario.toml").write_text("".join(changed), encoding="utf-8")
        (tmp_path / "rotor_curves.csv").write_text("".join(table), encoding="utf-8")
        try:
            load(tmp_path / "scenario.toml")
        except InputError as error:
            told_lines += str(error).splitlines()
        else:
            read += 1
    assert all(line.strip() for line in told_lines)
    assert 20 < read < 0.9 * files


def test_a_pitch_that_the_curves_do_not_know_is_told(van_folder: Path) -> None:
    """Curves of one pitch give the same whatever rotor.pitch says: a builder who turns his blades has to hear it."""
    table = "tip_speed_ratio,power_coefficient{}\n" + "".join(
        f"{ratio},{power}{{}}\n" for ratio, power in ((0, 0), (2, 0.1), (5, 0.3), (8, 0))
    )
    for column, cell, told in (("", "", True), (",pitch_deg", ",4", False), (",pitch_deg", ",3", True)):
        (van_folder / "rotor_curves.csv").write_text(table.format(column, *[cell] * 4), encoding="utf-8")
        scenario = load(van_folder / "scenario.toml")  # its pitch is 4 degrees
        said = " ".join(scenario.warnings)
        assert ("the pitch of 4 deg (rotor.pitch) has no effect" in said) == told
    assert load(van_folder.parent / "van" / "scenario.toml", ["rotor.pitch=3 deg"]).warnings == ()


def test_only_the_chain_opens_what_is_to_be_answered() -> None:
    """Whoever read a scenario past energy/chain/load.py would answer with ranges that its stalled rotor does not
    deserve.
    """
    folder = Path(energy.__file__).parent
    users = {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*.py")
        if re.search(r"\bread_(scenario|bundle)\b", path.read_text(encoding="utf-8"))
    }
    assert users == {"scenario/read.py", "scenario/bundle.py", "chain/load.py"}
