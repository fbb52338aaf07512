"""The picture of when it pays: maps over road speed, head wind and descent, and the lines from which it does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.pictures.base import COLOURS
from vehicle.units import UnitSystem, label, to_user

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from energy.chain.payback import Payback, PayMap

_VIOLET = "#8f52c9"  # seen on pale cells as well as on a dark page
_LINES = {
    "fuel": ("heat is free of fuel", COLOURS[2]),
    "alternator": ("cheaper than the alternator", COLOURS[1]),
    "energy": ("heat above drag power", _VIOLET),
}
_DASHES = ([1, 0], [6, 3], [2, 2])


def payback_chart(result: Payback, title: str, system: UnitSystem = "metric") -> alt.TopLevelMixin:
    """Return two maps over road speed, head wind and descent: heat less drag power as colour, and the lines where it
    pays.

    The bands hold 90 % of the lines of the draws.
    """
    import altair as alt

    wind, descent = (
        pay_map(paid, along, kind, lines, system)[0].properties(
            width=380, height=300, title=f"over {along}, with 90 % bands"
        )
        for paid, along, kind, lines in (
            (result.wind, "head wind", "speed", ("alternator", "energy")),
            (result.descent, "descent", "share", ("fuel", "alternator")),
        )
    )
    return (
        alt.hconcat(wind, descent)
        .resolve_scale(color="independent")
        .properties(title=alt.TitleParams(title, anchor="start"))
    )


@dataclass(frozen=True)
class _MapAxes:
    """The map's two axes in the user's units, with half a cell's width, and their titles."""

    speeds: np.ndarray
    along: np.ndarray
    x_title: str
    y_title: str
    colour_title: str

    @property
    def half_x(self) -> float:
        return float(self.speeds[1] - self.speeds[0]) / 2

    @property
    def half_y(self) -> float:
        return float(self.along[1] - self.along[0]) / 2

    @property
    def top(self) -> float:
        return float(self.along[-1]) + self.half_y


def pay_map(
    paid: PayMap, along_name: str, along_kind: str, shown_lines: tuple[str, ...], system: UnitSystem
) -> tuple[Any, pd.DataFrame]:
    """Return one map of when it pays, without title or size, and the numbers behind its colours."""
    import altair as alt

    first = "energy" if along_name == "head wind" else "fuel"
    axes = _MapAxes(
        np.array([to_user(v, "speed", system) for v in paid.speeds_m_s]),
        np.array([to_user(v, along_kind, system) for v in paid.along]),
        f"road speed ({label('speed', system)})",
        f"{along_name} ({label(along_kind, system)})",
        "heat less drag power (kW)" if first == "energy" else "fuel power saved (kW)",
    )
    cells = _cells(axes, paid.balances[first] / 1e3)
    layers: list[Any] = [_coloured(axes, cells)]
    drawn_lines: list[pd.DataFrame] = []
    for name in shown_lines:
        band, middle = _line(axes, paid, name, along_kind, system)
        if len(band):
            layers.append(
                alt.Chart(band).mark_area(opacity=0.3, color=_LINES[name][1]).encode(x="x:Q", y="low:Q", y2="high")
            )
        if len(middle):
            drawn_lines.append(middle)
    if drawn_lines:
        layers.append(_drawn(drawn_lines))
    table = cells[["speed", "along", "kW"]].set_axis([axes.x_title, axes.y_title, axes.colour_title], axis=1)
    return alt.layer(*layers).resolve_scale(color="independent"), table


def _cells(axes: _MapAxes, balance_kw: np.ndarray) -> pd.DataFrame:
    import pandas as pd

    speeds, along = np.meshgrid(axes.speeds, axes.along)
    return pd.DataFrame(
        {
            "x": speeds.ravel() - axes.half_x,
            "x2": speeds.ravel() + axes.half_x,
            "y": np.maximum(along.ravel() - axes.half_y, 0.0),
            "y2": along.ravel() + axes.half_y,
            "kW": balance_kw.ravel(),
            "speed": speeds.ravel(),
            "along": along.ravel(),
        }
    )


def _coloured(axes: _MapAxes, cells: pd.DataFrame) -> alt.Chart:
    """Return the cells of the map in their colours."""
    import altair as alt

    most = _round_up(max(float(np.abs(cells["kW"]).max()), 1e-3))
    # One wide domain would paint all but the fastest corner white.
    colour = alt.Scale(scheme="blueorange", reverse=True, type="symlog", constant=most / 30, domain=[-most, most])
    ends = [float(axes.speeds[0]) - axes.half_x, float(axes.speeds[-1]) + axes.half_x]
    values = [-most, -most / 10, 0.0, most / 10, most]
    legend = alt.Legend(orient="top", gradientLength=300, titleLimit=320, values=values, format=".3~r")
    return (
        alt.Chart(cells)
        .mark_rect()
        .encode(
            x=alt.X("x:Q", title=axes.x_title, scale=alt.Scale(domain=ends, nice=False)),
            x2="x2",
            y=alt.Y("y:Q", title=axes.y_title, scale=alt.Scale(domain=[0.0, axes.top], nice=False)),
            y2="y2",
            color=alt.Color("kW:Q", title=axes.colour_title, scale=colour, legend=legend),
            tooltip=[
                alt.Tooltip("speed:Q", title=axes.x_title, format=".3~g"),
                alt.Tooltip("along:Q", title=axes.y_title, format=".3~g"),
                alt.Tooltip("kW:Q", title=axes.colour_title, format="+.3~g"),
            ],
        )
    )


def _round_up(value: float) -> float:
    """Return the next of 1, 2, 5, 10 ... at or above a value: an end that can be read."""
    size = 10.0 ** np.floor(np.log10(value))
    return float(next(step * size for step in (1, 2, 5, 10) if step * size >= value * (1 - 1e-9)))


def _line(axes: _MapAxes, paid: PayMap, name: str, along_kind: str, system: UnitSystem) -> tuple[Any, Any]:
    """Return the band of one line from which it pays, and the line itself, cut to the map."""
    import pandas as pd

    line = paid.lines[name]

    def clipped(values: np.ndarray) -> np.ndarray:
        inside = np.array([to_user(v, along_kind, system) if np.isfinite(v) else axes.top for v in values])
        return np.minimum(inside, axes.top)

    low, high = clipped(line.low), clipped(line.high)
    rows = pd.DataFrame({"x": axes.speeds, "low": low, "high": high, "y": clipped(line.value), "line": _LINES[name][0]})
    return rows[rows["low"] < axes.top], rows[np.isfinite(line.value)]


def _drawn(lines: list[pd.DataFrame]) -> alt.Chart:
    """Return the lines from which it pays, told apart by colour and dash."""
    import altair as alt
    import pandas as pd

    drawn = {line for rows in lines for line in rows["line"]}
    chosen = [k for k, (words, _) in enumerate(_LINES.values()) if words in drawn]
    names = [words for words, _ in _LINES.values() if words in drawn]
    stroke_scale = alt.Scale(domain=names, range=[stroke for words, stroke in _LINES.values() if words in drawn])
    legend = alt.Legend(orient="bottom", columns=1, labelLimit=300, symbolSize=300)
    dashes = alt.Scale(domain=names, range=[_DASHES[k] for k in chosen])
    return (
        alt.Chart(pd.concat(lines))
        .mark_line(strokeWidth=2.5)
        .encode(
            x="x:Q",
            y="y:Q",
            stroke=alt.Stroke("line:N", title="pays from here on", scale=stroke_scale, legend=legend),
            strokeDash=alt.StrokeDash("line:N", title="pays from here on", scale=dashes, legend=legend),
        )
    )
