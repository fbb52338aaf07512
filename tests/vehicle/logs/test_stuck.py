"""Values that stand still while others move, in a table made for it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from energy.words.log_quality import rate_and_stuck_lines, stuck_data
from vehicle.logs.read import read_log
from vehicle.logs.stuck import stuck_values

TIME_S = np.arange(0, 300, 1.0)
SPEED_M_S = 24 + 2 * np.sin(TIME_S / 17)  # a cruise over hills: 16 % between the ends


def table(stuck: str | None, seconds: int, value: float | None = None) -> pd.DataFrame:
    data = {
        "time_s": TIME_S,
        "speed_m_s": SPEED_M_S,
        "engine_speed_rad_s": 8 * SPEED_M_S,
        "air_flow_kg_s": 1e-3 * SPEED_M_S,
        "fuel_rate_m3_s": 1e-7 * SPEED_M_S,
        "calculated_load": 0.02 * SPEED_M_S,
    }
    if stuck:
        data[stuck] = data[stuck].copy()
        data[stuck][100 : 101 + seconds] = data[stuck][100] if value is None else value
    return pd.DataFrame(data)


@pytest.mark.parametrize("name", ["speed_m_s", "engine_speed_rad_s", "air_flow_kg_s", "fuel_rate_m3_s"])
def test_what_stands_still_for_three_quarters_of_a_minute_is_found(name: str) -> None:
    (found,) = stuck_values(table(name, 45))
    assert (found.name, found.begin_s, found.end_s) == (name, 100.0, 145.0)
    assert stuck_values(table(name, 44)) == []


def test_a_moving_log_a_cut_fuel_supply_and_full_load_are_not_stuck() -> None:
    assert stuck_values(table(None, 0)) == []
    assert stuck_values(table("fuel_rate_m3_s", 60, 0.0)) == []
    assert stuck_values(table("calculated_load", 60, 1.0)) == []


def test_a_steady_drive_is_not_stuck() -> None:
    steady = table(None, 0)
    for name in steady.columns[1:]:
        steady[name] = steady[name].mean() * (1 + 0.01 * np.sin(TIME_S))
    steady["fuel_rate_m3_s"] = 2e-6
    assert stuck_values(steady) == []


def test_what_is_known_once_in_ten_seconds_is_not_called_stuck_for_five_equal_answers() -> None:
    rare = table("air_flow_kg_s", 60)
    rare.loc[rare["time_s"] % 10 != 0, "air_flow_kg_s"] = np.nan
    assert stuck_values(rare) == []


def test_what_reading_empties_is_named_with_its_time_and_value(tmp_path: Path) -> None:
    rows = ["time_s,vehicle_speed_km_h,engine_speed_rpm,mass_air_flow_g_s"]
    for k in range(240):
        wave = np.sin(k / 17)
        air = 22.1 if 100 <= k <= 160 else 20 + 8 * wave
        rows.append(f"{k},{86 + 14 * wave:.1f},{2000 + 900 * wave:.1f},{'' if k == 120 else round(air, 2)}")
    path = tmp_path / "drive.csv"
    path.write_text("\n".join(rows) + "\n")
    log = read_log(path)
    (found,) = log.stuck
    assert (found.name, found.begin_s, found.end_s) == ("air_flow_kg_s", 100.0, 160.0)
    assert found.value == pytest.approx(0.0221)
    assert log.table["air_flow_kg_s"].isna().sum() == 61
    assert stuck_values(log.table) == []
    (line,) = [line for line in rate_and_stuck_lines(log) if "did not change" in line]
    assert line == "  air flow did not change from 100 s to 160 s while others moved: left empty"
    (data,) = stuck_data(log)
    assert (data.parameter, data.begin_s, data.end_s, data.left_empty) == ("air_flow_kg_s", 100.0, 160.0, True)
