"""`windtoll fit`: values for the scenario from your own logs."""

from __future__ import annotations

import click

from energy.commands.lazy import LazyGroup

SUBCOMMANDS = {
    "coastdown": "fit_coastdown",
    "load": "fit_load",
}


@click.group("fit", cls=LazyGroup, table=SUBCOMMANDS, short_help="Find values for the scenario in your own logs.")
def command() -> None:
    """Find values for the scenario in your own logs."""
