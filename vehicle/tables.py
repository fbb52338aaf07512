"""Small CSV tables that go with a scenario (curves, maps, profiles).

Tolerant of how they were saved, strict about numbers.
Reads UTF-8 with or without BOM, comma, semicolon or tab, decimal points or (with semicolon or tab) decimal commas, and
blank lines. Units stand in the header: `speed_km_h`, `speed (km/h)` or `speed [km/h]`.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np

from vehicle.files import read_input
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
    lines = _lines(path)
    delimiter, rows = _split(path, lines)
    header = [cell.strip() for cell in rows[0][1]]
    places, units = _match_header(path, header, columns, wanted, (*columns, *by_unit_alone))
    body = rows[1:]
    problems: list[Problem] = []
    if len(body) < least_rows:
        problems.append(Problem(path.name, "", f"{len(body)} rows of numbers", f"at least {least_rows}"))
    found: dict[str, np.ndarray] = {}
    cells_of = {name: np.full(len(body), np.nan) for name in places}
    for index, (number, cells) in enumerate(body):
        if progress is not None and index % _TOLD_EVERY == 0:
            progress(_SPLIT + (1 - _SPLIT) * index / len(body))
        spare = [cell for cell in cells[len(header) :] if cell.strip()]
        if len(cells) < len(header) or spare:
            hint = " (decimal commas need semicolons between the cells)" if delimiter == "," and spare else ""
            problems.append(
                Problem(
                    path.name,
                    f"line {number}",
                    f"{len(cells)} cells under {len(header)} headers{hint}",
                    f"{len(header)} cells",
                )
            )
            continue
        for name, column in places.items():
            text = cells[column].strip()
            if not text and name in blanks_allowed:
                continue
            value = _number(text, decimal_comma=delimiter != ",")
            if value is None:
                read = "an empty cell" if not text else shown(text)
                problems.append(Problem(path.name, f"line {number}, column {header[column]}", read, "a finite number"))
            else:
                cells_of[name][index] = value
    if problems:
        raise InputError(problems[:20] if len(problems) <= 20 else [*problems[:20], _more(path, len(problems) - 20)])
    for name, column in places.items():
        found[name] = _in_unit(path, header[column], cells_of[name], units[name], wanted[name])
    return found


def _lines(path: Path) -> list[str]:
    try:
        raw = read_input(path, MOST_BYTES, "a CSV file")
    except FileNotFoundError:
        beside = [entry.name for entry in path.parent.glob("*.csv")] if path.parent.is_dir() else []
        near = nearest(path.name, beside)
        raise InputError(
            Problem(str(path), "", "no such file", f"an existing CSV file{f', perhaps {near}' if near else ''}")
        ) from None
    except OSError as error:
        raise InputError(Problem(str(path), "", f"cannot be read ({error.strerror})", "a readable CSV file")) from None
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = raw.decode("utf-16", errors="replace")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", errors="replace")  # what spreadsheets save by default on many machines
    if "\0" in text:
        raise InputError(Problem(path.name, "", "binary data", "a CSV text file"))
    return text.splitlines()


def _split(path: Path, lines: Sequence[str]) -> tuple[str, list[tuple[int, list[str]]]]:
    """Return the delimiter and the non-blank rows with their line numbers."""
    kept = [(number, line) for number, line in enumerate(lines, 1) if line.strip(" ,;\t") and not _is_comment(line)]
    if not kept:
        raise InputError(Problem(path.name, "", "no rows", "a header line and rows of numbers"))
    if len(kept) > MOST_ROWS:
        raise InputError(Problem(path.name, "", f"{len(kept)} rows", f"at most {MOST_ROWS} rows"))
    head = kept[0][1]
    delimiter = max(";\t,", key=head.count) if any(c in head for c in ";\t,") else ","
    try:
        rows = [(number, next(csv.reader([line], delimiter=delimiter, strict=True))) for number, line in kept]
    except csv.Error as error:
        raise InputError(Problem(path.name, "", f"not a CSV table ({error})", "a header line and rows")) from None
    return delimiter, rows


def _is_comment(line: str) -> bool:
    return line.lstrip().startswith("#")


def _normal(header: str) -> str:
    return re.sub(r"[\s\-]+", "_", header.strip().strip('"').lower())


def _match_header(
    path: Path,
    header: Sequence[str],
    needed: Mapping[str, str],
    wanted: Mapping[str, str],
    by_unit: Sequence[str],
) -> tuple[dict[str, int], dict[str, str]]:
    """Return for each wanted base name its column and the unit in its header."""
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
        slug = "degc" if unit == "K" else next((s for s, u in _SLUGS.items() if u == unit), "")
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
        words, unit = _words_and_unit(text)
        fits = [
            name
            for name in wanted
            if unit
            and words <= set(name.split("_"))
            and (words or (name in by_unit and wanted[name] in _WORDED))
            and _is_of_kind(unit, wanted[name])
        ]
        if len(fits) > 1:
            fits = [name for name in fits if name in by_unit]
        if len(fits) == 1 and fits[0] not in places:
            meant.setdefault(fits[0], []).append((column, unit))
    for name, found in meant.items():
        if len(found) == 1:  # of two that could be meant neither is taken: the missing column is named
            places[name], units[name] = found[0]


def _words_and_unit(header: str) -> tuple[set[str], str]:
    """Return the words of a header in small letters and its unit, "" where it has none."""
    text = header.strip().strip('"').strip()
    inside = re.fullmatch(r"([^(\[]*?)\s*[(\[]\s*(.+?)\s*[)\]]", text)
    if inside:
        return {word for word in _normal(inside.group(1)).split("_") if word}, inside.group(2)
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


def _is_of_kind(unit: str, wanted: str) -> bool:
    try:
        convert(1.0, unit, wanted)
    except QuantityError:
        return False
    return True


def _unit_of(header: str, name: str) -> str | None:
    """Return the unit text in a header that stands for `name`, "" where it gives none, None where it is another."""
    match = re.fullmatch(r"\s*\"?([^(\[]+?)\s*(?:[(\[]\s*(.*?)\s*[)\]])?\"?\s*", header)
    if not match:
        return None
    base, given = _normal(match.group(1)), match.group(2)
    if base == name:
        return given or ""
    if given is None and base.startswith(name + "_") and base[len(name) + 1 :] in _SLUGS:
        return _SLUGS[base[len(name) + 1 :]]
    return None


def _number(text: str, *, decimal_comma: bool) -> float | None:
    cleaned = text.replace("−", "-")
    if decimal_comma and "," in cleaned:
        if "." in cleaned or cleaned.count(",") > 1:
            return None
        cleaned = cleaned.replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", cleaned):
        return None
    value = float(cleaned)
    return value if np.isfinite(value) else None


def _in_unit(path: Path, header: str, values: np.ndarray, given: str, unit: str) -> np.ndarray:
    if not given:
        if unit == "dimensionless":
            return values
        raise InputError(
            Problem(
                path.name,
                f"column {shown(header)}",
                "no unit in the header",
                f"a unit, such as in {example(unit)}: name_km_h or name (km/h)",
            )
        )
    if given in ("-", "1") and unit == "dimensionless":
        return values
    try:
        zero, one = convert(0.0, given, unit), convert(1.0, given, unit)
    except QuantityError as error:
        raise InputError(
            Problem(path.name, f"column {shown(header)}", str(error), f"a unit as in {example(unit)}")
        ) from None
    return zero + values * (one - zero)


def _more(path: Path, count: int) -> Problem:
    return Problem(path.name, "", f"and {count} more faults like these", "")


def increasing(path: Path, name: str, values: np.ndarray, line_hint: str = "") -> None:
    """Raise InputError unless `values` rises strictly: tells a duplicate or unsorted abscissa by its value and row."""
    step = np.diff(values)
    if (step > 0).all():
        return
    row = int(np.argmax(step <= 0)) + 1
    what = "twice" if step[row - 1] == 0 else f"after {values[row - 1]:g}"
    raise InputError(
        Problem(
            path.name,
            f"column {name}",
            f"{values[row]:g} {what}, in row {row + 1} of the numbers{line_hint}",
            "values that rise from row to row, each once",
        )
    )
