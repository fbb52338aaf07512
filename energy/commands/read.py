"""`windtoll read`: what is in a log, what was mended, and how much fuel it says."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from vehicle.logs.fuel_flow import Engine, FuelFlow
    from vehicle.logs.read import Log


@click.command("read")
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--displacement", help='Swept volume of the engine, e.g. "1.6 L"; needed where fuel comes from pressure.')
@click.option("--fuel", "fuel_name", help="petrol (default), e10, diesel or lpg.")
@click.option("--volumetric-efficiency", type=float, help="Filling of the cylinders, e.g. 0.8, where it is known.")
@click.option("--receipt", help='Calibrate the filling to a fill-up: "41.3 L / 620 km" ("11 gal / 385 mile").')
@click.option("--source", type=click.Choice(["fuel rate", "fuel mass flow", "air flow", "speed-density"]),
              help="Insist on one source of fuel instead of the best.")  # fmt: skip
@click.option("--column", "columns", multiple=True, metavar="HEADER=PARAMETER",
              help='What a column is: "Spd2=vehicle speed (mph)", "X=ignore". May be repeated.')  # fmt: skip
@click.option(
    "--manifest", type=click.Path(path_type=Path), help="Take vehicle, engine and columns from this TOML file."
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write the tidy table (SI, quality flags) to this CSV file."
)
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
def command(
    logs: tuple[Path, ...], displacement: str | None, fuel_name: str | None, volumetric_efficiency: float | None,
    receipt: str | None, source: str | None, columns: tuple[str, ...], manifest: Path | None, out: Path | None,
    as_json: bool,
) -> None:  # fmt: skip
    """Show what is in any engine log: columns, units, repairs, distance, fuel.

    Reads CSV with comma, semicolon or tab, one column a parameter or (time; parameter; value; unit) rows. Nothing in
    the log is changed. Reading a log is for the desk: never work a laptop or phone while driving.
    """
    from vehicle.logs.read import read_log
    from vehicle.problems import InputError, Problem
    from vehicle.road_test.read import present

    engine, overrides, mass, road_load = _known(manifest, displacement, fuel_name, volumetric_efficiency, columns)
    if out is not None and len(logs) > 1:
        raise InputError(Problem("--out", "", f"{len(logs)} logs", "one log at a time"))
    read: list[Log] = []
    problems: list[Problem] = []
    typed = {text.partition("=")[0].strip() for text in columns}  # must fit; the manifest's table serves several logs
    for path in logs:
        try:
            fitting = present(path, overrides, typed) if overrides else {}
            read.append(read_log(path, fitting, where=str(manifest) if manifest else "--column"))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    if receipt:
        engine = replace(engine, volumetric_efficiency=_calibrated(receipt, read, engine))
    answers = [_answer(log, engine, source, mass, road_load) for log in read]
    if receipt:
        for data, _ in answers:
            data["fuel"]["calibrated_volumetric_efficiency"] = engine.volumetric_efficiency
    if out is not None:
        _write(out, read[0], answers[0][1])
    if as_json:
        found = [data for data, _ in answers]
        click.echo(json.dumps(found[0] if len(found) == 1 else {"logs": found}, indent=2, allow_nan=False))
        return
    for log, (data, flow) in zip(read, answers, strict=True):
        click.echo("\n".join(_words(log, data, flow)))
    if receipt:
        click.echo(f"\nCalibrated to the receipt: volumetric_efficiency = {engine.volumetric_efficiency:.3f} "
                   "(put it under [engine] in the manifest).")  # fmt: skip
    if out is not None:
        click.echo(f"\nTidy table written to {out}.")


def _known(
    manifest: Path | None, displacement: str | None, fuel_name: str | None, efficiency: float | None,
    columns: tuple[str, ...],
) -> tuple[Engine, dict[str, str], float | None, tuple[float, float, float] | None]:  # fmt: skip
    from vehicle.logs.fuel_flow import Engine, fuel_named
    from vehicle.problems import InputError, Problem, shown
    from vehicle.units import QuantityError, parse

    engine, overrides, mass, load = Engine(), {}, None, None
    if manifest is not None:
        from vehicle.road_test.manifest import read_manifest

        found = read_manifest(manifest, needs_runs=False)
        engine, overrides, mass, load = found.engine, dict(found.columns), found.mass_kg, found.road_load
    if displacement is not None:
        accepted = '0.05-30 L, such as "1.6 L"'
        try:
            volume = parse(displacement, "m**3")
        except QuantityError as error:
            raise InputError(Problem("--displacement", "", str(error), accepted)) from None
        if not 5e-5 <= volume <= 0.03:
            raise InputError(Problem("--displacement", "", displacement, accepted))
        engine = replace(engine, displacement_m3=volume)
    if fuel_name is not None:
        engine = replace(engine, fuel=fuel_named(fuel_name))
    if efficiency is not None:
        if not 0.2 <= efficiency <= 2.0:
            raise InputError(Problem("--volumetric-efficiency", "", f"{efficiency:g}", "0.2-2, such as 0.8"))
        engine = replace(engine, volumetric_efficiency=efficiency)
    for text in columns:
        header, equals, parameter = text.partition("=")
        if not equals or not header.strip():
            raise InputError(Problem("--column", "", shown(text), '"HEADER=vehicle speed (km/h)"'))
        overrides[header.strip()] = parameter.strip()
    return engine, overrides, mass, load


def _calibrated(receipt: str, logs: list[Log], engine: Engine) -> float:
    from vehicle.logs.fuel_flow import calibrated_efficiency
    from vehicle.problems import InputError, Problem
    from vehicle.units import QuantityError, parse

    volume, slash, way = receipt.partition("/")
    try:
        if not slash:
            raise QuantityError(f"{receipt!r} has no distance")
        litres, metres = parse(volume, "m**3") * 1e3, parse(way, "m")
    except QuantityError as error:
        raise InputError(Problem("--receipt", "", str(error), '"41.3 L / 620 km"')) from None
    if litres <= 0 or metres <= 0:
        raise InputError(Problem("--receipt", "", receipt, '"41.3 L / 620 km", both above zero'))
    return calibrated_efficiency(logs, engine, litres, metres)


def _answer(
    log: Log, engine: Engine, source: str | None, mass: float | None, road_load: tuple[float, float, float] | None
) -> tuple[dict[str, Any], FuelFlow]:  # fmt: skip
    import numpy as np

    from energy.words.log_quality import rate_and_stuck_data
    from vehicle.logs.fuel_flow import acceleration_m_s2, brake_power_w, fuel_flow, tractive_power_w
    from vehicle.logs.read import Quality

    flow = fuel_flow(log, engine, source=source)
    distance = log.distance_m
    data: dict[str, Any] = {
        "file": log.name,
        "rows": log.rows,
        "duration_s": log.duration_s,
        "distance_km": None if distance is None else distance / 1000,
        "clock": log.clock,
        "columns": [
            {"header": c.header.strip(), "parameter": c.parameter if c.use == "used" else "", "unit": c.unit,
             "unit_from": c.unit_from, "use": c.use, "note": c.note} for c in log.columns
        ],
        "repairs": [repair.as_dict() for repair in log.repairs],
        "flagged_rows": {flag.name: int(log.flagged(flag).sum()) for flag in Quality if flag.name},
        "fuel": flow.as_dict(),
        "notes": list(log.notes),
        "statistics": _statistics(log),
    }  # fmt: skip
    if distance and flow.litres is not None and distance > 500:
        data["fuel"]["l_per_100_km"] = flow.litres / distance * 1e5
    power = brake_power_w(log)
    if power is not None and np.isfinite(power[0]).any():
        data["engine_power"] = {"mean_w": float(np.nanmean(power[0])), "source": power[1]}
    if mass is not None and road_load is not None and "speed_m_s" in log.table:
        grade = log.table["grade"].to_numpy() if "grade" in log.table else 0.0
        tractive = tractive_power_w(log.table["speed_m_s"].to_numpy(), acceleration_m_s2(log), grade, mass, road_load)
        if np.isfinite(tractive).any():
            data["tractive_power"] = {
                "mean_w": float(np.nanmean(tractive)),
                "mean_positive_w": float(np.nanmean(np.maximum(tractive, 0.0))),
            }
    data |= rate_and_stuck_data(log)
    return data, flow


def _statistics(log: Log) -> dict[str, dict[str, float]]:
    import numpy as np

    out = {}
    for name in log.table.columns:
        if name in ("time_s", "step_s", "quality"):
            continue
        numbers = log.table[name].to_numpy()
        good = numbers[np.isfinite(numbers)]
        if good.size:
            out[str(name)] = {"low": float(good.min()), "mean": float(good.mean()), "high": float(good.max()),
                              "known_share": float(good.size / numbers.size)}  # fmt: skip
    return out


def _write(out: Path, log: Log, flow: FuelFlow) -> None:
    import os
    import tempfile

    from vehicle.logs.columns import BY_NAME
    from vehicle.problems import InputError, Problem

    shares = {name: f"{name}_fraction" for name, parameter in BY_NAME.items() if parameter.kind == "fraction"}
    table = log.table.assign(fuel_flow_m3_s=flow.flow_m3_s).rename(columns=shares)  # units in every name
    handle, name = None, ""
    try:
        handle, name = tempfile.mkstemp(dir=out.parent, suffix=".part")
        os.close(handle)
        table.to_csv(name, index=False)
        os.replace(name, out)  # whole or not at all
    except OSError as error:
        if name and os.path.exists(name):
            os.unlink(name)
        raise InputError(
            Problem(str(out), "", f"cannot be written ({error.strerror})", "a folder that exists")
        ) from None


_SHOWN = {  # tidy column -> factor, offset and unit for the eye
    "speed_m_s": (3.6, 0.0, "km/h"), "gps_speed_m_s": (3.6, 0.0, "km/h"), "engine_speed_rad_s": (9.549297, 0.0, "rpm"),
    "air_flow_kg_s": (1e3, 0.0, "g/s"), "manifold_pressure_pa": (1e-3, 0.0, "kPa"), "rotor_speed_rad_s": (9.549297,
    0.0, "rpm"),
    "barometric_pressure_pa": (1e-3, 0.0, "kPa"), "fuel_rate_m3_s": (3.6e6, 0.0, "L/h"), "run_time_s": (1.0, 0.0, "s"),
    "fuel_mass_flow_kg_s": (1e3, 0.0, "g/s"), "commanded_equivalence_ratio": (1.0, 0.0, ""),
    "reference_torque_n_m": (1.0, 0.0, "N·m"), "control_module_voltage_v": (1.0, 0.0, "V"), "altitude_m": (1.0, 0.0,
    "m"),
    "latitude_deg": (1.0, 0.0, "°"), "longitude_deg": (1.0, 0.0, "°"), "head_wind_m_s": (1.0, 0.0, "m/s"),
    "electrical_power_w": (1.0, 0.0, "W"), "brake": (1.0, 0.0, ""),
}  # fmt: skip


def in_usual_unit(name: str, value: float) -> tuple[float, str]:
    """Return a value of a tidy column (SI) in the unit that drivers read it in, and that unit."""
    factor, offset, unit = _SHOWN.get(name) or ((1.0, -273.15, "°C") if name.endswith("_k") else (100.0, 0.0, "%"))
    return value * factor + offset, unit


def _words(log: Log, data: dict[str, Any], flow: FuelFlow) -> list[str]:
    from energy.words.log_quality import rate_and_stuck_lines
    from vehicle.logs.columns import BY_NAME

    distance = "" if data["distance_km"] is None else f", {data['distance_km']:.2f} km"
    lines = [f"{log.name}: {log.rows} rows over {log.duration_s / 60:.1f} min{distance}", f"  clock: {log.clock}", ""]
    for name, found in data["statistics"].items():
        low, mean, high = (in_usual_unit(name, found[key])[0] for key in ("low", "mean", "high"))
        unit = in_usual_unit(name, 0.0)[1]
        lines.append(
            f"  {BY_NAME[name].words:<42} {low:9.1f} … {high:9.1f}  mean {mean:9.2f} {unit:<5}"
            + (f" known {100 * found['known_share']:.0f} %" if found["known_share"] < 0.995 else "")
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
        lines.append("  cannot be told from this log:")
        lines += [f"    {reason}" for reason in flow.why_not]
    else:
        per = data["fuel"].get("l_per_100_km")
        lines.append(f"  {flow.litres:.3f} L from {flow.source}: mean {flow.mean_l_per_h:.2f} L/h"
                     + (f", {per:.2f} L/100 km" if per else "")
                     + (f" (known for {100 * data['fuel']['known_share']:.1f} % of the time)"
                        if data["fuel"]["known_share"] < 0.999 else ""))  # fmt: skip
        lines += [f"    {text}" for text in flow.words]
    if "engine_power" in data:
        lines.append(
            f"  engine power, mean {data['engine_power']['mean_w'] / 1000:.2f} kW from {data['engine_power']['source']}"
        )
    if "tractive_power" in data:
        lines.append(f"  tractive power, mean {data['tractive_power']['mean_w'] / 1000:.2f} kW")
    lines += rate_and_stuck_lines(log)
    for note in log.notes:
        lines.append(f"  note: {note}")
    return lines
