"""The road test's call sheet on a phone without network: taps become the cuts of one logged drive, and `compare`
concludes with its CSV as it is.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser_support import shared_sheet, type_on_pad
from tests_support import run

_EXTRA = 1.09  # of the fuel, with the rotor working: what compare has to find
_BEGUN = datetime(2026, 5, 2, 8, 0, tzinfo=UTC)
_FORBID = """Object.defineProperty(window, 'localStorage',
  { get() { throw new DOMException('The operation is insecure.', 'SecurityError'); } });"""


@pytest.fixture
def phone(browser: Any) -> Iterator[Any]:
    """A page of a phone without network; it fails on anything asked for outside of the file, and on script faults."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    context.set_offline(True)
    page = context.new_page()
    page.set_default_timeout(30_000)
    asked: list[str] = []
    faults: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("dialog", lambda dialog: dialog.accept())
    yield page
    context.close()
    assert not [url for url in asked if not url.startswith(("file:", "blob:"))]
    assert not faults


def _sheet(folder: Path) -> Path:
    path = folder / "page.html"
    done = run(
        "plan", "--pairs", "6", "--seed", "3", "--speed", "90 km/h", "--length", "7 km", "--call-sheet", str(path)
    )
    assert done.returncode == 0, done.stderr
    assert "windtoll compare call_sheet.csv --log DRIVE.csv" in done.stdout
    return path


def _driven(
    page: Any, seed: int = 5, *, reload_after: int = -1, tapped: int = 6
) -> list[tuple[float, float, str, str]]:
    """Tap through all runs, each of another length, with stops between them; return (begin, end, state, direction).

    Readings are tapped in the first runs, `tapped` of them.
    """
    draw = np.random.default_rng(seed)
    page.locator("#start").tap()
    found, number = [], 0
    while "All runs done" not in page.locator("#begin").inner_text():
        page.clock.run_for(int(1000 * draw.uniform(60, 200)))
        words = page.locator("#begin").inner_text()
        begin = page.evaluate("Date.now()") / 1000
        page.locator("#begin").tap()
        state, direction = words.partition(": ")[2].split(", ")[:2]
        page.clock.run_for(int(1000 * draw.uniform(200, 320)))
        if state == "working":
            type_on_pad(page, "1210", "", "14", tapped=number < tapped)
        found.append((begin, page.evaluate("Date.now()") / 1000, state, direction))
        page.locator("#begin").tap()
        number += 1
        if number == reload_after:
            page.reload()
            page.locator("#start").tap()
    return found


def _log(
    path: Path, runs: list[tuple[float, float, str, str]], *, seed: int = 2, dated: str = "UTC", off_s: float = 0.0
) -> Path:
    """Write the log of the whole drive as an engine would have it: standing between the runs, hills, noise."""
    draw = np.random.default_rng(seed)
    begin, end = runs[0][0] - 200, runs[-1][1] + 90
    time = np.arange(begin, end, 1.0)
    speed, fuel = np.zeros(len(time)), np.full(len(time), 0.8)
    for first, last, state, direction in runs:
        on = (time >= first - 15) & (time <= last + 8)  # up to speed before the tap, the brake after it
        v = 90 + 2 * np.sin(time[on] / 37) + draw.normal(0, 0.3, on.sum())
        way = 1 if direction == "out" else -1
        hill = 1 + 0.15 * way * np.sin((time[on] - first) / 41)
        factor = (_EXTRA if state == "working" else 1.0) * (1 + draw.normal(0, 0.004))
        speed[on] = v
        fuel[on] = 7.0 * (v / 90) ** 2 * hill * factor * (1 + draw.normal(0, 0.02, on.sum()))
    head = "time_utc" if dated else "time (s)"
    rows = [f"{head},speed (km/h),rpm,fuel rate (L/h),coolant (degC)"]
    for t, v, f in zip(time, speed, fuel, strict=True):
        moment = datetime.fromtimestamp(t + off_s, UTC)
        stamp = moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ") if dated else f"{t - begin:.1f}"
        rows.append(f"{stamp},{v:.1f},{30 * v + 800 * (v == 0):.0f},{f:.3f},88")
    path.write_text("\n".join(rows) + "\n")
    return path


def _compared(sheet: Path, log: Path, *options: str) -> dict[str, Any]:
    done = run("compare", str(sheet), "--log", str(log), "--json", *options)
    assert done.returncode == 0, done.stderr
    data: dict[str, Any] = json.loads(done.stdout)
    return data


def _is_found(data: dict[str, Any]) -> None:
    effect = data["effect_percent"]
    assert effect["low"] < 9.0 < effect["high"], effect
    assert effect["high"] - effect["low"] < 3.0
    assert data["verdict"]["headline"].startswith("Costs fuel: +")
    assert len(data["runs"]) == 12
    assert not any("would reject" in text or "rejected" in text for text in data["warnings"])


def test_taps_on_the_phone_cut_the_drive_and_compare_concludes(phone: Any, tmp_path: Path) -> None:
    page = phone
    page.clock.install(time=_BEGUN)
    page.goto(_sheet(tmp_path).as_uri())
    assert page.locator("h1").inner_text() == "Passenger only."
    runs = _driven(page, reload_after=5)
    assert len(runs) == 12
    assert {state for _, _, state, _ in runs} == {"working", "stowed"}
    sheet = shared_sheet(page, tmp_path)

    data = _compared(sheet, _log(tmp_path / "drive.csv", runs))
    _is_found(data)
    assert any("from the dates in both" in text for text in data["warnings"])

    # the log's clock off by minutes and by an hour, and without dates: the stops between the runs set it right
    for off_s in (240.0, 3600.0):
        data = _compared(sheet, _log(tmp_path / "off.csv", runs, off_s=off_s))
        _is_found(data)
        assert any("clocks of call_sheet.csv and off.csv differ by" in text for text in data["warnings"])
    out = tmp_path / "runs.toml"
    data = _compared(sheet, _log(tmp_path / "bare.csv", runs, dated=""), "--runs-out", str(out))
    _is_found(data)
    assert any("by the standstill between the runs" in text for text in data["warnings"])
    listed = tomllib.loads(out.read_text())["run"]
    assert [one["state"] for one in listed] == [state for _, _, state, _ in runs]
    assert float(listed[0]["start"].split()[0]) == pytest.approx(200, abs=15)
    again = json.loads(run("compare", str(out), "--json").stdout)
    assert again["effect_percent"] == data["effect_percent"]


def test_a_run_that_does_not_count_comes_again_and_undo_takes_back_an_end(phone: Any, tmp_path: Path) -> None:
    page = phone
    page.clock.install(time=_BEGUN)
    page.goto(_sheet(tmp_path).as_uri())
    page.locator("#start").tap()
    first = page.locator("#begin").inner_text()
    page.locator("#begin").tap()
    page.clock.run_for(100_000)
    assert re.match(r"Since 1 min (39|4\d) s, of about 5 min", page.locator("#hold").inner_text())
    page.locator("#void").tap()
    assert "drive it again" in page.locator("#said").inner_text()
    assert page.locator("#begin").inner_text() == first
    page.locator("#begin").tap()
    page.clock.run_for(100_000)
    page.locator("#begin").tap()
    page.locator("#undo").tap()
    assert "Run 1 ends" in page.locator("#begin").inner_text()
    for one in page.locator("main:not([hidden]) button:visible").all():
        box = one.bounding_box()
        assert min(box["height"], box["width"]) >= 44, one.inner_text()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    enter = page.locator("#enter").bounding_box()
    assert enter["y"] + enter["height"] <= 844
    page.clock.run_for(100_000)
    page.locator("#begin").tap()
    text = shared_sheet(page, tmp_path).read_text()
    assert [event for event in ("run 1 begins", "run 1 void", "run 1 ends") if event in text] == [
        "run 1 begins",
        "run 1 void",
        "run 1 ends",
    ]
    assert text.count("run 1 ends") == 1


def test_with_storage_forbidden_the_drive_is_kept_in_memory_and_offered_early(phone: Any, tmp_path: Path) -> None:
    page = phone
    page.add_init_script(_FORBID)
    page.clock.install(time=_BEGUN)
    page.goto(_sheet(tmp_path).as_uri())
    assert page.locator("#unkeptfirst").is_visible()
    runs = _driven(page, tapped=0)
    assert page.locator("#unkept").is_visible()
    _is_found(_compared(shared_sheet(page, tmp_path, "#early"), _log(tmp_path / "drive.csv", runs)))
