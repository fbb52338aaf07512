"""Constants of nature that more than one room needs, each with its source."""

GRAVITY_M_S2 = 9.80665
"""Standard gravity, ISO 80000-3."""

DRY_AIR_GAS_CONSTANT_J_KG_K = 287.0528
"""Specific gas constant of dry air, US Standard Atmosphere 1976 (8314.32 / 28.9644)."""

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin, by definition of the Celsius temperature (SI brochure)."""
