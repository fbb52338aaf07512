"""Pitch system: forces grow with speed, stall speed, arm and counterweight do what they are said to do."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests_support import run

from energy.chain.load import load
from energy.pictures.pitch_system import pitch_system_pictures
from energy.strength.cases import both_cases, rig_of
from energy.strength.equations import centrifugal_twisting_moment_n_m, plate_inertia_difference_kg_m2
from energy.strength.linkage import worst_actuator_force
from energy.strength.pitch_system import counterweight_kg, pitch_system
from energy.strength.table import structural_loads
from energy.words import pitch_system as pitch_words

WEAK = ['gust.overspeed_stop="950 rpm"', 'linkage.actuator_rating="250 N"']
_SET = [part for one in WEAK for part in ("--set", one)]
VAN = Path(__file__).resolve().parents[3] / "scenarios" / "van_water_tank" / "scenario.toml"


def test_the_counterweight_cancels_the_twisting_moment():
    # Mechanics, by hand: ∫(ξ² − η²)dm of the blade less m·η² of the weight is nothing at every angle and speed.
    plate = float(plate_inertia_difference_kg_m2(1.2, 0.11, 0.015))
    mass = counterweight_kg(plate, 0.05)
    assert mass == pytest.approx(1.2 * (0.11**2 - 0.015**2) / 12 / 0.0025)
    together = centrifugal_twisting_moment_n_m(plate - mass * 0.05**2, 90.0, np.linspace(0, 1.5, 7))
    assert np.abs(together).max() < 1e-9


def test_the_actuator_stalls_where_it_is_said_to_and_a_longer_arm_ends_that():
    found = pitch_system(load(VAN, WEAK))
    rig = rig_of(load(VAN, WEAK))
    at = replace(both_cases(rig).worst, rotor_speed_rad_s=found.stalls_from_rad_s)
    assert worst_actuator_force(rig, at).force_n == pytest.approx(250, rel=1e-2)
    row = structural_loads(load(VAN, WEAK)).row("force on the pitch actuator, maximum of the travel", "worst case")
    assert found.asked_n == pytest.approx(row.value)
    assert found.asked_n >= max(one.force_n for one in found.rows)
    longer = pitch_system(load(VAN, [*WEAK, f'linkage.arm="{found.arm_needed_m * 1000 * 1.001} mm"']))
    assert math.isinf(longer.stalls_from_rad_s)
    assert longer.rod_travel_m == pytest.approx(found.rod_travel_m * longer.arm_m / found.arm_m)


def test_travel_of_the_rod_by_hand():
    # Square at mid-travel: 2·r·sin(40°) for 80 degrees.
    assert pitch_system(load(VAN, WEAK)).rod_travel_m == pytest.approx(2 * 0.045 * math.sin(math.radians(40)), rel=1e-4)


def test_the_command_says_the_danger_and_what_to_buy():
    text = " ".join(run("loads", str(VAN), *_SET, "--pitch-system").stdout.split())
    assert text.startswith("Do not operate: the actuator (250 N) stalls from")
    for word in ("the dangerous side", "self-locking", "Counterweight", "Slider bearing"):
        assert word in text
    data = json.loads(run("loads", str(VAN), *_SET, "--pitch-system", "--json").stdout)
    assert data["drives_towards"] == "fine"
    assert len(data["rows"]) == 8


def test_the_pictures_show_travel_terms_and_rotor_speed(tmp_path: Path) -> None:
    found = pitch_system(load(VAN, WEAK))
    travel, terms, speed = pitch_system_pictures(found, "metric")
    drawn = travel.table.groupby(["rotor speed", "air at the rotor"])["force at the actuator, N"].max()
    assert sorted(drawn) == pytest.approx(sorted(row.force_n for row in found.rows))
    assert len(drawn) == 8
    # each term's force is its moment of three blades over the rod's lever, 45 mm times the cosine from mid-travel
    top, force = found.rows[-1], next(name for name in terms.table if name.startswith("force"))
    lever = 0.045 * math.cos(math.radians(top.pitch_deg - 40))
    there = terms.table[np.isclose(terms.table["pitch, °"], top.pitch_deg)].set_index("term")[force]
    assert there["centrifugal"] == pytest.approx(3 * top.centrifugal_n_m / lever, rel=1e-6)
    assert there["air"] == pytest.approx(3 * top.aerodynamic_n_m / lever, rel=1e-6)
    assert abs(there["centrifugal"] + there["air"]) + there.iloc[2] == pytest.approx(top.force_n, rel=1e-6)
    worst = speed.table[speed.table["taken"] == "every range at its unfavourable end"]
    assert np.interp(
        found.stalls_from_rad_s * 30 / math.pi, worst["rotor speed, rpm"], worst["maximum over the travel, N"]
    ) == pytest.approx(250, rel=0.02)
    assert "stalls from" in speed.title
    assert terms.title.startswith("Mainly centrifugal force")


def test_the_command_draws_the_pitch_system_alone_or_with_the_margins(tmp_path: Path) -> None:
    path, both = tmp_path / "pitch.svg", tmp_path / "all.svg"
    assert run("loads", str(VAN), "--pitch-system", "--picture", str(path)).returncode == 0
    assert path.read_text().startswith("<svg")
    (tmp_path / "mine.svg").write_text("<svg>of another hand</svg>")
    again = run("loads", str(VAN), "--pitch-system", "--picture", str(tmp_path / "mine.svg"))
    assert again.returncode == 2
    assert "--force" in again.stderr
    assert run("loads", str(VAN), "--picture", str(both)).returncode == 0
    assert "nearest to its limit" in both.read_text()
    assert "Force over the travel" in both.read_text()
    other = run("loads", str(VAN), "--root", "--picture", str(tmp_path / "root.svg"))
    assert other.returncode == 2
    assert "given with --root" in other.stderr


def test_an_answer_that_says_do_not_operate_leaves_with_status_3():
    assert run("loads", str(VAN), *_SET, "--pitch-system").returncode == 3
    assert run("loads", str(VAN), "--pitch-system").returncode == 0
    weak = run("loads", str(VAN), "--root", "--set", 'blade_loads.root_strength="20 MPa"')
    assert weak.returncode == 3
    assert weak.stdout.startswith("Do not operate")


def test_an_actuator_that_is_too_weak_for_the_air_alone_stalls_at_any_speed():
    tiny = pitch_system(load(VAN, ['linkage.actuator_rating="5 N"']))
    assert tiny.stalls_from_rad_s == 0
    assert "at any rotor speed" in pitch_words.headlines(tiny, "metric")[0]


def test_without_friction_the_other_terms_stay(tmp_path: Path):
    text = VAN.read_text()
    (tmp_path / "rotor_curves.csv").write_bytes((VAN.parent / "rotor_curves.csv").read_bytes())
    path = tmp_path / "scenario.toml"
    path.write_text(
        'unusual = ["blade_loads.pitch_bearing_friction"]\n'
        + text.replace("pitch_bearing_friction = 0.005", "pitch_bearing_friction = 0")
    )
    free, rubbing = pitch_system(load(path)), pitch_system(load(VAN))
    assert all(row.friction_n_m == 0 for row in free.rows)
    assert free.asked_n < rubbing.asked_n
    assert free.lines[-1].travel.actuator_n == pytest.approx(rubbing.lines[-1].travel.actuator_n)
    assert "friction 0 %" in pitch_words.terms_finding(free, "metric")
