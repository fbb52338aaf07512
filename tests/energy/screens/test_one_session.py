"""One session through the whole app, by Streamlit's own runner: what stays from screen to screen, every step undone.

Own rules of the project, no source. What needs a browser (reload, history, tabs): tests/browser.
"""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from screens_support import field, held, said, words
from streamlit.testing.v1 import AppTest

from energy.scenario import bundle as bundles

pytestmark = pytest.mark.usefixtures("few_draws")

APP = str(Path(__file__).resolve().parents[3] / "app.py")


def _opened(**asked: str) -> AppTest:
    """Return a new session at an address, as another browser opens it, or a reload."""
    app = AppTest.from_file(APP, default_timeout=300)
    for name, value in asked.items():
        app.query_params[name] = value
    return _drawn(app.run())


@pytest.fixture
def app() -> AppTest:
    return _opened(demo="van_water_tank")


def _drawn(app: AppTest) -> AppTest:
    assert not app.exception
    return app


def _to(app: AppTest, place: str) -> None:
    """Choose a screen, as a link does."""
    app._page_hash = app.session_state["pages"][place]._script_hash
    _drawn(app.run())


def _put(app: AppTest, kind: str, name: str, value: object) -> None:
    _drawn(field(app, kind, name).set_value(value).run())


def _shown(app: AppTest, name: str) -> str:
    """Return what stands in a field's box of a number, with what stands in that of its unit."""
    return f"{field(app, 'text_input', f'{name} value').value} {field(app, 'selectbox', f'{name} unit').value}"


def _click(app: AppTest, label: str) -> None:
    _drawn(next(button for button in app.button if button.label == label).click().run())


def _disabled(app: AppTest, label: str) -> bool:
    return bool(next(button for button in app.button if button.label == label).disabled)


def _units(app: AppTest, system: str) -> None:
    _drawn(app.radio(key="system_choice").set_value(system).run())


def _faults(app: AppTest) -> list[str]:
    return [element.proto.body for element in app.get("html") if 'class="wt-problem"' in element.proto.body]


def _answer(app: AppTest) -> list[str]:
    """Return the lines of the verdict, whatever stands with them on a screen."""
    verdict = next(e.proto.body for e in app.get("html") if '<div class="wt-verdict' in e.proto.body)
    return re.findall(r'<span class="wt-(?:loud|quiet|line)[^>]*>(.*?)</span>', verdict)


def test_every_change_is_a_step_to_undo_and_redo_also_in_a_new_session(app: AppTest) -> None:
    steps = [(held(app), _answer(app))]

    def stands() -> tuple[bundles.Bundle, list[str]]:
        return held(app), _answer(app)

    for name, value in (("road_speed", 101.0), ("road_speed", 102.0), ("road_speed", 90.0), ("wind_speed", 1.0)):
        table = "trip" if name == "road_speed" else "air"
        _put(app, "slider", f"dial {table}.{name} km/h", value)
        steps.append(stands())
    _to(app, "scenario")
    _put(app, "text_input", "drive.ratio value", "3.3")
    steps.append(stands())
    _to(app, "fuel")
    _click(app, "Revert to loaded")  # one step more
    steps.append(stands())
    assert steps[-1] == steps[0]
    assert all(len(answer) > 2 for _, answer in steps)
    assert all(before != after for before, after in pairwise(steps))
    app = _opened(work=app.session_state["work"])  # the steps are saved with the work
    for expected in reversed(steps[:-1]):
        _click(app, "Undo")
        assert stands() == expected
    assert _disabled(app, "Undo")
    for expected in steps[1:]:
        assert not _disabled(app, "Redo")
        _click(app, "Redo")
        assert stands() == expected
    assert _disabled(app, "Redo")
    _to(app, "scenario")
    assert field(app, "text_input", "drive.ratio value").value == "2.5"
    _click(app, "Undo")
    assert stands() == steps[-2]
    assert field(app, "text_input", "drive.ratio value").value == "3.3"


def test_what_was_typed_and_uploaded_comes_back_in_a_new_session(app: AppTest, demos: Path) -> None:
    rows = (demos / "van_water_tank" / "measured.csv").read_bytes()
    _to(app, "pitch")
    uploader = next(u for u in app.file_uploader if u.key.startswith("upload pitch"))
    _drawn(uploader.set_value(("mine.csv", rows, "text/csv")).run())
    _to(app, "size")
    _put(app, "text_input", "typed size heat value", "1234")
    _units(app, "us")
    again = _opened(work=app.session_state["work"])
    assert again.radio(key="system_choice").value == "us"
    _to(again, "size")
    assert _shown(again, "typed size heat") == "1234 W"
    _to(again, "pitch")
    assert "In use: mine.csv, uploaded before." in said(again)


@pytest.mark.parametrize(
    ("system", "walk"),
    [
        # From each of the three screens to each other one, and over one that does not show the value.
        ("us", ("plan", "fuel", "scenario", "plan", "rotor", "plan")),
        ("metric", ("plan", "fuel", "scenario", "fuel", "plan")),
    ],
)
def test_one_value_stands_alike_on_every_screen_that_shows_it(app: AppTest, system: str, walk: tuple[str, ...]) -> None:
    _units(app, system)
    unit = "mph" if system == "us" else "km/h"
    speed_dial, wind_dial = f"dial trip.road_speed {unit}", f"dial air.wind_speed {unit}"
    moved = {wind_dial: ("air.wind_speed", 1.0)} | (
        {} if system == "us" else {"dial trip.grade %": ("trip.grade", 0.5)}
    )
    speed = field(app, "slider", speed_dial).value + 1
    assert speed > 50
    _put(app, "slider", speed_dial, speed)
    for dial, (_, value) in moved.items():
        _put(app, "slider", dial, value)

    def stands(place: str) -> None:
        assert field(app, "slider", speed_dial).value == pytest.approx(speed, abs=0.5), place
        if place == "fuel":
            for dial, (_, value) in moved.items():
                assert field(app, "slider", dial).value == pytest.approx(value), place

    for place in walk:
        _to(app, place)
        if place in ("plan", "fuel"):
            stands(place)
        elif place == "scenario":
            assert float(field(app, "text_input", "trip.road_speed value").value) == pytest.approx(speed, abs=0.5)
            speed += 5
            for key, value in moved.values():
                assert float(field(app, "text_input", f"{key} value").value) == pytest.approx(value, abs=0.01)
            _put(app, "text_input", "trip.road_speed value", f"{speed:.0f}")
            for dial, (key, _) in moved.items():
                _put(app, "text_input", f"{key} value", "")
                moved[dial] = (key, 0.0)
    speed = round(speed) + 1.0
    _put(app, "slider", speed_dial, speed)
    _to(app, "fuel")
    stands("fuel")


def test_a_half_filled_form_stays_and_a_negative_mass_is_a_fault_at_its_field(app: AppTest) -> None:
    _to(app, "scenario")
    _put(app, "text_input", "typed own mass value", "-5")
    (fault,) = _faults(app)
    assert "mass with load and people: -5 kg" in fault
    assert "above" in fault
    _click(app, "Show me the answer")
    assert len([fault for fault in _faults(app) if "This cannot be begun yet" in fault]) == 1
    _put(app, "text_input", "typed own mass value", "2150")
    _put(app, "text_input", "typed own diameter value", "1.7")
    assert _faults(app) == []
    _units(app, "us")
    _to(app, "pitch")
    _units(app, "metric")
    _to(app, "scenario")
    app.session_state["beginning of a work"] = True  # unfolded, where it is no demo any more
    _drawn(app.run())
    assert (_shown(app, "typed own mass"), _shown(app, "typed own diameter")) == ("2150 kg", "1.7 m")
    _click(app, "Show me the answer")
    assert held(app).data()["title"].startswith("My ")
    # The blade of a begun scenario goes with its diameter; a field that was emptied keeps its unit.
    _put(app, "text_input", "rotor.diameter value", "2")
    assert "The textbook blade was scaled to the new diameter" in words(app)
    assert _faults(app) == []
    _put(app, "text_input", "rotor.diameter value", "80 in")
    assert _faults(app) == []
    _put(app, "text_input", "rotor.diameter value", "")
    _put(app, "text_input", "rotor.diameter value", "55")
    assert _faults(app) == []
    assert field(app, "selectbox", "rotor.diameter unit").value == "in"
    _to(app, "pitch")
    _to(app, "scenario")  # the field is made anew from the scenario
    assert _shown(app, "rotor.diameter") == "55 in"
    assert "PydanticUndefined" not in words(app)


def test_the_beginning_is_drawn_where_it_is_unfolded_and_what_was_typed_in_it_stays(app: AppTest) -> None:
    _to(app, "scenario")
    _put(app, "text_input", "typed own speed value", "77")
    _put(app, "text_input", "drive.ratio value", "3")  # of a demo that is changed one goes on with it as one's own
    assert not any(widget.key.startswith("typed own ") for widget in app.text_input if widget.key)
    app.session_state["beginning of a work"] = True
    _drawn(app.run())
    assert _shown(app, "typed own speed") == "77 km/h"
