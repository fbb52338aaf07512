"""In which wind, on which descent, and standing where the turbine pays: sentences, rows and data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from energy.words.result_model import ends_data
from vehicle.units import UnitSystem, figures, show, to_user

if TYPE_CHECKING:
    from energy.chain.payback import Payback, PayMap
    from energy.scenario.read import Scenario
    from energy.words.payback_model import DescentData, YearData
    from energy.words.result_model import EstimateData


def finding(result: Payback, system: UnitSystem) -> str:
    """Return the map's finding in one line."""
    at = show(result.road_speed_m_s, "speed", system)
    low, value, high = result.least_descent
    if math.isnan(value):
        return f"At {at} the heat is free on no descent up to 20 %"
    return f"At {at} the heat is free from a descent of {_share(value, system)}{_ends(low, high, 'share', system)}"


def _share(value: float, system: UnitSystem) -> str:
    return f"{figures(100 * value, 2)} %"


def _ends(low: float, high: float, kind: str, system: UnitSystem) -> str:
    """Return " (90 %: 4.1 to 6.0 %)", or nothing where there is no interval."""
    if low == high or (math.isnan(low) and math.isnan(high)):
        return ""

    def one(value: float) -> str:
        return "none" if not math.isfinite(value) else figures(to_user(value, kind, system), 2)

    unit = {"share": " %", "speed": " " + show(0, "speed", system).split()[-1]}[kind]
    if not math.isfinite(high) and not math.isfinite(low):
        return ""
    if not math.isfinite(high):
        return f" (90 %: {one(low)}{unit} to none at all)"
    return f" (90 %: {one(low)} to {one(high)}{unit})"


def wind_words(result: Payback, balance: str, system: UnitSystem) -> str:
    """Return from which head wind it pays by one balance, in words."""
    low, value, high = result.at_speed[balance]
    if math.isnan(value):
        chance = ""
        if math.isfinite(low):
            chance = f", though some draws would from {show(low, 'speed', system)}"
        return f"in no head wind up to {show(40.0, 'speed', system)}{chance}"
    if value == 0:
        return "in still air already" + _ends(low, high, "speed", system)
    return f"from a head wind of {show(value, 'speed', system)}" + _ends(low, high, "speed", system)


def _power_words(ends: tuple[float, float, float], system: UnitSystem) -> str:
    low, value, high = ends
    inside = (
        f" (90 %: {show(low, 'power', system, digits=2)} to {show(high, 'power', system, digits=2)})"
        if low != high
        else ""
    )
    return f"{show(value, 'power', system, digits=2)}{inside}"


def _percent_words(ends: tuple[float, float, float]) -> str:
    low, value, high = (100 * end for end in ends)
    inside = f" (90 %: {low:.0f} to {high:.0f} %)" if low != high else ""
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

    def wind(value: float) -> str:
        return "in still air already" if value <= 0 else f"from {show(value, 'speed', system)}"

    return [
        (balances["fuel"], wind_words(result, "fuel", system)),
        (balances["alternator"], wind_words(result, "alternator", system)),
        (balances["energy"], wind_words(result, "energy", system)),
        (
            "ideal rotor without losses, heat above drag",
            f"{wind(ideal.free_m_s)}: half the road speed, by momentum theory",
        ),
        (f"ideal rotor, chain of {100 * ideal.chain_efficiency:.0f} %, heat above drag", wind(ideal.chain_m_s)),
        (f"ideal rotor, chain: {balances['alternator']}", wind(ideal.alternator_m_s)),
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
    rows.append((f"heat while driving at {speed}", _power_words(year.driving_heat_w, system)))
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
        (show(wind_m_s, "speed", system), show(float(heat), "power", system))
        for wind_m_s, heat in zip(result.parked_winds_m_s[3:19:3], result.parked_heat_w[3:19:3], strict=True)
    ]


LEVEL = 0.9  # of the ranges


def as_data(result: Payback, scenario: Scenario) -> dict[str, Any]:
    """Return when it pays as data for `--json`."""
    from energy.words.payback_model import DescentMapData, IdealData, ParkedData, PaybackData, WindMapData

    ideal, wind, descent = result.ideal, result.wind, result.descent
    return PaybackData(
        windtoll=1,
        title=scenario.title,
        road_speed_m_s=result.road_speed_m_s,
        head_wind_from_which_it_pays_m_s=_ends_by_balance(result.at_speed),
        descent_from_which_heat_is_free=ends_data(result.least_descent, LEVEL),
        ideal_head_wind_m_s=IdealData(
            without_losses=ideal.free_m_s,
            with_chain=ideal.chain_m_s,
            against_alternator=ideal.alternator_m_s,
            chain_efficiency=ideal.chain_efficiency,
        ),
        wind_map=WindMapData(**_map_fields(wind), head_wind_m_s=wind.along.tolist()),
        descent_map=DescentMapData(**_map_fields(descent), descent=descent.along.tolist()),
        descents=_descents_data(result),
        year=_year_data(result),
        parked=ParkedData(head_wind_m_s=result.parked_winds_m_s.tolist(), heat_power_w=result.parked_heat_w.tolist()),
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
    )
