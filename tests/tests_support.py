"""Helpers that several test files call."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

# Where tests run in the background of a shell, interrupts are ignored and a child inherits that: undo it in the child.
_START = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
sys.argv[0] = "windtoll"
from energy.cli import main
main()
"""


def program(*arguments: str) -> list[str]:
    """Return the command line's program for a process of its own, which an interrupt ends however the tests began."""
    return [sys.executable, "-c", _START, *arguments]


def run(*arguments: str, cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command line by its own entry, with streams, folder and environment of its own, but in this process.

    A process of its own spends a second on imports before it begins. That both say the same to the last byte is a test
    (tests/energy/commands/test_commands.py). What is about a process, a console's encoding or the user's own folders
    takes `run_alone`. What nobody foresaw comes through as it was raised.
    """
    from energy.cli import main

    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="\n", write_through=True) for _ in range(2))
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
    said, told = (stream.buffer.getvalue().decode("utf-8") for stream in (out, err))  # type: ignore[attr-defined]
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


def recorded_downloads(monkeypatch: pytest.MonkeyPatch, beginning: str = "") -> dict[str, bytes]:
    """Return what the app offers for download from now on, by the button's key.

    What is made only when it is asked for is made where the key has that beginning.
    """
    import streamlit as st

    offered: dict[str, bytes] = {}
    button = st.download_button

    def recorded(*arguments: Any, **options: Any) -> Any:
        data = options["data"]
        offered[options["key"]] = data() if callable(data) and options["key"].startswith(beginning) else data
        return button(*arguments, **options)

    monkeypatch.setattr(st, "download_button", recorded)
    return offered
