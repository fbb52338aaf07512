"""What a litre of fuel holds: density, lower heating value, carbon dioxide, air it needs."""

from __future__ import annotations

from dataclasses import dataclass

_BTU_PER_US_GALLON = 1055.05585262 / 3.785411784e-3  # J/m3
_G_PER_US_GALLON = 1e-3 / 3.785411784e-3  # kg/m3
_LB_PER_US_GALLON = 0.45359237 / 3.785411784e-3  # kg/m3


@dataclass(frozen=True)
class Fuel:
    """One fuel: density in kg/m3, lower heating value in J/m3, carbon dioxide when burnt in kg/m3 of fuel, and the
    stoichiometric air-fuel ratio in kg of air per kg of fuel; `sources` says where each comes from.
    """

    name: str
    density_kg_m3: float
    heating_value_j_per_m3: float
    co2_kg_per_m3: float
    stoichiometric_air_fuel_ratio: float
    sources: tuple[str, ...]


_HEATING = "lower heating value: US DOE AFDC fuel property table (GREET 2013)"
_DENSITY = "density: Staffell, Energy and Fuel Data Sheet (2011)"

FUELS: dict[str, Fuel] = {
    "petrol": Fuel("petrol", 741.0, 116_090 * _BTU_PER_US_GALLON, 8_887 * _G_PER_US_GALLON, 14.7, (
        _DENSITY, _HEATING, "carbon dioxide: US EPA, 8 887 g per US gallon (as quoted)",
        "air-fuel ratio: AFDC fuel property comparison")),
    "e10": Fuel("e10", 745.8, 112_114 * _BTU_PER_US_GALLON, 18.95 * _LB_PER_US_GALLON, 14.1, (
        "density: 90 % petrol (Staffell 2011) and 10 % ethanol at 789 kg/m3 (from memory)", _HEATING,
        "carbon dioxide: US EIA FAQ 307 (2015), 18.95 lb per US gallon", "air-fuel ratio: about 14.1, a weak source")),
    "diesel": Fuel("diesel", 837.0, 128_450 * _BTU_PER_US_GALLON, 10_180 * _G_PER_US_GALLON, 14.5, (
        _DENSITY, _HEATING, "carbon dioxide: US EPA, 10 180 g per US gallon (as quoted)",
        "air-fuel ratio: 14.5, from memory")),
    "lpg": Fuel("lpg", 533.0, 84_250 * _BTU_PER_US_GALLON, 5.72 * 1e3 * _G_PER_US_GALLON, 15.6, (
        _DENSITY, "lower heating value: propane, US DOE AFDC fuel property table",
        "carbon dioxide: 5.72 kg per US gallon, from memory", "air-fuel ratio: 15.6, from memory")),
}  # fmt: skip
