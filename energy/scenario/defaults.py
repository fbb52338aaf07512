"""Defaults that depend on other keys: on the fuel, and on the kind of load."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from energy.aero.blade import Blade, reference_twist_deg
from energy.heat.kinds import load_of_kind
from energy.scenario.keys.base import NO_SOURCE
from vehicle.quantity import Uncertain, exact

if TYPE_CHECKING:
    from energy.scenario.keys.base import Table
    from energy.scenario.read import Scenario

_SHAPE_OFF, _TWIST_OFF_DEG = 0.05, 1.0  # hand-made blades against their drawing
_MARGINAL = (
    "marginal fuel per kWh of extra shaft work of Commission Implementing Decision (EU) 2020/728, Annex, with US DOE "
    "AFDC heating values"
)
_IDLE = (
    "pinned by idle fuel of US DOE Fact #861 (2015): petrol 2.0 L 0.16, 4.6 L 0.39, diesel 2.0 L 0.17 US gal/h; no "
    "readable source for friction itself"
)
# Defaults that depend on the fuel: key -> fuel -> (value, source), SI.
FUEL_DEFAULTS: dict[str, dict[str, tuple[Uncertain, str]]] = {
    "engine.indicated_efficiency": {
        "petrol": (Uncertain(0.42, 0.37, 0.44, "triangular"), f"42 %: {_MARGINAL}"),
        "e10": (Uncertain(0.42, 0.37, 0.44, "triangular"), f"42 %, as petrol: {_MARGINAL}"),
        "diesel": (Uncertain(0.46, 0.41, 0.48, "triangular"), f"46 %: {_MARGINAL}"),
        "lpg": (Uncertain(0.45, 0.37, 0.46, "triangular"), f"45 %: {_MARGINAL}"),
    },
    "engine.friction_mean_pressure": {
        "petrol": (Uncertain(190e3, 130e3, 250e3, "triangular"), _IDLE),
        "e10": (Uncertain(190e3, 130e3, 250e3, "triangular"), f"as petrol; {_IDLE}"),
        "diesel": (Uncertain(220e3, 150e3, 280e3, "triangular"), _IDLE),
        "lpg": (Uncertain(190e3, 130e3, 250e3, "triangular"), f"as petrol; {_IDLE}"),
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


def with_mount_default(scenario: Scenario) -> Scenario:
    """Return the scenario with the mount in the rotor's air, where the user has not said what air it stands in."""
    if "mount_speed_factor" in scenario.rotor.model_fields_set:
        return scenario
    rotor = scenario.rotor.local_speed_factor
    low, high = min(rotor.low, 1.0), max(rotor.high, 1.0)
    value = exact(rotor.value) if low == high else Uncertain(rotor.value, low, high, "triangular")
    reason = f"as the rotor's; range: reaches free air, {NO_SOURCE}"
    return _filled(scenario, "rotor", {"mount_speed_factor": (value, reason)})


def of_the_blade(scenario: Scenario, blade: Blade) -> dict[str, float]:
    """Return what a blade's stations say of other keys (SI; angles in degrees), by key."""
    found = {"rotor.solidity": blade.solidity}
    loads = scenario.blade_loads
    if loads is not None:
        centre = loads.centre_of_mass
        radius = blade.middle_radius_m if centre is None else centre.value
        twist = blade.twist_at(radius / blade.tip_radius_m)
        found["blade_loads.chord"] = blade.outer_chord_m
        found["blade_loads.mean_twist"] = twist - reference_twist_deg(blade, scenario.pitch_convention)
    return found


def with_blade_defaults(scenario: Scenario, blade: Blade) -> Scenario:
    """Return the scenario with solidity, chord and twist of its blade, where the user gave none."""
    for key, value in of_the_blade(scenario, blade).items():
        table, name = key.split(".")
        given = scenario.table(table)
        if given is not None and name not in given.model_fields_set:
            off = _TWIST_OFF_DEG if name == "mean_twist" else _SHAPE_OFF * value
            ranged = Uncertain(value, value - off, value + off, "triangular")
            reason = f"computed from {blade.name}; range, of the blade against its drawing: {NO_SOURCE}"
            scenario = _filled(scenario, table, {name: (ranged, reason)})
    return scenario


def _filled(scenario: Scenario, name: str, values: dict[str, tuple[Uncertain, str]]) -> Scenario:
    """Return the scenario with values and their reasons in one table; they stay assumptions."""
    table: Table | None = scenario.table(name)
    assert table is not None
    filled = table.model_copy(update={key: value for key, (value, _) in values.items()})
    filled.model_fields_set.difference_update(values)
    reasons = {f"{name}.{key}": reason for key, (_, reason) in values.items()}
    return replace(scenario, **{name: filled}, reasons={**scenario.reasons, **reasons})  # type: ignore[arg-type]
