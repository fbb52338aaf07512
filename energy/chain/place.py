"""Whether the place of the rotor decides the answer: what the slowest and the fastest air that it may sit in give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from energy.chain.ledger import turbine_at_work
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario

# Own rules, no source. Air this slow is the dead air behind a blunt body; and the place decides where it leaves less
# than half of the heat.
_SLOW, _DECIDES = 0.4, 0.5


@dataclass(frozen=True)
class PlaceRisk:
    """The ends of rotor.local_speed_factor, and the heat (W) at each, all else as stated; over a trip the mean of its
    time `over_s`.
    """

    slow_factor: float
    fast_factor: float
    slow_heat_w: float
    fast_heat_w: float
    over_s: float | None = None


def place_risk(scenario: Scenario) -> PlaceRisk | None:
    """Return what the ends of the local air speed do; None where they do not decide: no dead air, or little change.

    Nothing is looked at where the vehicle stands, or works only then: no body slows the air.
    """
    known = scenario.rotor.local_speed_factor
    road_speed = scenario.trip.road_speed
    stands = scenario.trip.works == "only_parked" if road_speed is None else road_speed.value == 0
    if known.low >= _SLOW or stands:
        return None
    if scenario.schedule is None:
        ends = np.array([known.low, known.high])
        slow, fast = turbine_at_work(inputs_of(scenario, {"rotor.local_speed_factor": ends})).heat_power_w
        over_s = None
    else:
        slow, fast = (_mean_over_trip_w(scenario, factor) for factor in (known.low, known.high))
        over_s = float(np.ptp(scenario.schedule.time_s))
    if not slow < _DECIDES * fast:
        return None
    return PlaceRisk(known.low, known.high, float(slow), float(fast), over_s)


def _mean_over_trip_w(scenario: Scenario, factor: float) -> float:
    """Return the mean heat over the scenario's trip with the rotor in air of `factor` times the free speed."""
    from energy.chain.trip import answer_trip

    return float(answer_trip(scenario, {"rotor.local_speed_factor": factor}).mean.turbine.heat_power_w)
