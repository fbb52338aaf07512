"""Results that a session keeps by their input, so that nothing is worked out twice; a progress bar while one is."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

import streamlit as st

from energy.screens import page

T = TypeVar("T")
_MOST = 8  # of each name


def result(name: str, key: Hashable, what: str, work: Callable[[Callable[[float], None]], T]) -> T:
    """Return what `work` gives, or gave for the same `key` before; meanwhile a bar headed `what` follows its progress."""

    def with_bar() -> T:
        progress = page.Progress(what)
        try:
            return work(progress)
        finally:
            progress.done()

    return quick(name, key, with_bar)


def quick(name: str, key: Hashable, work: Callable[[], T]) -> T:
    """Return what `work` gives, or gave for the same `key` before, without a bar."""
    kept: dict[Hashable, Any] = st.session_state.setdefault(f"kept {name}", {})
    if key not in kept:
        found = work()
        while len(kept) >= _MOST:
            kept.pop(next(iter(kept)))
        kept[key] = found
    held: T = kept[key]
    return held
