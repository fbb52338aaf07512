"""The effect over runs, the odd pair, the drift and the power of a plan, recomputed from their equations.

In another form than the product's: generalised least squares with the covariance of runs written out, t-tests and
densities of scipy, every dealing written down.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import scipy.stats

from vehicle.problems import InputError
from vehicle.road_test.effect import (
    Blocks,
    Covariates,
    least_randomisation_p,
    less_covariates,
    randomisation_p,
    repeated_spread,
    run_level_effect,
    sign_flip_p,
    without_labels,
)
from vehicle.road_test.odd import drift_of, without_each
from vehicle.road_test.planning import (
    HEAVIER,
    HEAVIER_UNSTEADY,
    MOST_PAIRS,
    chance_on_the_road,
    changes_of,
    driving_order,
    pairs_needed,
    power_of_pairs,
    smallest_effect,
)

# --- the effect beside covariates that are known in part --------------------------------------------------------------


def _runs(seed: int, sizes: tuple[int, ...], covariates: int) -> tuple[np.ndarray, ...]:
    """Return values, states, blocks and covariates of runs in blocks of these sizes, the first of each with."""
    draw = np.random.default_rng(seed)
    blocks = np.repeat(np.arange(len(sizes)), sizes)
    treated = np.concatenate([np.arange(size) < 1 + (k % 2) * (size > 2) for k, size in enumerate(sizes)])
    z = draw.normal(0, 1, (blocks.size, covariates)) + 0.4 * treated[:, None]
    values = 7 + 0.3 * treated + z @ np.array([0.8, -0.5])[:covariates] + draw.normal(0, 0.4, blocks.size)
    return values + draw.normal(0, 2, len(sizes))[blocks], treated, blocks, z


def _mixed(values, fixed: np.ndarray, z: np.ndarray, deviation: np.ndarray, scatter2: float):
    """Return what generalised least squares gives for a scatter of runs: the slopes of `fixed`, their rows over values,
    those of the covariates, what their knowledge leaves of them, and how many values are fitted.

    Values are fixed x slopes + z x (slopes of no mean and the given deviation) + scatter (Theil and Goldberger 1961).
    """
    prior = np.diag(deviation**2)
    covariance = scatter2 * np.eye(values.size) + z @ prior @ z.T
    inverse = np.linalg.inv(covariance)
    information = fixed.T @ inverse @ fixed
    rows = np.linalg.solve(information, fixed.T @ inverse)
    slope_rows = prior @ z.T @ inverse @ (np.eye(values.size) - fixed @ rows)
    free = z - fixed @ np.linalg.lstsq(fixed, z, rcond=None)[0]
    left = np.linalg.inv(free.T @ free / scatter2 + np.linalg.inv(prior))
    return rows, slope_rows, np.linalg.inv(information), left, float(np.trace(fixed @ rows + z @ slope_rows))


@pytest.mark.parametrize(
    ("seed", "sizes", "deviation"),
    [
        (1, (2,) * 8, (0.3,)),
        (2, (2,) * 6, (5.0,)),
        (13, (3, 2, 4, 2, 2), (0.5, 0.2)),
        (4, (16,), (0.6, 0.9)),
        (5, (4, 4, 4), (0.05, 2.0)),
    ],
)
@pytest.mark.parametrize("level", [0.95, 0.8])
def test_the_effect_beside_covariates(seed: int, sizes: tuple[int, ...], deviation: tuple[float, ...], level) -> None:
    known = np.array(deviation)
    values, treated, blocks, z = _runs(seed, sizes, known.size)
    constants = (blocks[:, None] == np.unique(blocks)).astype(float)
    fixed = np.column_stack([treated.astype(float), constants])
    centred = z - constants @ np.linalg.lstsq(constants, z, rcond=None)[0]
    scatter2 = 0.1
    for _ in range(60):  # the scatter of runs is that which is left with itself in the weights
        rows, slope_rows, covariance, _, fitted = _mixed(values, fixed, z, known, scatter2)
        residual = values - fixed @ (rows @ values) - z @ (slope_rows @ values)
        left = values.size - fitted
        scatter2 = float(residual @ residual) / left
    variance = float(covariance[0, 0])
    freedom = left / (scatter2 * float(rows[0] @ rows[0]) / variance) ** 2  # Satterthwaite
    slopes = slope_rows @ values
    # of the slopes as they are known beside the effect: their covariance, from the same information
    everything = np.linalg.inv(
        np.column_stack([fixed, z]).T @ np.column_stack([fixed, z]) / scatter2
        + np.diag(np.concatenate([np.zeros(fixed.shape[1]), 1 / known**2]))
    )
    of_slopes = everything[fixed.shape[1] :, fixed.shape[1] :]
    uncertain = float(np.trace(centred @ of_slopes @ centred.T)) / (values.size - len(sizes))

    found = run_level_effect(values, treated, blocks, level, Covariates(z, known))
    estimate = float(rows[0] @ values)
    half = float(scipy.stats.t.ppf(0.5 + level / 2, freedom)) * np.sqrt(variance)
    assert found.change.estimate == pytest.approx(estimate, rel=1e-4)
    assert found.change.ends == pytest.approx((estimate - half, estimate + half), rel=1e-3)
    assert found.change.level == level
    assert found.slopes == pytest.approx(slopes, rel=1e-3)
    assert found.freedom == values.size - len(sizes) - 1
    assert found.standard_error == pytest.approx(np.sqrt(variance), rel=1e-3)
    assert found.pair_spread == pytest.approx(np.sqrt(2 * (scatter2 + uncertain)), rel=1e-3)
    assert found.p_value == pytest.approx(2 * scipy.stats.t.sf(abs(estimate) / np.sqrt(variance), freedom), rel=1e-2)
    # the values less what the covariates explain inside blocks
    assert less_covariates(values, blocks, Covariates(z, known), found.slopes) == pytest.approx(
        values - centred @ slopes, rel=1e-4
    )


@pytest.mark.parametrize("seed", range(10, 16))
@pytest.mark.parametrize("many", [1, 2])
def test_the_scatter_of_two_pairs_is_not_explained_away(seed: int, many: int) -> None:
    """Two pairs leave one degree of freedom, which slopes could use up: the scatter is that of the pairs alone."""
    known = np.array([0.3, 0.5])[:many]
    values, treated, blocks, z = _runs(seed, (2, 2), many)
    gains = values[[0, 2]] - values[[1, 3]]  # the first of each pair is with
    scatter2 = gains.var(ddof=1) / 2  # of one run
    fixed = np.column_stack([treated.astype(float), blocks == 0, blocks == 1]).astype(float)
    rows, slope_rows, covariance, _, _ = _mixed(values, fixed, z, known, scatter2)
    found = run_level_effect(values, treated, blocks, covariates=Covariates(z, known))
    assert found.change.estimate == pytest.approx(float(rows[0] @ values))
    assert found.slopes == pytest.approx(slope_rows @ values)
    assert found.standard_error == pytest.approx(np.sqrt(covariance[0, 0]))
    freedom = 1 / (scatter2 * float(rows[0] @ rows[0]) / covariance[0, 0]) ** 2
    half = scipy.stats.t.ppf(0.975, freedom) * np.sqrt(covariance[0, 0])
    assert found.change.ends == pytest.approx((found.change.estimate - half, found.change.estimate + half))
    # nor that of two repeated runs
    off = z[:2] - z[:2].mean(axis=0)
    plain2 = values[:2].var(ddof=1)
    uncertain = np.linalg.inv(off.T @ off / plain2 + np.diag(1 / known**2))
    wanted = np.sqrt(2 * (plain2 + np.trace(off @ uncertain @ off.T)))
    assert repeated_spread(values[:2], Covariates(z[:2], known)) == pytest.approx(wanted)


def test_the_interval_of_two_pairs_holds() -> None:
    """Runs that differ by 1 % and by their speeds, known in part: nine of ten intervals at 95 % hold, and none is
    nothing."""
    draw = np.random.default_rng(1)
    held, widths = [], []
    treated, blocks = np.tile([True, False], 2), np.repeat([0, 1], 2)
    for _ in range(150):
        z = draw.normal(0, 0.016, 4)
        values = 1 + 0.05 * treated + draw.normal(0, 0.25) * z + draw.normal(0, 0.01, 4)
        change = run_level_effect(values, treated, blocks, covariates=Covariates(z[:, None], np.array([0.25]))).change
        held.append(change.low <= 0.05 <= change.high)
        widths.append(change.high - change.low)
    assert 0.9 <= np.mean(held) <= 0.985
    assert np.quantile(widths, 0.1) > 0.015


@pytest.mark.parametrize(("seed", "sizes", "deviation"), [(6, (2,) * 7, (0.4,)), (7, (3, 4, 3), (0.3, 1.5))])
def test_values_less_covariates_without_a_look_at_the_states(seed: int, sizes, deviation) -> None:
    known = np.array(deviation)
    values, _, blocks, z = _runs(seed, sizes, known.size)
    constants = (blocks[:, None] == np.unique(blocks)).astype(float)
    scatter2 = 0.1
    for _ in range(60):
        rows, slope_rows, _, _, fitted = _mixed(values, constants, z, known, scatter2)
        residual = values - constants @ (rows @ values) - z @ (slope_rows @ values)
        scatter2 = float(residual @ residual) / (values.size - fitted)
    centred = z - constants @ np.linalg.lstsq(constants, z, rcond=None)[0]
    wanted = values - centred @ (slope_rows @ values)
    assert without_labels(values, blocks, Covariates(z, known)) == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize("deviation", [(0.3,), (0.5, 0.1)])
def test_the_spread_of_repeated_runs(deviation: tuple[float, ...]) -> None:
    known = np.array(deviation)
    values, _, _, z = _runs(8, (12,), known.size)
    assert repeated_spread(values) == pytest.approx(np.sqrt(2 * values.var(ddof=1)))
    one = np.ones((values.size, 1))
    scatter2 = 0.1
    for _ in range(60):
        rows, slope_rows, _, left, fitted = _mixed(values, one, z, known, scatter2)
        residual = values - one @ (rows @ values) - z @ (slope_rows @ values)
        scatter2 = float(residual @ residual) / (values.size - fitted)
    centred = z - z.mean(axis=0)
    uncertain = float(np.trace(centred @ left @ centred.T)) / (values.size - 1)
    wanted = np.sqrt(2 * (scatter2 + uncertain))
    assert repeated_spread(values, Covariates(z, known)) == pytest.approx(wanted, rel=1e-3)


def test_an_effect_without_freedom_or_without_a_pair() -> None:
    two = run_level_effect(np.array([7.0, 5.0]), np.array([True, False]), np.zeros(2))
    assert (two.change.estimate, two.change.low, two.change.high, two.freedom) == (2.0, None, None, 0)
    assert (two.pair_spread, two.standard_error, two.p_value, two.slopes) == (None, None, None, ())
    apart = run_level_effect(np.array([7.0, 5.0, 6.0]), np.array([True, False, True]), np.arange(3), 0.9)
    assert np.isnan(apart.change.estimate)
    assert (apart.change.low, apart.change.high, apart.change.level, apart.freedom) == (None, None, 0.9, 0)
    same = run_level_effect(np.array([1.0, 0.0] * 4), np.array([True, False] * 4), np.repeat(np.arange(4), 2))
    assert (same.change.ends, same.p_value) == ((1.0, 1.0), 0.0)  # no scatter at all: certain


def test_an_effect_in_another_unit_and_without_its_interval() -> None:
    values, treated, blocks, z = _runs(9, (2,) * 6, 1)
    one = run_level_effect(values, treated, blocks, covariates=Covariates(z, np.array([0.5])))
    other = one.times(2.5)
    for name in ("pair_spread", "standard_error"):
        assert getattr(other, name) == pytest.approx(2.5 * getattr(one, name))
    assert other.change.ends == pytest.approx([2.5 * end for end in one.change.ends])
    assert other.change.estimate == pytest.approx(2.5 * one.change.estimate)
    assert other.slopes == pytest.approx([2.5 * slope for slope in one.slopes])
    assert (other.freedom, other.p_value) == (one.freedom, one.p_value)
    bare = one.without_interval()
    assert (bare.change.low, bare.change.high, bare.pair_spread, bare.p_value) == (None,) * 4
    assert (bare.change.estimate, bare.freedom, bare.slopes) == (one.change.estimate, one.freedom, one.slopes)
    assert bare.standard_error == one.standard_error  # by which a ratio is corrected
    assert bare.times(2.0).pair_spread is None


def test_blocks() -> None:
    block = Blocks(np.array(["b", "a", "b", "a", "b"]))
    assert block.means(np.array([1.0, 2.0, 4.0, 6.0, 4.0])).tolist() == [3, 4, 3, 4, 3]
    assert block.centred(np.array([1.0, 2.0, 4.0, 6.0, 4.0])).tolist() == [-2, -2, 1, 2, 1]
    assert block.freedom == 5 - 2 - 1


# --- randomisation ----------------------------------------------------------------------------------------------------


def _every_dealing(values: np.ndarray, treated: np.ndarray, blocks: np.ndarray) -> np.ndarray:
    """Return the effect (as an inner product with the states, centred in blocks) of every dealing; the first is own."""
    places = [np.flatnonzero(blocks == block) for block in np.unique(blocks)]
    dealt = [itertools.combinations(rows.tolist(), int(treated[rows].sum())) for rows in places]
    effects = []
    for chosen in itertools.product(*dealt):
        states = np.zeros(values.size)
        states[list(itertools.chain(*chosen))] = 1.0
        effects.append(sum(float((states[rows] - states[rows].mean()) @ values[rows]) for rows in places))
    return np.array(effects)


@pytest.mark.parametrize(
    ("sizes", "ours"), [((3, 3, 4), (1, 2, 2)), ((6, 3), (2, 1)), ((4, 4), (1, 2)), ((2, 2, 3), (1, 1, 1))]
)
def test_states_are_dealt_anew_inside_blocks(sizes: tuple[int, ...], ours: tuple[int, ...]) -> None:
    """Against every dealing (Fisher 1935); 9 999 draws leave a deviation of 0.005."""
    draw = np.random.default_rng(sum(sizes))
    blocks = np.repeat(np.arange(len(sizes)), sizes)
    treated = np.concatenate([np.arange(size) % size < count for size, count in zip(sizes, ours, strict=True)])
    values = draw.normal(0, 1, blocks.size) + 0.9 * treated + 10 * blocks
    effects = _every_dealing(values, treated, blocks)
    own = abs(
        sum(float((treated[blocks == b] - treated[blocks == b].mean()) @ values[blocks == b]) for b in set(blocks))
    )
    wanted = np.mean(np.abs(effects) >= own - 1e-9)
    assert randomisation_p(values, treated, blocks) == pytest.approx(wanted, abs=0.02)
    mixed = draw.permutation(blocks.size)  # the order of the runs says nothing
    assert randomisation_p(values[mixed], treated[mixed], blocks[mixed]) == pytest.approx(wanted, abs=0.02)
    mirrored = all(size == 2 * count for size, count in zip(sizes, ours, strict=True))
    assert least_randomisation_p(treated, blocks) == pytest.approx((2 if mirrored else 1) / effects.size)


def test_the_least_that_a_randomisation_test_can_give() -> None:
    pairs = np.repeat(np.arange(5), 2)
    assert least_randomisation_p(np.tile([True, False], 5), pairs) == 2 / 2**5
    assert least_randomisation_p(np.arange(8) < 3, np.zeros(8)) == 1 / 56  # of 8 choose 3
    assert least_randomisation_p(np.arange(8) < 4, np.zeros(8)) == 2 / 70
    assert least_randomisation_p(np.array([True, False]), np.zeros(2)) == 1.0
    assert least_randomisation_p(np.array([True, True]), np.zeros(2)) == 1.0
    # a single dealing: nothing to test
    assert randomisation_p(np.arange(4.0), np.array([True, True, False, False]), np.array([0, 0, 1, 1])) is None
    # one block that can be dealt is enough
    some = randomisation_p(np.array([5.0, 1.0, 2.0, 3.0]), np.array([True, False, True, True]), np.array([0, 0, 1, 1]))
    assert some == 1.0


@pytest.mark.parametrize("pairs", [3, 16, 17])
def test_every_change_of_sign(pairs: int) -> None:
    differences = np.random.default_rng(pairs).normal(0.35, 1, pairs)
    differences[1:3] = 0.5, -0.5
    signs = 1 - 2 * ((np.arange(2**pairs)[:, None] >> np.arange(pairs)) & 1)
    exact = float(np.mean(np.abs(signs @ differences) >= abs(differences.sum()) - 1e-9))
    found = sign_flip_p(differences)
    if pairs <= 16:
        assert found == exact
    else:  # drawn: (1 + as large) of 9 999 draws and the own one
        assert found == pytest.approx(exact, abs=0.02)
        assert found * 10_000 == pytest.approx(round(found * 10_000), abs=1e-6)
        assert sign_flip_p(differences, seed=2) != found
    treated = np.tile([True, False], pairs)
    values = np.where(treated, np.repeat(differences, 2), 0.0)
    assert randomisation_p(values, treated, np.repeat(np.arange(pairs), 2)) == found


# --- the odd pair, and drift ------------------------------------------------------------------------------------------


def _check_pairs(changes: np.ndarray) -> dict[str, bool]:
    """Hold every pair against a prediction from the others; return which look exchanged.

    By Student's t with n - 2 degrees of freedom, over all n pairs by Bonferroni.
    """
    count = changes.size
    draw = np.random.default_rng(3)
    level = draw.normal(1, 0.05, count)
    treated = np.tile([True, False], count)
    values = np.column_stack([level + changes, level]).ravel()
    names = [f"run {k}" for k in range(2 * count)]
    found = without_each(values, treated, np.repeat([f"p{k}" for k in range(count)], 2), names)
    assert [one.p_value for one in found] == sorted(one.p_value for one in found)
    assert {one.label for one in found} == {f"pair p{k}" for k in range(count)}
    for one in found:
        k = int(one.label[6:])
        rest = np.delete(changes, k)
        mean, spread = rest.mean(), rest.std(ddof=1)
        error = spread * np.sqrt(1 + 1 / rest.size)
        assert one.own == pytest.approx(changes[k])
        assert one.effect == pytest.approx(mean)
        alone = 2 * scipy.stats.t.sf(abs(changes[k] - mean) / error, count - 2)
        assert one.p_value == pytest.approx(min(1.0, count * alone))
        assert one.stands_out == (count * alone < 0.05 and abs(changes[k] - mean) > 0.005)
        sure = scipy.stats.ttest_1samp(rest, 0.0).pvalue < 0.05
        as_listed, exchanged = (changes[k] - mean) / error, (-changes[k] - mean) / error
        odds = scipy.stats.t.pdf(exchanged, count - 2) / scipy.stats.t.pdf(as_listed, count - 2)
        assert one.swapped == (sure and changes[k] * mean < 0 and odds > 5)
        off = [
            abs(values[row] - np.median([values[r] for r in range(2 * count) if r // 2 != k and r % 2 == row % 2]))
            for row in (2 * k, 2 * k + 1)
        ]
        assert one.suspect == names[2 * k + int(np.argmax(off))]
    return {one.label: one.swapped for one in found}


@pytest.mark.parametrize(
    "changes",
    [
        (0.05, 0.06, 0.04, 0.055, 0.048, 0.2),
        (0.05, 0.06, 0.04, 0.05),
        (0.03, 0.05, -0.02, 0.04, 0.05, 0.04, 0.06),  # runs the other way, clearly
        (0.03, 0.05, -0.012, 0.04, 0.02, 0.04, 0.06),  # the other way, and not five times likelier exchanged
        (-0.003, 0.0085, 0.02, 0.0315, 0.043, -0.04),  # likelier exchanged, but the others are not sure (p = 0.07)
        (0.02, -0.05, -0.06, 0.05, 0.01, 0.03),
        (-0.05, -0.06, 0.04, -0.055, -0.05, -0.045),
    ],
)
def test_each_pair_is_held_against_the_others(changes: tuple[float, ...]) -> None:
    _check_pairs(np.array(changes))


def test_labels_are_taken_for_exchanged_from_five_times_the_odds() -> None:
    changes = np.array([0.03, 0.05, 0.0, 0.04, 0.02, 0.045])
    told = []
    for own in np.linspace(-0.012, -0.004, 17):
        changes[2] = own
        told.append(_check_pairs(changes)["pair p2"])
    assert told == sorted(told, reverse=True)
    assert 2 < sum(told) < 15


def test_each_run_is_held_against_the_others_of_its_state() -> None:
    draw = np.random.default_rng(5)
    treated = np.arange(11) % 2 == 0
    values = 1 + 0.1 * treated + draw.normal(0, 0.01, 11)
    values[4] += 0.08
    names = [f"run {k}" for k in range(11)]
    found = without_each(values, treated, np.full(11, ""), names)
    assert len(found) == 11
    for one in found:
        k = int(one.label[4:])
        rest = np.delete(np.arange(11), k)
        ours, theirs = values[rest[treated[rest]]], values[rest[~treated[rest]]]
        alike = ours if treated[k] else theirs
        pooled = np.sqrt((ours.var() * ours.size + theirs.var() * theirs.size) / 8)
        t = (values[k] - alike.mean()) / pooled / np.sqrt(1 + 1 / alike.size)
        assert one.own is None
        assert one.effect == pytest.approx(ours.mean() - theirs.mean())
        assert one.p_value == pytest.approx(min(1.0, 11 * 2 * scipy.stats.t.sf(abs(t), 8)))
        assert (one.suspect, one.swapped) == (one.label, False)
        assert one.stands_out == (k == 4)


def test_a_pair_of_several_runs_stands_for_its_means() -> None:
    """Blocks of two runs with and one without: the error of a difference is that of three runs, sqrt(1/2 + 1)."""
    draw = np.random.default_rng(6)
    treated, blocks = np.tile([True, True, False], 5), np.repeat(np.arange(5), 3)
    values = 1 + 0.1 * treated + draw.normal(0, 0.02, 15)
    for one in without_each(values, treated, blocks, [""] * 15):
        rows = blocks == int(one.label[5:])
        rest = run_level_effect(values[~rows], treated[~rows], blocks[~rows])
        own = values[rows & treated].mean() - values[rows & ~treated].mean()
        error = np.hypot(rest.pair_spread / np.sqrt(2) * np.sqrt(1.5), rest.standard_error)
        alone = 2 * scipy.stats.t.sf(abs(own - rest.change.estimate) / error, rest.freedom)
        assert one.own == pytest.approx(own)
        assert one.p_value == pytest.approx(min(1.0, 5 * alone))


def test_few_pairs_or_runs_are_not_held_against_each_other() -> None:
    draw = np.random.default_rng(7)
    for pairs, many in ((3, 0), (4, 4)):
        found = without_each(
            draw.normal(1, 0.1, 2 * pairs), np.tile([True, False], pairs), np.repeat(range(pairs), 2), [""] * 8
        )
        assert len(found) == many
    for ours, many in ((3, 0), (4, 9)):
        treated = np.arange(9) < ours
        assert len(without_each(draw.normal(1, 0.1, 9), treated, np.zeros(9), [""] * 9)) == many
        assert len(without_each(draw.normal(1, 0.1, 9), ~treated, np.zeros(9), [""] * 9)) == many
    assert without_each(np.tile([1.1, 1.0], 5), np.tile([True, False], 5), np.repeat(range(5), 2), [""] * 10) == ()


@pytest.mark.parametrize(("runs", "ways"), [(6, 1), (6, 2), (9, 3), (12, 2)])
def test_drift_is_the_slope_of_least_squares(runs: int, ways: int) -> None:
    draw = np.random.default_rng(runs + ways)
    order = draw.permutation(runs)
    treated = np.arange(runs) % 2 == 0
    way = np.array([f"way {k // 2 % ways}" for k in range(runs)])
    values = 1 + 0.02 * order + 0.1 * treated + draw.normal(0, 0.01, runs)
    pairs = np.arange(runs) // 3 if runs == 9 else np.arange(runs) // 2
    found = drift_of(values, treated, way, pairs, order)
    design = np.column_stack([treated, order, *(way == one for one in np.unique(way))]).astype(float)
    slopes, rest, _, _ = np.linalg.lstsq(design, values, rcond=None)
    freedom = runs - ways - 2
    error = np.sqrt(float(rest[0]) / freedom * np.linalg.inv(design.T @ design)[1, 1])
    assert found.per_run == pytest.approx(slopes[1])
    assert found.p_value == pytest.approx(2 * scipy.stats.t.sf(abs(slopes[1]) / error, freedom))
    # the effect is that of least squares inside pairs: what it makes of an order alone
    apart = run_level_effect(order.astype(float), treated, pairs).change.estimate
    assert found.moves_effect == pytest.approx(slopes[1] * apart)


def test_no_drift_is_told_from_too_few_runs() -> None:
    order, treated = np.arange(6), np.array([True, False, False, True, True, False])
    values = 1 + 0.01 * order + np.array([0.001, -0.001, 0.002, 0.0, -0.001, 0.001])
    pairs = np.arange(6) // 2
    assert drift_of(values, treated, np.full(6, ""), pairs, order) is not None
    assert drift_of(values[:5], treated[:5], np.full(5, ""), pairs[:5], order[:5]) is None
    assert drift_of(values, treated, np.array(list("abcabc")), pairs, order) is None  # one degree of freedom
    assert drift_of(values, treated, np.full(6, ""), pairs, treated.astype(int)) is None  # order and state are one
    steady = drift_of(np.ones(6) + 0.01 * treated, treated, np.full(6, ""), pairs, order)
    assert steady.per_run == pytest.approx(0.0, abs=1e-12)


# --- plans ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("level", [0.95, 0.8])
@pytest.mark.parametrize(
    ("effect", "spread", "pairs"), [(0.04, 0.04, 2), (0.03, 0.05, 6), (0.01, 0.04, 3), (0.05, 0.02, 9), (0.05, 0.02, 4)]
)
def test_power_is_that_of_the_noncentral_t(effect: float, spread: float, pairs: int, level: float) -> None:
    shift = effect / spread * np.sqrt(pairs)
    limit = scipy.stats.t.ppf(0.5 + level / 2, pairs - 1)
    wanted = scipy.stats.nct.sf(limit, pairs - 1, shift) + scipy.stats.nct.cdf(-limit, pairs - 1, shift)
    assert power_of_pairs(effect, spread, pairs, level) == pytest.approx(wanted, abs=1e-7)
    assert power_of_pairs(-effect, spread, pairs, level) == pytest.approx(wanted, abs=1e-7)
    assert power_of_pairs(0.0, spread, pairs, level) == pytest.approx(1 - level)
    assert power_of_pairs(effect, spread, 1, level) == 0.0
    assert power_of_pairs(1.0, 0.01, pairs, level) == 1.0


def test_the_chance_on_the_road() -> None:
    """Of a spread made wider for heavy tails; where it was found with few runs, the mean over what it may be."""
    assert (HEAVIER, HEAVIER_UNSTEADY) == (1.2, 1.3)
    assert chance_on_the_road(0.04, 0.03, 6) == power_of_pairs(0.04, 1.2 * 0.03, 6)
    assert chance_on_the_road(0.04, 0.03, 6, 0.8, heavier=1.3) == power_of_pairs(0.04, 1.3 * 0.03, 6, 0.8)
    # two pairs that share 30 % of their variance: the variance of their mean is that much higher
    few = chance_on_the_road(0.04, 0.03, 6, few=True)
    assert few == pytest.approx(power_of_pairs(0.04, 1.2 * 0.03 * np.sqrt(1.3), 6))
    for freedom in (2, 7):
        wide = [np.sqrt(freedom / scipy.stats.chi2.ppf(1 - (k + 0.5) / 9, freedom)) for k in range(9)]
        wanted = np.mean([power_of_pairs(0.04, 1.2 * 0.03 * one, 6) for one in wide])
        assert chance_on_the_road(0.04, 0.03, 6, freedom=freedom) == pytest.approx(wanted)


def test_pairs_and_effects_by_a_chance_of_ones_own() -> None:
    def linear(effect: float, spread: float, pairs: int, _level: float) -> float:
        return min(1.0, effect / spread * pairs / 100)

    assert pairs_needed(0.04, 0.04, 0.8, chance=linear) == 80
    assert pairs_needed(0.04, 0.04, 0.81, chance=linear) == 81
    assert pairs_needed(0.04, 0.04, 0.01, chance=linear) == 2  # a pair alone shows nothing
    assert pairs_needed(0.04, 0.04, 0.03, chance=linear) == 3
    assert smallest_effect(0.04, 20, 0.8, chance=linear) == pytest.approx(0.16)
    assert smallest_effect(0.04, 200, 0.8, chance=linear) == pytest.approx(0.016)
    assert smallest_effect(0.04, 2, 0.8, chance=linear) == pytest.approx(1.6)
    assert MOST_PAIRS == 100_000
    assert pairs_needed(0.04, 0.04 * 60_000 / 80, chance=linear) == 60_000
    with pytest.raises(InputError, match=r"4 % with a spread of 7.5e\+03 %; .*100000 pairs could show"):
        pairs_needed(0.04, 0.04 * 150_000 / 80, chance=linear)
    for effect, spread, what in ((0.0, 0.04, "effect: 0;"), (0.04, -0.1, "spread: -0.1;"), (0.04, np.inf, "spread")):
        with pytest.raises(InputError, match=what):
            pairs_needed(effect, spread)


@pytest.mark.parametrize("pairs", [2, 3, 4, 6])
def test_few_changes_drive_out_and_back_in_one_state(pairs: int) -> None:
    begins = set()
    for seed in range(12):
        runs = driving_order(pairs, ("working", "absent"), seed, few=True)
        blocks = (pairs + 1) // 2
        assert [run.number for run in runs] == list(range(1, 4 * blocks + 1))
        assert [run.block for run in runs] == [k // 4 + 1 for k in range(4 * blocks)]
        assert [run.pair for run in runs] == [2 * (k // 4) + 1 + k % 2 for k in range(4 * blocks)]
        assert [run.direction for run in runs] == ["out", "back"] * (2 * blocks)
        states = [run.state for run in runs]
        assert states[::2] == states[1::2]
        assert changes_of(runs) == blocks == sum(a != b for a, b in itertools.pairwise(states))
        assert states.count("working") == states.count("absent")
        begins.add(states[0])
        assert runs[0].as_dict() == {"run": 1, "block": 1, "pair": 1, "state": states[0], "direction": "out"}
    assert begins == {"working", "absent"}


def test_either_state_may_begin() -> None:
    for pairs in (1, 3, 4):
        orders = [driving_order(pairs, seed=seed) for seed in range(20)]
        assert {runs[0].state for runs in orders} == {"working", "stowed"}
        firsts = [sum(run.state == "working" for run in runs[::4]) for runs in orders]
        blocks = (pairs + 1) // 2
        assert set(firsts) == ({blocks // 2, (blocks + 1) // 2})
        assert [run.pair for run in orders[0]] == [2 * (k // 4) + 1 + k % 2 for k in range(4 * blocks)]
        assert [run.block for run in orders[0]] == [k // 4 + 1 for k in range(4 * blocks)]
