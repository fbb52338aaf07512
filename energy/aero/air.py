"""The air: how heavy it is, and how it meets the vehicle and the rotor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vehicle.arrays import Values
from vehicle.constants import (
    DRY_AIR_GAS_CONSTANT_J_KG_K,
    GRAVITY_M_S2,
    SEA_LEVEL_PRESSURE_PA,
    WATER_VAPOUR_GAS_CONSTANT_J_KG_K,
    ZERO_CELSIUS_K,
)

SEA_LEVEL_TEMPERATURE_K = 288.15  # US Standard Atmosphere 1976
LAPSE_RATE_K_M = 0.0065
EARTH_RADIUS_M = 6_356_766.0
_ROUNDING = 1e-14


def standard_atmosphere(altitude_m: Values) -> tuple[np.ndarray, np.ndarray]:
    """Return (temperature K, pressure Pa) of the US Standard Atmosphere 1976 at geometric altitudes up to 11 km.

    Hydrostatic troposphere with a lapse of 6.5 K per km of geopotential altitude.

    Parameters
    ----------
    altitude_m : [m] any shape; geometric altitude, up to 11 km

    Returns
    -------
    [K] temperature and [Pa] pressure, each of that shape.

    References
    ----------
    .. [1] US Standard Atmosphere 1976.
    """
    altitude = np.asarray(altitude_m, float)
    geopotential = EARTH_RADIUS_M * altitude / (EARTH_RADIUS_M + altitude)
    temperature = SEA_LEVEL_TEMPERATURE_K - LAPSE_RATE_K_M * geopotential
    exponent = GRAVITY_M_S2 / (DRY_AIR_GAS_CONSTANT_J_KG_K * LAPSE_RATE_K_M)
    return temperature, SEA_LEVEL_PRESSURE_PA * (temperature / SEA_LEVEL_TEMPERATURE_K) ** exponent


def saturation_vapour_pressure_pa(temperature_k: Values) -> np.ndarray:
    """Return the saturation vapour pressure over water (Pa): Magnus form of Alduchov & Eskridge (1996), from memory.

    Parameters
    ----------
    temperature_k : [K] any shape

    Returns
    -------
    [Pa], of that shape.

    References
    ----------
    .. [1] Alduchov and Eskridge (1996), Magnus form, from memory.
    """
    celsius = np.asarray(temperature_k, float) - ZERO_CELSIUS_K
    return 610.94 * np.exp(17.625 * celsius / (celsius + 243.04))


def density_kg_m3(temperature_k: Values, pressure_pa: Values, relative_humidity: Values = 0.0) -> np.ndarray:
    """Return the density of moist air (kg/m³): dry air and vapour as ideal gases at their partial pressures.

    Parameters
    ----------
    temperature_k, pressure_pa : [K], [Pa] any shapes that broadcast
    relative_humidity : [-] 0 to 1, any shape

    Returns
    -------
    [kg/m³], the shape of all inputs broadcast.

    References
    ----------
    .. [1] Ideal gas law; gas constant of water vapour of IAPWS-95.
    """
    temperature = np.asarray(temperature_k, float)
    vapour = np.asarray(relative_humidity) * saturation_vapour_pressure_pa(temperature)
    dry = np.asarray(pressure_pa) - vapour
    return dry / (DRY_AIR_GAS_CONSTANT_J_KG_K * temperature) + vapour / (WATER_VAPOUR_GAS_CONSTANT_J_KG_K * temperature)


def dynamic_viscosity_pa_s(temperature_k: Values) -> np.ndarray:
    """Return the dynamic viscosity of air (Pa·s): Sutherland's formula as in the US Standard Atmosphere 1976.

    Parameters
    ----------
    temperature_k : [K] any shape

    Returns
    -------
    [Pa·s], of that shape.

    References
    ----------
    .. [1] Sutherland's formula as in the US Standard Atmosphere 1976.
    """
    temperature = np.asarray(temperature_k, float)
    return 1.458e-6 * temperature**1.5 / (temperature + 110.4)


def sound_speed_m_s(temperature_k: Values) -> np.ndarray:
    """Return the speed of sound in dry air (m/s): √(1.4·R·T), US Standard Atmosphere 1976.

    Parameters
    ----------
    temperature_k : [K] any shape

    Returns
    -------
    [m/s], of that shape.

    References
    ----------
    .. [1] US Standard Atmosphere 1976.
    """
    return np.sqrt(1.4 * DRY_AIR_GAS_CONSTANT_J_KG_K * np.asarray(temperature_k, float))


@dataclass(frozen=True)
class AirAtVehicle:
    """The air as the moving vehicle meets it, in m/s and radians.

    `ahead_m_s` comes from the front (negative: from behind), `across_m_s` from the side, `speed_m_s` is their
    resultant and `yaw_rad` the angle between it and the vehicle's axis (0 from ahead, π from behind).
    """

    ahead_m_s: np.ndarray
    across_m_s: np.ndarray
    speed_m_s: np.ndarray
    yaw_rad: np.ndarray


def wind_triangle(road_speed_m_s: Values, wind_speed_m_s: Values, wind_from_rad: Values) -> AirAtVehicle:
    """Return the air that a vehicle meets; `wind_from_rad`: 0 head wind, ±π/2 from the side, π tail wind.

    Parameters
    ----------
    road_speed_m_s, wind_speed_m_s : [m/s] any shapes that broadcast
    wind_from_rad : [rad] 0 head wind, ±π/2 from the side, π tail wind, any shape

    Returns
    -------
    The air that the vehicle meets, arrays of the broadcast shape.

    References
    ----------
    .. [1] Geometry, closed form.
    """
    wind, angle = np.asarray(wind_speed_m_s, float), np.asarray(wind_from_rad, float)
    ahead = np.asarray(road_speed_m_s, float) + wind * np.cos(angle)
    ahead, across = np.broadcast_arrays(ahead, wind * np.sin(angle))
    # cos 90° and sin 180° are no zeros in floating point: what is left of them is no air.
    nothing = _ROUNDING * (np.abs(road_speed_m_s) + np.abs(wind))
    ahead, across = (np.where(np.abs(part) <= nothing, 0.0, part) for part in (ahead, across))
    return AirAtVehicle(ahead, across, np.hypot(ahead, across), np.arctan2(np.abs(across), ahead))


def rotor_air_speed_m_s(
    air: AirAtVehicle, yaw_exponent: Values, local_speed_factor: Values = 1.0, *, turns_into_wind: bool = False
) -> np.ndarray:
    """Return the air speed that works on a rotor whose axis lies along the vehicle (m/s, never negative).

    Power falls with cos^n of the yaw angle, n = `yaw_exponent`; as power goes with the cube of the air speed, that is a
    working air speed of |u|·cos(yaw)^(n/3). n = 3 is the axial component alone. There is no single exponent: it
    depends on the thrust coefficient and on how the rotor is governed (Tamaro et al., Wind Energy Science 9 (2024)
    1547). Air from behind gives nothing. `local_speed_factor` is the air speed where the rotor sits over that of the
    free air. A rotor that turns into the wind has no yaw.

    Parameters
    ----------
    air : the air that the vehicle meets, arrays of shape S
    yaw_exponent : [-] n, broadcasts with S
    local_speed_factor : [-] broadcasts with S
    turns_into_wind : whether the rotor yaws by itself

    Returns
    -------
    [m/s], the shape of all inputs broadcast, never negative.

    References
    ----------
    .. [1] Tamaro et al., Wind Energy Science 9 (2024) 1547: that there is no single exponent. The cosine to a power:
       common practice, no source.
    """
    cosine = np.ones_like(air.yaw_rad)
    if not turns_into_wind:
        cosine = np.clip(np.cos(air.yaw_rad), 0.0, 1.0)
        cosine = np.where(cosine <= _ROUNDING, 0.0, cosine)
    return np.asarray(local_speed_factor) * air.speed_m_s * cosine ** (np.asarray(yaw_exponent) / 3.0)


def turbulence_factors(turbulence_intensity: Values) -> tuple[np.ndarray, np.ndarray]:
    """Return by what gusts raise the means of the cube and of the square of the air speed over those of its mean.

    With U = mean + u, the mean of u zero and of its third power zero, mean(U³) = mean³·(1 + 3·I²) and
    mean(U²) = mean²·(1 + I²), I = standard deviation over mean: shaft power and thrust of a rotor that follows its
    gusts [1]_.

    Parameters
    ----------
    turbulence_intensity : float or array, any shape
        I [-].

    Returns
    -------
    tuple of arrays
        Factor on power and factor on thrust [-], 1 or more, each of the shape of `turbulence_intensity`.

    References
    ----------
    .. [1] The binomial expansion, for gusts without skew; that the rotor follows them is an assumption.
    """
    squared = np.asarray(turbulence_intensity, float) ** 2
    return 1 + 3 * squared, 1 + squared


def shear_speed_factor(
    hub_height_m: Values, rotor_radius_m: Values, known_height_m: Values, exponent: Values = 1.0 / 7.0
) -> np.ndarray:
    """Return the air speed of equal power over the disc, over the speed at `known_height_m`, for a power-law profile.

    Cube-mean over the disc's chords of (z/known)^exponent (shapes broadcast); exponent 1/7 over open ground is common
    practice, no source. On a moving vehicle only the wind is sheared, not the air met by driving. A disc that would
    meet the ground is cut off there.

    Parameters
    ----------
    hub_height_m, rotor_radius_m, known_height_m : [m]
        shapes that broadcast; the known height is that of the given wind speed
    exponent : [-] of the power law, any shape

    Returns
    -------
    [-], the shape of all inputs broadcast.

    References
    ----------
    .. [1] Power-law profile: common practice, no source.
    """
    y = np.cos((np.arange(64) + 0.5) * np.pi / 64)  # Chebyshev points: weights sin² give chords of the disc
    weight = 1.0 - y * y
    height = np.asarray(hub_height_m, float)[..., None] + y * np.asarray(rotor_radius_m, float)[..., None]
    share = np.maximum(height, 0.0) / np.asarray(known_height_m, float)[..., None]
    cube = share ** (3.0 * np.asarray(exponent, float)[..., None])
    return np.asarray((weight * cube).sum(axis=-1) / weight.sum()) ** (1.0 / 3.0)
