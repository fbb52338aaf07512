"""A user's works on disk: one folder per work, in a folder of the user's own on this machine.

A work is a scenario with its way there (the steps that can be undone), what was typed next to it and what was uploaded.
`work.json` says what belongs to it; texts and files stand next to it under the digest of their content, written
once and never changed. So one replaced file makes the whole change: a reader sees the work before it, or after it.
Nothing here is unpickled, and no name that comes from outside is used as a path before it is found to be plain.
"""

from __future__ import annotations

import functools
import hashlib
import json
import os
import re
import secrets
import shutil
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from energy.scenario.bundle import Bundle
from vehicle.files import read_input, write_whole
from vehicle.problems import InputError, Problem, shown

FOLDER_VARIABLE = "WINDTOLL_WORKS"  # environment: another folder for the works
MOST_STEPS = 300  # that can be undone
MOST_NAME = 80  # characters
KEPT_DELETED_S = 30 * 86400.0  # a deleted work can be had back for so long
_INDEX = "work.json"
_FILES = "files"
_DELETED = ".deleted"
_MOST_INDEX_BYTES = 16 * 1024 * 1024
_MOST_FILE_BYTES = 64 * 1024 * 1024
_ORPHAN_S = 3600.0  # a file that no work.json names may belong to a change that is being written
_PLAIN = re.compile(r"[a-z0-9]{6,24}", re.ASCII)
_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)
_LOCK = threading.RLock()


@dataclass(frozen=True)
class Upload:
    """An uploaded file: its name as the user has it (for showing only) and its bytes."""

    name: str
    content: bytes

    @functools.cached_property
    def digest(self) -> str:
        """The digest of the bytes."""
        return hashlib.sha256(self.content).hexdigest()


@dataclass(frozen=True)
class Step:
    """One state on the way: the scenario, and variant A that it is held against."""

    bundle: Bundle
    kept: Bundle

    def blobs(self) -> dict[str, bytes]:
        """Return the texts and files by their digest."""
        return {**_blobs_of(self.bundle), **_blobs_of(self.kept)}

    @functools.cached_property
    def digests(self) -> frozenset[str]:
        """The digests of the texts and files."""
        return frozenset(self.blobs())

    @functools.cached_property
    def record(self) -> dict[str, Any]:
        """What `work.json` has of this step."""
        return {"bundle": _record_of(self.bundle), "kept": _record_of(self.kept)}


@dataclass(frozen=True)
class Content:
    """All that a work holds. `steps[at]` is how it stands; the steps after it were undone.

    `typed` is what was typed into screens and is no part of the scenario: plain values that JSON carries.
    """

    loaded: Bundle
    steps: tuple[Step, ...]
    at: int
    system: Literal["metric", "us", "uk"] = "metric"
    typed: Mapping[str, Any] = field(default_factory=dict)
    uploads: Mapping[str, tuple[Upload, ...]] = field(default_factory=dict)

    @property
    def step(self) -> Step:
        """How it stands."""
        return self.steps[self.at]


@dataclass(frozen=True)
class Opened:
    """A work as read: its name ("" where it goes by the scenario's title), its mark of change, what is lost of it."""

    content: Content
    name: str
    mark: str
    lost: tuple[str, ...] = ()


@dataclass(frozen=True)
class Entry:
    """A work in the list: its place in the address, what it is called, when it was begun and last changed (epoch)."""

    key: str
    called: str
    begun_s: float
    changed_s: float


class _Bundle(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid")
    text: str
    files: list[tuple[str, str]]


class _Step(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid")
    bundle: _Bundle
    kept: _Bundle


class _Index(BaseModel):
    """What `work.json` holds."""

    model_config = ConfigDict(strict=True, extra="forbid")
    windtoll_work: Literal[1]
    name: str
    title: str
    begun_s: float
    changed_s: float
    system: Literal["metric", "us", "uk"]
    loaded: _Bundle
    steps: list[_Step]
    at: int
    typed: dict[str, Any]
    uploads: dict[str, list[tuple[str, str]]]


def folder() -> Path:
    """Return the folder of all works: that of the environment, else the user's own for data of programs."""
    own = os.environ.get(FOLDER_VARIABLE)
    if own:
        return Path(own)
    import platformdirs

    return platformdirs.user_data_path("windtoll") / "works"


def new_key() -> str:
    """Return the key of a work that is not there yet."""
    return secrets.token_hex(5)


def is_key(key: str) -> bool:
    """Return whether a text from an address can be the key of a work: short, small letters and digits only."""
    return _PLAIN.fullmatch(key) is not None


def mark_of(key: str) -> str:
    """Return what changes with every change of a work; "" where there is none of that key."""
    if not is_key(key):
        return ""
    try:
        status = (folder() / key / _INDEX).stat()
    except OSError:
        return ""
    return f"{status.st_ino}.{status.st_mtime_ns}"


def listed() -> tuple[list[Entry], list[Problem]]:
    """Return the works, the last changed first, and what is wrong with those that cannot be read."""
    entries: list[Entry] = []
    problems: list[Problem] = []
    for place in _folders(folder()):
        try:
            entries.append(_entry(place.name, _index(place)))
        except InputError as error:
            problems += error.problems
    return sorted(entries, key=lambda entry: -entry.changed_s), problems


def _folders(place: Path) -> Iterator[Path]:
    try:
        inside = sorted(place.iterdir())
    except OSError:  # none yet, or not to be looked into: then there is none to open
        return
    yield from (p for p in inside if is_key(p.name) and p.is_dir() and not p.is_symlink())


def _entry(key: str, index: _Index) -> Entry:
    return Entry(key, index.name or index.title or "Untitled", index.begun_s, index.changed_s)


def _place(key: str) -> Path:
    """Return the folder of a work. Raises InputError for a key that is no plain one."""
    if not is_key(key):
        raise InputError(Problem("address", "work", shown(key), "the key of one of your works, as the list links it"))
    return folder() / key


def _index(place: Path) -> _Index:
    """Return what a work's folder says of it. Raises InputError where it is damaged or not there."""
    path = place / _INDEX
    where = f"work {place.name}"
    if place.is_symlink() or path.is_symlink():
        raise InputError(Problem(where, _INDEX, "a link to another place", "a file of its own"))
    try:
        text = read_input(path, _MOST_INDEX_BYTES, "a file that windtoll wrote")
        return _Index.model_validate_json(text)
    except FileNotFoundError:
        raise InputError(Problem(where, _INDEX, "not there", "a work in the list")) from None
    except OSError as error:
        raise InputError(
            Problem(where, str(path), f"cannot be read ({error.strerror})", "a file you may read")
        ) from None
    except (ValidationError, RecursionError):
        raise InputError(Problem(where, str(path), "is damaged", "a file that windtoll wrote")) from None


def opened(key: str) -> Opened:
    """Return a work. Raises InputError where it cannot be read; steps and uploads that are damaged are left out."""
    place = _place(key)
    with _LOCK:
        mark, index = mark_of(key), _index(place)
        if not index.steps or not 0 <= index.at < len(index.steps):
            raise InputError(Problem(f"work {key}", str(place / _INDEX), "is damaged", "a file that windtoll wrote"))
        steps: list[Step] = []
        at, lost = 0, list[str]()
        for k, record in enumerate(index.steps):
            try:
                step = Step(_bundle(place, record.bundle), _bundle(place, record.kept))
            except InputError:
                if k == index.at:
                    raise
                continue
            at = len(steps) if k <= index.at else at
            steps.append(step)
        if len(steps) < len(index.steps):
            lost.append(f"{len(index.steps) - len(steps)} of its steps to undo cannot be read")
        try:
            loaded = _bundle(place, index.loaded)
        except InputError:
            loaded = steps[0].bundle
            lost.append("the scenario as it was loaded cannot be read")
        uploads = {}
        for name, files in index.uploads.items():
            try:
                uploads[name] = tuple(Upload(each, _blob(place, digest)) for each, digest in files)
            except InputError:
                lost.append(f"the files uploaded for {name} cannot be read: upload them again")
    content = Content(loaded, tuple(steps), at, index.system, index.typed, uploads)
    return Opened(content, index.name, mark, tuple(lost))


def _bundle(place: Path, record: _Bundle) -> Bundle:
    text = _blob(place, record.text).decode("utf-8", errors="surrogatepass")
    return Bundle(text, tuple((name, _blob(place, digest)) for name, digest in record.files))


def _blob(place: Path, digest: str) -> bytes:
    """Return the bytes that a work keeps under their digest. Raises InputError where they are not those."""
    path = place / _FILES / digest
    if not _DIGEST.fullmatch(digest) or path.is_symlink():
        raise InputError(Problem(f"work {place.name}", shown(digest), "is damaged", "a file that windtoll wrote"))
    try:
        content = read_input(path, _MOST_FILE_BYTES, "a file that windtoll wrote")
    except OSError as error:
        read = f"cannot be read ({error.strerror})"
        raise InputError(Problem(f"work {place.name}", str(path), read, "a file that windtoll wrote")) from None
    if hashlib.sha256(content).hexdigest() != digest:
        raise InputError(Problem(f"work {place.name}", str(path), "is damaged", "a file that windtoll wrote"))
    return content


def saved(key: str, content: Content) -> str:
    """Write a work, whole or not at all; return its mark of change. Raises InputError where it cannot be written."""
    place = _place(key)
    first = max(0, min(content.at, len(content.steps) - MOST_STEPS))
    content = replace(content, steps=content.steps[first : first + MOST_STEPS], at=content.at - first)
    with _LOCK:
        now = time.time()
        try:
            before = _index(place) if (place / _INDEX).exists() else None
        except InputError:  # damaged: what is written now takes its place
            before = None
        index = {
            "windtoll_work": 1,
            "name": before.name if before else "",
            "title": _title(content.step.bundle),
            "begun_s": before.begun_s if before else now,
            "changed_s": now,
            "system": content.system,
            "loaded": _record_of(content.loaded),
            "steps": [step.record for step in content.steps],
            "at": content.at,
            "typed": dict(content.typed),
            "uploads": {name: [(u.name, u.digest) for u in files] for name, files in content.uploads.items()},
        }
        try:
            _private(place / _FILES)
            there = {path.name for path in (place / _FILES).iterdir()}
            missing, named = _missing(content, there)
            for digest, blob in missing.items():
                write_whole(place / _FILES / digest, blob)
            write_whole(place / _INDEX, json.dumps(index).encode())
            _forget_orphans(place, there - named, now)
        except OSError as error:
            read = f"cannot be written ({error.strerror})"
            raise InputError(Problem("your works", str(place), read, "space, and a folder you may write to")) from None
        return mark_of(key)


def _private(place: Path) -> None:
    """Make a folder that only its user can look into."""
    place.mkdir(parents=True, exist_ok=True, mode=0o700)


def _title(bundle: Bundle) -> str:
    try:
        return str(bundle.data().get("title") or "")[:MOST_NAME]
    except InputError:  # no TOML at the moment: it is saved as it is
        return ""


def _missing(content: Content, there: set[str]) -> tuple[dict[str, bytes], set[str]]:
    """Return what has to be written as digest to bytes, where some files are there; and all digests that are named."""
    missing, named = _blobs_of(content.loaded), set[str]()
    named |= missing.keys()
    for step in content.steps:
        named |= step.digests
        if not step.digests <= there:
            missing |= step.blobs()
    for files in content.uploads.values():
        named |= {upload.digest for upload in files}
        missing |= {upload.digest: upload.content for upload in files}
    return {digest: blob for digest, blob in missing.items() if digest not in there}, named


def _text(bundle: Bundle) -> bytes:
    return bundle.text.encode("utf-8", errors="surrogatepass")


def _blobs_of(bundle: Bundle) -> dict[str, bytes]:
    return {
        hashlib.sha256(blob).hexdigest(): blob for blob in (_text(bundle), *(content for _, content in bundle.files))
    }


def _record_of(bundle: Bundle) -> dict[str, Any]:
    files = [(name, hashlib.sha256(content).hexdigest()) for name, content in bundle.files]
    return {"text": hashlib.sha256(_text(bundle)).hexdigest(), "files": files}


def _forget_orphans(place: Path, orphans: set[str], now: float) -> None:
    """Remove files that the work does not name any more, some time after they were written."""
    for name in orphans:
        path = place / _FILES / name
        if now - path.stat().st_mtime > _ORPHAN_S:
            path.unlink()


def renamed(key: str, name: str) -> None:
    """Call a work otherwise; an empty name lets it go by the scenario's title. Raises InputError."""
    place = _place(key)
    with _LOCK:
        index = _index(place)
        index.name = " ".join(name.split())[:MOST_NAME]
        _rewrite(place, index)


def _rewrite(place: Path, index: _Index) -> None:
    try:
        write_whole(place / _INDEX, index.model_dump_json().encode())
    except OSError as error:
        read = f"cannot be written ({error.strerror})"
        raise InputError(Problem("your works", str(place), read, "space, and a folder you may write to")) from None


def duplicated(key: str) -> str:
    """Make a copy of a work; return its key. Raises InputError."""
    place, new = _place(key), new_key()
    with _LOCK:
        index = _index(place)
        index.name = f"{(index.name or index.title or 'Untitled')[: MOST_NAME - 5]} copy"
        index.begun_s = index.changed_s = time.time()
        target = folder() / new
        try:
            shutil.copytree(place / _FILES, target / _FILES)
        except OSError as error:
            shutil.rmtree(target, ignore_errors=True)
            read = f"cannot be copied ({error.strerror})"
            raise InputError(Problem("your works", str(place), read, "space on the disk")) from None
        _rewrite(target, index)
    return new


def deleted(key: str) -> None:
    """Put a work away, where `restored` finds it for some weeks. Raises InputError."""
    place = _place(key)
    with _LOCK:
        bin_ = folder() / _DELETED
        try:
            _private(bin_)
            if (bin_ / key).exists():
                shutil.rmtree(bin_ / key)
            place.rename(bin_ / key)
            os.utime(bin_ / key)
        except OSError as error:
            read = f"cannot be deleted ({error.strerror})"
            raise InputError(Problem("your works", str(place), read, "a folder you may write to")) from None


def deleted_works() -> list[Entry]:
    """Return the works that can still be had back, the last deleted first; those deleted long ago are removed."""
    deleted: list[tuple[float, Entry]] = []
    for place in _folders(folder() / _DELETED):
        try:
            when = place.stat().st_mtime
            if time.time() - when > KEPT_DELETED_S:
                shutil.rmtree(place, ignore_errors=True)
                continue
            deleted.append((when, _entry(place.name, _index(place))))
        except (InputError, OSError):  # damaged: it stays until its time is over, and is named nowhere
            continue
    return [entry for _, entry in sorted(deleted, key=lambda pair: -pair[0])]


def restored(key: str) -> None:
    """Bring a deleted work back. Raises InputError."""
    place = _place(key)
    with _LOCK:
        try:
            (folder() / _DELETED / key).rename(place)
        except OSError as error:
            read = f"cannot be restored ({error.strerror})"
            raise InputError(Problem("your works", str(place), read, "a work deleted in the last 30 days")) from None
