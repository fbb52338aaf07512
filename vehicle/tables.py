"""Small CSV tables that go with a scenario (curves, maps, profiles).

Tolerant of how they were saved (see `vehicle.csv_text`), strict about numbers. Units stand in the header (`speed_km_h`,
`speed (km/h)` or `speed [km/h]`), in a row of units under it, or behind the numbers ("36 km/h").
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np

from vehicle import csv_text
from vehicle.problems import InputError, Problem, nearest, shown
from vehicle.units import QuantityError, convert, example

MOST_ROWS = 200_000
_TOLD_EVERY, _SPLIT = 2000, 0.2  # rows between two words of progress; the share of the time that the lines take
MOST_BYTES = 32 * 1024 * 1024

# Unit part of a header name -> unit as `vehicle.units` knows it. Headers are lower case with underscores.
_SLUGS = {
    "": "",
    "m_s": "m/s",
    "mm_s": "mm/s",
    "m_s2": "m/s**2",
    "km_h": "km/h",
    "kmh": "km/h",
    "kph": "km/h",
    "mph": "mph",
    "kn": "knot",
    "ft_s": "ft/s",
    "m": "m",
    "mm": "mm",
    "cm": "cm",
    "in": "inch",
    "ft": "ft",
    "km": "km",
    "mi": "mile",
    "deg": "deg",
    "rad": "rad",
    "rpm": "rpm",
    "rad_s": "rad/s",
    "hz": "revolution/s",
    "w": "W",
    "kw": "kW",
    "hp": "hp",
    "n": "N",
    "kn_force": "kN",
    "lbf": "lbf",
    "nm": "N*m",
    "n_m": "N*m",
    "lbf_ft": "lbf*ft",
    "g_kwh": "g/kWh",
    "g_per_kwh": "g/kWh",
    "s": "s",
    "min": "min",
    "h": "h",
    "degc": "degC",
    "degf": "degF",
    "k": "kelvin",
    "percent": "percent",
    "pct": "percent",
    "kg": "kg",
    "lb": "lb",
    "v": "V",
    "a": "A",
    "ohm": "ohm",
    "j": "J",
    "kj": "kJ",
    "kwh": "kWh",
    "pa": "Pa",
    "kpa": "kPa",
    "hpa": "hPa",
    "kg_m": "kg/m",
    "g": "g",
    "l_h": "L/h",
    "g_s": "g/s",
}


# The header to ask for, where builders write another unit than SI.
_ASKED = {"K": "degc", "rad/s": "rpm", "kg/J": "g_kwh"}


def read_table(
    path: Path,
    columns: Mapping[str, str],
    *,
    optional: Mapping[str, str] | None = None,
    blanks_allowed: Sequence[str] = (),
    by_unit_alone: Sequence[str] = (),
    least_rows: int = 2,
    progress: Callable[[float], None] | None = None,
) -> dict[str, np.ndarray]:
    """Return the named columns of a CSV file as float arrays of one length, in the units asked for.

    `columns` and `optional` map a base name ("speed") to its unit ("m/s"; "dimensionless" for plain numbers). Columns
    of `blanks_allowed` give NaN for an empty cell. A needed column, and one of `by_unit_alone`, is found by a header
    that is its unit ("Watts", "mph"). Row order is kept. `progress` is told the share done, from 0 to 1.
    Raises InputError naming every fault found (a missing file or column, a unit of another kind, a cell that is no
    finite number, rows of the wrong length).
    """
    optional = dict(optional or {})
    wanted = {**columns, **optional}
    lines = csv_text.text_of(path.name, _bytes(path), MOST_BYTES).split("\n")
    by_unit = (*columns, *by_unit_alone)
    layout = _layout(path, lines, wanted, by_unit)
    places, units = _match_header(path, layout, columns, wanted, by_unit)
    body = _rows(path, lines, layout)
    problems: list[Problem] = []
    if len(body) < least_rows:
        problems.append(Problem(path.name, "", f"{len(body)} rows of numbers", f"at least {least_rows}"))
    filled = {name: _Cells(place, wanted[name], len(body), name in blanks_allowed) for name, place in places.items()}
    for index, (number, cells) in enumerate(body):
        if progress is not None and index % _TOLD_EVERY == 0:
            progress(_SPLIT + (1 - _SPLIT) * index / len(body))
        fault = _width_fault(path, number, cells, layout)
        if fault is not None:
            problems.append(fault)
            continue
        for column in filled.values():
            if not column.put(index, cells[column.place], layout.decimal):
                problems.append(_cell_fault(path, number, cells[column.place], layout, column.place))
    if problems:
        raise InputError(problems[:20] if len(problems) <= 20 else [*problems[:20], _more(path, len(problems) - 20)])
    return {name: _in_unit(path, layout.headers[one.place], one, units[name]) for name, one in filled.items()}


class _Cells:
    """The numbers of one column as they are read: those with a unit of their own are in the wanted unit at once."""

    def __init__(self, place: int, unit: str, rows: int, may_be_blank: bool) -> None:
        self.place, self.unit, self.may_be_blank = place, unit, may_be_blank
        self.values = np.full(rows, np.nan)
        self.bare = np.zeros(rows, dtype=bool)

    def put(self, row: int, text: str, decimal: str) -> bool:
        """Put in what a cell says; return whether it could be read."""
        if self.may_be_blank and text.upper() in csv_text.SAID_EMPTY:
            return True
        pair = csv_text.number_and_unit(text, decimal)
        if pair is None:
            return False
        value, unit = pair
        if not unit:
            self.values[row], self.bare[row] = value, True
            return True
        try:
            self.values[row] = convert(value, unit, self.unit)
        except QuantityError:
            return False
        return True


def _bytes(path: Path) -> bytes:
    return csv_text.bytes_of(path, MOST_BYTES, "a CSV file", "CSV file")


def _layout(path: Path, lines: Sequence[str], wanted: Mapping[str, str], by_unit: Sequence[str]) -> csv_text.Layout:
    """Return where the header stands: the line with most wanted names, else most that may be meant, else the first."""

    def named(cells: Sequence[str]) -> int:
        return sum(any(_unit_of(cell, name) is not None for name in wanted) for cell in cells)

    def meant(cells: Sequence[str]) -> int:
        return sum(bool(_meant_by(cell, by_unit, wanted)) for cell in cells)

    is_unit = _unit_of_kind(wanted)
    layout = (
        csv_text.find_layout(lines, named, is_unit)
        or csv_text.find_layout(lines, meant, is_unit)
        or csv_text.first_layout(lines, is_unit)
    )
    if layout is None:
        raise InputError(Problem(path.name, "", "no rows", "a header line and rows of numbers"))
    return layout


def _unit_of_kind(wanted: Mapping[str, str]) -> Callable[[str], bool]:
    """Return whether a text is a unit of one of the wanted kinds."""
    return lambda text: any(_is_of_kind(_SLUGS.get(_normal(text), text), unit) for unit in set(wanted.values()))


def _rows(path: Path, lines: Sequence[str], layout: csv_text.Layout) -> list[tuple[int, list[str]]]:
    """Return the rows that say something with their line numbers."""
    kept = [(number, line) for number, line in enumerate(lines, 1) if csv_text.says_something(line)]
    if len(kept) > MOST_ROWS:
        raise InputError(Problem(path.name, "", f"{len(kept)} rows", f"at most {MOST_ROWS} rows"))
    odd = next((number for number, line in kept if number > layout.header_line and line.count('"') % 2), None)
    if odd is not None:
        read = f"not a CSV table (line {odd} has a quotation mark without its second)"
        raise InputError(Problem(path.name, "", read, "a header line and rows"))
    return [(number, csv_text.split_line(line, layout.delimiter)) for number, line in kept if number > layout.first_row]


def _width_fault(path: Path, number: int, cells: Sequence[str], layout: csv_text.Layout) -> Problem | None:
    width = len(layout.headers)
    spare = any(cells[width:])
    if len(cells) >= width and not spare:
        return None
    hint = " (decimal commas need semicolons between the cells, or quotes)" if layout.delimiter == "," and spare else ""
    return Problem(path.name, f"line {number}", f"{len(cells)} cells under {width} headers{hint}", f"{width} cells")


def _cell_fault(path: Path, number: int, text: str, layout: csv_text.Layout, place: int) -> Problem:
    read = shown(text) if text else "an empty cell"
    accepted = "a finite number"
    if re.fullmatch(r"[+−-]?[\d.]*,[\d.,]*", text) and layout.decimal == ".":
        accepted += " (a comma here could part thousands, or be a decimal sign: write neither)"
    elif "." in text and layout.decimal == ",":
        accepted += " (the decimal sign of this file is the comma: write no points)"
    return Problem(path.name, f"line {number}, column {layout.headers[place]}", read, accepted)


def _slug_of(unit: str) -> str:
    """Return how a header writes a unit, in the spelling to ask a builder for; "" where none is known."""
    return _ASKED.get(unit) or next((slug for slug, known in _SLUGS.items() if known == unit), "")


def _normal(header: str) -> str:
    return re.sub(r"[\s\-]+", "_", header.strip().strip('"').lower())


def _match_header(
    path: Path,
    layout: csv_text.Layout,
    needed: Mapping[str, str],
    wanted: Mapping[str, str],
    by_unit: Sequence[str],
) -> tuple[dict[str, int], dict[str, str]]:
    """Return for each wanted base name its column and the unit in its header, or under it."""
    header = layout.headers
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    problems: list[Problem] = []
    for column, text in enumerate(header):
        for name in sorted(wanted, key=len, reverse=True):
            unit = _unit_of(text, name)
            if unit is None:
                continue
            if name in places:
                problems.append(Problem(path.name, f"column {shown(text)}", f"a second column for {name}", "one"))
            places.setdefault(name, column)
            units.setdefault(name, unit)
            break
    _match_loosely(header, by_unit, wanted, places, units)
    for name in needed:
        if name in places:
            continue
        unit = wanted[name]
        slug = _slug_of(unit)
        ask = f"{name}_{slug}" if slug else name
        near = nearest(ask, header)
        listed = ", ".join(shown(entry, 30) for entry in header[:12])
        problems.append(
            Problem(
                path.name,
                f"column {ask}",
                f"missing; the header has {listed}",
                f"a column {ask}{f' (is it {near!r}?)' if near else ''}",
            )
        )
    if problems:
        raise InputError(problems)
    for name, place in places.items():
        if not units[name] and place < len(layout.unit_row):
            text = layout.unit_row[place].strip("()[] ")
            units[name] = _SLUGS.get(_normal(text), text)
    return places, units


def _match_loosely(
    header: Sequence[str],
    by_unit: Sequence[str],
    wanted: Mapping[str, str],
    places: dict[str, int],
    units: dict[str, str],
) -> None:
    """Place headers as people write them ("RPM", "Watts", "Engine RPM", "Speed [mph]") where one column alone can be
    meant: its unit is of the kind that is wanted, and its words are among those of the name (none at all, only for a
    column of `by_unit`). Of several that a word could mean ("Speed (mph)"), the one of `by_unit` is taken.
    """
    taken = set(places.values())
    meant: dict[str, list[tuple[int, str]]] = {}
    for column, text in enumerate(header):
        if column in taken:
            continue
        fits = _meant_by(text, by_unit, wanted)
        unit = _words_and_unit(text)[1]
        if len(fits) > 1:
            fits = [name for name in fits if name in by_unit]
        if len(fits) == 1 and fits[0] not in places:
            meant.setdefault(fits[0], []).append((column, unit))
    for name, source in meant.items():
        if len(source) == 1:  # of two that could be meant neither is taken: the missing column is named
            places[name], units[name] = source[0]


def _meant_by(header: str, by_unit: Sequence[str], wanted: Mapping[str, str]) -> list[str]:
    """Return the wanted columns that a header may mean by its words and the kind of its unit."""
    words, unit = _words_and_unit(header)
    return [
        name
        for name in wanted
        if unit
        and words <= set(name.split("_"))
        and (words or (name in by_unit and wanted[name] in _WORDED))
        and _is_of_kind(unit, wanted[name])
    ]


def _words_and_unit(header: str) -> tuple[set[str], str]:
    """Return the words of a header in small letters and its unit, "" where it has none."""
    text, inside = csv_text.name_and_unit(header, _is_any_unit)
    if inside:
        return {word for word in _normal(text).split("_") if word}, inside
    words = [word for word in re.split(r"[\s_]+", text) if word]
    for start in range(len(words)):  # the longest end that is a unit
        unit = _SLUGS.get("_".join(words[start:]).lower(), "") or _as_unit(" ".join(words[start:]))
        if unit:
            return {word.lower() for word in words[:start]}, unit
    return {word.lower() for word in words}, ""


def _as_unit(text: str) -> str:
    """Return a word that is a unit ("Watts", "RPM") as `vehicle.units` knows it, "" for any other."""
    for spelled in (text, text.lower(), text.lower().removesuffix("s")):
        if spelled in ("W", "kW") or (len(spelled) > 1 and any(_is_of_kind(spelled, unit) for unit in _WORDED)):
            return spelled
    return ""


_WORDED = ("W", "rad/s", "m/s", "N*m", "N", "V", "A", "ohm", "J")  # kinds whose unit alone is a heading


def _is_any_unit(text: str) -> bool:
    return bool(_SLUGS.get(_normal(text))) or bool(_as_unit(text))


def _is_of_kind(unit: str, wanted: str) -> bool:
    try:
        convert(1.0, unit, wanted)
    except QuantityError:
        return False
    return True


def _unit_of(header: str, name: str) -> str | None:
    """Return the unit text in a header that stands for `name`, "" where it gives none, None where it is another."""
    text, given = csv_text.name_and_unit(header, _is_any_unit)
    base = _normal(text)
    if base == name:
        return given or ""
    if given is None and base.startswith(name + "_") and base[len(name) + 1 :] in _SLUGS:
        return _SLUGS[base[len(name) + 1 :]]
    return None


def _in_unit(path: Path, header: str, cells: _Cells, given: str) -> np.ndarray:
    """Return a column in the wanted unit, its bare numbers in the unit that its header gives."""
    unit, values = cells.unit, cells.values
    if (given in ("", "-", "1") and unit == "dimensionless") or (not given and values.size and not cells.bare.any()):
        return values
    if not given:
        raise InputError(
            Problem(
                path.name,
                f"column {shown(header)}",
                "no unit in the header",
                f"a unit, such as in {example(unit)}: name_km_h or name (km/h)",
            )
        )
    try:
        zero, one = convert(0.0, given, unit), convert(1.0, given, unit)
    except QuantityError as error:
        raise InputError(
            Problem(path.name, f"column {shown(header)}", str(error), f"a unit as in {example(unit)}")
        ) from None
    return np.where(cells.bare, zero + values * (one - zero), values)


def _more(path: Path, count: int) -> Problem:
    return Problem(path.name, "", f"and {count} more faults like these", "")


def increasing(path: Path, name: str, values: np.ndarray) -> None:
    """Raise InputError unless `values` rises strictly: tells a duplicate or unsorted abscissa by its row.

    Not by its value, which is in SI by now, and seldom in the unit of the file.
    """
    step = np.diff(values)
    if (step > 0).all():
        return
    row = int(np.argmax(step <= 0)) + 1
    read = f"the value of row {row} again" if step[row - 1] == 0 else f"less than in row {row}"
    accepted = "values that rise from row to row, each once"
    raise InputError(Problem(path.name, f"column {name}, row {row + 1} of the numbers", read, accepted))
