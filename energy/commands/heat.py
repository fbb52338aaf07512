"""`windtoll heat`: how long until it is hot, can it get there at all, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.heating import Heating
    from energy.heat.heater import TemperatureBand


@dataclass(frozen=True)
class HeatOptions:
    """What the command line gives; see the options."""

    scenario: Path
    overrides: tuple[str, ...]
    system: UnitSystem
    as_json: bool
    trip_file: Path | None
    power_file: Path | None
    repeat: int
    picture: Path | None
    force: bool
    exact: bool


@click.command("heat", short_help="How long until it is hot, can it get there at all, what does it cost?")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option(
    "--trip",
    "trip_file",
    type=click.Path(path_type=Path),
    metavar="SPEEDS.csv",
    help="A real trip with stops: columns time_s and speed_km_h (or speed_mph ...); grade, wind_speed_km_h, "
    "ambient_degc if known. The turbine works as trip.works says.",
)
@click.option(
    "--power",
    "power_file",
    type=click.Path(path_type=Path),
    metavar="LOG.csv",
    help="A wattmeter's log instead of the computed power: columns time_s, power_w; speed_km_h, ambient_degc if known.",
)
@click.option(
    "--repeat", type=click.IntRange(1, 1000), default=1, help="Drive the trip or log this many times in a row."
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE.png",
    help="Draw temperature against time (.png, .svg or .html).",
)
@common.force_option
@click.option("--exact", is_flag=True, help="Take every value as exact: no intervals, and a fraction of the time.")
@common.taken_as(HeatOptions)
def command(chosen: HeatOptions) -> None:
    """Show how long the load of SCENARIO.toml takes to its target, how hot it can get, and what that costs in fuel.

    What is heated stands in the table [load] (windtoll keys load). At the scenario's steady speed; with --trip or
    --power over a real trip as well.

    \b
    Examples:
      windtoll heat scenario.toml --set load.target_temperature="140 degF" --units us
      windtoll heat scenario.toml --trip speeds.csv --picture warm.png
      windtoll heat scenario.toml --power wattmeter.csv
    """
    from energy.chain.heating import DRAWS, heating, read_power, read_trip
    from energy.chain.load import load
    from energy.pictures.base import checked_picture, save
    from energy.pictures.heat import heating_chart
    from energy.words import heat as heat_report
    from vehicle.files import read_by_run

    if chosen.trip_file is not None and chosen.power_file is not None:
        read = "given together with --trip"
        raise InputError(Problem("command line", "--power", read, "one of them (a power log may have a column speed)"))
    inputs = read_by_run(chosen.scenario, chosen.trip_file, chosen.power_file)
    if chosen.picture is not None:
        checked_picture(chosen.picture, inputs, force=chosen.force)
    checked = load(chosen.scenario, chosen.overrides)
    trip = None
    if chosen.trip_file is not None:
        trip = read_trip(chosen.trip_file, repeats=chosen.repeat)
    elif chosen.power_file is not None:
        trip = read_power(chosen.power_file, repeats=chosen.repeat)
    elif checked.schedule is not None and checked.trip.schedule is not None:
        trip = read_trip(chosen.scenario.parent / checked.trip.schedule, repeats=chosen.repeat)
    elif chosen.repeat > 1:
        raise InputError(
            Problem("command line", "--repeat", "given without --trip, --power or trip.schedule", "one of them")
        )
    draws = 0 if chosen.exact else DRAWS
    steady = heating(checked, draws=draws)
    result = steady
    if trip is not None:
        with common.progress("Following the temperature") as progress:
            result = heating(checked, trip, draws=draws, progress=progress)
    if chosen.picture is not None:
        title = heat_report.first_lines(result, chosen.system).headline
        chart = heating_chart(_bands(result, steady), _target(result), title, chosen.system)
        save(chart, chosen.picture, inputs, force=chosen.force)
    if chosen.as_json:
        written = [] if chosen.picture is None else [str(chosen.picture)]
        common.print_json(
            heat_report.as_data(result, chosen.system, steady=None if trip is None else steady, written=written)
        )
    else:
        _print(result, steady, chosen.picture, chosen.system)
    common.leave(heat_report.first_lines(result, chosen.system))


def _target(heating: Heating) -> float:
    return float(heating.outcome.target_k[0])


def _bands(heating: Heating, steady: Heating) -> list[tuple[str, TemperatureBand]]:
    """Return the named curves of a chart: the steady cruise, cut to the trip's length where there is one, and the
    trip.
    """
    from energy.chain.heating import band

    name = "steady cruise"
    if heating.trip is None:
        return [(name, heating.band)]
    own = "trip" if heating.trip.power_w is None else "logged power"
    return [(name, band(steady.watched, heating.trip.seconds)), (own, heating.band)]


def _print(result: Heating, steady: Heating, picture: Path | None, system: UnitSystem) -> None:
    from energy.pictures.terminal import temperature_chart
    from energy.words import answer as report
    from energy.words import heat as heat_report

    out = common.console()
    if result.scenario.title:
        out.print(result.scenario.title, style="dim")
    common.print_verdict(out, heat_report.first_lines(result, system))
    help_ = heat_report.what_would_help(result, system)
    if help_:
        common.heading(out, "What would fix it (each by itself)")
        common.bullets(out, [remedy.words for remedy in help_])
    ranges = " (in brackets: the 90 % range)" if result.drawn else ""
    common.heading(out, f"Numbers{'' if result.trip is None else f' of {result.trip.name}'}{ranges}")
    common.pairs(out, heat_report.key_numbers(result, system))
    if result.trip is not None:
        common.heading(out, "For comparison, a steady cruise")
        common.bullets(out, heat_report.steady_lines(steady, system))
    out.print()
    chart = temperature_chart(_bands(result, steady), target_k=_target(result), system=system, width=min(out.width, 96))
    click.echo(chart)
    if picture is not None:
        out.print(f"Picture: {picture}", soft_wrap=True)
    said = heat_report.notes(result, system)
    if said:
        common.heading(out, "Notes")
        common.bullets(out, said)
    common.heading(out, "Defaults used")
    own = [report.assumption_words(entry, system) for entry in result.load.assumptions]
    others = len(heat_report.assumptions(result)) - len(own)
    if others and (result.trip is None or result.trip.power_w is None or result.trip.speed_m_s is not None):
        own.append(
            f"{others} values of turbine, vehicle and air that the power and the fuel rest on: windtoll answer --full "
            "lists them"
        )
    common.bullets(out, own)
    common.heading(out, "Cautions")
    common.bullets(out, heat_report.cautions(result, system))
