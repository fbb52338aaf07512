"""Whether the rotor may stay stalled: how many of the draws do, and what it then gives.

With curves that stall, a loaded rotor can have two steady speeds. Started from standstill it stays at the slow one,
where
it gives a small part of the heat. A single range over both would hide that: they are kept apart here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from energy.chain.ledger import turbine_at_work
from energy.chain.matching import Setting, best_setting, over_draws
from energy.chain.stalled import stalled_or_stands
from energy.scenario.inputs import Inputs, correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.uncertainty.quantiles import estimate_of
from vehicle.quantity import Estimate

WORTH_SAYING = 0.05  # of the draws: own rule, no source
_DRAWS = 1024  # a power of two fills the cube evenly
_LEVEL = 0.9


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
        return self.best.outcome.heat_w.estimate - self.stalled_heat_w.estimate

    @property
    def matters(self) -> bool:
        """Whether it must be said before the answer."""
        return self.at_stated_values or self.share > WORTH_SAYING


def stall_risk(scenario: Scenario, *, exact: bool = False, stated: StallRisk | None = None) -> StallRisk | None:
    """Return how likely the rotor of a steady scenario stays stalled; None where no curves are known, or on a trip.

    `stated` is what is found with `exact`, where that is known already.
    """
    if scenario.schedule is not None:
        return None
    inputs = inputs_of(scenario)
    if inputs.turbine.curves is None or inputs.turbine.chain is None:
        return None
    risk = _as_stated(scenario, inputs) if stated is None else stated
    ranges = {} if exact else ranges_of(scenario)
    if not ranges:
        return risk
    share = sobol_sample(_DRAWS, len(ranges))
    drawn_inputs = inputs_of(scenario, draws_of(ranges, share, correlations_of(scenario)))
    drawn = turbine_at_work(drawn_inputs, with_free_run=False)
    stalled, heat = np.broadcast_arrays(stalled_or_stands(drawn_inputs, drawn), drawn.heat_power_w)
    return replace(
        risk,
        share=float(stalled.mean()),
        stalled_heat_w=_estimate(heat[stalled]),
        running_heat_w=_estimate(heat[~stalled]),
        best=None if risk.best is None else over_draws(scenario, risk.best),
    )


def _as_stated(scenario: Scenario, inputs: Inputs) -> StallRisk:
    turbine = turbine_at_work(inputs, with_free_run=False)
    assert turbine.point is not None
    stalled, two_speeds = bool(stalled_or_stands(inputs, turbine)), bool(turbine.point.is_stalled)
    heat = _estimate(np.atleast_1d(turbine.heat_power_w))
    return StallRisk(
        share=float(stalled),
        stalled_heat_w=heat if stalled else None,
        running_heat_w=None if stalled else heat,
        at_stated_values=stalled,
        two_speeds=two_speeds,
        tip_speed_ratio=float(turbine.tip_speed_ratio),
        stands=stalled and not bool(turbine.turning),
        best=best_setting(scenario) if stalled and not two_speeds else None,
    )


def _estimate(heat_w: np.ndarray) -> Estimate | None:
    if heat_w.size == 0:
        return None
    return estimate_of(heat_w, _LEVEL)
