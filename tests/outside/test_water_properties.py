"""Water against the IAPWS formulations, through the reference library `iapws`, and the tables transcribed from them."""

import numpy as np
import pytest
from iapws import IAPWS97
from iapws.iapws97 import _PSat_T, _TSat_P

from energy.heat.heater import SteadyPower, heat_up
from energy.heat.load import HeatedLoad, with_contents
from energy.heat.water import (
    SPECIFIC_HEAT_J_KG_K,
    boiling_point_k,
    evaporation_w_m2,
    latent_heat_j_kg,
    saturation_pressure_pa,
)


@pytest.mark.parametrize("temperature", np.arange(274.0, 400.0, 9.0))
def test_saturation_pressure(temperature):
    assert saturation_pressure_pa(temperature) == pytest.approx(1e6 * _PSat_T(temperature), rel=1e-3)


@pytest.mark.parametrize("pressure", [12e3, 60e3, 83.4e3, 101.325e3, 180e3])
def test_boiling_point(pressure):
    assert boiling_point_k(pressure) == pytest.approx(_TSat_P(pressure / 1e6), abs=0.02)


@pytest.mark.parametrize("temperature", [280.0, 300.0, 330.0, 360.0, 373.0])
def test_latent_heat(temperature):
    steam, liquid = IAPWS97(T=temperature, x=1), IAPWS97(T=temperature, x=0)
    assert latent_heat_j_kg(temperature) == pytest.approx(1e3 * (steam.h - liquid.h), rel=3e-3)


@pytest.mark.parametrize("celsius", [10.0, 20.0, 25.0, 60.0, 80.0, 95.0])
def test_specific_heat(celsius):
    assert pytest.approx(1e3 * IAPWS97(T=celsius + 273.15, P=0.101325).cp, rel=6e-3) == SPECIFIC_HEAT_J_KG_K


@pytest.mark.parametrize(("celsius", "table"), [(25.0, 4181.4), (20.0, 4181.8), (60.0, 4184.3), (80.0, 4196.3)])
def test_specific_heat_tables(celsius, table):
    # IAPWS SR6-08, Table 8 (25 °C), and a table of 20, 60, 80 °C, as transcribed; the library agrees with them too
    assert pytest.approx(table, rel=3e-3) == SPECIFIC_HEAT_J_KG_K
    assert pytest.approx(table, rel=1e-3) == 1e3 * IAPWS97(T=celsius + 273.15, P=0.101325).cp


def test_heating_a_tank_of_water():
    # 30 kg from 15 to 70 °C: the enthalpy difference of IAPWS-97
    tank = with_contents(HeatedLoad(1.0, 0.0), 30.0, SPECIFIC_HEAT_J_KG_K, boils=True)
    outcome = heat_up(tank, SteadyPower(1400.0, 288.15), target_k=343.15)
    hot, cold = IAPWS97(T=343.15, P=0.101325), IAPWS97(T=288.15, P=0.101325)
    assert outcome.energy_to_target_j == pytest.approx(30e3 * (hot.h - cold.h), rel=2e-3)
    assert outcome.time_to_target_s == pytest.approx(30e3 * (hot.h - cold.h) / 1400, rel=2e-3)


@pytest.mark.parametrize(("water", "air", "humidity"), [(330.0, 293.15, 0.5), (350.0, 278.0, 0.9), (300.0, 300.0, 0.2)])
def test_what_vapour_carries_off_an_open_surface(water, air, humidity):
    # Heat-to-mass analogy (Incropera & DeWitt, from memory), the density of vapour from IAPWS-97: of 10 W/(m² K), over
    # 1.1 kg/m³ · 1007 J/(kg K) · 0.8973 (0.85 to the power of two thirds).
    mass_m_s = 10 / (1.1 * 1007 * 0.8973)
    over, around = (IAPWS97(T=t, x=1) for t in (water, air))
    latent = 1e3 * (over.h - IAPWS97(T=water, x=0).h)
    expected = mass_m_s * (over.rho - humidity * around.rho) * latent
    assert evaporation_w_m2(water, air, humidity, 10.0) == pytest.approx(expected, rel=1e-2)
    assert evaporation_w_m2(air - 20, air, 1.0, 10.0) == 0  # no dew is counted
