"""When the turbine pays as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from energy.words.result_model import EstimateData, EstimatesData, Number, Numbers, NumberTable, ResultModel, said


def by_balance(meaning: str, unit: str) -> Any:
    """Return a field with an entry a balance."""
    balances = "fuel (no credit), alternator (against making the heat by alternator), energy (heat less drag power)"
    return said(f"{meaning}; by balance: {balances}", unit)


class IdealData(ResultModel):
    """The ideal rotor, for comparison."""

    thrust_coefficient: Number = said("of the turbine in still air: the ideal rotor pushes as hard in every wind", "1")
    without_losses: Number = said("break-even head wind of the ideal rotor without losses; null where none does", "m/s")
    with_chain: Number = said("the same with the losses of the turbine chain", "m/s")
    against_alternator: Number = said("the same, against making the heat by alternator", "m/s")
    any_loading: Number = said("what no rotor with this chain can fall below, however lightly loaded", "m/s")
    chain_efficiency: Number = said("heat over shaft power in the turbine chain", "1")


class SpeedsData(ResultModel):
    """The columns of a map."""

    road_speed_m_s: Numbers = said("road speeds of the columns", "m/s")


class WindsData(SpeedsData):
    """The columns and rows of the map over head winds."""

    head_wind_m_s: Numbers = said("head winds of the rows", "m/s")


class DescentsData(SpeedsData):
    """The columns and rows of the map over descents."""

    descent: Numbers = said("descents of the rows, drop over way", "1")


class PayMapData(ResultModel):
    """What a map holds: a row a wind or descent, a column a road speed."""

    heat_power_w: NumberTable = said("heat into the load", "W")
    balance_w: dict[str, NumberTable] = by_balance("what is gained", "W")
    probability_pays: dict[str, NumberTable] = by_balance("share of the simulations in which it pays", "1")


class WindMapData(PayMapData, WindsData):
    """The map over road speed and head wind."""

    zero_line: dict[str, EstimatesData] = by_balance("head wind from which it pays, a number a road speed", "m/s")


class DescentMapData(PayMapData, DescentsData):
    """The map over road speed and descent."""

    zero_line: dict[str, EstimatesData] = by_balance("descent from which it pays, a number a road speed", "1")


class DescentData(ResultModel):
    """One descent of the asked height."""

    grade: Number = said("drop over way", "1")
    length_m: Number = said("length of the road", "m")
    duration_s: Number = said("time that it takes", "s")
    heat_wh: Number = said("heat into the load", "Wh")
    height_energy_wh: Number = said("energy of the vehicle's height", "Wh")
    braked_wh: Number = said("energy that the brakes alone would turn to heat", "Wh")
    fuel_change_l: Number = said("added fuel; null where no fuel is burnt", "L")
    source_change_wh: Number = said("added energy from fuel or battery pack", "Wh")


class YearData(ResultModel):
    """A year of winds."""

    mean_wind_m_s: Number = said("mean wind speed", "m/s")
    direction: Literal["any", "given"] = said("from all sides alike, or from the scenario's direction")
    assumed: str = said("the winds that were assumed; empty where the scenario names its own")
    share_of_driving_that_pays: dict[str, EstimateData] = by_balance("share of the driving in which it pays", "1")
    fuel_change_power_w: EstimateData = said("added power of fuel or battery pack while driving, mean", "W")
    heat_driving_w: EstimateData = said("heat into the load while driving, mean", "W")
    heat_parked_w: EstimateData = said("heat into the load while standing, mean", "W")
    share_within_limits: EstimateData = said("share of the driving (or of the time parked) within every limit", "1")


class WayData(ResultModel):
    """One way to the heat, in money."""

    name: str = said("what makes the heat")
    build: EstimateData = said("parts and hours of building it, in `currency`", "1")
    per_year: EstimateData = said("what it costs a year, in `currency`", "1")
    per_kwh: EstimateData = said("what a kWh of heat costs over its life, in `currency`; null without heat", "1/kWh")
    turbine_pays_back_years: EstimateData | None = said(
        "years after which the turbine has cost less than this way; an end that is never is null", "a"
    )
    probability_turbine_pays_back: Number = said("share of the simulations in which it does within its life", "1")


class MoneyData(ResultModel):
    """Parts, hours, fuel and the other ways to the same heat."""

    currency: str = said("currency of all amounts")
    life_years: EstimateData = said("years that the turbine lasts", "a")
    hours_a_year: dict[str, EstimateData] = said("hours a year: driving, parked, carried", "h")
    heat_kwh_a_year: EstimateData = said("heat a year", "kWh")
    fuel_or_pack_kwh_a_year: EstimateData = said("energy of fuel or battery pack for it a year", "kWh")
    turbine: WayData = said("the turbine")
    others: dict[str, WayData] = said("the other ways to the same heat")
    assumed: list[str] = said("what was assumed")


class ParkedData(ResultModel):
    """Standing with the nose in the wind."""

    head_wind_m_s: Numbers = said("winds", "m/s")
    heat_power_w: Numbers = said("heat into the load in these winds", "W")
    within_limits: Sequence[bool] = said("whether every limit is kept in these winds")


class PaybackData(ResultModel):
    """In which wind, on which descent, and standing where the turbine pays."""

    windtoll: Literal[1] = said("version of this form")
    title: str = said("title of the scenario")
    safe: bool | None = said("false where a limit is broken; null where none is, since loads are not checked here")
    dangers: list[str] = said("broken limits and what to change; empty where none is broken")
    warnings: list[str] = said("what may happen, such as a rotor that stays stalled; said before the headline")
    headline: str = said("the answer in one line")
    sentence: str = said("the first lines as one text")
    may_be_operated: Literal["no", "not checked"] = said("whether it may be operated like this")
    money: MoneyData = said("what it costs against other ways to the same heat")
    road_speed_m_s: Number = said("road speed of the scenario", "m/s")
    head_wind_from_which_it_pays_m_s: dict[str, EstimateData] = by_balance(
        "break-even head wind; null where it pays in none", "m/s"
    )
    descent_from_which_heat_is_free: EstimateData = said(
        "descent from which the heat costs no fuel, drop over way", "1"
    )
    head_wind_that_breaks_a_limit_m_s: Number = said("head wind that breaks a limit; null where none does", "m/s")
    ideal_head_wind_m_s: IdealData | None = said("break-even head winds of the ideal rotor")
    wind_map: WindMapData = said("the map over road speed and head wind")
    descent_map: DescentMapData = said("the map over road speed and descent")
    descents: list[DescentData] = said("descents of the asked height")
    year: YearData = said("a year of winds")
    parked: ParkedData = said("standing with the nose in the wind")
    cautions: list[str] = said("what could hurt someone or break, and which values are meant though unusual")
