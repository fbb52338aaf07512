"""The road test in a real browser: a recording watched while it is made, lists and logs uploaded, the plan's sheet."""

from __future__ import annotations

import importlib.util
import json
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from browser_support import PHONE, found_by_axe, open_screen, settled, unfold
from tests_support import program, run

ROOT = Path(__file__).resolve().parents[2]
MPH = 1.609344


def _car_process() -> ModuleType:
    spec = importlib.util.spec_from_file_location("car_process", ROOT / "tests" / "vehicle" / "car_process.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _verdict(page: Any) -> str:
    text: str = page.locator(".wt-verdict").first.inner_text()
    return " ".join(text.split())


def _until_verdict(page: Any, words: str, *, there: bool = True) -> None:
    page.wait_for_function(
        "([words, there]) => (document.querySelector('.wt-verdict')?.innerText || '').includes(words) === there",
        arg=[words, there],
    )
    settled(page)


def _upload(page: Any, files: list[tuple[str, bytes]]) -> None:
    page.locator("[data-testid=stMain] input[type=file]").first.set_input_files(
        [{"name": name, "mimeType": "text/csv", "buffer": content} for name, content in files]
    )


def _download(page: Any, name: str) -> bytes:
    settled(page)
    with page.expect_download() as waiting:
        page.get_by_role("button", name=name).first.click()
    return Path(waiting.value.path()).read_bytes()


def _choose(page: Any, label: str, words: str) -> None:
    box = page.get_by_role("combobox", name=label)
    box.click()
    box.fill(words)
    page.keyboard.press("Enter")
    settled(page)


def _compared(folder: Path, *options: str) -> dict[str, Any]:
    done = run("compare", str(folder / "runs.toml"), "--json", *options)
    assert done.returncode == 0, done.stderr
    data: dict[str, Any] = json.loads(done.stdout)
    return data


@pytest.fixture
def car(tmp_path: Path) -> Iterator[Any]:
    found = _car_process().CarProcess(tmp_path / "adapter")
    try:
        yield found
    finally:
        found.kill()


def test_a_recording_is_watched_while_it_is_made(page: Any, address: str, car: Any, tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    folder.mkdir()
    open_screen(page, address, "road")
    page.get_by_text("Watch a recording while windtoll record writes it").click()
    typed = page.get_by_role("textbox", name="Recording to watch")
    typed.fill(str(folder))
    typed.press("Enter")
    region = page.get_by_label("Last values of the recording")
    page.wait_for_selector("text=no CSV file in this folder yet")  # the recorder was not yet begun
    car.tell(values={"0D": 61, "0C": 6800})
    adapter = ("--port", car.port, "--protocol", "6", "--interval", "0.2 s")
    recorder = subprocess.Popen(
        program("record", "--out", str(folder), *adapter, "--state", "working"),
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        region.get_by_text("61.0 km/h").wait_for()
        assert region.get_by_text("1700 rpm").count() == 1
        assert page.get_by_text("turbine: working").count() == 1
        rows = "() => Number(/: (\\d+) rows over/.exec(document.body.innerText)?.[1] || 0)"
        before = page.evaluate(rows)
        car.tell(values={"0D": 93})
        start = time.monotonic()
        region.get_by_text("93.0 km/h").wait_for()
        print(f"\na new speed is seen after {time.monotonic() - start:.1f} s")
        page.wait_for_function(f"before => ({rows})() > before", arg=before)
        car.tell(fault="silent")
        page.get_by_text("the adapter does not answer").wait_for()
        car.tell(fault=None, values={"0D": 47})
        region.get_by_text("47.0 km/h").wait_for()
        recorder.send_signal(signal.SIGINT)
        assert recorder.wait(60) == 0
        page.get_by_text("Stopped: no new row for").wait_for()
    finally:
        if recorder.poll() is None:
            recorder.kill()
        recorder.communicate(timeout=300)
    assert page.locator("[data-testid=stException]").count() == 0


def test_list_and_logs_give_the_commands_verdict_with_no_further_click(page: Any, address: str, demos: Path) -> None:
    open_screen(page, address, "road")
    page.set_viewport_size(PHONE)
    folder = demos / "road_test"
    _upload(page, [(p.name, p.read_bytes()) for p in sorted(folder.iterdir())])
    data = _compared(folder, "--scenario", str(demos / "van_water_tank" / "scenario.toml"))
    _until_verdict(page, data["verdict"]["headline"])
    page.wait_for_selector("[data-testid=stVegaLiteChart] svg, [data-testid=stVegaLiteChart] canvas")
    wide, there = page.evaluate("(m => [m.scrollWidth, m.clientWidth])(document.querySelector('[data-testid=stMain]'))")
    assert wide <= there
    unfold(page)
    assert found_by_axe(page) == []
    page.set_viewport_size({"width": 1280, "height": 900})
    page.get_by_role("link", name="How many runs would prove it?").last.click()
    page.wait_for_function("document.querySelector('h1')?.innerText === 'How many runs would prove it?'")
    page.get_by_role("link", name="What did the road say?").last.click()
    _until_verdict(page, data["verdict"]["headline"])  # what was uploaded is still there
    page.get_by_text("In use: ").wait_for()


def _drive(fuel_l_h: float, shift: int) -> bytes:
    """Return a log of 6 minutes at about 56 mph, invented, whose speed stands under a header that nobody knows."""
    rows = ["time (s),Spd2,engine fuel rate (L/h),engine speed (rpm)"]
    for k in range(360):
        wave = ((k + 7 * shift) % 40 - 20) / 20
        rows.append(f"{k},{(90 + 2 * wave) / MPH:.2f},{fuel_l_h * (1 + 0.02 * wave):.4f},2200")
    return "\n".join(rows).encode()


def test_a_column_is_corrected_and_the_list_taken_away_says_the_same(page: Any, address: str, tmp_path: Path) -> None:
    logs = [(f"{n}.csv", _drive(8.0 + (0.1 * k) - k % 2, k)) for k, n in enumerate("abcd")]
    open_screen(page, address, "road")
    _upload(page, logs)
    _until_verdict(page, "cannot be compared yet")
    page.get_by_text("What was understood of the 4 logs").click()
    page.wait_for_selector("text=Correct what a column means")
    _choose(page, "What it means", "vehicle speed")
    _choose(page, "Unit of its numbers", "mph")
    page.get_by_role("button", name="Use this meaning in every log").click()
    _until_verdict(page, "Costs fuel: +")
    content = _download(page, "Download the list of runs")
    assert b'Spd2 = "vehicle speed (mph)"' in content
    (tmp_path / "runs.toml").write_bytes(content)
    for name, log in logs:
        (tmp_path / name).write_bytes(log)
    data = _compared(tmp_path, "--scenario", str(ROOT / "scenarios" / "van_water_tank" / "scenario.toml"))
    assert data["verdict"]["headline"] == _verdict(page)
    assert data["runs"][0]["mean_speed_km_h"] == pytest.approx(90, abs=0.5)


def test_the_plan_and_its_sheet_are_the_commands(page: Any, address: str, demos: Path, tmp_path: Path) -> None:
    open_screen(page, address, "plan")
    slider = page.get_by_role("slider", name="road speed, km/h")
    slider.focus()
    page.keyboard.press("ArrowLeft")
    scenario = str(demos / "van_water_tank" / "scenario.toml")
    sheet = tmp_path / "sheet.html"
    options = ("--set", "trip.road_speed=99 km/h", "--seed", "1", "--length", "15 km", "--sheet", str(sheet), "--json")
    done = run("plan", scenario, *options)
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    _until_verdict(page, data["sentence"])
    page.wait_for_function("document.body.innerText.includes('(61.5 mph)')")
    assert _download(page, "Download the run sheet") == sheet.read_bytes()
