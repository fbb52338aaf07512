"""The screen of the loads: pitch system, spin-up and tap test are those of the command line."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest
from tests_support import run

from energy.chain.load import load
from energy.diagnosis.examples import spin_up_example, tap_example
from energy.scenario import bundle as bundles
from energy.screens import desk

VAN = Path(__file__).parents[3] / "scenarios" / "van_water_tank" / "scenario.toml"
_SCRIPT = """
from energy.screens import catalogue, desk
desk.start()
next(s for s in catalogue.SCREENS if s.module == "withstand").shows()()
"""


def _app(bundle: bundles.Bundle | None = None) -> AppTest:
    app = AppTest.from_string(_SCRIPT, default_timeout=300)
    for key in ("bundle", "loaded", "kept"):
        app.session_state[key] = bundle or desk.demos()[desk.FIRST_DEMO]
    app.session_state["round"] = 1
    app.session_state["system"] = "metric"
    return app.run()


def _words(app: AppTest) -> str:
    said = " ".join(element.proto.body for element in app.get("html"))
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", said)).split())


def _uploader(app: AppTest, place: str) -> Any:
    return next(one for one in app.file_uploader if f"upload {place}" in one.key)


def _upload(app: AppTest, place: str, name: str, content: bytes) -> AppTest:
    shown = _uploader(app, place).set_value([(name, content, "text/csv")]).run()
    assert not shown.exception
    return shown


def test_the_pitch_system_is_shown_as_the_command_says_it() -> None:
    app = _app()
    assert not app.exception
    words = _words(app)
    assert "Force over the travel: up to 330 N at 40.9°" in words
    assert "Mainly centrifugal force" in words
    done = " ".join(run("loads", str(VAN), "--pitch-system").stdout.split())
    assert re.search(r"Actuator: (\d+ N or more, [\d.]+ mm)", done).group(1) in words
    electrical = " ".join(run("loads", str(VAN), "--electrical").stdout.split())
    assert re.search(r"Short circuit is no brake from \d+ rpm", electrical).group() in words
    assert "First flapwise frequency: 34.5 Hz standing" in words


def test_a_spin_up_log_says_what_the_command_says(tmp_path: Path) -> None:
    log = tmp_path / "spin_up.csv"
    log.write_text(spin_up_example(load(VAN)))
    app = _upload(_app(), "spin up", "my spin.csv", log.read_bytes())
    data = json.loads(run("loads", str(VAN), "--spin-up-log", str(log), "--json").stdout)
    words = _words(app)
    assert f"up to 849 rpm of 849 rpm; largest vibration {data['log']['largest_mm_s']:.2g} mm/s" in words
    assert data["log"]["peak_rpm"] / 849 == pytest.approx(0.55, abs=0.04)
    assert "something rings at" in words
    # the mount's frequency, typed: the imbalance hidden in the example is 1.8 times that of the scenario
    field = next(one for one in app.text_input if one.label.startswith("tap test"))
    app = field.set_value(f"{0.55 * 849 / 60:.3f} Hz").run()
    assert not app.exception
    found = re.search(r"shakes like an imbalance of ([\d ]+) g·mm; the steps count on ([\d ]+) g·mm", _words(app))
    shaken, planned = (float(text.replace(" ", "")) for text in found.groups())
    assert shaken / planned == pytest.approx(1.8, rel=0.12)
    assert "balance it" in _words(app)


def test_a_log_over_its_limits_is_told_before_the_loads() -> None:
    rows = "rotor_speed_rpm,vibration_mm_s\n200,1\n400,3\n600,9\n900,12\n"
    words = _words(_upload(_app(), "spin up", "spin.csv", rows.encode()))
    assert words.index("Do not operate. The log reaches 900 rpm") < words.index("The loads")
    assert words.index("Vibration passes 7.1 mm/s from 600 rpm") < words.index("The loads")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"rotor_speed_mph,vibration_mm_s\n1,1\n2,2\n3,3\n", "rotor_speed"),
        (b"rotor_speed_rpm\n1\n2\n3\n", "vibration"),
        (b"rotor_speed_rpm,vibration_mm_s\n200,1\n400,2\n", "3"),
        (b"", "spin.csv"),
        (b"\x00\x01garbage", "spin.csv"),
        (b"<script>alert(1)</script>,b\n1,2\n", "rotor_speed"),
    ],
)
def test_a_log_that_cannot_be_used_is_told_and_the_loads_stay(content: bytes, said: str) -> None:
    app = _upload(_app(), "spin up", "spin.csv", content)
    words = _words(app)
    told = words[words.index("This file cannot be used yet") :]
    assert said in told
    assert "The loads" in words


def test_a_tap_is_read_from_a_file_or_as_typed_and_never_from_a_path(tmp_path: Path) -> None:
    (tmp_path / "tap.csv").write_text(tap_example())
    app = _upload(_app(), "tap", "tap.csv", tap_example().encode())
    assert re.search(r"the mount's 7\.(49|5\d?) Hz", _words(app))
    field = next(one for one in app.text_input if one.label.startswith("tap test"))
    app = field.set_value(str(tmp_path / "tap.csv")).run()
    assert "This value cannot be used yet" in _words(app)
    assert not app.exception


def test_without_a_linkage_there_is_no_section_of_it(demos: Path) -> None:
    app = _app(bundles.from_folder(demos / "camper_oven" / "scenario.toml"))
    assert not app.exception
    assert "will the actuator hold" not in _words(app)
