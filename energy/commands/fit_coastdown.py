"""`windtoll fit coastdown`: road load coefficients from logged coast-downs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.coastdown import as_data, for_the_scenario, in_words

if TYPE_CHECKING:
    from vehicle.driving.coast_run import CoastRun
    from vehicle.units import UnitSystem


@click.command("coastdown", short_help="Road load A, B, C from coast-downs in both directions.")
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--mass", required=True, help='Mass of the vehicle as driven, e.g. "1420 kg" or "3130 lb".')
@click.option("--directions", help='Direction of each coast-down in the logs, in order, e.g. "+-+-+-+-".')
@click.option(
    "--level", type=click.FloatRange(50, 99.9), default=95.0, show_default=True, help="Level of the intervals, %."
)
@click.option("--column", "columns", multiple=True, metavar="HEADER=PARAMETER", help="What a column is, as for `read`.")
@common.units_option
@common.json_option
def command(
    logs: tuple[Path, ...],
    mass: str,
    directions: str | None,
    level: float,
    columns: tuple[str, ...],
    system: UnitSystem,
    as_json: bool,
) -> None:
    """Fit A, B and C of F = A + B v + C v² to logged coast-downs in both directions of one road.

    On a straight, level, empty road: roll out in neutral from a good speed, turn round, roll out the other way; eight
    times each way on a calm day. Directions are taken from the satellite track if it is in the log, from
    --directions, or, where wind or grade show it, as alternating. Braking in or after a run is cut off, a run unlike
    the others is left out, and both are named. Keep the engine running (brakes and steering need it) and obey the
    traffic rules of the place.
    """
    from vehicle.driving.coastdown import fit_coastdown
    from vehicle.logs.coast_runs import coast_runs
    from vehicle.logs.read import read_log
    from vehicle.problems import InputError, Problem, shown
    from vehicle.units import QuantityError, parse

    try:
        mass_kg = parse(mass, "kg")
    except QuantityError as error:
        raise InputError(Problem("--mass", "", str(error), '"1420 kg" or "3130 lb"')) from None
    if not 50 <= mass_kg <= 60_000:
        raise InputError(Problem("--mass", "", f"{mass_kg:g} kg", "50 kg to 60000 kg"))
    signs: list[int] | None = None
    if directions is not None:
        marks = [mark for mark in directions.replace(",", "").split() for mark in mark]
        if not marks or any(mark not in "+-" for mark in marks):
            raise InputError(Problem("--directions", "", shown(directions), '+ and - only, such as "+-+-"'))
        signs = [1 if mark == "+" else -1 for mark in marks]
    overrides = {}
    for text in columns:
        header, equals, parameter = text.partition("=")
        if not equals:
            raise InputError(Problem("--column", "", shown(text), '"HEADER=vehicle speed (km/h)"'))
        overrides[header.strip()] = parameter.strip()
    runs: list[CoastRun] = []
    for path in logs:
        log = read_log(path, overrides, where="--column")
        count = len(coast_runs(log))
        own = signs[len(runs) : len(runs) + count] if signs is not None else None
        runs += coast_runs(log, own)
    if signs is not None and len(signs) != len(runs):
        raise InputError(
            Problem("--directions", "", f"{len(signs)} signs for {len(runs)} coast-downs", "one sign for each")
        )
    fit = fit_coastdown(runs, mass_kg, level=level / 100)
    if as_json:
        common.print_json(as_data(fit))
        return
    common.lines(common.console(), in_words(fit, system))
    to_paste = for_the_scenario(fit, system)
    if to_paste:
        click.echo("\n".join(["", *to_paste]))
