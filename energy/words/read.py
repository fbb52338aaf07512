"""What is in a log, what was mended, how much fuel it says: lines and data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from vehicle.constants import ZERO_CELSIUS_K
from vehicle.units import UnitSystem, label, to_user

if TYPE_CHECKING:
    from energy.words.read_model import (
        ColumnRangeData,
        EnginePowerData,
        LogData,
        LoggedFuelData,
        TractivePowerData,
    )
    from vehicle.logs.fuel_flow import FuelFlow, LoggedEngine
    from vehicle.logs.log import Log


_LEAST_M = 500.0  # of driving, for fuel over a distance


def as_data(
    log: Log,
    engine: LoggedEngine,
    source: str | None,
    mass: float | None,
    road_load: tuple[float, float, float] | None,
    calibrated: float | None = None,
) -> tuple[LogData, FuelFlow]:
    """Return what is in a log as data for `--json`, and the fuel flow that was found in it."""
    from energy.words.log_quality import row_s, stuck_data
    from energy.words.read_model import ColumnData, LogData, RepairData
    from vehicle.logs.fuel_flow import fuel_flow
    from vehicle.logs.log import Quality

    flow = fuel_flow(log, engine, source=source)
    data = LogData(
        file=log.name,
        rows=log.rows,
        duration_s=log.duration_s,
        distance_km=None if log.distance_m is None else log.distance_m / 1000,
        clock=log.clock,
        columns=[
            ColumnData(
                header=c.header.strip(),
                parameter=c.parameter if c.use == "used" else "",
                unit=c.unit,
                unit_from=c.unit_from,
                use=c.use,
                note=c.note,
            )
            for c in log.columns
        ],
        repairs=[RepairData.model_validate(repair.as_dict()) for repair in log.repairs],
        flagged_rows={flag.name: int(log.flagged(flag).sum()) for flag in Quality if flag.name},
        fuel=_fuel_data(log, flow, calibrated),
        notes=list(log.notes),
        checks=list(log.concerns),
        statistics=_statistics(log),
        engine_power=_engine_power_data(log),
        tractive_power=_tractive_power_data(log, mass, road_load),
        row_s=row_s(log),
        stuck=stuck_data(log),
    )
    return data, flow


def all_data(logs: Sequence[LogData]) -> dict[str, Any]:
    """Return one log, or several, as data for `--json`."""
    from energy.words.read_model import LogsData

    return (logs[0] if len(logs) == 1 else LogsData(logs=list(logs))).model_dump()


def _fuel_data(log: Log, flow: FuelFlow, calibrated: float | None) -> LoggedFuelData:
    from energy.words.read_model import LoggedFuelData
    from vehicle.logs.fuel_flow import litres_and_metres

    litres, metres = litres_and_metres(log, flow)
    far = bool(log.distance_m) and metres > _LEAST_M and litres > 0
    return LoggedFuelData(
        **flow.as_dict(),
        l_per_100km=litres / metres * 1e5 if far else None,
        l_per_100km_over_km=metres / 1000 if far else None,
        calibrated_volumetric_efficiency=calibrated,
    )


def _engine_power_data(log: Log) -> EnginePowerData | None:
    import numpy as np

    from energy.words.read_model import EnginePowerData
    from vehicle.logs.fuel_flow import brake_power_w

    power = brake_power_w(log)
    if power is None or not np.isfinite(power[0]).any():
        return None
    return EnginePowerData(mean_w=float(np.nanmean(power[0])), source=power[1])


def _tractive_power_data(
    log: Log, mass: float | None, road_load: tuple[float, float, float] | None
) -> TractivePowerData | None:
    import numpy as np

    from energy.words.read_model import TractivePowerData
    from vehicle.logs.fuel_flow import acceleration_m_s2, tractive_power_w

    if mass is None or road_load is None or "speed_m_s" not in log.table:
        return None
    grade = log.table["grade"].to_numpy() if "grade" in log.table else 0.0
    tractive = tractive_power_w(log.table["speed_m_s"].to_numpy(), acceleration_m_s2(log), grade, mass, road_load)
    if not np.isfinite(tractive).any():
        return None
    return TractivePowerData(
        mean_w=float(np.nanmean(tractive)), mean_positive_w=float(np.nanmean(np.maximum(tractive, 0.0)))
    )


def _statistics(log: Log) -> dict[str, ColumnRangeData]:
    import numpy as np

    from energy.words.read_model import ColumnRangeData

    out = {}
    for name in log.table.columns:
        if name in ("time_s", "step_s", "quality"):
            continue
        numbers = log.table[name].to_numpy()
        good = numbers[np.isfinite(numbers)]
        if good.size:
            out[str(name)] = ColumnRangeData(
                minimum=float(good.min()),
                mean=float(good.mean()),
                maximum=float(good.max()),
                known_share=float(good.size / numbers.size),
            )
    return out


_SHOWN = {  # tidy column -> factor, offset and unit for the eye
    "speed_m_s": (3.6, 0.0, "km/h"),
    "gps_speed_m_s": (3.6, 0.0, "km/h"),
    "engine_speed_rad_s": (9.549297, 0.0, "rpm"),
    "air_flow_kg_s": (1e3, 0.0, "g/s"),
    "manifold_pressure_pa": (1e-3, 0.0, "kPa"),
    "rotor_speed_rad_s": (9.549297, 0.0, "rpm"),
    "barometric_pressure_pa": (1e-3, 0.0, "kPa"),
    "fuel_rate_m3_s": (3.6e6, 0.0, "L/h"),
    "run_time_s": (1.0, 0.0, "s"),
    "fuel_mass_flow_kg_s": (1e3, 0.0, "g/s"),
    "commanded_equivalence_ratio": (1.0, 0.0, ""),
    "reference_torque_n_m": (1.0, 0.0, "N·m"),
    "control_module_voltage_v": (1.0, 0.0, "V"),
    "altitude_m": (1.0, 0.0, "m"),
    "latitude_deg": (1.0, 0.0, "°"),
    "longitude_deg": (1.0, 0.0, "°"),
    "head_wind_m_s": (1.0, 0.0, "m/s"),
    "electrical_power_w": (1.0, 0.0, "W"),
    "brake": (1.0, 0.0, ""),
}


_KINDS = {  # of the columns that US or UK drivers read in other units
    "speed_m_s": "speed",
    "gps_speed_m_s": "speed",
    "head_wind_m_s": "speed",
    "fuel_rate_m3_s": "fuel_flow",
    "altitude_m": "length",
    "reference_torque_n_m": "torque",
    "manifold_pressure_pa": "pressure",
    "barometric_pressure_pa": "pressure",
}


def in_usual_unit(name: str, value: float, system: UnitSystem = "metric") -> tuple[float, str]:
    """Return a value of a tidy column (SI) in the unit that drivers read it in, and that unit."""
    kind = _KINDS.get(name, "temperature" if name.endswith("_k") else "")
    if kind and label(kind, system) != label(kind, "metric"):
        return to_user(value, kind, system), label(kind, system)
    factor, offset, unit = _SHOWN.get(name) or (
        (1.0, -ZERO_CELSIUS_K, "°C") if name.endswith("_k") else (100.0, 0.0, "%")
    )
    return value * factor + offset, unit


def _over(data: LogData, system: UnitSystem) -> str:
    """Return over how much of the way fuel for a distance is known, where that is not nearly all of it."""
    known, way = data.fuel.l_per_100km_over_km, data.distance_km
    if known is None or way is None or known >= 0.98 * way:
        return ""
    shown = f"{to_user(1000 * known, 'distance', system):.2f} {label('distance', system)}"
    return f" over the {shown} with both fuel and speed"


def _economy(data: LogData, system: UnitSystem) -> str:
    """Return the fuel for the way as the end of a line, with miles per gallon where miles are read."""
    per = data.fuel.l_per_100km
    if not per:
        return ""
    if system == "metric":
        return f", {per:.2f} L/100 km{_over(data, system)}"
    from energy.words.verdict import miles_per_gallon

    gallons = "imperial mpg" if system == "uk" else "mpg"
    return f", {miles_per_gallon(per * 1e-8, system):.1f} {gallons}{_over(data, system)}"


def in_words(log: Log, data: LogData, flow: FuelFlow, system: UnitSystem = "metric") -> list[str]:
    """Return what is in a log as lines."""
    from energy.words.log_quality import rate_and_stuck_lines
    from vehicle.logs.columns import BY_NAME
    from vehicle.logs.fuel_flow import LITRES_PER_HOUR

    way = None if log.distance_m is None else to_user(log.distance_m, "distance", system)
    distance = "" if way is None else f", {way:.2f} {label('distance', system)}"
    lines = [f"{log.name}: {log.rows} rows over {log.duration_s / 60:.1f} min{distance}", f"  clock: {log.clock}"]
    lines += [f"  check: {text}" for text in log.concerns] + [""]
    wide = 5 if system == "metric" else 8
    for name, statistic in data.statistics.items():
        low, mean, high = (
            in_usual_unit(name, value, system)[0] for value in (statistic.minimum, statistic.mean, statistic.maximum)
        )
        unit = in_usual_unit(name, 0.0, system)[1]
        lines.append(
            f"  {BY_NAME[name].words:<42} {low:9.1f} to {high:9.1f}  mean {mean:9.2f} {unit:<{wide}}"
            + (f" known {100 * statistic.known_share:.0f} %" if statistic.known_share < 0.995 else "")
        )
    odd = [c for c in log.columns if c.use != "used" or c.note]
    if odd:
        lines += ["", "Columns with something to say:"]
        grouped: dict[str, list[str]] = {}
        for c in odd:
            grouped.setdefault(f"{c.use}{f' — {c.note}' if c.note else ''}", []).append(c.header.strip() or "(no name)")
        lines += [f"  {', '.join(headers)}: {words}" for words, headers in grouped.items()]
    if log.repairs:
        lines += ["", "Repairs:"]
        lines += [f"  {repair.count:>8} × {repair.what}" for repair in log.repairs]
    lines += ["", "Fuel:"]
    if flow.litres is None or flow.mean_l_per_h is None:
        lines.append("  not known from this log:")
        lines += [f"    {reason}" for reason in flow.why_not]
    else:
        used = f"{to_user(flow.litres / 1e3, 'volume', system):.3f} {label('volume', system)}"
        rate = f"{to_user(flow.mean_l_per_h * LITRES_PER_HOUR, 'fuel_flow', system):.2f} {label('fuel_flow', system)}"
        lines.append(
            f"  {used} from {flow.source}: mean {rate}{_economy(data, system)}"
            + (f" (known for {100 * data.fuel.known_share:.1f} % of the time)" if data.fuel.known_share < 0.999 else "")
        )
        lines += [f"    {text}" for text in flow.words]
    if data.engine_power is not None:
        lines.append(f"  engine power, mean {data.engine_power.mean_w / 1000:.2f} kW from {data.engine_power.source}")
    if data.tractive_power is not None:
        lines.append(f"  tractive power, mean {data.tractive_power.mean_w / 1000:.2f} kW")
    for note in log.notes:
        lines.append(f"  note: {note}")
    lines += rate_and_stuck_lines(log)
    return lines
