"""Screens without a browser: what Streamlit's runner of tests does again and again is done once.

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
