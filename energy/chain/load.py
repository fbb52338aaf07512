"""The way in: a scenario is read and checked, and the ranges that its rotor's working point deserves are widened.

Reading alone (energy/scenario/read.py) solves nothing. Where the curves are doubtful at the point that the rotor works
at, the chain knows it; so everything that answers or draws takes its scenario from here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from energy.aero.blade import STALL_SHARE_LIMIT
from energy.chain.ledger import turbine_at_work
from energy.scenario.bundle import Bundle, read_bundle
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario, read_scenario
from vehicle.quantity import Uncertain

# Ends of rotor.power_factor around 1, common practice, no source: two-dimensional polars of stalled sections can be
# wrong
# by a factor of two; hand-made rotors reach power coefficients of 0.25 to 0.35 where the formula's polar promises more.
_ENDS_STALLED = (0.5, 2.0)
_ENDS_ESTIMATED_POLAR = (0.55, 1.05)


def load(path: Path, overrides: Sequence[str] = ()) -> Scenario:
    """Return the scenario of a TOML file, with `overrides` ("trip.road_speed=65 mph") laid over it, ready to be
    answered.

    Raises InputError with every fault that can be told at once.
    """
    return widened(read_scenario(path, overrides))


def opened(bundle: Bundle) -> Scenario:
    """Return the scenario of a bundle, ready to be answered; InputError with every fault, as the command
    line tells it.
    """
    return widened(read_bundle(bundle))


def widened(scenario: Scenario) -> Scenario:
    """Return the scenario with a wider range of rotor.power_factor where its curves deserve it.

    That is where the rotor works on stalled sections, or its polar is an estimate. A range that the user set stays.
    """
    curves, key = scenario.curves, "power_factor"
    if curves is None or curves.stalled_torque_share is None or key in scenario.rotor.model_fields_set:
        return scenario
    share = float(turbine_at_work(inputs_of(scenario)).stalled_torque_share)
    if share > STALL_SHARE_LIMIT:
        ends = _ENDS_STALLED
        reason = (
            f"{share:.0%} of the torque comes from stalled sections, where power from two-dimensional polars can be "
            "wrong by a factor of two (common practice, no source)"
        )
    elif scenario.blade is not None and scenario.blade.polar is None:
        ends = _ENDS_ESTIMATED_POLAR
        reason = (
            "curves of a polar estimated by formula; hand-made rotors reach power coefficients of 0.25 to 0.35 (common "
            "practice, no source)"
        )
    else:
        return scenario
    wide = scenario.rotor.model_copy(update={key: Uncertain(1.0, *ends, "triangular")})
    wide.model_fields_set.discard(key)  # the user did not set it: it stays an assumption
    return replace(scenario, rotor=wide, reasons={**scenario.reasons, f"rotor.{key}": reason})
