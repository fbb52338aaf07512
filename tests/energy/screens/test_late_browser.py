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
from streamlit.testing.v1.element_tree import Widget

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
