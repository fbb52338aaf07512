"""A scenario that travels: its TOML text together with the CSV files that it names, as values in memory.

The app edits such a bundle, takes it away as one zip and brings it back. Names inside are plain file names; nothing
that was uploaded is ever used as a path. Editing goes through tomlkit, so that comments and order of the file stay.
"""

from __future__ import annotations

import contextlib
import copy
import functools
import io
import lzma
import re
import struct
import tomllib
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any

from energy.scenario.keys import TABLES, spec_of
from energy.scenario.read import MOST_BYTES, Scenario, override_value, read_scenario
from vehicle.files import read_input, refused_by_windows, temporary_files
from vehicle.problems import InputError, Problem, shown
from vehicle.quantity import FieldError, read_quantity

SCENARIO_NAME = "scenario.toml"
GUESS = "a guess"  # in the comment behind a value: nobody has put his own there yet
MOST_FILES = 40
MOST_FILE_BYTES = 4 * 1024 * 1024
MOST_BUNDLE_BYTES = 16 * 1024 * 1024
_ENCRYPTED = 0x1  # bit 0 of the general purpose flag (ZIP application note, 4.4.4; from memory)
# What zipfile and its decompressors raise for damaged bytes, headers that contradict each other, unknown compressions.
_DAMAGED_ZIP = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    RuntimeError,
    NotImplementedError,
    EOFError,
    OSError,
    ValueError,
    LookupError,
    OverflowError,
    MemoryError,
)
_PLAIN_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ .+()\-]{0,79}")
_TIME_IN_ZIP = (2000, 1, 1, 0, 0, 0)  # the same bundle gives the same bytes


@dataclass(frozen=True)
class Bundle:
    """The TOML text of a scenario and its files as (name, bytes), sorted by name."""

    text: str
    files: tuple[tuple[str, bytes], ...] = ()

    def data(self) -> dict[str, Any]:
        """Return the text as plain tables. Raises InputError where it is not TOML."""
        try:
            return copy.deepcopy(_tables_of(self.text))  # a tenth of the time of reading it anew
        except ValueError as error:  # TOMLDecodeError, and an integer with thousands of digits
            raise InputError(
                Problem(SCENARIO_NAME, "", f"not TOML: {error}", 'lines such as road_speed = "100 km/h"')
            ) from None
        except RecursionError:
            raise InputError(Problem(SCENARIO_NAME, "", "tables nested too deeply", "one level of tables")) from None

    def names(self) -> list[str]:
        """Return the names of the files."""
        return [name for name, _ in self.files]


@functools.lru_cache(maxsize=16)  # each field of a form asks what the text says
def _tables_of(text: str) -> dict[str, Any]:
    return tomllib.loads(text)


@contextlib.contextmanager
def laid_out(bundle: Bundle) -> Iterator[Path]:
    """Write a bundle into a folder of its own, for as long as the context lasts; yield the path of the TOML file.

    Raises InputError where the scenario names a file that is not a plain name in the bundle.
    """
    problems = _naming_problems(bundle)
    if problems:
        raise InputError(problems)
    text = bundle.text.encode("utf-8", errors="surrogatepass")
    with temporary_files(
        [(SCENARIO_NAME, text), *((_checked_name(name), inner) for name, inner in bundle.files)]
    ) as at:
        yield at / SCENARIO_NAME


def read_bundle(bundle: Bundle) -> Scenario:
    """Return the checked scenario of a bundle; InputError with every fault, in the words of the command line.

    What is to be answered is opened by energy/chain/load.py.
    """
    with laid_out(bundle) as path:
        try:
            return read_scenario(path)
        except InputError as error:
            raise InputError(
                [replace(p, where=SCENARIO_NAME) if p.where == str(path) else p for p in error.problems]
            ) from None


def from_folder(path: Path) -> Bundle:
    """Return the bundle of a TOML file on disk and the CSV files that it names beside it.

    A file that it names elsewhere, or that cannot be read, is left out: `read_bundle` then says so.
    """
    text = _text_on_disk(path)
    files = {}
    for _, name in named_files(Bundle(text).data()):
        if _PLAIN_NAME.fullmatch(name) and (path.parent / name).is_file():
            files[name] = read_input(path.parent / name, MOST_FILE_BYTES, "a CSV file")
    return Bundle(text, _sorted(files))


def _text_on_disk(path: Path) -> str:
    return read_input(path, MOST_BYTES, "a scenario").decode("utf-8-sig")


def named_files(data: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return (key, file name) for every file that a scenario names."""
    named = []
    for table, model in TABLES.items():
        entries = data.get(table)
        if not isinstance(entries, dict):
            continue
        for key, info in model.model_fields.items():
            value = entries.get(key)
            if is_file_key(info.description) and value is not None:
                names = value if isinstance(value, list) else [value]
                named += [(f"{table}.{key}", name) for name in names if isinstance(name, str)]
    return named


def is_file_key(description: str | None) -> bool:
    """Return whether a scenario key of this description names a file: its description begins with "CSV"."""
    return (description or "").startswith("CSV")


def from_uploads(uploads: Iterable[tuple[str, bytes]]) -> Bundle:
    """Return the bundle of uploaded files: one zip as `to_zip` makes it, or one TOML file with its CSV files.

    Raises InputError for anything else, too large, or oddly named; then nothing was taken.
    """
    entries = all_unzipped(uploads)
    texts = [(name, content) for name, content in entries if name.lower().endswith(".toml")]
    if len(texts) != 1:
        raise InputError(
            Problem(
                "upload",
                "",
                f"{len(texts) or 'no'} TOML file{'s' if len(texts) > 1 else ''}",
                "one scenario (.toml) with the CSV files that it names, or the zip with both",
            )
        )
    name, content = texts[0]
    if len(content) > MOST_BYTES:
        raise InputError(Problem(shown(name), "", f"{len(content)} bytes", f"a scenario of at most {MOST_BYTES} bytes"))
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            Problem(shown(name), f"byte {error.start}", "not UTF-8 text", "a TOML file saved as UTF-8")
        ) from None
    bundle = Bundle(text.replace("\r\n", "\n"))
    bundle.data()
    for name, content in entries:
        if not name.lower().endswith(".toml"):
            bundle = with_file(bundle, name, content)
    return bundle


def all_unzipped(
    uploads: Iterable[tuple[str, bytes]],
    most_files: int = MOST_FILES,
    most_bytes: int = MOST_FILE_BYTES,
    most_together: int = MOST_BUNDLE_BYTES,
) -> list[tuple[str, bytes]]:
    """Return uploaded files as (name, bytes), those of zips unpacked.

    What comes out of all zips together counts against `most_together`. Raises InputError as `unzipped` does.
    """
    files: list[tuple[str, bytes]] = []
    unpacked = 0
    for name, content in uploads:
        if not name.lower().endswith(".zip"):
            files.append((name, content))
            continue
        inside = unzipped(name, content, most_files, most_bytes, most_together, unpacked)
        unpacked += sum(len(inner) for _, inner in inside)
        files += inside
    return files


def unzipped(
    name: str,
    content: bytes,
    most_files: int = MOST_FILES,
    most_bytes: int = MOST_FILE_BYTES,
    most_together: int = MOST_BUNDLE_BYTES,
    unpacked: int = 0,
) -> list[tuple[str, bytes]]:
    """Return the files of a zip as (base name, bytes).

    Raises InputError for one that is broken, hostile, or unpacks to more than `most_bytes` in one file or
    `most_together` in all, of which `unpacked` came out of other zips: what counts is what comes out, since a zip may
    lie about its sizes.
    """
    left = most_together - unpacked
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            inside = [entry for entry in archive.infolist() if not entry.is_dir()]
            if len(inside) > most_files:
                raise InputError(Problem(shown(name), "", f"{len(inside)} files", f"at most {most_files}"))
            contents = []
            for entry in inside:
                path = PurePosixPath(entry.filename.replace("\\", "/"))
                if path.is_absolute() or ".." in path.parts or ":" in entry.filename:
                    raise InputError(
                        Problem(shown(name), shown(entry.filename), "a path that leads elsewhere", "plain file names")
                    )
                if entry.filename.startswith("__MACOSX/") or path.name.startswith("."):
                    continue  # what a file manager adds
                if entry.file_size > most_bytes:
                    raise InputError(_too_large(path.name, entry.file_size, most_bytes))
                if entry.flag_bits & _ENCRYPTED:
                    raise InputError(
                        Problem(shown(name), shown(path.name), "is protected by a password", "a plain zip")
                    )
                with archive.open(entry) as stream:
                    inner = stream.read(min(most_bytes, left) + 1)
                left -= len(inner)
                if len(inner) > most_bytes:
                    raise InputError(_too_large(path.name, len(inner), most_bytes))
                if left < 0:
                    raise InputError(
                        Problem(
                            shown(name), "", "too much when unpacked", f"at most {most_together} bytes in all files"
                        )
                    )
                contents.append((path.name, inner))
            return contents
    except _DAMAGED_ZIP:
        raise InputError(
            Problem(shown(name), "", "a damaged zip, or of a kind that cannot be read", "a zip that windtoll made")
        ) from None


def _too_large(name: str, size: int, most: int = MOST_FILE_BYTES) -> Problem:
    return Problem(shown(name), "", f"{size} bytes", f"a file of at most {most} bytes")


def _checked_name(name: str) -> str:
    if not _PLAIN_NAME.fullmatch(name) or not name.lower().endswith(".csv"):
        raise InputError(
            Problem(
                shown(name),
                "",
                "this file name",
                "a plain name that ends in .csv, of letters, digits, spaces and . _ - + ( )",
            )
        )
    refused = refused_by_windows(name)  # on every system: the zip travels
    if refused:
        raise InputError(Problem(shown(name), "", refused, "another name that ends in .csv"))
    return name


def to_zip(bundle: Bundle) -> bytes:
    """Return the bundle as a zip: scenario.toml and the CSV files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in ((SCENARIO_NAME, bundle.text.encode()), *bundle.files):
            archive.writestr(zipfile.ZipInfo(name, _TIME_IN_ZIP), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def with_file(bundle: Bundle, name: str, content: bytes) -> Bundle:
    """Return the bundle with a CSV file more, or one replaced. Raises InputError for its name or size."""
    if len(content) > MOST_FILE_BYTES:
        raise InputError(_too_large(name, len(content)))
    before = dict(bundle.files).get(name, content)
    files = {**dict(bundle.files), _checked_name(name): content}
    if len(files) > MOST_FILES:
        raise InputError(Problem("upload", "", f"{len(files)} files", f"at most {MOST_FILES}"))
    changed = replace(bundle, files=_sorted(files))
    for key, named in named_files(changed.data()) if content != before else ():
        if named == name:
            changed = with_value(changed, key, value_at(changed, key))  # its rows are no guess any more
    return changed


def value_at(bundle: Bundle, key: str) -> Any:
    """Return what the scenario says at "table.key", as plain TOML value; None where it says nothing."""
    table, _, name = key.partition(".")
    entries = bundle.data().get(table)
    if not name:
        return entries
    return entries.get(name) if isinstance(entries, dict) else None


def with_value(bundle: Bundle, key: str, value: Any, *, comment: str = "") -> Bundle:
    """Return the bundle with another value at "table.key" (or a text at "title", "note"); None takes the key away.

    A comment behind the value stays, unless it calls the value a guess; `comment` takes its place.
    """
    import tomlkit

    document: Any = tomlkit.parse(bundle.text)
    table, _, name = key.partition(".")
    holder = document
    if name:
        if not isinstance(document.get(table), dict):
            if value is None:
                return bundle
            document[table] = tomlkit.table()
        holder = document[table]
    last = name or table
    if value is None:
        holder.pop(last, None)
    else:
        guess = GUESS in _comment(holder, last)
        holder[last] = _inline(value)
        if guess:
            _container(holder).item(last).trivia.comment = ""
            _container(holder).item(last).trivia.comment_ws = ""
        if comment:
            _container(holder).item(last).comment(comment)
    return replace(bundle, text=tomlkit.dumps(document))


def with_diameter(bundle: Bundle, value: Any) -> Bundle:
    """Return the bundle with another `rotor.diameter`; a textbook blade that stands in for one's own gets its size.

    Radius and chord grow alike, so that the blade keeps its shape. A blade that somebody measured stays as it is.
    """
    changed = with_value(bundle, "rotor.diameter", value)
    name = value_at(bundle, "rotor.blade")
    content = dict(bundle.files).get(name) if isinstance(name, str) else None
    if content is None:
        return changed
    try:
        spec = spec_of("rotor.diameter")
        tip_m = read_quantity(value, spec).value / 2
    except FieldError:  # told at the field
        return changed
    scaled = _scaled_guess(content, tip_m)
    return replace(changed, files=_sorted({**dict(changed.files), name: scaled}))


def _scaled_guess(content: bytes, tip_radius_m: float) -> bytes:
    """Return a blade file with its tip at another radius, if its comment calls it a guess; else as it is."""
    lines = content.decode("utf-8", errors="surrogateescape").splitlines()
    comments = [line for line in lines if line.startswith("#")]
    rows = [line.split(",") for line in lines if line.strip() and not line.startswith("#")]
    if not any(GUESS in line for line in comments) or not rows or rows[0][:2] != ["radius_m", "chord_m"]:
        return content
    try:
        factor = tip_radius_m / float(rows[-1][0])
        body = [[f"{float(r) * factor:.4f}", f"{float(c) * factor:.4f}", *more] for r, c, *more in rows[1:]]
    except (ValueError, ZeroDivisionError):  # no blade file: told where it is read
        return content
    return ("\n".join([*comments, ",".join(rows[0]), *(",".join(row) for row in body)]) + "\n").encode()


def guesses(bundle: Bundle) -> tuple[str, ...]:
    """Return the keys ("table.key") whose comment calls the value a guess."""
    if GUESS not in bundle.text:  # reading a text with its comments takes long
        return ()
    import tomlkit

    document: Any = tomlkit.parse(bundle.text)
    return tuple(
        f"{table}.{name}"
        for table, entries in document.items()
        if isinstance(entries, dict)
        for name in entries
        if GUESS in _comment(entries, name)
    )


def _container(holder: Any) -> Any:
    """Return what holds the items of a table of a document, or of the document itself."""
    return holder if hasattr(holder, "item") else holder.value


def _comment(holder: Any, name: str) -> str:
    """Return the comment behind a value; "" where there is none, or its table is written in several places."""
    container = _container(holder) if hasattr(holder, "item") or hasattr(holder, "value") else None
    if container is None or name not in container:
        return ""
    return str(container.item(name).trivia.comment)


def _inline(value: Any) -> Any:
    """Return a range ({low, high}) as an inline table, also within a list; other values as they are."""
    import tomlkit

    if isinstance(value, list):
        array = tomlkit.array()
        array.extend(_inline(entry) for entry in value)
        return array
    if not isinstance(value, dict):
        return value
    table = tomlkit.inline_table()
    table.update(value)
    return table


def with_overrides(bundle: Bundle, overrides: Iterable[str]) -> Bundle:
    """Return the bundle with settings of the form "table.key=value" written into its text."""
    for text in overrides:
        key, _, raw = text.partition("=")
        bundle = with_value(bundle, key.strip(), override_value(raw.strip()))
    return bundle


def with_table(bundle: Bundle, table: str) -> Bundle:
    """Return the bundle with an empty table more."""
    import tomlkit

    document: Any = tomlkit.parse(bundle.text)
    if table in document:
        return bundle
    document[table] = tomlkit.table()
    return replace(bundle, text=tomlkit.dumps(document))


def without_table(bundle: Bundle, table: str) -> Bundle:
    """Return the bundle without a table."""
    import tomlkit

    document: Any = tomlkit.parse(bundle.text)
    document.pop(table, None)
    return replace(bundle, text=tomlkit.dumps(document))


def changes(before: Bundle, after: Bundle) -> list[tuple[str, Any, Any]]:
    """Return the keys at which two bundles differ, with both values (None: says nothing); files as "file NAME"."""
    old, new = _flat(before.data()), _flat(after.data())
    differences = [
        (key, old.get(key), new.get(key)) for key in dict.fromkeys([*old, *new]) if old.get(key) != new.get(key)
    ]
    a, b = dict(before.files), dict(after.files)
    for name in dict.fromkeys([*a, *b]):
        if a.get(name) != b.get(name):
            words = [f"{len(files[name])} bytes" if name in files else None for files in (a, b)]
            differences.append((f"file {name}", words[0], words[1]))
    return differences


def _flat(data: Mapping[str, Any]) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in data.items():
        if isinstance(value, dict):
            flat.update({f"{key}.{name}": inner for name, inner in value.items()})
        else:
            flat[key] = value
    return flat


def _naming_problems(bundle: Bundle) -> list[Problem]:
    there = set(bundle.names())
    problems = []
    for key, name in named_files(bundle.data()):
        if name not in there:
            accepted = f"one of the files that came with it: {', '.join(sorted(there))}" if there else "a CSV file"
            problems.append(Problem(SCENARIO_NAME, key, f"no file {shown(name)} came with the scenario", accepted))
    return problems


def _sorted(files: Mapping[str, bytes]) -> tuple[tuple[str, bytes], ...]:
    return tuple(sorted(files.items()))
