"""An answer in words and as data: verdict, ledger, assumptions, cautions. Every number comes from the ledger."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.answer import Answered
from energy.chain.break_even import WINDS_M_S, PitchBreakEven
from energy.chain.ledger import Answer, turbine_efficiency_at_flywheel
from energy.chain.limits import limits_of
from energy.chain.outcome import Outcome
from energy.scenario.inputs import Assumption, Inputs, inputs_of, ranges_of
from energy.scenario.keys import Price, spec_of
from energy.scenario.read import Scenario
from energy.uncertainty.propagate import OutcomeSpread
from energy.words.cautions import cautions
from energy.words.next_question import next_questions
from energy.words.verdict import (
    called,
    drawn_change,
    drawn_heat,
    litres_per_kwh,
    median_change_w,
    median_heat_w,
    mpg,
    number,
    pack_kwh_per_100km,
    range_words,
    shown_width,
    verdict,
)
from vehicle.driving.engine import Battery
from vehicle.quantity import Uncertain
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.chain.ledger import TripState
    from energy.chain.stall import StallRisk
    from energy.chain.trip import TripAnswer
    from energy.chain.trip_stall import TripStallRisk
    from energy.words.answer_model import (
        AnswerData,
        ConditionsData,
        FuelChangeData,
        IntervalData,
        MattersData,
        MeasureNextData,
        OtherSourceData,
        RotorData,
        StallData,
        StateData,
        TripStallData,
        TripTotalsData,
    )
    from energy.words.match_model import SettingData
    from energy.words.result_model import AssumptionData

_LIMIT_UNITS = {"rotor_speed": "rad/s", "tip_speed": "m/s", "force": "N", "current": "A", "power": "W"}
_STATE_WORDS = {"absent": "not fitted", "stowed": "stowed"}
_LITRES_PER_HOUR = 3.6e6  # m³/s -> L/h
_US_GALLON_M3, _IMPERIAL_GALLON_M3, _MILE_M = 3.785411784e-3, 4.54609e-3, 1609.344


def main_numbers(answered: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the eight numbers that a builder looks for first, as (name, text); over a trip its totals."""
    rows = key_numbers(answered, system)
    chosen = [row for row in rows if row[0].startswith(_MAIN)]
    return (chosen or rows)[:8]


_MAIN = (
    "air speed at the rotor",
    "rotor speed",
    "thrust",
    "drag power",
    "shaft power",
    "electrical power",
    "element",
    "fuel,",
    "battery",
    "trip",
    "drag energy",
    "shaft energy",
    "electrical energy",
    "highest",
)


_WORTH_A_ROW = 0.055  # of the variance: own rule, no source


def largest_uncertainties(answered: Answered, system: UnitSystem = "metric") -> list[tuple[str, str]]:
    """Return up to three inputs that widen the range most, as (name, text); a twentieth of the variance is not worth
    a row.
    """
    spread = answered.spread
    if spread is None:
        return []
    ranges = ranges_of(answered.scenario)
    rows = []
    for s in sorted(spread.sensitivities, key=lambda entry: -entry.first_order)[:3]:
        if s.first_order < _WORTH_A_ROW:
            break
        known = ", ".join(_named_range(key, ranges, system) for key in s.inputs)
        rows.append((f"{100 * max(s.first_order, 0):.0f} %", known))
    return rows


def sure_rows(answered: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    """Return how sure the answer is, as (name, text): intervals, probability, what the uncertainty is made of, what to
    measure.
    """
    spread = answered.spread
    if spread is None:
        return []
    change, kind = drawn_change(answered)
    name = "change in fuel" if kind == answered.fuel_kind else f"change in pack {answered.power_kind}"
    heat = drawn_heat(answered)
    ranges = ranges_of(answered.scenario)
    rows = []
    if spread.of == "fuel":
        rows += [
            (
                f"{name}, 90 % and 50 % range",
                f"{range_words(change, kind, system)}, {range_words(change, kind, system, inner=True)}; median "
                f"{show(change[2], kind, system, digits=2)}",
            )
        ]
    rows += [
        (
            "heat, 90 % and 50 % range",
            f"{range_words(heat, answered.power_kind, system)}, "
            f"{range_words(heat, answered.power_kind, system, inner=True)}",
        ),
    ]
    if spread.of == "fuel":
        rows.append(("probability that it saves", _probability_words(spread.probability_saves)))
    for s in spread.sensitivities[:4]:
        if s.total < 0.01:
            break
        known = ", ".join(f"{called(key)} ({key}, {_range_of(key, ranges, system)})" for key in s.inputs)
        rows.append(
            (
                "share of the variance" if s is spread.sensitivities[0] else "",
                f"{100 * max(s.first_order, 0):.0f} % ± {max(1, round(100 * s.first_order_error))}: {known}",
            )
        )
    for m in [m for m in spread.measurements if m.shrinks_by >= 0.02][:3]:
        rows.append(
            (
                "what to measure next" if m is spread.measurements[0] else "",
                f"{called(m.key)} to ± {shown_width(m, system)} ({m.how}): "
                f"narrows the range by {100 * m.shrinks_by:.0f} %",
            )
        )
    return rows


def uncertainty_heading(spread: OutcomeSpread, *, full: bool) -> str:
    """Return the heading of the rows on uncertainty: `sure_rows` in full, else `largest_uncertainties`."""
    if full:
        return f"Uncertainty ({spread.draws} simulations over all that is not known exactly)"
    return "Uncertainty (shares of the variance; published checks: windtoll evidence)"


def _named_range(key: str, ranges: dict[str, Uncertain], system: UnitSystem) -> str:
    """Return an input as people call it, with what its range is of where that goes by another name."""
    name, known = called(key), _range_of(key, ranges, system)
    own = key.partition(".")[2].replace("_", " ")
    return f"{name} ({known})" if name == own else f"{name} ({own} {known})"


def _range_of(key: str, ranges: dict[str, Uncertain], system: UnitSystem) -> str:
    value, spec = ranges[key], spec_of(key)
    return f"{spec.shown(value.low, system)} to {spec.shown(value.high, system)}"


def _probability_words(probability: float) -> str:
    if 0 < probability < 0.01:
        return "below 1 %"
    return "above 99 %" if 0.99 < probability < 1 else f"{100 * probability:.0f} %"


def money_per_hour(answered: Answered, change_w: float) -> tuple[float, str] | None:
    """Return a change in source power as money per hour, for fuel or the pack's charge, and its currency; None without
    a price.
    """
    battery, fuel = answered.answer.inputs.engine, answered.answer.inputs.fuel
    if isinstance(battery, Battery):
        tariff = answered.scenario.prices.electricity
        if tariff is None:
            return None
        return change_w / number(battery.charging_efficiency) / 1e3 * tariff.amount, tariff.currency
    price = answered.scenario.prices.fuel
    if price is None or fuel is None:
        return None
    return change_w / fuel.heating_value_j_per_m3 * _LITRES_PER_HOUR * price.amount, price.currency


def assumptions(answered: Answered) -> tuple[Assumption, ...]:
    """Return the values that the answer used and the user did not give."""
    return answered.answer.inputs.assumptions


def assumption_words(entry: Assumption, system: UnitSystem = "metric") -> str:
    """Return an assumption as "key = value (range); source"."""
    if isinstance(entry.value, str):
        return f"{entry.key}: {entry.value}; {entry.source}"
    spec = spec_of(entry.key)
    text = spec.shown(entry.value, system)
    if entry.low is not None and entry.high is not None:
        text += f" ({spec.shown(entry.low, system)} to {spec.shown(entry.high, system)})"
    return f"{entry.key} = {text}; {entry.source}"


def as_data(answered: Answered, system: UnitSystem = "metric") -> dict[str, Any]:
    """Return the answer as data for `--json`: SI but where the name says otherwise; what is no number becomes null."""
    return answer_model(answered, system).model_dump()


def answer_model(answered: Answered, system: UnitSystem = "metric") -> AnswerData:
    """Return the answer as typed data: every field with its unit and meaning."""
    from energy.words import answer_model as model

    answer, said = answered.answer, verdict(answered, system)
    turbine, per_heat = answer.turbine, litres_per_kwh(answer)
    return model.AnswerData(
        safe=False if said.dangers else None,
        may_be_operated=said.operate,
        limits=[
            model.LimitData(
                name=limit.name,
                key=limit.key,
                value=limit.value,
                limit=limit.limit,
                share=limit.share,
                broken=limit.broken,
                unit=_LIMIT_UNITS[limit.kind],
            )
            for limit in limits_of(answered)
        ],
        broken_limits=list(said.dangers[:-1]),
        warnings=list(said.warnings),
        headline=said.headline,
        windtoll=1,
        title=answered.scenario.title,
        verdict=said.word,
        case=said.case,
        sentence=said.words,
        fuel_change=_fuel_change_model(answered),
        interval=None
        if answered.spread is None
        else spread_model(answered.spread, answered.outcome, answered.scenario),
        stall=_stall_model(answered.stall),
        better_pitch=_better_pitch_model(answered),
        trip_stall=_trip_stall_model(answered.trip_stall),
        matters_most=_matters_models(answered.spread),
        measure_next=_measure_models(answered.spread),
        next_questions=[model.NextQuestionData(command=q.command, why=q.why) for q in next_questions(answered, said)],
        electrical_power_w=number(turbine.electrical_power_w),
        heat_power_w=number(turbine.heat_power_w),
        fuel_per_heat_l_per_kwh=per_heat,
        heat_per_fuel_kwh_per_l=_inverse(per_heat),
        fuel_to_heat_efficiency=_ratio(number(turbine.heat_power_w), number(answer.change.power_w)),
        rotor=_rotor_model(answer),
        trip=_trip_model(answered),
        states={name: _state_model(answer, state) for name, state in answer.states.items()},
        ledger=[model.LedgerRowData(account=a, name=n, watts=number(w)) for a, n, w in answer.ledger],
        ledger_without=[model.LedgerRowData(account=a, name=n, watts=number(w)) for a, n, w in answer.without.rows],
        ledger_residual_w=number(answer.states["working"].residual_w),
        break_even=model.BreakEvenData(
            head_wind_m_s=answered.break_even_head_wind_m_s,
            best_pitch_deg=math.nan if answered.best_pitch is None else answered.best_pitch.pitch_deg,
            best_pitch_head_wind_m_s=math.nan if answered.best_pitch is None else answered.best_pitch.head_wind_m_s,
            alternator_path_efficiency=number(turbine_efficiency_at_flywheel(answer)),
        ),
        other_sources=[_other_model(answered, name) for name in answer.other_sources],
        conditions=_conditions_model(answer),
        assumptions=assumption_models(assumptions(answered)),
        cautions=cautions(answered, system),
    )


def _stall_model(stall: StallRisk | None) -> StallData | None:
    from energy.words.answer_model import StallData
    from energy.words.match import setting_data
    from energy.words.result_model import estimate_data

    if stall is None:
        return None
    groups = (stall.stalled_heat_w, stall.running_heat_w)
    slow, running = (None if heat is None else estimate_data(heat) for heat in groups)
    return StallData(
        chance=stall.share,
        at_stated_values=stall.at_stated_values,
        stands=stall.stands,
        two_steady_speeds=stall.two_speeds,
        tip_speed_ratio=stall.tip_speed_ratio,
        stalled_heat_w=slow,
        running_heat_w=running,
        lost_heat_w=stall.lost_heat_w,
        best_setting=None if stall.best is None else setting_data(stall.best),
        best_setting_starts_unloaded=stall.best_unloaded,
        needs_a_push=stall.needs_a_push,
        faster_speed_breaks=[limit.key for limit in stall.beyond_limits],
    )


def _better_pitch_model(answered: Answered) -> SettingData | None:
    from energy.words.match import setting_data

    return None if answered.better_pitch is None else setting_data(answered.better_pitch)


def _trip_stall_model(stall: TripStallRisk | None) -> TripStallData | None:
    from energy.words.answer_model import TripStallData
    from energy.words.result_model import estimate_data

    if stall is None:
        return None
    return TripStallData(
        energy_share=estimate_data(stall.energy_share),
        mostly_stalled_chance=stall.mostly_stalled,
        heat_w=estimate_data(stall.heat_w),
        unloaded_heat_w=estimate_data(stall.unloaded_heat_w),
    )


def _fuel_change_model(answered: Answered) -> FuelChangeData:
    from energy.words.answer_model import FuelChangeData

    answer, change = answered.answer, answered.answer.change
    money, economy = money_per_hour(answered, number(change.power_w)), mpg(answer, "us")
    return FuelChangeData(
        l_per_h=number(change.volume_m3_s) * _LITRES_PER_HOUR,
        l_per_100km=number(change.volume_m3_per_m) * 1e8,
        mpg_us_without=economy[0] if economy else None,
        mpg_us_working=economy[1] if economy else None,
        kwh_per_100km=pack_kwh_per_100km(answer),
        percent=number(change.percent),
        power_w=number(change.power_w),
        kg_co2_per_h=number(change.co2_kg_s) * 3600,
        money_per_h=money[0] if money else None,
        currency=money[1] if money else None,
        calculated_load_points=number(change.load_points),
        l_per_h_without_credit=number(answer.change_without_credit.volume_m3_s) * _LITRES_PER_HOUR,
        compared_with=answer.compared_with,
    )


def _matters_models(spread: OutcomeSpread | None) -> list[MattersData]:
    from energy.words.answer_model import MattersData

    return [
        MattersData(
            input=" + ".join(s.inputs),
            share=s.first_order,
            share_error=s.first_order_error,
            total_share=s.total,
            total_share_error=s.total_error,
        )
        for s in (spread.sensitivities if spread else ())
        if s.total >= 0.005
    ]


def _measure_models(spread: OutcomeSpread | None) -> list[MeasureNextData]:
    from energy.words.answer_model import MeasureNextData

    return [
        MeasureNextData(input=m.key, plus_minus=m.plus_minus, how=m.how, interval_shrinks_by=m.shrinks_by)
        for m in (spread.measurements if spread else ())
    ]


def _rotor_model(answer: Answer) -> RotorData:
    from energy.words.answer_model import RotorData

    turbine = answer.turbine
    steady = () if turbine.point is None else turbine.point.stable_speeds_rad_s
    return RotorData(
        speed_rpm=number(turbine.rotor_speed_rad_s) * 30 / math.pi,
        tip_speed_ratio=number(turbine.tip_speed_ratio),
        tip_speed_m_s=number(turbine.rotor_speed_rad_s) * number(answer.inputs.turbine.diameter_m) / 2,
        power_coefficient=number(turbine.power_coefficient),
        thrust_coefficient=number(turbine.thrust_coefficient),
        thrust_n=number(turbine.thrust_n),
        drag_on_vehicle_n=number(turbine.rotor_drag_n),
        drag_power_w=rotor_drag_power_w(answer),
        shaft_power_w=number(turbine.shaft_power_w),
        air_speed_m_s=number(answer.inputs.rotor_air_speed_m_s),
        yaw_deg=math.degrees(number(answer.inputs.air.yaw_rad)),
        free_run_rpm=number(turbine.free_run_speed_rad_s) * 30 / math.pi,
        pitch_deg=number(answer.inputs.turbine.pitch_deg),
        stalled_torque_share=number(turbine.stalled_torque_share),
        turning=bool(turbine.turning),
        steady_speeds_rpm=[float(v) * 30 / math.pi for v in steady if np.isfinite(v)],
    )


def _state_model(answer: Answer, state: TripState) -> StateData:
    from energy.words.answer_model import StateData

    supply = state.supply
    return StateData(
        source_power_w=number(supply.source_w),
        fuel_l_per_h=_flow(answer, number(supply.source_w)),
        wheel_power_w=number(supply.wheel_w),
        engine_speed_rpm=number(supply.engine_speed_rad_s) * 30 / math.pi,
        engine_torque_n_m=number(supply.torque_n_m),
        gear=int(number(supply.gear)),
        mount_drag_n=number(state.mount_drag_n),
        rotor_drag_n=number(state.rotor_drag_n),
    )


def _other_model(answered: Answered, name: str) -> OtherSourceData:
    from energy.words.answer_model import OtherSourceData

    other = answered.answer.other_sources[name]
    return OtherSourceData(
        name=other.name,
        fuel_l_per_h=number(other.fuel_m3_s) * _LITRES_PER_HOUR,
        gas_l_per_h=number(other.gas_m3_s) * _LITRES_PER_HOUR,
        mains_w=number(other.mains_w),
        money_per_h=other_money_per_hour(answered, name),
        note=other.note,
    )


def _conditions_model(answer: Answer) -> ConditionsData:
    from energy.words.answer_model import ConditionsData

    inputs = answer.inputs
    return ConditionsData(
        road_speed_m_s=number(inputs.road_speed_m_s),
        grade=number(inputs.grade),
        air_density_kg_m3=number(inputs.density_kg_m3),
        air_speed_ahead_m_s=number(inputs.air.ahead_m_s),
        air_speed_across_m_s=number(inputs.air.across_m_s),
    )


def assumption_models(entries: Sequence[Assumption]) -> list[AssumptionData]:
    """Return values that were used and not given as typed data."""
    from energy.words.result_model import AssumptionData

    return [
        AssumptionData(key=e.key, value=e.value, low=e.low, high=e.high, unit=e.unit, source=e.source) for e in entries
    ]


def _trip_model(answered: Answered) -> TripTotalsData | None:
    """Return the totals of a trip; None for a steady drive."""
    from energy.words.answer_model import TripTotalsData

    trip, answer = answered.trip, answered.answer
    if trip is None:
        return None
    total, fuel = trip.steps.total_s, answer.inputs.fuel
    litres = math.nan if fuel is None else total / fuel.heating_value_j_per_m3 * 1e3
    kwh = total / 3.6e6
    from_pack = kwh if fuel is None else math.nan
    return TripTotalsData(
        schedule=trip.name,
        duration_s=total,
        distance_m=trip.steps.distance_m,
        climb_m=trip.steps.climb_m,
        works=answered.scenario.trip.works,
        works_share_of_time=trip.works_share,
        fuel_without_l=number(answer.without.supply.source_w) * litres,
        fuel_working_l=number(answer.states["working"].supply.source_w) * litres,
        fuel_change_l=number(answer.change.power_w) * litres,
        pack_without_kwh=number(answer.without.supply.source_w) * from_pack,
        pack_working_kwh=number(answer.states["working"].supply.source_w) * from_pack,
        pack_change_kwh=number(answer.change.power_w) * from_pack,
        heat_kwh=number(answer.turbine.heat_power_w) * kwh,
        electrical_kwh=number(answer.turbine.electrical_power_w) * kwh,
        highest_rotor_speed_rpm=number(trip.most.rotor_speed_rad_s) * 30 / math.pi,
        highest_thrust_n=number(trip.most.thrust_n),
        highest_heat_power_w=number(trip.most.heat_power_w),
    )


def spread_model(spread: OutcomeSpread, outcome: Outcome, scenario: Scenario) -> IntervalData:
    """Return the intervals of draws as typed data; the figures are those of `outcome`, which the headline states."""
    from energy.words.answer_model import IntervalData
    from energy.words.result_model import estimate_data

    fuel = inputs_of(scenario).fuel
    litres = math.nan if fuel is None else _LITRES_PER_HOUR / fuel.heating_value_j_per_m3
    return IntervalData(
        fuel_change_l_per_h=None if fuel is None else estimate_data(outcome.change_w.times(litres)),
        fuel_change_power_w=estimate_data(outcome.change_w),
        heat_power_w=estimate_data(outcome.heat_w),
        half_of_fuel_change_l_per_h=None if fuel is None else estimate_data(outcome.half_change_w.times(litres)),
        half_of_fuel_change_power_w=estimate_data(outcome.half_change_w),
        half_of_heat_power_w=estimate_data(outcome.half_heat_w),
        probability_saves=spread.probability_saves,
        probability_costs=spread.probability_costs,
        draws=spread.draws,
        matters_most_for="fuel_change" if spread.of == "fuel" else "heat_power_w",
    )


def _flow(answer: Answer, power_w: float) -> float:
    return (
        math.nan
        if answer.inputs.fuel is None
        else power_w / answer.inputs.fuel.heating_value_j_per_m3 * _LITRES_PER_HOUR
    )


def _inverse(value: float) -> float:
    return 1 / value if math.isfinite(value) and value != 0 else math.nan


def _ratio(over: float, under: float) -> float:
    return over / under if abs(under) > 0.05 else math.nan


def other_money_per_hour(answered: Answered, name: str) -> float | None:
    """Return what another source's heat costs per hour; None where a price is not known."""
    other, prices = answered.answer.other_sources[name], answered.scenario.prices
    total, known = 0.0, False
    for amount, price in (
        (number(other.fuel_m3_s) * _LITRES_PER_HOUR, prices.fuel),
        (number(other.gas_m3_s) * _LITRES_PER_HOUR, prices.gas),
        (number(other.mains_w) / 1e3, prices.electricity),
    ):
        if math.isfinite(amount) and amount != 0:
            if not isinstance(price, Price) or (prices.fuel is not None and price.currency != prices.fuel.currency):
                return None
            total, known = total + amount * price.amount, True
    return total if known or name == "exhaust" else None


def ledger_lines(answered: Answered, system: UnitSystem) -> list[tuple[str, str, str, str, str]]:
    """Return the ledger's rows as (account, name, without, working, difference), in watts as text."""
    answer = answered.answer
    working = {(a, n): number(w) for a, n, w in answer.ledger}
    without = {(a, n): number(w) for a, n, w in answer.without.rows}
    rows = []
    for key in dict.fromkeys([*working, *without]):
        there, here = without.get(key, 0.0), working.get(key, 0.0)
        if abs(there) < 0.05 and abs(here) < 0.05:
            continue
        rows.append((*key, _watts(there), _watts(here), _watts(here - there, signed=True)))
    return rows


def _watts(value: float, *, signed: bool = False) -> str:
    return "0" if abs(value) < 0.05 else f"{value:{'+' if signed else ''},.0f}".replace(",", "\u202f").replace("-", "−")


def _air_speed_words(inputs: Inputs, system: UnitSystem) -> str:
    """Return the air speed at the rotor, and its share of the free air's where that is not all of it."""
    local, share = number(inputs.rotor_air_speed_m_s), number(inputs.turbine.local_speed_factor)
    said = show(local, "speed", system)
    if share == 1 or not share * local:
        return said
    return f"{said}, {figures(share, 2)} of the free air's {show(local / share, 'speed', system)}"


def key_numbers(answered: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the numbers that a builder looks for, as (name, text)."""
    answer = answered.answer
    turbine, change = answer.turbine, answer.change
    drag_w = rotor_drag_power_w(answer)
    if answered.trip is not None:
        return [*_trip_numbers(answered, answered.trip, system), *_running_costs(answered, system)]
    rows = [("air speed at the rotor", _air_speed_words(answer.inputs, system))]
    if math.isfinite(number(turbine.rotor_speed_rad_s)):
        tip = number(turbine.rotor_speed_rad_s) * number(answer.inputs.turbine.diameter_m) / 2
        rows.append(
            (
                "rotor speed",
                f"{show(number(turbine.rotor_speed_rad_s), 'rotor_speed', system)}, tip-speed ratio "
                f"{figures(number(turbine.tip_speed_ratio), 3)}, tips {show(tip, 'tip_speed', system)}",
            )
        )
    rows += [
        (
            "power coefficient",
            f"{number(turbine.power_coefficient):.3f} (Betz limit 0.593); thrust coefficient "
            f"{number(turbine.thrust_coefficient):.2f}",
        ),
        ("thrust", show(number(turbine.thrust_n), "force", system)),
        ("drag on the vehicle", show(number(turbine.rotor_drag_n), "force", system)),
        ("drag power", _drag_power_words(drag_w, number(answer.inputs.road_speed_m_s), system)),
        ("shaft power", show(number(turbine.shaft_power_w), "power", system)),
        ("electrical power", show(number(turbine.electrical_power_w), "power", system)),
        ("heat", show(number(turbine.heat_power_w), "power", system)),
    ]
    if turbine.electrical is not None:
        rows.append(
            (
                "element",
                f"{show(number(turbine.electrical.element_voltage_v), 'voltage', system)}, "
                f"{show(number(turbine.electrical.current_a), 'current', system)}",
            )
        )
    if answer.inputs.fuel is not None:
        flows = [
            number(s.supply.source_w) / answer.inputs.fuel.heating_value_j_per_m3
            for s in (answer.without, answer.states["working"])
        ]
        states = _both_states(answer)
        rows.append(
            (
                f"fuel, {states}",
                f"{show(flows[0], 'fuel_flow', system, digits=3)}, then "
                f"{show(flows[1], 'fuel_flow', system, digits=3)}",
            )
        )
        pair = mpg(answer, system)
        if pair and system != "metric":
            rows.append((f"fuel economy, {states}", f"{pair[0]:.1f}, then {pair[1]:.1f} mpg"))
        rows.append(("CO2", f"{show(number(change.co2_kg_s), 'co2_flow', system, signed=True)}"))
    return [*rows, *_battery_rows(answered, system), *_running_costs(answered, system)]


def _both_states(answer: Answer) -> str:
    """Return the two states that a row sets next to each other; without, the engine may make the heat as well."""
    credited = " with the heat by alternator" if answer.inputs.credit.replaces_alternator else ""
    return f"{_STATE_WORDS[answer.compared_with]}{credited}, then working"


def _battery_rows(answered: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    """Return what the battery pack gives without and with the turbine at work; nothing where fuel is burnt."""
    outcome = answered.answer
    if outcome.inputs.fuel is not None:
        return []
    without, working = (
        show(number(state.supply.source_w) * answered.over_s, answered.power_kind, system)
        for state in (outcome.without, outcome.states["working"])
    )
    name = f"battery {answered.power_kind}, {_both_states(outcome)}"
    return [(name, f"{without}, then {working}")]


def rotor_drag_power_w(answer: Answer) -> float:
    """Return the power (W) that the working rotor's drag takes at the wheels; over a trip its mean."""
    return -next(number(w) for account, name, w in answer.ledger if (account, name) == ("road", "rotor drag"))


def _trip_numbers(answered: Answered, trip: TripAnswer, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the numbers of a trip: totals, then what the turbine does at its most."""
    answer, steps, most = answered.answer, trip.steps, trip.most
    total = steps.total_s

    def energy(power_w: float) -> str:
        return show(power_w * total, "energy", system)

    rows = [
        (
            "trip",
            f"{show(steps.distance_m, 'distance', system)} in {show(total, 'time', system)}, mean "
            f"{show(steps.distance_m / total, 'speed', system)}; {_works_words(trip)}",
        ),
        ("drag energy", energy(rotor_drag_power_w(answer))),
        ("shaft energy", energy(number(answer.turbine.shaft_power_w))),
        ("electrical energy", energy(number(answer.turbine.electrical_power_w))),
        ("heat", energy(number(answer.turbine.heat_power_w))),
    ]
    if answer.inputs.fuel is not None:
        volumes = [
            number(s.supply.source_w) * total / answer.inputs.fuel.heating_value_j_per_m3
            for s in (answer.without, answer.states["working"])
        ]
        rows.append(
            (
                f"fuel, {_both_states(answer)}",
                f"{show(volumes[0], 'volume', system)}, then {show(volumes[1], 'volume', system)}",
            )
        )
        rows.append(("CO2", f"{show(number(answer.change.co2_kg_s), 'co2_flow', system, signed=True)}"))
    rows += _battery_rows(answered, system)
    brakes = [
        -next((number(w) for account, name, w in state.rows if (account, name) == ("road", "brakes")), 0.0)
        for state in (answer.without, answer.states["working"])
    ]
    rows.append(("lost in the brakes, without, then working", f"{energy(brakes[0])}, then {energy(brakes[1])}"))
    tip = number(most.rotor_speed_rad_s) * number(answer.inputs.turbine.diameter_m) / 2
    if math.isfinite(tip):
        rows.append(
            (
                "highest of the trip",
                f"{show(number(most.rotor_speed_rad_s), 'rotor_speed', system)}, tips "
                f"{show(tip, 'tip_speed', system)}, "
                f"thrust {show(number(most.thrust_n), 'force', system)}, "
                f"{show(number(most.heat_power_w), 'power', system)}",
            )
        )
    return rows


def _works_words(trip: TripAnswer) -> str:
    """Return how long the turbine is connected: that says nothing of how long it gives power."""
    share = trip.works_share
    return "at work all the way" if share > 0.995 else f"turbine stowed for {100 * (1 - share):.0f} % of the time"


def _drag_power_words(drag_w: float, road_speed_m_s: float, system: UnitSystem) -> str:
    """Return the drag power, and why a standing vehicle has none though the rotor has thrust."""
    text = show(drag_w, "power", system)
    return f"{text}: the vehicle stands still, the thrust moves nothing" if road_speed_m_s == 0 else text


def _running_costs(answered: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    """Return money, load, efficiency, break-even and totals, as (name, text)."""
    answer = answered.answer
    turbine, change = answer.turbine, answer.change
    rows = []
    money = money_per_hour(answered, number(change.power_w))
    if money:
        rows.append(("money", f"{figures(money[0], 3, signed=True)} {money[1]} per hour"))
    if math.isfinite(number(change.load_points)) and number(answer.inputs.road_speed_m_s) > 0:
        rows.append(
            ("calculated load on an OBD reader", f"{figures(number(change.load_points), 2, signed=True)} points")
        )
    efficiency = _ratio(number(turbine.heat_power_w), number(change.power_w))
    # With the alternator's fuel taken off, what is left of the change is no fuel that the heat came from.
    if math.isfinite(efficiency) and efficiency > 0 and not answer.inputs.credit.replaces_alternator:
        burnt = answer.inputs.fuel is not None
        name, energy = ("from fuel to heat", "fuel's") if burnt else ("from battery to heat", "battery")
        rows.append((name, f"{figures(100 * efficiency, 2)} % of the extra {energy} energy arrives as heat"))
    rows += _break_even_rows(answered, system)
    distance = answered.scenario.trip.distance
    speed = number(answer.inputs.road_speed_m_s)
    if distance is not None and speed > 0:
        hours = distance.value / speed / 3600
        heat = number(turbine.heat_power_w) * hours / 1e3
        if answer.inputs.fuel is None:
            taken = f"{show(number(change.power_w) * hours * 3600, 'energy', system, signed=True)} from the battery"
        else:
            taken = f"{show(number(change.volume_m3_s) * hours * 3600, 'volume', system, signed=True)} of fuel"
        rows.append((f"over {show(distance.value, 'distance', system)}", f"{figures(heat, 3)} kWh of heat, {taken}"))
    return rows


def _break_even_rows(answered: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    answer = answered.answer
    rows = []
    if answered.trip is None and number(answer.inputs.road_speed_m_s) > 0:
        wind = answered.break_even_head_wind_m_s
        words = (
            f"from {show(wind, 'speed', system)}" if math.isfinite(wind) else no_break_even(answered.best_pitch, system)
        )
        rows.append(("break-even head wind", words))
    efficiency = number(turbine_efficiency_at_flywheel(answer))
    path = number(answer.inputs.credit.path_efficiency)
    if math.isfinite(efficiency) and not isinstance(answer.inputs.engine, Battery):
        better = (
            "the turbine makes the heat with less fuel"
            if efficiency > path
            else "the alternator makes the heat with less fuel"
        )
        rows.append(
            (
                "against the alternator",
                f"{figures(100 * efficiency, 2)} % of the added engine power arrives as heat; by alternator "
                f"{figures(100 * path, 2)} %: {better}",
            )
        )
    return rows


def no_break_even(best: PitchBreakEven | None, system: UnitSystem) -> str:
    """Return that no head wind breaks even at the set pitch, and what the best pitch would do."""
    words = f"not in any head wind up to {show(float(WINDS_M_S[-1]), 'speed', system)}"
    if best is None:
        return f"{words} (no other pitch is in the data)"
    if math.isnan(best.pitch_deg):
        return f"{words} with this ratio and element, at any pitch"
    beyond = f", but there it exceeds its limit of {' and '.join(best.breaks)}: do not operate" if best.breaks else ""
    return (
        f"{words} at this pitch; at the best one, {figures(best.pitch_deg, 2)}°, from "
        f"{show(best.head_wind_m_s, 'speed', system)}{beyond}"
    )


def other_lines(answered: Answered, system: UnitSystem) -> list[tuple[str, str, str]]:
    """Return the other sources of the same heat as (name, what it takes, note)."""
    rows = []
    for name, other in answered.answer.other_sources.items():
        takes = []
        if math.isfinite(number(other.fuel_m3_s)):
            takes.append(
                f"{show(number(other.fuel_m3_s), 'fuel_flow', system, signed=True)} of fuel"
                if number(other.fuel_m3_s)
                else "no fuel"
            )
        if math.isfinite(number(other.gas_m3_s)):
            takes.append(f"{show(number(other.gas_m3_s), 'fuel_flow', system)} of liquid gas")
        if math.isfinite(number(other.mains_w)):
            takes.append(f"{show(number(other.mains_w), 'power', system)} of charge")
        money = other_money_per_hour(answered, name)
        currency = next(
            (
                p.currency
                for p in (
                    answered.scenario.prices.fuel,
                    answered.scenario.prices.electricity,
                    answered.scenario.prices.gas,
                )
                if p
            ),
            "",
        )
        if money:
            takes.append(f"{figures(money, 2)} {currency}/h")
        rows.append((other.name, ", ".join(takes) or "no way to make it", other.note))
    return rows


def rotor_sentence(answered: Answered, system: UnitSystem) -> str:
    """Return what the rotor does, as a sentence."""
    turbine = answered.answer.turbine
    air = show(number(answered.answer.inputs.rotor_air_speed_m_s), "speed", system)
    if not bool(turbine.turning):
        drag = show(number(turbine.rotor_drag_n), "force", system)
        return f"At the stated values, in {air} of air, the rotor does not turn; it drags {drag}."
    speed = number(turbine.rotor_speed_rad_s)
    turns = f"turns at {show(speed, 'rotor_speed', system)}, " if math.isfinite(speed) else ""
    push = show(number(turbine.thrust_n), "force", system)
    return (
        f"At the stated values, in {air} of air, the rotor {turns}pushes back with {push} and gives "
        f"{show(number(turbine.shaft_power_w), 'power', system)} at the shaft, of which "
        f"{show(number(turbine.heat_power_w), 'power', system)} becomes heat in {answered.scenario.heater.what}."
    )


def _median_fuel_m3_s(answered: Answered) -> float:
    fuel = answered.answer.inputs.fuel
    return math.nan if fuel is None else median_change_w(answered) / fuel.heating_value_j_per_m3


def difference_sentence(before: Answered, after: Answered, system: UnitSystem) -> str:
    """Return what variant B does to the change in fuel and to the heat of variant A, as a sentence.

    From the figures that the verdicts of both state.
    """
    heat = median_heat_w(after) - median_heat_w(before)
    heat_words = f"{show(abs(heat), 'power', system)} {'more' if heat > 0 else 'less'} heat"
    if abs(heat) < 0.5:
        heat_words = "the same heat"
    if (before.answer.inputs.fuel is None) != (after.answer.inputs.fuel is None):
        return f"B makes {heat_words}; one variant burns fuel and the other does not, so their costs do not compare."
    if after.answer.inputs.fuel is None:
        cost = median_change_w(after) - median_change_w(before)
        words = show(abs(cost), "power", system) + " from the pack"
        nothing = abs(cost) < 0.5
    else:
        cost = _median_fuel_m3_s(after) - _median_fuel_m3_s(before)
        words = show(abs(cost), "fuel_flow", system)
        nothing = abs(cost) * _LITRES_PER_HOUR < 5e-5
    if nothing:
        return f"With B the turbine costs the same as with A and makes {heat_words}."
    return f"With B the turbine costs {words} {'more' if cost > 0 else 'less'} than with A and makes {heat_words}."
