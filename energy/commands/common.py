"""What the subcommands share: options, the console, the way errors are told."""

from __future__ import annotations

import contextlib
import json
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from energy.commands.streams import carries_all
from vehicle.units import UNIT_SYSTEMS

if TYPE_CHECKING:
    from rich.console import Console

    from energy.progress import Progress
    from energy.words.said import Said
    from energy.words.verdict import Verdict


UNSAFE = 3  # exit status of an answer that says: do not operate

F = TypeVar("F", bound=Callable[..., Any])

SCENARIO = click.argument("scenario", type=click.Path(path_type=Path), metavar="SCENARIO.toml")


def units_option(function: F) -> F:
    """Add --units."""
    return click.option(
        "--units",
        "system",
        type=click.Choice(UNIT_SYSTEMS),
        default="metric",
        show_default=True,
        help="Units to show: metric, US (mph, lbf, US gal) or UK (mph, imperial mpg).",
    )(function)


def json_option(function: F) -> F:
    """Add --json."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print the result as JSON (SI; windtoll schema COMMAND describes it)."
    )(function)


def set_option(function: F) -> F:
    """Add --set."""
    return click.option(
        "--set",
        "overrides",
        multiple=True,
        metavar='TABLE.KEY="VALUE"',
        help='Use another value without editing the file, e.g. --set trip.road_speed="65 mph". May be repeated.',
    )(function)


def force_option(function: F) -> F:
    """Add --force."""
    return click.option("--force", is_flag=True, help="Replace an output file that exists. Never an input.")(function)


def console(*, stderr: bool = False) -> Console:
    """Return a console that takes no text for markup and keeps numbers plain."""
    from rich.console import Console

    return Console(stderr=stderr, markup=False, highlight=False, emoji=False)


@contextlib.contextmanager
def progress(what: str) -> Iterator[Progress | None]:
    """Yield what takes the share done: a bar with the time left on stderr, gone at the end; None where nobody looks.

    The bar appears at the first share after `PATIENCE_S`: what is quick shows none.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich import progress as bars

    from energy.progress import PATIENCE_S

    shown = bars.Progress(
        bars.TextColumn("{task.description}", markup=False),
        bars.BarColumn(),
        bars.TimeRemainingColumn(),
        console=console(stderr=True),
        transient=True,
    )
    task, begun = shown.add_task(what, total=1.0), time.monotonic()

    def tell(share: float) -> None:
        shown.update(task, completed=share)
        if time.monotonic() - begun > PATIENCE_S:
            shown.start()

    try:
        yield tell
    finally:
        shown.stop()


def print_json(data: Any) -> None:
    """Print data as JSON; a NaN that slipped through is an error, not invalid JSON."""
    click.echo(json.dumps(data, indent=2, ensure_ascii=not carries_all(sys.stdout), allow_nan=False))


def heading(out: Console, text: str) -> None:
    """Print a section's heading."""
    out.print()
    out.print(text, style="bold")


def pairs(out: Console, rows: list[tuple[str, str]]) -> None:
    """Print (name, text) rows in two columns."""
    from rich.table import Table

    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(no_wrap=False, max_width=44)
    table.add_column(overflow="fold")
    for name, text in rows:
        table.add_row(name, text)
    out.print(table)


def bullets(out: Console, texts: list[str] | tuple[str, ...]) -> None:
    """Print texts as a list, wrapped with a hanging indent."""
    from rich.table import Table

    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column(width=1)
    table.add_column(overflow="fold")
    for text in texts:
        table.add_row("•", text)
    out.print(table)


def grid(
    out: Console,
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    left: int = 0,
    gap: int = 2,
    wrap: bool = True,
) -> None:
    """Print rows under headings: the first `left` columns to the left, the others to the right, `gap` spaces apart."""
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0))
    for place, name in enumerate(headings):
        to_left = place < left
        table.add_column(name, justify="left" if to_left else "right", no_wrap=not wrap and not to_left)
    for row in rows:
        table.add_row(*row)
    out.print(table)


def print_verdict(out: Console, found: Verdict) -> None:
    """Print a verdict: danger first, then the headline, then one number a line."""
    for line in found.dangers:
        out.print(line, style="bold red")
    if found.operate == "no":
        out.print(found.may_be_operated, style="bold red")
    for line in found.warnings:
        out.print(line, style="bold")
    out.print(found.headline, style="bold")
    for line in found.lines:
        out.print(line)
    if found.operate != "no":
        out.print(found.may_be_operated)
    if found.least_known:
        out.print(found.least_known)


def leave(found: Verdict) -> None:
    """Leave with status 3 where the verdict says that the machine must not be operated like this."""
    if found.dangers:
        raise SystemExit(UNSAFE)


def print_said(out: Console, said: Said) -> None:
    """Print what a question says: headlines, tables, lists."""
    for text in said.headlines:
        out.print(text, style="bold")
    for table in said.tables:
        heading(out, table.title)
        grid(out, table.columns, table.rows, left=table.left)
    for title, texts in said.lists:
        heading(out, title)
        bullets(out, list(texts))
