"""In which wind, on which descent, and standing where the turbine pays: sentences, rows and data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from energy.chain.costs import Way
from energy.scenario.inputs import inputs_of
from energy.words.verdict import FirstLines, danger_lines, stall_lines
from vehicle.quantity import Estimate
from vehicle.units import UnitSystem, figures, show, to_user

if TYPE_CHECKING:
    from energy.chain.payback import Payback, PayMap
    from energy.scenario.read import Scenario


def first_lines(result: Payback, scenario: Scenario, system: UnitSystem) -> FirstLines:
    """Return the first lines: what breaks a limit, whether it pays in money, one number a line."""
    dangers = danger_lines(result.broken, result.broken, system)
    return FirstLines(
        dangers=dangers,
        warnings=stall_lines(result.stall, system),
        headline=_money_headline(result),
        lines=(_year_line(result, system), *_flow_lines(result, scenario, system), *_when_lines(result, system)),
        operate="no" if dangers else "not checked",
    )


def _money_headline(result: Payback) -> str:
    """Return whether it pays back in money, against which other ways."""
    money = result.money
    if money.heat_kwh.estimate <= 0:
        return "Never pays back in money: no heat within its limits."
    never = [way for way in money.others if not math.isfinite(_years(way).estimate)]
    pays = sorted((way for way in money.others if way not in never), key=lambda way: _years(way).estimate, reverse=True)
    against_all = (
        ", ".join(way.name for way in never[:-1]) + (" or " if never[1:] else "") + never[-1].name if never else ""
    )
    if not pays:
        chance = max(way.pays_share or 0.0 for way in never)
        some = f" ({100 * chance:.0f} % of the simulations do)" if chance >= 0.05 else ""
        return f"Never pays back in money against {against_all}{some}"
    each = "; ".join(f"{years_words(_years(way))} against {way.name}" for way in pays)
    return f"Pays back in money: {each}{f'; never against {against_all}' if never else ''}"


def _years(way: Way) -> Estimate:
    assert way.pays_back_years is not None
    return way.pays_back_years


def years_words(years: Estimate) -> str:
    """Return years to pay with their range: "4.2 years (90 % range 2.1 to never)", "never", "at once"."""
    assert years.low is not None
    assert years.high is not None

    def one(value: float) -> str:
        return "never" if not math.isfinite(value) else "at once" if value == 0 else figures(value, 2)

    middle = one(years.estimate)
    unit = " years" if math.isfinite(years.estimate) and years.estimate > 0 else ""
    low, high = one(years.low), one(years.high)
    inside = f" (90 % range {low} to {high})" if low != high else ""
    return f"{middle}{unit}{inside}"


def _year_line(result: Payback, system: UnitSystem) -> str:
    """Return the year that is counted: hours, speed, wind."""
    hours, year = result.money.hours, result.year
    words = {"driving": f"driven at {_speed(result, system)}", "parked": "parked", "carried": "carried stowed"}
    said = ", ".join(f"{figures(h.estimate, 2)} h {words[name]}" for name, h in hours.items())
    when = "the time parked" if result.parked else "the driving"
    wind = show(year.mean_wind_m_s, "speed", system)
    return f"A year: {said}; mean wind {wind}; within its limits in {100 * year.within_limits[1]:.0f} % of {when}"


def _speed(result: Payback, system: UnitSystem) -> str:
    return show(result.road_speed_m_s, "speed", system)


def _flow_lines(result: Payback, scenario: Scenario, system: UnitSystem) -> tuple[str, ...]:
    """Return the heat of a year and what it takes."""
    money = result.money
    heat = f"Heat: {_ranged(money.heat_kwh)} kWh a year"
    if result.parked:
        return (f"{heat}; the wind supplies it",)
    fuel = inputs_of(scenario).fuel
    money_words = f"{_ranged(money.turbine.per_year)} {money.currency}"
    if fuel is not None:
        volume = money.source_kwh.times(3.6e6 / fuel.heating_value_j_per_m3)
        return heat, f"Fuel for it: {_ranged_as(volume, 'volume', system)} of {fuel.name} a year, {money_words}"
    return heat, f"Battery energy for it: {_ranged(money.source_kwh)} kWh a year, {money_words}"


def _ranged(found: Estimate, digits: int = 2) -> str:
    """Return an estimate with its 90 % range: "480 (90 % range 310 to 720)"."""
    low, high = found.ends
    text = figures(found.estimate, digits)
    ends = [figures(end, digits) for end in (low, high)]
    return text if ends[0] == ends[1] else f"{text} (90 % range {ends[0]} to {ends[1]})"


def _ranged_as(found: Estimate, kind: str, system: UnitSystem) -> str:
    """Return an estimate with its 90 % range in the user's units: "480 L (90 % range 310 to 720)"."""
    low, high = found.ends
    text = show(found.estimate, kind, system, digits=2)
    ends = [figures(to_user(end, kind, system), 2) for end in (low, high)]
    return text if ends[0] == ends[1] else f"{text} (90 % range {ends[0]} to {ends[1]})"


def _when_lines(result: Payback, system: UnitSystem) -> tuple[str, ...]:
    """Return when the heat is free or exceeds the drag power, and which wind breaks a limit."""
    said = []
    if result.parked:
        if result.stated_wind_m_s > 0:
            wind = show(result.stated_wind_m_s, "speed", system)
            said.append(f"In its wind of {wind}: {show(result.stated_heat_w, 'power', system)}, no fuel")
        first = next(
            (w for w, heat in zip(result.parked_winds_m_s, result.parked_heat_w, strict=True) if heat > 1), None
        )
        if first is not None:
            said.append(f"Heat from a wind of about {show(float(first), 'speed', system)}")
    else:
        said.append(finding(result, system))
        said.append(f"Heat above drag power: {wind_words(result, 'energy', system)}")
    if math.isfinite(result.limit_wind_m_s):
        where = "standing" if result.parked else f"at {_speed(result, system)}"
        limit = show(result.limit_wind_m_s, "speed", system)
        calm = f"in a head wind of {limit} or more" if result.limit_wind_m_s > 0 else "in still air already"
        said.append(f"A limit is broken {calm}, {where}: stow it there")
    return tuple(said)


MONEY_COLUMNS = ("", "to build", "a year", "per kWh", "turbine pays back")


def money_rows(result: Payback) -> list[tuple[str, ...]]:
    """Return the turbine and the other ways to its heat in money, as rows of text for `MONEY_COLUMNS`."""
    money = result.money
    return [
        (
            way.name,
            figures(way.build.estimate, 2),
            figures(way.per_year.estimate, 2),
            figures(way.per_kwh.estimate, 2) if math.isfinite(way.per_kwh.estimate) else "no heat",
            "" if way.pays_back_years is None else years_words(way.pays_back_years),
        )
        for way in (money.turbine, *money.others)
    ]


def money_title(result: Payback) -> str:
    """Return the title of the table of money."""
    money = result.money
    low, high = money.life_years.ends
    ends = f" ({figures(low, 2)} to {figures(high, 2)})" if low != high else ""
    life = f"{figures(money.life_years.estimate, 2)} years{ends}"
    return f"Money, in {money.currency}: parts and hours, then energy, over a life of {life}"


def money_notes(result: Payback) -> list[str]:
    """Return what the money rests on."""
    from energy.words.answer import assumption_words

    assumed = [assumption_words(entry) for entry in result.money.assumed if entry.key.startswith("costs.")]
    weight = "The weight of battery or bottle is not counted; the turbine's own mass and drag are."
    return [*(f"{remark}." for remark in result.money.remarks), *assumed, weight]


def finding(result: Payback, system: UnitSystem) -> str:
    """Return the map's finding in one line."""
    if result.parked:
        return "Parked: the maps show what driving with it would do"
    at = show(result.road_speed_m_s, "speed", system)
    low, value, high = result.least_descent
    if math.isnan(value):
        return f"At {at} the heat is free on no descent up to 20 % within its limits"
    return f"At {at} the heat is free from a descent of {_share(value, system)}{_ends(low, high, 'share', system)}"


def _share(value: float, system: UnitSystem) -> str:
    return f"{figures(100 * value, 2)} %"


def _ends(low: float, high: float, kind: str, system: UnitSystem) -> str:
    """Return " (90 % range 4.1 to 6.0 %)", or nothing where there is no interval."""
    if low == high or (math.isnan(low) and math.isnan(high)):
        return ""

    def one(value: float) -> str:
        return "none" if not math.isfinite(value) else figures(to_user(value, kind, system), 2)

    unit = {"share": " %", "speed": " " + show(0, "speed", system).split()[-1]}[kind]
    if not math.isfinite(high) and not math.isfinite(low):
        return ""
    if not math.isfinite(high):
        return f" (90 % range {one(low)}{unit} to none)"
    return f" (90 % range {one(low)} to {one(high)}{unit})"


def wind_words(result: Payback, balance: str, system: UnitSystem) -> str:
    """Return from which head wind it pays by one balance, in words."""
    low, value, high = result.at_speed[balance]
    if math.isnan(value):
        chance = ""
        if math.isfinite(low):
            chance = f", though some simulations would from {show(low, 'speed', system)}"
        return f"in no head wind up to {show(40.0, 'speed', system)} within its limits{chance}"
    if value == 0:
        return "in still air already" + _ends(low, high, "speed", system)
    return f"from a head wind of {show(value, 'speed', system)}" + _ends(low, high, "speed", system)


def _power_words(ends: tuple[float, float, float], system: UnitSystem) -> str:
    low, value, high = ends
    inside = (
        f" (90 % range {show(low, 'power', system, digits=2)} to {show(high, 'power', system, digits=2)})"
        if low != high
        else ""
    )
    return f"{show(value, 'power', system, digits=2)}{inside}"


def _percent_words(ends: tuple[float, float, float]) -> str:
    low, value, high = (100 * end for end in ends)
    inside = f" (90 % range {low:.0f} to {high:.0f} %)" if low != high else ""
    return f"{value:.0f} % of the driving{inside}"


CAUTIONS = (
    "A descent taken alone counts the turbine's mass as a push; the climb before it paid for that. A schedule with a "
    "profile (trip.schedule) has both.",
    "A descent is where brakes are needed most: the turbine's drag is small, uneven, and gone the moment its load is "
    "cut. Never count on it for braking.",
    "Strong wind is where a rotor breaks. Keep its limits of speed and thrust (windtoll answer shows them) before its "
    "gains.",
    "Standing still it still cuts and throws: nobody in its plane, and a brake that holds it.",
)


def head_wind_rows(result: Payback, scenario: Scenario, system: UnitSystem) -> list[tuple[str, str]]:
    """Return from which head wind it pays, by balance, beside the ideal rotor."""
    from energy.chain.payback import balances_in_words

    ideal, balances = result.ideal, balances_in_words(scenario)
    if ideal is None:
        return []

    def wind(value: float) -> str:
        return "in still air already" if value <= 0 else f"from {show(value, 'speed', system)}"

    loading = f"ideal rotor of this loading (induction {figures(ideal.induction, 2)})"
    return [
        (balances["fuel"], wind_words(result, "fuel", system)),
        (balances["alternator"], wind_words(result, "alternator", system)),
        (balances["energy"], wind_words(result, "energy", system)),
        (f"{loading}, no losses, heat above drag", f"{wind(ideal.free_m_s)}, by momentum theory"),
        (f"the same, chain of {100 * ideal.chain_efficiency:.0f} %, heat above drag", wind(ideal.chain_m_s)),
        (f"the same, chain: {balances['alternator']}", wind(ideal.alternator_m_s)),
    ]


DESCENT_COLUMNS = ("grade", "road", "heat", "of m·g·h", "brakes alone would burn", "fuel")


def descent_rows(result: Payback, system: UnitSystem) -> list[tuple[str, ...]]:
    """Return the descents as rows of text for `DESCENT_COLUMNS`."""
    rows: list[tuple[str, ...]] = []
    for d in result.descents:
        fuel = (
            show(d.pack_change_j, "energy", system, signed=True)
            if math.isnan(d.fuel_change_m3)
            else "free"
            if d.fuel_change_m3 <= 1e-10
            else show(d.fuel_change_m3, "volume", system, signed=True, digits=2)
        )
        rows.append(
            (
                _share(d.grade, system),
                show(d.length_m, "distance", system),
                f"{d.heat_j / 3600:.0f} Wh",
                f"{100 * d.heat_j / d.height_energy_j:.1f} %",
                f"{d.braked_j / 3600:.0f} Wh",
                fuel,
            )
        )
    return rows


def year_rows(result: Payback, scenario: Scenario, system: UnitSystem) -> list[tuple[str, str]]:
    """Return what a year of winds gives, driving and standing."""
    from energy.chain.payback import balances_in_words

    year, balances = result.year, balances_in_words(scenario)
    speed = show(result.road_speed_m_s, "speed", system)
    rows = [(f"pays: {balances[name]}", _percent_words(ends)) for name, ends in year.pays_share.items()]
    if not result.parked:
        rows.append((f"heat while driving at {speed}", _power_words(year.driving_heat_w, system)))
    where = "standing" if result.parked else "driving"
    rows.append((f"{where} within its limits", _percent_words(year.within_limits).replace("driving", "time")))
    value = year.parked_heat_w[1]
    posture = "" if scenario.rotor.turns_into_wind or year.direction == "given" else ", parked at random"
    words = (
        f"{_power_words(year.parked_heat_w, system)}; {figures(value * 24 / 1000, 2)} kWh a day, no fuel"
        if value >= 1
        else "next to none: its wind is too weak to start it, or to overcome friction"
    )
    rows.append((f"heat while standing{posture}", words))
    return rows


def parked_rows(result: Payback, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the heat while standing with the nose in winds of several speeds."""
    return [
        (show(wind_m_s, "speed", system), show(float(heat), "power", system) if within else "beyond a limit: hold it")
        for wind_m_s, heat, within in zip(
            *(values[3:19:3] for values in (result.parked_winds_m_s, result.parked_heat_w, result.parked_within)),
            strict=True,
        )
    ]


def _map_data(paid: PayMap, along: str) -> dict[str, Any]:
    return {
        "road_speed_m_s": paid.speeds_m_s.tolist(),
        along: paid.along.tolist(),
        "heat_power_w": paid.heat_w.tolist(),
        "balance_w": {name: values.tolist() for name, values in paid.balances.items()},
        "probability_pays": {name: values.tolist() for name, values in paid.probability.items()},
        "zero_line": {
            name: {"estimate": line.value.tolist(), "low": line.low.tolist(), "high": line.high.tolist(), "level": 0.9}
            for name, line in paid.lines.items()
        },
    }


def _three(ends: tuple[float, float, float]) -> dict[str, float]:
    low, middle, high = ends
    return {"estimate": middle, "low": low, "high": high, "level": 0.9}


def as_data(result: Payback, scenario: Scenario) -> dict[str, Any]:
    """Return when it pays as data for `--json`."""
    year, ideal = result.year, result.ideal
    first = first_lines(result, scenario, "metric")
    return {
        "windtoll": 1,
        "title": scenario.title,
        "safe": False if first.dangers else None,
        "dangers": list(first.dangers),
        "headline": first.headline,
        "sentence": first.sentence,
        "may_be_operated": first.operate,
        "money": _money_data(result),
        "road_speed_m_s": result.road_speed_m_s,
        "head_wind_from_which_it_pays_m_s": {name: _three(ends) for name, ends in result.at_speed.items()},
        "descent_from_which_heat_is_free": _three(result.least_descent),
        "head_wind_that_breaks_a_limit_m_s": result.limit_wind_m_s,
        "ideal_head_wind_m_s": None
        if ideal is None
        else {
            "induction": ideal.induction,
            "without_losses": ideal.free_m_s,
            "with_chain": ideal.chain_m_s,
            "against_alternator": ideal.alternator_m_s,
            "chain_efficiency": ideal.chain_efficiency,
        },
        "wind_map": _map_data(result.wind, "head_wind_m_s"),
        "descent_map": _map_data(result.descent, "descent"),
        "descents": [
            {
                "grade": d.grade,
                "length_m": d.length_m,
                "duration_s": d.duration_s,
                "heat_wh": d.heat_j / 3600,
                "height_energy_wh": d.height_energy_j / 3600,
                "braked_wh": d.braked_j / 3600,
                "fuel_change_l": d.fuel_change_m3 * 1e3,
                "source_change_wh": d.pack_change_j / 3600,
            }
            for d in result.descents
        ],
        "year": {
            "mean_wind_m_s": year.mean_wind_m_s,
            "direction": year.direction,
            "assumed": year.assumed,
            "share_of_driving_that_pays": {name: _three(ends) for name, ends in year.pays_share.items()},
            "fuel_change_power_w": _three(year.change_w),
            "heat_driving_w": _three(year.driving_heat_w),
            "heat_parked_w": _three(year.parked_heat_w),
            "share_within_limits": _three(year.within_limits),
        },
        "parked": {
            "head_wind_m_s": result.parked_winds_m_s.tolist(),
            "heat_power_w": result.parked_heat_w.tolist(),
            "within_limits": result.parked_within.tolist(),
        },
    }


def _money_data(result: Payback) -> dict[str, Any]:
    money = result.money

    def way(found: Way) -> dict[str, Any]:
        data: dict[str, Any] = {
            "name": found.name,
            "build": found.build.as_dict(),
            "per_year": found.per_year.as_dict(),
            "per_kwh": found.per_kwh.as_dict(),
        }
        if found.pays_back_years is not None:
            data["turbine_pays_back_years"] = found.pays_back_years.as_dict()
            data["probability_turbine_pays_back"] = found.pays_share
        return data

    return {
        "currency": money.currency,
        "life_years": money.life_years.as_dict(),
        "hours_a_year": {name: hours.as_dict() for name, hours in money.hours.items()},
        "heat_kwh_a_year": money.heat_kwh.as_dict(),
        "fuel_or_pack_kwh_a_year": money.source_kwh.as_dict(),
        "turbine": way(money.turbine),
        "others": {found.key: way(found) for found in money.others},
        "assumed": money_notes(result),
    }


def cleaned(value: Any) -> Any:
    """Return data with what is not finite (no such wind) as null."""
    if isinstance(value, dict):
        return {key: cleaned(v) for key, v in value.items()}
    if isinstance(value, list):
        return [cleaned(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
