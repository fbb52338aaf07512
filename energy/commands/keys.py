"""`windtoll keys`: what can stand in a scenario file."""

from __future__ import annotations

import click

from energy.commands import common
from energy.words.keys import as_data, key_rows, key_words
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
    rows = {name: key_rows(name) for name in ([table] if table else TABLES)}
    if as_json:
        common.print_json(as_data(rows))
        return
    out = common.console()
    out.print('Every quantity is written with its unit, as in road_speed = "65 mph". An uncertain one is a table:')
    out.print('  { value = "1.8 m", plus_minus = "2 cm" }   or   { low = "1.7 m", high = "1.9 m" }')
    out.print(
        "A value outside its plausible range (common practice, no source) is refused, unless the file's first lines "
        'name it:\n  unusual = ["air.temperature"]'
    )
    for name, entries in rows.items():
        common.heading(out, f"[{name}]")
        common.pairs(out, [(entry.key, key_words(entry)) for entry in entries])
