"""The effect of a state on fuel: false alarms, bias, coverage, refusals, words, confounding."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import hadamard
from scipy.optimize import nnls
from tests_support import of_study

from vehicle.logs.fuel_flow import LITRES_PER_HOUR, LoggedEngine, fuel_flow
from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.problems import InputError
from vehicle.quantity import Estimate
from vehicle.road_test.comparison import compare, effect_alone, half_pairs, spread_within_pairs
from vehicle.road_test.planning import HEAVIER_UNSTEADY, chance_on_the_road
from vehicle.road_test.rule import at_steady_speed
from vehicle.road_test.run_list import Run, read_manifest
from vehicle.road_test.sensitivity import learnt_wind
from vehicle.road_test.slopes import adjusted_means, inside_slopes, signed_least_squares
from vehicle.road_test.sources import common_source
from vehicle.road_test.windows import COVARIATES, RunWindows, runs_of_states, windows_of

LOGS = Path(__file__).parents[2] / "data" / "obd_logs"
CAR = LoggedEngine(1.496e-3)


def pieces(seconds: float) -> list[tuple[Log, object]]:
    """Return the real drives cut into pieces that serve as runs."""
    out = []
    for name in ("drive1", "live1"):
        log = read_log(LOGS / f"{name}.csv")
        time_s = log.table["time_s"].to_numpy()
        for number in range(int(time_s[-1] // seconds)):
            inside = (time_s >= number * seconds) & (time_s < (number + 1) * seconds)
            table = log.table[inside].reset_index(drop=True).copy()
            table["time_s"] -= table["time_s"].iloc[0]
            piece = replace(log, table=table, name=f"{name} {number}")
            out.append((piece, fuel_flow(piece, CAR)))
    return out


def prepared(seconds: float, added=None) -> list[dict[str, RunWindows]]:
    """Return every usable piece in both states; `added(log, flow)` is the fuel flow of a working turbine."""
    out = []
    for log, flow in pieces(seconds):
        states = {}
        for state in ("working", "stowed"):
            now = replace(flow, flow_m3_s=added(log, flow.flow_m3_s)) if added and state == "working" else flow
            states[state] = windows_of(log, now, Run(Path(log.name), state))
        if states["stowed"].weight_s.size >= 3 and states["stowed"].mean_fuel_m3_s > 0:
            out.append(states)
    return out


@cache
def prepared_once(raised: bool) -> list[dict[str, RunWindows]]:
    """Return the pieces of 90 s, in the working state with 3 % more fuel where it is raised."""
    return prepared(90, (lambda _log, flow: 1.03 * flow) if raised else None)


def splits(parts, *, in_pairs: bool, count: int = 200):
    """Yield random assignments of the states to the pieces."""
    draw = np.random.default_rng(0)
    parts = parts[: len(parts) // 2 * 2]
    if in_pairs:
        parts = [
            {state: replace(run, pair=str(place // 2)) for state, run in part.items()}
            for place, part in enumerate(parts)
        ]
    for _ in range(count):
        if in_pairs:
            first = draw.random(len(parts) // 2) < 0.5
            states = np.column_stack([first, ~first]).ravel()
        else:
            states = draw.permutation(np.arange(len(parts)) % 2 == 0)
        yield [part["working" if state else "stowed"] for part, state in zip(parts, states.tolist(), strict=True)]


@cache
def effects_of_splits(*, raised: bool, in_pairs: bool) -> list[Estimate]:
    return [effect_alone(runs) for runs in splits(prepared_once(raised), in_pairs=in_pairs)]


@pytest.mark.parametrize("in_pairs", [True, False])
def test_random_splits_of_real_drives_show_few_false_effects(in_pairs):
    effects = effects_of_splits(raised=False, in_pairs=in_pairs)
    false = np.mean([effect.low > 0 or effect.high < 0 for effect in effects])
    assert false <= 0.07
    assert abs(np.mean([effect.estimate for effect in effects])) < 0.006
    whole = [compare(runs) for runs in splits(prepared_once(False), in_pairs=in_pairs, count=120)]
    assert np.mean([comparison.randomisation_p <= 0.05 for comparison in whole]) <= 0.07
    for comparison, effect in zip(whole, effects[:120], strict=True):
        assert comparison.effect == effect
        assert (comparison.conclusion in ("costs", "saves")) == (effect.low > 0 or effect.high < 0)


@pytest.mark.parametrize("in_pairs", [True, False])
def test_fuel_raised_by_three_percent_is_found_without_bias(in_pairs):
    """Found in the same orders with and without, so that the scatter of the drives cancels and 0.06 points show."""
    raised, plain = (effects_of_splits(raised=more, in_pairs=in_pairs) for more in (True, False))
    more = np.array([(1 + a.estimate) / (1 + b.estimate) - 1 for a, b in zip(raised, plain, strict=True)])
    covered = np.mean([effect.low <= 0.03 <= effect.high for effect in raised])
    assert more.mean() == pytest.approx(0.03, abs=0.0006)
    assert 0.93 <= covered <= 0.97


@given(st.integers(0, 500), st.floats(0.5, 2.0))
def test_an_effect_that_scales_the_fuel_changes_no_slope(seed: int, factor: float) -> None:
    """Which slopes are kept, and what is taken out by them, is the same however large the effect is."""
    draw = np.random.default_rng(seed)
    runs = []
    for number in range(4):
        varied = {"speed": 25 + draw.normal(0, 1, 24), "warm_up": 360 + draw.normal(0, 2, 24)}
        fuel = 6 + number + 0.3 * (varied["speed"] - 25) - 0.04 * (varied["warm_up"] - 360) + draw.normal(0, 0.5, 24)
        state = ("working", "stowed", "stowed", "working")[number]
        runs.append(replace(_run_of(str(number), fuel, pair=str(number // 2), **varied), state=state))
    scaled = [replace(run, fuel_m3_s=run.fuel_m3_s * (factor if run.state == "working" else 1.0)) for run in runs]
    before, after = inside_slopes(runs), inside_slopes(scaled)
    assert after.names == before.names
    changed = adjusted_means(scaled, after)[1] / adjusted_means(runs, before)[1]
    assert changed == pytest.approx(np.where([run.state == "working" for run in runs], factor, 1.0))


def test_no_more_power_is_promised_than_real_drives_reach() -> None:
    """Ten pairs of town driving, drawn from the real drives: the chance that their own spread promises, and the share
    of the draws that show an effect."""
    parts = prepared_once(False)
    draw = np.random.default_rng(3)
    count = len(parts) // 2
    spread, freedom = spread_within_pairs(
        [replace(parts[k]["working" if k % 2 else "stowed"], pair=str(k // 2)) for k in range(2 * count)]
    )
    found = []
    for _ in range(120):
        runs = []
        for k, first in zip(draw.permutation(count)[:10].tolist(), draw.random(10) < 0.5, strict=True):
            for part, state in zip(parts[2 * k : 2 * k + 2], ("working", "stowed")[:: 1 if first else -1], strict=True):
                runs.append(replace(part[state], pair=str(k)))
        effect = effect_alone(runs)
        found.append((effect.estimate, effect.high - effect.estimate))
    estimate, half = np.array(found).T
    assert freedom == count - 1
    assert not at_steady_speed(runs)
    for effect in (0.10, 0.12, 0.15):  # an effect that scales the fuel scales estimate and interval
        reached = np.mean(np.abs((1 + estimate) * (1 + effect) - 1) > half * (1 + effect / 2))
        promised = chance_on_the_road(effect, spread, 10, freedom=freedom, heavier=HEAVIER_UNSTEADY)
        assert reached - 0.20 < promised < reached + 0.06


def test_a_physical_drag_is_found_without_bias():
    def dragged(log, flow):
        # thrust of 0.05 v² newtons, paid at 0.264 L/kWh (Commission Implementing Decision (EU) 2020/728)
        speed = log.table["speed_m_s"].to_numpy()
        return flow + np.where(flow > 0, 0.05 * speed**3, 0.0) * 0.264e-3 / 3.6e6

    parts, plain = prepared(90, dragged), prepared_once(False)
    truth = np.mean(
        [a["working"].mean_fuel_m3_s - b["stowed"].mean_fuel_m3_s for a, b in zip(parts, plain, strict=True)]
    )
    found = [compare(runs) for runs in splits(parts, in_pairs=True, count=120)]
    estimates = np.array([comparison.effect_m3_s.estimate for comparison in found])
    covered = np.mean([comparison.effect_m3_s.low <= truth <= comparison.effect_m3_s.high for comparison in found])
    assert truth / LITRES_PER_HOUR > 0.005
    assert abs(estimates.mean() - truth) < 3 * estimates.std() / np.sqrt(len(found))
    assert 0.93 <= covered <= 0.975


# --- a test of our own, simulated: 16 runs out and back over hills in wind --------------------------------------------


def simulated(
    draw, state: str, pair: str, direction: str, effect: float, *, day: float = 0.0, speed: float = 90.0, **more
):
    """Return one run of 10 minutes as windows would see it, from a road load and a marginal fuel price."""
    count = 60
    wind = more.pop("wind", 1.5) * (1 if direction == "out" else -1) + draw.normal(0, 0.3)
    v = (speed + draw.normal(0, 1.0) + draw.normal(0, 3, count)) / 3.6
    a = draw.normal(0, 0.05, count)
    grade = np.tile([0.01, 0.0, -0.01], count // 3) * (1 if direction == "out" else -1)
    force = 160 + 0.45 * (v + wind) ** 2 + 1400 * (9.81 * grade + a)
    fuel = np.maximum(force * v * 0.264e-3 / 3.6e6 + 1.1 * LITRES_PER_HOUR, 0.0)
    fuel = (
        fuel
        * (1 + day + draw.normal(0, 0.012))
        * (1 + effect * (state == "working"))
        * (1 + draw.normal(0, 0.03, count))
    )
    covariates = np.column_stack([v, a * v, 9.81 * grade * v, v * v**2, np.full(count, 361.0)])
    means = {"speed_m_s": float(v.mean()), "temperature_k": 288.0, "head_wind_m_s": np.nan, "coolant_k": 361.0}
    run = RunWindows(
        f"run {pair} {state} {draw.integers(10**9)}",
        state,
        pair,
        direction,
        "",
        np.full(count, 10.0),
        fuel,
        fuel / fuel.mean() * 0.4,
        covariates,
        (),
        600,
        600,
        "fuel rate",
        means,
    )
    return replace(run, **more)


def study(seed: int, effect: float, pairs: int = 8, **more) -> list[RunWindows]:
    draw = np.random.default_rng(seed)
    runs = []
    for pair in range(pairs):
        direction = "out" if pair % 2 else "back"
        states = ["working", "stowed"] if draw.random() < 0.5 else ["stowed", "working"]
        runs += [
            simulated(draw, state, str(pair), direction, effect, day=draw.normal(0, 0.02), **more) for state in states
        ]
    return runs


@pytest.mark.parametrize("effect", [0.0, 0.08])
def test_the_effect_alone_is_the_effect_of_the_comparison(effect: float) -> None:
    runs = study(4, effect)
    assert effect_alone(runs) == compare(runs).effect
    assert effect_alone(runs, level=0.8) == compare(runs, level=0.8).effect != compare(runs).effect


def test_a_study_finds_its_effect():
    found = [effect_alone(study(seed, 0.04)) for seed in range(of_study(80, 200))]
    estimates = np.array([effect.estimate for effect in found])
    covered = np.mean([effect.low <= 0.04 <= effect.high for effect in found])
    assert estimates.mean() == pytest.approx(0.04, abs=0.003)
    assert 0.92 <= covered <= 0.98


def test_grade_adjustment_narrows_the_interval():
    runs = study(3, 0.04)
    blind = [replace(run, covariates=np.where(np.arange(5) == 0, run.covariates, np.nan)) for run in runs]
    assert "grade" in inside_slopes(runs).names
    assert {"speed", "air"} & set(inside_slopes(runs).names)
    wide = compare(blind).effect
    sharp = compare(runs).effect
    assert sharp.high - sharp.low < wide.high - wide.low


def test_known_wind_narrows_the_interval_and_leaves_no_bias():
    blind, known = [], []
    for seed in range(of_study(30, 60)):
        draw = np.random.default_rng(seed)
        runs = []
        for pair in range(10):
            for state in ("working", "stowed") if pair % 2 else ("stowed", "working"):
                wind = float(draw.normal(0, 1.5))
                run = simulated(draw, state, str(pair), "out", 0.04)
                blown, seen = run.fuel_m3_s * (1 + 0.03 * wind), run.covariates.copy()
                seen[:, 3] = seen[:, 0] * (seen[:, 0] + wind) ** 2
                means = {**run.means, "head_wind_m_s": wind}
                runs.append(replace(run, fuel_m3_s=blown, covariates=seen, means=means))
        known.append(effect_alone(runs))
        calm = [
            np.column_stack([run.covariates[:, :3], run.covariates[:, 0] ** 3, run.covariates[:, 4]]) for run in runs
        ]
        unknown = [{**run.means, "head_wind_m_s": np.nan} for run in runs]
        calm = [replace(r, covariates=c, means=m) for r, c, m in zip(runs, calm, unknown, strict=True)]
        blind.append(effect_alone(calm))
    assert "head wind" in compare(runs).adjusted_for
    width = [np.mean([effect.high - effect.low for effect in group]) for group in (known, blind)]
    assert width[0] < 0.6 * width[1]
    assert np.mean([effect.estimate for effect in known]) == pytest.approx(0.04, abs=0.005)
    assert np.mean([effect.low <= 0.04 <= effect.high for effect in known]) >= 0.9


def test_words_of_the_conclusion():
    quiet = {"pairs": 12}
    costs = compare(study(1, 0.08, **quiet))
    assert costs.conclusion == "costs"
    assert "costs" in costs.words
    assert costs.effect.low > 0
    half = 50 * (costs.effect.high - costs.effect.low)
    assert f"costs {100 * costs.effect.estimate:.1f} % ± {half:.1f} % more fuel (95 %)" in costs.words
    much = compare(study(1, 0.6, **quiet))  # so much that no rounding hides a factor
    assert f"costs {100 * much.effect.estimate:.1f} %" in much.words
    saves = compare(study(1, -0.08, **quiet))
    assert saves.conclusion == "saves"
    assert f"saves {-100 * saves.effect.estimate:.1f} %" in saves.words
    many = [compare(study(seed, 0.0, pairs=24)) for seed in range(8)]
    assert sum(answer.conclusion == "no effect larger than" for answer in many) >= 6
    nothing = next(answer for answer in many if answer.conclusion == "no effect larger than")
    assert "can be excluded" in nothing.words
    assert max(-nothing.effect.low, nothing.effect.high) < 0.03
    unsure = compare(study(5, 0.0, pairs=3), predicted=0.002)
    assert unsure.conclusion == "cannot tell"
    assert unsure.more_pairs > 0
    assert f"{unsure.more_pairs} more pairs" in unsure.words


def test_prediction_agrees_or_not():
    runs = study(1, 0.08, pairs=12)
    assert "agrees" in compare(runs, predicted=0.08).agreement
    apart = compare(runs, predicted=0.30, predicted_error=0.02).agreement
    assert "disagrees" in apart
    assert "wind" in apart


def test_one_run_of_each_gives_no_conclusion():
    answer = compare(study(1, 0.2, pairs=1))
    assert answer.conclusion == "cannot tell"
    assert answer.effect.low is None
    assert "how much two equal runs differ" in answer.words
    one_against_many = [run for run in study(1, 0.2, pairs=6) if run.state == "stowed" or run.pair == "0"]
    answer = compare(one_against_many)
    assert answer.effect.low is None
    assert answer.conclusion == "cannot tell"


def test_a_state_without_runs_is_refused():
    with pytest.raises(InputError, match="every run is working"):
        compare([run for run in study(1, 0.0) if run.state == "working"])
    with pytest.raises(InputError, match="absent"):
        compare(study(1, 0.0), without_state="absent")


def test_confounding_is_named():
    runs = study(2, 0.0)
    by_direction = [replace(run, pair="", direction="out" if run.state == "working" else "back") for run in runs]
    assert any("in one direction" in text for text in compare(by_direction).warnings)
    by_day = [replace(run, pair="", date="2026-05-03" if run.state == "working" else "2026-05-04") for run in runs]
    assert any("on one day" in text for text in compare(by_day).warnings)
    warm = [replace(run, means={**run.means, "temperature_k": 288 + 8 * (run.state == "working")}) for run in runs]
    assert any("air temperature differs" in text for text in compare(warm).warnings)
    draw = np.random.default_rng(1)
    fast = [
        simulated(draw, state, str(pair), "out", 0.0, speed=90 + 5 * (state == "working"))
        for pair in range(6)
        for state in ("working", "stowed")
    ]
    answer = compare(fast)
    assert any("speed differs" in text for text in answer.warnings)
    assert any("comes first" in text for text in answer.warnings)
    assert abs(answer.effect.estimate) < abs(answer.paired.estimate)
    assert not [text for text in compare(runs).warnings if "confounded" in text or "differs" in text]


def test_incomplete_pairs_and_no_pairs():
    runs = study(2, 0.05)
    answer = compare(runs[:-1])
    assert answer.pairs == 7
    assert any("no run in the other state" in text for text in answer.warnings)
    loose = compare([replace(run, pair="") for run in runs])
    assert loose.design == "two groups"
    assert loose.pairs == 0


def test_spread_of_repeated_runs():
    runs = study(7, 0.05, pairs=40)
    spread, freedom = spread_within_pairs(runs)
    assert freedom == 39
    assert 0.01 < spread < 0.04
    same, freedom = spread_within_pairs([replace(run, state="stowed") for run in runs])
    assert freedom == 79
    assert same > spread  # days differ, pairs do not


# --- conditions and slopes by hand ------------------------------------------------------------------------------------


def _steady(grade: float) -> Log:
    """Return a log of 60 s at 20 m/s on one slope, with a warm engine."""
    log = read_log(LOGS / "drive1.csv")
    table = log.table.iloc[:60][["time_s", "step_s", "quality"]].copy()
    table["time_s"], table["step_s"] = np.arange(60.0), 1.0
    table["speed_m_s"], table["grade"], table["coolant_temperature_k"] = 20.0, grade, 361.0
    table["ambient_temperature_k"], table["barometric_pressure_pa"] = 288.15, 96e3
    return replace(log, table=table, name="steady")


@pytest.mark.parametrize(
    ("grade", "climbing"),
    [
        # 3 in 4 has the sine 0.6 (sides 3, 4, 5): 9.81 * 0.6 * 20 m/s = 117.72 W for each kg uphill, as much less down.
        (0.75, 117.72),
        (-0.75, -117.72),
        (0.0, 0.0),
    ],
)
@pytest.mark.parametrize(
    ("head_wind", "pushing"),
    [
        # 20 m/s * 25^2 into 5 m/s of head wind; 20 * 15^2 with 5 m/s of tail wind; a gale from behind pushes: -20 *
        # 5^2.
        (5.0, 12_500),
        (-5.0, 4_500),
        (-25.0, -500),
    ],
)
def test_conditions_of_a_window_by_hand(grade: float, climbing: float, head_wind: float, pushing: float) -> None:
    flow = replace(fuel_flow(read_log(LOGS / "drive1.csv"), CAR), flow_m3_s=np.full(60, 2e-6))
    cut = windows_of(_steady(grade), flow, Run(Path("steady"), "stowed", head_wind_m_s=head_wind))
    assert cut.weight_s.tolist() == [10.0] * 6
    assert cut.fuel_m3_s == pytest.approx(2e-6)
    # 96 kPa and 288.15 K are 96 000 / (287.05 * 288.15) = 1.16063 kg/m3, over 1.2 that is 0.96719.
    wanted = np.tile([20.0, 0.0, climbing, 0.96719 * pushing, 361.0], (6, 1))
    assert cut.covariates == pytest.approx(wanted, rel=1e-3, abs=1e-9)  # 9.81 or 9.80665: both are in use


# Rows of +1 and -1, each orthogonal to the others and to a constant: least squares can be done on paper, slope by
# slope.
WAVES = hadamard(16)[1:].astype(float)


def _run_of(name: str, fuel_l_h: np.ndarray, pair: str = "", **conditions: np.ndarray) -> RunWindows:
    """Return a run of windows of 10 s whose conditions are given by name; the others do not vary."""
    columns = [conditions.get(key.replace("-", "_"), np.zeros(fuel_l_h.size)) for key in COVARIATES]
    means = {"speed_m_s": 25.0, "temperature_k": 288.0, "head_wind_m_s": np.nan, "coolant_k": 361.0}
    return RunWindows(
        name,
        "stowed",
        pair or name,
        "",
        "",
        np.full(fuel_l_h.size, 10.0),
        fuel_l_h,
        0.04 * fuel_l_h,
        np.column_stack(columns),
        (),
        600,
        600,
        "fuel rate",
        means,
    )


@pytest.mark.parametrize(
    ("condition", "swing"),
    # m/s, then W for each kg, W for each kg, m3/s3, K: about one and a half times the least that counts as varying.
    [("speed", 0.6), ("acceleration", 0.45), ("grade", 0.45), ("air", 90.0), ("warm_up", 1.5)],
)
def test_a_slope_is_believed_where_physics_allows_its_sign(condition: str, swing: float) -> None:
    """More speed, acceleration, climb or air never spares fuel; only a warmer engine does."""
    right = -1 if condition == "warm_up" else 1
    for sign in (1, -1):
        # Fuel swings by 0.5 L/h with the condition; two runs on levels of their own, which teach nothing.
        runs = [
            _run_of(str(level), level + 0.5 * sign * WAVES[0], **{condition: level + swing * WAVES[0]})
            for level in (6.0, 9.0)
        ]
        found = inside_slopes(runs)
        if sign == right:
            assert found.names == (condition.replace("_", "-"),)
            assert found.fuel == pytest.approx([0.5 * sign / swing])
            assert found.load == pytest.approx([0.02 * sign / swing])
        else:
            assert found.names == ()
        still = [replace(run, covariates=run.covariates / 1.6) for run in runs]  # hardly varies: nothing is learnt
        assert inside_slopes(still).names == ()


@pytest.mark.parametrize(("slope", "kept"), [(0.190, True), (0.180, False)])
def test_a_slope_counts_from_two_standard_errors(slope: float, kept: bool) -> None:
    # Two runs of 16 windows, speed swings by 1 m/s and noise by 0.5 L/h: residual variance 32 * 0.25 / (32 - 2 - 1)
    # = 0.27586, error of the slope sqrt(0.27586 / 32) = 0.09285, so that t = 2 at 0.1857.
    runs = [
        _run_of(str(n), level + slope * WAVES[0] + 0.5 * WAVES[1], speed=25 + WAVES[0])
        for n, level in enumerate((6.0, 9.0))
    ]
    assert inside_slopes(runs).names == (("speed",) if kept else ())


def test_few_windows_teach_few_slopes() -> None:
    # Five degrees of freedom for each slope: 2 runs of 16 windows leave 32 - 2 - 5 = 25 for five; one run of 16 leaves
    # 16 - 1 - 2 = 13 for two and would leave 12 for three.
    waves = 100 * WAVES[:5]
    fuel = 6 + 1e-3 * (waves[0] + waves[1] + waves[2] + waves[3] - waves[4])
    varied = dict(zip(("speed", "acceleration", "grade", "air", "warm_up"), waves, strict=True))
    assert inside_slopes([_run_of(name, fuel, **varied) for name in "ab"]).names == COVARIATES
    assert inside_slopes([_run_of("a", fuel, **varied)]).names == COVARIATES[:2]


def test_slopes_are_those_of_the_librarys_least_squares_with_signs() -> None:
    """scipy.optimize.nnls (Lawson and Hanson, 1974) on the same centred columns, where all that it keeps is clear."""
    signs = np.array([1, 1, 1, 1, -1.0])
    checked = left_out = 0
    for seed in range(40):
        draw = np.random.default_rng(seed)
        x = draw.normal(size=(80, 5)) @ (np.eye(5) + 0.4 * draw.normal(size=(5, 5))) * [1, 1, 1, 200, 3]
        slopes = draw.uniform(0.5, 2, 5) * draw.choice([1, -1], 5, p=[0.8, 0.2]) * signs / [1, 1, 1, 200, 3]
        fuel = 20 + x @ slopes + 0.05 * draw.normal(size=80) + np.repeat([0.0, 3.0], 40)
        runs = [
            replace(_run_of(str(n), fuel[40 * n : 40 * n + 40]), covariates=x[40 * n : 40 * n + 40]) for n in (0, 1)
        ]
        centred = np.vstack([x[:40] - x[:40].mean(axis=0), x[40:] - x[40:].mean(axis=0)]) * signs
        y = np.concatenate([fuel[:40] - fuel[:40].mean(), fuel[40:] - fuel[40:].mean()])
        wanted, rest = nnls(centred, y)
        kept = wanted > 0
        error = rest / np.sqrt(78 - kept.sum()) * np.sqrt(np.diag(np.linalg.inv(centred[:, kept].T @ centred[:, kept])))
        if (wanted[kept] < 3 * error).any():
            continue
        found = inside_slopes(runs)
        assert found.places == tuple(np.flatnonzero(kept).tolist())
        assert found.fuel == pytest.approx((wanted * signs)[kept], rel=1e-6)
        checked, left_out = checked + 1, left_out + int((~kept).sum())
    assert checked >= 15
    assert left_out >= 10


@pytest.mark.parametrize(
    ("condition", "slope", "apart", "brought"),
    [
        # Two runs of a pair, 2 m/s apart, at 0.5 L/h for each m/s: each is brought 1 m/s to the middle, 0.5 L/h.
        ("speed", 0.5, 2.0, [9.5, 9.5]),
        # The first run 4 K warmer, at 0.1 L/h less for each K: as warm as the middle it would burn 0.2 L/h more.
        ("warm_up", -0.1, 4.0, [10.2, 8.8]),
        # The first run in 0.6 W for each kg of climb more than the second, at 1 L/h for each: 0.3 L/h either way.
        ("grade", 1.0, 0.6, [9.7, 9.3]),
    ],
)
def test_runs_are_brought_to_the_conditions_of_their_pair_by_hand(
    condition: str, slope: float, apart: float, brought: list[float]
) -> None:
    swing = 2.0 * WAVES[0]
    runs = [
        _run_of(name, level + slope * swing, pair="1", **{condition: middle + swing})
        for name, level, middle in (("a", 10.0, 300 + apart), ("b", 9.0, 300.0))
    ]
    plain, adjusted, load = adjusted_means(runs, inside_slopes(runs))
    assert plain == pytest.approx([10.0, 9.0])
    assert adjusted == pytest.approx(brought)
    assert load == pytest.approx(0.04 * np.array(brought))


# --- from files -------------------------------------------------------------------------------------------------------


def test_filters_are_counted_and_take_no_row_by_its_fuel():
    log = read_log(LOGS / "live1.csv")
    flow = fuel_flow(log, CAR)
    run = windows_of(log, flow, Run(Path("live1"), "stowed"))
    assert [one.what.split(" (")[0] for one in run.filters] == [
        "fuel or speed not known",
        "engine not warm",
        "standing or under 7 km/h",
        "braking",
    ]
    cut = windows_of(log, flow, Run(Path("live1"), "stowed"), shifts_kept=False)
    assert cut.filters[-1].what == "gear shifts and clutch"
    assert cut.kept_rows == run.kept_rows - cut.filters[-1].rows < run.kept_rows
    assert run.kept_rows == run.rows - sum(one.rows for one in run.filters)
    doubled = windows_of(log, replace(flow, flow_m3_s=2 * flow.flow_m3_s), Run(Path("live1"), "stowed"))
    assert doubled.kept_rows == run.kept_rows
    cut = windows_of(log, flow, Run(Path("live1"), "stowed", start_s=600.0, end_s=900.0))
    assert cut.kept_rows < run.kept_rows
    assert cut.filters[0].rows > 2000


def test_without_displacement_percent_only():
    log = read_log(LOGS / "live1.csv")
    fuel = common_source([log], LoggedEngine())
    assert (fuel.source, fuel.absolute) == ("speed-density", False)
    assert fuel.engine.displacement_m3 == 1e-3


def test_manifest_faults_are_told_together(tmp_path):
    (tmp_path / "a.csv").write_text("x")
    path = tmp_path / "runs.toml"
    path.write_text(
        '[engine]\ndisplacment = "1.6 L"\n[vehicle]\nmass = "2 m"\n[[run]]\nfile = "a.csv"\nstate = "wurking"\n'
        '[[run]]\nfile = "b.csv"\nstate = "stowed"\ntemperature = "12"\n'
    )
    with pytest.raises(InputError) as caught:
        read_manifest(path)
    text = str(caught.value)
    for part in ("displacement?", "vehicle.mass", "working", "b.csv: no such file", "run[2].temperature"):
        assert part in text
    path.write_text("[[run]\n")
    with pytest.raises(InputError, match="not TOML"):
        read_manifest(path)
    path.write_text("[engine]\n")
    with pytest.raises(InputError, match="no runs"):
        read_manifest(path)


def test_manifest_is_read(tmp_path):
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("x")
    path = tmp_path / "runs.toml"
    path.write_text(
        '[vehicle]\nmass = "1400 kg"\ncoastdown_a = "150 N"\n[engine]\nfuel = "e10"\n'
        'displacement = "1.6 L"\n'
        '[columns]\nSpd = "vehicle speed (mph)"\n[[run]]\nfile = "a.csv"\nstate = "on"\npair = 1\n'
        'head_wind = "-2 m/s"\ntemperature = "15 degC"\nstart = "2 min"\ncolour = "red"\n'
        '[[run]]\nfile = "b.csv"\nstate = "stowed"\nblock = "1"\nexclude = false\n'
    )
    found = read_manifest(path)
    assert found.engine.fuel.name == "e10"
    assert found.engine.displacement_m3 == pytest.approx(1.6e-3)
    assert found.road_load == (150.0, 0.0, 0.0)
    first, second = found.runs
    assert (first.state, first.pair, first.start_s) == ("working", "1", 120.0)
    assert first.head_wind_m_s == pytest.approx(-2)
    assert first.temperature_k == pytest.approx(288.15)
    assert second.pair == "1"
    assert any("colour" in text for text in found.warnings)


def test_states_marked_in_the_log_make_runs(tmp_path):
    path = tmp_path / "drive.csv"
    states = ["working", "stowed", "stowed", "working"]
    path.write_text(
        "time_s,state,mark,gap,vehicle_speed_km_h,fuel_rate_l_h\n"
        + "".join(
            f"{t},{states[t // 200]},{'w' if t % 200 == 0 else ''},,90,{5 + 0.2 * (states[t // 200] == 'working')}\n"
            for t in range(800)
        )
    )
    log = read_log(path)
    parts = runs_of_states(Run(path, ""), log)
    assert [(part.state, part.start_s, part.end_s) for part in parts] == [
        ("working", 0.0, 199.0),
        ("stowed", 200.0, 599.0),
        ("working", 600.0, 799.0),
    ]
    flow = fuel_flow(log, LoggedEngine())
    first = windows_of(log, flow, parts[0])
    assert first.mean_fuel_m3_s / LITRES_PER_HOUR == pytest.approx(5.2)
    whole = windows_of(log, flow, Run(path, "working"))
    assert {one.what: one.rows for one in whole.filters}["marked as another state in the log"] == 400
    with pytest.raises(InputError, match="says it"):
        runs_of_states(Run(path, ""), read_log(LOGS / "idle1.csv"))


@pytest.mark.parametrize(
    ("direction", "wind_from", "head"),
    [
        ("north", "north", 4.0),
        ("south", "north", -4.0),
        ("east", "N", 0.0),
        ("90 deg", "270 deg", -4.0),
        ("out", "N", None),
    ],
)
def test_head_wind_of_a_run(tmp_path, direction, wind_from, head):
    (tmp_path / "a.csv").write_text("x")
    path = tmp_path / "runs.toml"
    path.write_text(
        f'[[run]]\nfile = "a.csv"\nstate = "stowed"\nstarted = 2026-05-03T10:00:00Z\nwind = "4 m/s"\n'
        f'wind_from = "{wind_from}"\ndirection = "{direction}"\nprotocol = "x"\n'
        'parameters = ["y"]\n'
    )
    found = read_manifest(path)
    assert found.runs[0].head_wind_m_s == (head if head is None else pytest.approx(head, abs=1e-9))
    assert found.runs[0].date.startswith("2026-05-03")
    assert len(found.warnings) == (head is None)


def test_own_words_for_a_direction_are_told_in_the_manifest(tmp_path):
    (tmp_path / "a.csv").write_text("x")
    path = tmp_path / "runs.toml"
    run = '[[run]]\nfile = "a.csv"\nstate = "stowed"\nwind = "4 m/s"\nwind_from = "east"\ndirection = "Out"\n'
    path.write_text('[directions]\nout = "east"\n' + run)
    found = read_manifest(path)
    assert found.runs[0].head_wind_m_s == pytest.approx(4.0)
    assert not found.warnings
    path.write_text('[directions]\nout = "uphill"\n' + run)
    with pytest.raises(InputError, match=r"directions\.out"):
        read_manifest(path)
    path.write_text(run.replace('wind_from = "east"\n', ""))
    assert "wind_from" in read_manifest(path).warnings[0]
    path.write_text('[engin]\nfuel = "diesel"\n' + run)
    with pytest.raises(InputError, match="engine"):
        read_manifest(path)
    path.write_text('[weather]\nsky = "blue"\n' + run + '[[run]]\nfile = "a.csv"\nstate = "working"\nstart = "5 s"\n')
    both = read_manifest(path)
    assert [run.state for run in both.runs] == ["stowed", "working"]
    assert any("weather" in text for text in both.warnings)


def marked_log(tmp_path: Path, states: list[str]) -> Log:
    path = tmp_path / "marked.csv"
    path.write_text(
        "time_s,state,vehicle_speed_km_h,fuel_rate_l_h\n"
        + "".join(
            f"{second},{states[second * len(states) // 400]},{90 + second % 3},{7 + second % 5 / 10}\n"
            for second in range(400)
        )
    )
    return read_log(path)


def test_marks_in_a_log_count_where_the_state_changes_on_the_way(tmp_path):
    log = marked_log(tmp_path, ["stowed", "working", "working", "stowed"])
    parts = runs_of_states(Run(log.name, "stowed", "", "north"), log)  # the manifest says how the run began
    assert [part.state for part in parts] == ["stowed", "working", "stowed"]
    assert [part.state for part in runs_of_states(Run(log.name, "stowed", start_s=0.0, end_s=90.0), log)] == ["stowed"]
    cut = windows_of(log, fuel_flow(log, CAR), parts[1])
    assert cut.kept_s == pytest.approx(200, abs=2)


def test_a_state_corrected_in_the_manifest_is_taken_and_told(tmp_path):
    log = marked_log(tmp_path, ["stowed"])
    (run,) = runs_of_states(Run(log.name, "working"), log)
    cut = windows_of(log, fuel_flow(log, CAR), run)
    assert cut.state == "working"
    assert cut.kept_rows == 400
    assert "the manifest is taken" in " ".join(cut.warnings)


def test_few_pairs_are_not_blamed_on_a_few_runs():
    draw = np.random.default_rng(5)
    runs = [simulated(draw, state, str(pair), "out", 0.2) for pair in range(4) for state in ("working", "stowed")]
    answer = compare(runs)
    assert answer.conclusion == "costs"
    assert answer.randomisation_p == answer.randomisation_least_p == 0.125  # 2 of 2^4 dealings: Fisher 1935, §21
    assert not any("randomisation" in text for text in answer.warnings)


def _with_wind(windy: bool) -> list[RunWindows]:
    parts = prepared(90, added=lambda _log, flow: 1.05 * flow)
    draw = np.random.default_rng(4)
    runs = []
    for place, part in enumerate(parts[: len(parts) // 2 * 2]):
        run = replace(part["stowed" if place % 2 else "working"], pair=str(place // 2))
        means = {**run.means, "head_wind_m_s": float(draw.normal(0, 2))} if windy else run.means
        runs.append(replace(run, means=means))
    return runs


@pytest.mark.parametrize("windy", [False, True])
def test_the_change_of_each_run_is_that_of_the_effect(windy: bool) -> None:
    found = compare(_with_wind(windy))
    assert ("head wind" in found.adjusted_for) == windy
    assert [change.name for change in found.changes] == [run.name for run in found.runs]

    def difference(get) -> float:
        means = {s: np.mean([get(c) for c in found.changes if c.state == s]) for s in ("working", "stowed")}
        return means["working"] - means["stowed"]

    assert difference(lambda change: change.plain) == pytest.approx(found.paired.estimate, abs=1e-12)
    # the estimate is moved by half the square of its standard error, against the bias of a ratio
    error = (found.effect.high - found.effect.low) / 2 / scipy.stats.t.ppf(0.975, found.pairs - 1)
    moved = difference(lambda change: change.adjusted) - found.effect.estimate
    assert moved == pytest.approx(0.5 * error**2, rel=0.2)  # the degrees of freedom are nearly those of the pairs
    base = np.mean([run.mean_fuel_m3_s for run in found.runs if run.state == "stowed"])
    first = found.changes[0]
    assert first.plain == pytest.approx(found.runs[0].mean_fuel_m3_s / base - 1)


def test_what_keeps_runs_from_being_compared_in_pairs() -> None:
    def said(*marked: tuple[str, str]) -> list[str]:
        return half_pairs(marked, "working", "stowed")

    assert said(("working", "1"), ("stowed", "1")) == []
    assert said(("working", ""), ("stowed", "")) == []
    assert said(("working", "1"), ("absent", "1")) == ["no run is marked stowed"]
    assert said(("stowed", "1"), ("absent", "1")) == ["no run is marked working"]
    assert said(("absent", "1")) == ["no run is marked working", "no run is marked stowed"]
    assert said(("working", "1"), ("stowed", "1"), ("stowed", "2")) == ["pair 2 has no run working"]
    assert said(("working", "1"), ("stowed", "1"), ("stowed", "")) == [
        "1 run without a pair, next to runs that have one"
    ]


@pytest.mark.parametrize("seed", range(20))
def test_signed_slopes_are_the_best_of_all_subsets(seed: int) -> None:
    """Oracle: ordinary least squares of every subset of the columns; the best without a slope below zero."""
    draw = np.random.default_rng(seed)
    design = draw.normal(size=(80, 5)) * [1, 10, 0.1, 1000, 3]
    y = design @ (draw.normal(size=5) / [1, 10, 0.1, 1000, 3]) + draw.normal(size=80)
    places, slopes, t_values = signed_least_squares(dict(enumerate(design.T)), y, 70)
    best = (float(y @ y), (), np.zeros(0))
    for size in range(1, 6):
        for chosen in itertools.combinations(range(5), size):
            found = np.linalg.lstsq(design[:, chosen], y, rcond=None)[0]
            left = float(((y - design[:, chosen] @ found) ** 2).sum())
            if (found > 0).all() and left < best[0]:
                best = (left, chosen, found)
    assert tuple(places) == best[1]
    assert slopes == pytest.approx(best[2])
    # standard error of a slope: residual variance times the inverse of the normal matrix (any textbook of regression)
    errors = np.sqrt(best[0] / 70 * np.diag(np.linalg.inv(design[:, places].T @ design[:, places])))
    assert t_values == pytest.approx(slopes / errors)


def test_columns_that_say_the_same_thing_are_not_both_taken_for_significant() -> None:
    draw = np.random.default_rng(3)
    speed, other = draw.normal(size=(2, 200))
    for twin in (speed.copy(), speed * (1 + 1e-9 * other)):
        y = 2 * speed + draw.normal(size=200)
        places, _, t_values = signed_least_squares({0: speed, 1: twin, 2: other}, y, 190)
        significant = [place for place, t in zip(places, t_values, strict=True) if t >= 2 and place < 2]
        assert len(significant) <= 1


@pytest.mark.parametrize("sign", [1, -1])
def test_a_warming_engine_may_save_fuel_and_never_cost_it(sign: int) -> None:
    draw = np.random.default_rng(0)
    runs = []
    for run in study(1, 0.0, pairs=4):
        warmth = np.linspace(345.0, 365.0, run.weight_s.size)
        covariates = np.column_stack([run.covariates[:, :4], warmth])
        steady = LITRES_PER_HOUR * (6 + draw.normal(0, 0.01, warmth.size))
        flow = steady + sign * 0.02 * LITRES_PER_HOUR * (warmth - 355)
        runs.append(replace(run, covariates=covariates, fuel_m3_s=flow))
    slopes = inside_slopes(runs)
    assert ("warm-up" in slopes.names) == (sign < 0)
    if sign < 0:
        found = float(slopes.fuel[slopes.names.index("warm-up")])
        assert found == pytest.approx(-0.02 * LITRES_PER_HOUR, rel=0.02)


def test_nothing_is_learnt_of_the_wind_where_no_slopes_of_the_load_are_known() -> None:
    runs = study(1, 0.0, pairs=2)
    slopes = replace(inside_slopes(runs), load=None)
    assert learnt_wind(runs, slopes, load=True) == 0.0
    standing = [replace(run, means={**run.means, "speed_m_s": 0.0}) for run in runs]
    assert learnt_wind(standing, slopes) == 0.0
