"""`windtoll plan`: how many pairs of runs show the predicted effect, in what order, and a sheet to take along."""

from __future__ import annotations

import json
from pathlib import Path

import click

from energy.commands import common

MOST_ORDERED = 200


@click.command("plan", short_help="How many pairs of runs show the effect, in what order; a sheet to print.")
@click.argument("scenario", required=False, type=click.Path(path_type=Path))
@common.set_option
@click.option("--effect", help='The effect to be shown, as a share of the fuel: "4 %".')
@click.option("--spread", help='Standard deviation of the difference within a pair, as a share of the fuel: "3 %".')
@click.option(
    "--runs", "runs_file", type=click.Path(path_type=Path), help="Take the spread from the runs of this manifest."
)
@click.option("--pairs", type=click.IntRange(2, 1000), help="Plan this many pairs, and say what they can show.")
@click.option("--without", type=click.Choice(["stowed", "absent"]), default="stowed", show_default=True,
              help="The state to drive against.")  # fmt: skip
@click.option("--level", type=click.FloatRange(50, 99.9), default=95.0, show_default=True, help="Level of the test, %.")
@click.option("--speed", help='Speed to write on the sheet: "90 km/h". Default: that of the scenario.')
@click.option("--road", default="the same road out and back", help="Road to write on the sheet.")
@click.option("--seed", type=int, help="Number that fixes the drawing of the order (the same seed, the same order).")
@click.option(
    "--sheet", type=click.Path(path_type=Path), help="Write the run sheet to this HTML file, to print on one page."
)
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
def command(
    scenario: Path | None, overrides: tuple[str, ...], effect: str | None, spread: str | None,
    runs_file: Path | None, pairs: int | None, without: str,
    level: float, speed: str | None, road: str, seed: int | None, sheet: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Say how many pairs of runs are needed to see an effect on fuel, and draw the order to drive them in.

    The effect is the one that `windtoll answer` predicts for SCENARIO against the state --without, or --effect. The
    spread comes from --runs (your own logs), --spread, or a default that is an assumption.
    """
    from energy import run_sheet
    from energy.prediction import predicted_effect
    from vehicle.planning import driving_order, pairs_needed, smallest_effect
    from vehicle.problems import InputError, Problem

    if overrides and scenario is None:
        raise InputError(Problem("--set", "", "no scenario to set it in", "SCENARIO.toml"))
    speed = speed or _speed_of(scenario, overrides) or "one steady speed"
    share, spread_words = _spread(spread, runs_file)
    predicted = predicted_effect(effect, scenario, overrides, without_state=without)
    if predicted is None:
        if pairs is None:
            raise InputError(Problem("plan", "", "no effect to plan for", 'a scenario, --effect "4 %", or --pairs 6'))
        needed: dict[int, int | None] = {80: None, 90: None}
    else:
        if predicted[0] == 0:
            raise InputError(Problem("--effect", "", "0 %", 'an effect other than zero, such as "4 %"'))
        needed = {power: pairs_needed(abs(predicted[0]), share, power / 100, level / 100) for power in (80, 90)}
    planned = pairs or needed[80] or 2
    planned += planned % 2  # whole blocks of two pairs: out and back
    order = driving_order(min(planned, MOST_ORDERED), ("working", without), seed)
    can_show = {
        str(n): 100 * smallest_effect(share, n, 0.8, level / 100) for n in sorted({4, 6, 8, 12, 16, 24, planned})
    }
    if sheet is not None:
        _write(sheet, run_sheet.as_html(order, speed, road))
    if as_json:
        click.echo(json.dumps({
            "effect_percent": None if predicted is None else 100 * predicted[0],
            "spread_percent": 100 * share,
            "spread_from": spread_words,
            "level": level / 100,
            "pairs_for_80_percent_power": needed[80],
            "pairs_for_90_percent_power": needed[90],
            "pairs_planned": planned,
            "smallest_effect_percent": can_show,
            "order": [run.as_dict() for run in order],
        }, indent=2, allow_nan=False))  # fmt: skip
        return
    out = [f"Spread of the difference within a pair: {100 * share:.2f} % of the fuel (standard deviation), "
           f"{spread_words}."]  # fmt: skip
    if predicted is not None:
        out += [f"To show {100 * predicted[0]:+.1f} % at {level:g} %:",
                f"  {needed[80]} pairs for 80 % power", f"  {needed[90]} pairs for 90 % power"]  # fmt: skip
        if (needed[80] or 0) > 40:
            out.append("  That is more than a few days of driving: a steadier road, longer runs (20 minutes) "
            "and a calmer day "
                       "shrink the spread; or measure a larger effect (a higher speed).")  # fmt: skip
    out += ["Smallest effect that can be shown with 80 % power:"]
    out += [f"  {n:>3} pairs: {effect_shown:.1f} %" for n, effect_shown in can_show.items()]
    if pairs is not None and planned != pairs:
        out.append(f"({planned} pairs are planned, not {pairs}: two make a block, out and back)")
    if planned > MOST_ORDERED:
        out.append(f"(the order below is for the first {MOST_ORDERED} pairs)")
    click.echo("\n".join([*out, "", *run_sheet.lines(order, speed, road)]))
    if sheet is not None:
        click.echo(f"\nRun sheet written to {sheet}.")


def _speed_of(scenario: Path | None, overrides: tuple[str, ...]) -> str | None:
    """Return the scenario's road speed in words, in both of the units that people drive by."""
    if scenario is None:
        return None
    from energy.scenario import load
    from vehicle.units import show

    asked = load(scenario, overrides).trip.road_speed
    if asked is None:  # a schedule: no one speed
        return None
    speed = asked.value
    return f"{show(speed, 'speed', 'metric')} ({show(speed, 'speed', 'us')})"


def _spread(spread: str | None, runs_file: Path | None) -> tuple[float, str]:
    """Return the standard deviation of a difference within a pair as a share of the fuel, and where it comes from."""
    from energy.prediction import typed_effect
    from vehicle.planning import DEFAULT_SPREAD, DEFAULT_SPREAD_WORDS
    from vehicle.problems import InputError, Problem

    if spread is not None and runs_file is not None:
        raise InputError(Problem("--spread", "", "given beside --runs", "one of the two"))
    if spread is not None:
        value, _ = typed_effect(spread, "--spread")
        if value <= 0:
            raise InputError(Problem("--spread", "", spread, 'a share above zero, such as "3 %"'))
        return value, "as given"
    if runs_file is None:
        return DEFAULT_SPREAD, DEFAULT_SPREAD_WORDS
    from vehicle.comparison import spread_within_pairs
    from vehicle.manifest import read_manifest
    from vehicle.road_test import windows_of_runs

    runs, _, _ = windows_of_runs(read_manifest(runs_file))
    value, freedom = spread_within_pairs(runs)
    if not value > 0:
        raise InputError(Problem(str(runs_file), "", "the runs do not differ at all", "runs of real drives"))
    return value, f"from the {len(runs)} runs of {runs_file.name} ({freedom} degrees of freedom)"


def _write(path: Path, text: str) -> None:
    from vehicle.files import write_whole
    from vehicle.problems import InputError, Problem

    try:
        write_whole(path, text.encode())
    except OSError as error:
        raise InputError(
            Problem(str(path), "", f"cannot be written ({error.strerror})", "a folder that exists")
        ) from None
