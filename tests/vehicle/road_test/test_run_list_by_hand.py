"""The list of runs: every field of what is read, by hand, and what is refused just beyond every limit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from vehicle.problems import InputError
from vehicle.road_test.run_list import Manifest, Run, full_load_of, manifest_of, read_manifest


def listed(folder: Path, text: str, *, names: str = "ab", **more: bool) -> Manifest:
    for name in names:
        (folder / f"{name}.csv").write_text("x")
    path = folder / "runs.toml"
    path.write_text(text, encoding="utf-8")
    return read_manifest(path, **more)


def run_said(folder: Path, line: str, head: str = "") -> Run:
    (run,) = listed(folder, f'{head}[[run]]\nfile = "a.csv"\nstate = "working"\n{line}\n').runs
    return run


def refused(folder: Path, text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        listed(folder, text)
    return [str(problem) for problem in caught.value.problems]


WHOLE = """
title = "a test"
[vehicle]
name = "our van"
mass = "2300 kg"
coastdown_b = "2 N*s/m"
coastdown_c = { value = "0.6 N*s^2/m^2", plus_minus = "0.1 N*s^2/m^2" }
[engine]
fuel = "diesel"
displacement = "2.0 L"
volumetric_efficiency = 0.82
peak_torque = "190 N*m"
[control]
name = "second car"
fuel = "e10"
displacement = "1.2 L"
volumetric_efficiency = "85 %"
[columns]
"Spd2" = "vehicle speed (mph)"
[directions]
Out = "north-east"
[[run]]
log = "a.csv"
turbine = " Feathered "
block = 3
heading = "Out"
headwind = "-18 km/h"
ambient_temperature = "50 degF"
pressure = "950 hPa"
started = 2026-05-03T10:12:00
from = "1 min"
until = "10.5 min"
gust = "36 km/h"
vehicle_ahead = "20 %"
tyre_pressure = "36 psi"
fuel_used = "1.84 L"
control = "b.csv"
columns = { "Spd3" = "ignore" }
note = "told to people"
route = "ring road"
driver = "one of us"
"""


def test_every_field_of_a_list(tmp_path: Path) -> None:
    found = listed(tmp_path, WHOLE)
    assert found.path == tmp_path / "runs.toml"
    assert (found.name, found.mass_kg, found.road_load) == ("our van", 2300.0, (0.0, 2.0, 0.6))
    engine, control = found.engine, found.control_engine
    assert (engine.fuel.name, engine.volumetric_efficiency) == ("diesel", 0.82)
    assert (control.fuel.name, control.volumetric_efficiency) == ("e10", 0.85)
    assert (engine.displacement_m3, control.displacement_m3) == pytest.approx((2e-3, 1.2e-3))
    assert found.fuel_is_named
    assert found.full_load.torque_n_m.tolist() == [190.0]
    assert found.full_load.error == 0.10
    assert found.columns == {"Spd2": "vehicle speed (mph)"}
    assert found.warnings == ()
    (run,) = found.runs
    assert run.path == tmp_path / "a.csv"
    assert (run.state, run.pair, run.direction) == ("stowed", "3", "out")
    assert run.head_wind_m_s == pytest.approx(-5.0)
    assert run.temperature_k == pytest.approx(283.15)
    assert run.pressure_pa == pytest.approx(95e3)
    assert run.date.startswith("2026-05-03")
    assert (run.start_s, run.end_s) == (60.0, 630.0)
    assert run.gust_m_s == pytest.approx(10.0)
    assert run.vehicle_ahead == pytest.approx(0.2)
    assert run.tyre_pressure_pa == pytest.approx(36 * 6894.757, rel=1e-6)
    assert run.fuel_used_m3 == pytest.approx(1.84e-3)
    assert run.control == tmp_path / "b.csv"
    assert run.columns == {"Spd3": "ignore"}
    assert (run.distance_m, run.duration_s) == (None, None)
    assert run.has_log
    assert run.logs == (tmp_path / "a.csv", tmp_path / "b.csv")


def test_what_is_not_said_is_not_known(tmp_path: Path) -> None:
    found = listed(tmp_path, '[run]\nfile = "a.csv"\n')  # a single table is a run too
    assert found.runs == (Run(tmp_path / "a.csv", ""),)
    assert (found.mass_kg, found.road_load, found.full_load, found.name, found.fuel_is_named) == (
        None,
        None,
        None,
        "",
        False,
    )
    assert (found.engine.displacement_m3, found.engine.volumetric_efficiency) == (None, None)
    assert found.runs[0].logs == (tmp_path / "a.csv",)
    assert listed(tmp_path, "", needs_runs=False).runs == ()
    vehicle = listed(tmp_path, '[vehicle]\nname = 3\ncoastdown_a = "150 N"\nfuel = "lpg"\n[[run]]\nfile = "a.csv"\n')
    assert (vehicle.name, vehicle.road_load, vehicle.engine.fuel.name) == ("", (150.0, 0.0, 0.0), "lpg")


@pytest.mark.parametrize(
    ("said", "state"),
    [
        (word, state)
        for state, words in (
            ("working", ("working", "on", "with", "running", "WORKING")),
            ("stowed", ("stowed", "off", "feathered", "stopped")),
            ("absent", ("absent", "without", "removed", "none")),
        )
        for word in words
    ],
)
def test_words_for_the_state(tmp_path: Path, said: str, state: str) -> None:
    assert listed(tmp_path, f'[[run]]\ncsv = "a.csv"\nstate_of_turbine = "{said}"\n').runs[0].state == state


RUN = '[[run]]\nfile = "a.csv"\nstate = "stowed"\n'


@pytest.mark.parametrize(
    ("line", "where", "accepted"),
    [
        ('tyre_pressure = "0.49 bar"', "run[1].tyre_pressure", "0.5-12 bar"),
        ('tyre_pressure = "12.1 bar"', "run[1].tyre_pressure", "36 psi"),
        ("tyre_pressure = 2.5", "run[1].tyre_pressure", '"2.5 bar"'),
        ('tyre_pressure = "2.4 / 2.6"', "run[1].tyre_pressure", '"2.5 bar"'),
        ('vehicle_ahead = "101 %"', "run[1].vehicle_ahead", '"20 %"'),
        ("vehicle_ahead = -0.01", "run[1].vehicle_ahead", "true, false"),
        ("pair = [1]", "run[1].pair", "a number or a word"),
        ("columns = 3", "run[1].columns", "a table such as"),
        ("gust = true", "run[1].gust", "m/s"),
        ('fuel_used = "0 L"', "run[1].fuel_used", '"1.84 L"'),
        ('fuel_used = "-1 L"', "run[1].fuel_used", '"1.84 L"'),
        ('fuel_used = "1000 L"', "run[1].fuel_used", '"1.37 kg"'),
        ('control = ""', "run[1].control", "the log's name"),
        ('control = "c.csv"', "run[1].control", "c.csv: no such file"),
        ('wind = "3"\nwind_from = "west"', "run[1].wind", "m/s"),
        ('wind_speed = "3 kg"', "run[1].wind_speed", "m/s"),
    ],
)
def test_a_run_that_is_refused(tmp_path: Path, line: str, where: str, accepted: str) -> None:
    (problem,) = refused(tmp_path, RUN + line + "\n")
    assert where in problem
    assert accepted in problem


@pytest.mark.parametrize(
    ("line", "name", "value"),
    [
        ('tyre_pressure = "0.5 bar"', "tyre_pressure_pa", 0.5e5),
        ('tyre_pressure = "12 bar"', "tyre_pressure_pa", 12e5),
        ("vehicle_ahead = true", "vehicle_ahead", 1.0),
        ("vehicle_ahead = false", "vehicle_ahead", 0.0),
        ("vehicle_ahead = 1", "vehicle_ahead", 1.0),
        ("vehicle_ahead = 0.25", "vehicle_ahead", 0.25),
        ('fuel_used = "999 L"', "fuel_used_m3", 0.999),
        ('fuel_used = "1.482 kg"', "fuel_used_m3", 2e-3),  # petrol, 741 g/L
        ("pair = 7", "pair", "7"),
        ('pair = "x"\nblock = 2', "pair", "x"),
        ('date = "yesterday"\nstarted = 2026-05-03', "date", "yesterday"),
        ('to = "90 s"', "end_s", 90.0),
        # wind from the north-west, 4 m/s: driving west it is 4 cos 45 degrees ahead, driving south-east from behind
        ('wind = "4 m/s"\nwind_from = "north-west"\ndirection = "west"', "head_wind_m_s", 4 * np.sqrt(0.5)),
        ('wind_speed = "4 m/s"\nwind_from = "NW"\ndirection = "SOUTH EAST"', "head_wind_m_s", -4.0),
        ('wind = "4 m/s"\nwind_from = "northbound"\ndirection = "ESE"', "head_wind_m_s", 4 * np.cos(np.radians(112.5))),
        ('wind = "4 m/s"\nwind_from = "-30 deg"\ndirection = "390 deg"', "head_wind_m_s", 2.0),
        ('wind = "4 m/s"\nwind_from = "wsw"\ndirection = "w"', "head_wind_m_s", 4 * np.cos(np.radians(22.5))),
        ('wind = "0 m/s"', "head_wind_m_s", 0.0),  # calm: no direction is needed
        ('wind = "4 m/s"\nhead_wind = "1 m/s"', "head_wind_m_s", 1.0),
        ('wind = ""', "head_wind_m_s", None),
    ],
)
def test_a_run_that_is_read(tmp_path: Path, line: str, name: str, value: object) -> None:
    found = run_said(tmp_path, line)
    said = getattr(found, name)
    assert said == (pytest.approx(value) if isinstance(value, float) else value)


def test_a_wind_that_cannot_be_used_is_told_and_what_is_missing(tmp_path: Path) -> None:
    for line, text in (
        ('wind = "4 m/s"\ndirection = "north"', 'wind_from = "west" (or an angle) is missing in runs.toml'),
        ('wind = "4 m/s"\nwind_from = "west"', 'where the run leads: [directions] out = "north-east"'),
        ('wind = "4 m/s"\nwind_from = "west"\ndirection = "uphill"', '[directions] uphill = "north-east"'),
        ('wind = "4 m/s"\nwind_from = "west"\ndirection = "to us"', '[directions] out = "north-east"'),
    ):
        found = listed(tmp_path, RUN + line + "\n")
        assert found.runs[0].head_wind_m_s is None
        assert text in found.warnings[0]
        assert len(found.warnings) == 1


@pytest.mark.parametrize(
    ("table", "where"),
    [
        ('displacement = "0.049 L"', "engine.displacement"),
        ('displacement = "30.1 L"', "engine.displacement"),
        ("volumetric_efficiency = 0.19", "engine.volumetric_efficiency"),
        ('volumetric_efficiency = "201 %"', "engine.volumetric_efficiency"),
        ('peak_torque = "0 N*m"', "engine.peak_torque"),
        ('peak_torque = "5001 N*m"', "engine.peak_torque"),
        ("torque_curve = 3", "engine.torque_curve"),
        ('fuel = "coal"', "engine.fuel"),
    ],
)
def test_an_engine_that_is_refused(tmp_path: Path, table: str, where: str) -> None:
    (problem,) = refused(tmp_path, f"[engine]\n{table}\n{RUN}")
    assert where in problem


def test_an_engine_at_the_ends_of_what_is_accepted(tmp_path: Path) -> None:
    small = listed(tmp_path, f'[engine]\ndisplacement = "0.05 L"\nvolumetric_efficiency = 0.2\n{RUN}').engine
    assert (small.displacement_m3, small.volumetric_efficiency) == (pytest.approx(5e-5), 0.2)
    large = listed(tmp_path, f'[engine]\ndisplacement = "30 L"\nvolumetric_efficiency = "200 %"\n{RUN}').engine
    assert (large.displacement_m3, large.volumetric_efficiency) == (pytest.approx(0.03), 2.0)


def test_torque_at_full_load(tmp_path: Path) -> None:
    assert full_load_of(None, None) is None
    one = full_load_of({"value": "200 N*m", "plus_minus": "30 N*m"}, None)
    assert (one.torque_n_m.tolist(), one.error) == ([200.0], pytest.approx(0.15))
    assert one.at(np.array([0.0, 500.0])).tolist() == [200.0, 200.0]
    curve = tmp_path / "torque.csv"
    curve.write_text("engine_speed_rpm,torque_nm\n1000,120\n3000,200\n5000,170\n")
    whole = full_load_of(None, curve)
    turns = np.pi / 30
    assert whole.at(turns * np.array([500, 2000, 4000, 9000])) == pytest.approx([120, 160, 185, 170])
    assert whole.error == 0.10  # common practice, no source
    for bad in ("1000,120\n3000,0\n", "1000,120\n1000,130\n", "3000,120\n1000,130\n"):
        curve.write_text("engine_speed_rpm,torque_nm\n" + bad)
        with pytest.raises(InputError, match="rising speeds, torques > 0"):
            full_load_of(None, curve)


NO_LOG = '[[run]]\nstate = "stowed"\nfuel_used = "1.2 L"\ndistance = "{}"\nduration = "{}"\n'


def test_a_run_without_a_log(tmp_path: Path) -> None:
    for distance, duration, m, s in (("0.5 km", "1 min", 500.0, 60.0), ("500 km", "12 h", 500e3, 43_200.0)):
        (run,) = listed(tmp_path, NO_LOG.format(distance, duration)).runs
        assert (run.distance_m, run.duration_s, run.has_log, run.logs) == (m, s, False, ())
        assert run.path.name == "run 1 (no log)"
    for distance, duration, where in (
        ("0.49 km", "1 min", "distance"),
        ("501 km", "1 h", "distance"),
        ("15 km", "59 s", "duration"),
        ("15 km", "12.1 h", "duration"),
    ):
        (problem,) = refused(tmp_path, NO_LOG.format(distance, duration))
        assert f"run[1].{where}" in problem
    problems = refused(tmp_path, '[[run]]\nfuel_used = "1.2 L"\n')
    assert [p.partition(": not given")[0].rpartition(" ")[2] for p in problems] == [
        "run[1].distance",
        "run[1].duration",
        "run[1].state",
    ]
    logged = listed(tmp_path, RUN + 'distance = "3 km"\n')
    assert logged.runs[0].distance_m is None
    assert logged.warnings == ("run[1].distance in runs.toml is not used: the log has it",)


def test_what_must_stand_in_every_run_or_in_none(tmp_path: Path) -> None:
    two = RUN + "{}\n" + RUN.replace("a.csv", "b.csv")
    assert "1 of 2 runs have a control log" in refused(tmp_path, two.format('control = "b.csv"'))[0]
    assert "1 of 2 runs have weighed or metered fuel" in refused(tmp_path, two.format('fuel_used = "1 L"'))[0]
    assert len(listed(tmp_path, two.format("")).runs) == 2
    twice = refused(tmp_path, RUN + 'start = "5 s"\n' + RUN + RUN)
    assert "a.csv is run 2 already" in twice[0]
    assert "run[3].file" in twice[0]
    assert len(twice) == 1


def test_what_is_left_out_or_not_known_is_told(tmp_path: Path) -> None:
    found = listed(tmp_path, RUN + "exclude = true\n" + RUN + 'weather = "fine"\nexclude = false\n')
    assert len(found.runs) == 1
    assert found.warnings == (
        "run[1] (a.csv) is left out as the manifest says",
        "run[2].weather in runs.toml is not used",
    )
    assert "state?" in refused(tmp_path, '[[run]]\nfile = "a.csv"\nstat = "on"\n')[0]
    assert "perhaps a.csv" in refused(tmp_path, '[[run]]\nfile = "aa.csv"\n')[0]
    assert "no runs" in refused(tmp_path, "")[0]
    assert "one [[run]] table" in refused(tmp_path, "run = 3\n")[0]
    assert '"290 deg"' in refused(tmp_path, '[directions]\nout = "up"\n' + RUN)[0]


def test_a_list_from_a_text_carries_what_was_said_before(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("x")
    found = manifest_of(RUN + 'weather = "fine"\n', tmp_path / "sheet.csv", ("said before",))
    assert found.warnings == ("said before", "run[1].weather in sheet.csv is not used")
    assert found.runs[0].path == tmp_path / "a.csv"
    with pytest.raises(InputError, match="no runs"):
        manifest_of("", tmp_path / "sheet.csv")


def test_a_file_that_is_no_list(tmp_path: Path) -> None:
    for content, said in ((b"[[run]\n", "not TOML"), (b"\xff\xfe", "not UTF-8"), (b"x = " + b"9" * 9000, "not TOML")):
        (tmp_path / "runs.toml").write_bytes(content)
        with pytest.raises(InputError, match=said):
            read_manifest(tmp_path / "runs.toml")
    with pytest.raises(InputError, match="no such file"):
        read_manifest(tmp_path / "none.toml")
    (tmp_path / "a.csv").write_text("x")
    (tmp_path / "runs.toml").write_bytes(b"\xef\xbb\xbf" + RUN.encode())  # as some editors save it
    assert len(read_manifest(tmp_path / "runs.toml").runs) == 1
