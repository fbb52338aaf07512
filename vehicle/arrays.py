"""What is done with one value or an array of operating points or draws alike."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Annotated, Any, TypeAlias, TypeVar, get_args, get_type_hints

import numpy as np

Values: TypeAlias = float | np.ndarray
"""A number that may be one value or an array of operating points or draws."""


@dataclass(frozen=True)
class AirSpeedPower:
    """The power of air speed that a figure goes with, at one tip-speed ratio."""

    power: int


CubeOfAirSpeed: TypeAlias = Annotated[np.ndarray, AirSpeedPower(3)]
"""Of powers, in W."""
SquareOfAirSpeed: TypeAlias = Annotated[np.ndarray, AirSpeedPower(2)]
"""Of forces, in N."""
LikeAirSpeed: TypeAlias = Annotated[np.ndarray, AirSpeedPower(1)]
"""Of speeds, currents and voltages."""

T = TypeVar("T")


def map_arrays(change: Callable[[np.ndarray], Any], thing: T, *, but: tuple[str, ...] = ()) -> T:
    """Return a dataclass with `change` applied to each of its arrays, those of dataclasses and tuples inside it too.

    What is no numpy array (a number, a text, None) stays as it is, and so do the fields named in `but`.
    """
    changed: dict[str, Any] = {}
    for f in fields(thing):  # type: ignore[arg-type]
        if f.name in but:
            continue
        value = getattr(thing, f.name)
        if isinstance(value, np.ndarray):
            changed[f.name] = change(value)
        elif hasattr(value, "__dataclass_fields__"):
            changed[f.name] = map_arrays(change, value)
        elif isinstance(value, tuple) and any(isinstance(entry, np.ndarray) for entry in value):
            changed[f.name] = tuple(change(v) if isinstance(v, np.ndarray) else v for v in value)
    return replace(thing, **changed) if changed else thing  # type: ignore[type-var]


def map_arrays_with_air_speed(change: Callable[[np.ndarray, int], np.ndarray], thing: T) -> T:
    """Return a dataclass with `change(array, power)` for its arrays, those of dataclasses inside it too.

    The power of air speed is what the field's type says (`CubeOfAirSpeed`), 0 where it says nothing.
    """
    powers = _air_speed_powers(type(thing))  # type: ignore[arg-type]
    changed: dict[str, Any] = {}
    for f in fields(thing):  # type: ignore[arg-type]
        value = getattr(thing, f.name)
        if isinstance(value, np.ndarray):
            changed[f.name] = change(value, powers[f.name])
        elif hasattr(value, "__dataclass_fields__"):
            changed[f.name] = map_arrays_with_air_speed(change, value)
    return replace(thing, **changed) if changed else thing  # type: ignore[type-var]


@functools.lru_cache
def _air_speed_powers(kind: type) -> dict[str, int]:
    """Return the power of air speed that each field of a dataclass goes with."""
    return {name: _power_of(hint) for name, hint in get_type_hints(kind, include_extras=True).items()}


def _power_of(hint: Any) -> int:
    powers = [entry.power for entry in getattr(hint, "__metadata__", ()) if isinstance(entry, AirSpeedPower)]
    return powers[0] if powers else max(map(_power_of, get_args(hint)), default=0)


def cell_of(grid: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the cell of a rising `grid` (N,) that each value of `at` lies in, and the share of the way through it.

    Values beyond the grid lie in its first or last cell, with a share below 0 or above 1: clip them before, or let the
    straight line go on.
    """
    cell = np.minimum(np.maximum(np.searchsorted(grid, at, side="right") - 1, 0), len(grid) - 2)
    start = grid.take(cell)
    return cell, (at - start) / (grid.take(cell + 1) - start)


def bilinear(
    table: np.ndarray, rows: tuple[np.ndarray, np.ndarray], columns: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Return `table` (R, C) between its entries; `rows` and `columns` are cells and shares as `cell_of` gives them."""
    row, down = rows
    column, across = columns
    width = table.shape[1]
    values, corner = table.ravel(), row * width + column  # one index into a row of values is quicker than two
    above, below = values.take(corner), values.take(corner + width)
    above = above + across * (values.take(corner + 1) - above)
    below = below + across * (values.take(corner + width + 1) - below)
    return np.asarray(above + down * (below - above))


_STRIP = 900_000  # multiplications that are done in one thread (OpenBLAS takes more threads from 2**20 on)


def product_in_strips(columns: np.ndarray, table: np.ndarray) -> np.ndarray:
    """Return the matrix product, strip by strip: each too small for linear algebra to start threads for it.

    Threads for so little work wait for each other in a busy loop, three times as long as the work takes.
    """
    product = np.empty((len(columns), table.shape[1]))
    rows = max(1, _STRIP // table.size)
    for start in range(0, len(columns), rows):
        np.matmul(columns[start : start + rows], table, out=product[start : start + rows])
    return product
