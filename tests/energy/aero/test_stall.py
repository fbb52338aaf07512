"""Curves between none and all of the stall delay, and what stalled sections make unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from energy.aero.curves import RotorCurves
from energy.aero.stall import THRUST_FOR_POWER, stall_error, with_stall

RATIO, PITCH = np.array([0.0, 1.0, 2.0, 4.0]), np.array([0.0])
WITHOUT = RotorCurves(
    RATIO,
    PITCH,
    np.array([[0.0, -0.02, 0.10, 0.40]]),
    np.array([[0.1, 0.20, 0.40, 0.80]]),
    stalled_torque_share=np.array([[1.0, 1.0, 0.5, 0.0]]),
)
DELAYED = replace(
    WITHOUT,
    power_coefficient=np.array([[0.0, 0.06, 0.20, 0.40]]),
    thrust_coefficient=np.array([[0.1, 0.24, 0.50, 0.80]]),
    stalled_torque_share=np.array([[1.0, 0.8, 0.3, 0.0]]),
)


def test_the_curves_lie_between_the_two_sets() -> None:
    for share in (0.0, 0.25, 1.0):
        found = with_stall(WITHOUT, DELAYED, delay_share=share, power_factor=1.0)
        assert found.power_coefficient[0] == pytest.approx([0.0, -0.02 + 0.08 * share, 0.10 + 0.10 * share, 0.40])
        assert found.thrust_coefficient[0] == pytest.approx([0.1, 0.20 + 0.04 * share, 0.40 + 0.10 * share, 0.80])
        assert found.stalled_torque_share is not None
        assert found.stalled_torque_share[0] == pytest.approx([1.0, 1.0 - 0.2 * share, 0.5 - 0.2 * share, 0.0])
        delay, _ = found.slopes
        assert (delay.key, delay.stated) == ("blade.stall_delay_share", share)
        assert delay.power_coefficient[0] == pytest.approx([0.0, 0.08, 0.10, 0.0])
        assert delay.thrust_coefficient[0] == pytest.approx([0.0, 0.04, 0.10, 0.0])


def test_stalled_power_bends_the_stalled_part_alone() -> None:
    # By hand: at ratio 2, 0.3 of 0.20 is stalled: 1.5 times that part is 0.03 more; at ratio 4 nothing is stalled.
    found = with_stall(WITHOUT, DELAYED, delay_share=1.0, power_factor=1.5)
    assert found.power_coefficient[0] == pytest.approx([0.0, 0.06 + 0.5 * 0.8 * 0.06, 0.20 + 0.03, 0.40])
    extra = 0.5 * THRUST_FOR_POWER * 0.3 * 0.50
    assert found.thrust_coefficient[0, 2] == pytest.approx(0.50 + extra)
    assert found.thrust_coefficient[0, 3] == 0.80
    *_, slope = found.slopes
    assert (slope.key, slope.stated) == ("blade.stalled_power_factor", 1.5)
    assert slope.power_coefficient[0, 2] == pytest.approx(0.06)


def test_without_stall_delay_a_negative_power_is_not_made_more_negative() -> None:
    found = with_stall(WITHOUT, None, delay_share=1.0, power_factor=2.0)
    (slope,) = found.slopes
    assert slope.key == "blade.stalled_power_factor"
    assert found.power_coefficient[0] == pytest.approx([0.0, -0.02, 0.15, 0.40])


def test_the_error_is_said_for_what_the_draws_take() -> None:
    assert stall_error(delay=True) == (
        "real power there can be 0.7 to 2.4 times the computed (a wind-tunnel rotor: 1.06 to 2.3)"
    )
    assert stall_error(delay=False) == (
        "real power there can be 0.7 to 10 times the computed, and even of the other sign: stall delay is off"
    )


def test_every_point_of_the_curves_by_hand() -> None:
    """Point by point: a share of the way from none to all of the delay, then the stalled part's power times its factor;
    thrust gains 0.17 of what power gains (the head of stall.py)."""
    without = replace(WITHOUT, pitch_deg=np.array([0.0]), notes=("without",))
    delayed = replace(DELAYED, notes=("delayed",), thrust_coefficient=np.array([[-0.1, 0.24, 0.50, 0.80]]))
    for share, factor in ((0.3, 1.8), (0.9, 0.75)):
        found = with_stall(without=without, delayed=delayed, delay_share=share, power_factor=factor)
        delay, stalled = found.slopes
        assert found.notes == ("delayed",)
        assert (delay.key, delay.stated) == ("blade.stall_delay_share", share)
        assert (stalled.key, stalled.stated) == ("blade.stalled_power_factor", factor)
        for k in range(4):
            p0, p1 = without.power_coefficient[0, k], delayed.power_coefficient[0, k]
            t0, t1 = without.thrust_coefficient[0, k], delayed.thrust_coefficient[0, k]
            s0, s1 = WITHOUT.stalled_torque_share[0, k], DELAYED.stalled_torque_share[0, k]
            power, thrust, part = p0 + share * (p1 - p0), t0 + share * (t1 - t0), s0 + share * (s1 - s0)
            gain, push = part * max(power, 0.0), 0.17 * part * max(thrust, 0.0)
            assert found.power_coefficient[0, k] == pytest.approx(power + (factor - 1) * gain, abs=1e-12)
            assert found.thrust_coefficient[0, k] == pytest.approx(thrust + (factor - 1) * push, abs=1e-12)
            assert found.stalled_torque_share[0, k] == pytest.approx(part, abs=1e-12)
            for slope, by_power, by_thrust in ((delay, p1 - p0, t1 - t0), (stalled, gain, push)):
                assert slope.power_coefficient[0, k] == pytest.approx(by_power, abs=1e-12)
                assert slope.thrust_coefficient[0, k] == pytest.approx(by_thrust, abs=1e-12)
