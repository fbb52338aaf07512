"""`windtoll size`: how big a rotor for the heat that is wanted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words import rotor_choice
from energy.words.size import NEXT, NOT_CHECKED, as_data, headings, rows, rows_title, sentence
from vehicle.problems import InputError, Problem
from vehicle.typed import read_quantity
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.rotor_choice import RotorChoice
    from energy.chain.sizing import SizingTable


@dataclass(frozen=True)
class SizeOptions:
    """What the command line gives; see the options."""

    heat: str
    speed: str
    head_wind: str
    shelter: str
    fuel: str
    tip_speed_ratio: float | None
    ratios: tuple[float, ...]
    efficiency: str
    highest_rotor_speed: str
    system: UnitSystem
    as_json: bool


@click.command("size", short_help="How big a rotor for the heat you want, and its fuel bill.")
@click.option("--heat", required=True, metavar='"2 kW"', help="Heat wanted into the load.")
@click.option("--speed", required=True, metavar='"65 mph"', help="Road speed.")
@click.option(
    "--head-wind",
    default="0 m/s",
    show_default=True,
    metavar='"10 km/h"',
    help="Head wind that comes on top of the road speed.",
)
@click.option(
    "--shelter",
    default="1",
    show_default=True,
    metavar="FACTOR",
    help="Air speed at the rotor over that of the free air.",
)
@click.option(
    "--fuel",
    type=click.Choice(["petrol", "e10", "diesel", "lpg"]),
    default="petrol",
    show_default=True,
    help="Fuel of the vehicle.",
)
@click.option(
    "--tip-speed-ratio",
    type=float,
    help="Tip speed over air speed. [default: 5, or less to keep the tips at 80 m/s (260 ft/s)]",
)
@click.option(
    "--ratio",
    "ratios",
    multiple=True,
    type=float,
    help="Gear ratios to show the generator speed at. May be repeated. [default: 2 3 4]",
)
@click.option(
    "--efficiency", default="70 %", show_default=True, help="Rotor shaft to heat: belt, generator, rectifier, leads."
)
@click.option(
    "--highest-rotor-speed", default="", metavar='"900 rpm"', help="Rotor speed that no compared rotor may pass."
)
@common.units_option
@common.json_option
@common.taken_as(SizeOptions)
def command(chosen: SizeOptions) -> None:
    """Show a table of rotor diameters for the heat wanted at a road speed: turning speed, thrust, fuel bill.

    From momentum theory, the ideal rotor and a realistic hand-made one: a start, never a promise.

    \b
    Examples:
      windtoll size --heat "2 kW" --speed "65 mph"
      windtoll size --heat "1.2 kW" --speed "90 km/h" --fuel diesel --shelter 0.7
    """
    from energy.chain.rotor_choice import compare_rotors
    from energy.chain.sizing import USUAL_RATIOS, Wanted, sized

    numbers = {
        "--heat": (chosen.heat, "W"),
        "--speed": (chosen.speed, "m/s"),
        "--head-wind": (chosen.head_wind, "m/s"),
        "--shelter": (chosen.shelter, "dimensionless"),
        "--efficiency": (chosen.efficiency, "dimensionless"),
    }
    if chosen.highest_rotor_speed:
        numbers["--highest-rotor-speed"] = (chosen.highest_rotor_speed, "rad/s")
    values: dict[str, float] = {}
    problems: list[Problem] = []
    for option, (text, unit) in numbers.items():
        try:
            values[option] = read_quantity(option, text, unit)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    wanted = Wanted(
        heat_w=values["--heat"],
        road_speed_m_s=values["--speed"],
        head_wind_m_s=values["--head-wind"],
        shelter=values["--shelter"],
        efficiency=values["--efficiency"],
        fuel=chosen.fuel,
        tip_speed_ratio=chosen.tip_speed_ratio,
        gear_ratios=chosen.ratios or USUAL_RATIOS,
    )
    table = sized(wanted)
    choice = compare_rotors(wanted, highest_rotor_speed_rad_s=values.get("--highest-rotor-speed"))
    if chosen.as_json:
        common.print_json(as_data(table, choice))
    else:
        _print(table, choice, values["--speed"], chosen.system)


def _print(table: SizingTable, choice: RotorChoice, road_speed_m_s: float, system: UnitSystem) -> None:
    out = common.console()
    if choice.chosen is None:
        out.print(rotor_choice.sentence(choice, system), style="bold")
    out.print(sentence(table, road_speed_m_s, system), style="bold")
    out.print(NOT_CHECKED)
    common.print_rotors(out, choice, system)
    if choice.chosen is not None:
        common.print_blade(out, choice.chosen.blade, choice.chosen.build, system)
    common.heading(out, rows_title(table, system))
    common.grid(out, headings(table, system), rows(table, system), gap=1)
    common.heading(out, "Assumed")
    common.bullets(out, table.notes)
    common.heading(out, "Next")
    common.bullets(out, (*NEXT, *rotor_choice.DANGER))
