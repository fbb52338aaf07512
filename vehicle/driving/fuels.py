"""What a litre of fuel holds and leaves behind, with the source of each value."""

from __future__ import annotations

from dataclasses import dataclass

from vehicle.constants import POUND_KG, US_GALLON_M3

_BTU_J = 1055.056  # international table Btu


@dataclass(frozen=True)
class Fuel:
    """One liquid fuel: density, lower heating value, CO2 per volume, stoichiometric air-fuel ratio by mass."""

    name: str
    density_kg_m3: float
    heating_value_j_per_m3: float
    co2_kg_per_m3: float
    stoichiometric_air_fuel_ratio: float
    sources: str

    @property
    def in_words(self) -> str:
        """How the fuel stands in a sentence: "petrol", "LPG"."""
        return self.name.upper() if self.name in ("e10", "lpg") else self.name

    @property
    def heating_value_j_per_kg(self) -> float:
        """Lower heating value per mass, in J/kg."""
        return self.heating_value_j_per_m3 / self.density_kg_m3


def _per_gallon(btu: float) -> float:
    return btu * _BTU_J / US_GALLON_M3


_HEATING = "lower heating value: US DOE Alternative Fuels Data Center (GREET 2013)"
_DENSITY = "density: Staffell, Energy and Fuel Data Sheet (2011)"

FUELS: dict[str, Fuel] = {
    "petrol": Fuel(
        "petrol",
        741.0,
        _per_gallon(116_090.0),
        8.887 / US_GALLON_M3,
        14.7,
        f"{_HEATING}; {_DENSITY}; CO2: US EPA, 8 887 g per US gallon; air-fuel ratio: AFDC fuel property comparison",
    ),
    "e10": Fuel(
        "e10",
        746.0,
        _per_gallon(112_114.0),
        18.95 * POUND_KG / US_GALLON_M3,
        14.1,
        f"{_HEATING}; density: a tenth of ethanol (789 kg/m³, from memory) in that petrol; "
        "CO2: US EIA FAQ 307 (2015), 18.95 lb per US gallon, ethanol's part counted; "
        "air-fuel ratio: of ethanol 9 and petrol 14.7 (AFDC fuel property comparison) by mass",
    ),
    "diesel": Fuel(
        "diesel",
        837.0,
        _per_gallon(128_450.0),
        10.180 / US_GALLON_M3,
        14.5,
        f"{_HEATING}; {_DENSITY}; CO2: US EPA, 10 180 g per US gallon; air-fuel ratio: from memory",
    ),
    "lpg": Fuel(
        "lpg",
        533.0,
        _per_gallon(84_250.0),
        5.72 / US_GALLON_M3,
        15.67,
        f"{_HEATING}, as propane; {_DENSITY}; CO2: 40 CFR 98 Table C-1 (62.87 kg and 0.091 million "
        "Btu a US gallon of propane); air-fuel ratio: stoichiometry of propane",
    ),
}
"""Fuels by the name a scenario uses."""
