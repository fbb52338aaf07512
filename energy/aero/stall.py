"""Curves of a blade with and without stall delay, and how far power and thrust of stalled sections are unknown.

The two-bladed wind-tunnel rotor of tests/data in deep stall (15 m/s) gives 1.06 to 2.3 times the power that is computed
with stall delay, by the polar (three Reynolds numbers) and the pitch reference taken, and 1.03 to 1.22 times the
thrust.
Computed without stall delay it gives 2.1 to 11 times the power, and for two of the six even the sign is wrong; thrust
1.23 to 1.46 times. No case that is held gives less (tests/outside/test_two_blade_rotor.py).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from energy.aero.curves import CurveSlope, RotorCurves

DELAY_SHARE_KEY = "blade.stall_delay_share"
STALLED_POWER_KEY = "blade.stalled_power_factor"
# Real over computed power of stalled sections (low, high): see above; the low ends are common practice, no source.
WITH_DELAY, WITHOUT_DELAY = (0.7, 2.4), (0.7, 10.0)
# What thrust gains for each unit that power gains, where sections stall: 1.22 − 1 for 2.3 − 1, its largest.
THRUST_FOR_POWER = 0.17


def stall_error(*, delay: bool) -> str:
    """Return how far power from stalled sections can be off, in words.

    Parameters
    ----------
    delay : whether stall delay is in the curves

    Returns
    -------
    A sentence without an end.
    """
    low, high = WITH_DELAY if delay else WITHOUT_DELAY
    if delay:
        return f"real power there can be {low:g} to {high:g} times the computed (a wind-tunnel rotor: 1.06 to 2.3)"
    return (
        f"real power there can be {low:g} to {high:g} times the computed, and even of the other sign: stall "
        f"delay is off"
    )


def with_stall(
    without: RotorCurves, delayed: RotorCurves | None, *, delay_share: float, power_factor: float
) -> RotorCurves:
    """Return the curves at a share of the stall delay, with what that share and the stalled sections' power change.

    Parameters
    ----------
    without : RotorCurves
        Curves without stall delay.
    delayed : RotorCurves or None
        Curves with all of it, over the same tip-speed ratios and pitches; None leaves stall delay out.
    delay_share : float
        Share of the stall delay [-], 0 to 1. Between the two sets the coefficients go in a straight line, which meets
        curves computed at half of the delay within two points of power.
    power_factor : float
        Real over computed power of the stalled sections [-].

    Returns
    -------
    RotorCurves
        The curves, with a slope for each of the two.

    References
    ----------
    .. [1] Comparison with the two-bladed wind-tunnel rotor of NREL/TP-500-29955, see the head of this module.
    """
    slopes = []
    found = without
    if delayed is not None:
        power = delayed.power_coefficient - without.power_coefficient
        thrust = delayed.thrust_coefficient - without.thrust_coefficient
        assert without.stalled_torque_share is not None
        assert delayed.stalled_torque_share is not None
        stalled = delayed.stalled_torque_share - without.stalled_torque_share
        found = replace(
            delayed,
            power_coefficient=without.power_coefficient + delay_share * power,
            thrust_coefficient=without.thrust_coefficient + delay_share * thrust,
            stalled_torque_share=without.stalled_torque_share + delay_share * stalled,
        )
        slopes.append(CurveSlope(DELAY_SHARE_KEY, delay_share, power, thrust))
    assert found.stalled_torque_share is not None
    more_power = found.stalled_torque_share * np.maximum(found.power_coefficient, 0.0)
    more_thrust = THRUST_FOR_POWER * found.stalled_torque_share * np.maximum(found.thrust_coefficient, 0.0)
    slopes.append(CurveSlope(STALLED_POWER_KEY, power_factor, more_power, more_thrust))
    return replace(
        found,
        power_coefficient=found.power_coefficient + (power_factor - 1) * more_power,
        thrust_coefficient=found.thrust_coefficient + (power_factor - 1) * more_thrust,
        slopes=tuple(slopes),
    )
