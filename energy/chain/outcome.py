"""The figures of an answer: the change in fuel and the heat, each the median of the draws with its range.

Whatever states them takes them from here, so that no two outputs differ. The value at the stated inputs lies elsewhere
where the ranges are not symmetric: it is shown as "at the stated values" only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from energy.chain.draws import spread_of, steady_chain
from energy.chain.ledger import change_and_heat
from energy.scenario.inputs import inputs_of, values_of
from energy.uncertainty.propagate import USUAL, OutcomeSpread, Sampling
from vehicle.quantity import Estimate

if TYPE_CHECKING:
    from energy.chain.ledger import Answer, TurbineAtWork
    from energy.chain.trip import TripAnswer
    from energy.progress import Progress
    from energy.scenario.keys.names import QuantityKey
    from energy.scenario.read import Scenario
    from energy.uncertainty.quantiles import ChainOutcome
    from energy.uncertainty.sensitivities import Chain

LEVEL, HALF = 0.9, 0.5  # of the ranges between the outer and the inner quantiles of the draws
OVER_A_TRIP = Sampling(draws=1024, sensitivity_rows=256)
_ONLY_RANGES, _ONLY_RANGES_OF_A_TRIP = (replace(usual, with_sensitivity=False) for usual in (USUAL, OVER_A_TRIP))


class SteadyOrTrip:
    """What holds an answer: at a steady speed, or the means of a `trip` over its time."""

    answer: Answer
    trip: TripAnswer | None

    @property
    def at_its_most(self) -> TurbineAtWork:
        """The turbine where it works hardest: at the steady speed, or each figure's greatest over the trip."""
        return self.answer.turbine if self.trip is None else self.trip.most

    @property
    def over_s(self) -> float:
        """The time that totals are told for: that of the trip; 1 s for a steady drive, whose figures are per time."""
        return 1.0 if self.trip is None else self.trip.steps.total_s


@dataclass(frozen=True)
class Outcome:
    """What an answer says: the median of the draws with its 90 % range; without draws the values as stated.

    `change_w` is what working changes fuel or pack power by, `heat_w` the heat into the load; over a trip their means
    over time. `half_change_w` and `half_heat_w` are the same with the range of the middle half of the draws.
    """

    change_w: Estimate
    heat_w: Estimate
    half_change_w: Estimate
    half_heat_w: Estimate


def outcome_of(change_w: Sequence[float], heat_w: Sequence[float]) -> Outcome:
    """Return the outcome of quantiles of draws (see energy/uncertainty/quantiles.py), or of one value each."""
    return Outcome(
        _range_of(change_w, LEVEL), _range_of(heat_w, LEVEL), _range_of(change_w, HALF), _range_of(heat_w, HALF)
    )


def _range_of(quantiles_w: Sequence[float], level: float) -> Estimate:
    place = 0 if level == LEVEL or len(quantiles_w) == 1 else 1
    return Estimate(quantiles_w[len(quantiles_w) // 2], quantiles_w[place], quantiles_w[-1 - place], level)


def steady_outcome(
    scenario: Scenario, setting: Mapping[QuantityKey, float] | None = None, *, exact: bool = False
) -> Outcome:
    """Return the outcome of a scenario at its steady speed, the same as its answer's, at another `setting` if given.

    What is uncertain about the scenario's own setting stays so: in degrees of a pitch, in proportion of all else.
    `exact` takes every value as stated.
    """
    setting = setting or {}
    spread = None if exact else steady_spread(scenario, setting)
    if spread is None:
        change, heat = change_and_heat(inputs_of(scenario, {key: np.asarray(v) for key, v in setting.items()}))
        return outcome_of((float(change),), (float(heat),))
    return outcome_of(spread.change_w, spread.heat_w)


def steady_spread(scenario: Scenario, setting: Mapping[QuantityKey, float] | None = None) -> OutcomeSpread | None:
    """Return the draws of a scenario at its steady speed, the same as its answer's, without what they hang on."""
    chain = _at_setting(scenario, setting or {}, steady_chain(scenario))
    return spread_of(scenario, chain, sampling=_ONLY_RANGES)


def trip_outcome(scenario: Scenario, setting: Mapping[QuantityKey, float], stated: Answer) -> Outcome:
    """Return the outcome of a scenario over its trip at a `setting`, the same as its answer's at its own.

    `stated` is the answer there at the stated values.
    """
    from energy.chain.trip import trip_chain

    chain = _at_setting(scenario, setting, trip_chain(scenario))
    spread = spread_of(scenario, chain, sampling=_ONLY_RANGES_OF_A_TRIP)
    change, heat = float(stated.change.power_w), float(stated.turbine.heat_power_w)
    return outcome_of((change,), (heat,)) if spread is None else outcome_of(spread.change_w, spread.heat_w)


def _at_setting(scenario: Scenario, setting: Mapping[QuantityKey, float], chain: Chain) -> Chain:
    """Return a chain of the scenario at a setting."""
    own, _ = values_of(scenario, tuple(setting))

    def at_setting(draws: Mapping[str, np.ndarray], progress: Progress | None = None) -> ChainOutcome:
        count = len(next(iter(draws.values())))
        moved: dict[str, np.ndarray] = {}
        for key, value in setting.items():
            known = key in draws
            moved[key] = _moved(key, draws[key], float(np.asarray(own[key])), value) if known else np.full(count, value)
        return chain(dict(draws) | moved, progress)

    return at_setting


def _moved(key: str, drawn: np.ndarray, own: float, value: float) -> np.ndarray:
    """Return draws around the scenario's own value moved to another."""
    return drawn + (value - own) if key == "rotor.pitch" or own == 0 else drawn * (value / own)
