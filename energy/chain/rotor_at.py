"""What a rotor does at one air speed and turning speed, from its curves alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from energy.aero.operating_point import coefficients, stalled_torque_share
from energy.aero.stall import DELAY_SHARE_KEY
from energy.scenario.read import RotorOnly
from vehicle.problems import InputError, Problem


@dataclass(frozen=True)
class RotorAt:
    """A rotor at one air speed and turning speed (SI); `stalled_torque_share` is NaN where the curves do not tell
    it.
    """

    air_speed_m_s: float
    rotor_speed_rad_s: float
    tip_speed_ratio: float
    pitch_deg: float
    air_density_kg_m3: float
    power_coefficient: float
    thrust_coefficient: float
    shaft_power_w: float
    thrust_n: float
    stalled_torque_share: float
    stall_delay: bool  # whether the curves have it


def rotor_at(rotor: RotorOnly, air_speed_m_s: float, rotor_speed_rad_s: float | None) -> RotorAt:
    """Return what the rotor does in air of one speed, turning at one speed, or at its best tip-speed ratio for None.

    Raises InputError for a tip-speed ratio beyond the curves.
    """
    radius = rotor.rotor.diameter.value / 2
    pitch, end = rotor.pitch_deg, rotor.curves.tip_speed_ratio[-1]
    if rotor_speed_rad_s is None:
        ratios = np.linspace(0.05, end, 2000)
        ratio = float(ratios[np.argmax(coefficients(rotor.curves, pitch, ratios)[0])])
    else:
        ratio = rotor_speed_rad_s * radius / air_speed_m_s
    if ratio > end:
        read = f"a tip-speed ratio of {ratio:.3g}"
        raise InputError(Problem("command line", "--turning", read, f"at most {end:g}, where the curves end"))
    power, thrust, _ = (float(v) for v in coefficients(rotor.curves, pitch, ratio))
    force = 0.5 * rotor.density_kg_m3 * math.pi * radius**2 * air_speed_m_s**2
    return RotorAt(
        air_speed_m_s=air_speed_m_s,
        rotor_speed_rad_s=ratio * air_speed_m_s / radius,
        tip_speed_ratio=ratio,
        pitch_deg=pitch,
        air_density_kg_m3=rotor.density_kg_m3,
        power_coefficient=power,
        thrust_coefficient=thrust,
        shaft_power_w=power * force * air_speed_m_s,
        thrust_n=thrust * force,
        stalled_torque_share=float(stalled_torque_share(rotor.curves, pitch, ratio)),
        stall_delay=any(slope.key == DELAY_SHARE_KEY for slope in rotor.curves.slopes),
    )
