"""How a heating goes as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import (
    AssumptionData,
    EstimateData,
    EstimatesData,
    Number,
    Numbers,
    ResultModel,
    said,
)


class FiguresData(ResultModel):
    """What a heating comes to: each figure at the stated values, then median and 90 % range (null with --exact)."""

    reachable: bool = said("whether the power holds the target, however long it takes")
    reached: bool = said("whether the target is reached in that time")
    reachable_share: Number = said("share of the simulations in which it is reachable", "1")
    reason: Literal["", "power", "time", "boiling"] = said(
        "what keeps the target from being reached: too little power or time, or the water boils first; empty where it "
        "is reached"
    )
    power_w: Number = said("power into the load; its mean over a trip", "W")
    power_w_interval: EstimateData | None = said("the same over the simulations: median and 90 % range", "W")
    time_to_target_s: Number = said("time until the target is reached; null where it is not", "s")
    time_to_target_s_interval: EstimateData | None = said("the same over the simulations: median and 90 % range", "s")
    highest_temperature_degc: Number = said("temperature where this power ends; null where it boils away", "degC")
    highest_temperature_degc_interval: EstimateData | None = said(
        "the same over the simulations: median and 90 % range", "degC"
    )
    holding_power_w: Number = said("power that holds the target", "W")
    holding_power_w_interval: EstimateData | None = said("the same over the simulations: median and 90 % range", "W")
    energy_to_target_kwh: Number = said("energy into the load until the target is reached", "kWh")
    energy_to_target_kwh_interval: EstimateData | None = said(
        "the same over the simulations: median and 90 % range", "kWh"
    )
    fuel_to_target_l: Number = said("added fuel until the target is reached; null where no fuel is burnt", "L")
    fuel_to_target_l_interval: EstimateData | None = said("the same over the simulations: median and 90 % range", "L")
    pack_energy_to_target_kwh: Number = said("added energy from the battery pack; null without one", "kWh")
    pack_energy_to_target_kwh_interval: EstimateData | None = said(
        "the same over the simulations: median and 90 % range", "kWh"
    )
    shortfall_w: Number = said("power that is missing to hold the target", "W")
    shortfall_w_interval: EstimateData | None = said("the same over the simulations: median and 90 % range", "W")
    peak_temperature_degc: Number = said("highest temperature on the trip; null for a steady drive", "degC")
    peak_temperature_degc_interval: EstimateData | None = said(
        "the same over the simulations: median and 90 % range", "degC"
    )
    final_temperature_degc: Number = said("temperature at the end of the trip; null for a steady drive", "degC")
    final_temperature_degc_interval: EstimateData | None = said(
        "the same over the simulations: median and 90 % range", "degC"
    )
    target_temperature_degc: Number = said("temperature that is wanted", "degC")
    start_temperature_degc: Number = said("temperature at the start", "degC")
    ambient_temperature_degc: Number = said("temperature around the load", "degC")
    heat_capacity_j_k: Number = said("heat capacity of the load", "J/K")
    loss_w_k: Number = said("heat loss of the load for each kelvin above ambient, without radiation", "W/K")
    time_constant_s: Number = said("heat capacity over loss, at the target", "s")
    boiling_from_s: Number = said("when the water begins to boil; null where it does not", "s")
    dry_from_s: Number = said("when the water has boiled away; null where it does not", "s")
    thermostat_switchings: int = said("times that the thermostat switches", "1")
    draws: int = said("number of simulations; 0 with --exact", "1")


class RemedyData(ResultModel):
    """One way to bring the target within reach."""

    kind: Literal["power", "loss", "target"] = said("what to change")
    value: Number = said("what it would have to be", "W for power, W/K for loss, K for target")
    words: str = said("the same in words")


class HeatedTripData(ResultModel):
    """The trip that was driven."""

    name: str = said("name of the trip's file")
    duration_s: Number = said("time of the trip", "s")
    repeats: int = said("times that it is driven in a row", "1")
    fuel_l: Number = said("added fuel over the trip at the stated values; null where no fuel is burnt", "L")
    fuel_l_interval: EstimateData | None = said("the same over the simulations: median and 90 % range", "L")
    pack_kwh: Number = said("added energy from the pack over the trip at the stated values; null without one", "kWh")
    pack_kwh_interval: EstimateData | None = said("the same over the simulations: median and 90 % range", "kWh")
    reached_if_repeated_s: Number = said("when the target is reached if the trip is repeated; null if never", "s")
    remarks: list[str] = said("what is to be known of the trip")


class HistoryData(ResultModel):
    """The temperature over time."""

    time_s: Numbers = said("times", "s")
    temperature_degc: EstimatesData = said("temperature at these times: at the stated values, and its range", "degC")


class HeatHeadData(ResultModel):
    """The first lines: danger before all, then what comes of it."""

    mode: Literal["steady", "trip", "power_log"] = said("a steady drive, a trip, or a log of measured power")
    safe: bool | None = said("false where something is in danger; null where nothing is, since loads are not checked")
    dangers: list[str] = said("what is in danger, said first; empty where nothing is")
    warnings: list[str] = said("what may happen, such as a rotor that stays stalled")
    headline: str = said("the answer in one line")
    sentence: str = said("the first lines as one text")
    may_be_operated: Literal["no", "not checked"] = said("whether it may be operated like this")


class HeatData(FiguresData, HeatHeadData):
    """How long until it is hot, can it get there at all, and what it costs."""

    remedies: list[RemedyData] = said("what would bring the target within reach")
    trip: HeatedTripData | None = said("the trip; null for a steady drive")
    steady_cruise: FiguresData | None = said("for comparison, a steady drive; null where the answer is one")
    history: HistoryData = said("the temperature over time")
    notes: list[str] = said("what is to be known of the answer")
    assumptions: list[AssumptionData] = said("values that were used and not given")
    cautions: list[str] = said("what could hurt someone or break")
    written: list[str] = said("files that were written")
