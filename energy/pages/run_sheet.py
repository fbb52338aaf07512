"""The one-page run sheet of a road test, to print."""

from __future__ import annotations

from collections.abc import Sequence

from energy.pages.templates import filled
from energy.words.run_sheet import MOST_ON_ONE_PAGE, points
from vehicle.road_test.planning import PlannedRun


def as_html(runs: Sequence[PlannedRun], speed: str, road: str, *, on_battery: bool = False) -> str:
    """Return the run sheet as one self-contained HTML page that prints on one sheet of paper."""
    shown = runs[:MOST_ON_ONE_PAGE]
    size = 10 if len(shown) <= 16 else 8 if len(shown) <= 24 else 7  # A4 and US letter both hold it on one page
    return filled(
        "run_sheet.html",
        runs=shown,
        count=len(runs),
        size=size,
        road=road,
        speed=speed,
        on_battery=on_battery,
        lists=points(on_battery),
    )
