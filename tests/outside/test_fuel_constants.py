"""Fuel constants of US EPA, US EIA and US DOE."""

import pytest

from vehicle.driving.fuels import FUELS

GALLON_M3 = 3.785411784e-3


def test_epa_co2_per_gallon() -> None:
    # US EPA, Greenhouse gas emissions from a typical passenger vehicle: 8 887 g per US gallon petrol, 10 180 g diesel.
    assert FUELS["petrol"].co2_kg_per_m3 * GALLON_M3 == pytest.approx(8.887, rel=1e-6)
    assert FUELS["diesel"].co2_kg_per_m3 * GALLON_M3 == pytest.approx(10.180, rel=1e-6)


def test_eia_co2_of_e10_and_diesel() -> None:
    # US EIA FAQ 307 (2015): diesel 22.38 lb per US gallon. Within 1 % of EPA's.
    assert FUELS["diesel"].co2_kg_per_m3 * GALLON_M3 / 0.45359237 == pytest.approx(22.38, rel=0.01)
    assert FUELS["e10"].co2_kg_per_m3 * GALLON_M3 / 0.45359237 == pytest.approx(18.95, rel=1e-6)


def test_energy_of_a_gallon_of_petrol() -> None:
    # US EPA's miles-per-gallon equivalence, 33.7 kWh per US gallon (from memory).
    assert FUELS["petrol"].heating_value_j_per_m3 * GALLON_M3 / 3.6e6 == pytest.approx(33.7, rel=0.012)


def test_carbon_balance_of_petrol_and_diesel() -> None:
    # Petrol is about 86.5 % carbon, diesel about 87 % (from memory): CO2 = carbon × 44.01/12.011.
    for name, carbon in (("petrol", 0.865), ("diesel", 0.870)):
        fuel = FUELS[name]
        assert fuel.co2_kg_per_m3 == pytest.approx(fuel.density_kg_m3 * carbon * 44.01 / 12.011, rel=0.02)


def test_heating_values_per_mass_are_those_of_handbooks() -> None:
    # Lower heating values from memory: petrol about 43, diesel about 43, propane about 46 MJ/kg.
    for name, mj in (("petrol", 43.0), ("diesel", 43.0), ("lpg", 45.5)):
        assert FUELS[name].heating_value_j_per_kg / 1e6 == pytest.approx(mj, rel=0.04)


def test_miles_per_gallon_and_litres_per_hundred_kilometres() -> None:
    # By definition: L/100 km × mpg = 235.2 (US), 282.5 (imperial).
    assert pytest.approx(235.2, abs=0.05) == 100_000 / 1609.344 * GALLON_M3 * 1000
    assert pytest.approx(282.5, abs=0.05) == 100_000 / 1609.344 * 4.54609e-3 * 1000
