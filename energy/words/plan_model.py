"""The plan of a road test as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import Number, ResultModel, said


class PlannedRunData(ResultModel):
    """One run to drive."""

    run: int = said("number of the run", "1")
    block: int = said("block of two pairs, out and back", "1")
    pair: int = said("pair of runs, one in each state", "1")
    state: str = said("state of the turbine: working, stowed or absent")
    direction: Literal["out", "back"] = said("direction on the road")


class PlanData(ResultModel):
    """How many pairs of runs show the effect, and in which order."""

    safe: bool | None = said("false where the scenario breaks a limit; null else, since loads are not checked here")
    dangers: list[str] = said("limits that the scenario breaks, and what to change; empty where it breaks none")
    sentence: str = said("the plan in a sentence")
    effect_percent: Number = said("effect to be shown, as a share of the fuel; null where none is known", "%")
    spread_percent: Number = said("standard deviation of the difference within a pair, as a share of the fuel", "%")
    spread_from: str = said("where the spread comes from")
    level: float = said("level of the test", "1")
    power: float = said("chance with which the effect is to be shown", "1")
    pairs_needed: int | None = said("pairs that this takes; null where no effect is known, or none would do", "1")
    pairs_for_80_percent_power: int | None = said("pairs for a chance of 80 %", "1")
    pairs_for_90_percent_power: int | None = said("pairs for a chance of 90 %", "1")
    pairs_planned: int = said("pairs that are planned: an even number", "1")
    chance_percent: Number = said("chance that these show the effect; null where no effect is known", "%")
    few_changes: bool = said("whether out and back are driven in one state before the turbine is changed")
    changes: int = said("changes of the turbine in this order", "1")
    changes_in_the_other_order: int = said("changes of the turbine in the other order, ideal or with few changes", "1")
    change_min: Number = said("time that one change takes", "min")
    chance_in_the_other_order_percent: Number = said("chance that the other order shows the effect; null as above", "%")
    distance_km: Number = said("way of all runs; null where the length of a run is not known", "km")
    driving_h: Number = said("time of all runs; null where length or speed is not known", "h")
    smallest_effect_percent: dict[str, Number] = said(
        "smallest effect that can be shown with a chance of 80 %, by number of pairs", "%"
    )
    order: list[PlannedRunData] = said("the runs in the order in which to drive them")
