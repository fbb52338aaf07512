"""Two nodes with linear losses against scipy.linalg.expm, a general-purpose reference for the same equations."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from energy.heat.heater import HeatingSteps, simulate
from energy.heat.load import HeatedLoad, SecondNode


def reference(heater, power, length, ambient, start):
    second_node = heater.second_node
    k, c0, c1 = second_node.coupling_w_k, heater.heat_capacity_j_k, second_node.heat_capacity_j_k
    into = (0.0, 1.0) if second_node.takes_power else (1.0, 0.0)
    states = [np.array([start, start, 1.0])]
    for watts in power:
        matrix = np.array(
            [
                [-(k + heater.loss_w_k) / c0, k / c0, (heater.loss_w_k * ambient + into[0] * watts) / c0],
                [k / c1, -(k + second_node.loss_w_k) / c1, (second_node.loss_w_k * ambient + into[1] * watts) / c1],
                [0.0, 0.0, 0.0],
            ]
        )
        states.append(expm(matrix * length) @ states[-1])
    return np.array(states)[:, :2]


@settings(max_examples=80, deadline=None)
@given(
    st.floats(200.0, 1e5),
    st.floats(200.0, 1e5),
    st.floats(0.5, 60.0),
    st.floats(0.0, 10.0),
    st.floats(0.01, 10.0),
    st.booleans(),
    st.floats(0.5, 2000.0),
)
def test_two_nodes(c0, c1, coupling, loss0, loss1, element, length):
    heater = HeatedLoad(c0, loss0, second_node=SecondNode(c1, coupling, loss1, takes_power=element))
    power = np.array([1500.0, 0.0, 700.0, 2200.0, 0.0])
    outcome = simulate(heater, HeatingSteps(power, length, 290.0), target_k=5000.0, start_k=300.0)
    expected = reference(heater, power, length, 290.0, 300.0)
    span = np.ptp(expected) + 1.0
    assert np.abs(outcome.history.main_k[:, 0] - expected[:, 0]).max() < 1e-8 * span
    assert np.abs(outcome.history.second_k[:, 0] - expected[:, 1]).max() < 1e-8 * span


def test_the_crossing_of_a_target_inside_a_long_step():
    heater = HeatedLoad(20e3, 1.0, second_node=SecondNode(800.0, 12.0, takes_power=True))
    outcome = simulate(heater, HeatingSteps([1000.0], [3600.0], 290.0), target_k=330.0, start_k=290.0)
    at = float(outcome.time_to_target_s[0])
    assert reference(heater, [1000.0], at, 290.0, 290.0)[-1, 0] == pytest.approx(330.0, abs=1e-8)
