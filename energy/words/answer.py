"""An answer in words and as data: verdict, ledger, assumptions, cautions. Every number comes from the ledger."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from energy.aero.blade import STALL_SHARE_LIMIT
from energy.aero.operating_point import free_run_is_told
from energy.chain.answer import Answered
from energy.chain.ledger import Answer, answer, turbine_efficiency_at_flywheel
from energy.scenario.inputs import Assumption, inputs_of, ranges_of
from energy.scenario.keys import Price, spec_of
from energy.scenario.read import Scenario
from energy.uncertainty.measurement import Measurement
from energy.uncertainty.propagate import OutcomeSpread
from energy.uncertainty.quantiles import ALMOST_CERTAIN, QUANTILES, SURE
from vehicle.driving.engine import Battery
from vehicle.quantity import Uncertain, shown_value
from vehicle.units import UnitSystem, figures, label, show, to_user

if TYPE_CHECKING:
    from energy.chain.ledger import TripState
    from energy.chain.trip import TripAnswer
    from energy.words.answer_model import (
        AnswerData,
        AssumptionData,
        ConditionsData,
        FuelChangeData,
        IntervalData,
        MattersData,
        MeasureNextData,
        OtherSourceData,
        RotorData,
        StateData,
        TripTotalsData,
    )

_LITRES_PER_HOUR = 3.6e6  # m³/s -> L/h
_LITRES_PER_KWH = 3.6e9  # m³/J -> L/kWh
_US_GALLON_M3, _IMPERIAL_GALLON_M3, _MILE_M = 3.785411784e-3, 4.54609e-3, 1609.344


@dataclass(frozen=True)
class Verdict:
    """The verdict: `word` is costs, saves or cannot tell; `case` says what it is set against; `sentence` says it.

    `doubt` is a further sentence: what most of the doubt is, and what measuring it would do; empty where there is none.
    """

    word: Literal["costs", "saves", "cannot tell"]
    case: str
    sentence: str
    doubt: str = ""

    @property
    def words(self) -> str:
        """The sentence with the doubt after it."""
        return f"{self.sentence} {self.doubt}".rstrip()


def _f(value: Any) -> float:
    """Return a nominal (0-dimensional) result as a float."""
    return float(np.asarray(value))


def conditions(told: Answered, system: UnitSystem) -> str:
    """Return where and when, in words: "At 100 km/h in still air on the flat"."""
    if told.trip is not None:
        return _trip_conditions(told, told.trip, system)
    inputs = told.answer.inputs
    speed, grade = _f(inputs.road_speed_m_s), _f(inputs.grade)
    place = f"At {show(speed, 'speed', system)}" if speed > 0 else "Standing"
    if abs(grade) < 1e-9:
        road = " on the flat" if speed > 0 else ""
    else:
        road = f" {'up' if grade > 0 else 'down'} a {figures(abs(grade) * 100, 2)} % grade"
    return place + _air_words(told, system) + road


_WORKS = {
    "always": "",
    "braking_or_descending": " with the turbine at work only while braking or descending",
    "only_parked": " with the turbine at work only while standing",
    "below_speed": " with the turbine at work only below {}",
    "above_speed": " with the turbine at work only above {}",
}


def _trip_conditions(told: Answered, trip: TripAnswer, system: UnitSystem) -> str:
    steps, asked = trip.steps, told.scenario.trip
    limit = show(asked.works_speed.value, "speed", system) if asked.works_speed is not None else ""
    climbs = f" climbing {show(steps.climb_m, 'length', system)} in all" if steps.climb_m > 0.5 else ""
    climate = told.scenario.wind_climate
    if np.isfinite(steps.wind_speed_m_s).any():
        air = " in the wind along the way"
    elif climate is not None and "wind_speed" not in told.scenario.air.model_fields_set:
        air = f" in the winds of a year (mean {show(climate.mean_speed.value, 'speed', system)})"
    else:
        air = _air_words(told, system)
    return (
        f"Over the {show(steps.distance_m, 'distance', system)} of {trip.name} ({show(steps.total_s, 'time', system)})"
        f"{climbs}{air}{_WORKS[asked.works].format(limit)}"
    )


def _air_words(told: Answered, system: UnitSystem) -> str:
    wind = told.scenario.air.wind_speed.value
    angle = math.degrees(told.scenario.air.wind_from.value) % 360
    off = min(angle, 360 - angle)
    if wind < 0.05:
        return " in still air"
    kind = "head wind" if off < 30 else "tail wind" if off > 150 else "wind from the side"
    turned = f" ({off:.0f}° off the bow)" if 1 < off < 179 else ""
    return f" in a {kind} of {show(wind, 'speed', system)}{turned}"


def verdict(told: Answered, system: UnitSystem) -> Verdict:
    """Return whether working costs or saves fuel against the trip without, the sentence that says so, and what most
    of the doubt is.
    """
    found, scenario = told.answer, told.scenario
    change, base = _f(found.change.power_w), _f(found.without.supply.source_w)
    heat = _f(found.turbine.heat_power_w)
    small = 1e-9 * abs(base) + 0.05
    where = conditions(told, system)
    load = scenario.heater.what
    without = {"absent": "leaving it at home", "stowed": "carrying it stowed"}[found.compared_with]
    credited = found.inputs.credit.replaces_alternator
    if credited:
        without += f" and making the same {_heat_words(told, system)} with the engine's alternator"
    case = ("credited with the alternator's work it replaces, " if credited else "no credit for replaced work, ") + (
        f"compared with turbine {found.compared_with}"
    )
    purpose = f"to put {_heat_words(told, system)} into {load}" if heat > 0.5 else f"and puts nothing into {load}"
    nominal = "costs" if change > small else "saves" if change < -small or heat > 0.5 else "cannot tell"
    spread = told.spread
    if spread is not None and nominal != "cannot tell" and spread.verdict != nominal:
        undecided = f"{where} {_undecided(told, without, purpose, system)}"
        return Verdict("cannot tell", case, undecided, doubt_words(told, system))
    sure = f", {sureness(spread)}" if spread is not None else ""
    doubt = doubt_words(told, system)
    if change > small:
        per = f": {_per_heat(found, system)}" if heat > 0.5 else ""
        words = f"costs {_change_words(told, system)} than {without}{sure}, {purpose}{per}."
        return Verdict("costs", case, f"{where} the turbine {words}", doubt)
    if change < -small:
        words = f"saves {_change_words(told, system)} against {without}{sure}, {purpose}."
        return Verdict("saves", case, f"{where} the turbine {words}", doubt)
    if heat > 0.5:
        inside = f" (90 %: {_range_words(_drawn_heat(told), told.power_kind, system)})" if spread is not None else ""
        return Verdict(
            "saves",
            case + "; the fuel does not change, the heat is free",
            f"{where} the turbine costs no fuel {purpose}{inside}{sure}: {_who_pays(found)}.",
            doubt,
        )
    return Verdict("cannot tell", case, f"{where} the turbine neither costs fuel nor makes heat.")


def _heat_words(told: Answered, system: UnitSystem) -> str:
    return show(_f(told.answer.turbine.heat_power_w) * told.over_s, told.power_kind, system)


def _undecided(told: Answered, without: str, purpose: str, system: UnitSystem) -> str:
    """Return the sentence of an answer whose interval holds both saving and costing."""
    spread = told.spread
    assert spread is not None
    figure, kind = _drawn_change(told)
    low, high = (figures(to_user(value, kind, system), 2, signed=True) for value in (figure[0], figure[-1]))
    middle = show(figure[2], kind, system, signed=True)
    chance = (
        f"in {100 * spread.probability_saves:.0f} of 100 draws it saves, in {100 * spread.probability_costs:.0f} "
        f"it costs"
    )
    of_what = "fuel" if told.answer.inputs.fuel is not None else "power from the battery pack"
    return (
        f"nobody can tell whether the turbine saves or costs {of_what}: {middle} (90 %: {low} to {high}) against "
        f"{without}, {chance}, {purpose}."
    )


def sureness(spread: OutcomeSpread) -> str:
    """Return in words how sure a verdict is."""
    probability = max(spread.probability_saves, spread.probability_costs)
    return "almost certainly" if probability >= ALMOST_CERTAIN else "very likely" if probability >= SURE else "perhaps"


def _drawn_change(told: Answered) -> tuple[tuple[float, ...], str]:
    """Return the quantiles of the change and what kind of quantity they are: fuel flow (m³/s) or power (W)."""
    assert told.spread is not None
    fuel = told.answer.inputs.fuel
    if fuel is None:
        return tuple(value * told.over_s for value in told.spread.change_w), told.power_kind
    return tuple(value * told.over_s / fuel.heating_value_j_per_m3 for value in told.spread.change_w), told.fuel_kind


def _drawn_heat(told: Answered) -> tuple[float, ...]:
    """Return the quantiles of the heat: W, or J over a trip."""
    assert told.spread is not None
    return tuple(value * told.over_s for value in told.spread.heat_w)


def _range_words(quantiles: Sequence[float], kind: str, system: UnitSystem, *, inner: bool = False) -> str:
    """Return the 90 % (or 50 %) interval of quantiles at `QUANTILES`, as "2.0 to 3.6 L/h"."""
    low, high = (quantiles[1], quantiles[3]) if inner else (quantiles[0], quantiles[-1])
    if low < 0 < high:
        return (
            f"{figures(to_user(low, kind, system), 2, signed=True)} to "
            f"{show(high, kind, system, signed=True, digits=2)}"
        )
    if kind == "power":  # its unit goes by size
        return f"{show(low, kind, system, digits=2)} to {show(high, kind, system, digits=2)}"
    return f"{figures(to_user(low, kind, system), 2)} to {show(high, kind, system, digits=2)}"


def called(key: str) -> str:
    """Return an input's name in a sentence."""
    return spec_of(key).called or key.partition(".")[2].replace("_", " ")


def doubt_words(told: Answered, system: UnitSystem) -> str:
    """Return the sentence that names what most of the doubt is and what measuring it would do; empty where there is
    none.
    """
    spread = told.spread
    if spread is None or not spread.sensitivities:
        return ""
    first = sorted(spread.sensitivities, key=lambda s: -s.first_order)
    names = [" with ".join(called(key) for key in s.inputs) for s in first]
    if first[0].first_order > 0.5:
        words, keys = f"most of the doubt is {names[0]}", first[0].inputs
    elif len(first) > 1 and first[0].first_order + first[1].first_order > 0.5:
        words, keys = f"most of the doubt is {names[0]} and {names[1]}", (*first[0].inputs, *first[1].inputs)
    else:
        words, keys = f"the doubt has many parts, the greatest is {names[0]}", first[0].inputs
    helping = [m for m in spread.measurements if m.key in keys and m.shrinks_by >= 0.1]
    tail = f": {_measure_words(helping[0])}" if helping else ""
    return f"{words[0].upper()}{words[1:]}{tail}."


def _measure_words(measured: Measurement) -> str:
    share = measured.shrinks_by
    what = "would halve the interval" if 0.45 <= share <= 0.55 else f"would shrink the interval by {100 * share:.0f} %"
    return f"{measured.how} (± {shown_width(measured)}) {what}"


def shown_width(measured: Measurement) -> str:
    """Return a measurement's ± in a unit that people read."""
    unit = spec_of(measured.key).unit
    return f"{figures(measured.plus_minus, 2)} K" if unit == "K" else shown_value(measured.plus_minus, unit)


def sure_rows(told: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    """Return how sure the answer is, as (name, text): intervals, probability, what the doubt is made of, what to
    measure.
    """
    spread = told.spread
    if spread is None:
        return []
    change, kind = _drawn_change(told)
    name = "change in fuel" if kind == told.fuel_kind else f"change in pack {told.power_kind}"
    heat = _drawn_heat(told)
    ranges = ranges_of(told.scenario)
    rows = []
    if spread.of == "fuel":
        rows += [
            (
                f"{name}, 90 % and 50 % interval",
                f"{_range_words(change, kind, system)}, {_range_words(change, kind, system, inner=True)}; median "
                f"{show(change[2], kind, system, digits=2)}",
            )
        ]
    rows += [
        (
            "heat, 90 % and 50 % interval",
            f"{_range_words(heat, told.power_kind, system)}, {_range_words(heat, told.power_kind, system, inner=True)}",
        ),
        ("probability that it saves", _probability_words(spread.probability_saves)),
    ]
    for s in spread.sensitivities[:4]:
        if s.total < 0.01:
            break
        known = ", ".join(f"{key} {_range_of(key, ranges)}" for key in s.inputs)
        rows.append(
            (
                "share of the doubt" if s is spread.sensitivities[0] else "",
                f"{100 * max(s.first_order, 0):.0f} % ± {max(1, round(100 * s.first_order_error))}: {known}",
            )
        )
    for m in [m for m in spread.measurements if m.shrinks_by >= 0.02][:3]:
        rows.append(
            (
                "what to measure next" if m is spread.measurements[0] else "",
                f"{m.key} to ± {shown_width(m)} by {m.how}: the interval shrinks by {100 * m.shrinks_by:.0f} %",
            )
        )
    return rows


def _range_of(key: str, ranges: dict[str, Uncertain]) -> str:
    value, unit = ranges[key], spec_of(key).unit
    return f"({shown_value(value.low, unit)} to {shown_value(value.high, unit)})"


def _probability_words(probability: float) -> str:
    if 0 < probability < 0.01:
        return "below 1 %"
    return "above 99 %" if 0.99 < probability < 1 else f"{100 * probability:.0f} %"


def _who_pays(found: Answer) -> str:
    if _f(found.inputs.road_speed_m_s) == 0:
        return "standing still, the wind pays for it"
    if np.any(np.asarray(found.inputs.longest_idle_s) > 0):  # a trip
        return "stops, wind, or what the brakes would have burnt pay for it"
    return "the engine is on overrun and the brakes would have burnt that power"


def _change_words(told: Answered, system: UnitSystem) -> str:
    """Return the change in fuel without its sign: "0.9 L/h more fuel (90 %: 0.6 to 1.3 L/h; +9 %, 0.9 L/100 km)"."""
    found = told.answer
    change = found.change
    interval = ""
    if told.spread is not None:
        drawn, kind = _drawn_change(told)
        # A saving is told as a positive number, and so are the ends of its interval.
        outward = drawn if _f(change.power_w) > 0 else tuple(-value for value in reversed(drawn))
        words = _range_words(outward, kind, system)
        interval = f"90 %: {words.removesuffix(f' {label(kind, system)}') if kind != 'power' else words}; "
    power, percent = _f(change.power_w), _f(change.percent)
    more = "more fuel" if power > 0 else "of fuel"
    share = f"{figures(percent, 2, signed=True)} %" if math.isfinite(percent) else ""
    if found.inputs.fuel is None:
        extra = [part for part in (share, _pack_distance_words(found, system)) if part]
        inside_pack = f"{interval}{', '.join(extra)}".removesuffix("; ")
        return (
            f"{show(abs(power) * told.over_s, told.power_kind, system)} {'more ' if power > 0 else ''}from the "
            f"battery pack{f' ({inside_pack})' if inside_pack else ''}"
        )
    inside = [share] if share else []
    per_distance = _f(change.volume_m3_per_m)
    if math.isfinite(per_distance):
        inside.append(_economy_words(found, system) or show(abs(per_distance), "fuel_per_distance", system))
    flow = show(abs(_f(change.volume_m3_s)) * told.over_s, told.fuel_kind, system, digits=2)
    all_inside = f"{interval}{', '.join(inside)}".removesuffix("; ")
    return f"{flow} {more}{f' ({all_inside})' if all_inside else ''}"


def kwh_per_100km(found: Answer) -> float:
    """Return the change in energy from the pack over the way, in kWh/100 km; NaN for fuel, or where it stands."""
    speed = _f(found.inputs.road_speed_m_s)
    if found.inputs.fuel is not None or speed <= 0:
        return math.nan
    return _f(found.change.power_w) / speed * 1e5 / 3.6e6


def _pack_distance_words(found: Answer, system: UnitSystem) -> str:
    per_distance = abs(kwh_per_100km(found))
    if not math.isfinite(per_distance):
        return ""
    if system == "metric":
        return f"{figures(per_distance, 2)} kWh/100 km"
    return f"{figures(per_distance * _MILE_M / 1e3, 2)} kWh/100 mi"


def mpg(found: Answer, system: UnitSystem) -> tuple[float, float] | None:
    """Return (without, working) miles per gallon, US or imperial; None where it has no meaning."""
    speed, fuel = _f(found.inputs.road_speed_m_s), found.inputs.fuel
    flows = [_f(s.supply.source_w) for s in (found.without, found.states["working"])]
    if fuel is None or speed <= 0 or min(flows) <= 0:
        return None
    gallon = _IMPERIAL_GALLON_M3 if system == "uk" else _US_GALLON_M3
    without, working = (speed / (flow / fuel.heating_value_j_per_m3) / _MILE_M * gallon for flow in flows)
    return without, working


def _economy_words(found: Answer, system: UnitSystem) -> str | None:
    pair = mpg(found, system) if system != "metric" else None
    return f"{pair[0]:.1f} to {pair[1]:.1f} mpg" if pair else None


def litres_per_kwh(found: Answer) -> float:
    """Return the extra fuel over the heat, in L per kWh; NaN without fuel or heat."""
    heat, volume = _f(found.turbine.heat_power_w), _f(found.change.volume_m3_s)
    return volume / heat * _LITRES_PER_KWH if heat > 0 else math.nan


def _per_heat(found: Answer, system: UnitSystem) -> str:
    if found.inputs.fuel is None:
        ratio = _f(found.change.power_w) / _f(found.turbine.heat_power_w)
        return f"{figures(ratio, 2)} kWh from the pack for each kWh of heat"
    return (
        f"{show(litres_per_kwh(found) / _LITRES_PER_KWH, 'fuel_per_heat', system).replace(' per kWh', '')} of "
        f"{found.inputs.fuel.name} per kWh of heat"
    )


def money_per_hour(told: Answered) -> tuple[float, str] | None:
    """Return the change in money per hour, for fuel or the pack's charge, and its currency; None without a price."""
    battery = told.answer.inputs.engine
    if isinstance(battery, Battery):
        tariff, drawn_w = told.scenario.prices.electricity, _f(told.answer.change.power_w)
        if tariff is None:
            return None
        return drawn_w / _f(battery.charging_efficiency) / 1e3 * tariff.amount, tariff.currency
    price, volume = told.scenario.prices.fuel, _f(told.answer.change.volume_m3_s)
    if price is None or not math.isfinite(volume):
        return None
    return volume * _LITRES_PER_HOUR * price.amount, price.currency


def cautions(told: Answered, system: UnitSystem) -> list[str]:
    """Return what could hurt someone, break, or make the answer wrong, the most pressing first."""
    found, scenario = told.answer, told.scenario
    turbine, limits = told.at_its_most, found.inputs.turbine
    said: list[str] = [*_limit_cautions(told, system)]
    radius = _f(limits.diameter_m) / 2
    if limits.curves is not None:
        if told.trip is not None and not bool(turbine.turning):
            said.append("The rotor never turns on this trip: it does not start, or its policy never lets it work.")
        if turbine.point is not None and not bool(turbine.turning):
            said.append(
                "The rotor does not start with the load connected: its torque at standstill is too small for cogging, "
                "friction and load. Its blades still drag."
            )
        if turbine.point is not None and bool(turbine.point.is_stalled):
            fast = np.nanmax(turbine.point.stable_speeds_rad_s)
            said.append(
                f"There are two steady speeds. Spun up from standstill the rotor stays at the slow, stalled one; the "
                f"fast one is {show(fast, 'rotor_speed', system)}. Connect the load after spin-up, or lower it."
            )
        if bool(turbine.beyond_data):
            said.append(
                f"The load is too light: the rotor would run past the last tip-speed ratio of the curves "
                f"({limits.curves.tip_speed_ratio[-1]:g}). The numbers there are carried on, not known."
            )
        free = _f(turbine.free_run_speed_rad_s)
        if free > 0 and limits.chain is not None:
            tip = free * radius
            if not free_run_is_told(limits.curves, limits.pitch_deg):
                said.append(
                    "The curves end before the power falls to zero: how fast the rotor runs with its load cut cannot "
                    "be told. Assume that it destroys itself."
                )
            elif tip > _f(limits.highest_tip_speed_m_s) or _above(free, limits.highest_rotor_speed_rad_s):
                said.append(
                    f"If the load is cut (a blown fuse, a loose plug) the rotor runs up to "
                    f"{show(free, 'rotor_speed', system)}, {show(tip, 'tip_speed', system)} at the tips, beyond its "
                    f"limit: provide a brake or feathering that needs no electricity."
                )
    elif bool(turbine.beyond_data):
        said.append("The air speed lies beyond the measured table: watts are carried on with the cube of air speed.")
    if told.trip is None and _f(turbine.stalled_torque_share) > STALL_SHARE_LIMIT:
        said.append(_stall_caution(told, system))
    if bool(turbine.thrust_floor):
        said.append(
            "The thrust of the curves with the factors for local air speed and interaction would be too small for the "
            "shaft power: the least drag that energy allows was used instead."
        )
    if limits.curves is not None and limits.curves.thrust_is_estimated:
        said.append(
            "Thrust is an estimate by momentum theory from the power coefficient; the drag, and so the fuel, can be "
            "off by a quarter."
        )
    for state in (found.without, found.states["working"]):
        if not bool(state.supply.enough_torque):
            said.append(
                f"The engine has not the torque for {'this speed' if told.trip is None else 'all of this trip'} "
                f"({state.state}): the fuel shown is that of a fuller throttle than it has."
            )
    if told.spread is not None and told.spread.of == "fuel":
        low, high = told.spread.change_w[0], told.spread.change_w[-1]
        if not low <= _f(found.change.power_w) <= high:
            said.append(
                "The answer of the values as stated lies outside the 90 % interval: some value stands at the end of "
                "its own range. The interval is the better guide."
            )
    said += [warning[0].upper() + warning[1:] + "." for warning in scenario.warnings]
    return said + _standing_cautions(told)


def _stall_caution(told: Answered, system: UnitSystem) -> str:
    """Return that the rotor works on stalled sections, and how far the heat may then be off."""
    factor = told.scenario.rotor.power_factor
    ends = answer(
        inputs_of(told.scenario, {"rotor.power_factor": np.array([factor.low, factor.high])})
    ).turbine.heat_power_w
    share = _f(told.answer.turbine.stalled_torque_share)
    low, high = (show(float(v), "power", system) for v in np.sort(ends))
    return (
        f"{share:.0%} of the torque comes from stalled sections: polars do not tell a stalled rotor's power. The heat "
        f"may lie "
        f"anywhere from {low} to {high}, the fuel accordingly. Another pitch or a lighter load would take it out of "
        f"stall."
    )


def _above(value: float, limit: Any) -> bool:
    return limit is not None and value > _f(limit)


def _limit_cautions(told: Answered, system: UnitSystem) -> list[str]:
    turbine, limits = told.at_its_most, told.answer.inputs.turbine
    tip = _f(turbine.rotor_speed_rad_s) * _f(limits.diameter_m) / 2
    current = math.nan if turbine.electrical is None else _f(turbine.electrical.current_a)
    checks = [
        ("Rotor speed", _f(turbine.rotor_speed_rad_s), limits.highest_rotor_speed_rad_s, "rotor_speed"),
        ("Blade tip speed", tip, limits.highest_tip_speed_m_s, "tip_speed"),
        ("Thrust", _f(turbine.thrust_n), limits.highest_thrust_n, "force"),
        ("Current", current, limits.highest_current_a, "current"),
        ("Power of the element", _f(turbine.heat_power_w), limits.rated_power_w, "power"),
    ]
    over_rating = (
        " Above its rating the element burns out or its cut-out opens, and a rotor without load speeds up: windtoll "
        "heat counts the heat up to the rating only."
    )
    return [
        f"{name} {show(value, kind, system)} is above its limit of {show(_f(limit), kind, system)}: do not run it so."
        f"{over_rating if kind == 'power' else ''}"
        for name, value, limit, kind in checks
        if _above(value, limit)
    ]


def _standing_cautions(told: Answered) -> list[str]:
    """Return the cautions that always hold."""
    turbine = told.at_its_most
    said = []
    volts = 0.0
    if turbine.electrical is not None and told.answer.inputs.turbine.chain is not None:
        chain = told.answer.inputs.turbine.chain
        free = _f(turbine.free_run_speed_rad_s) * _f(chain.ratio)
        from energy.electrical import SIX_PULSE_VOLTAGE_RATIO

        volts = (
            free * _f(chain.voltage_constant_v_s) * (SIX_PULSE_VOLTAGE_RATIO if chain.connection == "rectifier" else 1)
        )
    if volts > 50:
        said.append(
            f"With the load cut the generator gives up to {volts:.0f} V: treat it as mains. Touching it can kill; have "
            f"it wired, fused and checked by a licensed electrician to the local code."
        )
    said += [
        "A blade that fails is a projectile: keep people out of the rotor's plane, stop it in towns and near people, "
        "and check every fastening before each drive.",
        "This is an estimate for planning, no structural or roadworthiness approval: ask the authority and the insurer "
        "before driving with a rotor on a public road.",
        "The element and what it heats get hot enough to burn or boil: fit a thermostat, a thermal cut-out and, on a "
        "closed tank, a relief valve.",
    ]
    return said


def assumptions(told: Answered) -> tuple[Assumption, ...]:
    """Return the values that the answer used and the user did not give."""
    return told.answer.inputs.assumptions


def assumption_words(entry: Assumption) -> str:
    """Return an assumption as "key = value (range); source"."""
    if isinstance(entry.value, str):
        return f"{entry.key}: {entry.value}; {entry.source}"
    text = shown_value(entry.value, entry.unit)
    if entry.low is not None and entry.high is not None:
        text += f" ({shown_value(entry.low, entry.unit)} to {shown_value(entry.high, entry.unit)})"
    return f"{entry.key} = {text}; {entry.source}"


def as_data(told: Answered, system: UnitSystem = "metric") -> dict[str, Any]:
    """Return the answer as data for `--json`: SI but where the name says otherwise; what is no number becomes null."""
    return answer_model(told, system).model_dump()


def answer_model(told: Answered, system: UnitSystem = "metric") -> AnswerData:
    """Return the answer as typed data: every field with its unit and meaning."""
    from energy.words import answer_model as model

    found = told.answer
    turbine, per_heat = found.turbine, litres_per_kwh(told.answer)
    said = verdict(told, system)
    return model.AnswerData(
        windtoll=1,
        title=told.scenario.title,
        verdict=said.word,
        case=said.case,
        sentence=said.words,
        fuel_change=_fuel_change_model(told),
        interval=None if told.spread is None else spread_model(told.spread, told.scenario),
        matters_most=_matters_models(told.spread),
        measure_next=_measure_models(told.spread),
        electrical_power_w=_f(turbine.electrical_power_w),
        heat_power_w=_f(turbine.heat_power_w),
        fuel_per_heat_l_per_kwh=per_heat,
        heat_per_fuel_kwh_per_l=_inverse(per_heat),
        fuel_to_heat_efficiency=_ratio(_f(turbine.heat_power_w), _f(found.change.power_w)),
        rotor=_rotor_model(found),
        trip=_trip_model(told),
        states={name: _state_model(found, state) for name, state in found.states.items()},
        ledger=[model.LedgerRowData(account=a, name=n, watts=_f(w)) for a, n, w in found.ledger],
        ledger_without=[model.LedgerRowData(account=a, name=n, watts=_f(w)) for a, n, w in found.without.rows],
        ledger_residual_w=_f(found.states["working"].residual_w),
        break_even=model.BreakEvenData(
            head_wind_m_s=told.break_even_head_wind_m_s,
            alternator_path_efficiency=_f(turbine_efficiency_at_flywheel(found)),
        ),
        other_sources=[_other_model(told, name) for name in found.other_sources],
        conditions=_conditions_model(found),
        assumptions=assumption_models(assumptions(told)),
        cautions=cautions(told, system),
    )


def _fuel_change_model(told: Answered) -> FuelChangeData:
    from energy.words.answer_model import FuelChangeData

    found, change = told.answer, told.answer.change
    money, economy = money_per_hour(told), mpg(found, "us")
    return FuelChangeData(
        l_per_h=_f(change.volume_m3_s) * _LITRES_PER_HOUR,
        l_per_100km=_f(change.volume_m3_per_m) * 1e8,
        kwh_per_100km=kwh_per_100km(found),
        mpg_us_without=economy[0] if economy else None,
        mpg_us_working=economy[1] if economy else None,
        percent=_f(change.percent),
        power_w=_f(change.power_w),
        kg_co2_per_h=_f(change.co2_kg_s) * 3600,
        money_per_h=money[0] if money else None,
        currency=money[1] if money else None,
        calculated_load_points=_f(change.load_points),
        l_per_h_without_credit=_f(found.change_without_credit.volume_m3_s) * _LITRES_PER_HOUR,
        compared_with=found.compared_with,
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


def _rotor_model(found: Answer) -> RotorData:
    from energy.words.answer_model import RotorData

    turbine = found.turbine
    steady = () if turbine.point is None else turbine.point.stable_speeds_rad_s
    return RotorData(
        speed_rpm=_f(turbine.rotor_speed_rad_s) * 30 / math.pi,
        tip_speed_ratio=_f(turbine.tip_speed_ratio),
        tip_speed_m_s=_f(turbine.rotor_speed_rad_s) * _f(found.inputs.turbine.diameter_m) / 2,
        power_coefficient=_f(turbine.power_coefficient),
        thrust_coefficient=_f(turbine.thrust_coefficient),
        thrust_n=_f(turbine.thrust_n),
        drag_on_vehicle_n=_f(turbine.rotor_drag_n),
        drag_power_w=rotor_drag_power_w(found),
        shaft_power_w=_f(turbine.shaft_power_w),
        air_speed_m_s=_f(found.inputs.rotor_air_speed_m_s),
        yaw_deg=math.degrees(_f(found.inputs.air.yaw_rad)),
        free_run_rpm=_f(turbine.free_run_speed_rad_s) * 30 / math.pi,
        pitch_deg=_f(found.inputs.turbine.pitch_deg),
        stalled_torque_share=_f(turbine.stalled_torque_share),
        turning=bool(turbine.turning),
        steady_speeds_rpm=[float(v) * 30 / math.pi for v in steady if np.isfinite(v)],
    )


def _state_model(found: Answer, state: TripState) -> StateData:
    from energy.words.answer_model import StateData

    supply = state.supply
    return StateData(
        source_power_w=_f(supply.source_w),
        fuel_l_per_h=_flow(found, _f(supply.source_w)),
        wheel_power_w=_f(supply.wheel_w),
        engine_speed_rpm=_f(supply.engine_speed_rad_s) * 30 / math.pi,
        engine_torque_n_m=_f(supply.torque_n_m),
        gear=int(_f(supply.gear)),
        mount_drag_n=_f(state.mount_drag_n),
        rotor_drag_n=_f(state.rotor_drag_n),
    )


def _other_model(told: Answered, name: str) -> OtherSourceData:
    from energy.words.answer_model import OtherSourceData

    other = told.answer.other_sources[name]
    return OtherSourceData(
        name=other.name,
        fuel_l_per_h=_f(other.fuel_m3_s) * _LITRES_PER_HOUR,
        gas_l_per_h=_f(other.gas_m3_s) * _LITRES_PER_HOUR,
        mains_w=_f(other.mains_w),
        money_per_h=_other_money(told, name),
        note=other.note,
    )


def _conditions_model(found: Answer) -> ConditionsData:
    from energy.words.answer_model import ConditionsData

    inputs = found.inputs
    return ConditionsData(
        road_speed_m_s=_f(inputs.road_speed_m_s),
        grade=_f(inputs.grade),
        air_density_kg_m3=_f(inputs.density_kg_m3),
        air_speed_ahead_m_s=_f(inputs.air.ahead_m_s),
        air_speed_across_m_s=_f(inputs.air.across_m_s),
    )


def assumption_models(entries: Sequence[Assumption]) -> list[AssumptionData]:
    """Return values that were used and not given as typed data."""
    from energy.words.answer_model import AssumptionData

    return [
        AssumptionData(key=e.key, value=e.value, low=e.low, high=e.high, unit=e.unit, source=e.source) for e in entries
    ]


def _trip_model(told: Answered) -> TripTotalsData | None:
    """Return the totals of a trip; None for a steady drive."""
    from energy.words.answer_model import TripTotalsData

    trip, found = told.trip, told.answer
    if trip is None:
        return None
    total, fuel = trip.steps.total_s, found.inputs.fuel
    litres = math.nan if fuel is None else total / fuel.heating_value_j_per_m3 * 1e3
    kwh = total / 3.6e6
    return TripTotalsData(
        schedule=trip.name,
        duration_s=total,
        distance_m=trip.steps.distance_m,
        climb_m=trip.steps.climb_m,
        works=told.scenario.trip.works,
        works_share_of_time=trip.works_share,
        fuel_without_l=_f(found.without.supply.source_w) * litres,
        fuel_working_l=_f(found.states["working"].supply.source_w) * litres,
        fuel_change_l=_f(found.change.power_w) * litres,
        heat_kwh=_f(found.turbine.heat_power_w) * kwh,
        electrical_kwh=_f(found.turbine.electrical_power_w) * kwh,
        highest_rotor_speed_rpm=_f(trip.most.rotor_speed_rad_s) * 30 / math.pi,
        highest_thrust_n=_f(trip.most.thrust_n),
        highest_heat_power_w=_f(trip.most.heat_power_w),
    )


def spread_model(spread: OutcomeSpread, scenario: Scenario) -> IntervalData:
    """Return the intervals of draws as typed data."""
    from energy.words.answer_model import IntervalData, QuantilesData

    names = [f"p{100 * share:02.0f}" for share in QUANTILES]
    fuel = inputs_of(scenario).fuel
    litres = math.nan if fuel is None else _LITRES_PER_HOUR / fuel.heating_value_j_per_m3

    def quantiles(values: Sequence[float], factor: float = 1.0) -> QuantilesData:
        return QuantilesData.model_validate({n: v * factor for n, v in zip(names, values, strict=True)})

    return IntervalData(
        fuel_change_l_per_h=None if fuel is None else quantiles(spread.change_w, litres),
        fuel_change_power_w=quantiles(spread.change_w),
        heat_power_w=quantiles(spread.heat_w),
        probability_saves=spread.probability_saves,
        probability_costs=spread.probability_costs,
        draws=spread.draws,
        matters_most_for="fuel_change" if spread.of == "fuel" else "heat_power_w",
    )


def spread_data(spread: OutcomeSpread, scenario: Scenario) -> dict[str, Any]:
    """Return the intervals of draws as data."""
    return spread_model(spread, scenario).model_dump()


def _flow(found: Answer, power_w: float) -> float:
    return (
        math.nan if found.inputs.fuel is None else power_w / found.inputs.fuel.heating_value_j_per_m3 * _LITRES_PER_HOUR
    )


def _inverse(value: float) -> float:
    return 1 / value if math.isfinite(value) and value != 0 else math.nan


def _ratio(over: float, under: float) -> float:
    return over / under if abs(under) > 0.05 else math.nan


def _other_money(told: Answered, name: str) -> float | None:
    other, prices = told.answer.other_sources[name], told.scenario.prices
    total, known = 0.0, False
    for amount, price in (
        (_f(other.fuel_m3_s) * _LITRES_PER_HOUR, prices.fuel),
        (_f(other.gas_m3_s) * _LITRES_PER_HOUR, prices.gas),
        (_f(other.mains_w) / 1e3, prices.electricity),
    ):
        if math.isfinite(amount) and amount != 0:
            if not isinstance(price, Price) or (prices.fuel is not None and price.currency != prices.fuel.currency):
                return None
            total, known = total + amount * price.amount, True
    return total if known or name == "exhaust" else None


def ledger_lines(told: Answered, system: UnitSystem) -> list[tuple[str, str, str, str, str]]:
    """Return the ledger's rows as (account, name, without, working, difference), in watts as text."""
    found = told.answer
    working = {(a, n): _f(w) for a, n, w in found.ledger}
    without = {(a, n): _f(w) for a, n, w in found.without.rows}
    rows = []
    for key in dict.fromkeys([*working, *without]):
        there, here = without.get(key, 0.0), working.get(key, 0.0)
        if abs(there) < 0.05 and abs(here) < 0.05:
            continue
        rows.append((*key, _watts(there), _watts(here), _watts(here - there, signed=True)))
    return rows


def _watts(value: float, *, signed: bool = False) -> str:
    return "0" if abs(value) < 0.05 else f"{value:{'+' if signed else ''},.0f}".replace(",", "\u202f").replace("-", "−")


def key_numbers(told: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the numbers that a builder looks for, as (name, text)."""
    found = told.answer
    turbine, change = found.turbine, found.change
    drag_w = rotor_drag_power_w(found)
    if told.trip is not None:
        return [*_trip_numbers(told, told.trip, system), *_running_costs(told, system)]
    rows = [("air speed at the rotor", show(_f(found.inputs.rotor_air_speed_m_s), "speed", system))]
    if math.isfinite(_f(turbine.rotor_speed_rad_s)):
        tip = _f(turbine.rotor_speed_rad_s) * _f(found.inputs.turbine.diameter_m) / 2
        rows.append(
            (
                "rotor speed",
                f"{show(_f(turbine.rotor_speed_rad_s), 'rotor_speed', system)}, tip-speed ratio "
                f"{figures(_f(turbine.tip_speed_ratio), 3)}, tips {show(tip, 'tip_speed', system)}",
            )
        )
    rows += [
        (
            "power coefficient",
            f"{_f(turbine.power_coefficient):.3f} (Betz limit 0.593); thrust coefficient "
            f"{_f(turbine.thrust_coefficient):.2f}",
        ),
        (
            "thrust, and drag on the vehicle",
            f"{show(_f(turbine.thrust_n), 'force', system)}, {show(_f(turbine.rotor_drag_n), 'force', system)}",
        ),
        (
            "drag power paid, shaft power got",
            f"{show(drag_w, 'power', system)}, {show(_f(turbine.shaft_power_w), 'power', system)}",
        ),
        (
            "electrical power, heat",
            f"{show(_f(turbine.electrical_power_w), 'power', system)}, "
            f"{show(_f(turbine.heat_power_w), 'power', system)}",
        ),
    ]
    if turbine.electrical is not None:
        rows.append(
            (
                "element",
                f"{show(_f(turbine.electrical.element_voltage_v), 'voltage', system)}, "
                f"{show(_f(turbine.electrical.current_a), 'current', system)}",
            )
        )
    if found.inputs.fuel is not None:
        flows = [
            _f(s.supply.source_w) / found.inputs.fuel.heating_value_j_per_m3
            for s in (found.without, found.states["working"])
        ]
        pair = mpg(found, system)
        economy = f" ({pair[0]:.1f} and {pair[1]:.1f} mpg)" if pair and system != "metric" else ""
        rows.append(
            (
                f"fuel, {found.compared_with} and working",
                f"{show(flows[0], 'fuel_flow', system, digits=3)} and "
                f"{show(flows[1], 'fuel_flow', system, digits=3)}{economy}",
            )
        )
        rows.append(("CO2", f"{show(_f(change.co2_kg_s), 'co2_flow', system, signed=True)}"))
    return rows + _running_costs(told, system)


def rotor_drag_power_w(found: Answer) -> float:
    """Return the power (W) that the working rotor's drag takes at the wheels; over a trip its mean."""
    return -next(_f(w) for account, name, w in found.ledger if (account, name) == ("road", "rotor drag"))


def _trip_numbers(told: Answered, trip: TripAnswer, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the numbers of a trip: totals, then what the turbine does at its most."""
    found, steps, most = told.answer, trip.steps, trip.most
    total = steps.total_s

    def energy(power_w: float) -> str:
        return show(power_w * total, "energy", system)

    rows = [
        (
            "trip",
            f"{show(steps.distance_m, 'distance', system)} in {show(total, 'time', system)}, mean "
            f"{show(steps.distance_m / total, 'speed', system)}; turbine at work {100 * trip.works_share:.0f} % of the "
            f"time",
        ),
        (
            "drag energy paid, shaft energy got",
            f"{energy(rotor_drag_power_w(found))}, {energy(_f(found.turbine.shaft_power_w))}",
        ),
        (
            "electrical energy, heat",
            f"{energy(_f(found.turbine.electrical_power_w))}, {energy(_f(found.turbine.heat_power_w))}",
        ),
    ]
    if found.inputs.fuel is not None:
        volumes = [
            _f(s.supply.source_w) * total / found.inputs.fuel.heating_value_j_per_m3
            for s in (found.without, found.states["working"])
        ]
        rows.append(
            (
                f"fuel, {found.compared_with} and working",
                f"{show(volumes[0], 'volume', system)} and {show(volumes[1], 'volume', system)}; "
                f"{show(_f(found.change.volume_m3_s), 'fuel_flow', system, signed=True)} while it lasts",
            )
        )
        rows.append(("CO2", f"{show(_f(found.change.co2_kg_s), 'co2_flow', system, signed=True)}"))
    brakes = [
        -next((_f(w) for account, name, w in state.rows if (account, name) == ("road", "brakes")), 0.0)
        for state in (found.without, found.states["working"])
    ]
    rows.append(("burnt in the brakes, without and working", f"{energy(brakes[0])} and {energy(brakes[1])}"))
    tip = _f(most.rotor_speed_rad_s) * _f(found.inputs.turbine.diameter_m) / 2
    if math.isfinite(tip):
        rows.append(
            (
                "at its most",
                f"{show(_f(most.rotor_speed_rad_s), 'rotor_speed', system)}, tips {show(tip, 'tip_speed', system)}, "
                f"thrust {show(_f(most.thrust_n), 'force', system)}, heat "
                f"{show(_f(most.heat_power_w), 'power', system)}",
            )
        )
    return rows


def _running_costs(told: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    """Return money, load, efficiency, break-even and totals, as (name, text)."""
    found = told.answer
    turbine, change = found.turbine, found.change
    rows = []
    money = money_per_hour(told)
    if money:
        rows.append(("money", f"{figures(money[0], 3, signed=True)} {money[1]} per hour"))
    if math.isfinite(_f(change.load_points)) and _f(found.inputs.road_speed_m_s) > 0:
        rows.append(("calculated load on an OBD reader", f"{figures(_f(change.load_points), 2, signed=True)} points"))
    efficiency = _ratio(_f(turbine.heat_power_w), _f(change.power_w))
    if math.isfinite(efficiency) and efficiency > 0:
        rows.append(
            ("from fuel to heat", f"{figures(100 * efficiency, 2)} % of the extra fuel's energy arrives as heat")
        )
    rows += _break_even_rows(told, system)
    distance = told.scenario.trip.distance
    speed = _f(found.inputs.road_speed_m_s)
    if distance is not None and speed > 0:
        hours = distance.value / speed / 3600
        heat = _f(turbine.heat_power_w) * hours / 1e3
        fuel = (
            ""
            if found.inputs.fuel is None
            else f", {figures(_f(change.volume_m3_s) * _LITRES_PER_HOUR * hours, 3, signed=True)} L of fuel"
        )
        rows.append((f"over {show(distance.value, 'distance', system)}", f"{figures(heat, 3)} kWh of heat{fuel}"))
    return rows


def _break_even_rows(told: Answered, system: UnitSystem) -> list[tuple[str, str]]:
    found = told.answer
    rows = []
    if told.trip is None and _f(found.inputs.road_speed_m_s) > 0:
        wind = told.break_even_head_wind_m_s
        words = f"from {show(wind, 'speed', system)}" if math.isfinite(wind) else "not in any head wind up to 144 km/h"
        rows.append(("head wind that makes heat exceed drag power", words))
    efficiency = _f(turbine_efficiency_at_flywheel(found))
    path = _f(found.inputs.credit.path_efficiency)
    if math.isfinite(efficiency) and not isinstance(found.inputs.engine, Battery):
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


def other_lines(told: Answered, system: UnitSystem) -> list[tuple[str, str, str]]:
    """Return the other sources of the same heat as (name, what it takes, note)."""
    rows = []
    for name, other in told.answer.other_sources.items():
        takes = []
        if math.isfinite(_f(other.fuel_m3_s)):
            takes.append(
                f"{show(_f(other.fuel_m3_s), 'fuel_flow', system, signed=True)} of fuel"
                if _f(other.fuel_m3_s)
                else "no fuel"
            )
        if math.isfinite(_f(other.gas_m3_s)):
            takes.append(f"{show(_f(other.gas_m3_s), 'fuel_flow', system)} of liquid gas")
        if math.isfinite(_f(other.mains_w)):
            takes.append(f"{show(_f(other.mains_w), 'power', system)} of charge")
        money = _other_money(told, name)
        currency = next(
            (
                p.currency
                for p in (told.scenario.prices.fuel, told.scenario.prices.electricity, told.scenario.prices.gas)
                if p
            ),
            "",
        )
        if money:
            takes.append(f"{figures(money, 2)} {currency}/h")
        rows.append((other.name, ", ".join(takes) or "no way to make it", other.note))
    return rows


def rotor_sentence(told: Answered, system: UnitSystem) -> str:
    """Return what the rotor does, as a sentence."""
    turbine = told.answer.turbine
    air = show(_f(told.answer.inputs.rotor_air_speed_m_s), "speed", system)
    if not bool(turbine.turning):
        return f"At {air} of air the rotor does not turn; it drags {show(_f(turbine.rotor_drag_n), 'force', system)}."
    speed = _f(turbine.rotor_speed_rad_s)
    turns = f"turns at {show(speed, 'rotor_speed', system)}, " if math.isfinite(speed) else ""
    return (
        f"At {air} of air the rotor {turns}pushes back with {show(_f(turbine.thrust_n), 'force', system)} and gives "
        f"{show(_f(turbine.shaft_power_w), 'power', system)} at the shaft, of which "
        f"{show(_f(turbine.heat_power_w), 'power', system)} becomes heat in {told.scenario.heater.what}."
    )


def difference_sentence(before: Answered, after: Answered, system: UnitSystem) -> str:
    """Return what variant B does to the change in fuel and to the heat of variant A, as a sentence."""
    heat = _f(after.answer.turbine.heat_power_w) - _f(before.answer.turbine.heat_power_w)
    heat_words = f"{show(abs(heat), 'power', system)} {'more' if heat > 0 else 'less'} heat"
    if abs(heat) < 0.5:
        heat_words = "the same heat"
    if (before.answer.inputs.fuel is None) != (after.answer.inputs.fuel is None):
        return f"B makes {heat_words}; one variant burns fuel and the other does not, so their costs do not compare."
    if after.answer.inputs.fuel is None:
        cost = _f(after.answer.change.power_w) - _f(before.answer.change.power_w)
        words = show(abs(cost), "power", system) + " from the pack"
        nothing = abs(cost) < 0.5
    else:
        cost = _f(after.answer.change.volume_m3_s) - _f(before.answer.change.volume_m3_s)
        words = show(abs(cost), "fuel_flow", system)
        nothing = abs(cost) * _LITRES_PER_HOUR < 5e-5
    if nothing:
        return f"With B the turbine costs the same as with A and makes {heat_words}."
    return f"With B the turbine costs {words} {'more' if cost > 0 else 'less'} than with A and makes {heat_words}."


def lines(told: Answered, system: UnitSystem) -> Sequence[str]:
    """Return the verdict in words with its doubt, and its case, as two lines."""
    found = verdict(told, system)
    return (found.words, f"({found.case})")
