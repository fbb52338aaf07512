"""Water that warms, steams and boils: saturation, latent heat, boiling point and loss from an open surface."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

from vehicle.constants import WATER_VAPOUR_GAS_CONSTANT_J_KG_K, ZERO_CELSIUS_K

FloatArray = npt.NDArray[np.float64]

SPECIFIC_HEAT_J_KG_K = 4186.0
"""Liquid water between 10 and 95 °C, within 0.5 % (IAPWS SR6-08 gives 4181.4 J/(kg K) at 25 °C)."""

_CRITICAL_K, _CRITICAL_PA = 647.096, 22.064e6
# Heat-to-mass analogy, h_mass = h / (rho cp Le^(2/3)), with air of 1.1 kg/m³, 1007 J/(kg K) and Le 0.85 for water
# vapour in air (Incropera & DeWitt, heat and mass transfer analogy, from memory).
_FILM_TO_MASS_K_M3_J = 1.0 / (1.1 * 1007.0 * 0.85 ** (2 / 3))


def saturation_pressure_pa(temperature_k: npt.ArrayLike) -> FloatArray:
    """Return the vapour pressure of water over a flat surface of that temperature (273.16 to 647 K), in Pa.

    Equation of Wagner & Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, as in IAPWS SR1-86(1992); constants from memory,
    checked against a reference library in the tests.

    Parameters
    ----------
    temperature_k : [K] any shape

    Returns
    -------
    [Pa], of that shape.

    References
    ----------
    .. [1] Wagner and Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, as in IAPWS SR1-86(1992).
    """
    temperature = np.asarray(temperature_k, dtype=float)
    root = np.sqrt(np.maximum(1.0 - temperature / _CRITICAL_K, 0.0))
    # The powers 1, 1.5, 3, 3.5, 4 and 7.5 of tau as a polynomial of its root, evaluated in place: long marches call
    # this at every step.
    tau = root * root
    cube = tau * root
    series = cube * cube
    series *= root
    series *= 1.80122502
    for factor, power in ((-15.9618719, root), (22.6807411, root), (-11.7866497, cube), (1.84408259, root)):
        series += factor
        series *= power
    series += -7.85951783
    series *= tau
    series *= _CRITICAL_K
    series /= temperature
    return np.asarray(_CRITICAL_PA * np.exp(series))


def latent_heat_j_kg(temperature_k: npt.ArrayLike) -> FloatArray:
    """Return the heat that turns 1 kg of water at that temperature into vapour, in J/kg (0 to 100 °C within 0.3 %).

    Straight line through 2501 kJ/kg at 0 °C and 2257 kJ/kg at 100 °C (steam tables, from memory).

    Parameters
    ----------
    temperature_k : [K] any shape

    Returns
    -------
    [J/kg], of that shape.

    References
    ----------
    .. [1] Steam tables, from memory.
    """
    return np.asarray(2.501e6 - 2440.0 * (np.asarray(temperature_k, dtype=float) - ZERO_CELSIUS_K))


def boiling_point_k(pressure_pa: npt.ArrayLike) -> FloatArray:
    """Return the temperature at which water boils under an air pressure of 10 to 200 kPa, in K.

    Inverse of `saturation_pressure_pa` by Newton's method on the logarithm of pressure against 1/T, which is nearly a
    line.

    Parameters
    ----------
    pressure_pa : [Pa] any shape

    Returns
    -------
    [K], of that shape.

    References
    ----------
    .. [1] The inverse of `saturation_pressure_pa`; slope by Clausius and Clapeyron.
    """
    pressure = np.asarray(pressure_pa, dtype=float)
    temperature = np.full(pressure.shape, 373.15)
    for _ in range(6):
        slope = latent_heat_j_kg(temperature) / WATER_VAPOUR_GAS_CONSTANT_J_KG_K  # d ln p / d(-1/T), Clausius-Clapeyron
        inverse = 1.0 / temperature + np.log(saturation_pressure_pa(temperature) / pressure) / slope
        temperature = 1.0 / inverse
    return temperature


def _vapour_density_kg_m3(temperature_k: FloatArray) -> FloatArray:
    """Return the density of saturated vapour by the ideal gas law."""
    return saturation_pressure_pa(temperature_k) / (WATER_VAPOUR_GAS_CONSTANT_J_KG_K * temperature_k)


@functools.lru_cache(maxsize=1024)
def _density_at(temperature_k: float) -> float:
    return float(_vapour_density_kg_m3(np.asarray(temperature_k)))


def evaporation_w_m2(
    temperature_k: npt.ArrayLike, ambient_k: npt.ArrayLike, relative_humidity: npt.ArrayLike, film_w_m2_k: npt.ArrayLike
) -> FloatArray:
    """Return the heat that vapour carries off an open water surface, in W per m², never below 0 (no dew is counted).

    `film_w_m2_k` is the convective film of the air over the surface. Heat-to-mass analogy (Incropera & DeWitt, from
    memory).

    Parameters
    ----------
    temperature_k, ambient_k : [K] shapes that broadcast
    relative_humidity : [-] 0 to 1, any shape
    film_w_m2_k : [W/(m² K)], any shape

    Returns
    -------
    [W/m²], the shape of all inputs broadcast.

    References
    ----------
    .. [1] Incropera and DeWitt, heat and mass transfer analogy, from memory.
    """
    temperature = np.asarray(temperature_k, dtype=float)
    ambient = np.asarray(ambient_k, dtype=float)
    over = _vapour_density_kg_m3(temperature)
    # One ambient for all draws: hour after hour the same, so it is looked up.
    saturated = _density_at(float(ambient.flat[0])) if ambient.size == 1 else _vapour_density_kg_m3(ambient)
    around = np.asarray(relative_humidity) * saturated
    flux = np.asarray(film_w_m2_k) * _FILM_TO_MASS_K_M3_J * (over - around)
    return np.asarray(np.maximum(flux, 0.0) * latent_heat_j_kg(temperature))
