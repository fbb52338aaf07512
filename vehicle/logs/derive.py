"""What a log gives in another form: boost above the barometer as manifold pressure, fuel for a distance as a flow."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vehicle.constants import SEA_LEVEL_PRESSURE_PA
from vehicle.logs.columns import Column
from vehicle.logs.log import Draft

_LEAST_SPEED_M_S = 1.5  # slower, fuel for a distance says nothing of the flow


def derive(columns: Sequence[Column], draft: Draft) -> list[str]:
    """Put manifold pressure and fuel rate into a draft where other columns give them; return what was assumed.

    What they were calculated from leaves the draft: it is no column of the tidy table.
    """
    values = draft.values
    said = []
    boost = values.pop("boost_pa", None)
    if boost is not None and "manifold_pressure_pa" not in values:
        air = values.get("barometric_pressure_pa")
        known = air is not None and bool(np.isfinite(air).any())
        barometer = float(np.nanmedian(air)) if air is not None and known else SEA_LEVEL_PRESSURE_PA
        values["manifold_pressure_pa"] = np.where(boost + barometer > 0, boost + barometer, np.nan)
        source = "of the log" if known else "of 1013 hPa (not in the log; 3 % less for each 250 m of altitude)"
        said.append(f"manifold pressure is boost plus a barometer {source}")
    economy, consumption = values.pop("economy_m_m3", None), values.pop("consumption_m3_m", None)
    if (economy is None and consumption is None) or {"fuel_rate_m3_s", "fuel_mass_flow_kg_s"} & set(values):
        return said
    if "speed_m_s" not in values:
        return [*said, "fuel for a distance is in the log, but no speed to make a flow of it"]
    speed = np.where(values["speed_m_s"] >= _LEAST_SPEED_M_S, values["speed_m_s"], np.nan)
    if economy is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            values["fuel_rate_m3_s"] = np.where(economy > 0, speed / economy, np.nan)
        column = next(c for c in columns if c.parameter == "economy_m_m3" and c.use == "used")
        open_ = column.unit.strip().lower() in ("", "mpg")
        gallon = "; US gallons taken, imperial ones (mpg UK) would be 20 % more fuel" if open_ else ""
        said.append(f"fuel rate is speed over {column.unit or 'economy'}{gallon}; unknown under 5 km/h")
    elif consumption is not None:
        values["fuel_rate_m3_s"] = speed * consumption
        said.append("fuel rate is speed times fuel for a distance; unknown under 5 km/h")
    return said
