"""Your works: what is open and saved, one step back and forth, and the list to open, rename, duplicate and delete."""

from __future__ import annotations

import time
from typing import Any

import streamlit as st

from energy.pictures.price import taken_html
from energy.scenario import works
from energy.scenario.works import Entry
from energy.screens import desk, page
from energy.words import screens as screen_words
from energy.words.first import taken_and_given
from vehicle.problems import InputError

HEADING = "Your works"
_LOOKED_S = 3.0  # at what other tabs change
_MOST_SHOWN = 30


def bar() -> None:
    """Show, on top of every screen, what is open and whether it is saved, and the buttons for one step."""
    with st.container(key="wt-bar", horizontal=True, vertical_alignment="center", gap="small"):
        st.html(f'<p class="wt-open">{page.escape(_state())}</p>')
        back, forth = desk.can_undo(), desk.can_undo(1)
        st.button("Undo", on_click=desk.undo, disabled=not back, help=back or None, key="undo")
        st.button("Redo", on_click=desk.undo, args=(1,), disabled=not forth, help=forth or None, key="redo")


def _state() -> str:
    if desk.unsaved():
        return "Not saved"
    return "Saved" if desk.work_key() else "Demo: your first change makes it a work of yours"


def notices() -> None:
    """Show what is to be said once: what came from another tab, what could not be opened or saved."""
    if desk.unsaved():
        page.problem_list([desk.unsaved()], "Your last change is not saved; it is open here only")
    for text in desk.notices():
        st.html(f'<p class="wt-notice" role="status">{page.escape(text)}</p>')


@st.fragment(run_every=_LOOKED_S)
def watch() -> None:
    """Say that another tab has changed the open work, as soon as it has."""
    if desk.stale():
        st.html(f'<p class="wt-notice" role="status">{page.escape(screen_words.IN_ANOTHER_TAB)}</p>')
        if st.button("Show it as it stands", key="take newer"):
            st.rerun()


def show(first: Any) -> None:
    """Show the list; `first` is the screen that a work is opened on."""
    st.title(HEADING)
    entries, problems = works.listed()
    st.html(f'<p class="wt-note">{page.escape(screen_words.SAVED_AS_CHANGED)}</p>')
    if problems:
        page.problem_list([str(problem) for problem in problems], "Cannot be opened; all others can")
    _last_deleted()
    if not entries:
        page.bullets([screen_words.NO_WORKS])
    for entry in entries[: None if st.session_state.get("all works") else _MOST_SHOWN]:
        _row(entry, first)
    if len(entries) > _MOST_SHOWN:
        st.toggle(f"show all {len(entries)}", key="all works")
    _gallery(first)
    gone = works.deleted_works()
    if gone:
        with st.expander(f"Deleted in the last 30 days ({len(gone)})"):
            for entry in gone:
                st.html(f'<p class="wt-work">{page.escape(entry.called)}</p>')
                st.button("Restore", on_click=_restore, args=(entry,), key=f"restore {entry.key}")


def _gallery(first: Any) -> None:
    """Show every demo with a picture of what it takes and gives, to be opened on the screen `first`."""
    page.finding(screen_words.GALLERY)
    st.html(f'<p class="wt-note">{page.escape(screen_words.OF_GALLERY)}</p>')
    columns = st.columns(2)
    for k, (name, bundle) in enumerate(desk.demos().items()):
        answered = desk.answered_of.held(bundle) or desk.nominal_of(bundle)
        title = desk.demo_title(name).partition(": ")[2]
        title = title[:1].upper() + title[1:]
        with columns[k % 2].container(border=True, gap="xxsmall"):
            st.html(
                f'<p class="wt-demo">{page.escape(title)}</p>{taken_html(taken_and_given(answered, desk.system()))}'
            )
            st.page_link(first, label=f"Open: {_plain(title.partition(',')[0])}", query_params={"demo": name})


def _row(entry: Entry, first: Any) -> None:
    here = " (open)" if entry.key == desk.work_key() else ""
    name = _plain(entry.called)
    with st.container(border=True, gap="xxsmall"):
        st.html(
            f'<p class="wt-work">{page.escape(entry.called)}{here}</p>'
            f'<p class="wt-note">changed {_date(entry.changed_s)}, begun {_date(entry.begun_s)}</p>'
        )
        with st.container(horizontal=True, gap="small", vertical_alignment="center"):
            st.page_link(first, label=f"Open {name}", query_params={"work": entry.key})
            with st.popover("Rename", key=f"rename {entry.key}"):
                key = desk.field_key(f"name {entry.key}")
                st.text_input(
                    f"new name of {name}",
                    value=entry.called,
                    max_chars=works.MOST_NAME,
                    key=key,
                    on_change=desk.if_drawn(_rename),
                    args=(entry, key),
                    autocomplete="off",
                )
            st.button("Duplicate", on_click=_duplicate, args=(entry,), key=f"duplicate {entry.key}")
            st.button("Delete", on_click=_delete, args=(entry,), key=f"delete {entry.key}")


def _date(epoch_s: float) -> str:
    return time.strftime("%d %b %Y, %H:%M", time.localtime(epoch_s))


def _plain(text: str) -> str:
    """Return a user's text as a label shows it: letters, digits and spaces only, since labels are read as markup."""
    return "".join(c if c.isalnum() or c in " .%/-" else " " for c in text).strip()[:90] or "(no name)"


def _tried(change: Any, *arguments: Any) -> Any:
    """Do something with the works; say what hinders it."""
    try:
        return change(*arguments)
    except InputError as error:
        desk.notice("; ".join(str(problem) for problem in error.problems))
        return None


def _rename(entry: Entry, key: str) -> None:
    _tried(works.renamed, entry.key, str(st.session_state[key]))
    desk.seen(entry.key)


def _duplicate(entry: Entry) -> None:
    _tried(works.duplicated, entry.key)


def _delete(entry: Entry) -> None:
    try:
        works.deleted(entry.key)
    except InputError as error:
        desk.notice("; ".join(str(problem) for problem in error.problems))
        return
    st.session_state["deleted"] = entry
    if entry.key == desk.work_key():
        desk.open_demo(desk.FIRST_DEMO)


def _last_deleted() -> None:
    entry: Entry | None = st.session_state.get("deleted")
    if entry is not None:
        st.html(f'<p class="wt-notice" role="status">Deleted: {page.escape(entry.called)}.</p>')
        st.button("Undo: restore it", on_click=_restore, args=(entry,), key="undo delete")


def _restore(entry: Entry) -> None:
    _tried(works.restored, entry.key)
    st.session_state.pop("deleted", None)
