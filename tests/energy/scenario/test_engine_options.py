"""What the air, the copper and the gearbox of the day do to a scenario's answer."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from energy.chain.ledger import answer
from energy.chain.load import load
from energy.scenario.inputs import Inputs, inputs_of
from vehicle.driving.engine import Engine


@pytest.fixture
def inputs(van_folder: Path) -> Callable[..., Inputs]:
    van = van_folder / "scenario.toml"
    lines = van.read_text(encoding="utf-8").splitlines()
    van.write_text("\n".join(line for line in lines if not line.startswith("pressure")), encoding="utf-8")
    return lambda **keys: inputs_of(load(van, [f"{key.replace('__', '.')}={value}" for key, value in keys.items()]))


def test_torque_falls_with_the_air(inputs: Callable[..., Inputs]) -> None:
    # Density at 2500 m: 0.957 kg/m³ at -1.25 °C, dry (US Standard Atmosphere 1976); engines are rated at 1.157.
    air = {"air__altitude": "2500 m", "air__temperature": "-1.25 degC", "air__relative_humidity": "0"}
    for follows in (0.0, 0.5, 1.0):
        engine = inputs(**air, engine__torque_follows_air_density=follows).engine
        assert isinstance(engine, Engine)
        assert float(np.asarray(engine.torque_factor)) == pytest.approx((0.957 / 1.157) ** follows, rel=2e-3)


def test_a_hot_winding(inputs: Callable[..., Inputs]) -> None:
    # IEC 60028: copper's resistance grows by 0.393 % of that at 20 degC for each kelvin; 31 % at 100 degC.
    cold, hot = (inputs(generator__winding_temperature=t) for t in ("20 degC", "100 degC"))
    assert cold.turbine.chain is not None
    assert hot.turbine.chain is not None
    ratio = float(hot.turbine.chain.winding_resistance_ohm) / float(cold.turbine.chain.winding_resistance_ohm)
    assert ratio == pytest.approx(1.314, abs=1e-3)
    assert float(answer(hot).turbine.heat_power_w) < float(answer(cold).turbine.heat_power_w)


def test_inductance_that_is_left_out_hides_fuel(inputs: Callable[..., Inputs]) -> None:
    """The sign that `windtoll keys` states."""
    none, some = (answer(inputs(generator__winding_inductance=value)) for value in ("0 mH", "3 mH"))
    assert 0.80 < float(none.change.power_w / some.change.power_w) < 0.90
    assert 0.95 < float(none.turbine.heat_power_w / some.turbine.heat_power_w) < 0.99


def test_coast_down_coefficients_hold_the_spin_loss(demos: Path) -> None:
    van = (demos / "van_water_tank" / "scenario.toml").read_text(encoding="utf-8")
    assert "drag_area" in van
    by_area = inputs_of(load(demos / "van_water_tank" / "scenario.toml"))
    assert isinstance(by_area.engine, Engine)
    assert float(np.asarray(by_area.engine.drivetrain_spin_force_n)) == 25


def test_a_coast_down_takes_no_spin_loss_unless_it_is_written(demos: Path, van_folder: Path) -> None:
    path = next(van_folder.glob("*.toml"))
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("drag_area")]
    text = "\n".join(lines).replace("[vehicle]", '[vehicle]\ncoastdown_a = "270 N"\ncoastdown_c = "0.88 N*s^2/m^2"')
    for extra, force in (("", 0.0), ('\ndrivetrain_spin_force = "12 N"', 12.0)):
        path.write_text(text.replace("[engine]", "[engine]" + extra), encoding="utf-8")
        found = inputs_of(load(path))
        assert isinstance(found.engine, Engine)
        assert float(np.asarray(found.engine.drivetrain_spin_force_n)) == force
        told = {entry.key: entry for entry in found.assumptions}
        assert ("engine.drivetrain_spin_force" in told) == (force == 0)
