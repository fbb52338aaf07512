"""How fuel goes with speed and head wind from run to run: physics, and what the runs show inside themselves.

Slopes inside runs mistake hills for speed where speed hardly varies (a hill slows the vehicle and costs fuel), so they
are weighed against the physics of a vehicle on the road: fuel power = friction + rolling + air drag.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vehicle.road_test.slopes import Slopes
from vehicle.road_test.sources import MOVING_M_S
from vehicle.road_test.windows import RunWindows

# Share of the fuel power that air drag takes: a half at 28 m/s (100 km/h), falling with the square of speed against
# what rises with speed alone. From memory: about half at motorway speed; the range serves cars and vans.
_EQUAL_SHARES_M_S = 28.0
_SHARE_ERROR = 0.2  # standard deviation, of itself
_KNOWN_SHARE_ERROR = 0.1  # where the coast-down coefficients are given
_ELASTICITY_ERROR = 0.2  # gears, hills, traffic: standard deviation of the elasticity beside that of the share
_SLOPE_BIAS, _SLOPE_BIAS_WITH_GRADE = 0.06, 0.015  # over the relative deviation of speed inside runs
_LOWEST_SHARE, _HIGHEST_SHARE = 0.03, 0.75


@dataclass(frozen=True)
class ConditionSensitivity:
    """Relative change of fuel (or load) with the mean conditions of a run, each with its standard deviation.

    `speed` is per relative change of road speed, `air_share` per relative change of air drag: its share of the fuel.
    """

    speed: float
    speed_error: float
    air_share: float
    air_share_error: float


def air_share(speed_m_s: float, drag_w: float | None = None, fuel_as_shaft_w: float | None = None) -> float:
    """Return the share of the fuel that air drag takes at a road speed [m/s] in still air.

    Parameters
    ----------
    speed_m_s
        Road speed [m/s].
    drag_w
        Power of air drag [W], where coast-down coefficients are given.
    fuel_as_shaft_w
        Indicated power that the fuel gives [W], where litres are known.

    Returns
    -------
    float
        Between 0.03 and 0.75.
    """
    if drag_w is not None and fuel_as_shaft_w is not None and fuel_as_shaft_w > 0:
        share = drag_w / 0.93 / fuel_as_shaft_w
    else:
        share = speed_m_s**2 / (speed_m_s**2 + _EQUAL_SHARES_M_S**2)
    return min(max(share, _LOWEST_SHARE), _HIGHEST_SHARE)


def sensitivity(
    runs: Sequence[RunWindows], slopes: Slopes, share: float, *, known: bool, load: bool
) -> ConditionSensitivity:
    """Return how the mean fuel of runs goes with their mean speed and head wind.

    The elasticity over speed is one plus twice the share of air drag (friction and rolling power rise with speed, air
    drag with its cube), weighed by precision with what `slopes` show inside runs.

    Parameters
    ----------
    runs
        Runs cut into windows.
    slopes
        As learnt inside these runs.
    share
        Of air drag, see `air_share`.
    known
        Whether the share comes from coast-down coefficients.
    load
        Whether load is asked for, which lacks the engine speed that fuel rises with.

    Returns
    -------
    ConditionSensitivity
        Of fuel, or of load.
    """
    share_error = (_KNOWN_SHARE_ERROR if known else _SHARE_ERROR) * share
    physics = 2 * share + (0.0 if load else 1.0)
    unsteady = _unsteady(runs)  # the physics is that of a steady speed
    error = math.hypot(2 * share_error, _ELASTICITY_ERROR, unsteady)
    learnt = learnt_elasticity(runs, slopes, load=load)
    learnt_error = (_SLOPE_BIAS_WITH_GRADE if "grade" in slopes.names else _SLOPE_BIAS) / unsteady
    weight = 0.0 if learnt is None else error**2 / (error**2 + learnt_error**2)
    speed = physics if learnt is None else physics + weight * (learnt - physics)
    return ConditionSensitivity(speed, error * math.sqrt(1 - weight), share, share_error)


def learnt_elasticity(runs: Sequence[RunWindows], slopes: Slopes, *, load: bool = False) -> float | None:
    """Return the relative change of fuel (or load) per relative change of speed that the slopes hold; None for none."""
    of = slopes.load if load else slopes.fuel
    level = _level(runs, load=load)
    if of is None or not level > 0 or not {"speed", "air"} & set(slopes.names):
        return None
    return _by(runs, slopes, of, {"speed": 1.0, "air": 3.0}) / level


def learnt_wind(runs: Sequence[RunWindows], slopes: Slopes, *, load: bool = False) -> float:
    """Return the relative change of fuel (or load) per m/s of head wind that the slopes hold [s/m]."""
    of = slopes.load if load else slopes.fuel
    level = _level(runs, load=load)
    speed = float(np.mean([run.means["speed_m_s"] for run in runs]))
    if of is None or not level > 0 or not speed > MOVING_M_S:
        return 0.0
    return _by(runs, slopes, of, {"air": 2.0 / speed}) / level


def _by(runs: Sequence[RunWindows], slopes: Slopes, of: np.ndarray, factors: dict[str, float]) -> float:
    change = 0.0
    for name, place, slope in zip(slopes.names, slopes.places, of.tolist(), strict=True):
        if name in factors:
            change += slope * factors[name] * float(np.mean([run.mean_covariates[place] for run in runs]))
    return change


def _level(runs: Sequence[RunWindows], *, load: bool) -> float:
    if load:
        return float(np.mean([run.mean_load for run in runs]))
    return float(np.mean([run.logged_fuel_m3_s for run in runs]))


def _unsteady(runs: Sequence[RunWindows]) -> float:
    """Return the relative deviation of speed inside runs: the more it varies, the less hills do to learnt slopes."""
    variance = [run.speed_variance for run in runs if run.weight_s.size > 1]
    mean = float(np.mean([run.means["speed_m_s"] for run in runs]))
    return math.sqrt(max(float(np.mean(variance)), 1e-12)) / max(mean, 1e-6) if variance else 1e-6
