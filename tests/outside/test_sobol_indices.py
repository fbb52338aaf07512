"""Sensitivity indices against functions whose indices are known in closed form.

Ishigami: Saltelli et al., Global Sensitivity Analysis: The Primer (2008), chapter 4. G-function: Sobol', Mathematics
and
Computers in Simulation 55 (2001) 271 (formula from memory): V_i = 1/(3(1+a_i)²), V = Π(1+V_i) − 1.
"""

from collections.abc import Callable

import numpy as np
import pytest

from energy.uncertainty.draws import sobol_sample
from energy.uncertainty.sensitivities import sensitivity_indices

ROWS = 4096


def indices(function: Callable[[np.ndarray], np.ndarray], columns: int) -> tuple[np.ndarray, ...]:
    cube = sobol_sample(ROWS, 2 * columns)
    return sensitivity_indices(function, cube[:, :columns], cube[:, columns:], [[k] for k in range(columns)])


def check(found: tuple[np.ndarray, ...], first: list[float], total: list[float]) -> None:
    one, one_error, all_of, all_error = found
    assert one == pytest.approx(first, abs=0.02)
    assert all_of == pytest.approx(total, abs=0.02)
    # The stated errors are honest: no miss beyond four of them (and a floor, as quasi-random numbers do better).
    assert (np.abs(one - first) <= 4 * one_error + 2e-3).all()
    assert (np.abs(all_of - total) <= 4 * all_error + 2e-3).all()
    assert (one_error < 0.05).all()


def test_ishigami() -> None:
    def ishigami(share: np.ndarray) -> np.ndarray:
        x = np.pi * (2 * share - 1)
        return np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])

    check(indices(ishigami, 3), [0.31391, 0.44241, 0.0], [0.55759, 0.44241, 0.24368])


def test_g_function() -> None:
    a = np.array([0.0, 1.0, 4.5, 9.0, 99.0, 99.0])
    parts = 1 / (3 * (1 + a) ** 2)
    variance = np.prod(1 + parts) - 1
    first = parts / variance
    total = [parts[k] * np.prod(1 + np.delete(parts, k)) / variance for k in range(len(a))]

    def g(share: np.ndarray) -> np.ndarray:
        return np.asarray(np.prod((np.abs(4 * share - 2) + a) / (1 + a), axis=1))

    check(indices(g, len(a)), list(first), [float(t) for t in total])


def test_a_group_takes_the_sum_of_an_additive_function() -> None:
    def additive(share: np.ndarray) -> np.ndarray:
        return share @ np.array([3.0, 2.0, 1.0])

    cube = sobol_sample(ROWS, 6)
    found = sensitivity_indices(additive, cube[:, :3], cube[:, 3:], [[0, 2], [1]])
    assert found[0] == pytest.approx([10 / 14, 4 / 14], abs=0.02)


def test_a_single_input_explains_all() -> None:
    check(indices(lambda share: 3.0 * share[:, 0], 1), [1.0], [1.0])
