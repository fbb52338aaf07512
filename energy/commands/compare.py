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
  [[runs]]
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

    test = read_manifest(manifest)
    runs, absolute, words = windows_of_runs(test)
    against = without or (
        "stowed" if any(run.state == "stowed" for run in runs) and with_state != "stowed" else "absent"
    )
    predicted = predicted_effect(effect, scenario, overrides, with_state=with_state, without_state=against)
    value, error = predicted if predicted is not None else (None, 0.0)
    answer = compare(runs, with_state=with_state, without_state=without, level=level / 100, predicted=value,
                     predicted_error=error, absolute=absolute)  # fmt: skip
    warnings = [*test.warnings, *answer.warnings]
    if not absolute:
        warnings.append(
            "displacement not given: percent can be told, litres cannot ([engine] displacement in the manifest)"
        )
    if as_json:
        click.echo(json.dumps(as_data(answer, warnings, words, predicted), indent=2, allow_nan=False))
        return
    click.echo("\n".join(in_words(answer, warnings, words)))


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
                seen[key] = read_log(run.path, _present(run.path, columns, run.columns), where=test.path.name)
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


def _present(path: Path, columns: dict[str, str], own: Any) -> dict[str, str]:
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
        lines.append(f"  randomisation test: p = {answer.randomisation_p:.3f}")
    group = f"complete pairs: {answer.pairs}" if answer.pairs else "compared as two groups"
    lines.append(
        f"  runs: {answer.runs_with} {answer.with_state}, {answer.runs_without} {answer.without_state}, {group}; "
        f"adjusted for {', '.join(answer.adjusted_for) or 'nothing (nothing else varied enough inside runs)'}"
    )
    lines.append(f"  {'; '.join(fuel_words)}")
    if warnings:
        lines += ["", "Mind:"] + [f"  - {text}" for text in warnings]
    lines += ["", "Runs and what the filters took (rows):"]
    for run in answer.runs:
        flow = f"{run.mean_fuel_m3_s / LITRES_PER_HOUR:.3f} L/h" if answer.baseline_m3_s is not None else ""
        lines.append(
            f"  {run.name:<24} {run.state:<8} pair {run.pair or '-':<4} {run.kept_rows:>7} of {run.rows:>7} kept, "
            f"{run.means['speed_m_s'] * 3.6:6.1f} km/h  {flow}"
        )
        lines.append("    " + "; ".join(f"{step.what} {step.rows}" for step in run.steps if step.rows))
    return lines
