"""The electrical side: volts, currents and short-circuit braking in closed form, and the demo's by hand."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests_support import run

from energy.chain.load import load
from energy.electrical import SIX_PULSE_VOLTAGE_RATIO, shaft_torque_n_m
from energy.scenario.inputs import inputs_of
from energy.strength.electrical_side import bridge_diodes, electrical_side, short_circuited
from energy.words.electrical_side import said
from vehicle.problems import InputError
from vehicle.units import show

VAN = Path(__file__).resolve().parents[3] / "scenarios" / "van_water_tank" / "scenario.toml"


STOP = ['gust.overspeed_stop="950 rpm"', 'generator.winding_temperature="20 degC"']
_SET = [part for one in STOP for part in ("--set", one)]


@pytest.fixture(scope="module")
def side():
    return electrical_side(load(VAN, STOP))


def test_open_circuit_volts_and_bridge_by_hand(side):
    # 950 rpm at the stop, 2.5 generator turns each, 60 V per 1000 rpm between two wires.
    assert side.open_rms_v == pytest.approx(0.95 * 2.5 * 60)
    assert side.open_peak_v == pytest.approx(math.sqrt(2) * 142.5)
    assert side.dangerous
    reverse, mean = bridge_diodes(side)
    # A diode blocks the peak between two lines (power-electronics texts: 1.047 of the ideal mean output).
    assert reverse == pytest.approx(side.open_peak_v)
    assert reverse == pytest.approx(1.047 * SIX_PULSE_VOLTAGE_RATIO * side.open_rms_v, rel=1e-3)
    assert mean == pytest.approx(side.highest_a / 3)


def test_small_volts_are_within_extra_low_voltage():
    # IEC 62257-7-1:2010, 3.55: 50 V AC.
    low = electrical_side(load(VAN, [*STOP, 'generator.voltage_constant="12 V/krpm"']))
    assert low.open_rms_v == pytest.approx(low.fastest_rad_s * 30 / math.pi / 1000 * 2.5 * 12)
    assert low.open_rms_v < 50
    assert not low.dangerous


def test_short_circuit_torque_peaks_where_reactance_equals_resistance():
    # A machine with magnets, its terminals joined: T = 3·E²·R/(ω·(R² + X²)), at its maximum where X = R, and there
    # 3·k²·p/(2·p·L) = 3·k²/(2·L') with the phase's k and L per mechanical speed (electrical-machines texts; by hand).
    chain = inputs_of(
        load(
            VAN,
            [
                *STOP,
                'generator.friction_torque="0 N*m"',
                'generator.iron_loss="0 W"',
                'generator.cogging_torque="0 N*m"',
            ],
        )
    ).turbine.chain
    short = short_circuited(chain)
    r, inductance, k = 0.8 / 2, 3e-3 / 2, 60 / (1000 * 2 * math.pi / 60) / math.sqrt(3)
    at = r / (6 * inductance)  # rad/s of the generator at which X = R
    peak = 3 * k**2 / (2 * 6 * inductance) * 2.5 / 0.95
    assert float(shaft_torque_n_m(short, np.asarray(at / 2.5))) == pytest.approx(peak, rel=1e-9)
    around = shaft_torque_n_m(short, np.linspace(0.5, 2, 50) * at / 2.5)
    assert around.max() <= peak * (1 + 1e-9)


def test_braking_of_the_demo_fails_at_speed_and_the_belt_takes_from_the_brake(side):
    brake = side.braking
    fails = brake.fails_from_rad_s(brake.rotor_n_m)
    k = int(np.searchsorted(brake.rotor_speed_rad_s, fails))
    assert brake.torque_n_m[k] <= brake.rotor_n_m[k]
    assert brake.torque_n_m[k - 1] > brake.rotor_n_m[k - 1]
    assert brake.fails_from_rad_s(brake.worst_rotor_n_m) < fails
    assert brake.creeps_at_rad_s(brake.rotor_n_m) < 0.2 * fails
    tight = electrical_side(load(VAN, [*STOP, 'drive.efficiency="100 %"'])).braking
    assert tight.torque_n_m[50] * 0.95 == pytest.approx(brake.torque_n_m[50])


def test_a_stronger_winding_holds_and_a_wide_inductance_is_taken_at_its_weak_end(side):
    strong = electrical_side(
        load(VAN, [*STOP, 'generator.winding_inductance="0.2 mH"', 'generator.winding_resistance="0.4 ohm"'])
    )
    assert math.isinf(strong.braking.fails_from_rad_s(strong.braking.rotor_n_m))
    wide = electrical_side(
        load(VAN, [*STOP, 'generator.winding_inductance={ value = "3 mH", low = "2 mH", high = "5 mH" }'])
    )
    assert wide.braking.torque_n_m[-1] < side.braking.torque_n_m[-1]
    assert wide.short_circuit_a > side.short_circuit_a


def test_the_dump_load_takes_the_worst_air_not_the_working_watts(side):
    assert side.dump_worst_w > 2 * side.dump_w
    assert side.element_ohm == pytest.approx(9.0, rel=0.2)


def test_the_command_says_danger_first_and_gives_the_same_as_data(side):
    text = " ".join(run("loads", str(VAN), *_SET, "--electrical").stdout.split())
    assert text.startswith("Dangerous voltage: up to 142 V AC")
    for word in ("DC rated", "IS a load cut", "dump load", "never the only brake", "Discharge capacitors"):
        assert word in text
    data = json.loads(run("loads", str(VAN), *_SET, "--electrical", "--json").stdout)
    assert data["open_circuit_rms_v"] == pytest.approx(side.open_rms_v)
    assert data["braking"]["fails_from_rad_s"] == pytest.approx(side.braking.fails_from_rad_s(side.braking.rotor_n_m))


CAMPER = VAN.parents[1] / "camper_oven" / "scenario.toml"


def test_the_worst_air_takes_stalled_blades_at_their_unfavourable_end():
    """Stalled sections may give 2.4 times the computed power: brake and dump load are held to that."""
    known = ["blade.stalled_power_factor=1.0", "blade.stall_delay_share=1.0"]
    wide, narrow = electrical_side(load(CAMPER)), electrical_side(load(CAMPER, known))
    assert wide.fastest_rad_s == pytest.approx(narrow.fastest_rad_s)  # the stop's speed
    slow = slice(12, 40)
    share = wide.braking.worst_rotor_n_m[slow] / narrow.braking.worst_rotor_n_m[slow]
    assert share == pytest.approx(np.full(28, 2.4), rel=0.02)  # near standstill every section is stalled
    assert wide.dump_worst_w >= narrow.dump_worst_w
    assert math.isinf(narrow.braking.fails_from_rad_s(narrow.braking.worst_rotor_n_m))
    assert wide.braking.fails_from_rad_s(wide.braking.worst_rotor_n_m) < wide.fastest_rad_s
    # At its stated values the working rotor is the same.
    assert wide.braking.rotor_n_m == pytest.approx(narrow.braking.rotor_n_m, rel=1e-9)


def test_the_brake_says_where_a_shorted_rotor_keeps_turning_in_the_worst_air():
    side = electrical_side(load(CAMPER, ["blade.stalled_power_factor=1.0"]))
    creeps = side.braking.creeps_at_rad_s(side.braking.worst_rotor_n_m)
    weaker = side.braking.torque_n_m < side.braking.worst_rotor_n_m
    assert weaker[1:8].all()  # the worst rotor beats the brake near standstill
    assert not weaker[side.braking.rotor_speed_rad_s >= creeps].any()
    text = " ".join(said(side, "metric").headlines)
    assert f"down to {show(creeps, 'rotor_speed', 'metric')} in the worst air" in text


@pytest.mark.parametrize(
    ("connection", "rms_v", "dc_v", "dangerous"),
    [
        # Extra-low voltage, IEC 61140: up to 50 V AC, 120 V DC.
        ("direct_current", 10.0, 119.0, False),
        ("direct_current", 10.0, 121.0, True),
        ("rectifier", 49.0, 121.0, True),
        ("rectifier", 49.0, 119.0, False),
        ("three_phase", 49.0, 121.0, False),
        ("three_phase", 51.0, 0.0, True),
    ],
)
def test_what_passes_extra_low_voltage(side, connection, rms_v, dc_v, dangerous):
    machine = replace(side, connection=connection, open_rms_v=rms_v, open_dc_v=dc_v)
    assert machine.dangerous == dangerous


@pytest.mark.parametrize("lacking", ["curves", "generator"])
def test_curves_and_generator_are_both_needed(demos: Path, lacking: str) -> None:
    van = load(demos / "van_water_tank" / "scenario.toml")
    with pytest.raises(InputError, match="no generator with curves"):
        electrical_side(replace(van, **{lacking: None}))
