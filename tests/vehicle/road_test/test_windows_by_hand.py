"""A run cut into windows, row by row by hand: what each filter takes, and every number that a run is compared by."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from windows_support import a_flow, a_log, a_run

from vehicle.problems import InputError
from vehicle.road_test.rule import RULE, at_steady_speed, beyond_limits, limits_of, rejected
from vehicle.road_test.run_list import Run
from vehicle.road_test.windows import (
    COVARIATES,
    NO_COOLANT,
    OUTSIDE,
    SHIFTS,
    UNKNOWN,
    Filter,
    RunWindows,
    runs_of_states,
    shifting_rows,
    shifts_disturbed,
    windows_of,
)

STOWED = Run(Path("a.csv"), "stowed")
FLOW = a_flow(np.full(60, 2e-6))
FULL = {"speed_m_s": 20.0, "coolant_temperature_k": 361.0}


def taken(run: RunWindows) -> dict[str, int]:
    return {one.what: one.rows for one in run.filters}


def test_what_each_filter_takes_by_hand() -> None:
    """Rows 0-4 of unknown fuel, 5-7 cold, 8-9 standing, 10 braked by the pedal; a row counts for its first fault."""
    flow, speed, coolant, brake = FLOW.flow_m3_s.copy(), np.full(60, 20.0), np.full(60, 361.0), np.zeros(60)
    flow[:4], speed[4] = np.nan, np.nan
    coolant[3:8] = (343.14, 343.14, 343.14, np.nan, 343.14)  # 70 degC is 343.15 K
    coolant[8] = 343.15
    speed[8:10] = 2.0, 1.9  # a walking pace is not driving
    brake[9:13] = (1, 0.51, 0.5, 0.2)
    log = a_log(speed_m_s=speed, coolant_temperature_k=coolant, brake=brake)
    found = windows_of(log, a_flow(flow), STOWED)
    held = taken(found)
    assert (held[UNKNOWN], held["engine not warm (coolant under 70 °C)"], held["standing or under 7 km/h"]) == (5, 3, 2)
    # the pedal takes row 10; 20 m/s lost and won again within some seconds is braking, too
    before, after = np.maximum(np.arange(60) - 2, 0), np.minimum(np.arange(60) + 2, 59)
    known = np.isfinite(speed)
    at = np.interp(np.arange(60), np.flatnonzero(known), speed[known])
    rate = (at[after] - at[before]) / (after - before)
    gone = (np.arange(60) < 10) | (np.arange(60) == 10)
    assert held["braking"] == int(((rate < -0.5) & ~gone).sum()) + 1
    assert (found.rows, found.kept_rows) == (60, 60 - sum(held.values()))
    assert found.known_share == pytest.approx(55 / 60)
    assert found.warnings == ()


@pytest.mark.parametrize(("rate", "braked"), [(-0.49, 0), (-0.51, 60)])
def test_braking_begins_at_half_a_metre_per_second_squared(rate: float, braked: int) -> None:
    log = a_log(speed_m_s=60.0 + rate * np.arange(60), coolant_temperature_k=361.0)
    assert taken(windows_of(log, FLOW, STOWED))["braking"] == braked


def test_a_vehicle_that_stands_all_the_time_is_looked_at_as_it_stands() -> None:
    found = windows_of(a_log(speed_m_s=1.0), FLOW, STOWED)
    assert "standing or under 7 km/h" not in taken(found)
    assert found.kept_rows == 60
    assert found.warnings == (f"a.csv: {NO_COOLANT}",)
    assert found.means["standing_s"] == 60.0
    with pytest.raises(InputError, match="no vehicle speed"):
        windows_of(a_log(rpm=1.0), FLOW, STOWED)


def test_a_stretch_of_a_log_by_hand() -> None:
    log = a_log(rows=100, **FULL)
    flow = a_flow(np.arange(100.0))
    cut = windows_of(log, flow, replace(STOWED, start_s=15.0, end_s=34.0))
    assert cut.name == "a.csv 15-34 s"
    assert (taken(cut)[OUTSIDE], cut.rows, cut.kept_rows) == (80, 20, 20)
    # windows of 10 s by the clock of the log: 15-19, 20-29 and 30-34; each of half of it or more is whole enough
    assert cut.weight_s.tolist() == [5.0, 10.0, 5.0]
    assert cut.fuel_m3_s.tolist() == [17.0, 24.5, 32.0]
    assert windows_of(log, flow, replace(STOWED, end_s=8.4)).name == "a.csv 0-8 s"
    later = windows_of(log, flow, replace(STOWED, start_s=95.0))
    assert (later.name, later.kept_rows) == ("a.csv 95-99 s", 5)
    assert windows_of(log, flow, STOWED).name == "a.csv"
    # 4 s of a window are enough, 3 s are not
    assert windows_of(log, flow, replace(STOWED, start_s=16.0, end_s=22.0)).weight_s.tolist() == [4.0]


def test_a_window_weighs_each_row_by_its_seconds() -> None:
    log = a_log(rows=8, **FULL)
    log.table["time_s"] = [0.0, 1.0, 4.0, 9.0, 10.0, 12.0, 35.0, 39.0]
    log.table["step_s"] = [1.0, 3.0, 5.0, 1.0, 2.0, 3.0, 4.0, 1.0]
    flow = np.array([1.0, 2.0, 4.0, 10.0, 3.0, 8.0, 6.0, 1.0])
    cut = windows_of(log, a_flow(flow), STOWED)
    assert cut.weight_s.tolist() == [10.0, 5.0, 5.0]
    assert cut.fuel_m3_s == pytest.approx([(1 + 6 + 20 + 10) / 10, (6 + 24) / 5, (24 + 1) / 5])
    assert np.isnan(cut.load).all()
    assert cut.load.size == 3
    loaded = a_log(rows=8, **FULL, calculated_load=flow / 20)
    loaded.table[["time_s", "step_s"]] = log.table[["time_s", "step_s"]]
    assert windows_of(loaded, a_flow(flow), STOWED).load == pytest.approx(cut.fuel_m3_s / 20)
    empty = windows_of(log, a_flow(np.full(8, np.nan)), STOWED)
    assert (empty.kept_rows, empty.kept_s, empty.weight_s.size) == (0, 0.0, 0)
    assert np.isnan(empty.mean_fuel_m3_s)
    assert np.isnan(empty.means["speed_m_s"])


def test_every_mean_of_a_run_by_hand() -> None:
    rows = np.arange(60)
    log = a_log(
        speed_m_s=np.where(rows < 30, 20.0, 26.0),
        coolant_temperature_k=np.where(rows < 20, np.nan, 350.0 + rows % 2),
        head_wind_m_s=np.where(rows < 10, np.nan, 3.0),
        ambient_temperature_k=np.where(rows < 40, 280.0, 286.0),
        intake_temperature_k=310.0,
        barometric_pressure_pa=np.where(rows < 15, 95e3, 97e3),
    )
    run = replace(STOWED, gust_m_s=6.0, vehicle_ahead=0.3, tyre_pressure_pa=2.4e5, date="2026-05-03 10:12", pair="7")
    found = windows_of(log, FLOW, replace(run, direction="out"))
    means = found.means
    assert means["speed_m_s"] == pytest.approx((10 * 20 + 30 * 26) / 40)  # over the rows kept, 20 to 59
    assert means["coolant_k"] == pytest.approx(350.5)
    assert means["temperature_k"] == pytest.approx(283.0)
    assert means["head_wind_m_s"] == pytest.approx(3.0)
    # all of the log: 96.5 kPa; outside 40 rows of 280 K and 20 of 286 K: 282 K; dry air 287.05 J/(kg K); over 1.2
    assert means["relative_density"] == pytest.approx(96.5e3 / 287.05 / 282 / 1.2, rel=1e-4)
    assert (means["gust_m_s"], means["vehicle_ahead"], means["tyre_pressure_pa"]) == (6.0, 0.3, 2.4e5)
    assert (found.pair, found.direction, found.date, found.started) == ("7", "out", "2026-05-03 10:12", found.date)
    assert (found.file, found.source, found.metered_m3_s, found.control) == ("a.csv", "fuel rate", None, None)
    given = windows_of(log, FLOW, replace(run, temperature_k=300.0, pressure_pa=90e3, head_wind_m_s=-1.0))
    assert given.means["temperature_k"] == 300.0
    assert given.means["relative_density"] == pytest.approx(90e3 / 287.05 / 300 / 1.2, rel=1e-4)
    assert given.means["head_wind_m_s"] == pytest.approx(3.0)  # the log's own


def test_what_a_run_does_not_say() -> None:
    bare = windows_of(a_log(**FULL), FLOW, STOWED)
    unknown = ("temperature_k", "head_wind_m_s", "gust_m_s", "vehicle_ahead", "tyre_pressure_pa")
    assert all(np.isnan(bare.means[key]) for key in unknown)
    assert bare.means["relative_density"] == 1.0
    assert np.isnan(bare.covariates[:, COVARIATES.index("grade")]).all()
    assert bare.covariates[:, COVARIATES.index("air")] == pytest.approx(20.0**3)  # calm
    assert bare.covariates[:, COVARIATES.index("warm-up")] == pytest.approx(361.0)
    intake = windows_of(a_log(**FULL, intake_temperature_k=310.0), FLOW, STOWED)
    assert intake.means["temperature_k"] == 310.0
    assert intake.means["relative_density"] == 1.0  # the air that the engine takes in says nothing of that outside
    warm = windows_of(a_log(speed_m_s=20.0), FLOW, STOWED)
    assert np.isnan(warm.covariates[:, COVARIATES.index("warm-up")]).all()
    assert np.isnan(warm.means["coolant_k"])
    only_pressure = windows_of(a_log(**FULL, barometric_pressure_pa=90e3), FLOW, STOWED)
    assert only_pressure.means["relative_density"] == 1.0


def test_standing_is_counted_inside_the_run_alone() -> None:
    speed = np.full(60, 20.0)
    speed[[5, 20, 21, 40]] = 0.0, 2.0, 2.1, 1.0
    log = a_log(step_s=2.0, speed_m_s=speed, coolant_temperature_k=361.0)
    assert windows_of(log, FLOW, STOWED).means["standing_s"] == 6.0
    assert windows_of(log, FLOW, replace(STOWED, start_s=40.0, end_s=79.0)).means["standing_s"] == 2.0
    assert windows_of(log, FLOW, replace(STOWED, start_s=11.0)).means["standing_s"] == 4.0
    assert windows_of(log, FLOW, replace(STOWED, end_s=40.0)).means["standing_s"] == 4.0


def test_weighed_fuel_counts_for_the_whole_run() -> None:
    speed = np.full(60, 20.0)
    speed[10:20] = 0.0
    log = a_log(speed_m_s=speed, coolant_temperature_k=300.0)
    found = windows_of(log, FLOW, replace(STOWED, fuel_used_m3=1.18e-4), shifts_kept=False)
    assert found.metered_m3_s == pytest.approx(1.18e-4 / 59)
    assert found.mean_fuel_m3_s == found.metered_m3_s
    assert found.logged_fuel_m3_s == pytest.approx(2e-6)
    assert (found.kept_rows, taken(found)) == (60, {UNKNOWN: 0})
    part = windows_of(log, FLOW, replace(STOWED, fuel_used_m3=1.2e-4, start_s=10.0, end_s=50.0))
    assert part.metered_m3_s == pytest.approx(3e-6)
    assert list(taken(part)) == [OUTSIDE, UNKNOWN]
    assert windows_of(log, FLOW, replace(STOWED, fuel_used_m3=1.2e-4, end_s=30.0)).metered_m3_s == pytest.approx(4e-6)
    no_time = windows_of(log, FLOW, replace(STOWED, fuel_used_m3=1.2e-4, start_s=50.0, end_s=50.0))
    assert no_time.metered_m3_s is None
    whole = windows_of(a_log(speed_m_s=speed), FLOW, replace(STOWED, fuel_used_m3=1e-4))
    assert whole.warnings == ()  # a cold engine burns what is weighed, too


# --- states that a log marks ------------------------------------------------------------------------------------------


def test_marks_against_the_list() -> None:
    marks = np.array(["working"] * 20 + [""] * 10 + ["stowed"] * 30, dtype=object)
    log = a_log(states=marks, **FULL)
    found = windows_of(log, FLOW, replace(STOWED, state="stowed"))
    assert taken(found)["marked as another state in the log"] == 20
    none_alike = windows_of(log, FLOW, replace(STOWED, state="absent"))
    assert taken(none_alike)["marked as another state in the log"] == 50
    assert none_alike.warnings == ()
    against = windows_of(a_log(states=np.full(60, "working", dtype=object), **FULL), FLOW, STOWED)
    assert against.warnings == ("a.csv: stowed in the manifest, working in the log: the manifest is taken",)
    assert against.kept_rows == 60


def test_stretches_between_marks() -> None:
    marks = np.array(["", "", "working", "working", "other", "stowed", "stowed", "absent"], dtype=object)
    log = a_log(rows=8, step_s=5.0, states=marks, **FULL)
    cut = runs_of_states(Run(Path("a.csv"), "", direction="out"), log)
    assert [(r.state, r.start_s, r.end_s, r.pair, r.direction) for r in cut] == [
        ("working", 10.0, 15.0, "a.csv 1", "out"),
        ("stowed", 25.0, 30.0, "a.csv 1", "out"),
        ("absent", 35.0, 35.0, "a.csv 2", "out"),
    ]
    told = Run(Path("a.csv"), "stowed")
    assert len(runs_of_states(told, log)) == 3
    for cut_out in (replace(told, start_s=0.0), replace(told, end_s=9.0)):
        assert runs_of_states(cut_out, log) == [cut_out]
    one = a_log(rows=8, states=np.array(["stowed"] * 8, dtype=object), **FULL)
    assert runs_of_states(told, one) == [told]
    assert [(r.state, r.start_s, r.end_s) for r in runs_of_states(replace(told, state=""), one)] == [("stowed", 0, 7)]
    for nothing in (a_log(**FULL), a_log(states=np.full(60, "", dtype=object), **FULL)):
        with pytest.raises(InputError, match="absent, stowed, working"):
            runs_of_states(replace(told, state=""), nothing)


# --- gear shifts ------------------------------------------------------------------------------------------------------


def shifted(ratios: list[tuple[int, float]], rows: int = 200, **columns) -> object:
    """Return a log at 20 m/s whose engine turns with another ratio from each of these rows on."""
    ratio = np.zeros(rows)
    for row, value in ratios:
        ratio[row:] = value
    return a_log(rows=rows, speed_m_s=20.0, engine_speed_rad_s=20.0 * ratio, coolant_temperature_k=361.0, **columns)


def test_rows_within_a_second_of_a_shift() -> None:
    log = shifted([(0, 10.0), (50, 11.6), (80, 10.0), (120, 8.57), (121, 10.0)], step_s=0.5)
    # of 7 / 6, 11.6 / 10 lies on one side and 10 / 8.57 on the other
    assert np.flatnonzero(shifting_rows(log)).tolist() == list(range(117, 124))
    assert np.flatnonzero(shifting_rows(log, 2.0)).tolist() == list(range(115, 126))
    assert not shifting_rows(shifted([(0, 10.0)])).any()
    slow = shifted([(0, 10.0), (50, 14.0)])
    slow.table["speed_m_s"] = 2.0  # at a walking pace the ratio says nothing
    assert not shifting_rows(slow).any()
    cut = windows_of(log, a_flow(np.full(200, 2e-6)), STOWED, shifts_kept=False)
    assert taken(cut)[SHIFTS] == 7
    kept = windows_of(log, a_flow(np.full(200, 2e-6)), STOWED)
    assert (SHIFTS in taken(kept), kept.kept_rows - cut.kept_rows) == (False, 7)


@pytest.mark.parametrize(
    ("factor", "said"), [(1.49, None), (1.51, 1.51), (1 / 1.49, None), (1 / 1.51, 1 / 1.51), (0.0, 0.0)]
)
def test_shifts_are_disturbed_where_their_fuel_is_half_as_much_again_or_less(factor: float, said) -> None:
    """Six shifts of four rows each; 4 s around them are held against, what is farther is not."""
    log = shifted([(20 + 20 * k, 10.0 if k % 2 else 12.0) for k in range(6)])
    log.table.loc[:19, "engine_speed_rad_s"] = 200.0
    shifting = shifting_rows(log)
    assert int(shifting.sum()) == 24
    near = shifting_rows(log, 4.0)
    flow = np.where(shifting, factor * 2e-6, np.where(near, 2e-6, 99.0))
    flow[np.flatnonzero(shifting)[0]] = np.nan
    flow[np.flatnonzero(near & ~shifting)[0]] = np.nan
    found = shifts_disturbed([log], [a_flow(flow)])
    assert found == (said if said is None else pytest.approx(said))
    bare = a_log(rows=200, speed_m_s=20.0)
    assert shifts_disturbed([bare, log], [a_flow(flow), a_flow(flow)]) == found


def test_few_shifts_show_nothing() -> None:
    for shifts, shown in ((5, False), (6, True)):
        log = shifted([(0, 10.0), *((20 + 20 * k, 10.0 if k % 2 else 12.0) for k in range(shifts))])
        flow = np.where(shifting_rows(log), 4e-6, 2e-6)
        gone = np.flatnonzero(shifting_rows(log))[: 4 * (shifts - 5)]  # 20 rows of 5 shifts are enough, 19 are not
        flow[gone[:4]] = np.nan
        if not shown:
            flow[np.flatnonzero(shifting_rows(log))[0]] = np.nan
        assert (shifts_disturbed([log], [a_flow(flow)]) is not None) == shown
    assert shifts_disturbed([], []) is None
    still = shifted([(0, 10.0), *((20 + 20 * k, 10.0 if k % 2 else 12.0) for k in range(6))])
    assert shifts_disturbed([still], [a_flow(np.where(shifting_rows(still), 1e-6, 0.0))]) is None


# --- the rule of the run sheet ----------------------------------------------------------------------------------------


def of(speeds: list[float], standing: list[float] | None = None, kept: list[int] | None = None) -> list[RunWindows]:
    return [
        a_run(
            f"run {k}",
            means={"speed_m_s": speed, "standing_s": (standing or [0.0] * len(speeds))[k]},
            kept_rows=(kept or [60] * len(speeds))[k],
        )
        for k, speed in enumerate(speeds)
    ]


@pytest.mark.parametrize(
    ("speeds", "why"),
    [
        ([20, 20, 20, 20, 22.05], {4: "mean speed +10 % off the median, limit 10 %"}),
        ([20, 20, 20, 20, 21.95], {}),
        ([20, 20, 20, 20, 17.8], {4: "mean speed -11 % off the median, limit 10 %"}),
        # town: the middle distance from the median is 4 %, six times that is 24 %
        ([20, 19.2, 20.8, 19.2, 20.8, 15.0], {5: "mean speed -25 % off the median, limit 24 %"}),
        ([20, 19.2, 20.8, 19.2, 20.8, 15.6], {}),
    ],
)
def test_the_rule_of_the_mean_speed(speeds: list[float], why: dict[int, str]) -> None:
    runs = of(speeds)
    if len(speeds) == 6:  # the median of six lies between two: put it where the text has it
        runs += of([20.0])
        runs[6] = replace(runs[6], name="run 6")
    assert rejected(runs) == ({f"run {k}": text for k, text in why.items()}, "")


@pytest.mark.parametrize(
    ("standing", "limit"),
    [
        ([0, 0, 0, 0, 0], 10.0),
        ([4, 4, 4, 4, 4], 10.0),  # 4 + 6 times a quarter
        ([8, 8, 8, 8, 8], 20.0),
        ([40, 20, 60, 20, 60], 40 + 6 * 20.0),
        ([40, 39, 41, 40, 40], 40 + 6 * 10.0),
    ],
)
def test_the_rule_of_standing(standing: list[float], limit: float) -> None:
    assert limits_of(of([20.0] * 5, standing)).standing_s == pytest.approx(limit)


def test_standing_is_rejected_beyond_the_limit() -> None:
    assert rejected(of([20.0] * 5, [0, 0, 0, 0, 10.1]))[0] == {
        "run 4": "the vehicle stands or creeps for 10 s, limit 10 s"
    }
    assert rejected(of([20.0] * 5, [0, 0, 0, 0, 10.0]))[0] == {}


def test_the_rule_of_the_rows_left() -> None:
    assert rejected(of([20.0] * 5, kept=[60, 60, 60, 60, 29]))[0] == {
        "run 4": "only 48 % of its rows are left, limit 50 %"
    }
    assert rejected(of([20.0] * 5, kept=[60, 60, 60, 60, 30]))[0] == {}
    low = of([20.0] * 5, kept=[36, 36, 36, 36, 17])  # median 60 %: half of it is 30 %
    assert limits_of(low).kept == pytest.approx(0.3)
    assert rejected(low)[0] == {"run 4": "only 28 % of its rows are left, limit 30 %"}
    # 49 of 60 rows are 81.7 %, half of it 40.8 %; 24 of 60 are 40 %
    town = of([20.0] * 5, kept=[49, 49, 49, 49, 24])
    assert rejected(town)[0] == {"run 4": "only 40 % of its rows are left, limit 41 %"}
    # a run of which the fuel is not known is told as such, and not rejected for it
    unknown = of([20.0] * 5, kept=[60, 60, 60, 60, 20])
    for rows, out in ((30, False), (29, True)):
        unknown[4] = replace(unknown[4], filters=(Filter(UNKNOWN, rows),))
        assert ("run 4" in rejected(unknown)[0]) is out


def test_where_the_rule_is_not_applied() -> None:
    assert rejected(of([20.0] * 3)) == ({}, "fewer than four runs")
    assert rejected(of([20.0] * 3 + [np.nan])) == ({}, "fewer than four runs")
    assert rejected([*of([20.0] * 3), a_run("empty", weight_s=())]) == ({}, "fewer than four runs")
    assert rejected(of([0.0, 0.0, 0.0, 20.0])) == ({}, "the vehicle stands in most runs")
    assert rejected(of([20.0] * 4)) == ({}, "")
    both = rejected(of([20.0] * 4 + [10.0], [0, 0, 0, 0, 12], [60, 60, 60, 60, 6]))[0]["run 4"]
    assert both == (
        "mean speed -50 % off the median, limit 10 %, the vehicle stands or creeps for 12 s, limit 10 s, "
        "only 10 % of its rows are left, limit 50 %"
    )


def test_the_rule_says_its_limits() -> None:
    speed, standing, left, fuel = RULE
    assert "more than 10 % off the median" in speed
    assert "the limit is 6 times the median distance" in speed
    assert "(under 7 km/h, 4 mph) for more than 10 s" in standing
    assert "plus 6 times the median distance" in standing
    assert "less than 50 % of its rows" in left
    assert fuel.startswith("No run is rejected for its fuel.")


def test_one_steady_speed() -> None:
    assert at_steady_speed(of([20, 20, 20, 20]))
    assert not at_steady_speed(of([20, 20, 20]))
    assert at_steady_speed(of([20, 20.59, 19.41, 20.59, 19.41]))
    assert not at_steady_speed(of([20, 20.61, 19.39, 20.61, 19.39]))
    assert at_steady_speed(of([20] * 5, [5, 5, 5, 0, 90]))
    assert not at_steady_speed(of([20] * 5, [5.1, 5.1, 5.1, 0, 0]))
    assert not at_steady_speed(of([0.0] * 4))


def test_the_limits_of_the_weather() -> None:
    def run(name: str, pair: str = "1", **means: float) -> RunWindows:
        return a_run(name, pair=pair, means=means)

    calm = [run("a", head_wind_m_s=3.0, gust_m_s=5.0), run("b", head_wind_m_s=-3.0, temperature_k=293.0)]
    assert beyond_limits(calm) == []
    assert beyond_limits([run("a", head_wind_m_s=-3.6), run("b", head_wind_m_s=3.1), run("c")]) == [
        "wind along the road over the sheet's limit of 3 m/s in 2 of 3 runs (up to 3.6 m/s)"
    ]
    assert beyond_limits([run("a", gust_m_s=5.1), run("b", gust_m_s=7.0), run("c")]) == [
        "gusts over the sheet's limit of 5 m/s in 2 of 3 runs (up to 7.0 m/s)"
    ]
    assert beyond_limits([run("a"), run("b", temperature_k=293.1), run("c", temperature_k=np.nan)]) == [
        "air temperature differs by more than the sheet's 5 K inside pair 1"
    ]
    assert beyond_limits([run("a", pair=""), run("b", pair="", temperature_k=300.0)]) == []
    many = [run("x", str(k), temperature_k=t) for k in range(8) for t in (280.0, 290.0)]
    assert beyond_limits(many) == ["air temperature differs by more than the sheet's 5 K inside pairs 0, 1, 2, 3, 4, 5"]
