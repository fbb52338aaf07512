"""The call sheet without a browser: one file, nothing outside, planned settings twice through, faults told."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from pathlib import Path

import pytest
from tests_support import run

from energy.chain.load import load
from energy.diagnosis.shortfall_readings import read_readings
from energy.diagnosis.stepping import stepping_plan
from energy.heat.wattmeter import read_wattmeter_log
from energy.pages.call_sheet import as_html
from energy.words.call_sheet import as_data
from vehicle.problems import InputError
from vehicle.road_test.planning import driving_order


def test_nothing_is_loaded_and_only_the_pages_own_script_may_run(demos: Path) -> None:
    plan = stepping_plan(load(demos / "van_water_tank" / "scenario.toml"))
    page = as_html(as_data(plan, "A <b> van", ("watts",), "us"))
    assert not re.search(r"(src|href)=|url\(|@import|https?:", page)
    policy = re.search(r'Security-Policy" content="([^"]+)"', page).group(1)
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    for tag in ("style", "script"):
        body = re.search(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL).group(1)
        digest = base64.b64encode(hashlib.sha256(body.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "<b>" not in page
    assert page.index("Passenger only.") < page.index('data-key="1"')


def test_settings_come_twice_in_another_order_never_the_same_in_a_row(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml")
    for seed in range(40):
        plan = stepping_plan(scenario, "resistance", "6, 9 ohm, 12", seed=seed)
        assert sorted(plan.order) == [6, 6, 9, 9, 12, 12]
        assert all(a != b for a, b in zip(plan.order, plan.order[1:], strict=False))
    own = stepping_plan(scenario)
    assert own.kind == "pitch"
    assert min(own.order) < scenario.rotor.pitch.value < max(own.order)


@pytest.mark.parametrize(("typed", "word"), [("4", "2 to 30"), ("2, 2", "each once"), ("2, five", "numbers such as")])
def test_faults_of_settings_are_told(demos: Path, typed: str, word: str) -> None:
    with pytest.raises(InputError, match=word):
        stepping_plan(load(demos / "van_water_tank" / "scenario.toml"), "pitch", typed)


def test_the_command_writes_the_page_once_and_says_what_reads_its_file(demos: Path, tmp_path: Path) -> None:
    scenario, out = str(demos / "van_water_tank" / "scenario.toml"), tmp_path / "page.html"
    done = run("callsheet", scenario, "--out", str(out), "--ask", "temperature", "--units", "us", "--json")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert [one["column"] for one in data["fields"]] == ["electrical_power_w", "temperature_degf"]
    assert "fit load" in " ".join(data["next"])
    assert "Passenger only." in out.read_text()
    again = run("callsheet", scenario, "--out", str(out))
    assert again.returncode == 2
    assert "--force" in again.stderr


def test_a_setting_that_breaks_a_limit_is_said_first_and_on_the_page(demos: Path, tmp_path: Path) -> None:
    scenario, out = str(demos / "van_water_tank" / "scenario.toml"), tmp_path / "page.html"
    asked = ("--step", "ratio", "--settings", "1.25, 2.5, 4", "--out", str(out), "--force")
    # The light load of a low ratio lets the rotor run fast.
    done = run("callsheet", scenario, *asked)
    assert done.returncode == 3, done.stderr
    first = "Do not operate at drive ratio 1.25: "
    assert done.stdout.startswith(first)
    assert "at drive ratio 2.5" not in done.stdout
    assert '--settings "2.5, 4"' in done.stdout
    assert first in out.read_text()
    data = json.loads(run("callsheet", scenario, *asked, "--json").stdout)
    assert data["safe"] is False
    assert data["dangers"][0] == data["cautions"][0]
    kept = run("callsheet", scenario, "--step", "ratio", "--settings", "2.5, 4", "--out", str(out), "--force")
    assert kept.returncode == 0
    assert "May it be operated like this? Not checked yet" in kept.stdout


def _entries(*, marked: bool = True) -> str:
    """Two settings twice, three readings each, as the page on the phone shares them."""
    head = "time_s,time_utc,pitch_deg,dial_deg,electrical_power_w,road_speed_km_h,power_w,peak_power_w,note,event"
    rows, second = ["# Call sheet of a passenger: A van", head], 0
    for number, (pitch, watts) in enumerate(((2, 1000), (6, 1300), (2, 1010), (6, 1310)), 1):
        stamp = f"2026-05-02T08:{second // 60:02d}:{second % 60:02d}.000Z"
        rows += [f"{second},{stamp},{pitch},{pitch},,,,,,setting {number} begins"] if marked else []
        for more in (0, 40, -10):
            second += 15
            stamp = f"2026-05-02T08:{second // 60:02d}:{second % 60:02d}.000Z"
            rows.append(f"{second},{stamp},{pitch},{pitch},{watts + more},90,{watts + more},,,reading")
        second += 5
    return "\n".join(rows) + "\n"


def test_its_file_is_read_by_read_heat_and_shortfall_as_it_is(demos: Path, tmp_path: Path) -> None:
    sheet, bare = tmp_path / "call_sheet.csv", tmp_path / "bare.csv"
    sheet.write_text(_entries())
    bare.write_text(_entries(marked=False))
    with_marks, without = read_wattmeter_log(sheet), read_wattmeter_log(bare)
    assert with_marks.power_w.tolist() == without.power_w.tolist()  # a mark is no reading, and holds no power
    assert with_marks.durations_s.tolist() == without.durations_s.tolist()
    readings = read_readings(sheet)
    assert len(readings.electrical_power_w) == 12
    done = run("read", str(sheet))
    assert done.returncode == 0, done.stderr
    assert "16 entries (12 readings)" in done.stdout
    assert "setting 2 begins (6), mean 1310 W of 3" in done.stdout


def test_a_log_of_a_wattmeter_with_an_empty_cell_is_still_refused(tmp_path: Path) -> None:
    path = tmp_path / "watts.csv"
    path.write_text("time_s,power_w\n0,100\n1,\n2,90\n")
    with pytest.raises(InputError, match="an empty cell"):
        read_wattmeter_log(path)


def test_a_road_test_holds_the_runs_in_the_order_of_the_printed_sheet(tmp_path: Path) -> None:
    page, sheet = tmp_path / "page.html", tmp_path / "sheet.html"
    options = ("--pairs", "4", "--seed", "2", "--call-sheet", str(page), "--sheet", str(sheet))
    done = run("plan", *options, "--json")
    assert done.returncode == 0, done.stderr
    held = json.loads(re.search(r'id="plan">(.*?)</script>', page.read_text(), re.DOTALL).group(1))
    order = driving_order(4, ("working", "stowed"), 2)
    assert [one["cells"] for one in held["settings"]] == [
        [str(r.number), r.state, str(r.pair), r.direction] for r in order
    ]
    assert held["columns"] == ["run", "state", "pair", "direction"]
    assert page.read_text().index("Passenger only.") < page.read_text().index('data-key="1"')
    assert run("plan", "--pairs", "4", "--call-sheet", str(page), "--sheet", str(page)).returncode == 2
