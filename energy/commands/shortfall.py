"""`windtoll shortfall`: why so few watts? Every cause weighed against what a passenger read."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
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


@dataclass(frozen=True)
class ShortfallOptions:
    """The options of `windtoll shortfall` as given."""

    scenario: Path
    readings: Path | None
    spoken: tuple[str, ...]
    with_tree: bool
    picture: Path | None
    force: bool
    overrides: tuple[str, ...]
    system: UnitSystem
    as_json: bool


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
@common.taken_as(ShortfallOptions)
def command(chosen: ShortfallOptions) -> None:
    """Print which cause of few watts to check first."""
    from energy.chain.load import load
    from energy.diagnosis.shortfall import shortfall
    from vehicle.files import read_by_run

    inputs = read_by_run(chosen.scenario, chosen.readings)
    if chosen.picture is not None:
        from energy.pictures.base import checked_picture

        checked_picture(chosen.picture, inputs, force=chosen.force)
    checked = load(chosen.scenario, chosen.overrides)
    given = _readings(chosen.readings, chosen.spoken)
    with common.progress("Weighing the causes") as progress:
        result = shortfall(checked, given, progress)
    if chosen.picture is not None:
        from energy.pictures.base import save
        from energy.pictures.measured import shortfall_picture

        save(shortfall_picture(result).titled(), chosen.picture, inputs, force=chosen.force)
    if chosen.as_json:
        common.print_json(as_data(result, checked.title, chosen.system))
    elif chosen.with_tree:
        out = common.console()
        for line in tree_lines(result.tree) or [headline(result)]:
            out.print(line, soft_wrap=True)
    else:
        _print(result, checked.title, chosen.system)
    common.leave(first_lines(result, chosen.system))


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


def _print(result: Shortfall, title: str, system: UnitSystem) -> None:
    out = common.console()
    if title:
        out.print(title, style="dim")
    common.print_verdict(out, first_lines(result, system))
    if to_look_for(result):
        _print_causes(out, result, system)
    common.heading(out, "Cautions")
    common.bullets(out, CAUTIONS)


def _print_causes(out: Console, shortfall: Shortfall, system: UnitSystem) -> None:
    """Print the causes, what to do, the tests and their tree."""
    common.heading(out, "Causes")
    common.grid(out, CAUSE_HEADINGS, cause_rows(shortfall, system), left=1)
    todo = to_do(shortfall, system)
    if todo:
        common.heading(out, "What to do")
        common.bullets(out, todo)
    if shortfall.tests:
        common.heading(out, "Tests, most resolved per minute first")
        common.bullets(out, test_lines(shortfall))
        common.grid(
            out, ("outcome of the first", "probability", "it would mean"), outcome_rows(shortfall.tests[0]), left=3
        )
    tree = tree_lines(shortfall.tree)
    if tree:
        common.heading(out, "Decision tree (--tree prints it alone)")
        for line in tree:
            out.print(line, soft_wrap=True)
