"""CSV tables that are edited on the screen: rows as texts, so that a cell that nobody touches stays as it was
written.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

import pandas as pd
import streamlit as st

from energy.screens import desk
from vehicle import csv_text
from vehicle.problems import InputError, Problem

MOST_ROWS = 2000
MOST_BYTES = 32 * 1024 * 1024


def empty(columns: Sequence[str], rows: int) -> pd.DataFrame:
    """Return a table of empty cells."""
    return pd.DataFrame({name: [""] * rows for name in columns}, dtype="str")


def from_csv(content: bytes, name: str = "table") -> tuple[str, pd.DataFrame]:
    """Return the comment lines on top of a CSV file, and its cells as texts. Raises InputError where it is no small
    table.
    """
    lines = csv_text.text_of(name, content, MOST_BYTES).split("\n")
    layout = csv_text.first_layout(lines, lambda _: False)
    if layout is None:
        raise InputError(Problem(name, "", "no rows", "a header and rows"))
    comments = "".join(line + "\n" for line in lines[: layout.header_line] if line.startswith("#"))
    header = list(layout.headers)
    cells = [
        [_pointed(cell, layout.decimal) for cell in csv_text.split_line(line, layout.delimiter)]
        for line in lines[layout.first_row :]
        if csv_text.says_something(line)
    ]
    if len(cells) > MOST_ROWS:
        raise InputError(
            Problem(name, "", f"{len(cells)} rows", f"at most {MOST_ROWS} to edit here; upload it instead")
        )
    if len(set(header)) < len(header) or any(len(row) != len(header) for row in cells):
        raise InputError(Problem(name, "", "rows that are no even table", "as many cells in each row as in the header"))
    return comments, pd.DataFrame(cells, columns=header, dtype="str")


def _pointed(cell: str, decimal: str) -> str:
    """Return a cell with its number written as `to_csv` writes it: with a decimal point. Anything else stays."""
    return cell.replace(",", ".", 1) if decimal == "," and csv_text.number_and_unit(cell, decimal) is not None else cell


def to_csv(table: pd.DataFrame, comments: str = "") -> bytes:
    """Return a table as a CSV file; rows without any text are left out."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    write.writerow(table.columns)
    for row in table.itertuples(index=False):
        cells = ["" if pd.isna(cell) else str(cell).strip() for cell in row]
        if any(cells):
            write.writerow(cells)
    return (comments + out.getvalue()).encode()


def editor(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """Show a table whose cells and rows can be changed; return it as changed.

    Once something was changed, the rows that stood there then stay, whatever `table` is later: no work is lost. They
    stay with the work, also while another screen is shown, until `forget` is called.
    """
    key = desk.field_key(f"table {name}")
    touched = any(st.session_state.get(key, {}).values())
    if not touched or f"{key} rows" not in st.session_state:
        st.session_state[f"{key} rows"] = _kept(name, table)
    edited: pd.DataFrame = st.data_editor(
        st.session_state[f"{key} rows"], key=key, num_rows="dynamic", hide_index=True, width="stretch"
    )
    if touched:
        desk.keep_typed(f"table {name}", to_csv(edited).decode())
    return edited


def forget(name: str) -> None:
    """Forget what was changed of a table."""
    desk.keep_typed(f"table {name}", None)


def _kept(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """Return the table as it was changed before, if it was, with the rows that are still empty; else `table`."""
    text = desk.typed().get(f"table {name}")
    if not isinstance(text, str):
        return table
    try:
        _, held = from_csv(text.encode())
    except InputError:  # every row was emptied
        return empty(list(table.columns), len(table))
    if list(held.columns) != list(table.columns):
        return table
    missing = len(table) - len(held)
    return pd.concat([held, empty(list(held.columns), missing)], ignore_index=True) if missing > 0 else held
