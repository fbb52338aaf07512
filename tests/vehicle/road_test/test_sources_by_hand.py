"""Where the fuel comes from, by hand: each source with its errors, which one is taken, and a sensor that drifts."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from windows_support import a_flow, a_log

from vehicle.driving.fuels import FUELS
from vehicle.logs.fuel_flow import LoggedEngine
from vehicle.logs.log import Log, Repair
from vehicle.problems import InputError
from vehicle.road_test.alike import fuel_over_usual, not_alike
from vehicle.road_test.read import (
    METERED,
    METERED_ERROR,
    concerns_of,
    cost_of_rate,
    fitting,
    fuel_not_alike,
    in_no_log,
    logs_of,
    windows_of_runs,
)
from vehicle.road_test.run_list import Manifest, Run
from vehicle.road_test.sources import (
    NO_ERROR,
    CommonFuel,
    FullLoad,
    SourceError,
    common_source,
    level_flow,
    marginal_m3_j,
)

PETROL = LoggedEngine(1.6e-3, FUELS["petrol"])


def log_of(name: str = "a", **columns) -> Log:
    """Return a log at 25 m/s and 2400 rpm, with a start from standstill of ten rows."""
    speed = np.where(np.arange(60) < 10, 0.0, 25.0)
    return a_log(name, **({"speed_m_s": speed, "engine_speed_rad_s": 80 * np.pi} | columns))


def known(share: float, value: float, *, standing: bool = True) -> np.ndarray:
    """Return a column that is known in this share of the 50 rows of driving (and in those of standing)."""
    column = np.full(60, value)
    column[60 - round(50 * (1 - share)) :] = np.nan
    if not standing:
        column[:10] = np.nan
    return column


@pytest.mark.parametrize(
    ("columns", "engine", "source", "error"),
    [
        ({"fuel_rate_m3_s": 2e-6}, PETROL, "fuel rate", (0.06, 0.03)),
        ({"fuel_mass_flow_kg_s": 1.5e-3}, PETROL, "fuel mass flow", (0.06, 0.03)),
        ({"air_flow_kg_s": 0.02}, PETROL, "air flow", (0.07, 0.05)),
        ({"manifold_pressure_pa": 6e4, "intake_temperature_k": 300.0}, PETROL, "speed-density", (0.25, 0.20)),
        (
            {"manifold_pressure_pa": 6e4, "intake_temperature_k": 300.0},
            replace(PETROL, volumetric_efficiency=0.8),
            "speed-density",
            (0.06, 0.10),
        ),
    ],
)
def test_what_no_number_of_runs_removes(columns, engine: LoggedEngine, source: str, error: tuple[float, float]) -> None:
    found = common_source([log_of(**columns), log_of("b", **columns)], engine)
    assert (found.source, found.firm, found.absolute, found.engine) == (source, True, True, engine)
    assert (found.error.litres, found.error.percent, found.error.inside) == (*error, False)
    said = {0.03: "3 %", 0.05: "5 %", 0.1: "10 %", 0.2: "a fifth"}[error[1]]
    assert f"litres ± {100 * error[0]:.0f} %, percent ± {said} of itself" in found.error.words
    assert found.covered == (1.0, 1.0)
    assert found.passed_over == ()
    assert len(found.flows) == 2


def test_ratios_alone_without_a_displacement() -> None:
    log = log_of(manifold_pressure_pa=6e4, intake_temperature_k=300.0)
    with_it, without = common_source([log], PETROL), common_source([log], LoggedEngine())
    assert (without.absolute, without.engine.displacement_m3) == (False, 1e-3)
    assert without.flows[0].flow_m3_s * 1.6 == pytest.approx(with_it.flows[0].flow_m3_s)
    assert without.error.percent == 0.20


@pytest.mark.parametrize(("share", "source"), [(0.92, "fuel rate"), (0.88, "air flow")])
def test_a_source_that_covers_less_of_one_run_is_passed_over(share: float, source: str) -> None:
    """Nine tenths of what the best covers, in the run that it covers worst, by the driving alone."""
    logs = [
        log_of("a", fuel_rate_m3_s=known(1.0, 2e-6), air_flow_kg_s=0.02),
        log_of("b", fuel_rate_m3_s=known(share, 2e-6, standing=False), air_flow_kg_s=0.02),
    ]
    found = common_source(logs, PETROL)
    assert found.source == source
    if source == "air flow":
        assert found.passed_over == (
            "fuel rate covers only 88 % of one run, air flow 100 %: air flow is used for every run",
        )
    else:
        assert found.covered == (1.0, pytest.approx(0.92))
        assert found.passed_over == ()


@pytest.mark.parametrize(("share", "source"), [(0.72, "fuel rate"), (0.68, "calculated load")])
def test_fuel_that_covers_little_is_left_for_the_load(share: float, source: str) -> None:
    log = log_of(fuel_rate_m3_s=known(share, 2e-6), calculated_load=0.5)
    found = common_source([log], PETROL)
    assert (found.source, found.firm) == (source, source == "fuel rate")
    assert found.covered == pytest.approx((share,) if source == "fuel rate" else (1.0,))
    if source == "calculated load":
        assert found.passed_over[0].startswith("fuel rate covers only 68 % of one run, calculated load 100 %")
    dead = common_source([log_of(fuel_rate_m3_s=np.nan, calculated_load=0.5)], PETROL)
    assert dead.source == "calculated load"
    with pytest.raises(InputError):
        common_source([log_of(fuel_rate_m3_s=np.nan)], PETROL)
    # beside 60 % of load, 50 % of fuel are more than seven tenths
    half = log_of(fuel_rate_m3_s=known(0.5, 2e-6), calculated_load=known(0.6, 0.5))
    assert common_source([half], PETROL).source == "fuel rate"


def test_a_log_that_stands_counts_whole() -> None:
    rate = np.where(np.arange(60) < 15, np.nan, 2e-7)
    found = common_source([log_of(speed_m_s=0.0, fuel_rate_m3_s=rate)], PETROL)
    assert found.covered == (0.75,)
    crawling = common_source([log_of(speed_m_s=np.where(np.arange(60) < 15, 2.0, 2.1), fuel_rate_m3_s=rate)], PETROL)
    assert crawling.covered == (1.0,)  # driving is faster than 2 m/s
    bare = a_log(fuel_rate_m3_s=rate)
    assert common_source([bare], PETROL).covered == (0.75,)
    no_time = replace(bare, table=bare.table.assign(step_s=0.0))  # of no time nothing is known
    with pytest.raises(InputError):
        common_source([no_time], PETROL)


@pytest.mark.parametrize(
    ("fuel", "litres_per_kwh"), [("petrol", 0.264), ("e10", 0.273), ("diesel", 0.220), ("lpg", 0.342)]
)
@pytest.mark.parametrize("torque", [None, 150.0])
def test_fuel_from_calculated_load(fuel: str, litres_per_kwh: float, torque: float | None) -> None:
    """Fuel per shaft work: Commission Implementing Decision (EU) 2020/728; the load that burns nothing is -4 %, and the
    load is of a net torque 7 % under the indicated one (common practice, no source)."""
    load = np.linspace(0.2, 0.6, 60)
    full = None if torque is None else FullLoad(np.zeros(1), np.array([torque]), 0.2)
    engine = LoggedEngine(None, FUELS[fuel])
    assert marginal_m3_j(engine) * 1000 * 3_600_000 == pytest.approx(litres_per_kwh)
    found = common_source([log_of(calculated_load=load)], engine, full)
    watts = (load + 0.04) * 80 * math.pi * (1.07 * torque if torque else 1.0)
    assert found.flows[0].flow_m3_s == pytest.approx(watts * litres_per_kwh / 3.6e9)
    assert found.flows[0].litres == pytest.approx(float(watts.sum()) * litres_per_kwh / 3.6e6)
    assert (found.flows[0].known_s, found.flows[0].logged_s) == (60.0, 60.0)
    assert not found.flows[0].cut_off.any()
    assert (found.absolute, found.firm, found.error.inside) == (torque is not None, False, True)
    # 95 % of a half-width of 8 points on the distance from the empty load; torque, price of work, net to indicated
    assert found.error.percent == pytest.approx(0.95 * 0.08 / 0.44)
    squares = (0.2 if torque else 0.0) ** 2 + 0.12**2 + (0.95 * 0.07 / 1.07) ** 2
    assert found.error.litres == pytest.approx(math.sqrt(squares))
    said = found.error.words
    assert f"at {litres_per_kwh:.3g} L of {fuel} per kWh of extra shaft work" in said
    assert ("its torque at full load" in said) == (torque is not None)
    assert said.endswith(f"percent ± {100 * 0.95 * 0.08 / 0.44:.0f} % of itself")
    assert (f"litres ± {100 * math.sqrt(squares):.0f} %" in said) == (torque is not None)


def test_little_load_is_known_no_better_than_a_tenth() -> None:
    found = common_source([log_of(calculated_load=0.02)], PETROL)
    assert found.error.percent == pytest.approx(0.95 * 0.08 / 0.1)


@pytest.mark.parametrize("displacement", [1.6e-3, None])
def test_fuel_from_absolute_load(displacement: float | None) -> None:
    """SAE J1979: air per stroke over displacement at 1.184 g/L; a four-stroke fills once in two turns (4 pi rad)."""
    engine = LoggedEngine(displacement, FUELS["e10"])
    found = common_source([log_of(absolute_load=0.5, calculated_load=0.5)], engine)
    air = 0.5 * 1.184 * (displacement or 1e-3) * 80 * math.pi / (4 * math.pi)
    assert found.source == "absolute load"
    assert found.flows[0].flow_m3_s == pytest.approx(air / 14.1 / 746)
    assert (found.absolute, found.error.inside) == (displacement is not None, True)
    assert (found.error.litres, found.error.percent) == (0.10, 0.07)
    assert ("litres ± 10 %" in found.error.words) == (displacement is not None)
    assert "percent ± 7 % of itself" in found.error.words
    # pedal at rest, a fast engine and hardly any air: the car drives the engine, and it burns nothing
    load, throttle, turning = np.full(60, 0.5), np.full(60, 0.4), np.full(60, 80 * np.pi)
    turning[:10], load[:10], throttle[:10] = 80 * np.pi / 3, 0.25, 0.05  # idling at 800 rpm
    load[30:40], throttle[30:40] = 0.05, 0.05
    log = log_of(absolute_load=load, calculated_load=load, throttle=throttle, engine_speed_rad_s=turning)
    flow = common_source([log], engine).flows[0].flow_m3_s
    assert (flow[30:40] == 0).all()
    assert (flow[40:] > 0).all()


def test_a_level_flow_says_nothing_of_litres() -> None:
    flow = level_flow(log_of())
    assert (np.ptp(flow.flow_m3_s), flow.flow_m3_s.size, flow.source, flow.words) == (0.0, 60, "none", ())
    assert flow.flow_m3_s[0] > 0


# --- whether fuel goes with load as it does in the other runs ---------------------------------------------------------


def drives(factors: list[float], name: str = "calculated_load", rows: int = 300) -> tuple[list[Log], list]:
    """Return runs whose fuel is a plain function of load and engine speed, times a factor of each run."""
    logs, flows = [], []
    for number, factor in enumerate(factors):
        draw = np.random.default_rng(number)
        load, turning = draw.uniform(0.3, 0.7, rows), draw.uniform(180, 320, rows)
        logs.append(a_log(f"run {number}", rows, **{name: load, "engine_speed_rad_s": turning, "speed_m_s": 25.0}))
        flows.append(a_flow(factor * 1e-8 * turning * (load + 0.1)))
    return logs, flows


@pytest.mark.parametrize("name", ["calculated_load", "absolute_load", "throttle", "relative_throttle"])
def test_a_run_that_burns_more_at_the_same_load_is_seen(name: str) -> None:
    factors = [1.0, 1.2, 1.0, 0.9, 1.0, 1.0]
    logs, flows = drives(factors, name)
    against, ratios = fuel_over_usual(logs, flows)
    assert against == name
    assert ratios / ratios[0] == pytest.approx(factors, rel=0.02)
    # over all runs together the fuel is what is usual
    weights = [float(flow.flow_m3_s.sum()) for flow in flows]
    assert np.sum(weights) / np.sum(np.array(weights) / ratios) == pytest.approx(1.0, abs=0.01)


def test_rows_in_which_the_engine_does_not_pull_count_for_nothing() -> None:
    logs, flows = drives([1.0, 1.1, 1.0, 1.0])
    _, clean = fuel_over_usual(logs, flows)
    for log, flow in zip(logs, flows, strict=True):
        flow.flow_m3_s[:10] = np.nan
        flow.flow_m3_s[10:20] = 0.0
        log.table.loc[20:29, "calculated_load"] = np.nan
        log.table.loc[30:39, "engine_speed_rad_s"] = 100.0  # hardly idles
        flow.flow_m3_s[30:40] = 1e-3
    _, again = fuel_over_usual(logs, flows)
    assert again == pytest.approx(clean, rel=0.01)


def test_where_runs_cannot_be_held_against_each_other() -> None:
    logs, flows = drives([1.0] * 4, rows=60)
    assert fuel_over_usual(logs, flows) is not None
    flows[2].flow_m3_s[0] = np.nan  # 59 rows of one
    assert fuel_over_usual(logs, flows) is None
    others = [log if k else replace(log, table=log.table.drop(columns="calculated_load")) for k, log in enumerate(logs)]
    assert fuel_over_usual(others, flows) is None
    still = [replace(log, table=log.table.drop(columns="engine_speed_rad_s")) for log in logs]
    assert fuel_over_usual(still, flows) is None


NAMES = [f"run {k}" for k in range(8)]
STATES = ["stowed", "working"] * 4


def test_a_run_apart_from_its_state_by_a_tenth() -> None:
    base = np.array([1.0, 1.04] * 4)
    for off, said in ((0.099, False), (0.101, True), (-0.101, True)):
        ratios = base.copy()
        ratios[3] *= 1 + off
        odd, gap = not_alike(ratios, NAMES, STATES)
        assert odd == ({"run 3": pytest.approx(off)} if said else {})
        assert gap == 0.0
    # most runs 3 % from the median of their state: a deviation of 1.4826 x 3 %, six of these are 26.7 %
    for off, said in ((0.262, False), (0.272, True)):
        ratios = np.array([0.97, 0.97, 0.97, 1.03, 1.03, 1.0, 1 + off])
        assert not_alike(ratios, NAMES[:7], ["stowed"] * 7) == ({"run 6": pytest.approx(off)} if said else {}, 0.0)
    assert not_alike(np.array([1.0, 1.0, 1.0, 1.2]), NAMES[:4], ["stowed"] * 4)[0] == {"run 3": pytest.approx(0.2)}
    assert not_alike(np.array([1.0, 1.5, 1.0]), NAMES[:3], STATES[:3]) == ({}, 0.0)


def test_a_gap_between_the_states() -> None:
    for gap, said in ((0.049, 0.0), (0.051, 0.051), (-0.051, -0.051)):
        found = not_alike(np.array([1.0, 1.0 + gap] * 4), NAMES, STATES)
        assert found == ({}, pytest.approx(said))
    # scattering states: four deviations of the difference of their means; the median distance is 2 %
    base = np.array([0.98, 0.98, 1.02, 1.02, 0.98, 0.98, 1.02, 1.02])
    error = 4 * 1.4826 * 0.02 * math.sqrt(1 / 4 + 1 / 4)
    for gap in (error - 0.002, error + 0.002):
        ratios = base * np.where(np.array(STATES) == "working", 1 + gap, 1.0)
        assert not_alike(ratios, NAMES, STATES)[1] == (pytest.approx(gap) if gap > error else 0.0)
    assert not_alike(np.array([1.0, 1.0, 1.0, 1.2]), NAMES[:4], ["absent"] * 3 + ["working"])[1] == 0.0
    three = not_alike(np.array([1.0, 1.2] * 4), NAMES, ["stowed", "working"] * 3 + ["absent", "working"])
    assert three[1] == 0.0


def test_what_is_said_of_a_sensor_that_drifts() -> None:
    logs, flows = drives([1.0, 1.3, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    runs = tuple(
        Run(Path(log.name), state, str(k // 2)) for k, (log, state) in enumerate(zip(logs, STATES, strict=True))
    )
    test = Manifest(Path("runs.toml"), PETROL, None, None, {}, runs, ())
    fuel = CommonFuel("fuel rate", PETROL, True, tuple(flows))
    (said,) = fuel_not_alike(logs, flows, test, fuel)
    assert said.startswith("not like for like: run 1 has +30 % more fuel at the same calculated load")
    apart = [a_flow(flow.flow_m3_s * (1.08 if k % 2 else 1.0)) for k, flow in enumerate(drives([1.0] * 8)[1])]
    (said,) = fuel_not_alike(logs, apart, test, fuel)
    assert "the runs working have +8 % more fuel than those stowed" in said
    for quiet in (
        replace(test, runs=(replace(runs[0], start_s=0.0), *runs[1:])),
        replace(test, runs=(replace(runs[0], end_s=9.0), *runs[1:])),
        replace(test, runs=(replace(runs[0], state=""), *runs[1:])),
    ):
        assert fuel_not_alike(logs, flows, quiet, fuel) == []
    assert fuel_not_alike(logs, flows, test, replace(fuel, source=METERED)) == []
    assert fuel_not_alike(logs, flows, test, replace(fuel, source="calculated load")) == []


# --- the logs of a test -----------------------------------------------------------------------------------------------


def made(runs: list[Run], **more) -> Manifest:
    return replace(Manifest(Path("runs.toml"), PETROL, None, None, {}, tuple(runs), ()), **more)


def test_runs_known_by_distance_and_time_alone() -> None:
    runs = [
        Run(Path(f"run {k}"), state, "1", fuel_used_m3=1e-3, distance_m=15e3, duration_s=600.5)
        for k, state in enumerate(("working", "stowed"), 1)
    ]
    found = windows_of_runs(made(runs))
    assert (found.fuel.source, found.fuel.error, found.fuel.absolute) == (METERED, METERED_ERROR, True)
    assert found.fuel.covered == (1.0, 1.0)  # what was weighed is all of the fuel
    assert (METERED_ERROR.litres, METERED_ERROR.percent, METERED_ERROR.inside) == (0.01, 0.01, False)
    assert found.words == ("fuel from weighed or metered fuel",)
    assert (found.whole, found.warnings, found.logs) == (None, (), ())
    for run in found.runs:
        assert (run.rows, run.kept_rows, run.filters, run.kept_share, run.known_share) == (0, 0, (), 1.0, 1.0)
        assert run.mean_fuel_m3_s == pytest.approx(1e-3 / 600.5)
        assert run.means["speed_m_s"] == pytest.approx(15e3 / 600.5)
        assert run.kept_s == pytest.approx(600.5 * 600 / 601)  # 601 rows; the last alone is no window
    with pytest.raises(InputError, match="every run is left out"):
        windows_of_runs(made([]))


def test_weighed_fuel_of_logged_runs_and_a_control_vehicle() -> None:
    logs = {
        name: log_of(name, fuel_rate_m3_s=value, coolant_temperature_k=361.0)
        for name, value in (("a", 2e-6), ("b", 3e-6), ("c", 4e-6), ("d", 5e-6))
    }
    runs = [
        Run(Path(name), state, "1", start_s=12.0, control=Path(other), temperature_k=290.0)
        for name, state, other in (("a", "working", "c"), ("b", "stowed", "d"))
    ]
    asked, shares = [], []

    def read(path: Path, columns, where: str) -> Log:
        asked.append((path.name, dict(columns), where))
        return logs[path.name]

    found = windows_of_runs(made(runs), read=read, progress=shares.append)
    assert [name for name, _, _ in asked] == ["a", "c", "b", "d"]
    assert {where for _, _, where in asked} == {"runs.toml"}
    assert shares == [0.5, 1.0]
    assert found.fuel.source == "fuel rate"
    assert [run.mean_fuel_m3_s for run in found.runs] == pytest.approx([2e-6, 3e-6])
    for run, value in zip(found.runs, (4e-6, 5e-6), strict=True):
        assert run.control.mean_fuel_m3_s == pytest.approx(value)
        assert (run.control.state, run.control.metered_m3_s, run.control.name) == ("absent", None, run.control.file)
        assert run.control.rows == 60  # all of its log
        assert run.control.means["temperature_k"] == 290.0
    assert [log.name for log in found.logs] == ["a", "b"]
    weighed = windows_of_runs(made([replace(run, fuel_used_m3=1e-4, control=None) for run in runs]), read=read)
    assert (weighed.fuel.source, weighed.fuel.error, weighed.fuel.passed_over) == (METERED, METERED_ERROR, ())
    assert [run.mean_fuel_m3_s for run in weighed.runs] == pytest.approx([1e-4 / 47] * 2)
    bare = {name: replace(log, table=log.table.drop(columns="fuel_rate_m3_s")) for name, log in logs.items()}
    none = [replace(run, fuel_used_m3=1e-4, control=None) for run in runs]
    poor = windows_of_runs(made(none), read=lambda path, _c, _w: bare[path.name])
    assert (poor.fuel.source, poor.fuel.absolute) == (METERED, True)
    with pytest.raises(InputError):
        windows_of_runs(made([replace(run, control=None) for run in runs]), read=lambda path, _c, _w: bare[path.name])


def test_each_log_is_read_once_and_every_fault_is_told() -> None:
    runs = [Run(Path("a"), "working", start_s=0.0), Run(Path("a"), "stowed", start_s=30.0), Run(Path("b"), "stowed")]
    read = []

    def reader(path: Path, _columns, _where: str) -> Log:
        read.append(path.name)
        return log_of(path.name)

    assert len(logs_of(made(runs), read=reader)) == 2
    assert read == ["a", "b"]

    def refusing(path: Path, _columns, _where: str) -> Log:
        from vehicle.problems import Problem

        raise InputError(Problem(path.name, "", "spoilt", "a log"))

    with pytest.raises(InputError) as caught:
        logs_of(made(runs), read=refusing)
    assert [problem.where for problem in caught.value.problems] == ["a", "b"]


def test_meanings_of_columns_are_given_to_the_logs_that_have_them(tmp_path: Path) -> None:
    meanings = {"Spd2": "vehicle speed (mph)", " RPM ": "engine speed (rpm)", "Temp": "ignore", "own": "ignore"}
    assert fitting(["spd2", "rpm()", "x"], meanings) == {
        "Spd2": "vehicle speed (mph)",
        " RPM ": "engine speed (rpm)",
    }
    assert fitting([], meanings, ("own",)) == {"own": "ignore"}
    (tmp_path / "a.csv").write_text("time,Spd2\n0,1\n1,2\n")
    run = Run(tmp_path / "a.csv", "stowed")
    test = made([run], columns={"Spd2": "vehicle speed (mph)", "Typo": "ignore"})
    assert in_no_log(test) == ['[columns] "Typo" is no header of any log']
    assert in_no_log(replace(test, columns={})) == []
    no_log = Run(Path("run 1"), "stowed", distance_m=1e4, duration_s=600.0)
    assert in_no_log(replace(test, runs=(no_log,))) == [
        '[columns] "Spd2" is no header of any log',
        '[columns] "Typo" is no header of any log',
    ]


def test_what_deserves_a_look_in_logs() -> None:
    spikes = Repair("spikes of speed left out", 3, sensor=True)
    logs = [
        a_log("a", checks=("speed taken as mph", "odd clock"), repairs=(spikes, Repair("gaps filled", 9))),
        a_log("b", checks=("speed taken as mph",), repairs=(replace(spikes, count=4),)),
        a_log("c"),
    ]
    assert concerns_of(logs) == [
        "2 logs: speed taken as mph",
        "a: odd clock",
        "spikes of speed left out: 7 values in 2 of 3 logs",
    ]
    assert cost_of_rate([a_log("one", rows=1, step_s=60.0)]) == []


def test_no_error_is_none() -> None:
    assert SourceError(0.0, 0.0, "", inside=False) == NO_ERROR
