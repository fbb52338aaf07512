"""Every screen with every demo: shown without a fault, in the units chosen, no text of a scenario as markup, and
nothing computed that was computed before.

The screens of two demos are looked at once more where a round of all of them has left what they show.
"""

from __future__ import annotations

import functools
import html
import importlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from screens_support import at, of_other_units, said, session
from streamlit.testing.v1 import AppTest

from energy.chain.answer import answered
from energy.chain.load import opened
from energy.scenario import bundle as bundles
from energy.screens import catalogue, desk
from energy.words.verdict import verdict

pytestmark = pytest.mark.usefixtures("few_draws")

HOSTILE = "<script>alert(1)</script>"
GONE_ROUND = ("van_water_tank", "van_in_town")  # a drive and a trip
_SCREENS = [screen.module for screen in catalogue.SCREENS]

_COMPUTING = {
    "energy.chain.answer.spread_of": "draws",
    "energy.chain.answer.answer": "answer",
    "energy.screens.pay.payback": "payback",
    "energy.screens.heat.heating": "heating",
    "energy.screens.setting.match": "match",
    "energy.screens.withstand.structural_loads": "loads",
    "energy.screens.fuel.flow_picture": "flow picture",
    "energy.screens.fuel.pictures_over_speed": "pictures over speed",
    "energy.screens.rotor.operating_line": "operating line",
    "energy.screens.setting.heat_over_settings": "map of settings",
    "energy.screens.pay.pay_map": "map of pay",
    "energy.screens.desk.opened": "opened",
    "energy.screens.evidence.evidence": "evidence",
}


@functools.cache
def _with_hostile_texts(scenario: Path) -> tuple[str, bundles.Bundle]:
    """Return a scenario's title, and the scenario with markup in its texts."""
    bundle = bundles.from_folder(scenario)
    title = str(bundle.data()["title"])
    bundle = bundles.with_value(bundle, "title", f"{title} {HOSTILE}")
    return title, bundles.with_value(bundle, "heater.what", "<img src=x onerror=alert(2)>")


@pytest.fixture(scope="module")
def counted(few_draws: None) -> Iterator[Counter[str]]:
    """Count the calls of everything that computes; how much is drawn in each makes no difference to that."""
    calls: Counter[str] = Counter()

    def counting(function: Callable[..., Any], name: str) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            calls[name] += 1
            return function(*args, **kwargs)

        return call

    with pytest.MonkeyPatch.context() as patch:
        for place, name in _COMPUTING.items():
            module, _, attribute = place.rpartition(".")
            found = importlib.import_module(module)
            patch.setattr(found, attribute, counting(getattr(found, attribute), name))
        yield calls


def _shown(module: str, app: AppTest) -> AppTest:
    """Show another screen of the same session, as the frame does when it is asked for."""
    app.session_state["asked_for"] = module
    app.run()
    assert not app.exception
    return app


def _frame() -> None:
    import streamlit as st

    from energy.screens import catalogue, desk

    desk.start()
    module = st.session_state.get("asked_for", "fuel")
    next(s for s in catalogue.SCREENS if s.module == module).shows()()


@dataclass(frozen=True)
class Round:
    """A session that has gone round the screens, what is open in it, and how often what was computed on the way."""

    app: AppTest
    bundle: bundles.Bundle
    computed: Counter[str]


@pytest.fixture(scope="module")
def rounds(counted: Counter[str], demos: Path) -> Callable[[str], Round]:
    """Return what goes round the screens with a demo that nobody has asked about before, once."""

    @functools.cache
    def gone_round(demo: str) -> Round:
        _, bundle = _with_hostile_texts(demos / demo / "scenario.toml")
        app = AppTest.from_function(_frame, default_timeout=300)
        app.run()
        for key in ("bundle", "loaded", "kept"):
            app.session_state[key] = bundle
        app.session_state["system"] = "us"
        counted.clear()
        for screen in _SCREENS:
            _shown(screen, app)
        return Round(app, bundle, counted.copy())

    return gone_round


@pytest.mark.parametrize("screen", _SCREENS)
@pytest.mark.parametrize("demo", desk.demos())
def test_every_screen_shows_every_demo_and_no_text_of_it_as_markup(
    demos: Path, rounds: Callable[[str], Round], screen: str, demo: str
) -> None:
    if demo in GONE_ROUND:
        rounds(demo)  # first: it counts what is computed
    title, bundle = _with_hostile_texts(demos / demo / "scenario.toml")
    shown = at(session(bundle, system="us"), screen)
    assert not shown.exception
    assert 'class="wt-verdict' in said(shown)
    assert html.escape(f"{title} {HOSTILE}") in said(shown)
    assert HOSTILE not in said(shown)
    assert "<img" not in said(shown)
    if screen != "evidence":  # what was published stands in its own units
        assert of_other_units(shown, title, "us") == []
    if demo in ("pickup_drying_box", "van_in_town") and screen not in ("evidence", "road"):
        shown.session_state["system"] = "uk"
        shown.session_state["round"] += 1
        assert not shown.run().exception
        assert of_other_units(shown, title, "uk") == []


# Nothing recomputes that did not change


def _typed(app: AppTest, kind: str, name: str) -> Any:
    return next(w for w in getattr(app, kind) if w.key and w.key.startswith(f"typed {name}#"))


@pytest.mark.parametrize("demo", GONE_ROUND)
def test_nothing_is_computed_twice_on_the_way_round_the_screens(
    counted: Counter[str], rounds: Callable[[str], Round], demo: str
) -> None:
    gone = rounds(demo)
    app, bundle, first = gone.app, gone.bundle, gone.computed
    assert {"draws", "payback", "heating", "match", "loads", "opened", "flow picture"} <= set(first)
    assert first["payback"] == first["match"] == first["heating"] == first["opened"] == 1
    assert first["draws"] == 2  # the plan of a road test asks its own question
    counted.clear()
    for screen in reversed(_SCREENS):
        _shown(screen, app)
    assert counted == {}

    # What has nothing to do with it: another part of the form, intervals asked for and left again.
    _typed(_shown("edit", app), "radio", "part").set_value("road and air").run()
    app.session_state["asked_for"] = "pay"
    app.run()
    _typed(app, "checkbox", "pay intervals").set_value(True).run()
    assert counted.pop("payback") == 1
    assert counted.pop("map of pay") == 2
    _typed(app, "checkbox", "pay intervals").set_value(False).run()
    _typed(app, "checkbox", "pay intervals").set_value(True).run()
    assert counted == {}

    # Changed and changed back: the change is computed, the way back is not.
    app.session_state["bundle"] = bundles.with_value(bundle, "air.temperature", "12.68 degC")
    _shown("fuel", app)
    assert counted["draws"] == 1
    counted.clear()
    app.session_state["bundle"] = bundle
    _shown("fuel", app)
    assert counted == {}


def test_another_session_asks_for_the_same_and_gets_it_at_once(counted: Counter[str], demos: Path) -> None:
    bundle = bundles.with_value(
        bundles.from_folder(demos / "van_water_tank" / "scenario.toml"), "air.wind_speed", "13.57 km/h"
    )
    shown, computed = [], []
    counted.clear()
    for _ in range(2):
        app = AppTest.from_function(_frame, default_timeout=300).run()
        app.session_state["bundle"] = bundle
        _shown("fuel", app)
        shown.append(" ".join(e.proto.body for e in app.get("html")))
        computed.append(counted["draws"])
    assert computed[0] == computed[1] > 0
    assert shown[0] == shown[1]
    assert verdict(answered(opened(bundle)), "metric").least_known in shown[0]
