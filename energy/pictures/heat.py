"""Pictures of heating up: temperature over time with its band, and what a fit misses of a log."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.pictures.base import COLOURS
from energy.words.heat import BAND_NOTE
from vehicle.units import UnitSystem, label, to_user

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from energy.heat.fit import Residuals
    from energy.heat.heater import TemperatureBand


def heating_chart(
    bands: Sequence[tuple[str, TemperatureBand]], target_k: float, title: str, system: UnitSystem
) -> alt.TopLevelMixin:
    """Return temperature over time of named curves, each with its band, and the target as a level line."""
    import altair as alt

    layers, _, shaded = heating_layers(bands, target_k, system)
    return (
        layers.properties(width=640, height=360, title=alt.TitleParams(_wrapped(title, 88), subtitle=shaded))
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
    shaded = BAND_NOTE if drawn else ""
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
        .properties(title=alt.TitleParams(_wrapped(title, 70 * len(columns))))
        .configure_title(fontSize=14, anchor="start")
        .configure_axis(labelFontSize=12, titleFontSize=13)
    )


def _temperatures(kelvin: np.ndarray, system: UnitSystem) -> np.ndarray:
    """Return temperatures in the user's unit."""
    zero, one = to_user(0.0, "temperature", system), to_user(1.0, "temperature", system)
    return np.asarray(zero + kelvin * (one - zero))


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width)
