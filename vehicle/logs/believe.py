"""What a column of a log holds: cells to numbers, numbers to SI, and which of them can be believed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from vehicle.csv_text import WITH_UNIT, numbers_of
from vehicle.logs.columns import BY_NAME, Column, LoggedParameter, unit_factor
from vehicle.logs.log import Quality, Repairs

if TYPE_CHECKING:
    import pandas as pd

RPM_RAD_S = 2 * np.pi / 60
_MOST_UNBELIEVABLE = 0.3  # share of cells out of range above which a column is not what its name says
_SAMPLE = 400


def units_in_cells(cells: pd.Series, kind: str, decimal: str) -> tuple[pd.Series, str]:
    """Return cells such as "88 km/h" without their units, and the unit of most; the cells themselves and "" where none.

    Cells in another unit of the kind are brought to that of most; an unknown unit leaves its cell as it stands, to be
    counted as no number.
    """
    if cells.dtype.kind in "iufb":
        return cells, ""
    import pandas as pd

    present = cells[cells.notna()]
    sample = present.iloc[:: max(1, len(present) // _SAMPLE)].astype("str")
    if not len(sample) or not sample.str.fullmatch(WITH_UNIT).mean() > 0.3:
        return cells, ""
    parts = cells.astype("str").str.extract(WITH_UNIT)
    counts = parts[1].str.strip().value_counts()
    factors = {unit: unit_factor(kind, str(unit)) for unit in counts.index}
    main = next((str(unit) for unit in counts.index if factors[unit] is not None), "")
    if not main:
        return cells, ""
    bare = cells.copy()
    to_si = factors[main] or (1.0, 0.0)
    for unit, factor in factors.items():
        rows = parts[1].str.strip() == unit
        if unit == main or factor == to_si:
            bare[rows] = parts[0][rows]
        elif factor is not None:
            plain, _ = numbers_of(parts[0][rows], decimal)
            scaled = (pd.Series(plain, index=cells.index[rows]) * factor[0] + factor[1] - to_si[1]) / to_si[0]
            bare[rows] = scaled.map(lambda value: f"{value:.9g}".replace(".", decimal))
    return bare, main


def rows_of_zeros(values: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return the rows (rows,) in which every value is zero, where that cannot be: no pressure and no kelvin is."""
    names = [name for name in values if name != "run_time_s"]
    if len(names) < 3 or not any(BY_NAME[name].kind in ("pressure", "temperature") for name in names):
        return np.zeros(len(next(iter(values.values()))) if values else 0, dtype=bool)
    zeros = values[names[0]] == 0
    for name in names[1:]:
        if not zeros.any():
            break
        zeros &= (values[name] == 0) | np.isnan(values[name])
    return zeros


_ZERO_IS_ABSENT = frozenset(
    {
        "commanded_equivalence_ratio",
        "air_flow_kg_s",
        "manifold_pressure_pa",
        "fuel_rate_m3_s",
        "fuel_mass_flow_kg_s",
        "calculated_load",
        "absolute_load",
        "barometric_pressure_pa",
        "control_module_voltage_v",
        "reference_torque_n_m",
        "intake_temperature_k",
        "coolant_temperature_k",
        "ambient_temperature_k",
        "actual_torque",
    }
)


def in_si(
    columns: list[Column], values: dict[str, np.ndarray], quality: np.ndarray | None, repairs: Repairs
) -> tuple[list[Column], dict[str, np.ndarray]]:
    """Return columns and values in SI; cells out of range are emptied, columns that cannot be what they say are
    listed."""
    running = values.get("engine_speed_rad_s")
    listed: list[Column] = []
    kept: dict[str, np.ndarray] = {}
    for column in columns:
        name = column.parameter
        if column.use != "used" or name not in values:
            listed.append(column)
            continue
        parameter = BY_NAME[name]
        numbers = values[name]
        filled = np.isfinite(numbers)
        if not filled.any():
            listed.append(replace(column, use="not reported", note="no value in any row"))
            continue
        if name in _ZERO_IS_ABSENT and not numbers[filled].any():
            listed.append(replace(column, use="not reported", note="zero in every row: taken as not reported"))
            continue
        factor, offset = unit_factor(parameter.kind, column.unit) or (1.0, 0.0)
        si = numbers * factor + offset if (factor, offset) != (1, 0) else numbers
        with np.errstate(invalid="ignore"):
            wrong = filled & ((si < parameter.low) | (si > parameter.high))
        if name == "commanded_equivalence_ratio":
            wrong |= numbers == 0
        bad = int(wrong.sum())
        if bad > _MOST_UNBELIEVABLE * filled.sum() and not (name == "manifold_pressure_pa" and running is None):
            listed.append(
                replace(
                    column,
                    use="not understood",
                    note=(
                        f"{100 * bad / filled.sum():.0f} % of its values cannot be {parameter.words} in "
                        f"{column.unit or 'this unit'}; "
                        "name parameter and unit in the manifest"
                    ),
                )
            )
            repairs.add(f"{parameter.words}: column not used, most of its values are out of range", bad)
            continue
        if bad:
            si = np.where(wrong, np.nan, si)
            repairs.add(f"{parameter.words}: values out of range, left empty", bad)
            if quality is not None:
                quality[wrong] |= int(Quality.OUT_OF_RANGE)
        doubt = _median_doubt(column, parameter, si, running)
        if doubt:
            listed.append(replace(column, use="not understood", note=doubt))
            repairs.add(f"{parameter.words}: column not used, its unit must be another one", int(filled.sum()))
            continue
        listed.append(column)
        kept[name] = si
    return listed, kept


def _median_doubt(column: Column, parameter: LoggedParameter, si: np.ndarray, running: np.ndarray | None) -> str:
    """Return why the numbers of a column without a unit cannot be in the usual one ("" where they can)."""
    if column.unit_from != "standard":
        return ""
    low, high = parameter.median_low, parameter.median_high
    if parameter.name == "engine_speed_rad_s":
        low, high, running = 200 * RPM_RAD_S, 7000 * RPM_RAD_S, si
    if not (np.isfinite(low) or np.isfinite(high)):
        return ""
    with np.errstate(invalid="ignore"):
        use = np.isfinite(si) & (running > 0) if running is not None else np.isfinite(si)
    if use.sum() < 5:
        return ""
    middle = float(np.median(si[use]))
    if low <= middle <= high:
        return ""
    factor, offset = unit_factor(parameter.kind, column.unit) or (1.0, 0.0)
    return (
        f"its median {(middle - offset) / factor:.3g} {column.unit} cannot be {parameter.words}: "
        "name the unit in the manifest"
    )
