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
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vehicle.problems import InputError, Problem
from vehicle.units import QuantityError, example, parse

if TYPE_CHECKING:
    from rich.console import RenderableType

    from vehicle.recording.recorder import Status, Summary

CAUTION = (
    "A passenger logs; the driver drives and never touches this. Fix the computer so that it cannot fly about. Laws on"
    " screens and devices in a moving vehicle differ: yours apply. Lead the adapter's cable clear of the pedals. The"
    " OBD socket stays powered with the ignition off: take the adapter out afterwards, or it drains the battery."
)
KEY_HELP = "keys: w working · s stowed · a absent · m mark · q stop"
LABELS = {
    "vehicle_speed_km_h": ("vehicle speed", "km/h"),
    "engine_speed_rpm": ("engine speed", "rpm"),
    "calculated_load_percent": ("calculated load", "%"),
    "absolute_load_percent": ("absolute load", "%"),
    "mass_air_flow_g_s": ("mass air flow", "g/s"),
    "intake_manifold_pressure_kpa": ("intake manifold pressure", "kPa"),
    "fuel_rate_l_h": ("fuel rate", "L/h"),
    "commanded_equivalence_ratio": ("commanded equivalence ratio", ""),
    "short_term_fuel_trim_1_percent": ("short term fuel trim, bank 1", "%"),
    "short_term_fuel_trim_2_percent": ("short term fuel trim, bank 2", "%"),
    "long_term_fuel_trim_1_percent": ("long term fuel trim, bank 1", "%"),
    "long_term_fuel_trim_2_percent": ("long term fuel trim, bank 2", "%"),
    "throttle_percent": ("throttle", "%"),
    "actual_torque_percent": ("actual torque", "%"),
    "reference_torque_nm": ("reference torque", "N·m"),
    "coolant_temperature_degc": ("coolant temperature", "°C"),
    "intake_air_temperature_degc": ("intake air temperature", "°C"),
    "ambient_air_temperature_degc": ("ambient air temperature", "°C"),
    "barometric_pressure_kpa": ("barometric pressure", "kPa"),
    "run_time_s": ("run time since engine start", "s"),
    "control_module_voltage_v": ("control module voltage", "V"),
}
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


@click.command(name="record")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("runs"),
    show_default=True,
    help="Folder for the recording and its manifest runs.toml; made if it is missing.",
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
    "--direction", default="", help='Direction driven: "north", "WNW"; or "out" and "back", explained in the manifest.'
)
@click.option("--vehicle", default="", help="Name of the vehicle.")
@click.option("--route", default="", help="Name of the route.")
@click.option("--wind", type=QuantityOption("m/s"), default=None, help='Wind speed ("15 km/h").')
@click.option("--wind-from", type=WindFromOption(), default=None, help='Where the wind comes from ("270 deg", "west").')
@click.option("--temperature", type=QuantityOption("K"), default=None, help='Outside air temperature ("12 degC").')
@click.option("--notes", default="", help="Anything else worth knowing later.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
def command(
    out: Path,
    port: str | None,
    baud_rate: int | None,
    protocol: str | None,
    duration: str | None,
    interval: str,
    wait: str,
    no_fast_mode: bool,
    state: Any,
    pair: str,
    direction: str,
    vehicle: str,
    route: str,
    wind: str | None,
    wind_from: str | None,
    temperature: str | None,
    notes: str,
    as_json: bool,
) -> None:
    """Log the engine through an OBD adapter. A passenger runs this, never the driver.

    \b
    Example: windtoll record --out runs/ --state working --pair 1 --direction north --wind "8 km/h" --wind-from west
    Keys:    w working, s stowed, a absent (state of the turbine), m mark, q stop

    Each run is a new CSV file in the folder; the manifest runs.toml gets a [[run]] table. Every row is on the disk
    before the next is asked for. A lost adapter or car is waited for, and the gap is marked. Cells of slow parameters
    (temperatures and the like) are filled about every 10 s only.

    Exit status 0: recorded. 2: no adapter, no permission, no ignition, or an option that cannot be used.
    """
    from vehicle.recording.recorder import AdapterError, RunDetails, Settings, record

    settings = Settings(
        out,
        port,
        baud_rate,
        protocol.upper() if protocol else None,
        _seconds(duration),
        _seconds(interval) or 0.0,
        wait_s=_seconds(wait) or 0.0,
        fast_mode=not no_fast_mode,
    )
    details = RunDetails(state, pair, direction, vehicle, route, wind or "", wind_from or "", temperature or "", notes)
    click.echo(CAUTION, err=True)
    if state is None:
        click.echo("The state of the turbine is not given (--state): press a, s or w when it is known.", err=True)
    try:
        with _terminated_as_interrupted(), _pressed_keys() as keys, _screen(as_json) as show:
            summary = record(settings, details, keys=keys, show=show)
    except AdapterError as error:
        if as_json:
            click.echo(json.dumps({"errors": [Problem("adapter", error.kind, str(error), "").as_dict()]}), err=True)
        else:
            click.echo(str(error), err=True)
        sys.exit(2)
    except OSError as error:
        where = error.filename or str(out)
        raise InputError(
            Problem(str(where), "", f"a row could not be written ({error.strerror}); the rows before it are safe", "")
        ) from None
    _tell_summary(summary, as_json)


def _tell_summary(summary: Summary, as_json: bool) -> None:
    if as_json:
        click.echo(
            json.dumps(
                {
                    "file": str(summary.file),
                    "manifest": str(summary.manifest),
                    "rows": summary.rows,
                    "duration_s": round(summary.duration_s, 3),
                    "gaps": summary.gaps,
                    "gap_s": round(summary.gap_s, 3),
                    "marks": summary.marks,
                    "columns": list(summary.columns),
                    "fast_mode": summary.fast_mode,
                    "ended_by": summary.ended_by,
                },
                indent=2,
            )
        )
        return
    lost = f" ({summary.gap_s:.0f} s in all)" if summary.gaps else ""
    click.echo(f"{summary.rows} rows in {clock(summary.duration_s)}, {gaps(summary.gaps)}{lost}: {summary.file}")
    click.echo(f"Listed in {summary.manifest}. Take the adapter out of its socket when you are done.")


def gaps(count: int) -> str:
    """Return the number of gaps in words."""
    return {0: "no gaps", 1: "1 gap"}.get(count, f"{count} gaps")


def clock(seconds: float) -> str:
    """Return a time span as h:mm:ss or m:ss."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


# ------------------------------------------------------------------------------------------------------ screen


@contextmanager
def _screen(as_json: bool) -> Iterator[Callable[[Status], None]]:
    """Give a live table on a terminal, plain lines elsewhere (on standard error where standard output is JSON)."""
    if as_json or not sys.stdout.isatty():
        yield _plain_lines(to_error=as_json)
        return
    from rich.console import Console
    from rich.live import Live

    console = Console()
    shown = [0.0]
    events: list[str] = []
    with Live(console=console, auto_refresh=False, transient=True) as live:

        def show(status: Status) -> None:
            if status.event:
                events.append(f"{clock(status.elapsed_s)} {status.event}")
                del events[:-5]
            now = time.monotonic()
            if status.event or now - shown[0] >= SECONDS_BETWEEN_PICTURES:
                shown[0] = now
                live.update(picture(status, events), refresh=True)

        yield show


def picture(status: Status, events: list[str]) -> RenderableType:
    """Return the live view: values as they are, rows and gaps so far, progress, the last events, the keys."""
    from rich.console import Group
    from rich.progress_bar import ProgressBar
    from rich.table import Table
    from rich.text import Text

    table = Table(title=status.condition, title_style="bold" if status.condition == "recording" else "bold red")
    table.add_column("parameter")
    table.add_column("value", justify="right")
    table.add_column("unit")
    for column, (label, unit) in LABELS.items():
        if column in status.values:
            table.add_row(label, f"{status.values[column]:.4g}", unit)
    turbine = f"turbine {status.state}" if status.state else "turbine: state not given"
    fast = " · fast mode" if status.fast else ""
    line = Text(f"{clock(status.elapsed_s)} · {status.rows} rows · {gaps(status.gaps)} · {turbine}{fast}")
    parts: list[RenderableType] = [table, line]
    if status.duration_s:
        progress = Table.grid(padding=(0, 1))
        left = clock(max(status.duration_s - status.elapsed_s, 0))
        bar = ProgressBar(status.duration_s, min(status.elapsed_s, status.duration_s), width=50)
        progress.add_row(bar, f"{left} left")
        parts.append(progress)
    return Group(*parts, *(Text(event) for event in events), Text(KEY_HELP))


def _plain_lines(*, to_error: bool) -> Callable[[Status], None]:
    last = [-SECONDS_BETWEEN_LINES]

    def show(status: Status) -> None:
        if status.event:
            click.echo(f"{clock(status.elapsed_s)} {status.event}", err=to_error)
        elif status.elapsed_s - last[0] >= SECONDS_BETWEEN_LINES:
            last[0] = status.elapsed_s
            speed = status.values.get("vehicle_speed_km_h")
            rpm = status.values.get("engine_speed_rpm")
            now = (f", {speed:.0f} km/h" if speed is not None else "") + (f", {rpm:.0f} rpm" if rpm is not None else "")
            click.echo(
                f"{clock(status.elapsed_s)} {status.condition}: {status.rows} rows, {gaps(status.gaps)}{now}",
                err=to_error,
            )

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
