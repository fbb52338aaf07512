"""`windtoll callsheet`: a page for the passenger's phone, to write down watts setting by setting."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common
from energy.words.call_sheet import ASKED, USUALLY_ASKED
from energy.words.verdict import NOT_CHECKED
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.diagnosis.stepping import SteppingPlan
    from energy.diagnosis.tuning import Kind


@dataclass(frozen=True)
class CallSheetOptions:
    """What the command line gives; see the options."""

    scenario: Path
    out: Path
    step: Kind | None
    settings: str | None
    hold: str
    ask: tuple[str, ...]
    seed: int
    overrides: tuple[str, ...]
    system: UnitSystem
    force: bool
    as_json: bool


@click.command("callsheet", short_help="A page for the passenger's phone: tap settings, type watts, no network.")
@common.SCENARIO
@click.option(
    "--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="The HTML file to send to the phone."
)
@click.option(
    "--step",
    type=click.Choice(["pitch", "resistance", "ratio"]),
    help="What is stepped. Default: pitch, where the rotor's curves have several.",
)
@click.option("--settings", metavar='"2, 4, 6"', help="The settings to try. Default: six about the scenario's own.")
@click.option("--hold", default="45 s", show_default=True, help="How long each setting is held.")
@click.option(
    "--ask",
    multiple=True,
    type=click.Choice([*ASKED]),
    help=f"What to type at each reading; may be repeated. Default: {', '.join(USUALLY_ASKED)}.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Number that fixes the order of the settings.")
@common.force_option
@common.set_option
@common.units_option
@common.json_option
@common.taken_as(CallSheetOptions)
def command(chosen: CallSheetOptions) -> None:
    """Write ONE self-contained HTML page for the passenger's phone, to open from its storage without any network.

    The passenger taps when a setting begins and types the numbers; every entry is kept on the phone. Its CSV goes to
    tune, truepitch, shortfall, fit load, heat, read and join as it is. The page of a road test, with its runs in order,
    comes from windtoll plan --call-sheet.

    \b
    Examples:
      windtoll callsheet scenario.toml --out page.html
      windtoll callsheet scenario.toml --out page.html --settings "2, 4, 6, 8" --ask rotor_speed --ask air_speed
    """
    from energy.chain.load import load
    from energy.diagnosis.stepping import stepping_plan
    from energy.pages.call_sheet import as_html
    from energy.words.call_sheet import as_data, dangers, written_data
    from vehicle.files import checked_output, read_by_run, write_output
    from vehicle.typed import read_quantity

    inputs = read_by_run(chosen.scenario)
    checked_output(chosen.out, inputs, force=chosen.force)
    checked = load(chosen.scenario, chosen.overrides)
    plan = stepping_plan(checked, chosen.step, chosen.settings, read_quantity("--hold", chosen.hold, "s"), chosen.seed)
    broken = dangers(plan, chosen.system)
    data = as_data(plan, checked.title or checked.name, chosen.ask or USUALLY_ASKED, chosen.system)
    write_output(chosen.out, as_html(data).encode(), inputs, force=chosen.force)
    if chosen.as_json:
        common.print_json(written_data(data, str(chosen.out), broken))
    else:
        _print(plan, data, broken, str(chosen.out))
    if broken:
        raise SystemExit(common.UNSAFE)


def _print(plan: SteppingPlan, data: dict[str, Any], broken: list[str], written: str) -> None:
    from energy.words import call_sheet as words

    screen = common.console()
    for line in broken:
        screen.print(line, style="bold red")
    if broken:
        screen.print(words.unsafe_settings(plan), style="bold red")
    screen.print(words.written_words(plan, written), style="bold")
    if not broken:
        screen.print(NOT_CHECKED)
    common.bullets(screen, words.what_next(written, data))
