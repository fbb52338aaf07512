"""Pictures of a road test: the effect beside the prediction with the runs under it; the chance that a plan shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.road_plan import RoadPlan, chances
from energy.chain.road_test import RoadTest
from energy.pictures.base import BLACK, BLUE, GREEN, GREY, ORANGE, Picture
from energy.words.plan import plan_sentence

if TYPE_CHECKING:
    from vehicle.road_test.comparison import RunChange

_STATE_COLOURS = {"working": ORANGE, "stowed": BLUE, "absent": GREY}
_SHAPES = {
    "measured": "diamond",
    "predicted": "square",
    "working": "circle",
    "stowed": "triangle-up",
    "absent": "cross",
}


def effect_picture(test: RoadTest) -> Picture:
    """Return the measured effect as an interval beside the predicted one, and under it the runs, a row for each pair.

    Runs are those of the comparison, adjusted: so the lengths of the pairs' lines average to the effect.
    """
    import altair as alt
    import pandas as pd

    comparison = test.answer
    kind, change, low, high = "is", f"change of {comparison.used}, %", "lowest, %", "highest, %"
    rows: list[dict[str, Any]] = [
        {
            "row": "measured",
            kind: "measured",
            change: comparison.effect.estimate,
            low: comparison.effect.low,
            high: comparison.effect.high,
        }
    ]
    if test.predicted is not None:
        value, half = test.predicted.share, test.predicted.error
        rows.append({"row": "predicted", kind: "predicted", change: value, low: value - half, high: value + half})
    for run in sorted(comparison.changes, key=lambda run: _order(run.pair)):
        rows.append({"row": _row_of(run, comparison.changes), kind: run.state, change: run.adjusted, "run": run.name})
    frame = pd.DataFrame(rows, columns=["row", kind, change, low, high, "run"])
    frame[[change, low, high]] = 100 * frame[[change, low, high]].astype(float)
    states = [state for state in _STATE_COLOURS if (frame[kind] == state).any()]
    shown = ["measured", *(["predicted"] if test.predicted is not None else []), *states]
    colours = {"measured": BLACK, "predicted": GREEN, **_STATE_COLOURS}
    y = alt.Y("row:N", title=None, sort=list(dict.fromkeys(frame["row"])), axis=alt.Axis(labelLimit=120, grid=True))
    title = [change, f"(0: mean {comparison.without_state})"]
    x = alt.X(f"{change}:Q", title=title, axis=alt.Axis(tickCount=6))
    legend = alt.Legend(orient="top", title=None, values=states, labelFontSize=13, symbolSize=110)
    colour = alt.Color(
        f"{kind}:N", scale=alt.Scale(domain=shown, range=[colours[name] for name in shown]), legend=legend
    )
    shape = alt.Shape(
        f"{kind}:N", scale=alt.Scale(domain=shown, range=[_SHAPES[name] for name in shown]), legend=legend
    )
    numbers = [alt.Tooltip(f"{name}:Q", format="+.2f") for name in (change, low, high)]
    tooltip = ["row:N", f"{kind}:N", "run:N", *numbers]
    base = alt.Chart(frame)
    points = base.mark_point(filled=True, size=110, opacity=1).encode(
        x=x, y=y, color=colour, shape=shape, tooltip=tooltip
    )
    spans = alt.Chart(frame.dropna(subset=[low, high])).mark_rule(strokeWidth=4)
    spans = spans.encode(x=f"{low}:Q", x2=f"{high}:Q", y=y, color=colour, tooltip=tooltip)
    runs = frame[frame["run"].notna()].groupby("row", sort=False)[change].agg(["min", "max"]).reset_index()
    joins = alt.Chart(runs).mark_rule(color=GREY, strokeWidth=1.5).encode(x="min:Q", x2="max:Q", y=y)
    zero = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=BLACK, strokeDash=[5, 4]).encode(x="zero:Q")
    layers = alt.layer(zero, joins, spans, points).properties(height=alt.Step(28))
    return Picture("road_test_effect", comparison.words, layers, frame)


def _order(pair: str) -> tuple[int, float, str]:
    """Return a key that sorts pairs by number where they have one."""
    return (0, float(pair), "") if pair.isdecimal() else (1, 0.0, pair)


def _row_of(run: RunChange, runs: tuple[RunChange, ...]) -> str:
    """Return the row that a run stands in: its pair, with the direction where the pair has one, else the run alone."""
    if not run.pair:
        return run.name
    ways = {other.direction for other in runs if other.pair == run.pair}
    return f"pair {run.pair}{f', {run.direction}' if len(ways) == 1 and run.direction else ''}"


def plan_picture(plan: RoadPlan) -> Picture:
    """Return the chance that the test shows the predicted effect against the number of runs, the plan's own marked.

    Where nothing is predicted: the smallest effect that it can show with the wanted chance.
    """
    import altair as alt
    import pandas as pd

    chance = chances(plan)
    runs, pairs = "runs driven, two a pair", chance.pairs
    frame = pd.DataFrame({runs: 2 * pairs, "pairs": pairs, "smallest effect, %": 100 * chance.smallest_effect})
    if chance.chance is None or chance.chance_low is None or chance.chance_high is None:
        value, title, domain = (
            "smallest effect, %",
            f"smallest effect shown with {100 * plan.power:.0f} % chance, %",
            None,
        )
    else:
        value = title = "chance to show it, %"
        domain = [0, 100]
        frame[value] = 100 * chance.chance
        frame["if the effect is as small as may be, %"] = 100 * chance.chance_low
        frame["if it is as large as may be, %"] = 100 * chance.chance_high
    x = alt.X(f"{runs}:Q", axis=alt.Axis(tickMinStep=2, format="d", tickCount=8), scale=alt.Scale(nice=False))
    scale = alt.Scale(domain=domain) if domain else alt.Scale(zero=True)
    y = alt.Y(f"{value}:Q", title=title, scale=scale)
    tooltip = [alt.Tooltip(f"{name}:Q", format=".3~g") for name in frame.columns]
    line = alt.Chart(frame).mark_line(strokeWidth=2.5, color=BLUE, point={"color": BLUE, "size": 40})
    layers: list[Any] = [line.encode(x=x, y=y, tooltip=tooltip)]
    if chance.chance is not None:
        area = alt.Chart(frame).mark_area(opacity=0.2, color=BLUE)
        low, high = frame.columns[-2:]
        layers.insert(0, area.encode(x=x, y=alt.Y(f"{low}:Q", title=title, scale=scale), y2=f"{high}:Q"))
        wanted = pd.DataFrame({value: [100 * plan.power], "words": [f"wanted: {100 * plan.power:.0f} %"]})
        rule = alt.Chart(wanted).mark_rule(color=BLACK, strokeDash=[5, 4]).encode(y=f"{value}:Q")
        text = alt.Chart(wanted).mark_text(align="right", dx=-4, dy=-8, fontSize=13, color=BLACK)
        layers += [rule, text.encode(x=alt.value("width"), y=f"{value}:Q", text="words:N")]
    here = frame[pairs == plan.pairs_planned].assign(words=f"planned: {2 * plan.pairs_planned} runs")
    ring = alt.Chart(here).mark_point(size=200, strokeWidth=3, color=ORANGE, filled=False, opacity=1)
    late = bool(np.searchsorted(pairs, plan.pairs_planned) > 0.5 * len(pairs))
    label = alt.Chart(here).mark_text(
        align="right" if late else "left", dx=-12 if late else 12, dy=16, fontSize=13, fontWeight="bold", color=BLACK
    )
    layers += [ring.encode(x=x, y=y, tooltip=tooltip), label.encode(x=x, y=y, text="words:N")]
    return Picture("road_test_plan", plan_sentence(plan), alt.layer(*layers).properties(height=300), frame)
