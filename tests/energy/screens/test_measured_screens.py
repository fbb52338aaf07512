"""The screens for what was measured, and for the size that is wanted: their answers are the command line's own."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest
from tests_support import computed_once, run

from energy.chain.draws import spread_of
from energy.chain.load import load, opened
from energy.chain.rotor_choice import compare_rotors
from energy.diagnosis.examples import HIDDEN_OFFSET_DEG, measured_example, results_example, sweep_example
from energy.diagnosis.reconcile import read_results, reconciled
from energy.diagnosis.true_pitch import read_measured, true_pitch_of
from energy.diagnosis.tuning import read_sweep, tuned_of
from energy.scenario import bundle as bundles
from energy.scenario.read import Scenario
from energy.screens import desk
from energy.words import pitch as pitch_words
from energy.words import reconcile as reconcile_words
from energy.words import tune as tune_words
from vehicle.problems import InputError
from vehicle.units import UnitSystem

DEMOS = ("van_water_tank", "camper_oven", "pickup_drying_box", "parked_on_a_ridge", "van_in_town")
HOSTILE = (
    b"\x00\x01garbage",
    b"",
    b"<script>alert(1)</script>,b\n1,2\n",
    b"time_s,air_speed_km_h,rotor_speed_rpm,electrical_power_w,pitch_deg\n0,-5,nan,<img src=x>,1e999\n",
    b"time_s,air_speed_km_h\n" + b"9" * 5000,
)


@pytest.fixture(scope="module", autouse=True)
def _what_screen_and_command_ask_is_computed_once(few_draws: None) -> Iterator[None]:
    """Compute once what the app and the command line ask of the same values; each words its own answer of it."""
    with computed_once(compare_rotors, reconciled, spread_of, true_pitch_of):
        yield


def _at(module: str, system: UnitSystem = "metric", bundle: bundles.Bundle | None = None) -> AppTest:
    """Show one screen in a session of its own."""
    script = f"""
from energy.screens import catalogue, desk
desk.start()
next(s for s in catalogue.SCREENS if s.module == {module!r}).shows()()
"""
    app = AppTest.from_string(script, default_timeout=300)
    for key in ("bundle", "loaded", "kept"):
        app.session_state[key] = bundle or desk.demos()[desk.FIRST_DEMO]
    app.session_state["round"] = 1
    app.session_state["system"] = system
    return app.run()


def _at_one_pitch(curves: str) -> str:
    """Return a file of curves with the rows of the pitch of 4 degrees only."""
    header, *rows = [line for line in curves.splitlines() if not line.startswith("#")]
    place = header.split(",").index("pitch_deg")
    return "\n".join([header, *(row for row in rows if float(row.split(",")[place]) == 4.0)])


def _demo(demos: Path, name: str) -> bundles.Bundle:
    return bundles.from_folder(demos / name / "scenario.toml")


def _said(app: AppTest) -> str:
    return " ".join(element.proto.body for element in app.get("html"))


def _words(app: AppTest) -> str:
    """Return what a screen says, without its tags."""
    return html.unescape(re.sub(r"<[^>]+>", "", _said(app)))


def _verdict(app: AppTest) -> str:
    """Return the answer sentence of a screen."""
    body: str = next(e.proto.body for e in app.get("html") if 'class="wt-verdict' in e.proto.body)
    said = body.partition('role="status">')[2].partition("</p>")[0]
    return html.unescape(re.sub(r"<[^>]+>", "", said))


def _held(app: AppTest, key: str) -> Any:
    return bundles.value_at(app.session_state["bundle"], key)


def _field(app: AppTest, kind: str, name: str) -> Any:
    """Return the widget of something typed, whatever round of fields it belongs to."""
    return next(w for w in getattr(app, kind) if w.key and w.key.startswith(f"typed {name}#"))


def _upload(app: AppTest, name: str, content: bytes) -> AppTest:
    return app.file_uploader[0].set_value((name, content, "text/csv")).run()


def _told_by_command(*arguments: str) -> str:
    """Return what a command prints, on one line."""
    done = run(*arguments, COLUMNS="1000")
    assert done.returncode in (0, 3), done.stderr
    return " ".join(done.stdout.split())


@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_pitch_screen_says_what_the_command_line_says(demos: Path, system: UnitSystem) -> None:
    shown = _at("pitch", system)
    assert "upload what you measured" in _verdict(shown)
    van = demos / "van_water_tank"
    _upload(shown, "mine.csv", (van / "measured.csv").read_bytes())
    assert not shown.exception
    told = _told_by_command("truepitch", str(van / "scenario.toml"), str(van / "measured.csv"), "--units", system)
    first = html.unescape(_said(shown)).partition('class="wt-headline">')[2].partition("</span>")[0]
    first = re.sub(r"<[^>]+>", "", first).removesuffix("</span>")
    assert first.startswith("Do not believe the dial")
    assert first in told
    last_row = html.unescape(_said(shown)).rpartition("</tbody>")[0].rpartition("<tr>")[2]
    cells = [part.partition(">")[2] for part in last_row.split("</td>")][:-1]
    assert " ".join(cells) in told


def test_the_pitch_found_is_put_into_the_scenario_with_its_doubt(demos: Path, tmp_path: Path) -> None:
    van = demos / "van_water_tank"
    lines = [line.rpartition(",")[0] for line in (van / "measured.csv").read_text().splitlines()[1:]]
    shown = _upload(_at("pitch"), "mine.csv", "\n".join(lines).encode())  # without the dial
    (tmp_path / "measured.csv").write_text("\n".join(lines))
    found = true_pitch_of(load(van / "scenario.toml"), read_measured(tmp_path / "measured.csv"))
    assert found.pitch_deg is not None
    shown.button(key="use pitch").click().run()
    assert not shown.exception
    held = _held(shown, "rotor.pitch")
    assert float(held["value"].removesuffix(" deg")) == pytest.approx(found.pitch_deg.estimate, abs=0.006)
    assert float(held["plus_minus"].removesuffix(" deg")) > 0.2
    assert "these rows agree with it" in _said(shown)  # the file stays with the session
    assert "In use: mine.csv" in _said(shown)
    shown.button(key="remove pitch").click().run()
    assert "upload what you measured" in _verdict(shown)


def test_a_dial_that_was_stepped_corrects_the_scenarios_own_reading(demos: Path) -> None:
    bundle = _demo(demos, "van_water_tank")
    content = measured_example(opened(bundle)).encode()
    shown = _upload(_at("pitch", bundle=bundle), "mine.csv", content)
    shown.button(key="use pitch").click().run()
    corrected = float(_held(shown, "rotor.pitch")["value"].removesuffix(" deg"))
    assert corrected == pytest.approx(4 + HIDDEN_OFFSET_DEG, abs=0.4)


def test_a_scenario_with_one_pitch_only_is_told_why(demos: Path) -> None:
    bundle = _demo(demos, "van_water_tank")
    curves = _at_one_pitch(dict(bundle.files)["rotor_curves.csv"].decode())
    one = bundles.with_file(bundle, "rotor_curves.csv", curves.encode())
    shown = _at("pitch", bundle=one)
    assert not shown.exception
    assert "no curves to find a pitch with" in _verdict(shown)
    assert "curves with a column pitch_deg" in _said(shown)
    assert not shown.file_uploader


@pytest.mark.parametrize("content", HOSTILE)
@pytest.mark.parametrize("screen", ["pitch", "setting", "watts"])
def test_hostile_files_are_told_as_text(screen: str, content: bytes) -> None:
    shown = _at(screen)
    if screen == "setting":
        _field(shown, "radio", "setting way").set_value("by a sweep that I drove (CSV)").run()
    if screen == "watts":
        _field(shown, "radio", "watts way").set_value("from a file (results.toml)").run()
    name = f"<b>evil</b>.{'toml' if screen == 'watts' else 'csv'}"
    _upload(shown, name, content)
    assert not shown.exception
    said = _said(shown)
    assert 'role="alert"' in said
    assert re.search("cannot be|Not enough data", _verdict(shown))
    assert "<script" not in said
    assert "<img" not in said
    assert "<b>evil" not in said
    assert html.escape(name) in said
    assert "/tmp/" not in said


def test_the_sweep_says_what_the_command_line_says_and_can_be_used(demos: Path) -> None:
    van = demos / "van_water_tank"
    shown = _at("setting")
    assert _verdict(shown).startswith(("Maximum heat within the stated limits: ", "The best within the limits: "))
    _field(shown, "radio", "setting way").set_value("by a sweep that I drove (CSV)").run()
    assert "Nothing yet" in _verdict(shown)
    assert any("call sheet" in one.label for one in shown.get("download_button"))
    _upload(shown, "mine.csv", (van / "sweep.csv").read_bytes())
    assert not shown.exception
    done = run("tune", str(van / "scenario.toml"), str(van / "sweep.csv"), "--json")
    data = json.loads(done.stdout)
    best = data["best"]["estimate"]
    assert data["headline"] in _words(shown)
    assert data["headline"] in _told_by_command("tune", str(van / "scenario.toml"), str(van / "sweep.csv"))
    shown.button(key="use best of sweep").click().run()
    assert not shown.exception
    assert float(_held(shown, "rotor.pitch").removesuffix(" deg")) == pytest.approx(best, rel=1e-3)
    assert "In use: mine.csv" in _said(shown)


def test_readings_typed_say_what_the_command_line_says_of_the_same_file(demos: Path, tmp_path: Path) -> None:
    shown = _at("watts")
    assert "Nothing yet" in _verdict(shown)
    _field(shown, "text_input", "watts 1 electrical_power value").set_value("1050").run()
    assert "reading 1: ±" in _said(shown)
    assert "cannot be compared yet" in _verdict(shown)
    _field(shown, "text_input", "watts 1 electrical_power half value").set_value("40").run()
    _field(shown, "text_input", "watts 1 speed value").set_value("50 mph").run()
    _field(shown, "text_input", "watts 1 what").set_value("<i>meter</i>").run()
    _field(shown, "selectbox", "watts count").set_value(2).run()
    _field(shown, "selectbox", "watts 2 kind").set_value("fuel_change").run()
    _field(shown, "text_input", "watts 2 fuel_change value").set_value("2.3").run()
    _field(shown, "text_input", "watts 2 fuel_change half value").set_value("0.4").run()
    assert not shown.exception
    results = tmp_path / "results.toml"
    results.write_text(
        '[[result]]\nwhat = "<i>meter</i>"\nroad_speed = "50 mph"\n'
        'electrical_power = { value = "1050 W", plus_minus = "40 W" }\n'
        '[[result]]\nroad_speed = "100 km/h"\nfuel_change = { value = "2.3 L/h", plus_minus = "0.4 L/h" }\n'
    )
    told = _told_by_command("reconcile", str(demos / "van_water_tank" / "scenario.toml"), str(results))
    assert _verdict(shown) in told
    assert "Readings and model agree" in _said(shown)
    assert "<i>" not in _said(shown)
    before = shown.session_state["bundle"]
    shown.button(key="use readings").click().run()
    assert not shown.exception
    changed = [key for key, _, _ in bundles.changes(before, shown.session_state["bundle"])]
    assert "rotor.local_speed_factor" in changed
    for key in changed:
        line = f"{key.partition('.')[2]} = {{ value = {_held(shown, key)['value']}"
        assert line.replace('"', "") in told.replace('"', "")


def test_readings_that_contradict_the_scenario_are_not_offered_for_it() -> None:
    shown = _at("watts")
    _field(shown, "text_input", "watts 1 electrical_power value").set_value("9 kW").run()
    _field(shown, "text_input", "watts 1 electrical_power half value").set_value("10 W").run()
    assert not shown.exception
    assert "Readings and model do NOT agree" in _said(shown)
    assert not [b for b in shown.button if b.key == "use readings"]


def test_a_reading_of_nonsense_is_told() -> None:
    shown = _at("watts")
    _field(shown, "text_input", "watts 1 electrical_power value").set_value("<b>many</b>").run()
    _field(shown, "text_input", "watts 1 electrical_power half value").set_value("some").run()
    assert not shown.exception
    assert "cannot be compared yet" in _verdict(shown)
    assert "does not begin with a number" in _said(shown)
    assert "<b>many" not in _said(shown)


def test_the_size_begins_with_the_scenario_and_follows_the_fields(demos: Path) -> None:
    shown = _at("size")
    options = ("--speed", "100 km/h", "--shelter", "60 %", "--fuel", "diesel", "--efficiency", "81.75 %")
    assert _verdict(shown) in _told_by_command("size", "--heat", "3 kW", *options)
    _field(shown, "text_input", "size heat value").set_value("1.2 kW").run()
    _field(shown, "text_input", "size ratios").set_value("2, 3.5").run()
    assert not shown.exception
    told = _told_by_command("size", "--heat", "1.2 kW", *options, "--ratio", "2", "--ratio", "3.5")
    assert _verdict(shown) in told
    assert "3.5:1 rpm" in _said(shown)
    _field(shown, "text_input", "size heat value").set_value("lots").run()
    assert "cannot" not in _verdict(shown)
    assert "No size can be calculated" in _verdict(shown)
    assert "does not begin with a number" in _said(shown)
    shown.button(key="size again").click().run()
    assert _verdict(shown) in _told_by_command("size", "--heat", "3 kW", *options)
    assert not shown.exception


def test_what_was_typed_outlives_another_system_of_units() -> None:
    shown = _at("size")
    _field(shown, "text_input", "size heat value").set_value("1200").run()
    shown.session_state["system"] = "us"
    shown.session_state["round"] += 1
    shown.run()
    assert "1.20 kW of heat at 62.1 mph" in _verdict(shown)
    assert _field(shown, "text_input", "size speed value").value == "62.14"
    _field(shown, "selectbox", "size heat unit").set_value("kW").run()
    assert _field(shown, "text_input", "size heat value").value == "1.2"
    assert "1.20 kW of heat" in _verdict(shown)


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("demo", DEMOS)
def test_the_examples_are_read_back_and_give_a_sensible_answer(
    demos: Path, tmp_path: Path, demo: str, system: UnitSystem
) -> None:
    scenario = load(demos / demo / "scenario.toml")
    _written(tmp_path / "measured.csv", measured_example, scenario, system)
    rows = read_measured(tmp_path / "measured.csv")
    pitch = true_pitch_of(scenario, rows)
    assert pitch.offset_deg is not None
    assert pitch.offset_deg.low <= HIDDEN_OFFSET_DEG <= pitch.offset_deg.high
    assert "Do not believe the dial" in pitch_words.dial_words(scenario, pitch, rows)[0]
    _written(tmp_path / "sweep.csv", sweep_example, scenario, system)
    tuned = tuned_of(scenario, read_sweep(tmp_path / "sweep.csv", scenario))
    assert tuned.best_is_known
    assert tuned.kind == "pitch"
    assert tune_words.headlines(tuned)[0].startswith("Best pitch")
    (tmp_path / "results.toml").write_text(results_example(scenario), encoding="utf-8")
    found = reconciled(scenario, read_results(tmp_path / "results.toml"))
    assert found.agrees
    assert "agree" in reconcile_words.agreement(found)
    assert all(row.before != row.value for row in found.readings)


def _written(
    path: Path, example: Callable[[Scenario, UnitSystem], str], scenario: Scenario, system: UnitSystem
) -> None:
    text = example(scenario, system)
    assert "Invented" in text.splitlines()[0]
    assert ("mph" in text.splitlines()[1]) == (system == "us")
    path.write_text(text, encoding="utf-8")


def test_a_rotor_with_one_pitch_is_stepped_by_its_element(demos: Path, tmp_path: Path) -> None:
    folder = tmp_path / "van"
    folder.mkdir()
    van = demos / "van_water_tank"
    (folder / "rotor_curves.csv").write_text(_at_one_pitch((van / "rotor_curves.csv").read_text()))
    (folder / "scenario.toml").write_text((van / "scenario.toml").read_text())
    scenario = load(folder / "scenario.toml")
    with pytest.raises(InputError, match="several pitches"):
        measured_example(scenario)
    (tmp_path / "sweep.csv").write_text(sweep_example(scenario))
    assert tuned_of(scenario, read_sweep(tmp_path / "sweep.csv", scenario)).kind == "resistance"
