"""Headings of tables."""

from __future__ import annotations


def one_line(headings: list[str]) -> list[str]:
    """Return headings of two lines on one; where the first line is empty, that of the column before it counts
    (a blank in it: none).
    """
    whole, above = [], ""
    for heading in headings:
        first, _, second = heading.rpartition("\n")
        above = first or (above if "\n" in heading else "")
        whole.append(f"{above} {second}".strip())
    return whole
