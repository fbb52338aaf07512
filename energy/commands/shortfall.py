"""`windtoll shortfall`: why so few watts? Every cause weighed against what a passenger read."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words import forms
from energy.words.shortfall import (
    CAUSE_HEADINGS,
    CAUTIONS,
    as_data,
    cause_rows,
    first_lines,
    headline,
    outcome_rows,
    test_lines,
    to_do,
    to_look_for,
    tree_lines,
)
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Console

    from energy.diagnosis.shortfall import Shortfall
    from energy.diagnosis.shortfall_readings import Readings

_HELP = f"""Find why the machine of SCENARIO.toml gave so few watts.

Pitch, air, blades, stall, generator, element, belt, leads, wind and meter are weighed together; the cheapest test that
parts them is named.

{textwrap.fill(forms.PASSENGER_READINGS, 117)}

\b
Examples:
  windtoll shortfall scenario.toml readings.csv
  windtoll shortfall scenario.toml --reading "210 W at 60 mph"
  windtoll shortfall scenario.toml --reading "210 W at 60 mph, 400 rpm, 55 V" --reading "90 W at 45 mph, air 20 mph"
"""


@click.command("shortfall", help=_HELP, short_help="Why so few watts? What to check first?")
@common.SCENARIO
@click.argument("readings", type=click.Path(path_type=Path), metavar="[READINGS.csv]", required=False)
@click.option(
    "--reading",
    "spoken",
    multiple=True,
    metavar='"210 W at 60 mph"',
    help="One reading as said aloud: watts at a road speed; optional rpm, volts, amps, 'air 20 mph', "
    "'dial 6 deg', out or back. May be repeated.",
)
@click.option("--tree", "with_tree", is_flag=True, help="Print only the decision tree, to tick on the way.")
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE.png",
    help="Draw the probability of each cause and the watts that it takes away (.png, .svg or .html).",
)
@common.force_option
@common.set_option
@common.units_option
@common.json_option
def command(
    scenario: Path,
    readings: Path | None,
    spoken: tuple[str, ...],
    with_tree: bool,
    picture: Path | None,
    force: bool,
    overrides: tuple[str, ...],
    system: UnitSystem,
    as_json: bool,
) -> None:
    """Print which cause of few watts to check first."""
    from energy.chain.load import load
    from energy.diagnosis.shortfall import shortfall

    inputs = [scenario, *([] if readings is None else [readings])]
    if picture is not None:
        from energy.pictures.base import checked_picture

        checked_picture(picture, inputs, force=force)
    checked = load(scenario, overrides)
    given = _readings(readings, spoken)
    with common.progress("Weighing the causes") as progress:
        found = shortfall(checked, given, progress)
    if picture is not None:
        from energy.pictures.base import save
        from energy.pictures.measured import shortfall_picture

        save(shortfall_picture(found).titled(), picture, inputs, force=force)
    if as_json:
        common.print_json(as_data(found, checked.title, system))
    elif with_tree:
        out = common.console()
        for line in tree_lines(found.tree) or [headline(found)]:
            out.print(line, soft_wrap=True)
    else:
        _print(found, checked.title, system)
    common.leave(first_lines(found, system))


def _readings(path: Path | None, spoken: tuple[str, ...]) -> Readings:
    """Return the readings of file and options together."""
    from energy.diagnosis.shortfall_readings import joined, read_lines, read_readings

    if path is None and not spoken:
        raise InputError(
            Problem("command line", "", "no reading", "READINGS.csv, or --reading '210 W at 60 mph', or both")
        )
    if path is None:
        return read_lines(spoken)
    return joined(read_readings(path), read_lines(spoken)) if spoken else read_readings(path)


def _print(found: Shortfall, title: str, system: UnitSystem) -> None:
    out = common.console()
    if title:
        out.print(title, style="dim")
    common.print_verdict(out, first_lines(found, system))
    if to_look_for(found):
        _print_causes(out, found, system)
    common.heading(out, "Cautions")
    common.bullets(out, CAUTIONS)


def _print_causes(out: Console, found: Shortfall, system: UnitSystem) -> None:
    """Print the causes, what to do, the tests and their tree."""
    common.heading(out, "Causes")
    common.grid(out, CAUSE_HEADINGS, cause_rows(found, system), left=1)
    todo = to_do(found, system)
    if todo:
        common.heading(out, "What to do")
        common.bullets(out, todo)
    if found.tests:
        common.heading(out, "Tests, most resolved per minute first")
        common.bullets(out, test_lines(found))
        common.grid(out, ("outcome of the first", "probability", "it would mean"), outcome_rows(found.tests[0]), left=3)
    tree = tree_lines(found.tree)
    if tree:
        common.heading(out, "Decision tree (--tree prints it alone)")
        for line in tree:
            out.print(line, soft_wrap=True)
