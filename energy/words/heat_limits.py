"""What would bring a target within reach, and what a heating can hurt, in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from energy.heat.heater import HeatingOutcome
from energy.heat.load import ElementLimits, HeatedLoad, Thermostat
from energy.heat.water import boiling_point_k
from vehicle.constants import ZERO_CELSIUS_K
from vehicle.units import UnitSystem, show

MOST_TOUCHABLE_V = 25.0
"""AC volts above which a touch is counted as dangerous (the usual limit of extra-low voltage in dry places, from
memory; local codes differ)."""
BURNING_K = ZERO_CELSIUS_K + 60.0
"""Metal of this temperature burns skin within seconds (common practice, no source)."""


@dataclass(frozen=True)
class Remedy:
    """One way to reach a target out of reach: `kind` is "power", "loss" or "target", `value` is in W, W/K or K."""

    kind: str
    value: float
    words: str


def remedies(
    heater: HeatedLoad,
    outcome: HeatingOutcome,
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
    if bool(outcome.reachable[draw]):
        return []
    target, ends = float(outcome.target_k[draw]), float(outcome.highest_temperature_k[draw])
    if str(outcome.reason[draw]) == "boiling":
        boiling = float(boiling_point_k(heater.pressure_pa))
        point = show(boiling, "temperature", system)
        above = f"a target of at most {point}, where the water boils: no power gets it hotter"
        if math.isfinite(ends) and ends < boiling:
            above = (
                f"a target below {show(ends, 'temperature', system)}, where this power ends; more than {point} is "
                f"never reached"
            )
        return [Remedy("target", min(boiling, ends) if math.isfinite(ends) else boiling, above)]
    lower = Remedy("target", ends, f"a target below {show(ends, 'temperature', system)}")
    power, needed = float(outcome.available_power_w[draw]), float(outcome.holding_power_w[draw])
    more = (
        f"more power: above {show(needed, 'power', system)} on average instead of {show(power, 'power', system)} "
        f"({show(needed - power, 'power', system)} more)"
    )
    helps = [Remedy("power", needed, more)]
    ambient = float(outcome.ambient_k[draw])
    if power > 0 and target > ambient:
        allowed, present = power / (target - ambient), needed / (target - ambient)
        less = (
            f"less loss: below {show(allowed, 'heat_loss', system)} between {show(ambient, 'temperature', system)} and "
            "the target instead "
            f"of {show(present, 'heat_loss', system)} ({100 * (1 - power / needed):.0f} % less)"
        )
        helps.append(Remedy("loss", allowed, less))
    return [*helps, lower]


def cautions(
    heater: HeatedLoad,
    outcome: HeatingOutcome,
    *,
    limits: ElementLimits | None = None,
    thermostat: Thermostat | None = None,
    immersed: bool = True,
    system: UnitSystem = "metric",
) -> list[str]:
    """Return the cautions that this heating calls for, in words, over all draws.

    `immersed`: whether the element stands in the water, if any; in an oven it does not.
    """
    sentences: list[str] = []
    hottest = float(np.nanmax(outcome.peak_temperature_k))
    # Where the water boils dry the march ends the heating: that is no thermostat, and nothing on the vehicle does it.
    wet = np.isnan(outcome.dry_from_s)
    refused, given = (float(v[wet].sum()) for v in (outcome.energy_refused_j, outcome.energy_given_j))
    if refused > 1e-6 * max(given, 1.0):
        sentences.append(
            "Part of the power is refused (thermostat open or element at its rating): a rotor that loses its "
            "electrical load speeds up. Give the refused power a dump load, or brake or feather the "
            "rotor before the load is cut."
        )
    elif thermostat is not None:
        sentences.append(
            "A thermostat that opens takes the electrical load off the rotor: provide a dump load or a brake."
        )
    surface = float(np.nanmax(element_surface_k(heater, outcome)))
    if limits is not None and surface > limits.surface_limit_k:
        sentences.append(
            f"The element's surface gets to {show(surface, 'temperature', system)} at most, above its limit of "
            f"{show(limits.surface_limit_k, 'temperature', system)}."
        )
    elif limits is not None and math.isfinite(limits.surface_limit_k) and not has_element(heater):
        sentences.append(
            f"Not checked: the element's surface against its limit of "
            f"{show(limits.surface_limit_k, 'temperature', system)}. It is hotter than what it heats, by how much is "
            'calculated with load.second_node = "element" only.'
        )
    if limits is not None and limits.rated_voltage_v > MOST_TOUCHABLE_V:
        sentences.append(
            "Voltages above 25 V AC or 60 V DC can kill: enclose, fuse, bond and isolate by your local code, and have "
            "a licensed electrician check it."
        )
    if hottest > BURNING_K:
        sentences.append(
            f"Surfaces above {show(BURNING_K, 'temperature', system)} burn skin at a touch; fasten the hot load so "
            "that a crash or hard braking cannot throw it."
        )
    if bool(np.isfinite(outcome.boiling_from_s).any()):
        sentences.append(
            "The water boils: leave a vent that cannot close, never a sealed vessel without a safety valve."
        )
    if immersed and bool(np.isfinite(outcome.dry_from_s).any()):
        sentences.append(
            "The water boils dry: an element without water burns out. Cut the power by a dry-run or over-heat switch."
        )
    return sentences


def element_surface_k(heater: HeatedLoad, outcome: HeatingOutcome) -> np.ndarray:
    """Return the hottest that the element's surface gets, at the least: that of its node, else of what it heats [K]."""
    return outcome.second_peak_k if has_element(heater) else outcome.peak_temperature_k


def has_element(heater: HeatedLoad) -> bool:
    """Return whether the element is a node of its own."""
    return heater.second_node is not None and heater.second_node.takes_power
