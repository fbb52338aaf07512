"""Pairs, power and order of a road test."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicle.problems import InputError
from vehicle.road_test.planning import driving_order, pairs_needed, power_of_pairs, smallest_effect


@given(st.floats(0.005, 0.3), st.floats(0.005, 0.1), st.sampled_from([0.8, 0.9]))
def test_pairs_are_the_least_that_reach_the_power(effect, spread, power):
    count = pairs_needed(effect, spread, power)
    assert power_of_pairs(effect, spread, count) >= power
    assert count == 2 or power_of_pairs(effect, spread, count - 1) < power
    assert smallest_effect(spread, count, power) <= effect * (1 + 1e-9)


def test_power_by_simulation():
    from vehicle.road_test.effect import run_level_effect

    draw = np.random.default_rng(0)
    blocks = np.tile(np.arange(8), 2)
    treated = np.repeat([True, False], 8)
    seen = 0
    for _ in range(1500):
        found = run_level_effect(draw.normal(0, 0.04 / np.sqrt(2), 16) + 0.05 * treated, treated, blocks)
        seen += found.change.low > 0 or found.change.high < 0
    assert seen / 1500 == pytest.approx(power_of_pairs(0.05, 0.04, 8), abs=0.03)


def test_effect_and_spread_must_be_there():
    for effect, spread in ((0.0, 0.04), (0.04, 0.0), (float("nan"), 0.04), (1e-9, 0.5)):
        with pytest.raises(InputError):
            pairs_needed(effect, spread)
    assert smallest_effect(0.04, 1) == float("inf")


@given(st.integers(1, 60), st.integers(0, 1000))
def test_order_is_balanced_and_cancels_drift(pairs, seed):
    runs = driving_order(pairs, seed=seed)
    assert len(runs) == 2 * (pairs + pairs % 2)
    by_pair: dict[int, list] = {}
    for run in runs:
        by_pair.setdefault(run.pair, []).append(run)
    for two in by_pair.values():
        assert {run.state for run in two} == {"working", "stowed"}
        assert len({run.direction for run in two}) == 1
    for start in range(0, len(runs), 4):
        block = runs[start : start + 4]
        signs = [1 if run.state == "working" else -1 for run in block]
        assert sum(signs) == 0
        assert sum(sign * place for place, sign in enumerate(signs)) == 0  # an even drift cancels
        assert [run.direction for run in block] == ["out", "back", "out", "back"]
    firsts = [runs[start].state for start in range(0, len(runs), 4)]
    assert abs(firsts.count("working") - firsts.count("stowed")) <= 1
    assert runs == driving_order(pairs, seed=seed)
