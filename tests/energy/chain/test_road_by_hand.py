"""Predictions for the road, plans and comparisons of runs: every figure, option and threshold by hand."""

from __future__ import annotations

import dataclasses
import itertools
import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from energy.chain import answer as answer_chain
from energy.chain import prediction, road_plan, road_test
from energy.chain.answer import answered
from energy.chain.load import load
from energy.chain.prediction import Prediction, predicted_effect, scenario_effect, scenario_prediction, typed_effect
from energy.chain.road_plan import PlanAsked, RunSpread, chances
from energy.chain.road_test import ComparisonAsked
from vehicle.problems import InputError, Problem
from vehicle.quantity import Estimate
from vehicle.road_test.planning import HEAVIER, HEAVIER_UNSTEADY, chance_on_the_road, power_of_pairs

VAN = Path("van_water_tank") / "scenario.toml"

# Predictions


@pytest.mark.parametrize(
    ("text", "share", "error"),
    [
        ("4 %", 0.04, 0.0),
        ("-1.5 %", -0.015, 0.0),
        ("−1.5 percent", -0.015, 0.0),
        ("4 % +- 1 %", 0.04, 0.01),
        ("4 % +/- 1 %", 0.04, 0.01),
        ("4 % ± -2 %", 0.04, 0.02),
        ("199 %", 1.99, 0.0),
        ("-199 %", -1.99, 0.0),
    ],
)
def test_effects_as_typed(text: str, share: float, error: float) -> None:
    assert typed_effect(text, "--effect") == pytest.approx((share, error))


@pytest.mark.parametrize("text", ["4", "200 %", "-200 %", "much %", "4 % +- 1", ""])
def test_effects_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match="--effect"):
        typed_effect(text, "--effect")


def supply(source: float, torque: float, greatest: float) -> Any:
    state = SimpleNamespace(
        source_w=np.array(source), torque_n_m=np.array(torque), greatest_torque_n_m=np.array(greatest)
    )
    return SimpleNamespace(supply=state)


@pytest.mark.parametrize("trip", [None, object()])
def test_what_a_scenario_predicts_between_two_states(demos: Path, trip: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """90 kW without, 99 kW with: a tenth more; of 300 N·m at full load 20 % instead of 15 %: five points."""
    states = {
        "absent": supply(80e3, 30.0, 300.0),
        "stowed": supply(90e3, 45.0, 300.0),
        "working": supply(99e3, 60.0, 300.0),
    }
    asked: list[tuple[str, bool]] = []

    def fake(checked: Any, *, exact: bool, progress: Any) -> Any:
        asked.append((checked.trip.compared_with, exact))
        outcome = SimpleNamespace(change_w=Estimate(9e3, 7e3, 12.4e3, 0.9))
        return SimpleNamespace(answer=SimpleNamespace(states=states), outcome=outcome, trip=trip)

    monkeypatch.setattr(answer_chain, "answered", fake)
    monkeypatch.setattr("energy.chain.limits.broken_limits", lambda result: ("broken",))
    found = scenario_prediction(demos / VAN, (), "working", "stowed")
    assert asked[0] == ("stowed", False)
    assert found.share == pytest.approx(0.1)
    assert found.error == pytest.approx(2.7e3 / 90e3)
    assert found.broken == ("broken",)
    if trip is None:
        # Its own half-width (2.7 of 9 kW) and 12 % of torque for load, as squares.
        assert found.load_points == pytest.approx(5.0)
        assert found.load_error == pytest.approx(5 * math.hypot(0.3, 0.12))
    else:
        assert found.load_points is None
        assert found.load_error == 0.0
    carried = scenario_prediction(demos / VAN, (), "stowed", "absent")
    assert asked[1] == ("absent", True)
    assert carried.share == pytest.approx(0.125)
    assert carried.broken == ()
    assert scenario_effect(demos / VAN, (), "working", "stowed") == pytest.approx((0.1, 0.03))
    states["stowed"] = supply(0.0, 0.0, 300.0)
    with pytest.raises(InputError, match="no fuel is burnt with the turbine stowed"):
        scenario_prediction(demos / VAN, (), "working", "stowed")
    states["stowed"] = supply(99e3, 60.0, 300.0)
    same = scenario_prediction(demos / VAN, (), "working", "stowed")
    assert same.share == 0
    assert same.load_points in (None, 0.0)
    states["stowed"] = supply(90e3, 45.0, math.nan)
    unknown = scenario_prediction(demos / VAN, (), "working", "stowed")
    assert unknown.load_points is None
    assert unknown.share == pytest.approx(0.1)


def test_what_is_typed_goes_first(demos: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = Prediction(0.2, 0.05, 3.0, 1.0, ())
    monkeypatch.setattr(prediction, "scenario_prediction", lambda *_, **__: made)
    monkeypatch.setattr(answer_chain, "broken_as_stated", lambda checked: ("broken",))
    path = demos / VAN
    assert predicted_effect("4 % +- 1 %", path) == pytest.approx((0.04, 0.01))
    assert predicted_effect(None, path) == (0.2, 0.05)
    assert predicted_effect(None, None) is None
    assert prediction.prediction(None, None) is None
    assert prediction.prediction(None, path) is made
    typed = prediction.prediction("4 %", None)
    assert typed is not None
    assert (typed.share, typed.error, typed.load_points, typed.load_error, typed.broken) == (0.04, 0.0, None, 0.0, ())
    with_scenario = prediction.prediction("4 %", path)
    assert with_scenario is not None
    assert (with_scenario.share, with_scenario.broken) == (0.04, ("broken",))


# Plans


def spread(freedom: int | None = None) -> RunSpread:
    return RunSpread(0.03, "as given", freedom)


def needed(effect: float, power: float, freedom: int | None, few: bool) -> int:
    """The first number of pairs whose chance reaches the power, counted up one by one."""
    return next(n for n in range(2, 400) if chance_on_the_road(effect, 0.03, n, 0.95, freedom, few=few) >= power)


@pytest.mark.parametrize(("freedom", "few"), [(None, False), (7, True)])
def test_a_plan_by_hand(freedom: int | None, few: bool) -> None:
    asked = PlanAsked(power=0.7, few_changes=few, seed=3, run_length_m=12e3, speed_m_s=20.0, without_state="absent")
    plan = road_plan.road_plan((-0.045, 0.01), spread(freedom), asked)
    wanted = {power: needed(0.045, power, freedom, few) for power in (0.7, 0.8, 0.9)}
    assert plan.needed == wanted
    assert plan.pairs_planned == wanted[0.7] + wanted[0.7] % 2
    assert plan.pairs_asked is None
    assert (plan.effect, plan.error, plan.level, plan.power) == (-0.045, 0.01, 0.95, 0.7)
    assert len(plan.order) == 2 * plan.pairs_planned
    states = [run.state for run in plan.order]
    assert plan.changes == sum(one != other for one, other in itertools.pairwise(states))
    assert set(states) == {"working", "absent"}
    assert (plan.changes < plan.other_changes) == few
    assert plan.change_s == 2700.0
    assert plan.distance_m == pytest.approx(2 * plan.pairs_planned * 12e3)
    assert plan.driving_s == pytest.approx(2 * plan.pairs_planned * 12e3 / 20)
    assert plan.run_s == pytest.approx(600)
    assert sorted(plan.smallest) == sorted({4, 6, 8, 12, 16, 24, plan.pairs_planned})
    for pairs, smallest in plan.smallest.items():
        assert chance_on_the_road(smallest, 0.03, pairs, 0.95, freedom, few=few) == pytest.approx(0.8, abs=1e-6)
    assert plan.chance(0.02, 9) == pytest.approx(chance_on_the_road(0.02, 0.03, 9, 0.95, freedom, few=few))
    assert plan.chance(0.02, 9, few=not few) == pytest.approx(
        chance_on_the_road(0.02, 0.03, 9, 0.95, freedom, few=not few)
    )
    shown = plan.smallest_shown(8, 0.6)
    assert plan.chance(shown, 8) == pytest.approx(0.6, abs=1e-6)


def test_what_a_plan_is_asked_for() -> None:
    def plan(predicted: Any = (0.04, 0.0), **asked: Any) -> road_plan.RoadPlan:
        return road_plan.road_plan(predicted, spread(), PlanAsked(**asked))

    assert [plan(pairs=n).pairs_planned for n in (2, 3, 5, 6)] == [2, 4, 6, 6]
    assert plan(pairs=5).pairs_asked == 5
    assert plan(None, pairs=6).needed == {0.8: None, 0.9: None}
    assert (plan(None, pairs=6).effect, plan(None, pairs=6).error) == (None, 0.0)
    assert len(plan(pairs=300).order) == 400  # no more runs are written down than two hundred pairs
    assert plan().change_s == 300.0
    assert plan(change_s=77.0).change_s == 77.0
    assert plan(change_s=0.0).change_s == 0.0
    assert plan(run_length_m=9e3).run_s is None
    assert plan(run_length_m=9e3).driving_s is None
    assert plan(speed_m_s=9.0).distance_m is None
    assert plan(run_length_m=9e3, speed_m_s=0.0).driving_s is None
    for predicted, asked, said in (
        (None, {}, "no effect to plan for"),
        ((0.0, 0.01), {}, "0 %"),
        ((0.0, 0.01), {"pairs": 4}, "0 %"),
    ):
        with pytest.raises(InputError, match=said):
            plan(predicted, **asked)


def test_chances_over_pairs() -> None:
    plan = road_plan.road_plan((-0.03, 0.02), spread(), PlanAsked(pairs=6, power=0.7))
    found = chances(plan)
    assert found.pairs.tolist() == list(range(2, 13))
    assert found.chance is not None
    assert found.chance_low is not None
    assert found.chance_high is not None
    for k, pairs in enumerate(found.pairs.tolist()):
        for values, effect in ((found.chance, 0.03), (found.chance_low, 0.01), (found.chance_high, 0.05)):
            assert values[k] == pytest.approx(chance_on_the_road(effect, 0.03, pairs, 0.95))
        assert plan.chance(found.smallest_effect[k], pairs) == pytest.approx(0.7, abs=1e-6)
    wide = chances(road_plan.road_plan((0.01, 0.02), spread(), PlanAsked(pairs=2)))
    assert wide.pairs.tolist() == list(range(2, 9))
    assert wide.chance_low is not None
    assert wide.chance_low[0] == pytest.approx(power_of_pairs(0.0, 0.03 * HEAVIER, 2))
    none = chances(road_plan.road_plan(None, spread(), PlanAsked(pairs=80)))
    assert none.chance is none.chance_low is none.chance_high is None
    assert len(none.pairs) <= 61
    assert (none.pairs[0], none.pairs[-1]) == (2, 160)
    assert 80 in none.pairs


@pytest.mark.parametrize(
    ("text", "metres"), [("500 m", 500.0), ("500 km", 5e5), ("10 mi", 16093.44), ("499 m", None), ("501 km", None)]
)
def test_lengths_of_runs(text: str, metres: float | None) -> None:
    if metres is None:
        with pytest.raises(InputError, match="--length"):
            road_plan.typed_length(text, "--length")
    else:
        assert road_plan.typed_length(text, "--length") == pytest.approx(metres)


@pytest.mark.parametrize(
    ("text", "seconds"), [("0 s", 0.0), ("20 min", 1200.0), ("8 h", 28800.0), ("481 min", None), ("-1 s", None)]
)
def test_times_of_changes(text: str, seconds: float | None) -> None:
    if seconds is None:
        with pytest.raises(InputError, match="--change-time"):
            road_plan.typed_change(text)
    else:
        assert road_plan.typed_change(text) == pytest.approx(seconds)


def test_spreads_stated_and_assumed() -> None:
    assert road_plan.typed_spread("3 %") == RunSpread(0.03, "as given")
    for text in ("0 %", "-1 %"):
        with pytest.raises(InputError, match="above zero"):
            road_plan.typed_spread(text)
    assert road_plan.assumed_spread().share == 0.04
    assert road_plan.assumed_spread().heavier == 1.2


@pytest.mark.parametrize("steady", [True, False])
def test_the_spread_of_runs_at_hand(monkeypatch: pytest.MonkeyPatch, steady: bool) -> None:
    runs = (1, 2, 3)
    monkeypatch.setattr(road_plan, "windows_of_runs", lambda test, read, progress: SimpleNamespace(runs=runs))
    monkeypatch.setattr(road_plan, "at_steady_speed", lambda seen: steady)
    test: Any = SimpleNamespace(path=Path("runs.toml"))
    monkeypatch.setattr(road_plan, "spread_within_pairs", lambda seen: (0.025, 4))
    found = road_plan.spread_of_runs(test)
    assert found == RunSpread(0.025, "from the 3 runs of runs.toml (4 degrees of freedom)", 4, found.heavier)
    assert found.heavier == (HEAVIER if steady else HEAVIER_UNSTEADY)
    assert "of mine" in road_plan.spread_of_runs(test, "mine").words
    monkeypatch.setattr(road_plan, "spread_within_pairs", lambda seen: (0.0, 4))
    with pytest.raises(InputError, match="do not differ at all"):
        road_plan.spread_of_runs(test)


# Road tests


class Told:
    """What a comparison is asked for, and a result with one warning of its own."""

    def __init__(self) -> None:
        self.asked: list[tuple[Any, dict[str, Any]]] = []

    def __call__(self, runs: Any, **asked: Any) -> Any:
        self.asked.append((runs, asked))
        driven = [SimpleNamespace(means={"speed_m_s": speed}) for speed in (24.0, 26.0)]
        return SimpleNamespace(warnings=("own",), effect=Estimate(len(self.asked), 0.0, 0.0, 0.95), runs=driven)


def of_runs(monkeypatch: pytest.MonkeyPatch, **changes: Any) -> tuple[road_test.RoadTest, Told, list[float]]:
    source = changes.pop("source", "fuel rate")
    fuel = SimpleNamespace(
        source=source,
        absolute=changes.pop("absolute", True),
        firm=changes.pop("firm", True),
        error=SimpleNamespace(words="beyond the runs"),
    )
    states = changes.pop("states", ("stowed", "working"))
    whole = changes.pop("whole", None)
    runs = tuple(SimpleNamespace(state=state) for state in states)
    drives = SimpleNamespace(runs=runs, fuel=fuel, words=("by fuel rate",), whole=whole, warnings=("of the logs",))
    test: Any = SimpleNamespace(
        warnings=("of the list",),
        fuel_is_named=changes.pop("fuel_is_named", True),
        on_battery=False,
        engine=SimpleNamespace(fuel=SimpleNamespace(in_words="petrol", name="petrol")),
        road_load=changes.pop("road_load", None),
    )
    compared, shares = Told(), list[float]()

    def windows(test: Any, *, read: Any, progress: Any) -> Any:
        if progress is not None:
            progress(1.0)
        return drives

    monkeypatch.setattr(road_test, "windows_of_runs", windows)
    monkeypatch.setattr(road_test, "compare", compared)
    monkeypatch.setattr(road_test, "in_no_log", lambda test: ["in no log"])
    progress = shares.append if changes.pop("listening", False) else None
    return road_test.road_test(test, progress=progress, **changes), compared, shares


def test_a_comparison_of_runs_and_what_to_mind(monkeypatch: pytest.MonkeyPatch) -> None:
    found, compared, shares = of_runs(monkeypatch, listening=True)
    ((runs, asked),) = compared.asked
    assert len(runs) == 2
    assert (asked["with_state"], asked["without_state"], asked["level"]) == ("working", None, 0.95)
    assert (asked["predicted"], asked["predicted_error"]) == (None, 0.0)
    assert found.warnings == ("of the logs", "own", "of the list", "in no log")
    assert (found.fuel_words, found.beyond_words) == (("by fuel rate",), "beyond the runs")
    assert (found.predicted, found.whole) == (None, None)
    assert shares == [0.9]
    both, compared, _ = of_runs(monkeypatch, whole=("w",))
    assert [runs for runs, _ in compared.asked][1] == ("w",)
    assert both.whole is not None
    assert (both.answer.effect.estimate, both.whole.estimate) == (1, 2)


@pytest.mark.parametrize(
    ("states", "with_state", "without", "expected"),
    [
        (("stowed", "working"), "working", None, "stowed"),
        (("absent", "working"), "working", None, "absent"),
        (("stowed", "absent"), "stowed", None, "absent"),
        (("stowed", "working"), "working", "absent", "absent"),
    ],
)
def test_what_the_prediction_is_between(
    monkeypatch: pytest.MonkeyPatch, states: Any, with_state: str, without: str | None, expected: str
) -> None:
    asked_for: list[tuple[str, str]] = []

    def predict(one: str, other: str) -> Prediction:
        asked_for.append((one, other))
        return Prediction(0.04, 0.01, 3.0, 0.5)

    _, compared, _ = of_runs(
        monkeypatch, states=states, asked=ComparisonAsked(with_state, without, 0.9), predict=predict
    )
    assert asked_for == [(with_state, expected)]
    ((_, asked),) = compared.asked
    assert (asked["predicted"], asked["predicted_error"], asked["level"]) == (0.04, 0.01, 0.9)
    assert asked["about"].predicted_load is None  # fuel is read: a load of its own is not predicted


def test_what_is_known_of_the_fuel(monkeypatch: pytest.MonkeyPatch) -> None:
    def about(**changes: Any) -> Any:
        changes.setdefault("predict", lambda one, other: Prediction(0.04, 0.01, 3.0, 0.5))
        return of_runs(monkeypatch, **changes)[1].asked[0][1]["about"]

    load_only = about(source="calculated load", firm=False, absolute=False)
    assert (load_only.predicted_load, load_only.load_name) == ((3.0, 0.5), "calculated load")
    assert (load_only.firm, load_only.absolute) == (False, False)
    other = about(source="absolute load", firm=False)
    assert (other.predicted_load, other.load_name) == (None, "absolute load")
    firm = about(road_load=(100.0, 2.0, 0.5))
    assert (firm.load_name, firm.drag_n_s2_m2, firm.firm) == ("calculated load", 0.5, True)
    assert about(road_load=(100.0, 2.0, 0.0)).drag_n_s2_m2 is None
    assert about().drag_n_s2_m2 is None
    # 0.264 L/kWh of petrol: Commission Implementing Decision (EU) 2020/728, Annex.
    assert about().marginal_m3_j == pytest.approx(0.264e-3 / 3.6e6)
    nothing = about(source="calculated load", predict=lambda one, other: None)
    assert nothing.predicted_load is None
    typed = about(source="calculated load", predict=lambda one, other: Prediction(0.04, 0.01))
    assert typed.predicted_load is None


def test_warnings_of_a_fuel_that_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    def said(**changes: Any) -> str:
        return " | ".join(of_runs(monkeypatch, **changes)[0].warnings)

    assert "fuel is not named" not in said(fuel_is_named=False)  # a fuel rate is in litres
    assert "the fuel is not named, petrol is taken" in said(fuel_is_named=False, source="air flow")
    assert "fuel is not named" not in said(source="air flow")
    assert "not given" not in said()
    assert "displacement not given: percent is known, litres are not" in said(absolute=False)
    assert "peak torque not given: percent" in said(absolute=False, source="calculated load")


@pytest.mark.parametrize(
    ("planned", "warned"), [(25.0, False), (24.05, False), (24.0, True), (26.05, True), (26.0, False), (None, False)]
)
def test_a_prediction_for_another_speed(monkeypatch: pytest.MonkeyPatch, planned: float | None, warned: bool) -> None:
    """Driven at 25 m/s on average: 4 % off is too far."""
    predict = lambda one, other: Prediction(0.04, 0.01)  # noqa: E731
    found, _, _ = of_runs(monkeypatch, planned_m_s=planned, predict=predict)
    assert any("were driven at 90 km/h" in text for text in found.warnings) == warned
    unasked, _, _ = of_runs(monkeypatch, planned_m_s=planned)
    assert not any("driven at" in text for text in unasked.warnings)
    assert road_test.driven_m_s(found.answer) == pytest.approx(25.0)
    if planned is not None:
        assert road_test.at_other_speed(planned, found.answer) == warned


def test_full_load_that_is_asked_goes_before_the_lists(monkeypatch: pytest.MonkeyPatch, demos: Path) -> None:
    from vehicle.road_test.run_list import read_manifest

    test = read_manifest(demos / "road_test" / "runs.toml")
    seen: list[Any] = []

    def windows(test: Any, *, read: Any, progress: Any) -> Any:
        seen.append(test.full_load)
        raise InputError(Problem("runs.toml", "", "seen", "enough"))

    monkeypatch.setattr(road_test, "windows_of_runs", windows)
    full: Any = SimpleNamespace()
    for asked in (None, ComparisonAsked(full_load=full)):
        with pytest.raises(InputError):
            road_test.road_test(test, asked)
    assert seen == [test.full_load, full]


def test_the_answers_own_prediction(demos: Path) -> None:
    """The stowed van against the bare one: exact, and with no half-width of its own."""
    found = scenario_prediction(demos / VAN, (), "stowed", "absent")
    states = answered(load(demos / VAN), exact=True).answer.states
    base = float(states["absent"].supply.source_w)
    assert found.share == pytest.approx((float(states["stowed"].supply.source_w) - base) / base)
    assert found.error == 0
    assert dataclasses.replace(found).load_points is not None
