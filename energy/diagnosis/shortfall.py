"""Why so few watts? Every cause weighed together against what a passenger read.

Each cause, and each two of them, is a hypothesis over the chain that answers; draws of all of them meet the readings
(energy/diagnosis/importance.py), and what is left is how likely each cause is, the watts that each costs, and the test
that would part those that the readings leave.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from energy.chain.limits import OperatingLimit, measured_limits
from energy.diagnosis.importance import DrawsPlan, Weighed, weigh
from energy.diagnosis.shortfall_causes import (
    CAUSES,
    CHANNELS,
    Faults,
    Hypothesis,
    Instruments,
    Machine,
    faults_of,
    hypotheses,
    neutral,
    without,
)
from energy.diagnosis.shortfall_readings import Readings, grouped
from energy.diagnosis.shortfall_tests import Test, TreeStep, best_tests, decision_tree
from energy.progress import Progress, tell
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from energy.uncertainty.quantiles import estimate_of
from vehicle.problems import InputError, Problem
from vehicle.quantity import COVERAGE_FACTOR, Estimate

_DRAWS = 512  # of the posterior, for watts and tests
_FAR = 20.0  # squared standard deviations from which one value's miss counts less and less
_FREEDOM = 8.0  # of the Student t of all misses together: a wild reading does not decide alone
_SURE, _LEAD = 0.7, 2.0  # probability of the first cause, and how far ahead of the second, to be no "undecided"
_HELD = 0.95  # share of the probability that the causes named as undecided hold together
_FEW, _ROUGH_LEFT = 10.0, 0.02  # draws that count, below which probabilities are rough; share of the first then left
_COUNTED = 0.1  # probability from which a hypothesis's draws are asked whether they count
_USUAL = 0.10  # a shortfall below this share of what is expected is none
_RARELY = 0.25  # share of a cause's draws in which it is alone, below which it counts as one of two
_WITHIN = 2.0  # standard deviations of a reading within which a cause explains it
# Standard deviations of ln(what is shown) that all readings share: instruments, and the model itself (common practice,
# no source); and of one reading alone.
_SHARED = {"rotor_speed_rad_s": 0.015, "voltage_v": 0.02, "current_a": 0.025, "free_air_speed_m_s": 0.03}
_ALONE = {"electrical_power_w": 0.03, "rotor_speed_rad_s": 0.015, "voltage_v": 0.015, "current_a": 0.02}
_ALONE |= {"thrust_n": 0.05, "air_speed_m_s": 0.03, "free_air_speed_m_s": 0.03}
_MODEL = 0.03
# Share of what is usual below which a machine hardly turns: stiction and cogging decide there, which no chain knows.
_HARDLY = 0.04
# How what is shown goes with the air speed at the rotor, as a power of it: a gust moves them together.
_WITH_AIR = {"electrical_power_w": 2.5, "rotor_speed_rad_s": 1.0, "voltage_v": 1.2, "current_a": 1.2, "thrust_n": 2.0}
_WITH_AIR |= {"air_speed_m_s": 1.0, "free_air_speed_m_s": 1.0}


@dataclass(frozen=True)
class CauseFound:
    """One cause: its probability, the real watts that it costs at the typical reading, and how far what is shown stays
    off with this cause alone: shown over predicted, per kind of reading; `explained` is the share of the shortfall.
    `error` is how far a reading of that kind can be off by itself, ln(shown/predicted) at two standard deviations;
    where the cause is nearly always there with another, `with_another` holds and `leaves` is of both together."""

    cause: str
    probability: float
    watts_lost: float
    explained: float
    leaves: dict[str, float]
    error: dict[str, float]
    with_another: bool = False


@dataclass(frozen=True)
class Repaired:
    """What the machine does once the first cause is put right (medians, SI): at the typical reading and the fastest."""

    watts: Estimate
    thrust_n: float
    rotor_speed_rad_s: float
    broken: tuple[OperatingLimit, ...]  # limits that it would break


@dataclass(frozen=True)
class Shortfall:
    """Every cause, highest first; those that the readings cannot part; the next test; what follows from it.

    `watts` and `expected` are those of the typical reading; `nothing` is the probability that the scenario's own
    ranges explain the readings. `offset_deg` is what the dial would be off by if pitch is the cause, one entry a side.
    `fits` is False where no cause explains the readings. `effective` is how many draws count in the poorest of the
    hypotheses that hold a tenth of the probability: with few of them the probabilities are rough.
    """

    readings: Readings
    watts: float | None
    expected: Estimate
    nothing: float
    causes: tuple[CauseFound, ...]
    undecided_between: tuple[str, ...]
    tests: tuple[Test, ...]
    tree: TreeStep | None
    offset_deg: tuple[tuple[float, Estimate], ...]
    repaired: Repaired | None
    fits: bool
    at: int  # place of the typical reading among the groups
    effective: float = float("inf")
    dangers: tuple[OperatingLimit, ...] = ()  # limits that the readings break

    @property
    def too_many(self) -> bool:
        """Whether more watts are shown than the scenario's own ranges allow."""
        return self.watts is not None and self.watts > (1 + _USUAL) * self.expected.ends[1]

    @property
    def rough(self) -> bool:
        """Whether too few draws fit the readings for the probabilities to be more than an order."""
        return self.effective < _FEW

    @property
    def short(self) -> bool:
        """Whether fewer watts are shown than the scenario lets expect."""
        return self.watts is None or self.watts < (1 - _USUAL) * self.expected.estimate


def shortfall(scenario: Scenario, readings: Readings, progress: Progress | None = None) -> Shortfall:
    """Return why a scenario's machine gave what a passenger read.

    Parameters
    ----------
    scenario : Scenario
        With curves, generator and element; its ranges are the prior.
    readings : Readings
        Any number of them; see energy/diagnosis/shortfall_readings.py.
    progress : Progress, optional
        Told the share done.

    Raises
    ------
    InputError
        Where the scenario has no curves or no generator.
    """
    if scenario.measured is not None:
        readings = replace(readings, electrical_power_w=_watts_read(readings))
    groups, scatter = grouped(readings)
    machine = Machine(scenario, groups)
    known = hypotheses(scenario, groups)
    misses = Misses(machine, scatter)
    single = np.array([len(h.variants) for h in known])
    few = len(groups) <= 4
    variants = [v for h in known for v in h.variants]
    parts = tuple(tuple(variants.index(v) for v in h.variants) for h in known)
    first = np.where(single < 2, 512 if few else 128, 256 if few else 64)
    plan = DrawsPlan(first, np.minimum(single, 1), parts=parts)
    done = [0]

    def likelihood(which: np.ndarray, scores: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        likelihoods = misses.log_likelihood([known[h] for h in which], scores)
        done[0] += 1
        tell(progress, min(0.12 * done[0], 0.95))
        return likelihoods

    weighed = weigh(likelihood, [h.prior for h in known], machine.columns, plan)
    result = _concluded(scenario, machine, misses, known, weighed)
    tell(progress, 1.0)
    return result


class Misses:
    """How far what instruments show is from what draws say: ln(shown) against ln(predicted), with the errors' whole
    covariance (instruments, gusts, the model's own)."""

    def __init__(self, machine: Machine, scatter: float) -> None:
        readings = machine.readings
        self.machine = machine
        usual = machine.predict(np.zeros((1, machine.columns)), neutral(1)).shown
        known = [c for c in CHANNELS if np.isfinite(usual[c]).all()]
        self.places = [(c, g) for c in known for g in range(len(readings)) if np.isfinite(getattr(readings, c)[g])]
        if not any(c in ("electrical_power_w", "thrust_n") for c, _ in self.places):
            read = "no watts, and this rotor is known by its watts alone"
            raise InputError(Problem("readings", "electrical_power_w", read, "watts at a road speed"))
        self.floor = {c: _HARDLY * max(float(np.max(np.abs(usual[c]))), 1e-3) for c in CHANNELS}
        self.seen = np.array([self._log(c, getattr(readings, c)[g]) for c, g in self.places])
        covariance = self._covariance(scatter)
        self.variance, self.root = np.diag(covariance), np.linalg.cholesky(covariance)

    def _log(self, channel: str, values: np.ndarray) -> np.ndarray:
        return np.asarray(np.log(np.maximum(values, 0.0) + self.floor[channel]))

    def _covariance(self, scatter: float) -> np.ndarray:
        measurement, count = self.machine.scenario.measurement, self.machine.readings.count
        shared = dict(_SHARED)
        for channel, value in (
            ("electrical_power_w", measurement.power_accuracy),
            ("thrust_n", measurement.thrust_accuracy),
            ("air_speed_m_s", measurement.air_speed_calibration),
        ):
            shared[channel] = value.value / COVERAGE_FACTOR
        gust = measurement.air_speed_noise.value / COVERAGE_FACTOR
        if np.isfinite(scatter):
            gust = min(max(gust, scatter / _WITH_AIR["electrical_power_w"]), 0.2)
        size = len(self.places)
        covariance = np.zeros((size, size))
        for i, (c, g) in enumerate(self.places):
            for j, (d, h) in enumerate(self.places):
                if c == d:
                    covariance[i, j] += shared[c] ** 2 + (0.7 * _MODEL) ** 2
                if g == h:
                    covariance[i, j] += _WITH_AIR[c] * _WITH_AIR[d] * (gust**2 / count[g] + 0.01**2)
            covariance[i, i] += _ALONE[c] ** 2 / count[g] + (0.5 * _MODEL) ** 2
        return covariance

    def of(self, predicted: Instruments) -> np.ndarray:
        """Return ln(shown/predicted) of every value read, (N, values)."""
        return np.stack(
            [self.seen[k] - self._log(c, predicted.shown[c][:, g]) for k, (c, g) in enumerate(self.places)], axis=1
        )

    def log_likelihood(self, which: list[Hypothesis], scores: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return ln likelihood of draws (N,), and their misses in standard deviations (N, values)."""
        from scipy.linalg import solve_triangular

        predicted = self.machine.predict(scores, faults_of(which, scores))
        white = solve_triangular(self.root, self.of(predicted).T, lower=True)
        # One reading far off (a rotor that fell off its fast speed meanwhile) must not decide alone.
        square = (_FAR * np.log1p(white**2 / _FAR)).sum(axis=0)
        log_density = -0.5 * (_FREEDOM + len(white)) * np.log1p(square / _FREEDOM)
        return np.where(predicted.possible, log_density, -np.inf), white.T

    def square(self, predicted: Instruments) -> np.ndarray:
        """Return the sum of squared misses in standard deviations, (N,)."""
        from scipy.linalg import solve_triangular

        return np.asarray((solve_triangular(self.root, self.of(predicted).T, lower=True) ** 2).sum(axis=0))


def _concluded(
    scenario: Scenario, machine: Machine, misses: Misses, known: tuple[Hypothesis, ...], weighed: Weighed
) -> Shortfall:
    picked = _resampled(weighed.weight)
    which = [known[h] for h in weighed.which[picked]]
    scores = weighed.scores[picked]
    faults = faults_of(which, scores)
    now = machine.predict(scores, faults)
    readings = machine.readings
    every = _usual_watts(machine)
    at = _typical(_watts_read(readings), np.median(every, axis=0))
    usual = every[:, at]
    gains = _gains(machine, scores, faults, now, at)
    blamed, nothing = _attributed(which, gains, float(np.median(usual)), now.watts[:, at])
    causes = _causes(misses, known, weighed, (which, blamed, gains), (now, float(np.median(usual)), at))
    effective = weighed.least_effective(_COUNTED)
    left = _undecided(causes, nothing, effective < _FEW)
    tests = best_tests(machine, scores, faults, now, blamed)
    fit = float(np.median(misses.square(now)))
    watts = _watts_read(readings)[at]
    return Shortfall(
        readings=readings,
        watts=float(watts) if np.isfinite(watts) else None,
        expected=estimate_of(usual, 0.90),
        nothing=nothing,
        causes=causes,
        undecided_between=left,
        tests=tests,
        tree=decision_tree(machine, scores, faults, now, blamed) if left or causes[0].probability < 0.9 else None,
        offset_deg=_offsets(scenario, known, weighed),
        repaired=_repaired(scenario, machine, (scores, faults), blamed, causes[0].cause, at),
        fits=fit < 2.5 * len(misses.places) + 6.0,
        at=at,
        effective=effective,
        dangers=_limits_read(scenario, readings),
    )


def _limits_read(scenario: Scenario, readings: Readings) -> tuple[OperatingLimit, ...]:
    """Return the stated limits that the readings break."""

    def top(values: np.ndarray) -> float:
        return float(np.nanmax(values)) if np.isfinite(values).any() else float("nan")

    return measured_limits(
        inputs_of(scenario),
        rotor_speed_rad_s=top(readings.rotor_speed_rad_s),
        thrust_n=top(readings.thrust_n),
        element_power_w=top(_watts_read(readings)),
    )


def _watts_read(readings: Readings) -> np.ndarray:
    """Return watts as read, else volts times amperes."""
    return np.where(
        np.isfinite(readings.electrical_power_w), readings.electrical_power_w, readings.voltage_v * readings.current_a
    )


def _resampled(weight: np.ndarray) -> np.ndarray:
    """Return places of draws in proportion to their weight (systematic resampling)."""
    at = (np.arange(_DRAWS) + 0.5) / _DRAWS
    return np.minimum(np.searchsorted(np.cumsum(weight), at), len(weight) - 1)


def _usual_watts(machine: Machine) -> np.ndarray:
    """Return the real watts (N, groups) that the scenario's own ranges let expect."""
    from energy.uncertainty.draws import standard_scores

    scores = standard_scores(256, machine.columns)
    return machine.predict(scores, neutral(len(scores))).watts


def _typical(watts: np.ndarray, expected: np.ndarray) -> int:
    """Return the place of the reading whose share of what is expected is the middle one, the lower of two.

    Half of the readings of a road driven both ways in wind lie above what is expected: the question is about the rest.
    """
    share = np.where(np.isfinite(watts), watts, expected) / np.maximum(expected, 1e-9)
    read = np.flatnonzero(np.isfinite(watts)) if np.isfinite(watts).any() else np.arange(len(watts))
    order = read[np.argsort(share[read], kind="stable")]
    return int(order[(len(order) - 1) // 2])


def _gains(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments, at: int) -> dict[str, np.ndarray]:
    """Return the watts (N,) that putting each cause right would bring at one reading, by cause.

    What the scenario's range leaves open counts as well: air, blades and wind go back to the middle of their range.
    """
    usual = {"local_air": 2, "blades": 3, "wind": 4}
    gains = {}
    for cause in CAUSES:
        right = scores.copy()
        if cause in usual:
            right[:, usual[cause]] = 0.0
        gains[cause] = machine.predict(right, without(faults, cause)).watts[:, at] - now.watts[:, at]
    # A meter that shows too little costs no watts: what it hides is the difference.
    gains["meter"] = now.watts[:, at] * (1 - faults.meter_power)
    return gains


def _attributed(
    which: list[Hypothesis], gains: dict[str, np.ndarray], expected: float, watts: np.ndarray
) -> tuple[np.ndarray, float]:
    """Return which causes each draw blames (N, causes), and the share of draws that blame none.

    A draw without a fault still has less watts than expected where the scenario's own ranges allow it: then its
    dearest cause is blamed.
    """
    blamed = np.zeros((len(which), len(CAUSES)), dtype=bool)
    gain = np.stack([gains[c] for c in CAUSES], axis=1)
    short = watts < (1 - _USUAL) * expected
    for k, hypothesis in enumerate(which):
        for cause in hypothesis.causes:
            blamed[k, CAUSES.index(cause)] = True
        if not hypothesis.causes and short[k]:
            blamed[k, int(np.argmax(gain[k]))] = True
    return blamed, float(np.mean(~blamed.any(axis=1)))


def _causes(
    misses: Misses,
    known: tuple[Hypothesis, ...],
    weighed: Weighed,
    draws: tuple[list[Hypothesis], np.ndarray, dict[str, np.ndarray]],
    at_reading: tuple[Instruments, float, int],
) -> tuple[CauseFound, ...]:
    """Return all causes, highest first. Probabilities come from all draws; those without a fault are shared out."""
    which, blamed, gains = draws
    now, expected, at = at_reading
    exact = np.bincount(weighed.which, weighed.weight, len(known))
    without_fault = np.array([not h.causes for h in which])
    lost = max(expected - float(np.median(now.watts[:, at])), 1e-9)
    shown = misses.of(now)
    causes = []
    for k, cause in enumerate(CAUSES):
        probability = sum(exact[h] for h, each in enumerate(known) if cause in each.causes)
        if without_fault.any():
            probability += float(exact[0]) * float(np.mean(blamed[without_fault, k]))
        mine = blamed[:, k]
        alone = mine & (blamed.sum(axis=1) == 1)
        paired = alone.sum() < _RARELY * mine.sum()
        of = mine if paired else alone
        watts = float(np.mean(gains[cause][mine])) if mine.any() else 0.0
        leaves, error = {}, {}
        for channel in dict.fromkeys(c for c, _ in misses.places) if of.any() else ():
            columns = [n for n, (c, _) in enumerate(misses.places) if c == channel]
            middle = float(np.median(shown[of][:, columns]))
            leaves[channel] = float(np.exp(middle))
            error[channel] = _WITHIN * float(np.sqrt(np.median(misses.variance[columns])))
        causes.append(
            CauseFound(cause, float(min(probability, 1.0)), watts, float(watts / lost), leaves, error, bool(paired))
        )
    return tuple(sorted(causes, key=lambda c: -c.probability))


def _undecided(causes: tuple[CauseFound, ...], nothing: float, rough: bool) -> tuple[str, ...]:
    """Return the causes that the readings cannot part, none where one leads clearly or two are there together.

    They are the fewest that hold nearly all of the probability: one that is like the others to every instrument but
    was rarer beforehand is named too. Where few draws count, odds may be wrong by several times: then a cause stays
    until it is far behind. Where one is there for sure together with another, it is the others that are undecided.
    """
    first, second = causes[0].probability, causes[1].probability
    if rough and nothing <= 0.5 and second >= _ROUGH_LEFT * first:
        return tuple(c.cause for c in causes if c.probability >= _ROUGH_LEFT * first)
    others = sum(c.probability for c in causes[1:])
    if nothing <= 0.5 and first >= _SURE > second and others >= _HELD:
        return _holding_most(causes[1:])
    if nothing > 0.5 or (first >= _SURE and (first >= _LEAD * second or second >= _SURE)):
        return ()
    return _holding_most(causes)


def _holding_most(causes: tuple[CauseFound, ...]) -> tuple[str, ...]:
    """Return the fewest causes, two at least, that hold nearly all of the probability."""
    held = np.cumsum([c.probability for c in causes])
    count = int(np.searchsorted(held, _HELD * held[-1])) + 1
    return tuple(c.cause for c in causes[: max(count, 2)])


def _offsets(scenario: Scenario, known: tuple[Hypothesis, ...], weighed: Weighed) -> tuple[tuple[float, Estimate], ...]:
    """Return, if pitch alone is the cause, how much the blades stand from the dial, each side with its share."""
    convention = scenario.pitch_convention
    sign = float(convention.setting_deg(np.asarray(1.0)) - convention.setting_deg(np.asarray(0.0)))
    sides = []
    for h, each in enumerate(known):
        if each.causes != ("pitch",) or each.variants[0].field != "pitch_deg":
            continue
        mine = weighed.which == h
        weight = weighed.weight[mine]
        if weight.sum() <= 0:
            continue
        values = sign * faults_of([each] * int(mine.sum()), weighed.scores[mine]).pitch_deg
        order = np.argsort(values)
        levels = np.cumsum(weight[order]) / weight.sum()
        low, middle, high = np.interp([0.025, 0.5, 0.975], levels, values[order])
        sides.append((float(weight.sum()), Estimate(float(middle), float(low), float(high), 0.95)))
    total = sum(share for share, _ in sides)
    return tuple(sorted(((share / total, value) for share, value in sides), key=lambda s: -s[0])) if total > 0 else ()


def _repaired(
    scenario: Scenario, machine: Machine, draws: tuple[np.ndarray, Faults], blamed: np.ndarray, cause: str, at: int
) -> Repaired | None:
    """Return what the machine does once a cause is put right: watts, and thrust and rotor speed to watch."""
    scores, faults = draws
    mine = blamed[:, CAUSES.index(cause)]
    if not mine.any():
        return None
    some = Faults(**{f.name: getattr(faults, f.name)[mine] for f in fields(Faults)})
    predicted = machine.predict(scores[mine], without(some, cause))
    thrust, speed = (float(np.median(predicted.shown[c].max(axis=1))) for c in ("thrust_n", "rotor_speed_rad_s"))
    broken = measured_limits(
        inputs_of(scenario),
        rotor_speed_rad_s=speed,
        thrust_n=thrust,
        element_power_w=float(np.median(predicted.watts.max(axis=1))),
    )
    return Repaired(estimate_of(predicted.watts[:, at], 0.90), thrust, speed, broken)
