"""`windtoll truepitch`: what the pitch must really have been, and whether the dial can be believed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words import forms
from energy.words.pitch import (
    CAUTIONS,
    as_data,
    first_lines,
    notes_of,
    row_headings,
    row_texts,
    rows_title,
)
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.diagnosis.true_pitch import MeasuredRows, TruePitch
    from energy.scenario.read import Scenario

_HELP = f"""Find the blade pitch that explains the rows of MEASURED.csv with the rotor and generator of SCENARIO.toml.

{forms.MEASURED_ROWS}

\b
Examples:
  windtoll truepitch scenario.toml measured.csv
  windtoll truepitch scenario.toml measured.csv --set measurement.air_speed_calibration="2 %"
"""


@click.command("truepitch", help=_HELP, short_help="What must the pitch really have been? Can the dial be believed?")
@common.SCENARIO
@click.argument("measured", type=click.Path(path_type=Path), metavar="MEASURED.csv")
@common.set_option
@common.units_option
@common.json_option
def command(scenario: Path, measured: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool) -> None:
    """Print the pitch that explains measured rows."""
    from energy.chain.load import load
    from energy.diagnosis.true_pitch import true_pitch_of_file

    checked = load(scenario, overrides)
    with common.progress("Looking for the pitch") as progress:
        result, rows = true_pitch_of_file(checked, measured, progress)
    if as_json:
        common.print_json(as_data(result, rows))
    else:
        _print(checked, result, rows, system)


def _print(scenario: Scenario, result: TruePitch, rows: MeasuredRows, system: UnitSystem) -> None:
    out = common.console()
    if scenario.title:
        out.print(scenario.title, style="dim")
    common.print_verdict(out, first_lines(scenario, result, rows))
    common.heading(out, rows_title(rows))
    common.grid(out, row_headings(rows, system), row_texts(result, rows, system), wrap=False)
    said = notes_of(result)
    if said:
        common.heading(out, "Notes")
        common.bullets(out, said)
    common.heading(out, "Cautions")
    common.bullets(out, CAUTIONS)
