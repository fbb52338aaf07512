"""What readings say of the uncertain inputs: sentences, rows and data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from energy.words.result_model import ends_data
from energy.words.verdict import FirstLines, called, danger_lines, range_words
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
    "battery_power_without": "power",
    "battery_power_working": "power",
    "battery_power_change": "power",
}


_PLUS_MINUS = 1.96  # standard deviations that a stated ± is taken for


READING_HEADINGS = ("", "reading", "", "before", "after", "off by")


TOGETHER = (
    "The readings tie these inputs together, and pasted lines do not hold that tie: the range of windtoll answer comes "
    "out wider than the one above."
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
    kind, half = KINDS[row.reading], _PLUS_MINUS * row.standard_deviation
    return f"{show(row.value, kind, system, digits=3)} ± {show(half, kind, system, digits=2)}"


def input_rows(reconciled: Reconciled, system: UnitSystem = "metric") -> list[tuple[str, str]]:
    """Return the inputs on which the readings shed light, before and after, as (key, text)."""
    return [
        input_row(updated, system)
        for updated in reconciled.inputs
        if updated.shrinks_by >= 0.02 or abs(updated.moved) > 0.2
    ]


def sentence(reconciled: Reconciled, scenario: Scenario, system: UnitSystem) -> str:
    """Return the answer with the readings, and before them, as text."""
    after = _change_words(reconciled.after, scenario, system)
    first = "" if reconciled.agrees else "Readings and model do NOT agree: do not trust the update. "
    before = (
        ""
        if reconciled.before is None
        else f" Before the readings: it {_change_words(reconciled.before, scenario, system)}."
    )
    return f"{first}With the readings: it {after}.{before}"


def first_lines(reconciled: Reconciled, scenario: Scenario, system: UnitSystem) -> FirstLines:
    """Return the first lines: which limits the readings break, or the scenario with them; the answer; agreement."""
    read, after = reconciled.broken_read, reconciled.broken_after
    dangers = danger_lines(read, read, system, "As read: ") or danger_lines(
        after, after, system, "With the readings, at the scenario's own conditions: "
    )
    return FirstLines(
        dangers=dangers,
        headline=sentence(reconciled, scenario, system),
        lines=(agreement(reconciled),),
        operate="no" if dangers else "not checked",
    )


def _change_words(spread: OutcomeSpread, scenario: Scenario, system: UnitSystem) -> str:
    """Return median and 90 % range of the change in fuel (or the heat, where the fuel does not change)."""
    from energy.scenario.inputs import inputs_of

    if spread.of == "heat":
        heat = range_words(spread.heat_w, "power", system)
        return (
            f"gives {show(spread.heat_w[2], 'power', system)} of heat (90 % range {heat}) and does not change the fuel"
        )
    fuel = inputs_of(scenario).fuel
    per, kind = (1.0, "power") if fuel is None else (fuel.heating_value_j_per_m3, "fuel_flow")
    middle = show(spread.change_w[2] / per, kind, system, signed=True, digits=2)
    ends = range_words([value / per for value in spread.change_w], kind, system)
    what = "fuel" if fuel is not None else "battery energy"
    verb = {"costs": f"costs {what}", "saves": f"saves {what}"}.get(spread.verdict, "is too close to call")
    return f"{verb}, {middle} (90 % range {ends})"


def agreement(reconciled: Reconciled) -> str:
    """Return whether readings and model agree within what was stated, and if not, which does not fit."""
    if reconciled.agrees:
        return f"Readings and model agree within the ranges stated (p = {reconciled.probability:.2g})."
    worst = max(reconciled.readings, key=lambda row: abs(row.miss_before))
    far = [called(u.key) for u in reconciled.inputs if abs(u.moved) > 2][:3]
    names = ", ".join(far[:-1]) + (" and " if len(far) > 1 else "") + "".join(far[-1:])
    inputs = f" To meet the readings, the edge of its stated range was taken for {names}." if far else ""
    chance = "p < 0.005" if reconciled.probability < 0.005 else f"p = {reconciled.probability:.2g}"
    name = f"{worst.reading.replace('_', ' ')}, {worst.what or f'result {worst.result}'}"
    return (
        f"Farthest off: {name} ({chance}).{inputs} One of these is wrong: a reading, its ±, its conditions, or a value "
        "that the scenario takes as exact."
    )


def _miss(row: Compared) -> str:
    mark = " (!)" if abs(row.miss_after) > 2 or abs(row.miss_before) > 3 else ""
    before, after = (figures(miss / _PLUS_MINUS, 2, signed=True) for miss in (row.miss_before, row.miss_after))
    return f"{before}, then {after} times its ±{mark}"


def _narrowed(updated: Updated) -> str:
    """Return what the readings did to an input's range; a reading that contradicts it can widen it."""
    percent = round(100 * updated.shrinks_by)
    return (
        "range as before" if percent == 0 else f"range {'narrowed' if percent > 0 else 'widened'} by {abs(percent)} %"
    )


def input_row(updated: Updated, system: UnitSystem = "metric") -> tuple[str, str]:
    """Return one input with its range before and after the readings, as (key, text)."""
    from energy.scenario.keys import spec_of

    spec = spec_of(updated.key)
    before, mark = updated.before, "  ! at the edge of its range" if abs(updated.moved) > 2 else ""
    return (
        updated.key,
        f"{spec.shown(before.low, system)} to {spec.shown(before.high, system)} → {spec.shown(updated.mean, system)} "
        f"(90 % range {spec.shown(updated.low, system)} to {spec.shown(updated.high, system)}), "
        f"{_narrowed(updated)}{mark}",
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

    first = first_lines(reconciled, scenario, "metric")
    return ReconcileData(
        safe=False if first.dangers else None,
        dangers=list(first.dangers),
        may_be_operated=first.operate,
        headline=first.headline,
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
