"""What takes long tells how far it is: rising from 0 to 1, and without any number depending on it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests_support import run

from energy.chain import answer, matching
from energy.chain.answer import answered
from energy.chain.draws import spread_of
from energy.chain.heating import Trip, heating
from energy.chain.load import load
from energy.chain.matching import match
from energy.chain.payback import payback
from energy.diagnosis.examples import results_example
from energy.diagnosis.reconcile import read_results, reconciled
from energy.diagnosis.true_pitch import true_pitch_of_file
from energy.diagnosis.tuning import tuned_of_file
from energy.progress import Progress, part, tell
from energy.scenario.read import Scenario
from energy.uncertainty.propagate import Sampling


def _alike(one: Any, other: Any) -> bool:
    """Return whether two results hold exactly the same numbers, to the last bit."""
    if is_dataclass(one) and not isinstance(one, type):
        return type(one) is type(other) and all(
            _alike(getattr(one, f.name), getattr(other, f.name)) for f in fields(one)
        )
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    if isinstance(one, dict):
        return list(one) == list(other) and all(_alike(value, other[key]) for key, value in one.items())
    if isinstance(one, (tuple, list)):
        return len(one) == len(other) and all(map(_alike, one, other))
    return bool(one == other) or (one != one and other != other)  # NaN is not itself


def _told(compute: Callable[[Progress | None], Any], least: int) -> None:
    """Check that a computation tells its share done at least so often, rising to 1, and finds the same as in
    silence.
    """
    shares: list[float] = []
    heard = compute(shares.append)
    assert len(shares) >= least
    assert all(0 <= share <= 1 for share in shares)
    assert shares == sorted(shares)
    assert shares[-1] == 1
    assert _alike(heard, compute(None))


@pytest.fixture(scope="module")
def town(demos: Path) -> Scenario:
    return load(demos / "van_in_town" / "scenario.toml")


def test_parts_join_to_a_whole() -> None:
    shares: list[float] = []
    first, second = part(shares.append, 0.0, 0.25), part(shares.append, 0.25, 1.0)
    for told in (first, second):
        for share in (0.0, 0.5, 1.0):
            tell(told, share)
    assert shares == [0.0, 0.125, 0.25, 0.25, 0.625, 1.0]
    assert part(None, 0.0, 1.0) is None
    tell(None, 0.5)  # nobody listens


def test_the_answer_of_a_steady_drive(van: Scenario) -> None:
    _told(lambda told: answered(van, progress=told), 5)
    _told(lambda told: answered(van, exact=True, progress=told), 1)
    _told(lambda told: spread_of(van, sampling=Sampling(with_sensitivity=False), progress=told), 1)


def test_the_answer_of_a_trip_tells_it_block_by_block(town: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(answer, "OVER_A_TRIP", Sampling(draws=256, sensitivity_rows=64))
    _told(lambda told: answered(town, progress=told), 40)


def test_where_it_pays(van: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("energy.chain.payback._DRAWS", 16)
    _told(lambda told: payback(van, progress=told), 6)
    _told(lambda told: payback(van, exact=True, progress=told), 5)


def test_the_best_setting(van: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(matching, "_STEADY", matching._Effort((7, 9, 11), 7, 5))
    _told(lambda told: match(van, progress=told), 6)


@pytest.mark.parametrize("name", ["van_water_tank", "camper_oven", "pickup_drying_box"])
def test_how_it_warms(demos: Path, name: str) -> None:
    scenario = load(demos / name / "scenario.toml")
    _told(lambda told: heating(scenario, draws=64, progress=told), 50)
    speeds = np.tile([25.0, 20.0, 0.0, 15.0], 60)
    trip = Trip("there.csv", np.full(speeds.size, 15.0), speeds, None, None, None, repeats=2)
    _told(lambda told: heating(scenario, trip, draws=64, progress=told), 50)


def test_nothing_uncertain_is_done_at_once(van: Scenario) -> None:
    from energy.scenario.inputs import ranges_of
    from energy.uncertainty.draws import replaced

    exact = {key: replaced(value, value.value, 0.0) for key, value in ranges_of(van).items()}
    shares: list[float] = []
    assert spread_of(van, known=exact, progress=shares.append) is None
    assert shares == [1.0]


@pytest.mark.parametrize("name", ["pitch", "sweep", "readings"])
def test_what_is_made_of_measurements(demos: Path, tmp_path: Path, name: str) -> None:
    van = demos / "van_water_tank"
    scenario = load(van / "scenario.toml")
    shares: list[float] = []
    if name == "pitch":
        true_pitch_of_file(scenario, van / "measured.csv", shares.append)
    elif name == "sweep":
        tuned_of_file(scenario, van / "sweep.csv", shares.append)
    else:
        (tmp_path / "results.toml").write_text(results_example(scenario))
        reconciled(scenario, read_results(tmp_path / "results.toml"), shares.append)
    assert shares == sorted(shares)
    assert shares[0] >= 0
    assert shares[-1] == 1
    assert len(shares) > 2


def _at_a_terminal(written: Path, *arguments: str) -> str:
    """Run a command with stdout into a file; return what it writes to a terminal as its stderr.

    Whether it takes so long that a bar is shown does not hang on the machine: no patience.
    """
    import pty

    ours, theirs = pty.openpty()
    start = "from energy import progress; progress.PATIENCE_S = 0.0; from energy.cli import main; main()"
    command = [sys.executable, "-c", start, *arguments]
    seen = b""
    with written.open("wb") as out:
        process = subprocess.Popen(command, stdout=out, stderr=theirs, env={**os.environ, "TERM": "xterm"})
    os.close(theirs)
    try:
        while some := os.read(ours, 4096):
            seen += some
    except OSError:  # Linux says so where the other end is closed
        pass
    os.close(ours)
    assert process.wait(600) == 0, seen
    return seen.decode()


def test_a_command_shows_a_bar_on_a_terminal_only(demos: Path, tmp_path: Path) -> None:
    arguments = ("payback", str(demos / "van_water_tank" / "scenario.toml"), "--exact", "--json")
    seen = _at_a_terminal(tmp_path / "out.json", *arguments)
    assert "Trying winds, descents and speeds" in seen
    assert seen.endswith("\x1b[2K")  # and wipes it
    piped = run(*arguments)
    assert piped.stderr == ""
    assert piped.stdout == (tmp_path / "out.json").read_text(encoding="utf-8")
