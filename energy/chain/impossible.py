"""What only the solved turbine shows to be impossible: no answer is given for it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from energy.aero.air import sound_speed_m_s
from vehicle.problems import InputError, Problem

if TYPE_CHECKING:
    from energy.chain.ledger import Answer, TurbineAtWork
    from energy.scenario.read import Scenario


def refuse_impossible(scenario: Scenario, outcome: Answer, turbine: TurbineAtWork) -> None:
    """Raise InputError where the answer is no number, or the working rotor's tips move faster than sound.

    `turbine` is the turbine where it works hardest. Without this a fuel power that is no number would be neither
    above nor below zero, and a verdict could call it free.
    """
    change = float(np.asarray(outcome.change.power_w))
    if not math.isfinite(change):
        read = "these values together give a change in fuel that is no finite number"
        raise InputError(Problem(scenario.name, "scenario", read, "values of a vehicle and turbine that can be built"))
    radius_m = float(np.asarray(outcome.inputs.turbine.diameter_m)) / 2
    tip_m_s = float(np.asarray(turbine.rotor_speed_rad_s)) * radius_m
    sound_m_s = float(sound_speed_m_s(scenario.air.temperature.value))
    if tip_m_s > sound_m_s:
        read = f"the blade tips would move at {tip_m_s:.0f} m/s, faster than sound ({sound_m_s:.0f} m/s)"
        accepted = (
            "a rotor that its load holds back: lower heater.resistance, another rotor.pitch or drive.ratio, or less air"
        )
        raise InputError(Problem(scenario.name, "rotor", read, accepted))
