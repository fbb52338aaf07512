"""What road tests and wattmeter readings say of the uncertain inputs: before and after, and whether they fit at all.

Every uncertain input is turned into a normal score (so that each prior, whatever its shape, is a standard normal), and
the scores are found by least squares with the priors as further observations: minimise Σ z² + Σ ((model − reading)/σ)²,
the maximum of the posterior. Its spread is that of the model made linear there (Laplace's approximation). For a linear
model with normal inputs this is the exact Bayesian answer. Solver: scipy.optimize.least_squares.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import Field

from energy.chain.answer import broken_as_stated
from energy.chain.draws import spread_of
from energy.chain.ledger import answer
from energy.chain.limits import OperatingLimit, measured_limits
from energy.progress import Progress, part, tell
from energy.scenario.inputs import correlations_of, inputs_of, ranges_of
from energy.scenario.keys import Table
from energy.scenario.read import Scenario, toml_data, validated
from energy.uncertainty.draws import correlation_root, replaced, standard_scores, values_at
from energy.uncertainty.propagate import OutcomeSpread, Sampling, spread_of_outcome
from energy.uncertainty.sensitivities import Chain
from vehicle.problems import InputError, Problem, shown
from vehicle.quantity import Spec, Uncertain, quantity

SURPRISING = 0.05  # a fit worse than this share of honest ones is told
_DRAWS = 4096
_STEP = 1e-3
_FITTED, _KNOWN_BEFORE = 0.2, 0.6  # shares of the time, as measured on a trip


class Result(Table):
    """One reading, or several at once, under known conditions."""

    what: str = Field(default="", description="what it was, in words", max_length=120)
    road_speed: Uncertain = quantity("m/s", "road speed", required=True, at_least=0, at_most=100)
    wind_speed: Uncertain | None = quantity("m/s", "wind speed at rotor height", at_least=0, at_most=60)
    wind_from: Uncertain | None = quantity("rad", "where the wind came from, 0 deg ahead", at_least=-6.3, at_most=6.3)
    grade: Uncertain | None = quantity("dimensionless", "rise over run", at_least=-0.4, at_most=0.4)
    temperature: Uncertain | None = quantity("K", "air temperature", at_most=340)
    pitch: Uncertain | None = quantity("deg", "blade pitch, if another than the scenario's", at_least=-20, at_most=100)
    resistance: Uncertain | None = quantity("ohm", "element, if another than the scenario's", above=0)
    compared_with: Literal["absent", "stowed"] | None = Field(
        default=None, description="what the change in fuel is set against; the scenario's own if left out"
    )
    electrical_power: Uncertain | None = quantity("W", "watts at the generator's terminals", at_least=0, reading=True)
    heat_power: Uncertain | None = quantity("W", "watts in the element", at_least=0, reading=True)
    current: Uncertain | None = quantity("A", "current through the element", at_least=0, reading=True)
    rotor_speed: Uncertain | None = quantity("rad/s", "rotor speed", at_least=0, reading=True)
    thrust: Uncertain | None = quantity("N", "thrust on the mount", at_least=0, reading=True)
    fuel_without: Uncertain | None = quantity(
        "m**3/s", "fuel flow without the turbine (absent or stowed)", at_least=0, reading=True
    )
    fuel_working: Uncertain | None = quantity("m**3/s", "fuel flow with the turbine working", at_least=0, reading=True)
    fuel_change: Uncertain | None = quantity("m**3/s", "fuel flow with the turbine working less without")
    fuel_change_per_distance: Uncertain | None = quantity("m**2", "the same per distance")
    battery_power_without: Uncertain | None = quantity("W", "power that the battery gives without the turbine")
    battery_power_working: Uncertain | None = quantity("W", "power that the battery gives with the turbine working")
    battery_power_change: Uncertain | None = quantity("W", "battery power with the turbine working less without")


_CONDITIONS = {
    "road_speed": "trip.road_speed",
    "wind_speed": "air.wind_speed",
    "wind_from": "air.wind_from",
    "grade": "trip.grade",
    "temperature": "air.temperature",
    "pitch": "rotor.pitch",
    "resistance": "heater.resistance",
}
READINGS = (
    "electrical_power",
    "heat_power",
    "current",
    "rotor_speed",
    "thrust",
    "fuel_without",
    "fuel_working",
    "fuel_change",
    "fuel_change_per_distance",
    "battery_power_without",
    "battery_power_working",
    "battery_power_change",
)


def unit_of(reading: str) -> str:
    """Return the SI unit of a reading."""
    extra = Result.model_fields[reading].json_schema_extra
    spec = extra.get("spec") if isinstance(extra, dict) else None
    assert isinstance(spec, Spec)
    return spec.unit


@dataclass(frozen=True)
class Updated:
    """One input before and after (SI): mean and standard deviation, and how far the readings moved it in its own σ."""

    key: str
    before: Uncertain
    mean: float
    standard_deviation: float
    low: float  # 5 %
    high: float  # 95 %
    moved: float

    @property
    def shrinks_by(self) -> float:
        """Share by which its standard deviation shrank."""
        return 1 - self.standard_deviation / self.before.standard_deviation


@dataclass(frozen=True)
class Compared:
    """One reading against the model (SI): predicted before and after, and the misses in standard deviations.

    `miss_before` is set against the reading's and the prediction's doubt together; `miss_after` against the reading's
    own.
    """

    result: int
    what: str
    reading: str
    value: float
    standard_deviation: float
    before: float
    after: float
    miss_before: float
    miss_after: float


@dataclass(frozen=True)
class Reconciled:
    """Inputs and answer before and after, and whether readings and model agree within what was stated.

    `probability` is that of a fit as bad or worse where everything stated is true (χ² of `chi_square` with as many
    degrees of freedom as readings). `broken_read` are the limits that the readings break, `broken_after` those that the
    scenario breaks with the updated inputs, both the most exceeded first.
    """

    before: OutcomeSpread | None
    after: OutcomeSpread
    inputs: tuple[Updated, ...]
    readings: tuple[Compared, ...]
    chi_square: float
    probability: float
    broken_read: tuple[OperatingLimit, ...] = ()
    broken_after: tuple[OperatingLimit, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether the fit is no worse than chance allows in 95 of 100 honest cases."""
        return self.probability >= SURPRISING


@dataclass(frozen=True)
class Fit:
    """The posterior of standard normal scores: mean (d,), covariance (d, d); predictions at the prior mean and at
    `mean`."""

    mean: np.ndarray
    covariance: np.ndarray
    before: np.ndarray
    after: np.ndarray
    prior_deviation: np.ndarray  # of each prediction before, from the prior alone
    chi_square: float


def read_results(path: Path) -> tuple[Result, ...]:
    """Return the results of a TOML file with one [[result]] a reading. Raises InputError with every fault."""
    return results_of(toml_data(path), path.name)


def results_of(data: Mapping[str, Any], name: str) -> tuple[Result, ...]:
    """Return the results of what a TOML file of that name holds. Raises InputError with every fault."""
    problems = [
        Problem(name, shown(key).strip("'"), "unknown key", "[[result]] tables") for key in data if key != "result"
    ]
    entries = data.get("result")
    if not isinstance(entries, list) or not entries:
        problems.append(Problem(name, "result", "missing", "at least one [[result]] with road_speed and a reading"))
        raise InputError(problems)
    results = []
    for number, entry in enumerate(entries, 1):
        place = f"result {number}"
        if not isinstance(entry, dict):
            problems.append(Problem(name, place, f"{shown(entry)} is no table", "a table [[result]]"))
            continue
        result, faults = validated(name, place, Result, entry)
        problems += faults
        if result is None:
            continue
        results.append(result)
        given = [reading for reading in READINGS if getattr(result, reading) is not None]
        if not given:
            problems.append(Problem(name, place, "no reading", f"one of {', '.join(READINGS)}"))
        problems += [
            Problem(
                name,
                f"{place}.{reading}",
                "a reading without its own uncertainty",
                '{ value = "1.05 kW", plus_minus = "30 W" }: its uncertainty, the half-width of a 95 % interval',
            )
            for reading in given
            if getattr(result, reading).standard_deviation == 0
        ]
    if problems:
        raise InputError(problems)
    return tuple(results)


def reconciled(scenario: Scenario, results: Sequence[Result], progress: Progress | None = None) -> Reconciled:
    """Return `reconcile` with the answer that the scenario asks for: that of its trip where it has one, else the
    steady one."""
    chain = None
    if scenario.schedule is not None:
        from energy.chain.trip import trip_chain

        chain = trip_chain(scenario, coarse=True)
    result = reconcile(scenario, results, chain, progress)
    after = broken_as_stated(_with_means(scenario, result.inputs))
    return replace(result, broken_read=_limits_read(scenario, results), broken_after=after)


def _limits_read(scenario: Scenario, results: Sequence[Result]) -> tuple[OperatingLimit, ...]:
    """Return the stated limits that the readings break; watts at the generator stand for those of the element."""

    def top(*names: str) -> float:
        read = [value.value for name in names for one in results if (value := getattr(one, name)) is not None]
        return max(read, default=math.nan)

    return measured_limits(
        inputs_of(scenario),
        rotor_speed_rad_s=top("rotor_speed"),
        thrust_n=top("thrust"),
        element_power_w=top("heat_power", "electrical_power"),
        current_a=top("current"),
    )


def _with_means(scenario: Scenario, inputs: Sequence[Updated]) -> Scenario:
    """Return the scenario with each input at its mean with the readings."""
    for updated in inputs:
        table_name, _, name = updated.key.partition(".")
        table = scenario.table(table_name)
        if table is not None:
            moved: dict[str, Any] = {table_name: table.model_copy(update={name: as_scenario(updated)})}
            scenario = replace(scenario, **moved)
    return scenario


def fit(model: Any, dimensions: int, values: np.ndarray, deviations: np.ndarray, root: np.ndarray | None = None) -> Fit:
    """Return the posterior of independent standard normal scores from readings.

    `model` takes scores (N, d) to predictions (N, readings); `root` turns independent scores into correlated ones (the
    Cholesky factor of their correlation). One array call gives the predictions at a point and their derivatives there,
    which are central differences: a call of a few dozen rows takes as long as one of a single row.
    """
    from scipy.optimize import least_squares

    correlate = np.eye(dimensions) if root is None else root
    steps = _STEP * np.eye(dimensions)

    @cache
    def around(point: bytes) -> tuple[np.ndarray, np.ndarray]:
        score = np.frombuffer(point)
        rows = np.asarray(model(np.concatenate([score[None], score + steps, score - steps]) @ correlate.T))
        return rows[0], (rows[1 : dimensions + 1] - rows[dimensions + 1 :]).T / (2 * _STEP)

    def residuals(score: np.ndarray) -> np.ndarray:
        return np.concatenate([score, (around(score.tobytes())[0] - values) / deviations])

    def slopes(score: np.ndarray) -> np.ndarray:
        return np.concatenate([np.eye(dimensions), around(score.tobytes())[1] / deviations[:, None]])

    start = np.zeros(dimensions)
    solution = least_squares(residuals, start, jac=slopes, method="trf", xtol=1e-10, ftol=1e-10, gtol=1e-10)
    jacobian = slopes(solution.x)
    before, prior_slope = around(start.tobytes())
    return Fit(
        mean=correlate @ solution.x,
        covariance=correlate @ np.linalg.inv(jacobian.T @ jacobian) @ correlate.T,
        before=before,
        after=around(solution.x.tobytes())[0],
        prior_deviation=np.sqrt((prior_slope**2).sum(axis=1)),
        chi_square=2 * float(solution.cost),
    )


def reconcile(
    scenario: Scenario,
    results: Sequence[Result],
    chain: Chain | None = None,
    progress: Progress | None = None,
) -> Reconciled:
    """Return the scenario's inputs and answer before and after the results.

    `chain` computes the answer (the steady one by default; a trip's from energy/chain/trip.py). Conditions of a result
    that carry a ± of their own are unknowns of that result alone. `progress` is told the share done (see
    energy/progress.py). Raises InputError where nothing is uncertain.
    """
    from scipy.stats import chi2

    inputs = ranges_of(scenario)
    if not inputs:
        raise InputError(Problem(scenario.name, "", "nothing uncertain", "inputs with ± or low and high to update"))
    nuisance = _nuisance(results)
    keys = list(inputs)
    readings = [(j, name) for j, result in enumerate(results) for name in READINGS if getattr(result, name) is not None]
    values = np.array([getattr(results[j], name).value for j, name in readings])
    deviations = np.array([getattr(results[j], name).standard_deviation for j, name in readings])

    def model(scores: np.ndarray) -> np.ndarray:
        drawn = values_at(inputs, scores[:, : len(keys)])
        return _predictions(scenario, results, readings, drawn, _conditions(results, nuisance, scores[:, len(keys) :]))

    dimensions = len(keys) + len(nuisance)
    root = np.eye(dimensions)
    root[: len(keys), : len(keys)] = correlation_root(keys, correlations_of(scenario))
    try:
        posterior = fit(model, dimensions, values, deviations, root)
        scores = posterior.mean + standard_scores(_DRAWS, dimensions) @ np.linalg.cholesky(posterior.covariance).T
    except (np.linalg.LinAlgError, ValueError) as error:  # singular, or a model that is not finite near the readings
        accepted = "readings that the scenario can reach, with ± that differ by less"
        raise InputError(
            Problem(scenario.name, "", f"the readings cannot be weighed against it ({error})", accepted)
        ) from None
    tell(progress, _FITTED)
    drawn = values_at(inputs, scores[:, : len(keys)])
    chain = chain or _steady(scenario)
    before = spread_of(
        scenario, chain, sampling=Sampling(with_sensitivity=False), progress=part(progress, _FITTED, _KNOWN_BEFORE)
    )
    after = spread_of_outcome(chain(drawn, part(progress, _KNOWN_BEFORE, 1.0)))
    tell(progress, 1.0)
    return Reconciled(
        before=before,
        after=after,
        inputs=_updated(inputs, drawn, posterior),
        readings=tuple(
            _compared(j, results[j], name, posterior, k, (float(values[k]), float(deviations[k])))
            for k, (j, name) in enumerate(readings)
        ),
        chi_square=posterior.chi_square,
        probability=float(chi2.sf(posterior.chi_square, len(values))),
    )


def _compared(number: int, result: Result, name: str, posterior: Fit, k: int, read: tuple[float, float]) -> Compared:
    """Return reading `k`, the one of that name in a result, against the model; `read` is its value and deviation."""
    value, deviation = read
    before, after = float(posterior.before[k]), float(posterior.after[k])
    return Compared(
        result=number + 1,
        what=result.what,
        reading=name,
        value=value,
        standard_deviation=deviation,
        before=before,
        after=after,
        miss_before=(value - before) / float(np.hypot(deviation, posterior.prior_deviation[k])),
        miss_after=(value - after) / deviation,
    )


def _steady(scenario: Scenario) -> Chain:
    from energy.chain.draws import steady_chain

    return steady_chain(scenario)


def _updated(inputs: Mapping[str, Uncertain], drawn: Mapping[str, np.ndarray], posterior: Fit) -> tuple[Updated, ...]:
    """Return the inputs before and after, those that were told the most about first."""
    updated = []
    for k, (key, value) in enumerate(inputs.items()):
        low, high = np.quantile(drawn[key], [0.05, 0.95])
        updated.append(
            Updated(
                key,
                value,
                float(np.mean(drawn[key])),
                float(np.std(drawn[key])),
                float(low),
                float(high),
                float(posterior.mean[k]),
            )
        )
    return tuple(sorted(updated, key=lambda u: u.standard_deviation / u.before.standard_deviation))


def _nuisance(results: Sequence[Result]) -> list[tuple[int, str]]:
    """Return (result, condition) of every condition that carries a ± of its own."""
    return [
        (j, name)
        for j, result in enumerate(results)
        for name in _CONDITIONS
        if (value := getattr(result, name)) is not None and value.standard_deviation > 0
    ]


def _conditions(
    results: Sequence[Result], nuisance: Sequence[tuple[int, str]], scores: np.ndarray
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Return for each condition that any result tells (values (N, results), which results tell it (results,))."""
    conditions = {}
    for name, key in _CONDITIONS.items():
        entries = [getattr(result, name) for result in results]
        given = np.array([entry is not None for entry in entries])
        if not given.any():
            continue
        values = np.tile([np.nan if entry is None else entry.value for entry in entries], (len(scores), 1))
        for column, (j, condition) in enumerate(nuisance):
            if condition == name:
                values[:, j] = next(iter(values_at({key: entries[j]}, scores[:, column : column + 1]).values()))
        conditions[key] = (values, given)
    return conditions


def _predictions(
    scenario: Scenario,
    results: Sequence[Result],
    readings: Sequence[tuple[int, str]],
    drawn: Mapping[str, np.ndarray],
    conditions: Mapping[str, tuple[np.ndarray, np.ndarray]],
) -> np.ndarray:
    """Return the model's value of every reading (N, readings)."""
    draws = {key: values[:, None] for key, values in drawn.items()}
    for key, (values, here) in conditions.items():
        if not here.all():
            table, name = key.split(".")
            own = getattr(scenario.table(table), name)
            values = np.where(here, values, draws.get(key, np.nan if own is None else own.value))
        draws[key] = values
    ledger = answer(inputs_of(scenario, draws))
    fuel = ledger.inputs.fuel
    litre, pack = (np.nan, 1.0) if fuel is None else (fuel.heating_value_j_per_m3, np.nan)
    supplied = {name: state.supply.source_w for name, state in ledger.states.items()}
    sources = {name: power_w / litre for name, power_w in supplied.items()}
    turbine = ledger.turbine
    shape = np.broadcast_shapes(np.shape(turbine.heat_power_w), (len(next(iter(drawn.values()))), len(results)))
    speed = np.broadcast_to(ledger.inputs.road_speed_m_s, shape)
    columns = []
    for j, name in readings:
        other = results[j].compared_with or scenario.trip.compared_with
        without = sources[other]
        electrical = turbine.electrical
        whole = {
            "electrical_power": turbine.electrical_power_w,
            "heat_power": turbine.heat_power_w,
            "current": np.nan if electrical is None else electrical.current_a,
            "rotor_speed": turbine.rotor_speed_rad_s,
            "thrust": turbine.thrust_n,
            "fuel_without": without,
            "fuel_working": sources["working"],
            "fuel_change": sources["working"] - without,
            "fuel_change_per_distance": (sources["working"] - without) / np.maximum(speed, 1e-9),
            "battery_power_without": pack * supplied[other],
            "battery_power_working": pack * supplied["working"],
            "battery_power_change": pack * (supplied["working"] - supplied[other]),
        }[name]
        column = np.broadcast_to(whole, shape)[:, j]
        if not np.isfinite(column).all():
            raise InputError(
                Problem(
                    f"result {j + 1}", name, "nothing to compare it with", "a reading that the scenario can predict"
                )
            )
        columns.append(column)
    return np.column_stack(columns)


def as_scenario(updated: Updated) -> Uncertain:
    """Return an updated input as a value with its ± (95 %), as a scenario takes it."""
    return replaced(updated.before, updated.mean, updated.standard_deviation)
