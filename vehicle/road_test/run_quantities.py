"""What the runs of a design show: one value a run, brought to the conditions of its pair, and the effect over runs.

With a control vehicle the value is the ratio of the test vehicle's fuel to the control's over the same drive, which
takes
out weather and traffic (the ratio of test to control of SAE J1321, scope).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vehicle.quantity import Estimate
from vehicle.road_test.conclusion import Design
from vehicle.road_test.effect import (
    Blocks,
    Covariates,
    RunLevelEffect,
    less_covariates,
    repeated_spread,
    run_level_effect,
    without_labels,
)
from vehicle.road_test.sensitivity import ConditionSensitivity, air_share, learnt_elasticity, learnt_wind, sensitivity
from vehicle.road_test.slopes import NO_SLOPES, Slopes, adjusted_means, inside_slopes
from vehicle.road_test.sources import MOVING_M_S, NO_ERROR, SourceError
from vehicle.road_test.windows import RunWindows

# Battery energy to the shaft of the motor: common practice, no source.
_BATTERY_TO_SHAFT = 0.9
# How far the relative answers of two vehicles to the same weather and traffic differ, standard deviation: common
# practice, no source.
_CONTROL_UNLIKE = 0.15


@dataclass(frozen=True)
class About:
    """What is known of the fuel of all runs.

    `absolute` is False where only ratios mean something; `firm` is False where fuel is converted from load, `load_name`
    is that load. `error` is what runs cannot remove. `drag_n_s2_m2` is C of the coast-down, `marginal_m3_j` the
    fuel for
    a joule of shaft work; None where they are not known. `predicted_load` is the change of load and its half-width in
    points that a scenario predicts.
    """

    absolute: bool = True
    firm: bool = True
    load_name: str = "calculated load"
    error: SourceError = NO_ERROR
    drag_n_s2_m2: float | None = None
    marginal_m3_j: float | None = None
    predicted_load: tuple[float, float] | None = None


@dataclass(frozen=True)
class Quantity:
    """Fuel [m3/s], battery power [W] or load [share] of the runs (runs,): plain means, values brought to like
    conditions, and the effect.

    `calm` are the values less what speed and head wind explain beyond the slopes inside runs; `without` is the mean
    without the effect, `conditions` what the effect is estimated beside. `unlabelled` are the values less what is
    explained without looking at the states, for the randomisation test.
    """

    plain: np.ndarray
    calm: np.ndarray
    change: RunLevelEffect
    plain_change: RunLevelEffect
    without: float
    plain_without: float
    conditions: tuple[str, ...]
    sensitivity: ConditionSensitivity
    unlabelled: np.ndarray

    @property
    def relative(self) -> RunLevelEffect:
        """The change as a share of the value without it."""
        return self.change.times(1.0 / self.without)


@dataclass(frozen=True)
class RunQuantities:
    """What the runs show of fuel, or of battery power in its place; `load` is None where a log has none, or on a
    battery. `slopes` are those inside runs.
    """

    fuel: Quantity
    load: Quantity | None
    slopes: Slopes
    controlled: bool


def quantities_of(design: Design, level: float, about: About) -> RunQuantities:
    """Return what the runs of a design show of fuel and of load."""
    controlled = all(run.control is not None for run in design.runs)
    slopes = NO_SLOPES if controlled else inside_slopes(design.runs)
    plain, adjusted, load = adjusted_means(design.runs, slopes)
    plain_load = np.array([run.mean_load for run in design.runs])
    share, known = _air_share(design, plain, about)
    fuel = _quantity(design, (plain, adjusted), slopes, level, sensitivity_of(design.runs, slopes, share, known, False))
    if design.on_battery or not np.isfinite(load).all():
        return RunQuantities(fuel, None, slopes, controlled)
    of_load = sensitivity_of(design.runs, slopes, share, known, True)
    return RunQuantities(
        fuel, _quantity(design, (plain_load, load), slopes, level, of_load, load=True), slopes, controlled
    )


def spread_of_repeated(design: Design) -> float:
    """Return how far two runs of one state differ [share], brought to like conditions as by `quantities_of`."""
    slopes = inside_slopes(design.runs)
    plain, adjusted, _ = adjusted_means(design.runs, slopes)
    share, known = _air_share(design, plain, About())
    how = sensitivity_of(design.runs, slopes, share, known, False)
    brought, covariates, _ = _brought(design, adjusted, slopes, how, load=False)
    return repeated_spread(brought, covariates) / float(brought.mean())


def sensitivity_of(
    runs: tuple[RunWindows, ...], slopes: Slopes, share: float, known: bool, load: bool
) -> ConditionSensitivity:
    """Return how fuel or load of the runs goes with speed and head wind."""
    return sensitivity(runs, slopes, share, known=known, load=load)


def _air_share(design: Design, plain: np.ndarray, about: About) -> tuple[float, bool]:
    """Return the share of the fuel that air drag takes, and whether it comes from coast-down coefficients."""
    speed = float(np.mean([run.means["speed_m_s"] for run in design.runs]))
    drag, shaft = None, None
    if about.drag_n_s2_m2 and design.on_battery:
        drag, shaft = about.drag_n_s2_m2 * speed**3, float(plain.mean()) * _BATTERY_TO_SHAFT
    elif about.drag_n_s2_m2 and about.absolute and about.marginal_m3_j:
        drag, shaft = about.drag_n_s2_m2 * speed**3, float(plain.mean()) / about.marginal_m3_j
    return air_share(speed, drag, shaft), drag is not None


def _quantity(
    design: Design,
    values: tuple[np.ndarray, np.ndarray],
    slopes: Slopes,
    level: float,
    how: ConditionSensitivity,
    *,
    load: bool = False,
) -> Quantity:
    plain, adjusted = values
    treated, blocks = design.treated, design.blocks
    if all(run.control is not None for run in design.runs):
        adjusted = plain / _control(design, load=load)
    brought, covariates, names = _brought(design, adjusted, slopes, how, load=load)
    change = run_level_effect(brought, treated, blocks, level, covariates)
    plain_change = run_level_effect(plain, treated, blocks, level)
    if min(design.runs_with, design.runs_without) < 2:
        change, plain_change = change.without_interval(), plain_change.without_interval()
    calm = brought
    if covariates is not None and change.slopes:
        calm = less_covariates(brought, blocks, covariates, change.slopes)
    without, plain_without = without_mean(brought, treated, change), without_mean(plain, treated, plain_change)
    change = _less_ratio_bias(change, without, float(treated.mean()))
    if not load:
        change, plain_change = (_with_rounding(one, design) for one in (change, plain_change))
    unlabelled = brought if covariates is None else without_labels(brought, blocks, covariates)
    return Quantity(plain, calm, change, plain_change, without, plain_without, names, how, unlabelled)


def _control(design: Design, *, load: bool) -> np.ndarray:
    """Return the control vehicle's fuel (or load) over each run, over its mean; ones where it has none."""
    runs = [run.control for run in design.runs if run.control is not None]
    loads = np.array([run.mean_load for run in runs]) if load else np.array([run.mean_fuel_m3_s for run in runs])
    return loads / loads.mean() if np.isfinite(loads).all() and (loads > 0).all() else np.ones(loads.size)


def _brought(
    design: Design, adjusted: np.ndarray, slopes: Slopes, how: ConditionSensitivity, *, load: bool
) -> tuple[np.ndarray, Covariates | None, tuple[str, ...]]:
    """Return the values at the speed and head wind of their pair, and what is left uncertain of that.

    The slopes inside runs have taken a part out already; here the rest is taken out that physics expects.
    """
    block, mean = Blocks(design.blocks), float(adjusted.mean())
    columns, deviations, names = [], [], []
    values = adjusted.copy()
    controlled = all(run.control is not None for run in design.runs)
    speed = np.array([run.means["speed_m_s"] for run in design.runs])
    if (speed > MOVING_M_S).all():
        faster = np.log(speed)
        if controlled:
            faster = faster - np.log([_speed_of(run) for run in design.runs])
        faster = block.centred(faster)
        if float(np.abs(faster).max()) > 1e-6:
            learnt = (learnt_elasticity(design.runs, slopes, load=load) or 0.0) if slopes.places else 0.0
            values -= mean * (how.speed - learnt) * faster
            columns.append(mean * faster)
            deviations.append(how.speed_error)
            names.append("speed of the runs")
    wind = np.array([run.means["head_wind_m_s"] for run in design.runs])
    if np.isfinite(wind).all() and not controlled and (speed > MOVING_M_S).all():
        pushing = block.centred((speed + wind) * np.abs(speed + wind) / speed**2 - 1)  # air drag over that in still air
        if float(np.abs(pushing).max()) > 1e-6:
            learnt = 0.5 * float(speed.mean()) * learnt_wind(design.runs, slopes, load=load)
            values -= mean * (how.air_share - learnt) * pushing
            columns.append(mean * pushing)
            deviations.append(how.air_share_error)
            names.append("head wind")
    if controlled:
        # the two vehicles do not answer to weather and traffic alike
        other = block.centred(np.log(_control(design, load=load)))
        if float(np.abs(other).max()) > 1e-6:
            columns.append(mean * other)
            deviations.append(_CONTROL_UNLIKE)
            names.append("control vehicle")
    if not columns:
        return values, None, ()
    return values, Covariates(np.column_stack(columns), np.array(deviations)), tuple(names)


def _speed_of(run: RunWindows) -> float:
    assert run.control is not None
    speed = run.control.means["speed_m_s"]
    return speed if speed > MOVING_M_S else run.means["speed_m_s"]


def _less_ratio_bias(change: RunLevelEffect, without: float, share: float) -> RunLevelEffect:
    """Return the change less what a ratio whose denominator falls when the effect is overestimated lies too high."""
    if change.standard_error is None:
        return change
    bias = share * min(change.standard_error / without, 0.3) ** 2 * without
    return replace(change, change=change.change.moved(-bias))


def _with_rounding(change: RunLevelEffect, design: Design) -> RunLevelEffect:
    """Return the change of metered energy with what the rounding of the display can hide in its interval.

    Runs that scatter by less than a step are rounded alike: the mean of a state is then off by up to half a step, and
    the scatter does not show it. The more they scatter, the less is hidden: exp(-2 (pi s / step)^2) of it, the first
    term of the Fourier series of the rounding error for a normal scatter s (from memory). Flips between two steps give
    a variance of a quarter of the step squared, which is taken off what is seen.
    """
    step_w = max(run.metered_step_w for run in design.runs)
    interval = change.change
    if not step_w > 0 or change.pair_spread is None or interval.low is None or interval.high is None:
        return change
    from scipy.special import ndtri

    scatter2 = max(0.5 * change.pair_spread**2 - 0.25 * step_w**2, 0.0)
    hidden_w = step_w * math.exp(-2 * math.pi**2 * scatter2 / step_w**2)
    # two means, each anywhere within half a step; never more than a whole one
    half_w = hidden_w * min(float(ndtri(0.5 + interval.level / 2)) * math.sqrt(2 / 12), 1.0)
    return replace(change, change=_wider(interval, half_w))


def _wider(interval: Estimate, half: float) -> Estimate:
    """Return an interval with a further half-width in it, independent of its own."""
    assert interval.low is not None
    assert interval.high is not None
    low = interval.estimate - math.hypot(interval.estimate - interval.low, half)
    return replace(interval, low=low, high=interval.estimate + math.hypot(interval.high - interval.estimate, half))


def without_mean(values: np.ndarray, treated: np.ndarray, effect: RunLevelEffect) -> float:
    """Return the mean without the effect, from all runs: those with it less the effect."""
    mean = float(values.mean()) - effect.change.estimate * float(treated.mean())
    return mean if mean > 0 else float(values[~treated].mean())


def widened(change: Estimate, share: float) -> Estimate:
    """Return an estimate with an error of `share` of itself (95 %) put into its interval."""
    if change.low is None or change.high is None or share <= 0:
        return change
    from scipy.special import ndtri

    more = share * abs(change.estimate) * float(ndtri(0.5 + change.level / 2)) / 1.959963984540054
    return _wider(change, more)
