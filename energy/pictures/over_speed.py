"""Pictures over road speed: the change in fuel, and the heat with its limits and where the rotor stays stalled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.answer import Answered
from energy.chain.ledger import Answer, TurbineAtWork, answer, change_and_heat, turbine_at_work
from energy.chain.limits import stated_limits
from energy.chain.stall import is_stalled
from energy.pictures.base import BLACK, BLUE, GREEN, GREY, ORANGE, Picture, escaped, own_points, series_lines
from energy.scenario.inputs import Inputs, correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.uncertainty.quantiles import SURE, ChainOutcome, saves_and_costs
from energy.words.over_speed import COSTS, NOTHING, OPEN, SAVES, fuel_title, heat_title
from energy.words.verdict import median_heat_w
from vehicle.units import UnitSystem, label, to_user

if TYPE_CHECKING:
    import pandas as pd

_BAND_DRAWS = 128  # a power of two, for shares that fill the cube evenly
_SPEEDS, _BAND_SPEEDS, _SLOWEST_M_S = 61, 25, 5.0
_APART = 0.05  # of the heat: two ways to start are drawn apart from here on
_STATES = {"absent": ("not fitted", GREY), "stowed": ("stowed", BLUE), "working": ("working", ORANGE)}


@dataclass(frozen=True)
class _Drawn:
    """The draws at fewer speeds (m/s): 5 and 95 % of the change and of the heat (W), and the outcome at each speed."""

    speeds_m_s: np.ndarray
    change_w: tuple[np.ndarray, np.ndarray]
    heat_w: tuple[np.ndarray, np.ndarray]
    outcomes: tuple[str, ...]


@dataclass(frozen=True)
class _Swept:
    """An answer over road speeds (m/s) in its own air: as stated, and from draws (None where all is exact)."""

    told: Answered
    system: UnitSystem
    own: float
    speeds_m_s: np.ndarray
    nominal: Answer
    drawn: _Drawn | None

    def shown(self, speeds_m_s: np.ndarray) -> np.ndarray:
        """Return speeds in the user's unit."""
        return np.array([to_user(v, "speed", self.system) for v in speeds_m_s])

    @property
    def x_name(self) -> str:
        return f"road speed, {label('speed', self.system)}"


def pictures_over_speed(told: Answered, system: UnitSystem) -> tuple[Picture, Picture]:
    """Return the change in fuel, and the heat, over road speed; the road speeds are gone through once for both."""
    own = float(np.asarray(told.answer.inputs.road_speed_m_s))
    top = max(130 / 3.6, 1.3 * own)
    speeds = np.unique(np.append(np.linspace(_SLOWEST_M_S, top, _SPEEDS), own if own > 0 else []))
    nominal = answer(inputs_of(told.scenario, {"trip.road_speed": speeds}))
    swept = _Swept(told, system, own, speeds, nominal, _drawn(told.scenario, top, own))
    return _fuel_picture(swept), _heat_picture(swept)


def fuel_over_speed(told: Answered, system: UnitSystem) -> Picture:
    """Return the change in fuel over road speed, stowed and working; zero is what the answer is compared with.

    For a battery drive the change is in the pack's power.
    """
    return pictures_over_speed(told, system)[0]


def heat_over_speed(told: Answered, system: UnitSystem) -> Picture:
    """Return the heat over road speed with the limits, and where the rotor stays stalled."""
    return pictures_over_speed(told, system)[1]


def _drawn(scenario: Scenario, top: float, own: float) -> _Drawn | None:
    ranges = {key: value for key, value in ranges_of(scenario).items() if key != "trip.road_speed"}
    if not ranges:
        return None
    speeds = np.unique(np.append(np.linspace(_SLOWEST_M_S, top, _BAND_SPEEDS), own if own > 0 else []))
    draws = draws_of(ranges, sobol_sample(_BAND_DRAWS, len(ranges)), correlations_of(scenario))
    inputs = inputs_of(scenario, {**{k: v[:, None] for k, v in draws.items()}, "trip.road_speed": speeds})
    change, heat = np.broadcast_arrays(*change_and_heat(inputs))
    saves, costs = saves_and_costs(ChainOutcome(change, heat))
    low, high = np.quantile(np.stack([change, heat]), (0.05, 0.95), axis=1)
    outcomes = _outcomes(saves.mean(axis=0), costs.mean(axis=0), heat.max(axis=0) > 0.5)
    return _Drawn(speeds, (low[0], high[0]), (low[1], high[1]), outcomes)


def _outcomes(saves: np.ndarray, costs: np.ndarray, heats: np.ndarray) -> tuple[str, ...]:
    """Return the outcome at each speed from the shares of draws that save and that cost, as a verdict words it."""
    return tuple(
        COSTS if c >= SURE else SAVES if s >= SURE else OPEN if h or s + c > 0 else NOTHING
        for s, c, h in zip(saves, costs, heats, strict=True)
    )


def _fuel_picture(swept: _Swept) -> Picture:
    import altair as alt
    import pandas as pd

    told, system, found = swept.told, swept.system, swept.nominal
    fuel = found.inputs.fuel
    kind, unit = ("power", "kW") if fuel is None else ("fuel_flow", label("fuel_flow", system))
    factor = 1e-3 if fuel is None else to_user(1.0, kind, system) / fuel.heating_value_j_per_m3
    base = found.without.supply.source_w
    x_name, y_name = swept.x_name, f"change, {unit}"
    x = swept.shown(swept.speeds_m_s)
    changes = {
        words: (np.broadcast_to(found.states[state].supply.source_w, x.shape) - base) * factor
        for state, (words, _) in _STATES.items()
    }
    frame = pd.concat([pd.DataFrame({x_name: x, "turbine": w, y_name: c}) for w, c in changes.items()])
    colours = tuple(colour for _, colour in _STATES.values())
    layers = [series_lines(frame, x_name, y_name, "turbine", tuple(changes), colours)]
    if swept.drawn is not None:
        frame, area = _with_band(swept, swept.drawn.change_w, factor, (frame, "turbine", "working", y_name))
        layers.insert(0, area)
    if swept.own > 0:
        here = frame[np.isclose(frame[x_name], to_user(swept.own, "speed", system)) & (frame["turbine"] == "working")]
        layers.append(own_points(here, x_name, y_name, "turbine"))
    zero = alt.Chart(pd.DataFrame({y_name: [0.0]})).mark_rule(color=BLACK, strokeWidth=1.5)
    layers.insert(1, zero.encode(y=f"{escaped(y_name)}:Q"))
    if swept.drawn is None:
        change, heat = (np.broadcast_to(v, x.shape) for v in (found.change.power_w, found.turbine.heat_power_w))
        saves, costs = saves_and_costs(ChainOutcome(change, heat))
        speeds, outcomes = swept.speeds_m_s, _outcomes(saves.astype(float), costs.astype(float), heat > 0.5)
    else:
        speeds, outcomes = swept.drawn.speeds_m_s, swept.drawn.outcomes
    title = fuel_title(told, [float(v) for v in speeds], outcomes, system)
    return Picture("fuel_over_road_speed", title, alt.layer(*layers).properties(height=320), frame)


def _with_band(
    swept: _Swept, ends_w: tuple[np.ndarray, np.ndarray], factor: float, of: tuple[pd.DataFrame, str, str, str]
) -> tuple[pd.DataFrame, Any]:
    """Return a frame with the band of one of its series, and the band as a layer."""
    import altair as alt
    import pandas as pd

    frame, by, series, y_name = of
    assert swept.drawn is not None
    x = swept.shown(swept.drawn.speeds_m_s)
    ends = pd.DataFrame({swept.x_name: x, "lowest": ends_w[0] * factor, "highest": ends_w[1] * factor})
    area = alt.Chart(ends).mark_area(opacity=0.2, color=ORANGE)
    where = {
        "x": alt.X(f"{escaped(swept.x_name)}:Q", title=swept.x_name),
        "y": alt.Y("lowest:Q", title=y_name),
        "y2": "highest:Q",
    }
    frame = frame.merge(ends.assign(**{by: series}), how="outer", on=[swept.x_name, by], sort=True)
    return frame.sort_values([by, swept.x_name]), area.encode(**where)


def _heat_picture(swept: _Swept) -> Picture:
    import altair as alt
    import pandas as pd

    told, system, scenario = swept.told, swept.system, swept.told.scenario
    starts = _starts(scenario, swept.speeds_m_s)
    x, x_name, y_name = swept.shown(swept.speeds_m_s), swept.x_name, "heat, kW"
    heats = {name: np.broadcast_to(work.heat_power_w, x.shape) / 1e3 for name, (_, work) in starts.items()}
    frame = pd.concat([pd.DataFrame({x_name: x, "start": name, y_name: heat}) for name, heat in heats.items()])
    names = tuple(heats)
    layers = [series_lines(frame, x_name, y_name, "start", names, (ORANGE, GREEN)[: len(names)])]
    if swept.drawn is not None:
        frame, area = _with_band(swept, swept.drawn.heat_w, 1e-3, (frame, "start", names[0], y_name))
        layers.insert(0, area)
    passed = _first_passed(starts, swept.speeds_m_s)
    inputs, work = starts[names[0]]
    stalled = _stalled_up_to(inputs, work, swept.speeds_m_s)
    marks = [(f"limit of {name}", speed) for name, speed in passed]
    marks += [("stalled up to here", stalled)] if stalled is not None else []
    layers += _upright(swept, marks)
    if told.trip is None and swept.own > 0:
        own = pd.DataFrame({x_name: [to_user(swept.own, "speed", system)], "start": ["the verdict"]})
        layers.append(own_points(own.assign(**{y_name: median_heat_w(told) / 1e3}), x_name, y_name, "start"))
    title = heat_title(told, passed, stalled, float(swept.speeds_m_s[-1]), system)
    return Picture("heat_over_road_speed", title, alt.layer(*layers).properties(height=320), frame)


def _starts(scenario: Scenario, speeds_m_s: np.ndarray) -> dict[str, tuple[Inputs, TurbineAtWork]]:
    """Return the turbine at work as it is started and, where that gives other heat, started the other way."""
    where = {"trip.road_speed": speeds_m_s}
    own = inputs_of(scenario, where)
    found = {"heat": (own, turbine_at_work(own, with_free_run=False))}
    if own.turbine.curves is None or own.turbine.chain is None:
        return found
    unloaded = own.turbine.load_connected_after_spin_up
    other = replace(own, turbine=replace(own.turbine, load_connected_after_spin_up=not unloaded))
    work = turbine_at_work(other, with_free_run=False)
    apart = np.abs(work.heat_power_w - found["heat"][1].heat_power_w)
    if np.any(apart > np.maximum(_APART * np.maximum(work.heat_power_w, found["heat"][1].heat_power_w), 5.0)):
        names = ("load on from standstill", "load on after the start")
        first, second = names[::-1] if unloaded else names
        return {first: found["heat"], second: (other, work)}
    return found


def _first_passed(
    starts: Mapping[str, tuple[Inputs, TurbineAtWork]], speeds_m_s: np.ndarray
) -> list[tuple[str, float]]:
    """Return each limit that is passed with the speed (m/s) from which it is, whichever way it is started."""
    found: dict[str, float] = {}
    for inputs, work in starts.values():
        for one in stated_limits(inputs, work):
            share, name = np.broadcast_to(one.share, speeds_m_s.shape), one.in_a_sentence
            over = np.flatnonzero(share > 1 + 1e-9)
            if over.size:
                found[name] = min(found.get(name, np.inf), _crossing(speeds_m_s, share, int(over[0])))
    return sorted(found.items(), key=lambda entry: entry[1])


def _crossing(speeds_m_s: np.ndarray, share: np.ndarray, k: int) -> float:
    """Return where a share passes 1 before its first place above it, straight between two speeds."""
    if k == 0:
        return float(speeds_m_s[0])
    below, above = float(share[k - 1]), float(share[k])
    part = (1 - below) / (above - below) if above > below else 1.0
    return float(speeds_m_s[k - 1] + part * (speeds_m_s[k] - speeds_m_s[k - 1]))


def _stalled_up_to(inputs: Inputs, work: TurbineAtWork, speeds_m_s: np.ndarray) -> float | None:
    """Return the fastest speed (m/s) at which the rotor as started is stalled, None where it never is."""
    if inputs.turbine.curves is None or work.point is None:
        return None
    stalled = np.flatnonzero(np.broadcast_to(is_stalled(inputs, work), speeds_m_s.shape))
    return float(speeds_m_s[stalled[-1]]) if stalled.size else None


def _upright(swept: _Swept, marks: list[tuple[str, float]]) -> list[Any]:
    """Return upright lines with their words, each on a height of its own."""
    import altair as alt
    import pandas as pd

    layers: list[Any] = []
    words: list[Any] = []  # over all of the lines
    middle = (swept.speeds_m_s[0] + swept.speeds_m_s[-1]) / 2
    for k, (name, speed) in enumerate(marks):
        at = pd.DataFrame({swept.x_name: [to_user(speed, "speed", swept.system)], "limit": [name]})
        x = f"{escaped(swept.x_name)}:Q"
        rule = alt.Chart(at).mark_rule(color=BLACK, strokeDash=[5, 4], strokeWidth=1.5)
        late = speed > middle
        place: dict[str, Any] = {"align": "right" if late else "left", "dx": -5 if late else 5, "y": 10 + 17 * k}
        halo = alt.Chart(at).mark_text(**place, fontSize=13, stroke="white", strokeWidth=4)
        text = alt.Chart(at).mark_text(**place, fontSize=13, color=BLACK)
        layers.append(rule.encode(x=x, tooltip=["limit:N", alt.Tooltip(x, format=".3~g")]))
        words += [drawn.encode(x=x, text="limit:N") for drawn in (halo, text)]
    return layers + words
