"""A road test: the comparison of its runs beside the prediction, as sentences, rows and data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from energy.chain.road_test import RoadTest
from vehicle.logs.fuel_flow import LITRES_PER_HOUR

if TYPE_CHECKING:
    from energy.words.result_model import EstimateData
    from energy.words.road_test_model import RunData
    from vehicle.quantity import Estimate


def as_data(test: RoadTest) -> dict[str, Any]:
    """Return the answer for `--json`; unknown numbers are null."""
    from energy.words.result_model import ends_data, estimate_data
    from energy.words.road_test_model import CompareData

    answer, predicted = test.answer, test.predicted

    def ends(interval: Estimate | None, factor: float = 1.0) -> EstimateData:
        return estimate_data(None if interval is None else interval.times(factor), answer.level)

    def around(value: float, half: float) -> tuple[float, float, float]:
        return 100 * (value - half), 100 * value, 100 * (value + half)

    return CompareData(
        comparison=f"{answer.with_state} compared with {answer.without_state}",
        conclusion=answer.conclusion,
        words=answer.words,
        effect_percent=ends(answer.effect, 100),
        effect_l_per_h=ends(answer.effect_m3_s, 1 / LITRES_PER_HOUR),
        effect_l_per_100km=ends(answer.effect_m2, 1e8),
        effect_load_points=ends(answer.load_points),
        paired_means_percent=ends(answer.paired, 100),
        without_l_per_h=None if answer.baseline_m3_s is None else answer.baseline_m3_s / LITRES_PER_HOUR,
        without_l_per_100km=None if answer.baseline_m2 is None else answer.baseline_m2 * 1e8,
        randomisation_p=answer.randomisation_p,
        randomisation_least_p=answer.randomisation_least_p,
        pairs=answer.pairs,
        runs_with=answer.runs_with,
        runs_without=answer.runs_without,
        design=answer.design,
        adjusted_for=list(answer.adjusted_for),
        more_pairs_needed=answer.more_pairs,
        predicted_percent=None if predicted is None else ends_data(around(*predicted), PREDICTED_LEVEL),
        agreement=answer.agreement,
        fuel=list(test.fuel_words),
        warnings=list(test.warnings),
        runs=[_run_data(test, k) for k in range(len(answer.runs))],
    ).model_dump()


def _run_data(test: RoadTest, k: int) -> RunData:
    from energy.words.road_test_model import FilterData, RunData

    answer, run, change = test.answer, test.answer.runs[k], test.answer.changes[k]
    return RunData(
        file=run.name,
        state=run.state,
        pair=run.pair,
        direction=run.direction,
        rows=run.rows,
        rows_kept=run.kept_rows,
        seconds_kept=run.kept_s,
        mean_l_per_h=run.mean_fuel_m3_s / LITRES_PER_HOUR if answer.baseline_m3_s is not None else None,
        mean_speed_km_h=run.means["speed_m_s"] * 3.6,
        change_percent=100 * change.plain,
        adjusted_change_percent=100 * change.adjusted,
        filters=[FilterData(what=one.what, rows=one.rows) for one in run.filters],
    )


PREDICTED_LEVEL = 0.9  # of a scenario's prediction
CAUTIONS = (
    "A road test shows what the turbine costs, not whether it may be operated: run windtoll loads.",
    "The driver drives; logging and switching are a passenger's job.",
)


def in_words(test: RoadTest) -> list[str]:
    """Return the answer as lines of text: conclusion first, then how it was reached."""
    answer = test.answer
    lines = [answer.words, *agreement_words(test), ""]
    lines += [f"  {name:<34} {value:>16}   {interval}" for name, value, interval in number_rows(test)]
    lines += [f"  {text}" for text in how_words(test)]
    if test.warnings:
        lines += ["", "Mind:"] + [f"  - {text}" for text in test.warnings]
    lines += ["", f"Runs, their adjusted change against the mean {answer.without_state}, what the filters took (rows):"]
    width = max(len(run.name) for run in answer.runs)
    for name, state, pair, kept, speed, change, flow, taken in run_rows(test):
        lines.append(
            f"  {name:<{width}}  {state:<8} pair {pair:<4} {kept:>16} kept, {speed:>11}  {change:>8}  {flow}".rstrip()
        )
        if taken:
            lines.append(f"    {taken}")
    lines += ["", "Cautions:", *(f"  - {text}" for text in CAUTIONS)]
    again = reconcile_words(test)
    return lines + (
        ["", "For `windtoll reconcile SCENARIO.toml RESULTS.toml`:", *(f"  {t}" for t in again)] if again else []
    )


def agreement_words(test: RoadTest) -> list[str]:
    """Return what the measurement says of the prediction, as one sentence; [] where nothing was predicted."""
    said = test.answer.agreement
    return [said[0].upper() + said[1:]] if said else []


def number_rows(test: RoadTest) -> list[tuple[str, str, str]]:
    """Return (quantity, estimate, interval) of what was found, each further unit of a quantity without its name."""
    answer = test.answer
    percent = f"{100 * answer.level:.0f} %"

    def row(words: str, interval: Any, factor: float, unit: str, places: int) -> tuple[str, str, str]:
        scaled = interval.times(factor)
        value = f"{scaled.estimate:+.{places}f} {unit}"
        if scaled.low is None or scaled.high is None:
            return words, value, "no interval"
        return words, value, f"{scaled.low:+.{places}f} … {scaled.high:+.{places}f} ({percent})"

    rows = [row("fuel, adjusted", answer.effect, 100, "%", 2)]
    if answer.effect_m3_s is not None:
        rows.append(row("", answer.effect_m3_s, 1 / LITRES_PER_HOUR, "L/h", 3))
    if answer.effect_m2 is not None:
        rows.append(row("", answer.effect_m2, 1e8, "L/100 km", 3))
    rows.append(row("fuel, plain run means", answer.paired, 100, "%", 2))
    if answer.load_points is not None:
        rows.append(row("calculated load, adjusted", answer.load_points, 1, "points", 2))
    return rows


def how_words(test: RoadTest) -> list[str]:
    """Return how the answer was reached: the randomisation test, the runs, what they are adjusted for, the fuel."""
    answer, said = test.answer, []
    if answer.randomisation_p is not None:
        least = answer.randomisation_least_p or 0.0
        few = (
            " (the smallest value possible with so few runs)"
            if least > 0.01 and answer.randomisation_p <= 1.5 * least
            else ""
        )
        said.append(f"randomisation test: p = {answer.randomisation_p:.3f}{few}")
    group = f"complete pairs: {answer.pairs}" if answer.pairs else "compared as two groups"
    said.append(
        f"runs: {answer.runs_with} {answer.with_state}, {answer.runs_without} {answer.without_state}, {group}; "
        f"adjusted for {', '.join(answer.adjusted_for) or 'nothing (nothing else varied enough inside runs)'}"
    )
    return [*said, "; ".join(test.fuel_words)]


RUN_COLUMNS = ("log", "turbine", "pair", "rows kept", "speed", "change", "fuel", "taken out (rows)")


def run_rows(test: RoadTest) -> list[tuple[str, str, str, str, str, str, str, str]]:
    """Return a row of `RUN_COLUMNS` for each run; the change is the adjusted one against the mean without."""
    answer = test.answer
    rows = []
    for run, change in zip(answer.runs, answer.changes, strict=True):
        flow = f"{run.mean_fuel_m3_s / LITRES_PER_HOUR:.3f} L/h" if answer.baseline_m3_s is not None else ""
        rows.append(
            (
                run.name,
                run.state,
                run.pair or "-",
                f"{run.kept_rows} of {run.rows}",
                f"{run.means['speed_m_s'] * 3.6:.1f} km/h",
                f"{100 * change.adjusted:+.1f} %",
                flow,
                "; ".join(f"{one.what} {one.rows}" for one in run.filters if one.rows),
            )
        )
    return rows


def reconcile_words(test: RoadTest) -> list[str]:
    """Return the result as `windtoll reconcile` takes it (± 19 times out of 20), where it is one that it can take."""
    answer = test.answer
    effect = answer.effect_m3_s
    moving = [run for run in answer.runs if run.means["speed_m_s"] > 1.0]
    if answer.with_state != "working" or abs(answer.level - 0.95) > 1e-9 or effect is None or not moving:
        return []
    if effect.low is None or effect.high is None:
        return []
    change, half = effect.estimate / LITRES_PER_HOUR, (effect.high - effect.low) / 2 / LITRES_PER_HOUR
    speed = 3.6 * sum(run.means["speed_m_s"] for run in moving) / len(moving)
    many = f"{answer.pairs} pairs" if answer.pairs else f"{answer.runs_with} and {answer.runs_without} runs"
    return [
        "[[result]]",
        f'what = "road test, {many}"',
        f'road_speed = "{speed:.0f} km/h"',
        f'compared_with = "{answer.without_state}"',
        f'fuel_change = {{ value = "{change:.3g} L/h", plus_minus = "{half:.2g} L/h" }}',
    ]
