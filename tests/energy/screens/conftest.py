"""Screens without a browser: what Streamlit's runner of tests does again and again is done once; answers of few draws.

Nothing of what is left out here is the app's own.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from typing import Any

import pytest


@pytest.fixture(scope="session", autouse=True)
def _waiting_without_looking() -> Iterator[None]:
    """Wait for the script's thread to end, where the runner looks every millisecond: a twentieth of the time."""
    from streamlit.testing.v1 import local_script_runner

    def waited(runner: local_script_runner.LocalScriptRunner, timeout: float = 3) -> None:
        assert runner._script_thread is not None
        runner._script_thread.join(timeout)
        if not runner.script_stopped():
            runner.request_stop()
            runner.join()
            raise RuntimeError(f"AppTest script run timed out after {timeout}(s)")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(local_script_runner, "require_widgets_deltas", waited)
        yield


@pytest.fixture(scope="session", autouse=True)
def _components_looked_for_once() -> Iterator[None]:
    """Look once for components that other packages bring: each session reads all that is installed, for as much."""
    from streamlit.components.v2 import manifest_scanner

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            manifest_scanner, "scan_component_manifests", functools.cache(manifest_scanner.scan_component_manifests)
        )
        yield


@pytest.fixture(scope="session", autouse=True)
def _state_looked_into_by_key() -> Iterator[None]:
    """Look up one key of a session's state where each field makes a copy of the whole state to do so: a tenth."""
    from streamlit.runtime.state import safe_session_state, session_state

    class ByKey(Mapping[str, Any]):
        def __init__(self, state: session_state.SessionState) -> None:
            self._state = state

        def __getitem__(self, key: str) -> Any:
            if session_state.is_element_id(key) or session_state._is_internal_key(key):
                raise KeyError(key)
            return self._state[key]

        def __iter__(self) -> Iterator[str]:
            return iter(self._state.filtered_state)

        def __len__(self) -> int:
            return len(self._state.filtered_state)

    def by_key(safe: safe_session_state.SafeSessionState) -> ByKey:
        return ByKey(safe._state)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(safe_session_state.SafeSessionState, "filtered_state", property(by_key))
        yield


@pytest.fixture(scope="module")
def few_draws() -> Iterator[None]:
    """Answer with few draws and few settings tried, for tests of what a screen shows and stores whatever the figures.

    On a shelf of their own: no such answer is left for tests of the figures.
    """
    from energy.chain import answer, evidence, heating, matching, outcome, payback, trip_stall
    from energy.chain.draws import spread_of
    from energy.pictures import over_speed
    from energy.screens import waiting
    from energy.uncertainty.propagate import USUAL, Sampling

    def roughly(*args: Any, sampling: Sampling = USUAL, **options: Any) -> Any:
        return spread_of(*args, sampling=Sampling(128, 32, with_sensitivity=sampling.with_sensitivity), **options)

    with pytest.MonkeyPatch.context() as patch:
        for module in (answer, outcome):
            patch.setattr(module, "spread_of", roughly)
        patch.setitem(heating.heating.__kwdefaults__, "draws", 32)
        for module, name in ((payback, "_DRAWS"), (trip_stall, "_DRAWS"), (over_speed, "_BAND_DRAWS")):
            patch.setattr(module, name, 16)
        for name in ("_STEADY", "_TRIP"):
            patch.setattr(matching, name, matching._Effort((5, 6, 7), 5, 3))
        for number, value in (("_STARTS", 2), ("_LOOKS", 4)):
            patch.setattr(matching, number, value)
        patch.setattr(evidence, "_SPLITS", 20)
        patch.setattr(waiting, "_SHELF", waiting.Shelf(waiting.MOST_BYTES))
        yield
