"""Where the demo scenarios are."""

from __future__ import annotations

from pathlib import Path


def demo_folder() -> Path:
    """Return the folder of the demo scenarios: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "demo_scenarios"
    return installed if installed.is_dir() else package.parent / "scenarios"
