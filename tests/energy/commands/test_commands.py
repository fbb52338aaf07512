"""The command line as a user meets it: in this process, and that a process of its own says the same."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from tests_support import run, run_alone

from energy.cli import COMMANDS


@pytest.fixture(scope="module")
def van_file(demos: Path) -> str:
    return str(demos / "van_water_tank" / "scenario.toml")


def test_help_of_everything() -> None:
    top = run("--help")
    assert top.returncode == 0
    for name in COMMANDS:
        assert f"\n  {name}" in top.stdout
        page = run(name, "--help")
        assert page.returncode == 0
        assert "Usage: " in page.stdout
    assert run("--version").stdout.startswith("windtoll, version")


@pytest.mark.parametrize(
    "arguments",
    [
        ("--version",),
        ("heat", "--help"),
        ("answer", "VAN", "--full", "--units", "us"),
        ("answer", "VAN", "--set", "air.wind_speed=50 m/s", "--json"),
        ("answer", "none.toml", "--json"),
        ("answer", "VAN", "--units", "metrisch"),
        ("anwser", "VAN"),
        ("check", "VAN", "--set", "rotor.diameter=0 m"),
        ("example", "mine"),
    ],
    ids=" ".join,
)
def test_a_process_of_its_own_says_the_same_to_the_last_byte(
    van_file: str, tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    """What the other tests ask in this process (`run`) is what a user gets who starts the command."""
    asked = [van_file if argument == "VAN" else argument for argument in arguments]
    said = []
    for how in (run, run_alone):
        folder = tmp_path / how.__name__
        folder.mkdir()
        done = how(*asked, cwd=folder, COLUMNS="90")
        files = {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
        said.append((done.returncode, done.stdout, done.stderr, files))
    assert said[0] == said[1]
    assert said[0][1] or said[0][2]


def test_the_answer_reads_from_verdict_to_cautions(van_file: str) -> None:
    result = run("answer", van_file, "--full")
    assert result.returncode == 0
    assert result.stderr == ""
    places = [
        result.stdout.index(word)
        for word in ("Costs fuel", "May it be operated", "Numbers", "Ledger", "elsewhere", "Defaults used", "Cautions")
    ]
    assert places == sorted(places)
    assert "licensed electrician" in result.stdout.replace("\n", " ").replace("  ", " ")


def test_json_has_the_promised_keys_and_the_same_numbers(van_file: str) -> None:
    data = json.loads(run("answer", van_file, "--json").stdout)
    assert data["verdict"] == "costs"
    assert set(data["fuel_change"]) >= {"l_per_h", "l_per_100km", "percent"}
    assert set(data["rotor"]) >= {
        "speed_rpm",
        "tip_speed_ratio",
        "power_coefficient",
        "thrust_coefficient",
        "thrust_n",
        "shaft_power_w",
    }
    assert all(set(row) >= {"name", "watts"} for row in data["ledger"])
    assert sum(row["watts"] for row in data["ledger"]) == pytest.approx(data["ledger_residual_w"], abs=1e-6)
    assert {"electrical_power_w", "heat_power_w", "assumptions", "cautions"} <= set(data)
    median = data["interval"]["fuel_change_l_per_h"]["estimate"]
    assert f"Costs fuel: +{median:.1f} L/h" in run("answer", van_file, "--brief").stdout


def test_units_and_overrides(van_file: str) -> None:
    us = run("answer", van_file, "--brief", "--units", "us", "--set", "trip.road_speed=65 mph").stdout
    assert "65.0 mph, still air" in us
    assert "US gal/h" in us
    assert "mpg" in us
    uk = run("answer", van_file, "--brief", "--units", "uk").stdout
    assert "62.1 mph, still air" in uk
    assert "L/h" in uk


def test_bad_input_is_told_on_standard_error_with_status_2(van_file: str, tmp_path: Path) -> None:
    result = run("answer", van_file, "--set", "trip.road_speed=3 kg")
    assert result.returncode == 2
    assert result.stdout == ""
    assert "--set: trip.road_speed" in result.stderr
    as_json = run("answer", str(tmp_path / "none.toml"), "--json")
    assert as_json.returncode == 2
    assert json.loads(as_json.stderr)["errors"][0]["read"] == "no such file"
    usage = run("answer", van_file, "--units", "metrisch", "--json")
    assert usage.returncode == 2
    assert json.loads(usage.stderr)["errors"]
    typo = run("anwser", van_file)
    assert typo.returncode == 2
    assert "Do you mean answer?" in typo.stderr


def test_check(van_file: str) -> None:
    assert run("check", van_file).returncode == 0
    assert json.loads(run("check", van_file, "--json").stdout)["valid"] is True
    assert run("check", van_file, "--set", "rotor.diameter=0 m").returncode == 2


def test_keys() -> None:
    assert "[rotor]" in run("keys").stdout
    one = json.loads(run("keys", "engine", "--json").stdout)["engine"]
    assert {row["key"] for row in one if row["required"]} == {"fuel", "displacement"}
    wrong = run("keys", "motor")
    assert wrong.returncode == 2
    assert "nearest: rotor" in wrong.stderr


def test_match(van_file: str) -> None:
    text = run("match", van_file)
    assert text.returncode == 0
    assert "Maximum heat within the stated limits: " in text.stdout
    data = json.loads(run("match", van_file, "--json", "--hold", "ratio").stdout)
    assert data["best"]["ratio"] == 2.5
    assert data["best"]["heat_power_w"] >= data["own"]["heat_power_w"]


def test_example_copies_and_never_overwrites(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    assert run("example", str(folder)).returncode == 0
    scenario = folder / "van_water_tank" / "scenario.toml"
    assert run("answer", str(scenario), "--brief").returncode == 0
    scenario.write_text("# mine\n", encoding="utf-8")
    again = run("example", str(folder))
    assert again.returncode == 2
    assert "already holds" in again.stderr
    assert scenario.read_text(encoding="utf-8") == "# mine\n"


def test_a_cold_answer_imports_nothing_heavy(van_file: str) -> None:
    program = (
        "import sys; van = sys.argv[1]\n"
        "from energy.cli import main\n"
        "for how in ('--exact', '--brief'):\n"
        "    sys.argv = ['windtoll', 'answer', van, how]\n"
        "    try:\n        main()\n    except SystemExit:\n        pass\n"
        "    print('imported', *[m for m in ('streamlit', 'obd', 'statsmodels', 'pandas', 'scipy', 'altair')"
        " if m in sys.modules])"
    )
    result = subprocess.run(
        [sys.executable, "-c", program, van_file], capture_output=True, text=True, encoding="utf-8", check=True
    )
    exact, drawn = (line.split()[1:] for line in result.stdout.splitlines() if line.startswith("imported"))
    assert exact == []
    assert set(drawn) <= {"scipy"}


def test_a_console_without_greek_letters_does_not_fail(van_file: str) -> None:
    assert run("answer", van_file, encoding="ascii").returncode == 0
