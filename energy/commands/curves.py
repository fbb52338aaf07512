"""`windtoll curves`: power and thrust curves of a rotor, to a file, a picture, and at one condition."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.curves import BEST_OF_EACH_PITCH, PITCH_COLUMNS, as_data, condition_rows, pitch_rows, title
from energy.words.verdict import NOT_CHECKED
from vehicle import units
from vehicle.problems import InputError, Problem
from vehicle.quantity import shown_value
from vehicle.typed import read_quantity
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.rotor_at import RotorAt
    from energy.scenario.read import RotorOnly


FASTEST_AIR_M_S = 100.0  # 360 km/h: no vehicle and no storm brings more to a rotor


@dataclass(frozen=True)
class CurvesOptions:
    """What the command line gives; see the options."""

    scenario: Path
    overrides: tuple[str, ...]
    system: UnitSystem
    as_json: bool
    out: Path | None
    picture: Path | None
    force: bool
    air_speed: str | None
    turning: str | None


@click.command("curves", short_help="Power and thrust curves of the rotor, from its blade or curve file.")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="CURVES.csv",
    help="Save the curves as a file that rotor.curves reads.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE.svg",
    help="Draw them (.svg, .png or .html). Default: next to --out.",
)
@common.force_option
@click.option(
    "--air",
    "air_speed",
    metavar='"7 m/s"',
    help="At this air speed at the rotor (it sets the Reynolds numbers): curves, and what the rotor does ...",
)
@click.option("--turning", metavar='"72 rpm"', help="... turning at this speed (else at its best tip-speed ratio).")
@common.taken_as(CurvesOptions)
def command(chosen: CurvesOptions) -> None:
    """Show the power and thrust curves of the rotor in SCENARIO.toml; only its tables [air], [rotor] and [blade] are
    needed.

    With rotor.blade they are computed from radius, chord, twist and section polar by blade-element momentum.

    \b
    Examples:
      windtoll curves scenario.toml --out curves.csv
      windtoll curves rotor.toml --air "7 m/s" --turning "72 rpm"
    """
    from energy.pictures.base import checked_picture, save
    from energy.pictures.curves import curves_chart
    from energy.scenario.read import load_rotor
    from vehicle.files import check_apart, checked_output, read_by_run

    if chosen.turning is not None and chosen.air_speed is None:
        raise InputError(Problem("command line", "--turning", "given without --air", "both, or --air alone"))
    air_speed_m_s = None if chosen.air_speed is None else _positive("--air", chosen.air_speed, "m/s", FASTEST_AIR_M_S)
    rotor = load_rotor(chosen.scenario, chosen.overrides, air_speed_m_s)
    picture = chosen.picture
    if picture is None and chosen.out is not None:
        picture = chosen.out.with_suffix(".svg")
    inputs = read_by_run(chosen.scenario)
    check_apart({"--out": chosen.out, "--picture": picture})
    if chosen.out is not None:
        checked_output(chosen.out, inputs, force=chosen.force)
    if picture is not None:
        checked_picture(picture, inputs, force=chosen.force)
    condition = None if air_speed_m_s is None else _condition(rotor, air_speed_m_s, chosen.turning)
    if chosen.out is not None:
        from energy.aero.curves import write_curves

        write_curves(chosen.out, rotor.curves, inputs, force=chosen.force)
    if picture is not None:
        save(curves_chart(rotor.curves, title(rotor)), picture, inputs, force=chosen.force)
    written = [str(path) for path in (chosen.out, picture) if path is not None]
    if chosen.as_json:
        common.print_json(as_data(rotor, condition, written))
    else:
        _print(rotor, condition, written, chosen.system)


def _condition(rotor: RotorOnly, air_speed_m_s: float, turning_text: str | None) -> RotorAt:
    from energy.chain.rotor_at import rotor_at

    turning = None if turning_text is None else _positive("--turning", turning_text, "rad/s")
    return rotor_at(rotor, air_speed_m_s, turning)


def _positive(option: str, text: str, unit: str, most: float = math.inf) -> float:
    value = read_quantity(option, text, unit)
    if not 0 < value <= most:
        at_most = "" if math.isinf(most) else f" and at most {shown_value(most, unit)}"
        raise InputError(Problem("command line", option, text, f"above 0{at_most}, such as {units.example(unit)}"))
    return value


def _print(rotor: RotorOnly, condition: RotorAt | None, written: list[str], system: UnitSystem) -> None:
    out = common.console()
    out.print(title(rotor) + ".", style="bold")
    out.print(NOT_CHECKED)
    common.heading(out, BEST_OF_EACH_PITCH)
    common.grid(out, PITCH_COLUMNS, pitch_rows(rotor.curves))
    if condition is not None:
        common.heading(out, "At that condition")
        common.pairs(out, condition_rows(condition, system))
    if rotor.curves.notes:
        common.heading(out, "Assumed")
        common.bullets(out, list(rotor.curves.notes))
    from energy.words.cautions import BLADE, ESTIMATE

    common.heading(out, "Cautions")
    common.bullets(out, [BLADE, ESTIMATE])
    for path in written:
        out.print(f"written: {path}", soft_wrap=True)
