"""`windtoll match`: which pitch, ratio and resistance give the most heat."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from energy.commands import common
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.matching import Match, Setting

_NAMES = {"rotor.pitch": "pitch", "drive.ratio": "ratio", "heater.resistance": "resistance"}


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
    from energy.matching import match
    from energy.scenario import load

    keys = {name: key for key, name in _NAMES.items()}
    found = match(load(scenario, overrides), tuple(keys[name] for name in held))
    if as_json:
        common.print_json(_data(found))
    else:
        _print(found, system)


def _row(setting: Setting) -> dict[str, Any]:
    from energy.report import litres_per_kwh

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

    out = common.console()
    best = found.best
    out.print(
        f"Most heat: pitch {figures(best.pitch_deg, 3)}°, ratio {figures(best.ratio, 3)}, element "
        f"{show(best.resistance_ohm, 'resistance', system)}: {show(float(best.answer.turbine.heat_power_w), 'power', system)}"
        f" instead of {show(float(found.own.answer.turbine.heat_power_w), 'power', system)} now.",
        style="bold",
    )
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("")
    for name in ("as now", "most heat", "least fuel per heat"):
        table.add_column(name, justify="right")
    for name, texts in _rows((found.own, best, found.thriftiest), system):
        table.add_row(name, *texts)
    common.heading(out, "Settings")
    out.print(table)
    common.heading(out, "How flat the best is (heat stays within 5 %, the other settings held)")
    common.pairs(
        out,
        [
            (_NAMES[f.key], _flat_words(f.key, f.low, f.high, f.low_is_limit, f.high_is_limit, system))
            for f in found.flatness
        ],
    )
    notes = []
    if found.binding:
        notes.append(f"Held back by the limit of {', '.join(found.binding)}.")
    notes += [
        f"The best {_NAMES[key]} lies at the edge of what was looked over: look further by changing the scenario's own."
        for key in found.at_edge
    ]
    notes.append(
        "Ratio and resistance trade against each other: a setting that keeps resistance over ratio squared is nearly as good."
    )
    notes.append("More heat is more drag. Check it with windtoll answer and --set before cutting metal.")
    common.heading(out, "Notes")
    common.bullets(out, notes)


def _rows(settings: tuple[Setting, ...], system: UnitSystem) -> list[tuple[str, list[str]]]:
    from energy.report import litres_per_kwh

    turbines = [s.answer.turbine for s in settings]

    def texts(values: Any, kind: str) -> list[str]:
        return [show(float(np.asarray(v)), kind, system) for v in values]

    rows = [
        ("pitch", [f"{figures(s.pitch_deg, 3)}°" for s in settings]),
        ("ratio", [figures(s.ratio, 3) for s in settings]),
        ("element", texts([s.resistance_ohm for s in settings], "resistance")),
        ("heat", texts([t.heat_power_w for t in turbines], "power")),
        ("rotor speed", texts([t.rotor_speed_rad_s for t in turbines], "rotor_speed")),
        ("tip-speed ratio", [figures(float(t.tip_speed_ratio), 3) for t in turbines]),
        ("thrust", texts([t.thrust_n for t in turbines], "force")),
        ("current", texts([t.electrical.current_a for t in turbines if t.electrical is not None], "current")),
    ]
    if settings[0].answer.inputs.fuel is not None:
        rows += [
            (
                "more fuel",
                [show(float(s.answer.change.volume_m3_s), "fuel_flow", system, signed=True) for s in settings],
            ),
            ("fuel for the heat", [show(litres_per_kwh(s.answer) / 3.6e9, "fuel_per_heat", system) for s in settings]),
        ]
    return rows


def _flat_words(key: str, low: float, high: float, low_limit: bool, high_limit: bool, system: UnitSystem) -> str:
    def one(value: float) -> str:
        if key == "heater.resistance":
            return show(value, "resistance", system)
        return f"{figures(value, 3)}{'°' if key == 'rotor.pitch' else ''}"

    ends = [" (a limit ends it)" if limit else "" for limit in (low_limit, high_limit)]
    return f"{one(low)}{ends[0]} to {one(high)}{ends[1]}"
