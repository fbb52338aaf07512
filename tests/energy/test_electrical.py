from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from energy.electrical import (
    ElectricalChain,
    current_a,
    electrical_state,
    hot_resistance_ohm,
    idle_torque_n_m,
    open_load,
    shaft_torque_n_m,
    torque_of_speed,
)

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


# --- Recomputed one speed at a time, with the loop's impedance as a complex number. -----------------------------------

CASES = [
    # connection, what differs from CHAIN, rotor speeds [rad/s]: below and above where the diodes open
    ("rectifier", {}, (0.0, 0.5, 0.9, 30.0, 95.0)),
    ("rectifier", {"ratio": 3.5, "eddy_share": 0.2, "lead_resistance_ohm": 0.7, "pole_pairs": 8}, (2.0, 61.0)),
    ("rectifier", {"element_resistance_ohm": np.inf}, (0.4, 50.0)),
    ("three_phase", {"belt_efficiency": 0.8, "rectifier_drop_v": 3.0}, (0.0, 5.0, 70.0)),
    ("three_phase", {"winding_inductance_h": 0.03, "eddy_share": 0.9, "lead_resistance_ohm": 0.7}, (8.0, 120.0)),
    ("three_phase", {"element_resistance_ohm": np.inf}, (50.0,)),
    ("direct_current", {"eddy_share": 0.0, "winding_inductance_h": 0.5}, (0.0, 5.0, 70.0)),
    ("direct_current", {"eddy_share": 1.0, "ratio": 0.6, "lead_resistance_ohm": 0.4}, (33.0,)),
    ("direct_current", {"element_resistance_ohm": np.inf}, (50.0,)),
]


def by_hand(chain: ElectricalChain, rotor_speed: float) -> dict[str, float]:
    """Every figure of the chain at one speed.

    Power-electronics texts: mean of a six-pulse bridge 3√2/π of the line voltage, less 3/π·ω·L of a phase per ampere
    for commutation; of a star, phase voltage over the phase's impedance. Electrical-machines texts: hysteresis in
    proportion to speed, eddy currents to its square.
    """
    speed = rotor_speed * float(chain.ratio)
    line_volts, angular = float(chain.voltage_constant_v_s) * speed, float(chain.pole_pairs) * speed
    phase_henry, phase_ohm = float(chain.winding_inductance_h) / 2, float(chain.winding_resistance_ohm) / 2
    outside = float(chain.element_resistance_ohm) + float(chain.lead_resistance_ohm)
    if chain.connection == "rectifier":
        volts = max(line_volts * 3 * math.sqrt(2) / math.pi - float(chain.rectifier_drop_v), 0.0)
        current = volts / (outside + 2 * phase_ohm + 3 / math.pi * angular * phase_henry)
        times, drop, winding_ohm = 1, float(chain.rectifier_drop_v), 2 * phase_ohm
    elif chain.connection == "three_phase":
        impedance = complex(outside + phase_ohm, angular * phase_henry)
        current, times, drop, winding_ohm = line_volts / math.sqrt(3) / abs(impedance), 3, 0.0, phase_ohm
    else:
        current = line_volts / (outside + 2 * phase_ohm)
        times, drop, winding_ohm = 1, 0.0, 2 * phase_ohm
    element_ohm = float(chain.element_resistance_ohm)
    element = times * current**2 * element_ohm if current > 0 else 0.0
    share = speed / (1000 / 60 * 2 * math.pi)
    found = {
        "friction_loss_w": float(chain.friction_torque_n_m) * speed,
        "iron_loss_w": float(chain.iron_loss_w)
        * (float(chain.eddy_share) * share**2 + (1 - float(chain.eddy_share)) * share),
        "winding_loss_w": times * current**2 * winding_ohm,
        "rectifier_loss_w": drop * current,
        "lead_loss_w": times * current**2 * float(chain.lead_resistance_ohm),
        "element_w": element,
    }
    into_generator = sum(found.values())
    return found | {
        "shaft_w": into_generator / float(chain.belt_efficiency),
        "belt_loss_w": into_generator * (1 / float(chain.belt_efficiency) - 1),
        "current_a": current,
        "element_voltage_v": current * element_ohm if current > 0 else 0.0,
        "generator_speed_rad_s": speed,
        "generator_output_w": found["rectifier_loss_w"] + found["lead_loss_w"] + found["element_w"],
    }


@pytest.mark.parametrize(("connection", "change", "speeds"), CASES)
def test_every_figure_of_the_chain_by_hand(connection: str, change: dict[str, float], speeds: tuple[float]) -> None:
    chain = replace(CHAIN, connection=connection, **change)
    state = electrical_state(chain, np.array(speeds))
    names = [f.name for f in fields(state)] + ["generator_output_w"]
    for k, speed in enumerate(speeds):
        wanted = by_hand(chain, speed)
        assert {name: float(getattr(state, name)[k]) for name in names} == pytest.approx(wanted, rel=1e-12, abs=1e-12)
        assert float(current_a(chain, wanted["generator_speed_rad_s"])) == pytest.approx(wanted["current_a"], abs=1e-12)
        if speed:
            assert float(shaft_torque_n_m(chain, speed)) == pytest.approx(wanted["shaft_w"] / speed, rel=1e-12)
            idle = (wanted["friction_loss_w"] + wanted["iron_loss_w"]) / wanted["generator_speed_rad_s"]
            assert float(idle_torque_n_m(chain, wanted["generator_speed_rad_s"])) == pytest.approx(idle, rel=1e-12)


def test_draws_and_speeds_broadcast_to_one_shape() -> None:
    chain = replace(CHAIN, element_resistance_ohm=np.array([5.0, 12.0, np.inf]), ratio=np.array([[1.0], [2.5]]))
    state = electrical_state(chain, 40.0)
    for f in fields(state):
        assert getattr(state, f.name).shape == (2, 3)
    for i, ratio in enumerate((1.0, 2.5)):
        for k, element in enumerate((5.0, 12.0, np.inf)):
            wanted = by_hand(replace(CHAIN, element_resistance_ohm=element, ratio=ratio), 40.0)
            for f in fields(state):
                assert float(getattr(state, f.name)[i, k]) == pytest.approx(wanted[f.name], rel=1e-12), f.name


@pytest.mark.parametrize("connection", ["rectifier", "three_phase", "direct_current"])
@pytest.mark.parametrize("element", [4.0, np.inf])
def test_a_rotor_is_held_back_where_the_loop_asks_for_more_than_it_can_spare(connection: str, element: float) -> None:
    chain = replace(CHAIN, connection=connection, element_resistance_ohm=element, winding_inductance_h=0.02)
    load = torque_of_speed(chain)
    turns, ratios = np.array([2.0, 17.0]), np.array([0.05, 1.0, 6.0])
    asked = np.array([[loop_torque(chain, turn * ratio) for ratio in ratios] for turn in turns])
    for off in (-1e-9, 1e-9):  # a hair more to spare than the loop asks for, and a hair less
        spare = asked * (1 + off) + off
        assert (load.holds_back(spare, turns, ratios) == (off < 0)).all()


def loop_torque(chain: ElectricalChain, generator_speed: float) -> float:
    """Torque at the generator's shaft of everything but friction and iron: power over speed."""
    wanted = by_hand(replace(chain, ratio=1.0), generator_speed)
    return (wanted["generator_output_w"] + wanted["winding_loss_w"]) / generator_speed


def test_resistance_by_its_coefficient_on_both_sides_of_20_degrees() -> None:
    # Copper, 0.393 % per kelvin (handbooks, from memory): at 80 °C 1.2358 of that at 20 °C, at −10 °C 0.8821.
    found = hot_resistance_ohm(np.array([2.0, 2.0, 4.0]), 0.00393, np.array([353.15, 263.15, 293.15]))
    assert found == pytest.approx([2 * 1.2358, 2 * 0.8821, 4.0], rel=1e-12)
