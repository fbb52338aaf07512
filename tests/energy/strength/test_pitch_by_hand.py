"""The pitch linkage through its travel, its worst force and what to buy, against the same worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from strength_by_hand import Hand, hands_in_either_air

from energy.aero.blade import PitchConvention
from energy.chain.load import load
from energy.scenario.read import Scenario
from energy.strength.cases import both_cases, rig_of
from energy.strength.linkage import pitched_blades, travel_of, worst_actuator_force
from energy.strength.pitch_system import COUNTERWEIGHT_ARM_M, PitchSystem, pitch_system
from energy.strength.table import structural_loads
from vehicle.problems import InputError

VAN = Path(__file__).resolve().parents[3] / "scenarios" / "van_water_tank" / "scenario.toml"
EXACT = [
    "air.relative_humidity=0.5",
    "blade_loads.pitch_axis=0.35",
    "blade_loads.mass_axis=0.45",
    'blade_loads.mean_twist="5 deg"',
    "blade_loads.section_moment_coefficient=-0.04",
]
# Twisting, air and friction all count: ranges of the blades, of the linkage, and of each that has one bad end.
WIDE = [
    "air.relative_humidity=0.5",
    "rotor.power_factor=1.0",
    "rotor.thrust_factor=1.0",
    "blade_loads.pitch_axis={ low = 0.30, value = 0.35, high = 0.38 }",
    "blade_loads.mass_axis=0.45",
    'blade_loads.mean_twist={ low = "1 deg", value = "4 deg", high = "6 deg" }',
    "blade_loads.section_moment_coefficient=-0.06",
    'blade_loads.chord={ low = "100 mm", value = "110 mm", high = "125 mm" }',
    "blade_loads.pitch_bearing_friction={ low = 0.02, value = 0.05, high = 0.12 }",
    'blade_loads.piece_masses=[{ low = "0.9 kg", value = "1 kg", high = "1.2 kg" }, "0.3 kg", "0.1 kg"]',
    'blade_loads.piece_radii=["0.2 m", { low = "0.5 m", value = "0.55 m", high = "0.6 m" }, "0.8 m"]',
    'linkage.travel_from={ low = "-4 deg", value = "2 deg", high = "6 deg" }',
    'linkage.arm={ low = "40 mm", value = "45 mm", high = "52 mm" }',
    'linkage.actuator_rating={ low = "700 N", value = "1000 N", high = "1300 N" }',
    "linkage.self_locking=true",
]
LOOSE = [
    "air.relative_humidity=0.5",
    "rotor.power_factor=1.0",
    "blade_loads.pitch_axis=0.28",
    "blade_loads.mass_axis={ low = 0.38, value = 0.45, high = 0.5 }",
    'blade_loads.mean_twist="-3 deg"',
    "blade_loads.section_moment_coefficient={ low = -0.08, value = -0.04, high = 0.01 }",
    'blade_loads.root_radius={ low = "90 mm", value = "110 mm", high = "140 mm" }',
    'blade_loads.pitch_bearing_diameter={ low = "26 mm", value = "30 mm", high = "36 mm" }',
    'linkage.square_at={ low = "20 deg", value = "28 deg", high = "33 deg" }',
    'linkage.travel_from="2 deg"',
    'linkage.travel_to={ low = "55 deg", value = "60 deg", high = "70 deg" }',
    "rotor.thrust_factor={ low = 0.9, value = 1.0, high = 1.2 }",
]
# The air turns the blades more than the centrifugal force does: a light blade in thick air is the worse one.
LIGHT = [
    "blade_loads.pitch_axis=0.20",
    "blade_loads.mass_axis=0.25",
    'blade_loads.mean_twist="4 deg"',
    "blade_loads.section_moment_coefficient=-0.1",
    "blade_loads.thickness_ratio={ low = 0.10, value = 0.14, high = 0.2 }",
    'blade_loads.piece_masses=[{ low = "0.25 kg", value = "0.35 kg", high = "0.45 kg" }, "0.3 kg", "0.1 kg"]',
    'blade_loads.piece_radii=["0.2 m", { low = "0.5 m", value = "0.55 m", high = "0.6 m" }, "0.8 m"]',
    'air.temperature={ low = "0 degC", value = "15 degC", high = "30 degC" }',
    'rotor.diameter={ low = "1.76 m", value = "1.8 m", high = "1.86 m" }',
]
TOWARDS_FINE = PitchConvention(zero_is="feather", positive_towards="flat")


def _backwards(scenario: Scenario) -> Scenario:
    """A dial that reads 0 at feather and counts towards the rotor plane: 10 to 90 is the travel 80 to 0 degrees."""
    linkage = load(VAN, ['linkage.travel_from="10 deg"', 'linkage.travel_to="90 deg"']).linkage
    return replace(scenario, pitch_convention=TOWARDS_FINE, linkage=linkage)


SETTINGS = {
    "van": lambda: load(VAN, EXACT),
    "wide": lambda: load(VAN, WIDE),
    "loose": lambda: load(VAN, LOOSE),
    "light": lambda: load(VAN, LIGHT),
    "a dial towards fine": lambda: _backwards(
        load(VAN, ["blade_loads.pitch_axis=0.0", "blade_loads.mass_axis=0.30", 'blade_loads.mean_twist="0 deg"'])
    ),
}


@pytest.fixture(scope="module", params=SETTINGS)
def scenario(request: pytest.FixtureRequest) -> Scenario:
    return SETTINGS[request.param]()


@pytest.fixture(scope="module")
def system(scenario: Scenario) -> PitchSystem:
    return pitch_system(scenario)


def test_the_travel_by_hand_at_every_pitch(scenario: Scenario) -> None:
    rig = rig_of(scenario)
    blades = pitched_blades(rig)
    at = both_cases(rig).operating
    travel, hand = travel_of(rig, blades, at), Hand(scenario, worst=False)
    linkage = scenario.linkage
    dial = np.linspace(linkage.travel_from.value, linkage.travel_to.value, len(travel.pitch_deg))
    assert travel.pitch_deg == pytest.approx(dial)
    aero, centrifugal, friction, lever = hand.pitching({}, dial, at.rotor_speed_rad_s, at.air_speed_m_s)
    assert travel.aerodynamic_n_m == pytest.approx(aero, rel=1e-6, abs=1e-9)
    assert travel.centrifugal_n_m == pytest.approx(centrifugal, abs=1e-9)
    assert travel.friction_n_m == pytest.approx(np.full(dial.shape, friction))
    assert travel.per_moment == pytest.approx(3 / lever)
    assert travel.actuator_n == pytest.approx(3 * (aero + centrifugal) / lever, rel=1e-6, abs=1e-6)
    assert travel.friction_n == pytest.approx(3 * friction / lever)
    angle = scenario.pitch_convention.chord_angle_deg(dial)
    assert (travel.beyond_curves == ((angle > 18 + 1e-9) | (angle < -1e-9))).all()
    # Changes of sign and where a loose blade rests: it is driven back from both sides. The dial's sense does not count.
    moment = aero + centrifugal
    places = [k for k in range(len(dial) - 1) if moment[k] * moment[k + 1] < 0]
    assert len(travel.changes_sign_at_deg) == len(places)
    rests = []
    for k, found in zip(places, travel.changes_sign_at_deg, strict=True):
        zero = np.interp(0.0, *zip(*sorted([(moment[k], dial[k]), (moment[k + 1], dial[k + 1])]), strict=True))
        assert found == pytest.approx(zero)
        finer = moment[k] if angle[k] < angle[k + 1] else moment[k + 1]
        if finer > 0:  # from the fine side it is turned towards feather, from the other towards fine
            rests.append(found)
    assert list(travel.settles_at_deg) == pytest.approx(rests)
    shown = travel.shown()
    assert list(shown) == [round(k * 180 / 8) for k in range(9)]
    # The worst case's wider air does not enter a travel, which is that of the stated values.
    again = travel_of(rig, blades, replace(at, unfavourable=True))
    assert (again.aerodynamic_n_m == travel.aerodynamic_n_m).all()


def test_the_travel_in_a_breath_of_air_and_in_none_by_hand() -> None:
    scenario = load(VAN, EXACT)
    rig = rig_of(scenario)
    blades, hand = pitched_blades(rig), Hand(scenario, worst=False)
    for air, speed in ((0.0, 60.0), (0.4, 3.0), (0.4, 0.0)):
        at = replace(both_cases(rig).operating, air_speed_m_s=air, rotor_speed_rad_s=speed)
        aero, *_ = hand.pitching({}, np.linspace(0, 80, 181), speed, air)
        assert travel_of(rig, blades, at).aerodynamic_n_m == pytest.approx(aero, rel=1e-6, abs=1e-12)


def test_a_loose_blade_rests_at_one_of_the_settings() -> None:
    rig = rig_of(SETTINGS["a dial towards fine"]())
    travel = travel_of(rig, pitched_blades(rig), both_cases(rig).operating)
    assert len(travel.settles_at_deg) >= 1


def _worst_by_hand(scenario: Scenario, speed: float, air: float) -> float:
    """The greatest force over the travel, air from none to the worst, and all ends."""
    greatest = 0.0
    for hand in hands_in_either_air(scenario):
        for chosen in hand.ends_of_the_linkage():
            low, high = (
                chosen.get(key, getattr(scenario.linkage, key[8:]).value)
                for key in ("linkage.travel_from", "linkage.travel_to")
            )
            dial = np.linspace(low, high, 31)
            airs = np.array([0.0, 0.5, 1.0])[:, None] * air
            greatest = max(greatest, float(hand.actuator_force(chosen, dial, speed, airs).max()))
    return greatest


def test_the_worst_force_is_that_of_its_corner_and_no_end_pitch_or_air_is_worse(scenario: Scenario) -> None:
    rig = rig_of(scenario)
    worst = both_cases(rig).worst
    fastest, air = worst.rotor_speed_rad_s, worst.air_speed_m_s
    speeds = np.array([0.6, 1.0]) * fastest
    found = worst_actuator_force(rig, worst, speeds)
    by_hand = [_worst_by_hand(scenario, speed, air) for speed in speeds]
    assert found.by_speed_n == pytest.approx(by_hand, rel=5e-3)
    assert (found.by_speed_n >= np.array(by_hand) * (1 - 1e-3)).all()
    assert found.force_n == found.by_speed_n.max()
    at = found.at
    wind = air if math.isnan(at.air_speed_m_s) else at.air_speed_m_s
    dial = float(scenario.pitch_convention.setting_deg(np.asarray(at.pitch_deg)))
    there = max(
        float(hand.actuator_force(chosen, dial, at.rotor_speed_rad_s, wind))
        for hand in hands_in_either_air(scenario)
        for chosen in hand.ends_of_the_linkage()
    )
    assert found.force_n == pytest.approx(there, rel=1e-3)
    assert at.rotor_speed_rad_s in speeds
    rows, whole = structural_loads(scenario), worst_actuator_force(rig, worst)
    for name, blades in (
        ("force on the pitch actuator, maximum of the travel", 1),
        ("force in each blade's pitch rod", 3),
    ):
        row = rows.row(name, "worst case")
        assert row.value == pytest.approx(whole.force_n / blades)
        assert row.at is not None
        travel = rows.travel["operating point"]
        steady = np.max(np.abs(travel.actuator_n) + np.abs(travel.friction_n)) / blades
        assert rows.row(name, "operating point").value == pytest.approx(steady)
        assert rows.row(name, "operating point").at is None
    assert whole.force_n >= found.force_n * (1 - 1e-9)
    assert whole.by_speed_n.max() == pytest.approx(whole.force_n)


def test_where_the_air_does_not_count_the_corner_leaves_it_open() -> None:
    """Axis at the quarter chord, no section moment: the air has no arm, and the force is the same in any air."""
    scenario = load(
        VAN,
        [
            "blade_loads.pitch_axis=0.25",
            "blade_loads.mass_axis=0.42",
            'blade_loads.mean_twist="4 deg"',
            "blade_loads.section_moment_coefficient=0",
        ],
    )
    rig = rig_of(scenario)
    assert math.isnan(worst_actuator_force(rig, both_cases(rig).worst).at.air_speed_m_s)
    assert not math.isnan(both_cases(rig).worst.air_speed_m_s)


def test_rows_lines_and_what_to_buy_by_hand(scenario: Scenario, system: PitchSystem) -> None:
    rig = rig_of(scenario)
    cases = both_cases(rig)
    fastest, hand, linkage = cases.worst.rotor_speed_rad_s, Hand(scenario, worst=False), scenario.linkage
    settings = [
        (share * fastest, air)
        for air in (cases.operating.air_speed_m_s, cases.worst.air_speed_m_s)
        for share in (0.25, 0.5, 0.75, 1.0)
    ]
    dial = np.linspace(linkage.travel_from.value, linkage.travel_to.value, 181)
    for (speed, air), row, line in zip(settings, system.rows, system.lines, strict=True):
        aero, centrifugal, friction, lever = hand.pitching({}, dial, speed, air)
        force = 3 * (np.abs(aero + centrifugal) + friction) / lever
        k = int(np.argmax(force))
        assert (line.rotor_speed_rad_s, line.air_speed_m_s) == pytest.approx((speed, air))
        assert (row.rotor_speed_rad_s, row.air_speed_m_s) == (line.rotor_speed_rad_s, line.air_speed_m_s)
        assert line.force_n == pytest.approx(force, rel=1e-6)
        assert row.force_n == pytest.approx(force[k], rel=1e-6)
        assert row.pitch_deg == pytest.approx(dial[k])
        assert row.centrifugal_n_m == pytest.approx(centrifugal[k])
        assert row.aerodynamic_n_m == pytest.approx(aero[k], rel=1e-6)
        assert row.friction_n_m == pytest.approx(friction)
    moment = aero + centrifugal  # of the last line: the fastest speed in the worst air
    assert system.held_n == pytest.approx(float(np.max(np.abs(3 * moment / lever))), rel=1e-6)
    assert system.towards_fine is bool(moment[int(np.argmax(np.abs(moment)))] <= 0)
    assert system.speeds_rad_s == pytest.approx(np.linspace(0, fastest, len(system.speeds_rad_s)))
    again = worst_actuator_force(rig, cases.worst, system.speeds_rad_s[[7, 20]])
    assert system.worst_n[[7, 20]] == pytest.approx(again.by_speed_n)
    assert system.asked_n == pytest.approx(system.worst_n.max())
    assert system.rating_n == linkage.actuator_rating.low
    assert system.self_locking is linkage.self_locking
    assert system.arm_m == pytest.approx(linkage.arm.value)
    assert system.arm_needed_m == pytest.approx(linkage.arm.value * system.asked_n / linkage.actuator_rating.low)
    loads = scenario.blade_loads
    # The plate's ∫(ξ² − η²)dm over the square of 50 mm.
    chord = loads.chord.value
    plate = (chord**2 - (loads.thickness_ratio.value * chord) ** 2) / 12
    plate += ((loads.mass_axis.value - loads.pitch_axis.value) * chord) ** 2
    assert COUNTERWEIGHT_ARM_M == 0.05
    assert system.counterweight_kg == pytest.approx(hand.moment(0) * plate / 0.05**2)
    # The rod: ∫ r·cos(β − square) dβ over the longest travel, the longest arm.
    low, high = linkage.travel_from.low, linkage.travel_to.high
    square = (low + high) / 2 if linkage.square_at is None else linkage.square_at.value
    by_hand = math.sin(math.radians(high - square)) - math.sin(math.radians(low - square))
    assert system.rod_travel_m == pytest.approx(linkage.arm.high * by_hand, rel=1e-4)


def test_the_stall_speed_is_where_the_worst_force_passes_the_rating() -> None:
    rated = 'linkage.actuator_rating={ low = "210 N", value = "250 N", high = "300 N" }'
    scenario = load(VAN, [*EXACT, rated])
    system = pitch_system(scenario)
    air = both_cases(rig_of(scenario)).worst.air_speed_m_s
    assert _worst_by_hand(scenario, system.stalls_from_rad_s, air) == pytest.approx(210, rel=5e-3)
    assert _worst_by_hand(scenario, 0.9 * system.stalls_from_rad_s, air) < 210
    # Between the speeds that are scanned the rise is nearly straight: at another rating too.
    other = pitch_system(load(VAN, [*EXACT, 'linkage.actuator_rating="333 N"']))
    assert _worst_by_hand(scenario, other.stalls_from_rad_s, air) == pytest.approx(333, rel=5e-3)
    strong = pitch_system(load(VAN, [*EXACT, f'linkage.actuator_rating="{system.asked_n * 1.0001} N"']))
    assert math.isinf(strong.stalls_from_rad_s)
    weak = pitch_system(load(VAN, [*EXACT, f'linkage.actuator_rating="{system.asked_n * 0.999} N"']))
    assert weak.stalls_from_rad_s == pytest.approx(system.speeds_rad_s[-1], rel=2e-3)


def test_without_a_rating_there_is_nothing_to_stall() -> None:
    scenario = load(VAN, EXACT)
    bare = replace(scenario, linkage=scenario.linkage.model_copy(update={"actuator_rating": None}))
    system = pitch_system(bare)
    assert (system.rating_n, system.arm_needed_m) == (None, None)
    assert math.isinf(system.stalls_from_rad_s)
    assert system.asked_n == pytest.approx(pitch_system(scenario).asked_n)


@pytest.mark.parametrize("lacking", ["linkage", "blade_loads", "curves", "chord", "mass"])
def test_a_linkage_that_is_not_told_is_refused(lacking: str) -> None:
    scenario = load(VAN, EXACT)
    if lacking == "chord":
        table = scenario.blade_loads.model_copy(update={"chord": None})
        scenario = replace(scenario, blade_loads=table)
    elif lacking == "mass":
        scenario = replace(scenario, blade_loads=scenario.blade_loads.model_copy(update={"piece_radii": None}))
    elif lacking == "curves":
        rig = rig_of(scenario)
        turbine = replace(rig.inputs.turbine, curves=None)
        assert pitched_blades(replace(rig, inputs=replace(rig.inputs, turbine=turbine))) is None
        return
    else:
        scenario = replace(scenario, **{lacking: None})
    with pytest.raises(InputError, match="not enough of a pitch linkage"):
        pitch_system(scenario)
