"""What a question says, ready to be printed or shown: headlines, tables, lists; no number is made here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class SaidTable:
    """A table with its title: headings and rows of text, the first `left` columns set to the left."""

    title: str
    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    left: int = 1


@dataclass(frozen=True)
class Said:
    """Danger and answer first, then tables, then lists by title, cautions last; `unsafe` where a headline says "Do not
    operate".
    """

    headlines: Sequence[str]
    tables: Sequence[SaidTable] = ()
    lists: Sequence[tuple[str, Sequence[str]]] = ()
    unsafe: bool = False
