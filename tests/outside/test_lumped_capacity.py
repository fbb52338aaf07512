"""Lumped capacitance: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, chapter 5, example 5.1, as
transcribed.

A thermocouple junction (a sphere; h 400 W/(m² K), c 400 J/(kg K), density 8500 kg/m³) whose time constant is to be 1 s
has a diameter of 0.706 mm, and takes 5.2 s (5.16 s unrounded) from 25 to 199 °C in a gas of 200 °C.
"""

import math

import numpy as np
import pytest

from energy.heat.heater import HeatingSteps, SteadyPower, heat_up, simulate
from energy.heat.load import HeatedLoad
from energy.heat.steady import slowest_time_constant_s

FILM, SPECIFIC_HEAT, DENSITY, DIAMETER = 400.0, 400.0, 8500.0, 0.706e-3
JUNCTION = HeatedLoad(DENSITY * SPECIFIC_HEAT * math.pi * DIAMETER**3 / 6, FILM * math.pi * DIAMETER**2)
GAS, START, TARGET = 473.15, 298.15, 472.15


def test_time_constant_of_the_junction():
    assert slowest_time_constant_s(JUNCTION, GAS, START) == pytest.approx(1.0, rel=2e-3)


def test_time_to_199_degrees():
    outcome = heat_up(JUNCTION, SteadyPower(0.0, GAS), target_k=TARGET, start_k=START)
    assert outcome.reachable.all()
    assert outcome.time_to_target_s == pytest.approx(5.16, abs=0.01)


def test_fraction_after_time_constants():
    # theta / theta_initial = exp(-t/tau): the equation 5.6 behind the example
    steps = np.full(50, 0.1 * float(slowest_time_constant_s(JUNCTION, GAS, START)[0]))
    outcome = simulate(JUNCTION, HeatingSteps(0.0, steps, GAS), target_k=TARGET, start_k=START)
    fraction = (outcome.history.main_k[:, 0] - GAS) / (START - GAS)
    assert fraction == pytest.approx(np.exp(-0.1 * np.arange(51)), rel=1e-9)


def test_constant_heating_closed_form():
    # the same chapter, equation 5.25 (from memory): with b/a = power/loss, theta = theta_i e^(-at) + (b/a)(1 - e^(-at))
    outcome = simulate(
        HeatedLoad(5000.0, 4.0), HeatingSteps(300.0, np.full(20, 250.0), 290.0), target_k=400.0, start_k=310.0
    )
    time = 250.0 * np.arange(21)
    expected = 290 + 20 * np.exp(-time * 4 / 5000) + 75 * (1 - np.exp(-time * 4 / 5000))
    assert outcome.history.main_k[:, 0] == pytest.approx(expected, rel=1e-12)
