"""Draws through a linear function of normal inputs against closed-form propagation.

JCGM 100:2008 (GUM) 5.1.2 equation (10) and 5.2.2 equation (13), and the library `uncertainties`.
"""

import math

import numpy as np
import pytest
import uncertainties
from scipy.stats import norm

from energy.uncertainty.draws import draws_of, sobol_sample
from energy.uncertainty.quantiles import interval_width
from vehicle.quantity import COVERAGE_FACTOR, Uncertain

# Real keys, far from their limits; mean, standard uncertainty, coefficient of the linear function.
KEYS = {
    "rotor.interaction_factor": (1.0, 0.04, 300.0),
    "rotor.mount_drag_area": (5.0, 0.3, -40.0),
    "vehicle.mass": (2900.0, 25.0, 0.5),
}


def known(mean: float, deviation: float) -> Uncertain:
    width = COVERAGE_FACTOR * deviation
    return Uncertain(mean, mean - width, mean + width, "normal")


@pytest.mark.parametrize("correlation", [0.0, 0.8, -0.6])
def test_linear_and_normal(correlation: float) -> None:
    inputs = {key: known(mean, deviation) for key, (mean, deviation, _) in KEYS.items()}
    keys = list(KEYS)
    pairs = [(keys[0], keys[1], correlation)] if correlation else []
    drawn = draws_of(inputs, sobol_sample(8192, 3), pairs)
    result = sum(np.asarray(c * drawn[key]) for key, (_, _, c) in KEYS.items())

    by_hand = sum((c * s) ** 2 for _, s, c in KEYS.values())
    (_, s0, c0), (_, s1, c1), _ = KEYS.values()
    by_hand += 2 * c0 * c1 * s0 * s1 * correlation
    matrix = np.eye(3)
    matrix[0, 1] = matrix[1, 0] = correlation
    deviations = np.array([s for _, s, _ in KEYS.values()])
    linked = uncertainties.correlated_values(
        [m for m, _, _ in KEYS.values()], matrix * np.outer(deviations, deviations)
    )
    by_library = sum(c * value for value, (_, _, c) in zip(linked, KEYS.values(), strict=True))

    assert np.mean(result) == pytest.approx(by_library.nominal_value, abs=0.01 * math.sqrt(by_hand))
    assert np.std(result) == pytest.approx(math.sqrt(by_hand), rel=0.01)
    assert np.std(result) == pytest.approx(by_library.std_dev, rel=0.01)
    assert interval_width(np.asarray(result)) == pytest.approx(2 * norm.ppf(0.95) * math.sqrt(by_hand), rel=0.02)
    assert np.corrcoef(drawn[keys[0]], drawn[keys[1]])[0, 1] == pytest.approx(correlation, abs=0.02)
