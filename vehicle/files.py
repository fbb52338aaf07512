"""Files as they come in and go out: inputs are regular and of bounded size, outputs are whole and replace no other.

Every output goes through `write_output`. It refuses a path that is an input of the same run, a folder, a device or a
pipe, and an existing file, unless the user said `--force` or the file is one that windtoll draws and nobody edits
(report, sheet, picture): those carry `MARK`. A symbolic link is followed to the file it names.
"""

from __future__ import annotations

import contextlib
import errno
import functools
import hashlib
import os
import re
import stat
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from vehicle.problems import InputError, Problem, shown

MARK = "made by windtoll"  # stands near the beginning of what is drawn anew each time and never edited by hand
_MARK_WITHIN = 1024  # bytes
# What Windows takes for devices with any ending, and the signs that it has in no name. Source: Microsoft, "Naming
# Files, Paths, and Namespaces" (from memory).
_WINDOWS_DEVICE = re.compile(
    r"(con|prn|aux|nul|com[0-9\u00b9\u00b2\u00b3]|lpt[0-9\u00b9\u00b2\u00b3])\s*(\..*)?", re.IGNORECASE
)
_WINDOWS_SIGNS = re.compile(r'[<>:"|?*\x00-\x1f]')
_REPLACE_TRIES, _REPLACE_PAUSE_S = 10, 0.1  # a virus scanner lets go within a second; a spreadsheet does not
_FOLDER = "a file in an existing folder that you may write to"
_TEMPORARY, _AN_HOUR_S = ".windtoll-", 3600.0
_MOST_TOML_BYTES = 1024 * 1024
_NO_LOCKS = (errno.ENOLCK, errno.ENOTSUP, errno.ENOSYS)


def write_whole(path: Path, content: bytes) -> None:
    """Write through a temporary file beside `path`, so that no reader ever sees half of it. Raises OSError.

    An existing file keeps its permissions.
    """
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=_TEMPORARY)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        if os.name == "posix":
            os.chmod(temporary, _mode(path))
        replace_file(Path(temporary), path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


@contextlib.contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Keep every other process and thread that asks for the same out of a folder, for as long as the context lasts.

    For what is read, changed and written back. The system lets go of the lock where the process ends, however it ends.
    A file system without locks does without. Raises OSError where the folder is gone.
    """
    if sys.platform == "win32":
        import msvcrt

        # A folder cannot be locked there: a file of its name in the user's temporary folder stands for it.
        name = hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()
        handle = os.open(Path(tempfile.gettempdir()) / f"windtoll-{name}.lock", os.O_RDWR | os.O_CREAT)
        lock: Callable[[], object] = functools.partial(msvcrt.locking, handle, msvcrt.LK_LOCK, 1)
    else:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
        lock = functools.partial(fcntl.flock, handle, fcntl.LOCK_EX)
    try:
        try:
            lock()
        except OSError as error:
            if error.errno not in _NO_LOCKS:
                raise
        yield
    finally:
        os.close(handle)


def left_behind(folder: Path) -> list[Path]:
    """Return what runs that were killed while they wrote have left in a folder of windtoll's own."""
    old = time.time() - _AN_HOUR_S
    return [entry for entry in folder.glob(f"{_TEMPORARY}*") if entry.is_file() and entry.stat().st_mtime < old]


def replace_file(new: Path, path: Path) -> None:
    """Put `new` in the place of `path`, both in one folder. Raises OSError.

    Windows refuses for as long as another program has `path` open: what only looks at it for a moment is waited for.
    """
    for left in reversed(range(_REPLACE_TRIES)):
        try:
            return os.replace(new, path)
        except PermissionError:
            if not on_windows() or not left:
                raise
            time.sleep(_REPLACE_PAUSE_S)
    raise AssertionError


def on_windows() -> bool:
    """Return whether names and locks are those of Windows."""
    return os.name == "nt"


def refused_by_windows(name: str) -> str | None:
    """Return why Windows has no file of that name (no folders in it), None where it can have one."""
    if _WINDOWS_DEVICE.fullmatch(name):
        return "is the name of a device on Windows"
    if _WINDOWS_SIGNS.search(name):
        return 'has a sign that Windows has in no name (< > : " | ? *)'
    return "ends with a point or a space, which Windows drops" if name != name.rstrip(". ") else None


def _mode(path: Path) -> int:
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


def checked_output(path: Path, inputs: Iterable[Path] = (), *, force: bool = False) -> Path:
    """Return the file that an output of that name would be written to, symbolic links followed.

    `inputs` are the files that the run reads; none of them is ever replaced, not even with `force`. Raises InputError.
    """
    where = shown(path, 200)
    refused = refused_by_windows(path.name) if on_windows() else None
    if refused:
        raise InputError(Problem(where, "", refused, "another name"))
    try:
        target = path.resolve()
        if not target.parent.is_dir():
            raise InputError(Problem(where, "", f"no folder {path.parent}", _FOLDER))
        status = target.stat()
        if stat.S_ISDIR(status.st_mode):
            raise InputError(Problem(where, "", "is a folder", "a file name"))
        if not stat.S_ISREG(status.st_mode):
            raise InputError(Problem(where, "", "is a device, pipe or socket", "a file name"))
        if any(_same(status, entry) for entry in inputs):
            raise InputError(Problem(where, "", "is an input of this run", "another name for the output"))
        if not force and not _is_ours(target):
            raise InputError(Problem(where, "", "exists already", "a new file name, or --force to replace it"))
    except FileNotFoundError:
        return target
    except OSError as error:
        raise InputError(_unwritable(where, error)) from None
    except (RuntimeError, ValueError):  # links in a circle; a zero byte in the name
        raise InputError(Problem(where, "", "is no usable file name", _FOLDER)) from None
    return target


def read_by_run(*paths: Path | None) -> tuple[Path, ...]:
    """Return the files that a run reads: those of `paths`, and what a TOML file among them names.

    Whatever text in a TOML file names a file that is there counts, whichever key it stands behind: no output may
    replace it, not even by mistake.
    """
    given = [path for path in paths if path is not None]
    return (*given, *(path.parent / name for path in given for name in _texts(_toml(path)) if _is_there(path, name)))


def _toml(path: Path) -> Any:
    if path.suffix.lower() != ".toml":
        return None
    try:
        return tomllib.loads(read_input(path, _MOST_TOML_BYTES, "a TOML file").decode("utf-8-sig"))
    except (InputError, OSError, ValueError, RecursionError):  # what is wrong with it is told where it is read
        return None


def _texts(value: Any) -> Iterator[str]:
    """Yield every text in the values of a TOML document."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, (list, Mapping)):
        for part in value.values() if isinstance(value, Mapping) else value:
            yield from _texts(part)


def _is_there(path: Path, name: str) -> bool:
    try:
        return is_file(path.parent / name)
    except ValueError:  # a zero byte in the text
        return False


def check_apart(outputs: Mapping[str, Path | None]) -> None:
    """Raise InputError where two outputs of a run, by the names of their options, would be one file."""
    seen: dict[str, str] = {}
    for option, path in outputs.items():
        if path is None:
            continue
        place = os.path.normcase(os.path.realpath(path))
        if place in seen:
            raise InputError(Problem("command line", option, f"the same file as {seen[place]}", "two files"))
        seen[place] = option


def _same(status: os.stat_result, other: Path) -> bool:
    try:
        return os.path.samestat(status, other.stat())
    except (OSError, ValueError):  # an input that is not there is no file that could be lost
        return False


def _is_ours(path: Path) -> bool:
    with path.open("rb") as stream:
        return MARK.encode() in stream.read(_MARK_WITHIN)


def write_output(path: Path, content: bytes, inputs: Iterable[Path] = (), *, force: bool = False) -> None:
    """Write an output of the run, whole or not at all, where `checked_output` lets it. Raises InputError."""
    target = checked_output(path, inputs, force=force)
    try:
        write_whole(target, content)
    except OSError as error:
        raise InputError(_unwritable(shown(path, 200), error)) from None


def _unwritable(where: str, error: OSError) -> Problem:
    if isinstance(error, PermissionError) and on_windows():
        return Problem(where, "", "is open in another program, or may not be written", "close it there and try again")
    if error.errno == errno.ENAMETOOLONG:
        return Problem(where, "", "is too long a name for this disk", "a shorter name, or a folder nearer the top")
    return Problem(where, "", f"cannot be written ({error.strerror})", _FOLDER)


@contextlib.contextmanager
def temporary_files(files: Iterable[tuple[str, bytes]]) -> Iterator[Path]:
    """Write files (plain name, bytes) into a folder of their own, for as long as the context lasts; yield the folder.

    Raises InputError where the system has no room for them.
    """
    try:
        holder = tempfile.TemporaryDirectory(prefix="windtoll-")
    except OSError as error:  # also FileNotFoundError: no place for temporary files can be written to
        raise InputError(_no_room("temporary files", error)) from None
    with holder as folder:
        try:
            for name, content in files:
                (Path(folder) / name).write_bytes(content)
        except OSError as error:
            raise InputError(_no_room(folder, error)) from None
        yield Path(folder)


def _no_room(where: str, error: OSError) -> Problem:
    accepted = "a disk with room for temporary files (the variable TMPDIR names another one)"
    return Problem(where, "", f"cannot be written ({error.strerror or error})", accepted)


def check_input(path: Path, most_bytes: int, accepted: str) -> None:
    """Raise InputError unless `path` is a regular file of at most `most_bytes`: a pipe or device may never end.

    Raises OSError (FileNotFoundError among them) as `Path.stat` does.
    """
    status = path.stat()
    if stat.S_ISDIR(status.st_mode):
        raise InputError(Problem(str(path), "", "a folder", accepted))
    if not stat.S_ISREG(status.st_mode):
        raise InputError(Problem(str(path), "", "a device, pipe or socket", accepted))
    if status.st_size > most_bytes:
        raise InputError(Problem(str(path), "", f"{status.st_size} bytes", f"{accepted} of at most {most_bytes} bytes"))


def is_file(path: Path) -> bool:
    """Return whether a path is a regular file; a name that the system cannot take is none."""
    try:
        return path.is_file()
    except OSError:  # a name of too many letters
        return False


def read_input(path: Path, most_bytes: int, accepted: str) -> bytes:
    """Return the bytes of a regular file of at most `most_bytes`. Raises InputError as `check_input`, and OSError."""
    check_input(path, most_bytes, accepted)
    with path.open("rb") as stream:
        content = stream.read(most_bytes + 1)
    if len(content) > most_bytes:  # it grew while it was read
        most = f"{accepted} of at most {most_bytes} bytes"
        raise InputError(Problem(str(path), "", f"over {most_bytes} bytes", most))
    return content
