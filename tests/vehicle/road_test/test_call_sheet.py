"""The call sheet of a road test cuts one logged drive into runs: clocks, odd entries, and damaged files."""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.problems import InputError
from vehicle.road_test.call_sheet import is_call_sheet, read_call_sheet, run_list_of, with_relative_files
from vehicle.road_test.run_list import manifest_of

_HEAD = (
    "time_s,time_utc,run,state,pair,direction,electrical_power_w,gust_km_h,air_temperature_degc,peak_power_w,event,note"
)
_DAY = datetime(2026, 5, 2, 8, 0, tzinfo=UTC).timestamp()
# begin and end of each run on the phone's seconds: no two stops or runs alike
_RUNS = ((0, 260, "working"), (400, 700, "stowed"), (790, 1010, "stowed"), (1200, 1530, "working"))


def _row(time_s: float, number: int, state: str, event: str, typed: str = ",,,", note: str = "") -> str:
    stamp = datetime.fromtimestamp(_DAY + time_s, UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"
    pair, direction = (number + 1) // 2, "out" if number % 2 else "back"
    return f"{time_s:.3f},{stamp},{number},{state},{pair},{direction},{typed},{event},{note}"


def _sheet(path: Path, runs: tuple[tuple[int, int, str], ...] = _RUNS, more: tuple[str, ...] = ()) -> Path:
    rows = ["# Call sheet of a passenger: a road", _HEAD]
    for number, (begin, end, state) in enumerate(runs, 1):
        rows.append(_row(begin, number, state, f"run {number} begins"))
        rows.append(_row(begin + 60, number, state, "reading", "1200,18,14,"))
        rows.append(_row(begin + 90, number, state, "reading", ",36,16,"))
        rows.append(_row(end, number, state, f"run {number} ends", note="a truck" if number == 2 else ""))
    path.write_text("\n".join([*rows, *more]) + "\n")
    return path


def _log(path: Path, *, off_s: float = 0.0, dated: bool = True, zone: str = "Z", first: float = -300.0) -> Log:
    """A drive that stands between the runs, a row a second; `off_s` is how much its clock is ahead of the phone's."""
    time = np.arange(first, 1700.0)
    speed = np.zeros(len(time))
    for begin, end, _ in _RUNS:
        speed[(time >= begin - 12) & (time <= end + 6)] = 90
    rows = ["timestamp,speed (km/h),rpm,fuel rate (L/h)" if dated else "time (s),speed (km/h),rpm,fuel rate (L/h)"]
    for t, v in zip(time, speed, strict=True):
        moment = datetime.fromtimestamp(_DAY + t + off_s, UTC)
        stamp = moment.strftime("%Y-%m-%dT%H:%M:%S") + zone if dated else f"{t - first:.0f}"
        rows.append(f"{stamp},{v},{800 + 20 * v:.0f},{1 + 0.07 * v:.2f}")
    path.write_text("\n".join(rows) + "\n")
    return read_log(path)


def _listed(sheet: Path, log: Log, offset_s: float | None = None) -> tuple[list[dict[str, str]], str]:
    text, said = run_list_of(read_call_sheet(sheet), {log.name: log}, {"fuel": "diesel"}, offset_s)
    return tomllib.loads(text)["run"], " ".join(said)


def _starts(runs: list[dict[str, str]]) -> list[float]:
    return [float(run["start"].split()[0]) for run in runs]


def test_dates_in_both_set_the_clocks(tmp_path: Path) -> None:
    runs, said = _listed(_sheet(tmp_path / "s.csv"), _log(tmp_path / "d.csv"))
    assert _starts(runs) == [300, 700, 1090, 1500]
    assert [run["end"] for run in runs] == ["560.0 s", "1000.0 s", "1310.0 s", "1830.0 s"]
    assert [run["state"] for run in runs] == ["working", "stowed", "stowed", "working"]
    assert [(run["pair"], run["direction"]) for run in runs] == [
        ("1", "out"),
        ("1", "back"),
        ("2", "out"),
        ("2", "back"),
    ]
    assert runs[0]["temperature"] == "15.0 degC"  # mean of what was typed
    assert runs[0]["gust"] == "10.0 m/s"  # the highest: 36 km/h
    assert runs[1]["notes"] == "a truck"
    assert runs[0]["date"] == "2026-05-02 08:00:00"
    assert "from the dates in both" in said


@pytest.mark.parametrize(("off_s", "zone"), [(200.0, "Z"), (-3600.0, "Z"), (7200.0, "Z"), (7200.0, "+02:00")])
def test_a_clock_that_is_off_is_set_right_by_the_stops(tmp_path: Path, off_s: float, zone: str) -> None:
    runs, said = _listed(_sheet(tmp_path / "s.csv"), _log(tmp_path / "d.csv", off_s=off_s, zone=zone))
    assert _starts(runs) == pytest.approx([300, 700, 1090, 1500], abs=15)
    right = zone == "+02:00"  # 10:00 there is 08:00 UTC: nothing is off
    assert ("from the dates in both" in said) == right
    differ = re.search(r"differ by (\d+) s", said)
    assert (differ is None) == right
    assert right or float(differ.group(1)) == pytest.approx(abs(off_s), abs=15)


def test_without_dates_the_stops_say_where_the_runs_are(tmp_path: Path) -> None:
    runs, said = _listed(_sheet(tmp_path / "s.csv"), _log(tmp_path / "d.csv", dated=False))
    assert _starts(runs) == pytest.approx([300, 700, 1090, 1500], abs=15)
    assert "by the standstill between the runs" in said
    given, said = _listed(_sheet(tmp_path / "s.csv"), _log(tmp_path / "d.csv", dated=False), 123.0)
    assert _starts(given)[0] == 123
    assert "as given" in said


def test_runs_that_repeat_themselves_are_refused_without_dates(tmp_path: Path) -> None:
    even = tuple((500 * k, 500 * k + 300, "working" if k % 2 else "stowed") for k in range(6))
    time = np.arange(-1000.0, 4200.0)
    speed = 90.0 * ((time % 500) < 300)
    path = tmp_path / "d.csv"
    path.write_text(
        "time (s),speed (km/h),rpm\n"
        + "\n".join(f"{t + 1000:.0f},{v:.0f},{800 + 20 * v:.0f}" for t, v in zip(time, speed, strict=True))
    )
    with pytest.raises(InputError, match=r"repeat themselves.*--offset"):
        _listed(_sheet(tmp_path / "s.csv", even), read_log(path))


def _simulated(
    tmp_path: Path, runs: tuple[tuple[int, int, str], ...], stops: list[tuple[float, float]], *, first: float
):
    """A log without dates from `first` on the phone's seconds: the drive to the road, the runs, and standstills."""
    time = np.arange(first, runs[-1][1] + 400.0)
    speed = np.where(time < -40, 60.0, 0.0)
    speed[time > runs[-1][1] + 60] = 50.0
    for begin, end, _ in runs:
        speed[(time >= begin - 15) & (time <= end + 8)] = 90.0
    for begin, end in stops:
        speed[(time >= begin) & (time <= end)] = 0.0
    rows = [f"{t - first:.0f},{v:.0f},{800 + 20 * v:.0f}" for t, v in zip(time, speed, strict=True)]
    path = tmp_path / "drive.csv"
    path.write_text("\n".join(["time (s),speed (km/h),rpm", *rows]) + "\n")
    return read_log(path)


@pytest.mark.parametrize(
    "stops",
    [
        [(-700, -420)],  # a fuel stop on the way there
        [(120, 165), (500, 540), (860, 900), (1300, 1330)],  # traffic lights in the runs
        [(-700, -420), (-300, -260), (1300, 1330)],
    ],
)
def test_stops_that_are_no_ends_of_runs_do_not_shift_the_runs(tmp_path: Path, stops: list[tuple[float, float]]) -> None:
    log = _simulated(tmp_path, _RUNS, stops, first=-900.0)
    runs, said = _listed(_sheet(tmp_path / "s.csv"), log)
    assert _starts(runs) == pytest.approx([900, 1300, 1690, 2100], abs=20)
    assert "by the standstill between the runs" in said


def _alike(draw: np.random.Generator, by_s: int) -> tuple[tuple[int, int, str], ...]:
    """Six runs of 300 s and turns of 120 s, alike to some seconds."""
    begin, runs = 0, []
    for number in range(6):
        end = begin + 300 + int(draw.integers(-by_s, by_s + 1))
        runs.append((begin, end, "working" if number % 4 in (0, 3) else "stowed"))
        begin = end + 120 + int(draw.integers(-by_s, by_s + 1))
    return tuple(runs)


@pytest.mark.parametrize("seed", [0, 4, 7])
def test_runs_nearly_alike_are_not_placed_by_stops_where_the_log_lacks_the_first(tmp_path: Path, seed: int) -> None:
    runs = _alike(np.random.default_rng(seed), 20)
    log = _simulated(tmp_path, runs, [], first=runs[1][0] - 100.0)
    with pytest.raises(InputError, match=r"so alike that the stops leave open which is which.*--offset"):
        _listed(_sheet(tmp_path / "s.csv", runs), log)
    given, _ = _listed(_sheet(tmp_path / "s.csv", runs), log, 100.0 - runs[1][0])
    assert [run["pair"] for run in given] == ["1", "2", "2", "3", "3"]


@pytest.mark.parametrize(("seed", "off_s"), [(6, -419), (7, 417), (10, 8), (30, None), (33, None), (84, None)])
def test_a_place_found_in_heavy_traffic_is_refused_or_to_be_checked(
    tmp_path: Path, seed: int, off_s: int | None
) -> None:
    # Runs nearly alike and sixteen stops anywhere: at the first two seeds a shift by a whole run agrees best.
    draw = np.random.default_rng(seed)
    runs = _alike(draw, 10)
    stops = draw.uniform(-900, runs[-1][1] + 400, 16), draw.uniform(20, 90, 16)
    log = _simulated(tmp_path, runs, [(at, at + long) for at, long in zip(*stops, strict=True)], first=-900.0)
    sheet = _sheet(tmp_path / "s.csv", runs)
    if off_s is None:
        with pytest.raises(InputError, match="--offset"):
            _listed(sheet, log)
        return
    _, said = _listed(sheet, log)
    begins = round((900 + off_s) / 60)
    assert re.search(rf"CHECK: no dates in both.*run 1 began ({begins - 1}|{begins}) min \d+ s into the log", said)


def test_a_list_names_its_logs_from_its_own_folder(tmp_path: Path) -> None:
    (tmp_path / "drive").mkdir()
    log = _log(tmp_path / "drive" / "d.csv")
    absolute = str((tmp_path / "drive" / "d.csv").resolve())
    text, _ = run_list_of(read_call_sheet(_sheet(tmp_path / "s.csv")), {absolute: log}, {"fuel": "diesel"})
    for folder, name in ((tmp_path, "drive/d.csv"), (tmp_path / "lists", "../drive/d.csv")):
        listed = tomllib.loads(with_relative_files(text, folder.resolve()))
        assert {run["file"] for run in listed["run"]} == {name}
        assert listed["engine"] == {"fuel": "diesel"}


def test_another_day_is_refused_and_a_short_log_leaves_runs_out(tmp_path: Path) -> None:
    log = _log(tmp_path / "d.csv", first=750.0)  # began to log in the second stop
    runs, said = _listed(_sheet(tmp_path / "s.csv"), log)
    assert [run["pair"] for run in runs] == ["2", "2"]
    assert "run 1 of s.csv is left out: it lies outside of every log" in said
    rows = (tmp_path / "d.csv").read_text().splitlines()
    flat = tmp_path / "flat.csv"
    flat.write_text(
        "\n".join([rows[0], *(row.replace(",0.0,", ",90.0,") for row in rows[1:])]).replace("2026-05-02", "2026-05-09")
    )
    with pytest.raises(InputError, match="outside of it"):
        _listed(_sheet(tmp_path / "s.csv"), read_log(flat))


def test_void_and_unfinished_runs_are_left_out_and_told(tmp_path: Path) -> None:
    more = (
        _row(1600, 5, "working", "run 5 begins"),
        _row(1640, 5, "working", "run 5 ends"),
        _row(1645, 5, "working", "run 5 void"),
        _row(1650, 6, "stowed", "run 6 begins"),
    )
    sheet = read_call_sheet(_sheet(tmp_path / "s.csv", more=more))
    assert [run.number for run in sheet.runs] == [1, 2, 3, 4]
    assert any("run 5 of s.csv is marked void" in text for text in sheet.warnings)
    assert any("run 6 of s.csv is left out: it begins and does not end" in text for text in sheet.warnings)


def test_a_file_cut_in_the_middle_keeps_its_whole_runs(tmp_path: Path) -> None:
    whole = _sheet(tmp_path / "s.csv").read_bytes()
    told = 0
    for cut in range(whole.index(b"run 1 ends") + 12, len(whole), 37):
        (tmp_path / "cut.csv").write_bytes(whole[:cut])
        sheet = read_call_sheet(tmp_path / "cut.csv")
        assert 1 <= len(sheet.runs) <= 4
        assert [run.end_s for run in sheet.runs] == [end for _, end, _ in _RUNS][: len(sheet.runs)]
        told += any("does not end" in text for text in sheet.warnings)
    assert told
    (tmp_path / "cut.csv").write_bytes(whole[:300])
    with pytest.raises(InputError, match="no whole run"):
        read_call_sheet(tmp_path / "cut.csv")


def test_a_spreadsheet_may_have_saved_it_again(tmp_path: Path) -> None:
    text = _sheet(tmp_path / "s.csv").read_text()
    lines = [
        line.replace(".", ",").replace(",", ";") if k > 1 else line.replace(",", ";")
        for k, line in enumerate(text.splitlines())
    ]
    assert is_call_sheet(("\ufeff" + text).encode())
    # decimal commas and semicolons, times without milliseconds
    rows = [row.split(",") for row in text.splitlines()[1:]]
    again = [";".join([row[0].replace(".", ","), row[1].replace(".000Z", "Z"), *row[2:]]) for row in rows]
    path = tmp_path / "again.csv"
    path.write_text("\ufeff" + "\n".join([lines[0], *again]) + "\n")
    assert is_call_sheet(path.read_bytes())
    assert [run.end_s for run in read_call_sheet(path).runs] == [260, 700, 1010, 1530]


def test_what_is_no_call_sheet_is_said(tmp_path: Path) -> None:
    path = tmp_path / "tune.csv"
    path.write_text(
        "time_s,time_utc,pitch_deg,electrical_power_w,event\n0,2026-05-02T08:00:00Z,4,,setting 1 begins\n"
        "1,2026-05-02T08:00:01Z,4,900,reading\n"
    )
    assert not is_call_sheet(path.read_bytes())
    with pytest.raises(InputError, match=r"no column run, state.*--call-sheet"):
        read_call_sheet(path)
    odd = _sheet(tmp_path / "s.csv").read_text().replace("working", "perhaps")
    path.write_text(odd)
    sheet = read_call_sheet(path)
    assert [run.state for run in sheet.runs] == ["stowed", "stowed"]
    assert any("its state reads" in text for text in sheet.warnings)


def test_the_runs_of_one_log_have_names_of_their_own(tmp_path: Path) -> None:
    from vehicle.road_test.read import windows_of_runs
    from vehicle.road_test.rule import rejected

    log = _log(tmp_path / "d.csv")
    text, said = run_list_of(
        read_call_sheet(_sheet(tmp_path / "s.csv")), {str(tmp_path / "d.csv"): log}, {"fuel": "diesel"}
    )
    drives = windows_of_runs(manifest_of(text, tmp_path / "s.csv", said))
    assert [run.name for run in drives.runs] == [
        "d.csv 300-560 s",
        "d.csv 700-1000 s",
        "d.csv 1090-1310 s",
        "d.csv 1500-1830 s",
    ]
    assert [run.rows for run in drives.runs] == [261, 301, 221, 331]
    assert rejected(drives.runs) == ({}, "")
