"""Whether the rotor may stay stalled: how many of the draws do, and what it then gives.

With curves that stall, a loaded rotor can have two steady speeds. Started from standstill it stays at the slow one,
where
it gives a small part of the heat. A single range over both would hide that: they are kept apart here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from energy.aero.curves import at_pitch
from energy.chain.ledger import TurbineAtWork, turbine_at_work
from energy.chain.matching import Setting, best_setting
from energy.scenario.inputs import Inputs, correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from vehicle.quantity import Estimate

WORTH_SAYING = 0.05  # of the draws: own rule, no source
_DRAWS = 1024  # a power of two fills the cube evenly
_LEVEL = 0.9
# Own rule, no source: slower than its best tip-speed ratio and with less than half of its best power coefficient.
_POOR = 0.5
_AIR_M_S = 3.0  # in less air than that no rotor is expected to turn: own rule, no source


@dataclass(frozen=True)
class StallRisk:
    """How likely the rotor stays stalled.

    `share` of the draws stays at the slow of two steady speeds, or turns slower than its best tip-speed ratio with less
    than half of its best power, or does not start. `stalled_heat_w` and `running_heat_w` are the heat of the two
    groups, None where a
    group
    is empty. `at_stated_values` says whether the values as stated are stalled, `two_speeds` whether a faster steady
    speed exists there, `tip_speed_ratio` where the stated rotor turns, `stands` that it does not start in this air.
    `best` is the setting of most heat within the limits, where the stated one stands or has no faster speed; None where
    none makes heat, or it was not looked for.
    """

    share: float
    stalled_heat_w: Estimate | None
    running_heat_w: Estimate | None
    at_stated_values: bool
    two_speeds: bool
    tip_speed_ratio: float
    stands: bool = False
    best: Setting | None = None

    @property
    def lost_heat_w(self) -> float:
        """The heat that staying stalled loses: medians of the two groups; without a running group, of the best setting.

        NaN where neither is there.
        """
        if self.stalled_heat_w is None:
            return math.nan
        if self.running_heat_w is not None:
            return self.running_heat_w.estimate - self.stalled_heat_w.estimate
        if self.best is None:
            return math.nan
        return float(np.asarray(self.best.answer.turbine.heat_power_w)) - self.stalled_heat_w.estimate

    @property
    def matters(self) -> bool:
        """Whether it must be said before the answer."""
        return self.at_stated_values or self.share > WORTH_SAYING


def stall_risk(scenario: Scenario, *, exact: bool = False) -> StallRisk | None:
    """Return how likely the rotor of a steady scenario stays stalled; None where no curves are known, or on a trip."""
    if scenario.schedule is not None:
        return None
    inputs = inputs_of(scenario)
    if inputs.turbine.curves is None or inputs.turbine.chain is None:
        return None
    stated = turbine_at_work(inputs, with_free_run=False)
    assert stated.point is not None
    stated_stalled = bool(_stalled_or_stands(inputs, stated))
    ranges = {} if exact else ranges_of(scenario)
    if ranges:
        share = sobol_sample(_DRAWS, len(ranges))
        drawn_inputs = inputs_of(scenario, draws_of(ranges, share, correlations_of(scenario)))
        drawn = turbine_at_work(drawn_inputs, with_free_run=False)
        stalled, heat = np.broadcast_arrays(_stalled_or_stands(drawn_inputs, drawn), drawn.heat_power_w)
    else:
        stalled, heat = np.atleast_1d(stated_stalled), np.atleast_1d(stated.heat_power_w)
    two_speeds = bool(stated.point.is_stalled)
    return StallRisk(
        share=float(stalled.mean()),
        stalled_heat_w=_estimate(heat[stalled]),
        running_heat_w=_estimate(heat[~stalled]),
        at_stated_values=stated_stalled,
        two_speeds=two_speeds,
        tip_speed_ratio=float(stated.tip_speed_ratio),
        stands=stated_stalled and not bool(stated.turning),
        best=best_setting(scenario) if stated_stalled and not two_speeds else None,
    )


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


def _stalled_or_stands(inputs: Inputs, turbine: TurbineAtWork) -> np.ndarray:
    """Return whether each rotor is stalled, or stands in air that should turn it."""
    return is_stalled(inputs, turbine) | (~turbine.turning & (inputs.rotor_air_speed_m_s > _AIR_M_S))


def _estimate(heat_w: np.ndarray) -> Estimate | None:
    if heat_w.size == 0:
        return None
    tail = (1 - _LEVEL) / 2
    low, middle, high = np.quantile(heat_w, [tail, 0.5, 1 - tail])
    return Estimate(float(middle), float(low), float(high), _LEVEL)
