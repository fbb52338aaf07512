"""The parameters that a recording holds: SAE J1979 mode 01 numbers, data bytes, formulas and column names.

Formulas: SAE J1979 (ISO 15031-5), table of parameter numbers, from memory; the tests hold them against the decoders of
python-obd.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


def _word(data: bytes) -> int:
    return 256 * data[0] + data[1]


@dataclass(frozen=True)
class PidParameter:
    """One parameter of SAE J1979 mode 01: its column in the recording, its number, its data bytes and their meaning."""

    column: str
    pid: int
    size: int
    formula: Callable[[bytes], float]
    fast: bool = False


PARAMETERS: tuple[PidParameter, ...] = (
    PidParameter("vehicle_speed_km_h", 0x0D, 1, lambda d: d[0], fast=True),
    PidParameter("engine_speed_rpm", 0x0C, 2, lambda d: _word(d) / 4, fast=True),
    PidParameter("calculated_load_percent", 0x04, 1, lambda d: d[0] * 100 / 255, fast=True),
    PidParameter("absolute_load_percent", 0x43, 2, lambda d: _word(d) * 100 / 255, fast=True),
    PidParameter("mass_air_flow_g_s", 0x10, 2, lambda d: _word(d) / 100, fast=True),
    PidParameter("intake_manifold_pressure_kpa", 0x0B, 1, lambda d: d[0], fast=True),
    PidParameter("fuel_rate_l_h", 0x5E, 2, lambda d: _word(d) / 20, fast=True),
    PidParameter("commanded_equivalence_ratio", 0x44, 2, lambda d: _word(d) * 2 / 65536, fast=True),
    PidParameter("short_term_fuel_trim_1_percent", 0x06, 1, lambda d: (d[0] - 128) * 100 / 128, fast=True),
    PidParameter("short_term_fuel_trim_2_percent", 0x08, 1, lambda d: (d[0] - 128) * 100 / 128, fast=True),
    PidParameter("throttle_percent", 0x11, 1, lambda d: d[0] * 100 / 255, fast=True),
    PidParameter("actual_torque_percent", 0x62, 1, lambda d: d[0] - 125, fast=True),
    PidParameter("long_term_fuel_trim_1_percent", 0x07, 1, lambda d: (d[0] - 128) * 100 / 128),
    PidParameter("long_term_fuel_trim_2_percent", 0x09, 1, lambda d: (d[0] - 128) * 100 / 128),
    PidParameter("coolant_temperature_degc", 0x05, 1, lambda d: d[0] - 40),
    PidParameter("intake_air_temperature_degc", 0x0F, 1, lambda d: d[0] - 40),
    PidParameter("ambient_air_temperature_degc", 0x46, 1, lambda d: d[0] - 40),
    PidParameter("barometric_pressure_kpa", 0x33, 1, lambda d: d[0]),
    PidParameter("reference_torque_nm", 0x63, 2, _word),
    PidParameter("run_time_s", 0x1F, 2, _word),
    PidParameter("control_module_voltage_v", 0x42, 2, lambda d: _word(d) / 1000),
)


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
