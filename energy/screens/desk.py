"""What one session holds: the scenario in work with the steps that led to it, what was typed and uploaded, the units.

Every change goes through here and is saved at once (energy/scenario/works.py); the address names the work. Results are
kept by their input, so that nothing is computed twice.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from energy.chain.answer import answered
from energy.chain.load import opened
from energy.progress import Progress
from energy.scenario import bundle as bundles
from energy.scenario import works
from energy.scenario.bundle import Bundle
from energy.scenario.demos import demo_folder
from energy.scenario.works import Content, Opened, Step, Upload
from energy.screens.waiting import cached
from energy.screens.waiting import kept as kept_with_bar
from energy.words import screens as screen_words
from vehicle.problems import InputError, Problem, shown
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.scenario.read import Scenario

FIRST_DEMO = "van_water_tank"


@cached
def scenario_of(bundle: Bundle) -> Scenario:
    """Return the checked scenario of a bundle. Raises InputError."""
    return opened(bundle)


@cached
def nominal_of(bundle: Bundle) -> Answered:
    """Return the answer of a bundle with every value taken as exact: in 6 to 25 ms for the demos. Raises InputError."""
    return answered(scenario_of(bundle), exact=True)


@kept_with_bar("Working out how sure that is")
def answered_of(progress: Progress | None, bundle: Bundle) -> Answered:
    """Return the answer of a bundle with how sure it is, as the command line gives it. Raises InputError."""
    return answered(scenario_of(bundle), stated=nominal_of(bundle), progress=progress)


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

    `answered` is the answer of the values as exact (`answered_of` has the intervals, and takes longer).
    """

    bundle: Bundle
    problems: tuple[Problem, ...]
    usable: Bundle
    answered: Answered

    def problems_at(self, key: str) -> list[Problem]:
        """Return the faults of one key."""
        return [p for p in self.problems if p.key == key or p.key.partition(":")[0] == key]


def start() -> None:
    """Take up, at the beginning of each run, the work that the address names and what was changed in another tab.

    A new session at a bare address goes on with the work that was changed last; where there is none, it shows a demo.
    """
    new = "bundle" not in st.session_state
    if new:
        st.session_state["system"] = "metric"
        st.session_state["round"] = 0
        st.session_state["typed"] = {}
        st.session_state["uploads"] = {}
    st.session_state["run"] = st.session_state.get("run", 0) + 1
    asked = _asked()
    # Back in the browser, to where the open work was still a demo: the work stays, Undo leads to the demo.
    begun_from = ("demo", st.session_state.get("demo_open")) if work_key() else None
    if new or (asked is not None and asked not in (st.session_state.get("address"), begun_from)):
        _go_to(asked)
    else:
        sync()
    _name_in_address()


def _asked() -> tuple[str, str] | None:
    """Return what the address asks for: ("work", its key), ("demo", its name), or None."""
    for kind in ("work", "demo"):
        if kind in st.query_params:
            return kind, str(st.query_params[kind])
    return None


def _go_to(asked: tuple[str, str] | None) -> None:
    if asked is None:
        entries, _ = works.listed()
        if not entries:
            open_demo(FIRST_DEMO)
            return
        asked = ("work", entries[0].key)
    kind, name = asked
    if kind == "demo" and name in demos():
        open_demo(name)
        return
    try:
        if kind == "demo":
            raise InputError(Problem("address", "demo", shown(name), f"one of {', '.join(demos())}"))
        open_work(name)
    except InputError as error:
        notice("; ".join(str(problem) for problem in error.problems))
        if "bundle" not in st.session_state:
            open_demo(FIRST_DEMO)


def _name_in_address() -> None:
    """Let the address name what is open, so that a reload, or a bookmark, comes back to it."""
    wanted = address()
    for kind in ("work", "demo"):
        if kind in st.query_params and kind not in wanted:
            del st.query_params[kind]
    for kind, name in wanted.items():
        if st.query_params.get(kind) != name:
            st.query_params[kind] = name
    st.session_state["address"] = next(iter(wanted.items()))


def address() -> dict[str, str]:
    """Return what an address has to say for the work that is open, or the demo."""
    key = st.session_state.get("work")
    return {"work": key} if key else {"demo": st.session_state.get("demo_open") or FIRST_DEMO}


def work_key() -> str:
    """Return the key of the work that is open, "" where it is a demo that nothing was changed of."""
    return str(st.session_state.get("work") or "")


def notice(text: str) -> None:
    """Say something once, on top of the screen that is drawn next."""
    st.session_state.setdefault("notices", []).append(text)


def notices() -> list[str]:
    """Return what is to be said once, and forget it."""
    said: list[str] = st.session_state.pop("notices", [])
    return said


# ------------------------------------------------------------------------------------------------ works and their steps


def open_demo(name: str) -> None:
    """Show a demo as it came; it becomes a work of its own with the first change."""
    held = demos()[name]
    st.session_state.update({"work": "", "mark": "", "demo_open": name, "typed": {}, "uploads": {}})
    _stand(held, (Step(held, held),), 0)


def open_work(key: str) -> None:
    """Open one of the user's works. Raises InputError where it cannot be read."""
    opened = works.opened(key)
    st.session_state["work"] = key
    st.session_state.pop("demo_open", None)
    _take(opened)
    for words in opened.lost:
        notice(f"Of this work, {words}.")


def _take(opened: Opened) -> None:
    content = opened.content
    st.session_state["mark"] = opened.mark
    st.session_state["system"] = content.system
    st.session_state["typed"] = dict(content.typed)
    st.session_state["uploads"] = dict(content.uploads)
    _stand(content.loaded, content.steps, content.at)


def _stand(loaded: Bundle, steps: tuple[Step, ...], at: int) -> None:
    """Let the session stand at one of these steps, every field shown anew."""
    st.session_state["loaded"] = loaded
    st.session_state["steps"], st.session_state["at"] = steps, at
    st.session_state["bundle"], st.session_state["kept"] = steps[at].bundle, steps[at].kept
    st.session_state.pop("usable", None)
    renew()


def stale() -> bool:
    """Return whether another tab has changed the open work since this one looked at it."""
    key = work_key()
    return bool(key) and works.mark_of(key) not in ("", st.session_state.get("mark"))


def seen(key: str) -> None:
    """Take note of a change of the open work that this session made itself, and that does not touch what is shown."""
    if key == work_key():
        st.session_state["mark"] = works.mark_of(key)


def sync() -> None:
    """Take over what another tab has changed of the open work, and say so."""
    key = work_key()
    if not stale():
        if key and not works.mark_of(key) and not st.session_state.get("gone"):
            st.session_state["gone"] = True
            notice(screen_words.DELETED_ELSEWHERE)
        return
    try:
        opened = works.opened(key)
    except InputError as error:
        notice("; ".join(str(problem) for problem in error.problems))
        return
    _take(opened)
    notice(screen_words.TAKEN_OVER)


def save() -> None:
    """Save the open work as it stands; a demo that was changed becomes a work. What hinders that is said."""
    steps, at = _steps(), int(st.session_state.get("at", 0))
    key = work_key() or works.new_key()
    content = Content(
        loaded(),
        steps,
        at,
        system(),
        dict(st.session_state.get("typed", {})),
        dict(st.session_state.get("uploads", {})),
    )
    try:
        st.session_state["mark"] = works.saved(key, content)
        st.session_state["work"] = key
        st.session_state.pop("unsaved", None)
        st.session_state.pop("gone", None)
    except InputError as error:
        st.session_state["unsaved"] = "; ".join(str(problem) for problem in error.problems)


def unsaved() -> str:
    """Return why the last change could not be saved, "" where it was."""
    return str(st.session_state.get("unsaved", ""))


def _steps() -> tuple[Step, ...]:
    steps: tuple[Step, ...] = st.session_state.get("steps", ())
    return steps or (Step(loaded(), kept()),)


def _step(bundle: Bundle, kept: Bundle) -> None:
    """Make one step: what was undone before it is forgotten."""
    if (bundle, kept) == (st.session_state["bundle"], st.session_state["kept"]):
        return
    steps, at = _steps(), int(st.session_state.get("at", 0))
    here = Step(st.session_state["bundle"], st.session_state["kept"])
    steps = steps[: at + 1] if steps[at] == here else (*steps[: at + 1], here)
    st.session_state["steps"] = (*steps, Step(bundle, kept))[-works.MOST_STEPS :]
    st.session_state["at"] = len(st.session_state["steps"]) - 1
    st.session_state["bundle"], st.session_state["kept"] = bundle, kept
    save()


def load(bundle: Bundle) -> None:
    """Take a bundle as loaded: what is open, the state to revert to, and variant A.

    It becomes a work of its own; only where a demo is open as it came does it take the demo's place.
    """
    if is_demo():
        st.session_state["loaded"] = bundle
        _step(bundle, bundle)
        renew()
        return
    st.session_state.update({"work": "", "mark": "", "demo_open": "", "typed": {}, "uploads": {}})
    _stand(bundle, (Step(bundle, bundle),), 0)
    save()


def undo(by: int = -1) -> None:
    """Go one step back, or one forward (`by` 1)."""
    sync()
    steps, at = _steps(), int(st.session_state.get("at", 0)) + by
    if 0 <= at < len(steps):
        _stand(loaded(), steps, at)
        save()


def can_undo(by: int = -1) -> str:
    """Return what one step back (or forward) changes, in words; "" where there is none."""
    steps, at = _steps(), int(st.session_state.get("at", 0))
    if not 0 <= at + by < len(steps):
        return ""
    return _difference(steps[at], steps[at + by])


@functools.lru_cache(maxsize=8)
def _difference(here: Step, there: Step) -> str:
    """Return what differs between two steps, in words."""
    try:
        changed = bundles.changes(here.bundle, there.bundle)
    except InputError:
        return "the text of the scenario"
    if not changed:
        return "variant A" if here.kept != there.kept else "comments of the scenario"
    if len(changed) > 3:
        return f"{len(changed)} values"
    return "; ".join(
        f"{_key_words(key)} {_value_words(before)} → {_value_words(after)}" for key, before, after in changed
    )


def _key_words(key: str) -> str:
    return key.rpartition(".")[2].replace("_", " ")


def _value_words(value: Any) -> str:
    if value is None:
        return "(default)"
    if isinstance(value, dict):
        return " ".join(str(inner) for inner in value.values())
    text = ", ".join(str(entry) for entry in value) if isinstance(value, list) else str(value)
    return text if len(text) <= 30 else f"{text[:29]}…"


def revert() -> None:
    """Go back to what was loaded, as one more step that can be undone."""
    sync()
    put(loaded())
    renew()


def look_at(screen: str) -> None:
    """Show every field of a screen anew when it is come to: its value may have been changed on another one."""
    if st.session_state.get("screen") != screen:
        st.session_state["screen"] = screen
        renew()


def renew() -> None:
    """Let every field show the scenario's values anew, instead of what was typed into it."""
    st.session_state["round"] += 1


def choose_system(chosen: UnitSystem) -> None:
    """Show other units from now on."""
    st.session_state["system"] = chosen
    if work_key():
        save()
    renew()


def typed() -> dict[str, Any]:
    """Return what was typed and is no part of the scenario; what is put there is saved by `keep_typed`."""
    values: dict[str, Any] = st.session_state.setdefault("typed", {})
    return values


def keep_typed(name: str, value: Any) -> None:
    """Keep something typed; None forgets it."""
    sync()
    held = typed()
    if held.get(name) == value:
        return
    if value is None:
        held.pop(name)
    else:
        held[name] = value
    save()


def forget_typed(names: Sequence[str]) -> None:
    """Forget some of what was typed."""
    held = typed()
    there = [name for name in names if name in held]
    for name in there:
        del held[name]
    if there:
        save()


def uploads(place: str) -> tuple[Upload, ...]:
    """Return the files that were uploaded at one place and are still in use."""
    kept: tuple[Upload, ...] = st.session_state.get("uploads", {}).get(place, ())
    return kept


def keep_uploads(place: str, files: tuple[Upload, ...]) -> None:
    """Keep the files uploaded at one place instead of those before."""
    sync()
    held = {name: there for name, there in st.session_state.get("uploads", {}).items() if name != place}
    if files:
        held[place] = files
    if held != st.session_state.get("uploads", {}):
        st.session_state["uploads"] = held
        save()


def system() -> UnitSystem:
    """Return the units to show."""
    chosen: UnitSystem = st.session_state["system"]
    return chosen


def bundle() -> Bundle:
    """Return the scenario in work."""
    current: Bundle = st.session_state["bundle"]
    return current


def put(changed: Bundle) -> None:
    """Make a bundle the scenario in work: one step, saved at once."""
    _step(changed, kept())


def put_value(key: str, value: Any) -> None:
    """Change one value of the scenario in work, as it stands in whatever tab it was changed last."""
    put_values({key: value})


def put_values(values: Mapping[str, Any]) -> None:
    """Change some values of the scenario in work, as one step."""
    sync()
    changed = bundle()
    for key, value in values.items():
        if key == "rotor.diameter":
            files = changed.files
            changed = bundles.with_diameter(changed, value)
            if changed.files != files:
                notice(screen_words.BLADE_SCALED)
        else:
            changed = bundles.with_value(changed, key, value)
    put(changed)


def keep_variant() -> None:
    """Make the scenario in work variant A."""
    _step(bundle(), bundle())


def loaded() -> Bundle:
    """Return the scenario as it was loaded."""
    current: Bundle = st.session_state["loaded"]
    return current


@cached
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


def kept() -> Bundle:
    """Return variant A."""
    current: Bundle = st.session_state["kept"]
    return current


def field_key(name: str) -> str:
    """Return the key of a widget that shows the scenario: another one each time the fields are renewed."""
    return field_keys()(name)


def field_keys() -> Callable[[str], str]:
    """Return what gives the keys of widgets as they are drawn now, also after the fields were renewed."""
    number = st.session_state["round"]
    return lambda name: f"{name}#{number}"


def times_converted(name: str) -> int:
    """Return how often a field's numbers were put in another unit since the fields were renewed.

    It is a part of the keys of their boxes: a browser that has heard of no new number yet tells the old one again, and
    must not be taken for a user who types it in the new unit.
    """
    return int(st.session_state.get(field_key(f"{name} converted"), 0))


def converted(name: str) -> None:
    """Let the boxes of a field begin anew, with its numbers in the unit that they have now."""
    st.session_state[field_key(f"{name} converted")] = times_converted(name) + 1


def typed_into(name: str, drawn: int) -> None:
    """Take note that the user typed into a field's boxes as they were after `drawn` conversions.

    Where the page still showed the boxes of before, those of now begin anew, with what was typed.
    """
    if drawn != times_converted(name):
        converted(name)


def stands_at(key: str) -> Any:
    """Return what a widget stands at, to be its default as well.

    Streamlit tells a browser just once what the program set a widget to. Where a click cuts that run short before the
    message has left, the browser draws the widget at its default, and tells that as if the user had chosen it: a title
    was lost so, where no default was given.
    """
    return st.session_state[key]


def stands_in(key: str, options: Sequence[Any]) -> int:
    """Return the place among the options where a widget stands, to be its default as well: see `stands_at`."""
    value = stands_at(key)
    return list(options).index(value) if value in options else 0


def drawn() -> None:
    """Take note that the page is drawn to its end: what is not on it any more has no say."""
    st.session_state["drawn"] = st.session_state["run"]


def if_drawn(change: Callable[..., None]) -> Callable[..., None]:
    """Return what a widget calls when its value changes: nothing happens once the page was drawn without the widget.

    A browser goes on telling the values of widgets that it has not yet taken away: it asks for what another tab did
    every few seconds, and a user may click before all is drawn. Streamlit has forgotten those values by then, takes
    them for changed ones, and calls back; what stood in a form of before would be stored over the scenario as it is.
    """
    run = st.session_state["run"]

    def changed(*args: Any) -> None:
        if run >= st.session_state.get("drawn", 0):
            change(*args)

    return changed


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
