"""The picture of a rotor's curves: power and thrust coefficient over tip-speed ratio."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from energy.pictures.base import COLOURS

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from energy.aero.curves import RotorCurves

MOST_LINES = 7
_BETZ_LIMIT = 16 / 27


def curves_chart(curves: RotorCurves, title: str) -> alt.TopLevelMixin:
    """Return power and thrust coefficient over tip-speed ratio, a line for each of up to seven pitches."""
    import altair as alt

    rows = _shown_rows(curves)
    table = _table(curves, rows)
    pitches = [f"{curves.pitch_deg[row]:g}°" for row in rows]
    last = float(curves.tip_speed_ratio[-1])
    panels = [
        _panel(table, what, limit, pitches, last)
        for what, limit in (("power coefficient", _BETZ_LIMIT), ("thrust coefficient", None))
    ]
    return (
        alt.hconcat(*panels)
        .properties(title=title)
        .configure_title(fontSize=15, anchor="start")
        .configure_axis(labelFontSize=12, titleFontSize=13)
    )


def _shown_rows(curves: RotorCurves) -> np.ndarray:
    """Return the places of the pitches that are drawn: those that give power, the best among them."""
    best = curves.power_coefficient.max(axis=1)
    useful = np.flatnonzero(best > 0.1 * curves.power_coefficient.max())
    rows = useful if useful.size else np.arange(len(curves.pitch_deg))
    if len(rows) > MOST_LINES:
        spread = rows[np.linspace(0, len(rows) - 1, MOST_LINES - 1).round().astype(int)]
        rows = np.unique([*spread, int(np.argmax(best))])
    return rows


def _table(curves: RotorCurves, rows: np.ndarray) -> pd.DataFrame:
    import pandas as pd

    frames = [
        pd.DataFrame(
            {
                "tip-speed ratio": curves.tip_speed_ratio,
                "value": values[row],
                "pitch": f"{curves.pitch_deg[row]:g}°",
                "what": what,
                "order": float(curves.pitch_deg[row]),
            }
        )
        for row in rows
        for what, values in (
            ("power coefficient", curves.power_coefficient),
            ("thrust coefficient", curves.thrust_coefficient),
        )
    ]
    table = pd.concat(frames)
    return table[(table["value"] > -0.3) & (table["value"] < 1.6)]


def _panel(table: pd.DataFrame, what: str, limit: float | None, pitches: list[str], last_ratio: float) -> Any:
    """Return one coefficient over tip-speed ratio, with its limit as a level line where it has one."""
    import altair as alt
    import pandas as pd

    highest = float(table.loc[table["what"] == what, "value"].max())
    base = alt.Chart(table).mark_line(clip=True, strokeWidth=2)
    lines = base.transform_filter(alt.datum.what == what).encode(
        x=alt.X(
            "tip-speed ratio:Q",
            title="tip-speed ratio (tip speed / air speed)",
            scale=alt.Scale(domain=[0, last_ratio]),
        ),
        y=alt.Y("value:Q", title=what, scale=alt.Scale(domain=[0, max(limit or 0, highest) * 1.05])),
        color=alt.Color("pitch:N", title="pitch", sort=pitches, scale=alt.Scale(range=list(COLOURS))),
        strokeDash=alt.StrokeDash("pitch:N", sort=pitches, legend=None),
        tooltip=[
            "pitch:N",
            alt.Tooltip("tip-speed ratio:Q", format=".2f"),
            alt.Tooltip("value:Q", title=what, format=".3f"),
        ],
    )
    panel: Any = lines
    if limit is not None:
        mark = pd.DataFrame({"limit": [limit], "text": ["Betz limit 0.593"]})
        rule = alt.Chart(mark).mark_rule(strokeDash=[2, 3]).encode(y="limit:Q")
        text = alt.Chart(mark).mark_text(align="left", dx=4, dy=-5, x=0).encode(y="limit:Q", text="text:N")
        panel = alt.layer(lines, rule, text)
    return panel.properties(width=360, height=300)
