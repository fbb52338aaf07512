"""`windtoll join`: a second log (wattmeter, rotor speed, load temperature, GPS) beside the engine's."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from energy.commands import common
from energy.words.join import clock_data, clock_lines
from energy.words.join_model import JoinData
from vehicle.files import checked_output
from vehicle.logs.join import LogText, join_second_log, pick_column, read_log_text, write_joined
from vehicle.problems import InputError, Problem
from vehicle.units import QuantityError, parse


@dataclass(frozen=True)
class JoinOptions:
    """What the command line gives; see the options."""

    first: Path
    second: Path
    out: Path | None
    offset: str | None
    match: tuple[str, str] | None
    longest_gap: str
    force: bool
    as_json: bool


@click.command(name="join")
@click.argument("first", type=click.Path(path_type=Path))
@click.argument("second", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Default: FIRST with _joined in its name.")
@click.option("--offset", help='What to add to the second log\'s clock ("12.5 s", "-3 min").')
@click.option(
    "--match",
    nargs=2,
    metavar="COLUMN COLUMN",
    help="A column of FIRST and one of SECOND that rise and fall together: the offset is found from them.",
)
@click.option("--longest-gap", default="5 s", show_default=True, help="Nothing is filled in across longer gaps.")
@common.force_option
@common.json_option
@common.taken_as(JoinOptions)
def command(chosen: JoinOptions) -> None:
    """Add the columns of SECOND to the rows of FIRST, on the clock of FIRST.

    \b
    Example: windtoll join runs/2026-05-01_101500_working.csv wattmeter.csv --match vehicle_speed_km_h rotor_speed_rpm

    The offset between the two clocks is given, or taken from the dates in both logs, or found by matching. Matching
    also finds how much the second clock loses an hour, and by how long what it measures follows the first log.
    """
    target = chosen.out or chosen.first.with_name(f"{chosen.first.stem}_joined{chosen.first.suffix or '.csv'}")
    checked_output(target, (chosen.first, chosen.second), force=chosen.force)
    first_log, second_log = read_log_text(chosen.first), read_log_text(chosen.second)
    pair = (pick_column(first_log, chosen.match[0]), pick_column(second_log, chosen.match[1])) if chosen.match else None
    given = _option_seconds("--offset", chosen.offset) if chosen.offset else None
    try:
        joined = join_second_log(
            first_log.numbers,
            second_log.numbers,
            offset_s=given,
            match=pair,
            clock_offset_s=_clock_offset(first_log, second_log),
            longest_gap_s=_option_seconds("--longest-gap", chosen.longest_gap),
        )
    except ValueError as error:
        raise InputError(
            Problem(
                str(chosen.second), "", str(error), 'an --offset ("12.5 s"), or columns that move together for --match'
            )
        ) from None
    names = write_joined(first_log, joined, target, (chosen.first, chosen.second), force=chosen.force)
    doubts = joined.doubts()
    filled = {name: int((values == values).sum()) for name, values in zip(names, joined.columns.values(), strict=True)}
    if not any(filled.values()):
        doubts.append("the two logs do not overlap in time at this offset: no cell was filled")
    if chosen.as_json:
        data = JoinData(
            file=str(target),
            offset_s=joined.offset_s,
            **clock_data(joined.fit),
            how=joined.how,
            correlation=joined.estimate.correlation if joined.estimate else None,
            rows=len(first_log.rows),
            filled=filled,
            warnings=doubts,
        )
        common.print_json(data.model_dump())
        return
    how = {"given": "as given", "clocks": "from the dates in both logs", "correlation": "found by matching"}[joined.how]
    for doubt in doubts:
        click.echo(f"Caution: {doubt}. Check the offset, or give it with --offset.")
    click.echo(f"{target}: the second log's clock moved by {joined.offset_s:+.2f} s, {how}.")
    for line in clock_lines(joined.fit):
        click.echo(f"  {line}")
    if joined.estimate:
        click.echo(f"Correlation {joined.estimate.correlation:.3f} over {joined.estimate.overlap_s:.0f} s.")
    for name, count in filled.items():
        click.echo(f"  {name}: {count} of {len(first_log.rows)} rows")


def _option_seconds(option: str, text: str) -> float:
    try:
        return parse(text, "s")
    except QuantityError as error:
        raise InputError(Problem(option, "", str(error), '"12.5 s" or "3 min"')) from None


def _clock_offset(first: LogText, second: LogText) -> float | None:
    if first.wall_start_s is None or second.wall_start_s is None:
        return None
    return second.wall_start_s - first.wall_start_s
