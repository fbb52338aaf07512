"""`windtoll curves`: power and thrust curves of a rotor, to a file, a picture, and at one condition."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click
import numpy as np

from energy.commands import common
from energy.words.curves import as_data, title
from vehicle import units
from vehicle.problems import InputError, Problem
from vehicle.typed import read_quantity
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.scenario.read import RotorOnly


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
    help="Draw them (.svg, .png or .html). Default: beside --out.",
)
@click.option("--air", "air_speed", metavar='"7 m/s"', help="Also say what the rotor does at this air speed ...")
@click.option("--turning", metavar='"72 rpm"', help="... turning at this speed (else at its best tip-speed ratio).")
def command(
    scenario: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool, out: Path | None, picture: Path | None,
    air_speed: str | None, turning: str | None,
) -> None:  # fmt: skip
    """Show the power and thrust curves of the rotor in SCENARIO.toml; only its tables [air], [rotor] and [blade] are needed.

    With rotor.blade they are computed from radius, chord, twist and section polar by blade-element momentum.

    \b
    Examples:
      windtoll curves scenario.toml --out curves.csv
      windtoll curves rotor.toml --air "7 m/s" --turning "72 rpm"
    """
    from energy.pictures import charts
    from energy.scenario.read import load_rotor

    if turning is not None and air_speed is None:
        raise InputError(Problem("command line", "--turning", "given without --air", "both, or --air alone"))
    rotor = load_rotor(scenario, overrides)
    if picture is None and out is not None:
        picture = out.with_suffix(".svg")
    if picture is not None:
        charts.checked_picture(picture)
    condition = None if air_speed is None else _condition(rotor, air_speed, turning)
    if out is not None:
        from energy.aero.curves import write_curves

        write_curves(out, rotor.curves)
    if picture is not None:
        charts.save(charts.curves_chart(rotor.curves, title(rotor)), picture)
    written = [str(path) for path in (out, picture) if path is not None]
    if as_json:
        common.print_json(as_data(rotor, condition, written))
    else:
        _print(rotor, condition, written, system)


def _condition(rotor: RotorOnly, air_text: str, turning_text: str | None) -> dict[str, float]:
    """Return what the rotor does at one air speed and turning speed (SI)."""
    from energy.aero.operating_point import coefficients, stalled_torque_share

    air = _positive("--air", air_text, "m/s")
    radius = rotor.rotor.diameter.value / 2
    pitch = rotor.pitch_deg
    if turning_text is None:
        ratios = np.linspace(0.05, rotor.curves.tip_speed_ratio[-1], 2000)
        ratio = float(ratios[np.argmax(coefficients(rotor.curves, pitch, ratios)[0])])
    else:
        ratio = _positive("--turning", turning_text, "rad/s") * radius / air
    if ratio > rotor.curves.tip_speed_ratio[-1]:
        end = rotor.curves.tip_speed_ratio[-1]
        raise InputError(
            Problem(
                "command line",
                "--turning",
                f"a tip-speed ratio of {ratio:.3g}",
                f"at most {end:g}, where the curves end",
            )
        )
    power, thrust, _ = (float(v) for v in coefficients(rotor.curves, pitch, ratio))
    pressure = 0.5 * rotor.density_kg_m3 * math.pi * radius**2 * air**2
    return {
        "air_speed_m_s": air,
        "rotor_speed_rad_s": ratio * air / radius,
        "tip_speed_ratio": ratio,
        "pitch_deg": pitch,
        "air_density_kg_m3": rotor.density_kg_m3,
        "power_coefficient": power,
        "thrust_coefficient": thrust,
        "shaft_power_w": power * pressure * air,
        "thrust_n": thrust * pressure,
        "stalled_torque_share": float(stalled_torque_share(rotor.curves, pitch, ratio)),
    }


def _positive(option: str, text: str, unit: str) -> float:
    value = read_quantity(option, text, unit)
    if value <= 0:
        raise InputError(Problem("command line", option, text, f"above 0, such as {units.example(unit)}"))
    return value


def _print(rotor: RotorOnly, condition: dict[str, float] | None, written: list[str], system: UnitSystem) -> None:
    from rich.table import Table

    from energy.aero.blade import STALL_SHARE_LIMIT

    out, curves = common.console(), rotor.curves
    out.print(title(rotor) + ".", style="bold")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("pitch", "best tip-speed ratio", "power coefficient", "thrust coefficient", "from stalled sections"):
        table.add_column(name, justify="right")
    for row in np.flatnonzero(curves.power_coefficient.max(axis=1) > 0.01):
        best = int(np.argmax(curves.power_coefficient[row]))
        stalled = "" if curves.stalled_torque_share is None else f"{curves.stalled_torque_share[row, best]:.0%}"
        numbers = (
            curves.tip_speed_ratio[best],
            curves.power_coefficient[row, best],
            curves.thrust_coefficient[row, best],
        )
        table.add_row(
            f"{curves.pitch_deg[row]:g}°", *(f"{n:.{d}f}" for n, d in zip(numbers, (1, 3, 2), strict=True)), stalled
        )
    common.heading(out, "Best of each pitch (from the rotor plane towards feather)")
    out.print(table)
    if condition is not None:
        common.heading(out, "At that condition")
        c = condition
        rows = [
            (
                "air speed, rotor speed",
                f"{show(c['air_speed_m_s'], 'speed', system)}, {show(c['rotor_speed_rad_s'], 'rotor_speed', system)}",
            ),
            (
                "pitch of the curves, tip-speed ratio",
                f"{figures(c['pitch_deg'], 3)}°, {figures(c['tip_speed_ratio'], 3)}",
            ),
            ("power and thrust coefficient", f"{c['power_coefficient']:.3f}, {c['thrust_coefficient']:.3f}"),
            (
                "shaft power, thrust",
                f"{show(c['shaft_power_w'], 'power', system)}, {show(c['thrust_n'], 'force', system)}",
            ),
        ]
        if c["stalled_torque_share"] > STALL_SHARE_LIMIT:
            rows.append(
                (
                    "stall",
                    f"{c['stalled_torque_share']:.0%} of the torque comes from stalled sections: the power can be wrong by a factor of two",
                )
            )
        common.pairs(out, rows)
    if curves.notes:
        common.heading(out, "Assumed")
        common.bullets(out, list(curves.notes))
    for path in written:
        out.print(f"written: {path}", soft_wrap=True)
