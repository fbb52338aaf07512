"""Fuel from air flow against the carbon balance of US EPA figures and the chemistry of burning."""

from __future__ import annotations

import numpy as np
import pytest

from vehicle.driving.fuels import FUELS
from vehicle.logs.fuel_flow import fuel_from_air

GALLON = 3.785411784e-3


def test_petrol_carbon():
    # US EPA: 8 887 g of carbon dioxide per US gallon of petrol; carbon is 12.011/44.009 of it.
    petrol = FUELS["petrol"]
    carbon = petrol.co2_kg_per_m3 * 12.011 / 44.009 / petrol.density_kg_m3
    assert petrol.co2_kg_per_m3 * GALLON == pytest.approx(8.887)
    assert 0.85 < carbon < 0.88  # petrol is CH1.85 or so: 0.866 (from memory)


def test_air_for_petrol_by_chemistry():
    # CHy + (1 + y/4)(O2 + 3.773 N2): air of 28.96 g/mol with 4.773 mol per mol of oxygen
    y = 1.87
    air = (1 + y / 4) * 4.773 * 28.96 / (12.011 + 1.008 * y)
    assert FUELS["petrol"].stoichiometric_air_fuel_ratio == pytest.approx(air, rel=0.015)


def test_carbon_dioxide_of_an_air_flow():
    # 10 g/s of air burnt with petrol: by our fuel flow and EPA's factor, and by the oxygen it holds
    petrol = FUELS["petrol"]
    flow = fuel_from_air(np.array([0.010]), petrol)[0]
    ours = flow * petrol.co2_kg_per_m3
    y = 1.87
    chemistry = 0.010 / ((1 + y / 4) * 4.773 * 28.96e-3) * 44.009e-3
    assert ours == pytest.approx(chemistry, rel=0.02)
    gallons_per_hour = flow / GALLON * 3600
    assert gallons_per_hour == pytest.approx(0.873, rel=0.01)
