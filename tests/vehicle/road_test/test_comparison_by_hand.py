"""What a comparison answers, by hand: slopes inside runs, runs brought to like conditions, every field and sentence."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from windows_support import a_run

from vehicle.problems import InputError
from vehicle.quantity import Estimate
from vehicle.road_test.comparison import RunChange, _unsure, compare, half_pairs, spread_within_pairs
from vehicle.road_test.conclusion import Design, agreement_words, concluded, confounding, load_words
from vehicle.road_test.effect import Covariates, RunLevelEffect, randomisation_p, repeated_spread, run_level_effect
from vehicle.road_test.planning import chance_on_the_road, pairs_needed
from vehicle.road_test.run_quantities import About, quantities_of, spread_of_repeated, widened, without_mean
from vehicle.road_test.sensitivity import air_share, learnt_elasticity, learnt_wind, sensitivity
from vehicle.road_test.slopes import Slopes, adjusted_means, inside_slopes, state_levels
from vehicle.road_test.sources import NO_ERROR, SourceError
from vehicle.road_test.windows import NO_COOLANT, UNKNOWN, Filter, RunWindows

# --- slopes inside runs -----------------------------------------------------------------------------------------------


def _varied(seed: int = 1, windows: int = 40) -> list[RunWindows]:
    """Return four runs whose fuel is a straight line in speed, climb and warmth, windows of unlike weight."""
    draw = np.random.default_rng(seed)
    runs = []
    for number, state in enumerate(("working", "stowed", "stowed", "working")):
        speed, grade, warm = draw.normal(25, 1, windows), draw.normal(0, 2, windows), draw.normal(360, 2, windows)
        level = 1.5 if state == "working" else 1.0
        line = 6 + 0.3 * (speed - 25) + 0.5 * grade - 0.2 * (warm - 360) + draw.normal(0, 0.1, windows)
        load = 0.4 + 0.02 * (speed - 25) - 0.01 * grade + 0.003 * (warm - 360)
        runs.append(
            a_run(
                f"run {number}",
                state,
                str(number // 2),
                fuel=level * (line + 0.2 * number) * 1e-6,
                weight_s=draw.uniform(4, 10, windows),
                load=load,
                speed=speed,
                grade=grade,
                warm_up=warm,
            )
        )
    return runs


def _weighed(values: np.ndarray, weights: np.ndarray) -> float:
    return float((values * weights).sum() / weights.sum())


def test_slopes_are_weighed_least_squares_with_one_constant_a_run() -> None:
    runs = _varied()
    mean = [_weighed(run.fuel_m3_s, run.weight_s) for run in runs]
    ours, theirs = (mean[0] + mean[3]) / 2, (mean[1] + mean[2]) / 2
    levels = np.array([ours, theirs, theirs, ours]) / np.mean(mean)
    assert state_levels(runs) == pytest.approx(levels)
    rows, fuel, load, weight = [], [], [], []
    for number, run in enumerate(runs):
        for window in range(run.weight_s.size):
            rows.append([*run.covariates[window, [0, 2, 4]], *(float(number == k) for k in range(4))])
            fuel.append(run.fuel_m3_s[window] / levels[number])
            load.append(run.load[window])
            weight.append(math.sqrt(run.weight_s[window]))
    root = np.array(weight)
    design = np.array(rows) * root[:, None]
    found = inside_slopes(runs)
    assert (found.names, found.places) == (("speed", "grade", "warm-up"), (0, 2, 4))
    assert found.fuel == pytest.approx(np.linalg.lstsq(design, np.array(fuel) * root, rcond=None)[0][:3])
    assert found.load == pytest.approx(np.linalg.lstsq(design, np.array(load) * root, rcond=None)[0][:3])
    # each run is brought to the mean conditions of its pair, its slope as high as its state's fuel
    plain, adjusted, of_load = adjusted_means(runs, found)
    assert plain == pytest.approx(mean)
    conditions = [[_weighed(run.covariates[:, k], run.weight_s) for k in (0, 2, 4)] for run in runs]
    for k, run in enumerate(runs):
        pair = [conditions[j] for j in range(4) if runs[j].pair == run.pair]
        away = np.array(conditions[k]) - np.mean(pair, axis=0)
        assert adjusted[k] == pytest.approx(mean[k] - float(away @ found.fuel) * levels[k])
        assert of_load[k] == pytest.approx(_weighed(run.load, run.weight_s) - float(away @ found.load))
    blind = adjusted_means(runs, Slopes((), (), np.zeros(0), None))
    assert blind[1] == pytest.approx(mean)
    assert blind[2] == pytest.approx([_weighed(run.load, run.weight_s) for run in runs])


def test_slopes_without_a_load() -> None:
    runs = [replace(run, load=np.full(run.weight_s.size, np.nan)) for run in _varied()]
    assert inside_slopes(runs).load is None
    nothing = [replace(run, fuel_m3_s=np.zeros(run.weight_s.size)) for run in _varied()]
    assert state_levels(nothing).tolist() == [1.0] * 4


@pytest.mark.parametrize(
    ("condition", "least"), [("speed", 0.4), ("acceleration", 0.3), ("grade", 0.3), ("air", 60.0), ("warm_up", 1.0)]
)
def test_what_hardly_varies_teaches_nothing(condition: str, least: float) -> None:
    """Least spreads: own choice, in m/s, W/kg, W/kg, m3/s3 and K."""
    wave = np.tile([1.0, -1.0], 10)
    sign = -1 if condition == "warm_up" else 1
    for swing, kept in ((1.01 * least, True), (0.99 * least, False)):
        varied = {"weight_s": (10.0,) * 20, condition: 300 + swing * wave}
        runs = [a_run(name, fuel=(6 + sign * wave) * 1e-6, **varied) for name in "ab"]
        assert inside_slopes(runs).names == ((condition.replace("_", "-"),) if kept else ())


# --- physics ----------------------------------------------------------------------------------------------------------


def test_the_share_of_air_drag() -> None:
    assert air_share(28.0) == pytest.approx(0.5)
    assert air_share(14.0) == pytest.approx(1 / 5)
    assert (air_share(1.0), air_share(200.0)) == (0.03, 0.75)
    assert air_share(28.0, 4650.0, 20_000.0) == pytest.approx(0.25)  # 4.65 kW behind 93 % of drivetrain: 5 of 20 kW
    assert air_share(28.0, 4650.0, 0.0) == air_share(28.0, None, 20_000.0) == air_share(28.0, 4650.0) == 0.5
    assert (air_share(28.0, 1.0, 20_000.0), air_share(28.0, 90e3, 20_000.0)) == (0.03, 0.75)


def _driven() -> tuple[list[RunWindows], Slopes]:
    draw = np.random.default_rng(2)
    runs = []
    for k in range(4):
        speed = draw.normal(24 + k, 1.5, 12)
        weights = draw.uniform(4, 10, 12)
        means = {"speed_m_s": 24.0 + k, "head_wind_m_s": 1.0}
        runs.append(
            a_run(
                f"run {k}",
                fuel=(5 + k) * 1e-6,
                load=0.3 + 0.05 * k,
                speed=speed,
                air=speed**3,
                weight_s=weights,
                means=means,
            )
        )
    return runs, Slopes(("speed", "air"), (0, 3), np.array([1e-7, 2e-11]), np.array([0.01, 1e-6]))


@pytest.mark.parametrize("load", [False, True])
def test_what_slopes_have_learnt_of_speed_and_wind(load: bool) -> None:
    """At a steady speed v the air term is v (v + w)^2: it rises three times as fast as v, and by 2/v of itself per m/s
    of wind."""
    runs, slopes = _driven()
    speed = np.mean([_weighed(run.covariates[:, 0], run.weight_s) for run in runs])
    air = np.mean([_weighed(run.covariates[:, 3], run.weight_s) for run in runs])
    of, level = ((0.01, 1e-6), 0.375) if load else ((1e-7, 2e-11), 6.5e-6)
    assert learnt_elasticity(runs, slopes, load=load) == pytest.approx((of[0] * speed + 3 * of[1] * air) / level)
    assert learnt_wind(runs, slopes, load=load) == pytest.approx(2 / 25.5 * of[1] * air / level)
    only = replace(slopes, names=("speed", "grade"), places=(0, 3))
    assert learnt_elasticity(runs, only, load=load) == pytest.approx(of[0] * speed / level)
    assert learnt_wind(runs, only, load=load) == 0.0
    none = replace(slopes, names=("grade", "warm-up"))
    assert learnt_elasticity(runs, none, load=load) is None
    unknown = [replace(run, fuel_m3_s=0 * run.fuel_m3_s, load=0 * run.load) for run in runs]
    assert learnt_elasticity(unknown, slopes, load=load) is None
    assert learnt_wind(unknown, slopes, load=load) == 0.0
    assert learnt_elasticity(runs, replace(slopes, load=None), load=True) is None


@pytest.mark.parametrize("load", [False, True])
@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("grade", [False, True])
def test_physics_weighed_against_the_slopes(load: bool, known: bool, grade: bool) -> None:
    """Friction and rolling rise with speed, air drag with its cube: 1 + 2 share (2 share of load, which lacks the speed
    of the engine); the errors are own choices. Two numbers with errors are weighed by precision."""
    runs, slopes = _driven()
    if grade:
        slopes = Slopes(("speed", "grade"), (0, 3), slopes.fuel, slopes.load)
    variances = []
    for run in runs:
        v, w = run.covariates[:, 0], run.weight_s
        off = v - _weighed(v, w)
        variances.append(float((w * off**2).sum() / (w.sum() - (w**2).sum() / w.sum())))
    unsteady = math.sqrt(np.mean(variances)) / 25.5
    share = 0.4
    share_error = share * (0.1 if known else 0.2)
    physics = 2 * share + (0 if load else 1)
    error = math.sqrt((2 * share_error) ** 2 + 0.2**2 + unsteady**2)
    slope_error = (0.015 if grade else 0.06) / unsteady
    learnt = learnt_elasticity(runs, slopes, load=load)
    precise = 1 / error**2 + 1 / slope_error**2
    found = sensitivity(runs, slopes, share, known=known, load=load)
    assert found.speed == pytest.approx((physics / error**2 + learnt / slope_error**2) / precise)
    assert found.speed_error == pytest.approx(1 / math.sqrt(precise))
    assert (found.air_share, found.air_share_error) == (share, pytest.approx(share_error))
    blind = sensitivity(runs, Slopes((), (), np.zeros(0), None), share, known=known, load=load)
    assert (blind.speed, blind.speed_error) == (pytest.approx(physics), pytest.approx(error))
    one_window = [a_run("x", weight_s=(10.0,), speed=25.0)]
    alone = sensitivity(one_window, Slopes((), (), np.zeros(0), None), share, known=known, load=load)
    assert alone.speed_error == pytest.approx(math.sqrt((2 * share_error) ** 2 + 0.2**2))


# --- runs brought to like conditions ----------------------------------------------------------------------------------


def _apart(seed: int = 5, pairs: int = 6, *, control: bool = False, paired: bool = True) -> list[RunWindows]:
    """Return runs at unlike speeds and head winds, level inside; fuel and load go with both, and are 6 % more with."""
    draw = np.random.default_rng(seed)
    runs = []
    for k in range(pairs):
        for state in ("working", "stowed") if k % 2 else ("stowed", "working"):
            v, wind = 25 + draw.normal(0, 0.6), draw.normal(0, 1)
            fuel = (1 + 0.06 * (state == "working") + 1.9 * (v / 25 - 1) + 0.03 * wind + draw.normal(0, 0.005)) * 2e-6
            means = {"speed_m_s": v, "head_wind_m_s": wind}
            run = a_run(f"{k} {state}", state, str(k) if paired else "", fuel=fuel, load=fuel * 2e5, means=means)
            if control:
                other = a_run(
                    "c", "absent", fuel=3e-6 * (1 + draw.normal(0, 0.03)), load=0.3 * (1 + draw.normal(0, 0.02))
                )
                run = replace(
                    run, control=replace(other, means=other.means | {"speed_m_s": v * (1 + draw.normal(0, 0.01))})
                )
            runs.append(run)
    return runs


def _design(runs: list[RunWindows]) -> Design:
    words = "within pairs" if runs[0].pair else "two groups"
    return Design("working", "stowed", tuple(runs), words, len(runs) // 2 if runs[0].pair else 0)


def _inside(design: Design, values: np.ndarray) -> np.ndarray:
    """Return values less the mean of their pair."""
    pairs = [run.pair for run in design.runs]
    return np.array(
        [v - np.mean([values[j] for j in range(len(pairs)) if pairs[j] == pairs[k]]) for k, v in enumerate(values)]
    )


@pytest.mark.parametrize("paired", [True, False])
@pytest.mark.parametrize("about", [About(), About(drag_n_s2_m2=0.5, marginal_m3_j=0.264e-3 / 3.6e6)])
def test_fuel_and_load_beside_speed_and_wind(paired: bool, about: About) -> None:
    runs = _apart(paired=paired)
    design = _design(runs)
    found = quantities_of(design, 0.9, about)
    assert not found.controlled
    speed, wind = (np.array([run.means[key] for run in runs]) for key in ("speed_m_s", "head_wind_m_s"))
    fuel = np.array([run.fuel_m3_s[0] for run in runs])
    v = float(speed.mean())
    known = about.drag_n_s2_m2 is not None
    # drag behind a drivetrain of 93 %, over the power that the fuel gives
    share = 0.5 * v**3 / 0.93 / (fuel.mean() * 3.6e9 / 0.264) if known else v**2 / (v**2 + 28**2)
    treated = np.array([run.state == "working" for run in runs])
    blocks = np.array([run.pair for run in runs])
    for quantity, values, friction in ((found.fuel, fuel, 1.0), (found.load, 2e5 * fuel, 0.0)):
        mean = values.mean()
        faster = _inside(design, np.log(speed))
        pushing = _inside(design, (1 + wind / speed) ** 2 - 1)
        brought = values - mean * ((friction + 2 * share) * faster + share * pushing)
        share_error = (0.1 if known else 0.2) * share
        deviation = np.array([math.sqrt((2 * share_error) ** 2 + 0.2**2 + 1e-12), share_error])
        covariates = Covariates(mean * np.column_stack([faster, pushing]), deviation)
        effect = run_level_effect(brought, treated, blocks, 0.9, covariates)
        assert quantity.conditions == ("speed of the runs", "head wind")
        assert quantity.plain == pytest.approx(values)
        slopes = np.array(effect.slopes)
        assert quantity.calm == pytest.approx(brought - mean * np.column_stack([faster, pushing]) @ slopes, rel=1e-6)
        without = brought.mean() - effect.change.estimate * 0.5
        assert quantity.without == pytest.approx(without)
        bias = 0.5 * effect.standard_error**2 / without
        assert quantity.change.change.estimate == pytest.approx(effect.change.estimate - bias)
        assert quantity.change.change.ends == pytest.approx([end - bias for end in effect.change.ends])
        assert quantity.relative.change.estimate == pytest.approx((effect.change.estimate - bias) / without)
        plain = run_level_effect(values, treated, blocks, 0.9)
        assert quantity.plain_change.change.ends == pytest.approx(plain.change.ends)
        assert (quantity.plain_change.p_value, quantity.plain_change.freedom) == pytest.approx(
            (plain.p_value, plain.freedom)
        )
        assert quantity.plain_without == pytest.approx(mean - 0.5 * plain.change.estimate)
        assert (quantity.sensitivity.air_share, quantity.sensitivity.air_share_error) == pytest.approx(
            (share, share_error)
        )
        assert quantity.sensitivity.speed == pytest.approx(friction + 2 * share)
    assert found.fuel.relative.change.estimate == pytest.approx(0.06, abs=0.02)
    ratios = quantities_of(design, 0.9, replace(about, absolute=False))
    assert ratios.fuel.sensitivity.air_share == pytest.approx(v**2 / (v**2 + 28**2))


def test_values_without_a_look_at_the_states() -> None:
    """They are brought by slopes that are estimated beside the pairs alone: the randomisation test rests on them."""
    design = _design(_apart())
    found = quantities_of(design, 0.95, About()).fuel
    assert found.unlabelled != pytest.approx(found.calm, rel=1e-9)
    for pair in range(6):  # covariates are centred in the pairs: the mean of a pair does not move
        rows = slice(2 * pair, 2 * pair + 2)
        assert found.unlabelled[rows].mean() == pytest.approx(found.calm[rows].mean())


def test_what_the_slopes_have_taken_out_is_not_taken_twice() -> None:
    """Speed that varies inside runs, too: what is left between the runs is what physics expects beyond the slopes."""
    draw = np.random.default_rng(8)
    runs = []
    for k in range(12):
        state, v = ("working", "stowed")[k % 2], 25 + draw.normal(0, 0.5)
        speed = v + np.tile([1.0, -1.0], 12)
        means = {"speed_m_s": float(v), "head_wind_m_s": 1.5 * (-1) ** (k // 2 + k % 2)}
        fuel = 2e-6 * (1 + 0.04 * (k % 2 == 0) + 0.05 * (speed - 25) + draw.normal(0, 0.01, 24))
        runs.append(
            a_run(
                f"run {k}", state, str(k // 2), fuel=fuel, weight_s=(10.0,) * 24, speed=speed, air=speed**3, means=means
            )
        )
    runs = [
        replace(run, covariates=np.column_stack([run.covariates[:, :3], speed_of(run) ** 3, run.covariates[:, 4]]))
        for run in runs
    ]
    design = _design(runs)
    found = quantities_of(design, 0.95, About())
    slopes = inside_slopes(runs)
    assert slopes.names
    adjusted = adjusted_means(runs, slopes)[1]
    mean = adjusted.mean()
    speed, wind = (np.array([run.means[key] for run in runs]) for key in ("speed_m_s", "head_wind_m_s"))
    how = found.fuel.sensitivity
    faster, pushing = _inside(design, np.log(speed)), _inside(design, (1 + wind / speed) ** 2 - 1)
    # a wind w pushes by 2 w / v of the air drag: half of v times what the slopes hold of a m/s
    beyond_wind = how.air_share - learnt_wind(runs, slopes) * speed.mean() / 2
    brought = adjusted - mean * ((how.speed - learnt_elasticity(runs, slopes)) * faster + beyond_wind * pushing)
    covariates = Covariates(mean * np.column_stack([faster, pushing]), np.array([how.speed_error, how.air_share_error]))
    effect = run_level_effect(brought, design.treated, design.blocks, 0.95, covariates)
    assert found.fuel.change.slopes == pytest.approx(effect.slopes, rel=1e-6)
    assert found.fuel.without == pytest.approx(brought.mean() - effect.change.estimate / 2)
    assert found.slopes.names == slopes.names
    assert found.load is not None


def speed_of(run: RunWindows) -> np.ndarray:
    return run.covariates[:, 0]


def test_a_vehicle_that_drove_along() -> None:
    """The fuel is that over the control's; how unlike the two answer to weather is known to 15 % (own choice)."""
    runs = _apart(control=True)
    design = _design(runs)
    found = quantities_of(design, 0.95, About())
    assert found.controlled
    assert found.slopes.names == ()
    treated, blocks = design.treated, design.blocks
    for quantity, values, others, friction in (
        (found.fuel, [run.fuel_m3_s[0] for run in runs], [run.control.fuel_m3_s[0] for run in runs], 1.0),
        (found.load, [run.load[0] for run in runs], [run.control.load[0] for run in runs], 0.0),
    ):
        ratio = np.array(others) / np.mean(others)
        values = np.array(values) / ratio
        speeds = np.array([run.means["speed_m_s"] / run.control.means["speed_m_s"] for run in runs])
        faster, other = _inside(design, np.log(speeds)), _inside(design, np.log(ratio))
        v = np.mean([run.means["speed_m_s"] for run in runs])
        share = v**2 / (v**2 + 28**2)
        brought = values - values.mean() * (friction + 2 * share) * faster
        deviation = np.array([quantity.sensitivity.speed_error, 0.15])
        covariates = Covariates(values.mean() * np.column_stack([faster, other]), deviation)
        effect = run_level_effect(brought, treated, blocks, 0.95, covariates)
        assert quantity.conditions == ("speed of the runs", "control vehicle")
        assert quantity.change.slopes == pytest.approx(effect.slopes, rel=1e-6)
        assert quantity.without == pytest.approx(brought.mean() - effect.change.estimate / 2)
        assert quantity.plain == pytest.approx(values * ratio)
    no_load = [replace(run, control=replace(run.control, load=np.full(6, np.nan))) for run in runs]
    assert quantities_of(_design(no_load), 0.95, About()).load.conditions == ("speed of the runs",)
    standing = [
        replace(run, control=replace(run.control, means=run.control.means | {"speed_m_s": 2.0})) for run in runs
    ]
    level = quantities_of(_design(standing), 0.95, About()).fuel  # its speed is not known: as fast as the other
    assert level.conditions == ("control vehicle",)


def test_where_speed_or_wind_say_nothing() -> None:
    def of(**means: float) -> tuple[str, ...]:
        runs = [replace(run, means=run.means | means) for run in _apart()]
        return quantities_of(_design(runs), 0.95, About()).fuel.conditions

    assert of(speed_m_s=25.0) == ("head wind",)
    assert of(head_wind_m_s=np.nan) == ("speed of the runs",)
    assert of(head_wind_m_s=2.0, speed_m_s=25.0) == ()
    assert of(speed_m_s=2.0) == ()  # a walking pace
    one = _apart()
    one[0] = replace(one[0], means=one[0].means | {"head_wind_m_s": np.nan})
    assert quantities_of(_design(one), 0.95, About()).fuel.conditions == ("speed of the runs",)
    no_load = [replace(run, load=np.where(np.arange(6) < 1, np.nan, run.load)) for run in _apart()]
    assert quantities_of(_design(no_load), 0.95, About()).load is None


def test_one_run_of_a_state_has_no_interval() -> None:
    runs = [run for run in _apart(paired=False) if run.state == "stowed" or run.name == "0 working"]
    found = quantities_of(_design(runs), 0.95, About()).fuel
    assert (found.change.change.low, found.plain_change.change.low) == (None, None)
    two = [run for run in _apart(paired=False) if run.state == "stowed" or run.name[0] in "01"]
    assert quantities_of(_design(two), 0.95, About()).fuel.change.change.low is not None


def test_the_mean_without_the_effect() -> None:
    values, treated = np.array([3.0, 2.0, 4.0, 2.0, 2.0]), np.array([True, False, True, False, False])
    effect = RunLevelEffect(Estimate(1.5, None, None, 0.95), 0)
    assert without_mean(values, treated, effect) == pytest.approx(2.6 - 1.5 * 0.4)
    absurd = replace(effect, change=Estimate(7.0, None, None, 0.95))
    assert without_mean(values, treated, absurd) == 2.0


def test_the_bias_of_a_ratio_is_bounded() -> None:
    """Half of the runs with: half the square of the error over the mean, of an error of 30 % at most."""
    fuel = [1.0, 9.0, 8.0, 1.0, 2.0, 7.0]
    runs = [a_run(f"{k}", ("working", "stowed")[k % 2], str(k // 2), fuel=f) for k, f in enumerate(fuel)]
    found = quantities_of(_design(runs), 0.95, About()).fuel
    assert found.change.standard_error / found.without > 0.3
    assert found.change.change.estimate == pytest.approx(
        found.plain_change.change.estimate - 0.5 * 0.09 * found.without
    )


def test_an_error_that_runs_cannot_remove() -> None:
    one = Estimate(0.10, 0.07, 0.14, 0.95)
    wide = widened(one, 0.2)
    assert wide.ends == pytest.approx((0.10 - math.hypot(0.03, 0.02), 0.10 + math.hypot(0.04, 0.02)))
    at_80 = widened(replace(one, level=0.8), 0.2)
    more = 0.02 * scipy.stats.norm.ppf(0.9) / scipy.stats.norm.ppf(0.975)
    assert at_80.low == pytest.approx(0.10 - math.hypot(0.03, more))
    saved = widened(Estimate(-0.10, -0.14, -0.07, 0.95), 0.2)
    assert saved.ends == pytest.approx((-0.10 - math.hypot(0.04, 0.02), -0.10 + math.hypot(0.03, 0.02)))
    bare = Estimate(0.1, None, None, 0.95)
    assert widened(bare, 0.2) == bare
    assert widened(one, 0.0) == one


# --- the whole answer, of level runs ----------------------------------------------------------------------------------

WITH, WITHOUT = (2.20e-6, 2.12e-6, 2.16e-6, 2.19e-6, 2.10e-6), (2.00e-6, 1.98e-6, 2.03e-6, 2.04e-6, 1.97e-6)


def _level(**more) -> list[RunWindows]:
    """Return five pairs at one speed: nothing is to be brought to like conditions."""
    runs = []
    for k, (ours, theirs) in enumerate(zip(WITH, WITHOUT, strict=True)):
        both = [("working", ours), ("stowed", theirs)][:: 1 if k % 2 else -1]
        runs += [
            a_run(f"{state} {k}", state, str(k), fuel=fuel, load=fuel * 2e5, direction=("out", "back")[k % 2], **more)
            for state, fuel in both
        ]
    return runs


def _relative(level: float = 0.95, scale: float = 1.0) -> Estimate:
    gain = scale * (np.array(WITH) - np.array(WITHOUT))
    mean, error = gain.mean(), gain.std(ddof=1) / math.sqrt(5)
    base = scale * np.mean(WITHOUT)
    bias = 0.5 * (error / base) ** 2
    half = scipy.stats.t.ppf(0.5 + level / 2, 4) * error / base
    return Estimate(mean / base - bias, mean / base - bias - half, mean / base - bias + half, level)


def close(one: Estimate | None, other: Estimate, factor: float = 1.0) -> bool:
    assert one is not None
    assert one.level == other.level
    assert (one.estimate, *one.ends) == pytest.approx([factor * x for x in (other.estimate, *other.ends)])
    return True


@pytest.mark.parametrize("level", [0.95, 0.8])
def test_every_field_of_an_answer(level: float) -> None:
    error = SourceError(0.06, 0.03, "words")
    found = compare(_level(), level=level, predicted=0.075, predicted_error=0.01, about=About(error=error))
    share, base = _relative(level), float(np.mean(WITHOUT))
    assert (found.with_state, found.without_state, found.level) == ("working", "stowed", level)
    assert close(found.effect, share)
    plain = np.array(WITH) - np.array(WITHOUT)
    half = scipy.stats.t.ppf(0.5 + level / 2, 4) * plain.std(ddof=1) / math.sqrt(5)
    assert close(found.paired, Estimate(plain.mean(), plain.mean() - half, plain.mean() + half, level), 1 / base)
    assert close(found.effect_m3_s, share, base)
    assert close(found.effect_m2, share, base / 25)
    assert close(found.load_points, share, 100 * base * 2e5)
    assert close(found.load_share, share)
    assert close(found.beyond, widened(share, 0.03))
    assert close(found.beyond_m3_s, widened(share, 0.06), base)
    assert (found.baseline_m3_s, found.baseline_m2) == pytest.approx((base, base / 25))
    assert (found.randomisation_p, found.randomisation_least_p) == (2 / 32, 2 / 32)
    assert (found.conclusion, found.more_pairs) == ("costs", None)
    assert found.words == (
        f"Working compared with stowed: costs {100 * share.estimate:.1f} % ± {50 * (share.high - share.low):.1f} % "
        f"more fuel ({100 * level:.0f} %)."
    )
    assert (found.pairs, found.runs_with, found.runs_without, found.design) == (5, 5, 5, "within pairs")
    assert (found.adjusted_for, found.firm, found.controlled) == ((), True, False)
    assert found.agreement == (
        f"predicted +7.5 % ± 1.0 %: agrees with the measurement (inside its {100 * level:.0f} % interval)."
    )
    assert (found.rejected.runs, found.rejected.not_applied, found.rejected.effect_with_them) == ({}, "", None)
    assert (found.kept, found.warnings, found.odd) == ((1.0, 1.0), (), ())
    assert [run.name for run in found.runs] == [run.name for run in _level()]
    # three runs out, two back, alike in both states; (1 + w/25)^2 - 1 times the share of air drag is the effect
    drag = 25**2 / (25**2 + 28**2)
    assert (1 + found.wind.equal_m_s / 25) ** 2 - 1 == pytest.approx(share.estimate / drag)
    assert (found.wind.given, found.wind.alike, found.wind.ways, found.wind.controlled) == (False, True, 2, False)
    assert len(found.each) == 5
    assert found.drift is not None
    for change, run in zip(found.changes, found.runs, strict=True):
        own = run.fuel_m3_s[0] / base - 1
        assert change == RunChange(run.name, run.state, run.pair, run.direction, pytest.approx(own), pytest.approx(own))


def test_an_error_inside_and_no_litres() -> None:
    about = About(error=SourceError(0.1, 0.07, "", inside=True))
    found = compare(_level(), about=about)
    base = float(np.mean(WITHOUT))
    assert close(found.effect, widened(_relative(), 0.07))
    assert close(found.beyond, widened(_relative(), 0.07))
    assert close(found.effect_m3_s, widened(_relative(), 0.1), base)
    assert close(found.beyond_m3_s, widened(_relative(), 0.1), base)
    no_litres = compare(_level(), about=About(absolute=False))
    assert (no_litres.effect_m3_s, no_litres.effect_m2, no_litres.beyond_m3_s) == (None, None, None)
    assert (no_litres.baseline_m3_s, no_litres.baseline_m2) == (None, None)
    still = compare([replace(run, means=run.means | {"speed_m_s": 0.0}) for run in _level()])
    assert (still.wind, still.effect_m2, still.baseline_m2) == (None, None, None)
    assert close(still.effect_m3_s, _relative(), base)
    bare = compare([replace(run, load=np.full(6, np.nan)) for run in _level()])
    assert (bare.load_points, bare.load_share) == (None, None)


def test_fuel_converted_from_load_is_told_as_load() -> None:
    about = About(firm=False, load_name="absolute load", predicted_load=(3.5, 0.5))
    found = compare(_level(), about=about, predicted=0.3)
    base = 100 * float(np.mean(WITHOUT)) * 2e5
    share = _relative()
    assert (found.firm, found.conclusion) == (False, "costs")
    assert found.words == (
        f"Working compared with stowed: raises the absolute load by {share.estimate * base:.2f} points ± "
        f"{(share.high - share.low) / 2 * base:.2f} (95 %), {100 * share.estimate:.1f} % of the load."
    )
    assert found.agreement.startswith("predicted +3.5 points of load ± 0.5 points of load: agrees with")
    alone = compare(_level(), about=replace(about, predicted_load=None), predicted=0.3, predicted_error=0.02)
    assert alone.agreement.startswith("predicted +30.0 % ± 2.0 %: disagrees with the measurement, which shows less.")
    no_load = compare([replace(run, load=np.full(6, np.nan)) for run in _level()], about=about, predicted=0.3)
    assert "more fuel" in no_load.words


def test_an_effect_that_no_wind_explains() -> None:
    less = [replace(run, fuel_m3_s=run.fuel_m3_s * (0.4 if run.state == "working" else 1.0)) for run in _level()]
    found = compare(less)
    assert found.effect.estimate < -(25**2) / (25**2 + 28**2)
    assert found.wind.equal_m_s == -25.0  # with so much from behind there is no air drag at all
    windy = compare([replace(run, means=run.means | {"head_wind_m_s": 1.0}) for run in _level()])
    assert windy.wind.given
    one_way = compare([replace(run, direction="out") for run in _level()])
    assert (one_way.wind.alike, one_way.wind.ways) == (True, 1)
    unlike = [replace(run, direction="out" if run.state == "working" else run.direction) for run in _level()]
    assert (compare(unlike).wind.alike, compare(unlike).wind.ways) == (False, 2)
    other_way = [replace(run, direction="out" if run.state == "stowed" else run.direction) for run in _level()]
    assert (compare(other_way).wind.alike, compare(other_way).wind.ways) == (False, 2)
    shares = [replace(run, direction="out" if run.name == "working 1" else run.direction) for run in _level()]
    assert compare(shares).wind.alike is False
    # half of six and half of four runs out: as often, however many runs each state has
    six_and_four = [
        a_run(f"{state} {k}", state, "", fuel=(2e-6 + k * 1e-8), direction=("out", "back")[k % 2])
        for state, many in (("working", 6), ("stowed", 4))
        for k in range(many)
    ]
    assert (compare(six_and_four).wind.alike, compare(six_and_four).wind.ways) == (True, 2)
    untold = compare([replace(run, direction="") for run in _level()])
    assert (untold.wind.alike, untold.wind.ways) == (True, 0)


# --- runs that are left out -------------------------------------------------------------------------------------------


def test_runs_with_too_few_rows_and_incomplete_pairs() -> None:
    runs = _level()
    short = replace(runs[0], weight_s=np.array([10.0, 10.0]), fuel_m3_s=np.full(2, 2e-6), load=np.full(2, 0.4))
    short = replace(short, filters=(Filter("braking", 12), Filter("engine not warm", 30)))
    found = compare([replace(short, covariates=np.full((2, 5), np.nan)), *runs[1:]])
    assert found.pairs == 4
    assert f"{short.name}: left out, only 20 s are left after the filters (engine not warm: 30 rows)" in found.warnings
    assert f"{runs[1].name}: left out, pair 0 has no run in the other state" in found.warnings
    three = replace(runs[0], weight_s=np.full(3, 5.0), fuel_m3_s=np.full(3, 2e-6), load=np.full(3, 0.4))
    assert compare([replace(three, covariates=np.full((3, 5), np.nan)), *runs[1:]]).pairs == 5
    no_fuel = replace(runs[0], fuel_m3_s=np.zeros(6))
    assert f"{short.name}: left out, only 60 s are left after the filters" in compare([no_fuel, *runs[1:]]).warnings
    still = replace(runs[0], means=runs[0].means | {"speed_m_s": 2.0})
    assert f"{short.name}: left out, the car stands in all of it" in compare([still, *runs[1:]]).warnings
    alone = compare([*runs, a_run("alone", "working")])
    assert "alone: left out, no pair given" in alone.warnings
    third = compare([*runs, a_run("third", "absent", "0", fuel=9e-6)])
    assert close(third.effect, _relative())
    with pytest.raises(InputError, match="no run with the turbine stowed has enough rows left: stowed 0: left out"):
        compare([replace(run, fuel_m3_s=np.zeros(6)) if run.state == "stowed" else run for run in runs])
    with pytest.raises(
        InputError, match=r"no run with the turbine absent is listed; accepted: at least two runs working"
    ):
        compare(runs, without_state="absent")


def test_what_is_set_against_what() -> None:
    absent = [replace(run, state="absent") if run.state == "stowed" else run for run in _level()]
    assert compare(absent).without_state == "absent"
    both = compare(
        [*_level(), *[replace(run, name=f"{run.name} a", pair="9") for run in absent if run.state == "absent"]]
    )
    assert both.without_state == "stowed"
    mount = [replace(run, state="absent") if run.state == "working" else run for run in _level()]
    answer = compare(mount, with_state="stowed")
    assert (answer.without_state, answer.conclusion) == ("absent", "saves")
    with pytest.raises(InputError, match=r"every run is working; accepted: runs working and runs stowed \(or absent\)"):
        compare([run for run in _level() if run.state == "working"])
    with pytest.raises(
        InputError, match="nothing to set the runs stowed against; accepted: runs stowed and runs absent"
    ):
        compare(_level(), with_state="stowed")


def test_pairs_blocks_and_groups() -> None:
    runs = _level()
    one_pair = compare(runs[:2])
    assert (one_pair.design, one_pair.pairs, one_pair.conclusion) == ("within pairs", 1, "cannot tell")
    # one complete pair among loose runs: all are compared as two groups
    loose = [*runs[:2], *(replace(run, pair="") for run in runs[2:])]
    found = compare(loose)
    assert (found.design, found.pairs) == ("two groups", 0)
    assert "the runs are not in pairs" in " ".join(found.warnings)
    # one block of more than two is a design of its own, whatever else is there
    block = [*(replace(run, pair="A") for run in runs[:6]), replace(runs[6], pair=""), replace(runs[7], pair="")]
    found = compare(block)
    assert (found.design, found.pairs, found.runs_with) == ("within pairs", 3, 3)
    two = compare([*runs[:4], *(replace(run, pair="") for run in runs[4:])])
    assert (two.design, two.pairs) == ("within pairs", 2)
    uneven = compare([*runs[:6], replace(runs[6], pair="0")])
    assert (uneven.pairs, uneven.runs_with + uneven.runs_without) == (3, 7)


def test_what_the_rule_rejects_goes_with_its_pair() -> None:
    runs = _level()
    jam = replace(runs[0], means=runs[0].means | {"speed_m_s": 20.0})
    found = compare([jam, *runs[1:]])
    why = "mean speed -20 % off the median, limit 10 %"
    assert found.rejected.runs == {jam.name: why}
    assert (found.pairs, found.rejected.not_applied) == (4, "")
    whole = quantities_of(_design([jam, *runs[1:]]), 0.95, About()).fuel.relative.change
    assert close(found.rejected.effect_with_them, whole)
    with_them = (
        f"rejected by the rule of the run sheet: {jam.name} ({why}): with all runs {100 * whole.estimate:+.1f} %"
    )
    assert with_them in found.warnings
    # in a block of more runs the others stay
    block = compare([replace(jam, pair="A"), *(replace(run, pair="A") for run in runs[1:6])])
    assert (block.runs_with + block.runs_without, block.design) == (5, "within pairs")
    groups = compare([replace(run, pair="") for run in [jam, *runs[1:]]])
    assert groups.runs_with + groups.runs_without == 9
    # too few would be left
    four = [replace(run, pair="") for run in runs[:4]]
    four[0] = replace(four[0], means=jam.means)
    kept = compare(four)
    assert kept.rejected.not_applied == "too few runs would be left"
    assert kept.runs_with + kept.runs_without == 4
    assert f"the rule of the run sheet would reject {four[0].name} ({why}), and is not applied" in " ".join(
        kept.warnings
    )
    few = compare(runs[:2])
    assert few.rejected.not_applied == "fewer than four runs"


# --- what is told beside ----------------------------------------------------------------------------------------------


def test_rows_that_are_kept_or_known_unlike() -> None:
    def said(ours: dict, theirs: dict) -> list[str]:
        runs = [replace(run, **(ours if run.state == "working" else theirs)) for run in _level()]
        return [text for text in compare(runs).warnings if "of the rows" in text]

    def unknown(rows: int) -> dict:
        return {"filters": (Filter(UNKNOWN, rows),), "rows": 1000, "kept_rows": 1000 - rows}

    assert said(unknown(0), unknown(29)) == []
    assert said(unknown(0), unknown(31)) == [
        "not like for like: fuel is known for 100 % of the rows working and 97 % stowed; the interval does not cover "
        "that"
    ]
    kept = {"rows": 1000, "kept_rows": 1000}
    assert said(kept, kept | {"kept_rows": 941}) == []
    assert said(kept | {"kept_rows": 939}, kept) == [
        "94 % of the rows working are used and 100 % stowed: the driving was not alike"
    ]
    found = compare([replace(run, rows=100 * (k + 1), kept_rows=90 * k + 95) for k, run in enumerate(_level())])
    for share, state in zip(found.kept, ("working", "stowed"), strict=True):
        rows = [k for k, run in enumerate(_level()) if run.state == state]
        assert share == pytest.approx(sum(90 * k + 95 for k in rows) / sum(100 * (k + 1) for k in rows))
    weighed = compare([replace(run, rows=0, kept_rows=0, metered_m3_s=run.fuel_m3_s[0]) for run in _level()])
    assert weighed.kept == (1.0, 1.0)


def test_a_warning_that_most_runs_share_is_told_once() -> None:
    def said(many: int) -> list[str]:
        runs = [
            replace(run, warnings=(f"{run.name}: {NO_COOLANT}",) if k < many else ()) for k, run in enumerate(_level())
        ]
        runs[9] = replace(runs[9], warnings=("own words",))
        return list(compare(runs).warnings)

    assert said(2) == [f"{run.name}: {NO_COOLANT}" for run in _level()[:2]] + ["own words"]
    assert said(3) == ["own words", f"3 runs: {NO_COOLANT}"]


def test_drift_along_the_order_driven() -> None:
    def runs(step: float, started: bool) -> list[RunWindows]:
        found = []
        for k in range(12):
            state = ("working", "stowed", "stowed", "working")[k % 4]
            fuel = 2e-6 * (1 + 0.05 * (state == "working") + step * k + 0.001 * (-1) ** (k // 3))
            date = f"2026-05-03 10:{k:02}" if started else ""
            pair = str(2 * (k // 4) + k % 2)
            found.append(
                a_run(f"run {k}", state, pair, fuel=fuel, date=date, started=date, direction=("out", "back")[k % 2])
            )
        return found

    steady, drifting = compare(runs(0.0, started=False)), compare(runs(0.01, started=False))
    assert not [text for text in steady.warnings if "drifts" in text]
    (said,) = [text for text in drifting.warnings if "drifts" in text]
    per_run = drifting.drift.per_run
    assert per_run == pytest.approx(0.01 / (1 + 0.025 + 0.01 * 5.5), rel=0.05)
    assert said.startswith(
        f"fuel drifts by {100 * per_run:+.2f} % from run to run (p = {drifting.drift.p_value:.3f}): "
    )
    assert said.endswith("the order of the states cancels it")
    mixed = list(np.random.default_rng(1).permutation(12))
    told = compare([runs(0.01, started=True)[k] for k in mixed])
    assert told.drift.per_run == pytest.approx(per_run)  # by the times that the list says
    assert compare([runs(0.01, started=False)[k] for k in mixed]).drift.per_run != pytest.approx(per_run, rel=0.1)
    one_untold = [runs(0.01, started=True)[k] for k in mixed]
    one_untold[3] = replace(one_untold[3], started="")
    assert compare(one_untold).drift.per_run != pytest.approx(per_run, rel=0.1)
    always_first = [
        replace(run, state=("working", "stowed")[k % 2], pair=str(k // 2), direction="")
        for k, run in enumerate(runs(0.01, False))
    ]
    first = compare(always_first)
    (moved,) = [text for text in first.warnings if "drifts" in text]
    # Each working run comes one run before its stowed one: the drift takes its step from the effect.
    assert moved.endswith(f"it explains {-100 * first.drift.per_run:+.1f} % of the change of fuel")
    assert 0.5 < 100 * first.drift.per_run < 1.5


def test_a_pair_that_stands_out_is_told() -> None:
    def said(changes: tuple[float, ...], **more) -> list[str]:
        runs = []
        for k, change in enumerate(changes):
            runs += [
                a_run(f"w{k}", "working", str(k), fuel=(1 + change) * 2e-6, **more),
                a_run(f"s{k}", "stowed", str(k), fuel=2e-6, **more),
            ]
        found = compare(runs)
        assert found.odd == tuple(one for one in found.each if one.stands_out or one.swapped)
        return [text for text in found.warnings if "It is not left out" in text]

    (odd,) = said((0.05, 0.051, 0.049, 0.052, 0.048, 0.15))
    assert odd.startswith("pair 5 stands out with +")
    assert "(most likely w5): without it +5.0 %; a traffic jam, a swapped label, a fault?" in odd
    (swapped,) = said((0.03, 0.06, -0.035, 0.01, 0.07, 0.02, 0.08, 0.05))
    assert swapped.startswith("pair 2 runs the other way (-")
    # so much that no rounding hides a factor
    (odd,) = said((0.45, 0.46, 0.44, 0.47, 0.43, 0.95))
    assert odd.startswith("pair 5 stands out with +95.0 % (most likely w5): without it +45.0 %; ")
    (swapped,) = said((0.3, 0.6, -0.35, 0.1, 0.7, 0.2, 0.8, 0.5))
    assert swapped.startswith("pair 2 runs the other way (-35.0 %, the others +45.7 %): are its labels swapped?")
    assert said((0.05, 0.051, 0.049, 0.052, 0.048, 0.05)) == []


def test_a_few_runs_that_carry_an_effect() -> None:
    """Both tests go by the same runs: a warning where the randomisation test is clearly less sure than the interval."""
    draw = np.random.default_rng(0)
    seen = set()
    for _ in range(12):
        changes = np.concatenate([draw.normal(0.02, 0.022, 7), [0.06]])
        runs = []
        for k, change in enumerate(changes.tolist()):
            runs += [
                a_run(f"w{k}", "working", str(k), fuel=(1 + change) * 2e-6),
                a_run(f"s{k}", "stowed", str(k), fuel=2e-6),
            ]
        found = compare(runs, level=0.95)
        values = np.array([run.fuel_m3_s[0] for run in runs])
        treated, blocks = np.tile([True, False], 8), np.repeat(np.arange(8), 2)
        assert found.randomisation_p == randomisation_p(values, treated, blocks)
        unsure = found.conclusion == "costs" and found.randomisation_p > 0.1
        told = [text for text in found.warnings if "randomisation test" in text]
        assert told == (
            [
                f"the randomisation test (p = {found.randomisation_p:.3f}) is less sure than the interval: a few runs "
                "carry it"
            ]
            if unsure
            else []
        )
        seen.add(found.conclusion)
    assert "costs" in seen


def test_an_interval_that_is_surer_than_the_randomisation_test() -> None:
    """Of the 16 changes of sign of 3, 3, 3 and nearly none, four give as much: p = 1/4; of four pairs least 1/8."""
    runs = []
    for k, change in enumerate((0.03, 0.03, 0.03, -0.0001)):
        both = [("working", (1 + change) * 2e-6), ("stowed", 2e-6)]
        runs += [a_run(f"{state} {k}", state, str(k), fuel=fuel) for state, fuel in both[:: 1 if k % 2 else -1]]
    for level, told in ((0.9, True), (0.8, False)):  # twice what the interval leaves out: 0.2 and 0.4
        found = compare(runs, level=level)
        assert (found.conclusion, found.randomisation_p, found.randomisation_least_p) == ("costs", 0.25, 0.125)
        said = "the randomisation test (p = 0.250) is less sure than the interval: a few runs carry it"
        assert (said in found.warnings) is told


@pytest.mark.parametrize(
    ("p_value", "least_p", "told"),
    [(0.099, 0.01, False), (0.101, 0.01, True), (0.18, 0.125, False), (0.19, 0.125, True)],
)
def test_the_least_that_is_called_less_sure(p_value: float, least_p: float, told: bool) -> None:
    """At 95 % a tenth; where few dealings cannot give that, half as much again as the least that they can."""
    for conclusion in ("costs", "saves"):
        assert bool(_unsure(conclusion, p_value, least_p, 0.95)) is told
    assert _unsure("cannot tell", p_value, least_p, 0.95) == []


# --- sentences --------------------------------------------------------------------------------------------------------


def _effect(estimate: float, half: float | None, spread: float | None = 0.02, level: float = 0.95) -> RunLevelEffect:
    ends = (None, None) if half is None else (estimate - half, estimate + half)
    return RunLevelEffect(Estimate(estimate, *ends, level), 4, spread)


def test_conclusions_by_the_interval() -> None:
    design = _design(_level())
    assert concluded(_effect(0.05, 0.0499), design, 0.03, named=False)[:2] == (
        "costs",
        "Working compared with stowed: costs 5.0 % ± 5.0 % more fuel (95 %).",
    )
    assert concluded(_effect(-0.05, 0.04, level=0.8), design, 0.03, named=False)[:2] == (
        "saves",
        "Working compared with stowed: saves 5.0 % ± 4.0 % of the fuel (80 %).",
    )
    for estimate in (0.005, -0.005):
        assert concluded(_effect(estimate, 0.02), design, 0.0251, named=False) == (
            "no effect larger than",
            f"Working compared with stowed: no effect larger than 2.5 %, anything larger can be excluded at 95 % "
            f"({100 * estimate:+.1f} % ± 2.0 %).",
            None,
        )
        assert concluded(_effect(estimate, 0.02), design, 0.0249, named=False)[0] == "cannot tell"
    assert concluded(_effect(0.05, None), design, 0.03, named=False)[0] == "cannot tell"
    assert concluded(_effect(0.05, 0.01, None), design, 0.03, named=False)[0] == "cannot tell"


@pytest.mark.parametrize(("spread", "paired", "steady"), [(0.03, True, True), (0.05, False, True), (0.04, True, False)])
def test_how_many_more_pairs(spread: float, paired: bool, steady: bool) -> None:
    runs = [replace(run, pair=run.pair if paired else "") for run in _level()]
    if not steady:
        runs = [replace(run, means=run.means | {"standing_s": 60.0}) for run in runs]
    design = _design(runs)
    kind, words, more = concluded(_effect(0.01, 0.05, spread), design, 0.03, named=True)
    heavier = 1.2 if steady else 1.3
    need = pairs_needed(0.03, spread, 0.8, 0.95, lambda *asked: chance_on_the_road(*asked, heavier=heavier))
    assert (kind, more) == ("cannot tell", need - 5)
    assert words == (
        f"Working compared with stowed: too close to call (+1.0 % ± 5.0 %, 95 %): {more} more pairs needed to show the "
        "predicted 3.0 % with a chance of 80 %."
    )
    last = concluded(_effect(0.01, 0.05, 0.001), design, 0.03, named=False)
    assert last[2] == 1
    assert "1 more pair needed to show an effect of 3 % with" in last[1]


def test_too_few_runs_are_told_in_numbers() -> None:
    def said(runs: list[RunWindows]) -> str:
        return concluded(_effect(0.02, None), _design(runs), 0.03, named=False)[1]

    two = [run for run in _level() if run.pair == "0"]
    assert said(two) == (
        "Working compared with stowed: no conclusion: 1 run working and 1 stowed give one difference (+2.0 %), but not "
        "how much two equal runs differ; drive at least two pairs, better six."
    )
    assert "2 runs working and 1 stowed show one difference" in said([*two, a_run("x", "working", "0")])


def test_words_on_load() -> None:
    design = _design(_level())
    points, share = Estimate(-2.0, -2.5, -1.5, 0.9), Estimate(-0.05, -0.06, -0.04, 0.9)
    assert load_words("saves", "x", points, share, design, "calculated load") == (
        "Working compared with stowed: lowers the calculated load by 2.00 points ± 0.50 (90 %), 5.0 % of the load."
    )
    other = load_words("cannot tell", "Working compared with stowed: too close", points, share, design, "absolute load")
    assert other == "Working compared with stowed, on absolute load: too close"
    for bare in (Estimate(1.0, None, None, 0.9), Estimate(1.0, 0.5, None, 0.9), Estimate(1.0, None, 1.5, 0.9)):
        told = load_words("costs", "Working compared with stowed: x", bare, share, design, "load")
        assert told.endswith("on load: x")


@pytest.mark.parametrize(
    ("predicted", "error", "said"),
    [
        (None, 0.01, ""),
        (0.029, 0.0, "predicted +2.9 %: disagrees with the measurement, which shows more. What"),
        (0.071, 0.0, "predicted +7.1 %: disagrees with the measurement, which shows less. What"),
        (0.02, 0.011, "predicted +2.0 % ± 1.1 %: agrees with the measurement (the two ranges overlap)."),
        (0.08, 0.011, "predicted +8.0 % ± 1.1 %: agrees with the measurement (the two ranges overlap)."),
        (0.02, 0.009, "predicted +2.0 % ± 0.9 %: disagrees"),
        (0.08, 0.009, "predicted +8.0 % ± 0.9 %: disagrees"),
        (0.03, 0.0, "predicted +3.0 %: agrees with the measurement (inside its 90 % interval)."),
        (0.07, 0.0, "predicted +7.0 %: agrees with the measurement (inside its 90 % interval)."),
    ],
)
def test_whether_a_prediction_agrees(predicted: float | None, error: float, said: str) -> None:
    effect = Estimate(0.05, 0.03, 0.07, 0.9)
    found = agreement_words(effect, predicted, error)
    assert found.startswith(said)
    assert bool(found) == bool(said)
    rough = agreement_words(Estimate(0.01, -0.02, 0.04, 0.95), 0.03, 0.0)
    assert rough == "predicted +3.0 %. The measurement is too rough to confirm or to exclude it."
    nothing = agreement_words(Estimate(0.01, 0.0, 0.02, 0.95), 0.0, 0.0)
    assert "agrees" in nothing
    assert agreement_words(Estimate(0.01, None, None, 0.95), 0.03, 0.01, "points") == (
        "predicted +3.0 points ± 1.0 points: no interval to hold it against."
    )


def _told(means_with: dict[str, float], means_without: dict[str, float] | None = None, **more) -> list[str]:
    runs = [
        replace(run, means=run.means | (means_with if run.state == "working" else means_without or {}))
        for run in _level()
    ]
    return confounding(_design(runs), **more)


@pytest.mark.parametrize(
    ("key", "gap", "said"),
    [
        # at 25 m/s: 0.6 m/s, or 2 % where that is more
        ("speed_m_s", 0.61, "speed differs: working runs +2.2 km/h against stowed runs (adjusted for; the error"),
        ("speed_m_s", 0.59, ""),
        ("speed_m_s", -0.61, "speed differs: working runs -2.2 km/h"),
        ("temperature_k", 4.1, "air temperature differs: working runs +4.1 K against stowed runs"),
        ("temperature_k", 3.9, ""),
        ("coolant_k", -4.1, "coolant temperature differs: working runs -4.1 K against stowed runs"),
        ("coolant_k", 3.9, ""),
        ("tyre_pressure_pa", 0.1e5, "tyre pressure differs: working runs +0.1 bar against stowed runs"),
        ("tyre_pressure_pa", -0.3e5, "tyre pressure differs: working runs -0.3 bar"),
        ("tyre_pressure_pa", 0.08e5, ""),
    ],
)
def test_conditions_that_differ_between_the_states(key: str, gap: float, said: str) -> None:
    base = {"speed_m_s": 25.0, "temperature_k": 288.0, "coolant_k": 361.0, "tyre_pressure_pa": 2.5e5}[key]
    found = _told({key: base + gap}, {key: base})
    assert len(found) == bool(said)
    if said:
        assert found[0].startswith(said)
        assert ("adjusted for" in found[0]) == (key == "speed_m_s")


def test_further_conditions() -> None:
    assert _told({"head_wind_m_s": 1.1}, {"head_wind_m_s": 0.0})[0].startswith(
        "head wind differs: working runs +1.1 m/s"
    )
    assert _told({"head_wind_m_s": 0.9}, {"head_wind_m_s": 0.0}) == []
    assert _told({"head_wind_m_s": 9.0}) == []  # of the others it is not known
    assert _told({"tyre_pressure_pa": 2e5}) == []
    fast = {"speed_m_s": 40.0}
    assert _told({"speed_m_s": 40.79}, fast) == []
    assert _told({"speed_m_s": 40.81}, fast) != []


@pytest.mark.parametrize(("ours", "theirs", "said"), [(0.30, 0.26, False), (0.30, 0.24, True), (0.1, 0.2, True)])
def test_a_vehicle_ahead(ours: float, theirs: float, said: bool) -> None:
    found = _told({"vehicle_ahead": ours}, {"vehicle_ahead": theirs})
    assert len(found) == said
    if said:
        assert found[0].startswith(
            f"a vehicle ahead for {100 * ours:.0f} % of the driving working and {100 * theirs:.0f} % stowed"
        )
    assert _told({"vehicle_ahead": ours}, {"vehicle_ahead": theirs}, controlled=True) == []
    assert _told({"vehicle_ahead": ours}) == _told({}, {"vehicle_ahead": theirs}) == []


def test_days_directions_and_order() -> None:
    def told(**by_state: tuple[str, str]) -> list[str]:
        runs = []
        for run in _level():
            at = 0 if run.state == "working" else 1
            runs.append(replace(run, **{key: values[at] for key, values in by_state.items()}))
        return confounding(_design(runs))

    assert told(date=("2026-05-03 10:00", "2026-05-04 10:00"))[0] == (
        "confounded: all working runs are on one day (2026-05-03) and all stowed runs on another (2026-05-04): the "
        "difference may be that of days"
    )
    assert told(date=("2026-05-03 10:00", "2026-05-03 15:00")) == []
    assert told(date=("2026-05-03 10:00", "")) == []
    assert told(direction=("out", "back"))[0].startswith(
        "confounded: all working runs are in one direction (out) and all stowed runs on another (back)"
    )
    first = [run for k in range(5) for run in sorted(_level()[2 * k : 2 * k + 2], key=lambda one: one.state)]
    (order,) = confounding(_design(first))
    assert order.startswith("in every pair the stowed run comes first in the list: a drift")
    assert confounding(_design(first[:4])) == []
    assert len(confounding(_design(first[:6]))) == 1
    swapped = [*first[:8], first[9], first[8]]
    assert confounding(_design(swapped)) == []


def test_pairs_of_unlike_directions() -> None:
    runs = [replace(run, direction="out" if run.state == "working" or run.pair in "34" else "back") for run in _level()]
    mixed = [text for text in confounding(_design(runs)) if "different directions" in text]
    assert mixed == ["pairs 0, 1, 2 hold runs in different directions, not balanced between states"]
    many = [replace(run, pair=f"{pair}{run.pair}") for pair in "ab" for run in runs if run.pair in "012"]
    assert "pairs a0, a1, a2, b0, b1, b2 hold" in " ".join(confounding(_design(many)))
    many += [replace(run, pair="c") for run in runs[:2]]
    assert "pairs a0, a1, a2, b0, b1, b2 hold" in " ".join(confounding(_design(many)))
    # as often the other way round
    even = [
        replace(run, direction="out" if (run.state == "working") == (run.pair in "02") else "back")
        for run in _level()[:8]
    ]
    assert confounding(_design(even)) == []
    assert [t for t in confounding(replace(_design(runs), pairs=0)) if "different" in t] == []


# --- what repeated runs say -------------------------------------------------------------------------------------------


def test_the_spread_of_runs_of_one_kind() -> None:
    fuel = [2.0, 2.06, 1.96, 2.02]
    same = [a_run(f"run {k}", "stowed", str(k), fuel=f * 1e-6) for k, f in enumerate(fuel)]
    spread, freedom = spread_within_pairs(same)
    assert (spread, freedom) == (pytest.approx(math.sqrt(2) * np.std(fuel, ddof=1) / np.mean(fuel)), 3)
    # with unlike speeds: less what physics expects of them
    speeds = np.array([25.0, 25.6, 24.5, 25.2])
    varied = [replace(run, means=run.means | {"speed_m_s": v}) for run, v in zip(same, speeds.tolist(), strict=True)]
    values = np.array(fuel) * 1e-6
    v = speeds.mean()
    share = v**2 / (v**2 + 28**2)
    faster = np.log(speeds) - np.log(speeds).mean()
    brought = values - values.mean() * (1 + 2 * share) * faster
    error = math.sqrt((2 * 0.2 * share) ** 2 + 0.2**2)
    wanted = repeated_spread(brought, Covariates(values.mean() * faster[:, None], np.array([error]))) / brought.mean()
    alike = Design("stowed", "", tuple(replace(run, pair="") for run in varied), "two groups", 0)
    assert spread_of_repeated(alike) == pytest.approx(wanted)
    assert spread_within_pairs(varied)[0] == pytest.approx(wanted)
    with pytest.raises(InputError, match="2 usable runs; accepted: at least three runs of one state"):
        spread_within_pairs(same[:2])
    with pytest.raises(InputError, match="1 usable run;"):
        spread_within_pairs([same[0], replace(same[1], fuel_m3_s=np.zeros(6))])
    assert spread_within_pairs(same[:3])[1] == 2


def test_the_spread_of_runs_of_a_finished_test() -> None:
    spread, freedom = spread_within_pairs(_level())
    gain = np.array(WITH) - np.array(WITHOUT)
    assert (spread, freedom) == (pytest.approx(gain.std(ddof=1) / np.mean(WITHOUT)), 4)
    three = [*_level(), a_run("x", "absent", "0", fuel=1.9e-6), a_run("y", "absent", "1", fuel=1.9e-6)]
    # of three states the first and the last in the alphabet
    gain = np.array([WITH[0], WITH[1]]) - 1.9e-6
    assert spread_within_pairs(three) == (pytest.approx(gain.std(ddof=1) / 1.9e-6), 1)
    with pytest.raises(InputError, match="no two runs to compare"):
        spread_within_pairs([a_run("a", "stowed"), a_run("b", "working"), a_run("c", "working")])


def test_what_keeps_runs_from_pairs() -> None:
    marks = [("working", "1"), ("stowed", "1"), ("working", ""), ("stowed", "")]
    assert half_pairs(marks, "working", "stowed") == ["2 runs without a pair, next to runs that have one"]
    assert half_pairs([("working", "2"), ("stowed", "1"), ("working", "1")], "working", "stowed") == [
        "pair 2 has no run stowed"
    ]


def test_nothing_known_is_no_error() -> None:
    about = About()
    assert (about.absolute, about.firm, about.error) == (True, True, NO_ERROR)
    assert (about.drag_n_s2_m2, about.marginal_m3_j, about.predicted_load) == (None, None, None)
