"""The app's logic without a browser: forms, faults, units, variants; the numbers are the command line's."""

from __future__ import annotations

import html
import json
import re
from html import unescape
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest
from tests_support import run

from energy.chain.answer import answered
from energy.chain.load import opened
from energy.scenario import bundle as bundles
from energy.scenario.keys import TABLES
from energy.screens import catalogue, desk, edit
from energy.words import answer as report
from energy.words.screens import in_the_app

APP = str(Path(__file__).resolve().parents[3] / "app.py")


@pytest.fixture
def app() -> AppTest:
    return AppTest.from_file(APP, default_timeout=300).run()


def _at(app: AppTest | SimpleNamespace, screen: str) -> AppTest:
    """Show one screen of the same session, or of one that holds the same."""
    script = f"""
import streamlit as st
from energy.screens import catalogue, desk
desk.start()
next(s for s in catalogue.SCREENS if s.module == {screen!r}).shows()()
"""
    other = AppTest.from_string(script, default_timeout=300)
    for key in ("bundle", "loaded", "kept", "usable", "system", "round", "typed", "uploads"):
        if key in app.session_state:
            other.session_state[key] = app.session_state[key]
    return other.run()


def _said(app: AppTest) -> str:
    return " ".join(element.proto.body for element in app.get("html"))


def _words(app: AppTest) -> str:
    """Return what a screen says, without its tags."""
    return html.unescape(re.sub(r"<[^>]+>", "", _said(app)))


def _told(app: AppTest) -> list[str]:
    """Return the verdicts as the command line words them: danger, headline, numbers, then what is least known."""
    found: list[str] = []
    parts = (
        r'<div class="wt-verdict[^>]*>(?P<verdict>.*?)</div>(?=<p class="wt-case)'
        r'|<p class="wt-least">(?P<least>.*?)</p>'
    )
    for match in re.finditer(parts, _said(app), re.DOTALL):
        plain = " ".join(unescape(re.sub(r"<[^>]+>", " ", match["verdict"] or match["least"])).split())
        if match["verdict"]:
            found.append(plain)
        else:
            found[-1] += f" {plain}"
    return found


def _held(app: AppTest) -> bundles.Bundle:
    found: bundles.Bundle = app.session_state["bundle"]
    return found


def _part(app: AppTest, table: str) -> None:
    """Choose the part of the form that holds a table."""
    group = edit.group_of(table)
    _field(app, "radio", "typed part").set_value(group).run()
    _field(app, "radio", f"typed part of {group}").set_value(table).run()


def _field(app: AppTest, kind: str, name: str) -> Any:
    """Return the widget of a scenario's field, whatever round of fields it belongs to."""
    return next(w for w in getattr(app, kind) if w.key and w.key.startswith(f"{name}#"))


def _sentence(demos: Path, *options: str) -> str:
    done = run("answer", str(demos / "van_water_tank" / "scenario.toml"), "--json", *options)
    sentence: str = json.loads(done.stdout)["sentence"]
    return in_the_app(sentence)


def test_it_opens_on_the_verdict_of_the_demo(app: AppTest, demos: Path) -> None:
    assert not app.exception
    assert _sentence(demos) in _told(app)


@pytest.mark.parametrize("screen", [screen.module for screen in catalogue.SCREENS])
@pytest.mark.parametrize("demo", desk.demos())
def test_every_screen_shows_every_demo(demos: Path, screen: str, demo: str) -> None:
    bundle = bundles.from_folder(demos / demo / "scenario.toml")
    session = {"bundle": bundle, "loaded": bundle, "kept": bundle, "round": 1, "system": "us"}
    shown = _at(SimpleNamespace(session_state=session), screen)
    assert not shown.exception
    assert 'class="wt-verdict' in _said(shown)
    title = bundle.data()["title"]
    assert title in _said(shown)
    if screen != "evidence":  # what was published stands in its own units
        assert _metric(shown, title, _NOT_IN_US) == []
    if demo in ("pickup_drying_box", "van_in_town") and screen not in ("evidence", "road"):
        shown.session_state["system"] = "uk"
        shown.session_state["round"] += 1
        assert not shown.run().exception
        assert _metric(shown, title, _NOT_IN_UK) == []


@pytest.mark.parametrize("system", ["us", "uk"])
def test_every_part_of_the_form_is_in_the_units_chosen(demos: Path, system: str) -> None:
    bundle = bundles.from_folder(demos / "van_water_tank" / "scenario.toml")
    session = {"bundle": bundle, "loaded": bundle, "kept": bundle, "round": 1, "system": system, "typed": {}}
    shown = _at(SimpleNamespace(session_state=session), "edit")
    found = set(_metric(shown, bundle.data()["title"], _NOT_IN_US if system == "us" else _NOT_IN_UK))
    for table in TABLES:
        group = edit.group_of(table)
        shown.session_state["typed"] = {"part": group, f"part of {group}": table}
        shown.session_state["round"] += 1
        assert not shown.run().exception
        found |= set(_metric(shown, bundle.data()["title"], _NOT_IN_US if system == "us" else _NOT_IN_UK))
    assert found == set()


_NOT_IN_UK = r"km/h|km"
_NOT_IN_US = (
    r"km/h|km|m/s²?|m/s\^2|mm/s|mm|cm|m|mm²|cm²|m²|m\^2|m³|m\^3|kg/h|kg/m³|kg/m\^3|kg·m|kg\*m|g·mm|g\*mm|kg|"
    r"L/h|L/100 ?km|L per kWh|L/kWh|L|mL|°C|degC|K|N·m|N\*m|kN·m|kN|N|N·s/m|N·s²/m²|hPa|kPa|MPa|GPa|Pa|bar|kJ/K|J/K|"
    r"W/K|W/\(m²?·?K\)|kJ/\(kg K\)|kWh/kg|MJ|kJ"
)
# What may stand in metric units, and why.
_BY_THE_LITRE = ("fuel ",)  # a fuel's heating value and carbon: defined by the litre, with their sources
_AS_DEFINED = (
    r"\(?(?:cold \()?(?:at )?20 degC\)?",  # the temperature at which a resistance is stated
    r"balance_grade = 16 mm/s|balance_grade: 16 mm/s|G 16|(?:such as )?\"16 mm/s\"|at least [\d.]+ mm/s|"
    r"[Dd]efault: 16 mm/s|is 6.3 mm/s|above 0 mm/s|at most 4000 mm/s",  # ISO 21940-11 names its grades by mm/s
    r"(?<![\d.])0\.8 g",  # of gravity
    r"\d \w+/L",  # a price by the litre, as the scenario has it
)


def _metric(app: AppTest, title: str, units_of: str) -> list[str]:
    """Return what a screen says in units of another system than the chosen one: texts, labels, examples, charts.

    A number in both ("15 mm (0.59 in)") stands in both; what stands behind the semicolon of an assumption, or behind
    "common practice", is a source in its own units; the boxes of units offer all of them.
    """
    number = rf"(?<![\w.])[−-]?\d[\d .,]*(?: to [\d.]+)? ?(?:{units_of})(?![\w/²³·*^])"
    heading = rf"(?:,| \(|[a-z]) (?:{units_of})\)?$"
    found = []
    for text in _shown_texts(app):
        plain = text.replace(title, "")
        if plain.startswith(_BY_THE_LITRE):
            continue
        plain = re.split(r"; |: common practice|, no source", plain)[0]
        plain = re.sub("|".join(_AS_DEFINED), "", plain)
        plain = re.sub(rf"\d[\d.]*(?: to [\d.]+)? (?:{units_of}) \([^)]*\)", "", plain)
        if plain.startswith(("Run sheet: ", *(f"{k} runs of" for k in range(100)))):
            plain = re.sub(r"\([^)]*\)", "", plain)
        if re.search(number, plain) or re.search(heading, plain):
            found.append(text)
    return found


def _shown_texts(app: AppTest) -> list[str]:
    """Return all texts that a screen shows, but for the choices of unit boxes and the data of charts."""
    found: list[str] = []

    def of_chart(part: Any) -> None:
        if isinstance(part, dict):
            for key, inner in part.items():
                if key in ("title", "text", "titles") and isinstance(inner, str):
                    found.append(inner)
                elif key not in ("data", "datasets", "values"):
                    of_chart(inner)
        elif isinstance(part, list):
            for inner in part:
                of_chart(inner)

    def of_message(message: Any) -> None:
        for field, value in message.ListFields():
            if field.name == "spec":
                of_chart(json.loads(value))
            elif field.name in ("id", "element_id", "options", "form_id", "page", "url", "user_key", "data"):
                continue
            elif field.message_type is not None:
                if not field.message_type.GetOptions().map_entry:
                    for inner in value if field.is_repeated else (value,):
                        of_message(inner)
            elif field.type == field.TYPE_STRING:
                for text in value if field.is_repeated else (value,):
                    found.extend(part for raw in re.split(r"<[^>]+>", text) if (part := html.unescape(raw).strip()))

    def of_block(block: Any) -> None:
        for child in getattr(block, "children", {}).values():
            if (message := getattr(child, "proto", None)) is not None and child.type != "text_area":  # the file itself
                of_message(message)
            of_block(child)

    of_block(app._tree)
    return found


def test_money_on_the_screen_is_that_of_the_command_line(app: AppTest, demos: Path) -> None:
    done = run("payback", str(demos / "van_water_tank" / "scenario.toml"), "--json")
    (told,) = _told(_at(app, "pay"))
    assert told == in_the_app(json.loads(done.stdout)["sentence"])


def test_a_dial_moves_the_verdict_to_what_the_command_line_says(app: AppTest, demos: Path) -> None:
    _field(app, "slider", "dial trip.road_speed km/h").set_value(80.0).run()
    assert bundles.value_at(_held(app), "trip.road_speed") == "80 km/h"
    assert _sentence(demos, "--set", "trip.road_speed=80 km/h") in _told(app)
    _field(app, "radio", "dial trip.compared_with").set_value("stowed").run()
    expected = _sentence(demos, "--set", "trip.road_speed=80 km/h", "--set", "trip.compared_with=stowed")
    assert expected in _told(app)


def test_units_change_what_is_shown_and_not_the_scenario(app: AppTest, demos: Path) -> None:
    before = _held(app)
    app.radio(key="system_choice").set_value("us").run()
    assert _held(app) == before
    assert _sentence(demos, "--units", "us") in _told(app)


def test_a_faulty_value_is_told_beside_its_field_in_the_command_lines_words(app: AppTest, demos: Path) -> None:
    shown = _at(app, "edit")
    _field(shown, "text_input", "trip.road_speed value").set_value("fast").run()
    done = run("answer", str(demos / "van_water_tank" / "scenario.toml"), "--set", "trip.road_speed=fast")
    words = done.stderr.splitlines()[1].strip().removeprefix("--set: ")
    from html import escape

    assert _said(shown).count(escape(f"scenario.toml: {words}", quote=True)) == 2  # on top, and beside the field
    assert _sentence(demos) in _told(shown)  # the last answer that could be given
    assert bundles.value_at(_held(shown), "trip.road_speed") == "fast"  # nothing that was typed is lost
    _field(shown, "text_input", "trip.road_speed value").set_value("62").run()
    assert bundles.value_at(_held(shown), "trip.road_speed") == "62 km/h"
    assert "Cannot be used" not in _said(shown)


def test_a_unit_that_comes_together_with_a_text_of_that_unit_converts_nothing(app: AppTest) -> None:
    edit_screen = _at(app, "edit")
    _field(edit_screen, "text_input", "vehicle.mass value").set_value("4,600 lb").run()
    assert bundles.value_at(_held(edit_screen), "vehicle.mass") == "4600 lb"
    _field(edit_screen, "text_input", "vehicle.mass value").set_value("2100 kg")
    _field(edit_screen, "selectbox", "vehicle.mass unit").set_value("kg").run()
    assert bundles.value_at(_held(edit_screen), "vehicle.mass") == "2100 kg"
    begin = "typed own speed"
    _field(edit_screen, "text_input", f"{begin} value").set_value("40 mph").run()
    _field(edit_screen, "text_input", f"{begin} value").set_value("70 km/h")
    _field(edit_screen, "selectbox", f"{begin} unit").set_value("km/h").run()
    assert edit_screen.session_state["typed"]["own speed"] == "70 km/h"


def test_another_unit_keeps_the_quantity(app: AppTest) -> None:
    shown = _at(app, "edit")
    _field(shown, "selectbox", "trip.road_speed unit").set_value("mph").run()
    assert bundles.value_at(_held(shown), "trip.road_speed") == "62.1371 mph"
    _field(shown, "text_input", "trip.road_speed value").set_value("55").run()
    assert bundles.value_at(_held(shown), "trip.road_speed") == "55 mph"
    _field(shown, "text_input", "trip.road_speed value").set_value("25 m/s").run()
    assert bundles.value_at(_held(shown), "trip.road_speed") == "25 m/s"


def test_a_temperature_with_its_half_width_is_converted_as_a_difference(app: AppTest) -> None:
    shown = _at(app, "edit")
    _part(shown, "air")
    _field(shown, "selectbox", "air.temperature sure").set_value("plus or minus").run()
    _field(shown, "text_input", "air.temperature plus_minus").set_value("5").run()
    assert bundles.value_at(_held(shown), "air.temperature") == {"value": "15 degC", "plus_minus": "5 K"}
    _field(shown, "selectbox", "air.temperature unit").set_value("degF").run()
    assert bundles.value_at(_held(shown), "air.temperature") == {"value": "59 degF", "plus_minus": "9 degF"}
    assert not shown.exception


def test_a_range_and_back_to_the_default(app: AppTest) -> None:
    shown = _at(app, "edit")
    _part(shown, "vehicle")
    _field(shown, "selectbox", "vehicle.rolling_resistance sure").set_value("between").run()
    _field(shown, "text_input", "vehicle.rolling_resistance low").set_value("0.008").run()
    assert "a range without both low and high" in _said(shown)
    _field(shown, "text_input", "vehicle.rolling_resistance high").set_value("0.012").run()
    held = bundles.value_at(_held(shown), "vehicle.rolling_resistance")
    assert held == {"value": 0.0095, "low": 0.008, "high": 0.012}
    _field(shown, "selectbox", "vehicle.rolling_resistance sure").set_value("exactly").run()
    _field(shown, "text_input", "vehicle.rolling_resistance value").set_value("").run()
    assert bundles.value_at(_held(shown), "vehicle.rolling_resistance") is None


@pytest.mark.parametrize("demo", ["van_water_tank", "camper_oven", "pickup_drying_box", "parked_on_a_ridge"])
def test_looking_at_every_part_changes_nothing(app: AppTest, demos: Path, demo: str) -> None:
    from energy.scenario.keys import TABLES

    bundle = bundles.from_folder(demos / demo / "scenario.toml")
    for key in ("bundle", "loaded", "kept"):
        app.session_state[key] = bundle
    shown = _at(app, "edit")
    for part in TABLES:
        _part(shown, part)
        assert not shown.exception, part
    assert _held(shown) == bundle


def test_from_engine_to_battery_by_buttons_only(app: AppTest) -> None:
    shown = _at(app, "edit")
    _part(shown, "engine")
    shown.button(key="without engine").click().run()
    assert "either a table [engine] or a table [battery]" in _said(shown)
    _part(shown, "battery")
    shown.button(key="add battery").click().run()
    assert "Costs battery energy" in _said(shown)


def test_gears_and_choices_are_written_as_the_file_has_them(app: AppTest) -> None:
    shown = _at(app, "edit")
    _part(shown, "engine")
    _field(shown, "text_input", "engine.speed_per_1000_rpm value").set_value("9, 17, 27.5").run()
    assert bundles.value_at(_held(shown), "engine.speed_per_1000_rpm") == ["9 km/h", "17 km/h", "27.5 km/h"]
    _field(shown, "selectbox", "engine.fuel value").set_value("petrol").run()
    assert bundles.value_at(_held(shown), "engine.fuel") == "petrol"
    _field(shown, "selectbox", "engine.runs_when_parked value").set_value(True).run()
    assert bundles.value_at(_held(shown), "engine.runs_when_parked") is True


def test_undo_to_loaded(app: AppTest) -> None:
    loaded = _held(app)
    _field(app, "slider", "dial air.wind_speed km/h").set_value(30.0).run()
    assert _held(app) != loaded
    next(b for b in app.button if b.label == "Revert to loaded").click().run()
    assert _held(app) == loaded
    assert _field(app, "slider", "dial air.wind_speed km/h").value == 0.0


def test_two_variants_side_by_side(app: AppTest, demos: Path) -> None:
    _field(app, "slider", "dial trip.road_speed km/h").set_value(70.0).run()
    shown = _at(app, "compare")
    said, told = _said(shown), _told(shown)
    assert _sentence(demos) in told
    assert _sentence(demos, "--set", "trip.road_speed=70 km/h") in told
    before = answered(opened(shown.session_state["kept"]))
    after = answered(opened(_held(shown)))
    assert report.difference_sentence(before, after, "metric") in said
    next(b for b in shown.button if b.label == "Keep B as the new A").click().run()
    assert "Nothing differs yet" in _said(shown)
    labels = ("The numbers side by side", "At the stated values")
    tables = [
        h.proto.body for h in shown.get("html") if any(f'aria-label="{label}"' in h.proto.body for label in labels)
    ]
    assert len(tables) == 2
    columns = [re.findall(r"<tr[^>]*><td>([^<]*)</td>", table) for table in tables]
    for names in columns:  # each stands once
        assert len(names) == len(set(names))
    assert not set(columns[0]) & set(columns[1]) - {"heat"}, set(columns[0]) & set(columns[1])
    assert {"heat", "thrust", "warm-up", "rotor speed"} <= set(columns[0]) | set(columns[1])


def test_the_best_setting_can_be_taken_over(app: AppTest) -> None:
    shown = _at(app, "setting")
    next(b for b in shown.button if b.label == "Use the setting of maximum heat").click().run()
    assert not shown.exception
    heat = float(answered(opened(_held(shown))).answer.turbine.heat_power_w)
    first = float(answered(opened(shown.session_state["loaded"])).answer.turbine.heat_power_w)
    assert heat > first


def test_hostile_texts_are_escaped(app: AppTest) -> None:
    hostile = "<script>alert(1)</script>"
    app.session_state["bundle"] = bundles.with_value(
        bundles.with_value(_held(app), "title", hostile), "heater.what", "<img src=x onerror=alert(2)>"
    )
    app.run()
    for screen in catalogue.SCREENS:
        shown = _at(app, screen.module)
        assert not shown.exception
        assert hostile not in _said(shown)
        assert "<img" not in _said(shown)
        assert "&lt;script&gt;" in _said(shown)


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        ("work", "../../../../etc/passwd"),
        ("work", ""),
        ("work", "zzzzzzzzzz"),
        ("demo", "../../etc"),
        ("work", "\0"),
    ],
)
def test_a_hostile_address_opens_nothing_and_is_named(kind: str, name: str) -> None:
    app = AppTest.from_file(APP, default_timeout=300)
    app.query_params[kind] = name
    app.run()
    assert not app.exception
    assert re.search(r'class="wt-notice" role="status">(address: |work zzzzzzzzzz: )', _said(app))
    assert app.query_params == {"demo": "van_water_tank"}


def test_two_sessions_are_apart(app: AppTest) -> None:
    other = AppTest.from_file(APP, default_timeout=300).run()
    _field(app, "slider", "dial trip.road_speed km/h").set_value(70.0).run()
    other.run()
    assert bundles.value_at(_held(other), "trip.road_speed") == "100 km/h"


def test_a_scenario_that_cannot_be_answered_leaves_the_last_one_visible(app: AppTest, demos: Path) -> None:
    app.session_state["bundle"] = bundles.with_value(_held(app), "rotor.curves", "../../etc/passwd")
    app.run()
    assert not app.exception
    assert "came with the scenario" in _said(app)
    assert _sentence(demos) in _told(app)


def test_a_trip_of_ones_own_is_followed(app: AppTest, demos: Path, tmp_path: Path) -> None:
    rows = ["time_s,speed_km_h"] + [f"{60 * k},{90 if k % 10 else 0}" for k in range(90)]
    trip = "\n".join(rows).encode()
    (tmp_path / "trip.csv").write_bytes(trip)
    shown = _at(app, "heat")
    _field(shown, "radio", "typed heat kind").set_value("over a trip of mine (CSV)").run()
    shown.file_uploader[0].set_value(("mine.csv", trip, "text/csv")).run()
    assert not shown.exception
    scenario = str(demos / "van_water_tank" / "scenario.toml")
    done = run("heat", scenario, "--trip", str(tmp_path / "trip.csv"), "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["headline"] in _words(shown)
