"""`windtoll compare`: what the turbine did to fuel and engine load, with an interval, beside what was predicted."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common

if TYPE_CHECKING:
    from vehicle.comparison import Comparison, RunWindows
    from vehicle.manifest import Manifest

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
    from energy.commands.prediction import predicted_effect
    from vehicle.comparison import compare
    from vehicle.manifest import read_manifest
    from vehicle.problems import InputError, Problem

    if overrides and scenario is None:
        raise InputError(Problem("--set", "", "no scenario to set it in", "--scenario SCENARIO.toml"))
    test = read_manifest(manifest)
    runs, absolute, words = windows_of_runs(test)
    against = without or (
        "stowed" if any(run.state == "stowed" for run in runs) and with_state != "stowed" else "absent"
    )
    predicted = predicted_effect(effect, scenario, overrides, with_state=with_state, without_state=against)
    value, error = predicted if predicted is not None else (None, 0.0)
    answer = compare(runs, with_state=with_state, without_state=without, level=level / 100, predicted=value,
                     predicted_error=error, absolute=absolute)  # fmt: skip
    warnings = [*test.warnings, *_in_no_log(test), *answer.warnings]
    if not test.fuel_is_named and not words[0].endswith("fuel rate"):
        warnings.append(f'the fuel is not named, {test.engine.fuel.name} is taken ([engine] fuel = "diesel" in the '
                        "manifest): litres depend on it, percent does not")  # fmt: skip
    if effect is None and scenario is not None:
        warnings += _other_speed(scenario, overrides, answer)
    if not absolute:
        warnings.append(
            "displacement not given: percent can be told, litres cannot ([engine] displacement in the manifest)"
        )
    if as_json:
        click.echo(json.dumps(as_data(answer, warnings, words, predicted), indent=2, allow_nan=False))
        return
    click.echo("\n".join(in_words(answer, warnings, words)))


def _in_no_log(test: Manifest) -> list[str]:
    """Return a warning for each entry of the manifest's [columns] that fits no log: most likely misspelt."""
    paths = {run.path for run in test.runs} if test.columns else set()
    fitting = {key for path in paths for key in present(path, dict(test.columns), {})}
    return [f'[columns] "{key}" is no header of any log' for key in test.columns if key not in fitting]


def _other_speed(scenario: Path, overrides: tuple[str, ...], answer: Comparison) -> list[str]:
    """Return a warning where the scenario predicts for another speed than the one that was driven."""
    from energy.scenario import load

    trip = load(scenario, overrides).trip
    if trip.schedule is not None or trip.road_speed is None:
        return []  # a schedule has its own mean speed, and its stops
    planned = trip.road_speed.value
    driven = sum(run.means["speed_m_s"] for run in answer.runs) / len(answer.runs)
    if abs(driven / max(planned, 1e-9) - 1) <= 0.04:
        return []
    return [f"the prediction is for {planned * 3.6:.0f} km/h, the runs were driven at {driven * 3.6:.0f} km/h: "
            f'--set trip.road_speed="{driven * 3.6:.0f} km/h" predicts for that']  # fmt: skip


def windows_of_runs(test: Manifest) -> tuple[list[RunWindows], bool, tuple[str, ...]]:
    """Return the windows of every run of a manifest, whether litres are absolute, and how the fuel was found."""
    from vehicle.comparison import common_source, runs_of_states, windows_of
    from vehicle.fuel_flow import fuel_flow
    from vehicle.obd_log import Log, read_log
    from vehicle.problems import InputError, Problem

    problems: list[Problem] = []
    logs: list[Log] = []
    seen: dict[tuple[Path, str], Log] = {}
    for run in test.runs:
        columns = {**test.columns, **run.columns}
        key = (run.path, repr(columns))
        try:
            if key not in seen:
                seen[key] = read_log(run.path, present(run.path, columns, run.columns), where=test.path.name)
            logs.append(seen[key])
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    source, engine, absolute = common_source(list(seen.values()), test.engine)
    flows = {id(log): fuel_flow(log, engine, source=source) for log in seen.values()}
    runs = [windows_of(log, flows[id(log)], part) for log, run in zip(logs, test.runs, strict=True)
            for part in runs_of_states(run, log)]  # fmt: skip
    return runs, absolute, (f"fuel from {source}", *flows[id(logs[0])].words)


def present(path: Path, columns: dict[str, str], own: Any) -> dict[str, str]:
    """Return the overrides that this log has headers for: the manifest's table serves all logs, a run's own must
    fit."""
    from vehicle.log_text import headers_of

    have = {header.strip().lower() for header in headers_of(path)} if columns else set()
    bare = {header.removesuffix("()").strip() for header in have}
    return {key: text for key, text in columns.items() if key in own or key.strip().lower() in have | bare}


def as_data(
    answer: Comparison, warnings: list[str], fuel_words: tuple[str, ...], predicted: tuple[float, float] | None
) -> dict[str, Any]:
    """Return the answer for `--json`; numbers that cannot be told are null."""
    from vehicle.fuel_flow import LITRES_PER_HOUR

    def told(interval: Any, factor: float = 1.0) -> dict[str, Any]:
        if interval is None:
            return {"estimate": None, "low": None, "high": None, "level": answer.level}
        data: dict[str, Any] = interval.times(factor).as_dict()
        return data

    return {
        "comparison": f"{answer.with_state} against {answer.without_state}",
        "conclusion": answer.conclusion,
        "words": answer.words,
        "effect_percent": told(answer.effect, 100),
        "effect_l_per_h": told(answer.effect_m3_s, 1 / LITRES_PER_HOUR),
        "effect_l_per_100_km": told(answer.effect_m2, 1e8),
        "effect_load_points": told(answer.load_points),
        "paired_means_percent": told(answer.paired, 100),
        "without_l_per_h": None if answer.baseline_m3_s is None else answer.baseline_m3_s / LITRES_PER_HOUR,
        "without_l_per_100_km": None if answer.baseline_m2 is None else answer.baseline_m2 * 1e8,
        "randomisation_p": answer.randomisation_p,
        "randomisation_least_p": answer.randomisation_least_p,
        "pairs": answer.pairs,
        "runs_with": answer.runs_with,
        "runs_without": answer.runs_without,
        "design": answer.design,
        "adjusted_for": list(answer.adjusted_for),
        "more_pairs_needed": answer.more_pairs,
        "predicted_percent": None if predicted is None else {"estimate": 100 * predicted[0],
        "plus_minus": 100 * predicted[1]},
        "agreement": answer.agreement,
        "fuel": list(fuel_words),
        "warnings": warnings,
        "runs": [
            {"file": run.name, "state": run.state, "pair": run.pair, "direction": run.direction, "rows": run.rows,
             "rows_kept": run.kept_rows, "seconds_kept": run.kept_s,
             "mean_l_per_h": run.mean_fuel_m3_s / LITRES_PER_HOUR if answer.baseline_m3_s is not None else None,
             "mean_speed_km_h": run.means["speed_m_s"] * 3.6,
             "filters": [{"what": step.what, "rows": step.rows} for step in run.steps]} for run in answer.runs
        ],
    }  # fmt: skip


def in_words(answer: Comparison, warnings: list[str], fuel_words: tuple[str, ...]) -> list[str]:
    """Return the answer as lines of text: conclusion first, then how it was reached."""
    from vehicle.fuel_flow import LITRES_PER_HOUR

    lines = [answer.words]
    if answer.agreement:
        lines.append(answer.agreement[0].upper() + answer.agreement[1:])
    percent = f"{100 * answer.level:.0f} %"

    def row(words: str, interval: Any, factor: float, unit: str, places: int) -> str:
        told = interval.times(factor)
        value = f"{told.estimate:+.{places}f} {unit}"
        if told.low is None or told.high is None:
            return f"  {words:<34} {value:>16}   no interval"
        return f"  {words:<34} {value:>16}   {told.low:+.{places}f} … {told.high:+.{places}f} ({percent})"

    lines += ["", row("fuel, adjusted", answer.effect, 100, "%", 2)]
    if answer.effect_m3_s is not None:
        lines.append(row("", answer.effect_m3_s, 1 / LITRES_PER_HOUR, "L/h", 3))
    if answer.effect_m2 is not None:
        lines.append(row("", answer.effect_m2, 1e8, "L/100 km", 3))
    lines.append(row("fuel, plain run means", answer.paired, 100, "%", 2))
    if answer.load_points is not None:
        lines.append(row("calculated load, adjusted", answer.load_points, 1, "points", 2))
    if answer.randomisation_p is not None:
        least = answer.randomisation_least_p or 0.0
        few = " (the least that so few runs can give)" if least > 0.01 and answer.randomisation_p <= 1.5 * least else ""
        lines.append(f"  randomisation test: p = {answer.randomisation_p:.3f}{few}")
    group = f"complete pairs: {answer.pairs}" if answer.pairs else "compared as two groups"
    lines.append(
        f"  runs: {answer.runs_with} {answer.with_state}, {answer.runs_without} {answer.without_state}, {group}; "
        f"adjusted for {', '.join(answer.adjusted_for) or 'nothing (nothing else varied enough inside runs)'}"
    )
    lines.append(f"  {'; '.join(fuel_words)}")
    if warnings:
        lines += ["", "Mind:"] + [f"  - {text}" for text in warnings]
    lines += ["", "Runs and what the filters took (rows):"]
    width = max(len(run.name) for run in answer.runs)
    for run in answer.runs:
        flow = f"{run.mean_fuel_m3_s / LITRES_PER_HOUR:.3f} L/h" if answer.baseline_m3_s is not None else ""
        lines.append(
            f"  {run.name:<{width}}  {run.state:<8} pair {run.pair or '-':<4} {run.kept_rows:>7} of {run.rows:>7} kept, "
            f"{run.means['speed_m_s'] * 3.6:6.1f} km/h  {flow}"
        )
        if any(step.rows for step in run.steps):
            lines.append("    " + "; ".join(f"{step.what} {step.rows}" for step in run.steps if step.rows))
    return lines + _for_reconcile(answer)


def _for_reconcile(answer: Comparison) -> list[str]:
    """Return the result as `windtoll reconcile` takes it (± 19 times out of 20), where it is one that it can take."""
    from vehicle.fuel_flow import LITRES_PER_HOUR

    found = answer.effect_m3_s
    moving = [run for run in answer.runs if run.means["speed_m_s"] > 1.0]
    if answer.with_state != "working" or abs(answer.level - 0.95) > 1e-9 or found is None or not moving:
        return []
    if found.low is None or found.high is None:
        return []
    change, half = found.estimate / LITRES_PER_HOUR, (found.high - found.low) / 2 / LITRES_PER_HOUR
    speed = 3.6 * sum(run.means["speed_m_s"] for run in moving) / len(moving)
    many = f"{answer.pairs} pairs" if answer.pairs else f"{answer.runs_with} and {answer.runs_without} runs"
    return ["", "For `windtoll reconcile SCENARIO.toml RESULTS.toml`:", "  [[result]]",
            f'  what = "road test, {many}"', f'  road_speed = "{speed:.0f} km/h"',
            f'  compared_with = "{answer.without_state}"',
            f'  fuel_change = {{ value = "{change:.3g} L/h", plus_minus = "{half:.2g} L/h" }}']  # fmt: skip
