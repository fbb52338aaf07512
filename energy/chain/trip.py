"""The ledger of a whole trip: every second with and without the turbine, the turbine working only when its policy lets
it.

The road's part is computed in every step as in a steady answer. The rotor's part depends on the air speed alone, so for
every draw the operating point is found on a grid of air speeds and its coefficients (power over air speed cubed, force
over its square) are interpolated: what the electrical chain loses and gives stays in balance, as interpolation is
linear. The rotor follows the air speed at once: its own inertia is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np

from energy.aero.air import AirAtVehicle
from energy.chain.ledger import (
    Answer,
    TripState,
    TurbineAtWork,
    answer,
    change_and_heat,
    forces_on_road,
    mount_drag_n,
    outcome_of_draws,
    resting_blades_drag_n,
    stowed_drag_n,
    turbine_at_work,
)
from energy.chain.stalled import AIR_M_S, stalled_or_stands
from energy.progress import Progress, tell
from energy.scenario.inputs import Inputs, inputs_of
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.uncertainty.quantiles import ChainOutcome
from energy.uncertainty.sensitivities import Chain
from vehicle.arrays import map_arrays, map_arrays_with_air_speed
from vehicle.driving.engine import Engine, Supply
from vehicle.driving.trip import Steps, merged, split_at_speeds, spread_over, steps_of, weibull_quantile, with_idling

_NODES, _COARSE_NODES, _STALL_NODES = 48, 20, 32  # air speeds at which the operating point is found
_BLOCK = 16_384  # draws × steps worked on at once: they fit the processor's cache

T = TypeVar("T")
Draws = Mapping[str, np.ndarray]


@dataclass(frozen=True)
class TripAnswer:
    """A trip, answered.

    `mean` is the answer with every figure averaged over the trip's time (watts, L/s; times `steps.total_s` they are
    totals), `by_step` the same in each of the `steps`, `most` the turbine at its most (each figure's greatest), `works`
    where it works.
    """

    mean: Answer
    by_step: Answer
    most: TurbineAtWork
    steps: Steps
    works: np.ndarray
    name: str

    @property
    def works_share(self) -> float:
        """Share of the trip's time in which the turbine works."""
        return float((self.works * self.steps.duration_s).sum() / self.steps.total_s)


def steps_of_scenario(scenario: Scenario) -> Steps:
    """Return the steps of the scenario's schedule, along its profile if any, split where policy or gear changes."""
    assert scenario.schedule is not None
    schedule = split_at_speeds(scenario.schedule, _changing_speeds_m_s(scenario))
    return steps_of(schedule, scenario.profile, grade=scenario.trip.grade.value)


def _changing_speeds_m_s(scenario: Scenario) -> np.ndarray:
    """Return the road speeds at which the policy or, with torque to spare, the gear changes."""
    speeds = [] if scenario.trip.works_speed is None else [scenario.trip.works_speed.value]
    engine = inputs_of(scenario).engine
    if isinstance(engine, Engine):
        lowest = float(np.mean(np.asarray(engine.lowest_driving_speed_rad_s)))
        speeds += [lowest * float(travel) for travel in engine.travel_per_radian_m[1:]]
    return np.array(speeds)


def answer_trip(
    scenario: Scenario, setting: Mapping[QuantityKey, float] | None = None, steps: Steps | None = None
) -> TripAnswer:
    """Return the trip of the scenario's nominal values, at another `setting` if given; `steps` if known already."""
    steps = steps_of_scenario(scenario) if steps is None else steps
    by_step, works = answer_by_step(scenario, steps, setting)
    weights = steps.duration_s / steps.total_s
    return TripAnswer(
        _mean_answer(by_step, steps, weights),
        by_step,
        turbine_at_its_most(by_step.turbine),
        steps,
        works,
        steps_name(scenario),
    )


def answer_by_step(
    scenario: Scenario, steps: Steps, setting: Mapping[QuantityKey, float] | None = None
) -> tuple[Answer, np.ndarray]:
    """Return the answer at the nominal values in every step, in their order, and where the turbine works."""
    values: dict[str, np.ndarray] = {key: np.asarray(value) for key, value in (setting or {}).items()}
    inputs = _inputs(scenario, steps, values)
    nodes = _nodes(scenario, values, _fastest(inputs), with_free_run=True)
    turbine, works = _turbine(scenario, inputs, nodes)
    return answer(inputs, turbine), works


def heat_by_step(scenario: Scenario, steps: Steps, draws: Draws) -> np.ndarray:
    """Return the heat into the load of every draw in every step, in their order: (draws, steps) [W]."""
    heat = np.empty((len(next(iter(draws.values()))), len(steps.duration_s)))
    for part, _, turbine in _in_blocks(scenario, steps, draws, _NODES):
        heat[part] = turbine.heat_power_w
    return heat


def steps_name(scenario: Scenario) -> str:
    """Return the schedule's file name."""
    assert scenario.schedule is not None
    return scenario.schedule.name


def trip_chain(scenario: Scenario, *, coarse: bool = False) -> Chain:
    """Return the chain of a trip: draws in, mean change in fuel and mean heat over the trip's time out (W).

    `coarse` puts steps that are nearly alike together: within a per cent or two of the same for a tenth of the work,
    for questions that ask for differences (which input matters most).
    """
    steps = steps_of_scenario(scenario)
    nodes_of_each = _NODES
    if coarse:
        steps, nodes_of_each = merged(steps, nearly=True), _COARSE_NODES
    elif scenario.wind_climate is None:
        steps = merged(steps)
    weights = steps.duration_s / steps.total_s

    def chain(draws: Draws, progress: Progress | None = None) -> ChainOutcome:
        count = len(next(iter(draws.values())))
        change, heat, short = np.empty(count), np.empty(count), np.empty(count, dtype=bool)
        for part, inputs, turbine in _in_blocks(scenario, steps, draws, nodes_of_each):
            drawn, shape = outcome_of_draws(inputs, turbine), (part.stop - part.start, len(weights))
            change[part] = np.broadcast_to(drawn.change_w, shape) @ weights
            heat[part] = np.broadcast_to(drawn.heat_w, shape) @ weights
            short[part] = np.broadcast_to(drawn.short_of_torque, shape).any(axis=1)
            tell(progress, part.stop / count)
        return ChainOutcome(change, heat, short)

    return chain


def _in_blocks(
    scenario: Scenario, steps: Steps, draws: Draws, nodes_of_each: int
) -> Iterator[tuple[slice, Inputs, TurbineAtWork]]:
    """Yield some of the draws at a time, with their inputs and the turbine in every step as its policy lets it work."""
    count = len(next(iter(draws.values())))
    block = max(1, _BLOCK // len(steps.duration_s))
    fastest = _fastest(_inputs(scenario, steps, _extremes(draws)))
    for start in range(0, count, _NODES * block):
        outer = slice(start, min(start + _NODES * block, count))
        nodes = _nodes(scenario, {k: v[outer] for k, v in draws.items()}, fastest, count=nodes_of_each)
        for first in range(outer.start, outer.stop, block):
            part = slice(first, min(first + block, outer.stop))
            inputs = _inputs(scenario, steps, {k: v[part] for k, v in draws.items()})
            turbine, _ = _turbine(scenario, inputs, _rows(nodes, slice(part.start - start, part.stop - start)))
            yield part, inputs, turbine


@dataclass(frozen=True)
class SettingsOverTrip:
    """What settings give over a trip: arrays (settings,) of means over its time, steps nearly alike put together.

    `heat_within_curves_w` leaves out what is made where the curves do not reach. `up_to_fastest` is the turbine
    (settings, air speeds) in air up to the fastest in which it works, which `inputs` go with.
    """

    heat_within_curves_w: np.ndarray
    change_w: np.ndarray
    rotor_drag_n: np.ndarray
    inputs: Inputs
    up_to_fastest: TurbineAtWork


def trip_look(scenario: Scenario) -> Callable[[Draws, bool], SettingsOverTrip]:
    """Return what tries settings over the scenario's trip, all else at the stated values.

    The second argument says whether the change in fuel is wanted, else it is NaN.
    """
    exact = steps_of_scenario(scenario)
    own = _inputs(scenario, exact, {})
    fastest = _fastest(own)
    _, works = _turbine(scenario, own, _nodes(scenario, {}, fastest))
    at_work = float(np.max(np.where(works, own.rotor_air_speed_m_s, 0.0)))
    steps = merged(exact, nearly=True)
    weights = steps.duration_s / steps.total_s
    step_m_s = fastest / _COARSE_NODES
    air_m_s = np.append(step_m_s * np.arange(int(at_work / step_m_s) + 1), at_work)

    def look(settings: Draws, fuel: bool) -> SettingsOverTrip:
        count = len(next(iter(settings.values())))
        nodes = _nodes(scenario, settings, fastest, count=_COARSE_NODES)
        heat, change, drag = (np.full(count, np.nan) for _ in range(3))
        block = max(1, _BLOCK // len(weights))
        for start in range(0, count, block):
            part = slice(start, min(start + block, count))
            inputs = _inputs(scenario, steps, {key: values[part] for key, values in settings.items()})
            turbine, _ = _turbine(scenario, inputs, _rows(nodes, part, also={"beyond_data"}))
            shape = (part.stop - part.start, len(weights))
            known = np.where(turbine.beyond_data, 0.0, turbine.heat_power_w)
            for into, values in ((heat, known), (drag, turbine.rotor_drag_n)):
                into[part] = np.broadcast_to(values, shape) @ weights
            if fuel:
                change[part] = np.broadcast_to(change_and_heat(inputs, turbine)[0], shape) @ weights
        place = air_m_s / step_m_s
        column = place.astype(int)
        up_to_fastest = _figures(nodes.working, column, place - column, air_m_s)
        return SettingsOverTrip(heat, change, drag, own, up_to_fastest)

    return look


def _extremes(draws: Draws) -> dict[str, np.ndarray]:
    """Return the least and greatest of every draw: enough to tell the fastest air."""
    return {key: np.array([values.min(), values.max()]) for key, values in draws.items()}


def _inputs(scenario: Scenario, steps: Steps, draws: Draws) -> Inputs:
    """Return the inputs of every step (steps,), with draws (n, steps); the engine idles through short stops."""
    columns = _columns(draws)
    along: dict[str, Any] = {
        **columns,
        "trip.road_speed": steps.speed_m_s,
        "trip.grade": steps.grade,
        "trip.acceleration": steps.acceleration_m_s2,
        **_wind(scenario, steps, columns),
    }
    inputs = inputs_of(scenario, along)
    return replace(
        inputs,
        engine=with_idling(inputs.engine, steps.standing_s, inputs.longest_idle_s),
        assumptions=tuple(entry for entry in inputs.assumptions if entry.key not in along or entry.key in draws),
    )


def _columns(draws: Draws) -> dict[str, np.ndarray]:
    """Return draws (n,) as columns (n, 1); single values stay what they are."""
    return {key: values[:, None] if values.ndim else values for key, values in draws.items()}


def _wind(scenario: Scenario, steps: Steps, columns: Draws) -> dict[str, np.ndarray]:
    """Return the wind of every step: the schedule's or profile's; else the climate's; else nothing (the scenario's
    own).
    """
    known = np.isfinite(steps.wind_speed_m_s)
    climate = scenario.wind_climate
    wind: dict[str, np.ndarray] = {}
    if climate is not None and "wind_speed" not in scenario.air.model_fields_set:
        speeds, sides = spread_over(len(known))
        mean = columns.get("wind_climate.mean_speed", climate.mean_speed.value)
        shape = columns.get("wind_climate.shape", climate.shape.value)
        wind["air.wind_speed"] = weibull_quantile(speeds, mean, shape)
        if climate.direction == "any":
            wind["air.wind_from"] = 2 * np.pi * sides
    elif known.any():
        wind["air.wind_speed"] = columns.get("air.wind_speed", np.array(scenario.air.wind_speed.value))
    if known.any():
        wind["air.wind_speed"] = np.where(known, steps.wind_speed_m_s, wind["air.wind_speed"])
    stated = np.isfinite(steps.wind_from_rad)
    if stated.any():
        before = wind.get("air.wind_from", columns.get("air.wind_from", np.array(scenario.air.wind_from.value)))
        wind["air.wind_from"] = np.where(stated, steps.wind_from_rad, before)
    return wind


def _fastest(inputs: Inputs) -> float:
    return max(float(np.max(inputs.rotor_air_speed_m_s)), 1.0) * 1.000001


@dataclass(frozen=True)
class _Nodes:
    """The turbine at air speeds `step` · (0, 1, 2, …), as coefficients (draws or nothing, nodes)."""

    step_m_s: float
    working: TurbineAtWork
    stowed_n: np.ndarray | None  # coefficient, where the stowed rotor spins
    stalled: np.ndarray | None = None  # where it was asked for


def _nodes(
    scenario: Scenario, draws: Draws, fastest_m_s: float, *, count: int = _NODES, with_free_run: bool = False
) -> _Nodes:
    """Return the turbine on a grid of air speeds from ahead, up to the fastest of the trip."""
    inputs, step = _node_inputs(scenario, draws, fastest_m_s, count)
    return _solved(inputs, step, turbine_at_work(inputs, with_free_run=with_free_run))


def _node_inputs(scenario: Scenario, draws: Draws, fastest_m_s: float, count: int) -> tuple[Inputs, float]:
    """Return the inputs on a grid of air speeds from ahead, and the grid's step."""
    columns = _columns(draws)
    quiet = {"trip.road_speed": 0.0, "air.wind_speed": 0.0, "air.wind_from": 0.0}
    inputs = inputs_of(scenario, {**columns, **quiet})
    step = fastest_m_s / count
    speed = step * np.arange(count + 2)
    speed[0] = 1e-3 * step  # the coefficients of still air are those of a breath of it
    free = speed / np.asarray(inputs.turbine.local_speed_factor)
    zero = np.zeros_like(free)
    inputs = replace(
        inputs,
        rotor_air_speed_m_s=np.broadcast_to(speed, free.shape),
        free_air_speed_m_s=free,
        air=AirAtVehicle(free, zero, free, zero),
    )
    return inputs, step


def _solved(inputs: Inputs, step_m_s: float, turbine: TurbineAtWork, stalled: np.ndarray | None = None) -> _Nodes:
    """Return a turbine on the grid of air speeds as coefficients."""
    speed, working = inputs.rotor_air_speed_m_s, replace(turbine, point=None)
    speed = speed.reshape(-1, speed.shape[-1])[0]  # the same for every draw
    shape = np.broadcast_shapes(np.shape(working.heat_power_w), np.shape(working.rotor_drag_n))
    spinning = inputs.turbine.stowed == "spinning"
    stowed = np.broadcast_to(stowed_drag_n(inputs), shape) / speed**2 if spinning else None
    shaped = map_arrays(lambda values: np.broadcast_to(values, shape), working)
    figures = map_arrays_with_air_speed(lambda v, power: v * speed**-power if power else v, shaped)
    return _Nodes(step_m_s, figures, stowed, None if stalled is None else np.broadcast_to(stalled, shape))


@dataclass(frozen=True)
class StalledOverTrip:
    """How much of a trip the rotor is stalled, one entry a draw.

    `energy_share` of the air's energy that passes while it works (in air that should turn it) meets a stalled rotor or
    one that stands. `heat_w` is the mean heat over the trip, `unloaded_heat_w` what it would be if the load were
    connected only after the rotor has spun up.
    """

    energy_share: np.ndarray
    heat_w: np.ndarray
    unloaded_heat_w: np.ndarray


def stalled_over_trip(scenario: Scenario, draws: Draws) -> StalledOverTrip | None:
    """Return how much of a trip the rotor is stalled, for every draw (at least one); None where no curves are known."""
    steps = merged(steps_of_scenario(scenario), nearly=True)
    inputs = _inputs(scenario, steps, draws)
    if inputs.turbine.curves is None or inputs.turbine.chain is None:
        return None
    at_nodes, step = _node_inputs(scenario, draws, _fastest(inputs), _STALL_NODES)
    loaded = turbine_at_work(at_nodes, with_free_run=False)
    nodes = _solved(at_nodes, step, loaded, stalled_or_stands(at_nodes, loaded))
    later = replace(at_nodes, turbine=replace(at_nodes.turbine, load_connected_after_spin_up=True))
    unloaded = _solved(later, step, turbine_at_work(later, with_free_run=False))
    turbine, works = _turbine(scenario, inputs, nodes)
    faster, _ = _turbine(scenario, inputs, unloaded)
    speed, seconds = inputs.rotor_air_speed_m_s, steps.duration_s
    energy = np.where(works & (speed > AIR_M_S), speed**3, 0.0) * seconds
    assert nodes.stalled is not None
    nearest = np.rint(speed / step).astype(int)
    stalled = _between(nodes.stalled.astype(float), nearest, np.zeros(np.shape(speed)))
    count = len(next(iter(draws.values()))) if draws else 1
    energy, stalled, heat, more = (
        np.broadcast_to(v, (count, len(seconds))) for v in (energy, stalled, turbine.heat_power_w, faster.heat_power_w)
    )
    whole = energy.sum(axis=1)
    share = np.divide((energy * stalled).sum(axis=1), whole, out=np.zeros(count), where=whole > 0)
    return StalledOverTrip(share, heat @ seconds / seconds.sum(), more @ seconds / seconds.sum())


def _rows(nodes: _Nodes, rows: slice, *, also: AbstractSet[str] = frozenset()) -> _Nodes:
    """Return the nodes of some of the draws, with only the figures that change in fuel and heat need, and `also`."""
    working = nodes.working
    blank = np.zeros(0)
    needed = {"heat_power_w", "shaft_power_w", "rotor_drag_n", "air_power_w", "turning"} | also
    values: dict[str, Any] = {
        f.name: getattr(working, f.name)[rows] if f.name in needed else None if f.name == "electrical" else blank
        for f in fields(working)
        if f.name not in ("point", "stowed_drag_n")
    }
    stowed = None if nodes.stowed_n is None else nodes.stowed_n[rows]
    return _Nodes(nodes.step_m_s, replace(working, **values), stowed)


def _turbine(scenario: Scenario, inputs: Inputs, nodes: _Nodes) -> tuple[TurbineAtWork, np.ndarray]:
    """Return the turbine in every step as its policy lets it work, and where it works (…, steps)."""
    air, speed = inputs.air, inputs.rotor_air_speed_m_s
    stopped_n = _stopped_drag_n(inputs)
    place = speed / nodes.step_m_s
    column = place.astype(int)
    share = place - column
    stowed_n = stopped_n
    if nodes.stowed_n is not None:
        stowed_n = np.where(speed > 0, _between(nodes.stowed_n, column, share) * speed**2, stopped_n)
    works = _works(scenario, inputs, stowed_n)
    turbine = _figures(nodes.working, column, share, speed)
    from_ahead = speed > 0
    along = np.where(air.speed_m_s > 0, np.cos(air.yaw_rad), 1.0) if inputs.turbine.turns_into_wind else 1.0
    drag = np.where(from_ahead, turbine.rotor_drag_n * along, stopped_n)
    given_up = np.where(from_ahead, turbine.air_power_w, stopped_n * air.ahead_m_s)
    turbine = replace(turbine, rotor_drag_n=drag, air_power_w=given_up)
    return _stowed_where(inputs, turbine, ~works, stowed_n), works


def _stopped_drag_n(inputs: Inputs) -> np.ndarray:
    """Return the drag of the blades at rest: feathered where they are stowed so, else stopped."""
    area = (
        inputs.turbine.feathered_drag_area_m2
        if inputs.turbine.stowed == "feathered"
        else inputs.turbine.stopped_drag_area_m2
    )
    return resting_blades_drag_n(inputs, area)


def _between(values: np.ndarray, column: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Return values (nodes,) or (draws, nodes) between their nodes, at columns and shares (…, steps)."""
    if values.ndim == 1:
        return values[column] + share * (values[column + 1] - values[column])
    column = np.broadcast_to(column, (len(values), column.shape[-1]))
    flat = values.ravel()
    at = column + values.shape[1] * np.arange(len(values))[:, None]
    low = flat.take(at)
    return low + share * (flat.take(at + 1) - low)


def _figures(working: TurbineAtWork, column: np.ndarray, share: np.ndarray, speed: np.ndarray) -> TurbineAtWork:
    """Return the turbine's figures between its nodes, from coefficients back to figures at their air speeds."""

    def at(values: np.ndarray, power: int) -> np.ndarray:
        if values.shape == (0,):
            return values
        if values.dtype == bool:
            return _between(values.astype(float), column, share) >= 0.5
        figures = _between(values, column, share)
        return figures * speed**power if power else figures

    return map_arrays_with_air_speed(at, working)


def _at_rest_where(turbine: TurbineAtWork, resting: np.ndarray) -> TurbineAtWork:
    """Return the turbine with no turning, no power and no thrust of its own where it rests."""
    if not resting.any():
        return turbine

    def still(values: np.ndarray) -> np.ndarray:
        if values.shape == (0,):
            return values
        return np.where(resting, False if values.dtype == bool else 0.0, values)

    return replace(map_arrays(still, turbine), free_run_speed_rad_s=turbine.free_run_speed_rad_s)


def stowed_where(inputs: Inputs, turbine: TurbineAtWork, resting: np.ndarray) -> TurbineAtWork:
    """Return a turbine that works, but is stowed where it rests: there its drag is that of the stowed rotor alone."""
    return _stowed_where(inputs, replace(turbine, point=None), resting, stowed_drag_n(inputs))


def _stowed_where(inputs: Inputs, turbine: TurbineAtWork, resting: np.ndarray, stowed_n: np.ndarray) -> TurbineAtWork:
    drag = np.where(resting, stowed_n, turbine.rotor_drag_n)
    given_up = np.where(resting, stowed_n * inputs.air.ahead_m_s, turbine.air_power_w)
    still = _at_rest_where(turbine, resting)
    return replace(still, rotor_drag_n=drag, air_power_w=given_up, stowed_drag_n=stowed_n)


def _works(scenario: Scenario, inputs: Inputs, stowed_n: np.ndarray) -> np.ndarray:
    """Return where the policy lets the turbine work, a boolean array that broadcasts to (…, steps)."""
    trip, speed = scenario.trip, np.asarray(inputs.road_speed_m_s)
    if trip.works == "always":
        return np.ones(speed.shape, dtype=bool)
    if trip.works == "only_parked":
        return speed == 0
    if trip.works in ("below_speed", "above_speed"):
        assert trip.works_speed is not None
        below = speed < trip.works_speed.value
        return below if trip.works == "below_speed" else ~below
    forces = forces_on_road(inputs, inputs.turbine.mass_kg)
    return (forces.total_n + mount_drag_n(inputs) + stowed_n < 0) & (speed > 0)


def _averaged(thing: T, weights: np.ndarray) -> T:
    """Return a dataclass with every array over the steps averaged by weights; of booleans, whether all are true."""

    def over_steps(values: np.ndarray) -> np.ndarray:
        if values.shape[-1:] != weights.shape:
            return values
        return np.asarray(values.all() if values.dtype == bool else _mean(values, weights))

    return map_arrays(over_steps, thing)


def _mean(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    return np.asarray(np.broadcast_to(values, (*np.shape(values)[:-1], len(weights))) @ weights)


def _mean_state(state: TripState, weights: np.ndarray) -> TripState:
    rows = tuple((account, name, _mean(np.broadcast_to(w, weights.shape), weights)) for account, name, w in state.rows)
    supply: Supply = _averaged(state.supply, weights)
    supply = replace(supply, gear=np.round(supply.gear))
    return replace(_averaged(state, weights), supply=supply, rows=rows)


def _mean_answer(by_step: Answer, steps: Steps, weights: np.ndarray) -> Answer:
    """Return the answer averaged over the trip's time; its fuel per metre is that of the whole trip."""
    states = {name: _mean_state(state, weights) for name, state in by_step.states.items()}
    without = _mean_state(by_step.without, weights)
    speed = np.asarray(steps.distance_m / steps.total_s)

    def change(of: Any, plain: TripState) -> Any:
        mean = _averaged(replace(of, percent=0.0, volume_m3_per_m=0.0), weights)
        base = plain.supply.source_w
        with np.errstate(divide="ignore", invalid="ignore"):
            return replace(
                mean,
                percent=np.where(np.abs(base) > 0, 100 * mean.power_w / base, np.nan),
                volume_m3_per_m=mean.volume_m3_s / speed,
                load_points=np.asarray(np.nan),
            )

    inputs = by_step.inputs
    mean_inputs = replace(
        inputs,
        road_speed_m_s=speed,
        grade=np.asarray(_mean(np.sin(np.arctan(inputs.grade)) * steps.speed_m_s, weights) / speed),
        acceleration_m_s2=0.0,
        air=_averaged(inputs.air, weights),
        rotor_air_speed_m_s=_mean(inputs.rotor_air_speed_m_s, weights),
        free_air_speed_m_s=_mean(inputs.free_air_speed_m_s, weights),
    )
    other = {name: _averaged(source, weights) for name, source in by_step.other_sources.items()}
    turbine = _averaged(by_step.turbine, weights)
    return replace(
        by_step,
        inputs=mean_inputs,
        turbine=replace(
            turbine,
            turning=np.asarray(by_step.turbine.turning.any()),
            beyond_data=np.asarray(by_step.turbine.beyond_data.any()),
            thrust_floor=np.asarray(by_step.turbine.thrust_floor.any()),
        ),
        states=states,
        without=without,
        change=change(by_step.change, without),
        change_without_credit=change(by_step.change_without_credit, states[by_step.compared_with]),
        other_sources=other,
    )


def turbine_at_its_most(turbine: TurbineAtWork) -> TurbineAtWork:
    """Return the turbine at its most: each figure's greatest over the steps, whether anything was ever true."""
    return map_arrays(lambda values: np.asarray(values.any() if values.dtype == bool else values.max()), turbine)
