"""The command line `windtoll`: one subcommand a question. No formula lives here."""

from __future__ import annotations

import importlib.metadata
import io
import json
import sys

import click

from energy.commands.lazy import LazyGroup
from vehicle.problems import InputError, Problem

# name -> module of energy.commands that holds a click command of the name `command`; imported only when asked for.
COMMANDS = {
    "begin": "begin",
    "answer": "answer",
    "match": "match",
    "payback": "payback",
    "reconcile": "reconcile",
    "shortfall": "shortfall",
    "size": "size",
    "curves": "curves",
    "loads": "loads",
    "truepitch": "truepitch",
    "tune": "tune",
    "heat": "heat",
    "plan": "plan",
    "record": "record",
    "join": "join",
    "read": "read",
    "compare": "compare",
    "fit": "fit",
    "app": "app",
    "check": "check",
    "keys": "keys",
    "example": "example",
}


@click.group(
    cls=LazyGroup, table=COMMANDS, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(importlib.metadata.version("windtoll"), prog_name="windtoll")
def cli() -> None:
    """Does a wind turbine on your vehicle save fuel or cost fuel?

    Start with `windtoll begin mine` (its --help tells what you may know), or from demos: `windtoll example demos`, then
    `windtoll answer demos/van_water_tank/scenario.toml`.

    Every answer is an estimate for planning. It is no structural, electrical or roadworthiness approval.
    """


def main() -> None:
    """Run the command line; exit status 0 for an answer, 2 for bad input told on standard error, 130 when interrupted."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a console without Ω or λ shows a mark instead of failing
    as_json = "--json" in sys.argv[1:]
    try:
        sys.exit(cli(standalone_mode=False) or 0)
    except InputError as error:
        tell(error, as_json=as_json)
        sys.exit(2)
    except click.ClickException as error:
        if as_json:
            tell(InputError(Problem("command line", "", error.format_message(), "see --help")), as_json=True)
        else:
            error.show()
        sys.exit(2)
    except click.Abort:
        click.echo("interrupted", err=True)
        sys.exit(130)


def tell(error: InputError, *, as_json: bool) -> None:
    """Write every problem of an input to standard error, one line each, or as JSON."""
    if as_json:
        click.echo(json.dumps({"errors": [problem.as_dict() for problem in error.problems]}, indent=2), err=True)
        return
    count = len(error.problems)
    click.echo(f"{count} problem{'s' if count > 1 else ''} in the input; nothing was computed or written:", err=True)
    for problem in error.problems:
        click.echo(f"  {problem}", err=True)
