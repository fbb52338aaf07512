"""Importance sampling over several hypotheses at once: how likely each is, and draws of what each says.

Every hypothesis has the same standard normal scores as its prior. Where to draw from is found by straight lines: about
a middle, the misses' slope along every score is taken from points one standard deviation either side, a line has its
posterior in closed form, and its middle is the next one (iterated sigma-point or posterior linearisation; from memory).
How bad a fault is enters crookedly, so the prior of that score is cut in overlapping pieces with a line each (a
Gaussian sum; Alspach and Sorenson, IEEE Transactions on Automatic Control 17 (1972) 439, from memory). Draws come from
a Student t about each piece and, some, from the prior, and are weighed by the mixture of all they could have come from
(Cornuet, Marin, Mira and Robert, Scandinavian Journal of Statistics 39 (2012) 798, from memory). Where few of them
count, more are drawn about those that fit best. A poor line costs draws, never truth, and `Weighed.effective` shows how
many count. Draws are quasi-random (scipy.stats.qmc).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from energy.uncertainty.draws import SEED, standard_scores

_FREEDOM = 7.0  # of the Student t that is drawn from
_PRIOR_SHARE = 0.05  # of the draws that come from the prior, so that no weight grows without end
_WIDER = 1.1
_PIECES, _PIECE_SPREAD = np.array([-1.6, -0.8, 0.0, 0.8, 1.6]), 0.6
_FOR_A_MIDDLE = 60.0  # draws that must count to find a middle and a spread from
_AWAY = 2.0  # ln evidence that a line may lose by being found anew
_LEADERS = 3  # hypotheses whose neighbours begin anew
_SCAN = np.linspace(-2.0, 2.0, 9)  # of the one score that a neighbour does not share
_WHOLE = 1e-3  # share of a hypothesis's draws that its least promising piece still gets

# (which hypothesis (N,), scores (N, columns)) -> ln likelihood (N,), misses in standard deviations (N, values)
Likelihood = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class DrawsPlan:
    """How many draws: of the prior for each hypothesis (H,), and in how many of its scores it is cut in pieces (H,).

    `lines` of all hypotheses are drawn first, `kept` are cut in pieces; rounds of `later` draws follow for as many
    hypotheses as stated, then, at most `rounds` times, `more` draws of each that holds at least `share` of the
    probability and in which fewer than `enough` draws count.

    `parts` names what the first scores of each hypothesis are, where hypotheses share some: one that shares all but one
    with the best begins anew from there.
    """

    first: np.ndarray
    cut: np.ndarray
    lines: int = 2
    kept: int = 10
    later: tuple[tuple[int, int], ...] = ((10, 192), (6, 320))
    more: int = 512
    rounds: int = 4
    enough: float = 100.0
    share: float = 0.03
    parts: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True)
class Weighed:
    """Draws of all hypotheses: which (N,), scores (N, columns), weight (N,; sums to 1); ln evidence (H,); draws that
    count (H,)."""

    which: np.ndarray
    scores: np.ndarray
    weight: np.ndarray
    log_evidence: np.ndarray
    effective: np.ndarray

    def least_effective(self, share: float) -> float:
        """Return the draws that count in the poorest hypothesis that holds at least a share of the probability."""
        held = np.bincount(self.which, self.weight, len(self.effective))
        return float(self.effective[held >= min(share, float(held.max()))].min())


@dataclass(frozen=True)
class _LinePiece:
    """A piece of the prior (share, centre (D,), spread (D,)) and the posterior of its line (mean, Cholesky factor)."""

    share: float
    centre: np.ndarray
    spread: np.ndarray
    mean: np.ndarray
    root: np.ndarray
    log_evidence: float = -np.inf


@dataclass
class _Pool:
    """Draws of one hypothesis so far, its pieces, and the distributions drawn from (draws, mean, Cholesky factor)."""

    scores: np.ndarray
    likelihood: np.ndarray
    prior_draws: float
    pieces: list[_LinePiece]
    proposals: list[tuple[float, np.ndarray, np.ndarray]] = field(default_factory=list)

    def log_weight(self) -> np.ndarray:
        """Return ln(prior × likelihood / mixture) of every draw."""
        prior = -0.5 * (self.scores**2).sum(axis=1) - 0.5 * self.scores.shape[1] * np.log(2 * np.pi)
        total = self.prior_draws + sum(count for count, _, _ in self.proposals)
        parts = [np.log(self.prior_draws / total) + prior]
        parts += [np.log(count / total) + _log_t(self.scores, mean, root) for count, mean, root in self.proposals]
        return np.asarray(prior + self.likelihood - np.logaddexp.reduce(parts, axis=0))

    def promise(self) -> float:
        """Return ln evidence as far as it is known: of the draws, or of the lines."""
        lines = float(np.logaddexp.reduce([piece.log_evidence for piece in self.pieces]))
        return max(_log_mean(self.log_weight()), lines)


def weigh(likelihood: Likelihood, prior: Sequence[float], columns: int, plan: DrawsPlan) -> Weighed:
    """Return draws of every hypothesis, weighed by prior probability (H,) and likelihood."""
    log_prior = np.log(np.asarray(prior, float))
    scores = standard_scores(int(plan.first.max()), columns)
    which = np.repeat(np.arange(len(plan.first)), plan.first)
    drawn = np.concatenate([scores[:count] for count in plan.first])
    value, _ = likelihood(which, drawn)
    pools = [_begun(drawn[which == h], value[which == h]) for h in range(len(plan.first))]
    every = np.arange(len(pools))
    _straighten(likelihood, pools, every, plan.lines)
    for _ in range(2 if plan.parts else 0):
        begun = _beside(likelihood, pools, _best(pools, log_prior, _LEADERS), plan.parts)
        _straighten(likelihood, pools, begun, plan.lines)
    kept = _best(pools, log_prior, plan.kept)
    for h in kept:
        pools[h].pieces = _cut(pools[h].pieces[0], int(plan.cut[h]))
    _straighten(likelihood, pools, kept, plan.lines)
    for step, (count, draws) in enumerate(plan.later, 1):
        _draw(likelihood, pools, _best(pools, log_prior, count), draws, step)
    weighed = _weighed(pools, log_prior)
    for step in range(plan.rounds):
        held = np.bincount(weighed.which, weighed.weight, len(pools))
        poor = np.flatnonzero((held >= plan.share) & (weighed.effective < plan.enough))
        if not len(poor):
            break
        _straighten(likelihood, pools, poor, 1)
        for h in poor:
            pools[h].pieces.append(_about_draws(pools[h]))
        _draw(likelihood, pools, poor, plan.more, len(plan.later) + 1 + step)
        weighed = _weighed(pools, log_prior)
    return weighed


def _best(pools: Sequence[_Pool], log_prior: np.ndarray, count: int) -> np.ndarray:
    """Return the most promising hypotheses, none that no draw fits."""
    promise = np.array([pool.promise() for pool in pools]) + log_prior
    order = np.argsort(promise)[::-1][:count]
    return np.asarray(order[np.isfinite(promise[order])])


def _begun(scores: np.ndarray, likelihood: np.ndarray) -> _Pool:
    """Return a hypothesis after its draws of the prior: its line begins where the two faults fit best."""
    mean, spread = np.zeros(scores.shape[1]), np.ones(scores.shape[1])
    if np.isfinite(likelihood).any():
        weight = np.exp(0.02 * (likelihood - likelihood.max()))
        weight /= weight.sum()
        mean[:2] = weight @ scores[:, :2]
        spread[:2] = np.sqrt(weight @ (scores[:, :2] - mean[:2]) ** 2) + 1e-3
    whole = _LinePiece(1.0, np.zeros_like(mean), np.ones_like(mean), mean, np.diag(spread))
    return _Pool(scores, likelihood, float(len(scores)), [whole])


def _beside(
    likelihood: Likelihood, pools: Sequence[_Pool], leaders: np.ndarray, parts: Sequence[tuple[int, ...]]
) -> np.ndarray:
    """Begin the line anew of hypotheses that share all but one of their parts with a leader, where that fits better.

    A line that began far off has not arrived, and would be left out though it explains the readings as well.
    """
    places, starts = [], []
    for leader in leaders:
        known = pools[leader].pieces[0]
        for h, mine in enumerate(parts):
            own = [axis for axis, part in enumerate(mine) if part not in parts[leader]]
            if h == leader or len(own) > 1:
                continue
            start = known.mean.copy()
            start[: max(len(parts[leader]), len(mine))] = 0.0
            for axis, part in enumerate(mine):
                if part in parts[leader]:
                    start[axis] = known.mean[parts[leader].index(part)]
            scan = np.tile(start, (len(_SCAN) if own else 1, 1))
            scan[:, own] = _SCAN[:, None] if own else 0.0
            places += [h] * len(scan)
            starts.append(scan)
    if not places:
        return np.zeros(0, dtype=int)
    which, scores = np.array(places), np.concatenate(starts)
    changed = np.unique(which)
    current = np.stack([pools[h].pieces[0].mean for h in changed])
    value, _ = likelihood(np.concatenate([changed, which]), np.concatenate([current, scores]))
    fit = value - 0.5 * (np.concatenate([current, scores]) ** 2).sum(axis=1)
    better = []
    for n, h in enumerate(changed):
        rows = np.flatnonzero(which == h)
        best = rows[np.argmax(fit[len(changed) + rows])]
        if fit[len(changed) + best] > fit[n] + 1.0:
            root = pools[leaders[0]].pieces[0].root.copy()
            root[[0, 1], [0, 1]] += 0.3  # its own part may lie anywhere between two of the scan
            pools[h].pieces = [replace(pools[h].pieces[0], mean=scores[best], root=root)]
            better.append(h)
    return np.array(better, dtype=int)


def _cut(whole: _LinePiece, axes: int) -> list[_LinePiece]:
    """Return a prior as a whole, with the line that it has, and in overlapping pieces along its first scores."""
    weight = np.exp(-0.5 * _PIECES**2 / (1 - _PIECE_SPREAD**2))
    pieces = [whole]
    for axis in range(axes):
        further = []
        for piece in pieces:
            for centre, share in zip(_PIECES, weight / weight.sum(), strict=True):
                middle, spread, mean = piece.centre.copy(), piece.spread.copy(), piece.mean.copy()
                middle[axis], spread[axis], mean[axis] = centre, _PIECE_SPREAD, centre
                further.append(_LinePiece(piece.share * share, middle, spread, mean, whole.root))
        pieces = further
    return [whole, *pieces] if axes else pieces


def _straighten(likelihood: Likelihood, pools: Sequence[_Pool], chosen: np.ndarray, times: int) -> None:
    """Find the line of every piece of the chosen hypotheses anew, so many times, and its evidence."""
    places = [(int(h), k) for h in chosen for k in range(len(pools[h].pieces))]
    if not places:
        return
    which = np.array([h for h, _ in places])
    before = [pools[h].pieces[k] for h, k in places]
    for _ in range(times):
        pieces = [pools[h].pieces[k] for h, k in places]
        points = [_either_side(piece.mean, piece.root) for piece in pieces]
        size = len(points[0])
        _, misses = likelihood(np.repeat(which, size), np.concatenate(points))
        for n, (h, k) in enumerate(places):
            pools[h].pieces[k] = _of_line(pieces[n], misses[n * size : (n + 1) * size])
    means = np.stack([pools[h].pieces[k].mean for h, k in places])
    value, _ = likelihood(which, means)
    for n, (h, k) in enumerate(places):
        piece = pools[h].pieces[k]
        away = (piece.mean - piece.centre) / piece.spread
        volume = np.log(np.diag(piece.root)).sum() - np.log(piece.spread).sum()
        evidence = np.log(piece.share) + float(value[n]) - 0.5 * float(away @ away) + float(volume)
        # A line that leads away from a better one is not followed.
        kept = before[n].log_evidence > evidence + _AWAY
        pools[h].pieces[k] = before[n] if kept else replace(piece, log_evidence=evidence)


def _either_side(mean: np.ndarray, root: np.ndarray) -> np.ndarray:
    """Return the middle and one standard deviation either side of it along each axis, (2·columns + 1, columns)."""
    return np.concatenate([mean[None], mean + root.T, mean - root.T])


def _of_line(piece: _LinePiece, misses: np.ndarray) -> _LinePiece:
    """Return a piece with mean and spread of its scores if misses went in a straight line with them.

    Parameters
    ----------
    piece : _LinePiece
        With the middle about which the misses were worked out.
    misses : (2·D + 1, values) array
        At the points of `_either_side`.

    Notes
    -----
    What the line leaves of a miss counts as noise of its own: a crooked chain is followed with care.
    """
    columns, mean = len(piece.mean), piece.mean
    here, above, below = misses[0], misses[1 : columns + 1], misses[columns + 1 :]
    line = np.linalg.solve(piece.root.T, 0.5 * (above - below))
    bend = 0.5 * (above + below) - here
    noise = 1 + 2 * (bend**2).sum(axis=0)
    scale = 1.0
    for _ in range(2):  # readings that no scores explain have wider errors than stated
        precision = np.diag(piece.spread**-2) + (line / noise) @ line.T / scale
        pull = piece.centre / piece.spread**2 + (line / noise) @ (mean @ line - here) / scale
        middle = np.linalg.solve(precision, pull)
        left = here + (middle - mean) @ line
        scale = max(float((left**2 / noise).sum()) / len(left), 1.0)
    covariance = np.linalg.inv(precision)
    root = np.linalg.cholesky(0.5 * (covariance + covariance.T) + 1e-8 * np.eye(columns))
    return replace(piece, mean=middle, root=root)


def _draw(likelihood: Likelihood, pools: Sequence[_Pool], chosen: np.ndarray, count: int, step: int) -> None:
    """Add about so many draws to each of the chosen hypotheses."""
    if not len(chosen):
        return
    new = [_drawn(pools[h], count, SEED + 997 * step + int(h)) for h in chosen]
    value, _ = likelihood(np.repeat(chosen, [len(each) for each in new]), np.concatenate(new))
    ends = np.cumsum([len(each) for each in new])[:-1]
    for h, scores, each in zip(chosen, new, np.split(value, ends), strict=True):
        pools[h].scores = np.concatenate([pools[h].scores, scores])
        pools[h].likelihood = np.concatenate([pools[h].likelihood, each])


def _drawn(pool: _Pool, count: int, seed: int) -> np.ndarray:
    """Return new draws about the lines, some from the prior, and note where they come from."""
    columns = pool.scores.shape[1]
    evidence = np.array([piece.log_evidence for piece in pool.pieces])
    share = np.exp(0.7 * (evidence - evidence.max())) if np.isfinite(evidence).any() else np.ones(len(evidence))
    share = np.maximum(share / share.sum(), _WHOLE)
    of_prior = max(int(_PRIOR_SHARE * count), 1)
    counts = np.round((count - of_prior) * share / share.sum()).astype(int)
    total = of_prior + int(counts.sum())
    fresh = standard_scores(1 << (total - 1).bit_length(), columns, seed=seed)[:total]
    generator = np.random.default_rng(seed)
    at = of_prior
    for piece, mine in zip(pool.pieces, counts, strict=True):
        if mine:
            root = _WIDER * piece.root
            stretch = np.sqrt(_FREEDOM / generator.chisquare(_FREEDOM, mine))
            fresh[at : at + mine] = piece.mean + stretch[:, None] * (fresh[at : at + mine] @ root.T)
            pool.proposals.append((float(mine), piece.mean, root))
            at += mine
    pool.prior_draws += of_prior
    return fresh


def _about_draws(pool: _Pool) -> _LinePiece:
    """Return a piece about the draws that fit best: where a chain jumps, no straight line finds them.

    Weights are flattened until enough draws count for a middle and a spread (population Monte Carlo; Cappé, Guillin,
    Marin and Robert, Journal of Computational and Graphical Statistics 13 (2004) 907, from memory). How scores go
    together is the line's: as many numbers from so few draws would fit the draws, and the evidence would come out low.
    """
    log_weight = pool.log_weight()
    weight = np.zeros(len(log_weight))
    for power in (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1):
        weight = np.exp(power * (log_weight - log_weight.max()))
        weight /= weight.sum()
        if 1 / (weight**2).sum() >= _FOR_A_MIDDLE:
            break
    mean = weight @ pool.scores
    best = max(pool.pieces, key=lambda piece: piece.log_evidence)
    variance = (best.root**2).sum(axis=1)
    wider = np.sqrt(0.5 + 0.5 * (weight @ (pool.scores - mean) ** 2) / variance)
    whole = np.zeros_like(mean), np.ones_like(mean)
    return _LinePiece(1.0, *whole, mean, wider[:, None] * best.root, best.log_evidence)


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


def _weighed(pools: Sequence[_Pool], log_prior: np.ndarray) -> Weighed:
    logs = [pool.log_weight() for pool in pools]
    evidence = np.array([_log_mean(each) for each in logs])
    joint = np.concatenate([each - np.log(len(each)) + log_prior[h] for h, each in enumerate(logs)])
    weight = np.exp(joint - joint.max())
    which = np.repeat(np.arange(len(pools)), [len(each) for each in logs])
    sums = np.bincount(which, weight, len(pools)), np.bincount(which, weight**2, len(pools))
    effective = np.divide(sums[0] ** 2, sums[1], out=np.zeros(len(pools)), where=sums[1] > 0)
    return Weighed(which, np.concatenate([p.scores for p in pools]), weight / weight.sum(), evidence, effective)
