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
    """The ends of rotor.local_speed_factor, and the heat (W) at each, all else as stated."""

    slow_factor: float
    fast_factor: float
    slow_heat_w: float
    fast_heat_w: float


def place_risk(scenario: Scenario) -> PlaceRisk | None:
    """Return what the ends of the local air speed do; None where they do not decide: no dead air, or little change.

    Over a trip nothing is looked at, nor where the vehicle stands: no body then slows the air.
    """
    known = scenario.rotor.local_speed_factor
    road_speed = scenario.trip.road_speed
    if known.low >= _SLOW or road_speed is None or road_speed.value == 0:
        return None
    ends = np.array([known.low, known.high])
    slow, fast = turbine_at_work(inputs_of(scenario, {"rotor.local_speed_factor": ends})).heat_power_w
    if not slow < _DECIDES * fast:
        return None
    return PlaceRisk(known.low, known.high, float(slow), float(fast))
