"""`windtoll loads`: what mount, bearing, blades and linkage must carry, before the first drive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common
from energy.words.assumed import ASSUMED
from energy.words.cautions import of_the_file
from energy.words.loads import (
    CAUTIONS,
    CORNERS,
    LADDER_CAUTIONS,
    LADDER_COLUMNS,
    LEFT_OUT,
    LOAD_COLUMNS,
    SHORT_COLUMNS,
    SPIN_UP,
    TRAVEL_COLUMNS,
    as_data,
    case_words,
    corner_rows,
    headline,
    ladder_rows,
    load_rows,
    margin_sentence,
    may_be_operated,
    over_limit,
    short_rows,
    travel_rows,
    travel_title,
    travel_words,
    what_to_change,
)
from energy.words.verdict import NOT_CHECKED, NOT_LIKE_THIS
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Console

    from energy.scenario.read import Scenario
    from energy.strength.table import StructuralLoads
    from energy.words.said import Said


@dataclass(frozen=True)
class LoadsOptions:
    """The options of `windtoll loads` as given."""

    scenario: Path
    overrides: tuple[str, ...]
    system: UnitSystem
    as_json: bool
    full: bool
    ladder: bool
    tap_test: str | None
    spin_up_log: Path | None
    picture: Path | None
    part: str | None
    force: bool


@click.command("loads", short_help="What must mount, bearing, blades and linkage carry?")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option(
    "--full", is_flag=True, help="Also every load in both cases, the linkage through its travel, the defaults used."
)
@click.option(
    "--ladder", is_flag=True, help="Only the spin-up ladder: speeds at which to stop and inspect in the shop."
)
@click.option(
    "--tap-test",
    metavar='"7.5 Hz"',
    help="For the ladder: the mount's natural frequency, its stiffness (40 N/mm), or a phone's acceleration CSV.",
)
@click.option(
    "--spin-up-log",
    type=click.Path(path_type=Path),
    metavar="LOG.csv",
    help="For the ladder: a log of the spin-up (rotor_speed_rpm, vibration_mm_s) to compare.",
)
@click.option(
    "--electrical",
    "part",
    flag_value="electrical",
    help="Only the electrical side: fuse, switch, diodes, dump load, short-circuit brake.",
)
@click.option(
    "--pitch-system",
    "part",
    flag_value="pitch",
    help="Only the pitch system: force, stall, what to buy.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE.png",
    help="Draw the margins and the pitch system's force; with --pitch-system that alone (.png, .svg or .html).",
)
@common.force_option
@click.option("--bearing", "part", flag_value="bearing", help="Only the bearing: life and safety of each kind.")
@click.option(
    "--root", "part", flag_value="root", help="Only the blade root: stress, safety, first flapwise frequency."
)
@common.taken_as(LoadsOptions)
def command(chosen: LoadsOptions) -> None:
    """Show what mount, bearing, blade roots and pitch linkage of SCENARIO.toml must carry, before something breaks.

    Each load stands at the operating point and at the worst case (gust, passing truck, load cut), with its limit.
    The tables [gust], [mount], [bearing], [blade_loads] and [linkage] of the scenario say what is there; what they
    leave out is named.

    \b
    Examples:
      windtoll loads scenario.toml
      windtoll loads scenario.toml --set gust.speed="15 m/s" --units us
      windtoll loads scenario.toml --ladder --tap-test "7.5 Hz"
      windtoll loads scenario.toml --electrical
      windtoll loads scenario.toml --root --set blade_loads.root_strength="40 MPa"
    """
    from energy.chain.load import load
    from energy.strength.table import structural_loads
    from vehicle.files import read_by_run

    part, system, as_json = chosen.part, chosen.system, chosen.as_json
    other = None if part in (None, "pitch") else f"--{part}"
    if chosen.ladder or chosen.tap_test or chosen.spin_up_log:
        other = "--ladder"
    if chosen.picture is not None and other is not None:
        raise InputError(Problem("command line", "--picture", f"given with {other}", "alone, or with --pitch-system"))
    checked = load(chosen.scenario, chosen.overrides)
    if chosen.picture is not None:
        inputs = read_by_run(chosen.scenario, chosen.spin_up_log)
        _draw(chosen.picture, checked, system, inputs, part=part, force=chosen.force)
    if part is not None:
        said, data = _part(part, checked, system)
        if as_json:
            common.print_json(data)
        else:
            _print_part(said)
        if said.unsafe:
            raise SystemExit(common.UNSAFE)
        return
    if chosen.ladder or chosen.tap_test is not None or chosen.spin_up_log is not None:
        _spin_up(checked, (chosen.tap_test, chosen.spin_up_log), system, as_json=as_json)
        return
    table = structural_loads(checked)
    if as_json:
        common.print_json(as_data(table))
    elif chosen.full:
        _print(table, system)
    else:
        _print_short(table, system, chosen.scenario)
    if over_limit(table):
        raise SystemExit(common.UNSAFE)


def _draw(
    path: Path, scenario: Scenario, system: UnitSystem, inputs: Sequence[Path], *, part: str | None, force: bool
) -> None:
    """Save the pictures: of the pitch system, and unless it alone is asked for, of the margins."""
    from energy.pictures.base import Picture, checked_picture, save, stacked
    from energy.pictures.margins import margins_picture
    from energy.pictures.pitch_system import pitch_system_pictures
    from energy.strength.pitch_system import pitch_system
    from energy.strength.table import structural_loads

    checked_picture(path, inputs, force=force)
    drawn: list[Picture | None] = []
    if part is None:
        drawn = [margins_picture(structural_loads(scenario))]
    if part == "pitch" or scenario.linkage is not None:
        try:
            drawn += pitch_system_pictures(pitch_system(scenario), system)
        except InputError:
            if part == "pitch":
                raise  # asked for by itself; else the loads name what is missing
    there = [picture for picture in drawn if picture is not None]
    if not there:
        raise InputError(Problem(scenario.name, "--picture", "nothing to draw: no limit is stated", "windtoll keys"))
    save(stacked(there), path, inputs, force=force)


def _print_part(said: Said) -> None:
    """Print what one part says; one part alone never answers whether the machine may be operated."""
    may_be = NOT_LIKE_THIS if said.unsafe else NOT_CHECKED
    common.print_said(common.console(), replace(said, headlines=[*said.headlines, may_be]))


def _part(part: str, scenario: Scenario, system: UnitSystem) -> tuple[Said, dict[str, Any]]:
    """Return what one part says, and its data."""
    if part == "electrical":
        from energy.strength.electrical_side import electrical_side
        from energy.words import electrical_side as side_words

        side = electrical_side(scenario)
        return side_words.said(side, system), side_words.as_data(side)
    if part == "pitch":
        from energy.strength.pitch_system import pitch_system
        from energy.words import pitch_system as pitch_words

        result = pitch_system(scenario)
        return pitch_words.said(result, system), pitch_words.as_data(result)
    from energy.words import root as root_words

    if part == "bearing":
        from energy.strength.bearing_kinds import bearings

        chosen = bearings(scenario)
        return root_words.bearing_said(chosen, system), root_words.bearing_data(chosen)
    from energy.strength.root import blade_root

    root = blade_root(scenario)
    return root_words.root_said(root, system), root_words.root_data(root)


def _print_head(table: StructuralLoads) -> Console:
    out = common.console()
    if table.scenario.title:
        out.print(table.scenario.title, style="dim")
    out.print(headline(table), style="bold red" if over_limit(table) else "bold")
    out.print(may_be_operated(table))
    change = what_to_change(table)
    if change:
        out.print(change)
    return out


def _print_short(table: StructuralLoads, system: UnitSystem, scenario: Path) -> None:
    out = _print_head(table)
    rows = short_rows(table, system)
    if rows:
        out.print()
        common.grid(out, SHORT_COLUMNS, rows, left=1, gap=1)
    common.heading(out, "Worst case")
    out.print(dict(case_words(table, system))["worst case"])
    common.heading(out, "Cautions")
    common.bullets(out, [*of_the_file(table.scenario), *CAUTIONS[:2]])
    out.print(
        f"More: windtoll loads {scenario} --full. In the shop: windtoll loads {scenario} --ladder", soft_wrap=True
    )


def _print(table: StructuralLoads, system: UnitSystem) -> None:
    out = _print_head(table)
    common.heading(out, "Cases")
    common.pairs(out, case_words(table, system))
    common.heading(out, "Loads")
    common.grid(out, LOAD_COLUMNS, load_rows(table, system), left=1, gap=1, wrap=False)
    common.heading(out, CORNERS)
    common.pairs(out, corner_rows(table, system))
    if table.thin:
        common.heading(out, "Margins under 2, the thinnest first")
        common.bullets(out, [margin_sentence(row, system) for row in table.thin])
    printed: list[str] = []
    for case, travel in table.travel.items():
        common.heading(out, travel_title(case))
        common.grid(out, TRAVEL_COLUMNS, travel_rows(travel, system), wrap=False)
        said = travel_words(travel, table, system)
        common.bullets(out, [text for text in said if text not in printed])
        printed += said
    if table.left_out:
        common.heading(out, LEFT_OUT)
        common.bullets(out, list(table.left_out))
    from energy.words.answer import assumption_words

    common.heading(out, ASSUMED)
    common.bullets(out, [assumption_words(entry, system) for entry in table.assumptions])
    common.heading(out, "Cautions")
    common.bullets(out, [*of_the_file(table.scenario), *table.notes, *CAUTIONS])
    if table.ladder is not None:
        out.print()
        out.print(SPIN_UP)


def _spin_up(scenario: Scenario, given: tuple[str | None, Path | None], system: UnitSystem, *, as_json: bool) -> None:
    """Print the spin-up in the shop, and a log of it against the plan."""
    from energy.strength import spin_up as spin
    from energy.words import spin_up as words

    tap_test, path = given
    natural = None if tap_test is None else spin.natural_frequency(tap_test, scenario)
    result = spin.spin_up(scenario, natural)
    log = None if path is None else spin.read_log(path, result, scenario.rotor.turbine_mass.value)
    data = words.as_data(result, log)
    if as_json:
        common.print_json(data)
    else:
        out = common.console()
        for text in words.headlines(result, log, system):
            out.print(text, style="bold")
        if log is not None:
            common.heading(out, "The log")
            common.bullets(out, words.log_lines(result, log, system))
        out.print()
        common.grid(out, LADDER_COLUMNS, ladder_rows(result.ladder, system))
        common.heading(out, words.STEP_TITLE)
        common.grid(out, words.STEP_COLUMNS, words.step_rows(result, system))
        common.heading(out, words.STOP_TITLE)
        common.bullets(out, words.stop_rules(result, system))
        common.heading(out, "Notes")
        common.bullets(out, words.notes(result, system))
        common.heading(out, "Cautions")
        common.bullets(out, LADDER_CAUTIONS)
    if data["safe"] is False:
        raise SystemExit(common.UNSAFE)
