"""What settings of pitch, drive ratio and element give: at the steady speed, or over the whole trip of a schedule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from energy.chain.ledger import answer, turbine_at_work
from energy.chain.limits import keeps_limits, stated_limits
from energy.scenario.inputs import inputs_of
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario

SETTINGS: tuple[QuantityKey, ...] = ("rotor.pitch", "drive.ratio", "heater.resistance")
_ROOM = 0.998  # of a limit, over a trip: what is looked up between air speeds is off by as much


@dataclass(frozen=True)
class Given:
    """What settings give, arrays of their count; over a trip means over its time.

    `heat_w` is NaN where a limit is passed, nothing turns or the curves do not reach. `change_w` is that of fuel or
    pack power, mount drag and mass included, NaN where it was not asked for.
    """

    heat_w: np.ndarray
    change_w: np.ndarray
    rotor_drag_n: np.ndarray


Look = Callable[..., Given]
"""Settings (n, 3) in the order of `SETTINGS` in, what they give out; `fuel`: whether its change is wanted."""


def look_of(scenario: Scenario) -> Look:
    """Return what tries settings of a scenario."""
    return _over_trip(scenario) if scenario.schedule is not None else _steady(scenario)


def _steady(scenario: Scenario) -> Look:
    def look(settings: np.ndarray, *, fuel: bool = False) -> Given:
        inputs = inputs_of(scenario, dict(zip(SETTINGS, settings.T, strict=True)))
        turbine = turbine_at_work(inputs, with_free_run=False)
        change = np.full(len(settings), np.nan)
        if fuel:
            outcome = answer(inputs, turbine, with_other_sources=False)
            inputs, turbine, change = outcome.inputs, outcome.turbine, outcome.change.power_w
        assert turbine.point is not None
        # A load that is connected after the start is of no use to a rotor that does not start without it either.
        turns = turbine.turning & turbine.point.starts
        fine = turns & ~turbine.beyond_data & (turbine.heat_power_w > 0) & keeps_limits(inputs, turbine)
        heat = np.where(fine, turbine.heat_power_w, np.nan)
        return Given(heat, np.broadcast_to(change, heat.shape), np.broadcast_to(turbine.rotor_drag_n, heat.shape))

    return look


def _over_trip(scenario: Scenario) -> Look:
    """Return what tries settings over a trip: limits hold in the fastest air in which the turbine works."""
    from energy.chain.trip import trip_look

    over_trip = trip_look(scenario)

    def look(settings: np.ndarray, *, fuel: bool = False) -> Given:
        means = over_trip(dict(zip(SETTINGS, settings.T, strict=True)), fuel)
        shares = [one.share for one in stated_limits(means.inputs, means.up_to_fastest)]
        kept = np.all([~(share > _ROOM) for share in shares], axis=(0, -1)) if shares else True
        heat = np.where(kept & (means.heat_within_curves_w > 0), means.heat_within_curves_w, np.nan)
        return Given(heat, means.change_w, means.rotor_drag_n)

    return look
