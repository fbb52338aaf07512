"""`windtoll shortfall` from the command line and on its screen: one answer, whole JSON, faults in one sentence."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest
from tests_support import computed_once, run

from energy.chain.load import load
from energy.diagnosis.examples import HIDDEN_AIR_SHARE, shortfall_example
from energy.diagnosis.shortfall import shortfall
from energy.diagnosis.shortfall_readings import read_readings
from energy.screens import desk

VAN = Path(__file__).parents[3] / "scenarios" / "van_water_tank" / "scenario.toml"
READING = "210 W at 60 mph, 400 rpm"
CAUSES = ("pitch", "local_air", "blades", "stall", "generator", "element", "belt", "wiring", "wind", "meter")


@pytest.fixture(scope="module", autouse=True)
def _what_the_same_readings_show_is_computed_once() -> Iterator[None]:
    with computed_once(shortfall):
        yield


def test_json_has_the_form_that_is_promised() -> None:
    done = run("shortfall", str(VAN), "--reading", READING, "--json")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    chances = [c["probability"] for c in data["causes"]]
    assert chances == sorted(chances, reverse=True)
    assert {c["cause"] for c in data["causes"]} == set(CAUSES)
    assert set(data["undecided_between"]) <= {c["cause"] for c in data["causes"]}
    assert {"what", "minutes", "tools", "outcomes"} <= set(data["next_test"])
    assert set(data["expected_w"]) == {"estimate", "low", "high", "level"}


def test_the_first_lines_say_what_to_check_and_how_dangerous_it_is() -> None:
    done = run("shortfall", str(VAN), "--reading", READING, "--units", "us", COLUMNS="1000")
    assert done.returncode == 0, done.stderr
    first = done.stdout.splitlines()
    answer = next(k for k, line in enumerate(first) if line.startswith(("Check first", "Undecided", "Two causes")))
    assert all(line.startswith("After the repair (cause: ") for line in first[1:answer])
    assert first[answer + 1].startswith("May it be operated like this? Not checked yet")
    assert first[answer + 2].startswith("Next test, ")
    assert first[answer + 3].startswith("If ")
    assert first[answer + 4] == "Measured: 210 W"
    assert first[answer + 5].startswith("Expected at that reading")
    assert "locked" in done.stdout.partition("Cautions")[2]


def test_a_file_and_lines_count_together(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("road_speed_mph,electrical_power_w\n60,210\n")
    done = run("shortfall", str(VAN), str(path), "--reading", "95 W at 45 mph", "--json")
    assert done.returncode == 0, done.stderr


def test_what_is_missing_is_asked_for_in_one_sentence(tmp_path: Path) -> None:
    done = run("shortfall", str(VAN))
    assert done.returncode == 2
    assert "READINGS.csv, or --reading" in done.stderr
    path = tmp_path / "mine.csv"
    path.write_text("electrical_power_w\n210\n")
    done = run("shortfall", str(VAN), str(path))
    assert done.returncode == 2
    assert "the road speed, such as 60 mph" in done.stderr


def test_the_example_hides_slow_air_and_it_is_among_what_is_found(tmp_path: Path) -> None:
    scenario = load(VAN)
    path = tmp_path / "readings.csv"
    path.write_text(shortfall_example(scenario, "us"))
    found = shortfall(scenario, read_readings(path))
    assert HIDDEN_AIR_SHARE < 0.9
    assert "local_air" in [c.cause for c in found.causes[:2]]


def _screen() -> AppTest:
    script = """
from energy.screens import catalogue, desk
desk.start()
next(s for s in catalogue.SCREENS if s.module == "shortfall").shows()()
"""
    app = AppTest.from_string(script, default_timeout=300)
    for key in ("bundle", "loaded", "kept"):
        app.session_state[key] = desk.demos()[desk.FIRST_DEMO]
    app.session_state["round"] = 1
    app.session_state["system"] = "us"
    return app.run()


def _verdict(app: AppTest) -> str:
    body: str = next(e.proto.body for e in app.get("html") if 'class="wt-verdict' in e.proto.body)
    said = body.partition('role="status">')[2].partition('<span class="wt-line')[0].partition("</p>")[0]
    return html.unescape(re.sub(r"<div.*</div>|<[^>]*>", "", said)).strip()


def test_the_screen_says_what_the_command_says() -> None:
    app = _screen()
    assert "Nothing yet" in _verdict(app)
    field = next(w for w in app.text_input if w.key and w.key.startswith("typed shortfall 1#"))
    field.set_value(READING).run()
    assert not app.exception
    told = run("shortfall", str(VAN), "--reading", READING, "--units", "us", COLUMNS="1000").stdout
    assert _verdict(app).startswith("Undecided between ")
    assert _verdict(app) in told
    field = next(w for w in app.text_input if w.key and w.key.startswith("typed shortfall 1#"))
    field.set_value("210 W").run()
    assert "cannot be used" in _verdict(app)
    assert not app.exception


def test_a_picture_is_saved_and_another_kind_refused(tmp_path: Path) -> None:
    path = tmp_path / "causes.svg"
    done = run("shortfall", str(VAN), "--reading", READING, "--picture", str(path))
    assert done.returncode == 0, done.stderr
    assert "element" in path.read_text()
    wrong = run("shortfall", str(VAN), "--reading", READING, "--picture", str(tmp_path / "causes.gif"))
    assert wrong.returncode == 2
    assert ".png" in wrong.stderr
