"""What readings say of the uncertain inputs: sentences, rows and data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from energy.words.result_model import ends_data
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.diagnosis.reconcile import Compared, Reconciled, Updated
    from energy.scenario.read import Scenario
    from energy.uncertainty.propagate import OutcomeSpread
    from energy.words.answer_model import IntervalData
    from energy.words.reconcile_model import ComparedData, UpdatedData


KINDS = {
    "electrical_power": "power",
    "heat_power": "power",
    "current": "current",
    "rotor_speed": "rotor_speed",
    "thrust": "force",
    "fuel_without": "fuel_flow",
    "fuel_working": "fuel_flow",
    "fuel_change": "fuel_flow",
    "fuel_change_per_distance": "fuel_per_distance",
}


READING_HEADINGS = ("", "reading", "", "before", "after", "off by")


TOGETHER = (
    "Inputs that the readings change together err together: pasting the lines one by one forgets that, and "
    "the interval of "
    "windtoll "
    "answer comes out wider than the one above."
)


WHERE_NOT = (
    "Readings and model do not agree, so no value is to be pasted: windtoll shortfall weighs what may be wrong with "
    "the machine."
)


def reading_rows(reconciled: Reconciled, system: UnitSystem) -> list[list[str]]:
    """Return every reading against the model before and after, as texts under READING_HEADINGS."""
    return [
        [
            row.what or f"result {row.result}",
            read_words(row, system),
            row.reading.replace("_", " "),
            show(row.before, KINDS[row.reading], system, digits=3),
            show(row.after, KINDS[row.reading], system, digits=3),
            _miss(row),
        ]
        for row in reconciled.readings
    ]


def read_words(row: Compared, system: UnitSystem) -> str:
    """Return what was read, with its ±."""
    kind = KINDS[row.reading]
    return f"{show(row.value, kind, system, digits=3)} ± {show(1.96 * row.standard_deviation, kind, system, digits=2)}"


def input_rows(reconciled: Reconciled) -> list[tuple[str, str]]:
    """Return the inputs that the readings told something about, before and after, as (key, text)."""
    return [
        input_row(updated) for updated in reconciled.inputs if updated.shrinks_by >= 0.02 or abs(updated.moved) > 0.2
    ]


def sentence(reconciled: Reconciled, scenario: Scenario, system: UnitSystem) -> str:
    """Return the answer with the readings, and before them, as text."""
    after = _change_words(reconciled.after, scenario, system)
    before = (
        ""
        if reconciled.before is None
        else f" Before the readings: {_change_words(reconciled.before, scenario, system)}."
    )
    return f"With the readings: {after}.{before}"


def _change_words(spread: OutcomeSpread, scenario: Scenario, system: UnitSystem) -> str:
    """Return median and 90 % interval of the change in fuel (or the heat, where the fuel does not change)."""
    from energy.scenario.inputs import inputs_of

    if spread.of == "heat":
        return (
            f"heat {show(spread.heat_w[2], 'power', system)} (90 %: {show(spread.heat_w[0], 'power', system)} to "
            f"{show(spread.heat_w[-1], 'power', system)}), no change in fuel"
        )
    fuel = inputs_of(scenario).fuel
    per, kind = (1.0, "power") if fuel is None else (fuel.heating_value_j_per_m3, "fuel_flow")
    low, middle, high = (show(spread.change_w[k] / per, kind, system, signed=True) for k in (0, 2, -1))
    return f"{spread.verdict}, {middle} (90 %: {low} to {high})"


def agreement(reconciled: Reconciled) -> str:
    """Return whether readings and model agree within what was stated, and if not, which does not fit."""
    if reconciled.agrees:
        return (
            "Readings and model agree within what was stated "
            f"(p = {reconciled.probability:.2g} for a worse fit by chance)."
        )
    worst = max(reconciled.readings, key=lambda row: abs(row.miss_before))
    far = [u.key for u in reconciled.inputs if abs(u.moved) > 2]
    inputs = f" To meet them, {' and '.join(far[:3])} had to go to the edge of what was stated." if far else ""
    chance = "p < 0.005" if reconciled.probability < 0.005 else f"p = {reconciled.probability:.2g}"
    return (
        f"They do NOT agree: so bad a fit by chance has {chance}. The farthest is the "
        f"{worst.reading.replace('_', ' ')} of {worst.what or f'result {worst.result}'}.{inputs} Something stated is "
        f"wrong: a "
        "reading, its ±, its conditions, or a value of the scenario taken as exact. Do not trust the update."
    )


def _miss(row: Compared) -> str:
    mark = "  !" if abs(row.miss_after) > 2 or abs(row.miss_before) > 3 else ""
    return f"{figures(row.miss_before, 2, signed=True)} → {figures(row.miss_after, 2, signed=True)} σ{mark}"


def _narrowed(updated: Updated) -> str:
    """Return what the readings did to an input's range; a reading that contradicts it can widen it."""
    percent = round(100 * updated.shrinks_by)
    return (
        "range as before" if percent == 0 else f"range {'narrowed' if percent > 0 else 'widened'} by {abs(percent)} %"
    )


def input_row(updated: Updated) -> tuple[str, str]:
    """Return one input with its range before and after the readings, as (key, text)."""
    from energy.scenario.keys import spec_of
    from vehicle.quantity import shown_value

    unit = spec_of(updated.key).unit
    before, mark = updated.before, "  ! at the edge of its range" if abs(updated.moved) > 2 else ""
    return (
        updated.key,
        f"{shown_value(before.low, unit)} to {shown_value(before.high, unit)} → {shown_value(updated.mean, unit)} (90 "
        f"%: "
        f"{shown_value(updated.low, unit)} to {shown_value(updated.high, unit)}), {_narrowed(updated)}{mark}",
    )


def scenario_lines(reconciled: Reconciled) -> dict[str, list[str]]:
    """Return the lines to paste, by table, for the inputs that were told something about."""
    lines: dict[str, list[str]] = {}
    for key, text in updates(reconciled).items():
        table, name = key.split(".")
        lines.setdefault(table, []).append(f"{name} = {text}")
    return lines


def updates(reconciled: Reconciled) -> dict[str, str]:
    """Return the inputs that were told something about by key, each as TOML for the scenario file."""
    from energy.diagnosis.reconcile import as_scenario
    from vehicle.quantity import written

    return {u.key: written(as_scenario(u), _unit(u.key)) for u in reconciled.inputs if u.shrinks_by >= 0.1}


def _unit(key: str) -> str:
    from energy.scenario.keys import spec_of

    return spec_of(key).unit


def as_data(reconciled: Reconciled, scenario: Scenario) -> dict[str, Any]:
    """Return inputs and readings before and after as data for `--json`."""
    from energy.chain.outcome import outcome_of
    from energy.words.answer import spread_model
    from energy.words.reconcile_model import ReconcileData

    def interval(spread: OutcomeSpread) -> IntervalData:
        return spread_model(spread, outcome_of(spread.change_w, spread.heat_w), scenario)

    return ReconcileData(
        windtoll=1,
        title=scenario.title,
        agrees=reconciled.agrees,
        probability_of_so_bad_a_fit=reconciled.probability,
        chi_square=reconciled.chi_square,
        before=None if reconciled.before is None else interval(reconciled.before),
        after=interval(reconciled.after),
        inputs=[_input_data(updated) for updated in reconciled.inputs],
        readings=[_reading_data(row) for row in reconciled.readings],
    ).model_dump()


def _input_data(updated: Updated) -> UpdatedData:
    from energy.words.reconcile_model import StatedData, UpdatedData

    return UpdatedData(
        input=updated.key,
        unit=_unit(updated.key),
        before=StatedData.model_validate(vars(updated.before)),
        after=ends_data((updated.low, updated.mean, updated.high), 0.9),
        standard_deviation=updated.standard_deviation,
        moved_by_sigma=updated.moved,
        interval_shrinks_by=updated.shrinks_by,
    )


def _reading_data(row: Compared) -> ComparedData:
    from energy.words.reconcile_model import ComparedData

    return ComparedData(
        result=row.result,
        what=row.what,
        reading=row.reading,
        value=row.value,
        standard_deviation=row.standard_deviation,
        before=row.before,
        after=row.after,
        miss_before_sigma=row.miss_before,
        miss_after_sigma=row.miss_after,
    )
