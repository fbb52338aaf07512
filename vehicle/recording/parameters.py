"""The parameters that a recording holds: SAE J1979 mode 01 numbers, data bytes, formulas and column names.

Formulas: SAE J1979 (ISO 15031-5), table of parameter numbers, from memory; the tests hold them against the decoders of
python-obd.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


def _word(data: bytes) -> int:
    return 256 * data[0] + data[1]


def _share(data: bytes) -> float:
    return data[0] * 100 / 255


def _trim(data: bytes) -> float:
    return (data[0] - 128) * 100 / 128


def _ratio(data: bytes) -> float:
    return _word(data) * 2 / 65536


def _degc(data: bytes) -> float:
    return data[0] - 40


@dataclass(frozen=True)
class PidParameter:
    """One parameter of SAE J1979 mode 01: its column in the recording, its number, its data bytes and their meaning."""

    column: str
    label: str
    unit: str
    pid: int
    size: int
    formula: Callable[[bytes], float]
    fast: bool = False


PARAMETERS: tuple[PidParameter, ...] = (
    PidParameter("vehicle_speed_km_h", "vehicle speed", "km/h", 0x0D, 1, lambda d: d[0], fast=True),
    PidParameter("engine_speed_rpm", "engine speed", "rpm", 0x0C, 2, lambda d: _word(d) / 4, fast=True),
    PidParameter("calculated_load_percent", "calculated load", "%", 0x04, 1, _share, fast=True),
    PidParameter("absolute_load_percent", "absolute load", "%", 0x43, 2, lambda d: _word(d) * 100 / 255, fast=True),
    PidParameter("mass_air_flow_g_s", "mass air flow", "g/s", 0x10, 2, lambda d: _word(d) / 100, fast=True),
    PidParameter("intake_manifold_pressure_kpa", "intake manifold pressure", "kPa", 0x0B, 1, lambda d: d[0], fast=True),
    PidParameter("fuel_rate_l_h", "fuel rate", "L/h", 0x5E, 2, lambda d: _word(d) / 20, fast=True),
    PidParameter("commanded_equivalence_ratio", "commanded equivalence ratio", "", 0x44, 2, _ratio, fast=True),
    PidParameter("short_term_fuel_trim_1_percent", "short term fuel trim, bank 1", "%", 0x06, 1, _trim, fast=True),
    PidParameter("short_term_fuel_trim_2_percent", "short term fuel trim, bank 2", "%", 0x08, 1, _trim, fast=True),
    PidParameter("throttle_percent", "throttle", "%", 0x11, 1, _share, fast=True),
    PidParameter("actual_torque_percent", "actual torque", "%", 0x62, 1, lambda d: d[0] - 125, fast=True),
    PidParameter("long_term_fuel_trim_1_percent", "long term fuel trim, bank 1", "%", 0x07, 1, _trim),
    PidParameter("long_term_fuel_trim_2_percent", "long term fuel trim, bank 2", "%", 0x09, 1, _trim),
    PidParameter("coolant_temperature_degc", "coolant temperature", "°C", 0x05, 1, _degc),
    PidParameter("intake_air_temperature_degc", "intake air temperature", "°C", 0x0F, 1, _degc),
    PidParameter("ambient_air_temperature_degc", "ambient air temperature", "°C", 0x46, 1, _degc),
    PidParameter("barometric_pressure_kpa", "barometric pressure", "kPa", 0x33, 1, lambda d: d[0]),
    PidParameter("reference_torque_nm", "reference torque", "N·m", 0x63, 2, _word),
    PidParameter("run_time_s", "run time since engine start", "s", 0x1F, 2, _word),
    PidParameter("control_module_voltage_v", "control module voltage", "V", 0x42, 2, lambda d: _word(d) / 1000),
)

ENGINE_EVIDENCE = frozenset({0x04, 0x06, 0x07, 0x08, 0x09, 0x0B, 0x10, 0x43, 0x44, 0x5E})
"""Numbers that only an engine's control unit is expected to report: engine load, fuel trims, air, mixture, fuel."""

FUEL_SOURCES = (0x5E, 0x10, 0x0B)
"""Numbers of what litres can be calculated from, best first: fuel rate, mass air flow, manifold pressure."""


def decode(parameter: PidParameter, data: bytes) -> float | None:
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
