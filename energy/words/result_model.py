"""What the results' models share: numbers that may be unknown, and fields that say their unit and meaning."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

if TYPE_CHECKING:
    from vehicle.quantity import Estimate

# Units of the numbers of parts that several fields share: the unit stands at the field, or in the part itself.
OF_THE_FIELD = "unit of the field that holds it"
IN_UNIT = "unit in `unit`"


def _known(value: Any) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


# A number of a result; what is unknown, or has no finite value, is null in JSON.
Number = Annotated[float | None, BeforeValidator(_known)]
Numbers = Sequence[Number]
NumberTable = Sequence[Numbers]


def said(meaning: str, unit: str = "") -> Any:
    """Return a field with its meaning and unit, as the schema gives them; "1" for numbers without a unit, "" for what
    is no number.
    """
    return Field(description=meaning, json_schema_extra={"unit": unit} if unit else None)


class ResultModel(BaseModel):
    """A part of a result as data: the names of its fields are the keys of the JSON.

    No field has a default: what is not known is null, so that every key is always there.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")


class EstimateData(ResultModel):
    """A number with the ends of its interval: a range of simulations, or the interval of a measurement."""

    estimate: Number = said("the number itself: median of the simulations, or best estimate", OF_THE_FIELD)
    low: Number = said("lower end; null where it is not known", OF_THE_FIELD)
    high: Number = said("upper end; null where it is not known, or has no end", OF_THE_FIELD)
    level: float = said("share of the simulations, or of such intervals, between the ends", "1")


class EstimatesData(ResultModel):
    """Numbers along a row with the ends of their intervals."""

    estimate: Numbers = said("the numbers themselves", OF_THE_FIELD)
    low: Numbers = said("lower ends", OF_THE_FIELD)
    high: Numbers = said("upper ends", OF_THE_FIELD)
    level: float = said("share of the simulations between the ends", "1")


class AssumptionData(ResultModel):
    """A value that was used and not given; numbers in `unit`."""

    key: str = said("key of the scenario file")
    value: str | Number = said("the value that was used", IN_UNIT)
    low: Number = said("low end of its range", IN_UNIT)
    high: Number = said("high end of its range", IN_UNIT)
    unit: str = said("unit of the numbers")
    source: str = said("where it comes from")


def estimate_data(value: Estimate | None, level: float = 0.95) -> EstimateData:
    """Return an estimate as data; all unknown, at `level`, for None."""
    if value is None:
        return EstimateData(estimate=None, low=None, high=None, level=level)
    return EstimateData(estimate=value.estimate, low=value.low, high=value.high, level=value.level)


def ends_data(ends: Sequence[float], level: float) -> EstimateData:
    """Return (low, middle, high) as data."""
    low, middle, high = ends
    return EstimateData(estimate=middle, low=low, high=high, level=level)
