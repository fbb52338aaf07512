"""Heat capacity and loss of a load as data."""

from __future__ import annotations

from energy.words.result_model import EstimateData, Number, Numbers, ResultModel, said


class ResidualsData(ResultModel):
    """One log against the fit: a number a row."""

    log: str = said("name of the log")
    time_s: Numbers = said("times", "s")
    fitted_degc: Numbers = said("temperature that was fitted", "degC")
    residual_k: Numbers = said("logged less fitted temperature", "K")


class FitLoadData(ResultModel):
    """The fit of all logs together."""

    heat_capacity_j_k: EstimateData | None = said("heat capacity; null without power in the logs", "J/K")
    loss_w_k: EstimateData | None = said("heat loss for each kelvin above ambient; null without power", "W/K")
    time_constant_s: EstimateData = said("heat capacity over loss", "s")
    sensor_lag_s: EstimateData | None = said("how far the thermometer lags; null where it was not fitted", "s")
    level: float = said("level of the intervals", "1")
    separable: bool = said("whether the logs tell capacity and loss apart")
    residual_rms_k: Number = said("root mean square of what the fit misses", "K")
    residual_autocorrelation: Number = said("correlation of what the fit misses from one row to the next", "1")
    correlation: Number = said("correlation of capacity and loss; null without power in the logs", "1")
    rows: int = said("rows that were fitted", "1")
    remarks: list[str] = said("what the logs do not show")
    residuals: list[ResidualsData] = said("each log against the fit")
    scenario_table: str | None = said("the table [load] for the scenario; null where the logs do not give it")
    written: list[str] = said("files that were written")


class FirstCapacityData(ResultModel):
    """A first heat capacity from two readings of a thermometer."""

    heat_capacity_j_k: EstimateData = said("heat capacity", "J/K")
    loss_w_k: EstimateData | None = said("heat loss for each kelvin above ambient; null without a cool-down", "W/K")
    remarks: list[str] = said("what the readings do not show")
    scenario_table: str = said("the table [load] for the scenario")
    written: list[str] = said("files that were written")
