"""What the element of a scenario stands: one rule for every question."""

from __future__ import annotations

import math

from energy.heat.load import ElementLimits, most_power_w
from energy.scenario.read import Scenario
from vehicle.quantity import Uncertain


def element_limits(scenario: Scenario) -> ElementLimits:
    """Return what the element stands; three elements in star count as one of a third of the resistance."""
    heater, generator = scenario.heater, scenario.generator
    parts = 3.0 if generator is not None and generator.connection == "three_phase" else 1.0

    def value(entry: Uncertain | None) -> float:
        return math.nan if entry is None else entry.value

    return ElementLimits(
        rated_power_w=value(heater.rated_power),
        rated_voltage_v=value(heater.rated_voltage),
        resistance_ohm=value(heater.resistance) / parts,
        surface_limit_k=value(heater.surface_limit),
    )


def element_rating_w(scenario: Scenario) -> float | None:
    """Return the most power that the element may take [W]: its rated power, or that of its rated voltage where less.

    None where neither is known.
    """
    rating = most_power_w(element_limits(scenario))
    return rating if math.isfinite(rating) else None
