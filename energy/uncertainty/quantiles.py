"""What draws lead to: the interval of an outcome, and the probability that it saves."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vehicle.quantity import Estimate

SURE, ALMOST_CERTAIN = 0.95, 0.99
QUANTILES = (0.05, 0.25, 0.50, 0.75, 0.95)


@dataclass(frozen=True)
class ChainOutcome:
    """What the draws lead to, one entry a draw: change in fuel (or pack) power and heat, in W.

    `short_of_torque` says where the engine cannot drive that draw, on a trip at any moment of it.
    """

    change_w: np.ndarray
    heat_w: np.ndarray
    short_of_torque: np.ndarray = field(default_factory=lambda: np.zeros((), dtype=bool))


def saves_and_costs(outcome: ChainOutcome) -> tuple[np.ndarray, np.ndarray]:
    """Return for every draw (saves, costs); heat that costs no fuel counts as saving, neither fuel nor heat
    as neither.

    Parameters
    ----------
    outcome : (draws,)

    Returns
    -------
    Whether it saves and whether it costs, each (draws,).
    """
    small = 0.05  # W: rounding of engine powers of some 10 kW
    costs = outcome.change_w > small
    saves = (outcome.change_w < -small) | (~costs & (outcome.heat_w > 0.5))
    return saves, costs


def quantiles(values: np.ndarray) -> tuple[float, ...]:
    """Return the quantiles of draws at `QUANTILES`.

    Parameters
    ----------
    values : any unit, (draws,)

    Returns
    -------
    Of that unit, one for each of `QUANTILES`.

    References
    ----------
    .. [1] Sample quantiles of numpy.
    """
    return tuple(float(v) for v in np.quantile(values, QUANTILES))


def estimate_of(values: np.ndarray, level: float) -> Estimate:
    """Return the median of draws with the ends that hold a share of them.

    Parameters
    ----------
    values : any unit, (draws,)
    level : [-] share of the draws between the ends

    Returns
    -------
    Of that unit, one estimate of shape ().

    References
    ----------
    .. [1] Sample quantiles of numpy.
    """
    low, middle, high = np.quantile(values, [(1 - level) / 2, 0.5, (1 + level) / 2])
    return Estimate(float(middle), float(low), float(high), level)


def interval_width(values: np.ndarray) -> float:
    """Return the width of the 90 % interval of draws.

    Parameters
    ----------
    values : any unit, (draws,)

    Returns
    -------
    Of that unit.

    References
    ----------
    .. [1] Sample quantiles of numpy.
    """
    low, high = np.quantile(values, [0.05, 0.95])
    return float(high - low)


def figure_of(outcome: ChainOutcome, of: str) -> np.ndarray:
    """Return one figure of an outcome: the change in fuel ("fuel") or the heat ("heat"), in W.

    Parameters
    ----------
    outcome : (draws,)
    of : "fuel" or "heat"

    Returns
    -------
    [W] (draws,).
    """
    return outcome.change_w if of == "fuel" else outcome.heat_w
