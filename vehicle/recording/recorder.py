"""Live logging of the engine through an OBD adapter, so that neither a lost adapter nor a pulled plug loses the run.

The only module that imports python-obd (GPL-2.0), and no other module imports this one when it is loaded: recording is
a process of its own. python-obd opens the port, sets the adapter up and takes the frames apart. The loop, the clocks,
the file and the watch over the connection are ours, because python-obd raises nothing when an adapter goes away, can
wait two minutes for one query of a silent adapter, and pads a truncated answer with zeros.

Safety: the driver never operates this; a passenger logs. Laws on devices in view or reach of the driver differ from
place to place. The socket stays powered with the ignition off: take the adapter out when you are done.
"""

from __future__ import annotations

import csv
import errno
import io
import logging
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import obd
import serial
from obd.elm327 import ELM327
from serial.tools import list_ports

from vehicle.problems import InputError, Problem

State = Literal["absent", "stowed", "working"]
STATES: tuple[State, ...] = ("absent", "stowed", "working")
MANIFEST = "runs.toml"
NEW_MANIFEST = """\
# Runs of a road test, for `windtoll compare`. Runs are appended below; earlier text stays as you write it.
# Say what the car is by taking the # away here:
# [engine]
# fuel = "diesel"                  # petrol, e10, diesel, lpg
# displacement = "2.0 L"           # for litres where the car reports no fuel rate
# [directions]                     # to use the wind: where your words for the direction lead
# out = "north-east"
# back = "south-west"
"""

# How long the port may be quiet before a question counts as unanswered. The adapter itself gives up on the car after at
# most about 1 s (its own time-out register, common practice, no source); Bluetooth adds some tenths.
QUERY_PATIENCE_S = 2.0
SEARCH_PATIENCE_S = 10.0  # the first question to the car may make the adapter try every protocol
QUIET_AFTER_RESET_S = 0.6
SILENT_LIMIT = 2  # questions in sequence without any sign of life from the adapter: it is gone
EMPTY_LIMIT = 6  # questions in sequence without a usable answer from the car: look at the connection
MISSES_BEFORE_RARE = 10  # a parameter that never answers, though the car says it has it, is asked rarely
ROWS_BEFORE_FAST = 5
FAST_STRIKES = 3
LONGEST_WAIT_S = 5.0


def _now() -> float:
    """Return seconds on a clock that never steps and, where the system has one, goes on while the computer sleeps."""
    boot_time = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot_time is None else time.clock_gettime(boot_time)


# ---------------------------------------------------------------------------------------------------- parameters


def _word(data: bytes) -> int:
    return 256 * data[0] + data[1]


@dataclass(frozen=True)
class Parameter:
    """One parameter of SAE J1979 mode 01: its column in the recording, its number, its data bytes and their meaning."""

    column: str
    pid: int
    size: int
    formula: Callable[[bytes], float]
    fast: bool = False

    @property
    def request(self) -> bytes:
        """Return the request as the adapter takes it."""
        return b"01%02X" % self.pid


# Formulas: SAE J1979 (ISO 15031-5), table of PIDs, from memory; the tests hold them against python-obd's decoders.
PARAMETERS: tuple[Parameter, ...] = (
    Parameter("vehicle_speed_km_h", 0x0D, 1, lambda d: d[0], fast=True),
    Parameter("engine_speed_rpm", 0x0C, 2, lambda d: _word(d) / 4, fast=True),
    Parameter("calculated_load_percent", 0x04, 1, lambda d: d[0] * 100 / 255, fast=True),
    Parameter("absolute_load_percent", 0x43, 2, lambda d: _word(d) * 100 / 255, fast=True),
    Parameter("mass_air_flow_g_s", 0x10, 2, lambda d: _word(d) / 100, fast=True),
    Parameter("intake_manifold_pressure_kpa", 0x0B, 1, lambda d: d[0], fast=True),
    Parameter("fuel_rate_l_h", 0x5E, 2, lambda d: _word(d) / 20, fast=True),
    Parameter("commanded_equivalence_ratio", 0x44, 2, lambda d: _word(d) * 2 / 65536, fast=True),
    Parameter("short_term_fuel_trim_1_percent", 0x06, 1, lambda d: (d[0] - 128) * 100 / 128, fast=True),
    Parameter("short_term_fuel_trim_2_percent", 0x08, 1, lambda d: (d[0] - 128) * 100 / 128, fast=True),
    Parameter("throttle_percent", 0x11, 1, lambda d: d[0] * 100 / 255, fast=True),
    Parameter("actual_torque_percent", 0x62, 1, lambda d: d[0] - 125, fast=True),
    Parameter("long_term_fuel_trim_1_percent", 0x07, 1, lambda d: (d[0] - 128) * 100 / 128),
    Parameter("long_term_fuel_trim_2_percent", 0x09, 1, lambda d: (d[0] - 128) * 100 / 128),
    Parameter("coolant_temperature_degc", 0x05, 1, lambda d: d[0] - 40),
    Parameter("intake_air_temperature_degc", 0x0F, 1, lambda d: d[0] - 40),
    Parameter("ambient_air_temperature_degc", 0x46, 1, lambda d: d[0] - 40),
    Parameter("barometric_pressure_kpa", 0x33, 1, lambda d: d[0]),
    Parameter("reference_torque_nm", 0x63, 2, _word),
    Parameter("run_time_s", 0x1F, 2, _word),
    Parameter("control_module_voltage_v", 0x42, 2, lambda d: _word(d) / 1000),
)
COLUMNS: tuple[str, ...] = (
    "time_s", "time_utc", "row_duration_s", "state", "mark", "gap", *(p.column for p in PARAMETERS),
)  # fmt: skip


def decode(parameter: Parameter, data: bytes) -> float | None:
    """Return the value in an answer (mode byte, parameter number, data bytes), in the unit of the column's name.

    None where the answer is to another question or is cut short: a short answer must never be read as if the missing
    bytes were zero. Longer answers are allowed, since trims may carry a second bank.
    """
    if len(data) < 2 + parameter.size or data[0] != 0x41 or data[1] != parameter.pid:
        return None
    return float(parameter.formula(data[2:]))


def supported_in(first_pid: int, data: bytes) -> set[int] | None:
    """Return the parameter numbers that an answer to "which are supported from `first_pid` + 1" lists; None if cut."""
    if len(data) < 6 or data[0] != 0x41 or data[1] != first_pid:
        return None
    bits = int.from_bytes(data[2:6], "big")
    return {first_pid + 1 + place for place in range(32) if bits >> (31 - place) & 1}


# ---------------------------------------------------------------------------------------------------- the adapter


Trouble = Literal["no adapter", "no permission", "busy", "no answer", "no ignition"]


class AdapterError(Exception):
    """The adapter or the car cannot be reached: `kind` says which, `str()` is a sentence that says what to do."""

    def __init__(self, kind: Trouble, words: str) -> None:
        self.kind = kind
        super().__init__(words)


class _Interface(ELM327):
    """python-obd's adapter with bounded waits.

    It overrides one private method, the one where python-obd repeats a read of up to 10 s ten times over; the version
    of python-obd is capped for that. One write, one read: the port may be quiet for the patience of that question.
    """

    searching = False

    def set_protocol(self, protocol_: str | None) -> bool:
        """Find or set the protocol of the car, with the longer patience that this takes."""
        self.searching = True
        try:
            return bool(super().set_protocol(protocol_))
        finally:
            self.searching = False

    def set_baudrate(self, baud: int | None) -> bool:
        """Take the opened port for ourselves, bound its waits, then set or find the baud rate."""
        port = self._ELM327__port
        port.exclusive = True  # two programs reading one adapter take each other's answers
        port.write_timeout = QUERY_PATIENCE_S
        return bool(super().set_baudrate(baud))

    def _ELM327__send(self, cmd: bytes, delay: float | None = None, end_marker: bytes = b">") -> list[str]:  # noqa: N802
        patience = SEARCH_PATIENCE_S if self.searching and cmd == b"0100" else QUERY_PATIENCE_S
        port = self._ELM327__port
        try:
            if port is not None and port.timeout != patience:
                port.timeout = patience
        except (serial.SerialException, OSError):  # the port went away: the write below finds and marks it
            logging.getLogger("obd").warning("port lost")
        self._ELM327__write(cmd)
        if delay:
            time.sleep(delay)
        self.heard: list[str] = self._ELM327__read(end_marker=end_marker)
        if cmd == b"ATZ":
            self._drain()
        return self.heard

    def _drain(self) -> None:
        """Wait until a reset adapter is quiet: an answer it owed to a killed program must not pass as the next."""
        port, end = self._ELM327__port, _now() + 5 * QUIET_AFTER_RESET_S
        if port is None:
            return
        try:
            port.timeout = QUIET_AFTER_RESET_S
            while port.read(port.in_waiting or 1) and _now() < end:
                pass
        except (serial.SerialException, OSError):
            logging.getLogger("obd").warning("port lost while the adapter reset")


class _Connection(obd.OBD):
    def _OBD__connect(  # noqa: N802
        self, portstr: str, baudrate: int | None, protocol: str | None, check_voltage: bool, start_low_power: bool
    ) -> None:
        self.interface = _Interface(portstr, baudrate, protocol, self.timeout, check_voltage, start_low_power)
        if self.interface.status() == obd.OBDStatus.NOT_CONNECTED:
            self.close()


class _Listener(logging.Handler):
    """Keeps what python-obd would write to standard error, where it would tear the live view apart."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said = [*self.said[-19:], record.getMessage()]


@contextmanager
def _listening() -> Iterator[_Listener]:
    logger, listener = logging.getLogger("obd"), _Listener()
    handlers, propagate = list(logger.handlers), logger.propagate
    logger.handlers, logger.propagate = [listener], False
    try:
        yield listener
    finally:
        logger.handlers, logger.propagate = handlers, propagate


@dataclass(frozen=True)
class Answer:
    """What came back for one question: a value, or none; `silent` where not even the adapter answered."""

    value: float | None
    silent: bool


class Adapter:
    """An open adapter with a car behind it that answers. Ask one question at a time; `close` it when done."""

    def __init__(self, connection: _Connection, port: str) -> None:
        self.port = port
        self.protocol_id = str(connection.protocol_id())
        self.protocol_name = str(connection.protocol_name())
        self.baud_rate: int | None = connection.interface._ELM327__port.baudrate
        self.fast = False
        self._connection = connection
        self._commands: dict[int, obd.OBDCommand] = {}
        self._never_fast: set[int] = set()

    def ask(self, parameter: Parameter) -> Answer:
        """Return the answer to one parameter; waits at most `QUERY_PATIENCE_S` after the last sign of life."""
        answers, silent = self._raw(parameter.pid)
        values = (decode(parameter, data) for data in answers)
        return Answer(next((value for value in values if value is not None), None), silent)

    def _raw(self, pid: int) -> tuple[list[bytes], bool]:
        if pid not in self._commands:
            # Zero expected bytes: python-obd then neither pads nor cuts the data, so that its length can be checked.
            self._commands[pid] = obd.OBDCommand(
                f"PID_{pid:02X}", f"PID {pid:02X}", b"01%02X" % pid, 0, _data_of, obd.ECU.ENGINE, True
            )
            first = True
        else:
            first = False
        self._connection.fast = self.fast and pid not in self._never_fast
        response = self._connection.query(self._commands[pid], force=True)
        silent = response.command is None  # what python-obd returns where no line at all was heard
        if first and silent:
            # It remembers zero frames for this question and in fast mode would ask the adapter for zero answers.
            self._never_fast.add(pid)
        return response.value or [], silent

    def supported(self) -> set[int] | None:
        """Return the numbers of the mode 01 parameters that the car says it has; None where it does not say."""
        found: set[int] = set()
        for first_pid in (0x00, 0x20, 0x40, 0x60):
            if first_pid and first_pid not in found:
                break
            listed = self._listed(first_pid)
            if listed is None:
                return None if first_pid == 0 else found
            found |= listed
        return found

    def _listed(self, first_pid: int) -> set[int] | None:
        for _ in range(3):  # one torn line must not cost a parameter for the whole run
            answers, silent = self._raw(first_pid)
            lists = [listed for data in answers if (listed := supported_in(first_pid, data)) is not None]
            if lists:
                return set().union(*lists)
            if silent:
                return None
        return None

    def alive(self) -> bool:
        """Return whether the port is still open, as far as anyone can tell without asking."""
        return bool(self._connection.status() != obd.OBDStatus.NOT_CONNECTED)

    def heard(self) -> str:
        """Return the last line that the adapter sent, for the words about a gap."""
        lines = getattr(self._connection.interface, "heard", None) or []
        return lines[-1][:40] if lines else ""

    def close(self) -> None:
        """Give the port back. Never raises: whoever closes has other troubles."""
        with _listening():
            try:
                self._connection.close()
            except (OSError, serial.SerialException) as error:
                logging.getLogger("obd").warning("while closing: %s", error)


def _data_of(messages: Sequence[Any]) -> list[bytes]:
    return [bytes(message.data) for message in messages]


def found_ports() -> list[str]:
    """Return the serial ports that may be an adapter (USB and Bluetooth serial), likeliest first."""
    ports = [p.device for p in list_ports.comports() if not Path(p.device).name.startswith("ttyS")]
    return sorted(ports, key=lambda name: ("USB" not in name.upper(), "rfcomm" not in name, name))


def open_adapter(
    port: str | None = None, baud_rate: int | None = None, protocol: str | None = None
) -> tuple[Adapter, set[int]]:
    """Return an open adapter and the numbers of the parameters that its car supports.

    `port` is a device ("/dev/ttyUSB0", "COM5") or an address ("socket://192.168.0.10:35000" for a Wi-Fi adapter); where
    None, every serial port is tried. `protocol` is the adapter's protocol digit ("1" to "A"); where None, it searches.
    Raises AdapterError.
    """
    candidates = [port] if port else found_ports()
    if not candidates:
        raise AdapterError(
            "no adapter",
            "No OBD adapter found: no USB or Bluetooth serial port is there. Plug it in or pair it; name the port with"
            " --port, for a Wi-Fi adapter --port socket://ADDRESS:PORT.",
        )
    troubles: list[AdapterError] = []
    for candidate in candidates:
        try:
            return _open_one(candidate, baud_rate, protocol)
        except AdapterError as trouble:
            troubles.append(trouble)
    # The nearest miss tells most: a car that does not answer rather than a port that is something else.
    order: tuple[Trouble, ...] = ("no ignition", "no permission", "busy", "no answer", "no adapter")
    raise min(troubles, key=lambda trouble: order.index(trouble.kind))


def _open_one(port: str, baud_rate: int | None, protocol: str | None) -> tuple[Adapter, set[int]]:
    _check_access(port)
    if "://" in port and baud_rate is None:
        baud_rate = 38400  # a network has none; naming one keeps python-obd from searching for it
    device = os.path.realpath(port) if os.path.islink(port) else port
    with _listening() as listener:
        try:
            connection = _Connection(device, baud_rate, protocol, fast=False, timeout=0.3, check_voltage=False)
        except (serial.SerialException, OSError, ValueError) as error:
            raise _cannot_open(port, str(error)) from None
        if connection.status() == obd.OBDStatus.NOT_CONNECTED:
            said = next((line for line in listener.said if not line.startswith("Cannot load")), "")
            raise _cannot_open(port, said)
        supported = None
        if connection.status() == obd.OBDStatus.CAR_CONNECTED:
            adapter = Adapter(connection, port)
            supported = adapter.supported()
            if supported:
                return adapter, supported
        volts = _socket_voltage(connection)
        connection.close()
    raise AdapterError(
        "no ignition",
        f"The adapter on {port} answers{volts}, but the car does not: switch the ignition on (the engine may be off)"
        " and push the adapter fully into its socket.",
    )


def _check_access(port: str) -> None:
    if "://" in port or os.name != "posix":
        return
    path = Path(port)
    try:
        there = path.exists()
    except PermissionError:
        there = True
    if not there:
        others = ", ".join(found_ports())
        raise AdapterError(
            "no adapter",
            f"No adapter: there is no port {port}. "
            + (f"Ports that are there: {others}." if others else "No serial port is there: plug the adapter in."),
        )
    if not os.access(path, os.R_OK | os.W_OK):
        raise _no_permission(port)


def _no_permission(port: str) -> AdapterError:
    group = ""
    try:
        import grp

        group = grp.getgrgid(os.stat(port).st_gid).gr_name
    except (ImportError, KeyError, OSError):
        group = "dialout"
    return AdapterError(
        "no permission",
        f"No permission to open {port}. It belongs to the group {group}: add yourself to it"
        f" (sudo usermod -aG {group} YOUR_NAME), then log out and in again.",
    )


def _cannot_open(port: str, said: str) -> AdapterError:
    lower = said.lower()
    if "permission" in lower or f"errno {errno.EACCES}" in lower:
        return _no_permission(port)
    if "lock" in lower or "busy" in lower or f"errno {errno.EBUSY}" in lower:
        return AdapterError("busy", f"The port {port} is in use by another program: end that program first.")
    if any(words in lower for words in ("could not open", "could not configure", "invalid url")):
        return AdapterError("no adapter", f"No adapter on {port}: it cannot be opened as a serial port ({said}).")
    return AdapterError(
        "no answer",
        f"The port {port} opens, but no adapter answers on it{f' ({said})' if said else ''}: is it powered from the"
        " car, paired, and is the baud rate right (--baud)?",
    )


def _socket_voltage(connection: _Connection) -> str:
    value = connection.query(obd.commands.ELM_VOLTAGE, force=True).value
    return f" and reads {value.magnitude:.1f} V" if value is not None else ""


# ---------------------------------------------------------------------------------------------------- the file


_NEW_FILE = os.O_CREAT | os.O_EXCL | os.O_APPEND | os.O_WRONLY | getattr(os, "O_BINARY", 0)


class RowFile:
    """A CSV file that only grows: each row is one write, flushed to the disk before the next question is asked."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = os.open(path, _NEW_FILE, 0o644)
        self._append(COLUMNS)
        _sync_folder(path.parent)

    def write(self, row: Mapping[str, float | str]) -> None:
        """Append one row; columns that it does not have stay empty. Raises OSError (a full disk, a pulled stick)."""
        self._append([_cell(row.get(column, "")) for column in COLUMNS])

    def _append(self, cells: Sequence[str]) -> None:
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerow(cells)
        data = text.getvalue().encode()
        written = os.write(self._file, data)
        if written != len(data):
            raise OSError(errno.ENOSPC, "only part of a row could be written", str(self.path))
        os.fsync(self._file)

    def close(self) -> None:
        """Close the file."""
        os.close(self._file)


def _cell(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.7g}"


def _sync_folder(folder: Path) -> None:
    """Make a new name in `folder` survive a pulled plug (where the system lets a folder be opened)."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def append_run(manifest: Path, run: Mapping[str, Any]) -> None:
    """Append one `[[run]]` table to the manifest; the earlier text stays as it is, byte for byte.

    The new text is checked, written beside the manifest and moved over it, so that a reader sees the old or the new
    one. Empty values are left out. Raises InputError, with nothing written, where the manifest is not TOML or has a
    `run` that no table can be appended to.
    """
    import tomllib

    import tomlkit

    before = read_manifest_text(manifest) or NEW_MANIFEST.encode()
    table = tomlkit.table()
    for key, value in run.items():
        if value not in (None, "", []):
            table.add(key, value)
    runs = tomlkit.aot()
    runs.append(table)
    document = tomlkit.document()
    document.add("run", runs)
    gap = "" if not before else "\n" if before.endswith(b"\n") else "\n\n"
    text = before + (gap + tomlkit.dumps(document)).encode()
    try:
        tomllib.loads(text.decode())
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(
            Problem(str(manifest), "", f"no run can be appended to it ({error})", "[[run]] tables")
        ) from None
    beside = manifest.with_name(f".{manifest.name}.{os.getpid()}.new")
    with open(beside, "xb") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    if manifest.exists():
        os.chmod(beside, manifest.stat().st_mode & 0o777)
    os.replace(beside, manifest)
    _sync_folder(manifest.parent)


def read_manifest_text(manifest: Path) -> bytes:
    """Return the manifest's bytes, checked to be TOML (empty where there is none yet). Raises InputError."""
    import tomllib

    try:
        before = manifest.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise InputError(Problem(str(manifest), "", f"cannot be read ({error.strerror})", "a TOML file")) from None
    try:
        tomllib.loads(before.decode())
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(
            Problem(str(manifest), "", f"not TOML ({error})", "TOML: mend it, or name another folder with --out")
        ) from None
    return before


# ---------------------------------------------------------------------------------------------------- the loop


@dataclass(frozen=True)
class Settings:
    """How to record. Times in seconds; `duration_s` None records until it is stopped."""

    out: Path
    port: str | None = None
    baud_rate: int | None = None
    protocol: str | None = None
    duration_s: float | None = None
    interval_s: float = 0.2
    slow_interval_s: float = 10.0
    wait_s: float = 0.0  # how long to wait for adapter and car before the first row
    fast_mode: bool = True  # may be tried; it must prove itself on this adapter


@dataclass(frozen=True)
class RunDetails:
    """What the engine cannot say about a run; goes to the manifest as it stands. Empty text: not said."""

    state: State | None = None
    pair: str = ""
    direction: str = ""
    vehicle: str = ""
    route: str = ""
    wind: str = ""
    wind_from: str = ""
    temperature: str = ""
    notes: str = ""


@dataclass(frozen=True)
class Status:
    """What a screen may show: `condition` is "recording" or the words about what is waited for."""

    condition: str
    elapsed_s: float
    duration_s: float | None
    rows: int
    gaps: int
    state: State | None
    values: Mapping[str, float]
    file: Path | None
    fast: bool
    event: str = ""


@dataclass(frozen=True)
class Summary:
    """One finished recording. Times in seconds; `ended_by` is "duration", "key", "interrupt"."""

    file: Path
    manifest: Path
    rows: int
    duration_s: float
    gaps: int
    gap_s: float
    marks: int
    columns: tuple[str, ...]
    fast_mode: bool
    ended_by: str


KEYS: dict[str, str] = {"w": "working", "s": "stowed", "a": "absent", "m": "mark", " ": "mark", "q": "stop"}


class _Stop(Exception):  # noqa: N818  # no error: the way out of the loop
    pass


@dataclass
class _Recording:
    settings: Settings
    details: RunDetails
    keys: Callable[[], str]
    show: Callable[[Status], None]
    adapter: Adapter | None = None
    file: RowFile | None = None
    state: State | None = None
    started: float = 0.0
    rows: int = 0
    gaps: int = 0
    gap_s: float = 0.0
    marks: int = 0
    pending_marks: list[str] = field(default_factory=list)
    pending_gap: str = ""
    asked: dict[str, float] = field(default_factory=dict)
    misses: dict[str, int] = field(default_factory=dict)
    values: dict[str, float] = field(default_factory=dict)
    wanted: tuple[Parameter, ...] = ()
    last_answered: Parameter | None = None
    empty: int = 0
    silent: int = 0
    whole_rows: int = 0
    fast_allowed: bool = True
    strikes: int = 0
    clock_offset: float | None = None

    # -- clocks, keys, screen

    def elapsed(self) -> float:
        return _now() - self.started

    def tell(self, condition: str, event: str = "") -> None:
        self.show(
            Status(condition, self.elapsed(), self.settings.duration_s, self.rows, self.gaps, self.state,
                   dict(self.values), self.file.path if self.file else None,
                   bool(self.adapter and self.adapter.fast), event)
        )  # fmt: skip

    def heed(self) -> None:
        """Take in key presses and the end of the time; raises _Stop."""
        for key in self.keys():
            meaning = KEYS.get(key.lower(), "")
            if meaning == "stop":
                raise _Stop("key")
            if meaning == "mark":
                self.marks += 1
                self.pending_marks.append(f"mark {self.marks}")
            for state in STATES:
                if meaning == state:
                    self.marks += 1
                    self.state = state
                    self.pending_marks.append(state)
            if meaning:
                self.tell("recording" if self.adapter else "waiting", f"{self.pending_marks[-1]}")
        if self.settings.duration_s is not None and self.elapsed() >= self.settings.duration_s:
            raise _Stop("duration")

    def sleep(self, seconds: float) -> None:
        end = _now() + seconds
        while (left := end - _now()) > 0:
            time.sleep(min(left, 0.05))
            self.heed()

    # -- rows

    def put(self, began: float, took: float, values: Mapping[str, float], gap: str = "") -> None:
        assert self.file is not None
        wall = time.time()
        self._watch_clock(wall)
        moment = datetime.fromtimestamp(wall - (_now() - began), UTC)
        row: dict[str, float | str] = {
            "time_s": f"{began - self.started:.4f}",
            "time_utc": moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "row_duration_s": f"{took:.4f}",
            "state": self.state or "",
            "mark": "; ".join(self.pending_marks),
            "gap": gap,
            **values,
        }
        self.file.write(row)
        self.pending_marks.clear()
        self.rows += bool(values)

    def _watch_clock(self, wall: float) -> None:
        offset = wall - _now()
        if self.clock_offset is not None and abs(offset - self.clock_offset) > 1.0:
            self.pending_marks.append(f"wall clock moved by {offset - self.clock_offset:+.1f} s")
        self.clock_offset = offset

    # -- questions

    def due(self, now: float) -> list[Parameter]:
        """Return what to ask in this row: the fast parameters, and one slow one whose time has come (all at first)."""
        asked = [p for p in self.wanted if self._is_fast(p)]
        slow = [
            p for p in self.wanted
            if not self._is_fast(p) and now - self.asked.get(p.column, -1e9) >= self.settings.slow_interval_s
        ]  # fmt: skip
        first = not any(p.column in self.asked for p in slow)
        slow.sort(key=lambda p: self.asked.get(p.column, -1e9))
        return asked + (slow if first else slow[:1])

    def _is_fast(self, parameter: Parameter) -> bool:
        return parameter.fast and self.misses.get(parameter.column, 0) < MISSES_BEFORE_RARE

    def question(self, parameter: Parameter) -> float | None:
        """Ask once, in fast mode twice where the first stays empty, and keep the watchdog's counts."""
        assert self.adapter is not None
        self.asked[parameter.column] = _now()
        answer = self.adapter.ask(parameter)
        silent = int(answer.silent)
        if answer.value is None and self.adapter.fast and self.adapter.alive():
            self.adapter.fast = False
            answer = self.adapter.ask(parameter)
            silent += answer.silent
            if answer.value is not None:
                self.strikes += 1
                self.fast_allowed = self.strikes < FAST_STRIKES
            self.adapter.fast = self.fast_allowed
            if not self.fast_allowed:
                self.tell("recording", "fast mode off: this adapter loses answers in it")
        if answer.value is None:
            self.empty += 1
            self.silent = self.silent + silent if answer.silent else 0
            self.misses[parameter.column] = self.misses.get(parameter.column, 0) + 1
        else:
            self.empty = self.silent = 0
            self.misses[parameter.column] = 0
            self.last_answered = parameter
        return answer.value

    def lost(self) -> str:
        """Return why the connection counts as lost, or an empty text."""
        assert self.adapter is not None
        if not self.adapter.alive():
            return "the port is gone"
        if self.silent >= SILENT_LIMIT:
            return "the adapter does not answer"
        if self.empty >= EMPTY_LIMIT and not self.still_there():
            heard = self.adapter.heard()
            return f"the car does not answer{f' ({heard})' if heard.isprintable() and heard else ''}"
        return ""

    def still_there(self) -> bool:
        """Return whether a parameter that has answered before still does: a car may claim many that it never gives."""
        assert self.adapter is not None
        known = [self.last_answered] if self.last_answered else self.wanted[:3]
        if not any(self.adapter.ask(parameter).value is not None for parameter in known):
            return False
        self.empty = 0
        return True

    # -- one row, one gap

    def row(self) -> None:
        began = _now()
        values: dict[str, float] = {}
        asked, why = 0, ""
        for parameter in self.due(began):
            value = self.question(parameter)
            asked += 1
            if value is not None:
                values[parameter.column] = value
            why = self.lost()
            if why:
                break
        self.values.update(values)
        if values or self.pending_marks:
            gap = self.pending_gap if values else ""
            self.put(began, _now() - began, values, gap)
            self.pending_gap = self.pending_gap if not values else ""
        self.whole_rows = self.whole_rows + 1 if len(values) == asked else 0
        if why:
            self.gap(why)
        elif not self.adapter_fast() and self.fast_allowed and self.whole_rows >= ROWS_BEFORE_FAST:
            self.prove_fast_mode()

    def adapter_fast(self) -> bool:
        return bool(self.adapter and self.adapter.fast)

    def prove_fast_mode(self) -> None:
        """Try the adapter's fast mode: it stays on only if every repeated question of a trial is answered."""
        assert self.adapter is not None
        self.adapter.fast = True
        for parameter in [p for p in self.wanted if self._is_fast(p)]:
            for _ in range(3):  # the third is sent as a bare repeat, which some adapters do not answer
                if self.adapter.ask(parameter).value is None:
                    self.adapter.fast = self.fast_allowed = False
                    self.tell("recording", "fast mode stays off: this adapter does not answer all of it")
                    return

    def gap(self, why: str) -> None:
        """Close the lost connection, say so in the file, and open new ones until one answers."""
        assert self.adapter is not None
        before, lost_at = self.adapter, _now()
        self.adapter.close()
        self.adapter = None
        self.gaps += 1
        self.put(lost_at, 0.0, {}, f"begin: {why}")
        self.tell(f"waiting: {why}", f"gap begins: {why}")
        wait = 0.5
        try:
            while self.adapter is None:
                self.heed()
                if self.pending_marks:
                    self.put(_now(), 0.0, {})
                try:
                    self.adapter = self.reopened(before)
                except AdapterError as trouble:
                    self.tell(f"waiting: {trouble}")
                    self.sleep(wait)
                    wait = min(1.5 * wait, LONGEST_WAIT_S)
        finally:
            length = _now() - lost_at
            self.gap_s += length
        self.pending_gap = f"end: {length:.1f} s"
        self.empty = self.silent = self.whole_rows = 0
        self.tell("recording", f"back after {length:.1f} s")

    def reopened(self, before: Adapter) -> Adapter:
        """Return a new adapter whose car gives a usable value; a list of what it supports is not enough.

        Takes the port of before; where none was named and that one is gone, any (a replugged adapter may get another).
        """
        port = self.settings.port or (before.port if Path(before.port).exists() else None)
        adapter, _ = open_adapter(port, self.settings.baud_rate or before.baud_rate, before.protocol_id)
        if any(adapter.ask(parameter).value is not None for parameter in self.wanted[:3]):
            return adapter
        heard = adapter.heard()
        adapter.close()
        raise AdapterError("no ignition", f"the car gives no usable answer ({heard})")

    # -- from beginning to end

    def first_connection(self) -> set[int]:
        until = _now() + self.settings.wait_s
        while True:
            try:
                self.adapter, supported = open_adapter(
                    self.settings.port, self.settings.baud_rate, self.settings.protocol
                )
                return supported
            except AdapterError as trouble:
                if _now() >= until or trouble.kind == "no permission":
                    raise
                self.tell(f"waiting: {trouble}")
                end = min(until, _now() + 1.0)
                while _now() < end:
                    time.sleep(0.05)
                    self.heed()

    def begin(self) -> None:
        self.started = _now()
        supported = self.first_connection()
        self.wanted = tuple(p for p in PARAMETERS if p.pid in supported)
        if not any(p.fast for p in self.wanted):
            raise AdapterError("no ignition", "The car lists none of the parameters that windtoll records.")
        assert self.adapter is not None
        moment = datetime.now(UTC)
        path = _free_name(self.settings.out, moment, self.state)
        try:
            self.file = RowFile(path)
        except OSError as error:
            raise InputError(
                Problem(str(path), "", f"cannot be written ({error.strerror})", "a folder that can be written to")
            ) from None
        append_run(self.settings.out / MANIFEST, {
            "file": path.name, "started": moment.replace(microsecond=0),
            "state": self.details.state, "pair": int(self.details.pair) if self.details.pair.isdecimal()
            else self.details.pair,
            "direction": self.details.direction, "vehicle": self.details.vehicle, "route": self.details.route,
            "wind": self.details.wind, "wind_from": self.details.wind_from, "temperature": self.details.temperature,
            "notes": self.details.notes, "protocol": self.adapter.protocol_name,
            "parameters": [p.column for p in self.wanted],
        })  # fmt: skip
        self.started = _now()
        self.tell("recording", f"recording to {path}")

    def run(self) -> Summary:
        ended_by = "interrupt"
        try:
            self.begin()
            due = _now()
            while True:
                self.heed()
                self.row()
                self.tell("recording")
                due = max(due + self.settings.interval_s, _now())
                self.sleep(due - _now())
        except _Stop as stop:
            ended_by = str(stop)
            if self.file is None:
                raise AdapterError("no adapter", "Stopped before the adapter answered; nothing was recorded.") from None
        except KeyboardInterrupt:
            if self.file is None:
                raise
        finally:
            fast = self.adapter_fast()
            if self.adapter is not None:
                self.adapter.close()
            if self.file is not None:
                try:
                    if self.pending_marks:
                        self.put(_now(), 0.0, {})
                finally:
                    self.file.close()
        return Summary(
            self.file.path, self.settings.out / MANIFEST, self.rows, self.elapsed(), self.gaps, self.gap_s, self.marks,
            tuple(p.column for p in self.wanted), fast, ended_by,
        )  # fmt: skip


def _free_name(folder: Path, moment: datetime, state: State | None) -> Path:
    stem = f"{moment.astimezone():%Y-%m-%d_%H%M%S}" + (f"_{state}" if state else "")
    path, number = folder / f"{stem}.csv", 2
    while path.exists():
        path, number = folder / f"{stem}_{number}.csv", number + 1
    return path


def _no_keys() -> str:
    return ""


def _no_screen(_: Status) -> None:
    return None


def record(
    settings: Settings,
    details: RunDetails | None = None,
    *,
    keys: Callable[[], str] = _no_keys,
    show: Callable[[Status], None] = _no_screen,
) -> Summary:
    """Record the engine until the duration is over, the stop key or an interrupt; return what was recorded.

    Makes `settings.out`, a new CSV file of `COLUMNS` in it, and a `[[run]]` table in its manifest, both when the car
    first answers. Each round asks the fast parameters and now and then a slow one, and writes one row: `time_s` counts
    from the first row on a clock that never steps, `time_utc` is the computer's clock, both of the moment when the
    row's first question was sent; `row_duration_s` is the time until its last answer. An empty cell was not asked or
    not answered. `state` is the state of the turbine, `mark` what a key said. When the connection is lost, a row with
    `gap` "begin: why" is written at once, and the first row after it has "end: seconds".

    `keys` returns the characters pressed since it was last called (see `KEYS`); `show` gets a `Status` after each row
    and each event. Raises AdapterError where adapter or car cannot be reached at first (later they are waited for),
    InputError for a folder or manifest that cannot be used, OSError where a row cannot be written.
    """
    details = details or RunDetails()
    try:
        settings.out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            Problem(str(settings.out), "", f"cannot be made ({error.strerror})", "a folder that can be written to")
        ) from None
    read_manifest_text(settings.out / MANIFEST)  # told before the drive, not after it
    with _listening():
        return _Recording(settings, details, keys, show, state=details.state, fast_allowed=settings.fast_mode).run()
