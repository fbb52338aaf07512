"""The serial or network port of an adapter: every read has an end, and whoever waits may act meanwhile."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import serial

try:
    from termios import error as _termios_error
except ImportError:  # a system without them
    _termios_error = OSError  # type: ignore[assignment,misc]

_GONE = (serial.SerialException, OSError, _termios_error)

PROMPT = b">"
_SLICE_S = 0.05  # how long one look at the port lasts at most; keys and clock are heeded in between
_WRITE_PATIENCE_S = 2.0
_LATE_S, _LATEST_S = 0.25, 1.0  # to wait for the rest of a reply that was given up
_BUSY = re.compile(rb"SEARCHING|BUS INIT")
_ANSWERED = re.compile(rb"41 ?[0-9A-F]{2}[^\r]*\r")


def clock_s() -> float:
    """Return seconds [s] on a clock that never steps and, where the system can, goes on while the computer sleeps."""
    boot_time = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot_time is None else time.clock_gettime(boot_time)


class PortGoneError(Exception):
    """The port cannot be opened, or is no longer there; `str()` is the system's reason."""


@contextmanager
def _of_the_port() -> Iterator[None]:
    """Turn what the system raises for a port into `PortGoneError`, so that nothing else passes for it."""
    try:
        yield
    except _GONE as error:
        raise PortGoneError(str(error)) from None


@dataclass(frozen=True)
class Patience:
    """How long a reply may take [s]: in all, without a byte, and in all where the adapter says that it searches.

    `answered_s` is how long to wait for the prompt behind an answer of a control unit: it may have got lost.
    """

    total_s: float
    quiet_s: float
    search_s: float = 0.0
    answered_s: float = float("inf")


@dataclass(frozen=True)
class Reply:
    """What came back: lines without the echo and the prompt; `heard` any byte at all; `whole` up to the prompt.

    `at_s` is when the first answer of a control unit was there [s], the end of the reply where none was.
    """

    lines: tuple[str, ...]
    heard: bool
    whole: bool
    at_s: float = 0.0


class AdapterPort:
    """An open port. Raises PortGoneError where it is lost, and whatever `idle` raises while it waits."""

    def __init__(self, device: str, baud_rate: int | None, idle: Callable[[], None]) -> None:
        self._idle = idle
        with _of_the_port():
            self._port = serial.serial_for_url(device, do_not_open=True)
            self._port.baudrate = baud_rate or 38400
            self._port.timeout = _SLICE_S
            self._port.write_timeout = _WRITE_PATIENCE_S
            self._port.exclusive = True  # two programs reading one adapter take each other's answers
            self._port.open()
        self._last_byte_s = clock_s()
        self._whole = True

    @property
    def baud_rate(self) -> int:
        """Return the rate of the line [bit/s]; a pseudo-terminal and a network only pretend to one."""
        return int(self._port.baudrate)

    @baud_rate.setter
    def baud_rate(self, rate: int) -> None:
        with _of_the_port():
            self._port.baudrate = rate

    def pause(self, seconds: float) -> None:
        """Wait [s] and let `idle` act."""
        end_s = clock_s() + seconds
        while (left_s := end_s - clock_s()) > 0:
            time.sleep(min(left_s, _SLICE_S))
            self._idle()

    def read_until_quiet(self, quiet_s: float, total_s: float) -> bytes:
        """Return what comes until the port was quiet for `quiet_s`, or until `total_s` [s]."""
        began_s = last_s = clock_s()
        heard = bytearray()
        while (at_s := clock_s()) - last_s < quiet_s and at_s - began_s < total_s:
            piece = self._piece()
            if piece:
                heard += piece
                last_s = clock_s()
        return bytes(heard)

    def ask(self, command: bytes, patience: Patience) -> Reply:
        """Send a command and return the reply to it."""
        if not self._whole:  # what is still to come belongs to an earlier question
            self.read_until_quiet(_LATE_S, _LATEST_S)
        with _of_the_port():
            if self._port.in_waiting:
                self._port.reset_input_buffer()
            self._port.write(command + b"\r")
        began_s = last_s = clock_s()
        answered_s: float | None = None
        buffer = bytearray()
        while PROMPT not in buffer:
            at_s = clock_s()
            total_s, quiet_s = _limits_s(buffer, patience)
            if at_s - began_s > total_s or at_s - last_s > quiet_s:
                break
            piece = self._piece()
            if piece:
                buffer += piece
                last_s = clock_s()
                if answered_s is None and _ANSWERED.search(buffer):
                    answered_s = last_s
        self._whole = PROMPT in buffer
        return _as_reply(bytes(buffer), clock_s() if answered_s is None else answered_s)

    def _piece(self) -> bytes:
        self._idle()
        with _of_the_port():
            piece = bytes(self._port.read(self._port.in_waiting or 1))
        if piece:
            self._last_byte_s = clock_s()
        return piece

    def silent_s(self) -> float:
        """Return how long ago the last byte came [s]."""
        return clock_s() - self._last_byte_s

    def close(self) -> None:
        """Give the port back at once, with what it has not yet sent."""
        with _of_the_port():
            try:
                if os.name == "posix" and getattr(self._port, "fd", None) is not None:
                    self._port.reset_output_buffer()  # a port that takes no bytes would hold up its closing
            finally:
                self._port.close()


def _limits_s(buffer: bytearray, patience: Patience) -> tuple[float, float]:
    """Return how long the reply may take in all, and without a byte [s], by what came so far."""
    if _ANSWERED.search(buffer):
        return patience.search_s or patience.total_s, min(patience.quiet_s, patience.answered_s)
    if patience.search_s and _BUSY.search(buffer):
        return patience.search_s, patience.search_s
    return patience.total_s, patience.quiet_s


def _as_reply(buffer: bytes, at_s: float) -> Reply:
    whole = PROMPT in buffer
    text = buffer.replace(b"\x00", b"").split(PROMPT)[0].decode("ascii", errors="replace")
    lines = tuple(line.strip() for line in re.split(r"[\r\n]", text) if line.strip())
    return Reply(lines, bool(buffer), whole, at_s)
