"""`windtoll keys`: what can stand in a scenario file."""

from __future__ import annotations

from typing import Any

import click

from energy.commands import common
from vehicle.problems import InputError, Problem, nearest


@click.command("keys", short_help="What can stand in a scenario file: keys, units, defaults, sources.")
@click.argument("table", required=False)
@common.json_option
def command(table: str | None, as_json: bool) -> None:
    """List the keys of a scenario file, or of one TABLE of it: meaning, how to write it, default with range and source.

    \b
    Examples:
      windtoll keys
      windtoll keys rotor
    """
    from energy.scenario.keys import TABLES

    if table is not None and table not in TABLES:
        near = nearest(table, TABLES)
        raise InputError(
            Problem(
                "command line", table, "no such table", f"{', '.join(TABLES)}{f' (nearest: {near})' if near else ''}"
            )
        )
    rows = {name: _rows(name) for name in ([table] if table else TABLES)}
    if as_json:
        common.print_json(rows)
        return
    out = common.console()
    out.print('Every quantity is written with its unit, as in road_speed = "65 mph". An uncertain one is a table:')
    out.print('  { value = "1.8 m", plus_minus = "2 cm" }   or   { low = "1.7 m", high = "1.9 m" }')
    for name, entries in rows.items():
        common.heading(out, f"[{name}]")
        common.pairs(out, [(entry["key"], _words(entry)) for entry in entries])


def _rows(table: str) -> list[dict[str, Any]]:
    from energy.scenario.defaults import FUEL_DEFAULTS
    from energy.scenario.keys import TABLES
    from vehicle.quantity import Spec, Uncertain, shown_value

    rows = []
    for key, info in TABLES[table].model_fields.items():
        extra = info.json_schema_extra
        spec = extra.get("spec") if isinstance(extra, dict) else None
        default = None if info.is_required() else info.get_default(call_default_factory=True, validated_data={})
        text = default
        if isinstance(default, Uncertain) and isinstance(spec, Spec):
            text = shown_value(default.value, spec.unit)
            if default.shape != "exact":
                text += f" ({shown_value(default.low, spec.unit)} to {shown_value(default.high, spec.unit)})"
        by_fuel = FUEL_DEFAULTS.get(f"{table}.{key}")
        if by_fuel and isinstance(spec, Spec):
            text = ", ".join(f"{fuel} {shown_value(value.value, spec.unit)}" for fuel, (value, _) in by_fuel.items())
        rows.append(
            {
                "key": key,
                "meaning": info.description or "",
                "written": spec.accepted().partition(", such as ")[2] if isinstance(spec, Spec) else "",
                "required": info.is_required(),
                "default": text if text is None or isinstance(text, (str, bool)) else str(text),
                "source": spec.source if isinstance(spec, Spec) else "",
            }
        )
    return rows


def _words(entry: dict[str, Any]) -> str:
    text = str(entry["meaning"])
    if entry["written"]:
        text += f"; such as {entry['written']}"
    if entry["required"]:
        return text + ". Required."
    if entry["default"] not in (None, ""):
        default = {True: "true", False: "false"}.get(entry["default"], entry["default"])
        text += f". Default {default}"
        text += f" ({entry['source']})" if entry["source"] else ""
    return text + "."
