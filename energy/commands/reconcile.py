"""`windtoll reconcile`: what road tests and wattmeter readings say of the uncertain inputs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.diagnosis.reconcile import Compared, Reconciled, Updated
    from energy.scenario.read import Scenario
    from energy.uncertainty.propagate import OutcomeSpread

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
    "Inputs that were told about together err together: pasting the lines one by one forgets that, and the interval of windtoll "
    "answer comes out wider than the one above."
)


@click.command("reconcile", short_help="What do road tests and readings say of what was only assumed?")
@common.SCENARIO
@click.argument("results", type=click.Path(path_type=Path), metavar="RESULTS.toml")
@common.set_option
@common.units_option
@common.json_option
def command(scenario: Path, results: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool) -> None:
    """Bring the uncertain inputs of SCENARIO.toml in line with the readings of RESULTS.toml; show before and after.

    Readings and stated ranges are weighed by how good each is. Where they contradict each other beyond what was stated,
    that is said first. Changes no file: the lines to paste into the scenario are printed.

    \b
    RESULTS.toml holds one [[result]] for each reading, with what it is good to:
      [[result]]
      what = "wattmeter, both directions"
      road_speed = "80 km/h"
      wind_speed = { value = "0 km/h", low = "0 km/h", high = "8 km/h" }
      electrical_power = { value = "1.05 kW", plus_minus = "40 W" }
      [[result]]
      what = "road test, 12 pairs"
      road_speed = "100 km/h"
      fuel_change = { value = "2.3 L/h", plus_minus = "0.4 L/h" }

    \b
    Others: heat_power, current, rotor_speed, thrust, fuel_without, fuel_working, fuel_change_per_distance; conditions
    wind_from, grade, temperature, pitch, resistance, compared_with.
    """
    from energy.chain.load import load
    from energy.diagnosis.reconcile import read_results, reconciled

    loaded = load(scenario, overrides)
    read = read_results(results)
    with common.progress("Weighing readings and model") as progress:
        found = reconciled(loaded, read, progress)
    if as_json:
        common.print_json(_data(found, loaded))
        return
    _print(found, loaded, system)


def _print(found: Reconciled, scenario: Scenario, system: UnitSystem) -> None:
    from rich.table import Table

    out = common.console()
    if scenario.title:
        out.print(scenario.title, style="dim")
    out.print(sentence(found, scenario, system), style="bold")
    out.print(agreement(found))

    common.heading(out, "Readings against the model")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in READING_HEADINGS:
        table.add_column(name, justify="left" if name == "" else "right")
    for texts in reading_rows(found, system):
        table.add_row(*texts)
    out.print(table)

    common.heading(out, "What the readings told about the inputs")
    common.pairs(out, input_rows(found))

    common.heading(out, "Lines for the scenario file")
    for table_name, lines in _lines(found).items():
        out.print(f"[{table_name}]", markup=False)
        for line in lines:
            out.print(line, markup=False, soft_wrap=True)
    common.bullets(out, [TOGETHER])


def reading_rows(found: Reconciled, system: UnitSystem) -> list[list[str]]:
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
        for row in found.readings
    ]


def read_words(row: Compared, system: UnitSystem) -> str:
    """Return what was read, with its ±."""
    kind = KINDS[row.reading]
    return f"{show(row.value, kind, system, digits=3)} ± {show(1.96 * row.standard_deviation, kind, system, digits=2)}"


def input_rows(found: Reconciled) -> list[tuple[str, str]]:
    """Return the inputs that the readings told something about, before and after, as (key, text)."""
    return [_input_row(updated) for updated in found.inputs if updated.shrinks_by >= 0.02 or abs(updated.moved) > 0.2]


def sentence(found: Reconciled, scenario: Scenario, system: UnitSystem) -> str:
    """Return the answer with the readings, and before them, as text."""
    after = _change_words(found.after, scenario, system)
    before = "" if found.before is None else f" Before the readings: {_change_words(found.before, scenario, system)}."
    return f"With the readings: {after}.{before}"


def _change_words(spread: OutcomeSpread, scenario: Scenario, system: UnitSystem) -> str:
    """Return median and 90 % interval of the change in fuel (or the heat, where the fuel does not change)."""
    from energy.scenario.inputs import inputs_of

    if spread.of == "heat":
        return f"heat {show(spread.heat_w[2], 'power', system)} (90 %: {show(spread.heat_w[0], 'power', system)} to {show(spread.heat_w[-1], 'power', system)}), no change in fuel"
    fuel = inputs_of(scenario).fuel
    per, kind = (1.0, "power") if fuel is None else (fuel.heating_value_j_per_m3, "fuel_flow")
    low, middle, high = (show(spread.change_w[k] / per, kind, system, signed=True) for k in (0, 2, -1))
    return f"{spread.verdict}, {middle} (90 %: {low} to {high})"


def agreement(found: Reconciled) -> str:
    """Return whether readings and model agree within what was stated, and if not, which does not fit."""
    if found.agrees:
        return f"Readings and model agree within what was stated (a worse fit in {100 * found.probability:.0f} of 100 honest cases)."
    worst = max(found.readings, key=lambda row: abs(row.miss_before))
    far = [u.key for u in found.inputs if abs(u.moved) > 2]
    inputs = f" To meet them, {' and '.join(far[:3])} had to go to the edge of what was stated." if far else ""
    chance = "less than 1" if found.probability < 0.005 else f"{100 * found.probability:.0f}"
    return (
        f"They do NOT agree: so bad a fit comes by chance in {chance} of 100 honest cases. The farthest is the "
        f"{worst.reading.replace('_', ' ')} of {worst.what or f'result {worst.result}'}.{inputs} Something stated is wrong: a "
        "reading, its ±, its conditions, or a value of the scenario taken as exact. Do not trust the update."
    )


def _miss(row: Compared) -> str:
    mark = "  !" if abs(row.miss_after) > 2 or abs(row.miss_before) > 3 else ""
    return f"{figures(row.miss_before, 2, signed=True)} → {figures(row.miss_after, 2, signed=True)} σ{mark}"


def _input_row(updated: Updated) -> tuple[str, str]:
    from energy.scenario.keys import spec_of
    from vehicle.quantity import shown_value

    unit = spec_of(updated.key).unit
    before, mark = updated.before, "  ! at the edge of its range" if abs(updated.moved) > 2 else ""
    return (
        updated.key,
        f"{shown_value(before.low, unit)} to {shown_value(before.high, unit)} → {shown_value(updated.mean, unit)} (90 %: "
        f"{shown_value(updated.low, unit)} to {shown_value(updated.high, unit)}), doubt −{100 * updated.shrinks_by:.0f} %{mark}",
    )


def _lines(found: Reconciled) -> dict[str, list[str]]:
    """Return the lines to paste, by table, for the inputs that were told something about."""
    lines: dict[str, list[str]] = {}
    for key, text in updates(found).items():
        table, name = key.split(".")
        lines.setdefault(table, []).append(f"{name} = {text}")
    return lines


def updates(found: Reconciled) -> dict[str, str]:
    """Return the inputs that were told something about by key, each as TOML for the scenario file."""
    from energy.diagnosis.reconcile import as_scenario
    from vehicle.quantity import written

    return {u.key: written(as_scenario(u), _unit(u.key)) for u in found.inputs if u.shrinks_by >= 0.1}


def _unit(key: str) -> str:
    from energy.scenario.keys import spec_of

    return spec_of(key).unit


def _data(found: Reconciled, scenario: Scenario) -> dict[str, Any]:
    from energy.words.answer import spread_data

    return {
        "windtoll": 1,
        "title": scenario.title,
        "agrees": found.agrees,
        "probability_of_so_bad_a_fit": found.probability,
        "chi_square": found.chi_square,
        "before": None if found.before is None else spread_data(found.before, scenario),
        "after": spread_data(found.after, scenario),
        "inputs": [
            {
                "input": u.key,
                "unit": _unit(u.key),
                "before": {
                    "value": u.before.value,
                    "low": u.before.low,
                    "high": u.before.high,
                    "shape": u.before.shape,
                },
                "after": {"mean": u.mean, "standard_deviation": u.standard_deviation, "p05": u.low, "p95": u.high},
                "moved_by_sigma": u.moved,
                "doubt_shrinks_by": u.shrinks_by,
            }
            for u in found.inputs
        ],
        "readings": [
            {
                "result": r.result,
                "what": r.what,
                "reading": r.reading,
                "value": r.value,
                "standard_deviation": r.standard_deviation,
                "before": r.before,
                "after": r.after,
                "miss_before_sigma": r.miss_before,
                "miss_after_sigma": r.miss_after,
            }
            for r in found.readings
        ],
    }
