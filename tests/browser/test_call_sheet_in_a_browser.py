"""The passenger's call sheet at phone size, opened as a file with the network off; its CSV goes to the commands."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser_support import shared_sheet, type_on_pad

from energy.chain.load import load
from energy.diagnosis.stepping import stepping_plan
from energy.diagnosis.true_pitch import read_measured
from energy.diagnosis.tuning import read_sweep, tuned_of_file
from energy.heat.fit import read_heater_log
from energy.heat.wattmeter import read_wattmeter_log
from energy.pages.call_sheet import as_html
from energy.words.call_sheet import as_data
from vehicle.logs.join import read_log_text

SCENARIO = Path(__file__).resolve().parents[2] / "scenarios" / "van_water_tank" / "scenario.toml"
ALL = ("watts", "rotor_speed", "air_speed", "temperature")
_FORBID = """Object.defineProperty(window, 'localStorage',
  { get() { throw new DOMException('The operation is insecure.', 'SecurityError'); } });"""


def _sheet(folder: Path, *, asked: tuple[str, ...] = ("watts", "air_speed"), title: str = "A van") -> Path:
    plan = stepping_plan(load(SCENARIO), "pitch", "2, 6")
    path = folder / "page.html"
    path.write_text(as_html(as_data(plan, title, asked, "metric")), encoding="utf-8")
    return path


@pytest.fixture
def phone(browser: Any) -> Iterator[Any]:
    """A page of a phone without network; it fails on anything asked for outside of the file, and on script faults."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    context.set_offline(True)
    page = context.new_page()
    asked: list[str] = []
    faults: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("dialog", lambda dialog: dialog.accept())
    yield page
    context.close()
    assert not [url for url in asked if not url.startswith(("file:", "blob:"))]
    assert not faults


def test_a_drive_is_written_down_kept_over_a_reload_and_read_by_the_commands(phone: Any, tmp_path: Path) -> None:
    page = phone
    page.goto(_sheet(tmp_path, asked=ALL).as_uri())
    assert page.locator("h1").inner_text() == "Passenger only."
    page.clock.install()
    page.locator("#start").tap()
    for watts in ((1000, 1040, 990, 1010, 1020), (1300, 1290, 1330, 1310, 1320)):
        page.locator("#begin").tap()
        for k, value in enumerate(watts):
            page.clock.run_for(10_000)
            type_on_pad(page, str(value), "700", "54", "40.5", tapped=k == 0)
    assert "Mean 1310 W of 5" in page.locator("#mean").inner_text()
    for digit in "1900":
        page.locator(f"[data-key='{digit}']").tap()
    page.locator("#peak").tap()
    page.locator("#note").tap()
    page.locator("#words").fill('=1+1, a "truck"\npassed')
    page.locator("#keepnote").tap()
    type_on_pad(page, "7777")
    for text in ("", "", ""):
        type_on_pad(page, text)
    page.locator("#undo").tap()
    assert "Undone: 7777 W" in page.locator("#said").inner_text()

    page.reload()
    assert "14 entries are kept" in page.locator("#found").inner_text()  # 2 settings, 10 readings, a peak, a note
    page.locator("#start").tap()
    assert "Setting 2 of 4" in page.locator("#now").inner_text()
    csv = shared_sheet(page, tmp_path)

    sweep = read_sweep(csv, load(SCENARIO))
    assert sorted(sweep.electrical_power_w.tolist()) == [990, 1000, 1010, 1020, 1040, 1290, 1300, 1310, 1320, 1330]
    assert 7777 not in sweep.electrical_power_w
    assert 1900 not in sweep.electrical_power_w  # a peak is no reading
    assert np.diff(sweep.time_s).min() > 9
    assert np.allclose(sweep.air_speed_m_s, 15.0)
    assert tuned_of_file(load(SCENARIO), csv).by_readings
    assert len(read_measured(csv).electrical_power_w) == 10
    assert np.isfinite(read_heater_log(csv, ambient_k=288.0).temperature_k).sum() == 10
    assert sorted(read_wattmeter_log(csv).power_w.tolist()) == sorted(sweep.electrical_power_w.tolist())
    joined = read_log_text(csv)
    assert joined.wall_start_s is not None
    assert joined.numbers["electrical_power_w"].size == 14
    assert '\'=1+1, a ""truck"" passed' in csv.read_text()  # no formula in a spreadsheet, one line


def test_with_storage_forbidden_it_says_so_keeps_its_memory_and_offers_the_file_early(
    phone: Any, tmp_path: Path
) -> None:
    page = phone
    page.add_init_script(_FORBID)
    page.goto(_sheet(tmp_path).as_uri())
    assert page.locator("#unkeptfirst").is_visible()
    page.locator("#start").tap()
    assert page.locator("#unkept").is_visible()
    page.locator("#begin").tap()
    type_on_pad(page, "1234")
    type_on_pad(page, "60")
    assert "Mean 1234 W of 1" in page.locator("#mean").inner_text()
    assert "1234" in shared_sheet(page, tmp_path, "#early").read_text()


def test_keys_are_of_thumb_size_nothing_scrolls_sideways_and_the_pad_fits_the_screen(
    phone: Any, tmp_path: Path
) -> None:
    page = phone
    page.goto(_sheet(tmp_path).as_uri())
    page.locator("#start").tap()
    page.locator("#begin").tap()
    for one in page.locator("main:not([hidden]) button:visible").all():
        box = one.bounding_box()
        assert box["height"] >= 44, one.inner_text()
        assert box["width"] >= 44, one.inner_text()
    assert page.locator("[data-key='5']").bounding_box()["height"] >= 60
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    enter = page.locator("#enter").bounding_box()
    assert enter["y"] + enter["height"] <= 844  # pad and Enter without scrolling
    for colours in ("light", "dark"):
        page.emulate_media(color_scheme=colours)
        ink, paper = page.evaluate("(s => [s.color, s.backgroundColor])(getComputedStyle(document.body))")
        assert {ink, paper} == {"rgb(0, 0, 0)", "rgb(255, 255, 255)"}
        assert (paper == "rgb(0, 0, 0)") == (colours == "dark")


@pytest.mark.parametrize(
    "title",
    [
        "</script><script>window.broken = 1</script>",
        "<img src=x onerror='window.broken = 1'>",
        "\u2028 \" ' & <!-- <script> {{ 7 * 7 }}",
    ],
)
def test_a_hostile_title_is_shown_and_runs_nothing(phone: Any, tmp_path: Path, title: str) -> None:
    page = phone
    page.goto(_sheet(tmp_path, title=title).as_uri())
    page.locator("#start").wait_for()
    assert page.evaluate("window.broken") is None
    assert json.loads(page.locator("#plan").text_content())["title"] == title
    page.locator("#start").tap()
    page.locator("#begin").tap()
    type_on_pad(page, "5")
    type_on_pad(page, "60")
    lines = shared_sheet(page, tmp_path).read_text().splitlines()
    assert lines[1].startswith("time_s,time_utc,pitch_deg")
    assert page.evaluate("window.broken") is None


def test_a_number_that_was_typed_but_not_entered_is_kept_when_the_next_setting_begins(
    phone: Any, tmp_path: Path
) -> None:
    page = phone
    page.goto(_sheet(tmp_path).as_uri())
    page.locator("#start").tap()
    page.locator("#enter").tap()
    assert "First tap the key" in page.locator("#said").inner_text()
    page.locator("#begin").tap()
    for digit in "812":
        page.locator(f"[data-key='{digit}']").tap()
    page.locator("#begin").tap()
    text = shared_sheet(page, tmp_path).read_text()
    assert ",812,,812,,,reading" in text
    assert text.count("begins") == 2
