"""`windtoll read`, `compare`, `plan` and `fit coastdown` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner

from energy.commands import compare, fit, plan, read
from energy.words.schema import schema_of
from vehicle.problems import InputError

LOGS = Path(__file__).parents[2] / "data" / "obd_logs"


def run(command, *arguments: object) -> str:
    result = CliRunner().invoke(command, [str(argument) for argument in arguments])
    if isinstance(result.exception, InputError):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def write_test(folder: Path, *, pairs: int = 6, drag: float = 1.04, seed: int = 0) -> Path:
    """Write a simulated with/without test: hills, wind, both directions; working runs burn `drag` times the fuel."""
    draw = np.random.default_rng(seed)
    lines = ['[engine]\ndisplacement = "1.6 L"\nfuel = "petrol"\n']
    for pair in range(pairs):
        way = 1 if pair % 2 else -1
        states = ["working", "stowed"] if draw.random() < 0.5 else ["stowed", "working"]
        for place, state in enumerate(states):
            t = np.arange(0, 420)
            speed = 90 + 4 * np.sin(t / 30 + draw.uniform(0, 6)) + draw.normal(0, 0.5)
            v = speed / 3.6
            hill = way * 0.012 * np.sin(t / 50)
            power = (160 + 0.45 * (v + way * 1.5) ** 2 + 1400 * 9.81 * hill + 1400 * np.gradient(v)) * v
            fuel = (
                np.maximum(power * 0.264 / 3.6e6 * 3600 + 1.1, 0)
                * (1 + draw.normal(0, 0.008))
                * (drag if state == "working" else 1)
            )
            name = f"run_{pair}_{place}.csv"
            rows = (
                f"{a},{b:.0f},{30 * b:.0f},{c:.2f},{88},{d:.4f}"
                for a, b, c, d in zip(t, speed, fuel, hill * 100, strict=True)
            )
            (folder / name).write_text(
                "time (s),speed (km/h),rpm,fuel rate (L/h),coolant (degC),grade (%)\n" + "\n".join(rows)
            )
            lines.append(
                f'[[run]]\nfile = "{name}"\nstate = "{state}"\npair = {pair}\n'
                f'direction = "{"out" if way > 0 else "back"}"\n'
            )
    path = folder / "runs.toml"
    path.write_text("".join(lines))
    return path


def test_read_json_has_the_promised_keys():
    data = json.loads(run(read.command, LOGS / "idle1.csv", "--displacement", "1.496 L", "--json"))
    assert {"rows", "duration_s", "distance_km", "columns", "repairs", "fuel"} <= set(data)
    assert set(data["repairs"][0]) == {"what", "count"}
    assert {"source", "litres", "mean_l_per_h"} <= set(data["fuel"])
    assert 0.4 < data["fuel"]["mean_l_per_h"] < 1.1
    assert data["rows"] == 1213


def test_read_without_displacement_and_in_words(tmp_path):
    data = json.loads(run(read.command, LOGS / "drive1.csv", "--json"))
    assert data["fuel"]["litres"] is None
    text = run(read.command, LOGS / "drive1.csv", "--displacement", "1.496 L", "--out", tmp_path / "tidy.csv")
    for part in ("2709 rows", "6.60 km", "L/100 km", "Repairs", "spread evenly", "ENGINE_RUN_TINE"):
        assert part in text
    assert (tmp_path / "tidy.csv").read_text().startswith("time_s,step_s,speed_m_s")
    again = json.loads(run(read.command, tmp_path / "tidy.csv", "--displacement", "1.496 L", "--json"))
    first = json.loads(run(read.command, LOGS / "drive1.csv", "--displacement", "1.496 L", "--json"))
    assert again["distance_km"] == pytest.approx(first["distance_km"], rel=1e-3)
    assert again["statistics"]["short_term_trim_1"] == pytest.approx(first["statistics"]["short_term_trim_1"])


@pytest.mark.parametrize(
    ("system", "gallon_l", "economy", "flow"),
    [
        ("us", 3.785411784, "mpg", "US gal/h"),
        ("uk", 4.54609, "imperial mpg", "L/h"),
    ],
)
def test_read_in_the_units_of_the_driver(system: str, gallon_l: float, economy: str, flow: str) -> None:
    """Against the metric numbers, by the definitions of mile (1609.344 m) and gallon."""
    data = json.loads(run(read.command, LOGS / "live1.csv", "--displacement", "1.496 L", "--json"))
    text = run(read.command, LOGS / "live1.csv", "--displacement", "1.496 L", "--units", system)
    miles = data["distance_km"] / 1.609344
    mpg = gallon_l / data["fuel"]["l_per_100km"] * 100 / 1.609344
    mean = data["fuel"]["mean_l_per_h"] / (gallon_l if system == "us" else 1)
    top = data["statistics"]["speed_m_s"]["maximum"] * 3600 / 1609.344
    for part in (f", {miles:.2f} mi", f"{mpg:.1f} {economy}", f"mean {mean:.2f} {flow}", f"{top:.1f}  mean"):
        assert part in text
    assert "km" not in "\n".join(line for line in text.splitlines() if "rows over" in line or "from speed" in line)
    warm = data["statistics"]["coolant_temperature_k"]["mean"] - 273.15
    assert (f"{32 + 1.8 * warm:9.2f} °F" if system == "us" else f"{warm:9.2f} °C") in text


def test_read_calibrates_to_a_receipt():
    data = json.loads(
        run(read.command, LOGS / "live1.csv", "--displacement", "1.496 L", "--receipt", "41 L / 540 km", "--json")
    )
    assert data["fuel"]["l_per_100km"] == pytest.approx(41 / 5.4)
    with pytest.raises(InputError, match="receipt"):
        run(read.command, LOGS / "live1.csv", "--displacement", "1.496 L", "--receipt", "41 L")


@pytest.mark.parametrize(
    "arguments",
    [
        ("--displacement", "1.6"),
        ("--displacement", "90 L"),
        ("--fuel", "deisel"),
        ("--volumetric-efficiency", "80"),
        ("--column", "speed"),
        ("--manifest", "none.toml"),
    ],
)
def test_read_refuses_in_words(arguments):
    with pytest.raises(InputError):
        run(read.command, LOGS / "idle1.csv", *arguments)


def test_compare_json_has_the_promised_keys(tmp_path):
    data = json.loads(run(compare.command, write_test(tmp_path), "--json", "--effect", "4 % +- 1 %"))
    for key in ("effect_percent", "effect_l_per_h"):
        assert set(data[key]) == {"estimate", "low", "high", "level"}
    assert data["conclusion"] == "costs"
    assert data["effect_percent"]["low"] < 4 < data["effect_percent"]["high"]
    assert data["pairs"] == 6
    assert isinstance(data["warnings"], list)
    assert "agrees" in data["agreement"]
    assert "grade" in data["adjusted_for"]


def test_compare_in_words(tmp_path):
    text = run(compare.command, write_test(tmp_path))
    for part in (
        "Costs fuel: +",
        "Runs: 6 working, 6 stowed, 6 complete pairs",
        "L/h",
        "randomisation test",
        "420 of 420 kept",
        "plain run means",
    ):
        assert part in text


def test_compare_refuses_one_run_of_each(tmp_path):
    data = json.loads(run(compare.command, write_test(tmp_path, pairs=1), "--json"))
    assert data["conclusion"] == "cannot tell"
    assert data["effect_percent"]["low"] is None


def test_compare_tells_all_faults_of_the_logs(tmp_path):
    path = write_test(tmp_path, pairs=2)
    (tmp_path / "run_0_0.csv").write_text("nothing")
    (tmp_path / "run_1_1.csv").write_text("")
    with pytest.raises(InputError) as caught:
        run(compare.command, path)
    assert len(caught.value.problems) == 2


def test_plan(tmp_path):
    data = json.loads(run(plan.command, "--effect", "4 %", "--spread", "4 %", "--seed", "1", "--json"))
    # a paired t-test would need 10 and 13; the spread counts 1.2 times, for the heavy tails of real runs
    assert data["pairs_for_80_percent_power"] == 14
    assert data["pairs_for_90_percent_power"] == 18
    assert len(data["order"]) == 28
    few = json.loads(run(plan.command, "--effect", "4 %", "--pairs", "4", "--few-changes", "--json"))
    assert (few["changes"], few["changes_in_the_other_order"]) == (2, 5)
    assert few["chance_percent"] < few["chance_in_the_other_order_percent"]
    assert {"state", "direction", "pair"} <= set(data["order"][0])
    sheet = tmp_path / "sheet.html"
    text = run(plan.command, "--effect", "4 %", "--sheet", sheet, "--speed", "90 km/h <b>")
    assert "passenger logs" in text
    assert "assumed" in text
    assert "&lt;b&gt;" in sheet.read_text()
    own = json.loads(run(plan.command, "--effect", "4 %", "--runs", write_test(tmp_path), "--json"))
    assert "runs.toml" in own["spread_from"]
    assert own["spread_percent"] < 4
    with pytest.raises(InputError):
        run(plan.command)
    with pytest.raises(InputError):
        run(plan.command, "--effect", "4")
    with pytest.raises(InputError):
        run(plan.command, "--effect", "0 %")


def test_fit_coastdown(tmp_path):
    rows, t = [], 0
    for number in range(8):
        sign, v = (1 if number % 2 == 0 else -1), 31.0 + 0.13 * number
        rows += [f"{t + i},{round(3.6 * v * i / 20)},2500" for i in range(21)]
        t += 21
        while v > 6:
            rows.append(f"{t},{round(3.6 * v)},800")
            v -= (150 + 1.5 * v + 0.45 * (v + sign) ** 2) / (1.03 * 1400)
            t += 1
        rows += [f"{t + i},{max(0, round(3.6 * v - 9 * i))},800" for i in range(5)]
        t += 5
    path = tmp_path / "coast.csv"
    path.write_text("time,speed,rpm\n" + "\n".join(rows) + "\n")
    data = json.loads(run(fit.command, "coastdown", path, "--mass", "1400 kg", "--json"))
    jsonschema.validate(data, schema_of("fit coastdown"))
    assert data["pairs"] == 4
    for key, truth in (("coastdown_a_n", 150), ("coastdown_b_n_s_m", 1.5), ("coastdown_c_n_s2_m2", 0.45)):
        assert data[key]["low"] - 0.1 * truth < truth < data[key]["high"] + 0.1 * truth
    assert abs(data["head_wind_m_s"]) == pytest.approx(1.0, abs=0.2)
    text = run(fit.command, "coastdown", path, "--mass", "1400 kg", "--directions", "+-+-+-+-")
    assert 'coastdown_a = { value = "' in text


def test_fit_coastdown_refuses_a_log_without_coast_downs():
    with pytest.raises(InputError, match="coast-downs"):
        run(fit.command, "coastdown", LOGS / "idle1.csv", "--mass", "1400 kg")
    with pytest.raises(InputError, match="mass"):
        run(fit.command, "coastdown", LOGS / "idle1.csv", "--mass", "1400")


def recorded(folder: Path, name: str, pressure_factor: float) -> None:
    """Write a log as the recorder does for a car that reports manifold pressure and no fuel."""
    from vehicle.recording.row_file import COLUMNS

    rows = [",".join(COLUMNS)]
    for number in range(240):
        cells = dict.fromkeys(COLUMNS, "") | {
            "time_s": f"{number / 2:.4f}",
            "time_utc": f"2026-05-03T10:{number // 120:02}:{number // 2 % 60:02}.000Z",
            "row_duration_s": "0.2",
            "vehicle_speed_km_h": f"{90 + number // 30 % 2}",
            "engine_speed_rpm": "2700",
            "intake_manifold_pressure_kpa": f"{(60 + number % 3) * pressure_factor:.0f}",
        }
        if number % 20 == 0:
            cells |= {"coolant_temperature_degc": "88", "intake_air_temperature_degc": "30"}
        if number == 100:
            cells = dict.fromkeys(COLUMNS, "") | {"time_s": cells["time_s"], "gap": "begin: the port is gone"}
        rows.append(",".join(cells[column] for column in COLUMNS))
    (folder / name).write_text("\n".join(rows) + "\n")


def test_a_recorded_car_without_a_fuel_rate_says_what_the_manifest_lacks(tmp_path):
    lines = []
    for pair in range(3):
        for state, factor in (("working", 1.1), ("stowed", 1.0)):
            recorded(tmp_path, f"{pair}_{state}.csv", factor * (1 + pair / 100))
            lines.append(f'[[run]]\nfile = "{pair}_{state}.csv"\nstate = "{state}"\npair = {pair}\n')
    manifest = tmp_path / "runs.toml"
    manifest.write_text("\n".join(lines))
    answer = json.loads(run(compare.command, manifest, "--json"))
    assert answer["conclusion"] == "costs"
    assert answer["effect_percent"]["estimate"] == pytest.approx(10, abs=1)
    assert answer["effect_l_per_h"] == {"estimate": None, "low": None, "high": None, "level": 0.95}
    said = " ".join(answer["warnings"])
    assert "displacement not given" in said
    assert '[engine] fuel = "diesel"' in said
    manifest.write_text('[engine]\nfuel = "petrol"\ndisplacement = "1.6 L"\n' + "\n".join(lines))
    answer = json.loads(run(compare.command, manifest, "--json"))
    assert answer["effect_l_per_h"]["low"] > 0
    assert not any("displacement" in text or "not named" in text for text in answer["warnings"])
    fuel = json.loads(run(read.command, tmp_path / "0_stowed.csv", "--json"))["fuel"]
    assert fuel["litres"] is None
    assert "displacement is not known" in " ".join(fuel["not_used_because"])


def test_settings_without_a_scenario_and_an_odd_number_of_pairs_are_told(tmp_path):
    manifest = write_test(tmp_path)
    for command, argument in ((compare.command, manifest), (plan.command, "--pairs=4")):
        with pytest.raises(InputError, match="no scenario to set it in"):
            run(command, argument, "--set", "trip.road_speed=90 km/h")
    assert "6 pairs are planned, not 5" in run(plan.command, "--pairs", "5")
    with pytest.raises(InputError, match="against; accepted: runs stowed and runs absent"):
        run(compare.command, manifest, "--state", "stowed")


def test_the_demo_study_compares():
    demo = Path(__file__).parents[3] / "scenarios" / "road_test" / "runs.toml"
    answer = json.loads(
        run(compare.command, demo, "--scenario", demo.parents[1] / "van_water_tank" / "scenario.toml", "--json")
    )
    assert answer["conclusion"] == "costs"
    assert answer["pairs"] == 6
    assert answer["warnings"] == []
    assert "agrees" in answer["agreement"]


def test_what_a_comparison_found_goes_into_reconcile_as_printed(tmp_path):
    from energy.commands import reconcile

    scenarios = Path(__file__).parents[3] / "scenarios"
    said = run(compare.command, scenarios / "road_test" / "runs.toml")
    results = tmp_path / "results.toml"
    results.write_text(said[said.index("[[result]]") :])
    assert 'what = "road test, 6 pairs"' in said
    answer = run(reconcile.command, scenarios / "van_water_tank" / "scenario.toml", results)
    assert "Readings and model agree" in answer


def test_a_header_that_no_log_has_is_told(tmp_path):
    manifest = write_test(tmp_path)
    manifest.write_text('[columns]\n"rpm" = "engine speed (rpm)"\n"Spd2" = "ignore"\n' + manifest.read_text())
    warnings = json.loads(run(compare.command, manifest, "--json"))["warnings"]
    assert [text for text in warnings if "columns" in text] == ['[columns] "Spd2" is no header of any log']
