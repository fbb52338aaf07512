"""No output of any command takes the place of a file that its run reads, or of one that is not windtoll's.

The outputs are listed by the command line itself: one that is not tried here fails the first test.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from tests_support import run

from energy.cli import group

POSIX = pytest.mark.skipif(os.name != "posix", reason="links and pipes of POSIX")
SCENARIO, MANIFEST = "scenario.toml", "runs.toml"
LOG = "2026-05-02_081000_working.csv"
OF_SCENARIO = (SCENARIO, "rotor_curves.csv", "map.csv")
OF_RUNS = (MANIFEST, LOG, "torque.csv")

# (command, option): what stands before it on the command line, the ending of a file that it takes, the files read.
OUTPUTS: dict[tuple[str, str], tuple[tuple[str, ...], str, tuple[str, ...]]] = {
    ("answer", "--report"): (("answer", SCENARIO, "--exact"), ".html", OF_SCENARIO),
    ("payback", "--picture"): (("payback", SCENARIO, "--exact"), ".svg", OF_SCENARIO),
    ("shortfall", "--picture"): (("shortfall", SCENARIO, "measured.csv"), ".svg", (*OF_SCENARIO, "measured.csv")),
    ("curves", "--out"): (("curves", SCENARIO, "--picture", "other.svg"), ".csv", OF_SCENARIO),
    ("curves", "--picture"): (("curves", SCENARIO), ".svg", OF_SCENARIO),
    ("loads", "--picture"): (("loads", SCENARIO), ".svg", OF_SCENARIO),
    ("callsheet", "--out"): (("callsheet", SCENARIO), ".html", OF_SCENARIO),
    ("heat", "--picture"): (("heat", SCENARIO, "--trip", "trip.csv"), ".svg", (*OF_SCENARIO, "trip.csv")),
    ("plan", "--sheet"): (
        ("plan", SCENARIO, "--effect", "4 %", "--runs", MANIFEST),
        ".html",
        (*OF_SCENARIO, *OF_RUNS),
    ),
    ("plan", "--call-sheet"): (("plan", "--effect", "4 %", "--runs", MANIFEST), ".html", OF_RUNS),
    ("join", "--out"): (("join", LOG, "measured.csv"), ".csv", (LOG, "measured.csv")),
    ("read", "--out"): (("read", "trip.csv", "--manifest", MANIFEST), ".csv", ("trip.csv", MANIFEST)),
    ("compare", "--report"): (
        ("compare", MANIFEST, "--scenario", SCENARIO, "--torque-curve", "torque.csv"),
        ".html",
        (*OF_RUNS, *OF_SCENARIO),
    ),
    ("compare", "--runs-out"): (
        ("compare", "calls.csv", "--log", LOG, "--scenario", SCENARIO),
        ".toml",
        ("calls.csv", LOG, *OF_SCENARIO),
    ),
    ("fit load", "--picture"): (("fit", "load", "warm_up_log.csv"), ".svg", ("warm_up_log.csv",)),
    ("fit load", "--out"): (("fit", "load", "warm_up_log.csv"), ".toml", ("warm_up_log.csv",)),
    ("evidence", "--picture"): (("evidence",), ".svg", ()),
}
FOLDERS = {("begin", "folder"), ("example", "folder"), ("record", "--out")}
CALLS = """\
# Call sheet of a passenger: a road
time_s,time_utc,run,state,pair,direction,electrical_power_w,gust_km_h,air_temperature_degc,peak_power_w,event,note
0.000,2026-05-02T08:00:00.000Z,1,working,1,out,,,,,run 1 begins,
260.000,2026-05-02T08:04:20.000Z,1,working,1,out,,,,,run 1 ends,
400.000,2026-05-02T08:06:40.000Z,2,stowed,1,back,,,,,run 2 begins,
700.000,2026-05-02T08:11:40.000Z,2,stowed,1,back,,,,,run 2 ends,
"""
INPUTS = {
    "scenario",
    "results",
    "readings",
    "measured",
    "sweep",
    "first",
    "second",
    "logs",
    "manifest",
    "--stations",
    "--watts",
    "--curves",
    "--spin-up-log",
    "--trip",
    "--power",
    "--runs",
    "--manifest",
    "--log",
    "--scenario",
    "--torque-curve",
}


def _paths(command: click.Command, name: str = "") -> Iterator[tuple[str, str]]:
    """Yield (command, option) of everything on the command line that is a path."""
    if isinstance(command, click.Group):
        context = click.Context(command)
        for part in command.list_commands(context):
            inner = command.get_command(context, part)
            assert inner is not None
            yield from _paths(inner, f"{name} {part}".strip())
    for parameter in command.params:
        if isinstance(parameter.type, click.Path):
            yield name, parameter.opts[0]


def test_every_path_of_the_command_line_is_an_output_tried_here_or_an_input() -> None:
    there = set(_paths(group()))
    assert {path for path in there if path[1] not in INPUTS} == set(OUTPUTS) | FOLDERS


@pytest.fixture
def folder(demos: Path, van_folder: Path) -> Path:
    """A folder of inputs: a scenario that names two files, a list of runs that names logs and a curve, measurements."""
    shutil.copytree(demos / "road_test", van_folder, dirs_exist_ok=True)
    (van_folder / "map.csv").write_text("engine_speed_rpm,torque_nm\n1000,150\n4000,150\n")
    shutil.copy(van_folder / "map.csv", van_folder / "torque.csv")
    scenario = van_folder / SCENARIO
    scenario.write_text(scenario.read_text().replace('peak_torque = "340 N*m"', 'torque_curve = "map.csv"'))
    runs = van_folder / MANIFEST
    runs.write_text(runs.read_text().replace("[engine]", '[engine]\ntorque_curve = "torque.csv"'))
    (van_folder / "calls.csv").write_text(CALLS)
    return van_folder


def _bytes(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@POSIX
@pytest.mark.parametrize("output", OUTPUTS, ids=" ".join)
def test_no_output_replaces_what_its_run_reads(folder: Path, output: tuple[str, str]) -> None:
    """Not even by --force, and not through a link whose name has the ending that is asked for."""
    arguments, ending, read = OUTPUTS[output]
    for name in read:
        link = folder / f"link{ending}"
        link.symlink_to(folder / name)
        before = _bytes(folder)
        done = run(*arguments, output[1], link.name, "--force", cwd=folder)
        assert (done.returncode, "is an input of this run" in done.stderr) == (2, True), (name, done.stderr)
        assert _bytes(folder) == before
        link.unlink()


@POSIX
@pytest.mark.parametrize("output", OUTPUTS, ids=" ".join)
def test_no_output_replaces_what_is_not_windtolls(folder: Path, output: tuple[str, str]) -> None:
    """A file of somebody else's, a folder, a pipe: before anything is computed, and nothing else is written."""
    arguments, ending, _ = OUTPUTS[output]
    (folder / f"notes{ending}").write_text("my notes")
    (folder / f"inner{ending}").mkdir()
    os.mkfifo(folder / f"pipe{ending}")
    for name, word in (
        ("notes", "exists already"),
        ("inner", "a (folder|directory)"),
        ("pipe", "is a device, pipe or socket"),
    ):
        before = _bytes(folder)
        done = run(*arguments, output[1], f"{name}{ending}", cwd=folder)
        assert (done.returncode, bool(re.search(word, done.stderr))) == (2, True), (name, done.stderr)
        assert _bytes(folder) == before


@pytest.mark.parametrize(
    "arguments",
    [
        ("curves", SCENARIO, "--out", "x.svg"),
        ("plan", "--effect", "4 %", "--sheet", "x.html", "--call-sheet", "./x.html"),
        ("compare", "calls.csv", "--log", LOG, "--runs-out", "x.html", "--report", "x.html"),
        ("fit", "load", "warm_up_log.csv", "--out", "x.svg", "--picture", "../van/x.svg"),
    ],
    ids=lambda arguments: arguments[0],
)
def test_two_outputs_are_two_files(folder: Path, arguments: tuple[str, ...]) -> None:
    before = _bytes(folder)
    done = run(*arguments, "--force", cwd=folder)
    assert (done.returncode, "the same file as" in done.stderr) == (2, True), done.stderr
    assert _bytes(folder) == before
