"""When the turbine pays as data."""

from __future__ import annotations

from typing import Any, Literal

from energy.words.result_model import EstimateData, EstimatesData, Number, Numbers, NumberTable, ResultModel, said


def by_balance(meaning: str, unit: str) -> Any:
    """Return a field with an entry a balance."""
    balances = "fuel (no credit), alternator (against making the heat by alternator), energy (heat less drag power)"
    return said(f"{meaning}; by balance: {balances}", unit)


class IdealData(ResultModel):
    """The ideal rotor, for comparison."""

    without_losses: Number = said("break-even head wind of the ideal rotor without losses", "m/s")
    with_chain: Number = said("the same with the losses of the turbine chain", "m/s")
    against_alternator: Number = said("the same, against making the heat by alternator", "m/s")
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


class ParkedData(ResultModel):
    """Standing with the nose in the wind."""

    head_wind_m_s: Numbers = said("winds", "m/s")
    heat_power_w: Numbers = said("heat into the load in these winds", "W")


class PaybackData(ResultModel):
    """In which wind, on which descent, and standing where the turbine pays."""

    windtoll: Literal[1] = said("version of this form")
    title: str = said("title of the scenario")
    road_speed_m_s: Number = said("road speed of the scenario", "m/s")
    head_wind_from_which_it_pays_m_s: dict[str, EstimateData] = by_balance(
        "break-even head wind; null where it pays in none", "m/s"
    )
    descent_from_which_heat_is_free: EstimateData = said(
        "descent from which the heat costs no fuel, drop over way", "1"
    )
    ideal_head_wind_m_s: IdealData = said("break-even head winds of the ideal rotor")
    wind_map: WindMapData = said("the map over road speed and head wind")
    descent_map: DescentMapData = said("the map over road speed and descent")
    descents: list[DescentData] = said("descents of the asked height")
    year: YearData = said("a year of winds")
    parked: ParkedData = said("standing with the nose in the wind")
