"""A heating in words and as data. Every number comes from `energy.heating`; nothing is computed here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from energy.chain.answer import Answered
from energy.chain.heating import SHARE, Heating, Trip, element_cap_w
from energy.chain.limits import heating_limits, in_order
from energy.heat.heater import HeatingOutcome
from energy.heat.steps import FloatArray
from energy.scenario.inputs import Assumption
from energy.words.cautions import of_the_file, of_the_same_answer
from energy.words.heat_limits import Remedy, element_surface_k, has_element, remedies
from energy.words.heat_limits import cautions as heater_cautions
from energy.words.verdict import (
    DO_NOT_OPERATE,
    LIKELY,
    OVER_RATING,
    FirstLines,
    conditions_line,
    danger_lines,
    doubts,
    likely_beyond,
    policy_words,
    too_many_watts,
    torque_on_trip,
)
from vehicle.constants import ZERO_CELSIUS_K
from vehicle.units import UnitSystem, figures, show, show_pair

if TYPE_CHECKING:
    from energy.words.heat_model import HeatedTripData, HistoryData
    from energy.words.result_model import EstimateData

_FOOD = ("vegetables", "fruit", "herbs", "potatoes", "meat", "dough")
_OVENS = ("small_electric_oven", "domestic_oven")
_TOO_HOT_FOR_WATER_K = ZERO_CELSIUS_K + 95.0

BAND_NOTE = "Line: the median of the simulations; band: their 90 % range."


def duration_words(seconds: float) -> str:
    """Return a duration as people say it: "45 s", "4.2 min", "54 min", "1 h 46 min", "33 h", "4.2 days"."""
    if not math.isfinite(seconds):
        return "never"
    if seconds < 90:
        return f"{figures(seconds, 2)} s"
    if seconds < 600:
        return f"{figures(seconds / 60, 2)} min"
    minutes = round(seconds / 60)
    if minutes < 100:
        return f"{minutes} min"
    if minutes < 600:
        return f"{minutes // 60} h {minutes % 60:02d} min"
    hours = seconds / 3600
    return f"{hours:.0f} h" if hours < 72 else f"{figures(hours / 24, 2)} days"


def interval(values: FloatArray) -> tuple[float, float] | None:
    """Return the ends that hold `SHARE` of the draws (all but entry 0); None without draws.

    A draw without a number counts as later, or more, than all others: an infinite end says "perhaps never".
    """
    if values.size < 2:
        return None
    drawn = np.where(np.isnan(values[1:]), np.inf, values[1:])
    low, high = np.quantile(drawn, [(1 - SHARE) / 2, (1 + SHARE) / 2], method="higher")
    return float(low), float(high)


_OR_MORE = "or more"  # of an end that has no number: an amount that grows for as long as the target is out of reach


def figure(values: FloatArray) -> float:
    """Return the figure that is shown: the median of the draws (all but entry 0), without draws the one as stated.

    NaN where half of the draws have no such number.
    """
    if values.size < 2:
        return float(values[0])
    middle = float(np.quantile(np.where(np.isnan(values[1:]), np.inf, values[1:]), 0.5, method="higher"))
    return middle if math.isfinite(middle) else math.nan


def reached_share(heating: Heating) -> float:
    """Return the share of the simulations that reach the target, on a trip within its time; as stated: 0 or 1."""
    reached = np.isfinite(heating.outcome.time_to_target_s)
    return float(np.mean(reached[1:])) if heating.drawn else float(reached[0])


def _range_words(values: FloatArray, one: Any, never: str = "perhaps never") -> str:
    """Return " (low to high)" of the draws, "" without draws or where they all say the same.

    `never` is said of an end that does not exist.
    """
    ends = interval(values)
    if ends is None:
        return ""
    return _between(ends, one, never)


def _between(ends: tuple[float, float], one: Any, never: str = "perhaps never") -> str:
    """Return " (low to high)", "" where both are the same; `never` is said of an end that does not exist."""
    low, high = (one(end) if math.isfinite(end) else None for end in ends)
    if low is None:
        return f" ({never})"
    if high is None:
        return f" ({low} or more)" if never == _OR_MORE else f" (from {low}, {never})"
    if low == high:
        return ""
    number, _, unit = low.partition(" ")
    same = high.partition(" ")[2] == unit and "h" not in unit.split()  # "42 to 87 min", but "1 h 26 min to 2 h 05 min"
    return f" ({number if same else low} to {high})"


def _temperature(system: UnitSystem) -> Any:
    return lambda kelvin: show(kelvin, "temperature", system)


def _power(system: UnitSystem) -> Any:
    return lambda watts: show(watts, "power", system)


_AS_LIKELY_AS_NOT, _LIKELY = 0.5, 0.95  # of the simulations reach the target: own rule, no source
DANGEROUS_SHARE = 0.05
"""Share of the simulations from which a danger is shown (common practice, no source)."""
_DRY_BURNS = "an element without water burns out and can start a fire."
_VALVE = "without a relief valve that opens the tank bursts."
_BURNS_OUT = "Above it the element burns out and can start a fire."
_COOLER_SURFACE = "an element of more surface or made for that heat, or a setting that takes less (windtoll match)"


def _boil_lines(heating: Heating, system: UnitSystem) -> tuple[list[str], list[str]]:
    """Return (dangers, warnings): a load that boils dry, a closed tank past boiling; as stated, or in simulations."""
    dangers, warnings, what = [], [], heating.scenario.heater.what
    dry = heating.watched.dry_from_s
    share = float(np.mean(np.isfinite(dry[1:]))) if heating.drawn else 0.0
    if heating.scenario.load.kind in _OVENS:  # a vessel in it boils dry: the element stands in air, not in the water
        if math.isfinite(dry[0]):
            after = duration_words(float(dry[0]))
            warnings.append(f"The water in {what} boils away after {after}: steam scalds, and a dry vessel burns.")
    elif math.isfinite(dry[0]):
        dangers.append(f"{_begun(what)} boils dry after {duration_words(float(dry[0]))}; {_DRY_BURNS}")
    elif share >= DANGEROUS_SHARE:
        warnings.append(f"Can boil dry: in {_percent(share)} of the simulations {what} does; {_DRY_BURNS}")
    if heating.load.closed_water:
        boiling = _boiling_k(heating)
        passes = f"passes {show(boiling, 'temperature', system)}"
        past = heating.watched.peak_temperature_k > boiling + 0.05
        share = float(np.mean(past[1:])) if heating.drawn else 0.0
        if bool(past[0]):
            dangers.append(f"The water in the closed tank {passes}; pressure builds up, and {_VALVE}")
        elif share >= DANGEROUS_SHARE:
            warnings.append(
                f"Can pass boiling: in {_percent(share)} of the simulations the water in the closed tank {passes}; "
                f"pressure builds up, and {_VALVE}"
            )
    return dangers, warnings


def _surface_lines(heating: Heating, system: UnitSystem) -> tuple[list[str], list[str]]:
    """Return (dangers, warnings): the element's surface above what it stands; as stated, or in simulations."""
    limit = heating.load.limits.surface_limit_k
    surface = element_surface_k(heating.load.heater, heating.watched)
    over = surface > limit  # of a limit that is not known none is
    if bool(over[0]):
        shown, most = show_pair(float(surface[0]), limit, "temperature", system)
        least = "" if has_element(heating.load.heater) else "of at least "  # that of what it heats
        return [f"Element surface {least}{shown} exceeds its limit of {most}. {_BURNS_OUT}"], []
    share = float(np.mean(over[1:])) if heating.drawn else 0.0
    if share < DANGEROUS_SHARE:
        return [], []
    most = show(limit, "temperature", system)
    can = f"Can burn out: in {_percent(share)} of the simulations the element's surface exceeds its limit of {most}"
    return [], [f"{can}. Remedy: {_COOLER_SURFACE}."]


def _without_thermostat_lines(heating: Heating, system: UnitSystem) -> list[str]:
    """Return that nothing ends the heating at the target; empty under a thermostat and where the power is too weak."""
    if heating.load.thermostat is not None or not _heats_past_target(heating):
        return []
    hot = _highest_words(heating, system, level=" (90 % range ")
    return [
        f"No thermostat: this power, kept up, heats {heating.scenario.heater.what} to {hot}. Fit a thermostat, and a "
        "second cut-out apart from it."
    ]


def _heats_past_target(heating: Heating) -> bool:
    """Return whether this power, kept up as stated, takes the load well past its target."""
    highest = float(heating.outcome.highest_temperature_k[0])
    return not math.isfinite(highest) or highest > heating.outcome.target_k[0] + 5


def _over_rating_lines(heating: Heating, system: UnitSystem) -> list[str]:
    """Return that more than the element's rating goes in, in simulations of a steady drive that as stated keeps it."""
    cap_w = element_cap_w(heating.load)
    share = float(np.mean(heating.power_w[1:] > cap_w)) if heating.drawn else 0.0
    if heating.trip is not None or share < DANGEROUS_SHARE or heating.power_w[0] > cap_w:
        return []
    at_risk = () if heating.stall is None else heating.stall.at_risk
    if any(one.limit.key == "heater.rated_power" and one.share > LIKELY for one in at_risk):  # a danger says it
        return []
    return [
        f"Can exceed the element's rating: in {_percent(share)} of the simulations more than "
        f"{show(cap_w, 'power', system)} goes into it.{OVER_RATING}"
    ]


def _begun(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _ranged(values: FloatArray, one: Any, never: str = "perhaps never") -> str:
    """Return the range as a first line writes it, with its level: " (90 % range 51 min to 1 h 56 min)"."""
    return _range_words(values, one, never).replace("(", "(90 % range ", 1)


def first_lines(heating: Heating, system: UnitSystem) -> FirstLines:
    """Return the first lines of a heating: what is dangerous, when it is hot, one number a line."""
    broken, stated = in_order(heating_limits(heating)), _answered(heating)
    boils, warnings = _boil_lines(heating, system)
    burns, hot = _surface_lines(heating, system)
    over = danger_lines(broken, broken, system) or likely_beyond(heating.stall, system)
    # What the limits ask to change stands after all dangers.
    dangers = [*over[:-1], *burns, *boils, *over[-1:]]
    if (burns or boils) and not over:
        dangers[0] = f"{DO_NOT_OPERATE} {dangers[0]}"
    if burns:
        dangers.append(f"What to change: {_COOLER_SURFACE}.")
    if boils:
        dangers.append("What to change: fit a thermostat set below boiling, and a second cut-out apart from it.")
    else:
        warnings += _without_thermostat_lines(heating, system)
    warnings += [*hot, *_over_rating_lines(heating, system)]
    headline, more = _answer_lines(heating, system)
    heat = _heat_words(heating, system).replace("(", "(90 % range ", 1)
    mean = "" if heating.trip is None else ", mean of the trip"
    return FirstLines(
        dangers=tuple(dangers),
        warnings=(*_doubts(heating, system), *warnings),
        headline=headline,
        lines=(
            _case_line(heating, system),
            *(() if stated is None else torque_on_trip(stated)),
            f"Heat into {heating.scenario.heater.what}{mean}: {heat}",
            *more,
        ),
        operate="no" if dangers else "not checked",
    )


def _answered(heating: Heating) -> Answered | None:
    """Return the answer that a heating rests on, at its speed or over its trip; None under a wattmeter's log."""
    if heating.over_trip is not None:
        trip = heating.over_trip
        return Answered(heating.scenario, trip.mean, math.nan, trip=trip, trip_stall=heating.trip_stall)
    if heating.trip is not None:
        return None
    return Answered(heating.scenario, heating.answer, math.nan, heating.spread, stall=heating.stall)


def _doubts(heating: Heating, system: UnitSystem) -> tuple[str, ...]:
    """Return what makes the numbers of a heating doubtful; of a wattmeter's log that of the fuel alone."""
    stated = _answered(heating)
    if stated is not None:
        return doubts(stated, system)
    return () if heating.hardest is None else too_many_watts(heating.answer.inputs, heating.hardest)


def dangers(heating: Heating, system: UnitSystem) -> list[str]:
    """Return what this heating breaks, burns out or bursts, and what to change; empty where it does not."""
    return list(first_lines(heating, system).dangers)


def steady_lines(steady: Heating, system: UnitSystem) -> list[str]:
    """Return the answer of a steady cruise, to be read next to that of a trip."""
    first = first_lines(steady, system)
    return [*first.dangers, first.headline, *first.lines]


def _case_line(heating: Heating, system: UnitSystem) -> str:
    """Return where and when: at the steady speed, or on the trip."""
    if heating.trip is None:
        return conditions_line(Answered(heating.scenario, heating.answer, math.nan), system)
    often = f", driven {heating.trip.repeats} times" if heating.trip.repeats > 1 else ""
    if heating.trip.power_w is None:
        policy = policy_words(heating.scenario, system)
    else:  # a log shows what it did
        share = heating.trip.logged_work_share
        policy = "" if share == 1 else f", at work {_percent(share)} of the time"
    return f"On {heating.trip.name} ({duration_words(heating.trip.seconds)}{often}){policy}"


def _boiling_k(heating: Heating) -> float:
    from energy.heat.water import boiling_point_k

    return float(boiling_point_k(heating.load.heater.pressure_pa))


def _warmth(heating: Heating, system: UnitSystem) -> Any:
    """Return what shows a temperature of the load on its way: none beyond that of its boiling water.

    What a dry vessel or steam under pressure does is not computed.
    """
    plain, boiling = _temperature(system), _boiling_k(heating)
    if heating.load.closed_water:
        return lambda kelvin: "past boiling" if kelvin > boiling + 0.05 else plain(kelvin)
    if bool(np.any(np.asarray(heating.load.heater.water_kg) > 0)):
        return lambda kelvin: "boiled dry" if kelvin > boiling + 0.05 else plain(kelvin)
    return plain


def _heat_words(heating: Heating, system: UnitSystem) -> str:
    """Return the heat with its range; at a steady speed the same as the answer's."""
    heat, power, cap_w = heating.heat_w, _power(system), element_cap_w(heating.load)
    capped = ""
    if heating.trip is None and heat.ends[1] > cap_w:
        capped = f"; the time counts no more than the element's rating, {power(cap_w)}"
    return power(heat.estimate) + _between(heat.ends, power) + capped


def _answer_lines(heating: Heating, system: UnitSystem) -> tuple[str, tuple[str, ...]]:
    """Return the headline, whether and when the target is reached, and the numbers that go with it."""
    outcome, temperature = heating.outcome, _temperature(system)
    target, start = float(outcome.target_k[0]), float(outcome.history.main_k[0, 0])
    wanted = temperature(target)
    if start >= target:
        return f"{wanted} needs no heating: it starts at {temperature(start)}.", ()
    share, reason = reached_share(heating), str(outcome.reason[0])
    if share >= _AS_LIKELY_AS_NOT and math.isfinite(figure(outcome.time_to_target_s)):
        return _reached_lines(heating, system, share)
    if reason == "boiling":
        boiling = temperature(_boiling_k(heating))
        if heating.load.closed_water:
            return f"{wanted} is never reached: past {boiling} a closed tank is under pressure and its valve opens.", ()
        steam = "Steam and boiling water scald: leave the steam a free way out, and set the thermostat below boiling"
        return f"{wanted} is never reached: the water boils at {boiling}, whatever the power.", (steam,)
    as_stated = _as_stated_line(heating)
    if heating.trip is not None and (reason == "time" or _gets_there_share(heating) >= DANGEROUS_SHARE):
        within = f"unlikely to be reached in that time ({_percent(share)})"
        never = "not reached in that time"
        return f"{wanted} is {never if share < DANGEROUS_SHARE else within}.", (
            *as_stated,
            _ends_words(heating, system),
        )
    if figure(outcome.available_power_w) < 0.5 and share < DANGEROUS_SHARE:
        return f"{wanted} is never reached: the turbine gives no power.", ()
    headline, lines = _too_weak(heating, system)
    return headline, (*as_stated, *lines)


def _gets_there_share(heating: Heating) -> float:
    """Return the share of the simulations whose power holds the target, however long it takes."""
    reachable = heating.outcome.reachable
    return float(np.mean(reachable[1:] if heating.drawn else reachable))


def _reached_lines(heating: Heating, system: UnitSystem, share: float) -> tuple[str, tuple[str, ...]]:
    """Return the headline and numbers of a target that at least half of the simulations reach."""
    outcome, temperature = heating.outcome, _temperature(system)
    time, cost = outcome.time_to_target_s, _cost_words(heating, system)
    inside = _ranged(time, duration_words)
    if share < _LIKELY:
        chance = f"reached at all in {_percent(share)} of the simulations"
        inside = f"{inside[:-1]}; {chance})" if inside else f" ({chance})"
    lines = [f"Start: {temperature(float(outcome.history.main_k[0, 0]))}"]
    if not math.isfinite(time[0]):
        lines.append("At the stated values it is not reached")
    target = temperature(float(outcome.target_k[0]))
    if cost:
        lines.append(f"{_cost_name(heating)} until {target}: {cost}")
    return f"{target} in {duration_words(figure(time))}{inside}", tuple(lines)


def _as_stated_line(heating: Heating) -> tuple[str, ...]:
    """Return that the stated values reach a target that most of the simulations do not."""
    time = float(heating.outcome.time_to_target_s[0])
    return (f"At the stated values it is reached in {duration_words(time)}",) if math.isfinite(time) else ()


def _too_weak(heating: Heating, system: UnitSystem) -> tuple[str, tuple[str, ...]]:
    """Return the headline and numbers of a power that does not hold the target."""
    outcome, temperature = heating.outcome, _warmth(heating, system)
    wanted = _temperature(system)(float(outcome.target_k[0]))
    share = _gets_there_share(heating)
    headline = f"{wanted} is never reached."
    if share >= DANGEROUS_SHARE:
        chance = "unlikely to be reached" if share < 0.5 else "about as likely as not to be reached"
        headline = f"{wanted} is {chance} ({_percent(share)})."
    kept_up = "" if heating.trip is None else ", kept up for ever,"
    ends, missing = outcome.highest_temperature_k, outcome.holding_power_w - outcome.available_power_w
    lines = [f"This power{kept_up} ends at {temperature(figure(ends))}{_ranged(ends, temperature)}"]
    if figure(missing) > 0:
        lines.append(f"{show(figure(missing), 'power', system)} more would hold {wanted}")
    return headline, tuple(lines)


def _cost_name(heating: Heating) -> str:
    return "Fuel" if math.isnan(heating.pack_j[0]) else "Battery energy"


def _ends_words(heating: Heating, system: UnitSystem) -> str:
    outcome, temperature = heating.outcome, _warmth(heating, system)
    peak, final = outcome.peak_temperature_k, outcome.final_temperature_k
    text = f"It ends at {temperature(figure(final))}{_ranged(final, temperature)}"
    if figure(peak) > figure(final) + 0.5:
        text += f", after {temperature(figure(peak))} at most"
    if math.isfinite(heating.reached_if_repeated_s):
        return (
            f"{text}. Driven again and again without a pause it would get there after about "
            f"{duration_words(heating.reached_if_repeated_s)} (at the stated values)."
        )
    if not bool(outcome.reachable[0]):
        return text
    if heating.trip is None:
        return f"{text}; kept up, this power would get there in the end."
    return f"{text}; its mean power, kept up, would get there in the end."


def _cost_words(heating: Heating, system: UnitSystem) -> str:
    """Return what the turbine costs until the target, "" where that is not known."""
    volume, pack = heating.fuel_m3, heating.pack_j
    if math.isfinite(figure(pack)):
        return f"{_signed(figure(pack), 'energy', system)} from the battery pack" + _ranged(
            pack, lambda v: show(v, "energy", system), _OR_MORE
        )
    fuel = heating.answer.inputs.fuel
    if not math.isfinite(figure(volume)) or fuel is None:
        return ""
    if abs(figure(volume)) < 1e-9:
        return "none"
    return f"{_signed(figure(volume), 'volume', system)} {fuel.in_words}" + _ranged(
        volume, lambda v: show(v, "volume", system), _OR_MORE
    )


def _signed(value: float, kind: str, system: UnitSystem) -> str:
    return f"{show(abs(float(value)), kind, system, digits=2)} {'more' if value > 0 else 'less'}"


def key_numbers(heating: Heating, system: UnitSystem) -> list[tuple[str, str]]:
    """Return (name, text) rows of the figures."""
    outcome = heating.outcome
    temperature, power = _temperature(system), _power(system)
    reached = figure(outcome.time_to_target_s) > 0  # not at the start already; False for NaN
    name = "power into the load" if heating.trip is None else "mean power into the load"
    rows = [(name, _heat_words(heating, system))]
    rows += _warmth_rows(heating, system)
    if reached:
        time = outcome.time_to_target_s
        words = duration_words(figure(time)) + _range_words(time, duration_words)
        rows.append((f"time to {temperature(outcome.target_k[0])}", words))
    rows.append(("highest temperature it can reach", _highest_words(heating, system)))
    hold = outcome.holding_power_w
    if math.isfinite(figure(hold)):
        words = power(figure(hold)) + _range_words(hold, power) if figure(hold) >= 0 else "none: it is warmer around it"
        rows.append((f"power that holds {temperature(outcome.target_k[0])}", words))
    if reached:
        rows += _cost_rows(heating, system)
    return [*rows, *_whole_trip_rows(heating, system), *_load_rows(heating, system)]


def _warmth_rows(heating: Heating, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the temperatures on a trip."""
    if heating.trip is None:
        return []
    warmth, outcome = _warmth(heating, system), heating.outcome
    ways = (("hottest on the way", outcome.peak_temperature_k), ("at the end of the trip", outcome.final_temperature_k))
    return [(name, warmth(figure(values)) + _range_words(values, warmth)) for name, values in ways]


def _cost_rows(heating: Heating, system: UnitSystem) -> list[tuple[str, str]]:
    """Return energy and fuel until the target is reached."""
    energy = heating.outcome.energy_to_target_j
    words = show(figure(energy), "energy", system) + _range_words(energy, lambda v: show(v, "energy", system), _OR_MORE)
    rows = [("energy to get there", words)]
    cost = _cost_words(heating, system)
    if cost:
        rows.append(
            ("fuel to get there" if math.isnan(heating.pack_j[0]) else "pack to get there", cost + _money(heating))
        )
    elif heating.trip is not None:
        rows.append(("fuel to get there", f"not known: {heating.trip.name} has no column speed"))
    return rows


def _whole_trip_rows(heating: Heating, system: UnitSystem) -> list[tuple[str, str]]:
    """Return what the whole trip takes from tank or battery pack."""
    if heating.trip is None:
        return []

    def _in(values: FloatArray, kind: str) -> str:
        return _range_words(values, lambda v: show(v, kind, system, digits=2))

    taken = (("fuel", heating.over_trip_fuel_m3, "volume"), ("pack", heating.over_trip_pack_j, "energy"))
    return [
        (f"{name} over the whole trip", f"{_signed(figure(values), kind, system)} with the turbine{_in(values, kind)}")
        for name, values, kind in taken
        if math.isfinite(figure(values))
    ]


def _load_rows(heating: Heating, system: UnitSystem) -> list[tuple[str, str]]:
    """Return what the load is like, and what its water and thermostat do."""
    load, watched = heating.load, heating.watched
    capacity = show(_stated(load.heater.heat_capacity_j_k), "heat_capacity", system)
    rows = [("heat capacity, contents included", capacity)]
    times = (
        ("time constant (63 % of a cool-down)", heating.time_constant_s),
        ("the water boils after", watched.boiling_from_s[0]),
        ("boiled dry after", watched.dry_from_s[0]),
    )
    rows += [(name, duration_words(float(seconds))) for name, seconds in times if math.isfinite(seconds)]
    switchings = int(watched.switchings[0])
    if load.thermostat is not None and switchings > 0:
        within = duration_words(watched.history.time_s[-1])
        rows.append(("the thermostat switches", f"{switchings} time{'s' if switchings > 1 else ''} in {within}"))
    return rows


def _stated(value: Any) -> float:
    return float(np.ravel(np.asarray(value, dtype=float))[0])


def _highest_words(heating: Heating, system: UnitSystem, *, ranged: bool = True, level: str = " (") -> str:
    outcome = heating.outcome
    highest = figure(outcome.highest_temperature_k)
    if not math.isfinite(highest):
        return "no end: the load loses nothing"
    if heating.load.closed_water and highest > _TOO_HOT_FOR_WATER_K:
        return "far past boiling, if no thermostat or relief valve ends it"
    text = show(highest, "temperature", system)
    if bool(np.any(np.asarray(heating.load.heater.water_kg) > 0)) and _boils_at(heating, highest):
        return f"{text}: there the water boils"
    inside = _range_words(outcome.highest_temperature_k, _temperature(system)) if ranged else ""
    return text + inside.replace(" (", level, 1)


def _boils_at(heating: Heating, highest_k: float) -> bool:
    return highest_k > _boiling_k(heating) - 0.01


def _money(heating: Heating) -> str:
    battery, tariff = heating.scenario.battery, heating.scenario.prices.electricity
    if battery is not None:
        if tariff is None or not math.isfinite(figure(heating.pack_j)):
            return ""
        charged_kwh = figure(heating.pack_j) / battery.charging_efficiency.value / 3.6e6
        return f", {figures(charged_kwh * tariff.amount, 2, signed=True)} {tariff.currency}"
    price, volume = heating.scenario.prices.fuel, figure(heating.fuel_m3)
    if price is None or not math.isfinite(volume) or abs(volume) < 1e-9:
        return ""
    return f", {figures(volume * 1e3 * price.amount, 2, signed=True)} {price.currency}"


def what_would_help(heating: Heating, system: UnitSystem) -> list[Remedy]:
    """Return what would make the target reachable, as stated; empty where it is."""
    return remedies(heating.load.heater, heating.outcome, system=system)


def cautions(heating: Heating, system: UnitSystem) -> list[str]:
    """Return what could hurt someone or break here, the most pressing first."""
    load = heating.load
    said = _cautions_of_its_answer(heating, system)
    said += of_the_file(heating.scenario)
    offered, cap = float(np.max(heating.answer.turbine.heat_power_w)), element_cap_w(load)
    if heating.trip is None and offered > cap:
        said.append(
            f"The turbine offers {show(offered, 'power', system)}, the element stands {show(cap, 'power', system)}: "
            f"the "
            "answer counts no more than that, but a real element takes all and burns out. Match it first (windtoll "
            "match)."
        )
    said += heater_cautions(
        load.heater,
        heating.watched,
        limits=load.limits,
        thermostat=load.thermostat,
        immersed=heating.scenario.load.kind not in _OVENS,
        system=system,
    )
    if load.closed_water:
        said.append(
            "A closed tank bursts without a temperature and pressure relief valve, piped to where it scalds nobody: "
            "have it "
            "fitted to the local code. Never close its outlet."
        )
    if _heats_past_target(heating):
        on = _highest_words(heating, system, ranged=False)
        who = "Without a thermostat" if load.thermostat is None else "If the thermostat sticks"
        said.append(
            f"{who} this power goes on heating (to {on}): fit a thermal cut-out of its own that has to be reset by "
            f"hand."
        )
    said.append(
        "One temperature for all of it is assumed: near the element it is hotter."
        if load.heater.second_node is None
        else "Two temperatures are assumed: within each part it is hotter in places."
    )
    said.append("For the rotor, its voltage with the load cut, and the road: see the cautions of windtoll answer.")
    return said


def notes(heating: Heating, system: UnitSystem) -> list[str]:
    """Return how the answer was got, where that matters."""
    said, trip = [], heating.trip
    if heating.drawn:
        said.append(
            f"Ranges in brackets hold {100 * SHARE:.0f} % of {heating.drawn} simulations over all that is uncertain "
            f"{'in the load.' if trip is not None and trip.power_w is not None else 'in load and power.'}"
        )
        never = 1 - float(np.mean(heating.outcome.reachable[1:]))
        if 0 < never < 1 and bool(heating.outcome.reachable[0]):
            said.append(
                f"In {_percent(never)} of the simulations the target would never be reached, however long this went on."
            )
        within = float(np.mean(np.isfinite(heating.outcome.time_to_target_s[1:])))
        if heating.trip is not None and 0 < within < 1:
            said.append(f"In {_percent(within)} of the simulations the target is reached in that time.")
    if heating.scenario.load.contents in _FOOD:
        said.append(
            "Warming the food is counted, drying it is not: each litre (quart) of water that leaves it takes about "
            "0.7 kWh more."
        )
    if heating.trip is not None:
        said += heating.trip.remarks
        said += _fuel_of_log_note(heating.trip, system)
        if heating.trip.power_w is None:
            said.append(
                "The power at each speed is that of the steady turbine; a rotor needs some seconds to follow. Braking "
                "and "
                "speeding up count in the fuel: on overrun the drag is free."
            )
    return said


def _cautions_of_its_answer(heating: Heating, system: UnitSystem) -> list[str]:
    """Return what makes the numbers of its answer weaker; of the element's rating the warnings speak."""
    stated = _answered(heating)
    if stated is None:
        return []
    if stated.stall is not None:
        others = tuple(one for one in stated.stall.at_risk if one.limit.key != "heater.rated_power")
        stated = replace(stated, stall=replace(stated.stall, at_risk=others))
    return of_the_same_answer(stated, system)


def _fuel_of_log_note(trip: Trip, system: UnitSystem) -> list[str]:
    """Return by what rule a wattmeter's log with speeds charges fuel; empty for other trips."""
    if trip.power_w is None or trip.speed_m_s is None:
        return []
    from_w = show(trip.works_from_w, "power", system, digits=2)
    return [
        "The fuel is that of the calculated turbine at the logged speeds: working where the log shows more than "
        f"{from_w} (1 % of its highest power), stowed elsewhere, gaps included."
    ]


def _percent(share: float) -> str:
    percent = 100 * share
    return "less than 1 %" if percent < 1 else "more than 99 %" if percent > 99 else f"{percent:.0f} %"


def assumptions(heating: Heating) -> list[Assumption]:
    """Return the values that were used and not given: the load's own first, then those of the power into it."""
    own = {entry.key for entry in heating.load.assumptions}
    # What the ledger read beside, for other ways to the same heat, plays no part here.
    return [
        *heating.load.assumptions,
        *(a for a in heating.answer.inputs.assumptions if a.key not in own and not a.key.startswith("other_")),
    ]


def as_data(
    heating: Heating, system: UnitSystem = "metric", *, steady: Heating | None = None, written: Sequence[str] = ()
) -> dict[str, Any]:
    """Return the answer as data for `--json`: SI but where the name says otherwise; what is no number becomes null."""
    from energy.words.answer import assumption_models
    from energy.words.heat_model import FiguresData, HeatData, RemedyData

    first = first_lines(heating, system)
    return HeatData(
        mode=_mode(heating),
        safe=False if first.dangers else None,
        dangers=list(first.dangers),
        warnings=list(first.warnings),
        headline=first.headline,
        sentence=first.sentence,
        may_be_operated=first.operate,
        **_figures(heating),
        remedies=[RemedyData.model_validate(vars(one)) for one in what_would_help(heating, system)],
        trip=_trip_data(heating),
        steady_cruise=None if steady is None else FiguresData(**_figures(steady)),
        history=_history_data(heating),
        notes=notes(heating, system),
        assumptions=assumption_models(assumptions(heating)),
        cautions=cautions(heating, system),
        written=list(written),
    ).model_dump()


def _trip_data(heating: Heating) -> HeatedTripData | None:
    from energy.words.heat_model import HeatedTripData

    if heating.trip is None:
        return None
    return HeatedTripData(
        name=heating.trip.name,
        duration_s=heating.trip.seconds,
        repeats=heating.trip.repeats,
        fuel_l=float(heating.over_trip_fuel_m3[0]) * 1e3,
        fuel_l_interval=_interval_data(heating.over_trip_fuel_m3 * 1e3),
        pack_kwh=float(heating.over_trip_pack_j[0]) / 3.6e6,
        pack_kwh_interval=_interval_data(heating.over_trip_pack_j / 3.6e6),
        reached_if_repeated_s=heating.reached_if_repeated_s,
        remarks=list(heating.trip.remarks),
    )


def _history_data(heating: Heating) -> HistoryData:
    from energy.words.heat_model import HistoryData
    from energy.words.result_model import EstimatesData

    def degc(values: FloatArray) -> list[float]:
        return [round(float(v) - ZERO_CELSIUS_K, 3) for v in values]

    band = heating.band
    return HistoryData(
        time_s=[round(float(v), 1) for v in band.time_s],
        temperature_degc=EstimatesData(
            estimate=degc(band.middle_k), low=degc(band.low_k), high=degc(band.high_k), level=SHARE
        ),
    )


def _mode(heating: Heating) -> Literal["steady", "trip", "power_log"]:
    if heating.trip is None:
        return "steady"
    return "trip" if heating.trip.power_w is None else "power_log"


def _figures(heating: Heating) -> dict[str, Any]:
    """Return the fields of `FiguresData`."""
    outcome = heating.outcome
    data: dict[str, Any] = {
        "reachable": bool(outcome.reachable[0]),
        "reached": math.isfinite(outcome.time_to_target_s[0]),
        "reachable_share": float(np.mean(outcome.reachable[1:] if heating.drawn else outcome.reachable)),
        "reason": str(outcome.reason[0]),
    }
    for key, values in _drawn_figures(heating, outcome).items():
        data |= {key: None if values is None else float(values[0]), f"{key}_interval": _interval_data(values)}
    return data | {
        "target_temperature_degc": float(outcome.target_k[0]) - ZERO_CELSIUS_K,
        "start_temperature_degc": float(outcome.history.main_k[0, 0]) - ZERO_CELSIUS_K,
        "ambient_temperature_degc": float(outcome.ambient_k[0]) - ZERO_CELSIUS_K,
        "heat_capacity_j_k": _stated(heating.load.heater.heat_capacity_j_k),
        "loss_w_k": _stated(heating.load.heater.loss_w_k),
        "time_constant_s": heating.time_constant_s,
        "boiling_from_s": float(heating.watched.boiling_from_s[0]),
        "dry_from_s": float(heating.watched.dry_from_s[0]),
        "thermostat_switchings": int(heating.watched.switchings[0]),
        "draws": heating.drawn,
    }


def _interval_data(values: FloatArray | None) -> EstimateData | None:
    from energy.words.result_model import ends_data

    ends = None if values is None else interval(values)
    return None if values is None or ends is None else ends_data((ends[0], figure(values), ends[1]), SHARE)


def _drawn_figures(heating: Heating, outcome: HeatingOutcome) -> dict[str, FloatArray | None]:
    """Return the figures that have intervals, each an entry a draw; None where the drive has no such figure."""
    trip = heating.trip is not None
    return {
        "power_w": outcome.available_power_w,
        "time_to_target_s": outcome.time_to_target_s,
        "highest_temperature_degc": _of_water(heating, outcome.highest_temperature_k) - ZERO_CELSIUS_K,
        "holding_power_w": outcome.holding_power_w,
        "energy_to_target_kwh": outcome.energy_to_target_j / 3.6e6,
        "fuel_to_target_l": heating.fuel_m3 * 1e3,
        "pack_energy_to_target_kwh": heating.pack_j / 3.6e6,
        "shortfall_w": outcome.shortfall_w,
        "peak_temperature_degc": _of_water(heating, outcome.peak_temperature_k) - ZERO_CELSIUS_K if trip else None,
        "final_temperature_degc": _of_water(heating, outcome.final_temperature_k) - ZERO_CELSIUS_K if trip else None,
    }


def _of_water(heating: Heating, values: FloatArray) -> FloatArray:
    """Return temperatures of a load, NaN where its water would have boiled away or be steam under pressure."""
    holds = heating.load.closed_water or bool(np.any(np.asarray(heating.load.heater.water_kg) > 0))
    return np.where(values > _boiling_k(heating) + 0.05, np.nan, values) if holds else values
