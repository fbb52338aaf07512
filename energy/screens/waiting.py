"""What a user sees while something is computed, and results kept so that nothing is computed twice."""

from __future__ import annotations

import contextlib
import functools
import gc
import html
import sys
import threading
import time
import types
from collections import OrderedDict, deque
from collections.abc import Callable, Hashable, Iterator
from typing import TYPE_CHECKING, Any, Concatenate, Generic, ParamSpec, TypeVar

import numpy as np
import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from energy import progress
from energy.pictures.base import Picture
from energy.progress import PATIENCE_S

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

MOST_BYTES = 96 * 1024 * 1024  # of all results that are kept
_MOST_PARTS = 300_000
_SHARED = (type, types.ModuleType, types.BuiltinFunctionType, types.CodeType, threading.Thread)
_LOOKED_S = 0.05
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


class Shelf:
    """What the process has worked out, by what it was worked out from; bounded in bytes.

    Whoever asks with the same input gets the same result. Where there is no room, what was not asked for the longest
    time goes.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes, self._bytes = most_bytes, 0
        self._results: OrderedDict[Hashable, tuple[Any, int]] = OrderedDict()
        self._lock = threading.Lock()

    @property
    def bytes(self) -> int:
        """The bytes that stand here now."""
        return self._bytes

    def get(self, key: Hashable) -> tuple[Any] | None:
        """Return the result in a tuple, None where there is none."""
        with self._lock:
            if key not in self._results:
                return None
            self._results.move_to_end(key)
            return (self._results[key][0],)

    def put(self, key: Hashable, result: object) -> None:
        """Keep a result; one that is larger than all the room is not kept."""
        size = size_of((key, result))
        with self._lock:
            if key in self._results or size > self._most_bytes:
                return
            self._results[key] = (result, size)
            self._bytes += size
            while self._bytes > self._most_bytes:
                self._bytes -= self._results.popitem(last=False)[1][1]


_SHELF = Shelf(MOST_BYTES)


def size_of(thing: object) -> int:
    """Return about how many bytes a thing takes with all that it refers to, each once; code and modules do not count.

    What refers to very much is counted up to some hundred thousand parts.
    """
    seen: set[int] = set()
    todo, total = [thing], 0
    while todo and len(seen) < _MOST_PARTS:
        part = todo.pop()
        if id(part) in seen or isinstance(part, _SHARED):
            continue
        seen.add(id(part))
        if isinstance(part, types.FunctionType):  # what it closes over is its own, its module is not
            todo += part.__closure__ or ()
            continue
        own = getattr(type(part), "memory_usage", None)
        if own is not None:  # a table knows its size, and has thousands of parts
            total += int(np.sum(own(part, deep=False)))
            continue
        total += sys.getsizeof(part, 64)
        todo += gc.get_referents(part)
    return total


class _Turns:
    """Lets one thread after the other work out something long: what is quick is then quick for everybody.

    First come, first served. Who waits goes on looking whether his answer is still wanted.
    """

    def __init__(self) -> None:
        self._waiting: deque[int] = deque()  # whoever stands first has the turn
        self._moved = threading.Condition()
        self._own = threading.local()

    @contextlib.contextmanager
    def turn(self) -> Iterator[None]:
        """Wait for a turn, and keep it as long as the context lasts; inside another turn it comes at once."""
        if getattr(self._own, "inside", False):
            yield
            return
        me = threading.get_ident()
        with self._moved:
            self._waiting.append(me)
        try:
            self._until_first(me)
            _end_if_superseded()  # nothing long is begun for a value that the user has left already
            self._own.inside = True
            yield
        finally:
            self._own.inside = False
            with self._moved:
                self._waiting.remove(me)
                self._moved.notify_all()

    def _until_first(self, me: int) -> None:
        while True:
            with self._moved:
                if self._moved.wait_for(lambda: self._waiting[0] == me, timeout=_LOOKED_S):
                    return
            _end_if_superseded()


def _end_if_superseded() -> None:
    """End this run if its session has asked for a newer one: a look into the session's state does that."""
    if get_script_run_ctx(suppress_warning=True) is not None:
        _ = "bundle" in st.session_state


_TURNS = _Turns()


class Kept(Generic[P, T]):
    """A function whose results are kept by its arguments; a bar is shown while it computes, if that takes long.

    Two who ask at once may both compute. What raises is not kept.
    """

    def __init__(
        self, function: Callable[Concatenate[progress.Progress | None, P], T], what: str, shelf: Shelf | None = None
    ) -> None:
        functools.update_wrapper(self, function)
        self._function, self._what, self._own = function, what, shelf

    @property
    def _shelf(self) -> Shelf:
        return self._own or _SHELF

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> T:
        """Return the result, computed only if it is not kept."""
        key = (self._function, *_key(args, kwargs))
        held = self._shelf.get(key)
        if held is None:
            with _TURNS.turn():
                held = self._shelf.get(key) or (self._computed(*args, **kwargs),)
            self._shelf.put(key, held[0])
        value: T = held[0]
        return value

    def held(self, *args: P.args, **kwargs: P.kwargs) -> T | None:
        """Return the result if it is kept, else None."""
        held = self._shelf.get((self._function, *_key(args, kwargs)))
        return None if held is None else held[0]

    def _computed(self, *args: P.args, **kwargs: P.kwargs) -> T:
        if get_script_run_ctx(suppress_warning=True) is None:  # nobody looks: a download, or the start of the app
            return self._function(None, *args, **kwargs)
        bar = Progress(self._what)
        try:
            return self._function(bar, *args, **kwargs)
        finally:
            bar.done()


def cached(function: Callable[P, T]) -> Callable[P, T]:
    """Return a function that keeps its results by its arguments, for what is quick and shows no bar."""

    @functools.wraps(function)
    def kept(*args: P.args, **kwargs: P.kwargs) -> T:
        key = (function, *_key(args, kwargs))
        held = _SHELF.get(key)
        if held is None:
            held = (function(*args, **kwargs),)
            _SHELF.put(key, held[0])
        result: T = held[0]
        return result

    return kept


def drawn(function: Callable[P, T]) -> Callable[P, T]:
    """Return a function that keeps its results, for what takes some tenths of a second: it waits for its turn."""

    @functools.wraps(function)
    def kept_or_made(*args: P.args, **kwargs: P.kwargs) -> T:
        key = (function, *_key(args, kwargs))
        held = _SHELF.get(key)
        if held is None:
            with _TURNS.turn():
                held = _SHELF.get(key)  # somebody else may have asked for it before
                if held is None:
                    held = (_made_ready(function(*args, **kwargs)),)
            _SHELF.put(key, held[0])
        result: T = held[0]
        return result

    return kept_or_made


def _made_ready(result: T) -> T:
    """Return a result whose pictures are worked out as far as a page needs them: that is kept, and counted, with it."""
    for part in result if isinstance(result, tuple) else (result,):
        if isinstance(part, Picture):
            _ = part.shown
    return result


def _key(args: tuple[object, ...], kwargs: dict[str, object]) -> tuple[Hashable, Hashable]:
    return args, tuple(sorted(kwargs.items()))


def kept(
    what: str, shelf: Shelf | None = None
) -> Callable[[Callable[Concatenate[progress.Progress | None, P], T]], Kept[P, T]]:
    """Return a decorator that makes a function `Kept`; `what` is the bar's text, `shelf` a room of its own, if any.

    The function takes what to call with its progress first; who calls it leaves that out.
    """
    return lambda function: Kept(function, what, shelf)
