"""`windtoll match`: which pitch, ratio and resistance give the most heat."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.match import as_data
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.matching import Match
    from energy.scenario.read import Scenario


@click.command("match", short_help="Which pitch, ratio and resistance give the most heat?")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option(
    "--hold",
    "held",
    multiple=True,
    type=click.Choice(["pitch", "ratio", "resistance"]),
    help="Keep the scenario's value of this setting. May be repeated.",
)
def command(
    scenario: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool, held: tuple[str, ...]
) -> None:
    """Find the blade pitch, belt or gear ratio and element resistance that give the most heat at the scenario's speed,
    or over the whole trip of its schedule.

    Keeps the scenario's limits (rotor speed, tip speed, thrust, current, rated power), shows how flat the best is, and
    what the heat costs there in fuel. More heat is more drag: the setting with the lowest fuel per heat is shown as
    well.

    \b
    Examples:
      windtoll match scenario.toml
      windtoll match scenario.toml --hold ratio --set trip.road_speed="55 mph"
    """
    from energy.chain.load import load
    from energy.chain.matching import match
    from energy.words.match import SETTING_NAMES, own_limits

    keys = {key.partition(".")[2]: key for key in SETTING_NAMES}  # an option's word is that of the key
    checked = load(scenario, overrides)
    with common.progress("Trying settings") as progress:
        result = match(checked, tuple(keys[name] for name in held), progress)
    if as_json:
        common.print_json(as_data(result, checked))
    else:
        _print(result, checked, system)
    if own_limits(result, system):
        raise SystemExit(common.UNSAFE)


def _print(result: Match, scenario: Scenario, system: UnitSystem) -> None:
    from energy.words.match import ROWS_TITLE, SETTING_NAMES, cautions_of, first_lines, flat_words, notes_of, rows_of

    out = common.console()
    if scenario.title:
        out.print(scenario.title, style="dim")
    common.print_verdict(out, first_lines(result, system))
    common.heading(out, ROWS_TITLE)
    rows = [(name, *texts) for name, texts in rows_of((result.own, result.best, result.thriftiest), system)]
    common.grid(out, ("", "today", "maximum heat", "lowest fuel per heat"), rows, left=1)
    common.heading(out, "How flat the best is (heat stays within 5 %, the other settings held)")
    common.pairs(
        out,
        [(SETTING_NAMES[f.key], flat_words(f, system)) for f in result.flatness],
    )
    common.heading(out, "Notes")
    common.bullets(out, notes_of(result))
    common.heading(out, "Cautions")
    common.bullets(out, cautions_of(scenario))
