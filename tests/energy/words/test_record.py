"""A recording in words and data."""

from __future__ import annotations

import errno
from pathlib import Path

import jsonschema

from energy.words import record as words
from energy.words.schema import schema_of
from vehicle.recording.loop import Rate, Status, Summary
from vehicle.recording.parameters import PARAMETERS
from vehicle.recording.row_file import RowLostError
from vehicle.recording.schedule import plan_for
from vehicle.recording.watch import ParameterGap

SPEED, AIR = "vehicle_speed_km_h", "mass_air_flow_g_s"


def status(**more: object) -> Status:
    given: dict[str, object] = {
        "condition": "recording",
        "elapsed_s": 65.0,
        "duration_s": None,
        "rows": 40,
        "gaps": 1,
        "state": "working",
        "values": {SPEED: 90.0, AIR: 21.5},
        "file": None,
        "fast": False,
        "ages_s": {SPEED: 0.2, AIR: 7.0},
    }
    return Status(**{**given, **more})  # type: ignore[arg-type]


def test_a_current_value_has_no_note_and_a_stopped_one_has_its_age() -> None:
    current, air = words.value_rows(status(stopped=frozenset({AIR})))
    assert (current.label, current.value, current.unit, current.note, current.old) == (
        "vehicle speed",
        "90",
        "km/h",
        "",
        False,
    )
    assert (air.note, air.old) == ("no answer any more, 7 s ago", True)


def test_a_value_that_comes_in_turn_is_greyed_with_its_age_where_its_turn_is_late() -> None:
    young, late = (words.value_rows(status(ages_s={SPEED: 0.2, AIR: age_s}))[1] for age_s in (4.9, 5.1))
    assert (young.note, young.old) == ("", False)
    assert (late.note, late.old) == ("5 s ago", True)


def test_no_value_stands_as_current_while_it_waits() -> None:
    waiting = status(condition="waiting: the adapter does not answer", ages_s={SPEED: 4.0, AIR: 4.2})
    assert all(row.old and row.note == "4 s ago" for row in words.value_rows(waiting))
    assert "90 km/h" in words.plain_line(status())
    assert "90 km/h" not in words.plain_line(waiting)


def test_a_stuck_value_is_marked() -> None:
    assert words.value_rows(status(stuck=frozenset({AIR})))[1].note == "stuck"


def test_the_summary_has_what_the_run_lacks() -> None:
    rate = Rate(2.0, plan_for(PARAMETERS, 2.0, 10.0), 2.0)
    summary = Summary(
        file=Path("run.csv"),
        run_list=Path("runs.toml"),
        rows=40,
        duration_s=65.0,
        gaps=1,
        gap_s=16.2,
        marks=0,
        columns=(SPEED, AIR),
        fast_mode=True,
        ended_by="key",
        parameter_gaps=(ParameterGap(AIR, 2, 12.3),),
        stuck=(SPEED,),
        restarts=1,
        damaged_lines=7,
        fuel_source=False,
        rate=rate,
    )
    text = "\n".join(words.summary_lines(summary))
    for part in (
        "40 rows in 1:05, 1 gap (16 s in all): run.csv",
        "2 questions a second, a row in 1.5 s",
        "mass air flow stopped answering 2 times, 12 s in all",
        "vehicle speed did not change for 45 s",
        "litres cannot be calculated",
        "lost its settings once",
        "7 damaged lines",
        "because the vehicle answers slowly: calculated load",
    ):
        assert part in text
    data = words.summary_data(summary)
    jsonschema.validate(data, schema_of("record"))
    assert data["parameter_gaps"] == {AIR: {"gaps": 2, "gap_s": 12.3}}
    assert data["questions_per_s"] == 2.0
    assert data["each_row"] == [SPEED, "engine_speed_rpm", "fuel_rate_l_h"]


def test_a_full_disk_is_named_with_the_rows_that_are_safe() -> None:
    full = RowLostError(OSError(errno.ENOSPC, "No space left on device"), Path("run.csv"), 812)
    assert words.row_not_written(full) == "the disk is full: recording has stopped; 812 rows are safe in this file"
