"""Where the demo scenarios and the published data of the checks are."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent


def demo_folder() -> Path:
    """Return the folder of the demo scenarios: inside the installed package, or beside it in a checkout."""
    installed = _PACKAGE / "demo_scenarios"
    return installed if installed.is_dir() else _PACKAGE.parent / "scenarios"


def published_folder() -> Path:
    """Return the folder of the published data (each with its SOURCE.md), installed or in a checkout."""
    installed = _PACKAGE / "published_data"
    return installed if installed.is_dir() else _PACKAGE.parent / "tests" / "data"
