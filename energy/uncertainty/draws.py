"""Draws of inputs that are not known exactly: their distributions, a quasi-random sample, and how they err together."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from energy.scenario.keys import spec_of
from vehicle.quantity import COVERAGE_FACTOR, Uncertain

_SAMPLES_KEPT = 8  # of a megabyte each, or less
SEED = 20_011  # any number; fixed, so that the same file gives the same interval twice

Correlation = tuple[str, str, float]
Draws = dict[str, np.ndarray]


def ppf(value: Uncertain, share: np.ndarray) -> np.ndarray:
    """Return the value below which a share of an input's distribution lies (the percent point function).

    Parameters
    ----------
    value : Uncertain
        The input: exact, normal, uniform or triangular.
    share : array, any shape
        Shares of the distribution [-], between 0 and 1.

    Returns
    -------
    array
        Values [SI unit of the input], of the shares' shape.

    References
    ----------
    .. [1] Definitions of the distributions; closed form, the normal by scipy.special.ndtri.
    """
    if value.shape == "normal":
        from scipy.special import ndtri

        return value.value + value.standard_deviation * np.asarray(ndtri(share))
    low, high = value.low, value.high
    if value.shape == "uniform":
        return low + share * (high - low)
    if value.shape == "exact" or high == low:
        return np.full(np.shape(share), value.value)
    # Triangular: the inverse of its two parabolas.
    turn = (value.value - low) / (high - low)
    rising = low + np.sqrt(share * (high - low) * (value.value - low))
    falling = high - np.sqrt((1 - share) * (high - low) * (high - value.value))
    return np.where(share < turn, rising, falling)


def within_limits(key: str, values: np.ndarray) -> np.ndarray:
    """Return the values held within the key's limits: the tail of a normal reaches past what is possible.

    Parameters
    ----------
    key : of a scenario
    values : [SI unit of the key] any shape

    Returns
    -------
    [SI unit of the key], of that shape.
    """
    spec = spec_of(key)
    if spec.at_least is not None:
        values = np.maximum(values, spec.at_least)
    if spec.above is not None:
        values = np.maximum(values, spec.above + 1e-6 * float(np.median(np.abs(values - spec.above))))
    return values if spec.at_most is None else np.minimum(values, spec.at_most)


@functools.lru_cache(maxsize=_SAMPLES_KEPT)
def sobol_sample(count: int, columns: int, *, seed: int = SEED) -> np.ndarray:
    """Return a quasi-random sample of the unit cube, of a scrambled Sobol sequence [1]_.

    Parameters
    ----------
    count : int
        Rows; a power of two keeps the sequence balanced.
    columns : int
        Dimensions of the cube.
    seed : int, optional
        Of the scrambling: the same seed gives the same sample.

    Returns
    -------
    (count, columns) array
        Numbers in (0, 1), never an end of it. It is kept for whoever asks again, and so cannot be written to.

    References
    ----------
    .. [1] scipy.stats.qmc.Sobol.
    """
    from scipy.stats import qmc

    sample = np.asarray(qmc.Sobol(columns, scramble=True, rng=np.random.default_rng(seed)).random(count))
    kept = np.clip(sample, 1e-12, 1 - 1e-12)
    kept.flags.writeable = False
    return kept


def draws_of(
    inputs: Mapping[str, Uncertain], share: np.ndarray, correlations: Sequence[Correlation] = ()
) -> dict[str, np.ndarray]:
    """Return the inputs' values (SI) at shares (N, inputs) of the unit cube, in the mapping's order.

    `correlations` lists (key, key, coefficient): the pair's normal scores are correlated by that much (Gaussian
    copula).

    Parameters
    ----------
    inputs : K of them
    share : [-] (N, K)
    correlations : pairs, as above

    Returns
    -------
    [SI unit of each input] (N,) for each key.

    References
    ----------
    .. [1] Gaussian copula, statistics texts (from memory).
    """
    keys = list(inputs)
    if correlations:
        share = _correlated(keys, share, correlations)
    return {key: within_limits(key, ppf(inputs[key], share[:, k])) for k, key in enumerate(keys)}


def _correlated(keys: Sequence[str], share: np.ndarray, correlations: Sequence[Correlation]) -> np.ndarray:
    from scipy.special import ndtr, ndtri

    return np.asarray(ndtr(ndtri(share) @ correlation_root(keys, correlations).T))


def correlation_root(keys: Sequence[str], correlations: Sequence[Correlation]) -> np.ndarray:
    """Return the Cholesky factor (keys, keys) of the correlation matrix of the keys' normal scores.

    Parameters
    ----------
    keys : K of them
    correlations : pairs (key, key, coefficient)

    Returns
    -------
    [-] (K, K), lower triangle.

    Raises
    ------
    LinAlgError
        Where no variables can be correlated like that.

    References
    ----------
    .. [1] Cholesky factor, closed form.
    """
    matrix = np.eye(len(keys))
    for one, other, coefficient in correlations:
        if one in keys and other in keys:
            i, j = keys.index(one), keys.index(other)
            matrix[i, j] = matrix[j, i] = coefficient
    # Raises numpy.linalg.LinAlgError where the coefficients contradict each other.
    return np.asarray(np.linalg.cholesky(matrix))


def values_at(inputs: Mapping[str, Uncertain], scores: np.ndarray) -> dict[str, np.ndarray]:
    """Return the inputs' values (SI) at normal scores (N, inputs): 0 is the median, 1.64 the 95 % quantile.

    Parameters
    ----------
    inputs : K of them
    scores : [-] (N, K)

    Returns
    -------
    [SI unit of each input] (N,) for each key.

    References
    ----------
    .. [1] Definition of a normal score.
    """
    from scipy.special import ndtr

    return draws_of(inputs, np.asarray(ndtr(scores)))


def standard_scores(count: int, columns: int, *, seed: int = SEED) -> np.ndarray:
    """Return (count, columns) quasi-random standard normal scores.

    Parameters
    ----------
    count, columns : [1]
    seed : of the scrambling

    Returns
    -------
    [-] (count, columns).

    References
    ----------
    .. [1] Sobol sequence by scipy.stats.qmc.
    """
    from scipy.special import ndtri

    return np.asarray(ndtri(sobol_sample(count, columns, seed=seed)))


def replaced(value: Uncertain, mean: float, standard_deviation: float) -> Uncertain:
    """Return an input known anew, as a normal with that mean and standard deviation (SI).

    Parameters
    ----------
    value : the input as it was
    mean, standard_deviation : [SI unit of the input]

    Returns
    -------
    The input.

    References
    ----------
    .. [1] Interval of a normal, closed form.
    """
    width = COVERAGE_FACTOR * standard_deviation
    return replace(value, value=mean, low=mean - width, high=mean + width, shape="normal")
