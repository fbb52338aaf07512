"""`windtoll fit load`: heat capacity and loss of a load from logged warm-ups and cool-downs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from energy.commands import common
from energy.words.fit import CAUTIONS, FOR_THE_SCENARIO, as_data, first_data, first_sentence, fit_rows, sentence
from vehicle.problems import InputError, Problem
from vehicle.typed import read_quantity
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.heat.fit import HeaterFit


@dataclass(frozen=True)
class FitLoadOptions:
    """What the command line gives; see the options."""

    logs: tuple[Path, ...]
    spoken: tuple[str, ...]
    system: UnitSystem
    as_json: bool
    ambient: str | None
    sensor_lag: bool
    level: float
    gap: str | None
    picture: Path | None
    out: Path | None
    force: bool


@click.command("load", short_help="Heat capacity and loss of the load, from logged warm-ups and cool-downs.")
@click.argument("logs", nargs=-1, type=click.Path(path_type=Path), metavar="[LOG.csv ...]")
@click.option(
    "--reading",
    "spoken",
    multiple=True,
    metavar='"77 degF to 187 degF in 6 minutes at about 2 kW"',
    help="Instead of a log: two temperatures, the time between, the watts or 'with the power off'. May be repeated.",
)
@common.units_option
@common.json_option
@click.option(
    "--ambient", metavar='"18 degC"', help="Temperature around the load, for logs without a column ambient_degc."
)
@click.option("--sensor-lag", is_flag=True, help="Also fit how far the thermometer lags behind.")
@click.option(
    "--level",
    type=click.FloatRange(50, 99.9),
    default=95.0,
    show_default=True,
    help="Level of the intervals, %.",
)
@click.option("--gap", metavar='"60 s"', help="A gap longer than this splits the log (default: five samples, 30 s).")
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE.png",
    help="Draw logged and fitted temperature and what the fit misses (.png, .svg or .html).",
)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="PART.toml", help="Save the table [load] for your scenario."
)
@common.force_option
@common.taken_as(FitLoadOptions)
def command(chosen: FitLoadOptions) -> None:
    """Find the heat capacity and the loss of your load in logs of it warming up and cooling down.

    A log has the columns time_s, temperature_degc, power_w and ambient_degc (other units in the header as well: _min,
    _degf, _kw). Log a warm-up with a wattmeter, then let it cool down with the power off, at least by a third of the
    way. Several logs are fitted together; empty cells and gaps do no harm.

    \b
    Examples:
      windtoll fit load warm_up.csv --picture fit.png --out part.toml
      windtoll fit load monday.csv tuesday.csv --ambient "64 degF" --units us
      windtoll fit load --reading "77 degF to 187 degF in 6 minutes at about 2 kW"
    """
    from energy.heat.fit import fit_heater, read_heater_log
    from energy.pictures.base import checked_picture, save
    from energy.pictures.heat import residual_chart
    from vehicle.files import check_apart, checked_output

    ambient_k = None if chosen.ambient is None else read_quantity("--ambient", chosen.ambient, "K")
    gap_s = None if chosen.gap is None else read_quantity("--gap", chosen.gap, "s")
    if gap_s is not None and gap_s <= 0:
        raise InputError(Problem("command line", "--gap", f"{gap_s:g} s", "more than 0 s"))
    _check_choice(chosen.logs, chosen.spoken, chosen.picture)
    check_apart({"--out": chosen.out, "--picture": chosen.picture})
    if chosen.out is not None:
        checked_output(chosen.out, chosen.logs, force=chosen.force)
    if chosen.spoken:
        _of_readings(
            chosen.spoken, ambient_k, chosen.out, as_json=chosen.as_json, force=chosen.force, system=chosen.system
        )
        return
    if chosen.picture is not None:
        checked_picture(chosen.picture, chosen.logs, force=chosen.force)
    problems: list[Problem] = []
    read = []
    for path in chosen.logs:
        try:
            read.append(read_heater_log(path, ambient_k=ambient_k))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    fit = fit_heater(read, sensor_lag=chosen.sensor_lag, level=chosen.level / 100, gap_s=gap_s)
    table, refused = _table(fit)
    if chosen.out is not None:
        _write(chosen.out, table, refused, chosen.logs, chosen.force)
    if chosen.picture is not None:
        save(
            residual_chart(fit.residuals, sentence(fit, chosen.system), chosen.system),
            chosen.picture,
            chosen.logs,
            force=chosen.force,
        )
    written = [str(path) for path in (chosen.out, chosen.picture) if path is not None]
    if chosen.as_json:
        common.print_json(as_data(fit, table or None, written))
    else:
        _print(fit, table, refused, written, chosen.system)


def _check_choice(logs: tuple[Path, ...], spoken: tuple[str, ...], picture: Path | None) -> None:
    """Raise InputError unless there are logs or readings, and a picture only of logs."""
    from energy.heat.two_readings import ACCEPTED

    if bool(logs) == bool(spoken):
        read = "logs and --reading together" if logs else "neither a log nor --reading"
        raise InputError(Problem("command line", "", read, f"LOG.csv, or --reading {ACCEPTED}"))
    if spoken and picture is not None:
        raise InputError(Problem("command line", "--picture", "given with --reading", "a log to draw"))


def _of_readings(
    spoken: tuple[str, ...],
    ambient_k: float | None,
    out: Path | None,
    *,
    as_json: bool,
    force: bool,
    system: UnitSystem,
) -> None:
    from energy.heat.two_readings import first_capacity, read_spell, scenario_lines
    from vehicle.files import write_output

    capacity = first_capacity([read_spell(text) for text in spoken], ambient_k)
    table = scenario_lines(capacity)
    if out is not None:
        write_output(out, table.encode(), (), force=force)
    written = [] if out is None else [str(out)]
    if as_json:
        common.print_json(first_data(capacity, table, written))
        return
    console = common.console()
    console.print(first_sentence(capacity, system), style="bold")
    common.bullets(console, capacity.remarks)
    common.heading(console, FOR_THE_SCENARIO)
    click.echo(table)
    for path in written:
        console.print(f"Saved: {path}", soft_wrap=True)
    common.heading(console, "Cautions")
    common.bullets(console, CAUTIONS)


def _table(fit: HeaterFit) -> tuple[str, str]:
    """Return (the scenario table, ""), or ("", why there is none)."""
    from energy.heat.fit import scenario_table
    from energy.heat.steps import HeaterError

    try:
        return scenario_table(fit), ""
    except HeaterError as error:
        return "", str(error)


def _write(path: Path, table: str, refused: str, logs: tuple[Path, ...], force: bool) -> None:
    from vehicle.files import write_output

    if refused:
        raise InputError(Problem(str(path), "", f"nothing to write: {refused}", "logs that show capacity and loss"))
    write_output(path, table.encode(), logs, force=force)


def _print(fit: HeaterFit, table: str, refused: str, written: list[str], system: UnitSystem) -> None:
    out = common.console()
    out.print(sentence(fit, system), style="bold")
    common.heading(out, "The fit")
    common.pairs(out, fit_rows(fit, system))
    if fit.remarks:
        common.heading(out, "What the logs do not show")
        common.bullets(out, list(fit.remarks))
    common.heading(out, FOR_THE_SCENARIO)
    click.echo(table or f"none: {refused}")
    for path in written:
        out.print(f"Saved: {path}", soft_wrap=True)
    common.heading(out, "Cautions")
    common.bullets(out, CAUTIONS)
