"""Adaptive importance sampling over several hypotheses at once: how likely each is, and draws of what each says.

Every hypothesis has the same standard normal scores as its prior. The first draws come from the prior; from those that
fit best a mixture of Student t and prior is made to draw from, several times; all draws are kept, weighed by the
mixture of
everything they could have come from (adaptive multiple importance sampling; Cornuet, Marin, Mira and Robert,
Scandinavian Journal of Statistics 39 (2012) 798, from memory). Draws are quasi-random (scipy.stats.qmc).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from energy.uncertainty.draws import SEED, standard_scores

_FREEDOM = 5.0  # of the Student t that is drawn from
_PRIOR_SHARE = 0.15  # of the draws of later rounds that still come from the prior
_LEAST_EFFECTIVE = 40.0  # draws that have to count for a covariance; else the likelihood is flattened
_WIDER = 1.3

# (which hypothesis (N,), scores (N, columns)) -> ln likelihood (N,)
Likelihood = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Plan:
    """How many draws: of the prior for each hypothesis (H,), and of each later round; how many stay in those."""

    first: np.ndarray
    later: tuple[int, ...] = (256, 512, 512, 1024)
    kept: int = 16
    adapted: int = 12  # leading columns that are drawn anew; the others always come from their prior


@dataclass(frozen=True)
class Weighed:
    """Draws of all hypotheses: which (N,), scores (N, columns), weight (N,; sums to 1); ln evidence (H,); draws that
    count (H,)."""

    which: np.ndarray
    scores: np.ndarray
    weight: np.ndarray
    log_evidence: np.ndarray
    effective: np.ndarray


@dataclass
class _Pool:
    """Draws of one hypothesis so far, and the distributions they came from (draws, mean, Cholesky factor)."""

    scores: np.ndarray
    likelihood: np.ndarray
    prior_draws: float
    proposals: list[tuple[float, np.ndarray, np.ndarray]] = field(default_factory=list)

    def log_weight(self, adapted: int) -> np.ndarray:
        """Return ln(prior × likelihood / mixture) of every draw."""
        here = self.scores[:, :adapted]
        prior = -0.5 * (here**2).sum(axis=1) - 0.5 * adapted * np.log(2 * np.pi)
        total = self.prior_draws + sum(count for count, _, _ in self.proposals)
        parts = [np.log(self.prior_draws / total) + prior]
        parts += [np.log(count / total) + _log_t(here, mean, root) for count, mean, root in self.proposals]
        return np.asarray(prior + self.likelihood - np.logaddexp.reduce(parts, axis=0))


def weigh(likelihood: Likelihood, prior: Sequence[float], columns: int, plan: Plan) -> Weighed:
    """Return draws of every hypothesis, weighed by prior probability (H,) and likelihood."""
    log_prior = np.log(np.asarray(prior, float))
    scores = standard_scores(int(plan.first.max()), columns)
    which = np.repeat(np.arange(len(plan.first)), plan.first)
    drawn = np.concatenate([scores[:count] for count in plan.first])
    value = likelihood(which, drawn)
    pools = [_Pool(drawn[which == h], value[which == h], float(plan.first[h])) for h in range(len(plan.first))]
    for step, count in enumerate(plan.later, 1):
        promise = np.array([_log_mean(pool.log_weight(plan.adapted)) for pool in pools]) + log_prior
        chosen = np.argsort(promise)[::-1][: plan.kept]
        chosen = chosen[np.isfinite(promise[chosen])]
        if not len(chosen):
            break
        new = [_drawn(pools[h], count, columns, plan.adapted, SEED + 97 * step + int(h)) for h in chosen]
        value = likelihood(np.repeat(chosen, count), np.concatenate(new))
        for place, h in enumerate(chosen):
            pool = pools[h]
            pool.scores = np.concatenate([pool.scores, new[place]])
            pool.likelihood = np.concatenate([pool.likelihood, value[place * count : (place + 1) * count]])
    return _weighed(pools, log_prior, plan.adapted)


def _drawn(pool: _Pool, count: int, columns: int, adapted: int, seed: int) -> np.ndarray:
    """Return new draws near those that fit so far, and note where they come from."""
    weight = _flattened(pool.log_weight(adapted))
    here = pool.scores[:, :adapted]
    mean = weight @ here
    centred = here - mean
    covariance = _WIDER**2 * (centred.T * weight) @ centred + 1e-4 * np.eye(adapted)
    root = np.linalg.cholesky(covariance)
    fresh = standard_scores(count, columns, seed=seed)
    prior_draws = int(_PRIOR_SHARE * count)
    generator = np.random.default_rng(seed)
    stretch = np.sqrt(_FREEDOM / generator.chisquare(_FREEDOM, count - prior_draws))
    fresh[prior_draws:, :adapted] = mean + stretch[:, None] * (fresh[prior_draws:, :adapted] @ root.T)
    pool.prior_draws += prior_draws
    pool.proposals.append((float(count - prior_draws), mean, root))
    return fresh


def _flattened(log_weight: np.ndarray) -> np.ndarray:
    """Return weights (sum 1), the likelihood flattened until enough draws count."""
    for power in (1.0, 0.6, 0.36, 0.2, 0.1, 0.05, 0.02, 0.01, 0.004):
        weight = np.exp(power * (log_weight - log_weight.max()))
        weight /= weight.sum()
        if 1 / (weight**2).sum() >= _LEAST_EFFECTIVE:
            break
    return np.asarray(weight)


def _log_t(at: np.ndarray, mean: np.ndarray, root: np.ndarray) -> np.ndarray:
    """Return ln density of a multivariate Student t."""
    from scipy.linalg import solve_triangular
    from scipy.special import gammaln

    size = len(mean)
    square = (solve_triangular(root, (at - mean).T, lower=True) ** 2).sum(axis=0)
    constant = gammaln((_FREEDOM + size) / 2) - gammaln(_FREEDOM / 2) - size / 2 * np.log(_FREEDOM * np.pi)
    scale = np.log(np.diag(root)).sum()
    return np.asarray(constant - scale - (_FREEDOM + size) / 2 * np.log1p(square / _FREEDOM))


def _log_mean(log_weight: np.ndarray) -> float:
    if not np.isfinite(log_weight).any():
        return float("-inf")
    return float(np.logaddexp.reduce(log_weight) - np.log(len(log_weight)))


def _weighed(pools: Sequence[_Pool], log_prior: np.ndarray, adapted: int) -> Weighed:
    logs = [pool.log_weight(adapted) for pool in pools]
    evidence = np.array([_log_mean(each) for each in logs])
    joint = np.concatenate([each - np.log(len(each)) + log_prior[h] for h, each in enumerate(logs)])
    weight = np.exp(joint - joint.max())
    which = np.repeat(np.arange(len(pools)), [len(each) for each in logs])
    sums = np.bincount(which, weight, len(pools)), np.bincount(which, weight**2, len(pools))
    effective = np.divide(sums[0] ** 2, sums[1], out=np.zeros(len(pools)), where=sums[1] > 0)
    return Weighed(which, np.concatenate([p.scores for p in pools]), weight / weight.sum(), evidence, effective)
