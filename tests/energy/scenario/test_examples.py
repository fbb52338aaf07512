"""Every example that a key shows is accepted by that key."""

from __future__ import annotations

import re

import pytest

from energy.scenario.keys import TABLES
from vehicle.quantity import Spec, read_quantity

SPECS = {
    f"{table}.{key}": info.json_schema_extra["spec"]
    for table, model in TABLES.items()
    for key, info in model.model_fields.items()
    if isinstance(info.json_schema_extra, dict) and isinstance(info.json_schema_extra.get("spec"), Spec)
}


@pytest.mark.parametrize("key", SPECS)
def test_every_example_of_a_key_is_accepted(key: str) -> None:
    spec = SPECS[key]
    assert isinstance(spec, Spec)
    texts = spec.example().removesuffix(" (a difference)").split(" or ")
    texts = [piece for text in texts for piece in text.split(", ")]
    for text in texts:
        raw = text.strip('"') if text.startswith('"') else float(text)
        value = read_quantity(raw, spec).value
        low, high = spec.plausible_ends() or (value, value)
        assert low <= value <= high, f"{key} shows {text}, which it would call unusual"
    assert spec.example() in spec.accepted()


def test_counts_and_ratios_are_not_offered_as_per_cent() -> None:
    for key in ("blade.number_of_blades", "engine.gear_ratios", "blade.polar_reynolds_numbers", "drive.ratio"):
        spec = SPECS[key]
        assert isinstance(spec, Spec)
        assert "%" not in spec.example(), key
    share = SPECS["drive.efficiency"]
    assert isinstance(share, Spec)
    assert re.fullmatch(r'"95 %" or 0.95', share.example())


def _shown(key: str) -> float:
    """Return the first example of a key, in SI."""
    spec = SPECS[key]
    assert isinstance(spec, Spec)
    first = spec.example().split(" or ")[0]
    return read_quantity(first.strip('"') if first.startswith('"') else float(first), spec).value


def test_examples_are_such_as_one_would_type() -> None:
    """A unit's own example fits few keys: a thermostat at the temperature of the air, an altitude in inches."""
    assert 313 < _shown("load.target_temperature") < _shown("load.thermostat") < 500
    assert (
        _shown("load.start_temperature")
        < 300
        < _shown("generator.winding_temperature")
        < _shown("heater.element_temperature")
    )
    assert 100 < _shown("air.altitude") < 3000
    assert _shown("air.wind_speed") < _shown("trip.road_speed") < _shown("rotor.highest_tip_speed")
    assert _shown("engine.idle_speed") < _shown("engine.lowest_driving_speed") < _shown("engine.highest_speed")
    assert _shown("load.contents_mass") < _shown("rotor.turbine_mass") < _shown("vehicle.mass")
    assert _shown("blade.hub_radius") <= _shown("blade.aerofoil_start") < _shown("rotor.diameter") / 2
    assert _shown("linkage.travel_from") < _shown("linkage.square_at") < _shown("linkage.travel_to")
    assert _shown("engine.drivetrain_spin_force") < _shown("rotor.highest_thrust") < _shown("mount.bolt_rating")
    assert _shown("bearing.spacing") < _shown("mount.height") < _shown("rotor.hub_height")
