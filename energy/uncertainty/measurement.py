"""What a measurement would do: how far the interval shrinks once an input is known as well as a builder can
measure it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from energy.progress import Progress, part
from energy.scenario.keys import spec_of
from energy.uncertainty.draws import ppf, within_limits
from energy.uncertainty.quantiles import interval_width
from energy.uncertainty.sensitivities import Figure, Sensitivity
from vehicle.quantity import COVERAGE_FACTOR, Uncertain

_CENTRES = (0.1, 0.3, 0.5, 0.7, 0.9)  # where a measurement may find its value, as quantiles of what is known before
_MOST_ROWS = 1024
_WORTH = 0.02  # total sensitivity from which measuring is thought of


@dataclass(frozen=True)
class Measurement:
    """What measuring one input would do: known to ± `plus_minus` (SI, 95 %), the 90 % interval shrinks by
    `shrinks_by`.
    """

    key: str
    plus_minus: float
    how: str
    shrinks_by: float  # share of the width of the 90 % interval, 0 to 1; expected over where the value may turn out


def measurements_of(
    figure: Figure,
    sensitivities: Sequence[Sensitivity],
    share: np.ndarray,
    at_share: np.ndarray,
    *,
    most: int = 3,
    progress: Progress | None = None,
) -> tuple[Measurement, ...]:
    """Return what measuring each of the inputs that matter most would do to the interval, the most useful first.

    `share` (N, inputs) are draws of the unit cube and `at_share` the figure there.

    Parameters
    ----------
    figure : what the interval is of
    sensitivities : the greatest first
    share : [-] (N, inputs)
    at_share : [W] (N,)
    most : [1] how many inputs
    progress : is told the share done

    Returns
    -------
    The measurements.
    """
    worth = [s for s in sensitivities[:most] if s.total > _WORTH]
    count = min(len(share) // 2, _MOST_ROWS)
    rows, before = share[:count], interval_width(at_share[:count])
    measured = [(key, spec_of(key).measured) for s in worth for key in s.inputs]
    ways = [(key, way) for key, way in measured if way is not None]
    found = []
    for k, (key, way) in enumerate(ways):
        known = figure.inputs[key]
        plus_minus = way.plus_minus * size_of(known) if way.relative else way.plus_minus
        if plus_minus / COVERAGE_FACTOR >= known.standard_deviation:
            continue  # known as well as that already
        told = part(progress, k / len(ways), (k + 1) / len(ways))
        after = width_once_measured(figure, key, plus_minus, rows, told)
        found.append(Measurement(key, plus_minus, way.how, 1 - after / before if before > 0 else 0.0))
    return tuple(sorted(found, key=lambda m: -m.shrinks_by))


def size_of(known: Uncertain) -> float:
    """Return the size that a relative error is a share of: the value, or the middle of its range where that is
    greater: a value taken as 0 is not measured to ± 0.

    Parameters
    ----------
    known : the input

    Returns
    -------
    [SI unit of the input]
    """
    return max(abs(known.value), abs(known.low + known.high) / 2)


def width_once_measured(
    figure: Figure, key: str, plus_minus: float, share: np.ndarray, progress: Progress | None = None
) -> float:
    """Return the width of the figure's 90 % interval once `key` is measured to ± `plus_minus` (SI, 95 %), on average.

    On average over where the measurement may find the value: the middles of the fifths of what is known before. The
    other inputs keep their draws, so that the difference is not one of luck; the measured one errs with none of them.

    Parameters
    ----------
    figure : what the interval is of
    key : of the input
    plus_minus : [SI unit of the input] 95 %
    share : [-] (N, inputs)
    progress : is told the share done

    Returns
    -------
    [W]

    References
    ----------
    .. [1] Expected width after a measurement, by sampling: own derivation.
    """
    apart = Figure(
        figure.inputs, figure.chain, figure.of, [pair for pair in figure.correlations if key not in pair[:2]]
    )
    column = list(figure.inputs).index(key)
    parts = []
    for centre in ppf(figure.inputs[key], np.array(_CENTRES)):
        measured = Uncertain(float(centre), centre - plus_minus, centre + plus_minus, "normal")
        drawn = apart.drawn(share)
        drawn[key] = within_limits(key, ppf(measured, share[:, column]))
        parts.append(drawn)
    together = {k: np.concatenate([drawn[k] for drawn in parts]) for k in parts[0]}
    values = apart.of_draws(together, progress).reshape(len(parts), -1)
    return float(np.mean([interval_width(row) for row in values]))
