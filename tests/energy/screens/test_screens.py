"""The app's logic without a browser: faults, dials, units, variants; the numbers are the command line's."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html import escape, unescape
from pathlib import Path

import pytest
from screens_support import NEW, at, field, held, said, session, words
from streamlit.testing.v1 import AppTest
from tests_support import computed_once, run

from energy.chain.answer import answered
from energy.chain.draws import spread_of
from energy.chain.load import opened
from energy.scenario import bundle as bundles
from energy.screens import desk
from energy.words import answer as report
from energy.words.screens import in_the_app

APP = str(Path(__file__).resolve().parents[3] / "app.py")


@pytest.fixture(scope="module", autouse=True)
def _draws_of_one_scenario_once(few_draws: None) -> Iterator[None]:
    """Draw once what the app and the command line both draw of a scenario; each makes its own answer of it."""
    with computed_once(spread_of):
        yield


@pytest.fixture
def app() -> AppTest:
    return AppTest.from_file(APP, default_timeout=300).run()


def _told(app: AppTest) -> list[str]:
    """Return the verdicts as the command line words them: danger, headline, numbers, then what is least known."""
    found: list[str] = []
    parts = (
        r'<div class="wt-verdict[^>]*>(?P<verdict>.*?)</div>(?=<p class="wt-case)'
        r'|<p class="wt-least">(?P<least>.*?)</p>'
    )
    for match in re.finditer(parts, said(app), re.DOTALL):
        plain = " ".join(unescape(re.sub(r"<[^>]+>", " ", match["verdict"] or match["least"])).split())
        if match["verdict"]:
            found.append(plain)
        else:
            found[-1] += f" {plain}"
    return found


def _sentence(demos: Path, *options: str) -> str:
    done = run("answer", str(demos / "van_water_tank" / "scenario.toml"), "--json", *options)
    sentence: str = json.loads(done.stdout)["sentence"]
    return in_the_app(sentence)


def test_it_opens_on_the_verdict_of_the_demo(app: AppTest, demos: Path) -> None:
    assert not app.exception
    assert _sentence(demos) in _told(app)


def test_money_on_the_screen_is_that_of_the_command_line(demos: Path) -> None:
    done = run("payback", str(demos / "van_water_tank" / "scenario.toml"), "--json")
    (told,) = _told(at(NEW, "pay"))
    assert told == in_the_app(json.loads(done.stdout)["sentence"])


def test_a_dial_moves_the_verdict_to_what_the_command_line_says(app: AppTest, demos: Path) -> None:
    field(app, "slider", "dial trip.road_speed km/h").set_value(80.0).run()
    assert bundles.value_at(held(app), "trip.road_speed") == "80 km/h"
    assert _sentence(demos, "--set", "trip.road_speed=80 km/h") in _told(app)
    field(app, "radio", "dial trip.compared_with").set_value("stowed").run()
    expected = _sentence(demos, "--set", "trip.road_speed=80 km/h", "--set", "trip.compared_with=stowed")
    assert expected in _told(app)


def test_units_change_what_is_shown_and_not_the_scenario(app: AppTest, demos: Path) -> None:
    before = held(app)
    app.radio(key="system_choice").set_value("us").run()
    assert held(app) == before
    assert _sentence(demos, "--units", "us") in _told(app)


def test_a_faulty_value_is_told_beside_its_field_in_the_command_lines_words(demos: Path) -> None:
    shown = at(NEW, "edit")
    field(shown, "text_input", "trip.road_speed value").set_value("fast").run()
    done = run("answer", str(demos / "van_water_tank" / "scenario.toml"), "--set", "trip.road_speed=fast")
    told = done.stderr.splitlines()[1].strip().removeprefix("--set: ")
    assert said(shown).count(escape(f"scenario.toml: {told}", quote=True)) == 2  # on top, and beside the field
    assert _sentence(demos) in _told(shown)  # the last answer that could be given
    assert bundles.value_at(held(shown), "trip.road_speed") == "fast"  # nothing that was typed is lost
    field(shown, "text_input", "trip.road_speed value").set_value("62").run()
    assert bundles.value_at(held(shown), "trip.road_speed") == "62 km/h"
    assert "Cannot be used" not in said(shown)


def test_undo_to_loaded(app: AppTest) -> None:
    loaded = held(app)
    field(app, "slider", "dial air.wind_speed km/h").set_value(30.0).run()
    assert held(app) != loaded
    next(b for b in app.button if b.label == "Revert to loaded").click().run()
    assert held(app) == loaded
    assert field(app, "slider", "dial air.wind_speed km/h").value == 0.0


def test_two_variants_side_by_side(demos: Path) -> None:
    demo = desk.demos()[desk.FIRST_DEMO]
    changed = bundles.with_value(demo, "trip.road_speed", "70 km/h")
    shown = at(session(changed, loaded=demo, kept=demo), "compare")
    told = _told(shown)
    assert _sentence(demos) in told
    assert _sentence(demos, "--set", "trip.road_speed=70 km/h") in told
    before = answered(opened(shown.session_state["kept"]))
    after = answered(opened(held(shown)))
    assert report.difference_sentence(before, after, "metric") in said(shown)
    next(b for b in shown.button if b.label == "Keep B as the new A").click().run()
    assert "Nothing differs yet" in said(shown)
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


def test_the_best_setting_can_be_taken_over() -> None:
    shown = at(NEW, "setting")
    next(b for b in shown.button if b.label == "Use the setting of maximum heat").click().run()
    assert not shown.exception
    heat = float(answered(opened(held(shown))).answer.turbine.heat_power_w)
    first = float(answered(opened(shown.session_state["loaded"])).answer.turbine.heat_power_w)
    assert heat > first


def test_hostile_texts_are_escaped_around_the_screens_too(app: AppTest) -> None:
    hostile = "<script>alert(1)</script>"
    app.session_state["bundle"] = bundles.with_value(
        bundles.with_value(held(app), "title", hostile), "heater.what", "<img src=x onerror=alert(2)>"
    )
    app.run()
    assert not app.exception
    assert hostile not in said(app)
    assert "<img" not in said(app)
    assert "&lt;script&gt;" in said(app)


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
    assert re.search(r'class="wt-notice" role="status">(address: |work zzzzzzzzzz: )', said(app))
    assert app.query_params == {"demo": "van_water_tank"}


def test_two_sessions_are_apart(app: AppTest) -> None:
    other = AppTest.from_file(APP, default_timeout=300).run()
    field(app, "slider", "dial trip.road_speed km/h").set_value(70.0).run()
    other.run()
    assert bundles.value_at(held(other), "trip.road_speed") == "100 km/h"


def test_a_scenario_that_cannot_be_answered_leaves_the_last_one_visible(app: AppTest, demos: Path) -> None:
    app.session_state["bundle"] = bundles.with_value(held(app), "rotor.curves", "../../etc/passwd")
    app.run()
    assert not app.exception
    assert "came with the scenario" in said(app)
    assert _sentence(demos) in _told(app)


def test_a_trip_of_ones_own_is_followed(demos: Path, tmp_path: Path) -> None:
    rows = ["time_s,speed_km_h"] + [f"{60 * k},{90 if k % 10 else 0}" for k in range(40)]
    trip = "\n".join(rows).encode()
    (tmp_path / "trip.csv").write_bytes(trip)
    shown = at(NEW, "heat")
    field(shown, "radio", "typed heat kind").set_value("over a trip of mine (CSV)").run()
    shown.file_uploader[0].set_value(("mine.csv", trip, "text/csv")).run()
    assert not shown.exception
    scenario = str(demos / "van_water_tank" / "scenario.toml")
    done = run("heat", scenario, "--trip", str(tmp_path / "trip.csv"), "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["headline"] in words(shown)
