"""A blade in a scenario: from radius, chord, twist and polar through `answer`, `match` and `curves`."""

from __future__ import annotations

import json
import random
import shutil
from pathlib import Path

import numpy as np
import pytest
from tests_support import of_study, run

from energy.aero.blade import CurveSettings, blade_curves, read_blade, usual_grid
from energy.aero.curves import read_curves
from energy.aero.polar import read_polars
from energy.chain.answer import answered
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.chain.matching import match
from energy.scenario.inputs import inputs_of
from energy.scenario.read import load_rotor
from energy.words.answer import as_data
from energy.words.cautions import cautions
from vehicle.problems import InputError

POLAR = (
    "alpha_deg,cl,cd\n-8,-0.6,0.03\n-4,-0.1,0.015\n0,0.4,0.012\n4,0.85,0.014\n8,1.2,0.02\n12,1.35,0.05\n16,1.2,0.15\n"
)


@pytest.fixture
def camper(demos: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(demos / "camper_oven", tmp_path / "camper")) / "scenario.toml"


def replaced(path: Path, *changes: tuple[str, str]) -> Path:
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path


def test_a_blade_runs_end_to_end(camper: Path) -> None:
    told = answered(load(camper))
    data = as_data(told)
    assert data["verdict"] == "costs"
    assert data["heat_power_w"] > 500
    assert data["rotor"]["stalled_torque_share"] < 0.2
    assert any("blade-element momentum" in str(a["value"]) for a in data["assumptions"])
    assert any("estimated by formula" in str(a["value"]) for a in data["assumptions"])
    power_factor = next(a for a in data["assumptions"] if a["key"] == "rotor.power_factor")
    assert power_factor["low"] == 0.55  # a polar by formula is doubted more than a measured one
    found = match(load(camper))
    assert float(found.best.answer.turbine.heat_power_w) >= data["heat_power_w"] * (1 - 1e-9)


def test_saved_curves_give_the_same_answer(camper: Path) -> None:
    result = run("curves", str(camper), "--out", str(camper.parent / "curves.csv"))
    assert result.returncode == 0, result.stderr
    assert (camper.parent / "curves.svg").read_text(encoding="utf-8").startswith("<svg")
    computed = answer(inputs_of(load(camper)))
    text = camper.read_text(encoding="utf-8")
    start, end = text.index("\n[blade]"), text.index("\n[drive]")
    camper.write_text(
        text[:start].replace('blade = "blade.csv" ', 'curves = "curves.csv" ') + text[end:], encoding="utf-8"
    )
    read = answer(inputs_of(load(camper)))
    assert float(read.turbine.heat_power_w) == pytest.approx(float(computed.turbine.heat_power_w), rel=1e-6)
    assert float(read.change.power_w) == pytest.approx(float(computed.change.power_w), rel=1e-6)
    header = (camper.parent / "curves.csv").read_text(encoding="utf-8").splitlines()
    assert "tip_speed_ratio,pitch_deg,power_coefficient,thrust_coefficient" in header
    assert len(read_curves(camper.parent / "curves.csv").pitch_deg) > 10


def test_another_way_to_tell_the_pitch_lands_on_the_same_answer(camper: Path) -> None:
    here = answer(inputs_of(load(camper)))
    replaced(
        camper,
        ('pitch_zero_is = "flat"', 'pitch_zero_is = "feather"'),
        ('pitch = "8 deg"', 'pitch = "82 deg"'),
        ('pitch_positive_towards = "feather"', 'pitch_positive_towards = "flat"'),
    )
    there = answer(inputs_of(load(camper)))
    assert float(there.turbine.heat_power_w) == pytest.approx(float(here.turbine.heat_power_w), rel=1e-9)
    best, same = match(load(camper)), match(load(camper, ["rotor.pitch=80 deg"]))
    assert best.best.pitch_deg == pytest.approx(same.best.pitch_deg, abs=1.0)
    assert 60 < best.best.pitch_deg < 96  # as that dial reads


def test_solidity_chord_and_twist_come_from_the_blade(camper: Path) -> None:
    # By hand, trapezia of the stations: 0.0126 + 0.0115 + 0.01015 + 0.0089 + 0.00775 + 0.00345 = 0.05435 m² a blade;
    # outer half from 0.325 m (chord 0.10475 m): 0.0074906 + 0.0089 + 0.00775 + 0.00345 = 0.0275906 m² over 0.325 m.
    loads = '\n[blade_loads]\nmass = "0.5 kg"\ncentre_of_mass = "0.3 m"\n[blade]\n'
    scenario = load(replaced(camper, ("\n[blade]\n", loads)))
    assert scenario.rotor.solidity.value == pytest.approx(3 * 0.05435 / (np.pi * 0.65**2), rel=1e-9)
    assert scenario.blade_loads is not None
    assert scenario.blade_loads.chord is not None
    assert scenario.blade_loads.chord.value == pytest.approx(0.0275906 / 0.325, rel=1e-4)
    # At 0.3 m the twist is 10 deg; the dial means the chord at 75 % (0.4875 m): 7 - 0.875 × 2 = 5.25 deg.
    assert scenario.blade_loads.mean_twist.value == pytest.approx(10 - 5.25, rel=1e-9)
    assumed = {a.key: a.source for a in inputs_of(scenario).assumptions}
    assert assumed["rotor.solidity"].startswith("computed from blade.csv")
    kept = load(camper, ["rotor.solidity=0.12"])  # within 5 %: what was measured stays
    assert kept.rotor.solidity.value == 0.12


def test_a_twist_of_the_other_sign_is_told(camper: Path) -> None:
    """The camper's blade is twisted by 24 deg at the root and 3 at the tip; counted the other way the tip has more."""
    assert not any("twist" in warning for warning in load(camper).warnings)
    (warning,) = load(camper, ["blade.twist_positive_towards=flat"]).warnings
    assert warning.startswith("the twist of blade.csv grows from -24 deg at the root to -3 deg at the tip")
    assert "blade.twist_positive_towards" in warning
    straight = replaced(camper.with_name("blade.csv"), ("24.0", "4.0"))
    assert not any("twist" in warning for warning in load(straight.with_name("scenario.toml")).warnings)


def test_stall_is_told_and_widens(camper: Path) -> None:
    told = answered(
        load(camper, ["heater.resistance=5 ohm", "generator.load_connected=after_spin_up", "rotor.pitch=-4 deg"])
    )
    assert float(told.answer.turbine.stalled_torque_share) > 0.2
    assert any(
        "stalled sections" in caution and "can be anything from" in caution for caution in cautions(told, "metric")
    )
    stalled = next(a for a in told.answer.inputs.assumptions if a.key == "blade.stalled_power_factor")
    assert (stalled.low, stalled.high) == (0.7, 2.4)
    assert "wind-tunnel rotor" in stalled.source
    off = load(camper, ["blade.stall_delay=false"])
    assert off.blade is not None
    assert (off.blade.stalled_power_factor.low, off.blade.stalled_power_factor.high) == (0.7, 10.0)
    assert "stall delay is off" in off.reasons["blade.stalled_power_factor"]
    own = load(camper, ["rotor.power_factor=0.9", "blade.stall_delay=false", "blade.stalled_power_factor=1.5"])
    assert own.rotor.power_factor.low == 0.9
    assert own.blade is not None
    assert own.blade.stalled_power_factor.high == 1.5


def test_the_wind_tunnel_rotor_from_files_alone(demos: Path) -> None:
    # Published geometry and polar; measured 5.95 kW and 1132 N at 7 m/s (see the folder's SOURCE.md).
    result = run(
        "curves", str(demos / "wind_tunnel_rotor" / "rotor.toml"), "--air", "7 m/s", "--turning", "71.88 rpm", "--json"
    )
    assert result.returncode == 0, result.stderr
    condition = json.loads(result.stdout)["condition"]
    assert condition["shaft_power_w"] == pytest.approx(5946, rel=0.10)
    assert condition["thrust_n"] == pytest.approx(1132, rel=0.10)
    stalled = run(
        "curves", str(demos / "wind_tunnel_rotor" / "rotor.toml"), "--air", "15 m/s", "--turning", "72.06 rpm"
    )
    assert "real power there can be 0.7 to 2.4 times the computed" in " ".join(stalled.stdout.split())


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ([('diameter = "1.3 m"', 'diameter = "1.5 m"')], "0.65 m, but half of rotor.diameter is 0.75 m"),
        ([("number_of_blades = 3", "number_of_blades = 2.5")], "a whole number"),
        ([('tube_radius = "125 mm" ', 'tube_radius = "30 mm" ')], "a chord shorter than the tube"),
        ([('tube_radius = "125 mm" ', "")], "one of polar (CSV), camber (bent plate)"),
        ([('tube_radius = "125 mm" ', 'polar = "none.csv" ')], "no such file"),
        ([('tube_radius = "125 mm" ', "polar = [] ")], "at least one CSV file"),
        (
            [('tube_radius = "125 mm" ', 'polar = ["polar.csv"]\npolar_reynolds_numbers = [1e5, 2e5] ')],
            "one for each polar file",
        ),
        ([('blade = "blade.csv" ', 'curves = "blade.csv" ')], "missing next to [blade]"),
        ([("[blade]", "[blades]")], "blade (nearest)"),
        ([('pitch = "8 deg"', 'pitch = "105 deg"')], "a pitch within the curves"),
        ([('pitch_zero_is = "flat"', 'pitch_zero_is = "level"')], "'flat' or 'feather'"),
        ([('hub_radius = "60 mm"', 'hub_radius = "0.9 m"')], "0 to less than the tip"),
        ([("\n[blade]\n", "\nsolidity = 0.10\n[blade]\n")], "0.1, but blade.csv gives 0.123"),
        ([("\n[blade]\n", '\n[blade_loads]\nmean_twist = "4 deg"\n[blade]\n')], "4 deg, but blade.csv gives 3."),
        ([("\n[blade]\n", '\n[blade_loads]\nchord = "0.1 m"\n[blade]\n')], "0.1 m, but blade.csv gives 0.0849 m"),
    ],
)
def test_what_is_wrong_is_told(camper: Path, changes: list[tuple[str, str]], told: str) -> None:
    (camper.parent / "polar.csv").write_text(POLAR, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(replaced(camper, *changes))
    assert told in str(caught.value)


def three_polars(demos: Path, folder: Path) -> Path:
    """Write the wind-tunnel rotor at a tenth of its size, with its polar at three Reynolds numbers."""
    data = demos.parent / "tests" / "data" / "two_blade_rotor"
    for number in (300, 650, 1000):
        shutil.copy(data / f"polar_s809_re{number}k.csv", folder)
    rows = (data / "blade_geometry.csv").read_text(encoding="utf-8").splitlines()
    start = next(k for k, row in enumerate(rows) if row and not row.startswith("#"))
    small = [
        ",".join([*(f"{float(cell) / 10:.6g}" for cell in row.split(",")[:2]), row.split(",")[2]])
        for row in rows[start + 1 :]
    ]
    header = ",".join(rows[start].split(",")[:3])
    (folder / "blade.csv").write_text("\n".join([header, *small]) + "\n", encoding="utf-8")
    path = folder / "rotor.toml"
    path.write_text(
        '[rotor]\ndiameter = "1.0058 m"\nblade = "blade.csv"\npitch = "3 deg"\n[blade]\nnumber_of_blades = 2\n'
        'polar = ["polar_s809_re300k.csv", "polar_s809_re650k.csv", "polar_s809_re1000k.csv"]\n'
        "polar_reynolds_numbers = [3e5, 6.5e5, 1e6]\n",
        encoding="utf-8",
    )
    return path


def test_curves_take_the_reynolds_number_of_each_air_speed(demos: Path, tmp_path: Path) -> None:
    """Against curves computed straight at that speed; the notes say which, also where no trip and no air is given."""
    path = three_polars(demos, tmp_path)
    blade = read_blade(tmp_path / "blade.csv", 2)
    polars = [read_polars(tmp_path / f"polar_s809_re{number}k.csv", 1e3 * number)[0] for number in (300, 650, 1000)]
    found = {}
    for speed in (5.0, 20.0, 60.0):
        rotor = load_rotor(path, (), speed)
        settings = CurveSettings(air_speed_m_s=speed)
        straight = blade_curves(blade, polars, usual_grid()[0], np.array([2.0, 4.0]), settings)
        place = [int(np.argmin(np.abs(rotor.curves.pitch_deg - pitch))) for pitch in (2.0, 4.0)]
        # The air of a kept set is rounded to 5 %.
        assert rotor.curves.power_coefficient[place, 1:].max() == pytest.approx(
            straight.power_coefficient.max(), rel=5e-3
        )
        assert any(
            f"air speed of {speed:.3g} m/s ({speed / 0.44704:.3g} mph) at the rotor (as asked)" in note
            for note in rotor.curves.notes
        )
        found[speed] = rotor.curves.best[2]
    assert found[5.0] < found[20.0] < found[60.0]
    assert found[60.0] > 1.02 * found[5.0]
    bare = load_rotor(path)
    assert any(
        "25 m/s (55.9 mph) at the rotor (assumed, as there is no trip.road_speed" in note for note in bare.curves.notes
    )
    windy = load_rotor(path, ["air.wind_speed=20 m/s"])
    assert windy.curves.best[2] == found[20.0]
    asked = run("curves", str(path), "--air", "60 m/s", "--json")
    assert json.loads(asked.stdout)["best"]["power_coefficient"] == pytest.approx(found[60.0])


def test_one_polar_is_not_said_to_follow_the_air_speed(demos: Path, tmp_path: Path) -> None:
    """Of a single polar no Reynolds number is used: the curves are alike, and the notes say why."""
    path = three_polars(demos, tmp_path)
    text = path.read_text(encoding="utf-8").partition("polar = ")[0]
    alike = []
    for polar in ('"polar_s809_re300k.csv"', '["polar_s809_re300k.csv"]'):
        path.write_text(f"{text}polar = {polar}\n", encoding="utf-8")
        for speed in (5.0, 60.0):
            curves = load_rotor(path, (), speed).curves
            alike.append(curves.best[2])
            assert not any("Reynolds numbers are those" in note for note in curves.notes)
            assert any(f"the curves are the same at {speed:g} m/s" in note for note in curves.notes)
    assert np.ptp(alike) == 0


def test_only_the_rotor_is_needed_for_curves(camper: Path, tmp_path: Path) -> None:
    rotor = load_rotor(camper, ["rotor.pitch=5 deg"])
    assert rotor.pitch_deg == 5.0
    assert 1.1 < rotor.density_kg_m3 < 1.3
    bare = tmp_path / "bare.toml"
    bare.write_text("[air]\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"a table \[rotor\]"):
        load_rotor(bare)
    for arguments, expected in (
        (["--turning", "70 rpm"], "given without --air"),
        (["--air", "7 kg"], "another kind"),
        (["--air", "0 m/s"], "above 0"),
        (["--air", "400 km/h"], "at most 100 m/s"),
        (["--air", "7 m/s", "--turning", "9000 rpm"], "where the curves end"),
        (["--picture", str(tmp_path / "x.bmp")], ".svg, .png, .html"),
        (["--out", str(tmp_path / "none" / "x.csv")], "existing folder"),
    ):
        result = run("curves", str(camper), *arguments)
        assert result.returncode == 2
        assert expected in result.stderr


def test_mutated_blade_and_polar_files_give_curves_or_an_input_error(camper: Path) -> None:
    replaced(camper, ('tube_radius = "125 mm" ', 'polar = "polar.csv" '))
    blade = (camper.parent / "blade.csv").read_text(encoding="utf-8")
    rng = random.Random(5)
    computed, told_lines = 0, []
    for _ in range(of_study(60, 150)):
        texts = {"blade.csv": list(blade), "polar.csv": list(POLAR)}
        target = texts[rng.choice(list(texts))]
        for _ in range(rng.randint(1, 3)):
            place = rng.randrange(len(target))
            if rng.random() < 0.5:
                target[place] = rng.choice('0123456789.,-;e\n"')
            else:
                del target[place : place + rng.randint(1, 12)]
        for name, text in texts.items():
            (camper.parent / name).write_text("".join(text), encoding="utf-8")
        try:
            scenario = load(camper)
        except InputError as error:
            told_lines += str(error).splitlines()
            continue
        computed += 1
        assert scenario.curves is not None
        assert np.isfinite(scenario.curves.power_coefficient).all()
    assert computed > 10
    assert len(told_lines) > 10
    assert all(line.strip() for line in told_lines)


def test_size() -> None:
    data = json.loads(run("size", "--heat", "2 kW", "--speed", "65 mph", "--json").stdout)
    ideal, usual = data["grades"]["ideal (Betz, no losses)"], data["grades"]["realistic"]
    # By hand: 2000 W = 16/27 × ½ × 1.225 × π/4 D² × (29.06 m/s)³ -> D = 0.535 m; realistic 0.30 × 0.70 -> 0.90 m.
    assert ideal["needed_diameter_m"] == pytest.approx(0.535, abs=0.002)
    assert usual["needed_diameter_m"] == pytest.approx(0.899, abs=0.002)
    assert data["tip_speed_m_s"] == pytest.approx(80.0)
    text = run("size", "--heat", "2 kW", "--speed", "65 mph", "--units", "us", "--fuel", "diesel").stdout
    assert "share" in text or "of the Betz limit" in text
    assert max(len(line) for line in text.splitlines()) <= 100
    wrong = run("size", "--heat", "2", "--speed", "5 kg")
    assert wrong.returncode == 2
    assert "--heat: '2' has no unit" in wrong.stderr
    assert "--speed: 'kg'" in wrong.stderr
