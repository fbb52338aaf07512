"""Marks over a list of runs, and runs of a call sheet, at their edges: names, plans, taps, clocks, what is left out."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from windows_support import a_log

from vehicle.logs.log import Log
from vehicle.problems import InputError
from vehicle.road_test.call_sheet import (
    CallSheet,
    SheetRun,
    has_entries,
    is_call_sheet,
    offset_to,
    read_call_sheet,
    run_list_of,
)
from vehicle.road_test.marks import (
    LEFT_OUT,
    Marks,
    base_name,
    columns_of,
    marked_by_order,
    marks_of,
    matched,
    plain_names,
    says_engine,
    with_marks,
)

# --- marks ------------------------------------------------------------------------------------------------------------


def test_what_each_run_of_a_list_says() -> None:
    text = """
    [[run]]
    path = "x/y\\\\Drive.CSV"
    turbine_state = "feathered"
    block = 4
    heading = "out"
    headwind = { value = "2 m/s", plus_minus = "1 m/s" }
    from = "1 min"
    until = "9 min"
    wind_speed = "3 m/s"
    wind = "9 m/s"
    wind_from = "NW"
    [[run]]
    fuel_used = "1.2 L"
    distance = "15 km"
    state = "perhaps"
    to = "5 min"
    wind = "2 m/s"
    [[run]]
    fuel_used = "1.2 L"
    exclude = "yes"
    wind_from = "west"
    """
    first, second, third = marks_of(text)
    assert first == Marks("Drive.CSV", "stowed", "4", "out", "2 m/s", "3 m/s from NW", "from 1 min to 9 min")
    assert second == Marks("", wind="2 m/s", part="to 5 min", metered="1.2 L over 15 km")
    assert third == Marks("", metered="1.2 L")
    both = marks_of('[[run]]\nfile = "a.csv"\nlog = "b.csv"\npair = 2\nblock = 3\n')  # the last, as the list is read
    assert both == (Marks("b.csv", pair="2"),)
    assert (base_name(" C:\\x\\a.csv "), base_name("/x/b.csv"), base_name("c")) == ("a.csv", "b.csv", "c")
    for bad, said in (
        ("[[run]\n", "not TOML"),
        ("x = " + "[" * 5000, "nested too deeply"),
        ("run = [3]\n", "one .* table"),
    ):
        with pytest.raises(InputError, match=said):
            marks_of(bad)


def test_what_a_list_says_of_engine_and_columns() -> None:
    text = (
        '[vehicle]\nfuel = "petrol"\n[engine]\ndisplacement = { value = "1.6 L", plus_minus = "0.1 L" }\n'
        '[columns]\nA = "ignore"\nB = "engine speed (rpm)"\n'
        '[[run]]\nfile = "logs/One.csv"\ncolumns = { B = "ignore" }\n'
        '[[run]]\nfile = "two.csv"\ncolumns = { C = 3 }\n'
    )
    assert says_engine(text) == {"fuel": "petrol", "displacement": "1.6 L"}
    assert says_engine(text + '[engine2]\nfuel = "x"\n') == says_engine(text)
    assert says_engine("engine = 3\n") == {}
    assert says_engine('[vehicle]\nfuel = "lpg"\n[engine]\nfuel = "diesel"\n') == {"fuel": "diesel"}
    assert columns_of(text, "one.CSV") == {"A": "ignore", "B": "ignore"}
    assert columns_of(text, "two.csv") == {"A": "ignore", "B": "engine speed (rpm)", "C": "3"}
    assert columns_of("columns = 3\n", "two.csv") == {}


def test_names_for_any_folder() -> None:
    assert plain_names(["a b.TXT", "a b.txt", "A B.txt", "a?b|c.csv", ".csv", "...", "x.", "noend"]) == [
        "a b.TXT",
        "a b_2.txt",
        "A B_3.txt",
        "a_b_c.csv",
        "csv.csv",
        "log.csv",
        "x.csv",
        "noend.csv",
    ]
    assert plain_names(["y" * 300 + ".txt", "y" * 300]) == ["y" * 100 + ".txt", "y" * 100 + ".csv"]


def test_logs_that_are_there_and_that_are_not() -> None:
    marks = [
        Marks("a.csv", "working"),
        Marks("A.csv", "stowed"),
        Marks("gone.csv", "stowed"),
        Marks("gone.csv", "working"),
        Marks("", "working"),
        Marks("out.csv", LEFT_OUT),
        Marks("", "stowed", metered="1 L"),
    ]
    kept, missing, unnamed = matched(marks, ["A.csv", "a.csv", "more.csv"])
    assert [(run.file, run.state) for run in kept] == [
        ("a.csv", "working"),
        ("A.csv", "stowed"),
        ("gone.csv", LEFT_OUT),
        ("gone.csv", LEFT_OUT),
        ("", LEFT_OUT),
        ("out.csv", LEFT_OUT),
        ("", "stowed"),
    ]
    assert (missing, unnamed) == (["gone.csv", "(no name)"], ["more.csv"])
    # where case does not tell them apart, the first of the logs
    assert matched([Marks("X.csv", "stowed")], ["x.CSV", "x.csv"])[0][0].file == "x.CSV"


W, S = ("working",), ("stowed",)


@pytest.mark.parametrize(
    ("own", "planned"),
    [
        ((W, S, S, W), True),
        ((W, W, S, S), True),
        ((S, S, W, W, W, S, S, W), True),
        ((W, S, W, S), False),
        ((W, W, W, W), False),
        ((W, S, S), False),
        ((W, S, S, W, W), False),
        ((W, S, S, W, W, S, W, S), False),
        ((W, S, S, ("working", "stowed")), False),
        ((), False),
    ],
)
def test_logs_in_an_order_that_a_plan_draws(own: tuple[tuple[str, ...], ...], planned: bool) -> None:
    marks, fits = marked_by_order([(f"{k}.csv", states) for k, states in enumerate(own)])
    assert fits is planned
    for k, run in enumerate(marks):
        assert run.state == ""  # the log says it
        assert run.pair == (str(2 * (k // 4) + k % 2 + 1) if planned else str(k // 2 + 1))
        assert run.direction == (("out", "back")[k % 2] if planned else "")


def test_states_by_name_or_in_turn() -> None:
    marks, _ = marked_by_order([("Working_1.csv", ()), ("x.csv", ()), ("stowed working.csv", ()), ("absent.csv", ())])
    assert [run.state for run in marks] == ["working", "stowed", "working", "absent"]


def test_marks_are_put_over_a_list() -> None:
    text = (
        '[engine]\nFuel = "x"\nfuel = "diesel"   # mine\n[columns]\n"SPD" = "ignore"\n'
        '[[run]]\nfile = "a.csv"\nstate = "on"\nblock = 1\nhead_wind = "1 m/s"\ndirection = "out"\n'
        'columns = { " spd " = "ignore", X = "ignore" }\n'
        '[[run]]\nfile = "b.csv"\nstate = "stowed"\nexclude = true\n'
    )
    first, second = marks_of(text)
    assert second.state == LEFT_OUT
    marks = [
        replace(first, state=LEFT_OUT, pair=" 2 ", direction="", head_wind="1 m/s"),
        replace(second, file="c.csv"),
        Marks("", LEFT_OUT),
    ]
    found = tomllib.loads(with_marks(text, marks, {"Spd": "vehicle speed (mph)", "none": ""}, {"fuel": "lpg"}))
    assert found["engine"] == {"fuel": "lpg"}
    assert found["columns"] == {"Spd": "vehicle speed (mph)"}
    assert found["run"] == [
        {
            "file": "a.csv",
            "state": "on",
            "block": "2",
            "head_wind": "1 m/s",
            "columns": {"X": "ignore"},
            "exclude": True,
        },
        {"file": "c.csv", "state": "stowed", "exclude": True},
    ]
    back = tomllib.loads(with_marks(text, [first, replace(second, state="")]))["run"][1]
    assert back == {"file": "b.csv"}
    assert "# mine" in with_marks(text, [first, second], {}, {"fuel": "diesel"})
    gone = tomllib.loads(with_marks(text, [first, second], {}, {"fuel": ""}))
    assert "engine" not in gone or gone["engine"] == {}


# --- the call sheet ---------------------------------------------------------------------------------------------------

HEAD = "time_s,time_utc,run,state,pair,direction,event,note"
DAY = datetime(2026, 5, 2, 8, 0, tzinfo=UTC).timestamp()


def sheet(path: Path, rows: str, head: str = HEAD) -> CallSheet:
    path.write_text(f"# a road\n{head}\n{rows}")
    return read_call_sheet(path)


def test_what_was_tapped(tmp_path: Path) -> None:
    found = sheet(
        tmp_path / "s.csv",
        "90,,1,Working,A,out,run 1 ends,\n"  # rows that a phone wrote late
        "10,,1,Working,A,out,Run 1 begins,'=x\n"
        "20,,1,,,,reading,b\n"
        "100,,2,stowed,A,back,run 2 begins,\n"
        "120,,2,stowed,A,back,run 2 begins,\n"  # begun anew
        "150,,2,stowed,A,back,run 2 ends,\n"
        "160,,2,stowed,A,back,run 2 ends,\n"  # tapped twice
        "200,,3,stowed,,,run 3 begins,\n"
        "229,,3,stowed,,,run 3 ends,\n"
        "300,,4,odd,,,run 4 begins,\n"
        "390,,4,odd,,,run 4 ends,\n"
        "400,,5,stowed,,,run 5 begins,\n"
        "410,,5,stowed,,,run 5 void,\n"
        "500,,1,absent,B,,run 1 begins,\n"  # driven again: the last counts
        "530,,1,absent,B,,run 1 ends,\n"
        "600,,6,stowed,,,run 6 begins,\n",
    )
    assert found.runs == (
        SheetRun(2, "stowed", "A", "back", 120.0, 150.0),
        SheetRun(1, "absent", "B", "", 500.0, 530.0),
    )
    assert found.warnings == (
        "run 3 of s.csv is left out: 29 s long",
        "run 4 of s.csv is left out: its state reads 'odd'",
        "run 6 of s.csv is left out: it begins and does not end",
    )
    assert (found.name, found.wall_start_s) == ("s.csv", None)


def test_what_was_typed_in_a_run(tmp_path: Path) -> None:
    head = HEAD + ",air_temperature_degf,gust_mph"
    found = sheet(
        tmp_path / "s.csv",
        "0,,1,working,1,,run 1 begins,a,50,\n10,,1,,,,reading,,,10\n20,,1,,,,reading,b,59,20\n"
        "60,,1,working,1,,run 1 ends,,,\n70,,1,,,,reading,c,90,90\n"
        "100,,2,working,1,,run 2 begins,,,\n160,,2,working,1,,run 2 ends,,,\n",
        head,
    )
    first, second = found.runs
    # 50 and 59 degF are 10 and 15 degC; 20 mph are 8.94 m/s
    assert first.temperature_k == pytest.approx(285.65)
    assert first.gust_m_s == pytest.approx(20 * 0.44704)
    assert first.notes == "a; b"
    assert (second.temperature_k, second.gust_m_s, second.notes) == (None, None, "")


def test_what_a_call_sheet_is(tmp_path: Path) -> None:
    assert is_call_sheet(b'# x\n\n;;\n"run";"state";"event"\n')
    assert not is_call_sheet(b"run,state\n1,event\n")
    assert not is_call_sheet(b"")
    assert not is_call_sheet(b"#" + b"x" * 4096 + b"\nrun,state,event\n")
    path = tmp_path / "x.csv"
    for content, has in (
        (b"time_s,time_utc,event\n", True),
        (b"\xef\xbb\xbf# of a day\ntime_utc\tevent\n", True),
        (b"time_s,event\n", False),
    ):
        path.write_bytes(content)
        assert has_entries(path) is has
    assert not has_entries(tmp_path)
    with pytest.raises(InputError, match=r"no whole run \(run 1 of x.csv is left out: it begins"):
        sheet(path, "0,,1,working,,,run 1 begins,\n")
    with pytest.raises(InputError, match="no entry such as 'run 1 begins'"):
        sheet(path, "0,,1,working,,,reading,\n")
    with pytest.raises(InputError, match="no column run, event"):
        sheet(path, "0,1\n", "time_s,state")


RUNS = tuple(
    SheetRun(number, state, str((number + 1) // 2), "", float(begin), float(end))
    for number, (begin, end, state) in enumerate(
        ((0, 260, "working"), (400, 700, "stowed"), (790, 1010, "stowed"), (1200, 1530, "working")), 1
    )
)
SHEET = CallSheet("s.csv", RUNS, DAY, ())


def drive(first: float = -300.0, last: float = 1700.0, *, wall: float | None = None, moving: float = 1.0) -> Log:
    """Return the log of a drive that stands between the runs; `moving` is the share of the first run that it moves."""
    time = np.arange(first, last)
    speed = np.zeros(time.size)
    for number, run in enumerate(RUNS):
        end = run.end_s if number else run.begin_s + moving * (run.end_s - run.begin_s)
        speed[(time >= run.begin_s) & (time <= end)] = 25.0
    return a_log("d.csv", time.size, speed_m_s=speed, wall_start_s=wall)


def test_clocks_are_taken_where_the_stops_agree_within_half_a_minute() -> None:
    given = offset_to(SHEET, drive(), 12.0)
    assert (given.offset_s, given.how, given.warning) == (12.0, "as given", "")
    for off, dates in ((0.0, True), (26.0, True), (-26.0, True), (34.0, False), (-34.0, False)):
        found = offset_to(SHEET, drive(wall=DAY - 300.0 + off))
        assert (found.how == "from the dates in both") is dates
        if dates:
            assert (found.offset_s, found.warning) == (300.0 - off, "")
        else:
            assert found.offset_s == pytest.approx(300.0, abs=5)
            assert f"the clocks of s.csv and d.csv differ by {abs(off):.0f} s" in found.warning


def test_without_a_speed_the_dates_alone_set_the_clocks() -> None:
    log = drive(wall=DAY - 300.0)
    blind = replace(log, table=log.table.drop(columns="speed_m_s"))
    assert offset_to(SHEET, blind).offset_s == 300.0
    with pytest.raises(InputError, match="no dates in both; the log has no speed that stops between the runs"):
        offset_to(SHEET, replace(blind, wall_start_s=None))
    with pytest.raises(InputError, match=r"by the dates \(\+86700 s\) they lie outside of it"):
        offset_to(SHEET, replace(blind, wall_start_s=DAY - 86_700.0))


def test_the_vehicle_moves_in_its_runs() -> None:
    """By the dates, for nine tenths of the time in the runs that the log covers: here one run of 260 s."""
    one = CallSheet("s.csv", RUNS[:1], DAY, ())
    for moving, fits in ((0.92, True), (0.88, False)):
        log = drive(first=-300.0, last=300.0, wall=DAY - 300.0)
        # stops as often before the run as in it: no place is better than another
        log.table["speed_m_s"] = np.where(np.arange(600) % 50 < 50 * moving, 2.1, 2.0)
        if fits:
            assert offset_to(one, log).how == "from the dates in both"
        else:
            with pytest.raises(InputError, match="or the vehicle stands in them"):
                offset_to(one, log)


def test_runs_that_a_log_covers_for_the_most_part() -> None:
    """Four fifths of its time are enough; of two logs a run goes to the one that covers more."""
    for last, kept in ((1200 + 0.81 * 330, 4), (1200 + 0.78 * 330, 3)):
        text, said = run_list_of(SHEET, {"d.csv": drive(last=last)}, {}, 300.0)
        assert len(tomllib.loads(text)["run"]) == kept
        if kept == 3:
            assert "run 4 of s.csv is left out: it is logged for 78 % of its time only" in said
    early, late = drive(last=900.0), drive(first=750.0)
    logs = {
        "e.csv": replace(early, name="e.csv", wall_start_s=DAY - 300.0),
        "l.csv": replace(late, name="l.csv", wall_start_s=DAY + 750.0),
    }
    text, said = run_list_of(replace(SHEET, warnings=("said before",)), logs, {"fuel": "lpg"})
    listed = tomllib.loads(text)
    assert listed["engine"] == {"fuel": "lpg"}
    assert [(run["file"], run["start"]) for run in listed["run"]] == [
        ("e.csv", "300.0 s"),
        ("e.csv", "700.0 s"),
        ("l.csv", "40.0 s"),
        ("l.csv", "450.0 s"),
    ]
    assert said[0] == "said before"
    assert "e.csv is cut into runs by s.csv: its clock moved by +300.0 s, from the dates in both" in said
    assert listed["run"][1]["date"] == "2026-05-02 08:06:40"
    with pytest.raises(InputError, match=r"no run lies in d.csv \(-9000 s as given\)"):
        run_list_of(SHEET, {"d.csv": drive()}, {}, -9000.0)


def test_every_key_of_a_run_that_is_listed() -> None:
    run = replace(RUNS[0], direction="out", notes="a truck", temperature_k=290.15, gust_m_s=9.96)
    text, _ = run_list_of(replace(SHEET, runs=(run,), wall_start_s=None), {"d.csv": drive()}, {}, 300.04)
    assert tomllib.loads(text) == {
        "run": [
            {
                "file": "d.csv",
                "state": "working",
                "pair": "1",
                "direction": "out",
                "start": "300.0 s",
                "end": "560.0 s",
                "temperature": "17.0 degC",
                "gust": "10.0 m/s",
                "notes": "a truck",
            }
        ]
    }
