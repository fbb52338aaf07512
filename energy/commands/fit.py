"""`windtoll fit`: what your own logs say about load and vehicle."""

from __future__ import annotations

import importlib

import click

# name -> module of energy.commands that holds a click command of the name `command`; imported only when asked for.
SUBCOMMANDS = {
    "heater": "fit_heater",
}


class _Fits(click.Group):
    """The fits: those of `SUBCOMMANDS`, and what is attached to the group itself."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*SUBCOMMANDS, *super().list_commands(ctx)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name in SUBCOMMANDS:
            return importlib.import_module(f"energy.commands.{SUBCOMMANDS[cmd_name]}").command
        return super().get_command(ctx, cmd_name)


@click.group("fit", cls=_Fits, short_help="Find values for the scenario in your own logs.")
def command() -> None:
    """Find values for the scenario in your own logs."""
