"""Values that stand for what a scenario does not give."""

from __future__ import annotations

ASSUMED = "Defaults used"
