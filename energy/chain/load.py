"""The way in: a scenario is read and checked, and the ranges that its curves deserve are widened.

Reading alone (energy/scenario/read.py) takes every default as it stands. Where the curves rest on an estimate, the
chain knows it; so everything that answers or draws takes its scenario from here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from energy.scenario.bundle import Bundle, read_bundle
from energy.scenario.read import Scenario, read_scenario
from vehicle.quantity import Uncertain

# Ends of rotor.power_factor around 1, common practice, no source: hand-made rotors reach power coefficients of 0.25 to
# 0.35 where the formula's polar promises more; half of its drag, the end stated, gives a tenth more power.
_ENDS_ESTIMATED_POLAR = (0.55, 1.1)
# Ends of rotor.thrust_factor around 1 where thrust was estimated from power: at the best tip-speed ratio of 14 blades
# at pitches of -4 to 8 degrees, by blade-element momentum, thrust is 0.5 to 1.15 times that (own computation).
_ENDS_ESTIMATED_THRUST = (0.5, 1.25)


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
    """Return the scenario with wider ranges of rotor.power_factor and rotor.thrust_factor where its curves deserve it.

    That is where the section's polar, or the thrust, is an estimate. A range that the user set stays. What stalled
    sections make unknown bends the curves themselves (energy/aero/stall.py).
    """
    curves, blade = scenario.curves, scenario.blade
    if curves is not None and curves.thrust_is_estimated:
        reason = (
            "thrust estimated from the power coefficient: 0.5 to 1.15 times that at the best tip-speed ratio of 14 "
            "blades by blade-element momentum (own computation, no measurement)"
        )
        scenario = _ranged(scenario, "thrust_factor", _ENDS_ESTIMATED_THRUST, reason)
    if curves is not None and blade is not None and blade.polar is None:
        reason = (
            "curves of a polar estimated by formula; hand-made rotors reach power coefficients of 0.25 to 0.35 (common "
            "practice, no source)"
        )
        scenario = _ranged(scenario, "power_factor", _ENDS_ESTIMATED_POLAR, reason)
    return scenario


def _ranged(scenario: Scenario, key: str, ends: tuple[float, float], reason: str) -> Scenario:
    """Return the scenario with a factor of the rotor between `ends` around 1, unless the user set it."""
    if key in scenario.rotor.model_fields_set:
        return scenario
    wide = scenario.rotor.model_copy(update={key: Uncertain(1.0, *ends, "triangular")})
    wide.model_fields_set.discard(key)  # the user did not set it: it stays an assumption
    return replace(scenario, rotor=wide, reasons={**scenario.reasons, f"rotor.{key}": reason})
