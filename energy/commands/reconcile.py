"""`windtoll reconcile`: what road tests and wattmeter readings show of the uncertain inputs."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words import forms
from energy.words.reconcile import (
    READING_HEADINGS,
    TOGETHER,
    WHERE_NOT,
    as_data,
    first_lines,
    input_rows,
    reading_rows,
    scenario_lines,
)
from energy.words.verdict import called
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.diagnosis.reconcile import Reconciled
    from energy.scenario.read import Scenario
    from energy.words.verdict import FirstLines

_HELP = f"""Narrow the uncertain inputs of SCENARIO.toml by the readings of RESULTS.toml; show before and after.

Readings and stated ranges are weighed by how accurate each is. Where they contradict each other beyond their stated
ranges, that comes first. Changes no file: the lines to paste into the scenario are printed where readings and model
agree. Why a machine gives fewer watts than expected is the question of windtoll shortfall.

\b
RESULTS.toml holds one [[result]] for each reading, with how accurate it is:
  [[result]]
  what = "wattmeter, both directions"
  road_speed = "80 km/h"
  wind_speed = {{ value = "0 km/h", low = "0 km/h", high = "8 km/h" }}
  electrical_power = {{ value = "1.05 kW", plus_minus = "40 W" }}
  [[result]]
  what = "road test, 12 pairs"
  road_speed = "100 km/h"
  fuel_change = {{ value = "2.3 L/h", plus_minus = "0.4 L/h" }}

\b
{textwrap.fill(forms.OTHER_READINGS, 117)}
"""


@click.command("reconcile", help=_HELP, short_help="Narrow what was only assumed, by road tests and readings.")
@common.SCENARIO
@click.argument("results", type=click.Path(path_type=Path), metavar="RESULTS.toml")
@common.set_option
@common.units_option
@common.json_option
def command(scenario: Path, results: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool) -> None:
    """Print what readings show of the uncertain inputs."""
    from energy.chain.load import load
    from energy.diagnosis.reconcile import read_results, reconciled

    loaded = load(scenario, overrides)
    read = read_results(results)
    with common.progress("Weighing readings and model") as progress:
        result = reconciled(loaded, read, progress)
    first = first_lines(result, loaded, system)
    if as_json:
        common.print_json(as_data(result, loaded))
    else:
        _print(result, loaded, first, system)
    common.leave(first)


def _print(result: Reconciled, scenario: Scenario, first: FirstLines, system: UnitSystem) -> None:
    out = common.console()
    if scenario.title:
        out.print(scenario.title, style="dim")
    common.print_verdict(out, first)

    common.heading(out, "Readings against the model")
    common.grid(out, READING_HEADINGS, reading_rows(result, system), left=READING_HEADINGS.count(""))
    common.heading(out, "What the readings change in the inputs")
    common.pairs(out, [(f"{called(key)} ({key})", text) for key, text in input_rows(result)])

    if not result.agrees:
        common.heading(out, "No lines for the scenario file")
        common.bullets(out, [WHERE_NOT])
        return
    common.heading(out, "Lines for the scenario file")
    for table_name, lines in scenario_lines(result).items():
        out.print(f"[{table_name}]", markup=False)
        for line in lines:
            out.print(line, markup=False, soft_wrap=True)
    common.bullets(out, [TOGETHER])
