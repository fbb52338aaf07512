"""The best settings as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import EstimateData, Number, ResultModel, said

OF_THE_KEY = "deg for the pitch, 1 for the ratio, ohm for the resistance"


class SettingData(ResultModel):
    """One setting and what it gives: at the steady speed; over a trip the means over its time, and what is highest."""

    pitch_deg: Number = said("blade pitch as the scenario states it", "deg")
    ratio: Number = said("drive ratio: generator turns per rotor turn", "1")
    resistance_ohm: Number = said("resistance of the element", "ohm")
    heat_power_w: Number = said("heat into the load at the stated values", "W")
    heat_power_w_interval: EstimateData = said("heat into the load: the answer, median and 90 % range", "W")
    rotor_speed_rpm: Number = said("rotor speed; over a trip the highest", "rpm")
    tip_speed_ratio: Number = said("tip speed over air speed; null over a trip", "1")
    thrust_n: Number = said("force along the rotor's axis; over a trip the highest", "N")
    current_a: Number = said("current in the element, over a trip the highest; null without an electrical model", "A")
    fuel_change_l_per_h: Number = said("added fuel at the stated values; null where no fuel is burnt", "L/h")
    fuel_change_l_per_h_interval: EstimateData | None = said("added fuel: the answer, median and 90 % range", "L/h")
    fuel_per_heat_l_per_kwh: Number = said("added fuel for each kWh of heat, at the stated values", "L/kWh")


class FlatnessData(ResultModel):
    """How far one setting may be moved, the others held, until heat is 5 % below the best."""

    key: Literal["rotor.pitch", "drive.ratio", "heater.resistance"] = said("key of the setting")
    low: Number = said("lowest value", OF_THE_KEY)
    high: Number = said("highest value", OF_THE_KEY)
    low_is_limit: bool = said("whether a limit of the scenario ends it below")
    high_is_limit: bool = said("whether a limit of the scenario ends it above")


class MatchData(ResultModel):
    """Which pitch, ratio and resistance give the most heat, and which the lowest fuel per heat."""

    safe: bool | None = said(
        "false where today's setting breaks a limit: do not operate; null where it breaks none, since structural loads "
        "are not checked here (windtoll loads)"
    )
    may_be_operated: Literal["no", "not checked"] = said("whether today's setting may be operated")
    broken_limits: list[str] = said("limits that today's setting breaks, in sentences, the most exceeded first")
    best: SettingData = said("the setting with the most heat within the limits")
    lowest_fuel_per_heat: SettingData = said("the setting with the lowest fuel per heat")
    own: SettingData = said("today's setting, as the scenario states it")
    within_5_percent: list[FlatnessData] = said("how flat the best is, one entry a setting that was searched")
    binding_limits: list[str] = said("limits that hold the best setting back")
    at_edge_of_search: list[str] = said("keys of the settings whose best lies at the edge of the search")
    settings_tried: int = said("number of settings that were tried", "1")
    cautions: list[str] = said("what could hurt someone or break, and which values are meant though unusual")
