"""What did my change do? Variant A as kept, variant B as changed; or any two or three works, side by side."""

from __future__ import annotations

from typing import Any

import streamlit as st

from energy.pictures.interval import interval_html
from energy.pictures.side_by_side import side_by_side
from energy.scenario import bundle as bundles
from energy.scenario import works
from energy.scenario.bundle import Bundle
from energy.screens import desk, page
from energy.screens.desk import Work
from energy.screens.heat import at_steady_speed
from energy.words import answer as report
from energy.words import screens as screen_words
from energy.words.cautions import cautions
from energy.words.interval import main_interval
from energy.words.screens import QUESTIONS
from energy.words.side_by_side import Contender, finding, measures, short_names
from energy.words.verdict import verdict as verdict_of
from vehicle.problems import InputError
from vehicle.units import UnitSystem

_HEADING = QUESTIONS["compare"]
_A, _B, _MOST = "A, as kept", "B, as changed", 3


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.empty()
    chosen = _chosen()
    try:
        with top.container():
            st.title(_HEADING)
            bundles_of = {name: _bundle_of(name, work) for name in chosen}
            contenders = [_contender(name, bundle) for name, bundle in bundles_of.items()]
    except InputError as error:  # loaded with faults, and kept so
        with top.container():
            page.cannot(work, _HEADING, "One of these cannot be answered.", error.problems)
        _keep()
        return
    with top.container():
        page.answer_line(work, _HEADING, _said(contenders, bundles_of, system))
    picture = side_by_side(contenders, system)
    page.picture(picture, screen_words.OF_BARS, headed=chosen == [_A, _B])
    for column, one in zip(st.columns(len(contenders)), contenders, strict=True):
        verdict = verdict_of(one.answered, system)
        shown = interval_html(main_interval(one.answered, system), outcome=verdict.word)
        column.html(
            f'<h2 class="wt-finding">{page.escape(one.name)}</h2>{page.verdict_html(verdict)}{shown}'
            + (f'<p class="wt-least">{page.escape(verdict.least_known)}</p>' if verdict.least_known else "")
        )
    _differences(bundles_of)
    page.finding("The numbers side by side")
    numbers = [dict(report.key_numbers(one.answered, system)) for one in contenders]
    rows = [(measure.name, *measure.words) for measure in measures(contenders, system)]
    above = {name for name, *_ in rows} - {"heat"}  # its median stands above
    names = dict.fromkeys(name for verdict in numbers for name in verdict if name not in above)
    page.table(("number", *chosen), rows, caption="The numbers side by side")
    page.finding("At the stated values")
    stated = [(name, *(verdict.get(name, "–") for verdict in numbers)) for name in names]
    page.table(("number", *chosen), stated, caption="At the stated values")
    _keep()
    page.cautions(cautions(work.answered, system))
    page.assumptions(work)


def _chosen() -> list[str]:
    """Return the names of what is compared: A and B, or two or three of those, the works and the demos."""
    entries, _ = works.listed()
    demos = desk.demos()
    keys = [*(entry.key for entry in entries), *demos]
    titles = [*(entry.called for entry in entries), *(desk.demo_title(name) for name in demos)]
    comparable = dict(zip(short_names(titles, [_A, _B]), keys, strict=True))
    st.session_state["comparable"] = comparable
    names = [_A, _B, *comparable]
    held = [name for name in st.session_state.get("compared", [_A, _B]) if name in names]
    st.session_state["compared"] = held
    st.multiselect("Side by side (two or three)", names, held, key="compared", max_selections=_MOST)
    chosen = list(st.session_state["compared"])
    return chosen if len(chosen) >= 2 else [_A, _B]


def _bundle_of(name: str, work: Work) -> Bundle:
    """Return the bundle of a name. Raises InputError where a work cannot be read."""
    if name in (_A, _B):
        return desk.kept() if name == _A else work.usable
    key = st.session_state["comparable"][name]
    if key in desk.demos():
        return desk.demos()[key]
    content = works.opened(key).content
    return content.steps[content.at].bundle


def _contender(name: str, bundle: Bundle) -> Contender:
    try:
        heated = at_steady_speed(bundle)
    except InputError:  # nothing that warms is described, or the scenario is over a trip: shown as not known
        heated = None
    return Contender(name, desk.answered_of(bundle), heated)


def _said(contenders: list[Contender], bundles_of: dict[str, Bundle], system: UnitSystem) -> str:
    if list(bundles_of) != [_A, _B]:
        return finding(contenders, system)
    if not bundles.changes(bundles_of[_A], bundles_of[_B]):
        return screen_words.NOTHING_DIFFERS
    return report.difference_sentence(contenders[0].answered, contenders[1].answered, system)


def _differences(bundles_of: dict[str, Bundle]) -> None:
    """Show the keys at which they differ, with the value of each."""
    (first, base), *others = bundles_of.items()
    differences: dict[str, dict[str, str]] = {}
    for name, bundle in others:
        for key, before, after in bundles.changes(base, bundle):
            differences.setdefault(key, {})[name] = _words(after)
            differences[key][first] = _words(before)
    if not differences:
        return
    rows = [(key, *(row.get(name, row[first]) for name in bundles_of)) for key, row in differences.items()]
    names = [name.partition(",")[0] if name in (_A, _B) else name for name in bundles_of]
    heading = "What was changed" if list(bundles_of) == [_A, _B] else f"What differs between them ({len(rows)})"
    if len(rows) <= 15:
        page.finding(heading)
        page.table(("key", *names), rows, caption=heading)
    else:
        with st.expander(heading):
            page.table(("key", *names), rows, caption=heading)


def _words(value: Any) -> str:
    if value is None:
        return "(default)"
    if isinstance(value, dict):
        return ", ".join(f"{key.replace('_', ' ')} {inner}" for key, inner in value.items())
    if isinstance(value, list):
        return ", ".join(f"({_words(entry)})" if isinstance(entry, dict) else _words(entry) for entry in value)
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _keep() -> None:
    def keep() -> None:
        desk.keep_variant()

    def back() -> None:
        desk.put(desk.kept())
        desk.renew()

    first, second = st.columns(2)
    first.button("Keep B as the new A", on_click=keep, width="stretch")
    second.button("Back to A", on_click=back, width="stretch")
