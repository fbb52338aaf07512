"""What one session holds: the scenario in work, the one it was loaded as, variant A, and the units to show.

Everything lives in the session's own state: another browser sees nothing of it. Results are kept by their input, so
that nothing is computed twice.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from energy.chain.answer import answered
from energy.chain.load import opened
from energy.progress import Progress
from energy.scenario import bundle as bundles
from energy.scenario.bundle import Bundle
from energy.scenario.demos import demo_folder
from energy.screens.waiting import kept as kept_with_bar
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.scenario.read import Scenario

FIRST_DEMO = "van_water_tank"


@functools.lru_cache(maxsize=16)
def scenario_of(bundle: Bundle) -> Scenario:
    """Return the checked scenario of a bundle. Raises InputError."""
    return opened(bundle)


@functools.lru_cache(maxsize=16)
def nominal_of(bundle: Bundle) -> Answered:
    """Return the answer of a bundle with every value taken as exact: within some milliseconds. Raises InputError."""
    return answered(scenario_of(bundle), exact=True)


@kept_with_bar("Working out how sure that is")
def told_of(progress: Progress | None, bundle: Bundle) -> Answered:
    """Return the answer of a bundle with how sure it is, as the command line gives it. Raises InputError."""
    return answered(scenario_of(bundle), progress=progress)


@functools.cache
def demos() -> dict[str, Bundle]:
    """Return the demo scenarios by folder name, the first to show first."""
    paths = sorted(demo_folder().glob("*/scenario.toml"), key=lambda p: (p.parent.name != FIRST_DEMO, p.parent.name))
    return {path.parent.name: bundles.from_folder(path) for path in paths}


@functools.cache
def demo_title(name: str) -> str:
    """Return the title of a demo scenario."""
    return str(demos()[name].data().get("title") or name)


@dataclass(frozen=True)
class Work:
    """The scenario in work: its bundle, what is wrong with it, and the answer of the last bundle that could be used.

    `told` is the answer of the values as exact (`told_of` has the intervals, and takes longer).
    """

    bundle: Bundle
    problems: tuple[Problem, ...]
    usable: Bundle
    told: Answered

    def problems_at(self, key: str) -> list[Problem]:
        """Return the faults of one key."""
        return [p for p in self.problems if p.key == key or p.key.partition(":")[0] == key]


def start() -> None:
    """Give a new session its demo scenario."""
    if "bundle" not in st.session_state:
        st.session_state["system"] = "metric"
        st.session_state["round"] = 0
        load(demos()[FIRST_DEMO])


def load(bundle: Bundle) -> None:
    """Take a bundle as loaded: the scenario in work, the state to return to, and variant A.

    What was in work before is kept, to be gone back to.
    """
    if "bundle" in st.session_state and st.session_state["bundle"] != bundle:
        st.session_state["before"] = st.session_state["bundle"]
    for key in ("bundle", "loaded", "kept"):
        st.session_state[key] = bundle
    st.session_state.pop("usable", None)
    renew()


def renew() -> None:
    """Let every field show the scenario's values anew, instead of what was typed into it."""
    st.session_state["round"] += 1


def system() -> UnitSystem:
    """Return the units to show."""
    chosen: UnitSystem = st.session_state["system"]
    return chosen


def bundle() -> Bundle:
    """Return the scenario in work."""
    current: Bundle = st.session_state["bundle"]
    return current


def put(changed: Bundle) -> None:
    """Make a bundle the scenario in work."""
    st.session_state["bundle"] = changed


def put_value(key: str, value: Any) -> None:
    """Change one value of the scenario in work."""
    put(bundles.with_value(bundle(), key, value))


def loaded() -> Bundle:
    """Return the scenario as it was loaded."""
    current: Bundle = st.session_state["loaded"]
    return current


@functools.lru_cache(maxsize=16)
def _guesses_of(held: Bundle) -> tuple[str, ...]:
    try:
        held.data()
    except InputError:
        return ()
    return bundles.guesses(held)


def guesses() -> tuple[str, ...]:
    """Return the keys of the scenario in work that nobody has put his own value to yet; none where it is no TOML."""
    return _guesses_of(bundle())


def is_demo() -> bool:
    """Return whether the scenario in work is a demo as it came."""
    return bundle() in demos().values()


def before() -> Bundle | None:
    """Return what was in work before another scenario took its place; None where nothing was."""
    held: Bundle | None = st.session_state.get("before")
    return held


def kept() -> Bundle:
    """Return variant A."""
    current: Bundle = st.session_state["kept"]
    return current


def field_key(name: str) -> str:
    """Return the key of a widget that shows the scenario: another one each time the fields are renewed."""
    return f"{name}#{st.session_state['round']}"


def work() -> Work:
    """Return the scenario in work with its answer; where it is faulty, the answer of the last usable one."""
    current = bundle()
    problems: tuple[Problem, ...] = ()
    try:
        nominal_of(current)
        st.session_state["usable"] = current
    except InputError as error:
        problems = error.problems
    usable: Bundle = st.session_state.get("usable") or demos()[FIRST_DEMO]
    return Work(current, problems, usable, nominal_of(usable))
