"""The one-page run sheet of a road test: in which order to drive, what to keep the same, when not to drive."""

from __future__ import annotations

import html
from collections.abc import Sequence

from energy.words.run_sheet import CAUTIONS, KEEP_THE_SAME, MOST_ON_ONE_PAGE, WEATHER
from vehicle.road_test.planning import PlannedRun


def as_html(runs: Sequence[PlannedRun], speed: str, road: str) -> str:
    """Return the run sheet as one self-contained HTML page that prints on one sheet of paper."""
    shown = runs[:MOST_ON_ONE_PAGE]
    size = 10 if len(shown) <= 16 else 8 if len(shown) <= 24 else 7  # A4 and US letter both hold it on one page
    rows = "\n".join(
        f"<tr><td>{run.number}</td><td>{run.block}</td><td>{run.pair}</td><td>{run.direction}</td>"
        f"<td><b>{html.escape(run.state)}</b></td>{'<td></td>' * 5}</tr>" for run in shown
    )  # fmt: skip
    more = f"<p>… and {len(runs) - len(shown)} more runs on further sheets.</p>" if len(runs) > len(shown) else ""
    lists = "".join(
        f"<h2>{title}</h2><ul>{''.join(f'<li>{html.escape(point)}</li>' for point in points)}</ul>"
        for title, points in (("Keep the same", KEEP_THE_SAME), ("Weather", WEATHER), ("Safety", CAUTIONS))
    )
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Run sheet</title><style>
@page {{ margin: 12mm }}
body {{ font: {size}pt/1.25 sans-serif; margin: 0 auto; max-width: 186mm }}
h1 {{ font-size: 14pt; margin: 0 0 2mm }} h2 {{ font-size: {size + 1}pt; margin: 2mm 0 0 }}
ul {{ margin: 0; padding-left: 5mm }}
table {{ border-collapse: collapse; width: 100% }}
td, th {{ border: 0.3mm solid #444; padding: {0.7 if size > 7 else 0.2}mm 1.5mm; text-align: left; height: {size + 4}pt }}
</style></head><body>
<h1>Run sheet: {len(runs)} runs, {html.escape(road)}, {html.escape(speed)}</h1>
<p>Vehicle ____________________ Date ______________ Driver ______________ Passenger, logs ______________
Tyres ________ Fuel ________</p>
<table><tr><th>run</th><th>block</th><th>pair</th><th>direction</th><th>turbine</th><th>start</th><th>wind</th>
<th>air temp.</th><th>log file</th><th>notes</th></tr>
{rows}
</table>{more}
{lists}
</body></html>
"""
