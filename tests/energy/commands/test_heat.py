"""`windtoll heat` and `windtoll fit load` as a user meets them, run in a process of their own."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests_support import run

from energy.chain.load import load


@pytest.fixture(scope="module")
def van_folder_(demos: Path) -> Path:
    return demos / "van_water_tank"


def flat(text: str) -> str:
    return " ".join(text.split())


def test_heat_reads_from_answer_to_cautions(van_folder_: Path, tmp_path: Path) -> None:
    picture = tmp_path / "warm.png"
    result = run("heat", str(van_folder_ / "scenario.toml"), "--picture", str(picture))
    assert result.returncode == 0, result.stderr
    places = [
        result.stdout.index(word)
        for word in ("Heat into the tank", "Numbers", "time (min)", "Defaults used", "Cautions")
    ]
    assert places == sorted(places)
    assert "60.0 °C in 58 min (90 % range 41 to 88 min)" in flat(result.stdout)
    assert "energy label" in flat(result.stdout)
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_heat_as_json_has_the_promised_keys(van_folder_: Path) -> None:
    data = json.loads(run("heat", str(van_folder_ / "scenario.toml"), "--json").stdout)
    promised = {
        "reachable",
        "time_to_target_s",
        "highest_temperature_degc",
        "holding_power_w",
        "energy_to_target_kwh",
        "fuel_to_target_l",
    }
    assert promised <= set(data)
    assert data["reachable"] is True
    low, high = (data["time_to_target_s_interval"][end] for end in ("low", "high"))
    assert data["time_to_target_s_interval"]["level"] == 0.9
    assert low < data["time_to_target_s"] < high
    assert len(data["history"]["time_s"]) == len(data["history"]["temperature_degc"]["estimate"])


def test_heat_over_a_trip_shows_both(van_folder_: Path, tmp_path: Path) -> None:
    arguments = ["heat", str(van_folder_ / "scenario.toml"), "--trip", str(van_folder_ / "trip.csv"), "--units", "us"]
    result = run(*arguments, "--picture", str(tmp_path / "trip.svg"))
    assert result.returncode == 0, result.stderr
    assert "140 °F is unlikely to be reached in that time (11 %)" in flat(result.stdout)
    assert "For comparison, a steady cruise" in result.stdout
    assert "temperature (°F)" in result.stdout
    drawn = (tmp_path / "trip.svg").read_text(encoding="utf-8")
    assert "steady cruise" in drawn
    assert "target 140 °F" in drawn
    data = json.loads(run(*arguments, "--json").stdout)
    assert data["mode"] == "trip"
    assert data["reached"] is False
    assert data["steady_cruise"]["reached"] is True


def test_heat_says_what_is_wrong(van_folder_: Path, tmp_path: Path) -> None:
    scenario = str(van_folder_ / "scenario.toml")
    for extra, words in (
        (["--set", "load.target_temperature=60"], "no unit"),
        (["--trip", str(tmp_path / "none.csv")], "no such file"),
        (["--trip", "a.csv", "--power", "b.csv"], "given together with --trip"),
        (["--repeat", "2"], "without --trip"),
        (["--picture", str(tmp_path / "warm.gif")], ".svg, .png, .html"),
    ):
        result = run("heat", scenario, *extra)
        assert result.returncode == 2
        assert result.stdout == ""
        assert words in result.stderr
    errors = json.loads(run("heat", scenario, "--set", "load.loss=-1 W/K", "--json").stderr)["errors"]
    assert errors[0]["key"] == "load.loss"


def test_fit_recovers_the_demo_log_and_its_table_is_read_by_a_scenario(van_folder_: Path, tmp_path: Path) -> None:
    part, picture = tmp_path / "part.toml", tmp_path / "fit.svg"
    log = str(van_folder_ / "warm_up_log.csv")
    result = run("fit", "load", log, "--out", str(part), "--picture", str(picture))
    assert result.returncode == 0, result.stderr
    assert "Heat capacity" in result.stdout
    assert "logged − fitted" in picture.read_text(encoding="utf-8")
    data = json.loads(run("fit", "load", log, "--json").stdout)
    assert data["heat_capacity_j_k"]["low"] < 131e3 < data["heat_capacity_j_k"]["high"]  # what the log was made with
    assert data["loss_w_k"]["low"] < 1.6 < data["loss_w_k"]["high"]
    assert data["separable"] is True
    scenario = (van_folder_ / "scenario.toml").read_text(encoding="utf-8")
    assert part.read_text(encoding="utf-8").count("[load]") == 1
    mine = tmp_path / "scenario.toml"
    fitted = part.read_text(encoding="utf-8").partition("[load]")[2]
    mine.write_text(scenario.replace("[load]", f"[load]{fitted}"), encoding="utf-8")
    (tmp_path / "rotor_curves.csv").write_bytes((van_folder_ / "rotor_curves.csv").read_bytes())
    table = load(mine).load
    assert table.loss is not None
    assert table.loss.value == pytest.approx(data["loss_w_k"]["estimate"], rel=1e-3)
    assert table.loss.shape == "normal"
    again = run("fit", "load", log, "--out", str(part))
    assert again.returncode == 2
    assert "already" in again.stderr


def test_fit_says_what_a_log_cannot_tell(van_folder_: Path, tmp_path: Path) -> None:
    log, part = tmp_path / "warm.csv", tmp_path / "part.toml"
    rows = (van_folder_ / "warm_up_log.csv").read_text(encoding="utf-8").splitlines()
    log.write_text("\n".join(rows[:45]), encoding="utf-8")  # the warm-up alone
    result = run("fit", "load", str(log))
    assert result.returncode == 0, result.stderr
    assert "cannot separate loss from capacity: let it cool down too" in flat(result.stdout)
    log.write_text("time_s,temperature_degc,power_w\n" + "".join(f"{60 * k},{60 - k},0\n" for k in range(30)))
    cool = run("fit", "load", str(log), "--ambient", "59 degF", "--out", str(part))
    assert cool.returncode == 2
    assert "hold no power" in cool.stderr
    assert not part.exists()
    without = run("fit", "load", str(log))
    assert without.returncode == 2
    assert "ambient_degc: missing" in without.stderr
    unit = run("fit", "load", str(log), "--ambient", "59")
    assert "--ambient: '59' has no unit" in unit.stderr
