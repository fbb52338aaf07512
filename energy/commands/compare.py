"""`windtoll compare`: what the turbine did to fuel and engine load, with an interval, beside what was predicted."""

from __future__ import annotations

import json
from pathlib import Path

import click

from energy.commands import common

EXAMPLE = """\b
  [vehicle]
  mass = "2300 kg"
  [engine]
  fuel = "petrol"                # petrol, e10, diesel, lpg
  displacement = "1.6 L"         # for litres from manifold pressure
  [columns]                      # only for headers windtoll does not know
  "Spd2" = "vehicle speed (mph)"
  [directions]                   # to use a wind that is given with where it comes from
  out = "north-east"
  [[runs]]                       # written by windtoll record as [[run]]
  file = "run_01.csv"
  state = "working"              # absent, stowed, working
  pair = 1                       # same road, same direction, same hour
  direction = "out"
  date = "2026-05-03 10:12"
  head_wind = "2 m/s"            # tail wind negative
  temperature = "14 degC"
  [[runs]]
  file = "run_02.csv"
  state = "stowed"
  pair = 1
"""


@click.command(
    "compare",
    short_help="What did the turbine do to fuel and engine load? With an interval.",
    epilog=f"The manifest:\n\n{EXAMPLE}",
)
@click.argument("manifest", type=click.Path(path_type=Path))
@click.option(
    "--without", type=click.Choice(["absent", "stowed"]), help="What 'without' means (default: stowed if logged)."
)
@click.option("--state", "with_state", type=click.Choice(["working", "stowed"]), default="working", show_default=True,
              help="The state whose effect is asked for ('stowed' against 'absent' is the price of carrying "
              "it).")  # fmt: skip
@click.option(
    "--scenario", type=click.Path(path_type=Path), help="Hold the measurement against what this scenario predicts."
)
@common.set_option
@click.option("--effect", help='What was predicted, to hold the measurement against: "4 %" or "4 % +- 1 %".')
@click.option(
    "--level", type=click.FloatRange(50, 99.9), default=95.0, show_default=True, help="Level of the interval, %."
)
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
def command(
    manifest: Path,
    without: str | None,
    with_state: str,
    scenario: Path | None,
    overrides: tuple[str, ...],
    effect: str | None,
    level: float,
    as_json: bool,
) -> None:
    """Say what the turbine did to fuel and engine load in the runs that MANIFEST (runs.toml) lists.

    Every filter is shown with the rows it took. The interval rests on runs, never on rows; with one run of each state
    there is no interval and no conclusion.
    """
    from energy.chain.prediction import predicted_effect
    from energy.words.road_test import as_data, in_words, road_test
    from vehicle.problems import InputError, Problem
    from vehicle.road_test.run_list import read_manifest

    if overrides and scenario is None:
        raise InputError(Problem("--set", "", "no scenario to set it in", "--scenario SCENARIO.toml"))

    def predict(with_state: str, without_state: str) -> tuple[float, float] | None:
        return predicted_effect(effect, scenario, overrides, with_state=with_state, without_state=without_state)

    found = road_test(
        read_manifest(manifest),
        with_state=with_state,
        without_state=without,
        level=level / 100,
        predict=predict,
        planned_m_s=None if effect is not None or scenario is None else _planned_speed(scenario, overrides),
    )
    if as_json:
        click.echo(json.dumps(as_data(found), indent=2, allow_nan=False))
        return
    click.echo("\n".join(in_words(found)))


def _planned_speed(scenario: Path, overrides: tuple[str, ...]) -> float | None:
    """Return the one road speed (m/s) that a scenario is for; None where it has a schedule, or none."""
    from energy.scenario.read import load

    trip = load(scenario, overrides).trip
    return None if trip.schedule is not None or trip.road_speed is None else trip.road_speed.value
