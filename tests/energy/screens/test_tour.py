"""The tour: three steps on the first visit, to be skipped, and never again. Own rules, no source."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

SCRIPT = """
from energy.screens import desk, tour
desk.start()
tour.show()
"""


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("energy.scenario.works.folder", lambda: tmp_path / "works")


def _app() -> AppTest:
    return AppTest.from_string(SCRIPT, default_timeout=120).run()


def _keys(app: AppTest) -> list[str]:
    return [button.key or "" for button in app.button]


def test_three_steps_and_never_again() -> None:
    app = _app()
    for _ in range(3):
        app.button(key="tour next").click().run()
        assert not app.exception
    assert "tour next" not in _keys(app)
    assert "tour next" not in _keys(_app())


def test_skipped_is_skipped_for_good() -> None:
    app = _app()
    app.button(key="tour skip").click().run()
    assert "tour skip" not in _keys(app)
    assert "tour skip" not in _keys(_app())


def test_seen_in_part_comes_again() -> None:
    app = _app()
    app.button(key="tour next").click().run()
    assert "tour next" in _keys(_app())
