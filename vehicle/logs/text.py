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
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vehicle.files import check_input
from vehicle.logs.columns import PARAMETER, TIME, VALUE, match_header, unit_factor_quick
from vehicle.problems import InputError, Problem, nearest, shown

if TYPE_CHECKING:
    import pandas as pd

MOST_BYTES = 2 * 1024**3
MOST_COLUMNS = 500
_CHUNK = 16 * 1024 * 1024
_HEAD = 64 * 1024
_MOST_COMMENTS, _LONGEST_COMMENT = 5, 200
_DELIMITERS = (";", "\t", ",", "|")
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


@dataclass(frozen=True)
class _Layout:
    delimiter: str
    header_line: int  # number of the header among the physical lines, from 0
    first_row: int  # number of the first line of values
    headers: tuple[str, ...]
    unit_row: tuple[str, ...]
    decimal: str


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
    if counts['"'] or counts["\r"] != counts["\r\n"]:
        data = path.read_bytes() if data is None else data
        data, mended = _plain(path, data, head)
        repairs += mended
        head = data[:_HEAD]
        counts = _counts(data, head)
    layout = _layout(path, head, whole=len(head) < _HEAD, names=names)
    lines = _lines_of(head)
    if len(head) >= _HEAD:
        lines = lines[:-1]  # the last one is cut
    separators = layout.delimiter
    rows = counts["\n"] + (0 if counts["ends in newline"] else 1) - layout.first_row
    if rows < 1:
        raise InputError(Problem(path.name, "", "a header without rows", "at least two rows of values"))
    sample = [line.count(separators) for line in lines[layout.first_row : layout.first_row + 500] if line.strip()]
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


def _first_bytes(path: Path) -> bytes:
    try:
        check_input(path, MOST_BYTES, "one log as a CSV file")
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except FileNotFoundError:
        beside = [entry.name for entry in path.parent.glob("*.csv")] if path.parent.is_dir() else []
        near = nearest(path.name, beside)
        hint = f"an existing log{f', perhaps {near}' if near else ''}"
        raise InputError(Problem(str(path), "", "no such file", hint)) from None
    except OSError as error:
        raise InputError(Problem(str(path), "", f"cannot be read ({error.strerror})", "a readable CSV file")) from None
    if not head.strip():
        raise InputError(Problem(str(path), "", "an empty file", "a log: a header line and rows of values"))
    return head


def _opened(path: Path) -> tuple[bytes, bytes | None]:
    """Return the beginning of a log as UTF-8 (or eight-bit) text, and all of it where it had to be unpacked."""
    head = _first_bytes(path)
    data: bytes | None = None
    if head.startswith(b"\x1f\x8b"):
        data = _unpacked(path)
        head = data[:_HEAD]
        if not head.strip():
            raise InputError(Problem(str(path), "", "an empty file", "a log: a header line and rows of values"))
    if head.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in head or (b"\r" in head and b"\n" not in head):
        data = _as_utf8(path, path.read_bytes() if data is None else data)
        head = data[:_HEAD]
    return head, data


def _unpacked(path: Path) -> bytes:
    """Return the text in a gzip file. Raises InputError where it is damaged or larger than a log may be."""
    import gzip
    import zlib

    try:
        with gzip.open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise InputError(Problem(path.name, "", f"a damaged gzip file ({error})", "a whole one")) from None
    if len(data) > MOST_BYTES:
        raise InputError(Problem(path.name, "", "over 2 GiB when unpacked", "one log as a CSV file"))
    return data


def _wide_characters(data: bytes) -> str:
    """Return the codec of UTF-16 text without a mark, by which of its bytes are zero; "" for other text."""
    sample = np.frombuffer(data[: _HEAD - _HEAD % 2], dtype=np.uint8)
    even, odd = float(np.mean(sample[::2] == 0)), float(np.mean(sample[1::2] == 0))
    if odd > 0.7 and even < 0.05:
        return "utf-16-le"
    return "utf-16-be" if even > 0.7 and odd < 0.05 else ""


def _as_utf8(path: Path, data: bytes) -> bytes:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        data = data.decode("utf-16", errors="replace").encode()
    elif codec := _wide_characters(data):
        data = data.decode(codec, errors="replace").encode()
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")
    if data.count(b"\0") > len(data) // 1000:
        raise InputError(Problem(path.name, "", "binary data (zero bytes)", "a CSV text file"))
    return data.replace(b"\0", b"?")  # a single damaged byte makes its cell no number, not the whole file


def _counts(source: Path | bytes, head: bytes) -> dict[str, int]:
    """Return how often the delimiters seen in `head`, line ends, quotes and zero bytes occur, read in chunks."""
    marks = (*(mark for mark in _DELIMITERS if mark.encode() in head), "\n", "\r", '"', "\0")
    counts = dict.fromkeys((*_DELIMITERS, *marks), 0)
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


def _plain(path: Path, data: bytes, head: bytes) -> tuple[bytes, list[tuple[str, int]]]:
    """Return the text without quotes (a quoted "1,5" becomes 1.5) and with one kind of line end."""
    repairs: list[tuple[str, int]] = []
    if data.count(b"\r") != data.count(b"\r\n"):
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b'"' not in data:
        return data, repairs
    odd = 0
    lines = data.split(b"\n")
    sample = [line for line in lines[:200] if b'"' in line]
    inside = any(re.search(rb'(?:^|[,;\t|])\s*"[^"]*[,;\t|][^"]*"', line) for line in sample)
    if inside or len(sample) < 2:
        mended = []
        for line in lines:
            if b'"' not in line:
                mended.append(line)
            elif line.count(b'"') % 2:
                odd += 1
                mended.append(line.replace(b'"', b""))
            else:
                mended.append(re.sub(rb'"([^"]*)"', _unquoted, line))
        data = b"\n".join(mended)
    else:
        odd = sum(line.count(b'"') % 2 for line in lines)
        data = data.replace(b'"', b"")
    if odd:
        repairs.append(("unmatched quotation marks removed (rows)", odd))
    return data, repairs


def _unquoted(match: re.Match[bytes]) -> bytes:
    inner = match.group(1)
    if re.fullmatch(rb"\s*[+-]?\d+,\d*\s*", inner):
        return inner.replace(b",", b".")
    return inner.replace(b",", b" ").replace(b";", b" ").replace(b"\t", b" ").replace(b"|", b" ")


def _lines_of(head: bytes) -> list[str]:
    try:
        text = head[: head.rfind(b"\n") + 1 or len(head)].decode("utf-8")
        text += head[head.rfind(b"\n") + 1 :].decode("utf-8", errors="replace") if b"\n" in head else ""
    except UnicodeDecodeError:  # what spreadsheets save by default on many machines
        text = head.decode("cp1252", errors="replace")
    text = text.removeprefix("\ufeff")
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _layout(path: Path, head: bytes, *, whole: bool, names: Iterable[str] = ()) -> _Layout:
    """Return where header and rows stand: the line, of the first 40, whose cells name most known parameters."""
    lines = _lines_of(head)
    if not whole and len(lines) > 1:
        lines = lines[:-1]
    best: tuple[int, int, str] | None = None
    named = {name.strip().lower() for name in names}
    for number, line in enumerate(lines[:40]):
        if not re.search(r"[^\W\d_]", line) or len(line) > 40_000:
            continue
        for delimiter in _DELIMITERS:
            cells = line.split(delimiter)
            if len(cells) < 2 or len(cells) > MOST_COLUMNS:
                continue
            score = sum(
                cell.strip().strip('"').strip().lower() in named
                or match_header(cell).use in ("used", "recognised, not needed")
                for cell in cells
                if re.search(r"[^\W\d_]", cell)
            )
            if score and (best is None or score > best[0]):
                best = (score, number, delimiter)
    if best is None:
        first = next((line for line in lines if line.strip()), "")
        raise InputError(
            Problem(
                path.name,
                "header",
                f"no known parameter in {shown(first, 80)}",
                'a header line such as "time (s),vehicle speed (km/h),engine speed (rpm),manifold pressure (kPa)"',
            )
        )
    _, number, delimiter = best
    headers = tuple(cell.strip() for cell in lines[number].split(delimiter))
    begin = number + 1
    unit_row: tuple[str, ...] = ()
    if begin < len(lines):
        cells = [cell.strip() for cell in lines[begin].split(delimiter)]
        if _is_unit_row(cells):
            unit_row, begin = tuple(cells), begin + 1
    body = [line for line in lines[begin : begin + 300] if line.strip()]
    return _Layout(delimiter, number, begin, headers, unit_row, _decimal(body, delimiter))


def _is_unit_row(cells: Sequence[str]) -> bool:
    filled = [cell.strip("()[] ") for cell in cells if cell.strip("()[] ")]
    if not filled or any(re.fullmatch(r"[+-]?\d+([.,]\d*)?", cell) for cell in filled):
        return False
    return sum(any(unit_factor_quick(kind, cell) for kind in _KINDS) for cell in filled) * 2 >= len(filled)


def _decimal(lines: Sequence[str], delimiter: str) -> str:
    if delimiter == ",":
        return "."
    cells = [cell.strip() for line in lines for cell in line.split(delimiter)]
    commas = sum(bool(re.fullmatch(r"[+-]?\d+,\d+", cell)) for cell in cells)
    points = sum(bool(re.fullmatch(r"[+-]?\d+\.\d+", cell)) for cell in cells)
    return "," if commas > points else "."


def _mend(path: Path, data: bytes, layout: _Layout, expected: int) -> tuple[bytes, np.ndarray, list[tuple[str, int]]]:
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


def _check_width(path: Path, layout: _Layout, expected: int, lines: Sequence[str]) -> None:
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
    path: Path, source: Path | io.BytesIO, layout: _Layout, expected: int, columns: Sequence[int], *, skip: int
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
    data = path.read_bytes() if data is None else data
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:  # what spreadsheets save by default on many machines
        return data.decode("cp1252", errors="replace")


def headers_of(path: Path, names: Iterable[str] = ()) -> tuple[str, ...]:
    """Return the headers of a log, `names` those that the user has named; InputError where it cannot be read."""
    head, _ = _opened(path)
    return tuple(header.strip('"') for header in _layout(path, head, whole=len(head) < _HEAD, names=names).headers)


def is_long(headers: Sequence[str]) -> bool:
    """Return whether the headers are those of a long log: time, parameter, value (and unit)."""
    roles = {match_header(header).parameter for header in headers}
    return {TIME, PARAMETER, VALUE} <= roles
