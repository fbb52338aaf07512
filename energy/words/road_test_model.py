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
    mean_w: Number = said("mean power of the battery; null for runs judged by fuel", "W")
    mean_speed_km_h: Number = said("mean road speed", "km/h")
    change_percent: Number = said("fuel, or battery energy, against the mean without, as it was", "%")
    adjusted_change_percent: Number = said("the same, adjusted", "%")
    filters: list[FilterData] = said("what the filters took out")


class RoadVerdictData(ResultModel):
    """The first lines."""

    warnings: list[str] = said("what can have made the answer by itself")
    headline: str = said("the answer")
    lines: list[str] = said("one number a line")


class RejectedData(ResultModel):
    """A run that the rule of the run sheet rejects."""

    file: str = said("its log")
    why: str = said("what breaks the rule")


class WithoutOneData(ResultModel):
    """The answer without one pair or run."""

    what: str = said("the pair or run that is left out")
    own_percent: Number = said("its own change of fuel, or of battery energy; null for a run", "%")
    effect_percent: Number = said("effect of the others", "%")
    p: Number = said("chance of so odd a pair among so many", "1")
    stands_out: bool = said("whether that is under 5 %")
    labels_swapped: bool = said("whether it runs the other way, as with labels exchanged")


class ChecksData(ResultModel):
    """What was checked of the runs."""

    wind_that_explains_it_m_s: Number = said("head wind, stronger in the runs with, that explains it all", "m/s")
    wind_given: bool | None = said("whether the wind of every run is written down; null for a vehicle that stands")
    directions_alike: bool | None = said("whether both states were driven in the same directions as often")
    directions: int | None = said("directions driven", "1")
    control_vehicle: bool = said("whether the values are ratios to a control vehicle")
    kept_share_with: Number = said("share of the rows that is used, with", "1")
    kept_share_without: Number = said("share of the rows that is used, without", "1")
    drift_percent_per_run: Number = said("drift of fuel, or of battery energy, along the order; null for few runs", "%")
    drift_p: Number = said("p-value of the drift", "1")
    drift_explains_percent: Number = said("part of the effect that the drift explains, by the order driven", "%")
    rule: list[str] = said("the rule for rejecting runs that stands on the run sheet")
    rule_not_applied: str = said("why it is not applied; empty where it is")
    rejected: list[RejectedData] = said("runs that it rejects")
    without_one: list[WithoutOneData] = said("the answer without one pair or run at a time, the oddest first")
    what_else_could_explain_it: list[str] = said("what else than the turbine could explain the answer")


class CompareData(ResultModel):
    """What the turbine did to fuel and engine load, or to battery energy; unknown intervals are all null.

    Of runs judged by battery energy every share is one of that, and what is in litres is null.
    """

    safe: bool | None = said("false where the scenario breaks a limit; null where it does not, or none was given")
    dangers: list[str] = said("limits that the scenario breaks with the turbine working, and what to change")
    may_be_operated: Literal["no", "not checked"] = said("whether it may be operated like this")
    verdict: RoadVerdictData = said("the first lines")
    comparison: str = said("the two states that are compared")
    conclusion: Literal["costs", "saves", "no effect larger than", "cannot tell"] = said("the conclusion in a word")
    words: str = said("the conclusion in a sentence")
    measured: str = said("what was measured: fuel, the load that fuel is converted from, or battery energy")
    effect_percent: EstimateData = said("added fuel, or battery energy, adjusted, as a share of that without", "%")
    effect_l_per_h: EstimateData = said("added fuel, adjusted", "L/h")
    effect_l_per_100km: EstimateData = said("added fuel per distance, adjusted", "L/100 km")
    effect_load_points: EstimateData = said("change of the calculated load, adjusted", "percentage points")
    effect_load_percent: EstimateData = said("change of the load as a share of it", "%")
    effect_percent_with_what_runs_cannot_remove: EstimateData = said(
        "added fuel, or battery energy, with errors of meter and model", "%"
    )
    effect_l_per_h_with_what_runs_cannot_remove: EstimateData = said(
        "added fuel, with errors of meter and model", "L/h"
    )
    what_runs_cannot_remove: str = said("what errors that all runs share make of it")
    whole_runs_percent: EstimateData = said("added fuel with gear shifts, where these are left out; else null", "%")
    paired_means_percent: EstimateData = said("added fuel, or battery energy, from plain means of the runs", "%")
    without_l_per_h: Number = said("fuel without", "L/h")
    without_l_per_100km: Number = said("fuel without, per distance", "L/100 km")
    effect_w: EstimateData = said("added power of the battery, adjusted; null for runs judged by fuel", "W")
    effect_kwh_per_100km: EstimateData = said("added battery energy per distance, adjusted", "kWh/100 km")
    effect_w_with_what_runs_cannot_remove: EstimateData = said(
        "added power of the battery, with errors of the meter", "W"
    )
    without_w: Number = said("power of the battery without", "W")
    without_kwh_per_100km: Number = said("battery energy without, per distance", "kWh/100 km")
    randomisation_p: Number = said("share of random orders of the states that give as large an effect", "1")
    randomisation_least_p: Number = said("smallest value possible with so few runs", "1")
    pairs: int = said("complete pairs; 0 where runs are compared as two groups", "1")
    runs_with: int = said("runs with the turbine in the state that is asked for", "1")
    runs_without: int = said("runs without", "1")
    design: str = said("how the runs are compared")
    adjusted_for: list[str] = said("what the fuel, or battery energy, was adjusted for")
    more_pairs_needed: int | None = said("further pairs that would decide it; null where it is decided or unknown", "1")
    predicted_percent: EstimateData | None = said(
        "what was predicted: 90 % range of the scenario's prediction, or --effect with its +-; null without", "%"
    )
    predicted_load_points: EstimateData | None = said("what was predicted of calculated load", "percentage points")
    agreement: str = said("whether that agrees with the measurement; empty where nothing was predicted")
    fuel: list[str] = said("where the fuel, or battery energy, comes from")
    checks: ChecksData = said("what was checked")
    warnings: list[str] = said("what may be wrong with it")
    runs: list[RunData] = said("every run")
