"""A road test as uploaded: logs and perhaps a list of runs, as values in memory; laid out as files only to be read.

No name of an upload is ever used as a path: logs get plain names of their own, which the list then uses too.
"""

from __future__ import annotations

import contextlib
import io
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from energy.scenario.bundle import all_unzipped
from vehicle.files import temporary_files
from vehicle.problems import InputError, Problem, shown
from vehicle.road_test.call_sheet import is_call_sheet
from vehicle.road_test.marks import RUN_LIST, base_name, marks_of, plain_names

MOST_LOGS = 200
MOST_LOG_BYTES = 32 * 1024 * 1024
MOST_TEST_BYTES = 96 * 1024 * 1024  # all logs that come in zips
_TIME_IN_ZIP = (2000, 1, 1, 0, 0, 0)  # the same test gives the same bytes


@dataclass(frozen=True)
class Uploads:
    """The list's text ("" where none came, then `listed` is False) and the logs as (plain name, bytes).

    `called` has the name that each log was uploaded under, `said` what was done to names, in sentences. `sheet` is the
    CSV of a road test's call sheet (name, bytes), which stands in for the list.
    """

    text: str
    listed: bool
    logs: tuple[tuple[str, bytes], ...]
    called: tuple[str, ...]
    said: tuple[str, ...]
    sheet: tuple[str, bytes] | None = None

    def names(self) -> list[str]:
        """Return the plain names of the logs."""
        return [name for name, _ in self.logs]


def taken(uploads: Iterable[tuple[str, bytes]]) -> Uploads:
    """Return uploaded files (name, bytes) as a road test: logs, one list of runs at most, or a zip with both.

    A CSV that is the call sheet of a road test stands in for the list. Raises InputError for two of these, a list that
    is none, or a zip that cannot be read.
    """
    files = all_unzipped(uploads, MOST_LOGS, MOST_LOG_BYTES, MOST_TEST_BYTES)
    lists = [(name, content) for name, content in files if name.lower().endswith(".toml")]
    sheets = [(name, content) for name, content in files if (name, content) not in lists and is_call_sheet(content)]
    if len(lists) + len(sheets) > 1:
        names = ", ".join(shown(base_name(name)) for name, _ in (*lists, *sheets))
        raise InputError(
            Problem(
                "upload", "", f"{len(lists) + len(sheets)} lists of runs ({names})", "one list of runs (or call sheet)"
            )
        )
    text = _text(*lists[0]) if lists else ""
    logs: list[tuple[str, bytes]] = []
    said = []
    for name, content in files:
        if name.lower().endswith(".toml") or (name, content) in sheets:
            continue
        if (name, content) in logs:
            said.append(f"{name} was uploaded twice: it is taken once.")
        else:
            logs.append((name, content))
    if len(logs) > MOST_LOGS:
        raise InputError(Problem("upload", "", f"{len(logs)} logs", f"at most {MOST_LOGS}"))
    called = tuple(name for name, _ in logs)
    plain = plain_names(called)
    said += [f"{was} is called {now} in the list." for was, now in zip(called, plain, strict=True) if was != now]
    contents = [content for _, content in logs]
    sheet = sheets[0] if sheets else None
    return Uploads(text, bool(lists), tuple(zip(plain, contents, strict=True)), called, tuple(said), sheet)


def _text(name: str, content: bytes) -> str:
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise InputError(
            Problem(shown(base_name(name)), f"byte {error.start}", "not UTF-8 text", "a TOML file saved as UTF-8")
        ) from None
    marks_of(text)
    return text


@contextlib.contextmanager
def laid_out(text: str, logs: Iterable[tuple[str, bytes]]) -> Iterator[Path]:
    """Write list and logs into a folder of its own, for as long as the context lasts; yield the path of the list."""
    with temporary_files([*logs, (RUN_LIST, text.encode("utf-8", errors="surrogatepass"))]) as folder:
        yield folder / RUN_LIST


def to_zip(text: str, logs: Iterable[tuple[str, bytes]]) -> bytes:
    """Return list and logs as a zip: `windtoll compare` takes what is in it, and the app takes it back."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in ((RUN_LIST, text.encode(errors="surrogatepass")), *logs):
            archive.writestr(zipfile.ZipInfo(name, _TIME_IN_ZIP), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()
