"""The OBD adapter and the car behind it: opened, asked with bounded waits, closed.

The only module that imports python-obd (GPL-2.0), and no module outside this package imports it when it is loaded:
recording is a process of its own. python-obd opens the port, sets the adapter up and takes the frames apart. The waits
are ours, because python-obd raises nothing when an adapter goes away, can wait two minutes for one query of a silent
adapter, and pads a truncated answer with zeros.
"""

from __future__ import annotations

import errno
import logging
import os
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import obd
import serial
from obd.elm327 import ELM327
from serial.tools import list_ports

from vehicle.recording.parameters import PidParameter, decode, supported_in

# How long the port may be quiet before a question counts as unanswered. The adapter itself gives up on the car after at
# most about 1 s (its own time-out register, common practice, no source); Bluetooth adds some tenths.
QUERY_PATIENCE_S = 2.0
SEARCH_PATIENCE_S = 10.0  # the first question to the car may make the adapter try every protocol
QUIET_AFTER_RESET_S = 0.6


def clock_s() -> float:
    """Return seconds [s] on a clock that never steps and, where the system can, goes on while the computer sleeps."""
    boot_time = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot_time is None else time.clock_gettime(boot_time)


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

    def _ELM327__send(  # noqa: N802
        self, cmd: bytes, delay: float | None = None, end_marker: bytes = b">"
    ) -> list[str]:
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
        port, end = self._ELM327__port, clock_s() + 5 * QUIET_AFTER_RESET_S
        if port is None:
            return
        try:
            port.timeout = QUIET_AFTER_RESET_S
            while port.read(port.in_waiting or 1) and clock_s() < end:
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
def obd_log_kept() -> Iterator[_Listener]:
    """Keep what python-obd logs, for as long as the context lasts; gives the listener with its last lines."""
    logger, listener = logging.getLogger("obd"), _Listener()
    handlers, propagate = list(logger.handlers), logger.propagate
    logger.handlers, logger.propagate = [listener], False
    try:
        yield listener
    finally:
        logger.handlers, logger.propagate = handlers, propagate


@dataclass(frozen=True)
class AdapterAnswer:
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

    def ask(self, parameter: PidParameter) -> AdapterAnswer:
        """Return the answer to one parameter; waits at most `QUERY_PATIENCE_S` after the last sign of life."""
        answers, silent = self._raw(parameter.pid)
        values = (decode(parameter, data) for data in answers)
        return AdapterAnswer(next((value for value in values if value is not None), None), silent)

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
        with obd_log_kept():
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
    with obd_log_kept() as listener:
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
