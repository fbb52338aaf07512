"""Helpers for the tests that record from an emulated car: its raw values, a passenger, a ride, its rows."""

from __future__ import annotations

import csv
import functools
import importlib.util
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

from vehicle.recording.loop import RunDetails, Settings, Status, Summary, record

PROJECT = Path(__file__).parents[1]
PATIENT_S = 60.0  # how long a test waits for what must happen; a loaded machine may need seconds

_TICK_S = 0.02


class _Ticker(threading.Thread):
    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.ticks = 0

    def run(self) -> None:
        while True:
            time.sleep(_TICK_S)
            self.ticks += 1


@functools.cache
def _ticker() -> _Ticker:
    ticker = _Ticker()
    ticker.start()
    return ticker


def own_time_s() -> float:
    """Return the seconds that this process could have used: short sleeps counted, not how long they took.

    On an idle machine it goes like a clock. Where others take the cores each sleep ends late, and it goes slower by
    that: a bound on it says what the recorder takes, not what it had to wait for. A read that hangs is counted in full.
    """
    return _ticker().ticks * _TICK_S


def beside_the_tests(name: str) -> ModuleType:
    """Return a module of tests/vehicle, which is no package."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, PROJECT / "tests" / "vehicle" / f"{name}.py")
        assert spec is not None
        assert spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


CarProcess = beside_the_tests("car_process").CarProcess

# SAE J1979 / ISO 15031-5, table of mode 01 PIDs, written out from memory: raw integer N (or byte A) to the unit.
FORMULAS: dict[str, tuple[int, int, Callable[[int], float]]] = {
    "calculated_load_percent": (0x04, 1, lambda n: n / 2.55),
    "coolant_temperature_degc": (0x05, 1, lambda n: n - 40),
    "short_term_fuel_trim_1_percent": (0x06, 1, lambda n: n / 1.28 - 100),
    "long_term_fuel_trim_1_percent": (0x07, 1, lambda n: n / 1.28 - 100),
    "short_term_fuel_trim_2_percent": (0x08, 1, lambda n: n / 1.28 - 100),
    "long_term_fuel_trim_2_percent": (0x09, 1, lambda n: n / 1.28 - 100),
    "intake_manifold_pressure_kpa": (0x0B, 1, lambda n: n),
    "engine_speed_rpm": (0x0C, 2, lambda n: n / 4),
    "vehicle_speed_km_h": (0x0D, 1, lambda n: n),
    "intake_air_temperature_degc": (0x0F, 1, lambda n: n - 40),
    "mass_air_flow_g_s": (0x10, 2, lambda n: n / 100),
    "throttle_percent": (0x11, 1, lambda n: n / 2.55),
    "run_time_s": (0x1F, 2, lambda n: n),
    "barometric_pressure_kpa": (0x33, 1, lambda n: n),
    "control_module_voltage_v": (0x42, 2, lambda n: n / 1000),
    "absolute_load_percent": (0x43, 2, lambda n: n / 2.55),
    "commanded_equivalence_ratio": (0x44, 2, lambda n: n / 32768),
    "ambient_air_temperature_degc": (0x46, 1, lambda n: n - 40),
    "fuel_rate_l_h": (0x5E, 2, lambda n: n / 20),
    "actual_torque_percent": (0x62, 1, lambda n: n - 125),
    "reference_torque_nm": (0x63, 2, lambda n: n),
}
CRUISE = {
    "0D": 90,
    "0C": 9000,
    "04": 110,
    "43": 120,
    "10": 2210,
    "0B": 65,
    "5E": 130,
    "44": 32768,
    "06": 130,
    "08": 126,
    "11": 70,
    "62": 165,
    "07": 131,
    "09": 127,
    "05": 130,
    "0F": 62,
    "46": 55,
    "33": 100,
    "63": 320,
    "1F": 700,
    "42": 14100,
}
SPEED = "vehicle_speed_km_h"


class Passenger:
    """Watches a recording from its own callbacks: acts when something is so, stops when all is done."""

    def __init__(self, *steps: tuple[Callable[[Status], bool], Callable[[], object] | str]) -> None:
        self.steps = list(steps)
        self.pressed = ""
        self.seen: list[Status] = []
        self.began = time.monotonic()

    def show(self, status: Status) -> None:
        self.seen.append(status)
        if self.steps and self.steps[0][0](status):
            action = self.steps.pop(0)[1]
            if isinstance(action, str):
                self.pressed += action
            else:
                action()

    def keys(self) -> str:
        pressed, self.pressed = self.pressed, ""
        if time.monotonic() - self.began > PATIENT_S:
            return "q"  # the test then fails on what is missing, and does not hang
        return pressed

    def events(self) -> list[str]:
        return [status.event for status in self.seen if status.event]


def ride(
    car: CarProcess, out: Path, passenger: Passenger, details: RunDetails | None = None, **more: object
) -> Summary:
    how = Settings(out, port=car.port, protocol="6", interval_s=0.01, **more)  # type: ignore[arg-type]
    summary = record(how, details, keys=passenger.keys, show=passenger.show)
    assert not passenger.steps, f"never came to pass; events: {passenger.events()}"
    return summary


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def data_of(path: Path) -> list[dict[str, str]]:
    return [row for row in rows_of(path) if row[SPEED]]


def after(count: int) -> Callable[[Status], bool]:
    """Return a condition: `count` rows more than when it was first looked at."""
    start: list[int] = []

    def met(status: Status) -> bool:
        if not start:
            start.append(status.rows)
        return status.condition == "recording" and status.rows >= start[0] + count

    return met


def event(words: str) -> Callable[[Status], bool]:
    return lambda status: words in status.event


def wait_until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENT_S
    while not condition():
        assert time.monotonic() < end, "never came to pass"
        time.sleep(0.05)


def complete_lines(folder: Path) -> int:
    return sum(path.read_bytes().count(b"\n") for path in folder.glob("*.csv"))
