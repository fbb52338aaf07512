"""`windtoll record`: log the engine through an OBD adapter while someone else drives."""

from __future__ import annotations

import json
import os
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from energy.commands import common
from energy.words import record as words
from vehicle.problems import InputError, Problem
from vehicle.units import QuantityError, example, parse

if TYPE_CHECKING:
    from vehicle.recording.loop import RunDetails, Settings, Status
    from vehicle.recording.rows import State

SECONDS_BETWEEN_LINES = 10.0
SECONDS_BETWEEN_PICTURES = 0.25


class QuantityOption(click.ParamType):
    """An option that is a quantity with its unit; gives the text as written, checked against the unit."""

    def __init__(self, unit: str) -> None:
        self.unit = unit
        self.name = "quantity"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return `value`, known to be a quantity of the unit's kind."""
        try:
            number = parse(value, self.unit)
        except QuantityError as error:
            self.fail(f"{error}; write {example(self.unit)}", param, ctx)
        if self.unit == "s" and number < 0:
            self.fail(f"{value!r} is negative; write {example('s')}", param, ctx)
        return value


class WindFromOption(click.ParamType):
    """An option that is a direction: an angle, or a point of the compass; gives the text as written."""

    name = "direction"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return `value`, known to be an angle or one of the 16 points."""
        if re.sub(r"[\s_-]", "", value).lower() in _POINTS:
            return value
        try:
            parse(value, "deg")
        except QuantityError:
            self.fail(f'{value!r} is no direction; write "270 deg", "west" or "WNW"', param, ctx)
        return value


_LETTERS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")
_WORDS = {"n": "north", "e": "east", "s": "south", "w": "west"}
_POINTS = {*_LETTERS, *("".join(_WORDS[letter] for letter in point) for point in _LETTERS)}


def _seconds(text: str | None) -> float | None:
    return None if text is None else parse(text, "s")


@dataclass(frozen=True)
class RecordOptions:
    """The options of the command as they were given; quantities are texts with their unit."""

    out: Path
    port: str | None
    baud_rate: int | None
    protocol: str | None
    duration: str | None
    interval: str
    wait: str
    no_fast_mode: bool
    state: State | None
    pair: str
    direction: str
    vehicle: str
    route: str
    wind: str | None
    wind_from: str | None
    temperature: str | None
    notes: str
    as_json: bool

    def settings(self) -> Settings:
        """Return how to record."""
        from vehicle.recording.loop import Settings

        return Settings(
            out=self.out,
            port=self.port,
            baud_rate=self.baud_rate,
            protocol=self.protocol.upper() if self.protocol else None,
            duration_s=_seconds(self.duration),
            interval_s=_seconds(self.interval) or 0.0,
            wait_s=_seconds(self.wait) or 0.0,
            fast_mode=not self.no_fast_mode,
        )

    def details(self) -> RunDetails:
        """Return what the list of runs says about this one."""
        from vehicle.recording.loop import RunDetails

        return RunDetails(
            state=self.state,
            pair=self.pair,
            direction=self.direction,
            vehicle=self.vehicle,
            route=self.route,
            wind=self.wind or "",
            wind_from=self.wind_from or "",
            temperature=self.temperature or "",
            notes=self.notes,
        )


@click.command(name="record")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("runs"),
    show_default=True,
    help="Folder for the recording and its run list runs.toml; made if it is missing.",
)
@click.option("--port", help="Device (/dev/ttyUSB0, COM5) or socket://ADDRESS:PORT of a Wi-Fi adapter. Default: found.")
@click.option("--baud", "baud_rate", type=click.IntRange(1200, 2_000_000), help="Baud rate. Default: found.")
@click.option(
    "--protocol",
    type=click.Choice([*"123456789A"], case_sensitive=False),
    help="The adapter's number of the car's protocol (6: CAN 11 bit 500 kbit/s). Default: searched for.",
)
@click.option("--duration", type=QuantityOption("s"), help='Stop after this time ("45 min"). Default: at the key q.')
@click.option(
    "--interval",
    type=QuantityOption("s"),
    default="0.2 s",
    show_default=True,
    help="Time between rows; slow adapters take longer on their own.",
)
@click.option(
    "--wait",
    type=QuantityOption("s"),
    default="0 s",
    show_default=True,
    help="How long to wait for adapter and car before giving up.",
)
@click.option("--no-fast-mode", is_flag=True, help="Never try the adapter's fast mode.")
@click.option("--state", type=click.Choice(["absent", "stowed", "working"]), help="The turbine as the run begins.")
@click.option("--pair", default="", help="Number or name of the pair this run belongs to.")
@click.option(
    "--direction", default="", help='Direction driven: "north", "WNW"; or "out" and "back", explained in the run list.'
)
@click.option("--vehicle", default="", help="Name of the vehicle.")
@click.option("--route", default="", help="Name of the route.")
@click.option("--wind", type=QuantityOption("m/s"), default=None, help='Wind speed ("15 km/h").')
@click.option("--wind-from", type=WindFromOption(), default=None, help='Where the wind comes from ("270 deg", "west").')
@click.option("--temperature", type=QuantityOption("K"), default=None, help='Outside air temperature ("12 degC").')
@click.option("--notes", default="", help="Anything else worth knowing later.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
def command(**options: Any) -> None:
    """Log the engine through an OBD adapter. A passenger runs this, never the driver.

    \b
    Example: windtoll record --out runs/ --state working --pair 1 --direction north --wind "8 km/h" --wind-from west
    Keys:    w working, s stowed, a absent (state of the turbine), m mark, q stop

    Each run is a new CSV file in the folder; the run list runs.toml gets a [[run]] table. Every row is on the disk
    before the next is asked for. Only answers of the engine's control unit are recorded. A lost adapter or car is
    waited for, and the gap is marked with its length. Cells of slow parameters (temperatures and the like) are filled
    about every 10 s only. A vehicle that answers slowly (most before 2008) is asked for vehicle speed, engine speed
    and one source of fuel in each row, and for the others in turn.

    Exit status 0: recorded. 2: no adapter, no permission, no ignition, a full disk, or an option that cannot be used.
    """
    from vehicle.recording.access import AdapterError
    from vehicle.recording.loop import record
    from vehicle.recording.row_file import RowLostError

    chosen = RecordOptions(**options)
    click.echo(words.CAUTION, err=True)
    if chosen.state is None:
        click.echo(words.STATE_NOT_GIVEN, err=True)
    try:
        with _terminated_as_interrupted(), _pressed_keys() as keys, _screen(chosen.as_json) as show:
            summary = record(chosen.settings(), chosen.details(), keys=keys, show=show)
    except AdapterError as error:
        _refused(Problem("adapter", error.kind, str(error), ""), str(error), as_json=chosen.as_json)
    except RowLostError as error:  # no fault of the input: what was recorded before is there
        problem = Problem(str(error.path), "", words.row_not_written(error), "")
        _refused(problem, str(problem), as_json=chosen.as_json)
    except OSError as error:
        where = str(error.filename or chosen.out)
        raise InputError(Problem(where, "", f"cannot be written ({error.strerror})", "")) from None
    if chosen.as_json:
        common.print_json(words.summary_data(summary))
        return
    for line in words.summary_lines(summary):
        click.echo(line)


def _refused(problem: Problem, said: str, *, as_json: bool) -> NoReturn:
    """Say on standard error why there is no recording, or no more of it, and exit."""
    click.echo(json.dumps({"errors": [problem.as_dict()]}) if as_json else said, err=True)
    sys.exit(2)


# ------------------------------------------------------------------------------------------------------ screen


@contextmanager
def _screen(as_json: bool) -> Iterator[Callable[[Status], None]]:
    """Give a live table on a terminal, plain lines elsewhere (on standard error where standard output is JSON)."""
    if as_json or not sys.stdout.isatty():
        yield _plain_lines(to_error=as_json)
        return
    from rich.console import Console
    from rich.live import Live

    from energy.pictures.live_view import live_view

    console = Console()
    shown = [0.0]
    events: list[str] = []
    with Live(console=console, auto_refresh=False, transient=True) as live:

        def show(status: Status) -> None:
            if status.event:
                events.append(words.event_line(status))
                del events[:-5]
            now = time.monotonic()
            if status.event or now - shown[0] >= SECONDS_BETWEEN_PICTURES:
                shown[0] = now
                live.update(live_view(status, events), refresh=True)

        yield show


def _plain_lines(*, to_error: bool) -> Callable[[Status], None]:
    last = [-SECONDS_BETWEEN_LINES]
    condition = [""]

    def show(status: Status) -> None:
        if status.event:
            click.echo(words.event_line(status), err=to_error)
        elif status.condition != condition[0]:
            condition[0] = status.condition
            click.echo(words.plain_line(status), err=to_error)
        elif status.elapsed_s - last[0] >= SECONDS_BETWEEN_LINES:
            last[0] = status.elapsed_s
            click.echo(words.plain_line(status), err=to_error)

    return show


# -------------------------------------------------------------------------------------------------------- keys


@contextmanager
def _pressed_keys() -> Iterator[Callable[[], str]]:
    """Give a function that returns the keys pressed since it was last called, without ever waiting."""
    if not sys.stdin.isatty():
        yield lambda: ""
    elif os.name == "nt":
        yield _keys_on_windows
    else:
        import select
        import termios
        import tty

        terminal = sys.stdin.fileno()
        before = termios.tcgetattr(terminal)
        tty.setcbreak(terminal)

        def keys() -> str:
            ready, _, _ = select.select([terminal], [], [], 0)
            return os.read(terminal, 64).decode(errors="ignore") if ready else ""

        try:
            yield keys
        finally:
            termios.tcsetattr(terminal, termios.TCSADRAIN, before)


def _keys_on_windows() -> str:
    import msvcrt

    pressed = ""
    while msvcrt.kbhit():  # type: ignore[attr-defined,unused-ignore]
        pressed += msvcrt.getwch()  # type: ignore[attr-defined,unused-ignore]
    return pressed


@contextmanager
def _terminated_as_interrupted() -> Iterator[None]:
    """Let a request to end (a shutdown, a closed window) end the recording as Ctrl-C does: cleanly."""

    def interrupt(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    hangup = signal.signal(signal.SIGHUP, interrupt) if hasattr(signal, "SIGHUP") else None
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
        if hangup is not None:
            signal.signal(signal.SIGHUP, hangup)
