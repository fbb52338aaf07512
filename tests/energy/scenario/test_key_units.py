"""The unit that a key has in each system of units, and examples in it."""

from __future__ import annotations

import re

import pytest

from energy.scenario.keys import quantity_keys, spec_of
from vehicle import units


@pytest.mark.parametrize(
    ("key", "value", "us", "uk"),
    [
        ("rotor.highest_tip_speed", 80.0, "262 ft/s", "80 m/s"),
        ("engine.displacement", 2.2e-3, "134 cubic inch", "2.2 L"),
        ("bearing.spacing", 0.12, "4.72 in", "0.12 m"),
        ("blade_loads.root_strength", 240e6, "34800 psi", "240 MPa"),
        ("blade_loads.balance_grade", 0.016, "16 mm/s", "16 mm/s"),
        ("load.heat_capacity", 127e3, "66.9 Btu/°F", "127 kJ/K"),
        ("load.loss", 1.0, "1.9 Btu/(h·°F)", "1 W/K"),
        ("trip.distance", 1609.344, "1 mile", "1 mile"),
        ("trip.road_speed", 0.44704, "1 mph", "1 mph"),
    ],
)
def test_a_key_is_shown_in_the_unit_that_it_has_in_a_system(key: str, value: float, us: str, uk: str) -> None:
    assert spec_of(key).shown(value, "us") == us
    assert spec_of(key).shown(value, "uk") == uk


def test_examples_stand_in_the_units_of_the_system_and_can_be_read() -> None:
    for key in quantity_keys():
        spec = spec_of(key)
        for system in units.UNIT_SYSTEMS:
            for text in re.findall(r'"([^"]+)"', spec.example(system)):
                units.parse(text, spec.unit)
    assert spec_of("vehicle.mass").example("us") == '"5700 lb"'
    assert spec_of("vehicle.drag_area").example("us") == '"14 ft^2"'
    assert spec_of("trip.road_speed").example("uk") == '"65 mph"'
