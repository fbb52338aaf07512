"""Coast-down under F = A + C·v²: the arctangent solution of the separable equation, against scipy's integrator.

Form of the road load: SAE J1263. The closed form is in any differential-equations text; derived in the docstring.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from vehicle.driving.road_load import from_coastdown, road_forces


def coastdown_time_s(mass_kg: float, a_n: float, c_n_s2_m2: float, from_m_s: float, to_m_s: float) -> float:
    """Return the time in s to coast from one speed to a lower one under F = A + C·v² (closed form).

    dv/dt = −(A + C·v²)/m gives t = m/√(A·C)·[arctan(v√(C/A))] between the speeds (separation of variables).
    """
    root = np.sqrt(c_n_s2_m2 / a_n)
    return float(mass_kg / np.sqrt(a_n * c_n_s2_m2) * (np.arctan(from_m_s * root) - np.arctan(to_m_s * root)))


@pytest.mark.parametrize(("mass", "a", "c"), [(1500.0, 150.0, 0.4), (2900.0, 270.0, 0.9)])
def test_arctangent_solution(mass: float, a: float, c: float) -> None:
    load = from_coastdown(mass, a, 0.0, c, 1.2)

    def slope(_: float, v: list[float]) -> list[float]:
        return [-float(road_forces(load, v[0], 1.2, v[0]).total_n) / mass]

    def arrived(_: float, v: list[float]) -> float:
        return v[0] - 15.0

    arrived.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(slope, (0, 600), [30.0], events=arrived, rtol=1e-9, atol=1e-9)
    assert coastdown_time_s(mass, a, c, 30.0, 15.0) == pytest.approx(run.t_events[0][0], rel=1e-6)
