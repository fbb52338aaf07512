"""What a user sees while something is computed, and results kept so that nothing is computed twice."""

from __future__ import annotations

import functools
import html
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING, Concatenate, Generic, ParamSpec, TypeVar

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from energy import progress
from energy.progress import PATIENCE_S

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

_REDRAWN_S = 0.1  # not oftener than that
_JUST_BEGUN = 0.1  # up to this share the pace so far says little: what is imported on first use is in it

P = ParamSpec("P")
T = TypeVar("T")


class Progress:
    """A bar that tells how long it will still take; call it with the share done, 0 to 1.

    It appears where the script is when it is first called after `PATIENCE_S`: what is quick shows none.
    """

    def __init__(self, what: str) -> None:
        self._what, self._start = what, time.monotonic()
        self._slot: DeltaGenerator | None = None
        self._drawn = 0.0

    def __call__(self, share: float) -> None:
        """Show the share done and the time left at the pace so far."""
        now = time.monotonic()
        if now - self._start < PATIENCE_S or now - self._drawn < _REDRAWN_S:
            return
        if self._slot is None:
            self._slot = st.empty()
        self._drawn = now
        self._slot.html(_bar(f"{self._what}: {time_left(share, now - self._start)}", share))

    def done(self) -> None:
        """Take the bar away."""
        if self._slot is not None:
            self._slot.empty()


def time_left(share: float, spent_s: float) -> str:
    """Return how long the rest takes at the pace so far, in words."""
    if share <= _JUST_BEGUN:
        return "just begun"
    return f"about {max(1.0, spent_s / share - spent_s):.0f} s left"


def _bar(text: str, share: float) -> str:
    """Return the bar as HTML with its text, which is read out as it changes."""
    percent = round(100 * min(max(share, 0.0), 1.0))
    words = html.escape(text, quote=True)
    return (
        f'<div class="wt-progress"><p role="status">{words}</p>'
        f'<progress max="100" value="{percent}" aria-label="{words}">{percent} %</progress></div>'
    )


class Kept(Generic[P, T]):
    """A function whose last results are kept by its arguments; a bar is shown while it computes, if that takes long.

    The results are the process's: whoever asks with the same input gets the same result. Two who ask at once may both
    compute. What raises is not kept.
    """

    def __init__(self, function: Callable[Concatenate[progress.Progress | None, P], T], what: str, most: int) -> None:
        functools.update_wrapper(self, function)
        self._function, self._what, self._most = function, what, most
        self._results: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = threading.Lock()

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> T:
        """Return the result, computed only if it is not kept."""
        key = _key(args, kwargs)
        with self._lock:
            if key in self._results:
                self._results.move_to_end(key)
                return self._results[key]
        found = self._computed(*args, **kwargs)
        with self._lock:
            self._results[key] = found
            while len(self._results) > self._most:
                self._results.popitem(last=False)
        return found

    def held(self, *args: P.args, **kwargs: P.kwargs) -> T | None:
        """Return the result if it is kept, else None."""
        key = _key(args, kwargs)
        with self._lock:
            if key in self._results:
                self._results.move_to_end(key)
            return self._results.get(key)

    def _computed(self, *args: P.args, **kwargs: P.kwargs) -> T:
        if get_script_run_ctx(suppress_warning=True) is None:  # nobody looks: a download, or the start of the app
            return self._function(None, *args, **kwargs)
        bar = Progress(self._what)
        try:
            return self._function(bar, *args, **kwargs)
        finally:
            bar.done()


def _key(args: tuple[object, ...], kwargs: dict[str, object]) -> Hashable:
    return (args, tuple(sorted(kwargs.items())))


def kept(what: str, *, most: int = 16) -> Callable[[Callable[Concatenate[progress.Progress | None, P], T]], Kept[P, T]]:
    """Return a decorator that makes a function `Kept`; `what` is the bar's text, `most` how many results are kept.

    The function takes what to tell its progress first; who calls it leaves that out.
    """
    return lambda function: Kept(function, what, most)
