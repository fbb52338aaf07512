"""In which wind, on which descent, and standing where the turbine pays: sentences, rows and data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from energy.words.answer import no_break_even
from vehicle.units import UnitSystem, figures, show, to_user

if TYPE_CHECKING:
    from energy.chain.break_even import Ideal
    from energy.chain.payback import Payback, PayMap
    from energy.scenario.read import Scenario


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
        if math.isnan(value):
            return f"in no head wind up to {show(40.0, 'speed', system)}"
        return "in still air already" if value <= 0 else f"from {show(value, 'speed', system)}"

    energy = wind_words(result, "energy", system)
    if math.isnan(result.at_speed["energy"][1]) and result.best_pitch is not None:
        energy = no_break_even(result.best_pitch, system)
    if math.isnan(ideal.thrust_coefficient):
        loading, lightest = "it does not turn in still air", "unknown"
    else:
        loading = f"thrust coefficient {figures(ideal.thrust_coefficient, 2)} in still air"
        lightest = f"never below {show(ideal.any_loading_m_s, 'speed', system)}"
    return [
        (balances["fuel"], wind_words(result, "fuel", system)),
        (balances["alternator"], wind_words(result, "alternator", system)),
        (balances["energy"], energy),
        (
            "ideal rotor of this loading, no losses, heat above drag",
            f"{wind(ideal.free_m_s)} ({loading}; in free air the Betz loading, 0.89, takes half the "
            "road speed, a lighter one less)",
        ),
        ("ideal rotor of this loading, this chain, heat above drag", wind(ideal.chain_m_s)),
        (f"ideal rotor of this loading, this chain: {balances['alternator']}", wind(ideal.alternator_m_s)),
        (f"any rotor with {_chain_words(ideal)}, however lightly loaded, heat above drag", lightest),
    ]


def _chain_words(ideal: Ideal) -> str:
    known = math.isfinite(ideal.chain_efficiency)
    return f"a chain of {100 * ideal.chain_efficiency:.0f} %" if known else "this chain"


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
    return {
        "windtoll": 1,
        "title": scenario.title,
        "road_speed_m_s": result.road_speed_m_s,
        "head_wind_from_which_it_pays_m_s": {name: _three(ends) for name, ends in result.at_speed.items()},
        "descent_from_which_heat_is_free": _three(result.least_descent),
        "ideal_head_wind_m_s": {
            "without_losses": ideal.free_m_s,
            "with_chain": ideal.chain_m_s,
            "against_alternator": ideal.alternator_m_s,
            "any_loading": ideal.any_loading_m_s,
            "chain_efficiency": ideal.chain_efficiency,
            "thrust_coefficient": ideal.thrust_coefficient,
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
        },
        "parked": {"head_wind_m_s": result.parked_winds_m_s.tolist(), "heat_power_w": result.parked_heat_w.tolist()},
    }


def cleaned(value: Any) -> Any:
    """Return data with what is not finite (no such wind) as null."""
    if isinstance(value, dict):
        return {key: cleaned(v) for key, v in value.items()}
    if isinstance(value, list):
        return [cleaned(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
