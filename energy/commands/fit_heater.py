"""`windtoll fit heater`: heat capacity and loss of a load from logged warm-ups and cool-downs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.heat.fit import HeaterFit
    from vehicle.quantity import Estimate


@click.command("heater", short_help="Heat capacity and loss of the load, from logged warm-ups and cool-downs.")
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="LOG.csv ...")
@common.units_option
@common.json_option
@click.option(
    "--ambient", metavar='"18 degC"', help="Temperature around the load, for logs without a column ambient_degc."
)
@click.option("--sensor-lag", is_flag=True, help="Also fit how far the thermometer lags behind.")
@click.option(
    "--confidence",
    type=click.FloatRange(50, 99.9),
    default=95.0,
    show_default=True,
    help="What the intervals hold, in percent.",
)
@click.option("--gap", metavar='"60 s"', help="A silence longer than this parts a log (default: five samples, 30 s).")
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE.png",
    help="Draw logged and fitted temperature and what the fit misses (.png, .svg or .html).",
)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="PART.toml", help="Save the table [load] for your scenario."
)
def command(
    logs: tuple[Path, ...], system: UnitSystem, as_json: bool, ambient: str | None, sensor_lag: bool, confidence: float,
    gap: str | None, picture: Path | None, out: Path | None,
) -> None:  # fmt: skip
    """Find the heat capacity and the loss of your load in logs of it warming up and cooling down.

    A log has the columns time_s, temperature_degc, power_w and ambient_degc (other units in the header as well: _min, _degf,
    _kw). Log a warm-up with a wattmeter, then let it cool down with the power off, at least by a third of the way. Several
    logs are fitted together; empty cells and gaps do no harm.

    \b
    Examples:
      windtoll fit heater warm_up.csv --picture fit.png --out part.toml
      windtoll fit heater monday.csv tuesday.csv --ambient "64 degF" --units us
    """
    from energy.heat.fit import fit_heater, read_heater_log
    from energy.pictures import charts

    ambient_k = None if ambient is None else common.read_quantity("--ambient", ambient, "K")
    gap_s = None if gap is None else common.read_quantity("--gap", gap, "s")
    if gap_s is not None and gap_s <= 0:
        raise InputError(Problem("command line", "--gap", f"{gap_s:g} s", "more than 0 s"))
    if picture is not None:
        charts.checked_picture(picture)
    problems: list[Problem] = []
    read = []
    for path in logs:
        try:
            read.append(read_heater_log(path, ambient_k=ambient_k))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    fit = fit_heater(read, sensor_lag=sensor_lag, confidence=confidence / 100, gap_s=gap_s)
    table, refused = _table(fit)
    if out is not None:
        _write(out, table, refused)
    if picture is not None:
        charts.save(charts.residual_chart(fit.residuals, sentence(fit, system), system), picture)
    written = [str(path) for path in (out, picture) if path is not None]
    if as_json:
        common.print_json({**as_data(fit), "scenario_table": table or None, "written": written})
    else:
        _print(fit, table, refused, written, system)


def _table(fit: HeaterFit) -> tuple[str, str]:
    """Return (the scenario table, ""), or ("", why there is none)."""
    from energy.heat.fit import scenario_table
    from energy.heat.steps import HeaterError

    try:
        return scenario_table(fit), ""
    except HeaterError as error:
        return "", str(error)


def _write(path: Path, table: str, refused: str) -> None:
    from vehicle.files import write_whole

    if refused:
        raise InputError(Problem(str(path), "", f"nothing to write: {refused}", "logs that tell capacity and loss"))
    if path.exists():
        raise InputError(
            Problem(str(path), "", "there is such a file already", "a new file name (nothing is overwritten)")
        )
    try:
        write_whole(path, table.encode())
    except OSError as error:
        read = f"cannot be written ({error.strerror})"
        raise InputError(Problem(str(path), "", read, "a new file in an existing folder")) from None


def sentence(fit: HeaterFit, system: UnitSystem) -> str:
    """Return the fit in one sentence."""
    slow = f"time constant {_duration(fit.time_constant_s)}"
    if fit.heat_capacity_j_k is None or fit.loss_w_k is None:
        return f"Without power in the logs only the {slow} can be told."
    return (
        f"Heat capacity {_words(fit.heat_capacity_j_k, 'heat_capacity', system)}, loss {_words(fit.loss_w_k, 'heat_loss', system)}, "
        f"{slow}; {100 * fit.confidence:g} % intervals."
    )


def _words(estimate: Estimate, kind: str, system: UnitSystem) -> str:
    return _ranged(estimate, lambda value, digits: show(value, kind, system, digits=digits))


def _duration(estimate: Estimate) -> str:
    unit, seconds = (
        ("h", 3600.0) if estimate.estimate > 2 * 3600 else ("min", 60.0) if estimate.estimate > 120 else ("s", 1.0)
    )
    return _ranged(estimate, lambda value, digits: f"{figures(value / seconds, digits)} {unit}")


def _ranged(estimate: Estimate, one: Callable[[float, int], str]) -> str:
    """Return "value (low to high)" with as many digits as it takes to tell the ends apart."""
    for digits in (3, 4, 5):
        ends = (estimate.estimate, estimate.low, estimate.high)
        value, low, high = (one(end, digits) for end in ends if end is not None)
        if len({value, low, high}) == 3:
            break
    return f"{value} ({low.partition(' ')[0]} to {high})"


def as_data(fit: HeaterFit) -> dict[str, Any]:
    """Return the fit as data for `--json`, SI."""

    def entry(estimate: Estimate | None) -> dict[str, float | None] | None:
        return None if estimate is None else {"value": estimate.estimate, "low": estimate.low, "high": estimate.high}

    return {
        "heat_capacity_j_k": entry(fit.heat_capacity_j_k),
        "loss_w_k": entry(fit.loss_w_k),
        "time_constant_s": entry(fit.time_constant_s),
        "sensor_lag_s": entry(fit.sensor_lag_s),
        "confidence": fit.confidence,
        "separable": fit.separable,
        "residual_rms_k": fit.residual_rms_k,
        "residual_autocorrelation": fit.autocorrelation,
        "correlation": fit.correlation if fit.heat_capacity_j_k is not None else None,
        "rows": fit.rows,
        "remarks": list(fit.remarks),
        "residuals": [
            {
                "log": part.name,
                "time_s": [round(float(v), 3) for v in part.time_s],
                "fitted_degc": [round(float(v) - 273.15, 4) for v in part.fitted_k],
                "residual_k": [round(float(v), 4) for v in part.residual_k],
            }
            for part in fit.residuals
        ],
    }


def _print(fit: HeaterFit, table: str, refused: str, written: list[str], system: UnitSystem) -> None:
    from energy.words.heat import duration_words

    out = common.console()
    out.print(sentence(fit, system), style="bold")
    rows = [
        ("logs", ", ".join(f"{part.name} ({duration_words(float(part.time_s[-1] - part.time_s[0]))})" for part in fit.residuals)),
        ("rows fitted", str(fit.rows)),
        ("the fit misses the thermometer by", f"{show(fit.residual_rms_k, 'temperature_difference', system, digits=2)} (root mean square)"),
    ]  # fmt: skip
    if fit.sensor_lag_s is not None:
        rows.append(("the thermometer lags by", _duration(fit.sensor_lag_s)))
    common.heading(out, "The fit")
    common.pairs(out, rows)
    if fit.remarks:
        common.heading(out, "What the logs cannot tell")
        common.bullets(out, list(fit.remarks))
    common.heading(out, "For the scenario (capacity and loss with what was in it during the log)")
    click.echo(table or f"none: {refused}")
    for path in written:
        out.print(f"Saved: {path}", soft_wrap=True)
    common.heading(out, "Cautions")
    common.bullets(out, [
        "One temperature and a straight-line loss are assumed: put the thermometer where it matters, stir water, and fit "
        "again with the load mounted as it travels.",
        "Hot surfaces burn and water scalds while you log: never leave it unattended, and keep thermostat and relief valve in.",
    ])  # fmt: skip
