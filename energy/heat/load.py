"""What is heated, what its element stands, and what is impossible about it.

A load is one node (everything at one temperature) or two (an element and what it heats, or the inside and the walls):

    capacity dT/dt = power - loss (T - ambient) - emissivity sigma area (T^4 - ambient^4) - steam

(lumped capacitance: Incropera & DeWitt, chapter 5, from memory). Temperatures are kelvin inside. Numbers of the load
may be single values or arrays of shape (draws,): one value and 10 000 draws go through the same functions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from energy.heat import water
from energy.heat.steps import STEFAN_BOLTZMANN_W_M2_K4, Coefficients, FloatArray, HeaterError, film_in_wind_w_m2_k
from vehicle.constants import SEA_LEVEL_PRESSURE_PA

Number = float | FloatArray


@dataclass(frozen=True)
class SecondNode:
    """A second node beside the main one: the element in a tank, or the walls of an oven."""

    heat_capacity_j_k: Number
    coupling_w_k: Number
    loss_w_k: Number = 0.0
    radiating_area_m2: Number = 0.0
    outside_area_m2: Number = 0.0
    takes_power: bool = False
    """True where the power goes into this node (an element), False where it goes into the main node (walls)."""


@dataclass(frozen=True)
class HeatedLoad:
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
    pressure_pa: Number = SEA_LEVEL_PRESSURE_PA
    relative_humidity: Number = 0.5
    water_film_w_m2_k: Number = 5.0
    """Film of still air over open water (common practice, no source: 3-10 W/(m² K))."""
    second_node: SecondNode | None = None


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


_NO_SECOND_NODE = SecondNode(heat_capacity_j_k=1.0, coupling_w_k=0.0)


def with_contents(
    heater: HeatedLoad, mass_kg: Number, specific_heat_j_kg_k: Number, *, boils: bool = False
) -> HeatedLoad:
    """Return the load with food, water or anything else added to its main node.

    `boils` marks the mass as water that can steam and boil away.

    Parameters
    ----------
    heater : the load without them
    mass_kg : [kg] single value or (draws,)
    specific_heat_j_kg_k : [J/(kg K)] single value or (draws,)
    boils : whether the mass is water that can boil away

    Returns
    -------
    The load.

    Raises
    ------
    HeaterError
        For a mass below 0 or a specific heat of 0 or less.

    References
    ----------
    .. [1] Definition of specific heat.
    """
    if not (np.all(np.asarray(mass_kg) >= 0) and np.all(np.asarray(specific_heat_j_kg_k) > 0)):
        raise HeaterError("contents need a mass of 0 kg or more and a specific heat above 0 J/(kg K)")
    capacity = np.asarray(heater.heat_capacity_j_k) + np.asarray(mass_kg) * np.asarray(specific_heat_j_kg_k)
    kept_water = np.asarray(heater.water_kg) + (np.asarray(mass_kg) if boils else 0.0)
    return replace(heater, heat_capacity_j_k=capacity, water_kg=kept_water)


def food_specific_heat_j_kg_k(water_share: npt.ArrayLike) -> FloatArray:
    """Return the specific heat of unfrozen food from its water share by mass (0 to 1), J/(kg K).

    Siebel (1892), c = 0.837 + 3.349 w kJ/(kg K), from memory.

    Parameters
    ----------
    water_share : [-] 0 to 1, any shape

    Returns
    -------
    [J/(kg K)], of that shape.

    Raises
    ------
    HeaterError
        For a share outside 0 to 1.

    References
    ----------
    .. [1] Siebel (1892), from memory.
    """
    share = np.asarray(water_share, dtype=float)
    if not bool(((share >= 0) & (share <= 1)).all()):
        raise HeaterError("the water share of food is a number from 0 to 1")
    return np.asarray(837.0 + 3349.0 * share)


def faults(heater: HeatedLoad) -> list[str]:
    """Return what is physically impossible about a load, one sentence each; empty where nothing is.

    Parameters
    ----------
    heater : the load

    Returns
    -------
    The sentences.
    """
    sentences: list[str] = []

    def check(name: str, value: Number, *, low: float = 0.0, open_low: bool = False, high: float = math.inf) -> None:
        array = np.asarray(value, dtype=float)
        good = np.isfinite(array) & ((array > low) if open_low else (array >= low)) & (array <= high)
        if not bool(good.all()):
            bad = float(array[~good].flat[0]) if array.ndim else float(array)
            bound = f"above {low:g}" if open_low else f"{low:g} or more"
            sentences.append(
                f"{name} is {bad:g}; accepted: {bound}{f', at most {high:g}' if math.isfinite(high) else ''}"
            )

    check("heat_capacity_j_k", heater.heat_capacity_j_k, open_low=True)
    for name in ("loss_w_k", "radiating_area_m2", "outside_area_m2", "water_kg", "open_water_area_m2"):
        check(name, getattr(heater, name))
    check("water_film_w_m2_k", heater.water_film_w_m2_k, open_low=True)
    check("relative_humidity", heater.relative_humidity, high=1.0)
    check("pressure_pa", heater.pressure_pa, low=1e4, high=2e5)
    if heater.second_node is not None:
        check("second_node.heat_capacity_j_k", heater.second_node.heat_capacity_j_k, open_low=True)
        check("second_node.coupling_w_k", heater.second_node.coupling_w_k, open_low=True)
        for name in ("loss_w_k", "radiating_area_m2", "outside_area_m2"):
            check(f"second_node.{name}", getattr(heater.second_node, name))
    if sentences:
        return sentences
    held = np.asarray(heater.water_kg) * water.SPECIFIC_HEAT_J_KG_K
    if not bool(np.all(np.asarray(heater.heat_capacity_j_k) >= held * (1 - 1e-9))):
        sentences.append(
            "heat_capacity_j_k is less than that of water_kg alone; accepted: the whole node, its water too"
        )
    for label, node in (("", heater), ("second_node.", heater.second_node)):
        if node is None:
            continue
        bare = np.asarray(node.outside_area_m2) * float(film_in_wind_w_m2_k(0.0))
        over = (bare > 0) & (np.asarray(node.loss_w_k) >= bare)
        if bool(np.any(over)):
            worst = float(np.max(np.asarray(node.loss_w_k)))
            sentences.append(
                f"{label}loss_w_k is {worst:g}, more than the film of still air over {label}outside_area_m2 lets "
                f"through ({float(np.min(bare)):.3g} W/K); accepted: a smaller loss or a larger area"
            )
    return sentences


def coefficients(heater: HeatedLoad, draws: int) -> Coefficients:
    """Return the load's numbers as arrays of (draws,), or (1,) where one holds for all draws.

    Parameters
    ----------
    heater : the load
    draws : [1] how many

    Returns
    -------
    The numbers, arrays (draws,) or (1,).

    Raises
    ------
    HeaterError
        For what no load can be (see `faults`) or another number of draws.
    """
    bad = faults(heater)
    if bad:
        raise HeaterError("; ".join(bad))

    def spread(value: Number) -> FloatArray:
        array = np.atleast_1d(np.asarray(value, dtype=float))
        if array.shape not in ((1,), (draws,)):
            raise HeaterError(f"an array of shape {array.shape} where {draws} draws are wanted")
        return array.copy()

    second = _NO_SECOND_NODE if heater.second_node is None else heater.second_node
    whole, held = spread(heater.heat_capacity_j_k), spread(heater.water_kg)
    dry = np.maximum(whole - held * water.SPECIFIC_HEAT_J_KG_K, 1e-6 * whole) if held.any() else whole

    def any_above_0(*values: Number) -> bool:
        return any(bool(np.any(np.asarray(value) > 0)) for value in values)

    return Coefficients(
        main_dry_capacity=dry,
        main_loss=spread(heater.loss_w_k),
        main_radiating=spread(heater.radiating_area_m2) * STEFAN_BOLTZMANN_W_M2_K4,
        main_outside=spread(heater.outside_area_m2),
        water=held,
        open_water=spread(heater.open_water_area_m2),
        humidity=spread(heater.relative_humidity),
        water_film=spread(heater.water_film_w_m2_k),
        boiling=np.where(held > 0, spread(water.boiling_point_k(heater.pressure_pa)), np.inf),
        second_capacity=spread(second.heat_capacity_j_k),
        second_loss=spread(second.loss_w_k),
        second_radiating=spread(second.radiating_area_m2) * STEFAN_BOLTZMANN_W_M2_K4,
        second_outside=spread(second.outside_area_m2),
        coupling=spread(second.coupling_w_k),
        main_share=0.0 if second.takes_power else 1.0,
        two_nodes=heater.second_node is not None,
        radiates=any_above_0(heater.radiating_area_m2, second.radiating_area_m2),
        wet=bool(held.any()),
        steams=bool(np.any((held > 0) & (spread(heater.open_water_area_m2) > 0))),
        windy=any_above_0(heater.outside_area_m2, second.outside_area_m2),
    )


def draws_of(*values: object) -> int:
    """Return the number of draws that the given numbers, loads and rows speak of (1 where all are single values).

    Parameters
    ----------
    values : numbers, loads and None

    Returns
    -------
    [1]

    Raises
    ------
    HeaterError
        Where several numbers of draws are there, or an array of another shape.
    """
    sizes: set[int] = set()
    for value in values:
        if value is None or isinstance(value, (bool, str)):
            continue
        if isinstance(value, (HeatedLoad, SecondNode, Thermostat)):
            sizes.add(draws_of(*(getattr(value, f.name) for f in fields(value))))
            continue
        array = np.asarray(value)
        if array.ndim > 1:
            raise HeaterError(f"an array of shape {array.shape} where one value a draw is wanted")
        sizes.add(array.size if array.ndim else 1)
    sizes.discard(1)
    if len(sizes) > 1:
        raise HeaterError(f"arrays of different numbers of draws: {sorted(sizes)}")
    return sizes.pop() if sizes else 1


def common_draws(sizes: list[int]) -> int:
    """Return the one number of draws that is not 1 among the sizes of arrays; HeaterError where several differ.

    Parameters
    ----------
    sizes : [1] of arrays

    Returns
    -------
    [1]

    Raises
    ------
    HeaterError
        Where several differ.
    """
    several = {size for size in sizes if size != 1}
    if len(several) > 1:
        raise HeaterError(f"arrays of different numbers of draws: {sorted(several)}")
    return several.pop() if several else 1


def most_power_w(limits: ElementLimits | None) -> float:
    """Return the most power the element may take, W; inf where no limit is known.

    Parameters
    ----------
    limits : of the element, None where none is known

    Returns
    -------
    [W]; inf where no limit is known.

    Raises
    ------
    HeaterError
        For a limit of 0 or less.

    References
    ----------
    .. [1] Definition of power: the lesser of rated power and U²/R.
    """
    if limits is None:
        return math.inf
    by_voltage = limits.rated_voltage_v**2 / limits.resistance_ohm
    known = [value for value in (limits.rated_power_w, by_voltage) if not math.isnan(value)]
    if any(value <= 0 for value in known):
        raise HeaterError("an element's rated power, voltage and resistance are above 0")
    return min(known, default=math.inf)
