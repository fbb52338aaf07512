"""The passenger's call sheet in the app: offered with the plan and the sweep, and its CSV cuts a logged drive."""

from __future__ import annotations

import json
import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest
from tests_support import recorded_downloads, run

VAN = str(Path(__file__).parents[3] / "scenarios" / "van_water_tank" / "scenario.toml")
SCRIPT = """
import streamlit as st
from energy.screens import catalogue, desk
desk.start()
next(s for s in catalogue.SCREENS if s.module == {screen!r}).shows()()
"""
_DAY = datetime(2026, 5, 2, 8, 0, tzinfo=UTC).timestamp()
_HEAD = (
    "time_s,time_utc,run,state,pair,direction,electrical_power_w,gust_km_h,air_temperature_degc,peak_power_w,event,note"
)
# Begin and end of each run (s), no two alike; the turbine works in every other one and costs 1 L/h of about 7.
_RUNS = [(300, 660), (800, 1130), (1290, 1670), (1760, 2120), (2330, 2690), (2800, 3190), (3290, 3640), (3800, 4150)]
_STATES = ["working", "stowed"] * 4


@pytest.fixture(autouse=True)
def offered(monkeypatch: pytest.MonkeyPatch) -> dict[str, bytes]:
    """What the last run offered for download, by the button's key."""
    return recorded_downloads(monkeypatch)


def _at(screen: str) -> AppTest:
    shown = AppTest.from_string(SCRIPT.format(screen=screen), default_timeout=300).run()
    assert not shown.exception
    return shown


def _said(app: AppTest) -> str:
    return " ".join(element.proto.body for element in app.get("html"))


def _answer(app: AppTest) -> str:
    said = _said(app)
    return said[said.index('class="wt-verdict"') :].partition("</p>")[0].partition(">")[2]


def _sheet_csv() -> bytes:
    """What the phone shares: two taps a run, one number between."""
    rows = ["# Call sheet of a passenger: an invented road", _HEAD]

    def row(time_s: float, number: int, typed: str, event: str) -> None:
        stamp = datetime.fromtimestamp(_DAY + time_s, UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
        pair, direction = (number + 1) // 2, "out"
        rows.append(f"{time_s:.3f},{stamp},{number},{_STATES[number - 1]},{pair},{direction},{typed},{event},")

    for number, (begin, end) in enumerate(_RUNS, 1):
        row(begin - 300, number, ",,,", f"run {number} begins")
        row(begin - 200, number, "1200,18,14,", "reading")
        row(end - 300, number, ",,,", f"run {number} ends")
    return "\n".join(rows).encode()


def _drive_csv(*, dated: bool) -> bytes:
    """One log of the whole drive: it stands between the runs; its second 300 is the sheet's second 0."""
    rng = np.random.default_rng(4)
    rows = ["timestamp,speed (km/h),engine fuel rate (L/h),engine speed (rpm)"]
    rows = rows if dated else ["time (s),speed (km/h),engine fuel rate (L/h),engine speed (rpm)"]
    for second in range(4400):
        speed, fuel = 0.0, 0.8
        for (begin, end), state in zip(_RUNS, _STATES, strict=True):
            if begin - 10 <= second <= end + 8:
                speed = 90 + 2 * np.sin(second / 30) + rng.normal(0, 0.3)
                fuel = (8.0 if state == "working" else 7.0) * (speed / 90) ** 2 + rng.normal(0, 0.05)
        moment = datetime.fromtimestamp(_DAY + second - 300, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        rows.append(f"{moment if dated else second},{speed:.2f},{fuel:.4f},{2200 if speed else 800}")
    return "\n".join(rows).encode()


def _upload(files: list[tuple[str, bytes]]) -> AppTest:
    shown = _at("road")
    shown.file_uploader[0].set_value([(name, content, "text/csv") for name, content in files]).run()
    assert not shown.exception
    return shown


@pytest.mark.parametrize("dated", [True, False])
def test_the_sheets_csv_cuts_one_drive_into_runs_and_the_command_says_the_same(
    dated: bool, tmp_path: Path, offered: dict[str, bytes]
) -> None:
    sheet, drive = _sheet_csv(), _drive_csv(dated=dated)
    shown = _upload([("drive.csv", drive), ("call_sheet.csv", sheet)])
    assert _answer(shown).startswith("Costs fuel: ")
    how = "from the dates in both" if dated else "by the standstill between the runs"
    assert re.search(rf"drive\.csv is cut into runs by .*{how}", _said(shown))
    listed = tomllib.loads(offered["take runs"].decode())["run"]
    assert [one["state"] for one in listed] == _STATES
    for one, (begin, end) in zip(listed, _RUNS, strict=True):
        assert float(one["start"].split()[0]) == pytest.approx(begin, abs=1 if dated else 15)
        assert float(one["end"].split()[0]) == pytest.approx(end, abs=1 if dated else 15)
    (tmp_path / "call_sheet.csv").write_bytes(sheet)
    (tmp_path / "drive.csv").write_bytes(drive)
    options = ("--log", str(tmp_path / "drive.csv"), "--scenario", VAN, "--json")
    done = run("compare", str(tmp_path / "call_sheet.csv"), *options)
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["verdict"]["headline"] == _answer(shown)
    assert data["effect_percent"]["estimate"] == pytest.approx(100 / 7, abs=1.5)


def test_a_sheet_without_its_drive_or_of_another_day_is_said_and_nothing_is_compared() -> None:
    assert "Costs fuel" not in _answer(_upload([("call_sheet.csv", _sheet_csv())]))
    flat = re.sub(rb",0\.00,0\.8000,800", b",90.00,7.0000,2200", _drive_csv(dated=True)).replace(
        b"2026-05-02", b"2026-05-09"
    )
    shown = _upload([("drive.csv", flat), ("call_sheet.csv", _sheet_csv())])
    assert "Costs fuel" not in _answer(shown)
    assert "cannot be set on the clock of" in _said(shown)


def test_runs_written_by_the_command_move_with_their_logs(tmp_path: Path) -> None:
    folder = tmp_path / "test"
    folder.mkdir()
    (folder / "call_sheet.csv").write_bytes(_sheet_csv())
    (folder / "drive.csv").write_bytes(_drive_csv(dated=True))
    out = folder / "runs.toml"
    options = ("--log", str(folder / "drive.csv"), "--runs-out", str(out), "--json")
    done = run("compare", str(folder / "call_sheet.csv"), *options)
    assert done.returncode == 0, done.stderr
    assert {one["file"] for one in tomllib.loads(out.read_text())["run"]} == {"drive.csv"}
    moved = folder.rename(tmp_path / "elsewhere")
    again = run("compare", str(moved / "runs.toml"), "--json")
    assert again.returncode == 0, again.stderr
    assert json.loads(again.stdout)["effect_percent"] == json.loads(done.stdout)["effect_percent"]


def test_the_page_offered_with_the_plan_holds_its_runs_in_its_order_and_needs_no_network(
    offered: dict[str, bytes],
) -> None:
    shown = _at("plan")
    assert any("call sheet for the passenger" in one.label for one in shown.get("download_button"))

    def orders() -> tuple[list[str], list[str]]:
        page, sheet = (offered[key].decode() for key in ("take road call sheet", "take sheet"))
        assert "Passenger only" in page
        assert not re.findall(r"""(?:src|href)\s*=\s*["']?https?:|@import|fetch\(|XMLHttpRequest""", page)
        return re.findall(r"<li>(\w+), \w+, pair \d+</li>", page), re.findall(
            r"<td><b>(working|stowed|absent)</b></td>", sheet
        )

    on_the_phone, printed = orders()
    assert on_the_phone == printed
    assert len(printed) >= 8
    shown.button(key="another order").click().run()
    again, printed_again = orders()
    assert again == printed_again
    assert sorted(again) == sorted(on_the_phone)


def test_the_page_offered_with_a_sweep_steps_the_scenarios_settings(offered: dict[str, bytes]) -> None:
    shown = _at("setting")
    way = next(one for one in shown.radio if one.key and one.key.startswith("typed setting way#"))
    way.set_value("by a sweep that I drove (CSV)").run()
    page = offered["take call sheet"].decode()
    assert "Passenger only" in page
    cells = re.findall(r'"cells": \["(-?[\d.]+)"', page)
    assert len(set(cells)) >= 3  # pitches to step through
    assert not re.findall(r"""(?:src|href)\s*=\s*["']?https?:|@import|fetch\(|XMLHttpRequest""", page)
