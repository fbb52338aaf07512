"""Pitch system: forces grow with speed, stall speed, arm and counterweight do what they are said to do."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests_support import run

from energy.chain.load import load
from energy.strength.cases import both_cases, rig_of
from energy.strength.equations import centrifugal_twisting_moment_n_m, plate_inertia_difference_kg_m2
from energy.strength.linkage import worst_actuator_force
from energy.strength.pitch_system import counterweight_kg, pitch_system
from energy.strength.table import structural_loads

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


def test_the_picture_shows_force_over_rotor_speed_and_the_rating(tmp_path: Path) -> None:
    from energy.pictures.pitch_system import pitch_system_picture

    found = pitch_system(load(VAN))
    drawn = pitch_system_picture(found, "metric")
    assert list(drawn.table["force, N"]) == pytest.approx([row.force_n for row in found.rows])
    assert list(drawn.table["rotor speed, rpm"]) == pytest.approx(
        [row.rotor_speed_rad_s * 30 / math.pi for row in found.rows]
    )
    path = tmp_path / "pitch.svg"
    assert run("loads", str(VAN), "--pitch-system", "--picture", str(path)).returncode == 0
    assert path.read_text().startswith("<svg")
    alone = run("loads", str(VAN), "--picture", str(tmp_path / "other.svg"))
    assert alone.returncode == 2
    assert "--pitch-system" in alone.stderr
