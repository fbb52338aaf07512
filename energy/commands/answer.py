"""`windtoll answer`: does it save or cost fuel, by how much, and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.cautions import cautions, pressing_cautions
from energy.words.next_question import WHY_BELIEVE, next_questions
from energy.words.verdict import verdict as verdict_of
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Console

    from energy.chain.answer import Answered


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
def command(
    scenario: Path,
    overrides: tuple[str, ...],
    system: UnitSystem,
    as_json: bool,
    brief: bool,
    full: bool,
    exact: bool,
    report_file: Path | None,
    force: bool,
) -> None:
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

    if report_file is not None:
        _check_report_file(report_file, scenario, force)
    checked = load(scenario, overrides)
    with common.progress("Working out how sure that is") as progress:
        told = answered(checked, exact=exact, progress=progress)
    if report_file is not None:
        _write_report(told, system, scenario, overrides, report_file, force)
    if as_json:
        common.print_json(report.as_data(told, system))
    else:
        _print(told, system, brief=brief, full=full, scenario=scenario)
    common.leave(verdict_of(told, system))


def _check_report_file(path: Path, scenario: Path, force: bool) -> None:
    if path.suffix.lower() not in (".html", ".htm"):
        raise InputError(
            Problem(str(path), "", f"a report of kind {path.suffix or '(none)'}", "a name that ends in .html")
        )
    from vehicle.files import checked_output

    checked_output(path, (scenario,), force=force)


def _write_report(
    told: Answered, system: UnitSystem, scenario: Path, overrides: tuple[str, ...], path: Path, force: bool
) -> None:
    from energy.pages.report import report_page
    from energy.scenario.bundle import files_of, from_folder, with_overrides
    from vehicle.files import write_output

    page = report_page(told, system, with_overrides(from_folder(scenario), overrides))
    write_output(path, page.encode(), files_of(scenario), force=force)
    click.echo(f"Report written: {path}", err=True)


def _print(told: Answered, system: UnitSystem, *, brief: bool, full: bool, scenario: Path) -> None:
    from energy.words import answer as report

    out = common.console()
    if told.scenario.title:
        out.print(told.scenario.title, style="dim")
    common.print_verdict(out, verdict_of(told, system))
    if brief:
        common.bullets(out, pressing_cautions(told, system))
        return
    of_what = "" if told.spread is None else ", at the stated values (the headline: median of the simulations)"
    common.heading(out, f"{'Numbers' if full else 'Main numbers'}{of_what}")
    common.pairs(out, report.key_numbers(told, system) if full else report.main_numbers(told, system))
    if told.spread is not None:
        common.heading(out, f"Uncertainty ({told.spread.draws} simulations over all that is not known exactly)")
        common.pairs(out, report.sure_rows(told, system) if full else report.largest_uncertainties(told))
    if full:
        _print_more(out, told, system)
    common.heading(out, "Cautions")
    common.bullets(out, cautions(told, system) if full else pressing_cautions(told, system))
    if not full:
        out.print(f"More: windtoll answer {scenario} --full", soft_wrap=True)
        for question in next_questions(told):
            out.print(f"Next: {question.line(str(scenario))}", soft_wrap=True)
        out.print(WHY_BELIEVE)


def _print_more(out: Console, told: Answered, system: UnitSystem) -> None:
    from energy.words import answer as report
    from energy.words.assumed import ASSUMED

    common.heading(out, "Ledger, in watts (what comes in +, what goes out −; each account sums to zero)")
    rows, last = [], ""
    for account, name, *watts in report.ledger_lines(told, system):
        rows.append((account if account != last else "", name, *watts))
        last = account
    common.grid(out, ("account", "", "without", "working", "difference"), rows, left=2)
    common.heading(out, "The same heat from elsewhere")
    common.pairs(out, [(name, f"{takes} ({note})") for name, takes, note in report.other_lines(told, system)])
    common.heading(out, ASSUMED)
    common.bullets(out, [report.assumption_words(entry, system) for entry in report.assumptions(told)])
