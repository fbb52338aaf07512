"""Pictures of results, as Altair charts: units on every axis, a title that states the finding. Saved without a network."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from vehicle.files import write_whole
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem, label, to_user

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from energy.aero.curves import RotorCurves
    from energy.chain.payback import Payback, PayMap
    from energy.heat.fit import Residuals
    from energy.heat.heater import TemperatureBand

PICTURE_KINDS = (".svg", ".png", ".html")
# Colours that stay apart for colour-blind readers (Okabe & Ito 2008, from memory), darkest first.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
MOST_LINES = 7


def checked_picture(path: Path) -> Path:
    """Return `path` if a picture can be written there; InputError for another kind of file or a folder that is not there."""
    if path.suffix.lower() not in PICTURE_KINDS:
        raise InputError(
            Problem(str(path), "", f"a picture of kind {path.suffix or '(none)'}", ", ".join(PICTURE_KINDS))
        )
    if not path.parent.is_dir():
        raise InputError(Problem(str(path), "", f"no folder {path.parent}", "a file in an existing folder"))
    return path


def save(chart: alt.TopLevelMixin, path: Path) -> None:
    """Write a chart as SVG, PNG or self-contained HTML, whole or not at all. Raises InputError where it cannot."""
    checked_picture(path)
    kind = path.suffix.lower()
    content: bytes
    if kind == ".png":
        picture = io.BytesIO()
        chart.save(picture, format="png", scale_factor=2.0)
        content = picture.getvalue()
    else:
        text = io.StringIO()
        if kind == ".svg":
            chart.save(text, format="svg")
        else:
            chart.save(text, format="html", inline=True)
        content = text.getvalue().encode()
    try:
        write_whole(path, content)
    except OSError as error:
        raise InputError(
            Problem(str(path), "", f"cannot be written ({error.strerror})", "a file you may write")
        ) from None


def curves_chart(curves: RotorCurves, title: str) -> alt.TopLevelMixin:
    """Return power and thrust coefficient over tip-speed ratio, a line for each of up to seven pitches."""
    import altair as alt
    import pandas as pd

    best_row = int(np.argmax(curves.power_coefficient.max(axis=1)))
    useful = np.flatnonzero(curves.power_coefficient.max(axis=1) > 0.1 * curves.power_coefficient.max())
    rows = useful if useful.size else np.arange(len(curves.pitch_deg))
    if len(rows) > MOST_LINES:
        spread = rows[np.linspace(0, len(rows) - 1, MOST_LINES - 1).round().astype(int)]
        rows = np.unique([*spread, best_row])
    frames = []
    for row in rows:
        for what, values in (
            ("power coefficient", curves.power_coefficient),
            ("thrust coefficient", curves.thrust_coefficient),
        ):
            frames.append(
                pd.DataFrame(
                    {
                        "tip-speed ratio": curves.tip_speed_ratio,
                        "value": values[row],
                        "pitch": f"{curves.pitch_deg[row]:g}°",
                        "what": what,
                        "order": float(curves.pitch_deg[row]),
                    }
                )
            )
    table = pd.concat(frames)
    table = table[(table["value"] > -0.3) & (table["value"] < 1.6)]
    pitches = [f"{curves.pitch_deg[row]:g}°" for row in rows]
    base = alt.Chart(table).mark_line(clip=True, strokeWidth=2)
    panels = []
    for what, limit in (("power coefficient", 16 / 27), ("thrust coefficient", None)):
        highest = float(table.loc[table["what"] == what, "value"].max())
        lines = base.transform_filter(alt.datum.what == what).encode(
            x=alt.X(
                "tip-speed ratio:Q",
                title="tip-speed ratio (tip speed / air speed)",
                scale=alt.Scale(domain=[0, float(curves.tip_speed_ratio[-1])]),
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
        panels.append(panel.properties(width=360, height=300))
    return (
        alt.hconcat(*panels)
        .properties(title=title)
        .configure_title(fontSize=15, anchor="start")
        .configure_axis(labelFontSize=12, titleFontSize=13)
    )


def payback_chart(found: Payback, title: str, system: UnitSystem = "metric") -> alt.TopLevelMixin:
    """Return two maps over road speed, head wind and descent: heat less drag power as colour, and the lines where it pays.

    The bands hold 90 % of the lines of the draws.
    """
    import altair as alt

    wind, descent = (
        pay_map(paid, along, kind, lines, system)[0].properties(
            width=380, height=300, title=f"over {along}, with 90 % bands"
        )
        for paid, along, kind, lines in (
            (found.wind, "head wind", "speed", ("alternator", "energy")),
            (found.descent, "descent", "share", ("fuel", "alternator")),
        )
    )
    return (
        alt.hconcat(wind, descent)
        .resolve_scale(color="independent")
        .properties(title=alt.TitleParams(title, anchor="start"))
    )


_PAY_LINES = {
    "fuel": ("heat is free of fuel", COLOURS[2]),
    "alternator": ("cheaper than the alternator", COLOURS[1]),
    "energy": ("heat above drag power", COLOURS[6]),
}


def pay_map(
    paid: PayMap, along_name: str, along_kind: str, shown_lines: tuple[str, ...], system: UnitSystem
) -> tuple[Any, pd.DataFrame]:
    """Return one map of when it pays, without title or size, and the numbers behind its colours."""
    import altair as alt
    import pandas as pd

    speeds = np.array([to_user(v, "speed", system) for v in paid.speeds_m_s])
    along = np.array([to_user(v, along_kind, system) for v in paid.along])
    x_title = f"road speed ({label('speed', system)})"
    y_title = f"{along_name} ({label(along_kind, system)})"
    first = "energy" if along_name == "head wind" else "fuel"
    colour_title = "heat less drag power (kW)" if first == "energy" else "change in fuel power, saved (kW)"
    half_x, half_y = (speeds[1] - speeds[0]) / 2, (along[1] - along[0]) / 2
    cells = pd.DataFrame(
        {
            "x": np.repeat(speeds[None], len(along), axis=0).ravel() - half_x,
            "x2": np.repeat(speeds[None], len(along), axis=0).ravel() + half_x,
            "y": np.maximum(np.repeat(along[:, None], len(speeds), axis=1).ravel() - half_y, 0.0),
            "y2": np.repeat(along[:, None], len(speeds), axis=1).ravel() + half_y,
            "kW": paid.balances[first].ravel() / 1e3,
            "speed": np.repeat(speeds[None], len(along), axis=0).ravel(),
            "along": np.repeat(along[:, None], len(speeds), axis=1).ravel(),
        }
    )
    most = max(float(np.abs(cells["kW"]).max()), 1e-3)
    # One wide domain would paint all but the fastest corner white.
    colour = alt.Scale(scheme="blueorange", reverse=True, type="symlog", constant=most / 30, domain=[-most, most])
    x_scale = alt.Scale(domain=[float(speeds[0] - half_x), float(speeds[-1] + half_x)], nice=False)
    y_scale = alt.Scale(domain=[0.0, float(along[-1] + half_y)], nice=False)
    base = (
        alt.Chart(cells)
        .mark_rect()
        .encode(
            x=alt.X("x:Q", title=x_title, scale=x_scale),
            x2="x2",
            y=alt.Y("y:Q", title=y_title, scale=y_scale),
            y2="y2",
            color=alt.Color(
                "kW:Q",
                title=colour_title,
                scale=colour,
                legend=alt.Legend(orient="top", gradientLength=240, titleLimit=320, tickCount=5, labelOverlap="greedy"),
            ),
            tooltip=[
                alt.Tooltip("speed:Q", title=x_title, format=".3~g"),
                alt.Tooltip("along:Q", title=y_title, format=".3~g"),
                alt.Tooltip("kW:Q", title=colour_title, format="+.3~g"),
            ],
        )
    )
    layers: list[alt.Chart] = [base]
    drawn_lines: list[pd.DataFrame] = []
    for name in shown_lines:
        line = paid.lines[name]
        words, stroke = _PAY_LINES[name]
        top = along[-1] + half_y

        def clipped(values: np.ndarray, top: float = top) -> np.ndarray:
            inside = np.array([to_user(v, along_kind, system) if np.isfinite(v) else top for v in values])
            return np.minimum(inside, top)

        low, high = clipped(line.low), clipped(line.high)
        rows = pd.DataFrame({"x": speeds, "low": low, "high": high, "y": clipped(line.value), "line": words})
        band = rows[rows["low"] < top]
        middle = rows[np.isfinite(line.value)]
        if len(band):
            layers.append(alt.Chart(band).mark_area(opacity=0.3, color=stroke).encode(x="x:Q", y="low:Q", y2="high"))
        if len(middle):
            drawn_lines.append(middle)
    if drawn_lines:
        stroke_scale = alt.Scale(
            domain=[words for words, _ in _PAY_LINES.values()], range=[stroke for _, stroke in _PAY_LINES.values()]
        )
        legend = alt.Legend(orient="bottom", columns=1, labelLimit=300, symbolSize=300)
        dashes = alt.Scale(domain=[words for words, _ in _PAY_LINES.values()], range=[[1, 0], [6, 3], [2, 2]])
        layers.append(
            alt.Chart(pd.concat(drawn_lines))
            .mark_line(strokeWidth=2.5)
            .encode(
                x="x:Q",
                y="y:Q",
                stroke=alt.Stroke("line:N", title="pays from here on", scale=stroke_scale, legend=legend),
                strokeDash=alt.StrokeDash("line:N", title="pays from here on", scale=dashes, legend=legend),
            )
        )
    table = cells[["speed", "along", "kW"]].set_axis([x_title, y_title, colour_title], axis=1)
    return alt.layer(*layers).resolve_scale(color="independent"), table


def heating_chart(
    bands: Sequence[tuple[str, TemperatureBand]], target_k: float, title: str, system: UnitSystem
) -> alt.TopLevelMixin:
    """Return temperature over time of named curves, each with its band, and the target as a level line."""
    import altair as alt

    layers, _, shaded = heating_layers(bands, target_k, system)
    return (
        layers.properties(width=640, height=360, title=alt.TitleParams(_lines(title, 88), subtitle=shaded))
        .configure_title(fontSize=14, anchor="start", subtitleColor="#555")
        .configure_axis(labelFontSize=12, titleFontSize=13)
    )


def heating_layers(
    bands: Sequence[tuple[str, TemperatureBand]], target_k: float, system: UnitSystem
) -> tuple[Any, pd.DataFrame, str]:
    """Return the layers of temperature over time without title or size, their numbers, and what is shaded."""
    import altair as alt
    import pandas as pd

    longest = max(float(band.time_s[-1]) for _, band in bands)
    unit, seconds = ("h", 3600.0) if longest > 3 * 3600 else ("min", 60.0)
    frames = [
        pd.DataFrame(
            {
                "time": band.time_s / seconds,
                "temperature": _temperatures(band.middle_k, system),
                "low": _temperatures(band.low_k, system),
                "high": _temperatures(band.high_k, system),
                "what": name,
            }
        )
        for name, band in bands
    ]
    table = pd.concat(frames)
    name = f"temperature ({label('temperature', system)})"
    x = alt.X("time:Q", title=f"time ({unit})", scale=alt.Scale(domain=[0, longest / seconds], nice=False))
    names = [what for what, _ in bands]
    colour = alt.Color(
        "what:N",
        title=None,
        sort=names,
        scale=alt.Scale(domain=names, range=list(COLOURS[: len(names)])),
        legend=alt.Legend(orient="bottom", labelFontSize=12, symbolType="stroke", symbolStrokeWidth=4, symbolOpacity=1)
        if len(names) > 1
        else None,
    )
    y = alt.Y("temperature:Q", title=name, scale=alt.Scale(zero=False))
    area = alt.Chart(table).mark_area(opacity=0.18).encode(x=x, y=alt.Y("low:Q", title=name), y2="high:Q", color=colour)
    line = (
        alt.Chart(table)
        .mark_line(strokeWidth=2.5)
        .encode(
            x=x,
            y=y,
            color=colour,
            strokeDash=alt.StrokeDash("what:N", sort=names, legend=None),
            tooltip=[
                "what:N",
                alt.Tooltip("time:Q", title=f"time ({unit})", format=".1f"),
                alt.Tooltip("temperature:Q", title=name, format=".1f"),
            ],
        )
    )
    level = float(_temperatures(np.array([target_k]), system)[0])
    mark = pd.DataFrame({"target": [level], "text": [f"target {level:.3g} {label('temperature', system)}"]})
    rule = alt.Chart(mark).mark_rule(strokeDash=[3, 3], color="#444").encode(y="target:Q")
    text = alt.Chart(mark).mark_text(align="left", dx=4, dy=-7, x=0).encode(y="target:Q", text="text:N")
    drawn = any(bool((band.high_k > band.low_k).any()) for _, band in bands)
    shaded = "line: the values as stated; shaded: 9 draws out of 10 over all that is uncertain" if drawn else ""
    return alt.layer(area, line, rule, text), table, shaded


def residual_chart(logs: Sequence[Residuals], title: str, system: UnitSystem) -> alt.TopLevelMixin:
    """Return logged and fitted temperature over time, and beneath what the fit misses; a column for each log."""
    import altair as alt
    import pandas as pd

    unit = label("temperature", system)
    columns = []
    for entry in logs:
        minutes = entry.time_s / 60.0
        logged = _temperatures(entry.fitted_k + entry.residual_k, system)
        fitted = _temperatures(entry.fitted_k, system)
        table = pd.DataFrame({"time": minutes, "logged": logged, "fitted": fitted, "missed": logged - fitted})
        table = table.iloc[:: max(1, len(table) // 2000)]
        x = alt.X("time:Q", title="time (min)")
        points = (
            alt.Chart(table)
            .mark_circle(size=14, color=COLOURS[0], opacity=0.6)
            .encode(x=x, y=alt.Y("logged:Q", title=f"temperature ({unit})", scale=alt.Scale(zero=False)))
        )
        line = alt.Chart(table).mark_line(color=COLOURS[1], strokeWidth=2).encode(x=x, y="fitted:Q")
        missed = (
            alt.Chart(table)
            .mark_circle(size=14, color=COLOURS[0], opacity=0.6)
            .encode(x=x, y=alt.Y("missed:Q", title=f"logged − fitted ({label('temperature_difference', system)})"))
        )
        zero = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=COLOURS[1]).encode(y="zero:Q")
        upper = alt.layer(points, line).properties(
            width=420, height=240, title=f"{entry.name}: dots logged, line fitted"
        )
        columns.append(alt.vconcat(upper, alt.layer(missed, zero).properties(width=420, height=130)))
    return (
        alt.hconcat(*columns)
        .properties(title=alt.TitleParams(_lines(title, 70 * len(columns))))
        .configure_title(fontSize=14, anchor="start")
        .configure_axis(labelFontSize=12, titleFontSize=13)
    )


def _temperatures(kelvin: np.ndarray, system: UnitSystem) -> np.ndarray:
    """Return temperatures in the user's unit."""
    zero, one = to_user(0.0, "temperature", system), to_user(1.0, "temperature", system)
    return np.asarray(zero + kelvin * (one - zero))


def _lines(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width)
