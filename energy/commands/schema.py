"""`windtoll schema`: what each field of a command's JSON means, as JSON Schema."""

from __future__ import annotations

import click

from energy.commands import common
from energy.words.schema import COMMANDS, schema_of


@click.command("schema", short_help="The JSON Schema of a command's --json: every field with unit and meaning.")
@click.argument("name", type=click.Choice(list(COMMANDS)), metavar="COMMAND")
def command(name: str) -> None:
    """Print the JSON Schema of what `windtoll COMMAND --json` prints: every field with its unit and meaning.

    \b
    Example:
      windtoll schema answer > answer.schema.json
    """
    common.print_json(schema_of(name))
