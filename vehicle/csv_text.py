"""What every CSV file is read by, whoever saved it: its encoding, line ends, header, delimiter, decimal sign, numbers.

All doors (tables of a scenario, logs, second logs, a recording that grows, tables edited on the screen) stand on these
functions, so that one file means the same at each of them. None decides what a column is: `find_layout` is told by its
caller which words it knows.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vehicle.files import check_input, read_input
from vehicle.problems import InputError, Problem, nearest

if TYPE_CHECKING:
    import pandas as pd

DELIMITERS = (";", "\t", ",", "|")
MOST_COLUMNS = 500
_SAMPLE = 64 * 1024  # bytes that show whether a text is wide
_HEADER_WITHIN = 40  # lines; what loggers print above their header is shorter
_LONGEST_HEADER = 40_000
_ROWS_COMPARED = 20

# A number with a decimal point. Three digits of exponent are as many as a number has; more are an identifier.
NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_NUMBER = re.compile(NUMBER)
# A number with either decimal sign and its unit behind it: "88 km/h", "1,5 bar", "3.2 m/s2".
WITH_UNIT = r"^\s*([+−-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\d\s.,:;+-][^\d:;]*\d?)\s*$"
_WITH_UNIT = re.compile(WITH_UNIT)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+")
# What loggers and spreadsheets write for "nothing", in capitals.
SAID_EMPTY = ("", "NAN", "NONE", "NULL", "NA", "N/A", "<NA>", "-", "--", "NO DATA", "NODATA")


@dataclass(frozen=True)
class Layout:
    """Where header and rows stand, as line numbers from 0, and how cells are written."""

    delimiter: str
    header_line: int
    first_row: int
    headers: tuple[str, ...]
    unit_row: tuple[str, ...]
    decimal: str


# ---------------------------------------------------------------------------------------------------- bytes to lines


def bytes_of(path: Path, most_bytes: int, accepted: str, name: str, first: int | None = None) -> bytes:
    """Return the bytes of a CSV file, or its `first` ones. Raises InputError where it is missing (its neighbour is
    named), too large, or no plain file; `accepted` and `name` are how its kind is called ("a CSV file", "CSV file").
    """
    try:
        if first is None:
            return read_input(path, most_bytes, accepted)
        check_input(path, most_bytes, accepted)
        with path.open("rb") as file:
            return file.read(first)
    except FileNotFoundError:
        beside = [entry.name for entry in path.parent.glob("*.csv")] if path.parent.is_dir() else []
        near = nearest(path.name, beside)
        hint = f"an existing {name}{f', perhaps {near}' if near else ''}"
        raise InputError(Problem(str(path), "", "no such file", hint)) from None
    except OSError as error:
        raise InputError(Problem(str(path), "", f"cannot be read ({error.strerror})", "a readable CSV file")) from None


def is_packed(head: bytes) -> bool:
    """Return whether a file begins as a gzip file does."""
    return head.startswith(b"\x1f\x8b")


def is_plain(head: bytes) -> bool:
    """Return whether text of eight-bit signs and ordinary line ends begins like that: it needs no `as_utf8`."""
    wide = head.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in head
    return not wide and not (b"\r" in head and b"\n" not in head)


def unpacked(where: str, data: bytes, most_bytes: int) -> bytes:
    """Return the text in a gzip file. Raises InputError where it is damaged or unpacks to more than `most_bytes`."""
    import gzip
    import io
    import zlib

    try:
        with gzip.open(io.BytesIO(data), "rb") as file:
            text = file.read(most_bytes + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise InputError(Problem(where, "", f"a damaged gzip file ({error})", "a whole one")) from None
    if len(text) > most_bytes:
        raise InputError(Problem(where, "", f"over {_size(most_bytes)} when unpacked", "a smaller CSV file"))
    return text


def _size(size: int) -> str:
    return f"{size // 1024**3} GiB" if size >= 1024**3 else f"{size // 1024**2} MiB"


def as_utf8(where: str, data: bytes) -> bytes:
    """Return wide text (UTF-16, with its mark or without) as UTF-8, and lines that end in CR alone as ordinary ones.

    A few zero bytes make their cells no numbers, not the whole file; of many InputError is raised.
    """
    codec = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else _wide_characters(data)
    if codec:
        text = data.decode(codec, errors="replace")
        lost = text.count("\ufffd")
        if lost > 1 + len(text) // 1000 or not text.strip("\ufffd\n\r "):  # a cut file may lose its last sign
            raise InputError(Problem(where, "", "binary data", "a CSV text file"))
        data = text.encode()
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")
    if data.count(b"\0") > len(data) // 1000:
        raise InputError(Problem(where, "", "binary data (zero bytes)", "a CSV text file"))
    return data.replace(b"\0", b"?")


def _wide_characters(data: bytes) -> str:
    """Return the codec of UTF-16 text without a mark, by which of its bytes are zero; "" for other text."""
    sample = np.frombuffer(data[: min(_SAMPLE, len(data) - len(data) % 2)], dtype=np.uint8)
    if not sample.size:
        return ""
    even, odd = float(np.mean(sample[::2] == 0)), float(np.mean(sample[1::2] == 0))
    if odd > 0.7 and even < 0.05:
        return "utf-16-le"
    return "utf-16-be" if even > 0.7 and odd < 0.05 else ""


def text_of(where: str, data: bytes, most_bytes: int) -> str:
    """Return the text of a CSV file in whatever encoding it was saved, packed or not; lines end in a newline only."""
    if is_packed(data):
        data = unpacked(where, data, most_bytes)
    if not is_plain(data):
        data = as_utf8(where, data)
    return decoded(data)


def decoded(data: bytes) -> str:
    """Return eight-bit text as it was meant: UTF-8 with a mark or without, else what many spreadsheets save."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def says_something(line: str) -> bool:
    """Return whether a line holds cells: it is not blank, not nothing but delimiters, and no comment."""
    return bool(line.strip(' ,;\t|"')) and not line.lstrip().startswith("#")


# -------------------------------------------------------------------------------------------------- lines to cells


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line, trimmed, without the quotes around them.

    In a line with an unmatched quote no quote means anything.
    """
    if '"' in line and line.count('"') % 2 == 0:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
            return [cell.strip() for cell in cells]
        except csv.Error:  # a cell of more than 131 072 signs: no quotes are meant
            pass
    return [cell.strip() for cell in line.replace('"', "").split(delimiter)]


def find_layout(
    lines: Sequence[str],
    known: Callable[[list[str]], int],
    is_unit: Callable[[str], bool],
    *,
    sampled: int | None = None,
) -> Layout | None:
    """Return how a file is laid out; None where no line holds a word that is known.

    The header is the line, of the first 40, of whose cells the most are known: `known(cells)` is how many. Of two lines
    (or delimiters) alike the first is taken. `is_unit` says whether a text is a unit, for a row of units under the
    header. The decimal sign is read from all rows, or from the first `sampled`.
    """
    best: tuple[int, int, str, list[str]] | None = None
    for number, line in enumerate(lines[:_HEADER_WITHIN]):
        if not re.search(r"[^\W\d_]", line) or len(line) > _LONGEST_HEADER or not says_something(line):
            continue
        for delimiter in DELIMITERS:
            if delimiter not in line:
                continue
            cells = split_line(line, delimiter)
            if len(cells) < 2 or len(cells) > MOST_COLUMNS:
                continue
            score = known(cells)
            if score and (best is None or score > best[0]):
                best = (score, number, delimiter, cells)
    return None if best is None else _layout_below(lines, best[1], best[2], is_unit, sampled)


def first_layout(lines: Sequence[str], is_unit: Callable[[str], bool]) -> Layout | None:
    """Return how a file is laid out whose first line with cells is its header; None where no line has cells."""
    number = next((k for k, line in enumerate(lines) if says_something(line)), None)
    return None if number is None else _layout_below(lines, number, _delimiter(lines[number:]), is_unit, None)


def _delimiter(lines: Sequence[str]) -> str:
    """Return what parts the first line and the rows under it into equally many cells, else what is in it most often."""
    rows = [line for line in lines[1 : _HEADER_WITHIN + 1] if says_something(line)][:_ROWS_COMPARED]
    header = {mark: len(split_line(lines[0], mark)) for mark in DELIMITERS}
    for mark in DELIMITERS:
        widths = [len(split_line(row, mark)) for row in rows]
        if header[mark] > 1 and widths and max(set(widths), key=widths.count) == header[mark]:
            return mark
    return max(DELIMITERS, key=header.__getitem__) if max(header.values()) > 1 else ","


def _layout_below(
    lines: Sequence[str], number: int, delimiter: str, is_unit: Callable[[str], bool], sampled: int | None
) -> Layout:
    begin = number + 1
    unit_row: tuple[str, ...] = ()
    if begin < len(lines):
        cells = split_line(lines[begin], delimiter)
        if _is_unit_row(cells, is_unit):
            unit_row, begin = tuple(cells), begin + 1
    body = lines[begin:] if sampled is None else lines[begin : begin + sampled]
    headers = tuple(split_line(lines[number], delimiter))
    return Layout(delimiter, number, begin, headers, unit_row, decimal_sign(body, delimiter))


def _is_unit_row(cells: Sequence[str], is_unit: Callable[[str], bool]) -> bool:
    filled = [cell.strip("()[] ") for cell in cells if cell.strip("()[] ")]
    if not filled or any(re.fullmatch(r"[+-]?\d+([.,]\d*)?", cell) for cell in filled):
        return False
    return sum(map(is_unit, filled)) * 2 >= len(filled)


def decimal_sign(lines: Iterable[str], delimiter: str) -> str:
    """Return the decimal sign of a file: the comma where more numbers have one than have a point.

    Where commas part the cells only a quoted number can have one. If every such comma has three digits behind it
    ("1,234") it may as well part thousands: then it is no decimal sign, and those cells are no numbers.
    """
    commas = points = 0
    thousands = delimiter == ","
    for line in lines:
        if "," not in line and "." not in line:
            continue
        if delimiter == "," and '"' not in line:
            points += line.count(".") > 0
            continue
        for cell in split_line(line, delimiter):
            match = _WITH_UNIT.match(cell)
            number = match.group(1) if match else cell
            if re.fullmatch(r"[+−-]?\d+,\d+", number):
                commas += 1
                thousands = thousands and bool(_THOUSANDS.fullmatch(number))
            points += bool(re.fullmatch(r"[+−-]?\d+\.\d+", number))
    return "," if commas > points and not thousands else "."


# ------------------------------------------------------------------------------------------------ cells to numbers


def number(text: str, decimal: str) -> float | None:
    """Return the finite number in a cell, written with the file's decimal sign; None where there is none."""
    cleaned = text.strip().replace("−", "-")
    if decimal == ",":
        if "." in cleaned:
            return None
        cleaned = cleaned.replace(",", ".")
    if not _NUMBER.fullmatch(cleaned):
        return None
    value = float(cleaned)
    return value if np.isfinite(value) else None


def number_and_unit(text: str, decimal: str) -> tuple[float, str] | None:
    """Return the number in a cell and the unit behind it ("" where there is none); None where no number begins it."""
    value = number(text, decimal)
    if value is not None:
        return value, ""
    match = _WITH_UNIT.match(text)
    value = number(match.group(1), decimal) if match else None
    return None if match is None or value is None else (value, match.group(2).strip())


def numbers_of(cells: pd.Series, decimal: str) -> tuple[np.ndarray, np.ndarray]:
    """Return what `number` finds in each cell of a column (NaN where nothing), and which cells said something else.

    The cells that say "nothing" in a usual way (`SAID_EMPTY`) are not among the latter.
    """
    if cells.dtype.kind in "iuf":
        values = cells.to_numpy(dtype=float, copy=True)
        endless = np.isinf(values)
        if endless.any():
            values[endless] = np.nan
        return values, endless
    import pandas as pd

    text = cells.astype("str").str.strip().str.replace("−", "-", regex=False)
    if decimal == ",":
        pointed = text.str.contains(".", regex=False) & cells.map(lambda cell: isinstance(cell, str))
        text = text.str.replace(",", ".", regex=False).mask(pointed, "?")
    plain = text.str.fullmatch(NUMBER).fillna(False).astype(bool)
    values = pd.to_numeric(text.where(plain), errors="coerce").to_numpy(dtype=float, copy=True)
    values[~np.isfinite(values)] = np.nan
    unread = np.isnan(values) & ~text.str.upper().isin(SAID_EMPTY).to_numpy(dtype=bool)
    return values, unread


def name_and_unit(header: str, is_unit: Callable[[str], bool] | None = None) -> tuple[str, str | None]:
    """Return the name in a header and the unit behind it: in brackets ("" in empty ones), or after a comma where
    `is_unit` knows it. None where there is none.
    """
    text = header.strip().strip('"').strip()
    match = re.match(r"^(.*?)\s*[(\[{]\s*([^()\[\]{}]*)\s*[)\]}]\s*$", text)
    if match:
        return match.group(1), match.group(2).strip()
    head, comma, tail = text.rpartition(",")
    return (head, tail.strip()) if comma and is_unit is not None and is_unit(tail.strip()) else (text, None)
