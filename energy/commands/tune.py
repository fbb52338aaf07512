"""`windtoll tune`: which setting of a stepped drive was best, and which to try next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words import forms
from energy.words.tune import ROWS_TITLE, as_data, cautions_of, first_lines, notes_of, setting_headings, setting_rows
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.diagnosis.tuning import Tuned
    from energy.scenario.read import Scenario

_HELP = f"""Find which setting of the drive in SWEEP.csv was best, how certain that is, and which to try next.

{forms.SWEEP_ROWS}

\b
Examples:
  windtoll tune scenario.toml sweep.csv
  windtoll tune scenario.toml sweep.csv --json
"""


@click.command("tune", help=_HELP, short_help="Which setting of a stepped drive was best? Which to try next?")
@common.SCENARIO
@click.argument("sweep", type=click.Path(path_type=Path), metavar="SWEEP.csv")
@common.set_option
@common.units_option
@common.json_option
def command(scenario: Path, sweep: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool) -> None:
    """Print which setting was best and which to try next."""
    from energy.chain.load import load
    from energy.diagnosis.tuning import tuned_of_file

    checked = load(scenario, overrides)
    with common.progress("Weighing the settings") as progress:
        tuned = tuned_of_file(checked, sweep, progress)
    if as_json:
        common.print_json(as_data(tuned, checked))
    else:
        _print(tuned, checked, system)
    common.leave(first_lines(tuned, system))


def _print(tuned: Tuned, scenario: Scenario, system: UnitSystem) -> None:
    out = common.console()
    if scenario.title:
        out.print(scenario.title, style="dim")
    common.print_verdict(out, first_lines(tuned, system))
    common.heading(out, ROWS_TITLE)
    common.grid(out, setting_headings(tuned), setting_rows(tuned, system), wrap=False)
    common.heading(out, "Notes")
    common.bullets(out, notes_of(tuned, system))
    common.heading(out, "Cautions")
    common.bullets(out, cautions_of(scenario))
