"""Helpers that several test files call."""

from __future__ import annotations

import contextlib
import functools
import inspect
import io
import json
import os
import pickle
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar
from unittest import mock

import pytest

from energy.progress import tell

# Where tests run in the background of a shell, interrupts are ignored and a child inherits that: undo it in the child.
_START = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
sys.argv[0] = "windtoll"
from energy.cli import main
main()
"""


T = TypeVar("T")


def of_study(sample: T, whole: T) -> T:
    """Return what tests look at of a study by default: a sample that catches what it is for.

    With WINDTOLL_STUDIES set it is the whole study (tests/benchmarks/studies.py starts it so, by hand).
    """
    return whole if "WINDTOLL_STUDIES" in os.environ else sample


def program(*arguments: str) -> list[str]:
    """Return the command line's program for a process of its own, which an interrupt ends however the tests began."""
    return [sys.executable, "-c", _START, *arguments]


def run(
    *arguments: str, cwd: Path | None = None, encoding: str = "utf-8", **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run the command line by its own entry, with streams, folder and environment of its own, but in this process.

    A process of its own spends a second on imports before it begins. That both say the same to the last byte is a test
    (tests/energy/commands/test_commands.py). What is about a process, a console's encoding or the user's own folders
    takes `run_alone`. What nobody foresaw comes through as it was raised. `encoding` is that of the console.
    """
    from energy.cli import main

    out, err = (io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="\n", write_through=True) for _ in range(2))
    with (
        contextlib.chdir(cwd or Path.cwd()),
        mock.patch.dict(os.environ, {"COLUMNS": "100", **environment}),
        mock.patch.object(sys, "argv", ["windtoll", *arguments]),
        mock.patch.object(sys.modules["__main__"], "__package__", None),  # click asks it for the program's name
        mock.patch.object(sys, "stdin", io.StringIO()),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as end:
            status = end.code
    assert isinstance(status, int), status
    said, told = (stream.buffer.getvalue().decode(encoding) for stream in (out, err))  # type: ignore[attr-defined]
    return subprocess.CompletedProcess(["windtoll", *arguments], status, said, told)


def run_alone(*arguments: str, cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, as a user does."""
    env = {**os.environ, "COLUMNS": "100", **environment}
    return subprocess.run(
        program(*arguments),
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=cwd,
        env=env,
        timeout=600,
        check=False,
    )


_ONE_AFTER_THE_OTHER = """
import json, sys
from tests_support import run
for arguments in json.load(sys.stdin):
    done = run(*arguments)
    print(json.dumps([done.returncode, done.stdout, done.stderr]), flush=True)
"""


def run_apart(*commands: Sequence[str]) -> list[tuple[int, str, str]]:
    """Run commands one after the other in one process of their own, which is ended where one of them waits for ever;
    return the status and what is written to both outputs of each that came to its end.
    """
    with contextlib.suppress(subprocess.TimeoutExpired), tempfile.TemporaryFile("w+", encoding="utf-8") as out:
        try:
            subprocess.run(
                [sys.executable, "-c", _ONE_AFTER_THE_OTHER],
                input=json.dumps(commands),
                stdout=out,
                text=True,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, sys.path))},
                timeout=600,
                check=True,
            )
        finally:
            out.seek(0)
            done = [tuple(json.loads(line)) for line in out]
    return done


def recorded_downloads(monkeypatch: pytest.MonkeyPatch, *asked_for: str) -> dict[str, bytes]:
    """Return what the app offers for download from now on, by the button's key.

    What is made only when it is asked for is made where its key is one of these.
    """
    import streamlit as st

    offered: dict[str, bytes] = {}
    button = st.download_button

    def recorded(*arguments: Any, **options: Any) -> Any:
        data = options["data"]
        offered[options["key"]] = data() if callable(data) and options["key"] in asked_for else data
        return button(*arguments, **options)

    monkeypatch.setattr(st, "download_button", recorded)
    return offered


def _by_value(thing: object) -> bytes | None:
    """Return all that is in a thing, the same for any two that are equal; None where it cannot be pickled."""
    written = io.BytesIO()
    pickler = pickle.Pickler(written)
    pickler.fast = True  # what stands in it twice is written twice, whether it is the same object or an equal one
    try:
        pickler.dump(thing)
    except (pickle.PicklingError, AttributeError, TypeError):
        return None
    return written.getvalue()


class _Once:
    """A function whose answers are kept until they are forgotten; from then on it is the function again."""

    def __init__(self, function: Callable[..., Any]) -> None:
        functools.update_wrapper(self, function)
        self._function, self._signature = function, inspect.signature(function)
        self._found: dict[bytes, Any] | None = {}

    def __call__(self, *args: Any, **options: Any) -> Any:
        asked = self._signature.bind(*args, **options).arguments
        progress = asked.pop("progress", None)
        key = None if self._found is None else _by_value(asked)
        if self._found is None or key is None:
            return self._function(*args, **options)
        if key in self._found:
            tell(progress, 1.0)
        else:
            self._found[key] = self._function(*args, **options)
        return self._found[key]

    def forget(self) -> None:
        """Keep nothing any more: a module that was imported meanwhile may hold this instead of the function."""
        self._found = None


@contextlib.contextmanager
def computed_once(*functions: Callable[..., Any]) -> Iterator[None]:
    """Let each of these functions compute an answer once as long as the context lasts, wherever it was imported to.

    For tests of what is made of an answer, printed to another width say: the functions find the same from the same
    arguments. Those are told apart by all that is in them; what cannot be pickled is computed each time. Whoever
    listens to the progress of what is known already is told its end.
    """
    made: list[_Once] = []
    with pytest.MonkeyPatch.context() as patch:
        for function in functions:
            once = _Once(function)
            for module in list(sys.modules.values()):
                if getattr(module, "__dict__", {}).get(function.__name__) is function:
                    patch.setattr(module, function.__name__, once)
            made.append(once)
        yield
    for once in made:
        once.forget()


def cut_curves(folder: Path) -> None:
    """Cut a rotor's curves off at a tip-speed ratio of 3, while the van's power still rises."""
    path = folder / "rotor_curves.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    head = next(k for k, line in enumerate(lines) if line.startswith("tip_speed_ratio"))
    kept = [line for line in lines[head + 1 :] if float(line.partition(",")[0]) <= 3]
    path.write_text("\n".join([lines[head], *kept, ""]), encoding="utf-8")
