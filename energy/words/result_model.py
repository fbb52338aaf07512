"""What the results' models share: numbers that may be unknown, and fields that say their unit and meaning."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field


def _known(value: Any) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


# A number of a result; what is unknown, or has no finite value, is null in JSON.
Number = Annotated[float | None, BeforeValidator(_known)]


def said(meaning: str, unit: str = "") -> Any:
    """Return a field with its meaning and unit, as the schema tells them; "" for what has no unit."""
    return Field(description=meaning, json_schema_extra={"unit": unit} if unit else None)


class ResultModel(BaseModel):
    """A part of a result as data: the names of its fields are the keys of the JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid")
