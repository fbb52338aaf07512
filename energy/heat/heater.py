"""How long until the load is hot, can it get there at all, and what holds it there.

A load is one node (everything at one temperature) or two (an element and what it heats, or the inside and the walls):

    capacity dT/dt = power - loss (T - ambient) - emissivity sigma area (T^4 - ambient^4) - steam

(lumped capacitance: Incropera & DeWitt, chapter 5, from memory). Temperatures are kelvin inside. Numbers of the load
may be single values or arrays of shape (draws,): one value and 10 000 draws go through the same functions.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from energy.heat import steps, water
from energy.heat.steps import HeaterError as HeaterError
from energy.progress import Progress

if TYPE_CHECKING:
    from vehicle.units import UnitSystem

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Number = float | FloatArray

MOST_STEPS = 2_000_000
MOST_PIECES = 20_000
"""Into how many pieces the steps of a trip are cut at most, or four a step, however quick a node is."""
LEAST_HYSTERESIS_K = 0.1
_LONGEST_S = 30 * 86400.0
MOST_TOUCHABLE_V = 25.0
"""AC volts above which a touch is counted as dangerous (the usual limit of extra-low voltage in dry places, from
memory; local codes differ)."""
BURNING_K = 273.15 + 60.0
"""Metal of this temperature burns skin within seconds (common practice, no source)."""


@dataclass(frozen=True)
class Partner:
    """A second node beside the main one: the element in a tank, or the walls of an oven."""

    heat_capacity_j_k: Number
    coupling_w_k: Number
    loss_w_k: Number = 0.0
    radiating_area_m2: Number = 0.0
    outside_area_m2: Number = 0.0
    takes_power: bool = False
    """True where the power goes into this node (an element), False where it goes into the main node (walls)."""


@dataclass(frozen=True)
class Heater:
    """A heated load. The main node is the one whose temperature is asked for.

    `heat_capacity_j_k` counts everything in the main node, its water too. `loss_w_k` is the loss to the ambient in
    still air. `radiating_area_m2` is emissivity times area, seen by surroundings at ambient temperature.
    `outside_area_m2` is the surface that stands in the road wind (0: sheltered). `water_kg` is water that may steam or
    boil away; 0 where the contents cannot boil or stand under pressure. `open_water_area_m2` is its open surface, 0
    under a lid.
    """

    heat_capacity_j_k: Number
    loss_w_k: Number
    radiating_area_m2: Number = 0.0
    outside_area_m2: Number = 0.0
    water_kg: Number = 0.0
    open_water_area_m2: Number = 0.0
    pressure_pa: Number = 101325.0
    relative_humidity: Number = 0.5
    water_film_w_m2_k: Number = 5.0
    """Film of still air over open water (common practice, no source: 3-10 W/(m² K))."""
    partner: Partner | None = None


@dataclass(frozen=True)
class Thermostat:
    """Opens above set + hysteresis/2 and closes again below set - hysteresis/2. `hysteresis_k` is a difference."""

    set_k: Number
    hysteresis_k: Number


@dataclass(frozen=True)
class ElementLimits:
    """What the element stands: power above `rated_power_w` is refused; NaN where a limit is not known."""

    rated_power_w: float = math.nan
    rated_voltage_v: float = math.nan
    resistance_ohm: float = math.nan
    surface_limit_k: float = math.nan


@dataclass(frozen=True)
class Outcome:
    """What heating gives. Arrays have the shape (draws,); NaN where there is no such number.

    `reason` is "" where the target is reached, "power" where the power cannot hold it, "boiling" where the water would
    boil first, "time" where it could be reached with more time than was given. `reachable` says that this power, kept
    up, gets there; `highest_temperature_k` is where this power, kept up, ends (NaN for a load without any loss).
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
    partner_peak_k: FloatArray
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
    """Temperatures over time: `time_s` (records,), `main_k` and `partner_k` (records, draws; NaN for one node)."""

    time_s: FloatArray
    main_k: FloatArray
    partner_k: FloatArray


def with_contents(heater: Heater, mass_kg: Number, specific_heat_j_kg_k: Number, *, boils: bool = False) -> Heater:
    """Return the load with food, water or anything else added to its main node.

    `boils` marks the mass as water that can steam and boil away.
    """
    if not (np.all(np.asarray(mass_kg) >= 0) and np.all(np.asarray(specific_heat_j_kg_k) > 0)):
        raise HeaterError("contents need a mass of 0 kg or more and a specific heat above 0 J/(kg K)")
    capacity = np.asarray(heater.heat_capacity_j_k) + np.asarray(mass_kg) * np.asarray(specific_heat_j_kg_k)
    kept_water = np.asarray(heater.water_kg) + (np.asarray(mass_kg) if boils else 0.0)
    return replace(heater, heat_capacity_j_k=capacity, water_kg=kept_water)


def food_specific_heat_j_kg_k(water_share: npt.ArrayLike) -> FloatArray:
    """Return the specific heat of unfrozen food from its water share by mass (0 to 1), J/(kg K).

    Siebel (1892), c = 0.837 + 3.349 w kJ/(kg K), as food-engineering texts quote it (from memory).
    """
    share = np.asarray(water_share, dtype=float)
    if not bool(((share >= 0) & (share <= 1)).all()):
        raise HeaterError("the water share of food is a number from 0 to 1")
    return np.asarray(837.0 + 3349.0 * share)


def faults(heater: Heater) -> list[str]:
    """Return what is physically impossible about a load, one sentence each; empty where nothing is."""
    found: list[str] = []

    def check(name: str, value: Number, *, low: float = 0.0, open_low: bool = False, high: float = math.inf) -> None:
        array = np.asarray(value, dtype=float)
        good = np.isfinite(array) & ((array > low) if open_low else (array >= low)) & (array <= high)
        if not bool(good.all()):
            bad = float(array[~good].flat[0]) if array.ndim else float(array)
            bound = f"above {low:g}" if open_low else f"{low:g} or more"
            found.append(f"{name} is {bad:g}; accepted: {bound}{f', at most {high:g}' if math.isfinite(high) else ''}")

    check("heat_capacity_j_k", heater.heat_capacity_j_k, open_low=True)
    for name in ("loss_w_k", "radiating_area_m2", "outside_area_m2", "water_kg", "open_water_area_m2"):
        check(name, getattr(heater, name))
    check("water_film_w_m2_k", heater.water_film_w_m2_k, open_low=True)
    check("relative_humidity", heater.relative_humidity, high=1.0)
    check("pressure_pa", heater.pressure_pa, low=1e4, high=2e5)
    if heater.partner is not None:
        check("partner.heat_capacity_j_k", heater.partner.heat_capacity_j_k, open_low=True)
        check("partner.coupling_w_k", heater.partner.coupling_w_k, open_low=True)
        for name in ("loss_w_k", "radiating_area_m2", "outside_area_m2"):
            check(f"partner.{name}", getattr(heater.partner, name))
    if found:
        return found
    held = np.asarray(heater.water_kg) * water.SPECIFIC_HEAT_J_KG_K
    if not bool(np.all(np.asarray(heater.heat_capacity_j_k) >= held * (1 - 1e-9))):
        found.append("heat_capacity_j_k is less than that of water_kg alone; accepted: the whole node, its water too")
    for label, node in (("", heater), ("partner.", heater.partner)):
        if node is None:
            continue
        bare = np.asarray(node.outside_area_m2) * float(steps.film_in_wind_w_m2_k(0.0))
        over = (bare > 0) & (np.asarray(node.loss_w_k) >= bare)
        if bool(np.any(over)):
            worst = float(np.max(np.asarray(node.loss_w_k)))
            found.append(
                f"{label}loss_w_k is {worst:g}, more than the film of still air over {label}outside_area_m2 lets "
                f"through ({float(np.min(bare)):.3g} W/K); accepted: a smaller loss or a larger area"
            )
    return found


def _coefficients(heater: Heater, draws: int) -> steps.Coefficients:
    """Return the load's numbers as arrays of (draws,), or (1,) where one holds for all draws."""
    bad = faults(heater)
    if bad:
        raise HeaterError("; ".join(bad))

    def spread(value: Number) -> FloatArray:
        array = np.atleast_1d(np.asarray(value, dtype=float))
        if array.shape not in ((1,), (draws,)):
            raise HeaterError(f"an array of shape {array.shape} where {draws} draws are wanted")
        return array.copy()

    partner = heater.partner
    held = spread(heater.water_kg)
    boiling = np.where(held > 0, spread(water.boiling_point_k(heater.pressure_pa)), np.inf)
    return steps.Coefficients(
        main_dry_capacity=np.maximum(spread(heater.heat_capacity_j_k) - held * water.SPECIFIC_HEAT_J_KG_K,
                                     1e-6 * spread(heater.heat_capacity_j_k))
        if held.any() else spread(heater.heat_capacity_j_k),
        main_loss=spread(heater.loss_w_k),
        main_radiating=spread(heater.radiating_area_m2) * steps.STEFAN_BOLTZMANN_W_M2_K4,
        main_outside=spread(heater.outside_area_m2),
        water=held,
        open_water=spread(heater.open_water_area_m2),
        humidity=spread(heater.relative_humidity),
        water_film=spread(heater.water_film_w_m2_k),
        boiling=boiling,
        partner_capacity=spread(partner.heat_capacity_j_k if partner else 1.0),
        partner_loss=spread(partner.loss_w_k if partner else 0.0),
        partner_radiating=spread(partner.radiating_area_m2 if partner else 0.0) * steps.STEFAN_BOLTZMANN_W_M2_K4,
        partner_outside=spread(partner.outside_area_m2 if partner else 0.0),
        coupling=spread(partner.coupling_w_k if partner else 0.0),
        main_share=0.0 if partner is not None and partner.takes_power else 1.0,
        two_nodes=partner is not None,
        radiates=bool(np.any(np.asarray(heater.radiating_area_m2) > 0))
        or (partner is not None and bool(np.any(np.asarray(partner.radiating_area_m2) > 0))),
        wet=bool(held.any()),
        steams=bool(np.any((held > 0) & (spread(heater.open_water_area_m2) > 0))),
        windy=bool(np.any(np.asarray(heater.outside_area_m2) > 0))
        or (partner is not None and bool(np.any(np.asarray(partner.outside_area_m2) > 0))),
    )  # fmt: skip


def _draws_of(*values: object) -> int:
    """Return the number of draws that the given numbers, loads and rows speak of (1 where all are single values)."""
    sizes: set[int] = set()
    for value in values:
        if value is None or isinstance(value, (bool, str)):
            continue
        if isinstance(value, (Heater, Partner, Thermostat)):
            sizes.add(_draws_of(*(getattr(value, f.name) for f in fields(value))))
            continue
        array = np.asarray(value)
        if array.ndim > 1:
            raise HeaterError(f"an array of shape {array.shape} where one value a draw is wanted")
        sizes.add(array.size if array.ndim else 1)
    sizes.discard(1)
    if len(sizes) > 1:
        raise HeaterError(f"arrays of different numbers of draws: {sorted(sizes)}")
    return sizes.pop() if sizes else 1


def _around(load: steps.Coefficients, power: FloatArray, ambient: FloatArray, wind: FloatArray) -> steps.Surroundings:
    main_loss, partner_loss = load.main_loss, load.partner_loss
    if load.windy:
        main_loss = steps.loss_in_wind_w_k(load.main_loss, load.main_outside, wind)
        partner_loss = steps.loss_in_wind_w_k(load.partner_loss, load.partner_outside, wind)
    return steps.Surroundings(power, ambient, main_loss, partner_loss)


def _loss_at(load: steps.Coefficients, around: steps.Surroundings, main: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (power that holds the main node at `main`, temperature of the partner then), steady state."""
    loss0, _ = steps.losses(load, around, main, main)
    if load.steams:
        loss0 = loss0 + steps.steam_w(load, main, around.ambient, load.water)
    if not load.two_nodes:
        return loss0, np.full_like(main, np.nan)
    if load.main_share == 0:  # the element feeds the main node: its excess carries all of the main's loss
        partner = main + loss0 / load.coupling
        _, loss1 = steps.losses(load, around, main, partner)
        return loss0 + loss1, partner
    # Walls: what flows into them, coupling (main - wall), is what they lose: one root between ambient and main.
    wall = _rising_root(
        lambda wall: steps.losses(load, around, main, wall)[1] - load.coupling * (main - wall),
        np.zeros_like(main), np.minimum(around.ambient, main), np.maximum(around.ambient, main),
    )  # fmt: skip
    return loss0 + steps.losses(load, around, main, wall)[1], wall


def _rising_root(
    function: Callable[[FloatArray], FloatArray], value: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Return where a rising function has the value, between low and high (to about 1e-9), for each draw.

    The Illinois variant of the false position, which keeps its bracket; scipy's bracketing solvers take one draw at a
    time.
    """
    low, high = low + np.zeros_like(value), high + np.zeros_like(value)
    below, above = function(low) - value, function(high) - value
    middle = low
    last = np.zeros(value.shape, dtype=np.int8)
    for _ in range(100):
        span = above - below
        flat = ~(span > 0)
        part = np.where(flat, 0.5, np.clip(above / np.where(flat, 1.0, span), 0.0, 1.0))
        middle = high - part * (high - low)
        gap = function(middle) - value
        over = gap > 0
        above, below = (
            np.where(over, gap, np.where(last == -1, 0.5 * above, above)),
            np.where(over, np.where(last == 1, 0.5 * below, below), gap),
        )
        low, high = np.where(over, low, middle), np.where(over, middle, high)
        last = np.where(over, 1, -1).astype(np.int8)
        if bool((np.minimum(np.abs(gap) - 1e-12 * np.abs(value), high - low - 1e-9) <= 1e-11).all()):
            break
    return middle


def holding_power_w(
    heater: Heater, temperature_k: Number, ambient_k: Number, air_speed_m_s: Number = 0.0
) -> FloatArray:
    """Return the steady power that holds the main node at a temperature, W, shape (draws,).

    Below 0 where the ambient is the warmer. Includes the steam of open water, as if water were topped up.
    """
    draws = _draws_of(heater, temperature_k, ambient_k, air_speed_m_s)
    load = _coefficients(heater, draws)
    ambient = np.broadcast_to(np.asarray(ambient_k, dtype=float), (draws,))
    wind = np.asarray(air_speed_m_s, dtype=float)
    around = _around(load, np.zeros(draws), ambient, wind)
    return _loss_at(load, around, np.broadcast_to(np.asarray(temperature_k, dtype=float), (draws,)).copy())[0]


def highest_temperature_k(
    heater: Heater, power_w: Number, ambient_k: Number, air_speed_m_s: Number = 0.0
) -> FloatArray:
    """Return the temperature at which the main node ends under a steady power, K, shape (draws,).

    Where water is held it is at most the boiling point. NaN for a load without any loss: it has no highest temperature.
    """
    draws = _draws_of(heater, power_w, ambient_k, air_speed_m_s)
    load = _coefficients(heater, draws)
    ambient = np.broadcast_to(np.asarray(ambient_k, dtype=float), (draws,)).copy()
    power = np.broadcast_to(np.asarray(power_w, dtype=float), (draws,))
    around = _around(load, np.zeros(draws), ambient, np.asarray(air_speed_m_s, dtype=float))
    return _ending_at(load, around, power)


def _ending_at(load: steps.Coefficients, around: steps.Surroundings, power: FloatArray) -> FloatArray:
    ambient = np.broadcast_to(around.ambient, power.shape)
    leaks = around.main_loss + load.main_radiating > 0
    if load.two_nodes:
        leaks = leaks | (around.partner_loss + load.partner_radiating > 0)
    # One node with a linear loss: at once. Else the holding power rises with temperature: one root, in a bracket that
    # is widened until it holds it.
    if not load.two_nodes and not load.radiates and not load.steams:
        ends = ambient + power / np.where(leaks, around.main_loss, 1.0)
        return _below_boiling(load, np.where(leaks, ends, np.where(power > 0, np.nan, ambient)))
    walls = load.two_nodes and load.main_share > 0

    def power_for(coolest: FloatArray) -> FloatArray:
        """Return the power that holds the walls, or where there are none the main node, at a temperature."""
        if not walls:
            return _loss_at(load, around, coolest)[0]
        main = _main_above(load, around, coolest)
        loss0, loss1 = steps.losses(load, around, main, coolest)
        return loss0 + loss1 + (steps.steam_w(load, main, around.ambient, load.water) if load.steams else 0.0)

    width = np.full(power.shape, 10.0)
    for _ in range(40):
        short = leaks & (power_for(ambient + width) < power)
        if not short.any():
            break
        width = np.where(short, width * 2, width)
    found = _rising_root(power_for, power, ambient, ambient + width)
    ends = np.where(leaks, _main_above(load, around, found), np.where(power > 0, np.nan, ambient))
    return _below_boiling(load, ends)


def _below_boiling(load: steps.Coefficients, ends: FloatArray) -> FloatArray:
    """Return the temperature at which the load ends, no higher than the boiling point; NaN where it has no end."""
    return np.where(np.isfinite(load.boiling), np.fmin(ends, load.boiling), ends)


def _main_above(load: steps.Coefficients, around: steps.Surroundings, coolest: FloatArray) -> FloatArray:
    """Return the steady temperature of the main node over walls of a temperature; without walls that temperature."""
    if not load.two_nodes or load.main_share == 0:
        return coolest
    return coolest + steps.losses(load, around, coolest, coolest)[1] / load.coupling


def limited_power_w(power_w: npt.ArrayLike, limits: ElementLimits | None) -> tuple[FloatArray, FloatArray]:
    """Return (power the element takes, power refused), W, of the shape given. A voltage and a resistance cap it too."""
    power = np.asarray(power_w, dtype=float)
    cap = most_power_w(limits)
    taken = np.minimum(power, cap)
    return taken, power - taken


def most_power_w(limits: ElementLimits | None) -> float:
    """Return the most power the element may take, W; inf where no limit is known."""
    if limits is None:
        return math.inf
    by_voltage = limits.rated_voltage_v**2 / limits.resistance_ohm
    known = [value for value in (limits.rated_power_w, by_voltage) if not math.isnan(value)]
    if any(value <= 0 for value in known):
        raise HeaterError("an element's rated power, voltage and resistance are above 0")
    return min(known, default=math.inf)


def slowest_time_constant_s(heater: Heater, ambient_k: Number, temperature_k: Number) -> FloatArray:
    """Return the time in which the slow part of a temperature difference falls to 1/e, s, shape (draws,); still air.

    With radiation or steam it is that of small changes around `temperature_k`. NaN for a load without loss.
    """
    draws = _draws_of(heater, ambient_k, temperature_k)
    load = _coefficients(heater, draws)
    around = _around(load, np.zeros(draws), np.asarray(ambient_k, dtype=float), np.zeros(()))
    rates = _rates(load, around, np.broadcast_to(np.asarray(temperature_k, dtype=float), (draws,)).copy())
    slow = np.broadcast_to(rates[0], (draws,))
    return np.where(slow > 0, 1.0 / np.where(slow > 0, slow, 1.0), np.nan)


def _rates(load: steps.Coefficients, around: steps.Surroundings, main: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the slow and the fast rate of the load near a temperature, 1/s."""
    slope0, slope1 = steps.slopes(load, around, main, main)
    if load.steams:
        slope0 = slope0 + steps.steam_slope_w_k(load, around, main, load.water)
    c0 = steps.main_capacity(load, load.water)
    if not load.two_nodes:
        return slope0 / c0, slope0 / c0
    c1, k = load.partner_capacity, load.coupling
    middle = 0.5 * ((k + slope0) / c0 + (k + slope1) / c1)
    half = 0.5 * ((k + slope0) / c0 - (k + slope1) / c1)
    fast = middle + np.sqrt(half * half + k * k / (c0 * c1))
    slow = (k * (slope0 + slope1) + slope0 * slope1) / (c0 * c1) / fast
    return slow, fast


def heat_up(
    heater: Heater,
    power_w: Number,
    *,
    target_k: Number,
    ambient_k: Number,
    start_k: Number | None = None,
    air_speed_m_s: Number = 0.0,
    limits: ElementLimits | None = None,
    longest_s: float = _LONGEST_S,
    progress: Progress | None = None,
) -> Outcome:
    """Return how a load warms under a steady power until it has settled (or `longest_s`), for all draws.

    `start_k` is the ambient where not given. Arrays have the shape (draws,). The time to target is that of the closed
    form for one node with a linear loss. Where water boils dry the power is cut. `progress` is told the share done.
    Raises HeaterError for numbers that cannot be.
    """
    draws = _draws_of(heater, power_w, target_k, ambient_k, start_k, air_speed_m_s)
    load = _coefficients(heater, draws)
    ambient = np.broadcast_to(np.asarray(ambient_k, dtype=float), (draws,)).copy()
    around = _around(load, np.zeros(draws), ambient, np.asarray(air_speed_m_s, dtype=float))
    steady = _ending_at(load, around, np.broadcast_to(np.asarray(power_w, dtype=float), (draws,)))
    ends = np.minimum(np.nan_to_num(steady, nan=2000.0), 2000.0)
    slow_low, _ = _rates(load, around, ambient)
    slow_high, fast = _rates(load, around, np.maximum(ends, ambient))
    slow = np.where(np.minimum(slow_low, slow_high) > 0, np.minimum(slow_low, slow_high), 1.0 / _LONGEST_S)
    horizon = min(longest_s, 40.0 / float(slow.min()))
    durations = _growing_steps(horizon, first=min(0.02 / float(fast.max(initial=1e-9) or 1e-9), horizon / 50),
                               largest=horizon / 800)  # fmt: skip
    count = durations.size
    return simulate(
        heater, np.reshape(power_w, (1, -1)), durations_s=durations, ambient_k=np.reshape(ambient_k, (1, -1)),
        target_k=target_k, start_k=ambient_k if start_k is None else start_k,
        air_speed_m_s=np.reshape(air_speed_m_s, (1, -1)), limits=limits, most_records=count + 1, subdivide=False,
        cut_when_dry=True, progress=progress,
    )  # fmt: skip


def _growing_steps(horizon: float, *, first: float, largest: float) -> FloatArray:
    """Return step lengths that start at `first`, grow by 3 % each up to `largest`, and add up to `horizon`."""
    first = min(max(first, horizon * 1e-7), largest)
    growing = first * 1.03 ** np.arange(math.ceil(math.log(largest / first) / math.log(1.03)) + 1)
    growing = growing[np.cumsum(growing) < horizon]
    rest = horizon - float(growing.sum())
    number = max(1, math.ceil(rest / largest))
    return np.concatenate([growing, np.full(number, rest / number)])


def simulate(
    heater: Heater,
    power_w: npt.ArrayLike,
    *,
    durations_s: npt.ArrayLike,
    ambient_k: npt.ArrayLike,
    target_k: Number,
    start_k: Number,
    partner_start_k: Number | None = None,
    air_speed_m_s: npt.ArrayLike = 0.0,
    power_factor: Number = 1.0,
    thermostat: Thermostat | None = None,
    limits: ElementLimits | None = None,
    repeats: int = 1,
    most_records: int = 361,
    subdivide: bool = True,
    cut_when_dry: bool = False,
    progress: Progress | None = None,
) -> Outcome:
    """Return the temperature of a load under a power that varies: a trip with stops, or a wattmeter's log.

    `durations_s` (steps,) are the lengths of the steps (a single number: all alike). `power_w`, `ambient_k` and
    `air_speed_m_s` hold through a step; their shape is (), (steps,), (1, draws) or (steps, draws). `power_factor`
    (draws,) multiplies the power, so that draws need no (steps, draws) array. `repeats` drives the same trip again and
    again. `most_records` bounds the records of the history. With `subdivide` steps too long for a bent loss are cut.
    `cut_when_dry` (without a thermostat) keeps the power off once the water is gone. `progress` is told the share done.

    The Outcome's highest temperature and holding power are those of the mean power and mean surroundings of the trip,
    kept up; its reason is "time" where that would reach the target but the trip is too short. Where a trip's gusts
    reach the target and its mean cannot hold it, `reachable` is True. Raises HeaterError for numbers that cannot be.
    """
    durations = np.atleast_1d(np.asarray(durations_s, dtype=float))
    rows = {"power_w": np.asarray(power_w, dtype=float), "ambient_k": np.asarray(ambient_k, dtype=float),
            "air_speed_m_s": np.asarray(air_speed_m_s, dtype=float)}  # fmt: skip
    durations, rows, row_draws = _on_common_steps(durations, rows)
    draws = _common([_draws_of(heater, target_k, start_k, partner_start_k, power_factor, thermostat), row_draws])
    _check_rows(durations, rows, target_k, start_k, power_factor, repeats)
    load = _coefficients(heater, draws)

    def spread(value: Number) -> FloatArray:
        return np.broadcast_to(np.asarray(value, dtype=float), (draws,)).copy()

    cap = most_power_w(limits)
    factor = np.asarray(power_factor, dtype=float)
    power, ambient, wind = rows["power_w"], rows["ambient_k"], rows["air_speed_m_s"]
    start, target = spread(start_k), spread(target_k)
    partner = spread(start_k if partner_start_k is None else partner_start_k)
    mean_power = _mean_taken(durations, power, factor, cap, draws)
    mean_ambient, mean_wind = _mean(durations, ambient, draws), _mean(durations, wind, draws)
    around = _around(load, np.zeros(draws), mean_ambient, mean_wind)
    ends = _ending_at(load, around, mean_power)
    pieces, index = _pieces(load, durations, repeats, thermostat, around, ends, target, subdivide)
    off_above = on_below = None
    if thermostat is not None:
        half = 0.5 * spread(thermostat.hysteresis_k)
        if not bool((2 * half >= LEAST_HYSTERESIS_K).all() and np.isfinite(half).all()):
            raise HeaterError(
                f"a thermostat's hysteresis is a temperature difference of {LEAST_HYSTERESIS_K:g} K or more"
            )
        off_above, on_below = spread(thermostat.set_k) + half, spread(thermostat.set_k) - half

    plain = bool(np.all(factor == 1.0))

    def taken(step: int) -> FloatArray:
        row = power[index[step]]
        if not plain:
            row = row * factor
        return np.minimum(row, cap) if math.isfinite(cap) else row

    def refused(step: int) -> FloatArray:
        return np.maximum(power[index[step]] * factor - cap, 0.0)

    records = np.unique(np.round(np.linspace(0, pieces.size, min(most_records, pieces.size + 1))).astype(np.intp))
    zero = np.zeros(draws)
    marched = steps.march(
        load,
        steps.State(start, partner, spread(load.water), zero, zero.copy(), zero.copy()),
        durations_s=pieces,
        power_row=taken,
        refused_row=refused if math.isfinite(cap) else None,
        ambient_row=lambda step: ambient[index[step]],
        wind_row=(lambda step: wind[index[step]]) if load.windy else None,
        target=target,
        off_above=off_above,
        on_below=on_below,
        records=records,
        cut_when_dry=cut_when_dry,
        progress=progress,
    )
    return _outcome(load, around, marched, target, mean_power, ends)


def _outcome(
    load: steps.Coefficients,
    around: steps.Surroundings,
    marched: steps.March,
    target: FloatArray,
    mean_power: FloatArray,
    ends: FloatArray,
) -> Outcome:
    holding = _loss_at(load, around, target)[0]
    reached = ~np.isnan(marched.reached_s)
    boils_first = (target > load.boiling) & ~reached
    enough = np.where(np.isnan(ends), mean_power > 0, ends > target) & ~boils_first
    reason = np.where(reached, "", np.where(boils_first, "boiling", np.where(enough, "time", "power")))
    nothing = np.full(target.shape, np.nan)
    final = marched.state
    return Outcome(
        reachable=reached | enough,
        time_to_target_s=marched.reached_s,
        highest_temperature_k=np.where(np.isnan(ends), np.nan, np.fmax(ends, marched.peak)),
        holding_power_w=np.where(boils_first, np.nan, holding),
        energy_to_target_j=marched.given_at_target,
        shortfall_w=np.where(boils_first, np.nan, np.maximum(holding - mean_power, 0.0)),
        reason=reason,
        available_power_w=mean_power,
        target_k=target,
        ambient_k=np.broadcast_to(around.ambient, target.shape).copy(),
        peak_temperature_k=marched.peak,
        final_temperature_k=final.main,
        partner_peak_k=marched.partner_peak if load.two_nodes else nothing,
        energy_given_j=marched.given,
        energy_refused_j=marched.refused,
        energy_stored_j=final.stored,
        energy_lost_j=final.lost,
        energy_in_vapour_j=final.vapour,
        water_left_kg=final.water,
        boiling_from_s=marched.boiling_from_s,
        dry_from_s=marched.dry_from_s,
        switchings=marched.switchings,
        history=History(marched.recorded_s, marched.recorded_main,
                        marched.recorded_partner if load.two_nodes
                        else np.broadcast_to(np.nan, marched.recorded_main.shape)),
    )  # fmt: skip


def _common(sizes: list[int]) -> int:
    several = {size for size in sizes if size != 1}
    if len(several) > 1:
        raise HeaterError(f"arrays of different numbers of draws: {sorted(several)}")
    return several.pop() if several else 1


def _on_common_steps(
    durations: FloatArray, rows: dict[str, FloatArray]
) -> tuple[FloatArray, dict[str, FloatArray], int]:
    """Return the step lengths (steps,), the rows as (steps, draws or 1) views, and the number of draws in the rows."""
    if durations.ndim != 1:
        raise HeaterError(f"durations_s has the shape {durations.shape}; accepted: one length a step")
    lengths = {durations.size} | {row.shape[0] for row in rows.values() if row.ndim}
    lengths.discard(1)
    if len(lengths) > 1:
        raise HeaterError(f"arrays of different numbers of steps: {sorted(lengths)}")
    count = lengths.pop() if lengths else 1
    spread: dict[str, FloatArray] = {}
    for name, row in rows.items():
        if row.ndim > 2:
            raise HeaterError(f"{name} has {row.ndim} dimensions; accepted: (steps,) or (steps, draws)")
        column = row.reshape(-1, 1) if row.ndim < 2 else row
        spread[name] = np.broadcast_to(column, (count, column.shape[1]))
    return np.broadcast_to(durations, (count,)), spread, _common([row.shape[1] for row in spread.values()])


def _check_rows(
    durations: FloatArray, rows: dict[str, FloatArray], target: Number, start: Number, factor: Number, repeats: int
) -> None:
    if not (bool(np.isfinite(durations).all()) and bool((durations > 0).all())):
        raise HeaterError("the length of a step is a finite time above 0 s")
    if repeats < 1:
        raise HeaterError(f"repeats is {repeats}; accepted: 1 or more")
    least = {"power_w": 0.0, "ambient_k": 1.0, "air_speed_m_s": 0.0}
    named = {"target_k": (target, 1.0), "start_k": (start, 1.0), "power_factor": (factor, 0.0),
             **{name: (row, least[name]) for name, row in rows.items()}}  # fmt: skip
    for name, (value, low) in named.items():
        array = np.asarray(value, dtype=float)
        if not bool(np.isfinite(array).all()):
            raise HeaterError(f"{name} holds a value that is no finite number")
        if array.size and float(array.min()) < low:
            raise HeaterError(f"{name} holds {float(array.min()):g}; accepted: {low:g} or more")


def _mean_taken(durations: FloatArray, power: FloatArray, factor: FloatArray, cap: float, draws: int) -> FloatArray:
    """Return the mean power that the element takes, (draws,)."""
    if not math.isfinite(cap):
        return _mean(durations, power, draws) * factor
    taken = np.zeros(draws)
    for length, row in zip(durations.tolist(), power, strict=True):  # row by row: (steps, draws) need not fit in memory
        taken += length * np.minimum(row * factor, cap)
    return taken / float(durations.sum())


def _mean(durations: FloatArray, rows: FloatArray, draws: int) -> FloatArray:
    return np.broadcast_to(durations @ rows / durations.sum(), (draws,)).copy()


def _pieces(
    load: steps.Coefficients,
    durations: FloatArray,
    repeats: int,
    thermostat: Thermostat | None,
    around: steps.Surroundings,
    ends: FloatArray,
    target: FloatArray,
    subdivide: bool,
) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """Return the lengths of the pieces to march through, and for each the step of the trip that it belongs to.

    A piece is a whole step where the step's solution is exact; else short against the quickest change of the load. With
    two nodes and a thermostat it is short enough not to pass over a quick swing.
    """
    index = np.tile(np.arange(durations.size), repeats)
    lengths = np.tile(durations, repeats)
    bent = load.radiates or load.steams
    if subdivide and (bent or (thermostat is not None and load.two_nodes)):
        hot = np.nan_to_num(np.fmax(ends, target), nan=400.0)
        hot = np.minimum(hot, 2000.0)
        fast = float(_rates(load, around, hot)[1].max())
        if load.wet:  # once the water is gone the load is quicker
            dry = replace(load, water=np.zeros(1))
            fast = max(fast, float(_rates(dry, around, hot)[1].max()))
        longest = (0.05 if bent else 0.25) / fast if fast > 0 else math.inf
        number = np.ceil(np.maximum(lengths / longest, 1.0) - 1e-9)
        most = max(MOST_PIECES, 4 * lengths.size)
        if float(number.sum()) > most:  # an absurdly quick node: stable all the same, see heater_steps
            number = np.maximum(np.floor(number * (most / float(number.sum()))), 1.0)
        counts = number.astype(np.intp)
        index, lengths = np.repeat(index, counts), np.repeat(lengths / counts, counts)
    if lengths.size > MOST_STEPS:
        raise HeaterError(f"{lengths.size} steps; accepted: at most {MOST_STEPS}")
    return lengths, index


@dataclass(frozen=True)
class Remedy:
    """One way to reach a target out of reach: `kind` is "power", "loss" or "target", `value` is in W, W/K or K."""

    kind: str
    value: float
    words: str


def remedies(
    heater: Heater,
    outcome: Outcome,
    *,
    air_speed_m_s: float = 0.0,
    system: UnitSystem = "metric",
    draw: int = 0,
) -> list[Remedy]:
    """Return what would make the target of one draw reachable, each with its number and in words; empty if it is.

    More power: what holds the target. Less loss: by how much the whole loss (radiation too) must shrink for this power
    to hold it. Lower target: where this power ends. Each is a limit that is only approached: a little more is needed
    to arrive.
    """
    from vehicle.units import show

    if bool(outcome.reachable[draw]):
        return []
    target, ends = float(outcome.target_k[draw]), float(outcome.highest_temperature_k[draw])
    lower = Remedy("target", ends, f"a target below {show(ends, 'temperature', system)}")
    if str(outcome.reason[draw]) == "boiling":
        point = show(ends, "temperature", system)
        return [Remedy("target", ends, f"a target of at most {point}, where the water boils: no power gets it hotter")]
    power, needed = float(outcome.available_power_w[draw]), float(outcome.holding_power_w[draw])
    more = (
        f"more power: above {show(needed, 'power', system)} on average instead of {show(power, 'power', system)} "
        f"({show(needed - power, 'power', system)} more)"
    )
    found = [Remedy("power", needed, more)]
    ambient = float(outcome.ambient_k[draw])
    if power > 0 and target > ambient:
        allowed, present = power / (target - ambient), needed / (target - ambient)
        less = (
            f"less loss: below {allowed:.3g} W/K between {show(ambient, 'temperature', system)} and the target instead "
            f"of {present:.3g} W/K ({100 * (1 - power / needed):.0f} % less)"
        )
        found.append(Remedy("loss", allowed, less))
    return [*found, lower]


def cautions(
    heater: Heater,
    outcome: Outcome,
    *,
    limits: ElementLimits | None = None,
    thermostat: Thermostat | None = None,
    system: UnitSystem = "metric",
) -> list[str]:
    """Return the cautions that this heating calls for, in words, over all draws."""
    from vehicle.units import show

    told: list[str] = []
    hottest = float(np.nanmax(outcome.peak_temperature_k))
    refused, given = float(outcome.energy_refused_j.mean()), float(outcome.energy_given_j.mean())
    if refused > 1e-6 * max(given, 1.0):
        told.append(
            "Part of the power is refused (thermostat open or element at its limit): a rotor that loses its electrical "
            "load speeds up. Give the refused power a dump load, or brake or feather the rotor before the load is cut."
        )
    elif thermostat is not None:
        told.append("A thermostat that opens takes the electrical load off the rotor: provide a dump load or a brake.")
    surface = float(np.nanmax(outcome.partner_peak_k)) if _has_element(heater) else hottest
    if limits is not None and surface > limits.surface_limit_k:
        told.append(
            f"The element's surface gets to {show(surface, 'temperature', system)}, above its limit of "
            f"{show(limits.surface_limit_k, 'temperature', system)}."
        )
    if limits is not None and limits.rated_voltage_v > MOST_TOUCHABLE_V:
        told.append(
            "Voltages above 25 V AC or 60 V DC can kill: enclose, fuse, bond and isolate by your local code, and have "
            "a licensed electrician check it."
        )
    if hottest > BURNING_K:
        told.append(
            f"Surfaces above {show(BURNING_K, 'temperature', system)} burn skin at a touch; fasten the hot load so "
            "that a crash or hard braking cannot throw it."
        )
    if bool(np.isfinite(outcome.boiling_from_s).any()):
        told.append("The water boils: leave a vent that cannot close, never a sealed vessel without a safety valve.")
    if bool(np.isfinite(outcome.dry_from_s).any()):
        told.append(
            "The water boils dry: an element without water burns out. Cut the power by a dry-run or over-heat switch."
        )
    return told


def _has_element(heater: Heater) -> bool:
    return heater.partner is not None and heater.partner.takes_power


def summary(outcome: Outcome, *, share: float = 0.9) -> dict[str, object]:
    """Return the outcome over all draws as plain numbers for JSON; None where there is no such number.

    Each quantity of several draws has the median and, as `<name>_interval`, the [low, high] that hold `share` of the
    draws; draws that never reach the target count as later than all others, so that a high end of None says "perhaps
    never". `reachable` is that of the median draw, `reachable_share` how many of the draws get there.
    """
    unreached = np.isnan(outcome.time_to_target_s)
    told: dict[str, object] = {
        "reachable": bool(np.mean(outcome.reachable) >= 0.5),
        "reachable_share": float(np.mean(outcome.reachable)),
    }
    numbers = {
        "time_to_target_s": np.where(unreached, np.inf, outcome.time_to_target_s),
        "highest_temperature_degc": outcome.highest_temperature_k - 273.15,
        "holding_power_w": outcome.holding_power_w,
        "energy_to_target_kwh": np.where(unreached, np.inf, outcome.energy_to_target_j / 3.6e6),
        "shortfall_w": outcome.shortfall_w,
    }
    for name, values in numbers.items():
        # "higher" picks a draw that is there: no arithmetic between a number and "never"
        low, middle, high = (
            float(number) if np.isfinite(number) else None
            for number in np.quantile(values, [(1 - share) / 2, 0.5, (1 + share) / 2], method="higher")
        )
        told[name] = middle
        if values.size > 1:
            told[f"{name}_interval"] = [low, high]
    reasons, counts = np.unique(outcome.reason, return_counts=True)
    told["reason"] = str(reasons[int(np.argmax(counts))])
    return told


@dataclass(frozen=True)
class TemperatureBand:
    """A history ready for a chart, arrays of (records,). With one draw middle, low and high are alike."""

    time_s: FloatArray
    middle_k: FloatArray
    low_k: FloatArray
    high_k: FloatArray


def temperature_history(outcome: Outcome, *, share: float = 0.9, node: str = "main") -> TemperatureBand:
    """Return the median temperature over time and the band that holds `share` of the draws, at the recorded times.

    `node` is "main" or "partner". Raises HeaterError for a share outside 0 to 1 or another node.
    """
    if not 0 < share < 1 or node not in ("main", "partner"):
        raise HeaterError("a band's share lies between 0 and 1, and its node is main or partner")
    kept = outcome.history.main_k if node == "main" else outcome.history.partner_k
    if kept.shape[1] == 1:
        low = middle = high = kept[:, 0]
    else:
        low, middle, high = np.quantile(kept, [(1 - share) / 2, 0.5, (1 + share) / 2], axis=1)
    return TemperatureBand(outcome.history.time_s, middle, low, high)


def trip_steps(time_s: npt.ArrayLike) -> FloatArray:
    """Return the step lengths of sample times (samples,), the last step as long as the median one: shape (samples,).

    A sample's power holds until the next sample. Raises HeaterError unless times rise.
    """
    times = np.asarray(time_s, dtype=float)
    if times.ndim != 1 or times.size < 2 or not bool(np.isfinite(times).all()):
        raise HeaterError("times are at least two finite numbers")
    step = np.diff(times)
    if not bool((step > 0).all()):
        raise HeaterError(f"times do not rise after sample {int(np.argmax(step <= 0)) + 1}")
    return np.append(step, np.median(step))


@dataclass(frozen=True)
class PowerLog:
    """A logged power as steps: `durations_s` and `power_w` (steps,), and `remarks` on what was not logged.

    `columns` holds what else was logged: "speed" (m/s) and "ambient" (K), (steps,).
    """

    durations_s: FloatArray
    power_w: FloatArray
    remarks: tuple[str, ...]
    columns: Mapping[str, FloatArray] = field(default_factory=dict)


def read_wattmeter_log(path: Path, *, gap_s: float | None = None) -> PowerLog:
    """Return a wattmeter's CSV log (columns time and power, units in the headers) as steps for `simulate`.

    Columns speed and ambient are read where they are there. A reading holds until the next one. Where none follows for longer than `gap_s` (by default five typical steps, at
    least 30 s) it holds for one typical step, and then nothing counts until the next: heat that was not logged is not
    promised. Raises InputError naming every fault.
    """
    from vehicle.problems import InputError, Problem
    from vehicle.tables import increasing, read_table

    table = read_table(path, {"time": "s", "power": "W"}, optional={"speed": "m/s", "ambient": "K"})
    time, power = table["time"], table["power"]
    increasing(path, "time", time)
    if float(power.min()) < 0:
        row = int(np.argmin(power))
        raise InputError(
            Problem(path.name, f"column power, row {row + 1} of the numbers", f"{power[row]:g} W", "0 W or more")
        )
    durations = trip_steps(time)
    typical = float(np.median(durations))
    gap = durations > (max(5 * typical, 30.0) if gap_s is None else gap_s)
    others: dict[str, FloatArray] = {name: table[name] for name in ("speed", "ambient") if name in table}
    if not gap.any():
        return PowerLog(durations, power, (), others)
    after = np.flatnonzero(gap) + 1
    silent = durations[gap] - typical
    durations = np.insert(np.where(gap, typical, durations), after, silent)
    remark = (
        f"{path.name}: nothing logged for {float(silent.sum()) / 60:.3g} min in {silent.size} "
        f"gap{'s' if silent.size > 1 else ''}; counted as no power"
    )
    held: dict[str, FloatArray] = {name: np.insert(values, after, values[after - 1]) for name, values in others.items()}
    return PowerLog(durations, np.insert(power, after, 0.0), (remark,), held)
