"""The answer as data: one class a part, whose fields are the keys of the JSON with their unit and meaning."""

from __future__ import annotations

from typing import Literal

from energy.words.match_model import SettingData
from energy.words.result_model import IN_UNIT, AssumptionData, EstimateData, Number, ResultModel, said


class FuelChangeData(ResultModel):
    """What working does to fuel and all that hangs on it."""

    l_per_h: Number = said("added fuel; negative is saved", "L/h")
    l_per_100km: Number = said("added fuel per distance", "L/100 km")
    kwh_per_100km: Number = said("added energy from the battery pack per distance", "kWh/100 km")
    mpg_us_without: Number = said("economy without the turbine at work", "mile/US gal")
    mpg_us_working: Number = said("economy with the turbine at work", "mile/US gal")
    percent: Number = said("added fuel as a share of the fuel without", "%")
    power_w: Number = said("added power of fuel or battery pack", "W")
    kg_co2_per_h: Number = said("added carbon dioxide", "kg/h")
    money_per_h: Number = said("added cost, in `currency`", "1/h")
    currency: str | None = said("currency of the scenario's price of fuel, or of electricity for a battery drive")
    calculated_load_points: Number = said("change of the calculated load on an OBD reader", "percentage points")
    l_per_h_without_credit: Number = said("added fuel, without credit for replaced work of the alternator", "L/h")
    compared_with: str = said("state of the turbine that working is compared with: absent or stowed")


class IntervalData(ResultModel):
    """How sure the answer is, from draws over all inputs that are not known exactly."""

    fuel_change_l_per_h: EstimateData | None = said("added fuel; null where no fuel is burnt", "L/h")
    fuel_change_power_w: EstimateData = said("added power of fuel or battery pack", "W")
    heat_power_w: EstimateData = said("heat into the load", "W")
    half_of_fuel_change_l_per_h: EstimateData | None = said("added fuel, the middle half of the simulations", "L/h")
    half_of_fuel_change_power_w: EstimateData = said("added power, the middle half of the simulations", "W")
    half_of_heat_power_w: EstimateData = said("heat into the load, the middle half of the simulations", "W")
    probability_saves: Number = said("share of the draws in which working saves", "1")
    probability_costs: Number = said("share of the draws in which working costs", "1")
    draws: int = said("number of draws", "1")
    matters_most_for: Literal["fuel_change", "heat_power_w"] = said("the figure whose uncertainty is shared out")


class MattersData(ResultModel):
    """One input's share of the uncertainty."""

    input: str = said("key of the input, or keys of inputs that err together, joined by +")
    share: Number = said("share of the variance that knowing it would remove", "1")
    share_error: Number = said("standard error of that share", "1")
    total_share: Number = said("share of the variance with all that it does together with others", "1")
    total_share_error: Number = said("standard error of that share", "1")


class MeasureNextData(ResultModel):
    """One measurement, and what it would do to the interval."""

    input: str = said("key of the input")
    plus_minus: Number = said("what the measurement is good to", "SI unit of the input")
    how: str = said("how to measure it")
    interval_shrinks_by: Number = said("share by which the interval would shrink", "1")


class NextQuestionData(ResultModel):
    """A question that follows from the answer."""

    command: str = said("the subcommand that answers it")
    why: str = said("why it comes next")


class RotorData(ResultModel):
    """What the rotor does at the scenario's speed."""

    speed_rpm: Number = said("rotor speed", "rpm")
    tip_speed_ratio: Number = said("tip speed over air speed", "1")
    tip_speed_m_s: Number = said("speed of the blade tips", "m/s")
    power_coefficient: Number = said("shaft power over the power of the air through the disc", "1")
    thrust_coefficient: Number = said("thrust over dynamic pressure times disc area", "1")
    thrust_n: Number = said("force along the rotor's axis", "N")
    drag_on_vehicle_n: Number = said("force against the drive", "N")
    drag_power_w: Number = said("power at the wheels that the rotor's drag takes", "W")
    shaft_power_w: Number = said("power at the rotor shaft", "W")
    air_speed_m_s: Number = said("air speed at the rotor", "m/s")
    yaw_deg: Number = said("angle between rotor axis and air", "deg")
    free_run_rpm: Number = said("rotor speed with the load cut", "rpm")
    pitch_deg: Number = said("blade pitch, positive towards feather", "deg")
    stalled_torque_share: Number = said("share of the torque that comes from stalled sections", "1")
    turning: bool = said("whether it turns")
    steady_speeds_rpm: list[float] = said("all speeds at which it could turn steadily", "rpm")


class TripTotalsData(ResultModel):
    """The totals of a trip with a schedule."""

    schedule: str = said("name of the schedule")
    duration_s: Number = said("time of the trip", "s")
    distance_m: Number = said("way of the trip", "m")
    climb_m: Number = said("metres climbed in all", "m")
    works: str = said("when the turbine is at work")
    works_share_of_time: Number = said("share of the time that it is at work", "1")
    fuel_without_l: Number = said("fuel without", "L")
    fuel_working_l: Number = said("fuel with the turbine at work", "L")
    fuel_change_l: Number = said("added fuel", "L")
    pack_without_kwh: Number = said("energy from the battery without", "kWh")
    pack_working_kwh: Number = said("energy from the battery with the turbine at work", "kWh")
    pack_change_kwh: Number = said("added energy from the battery", "kWh")
    heat_kwh: Number = said("heat into the load", "kWh")
    electrical_kwh: Number = said("electrical energy into the element", "kWh")
    highest_rotor_speed_rpm: Number = said("highest rotor speed on the way", "rpm")
    highest_thrust_n: Number = said("highest thrust on the way", "N")
    highest_heat_power_w: Number = said("highest heat power on the way", "W")


class StateData(ResultModel):
    """The vehicle with the turbine in one state."""

    source_power_w: Number = said("power of fuel or battery pack", "W")
    fuel_l_per_h: Number = said("fuel", "L/h")
    wheel_power_w: Number = said("power at the wheels", "W")
    engine_speed_rpm: Number = said("engine speed", "rpm")
    engine_torque_n_m: Number = said("torque at the flywheel", "N m")
    gear: int = said("gear, 1 the lowest", "1")
    mount_drag_n: Number = said("drag of mount and mast", "N")
    rotor_drag_n: Number = said("drag of the rotor", "N")


class LedgerRowData(ResultModel):
    """One row of the ledger; the rows of an account sum to zero."""

    account: str = said("road, rotor, electrical ...")
    name: str = said("what comes in or goes out")
    watts: Number = said("power, positive where it comes in", "W")


class BreakEvenData(ResultModel):
    """From where on it would pay."""

    head_wind_m_s: Number = said(
        "break-even head wind: above it the heat exceeds the drag power; null where none does", "m/s"
    )
    best_pitch_deg: Number = said(
        "where no head wind suffices at the set pitch: the pitch with the smallest one, as the dial reads; null where "
        "none does",
        "deg",
    )
    best_pitch_head_wind_m_s: Number = said("break-even head wind at that pitch", "m/s")
    alternator_path_efficiency: Number = said("share of the added engine power that arrives as heat", "1")


class OtherSourceData(ResultModel):
    """Another way to the same heat."""

    name: str = said("what makes it")
    fuel_l_per_h: Number = said("the vehicle's fuel", "L/h")
    gas_l_per_h: Number = said("liquid gas", "L/h")
    mains_w: Number = said("charge from the mains", "W")
    money_per_h: Number = said("cost; null where a price is not known", "1/h")
    note: str = said("what to mind")


class ConditionsData(ResultModel):
    """Where and in what air."""

    road_speed_m_s: Number = said("road speed", "m/s")
    grade: Number = said("rise over way", "1")
    air_density_kg_m3: Number = said("density of the air", "kg/m^3")
    air_speed_ahead_m_s: Number = said("air speed against the drive", "m/s")
    air_speed_across_m_s: Number = said("air speed across the drive", "m/s")


class LimitData(ResultModel):
    """One limit that the scenario states, and what the working turbine makes of it."""

    name: str = said("what is limited")
    key: str = said("key of the scenario that states the limit")
    value: Number = said("value at work; null where it is not known", IN_UNIT)
    limit: Number = said("the limit", IN_UNIT)
    share: Number = said("value over limit: above 1 it is broken", "1")
    broken: bool = said("whether the limit is broken")
    unit: str = said("SI unit of value and limit")


class StallData(ResultModel):
    """Whether the rotor stays stalled, and what it then gives: two groups of simulations, kept apart."""

    chance: Number = said("share of the simulations in which it stays stalled, or does not start", "1")
    at_stated_values: bool = said("whether it is stalled at the stated values")
    stands: bool = said("whether it does not start there")
    two_steady_speeds: bool = said("whether a faster steady speed exists there, which it does not reach loaded")
    tip_speed_ratio: Number = said("tip-speed ratio at the stated values", "1")
    stalled_heat_w: EstimateData | None = said("heat of the stalled simulations; null where there are none", "W")
    running_heat_w: EstimateData | None = said("heat of the others; null where there are none", "W")
    lost_heat_w: Number = said(
        "heat that staying stalled loses: between the medians of the two groups; where all are stalled, from the best "
        "setting within the limits; null where neither is known",
        "W",
    )
    best_setting: SettingData | None = said(
        "the setting with the most heat within the limits; null where none makes heat, or it runs as it is"
    )
    best_setting_starts_unloaded: bool = said(
        "whether that setting needs its load connected only after the start, unlike the scenario"
    )
    needs_a_push: bool = said("whether it turns only once something else has started it, its load connected or not")
    faster_speed_breaks: list[str] = said(
        "limits that it would break at the faster steady speed, with its load connected after the start: their keys"
    )


class TripStallData(ResultModel):
    """How much of a trip the rotor is stalled: median and 90 % range of the simulations."""

    energy_share: EstimateData = said(
        "share of the air's energy, while the rotor works, that meets a stalled rotor or one that stands", "1"
    )
    mostly_stalled_chance: Number = said("share of the simulations in which that is more than half", "1")
    heat_w: EstimateData = said("mean heat over the trip", "W")
    unloaded_heat_w: EstimateData = said("the same, were the load connected only after each start", "W")


class AnswerData(ResultModel):
    """Does the turbine save or cost fuel? SI but where a name says otherwise; over a trip, means over time."""

    windtoll: Literal[1] = said("version of this form")
    safe: bool | None = said(
        "false where a limit is broken: do not operate; null where none is broken, since structural loads are not "
        "checked here (windtoll loads)"
    )
    may_be_operated: Literal["no", "not checked"] = said("whether the machine may be operated like this")
    limits: list[LimitData] = said("every limit that the scenario states")
    broken_limits: list[str] = said("the broken limits in sentences, the most exceeded first")
    warnings: list[str] = said("what may happen, such as a rotor that stays stalled; said before the headline")
    headline: str = said("the answer in one line, the median of the simulations with its 90 % range")
    title: str = said("title of the scenario")
    verdict: Literal["costs", "saves", "cannot tell", "no effect"] = said("the verdict in a word")
    case: str = said("what the verdict is set against")
    sentence: str = said("the verdict in sentences, with what is least known")
    fuel_change: FuelChangeData = said("what working does to fuel, at the stated values")
    interval: IntervalData | None = said("how sure; null where nothing was drawn")
    stall: StallData | None = said("whether it stays stalled; null over a trip, and where no curves are known")
    better_pitch: SettingData | None = said(
        "the pitch of most heat within the limits, all else as set and at the stated values, where it gives clearly "
        "more; else null"
    )
    trip_stall: TripStallData | None = said("how much of a trip it is stalled; null for one speed, or without curves")
    matters_most: list[MattersData] = said("what the uncertainty is made of")
    measure_next: list[MeasureNextData] = said("what to measure, and what that would do")
    next_questions: list[NextQuestionData] = said("the one or two questions that follow from this answer")
    electrical_power_w: Number = said("power into the element", "W")
    heat_power_w: Number = said("heat into the load", "W")
    fuel_per_heat_l_per_kwh: Number = said("added fuel for each kWh of heat", "L/kWh")
    heat_per_fuel_kwh_per_l: Number = said("heat for each litre of added fuel", "kWh/L")
    fuel_to_heat_efficiency: Number = said("share of the added fuel's energy that arrives as heat", "1")
    rotor: RotorData = said("what the rotor does, at the stated values")
    trip: TripTotalsData | None = said("totals of a trip; null for a steady drive")
    states: dict[str, StateData] = said("the vehicle with the turbine absent, stowed and working")
    ledger: list[LedgerRowData] = said("the ledger with the turbine at work")
    ledger_without: list[LedgerRowData] = said("the ledger without")
    ledger_residual_w: Number = said("what the ledger fails to balance by", "W")
    break_even: BreakEvenData = said("where the turbine would break even")
    other_sources: list[OtherSourceData] = said("other ways to the same heat")
    conditions: ConditionsData = said("road and air that were answered for")
    assumptions: list[AssumptionData] = said("values that were used and not given")
    cautions: list[str] = said("what could hurt someone or break")
