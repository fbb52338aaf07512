"""Pictures of what was measured, and of the size that is wanted: the finding as title, the numbers behind it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.sizing import sized
from energy.pictures.base import BLACK, BLUE, GREEN, GREY, ORANGE, Picture, escaped
from energy.words import pitch as pitch_words
from energy.words import reconcile as reconcile_words
from energy.words import shortfall as shortfall_words
from energy.words import size as size_words
from energy.words import tune as tune_words
from vehicle.units import UnitSystem, label, show, to_user

if TYPE_CHECKING:
    from energy.chain.sizing import SizingTable, Wanted
    from energy.diagnosis.reconcile import Reconciled
    from energy.diagnosis.shortfall import Shortfall
    from energy.diagnosis.true_pitch import MeasuredRows, TruePitch
    from energy.diagnosis.tuning import Tuned
    from energy.scenario.read import Scenario

_MOST_DRAWN = 240  # rows, evenly picked: more hide each other
_AROUND_DEG = 3.0  # shown above and below what is told of the pitch
_DIAMETERS = 81
_USUAL, _POOR, _GOOD = 1, 2, 3  # grades of a SizingTable
_LEGEND: dict[str, Any] = {"orient": "top", "labelFontSize": 13, "labelLimit": 330, "columns": 1}


def pitch_picture(scenario: Scenario, result: TruePitch, rows: MeasuredRows, system: UnitSystem) -> Picture:
    """Return the pitch that explains each row as an interval, over the dial where it was logged, else over the row's
    number.

    The pitch that explains all rows is a band; the dashed line is what the dial read, or what the scenario says.
    """
    import altair as alt

    own = None if scenario.rotor.pitch is None else scenario.rotor.pitch.value
    x_name = "row" if rows.dial_deg is None else "dial, °"
    air_name = f"air speed, {label('speed', system)}"
    frame = _pitch_rows(result, rows, x_name)
    frame[air_name] = [to_user(float(v), "speed", system) for v in rows.air_speed_m_s[frame["row"] - 1]]
    band, line = _pitch_band(result, rows, own, x_name)
    low, high = _pitch_range(frame, band, line)
    across = alt.X(f"{x_name}:Q", title="row of the file" if rows.dial_deg is None else "pitch that the dial read, °")
    across = across.scale(zero=False, nice=False, padding=18)
    up = alt.Y("from:Q", title="pitch of the blades, °", scale=alt.Scale(domain=[low, high], nice=False))
    tooltip = [
        alt.Tooltip("row:Q", title="row of the file"),
        *(() if rows.dial_deg is None else (alt.Tooltip("dial read, °:Q", format=".3~g"),)),
        *(alt.Tooltip(f"{n}:Q", format=".1f") for n in ("from", "to", "stalled side", "unstalled side")),
        alt.Tooltip(f"{air_name}:Q", format=".1f"),
    ]
    fits = frame[frame["fits"]]
    layers: list[Any] = []
    if len(band):
        area = alt.Chart(band).mark_area(color=BLUE, opacity=0.22, clip=True)
        layers.append(area.encode(x=across, y=up, y2="to:Q"))
    bars = alt.Chart(fits).mark_rule(color=GREY, strokeWidth=2, opacity=0.6, clip=True)
    layers.append(bars.encode(x=across, y=up, y2="to:Q", tooltip=tooltip))
    sides = ["stalled side", "unstalled side"]
    points = fits.melt(id_vars=[x_name], value_vars=sides, var_name="each row", value_name="pitch, °").dropna()
    kind = alt.Scale(domain=sides, range=[ORANGE, BLUE])
    shape = alt.Scale(domain=sides, range=["triangle-up", "circle"])
    layers.append(
        alt.Chart(points)
        .mark_point(filled=True, size=55, opacity=1, clip=True)
        .encode(
            x=across,
            y="pitch, °:Q",
            color=alt.Color("each row:N", scale=kind, legend=alt.Legend(**_LEGEND)),
            shape=alt.Shape("each row:N", scale=shape),
            tooltip=["each row:N", alt.Tooltip("pitch, °:Q", format=".1f")],
        )
    )
    if len(line):
        dashed = alt.Chart(line).mark_line(color=BLACK, strokeDash=[6, 4], strokeWidth=2, clip=True)
        layers.append(dashed.encode(x=across, y=up))
    title = " ".join([pitch_words.headline(result), *pitch_words.dial_words(scenario, result, rows)[:1]])
    table = frame.drop(columns=[c for c in ("dial, °",) if c in frame.columns])
    return Picture("true_pitch", title, alt.layer(*layers).properties(height=340), table)


def _pitch_rows(result: TruePitch, rows: MeasuredRows, x_name: str) -> Any:
    """Return the rows that are drawn; those of one reading of the dial stand side by side, so that all are seen."""
    import pandas as pd

    per = result.rows
    count = len(rows.air_speed_m_s)
    keep = np.unique(np.linspace(0, count - 1, min(count, _MOST_DRAWN)).round().astype(int))
    frame = pd.DataFrame(
        {
            "row": keep + 1,
            "from": per.low_deg[keep],
            "to": per.high_deg[keep],
            "stalled side": per.stalled_deg[keep],
            "unstalled side": per.unstalled_deg[keep],
            "fits": per.used[keep] & per.explained[keep],
        }
    )
    if rows.dial_deg is not None:
        dial = rows.dial_deg[keep]
        frame["dial read, °"] = dial
        steps = np.diff(np.unique(dial))
        room = 0.6 * float(steps.min()) if len(steps) else 1.0
        order, sizes = frame.groupby("dial read, °").cumcount(), frame.groupby("dial read, °")["row"].transform("size")
        frame[x_name] = dial + room * ((order + 0.5) / sizes - 0.5)
    return frame


def _pitch_band(result: TruePitch, rows: MeasuredRows, own: float | None, x_name: str) -> tuple[Any, Any]:
    """Return the band of the pitch found and the dashed line of what dial or scenario say, each at two places."""
    import pandas as pd

    columns = [x_name, "from", "to"]
    if rows.dial_deg is None:
        ends = np.array([0.5, len(rows.air_speed_m_s) + 0.5])
        band = [] if result.pitch_deg is None else [(x, result.pitch_deg.low, result.pitch_deg.high) for x in ends]
        line = [] if own is None else [(x, own, own) for x in ends]
    else:
        ends = np.array([rows.dial_deg.min() - 0.5, rows.dial_deg.max() + 0.5])
        offset = result.offset_deg
        band = (
            [] if offset is None or result.pitch_deg is None else [(x, x + offset.low, x + offset.high) for x in ends]
        )
        line = [(x, x, x) for x in ends]
    return pd.DataFrame(band, columns=columns), pd.DataFrame(line, columns=columns)


def _pitch_range(frame: Any, band: Any, line: Any) -> tuple[float, float]:
    """Return the range of pitch that is drawn: all that is told, and not the whole of the widest bars."""
    values = np.concatenate(
        [
            frame[["stalled side", "unstalled side"]].to_numpy(float).ravel(),
            band[["from", "to"]].to_numpy(float).ravel(),
            line[["from", "to"]].to_numpy(float).ravel(),
        ]
    )
    values = values[np.isfinite(values)]
    if not len(values):
        values = frame[["from", "to"]].to_numpy(float).ravel()
        values = values[np.isfinite(values)]
    if not len(values):
        return 0.0, 10.0
    return math.floor(values.min() - _AROUND_DEG), math.ceil(values.max() + _AROUND_DEG)


def tuned_picture(result: Tuned) -> Picture:
    """Return the power coefficient of every setting with its interval, the best setting as a band, the next as a
    line.
    """
    import altair as alt
    import pandas as pd

    x_name = {"pitch": "pitch, °", "resistance": "resistance, Ω", "ratio": "ratio"}[result.kind]
    frame = pd.DataFrame(
        [(s.setting, s.power_coefficient, s.low, s.high, s.mean_w, s.peak_w) for s in result.settings],
        columns=[x_name, "power coefficient", "low", "high", "mean, W", "peak, W"],
    )
    curve = pd.DataFrame({x_name: result.curve_setting, "power coefficient": result.curve})
    kind: Any = "linear" if result.kind == "pitch" else "log"
    across = alt.X(f"{escaped(x_name)}:Q", title=x_name)
    across = across.scale(alt.Scale(type=kind, zero=False, nice=False, padding=24))
    up = alt.Y(
        "power coefficient:Q", title="power coefficient (watts over the wind's own)", scale=alt.Scale(zero=False)
    )
    tooltip = [alt.Tooltip(f"{escaped(n)}:Q", title=n, format=".4~g") for n in frame.columns]
    band = pd.DataFrame([(result.low, result.high)], columns=[x_name, "high"])
    layers: list[Any] = [alt.Chart(band).mark_rect(color=BLUE, opacity=0.16).encode(x=across, x2="high:Q")]
    layers.append(alt.Chart(curve).mark_line(color=BLUE, strokeWidth=2).encode(x=across, y=up))
    whiskers = alt.Chart(frame).mark_rule(color=BLACK, strokeWidth=3)
    layers.append(whiskers.encode(x=across, y="low:Q", y2="high:Q", tooltip=tooltip))
    points = alt.Chart(frame).mark_point(filled=True, size=90, opacity=1, color=BLACK)
    layers.append(points.encode(x=across, y=up, tooltip=tooltip))
    marks = [("best", result.best, BLUE, [1, 0])] if result.best_is_known else []
    marks.append(("try next", result.next, ORANGE, [6, 4]))
    names = [f"{name}: {tune_words.setting_words(result.kind, value)}" for name, value, _, _ in marks]
    rules = pd.DataFrame({x_name: [value for _, value, _, _ in marks], "setting": names})
    layers.append(
        alt.Chart(rules)
        .mark_rule(strokeWidth=2.5)
        .encode(
            x=across,
            color=alt.Color(
                "setting:N",
                title=None,
                scale=alt.Scale(domain=names, range=[colour for _, _, colour, _ in marks]),
                legend=alt.Legend(**_LEGEND, symbolType="stroke", symbolStrokeWidth=3, symbolSize=400),
            ),
            strokeDash=alt.StrokeDash(
                "setting:N", title=None, scale=alt.Scale(domain=names, range=[dash for _, _, _, dash in marks])
            ),
            tooltip=["setting:N"],
        )
    )
    title = " ".join(tune_words.headlines(result))
    return Picture("best_setting_of_the_sweep", title, alt.layer(*layers).properties(height=340), frame)


def reconciled_picture(result: Reconciled, system: UnitSystem) -> Picture:
    """Return how far the model misses every reading, before and after, in the reading's own ±."""
    import altair as alt
    import pandas as pd

    show_kind = reconcile_words.KINDS
    rows = []
    for row in result.readings:
        half = 1.96 * row.standard_deviation
        name = f"{row.reading.replace('_', ' ')}, {row.what or f'result {row.result}'}"
        for when, value in (("before the readings", row.before), ("with the readings", row.after)):
            shown = show(value, show_kind[row.reading], system, digits=3)
            rows.append((name, when, (value - row.value) / half, shown, reconcile_words.read_words(row, system)))
    columns = ["reading", "model", "off by", "model says", "was read"]
    frame = pd.DataFrame(rows, columns=columns)
    frame["reading"] = _apart(list(frame["reading"]))
    order = list(dict.fromkeys(frame["reading"]))
    reach = max(1.5, 1.1 * float(frame["off by"].abs().max()))
    x = alt.X("off by:Q", title="model off by, in the reading's ±", scale=alt.Scale(domain=[-reach, reach]))
    y = alt.Y("reading:N", title=None, sort=order, axis=alt.Axis(labelLimit=150, labelExpr="split(datum.label, ', ')"))
    whens = ["before the readings", "with the readings"]
    band = alt.Chart(pd.DataFrame({"low": [-1.0], "high": [1.0]})).mark_rect(color=GREEN, opacity=0.18)
    zero = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=BLACK, strokeWidth=2)
    paths = alt.Chart(frame).mark_line(color=GREY, strokeWidth=2).encode(x=x, y=y, detail="reading:N")
    points = (
        alt.Chart(frame)
        .mark_point(filled=True, size=130, opacity=1)
        .encode(
            x=x,
            y=y,
            color=alt.Color(
                "model:N",
                title=None,
                scale=alt.Scale(domain=whens, range=[ORANGE, BLUE]),
                legend=alt.Legend(**_LEGEND),
            ),
            shape=alt.Shape("model:N", title=None, scale=alt.Scale(domain=whens, range=["diamond", "circle"])),
            tooltip=["reading:N", "was read:N", "model:N", "model says:N", alt.Tooltip("off by:Q", format="+.2f")],
        )
    )
    layers = alt.layer(band.encode(x="low:Q", x2="high:Q"), zero.encode(x="zero:Q"), paths, points)
    worst = max(result.readings, key=lambda row: abs(row.miss_before))
    kind = show_kind[worst.reading]
    title = (
        f"The {worst.reading.replace('_', ' ')} was read as {reconcile_words.read_words(worst, system)}; the scenario "
        f"alone says "
        f"{show(worst.before, kind, system, digits=3)}, with the readings {show(worst.after, kind, system, digits=3)}"
    )
    return Picture("readings_against_the_model", title, layers.properties(height=alt.Step(44)), frame)


def _apart(names: list[str]) -> list[str]:
    """Return the names of pairs of rows, numbered where two pairs have the same."""
    pairs = names[::2]
    labels = [f"{name} ({k + 1})" if pairs.count(name) > 1 else name for k, name in enumerate(pairs)]
    return [name for name in labels for _ in range(2)]


def size_picture(wanted: Wanted, table: SizingTable, system: UnitSystem) -> Picture:
    """Return over the diameter the most heat that a hand-made rotor gives, and the drag power paid for the heat
    wanted.
    """
    import altair as alt
    import pandas as pd

    x_name = f"diameter, {label('length', system)}"
    own = float(table.needed_diameter_m[_USUAL])
    diameters = np.unique([own, *np.linspace(float(table.diameter_m[0]), float(table.diameter_m[-1]), _DIAMETERS)])
    fine = sized(wanted, diameters)
    x = [to_user(float(v), "length", system) for v in diameters]
    heat, drag = "most heat it can give", "drag power, giving the heat wanted"
    paid = np.where(fine.enough[_USUAL], fine.drag_power_w[_USUAL], np.nan)
    frame = pd.concat(
        [
            pd.DataFrame({x_name: x, "what": heat, "power, kW": fine.largest_heat_w[_USUAL] / 1e3}),
            pd.DataFrame({x_name: x, "what": drag, "power, kW": paid / 1e3}).dropna(),
        ]
    )
    spread = pd.DataFrame(
        {x_name: x, "low": fine.largest_heat_w[_POOR] / 1e3, "high": fine.largest_heat_w[_GOOD] / 1e3}
    )
    across = alt.X(f"{escaped(x_name)}:Q", title=f"rotor {x_name}", scale=alt.Scale(zero=False, nice=False))
    up = alt.Y("power, kW:Q", title="power, kW")
    names = [heat, drag]
    lines = (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5, point={"opacity": 0, "size": 60})
        .encode(
            x=across,
            y=up,
            color=alt.Color(
                "what:N",
                title=None,
                scale=alt.Scale(domain=names, range=[BLUE, ORANGE]),
                legend=alt.Legend(**_LEGEND, symbolType="stroke", symbolStrokeWidth=3, symbolSize=400),
            ),
            strokeDash=alt.StrokeDash("what:N", title=None, scale=alt.Scale(domain=names, range=[[1, 0], [6, 3]])),
            tooltip=[
                "what:N",
                *(alt.Tooltip(f"{escaped(n)}:Q", title=n, format=".3~g") for n in (x_name, "power, kW")),
            ],
        )
    )
    area = alt.Chart(spread).mark_area(color=BLUE, opacity=0.2).encode(x=across, y="low:Q", y2="high:Q")
    needed = pd.DataFrame({x_name: [to_user(own, "length", system)]})
    needed["power, kW"] = table.wanted_heat_w / 1e3
    ring = alt.Chart(needed).mark_point(size=160, strokeWidth=2.5, color=BLACK, filled=False).encode(x=across, y=up)
    layers = alt.layer(area, lines, *_heat_wanted(table, up), ring).properties(height=320)
    return Picture("size_for_the_heat", size_words.sentence(table, wanted.road_speed_m_s, system), layers, frame)


def _heat_wanted(table: SizingTable, up: Any) -> tuple[Any, Any]:
    """Return the heat that is wanted as a rule, and its name."""
    import altair as alt
    import pandas as pd

    wish = alt.Chart(pd.DataFrame({"power, kW": [table.wanted_heat_w / 1e3], "what": ["heat wanted"]}))
    rule = wish.mark_rule(color=BLACK, strokeDash=[4, 3], strokeWidth=2)
    name = wish.mark_text(align="left", dx=6, dy=-8, fontSize=13, color=BLACK)
    return (
        rule.encode(y=up, tooltip=["what:N", "power, kW:Q"]),
        name.encode(x=alt.value(0), y=up, text="what:N"),
    )


def shortfall_picture(result: Shortfall) -> Picture:
    """Return how likely each cause of few watts is, most likely first."""
    import altair as alt
    import pandas as pd

    names = [shortfall_words.CAUSE_NAMES[c.cause] for c in result.causes]
    frame = pd.DataFrame(
        {
            "cause": names,
            "probability, %": [100 * c.probability for c in result.causes],
            "watts lost, W": [c.watts_lost for c in result.causes],
        }
    )
    up = alt.Y("cause:N", sort=names, title=None, axis=alt.Axis(labelLimit=330))
    across = alt.X("probability, %:Q", title="probability, %", scale=alt.Scale(domain=[0, 100]))
    tooltip = ["cause:N", *(alt.Tooltip(f"{n}:Q", format=".3~g") for n in ("probability, %", "watts lost, W"))]
    bars = alt.Chart(frame).mark_bar(color=BLUE).encode(x=across, y=up, tooltip=tooltip)
    return Picture("causes_of_few_watts", shortfall_words.headline(result), bars.properties(height=alt.Step(26)), frame)
