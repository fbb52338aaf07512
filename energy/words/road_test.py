"""A road test: the comparison of its runs beside the prediction, as sentences, rows and data."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from energy.chain.road_test import RoadTest
from energy.words.said import Said, SaidTable
from energy.words.verdict import KWH_PER_100_KM, FirstLines, danger_lines, pack_energy_unit
from vehicle.logs.fuel_flow import LITRES_PER_HOUR
from vehicle.quantity import Estimate
from vehicle.road_test.rule import rule_words
from vehicle.road_test.sources import LOAD_SOURCES
from vehicle.units import UnitSystem, figures, label, show, to_user

if TYPE_CHECKING:
    from energy.words.result_model import EstimateData
    from energy.words.road_test_model import ChecksData, RunData
    from vehicle.road_test.comparison import BatteryEffect, Comparison
    from vehicle.road_test.windows import RunWindows


def verdict(test: RoadTest, system: UnitSystem = "metric") -> FirstLines:
    """Return the first lines of an answer: what makes it unsafe to use, the answer, then one number a line."""
    lines = [_case_line(test, system)]
    if test.answer.conclusion == "saves" and test.answer.without_state == "stowed":
        lines.append("No saving against a vehicle without the turbine is shown: no run was driven without it")
    if test.answer.more_pairs:
        lines.append(_more_line(test.answer.more_pairs))
    lines += _number_lines(test, system)
    lines += agreement_words(test)
    wind = wind_words(test, system) if test.answer.conclusion in ("costs", "saves") else ""
    lines += [wind] if wind else []
    lines += [_rests_line(test), _rule_line(test)]
    warnings = tuple(f"Mind: {text}." for text in first_warnings(test))
    broken = () if test.predicted is None else test.predicted.broken
    dangers = danger_lines(broken, broken, system, "By the scenario: ")
    return FirstLines(
        dangers=dangers,
        warnings=warnings,
        headline=_headline(test),
        lines=tuple(lines),
        operate="no" if dangers else "not checked",
    )


def _more_line(more: int) -> str:
    return f"More runs: {more} more pair{'s' if more > 1 else ''} would give an 80 % chance of a clear answer"


_FIRST = (
    "not like for like",
    "confounded",
    "stands out",
    "runs the other way",
    "of the run sheet",
    "explains",
    "covers only",
    "slipstream",
    "was not alike",
)


def first_warnings(test: RoadTest) -> list[str]:
    """Return the warnings that go before the answer: what can have made it by itself."""
    return [text for text in test.warnings if any(words in text for words in _FIRST)]


def other_warnings(test: RoadTest) -> list[str]:
    """Return the warnings that follow the answer."""
    first = first_warnings(test)
    return [text for text in test.warnings if text not in first]


_AGAINST = {"stowed": "carrying the turbine stowed", "absent": "the same vehicle without the turbine"}


def _headline(test: RoadTest) -> str:
    """Return the answer: the change that was measured, with its interval, and against what."""
    answer = test.answer
    what, effect, unit, places = answer.used, answer.effect.times(100), "%", 1
    if not answer.firm and answer.load_points is not None:
        what, effect, unit, places = "load", answer.load_points, "points", 2
    if effect.low is None or effect.high is None:
        return f"Too few runs. {answer.words}"
    interval = f"({round(100 * answer.level)} % interval {effect.low:+.{places}f} to {effect.high:+.{places}f} {unit})"
    number, interval = (text.replace("-", "−") for text in (f"{effect.estimate:+.{places}f} {unit}", interval))
    against = f"against {_AGAINST[answer.without_state]}"
    if answer.conclusion == "costs":
        verb = f"Raises the {_load_name(test)}, costs fuel" if what == "load" else f"Costs {what}"
        return f"{verb}: {number} {against} {interval}"
    if answer.conclusion == "saves":
        verb = f"Lowers the {_load_name(test)}, saves fuel" if what == "load" else f"Saves {what}"
        return f"{verb}: {number} {against} {interval}"
    if answer.conclusion == "no effect larger than":
        bound = max(-effect.low, effect.high)
        return f"No effect larger than {bound:.{places}f} {unit}: {number} {interval}"
    return f"Too close to call: {what} {number} {interval}"


def _load_name(test: RoadTest) -> str:
    return test.drives.fuel.source if test.drives.fuel.source in LOAD_SOURCES else "calculated load"


def _case_line(test: RoadTest, system: UnitSystem) -> str:
    answer = test.answer
    speed = show(_mean_speed(test), "speed", system)
    pairs = f"{answer.pairs} complete pair{'s' if answer.pairs > 1 else ''}"
    group = pairs if answer.pairs else "compared as two groups"
    ratio = ", each run as ratio to the control vehicle" if answer.controlled else ""
    return (
        f"Runs: {answer.runs_with} {answer.with_state}, {answer.runs_without} {answer.without_state}, {group}; mean "
        f"speed {speed}{ratio}"
        f"{f'; {test.test.name}' if test.test.name else ''}"
    )


def _mean_speed(test: RoadTest) -> float:
    return sum(run.means["speed_m_s"] for run in test.answer.runs) / len(test.answer.runs)


def _interval(estimate: Estimate, shown: Callable[[float], str], unit: str) -> str:
    if estimate.low is None or estimate.high is None:
        return f"{shown(estimate.estimate)} {unit}, no interval"
    return f"{shown(estimate.estimate)} {unit} ({shown(estimate.low)} to {shown(estimate.high)} {unit})"


def _per_hour(estimate: Estimate, system: UnitSystem) -> str:
    unit = label("fuel_flow", system)
    return _interval(estimate, lambda value: figures(to_user(value, "fuel_flow", system), 3, signed=True), unit)


def _in_unit(estimate: Estimate, kind: str, system: UnitSystem) -> str:
    unit, factor = _unit(kind, system)
    return _interval(estimate.times(factor), lambda value: figures(value, 3, signed=True), unit)


def _percent(estimate: Estimate) -> str:
    return _interval(estimate.times(100), lambda value: f"{value:+.1f}".replace("-", "−"), "%")


def _number_lines(test: RoadTest, system: UnitSystem) -> list[str]:
    """Return a line for each further number: litres, and both with what no number of runs removes."""
    answer, lines = test.answer, []
    if not answer.firm:
        if answer.load_share is not None:
            lines.append(f"Measured: {_percent(answer.load_share)} of the {_load_name(test)}")
        lines.append(f"Converted from it, fuel: {_percent(answer.effect)}")
        if answer.effect_m3_s is not None:
            lines.append(f"Converted from it, fuel per hour: {_per_hour(answer.effect_m3_s, system)}")
        return [*lines, f"The conversion: {test.beyond_words}"]
    if answer.effect_m3_s is not None:
        lines.append(f"Fuel per hour, from the runs: {_per_hour(answer.effect_m3_s, system)}")
    lines += _battery_lines(answer.battery, system)
    errors = "sensors, engine data" if answer.battery is None else "the meter"
    if answer.effect.low is not None and _percent(answer.beyond) == _percent(answer.effect):
        of = errors.replace(",", " and")
        lines.append(f"Errors of {of} are counted in that interval: here too small to widen it")
    elif answer.effect.low is not None:
        lines.append(f"With the errors that more runs cannot remove ({errors}): {_percent(answer.beyond)}")
    if test.whole is not None:
        lines.append(f"Whole runs, gear shifts included: {_percent(test.whole)}")
    if answer.without_state == "stowed":
        lines.append(f"Carrying the turbine stowed costs {answer.used} as well; these runs do not show how much")
    return lines


def _battery_lines(battery: BatteryEffect | None, system: UnitSystem) -> list[str]:
    """Return the lines of the watts and of the energy per distance; [] for runs judged by fuel."""
    if battery is None:
        return []
    lines = [f"Battery power, from the runs: {_in_unit(battery.change_w, 'battery_power', system)}"]
    if battery.change_j_m is not None:
        per_distance = _in_unit(battery.change_j_m, "battery_energy_per_distance", system)
        lines.append(f"Battery energy per distance, from the runs: {per_distance}")
    return lines


def wind_words(test: RoadTest, system: UnitSystem = "metric") -> str:
    """Return which wind would explain the whole effect, and what speaks for or against that; "" for standing."""
    wind, answer = test.answer.wind, test.answer
    if wind is None or answer.effect.low is None:
        return ""
    size = show(abs(wind.equal_m_s), "speed", system, digits=2)
    where = "stronger" if wind.equal_m_s > 0 else "weaker"
    equal = f"A head wind {size} {where} in the {answer.with_state} runs than in the others could explain all of it"
    if wind.controlled:
        return f"{equal}; the control vehicle drove in the same air, which takes wind out"
    if wind.given:
        return (
            "The wind of every run is written down and corrected for. Only if it was wrong by "
            f"{size} more in the {answer.with_state} runs than in the others would it explain all of the effect"
        )
    if not wind.ways:
        ways = "nor is the direction of the runs, so that nothing shows whether a steady wind cancels"
    elif not wind.alike:
        ways = "the states were not driven both ways alike, so that a steady wind does not cancel"
    elif wind.ways > 1:
        ways = "both states were driven both ways alike, so that a steady wind cancels"
    else:
        ways = "all runs went one way: a steady wind cancels, one that grew between the states does not"
    return f"{equal}; the wind is not written down for every run; {ways}"


def _rests_line(test: RoadTest) -> str:
    ours, theirs = test.answer.kept
    answer = test.answer
    if not test.drives.logs:
        return f"Rests on every run as a whole; {test.fuel_words[0]}"
    if min(ours, theirs) > 0.995:
        return f"Rests on all of the logged driving; {test.fuel_words[0]}"
    return (
        f"Rests on {100 * ours:.0f} % of the driving logged {answer.with_state} and {100 * theirs:.0f} % of that "
        f"logged {answer.without_state}; {test.fuel_words[0]}"
    )


def _rule_line(test: RoadTest) -> str:
    rule = test.answer.rejected
    if rule.not_applied and not rule.runs:
        return f"The rule of the run sheet for rejecting runs is not applied: {rule.not_applied}"
    if rule.not_applied:
        return "The rule of the run sheet is not applied: too few runs would be left"
    many = len(rule.runs)
    return f"Runs rejected by the rule of the run sheet: {'none' if not many else f'{many} run' + 's' * (many > 1)}"


HEATING_AND_COOLING = (
    "Heating, air conditioning and a battery that is still cold use battery energy as well, and the runs do not show "
    "how much: keep the same settings in every run, and warm the battery up before the first"
)


def explains_words(test: RoadTest, system: UnitSystem = "metric") -> list[str]:
    """Return what else than the turbine could explain the answer, each with what the runs show of it."""
    answer = test.answer
    said = [text for text in (wind_words(test, system),) if text]
    ticked = [run for run in answer.runs if math.isfinite(run.means.get("vehicle_ahead", math.nan))]
    said.append(
        f"A vehicle ahead (slipstream) saves {answer.used}: "
        + (
            f"ticked for {len(ticked)} of {len(answer.runs)} runs"
            if ticked
            else "the list does not say in which runs there was one (vehicle_ahead)"
        )
    )
    if answer.drift is None:
        said.append("A drift along the order (warming tyres, falling wind): too few runs to test it")
    else:
        said.append(
            f"A drift along the order (warming tyres, falling wind): {100 * answer.drift.per_run:+.2f} % a run "
            f"(p = {answer.drift.p_value:.2f}); by the order driven it would explain "
            f"{100 * answer.drift.moves_effect:+.1f} % of the change of {answer.used}"
        )
    if answer.each:
        oddest = answer.each[0]
        said.append(
            f"One odd {'pair' if oddest.own is not None else 'run'}: the oddest is {oddest.label} "
            f"(p = {oddest.p_value:.2f} among all); without it {100 * oddest.effect:+.1f} %"
        )
    if answer.randomisation_p is not None:
        said.append(f"Chance alone: the randomisation test gives p = {answer.randomisation_p:.3f}")
    if answer.battery is not None:
        said.append(HEATING_AND_COOLING)
    if test.beyond_words:
        said.append(f"The meter: {test.beyond_words}")
    return said


def as_data(test: RoadTest) -> dict[str, Any]:
    """Return the answer for `--json`; unknown numbers are null."""
    from energy.words.result_model import ends_data, estimate_data
    from energy.words.road_test_model import CompareData, RoadVerdictData

    answer, predicted, first, battery = test.answer, test.predicted, verdict(test), test.answer.battery

    def ends(interval: Estimate | None, factor: float = 1.0) -> EstimateData:
        return estimate_data(None if interval is None else interval.times(factor), answer.level)

    def around(value: float | None, half: float) -> EstimateData | None:
        return None if value is None else ends_data((value - half, value, value + half), PREDICTED_LEVEL)

    return CompareData(
        safe=False if first.dangers else None,
        dangers=list(first.dangers),
        may_be_operated=first.operate,
        verdict=RoadVerdictData(warnings=list(first.warnings), headline=first.headline, lines=list(first.lines)),
        comparison=f"{answer.with_state} compared with {answer.without_state}",
        conclusion=answer.conclusion,
        words=answer.words,
        measured=answer.used if answer.firm else _load_name(test),
        effect_percent=ends(answer.effect, 100),
        effect_l_per_h=ends(answer.effect_m3_s, 1 / LITRES_PER_HOUR),
        effect_l_per_100km=ends(answer.effect_m2, 1e8),
        effect_load_points=ends(answer.load_points),
        effect_load_percent=ends(answer.load_share, 100),
        effect_percent_with_what_runs_cannot_remove=ends(answer.beyond, 100),
        effect_l_per_h_with_what_runs_cannot_remove=ends(answer.beyond_m3_s, 1 / LITRES_PER_HOUR),
        what_runs_cannot_remove=test.beyond_words,
        whole_runs_percent=ends(test.whole, 100),
        paired_means_percent=ends(answer.paired, 100),
        without_l_per_h=None if answer.baseline_m3_s is None else answer.baseline_m3_s / LITRES_PER_HOUR,
        without_l_per_100km=None if answer.baseline_m2 is None else answer.baseline_m2 * 1e8,
        effect_w=ends(None if battery is None else battery.change_w),
        effect_kwh_per_100km=ends(None if battery is None else battery.change_j_m, KWH_PER_100_KM),
        effect_w_with_what_runs_cannot_remove=ends(None if battery is None else battery.beyond_w),
        without_w=None if battery is None else battery.without_w,
        without_kwh_per_100km=None
        if battery is None or battery.without_j_m is None
        else battery.without_j_m * KWH_PER_100_KM,
        randomisation_p=answer.randomisation_p,
        randomisation_least_p=answer.randomisation_least_p,
        pairs=answer.pairs,
        runs_with=answer.runs_with,
        runs_without=answer.runs_without,
        design=answer.design,
        adjusted_for=list(answer.adjusted_for),
        more_pairs_needed=answer.more_pairs,
        predicted_percent=None if predicted is None else around(100 * predicted.share, 100 * predicted.error),
        predicted_load_points=None if predicted is None else around(predicted.load_points, predicted.load_error),
        agreement=answer.agreement,
        fuel=list(test.fuel_words),
        checks=_checks_data(test),
        warnings=list(test.warnings),
        runs=[_run_data(test, k) for k in range(len(answer.runs))],
    ).model_dump()


def _run_data(test: RoadTest, k: int) -> RunData:
    from energy.words.road_test_model import FilterData, RunData

    answer, run, change = test.answer, test.answer.runs[k], test.answer.changes[k]
    return RunData(
        file=run.file or run.name,
        state=run.state,
        pair=run.pair,
        direction=run.direction,
        rows=run.rows,
        rows_kept=run.kept_rows,
        seconds_kept=run.kept_s,
        mean_l_per_h=run.mean_fuel_m3_s / LITRES_PER_HOUR if answer.baseline_m3_s is not None else None,
        mean_w=run.metered_w,
        mean_speed_km_h=run.means["speed_m_s"] * 3.6,
        change_percent=100 * change.plain,
        adjusted_change_percent=100 * change.adjusted,
        filters=[FilterData(what=one.what, rows=one.rows) for one in run.filters],
    )


def _checks_data(test: RoadTest) -> ChecksData:
    """Return what was checked of the runs, as data."""
    from energy.words.road_test_model import ChecksData, RejectedData, WithoutOneData

    answer = test.answer
    wind, drift, rule = answer.wind, answer.drift, answer.rejected
    return ChecksData(
        wind_that_explains_it_m_s=None if wind is None else wind.equal_m_s,
        wind_given=None if wind is None else wind.given,
        directions_alike=None if wind is None else wind.alike,
        directions=None if wind is None else wind.ways,
        control_vehicle=answer.controlled,
        kept_share_with=answer.kept[0],
        kept_share_without=answer.kept[1],
        drift_percent_per_run=None if drift is None else 100 * drift.per_run,
        drift_p=None if drift is None else drift.p_value,
        drift_explains_percent=None if drift is None else 100 * drift.moves_effect,
        rule=list(rule_words(answer.used)),
        rule_not_applied=rule.not_applied,
        rejected=[RejectedData(file=name, why=why) for name, why in rule.runs.items()],
        without_one=[
            WithoutOneData(
                what=one.label,
                own_percent=None if one.own is None else 100 * one.own,
                effect_percent=100 * one.effect,
                p=one.p_value,
                stands_out=one.stands_out,
                labels_swapped=one.swapped,
            )
            for one in answer.each
        ],
        what_else_could_explain_it=explains_words(test),
    )


PREDICTED_LEVEL = 0.9  # of a scenario's prediction
CAUTIONS = (
    "A road test shows what the turbine costs, not whether it may be operated: run windtoll loads.",
    "The driver drives; logging and switching are a passenger's job.",
)


NUMBER_COLUMNS = ("quantity", "estimate", "interval")


def said(test: RoadTest, system: UnitSystem = "metric") -> Said:
    """Return what follows the first lines: the numbers, what else could explain them, the runs, the rule."""
    without, rows = test.answer.without_state, run_rows(test, system)
    left_out = left_out_rows(test, system)
    lists = [
        ("How it was reached", how_words(test)),
        ("What else could explain it", explains_words(test, system)),
        ("Mind", other_warnings(test)),
        ("Rule for rejecting runs, fixed on the run sheet", list(rule_words(test.answer.used))),
        (
            "Rows kept, and what the filters took (rows)",
            [f"{row[0]}: {row[3]} kept, {row[4]}{f'; {row[7]}' if row[7] else ''}" for row in rows],
        ),
        (
            "Listed, and not compared",
            [f"{row[0]}: {row[1]}, pair {row[2]}, {row[3]} kept, {row[4]}: {row[5]}" for row in left_out],
        ),
        ("Cautions", list(CAUTIONS)),
    ]
    return Said(
        headlines=(),
        tables=(
            SaidTable("Numbers", NUMBER_COLUMNS, number_rows(test, system)),
            SaidTable(
                f"Runs, and their adjusted change against the mean {without}",
                ("log", "turbine", "pair", "change", used_heading(test)),
                [(row[0], row[1], row[2], row[5], row[6]) for row in rows],
                left=2,
            ),
        ),
        lists=[(title, texts) for title, texts in lists if texts],
    )


def kept_words(run: RunWindows) -> str:
    """Return how many of the rows of a run are used."""
    return f"{run.kept_rows} of {run.rows}" if run.rows else "whole run"


def agreement_words(test: RoadTest) -> list[str]:
    """Return what the measurement says of the prediction, as one sentence; [] where nothing was predicted."""
    said = test.answer.agreement
    return [said[0].upper() + said[1:]] if said else []


def number_rows(test: RoadTest, system: UnitSystem = "metric") -> list[tuple[str, str, str]]:
    """Return (quantity, estimate, interval) of what was found, each further unit of a quantity without its name."""
    answer = test.answer
    percent = f"{100 * answer.level:.0f} %"

    def row(words: str, scaled: Estimate, unit: str, places: int | None) -> tuple[str, str, str]:
        def shown(value: float) -> str:
            return figures(value, 3, signed=True) if places is None else f"{value:+.{places}f}"

        value = f"{shown(scaled.estimate)} {unit}"
        if scaled.low is None or scaled.high is None:
            return words, value, "no interval"
        return words, value, f"{shown(scaled.low)} to {shown(scaled.high)} ({percent})"

    fuel = f"{answer.used}, adjusted" if answer.firm else f"fuel, converted from {_load_name(test)}"
    load = []
    if answer.load_points is not None:
        load.append(row(f"{_load_name(test)}, adjusted", answer.load_points, "points", 2))
    if answer.load_share is not None:
        load.append(row("", answer.load_share.times(100), "% of it", 2))
    rows = [] if answer.firm else load
    rows.append(row(fuel, answer.effect.times(100), "%", 2))
    for effect, kind, places in _absolute(answer):
        unit, factor = _unit(kind, system)
        rows.append(row("", effect.times(factor), unit, places))
    plain = f"{answer.used}, plain run means" if answer.firm else "the same, plain run means"
    rows.append(row(plain, answer.paired.times(100), "%", 2))
    return rows + (load if answer.firm else [])


def _absolute(answer: Comparison) -> list[tuple[Estimate, str, int | None]]:
    """Return the effects in units of their own, each with its kind and its decimals (None: three figures)."""
    battery = answer.battery
    effects: list[tuple[Estimate | None, str, int | None]] = [
        (answer.effect_m3_s, "fuel_flow", 3),
        (answer.effect_m2, "fuel_per_distance", 3),
        (None if battery is None else battery.change_w, "battery_power", None),
        (None if battery is None else battery.change_j_m, "battery_energy_per_distance", None),
    ]
    return [(effect, kind, places) for effect, kind, places in effects if effect is not None]


def _unit(kind: str, system: UnitSystem) -> tuple[str, float]:
    """Return the unit of a kind as a driver says it, and what an SI value is multiplied by."""
    if kind == "battery_power":
        return "kW", 1e-3
    if kind == "battery_energy_per_distance":
        return pack_energy_unit(system)
    if kind == "fuel_per_distance" and system == "us":
        return "US gal per 100 mi", 100 * to_user(1.0, kind, system)
    return label(kind, system), to_user(1.0, kind, system)


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


def used_heading(test: RoadTest) -> str:
    """Return what the column of the fuel of each run, or of its battery power, is called."""
    return "fuel" if test.answer.battery is None else "battery power"


def run_columns(test: RoadTest) -> tuple[str, ...]:
    """Return the names of the columns of `run_rows`."""
    return ("log", "turbine", "pair", "rows kept", "speed", "change", used_heading(test), "taken out (rows)")


def _used_of(run: RunWindows, answer: Comparison, system: UnitSystem) -> str:
    """Return the mean fuel flow of a run, or its battery power; "" where no litres are known."""
    if run.metered_w is not None:
        return f"{figures(run.metered_w / 1e3, 3)} kW"
    unit, factor = _unit("fuel_flow", system)
    return f"{run.mean_fuel_m3_s * factor:.3f} {unit}" if answer.baseline_m3_s is not None else ""


def run_rows(test: RoadTest, system: UnitSystem = "metric") -> list[tuple[str, str, str, str, str, str, str, str]]:
    """Return a row of `run_columns` for each run; the change is the adjusted one against the mean without."""
    answer = test.answer
    rows = []
    for run, change in zip(answer.runs, answer.changes, strict=True):
        rows.append(
            (
                run.name,
                run.state,
                run.pair or "-",
                kept_words(run),
                f"{to_user(run.means['speed_m_s'], 'speed', system):.1f} {label('speed', system)}",
                f"{100 * change.adjusted:+.1f} %",
                _used_of(run, answer, system),
                "; ".join(f"{one.what} {one.rows}" for one in run.filters if one.rows),
            )
        )
    return rows


def without_rows(test: RoadTest) -> list[tuple[str, str, str, str]]:
    """Return (pair or run left out, its own change, the effect without it, its p-value), the oddest first."""
    return [
        (
            one.label,
            "" if one.own is None else f"{100 * one.own:+.1f} %",
            f"{100 * one.effect:+.1f} %",
            f"{one.p_value:.2f}{' (stands out)' if one.stands_out else ''}",
        )
        for one in test.answer.each
    ]


def left_out_rows(test: RoadTest, system: UnitSystem = "metric") -> list[tuple[str, str, str, str, str, str]]:
    """Return (log, turbine, pair, rows kept, speed, why) of the runs that are listed and not compared."""
    compared = {run.name for run in test.answer.runs}
    rows = []
    for run in test.drives.runs:
        if run.name in compared:
            continue
        why = test.answer.rejected.runs.get(run.name) or next(
            (text.partition(": ")[2] for text in test.warnings if text.startswith(f"{run.name}: left out")), ""
        )
        other = "another state" if run.state not in (test.answer.with_state, test.answer.without_state) else ""
        speed = f"{to_user(run.means['speed_m_s'], 'speed', system):.1f} {label('speed', system)}"
        kept = kept_words(run)
        rows.append((run.name, run.state, run.pair or "-", kept, speed, why or other or "its pair is not whole"))
    return rows


def reconcile_words(test: RoadTest) -> list[str]:
    """Return the result as `windtoll reconcile` takes it (± at 95 %), where it is one that it can take."""
    answer = test.answer
    # With what no number of runs removes: reconcile takes it as the whole error.
    battery = answer.battery
    effect = answer.beyond_m3_s if battery is None else battery.beyond_w
    moving = [run for run in answer.runs if run.means["speed_m_s"] > 1.0]
    if answer.with_state != "working" or abs(answer.level - 0.95) > 1e-9 or effect is None or not moving:
        return []
    if effect.low is None or effect.high is None:
        return []
    key, unit, size = (
        ("fuel_change", "L/h", LITRES_PER_HOUR) if battery is None else ("battery_power_change", "kW", 1e3)
    )
    change, half = effect.estimate / size, (effect.high - effect.low) / 2 / size
    speed = 3.6 * sum(run.means["speed_m_s"] for run in moving) / len(moving)
    many = f"{answer.pairs} pairs" if answer.pairs else f"{answer.runs_with} and {answer.runs_without} runs"
    return [
        "[[result]]",
        f'what = "road test, {many}"',
        f'road_speed = "{speed:.0f} km/h"',
        f'compared_with = "{answer.without_state}"',
        f'{key} = {{ value = "{change:.3g} {unit}", plus_minus = "{half:.2g} {unit}" }}',
        *([] if battery is None else ["# of the display: a meter at the charger counts the loss of charging as well"]),
    ]
