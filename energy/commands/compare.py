"""`windtoll compare`: what the turbine did to fuel and engine load, with an interval, beside what was predicted."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from energy.commands import common
from energy.words.forms import RUN_LIST


@dataclass(frozen=True)
class CompareOptions:
    """What the command line gives; see the options."""

    manifest: Path
    without: str | None
    with_state: str
    scenario: Path | None
    overrides: tuple[str, ...]
    effect: str | None
    level: float
    as_json: bool


@click.command(
    "compare",
    short_help="What did the turbine do to fuel and engine load? With an interval.",
    epilog=f"The manifest:\n\n{RUN_LIST}",
)
@click.argument("manifest", type=click.Path(path_type=Path))
@click.option(
    "--without", type=click.Choice(["absent", "stowed"]), help="What 'without' means (default: stowed if logged)."
)
@click.option(
    "--state",
    "with_state",
    type=click.Choice(["working", "stowed"]),
    default="working",
    show_default=True,
    help="The state whose effect is asked for ('stowed' against 'absent' is the price of carrying it).",
)
@click.option(
    "--scenario", type=click.Path(path_type=Path), help="Hold the measurement against what this scenario predicts."
)
@common.set_option
@click.option("--effect", help='What was predicted, to hold the measurement against: "4 %" or "4 % +- 1 %".')
@click.option(
    "--level", type=click.FloatRange(50, 99.9), default=95.0, show_default=True, help="Level of the interval, %."
)
@common.json_option
@common.taken_as(CompareOptions)
def command(chosen: CompareOptions) -> None:
    """Say what the turbine did to fuel and engine load in the runs that MANIFEST (runs.toml) lists.

    Every filter is shown with the rows it took. The interval rests on runs, never on rows; with one run of each state
    there is no interval and no conclusion.
    """
    from energy.chain.prediction import predicted_effect
    from energy.chain.road_test import ComparisonAsked, road_test
    from energy.words.road_test import as_data, in_words
    from vehicle.problems import InputError, Problem
    from vehicle.road_test.run_list import read_manifest

    if chosen.overrides and chosen.scenario is None:
        raise InputError(Problem("--set", "", "no scenario to set it in", "--scenario SCENARIO.toml"))

    def predict(with_state: str, without_state: str) -> tuple[float, float] | None:
        return predicted_effect(
            chosen.effect, chosen.scenario, chosen.overrides, with_state=with_state, without_state=without_state
        )

    found = road_test(
        read_manifest(chosen.manifest),
        ComparisonAsked(chosen.with_state, chosen.without, chosen.level / 100),
        predict=predict,
        planned_m_s=None
        if chosen.effect is not None or chosen.scenario is None
        else _planned_speed(chosen.scenario, chosen.overrides),
    )
    if chosen.as_json:
        common.print_json(as_data(found))
        return
    click.echo("\n".join(in_words(found)))


def _planned_speed(scenario: Path, overrides: tuple[str, ...]) -> float | None:
    """Return the one road speed (m/s) that a scenario is for; None where it has a schedule, or none."""
    from energy.chain.load import load

    trip = load(scenario, overrides).trip
    return None if trip.schedule is not None or trip.road_speed is None else trip.road_speed.value
