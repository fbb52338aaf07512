"""What a load needs and reaches under a steady power: the steady state of the product, from load and air around."""

from __future__ import annotations

import numpy as np

from energy.heat.load import HeatedLoad, Number, coefficients, draws_of
from energy.heat.steady import ending_at, holding_at
from energy.heat.steps import FloatArray, surroundings


def holding_power_w(
    heater: HeatedLoad, temperature_k: Number, ambient_k: Number, air_speed_m_s: Number = 0.0
) -> FloatArray:
    """Return the steady power that holds the main node at a temperature, W, shape (draws,).

    Below 0 where the ambient is the warmer. Includes the steam of open water, as if water were topped up.

    Parameters
    ----------
    heater : the load
    temperature_k, ambient_k : [K] single values or (draws,)
    air_speed_m_s : [m/s] single value or (draws,)

    Returns
    -------
    [W] (draws,).

    Raises
    ------
    HeaterError
        For a load or numbers that cannot be.

    References
    ----------
    .. [1] As `holding_at`.
    """
    draws = draws_of(heater, temperature_k, ambient_k, air_speed_m_s)
    load = coefficients(heater, draws)
    ambient = np.broadcast_to(np.asarray(ambient_k, dtype=float), (draws,))
    wind = np.asarray(air_speed_m_s, dtype=float)
    around = surroundings(load, np.zeros(draws), ambient, wind if load.windy else None)
    return holding_at(load, around, np.broadcast_to(np.asarray(temperature_k, dtype=float), (draws,)).copy())[0]


def highest_temperature_k(
    heater: HeatedLoad, power_w: Number, ambient_k: Number, air_speed_m_s: Number = 0.0
) -> FloatArray:
    """Return the temperature at which the main node ends under a steady power, K, shape (draws,).

    Where water is held it is at most the boiling point. NaN for a load without any loss: it has no highest temperature.

    Parameters
    ----------
    heater : the load
    power_w : [W] single value or (draws,)
    ambient_k : [K] single value or (draws,)
    air_speed_m_s : [m/s] single value or (draws,)

    Returns
    -------
    [K] (draws,).

    Raises
    ------
    HeaterError
        For a load or numbers that cannot be.

    References
    ----------
    .. [1] As `ending_at`.
    """
    draws = draws_of(heater, power_w, ambient_k, air_speed_m_s)
    load = coefficients(heater, draws)
    ambient = np.broadcast_to(np.asarray(ambient_k, dtype=float), (draws,)).copy()
    power = np.broadcast_to(np.asarray(power_w, dtype=float), (draws,))
    wind = np.asarray(air_speed_m_s, dtype=float)
    around = surroundings(load, np.zeros(draws), ambient, wind if load.windy else None)
    return ending_at(load, around, power)
