"""How long until the load is hot, can it get there at all, and what holds it there.

A steady power until the load has settled, or the steps of a trip with stops. Temperatures are kelvin inside; one value
and 10 000 draws go through the same functions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from energy.heat import march, steps
from energy.heat.load import (
    ElementLimits,
    HeatedLoad,
    Number,
    Thermostat,
    coefficients,
    common_draws,
    draws_of,
    most_power_w,
)
from energy.heat.steady import ending_at, holding_at, rates_at
from energy.heat.steps import BoolArray, FloatArray, HeaterError
from energy.progress import Progress

MOST_STEPS = 2_000_000
MOST_PIECES = 20_000
"""Into how many pieces the steps of a trip are cut at most, or four a step, however quick a node is."""
LEAST_HYSTERESIS_K = 0.1
_LONGEST_S = 30 * 86400.0


@dataclass(frozen=True)
class SteadyPower:
    """A power that goes on for ever, [W], in surroundings [K] and air [m/s] that stay; single values or (draws,)."""

    power_w: Number
    ambient_k: Number
    air_speed_m_s: Number = 0.0


@dataclass(frozen=True)
class HeatingSteps:
    """What holds through each step of a trip with stops, or of a wattmeter's log.

    `durations_s` (steps,) are the lengths of the steps [s] (a single number: all alike). `power_w` [W], `ambient_k` [K]
    and `air_speed_m_s` [m/s] are of the shape (), (steps,), (1, draws) or (steps, draws). `power_factor` (draws,)
    multiplies the power, so that draws need no (steps, draws) array. `repeats` drives the same trip again and again.
    `fine` says that the steps are short enough for a bent loss; others are cut where they are too long for it.
    """

    power_w: npt.ArrayLike
    durations_s: npt.ArrayLike
    ambient_k: npt.ArrayLike
    air_speed_m_s: npt.ArrayLike = 0.0
    power_factor: Number = 1.0
    repeats: int = 1
    fine: bool = False


@dataclass(frozen=True)
class ElementControl:
    """What cuts the element's power: a thermostat, the element's limits, and (without a thermostat) running dry."""

    thermostat: Thermostat | None = None
    limits: ElementLimits | None = None
    cut_when_dry: bool = False


@dataclass(frozen=True)
class HeatingOutcome:
    """What heating gives. Arrays have the shape (draws,); NaN where there is no such number.

    `reason` is "" where the target is reached, "power" where the power cannot hold it, "time" where it could be reached
    with more time than was given, "boiling" where the target lies above the boiling point of water that can boil away:
    it is then never reached, though a vessel that has boiled dry gets hotter (in peak and final temperature).
    `reachable` says that this power, kept up, gets there; `highest_temperature_k` is where this power, kept up, ends
    (of water at most its boiling point; NaN for a load without any loss).
    `shortfall_w` is what is missing to hold the target (0 where nothing is).
    """

    reachable: BoolArray
    time_to_target_s: FloatArray
    highest_temperature_k: FloatArray
    holding_power_w: FloatArray
    energy_to_target_j: FloatArray
    shortfall_w: FloatArray
    reason: npt.NDArray[np.str_]
    available_power_w: FloatArray
    target_k: FloatArray
    ambient_k: FloatArray
    peak_temperature_k: FloatArray
    final_temperature_k: FloatArray
    second_peak_k: FloatArray
    energy_given_j: FloatArray
    energy_refused_j: FloatArray
    energy_stored_j: FloatArray
    energy_lost_j: FloatArray
    energy_in_vapour_j: FloatArray
    water_left_kg: FloatArray
    boiling_from_s: FloatArray
    dry_from_s: FloatArray
    switchings: npt.NDArray[np.int64]
    history: History


@dataclass(frozen=True)
class History:
    """Temperatures over time: `time_s` (records,), `main_k` and `second_k` (records, draws; NaN for one node)."""

    time_s: FloatArray
    main_k: FloatArray
    second_k: FloatArray


@dataclass(frozen=True)
class TemperatureBand:
    """A history ready for a chart, arrays of (records,). With one draw middle, low and high are alike."""

    time_s: FloatArray
    middle_k: FloatArray
    low_k: FloatArray
    high_k: FloatArray


def heat_up(
    heater: HeatedLoad,
    steady: SteadyPower,
    *,
    target_k: Number,
    start_k: Number | None = None,
    limits: ElementLimits | None = None,
    longest_s: float = _LONGEST_S,
    progress: Progress | None = None,
) -> HeatingOutcome:
    """Return how a load warms under a steady power until it has settled (or `longest_s`), for all draws.

    The time to target is that of the closed form for one node with a linear loss. Where water boils dry the power is
    cut.

    Parameters
    ----------
    heater : the load.
    steady : power [W], ambient [K] and air speed [m/s], each a single value or (draws,).
    target_k : temperature wanted of the main node [K], a single value or (draws,).
    start_k : temperature at the start [K]; the ambient where not given.
    limits : what the element stands; more power is refused.
    longest_s : after so long it ends [s], settled or not.
    progress : is told the share done.

    Returns
    -------
    The outcome, arrays of (draws,).

    Raises
    ------
    HeaterError
        For numbers that cannot be.

    References
    ----------
    .. [1] Lumped capacitance: Incropera and DeWitt, chapter 5, from memory; stepped as in energy/heat/steps.py.
    """
    power_w, ambient_k = steady.power_w, steady.ambient_k
    draws = draws_of(heater, power_w, target_k, ambient_k, start_k, steady.air_speed_m_s)
    load = coefficients(heater, draws)
    ambient = np.broadcast_to(np.asarray(ambient_k, dtype=float), (draws,)).copy()
    wind = np.asarray(steady.air_speed_m_s, dtype=float)
    around = steps.surroundings(load, np.zeros(draws), ambient, wind if load.windy else None)
    ends = ending_at(load, around, np.broadcast_to(np.asarray(power_w, dtype=float), (draws,)))
    ends = np.minimum(np.nan_to_num(ends, nan=2000.0), 2000.0)
    slow_low, _ = rates_at(load, around, ambient)
    slow_high, fast = rates_at(load, around, np.maximum(ends, ambient))
    slow = np.where(np.minimum(slow_low, slow_high) > 0, np.minimum(slow_low, slow_high), 1.0 / _LONGEST_S)
    horizon = min(longest_s, 40.0 / float(slow.min()))
    first = min(0.02 / float(fast.max(initial=1e-9) or 1e-9), horizon / 50)
    durations = _growing_steps(horizon, first=first, largest=horizon / 800)
    return simulate(
        heater,
        HeatingSteps(
            np.reshape(power_w, (1, -1)),
            durations,
            np.reshape(ambient_k, (1, -1)),
            np.reshape(steady.air_speed_m_s, (1, -1)),
            fine=True,
        ),
        target_k=target_k,
        start_k=ambient_k if start_k is None else start_k,
        control=ElementControl(limits=limits, cut_when_dry=True),
        most_records=durations.size + 1,
        progress=progress,
    )


def _growing_steps(horizon: float, *, first: float, largest: float) -> FloatArray:
    """Return step lengths that start at `first`, grow by 3 % each up to `largest`, and add up to `horizon`."""
    first = min(max(first, horizon * 1e-7), largest)
    growing = first * 1.03 ** np.arange(math.ceil(math.log(largest / first) / math.log(1.03)) + 1)
    growing = growing[np.cumsum(growing) < horizon]
    rest = horizon - float(growing.sum())
    number = max(1, math.ceil(rest / largest))
    return np.concatenate([growing, np.full(number, rest / number)])


_CELLS = 100_000  # power of so many steps and draws is worked out at once


@dataclass(frozen=True)
class _Rows:
    """The steps of a trip: lengths (steps,) [s], power [W], ambient [K] and air speed [m/s] (steps, draws or 1).

    `factor` multiplies the power; `cap` is the most that the element may take [W].
    """

    durations: FloatArray
    power: FloatArray
    ambient: FloatArray
    wind: FloatArray
    factor: FloatArray
    cap: float

    def mean(self, rows: FloatArray, draws: int) -> FloatArray:
        """Return the mean of rows over time, (draws,)."""
        return np.broadcast_to(self.durations @ rows / self.durations.sum(), (draws,)).copy()

    def mean_power(self, draws: int) -> FloatArray:
        """Return the mean power that the element takes, (draws,)."""
        if not math.isfinite(self.cap):
            return self.mean(self.power, draws) * self.factor
        taken = np.zeros(draws)
        # Some rows at a time: (steps, draws) need not fit in memory.
        some = max(1, _CELLS // draws)
        for start in range(0, self.durations.size, some):
            rows = slice(start, start + some)
            taken += self.durations[rows] @ np.minimum(self.power[rows] * self.factor, self.cap)
        return taken / float(self.durations.sum())


def simulate(
    heater: HeatedLoad,
    trip: HeatingSteps,
    *,
    target_k: Number,
    start_k: Number,
    control: ElementControl | None = None,
    most_records: int = 361,
    progress: Progress | None = None,
) -> HeatingOutcome:
    """Return the temperature of a load under a power that varies: a trip with stops, or a wattmeter's log.

    The outcome's highest temperature and holding power are those of the mean power and mean surroundings of the trip,
    kept up; its reason is "time" where that would reach the target but the trip is too short. Where a trip's gusts
    reach the target and its mean cannot hold it, `reachable` is True.

    Parameters
    ----------
    heater : the load.
    trip : what holds in each step.
    target_k, start_k : temperatures wanted and at the start [K], single values or (draws,).
    control : what cuts the power (None: nothing does).
    most_records : the history has at most so many records.
    progress : is told the share done.

    Returns
    -------
    The outcome, arrays of (draws,).

    Raises
    ------
    HeaterError
        For numbers that cannot be.

    References
    ----------
    .. [1] Lumped capacitance: Incropera and DeWitt, chapter 5, from memory; stepped as in energy/heat/steps.py.
    """
    control = ElementControl() if control is None else control
    rows, row_draws = _rows_of(trip, control)
    draws = common_draws([draws_of(heater, target_k, start_k, trip.power_factor, control.thermostat), row_draws])
    _check_rows(rows, trip.repeats, {"target_k": target_k, "start_k": start_k})
    load = coefficients(heater, draws)
    target = _spread(target_k, draws)
    mean_power, wind = rows.mean_power(draws), rows.mean(rows.wind, draws)
    around = steps.surroundings(load, np.zeros(draws), rows.mean(rows.ambient, draws), wind if load.windy else None)
    ends = ending_at(load, around, mean_power)
    longest = math.inf if trip.fine else _longest_piece_s(load, around, np.fmax(ends, target), control.thermostat)
    pieces, index = _pieces(rows.durations, trip.repeats, longest)
    levels = _levels(control.thermostat, draws)
    zero = np.zeros(draws)
    start = steps.State(
        _spread(start_k, draws), _spread(start_k, draws), _spread(load.water, draws), zero, zero.copy(), zero.copy()
    )
    records = np.unique(np.round(np.linspace(0, pieces.size, min(most_records, pieces.size + 1))).astype(np.intp))
    marched = march.integrate(
        load,
        start,
        _drive(load, rows, pieces, index),
        march.Control(levels, control.cut_when_dry),
        target=target,
        records=records,
        progress=progress,
    )
    return _outcome(load, around, marched, target, mean_power, ends)


def _spread(value: Number, draws: int) -> FloatArray:
    return np.broadcast_to(np.asarray(value, dtype=float), (draws,)).copy()


def _levels(thermostat: Thermostat | None, draws: int) -> march.Levels | None:
    """Return the temperatures at which a thermostat opens and closes, (draws,) K."""
    if thermostat is None:
        return None
    half = 0.5 * _spread(thermostat.hysteresis_k, draws)
    if not bool((2 * half >= LEAST_HYSTERESIS_K).all() and np.isfinite(half).all()):
        raise HeaterError(f"a thermostat's hysteresis is a temperature difference of {LEAST_HYSTERESIS_K:g} K or more")
    return march.Levels(_spread(thermostat.set_k, draws) + half, _spread(thermostat.set_k, draws) - half)


def _drive(load: steps.Coefficients, rows: _Rows, pieces: FloatArray, index: npt.NDArray[np.intp]) -> march.HeatDrive:
    """Return what holds in each piece; piece number p belongs to the step `index[p]` of the trip."""
    limited, plain = math.isfinite(rows.cap), bool(np.all(rows.factor == 1.0))

    def taken(piece: int) -> FloatArray:
        row = rows.power[index[piece]]
        if not plain:
            row = row * rows.factor
        return np.minimum(row, rows.cap) if limited else row

    def refused(piece: int) -> FloatArray:
        return np.maximum(rows.power[index[piece]] * rows.factor - rows.cap, 0.0)

    return march.HeatDrive(
        pieces,
        taken,
        lambda piece: rows.ambient[index[piece]],
        refused if limited else None,
        (lambda piece: rows.wind[index[piece]]) if load.windy else None,
    )


def _highest(load: steps.Coefficients, marched: march.March, ends: FloatArray) -> FloatArray:
    """Return the highest temperature, that of the water where it could boil away."""
    highest = np.fmax(ends, marched.peak)
    return np.where(np.isfinite(load.boiling), np.fmin(highest, load.boiling), highest)


def _outcome(
    load: steps.Coefficients,
    around: steps.Surroundings,
    marched: march.March,
    target: FloatArray,
    mean_power: FloatArray,
    ends: FloatArray,
) -> HeatingOutcome:
    holding = holding_at(load, around, target)[0]
    boils_first = target > load.boiling  # what a vessel without water reaches afterwards is not the water's temperature
    reached = ~np.isnan(marched.reached_s) & ~boils_first
    enough = np.where(np.isnan(ends), mean_power > 0, ends > target) & ~boils_first
    reason = np.where(reached, "", np.where(boils_first, "boiling", np.where(enough, "time", "power")))
    nothing = np.full(target.shape, np.nan)
    final = marched.state
    return HeatingOutcome(
        reachable=reached | enough,
        time_to_target_s=np.where(reached, marched.reached_s, np.nan),
        highest_temperature_k=np.where(np.isnan(ends), np.nan, _highest(load, marched, ends)),
        holding_power_w=np.where(boils_first, np.nan, holding),
        energy_to_target_j=np.where(reached, marched.given_at_target, np.nan),
        shortfall_w=np.where(boils_first, np.nan, np.maximum(holding - mean_power, 0.0)),
        reason=reason,
        available_power_w=mean_power,
        target_k=target,
        ambient_k=np.broadcast_to(around.ambient, target.shape).copy(),
        peak_temperature_k=marched.peak,
        final_temperature_k=final.main,
        second_peak_k=marched.second_peak if load.two_nodes else nothing,
        energy_given_j=marched.given,
        energy_refused_j=marched.refused,
        energy_stored_j=final.stored,
        energy_lost_j=final.lost,
        energy_in_vapour_j=final.vapour,
        water_left_kg=final.water,
        boiling_from_s=marched.boiling_from_s,
        dry_from_s=marched.dry_from_s,
        switchings=marched.switchings,
        history=History(
            marched.recorded_s,
            marched.recorded_main,
            marched.recorded_second if load.two_nodes else np.broadcast_to(np.nan, marched.recorded_main.shape),
        ),
    )


def _rows_of(trip: HeatingSteps, control: ElementControl) -> tuple[_Rows, int]:
    """Return the steps with their rows as (steps, draws or 1) views, and the number of draws in the rows."""
    durations = np.atleast_1d(np.asarray(trip.durations_s, dtype=float))
    if durations.ndim != 1:
        raise HeaterError(f"durations_s has the shape {durations.shape}; accepted: one length a step")
    given = {name: np.asarray(getattr(trip, name), dtype=float) for name in _LEAST_OF_ROW}
    lengths = {durations.size} | {row.shape[0] for row in given.values() if row.ndim}
    lengths.discard(1)
    if len(lengths) > 1:
        raise HeaterError(f"arrays of different numbers of steps: {sorted(lengths)}")
    count = lengths.pop() if lengths else 1
    spread: dict[str, FloatArray] = {}
    for name, row in given.items():
        if row.ndim > 2:
            raise HeaterError(f"{name} has {row.ndim} dimensions; accepted: (steps,) or (steps, draws)")
        column = row.reshape(-1, 1) if row.ndim < 2 else row
        spread[name] = np.broadcast_to(column, (count, column.shape[1]))
    draws = common_draws([row.shape[1] for row in spread.values()])
    factor, cap = np.asarray(trip.power_factor, dtype=float), most_power_w(control.limits)
    rows = _Rows(
        np.broadcast_to(durations, (count,)),
        spread["power_w"],
        spread["ambient_k"],
        spread["air_speed_m_s"],
        factor,
        cap,
    )
    return rows, draws


_LEAST_OF_ROW = {"power_w": 0.0, "ambient_k": 1.0, "air_speed_m_s": 0.0}


def _check_rows(rows: _Rows, repeats: int, temperatures: dict[str, Number]) -> None:
    if not (bool(np.isfinite(rows.durations).all()) and bool((rows.durations > 0).all())):
        raise HeaterError("the length of a step is a finite time above 0 s")
    if repeats < 1:
        raise HeaterError(f"repeats is {repeats}; accepted: 1 or more")
    named: list[tuple[str, Number, float]] = [(name, value, 1.0) for name, value in temperatures.items()]
    named += [("power_factor", rows.factor, 0.0), ("power_w", rows.power, _LEAST_OF_ROW["power_w"])]
    named += [("ambient_k", rows.ambient, _LEAST_OF_ROW["ambient_k"])]
    named += [("air_speed_m_s", rows.wind, _LEAST_OF_ROW["air_speed_m_s"])]
    for name, value, low in named:
        array = np.asarray(value, dtype=float)
        if not bool(np.isfinite(array).all()):
            raise HeaterError(f"{name} holds a value that is no finite number")
        if array.size and float(array.min()) < low:
            raise HeaterError(f"{name} holds {float(array.min()):g}; accepted: {low:g} or more")


def _longest_piece_s(
    load: steps.Coefficients, around: steps.Surroundings, hottest: FloatArray, thermostat: Thermostat | None
) -> float:
    """Return how long a piece of a step may be: short against the quickest change near `hottest` (draws,) [K].

    Without bound where the step's solution is exact. With two nodes and a thermostat it is short enough not to pass
    over a quick swing.
    """
    bent = load.radiates or load.steams
    if not (bent or (thermostat is not None and load.two_nodes)):
        return math.inf
    hot = np.minimum(np.nan_to_num(hottest, nan=400.0), 2000.0)
    fast = float(rates_at(load, around, hot)[1].max())
    if load.wet:  # once the water is gone the load is quicker
        dry = replace(load, water=np.zeros(1))
        fast = max(fast, float(rates_at(dry, around, hot)[1].max()))
    return (0.05 if bent else 0.25) / fast if fast > 0 else math.inf


def _pieces(durations: FloatArray, repeats: int, longest_s: float) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """Return the lengths of the pieces to march through, and for each the step of the trip that it belongs to.

    A piece is a whole step where that is not longer than `longest_s`.
    """
    index = np.tile(np.arange(durations.size), repeats)
    lengths = np.tile(durations, repeats)
    if math.isfinite(longest_s):
        number = np.ceil(np.maximum(lengths / longest_s, 1.0) - 1e-9)
        most = max(MOST_PIECES, 4 * lengths.size)
        if float(number.sum()) > most:  # an absurdly quick node: stable all the same, see energy.heat.steps
            number = np.maximum(np.floor(number * (most / float(number.sum()))), 1.0)
        counts = number.astype(np.intp)
        index, lengths = np.repeat(index, counts), np.repeat(lengths / counts, counts)
    if lengths.size > MOST_STEPS:
        raise HeaterError(f"{lengths.size} steps; accepted: at most {MOST_STEPS}")
    return lengths, index
