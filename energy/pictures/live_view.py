"""The live view of a recording in a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from energy.words import record as words

if TYPE_CHECKING:
    from vehicle.recording.loop import Status


def live_view(status: Status, events: Sequence[str]) -> RenderableType:
    """Return the live view: values as they are, rows and gaps so far, progress, the last events, the keys."""
    table = Table(title=status.condition, title_style="bold" if status.condition == "recording" else "bold red")
    table.add_column("parameter")
    table.add_column("value", justify="right")
    table.add_column("unit")
    table.add_column("")
    for row in words.value_rows(status):
        table.add_row(row.label, row.value, row.unit, row.note, style="bright_black" if row.old else "")
    parts: list[RenderableType] = [table, Text(words.status_line(status))]
    if status.rate is not None:
        parts.append(Text(words.rate_line(status.rate)))
    if status.duration_s:
        parts.append(_progress(status.elapsed_s, status.duration_s))
    return Group(*parts, *(Text(event) for event in events), Text(words.KEY_HELP))


def _progress(elapsed_s: float, duration_s: float) -> Table:
    progress = Table.grid(padding=(0, 1))
    bar = ProgressBar(duration_s, min(elapsed_s, duration_s), width=50)
    progress.add_row(bar, f"{words.clock(max(duration_s - elapsed_s, 0))} left")
    return progress
