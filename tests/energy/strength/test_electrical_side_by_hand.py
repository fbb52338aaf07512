"""Volts, currents, dump load and short-circuit braking at the ends of every range, worked out by hand.

The circuits by their texts: a six-pulse bridge gives 3·√2/π of the volts between two lines and loses 3/π·ω·L·I by
commutation; three phases in star are volts over impedance; direct current is Ohm's law.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from strength_by_hand import Hand

from energy.chain.load import load
from energy.scenario.read import Scenario
from energy.strength.cases import both_cases, rig_of, scanned_pitches_deg
from energy.strength.electrical_side import (
    Braking,
    ElectricalSide,
    bridge_diodes,
    electrical_side,
    short_circuited,
    shown_places,
)
from energy.words.electrical_side import said

VAN = Path(__file__).resolve().parents[3] / "scenarios" / "van_water_tank" / "scenario.toml"
BASE_RAD_S = 1000 * 2 * math.pi / 60
COPPER_PER_K = 0.00393  # IEC 60028


def around(key: str, low: str, value: str, high: str) -> str:
    return f'{key}={{ low = "{low}", value = "{value}", high = "{high}" }}'


RANGES = [
    around("generator.voltage_constant", "56 V/krpm", "60 V/krpm", "66 V/krpm"),
    around("generator.winding_resistance", "0.7 ohm", "0.8 ohm", "1.0 ohm"),
    around("generator.winding_temperature", "30 degC", "60 degC", "110 degC"),
    around("generator.winding_inductance", "2 mH", "3 mH", "4 mH"),
    around("generator.friction_torque", "0.05 N*m", "0.1 N*m", "0.2 N*m"),
    around("generator.iron_loss", "10 W", "16 W", "24 W"),
    "generator.eddy_share={ low = 0.3, value = 0.5, high = 0.7 }",
    "drive.ratio={ low = 2.3, value = 2.5, high = 2.8 }",
    "drive.efficiency={ low = 0.9, value = 0.95, high = 0.98 }",
    around("heater.resistance", "8.5 ohm", "9 ohm", "10 ohm"),
    around("heater.lead_resistance", "0.05 ohm", "0.1 ohm", "0.2 ohm"),
]
DROP = around("generator.rectifier_drop", "1.2 V", "1.6 V", "2.2 V")
SETTINGS = {
    "as it stands": (),
    "rectifier": (*RANGES, DROP),
    "three phase": (*RANGES, 'generator.connection="three_phase"'),
    "direct current": (*RANGES[:3], *RANGES[4:], 'generator.connection="direct_current"', "rotor.power_factor=1.0"),
}


class Circuit:
    """Generator, leads and element with each key at an end: `low`, `high` or `value`, or its own."""

    def __init__(self, scenario: Scenario, ends: dict[str, str], *, shorted: bool = False) -> None:
        def at(table: str, key: str) -> float:
            return getattr(getattr(getattr(scenario, table), key), ends.get(key, "value"))

        self.connection, self.shorted = scenario.generator.connection, shorted
        self.ratio, self.belt = at("drive", "ratio"), at("drive", "efficiency")
        self.constant, self.poles = at("generator", "voltage_constant"), scenario.generator.pole_pairs.value
        warm = at("generator", "winding_temperature") - 293.15
        self.winding = at("generator", "winding_resistance") * (1 + COPPER_PER_K * warm)
        self.inductance = at("generator", "winding_inductance") / 2  # of one phase
        self.drop = at("generator", "rectifier_drop") if self.connection == "rectifier" and not shorted else 0.0
        rise = scenario.heater.element_temperature.value - 293.15
        self.element = at("heater", "resistance") * (1 + scenario.heater.temperature_coefficient.value * rise)
        self.leads = at("heater", "lead_resistance")
        if shorted:
            self.element = self.leads = 0.0
        self.friction, self.iron = at("generator", "friction_torque"), at("generator", "iron_loss")
        self.eddy = at("generator", "eddy_share")

    def current(self, generator_rad_s: float) -> float:
        reactance = self.poles * generator_rad_s * self.inductance
        volts, outside = self.constant * generator_rad_s, self.element + self.leads
        if self.connection == "direct_current":
            return volts / (outside + self.winding)
        if self.connection == "three_phase" or self.shorted:
            return volts / math.sqrt(3) / math.hypot(outside + self.winding / 2, reactance)
        driven = 3 * math.sqrt(2) / math.pi * volts - self.drop
        return max(driven, 0.0) / (outside + self.winding + 3 / math.pi * reactance)

    def watts(self, generator_rad_s: float) -> tuple[float, float, float]:
        """Into the element, into the winding, and at the generator's shaft."""
        current = self.current(generator_rad_s)
        stars = self.connection == "three_phase" or (self.shorted and self.connection == "rectifier")
        phases, share = (3, 0.5) if stars else (1, 1.0)
        element, winding = phases * current**2 * self.element, phases * current**2 * self.winding * share
        x = generator_rad_s / BASE_RAD_S
        idle = self.friction * generator_rad_s + self.iron * ((1 - self.eddy) * x + self.eddy * x * x)
        leads = phases * current**2 * self.leads
        return element, winding, element + winding + leads + self.drop * current + idle

    def rotor_torque(self, rotor_rad_s: float) -> float:
        turns = rotor_rad_s * self.ratio
        return self.watts(turns)[2] / turns * self.ratio / self.belt


STRONG = dict.fromkeys(("voltage_constant", "ratio", "efficiency"), "high") | dict.fromkeys(
    (
        "winding_resistance",
        "winding_temperature",
        "winding_inductance",
        "rectifier_drop",
        "friction_torque",
        "iron_loss",
        "eddy_share",
        "resistance",
        "lead_resistance",
    ),
    "low",
)


@pytest.fixture(scope="module", params=SETTINGS)
def case(request: pytest.FixtureRequest) -> tuple[Scenario, ElectricalSide]:
    scenario = load(VAN, SETTINGS[request.param])
    return scenario, electrical_side(scenario)


def test_volts_and_currents_by_hand(case) -> None:
    scenario, side = case
    cases = both_cases(rig_of(scenario))
    fastest = cases.worst.rotor_speed_rad_s
    strong = Circuit(scenario, STRONG)
    direct = scenario.generator.connection == "direct_current"
    rms = strong.constant * strong.ratio * fastest
    assert side.connection == scenario.generator.connection
    assert side.fastest_rad_s == pytest.approx(fastest)
    assert side.open_rms_v == pytest.approx(rms)
    assert side.open_peak_v == pytest.approx(rms if direct else math.sqrt(2) * rms)
    assert side.open_dc_v == side.open_peak_v
    assert side.highest_a == pytest.approx(strong.current(fastest * strong.ratio))
    assert side.fuse_a == pytest.approx(1.25 * side.highest_a)  # common practice, no source
    stated = Circuit(scenario, {})
    working = cases.operating.rotor_speed_rad_s * stated.ratio
    assert side.working_a == pytest.approx(stated.current(working))
    assert side.dump_w == pytest.approx(stated.watts(working)[0])
    assert side.element_ohm == pytest.approx(stated.element)
    drop = scenario.generator.rectifier_drop.high if scenario.generator.connection == "rectifier" else 0.0
    assert side.rectifier_w == pytest.approx(drop * side.highest_a)
    reverse, mean = bridge_diodes(side)
    # Power-electronics texts: reverse peak √2 of the volts between two lines, a third of the direct current each.
    assert (reverse, mean) == pytest.approx((math.sqrt(2) * rms, side.highest_a / 3))


def test_the_dump_load_takes_what_the_worst_air_gives(case) -> None:
    scenario, side = case
    rig = rig_of(scenario)
    hand, strong = Hand(scenario, worst=True), Circuit(scenario, STRONG)
    air, radius = both_cases(rig).worst.air_speed_m_s, hand.radius
    settled = []
    for pitch in scanned_pitches_deg(rig)[:3]:  # coarse pitches give little
        speeds = np.linspace(1.5 * scenario.curves.tip_speed_ratio[-1] * air / radius, 5.0, 1500)
        cp, _ = hand.coefficients(pitch, speeds * radius / air)
        spare = 0.5 * hand.density * hand.area * air**3 * cp / speeds - [strong.rotor_torque(w) for w in speeds]
        turns = np.flatnonzero(spare > 0)
        if turns.size:
            k = turns[0]
            share = spare[k] / (spare[k] - spare[k - 1])
            settled.append(strong.watts((speeds[k] + share * (speeds[k - 1] - speeds[k])) * strong.ratio)[0])
    assert side.dump_worst_w == pytest.approx(max(settled), rel=2e-3)


def test_braking_is_that_of_the_weakest_ends_and_heat_that_of_the_strongest(case) -> None:
    scenario, side = case
    brake, rig = side.braking, rig_of(scenario)
    cases = both_cases(rig)
    speeds = brake.rotor_speed_rad_s
    assert speeds == pytest.approx(np.linspace(0, side.fastest_rad_s, len(speeds)))
    weak = dict.fromkeys(("voltage_constant", "friction_torque", "iron_loss", "eddy_share", "efficiency"), "low")
    weak["winding_inductance"] = "high"
    brakes = [
        Circuit(
            scenario,
            weak | {"winding_resistance": winding, "winding_temperature": winding, "ratio": ratio},
            shorted=True,
        )
        for winding, ratio in itertools.product(("low", "high"), repeat=2)
    ]
    hot = STRONG | {"winding_resistance": "high", "winding_temperature": "high"}
    strong = [Circuit(scenario, ends, shorted=True) for ends in (STRONG, hot)]
    calm, worst = Hand(scenario, False), Hand(scenario, True)
    for k in (1, 7, 25, 60, 100, len(speeds) - 1):
        speed = float(speeds[k])
        # The belt's loss is on the brake's side here: what the generator holds back, times the efficiency.
        by_hand = min(one.watts(speed * one.ratio)[2] / speed * one.belt for one in brakes)
        assert brake.torque_n_m[k] == pytest.approx(by_hand), k
        assert brake.current_a[k] == pytest.approx(max(one.current(speed * one.ratio) for one in strong))
        assert brake.winding_w[k] == pytest.approx(max(one.watts(speed * one.ratio)[1] for one in strong))
        at = cases.operating
        cp, _ = calm.coefficients(at.pitch_deg, speed * calm.radius / at.air_speed_m_s)
        given = 0.5 * calm.density * calm.area * at.air_speed_m_s**3 * float(cp) / speed
        assert brake.rotor_n_m[k] == pytest.approx(given, rel=1e-6)
        air = cases.worst.air_speed_m_s
        cp, _ = worst.coefficients(scanned_pitches_deg(rig), speed * worst.radius / air)
        given = 0.5 * worst.density * worst.area * air**3 * float(cp.max()) / speed
        assert brake.worst_rotor_n_m[k] == pytest.approx(given, rel=1e-6)
    assert brake.peak_at_rad_s == speeds[int(np.argmax(brake.torque_n_m))]
    assert side.short_circuit_a == pytest.approx(max(brake.current_a))
    assert np.isfinite(brake.rotor_n_m[0])


def test_shown_speeds_are_twelve_even_ones_up_to_the_fastest() -> None:
    brake = electrical_side(load(VAN)).braking
    places = shown_places(brake)
    top = brake.rotor_speed_rad_s[-1]
    assert brake.rotor_speed_rad_s[places] == pytest.approx(np.arange(1, 13) / 12 * top)


def _brake(torque: list[float]) -> Braking:
    zeros = np.zeros(len(torque))
    return Braking(10.0 * np.arange(len(torque)), np.array(torque), zeros, zeros, zeros, zeros, 0.0)


def test_where_a_brake_fails_and_where_it_creeps_by_hand() -> None:
    rotor = np.array([5.0, 5, 5, 5, 5])
    brake = _brake([0.0, 6, 7, 4, 8])  # too weak at first, then holds at 10 and 20 rad/s, and loses at 30
    assert brake.fails_from_rad_s(rotor) == 30
    assert brake.creeps_at_rad_s(rotor) == 10
    assert brake.fails_from_rad_s(np.full(5, 9.0)) == 0
    assert math.isnan(brake.creeps_at_rad_s(np.full(5, 9.0)))
    assert math.isinf(_brake([0.0, 6, 7, 8, 9]).fails_from_rad_s(rotor))
    assert _brake([0.0, 6, 7, 5, 9]).fails_from_rad_s(rotor) == 30  # as strong as the rotor is not enough
    assert _brake([9.0, 6, 5, 5, 4]).creeps_at_rad_s(rotor) == 0
    assert _brake([5.0, 6, 6, 6, 6]).creeps_at_rad_s(rotor) == 10


def test_the_edges_of_what_is_dangerous_and_of_a_fuse_that_opens() -> None:
    side = electrical_side(load(VAN))
    # IEC 62257-7-1, 3.55: up to 50 V AC or 120 V DC is extra-low; a fuse needs twice its current (common practice).
    for connection, rms, dc, dangerous in (
        ("three_phase", 50.0, 200.0, False),
        ("rectifier", 50.0, 120.0, False),
        ("rectifier", 50.1, 60.0, True),
        ("direct_current", 400.0, 120.0, False),
        ("direct_current", 10.0, 120.1, True),
    ):
        assert replace(side, connection=connection, open_rms_v=rms, open_dc_v=dc).dangerous is dangerous
    assert replace(side, highest_a=8.0, short_circuit_a=20.0).fuse_opens_on_short
    assert not replace(side, highest_a=8.0, short_circuit_a=19.9).fuse_opens_on_short


def test_ratings_to_ask_for_over_what_is_seen() -> None:
    # Common practice, no source: fuse 1.25 times, diodes twice the volts and 1.5 times the amperes, capacitor 1.25.
    side = replace(electrical_side(load(VAN)), open_rms_v=100.0, open_dc_v=100 * math.sqrt(2), highest_a=10.0)
    text = repr(said(side, "metric"))
    for words in ("12.5 A or the next above", "141 V reverse, 3.33 A mean", "283 V, bridge 15.0 A", "177 V"):
        assert words in text


def test_a_short_leaves_the_generator_alone_with_its_winding() -> None:
    for settings, joined in ((SETTINGS["rectifier"], "three_phase"), (SETTINGS["direct current"], "direct_current")):
        chain = rig_of(load(VAN, settings)).inputs.turbine.chain
        short = short_circuited(chain)
        assert short.connection == joined
        assert (short.element_resistance_ohm, short.lead_resistance_ohm, short.rectifier_drop_v) == (0.0, 0.0, 0.0)
        assert short.winding_resistance_ohm == chain.winding_resistance_ohm
