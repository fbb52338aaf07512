"""Every screen with every demo: shown without a fault, in the units chosen, and no text of a scenario as markup."""

from __future__ import annotations

import functools
import html
from pathlib import Path

import pytest
from screens_support import at, of_other_units, said, session

from energy.scenario import bundle as bundles
from energy.screens import catalogue, desk

pytestmark = pytest.mark.usefixtures("few_draws")

HOSTILE = "<script>alert(1)</script>"


@functools.cache
def _with_hostile_texts(scenario: Path) -> tuple[str, bundles.Bundle]:
    """Return a scenario's title, and the scenario with markup in its texts."""
    bundle = bundles.from_folder(scenario)
    title = str(bundle.data()["title"])
    bundle = bundles.with_value(bundle, "title", f"{title} {HOSTILE}")
    return title, bundles.with_value(bundle, "heater.what", "<img src=x onerror=alert(2)>")


@pytest.mark.parametrize("screen", [screen.module for screen in catalogue.SCREENS])
@pytest.mark.parametrize("demo", desk.demos())
def test_every_screen_shows_every_demo_and_no_text_of_it_as_markup(demos: Path, screen: str, demo: str) -> None:
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
