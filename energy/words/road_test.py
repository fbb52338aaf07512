"""A road test as it is told: the comparison of its runs beside the prediction, its warnings, its words and data."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from vehicle.logs.fuel_flow import LITRES_PER_HOUR
from vehicle.road_test.comparison import Comparison, compare
from vehicle.road_test.read import Reader, in_no_log, read_one, windows_of_runs
from vehicle.road_test.run_list import Manifest


@dataclass(frozen=True)
class RoadTest:
    """The comparison of a test's runs, what to mind, where the fuel came from, and what was predicted.

    `predicted` is the effect and its half-width as shares of the fuel (0.04: 4 % more), None where nothing was.
    """

    answer: Comparison
    warnings: tuple[str, ...]
    fuel_words: tuple[str, ...]
    predicted: tuple[float, float] | None


def road_test(
    test: Manifest,
    *,
    with_state: str = "working",
    without_state: str | None = None,
    level: float = 0.95,
    predict: Callable[[str, str], tuple[float, float] | None] = lambda _with, _without: None,
    planned_m_s: float | None = None,
    read: Reader = read_one,
    progress: Callable[[float], None] | None = None,
) -> RoadTest:
    """Return what `with_state` does in the runs of a test against `without_state` (stowed if logged, else absent).

    `predict(with_state, without_state)` gives the effect expected and its half-width, `planned_m_s` the road speed that
    it is for, where it is for one. `read` reads one log; `progress` hears the share done, 0 to 1. Raises InputError for
    logs that cannot be read, or runs that cannot be compared.
    """
    reading = None if progress is None else lambda share: progress(0.9 * share)
    runs, absolute, words = windows_of_runs(test, read=read, progress=reading)
    stowed = any(run.state == "stowed" for run in runs) and with_state != "stowed"
    predicted = predict(with_state, without_state or ("stowed" if stowed else "absent"))
    value, error = predicted if predicted is not None else (None, 0.0)
    answer = compare(
        runs,
        with_state=with_state,
        without_state=without_state,
        level=level,
        predicted=value,
        predicted_error=error,
        absolute=absolute,
    )
    warnings = [*test.warnings, *in_no_log(test), *answer.warnings]
    if not test.fuel_is_named and not words[0].endswith("fuel rate"):
        warnings.append(
            f'the fuel is not named, {test.engine.fuel.name} is taken ([engine] fuel = "diesel" in the '
            "manifest): litres depend on it, percent does not"
        )
    if predicted is not None:
        warnings += _other_speed(planned_m_s, answer)
    if not absolute:
        warnings.append(
            "displacement not given: percent can be told, litres cannot ([engine] displacement in the manifest)"
        )
    return RoadTest(answer, tuple(warnings), words, predicted)


def _other_speed(planned_m_s: float | None, answer: Comparison) -> list[str]:
    """Return a warning where the prediction is for another speed than the one that was driven."""
    if planned_m_s is None or not at_other_speed(planned_m_s, answer):
        return []  # a schedule has its own mean speed, and its stops
    driven = driven_m_s(answer)
    return [f"the prediction is for {planned_m_s * 3.6:.0f} km/h, the runs were driven at {driven * 3.6:.0f} km/h: "
            f'--set trip.road_speed="{driven * 3.6:.0f} km/h" predicts for that']  # fmt: skip


def as_data(found: RoadTest) -> dict[str, Any]:
    """Return the answer for `--json`; numbers that cannot be told are null."""
    answer, predicted = found.answer, found.predicted

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
        "fuel": list(found.fuel_words),
        "warnings": list(found.warnings),
        "runs": [
            {"file": run.name, "state": run.state, "pair": run.pair, "direction": run.direction, "rows": run.rows,
             "rows_kept": run.kept_rows, "seconds_kept": run.kept_s,
             "mean_l_per_h": run.mean_fuel_m3_s / LITRES_PER_HOUR if answer.baseline_m3_s is not None else None,
             "mean_speed_km_h": run.means["speed_m_s"] * 3.6,
             "change_percent": 100 * change.plain, "adjusted_change_percent": 100 * change.adjusted,
             "filters": [{"what": one.what, "rows": one.rows} for one in run.filters]}
            for run, change in zip(answer.runs, answer.changes, strict=True)
        ],
    }  # fmt: skip


def in_words(found: RoadTest) -> list[str]:
    """Return the answer as lines of text: conclusion first, then how it was reached."""
    answer = found.answer
    lines = [answer.words, *agreement_words(found), ""]
    lines += [f"  {name:<34} {value:>16}   {interval}" for name, value, interval in number_rows(found)]
    lines += [f"  {text}" for text in how_words(found)]
    if found.warnings:
        lines += ["", "Mind:"] + [f"  - {text}" for text in found.warnings]
    lines += ["", f"Runs, their adjusted change against the mean {answer.without_state}, what the filters took (rows):"]
    width = max(len(run.name) for run in answer.runs)
    for name, state, pair, kept, speed, change, flow, taken in run_rows(found):
        lines.append(
            f"  {name:<{width}}  {state:<8} pair {pair:<4} {kept:>16} kept, {speed:>11}  {change:>8}  {flow}".rstrip()
        )
        if taken:
            lines.append(f"    {taken}")
    again = reconcile_words(found)
    return lines + (
        ["", "For `windtoll reconcile SCENARIO.toml RESULTS.toml`:", *(f"  {t}" for t in again)] if again else []
    )


def agreement_words(found: RoadTest) -> list[str]:
    """Return what the measurement says of the prediction, as one sentence; [] where nothing was predicted."""
    said = found.answer.agreement
    return [said[0].upper() + said[1:]] if said else []


def number_rows(found: RoadTest) -> list[tuple[str, str, str]]:
    """Return (quantity, estimate, interval) of what was found, each further unit of a quantity without its name."""
    answer = found.answer
    percent = f"{100 * answer.level:.0f} %"

    def row(words: str, interval: Any, factor: float, unit: str, places: int) -> tuple[str, str, str]:
        told = interval.times(factor)
        value = f"{told.estimate:+.{places}f} {unit}"
        if told.low is None or told.high is None:
            return words, value, "no interval"
        return words, value, f"{told.low:+.{places}f} … {told.high:+.{places}f} ({percent})"

    rows = [row("fuel, adjusted", answer.effect, 100, "%", 2)]
    if answer.effect_m3_s is not None:
        rows.append(row("", answer.effect_m3_s, 1 / LITRES_PER_HOUR, "L/h", 3))
    if answer.effect_m2 is not None:
        rows.append(row("", answer.effect_m2, 1e8, "L/100 km", 3))
    rows.append(row("fuel, plain run means", answer.paired, 100, "%", 2))
    if answer.load_points is not None:
        rows.append(row("calculated load, adjusted", answer.load_points, 1, "points", 2))
    return rows


def how_words(found: RoadTest) -> list[str]:
    """Return how the answer was reached: the randomisation test, the runs, what they are adjusted for, the fuel."""
    answer, said = found.answer, []
    if answer.randomisation_p is not None:
        least = answer.randomisation_least_p or 0.0
        few = " (the least that so few runs can give)" if least > 0.01 and answer.randomisation_p <= 1.5 * least else ""
        said.append(f"randomisation test: p = {answer.randomisation_p:.3f}{few}")
    group = f"complete pairs: {answer.pairs}" if answer.pairs else "compared as two groups"
    said.append(
        f"runs: {answer.runs_with} {answer.with_state}, {answer.runs_without} {answer.without_state}, {group}; "
        f"adjusted for {', '.join(answer.adjusted_for) or 'nothing (nothing else varied enough inside runs)'}"
    )
    return [*said, "; ".join(found.fuel_words)]


RUN_COLUMNS = ("log", "turbine", "pair", "rows kept", "speed", "change", "fuel", "taken out (rows)")


def run_rows(found: RoadTest) -> list[tuple[str, str, str, str, str, str, str, str]]:
    """Return a row of `RUN_COLUMNS` for each run; the change is the adjusted one against the mean without."""
    answer = found.answer
    rows = []
    for run, change in zip(answer.runs, answer.changes, strict=True):
        flow = f"{run.mean_fuel_m3_s / LITRES_PER_HOUR:.3f} L/h" if answer.baseline_m3_s is not None else ""
        rows.append((
            run.name, run.state, run.pair or "-", f"{run.kept_rows} of {run.rows}",
            f"{run.means['speed_m_s'] * 3.6:.1f} km/h", f"{100 * change.adjusted:+.1f} %", flow,
            "; ".join(f"{one.what} {one.rows}" for one in run.filters if one.rows),
        ))  # fmt: skip
    return rows


def at_other_speed(planned_m_s: float, answer: Comparison) -> bool:
    """Return whether the runs were driven at a speed that a prediction for `planned_m_s` does not serve."""
    return abs(driven_m_s(answer) / max(planned_m_s, 1e-9) - 1) > 0.04


def driven_m_s(answer: Comparison) -> float:
    """Return the mean road speed of the runs that were compared."""
    return sum(run.means["speed_m_s"] for run in answer.runs) / len(answer.runs)


def reconcile_words(told: RoadTest) -> list[str]:
    """Return the result as `windtoll reconcile` takes it (± 19 times out of 20), where it is one that it can take."""
    answer = told.answer
    found = answer.effect_m3_s
    moving = [run for run in answer.runs if run.means["speed_m_s"] > 1.0]
    if answer.with_state != "working" or abs(answer.level - 0.95) > 1e-9 or found is None or not moving:
        return []
    if found.low is None or found.high is None:
        return []
    change, half = found.estimate / LITRES_PER_HOUR, (found.high - found.low) / 2 / LITRES_PER_HOUR
    speed = 3.6 * sum(run.means["speed_m_s"] for run in moving) / len(moving)
    many = f"{answer.pairs} pairs" if answer.pairs else f"{answer.runs_with} and {answer.runs_without} runs"
    return ["[[result]]", f'what = "road test, {many}"', f'road_speed = "{speed:.0f} km/h"',
            f'compared_with = "{answer.without_state}"',
            f'fuel_change = {{ value = "{change:.3g} L/h", plus_minus = "{half:.2g} L/h" }}']  # fmt: skip
