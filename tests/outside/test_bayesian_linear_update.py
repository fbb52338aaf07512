"""Least squares with priors against the closed form of Bayesian linear regression with normal prior and errors.

Posterior covariance (P⁻¹ + AᵀS⁻¹A)⁻¹, mean that times (AᵀS⁻¹y): any text on Bayesian regression; for one unknown the
weighted mean with inverse variances as weights.
"""

import numpy as np
import pytest

from energy.diagnosis.reconcile import fit


def test_several_unknowns() -> None:
    rng = np.random.default_rng(8)
    a = rng.normal(size=(6, 4))
    deviations = rng.uniform(0.2, 2.0, 6)
    values = rng.normal(size=6) * 3
    correlation = np.array([[1, 0.7, 0, 0], [0.7, 1, 0, 0], [0, 0, 1, -0.3], [0, 0, -0.3, 1.0]])
    for prior in (np.eye(4), correlation):
        found = fit(lambda z: z @ a.T, 4, values, deviations, np.linalg.cholesky(prior))
        weight = a.T @ np.diag(deviations**-2)
        covariance = np.linalg.inv(np.linalg.inv(prior) + weight @ a)
        assert found.covariance == pytest.approx(covariance, abs=1e-8)
        assert found.mean == pytest.approx(covariance @ weight @ values, abs=1e-7)
        assert found.prior_deviation == pytest.approx(np.sqrt(np.diag(a @ prior @ a.T)), rel=1e-7)
        # χ² of the best fit is that of the readings against their prior prediction: yᵀ(S + APAᵀ)⁻¹y.
        total = np.diag(deviations**2) + a @ prior @ a.T
        assert found.chi_square == pytest.approx(values @ np.linalg.solve(total, values), rel=1e-7)


def test_one_unknown_is_the_weighted_mean() -> None:
    found = fit(lambda z: np.repeat(z, 3, axis=1), 1, np.array([1.0, 2.0, 1.5]), np.array([0.5, 1.0, 0.25]))
    weights = np.array([1.0, 4.0, 1.0, 16.0])  # the prior's first
    assert found.mean[0] == pytest.approx(np.average([0.0, 1.0, 2.0, 1.5], weights=weights))
    assert found.covariance[0, 0] == pytest.approx(1 / weights.sum())
