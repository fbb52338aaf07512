"""Intervals, tests and sample sizes against published worked examples, scipy and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from vehicle.road_test.effect import Covariates, randomisation_p, run_level_effect, sign_flip_p
from vehicle.road_test.planning import pairs_needed, power_of_pairs

# Student's sleep data (`sleep` in R): hours of sleep gained with two drugs, ten patients.
FIRST = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
SECOND = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])
# Darwin's maize: differences in eighths of an inch (Fisher 1935, §21).
MAIZE = np.array([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48], dtype=float)


def paired(first, second, level=0.95):
    values = np.concatenate([first, second])
    treated = np.repeat([True, False], len(first))
    return run_level_effect(values, treated, np.tile(np.arange(len(first)), 2), level)


def test_paired_t_of_students_sleep():
    # R documentation: t = -4.0621, 9 d.o.f., p = 0.002833, mean -1.58, 95 % -2.4599 to -0.7001
    found = paired(FIRST, SECOND)
    assert found.freedom == 9
    assert found.change.estimate == pytest.approx(-1.58)
    assert (found.change.low, found.change.high) == (pytest.approx(-2.4599, abs=5e-5), pytest.approx(-0.7001, abs=5e-5))
    assert found.p_value == pytest.approx(0.002833, abs=5e-7)
    assert found.pair_spread == pytest.approx(np.std(FIRST - SECOND, ddof=1))


def test_two_sample_t_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook 1.3.5.3: n 249, mean 20.14458, s 6.41470; n 79, 30.48101, 6.10771; t = -12.62059, 326
    # d.o.f.
    def sample(count, mean, deviation):
        z = np.random.default_rng(0).normal(size=count)
        z = (z - z.mean()) / z.std(ddof=1)
        return mean + deviation * z

    values = np.concatenate([sample(249, 20.14458, 6.41470), sample(79, 30.48101, 6.10771)])
    treated = np.arange(328) < 249
    found = run_level_effect(values, treated, np.zeros(328, dtype=int))
    assert found.freedom == 326
    assert found.pair_spread == pytest.approx(np.sqrt(2) * 6.34260, rel=1e-5)
    half = scipy.stats.t.ppf(0.975, 326)
    assert found.change.estimate / ((found.change.high - found.change.low) / 2 / half) == pytest.approx(
        -12.62059, abs=2e-4
    )


def test_randomisation_test_of_darwins_maize():
    # Fisher (1935) §21, recomputed: 863 of 2^15 sums reach 314, two-sided p = 0.05267; paired t = 2.148
    assert sign_flip_p(MAIZE) == pytest.approx(2 * 863 / 2**15, abs=1e-9)
    found = paired(MAIZE, np.zeros(15))
    assert found.change.estimate / (
        (found.change.high - found.change.low) / 2 / scipy.stats.t.ppf(0.975, 14)
    ) == pytest.approx(2.148, abs=5e-4)
    values, treated = np.concatenate([MAIZE, np.zeros(15)]), np.repeat([True, False], 15)
    assert randomisation_p(values, treated, np.tile(np.arange(15), 2)) == pytest.approx(2 * 863 / 2**15, abs=1e-9)


def test_pairs_of_the_statpsych_manual():
    # Bonett, statpsych manual (2021): alpha 0.05, power 0.80, variance 1.25, difference 0.5, correlation 0.75: n = 22
    assert pairs_needed(0.5, np.sqrt(2 * 1.25 * (1 - 0.75)), 0.80) == 22


@pytest.mark.parametrize(
    ("effect", "spread", "power"), [(0.04, 0.04, 0.8), (0.02, 0.04, 0.9), (0.1, 0.05, 0.8), (0.01, 0.03, 0.9)]
)
def test_power_against_statsmodels(effect, spread, power):
    from statsmodels.stats.power import TTestPower

    exact = TTestPower().solve_power(effect_size=effect / spread, power=power, alpha=0.05)
    assert pairs_needed(effect, spread, power) == int(np.ceil(exact))
    assert power_of_pairs(effect, spread, 12) == pytest.approx(TTestPower().power(effect / spread, 12, 0.05), abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_blocks_against_least_squares_of_statsmodels(seed):
    import statsmodels.api as sm

    draw = np.random.default_rng(seed)
    blocks = np.repeat(np.arange(4), draw.integers(2, 5, 4))
    treated = np.zeros(blocks.size, dtype=bool)
    for block in range(4):
        treated[draw.choice(np.flatnonzero(blocks == block))] = True
    values = draw.normal(size=blocks.size) + blocks + 0.3 * treated
    design = np.column_stack([treated, *(blocks == block for block in range(4))]).astype(float)
    fit = sm.OLS(values, design).fit()
    found = run_level_effect(values, treated, blocks)
    assert found.change.estimate == pytest.approx(fit.params[0])
    assert (found.change.low, found.change.high) == pytest.approx(tuple(fit.conf_int()[0]))
    assert found.p_value == pytest.approx(fit.pvalues[0])


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_a_covariate_against_least_squares_of_statsmodels(seed):
    import statsmodels.api as sm

    draw = np.random.default_rng(seed)
    blocks, treated = np.tile(np.arange(7), 2), np.repeat([True, False], 7)
    wind = draw.normal(size=14)
    values = draw.normal(size=14) + 0.5 * wind + blocks
    design = np.column_stack([treated, wind, *(blocks == block for block in range(7))]).astype(float)
    fit = sm.OLS(values, design).fit()
    found = run_level_effect(values, treated, blocks, covariates=Covariates(wind[:, None], np.array([1e6])))
    assert found.change.estimate == pytest.approx(fit.params[0])
    assert (found.change.low, found.change.high) == pytest.approx(tuple(fit.conf_int()[0]))


def test_randomisation_of_two_groups_against_scipy():
    draw = np.random.default_rng(4)
    one, other = draw.normal(0.8, 1, 9), draw.normal(0, 1, 8)
    exact = scipy.stats.permutation_test((one, other), lambda a, b: a.mean() - b.mean(), n_resamples=np.inf).pvalue
    values, treated = np.concatenate([one, other]), np.repeat([True, False], [9, 8])
    assert randomisation_p(values, treated, np.zeros(17, dtype=int)) == pytest.approx(exact, abs=0.012)
