"""In which wind, on which descent, and standing where the turbine pays: sentences, rows and data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from energy.chain.costs import HeatingWay
from energy.scenario.inputs import inputs_of
from energy.uncertainty.quantiles import ALMOST_CERTAIN
from energy.words.answer import no_break_even
from energy.words.result_model import ends_data, estimate_data
from energy.words.verdict import FirstLines, dangers_of, doubts
from vehicle.quantity import Estimate
from vehicle.units import UnitSystem, figures, show, to_user

if TYPE_CHECKING:
    from energy.chain.break_even import Ideal
    from energy.chain.payback import Payback, PayMap
    from energy.scenario.read import Scenario
    from energy.words.payback_model import DescentData, MoneyData, WayData, YearData
    from energy.words.result_model import EstimateData


def first_lines(result: Payback, scenario: Scenario, system: UnitSystem) -> FirstLines:
    """Return the first lines: what breaks a limit, whether it pays in money, one number a line."""
    dangers = dangers_of(result.stated, system)
    in_still_air = result.limit_wind_m_s <= 0  # NaN where no head wind breaks a limit
    return FirstLines(
        dangers=dangers,
        warnings=(*_limit_line(result, system), *doubts(result.stated, system)),
        headline=_money_headline(result),
        lines=(
            _year_line(result, system),
            *_schedule_line(result, scenario),
            *_flow_lines(result, scenario, system),
            *_when_lines(result, system),
        ),
        operate="no" if dangers or in_still_air else "not checked",
        not_when="in that wind" if result.limit_wind_m_s > 0 else "",
    )


def _money_headline(result: Payback) -> str:
    """Return whether it pays back in money, against which other ways."""
    money = result.money
    if money.heat_kwh.estimate <= 0:
        return "Never pays back in money: no heat within its limits."
    never = [way for way in money.others if not math.isfinite(_years(way).estimate)]
    pays = sorted((way for way in money.others if way not in never), key=lambda way: _years(way).estimate, reverse=True)
    names = [way.name for way in never]
    against_all = f"{', '.join(names[:-1])} or {names[-1]}" if names[1:] else "".join(names)
    chance = max((way.pays_share or 0.0 for way in never), default=0.0)
    some = f" ({100 * chance:.0f} % of the simulations do)" if chance >= _WORTH_SAYING else ""
    if not pays:
        return f"Never pays back in money against {against_all}{some}"
    each = "; ".join(f"{_pays_words(way)} against {way.name}" for way in pays)
    sure = min(way.pays_share or 0.0 for way in pays) >= ALMOST_CERTAIN
    tail = f"; never against {against_all}{some}" if never else ""
    return f"{'Pays' if sure else 'Can pay'} back in money: {each}{tail}"


_WORTH_SAYING = 0.05  # of the simulations (common practice, no source)


def _pays_words(way: HeatingWay) -> str:
    """Return the years to pay and how likely they are: "9.2 years (90 % range 4.2 to never; 51 % likely)"."""
    share = way.pays_share or 0.0
    said = years_words(_years(way))
    if share >= ALMOST_CERTAIN:
        return said
    likely = f"{100 * share:.0f} % likely)"
    return f"{said.removesuffix(')')}; {likely}" if said.endswith(")") else f"{said} ({likely}"


def _years(way: HeatingWay) -> Estimate:
    assert way.pays_back_years is not None
    return way.pays_back_years


def years_words(years: Estimate, *, brief: bool = False) -> str:
    """Return years to pay with their range: "4.2 years (90 % range 2.1 to never)", "never", "at once".

    `brief` leaves out what the heading of a column says.
    """
    assert years.low is not None
    assert years.high is not None

    def one(value: float) -> str:
        return "never" if not math.isfinite(value) else "at once" if value == 0 else figures(value, 2)

    middle = one(years.estimate)
    unit = " years" if math.isfinite(years.estimate) and years.estimate > 0 else ""
    low, high = one(years.low), one(years.high)
    inside = f" ({'' if brief else '90 % range '}{low} to {high})" if low != high else ""
    return f"{middle}{'' if brief else unit}{inside}"


def _year_line(result: Payback, system: UnitSystem) -> str:
    """Return the year that is counted: hours, speed, wind."""
    hours, year = result.money.hours, result.year
    words = {"driving": f"driven at {_speed(result, system)}", "parked": "parked", "carried": "carried stowed"}
    said = ", ".join(f"{figures(h.estimate, 2)} h {words[name]}" for name, h in hours.items())
    when = "the time parked" if result.parked else "the driving"
    wind = show(year.mean_wind_m_s, "speed", system)
    over = max(0.0, 100 * (1 - year.within_limits[1]))  # weights that make up one to rounding leave a minus there
    return f"A year: {said}; mean wind {wind}; over a limit in {over:.0f} % of {when}"


def _schedule_line(result: Payback, scenario: Scenario) -> tuple[str, ...]:
    """Return that a schedule is not driven here, and its policy not kept; empty for a steady drive."""
    if scenario.schedule is None or result.parked:
        return ()
    always = "" if scenario.trip.works == "always" else ", always working"
    return (
        f"Counted as a steady drive at the mean speed of {scenario.schedule.name} while it moves{always}: windtoll "
        "answer has the trip itself",
    )


def _speed(result: Payback, system: UnitSystem) -> str:
    return show(result.road_speed_m_s, "speed", system)


def _flow_lines(result: Payback, scenario: Scenario, system: UnitSystem) -> tuple[str, ...]:
    """Return the heat of a year and what it takes."""
    money = result.money
    heat = f"Heat: {_ranged(money.heat_kwh, ' kWh a year')}"
    if result.parked:
        return (f"{heat}; the wind supplies it",)
    fuel = inputs_of(scenario).fuel
    money_words = _ranged(money.turbine.per_year, f" {money.currency}")
    if fuel is not None:
        volume = money.source_kwh.times(3.6e6 / fuel.heating_value_j_per_m3)
        what = f"Extra fuel for it a year, {fuel.in_words}: {_ranged_as(volume, 'volume', system)}"
    else:
        what = f"Battery energy for it: {_ranged(money.source_kwh, ' kWh a year')}"
    return (
        heat,
        what,
        f"{'Money for that fuel' if fuel is not None else 'Money for that energy'}, a year: {money_words}",
    )


def _ranged(estimate: Estimate, unit: str) -> str:
    """Return an estimate with its unit and 90 % range: "480 kWh a year (90 % range 310 to 720)"."""
    low, high = estimate.ends
    number, *ends = ("0" if abs(v) < 0.01 else figures(v, 2) for v in (estimate.estimate, low, high))
    text = f"{number}{unit}"
    return text if ends[0] == ends[1] else f"{text} (90 % range {ends[0]} to {ends[1]})"


def _ranged_as(estimate: Estimate, kind: str, system: UnitSystem) -> str:
    """Return an estimate with its 90 % range in the user's units: "480 L (90 % range 310 to 720)"."""
    low, high = estimate.ends
    text = show(estimate.estimate, kind, system, digits=2)
    ends = [figures(to_user(end, kind, system), 2) for end in (low, high)]
    return text if ends[0] == ends[1] else f"{text} (90 % range {ends[0]} to {ends[1]})"


def _when_lines(result: Payback, system: UnitSystem) -> tuple[str, ...]:
    """Return when the heat is free or exceeds the drag power."""
    said = []
    if result.parked:
        if result.stated_wind_m_s > 0:
            wind = show(result.stated_wind_m_s, "speed", system)
            low, high = (show(end, "power", system, digits=2) for end in result.heat_w.ends)
            inside = f" (90 % range {low} to {high})" if low != high else ""
            said.append(f"In its wind of {wind}: {show(result.heat_w.estimate, 'power', system)}{inside}, no fuel")
        first = next(
            (w for w, heat in zip(result.parked_winds_m_s, result.parked_heat_w, strict=True) if heat > 1), None
        )
        if first is not None:
            said.append(f"Heat from a wind of about {show(float(first), 'speed', system)}")
    else:
        said.append(finding(result, system))
        said.append(f"Break-even head wind (heat above drag power): {_energy_words(result, system)}")
    return tuple(said)


def _limit_line(result: Payback, system: UnitSystem) -> tuple[str, ...]:
    """Return which wind breaks a limit; empty where none does."""
    if not math.isfinite(result.limit_wind_m_s):
        return ()
    where = "parked" if result.parked else f"at {_speed(result, system)}"
    limit = show(result.limit_wind_m_s, "speed", system)
    calm = f"a head wind of {limit} or more" if result.limit_wind_m_s > 0 else "still air already"
    return (f"Do not operate it in {calm}, {where}: a limit is broken there; the year below counts it as stowed then.",)


MONEY_COLUMNS = ("way", "to build", "a year", "per kWh", "years to pay")


def money_rows(result: Payback) -> list[tuple[str, ...]]:
    """Return the turbine and the other ways to its heat in money, as rows of text for `MONEY_COLUMNS`."""
    money = result.money
    return [
        (
            way.name,
            figures(way.build.estimate, 2),
            figures(way.per_year.estimate, 2),
            figures(way.per_kwh.estimate, 2) if math.isfinite(way.per_kwh.estimate) else "no heat",
            "" if way.pays_back_years is None else years_words(way.pays_back_years, brief=True),
        )
        for way in (money.turbine, *money.others)
    ]


def money_title(result: Payback) -> str:
    """Return the title of the table of money."""
    money = result.money
    low, high = money.life_years.ends
    ends = f" ({figures(low, 2)} to {figures(high, 2)})" if low != high else ""
    life = f"{figures(money.life_years.estimate, 2)} years{ends}"
    turned = ""
    if money.per_euro != 1:
        rate = figures(money.per_euro, 2)
        turned = f"; amounts not given: at {rate} {money.currency} to the euro, from your prices"
    return f"Money, in {money.currency}: parts and hours, then energy, over a life of {life}{turned}"


def money_notes(result: Payback, system: UnitSystem = "metric") -> list[str]:
    """Return what the money rests on."""
    from energy.words.answer import assumption_words

    assumed = [assumption_words(entry, system) for entry in result.money.assumed if entry.key.startswith("costs.")]
    weight = "The weight of battery or bottle is not counted; the turbine's own mass and drag are."
    return [*(f"{remark}." for remark in result.money.remarks), *assumed, weight]


def finding(result: Payback, system: UnitSystem) -> str:
    """Return the map's finding in one line."""
    if result.parked:
        return "Parked: the maps show what driving with it would do"
    at = show(result.road_speed_m_s, "speed", system)
    low, value, high = result.least_descent
    if result.limit_wind_m_s <= 0:
        return f"At {at} no descent is free: a limit is broken in still air already"
    if not result.heat_on_descents:
        return f"At {at} no descent pays: in still air there is no heat"
    source = "battery energy" if any(math.isnan(d.fuel_change_m3) for d in result.descents) else "fuel"
    if math.isnan(value):
        return f"At {at} the heat costs {source} on every descent up to 20 % within its limits"
    steep = f"{_share(value, system)}{_ends(low, high, 'share', system)}"
    return f"At {at} the heat costs no {source} on descents steeper than {steep}"


def wind_finding(result: Payback, system: UnitSystem) -> str:
    """Return the finding of the map over head wind in one line."""
    if result.parked:
        return finding(result, system)
    return f"At {_speed(result, system)} the heat exceeds the drag power {wind_words(result, 'energy', system)}"


RANGES_OF_MAPS = "ranges of the lines in the maps (some seconds more)"
MAP_NOTE = "Colour: gain or loss; lines: from where it pays, by what it is held against."
NOT_ENOUGH = "Not enough data to calculate when it could pay."
PARKED_TITLE = "Standing with the nose in the wind: no fuel"


def wind_title(result: Payback, system: UnitSystem) -> str:
    """Return the title of the table of head winds."""
    return f"Head wind from which it pays, at {_speed(result, system)} on the flat"


def descents_title(result: Payback, height_m: float, system: UnitSystem) -> str:
    """Return the title of the table of descents."""
    return f"Down {show(height_m, 'length', system)} at {_speed(result, system)}, in still air"


def assumed_climate(result: Payback, system: UnitSystem) -> str:
    """Return what was assumed of the winds of the year, and where one's own go."""
    from energy.chain.payback import ASSUMED_CLIMATE

    mean, shape = ASSUMED_CLIMATE
    wind = (
        f"mean wind {show(mean.value, 'speed', system, digits=2)} ({show(mean.low, 'speed', system, digits=2)} to "
        f"{show(mean.high, 'speed', system, digits=2)}), Weibull shape {shape.value:g}"
    )
    return f"Assumed: {wind}: {result.year.assumed}. Your own go in the part wind_climate of the scenario."


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
        return f" (90 % range from {one(low)}{unit}, perhaps never)"
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


def cautions_of(result: Payback, system: UnitSystem, *, full: bool) -> list[str]:
    """Return what could hurt someone or break, after what is odd or unusual about the scenario's values."""
    from energy.words.cautions import BLADE, ESTIMATE, of_the_file, of_the_same_answer

    stated = result.stated
    of_it = [*of_the_file(stated.scenario), *of_the_same_answer(stated, system)]
    return [*of_it, *(CAUTIONS if full else ()), BLADE, ESTIMATE]


def head_wind_rows(result: Payback, scenario: Scenario, system: UnitSystem) -> list[tuple[str, str]]:
    """Return from which head wind it pays, by balance, beside the ideal rotor."""
    from energy.chain.payback import balances_in_words

    ideal, balances = result.ideal, balances_in_words(scenario)
    if ideal is None:
        return []

    def wind(value: float) -> str:
        if math.isnan(value):
            return f"in no head wind up to {show(40.0, 'speed', system)}"
        return "in still air already" if value <= 0 else f"from {show(value, 'speed', system)}"

    if math.isnan(ideal.thrust_coefficient):
        loading, lightest = "it does not turn in still air", "unknown"
    else:
        loading = f"thrust coefficient {figures(ideal.thrust_coefficient, 2)} in still air"
        lightest = f"never below {show(ideal.any_loading_m_s, 'speed', system)}"
    return [
        (balances["fuel"], wind_words(result, "fuel", system)),
        (balances["alternator"], wind_words(result, "alternator", system)),
        (balances["energy"], _energy_words(result, system)),
        (
            "ideal rotor of this loading, no losses, heat above drag",
            f"{wind(ideal.free_m_s)} ({loading}; in free air the Betz loading, 0.89, takes half the "
            "road speed, a lighter one less)",
        ),
        ("ideal rotor of this loading, this chain, heat above drag", wind(ideal.chain_m_s)),
        (f"ideal rotor of this loading, this chain: {balances['alternator']}", wind(ideal.alternator_m_s)),
        (f"any rotor with {_chain_words(ideal)}, however lightly loaded, heat above drag", lightest),
    ]


def _energy_words(result: Payback, system: UnitSystem) -> str:
    """Return from which head wind the heat exceeds the drag power, or what the best pitch would do instead."""
    if math.isnan(result.at_speed["energy"][1]) and result.best_pitch is not None:
        return no_break_even(result.best_pitch, system)
    return wind_words(result, "energy", system)


def _chain_words(ideal: Ideal) -> str:
    known = math.isfinite(ideal.chain_efficiency)
    return f"a chain of {100 * ideal.chain_efficiency:.0f} %" if known else "this chain"


DESCENT_COLUMNS = ("grade", "road", "heat", "of m·g·h", "brakes alone would burn", "fuel or pack")


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


LEVEL = 0.9  # of the ranges


def as_data(result: Payback, scenario: Scenario) -> dict[str, Any]:
    """Return when it pays as data for `--json`."""
    from energy.words.payback_model import DescentMapData, IdealData, ParkedData, PaybackData, WindMapData

    ideal, wind, descent = result.ideal, result.wind, result.descent
    first = first_lines(result, scenario, "metric")
    return PaybackData(
        windtoll=1,
        title=scenario.title,
        safe=False if first.dangers else None,
        dangers=list(first.dangers),
        warnings=list(first.warnings),
        headline=first.headline,
        sentence=first.sentence,
        may_be_operated=first.operate,
        money=_money_data(result),
        road_speed_m_s=result.road_speed_m_s,
        head_wind_from_which_it_pays_m_s=_ends_by_balance(result.at_speed),
        descent_from_which_heat_is_free=ends_data(result.least_descent, LEVEL),
        head_wind_that_breaks_a_limit_m_s=result.limit_wind_m_s,
        ideal_head_wind_m_s=None
        if ideal is None
        else IdealData(
            thrust_coefficient=ideal.thrust_coefficient,
            without_losses=ideal.free_m_s,
            with_chain=ideal.chain_m_s,
            against_alternator=ideal.alternator_m_s,
            any_loading=ideal.any_loading_m_s,
            chain_efficiency=ideal.chain_efficiency,
        ),
        wind_map=WindMapData(**_map_fields(wind), head_wind_m_s=wind.along.tolist()),
        descent_map=DescentMapData(**_map_fields(descent), descent=descent.along.tolist()),
        descents=_descents_data(result),
        year=_year_data(result),
        parked=ParkedData(
            head_wind_m_s=result.parked_winds_m_s.tolist(),
            heat_power_w=result.parked_heat_w.tolist(),
            within_limits=result.parked_within.tolist(),
        ),
        cautions=cautions_of(result, "metric", full=True),
    ).model_dump()


def _ends_by_balance(ends: Mapping[str, tuple[float, float, float]]) -> dict[str, EstimateData]:
    return {name: ends_data(three, LEVEL) for name, three in ends.items()}


def _map_fields(paid: PayMap) -> dict[str, Any]:
    """Return the fields that both maps share."""
    from energy.words.result_model import EstimatesData

    return {
        "road_speed_m_s": paid.speeds_m_s.tolist(),
        "heat_power_w": paid.heat_w.tolist(),
        "balance_w": {name: values.tolist() for name, values in paid.balances.items()},
        "probability_pays": {name: values.tolist() for name, values in paid.probability.items()},
        "zero_line": {
            name: EstimatesData(
                estimate=line.value.tolist(), low=line.low.tolist(), high=line.high.tolist(), level=LEVEL
            )
            for name, line in paid.lines.items()
        },
    }


def _descents_data(result: Payback) -> list[DescentData]:
    from energy.words.payback_model import DescentData

    return [
        DescentData(
            grade=d.grade,
            length_m=d.length_m,
            duration_s=d.duration_s,
            heat_wh=d.heat_j / 3600,
            height_energy_wh=d.height_energy_j / 3600,
            braked_wh=d.braked_j / 3600,
            fuel_change_l=d.fuel_change_m3 * 1e3,
            source_change_wh=d.pack_change_j / 3600,
        )
        for d in result.descents
    ]


def _year_data(result: Payback) -> YearData:
    from energy.words.payback_model import YearData

    year = result.year
    return YearData(
        mean_wind_m_s=year.mean_wind_m_s,
        direction=year.direction,
        assumed=year.assumed,
        share_of_driving_that_pays=_ends_by_balance(year.pays_share),
        fuel_change_power_w=ends_data(year.change_w, LEVEL),
        heat_driving_w=ends_data(year.driving_heat_w, LEVEL),
        heat_parked_w=ends_data(year.parked_heat_w, LEVEL),
        share_within_limits=ends_data(year.within_limits, LEVEL),
    )


def _money_data(result: Payback) -> MoneyData:
    from energy.words.payback_model import MoneyData

    money = result.money
    return MoneyData(
        currency=money.currency,
        life_years=estimate_data(money.life_years),
        hours_a_year={name: estimate_data(hours) for name, hours in money.hours.items()},
        heat_kwh_a_year=estimate_data(money.heat_kwh),
        fuel_or_pack_kwh_a_year=estimate_data(money.source_kwh),
        turbine=_way_data(money.turbine),
        others={way.key: _way_data(way) for way in money.others},
        assumed=money_notes(result),
    )


def _way_data(way: HeatingWay) -> WayData:
    from energy.words.payback_model import WayData

    years = way.pays_back_years
    return WayData(
        name=way.name,
        build=estimate_data(way.build),
        per_year=estimate_data(way.per_year),
        per_kwh=estimate_data(way.per_kwh),
        turbine_pays_back_years=None if years is None else estimate_data(years),
        probability_turbine_pays_back=way.pays_share,
    )
