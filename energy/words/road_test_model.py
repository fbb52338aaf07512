"""A road test as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import EstimateData, Number, ResultModel, said


class FilterData(ResultModel):
    """One filter."""

    what: str = said("what it takes out")
    rows: int = said("rows that it took out", "1")


class RunData(ResultModel):
    """One run."""

    file: str = said("its log")
    state: str = said("state of the turbine: working, stowed or absent")
    pair: str = said("its pair; empty where none is named")
    direction: str = said("direction on the road; empty where none is named")
    rows: int = said("rows of the log", "1")
    rows_kept: int = said("rows that count", "1")
    seconds_kept: Number = said("time that counts", "s")
    mean_l_per_h: Number = said("mean fuel; null where the logs give no litres", "L/h")
    mean_speed_km_h: Number = said("mean road speed", "km/h")
    change_percent: Number = said("fuel against the mean without, as it was", "%")
    adjusted_change_percent: Number = said("the same, adjusted", "%")
    filters: list[FilterData] = said("what the filters took out")


class CompareData(ResultModel):
    """What the turbine did to fuel and engine load; unknown intervals are all null."""

    comparison: str = said("the two states that are compared")
    conclusion: Literal["costs", "saves", "no effect larger than", "cannot tell"] = said("the conclusion in a word")
    words: str = said("the conclusion in a sentence")
    effect_percent: EstimateData = said("added fuel, adjusted, as a share of the fuel without", "%")
    effect_l_per_h: EstimateData = said("added fuel, adjusted", "L/h")
    effect_l_per_100km: EstimateData = said("added fuel per distance, adjusted", "L/100 km")
    effect_load_points: EstimateData = said("change of the calculated load, adjusted", "percentage points")
    paired_means_percent: EstimateData = said("added fuel from plain means of the runs", "%")
    without_l_per_h: Number = said("fuel without", "L/h")
    without_l_per_100km: Number = said("fuel without, per distance", "L/100 km")
    randomisation_p: Number = said("share of random orders of the states that give as large an effect", "1")
    randomisation_least_p: Number = said("smallest value possible with so few runs", "1")
    pairs: int = said("complete pairs; 0 where runs are compared as two groups", "1")
    runs_with: int = said("runs with the turbine in the state that is asked for", "1")
    runs_without: int = said("runs without", "1")
    design: str = said("how the runs are compared")
    adjusted_for: list[str] = said("what the fuel was adjusted for")
    more_pairs_needed: int | None = said("further pairs that would decide it; null where it is decided or unknown", "1")
    predicted_percent: EstimateData | None = said(
        "what was predicted: 90 % range of the scenario's prediction, or --effect with its +-; null without", "%"
    )
    agreement: str = said("whether that agrees with the measurement; empty where nothing was predicted")
    fuel: list[str] = said("where the fuel comes from")
    warnings: list[str] = said("what may be wrong with it")
    runs: list[RunData] = said("every run")
