"""What takes long shows a bar with the time left; what was computed is kept."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from energy.chain.answer import answered
from energy.chain.load import opened
from energy.pictures.flow import flow_picture
from energy.progress import Progress
from energy.scenario import bundle as bundles
from energy.screens import waiting
from energy.screens.waiting import kept, time_left
from vehicle.problems import InputError, Problem

# The bar


def test_the_time_left_goes_by_the_pace_so_far() -> None:
    assert time_left(0.0, 3.0) == "just begun"
    assert time_left(0.25, 2.0) == "about 6 s left"
    assert time_left(0.99, 1.0) == "about 1 s left"


def _script() -> None:
    import streamlit as st

    from energy.screens import page, waiting

    now = [100.0]
    waiting.time.monotonic = lambda: now[0]  # type: ignore[assignment]
    seen = []
    bar = page.Progress("Trying <b>settings</b>")
    for passed, share in ((0.1, 0.1), (0.2, 0.2), (0.5, 0.25), (0.55, 0.3), (2.0, 0.5)):
        now[0] = 100.0 + passed
        bar(share)
        seen.append(passed)
    if not st.session_state.get("leave"):
        bar.done()


def _bars(app: AppTest) -> list[str]:
    return [e.proto.body for e in app.get("html") if "wt-progress" in e.proto.body]


def test_a_bar_is_shown_only_where_it_takes_long_and_its_text_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waiting, "time", type("Clock", (), {"monotonic": staticmethod(lambda: 0.0)}))
    app = AppTest.from_function(_script)
    app.session_state["leave"] = True
    app.run()
    assert not app.exception
    (bar,) = _bars(app)
    assert '<p role="status">Trying &lt;b&gt;settings&lt;/b&gt;: about 2 s left</p>' in bar
    assert '<progress max="100" value="50" aria-label="Trying &lt;b&gt;settings' in bar
    app.session_state["leave"] = False
    assert _bars(app.run()) == []


def _quick() -> None:
    import streamlit as st

    from energy.screens import page

    bar = page.Progress("Trying")
    for share in range(100):
        bar(share / 100)
    st.session_state["drawn"] = bar._slot is not None
    bar.done()


def _clock(monkeypatch: pytest.MonkeyPatch, *, step_s: float) -> None:
    """Put a clock in place of the machine's that moves on by so much whenever it is looked at."""
    seconds = count(0.0, step_s)
    monkeypatch.setattr(waiting, "time", type("Clock", (), {"monotonic": staticmethod(lambda: next(seconds))}))


def test_what_is_quick_shows_no_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    _clock(monkeypatch, step_s=0.001)
    app = AppTest.from_function(_quick).run()
    assert app.session_state["drawn"] is False


def _failing() -> None:
    import streamlit as st

    from energy.screens.waiting import kept
    from vehicle.problems import InputError, Problem

    @kept("Trying in vain")
    def failing(progress, what):  # type: ignore[no-untyped-def]
        progress(0.5)
        st.session_state["drawn"] = progress._slot is not None
        raise InputError(Problem("scenario.toml", "key", "bad", "good"))

    try:
        failing("this")
    except InputError:
        st.html("told")


def test_the_bar_goes_away_where_an_error_is_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    _clock(monkeypatch, step_s=1.0)
    app = AppTest.from_function(_failing, default_timeout=300).run()
    assert app.session_state["drawn"] is True
    assert _bars(app) == []
    assert [e.proto.body for e in app.get("html")] == ["told"]


# What is kept


def test_results_are_kept_by_input_the_last_few_bytes_and_no_errors(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, int]] = []

    @kept("Counting")
    def found(progress: Progress | None, name: str, number: int = 0) -> str:
        """Say it."""
        asked.append((name, number))
        if name == "bad":
            raise InputError(Problem("here", "", "nothing", "something"))
        return f"{name} {number}"

    wide = waiting.Shelf(1_000_000)
    monkeypatch.setattr(waiting, "_SHELF", wide)
    found("a", 1)
    asked.clear()
    monkeypatch.setattr(waiting, "_SHELF", waiting.Shelf(int(2.5 * wide.bytes)))
    assert found.held("a", 1) is None
    assert [found("a", 1), found("b"), found("a", 1), found("b")] == ["a 1", "b 0", "a 1", "b 0"]
    assert asked == [("a", 1), ("b", 0)]
    assert found.held("a", 1) == "a 1"  # asked for last: b goes first
    found("c")
    assert (found.held("b"), found.held("a", 1), found.held("c")) == (None, "a 1", "c 0")
    for _ in range(2):
        with pytest.raises(InputError):
            found("bad")
    assert asked[-2:] == [("bad", 0), ("bad", 0)]
    assert found.__doc__ == "Say it."


def test_many_sessions_may_ask_at_once() -> None:
    @kept("Squaring")
    def square(progress: Progress | None, number: int) -> int:
        return number * number

    wrong: list[int] = []

    def ask() -> None:
        wrong.extend(n for k in range(2000) if square(n := k % 7) != n * n)

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_what_many_sessions_ask_for_at_once_is_drawn_once() -> None:
    begun = threading.Barrier(4)
    asked: list[int] = []

    @waiting.drawn
    def square(number: int) -> int:
        asked.append(number)
        time.sleep(0.2)  # the others ask meanwhile
        return number * number

    found: list[int] = []

    def ask() -> None:
        begun.wait()
        found.append(square(12))

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (found, asked) == ([144] * 4, [12])


class _SupersededError(Exception):
    """What the web framework ends a run with, in this test."""


@pytest.mark.parametrize("keeping", [waiting.drawn, lambda function: kept("Counting")(lambda _bar: function())])
def test_nothing_long_is_begun_for_a_value_that_the_user_has_left(
    monkeypatch: pytest.MonkeyPatch, keeping: Callable[[Callable[[], str]], Callable[[], str]]
) -> None:
    """A look into the session's state ends a run that is superseded; the turn is then somebody else's."""
    begun: list[str] = []

    def long() -> str:
        begun.append("begun")
        return "found"

    class _Left:
        def __contains__(self, key: str) -> bool:
            raise _SupersededError

    found = keeping(long)
    with monkeypatch.context() as session:
        session.setattr(waiting, "get_script_run_ctx", lambda **_: object())
        session.setattr(waiting.st, "session_state", _Left())
        with pytest.raises(_SupersededError):
            found()
    assert begun == []
    assert found() == "found"


def test_a_picture_is_ready_for_its_page_when_it_is_kept(demos: Path) -> None:
    """Else the page would work it out anew with every change, and its bytes would count nowhere."""
    told = answered(opened(bundles.from_folder(demos / "van_water_tank" / "scenario.toml")), exact=True)
    picture = waiting.drawn(lambda: flow_picture(told, "metric"))()
    assert "shown" in vars(picture)
    (both,) = waiting.drawn(lambda: (flow_picture(told, "us"),))()
    assert "shown" in vars(both)


def test_what_is_kept_is_bounded_in_bytes() -> None:
    shelf = waiting.Shelf(10_000_000)
    for k in range(100):
        shelf.put(k, np.zeros(100_000))  # 0.8 MB each
        assert shelf.bytes <= 10_000_000
    assert shelf.get(0) is None
    assert shelf.get(99) is not None
    assert shelf.bytes > 8_000_000
    shelf.put("too much", np.zeros(2_000_000))
    assert shelf.get("too much") is None
    assert shelf.get(99) is not None


def test_the_size_of_a_result_counts_all_it_refers_to() -> None:
    numbers = np.zeros(50_000)
    inside = {"a": [numbers, numbers], "text": "x" * 1000}
    assert 400_000 < waiting.size_of(inside) < 410_000
    assert 400_000 < waiting.size_of(lambda: numbers) < 410_000
    assert waiting.size_of(np) < 1000
