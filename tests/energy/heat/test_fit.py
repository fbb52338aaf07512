"""Fitting capacity and loss: known answers from invented logs, gaps, lag, several logs, and honest intervals."""

import math
import tomllib

import numpy as np
import pytest
from tests_support import of_study

from energy.heat.fit import HeatLog, fit_heater, read_heater_log, scenario_table
from energy.heat.steps import HeaterError
from vehicle.problems import InputError
from vehicle.units import parse

CAPACITY, LOSS = 126e3, 2.5  # the invented truth: 30 L of water in a jacket
TIME_CONSTANT = CAPACITY / LOSS


def invented_log(
    seed=0,
    *,
    step_s=10.0,
    warm_s=7200.0,
    cool_s=10800.0,
    noise_k=0.3,
    autocorrelation=0.9,
    lag_s=0.0,
    jitter=0.0,
    start_k=288.15,
    watts=1400.0,
    name="log",
):
    """A warm-up under gusty power and a cool-down, exact but for a thermometer that wanders (AR(1) noise)."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, warm_s + cool_s, step_s)
    time[1:] += jitter * step_s * rng.uniform(-0.4, 0.4, time.size - 1)
    power = np.where(time < warm_s, watts * (1 + 0.4 * np.sin(time / 200)), 0.0)
    ambient = 288.15 + 2 * np.sin(time / 4000)
    body, shown = [start_k], [start_k]
    fine = 40 if lag_s else 1
    for row, step in enumerate(np.diff(time)):
        t, s = body[-1], shown[-1]
        ends = 0.5 * (ambient[row] + ambient[row + 1]) + power[row] / LOSS
        for _ in range(fine):
            before = t
            t = ends + (t - ends) * math.exp(-step / fine / TIME_CONSTANT)
            if lag_s:
                middle = 0.5 * (before + t)
                s = middle + (s - middle) * math.exp(-step / fine / lag_s)
        body.append(t)
        shown.append(s if lag_s else t)
    wander = np.empty(time.size)
    wander[0] = rng.standard_normal() * noise_k
    for row in range(1, time.size):
        wander[row] = autocorrelation * wander[row - 1] + rng.standard_normal() * noise_k * math.sqrt(
            1 - autocorrelation**2
        )
    return HeatLog(time, np.array(shown) + wander, power, ambient, name)


def holds(estimate, truth):
    return estimate.low <= truth <= estimate.high


def half_width(estimate):
    return 0.5 * (estimate.high - estimate.low)


def test_a_log_without_noise_gives_the_truth():
    fit = fit_heater([invented_log(noise_k=0.0)])
    assert fit.heat_capacity_j_k.estimate == pytest.approx(CAPACITY, rel=1e-6)
    assert fit.loss_w_k.estimate == pytest.approx(LOSS, rel=1e-6)
    assert fit.time_constant_s.estimate == pytest.approx(TIME_CONSTANT, rel=1e-6)
    assert fit.residual_rms_k < 1e-6
    assert fit.separable
    assert fit.remarks == ()


@pytest.mark.parametrize(
    "kind",
    [
        {"autocorrelation": 0.9},
        {"autocorrelation": 0.98, "noise_k": 0.5},
        {"autocorrelation": 0.9, "cool_s": 0.0, "warm_s": 5400.0},
    ],
)
def test_intervals_hold_the_truth_in_95_of_100_seeds(kind):
    seeds, least = of_study((25, 24), (100, 95))
    fits = [fit_heater([invented_log(seed, step_s=20.0, **kind)]) for seed in range(seeds)]
    capacities, losses = [f.heat_capacity_j_k for f in fits], [f.loss_w_k for f in fits]
    assert sum(holds(e, CAPACITY) for e in capacities) >= least
    assert sum(holds(e, LOSS) for e in losses) >= least
    assert sum(holds(f.time_constant_s, TIME_CONSTANT) for f in fits) >= least
    # and they are not wide for nothing: no more than twice what the scatter of the fits asks for
    for estimates, truth in ((capacities, CAPACITY), (losses, LOSS)):
        scatter = 1.96 * np.std([math.log(e.estimate / truth) for e in estimates])
        width = np.median([0.5 * math.log(e.high / e.low) for e in estimates])
        assert width < 2 * scatter


def test_intervals_that_ignore_autocorrelation_would_be_too_narrow():
    # The same logs with their rows taken as independent: the interval is what plain least squares would give. This
    # shows that the test above can fail.
    from scipy.optimize import curve_fit

    hits = 0
    for seed in range(40):
        log = invented_log(seed, step_s=20.0)

        def shown(_time, capacity, loss, start, log=log):
            value, kept = start, [start]
            for row, step in enumerate(np.diff(log.time_s)):
                ends = 0.5 * (log.ambient_k[row] + log.ambient_k[row + 1]) + log.power_w[row] / loss
                value = ends + (value - ends) * math.exp(-step * loss / capacity)
                kept.append(value)
            return np.array(kept)

        best, covariance = curve_fit(shown, log.time_s, log.temperature_k, p0=[1e5, 2.0, 288.0])
        hits += abs(best[0] - CAPACITY) < 1.96 * math.sqrt(covariance[0, 0])
    assert hits < 30


def test_several_logs_at_once_tell_more_than_one():
    warm = invented_log(1, cool_s=0.0, warm_s=5400.0, name="warm")
    cool = invented_log(2, warm_s=0.0, cool_s=14400.0, start_k=340.0, name="cool")
    both = fit_heater([warm, cool])
    alone = fit_heater([warm])
    assert half_width(both.loss_w_k) < 0.3 * half_width(alone.loss_w_k)
    assert holds(both.loss_w_k, LOSS)
    assert holds(both.heat_capacity_j_k, CAPACITY)
    assert [entry.name for entry in both.residuals] == ["warm", "cool"]
    assert both.rows == warm.time_s.size + cool.time_s.size


def test_a_short_warm_up_cannot_tell_loss_from_capacity():
    fit = fit_heater([invented_log(cool_s=0.0, warm_s=2400.0)])
    assert not fit.separable
    assert fit.remarks == ("This log cannot separate loss from capacity: let it cool down too.",)
    assert fit.loss_w_k.high > 1.5 * fit.loss_w_k.estimate
    assert fit.correlation < -0.9


def test_a_cool_down_alone_tells_the_time_constant_only():
    fit = fit_heater([invented_log(3, warm_s=0.0, cool_s=20000.0, start_k=340.0)])
    assert fit.heat_capacity_j_k is None
    assert fit.loss_w_k is None
    assert holds(fit.time_constant_s, TIME_CONSTANT)
    assert "wattmeter" in fit.remarks[0]
    with pytest.raises(HeaterError, match="no power"):
        scenario_table(fit)


def test_gaps_missing_cells_and_uneven_rows():
    log = invented_log(4, jitter=1.0)
    rng = np.random.default_rng(0)
    temperature, power, ambient = log.temperature_k.copy(), log.power_w.copy(), log.ambient_k.copy()
    temperature[rng.random(temperature.size) < 0.2] = np.nan
    temperature[0] = np.nan
    power[300:303] = np.nan  # under power: the energy of these rows is unknown
    ambient[rng.random(ambient.size) < 0.5] = np.nan
    keep = np.ones(log.time_s.size, dtype=bool)
    keep[500:640] = False  # the logger was off for 23 minutes, partly under power
    gappy = HeatLog(log.time_s[keep], temperature[keep], power[keep], ambient[keep], "gappy")
    fit = fit_heater([gappy])
    assert holds(fit.heat_capacity_j_k, CAPACITY)
    assert holds(fit.loss_w_k, LOSS)
    assert half_width(fit.heat_capacity_j_k) < 0.03 * CAPACITY
    assert fit.rows < keep.sum()
    # blind to the gap, the missing energy would be taken for loss or capacity
    blind = fit_heater([gappy], gap_s=1e9)
    assert abs(blind.heat_capacity_j_k.estimate - CAPACITY) > abs(fit.heat_capacity_j_k.estimate - CAPACITY)


def test_long_logs_are_averaged_down_without_losing_energy():
    fit = fit_heater([invented_log(5, step_s=1.0)])  # 18 000 rows
    assert fit.rows < 4100
    assert holds(fit.heat_capacity_j_k, CAPACITY)
    assert holds(fit.loss_w_k, LOSS)
    assert fit.heat_capacity_j_k.estimate == pytest.approx(CAPACITY, rel=0.01)


def test_a_lagging_sensor():
    log = invented_log(6, lag_s=120.0, noise_k=0.05)
    fit = fit_heater([log], sensor_lag=True)
    assert holds(fit.sensor_lag_s, 120.0)
    assert fit.sensor_lag_s.estimate == pytest.approx(120.0, rel=0.05)
    assert holds(fit.heat_capacity_j_k, CAPACITY)
    without = fit_heater([log])
    assert without.residual_rms_k > fit.residual_rms_k


def test_a_load_that_is_no_single_node_is_remarked():
    # an element of its own that the thermometer sits on: quick rise and fall under a slow one
    log = invented_log(7, noise_k=0.05)
    odd = HeatLog(log.time_s, log.temperature_k + 0.02 * log.power_w, log.power_w, log.ambient_k, "odd")
    fit = fit_heater([odd])
    assert any("do not describe this load well" in text for text in fit.remarks)


def test_residuals_are_ready_for_a_plot():
    log = invented_log(8)
    (entry,) = fit_heater([log]).residuals
    assert entry.time_s.shape == entry.fitted_k.shape == entry.residual_k.shape == log.time_s.shape
    assert entry.fitted_k + entry.residual_k == pytest.approx(log.temperature_k)
    assert abs(entry.residual_k.mean()) < 0.1


def test_the_scenario_table_reads_back():
    fit = fit_heater([invented_log(9)])
    table = tomllib.loads(scenario_table(fit))["load"]
    assert parse(table["heat_capacity"]["value"], "J/K") == pytest.approx(fit.heat_capacity_j_k.estimate, rel=1e-3)
    assert parse(table["loss"]["value"], "W/K") == pytest.approx(fit.loss_w_k.estimate, rel=1e-3)
    assert parse(table["loss"]["plus_minus"], "W/K") == pytest.approx(half_width(fit.loss_w_k), rel=0.02)
    skewed = fit_heater([invented_log(9, cool_s=0.0, warm_s=5400.0)])
    table = tomllib.loads(scenario_table(skewed))["load"]
    assert parse(table["loss"]["low"], "W/K") == pytest.approx(skewed.loss_w_k.low, rel=1e-3)
    assert parse(table["loss"]["high"], "W/K") == pytest.approx(skewed.loss_w_k.high, rel=1e-3)
    assert "# This log cannot separate loss from capacity" in scenario_table(skewed)


def test_a_table_is_refused_where_the_log_tells_nothing():
    fit = fit_heater([invented_log(10, cool_s=0.0, warm_s=600.0, noise_k=1.0)])
    with pytest.raises(HeaterError, match="do not give the loss"):
        scenario_table(fit)


# Reading logs


def write(tmp_path, text):
    path = tmp_path / "log.csv"
    path.write_text(text)
    return path


def rows(header, lines):
    return header + "\n" + "\n".join(lines) + "\n"


def test_reads_units_from_the_headers(tmp_path):
    celsius = read_heater_log(
        write(
            tmp_path,
            rows("time_s,temperature_degc,power_w,ambient_degc", [f"{60 * k},{20 + k},1000,15" for k in range(12)]),
        )
    )
    fahrenheit = read_heater_log(
        write(
            tmp_path,
            rows(
                "time_min;temperature (°F);power_kw;ambient_degf",
                [f"{k};{32 + 1.8 * (20 + k):.6f};1,0;59".replace(".", ",") for k in range(12)],
            ),
        )
    )
    for one, other in zip(
        (celsius.time_s, celsius.temperature_k, celsius.power_w, celsius.ambient_k),
        (fahrenheit.time_s, fahrenheit.temperature_k, fahrenheit.power_w, fahrenheit.ambient_k),
        strict=True,
    ):
        assert one == pytest.approx(other)
    assert celsius.temperature_k[0] == pytest.approx(293.15)
    assert celsius.name == "log.csv"


def test_ambient_may_be_given_instead_of_logged(tmp_path):
    path = write(tmp_path, rows("time_s,temperature_degc,power_w", [f"{60 * k},{20 + k},1000" for k in range(12)]))
    assert (read_heater_log(path, ambient_k=288.15).ambient_k == 288.15).all()
    with pytest.raises(InputError, match="ambient"):
        read_heater_log(path)


def test_empty_cells_are_gaps(tmp_path):
    lines = [f"{60 * k},{'' if k == 3 else 20 + k},{'' if k == 5 else 1000},15" for k in range(14)]
    log = read_heater_log(write(tmp_path, rows("time_s,temperature_degc,power_w,ambient_degc", lines)))
    assert np.flatnonzero(np.isnan(log.temperature_k)).tolist() == [3]
    assert np.flatnonzero(np.isnan(log.power_w)).tolist() == [5]


GOOD = [f"{60 * k},{20 + k},1000,15" for k in range(12)]


@pytest.mark.parametrize(
    ("header", "lines", "word"),
    [
        ("time_s,temperature,power_w,ambient_degc", GOOD, "no unit"),
        ("time_s,temperature_degc,power,ambient_degc", GOOD, "no unit"),
        ("time_s,temperature_kg,power_w,ambient_degc", GOOD, "unit of another kind"),
        ("time_s,temp_degc,power_w,ambient_degc", GOOD, "temperature_degc"),
        ("time_s,temperature_degc,power_w,ambient_degc", GOOD[:5], "at least 10"),
        ("time_s,temperature_degc,power_w,ambient_degc", [*GOOD, "660,31,1000,15"], "the value of row 12 again"),
        ("time_s,temperature_degc,power_w,ambient_degc", [*GOOD, "10,31,1000,15"], "less than in row 12"),
        ("time_s,temperature_degc,power_w,ambient_degc", [*GOOD, "720,3l,1000,15"], "3l"),
        ("time_s,temperature_degc,power_w,ambient_degc", [*GOOD, "720,31,-50,15"], "-50 W"),
        ("time_s,temperature_degc,power_w,ambient_degc", [*GOOD, "720,9999,50,15"], "1500 K"),
        ("time_s,temperature_degc,power_w,ambient_degc", [*GOOD, "720,-300,50,15"], "-26.85 K|173"),
        ("time_s,temperature_degc,power_w,ambient_degc", [f"{60 * k},,1000,15" for k in range(12)], "0 values"),
    ],
)
def test_bad_logs_are_told(tmp_path, header, lines, word):
    with pytest.raises(InputError, match=word):
        read_heater_log(write(tmp_path, rows(header, lines)))


def test_bad_arrays_are_told():
    log = invented_log()
    with pytest.raises(InputError, match="none"):
        fit_heater([])
    with pytest.raises(InputError, match="different lengths"):
        fit_heater([HeatLog(log.time_s, log.temperature_k[:-1], log.power_w, log.ambient_k)])
    with pytest.raises(InputError, match="do not rise"):
        fit_heater([HeatLog(log.time_s[::-1], log.temperature_k, log.power_w, log.ambient_k)])
    with pytest.raises(HeaterError, match="level"):
        fit_heater([log], level=95)
    alternating = np.where(np.arange(log.time_s.size) % 2, log.power_w, np.nan)
    with pytest.raises(InputError, match="without gaps"):
        fit_heater([HeatLog(log.time_s, log.temperature_k, alternating, log.ambient_k)])


def test_a_log_that_never_changes_is_no_crash():
    count = 200
    flat = HeatLog(np.arange(count) * 10.0, np.full(count, 293.15), np.zeros(count), np.full(count, 293.15), "flat")
    fit = fit_heater([flat])
    assert fit.heat_capacity_j_k is None
    assert any("loose" in text for text in fit.remarks)
