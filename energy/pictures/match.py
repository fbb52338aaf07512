"""The picture of settings: heat over element resistance and pitch."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from energy.chain.matching import heat_map
from energy.pictures.base import BLACK, BLUE, Picture
from energy.scenario.read import Scenario

if TYPE_CHECKING:
    import pandas as pd

_X, _Y, _HEAT = "element resistance, Ω", "pitch, °", "heat, kW"
_TICKS = [m * 10.0**n for n in range(-3, 5) for m in (1, 2, 5)]  # ohm; as many as a phone has room for


def heat_over_settings(scenario: Scenario, marks: dict[str, tuple[float, float]], ratio: float) -> Picture:
    """Return a map of the heat over element resistance and pitch at one ratio; blank where a limit is passed.

    `marks` are settings to show, name -> (pitch as the dial reads, resistance in ohm). With one pitch: a line.
    """
    import altair as alt
    import pandas as pd

    resistances, pitches, heat = heat_map(scenario, ratio)
    grid_r, grid_p = np.meshgrid(resistances, pitches)
    frame = pd.DataFrame({_X: grid_r.ravel(), _Y: grid_p.ravel(), _HEAT: heat.ravel() / 1e3})
    shown = frame.dropna()
    points = pd.DataFrame(
        {"setting": list(marks), _Y: [p for p, _ in marks.values()], _X: [r for _, r in marks.values()]}
    )
    tooltip = [alt.Tooltip(f"{n}:Q", format=".1f" if n == _Y else ".3~g") for n in (_X, _Y, _HEAT)]
    if len(pitches) == 1:
        return Picture("heat_over_resistance", "", _line(shown, points, tooltip).properties(height=300), frame)
    step_r, step_p = np.sqrt(resistances[1] / resistances[0]), (pitches[1] - pitches[0]) / 2
    cells = shown.assign(r0=shown[_X] / step_r, r1=shown[_X] * step_r * 1.01)
    cells = cells.assign(p0=shown[_Y] - step_p, p1=shown[_Y] + step_p * 1.02)
    layers = alt.layer(_map(cells, tooltip), *_marks(points, frame))
    blank = alt.ViewBackground(fill="white")  # on a dark page it must not pass for the darkest heat
    return Picture("heat_over_settings", "", layers.properties(height=340, view=blank), frame)


def _line(shown: pd.DataFrame, points: pd.DataFrame, tooltip: list[Any]) -> Any:
    """Return the heat of one pitch over resistance, the settings as upright lines."""
    import altair as alt

    x = alt.X(f"{_X}:Q", scale=alt.Scale(type="log", nice=False), axis=alt.Axis(tickCount=6, format="~g"))
    base = (
        alt.Chart(shown)
        .mark_line(strokeWidth=2.5, color=BLUE, point={"opacity": 0, "size": 60})
        .encode(x=x, y=f"{_HEAT}:Q", tooltip=tooltip)
    )
    rule = alt.Chart(points).mark_rule(strokeDash=[5, 4]).encode(x=x, tooltip=["setting:N"])
    text = [
        alt.Chart(some).mark_text(align=align, dx=5 * sign, y=10).encode(x=x, text="setting:N")
        for some, align, sign in _sides(points, shown)
    ]
    return alt.layer(base, rule, *text)


def _map(cells: pd.DataFrame, tooltip: list[Any]) -> Any:
    import altair as alt

    legend = alt.Legend(orient="top", gradientLength=220, titleFontSize=13)
    return (
        alt.Chart(cells)
        .mark_rect()
        .encode(
            x=alt.X(
                "r0:Q", title=_X, scale=alt.Scale(type="log", nice=False), axis=alt.Axis(format="~g", values=_TICKS)
            ),
            x2="r1:Q",
            y=alt.Y("p0:Q", title=_Y, scale=alt.Scale(nice=False, zero=False)),
            y2="p1:Q",
            color=alt.Color(f"{_HEAT}:Q", scale=alt.Scale(scheme="cividis"), legend=legend),
            tooltip=tooltip,
        )
    )


def _sides(points: pd.DataFrame, drawn: pd.DataFrame) -> list[tuple[pd.DataFrame, Literal["left", "right"], int]]:
    """Return the settings whose names begin at their place, and those, far to the right, whose names end there."""
    middle = float(np.sqrt(drawn[_X].min() * drawn[_X].max()))  # of a logarithmic axis
    far = points[_X] > middle
    return [(points[~far], "left", 1), (points[far], "right", -1)]


def _marks(points: pd.DataFrame, drawn: pd.DataFrame) -> tuple[Any, ...]:
    """Return the settings as rings with their names, to be read on dark and light cells."""
    import altair as alt

    place = {"x": alt.X(f"{_X}:Q", axis=alt.Axis(format="~g", values=_TICKS)), "y": alt.Y(f"{_Y}:Q")}
    name: dict[str, Any] = {"dy": -8, "fontWeight": "bold", "fontSize": 13}
    shown = [alt.Tooltip(f"{_X}:Q", format=".3~g"), alt.Tooltip(f"{_Y}:Q", format=".1f")]
    rings = alt.Chart(points).mark_point(size=160, strokeWidth=3, color="white", filled=False)
    dots = alt.Chart(points).mark_point(size=90, strokeWidth=2, color=BLACK, filled=False)
    halo = {"stroke": "white", "strokeWidth": 3, "strokeOpacity": 0.9}
    names = [
        alt.Chart(some).mark_text(**name, **ink, align=align, dx=10 * sign).encode(**place, text="setting:N")
        for some, align, sign in _sides(points, drawn)
        for ink in (halo, {"color": BLACK})
    ]
    return (
        rings.encode(**place),
        dots.encode(**place, tooltip=["setting:N", *shown]),
        *names,
    )
