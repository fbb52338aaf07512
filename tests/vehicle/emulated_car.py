"""A car behind an adapter, for tests: a child process that plays a serial OBD adapter with a car of our own.

    python emulated_car.py --link PATH        a pseudo-terminal, with a symbolic link to it at PATH
    python emulated_car.py --tcp PORT         a socket on this machine

It prints one JSON line when it is ready and one ("ok") for each JSON command read from standard input:

    {"values": {"0D": 60, "0C": 8000}}        raw integers to answer from now on (of the size SAE J1979 gives them)
    {"table": {"time_s": [0, 60], "0C": [4000, 16000]}}   raw integers that follow time, straight between the points
    {"without": ["5E"]}                        parameters that the car does not have (its list of support says so)
    {"mute": ["10"]}                           parameters that it claims to have and answers with NO DATA
    {"fault": "no data"}                       see FAULTS; null ends it
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import threading
import time

import elm.elm
from elm import Elm
from elm.obd_message import DT, HD, SZ

SIZES = {
    **dict.fromkeys(("04", "05", "06", "07", "08", "09", "0B", "0D", "0F", "11", "33", "46", "62"), 1),
    **dict.fromkeys(("0C", "10", "1F", "42", "43", "44", "5E", "63"), 2),
}
FAULTS = (
    *("no data", "unable to connect", "silent", "garbage", "truncated", "wrong parameter"),
    "no counts",
)


class Car:
    """The values behind the adapter and the fault that is being played; set from one thread, read from another."""

    def __init__(self) -> None:
        self.values = dict.fromkeys(SIZES, 100)
        self.table: dict[str, list[float]] | None = None
        self.table_start = 0.0
        self.without: set[str] = set()
        self.mute: set[str] = set()
        self.fault: str | None = None
        self.noise = random.Random(1)

    def obey(self, command: dict) -> None:
        self.values.update(command.get("values", {}))
        self.without = set(command.get("without", self.without))
        self.mute = set(command.get("mute", self.mute))
        if "table" in command:
            self.table, self.table_start = command["table"], time.monotonic()
        if "fault" in command:
            assert command["fault"] in (None, *FAULTS)
            self.fault = command["fault"]

    def raw(self, pid: str) -> int:
        table = self.table
        if table and pid in table:
            return round(interpolate(time.monotonic() - self.table_start, table["time_s"], table[pid]))
        return self.values[pid]

    def answer(self, pid: str) -> str:
        if pid in self.mute or pid in self.without:
            return "<string>NO DATA</string>"
        if pid in ("00", "20", "40", "60"):
            return message([0x41, int(pid, 16), *self.supported(int(pid, 16)).to_bytes(4, "big")])
        return message([0x41, int(pid, 16), *self.raw(pid).to_bytes(SIZES[pid], "big")])

    def supported(self, first: int) -> int:
        numbers = {int(pid, 16) for pid in SIZES if pid not in self.without} | {0x20, 0x40, 0x60}
        return sum(1 << (31 - place) for place in range(32) if first + 1 + place in numbers)


def interpolate(at: float, times: list[float], values: list[float]) -> float:
    if at <= times[0]:
        return values[0]
    for t0, t1, v0, v1 in zip(times, times[1:], values, values[1:], strict=False):
        if at <= t1:
            return v0 + (v1 - v0) * (at - t0) / (t1 - t0)
    return values[-1]


def message(data: list[int]) -> str:
    return HD("7E8") + SZ(f"{len(data):02X}") + DT(" ".join(f"{byte:02X}" for byte in data))


class FaultyAdapter(Elm):
    """The emulator, with faults of the line played on what it writes."""

    car: Car
    asked = ""

    def handle_request(self, cmd: str, do_write: bool = False):  # type: ignore[no-untyped-def]
        self.asked = cmd
        return super().handle_request(cmd, do_write=do_write)

    def write_to_device(self, i: bytes) -> None:
        data = self.spoiled(bytes(i))
        if data:
            super().write_to_device(data)

    def spoiled(self, data: bytes) -> bytes:
        fault = self.car.fault
        about_car = self.asked.startswith("01")
        if fault == "silent":
            return b""
        if fault == "garbage":
            return bytes(self.car.noise.randrange(32, 127) for _ in range(20)).replace(b">", b"<") + b"\r\r>"
        if not about_car:
            return data
        if fault == "no data":
            return b"NO DATA\r\r>"
        if fault == "unable to connect":
            return b"UNABLE TO CONNECT\r\r>"
        if fault == "truncated" and not self.asked.startswith("0100"):
            return b" ".join(data.split(b"\r")[0].split()[:-1]) + b"\r\r>"  # the last byte never arrived
        if fault == "wrong parameter":
            return b"7E8 03 41 2F 80\r\r>"  # a late answer to a question of someone else
        if fault == "no counts" and len(self.asked) == 5:
            return b"?\r\r>"
        return data


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--link")
    parser.add_argument("--tcp", type=int)
    options = parser.parse_args()
    elm.elm.setup_logging = lambda *_, **__: None  # no log file, no log lines
    car = Car()
    emulator = FaultyAdapter(net_port=options.tcp, net_interface="127.0.0.1") if options.tcp else FaultyAdapter()
    emulator.car = car
    emulator.ObdMessage = {
        "AT": emulator.ObdMessage["AT"],
        "default": {},
        "own": {
            f"PID_{pid}": {
                "Request": rf"^01{pid}[0-9]?$",
                "Descr": pid,
                "ResponseFooter": lambda _elm, _cmd, name, _entry: car.answer(name[4:]),
            }
            for pid in [*SIZES, "00", "20", "40", "60"]
        },
    }
    emulator.set_sorted_obd_msg("own")
    with emulator:
        while emulator.threadState != emulator.THREAD.ACTIVE:
            time.sleep(0.01)
        if options.link:
            beside = f"{options.link}.new"
            os.symlink(emulator.get_pty(), beside)
            os.replace(beside, options.link)
        print(json.dumps({"ready": True}), flush=True)
        for line in sys.stdin:
            car.obey(json.loads(line))
            print(json.dumps({"ok": True}), flush=True)


if __name__ == "__main__":
    threading.current_thread().name = "car"
    main()
