"""How far every structural load is from its limit."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from energy.pictures.base import BLACK, BLUE, ORANGE, Picture
from energy.words import loads as loads_words

if TYPE_CHECKING:
    from energy.strength.table import StructuralLoads

_WIDEST = 5.0  # what is stronger than that is drawn as that
_LETTERS_OF_A_NAME = 28  # in one line, next to the bars


def margins_picture(table: StructuralLoads) -> Picture | None:
    """Return the minimum margin of every load that has a limit, as bars with the limit as a line."""
    import altair as alt
    import pandas as pd

    least: dict[str, float] = {}
    for row in table.rows:
        if row.margin is not None:
            least[row.name] = min(row.margin, least.get(row.name, float("inf")))
    if not least:
        return None
    frame = pd.DataFrame({"load": list(least), "margin": list(least.values())}).sort_values("margin")
    frame["drawn"] = frame["margin"].clip(upper=_WIDEST)
    frame["text"] = [loads_words.margin_figures(m) for m in frame["margin"]]
    frame["over"] = frame["margin"] < 1
    # Whole names, on two lines where they are long, and as many ticks as fit a phone.
    frame["name"] = [textwrap.fill(name, _LETTERS_OF_A_NAME) for name in frame["load"]]
    whole = alt.Axis(labelExpr="split(datum.label, '\\n')", labelLimit=0)
    y = alt.Y("name:N", title=None, sort=list(frame["name"]), axis=whole)
    ticks = alt.Axis(values=list(range(int(_WIDEST) + 1)), format="d")
    x = alt.X("drawn:Q", title="margin (limit over load)", scale=alt.Scale(domain=[0, _WIDEST]), axis=ticks)
    colour = alt.Color("over:N", scale=alt.Scale(domain=[True, False], range=[ORANGE, BLUE]), legend=None)
    bars = (
        alt.Chart(frame)
        .mark_bar(height=14)
        .encode(x=x, y=y, color=colour, tooltip=["load:N", alt.Tooltip("margin:Q", format=".3~g")])
    )
    texts = alt.Chart(frame).mark_text(align="left", dx=5, color=BLACK, fontSize=13).encode(x=x, y=y, text="text:N")
    rule = alt.Chart(pd.DataFrame({"limit": [1.0]})).mark_rule(color=BLACK, strokeWidth=2).encode(x="limit:Q")
    title = loads_words.margins_finding(frame["load"].iloc[0], float(frame["margin"].iloc[0]))
    chart = alt.layer(bars, texts, rule).properties(height=alt.Step(32))
    return Picture("margins", title, chart, frame[["load", "margin"]])
