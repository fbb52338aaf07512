"""Cooling by radiation alone, and by convection and radiation together, against separable closed forms.

Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, equations 5.18 and 5.19 (from memory); the case of both by
scipy's quadrature of the separated equation (own derivation).
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from energy.heat.heater import HeatingSteps, SteadyPower, heat_up, simulate
from energy.heat.load import HeatedLoad

SIGMA = 5.670374419e-8
CAPACITY, AREA = 4000.0, 0.25


def cooled(heater, ambient, start, seconds, step):
    outcome = simulate(
        heater,
        HeatingSteps(0.0, np.full(round(seconds / step), step), ambient),
        target_k=3000.0,
        start_k=start,
        most_records=10**6,
    )
    return outcome.history.time_s, outcome.history.main_k[:, 0]


def test_into_the_cold():
    # T = T0 (1 + 3 sigma A T0^3 t / C)^(-1/3) where the surroundings are near absolute zero
    time, temperature = cooled(HeatedLoad(CAPACITY, 0.0, AREA), 1.0, 900.0, 1800.0, 1.0)
    expected = 900.0 * (1 + 3 * SIGMA * AREA * 900.0**3 * time / CAPACITY) ** (-1 / 3)
    assert temperature == pytest.approx(expected, rel=1e-4)


def test_into_surroundings():
    # t = C/(4 sigma A Ta^3) [ln|(Ta+T)/(Ta-T)| - ln|(Ta+T0)/(Ta-T0)| + 2 (atan(T/Ta) - atan(T0/Ta))]
    ambient, start = 290.0, 700.0

    def since(temperature):
        def part(t):
            return math.log((t + ambient) / (t - ambient)) + 2 * math.atan(t / ambient)

        return CAPACITY / (4 * SIGMA * AREA * ambient**3) * (part(temperature) - part(start))

    time, temperature = cooled(HeatedLoad(CAPACITY, 0.0, AREA), ambient, start, 3600.0, 1.0)
    for moment in (60, 600, 3600):
        index = int(np.argmin(np.abs(time - moment)))
        assert since(float(temperature[index])) == pytest.approx(moment, rel=2e-4)


def test_convection_and_radiation_together():
    heater, ambient = HeatedLoad(CAPACITY, 5.0, AREA), 290.0

    def seconds(start, end, power):
        return quad(
            lambda t: CAPACITY / (power - 5.0 * (t - ambient) - SIGMA * AREA * (t**4 - ambient**4)),
            start,
            end,
            epsabs=1e-9,
            epsrel=1e-11,
        )[0]

    _, temperature = cooled(heater, ambient, 650.0, 1200.0, 1.0)
    assert seconds(650.0, float(temperature[-1]), 0.0) == pytest.approx(1200.0, rel=2e-4)
    # and a warm-up that has to fight radiation: the time to target itself
    outcome = heat_up(heater, SteadyPower(2000.0, ambient), target_k=480.0)
    assert outcome.time_to_target_s == pytest.approx(seconds(ambient, 480.0, 2000.0), rel=1e-4)
