"""Pictures of the published checks: predicted against measured, or the error, one picture a check."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from energy.chain.evidence import Check
from energy.pictures.base import BLUE, COLOURS, GREY, Picture
from energy.words.evidence import check_words

_LETTERS = 40  # of a legend in one line


@dataclass(frozen=True)
class _Axes:
    """Titles and scales of a check's points, and the line on which they would lie if all were right."""

    x: str
    y: str
    x_scale: float
    y_scale: float
    right: str  # "equal", "zero" or "closed form"


_AXES = {
    "rotor": _Axes("wind speed (m/s)", "predicted over measured, less one (%)", 1.0, 100.0, "zero"),
    "vehicles": _Axes("measured fuel (MJ/km)", "predicted fuel (MJ/km)", 1e-3, 1e-3, "equal"),
    "road_test": _Axes("random order, by its effect", "effect found on fuel (%), 95 % interval", 1.0, 100.0, "zero"),
    "warm_up": _Axes("time (min)", "temperature (K); line: closed form", 1 / 60, 1.0, "closed form"),
    "air": _Axes("altitude (m)", "error of density (%)", 1.0, 100.0, "zero"),
}


def evidence_picture(check: Check) -> Picture:
    """Return the picture of one check."""
    import altair as alt
    import pandas as pd

    axes = _AXES[check.key]
    table = pd.DataFrame({axes.x: check.x * axes.x_scale, axes.y: check.y * axes.y_scale, "what": check.group})
    if check.low.size:
        table["low"], table["high"] = check.low * axes.y_scale, check.high * axes.y_scale
    data = table.rename(columns={axes.x: "x", axes.y: "y"})
    domain = _drawn_groups(check, axes.right)
    legend = alt.Legend(orient="top", labelFontSize=13, labelLimit=0, columns=1 if _long(domain) else 0)
    dense = len(table) > 500
    points = (
        alt.Chart(data if axes.right != "closed form" else data[data.what != axes.right])
        .mark_point(filled=True, size=12 if dense else 60, opacity=0.45 if dense else 0.9)
        .encode(
            x=alt.X("x:Q", title=axes.x, scale=alt.Scale(domain=_around(check.x * axes.x_scale), nice=False)),
            y=alt.Y("y:Q", title=axes.y, scale=alt.Scale(zero=False)),
            color=alt.Color(
                "what:N",
                title=None,
                scale=alt.Scale(domain=domain, range=list(COLOURS[: len(domain)])),
                legend=legend,
            ),
            shape=alt.Shape("what:N", title=None, scale=alt.Scale(domain=domain), legend=None),
            tooltip=[
                alt.Tooltip("what:N"),
                alt.Tooltip("x:Q", title=axes.x, format=".3~g"),
                alt.Tooltip("y:Q", title=axes.y, format=".3~g"),
            ],
        )
    )
    layers = [*_right(axes.right, data), *_intervals(check), points]
    if check.low.size:
        layers[-2] = layers[-2].properties(data=data)
    chart: Any = alt.layer(*layers).properties(height=320)
    return Picture(f"evidence_{check.key}", check_words(check).finding, chart, table)


def _drawn_groups(check: Check, line: str) -> list[str]:
    """Return the groups that are drawn as points, the most frequent first: what is `line` is drawn as one."""
    counts = Counter(name for name in check.group.tolist() if name != line)
    return [name for name, _ in counts.most_common()]


def _long(names: list[str]) -> bool:
    """Return whether names are too long to stand in one line of a phone."""
    return sum(map(len, names)) > _LETTERS


def _around(values: np.ndarray) -> list[float]:
    """Return the ends of an axis a little beyond its points, but never below zero where none of them is."""
    low, high = float(values.min()), float(values.max())
    edge = 0.04 * (high - low)
    return [max(low - edge, 0.0) if low >= 0 else low - edge, high + edge]


def _right(kind: str, data: Any) -> list[Any]:
    """Return the line of points that are right, dashed."""
    import altair as alt
    import pandas as pd

    if kind == "closed form":
        return [alt.Chart(data[data.what == kind]).mark_line(color=GREY, strokeWidth=2).encode(x="x:Q", y="y:Q")]
    ends = (float(data.x.min()), float(data.x.max()))
    line = pd.DataFrame({"x": ends, "y": ends if kind == "equal" else (0.0, 0.0)})
    return [alt.Chart(line).mark_line(color=GREY, strokeDash=[5, 4], strokeWidth=2).encode(x="x:Q", y="y:Q")]


def _intervals(check: Check) -> list[Any]:
    """Return the intervals of the points as thin rules, where they have any."""
    import altair as alt

    if not check.low.size:
        return []
    return [alt.Chart().mark_rule(color=BLUE, opacity=0.25).encode(x="x:Q", y=alt.Y("low:Q", title=None), y2="high:Q")]
