"""Whether the rotor works stalled on a trip: how much of the air's energy meets a stalled rotor, and what it loses."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from energy.chain.limits import OperatingLimit, in_order, operating_limits
from energy.chain.outcome import LEVEL
from energy.chain.stall import WORTH_SAYING, started_unloaded
from energy.chain.trip import answer_trip, stalled_over_trip
from energy.scenario.inputs import correlations_of, ranges_of
from energy.uncertainty.draws import draws_of, sobol_sample
from energy.uncertainty.quantiles import estimate_of
from vehicle.quantity import Estimate

if TYPE_CHECKING:
    from energy.scenario.read import Scenario

_DRAWS = 64  # a power of two fills the cube evenly; enough for a share of the way
_MOSTLY = 0.5  # of the air's energy: from here on a simulation counts as stalled


@dataclass(frozen=True)
class TripStallRisk:
    """How much of a trip the rotor is stalled: medians of the draws with their range; without draws as stated.

    `energy_share` of the air's energy at work meets a stalled rotor; `mostly_stalled` is the share of the draws in
    which that is more than half. `heat_w` is the mean heat over the trip, `unloaded_heat_w` that of a load connected
    only after the rotor has spun up, `over_s` the trip's time. `beyond_limits` are the limits that it then breaks.
    """

    energy_share: Estimate
    mostly_stalled: float
    heat_w: Estimate
    unloaded_heat_w: Estimate
    over_s: float
    beyond_limits: tuple[OperatingLimit, ...] = ()

    @property
    def matters(self) -> bool:
        """Whether it must be said before the answer."""
        return max(self.energy_share.estimate, self.mostly_stalled) > WORTH_SAYING

    @property
    def starting_unloaded_helps(self) -> bool:
        """Whether a load that is connected later gives noticeably more heat."""
        return self.unloaded_heat_w.estimate > (1 + WORTH_SAYING) * self.heat_w.estimate


def trip_stall_risk(scenario: Scenario, *, exact: bool = False) -> TripStallRisk | None:
    """Return how much of the scenario's trip the rotor is stalled; None where no curves are known, or no trip."""
    if scenario.schedule is None:
        return None
    ranges = {} if exact else ranges_of(scenario)
    draws = draws_of(ranges, sobol_sample(_DRAWS, len(ranges)), correlations_of(scenario)) if ranges else {}
    stalled = stalled_over_trip(scenario, draws)
    if stalled is None:
        return None
    risk = TripStallRisk(
        estimate_of(stalled.energy_share, LEVEL),
        float((stalled.energy_share > _MOSTLY).mean()),
        estimate_of(stalled.heat_w, LEVEL),
        estimate_of(stalled.unloaded_heat_w, LEVEL),
        float(np.ptp(scenario.schedule.time_s)),
    )
    if not (risk.matters and risk.starting_unloaded_helps):
        return risk
    unloaded = answer_trip(started_unloaded(scenario))
    return replace(risk, beyond_limits=in_order(operating_limits(unloaded.mean.inputs, unloaded.most)))
