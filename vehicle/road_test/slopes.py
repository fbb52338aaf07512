"""How fuel and load go with the conditions of a run, learnt inside runs, and run means brought to like conditions.

Inside a run the state of the turbine does not change. The fuel of each state is held against its own mean, so that an
effect that scales the fuel changes no slope, and not which slopes are kept: a slope that only just counts would be kept
or dropped by the state of the runs that show it, and lean to one side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vehicle.road_test.windows import COVARIATES, RunWindows

# A covariate varies enough inside runs to learn a slope from where its spread is above this.
_LEAST_SPREAD = (0.4, 0.3, 0.3, 60.0, 1.0)
# Fuel cannot fall with speed, acceleration, grade or air drag, nor rise as the engine warms: a slope of the wrong sign
# comes from something unlogged (a hill slows the car and costs fuel) and would mislead.
_SIGNS = np.array([1.0, 1.0, 1.0, 1.0, -1.0])
_LEAST_T = 2.0


@dataclass(frozen=True)
class Slopes:
    """Fuel (m3/s) and load (share) as lines in covariates; `names` are those that varied enough.

    `places` are their columns in `RunWindows.covariates`; `load` is None where a log has no calculated load.
    """

    names: tuple[str, ...]
    places: tuple[int, ...]
    fuel: np.ndarray
    load: np.ndarray | None


NO_SLOPES = Slopes((), (), np.zeros(0), None)


def inside_slopes(runs: Sequence[RunWindows]) -> Slopes:
    """Return the slopes of fuel flow and load over the covariates, from the variation inside runs alone.

    Least squares with one constant per run, the fuel of each state brought to the mean of all (`state_levels`), the
    slopes of fuel held to the signs that physics gives them. A covariate
    that a log does not have, that hardly varies inside runs, or whose slope is not two standard errors from zero is
    left out: a slope that is mostly noise would add that noise to every run.

    Parameters
    ----------
    runs
        Runs cut into windows; windows weigh by their length.

    Returns
    -------
    Slopes
        Of the covariates that are kept, in the order of `COVARIATES`; none where the runs are judged by battery energy,
        of which nothing is known inside a run.
    """
    if any(run.on_battery for run in runs):
        return NO_SLOPES
    x = np.vstack([run.covariates for run in runs])
    weight = np.concatenate([run.weight_s for run in runs])
    fuel = np.concatenate([run.fuel_m3_s / level for run, level in zip(runs, state_levels(runs), strict=True)])
    load = np.concatenate([run.load for run in runs])
    code = np.repeat(np.arange(len(runs)), [run.weight_s.size for run in runs])
    total = np.bincount(code, weights=weight, minlength=len(runs))
    root = np.sqrt(weight)

    def centred(values: np.ndarray) -> np.ndarray:
        return (values - (np.bincount(code, weights=weight * values, minlength=len(runs)) / total)[code]) * root

    columns: dict[int, np.ndarray] = {}
    for place, least in enumerate(_LEAST_SPREAD):
        if np.isfinite(x[:, place]).all():
            column = centred(x[:, place])
            if math.sqrt(float((column**2).sum() / weight.sum())) >= least:
                columns[place] = column * _SIGNS[place]
    places, slopes = _selected(columns, centred(fuel), fuel.size - len(runs))
    if not places:
        return Slopes((), (), np.zeros(0), None)
    load_slopes = None
    if np.isfinite(load).all():
        design = np.column_stack([columns[place] * _SIGNS[place] for place in places])
        scale = np.sqrt((design**2).sum(axis=0))
        load_slopes = np.linalg.lstsq(design / scale, centred(load), rcond=1e-6)[0] / scale
    return Slopes(tuple(COVARIATES[place] for place in places), tuple(places), slopes * _SIGNS[places], load_slopes)


def _selected(columns: dict[int, np.ndarray], y: np.ndarray, freedom_of_runs: int) -> tuple[list[int], np.ndarray]:
    """Return the columns whose slopes stand two standard errors above zero, and the slopes."""
    places, slopes = list(columns), np.zeros(0)
    while places:
        freedom = freedom_of_runs - len(places)
        if freedom < 5 * len(places):
            places = places[:-1]
            continue
        places, slopes, t_values = signed_least_squares({place: columns[place] for place in places}, y, freedom)
        weakest = int(np.argmin(t_values)) if places else -1
        if not places or t_values[weakest] >= _LEAST_T:
            break
        places = places[:weakest] + places[weakest + 1 :]
    return places, slopes


def signed_least_squares(
    columns: dict[int, np.ndarray], y: np.ndarray, freedom: int
) -> tuple[list[int], np.ndarray, np.ndarray]:
    """Return the best least-squares fit with no slope below zero [1]_.

    Parameters
    ----------
    columns
        Columns of the design (N,), by their place.
    y
        What is fitted (N,).
    freedom
        Degrees of freedom of the residual.

    Returns
    -------
    tuple
        The places with slopes above zero (k,), their slopes (k,), and their t values (k,). Columns that say the same
        thing share a wide error, so that no t value of theirs is large.

    References
    ----------
    .. [1] Lawson, Hanson, Solving Least Squares Problems, SIAM (1995), chapter 23, by scipy.optimize.nnls.
    """
    from scipy.optimize import nnls

    places = list(columns)
    design = np.column_stack([columns[place] for place in places])
    scale = np.sqrt((design**2).sum(axis=0))
    solution, residual = nnls(design / scale, y)
    kept = np.flatnonzero(solution > 0)
    if not kept.size:
        return [], np.zeros(0), np.zeros(0)
    inside = (design / scale)[:, kept]
    errors = np.sqrt(residual**2 / freedom * np.diag(np.linalg.pinv(inside.T @ inside)))
    return [places[i] for i in kept], solution[kept] / scale[kept], solution[kept] / np.maximum(errors, 1e-300)


def state_levels(runs: Sequence[RunWindows]) -> np.ndarray:
    """Return for each run the mean logged fuel flow of the runs in its state over that of all runs (runs,)."""
    logged = np.array([run.logged_fuel_m3_s for run in runs])
    _, code = np.unique(np.array([run.state for run in runs]), return_inverse=True)
    levels: np.ndarray = (np.bincount(code, weights=logged) / np.bincount(code))[code]
    return levels / logged.mean() if (levels > 0).all() else np.ones(len(runs))


def adjusted_means(runs: Sequence[RunWindows], slopes: Slopes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return for each run its mean fuel flow, the same brought to the mean conditions of its pair, and its load.

    Parameters
    ----------
    runs
        Runs cut into windows; those of one `pair` are brought to the mean conditions of these.
    slopes
        As `inside_slopes` gives them.

    Returns
    -------
    tuple
        Mean fuel flow [m3/s], adjusted fuel flow [m3/s], adjusted load [share]; each (runs,). Where battery energy was
        metered, mean power [W] in place of the flow.
    """
    plain = np.array([run.mean_used for run in runs])
    load = np.array([run.mean_load for run in runs])
    if not slopes.places:
        return plain, plain.copy(), load
    conditions = np.array([run.mean_covariates[list(slopes.places)] for run in runs])
    _, code = np.unique(np.array([run.pair for run in runs]), return_inverse=True)
    total = np.zeros((int(code.max()) + 1, conditions.shape[1]))
    np.add.at(total, code, conditions)
    away = conditions - (total / np.bincount(code)[:, None])[code]
    if slopes.load is not None:
        load = load - away @ slopes.load
    return plain, plain - away @ slopes.fuel * state_levels(runs), load
