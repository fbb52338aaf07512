"""What every table of the scenario file is made of: reading, prices, lists of quantities."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

from vehicle.problems import shown
from vehicle.quantity import FieldError, Spec, read_quantity
from vehicle.units import QuantityError, parse, split

NO_SOURCE = "common practice, no source"
# A price above these is pence or cents taken for pounds or euros: common practice, no source.
_DEAREST = {"L": 20.0, "kWh": 5.0}
_ABOUT_A_EURO = ("EUR", "€", "USD", "$", "GBP", "£", "CHF", "AUD", "CAD")


def is_plain(text: str) -> bool:
    """Return whether a text can be shown in a terminal: no escape sequences, at most line breaks."""
    return all(c.isprintable() or c in "\n\t" for c in text)


@dataclass(frozen=True)
class Price:
    """Money per litre (fuels) or per kWh, in the currency the user named."""

    amount: float
    currency: str


def read_price(raw: object, per: str) -> Price:
    """Return a price such as "1.75 EUR/L" or "3.40 USD/gal" per litre, or "0.30 EUR/kWh" per kWh.

    `per` is "L" or "kWh".
    """
    accepted = f'a price such as "1.75 EUR/{per}"' + (' or "3.40 USD/gal"' if per == "L" else "")
    if not isinstance(raw, str):
        raise FieldError(f"{shown(raw)} is no price", accepted)
    try:
        amount, rest = split(raw)
        currency, slash, unit = rest.partition("/")
        if not slash or not re.fullmatch(r"\s*([A-Za-z]{3}|[€$£¥])\s*", currency):
            raise QuantityError(f"{shown(raw)} is no price")
        size = parse(f"1 {unit}", "m**3" if per == "L" else "J")
    except QuantityError as fault:
        raise FieldError(str(fault), accepted) from None
    if amount < 0:
        raise FieldError(f"{shown(raw)} is negative", accepted)
    price, coin = amount * (1e-3 if per == "L" else 3.6e6) / size, currency.strip()
    if coin.upper() in _ABOUT_A_EURO and price > _DEAREST[per]:
        most = f"at most {_DEAREST[per]:g} {coin}/{per}, with pence or cents as hundredths"
        raise FieldError(shown(raw), f"{accepted}, {most}")
    return Price(price, coin)


class Table(BaseModel):
    """One table of the scenario file; turns what people write into SI."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, strict=True)

    @field_validator("*", mode="before")
    @classmethod
    def _read(cls, raw: Any, info: ValidationInfo) -> Any:
        extra = cls.model_fields[info.field_name or ""].json_schema_extra
        if isinstance(raw, str) and not is_plain(raw):
            raise FieldError(f"{shown(raw)} with control characters", "plain text")
        if not isinstance(extra, dict):
            return raw
        if "price_per" in extra:
            return read_price(raw, str(extra["price_per"]))
        spec = extra.get("spec")
        if not isinstance(spec, Spec):
            return raw
        if extra.get("list"):
            if not isinstance(raw, list) or not raw:
                read = "an empty list" if raw == [] else f"{shown(raw)} is no list"
                raise FieldError(read, f"a list [...] of {spec.accepted()}")
            return tuple(read_quantity(entry, spec) for entry in raw)
        return read_quantity(raw, spec)


def quantity_list(
    unit: str,
    meaning: str,
    *,
    such_as: str = "",
    plausible: tuple[str | float, str | float] | None = None,
    us: str = "",
    **limits: float,
) -> Any:
    """Return a pydantic field for a list of quantities; `such_as` is an example of one, `plausible` the usual ends,
    `us` its unit in US units where its kind has another.
    """
    least, above, most = limits.get("at_least"), limits.get("above"), limits.get("at_most")
    spec = Spec(unit, meaning, least, above, most, such_as=such_as, plausible=plausible, us=us)
    extra: dict[str, Any] = {"spec": spec, "list": True}
    return Field(default=None, description=meaning, json_schema_extra=extra)


def price(per: str, meaning: str) -> Any:
    """Return a pydantic field for a price per litre or per kWh."""
    return Field(default=None, description=meaning, json_schema_extra={"price_per": per})
