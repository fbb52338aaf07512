"""`windtoll size`: how big a rotor for the heat that is wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
import numpy as np

from energy.commands import common
from vehicle import units
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.chain.sizing import SizingTable


TRADE = "Smaller and fuller loaded or larger and lightly loaded: the larger one pays less drag for the same heat, and is heavier to mount."
DANGER = "A rotor of this size on a vehicle can kill: see the cautions of windtoll answer before building."
NEXT = (
    TRADE,
    "Give your rotor, generator and vehicle to windtoll answer (windtoll example FOLDER makes scenarios to start from).",
    DANGER,
)


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
    "--tip-speed-ratio", type=float, help="Tip speed over air speed. [default: 5, or less to keep the tips at 80 m/s]"
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
@common.units_option
@common.json_option
def command(
    heat: str, speed: str, head_wind: str, shelter: str, fuel: str, tip_speed_ratio: float | None, ratios: tuple[float, ...], efficiency: str,
    system: UnitSystem, as_json: bool,
) -> None:  # fmt: skip
    """Show a table of rotor diameters for the heat wanted at a road speed: turning speed, thrust, fuel bill.

    From momentum theory, the ideal rotor beside a realistic hand-made one: a start, never a promise.

    \b
    Examples:
      windtoll size --heat "2 kW" --speed "65 mph"
      windtoll size --heat "1.2 kW" --speed "90 km/h" --fuel diesel --shelter 0.7
    """
    from energy.chain.sizing import USUAL_RATIOS, Wanted, sized

    numbers = {
        "--heat": (heat, "W"), "--speed": (speed, "m/s"), "--head-wind": (head_wind, "m/s"), "--shelter": (shelter, "dimensionless"),
        "--efficiency": (efficiency, "dimensionless"),
    }  # fmt: skip
    values: dict[str, float] = {}
    problems: list[Problem] = []
    for option, (text, unit) in numbers.items():
        try:
            values[option] = common.read_quantity(option, text, unit)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    table = sized(
        Wanted(
            heat_w=values["--heat"],
            road_speed_m_s=values["--speed"],
            head_wind_m_s=values["--head-wind"],
            shelter=values["--shelter"],
            efficiency=values["--efficiency"],
            fuel=fuel,
            tip_speed_ratio=tip_speed_ratio,
            gear_ratios=ratios or USUAL_RATIOS,
        )
    )
    if as_json:
        common.print_json(_data(table))
    else:
        _print(table, values["--speed"], system)


def _data(table: SizingTable) -> dict[str, Any]:
    def rows_of_grade(k: int) -> list[dict[str, Any]]:
        return [
            {
                "diameter_m": float(table.diameter_m[j]),
                "heat_w": float(table.heat_w[k, j]),
                "enough": bool(table.enough[k, j]),
                "thrust_n": float(table.thrust_n[k, j]),
                "drag_power_w": float(table.drag_power_w[k, j]),
                "fuel_l_per_h": float(table.fuel_flow_m3_s[k, j]) * 3.6e6,
                "rotor_speed_rpm": float(table.rotor_speed_rad_s[j]) * 30 / np.pi,
                "generator_speed_rpm": {
                    f"{r:g}": float(v) * 30 / np.pi
                    for r, v in zip(table.gear_ratios, table.generator_speed_rad_s[:, j], strict=True)
                },
            }
            for j in range(len(table.diameter_m))
        ]

    grades = {
        grade.name: {
            "power_coefficient": grade.power_coefficient, "share_of_betz_limit": grade.betz_share,
            "needed_diameter_m": float(table.needed_diameter_m[k]), "rows": rows_of_grade(k),
        }
        for k, grade in enumerate(table.grades)
    }  # fmt: skip
    return {
        "wanted_heat_w": table.wanted_heat_w,
        "tip_speed_m_s": table.tip_speed_m_s,
        "grades": grades,
        "notes": list(table.notes),
    }


def sentence(table: SizingTable, road_speed_m_s: float, system: UnitSystem) -> str:
    """Return the answer: the diameter that is needed, its range, and the fuel that a rotor of that size costs."""
    ideal, usual, poor, good = (show(float(v), "length", system) for v in table.needed_diameter_m)
    best = int(np.argmax(table.enough[1]))
    return (
        f"For {show(table.wanted_heat_w, 'power', system)} of heat at {show(road_speed_m_s, 'speed', system)}: a hand-made rotor of about {usual} "
        f"({good} if good, {poor} if poor; the ideal would need {ideal}). A rotor of {show(float(table.diameter_m[best]), 'length', system)} "
        f"would cost about {show(float(table.fuel_flow_m3_s[1, best]), 'fuel_flow', system, signed=True)} of fuel."
    )


def headings(table: SizingTable, system: UnitSystem) -> list[str]:
    """Return the headings of the table of diameters, with a line break where a narrow column wants one."""
    labels = {kind: units.label(kind, system) for kind in ("length", "force", "fuel_flow")}
    names = [f"size\n{labels['length']}"]
    for grade in ("ideal", "real"):
        names += [f"{grade}\nheat W", f"\nthrust {labels['force']}", f"\nfuel {labels['fuel_flow']}"]
    return [*names, "rotor\nrpm", *(f"{ratio:g}:1\nrpm" for ratio in table.gear_ratios)]


def rows(table: SizingTable, system: UnitSystem) -> list[list[str]]:
    """Return the table of diameters as texts under `headings`; * marks a rotor that gives all it can and not enough."""
    found = []
    for j, diameter in enumerate(table.diameter_m):
        cells = [figures(units.to_user(float(diameter), "length", system), 3)]
        for k in (0, 1):
            cells += [
                figures(float(table.heat_w[k, j]), 3) + ("" if table.enough[k, j] else "*"),
                figures(units.to_user(float(table.thrust_n[k, j]), "force", system), 3),
                figures(units.to_user(float(table.fuel_flow_m3_s[k, j]), "fuel_flow", system), 2, signed=True),
            ]
        cells += [f"{v * 30 / np.pi:.0f}" for v in (table.rotor_speed_rad_s[j], *table.generator_speed_rad_s[:, j])]
        found.append(cells)
    return found


def rows_title(table: SizingTable, system: UnitSystem) -> str:
    """Return the heading of the table of diameters."""
    tips = show(table.tip_speed_m_s, "tip_speed", system)
    return f"Diameters, loaded just so far as the heat needs; tips at {tips} (* all that it can give)"


def _print(table: SizingTable, road_speed_m_s: float, system: UnitSystem) -> None:
    from rich.table import Table

    out = common.console()
    out.print(sentence(table, road_speed_m_s, system), style="bold")
    shown = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    for name in headings(table, system):
        shown.add_column(name, justify="right")
    for cells in rows(table, system):
        shown.add_row(*cells)
    common.heading(out, rows_title(table, system))
    out.print(shown)
    common.heading(out, "Assumed")
    common.bullets(out, table.notes)
    common.heading(out, "Next")
    common.bullets(out, NEXT)
