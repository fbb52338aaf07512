from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from energy.chain.ledger import turbine_at_work
from energy.chain.load import load
from energy.chain.matching import match
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from vehicle.problems import InputError


def test_no_random_setting_within_the_limits_beats_the_best(van: Scenario) -> None:
    found = match(van)
    best = float(found.best.answer.turbine.heat_power_w)
    assert best > float(found.own.answer.turbine.heat_power_w)
    rng = np.random.default_rng(4)
    draws = {
        "rotor.pitch": rng.uniform(0, 18, 20_000),
        "drive.ratio": 2.5 * 4 ** rng.uniform(-1, 1, 20_000),
        "heater.resistance": 9.0 * 10 ** rng.uniform(-1, 1, 20_000),
    }
    turbine = turbine_at_work(inputs_of(van, draws))
    assert turbine.electrical is not None
    legal = (
        (turbine.rotor_speed_rad_s * 0.9 <= 80.0) & (turbine.thrust_n <= 600.0) & (turbine.electrical.current_a <= 16.0)
    )
    legal &= (turbine.rotor_speed_rad_s <= 900 * np.pi / 30) & (turbine.heat_power_w <= 3000.0)
    assert turbine.heat_power_w[legal].max() <= best * (1 + 1e-3)


def test_the_flat_range_is_flat_and_ends_where_it_says(van: Scenario) -> None:
    found = match(van)
    best = float(found.best.answer.turbine.heat_power_w)
    at = {
        "rotor.pitch": found.best.pitch_deg,
        "drive.ratio": found.best.ratio,
        "heater.resistance": found.best.resistance_ohm,
    }
    assert {f.key for f in found.flatness} == set(at)
    for flat in found.flatness:
        inside = {key: np.full(40, value) for key, value in at.items()}
        inside[flat.key] = np.linspace(flat.low, flat.high, 40)
        heat = turbine_at_work(inputs_of(van, inside)).heat_power_w
        assert (heat >= 0.95 * best - 1e-6).all()


def test_held_settings_are_held_and_the_thriftiest_is_thriftier(van: Scenario) -> None:
    found = match(van, held=("drive.ratio",))
    assert found.best.ratio == 2.5
    thrifty, best = found.thriftiest.answer, found.best.answer
    assert float(thrifty.turbine.heat_power_w) >= 0.7 * float(best.turbine.heat_power_w) - 1e-6
    assert float(thrifty.change.power_w / thrifty.turbine.heat_power_w) <= float(
        best.change.power_w / best.turbine.heat_power_w
    )


def test_limits_that_nothing_keeps_are_told(demos: Path) -> None:
    van = load(demos / "van_water_tank" / "scenario.toml", ["rotor.highest_tip_speed=0.1 m/s"])
    with pytest.raises(InputError, match="keeps every limit"):
        match(van)


def test_a_measured_table_has_nothing_to_match(van_folder: Path) -> None:
    (van_folder / "watts.csv").write_text("air_speed_km_h,electrical_power_w\n30,150\n60,1300\n", encoding="utf-8")
    path = van_folder / "scenario.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace('curves = "rotor_curves.csv" ', 'measured_power = "watts.csv" '),
        encoding="utf-8",
    )
    with pytest.raises(InputError, match="no setting to match"):
        match(load(path))
