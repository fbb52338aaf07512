"""Mean cube of Weibull winds: c³·Γ(1+3/k), as energy pattern factors 1.910 (k 2), 2.719 (k 1.5), 1.404 (k 3).

Troen & Petersen, European Wind Atlas (1989), as cited; recomputed.
"""

import math

import numpy as np
import pytest

from vehicle.driving.trip import spread_over, weibull_quantile


@pytest.mark.parametrize(("shape", "factor"), [(2.0, 1.910), (1.5, 2.719), (3.0, 1.404)])
def test_mean_cube(shape: float, factor: float) -> None:
    mean = 5.0
    middles = (np.arange(200_000) + 0.5) / 200_000
    winds = weibull_quantile(middles, mean, shape)
    scale = mean / math.gamma(1 + 1 / shape)
    assert np.mean(winds**3) == pytest.approx(scale**3 * math.gamma(1 + 3 / shape), rel=1e-3)
    assert np.mean(winds**3) / mean**3 == pytest.approx(factor, rel=1e-3)
    # Spread over the steps of a trip the sample is good to some per cent.
    assert np.mean(weibull_quantile(spread_over(1369)[0], mean, shape) ** 3) / mean**3 == pytest.approx(
        factor, rel=0.03
    )
