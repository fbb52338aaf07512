"""Inputs and readings before and after as data."""

from __future__ import annotations

from typing import Literal

from energy.words.answer_model import IntervalData
from energy.words.result_model import IN_UNIT, EstimateData, Number, ResultModel, said


class StatedData(ResultModel):
    """An input as the scenario states it."""

    value: Number = said("the value", IN_UNIT)
    low: Number = said("low end of its range", IN_UNIT)
    high: Number = said("high end of its range", IN_UNIT)
    shape: Literal["exact", "normal", "uniform", "triangular"] = said("shape of its distribution; normal: 95 % inside")


class UpdatedData(ResultModel):
    """One input before and after the readings."""

    input: str = said("key of the input")
    unit: str = said("unit of its numbers")
    before: StatedData = said("as the scenario states it", IN_UNIT)
    after: EstimateData = said("with the readings", IN_UNIT)
    standard_deviation: Number = said("standard deviation with the readings", IN_UNIT)
    moved_by_sigma: Number = said("how far it moved, in standard deviations of what was stated", "1")
    interval_shrinks_by: Number = said("share by which its range shrinks", "1")


class ComparedData(ResultModel):
    """One reading against the model, in the SI unit of its kind."""

    result: int = said("number of the [[result]]", "1")
    what: str = said("its name")
    reading: str = said("kind of reading: electrical_power, fuel_change ...")
    value: Number = said("what was read", "SI unit of the reading")
    standard_deviation: Number = said("how good the reading is", "SI unit of the reading")
    before: Number = said("what the scenario predicts", "SI unit of the reading")
    after: Number = said("what the inputs with the readings predict", "SI unit of the reading")
    miss_before_sigma: Number = said("how far the reading was missed, in standard deviations", "1")
    miss_after_sigma: Number = said("the same with the readings", "1")


class ReconcileData(ResultModel):
    """What road tests and readings say of the uncertain inputs."""

    safe: bool | None = said("false where a limit is broken; null where none is, since loads are not checked here")
    dangers: list[str] = said("limits broken by the readings, or by the scenario with them, and what to change")
    may_be_operated: Literal["no", "not checked"] = said("whether it may be operated like this")
    headline: str = said("the answer with the readings and before them")
    windtoll: Literal[1] = said("version of this form")
    title: str = said("title of the scenario")
    agrees: bool = said("whether readings and model agree within what was stated")
    probability_of_so_bad_a_fit: Number = said("probability of so bad a fit by chance", "1")
    chi_square: Number = said("sum of the squared misses, in standard deviations", "1")
    before: IntervalData | None = said("the answer before the readings; null where it cannot be drawn")
    after: IntervalData = said("the answer with the readings")
    inputs: list[UpdatedData] = said("every uncertain input")
    readings: list[ComparedData] = said("every reading")
