"""Pictures of an answer: fuel over road speed, and what the rotor does over the air speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.answer import Answered
from energy.chain.ledger import Answer, TurbineAtWork, answer, turbine_at_work
from energy.chain.limits import StatedLimit, stated_limits
from energy.pictures.base import BLACK, BLUE, GREEN, GREY, ORANGE, Picture, escaped, own_points, series_lines
from energy.scenario.inputs import correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.words.verdict import conditions
from vehicle.units import UnitSystem, figures, label, show, to_user

if TYPE_CHECKING:
    import pandas as pd

_BAND_DRAWS = 128  # a power of two, for shares that fill the cube evenly


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
    chart = series_lines(
        frame, speed_name, change_name, "turbine", ("absent", "stowed", "working"), (GREY, BLUE, ORANGE)
    )
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
        layers.append(own_points(here, speed_name, change_name, "turbine"))
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
    passed = _first_passed(stated_limits(inputs, work), airs)
    swept = _Swept(told, system, airs, here, work)
    return (_power_picture(swept, passed), _thrust_picture(swept), *_turning_picture(swept))


@dataclass(frozen=True)
class _Swept:
    """An answer, and the turbine at work at air speeds (m/s) around `here`, the answer's own."""

    told: Answered
    system: UnitSystem
    airs: np.ndarray
    here: float
    work: TurbineAtWork


def _first_passed(limits: tuple[StatedLimit, ...], airs: np.ndarray) -> tuple[str, float] | None:
    """Return the limit that is passed first with rising air speed and the air speed (m/s), None if none is."""
    found = []
    for one in limits:
        over = np.flatnonzero(one.share > 1)
        if over.size:
            found.append((float(airs[over[0]]), one.in_a_sentence))
    return (min(found)[1], min(found)[0]) if found else None


def _over_air(
    swept: _Swept,
    series: dict[str, np.ndarray],
    y_name: str,
    colours: tuple[str, ...],
    limits: dict[str, float],
) -> tuple[Any, pd.DataFrame]:
    import altair as alt
    import pandas as pd

    system = swept.system
    x_name = f"air speed at the rotor, {label('speed', system)}"
    x = [to_user(v, "speed", system) for v in swept.airs]
    frame = pd.concat([pd.DataFrame({x_name: x, "what": what, y_name: y}) for what, y in series.items()])
    layers: list[Any] = [series_lines(frame, x_name, y_name, "what", tuple(series), colours)]
    own = frame[np.isclose(frame[x_name], to_user(swept.here, "speed", system))]
    layers.append(own_points(own, x_name, y_name, "what"))
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


def _power_picture(swept: _Swept, passed: tuple[str, float] | None) -> Picture:
    told, system, airs, here, work = swept.told, swept.system, swept.airs, swept.here, swept.work
    series = {
        "shaft": work.shaft_power_w / 1e3,
        "electrical": work.electrical_power_w / 1e3,
        "heat": work.heat_power_w / 1e3,
    }
    rated = told.answer.inputs.turbine.rated_power_w
    limits = {} if rated is None else {"rated power of the element": float(np.asarray(rated)) / 1e3}
    chart, frame = _over_air(swept, series, "power, kW", (BLUE, GREEN, ORANGE), limits)
    heat = show(float(told.answer.turbine.heat_power_w), "power", system)
    title = f"{heat} of heat at {show(here, 'speed', system)} of air"
    if passed is not None:
        title += f"; the limit of {passed[0]} is passed from {show(passed[1], 'speed', system)}"
    else:
        title += f"; no limit is passed up to {show(float(airs[-1]), 'speed', system)}"
    return Picture("power_over_air_speed", title, chart, frame)


def _thrust_picture(swept: _Swept) -> Picture:
    told, system, here, work = swept.told, swept.system, swept.here, swept.work
    unit = label("force", system)

    def shown_force(values: Any) -> np.ndarray:
        return np.array([to_user(v, "force", system) for v in np.atleast_1d(values)])

    most = told.answer.inputs.turbine.highest_thrust_n
    limits = {} if most is None else {"highest thrust": float(shown_force(float(np.asarray(most)))[0])}
    chart, frame = _over_air(swept, {"thrust": shown_force(work.thrust_n)}, f"thrust, {unit}", (BLUE,), limits)
    thrust = float(told.answer.turbine.thrust_n)
    title = f"The rotor pushes back with {show(thrust, 'force', system)} at {show(here, 'speed', system)} of air"
    if most is not None:
        title += f": {figures(100 * thrust / float(np.asarray(most)), 2)} % of what is allowed"
    return Picture("thrust_over_air_speed", title, chart, frame)


def _turning_picture(swept: _Swept) -> tuple[Picture, ...]:
    told, work = swept.told, swept.work
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
    chart, frame = _over_air(swept, series, "rotor speed, rpm", (BLUE, ORANGE), limits)
    return (Picture("rotor_speed_over_air_speed", title, chart, frame),)
