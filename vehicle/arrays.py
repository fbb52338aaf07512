"""What is done with one value or an array of operating points or draws alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any, TypeAlias, TypeVar

import numpy as np

Values: TypeAlias = float | np.ndarray
"""A number that may be one value or an array of operating points or draws."""

T = TypeVar("T")


def map_arrays(change: Callable[[np.ndarray], Any], thing: T, *, but: tuple[str, ...] = ()) -> T:
    """Return a dataclass with `change` applied to each of its arrays, those of dataclasses inside it too.

    What is no numpy array (a number, a text, None) stays as it is, and so do the fields named in `but`.
    """
    changed: dict[str, Any] = {}
    for field in fields(thing):  # type: ignore[arg-type]
        if field.name in but:
            continue
        value = getattr(thing, field.name)
        if isinstance(value, np.ndarray):
            changed[field.name] = change(value)
        elif hasattr(value, "__dataclass_fields__"):
            changed[field.name] = map_arrays(change, value)
    return replace(thing, **changed) if changed else thing  # type: ignore[type-var]


def cell_of(grid: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the cell of a rising `grid` (N,) that each value of `at` lies in, and the share of the way through it.

    Values beyond the grid lie in its first or last cell, with a share below 0 or above 1: clip them before, or let the
    straight line go on.
    """
    cell = np.clip(np.searchsorted(grid, at, side="right") - 1, 0, len(grid) - 2)
    return cell, (at - grid[cell]) / (grid[cell + 1] - grid[cell])


def bilinear(
    table: np.ndarray, rows: tuple[np.ndarray, np.ndarray], columns: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Return `table` (R, C) between its entries; `rows` and `columns` are cells and shares as `cell_of` gives them."""
    row, down = rows
    column, across = columns
    above = table[row, column] + across * (table[row, column + 1] - table[row, column])
    below = table[row + 1, column] + across * (table[row + 1, column + 1] - table[row + 1, column])
    return above + down * (below - above)
