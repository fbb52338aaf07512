"""`windtoll compare`: what the turbine did to fuel and engine load, with an interval, beside what was predicted."""

from __future__ import annotations

import contextlib
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
    logs: tuple[Path, ...]
    offset: str | None
    runs_out: Path | None
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
    "--log",
    "logs",
    multiple=True,
    type=click.Path(path_type=Path),
    help="With a call sheet's CSV in place of MANIFEST: a log of the drive that it cuts into runs. May be repeated.",
)
@click.option(
    "--offset", help='With a call sheet: what to add to its clock to get the log\'s ("95 s"). Default: found.'
)
@click.option("--runs-out", type=click.Path(path_type=Path), help="With a call sheet: write the list of runs here.")
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
    """Show what the turbine did to fuel and engine load in the runs that MANIFEST (runs.toml) lists, or, of a battery
    vehicle, to the energy that its display or a meter counted for each run (energy_used).

    MANIFEST may be the CSV that the call sheet of a road test shares (windtoll plan --call-sheet), as it is: then --log
    names the log of the drive, and the engine is that of --scenario.

    Every filter is shown with the rows it took. The interval rests on runs, never on rows; with one run of each state
    there is no interval and no conclusion.
    """
    from energy.chain.prediction import Prediction, prediction
    from energy.chain.road_test import ComparisonAsked, road_test
    from energy.words.road_test import as_data, verdict
    from vehicle.files import check_apart, checked_output, write_output
    from vehicle.problems import InputError, Problem

    if chosen.overrides and chosen.scenario is None:
        raise InputError(Problem("--set", "", "no scenario to set it in", "--scenario SCENARIO.toml"))

    check_apart({"--runs-out": chosen.runs_out, "--report": chosen.report})
    test = _test(chosen)
    report, inputs = chosen.report, _inputs(test, chosen)
    if report is not None:
        checked_output(report, inputs, force=chosen.force)

    def predict(with_state: str, without_state: str) -> Prediction | None:
        return prediction(
            chosen.effect, chosen.scenario, chosen.overrides, with_state=with_state, without_state=without_state
        )

    comparison = road_test(
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

        write_output(report, as_html(comparison, chosen.system).encode(), inputs, force=chosen.force)
    if chosen.as_json:
        common.print_json(as_data(comparison))
    else:
        _print(comparison, chosen.system)
        if report is not None:
            click.echo(f"\nReport written to {report}.")
    common.leave(verdict(comparison, chosen.system))


def _test(chosen: CompareOptions) -> Manifest:
    """Return the runs: as MANIFEST lists them, or as a call sheet cuts them out of the logs."""
    from vehicle.files import is_file, read_input
    from vehicle.problems import InputError, Problem
    from vehicle.road_test.call_sheet import is_call_sheet
    from vehicle.road_test.run_list import MOST_BYTES, read_manifest

    given = [name for name, value in _of_call_sheets(chosen) if value]
    is_sheet = False
    if is_file(chosen.manifest) and chosen.manifest.suffix.lower() != ".toml":
        with contextlib.suppress(OSError):  # what cannot be read is told where the list is read
            is_sheet = is_call_sheet(read_input(chosen.manifest, MOST_BYTES, "a list of runs, or a call sheet"))
    if not is_sheet:
        if given:
            read = f"given with {chosen.manifest.name}, which is no call sheet"
            raise InputError(Problem("command line", given[0], read, "a call sheet's CSV (windtoll plan --call-sheet)"))
        return read_manifest(chosen.manifest)
    if not chosen.logs:
        raise InputError(Problem(chosen.manifest.name, "--log", "a call sheet without a log", "--log DRIVE.csv"))
    return _cut_by_sheet(chosen)


def _of_call_sheets(chosen: CompareOptions) -> tuple[tuple[str, object], ...]:
    return (("--log", chosen.logs), ("--offset", chosen.offset), ("--runs-out", chosen.runs_out))


def _cut_by_sheet(chosen: CompareOptions) -> Manifest:
    from energy.chain.load import load
    from vehicle.files import checked_output, write_output
    from vehicle.logs.read import read_log
    from vehicle.road_test.call_sheet import read_call_sheet, run_list_of, with_relative_files
    from vehicle.road_test.run_list import manifest_of
    from vehicle.typed import read_quantity

    sheet = read_call_sheet(chosen.manifest)
    inputs = _given(chosen)
    if chosen.runs_out is not None:
        checked_output(chosen.runs_out, inputs, force=chosen.force)
    engine: dict[str, str] = {}
    if chosen.scenario is not None and (known := load(chosen.scenario, chosen.overrides).engine) is not None:
        engine = {"fuel": known.fuel, "displacement": f"{known.displacement.value * 1e3:.6g} L"}
    logs = {str(path.resolve()): read_log(path) for path in chosen.logs}
    offset = None if chosen.offset is None else read_quantity("--offset", chosen.offset, "s")
    text, warnings = run_list_of(sheet, logs, engine, offset)
    if chosen.runs_out is not None:
        listed = with_relative_files(text, chosen.runs_out.resolve().parent)
        write_output(chosen.runs_out, listed.encode(), inputs, force=chosen.force)
    return manifest_of(text, chosen.manifest, warnings)


def _print(road_test: RoadTest, system: UnitSystem) -> None:
    from energy.words.road_test import reconcile_words, said, verdict

    out = common.console()
    common.print_verdict(out, verdict(road_test, system))
    common.print_said(out, said(road_test, system))
    again = reconcile_words(road_test)
    if again:
        common.heading(out, "For windtoll reconcile SCENARIO.toml RESULTS.toml")
        for line in again:
            out.print(line, soft_wrap=True)


def _inputs(test: Manifest, chosen: CompareOptions) -> tuple[Path, ...]:
    """Return the files that are read, and the list of runs that may just have been written: the report replaces none
    of them.
    """
    return (*_given(chosen), test.path, *(path for run in test.runs for path in run.logs))


def _given(chosen: CompareOptions) -> tuple[Path, ...]:
    from vehicle.files import read_by_run

    return read_by_run(chosen.manifest, *chosen.logs, chosen.scenario, chosen.torque_curve)


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
