"""`windtoll payback`: in which wind, on which descent, and standing where would the turbine pay?"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common
from vehicle.units import QuantityError, UnitSystem, figures, parse, show, to_user

if TYPE_CHECKING:
    from energy.chain.payback import Payback, PayMap
    from energy.scenario.read import Scenario


@click.command("payback", short_help="When could it pay: wind, descents, standing still, over a year?")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option(
    "--descent", "height", default="100 m", show_default=True, help="Height of a descent to give figures for."
)
@click.option("--exact", is_flag=True, help="Take every value as exact: no intervals, and a fraction of the time.")
@click.option(
    "--plot",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.svg|.png|.html",
    help="Write the maps over wind, descent and road speed as a picture.",
)
def command(
    scenario: Path,
    overrides: tuple[str, ...],
    system: UnitSystem,
    as_json: bool,
    height: str,
    exact: bool,
    plot: Path | None,
) -> None:
    """Say when the turbine of SCENARIO.toml could pay: in wind, down hills, standing still, over a year's winds.

    Three balances are told apart: fuel spared with no credit for anything; fuel spared against making the same heat with
    the engine's alternator; heat less the power that the drag takes at the wheels. The winds of the year are those of the
    scenario's table [wind_climate], or an assumption that is told.

    \b
    Examples:
      windtoll payback scenario.toml
      windtoll payback scenario.toml --set trip.road_speed="50 mph" --descent "300 ft" --units us
      windtoll payback scenario.toml --plot payback.svg
    """
    from energy.chain.load import load
    from energy.chain.payback import payback
    from vehicle.problems import InputError, Problem, shown

    try:
        height_m = parse(height, "m")
    except QuantityError as fault:
        raise InputError(Problem("--descent", "", str(fault), 'a height such as "100 m" or "300 ft"')) from None
    if not 0 < height_m < 9000:
        raise InputError(Problem("--descent", "", shown(height), "a height above 0 m and below 9000 m"))
    if plot is not None:
        from energy.pictures.charts import checked_picture

        checked_picture(plot)
    loaded = load(scenario, overrides)
    with common.progress("Trying winds, descents and speeds") as progress:
        found = payback(loaded, height_m=height_m, exact=exact, progress=progress)
    if plot is not None:
        from energy.pictures.charts import payback_chart, save

        save(payback_chart(found, finding(found, system), system), plot)
    if as_json:
        common.print_json(_clean(_data(found, loaded)))
        return
    _print(found, loaded, system, height_m, plot)


def finding(found: Payback, system: UnitSystem) -> str:
    """Return the map's finding in one line."""
    at = show(found.road_speed_m_s, "speed", system)
    low, value, high = found.least_descent
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


def wind_words(found: Payback, balance: str, system: UnitSystem) -> str:
    """Return from which head wind it pays by one balance, in words."""
    low, value, high = found.at_speed[balance]
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
    "A descent taken alone counts the turbine's mass as a push; the climb before it paid for that. A schedule with a profile (trip.schedule) has both.",
    "A descent is where brakes are needed most: the turbine's drag is small, uneven, and gone the moment its load is cut. Never count on it for braking.",
    "Strong wind is where a rotor breaks. Keep its limits of speed and thrust (windtoll answer tells them) before its gains.",
    "Standing still it still cuts and throws: nobody in its plane, and a brake that holds it.",
)


def head_wind_rows(found: Payback, scenario: Scenario, system: UnitSystem) -> list[tuple[str, str]]:
    """Return from which head wind it pays, by balance, beside the ideal rotor."""
    from energy.chain.payback import balances_in_words

    ideal, balances = found.ideal, balances_in_words(scenario)

    def wind(value: float) -> str:
        return "in still air already" if value <= 0 else f"from {show(value, 'speed', system)}"

    return [
        (balances["fuel"], wind_words(found, "fuel", system)),
        (balances["alternator"], wind_words(found, "alternator", system)),
        (balances["energy"], wind_words(found, "energy", system)),
        (
            "ideal rotor without losses, heat above drag",
            f"{wind(ideal.free_m_s)}: half the road speed, by momentum theory",
        ),
        (f"ideal rotor, chain of {100 * ideal.chain_efficiency:.0f} %, heat above drag", wind(ideal.chain_m_s)),
        (f"ideal rotor, chain: {balances['alternator']}", wind(ideal.alternator_m_s)),
    ]


DESCENT_COLUMNS = ("grade", "road", "heat", "of m·g·h", "brakes alone would burn", "fuel")


def descent_rows(found: Payback, system: UnitSystem) -> list[tuple[str, ...]]:
    """Return the descents as rows of text for `DESCENT_COLUMNS`."""
    rows: list[tuple[str, ...]] = []
    for d in found.descents:
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


def year_rows(found: Payback, scenario: Scenario, system: UnitSystem) -> list[tuple[str, str]]:
    """Return what a year of winds gives, driving and standing."""
    from energy.chain.payback import balances_in_words

    year, balances = found.year, balances_in_words(scenario)
    speed = show(found.road_speed_m_s, "speed", system)
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


def parked_rows(found: Payback, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the heat while standing with the nose in winds of several speeds."""
    return [
        (show(wind_m_s, "speed", system), show(float(heat), "power", system))
        for wind_m_s, heat in zip(found.parked_winds_m_s[3:19:3], found.parked_heat_w[3:19:3], strict=True)
    ]


def _print(found: Payback, scenario: Scenario, system: UnitSystem, height_m: float, plot: Path | None) -> None:
    from rich.table import Table

    out = common.console()
    if scenario.title:
        out.print(scenario.title, style="dim")
    out.print(f"{finding(found, system)}.", style="bold")
    speed = show(found.road_speed_m_s, "speed", system)
    common.heading(out, f"Head wind from which it pays, at {speed} on the flat")
    common.pairs(out, head_wind_rows(found, scenario, system))

    common.heading(out, f"Down {show(height_m, 'length', system)} at {speed}, in still air")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in DESCENT_COLUMNS:
        table.add_column(name, justify="right")
    for row in descent_rows(found, system):
        table.add_row(*row)
    out.print(table)

    year = found.year
    sides = "from all sides alike" if year.direction == "any" else "from the scenario's direction"
    common.heading(out, f"Over a year of winds, mean {show(year.mean_wind_m_s, 'speed', system)} {sides}")
    common.pairs(out, year_rows(found, scenario, system))
    if year.assumed:
        common.bullets(out, [f"Assumed: {year.assumed}. Name your own in [wind_climate]."])

    common.heading(out, "Standing with the nose in the wind: no fuel")
    common.pairs(out, parked_rows(found, system))
    common.heading(out, "Cautions")
    common.bullets(out, CAUTIONS)
    if plot is not None:
        out.print(f"\nPicture written to {plot}.", style="dim")


def _map_data(paid: PayMap, along: str) -> dict[str, Any]:
    return {
        "road_speed_m_s": paid.speeds_m_s.tolist(),
        along: paid.along.tolist(),
        "heat_power_w": paid.heat_w.tolist(),
        "balance_w": {name: values.tolist() for name, values in paid.balances.items()},
        "probability_pays": {name: values.tolist() for name, values in paid.probability.items()},
        "zero_line": {
            name: {"p05": line.low.tolist(), "value": line.value.tolist(), "p95": line.high.tolist()}
            for name, line in paid.lines.items()
        },
    }


def _three(ends: tuple[float, float, float]) -> dict[str, float]:
    return dict(zip(("p05", "value", "p95"), ends, strict=True))


def _data(found: Payback, scenario: Scenario) -> dict[str, Any]:
    year, ideal = found.year, found.ideal
    return {
        "windtoll": 1,
        "title": scenario.title,
        "road_speed_m_s": found.road_speed_m_s,
        "head_wind_from_which_it_pays_m_s": {name: _three(ends) for name, ends in found.at_speed.items()},
        "descent_from_which_heat_is_free": _three(found.least_descent),
        "ideal_head_wind_m_s": {
            "without_losses": ideal.free_m_s,
            "with_chain": ideal.chain_m_s,
            "against_alternator": ideal.alternator_m_s,
            "chain_efficiency": ideal.chain_efficiency,
        },
        "wind_map": _map_data(found.wind, "head_wind_m_s"),
        "descent_map": _map_data(found.descent, "descent"),
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
            for d in found.descents
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
        "parked": {"head_wind_m_s": found.parked_winds_m_s.tolist(), "heat_power_w": found.parked_heat_w.tolist()},
    }


def _clean(value: Any) -> Any:
    """Return data with what is not finite (no such wind) as null."""
    if isinstance(value, dict):
        return {key: _clean(v) for key, v in value.items()}
    if isinstance(value, list):
        return [_clean(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
