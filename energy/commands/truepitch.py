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
    from rich.console import Console

    from energy.diagnosis.true_pitch import MeasuredRows, TruePitch

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
    first = first_lines(checked, result, rows, system)
    if as_json:
        common.print_json(as_data(checked, result, rows))
    else:
        out = common.console()
        if checked.title:
            out.print(checked.title, style="dim")
        common.print_verdict(out, first)
        _print(out, result, rows, system)
    common.leave(first)


def _print(out: Console, result: TruePitch, rows: MeasuredRows, system: UnitSystem) -> None:
    common.heading(out, rows_title(rows))
    common.grid(out, row_headings(rows, system), row_texts(result, rows, system), wrap=False)
    said = notes_of(result)
    if said:
        common.heading(out, "Notes")
        common.bullets(out, said)
    common.heading(out, "Cautions")
    common.bullets(out, CAUTIONS)
