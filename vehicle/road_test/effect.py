"""The effect of a state on one number a run: estimate with interval, and a randomisation test beside it.

Rows of one run are not independent, so no test is made over rows: the effect is estimated over runs, within pairs where
there are pairs, with the interval of Student's t on as many degrees of freedom as there are independent differences.
That is the cluster-level analysis advised where clusters are few (Cameron & Miller, Journal of Human Resources 50
(2015) 317).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vehicle.quantity import Estimate

_SIGN_FLIPS_EXACT = 16
_DRAWS = 9999
# Where covariates leave less than this of the degrees of freedom, their slopes can explain nearly all that the runs
# differ: the scatter would come out as nothing. Then it is taken as if they explained none of it.
_LEAST_FREEDOM = 1.0


@dataclass(frozen=True)
class RunLevelEffect:
    """A change between two states of runs, with what its interval rests on.

    `pair_spread` is the standard deviation of a difference between one run with and one without, with what bringing
    the two to like covariates leaves uncertain; it, `standard_error` and `p_value` are None where no degree of freedom
    is left. `slopes` are those of the covariates, if any.
    """

    change: Estimate
    freedom: int
    pair_spread: float | None = None
    standard_error: float | None = None
    p_value: float | None = None
    slopes: tuple[float, ...] = ()

    def times(self, factor: float) -> RunLevelEffect:
        """Return the effect in another unit (`factor` above zero)."""
        return replace(
            self,
            change=self.change.times(factor),
            pair_spread=None if self.pair_spread is None else self.pair_spread * factor,
            standard_error=None if self.standard_error is None else self.standard_error * factor,
            slopes=tuple(slope * factor for slope in self.slopes),
        )

    def without_interval(self) -> RunLevelEffect:
        """Return the estimate alone, where the runs are too few for its interval to mean anything."""
        return replace(self, change=replace(self.change, low=None, high=None), pair_spread=None, p_value=None)


class Blocks:
    """Runs in blocks (pairs, or all in one): means are taken inside blocks."""

    def __init__(self, names: np.ndarray) -> None:
        _, self.code = np.unique(names, return_inverse=True)
        self.count = np.bincount(self.code)

    def means(self, values: np.ndarray) -> np.ndarray:
        """Return for each run the mean of its block."""
        return (np.bincount(self.code, weights=values) / self.count)[self.code]

    def centred(self, values: np.ndarray) -> np.ndarray:
        """Return the values less the mean of their block."""
        return values - self.means(values)

    @property
    def freedom(self) -> int:
        """Degrees of freedom beside one constant a block and one effect."""
        return int(self.code.size - self.count.size - 1)


@dataclass(frozen=True)
class Covariates:
    """What else differs between runs, (runs, k), with slopes of about zero: `deviation` (k,) is how far they may be.

    The values are those from which the expected part is taken out already; the deviation is that of the expectation, in
    the unit of the values per unit of the covariate.
    """

    values: np.ndarray
    deviation: np.ndarray


def run_level_effect(
    values: np.ndarray,
    treated: np.ndarray,
    blocks: np.ndarray,
    level: float = 0.95,
    covariates: Covariates | None = None,
) -> RunLevelEffect:
    """Return the effect of `treated` on `values`, one value a run, by least squares with one constant per block.

    With one run of each kind in every block this is the paired t-test; with one block it is the two-sample t-test
    with a pooled spread [1]_. Slopes of covariates are estimated together with the effect, held by what is known of
    them (mixed estimation [2]_); the degrees of freedom are those of Satterthwaite.

    Parameters
    ----------
    values
        One number a run, in any unit (N,).
    treated
        Whether the run is one with the effect (N,), bool.
    blocks
        Label of the block that each run belongs to (N,).
    level
        Of the interval, as a share of one.
    covariates
        Further terms, linear, such as the head wind of the runs.

    Returns
    -------
    RunLevelEffect
        In the unit of `values`. The interval is None where no degree of freedom is left, the estimate NaN where the
        two states do not meet in any block.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3.
    .. [2] H. Theil and A. S. Goldberger, International Economic Review 2 (1961) 65 (from memory).
    """
    block = Blocks(blocks)
    t, y = block.centred(treated.astype(float)), block.centred(values)
    information = float(t @ t)
    if information <= 1e-9:
        return RunLevelEffect(Estimate(math.nan, None, None, level), 0)
    z = np.zeros((values.size, 0)) if covariates is None else _centred(block, covariates.values)
    if block.freedom < 1:
        estimate = float(t @ y) / information
        return RunLevelEffect(Estimate(estimate, None, None, level), 0)
    from scipy.special import stdtr, stdtrit

    fit = _mixed(t, y, z, np.zeros(0) if covariates is None else covariates.deviation, block.freedom)
    error = math.sqrt(fit.variance)
    half = float(stdtrit(fit.effective_freedom, 0.5 + level / 2)) * error
    p_value = 2 * float(stdtr(fit.effective_freedom, -abs(fit.estimate) / error)) if error > 0 else 0.0
    change = Estimate(fit.estimate, fit.estimate - half, fit.estimate + half, level)
    spread = math.sqrt(2 * (fit.residual_variance + fit.slope_variance))
    return RunLevelEffect(change, block.freedom, spread, error, p_value, tuple(fit.slopes.tolist()))


def _centred(block: Blocks, columns: np.ndarray) -> np.ndarray:
    if not columns.shape[1]:
        return columns
    return np.column_stack([block.centred(column) for column in columns.T])


@dataclass(frozen=True)
class _Fit:
    estimate: float
    slopes: np.ndarray
    variance: float
    residual_variance: float
    effective_freedom: float
    slope_variance: float  # of one run, from what is uncertain in the slopes


def _mixed(t: np.ndarray, y: np.ndarray, z: np.ndarray, deviation: np.ndarray, freedom: int) -> _Fit:
    """Return effect and slopes, the slopes held to zero by their deviation; all columns centred inside blocks."""
    design = np.column_stack([t, z])
    gram, right = design.T @ design, design.T @ y
    alone = y - t * float(t @ y) / float(t @ t)
    sigma2, left = float(alone @ alone) / freedom, float(freedom)
    if not z.shape[1]:
        return _Fit(float(right[0] / gram[0, 0]), np.zeros(0), sigma2 / gram[0, 0], sigma2, left, 0.0)
    free = z - np.outer(t, t @ z) / float(t @ t)
    inside = free.T @ free

    def held(scatter2: float) -> np.ndarray:
        return np.diag(max(scatter2, 1e-12 * float(y @ y), 1e-300) / deviation**2)

    def solved(scatter2: float) -> np.ndarray:
        whole = gram.copy()
        whole[1:, 1:] += held(scatter2)
        return np.linalg.inv(whole)

    plain2 = sigma2
    for _ in range(8):
        inverse = solved(sigma2)
        left = freedom - float(np.trace(np.linalg.solve(inside + held(sigma2), inside)))
        if left < _LEAST_FREEDOM:
            inverse, sigma2, left = solved(plain2), plain2, float(freedom)
            break
        residual = y - design @ (inverse @ right)
        sigma2 = float(residual @ residual) / left
    solution = inverse @ right
    variance = sigma2 * float(inverse[0, 0])
    from_runs = sigma2 * float((inverse @ gram @ inverse)[0, 0])
    share = from_runs / variance if variance > 0 else 1.0
    slope_variance = sigma2 * float(np.trace(inverse[1:, 1:] @ (z.T @ z))) / (freedom + 1)
    return _Fit(float(solution[0]), solution[1:], variance, sigma2, left / max(share, 1e-3) ** 2, slope_variance)


def repeated_spread(values: np.ndarray, covariates: Covariates | None = None) -> float:
    """Return the standard deviation of a difference between two runs of equal kind, in the unit of `values` (N,).

    With covariates it holds what bringing the two to like conditions leaves uncertain.
    """
    if covariates is None:
        return math.sqrt(2) * float(values.std(ddof=1))
    everything = Blocks(np.zeros(values.size))
    y, z = everything.centred(values), _centred(everything, covariates.values)
    _, sigma2, inverse = _held(y, z, covariates.deviation, values.size - 1)
    spread2 = sigma2 * (1 + float(np.trace(inverse @ (z.T @ z))) / (values.size - 1))
    return math.sqrt(2 * spread2)


def _held(y: np.ndarray, z: np.ndarray, deviation: np.ndarray, freedom: int) -> tuple[np.ndarray, float, np.ndarray]:
    """Return slopes held to zero by their deviation, the variance left, and the inverse of their information times
    it."""
    plain2 = sigma2 = float(y @ y) / max(freedom, 1)
    information = z.T @ z

    def held(scatter2: float) -> np.ndarray:
        whole: np.ndarray = information + np.diag(max(scatter2, 1e-12 * float(y @ y), 1e-300) / deviation**2)
        return whole

    for _ in range(8):
        whole = held(sigma2)
        left = freedom - float(np.trace(np.linalg.solve(whole, information)))
        if left < _LEAST_FREEDOM:
            whole, sigma2 = held(plain2), plain2
            break
        residual = y - z @ np.linalg.solve(whole, z.T @ y)
        sigma2 = float(residual @ residual) / left
    slopes = np.linalg.solve(whole, z.T @ y)
    return slopes, sigma2, np.linalg.inv(whole)


def less_covariates(
    values: np.ndarray, blocks: np.ndarray, covariates: Covariates, slopes: Sequence[float]
) -> np.ndarray:
    """Return the values (N,) less what covariates explain inside blocks."""
    adjusted: np.ndarray = values - _centred(Blocks(blocks), covariates.values) @ np.asarray(slopes, float)
    return adjusted


def without_labels(values: np.ndarray, blocks: np.ndarray, covariates: Covariates) -> np.ndarray:
    """Return the values (N,) less what covariates explain, the states of the runs not looked at.

    For the randomisation test: slopes that are estimated next to the effect would fit the states as they were
    dealt, and
    make that dealing look rarer than it is.
    """
    block = Blocks(blocks)
    y, z = block.centred(values), _centred(block, covariates.values)
    slopes, _, _ = _held(y, z, covariates.deviation, block.freedom + 1)
    plain: np.ndarray = values - z @ slopes
    return plain


def randomisation_p(values: np.ndarray, treated: np.ndarray, blocks: np.ndarray, seed: int = 1) -> float | None:
    """Return the two-sided p-value of a randomisation test: states are dealt anew inside blocks.

    All sign changes where the blocks are pairs, and few (`sign_flip_p`) [1]_, otherwise 9 999 draws.

    Parameters
    ----------
    values
        One number a run (N,).
    treated
        Whether the run is one with the effect (N,), bool.
    blocks
        Label of the block that each run belongs to (N,).
    seed
        Of the draws.

    Returns
    -------
    float or None
        None where a single dealing is possible.

    References
    ----------
    .. [1] R. A. Fisher, The Design of Experiments (1935), section 21.
    """
    block = Blocks(blocks)
    code, y, share = block.code, block.centred(values), block.means(treated.astype(float))
    if not ((share > 0) & (share < 1)).any():
        return None
    if (block.count == 2).all() and np.allclose(share, 0.5):
        differences = np.bincount(code, weights=np.where(treated, values, -values))
        return sign_flip_p(differences, seed)
    draw = np.random.default_rng(seed)
    weight = 1.0 / np.maximum(float(((treated - share) ** 2).sum()), 1e-12)
    seen = abs(float((treated - share) @ y)) * weight
    order = np.lexsort((draw.random((_DRAWS, values.size)), np.broadcast_to(code, (_DRAWS, values.size))), axis=1)
    by_block = np.argsort(code, kind="stable")
    dealt = np.empty((_DRAWS, values.size))
    np.put_along_axis(dealt, order, np.broadcast_to(treated[by_block].astype(float), order.shape), axis=1)
    effects = np.abs((dealt - share) @ y) * weight
    return float((1 + (effects >= seen * (1 - 1e-12)).sum()) / (_DRAWS + 1))


def least_randomisation_p(treated: np.ndarray, blocks: np.ndarray) -> float:
    """Return the least p-value that a randomisation test can give: one dealing of all, or two where states mirror."""
    block = Blocks(blocks)
    sizes = block.count.tolist()
    ours = np.bincount(block.code, weights=treated.astype(float)).astype(int).tolist()
    dealings = math.prod(math.comb(size, count) for size, count in zip(sizes, ours, strict=True))
    mirrored = all(size == 2 * count for size, count in zip(sizes, ours, strict=True))
    return min(1.0, (2 if mirrored else 1) / dealings)


def sign_flip_p(differences: np.ndarray, seed: int = 1) -> float:
    """Return the two-sided p-value of the paired randomisation test on differences (N,), exact up to 16 pairs."""
    count = differences.size
    seen = abs(float(differences.sum()))
    slack = 1e-12 * float(np.abs(differences).sum())
    if count <= _SIGN_FLIPS_EXACT:
        sums = np.zeros(1)
        for difference in differences.tolist():
            sums = np.concatenate([sums + difference, sums - difference])
        return float((np.abs(sums) >= seen - slack).mean())
    draw = np.random.default_rng(seed)
    signs = draw.choice((-1.0, 1.0), size=(_DRAWS, count))
    return float((1 + (np.abs(signs @ differences) >= seen - slack).sum()) / (_DRAWS + 1))
