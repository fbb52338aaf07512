"""The sampler of hypotheses: every step worked out again from its definition, with few scores and few draws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal, multivariate_t, norm

from energy.diagnosis.importance import (
    DrawsPlan,
    Weighed,
    _about_draws,
    _begun,
    _beside,
    _best,
    _cut,
    _draw,
    _drawn,
    _either_side,
    _LinePiece,
    _log_mean,
    _log_t,
    _of_line,
    _Pool,
    _straighten,
    _weighed,
    weigh,
)
from energy.uncertainty.draws import SEED, standard_scores

ROOT = np.array([[0.5, 0.0], [0.2, 0.8]])


def piece_of(mean, root=None, evidence=-np.inf, **more):
    mean = np.asarray(mean, float)
    root = np.eye(len(mean)) if root is None else root
    return replace(_LinePiece(1.0, np.zeros(len(mean)), np.ones(len(mean)), mean, root, evidence), **more)


def pool_of(scores, likelihood, prior_draws=None, pieces=(), proposals=()):
    scores = np.asarray(scores, float)
    draws = float(len(scores)) if prior_draws is None else prior_draws
    return _Pool(scores, np.asarray(likelihood, float), draws, list(pieces), list(proposals))


def test_the_density_of_students_t():
    at = np.random.default_rng(1).normal(size=(5, 2))
    mean = np.array([0.3, -0.4])
    expected = multivariate_t(mean, ROOT @ ROOT.T, df=7).logpdf(at)
    assert _log_t(at, mean, ROOT) == pytest.approx(expected)


def test_weights_are_prior_times_likelihood_over_the_mixture_drawn_from():
    scores = np.random.default_rng(2).normal(size=(4, 2))
    likelihood = np.array([-1.0, 0.5, -3.0, -np.inf])
    means = [np.array([0.5, 0.1]), np.array([-1.0, 1.0])]
    roots = [ROOT, 0.5 * np.eye(2)]
    pool = pool_of(scores, likelihood, 3.0, proposals=[(6.0, means[0], roots[0]), (11.0, means[1], roots[1])])
    prior = multivariate_normal(np.zeros(2), np.eye(2)).pdf(scores)
    mixture = 3 / 20 * prior
    for count, mean, root in zip((6, 11), means, roots, strict=True):
        mixture = mixture + count / 20 * multivariate_t(mean, root @ root.T, df=7).pdf(scores)
    expected = np.log(prior / mixture) + likelihood
    assert pool.log_weight() == pytest.approx(expected)
    mean = math.log(np.exp(expected).mean())
    assert _log_mean(expected) == pytest.approx(mean)
    pool.pieces = [piece_of([0.0, 0.0], evidence=mean - 3), piece_of([0.0, 0.0], evidence=mean - 4)]
    assert pool.promise() == pytest.approx(mean)
    pool.pieces[0] = piece_of([0.0, 0.0], evidence=mean + 2)
    assert pool.promise() == pytest.approx(math.log(math.exp(mean + 2) + math.exp(mean - 4)))
    assert _log_mean(np.full(3, -np.inf)) == -np.inf


def test_weights_of_all_hypotheses_together():
    pools = [pool_of(np.zeros((2, 1)), [0.0, math.log(3.0)]), pool_of(np.ones((3, 1)), [math.log(2.0), 0.0, -np.inf])]
    pools.append(pool_of(np.zeros((1, 1)), [-np.inf]))
    found = _weighed(pools, np.log([0.5, 0.3, 0.2]))
    # All from the prior: the weight is the likelihood over the draws of its hypothesis, times its prior.
    share = np.array([0.5 * 1 / 2, 0.5 * 3 / 2, 0.3 * 2 / 3, 0.3 * 1 / 3, 0.0, 0.0])
    assert found.weight == pytest.approx(share / share.sum())
    assert found.which.tolist() == [0, 0, 1, 1, 1, 2]
    assert found.log_evidence == pytest.approx([math.log(2.0), 0.0, -np.inf])
    assert found.effective == pytest.approx([16 / 10, 9 / 5, 0.0])  # (Σw)²/Σw² (Kish)
    assert found.scores[:, 0].tolist() == [0, 0, 1, 1, 1, 0]


def test_the_poorest_of_those_asked():
    weighed = Weighed(np.array([0, 1]), np.zeros((2, 1)), np.array([0.5, 0.5]), np.zeros(2), np.array([3.0, 7.0]))
    assert weighed.least_effective(0.5) == 3.0  # a share that is just held is asked
    assert weighed.least_effective(0.9) == 3.0  # where none holds as much, the likeliest are


def test_the_most_promising_first_and_none_that_cannot_be():
    pools = [pool_of(np.zeros((1, 1)), [v], pieces=[piece_of([0.0])]) for v in (-1.0, -np.inf, 0.0, -0.5)]
    log_prior = np.log([0.8, 0.1, 0.05, 0.05])
    assert _best(pools, log_prior, 4).tolist() == [0, 2, 3]
    assert _best(pools, log_prior, 2).tolist() == [0, 2]


def test_a_line_begins_where_the_two_faults_fit_best():
    scores = np.random.default_rng(3).normal(size=(6, 3))
    likelihood = np.array([-100.0, -20.0, 0.0, -50.0, -np.inf, -10.0])
    pool = _begun(scores, likelihood)
    weight = np.exp(0.02 * likelihood)
    weight /= weight.sum()
    mean = [sum(weight * scores[:, k]) for k in (0, 1)]
    spread = [math.sqrt(sum(weight * (scores[:, k] - mean[k]) ** 2)) + 1e-3 for k in (0, 1)]
    (piece,) = pool.pieces
    assert piece.mean == pytest.approx([*mean, 0.0])
    assert piece.root == pytest.approx(np.diag([*spread, 1.0]))
    assert (piece.share, piece.log_evidence) == (1.0, -np.inf)
    assert piece.centre.tolist() == [0.0] * 3
    assert piece.spread.tolist() == [1.0] * 3
    assert pool.prior_draws == 6.0
    assert not pool.proposals
    nowhere = _begun(scores, np.full(6, -np.inf)).pieces[0]
    assert nowhere.mean.tolist() == [0.0] * 3
    assert nowhere.root == pytest.approx(np.eye(3))


def test_pieces_of_the_prior_add_up_to_it():
    whole = piece_of([0.4, -0.3, 0.2], np.diag([0.3, 0.5, 0.7]), 1.5)
    assert _cut(whole, 0) == [whole]
    one, two = _cut(whole, 1), _cut(whole, 2)
    assert (len(one), len(two)) == (6, 26)
    assert one[0] is whole
    assert two[0] is whole
    at = np.linspace(-2.0, 2.0, 9)
    mixture = sum(p.share * norm.pdf(at, p.centre[0], p.spread[0]) for p in one[1:])
    assert mixture == pytest.approx(norm.pdf(at), rel=0.15)  # five pieces are nearly a normal (Gaussian sum)
    assert sum(p.share for p in two[1:]) == pytest.approx(1.0)
    for piece in two[1:]:
        assert piece.mean == pytest.approx([*piece.centre[:2], 0.2])
        assert piece.spread == pytest.approx([0.6, 0.6, 1.0])
        assert piece.centre[2] == 0.0
        assert piece.root is whole.root
        own = [math.exp(-0.5 * c**2 / (1 - 0.36)) for c in (-1.6, -0.8, 0.0, 0.8, 1.6)]
        shares = {c: v / sum(own) for c, v in zip((-1.6, -0.8, 0.0, 0.8, 1.6), own, strict=True)}
        assert piece.share == pytest.approx(math.prod(shares[round(float(c), 1)] for c in piece.centre[:2]))
    assert len({tuple(p.centre) for p in two[1:]}) == 25


def test_points_either_side_of_a_middle():
    points = _either_side(np.array([1.0, 2.0]), ROOT)
    assert points.tolist() == [[1, 2], [1.5, 2.2], [1, 2.8], [0.5, 1.8], [1, 1.2]]


def test_a_bent_line_counts_as_noise_and_what_no_score_explains_widens_the_errors():
    """Two scores, three readings: misses m(x) = A·x + q·(x₁² + x₂²) − y, worked out again with explicit matrices."""
    slope = np.array([[3.0, -1.0, 0.5], [0.4, 2.0, 1.0]])
    bend, reading = np.array([0.0, 0.3, 0.1]), np.array([1.0, -0.5, 30.0])
    piece = piece_of([0.2, -0.1], ROOT, centre=np.array([0.8, 0.0]), spread=np.array([0.6, 1.0]))
    points = _either_side(piece.mean, ROOT)
    misses = points @ slope + (points**2).sum(axis=1)[:, None] * bend - reading
    found = _of_line(piece, misses)
    here = misses[0]
    axes = ROOT.T  # rows: one standard deviation along each
    across = np.array([(misses[1 + k] - misses[3 + k]) / 2 for k in range(2)])
    line = np.linalg.inv(axes) @ across
    left_over = [sum(((misses[1 + k, j] + misses[3 + k, j]) / 2 - here[j]) ** 2 for k in range(2)) for j in range(3)]
    noise = np.array([1 + 2 * v for v in left_over])
    prior = np.diag([1 / 0.36, 1.0])
    scale = 1.0
    for _ in range(2):
        precision = prior + sum(np.outer(line[:, j], line[:, j]) / noise[j] for j in range(3)) / scale
        pull = prior @ piece.centre
        pull = pull + sum(line[:, j] * (piece.mean @ line[:, j] - here[j]) / noise[j] for j in range(3)) / scale
        middle = np.linalg.inv(precision) @ pull
        missed = here + (middle - piece.mean) @ line
        scale = max(float(np.mean(missed**2 / noise)), 1.0)
    assert scale > 5  # the third reading is far off
    assert found.mean == pytest.approx(middle)
    assert found.root @ found.root.T == pytest.approx(np.linalg.inv(precision), abs=3e-8)
    assert found.root[0, 1] == 0.0


def straight(lines, reading):
    def likelihood(which, scores):
        miss = np.einsum("nd,ndv->nv", scores, lines[which]) - reading[which]
        return np.asarray(-0.5 * (miss**2).sum(axis=1)), miss

    return likelihood


def test_straight_lines_have_their_posterior_and_evidence_in_closed_form():
    """Normal prior, linear readings with unit noise: ln evidence = ln N(y; 0, AᵀA + 1) + values/2·ln 2π."""
    draw = np.random.default_rng(5)
    lines, reading = 2 * draw.normal(size=(2, 2, 3)), np.zeros((2, 3))
    reading[0] = np.array([1.0, -0.4]) @ lines[0]
    reading[1] = np.array([0.3, 0.9]) @ lines[1]
    likelihood = straight(lines, reading)
    pools = [pool_of(np.zeros((1, 2)), [0.0], pieces=[piece_of([0.5, 0.5])]) for _ in range(2)]
    _straighten(likelihood, pools, np.array([1]), 2)
    assert pools[0].pieces[0].log_evidence == -np.inf  # not chosen
    piece = pools[1].pieces[0]
    precision = np.eye(2) + lines[1] @ lines[1].T
    assert piece.mean == pytest.approx(np.linalg.solve(precision, lines[1] @ reading[1]))
    covariance = lines[1].T @ lines[1] + np.eye(3)
    exact = -0.5 * reading[1] @ np.linalg.solve(covariance, reading[1]) - 0.5 * math.log(np.linalg.det(covariance))
    assert piece.log_evidence == pytest.approx(exact, abs=1e-6)
    # A share and a prior of its own: the same integral with that prior.
    pools[0].pieces = [piece_of([0.5, 0.5], share=0.3, centre=np.array([0.8, 0.0]), spread=np.array([0.6, 1.0]))]
    _straighten(likelihood, pools, np.array([0]), 1)
    prior = np.diag([0.36, 1.0])
    off = reading[0] - np.array([0.8, 0.0]) @ lines[0]
    covariance = lines[0].T @ prior @ lines[0] + np.eye(3)
    exact = -0.5 * off @ np.linalg.solve(covariance, off) - 0.5 * math.log(np.linalg.det(covariance)) + math.log(0.3)
    assert pools[0].pieces[0].log_evidence == pytest.approx(exact, abs=1e-6)


def test_a_line_that_leads_away_from_a_better_one_is_not_followed():
    lines, reading = np.full((1, 1, 1), 2.0), np.array([[2.0]])
    exact = -0.5 * 4 / 5 - 0.5 * math.log(5)
    for better, kept in ((1.9, False), (2.1, True)):
        old = piece_of([0.7], evidence=exact + better)
        pools = [pool_of(np.zeros((1, 1)), [0.0], pieces=[old])]
        _straighten(straight(lines, reading), pools, np.array([0]), 1)
        assert (pools[0].pieces[0] is old) == kept
        assert pools[0].pieces[0].mean[0] == pytest.approx(0.7 if kept else 0.8)
    _straighten(straight(lines, reading), pools, np.zeros(0, dtype=int), 1)  # none chosen: nothing is asked


def test_draws_are_shared_out_by_evidence_and_remembered():
    pieces = [piece_of([1.0, 0.0], ROOT, 2.0), piece_of([-1.0, 2.0], 0.5 * np.eye(2), 0.0), piece_of([9.0, 9.0])]
    pool = pool_of(np.zeros((4, 2)), np.zeros(4), pieces=pieces)
    found = _drawn(pool, 400, 77)
    share = np.array([1.0, math.exp(-1.4), 1e-3 * (1 + math.exp(-1.4))]) / (1 + math.exp(-1.4))
    counts = [round(380 * v / share.sum()) for v in share]
    assert [round(count) for count, _, _ in pool.proposals] == [c for c in counts if c]
    assert len(found) == 20 + sum(counts)
    assert pool.prior_draws == 4 + 20  # a twentieth from the prior
    assert pool.proposals[0][1] is pieces[0].mean
    assert pool.proposals[0][2] == pytest.approx(1.1 * ROOT)
    fresh = standard_scores(512, 2, seed=77)[: len(found)]
    assert found[:20] == pytest.approx(fresh[:20])
    # Student's t: a normal over the root of chi-square over its degrees of freedom.
    stretch = np.random.default_rng(77).chisquare(7.0, counts[0])
    first = fresh[20 : 20 + counts[0]]
    expected = [1.1 * math.sqrt(7 / s) * (ROOT @ z) + [1.0, 0.0] for s, z in zip(stretch, first, strict=True)]
    assert found[20 : 20 + counts[0]] == pytest.approx(np.array(expected))
    assert np.median(found[20 + counts[0] : 20 + sum(counts[:2])], axis=0) == pytest.approx([-1.0, 2.0], abs=0.15)
    blank = pool_of(np.zeros((4, 2)), np.zeros(4), pieces=[piece_of([1.0, 0.0]), piece_of([0.0, 0.0])])
    assert len(_drawn(blank, 15, 5)) == 15  # one at least from the prior, and both pieces alike
    assert [count for count, _, _ in blank.proposals] == [7.0, 7.0]
    assert blank.prior_draws == 5.0


def test_draws_come_back_to_their_own_hypothesis():
    pools = [pool_of(np.zeros((1, 1)), [0.0], pieces=[piece_of([float(k)], evidence=0.0)]) for k in range(3)]
    asked = []

    def likelihood(which, scores):
        asked.append(which)
        return 1000.0 * which + scores[:, 0], scores

    _draw(likelihood, pools, np.array([2, 0]), 40, 3)
    assert len(asked) == 1
    for h in (2, 0):
        assert len(pools[h].scores) == len(pools[h].likelihood) == 41
        assert pools[h].likelihood[1:] == pytest.approx(1000.0 * h + pools[h].scores[1:, 0])
        copy = pool_of(np.zeros((1, 1)), [0.0], pieces=[piece_of([float(h)], evidence=0.0)])
        assert pools[h].scores[1:] == pytest.approx(_drawn(copy, 40, SEED + 997 * 3 + h))
    assert len(pools[1].scores) == 1
    _draw(likelihood, pools, np.zeros(0, dtype=int), 40, 3)
    assert len(asked) == 1


@pytest.mark.parametrize("steep", [0.3, 6.0, 60.0, 1000.0])
def test_a_piece_about_the_draws_that_fit_best(steep):
    scores = standard_scores(256, 2)
    likelihood = -steep * ((scores[:, 0] - 1.0) ** 2 + (scores[:, 1] + 0.5) ** 2)
    best, other = piece_of([0.0, 0.0], ROOT, 3.0), piece_of([0.0, 0.0], np.eye(2), 1.0)
    found = _about_draws(pool_of(scores, likelihood, pieces=[other, best]))
    for power in (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1):  # flatter until sixty draws count
        weight = [math.exp(power * (v - likelihood.max())) for v in likelihood]
        if sum(weight) ** 2 / sum(w * w for w in weight) >= 60:
            break
    mean = [sum(w * s for w, s in zip(weight, scores[:, k], strict=True)) / sum(weight) for k in (0, 1)]
    assert found.mean == pytest.approx(mean)
    for k in (0, 1):
        spread = sum(w * (s - mean[k]) ** 2 for w, s in zip(weight, scores[:, k], strict=True)) / sum(weight)
        variance = ROOT[k] @ ROOT[k]
        assert found.root[k] == pytest.approx(math.sqrt(0.5 + 0.5 * spread / variance) * ROOT[k])
    assert (found.share, found.log_evidence) == (1.0, 3.0)
    assert found.centre.tolist() == [0.0, 0.0]
    assert found.spread.tolist() == [1.0, 1.0]


def test_neighbours_of_the_best_begin_beside_it():
    """A neighbour takes over the part that it shares, wherever that stands in either; its own part is scanned."""
    peak = np.array([1.5, -1.0, 0.7])
    asked = []

    def likelihood(which, scores):
        asked.append((which, scores))
        target = np.where(
            (which == 1)[:, None], [0.5, 1.5, 0.7], np.where((which == 2)[:, None], [-1.0, 0.0, 0.7], peak)
        )
        miss = (scores - target) / 0.1
        return np.asarray(-0.5 * (miss**2).sum(axis=1)), miss

    def pools():
        begun = [peak, np.array([0.5, 0.0, 0.0]), np.zeros(3), np.zeros(3), np.zeros(3)]
        return [pool_of(np.zeros((1, 3)), [0.0], pieces=[piece_of(m, 0.2 * np.eye(3))]) for m in begun]

    # The leader has parts 4 and 5; then (6, 4) shares 4 as its second, (5,) alone, (7, 8) none, () nothing at all.
    parts = ((4, 5), (6, 4), (5,), (7, 8), ())
    mine = pools()
    mine[0].pieces.append(piece_of([9.0, 9.0, 9.0]))  # the line of the whole prior is what a neighbour begins by
    better = _beside(likelihood, mine, np.array([0]), parts)
    which, scores = asked[0]
    rows = {h: scores[np.flatnonzero(which == h)[1:]] for h in (1, 2, 4)}
    assert 3 not in which
    assert 0 not in which
    assert rows[1] == pytest.approx(np.array([[v, 1.5, 0.7] for v in np.linspace(-2, 2, 9)]))
    assert rows[2] == pytest.approx(np.array([[-1.0, 0.0, 0.7]]))
    assert rows[4] == pytest.approx(np.array([[0.0, 0.0, 0.7]]))
    assert list(better) == [1, 2, 4]
    assert mine[1].pieces[0].mean == pytest.approx([0.5, 1.5, 0.7])
    assert mine[1].pieces[0].root == pytest.approx(np.diag([0.5, 0.5, 0.2]))
    assert mine[2].pieces[0].mean == pytest.approx([-1.0, 0.0, 0.7])
    assert mine[4].pieces[0].mean == pytest.approx([0.0, 0.0, 0.7])  # without a fault, the rest as the best has it
    # A gain of less than one in ln(probability) is not worth a new beginning.
    near = pools()
    near[2].pieces = [
        replace(near[2].pieces[0], mean=np.array([-1.0, 0.0, 0.56]))
    ]  # 0.98 of likelihood below, 0.89 with the prior
    near[1].pieces = [replace(near[1].pieces[0], mean=np.array([0.5, 1.5, 0.53]))]  # 1.4 below
    near[4].pieces = [replace(near[4].pieces[0], mean=np.array([0.0, 0.0, 0.7]))]
    assert list(_beside(likelihood, near, np.array([0]), parts)) == [1]
    assert not len(_beside(likelihood, pools(), np.array([0]), ((4, 5), (6, 7))))


def test_more_is_drawn_of_what_is_likely_and_poorly_known():
    """A narrow peak of two: rounds of more draws stop as soon as enough of them count."""
    calls = []

    def likelihood(which, scores):
        calls.append(len(which))
        miss = np.stack([(scores[:, 0] - 2.5) / 0.05, np.where(scores[:, 1] > 1.0, 0.0, 6.0)], axis=1)
        return np.asarray(-0.5 * (miss**2).sum(axis=1)), miss

    plan = DrawsPlan(np.array([64, 64]), np.array([0, 0]), lines=1, kept=2, later=((1, 32),), more=128, rounds=3)
    first = weigh(likelihood, [0.9, 0.1], 2, replace(plan, rounds=0))
    without = len(calls)
    counts = np.bincount(first.which)
    assert counts.tolist() == [64 + 32, 64]  # the second hypothesis is as good, but rarer beforehand
    calls.clear()
    several = weigh(likelihood, [0.9, 0.1], 2, replace(plan, enough=1e9))
    assert len(calls) == without + 3 * 3  # each round: a line (its points, its middle) and its draws
    assert np.bincount(several.which)[0] >= 96 + 3 * 127
    calls.clear()
    weigh(likelihood, [0.9, 0.1], 2, replace(plan, enough=0.0))
    assert len(calls) == without
    exact = math.log(norm.pdf(2.5) * 0.05 * math.sqrt(2 * math.pi) * (norm.sf(1.0) + math.exp(-18) * norm.cdf(1.0)))
    assert several.log_evidence[0] == pytest.approx(exact, abs=0.1)
    assert several.weight.sum() == pytest.approx(1.0)
