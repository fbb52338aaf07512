"""Root and bearing of a scenario: stress and loads by hand, what is refused, danger first."""

import json
import math
from pathlib import Path

import pytest
from tests_support import run

from energy.chain.load import load
from energy.strength.bearing_kinds import bearings
from energy.strength.root import blade_root
from energy.strength.table import structural_loads
from energy.words.root import root_said, suited
from vehicle.problems import InputError

ROOT = Path(__file__).resolve().parents[3]
VAN = ROOT / "scenarios" / "van_water_tank" / "scenario.toml"


def test_stress_of_the_demo_by_hand():
    table, root = structural_loads(load(VAN)), blade_root(load(VAN))
    pull = table.row("centrifugal force at each blade root", "operating point").value
    flap = table.row("flap bending at each blade root", "operating point").value
    mass, first = 1.19, 0.35 * 0.19 + 0.30 * 0.35 + 0.24 * 0.51 + 0.18 * 0.67 + 0.12 * 0.82
    bending = math.hypot(flap, 9.80665 * (first - mass * 0.11))
    area, modulus = math.pi * (30**2 - 20**2) / 4, math.pi * (30**4 - 20**4) / (32 * 30)  # mm², mm³
    by_hand = pull / area + bending * 1000 / modulus  # MPa
    assert root.operating.total_pa == pytest.approx(by_hand * 1e6, rel=1e-5)
    worst = table.row("centrifugal force at each blade root", "worst case").value
    assert root.worst.pull_n == pytest.approx(worst, rel=1e-9)
    assert root.safety(root.worst) == pytest.approx(240e6 / root.worst.total_pa)


def test_a_weak_root_says_do_not_operate_first():
    weak = blade_root(load(VAN, ['blade_loads.root_strength="60 MPa"']))
    assert root_said(weak, "metric").headlines[0].startswith("Do not operate")
    thick = blade_root(load(VAN, ['blade_loads.spar_diameter="45 mm"']))
    assert thick.safety(thick.worst) > 5
    assert root_said(thick, "metric").headlines[0].startswith("Blade root: safety")


def test_a_stiffer_root_leaves_three_per_turn():
    assert blade_root(load(VAN)).near() == (3,)
    stiff = blade_root(load(VAN, ['blade_loads.root_stiffness="200 GPa"']))
    assert stiff.near() == ()
    assert stiff.standing_rad_s == pytest.approx(blade_root(load(VAN)).standing_rad_s * math.sqrt(200 / 70))


def test_bearing_with_and_without_its_moment():
    found = bearings(load(VAN))
    row = structural_loads(load(VAN)).row("gyroscopic moment over a bump, nose dipping at 1 rad/s", "worst case")
    assert found.worst_radial_n == pytest.approx(180 + row.value / 0.12)
    short = bearings(load(VAN, ['bearing.spacing="30 mm"']))
    for near, far in zip(short.kinds, found.kinds, strict=True):
        assert near.life_with_moment_s <= far.life_with_moment_s
        assert near.static_safety <= far.static_safety
    groove = found.kinds[0]
    assert groove.axial_share == pytest.approx(found.worst_thrust_n / 5600)  # half of C0: maker's catalogue text


def test_a_small_bearing_is_refused_by_its_axial_load():
    small = bearings(
        load(VAN, ['bearing.bore="10 mm"', 'bearing.static_rating="2.37 kN"', 'bearing.dynamic_rating="5 kN"'])
    )
    assert suited(small.kinds[0], small).startswith("no: axial load")
    assert "second bearing" in suited(small.kinds[-1], small)


def test_what_is_missing_is_named():
    with pytest.raises(InputError, match="spar_diameter"):
        blade_root(load(ROOT / "scenarios" / "pickup_drying_box" / "scenario.toml"))
    with pytest.raises(InputError, match="as wide"):
        blade_root(load(VAN, ['blade_loads.spar_bore="30 mm"']))


def test_the_commands_print_and_give_data():
    text = " ".join(run("loads", str(VAN), "--root").stdout.split())
    for word in ("safety", "per turn", "not computed: fatigue", "licensed engineer"):
        assert word in text
    data = json.loads(run("loads", str(VAN), "--bearing", "--json").stdout)
    assert [one["kind"] for one in data["kinds"] if one["yours"]] == ["deep_groove_ball"]
    assert json.loads(run("loads", str(VAN), "--root", "--json").stdout)["worst"]["safety"] > 0
