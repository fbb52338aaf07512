"""`windtoll compare`: what the turbine did to fuel and engine load, with an interval, beside what was predicted."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.forms import RUN_LIST
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.road_test import RoadTest
    from vehicle.road_test.run_list import Manifest
    from vehicle.road_test.sources import FullLoad


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
    torque_curve: Path | None
    peak_torque: str | None
    report: Path | None
    system: UnitSystem
    force: bool
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
@click.option(
    "--torque-curve",
    type=click.Path(path_type=Path),
    help="CSV of the engine's torque at full load: engine_speed_rpm, torque_nm.",
)
@click.option(
    "--peak-torque",
    help='Peak torque of the engine, for litres from calculated load: "190 N*m" or "190 N*m +- 15 N*m".',
)
@click.option(
    "--report", type=click.Path(path_type=Path), help="Write everything to this HTML file, for a sceptic to check."
)
@common.units_option
@common.force_option
@common.json_option
@common.taken_as(CompareOptions)
def command(chosen: CompareOptions) -> None:
    """Say what the turbine did to fuel and engine load in the runs that MANIFEST (runs.toml) lists.

    Every filter is shown with the rows it took. The interval rests on runs, never on rows; with one run of each state
    there is no interval and no conclusion.
    """
    from energy.chain.prediction import Prediction, prediction
    from energy.chain.road_test import ComparisonAsked, road_test
    from energy.words.road_test import as_data
    from vehicle.files import checked_output, write_output
    from vehicle.problems import InputError, Problem
    from vehicle.road_test.run_list import read_manifest

    if chosen.overrides and chosen.scenario is None:
        raise InputError(Problem("--set", "", "no scenario to set it in", "--scenario SCENARIO.toml"))

    test = read_manifest(chosen.manifest)
    report, inputs = chosen.report, _inputs(test, chosen.scenario)
    if report is not None:
        checked_output(report, inputs, force=chosen.force)

    def predict(with_state: str, without_state: str) -> Prediction | None:
        return prediction(
            chosen.effect, chosen.scenario, chosen.overrides, with_state=with_state, without_state=without_state
        )

    found = road_test(
        test,
        ComparisonAsked(
            chosen.with_state, chosen.without, chosen.level / 100, _full_load(chosen.peak_torque, chosen.torque_curve)
        ),
        predict=predict,
        planned_m_s=None
        if chosen.effect is not None or chosen.scenario is None
        else _planned_speed(chosen.scenario, chosen.overrides),
    )
    if report is not None:
        from energy.pages.road_test import as_html

        write_output(report, as_html(found, chosen.system).encode(), inputs, force=chosen.force)
    if chosen.as_json:
        common.print_json(as_data(found))
        return
    _print(found, chosen.system)
    if report is not None:
        click.echo(f"\nReport written to {report}.")


def _print(found: RoadTest, system: UnitSystem) -> None:
    from energy.words.road_test import reconcile_words, said, verdict

    out = common.console()
    common.print_verdict(out, verdict(found, system))
    common.print_said(out, said(found, system))
    again = reconcile_words(found)
    if again:
        common.heading(out, "For windtoll reconcile SCENARIO.toml RESULTS.toml")
        for line in again:
            out.print(line, soft_wrap=True)


def _inputs(test: Manifest, scenario: Path | None) -> tuple[Path, ...]:
    """Return the files that are read: the report replaces none of them."""
    logs = [path for run in test.runs for path in (run.path, run.control) if path is not None]
    return (test.path, *logs, *([] if scenario is None else [scenario]))


def _full_load(peak_torque: str | None, curve: Path | None) -> FullLoad | None:
    """Return the torque at full load as typed. Raises InputError that names the option."""
    from vehicle.problems import InputError, Problem
    from vehicle.quantity import FieldError
    from vehicle.road_test.run_list import full_load_of

    if peak_torque is not None and curve is not None:
        raise InputError(Problem("--peak-torque", "", "given together with --torque-curve", "one of the two"))
    peak: object = peak_torque
    if peak_torque is not None:
        parts = re.split(r"\+-|\+/-|±", peak_torque, maxsplit=1)
        peak = parts[0].strip() if len(parts) == 1 else {"value": parts[0].strip(), "plus_minus": parts[1].strip()}
    try:
        return full_load_of(peak, curve)
    except FieldError as error:
        raise InputError(Problem("--peak-torque", "", error.read, error.accepted)) from None


def _planned_speed(scenario: Path, overrides: tuple[str, ...]) -> float | None:
    """Return the one road speed (m/s) that a scenario is for; None where it has a schedule, or none."""
    from energy.chain.load import load

    trip = load(scenario, overrides).trip
    return None if trip.schedule is not None or trip.road_speed is None else trip.road_speed.value
