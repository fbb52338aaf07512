"""A serial OBD adapter with a car behind it, for tests: written from the standards, sharing no code with windtoll.

    python serial_adapter.py --link PATH

It serves the text protocol of the usual serial adapters on a pseudo-terminal with a link at PATH: echo, headers,
protocols 1 to 9 with their headers, check bytes and rates, several control units, noise and restarts. Each answer that
a unit sends is a line of JSON in PATH.sent: wall clock, unit, parameter, raw value, whether the line left undamaged.
Raw values are drawn anew for every answer, even for the engine and odd for any other unit, so that each recorded cell
can be traced to one answer. Commands come as JSON on standard input, as for the other emulated car:

    {"set": {"fault": "no data", "flip": 0.01}}   fields of `Setup`
    {"restart": true}                              the adapter loses its supply: banner, defaults

Forms of the frames: SAE J1850, ISO 9141-2, ISO 14230-2, ISO 15765-4 and SAE J1979, from memory.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import select
import sys
import termios
import threading
import time
import tty
from dataclasses import dataclass, field
from pathlib import Path

SIZES = {
    **dict.fromkeys(("04", "05", "06", "07", "08", "09", "0B", "0D", "0F", "11", "33", "46", "62"), 1),
    **dict.fromkeys(("0C", "10", "1F", "42", "43", "44", "5E", "63"), 2),
}
ALL = sorted(SIZES)
QUESTION_S = {"1": 0.06, "2": 0.1, "3": 0.27, "4": 0.22, "5": 0.16, "6": 0.012, "7": 0.012, "8": 0.02, "9": 0.02}
ADDRESS = {
    "engine": {"11": "7E8", "29": "10", "old": "10"},
    "gearbox": {"11": "7E9", "29": "18", "old": "18"},
    "hybrid": {"11": "7EA", "29": "28", "old": "28"},
}
DEFAULT_UNITS = {"engine": {"pids": ALL}}


@dataclass
class Setup:
    """What the car and its adapter are like, and what is wrong with them."""

    protocol: str = "6"
    units: dict = field(default_factory=lambda: json.loads(json.dumps(DEFAULT_UNITS)))
    mute: list = field(default_factory=list)  # the engine claims them and does not answer them
    frozen: dict = field(default_factory=dict)  # raw values that do not change
    steady: dict = field(default_factory=dict)  # raw values of the engine that a test wants to know
    quick: bool = False  # no delays: for many cells in a short time
    more_s: float = 0.2  # how long the adapter waits for another answer
    search_s: float = 0.4
    init_s: float = 0.0
    init_fails: int = 0  # so many times BUS INIT ends in an error
    search_stops: int = 0  # so many times a search ends as if it were interrupted
    pad: str = ""
    echo_stays: bool = False
    headers_stay: bool = False
    flip: float = 0.0
    lose: float = 0.0
    fault: str = ""  # "no data", "unable", "silent", "chatter", "bytes"
    stranger_s: float = 0.0  # speaks on its own, so often, and never prompts


class BusyError(Exception):
    """A byte came in while the adapter was at work."""


class RestartError(Exception):
    """The supply dipped while the adapter was at work."""


class SerialAdapter:
    """The adapter's side of the line."""

    def __init__(self, line: int, log: Path) -> None:
        self.line = line
        self.log = log.open("a", buffering=1)
        self.setup = Setup()
        self.noise = random.Random(7)
        self.draw = random.Random(11)
        self.written_to = 0
        self.restart_wanted = False
        self.defaults()

    def defaults(self) -> None:
        self.echo, self.headers, self.spaces, self.protocol = True, False, True, ""
        self.started_bus_s = 0.0

    # -- line

    def put(self, text: str | bytes) -> bool:
        """Write to the line, with its noise; return whether it left as it was."""
        data = text if isinstance(text, bytes) else text.encode()
        sent = bytearray()
        for byte in data:
            chance = self.noise.random()
            if chance < self.setup.lose:
                continue
            if chance < self.setup.lose + self.setup.flip:
                byte ^= 1 << self.noise.randrange(8)
            sent.append(byte)
        if self.setup.fault == "silent":
            return False
        os.write(self.line, bytes(sent))
        return bytes(sent) == data

    def rest(self, seconds: float) -> None:
        """Be at work; any byte that comes in ends it."""
        if self.setup.quick:
            return
        end_s = time.monotonic() + seconds
        while (left_s := end_s - time.monotonic()) > 0:
            if select.select([self.line], [], [], min(left_s, 0.02))[0]:
                raise BusyError
            if self.restart_wanted:
                raise RestartError

    def serve(self) -> None:
        heard, last_s = b"", time.monotonic()
        while True:
            ready = select.select([self.line], [], [], 0.02)[0]
            if self.restart_wanted:
                self.restart_wanted = False
                self.defaults()
                self.put("\r\rserial adapter v1.4\r\r>")
            if self.setup.stranger_s and time.monotonic() - last_s > self.setup.stranger_s:
                last_s = time.monotonic()
                os.write(self.line, b"U=230.1V I=4.02A P=925W\r\n")
            if not ready:
                continue
            try:
                piece = os.read(self.line, 256)
            except OSError:  # nobody has the other side open
                time.sleep(0.02)
                continue
            self.written_to += len(piece)
            if self.setup.stranger_s:
                continue
            heard += piece
            while b"\r" in heard:
                command, heard = heard.split(b"\r", 1)
                self.obey(command.decode("ascii", errors="replace").strip())

    def obey(self, command: str) -> None:
        asked = command.replace(" ", "").upper()
        if self.setup.fault == "chatter":
            for _ in range(400):  # 20 s without a prompt, whatever is written
                os.write(self.line, b"U=230.1V I=4.02A P=925W\r\n")
                time.sleep(0.05)
                if self.setup.fault != "chatter":
                    break
            termios.tcflush(self.line, termios.TCIFLUSH)  # what was written to it meanwhile it never read
            return
        if self.echo:
            self.put(command + "\r")
        try:
            if asked.startswith("AT"):
                self.set(asked[2:])
            elif asked.startswith("01") and len(asked) in (4, 5):
                self.question(asked[2:4], int(asked[4], 16) if len(asked) == 5 else 0)
            else:
                self.put("?\r")
        except BusyError:
            self.put("STOPPED\r")
        except RestartError:
            return
        self.put("\r>")

    def set(self, what: str) -> None:
        if what == "Z":
            self.rest_quietly(0.5)
            self.defaults()
            self.put("\r\rserial adapter v1.4\r")
            return
        if what == "RV":
            self.put("12.6V\r")
            return
        if what == "DPN":
            self.put(f"A{self.protocol or '0'}\r")
            return
        if what in ("E0", "E1"):
            self.echo = what == "E1" or self.setup.echo_stays
        elif what in ("H0", "H1"):
            if self.setup.headers_stay:
                self.put("?\r")
                return
            self.headers = what == "H1"
        elif what in ("S0", "S1"):
            self.spaces = what == "S1"
        elif what[:2] in ("SP", "TP"):
            self.protocol = "" if what[2:] in ("0", "00") else what[-1]
            self.started_bus_s = 0.0
        elif what not in ("L0", "L1"):
            self.put("?\r")
            return
        self.put("OK\r")

    def rest_quietly(self, seconds: float) -> None:
        time.sleep(0.02 if self.setup.quick else seconds)

    # -- car

    def question(self, pid: str, count: int) -> None:
        setup = self.setup
        if setup.fault == "bytes":
            self.put(bytes(self.noise.randrange(128, 256) for _ in range(24)) + b"\r")
            return
        if not self.protocol:
            self.put("SEARCHING...")
            self.rest(setup.search_s)
            if setup.search_stops:
                setup.search_stops -= 1
                self.put("STOPPED\r")
                return
            if setup.fault in ("unable", "no data"):
                self.put("\rUNABLE TO CONNECT\r")
                return
            self.protocol = setup.protocol
            self.put("\r")
        if self.protocol != setup.protocol or setup.fault == "unable":
            self.rest(0.1)
            self.put("UNABLE TO CONNECT\r")
            return
        if self.protocol in "345" and not self.start_bus():
            return
        if setup.fault == "no data":
            self.rest(0.1)
            self.put("NO DATA\r")
            return
        self.rest(QUESTION_S[self.protocol])
        self.answers(pid, count)

    def start_bus(self) -> bool:
        """Wake up the bus of protocols 3 to 5; return whether it did."""
        setup = self.setup
        if self.started_bus_s and time.monotonic() - self.started_bus_s < 5.0:
            self.started_bus_s = time.monotonic()
            return True
        self.put("BUS INIT: ")
        self.rest(setup.init_s)
        if setup.init_fails or setup.fault == "no data":
            setup.init_fails = max(setup.init_fails - 1, 0)
            self.put("...ERROR\r")
            return False
        self.put("...OK\r")
        self.started_bus_s = time.monotonic()
        return True

    def answers(self, pid: str, count: int) -> None:
        sent = 0
        for name, unit in self.setup.units.items():
            if not unit.get("awake", True) or (name == "engine" and pid in self.setup.mute):
                continue
            if self.draw.random() < unit.get("absent", 0.0):
                continue
            if pid in ("00", "20", "40", "60"):
                data, raw = listed(int(pid, 16), unit["pids"]).to_bytes(4, "big"), None
            elif pid in unit["pids"]:
                raw = self.value(name, pid)
                data = raw.to_bytes(SIZES[pid], "big")
            else:
                continue
            if sent:
                self.rest(0.005)
            at_s = time.time()
            whole = self.put(self.framed(name, bytes([0x41, int(pid, 16)]) + data) + "\r")
            if raw is not None:
                entry = {"t": at_s, "unit": name, "pid": pid, "raw": raw, "whole": whole}
                self.log.write(json.dumps(entry) + "\n")
            sent += 1
            if count and sent >= count:
                return
        if not sent:
            self.rest(self.setup.more_s)
            self.put("NO DATA\r")
            return
        self.rest(self.setup.more_s)

    def value(self, unit: str, pid: str) -> int:
        setup = self.setup
        if unit == "engine" and pid in setup.frozen:
            return setup.frozen[pid]
        if unit == "engine" and pid in setup.steady:
            return setup.steady[pid]
        return self.draw.randrange(256 ** SIZES[pid] // 2) * 2 + (unit != "engine")

    def framed(self, unit: str, data: bytes) -> str:
        if not self.headers:
            return self.spelt(data)
        protocol = self.setup.protocol
        if protocol in "6789":
            field_ = bytes([len(data)]) + data
            if self.setup.pad:
                field_ = field_.ljust(8, bytes.fromhex(self.setup.pad))
            if protocol in "68":
                space = " " if self.spaces else ""
                return ADDRESS[unit]["11"] + space + self.spelt(field_)
            return self.spelt(bytes.fromhex("18DAF1" + ADDRESS[unit]["29"]) + field_)
        source = bytes.fromhex(ADDRESS[unit]["old"])
        if protocol in "45":
            whole = bytes([0x80 | len(data), 0xF1]) + source + data
            return self.spelt(whole + bytes([sum(whole) & 0xFF]))
        whole = bytes.fromhex("416B" if protocol == "1" else "486B") + source + data
        check = sum(whole) & 0xFF if protocol == "3" else reflected_remainder(whole)
        return self.spelt(whole + bytes([check]))

    def spelt(self, data: bytes) -> str:
        return (" " if self.spaces else "").join(f"{byte:02X}" for byte in data)


def reflected_remainder(data: bytes) -> int:
    """Return the check byte of SAE J1850 by long division of the message as one binary number."""
    bits = int.from_bytes(data, "big") << 8
    length = 8 * len(data) + 8
    bits ^= 0xFF << (length - 8)  # the register begins with ones
    for place in range(length - 1, 7, -1):
        if bits >> place & 1:
            bits ^= 0x11D << (place - 8)
    return bits & 0xFF ^ 0xFF


def listed(first: int, pids: list[str]) -> int:
    """Return the bits of the 32 parameters after `first`, set for those a unit has and where another list follows."""
    numbers = {int(pid, 16) for pid in pids}
    numbers |= {step for step in (0x20, 0x40, 0x60) if any(number > step for number in numbers)}
    return sum(1 << (31 - place) for place in range(32) if first + 1 + place in numbers)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--link", required=True)
    options = parser.parse_args()
    line, theirs = os.openpty()
    tty.setraw(theirs)
    adapter = SerialAdapter(line, Path(f"{options.link}.sent"))
    beside = f"{options.link}.new"
    os.symlink(os.ttyname(theirs), beside)
    os.replace(beside, options.link)
    threading.Thread(target=adapter.serve, daemon=True).start()
    print(json.dumps({"ready": True}), flush=True)
    for text in sys.stdin:
        command = json.loads(text)
        for key, value in command.get("set", {}).items():
            assert hasattr(adapter.setup, key), key
            setattr(adapter.setup, key, value)
        adapter.restart_wanted = adapter.restart_wanted or command.get("restart", False)
        print(json.dumps({"ok": True, "written_to": adapter.written_to}), flush=True)


if __name__ == "__main__":
    main()
