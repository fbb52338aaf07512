"""How sure: draws over everything that is not known exactly, the interval that follows, and what to measure next.

The inputs that an answer used and that carry a range, stated or default, are drawn together from a scrambled Sobol
sequence and go through the whole chain as arrays, never as a loop of single answers. From the same draws come the
interval, the probability that it saves, and the sensitivities.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.progress import Progress, part, tell
from energy.uncertainty.draws import SEED, Correlation, draws_of, sobol_sample
from energy.uncertainty.measurement import Measurement, measurements_of
from energy.uncertainty.quantiles import SURE, ChainOutcome, figure_of, quantiles, saves_and_costs
from energy.uncertainty.sensitivities import Chain, Figure, Sensitivity, sensitivities_of
from vehicle.quantity import Uncertain

# Shares of the time, as measured: after the draws, the base of the sensitivities, the sensitivities; the rest is
# measurements.
_DONE, _DONE_QUICK = (0.2, 0.2, 0.6), (0.28, 0.32, 0.75)
_MOVES_W = 1e-6  # a figure that draws move by less is the same for all of them


@dataclass(frozen=True)
class Sampling:
    """How much is drawn: `draws` (even; its half a power of two), rows of each base sample of the
    sensitivities, seed.
    """

    draws: int = 4096
    sensitivity_rows: int = 1024
    seed: int = SEED
    with_sensitivity: bool = True


USUAL = Sampling()


@dataclass(frozen=True)
class OutcomeSpread:
    """How sure an outcome is.

    `change_w`, `heat_w`: quantiles at `QUANTILES`, in W. `of` names the figure that `sensitivities` (greatest first)
    and `measurements` are about: the change in fuel, or the heat where the fuel does not change.
    """

    draws: int
    outcome: ChainOutcome
    change_w: tuple[float, ...]
    heat_w: tuple[float, ...]
    probability_saves: float
    probability_costs: float
    of: str
    sensitivities: tuple[Sensitivity, ...]
    measurements: tuple[Measurement, ...]

    @property
    def short_of_torque(self) -> float:
        """The share of the draws in which the engine lacks torque."""
        return float(np.mean(self.outcome.short_of_torque))

    @property
    def verdict(self) -> str:
        """`saves` or `costs` where that is at least 95 % probable, else `cannot tell`."""
        if self.probability_saves >= SURE:
            return "saves"
        return "costs" if self.probability_costs >= SURE else "cannot tell"


def propagate(
    inputs: Mapping[str, Uncertain],
    chain: Chain,
    *,
    correlations: Sequence[Correlation] = (),
    sampling: Sampling = USUAL,
    quick: Chain | None = None,
    progress: Progress | None = None,
) -> OutcomeSpread | None:
    """Return how sure the outcome of a chain is, None where none of its inputs is uncertain.

    `quick` is a cheaper chain for the sensitivities. `progress` is told the share done (see energy/progress.py).

    Parameters
    ----------
    inputs : by key
    chain : from draws to an outcome
    correlations : pairs (key, key, coefficient)
    sampling : how much is drawn
    quick : cheaper chain
    progress : is told the share done

    Returns
    -------
    Intervals [W], probabilities [-], sensitivities, measurements.

    References
    ----------
    .. [1] Quasi-Monte Carlo propagation on a scrambled Sobol sequence: common practice, no source.
    """
    inputs = {key: value for key, value in inputs.items() if value.standard_deviation > 0}
    if not inputs:
        tell(progress, 1.0)
        return None
    weighing = sampling.with_sensitivity
    drawn, based, weighed = (1.0, 1.0, 1.0) if not weighing else _DONE if quick is None else _DONE_QUICK
    half = sampling.draws // 2
    cube = sobol_sample(half, 2 * len(inputs), seed=sampling.seed)
    both = np.concatenate([cube[:, : len(inputs)], cube[:, len(inputs) :]])
    outcome = chain(draws_of(inputs, both, correlations), part(progress, 0.0, drawn))
    spread = spread_of_outcome(outcome)
    target = figure_of(outcome, spread.of)
    if weighing and np.ptp(target) > _MOVES_W:
        figure = Figure(inputs, quick or chain, spread.of, correlations)
        rows = min(sampling.sensitivity_rows, half)
        base = both if quick is None else np.concatenate([both[:rows], both[half:][:rows]])
        at_base = target if quick is None else figure.at(base, part(progress, drawn, based))
        first, second = at_base[:rows], at_base[len(base) // 2 :][:rows]
        sensitivities = sensitivities_of(figure, cube[:rows], first, second, part(progress, based, weighed))
        measurements = measurements_of(figure, sensitivities, base, at_base, progress=part(progress, weighed, 1.0))
        spread = replace(spread, sensitivities=sensitivities, measurements=measurements)
    tell(progress, 1.0)
    return spread


def spread_of_outcome(outcome: ChainOutcome) -> OutcomeSpread:
    """Return the intervals and probabilities of an outcome, without sensitivities.

    Parameters
    ----------
    outcome : (draws,)

    Returns
    -------
    Quantiles [W] and probabilities [-].

    References
    ----------
    .. [1] Sample quantiles.
    """
    saves, costs = saves_and_costs(outcome)
    return OutcomeSpread(
        draws=len(outcome.change_w),
        outcome=outcome,
        change_w=quantiles(outcome.change_w),
        heat_w=quantiles(outcome.heat_w),
        probability_saves=float(saves.mean()),
        probability_costs=float(costs.mean()),
        of="fuel" if np.ptp(outcome.change_w) > _MOVES_W else "heat",
        sensitivities=(),
        measurements=(),
    )
