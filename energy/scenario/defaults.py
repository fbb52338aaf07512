"""Defaults that depend on other keys: on the fuel, and on the kind of load."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from energy.heat.kinds import load_of_kind
from energy.scenario.keys.base import NO_SOURCE
from vehicle.quantity import Uncertain

if TYPE_CHECKING:
    from energy.scenario.read import Scenario

# Between vehicles that differ in road load alone the certified fuel gives 0.39 (petrol) and 0.46 (diesel) from fuel to
# wheels; with the gear meshes' 0.965 the values below make 0.386 and 0.444.
_CERTIFIED = "agrees with what road load costs certified vehicles (US EPA test car lists 2014-2019)"
_MARGINAL = (
    "marginal fuel per kWh of extra shaft work of Commission Implementing Decision (EU) 2020/728, Annex, with US DOE "
    "AFDC heating values"
)
_FRICTION = (
    "fitted to the highway fuel of 2716 certified vehicles (US EPA test car lists 2014-2019), each one's own in "
    "the range for nine of ten; idle fuel of US DOE Fact #861 (2015) met within 20 %"
)
# Defaults that depend on the fuel: key -> fuel -> (value, source), SI.
_THROTTLED = Uncertain(1.0, 0.0, 1.0, "triangular"), f"no turbocharger; range: with one; {NO_SOURCE}"
_RICH = Uncertain(0.0, 0.0, 0.15, "triangular"), f"none; up to 15 % where the exhaust is cooled by fuel: {NO_SOURCE}"
FUEL_DEFAULTS: dict[str, dict[str, tuple[Uncertain, str]]] = {
    "engine.torque_follows_air_density": {
        "petrol": _THROTTLED,
        "e10": _THROTTLED,
        "diesel": (Uncertain(0.2, 0.0, 0.6, "triangular"), f"turbocharged: {NO_SOURCE}"),
        "lpg": _THROTTLED,
    },
    "engine.full_load_enrichment": {
        "petrol": _RICH,
        "e10": _RICH,
        "diesel": (Uncertain(0.0, 0.0, 0.05, "triangular"), f"a diesel engine has air to spare; range: {NO_SOURCE}"),
        "lpg": _RICH,
    },
    "engine.indicated_efficiency": {
        "petrol": (Uncertain(0.40, 0.36, 0.44, "triangular"), f"40 % (turbo) to 42 %: {_MARGINAL}; 40 % {_CERTIFIED}"),
        "e10": (Uncertain(0.40, 0.36, 0.44, "triangular"), f"as petrol, 40 to 42 %: {_MARGINAL}; 40 % {_CERTIFIED}"),
        "diesel": (Uncertain(0.46, 0.42, 0.49, "triangular"), f"46 %: {_MARGINAL}; {_CERTIFIED}"),
        "lpg": (Uncertain(0.45, 0.36, 0.46, "triangular"), f"45 %: {_MARGINAL}; the low end as petrol"),
    },
    "engine.friction_mean_pressure": {
        "petrol": (Uncertain(145e3, 100e3, 200e3, "triangular"), _FRICTION),
        "e10": (Uncertain(145e3, 100e3, 200e3, "triangular"), f"as petrol; {_FRICTION}"),
        "diesel": (Uncertain(155e3, 110e3, 210e3, "triangular"), _FRICTION),
        "lpg": (Uncertain(145e3, 100e3, 200e3, "triangular"), f"as petrol; {_FRICTION}"),
    },
}


def with_load_defaults(scenario: Scenario) -> Scenario:
    """Return the scenario with the heat capacity and loss that go with load.kind, where the user gave none."""
    table = scenario.load
    if table.second_node == "walls" and table.loss is None:
        table = table.model_copy(update={"loss": Uncertain(0.0, 0.0, 0.0)})
        scenario = replace(scenario, load=table)
    if table.kind is None:
        return scenario
    litres = 0.0 if table.volume is None else table.volume.value * 1e3
    named = load_of_kind(table.kind, litres, full=table.filled.value, insulation_mm=table.insulation.value * 1e3)
    values = {
        "heat_capacity": (named.heat_capacity_j_k, named.capacity_source),
        "loss": (named.loss_w_k, named.loss_source),
    }
    left = {key: pair for key, pair in values.items() if key not in table.model_fields_set}
    filled = table.model_copy(
        update={key: Uncertain(r.value, r.low, r.high, "triangular") for key, (r, _) in left.items()}
    )
    filled.model_fields_set.difference_update(left)  # the user did not set them: they stay assumptions
    reasons = {f"load.{key}": f"{named.name}: {source}" for key, (_, source) in left.items()}
    return replace(scenario, load=filled, reasons={**scenario.reasons, **reasons})
