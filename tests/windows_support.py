"""Logs and runs of a road test made from arrays, for tests that recompute by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from vehicle.logs.fuel_flow import FuelFlow
from vehicle.logs.log import Log
from vehicle.road_test.windows import COVARIATES, RunWindows


def a_log(name: str = "a.csv", rows: int = 60, step_s: float = 1.0, **columns: Any) -> Log:
    """Return a log of evenly spaced rows; columns are those of a tidy table, a number for all rows or an array."""
    more = {key: columns.pop(key) for key in ("states", "checks", "repairs", "wall_start_s") if key in columns}
    table = pd.DataFrame({"time_s": np.arange(rows) * step_s, "step_s": np.full(rows, step_s), "quality": 0})
    return Log(name, table.assign(**columns), (), more.pop("repairs", ()), (), "time", **more)


def a_flow(flow_m3_s: np.ndarray, source: str = "fuel rate") -> FuelFlow:
    """Return a fuel flow row by row."""
    return FuelFlow(flow_m3_s, np.zeros(flow_m3_s.size, bool), source, (), (), None, 0.0, 0.0)


def a_run(
    name: str,
    state: str = "stowed",
    pair: str = "",
    *,
    fuel: Any = 2e-6,
    weight_s: Any = (10.0,) * 6,
    load: Any = 0.4,
    means: dict[str, float] | None = None,
    **more: Any,
) -> RunWindows:
    """Return a run of windows; covariates by name in `more` (with _ for -), as what else is set."""
    weight = np.asarray(weight_s, float)
    more = {"speed": 25.0, "acceleration": 0.0, **more}  # every log with a speed has these
    columns = [np.broadcast_to(more.pop(key.replace("-", "_"), np.nan), weight.shape) for key in COVARIATES]
    given = {"speed_m_s": 25.0, "temperature_k": 288.0, "head_wind_m_s": np.nan, "coolant_k": 361.0, "standing_s": 0.0}
    values: dict[str, Any] = {
        "name": name,
        "state": state,
        "pair": pair,
        "direction": "",
        "date": "",
        "weight_s": weight,
        "fuel_m3_s": np.broadcast_to(np.asarray(fuel, float), weight.shape),
        "load": np.broadcast_to(np.asarray(load, float), weight.shape),
        "covariates": np.column_stack(columns),
        "filters": (),
        "rows": 60,
        "kept_rows": 60,
        "source": "fuel rate",
        "means": given | (means or {}),
    }
    return RunWindows(**(values | more))
