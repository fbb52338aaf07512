"""US Standard Atmosphere 1976: table values (from memory) and two general-purpose reference libraries."""

import warnings

import numpy as np
import pytest
from ambiance import Atmosphere
from fluids import ATMOSPHERE_1976

from energy.aero.air import density_kg_m3, standard_atmosphere


@pytest.mark.parametrize(("altitude_m", "density"), [(0, 1.2250), (1000, 1.1117), (2000, 1.0066), (3000, 0.9093)])
def test_table_values(altitude_m: float, density: float) -> None:
    assert float(density_kg_m3(*standard_atmosphere(altitude_m))) == pytest.approx(density, abs=1e-4)


def test_sweep_against_fluids_and_ambiance() -> None:
    altitudes = np.linspace(0, 10_500, 43)
    temperature, pressure = standard_atmosphere(altitudes)
    density = density_kg_m3(temperature, pressure)
    for k, altitude in enumerate(altitudes):
        reference = ATMOSPHERE_1976(float(altitude))
        assert temperature[k] == pytest.approx(reference.T, rel=1e-5)
        assert pressure[k] == pytest.approx(reference.P, rel=1e-4)
        assert density[k] == pytest.approx(reference.rho, rel=1e-4)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own deprecations are not ours
        second = Atmosphere(altitudes)
        np.testing.assert_allclose(density, second.density, rtol=1e-4)
