"""Values that stand for what a scenario does not give."""

from __future__ import annotations

ASSUMED = "Assumed, for want of a value in the scenario"
