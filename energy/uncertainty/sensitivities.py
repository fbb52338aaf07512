"""Which input matters most: first-order and total sensitivity indices of a figure, from the same draws.

Saltelli et al., Computer Physics Communications 181 (2010) 259, by scipy.stats.sobol_indices, with bootstrapped
standard errors.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from energy.progress import Progress, part
from energy.uncertainty.draws import SEED, Correlation, Draws, draws_of
from energy.uncertainty.quantiles import ChainOutcome, figure_of
from vehicle.quantity import Uncertain

_SCREENING_ROWS = 32
_RESAMPLES = 50
_SCREENED = 0.1  # of the time that the sensitivities take


class Chain(Protocol):
    """A computation from draws (key -> (n,)) to what they lead to; one that works in blocks tells how far it is."""

    def __call__(self, draws: Mapping[str, np.ndarray], progress: Progress | None = None, /) -> ChainOutcome:
        """Return the outcome of the draws."""
        ...


@dataclass(frozen=True)
class Figure:
    """One figure of a chain as a function of its uncertain inputs: `of` "fuel" or "heat"."""

    inputs: Mapping[str, Uncertain]
    chain: Chain
    of: str
    correlations: Sequence[Correlation] = ()

    def drawn(self, share: np.ndarray) -> Draws:
        """Return the inputs' values at shares (N, inputs) of the unit cube.

        Parameters
        ----------
        share : [-] (N, inputs)

        Returns
        -------
        [SI unit of each input] (N,) for each key.
        """
        return draws_of(self.inputs, share, self.correlations)

    def of_draws(self, draws: Mapping[str, np.ndarray], progress: Progress | None = None) -> np.ndarray:
        """Return the figure (N,) of draws.

        Parameters
        ----------
        draws : [SI unit of each input] (N,) for each key
        progress : is told the share done

        Returns
        -------
        [W] (N,).
        """
        return figure_of(self.chain(draws, progress), self.of)

    def at(self, share: np.ndarray, progress: Progress | None = None) -> np.ndarray:
        """Return the figure (N,) at shares (N, inputs) of the unit cube.

        Parameters
        ----------
        share : [-] (N, inputs)
        progress : is told the share done

        Returns
        -------
        [W] (N,).
        """
        return self.of_draws(self.drawn(share), progress)


@dataclass(frozen=True)
class Sensitivity:
    """One input's part in the variance: alone (`first_order`) and with all it acts with (`total`), ±
    standard errors.
    """

    inputs: tuple[str, ...]  # several where they are correlated and so cannot be told apart
    first_order: float
    first_order_error: float
    total: float
    total_error: float


def groups_of(keys: Sequence[str], correlations: Sequence[Correlation]) -> list[tuple[str, ...]]:
    """Return the keys in groups that have to be varied together: each alone, correlated ones joined.

    Parameters
    ----------
    keys : of the inputs
    correlations : pairs (key, key, coefficient)

    Returns
    -------
    The groups, in the order of the keys.
    """
    groups = {key: {key} for key in keys}
    for one, other, _ in correlations:
        if one in groups and other in groups:
            joined = groups[one] | groups[other]
            for key in joined:
                groups[key] = joined
    unique = {min(keys.index(k) for k in group): group for group in groups.values()}
    return [tuple(sorted(group, key=keys.index)) for _, group in sorted(unique.items())]


def sensitivity_indices(
    function: Callable[[np.ndarray], np.ndarray],
    first: np.ndarray,
    second: np.ndarray,
    groups: Sequence[Sequence[int]],
    *,
    at_first: np.ndarray | None = None,
    at_second: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return sensitivity indices of groups of columns, with their standard errors [1]_.

    Parameters
    ----------
    function : callable
        Takes inputs (N, columns) to values (N,). All mixed samples are evaluated in one call.
    first, second : (n, columns) arrays
        Two independent samples of the inputs: of their values, or of the unit cube that they are made from.
    groups : sequence of sequences of int
        Columns that are varied together.
    at_first, at_second : (n,) arrays, optional
        The function's values at the samples, where they are known already.

    Returns
    -------
    tuple of four (groups,) arrays
        First order, its standard error, total, its standard error: shares of the variance [-].

    References
    ----------
    .. [1] Saltelli et al., Computer Physics Communications 181 (2010) 259, by scipy.stats.sobol_indices.
    """
    from scipy.stats import sobol_indices

    count = len(first)
    mixed = np.repeat(first[None], len(groups), axis=0)
    for k, group in enumerate(groups):
        mixed[k][:, list(group)] = second[:, list(group)]
    values = function(mixed.reshape(-1, first.shape[1])).reshape(len(groups), 1, count)
    # Copies, as scipy centres its arguments in place; and two rows at least, as it squeezes a single one away.
    a = np.array(function(first) if at_first is None else at_first).reshape(1, count)
    b = np.array(function(second) if at_second is None else at_second).reshape(1, count)
    if len(groups) == 1:
        values = np.repeat(values, 2, axis=0)
    rng = np.random.default_rng(SEED)

    def indices(rows: np.ndarray | slice) -> tuple[np.ndarray, np.ndarray]:
        result = sobol_indices(
            func={"f_A": a[:, rows].copy(), "f_B": b[:, rows].copy(), "f_AB": values[..., rows].copy()}, n=count
        )
        return np.asarray(result.first_order)[: len(groups)], np.asarray(result.total_order)[: len(groups)]

    first_order, total = indices(slice(None))
    # Standard errors by resampling rows; the result's own bootstrap corrects its intervals by a jackknife over all
    # rows, which takes ten times as long as everything else.
    again = [indices(rng.integers(0, count, count)) for _ in range(_RESAMPLES)]
    errors = [np.std([part[k] for part in again], axis=0, ddof=1) for k in (0, 1)]
    return first_order, errors[0], total, errors[1]


def sensitivities_of(
    figure: Figure, cube: np.ndarray, at_first: np.ndarray, at_second: np.ndarray, progress: Progress | None = None
) -> tuple[Sensitivity, ...]:
    """Return the sensitivities of a figure, the greatest share of the variance alone first.

    `cube` (n, 2 · inputs) holds two independent samples side by side, `at_first` and `at_second` the figure there.
    Inputs that change nothing are left out after a look at a few draws.

    Parameters
    ----------
    figure : what the variance is of
    cube : [-] (n, 2 · inputs)
    at_first, at_second : [W] (n,)
    progress : is told the share done

    Returns
    -------
    The sensitivities [-].

    References
    ----------
    .. [1] Saltelli et al., Computer Physics Communications 181 (2010) 259, by scipy.stats.sobol_indices.
    """
    keys = list(figure.inputs)
    # Values, not shares of the unit cube: a group errs with nothing outside it, so that values can be mixed as they
    # are, and each is drawn once.
    first, second = (
        np.stack(list(figure.drawn(shares).values()), axis=1) for shares in (cube[:, : len(keys)], cube[:, len(keys) :])
    )

    def at(values: np.ndarray, progress: Progress | None) -> np.ndarray:
        return figure.of_draws(dict(zip(keys, np.ascontiguousarray(values.T), strict=True)), progress)

    groups = groups_of(keys, figure.correlations)
    few = first[:_SCREENING_ROWS]
    moved = np.repeat(few[None], len(groups), axis=0)
    for k, group in enumerate(groups):
        columns = [keys.index(key) for key in group]
        moved[k][:, columns] = second[: len(few), columns]
    looked_at = at(moved.reshape(-1, len(keys)), part(progress, 0.0, _SCREENED))
    effect = np.abs(looked_at.reshape(len(groups), -1) - at_first[: len(few)])
    acting = [group for group, most in zip(groups, effect.max(axis=1), strict=True) if most > 0.01 * np.std(at_first)]
    if not acting:  # a rotor that stands still, say: nothing moves the answer
        return ()
    columns_of = [[keys.index(key) for key in group] for group in acting]
    indices = sensitivity_indices(
        lambda values: at(values, part(progress, _SCREENED, 1.0)),
        first,
        second,
        columns_of,
        at_first=at_first,
        at_second=at_second,
    )
    # A share of the variance is no less than nothing and no more than all: an estimate beyond is its sampling error.
    shares = (np.clip(indices[0], 0.0, 1.0), indices[1], np.clip(indices[2], 0.0, 1.0), indices[3])
    sensitivities = [
        Sensitivity(tuple(group), *(float(entry[k]) for entry in shares)) for k, group in enumerate(acting)
    ]
    return tuple(sorted(sensitivities, key=lambda s: (-s.first_order, -s.total)))
