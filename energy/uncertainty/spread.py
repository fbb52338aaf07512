"""How sure: draws over everything that is not known exactly, the interval that follows, and what to measure next.

The inputs that an answer used and that carry a range, stated or default, are drawn together from a scrambled Sobol
sequence and go through the whole chain as arrays, never as a loop of single answers. From the same draws come the
interval, the probability that it saves, and first-order and total sensitivity indices: Saltelli et al., Computer Physics
Communications 181 (2010) 259, by scipy.stats.sobol_indices, with bootstrapped standard errors.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from energy.chain.ledger import change_and_heat
from energy.progress import Progress, part, tell
from energy.scenario.inputs import inputs_of, ranges_of, spec_of
from energy.scenario.read import Scenario
from vehicle.quantity import COVERAGE_FACTOR, Uncertain

DRAWS = 4096
SEED = 20_011  # any number; fixed, so that the same file gives the same interval twice
SURE, ALMOST_CERTAIN = 0.95, 0.99
QUANTILES = (0.05, 0.25, 0.50, 0.75, 0.95)
_SENSITIVITY_ROWS = 1024  # of each of the two base samples
_SCREENING_ROWS = 32
_RESAMPLES = 50
# Shares of the time, as measured: after the draws, the base of the sensitivities, the sensitivities; the rest is measurements.
_DONE, _DONE_QUICK = (0.2, 0.2, 0.6), (0.28, 0.32, 0.75)
_SCREENED = 0.1  # of the time that the sensitivities take
_CENTRES = (0.1, 0.3, 0.5, 0.7, 0.9)  # where a measurement may find its value, as quantiles of what is known before

Correlation = tuple[str, str, float]
Draws = dict[str, np.ndarray]


@dataclass(frozen=True)
class Outcome:
    """What the draws lead to, one entry a draw: change in fuel (or pack) power and heat, in W."""

    change_w: np.ndarray
    heat_w: np.ndarray


class Chain(Protocol):
    """A computation from draws (key -> (n,)) to what they lead to; one that works in blocks tells how far it is."""

    def __call__(self, draws: Mapping[str, np.ndarray], progress: Progress | None = None, /) -> Outcome:
        """Return the outcome of the draws."""
        ...


@dataclass(frozen=True)
class Sensitivity:
    """One input's part in the variance: alone (`first_order`) and with all it acts with (`total`), each ± its standard error."""

    inputs: tuple[str, ...]  # several where they are correlated and so cannot be told apart
    first_order: float
    first_order_error: float
    total: float
    total_error: float


@dataclass(frozen=True)
class Measurement:
    """What measuring one input would do: known to ± `plus_minus` (SI, 95 %), the 90 % interval shrinks by `shrinks_by`."""

    key: str
    plus_minus: float
    how: str
    shrinks_by: float  # share of the width of the 90 % interval, 0 to 1; expected over where the value may turn out


@dataclass(frozen=True)
class Spread:
    """How sure an answer is.

    `change_w`, `heat_w`: quantiles at `QUANTILES`, in W. `of` names the figure that `sensitivities` (greatest first) and
    `measurements` are about: the change in fuel, or the heat where the fuel does not change.
    """

    draws: int
    outcome: Outcome
    change_w: tuple[float, ...]
    heat_w: tuple[float, ...]
    probability_saves: float
    probability_costs: float
    of: str
    sensitivities: tuple[Sensitivity, ...]
    measurements: tuple[Measurement, ...]

    @property
    def verdict(self) -> str:
        """`saves` or `costs` where that is at least 95 % probable, else `cannot tell`."""
        if self.probability_saves >= SURE:
            return "saves"
        return "costs" if self.probability_costs >= SURE else "cannot tell"


# How a builder measures an input, and how well: key -> (± in SI at 95 %, relative?, how). Common practice, no source.
MEASURED_BY: dict[str, tuple[float, bool, str]] = {
    "rotor.local_speed_factor": (0.03, False, "an anemometer on the mount beside one in free air"),
    "rotor.interaction_factor": (0.08, False, "a road test with the rotor working and stowed"),
    "rotor.thrust_factor": (0.05, False, "a load cell under the mount"),
    "rotor.power_factor": (0.04, False, "a wattmeter at a known air speed"),
    "rotor.mount_drag_area": (0.03, False, "a coast-down with and without the mount"),
    "rotor.stowed_drag_coefficient": (0.2, False, "a coast-down with the rotor stowed and without it"),
    "rotor.feathered_drag_coefficient": (0.05, False, "a coast-down with the rotor stowed and without it"),
    "rotor.yaw_exponent": (0.5, False, "a wattmeter in wind from the side"),
    "rotor.solidity": (0.01, False, "a tape measure along the blades"),
    "rotor.turbine_mass": (1.0, False, "a scale"),
    "rotor.chain_efficiency": (0.05, False, "torque and speed at the shaft beside the wattmeter"),
    "rotor.diameter": (0.01, False, "a tape measure"),
    "rotor.pitch": (0.3, False, "a protractor at the blade"),
    "drive.efficiency": (0.02, False, "torque before and after the belt"),
    "generator.voltage_constant": (0.02, True, "a voltmeter at a known speed"),
    "generator.winding_resistance": (0.05, True, "a four-wire ohmmeter"),
    "generator.winding_inductance": (0.1, True, "an inductance meter between two terminals"),
    "generator.pole_pairs": (0.01, False, "counting the detents of one turn"),
    "generator.friction_torque": (0.02, False, "a spring scale at the belt, turned by hand"),
    "generator.cogging_torque": (0.05, False, "a spring scale at the belt"),
    "generator.iron_loss": (3.0, False, "torque at 1000 rpm with nothing connected"),
    "heater.resistance": (0.02, True, "an ohmmeter"),
    "heater.lead_resistance": (0.01, False, "a four-wire ohmmeter"),
    "vehicle.drag_area": (0.04, True, "a coast-down"),
    "vehicle.rolling_resistance": (0.0006, False, "a coast-down"),
    "vehicle.mass": (20.0, False, "a weighbridge"),
    "engine.indicated_efficiency": (0.012, False, "a logged fuel flow at two known loads"),
    "engine.friction_mean_pressure": (15e3, False, "a logged fuel flow at idle"),
    "engine.drivetrain_efficiency": (0.015, False, "a roller test bench"),
    "air.temperature": (1.0, False, "a thermometer"),
    "air.pressure": (200.0, False, "a barometer"),
    "air.altitude": (20.0, False, "a map"),
    "air.relative_humidity": (0.05, False, "a hygrometer"),
    "air.wind_speed": (0.5, False, "an anemometer on the day"),
    "trip.road_speed": (0.2, False, "satellite positioning"),
    "trip.grade": (0.001, False, "a map or a level"),
}


def quantile_of(value: Uncertain, share: np.ndarray) -> np.ndarray:
    """Return the value (SI) below which `share` (0 to 1) of an input's distribution lies."""
    if value.shape == "normal":
        from scipy.special import ndtri

        return value.value + value.standard_deviation * np.asarray(ndtri(share))
    low, high = value.low, value.high
    if value.shape == "uniform":
        return low + share * (high - low)
    if value.shape == "exact" or high == low:
        return np.full(np.shape(share), value.value)
    # Triangular: the inverse of its two parabolas.
    turn = (value.value - low) / (high - low)
    rising = low + np.sqrt(share * (high - low) * (value.value - low))
    falling = high - np.sqrt((1 - share) * (high - low) * (high - value.value))
    return np.where(share < turn, rising, falling)


def _within_limits(key: str, values: np.ndarray) -> np.ndarray:
    """Return the values held within the key's limits: the tail of a normal reaches past what is possible."""
    spec = spec_of(key)
    if spec.at_least is not None:
        values = np.maximum(values, spec.at_least)
    if spec.above is not None:
        values = np.maximum(values, spec.above + 1e-6 * float(np.median(np.abs(values - spec.above))))
    return values if spec.at_most is None else np.minimum(values, spec.at_most)


def shares(count: int, columns: int, *, seed: int = SEED) -> np.ndarray:
    """Return (count, columns) numbers in (0, 1) of a scrambled Sobol sequence; `count` should be a power of two."""
    from scipy.stats import qmc

    found = np.asarray(qmc.Sobol(columns, scramble=True, rng=np.random.default_rng(seed)).random(count))
    return np.clip(found, 1e-12, 1 - 1e-12)


def draws_of(
    inputs: Mapping[str, Uncertain], share: np.ndarray, correlations: Sequence[Correlation] = ()
) -> dict[str, np.ndarray]:
    """Return the inputs' values (SI) at shares (N, inputs) of the unit cube, in the mapping's order.

    `correlations` lists (key, key, coefficient): the pair's normal scores are correlated by that much (Gaussian copula).
    """
    keys = list(inputs)
    if correlations:
        share = _correlated(keys, share, correlations)
    return {key: _within_limits(key, quantile_of(inputs[key], share[:, k])) for k, key in enumerate(keys)}


def _correlated(keys: Sequence[str], share: np.ndarray, correlations: Sequence[Correlation]) -> np.ndarray:
    from scipy.special import ndtr, ndtri

    return np.asarray(ndtr(ndtri(share) @ correlation_root(keys, correlations).T))


def correlation_root(keys: Sequence[str], correlations: Sequence[Correlation]) -> np.ndarray:
    """Return the Cholesky factor (keys, keys) of the correlation matrix of the keys' normal scores."""
    matrix = np.eye(len(keys))
    for one, other, coefficient in correlations:
        if one in keys and other in keys:
            i, j = keys.index(one), keys.index(other)
            matrix[i, j] = matrix[j, i] = coefficient
    # Raises numpy.linalg.LinAlgError where the coefficients contradict each other.
    return np.asarray(np.linalg.cholesky(matrix))


def values_at(inputs: Mapping[str, Uncertain], scores: np.ndarray) -> dict[str, np.ndarray]:
    """Return the inputs' values (SI) at normal scores (N, inputs): 0 is the median, 1.64 the 95 % quantile."""
    from scipy.special import ndtr

    return draws_of(inputs, np.asarray(ndtr(scores)))


def standard_scores(count: int, columns: int, *, seed: int = SEED) -> np.ndarray:
    """Return (count, columns) quasi-random standard normal scores."""
    from scipy.special import ndtri

    return np.asarray(ndtri(shares(count, columns, seed=seed)))


def groups_of(keys: Sequence[str], correlations: Sequence[Correlation]) -> list[tuple[str, ...]]:
    """Return the keys in groups that have to be varied together: each alone, correlated ones joined."""
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
    """Return (first order, its standard error, total, its standard error) of groups of columns, each (groups,).

    `function` takes shares (N, columns) to values (N,); `first` and `second` are two independent samples (n, columns);
    `at_first`, `at_second` are the function's values there, where they are known already. All mixed samples are
    evaluated in one call.
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
        found = sobol_indices(
            func={"f_A": a[:, rows].copy(), "f_B": b[:, rows].copy(), "f_AB": values[..., rows].copy()}, n=count
        )
        return np.asarray(found.first_order)[: len(groups)], np.asarray(found.total_order)[: len(groups)]

    first_order, total = indices(slice(None))
    # Standard errors by resampling rows; the result's own bootstrap corrects its intervals by a jackknife over all rows,
    # which takes longer than everything else.
    again = [indices(rng.integers(0, count, count)) for _ in range(_RESAMPLES)]
    errors = [np.std([part[k] for part in again], axis=0, ddof=1) for k in (0, 1)]
    return first_order, errors[0], total, errors[1]


def steady_chain(scenario: Scenario) -> Chain:
    """Return the chain of a steady answer: draws in, change in fuel and heat out."""

    def chain(draws: Mapping[str, np.ndarray], progress: Progress | None = None) -> Outcome:
        count = len(next(iter(draws.values())))
        change, heat = change_and_heat(inputs_of(scenario, draws))
        tell(progress, 1.0)
        return Outcome(np.broadcast_to(change, (count,)), np.broadcast_to(heat, (count,)))

    return chain


def spread_of(
    scenario: Scenario,
    chain: Chain | None = None,
    *,
    draws: int = DRAWS,
    sensitivity_rows: int = _SENSITIVITY_ROWS,
    seed: int = SEED,
    with_sensitivity: bool = True,
    known: Mapping[str, Uncertain] | None = None,
    quick: Chain | None = None,
    progress: Progress | None = None,
) -> Spread | None:
    """Return how sure a scenario's answer is, None where nothing it uses is uncertain.

    `draws` (even; its half a power of two) is the number of draws, `known` puts other ranges in place of the scenario's
    (see energy/diagnosis/reconcile.py), `chain` another computation in place of the steady answer, `quick` a cheaper one for the
    sensitivities. `progress` is told the share done (see energy/progress.py).
    """
    inputs = {**ranges_of(scenario), **(known or {})}
    inputs = {key: value for key, value in inputs.items() if value.standard_deviation > 0}
    if not inputs:
        tell(progress, 1.0)
        return None
    drawn, based, weighed = (1.0, 1.0, 1.0) if not with_sensitivity else _DONE if quick is None else _DONE_QUICK
    chain = chain or steady_chain(scenario)
    correlations = scenario_correlations(scenario)
    half = draws // 2
    cube = shares(half, 2 * len(inputs), seed=seed)
    both = np.concatenate([cube[:, : len(inputs)], cube[:, len(inputs) :]])
    outcome = chain(draws_of(inputs, both, correlations), part(progress, 0.0, drawn))
    of, target = ("fuel", outcome.change_w) if np.ptp(outcome.change_w) > 1e-6 else ("heat", outcome.heat_w)
    sensitivities: tuple[Sensitivity, ...] = ()
    measurements: tuple[Measurement, ...] = ()
    if with_sensitivity and np.ptp(target) > 1e-6:
        rows = min(sensitivity_rows, half)
        base = both if quick is None else np.concatenate([both[:rows], both[half:][:rows]])
        at_base = target
        if quick is not None:
            at_base = _target(quick(draws_of(inputs, base, correlations), part(progress, drawn, based)), of)
        first, second = at_base[:rows], at_base[len(base) // 2 :][:rows]
        sensitivities = _sensitivities(
            inputs, quick or chain, of, cube[:rows], first, second, correlations, part(progress, based, weighed)
        )
        measurements = _measurements(
            inputs,
            quick or chain,
            of,
            sensitivities,
            base,
            at_base,
            correlations,
            progress=part(progress, weighed, 1.0),
        )
    tell(progress, 1.0)
    return replace(spread_of_outcome(outcome), of=of, sensitivities=sensitivities, measurements=measurements)


def spread_of_outcome(outcome: Outcome) -> Spread:
    """Return the intervals and probabilities of an outcome, without sensitivities."""
    saves, costs = told_apart(outcome)
    return Spread(
        draws=len(outcome.change_w),
        outcome=outcome,
        change_w=_quantiles(outcome.change_w),
        heat_w=_quantiles(outcome.heat_w),
        probability_saves=float(saves.mean()),
        probability_costs=float(costs.mean()),
        of="fuel" if np.ptp(outcome.change_w) > 1e-6 else "heat",
        sensitivities=(),
        measurements=(),
    )


def scenario_correlations(scenario: Scenario) -> tuple[Correlation, ...]:
    """Return the scenario's correlated pairs."""
    return tuple((pair.first, pair.second, pair.coefficient.value) for pair in scenario.uncertainty.correlated)


def told_apart(outcome: Outcome) -> tuple[np.ndarray, np.ndarray]:
    """Return for every draw (saves, costs); heat that costs no fuel counts as saving, neither fuel nor heat as neither."""
    small = 0.05  # W: rounding of engine powers of some 10 kW
    costs = outcome.change_w > small
    saves = (outcome.change_w < -small) | (~costs & (outcome.heat_w > 0.5))
    return saves, costs


def _quantiles(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(v) for v in np.quantile(values, QUANTILES))


def interval_width(values: np.ndarray) -> float:
    """Return the width of the 90 % interval of draws."""
    low, high = np.quantile(values, [0.05, 0.95])
    return float(high - low)


def _target(outcome: Outcome, of: str) -> np.ndarray:
    return outcome.change_w if of == "fuel" else outcome.heat_w


def _sensitivities(
    inputs: Mapping[str, Uncertain],
    chain: Chain,
    of: str,
    cube: np.ndarray,
    at_first: np.ndarray,
    at_second: np.ndarray,
    correlations: Sequence[Correlation],
    progress: Progress | None = None,
) -> tuple[Sensitivity, ...]:
    """Return the sensitivities, greatest first; inputs that change nothing are left out after a look at a few draws."""
    keys = list(inputs)
    first, second = cube[:, : len(keys)], cube[:, len(keys) :]
    groups = groups_of(keys, correlations)

    def function(share: np.ndarray, told: Progress | None = None) -> np.ndarray:
        return _target(chain(draws_of(inputs, share, correlations), told), of)

    def mixed(share: np.ndarray) -> np.ndarray:
        return function(share, part(progress, _SCREENED, 1.0))

    few = first[:_SCREENING_ROWS]
    moved = np.repeat(few[None], len(groups), axis=0)
    for k, group in enumerate(groups):
        columns = [keys.index(key) for key in group]
        moved[k][:, columns] = second[: len(few), columns]
    looked_at = function(moved.reshape(-1, len(keys)), part(progress, 0.0, _SCREENED))
    effect = np.abs(looked_at.reshape(len(groups), -1) - at_first[: len(few)])
    acting = [group for group, most in zip(groups, effect.max(axis=1), strict=True) if most > 0.01 * np.std(at_first)]
    if not acting:  # a rotor that stands still, say: nothing moves the answer
        return ()
    columns_of = [[keys.index(key) for key in group] for group in acting]
    indices = sensitivity_indices(mixed, first, second, columns_of, at_first=at_first, at_second=at_second)
    found = [Sensitivity(tuple(group), *(float(part[k]) for part in indices)) for k, group in enumerate(acting)]
    return tuple(sorted(found, key=lambda s: -s.total))


def _measurements(
    inputs: Mapping[str, Uncertain],
    chain: Chain,
    of: str,
    sensitivities: Sequence[Sensitivity],
    both: np.ndarray,
    target: np.ndarray,
    correlations: Sequence[Correlation],
    most: int = 3,
    progress: Progress | None = None,
) -> tuple[Measurement, ...]:
    """Return what measuring each of the inputs that matter most would do to the interval, the most useful first."""
    worth = [s for s in sensitivities[:most] if s.total > 0.02]
    keys = [key for s in worth for key in s.inputs if key in MEASURED_BY]
    count = min(len(both) // 2, 1024)
    rows = both[:count]
    before = interval_width(target[:count])
    found = []
    for k, key in enumerate(keys):
        width, relative, how = MEASURED_BY[key]
        plus_minus = width * abs(inputs[key].value) if relative else width
        if plus_minus / COVERAGE_FACTOR >= inputs[key].standard_deviation:
            continue  # known as well as that already
        told = part(progress, k / len(keys), (k + 1) / len(keys))
        shrinks = measured_shrinks_by(inputs, key, plus_minus, chain, of, rows, before, correlations, told)
        found.append(Measurement(key, plus_minus, how, shrinks))
    return tuple(sorted(found, key=lambda m: -m.shrinks_by))


def measured_shrinks_by(
    inputs: Mapping[str, Uncertain],
    key: str,
    plus_minus: float,
    chain: Chain,
    of: str,
    share: np.ndarray,
    width_before: float,
    correlations: Sequence[Correlation] = (),
    progress: Progress | None = None,
) -> float:
    """Return the share by which the 90 % interval shrinks, on average, once `key` is measured to ± `plus_minus` (SI, 95 %).

    On average over where the measurement may find the value: the middles of the fifths of what is known
    before. The other inputs keep their draws, so that the difference is not one of luck.
    """
    others = [pair for pair in correlations if key not in pair[:2]]
    column = list(inputs).index(key)
    parts = []
    for centre in quantile_of(inputs[key], np.array(_CENTRES)):
        measured = Uncertain(float(centre), centre - plus_minus, centre + plus_minus, "normal")
        drawn = draws_of(inputs, share, others)
        drawn[key] = _within_limits(key, quantile_of(measured, share[:, column]))
        parts.append(drawn)
    together = {k: np.concatenate([part[k] for part in parts]) for k in parts[0]}
    values = _target(chain(together, progress), of).reshape(len(parts), -1)
    after = float(np.mean([interval_width(row) for row in values]))
    return 1 - after / width_before if width_before > 0 else 0.0


def replaced(value: Uncertain, mean: float, standard_deviation: float) -> Uncertain:
    """Return an input known anew, as a normal with that mean and standard deviation (SI)."""
    width = COVERAGE_FACTOR * standard_deviation
    return replace(value, value=mean, low=mean - width, high=mean + width, shape="normal")
