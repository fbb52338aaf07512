"""Defaults that depend on other keys: on the fuel, and on the kind of load."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from energy.aero.blade import Blade, reference_twist_deg
from energy.aero.stall import WITHOUT_DELAY
from energy.heat.kinds import load_of_kind
from energy.scenario.keys.base import NO_SOURCE
from vehicle.quantity import Uncertain, exact

if TYPE_CHECKING:
    from energy.scenario.keys.base import Table
    from energy.scenario.read import Scenario

# Between vehicles that differ in road load alone the certified fuel gives 0.39 (petrol) and 0.46 (diesel) from fuel to
# wheels; with the gear meshes' 0.965 the values below make 0.386 and 0.444.
_CERTIFIED = "agrees with what road load costs certified vehicles (US EPA test car lists 2014-2019)"
_SHAPE_OFF, _TWIST_OFF_DEG = 0.05, 1.0  # hand-made blades against their drawing
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


def with_mount_default(scenario: Scenario) -> Scenario:
    """Return the scenario with the mount in the rotor's air, where the user has not said what air it stands in."""
    if "mount_speed_factor" in scenario.rotor.model_fields_set:
        return scenario
    rotor = scenario.rotor.local_speed_factor
    low, high = min(rotor.low, 1.0), max(rotor.high, 1.0)
    value = exact(rotor.value) if low == high else Uncertain(rotor.value, low, high, "triangular")
    reason = f"as the rotor's; range: reaches free air, {NO_SOURCE}"
    return _filled(scenario, "rotor", {"mount_speed_factor": (value, reason)})


def with_stall_default(scenario: Scenario) -> Scenario:
    """Return the scenario with a wider range for stalled sections where stall delay is off, unless the user set one."""
    blade = scenario.blade
    if blade is None or blade.stall_delay or "stalled_power_factor" in blade.model_fields_set:
        return scenario
    reason = (
        "stall delay is off: a wind-tunnel rotor in deep stall then gives 2.1 to 11 times the computed "
        "power, by polar, "
        f"and no upper bound is known; low end: {NO_SOURCE}"
    )
    return _filled(scenario, "blade", {"stalled_power_factor": (Uncertain(1.0, *WITHOUT_DELAY, "triangular"), reason)})


def of_the_blade(scenario: Scenario, blade: Blade) -> dict[str, float]:
    """Return what a blade's stations say of other keys (SI; angles in degrees), by key."""
    defaults = {"rotor.solidity": blade.solidity}
    loads = scenario.blade_loads
    if loads is not None:
        centre = loads.centre_of_mass
        radius = blade.middle_radius_m if centre is None else centre.value
        twist = blade.twist_at(radius / blade.tip_radius_m)
        defaults["blade_loads.chord"] = blade.outer_chord_m
        defaults["blade_loads.mean_twist"] = twist - reference_twist_deg(blade, scenario.pitch_convention)
    return defaults


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
