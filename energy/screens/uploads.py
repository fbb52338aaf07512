"""A measured file that a user brings: its form, an example to take away, and its bytes as a file for the readers.

The file stays with the session while other screens are shown. What was uploaded is never used as a path.
"""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import streamlit as st

from energy.screens import desk, page
from vehicle.problems import InputError, shown


@dataclass(frozen=True)
class Upload:
    """An uploaded file: its name as the user has it (for showing only) and its bytes."""

    name: str
    content: bytes

    def faults(self, error: InputError, read_as: str) -> list[str]:
        """Return the faults of an error, told of the user's file instead of the name that it was read under."""
        name = shown(self.name).strip("'\"")
        return [str(replace(p, where=name) if p.where == read_as else p) for p in error.problems]


def ask(place: str, form: str, example: bytes | None, example_name: str) -> Upload | None:
    """Show what the file has to hold, an upload and an example; return the file in use, if any."""
    kind = example_name.rpartition(".")[2]
    st.html(f'<p class="wt-note">{page.escape(form)}</p>')
    held_key, widget_key = f"upload held {place}", desk.field_key(f"upload {place}")

    def store() -> None:
        upload = st.session_state[widget_key]
        st.session_state[held_key] = None if upload is None else Upload(upload.name, upload.getvalue())

    def put_away() -> None:
        st.session_state[held_key] = None

    with_it = st.file_uploader(f"The {kind.upper()} file", type=[kind], key=widget_key, on_change=store)
    held: Upload | None = st.session_state.get(held_key)
    if held is not None and with_it is None:  # another screen was shown in between
        st.html(f'<p class="wt-note">In use: {page.escape(held.name)}, uploaded before.</p>')
        st.button("Put it away", on_click=put_away, key=f"remove {place}")
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
    with tempfile.TemporaryDirectory(prefix="windtoll-") as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        try:
            yield path
        except InputError as error:
            raise InputError([replace(p, where=name) if p.where == str(path) else p for p in error.problems]) from None
