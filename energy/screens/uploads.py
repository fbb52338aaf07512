"""A measured file that a user brings: its form, an example to take away, and its bytes as a file for the readers.

The file stays with the work. What was uploaded is never used as a path.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import streamlit as st

from energy.scenario.works import Upload
from energy.screens import desk, page
from vehicle.files import temporary_files
from vehicle.problems import InputError, shown


def faults(upload: Upload, error: InputError, read_as: str) -> list[str]:
    """Return the faults of an error, told of the user's file instead of the name that it was read under."""
    name = shown(upload.name).strip("'\"")
    return [str(replace(p, where=name) if p.where == read_as else p) for p in error.problems]


def one(label: str, kind: str, place: str) -> Upload | None:
    """Show an upload of one file; return the file in use, which stays until it is removed."""
    kept = several(label, (kind,), place, many=False)
    return kept[0] if kept else None


def several(label: str, kinds: Sequence[str], place: str, *, many: bool = True) -> tuple[Upload, ...]:
    """Show an upload of files; return those in use, which stay with the work until they are removed."""
    widget_key = desk.field_key(f"upload {place}")

    def store() -> None:
        chosen = st.session_state[widget_key]
        files = chosen if isinstance(chosen, list) else [chosen] if chosen is not None else []
        desk.keep_uploads(place, tuple(Upload(each.name, each.getvalue()) for each in files))

    def remove() -> None:
        desk.keep_uploads(place, ())

    with_it = st.file_uploader(
        label, type=list(kinds), accept_multiple_files=many, key=widget_key, on_change=desk.if_drawn(store)
    )
    held = desk.uploads(place)
    if held and not with_it:  # another screen was shown in between, or the page was loaded anew
        names = ", ".join(upload.name for upload in held)
        st.html(f'<p class="wt-note">In use: {page.escape(names)}, uploaded before.</p>')
        st.button("Remove these files" if len(held) > 1 else "Remove this file", on_click=remove, key=f"remove {place}")
    return held


def ask(place: str, form: str, example: bytes | None, example_name: str, of: str = "") -> Upload | None:
    """Show what the file has to hold, an upload and an example; return the file in use, if any.

    `of` tells the upload from another one on the same screen.
    """
    kind = example_name.rpartition(".")[2]
    st.html(f'<p class="wt-note">{page.escape(form)}</p>')
    held = one(f"The {kind.upper()} file{of}", kind, place)
    if example is not None:
        st.download_button(
            f"Download an example file ({kind.upper()}, invented numbers)",
            data=example,
            file_name=example_name,
            mime="text/csv" if kind == "csv" else "application/toml",
            key=f"take example {place}",
            on_click="ignore",
        )
    return held


@contextlib.contextmanager
def as_file(content: bytes, name: str) -> Iterator[Path]:
    """Write bytes into a file of our own name, for as long as the context lasts; faults tell that name, not its
    folder.
    """
    with temporary_files([(name, content)]) as folder:
        path = folder / name
        try:
            yield path
        except InputError as error:
            raise InputError([replace(p, where=name) if p.where == str(path) else p for p in error.problems]) from None
