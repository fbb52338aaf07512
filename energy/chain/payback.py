"""When the turbine could pay: in wind, down hills, standing still; over the winds of a year.

Three balances, each positive where it pays:

- **fuel**: the fuel it spares, no credit for anything. In level driving it cannot be positive, as a resistor gives
  nothing back to the wheels; it is zero, and the heat free, where the brakes would have burnt the power.
- **alternator**: the fuel it spares against making the same heat with the engine's alternator.
- **energy**: the heat less the power that mount and rotor take at the wheels.

It works only within its limits: where `windtoll answer` would say "Do not operate" it is counted as stowed, without
heat. For ideal rotors, at the loading that is built and at any: see energy/chain/break_even.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from energy.chain.answer import Answered, answered
from energy.chain.break_even import WINDS_M_S, Ideal, PitchBreakEven, best_pitch_break_even, ideal_of
from energy.chain.costs import Money, YearFlows, money_of
from energy.chain.ledger import Answer, answer, turbine_at_work
from energy.chain.limits import ROUNDING, keeps_limits, stated_limits
from energy.chain.outcome import steady_outcome, steady_spread
from energy.chain.stall import stall_risk
from energy.progress import Progress, part, tell
from energy.scenario.inputs import inputs_of, ranges_of
from energy.scenario.keys import NO_SOURCE
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, ppf, sobol_sample
from vehicle.constants import GRAVITY_M_S2
from vehicle.driving.engine import Battery
from vehicle.driving.trip import weibull_quantile
from vehicle.quantity import Estimate, Uncertain

BALANCES = ("fuel", "alternator", "energy")
_SPEEDS_M_S = np.linspace(10, 130, 25) / 3.6
_WINDS_M_S = np.linspace(0, 30, 31)
_DESCENTS = np.linspace(0, 0.14, 29)
_DRAWS = 128
_GRADES_OF_DESCENT = (0.04, 0.06, 0.08, 0.10, 0.12)
_CLIMATE_POINTS = (24, 24)  # wind speeds × directions
_NOTHING_W = 0.5
# Shares of the time with draws, as measured: before the line in wind, and after each stage.
_DONE_AT_SPEED, _DONE_WIND, _DONE_DESCENT, _DONE_DESCENTS = 0.1, 0.44, 0.5, 0.52
# Where the scenario names no climate: 2 to 3 m above open inland ground.
ASSUMED_CLIMATE = (Uncertain(3.5, 2.0, 6.0, "triangular"), Uncertain(2.0, 1.6, 2.4, "triangular"))
ASSUMED_CLIMATE_SOURCE = f"open inland country at rotor height, {NO_SOURCE}"


@dataclass(frozen=True)
class Line:
    """A zero line: over road speeds (m/s), the least head wind (m/s) or descent (rise over run, positive down) that
    pays.

    NaN where none within the map does. `low` and `high` hold 90 % of the draws' lines (infinite where they find none).
    """

    value: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True)
class PayMap:
    """A map of the balances, (along, speeds) in W, with the zero line of each; `along` is head wind or descent."""

    speeds_m_s: np.ndarray
    along: np.ndarray
    balances: Mapping[str, np.ndarray]
    heat_w: np.ndarray
    probability: Mapping[str, np.ndarray]  # that it pays there, from draws
    lines: Mapping[str, Line]


@dataclass(frozen=True)
class Descent:
    """One descent of a given height at the scenario's road speed: what it gives and costs."""

    grade: float  # positive down
    length_m: float
    duration_s: float
    heat_j: float
    fuel_change_m3: float  # NaN for a battery
    pack_change_j: float  # what source energy changes by: fuel or pack
    height_energy_j: float  # m·g·h of the vehicle with its turbine
    braked_j: float  # what the brakes would burn without the turbine


@dataclass(frozen=True)
class Year:
    """A year's winds: shares of driving time in which it pays, and what standing in them gives; (p05, nominal, p95).

    Heat and fuel are those within the limits. What driving gives is 0 for a vehicle that parks.
    """

    mean_wind_m_s: float
    direction: Literal["any", "given"]
    assumed: str  # where the climate comes from, if it was assumed
    pays_share: Mapping[str, tuple[float, float, float]]
    change_w: tuple[float, float, float]  # mean change in fuel (or pack) power while driving, no credit
    driving_heat_w: tuple[float, float, float]
    parked_heat_w: tuple[float, float, float]
    within_limits: tuple[float, float, float]  # share of the time, driving (parked: standing)
    flows: YearFlows


@dataclass(frozen=True)
class Payback:
    """When it pays: in money, ideal rotors, maps over wind and descent, descents, a year, and standing in the wind.

    A scenario that parks has the road speed 0, no ideal rotor and no descents; the maps show what driving would do.
    `best_pitch` is looked for where at the set pitch no head wind makes the heat exceed the drag power.
    """

    road_speed_m_s: float
    stated: Answered  # of the scenario; with draws what is at risk in them, but nothing that they hang on
    ideal: Ideal | None
    wind: PayMap
    descent: PayMap
    at_speed: Mapping[
        str, tuple[float, float, float]
    ]  # least head wind by balance at the road speed: (low, value, high)
    least_descent: tuple[float, float, float]  # from which the heat is free at the road speed
    descents: tuple[Descent, ...]
    year: Year
    parked_winds_m_s: np.ndarray
    parked_heat_w: np.ndarray
    parked_within: np.ndarray  # limits kept there
    stated_wind_m_s: float
    heat_w: Estimate  # of the scenario in its own wind, as its answer has it
    limit_wind_m_s: float  # least head wind at the road speed that breaks a limit; NaN where none up to 40 m/s does
    money: Money
    best_pitch: PitchBreakEven | None = None

    @property
    def parked(self) -> bool:
        """Whether the scenario stands."""
        return self.road_speed_m_s == 0

    @property
    def heat_on_descents(self) -> bool:
        """Whether any descent gives heat within the limits, whatever it costs."""
        return any(descent.heat_j > _NOTHING_W * descent.duration_s for descent in self.descents)


def payback(
    scenario: Scenario,
    *,
    height_m: float = 100.0,
    exact: bool = False,
    exact_maps: bool = False,
    stated: Answered | None = None,
    progress: Progress | None = None,
) -> Payback:
    """Return when the scenario's turbine pays; `height_m` is the height of a descent, `exact` leaves the draws out,
    `exact_maps` those of the maps only, which are the dearest.

    `stated` is the answer of the values as exact, where it is there already. `progress` is told the share done (see
    energy/progress.py).
    """
    nominal = inputs_of(scenario)
    speed = float(np.asarray(nominal.road_speed_m_s))
    stated = answered(scenario, exact=True) if stated is None else stated
    stated = stated if exact else _with_risks(scenario, stated)
    here = np.array([speed])
    drawn = None if exact else _drawn(scenario)
    winds = WINDS_M_S
    at_wind: Mapping[str, Line] = {}
    least_descent, descents = (math.nan, math.nan, math.nan), tuple[Descent, ...]()
    if speed > 0:
        at_wind = _line_at(scenario, here, winds, "wind", drawn)
        least_descent = _first(_line_at(scenario, here, np.linspace(0, 0.2, 81), "descent", drawn)["fuel"])
    standing = _balanced(scenario, {"trip.road_speed": np.zeros(31), "air.wind_speed": _WINDS_M_S, **_FLAT})
    parked = held_to_limits(standing)
    blown = _balanced(scenario, {"trip.road_speed": here, "air.wind_speed": winds, **_FLAT})
    tell(progress, _DONE_AT_SPEED)
    drawn_maps = None if exact_maps else drawn
    wind = _map(scenario, _SPEEDS_M_S, _WINDS_M_S, "wind", drawn_maps)
    tell(progress, _DONE_WIND)
    descent = _map(scenario, _SPEEDS_M_S, _DESCENTS, "descent", drawn_maps)
    tell(progress, _DONE_DESCENT)
    if speed > 0:
        descents = tuple(_descent(scenario, speed, grade, height_m) for grade in _GRADES_OF_DESCENT)
    tell(progress, _DONE_DESCENTS)
    year = _year(scenario, speed, drawn, part(progress, _DONE_DESCENTS, 1.0))
    tell(progress, 1.0)
    return Payback(
        road_speed_m_s=speed,
        stated=stated,
        ideal=_ideal(scenario, speed) if speed > 0 else None,
        wind=wind,
        descent=descent,
        at_speed={name: _first(line) for name, line in at_wind.items()},
        least_descent=least_descent,
        descents=descents,
        year=year,
        parked_winds_m_s=_WINDS_M_S,
        parked_heat_w=parked.heat_w,
        stated_wind_m_s=scenario.air.wind_speed.value,
        heat_w=(stated.outcome if stated.trip is None else steady_outcome(scenario, exact=exact)).heat_w,
        parked_within=keeps_limits(standing.inputs, standing.turbine),
        limit_wind_m_s=_limit_wind_m_s(blown, winds),
        money=money_of(scenario, year.flows),
        best_pitch=best_pitch_break_even(scenario) if at_wind and np.isnan(at_wind["energy"].value[0]) else None,
    )


def _with_risks(scenario: Scenario, stated: Answered) -> Answered:
    """Return a steady answer with its draws: how likely they stall, break a limit or ask too much of the engine."""
    if stated.trip is not None or stated.spread is not None:
        return stated
    return replace(stated, spread=steady_spread(scenario), stall=stall_risk(scenario, stated=stated.stall))


def _limit_wind_m_s(blown: Answer, winds_m_s: np.ndarray) -> float:
    """Return the least head wind that breaks a limit, on a line between the last wind that keeps all and the next one.

    NaN where none breaks one, 0 where still air does.
    """
    shares = [np.broadcast_to(one.share, winds_m_s.shape) for one in stated_limits(blown.inputs, blown.turbine)]
    most = np.fmax.reduce([*shares, np.zeros(winds_m_s.shape)])  # what is not known breaks none
    over = np.flatnonzero(most > 1 + ROUNDING)
    if not over.size:
        return math.nan
    first = int(over[0])
    if first == 0:
        return float(winds_m_s[0])
    kept, broken = most[first - 1 : first + 1]
    part = (1 - kept) / (broken - kept)
    return float(winds_m_s[first - 1] + part * (winds_m_s[first] - winds_m_s[first - 1]))


_FLAT = {"air.wind_from": np.array(0.0), "trip.grade": np.array(0.0), "trip.acceleration": np.array(0.0)}
# What is asked, and so is never drawn: the map says it.
_ASKED = {"trip.road_speed", "trip.grade", "trip.acceleration", "air.wind_speed", "air.wind_from"}


def _drawn(scenario: Scenario) -> dict[str, np.ndarray]:
    """Return draws (draws, 1, 1) of what is uncertain about the turbine and the vehicle."""
    ranges = {key: value for key, value in ranges_of(scenario).items() if key not in _ASKED}
    if not ranges:
        return {}
    return {key: values[:, None, None] for key, values in draws_of(ranges, sobol_sample(_DRAWS, len(ranges))).items()}


def _balanced(scenario: Scenario, draws: Mapping[str, np.ndarray]) -> Answer:
    """Return the answer with the alternator's work credited: `change` is against it, `change_without_credit` is not.

    The rotor speed with the load cut and other sources are left out: nothing here asks for them, and they are more
    than half of the work.
    """
    inputs = inputs_of(scenario, draws)
    inputs = replace(inputs, credit=replace(inputs.credit, replaces_alternator=True))
    return answer(inputs, turbine_at_work(inputs, with_free_run=False), with_other_sources=False)


@dataclass(frozen=True)
class Held:
    """A turbine that works only within its limits, and is stowed elsewhere: arrays of the conditions' shape, W.

    `balances` holds each of `BALANCES`; `added_w` is what it takes from fuel or pack above the vehicle without it,
    `stowed_w` what carrying it stowed takes.
    """

    balances: dict[str, np.ndarray]
    heat_w: np.ndarray
    within: np.ndarray
    added_w: np.ndarray
    stowed_w: np.ndarray


def held_to_limits(outcome: Answer) -> Held:
    """Return what an answer, credited with the alternator's work, comes to where the turbine is stowed beyond its
    limits.
    """
    within = keeps_limits(outcome.inputs, outcome.turbine)
    working, stowed = outcome.states["working"], outcome.states["stowed"]
    plain = outcome.states[outcome.compared_with].supply.source_w
    heat = np.where(within, outcome.turbine.heat_power_w, 0.0)
    source = np.where(within, working.supply.source_w, stowed.supply.source_w)
    same_heat = np.where(within, outcome.without.supply.source_w, plain)
    drag = np.where(
        within, working.mount_drag_n + working.rotor_drag_n, stowed.mount_drag_n + stowed.rotor_drag_n
    ) * np.asarray(outcome.inputs.road_speed_m_s, float)
    absent = outcome.states["absent"].supply.source_w
    return Held(
        balances={"fuel": plain - source, "alternator": same_heat - source, "energy": heat - drag},
        heat_w=heat,
        within=within,
        added_w=source - absent,
        stowed_w=stowed.supply.source_w - absent,
    )


def pays(balance: np.ndarray, heat_w: np.ndarray) -> np.ndarray:
    """Return where a balance pays: not below zero (to 0.05 W), and heat is made."""
    return (balance >= -0.05) & (heat_w > _NOTHING_W)


def _conditions(speeds: np.ndarray, along: np.ndarray, kind: str) -> dict[str, np.ndarray]:
    """Return draws of a map (along, speeds)."""
    where = {**_FLAT, "trip.road_speed": speeds, "air.wind_speed": np.array(0.0)}
    if kind == "wind":
        return where | {"air.wind_speed": along[:, None]}
    return where | {"trip.grade": -along[:, None]}


def _map(
    scenario: Scenario, speeds: np.ndarray, along: np.ndarray, kind: str, drawn: Mapping[str, np.ndarray] | None
) -> PayMap:
    where = _conditions(speeds, along, kind)
    balanced = _balanced(scenario, where)
    shape = (len(along), len(speeds))
    held = held_to_limits(balanced)
    nominal = {name: np.broadcast_to(values, shape) for name, values in held.balances.items()}
    heat = np.broadcast_to(held.heat_w, shape)
    lines = _lines(along, nominal, heat)
    if not drawn:
        probability = {name: pays(nominal[name], heat).astype(float) for name in BALANCES}
        return PayMap(
            speeds, along, nominal, heat, probability, {n: Line(line, line, line) for n, line in lines.items()}
        )
    together = _balanced(scenario, {**drawn, **where})
    whole = (next(iter(drawn.values())).shape[0], *shape)
    drawn_held = held_to_limits(together)
    many = {name: np.broadcast_to(values, whole) for name, values in drawn_held.balances.items()}
    heats = np.broadcast_to(drawn_held.heat_w, whole)
    probability = {name: pays(many[name], heats).mean(axis=0) for name in BALANCES}
    drawn_lines = {name: np.nan_to_num(line, nan=np.inf) for name, line in _lines(along, many, heats).items()}
    return PayMap(
        speeds,
        along,
        nominal,
        heat,
        probability,
        {name: Line(lines[name], *_ends(drawn_lines[name])) for name in BALANCES},
    )


def _ends(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the 5 and 95 % quantiles along the first axis; infinite values stay what they are."""
    low, high = np.quantile(values, [0.05, 0.95], axis=0, method="nearest")
    return low, high


def _lines(along: np.ndarray, balances: Mapping[str, np.ndarray], heat: np.ndarray) -> dict[str, np.ndarray]:
    """Return the least of `along` (axis −2) from which each balance pays, linear between; NaN where nothing does."""
    return {name: least_that_pays(along, values, heat) for name, values in balances.items()}


def least_that_pays(along: np.ndarray, balance: np.ndarray, heat_w: np.ndarray) -> np.ndarray:
    """Return (…, speeds) the least of `along` from which a balance (…, along, speeds) pays; NaN where none does."""
    good = pays(balance, heat_w)
    first = np.argmax(good, axis=-2)[..., None, :]
    before = np.maximum(first - 1, 0)
    at = np.take_along_axis(balance, first, axis=-2)
    under = np.take_along_axis(balance, before, axis=-2)
    # Straight to zero from the last point below it; a balance that only reaches zero (fuel that cannot fall below none)
    # goes on along the slope that it had before.
    earlier = np.take_along_axis(balance, np.maximum(before - 1, 0), axis=-2)
    rise = np.where(at > 0.05, at - under, under - earlier)
    share = np.where(rise > 1e-9, np.clip(-under / np.where(rise > 1e-9, rise, 1.0), 0, 1), 1.0)
    least = along[before] + share * (along[first] - along[before])
    return np.where(good.any(axis=-2), least[..., 0, :], np.nan)


def _line_at(
    scenario: Scenario, speeds: np.ndarray, along: np.ndarray, kind: str, drawn: Mapping[str, np.ndarray] | None
) -> Mapping[str, Line]:
    return _map(scenario, speeds, along, kind, drawn).lines


def _first(line: Line) -> tuple[float, float, float]:
    return float(line.low[0]), float(line.value[0]), float(line.high[0])


def _ideal(scenario: Scenario, speed: float) -> Ideal:
    """Return the break-even winds of ideal rotors at the loading that is built."""
    balanced = _balanced(scenario, {**_FLAT, "trip.road_speed": np.array(speed), "air.wind_speed": WINDS_M_S})
    engine = balanced.inputs.engine
    drivetrain = engine.drive_efficiency if isinstance(engine, Battery) else engine.drivetrain_efficiency
    return ideal_of(balanced, np.asarray(drivetrain) / np.asarray(balanced.inputs.credit.path_efficiency))


def _descent(scenario: Scenario, speed: float, grade: float, height_m: float) -> Descent:
    """Return one descent at a steady speed in still air."""
    where = {
        **_FLAT,
        "trip.road_speed": np.array(speed),
        "air.wind_speed": np.array(0.0),
        "trip.grade": np.array(-grade),
    }
    outcome = answer(inputs_of(scenario, where))
    inputs = outcome.inputs
    held = bool(keeps_limits(inputs, outcome.turbine))
    change_w = (
        float(outcome.change_without_credit.power_w)
        if held
        else float(outcome.states["stowed"].supply.source_w - outcome.states[outcome.compared_with].supply.source_w)
    )
    length = height_m / float(np.sin(np.arctan(grade)))
    duration = length / speed
    mass = float(np.asarray(inputs.road_load.mass_kg)) + float(np.asarray(inputs.turbine.mass_kg))
    return Descent(
        grade=grade,
        length_m=length,
        duration_s=duration,
        heat_j=float(outcome.turbine.heat_power_w) * duration if held else 0.0,
        fuel_change_m3=math.nan if inputs.fuel is None else change_w / inputs.fuel.heating_value_j_per_m3 * duration,
        pack_change_j=change_w * duration,
        height_energy_j=mass * GRAVITY_M_S2 * height_m,
        braked_j=float(outcome.states[outcome.compared_with].supply.brake_loss_w) * duration,
    )


def climate_of(scenario: Scenario) -> tuple[Uncertain, Uncertain, Literal["any", "given"], str]:
    """Return (mean wind, Weibull shape, direction, source if assumed) of the scenario's wind climate."""
    climate = scenario.wind_climate
    if climate is None:
        return (*ASSUMED_CLIMATE, "any", ASSUMED_CLIMATE_SOURCE)
    return climate.mean_speed, climate.shape, climate.direction, ""


def _crowded(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return shares of the year (count,) that crowd towards the strongest winds, and their weights.

    Those winds are rare and hold most of the power.
    """
    middles = (np.arange(count) + 0.5) / count
    weight = 2.5 * (1 - middles) ** 1.5
    return 1 - (1 - middles) ** 2.5, weight / weight.sum()


def _year(
    scenario: Scenario, speed: float, drawn: Mapping[str, np.ndarray] | None, progress: Progress | None = None
) -> Year:
    """Return shares and means over the winds of a year, driving at the road speed on the flat and standing."""
    mean, shape, direction, assumed = climate_of(scenario)
    speeds, sides = _CLIMATE_POINTS
    share, weight = _crowded(speeds)

    def mean_of(values: np.ndarray) -> np.ndarray:
        whole = np.broadcast_to(values, (*np.shape(values)[:-2], speeds, len(angles)))
        return np.einsum("...ij,i->...", whole, weight) / len(angles)

    angles = np.array([float(scenario.air.wind_from.value)])
    if direction == "any":
        angles = np.pi * (np.arange(sides) + 0.5) / sides  # left and right are alike

    def over(draws: Mapping[str, np.ndarray], mean_m_s: np.ndarray, k: np.ndarray, road: float) -> Answer:
        wind = weibull_quantile(share[:, None], mean_m_s, k)
        where = {**_FLAT, "trip.road_speed": np.array(road), "air.wind_speed": wind, "air.wind_from": angles}
        return _balanced(scenario, {**draws, **where})

    def figures(draws: Mapping[str, np.ndarray], mean_m_s: np.ndarray, k: np.ndarray) -> dict[str, np.ndarray]:
        means: dict[str, np.ndarray] = dict.fromkeys((*BALANCES, "change", "heat", "added", "stowed"), np.array(0.0))
        if speed > 0:
            driving = over(draws, mean_m_s, k, speed)
            held = held_to_limits(driving)
            means = {name: mean_of(pays(values, held.heat_w)) for name, values in held.balances.items()}
            means["change"], means["heat"] = mean_of(-held.balances["fuel"]), mean_of(held.heat_w)
            means["added"], means["stowed"] = mean_of(held.added_w), mean_of(held.stowed_w)
            means["within"] = mean_of(held.within)
        if draws:  # the driving takes half of the time with draws
            tell(progress, 0.5)
        standing = held_to_limits(over(draws, mean_m_s, k, 0.0))
        means["parked"] = mean_of(standing.heat_w)
        means.setdefault("within", mean_of(standing.within))
        means["alternator_share"] = alternator_per_heat(scenario, draws, speed)[..., 0, 0]
        return means

    middle = figures({}, np.array(mean.value), np.array(shape.value))
    ends = {name: (float(value), float(value)) for name, value in middle.items()}
    flows = {name: np.atleast_1d(value) for name, value in middle.items()}
    if drawn is not None:
        count = next(iter(drawn.values())).shape[0] if drawn else _DRAWS
        unit = sobol_sample(count, 2, seed=7)
        many = figures(drawn, ppf(mean, unit[:, 0])[:, None, None], ppf(shape, unit[:, 1])[:, None, None])
        many = {name: np.broadcast_to(values, (count,)) for name, values in many.items()}
        ends = {name: (float(low), float(high)) for name, (low, high) in ((n, _ends(v)) for n, v in many.items())}
        flows = {name: np.concatenate([flows[name], many[name]]) for name in flows}
    intervals = {name: (ends[name][0], float(value), ends[name][1]) for name, value in middle.items()}
    heat, added, stowed = (flows[name] for name in ("heat", "added", "stowed"))
    return Year(
        mean_wind_m_s=mean.value,
        direction=direction,
        assumed=assumed,
        pays_share={name: intervals[name] for name in BALANCES} if speed > 0 else {},
        change_w=intervals["change"],
        driving_heat_w=intervals["heat"],
        parked_heat_w=intervals["parked"],
        within_limits=intervals["within"],
        flows=YearFlows(heat, added, stowed, flows["parked"], flows["alternator_share"], speed > 0),
    )


_HEAT_FOR_THE_ALTERNATOR_W = 1000.0


def alternator_per_heat(scenario: Scenario, draws: Mapping[str, np.ndarray], speed: float) -> np.ndarray:
    """Return what the engine (or pack) takes above the vehicle without turbine for each watt of heat by the
    alternator path, (…, 1, 1) W/W: at the road speed on the flat in still air, standing with the engine idling for it.
    """
    where = {**_FLAT, "trip.road_speed": np.full((1, 1), speed), "air.wind_speed": np.zeros((1, 1))}
    inputs = inputs_of(scenario, {**draws, **where})
    turbine = turbine_at_work(inputs, with_free_run=False)
    same = np.full(np.shape(turbine.heat_power_w), _HEAT_FOR_THE_ALTERNATOR_W)
    outcome = answer(
        replace(inputs, credit=replace(inputs.credit, replaces_alternator=True)), replace(turbine, heat_power_w=same)
    )
    extra = outcome.without.supply.source_w - outcome.states[outcome.compared_with].supply.source_w
    return np.asarray(extra / _HEAT_FOR_THE_ALTERNATOR_W)


def balances_in_words(scenario: Scenario) -> dict[str, str]:
    """Return what each balance says, in words."""
    if scenario.battery is not None:
        return {
            "fuel": "no more from the pack than without, and heat",
            "alternator": "less from the pack than heating by it directly",
            "energy": "heat above drag power",
        }
    return {
        "fuel": "no more fuel than without, and heat",
        "alternator": "less fuel than by the alternator",
        "energy": "heat above drag power",
    }
