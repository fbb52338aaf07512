"""Pictures over road speed: the change in fuel, and the heat with its limits and where the rotor stays stalled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.answer import Answered
from energy.chain.ledger import Answer, TurbineAtWork, answer, change_and_heat, turbine_at_work
from energy.chain.limits import stated_limits
from energy.chain.stalled import is_stalled
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
class _SweptSpeeds:
    """An answer over road speeds (m/s) in its own air: as stated, and from draws (None where all is exact)."""

    answered: Answered
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


def pictures_over_speed(answered: Answered, system: UnitSystem) -> tuple[Picture, Picture]:
    """Return the change in fuel, stowed and working, and the heat with its limits, over road speed.

    Zero is what the answer is compared with; for a battery drive the change is in the pack's power. The road speeds are
    gone through once for both.
    """
    own = float(np.asarray(answered.answer.inputs.road_speed_m_s))
    top = max(130 / 3.6, 1.3 * own)
    speeds = np.unique(np.append(np.linspace(_SLOWEST_M_S, top, _SPEEDS), own if own > 0 else []))
    inputs = inputs_of(answered.scenario, {"trip.road_speed": speeds})
    nominal = answer(inputs, turbine_at_work(inputs, with_free_run=False), with_other_sources=False)
    swept = _SweptSpeeds(answered, system, own, speeds, nominal, _drawn(answered.scenario, top, own))
    return _fuel_picture(swept), _heat_picture(swept)


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


def _fuel_picture(swept: _SweptSpeeds) -> Picture:
    import pandas as pd

    answered, system, nominal = swept.answered, swept.system, swept.nominal
    fuel = nominal.inputs.fuel
    kind, unit = ("power", "kW") if fuel is None else ("fuel_flow", label("fuel_flow", system))
    factor = 1e-3 if fuel is None else to_user(1.0, kind, system) / fuel.heating_value_j_per_m3
    base = nominal.without.supply.source_w
    x_name, y_name = swept.x_name, f"change, {unit}"
    x = swept.shown(swept.speeds_m_s)
    changes = {
        words: (np.broadcast_to(nominal.states[state].supply.source_w, x.shape) - base) * factor
        for state, (words, _) in _STATES.items()
    }
    numbers = {"lines": pd.concat([pd.DataFrame({x_name: x, "turbine": w, y_name: c}) for w, c in changes.items()])}
    numbers["zero"] = pd.DataFrame({y_name: [0.0]})
    frame = numbers["lines"]
    if swept.drawn is not None:
        numbers["band"] = _band(swept, swept.drawn.change_w, factor)
        frame = _with_band(frame, numbers["band"], "turbine", "working", x_name)
    if swept.own > 0:
        here = np.isclose(frame[x_name], to_user(swept.own, "speed", system)) & (frame["turbine"] == "working")
        numbers["own"] = frame.loc[here, [x_name, "turbine", y_name]]
    if swept.drawn is None:
        change, heat = (np.broadcast_to(v, x.shape) for v in (nominal.change.power_w, nominal.turbine.heat_power_w))
        saves, costs = saves_and_costs(ChainOutcome(change, heat))
        speeds, outcomes = swept.speeds_m_s, _outcomes(saves.astype(float), costs.astype(float), heat > 0.5)
    else:
        speeds, outcomes = swept.drawn.speeds_m_s, swept.drawn.outcomes
    title = fuel_title(answered, [float(v) for v in speeds], outcomes, system)
    form = _FuelForm(x_name, y_name, tuple(changes))
    return Picture("fuel_over_road_speed", title, form, frame, numbers=numbers)


@dataclass(frozen=True)
class _FuelForm:
    """How the change in fuel is drawn: band, zero, a line for each state, the scenario's own speed."""

    x_name: str
    y_name: str
    states: tuple[str, ...]

    def __call__(self, numbers: Mapping[str, Any], /) -> Any:
        import altair as alt

        colours = tuple(colour for _, colour in _STATES.values())
        layers = [_band_drawn(numbers["band"], self.x_name, self.y_name)] if "band" in numbers else []
        zero = alt.Chart(numbers["zero"]).mark_rule(color=BLACK, strokeWidth=1.5)
        layers.append(zero.encode(y=alt.Y(f"{escaped(self.y_name)}:Q", title=self.y_name)))
        layers.append(series_lines(numbers["lines"], self.x_name, self.y_name, "turbine", self.states, colours))
        if "own" in numbers:
            layers.append(own_points(numbers["own"], self.x_name, self.y_name, "turbine"))
        return alt.layer(*layers).properties(height=320)


def _band(swept: _SweptSpeeds, ends_w: tuple[np.ndarray, np.ndarray], factor: float) -> pd.DataFrame:
    import pandas as pd

    assert swept.drawn is not None
    x = swept.shown(swept.drawn.speeds_m_s)
    return pd.DataFrame({swept.x_name: x, "lowest": ends_w[0] * factor, "highest": ends_w[1] * factor})


def _with_band(frame: pd.DataFrame, band: pd.DataFrame, by: str, series: str, x_name: str) -> pd.DataFrame:
    """Return a frame with the band of one of its series."""
    both = frame.merge(band.assign(**{by: series}), how="outer", on=[x_name, by], sort=True)
    return both.sort_values([by, x_name])


def _band_drawn(ends: Any, x_name: str, y_name: str) -> Any:
    """Return the band as a layer."""
    import altair as alt

    return (
        alt.Chart(ends)
        .mark_area(opacity=0.2, color=ORANGE)
        .encode(
            x=alt.X(f"{escaped(x_name)}:Q", title=x_name),
            y=alt.Y("lowest:Q", title=y_name),
            y2=alt.Y2("highest:Q"),
        )
    )


def _heat_picture(swept: _SweptSpeeds) -> Picture:
    import pandas as pd

    answered, system, scenario = swept.answered, swept.system, swept.answered.scenario
    starts = _starts(scenario, swept.speeds_m_s)
    x, x_name, y_name = swept.shown(swept.speeds_m_s), swept.x_name, "heat, kW"
    heats = {name: np.broadcast_to(work.heat_power_w, x.shape) / 1e3 for name, (_, work) in starts.items()}
    names = tuple(heats)
    numbers = {"lines": pd.concat([pd.DataFrame({x_name: x, "start": name, y_name: h}) for name, h in heats.items()])}
    frame = numbers["lines"]
    if swept.drawn is not None:
        numbers["band"] = _band(swept, swept.drawn.heat_w, 1e-3)
        frame = _with_band(frame, numbers["band"], "start", names[0], x_name)
    passed = _first_passed(starts, swept.speeds_m_s)
    inputs, work = starts[names[0]]
    stalled = _stalled_up_to(inputs, work, swept.speeds_m_s)
    marks = [(f"limit of {name}", speed) for name, speed in passed]
    marks += [("stalled up to here", stalled)] if stalled is not None else []
    for k, (name, speed) in enumerate(marks):
        numbers[f"mark {k}"] = pd.DataFrame({x_name: [to_user(speed, "speed", system)], "limit": [name]})
    if answered.trip is None and swept.own > 0:
        own = {x_name: [to_user(swept.own, "speed", system)], "start": ["the verdict"]}
        numbers["own"] = pd.DataFrame({**own, y_name: median_heat_w(answered) / 1e3})
    middle = (swept.speeds_m_s[0] + swept.speeds_m_s[-1]) / 2
    title = heat_title(answered, passed, stalled, float(swept.speeds_m_s[-1]), system)
    form = _HeatForm(x_name, y_name, names, tuple(speed > middle for _, speed in marks))
    return Picture("heat_over_road_speed", title, form, frame, numbers=numbers)


@dataclass(frozen=True)
class _HeatForm:
    """How the heat is drawn: band, a line for each way to start, upright marks, the verdict's own speed.

    `late` holds, for each mark, whether it stands in the right half: its words are then on its left.
    """

    x_name: str
    y_name: str
    starts: tuple[str, ...]
    late: tuple[bool, ...]

    def __call__(self, numbers: Mapping[str, Any], /) -> Any:
        import altair as alt

        layers = [_band_drawn(numbers["band"], self.x_name, self.y_name)] if "band" in numbers else []
        colours = (ORANGE, GREEN)[: len(self.starts)]
        layers.append(series_lines(numbers["lines"], self.x_name, self.y_name, "start", self.starts, colours))
        layers += _upright([numbers[f"mark {k}"] for k in range(len(self.late))], self.x_name, self.late)
        if "own" in numbers:
            layers.append(own_points(numbers["own"], self.x_name, self.y_name, "start"))
        return alt.layer(*layers).properties(height=320)


def _starts(scenario: Scenario, speeds_m_s: np.ndarray) -> dict[str, tuple[Inputs, TurbineAtWork]]:
    """Return the turbine at work as it is started and, where that gives other heat, started the other way."""
    where = {"trip.road_speed": speeds_m_s}
    own = inputs_of(scenario, where)
    starts = {"heat": (own, turbine_at_work(own, with_free_run=False))}
    if own.turbine.curves is None or own.turbine.chain is None:
        return starts
    unloaded = own.turbine.load_connected_after_spin_up
    other = replace(own, turbine=replace(own.turbine, load_connected_after_spin_up=not unloaded))
    work = turbine_at_work(other, with_free_run=False)
    apart = np.abs(work.heat_power_w - starts["heat"][1].heat_power_w)
    if np.any(apart > np.maximum(_APART * np.maximum(work.heat_power_w, starts["heat"][1].heat_power_w), 5.0)):
        names = ("load on from standstill", "load on after the start")
        first, second = names[::-1] if unloaded else names
        return {first: starts["heat"], second: (other, work)}
    return starts


def _first_passed(
    starts: Mapping[str, tuple[Inputs, TurbineAtWork]], speeds_m_s: np.ndarray
) -> list[tuple[str, float]]:
    """Return each limit that is passed with the speed (m/s) from which it is, whichever way it is started."""
    passed: dict[str, float] = {}
    for inputs, work in starts.values():
        for one in stated_limits(inputs, work):
            share, name = np.broadcast_to(one.share, speeds_m_s.shape), one.in_a_sentence
            over = np.flatnonzero(share > 1 + 1e-9)
            if over.size:
                passed[name] = min(passed.get(name, np.inf), _crossing(speeds_m_s, share, int(over[0])))
    return sorted(passed.items(), key=lambda entry: entry[1])


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


def _upright(marks: Sequence[Any], x_name: str, late: Sequence[bool]) -> list[Any]:
    """Return upright lines with their words, each on a height of its own."""
    import altair as alt

    layers: list[Any] = []
    words: list[Any] = []  # over all of the lines
    x = f"{escaped(x_name)}:Q"
    for k, (at, on_the_left) in enumerate(zip(marks, late, strict=True)):
        rule = alt.Chart(at).mark_rule(color=BLACK, strokeDash=[5, 4], strokeWidth=1.5)
        place: dict[str, Any] = {"align": "right", "dx": -5} if on_the_left else {"align": "left", "dx": 5}
        place["y"] = 10 + 17 * k
        halo = alt.Chart(at).mark_text(**place, fontSize=13, stroke="white", strokeWidth=4)
        text = alt.Chart(at).mark_text(**place, fontSize=13, color=BLACK)
        # Channels as objects, not as short strings: the library takes a hundred times as long with those.
        layers.append(rule.encode(x=alt.X(x), tooltip=[alt.Tooltip("limit:N"), alt.Tooltip(x, format=".3~g")]))
        words += [drawn.encode(x=alt.X(x), text=alt.Text("limit:N")) for drawn in (halo, text)]
    return layers + words
