"""From a scenario to how its load warms: at a steady cruise, over a trip with stops, or under a wattmeter's log.

Entry 0 of every array over draws is the answer of the values as stated; the others are draws over all that is
uncertain, of the load and of the turbine's power alike. One call of the same functions gives both.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from energy.aero.air import standard_atmosphere
from energy.chain.ledger import Answer, TurbineAtWork, answer, turbine_at_work
from energy.chain.outcome import outcome_of, steady_spread
from energy.chain.stall import StallRisk, stall_risk
from energy.chain.trip import (
    TripAnswer,
    answer_trip,
    heat_by_step,
    steps_of_scenario,
    stowed_where,
    trip_chain,
    turbine_at_its_most,
)
from energy.chain.trip_stall import TripStallRisk, trip_stall_risk
from energy.heat.heater import (
    ElementControl,
    HeatingOutcome,
    HeatingSteps,
    SteadyPower,
    TemperatureBand,
    heat_up,
    simulate,
)
from energy.heat.kinds import CONTENTS_BY_WORD, CONTENTS_J_KG_K, water_tank
from energy.heat.load import (
    ElementLimits,
    HeatedLoad,
    SecondNode,
    Thermostat,
    faults,
    food_specific_heat_j_kg_k,
    most_power_w,
    with_contents,
)
from energy.heat.steady import slowest_time_constant_s
from energy.heat.steps import FloatArray, HeaterError, film_in_wind_w_m2_k
from energy.heat.water import boiling_point_k
from energy.heat.wattmeter import read_wattmeter_log, trip_steps
from energy.progress import Progress, part, tell
from energy.scenario.element import element_limits
from energy.scenario.inputs import Assumption, Inputs, inputs_of, ranges_of, values_of
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.uncertainty.propagate import OutcomeSpread
from energy.uncertainty.quantiles import estimate_of
from vehicle.arrays import Values
from vehicle.constants import ZERO_CELSIUS_K
from vehicle.driving.trip import Schedule, Steps
from vehicle.problems import InputError, Problem
from vehicle.quantity import Estimate, Uncertain
from vehicle.tables import increasing, read_table

DRAWS = 512
SHARE = 0.9  # of the draws inside an interval
_MOST_CELLS = 2_000_000  # steps × draws of a trip
_FUEL_CELLS = 60_000
_CHART_POINTS = 480
_MOST_STEPS_AGAIN = 20_000
_AT_WORK = 0.01  # of a log's highest power: above it the turbine works; a wattmeter's zero drifts (own rule, no source)
# Steps of a trip that take as long as its power and fuel: 1 500 to 11 000 as measured, the median 3 300 (three demo
# loads, trips of 300 to 9 000 steps). Of the time of power and fuel the power takes 0.20 to 0.40.
_STEPS_OF_COST = 3_300
_POWER_SHARE = 0.3
_WARMED = 0.4  # of the time of a steady warm-up with a thermostat, to where the load has settled without one

_KEYS: tuple[QuantityKey, ...] = (
    "load.heat_capacity",
    "load.loss",
    "load.radiating_area",
    "load.outside_area",
    "load.open_water_area",
    "load.contents_mass",
    "load.contents_specific_heat",
    "load.contents_water_share",
    "load.target_temperature",
    "load.start_temperature",
    "load.ambient_temperature",
    "load.thermostat",
)

Draws = dict[str, np.ndarray]


@dataclass(frozen=True)
class StatedLoad:
    """The heated load of a scenario in numbers, each a float or (draws,)."""

    heater: HeatedLoad
    target_k: Values
    start_k: Values
    ambient_k: Values
    thermostat: Thermostat | None
    limits: ElementLimits
    closed_water: bool  # holds water that cannot boil away: under pressure
    assumptions: tuple[Assumption, ...]


@dataclass(frozen=True)
class Trip:
    """A trip, or a log of power: its rows and how long each holds, arrays (rows,); None where it was not recorded.

    A log without speeds leaves `speed_m_s` None, and then no fuel can be told; `power_w` None means that the power is
    to come from the turbine's curve: between such rows the speed goes in a straight line, as on a schedule.
    """

    name: str
    durations_s: FloatArray
    speed_m_s: FloatArray | None
    power_w: FloatArray | None
    grade: FloatArray | None
    ambient_k: FloatArray | None
    remarks: tuple[str, ...] = ()
    repeats: int = 1
    wind_speed_m_s: FloatArray | None = None
    wind_from_rad: FloatArray | None = None

    @property
    def seconds(self) -> float:
        """Length of the trip, driven as often as it is."""
        return float(self.durations_s.sum()) * self.repeats

    @property
    def works_from_w(self) -> float:
        """The power from which a log shows the turbine at work; below it is counted as stowed."""
        return 0.0 if self.power_w is None else _AT_WORK * float(self.power_w.max())

    @property
    def logged_at_work(self) -> np.ndarray:
        """In which rows a log shows the turbine at work, booleans (rows,)."""
        assert self.power_w is not None
        return np.asarray(self.power_w > self.works_from_w)

    @property
    def logged_work_share(self) -> float:
        """Share of a log's time in which it shows the turbine at work."""
        return float(self.durations_s[self.logged_at_work].sum() / self.durations_s.sum())


@dataclass(frozen=True)
class Heating:
    """How the load warms. `outcome` has the shape (1 + draws,), entry 0 as stated.

    `fuel_m3` and `pack_j`: what the turbine costs until the target is reached, (1 + draws,); NaN where it is not
    reached or not known. `over_trip_fuel_m3` and `over_trip_pack_j`: over the whole trip. `watched` is what
    the load does under its thermostat (the outcome itself where there is none). `reached_if_repeated_s`: when the
    target is reached about, if the trip is driven again and again; NaN where it is reached on it, or never.
    """

    scenario: Scenario
    load: StatedLoad
    answer: Answer  # at the scenario's steady speed, as stated
    hardest: TurbineAtWork | None  # the turbine where it works hardest; None under a log without speeds
    trip: Trip | None
    outcome: HeatingOutcome
    watched: HeatingOutcome
    band: TemperatureBand
    power_w: FloatArray
    fuel_m3: FloatArray
    pack_j: FloatArray
    over_trip_fuel_m3: FloatArray
    over_trip_pack_j: FloatArray
    reached_if_repeated_s: float
    time_constant_s: float
    drawn: int
    heat_w: Estimate  # at a steady speed that of its answer; over a trip the mean of its time
    stall: StallRisk | None = None  # at the steady speed; None on a trip
    spread: OutcomeSpread | None = None  # of the answer at the steady speed; None on a trip, or without draws
    trip_stall: TripStallRisk | None = None  # on a trip with speeds, where curves are known
    over_trip: TripAnswer | None = None  # the answer of that trip; None at a steady speed and under a wattmeter's log


def load_of(scenario: Scenario, ambient_air_k: Values, pressure_pa: float, draws: Mapping[str, Values]) -> StatedLoad:
    """Return the heated load of a scenario; `draws` (key -> array) takes the place of single values.

    Raises InputError for what is missing or impossible.
    """
    table, name = scenario.load, scenario.name
    missing = [
        Problem(name, f"load.{key}", "missing", accepted)
        for key, accepted in (
            ("heat_capacity", 'a value such as "130 kJ/K", or kind = "water_tank" with a volume (windtoll keys load)'),
            ("loss", 'a value such as "1.5 W/K", or a kind; windtoll fit load finds it from a log'),
            ("target_temperature", 'the temperature that is wanted, such as "60 degC" or "140 degF"'),
        )
        if getattr(table, key) is None
    ]
    if missing:
        raise InputError(missing)
    values, assumed = values_of(scenario, _KEYS, draws)
    if np.any(np.asarray(values["load.radiating_area"]) > 0):
        more, said = values_of(scenario, ("load.emissivity",), draws)
        values, assumed = values | more, assumed + said
    if table.thermostat is not None:
        more, said = values_of(scenario, ("load.hysteresis",), draws)
        values, assumed = values | more, assumed + said
    air = scenario.air
    heater = _heater(scenario, values, pressure_pa, air.relative_humidity.value)
    water_key = "load.volume" if table.kind == "water_tank" else "load.contents_mass"
    problems = [*_heater_problems(name, heater, water_key), *_temperature_problems(name, values, heater)]
    if problems:
        raise InputError(problems)
    ambient = values.get("load.ambient_temperature", ambient_air_k)
    thermostat = None
    if table.thermostat is not None:
        thermostat = Thermostat(values["load.thermostat"], values["load.hysteresis"])
    holds_water = table.kind == "water_tank" or table.contents == "water"
    trivial = {"load.radiating_area", "load.outside_area", "load.open_water_area"}
    return StatedLoad(
        heater=heater,
        target_k=values["load.target_temperature"],
        start_k=values.get("load.start_temperature", ambient),
        ambient_k=ambient,
        thermostat=thermostat,
        limits=element_limits(scenario),
        closed_water=holds_water and not table.vented,
        assumptions=tuple(a for a in assumed if a.key not in trivial or np.any(np.asarray(values[a.key]) > 0)),
    )


def _heater(scenario: Scenario, values: Mapping[str, Values], pressure_pa: float, humidity: float) -> HeatedLoad:
    table = scenario.load
    loss = _possible_loss(values["load.loss"], values["load.outside_area"])
    radiating = np.asarray(values["load.radiating_area"]) * values.get("load.emissivity", 1.0)
    outside = values["load.outside_area"]
    walls = table.second_node == "walls"
    second_node = None
    if table.second_node != "none":
        assert table.second_heat_capacity is not None
        assert table.second_coupling is not None
        second_node = SecondNode(
            heat_capacity_j_k=table.second_heat_capacity.value,
            coupling_w_k=table.second_coupling.value,
            loss_w_k=table.second_loss.value,
            radiating_area_m2=radiating if walls else 0.0,
            outside_area_m2=outside if walls else 0.0,
            takes_power=not walls,
        )
    held = 0.0
    if table.kind == "water_tank" and table.vented and table.volume is not None:
        held = water_tank(table.volume.value * 1e3, full=table.filled.value).water_kg
    heater = HeatedLoad(
        heat_capacity_j_k=values["load.heat_capacity"],
        loss_w_k=values["load.loss"] if walls else loss,
        radiating_area_m2=0.0 if walls else radiating,
        outside_area_m2=0.0 if walls else outside,
        water_kg=held,
        open_water_area_m2=values["load.open_water_area"],
        pressure_pa=pressure_pa,
        relative_humidity=humidity,
        second_node=second_node,
    )
    mass = values.get("load.contents_mass")
    if mass is None:
        return heater
    specific = values.get("load.contents_specific_heat")
    if "load.contents_water_share" in values:
        specific = food_specific_heat_j_kg_k(values["load.contents_water_share"])
    if table.contents is not None:
        specific = CONTENTS_J_KG_K[CONTENTS_BY_WORD[table.contents]][0]
    assert specific is not None
    return with_contents(heater, mass, specific, boils=table.contents == "water" and table.vented)


def _possible_loss(loss_w_k: Values, outside_area_m2: Values) -> Values:
    """Return the loss with its draws (not the value as stated) held to what still air over the outer surface lets
    through.
    """
    loss, area = np.asarray(loss_w_k, float), np.asarray(outside_area_m2, float)
    if loss.ndim == 0 or not np.any(area > 0):
        return loss_w_k
    bare = 0.8 * float(film_in_wind_w_m2_k(0.0)) * np.broadcast_to(area, loss.shape)
    held = np.where(bare > 0, np.minimum(loss, bare), loss)
    held[0] = loss[0]
    return held


_KEY_OF_NUMBER = {
    "second_node.heat_capacity_j_k": "load.second_heat_capacity",
    "second_node.coupling_w_k": "load.second_coupling",
    "second_node.loss_w_k": "load.second_loss",
    "second_node.radiating_area_m2": "load.radiating_area",
    "second_node.outside_area_m2": "load.outside_area",
    "heat_capacity_j_k": "load.heat_capacity",
    "loss_w_k": "load.loss",
    "radiating_area_m2": "load.radiating_area",
    "outside_area_m2": "load.outside_area",
    "open_water_area_m2": "load.open_water_area",
    "pressure_pa": "air.pressure",
    "relative_humidity": "air.relative_humidity",
}


def _heater_problems(name: str, heater: HeatedLoad, water_key: str) -> list[Problem]:
    """Return what is physically impossible about the load, under the scenario's own keys."""
    problems = []
    keys = {**_KEY_OF_NUMBER, "water_kg": water_key}
    for text in faults(heater):
        number, _, rest = text.partition(" is ")
        read, _, accepted = rest.partition("; accepted: ")
        for inside, key in keys.items():
            read, accepted = read.replace(inside, key), accepted.replace(inside, key)
        problems.append(Problem(name, keys.get(number, "[load]"), read, accepted))
    return problems


def _temperature_problems(name: str, values: Mapping[str, Values], heater: HeatedLoad) -> list[Problem]:
    """Return temperatures that contradict each other."""
    problems = []
    start = values.get("load.start_temperature")
    if start is not None and _at(heater.water_kg) > 0:
        boiling = float(boiling_point_k(heater.pressure_pa))
        if float(np.max(start)) > boiling:
            read = f"{float(np.max(start)) - ZERO_CELSIUS_K:.4g} degC, where the water has boiled away"
            accepted = f"at most {boiling - ZERO_CELSIUS_K:.4g} degC, or load.vented = false for a closed tank"
            problems.append(Problem(name, "load.start_temperature", read, accepted))
    if "load.thermostat" in values:
        opens = _at(values["load.thermostat"]) + 0.5 * _at(values["load.hysteresis"])
        target = _at(values["load.target_temperature"])
        if target > opens:
            read = f"{target - ZERO_CELSIUS_K:.4g} degC, but the thermostat opens at {opens - ZERO_CELSIUS_K:.4g} degC"
            accepted = f"at most {opens - ZERO_CELSIUS_K:.4g} degC, or load.thermostat set higher"
            problems.append(Problem(name, "load.target_temperature", read, accepted))
    return problems


def sampled(scenario: Scenario, ranges: Mapping[str, Uncertain], count: int) -> Draws:
    """Return for every uncertain key (1 + count,) values: first as stated, then the draws that `windtoll
    answer` makes.
    """
    if not count:
        return {key: np.array([value.value]) for key, value in ranges.items()}
    from energy.scenario.inputs import correlations_of

    pairs = [pair for pair in correlations_of(scenario) if pair[0] in ranges and pair[1] in ranges]
    drawn = draws_of(ranges, sobol_sample(count, len(ranges)), pairs)
    return {key: np.concatenate([[value.value], drawn[key]]) for key, value in ranges.items()}


def uncertain_keys(scenario: Scenario, used: Sequence[QuantityKey]) -> dict[str, Uncertain]:
    """Return the inputs of a heating that are not known exactly: those of the turbine and road (`used`) and
    the load's.
    """
    return ranges_of(scenario, [*used, *_KEYS, "load.emissivity"])


def heating(
    scenario: Scenario, trip: Trip | None = None, *, draws: int = DRAWS, progress: Progress | None = None
) -> Heating:
    """Return how the scenario's load warms at its steady speed, or over a trip; see `Heating`.

    `progress` is told the share done (see energy/progress.py). Raises InputError for a load that is missing,
    impossible, or cannot be computed.
    """
    try:
        result = _heating(scenario, trip, draws, progress)
    except HeaterError as error:
        read, _, accepted = str(error).partition("; accepted: ")
        raise InputError(Problem(scenario.name, "[load]", read, accepted)) from None
    tell(progress, 1.0)
    return result


def _heating(scenario: Scenario, trip: Trip | None, draws: int, progress: Progress | None) -> Heating:
    stated = inputs_of(scenario)
    way = None if trip is None else _way(scenario, trip)
    ranges = uncertain_keys(scenario, stated.used if way is None else inputs_of(way.scenario).used)
    if trip is not None and way is not None:
        ranges.pop("trip.road_speed", None)
        ranges.pop("trip.acceleration", None)
        if trip.grade is not None:
            ranges.pop("trip.grade", None)
        most = max(16, _MOST_CELLS // (way.durations_s.size * trip.repeats))
        draws = min(draws, 1 << (most.bit_length() - 1))  # a power of two keeps the sequence balanced
    drawn = sampled(scenario, ranges, draws if ranges else 0)
    count = 1 + (draws if ranges else 0)
    pressure = _pressure_pa(scenario)
    inputs = inputs_of(scenario, drawn)
    load = load_of(scenario, inputs.temperature_k, pressure, drawn)
    now = answer(stated)
    if trip is None or way is None:
        wind = np.asarray(inputs.air.speed_m_s)
        return _steady(scenario, load, now, _change_of(inputs), wind, count, progress)
    return _on_trip(scenario, load, now, way, drawn, count, progress)


def _pressure_pa(scenario: Scenario) -> float:
    air = scenario.air
    return float(standard_atmosphere(air.altitude.value)[1]) if air.pressure is None else air.pressure.value


def _spread(value: Values, count: int) -> FloatArray:
    return np.broadcast_to(np.asarray(value, dtype=float), (count,)).copy()


def _steady(
    scenario: Scenario,
    load: StatedLoad,
    stated: Answer,
    drawn: Answer,
    air_speed_m_s: np.ndarray,
    count: int,
    progress: Progress | None,
) -> Heating:
    power = _spread(drawn.turbine.heat_power_w, count)
    wind = _spread(air_speed_m_s, count)
    outcome = heat_up(
        load.heater,
        SteadyPower(power, _spread(load.ambient_k, count), wind),
        target_k=_spread(load.target_k, count),
        start_k=_spread(load.start_k, count),
        limits=load.limits,
        progress=part(progress, 0.0, _WARMED),
    )
    constant = float(slowest_time_constant_s(_first(load.heater), _at(load.ambient_k), _at(load.target_k))[0])
    horizon = _horizon_s(outcome, constant)
    watched = outcome
    if load.thermostat is not None:
        watched = _under_thermostat(load, outcome, power, wind, horizon, part(progress, _WARMED, 1.0))
    outcome, watched = (_never_past_boiling(one, load) for one in (outcome, watched))
    time, nothing = outcome.time_to_target_s, np.full(count, np.nan)
    spread = None if count == 1 else steady_spread(scenario)
    heat = (float(stated.turbine.heat_power_w),) if spread is None else spread.heat_w
    pack = _spread(drawn.change.power_w, count) * time if stated.inputs.fuel is None else nothing
    return Heating(
        scenario,
        load,
        stated,
        stated.turbine,
        None,
        outcome,
        watched,
        band(watched, horizon, boiling_k=_closed_boiling_k(load)),
        power,
        fuel_m3=_spread(drawn.change.volume_m3_s, count) * time,
        pack_j=pack,
        over_trip_fuel_m3=nothing,
        over_trip_pack_j=nothing,
        reached_if_repeated_s=math.nan,
        time_constant_s=constant,
        drawn=count - 1,
        heat_w=outcome_of(heat, heat).heat_w,
        stall=stall_risk(scenario, exact=count == 1),
        spread=spread,
    )


def _under_thermostat(
    load: StatedLoad,
    kept_up: HeatingOutcome,
    power_w: FloatArray,
    wind_m_s: FloatArray,
    horizon_s: float,
    progress: Progress | None,
) -> HeatingOutcome:
    """Return what the load does under its thermostat, up to the chart's end; `kept_up` is the same without one."""
    count = power_w.size
    watched = simulate(
        load.heater,
        HeatingSteps(
            power_w[None, :],
            np.full(_CHART_POINTS, horizon_s / _CHART_POINTS),
            _spread(load.ambient_k, count)[None, :],
            wind_m_s[None, :],
        ),
        target_k=_spread(load.target_k, count),
        start_k=_spread(load.start_k, count),
        control=ElementControl(load.thermostat, load.limits),
        most_records=_CHART_POINTS + 1,
        progress=progress,
    )
    return _past_the_horizon(watched, kept_up, load)


def _past_the_horizon(watched: HeatingOutcome, kept_up: HeatingOutcome, load: StatedLoad) -> HeatingOutcome:
    """Return what a thermostat lets happen after the chart's end: one that opens above boiling never does, and the
    load ends as it would without one.
    """
    assert load.thermostat is not None
    opens = np.asarray(load.thermostat.set_k) + 0.5 * np.asarray(load.thermostat.hysteresis_k)
    never = np.broadcast_to(opens >= float(boiling_point_k(load.heater.pressure_pa)), watched.dry_from_s.shape)
    return replace(
        watched,
        boiling_from_s=np.where(never, kept_up.boiling_from_s, watched.boiling_from_s),
        dry_from_s=np.where(never, kept_up.dry_from_s, watched.dry_from_s),
        peak_temperature_k=np.where(
            never & load.closed_water,
            np.minimum(np.fmax(kept_up.peak_temperature_k, watched.peak_temperature_k), opens),
            watched.peak_temperature_k,
        ),
    )


def _at(value: Values) -> float:
    """Return the value as stated."""
    return float(np.ravel(np.asarray(value, dtype=float))[0])


def _first(heater: HeatedLoad) -> HeatedLoad:
    """Return the load as stated, without draws."""
    second_node = heater.second_node
    if second_node is not None:
        radiating, outside = _at(second_node.radiating_area_m2), _at(second_node.outside_area_m2)
        second_node = replace(second_node, radiating_area_m2=radiating, outside_area_m2=outside)
    return replace(
        heater,
        heat_capacity_j_k=_at(heater.heat_capacity_j_k),
        loss_w_k=_at(heater.loss_w_k),
        radiating_area_m2=_at(heater.radiating_area_m2),
        outside_area_m2=_at(heater.outside_area_m2),
        water_kg=_at(heater.water_kg),
        open_water_area_m2=_at(heater.open_water_area_m2),
        second_node=second_node,
    )


def _horizon_s(outcome: HeatingOutcome, constant_s: float) -> float:
    """Return how long a chart of a steady warm-up shows: past the target, past the boiling, or until nearly settled."""
    reached = outcome.time_to_target_s
    if math.isfinite(reached[0]):
        late = float(np.quantile(np.where(np.isnan(reached), np.inf, reached), 0.5 + SHARE / 2, method="higher"))
        return max(1.5 * float(reached[0]), min(1.1 * late, 3.0 * float(reached[0])), 60.0)
    boils = float(outcome.boiling_from_s[0])
    if math.isfinite(boils):
        return max(1.5 * boils, 60.0)
    return min(4.0 * constant_s if math.isfinite(constant_s) else 86400.0, outcome.history.time_s[-1])


def _closed_boiling_k(load: StatedLoad) -> float:
    """Return the temperature from which water in a closed tank boils where its valve opens; inf for other loads."""
    return float(boiling_point_k(load.heater.pressure_pa)) if load.closed_water else math.inf


def _never_past_boiling(outcome: HeatingOutcome, load: StatedLoad) -> HeatingOutcome:
    """Return the outcome of a closed tank: what lies above boiling is never reached, as steam under pressure is not
    computed (see energy/heat/heater.py for an open one).
    """
    past = outcome.target_k > _closed_boiling_k(load)
    if not past.any():
        return outcome
    return replace(
        outcome,
        reachable=outcome.reachable & ~past,
        reason=np.where(past, "boiling", outcome.reason),
        time_to_target_s=np.where(past, np.nan, outcome.time_to_target_s),
        energy_to_target_j=np.where(past, np.nan, outcome.energy_to_target_j),
        holding_power_w=np.where(past, np.nan, outcome.holding_power_w),
        shortfall_w=np.where(past, np.nan, outcome.shortfall_w),
    )


def band(outcome: HeatingOutcome, horizon_s: float = math.inf, *, boiling_k: float = math.inf) -> TemperatureBand:
    """Return the median temperature of the draws, and the band that holds `SHARE` of the draws, up to a time.

    It ends where the water as stated has boiled away: what an empty vessel does is not computed. A draw that boils dry
    sooner stays at the highest temperature of its water. In a closed tank it ends at `boiling_k`: steam under pressure
    is not computed either.
    """
    history = outcome.history
    dry = outcome.dry_from_s
    past = np.flatnonzero(history.main_k[:, 0] > boiling_k)
    ends = [horizon_s, *dry[:1][np.isfinite(dry[:1])], *history.time_s[past[:1]]]
    kept = history.time_s <= min(ends)
    if not kept.all():
        kept[int(kept.sum())] = True
    times, rows = history.time_s[kept], history.main_k[kept]
    empty = times[:, None] >= np.where(np.isnan(dry), np.inf, dry)[None, :]
    rows = np.fmin(np.where(empty, np.fmin(rows, outcome.highest_temperature_k[None, :]), rows), boiling_k)
    drawn = rows[:, 1:] if rows.shape[1] > 1 else rows
    low, middle, high = np.quantile(drawn, [(1 - SHARE) / 2, 0.5, (1 + SHARE) / 2], axis=1)
    return TemperatureBand(history.time_s[kept], middle, low, high)


# Trips


def read_trip(path: Path, *, repeats: int = 1) -> Trip:
    """Return a trip from CSV: time and speed with their units in the headers; grade, ambient and wind where they are
    there.

    The last row's speed holds as long as the median step. Raises InputError naming every fault.
    """
    optional = {"grade": "dimensionless", "ambient": "K", "wind_speed": "m/s", "wind_from": "rad"}
    table = read_table(path, {"time": "s", "speed": "m/s"}, optional=optional)
    increasing(path, "time", table["time"])
    _checked(path, table)
    return Trip(
        path.name,
        trip_steps(table["time"]),
        table["speed"],
        None,
        table.get("grade"),
        table.get("ambient"),
        repeats=repeats,
        wind_speed_m_s=table.get("wind_speed"),
        wind_from_rad=table.get("wind_from"),
    )


def read_power(path: Path, *, repeats: int = 1) -> Trip:
    """Return a wattmeter's log from CSV: time and power; speed and ambient where they are there. See `read_trip`."""
    log = read_wattmeter_log(path)
    if log.columns:
        _checked(path, dict(log.columns))
    return Trip(
        path.name,
        log.durations_s,
        log.columns.get("speed"),
        log.power_w,
        None,
        log.columns.get("ambient"),
        log.remarks,
        repeats,
    )


def _checked(path: Path, table: Mapping[str, np.ndarray]) -> None:
    limits = {"speed": (0.0, 100.0, "m/s"), "grade": (-0.4, 0.4, ""), "ambient": (200.0, 400.0, "K")}
    problems = []
    for key, (low, high, unit) in limits.items():
        values = table.get(key)
        if values is None:
            continue
        bad = (values < low) | (values > high)
        if bad.any():
            row = int(np.argmax(bad))
            read, accepted = f"{values[row]:g} {unit}".strip(), f"{low:g} to {high:g} {unit}".strip()
            problems.append(Problem(path.name, f"column {key}, row {row + 1} of the numbers", read, accepted))
    if problems:
        raise InputError(problems)


@dataclass(frozen=True)
class _Way:
    """A trip cut into the steps in which it is driven; of a log of power a step is a row.

    `scenario` has the trip for its schedule, so that policy, wind and profile hold as in the answer of a schedule; of
    a log, `steps` is None and the scenario its own.
    """

    trip: Trip
    scenario: Scenario
    durations_s: FloatArray
    ambient_k: FloatArray | None
    steps: Steps | None


def _way(scenario: Scenario, trip: Trip) -> _Way:
    if trip.power_w is not None or trip.speed_m_s is None:
        return _Way(trip, scenario, trip.durations_s, trip.ambient_k, None)
    times = np.concatenate([[0.0], np.cumsum(trip.durations_s)])

    def held(rows: FloatArray | None) -> FloatArray | None:
        return None if rows is None else np.append(rows, rows[-1])

    schedule = Schedule(
        trip.name,
        times,
        np.append(trip.speed_m_s, trip.speed_m_s[-1]),
        held(trip.grade),
        held(trip.wind_speed_m_s),
        held(trip.wind_from_rad),
    )
    own = scenario.schedule is not None and scenario.schedule.name == trip.name  # its profile goes with no other trip
    driven = replace(scenario, schedule=schedule, profile=scenario.profile if own else None)
    steps = steps_of_scenario(driven)
    ambient = trip.ambient_k
    if ambient is not None:
        middle = np.cumsum(steps.duration_s) - steps.duration_s / 2
        ambient = ambient[np.searchsorted(times, middle) - 1]
    return _Way(trip, driven, steps.duration_s, ambient, steps)


@dataclass(frozen=True)
class _Along:
    """The load along a trip: the air that meets it in each step, what surrounds it, and how warm it starts."""

    load: StatedLoad
    durations_s: FloatArray
    count: int  # 1 + draws
    wind_m_s: FloatArray  # (steps,)
    ambient_k: FloatArray  # (1, 1 + draws), or (steps,) where the trip tells it
    start_k: Values


def _on_trip(
    scenario: Scenario,
    load: StatedLoad,
    stated: Answer,
    way: _Way,
    drawn: Draws,
    count: int,
    progress: Progress | None,
) -> Heating:
    trip, steps = way.trip, way.durations_s.size
    over_trip = None if way.steps is None else answer_trip(way.scenario, steps=way.steps)
    driven = _driven_by_log(way) if over_trip is None else over_trip.by_step
    power = _power_rows(way, driven, drawn, count)
    along = _along(way, load, driven, count)
    work = steps * trip.repeats / (steps * trip.repeats + _STEPS_OF_COST)  # share of the time that the steps take
    started = _POWER_SHARE * (1.0 - work)
    ended = started + work
    tell(progress, started)
    outcome = _simulated(along, power, trip.repeats, progress=part(progress, started, ended))
    outcome = _never_past_boiling(outcome, load)
    again = math.nan
    if math.isnan(outcome.time_to_target_s[0]) and bool(outcome.reachable[0]):
        rest = part(progress, ended, ended + 0.4 * (1.0 - ended))
        again = _reached_if_repeated_s(along, outcome, power, rest)
    constant = float(slowest_time_constant_s(_first(load.heater), _at(load.ambient_k), _at(load.target_k))[0])
    fuel, whole_fuel = _trip_cost(way, driven, drawn, outcome, count)
    nothing = np.full(count, np.nan)
    by_pack = stated.inputs.fuel is None
    return Heating(
        scenario,
        load,
        stated,
        None if driven is None else turbine_at_its_most(driven.turbine),
        trip,
        outcome,
        outcome,
        band(outcome, boiling_k=_closed_boiling_k(load)),
        outcome.available_power_w,
        fuel_m3=nothing if by_pack else fuel,
        pack_j=fuel if by_pack else nothing,
        over_trip_fuel_m3=nothing if by_pack else whole_fuel,
        over_trip_pack_j=whole_fuel if by_pack else nothing,
        reached_if_repeated_s=again,
        time_constant_s=constant,
        drawn=count - 1,
        heat_w=_mean_heat_w(outcome.available_power_w),
        # A wattmeter's log shows it by itself.
        trip_stall=None if way.steps is None else trip_stall_risk(way.scenario, exact=count == 1),
        over_trip=over_trip,
    )


def _mean_heat_w(power_w: FloatArray) -> Estimate:
    """Return the median of the draws (all but entry 0) with their range; the value as stated where nothing is drawn."""
    if power_w.size < 2 or np.ptp(power_w) == 0:  # a wattmeter's log
        return Estimate(float(power_w[0]), float(power_w[0]), float(power_w[0]), SHARE)
    return estimate_of(power_w[1:], SHARE)


def _driven_by_log(way: _Way) -> Answer | None:
    """Return the answer in every row of a log of power as stated; None where it does not tell how it is driven.

    The turbine works where the log shows so, and is stowed elsewhere: what the trip's policy asks plays no part.
    """
    trip = way.trip
    if trip.speed_m_s is None:
        return None
    drive = {"trip.road_speed": trip.speed_m_s, "trip.acceleration": _acceleration(trip)}
    inputs = inputs_of(way.scenario, drive)
    return answer(inputs, stowed_where(inputs, turbine_at_work(inputs), ~trip.logged_at_work))


def _along(way: _Way, load: StatedLoad, driven: Answer | None, count: int) -> _Along:
    steps = way.durations_s.size
    wind: FloatArray = np.zeros(steps)
    if driven is not None:
        wind = np.broadcast_to(np.asarray(driven.inputs.air.speed_m_s), (steps,))
    ambient = _spread(load.ambient_k, count)[None, :] if way.ambient_k is None else way.ambient_k
    start = load.start_k
    if way.trip.ambient_k is not None and way.scenario.load.start_temperature is None:
        start = float(way.trip.ambient_k[0])
    return _Along(load, way.durations_s, count, wind, ambient, start)


def _simulated(
    along: _Along, power_w: FloatArray, repeats: int, *, stated_only: bool = False, progress: Progress | None = None
) -> HeatingOutcome:
    """Return how the load warms along the trip, driven `repeats` times, with all draws or only as stated."""
    load, count = along.load, along.count
    who = slice(0, 1) if stated_only else slice(None)
    return simulate(
        _first(load.heater) if stated_only and count > 1 else load.heater,
        HeatingSteps(
            power_w,
            along.durations_s,
            along.ambient_k if along.ambient_k.ndim == 1 else along.ambient_k[:, who],
            along.wind_m_s,
            repeats=repeats,
        ),
        target_k=_spread(load.target_k, count)[who],
        start_k=_spread(along.start_k, count)[who],
        control=ElementControl(_stated_thermostat(load.thermostat) if stated_only else load.thermostat, load.limits),
        most_records=min(along.durations_s.size * repeats, 2 * _CHART_POINTS) + 1,
        progress=progress,
    )


def _reached_if_repeated_s(
    along: _Along, outcome: HeatingOutcome, power_w: FloatArray, progress: Progress | None
) -> float:
    """Return when the load as stated reaches its target, if the trip is driven again and again; about, if
    that is far.
    """
    load = along.load
    blown = float(np.average(along.wind_m_s, weights=along.durations_s))
    mean = SteadyPower(float(outcome.available_power_w[0]), float(outcome.ambient_k[0]), blown)
    about = heat_up(
        _first(load.heater), mean, target_k=_at(load.target_k), start_k=_at(along.start_k)
    ).time_to_target_s[0]
    often = math.ceil(1.5 * float(np.nan_to_num(about, nan=1e9)) / float(along.durations_s.sum())) + 1
    if often * along.durations_s.size > _MOST_STEPS_AGAIN:
        return float(about)
    exact = _simulated(along, power_w[:, :1], often, stated_only=True, progress=progress).time_to_target_s[0]
    return float(exact if np.isfinite(exact) else about)


def _stated_thermostat(thermostat: Thermostat | None) -> Thermostat | None:
    return None if thermostat is None else Thermostat(_at(thermostat.set_k), _at(thermostat.hysteresis_k))


def _acceleration(trip: Trip) -> FloatArray:
    """Return the acceleration in each step, from its speed to the next row's, held to what a vehicle can do (m/s²)."""
    assert trip.speed_m_s is not None
    after = np.append(trip.speed_m_s[1:], trip.speed_m_s[-1])
    return np.clip((after - trip.speed_m_s) / trip.durations_s, -10.0, 10.0)


def _power_rows(way: _Way, along: Answer | None, drawn: Draws, count: int) -> FloatArray:
    """Return the power into the load, (steps, 1 + draws) or (steps, 1): the log's, or the turbine's in each step."""
    if way.trip.power_w is not None:
        return way.trip.power_w[:, None]
    assert along is not None
    assert way.steps is not None
    stated = np.broadcast_to(along.turbine.heat_power_w, way.durations_s.shape)
    if count == 1:
        return stated[:, None].copy()
    rows = heat_by_step(way.scenario, way.steps, drawn).T
    rows[:, 0] = stated
    return np.maximum(rows, 0.0)


def _trip_cost(
    way: _Way, along: Answer | None, drawn: Draws, outcome: HeatingOutcome, count: int
) -> tuple[FloatArray, FloatArray]:
    """Return what the turbine costs until the target and over the whole trip, each (1 + draws,): m³ of fuel, or J of
    the pack.

    As stated it is the ledger's change summed step by step. Of the draws it is that, moved by the difference in their
    mean rate over the trip.
    """
    if along is None:
        return np.full(count, np.nan), np.full(count, np.nan)
    trip, lengths = way.trip, way.durations_s
    rate = np.broadcast_to(_rate(along), lengths.shape)
    clock = np.concatenate([[0.0], np.cumsum(lengths)])
    spent = np.concatenate([[0.0], np.cumsum(rate * lengths)])
    once, cost = float(clock[-1]), float(spent[-1])
    time = outcome.time_to_target_s
    rounds = np.floor(np.nan_to_num(time) / once)
    until = np.interp(np.nan_to_num(time) - rounds * once, clock, spent) + rounds * cost
    until = np.where(np.isnan(time), np.nan, until)
    whole = np.full(count, cost * trip.repeats)
    if count > 1:
        mean = _mean_rates(way, along, drawn, count)
        until = until + (mean - mean[0]) * time
        whole = whole + (mean - mean[0]) * trip.seconds
    return until, whole


def _mean_rates(way: _Way, along: Answer, drawn: Draws, count: int) -> FloatArray:
    """Return the mean over the trip of the change in fuel (m³/s) or pack power (W) of every draw, (1 + draws,)."""
    if way.steps is not None:
        coarse = way.durations_s.size * count > _FUEL_CELLS
        change_w = trip_chain(way.scenario, coarse=coarse)(drawn).change_w
        fuel = along.inputs.fuel
        return change_w if fuel is None else change_w / fuel.heating_value_j_per_m3
    trip, lengths = way.trip, way.durations_s
    steps = lengths.size
    some = np.unique(np.linspace(0, steps - 1, max(8, min(steps, _FUEL_CELLS // count))).astype(int))  # spread evenly
    keys: dict[str, Values] = {key: values[None, :] for key, values in drawn.items()}
    assert trip.speed_m_s is not None
    keys["trip.road_speed"] = trip.speed_m_s[some][:, None]
    keys["trip.acceleration"] = _acceleration(trip)[some][:, None]
    inputs, resting = inputs_of(way.scenario, keys), ~trip.logged_at_work[some][:, None]
    turbine = stowed_where(inputs, turbine_at_work(inputs, with_free_run=False), resting)
    rates = np.broadcast_to(_rate(answer(inputs, turbine, with_other_sources=False)), (some.size, count))
    return np.asarray(lengths[some] @ rates / lengths[some].sum())


def _change_of(inputs: Inputs) -> Answer:
    """Return the ledger of draws without what nobody asks of each: its free-running speed, other sources of heat."""
    return answer(inputs, turbine_at_work(inputs, with_free_run=False), with_other_sources=False)


def _rate(outcome: Answer) -> np.ndarray:
    """Return the change in fuel (m³/s), or in pack power (W) where there is no fuel."""
    return outcome.change.power_w if outcome.inputs.fuel is None else outcome.change.volume_m3_s


def element_cap_w(load: StatedLoad) -> float:
    """Return the most power that the element may take, W; inf where no limit is known."""
    return most_power_w(load.limits)
