"""Constants of nature that more than one room needs, each with its source."""

GRAVITY_M_S2 = 9.80665
"""Standard gravity, ISO 80000-3."""

DRY_AIR_GAS_CONSTANT_J_KG_K = 287.0528
"""Specific gas constant of dry air, US Standard Atmosphere 1976 (8314.32 / 28.9644)."""

WATER_VAPOUR_GAS_CONSTANT_J_KG_K = 461.523
"""Specific gas constant of water vapour, IAPWS-95."""

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin, by definition of the Celsius temperature (SI brochure)."""

SEA_LEVEL_PRESSURE_PA = 101_325.0
"""Standard atmosphere, US Standard Atmosphere 1976."""

MILE_M = 1609.344
FOOT_M = 0.3048
MILE_PER_HOUR_M_S = 0.44704
POUND_KG = 0.45359237
"""International yard and pound agreement of 1959: exact, as is the foot, the mile and what is made of them."""

POUND_FORCE_N = 4.4482216152605
"""A pound under standard gravity, exact."""

PSI_PA = POUND_FORCE_N / 0.0254**2

US_GALLON_M3 = 3.785411784e-3
"""231 cubic inches, exact."""

IMPERIAL_GALLON_M3 = 4.54609e-3
"""UK Weights and Measures Act 1985, exact."""
