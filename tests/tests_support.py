"""Helpers that several test files call."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

# Where tests run in the background of a shell, interrupts are ignored and a child inherits that: undo it in the child.
_START = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); from energy.cli import main; main()"


def program(*arguments: str) -> list[str]:
    """Return the command line's program for a process of its own, which an interrupt ends however the tests began."""
    return [sys.executable, "-c", _START, *arguments]


def run(*arguments: str, cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
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
