"""Which working rotors are stalled, or stand in air that should turn them."""

from __future__ import annotations

import numpy as np

from energy.aero.curves import at_pitch
from energy.chain.ledger import TurbineAtWork
from energy.scenario.inputs import Inputs

# Own rule, no source: slower than its best tip-speed ratio and with less than half of its best power coefficient.
_POOR = 0.5
AIR_M_S = 3.0  # in less air than that no rotor is expected to turn: own rule, no source


def is_stalled(inputs: Inputs, turbine: TurbineAtWork) -> np.ndarray:
    """Return whether each turning rotor is stalled: at the slow of two steady speeds, or slow and poor at its only
    one.
    """
    curves = inputs.turbine.curves
    assert curves is not None
    assert turbine.point is not None
    pitch = np.asarray(inputs.turbine.pitch_deg)
    power = at_pitch(curves.power_coefficient, curves, pitch)  # (*draws, ratios)
    for slope, departure in zip(curves.slopes, inputs.turbine.departures, strict=False):
        power = power + np.asarray(departure)[..., None] * at_pitch(slope.power_coefficient, curves, pitch)
    best = power.max(axis=-1) * inputs.turbine.power_factor
    best_ratio = curves.tip_speed_ratio[power.argmax(axis=-1)]
    slow_and_poor = (turbine.tip_speed_ratio < best_ratio) & (turbine.power_coefficient < _POOR * best)
    return np.asarray(turbine.turning & (turbine.point.is_stalled | slow_and_poor))


def stalled_or_stands(inputs: Inputs, turbine: TurbineAtWork) -> np.ndarray:
    """Return whether each rotor is stalled, or stands in air that should turn it."""
    return is_stalled(inputs, turbine) | (~turbine.turning & (inputs.rotor_air_speed_m_s > AIR_M_S))
