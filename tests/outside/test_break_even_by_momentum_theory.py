"""Direct upwind break-even of an ideal rotor against the whole chain of the ledger.

Momentum theory (Betz): Cp = 4a(1−a)², Ct = 4a(1−a), so power = drag power at wind/road speed = a/(1−a), half the road
speed at a = 1/3; with a chain of efficiency η at 1/(η(1−a)) − 1. Textbook result.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from ideal_rotor import ideal_break_even_head_wind

from energy.aero.curves import RotorCurves
from energy.chain.load import load
from energy.chain.payback import payback
from energy.scenario.read import Scenario
from vehicle.quantity import exact

VAN = Path(__file__).resolve().parents[2] / "scenarios" / "van_water_tank" / "scenario.toml"


def ideal_van(induction: float, belt: float = 1.0) -> Scenario:
    """The demo van with a rotor of momentum theory, no mount, no mass, and no loss but the belt's."""
    scenario = load(
        VAN,
        [
            "rotor.local_speed_factor=1",
            "rotor.mount_drag_area=0 m^2",
            "rotor.turbine_mass=0 kg",
            'unusual=["rotor.turbine_mass", "generator.winding_resistance"]',
            "generator.connection=direct_current",
            "generator.winding_resistance=0 ohm",
            "generator.winding_inductance=0 H",
            "generator.friction_torque=0 N*m",
            "generator.cogging_torque=0 N*m",
            "generator.iron_loss=0 W",
            "heater.lead_resistance=0 ohm",
            f"drive.efficiency={belt}",
        ],
    )
    # The same power at every tip-speed ratio above 0.5, so that the load's match does not matter.
    ratio = np.array([0.0, 0.5, 5.0, 30.0])
    power = np.where(ratio > 0, 4 * induction * (1 - induction) ** 2, 0.0)[None]
    thrust = np.full((1, 4), 4 * induction * (1 - induction))
    curves = RotorCurves(ratio, np.array([0.0]), power, thrust)
    # Beyond a limit a turbine is stowed and makes no heat: this one has none.
    free = {"pitch": None, "highest_rotor_speed": None, "highest_tip_speed": exact(1e9), "highest_thrust": None}
    generator = scenario.generator
    assert generator is not None
    return replace(
        scenario,
        curves=curves,
        rotor=scenario.rotor.model_copy(update=free),
        generator=generator.model_copy(update={"highest_current": None}),
        heater=scenario.heater.model_copy(update={"rated_power": None}),
    )


@pytest.mark.parametrize(("induction", "belt"), [(1 / 3, 1.0), (0.2, 1.0), (1 / 3, 0.8), (0.25, 0.9)])
def test_head_wind_from_which_heat_exceeds_drag_power(induction: float, belt: float) -> None:
    found = payback(ideal_van(induction, belt), exact=True)
    expected = found.road_speed_m_s * float(ideal_break_even_head_wind(induction, belt))
    assert found.at_speed["energy"][1] == pytest.approx(expected, rel=1e-3)
    assert found.ideal.chain_efficiency == pytest.approx(belt, rel=1e-6)
    line = found.wind.lines["energy"].value
    inside = np.isfinite(line)
    # The map has a point every 1 m/s of wind, with a straight line between.
    expected_line = found.wind.speeds_m_s[inside] * expected / found.road_speed_m_s
    assert line[inside] == pytest.approx(expected_line, abs=0.15)


def test_closed_form() -> None:
    assert float(ideal_break_even_head_wind(1 / 3)) == pytest.approx(0.5)
    assert float(ideal_break_even_head_wind(0.2)) == pytest.approx(0.25)
