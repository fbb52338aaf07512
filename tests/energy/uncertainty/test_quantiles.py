"""Medians, ends and widths of draws, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from energy.uncertainty.quantiles import estimate_of, interval_width


def test_median_and_ends_of_a_hundred_and_one_draws() -> None:
    draws = np.random.default_rng(1).permutation(np.arange(101.0))
    found = estimate_of(draws, 0.8)
    assert (found.low, found.estimate, found.high, found.level) == pytest.approx((10.0, 50.0, 90.0, 0.8))
    assert interval_width(draws) == pytest.approx(90.0)
