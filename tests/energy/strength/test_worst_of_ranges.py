"""No end of any range, set exactly, may give a worse load than the worst case that the range itself gives."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from energy.chain.load import load
from energy.strength.table import structural_loads

VAN = Path(__file__).parents[3] / "scenarios" / "van_water_tank" / "scenario.toml"
NO_STOP = ['gust.overspeed_stop="900000 rpm"', 'unusual=["gust.overspeed_stop"]']
# What turns the blades is exact where it is not looked at: combinations of its ends stand in test_pitch_by_hand.py.
EXACT = {
    "blade_loads.pitch_axis": "0.3",
    "blade_loads.mass_axis": "0.42",
    "blade_loads.mean_twist": '"4 deg"',
    "blade_loads.section_moment_coefficient": "-0.05",
    "air.relative_humidity": "0.5",
    "rotor.power_factor": "1.0",
    "rotor.thrust_factor": "1.0",
}
RANGES = [
    ("air.temperature", "0 degC", "30 degC"),
    ("air.pressure", "980 hPa", "1040 hPa"),
    ("air.relative_humidity", 0.1, 0.9),
    ("air.wind_speed", "2 m/s", "9 m/s"),
    ("rotor.diameter", "1.75 m", "1.95 m"),
    ("rotor.power_factor", 0.9, 1.1),
    ("rotor.thrust_factor", 0.9, 1.3),
    ("rotor.local_speed_factor", 0.5, 0.8),
    ("rotor.mount_drag_area", "0.1 m^2", "0.3 m^2"),
    ("rotor.turbine_mass", "50 kg", "60 kg"),
    ("rotor.highest_thrust", "2300 N", "2700 N"),
    ("rotor.highest_rotor_speed", "850 rpm", "950 rpm"),
    ("rotor.highest_tip_speed", "75 m/s", "85 m/s"),
    ("drive.ratio", 2.2, 2.8),
    ("drive.efficiency", 0.9, 0.98),
    ("generator.friction_torque", "0.05 N*m", "0.2 N*m"),
    ("generator.iron_loss", "10 W", "20 W"),
    ("generator.eddy_share", 0.3, 0.7),
    ("gust.road_speed", "100 km/h", "120 km/h"),
    ("gust.speed", "8 m/s", "14 m/s"),
    ("gust.passing_factor", 1.1, 1.4),
    ("gust.overspeed_stop", "700 rpm", "1000 rpm"),
    ("mount.height", "1.0 m", "1.3 m"),
    ("mount.highest_moment", "3000 N*m", "4000 N*m"),
    ("mount.bolt_rating", "5 kN", "7 kN"),
    ("bearing.static_rating", "9 kN", "12 kN"),
    ("bearing.radial_load", "150 N", "300 N"),
    ("bearing.required_static_safety", 1.5, 3),
    ("blade_loads.root_radius", "90 mm", "130 mm"),
    ("blade_loads.root_pull_rating", "15 kN", "25 kN"),
    ("blade_loads.root_bending_rating", "400 N*m", "500 N*m"),
    ("blade_loads.chord", "90 mm", "130 mm"),
    ("blade_loads.thickness_ratio", 0.10, 0.18),
    ("blade_loads.pitch_axis", 0.2, 0.45),
    ("blade_loads.mass_axis", 0.3, 0.55),
    ("blade_loads.mean_twist", "0 deg", "12 deg"),
    ("blade_loads.section_moment_coefficient", -0.12, 0.02),
    ("blade_loads.pitch_bearing_diameter", "25 mm", "40 mm"),
    ("blade_loads.pitch_bearing_friction", 0.003, 0.15),
    ("blade_loads.rotor_mass", "9 kg", "13 kg"),
    ("blade_loads.residual_imbalance", "1000 g*mm", "2500 g*mm"),
    ("blade_loads.balance_grade", "6.3 mm/s", "16 mm/s"),
    ("linkage.arm", "40 mm", "50 mm"),
    ("linkage.travel_from", "-5 deg", "5 deg"),
    ("linkage.travel_to", "70 deg", "90 deg"),
    ("linkage.actuator_rating", "800 N", "1200 N"),
]


def _literal(value: float | str) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value}"


def _worst(*settings: str) -> dict[str, tuple[float, float | None, bool]]:
    """Loads of the worst case and those that stand once, with their limits."""
    given = {text.partition("=")[0] for text in settings}
    stop = NO_STOP if "gust.overspeed_stop" not in given else []
    exact = [f"{key}={value}" for key, value in EXACT.items() if key not in given]
    rows = structural_loads(load(VAN, [*stop, *exact, *settings])).rows
    return {row.name: (abs(row.value), row.limit, row.least) for row in rows if row.case != "operating point"}


@pytest.mark.parametrize(("key", "low", "high"), RANGES, ids=[key for key, _, _ in RANGES])
def test_no_end_beats_the_range(key: str, low: float | str, high: float | str) -> None:
    ranged = _worst(f"{key}={{ low = {_literal(low)}, high = {_literal(high)} }}")
    moved = False
    for end in (low, high):
        for name, (value, limit, least) in _worst(f"{key}={_literal(end)}").items():
            taken, held, _ = ranged[name]
            assert (taken <= value * (1 + 1e-9)) if least else (taken >= value * (1 - 1e-9)), (name, end)
            if limit is not None and held is not None:
                assert (held >= limit * (1 - 1e-9)) if least else (held <= limit * (1 + 1e-9)), (name, end)
            moved |= not math.isclose(value, taken, rel_tol=1e-7) or held != limit
    assert moved, "the key changes nothing: this test would not see it"


def test_the_ends_of_the_bolts_distances_that_hurt_are_taken() -> None:
    name = "pull of the hardest-worked bolt"
    ranged = _worst('mount.bolt_distances=[{ value = "40 mm", low = "30 mm", high = "50 mm" }, "360 mm", "340 mm"]')
    for end in ("30 mm", "50 mm"):
        assert ranged[name][0] >= _worst(f'mount.bolt_distances=["{end}", "360 mm", "340 mm"]')[name][0] * (1 - 1e-9)
    stated = _worst('mount.bolt_distances=["40 mm", "360 mm", "340 mm"]')[name][0]
    assert ranged[name][0] > stated


@pytest.mark.parametrize("degrees", [0, 60, 90, 180])
def test_a_wind_from_anywhere_meets_the_vehicle_from_ahead_after_a_bend(degrees: int) -> None:
    table = structural_loads(load(VAN, ['air.wind_speed="8 m/s"', f'air.wind_from="{degrees} deg"']))
    assert table.worst.air_speed_m_s == pytest.approx((110 / 3.6 + 8 + 10) * 1.2 * 0.7)


def test_a_rotor_that_turns_into_a_cross_wind_has_a_worst_case_no_milder_than_its_operating_point() -> None:
    calm = ['gust.speed="0 m/s"', "gust.passing_factor=1", 'gust.road_speed="100 km/h"', "rotor.local_speed_factor=1"]
    wind = ['air.wind_speed="20 m/s"', 'air.wind_from="90 deg"', "rotor.turns_into_wind=true"]
    table = structural_loads(load(VAN, [*calm, *wind]))
    assert table.worst.air_speed_m_s > table.operating.air_speed_m_s
    assert table.row("thrust of the rotor", "worst case").value > table.operating.thrust_n


def test_a_wind_measured_low_is_stronger_at_the_hub() -> None:
    wind = ['air.wind_speed="8 m/s"', "air.shear_exponent=0.2"]
    measured = structural_loads(load(VAN, [*wind, 'air.wind_measured_at="2 m"', 'rotor.hub_height="3 m"']))
    grown = (measured.worst.air_speed_m_s / (1.2 * 0.7) - 110 / 3.6 - 10) / 8
    assert grown == pytest.approx(1.5**0.2, rel=0.02)  # of the hub; the disc's mean is near it


def test_the_actuator_force_without_any_air_counts() -> None:
    # Section moment and lift turn towards feather, centrifugal force towards fine: the air only relieves the actuator.
    exact = ["blade_loads.pitch_axis=0.25", "blade_loads.mass_axis=0.42", 'blade_loads.mean_twist="4 deg"']
    exact += [
        "blade_loads.section_moment_coefficient=-0.1",
        'linkage.travel_from="30 deg"',
        'linkage.travel_to="50 deg"',
    ]
    row = structural_loads(load(VAN, exact)).row("force on the pitch actuator, maximum of the travel", "worst case")
    masses = np.array([0.35, 0.30, 0.24, 0.18, 0.12])
    pull = float(masses @ np.array([0.19, 0.35, 0.51, 0.67, 0.82]))
    speed, chord = 840 * math.pi / 30, 0.11
    inertia = masses.sum() * ((chord**2 - (0.14 * chord) ** 2) / 12 + (0.17 * chord) ** 2)
    density = float(load(VAN).air.pressure.value) / (287.05 * 288.15)  # dry, 0.4 % over the damp air's
    section = 0.1 * 0.5 * density * chord**2 * speed**2 * (0.9**3 - 0.11**3) / 3
    force = []
    for pitch in np.linspace(30, 50, 201):
        twisting = 0.5 * inertia * speed**2 * math.sin(2 * math.radians(pitch + 4))
        friction = 0.005 * pull * speed**2 * 0.015
        force.append(3 * (twisting - section + friction) / (0.045 * math.cos(math.radians(pitch - 40))))
    assert row.value == pytest.approx(max(force), rel=2e-3)
    assert row.at.air_speed_m_s == 0.0


def test_a_stop_below_the_working_speed_is_said() -> None:
    for stop, said in (("700 rpm", True), ("840 rpm", False)):
        notes = structural_loads(load(VAN, [f'gust.overspeed_stop="{stop}"'])).notes
        assert any("would stop the rotor at work" in note for note in notes) is said
