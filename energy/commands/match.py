"""`windtoll match`: which pitch, ratio and resistance give the most heat."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.matching import Match, Setting


@click.command("match", short_help="Which pitch, ratio and resistance give the most heat?")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option(
    "--hold",
    "held",
    multiple=True,
    type=click.Choice(["pitch", "ratio", "resistance"]),
    help="Keep the scenario's value of this setting. May be repeated.",
)
def command(
    scenario: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool, held: tuple[str, ...]
) -> None:
    """Find the blade pitch, belt or gear ratio and element resistance that give the most heat at the scenario's speed.

    Keeps the scenario's limits (rotor speed, tip speed, thrust, current, rated power), shows how flat the best is, and
    what the heat costs there in fuel. More heat is more drag: the setting of least fuel per heat is shown beside it.

    \b
    Examples:
      windtoll match scenario.toml
      windtoll match scenario.toml --hold ratio --set trip.road_speed="55 mph"
    """
    from energy.chain.load import load
    from energy.chain.matching import match
    from energy.words.match import SETTING_NAMES

    keys = {name: key for key, name in SETTING_NAMES.items()}
    with common.progress("Trying settings") as progress:
        found = match(load(scenario, overrides), tuple(keys[name] for name in held), progress)
    if as_json:
        common.print_json(_data(found))
    else:
        _print(found, system)


def _row(setting: Setting) -> dict[str, Any]:
    from energy.words.answer import litres_per_kwh

    turbine, change = setting.answer.turbine, setting.answer.change
    numbers = {
        "pitch_deg": setting.pitch_deg,
        "ratio": setting.ratio,
        "resistance_ohm": setting.resistance_ohm,
        "heat_power_w": float(turbine.heat_power_w),
        "rotor_speed_rpm": float(turbine.rotor_speed_rad_s) * 30 / math.pi,
        "tip_speed_ratio": float(turbine.tip_speed_ratio),
        "thrust_n": float(turbine.thrust_n),
        "current_a": float(turbine.electrical.current_a) if turbine.electrical is not None else math.nan,
        "fuel_change_l_per_h": float(change.volume_m3_s) * 3.6e6,
        "fuel_per_heat_l_per_kwh": litres_per_kwh(setting.answer),
    }
    return {key: value if math.isfinite(value) else None for key, value in numbers.items()}


def _data(found: Match) -> dict[str, Any]:
    return {
        "best": _row(found.best),
        "least_fuel_per_heat": _row(found.thriftiest),
        "own": _row(found.own),
        "within_5_percent": [
            {
                "key": f.key,
                "low": f.low,
                "high": f.high,
                "low_is_limit": f.low_is_limit,
                "high_is_limit": f.high_is_limit,
            }
            for f in found.flatness
        ],
        "binding_limits": list(found.binding),
        "at_edge_of_search": list(found.at_edge),
        "settings_tried": found.tried,
    }


def _print(found: Match, system: UnitSystem) -> None:
    from rich.table import Table

    from energy.words.match import SETTING_NAMES, flat_words, notes_of, rows_of, sentence

    out = common.console()
    out.print(sentence(found, system), style="bold")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("")
    for name in ("as now", "most heat", "least fuel per heat"):
        table.add_column(name, justify="right")
    for name, texts in rows_of((found.own, found.best, found.thriftiest), system):
        table.add_row(name, *texts)
    common.heading(out, "Settings")
    out.print(table)
    common.heading(out, "How flat the best is (heat stays within 5 %, the other settings held)")
    common.pairs(
        out,
        [(SETTING_NAMES[f.key], flat_words(f, system)) for f in found.flatness],
    )
    common.heading(out, "Notes")
    common.bullets(out, notes_of(found))
