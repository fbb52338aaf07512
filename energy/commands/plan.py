"""`windtoll plan`: how many pairs of runs show the predicted effect, in what order, and a sheet to take along."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.road_plan import RoadPlan, RunSpread
    from energy.words.verdict import FirstLines


@dataclass(frozen=True)
class PlanOptions:
    """What the command line gives; see the options."""

    scenario: Path | None
    overrides: tuple[str, ...]
    effect: str | None
    spread: str | None
    runs_file: Path | None
    pairs: int | None
    without: str
    level: float
    speed: str | None
    road: str
    seed: int | None
    power: float
    length: str | None
    sheet: Path | None
    call_sheet: Path | None
    few_changes: bool
    change_time: str | None
    system: UnitSystem
    force: bool
    as_json: bool


@click.command("plan", short_help="How many pairs of runs show the effect, in what order; a sheet to print.")
@click.argument("scenario", required=False, type=click.Path(path_type=Path))
@common.set_option
@click.option("--effect", help='The effect to be shown, as a share of the fuel: "4 %".')
@click.option("--spread", help='Standard deviation of the difference within a pair, as a share of the fuel: "3 %".')
@click.option(
    "--runs", "runs_file", type=click.Path(path_type=Path), help="Take the spread from the runs of this manifest."
)
@click.option("--pairs", type=click.IntRange(2, 1000), help="Plan this many pairs, and show what they can prove.")
@click.option(
    "--without",
    type=click.Choice(["stowed", "absent"]),
    default="stowed",
    show_default=True,
    help="The state to drive against.",
)
@click.option("--level", type=click.FloatRange(50, 99.9), default=95.0, show_default=True, help="Level of the test, %.")
@click.option("--speed", help='Speed to write on the sheet: "90 km/h". Default: that of the scenario.')
@click.option("--road", default="the same road out and back", help="Road to write on the sheet.")
@click.option("--seed", type=int, help="Number that fixes the drawing of the order (the same seed, the same order).")
@click.option(
    "--chance",
    "power",
    type=click.FloatRange(50, 99),
    default=80.0,
    show_default=True,
    help="Chance with which the effect is to be shown, %.",
)
@click.option("--length", help='Length of one run ("15 km", "10 mi"): then distance and time of all runs are shown.')
@click.option(
    "--sheet", type=click.Path(path_type=Path), help="Write the run sheet to this HTML file, to print on one page."
)
@click.option(
    "--call-sheet",
    type=click.Path(path_type=Path),
    help="Write the page for the passenger's phone to this HTML file: a tap when a run begins and ends.",
)
@click.option("--few-changes", is_flag=True, help="Drive out and back in one state before the turbine is changed.")
@click.option(
    "--change-time", help='How long one change of the turbine takes: "20 min". Default: 5 min stowed, 45 min absent.'
)
@common.units_option
@common.force_option
@common.json_option
@common.taken_as(PlanOptions)
def command(chosen: PlanOptions) -> None:
    """Calculate how many pairs of runs show an effect on fuel, and in which random order to drive them.

    The effect is the one that `windtoll answer` predicts for SCENARIO against the state --without, or --effect. The
    spread comes from --runs (your own logs), --spread, or a default that is an assumption. For a battery vehicle every
    share is one of battery energy.
    """
    from energy.chain.answer import broken_as_stated
    from energy.chain.load import load
    from energy.chain.prediction import predicted_effect
    from energy.chain.road_plan import PlanAsked, road_plan, typed_change, typed_length
    from energy.words import call_sheet as call_words
    from energy.words import plan as words
    from vehicle.files import check_apart, checked_output, read_by_run, write_output
    from vehicle.problems import InputError, Problem

    if chosen.overrides and chosen.scenario is None:
        raise InputError(Problem("--set", "", "no scenario to set it in", "SCENARIO.toml"))
    inputs = read_by_run(chosen.scenario, chosen.runs_file)
    check_apart({"--sheet": chosen.sheet, "--call-sheet": chosen.call_sheet})
    for out in (chosen.sheet, chosen.call_sheet):
        if out is not None:
            checked_output(out, inputs, force=chosen.force)
    scenario = None if chosen.scenario is None else load(chosen.scenario, chosen.overrides)
    on_battery = scenario is not None and scenario.battery is not None
    speed_words, metres_per_second = _speed(chosen.speed, chosen.scenario, chosen.overrides)
    plan = road_plan(
        predicted_effect(chosen.effect, chosen.scenario, chosen.overrides, without_state=chosen.without),
        _spread(chosen.spread, chosen.runs_file, on_battery),
        PlanAsked(
            pairs=chosen.pairs,
            without_state=chosen.without,
            level=chosen.level / 100,
            power=chosen.power / 100,
            speed=speed_words,
            road=chosen.road,
            seed=chosen.seed,
            run_length_m=None if chosen.length is None else typed_length(chosen.length, "--length"),
            speed_m_s=metres_per_second,
            few_changes=chosen.few_changes,
            on_battery=on_battery,
            change_s=None if chosen.change_time is None else typed_change(chosen.change_time),
        ),
    )
    if chosen.sheet is not None:
        from energy.pages.run_sheet import as_html

        page = as_html(plan.order, plan.speed, plan.road, on_battery=plan.on_battery)
        write_output(chosen.sheet, page.encode(), inputs, force=chosen.force)
    if chosen.call_sheet is not None:
        from energy.pages import call_sheet

        title = f"{plan.road}, {plan.speed}"
        data = call_words.road_test_data(plan.order, title, chosen.system, plan.run_s, on_battery=on_battery)
        write_output(chosen.call_sheet, call_sheet.as_html(data).encode(), inputs, force=chosen.force)
    broken = () if scenario is None else broken_as_stated(scenario)
    first = words.first_lines(plan, broken, chosen.system)
    if chosen.as_json:
        common.print_json(words.as_data(plan, first))
    else:
        _print(plan, first, chosen)
    common.leave(first)


def _print(plan: RoadPlan, first: FirstLines, chosen: PlanOptions) -> None:
    from energy.words import call_sheet as call_words
    from energy.words import plan as words
    from energy.words import run_sheet

    out = common.console()
    common.print_verdict(out, first)
    out.print()
    sheet = run_sheet.lines(plan.order, plan.speed, plan.road, on_battery=plan.on_battery)
    common.lines(out, [*words.plan_words(plan, chosen.system), "", *sheet])
    if chosen.sheet is not None:
        click.echo(f"\nRun sheet written to {chosen.sheet}.")
    if chosen.call_sheet is not None:
        click.echo(f"\nCall sheet written to {chosen.call_sheet}.")
        after = call_words.after_the_road_test(str(chosen.call_sheet), plan.on_battery)
        click.echo("\n".join(f"- {text}" for text in after))


def _speed(typed: str | None, scenario: Path | None, overrides: tuple[str, ...]) -> tuple[str, float | None]:
    """Return the road speed in words for the sheet, and in m/s where it is known: as typed, else the scenario's."""
    from energy.words.plan import speed_words
    from vehicle.units import QuantityError, parse

    if typed is not None:
        try:
            return typed, parse(typed, "m/s")
        except QuantityError:  # words for the sheet, such as "as the road allows"
            return typed, None
    if scenario is None:
        return speed_words(None), None
    from energy.chain.load import load

    trip = load(scenario, overrides).trip
    known = None if trip.road_speed is None else trip.road_speed.value
    return speed_words(known), known


def _spread(typed: str | None, runs_file: Path | None, on_battery: bool) -> RunSpread:
    """Return the spread as typed, else of the runs of a manifest, else the assumed one."""
    from energy.chain.road_plan import assumed_spread, spread_of_runs, typed_spread
    from vehicle.problems import InputError, Problem

    if typed is not None and runs_file is not None:
        raise InputError(Problem("--spread", "", "given together with --runs", "one of the two"))
    if typed is not None:
        return typed_spread(typed)
    if runs_file is None:
        return assumed_spread(on_battery)
    from vehicle.road_test.run_list import read_manifest

    return spread_of_runs(read_manifest(runs_file))
