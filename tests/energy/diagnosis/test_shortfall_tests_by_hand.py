"""Tests that part causes: what each shows, the doubt it takes away (Shannon's entropy), and the tree, by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from energy.diagnosis.shortfall_causes import CAUSES, Faults, Instruments, neutral
from energy.diagnosis.shortfall_readings import read_lines
from energy.diagnosis.shortfall_tests import (
    _KINDS,
    SeenOutcome,
    _entropy,
    _expected_entropy,
    _Kind,
    _offered,
    _outcome,
    _outcomes,
    _ranked,
    _states,
    _step,
    best_tests,
    decision_tree,
)

KINDS = {kind.name: kind for kind in _KINDS}
COUNT = 4


class Plain:
    """A machine whose readings go in straight lines with scores and faults, so that they can be followed by hand."""

    columns = 8

    def __init__(self, text: str = "200 W at 20 m/s", **scenario: object) -> None:
        self.readings = read_lines(text.split("|"))
        pitches = SimpleNamespace(pitch_deg=np.arange(3.0))
        known = {
            "measured": None,
            "curves": pitches,
            "air": SimpleNamespace(wind_speed=SimpleNamespace(value=0.0)),
            "rotor": SimpleNamespace(local_speed_factor=SimpleNamespace(value=0.8)),
        }
        self.scenario = SimpleNamespace(**(known | scenario))

    def predict(self, scores: np.ndarray, faults: Faults) -> Instruments:
        watts = 100 + 7 * scores[:, 4] + 3 * scores[:, 5] - 5 * faults.tail_wind_m_s
        watts = watts + 2 * faults.pitch_deg - 60 * faults.stalled + scores[:, 7]
        watts = np.stack([watts, 9999 * np.ones(len(watts))], axis=1)
        shown = {
            "electrical_power_w": watts * faults.meter_power[:, None],
            "rotor_speed_rad_s": watts / 10,
            "thrust_n": watts / 4,
            "air_speed_m_s": watts / 8,
            "free_air_speed_m_s": watts / 9,
        }
        return Instruments(shown, watts, np.ones(len(watts), dtype=bool))


@pytest.fixture
def drawn():
    draw = np.random.default_rng(1)
    scores = draw.normal(size=(COUNT, 8))
    faults = Faults(**{name: draw.uniform(0.2, 0.9, COUNT) for name in vars(neutral(1))})
    machine = Plain()
    return machine, scores, faults, machine.predict(scores, faults)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("element", lambda f: math.log(f["element"])),
        ("leads", lambda f: math.log(1 + f["lead"])),
        ("winding", lambda f: math.log(f["winding"])),
        ("volts", lambda f: math.log(f["voltage"])),
        ("belt", lambda f: math.log(1 - f["slip"])),
        ("angle", lambda f: f["pitch_deg"]),
        ("meter", lambda f: math.log(f["meter_power"])),
    ],
)
def test_what_is_measured_at_a_part_is_its_own_fault(drawn, name, expected):
    machine, scores, faults, now = drawn
    found = KINDS[name].shows(machine, scores, faults, now)
    for k in range(COUNT):
        assert found[k] == pytest.approx(expected({n: v[k] for n, v in vars(faults).items()}))


def test_what_is_measured_on_the_road_is_the_machine_as_changed(drawn):
    machine, scores, faults, now = drawn
    names = ("anemometer", "both ways", "calm day", "two settings", "rotor speed", "thrust", "spin up")
    before = scores.copy()
    found = {name: KINDS[name].shows(machine, scores, faults, now) for name in names}
    assert (scores == before).all()
    for k in range(COUNT):
        s, f, watts = scores[k], {n: v[k] for n, v in vars(faults).items()}, now.watts[k, 0]
        assert found["anemometer"][k] == pytest.approx(math.log(watts / 8 / (watts / 9) / 0.8))
        assert found["both ways"][k] == pytest.approx(
            math.log((watts - 14 * s[4] + 10 * f["tail_wind_m_s"] + 1) / (watts + 1))
        )
        calm = watts - 7 * s[4] - 3 * s[5] + 5 * f["tail_wind_m_s"]
        assert found["calm day"][k] == pytest.approx(math.log((calm + 1) / (watts + 1)))
        assert found["two settings"][k] == pytest.approx(math.log((watts + 8 + 1) / (watts + 1)))  # 4 degrees
        assert found["spin up"][k] == pytest.approx(math.log((watts + 60 * f["stalled"] + 1) / (watts + 1)))
        # Against the machine as stated: nothing wrong, all scores in the middle, 100 W.
        assert found["rotor speed"][k] == pytest.approx(math.log((watts / 10 + 0.5) / 10.5))
        assert found["thrust"][k] == pytest.approx(math.log((watts / 4 + 1) / 26))


def test_an_anemometer_in_no_air_divides_by_nothing(drawn):
    machine, scores, faults, now = drawn
    still = replace(now, shown=now.shown | {n: np.zeros((COUNT, 2)) for n in ("air_speed_m_s", "free_air_speed_m_s")})
    assert KINDS["anemometer"].shows(machine, scores, faults, still) == pytest.approx(np.log([1 / 0.8] * COUNT))


def test_a_test_shows_as_stated_where_nothing_is_wrong_and_not_where_much_is():
    """Of every part's own test: with nothing wrong nearly always "as stated"; with a fault as in CAUSES its side."""
    count = 4000
    machine, right = Plain(), neutral(count)
    scores = np.zeros((count, 8))
    faults = {
        "element": ("element", 1.4, 2),
        "leads": ("lead", 0.4, 2),
        "winding": ("winding", 2.0, 2),
        "volts": ("voltage", 0.7, 0),
        "belt": ("slip", 0.2, 0),
        "angle": ("pitch_deg", 5.0, 2),
        "meter": ("meter_power", 0.7, 0),
    }
    fine = {
        kind.name: (value, side)
        for kind, value, side in _outcomes(machine, scores, right, machine.predict(scores, right))
    }
    for name, (field, size, side) in faults.items():
        value, sides = fine[name]
        assert (sides == 1).mean() > 0.97, name
        kind = KINDS[name]
        assert np.std(value) == pytest.approx(kind.error, rel=0.1)
        bad = replace(right, **{field: np.full(count, size)})
        found = next(s for k, _, s in _outcomes(machine, scores, bad, machine.predict(scores, bad)) if k.name == name)
        assert (found == side).mean() > 0.97, name
        other = replace(right, **{field: np.full(count, 1 / size if kind.name != "angle" else -size)})
        if name not in ("leads", "belt"):
            found = next(
                s for k, _, s in _outcomes(machine, scores, other, machine.predict(scores, other)) if k.name == name
            )
            assert (found == 2 - side).mean() > 0.97, name


def test_each_draw_s_outcome_has_the_error_of_the_test_and_a_side():
    machine, away = Plain(), np.array([-0.9, -0.1, 0.0, 0.1, 0.9])
    faults = replace(neutral(5), element=np.exp(away))
    shown = _outcomes(machine, np.zeros((5, 8)), faults, machine.predict(np.zeros((5, 8)), faults))
    assert [kind.name for kind, _, _ in shown] == [kind.name for kind in _KINDS]
    noise = np.random.default_rng(7).normal(size=(len(shown), 5))
    assert shown[0][1] == pytest.approx(away + shown[0][0].error * noise[0])
    assert shown[1][1] == pytest.approx(shown[1][0].error * noise[1])  # leads: nothing wrong, its own error
    for kind, value, side in shown:
        assert [2 if v > kind.band else 0 if v < -kind.band else 1 for v in value] == side.tolist()


def names_of(machine) -> set[str]:
    return {kind.name for kind in _offered(machine)}


def test_tests_that_were_made_or_cannot_be_made_are_not_offered():
    every = set(KINDS)
    assert names_of(Plain()) == every
    assert names_of(Plain("200 W at 20 m/s, 300 rpm")) == every - {"rotor speed"}
    assert names_of(Plain("200 W at 20 m/s, air 14 m/s")) == every - {"anemometer"}
    assert names_of(Plain("200 W at 20 m/s, 90 N")) == every - {"thrust"}
    assert names_of(Plain("200 W at 20 m/s, out|200 W at 20 m/s, back")) == every - {"both ways"}
    assert names_of(Plain("200 W at 20 m/s, north|200 W at 20 m/s, east")) == every  # no more than a right angle
    assert names_of(Plain("200 W at 20 m/s, heading 0 deg|1 W at 2 m/s|200 W at 20 m/s, heading 91 deg")) == (
        every - {"both ways"}
    )
    assert names_of(Plain("200 W at 20 m/s, wind 2 m/s")) == every - {"calm day"}
    windy = SimpleNamespace(wind_speed=SimpleNamespace(value=0.5))
    assert names_of(Plain(air=windy)) == every - {"calm day"}
    standing = every - {"both ways", "calm day", "anemometer"}
    assert names_of(Plain("200 W at 0 m/s, free air 9 m/s")) == standing
    assert names_of(Plain("200 W and free air 9 m/s")) == standing
    one = SimpleNamespace(pitch_deg=np.zeros(1))
    assert names_of(Plain(curves=one)) == every - {"angle", "two settings"}
    assert names_of(Plain(curves=SimpleNamespace(pitch_deg=np.zeros(2)))) == every
    table = SimpleNamespace(thrust_n=None)
    by_watts = every - {"rotor speed", "two settings"}
    assert names_of(Plain(curves=None, measured=table)) == by_watts - {"thrust"}
    assert names_of(Plain(curves=None, measured=SimpleNamespace(thrust_n=1))) == by_watts


def blamed_of(*sets) -> np.ndarray:
    return np.array([[cause in each for cause in CAUSES] for each in sets])


def test_sets_of_causes_and_their_entropy():
    blamed = blamed_of(("pitch",), ("pitch", "stall"), (), ("stall",), ("pitch",), ("meter",))
    states = _states(blamed)
    assert len(set(states.tolist())) == 5
    assert states[0] == states[4]
    assert _entropy(states) == pytest.approx(-(2 / 6 * math.log(2 / 6) + 4 / 6 * math.log(1 / 6)))
    assert _entropy(np.zeros(4, dtype=int)) == 0.0


def test_the_doubt_that_a_reading_leaves():
    """Each draw's outcome is read with an error s: two draws d apart are confused by exp(-d²/4s²), the overlap of two
    normals of that error."""
    value, states = np.array([0.0, 0.05, 0.3, 0.32, 5.0]), np.array([1, 2, 2, 7, 7])
    for error in (0.05, 0.2):
        left = []
        for v in value:
            near = [math.exp(-((v - w) ** 2) / (4 * error**2)) for w in value]
            share = {s: sum(n for n, t in zip(near, states, strict=True) if t == s) / sum(near) for s in (1, 2, 7)}
            left.append(-sum(p * math.log(p) for p in share.values() if p > 0))
        assert _expected_entropy(value, error, states) == pytest.approx(sum(left) / 5, abs=1e-9)


def kind_of(name, *, minutes=10.0, error=0.1, words=("less", "same", "more")) -> _Kind:
    return _Kind(name, f"do {name}", minutes, f"tools of {name}", error, 0.25, words, lambda *_: np.zeros(1))


def parting():
    """Twenty draws: pitch in ten, the element in six, nothing in four; one test parts all, one only the element."""
    blamed = blamed_of(*[("pitch",)] * 10, *[("element",)] * 6, *[()] * 4)
    clear = np.r_[np.full(10, -1.0), np.full(6, 1.0), np.zeros(4)]
    some = np.r_[np.zeros(10), np.full(6, 1.0), np.zeros(4)]
    none = np.zeros(20)
    shown = [
        (kind_of("some", minutes=5.0), some, np.r_[[1] * 10, [2] * 6, [1] * 4]),
        (kind_of("none", minutes=1.0), none, np.ones(20, dtype=int)),
        (kind_of("clear", minutes=20.0), clear, np.r_[[0] * 10, [2] * 6, [1] * 4]),
    ]
    return shown, blamed


def test_tests_are_ranked_by_the_doubt_they_take_away_a_minute():
    shown, blamed = parting()
    here = np.ones(20, dtype=bool)
    found = _ranked(shown, blamed, here, frozenset())
    before = -sum(p * math.log(p) for p in (0.5, 0.3, 0.2))
    after = 0.7 * -(10 / 14 * math.log(10 / 14) + 4 / 14 * math.log(4 / 14))
    assert [test.name for test in found] == ["some", "clear"]
    assert found[0].shrinks_by == pytest.approx(1 - after / before)
    assert found[1].shrinks_by == pytest.approx(1.0)
    assert found[0].per_minute == pytest.approx(found[0].shrinks_by / 8)  # three minutes to get ready
    assert (found[0].what, found[0].minutes, found[0].tools) == ("do some", 5.0, "tools of some")
    assert found[0].outcomes == (
        SeenOutcome("same", 0.7, "pitch", pytest.approx(10 / 14)),
        SeenOutcome("more", 0.3, "element", 1.0),
    )
    assert [o.words for o in found[1].outcomes] == ["less", "same", "more"]
    assert found[1].outcomes[1] == SeenOutcome("same", 0.2, None, 1.0)  # nothing wrong
    assert [test.name for test in _ranked(shown, blamed, here, frozenset({"some"}))] == ["clear"]
    assert _ranked(shown, blamed, np.r_[[True] * 10, [False] * 10], frozenset()) == ()  # one cause only: no doubt
    few = np.r_[[False] * 9, [True] * 7, [False] * 4]
    assert _ranked(shown, blamed, few, frozenset()) == ()  # seven draws tell nothing
    eight = np.r_[[False] * 8, [True] * 8, [False] * 4]
    assert len(_ranked(shown, blamed, eight, frozenset())) == 2


def test_outcomes_that_hardly_ever_come_are_left_out():
    blamed = blamed_of(*[("pitch",)] * 50, *[("element",)] * 50)
    for rare, kept in ((4, 2), (5, 3)):  # one in twenty-five
        value = np.r_[np.full(50, -1.0), np.full(50, 1.0)]
        side = np.r_[[0] * 50, [2] * (50 - rare), [1] * rare]
        (test,) = _ranked([(kind_of("one"), value, side)], blamed, np.ones(100, dtype=bool), frozenset())
        assert len(test.outcomes) == kept
    # A test that takes next to nothing of the doubt away is none.
    slight = np.r_[np.zeros(50), np.full(50, 0.02)]
    assert (
        _ranked([(kind_of("one"), slight, np.ones(100, dtype=int))], blamed, np.ones(100, dtype=bool), frozenset())
        == ()
    )


def test_an_outcome_names_the_cause_that_leads_or_nothing():
    sides = np.array([0, 0, 0, 0, 1, 1])
    blamed = blamed_of(("stall",), ("stall", "pitch"), (), ("belt",), (), ("pitch",))
    here = np.array([True, True, True, True, True, False])
    kind = kind_of("one")
    assert _outcome(kind, 0, sides, blamed, here) == SeenOutcome("less", 0.8, "stall", 0.5)
    assert _outcome(kind, 1, sides, blamed, here) == SeenOutcome("same", pytest.approx(0.2), None, 1.0)
    even = _outcome(kind, 1, sides, blamed, np.ones(6, dtype=bool))
    assert even == SeenOutcome("same", pytest.approx(2 / 6), "pitch", 0.5)  # as likely as nothing


def test_the_tree_goes_on_where_no_cause_is_clear_and_uses_each_test_once():
    shown, blamed = parting()
    tree = _step(shown, blamed, np.ones(20, dtype=bool), frozenset(), 1)
    assert tree is not None
    assert tree.test.name == "some"
    (same, then), (more, end) = tree.branches
    assert (same.words, more.words) == ("same", "more")
    assert end is None  # the element for certain
    assert then is not None
    assert then.test.name == "clear"
    assert [(o.words, step) for o, step in then.branches] == [("less", None), ("same", None)]
    assert then.branches[0][0] == SeenOutcome("less", pytest.approx(10 / 14), "pitch", 1.0)
    assert _step(shown, blamed, np.ones(20, dtype=bool), frozenset(), 4) is None  # three tests deep at most
    assert _step(shown, blamed, np.ones(20, dtype=bool), frozenset(), 3) is not None
    assert _step(shown[:2], blamed, np.r_[[True] * 10, [False] * 6, [True] * 4], frozenset(), 1) is None


def test_a_tree_is_three_tests_deep():
    """Five causes and four tests, each of which parts one cause from the others: the fourth is not reached."""
    causes = ("pitch", "belt", "element", "stall", "generator")
    blamed = blamed_of(*[(cause,) for cause in causes for _ in range(20)])
    shown = []
    for k in range(4):
        own = np.arange(100) // 20 == k
        shown.append((kind_of(causes[k], minutes=10.0**k), own.astype(float), np.where(own, 2, 1)))
    step, done = _step(shown, blamed, np.ones(100, dtype=bool), frozenset(), 1), []
    while step is not None:
        done.append(step.test.name)
        (rest, step), (_, end) = step.branches
        assert (rest.words, end) == ("same", None)
    assert done == ["pitch", "belt", "element"]


@pytest.mark.parametrize(("clear", "further"), [(31, True), (33, False)])
def test_four_in_five_are_clear(clear, further):
    """Of forty draws of one outcome so many blame pitch, the rest the belt; a second test could part them."""
    blamed = blamed_of(*[("pitch",)] * clear, *[("belt",)] * (40 - clear), *[("element",)] * 10)
    first = np.r_[np.zeros(40), np.ones(10)]
    second = np.r_[np.full(clear, -1.0), np.full(40 - clear, 1.0), np.zeros(10)]
    shown = [
        (kind_of("first", minutes=1.0), first, np.r_[[1] * 40, [2] * 10]),
        (kind_of("second", minutes=60.0), second, np.r_[[0] * clear, [2] * (40 - clear), [1] * 10]),
    ]
    tree = _step(shown, blamed, np.ones(50, dtype=bool), frozenset(), 1)
    assert tree is not None
    assert tree.test.name == "first"
    assert (tree.branches[0][1] is not None) == further


def test_what_a_machine_of_two_faults_is_offered():
    count = 400
    machine, draw = Plain(), np.random.default_rng(3)
    element = np.where(np.arange(count) < 200, draw.uniform(1.5, 4.0, count), 1.0)
    pitch = np.where(np.arange(count) >= 200, draw.uniform(3.0, 15.0, count), 0.0)
    faults = replace(neutral(count), element=element, pitch_deg=pitch)
    scores = np.zeros((count, 8))
    blamed = blamed_of(*[("element",)] * 200, *[("pitch",)] * 200)
    now = machine.predict(scores, faults)
    tests, tree = best_tests(machine, scores, faults, now, blamed), decision_tree(machine, scores, faults, now, blamed)
    assert [t.name for t in tests[:2]] == ["element", "angle"]  # eight minutes and thirteen
    assert tests[0].shrinks_by > 0.95
    assert tree is not None
    assert tree.test == tests[0]
    assert {o.cause for o, _ in tree.branches} == {"element", "pitch"}
