"""Pictures of an answer: the finding as title, the chart, the numbers behind it; to PNG, SVG and CSV without a network."""

from __future__ import annotations

import io
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.answer import Answered
from energy.chain.ledger import Answer, TurbineAtWork, answer, turbine_at_work
from energy.chain.matching import limit_shares
from energy.pictures.charts import COLOURS
from energy.scenario.inputs import correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.words.answer import conditions
from vehicle.units import UnitSystem, figures, label, show, to_user

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

BLUE, ORANGE, GREEN = COLOURS[0], COLOURS[1], COLOURS[2]
GREY, BLACK = "#8a949c", "#101418"
_BAND_DRAWS = 128  # a power of two, for shares that fill the cube evenly
_FILE_WIDTH = 640  # pixels of a saved chart that fills its place on a screen


@dataclass(frozen=True)
class Picture:
    """One chart (without title), the finding that it shows, and its numbers; `fixed_width` where widths are to scale."""

    name: str
    title: str
    chart: Any
    table: pd.DataFrame
    fixed_width: bool = False

    def shown(self) -> Any:
        """Return the chart as a screen shows it: readable axes, no title (the finding stands above it)."""
        return _readable(self.chart)

    def titled(self) -> Any:
        """Return the chart as it is saved: with its title and a width of its own."""
        width = self.chart.width if self.fixed_width else _FILE_WIDTH
        lines = textwrap.wrap(self.title, max(24, int(width / 7.6)))
        chart: Any = self.chart
        chart = chart.properties(title={"text": lines, "anchor": "start", "fontSize": 15, "offset": 12})
        if not self.fixed_width:
            chart = chart.properties(width=width)
        return _readable(chart)

    def svg(self) -> bytes:
        """Return the chart as SVG."""
        out = io.StringIO()
        self.titled().save(out, format="svg")
        return out.getvalue().encode()

    def png(self) -> bytes:
        """Return the chart as PNG, at twice its size in pixels."""
        out = io.BytesIO()
        self.titled().save(out, format="png", scale_factor=2.0)
        return out.getvalue()

    def csv(self) -> bytes:
        """Return the numbers, units in the header."""
        return bytes(self.table.to_csv(index=False, float_format="%.6g", lineterminator="\n").encode())


def _readable(chart: Any) -> Any:
    return chart.configure_axis(
        labelFontSize=13,
        titleFontSize=13,
        labelColor=BLACK,
        titleColor=BLACK,
        gridColor="#dde2e6",
        domainColor=BLACK,
        tickColor=BLACK,
        labelOverlap=True,
        labelSeparation=6,
    )


def fuel_over_speed(told: Answered, system: UnitSystem) -> Picture:
    """Return the change in fuel over road speed against leaving the turbine at home: stowed and working.

    The zero line is the turbine absent. For a battery drive the change is in the pack's power.
    """
    import altair as alt
    import pandas as pd

    own = float(np.asarray(told.answer.inputs.road_speed_m_s))
    top = max(130 / 3.6, 1.3 * own)
    speeds = np.unique(np.append(np.linspace(5.0, top, 61), own if own > 0 else []))
    swept = answer(inputs_of(told.scenario, {"trip.road_speed": speeds}))
    kind = "power" if swept.inputs.fuel is None else "fuel_flow"
    unit = "kW" if kind == "power" else label(kind, system)
    base = swept.states["absent"].supply.source_w

    def change(state: str) -> np.ndarray:
        watts = swept.states[state].supply.source_w - base
        if swept.inputs.fuel is None:
            return watts / 1e3
        return np.array([to_user(v, kind, system) for v in watts / swept.inputs.fuel.heating_value_j_per_m3])

    speed_name, change_name = f"road speed, {label('speed', system)}", f"change, {unit}"
    frame = pd.concat(
        [
            pd.DataFrame(
                {
                    speed_name: [to_user(v, "speed", system) for v in speeds],
                    "turbine": state,
                    change_name: np.zeros(len(speeds)) if state == "absent" else change(state),
                }
            )
            for state in ("absent", "stowed", "working")
        ]
    )
    chart = _lines(frame, speed_name, change_name, "turbine", ("absent", "stowed", "working"), (GREY, BLUE, ORANGE))
    layers = [chart]
    band = _band(told.scenario, speeds)
    if band is not None:
        factor = (
            1e-3 if swept.inputs.fuel is None else to_user(1.0, kind, system) / swept.inputs.fuel.heating_value_j_per_m3
        )
        x = [to_user(v, "speed", system) for v in speeds]
        ends = pd.DataFrame({speed_name: x, "lowest": band[0] * factor, "highest": band[1] * factor})
        area = alt.Chart(ends).mark_area(opacity=0.2, color=ORANGE)
        where = {"x": f"{escaped(speed_name)}:Q", "y": alt.Y("lowest:Q", title=change_name), "y2": "highest:Q"}
        layers.insert(0, area.encode(**where))
        frame = frame.merge(ends.assign(turbine="working"), how="left", on=[speed_name, "turbine"])
    if own > 0:
        here = frame[np.isclose(frame[speed_name], to_user(own, "speed", system)) & (frame["turbine"] != "absent")]
        layers.append(_points(here, speed_name, change_name, "turbine"))
    return Picture(
        "fuel_over_road_speed",
        _fuel_title(told, swept, speeds, system),
        alt.layer(*layers).properties(height=320),
        frame,
    )


def _band(scenario: Scenario, speeds_m_s: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """Return the 5 % and 95 % quantiles of the change in source power (W) at every road speed; None if all is exact."""
    ranges = {key: value for key, value in ranges_of(scenario).items() if key != "trip.road_speed"}
    if not ranges:
        return None
    share = sobol_sample(_BAND_DRAWS, len(ranges))
    drawn = draws_of(ranges, share, correlations_of(scenario))
    found = answer(inputs_of(scenario, {**{k: v[:, None] for k, v in drawn.items()}, "trip.road_speed": speeds_m_s}))
    change = found.states["working"].supply.source_w - found.states["absent"].supply.source_w
    low, high = np.quantile(change, (0.05, 0.95), axis=0)
    return low, high


def _fuel_title(told: Answered, swept: Answer, speeds: np.ndarray, system: UnitSystem) -> str:
    change = swept.states["working"].supply.source_w - swept.states["absent"].supply.source_w
    what = "energy" if swept.inputs.fuel is None else "fuel"
    _, _, rest = conditions(told, system).partition(" in ")
    air = f" in {rest}" if rest else ""
    pays = change <= 0
    if not pays.any():
        return f"Working costs {what} at every road speed{air}"
    if pays.all():
        return f"Working costs no {what} at any road speed{air}"
    k = int(np.flatnonzero(pays[:-1] != pays[1:])[0])
    turn = show(float(speeds[k]), "speed", system)
    return f"Working costs {what} {'above' if pays[k] else 'below'} about {turn}{air}"


def _lines(frame: pd.DataFrame, x: str, y: str, by: str, order: tuple[str, ...], colours: tuple[str, ...]) -> alt.Chart:
    """Return lines of `y` over `x`, told apart by colour and dash; the nearest point tells its numbers."""
    import altair as alt

    dashes = [[1, 0], [6, 3], [2, 2], [8, 2, 2, 2]][: len(order)][::-1]
    return (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5, point={"opacity": 0, "size": 60})
        .encode(
            x=alt.X(f"{escaped(x)}:Q", title=x, scale=alt.Scale(nice=False)),
            y=alt.Y(f"{escaped(y)}:Q", title=y),
            color=alt.Color(
                f"{by}:N",
                title=None,
                sort=list(order),
                scale=alt.Scale(domain=list(order), range=list(colours)),
                legend=alt.Legend(
                    orient="top", labelFontSize=13, symbolType="stroke", symbolStrokeWidth=3, symbolSize=400
                ),
            ),
            strokeDash=alt.StrokeDash(f"{by}:N", sort=list(order), scale=alt.Scale(domain=list(order), range=dashes)),
            tooltip=[
                alt.Tooltip(f"{by}:N"),
                alt.Tooltip(f"{escaped(x)}:Q", title=x, format=".3~g"),
                alt.Tooltip(f"{escaped(y)}:Q", title=y, format=".3~g"),
            ],
        )
    )


def _points(frame: pd.DataFrame, x: str, y: str, by: str) -> alt.Chart:
    """Return the scenario's own points as rings."""
    import altair as alt

    return (
        alt.Chart(frame)
        .mark_point(size=140, strokeWidth=2.5, color=BLACK, filled=False)
        .encode(
            x=f"{escaped(x)}:Q",
            y=f"{escaped(y)}:Q",
            tooltip=[
                alt.Tooltip(f"{by}:N"),
                alt.Tooltip(f"{escaped(x)}:Q", title=f"as set: {x}", format=".3~g"),
                alt.Tooltip(f"{escaped(y)}:Q", title=y, format=".3~g"),
            ],
        )
    )


def escaped(column: str) -> str:
    """Return a column's name as Vega-Lite takes it: dots and brackets would be read as paths."""
    return column.replace("\\", "\\\\").replace(".", "\\.").replace("[", "\\[").replace("]", "\\]").replace(":", "\\:")


def operating_line(told: Answered, system: UnitSystem) -> tuple[Picture, ...]:
    """Return power, thrust and turning speed over the air speed at the rotor, each with the scenario's limits.

    One array call: the road speed is swept in still air, so that the air speed at the rotor is what varies.
    """
    scenario = told.scenario
    here = float(np.asarray(told.answer.inputs.rotor_air_speed_m_s))
    top = max(1.4 * here, 12.0)
    factor = scenario.rotor.local_speed_factor.value
    airs = np.unique(np.append(np.linspace(0.0, top, 71), here))
    inputs = inputs_of(
        scenario,
        {"trip.road_speed": airs / factor, "air.wind_speed": np.zeros_like(airs), "air.wind_from": np.zeros_like(airs)},
    )
    work = turbine_at_work(inputs)
    passed = _first_passed(limit_shares(inputs, work), airs)
    return (
        _power_picture(told, system, airs, here, work, passed),
        _thrust_picture(told, system, airs, here, work),
        *_turning_picture(told, system, airs, here, work),
    )


def _first_passed(shares: dict[str, np.ndarray], airs: np.ndarray) -> tuple[str, float] | None:
    """Return the limit that is passed first with rising air speed and the air speed (m/s), None if none is."""
    found = []
    for name, share in shares.items():
        over = np.flatnonzero(np.asarray(share) > 1)
        if over.size:
            found.append((float(airs[over[0]]), name))
    return (min(found)[1], min(found)[0]) if found else None


def _over_air(
    system: UnitSystem,
    airs: np.ndarray,
    here: float,
    series: dict[str, np.ndarray],
    y_name: str,
    colours: tuple[str, ...],
    limits: dict[str, float],
) -> tuple[Any, pd.DataFrame]:
    import altair as alt
    import pandas as pd

    x_name = f"air speed at the rotor, {label('speed', system)}"
    x = [to_user(v, "speed", system) for v in airs]
    frame = pd.concat([pd.DataFrame({x_name: x, "what": what, y_name: y}) for what, y in series.items()])
    layers: list[Any] = [_lines(frame, x_name, y_name, "what", tuple(series), colours)]
    own = frame[np.isclose(frame[x_name], to_user(here, "speed", system))]
    layers.append(_points(own, x_name, y_name, "what"))
    if limits:
        marks = pd.DataFrame({"limit": list(limits), y_name: list(limits.values())})
        rule = alt.Chart(marks).mark_rule(color=BLACK, strokeDash=[5, 4], strokeWidth=1.5)
        rule = rule.encode(y=f"{escaped(y_name)}:Q", tooltip=["limit:N", alt.Tooltip(f"{escaped(y_name)}:Q")])
        layers.append(rule)
        for place, dy in ((marks[y_name].idxmax(), -8), (marks[y_name].idxmin(), 10)):
            text = alt.Chart(marks.loc[[place]]).mark_text(align="left", dx=6, dy=dy, x=0, fontSize=13, color=BLACK)
            layers.append(text.encode(y=f"{escaped(y_name)}:Q", text="limit:N"))
            if len(marks) == 1:
                break
    return alt.layer(*layers).properties(height=280), frame


def _power_picture(
    told: Answered,
    system: UnitSystem,
    airs: np.ndarray,
    here: float,
    work: TurbineAtWork,
    passed: tuple[str, float] | None,
) -> Picture:
    series = {
        "shaft": work.shaft_power_w / 1e3,
        "electrical": work.electrical_power_w / 1e3,
        "heat": work.heat_power_w / 1e3,
    }
    rated = told.answer.inputs.turbine.rated_power_w
    limits = {} if rated is None else {"rated power of the element": float(np.asarray(rated)) / 1e3}
    chart, frame = _over_air(system, airs, here, series, "power, kW", (BLUE, GREEN, ORANGE), limits)
    heat = show(float(told.answer.turbine.heat_power_w), "power", system)
    title = f"{heat} of heat at {show(here, 'speed', system)} of air"
    if passed is not None:
        title += f"; the limit of {passed[0]} is passed from {show(passed[1], 'speed', system)}"
    else:
        title += f"; no limit is passed up to {show(float(airs[-1]), 'speed', system)}"
    return Picture("power_over_air_speed", title, chart, frame)


def _thrust_picture(told: Answered, system: UnitSystem, airs: np.ndarray, here: float, work: TurbineAtWork) -> Picture:
    unit = label("force", system)

    def shown_force(values: Any) -> np.ndarray:
        return np.array([to_user(v, "force", system) for v in np.atleast_1d(values)])

    most = told.answer.inputs.turbine.highest_thrust_n
    limits = {} if most is None else {"highest thrust": float(shown_force(float(np.asarray(most)))[0])}
    chart, frame = _over_air(
        system, airs, here, {"thrust": shown_force(work.thrust_n)}, f"thrust, {unit}", (BLUE,), limits
    )
    thrust = float(told.answer.turbine.thrust_n)
    title = f"The rotor pushes back with {show(thrust, 'force', system)} at {show(here, 'speed', system)} of air"
    if most is not None:
        title += f": {figures(100 * thrust / float(np.asarray(most)), 2)} % of what is allowed"
    return Picture("thrust_over_air_speed", title, chart, frame)


def _turning_picture(
    told: Answered, system: UnitSystem, airs: np.ndarray, here: float, work: TurbineAtWork
) -> tuple[Picture, ...]:
    turning = told.answer.turbine.rotor_speed_rad_s
    if not np.isfinite(turning).all():
        return ()  # known by measured watts only
    limits_of = told.answer.inputs.turbine
    to_rpm = 30 / np.pi
    limits = {}
    if limits_of.highest_rotor_speed_rad_s is not None:
        limits["highest rotor speed"] = float(np.asarray(limits_of.highest_rotor_speed_rad_s)) * to_rpm
    radius = float(np.asarray(limits_of.diameter_m)) / 2
    limits["highest tip speed"] = float(np.asarray(limits_of.highest_tip_speed_m_s)) / radius * to_rpm
    series = {"load on": work.rotor_speed_rad_s * to_rpm}
    free = work.free_run_speed_rad_s * to_rpm
    title = f"{figures(float(turning) * to_rpm, 3)} rpm with the load on"
    if np.isfinite(free).all():
        series["load cut"] = free
        title += f"; {figures(float(told.answer.turbine.free_run_speed_rad_s) * to_rpm, 3)} rpm if the load is cut"
    chart, frame = _over_air(system, airs, here, series, "rotor speed, rpm", (BLUE, ORANGE), limits)
    return (Picture("rotor_speed_over_air_speed", title, chart, frame),)


def heat_over_settings(scenario: Scenario, marks: dict[str, tuple[float, float]], ratio: float) -> Picture:
    """Return a map of the heat over element resistance and pitch at one ratio; blank where a limit is passed.

    `marks` are settings to show, name -> (pitch as the dial reads, resistance in ohm). With one pitch: a line.
    """
    import altair as alt
    import pandas as pd

    from energy.chain.matching import heat_map

    resistances, pitches, heat = heat_map(scenario, ratio)
    x_name, y_name, heat_name = "element resistance, Ω", "pitch, °", "heat, kW"
    grid_r, grid_p = np.meshgrid(resistances, pitches)
    frame = pd.DataFrame({x_name: grid_r.ravel(), y_name: grid_p.ravel(), heat_name: heat.ravel() / 1e3})
    shown = frame.dropna()
    points = pd.DataFrame(
        {"setting": list(marks), y_name: [p for p, _ in marks.values()], x_name: [r for _, r in marks.values()]}
    )
    x = alt.X(f"{x_name}:Q", scale=alt.Scale(type="log", nice=False), axis=alt.Axis(tickCount=6, format="~g"))
    tooltip = [alt.Tooltip(f"{n}:Q", format=".3~g") for n in (x_name, y_name, heat_name)]
    if len(pitches) == 1:
        base: Any = (
            alt.Chart(shown)
            .mark_line(strokeWidth=2.5, color=BLUE, point={"opacity": 0, "size": 60})
            .encode(x=x, y=f"{heat_name}:Q", tooltip=tooltip)
        )
        rule = alt.Chart(points).mark_rule(strokeDash=[5, 4]).encode(x=x, tooltip=["setting:N"])
        text = alt.Chart(points).mark_text(align="left", dx=5, y=10).encode(x=x, text="setting:N")
        return Picture("heat_over_resistance", "", alt.layer(base, rule, text).properties(height=300), frame)
    step_r, step_p = np.sqrt(resistances[1] / resistances[0]), (pitches[1] - pitches[0]) / 2
    cells = shown.assign(r0=shown[x_name] / step_r, r1=shown[x_name] * step_r * 1.01)
    cells = cells.assign(p0=shown[y_name] - step_p, p1=shown[y_name] + step_p * 1.02)
    base = (
        alt.Chart(cells)
        .mark_rect()
        .encode(
            x=alt.X("r0:Q", title=x_name, scale=alt.Scale(type="log", nice=False), axis=alt.Axis(format="~g")),
            x2="r1:Q",
            y=alt.Y("p0:Q", title=y_name, scale=alt.Scale(nice=False, zero=False)),
            y2="p1:Q",
            color=alt.Color(
                f"{heat_name}:Q",
                scale=alt.Scale(scheme="cividis"),
                legend=alt.Legend(orient="top", gradientLength=220, titleFontSize=13),
            ),
            tooltip=tooltip,
        )
    )
    rings = alt.Chart(points).mark_point(size=160, strokeWidth=3, color="white", filled=False)
    dots = alt.Chart(points).mark_point(size=90, strokeWidth=2, color=BLACK, filled=False)
    place = {"x": f"{x_name}:Q", "y": f"{y_name}:Q"}
    text = alt.Chart(points).mark_text(
        align="left", dx=10, dy=-8, fontWeight="bold", fontSize=13, stroke="white", strokeWidth=3, strokeOpacity=0.9
    )
    over = alt.Chart(points).mark_text(align="left", dx=10, dy=-8, fontWeight="bold", fontSize=13, color=BLACK)
    layers = alt.layer(
        base,
        rings.encode(**place),
        dots.encode(**place, tooltip=["setting:N", f"{x_name}:Q", f"{y_name}:Q"]),
        text.encode(**place, text="setting:N"),
        over.encode(**place, text="setting:N"),
    )
    return Picture("heat_over_settings", "", layers.properties(height=340), frame)
