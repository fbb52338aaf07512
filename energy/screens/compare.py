"""What did my change do? Variant A as kept, variant B as changed, side by side."""

from __future__ import annotations

from typing import Any

import streamlit as st

from energy.scenario import bundle as bundles
from energy.screens import desk, page
from energy.words import answer as report
from energy.words.cautions import cautions
from energy.words.verdict import verdict as verdict_of
from vehicle.problems import InputError


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    heading = "What did my change do?"
    top = st.empty()
    try:
        with top.container():
            st.title(heading)
            after = desk.told_of(work.usable)
            before = desk.told_of(desk.kept())
    except InputError as error:  # loaded with faults, and kept so
        with top.container():
            page.cannot(work, heading, "Variant A cannot be answered.", error.problems, "Variant A")
        _keep()
        return
    changed = bundles.changes(desk.kept(), work.usable)
    said = "Nothing differs yet: A and B are the same. Change a value, and come back."
    if changed:
        said = report.difference_sentence(before, after, system)
    with top.container():
        page.answer_line(work, heading, said)
    left, right = st.columns(2)
    for column, name, told in ((left, "A, as kept", before), (right, "B, as changed", after)):
        found = verdict_of(told, system)
        column.html(
            f'<h2 class="wt-finding">{name}</h2>{page.verdict_html(found)}'
            + (f'<p class="wt-least">{page.escape(found.least_known)}</p>' if found.least_known else "")
        )
    if changed:
        page.finding("What was changed")
        page.table(
            ("key", "A", "B"), [(key, _words(a), _words(b)) for key, a, b in changed], caption="What was changed"
        )
    page.finding("The numbers side by side")
    a, b = dict(report.key_numbers(before, system)), dict(report.key_numbers(after, system))
    page.table(
        ("number", "A", "B"),
        [(name, a.get(name, "–"), b.get(name, "–")) for name in dict.fromkeys([*a, *b])],
        caption="The numbers side by side",
    )
    _keep()
    page.cautions(cautions(work.told, system))
    page.assumptions(work)


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
