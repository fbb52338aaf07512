"""A list of runs marked by hand: names matched, marks put over it, everything else kept."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from vehicle.problems import InputError
from vehicle.road_test.marks import (
    LEFT_OUT,
    Marks,
    burnt_fuel,
    columns_of,
    marked_by_order,
    marks_of,
    matched,
    on_battery,
    plain_names,
    says_engine,
    with_marks,
)
from vehicle.road_test.planning import driving_order
from vehicle.road_test.run_list import read_manifest

LIST = """# mine
[vehicle]
mass = "2300 kg"    # weighed
[engine]
fuel = "diesel"
volumetric_efficiency = 0.82
[[run]]
log = "logs/a.csv"
turbine = "on"
pair = 1
start = "10 s"
columns = { "Spd2" = "vehicle speed (km/h)", "X" = "ignore" }
[[run]]
file = 'C:\\\\logs\\\\b.csv'
state = "stowed"
block = 1
wind = "2 m/s"
wind_from = "west"
[[run]]
file = "c.csv"
state = "stowed"
exclude = true
"""


def test_what_a_list_says() -> None:
    first, second, third = marks_of(LIST)
    assert first == Marks("a.csv", "working", "1", part="from 10 s")
    assert second == Marks("b.csv", "stowed", "1", wind="2 m/s from west")
    assert third.state == LEFT_OUT
    assert columns_of(LIST, "a.csv") == {"Spd2": "vehicle speed (km/h)", "X": "ignore"}
    assert columns_of(LIST, "b.csv") == {}
    assert says_engine(LIST) == {"fuel": "diesel"}
    for bad in ("[[", "run = 3", 'run = ["a"]'):
        with pytest.raises(InputError):
            marks_of(bad)


def test_unchanged_marks_change_the_names_of_the_logs_only() -> None:
    assert (
        with_marks(LIST, marks_of(LIST))
        .replace('log = "a.csv"', 'log = "logs/a.csv"')
        .replace('file = "b.csv"', "file = 'C:\\\\logs\\\\b.csv'")
        == LIST
    )


def test_marks_go_over_the_list_and_the_rest_stays(tmp_path: Path) -> None:
    first, second, third = marks_of(LIST)
    marks = [
        replace(first, state="stowed", pair="2", head_wind="3 mph"),
        replace(second, state="working", pair=""),
        replace(third, state="working"),
        Marks("d.csv", "absent", "9"),
        Marks("e.csv", LEFT_OUT),
    ]
    text = with_marks(LIST, marks, {"spd2": "vehicle speed (mph)"}, {"fuel": "diesel", "displacement": "2 L"})
    assert "# weighed" in text
    data = tomllib.loads(text)
    assert data["columns"] == {"spd2": "vehicle speed (mph)"}
    assert data["engine"] == {"fuel": "diesel", "volumetric_efficiency": 0.82, "displacement": "2 L"}
    assert data["run"][0] == {
        "log": "a.csv",
        "turbine": "stowed",
        "pair": "2",
        "start": "10 s",
        "columns": {"X": "ignore"},
        "head_wind": "3 mph",
    }
    assert data["run"][1] == {"file": "b.csv", "state": "working", "wind": "2 m/s", "wind_from": "west"}
    assert data["run"][2] == {"file": "c.csv", "state": "working"}
    assert data["run"][3] == {"file": "d.csv", "state": "absent", "pair": "9"}
    assert len(data["run"]) == 4
    for name in "abcd":
        (tmp_path / f"{name}.csv").write_text("time,speed\n0,1\n")
    (tmp_path / "runs.toml").write_text(text)
    found = read_manifest(tmp_path / "runs.toml")
    assert [run.state for run in found.runs] == ["stowed", "working", "working", "absent"]


def test_a_list_from_nothing(tmp_path: Path) -> None:
    marks, planned = marked_by_order([("a.csv", ()), ("b_working.csv", ()), ("c.csv", ("stowed", "working"))])
    assert [(m.state, m.pair) for m in marks] == [("working", "1"), ("working", "1"), ("", "2")]
    assert not planned
    text = with_marks("", marks, {}, {"fuel": "petrol", "displacement": ""})
    assert tomllib.loads(text)["engine"] == {"fuel": "petrol"}
    assert [m.file for m in marks_of(text)] == ["a.csv", "b_working.csv", "c.csv"]


def test_logs_are_matched_by_base_name() -> None:
    runs, missing, unnamed = matched(marks_of(LIST), ["A.csv", "b.csv", "z.csv"])
    assert [(run.file, run.state) for run in runs] == [("A.csv", "working"), ("b.csv", "stowed"), ("c.csv", LEFT_OUT)]
    assert missing == []  # c is left out by the list itself
    assert unnamed == ["z.csv"]
    assert matched(marks_of(LIST), ["b.csv"])[1] == ["a.csv"]


def test_names_are_plain_and_no_two_alike() -> None:
    assert plain_names(
        ["../../etc/x.csv", "C:\\a\\x.CSV", "<b>.csv", "..", "Fahrt März (2).csv", "a.exe", "X.csv"]
    ) == [
        "x.csv",
        "x_2.CSV",
        "_b_.csv",
        "log.csv",
        "Fahrt März (2).csv",
        "a.exe.csv",
        "X_3.csv",
    ]
    assert len(plain_names(["x" * 500 + ".csv"])[0]) == 104


def test_logs_in_the_order_of_a_plan_get_its_pairs_and_directions() -> None:
    for seed in range(5):
        plan = driving_order(4, ("working", "stowed"), seed)
        marks, planned = marked_by_order([(f"{run.number}.csv", (run.state,)) for run in plan])
        assert planned
        assert [(m.state, m.pair, m.direction) for m in marks] == [("", str(r.pair), r.direction) for r in plan]
    named, planned = marked_by_order(
        [(f"{k}_{s}.csv", ()) for k, s in enumerate(("stowed", "working", "working", "stowed"))]
    )
    assert planned
    assert [run.state for run in named] == ["stowed", "working", "working", "stowed"]
    assert not marked_by_order([("a.csv", ()), ("b.csv", ()), ("c.csv", ()), ("d.csv", ())])[1]


@pytest.mark.parametrize(
    "text",
    [
        'runs = [{ file = "a.csv" }]\n',
        '[run]\nfile = "a.csv"\n',
        "runs = []\n",
        '[[run]]\nfile = "a.csv"\n[columns]\nX = "ignore"\n[[run]]\nfile = "c.csv"\n',
        '[vehicle]\nfuel = "diesel"\n',
        'columns = "x"\n[[run]]\nfile = "a.csv"\n',
    ],
)
def test_a_further_run_however_the_list_is_written(text: str) -> None:
    before = list(marks_of(text))
    marks = [replace(run, state="stowed", pair="7") for run in before] + [Marks("b.csv", "working", "7")]
    result = with_marks(text, marks, {"S": "vehicle speed (mph)"}, {"fuel": "lpg", "displacement": "1 L"})
    assert sorted(marks_of(result), key=lambda run: run.file) == sorted(marks, key=lambda run: run.file)
    assert says_engine(result) == {"fuel": "lpg", "displacement": "1 L"}
    assert columns_of(result, "b.csv")["S"] == "vehicle speed (mph)"


def test_runs_on_a_battery_say_its_energy_and_no_fuel() -> None:
    run = '[[run]]\nstate = "working"\n'
    metered = run + 'energy_used = "3.2 kWh"\n'
    assert on_battery(metered + metered)
    assert on_battery(metered + run)  # half filled in
    assert not on_battery(metered + run + 'fuel_used = "1 L"\n')
    assert not on_battery(run + 'fuel_used = "1 L"\n')
    assert not on_battery(run)
    assert not on_battery("")


def test_what_speaks_of_fuel() -> None:
    run = '[[run]]\nstate = "working"\n'
    assert burnt_fuel(run + 'fuel_used = "1 L"\n')
    assert burnt_fuel('[engine]\nfuel = "diesel"\n' + run)
    assert burnt_fuel('[vehicle]\ndisplacement = "2 L"\n' + run)
    assert not burnt_fuel(run + 'energy_used = "3.2 kWh"\n')
    assert not burnt_fuel("")
