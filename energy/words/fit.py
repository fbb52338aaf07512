"""Heat capacity and loss of a load from its logs: sentence, rows and data."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from vehicle.constants import ZERO_CELSIUS_K
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.heat.fit import HeaterFit
    from energy.heat.two_readings import FirstCapacity
    from vehicle.quantity import Estimate


def sentence(fit: HeaterFit, system: UnitSystem) -> str:
    """Return the fit in one sentence."""
    slow = f"time constant {duration(fit.time_constant_s)}"
    if fit.heat_capacity_j_k is None or fit.loss_w_k is None:
        return f"Without power in the logs only the {slow} can be calculated."
    return (
        f"Heat capacity {_quantity_words(fit.heat_capacity_j_k, 'heat_capacity', system)}, loss "
        f"{_quantity_words(fit.loss_w_k, 'heat_loss', system)}, "
        f"{slow}; {100 * fit.level:g} % intervals."
    )


def first_sentence(capacity: FirstCapacity, system: UnitSystem) -> str:
    """Return what two readings give, in one sentence."""
    text = f"Heat capacity about {_quantity_words(capacity.heat_capacity_j_k, 'heat_capacity', system)}, a first value"
    if capacity.loss_w_k is not None:
        text += f"; loss about {_quantity_words(capacity.loss_w_k, 'heat_loss', system)}"
    return f"{text}; 95 % intervals." if capacity.loss_w_k is not None else f"{text}; 95 % interval."


def first_data(capacity: FirstCapacity, table: str, written: list[str]) -> dict[str, Any]:
    """Return what two readings give as data for `--json`, SI."""
    from energy.words.fit_model import FirstCapacityData
    from energy.words.result_model import estimate_data

    return FirstCapacityData(
        heat_capacity_j_k=estimate_data(capacity.heat_capacity_j_k),
        loss_w_k=None if capacity.loss_w_k is None else estimate_data(capacity.loss_w_k),
        remarks=list(capacity.remarks),
        scenario_table=table,
        written=written,
    ).model_dump()


def _quantity_words(estimate: Estimate, kind: str, system: UnitSystem) -> str:
    return _ranged(estimate, lambda value, digits: show(value, kind, system, digits=digits))


def duration(estimate: Estimate) -> str:
    """Return a fitted time with its interval, as text."""
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


def as_data(fit: HeaterFit, scenario_table: str | None, written: Sequence[str]) -> dict[str, Any]:
    """Return the fit as data for `--json`, SI."""
    from energy.words.fit_model import FitLoadData, ResidualsData
    from energy.words.result_model import EstimateData, estimate_data

    def entry(estimate: Estimate | None) -> EstimateData | None:
        return None if estimate is None else estimate_data(estimate)

    return FitLoadData(
        heat_capacity_j_k=entry(fit.heat_capacity_j_k),
        loss_w_k=entry(fit.loss_w_k),
        time_constant_s=estimate_data(fit.time_constant_s),
        sensor_lag_s=entry(fit.sensor_lag_s),
        level=fit.level,
        separable=fit.separable,
        residual_rms_k=fit.residual_rms_k,
        residual_autocorrelation=fit.autocorrelation,
        correlation=fit.correlation if fit.heat_capacity_j_k is not None else None,
        rows=fit.rows,
        remarks=list(fit.remarks),
        residuals=[
            ResidualsData(
                log=part.name,
                time_s=[round(float(v), 3) for v in part.time_s],
                fitted_degc=[round(float(v) - ZERO_CELSIUS_K, 4) for v in part.fitted_k],
                residual_k=[round(float(v), 4) for v in part.residual_k],
            )
            for part in fit.residuals
        ],
        scenario_table=scenario_table,
        written=list(written),
    ).model_dump()


FOR_THE_SCENARIO = "For the scenario (capacity and loss with what was in it during the log)"
CAUTIONS = (
    "One temperature and a straight-line loss are assumed: put the thermometer where it matters, stir water, and fit "
    "again with the load mounted as it travels.",
    "Hot surfaces burn and water scalds while you log: never leave it unattended, and keep thermostat and relief valve "
    "in.",
)


def fit_rows(fit: HeaterFit, system: UnitSystem) -> list[tuple[str, str]]:
    """Return what was fitted and how well, as (name, text)."""
    from energy.words.heat import duration_words

    logs = [f"{part.name} ({duration_words(float(part.time_s[-1] - part.time_s[0]))})" for part in fit.residuals]
    missed = show(fit.residual_rms_k, "temperature_difference", system, digits=2)
    rows = [
        ("logs", ", ".join(logs)),
        ("rows fitted", str(fit.rows)),
        ("the fit misses the thermometer by", f"{missed} (root mean square)"),
    ]
    if fit.sensor_lag_s is not None:
        rows.append(("the thermometer lags by", duration(fit.sensor_lag_s)))
    return rows
