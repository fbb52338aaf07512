from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from energy.aero.curves import CurveSlope, RotorCurves
from energy.aero.operating_point import Rotor, coefficients, free_run_speed_rad_s, solve
from energy.electrical import ElectricalChain, shaft_torque_n_m

CHAIN = ElectricalChain(
    connection="rectifier",
    ratio=2.0,
    belt_efficiency=0.95,
    voltage_constant_v_s=0.9,
    winding_resistance_ohm=1.2,
    winding_inductance_h=5e-3,
    pole_pairs=6,
    friction_torque_n_m=0.05,
    cogging_torque_n_m=0.1,
    iron_loss_w=15.0,
    eddy_share=0.5,
    rectifier_drop_v=1.8,
    lead_resistance_ohm=0.05,
    element_resistance_ohm=15.0,
)
RATIO = np.arange(0, 9.5, 0.5)
ROW = np.array(
    [0, 0.012, 0.03, 0.06, 0.10, 0.16, 0.22, 0.27, 0.30, 0.31, 0.30, 0.28, 0.25, 0.21, 0.16, 0.10, 0.03, -0.06, -0.17]
)
CURVES = RotorCurves(
    RATIO,
    np.array([0.0, 10.0]),
    np.stack([ROW, 0.6 * ROW - 0.002 * RATIO]),
    np.stack([0.1 + 0.09 * RATIO, 0.1 + 0.04 * RATIO]),
)


def rotor(air: float | np.ndarray = 18.0, pitch: float | np.ndarray = 0.0) -> Rotor:
    return Rotor(CURVES, 0.9, pitch, 1.2, air)


def residual(chain: ElectricalChain, one: Rotor, speed: float | np.ndarray) -> np.ndarray:
    ratio = speed * 0.9 / float(one.air_speed_m_s)
    cp, _, _ = coefficients(CURVES, one.pitch_deg, ratio)
    wind = 0.5 * 1.2 * np.pi * 0.9**3 * float(one.air_speed_m_s) ** 2 * cp / ratio
    return wind - shaft_torque_n_m(chain, np.asarray(speed))


@settings(max_examples=40)
@given(st.floats(6, 40), st.floats(0, 10), st.floats(2, 60), st.floats(0.5, 5))
def test_torques_agree_where_it_settles_and_it_is_stable(
    air: float, pitch: float, resistance: float, ratio: float
) -> None:
    chain, one = replace(CHAIN, element_resistance_ohm=resistance, ratio=ratio), rotor(air, pitch)
    point = solve(one, chain)
    speed = float(point.rotor_speed_rad_s)
    if speed == 0 or bool(point.beyond_table):
        return
    scale = float(shaft_torque_n_m(chain, np.asarray(speed)))
    assert abs(residual(chain, one, speed)) < 1e-8 * scale
    assert residual(chain, one, speed * 0.999) > 0
    assert residual(chain, one, speed * 1.001) < 0
    assert float(point.shaft_power_w) == pytest.approx(scale * speed, rel=1e-8)
    assert float(point.power_coefficient) <= 16 / 27


def test_against_scipy_root_by_root() -> None:
    for air in (8.0, 14.0, 22.0, 35.0):
        for pitch in (0.0, 4.0, 10.0):
            one = rotor(air, pitch)
            speeds = np.linspace(0.01, 12.0, 2000) * air / 0.9
            values = residual(CHAIN, one, speeds)
            roots = [
                brentq(lambda s, o=one: residual(CHAIN, o, s), speeds[k], speeds[k + 1])
                for k in np.flatnonzero((values[:-1] > 0) & (values[1:] <= 0))
            ]
            found = solve(one, CHAIN).stable_speeds_rad_s
            np.testing.assert_allclose(found[np.isfinite(found)], roots, rtol=1e-9)


def test_one_condition_and_many_go_the_same_way() -> None:
    air, pitch = np.linspace(5, 40, 60), np.linspace(0, 10, 5)[:, None]
    together = solve(rotor(air, pitch), CHAIN)
    assert together.rotor_speed_rad_s.shape == (5, 60)
    assert together.stable_speeds_rad_s.shape == (5, 60, 6)
    for i in range(0, 5, 2):
        for j in range(0, 60, 7):
            alone = solve(rotor(float(air[j]), float(pitch[i, 0])), CHAIN)
            assert float(alone.rotor_speed_rad_s) == pytest.approx(float(together.rotor_speed_rad_s[i, j]), rel=1e-10)
            assert bool(alone.starts) == bool(together.starts[i, j])


def test_draws_of_the_chain_broadcast_too() -> None:
    chain = replace(CHAIN, element_resistance_ohm=np.linspace(5, 40, 5000), ratio=np.linspace(1, 3, 5000))
    together = solve(rotor(), chain)
    for k in (0, 1234, 2047, 2048, 4999):
        alone = solve(
            rotor(),
            replace(CHAIN, element_resistance_ohm=float(chain.element_resistance_ohm[k]), ratio=float(chain.ratio[k])),
        )  # type: ignore[index]
        assert float(alone.rotor_speed_rad_s) == pytest.approx(float(together.rotor_speed_rad_s[k]), rel=1e-10)


def test_no_air_no_turning() -> None:
    point = solve(rotor(np.array([0.0, 18.0])), CHAIN)
    assert point.rotor_speed_rad_s[0] == 0
    assert point.shaft_power_w[0] == 0
    assert not point.starts[0]
    assert point.rotor_speed_rad_s[1] > 0


def most_cogging_n_m(ratio: float, belt_efficiency: float) -> float:
    """Return the largest cogging torque at the generator's shaft that a rotor starts against, nothing else holding."""
    chain = replace(CHAIN, ratio=ratio, belt_efficiency=belt_efficiency, friction_torque_n_m=0.0, iron_loss_w=0.0)
    low, high = 0.0, 50.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        starts = bool(solve(rotor(), replace(chain, cogging_torque_n_m=middle)).starts)
        low, high = (middle, high) if starts else (low, middle)
    return low


def test_cogging_is_geared_up_and_the_belt_loses_some_of_the_torque_against_it() -> None:
    direct = most_cogging_n_m(1.0, 1.0)
    assert 0.01 < direct < 49
    assert most_cogging_n_m(2.0, 0.8) == pytest.approx(direct * 0.8 / 2.0, rel=1e-6)


def test_cogging_can_hold_it_and_a_switch_does_not_help_then() -> None:
    held = replace(CHAIN, cogging_torque_n_m=50.0)
    assert not bool(solve(rotor(), held).starts)
    assert float(solve(rotor(), held).rotor_speed_rad_s) == 0
    # Spun up by hand before the load came on, it runs.
    assert float(solve(rotor(), held, load_connected_after_spin_up=True).rotor_speed_rad_s) > 0


def test_two_steady_speeds_are_both_found_and_the_stalled_one_is_told() -> None:
    # A curve with a hollow at low tip-speed ratio, and a load that cuts it three times.
    power = np.array(
        [
            0,
            0.04,
            0.06,
            0.07,
            0.072,
            0.075,
            0.10,
            0.18,
            0.27,
            0.31,
            0.30,
            0.28,
            0.25,
            0.21,
            0.16,
            0.10,
            0.03,
            -0.06,
            -0.17,
        ]
    )
    curves = RotorCurves(RATIO, np.array([0.0]), power[None, :], (0.1 + 0.09 * RATIO)[None, :])
    chain = replace(CHAIN, ratio=3.1, element_resistance_ohm=6.0, winding_inductance_h=0.0)
    one = Rotor(curves, 0.9, 0.0, 1.2, 18.0)
    for resistance in np.linspace(20, 80, 61):
        here = replace(chain, element_resistance_ohm=float(resistance))
        slow = solve(one, here)
        if np.isfinite(slow.stable_speeds_rad_s).sum() > 1:
            break
    else:
        pytest.fail("no load with two steady speeds was met")
    assert bool(slow.is_stalled)
    assert int(slow.solutions) >= 3
    fast = solve(one, here, load_connected_after_spin_up=True)
    assert float(fast.rotor_speed_rad_s) > float(slow.rotor_speed_rad_s)
    assert float(fast.rotor_speed_rad_s) == pytest.approx(float(np.nanmax(slow.stable_speeds_rad_s)))
    assert not bool(fast.is_stalled)


def test_free_running_is_faster_and_bounded_by_zero_power() -> None:
    loaded = float(solve(rotor(), CHAIN).rotor_speed_rad_s)
    free = float(free_run_speed_rad_s(rotor(), CHAIN))
    assert loaded < free < 8.17 * 18 / 0.9  # Cp of the table is zero near 8.17


def test_a_load_too_light_for_the_table_is_told() -> None:
    rising = RotorCurves(RATIO[:8], np.array([0.0]), ROW[None, :8], (0.1 + 0.09 * RATIO[:8])[None, :])
    point = solve(Rotor(rising, 0.9, 0.0, 1.2, 18.0), replace(CHAIN, element_resistance_ohm=1e6))
    assert bool(point.beyond_table)


@settings(max_examples=30)
@given(st.floats(0.5, 2.0))
def test_size_scales_power_with_the_area(scale: float) -> None:
    # Same tip-speed ratio: speed ∝ 1/R and power ∝ R² when the generator is scaled with it (voltage constant k ∝ R so
    # that volts stay, resistances ∝ 1/R², losses left out).
    small = replace(
        CHAIN,
        friction_torque_n_m=0.0,
        iron_loss_w=0.0,
        winding_inductance_h=0.0,
        rectifier_drop_v=0.0,
        cogging_torque_n_m=0.0,
    )
    large = replace(
        small,
        voltage_constant_v_s=0.9 * scale,
        winding_resistance_ohm=1.2 / scale**2,
        element_resistance_ohm=15.0 / scale**2,
        lead_resistance_ohm=0.05 / scale**2,
    )
    one = solve(rotor(), small)
    other = solve(Rotor(CURVES, 0.9 * scale, 0.0, 1.2, 18.0), large)
    assert float(other.tip_speed_ratio) == pytest.approx(float(one.tip_speed_ratio), rel=1e-7)
    assert float(other.shaft_power_w) == pytest.approx(float(one.shaft_power_w) * scale**2, rel=1e-7)


def test_beyond_the_curves_power_goes_on_along_the_last_slope_that_falls() -> None:
    # By hand from ROW: between 8.5 and 9 Cp falls by 0.11, 0.22 per unit of ratio; thrust stays at its last value.
    power, thrust, beyond = coefficients(CURVES, 0.0, np.array([9.0, 9.5, 10.0]))
    assert power == pytest.approx([-0.17, -0.17 - 0.11, -0.17 - 0.22], abs=1e-12)
    assert thrust == pytest.approx(0.1 + 0.09 * 9.0)
    assert beyond.tolist() == [False, True, True]
    # A curve that still rises at its end promises nothing: its last value is held.
    rising = replace(CURVES, power_coefficient=np.stack([ROW[::-1], ROW[::-1]]) + 0.2)
    rising = replace(rising, power_coefficient=np.maximum.accumulate(rising.power_coefficient, axis=1))
    rising.power_coefficient[:, -2] -= 0.05
    power, _, _ = coefficients(rising, 5.0, np.array([9.0, 12.0]))
    assert power[1] == power[0]


def test_a_departure_is_the_same_as_other_curves() -> None:
    """Along a slope the rotor settles where curves with the slope added in do, each condition with its own
    departure.
    """
    bump = np.exp(-((CURVES.tip_speed_ratio - 3.0) ** 2)) * 0.05 * np.ones_like(CURVES.power_coefficient)
    push = 0.1 * np.ones_like(bump)
    both = CurveSlope("a", 1.0, bump, push), CurveSlope("b", 0.0, np.zeros_like(bump), push)
    by = np.linspace(-1.0, 2.0, 7)
    one = replace(rotor(), curves=replace(CURVES, slopes=both), departures=(by, np.array(-0.5)), power_factor=0.9)
    together = solve(one, CHAIN)
    for k, share in enumerate(by):
        other = replace(
            CURVES,
            power_coefficient=CURVES.power_coefficient + share * bump,
            thrust_coefficient=CURVES.thrust_coefficient + (share - 0.5) * push,
        )
        alone = solve(replace(rotor(), curves=other, power_factor=0.9), CHAIN)
        assert float(together.rotor_speed_rad_s[k]) == pytest.approx(float(alone.rotor_speed_rad_s), rel=1e-9)
        assert float(together.shaft_power_w[k]) == pytest.approx(float(alone.shaft_power_w), rel=1e-9)
        assert float(together.thrust_n[k]) == pytest.approx(float(alone.thrust_n), rel=1e-9)
    assert np.ptp(together.shaft_power_w) > 50


def test_no_departure_lifts_the_rotor_over_the_betz_limit() -> None:
    slope = CurveSlope("a", 0.0, 0.3 * CURVES.power_coefficient.clip(0), np.zeros_like(CURVES.power_coefficient))
    for by, factor in ((1.0, 1.0), (50.0, 1.0), (50.0, 2.0), (0.5, 3.0)):
        one = replace(rotor(), curves=replace(CURVES, slopes=(slope,)), departures=(by,), power_factor=factor)
        point = solve(one, CHAIN)
        assert float(point.power_coefficient) <= 16 / 27 + 1e-12
        torque = float(shaft_torque_n_m(CHAIN, point.rotor_speed_rad_s))
        assert float(point.shaft_power_w) == pytest.approx(torque * float(point.rotor_speed_rad_s), rel=1e-8)


def test_no_power_factor_lifts_the_rotor_over_the_betz_limit() -> None:
    # Best of the table 0.31: the greatest factor that counts is (16/27) / 0.31 = 1.9116, below it each is itself.
    for factor, counts in ((1.5, 1.5), (3.0, 16 / 27 / 0.31)):
        point = solve(replace(rotor(), power_factor=factor), CHAIN)
        plain, _, _ = coefficients(CURVES, 0.0, point.tip_speed_ratio)
        assert float(point.power_coefficient) == pytest.approx(counts * float(plain), rel=1e-12)
        speed = float(point.rotor_speed_rad_s)
        assert float(point.shaft_power_w) == pytest.approx(speed * float(shaft_torque_n_m(CHAIN, speed)), rel=1e-8)
