"""Tests that part causes: what each would show under every draw, how much doubt it takes away, and what follows.

The doubt is the entropy of "which causes are at work" over the draws; a test shrinks it by its mutual information with
that, found from the draws themselves (each draw's outcome, with the test's own error, weighs all the others).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from energy.diagnosis.shortfall_causes import CAUSES, Faults, Instruments, Machine

_CLEAR = 0.8  # probability of a cause at which a branch of the tree ends
_DEPTH = 3
_RARE = 0.04  # a branch that hardly ever comes is left out
_MIND = 3.0  # minutes that any test costs before it begins


@dataclass(frozen=True)
class SeenOutcome:
    """One outcome: its words, how likely it is, the cause that then leads and its probability (None: nothing)."""

    words: str
    probability: float
    cause: str | None
    then: float


@dataclass(frozen=True)
class Test:
    """A test: what to do, minutes, tools, the share of the doubt it is expected to take away, and its outcomes."""

    name: str
    what: str
    minutes: float
    tools: str
    shrinks_by: float
    outcomes: tuple[SeenOutcome, ...]

    @property
    def per_minute(self) -> float:
        """Share of the doubt taken away per minute, getting ready included."""
        return self.shrinks_by / (self.minutes + _MIND)


@dataclass(frozen=True)
class TreeStep:
    """A step of the decision tree: a test, and for each outcome the next step or the cause that is left."""

    test: Test
    branches: tuple[tuple[SeenOutcome, TreeStep | None], ...]


@dataclass(frozen=True)
class _Kind:
    """A test before it is weighed: outcome per draw as ln(found/stated) (or degrees), its error, ends of "as stated",
    words for less, as stated, more."""

    name: str
    what: str
    minutes: float
    tools: str
    error: float
    band: float
    words: tuple[str, str, str]
    shows: Callable[[Machine, np.ndarray, Faults, Instruments], np.ndarray]


def _ohms_element(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    return np.log(faults.element)


def _ohms_leads(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    return np.log1p(faults.lead)


def _ohms_winding(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    return np.log(faults.winding)


def _volts_by_drill(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    return np.log(faults.voltage)


def _belt(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    return np.log1p(-faults.slip)


def _angle(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    return faults.pitch_deg


def _second_meter(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    return np.log(faults.meter_power)


def _anemometer(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    """Return the air at the rotor over the air in the open, against what the scenario states."""
    free = np.maximum(now.shown["free_air_speed_m_s"][:, 0], 0.1)
    stated = machine.scenario.rotor.local_speed_factor.value
    return np.log(np.maximum(now.shown["air_speed_m_s"][:, 0], 0.1) / free / stated)


def _both_ways(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    other = scores.copy()
    other[:, 4] = -other[:, 4]
    back = machine.predict(other, replace(faults, tail_wind_m_s=-faults.tail_wind_m_s))
    return np.log((back.watts[:, 0] + 1.0) / (now.watts[:, 0] + 1.0))


def _calm_day(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    still = scores.copy()
    still[:, 4:6] = 0.0
    calm = machine.predict(still, replace(faults, tail_wind_m_s=np.zeros_like(faults.tail_wind_m_s)))
    return np.log((calm.watts[:, 0] + 1.0) / (now.watts[:, 0] + 1.0))


def _two_settings(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    more = machine.predict(scores, replace(faults, pitch_deg=faults.pitch_deg + 4.0))
    return np.log((more.watts[:, 0] + 1.0) / (now.watts[:, 0] + 1.0))


def _strobe(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    usual = machine.predict(np.zeros((1, machine.columns)), _right(faults)).shown["rotor_speed_rad_s"][0, 0]
    return np.log((now.shown["rotor_speed_rad_s"][:, 0] + 0.5) / (usual + 0.5))


def _spring_balance(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    usual = machine.predict(np.zeros((1, machine.columns)), _right(faults)).shown["thrust_n"][0, 0]
    return np.log((now.shown["thrust_n"][:, 0] + 1.0) / (usual + 1.0))


def _spin_up(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> np.ndarray:
    fast = machine.predict(scores, replace(faults, stalled=np.zeros_like(faults.stalled)))
    return np.log((fast.watts[:, 0] + 1.0) / (now.watts[:, 0] + 1.0))


def _right(faults: Faults) -> Faults:
    from energy.diagnosis.shortfall_causes import neutral

    return neutral(1)


_USUAL = ("less than stated", "as stated", "more than stated")
_KINDS = (
    _Kind(
        "element",
        "Stopped, locked, unplugged and cold: measure the ohms of the element at its own terminals.",
        5,
        "ohmmeter",
        0.03,
        0.10,
        _USUAL,
        _ohms_element,
    ),
    _Kind(
        "leads",
        "Stopped, locked and unplugged: short the far end and measure the ohms of both leads with all their plugs.",
        6,
        "ohmmeter, a clip",
        0.03,
        0.09,
        ("less", "next to nothing", "more than a few hundredths of the element"),
        _ohms_leads,
    ),
    _Kind(
        "winding",
        "Stopped, locked and unplugged: measure the ohms between each two generator leads.",
        8,
        "ohmmeter",
        0.08,
        0.25,
        _USUAL,
        _ohms_winding,
    ),
    _Kind(
        "volts",
        "On the bench, blades off: spin the generator by drill and read the volts between each two leads.",
        25,
        "drill, voltmeter, a rev counter or strobe",
        0.04,
        0.09,
        ("less than stated, or one pair low", "as stated, all pairs alike", "more than stated"),
        _volts_by_drill,
    ),
    _Kind(
        "belt",
        "Mark both pulleys and compare their speeds under load with a strobe or a phone's slow motion.",
        12,
        "strobe or phone, chalk",
        0.02,
        0.05,
        ("the generator turns slower than the pulleys say", "the ratio of the pulleys", "faster"),
        _belt,
    ),
    _Kind(
        "angle",
        "Stopped and locked: lay an angle gauge on the blade where the dial was set from.",
        10,
        "digital angle gauge",
        0.8,
        2.0,
        ("less pitch than the dial", "as the dial", "more pitch than the dial"),
        _angle,
    ),
    _Kind(
        "meter",
        "Read the watts with a second, true-rms meter (volts times amperes) at the element.",
        8,
        "true-rms clamp meter and voltmeter rated for the voltage",
        0.04,
        0.10,
        ("the second meter shows more", "both agree", "the second meter shows less"),
        _second_meter,
    ),
    _Kind(
        "anemometer",
        "Drive with an anemometer on the mount, rotor stowed, and one in the free air ahead.",
        20,
        "two anemometers (or one, twice)",
        0.04,
        0.10,
        ("less air at the rotor than the scenario says", "as the scenario says", "more air"),
        _anemometer,
    ),
    _Kind(
        "both ways",
        "Drive the same stretch both ways and compare the watts.",
        20,
        "nothing",
        0.10,
        0.25,
        ("fewer watts the other way", "the same both ways", "more watts the other way"),
        _both_ways,
    ),
    _Kind(
        "calm day",
        "Drive the same stretch again on a calm day (leaves hang still) and compare the watts.",
        30,
        "a calm day",
        0.10,
        0.25,
        ("fewer watts", "the same watts", "more watts"),
        _calm_day,
    ),
    _Kind(
        "two settings",
        "Turn the blades 4 degrees more towards feather (stopped and locked) and drive again.",
        30,
        "spanner, angle gauge",
        0.10,
        0.12,
        ("fewer watts", "the same", "more watts"),
        _two_settings,
    ),
    _Kind(
        "rotor speed",
        "Read the rotor speed at a steady road speed: strobe, or a mark and a phone's slow motion.",
        10,
        "strobe or phone, tape",
        0.05,
        0.12,
        ("slower than expected", "as expected", "faster than expected"),
        _strobe,
    ),
    _Kind(
        "thrust",
        "Hold the mount by a spring balance at a steady road speed and read the thrust.",
        30,
        "spring balance, a mount that slides",
        0.08,
        0.15,
        ("less than expected", "as expected", "more than expected"),
        _spring_balance,
    ),
    _Kind(
        "spin up",
        "At a low road speed let the rotor spin up with the load off, then switch the load on. Keep below "
        "its highest rotor speed.",
        12,
        "a switch for the load",
        0.15,
        0.35,
        ("fewer watts than before", "the same watts", "far more watts than before"),
        _spin_up,
    ),
)


def best_tests(
    machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments, blamed: np.ndarray
) -> tuple[Test, ...]:
    """Return the tests that part the causes, most doubt per minute first; none where no doubt is left."""
    shown = _outcomes(machine, scores, faults, now)
    return _ranked(shown, blamed, np.ones(len(blamed), dtype=bool), frozenset())


def decision_tree(
    machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments, blamed: np.ndarray
) -> TreeStep | None:
    """Return the tests to make one after the other, and what each outcome leads to."""
    shown = _outcomes(machine, scores, faults, now)
    return _step(shown, blamed, np.ones(len(blamed), dtype=bool), frozenset(), 1)


_Shown = list[
    tuple[_Kind, np.ndarray, np.ndarray]
]  # test, outcome per draw, side per draw (0 less, 1 as stated, 2 more)


def _outcomes(machine: Machine, scores: np.ndarray, faults: Faults, now: Instruments) -> _Shown:
    generator = np.random.default_rng(7)
    shown = []
    for kind in _offered(machine):
        value = np.broadcast_to(kind.shows(machine, scores, faults, now), (len(scores),))
        value = value + kind.error * generator.normal(size=len(value))
        side = 1 + (value > kind.band).astype(int) - (value < -kind.band).astype(int)
        shown.append((kind, value, side))
    return shown


def _offered(machine: Machine) -> tuple[_Kind, ...]:
    """Return the tests that this machine allows and that the readings have not made yet."""
    readings, curves = machine.readings, machine.scenario.curves
    gone = set()
    if machine.scenario.measured is not None:  # neither rotor speed nor a second setting can be calculated
        gone |= {"rotor speed", "two settings"} | ({"thrust"} if machine.scenario.measured.thrust_n is None else set())
    if curves is not None and len(curves.pitch_deg) < 2:
        gone |= {"angle", "two settings"}
    if readings.known("rotor_speed_rad_s"):
        gone.add("rotor speed")
    if readings.known("air_speed_m_s"):
        gone.add("anemometer")
    if readings.known("thrust_n"):
        gone.add("thrust")
    if readings.known("heading_deg") and np.ptp(readings.heading_deg[np.isfinite(readings.heading_deg)]) > 90:
        gone.add("both ways")
    if not (np.nan_to_num(readings.road_speed_m_s) > 0).any():
        gone |= {"both ways", "calm day", "anemometer"}
    if readings.known("wind_speed_m_s") or machine.scenario.air.wind_speed.value > 0:
        gone.add("calm day")  # a wind that is stated is no surprise: both ways show what is left
    return tuple(kind for kind in _KINDS if kind.name not in gone)


def _states(blamed: np.ndarray) -> np.ndarray:
    """Return which set of causes each draw blames, as a number."""
    return np.asarray(blamed @ (1 << np.arange(blamed.shape[1])))


def _entropy(states: np.ndarray) -> float:
    share = np.unique(states, return_counts=True)[1] / len(states)
    return float(-(share * np.log(share)).sum())


def _ranked(shown: _Shown, blamed: np.ndarray, here: np.ndarray, used: frozenset[str]) -> tuple[Test, ...]:
    states = _states(blamed)[here]
    before = _entropy(states)
    if before < 1e-6 or here.sum() < 8:
        return ()
    tests = []
    for kind, value, side in shown:
        if kind.name in used:
            continue
        after = _expected_entropy(value[here], kind.error, states)
        shrinks = max(1 - after / before, 0.0)
        if shrinks > 0.02:
            outcomes = tuple(
                _outcome(kind, k, side, blamed, here) for k in range(3) if (side[here] == k).mean() > _RARE
            )
            tests.append(Test(kind.name, kind.what, kind.minutes, kind.tools, shrinks, outcomes))
    return tuple(sorted(tests, key=lambda t: -t.per_minute))


def _expected_entropy(value: np.ndarray, error: float, states: np.ndarray) -> float:
    """Return the entropy that is left on average, every draw's outcome weighing all draws by the test's error."""
    kinds, which = np.unique(states, return_inverse=True)
    closeness = np.exp(-0.25 * ((value[:, None] - value) / error) ** 2)
    share = closeness @ np.eye(len(kinds))[which]
    share /= share.sum(axis=1, keepdims=True)
    return float(-np.mean((share * np.log(np.maximum(share, 1e-12))).sum(axis=1)))


def _outcome(kind: _Kind, side: int, sides: np.ndarray, blamed: np.ndarray, here: np.ndarray) -> SeenOutcome:
    mine = here & (sides == side)
    chance = blamed[mine].mean(axis=0)
    first = int(np.argmax(chance))
    nothing = float(np.mean(~blamed[mine].any(axis=1)))
    share = float(mine.sum() / here.sum())
    if nothing > chance[first]:
        return SeenOutcome(kind.words[side], share, None, nothing)
    return SeenOutcome(kind.words[side], share, CAUSES[first], float(chance[first]))


def _step(shown: _Shown, blamed: np.ndarray, here: np.ndarray, used: frozenset[str], depth: int) -> TreeStep | None:
    ranked = _ranked(shown, blamed, here, used)
    if not ranked or depth > _DEPTH:
        return None
    test = ranked[0]
    kind, _, side = next(entry for entry in shown if entry[0].name == test.name)
    branches = []
    for outcome in test.outcomes:
        mine = here & (side == kind.words.index(outcome.words))
        further = outcome.then < _CLEAR
        branches.append((outcome, _step(shown, blamed, mine, used | {test.name}, depth + 1) if further else None))
    return TreeStep(test, tuple(branches))
