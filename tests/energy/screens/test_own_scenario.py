"""A scenario of one's own without TOML: choices, forms of lists and pairs, numbers of CSV files."""

from __future__ import annotations

from collections.abc import Iterator
from html import unescape
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest
from tests_support import computed_once

from energy.chain import begin as beginning
from energy.chain.load import opened
from energy.chain.matching import thriftiest
from energy.scenario import bundle as bundles
from energy.scenario.bundle import Bundle, value_at
from energy.scenario.keys import TABLES, spec_of
from energy.screens import desk, edit, tables
from energy.words.next_value import next_value
from vehicle.problems import InputError

pytestmark = pytest.mark.usefixtures("few_draws")

SCRIPT = """
import streamlit as st
from energy.screens import desk, edit
desk.start()
edit.show()
"""


@pytest.fixture(scope="module", autouse=True)
def _one_search_of_one_scenario() -> Iterator[None]:
    """Search once for the settings of what most tests begin with."""
    with computed_once(thriftiest):
        yield


@pytest.fixture
def app() -> AppTest:
    return AppTest.from_string(SCRIPT, default_timeout=300).run()


def _widget(app: AppTest, kind: str, name: str) -> Any:
    return next(w for w in getattr(app, kind) if w.key and w.key.partition("#")[0] == name)


def _held(app: AppTest) -> Bundle:
    found: Bundle = app.session_state["bundle"]
    return found


def _said(app: AppTest) -> str:
    return unescape(" ".join(element.proto.body for element in app.get("html")))


def test_a_demo_says_that_it_is_one_and_choices_replace_it(app: AppTest) -> None:
    assert "an invented demo" in _said(app)
    _widget(app, "selectbox", "typed own kind").select("motorhome").run()
    _widget(app, "selectbox", "typed own load").select("domestic_oven").run()
    _widget(app, "text_input", "typed own diameter value").set_value("1.9").run()
    app.button(key="own begin").click().run()
    assert not app.exception
    assert "an invented demo" not in _said(app)
    assert _held(app) == beginning.begin(
        beginning.Beginning(vehicle="motorhome", load="domestic_oven", diameter="1.9 m"), thriftiest
    )
    assert app.session_state["loaded"] == app.session_state["kept"] == _held(app)


def test_stations_of_a_blade_stand_in_inches_where_these_are_used(app: AppTest) -> None:
    app.session_state["system"] = "us"
    app.session_state["round"] += 1  # as the choice of units does
    app.run()
    _widget(app, "text_input", "typed own diameter value").set_value("60").run()
    _widget(app, "selectbox", "typed own rotor by").select("stations").run()
    columns = app.dataframe[0].value
    assert list(columns) == ["radius_in", "chord_in", "twist_deg"]
    assert float(columns["radius_in"].iloc[-1]) == pytest.approx(30, rel=1e-3)  # half the diameter
    app.button(key="own begin").click().run()
    assert b"radius_in,chord_in,twist_deg" in dict(_held(app).files)["blade.csv"]
    opened(_held(app))  # refuses a blade whose last radius is not half the diameter


def test_guesses_are_named_until_ones_own_value_is_put(app: AppTest) -> None:
    assert "a guess" not in _said(app)
    app.button(key="own begin").click().run()
    many = len(bundles.guesses(_held(app)))
    assert f"Still guesses ({many}):" in _said(app)
    assert "vehicle mass" in _said(app)
    _widget(app, "selectbox", "vehicle.mass sure").select("exactly").run()
    _widget(app, "text_input", "vehicle.mass value").set_value("2150").run()
    assert value_at(_held(app), "vehicle.mass") == "2150 kg"
    assert f"Still guesses ({many - 1}):" in _said(app)
    assert "vehicle mass," not in _said(app)


def test_what_cannot_be_begun_is_told_and_nothing_is_replaced(app: AppTest) -> None:
    before = _held(app)
    _widget(app, "selectbox", "typed own rotor by").select("curves").run()
    app.button(key="own begin").click().run()
    assert "rotor_curves.csv: nothing given" in _said(app)
    assert _held(app) == before


def test_units_of_the_choices_follow_the_system(app: AppTest) -> None:
    app.session_state["system"] = "us"
    app.session_state["round"] += 1  # as the choice of units does
    app.run()
    _widget(app, "text_input", "typed own diameter value").set_value("48").run()
    _widget(app, "text_input", "typed own speed value").set_value("60").run()
    app.button(key="own begin").click().run()
    assert value_at(_held(app), "rotor.diameter") == "48 in"
    assert value_at(_held(app), "trip.road_speed") == "60 mph"


def test_a_choice_that_may_be_left_out_is_a_choice(app: AppTest) -> None:
    _widget(app, "selectbox", "load.kind value").select("insulated_box").run()
    assert value_at(_held(app), "load.kind") == "insulated_box"
    _widget(app, "selectbox", "load.kind value").select("(default)").run()
    assert value_at(_held(app), "load.kind") is None


def test_lists_are_typed_with_ranges_and_shown_as_typed(app: AppTest) -> None:
    field = _widget(app, "text_input", "engine.speed_per_1000_rpm value")
    assert field.value == "8.6, 16, 26, 37, 49, 58"
    field.set_value("8.6, 15 to 17, 26 ± 1, 37 (36 to 38), 31 mph, 58").run()
    assert value_at(_held(app), "engine.speed_per_1000_rpm") == [
        "8.6 km/h",
        {"low": "15 km/h", "high": "17 km/h"},
        {"value": "26 km/h", "plus_minus": "1 km/h"},
        {"value": "37 km/h", "low": "36 km/h", "high": "38 km/h"},
        "31 mph",
        "58 km/h",
    ]
    assert opened(_held(app)).engine is not None
    app.session_state["round"] += 1  # shown anew from the scenario
    app.run()
    field = _widget(app, "text_input", "engine.speed_per_1000_rpm value")
    assert field.value == "8.6, 15 to 17, 26 ± 1, 37 (36 to 38), 31 mph, 58"
    field.set_value("8.6, fast").run()
    assert "does not begin with a number" in _said(app)


def test_pairs_that_err_together_are_typed_by_line(app: AppTest) -> None:
    _widget(app, "radio", "typed part").set_value("how sure").run()
    area = _widget(app, "text_area", "uncertainty.correlated value")
    area.set_value("rotor.power_factor, rotor.thrust_factor, 0.7\n\n").run()
    assert value_at(_held(app), "uncertainty.correlated") == [
        {"first": "rotor.power_factor", "second": "rotor.thrust_factor", "coefficient": 0.7}
    ]
    assert len(opened(_held(app)).uncertainty.correlated) == 1
    _widget(app, "text_area", "uncertainty.correlated value").set_value("rotor.power_factor, , 0.7").run()
    assert "uncertainty.correlated" in _said(app)


def test_csv_tables_keep_what_nobody_touched(demos: Path) -> None:
    content = (demos / "camper_oven" / "blade.csv").read_bytes()
    comments, table = tables.from_csv(content)
    assert tables.to_csv(table, comments) == content
    table.iloc[0, 1] = "0.131"
    changed = tables.to_csv(table, comments).decode().splitlines()
    before = content.decode().splitlines()
    assert [k for k in range(len(before)) if changed[k] != before[k]] == [2]
    assert tables.to_csv(tables.empty(["a", "b"], 3)) == b"a,b\n"


@pytest.mark.parametrize(
    "content", [b"", b"# only words\n", b"a,a\n1,2\n", b"a,b\n1\n", b"\xff\xfe\x00", b"a\n" * 3000]
)
def test_what_is_no_small_table_is_told(content: bytes) -> None:
    with pytest.raises(InputError):
        tables.from_csv(content, "x.csv")


def test_a_demo_that_was_changed_is_no_demo(app: AppTest) -> None:
    assert app.session_state["bundle"] == desk.demos()[desk.FIRST_DEMO]
    _widget(app, "text_input", "vehicle.mass value").set_value("2800").run()
    assert "an invented demo" not in _said(app)


@pytest.mark.parametrize(
    ("key", "typed", "system", "stands"),
    [
        ("trip.road_speed", "40 mph", "metric", "40 mph"),
        ("drive.ratio", "2.5:1", "metric", 2.5),
        ("drive.ratio", "45/15", "metric", 3),
        ("vehicle.mass", "4,600 lb", "us", "4600 lb"),
        ("vehicle.mass", "4,600 lb", "metric", "4600 lb"),  # who writes pounds parts thousands by commas
        ("vehicle.mass", "4,600 kg", "metric", "4,600 kg"),  # a decimal comma elsewhere: refused, not guessed
    ],
)
def test_what_people_type_is_understood_and_the_units_box_follows(
    app: AppTest, key: str, typed: str, system: str, stands: object
) -> None:
    app.session_state["system"] = system
    app.session_state["round"] += 1
    app.run()
    if key == "drive.ratio":
        _widget(app, "radio", "typed part").set_value("generator and load").run()
    _widget(app, "text_input", f"{key} value").set_value(typed).run()
    assert value_at(_held(app), key) == stands
    if typed == "4,600 kg":
        assert "has a comma" in _said(app)
        return
    assert not app.exception
    assert _widget(app, "text_input", f"{key} value").value == str(stands).partition(" ")[0]
    if isinstance(stands, str):
        assert _widget(app, "selectbox", f"{key} unit").value == stands.partition(" ")[2]


def test_a_unit_typed_with_one_value_does_not_change_its_ends(app: AppTest) -> None:
    _widget(app, "selectbox", "trip.road_speed sure").set_value("between").run()
    _widget(app, "text_input", "trip.road_speed low").set_value("90").run()
    _widget(app, "text_input", "trip.road_speed high").set_value("110").run()
    _widget(app, "text_input", "trip.road_speed value").set_value("62 mph").run()
    expected = {"value": "62 mph", "low": "90 km/h", "high": "110 km/h"}
    assert value_at(_held(app), "trip.road_speed") == expected


def test_settings_that_were_found_are_guesses_until_kept(app: AppTest) -> None:
    app.button(key="own begin").click().run()
    found = {"rotor.pitch", "drive.ratio", "heater.resistance"}
    assert found <= set(bundles.guesses(_held(app)))
    before = value_at(_held(app), "rotor.pitch")
    _widget(app, "button", "rotor.pitch keep").click().run()
    assert value_at(_held(app), "rotor.pitch") == before
    assert set(bundles.guesses(_held(app))) & found == found - {"rotor.pitch"}


def test_guessed_values_stand_in_the_users_units(app: AppTest) -> None:
    app.button(key="own begin").click().run()
    app.session_state["system"] = "us"
    app.session_state["round"] += 1
    app.run()
    _widget(app, "radio", "typed part").set_value("vehicle").run()
    assert _widget(app, "selectbox", "vehicle.mass unit").value == "lb"
    assert float(_widget(app, "text_input", "vehicle.mass value").value) == pytest.approx(2500 / 0.45359237, rel=1e-3)


def test_a_begun_scenario_is_asked_for_one_value_at_a_time(app: AppTest) -> None:
    assert "The answer would be" not in _said(app)  # a demo is nobody's own
    app.button(key="own begin").click().run()
    told = desk.answered_of.held(_held(app))
    assert told is not None
    first = next_value(told)
    assert first is not None
    assert first.why in _said(app)
    assert first.how in _said(app)
    _widget(app, "button", "skip next").click().run()
    second = next_value(told, [first.key])
    assert second is not None
    assert second.key != first.key
    assert second.why in _said(app)
    middle = spec_of(second.key)
    number = "0.9" if middle.unit == "dimensionless" else None
    if number is not None:
        _widget(app, "text_input", f"typed next {second.key} value").set_value(number).run()
        _widget(app, "button", "use next").click().run()
        assert not app.exception
        assert value_at(_held(app), second.key)["value"] == 0.9
        assert second.why not in _said(app)
    _widget(app, "button", "stop next").click().run()
    assert "The answer would be" not in _said(app)


def test_every_table_has_its_group() -> None:
    assert {edit.group_of(table) for table in TABLES} == {g for g in edit._GROUPS if g != "what matters most"}
    assert sorted(t for group in edit._GROUPS.values() for t in group) == sorted(TABLES)


@pytest.mark.parametrize(("vehicle", "fuel"), [("pickup", "petrol"), ("small_car", "petrol"), ("van", "diesel")])
def test_a_vehicle_begins_with_the_usual_fuel_of_its_kind(app: AppTest, vehicle: str, fuel: str) -> None:
    _widget(app, "selectbox", "typed own kind").select(vehicle).run()
    assert _widget(app, "selectbox", "typed own fuel").value == fuel
    setting = SimpleNamespace(pitch_deg=4.0, ratio=3.0, resistance_ohm=10.0)  # any: the fuel does not go by it
    begun = beginning.begin(beginning.Beginning(vehicle=vehicle), lambda *_: setting)
    assert value_at(begun, "engine.fuel") == fuel
