"""What follows from the weighed causes: misses and their errors, watts lost, who is to blame, what is said."""

from __future__ import annotations

import math
from dataclasses import replace

import faulty_machine as machines
import numpy as np
import pytest

from energy.chain.load import load
from energy.diagnosis import shortfall as short_of
from energy.diagnosis.importance import Weighed
from energy.diagnosis.shortfall import (
    CauseFound,
    Misses,
    Shortfall,
    _attributed,
    _causes,
    _gains,
    _limits_read,
    _offsets,
    _repaired,
    _resampled,
    _typical,
    _undecided,
    _usual_watts,
    _watts_read,
    shortfall,
)
from energy.diagnosis.shortfall_causes import (
    CAUSES,
    CHANNELS,
    FIELDS,
    Hypothesis,
    Instruments,
    Machine,
    Variant,
    faults_of,
    neutral,
    without,
)
from energy.diagnosis.shortfall_readings import read_lines
from energy.scenario.read import Scenario
from energy.uncertainty.draws import standard_scores
from vehicle.problems import InputError
from vehicle.quantity import Estimate, Uncertain


def exact(value: float) -> Uncertain:
    return Uncertain(value, value, value)


@pytest.fixture(scope="module")
def invented(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    return load(machines.write_scenario(tmp_path_factory.mktemp("machine")))


LINES = (
    "200 W at 17 m/s, 300 rpm, 40 V, 5 A",
    "210 W at 17 m/s, 310 rpm, 41 V, 5 A",
    "400 W at 25 m/s, 90 N, air 18 m/s, free air 24 m/s",
)
CHOSEN = {
    "power_accuracy": 0.0392,
    "thrust_accuracy": 0.098,
    "air_speed_calibration": 0.049,
    "air_speed_noise": 0.0588,
}


def with_measurement(scenario: Scenario) -> Scenario:
    return replace(
        scenario, measurement=scenario.measurement.model_copy(update={k: exact(v) for k, v in CHOSEN.items()})
    )


# Standard deviations of ln(what is shown) and powers of the air speed: own choices (common practice, no source), as
# DEVELOPERS.md and the comments beside them say. Watts, thrust and air come from [measurement], a 95 % half-width.
SHARED = {"electrical_power_w": 0.02, "thrust_n": 0.05, "air_speed_m_s": 0.025, "rotor_speed_rad_s": 0.015}
SHARED |= {"voltage_v": 0.02, "current_a": 0.025, "free_air_speed_m_s": 0.03}
ALONE = {"electrical_power_w": 0.03, "rotor_speed_rad_s": 0.015, "voltage_v": 0.015, "current_a": 0.02}
ALONE |= {"thrust_n": 0.05, "air_speed_m_s": 0.03, "free_air_speed_m_s": 0.03}
WITH_AIR = {"electrical_power_w": 2.5, "rotor_speed_rad_s": 1.0, "voltage_v": 1.2, "current_a": 1.2, "thrust_n": 2.0}
WITH_AIR |= {"air_speed_m_s": 1.0, "free_air_speed_m_s": 1.0}


@pytest.mark.parametrize(("scatter", "gust"), [(math.nan, 0.03), (0.05, 0.03), (0.15, 0.06), (0.9, 0.2)])
def test_errors_of_what_is_shown_and_how_they_go_together(invented: Scenario, scatter: float, gust: float):
    """Instruments and a part of the model's own error are shared by all readings of a channel; a gust moves what is
    read at one time together, the watts by 2.5 times as much as the air; the rest is of one reading."""
    machine = Machine(with_measurement(invented), read_lines(LINES))
    machine.readings.count[0] = 4
    misses = Misses(machine, scatter)
    assert misses.places == [
        ("electrical_power_w", 0),
        ("electrical_power_w", 1),
        ("electrical_power_w", 2),
        ("rotor_speed_rad_s", 0),
        ("rotor_speed_rad_s", 1),
        ("voltage_v", 0),
        ("voltage_v", 1),
        ("current_a", 0),
        ("current_a", 1),
        ("thrust_n", 2),
        ("air_speed_m_s", 2),
        ("free_air_speed_m_s", 2),
    ]
    covariance = misses.root @ misses.root.T
    for i, (c, g) in enumerate(misses.places):
        for j, (d, h) in enumerate(misses.places):
            value = 0.0
            if c == d:
                value += SHARED[c] ** 2 + (0.7 * 0.03) ** 2
            if g == h:
                value += WITH_AIR[c] * WITH_AIR[d] * (gust**2 / machine.readings.count[g] + 0.01**2)
            if i == j:
                value += ALONE[c] ** 2 / machine.readings.count[g] + (0.5 * 0.03) ** 2
            assert covariance[i, j] == pytest.approx(value, rel=1e-4), (c, d)
        assert misses.variance[i] == pytest.approx(covariance[i, i])


def test_misses_and_their_likelihood(invented: Scenario):
    """ln(shown/predicted) with a floor of 4 % of what is usual, whitened; one far miss counts less and less, and all
    together have a Student's t of eight degrees of freedom (statistics texts)."""
    machine = Machine(invented, read_lines(LINES))
    misses = Misses(machine, math.nan)
    usual = machine.predict(np.zeros((1, machine.columns)), neutral(1)).shown
    scores = np.random.default_rng(1).normal(size=(3, machine.columns))
    element = Variant("element", "element", 0.2, 5.0, 1.0)
    stall = Variant("stall", "stalled", 1.0, 1.0, 1.0)
    which = [Hypothesis((), 0.1), Hypothesis((element,), 0.1), Hypothesis((stall,), 0.1)]
    predicted = machine.predict(scores, faults_of(which, scores))
    predicted = replace(predicted, possible=np.array([True, True, False]))  # no slow speed to be stalled on
    machine.predict = lambda *_: predicted  # type: ignore[method-assign]
    found, white = misses.log_likelihood(which, scores)
    apart, squares = misses.of(predicted), misses.square(predicted)
    covariance = misses.root @ misses.root.T
    for n in range(3):
        expected = []
        for channel, g in misses.places:
            floor = 0.04 * usual[channel].max()
            read = getattr(machine.readings, channel)[g]
            expected.append(math.log(read + floor) - math.log(max(predicted.shown[channel][n, g], 0.0) + floor))
        assert apart[n] == pytest.approx(expected)
        assert squares[n] == pytest.approx(apart[n] @ np.linalg.solve(covariance, apart[n]))
        assert (white[n] ** 2).sum() == pytest.approx(squares[n])
        total = sum(20 * math.log(1 + w * w / 20) for w in white[n])
        likely = -0.5 * (8 + len(misses.places)) * math.log(1 + total / 8)
        assert found[n] == pytest.approx(likely if predicted.possible[n] else -math.inf)


def test_readings_that_cannot_be_predicted_are_asked_for(invented: Scenario):
    machine = Machine(invented, read_lines(["30 V at 20 m/s, air 9 m/s"]))
    with pytest.raises(
        InputError, match="no watts, and this rotor is known by its watts alone; accepted: watts at a road"
    ):
        Misses(machine, math.nan)
    assert Misses(Machine(invented, read_lines(["30 V at 20 m/s, 90 N"])), math.nan).places == [
        ("voltage_v", 0),
        ("thrust_n", 0),
    ]


def test_watts_are_those_read_or_volts_times_amperes():
    readings = read_lines(["200 W at 17 m/s, 40 V, 6 A", "30 V at 17 m/s, 4 A", "30 V at 17 m/s"])
    assert _watts_read(readings) == pytest.approx([200, 120, math.nan], nan_ok=True)


@pytest.mark.parametrize("weight", [[0.25, 0.5, 0.25], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.1, 0.2, 0.7 - 1e-9]])
def test_draws_are_picked_in_proportion(weight):
    counts = np.bincount(_resampled(np.array(weight)), minlength=3)
    assert counts.sum() == 512
    assert counts == pytest.approx(512 * np.array(weight), abs=1.0)


def test_the_typical_reading_is_the_lower_middle_one():
    expected = np.array([100.0, 100.0, 100.0, 0.0])
    assert _typical(np.array([50.0, 70.0, 90.0, math.nan]), expected) == 1
    assert _typical(np.array([50.0, 70.0, math.nan, math.nan]), expected) == 0
    assert _typical(np.array([90.0, 50.0, 70.0, 60.0]), np.full(4, 100.0)) == 3
    # shares of 1, a half and three quarters, of a machine that hardly turns
    assert _typical(np.array([0.5, 1.0, 3.0]), np.array([0.5, 2.0, 4.0])) == 2
    assert _typical(np.full(3, math.nan), np.array([10.0, 20.0, 30.0])) == 1


class Straight:
    """A machine whose watts go in straight lines with scores and faults; two readings, the second twice the first."""

    columns = 8

    def __init__(self) -> None:
        self.readings = read_lines(["60 W at 20 m/s", "120 W at 30 m/s"])

    def predict(self, scores, faults):
        watts = 100 + 5 * scores[:, 2] + 4 * scores[:, 3] + 3 * scores[:, 4] + 2 * scores[:, 5] + scores[:, 6]
        for k, (_, names) in enumerate(FIELDS.items()):
            for name in names:
                if not name.startswith("meter"):
                    watts = watts - (k + 2) * np.abs(getattr(faults, name) - getattr(neutral(1), name))
        watts = np.stack([watts, 2 * watts], axis=1)
        shown = dict.fromkeys(CHANNELS, watts) | {
            "electrical_power_w": watts * faults.meter_power[:, None],
            "thrust_n": watts / 4,
            "rotor_speed_rad_s": watts / 10,
        }
        return Instruments(shown, watts, np.ones(len(watts), dtype=bool))


def drawn(count=5):
    draw = np.random.default_rng(2)
    faults = replace(neutral(count), **{n: draw.uniform(0.3, 0.9, count) for n in vars(neutral(1))})
    return draw.normal(size=(count, 8)), faults


def test_watts_that_putting_a_cause_right_would_bring():
    """Each fault's own watts; of air, blades and wind also what the scenario's own range leaves below its middle."""
    machine = Straight()
    scores, faults = drawn()
    now = machine.predict(scores, faults)
    for at in (0, 1):
        found = _gains(machine, scores, faults, now, at)
        for k, cause in enumerate(CAUSES):
            for n in range(5):
                if cause == "meter":
                    expected = now.watts[n, at] * (1 - faults.meter_power[n])
                else:
                    wrong = [abs(getattr(faults, f)[n] - getattr(neutral(1), f)[0]) for f in FIELDS[cause]]
                    expected = (k + 2) * sum(wrong)
                    slope = {"local_air": (5, 2), "blades": (4, 3), "wind": (3, 4)}.get(cause)
                    expected -= slope[0] * scores[n, slope[1]] if slope else 0.0
                    expected *= 1 + at
                assert found[cause][n] == pytest.approx(expected), cause


ELEMENT = Variant("element", "element", 1.25, 10.0, 0.7)
BELT = Variant("belt", "slip", 0.1, 0.5, 1.0, by_ratio=False)
NOTHING, ONE, TWO = Hypothesis((), 0.1), Hypothesis((ELEMENT,), 0.5), Hypothesis((ELEMENT, BELT), 0.4)


def test_each_draw_blames_its_faults_or_its_dearest_cause_where_it_is_short():
    gains = {cause: np.array([1.0, 1.0, 1.0, 1.0]) for cause in CAUSES}
    gains["wind"] = np.array([1.0, 5.0, 5.0, 5.0])
    watts = np.array([10.0, 89.9, 90.1, 50.0])  # a tenth below what is expected is no shortfall yet
    blamed, nothing = _attributed([ONE, NOTHING, NOTHING, TWO], gains, 100.0, watts)
    names = [{c for c, b in zip(CAUSES, row, strict=True) if b} for row in blamed]
    assert names == [{"element"}, {"wind"}, set(), {"element", "belt"}]
    assert nothing == 0.25


def cause_of(found, name) -> CauseFound:
    return next(c for c in found if c.cause == name)


def test_probabilities_watts_and_what_a_cause_leaves(invented: Scenario):
    machine = Machine(invented, read_lines(LINES[:2]))
    misses = Misses(machine, math.nan)
    known = (NOTHING, ONE, TWO)
    weighed = Weighed(
        np.array([0, 0, 1, 1, 2]), np.zeros((5, 1)), np.array([0.1, 0.1, 0.3, 0.2, 0.3]), np.zeros(3), np.ones(3)
    )
    which = [NOTHING, NOTHING, ONE, ONE, ONE, TWO, TWO, TWO, TWO]
    count = len(which)
    draw = np.random.default_rng(3)
    gains = {cause: draw.uniform(1, 9, count) for cause in CAUSES}
    blamed = np.zeros((count, len(CAUSES)), dtype=bool)
    wind, element, belt = (CAUSES.index(c) for c in ("wind", "element", "belt"))
    blamed[1, wind] = True
    blamed[2:, element] = True
    blamed[5:, belt] = True
    scores = draw.normal(size=(count, machine.columns))
    now = machine.predict(scores, neutral(count))
    found = _causes(misses, known, weighed, (which, blamed, gains), (now, 1500.0, 1))
    # The two draws without a fault: one blames the wind, so half of the 0.2 that nothing holds.
    expected = {"element": 0.8, "belt": 0.3, "wind": 0.1}
    assert {c.cause: pytest.approx(c.probability) for c in found} == {c: expected.get(c, 0.0) for c in CAUSES}
    assert [c.probability for c in found] == sorted((c.probability for c in found), reverse=True)
    lost = 1500.0 - float(np.median(now.watts[:, 1]))
    apart = misses.of(now)
    channels = ["electrical_power_w"] * 2 + ["rotor_speed_rad_s"] * 2 + ["voltage_v"] * 2 + ["current_a"] * 2
    for name, mine, alone, paired in (
        ("element", range(2, 9), range(2, 5), False),
        ("belt", range(5, 9), range(5, 9), True),  # never alone: with another
        ("wind", [1], [1], False),
    ):
        cause = cause_of(found, name)
        watts = sum(gains[name][k] for k in mine) / len(mine)
        assert cause.watts_lost == pytest.approx(watts)
        assert cause.explained == pytest.approx(watts / lost)
        assert cause.with_another == paired
        assert set(cause.leaves) == set(channels)
        for channel in set(channels):
            columns = [k for k, c in enumerate(channels) if c == channel]
            assert cause.leaves[channel] == pytest.approx(math.exp(np.median(apart[np.ix_(list(alone), columns)])))
            assert cause.error[channel] == pytest.approx(2 * math.sqrt(np.median(misses.variance[columns])))
    nobody = cause_of(found, "stall")
    assert (nobody.watts_lost, nobody.leaves, nobody.error, nobody.with_another) == (0.0, {}, {}, False)
    # No draw without a fault: nothing to share out.
    sure = _causes(
        misses,
        known,
        weighed,
        (which[2:], blamed[2:], {c: g[2:] for c, g in gains.items()}),
        (replace(now, watts=now.watts[2:], shown={c: v[2:] for c, v in now.shown.items()}), 1500.0, 1),
    )
    assert cause_of(sure, "wind").probability == 0.0


@pytest.mark.parametrize(("alone", "paired"), [(1, False), (0, True)])
def test_a_cause_is_one_of_two_where_it_is_alone_in_less_than_a_quarter(invented: Scenario, alone: int, paired: bool):
    machine = Machine(invented, read_lines(LINES[:1]))
    misses = Misses(machine, math.nan)
    which = [ONE] * alone + [TWO] * (4 - alone)
    blamed = np.zeros((4, len(CAUSES)), dtype=bool)
    blamed[:, CAUSES.index("element")] = True
    blamed[alone:, CAUSES.index("belt")] = True
    weighed = Weighed(np.array([1, 2]), np.zeros((2, 1)), np.array([0.5, 0.5]), np.zeros(3), np.ones(3))
    now = machine.predict(np.zeros((4, machine.columns)), neutral(4))
    gains = {c: np.ones(4) for c in CAUSES}
    found = _causes(misses, (NOTHING, ONE, TWO), weighed, (which, blamed, gains), (now, 1e4, 0))
    assert cause_of(found, "element").with_another == paired
    assert cause_of(found, "element").probability == 1.0


def named(*probabilities: float) -> tuple[CauseFound, ...]:
    return tuple(CauseFound(c, p, 0.0, 0.0, {}, {}) for c, p in zip(CAUSES, probabilities, strict=False))


@pytest.mark.parametrize(
    ("probabilities", "nothing", "rough", "left"),
    [
        ((0.97, 0.02, 0.01), 0.0, True, 2),  # few draws: what has a fiftieth of the first stays
        ((0.97, 0.019, 0.0), 0.0, True, 0),
        ((0.97, 0.02, 0.01), 0.51, True, 0),
        ((0.97, 0.02, 0.01), 0.5, True, 2),
        ((0.7, 0.3, 0.0), 0.0, False, 0),  # sure, and twice as likely as the next
        ((0.69, 0.31, 0.0), 0.0, False, 2),
        ((0.7, 0.36, 0.0), 0.0, False, 2),
        ((0.8, 0.4, 0.0), 0.5, False, 0),
        ((0.8, 0.41, 0.0), 0.5, False, 2),
        ((0.8, 0.41, 0.0), 0.51, False, 0),  # most likely nothing
        ((0.75, 0.7, 0.0), 0.0, False, 0),  # both are there
        ((0.6, 0.39, 0.01), 0.0, False, 2),  # 0.99 of it
        ((0.6, 0.34, 0.06), 0.0, False, 3),
        ((0.99, 0.005, 0.005), 0.0, True, 0),
    ],
)
def test_who_is_left(probabilities, nothing, rough, left):
    causes = named(*probabilities)
    assert _undecided(causes, nothing, rough) == CAUSES[:left]


def test_with_a_sure_cause_the_others_may_be_undecided():
    causes = named(1.0, 0.5, 0.3, 0.2)
    assert _undecided(causes, 0.5, False) == CAUSES[1:4]
    assert _undecided(named(1.0, 0.5, 0.3, 0.149), 0.0, False) == ()  # 0.949 of the others: no second for sure
    assert _undecided(named(1.0, 0.5, 0.3, 0.15), 0.0, False) == CAUSES[1:4]
    assert _undecided(named(0.69, 0.5, 0.3, 0.2), 0.0, False) == CAUSES[:4]
    assert _undecided(causes, 0.51, False) == ()


PITCH = Hypothesis((Variant("pitch", "pitch_deg", 2.5, 18.0, 0.4, by_ratio=False),), 0.3)
OTHER = Hypothesis((Variant("pitch", "pitch_deg", -18.0, -2.5, 0.4, by_ratio=False),), 0.3)
SLIPS = Hypothesis((Variant("pitch", "pitch_slip_deg", -15.0, 15.0, 0.1, by_ratio=False),), 0.3)


@pytest.mark.parametrize("towards", ["feather", "flat"])
def test_what_the_dial_is_off_by_if_pitch_is_the_cause(invented: Scenario, towards: str):
    sign = 1 if towards == "feather" else -1
    convention = replace(invented.pitch_convention, positive_towards=towards)
    scores = np.array([[-1.0, 0], [0.0, 0], [1.0, 0], [0.5, 0], [-0.5, 0], [0.3, 0]])
    which = np.array([0, 0, 0, 1, 1, 2])
    weight = np.array([0.1, 0.2, 0.1, 0.3, 0.1, 0.2])
    weighed = Weighed(which, scores, weight, np.zeros(3), np.ones(3))
    found = _offsets(replace(invented, pitch_convention=convention), (PITCH, OTHER, SLIPS), weighed)
    assert [share for share, _ in found] == pytest.approx([0.5, 0.5])
    for h, each in ((0, PITCH), (1, OTHER)):
        mine = which == h
        values = sign * faults_of([each] * int(mine.sum()), scores[mine]).pitch_deg
        order = np.argsort(values)
        levels = np.cumsum(weight[mine][order]) / weight[mine].sum()
        ends = [float(np.interp(level, levels, values[order])) for level in (0.5, 0.025, 0.975)]
        assert any((e.estimate, e.low, e.high, e.level) == pytest.approx((*ends, 0.95)) for _, e in found), (h, found)
    lean = Weighed(which, scores, np.array([0.1, 0.1, 0.1, 0.4, 0.2, 0.1]), np.zeros(3), np.ones(3))
    shares = _offsets(invented, (PITCH, OTHER, SLIPS), lean)
    assert [s for s, _ in shares] == pytest.approx([6 / 9, 3 / 9])
    assert shares[0][1].estimate < 0 < shares[1][1].estimate
    none = replace(weighed, weight=np.array([0, 0, 0, 0, 0, 1.0]))
    assert _offsets(invented, (PITCH, OTHER, SLIPS), none) == ()
    assert _offsets(invented, (NOTHING, ONE, SLIPS), weighed) == ()


def test_what_a_repaired_machine_does(invented: Scenario):
    machine, (scores, faults) = Straight(), drawn(9)
    blamed = np.zeros((9, len(CAUSES)), dtype=bool)
    mine = np.array([0, 2, 3, 5, 8])
    blamed[mine, CAUSES.index("belt")] = True
    fixed = machine.predict(scores, without(faults, "belt")).watts[mine]
    thrust, speed = float(np.median(2 * fixed[:, 0] / 4)), float(np.median(2 * fixed[:, 0] / 10))
    low = invented.rotor.model_copy(
        update={"highest_rotor_speed": exact(speed * 0.9), "highest_thrust": exact(thrust * 0.8)}
    )
    rated = invented.heater.model_copy(update={"rated_power": exact(float(np.median(fixed[:, 1])) * 0.95)})
    scenario = replace(invented, rotor=low, heater=rated)
    found = _repaired(scenario, machine, (scores, faults), blamed, "belt", 0)
    assert found is not None
    assert found.thrust_n == pytest.approx(thrust)
    assert found.rotor_speed_rad_s == pytest.approx(speed)
    assert found.watts.level == 0.90
    assert found.watts.estimate == pytest.approx(np.median(fixed[:, 0]))
    assert found.watts.ends == pytest.approx(np.quantile(fixed[:, 0], [0.05, 0.95]))
    assert [one.key for one in found.broken] == [
        "rotor.highest_thrust",
        "rotor.highest_rotor_speed",
        "heater.rated_power",
    ]
    assert [one.value for one in found.broken] == pytest.approx([thrust, speed, float(np.median(fixed[:, 1]))])
    assert _repaired(scenario, machine, (scores, faults), blamed, "stall", 0) is None


def test_limits_that_the_readings_break(invented: Scenario):
    low = invented.rotor.model_copy(update={"highest_rotor_speed": exact(30.0), "highest_thrust": exact(80.0)})
    rated = invented.heater.model_copy(update={"rated_power": exact(240.0)})
    scenario = replace(invented, rotor=low, heater=rated)
    readings = read_lines(["50 V at 17 m/s, 5 A, 31 rad/s", "200 W at 17 m/s, 90 N", "100 W at 17 m/s"])
    found = {one.key: one.value for one in _limits_read(scenario, readings)}
    assert found == {
        "rotor.highest_rotor_speed": pytest.approx(31.0),
        "rotor.highest_thrust": pytest.approx(90.0),
        "heater.rated_power": pytest.approx(250.0),
    }
    assert _limits_read(scenario, read_lines(["50 V at 17 m/s"])) == ()


def test_what_the_scenario_s_own_ranges_let_expect(invented: Scenario):
    machine = Machine(invented, read_lines(LINES[:1]))
    scores = standard_scores(256, machine.columns)
    assert _usual_watts(machine) == pytest.approx(machine.predict(scores, neutral(256)).watts)


def of(watts, **more) -> Shortfall:
    expected = Estimate(100.0, 70.0, 130.0, 0.9)
    readings = read_lines(["90 W at 17 m/s"])
    return Shortfall(readings, watts, expected, 0.1, (), (), (), None, (), None, True, 0, **more)


def test_short_too_many_or_rough():
    assert of(89.9).short
    assert not of(90.1).short
    assert of(None).short
    assert not of(None).too_many
    assert of(143.1).too_many
    assert not of(142.9).too_many
    assert of(50.0, effective=9.9).rough
    assert not of(50.0, effective=10.0).rough
    assert not of(50.0).rough


class PlannedError(Exception):
    """Stops an answer where its draws begin."""


def test_every_hypothesis_is_drawn_from_and_what_shares_a_part_is_known(
    invented: Scenario, monkeypatch: pytest.MonkeyPatch
):
    plans = []

    def noted(likelihood, prior, columns, plan):
        plans.append((prior, columns, plan))
        raise PlannedError

    monkeypatch.setattr(short_of, "weigh", noted)
    for count in (4, 5):
        readings = read_lines([f"{100 + 20 * k} W at {10 * 1.1**k:.2f} m/s" for k in range(count)])
        with pytest.raises(PlannedError):
            shortfall(invented, readings)
    for (prior, columns, plan), alone, both in zip(plans, (512, 128), (256, 64), strict=True):  # fewer of many readings
        assert sum(prior) == pytest.approx(1.0)
        assert columns == Machine(invented, readings).columns
        assert len(plan.first) == len(plan.cut) == len(plan.parts) == len(prior)
        assert plan.parts[0] == ()
        assert len(set(plan.parts)) == len(plan.parts)
        for parts, cut, first in zip(plan.parts, plan.cut, plan.first, strict=True):
            assert cut == min(len(parts), 1)
            assert first == (both if len(parts) == 2 else alone)
        singles = {p[0] for p in plan.parts if len(p) == 1}
        assert all(set(p) <= singles for p in plan.parts)


@pytest.fixture
def few_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    real = short_of.weigh

    def quick(likelihood, prior, columns, plan):
        plan = replace(plan, first=np.minimum(plan.first, 32), lines=1, kept=3, later=((2, 128),), rounds=0)
        return real(likelihood, prior, columns, plan)

    monkeypatch.setattr(short_of, "weigh", quick)
    monkeypatch.setattr(short_of, "_DRAWS", 64)


@pytest.mark.usefixtures("few_draws")
def test_the_whole_answer_is_put_together_of_its_parts(invented: Scenario):
    """One reading of few watts with an element of twice the ohms, by Ohm's law, and what is told on the way."""
    told: list[float] = []
    found = shortfall(invented, read_lines(["150 W at 20 m/s, 60 V, 2.5 A"]), told.append)
    assert found.causes[0].cause == "element"
    assert found.undecided_between == _undecided(found.causes, found.nothing, found.rough)
    assert found.fits
    assert (found.watts, found.at, found.dangers) == (150.0, 0, ())
    assert found.repaired is not None
    assert found.repaired.watts.level == 0.9
    machine = Machine(invented, found.readings)
    usual = machine.predict(standard_scores(256, machine.columns), neutral(256)).watts[:, 0]
    assert found.expected.estimate == pytest.approx(np.median(usual))
    assert found.expected.ends == pytest.approx(np.quantile(usual, [0.05, 0.95]))
    assert told[0] == pytest.approx(0.12)
    assert told == sorted(told)
    assert max(told[:-1]) <= 0.95
    assert told[-1] == 1.0
    assert not shortfall(invented, read_lines(["3000 W at 20 m/s, 20 V, 90 A, 2000 rpm"])).fits
