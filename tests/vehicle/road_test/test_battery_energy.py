"""Runs judged by metered battery energy: read from the list, and the effect against a paired t-test of scipy."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from windows_support import a_log

from vehicle.logs.fuel_flow import LoggedEngine
from vehicle.logs.log import Log
from vehicle.problems import InputError
from vehicle.road_test.comparison import Comparison, compare, spread_within_pairs
from vehicle.road_test.read import METERED_ENERGY, METERED_ENERGY_ERROR, windows_of_runs
from vehicle.road_test.run_list import Manifest, Run, manifest_of
from vehicle.road_test.run_quantities import About
from vehicle.road_test.slopes import inside_slopes
from vehicle.road_test.windows import SPEED_UNKNOWN, runs_of_states

STATES = ("working", "stowed", "stowed", "working")
KWH_J = 3.6e6
# kWh of eight runs of 15 km in 10 min, A B B A: 3.36, 3.20, 3.18, 3.35, ... working is the first and last of each four.
KWH = (3.36, 3.20, 3.18, 3.35, 3.41, 3.21, 3.24, 3.33)
RUN = '[[run]]\nstate = "{}"\npair = {}\ndirection = "{}"\n{}\ndistance = "15 km"\nduration = "10 min"\n'


def as_list(energies: tuple[str, ...]) -> str:
    """Return a list of runs without logs, in pairs out and back; each entry is a line that says what the run used."""
    return "".join(
        RUN.format(STATES[k % 4], 1 + 2 * (k // 4) + k % 2, "back" if k % 2 else "out", line)
        for k, line in enumerate(energies)
    )


def listed(folder: Path, text: str) -> Manifest:
    return manifest_of(text, folder / "runs.toml")


def refused(folder: Path, text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        listed(folder, text)
    return [str(problem) for problem in caught.value.problems]


def of_energies(kwh: np.ndarray | tuple[float, ...], step_kwh: float = 0.0, **about: float) -> Comparison:
    """Return the comparison of runs in fours A B B A, each of 15 km in 10 min, read off a display with a step."""
    runs = tuple(
        Run(
            Path(f"run {k} (no log)"),
            STATES[k % 4],
            str(1 + 2 * (k // 4) + k % 2),
            energy_used_j=float(value) * KWH_J,
            energy_step_j=step_kwh * KWH_J,
            distance_m=15e3,
            duration_s=600.0,
        )
        for k, value in enumerate(kwh)
    )
    drives = windows_of_runs(Manifest(Path("runs.toml"), LoggedEngine(), None, None, {}, runs, ()))
    assert drives.fuel.firm
    assert drives.fuel.absolute
    return compare(drives.runs, about=About(error=drives.fuel.error, **about))


def split(kwh: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Return the energies working and stowed, pair by pair."""
    fours = np.array(kwh).reshape(-1, 4)
    return fours[:, [0, 3]].ravel(), fours[:, [2, 1]].ravel()


@pytest.mark.parametrize(
    ("said", "joules"),
    [
        ('"3.2 kWh"', 3.2 * KWH_J),
        ('"3200 Wh"', 3.2 * KWH_J),
        ('"11.52 MJ"', 3.2 * KWH_J),
        ('"199.9 kWh"', 199.9 * KWH_J),
        ('{ value = "3.2 kWh", plus_minus = "0.1 kWh" }', 3.2 * KWH_J),
    ],
)
def test_energy_of_a_run_is_read(tmp_path: Path, said: str, joules: float) -> None:
    found = listed(tmp_path, as_list((f"energy_used = {said}",) * 4))
    assert [run.energy_used_j for run in found.runs] == pytest.approx([joules] * 4)
    assert found.on_battery
    assert not found.runs[0].has_log
    assert found.runs[0].fuel_used_m3 is None


@pytest.mark.parametrize("said", ['"0 kWh"', '"-1 kWh"', '"200 kWh"', '"3.2 km"', '"3.2 L"', "3.2", '"many"', "true"])
def test_energy_that_is_refused(tmp_path: Path, said: str) -> None:
    good = 'energy_used = "3.2 kWh"'
    (problem,) = refused(tmp_path, as_list((f"energy_used = {said}", good, good, good)))
    assert problem.startswith("runs.toml: run[1].energy_used: ")
    assert 'above 0 and under 200 kWh, such as "3.2 kWh", Wh or MJ' in problem


def test_fuel_and_battery_energy_are_never_both(tmp_path: Path) -> None:
    energy, fuel = 'energy_used = "3.2 kWh"', 'fuel_used = "1.2 L"'
    (both,) = refused(tmp_path, as_list((f"{energy}\n{fuel}", energy, energy, energy)))
    assert "run[1].energy_used: given together with fuel_used" in both
    assert "one of the two" in both
    (mixed,) = refused(tmp_path, as_list((energy, fuel, fuel, energy)))
    assert "2 runs have fuel_used and 2 energy_used" in mixed


def test_energy_for_every_run_or_for_none(tmp_path: Path) -> None:
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("x")
    text = (
        '[[run]]\nfile = "a.csv"\nstate = "stowed"\nenergy_used = "3 kWh"\n[[run]]\nfile = "b.csv"\nstate = "working"\n'
    )
    (problem,) = refused(tmp_path, text)
    assert "1 of 2 runs have metered battery energy (energy_used)" in problem
    assert "for every run, or for none" in problem
    whole = listed(tmp_path, text + 'energy_used = "3 kWh"\n')
    assert whole.on_battery
    assert all(run.has_log for run in whole.runs)


def test_without_a_log_way_and_time_are_asked_for(tmp_path: Path) -> None:
    line = 'energy_used = "3.2 kWh"'
    text = as_list((line,) * 4).replace('distance = "15 km"\n', "", 1)
    (problem,) = refused(tmp_path, text)
    assert "run[1].distance: not given" in problem


@pytest.mark.parametrize(
    ("said", "coarse"),
    [
        ('"3.2 kWh"', True),  # a tenth in 3.2: 3 %
        ('"3.20 kWh"', False),
        ('"12 kWh"', True),
        ('"100 Wh"', False),  # one in a hundred: 1 %, not more
        ('"99 Wh"', True),
    ],
)
def test_a_display_that_is_too_coarse_is_warned_of(tmp_path: Path, said: str, coarse: bool) -> None:
    found = listed(tmp_path, as_list((f"energy_used = {said}",) * 4))
    assert len(found.warnings) == coarse
    assert all("what rounding can make or hide is counted in the interval" in text for text in found.warnings)


def test_a_list_has_the_step_of_its_finest_reading(tmp_path: Path) -> None:
    lines = [f'energy_used = "{text} kWh"' for text in ("3.2", "3.21", "3.3", "3")]
    found = listed(tmp_path, as_list(tuple(lines)))
    assert [run.energy_step_j for run in found.runs] == pytest.approx([0.01 * KWH_J] * 4)
    assert found.warnings == ()
    assert listed(tmp_path, as_list(('energy_used = "3.2e0 kWh"',) * 4)).runs[0].energy_step_j == 0.0


def test_pairs_that_are_rounded_alike_have_no_interval_of_nothing() -> None:
    """3.3 against 3.2 kWh four times, in tenths: two means within half a step each, 1.96 sqrt(2/12) of a tenth."""
    effect = of_energies((3.3, 3.2, 3.2, 3.3) * 2, 0.1).effect
    half = 1.959964 * math.sqrt(1 / 6) * 0.1
    assert [effect.estimate, effect.low, effect.high] == pytest.approx(
        [0.1 / 3.2, (0.1 - half) / 3.2, (0.1 + half) / 3.2], rel=1e-5
    )


def test_scatter_over_the_step_hides_less_of_the_rounding() -> None:
    step = 0.034
    fine, coarse = of_energies(KWH), of_energies(KWH, step)
    assert fine.battery is not None
    assert coarse.battery is not None
    with_kwh, without_kwh = split(KWH)
    scatter2 = 0.5 * float((with_kwh - without_kwh).var(ddof=1)) - step**2 / 4
    assert 0 < scatter2 < 0.4 * step**2
    hidden_w = 6e3 * step * math.exp(-2 * math.pi**2 * scatter2 / step**2) * 1.959964 * math.sqrt(1 / 6)
    inner, outer = fine.battery.change_w, coarse.battery.change_w
    assert outer.high - outer.estimate == pytest.approx(math.hypot(inner.high - inner.estimate, hidden_w), rel=1e-6)
    assert hidden_w > 0.05 * (inner.high - inner.estimate)
    assert outer.estimate == inner.estimate


def test_a_coarse_display_is_covered_by_the_interval() -> None:
    """In tenths of 3.2 kWh, runs that scatter by half a percent: 60 tests of 4 %, at least 54 with it inside."""
    draw = np.random.default_rng(3)
    working = np.array([state == "working" for state in STATES * 3])
    rows = np.round(3.2 * (1 + 0.04 * working) * (1 + 0.005 * draw.standard_normal((60, 12))), 1)
    ends = [of_energies(row, 0.1).effect for row in rows]
    assert sum(one.low < 0.04 < one.high for one in ends) >= 54
    assert sum(one.low < 0.04 < one.high for one in (of_energies(row).effect for row in rows)) < 45


def test_the_effect_is_that_of_a_paired_t_test() -> None:
    found = of_energies(KWH)
    with_kw, without_kw = (part / (600 / 3600) for part in split(KWH))  # kWh over hours
    test = stats.ttest_rel(with_kw, without_kw)
    interval = test.confidence_interval(0.95)
    without = float(without_kw.mean())
    change = float((with_kw - without_kw).mean())
    error = change / float(test.statistic)
    # a ratio whose denominator has an error of its own: the mean of a / b lies above a / b by half the square of it
    bias = 0.5 * (error / without) ** 2 * without
    expected_kw = np.array([change, interval.low, interval.high]) - bias
    assert found.battery is not None
    watts = found.battery.change_w
    assert [watts.estimate, watts.low, watts.high] == pytest.approx(expected_kw * 1e3, rel=1e-6)
    share = found.effect
    assert [share.estimate, share.low, share.high] == pytest.approx(expected_kw / without, rel=1e-6)
    assert share.level == watts.level == 0.95
    assert (found.conclusion, found.pairs, found.design) == ("costs", 4, "within pairs")
    assert found.battery.without_w == pytest.approx(1e3 * without)
    # 15 km a run: kWh a run over metres
    per_m = split(KWH)[1].mean() * KWH_J / 15e3
    assert found.battery.without_j_m == pytest.approx(per_m)
    assert found.battery.change_j_m is not None
    assert found.battery.change_j_m.estimate == pytest.approx(per_m * share.estimate)
    # no litres of it
    assert (found.effect_m3_s, found.effect_m2, found.beyond_m3_s) == (None, None, None)
    assert (found.baseline_m3_s, found.baseline_m2) == (None, None)
    assert found.load_points is None
    assert [run.metered_w for run in found.runs] == pytest.approx([kwh * 6e3 for kwh in KWH])


def test_what_the_meter_leaves_open_widens_the_watts_by_a_hundredth_of_them() -> None:
    battery = of_energies(KWH).battery
    assert battery is not None
    inner, outer = battery.change_w, battery.beyond_w
    half = math.hypot(inner.high - inner.estimate, 0.01 * inner.estimate)
    assert outer.high - outer.estimate == pytest.approx(half)
    assert METERED_ENERGY_ERROR.litres == METERED_ENERGY_ERROR.percent == 0.01
    assert "own choice, no source" in METERED_ENERGY_ERROR.words
    assert "cancels in percent" in METERED_ENERGY_ERROR.words


def test_the_sign_of_a_saving() -> None:
    found = of_energies(tuple(1 / value for value in KWH))
    assert found.conclusion == "saves"
    assert found.battery is not None
    assert found.battery.change_w.high < 0
    assert "of the battery energy (95 %)" in found.words


def test_no_effect_is_found_as_often_as_the_level_says() -> None:
    """Of 200 tests of nothing one in twenty may look like something: 2 to 19 (binomial, 99.9 %)."""
    draw = np.random.default_rng(11)
    energies = 3.2 * (1 + 0.01 * draw.standard_normal((200, 12)))
    said = [of_energies(row).conclusion for row in energies]
    assert 2 <= sum(word in ("costs", "saves") for word in said) <= 19
    # 4 % more in the working runs, three times the spread: seen in nearly all
    working = np.array([state == "working" for state in STATES * 3])
    assert sum(of_energies(row * (1 + 0.04 * working)).conclusion == "costs" for row in energies[:20]) >= 19


def test_the_air_drag_of_a_coast_down_is_held_against_what_the_battery_gives() -> None:
    """C v^3 over 0.93 at the shaft, of 0.9 of the battery's power: that share makes the wind that explains it all."""
    found = of_energies(KWH, drag_n_s2_m2=0.6)
    share = 0.6 * 25.0**3 / 0.93 / (0.9 * np.mean(KWH) * 6e3)
    assert found.wind is not None
    expected = 25.0 * (math.sqrt(1 + found.effect.estimate / share) - 1)
    assert found.wind.equal_m_s == pytest.approx(expected, rel=1e-6)
    assert of_energies(KWH).wind.equal_m_s != pytest.approx(expected, rel=1e-2)  # type: ignore[union-attr]


def logged(**columns: object) -> tuple[Manifest, dict[str, Log]]:
    """Return four runs with logs of a minute at 25 m/s and a stop of ten seconds, and 0.4 kWh in each."""
    speed = np.where(np.arange(60) < 10, 0.0, 25.0)
    logs = {f"{k}.csv": a_log(f"{k}.csv", speed_m_s=speed, **columns) for k in range(4)}
    runs = tuple(Run(Path(name), STATES[k], str(1 + k % 2), energy_used_j=0.4 * KWH_J) for k, name in enumerate(logs))
    return Manifest(Path("runs.toml"), LoggedEngine(), None, None, {}, runs, ()), logs


def test_no_slope_is_learnt_inside_runs() -> None:
    """Of battery energy nothing is known inside a run; a fuel flow that rises with speed would have a slope."""
    speed = 25.0 + 2 * np.sin(np.arange(60) / 8)
    logs = {f"{k}.csv": a_log(f"{k}.csv", speed_m_s=speed) for k in range(4)}
    runs = tuple(Run(Path(name), STATES[k], str(1 + k % 2), energy_used_j=KWH_J) for k, name in enumerate(logs))
    test = Manifest(Path("runs.toml"), LoggedEngine(), None, None, {}, runs, ())
    found = windows_of_runs(test, read=lambda path, _columns, _where: logs[path.name]).runs
    flowing = [replace(run, fuel_m3_s=1e-7 * run.covariates[:, 0]) for run in found]
    assert inside_slopes(flowing).names == ()
    assert inside_slopes([replace(run, metered_w=None) for run in flowing]).names != ()


def test_energy_beside_a_log() -> None:
    """The whole run counts, stops too: 0.4 kWh over the time of the log; nothing of fuel is needed in it."""
    test, logs = logged()
    found = windows_of_runs(test, read=lambda path, _columns, _where: logs[path.name])
    assert (found.fuel.source, found.fuel.error) == (METERED_ENERGY, METERED_ENERGY_ERROR)
    duration_s = logs["0.csv"].duration_s
    assert [run.metered_w for run in found.runs] == pytest.approx([0.4 * KWH_J / duration_s] * 4)
    assert [run.mean_used for run in found.runs] == [run.metered_w for run in found.runs]
    assert [one.what for one in found.runs[0].filters] == [SPEED_UNKNOWN]
    assert found.runs[0].kept_rows == found.runs[0].rows == 60
    assert found.warnings == ()
    part = replace(test, runs=tuple(replace(run, start_s=10.0, end_s=50.0) for run in test.runs))
    cut = windows_of_runs(part, read=lambda path, _columns, _where: logs[path.name])
    assert cut.runs[0].metered_w == pytest.approx(0.4 * KWH_J / 40)


def test_an_engine_that_ran_is_warned_of() -> None:
    test, logs = logged(fuel_rate_m3_s=np.where(np.arange(60) < 30, 0.0, 1e-6))
    found = windows_of_runs(test, read=lambda path, _columns, _where: logs[path.name])
    assert any("an engine ran in 4 of 4 logs" in text for text in found.warnings)
    test, logs = logged(fuel_rate_m3_s=0.0)
    assert windows_of_runs(test, read=lambda path, _columns, _where: logs[path.name]).warnings == ()


@pytest.mark.parametrize("key", ["energy_used", "fuel_used"])
def test_one_amount_for_a_log_of_two_states_is_refused(key: str) -> None:
    log = replace(a_log("a.csv", speed_m_s=25.0), states=np.repeat(["working", "stowed"], 30))
    amount = {"energy_used_j": KWH_J} if key == "energy_used" else {"fuel_used_m3": 1e-3}
    with pytest.raises(InputError, match=f"a.csv: {key}: given once for a log that marks 2 stretches"):
        runs_of_states(Run(Path("a.csv"), "", **amount), log)
    assert len(runs_of_states(Run(Path("a.csv"), ""), log)) == 2


def test_the_spread_of_pilot_runs_is_that_of_their_energy() -> None:
    found = of_energies(KWH)
    with_kwh, without_kwh = split(KWH)
    share, freedom = spread_within_pairs(found.runs)
    expected = float((with_kwh - without_kwh).std(ddof=1)) / float(without_kwh.mean())
    assert (share, freedom) == (pytest.approx(expected, rel=1e-6), 3)
