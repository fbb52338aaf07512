"""Tuning: the best setting found under gusts ten times the effect, peaks told apart from means, honest ties."""

import json
import math
import re
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from tests_support import of_study

from energy.chain.load import load
from energy.cli import group
from energy.diagnosis.tuning import Sweep, Tuned, _inertia, lagged, read_sweep, tuned, tuned_of
from vehicle.problems import InputError

VAN = Path(__file__).resolve().parents[3] / "scenarios" / "van_water_tank"
AREA, DENSITY = 2.5, 1.2


def drive(
    seed: int,
    best: float = 6.0,
    drop: float = 0.0015,
    *,
    visits: int = 3,
    hold: int = 60,
    lag_s: float = 3.0,
    order: tuple[float, ...] | None = None,
    kind: str = "pitch",
    settings: tuple[float, ...] = (0, 2, 4, 6, 8, 10),
) -> Sweep:
    """Return a drive in gusts: watts fall by `drop`·(setting − best)², the wind's own power swings by a third and
    more."""
    g = np.random.default_rng(seed)
    steps = np.concatenate([g.permutation(settings) for _ in range(visits)]) if order is None else np.array(order)
    setting = np.repeat(steps.astype(float), hold)
    gust = np.zeros(len(setting))
    for k in range(1, len(gust)):
        gust[k] = 0.9 * gust[k - 1] + np.sqrt(1 - 0.81) * g.normal()
    air = 17 * (1 + 0.12 * gust)
    time = np.arange(len(setting), dtype=float)
    level = 0.2 * (1 - drop * (setting - best) ** 2)
    watts = level * lagged(0.5 * DENSITY * AREA * air**3, time, lag_s) * (1 + 0.01 * g.normal(size=len(setting)))
    return Sweep(kind, time, setting, watts, air * (1 + 0.02 * g.normal(size=len(setting))), None, True)


@cache
def found_in_gusts(seed: int) -> Tuned:
    """Return what is found of `drive(seed)`; several tests look at the same drives."""
    return tuned(drive(seed), AREA, DENSITY)


def test_gusts_ten_times_the_effect_still_leave_the_best_inside_its_interval():
    inside, widths, (seeds, least) = 0, [], of_study((16, 16), (50, 48))
    for seed in range(seeds):
        # Between the best and the settings 4 deg off it the watts differ by 2.4 %; the wind's power swings by 36 %.
        found = found_in_gusts(seed)
        inside += found.low <= 6.0 <= found.high
        widths.append(found.high - found.low)
    sweep = drive(49)
    swing = np.std(sweep.air_speed_m_s**3) / np.mean(sweep.air_speed_m_s**3)
    assert swing > 10 * 0.0015 * 4**2
    assert inside >= least
    assert np.mean(widths) < 4  # of 10 degrees tried: it does say something


def test_mean_watts_alone_would_have_been_wrong():
    # A third of the seeds rank another setting first by its mean watts; the power coefficient does not follow the wind.
    wrong = right = 0
    for seed in range(30):
        found = found_in_gusts(seed)
        wrong += abs(max(found.settings, key=lambda one: one.mean_w).setting - 6.0) > 2
        right += abs(found.best - 6.0) <= 2
    assert wrong > 8
    assert right >= 29


def test_the_lag_is_found():
    seeds = of_study(5, 9)
    assert np.median([found_in_gusts(seed).lag_s for seed in range(seeds)]) == 3.0  # as they are made
    assert np.median([tuned(drive(seed, lag_s=0.0), AREA, DENSITY).lag_s for seed in range(seeds)]) <= 0.5


def test_lag_is_the_same_on_even_and_uneven_times():
    time = np.arange(1200.0)  # so many that even times go through the filter
    x = np.random.default_rng(1).normal(size=1200)
    uneven = time.copy()
    uneven[-1] += 1.0
    assert lagged(x, time, 4.0)[:-1] == pytest.approx(lagged(x, uneven, 4.0)[:-1])
    assert lagged(x[:200], time[:200], 4.0) == pytest.approx(lagged(x, time, 4.0)[:200])
    step = lagged(np.r_[0.0, np.ones(50)], np.arange(51.0), 4.0)
    assert step[4] == pytest.approx(1 - np.exp(-1.0))


def test_no_difference_is_said_to_be_none():
    found = tuned(drive(3, drop=0.0), AREA, DENSITY)
    assert not found.best_is_known
    assert len(found.alike) == 5
    assert found.high - found.low > 6


def test_a_best_beyond_the_range_is_looked_for_there():
    found = tuned(drive(5, best=16.0, drop=0.003), AREA, DENSITY)
    assert found.at_edge
    assert found.next_beyond
    assert found.next == pytest.approx(12.0)


def test_the_next_setting_teaches():
    # A second drive between the proposed setting and the best so far narrows the interval (over some seeds, on
    # average).
    before, after = [], []
    for seed in range(8):
        first = drive(seed, visits=2, hold=80)
        found = tuned(first, AREA, DENSITY)
        more = drive(seed + 100, order=(found.next, round(found.best, 1)) * 3, hold=80)
        joined = Sweep(
            "pitch",
            np.concatenate([first.time_s, first.time_s[-1] + 20 + more.time_s]),
            np.concatenate([first.setting, more.setting]),
            np.concatenate([first.electrical_power_w, more.electrical_power_w]),
            np.concatenate([first.air_speed_m_s, more.air_speed_m_s]),
            None,
            True,
        )
        again = tuned(joined, AREA, DENSITY)
        before.append(found.high - found.low)
        after.append(again.high - again.low)
    assert np.mean(after) < np.mean(before)


def test_turning_energy_is_taken_off_where_it_is_known():
    # A heavy rotor, no losses: watts = wind power · Cp − what the rotor stores. Speed follows the wind slowly.
    g = np.random.default_rng(2)
    setting = np.repeat([2.0, 6.0, 2.0, 6.0], 60)
    time = np.arange(len(setting), dtype=float)
    air = 16 * (1 + 0.1 * np.sin(time / 7) + 0.02 * g.normal(size=len(time)))
    level = np.where(setting == 2.0, 0.20, 0.21)
    wind = 0.5 * DENSITY * AREA * air**3
    speed = lagged(6.0 * air, time, 6.0)
    stored = np.gradient(0.5 * 4.0 * speed**2, time)
    sweep = Sweep("pitch", time, setting, level * wind - stored, air, speed, True)
    with_energy = tuned(sweep, AREA, DENSITY, inertia_kg_m2=4.0)
    without = tuned(sweep, AREA, DENSITY)
    assert with_energy.inertia_used
    assert not without.inertia_used
    for one, level_of in zip(with_energy.settings, (0.20, 0.21), strict=True):
        assert one.power_coefficient == pytest.approx(level_of, rel=0.01)
    assert with_energy.settings[0].standard_error < without.settings[0].standard_error


def test_peak_mean_and_energy_are_told_apart():
    sweep = drive(1)
    for one in tuned(sweep, AREA, DENSITY).settings:
        mine = sweep.electrical_power_w[sweep.setting == one.setting]
        assert one.peak_w == mine.max()
        assert one.mean_w == pytest.approx(one.energy_j / one.seconds)
        assert one.peak_w > 1.2 * one.mean_w


def test_ratios_are_compared_by_their_ratio():
    sweep = drive(4, best=2.0, drop=0.1, kind="ratio", settings=(1.0, 1.5, 2.0, 3.0))
    found = tuned(sweep, AREA, DENSITY)
    assert found.low <= 2.0 <= found.high
    assert 1.0 <= found.best <= 3.0


def test_same_drive_same_answer():
    one, two = tuned(drive(1), AREA, DENSITY), tuned(drive(1), AREA, DENSITY)
    assert (one.best, one.low, one.high, one.next, one.settings) == (
        two.best,
        two.low,
        two.high,
        two.next,
        two.settings,
    )
    assert (one.curve == two.curve).all()


def test_settings_held_too_short_are_named_or_refused():
    sweep = drive(1, visits=1, order=(0, 4, 8), hold=60)
    short = sweep.setting.copy()
    short[100:106] = 10.0
    found = tuned(
        Sweep("pitch", sweep.time_s, short, sweep.electrical_power_w, sweep.air_speed_m_s, None, True), AREA, DENSITY
    )
    assert found.skipped == (10.0,)
    with pytest.raises(InputError, match="held long enough"):
        tuned(drive(1, hold=8, visits=1), AREA, DENSITY)


def test_a_drive_without_wind_is_refused():
    sweep = drive(1)
    with pytest.raises(InputError, match="moving air"):
        tuned(replace(sweep, air_speed_m_s=0 * sweep.air_speed_m_s), AREA, DENSITY)


def run(*args: str | Path) -> str:
    result = CliRunner().invoke(group(), [str(a) for a in args], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


def test_demo_command_and_json():
    text = re.sub(r"\s+", " ", run("tune", VAN / "scenario.toml", VAN / "sweep.csv"))
    for word in ("Best pitch", "95 % interval", "next", "peak", "says nothing of the setting", "passenger"):
        assert word in text, word
    data = json.loads(run("tune", VAN / "scenario.toml", VAN / "sweep.csv", "--json"))
    assert set(data["best"]) == {"estimate", "low", "high", "level"}
    assert data["best"]["low"] <= data["best"]["estimate"] <= data["best"]["high"]
    assert isinstance(data["next"], float)
    assert len(data["settings"]) == 6


@pytest.mark.parametrize(
    ("header", "word"),
    [
        ("time_s,electrical_power_w,air_speed_km_h,nothing", "pitch_deg, resistance_ohm or ratio"),
        ("time_s,electrical_power_w,air_speed_km_h,pitch_deg", "one setting only"),
        ("time_s,electrical_power_w,humidity,pitch_deg", "no speed"),
        ("time_s,amount,air_speed_km_h,pitch_deg", "electrical_power"),
    ],
)
def test_faults_of_the_file_are_told(tmp_path, header, word):
    log = tmp_path / "sweep.csv"
    log.write_text(header + "\n" + "\n".join(f"{k},1000,60,4" for k in range(20)) + "\n")
    with pytest.raises(InputError, match=word):
        read_sweep(log, load(VAN / "scenario.toml"))


def test_road_speed_and_wind_stand_in_for_air_speed(tmp_path):
    scenario = load(VAN / "scenario.toml")
    lines = (VAN / "sweep.csv").read_text().splitlines()
    rows = [line.split(",") for line in lines if not line.startswith("#")][1:]
    log = tmp_path / "sweep.csv"
    local = scenario.rotor.local_speed_factor.value
    body = "\n".join(f"{t},{p},{float(u) / local - 10:.3f},10,{w}" for t, p, u, w in rows)
    log.write_text("time_s,pitch_deg,road_speed_km_h,wind_speed_km_h,electrical_power_w\n" + body + "\n")
    found = tuned_of(scenario, read_sweep(log, scenario))
    same = tuned_of(scenario, read_sweep(VAN / "sweep.csv", scenario))
    assert found.wind_is_known
    assert found.best == pytest.approx(same.best, abs=0.05)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), zero=st.sampled_from(["nothing", "watts", "air", "both"]), uneven=st.booleans())
def test_any_drive_gives_an_answer_or_one_clear_error(seed, zero, uneven):
    g = np.random.default_rng(seed)
    count = int(g.integers(20, 300))
    time = np.cumsum(g.uniform(0.1, 4, count)) if uneven else np.arange(count) * float(g.choice([0.1, 1.0, 5.0]))
    setting = np.repeat(g.choice([1.0, 2.0, 5.0], count // 10 + 1), 10)[:count]
    watts = g.uniform(0, 3000, count) * (zero not in ("watts", "both"))
    air = g.uniform(0, 40, count) * (zero not in ("air", "both"))
    speed = g.uniform(0, 100, count) if g.random() < 0.5 else None
    try:
        found = tuned(
            Sweep("ratio", time, setting, watts, air, speed, True), AREA, DENSITY, 3.0 if g.random() < 0.5 else None
        )
    except InputError:
        return
    assert found.low <= found.best <= found.high
    assert np.isfinite([found.best, found.next, found.lag_s]).all()


def readings(watts: dict[float, tuple[float, ...]], air: float = 15.0) -> Sweep:
    """Return numbers read ten seconds apart in steady air, setting by setting."""
    setting = np.concatenate([np.full(len(values), k) for k, values in watts.items()]).astype(float)
    power = np.concatenate(list(watts.values())).astype(float)
    time = 10.0 * np.arange(len(power))
    return Sweep("pitch", time, setting, power, np.full(len(power), air), None, True)


def test_three_numbers_a_setting_give_a_wide_answer():
    found = tuned(readings({2: (900, 1000, 1100), 6: (1150, 1250, 1350), 10: (800, 900, 1000)}), AREA, DENSITY)
    assert found.by_readings
    # By hand: variance within a setting 100² on 6 degrees of freedom, t 2.447 (Student's table); mean of three.
    wind = 0.5 * DENSITY * AREA * 15**3
    assert found.settings[1].power_coefficient == pytest.approx(1250 / wind)
    assert found.settings[1].high - found.settings[1].power_coefficient == pytest.approx(
        2.447 * 100 / math.sqrt(3) / wind, rel=1e-3
    )
    assert found.low < 6 < found.high
    many = tuned(readings({k: v * 8 for k, v in {2: (900, 1000, 1100), 6: (1150, 1250, 1350)}.items()}), AREA, DENSITY)
    assert many.settings[0].high - many.settings[0].low < 0.4 * (found.settings[0].high - found.settings[0].low)


def test_the_same_number_three_times_is_not_taken_for_certainty():
    found = tuned(readings({2: (1000, 1000, 1000), 6: (1010, 1010, 1010)}), AREA, DENSITY)
    assert not found.best_is_known
    one = found.settings[0]
    assert one.high - one.low > 0.1 * one.power_coefficient


def test_one_number_a_setting_is_refused_and_says_what_would_do():
    with pytest.raises(InputError, match="each read twice"):
        tuned(readings({2: (1000,), 6: (1200,), 10: (900,), 12: (800,)}), AREA, DENSITY)


def test_a_sheet_with_empty_cells_is_read_by_its_whole_rows(tmp_path):
    log = tmp_path / "sheet.csv"
    log.write_text(
        "time_s,pitch_deg,electrical_power_w,air_speed_km_h,rotor_speed_rpm,peak_power_w,note\n"
        "0,2,,,,,setting begins\n10,2,1000,54,,,\n20,2,,54,,1900,a peak\n30,2,1100,54,700,,\n"
        "40,6,,,,,setting begins\n50,6,1300,54,,,\n60,6,1350,54,,,\n"
    )
    sweep = read_sweep(log, load(VAN / "scenario.toml"))
    assert sweep.electrical_power_w.tolist() == [1000, 1100, 1300, 1350]
    assert sweep.rotor_speed_rad_s is None
    log.write_text("time_s,pitch_deg,electrical_power_w,air_speed_km_h\n0,2,,\n1,2,5,54\n2,4,,\n3,4,6,54\n")
    with pytest.raises(InputError, match="2 rows with watts"):
        read_sweep(log, load(VAN / "scenario.toml"))


def _leaves(*args: str | Path) -> tuple[int, str]:
    result = CliRunner().invoke(group(), [str(a) for a in args], catch_exceptions=False)
    return result.exit_code, re.sub(r"\s+", " ", result.output)


def test_the_demo_drive_keeps_its_limits_and_says_what_is_not_checked():
    code, text = _leaves("tune", VAN / "scenario.toml", VAN / "sweep.csv")
    assert code == 0
    assert "May it be operated like this? Not checked yet" in text
    assert "Do not" not in text


def test_a_drive_that_broke_a_limit_says_so_first(tmp_path):
    args = ("tune", VAN / "scenario.toml", VAN / "sweep.csv", "--set", "heater.rated_power=1.3 kW")
    watts = [float(line.split(",")[3]) for line in (VAN / "sweep.csv").read_text().splitlines()[2:]]
    code, text = _leaves(*args)
    assert code == 3
    said = f"Do not operate. Power into the element {max(watts) / 1e3:.2f} kW exceeds its limit of 1.30 kW."
    assert said in text
    assert text.index(said) < text.index("Best pitch")
    data = json.loads(CliRunner().invoke(group(), [str(a) for a in (*args, "--json")]).output)
    assert (data["safe"], data["may_be_operated"]) == (False, "no")


def test_a_logged_rotor_speed_is_held_to_its_limits(tmp_path):
    rows = (VAN / "sweep.csv").read_text().splitlines()
    log = tmp_path / "sweep.csv"
    turning = [f"{line},{1000 if k == 30 else 500}" for k, line in enumerate(rows[2:])]
    log.write_text("\n".join([f"{rows[1]},rotor_speed_rpm", *turning]) + "\n")
    code, text = _leaves("tune", VAN / "scenario.toml", log)
    assert code == 3
    assert "Blade tip speed 94.2 m/s exceeds its limit of 80.0 m/s." in text  # 1000 rpm at 0.9 m
    assert "Rotor speed 1000 rpm exceeds its limit of 900 rpm." in text


def test_a_best_setting_that_would_break_a_limit_is_not_recommended_unsaid():
    code, text = _leaves("tune", VAN / "scenario.toml", VAN / "sweep.csv", "--set", "rotor.highest_rotor_speed=700 rpm")
    assert code == 3
    assert "Do not operate. At the best setting, in the fastest air of this drive: Rotor speed " in text


def test_the_inertia_of_the_blades_by_hand(tmp_path):
    """Of a mass at its centre m·r², of pieces the sum of m·r²; three blades."""
    folder = Path(shutil.copytree(VAN, tmp_path / "van"))
    pieces = sum(m * r**2 for m, r in zip((0.35, 0.30, 0.24, 0.18, 0.12), (0.19, 0.35, 0.51, 0.67, 0.82), strict=True))
    assert _inertia(load(folder / "scenario.toml")) == pytest.approx(3 * pieces)
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    whole = re.sub(r"(?m)^piece_masses.*\npiece_radii.*$", 'mass = "1.9 kg"\ncentre_of_mass = "0.35 m"', text)
    (folder / "scenario.toml").write_text(whole, encoding="utf-8")
    assert _inertia(load(folder / "scenario.toml")) == pytest.approx(3 * 1.9 * 0.35**2)


def test_a_stepped_ratio_is_held_to_the_limits_too(tmp_path):
    """It ended in a fault of windtoll: a ratio has no unit to convert."""
    draw = np.random.default_rng(4)
    rows = ["time_s,electrical_power_w,ratio,air_speed_km_h"]
    for place, ratio in enumerate((2.0, 2.5, 3.0, 3.5, 3.0, 2.0, 3.5, 2.5)):
        for second in range(60):
            air = 60 + draw.normal(0, 1)
            watts = 900 * (air / 60) ** 3 * (1 - 0.15 * (ratio - 3) ** 2) + draw.normal(0, 15)
            rows.append(f"{60 * place + second},{watts:.1f},{ratio},{air:.2f}")
    log = tmp_path / "sweep.csv"
    log.write_text("\n".join(rows) + "\n")
    code, text = _leaves("tune", VAN / "scenario.toml", log)
    assert code == 0
    assert "Best ratio, as judged in the same wind: " in text
    code, text = _leaves("tune", VAN / "scenario.toml", log, "--set", "rotor.highest_rotor_speed=500 rpm")
    assert code == 3
    assert "At the best setting, in the fastest air of this drive: Rotor speed " in text
