"""Pictures of an answer: what the rotor does over the air speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.answer import Answered
from energy.chain.ledger import TurbineAtWork, turbine_at_work
from energy.chain.limits import StatedLimit, stated_limits
from energy.pictures.base import BLACK, BLUE, GREEN, ORANGE, Picture, escaped, own_points, series_lines
from energy.scenario.inputs import inputs_of
from vehicle.units import UnitSystem, figures, label, show, to_user

if TYPE_CHECKING:
    import pandas as pd


def operating_line(answered: Answered, system: UnitSystem) -> tuple[Picture, ...]:
    """Return power, thrust and turning speed over the air speed at the rotor, each with the scenario's limits.

    One array call: the road speed is swept in still air, so that the air speed at the rotor is what varies.
    """
    scenario = answered.scenario
    here = float(np.asarray(answered.answer.inputs.rotor_air_speed_m_s))
    top = max(1.4 * here, 12.0)
    factor = scenario.rotor.local_speed_factor.value
    airs = np.unique(np.append(np.linspace(0.0, top, 71), here))
    inputs = inputs_of(
        scenario,
        {"trip.road_speed": airs / factor, "air.wind_speed": np.zeros_like(airs), "air.wind_from": np.zeros_like(airs)},
    )
    work = turbine_at_work(inputs)
    passed = _first_passed(stated_limits(inputs, work), airs)
    swept = _Swept(answered, system, airs, here, work)
    return (_power_picture(swept, passed), _thrust_picture(swept), *_turning_picture(swept))


@dataclass(frozen=True)
class _Swept:
    """An answer, and the turbine at work at air speeds (m/s) around `here`, the answer's own."""

    answered: Answered
    system: UnitSystem
    airs: np.ndarray
    here: float
    work: TurbineAtWork


def _first_passed(limits: tuple[StatedLimit, ...], airs: np.ndarray) -> tuple[str, float] | None:
    """Return the limit that is passed first with rising air speed and the air speed (m/s), None if none is."""
    passed = []
    for one in limits:
        over = np.flatnonzero(one.share > 1)
        if over.size:
            passed.append((float(airs[over[0]]), one.in_a_sentence))
    return (min(passed)[1], min(passed)[0]) if passed else None


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
    answered, system, airs, here, work = swept.answered, swept.system, swept.airs, swept.here, swept.work
    series = {
        "shaft": work.shaft_power_w / 1e3,
        "electrical": work.electrical_power_w / 1e3,
        "heat": work.heat_power_w / 1e3,
    }
    rated = answered.answer.inputs.turbine.rated_power_w
    limits = {} if rated is None else {"rated power of the element": float(np.asarray(rated)) / 1e3}
    chart, frame = _over_air(swept, series, "power, kW", (BLUE, GREEN, ORANGE), limits)
    heat = show(float(answered.answer.turbine.heat_power_w), "power", system)
    title = f"At the stated values {heat} of heat at {show(here, 'speed', system)} of air"
    if passed is not None:
        title += f"; with the load on the limit of {passed[0]} is passed from {show(passed[1], 'speed', system)}"
    else:
        title += f"; with the load on no limit is passed up to {show(float(airs[-1]), 'speed', system)}"
    return Picture("power_over_air_speed", title, chart, frame)


def _thrust_picture(swept: _Swept) -> Picture:
    answered, system, here, work = swept.answered, swept.system, swept.here, swept.work
    unit = label("force", system)

    def shown_force(values: Any) -> np.ndarray:
        return np.array([to_user(v, "force", system) for v in np.atleast_1d(values)])

    most = answered.answer.inputs.turbine.highest_thrust_n
    limits = {} if most is None else {"highest thrust": float(shown_force(float(np.asarray(most)))[0])}
    chart, frame = _over_air(swept, {"thrust": shown_force(work.thrust_n)}, f"thrust, {unit}", (BLUE,), limits)
    thrust = float(answered.answer.turbine.thrust_n)
    title = f"The rotor pushes back with {show(thrust, 'force', system)} at {show(here, 'speed', system)} of air"
    if most is not None:
        title += f": {figures(100 * thrust / float(np.asarray(most)), 2)} % of what is allowed"
    return Picture("thrust_over_air_speed", title, chart, frame)


def _turning_picture(swept: _Swept) -> tuple[Picture, ...]:
    answered, work = swept.answered, swept.work
    turning = answered.answer.turbine.rotor_speed_rad_s
    if not np.isfinite(turning).all():
        return ()  # known by measured watts only
    limits_of = answered.answer.inputs.turbine
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
        title += f"; {figures(float(answered.answer.turbine.free_run_speed_rad_s) * to_rpm, 3)} rpm if the load is cut"
    title += _limit_words(swept, series, min(limits.items(), key=lambda limit: limit[1]))
    chart, frame = _over_air(swept, series, "rotor speed, rpm", (BLUE, ORANGE), limits)
    return (Picture("rotor_speed_over_air_speed", title, chart, frame),)


def _limit_words(swept: _Swept, series: dict[str, np.ndarray], limit: tuple[str, float]) -> str:
    """Return from where the lowest limit drawn is passed, by what is drawn: the load cut passes it first."""
    name, most = limit
    for what, values in reversed(series.items()):
        over = np.flatnonzero(values > most * (1 + 1e-9))
        if over.size:
            return f"; with the {what} the {name} is passed from {show(swept.airs[over[0]], 'speed', swept.system)}"
    return f"; the {name} is not passed up to {show(float(swept.airs[-1]), 'speed', swept.system)}"
