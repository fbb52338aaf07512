"""A group of subcommands that imports each only when it is asked for, so that a cold start stays short."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any

import click

from vehicle.problems import nearest


class LazyGroup(click.Group):
    """A click group over `table`: name -> module of energy.commands that holds a command of the name `command`."""

    def __init__(self, *args: Any, table: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.table = table

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the subcommands in the order that a user meets them."""
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the subcommand, imported now, or None where there is none of that name."""
        module = self.table.get(cmd_name)
        return importlib.import_module(f"energy.commands.{module}").command if module else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the subcommand asked for; for a typo say which one may be meant."""
        if args and args[0] not in self.table and not args[0].startswith("-"):
            near = nearest(args[0], self.table)
            hint = f" Do you mean {near}?" if near else ""
            ctx.fail(f"there is no subcommand {args[0]!r}.{hint} There are: {', '.join(self.table)}.")
        return super().resolve_command(ctx, args)
