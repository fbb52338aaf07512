"""`windtoll payback`: in which wind, on which descent, and standing where would the turbine pay?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.payback import (
    DESCENT_COLUMNS,
    MONEY_COLUMNS,
    PARKED_TITLE,
    as_data,
    assumed_climate,
    cautions_of,
    descent_rows,
    descents_title,
    finding,
    first_lines,
    head_wind_rows,
    money_notes,
    money_rows,
    money_title,
    parked_rows,
    wind_title,
    year_rows,
)
from vehicle.units import QuantityError, UnitSystem, parse, show

if TYPE_CHECKING:
    from rich.console import Console

    from energy.chain.payback import Payback
    from energy.scenario.read import Scenario


@dataclass(frozen=True)
class PaybackOptions:
    """What the command line gives; see the options."""

    scenario: Path
    overrides: tuple[str, ...]
    system: UnitSystem
    as_json: bool
    height: str
    full: bool
    exact: bool
    picture: Path | None
    force: bool


@click.command("payback", short_help="When could it pay: wind, descents, standing still, over a year?")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option(
    "--descent", "height", default="100 m", show_default=True, help="Height of a descent to give figures for."
)
@click.option("--full", is_flag=True, help="All of it: what the money rests on, winds, descents, the year, standing.")
@click.option("--exact", is_flag=True, help="Take every value as exact: no intervals, and a fraction of the time.")
@click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.svg|.png|.html",
    help="Write the maps over wind, descent and road speed as a picture.",
)
@common.force_option
@common.taken_as(PaybackOptions)
def command(chosen: PaybackOptions) -> None:
    """Show whether the turbine of SCENARIO.toml pays back in money, and when: in wind, down hills, standing, over a
    year.

    In money: parts, hours of work and energy over its life, against an alternator with inverter, a second battery and
    gas (windtoll keys costs). It works only within its limits.

    Three balances: fuel spared, the heat counted as worth nothing; fuel spared against making the same heat
    with the engine's alternator; heat less the power that the drag takes at the wheels. The winds of the year are
    those of the scenario's table [wind_climate], or an assumption that is shown.

    \b
    Examples:
      windtoll payback scenario.toml
      windtoll payback scenario.toml --set trip.road_speed="50 mph" --descent "300 ft" --units us
      windtoll payback scenario.toml --picture payback.svg
    """
    from energy.chain.load import load
    from energy.chain.payback import payback
    from vehicle.problems import InputError, Problem, shown

    try:
        height_m = parse(chosen.height, "m")
    except QuantityError as fault:
        raise InputError(Problem("--descent", "", str(fault), 'a height such as "100 m" or "300 ft"')) from None
    if not 0 < height_m < 9000:
        raise InputError(Problem("--descent", "", shown(chosen.height), "a height above 0 m and below 9000 m"))
    if chosen.picture is not None:
        from energy.pictures.base import checked_picture
        from vehicle.files import read_by_run

        checked_picture(chosen.picture, read_by_run(chosen.scenario), force=chosen.force)
    loaded = load(chosen.scenario, chosen.overrides)
    with common.progress("Trying winds, descents and speeds") as progress:
        result = payback(loaded, height_m=height_m, exact=chosen.exact, progress=progress)
    if chosen.picture is not None:
        from energy.pictures.base import save
        from energy.pictures.payback import payback_chart
        from vehicle.files import read_by_run

        save(
            payback_chart(result, finding(result, chosen.system), chosen.system),
            chosen.picture,
            read_by_run(chosen.scenario),
            force=chosen.force,
        )
    if chosen.as_json:
        common.print_json(as_data(result, loaded))
    else:
        _print(result, loaded, chosen.system, height_m, full=chosen.full)
        if not chosen.full:
            click.echo(f"More: windtoll payback {chosen.scenario} --full")
        if chosen.picture is not None:
            click.echo(f"Picture: {chosen.picture}")
    common.leave(first_lines(result, loaded, chosen.system))


def _print(result: Payback, scenario: Scenario, system: UnitSystem, height_m: float, *, full: bool) -> None:
    out = common.console()
    if scenario.title:
        out.print(scenario.title, style="dim")
    common.print_verdict(out, first_lines(result, scenario, system))
    common.heading(out, money_title(result))
    common.grid(out, MONEY_COLUMNS, money_rows(result), left=1)
    if full:
        _print_more(out, result, scenario, system, height_m)
    common.heading(out, "Cautions")
    common.bullets(out, cautions_of(result, system, full=full))


def _print_more(out: Console, result: Payback, scenario: Scenario, system: UnitSystem, height_m: float) -> None:
    """Print what the money rests on, and when it pays by wind, descent and over the year."""
    common.heading(out, "What the money rests on")
    common.bullets(out, money_notes(result, system))
    if not result.parked:
        common.heading(out, wind_title(result, system))
        common.pairs(out, head_wind_rows(result, scenario, system))
        common.heading(out, descents_title(result, height_m, system))
        common.grid(out, DESCENT_COLUMNS, descent_rows(result, system))
    year = result.year
    sides = "from all sides alike" if year.direction == "any" else "from the scenario's direction"
    common.heading(out, f"Over a year of winds, mean {show(year.mean_wind_m_s, 'speed', system)} {sides}")
    common.pairs(out, year_rows(result, scenario, system))
    if year.assumed:
        common.bullets(out, [assumed_climate(result, system)])
    common.heading(out, PARKED_TITLE)
    common.pairs(out, parked_rows(result, system))
