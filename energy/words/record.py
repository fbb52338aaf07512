"""A recording in words: cautions, names of what is recorded, the lines of a live view, and the summary."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vehicle.recording.loop import Status, Summary

CAUTION = (
    "A passenger logs; the driver drives and never touches this. Fix the computer so that it cannot fly about. Laws on"
    " screens and devices in a moving vehicle differ: yours apply. Lead the adapter's cable clear of the pedals. The"
    " OBD socket stays powered with the ignition off: take the adapter out afterwards, or it drains the battery."
)
STATE_NOT_GIVEN = "The state of the turbine is not given (--state): press a, s or w when it is known."
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


def gaps(count: int) -> str:
    """Return the number of gaps in words."""
    return {0: "no gaps", 1: "1 gap"}.get(count, f"{count} gaps")


def clock(seconds: float) -> str:
    """Return a time span [s] as h:mm:ss or m:ss."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def event_line(status: Status) -> str:
    """Return the line about what just happened."""
    return f"{clock(status.elapsed_s)} {status.event}"


def value_rows(status: Status) -> list[tuple[str, str, str]]:
    """Return name, value and unit of each parameter that has a value, in the order of `LABELS`."""
    return [
        (label, f"{status.values[column]:.4g}", unit)
        for column, (label, unit) in LABELS.items()
        if column in status.values
    ]


def status_line(status: Status) -> str:
    """Return the line under the values of a live view."""
    turbine = f"turbine {status.state}" if status.state else "turbine: state not given"
    fast = " · fast mode" if status.fast else ""
    return f"{clock(status.elapsed_s)} · {status.rows} rows · {gaps(status.gaps)} · {turbine}{fast}"


def plain_line(status: Status) -> str:
    """Return the line that says every few seconds, where no live view can be drawn, how far the recording is."""
    speed = status.values.get("vehicle_speed_km_h")
    rpm = status.values.get("engine_speed_rpm")
    last = (f", {speed:.0f} km/h" if speed is not None else "") + (f", {rpm:.0f} rpm" if rpm is not None else "")
    return f"{clock(status.elapsed_s)} {status.condition}: {status.rows} rows, {gaps(status.gaps)}{last}"


def summary_lines(summary: Summary) -> list[str]:
    """Return what a finished recording holds, where it is, and what to do with the adapter."""
    lost = f" ({summary.gap_s:.0f} s in all)" if summary.gaps else ""
    return [
        f"{summary.rows} rows in {clock(summary.duration_s)}, {gaps(summary.gaps)}{lost}: {summary.file}",
        f"Listed in {summary.manifest}. Take the adapter out of its socket when you are done.",
    ]


def summary_data(summary: Summary) -> dict[str, Any]:
    """Return a finished recording as data, for `--json`; times in seconds."""
    return {
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
    }


def row_not_written(reason: str) -> str:
    """Return what a failed write means for the rows before it."""
    return f"a row could not be written ({reason}); the rows before it are safe"
