from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from energy.electrical import ElectricalChain, electrical_state, hot_resistance_ohm, open_load, shaft_torque_n_m

CHAIN = ElectricalChain(
    connection="rectifier",
    ratio=2.0,
    belt_efficiency=0.95,
    voltage_constant_v_s=0.9,
    winding_resistance_ohm=1.2,
    winding_inductance_h=5e-3,
    pole_pairs=6,
    friction_torque_n_m=0.1,
    cogging_torque_n_m=0.2,
    iron_loss_w=15.0,
    eddy_share=0.5,
    rectifier_drop_v=1.8,
    lead_resistance_ohm=0.05,
    element_resistance_ohm=12.0,
)
connections = st.sampled_from(["rectifier", "three_phase", "direct_current"])


@given(connections, st.floats(0, 300), st.floats(0.1, 100), st.floats(0.3, 5))
def test_every_watt_from_shaft_to_element_is_accounted_for(
    connection: str, speed: float, resistance: float, ratio: float
) -> None:
    chain = replace(CHAIN, connection=connection, element_resistance_ohm=resistance, ratio=ratio)
    s = electrical_state(chain, speed)
    parts = (
        s.belt_loss_w
        + s.friction_loss_w
        + s.iron_loss_w
        + s.winding_loss_w
        + s.rectifier_loss_w
        + s.lead_loss_w
        + s.element_w
    )
    assert float(parts) == pytest.approx(float(s.shaft_w), rel=1e-12, abs=1e-12)
    assert float(shaft_torque_n_m(chain, speed)) * speed == pytest.approx(float(s.shaft_w), rel=1e-9, abs=1e-9)
    for part in (s.belt_loss_w, s.friction_loss_w, s.iron_loss_w, s.winding_loss_w, s.rectifier_loss_w, s.element_w):
        assert float(part) >= -1e-12


@given(connections, st.floats(0.1, 100))
def test_torque_rises_with_speed(connection: str, resistance: float) -> None:
    # With inductance a generator's torque may fall again at high speed; without it never.
    chain = replace(CHAIN, connection=connection, element_resistance_ohm=resistance, winding_inductance_h=0.0)
    torque = shaft_torque_n_m(chain, np.linspace(0, 200, 100))
    assert (np.diff(torque) >= -1e-12).all()


def test_direct_current_by_hand() -> None:
    chain = replace(
        CHAIN, connection="direct_current", ratio=1.0, belt_efficiency=1.0, friction_torque_n_m=0.0, iron_loss_w=0.0
    )
    s = electrical_state(chain, 100.0)
    # 90 V over 12 + 0.05 + 1.2 ohm = 6.792 A; element 553.6 W.
    assert float(s.current_a) == pytest.approx(90 / 13.25)
    assert float(s.element_w) == pytest.approx((90 / 13.25) ** 2 * 12)
    assert float(s.shaft_w) == pytest.approx(90 * 90 / 13.25)


def test_three_phases_in_star_by_hand() -> None:
    chain = replace(CHAIN, connection="three_phase", ratio=1.0, winding_inductance_h=0.0)
    s = electrical_state(chain, 100.0)
    # Phase voltage 90/√3 = 51.96 V over 12 + 0.05 + 0.6 ohm = 4.108 A; three elements 607.4 W.
    assert float(s.current_a) == pytest.approx(90 / np.sqrt(3) / 12.65)
    assert float(s.element_w) == pytest.approx(3 * (90 / np.sqrt(3) / 12.65) ** 2 * 12)


def test_the_rectifier_conducts_only_above_its_drop() -> None:
    below = 1.8 / (0.9 * 1.3504744742356593) / 2.0
    assert float(electrical_state(CHAIN, below * 0.99).current_a) == 0
    assert float(electrical_state(CHAIN, below * 1.01).current_a) > 0


def test_an_open_load_takes_only_friction_and_iron() -> None:
    s = electrical_state(open_load(CHAIN), 80.0)
    assert float(s.element_w) == 0
    assert float(s.current_a) == 0
    assert float(s.shaft_w) == pytest.approx(float(s.friction_loss_w + s.iron_loss_w) / 0.95)
    assert np.isfinite(shaft_torque_n_m(open_load(CHAIN), np.array([0.0, 1.0, 300.0]))).all()


def test_iron_loss_is_what_was_stated_at_1000_rpm() -> None:
    speed = 1000 * 2 * np.pi / 60 / 2.0
    assert float(electrical_state(CHAIN, speed).iron_loss_w) == pytest.approx(15.0)
    # Half hysteresis (∝ speed), half eddy (∝ speed²): at double speed 15 + 30.
    assert float(electrical_state(CHAIN, 2 * speed).iron_loss_w) == pytest.approx(15.0 + 30.0)


def test_a_hot_element_resists_more() -> None:
    assert float(hot_resistance_ohm(12.0, 1e-4, 520.0 + 273.15)) == pytest.approx(12.0 * 1.05)
