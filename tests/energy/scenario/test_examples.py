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
