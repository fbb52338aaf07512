"""What the subcommands share: options, the console, the way errors are told."""

from __future__ import annotations

import contextlib
import functools
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

    from energy.aero.textbook_blade import Build, TextbookBlade
    from energy.chain.rotor_choice import RotorChoice
    from energy.progress import Progress
    from energy.words.said import Said
    from energy.words.verdict import FirstLines
    from vehicle.units import UnitSystem


UNSAFE = 3  # exit status of an answer that says: do not operate

F = TypeVar("F", bound=Callable[..., Any])
T = TypeVar("T")

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


def taken_as(options: Callable[..., T]) -> Callable[[Callable[[T], None]], Callable[..., None]]:
    """Give a command its options and arguments as one object of the class `options`, whose fields have their names."""

    def decorate(function: Callable[[T], None]) -> Callable[..., None]:
        @functools.wraps(function)
        def command(**values: Any) -> None:
            function(options(**values))

        return command

    return decorate


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


_NARROW = 60  # characters: a phone held upright


def pairs(out: Console, rows: list[tuple[str, str]]) -> None:
    """Print (name, text) rows in two columns, on a narrow terminal each text under its name."""
    from rich.table import Table

    if out.width < _NARROW:
        _stacked(out, ("", ""), rows)
        return
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


def lines(out: Console, texts: Iterable[str]) -> None:
    """Print lines, wrapped with a hanging indent: each keeps the spaces that it begins with."""
    import textwrap

    for text in texts:
        begins = text[: len(text) - len(text.lstrip(" "))]
        after = f"{begins}  " if begins else ""
        wrapped = textwrap.wrap(
            text, out.width, subsequent_indent=after, break_long_words=False, break_on_hyphens=False
        )
        for line in wrapped or [""]:
            out.print(line, soft_wrap=True)


def grid(
    out: Console,
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    left: int = 0,
    gap: int = 2,
    wrap: bool = True,
) -> None:
    """Print rows under headings: the first `left` columns to the left, the others to the right, `gap` spaces apart.

    Where the terminal is too narrow to show every figure whole, each row becomes a line of its name and lines of what
    it holds: no column is cut or dropped.
    """
    from rich.table import Table

    rows = [tuple(row) for row in rows]
    sentences = [place < left or _is_sentence(row[place] for row in rows) for place in range(len(headings))]
    least = _narrowest(headings, rows, sentences, wrap=wrap)
    if sum(least) + gap * (len(headings) - 1) > out.width:
        _stacked(out, headings, rows)
        return
    # The gap is a column of its own: padding would be counted behind the last column as well, and cut it.
    widths = _shared_out(headings, rows, least, out.width - gap * (len(headings) - 1))
    table = Table(box=None, pad_edge=False, padding=0)
    for place, (name, is_sentence, width) in enumerate(zip(headings, sentences, widths, strict=True)):
        no_wrap = not wrap and not is_sentence
        if place:
            table.add_column("", width=gap)
        table.add_column(name, justify="left" if is_sentence else "right", no_wrap=no_wrap, width=width)
    for row in rows:
        table.add_row(*[cell for text in row for cell in ("", text)][1:])
    out.print(table)


def _shared_out(headings: Sequence[str], rows: Sequence[Sequence[str]], least: Sequence[int], room: int) -> list[int]:
    """Return the width of each column: as wide as its texts, or its share of what room there is above the least."""
    wanted = [max(map(len, (*name.split("\n"), *(row[k] for row in rows)))) for k, name in enumerate(headings)]
    more = [max(0, want - low) for want, low in zip(wanted, least, strict=True)]
    spare = room - sum(least)
    if sum(more) <= spare:
        return [low + extra for low, extra in zip(least, more, strict=True)]
    return [low + extra * spare // sum(more) for low, extra in zip(least, more, strict=True)]


_TEXT_WIDTH = 18  # characters below which sentences in a column are hard to read


def _is_sentence(cells: Iterable[str]) -> bool:
    return max(map(len, cells), default=0) > 2 * _TEXT_WIDTH


def _narrowest(
    headings: Sequence[str], rows: Sequence[Sequence[str]], sentences: Sequence[bool], *, wrap: bool
) -> list[int]:
    """Return the width that each column needs at least: figures unbroken, sentences broken between words."""
    widths = []
    for place, (name, is_sentence) in enumerate(zip(headings, sentences, strict=True)):
        cells = [row[place] for row in rows]
        whole = max(map(len, cells), default=0)
        if not is_sentence and not wrap:
            widths.append(max(*(len(line) for line in name.split("\n")), whole))
            continue
        words = max((len(word) for text in (name, *cells) for word in text.split()), default=0)
        widths.append(max(words, min(whole, _TEXT_WIDTH) if is_sentence else whole))
    return widths


def _stacked(out: Console, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print each row as its first cell and, set in under it, the others behind their headings."""
    from rich.padding import Padding

    titles = [" ".join(title.split()) for title in headings]
    for row in rows:
        name = f"{titles[0]} {row[0]}" if titles[0] and row[0] and row[0][0] in "+−-0123456789" else row[0]
        if name.strip():
            out.print(name.strip())
        cells = [(title, cell.strip()) for title, cell in zip(titles[1:], row[1:], strict=True) if cell.strip()]
        if cells:
            text = "; ".join(f"{title}: {cell}" if title else cell for title, cell in cells)
            out.print(Padding(text, (0, 0, 0, 2)))


def print_verdict(out: Console, first_lines: FirstLines) -> None:
    """Print first lines: danger first, then the headline, whether it may be operated, then one number a line."""
    for line in first_lines.dangers:
        out.print(line, style="bold red")
    if first_lines.operate == "no":
        out.print(first_lines.may_be_operated, style="bold red")
    for line in first_lines.warnings:
        out.print(line, style="bold")
    forbidden = first_lines.operate == "no" or first_lines.not_when != ""
    if first_lines.operate != "no" and forbidden:
        out.print(first_lines.may_be_operated, style="bold red")
    out.print(first_lines.headline, style="bold")
    if not forbidden:  # above the numbers: it is seen on a phone without scrolling
        out.print(first_lines.may_be_operated)
    for line in first_lines.lines:
        out.print(line)
    if first_lines.least_known:
        out.print(first_lines.least_known)


def leave(first_lines: FirstLines) -> None:
    """Leave with status 3 where the first lines say that the machine must not be operated like this."""
    if first_lines.dangers:
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


def print_rotors(out: Console, choice: RotorChoice, system: UnitSystem) -> None:
    """Print rotors next to each other, and why one wins."""
    from energy.words import rotor_choice

    heading(out, rotor_choice.TITLE)
    names, rows = rotor_choice.printed_table(choice, system)
    grid(out, names, rows, gap=1, wrap=False)
    out.print(rotor_choice.sentence(choice, system), style="bold")
    bullets(
        out,
        [*rotor_choice.why(choice, system), *rotor_choice.against_lines(choice, system), *rotor_choice.NOTES],
    )


def print_blade(out: Console, blade: TextbookBlade, build: Build, system: UnitSystem) -> None:
    """Print the stations of a textbook blade, its formula's source, and what hands make of it."""
    from energy.words import rotor_choice

    heading(
        out, f"Blade as drawn: {blade.number_of_blades} blades for a tip-speed ratio of {blade.tip_speed_ratio:.2g}"
    )
    grid(out, rotor_choice.station_headings(system), rotor_choice.station_rows(blade, system))
    bullets(out, rotor_choice.blade_lines(blade, build, system))
