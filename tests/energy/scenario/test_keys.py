"""The declarations of the keys: defaults with sources, prices, and their names as types."""

from __future__ import annotations

from typing import Any, get_args

import pytest

from energy.scenario.inputs import inputs_of
from energy.scenario.keys import TABLES, quantity_keys
from energy.scenario.keys.base import read_price
from energy.scenario.keys.names import ListKey, QuantityKey
from vehicle.quantity import FieldError, Spec, Uncertain


def test_prices() -> None:
    assert read_price("1.75 EUR/L", "L").amount == pytest.approx(1.75)
    assert read_price("3.40 USD/gal", "L").amount == pytest.approx(3.40 / 3.785411784)
    assert read_price("1.50 £/L", "L").currency == "£"
    assert read_price("0.30 EUR/kWh", "kWh").amount == pytest.approx(0.30)


@pytest.mark.parametrize(("raw", "per"), [("165 GBP/L", "L"), ("30 EUR/kWh", "kWh"), ("340 $/gal", "L")])
def test_pence_and_cents_are_no_pounds_and_euros(raw: str, per: str) -> None:
    with pytest.raises(FieldError) as caught:
        read_price(raw, per)
    assert caught.value.read == repr(raw)
    assert "with pence or cents as hundredths" in caught.value.accepted


def test_a_price_in_small_coins_is_read() -> None:
    assert read_price("28000 VND/L", "L").amount == pytest.approx(28000)
    assert read_price("3.2 NOK/kWh", "kWh").amount == pytest.approx(3.2)


def test_every_default_has_a_source_and_an_honest_range_or_a_reason(van: Any) -> None:
    for assumption in inputs_of(van).assumptions:
        assert assumption.source, assumption.key
    for name, model in TABLES.items():
        for key, info in model.model_fields.items():
            extra = info.json_schema_extra
            spec = extra.get("spec") if isinstance(extra, dict) else None
            if isinstance(spec, Spec) and info.default_factory is not None:
                assert spec.source, f"{name}.{key}"
                default = info.get_default(call_default_factory=True, validated_data={})
                assert isinstance(default, Uncertain)
                assert default.low <= default.value <= default.high


def test_the_typed_names_are_those_of_the_tables() -> None:
    assert sorted((*get_args(QuantityKey), *get_args(ListKey))) == sorted(quantity_keys())
    assert all(
        TABLES[key.split(".")[0]].model_fields[key.split(".")[1]].json_schema_extra["list"] for key in get_args(ListKey)
    )
    assert not any(
        "list" in TABLES[key.split(".")[0]].model_fields[key.split(".")[1]].json_schema_extra
        for key in get_args(QuantityKey)
    )
