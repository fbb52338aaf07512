"""`windtoll read`: what is in a log, what was mended, and how much fuel it says."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.read import all_data, as_data, in_words
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from vehicle.logs.fuel_flow import FuelFlow, LoggedEngine
    from vehicle.logs.log import Log


@dataclass(frozen=True)
class ReadOptions:
    """What the command line gives; see the options."""

    logs: tuple[Path, ...]
    displacement: str | None
    fuel_name: str | None
    volumetric_efficiency: float | None
    receipt: str | None
    source: str | None
    columns: tuple[str, ...]
    manifest: Path | None
    out: Path | None
    system: UnitSystem
    force: bool
    as_json: bool


@click.command("read")
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--displacement", help='Swept volume of the engine, e.g. "1.6 L"; needed where fuel comes from pressure.')
@click.option("--fuel", "fuel_name", help="petrol (default), e10, diesel or lpg.")
@click.option("--volumetric-efficiency", type=float, help="Filling of the cylinders, e.g. 0.8 (optional).")
@click.option("--receipt", help='Calibrate the filling to a fill-up: "41.3 L / 620 km" ("11 gal / 385 mile").')
@click.option(
    "--source",
    type=click.Choice(["fuel rate", "fuel mass flow", "air flow", "speed-density"]),
    help="Insist on one source of fuel instead of the best.",
)
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="HEADER=PARAMETER",
    help='What a column is: "Spd2=vehicle speed (mph)", "X=ignore". May be repeated.',
)
@click.option(
    "--manifest", type=click.Path(path_type=Path), help="Take vehicle, engine and columns from this TOML file."
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write the tidy table (SI, quality flags) to this CSV file."
)
@common.units_option
@common.force_option
@common.json_option
@common.taken_as(ReadOptions)
def command(chosen: ReadOptions) -> None:
    """Show what is in any engine log: columns, units, repairs, distance, fuel.

    Reads CSV with comma, semicolon or tab, one column a parameter or (time; parameter; value; unit) rows. Nothing in
    the log is changed. Reading a log is for the desk: never work a laptop or phone while driving.
    """
    from vehicle.files import checked_output, read_by_run, write_output
    from vehicle.logs.read import read_log
    from vehicle.problems import InputError, Problem
    from vehicle.road_test.call_sheet import has_entries
    from vehicle.road_test.read import present

    engine, overrides, mass, road_load = _known(
        chosen.manifest, chosen.displacement, chosen.fuel_name, chosen.volumetric_efficiency, chosen.columns
    )
    if chosen.out is not None and len(chosen.logs) > 1:
        raise InputError(Problem("--out", "", f"{len(chosen.logs)} logs", "one log at a time"))
    inputs = read_by_run(*chosen.logs, chosen.manifest)
    if chosen.out is not None:
        checked_output(chosen.out, inputs, force=chosen.force)
    read: list[Log] = []
    sheets: list[list[str]] = []
    problems: list[Problem] = []
    typed = {
        text.partition("=")[0].strip() for text in chosen.columns
    }  # must fit; the manifest's table serves several logs
    for path in chosen.logs:
        try:
            if has_entries(path):
                sheets.append(_sheet(path, as_json=chosen.as_json))
                continue
            fitting = present(path, overrides, typed) if overrides else {}
            read.append(read_log(path, fitting, where=str(chosen.manifest) if chosen.manifest else "--column"))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    if sheets and chosen.out is not None:
        raise InputError(Problem("--out", "", "a call sheet", "an engine log: a call sheet is a table already"))
    if chosen.receipt:
        engine = replace(engine, volumetric_efficiency=_calibrated(chosen.receipt, read, engine))
    calibrated = engine.volumetric_efficiency if chosen.receipt else None
    answers = [as_data(log, engine, chosen.source, mass, road_load, calibrated) for log in read]
    if chosen.out is not None:
        write_output(chosen.out, _tidy(read[0], answers[0][1]), inputs, force=chosen.force)
    if chosen.as_json:
        common.print_json(all_data([data for data, _ in answers]))
        return
    for lines in sheets:
        click.echo("\n".join(lines))
    for log, (data, flow) in zip(read, answers, strict=True):
        common.lines(common.console(), in_words(log, data, flow, chosen.system))
    if chosen.receipt:
        click.echo(
            f"\nCalibrated to the receipt: volumetric_efficiency = {engine.volumetric_efficiency:.3f} "
            "(put it under [engine] in the manifest)."
        )
    if chosen.out is not None:
        click.echo(f"\nTidy table written to {chosen.out}.")


def _sheet(path: Path, *, as_json: bool) -> list[str]:
    """Return what a passenger's call sheet holds, entry by entry of its settings or runs."""
    from energy.words.call_sheet import entry_words
    from vehicle.logs.join import read_log_text
    from vehicle.problems import InputError, Problem

    if as_json:
        raise InputError(Problem(path.name, "--json", "a call sheet", "an engine log; a call sheet is a table already"))
    return entry_words(read_log_text(path))


def _known(
    manifest: Path | None,
    displacement: str | None,
    fuel_name: str | None,
    efficiency: float | None,
    columns: tuple[str, ...],
) -> tuple[LoggedEngine, dict[str, str], float | None, tuple[float, float, float] | None]:
    from vehicle.logs.fuel_flow import LoggedEngine, fuel_named
    from vehicle.problems import InputError, Problem, shown
    from vehicle.units import QuantityError, parse

    engine, overrides, mass, load = LoggedEngine(), {}, None, None
    if manifest is not None:
        from vehicle.road_test.run_list import read_manifest

        declared = read_manifest(manifest, needs_runs=False)
        engine, overrides, mass, load = declared.engine, dict(declared.columns), declared.mass_kg, declared.road_load
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


def _calibrated(receipt: str, logs: list[Log], engine: LoggedEngine) -> float:
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


def _tidy(log: Log, flow: FuelFlow) -> bytes:
    """Return the tidy table of a log as CSV."""
    from vehicle.logs.columns import BY_NAME

    shares = {name: f"{name}_fraction" for name, parameter in BY_NAME.items() if parameter.kind == "fraction"}
    table = log.table.assign(fuel_flow_m3_s=flow.flow_m3_s).rename(columns=shares)  # units in every name
    return bytes(table.to_csv(index=False).encode())
