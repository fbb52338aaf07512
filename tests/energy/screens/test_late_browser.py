"""A browser that is late tells the values of fields that are no longer on the page: nothing of that is stored.

Own rules of the project, no source. Streamlit's own runner calls back; only what the browser still shows is put in by
hand.
"""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import (
    Checkbox,
    Multiselect,
    Radio,
    Selectbox,
    Slider,
    TextArea,
    TextInput,
    Widget,
)

from energy.scenario import bundle as bundles
from energy.scenario.bundle import Bundle, value_at

pytestmark = pytest.mark.usefixtures("few_draws")

ROOT = Path(__file__).resolve().parents[3]
FORM = """
from energy.screens import desk, edit
desk.start()
edit.show()
desk.drawn()
"""


def _held(app: AppTest) -> Bundle:
    held: Bundle = app.session_state["bundle"]
    return held


def _widget(app: AppTest, kind: str, name: str) -> Any:
    return next(w for w in getattr(app, kind) if w.key and w.key.partition("#")[0].startswith(name))


def _as_shown(app: AppTest) -> Any:
    """Return the page that the browser shows, with what stands in its fields."""
    page = app._tree
    for node in page:
        if isinstance(node, Widget) and getattr(node, "key", None):
            node._value = node.value  # type: ignore[attr-defined]
    return page


def _as_begun(app: AppTest) -> tuple[Any, int]:
    """Return the page as a browser begins it to which nothing of an earlier run came, and how many widgets it has.

    Streamlit tells a browser once what the program set a widget to, and drops that where a click cuts the run short.
    """
    count = 0
    for node in app._tree:
        if (
            not isinstance(node, (Checkbox, Multiselect, Radio, Selectbox, Slider, TextArea, TextInput))
            or node.disabled
        ):
            continue
        count += 1
        at = node.proto.default
        if isinstance(node, Selectbox):
            node.select_index(at)
        elif isinstance(node, Radio):
            node.set_value(node.options[at])
        elif isinstance(node, Multiselect):
            node.set_value([node.options[k] for k in at])
        elif isinstance(node, Slider):
            node.set_value(at[0])
        else:
            node.set_value(at)
    return app._tree, count


def _from_the_page_before(app: AppTest, page: Any) -> None:
    """Ask for a run as a browser does that still shows an earlier page."""
    app._tree = page
    app.run()
    assert not app.exception


def test_a_slider_of_before_does_not_undo_the_undoing() -> None:
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=300).run()
    before = value_at(_held(app), "trip.road_speed")
    _widget(app, "slider", "dial trip.road_speed").set_value(112.0).run()
    assert value_at(_held(app), "trip.road_speed") == "112 km/h"
    page = _as_shown(app)
    app.button(key="undo").click().run()
    assert value_at(_held(app), "trip.road_speed") == before
    _from_the_page_before(app, page)
    assert value_at(_held(app), "trip.road_speed") == before
    assert (app.session_state["at"], len(app.session_state["steps"])) == (0, 2)  # it can still be done again
    _widget(app, "slider", "dial trip.road_speed").set_value(90.0).run()  # and what is on the page counts
    assert value_at(_held(app), "trip.road_speed") == "90 km/h"


def test_fields_of_before_confirm_no_guess_and_make_no_step() -> None:
    app = AppTest.from_string(FORM, default_timeout=300).run()
    app.button(key="own begin").click().run()
    _widget(app, "selectbox", "vehicle.mass sure").select("exactly").run()
    _widget(app, "text_input", "vehicle.mass value").set_value("2150").run()
    page = _as_shown(app)
    app.session_state["round"] += 1  # as a step back does
    app.run()
    before, steps = _held(app), app.session_state["steps"]
    guesses = bundles.guesses(before)
    assert guesses
    _from_the_page_before(app, page)
    assert bundles.guesses(_held(app)) == guesses
    assert (_held(app), app.session_state["steps"]) == (before, steps)


@pytest.mark.parametrize(
    ("key", "unit", "value"),
    [
        ("vehicle.mass", "lb", {"value": "4850.17 lb", "low": "4409.25 lb", "high": "7054.79 lb"}),
        ("engine.speed_per_1000_rpm", "mph", ["6.2 mph", "12.4 mph"]),
    ],
)
def test_an_old_number_is_not_taken_for_one_in_the_new_unit(key: str, unit: str, value: Any) -> None:
    """The browser has the unit that was chosen, and not yet the number that goes with it."""
    app = AppTest.from_string(FORM, default_timeout=300).run()
    app.button(key="own begin").click().run()
    _widget(app, "radio", "typed part").set_value("vehicle").run()
    if key.startswith("engine"):
        _widget(app, "radio", "typed part of vehicle").set_value("engine").run()
    typed = "9.97793, 19.9559" if key.startswith("engine") else "2200"
    _widget(app, "text_input", f"{key} value").set_value(typed).run()
    page = _as_shown(app)
    _widget(app, "selectbox", f"{key} unit").set_value(unit).run()
    assert value_at(_held(app), key) == value
    _from_the_page_before(app, page)
    assert value_at(_held(app), key) == value


def test_an_old_number_typed_is_not_taken_for_one_in_the_new_unit() -> None:
    app = AppTest.from_string(FORM, default_timeout=300).run()
    name = "typed own speed"
    _widget(app, "text_input", f"{name} value").set_value("90").run()
    page = _as_shown(app)
    _widget(app, "selectbox", f"{name} unit").set_value("mph").run()
    assert app.session_state["typed"]["own speed"] == "55.9234 mph"
    _from_the_page_before(app, page)
    assert app.session_state["typed"]["own speed"] == "55.9234 mph"
    assert _widget(app, "text_input", f"{name} value").value == "55.9234"


def test_a_choice_that_followed_another_one_is_not_taken_back() -> None:
    """The browser has the vehicle that was chosen, and not yet the fuel that goes with it."""
    app = AppTest.from_string(FORM, default_timeout=300).run()
    before = _widget(app, "selectbox", "typed own fuel").value
    page = _as_shown(app)
    _widget(app, "selectbox", "typed own kind").select("pickup").run()
    usual = _widget(app, "selectbox", "typed own fuel").value
    assert usual != before
    _from_the_page_before(app, page)
    assert _widget(app, "selectbox", "typed own fuel").value == usual
    assert "own fuel" not in app.session_state["typed"]
    _widget(app, "selectbox", "typed own fuel").select("lpg").run()  # and what is chosen stays
    _widget(app, "selectbox", "typed own kind").select("van").run()
    assert _widget(app, "selectbox", "typed own fuel").value == "lpg"


def test_every_widget_asks_whether_it_is_still_on_the_page() -> None:
    callbacks = [
        (path.name, keyword.value)
        for path in sorted((ROOT / "energy" / "screens").glob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        for keyword in node.keywords
        if keyword.arg == "on_change"
    ]
    assert len(callbacks) > 20
    for name, value in callbacks:
        assert isinstance(value, ast.Call), name
        assert ast.unparse(value.func) == "desk.if_drawn", f"{name}: on_change={ast.unparse(value)}"


@pytest.mark.parametrize("beginning", [False, True], ids=["a demo", "a work"])
def test_a_browser_that_begins_in_the_middle_changes_nothing(beginning: bool) -> None:
    """A click while a screen was still being drawn took title and note away: the fields began empty in the browser."""
    app = AppTest.from_string(FORM, default_timeout=300).run()
    if beginning:
        app.button(key="own begin").click().run()
        _widget(app, "selectbox", "vehicle.mass sure").select("plus or minus").run()
        _widget(app, "text_input", "vehicle.mass plus_minus").set_value("150").run()
        _widget(app, "text_input", "title").set_value("Ours").run()
    before = _held(app)
    assert before.data()["title"]
    parts = _widget(app, "radio", "typed part").options
    assert len(parts) > 7
    for part in parts:
        _widget(app, "radio", "typed part").set_value(part).run()
        app.run()  # once more: what was set is told by now
        typed = dict(app.session_state["typed"])
        page, count = _as_begun(app)
        assert count > 5
        _from_the_page_before(app, page)
        assert _held(app) == before, part
        assert app.session_state["typed"] == typed, part


def test_the_sliders_begin_where_the_scenario_stands() -> None:
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=300).run()
    _widget(app, "slider", "dial trip.road_speed").set_value(112.0).run()
    _widget(app, "radio", "dial trip.compared_with").set_value("stowed").run()
    _widget(app, "radio", "system_choice").set_value("us").run()
    app.run()
    before = _held(app)
    page, count = _as_begun(app)
    assert count > 5
    _from_the_page_before(app, page)
    assert _held(app) == before
    assert app.session_state["system"] == "us"


def test_every_widget_has_what_it_stands_at_for_its_default() -> None:
    place_of_default = {
        "text_input": 2,
        "text_area": 2,
        "checkbox": 2,
        "selectbox": 3,
        "radio": 3,
        "multiselect": 3,
        "slider": 4,
    }
    seen = 0
    for path in sorted((ROOT / "energy" / "screens").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            names = {keyword.arg for keyword in node.keywords}
            place = place_of_default.get(node.func.attr)
            if place is not None and "on_change" in names:
                seen += 1
                assert len(node.args) >= place or names & {"value", "index", "default"}, ast.unparse(node)
    assert seen > 15
