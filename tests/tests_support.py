"""Helpers that several test files call."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path


def run(*arguments: str, cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, as a user does."""
    program = [sys.executable, "-c", "from energy.cli import main; main()", *arguments]
    env = {**os.environ, "COLUMNS": "100", **environment}
    return subprocess.run(
        program, capture_output=True, text=True, encoding="utf-8", cwd=cwd, env=env, timeout=600, check=False
    )
