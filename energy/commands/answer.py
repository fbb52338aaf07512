"""`windtoll answer`: does it save or cost fuel, by how much, and why."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.cautions import cautions, pressing_cautions
from energy.words.next_question import closing_lines
from energy.words.verdict import shortened
from energy.words.verdict import verdict as verdict_of
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Console

    from energy.chain.answer import Answered


@dataclass(frozen=True)
class AnswerOptions:
    """The options of `windtoll answer` as given."""

    scenario: Path
    overrides: tuple[str, ...]
    system: UnitSystem
    as_json: bool
    brief: bool
    full: bool
    exact: bool
    report_file: Path | None
    force: bool


@click.command("answer", short_help="Does the turbine save or cost fuel? By how much, and why?")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option("--brief", is_flag=True, help="Only the verdict and the cautions that apply.")
@click.option(
    "--full", is_flag=True, help="Also the ledger, other sources of the heat, the defaults used, all cautions."
)
@click.option("--exact", is_flag=True, help="Take every value as exact: no interval, and half the time.")
@click.option(
    "--report",
    "report_file",
    type=click.Path(path_type=Path),
    metavar="FILE.html",
    help="Also write a one-page report: verdict, pictures, ledger, sources, the scenario attached.",
)
@common.force_option
@common.taken_as(AnswerOptions)
def command(chosen: AnswerOptions) -> None:
    """Does the turbine of SCENARIO.toml save or cost fuel, by how much, and why?

    Prints the verdict with its 90 % range, the main numbers, the largest uncertainties and the cautions that apply;
    --full adds the ledger (every watt from fuel and wind to the heated load) and the defaults used with their sources.
    Exit status 3 where a limit is broken: do not operate.

    \b
    Examples:
      windtoll answer scenario.toml
      windtoll answer scenario.toml --set trip.road_speed="65 mph" --units us
      windtoll answer scenario.toml --set air.wind_speed="30 km/h" --json
      windtoll answer scenario.toml --report report.html
    """
    from energy.chain.answer import answered
    from energy.chain.load import load
    from energy.words import answer as report

    if chosen.report_file is not None:
        _check_report_file(chosen.report_file, chosen.scenario, chosen.force)
    checked = load(chosen.scenario, chosen.overrides)
    with common.progress("Working out how sure that is") as progress:
        result = answered(checked, exact=chosen.exact, progress=progress)
    if chosen.report_file is not None:
        _write_report(result, chosen.report_file, chosen)
    if chosen.as_json:
        common.print_json(report.as_data(result, chosen.system))
    else:
        _print(result, chosen)
    common.leave(verdict_of(result, chosen.system))


def _check_report_file(path: Path, scenario: Path, force: bool) -> None:
    if path.suffix.lower() not in (".html", ".htm"):
        raise InputError(
            Problem(str(path), "", f"a report of kind {path.suffix or '(none)'}", "a name that ends in .html")
        )
    from vehicle.files import checked_output, read_by_run

    checked_output(path, read_by_run(scenario), force=force)


def _write_report(answered: Answered, path: Path, chosen: AnswerOptions) -> None:
    from energy.pages.report import report_page
    from energy.scenario.bundle import from_folder, with_overrides
    from vehicle.files import read_by_run, write_output

    page = report_page(answered, chosen.system, with_overrides(from_folder(chosen.scenario), chosen.overrides))
    write_output(path, page.encode(), read_by_run(chosen.scenario), force=chosen.force)
    click.echo(f"Report written: {path}", err=True)


def _print(answered: Answered, chosen: AnswerOptions) -> None:
    from energy.words import answer as report

    out, system, full = common.console(), chosen.system, chosen.full
    if answered.scenario.title:
        out.print(answered.scenario.title, style="dim")
    first = verdict_of(answered, system)
    common.print_verdict(out, first if full else shortened(first))
    if chosen.brief:
        common.bullets(out, pressing_cautions(answered, system))
        return
    of_what = "" if answered.spread is None else ", at the stated values (the headline allows for their ranges)"
    common.heading(out, f"{'Numbers' if full else 'Main numbers'}{of_what}")
    common.pairs(out, report.key_numbers(answered, system) if full else report.main_numbers(answered, system))
    if answered.spread is not None and (full or not first.dangers):
        common.heading(out, report.uncertainty_heading(answered.spread, full=full))
        rows = report.sure_rows(answered, system) if full else report.largest_uncertainties(answered, system)
        common.pairs(out, rows)
    if full:
        _print_more(out, answered, system)
    common.heading(out, "Cautions")
    common.bullets(out, cautions(answered, system) if full else pressing_cautions(answered, system))
    if not full:
        for line in closing_lines(answered, first, str(chosen.scenario)):
            out.print(line, soft_wrap=True)


def _print_more(out: Console, answered: Answered, system: UnitSystem) -> None:
    from energy.words import answer as report
    from energy.words.assumed import ASSUMED

    common.heading(out, "Ledger, in watts (what comes in +, what goes out −; each account sums to zero)")
    rows, last = [], ""
    for account, name, *watts in report.ledger_lines(answered, system):
        rows.append((account if account != last else "", name, *watts))
        last = account
    common.grid(out, ("account", "", "without", "working", "difference"), rows, left=2)
    common.heading(out, "The same heat from elsewhere")
    common.pairs(out, [(name, f"{takes} ({note})") for name, takes, note in report.other_lines(answered, system)])
    common.heading(out, ASSUMED)
    common.bullets(out, [report.assumption_words(entry, system) for entry in report.assumptions(answered)])
