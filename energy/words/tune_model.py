"""What every setting of a stepped drive gave as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import EstimateData, Number, Numbers, NumberTable, ResultModel, said

OF_THE_SETTING = "deg for a pitch, ohm for a resistance, 1 for a ratio"


class SteppedData(ResultModel):
    """One setting, over all its steady stretches."""

    setting: Number = said("the setting", OF_THE_SETTING)
    power_coefficient: EstimateData = said("power of the load over that of the wind through the disc", "1")
    peak_w: Number = said("highest power that was logged", "W")
    mean_w: Number = said("mean power", "W")
    energy_wh: Number = said("energy in that time", "Wh")
    seconds: Number = said("time that counts", "s")
    visits: int = said("times that it was set", "1")
    stretches: int = said("steady stretches that count", "1")


class TuneData(ResultModel):
    """Which setting was best, and which to try next."""

    safe: bool | None = said("false where a limit is broken; null where none is, since loads are not checked here")
    dangers: list[str] = said("limits broken by the drive or its best setting, and what to change")
    warnings: list[str] = said("limits that the next setting would break")
    headline: str = said("the answer in one line")
    may_be_operated: Literal["no", "not checked"] = said("whether it may be operated like this")
    kind: Literal["pitch", "resistance", "ratio"] = said("what was stepped")
    best: EstimateData = said("the best setting", OF_THE_SETTING)
    next: Number = said("the setting to try next", OF_THE_SETTING)
    settings: list[SteppedData] = said("what every setting gave")
    no_difference_between: NumberTable = said("neighbours between which no difference can be seen", OF_THE_SETTING)
    any_difference_seen: bool = said("whether any settings differ")
    at_edge: bool = said("whether the best may lie beyond the settings that were tried")
    by_readings: bool = said("whether the file holds single readings instead of a log")
    lag_s: Number = said("time by which watts follow the wind", "s")
    too_short: Numbers = said("settings that were held too short to count", OF_THE_SETTING)
    cautions: list[str] = said("what could hurt someone or break, and which values are meant though unusual")
