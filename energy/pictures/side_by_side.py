"""The picture of two or three works or variants: fuel, heat, thrust, warm-up and limits as bars, one group each."""

from __future__ import annotations

import math
from collections.abc import Sequence

from energy.pictures.base import BLACK, BLUE, GREEN, ORANGE, Picture
from energy.words.side_by_side import Contender, finding, measures
from vehicle.units import UnitSystem

_ROW = 23  # pixels of a bar with its gap


def side_by_side(contenders: Sequence[Contender], system: UnitSystem) -> Picture:
    """Return bars in groups; within a group a bar's length is its share of the group's longest, the number beside it.

    A cost below zero (a saving) is drawn as no bar; its number tells it.
    """
    import altair as alt
    import pandas as pd

    measured = measures(contenders, system)
    rows = []
    for measure in measured:
        most = max((value for value in measure.values if math.isfinite(value)), default=0.0)
        for one, value, words in zip(contenders, measure.values, measure.words, strict=True):
            share = max(value, 0.0) / most if most > 0 and math.isfinite(value) else 0.0
            rows.append((measure.name, one.name, value, words, share))
    frame = pd.DataFrame(rows, columns=["measure", "which", "value", "words", "share"])
    names = [one.name for one in contenders]
    y = alt.Y("measure:N", sort=[measure.name for measure in measured], title=None, axis=alt.Axis(labelLimit=90))
    x = alt.X("share:Q", axis=None, scale=alt.Scale(domain=[0, 1], nice=False))
    base = alt.Chart(frame).encode(y=y, yOffset=alt.YOffset("which:N", sort=names))
    legend = alt.Legend(orient="top", title=None, labelFontSize=13, columns=1, labelLimit=300)
    scale = alt.Scale(domain=names, range=[BLUE, ORANGE, GREEN][: len(names)])
    bars = base.mark_bar(opacity=0.45).encode(
        x=x, color=alt.Color("which:N", scale=scale, legend=legend), tooltip=["which:N", "measure:N", "words:N"]
    )
    # The number stands on the bar from its foot on: beside it there is no room on a phone.
    texts = base.mark_text(align="left", x=6, fontSize=13, color=BLACK).encode(text="words:N")
    chart = alt.layer(bars, texts).properties(height=_ROW * len(names) * len(measured) + 40)
    return Picture("side_by_side", finding(contenders, system), chart, frame[["measure", "which", "value", "words"]])
