"""`windtoll schema`: what each field of a command's JSON means, as JSON Schema."""

from __future__ import annotations

import click

from energy.commands import common
from energy.words.schema import COMMANDS, schema_of
from vehicle.problems import InputError, Problem, nearest


@click.command(
    "schema",
    short_help="The JSON Schema of a command's --json: every field with unit and meaning.",
    context_settings={"ignore_unknown_options": True},
)
@click.argument("words", nargs=-1, type=click.UNPROCESSED, metavar="[COMMAND ...]")
def command(words: tuple[str, ...]) -> None:
    """Print the JSON Schema of what `windtoll COMMAND --json` prints: every field with its unit and meaning.

    Without COMMAND: the commands that have one. What is unknown, or has no finite value, is null in the JSON.

    \b
    Examples:
      windtoll schema answer > answer.schema.json
      windtoll schema fit load
      windtoll schema loads --ladder
    """
    name = " ".join(words)
    if not name:
        click.echo("\n".join(COMMANDS))
        return
    if name not in COMMANDS:
        near = nearest(name, COMMANDS)
        wanted = f"{', '.join(COMMANDS)}{f' (nearest: {near})' if near else ''}"
        raise InputError(Problem("command line", name, "a command without --json, or none", wanted))
    common.print_json(schema_of(name))
