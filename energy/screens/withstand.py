"""What must it withstand? Loads on mount, bearing, blades and linkage, at work and in the worst case."""

from __future__ import annotations

import streamlit as st

from energy.pictures.base import BLACK, BLUE, ORANGE, Picture
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, waiting
from energy.strength.spin_up import spin_up
from energy.strength.table import StructuralLoads, structural_loads
from energy.words import answer as answer_words
from energy.words import loads as loads_words
from energy.words import spin_up as spin_words
from vehicle.problems import InputError

_HEADING = "What must it withstand?"
_MOST_MARGIN = 5.0  # what is stronger than that is drawn as that


@waiting.drawn
def _loads(bundle: Bundle) -> StructuralLoads:
    return structural_loads(desk.scenario_of(bundle))


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    try:
        table = _loads(work.usable)
    except InputError as error:
        page.cannot(work, _HEADING, "Not enough data to calculate the loads.", error.problems)
        return
    page.answer_line(work, _HEADING, loads_words.headline(table), loads_words.may_be_operated(table))
    page.cautions(loads_words.CAUTIONS)
    picture = _picture(table)
    if picture is not None:
        page.picture(
            picture, "Limit over load. At 1 the limit is reached; a rough road or a hidden flaw can take a factor of 2."
        )
    page.finding("The loads")
    page.table(
        loads_words.LOAD_COLUMNS, loads_words.load_rows(table, system), numbers=(1, 2, 3, 4), caption="The loads"
    )
    if table.thin:
        page.finding("Margins under 2, the thinnest first")
        page.bullets([loads_words.margin_sentence(row, system) for row in table.thin])
    page.finding("The two cases")
    page.table(("case", "what is in it"), loads_words.case_words(table, system), caption="The two cases")
    with st.expander(loads_words.CORNERS):
        page.table(("corner", "loads"), loads_words.corner_rows(table, system), caption=loads_words.CORNERS)
    for case, travel in table.travel.items():
        page.finding(f"Pitch linkage through its travel, {case}")
        page.bullets(loads_words.travel_words(travel, table, system))
    if table.ladder is not None:
        with st.expander("Before the first drive: spin it up in the shop, step by step"):
            result = spin_up(table.scenario)
            page.bullets(spin_words.headlines(result, None, system))
            page.table(
                loads_words.LADDER_COLUMNS, loads_words.ladder_rows(result.ladder, system), caption="Spin-up ladder"
            )
            page.table(spin_words.STEP_COLUMNS, spin_words.step_rows(result, system), caption=spin_words.STEP_TITLE)
            page.finding(spin_words.STOP_TITLE)
            page.bullets(spin_words.stop_rules(result, system))
            page.bullets(spin_words.notes(result, system))
            page.bullets(loads_words.LADDER_CAUTIONS)
    if table.left_out:
        with st.expander(f"Left out; these keys would add it ({len(table.left_out)})"):
            page.bullets(table.left_out)
    if table.notes:
        page.bullets(table.notes)
    with st.expander(f"Defaults used ({len(table.assumptions)})"):
        page.bullets([answer_words.assumption_words(entry) for entry in table.assumptions])


def _picture(table: StructuralLoads) -> Picture | None:
    """Return the least margin of every load that has a limit, as bars with the limit as a line."""
    import altair as alt
    import pandas as pd

    least: dict[str, float] = {}
    for row in table.rows:
        if row.margin is not None:
            least[row.name] = min(row.margin, least.get(row.name, float("inf")))
    if not least:
        return None
    frame = pd.DataFrame({"load": list(least), "margin": list(least.values())}).sort_values("margin")
    frame["drawn"] = frame["margin"].clip(upper=_MOST_MARGIN)
    frame["text"] = [loads_words.margin_figures(m) for m in frame["margin"]]
    frame["over"] = frame["margin"] < 1
    y = alt.Y("load:N", title=None, sort=list(frame["load"]), axis=alt.Axis(labelLimit=190))
    x = alt.X("drawn:Q", title="margin (limit over load)", scale=alt.Scale(domain=[0, _MOST_MARGIN]))
    colour = alt.Color("over:N", scale=alt.Scale(domain=[True, False], range=[ORANGE, BLUE]), legend=None)
    bars = (
        alt.Chart(frame)
        .mark_bar(height=14)
        .encode(x=x, y=y, color=colour, tooltip=["load:N", alt.Tooltip("margin:Q", format=".3~g")])
    )
    texts = alt.Chart(frame).mark_text(align="left", dx=5, color=BLACK, fontSize=13).encode(x=x, y=y, text="text:N")
    rule = alt.Chart(pd.DataFrame({"limit": [1.0]})).mark_rule(color=BLACK, strokeWidth=2).encode(x="limit:Q")
    first = frame.iloc[0]
    verdict = "is over its limit" if first["margin"] < 1 else "is the nearest to its limit"
    title = f"The {first['load']} {verdict}: margin {first['text']}"
    chart = alt.layer(bars, texts, rule).properties(height=alt.Step(26))
    return Picture("margins", title, chart, frame[["load", "margin"]])
