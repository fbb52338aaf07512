"""A scenario answered: the ledger of its values as stated, how sure it is, and the head wind that pays for itself."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from energy.chain.break_even import PitchBreakEven, best_pitch_break_even, break_even_m_s
from energy.chain.draws import spread_of
from energy.chain.impossible import refuse_impossible
from energy.chain.ledger import Answer, answer
from energy.chain.limits import OperatingLimit, broken_limits
from energy.chain.matching import Setting, better_pitch
from energy.chain.outcome import OVER_A_TRIP, Outcome, SteadyOrTrip, outcome_of
from energy.chain.place import PlaceRisk, place_risk
from energy.chain.stall import StallRisk, stall_risk
from energy.progress import Progress, part, tell
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from energy.uncertainty.propagate import OutcomeSpread

if TYPE_CHECKING:
    from energy.chain.trip import TripAnswer
    from energy.chain.trip_stall import TripStallRisk

_NOMINAL = 0.02  # share of the time that the answer of the values as stated takes


@dataclass(frozen=True)
class Answered(SteadyOrTrip):
    """One answered scenario: the ledger's answer and the break-even head wind (m/s, NaN if none)."""

    scenario: Scenario
    answer: Answer
    break_even_head_wind_m_s: float
    spread: OutcomeSpread | None = None  # None where nothing is uncertain, or draws were not wanted
    stall: StallRisk | None = None  # None where no curves are known, or over a trip
    trip: TripAnswer | None = None  # of a scenario with a schedule; `answer` is then its mean over time
    place: PlaceRisk | None = None  # where the air that the rotor sits in decides
    trip_stall: TripStallRisk | None = None  # over a trip, where curves are known
    best_pitch: PitchBreakEven | None = None  # where the set pitch breaks even in no head wind, and curves have others
    better_pitch: Setting | None = None  # at one speed, where it gives clearly more heat and the rotor is not stalled

    @property
    def outcome(self) -> Outcome:
        """The figures of the answer: every output that states them takes them from here."""
        change, heat = float(self.answer.change.power_w), float(self.answer.turbine.heat_power_w)
        if self.spread is None:
            return outcome_of((change,), (heat,))
        moved = self.spread.of == "fuel"  # else no draw moves the fuel
        return outcome_of(self.spread.change_w if moved else (change,), self.spread.heat_w)

    @property
    def fuel_kind(self) -> str:
        """The kind of quantity that fuel is told in: flow, or volume over a trip."""
        return "fuel_flow" if self.trip is None else "volume"

    @property
    def power_kind(self) -> str:
        """The kind of quantity that heat is told in: power, or energy over a trip."""
        return "power" if self.trip is None else "energy"


def broken_as_stated(checked: Scenario) -> tuple[OperatingLimit, ...]:
    """Return the limits that a scenario breaks at its values as stated, the most exceeded first."""
    return broken_limits(answered(checked, exact=True))


def answered(
    scenario: Scenario, *, exact: bool = False, stated: Answered | None = None, progress: Progress | None = None
) -> Answered:
    """Return the answer of a scenario's nominal values, with the head wind from which the heat outweighs the drag
    power.

    And with how sure it is, from draws over all inputs that are not known exactly, unless `exact`. `stated` is the
    `exact` answer of the same scenario where it is known already: the draws are then all that is computed. `progress`
    is told the share done (see energy/progress.py).
    """
    if scenario.schedule is not None:
        return _trip_answered(scenario, exact=exact, stated=stated, progress=progress)
    nominal = _as_stated_answered(scenario) if stated is None else stated
    if not exact:
        spread = spread_of(scenario, progress=part(progress, _NOMINAL, 1.0))
        nominal = replace(nominal, spread=spread, stall=stall_risk(scenario, stated=nominal.stall))
    tell(progress, 1.0)
    return nominal


def _as_stated_answered(scenario: Scenario) -> Answered:
    nominal = answer(inputs_of(scenario))
    refuse_impossible(scenario, nominal, nominal.turbine)
    wind = break_even_m_s(scenario)
    moving = float(np.asarray(nominal.inputs.road_speed_m_s)) > 0
    best_pitch = best_pitch_break_even(scenario) if moving and math.isnan(wind) else None
    stall = stall_risk(scenario, exact=True)
    return Answered(
        scenario,
        nominal,
        wind,
        stall=stall,
        place=place_risk(scenario),
        best_pitch=best_pitch,
        better_pitch=_better_pitch(scenario, nominal, stall),
    )


def _better_pitch(scenario: Scenario, nominal: Answer, stall: StallRisk | None) -> Setting | None:
    """Return a pitch of clearly more heat; None where the rotor is stalled, which has a remedy of its own."""
    if stall is None or stall.at_stated_values:
        return None
    return better_pitch(scenario, float(nominal.turbine.heat_power_w))


def _trip_answered(scenario: Scenario, *, exact: bool, stated: Answered | None, progress: Progress | None) -> Answered:
    from energy.chain.trip import answer_trip, trip_chain
    from energy.chain.trip_stall import trip_stall_risk

    trip = None if stated is None else stated.trip
    if trip is None:
        trip = answer_trip(scenario)
        refuse_impossible(scenario, trip.mean, trip.most)
    spread = None
    if not exact:
        quick = trip_chain(scenario, coarse=True)
        draws_progress = part(progress, _NOMINAL, 1.0)
        spread = spread_of(scenario, trip_chain(scenario), sampling=OVER_A_TRIP, quick=quick, progress=draws_progress)
    tell(progress, 1.0)
    stall = trip_stall_risk(scenario, exact=exact)
    place = place_risk(scenario) if stated is None else stated.place
    return Answered(scenario, trip.mean, math.nan, spread, trip=trip, trip_stall=stall, place=place)
