"""Whether the rotor may stay stalled: how many of the draws do, and what it then gives.

With curves that stall, a loaded rotor can have two steady speeds. Started from standstill it stays at the slow one,
where
it gives a small part of the heat. A single range over both would hide that: they are kept apart here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.chain.ledger import TurbineAtWork, turbine_at_work
from energy.chain.limits import ROUNDING, OperatingLimit, in_order, operating_limits, stated_limits
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
_NOTICEABLE = 1.2  # times the heat: worth a switch or relay; own rule, no source


@dataclass(frozen=True)
class LimitAtRisk:
    """A limit that holds at the stated values, and the share of the draws that breaks it."""

    limit: OperatingLimit
    share: float


@dataclass(frozen=True)
class StallRisk:
    """How likely the rotor stays stalled.

    `share` of the draws stays at the slow of two steady speeds, or turns slower than its best tip-speed ratio with less
    than half of its best power, or does not start. `stalled_heat_w` and `running_heat_w` are the heat of the two
    groups, None where a group is empty. `at_stated_values` says whether the values as stated are stalled, `two_speeds`
    whether a faster steady speed exists there, `tip_speed_ratio` where the stated rotor turns, `stands` that it does
    not start in this air, `starts_unloaded` that its load is connected only after the start, `needs_a_push` that it
    turns only once something else has spun it up. `beyond_limits` are the limits that the faster speed breaks.
    `best` is the setting of most heat within the limits, where the stated one stands, has no faster speed or may not
    run at it; None where none makes heat, or it was not looked for. `best_unloaded` says that the load of that setting
    has to be connected after the start, unlike the scenario's. `limits` are all at the stated values, `at_risk` those
    that hold there and that a part of the draws breaks.
    """

    share: float
    stalled_heat_w: Estimate | None
    running_heat_w: Estimate | None
    at_stated_values: bool
    two_speeds: bool
    tip_speed_ratio: float
    stands: bool = False
    best: Setting | None = None
    best_unloaded: bool = False
    starts_unloaded: bool = False
    needs_a_push: bool = False
    beyond_limits: tuple[OperatingLimit, ...] = ()
    limits: tuple[OperatingLimit, ...] = ()
    at_risk: tuple[LimitAtRisk, ...] = ()

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
        at_risk=_at_risk(risk.limits, drawn_inputs, drawn),
        best=None if risk.best is None else over_draws(started_unloaded(scenario, risk.best_unloaded), risk.best),
    )


def _as_stated(scenario: Scenario, inputs: Inputs) -> StallRisk:
    turbine = turbine_at_work(inputs, with_free_run=False)
    assert turbine.point is not None
    stalled, two_speeds = bool(stalled_or_stands(inputs, turbine)), bool(turbine.point.is_stalled)
    beyond = _beyond_limits_unloaded(inputs) if two_speeds else ()
    best, best_unloaded = _best(scenario) if stalled and (beyond or not two_speeds) else (None, False)
    heat = _estimate(np.atleast_1d(turbine.heat_power_w))
    return StallRisk(
        share=float(stalled),
        stalled_heat_w=heat if stalled else None,
        running_heat_w=None if stalled else heat,
        at_stated_values=stalled,
        two_speeds=two_speeds,
        tip_speed_ratio=float(turbine.tip_speed_ratio),
        stands=stalled and not bool(turbine.turning),
        best=best,
        best_unloaded=best_unloaded,
        starts_unloaded=inputs.turbine.load_connected_after_spin_up,
        needs_a_push=bool(turbine.turning & ~turbine.point.starts),
        beyond_limits=beyond,
        limits=operating_limits(inputs, turbine),
    )


def started_unloaded(scenario: Scenario, wanted: bool = True) -> Scenario:
    """Return the scenario with its load connected only after the start, where that is wanted."""
    if not wanted or scenario.generator is None:
        return scenario
    return replace(scenario, generator=scenario.generator.model_copy(update={"load_connected": "after_spin_up"}))


def _at_risk(stated: Sequence[OperatingLimit], inputs: Inputs, drawn: TurbineAtWork) -> tuple[LimitAtRisk, ...]:
    """Return the limits that hold as stated and that more than a few of the draws break, the likeliest first."""
    at_risk = []
    for limit, one in zip(stated, stated_limits(inputs, drawn), strict=True):
        share = float(np.mean(one.share > 1 + ROUNDING))
        if share > WORTH_SAYING and not limit.broken:
            at_risk.append(LimitAtRisk(limit, share))
    return tuple(sorted(at_risk, key=lambda risk: -risk.share))


def _beyond_limits_unloaded(inputs: Inputs) -> tuple[OperatingLimit, ...]:
    """Return the limits that the rotor would break at the faster speed, with its load connected after the start."""
    later = replace(inputs, turbine=replace(inputs.turbine, load_connected_after_spin_up=True))
    return in_order(operating_limits(later, turbine_at_work(later, with_free_run=False)))


def _best(scenario: Scenario) -> tuple[Setting | None, bool]:
    """Return the setting of most heat within the limits, and whether its load has to be connected after the start.

    Many rotors have too little torque at low speed to get through stall loaded: then no setting helps as long as the
    load is always connected. That is taken where it gives noticeably more.
    """
    loaded = best_setting(scenario)
    if scenario.generator is None or scenario.generator.load_connected == "after_spin_up":
        return loaded, False
    unloaded = best_setting(started_unloaded(scenario))
    if unloaded is None:
        return loaded, False
    enough = 0.0 if loaded is None else _NOTICEABLE * loaded.outcome.heat_w.estimate
    return (unloaded, True) if unloaded.outcome.heat_w.estimate > enough else (loaded, False)


def _estimate(heat_w: np.ndarray) -> Estimate | None:
    if heat_w.size == 0:
        return None
    return estimate_of(heat_w, _LEVEL)
