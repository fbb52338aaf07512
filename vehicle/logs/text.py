"""From the bytes of a log to raw columns: delimiter, header, decimal sign, broken rows. Nothing is interpreted here.

A file in which every row has the cells that its header promises goes straight to pandas' C parser. Any other is mended
first, row by row: a row with too few or too many cells cannot be trusted in any of its cells (the place of each is
unknown), so it is kept as a row without values, counted and told.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vehicle import csv_text
from vehicle.csv_text import DELIMITERS, Layout
from vehicle.logs.columns import PARAMETER, TIME, VALUE, match_header, unit_factor_quick
from vehicle.problems import InputError, Problem, shown

if TYPE_CHECKING:
    import pandas as pd

MOST_BYTES = 2 * 1024**3
_CHUNK = 16 * 1024 * 1024
_HEAD = 64 * 1024
_ROWS_SAMPLED = 300  # for the decimal sign
_MOST_COMMENTS, _LONGEST_COMMENT = 5, 200
_KINDS = (
    "speed",
    "rotation",
    "fraction",
    "pressure",
    "temperature",
    "mass flow",
    "volume flow",
    "voltage",
    "time",
    "torque",
    "length",
)


@dataclass(frozen=True)
class RawLog:
    """Columns as they stand in the file: `frame` has one column per header (numbers where all cells are numbers, text
    otherwise), `broken` marks rows whose cells could not be told apart, `last_is_empty` says that the last name
    stands over nothing, `repairs` what was mended and how often, `comments` the lines with # above the header.
    """

    headers: tuple[str, ...]
    unit_row: tuple[str, ...]
    frame: pd.DataFrame
    broken: np.ndarray
    decimal: str
    last_is_empty: bool
    repairs: tuple[tuple[str, int], ...]
    comments: tuple[str, ...] = ()


def read_raw(
    path: Path, wanted: Callable[[Sequence[str], Sequence[str]], list[int]], *, names: Iterable[str] = ()
) -> RawLog:
    """Return the columns of a log that `wanted(headers, unit_row)` names by index, as numbers or text.

    `names` are headers that the user has named: a line that holds them is the header, whatever its language.

    Raises InputError for a file that is missing, empty, binary, without a header that names any known parameter, or
    whose rows do not fit its header.
    """
    head, data = _opened(path)
    repairs: list[tuple[str, int]] = []
    counts = _counts(path if data is None else data, head)
    if counts["\0"]:
        raise InputError(Problem(path.name, "", "binary data (zero bytes)", "a CSV text file"))
    if counts["\r"] != counts["\r\n"]:
        data = path.read_bytes() if data is None else data
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    layout = _layout(path, head, whole=len(head) < _HEAD, names=names)
    if counts['"']:
        data = path.read_bytes() if data is None else data
        data, mended = _unquoted(data, layout)
        repairs += mended
        if layout.delimiter == ",":  # what was a decimal comma inside quotes is a point now
            layout = replace(layout, decimal=".")
    if data is not None:
        head = data[:_HEAD]
        counts = _counts(data, head)
    lines = _lines_of(head)
    if len(head) >= _HEAD:
        lines = lines[:-1]  # the last one is cut
    separators = layout.delimiter
    rows = counts["\n"] + (0 if counts["ends in newline"] else 1) - layout.first_row
    if rows < 1:
        raise InputError(Problem(path.name, "", "a header without rows", "at least two rows of values"))
    sample = [
        line.count(separators)
        for line in lines[layout.first_row : layout.first_row + 500]
        if csv_text.says_something(line)
    ]
    expected = max(set(sample), key=sample.count) if sample else len(layout.headers) - 1
    before = sum(line.count(separators) for line in lines[: layout.first_row])
    clean = counts[separators] - before == rows * expected and all(count == expected for count in sample)
    broken = np.zeros(rows, dtype=bool)
    if not clean:
        data = path.read_bytes() if data is None else data
        data, broken, mended = _mend(path, data, layout, expected)
        repairs += mended
    _check_width(path, layout, expected, lines)
    columns = wanted(layout.headers, layout.unit_row)
    source: Path | io.BytesIO = path if data is None else io.BytesIO(data)
    frame = _parse(path, source, layout, expected, columns, skip=layout.first_row if clean else 0)
    if len(frame) != len(broken):  # the two ways of counting rows must agree, or flags would sit on the wrong rows
        raise InputError(Problem(path.name, "", f"{len(broken)} lines but {len(frame)} rows", "one line a row"))
    last = max((index for index, header in enumerate(layout.headers) if header), default=0)
    spare = last == expected and len(layout.headers) == last + 1 and bool(frame[last].isna().all())
    comments = tuple(shown_line(line) for line in lines[: layout.header_line] if line.startswith("#"))[:_MOST_COMMENTS]
    return RawLog(layout.headers, layout.unit_row, frame, broken, layout.decimal, spare, tuple(repairs), comments)


def shown_line(comment: str) -> str:
    """Return a comment line of a file as it can be printed: without its mark and control characters, cut."""
    text = "".join(c for c in comment.lstrip("# ").strip() if c.isprintable())
    return text if len(text) <= _LONGEST_COMMENT else f"{text[:_LONGEST_COMMENT]} …"


def _opened(path: Path) -> tuple[bytes, bytes | None]:
    """Return the beginning of a log as UTF-8 (or eight-bit) text, and all of it where it had to be unpacked."""
    head = csv_text.bytes_of(path, MOST_BYTES, "one log as a CSV file", "log", _HEAD)
    data: bytes | None = None
    if csv_text.is_packed(head):
        data = csv_text.unpacked(path.name, path.read_bytes(), MOST_BYTES)
        head = data[:_HEAD]
    if not head.strip():
        raise InputError(Problem(str(path), "", "an empty file", "a log: a header line and rows of values"))
    if not csv_text.is_plain(head):
        data = csv_text.as_utf8(path.name, path.read_bytes() if data is None else data)
        head = data[:_HEAD]
    return head, data


def _counts(source: Path | bytes, head: bytes) -> dict[str, int]:
    """Return how often the delimiters seen in `head`, line ends, quotes and zero bytes occur, read in chunks."""
    marks = (*(mark for mark in DELIMITERS if mark.encode() in head), "\n", "\r", '"', "\0")
    counts = dict.fromkeys((*DELIMITERS, *marks), 0)
    last = b""
    counts["\r\n"] = 0

    def add(chunk: bytes) -> None:
        for mark in marks:
            counts[mark] += chunk.count(mark.encode())
        if counts["\r"]:
            counts["\r\n"] += chunk.count(b"\r\n") + (last == b"\r" and chunk.startswith(b"\n"))

    if isinstance(source, bytes):
        add(source)
        last = source[-1:]
    else:
        with source.open("rb") as file:
            while chunk := file.read(_CHUNK):
                add(chunk)
                last = chunk[-1:]
    counts["ends in newline"] = int(last == b"\n")
    return counts


def _unquoted(data: bytes, layout: Layout) -> tuple[bytes, list[tuple[str, int]]]:
    """Return the text without quotes: a quoted "1,5" between commas becomes 1.5, other delimiters in quotes go."""
    mark = layout.delimiter.encode()
    odd = 0
    lines = data.split(b"\n")
    sample = [line for line in lines[:200] if b'"' in line]
    quoted = re.compile(rb'(?:^|[,;\t|])\s*"[^"]*' + re.escape(mark) + rb'[^"]*"')
    comma_is_decimal = layout.delimiter == layout.decimal == ","

    def bare(match: re.Match[bytes]) -> bytes:
        inner = match.group(1)
        if comma_is_decimal and re.match(rb"\s*[+-]?\d+,\d*(?![\d,])", inner):
            return inner.replace(b",", b".", 1).replace(b",", b" ")
        return inner.replace(mark, b" ")

    if any(quoted.search(line) for line in sample) or len(sample) < 2:
        mended = []
        for line in lines:
            if b'"' not in line:
                mended.append(line)
            elif line.count(b'"') % 2:
                odd += 1
                mended.append(line.replace(b'"', b""))
            else:
                mended.append(re.sub(rb'"([^"]*)"', bare, line))
        data = b"\n".join(mended)
    else:
        odd = sum(line.count(b'"') % 2 for line in lines)
        data = data.replace(b'"', b"")
    return data, [("unmatched quotation marks removed (rows)", odd)] if odd else []


def _lines_of(head: bytes) -> list[str]:
    """Return the lines at the beginning of a log; a sign that is cut at the end does not spoil the others."""
    whole = head[: head.rfind(b"\n") + 1 or len(head)]
    return (csv_text.decoded(whole) + head[len(whole) :].decode("utf-8", errors="replace")).split("\n")


def _layout(path: Path, head: bytes, *, whole: bool, names: Iterable[str] = ()) -> Layout:
    """Return where header and rows stand: the line, of the first 40, whose cells name most known parameters."""
    lines = _lines_of(head)
    if not whole and len(lines) > 1:
        lines = lines[:-1]
    layout = layout_of(lines, names)
    if layout is None:
        first = next((line for line in lines if line.strip()), "")
        raise InputError(
            Problem(
                path.name,
                "header",
                f"no known parameter in {shown(first, 80)}",
                'a header line such as "time (s),vehicle speed (km/h),engine speed (rpm),manifold pressure (kPa)"',
            )
        )
    return layout


def layout_of(lines: Sequence[str], names: Iterable[str] = ()) -> Layout | None:
    """Return how a log is laid out; None where no line names a known parameter, or what the user has named."""
    named = {name.strip().lower() for name in names}

    def known(cells: Sequence[str]) -> int:
        return sum(
            cell.lower() in named or match_header(cell).use in ("used", "recognised, not needed")
            for cell in cells
            if re.search(r"[^\W\d_]", cell)
        )

    return csv_text.find_layout(lines, known, is_unit, sampled=_ROWS_SAMPLED)


def is_unit(text: str) -> bool:
    """Return whether a text is a common spelling of a unit that logs have."""
    return any(unit_factor_quick(kind, text) for kind in _KINDS)


def _mend(path: Path, data: bytes, layout: Layout, expected: int) -> tuple[bytes, np.ndarray, list[tuple[str, int]]]:
    """Return rows of equal width without the header, which of them were broken, and what was done."""
    mark = layout.delimiter.encode()
    starts, counts = _cells_per_line(data, mark)
    header = data[starts[layout.header_line] : starts[layout.header_line + 1]].strip()
    ends = np.append(starts[1:], len(data) + (0 if data.endswith(b"\n") else 1))
    first = np.frombuffer(data, dtype=np.uint8)[np.minimum(starts, len(data) - 1)]
    odd = (counts != expected) | (first == ord("#")) | (ends - starts <= 2)
    if data.count(header) > 1:
        odd |= (counts == header.count(mark)) & (first == header[0])
    odd[: layout.first_row] = False
    mended = _Mended(mark, expected, header)
    parts: list[bytes | memoryview] = []
    view = memoryview(data)
    done = int(starts[layout.first_row]) if layout.first_row < starts.size else len(data)
    rows = 0
    broken: list[int] = []
    places = np.flatnonzero(odd).tolist()
    skip = -1
    line_of_done = layout.first_row
    for place in places:
        if place <= skip:
            continue
        begin, end = int(starts[place]), int(ends[place])
        following = (
            data[int(starts[place + 1]) : int(ends[place + 1])].strip(b"\r\n") if place + 1 < starts.size else b""
        )
        text, used = mended.line(data[begin:end].strip(b"\r\n"), following)
        if text is None and used == 0:  # an ordinary row after all
            continue
        parts.append(view[done:begin])
        rows += place - line_of_done
        if text is not None:
            if text[1]:
                broken.append(rows)
            parts.append(text[0] + b"\n")
            rows += 1
        skip = place + used - 1
        line_of_done = place + used
        done = int(ends[skip]) if skip + 1 < starts.size else len(data)
    parts.append(view[done:])
    rows += starts.size - line_of_done
    if rows < 1:
        raise InputError(Problem(path.name, "", "a header without rows", "at least two rows of values"))
    bad = mended.short + mended.long
    if bad > 0.3 * rows and bad > 2:
        commas = mark == b"," and mended.long > mended.short
        hint = " (decimal commas need semicolons between the cells, or quotes)" if commas else ""
        raise InputError(
            Problem(
                path.name,
                "rows",
                f"{bad} of {rows} rows do not have {expected + 1} cells{hint}",
                f"{len(layout.headers)} cells in every row",
            )
        )
    flags = np.zeros(rows, dtype=bool)
    flags[broken] = True
    return b"".join(parts), flags, mended.repairs()


def _cells_per_line(data: bytes, mark: bytes) -> tuple[np.ndarray, np.ndarray]:
    """Return where each line starts and how many delimiters it holds, in pieces so that memory stays small."""
    whole = np.frombuffer(data, dtype=np.uint8)
    starts: list[np.ndarray] = []
    counts: list[np.ndarray] = []
    begin = 0
    while begin < len(data):
        end = data.find(b"\n", min(begin + _CHUNK, len(data) - 1)) + 1
        end = end or len(data)
        piece = whole[begin:end]
        inside = np.flatnonzero(piece == 10) + 1
        line_starts = np.concatenate([[0], inside])
        line_starts = line_starts[line_starts < piece.size]
        starts.append(line_starts + begin)
        counts.append(np.add.reduceat((piece == mark[0]).view(np.uint8), line_starts, dtype=np.uint16))
        begin = end
    return np.concatenate(starts), np.concatenate(counts)


class _Mended:
    """Decides line by line what an odd line is, and counts."""

    def __init__(self, mark: bytes, expected: int, header: bytes) -> None:
        self.mark, self.expected, self.header = mark, expected, header
        self.repeated = self.joined = self.short = self.long = 0

    def line(self, line: bytes, following: bytes) -> tuple[tuple[bytes, bool] | None, int]:
        """Return (row, whether broken) or None for no row, and how many lines were used (0: leave the line alone)."""
        stripped = line.strip()
        if not stripped or stripped.startswith(b"#"):
            return None, 1
        if stripped == self.header:
            self.repeated += 1
            return None, 1
        count, after = line.count(self.mark), following.count(self.mark)
        if count == self.expected:
            return None, 0
        if count < self.expected and after < self.expected and following.strip() and count + after == self.expected:
            self.joined += 1
            return (_rejoined(line, following, self.mark), True), 2
        self.short += count < self.expected
        self.long += count > self.expected
        return (self.mark * self.expected, True), 1

    def repairs(self) -> list[tuple[str, int]]:
        repairs = [
            ("repeated header lines left out", self.repeated),
            ("rows broken over two lines, joined", self.joined),
            ("rows with too few cells (cut short), values not used", self.short),
            ("rows with too many cells, values not used", self.long),
        ]
        return [entry for entry in repairs if entry[1]]


def _rejoined(line: bytes, following: bytes, mark: bytes) -> bytes:
    """Return one row from the two lines it was broken into: the cell at the break is lost, the others keep their
    places."""
    before, after = line.split(mark)[:-1], following.split(mark)[1:]
    return mark.join([*before, b"?", *after])


def _check_width(path: Path, layout: Layout, expected: int, lines: Sequence[str]) -> None:
    """Refuse a header with fewer or more names than the rows have cells: names and columns would be shifted."""
    named = len(layout.headers)
    while named and not layout.headers[named - 1]:
        named -= 1
    cells = expected + 1
    if cells == named or cells == len(layout.headers):
        return
    body = [line.split(layout.delimiter) for line in lines[layout.first_row : layout.first_row + 500] if line.strip()]
    spare = any(cell.strip() for row in body if len(row) == cells for cell in row[named:])
    if cells > named and not spare:
        return
    commas = layout.delimiter == "," and cells > 1.3 * named
    hint = " (decimal commas need semicolons between the cells, or quotes)" if commas else ""
    raise InputError(
        Problem(path.name, "header", f"{named} names over rows of {cells} cells{hint}", "one name for each column")
    )


def _parse(
    path: Path, source: Path | io.BytesIO, layout: Layout, expected: int, columns: Sequence[int], *, skip: int
) -> pd.DataFrame:
    import pandas as pd

    cells = expected + 1
    use = sorted({column for column in columns if column < cells} | {min(len(layout.headers), cells) - 1})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", pd.errors.DtypeWarning)  # mixed columns are expected; they are cleaned after
        try:
            return pd.read_csv(
                source,
                engine="c",
                header=None,
                names=list(range(cells)),
                usecols=use,
                skiprows=skip,
                sep=layout.delimiter,
                decimal=layout.decimal,
                skipinitialspace=True,
                index_col=False,
                quoting=csv.QUOTE_NONE,
                encoding="utf-8",
                encoding_errors="replace",
                skip_blank_lines=True,
            )
        except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError, OverflowError) as error:
            first = str(error).splitlines()[0] if str(error) else type(error).__name__
            raise InputError(
                Problem(path.name, "", f"not a table of values ({first})", "rows of equal width")
            ) from None


def text_of(path: Path) -> str:
    """Return the whole text of a log, unpacked and in whatever encoding it was saved; InputError where it has none."""
    _, data = _opened(path)
    return csv_text.decoded(path.read_bytes() if data is None else data)


def headers_of(path: Path, names: Iterable[str] = ()) -> tuple[str, ...]:
    """Return the headers of a log, `names` those that the user has named; InputError where it cannot be read."""
    head, _ = _opened(path)
    return _layout(path, head, whole=len(head) < _HEAD, names=names).headers


def is_long(headers: Sequence[str]) -> bool:
    """Return whether the headers are those of a long log: time, parameter, value (and unit)."""
    roles = {match_header(header).parameter for header in headers}
    return {TIME, PARAMETER, VALUE} <= roles
