"""Weights that balance a rotor as data."""

from __future__ import annotations

from energy.words.result_model import Number, ResultModel, said


class BoltData(ResultModel):
    """One weight; angles from the mark in the direction of rotation."""

    number: int = said("number of the hole, 1 at the mark", "1")
    mass_kg: Number = said("weight to put there", "kg")
    angle_deg: Number = said("angle of the hole", "deg")


class BalanceData(ResultModel):
    """How many grams where."""

    safe: bool | None = said("false where more is left than permitted: do not operate; null else")
    imbalance_kg_m: Number = said("imbalance", "kg m")
    correction_kg: Number = said("weight that balances it", "kg")
    correction_deg: Number = said("angle of that weight", "deg")
    other_way_deg: Number = said(
        "angle of that weight if the phases were read against the rotation; null without a trial weight", "deg"
    )
    trial_change: Number = said("change of the reading by the trial weight over the first reading; null without", "1")
    radius_m: Number = said("radius of the holes", "m")
    bolts: list[BoltData] = said("the weights on the holes that come nearest")
    left_kg_m: Number = said("imbalance that these leave", "kg m")
    permitted_kg_m: Number = said("imbalance that is permitted (ISO 21940-11); null without mass and speed", "kg m")
    cautions: list[str] = said("what could hurt someone or break")
