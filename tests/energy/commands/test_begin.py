"""`windtoll begin`: what it writes is what the app's form makes, and is answered as it says."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests_support import run

from energy.chain import begin as beginning
from energy.chain.matching import thriftiest
from energy.scenario import bundle as bundles


def test_what_is_written_is_answered_as_told(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    options = (
        "--vehicle",
        "van",
        "--fuel",
        "diesel",
        "--diameter",
        "50 in",
        "--place",
        "on_roof",
        "--title",
        "Ours",
    )
    told = run("begin", str(folder), *options, "--json")
    assert told.returncode == 0, told.stderr
    found = json.loads(told.stdout)
    assert found["verdict"] == "costs"
    expected = beginning.begin(
        beginning.Beginning(vehicle="van", fuel="diesel", diameter="50 in", place="on_roof", title="Ours"),
        thriftiest,
    )
    assert bundles.from_folder(folder / "scenario.toml") == expected
    answered = run("answer", found["written"][0], "--json")
    assert json.loads(answered.stdout)["sentence"] == found["sentence"]
    again = run("begin", str(folder))
    assert again.returncode == 2
    assert "is there and not empty" in again.stderr


def test_watts_of_ones_own_and_words(tmp_path: Path) -> None:
    watts = tmp_path / "watts.csv"
    watts.write_text("air_speed_km_h,electrical_power_w\n40,120\n80,700\n120,1500\n")
    told = run("begin", str(tmp_path / "mine"), "--watts", str(watts), "--units", "us")
    assert told.returncode == 0, told.stderr
    assert "mph" in told.stdout
    assert (tmp_path / "mine" / "measured_power.csv").read_bytes() == watts.read_bytes()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--diameter", "5"), "rotor.diameter: '5' has no unit"),
        (("--watts", "nope.csv"), "nope.csv: cannot be read"),
        (("--watts", "a.csv", "--curves", "b.csv"), "one of them"),
        (("--mass", "0 kg"), "vehicle.mass"),
        (("--ratio", "x"), "drive.ratio"),
        (("--fuel", "battery", "--displacement", "2 L"), "--displacement: 2 L, given together with --fuel battery"),
        (("--fuel", "battery", "--engine-speed", "2000 rpm"), "--engine-speed: 2000 rpm, given together with"),
        (("--watts", "a.csv", "--ratio", "3"), "--ratio: 3, given together with --watts; accepted: one of them"),
    ],
)
def test_faults_write_nothing(tmp_path: Path, options: tuple[str, ...], words: str) -> None:
    told = run("begin", str(tmp_path / "mine"), *options)
    assert told.returncode == 2
    assert words in told.stderr
    assert not (tmp_path / "mine").exists()
