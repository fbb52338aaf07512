"""The spin-up in the shop: textbook vibration, hand calculations, and invented logs."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests_support import run

from energy.chain.load import load
from energy.strength import spin_up as spin
from energy.strength.spin_up import NaturalFrequency, SpinUp
from energy.words import spin_up as words
from vehicle.problems import InputError

VAN = Path(__file__).parents[3] / "scenarios" / "van_water_tank" / "scenario.toml"
FREQUENCY = NaturalFrequency(7.5, 0.3, "as stated")


@pytest.fixture(scope="module")
def found() -> SpinUp:
    return spin.spin_up(load(VAN), FREQUENCY)


def test_rotating_unbalance_as_the_textbook_has_it() -> None:
    """Thomson, Theory of Vibration with Applications, chapter 3 (from memory): 1/(2 zeta) at resonance, and by hand."""
    assert spin.shaking_ratio(10, 10, 0.05) == pytest.approx(10)
    assert spin.shaking_ratio(math.sqrt(2), 1, 0.0) == pytest.approx(1)
    assert spin.shaking_ratio(3, 1, 0.0) == pytest.approx(1 / 8)
    assert spin.shaking_ratio(0, 1, 0.1) == pytest.approx(1)
    assert spin.shaking_ratio(2, 1, 0.5) == pytest.approx(1 / math.sqrt(9 + 4))


def test_a_mass_on_a_spring_as_the_textbook_has_it() -> None:
    """Thomson, example 2.2 (from memory): 0.25 kg on 0.1533 N/mm swings at 3.941 Hz; here both a hundred times."""
    scenario = load(VAN, ['rotor.turbine_mass="25 kg"'])
    assert spin.natural_frequency("15.33 N/mm", scenario).hz == pytest.approx(3.941, abs=0.001)
    assert spin.natural_frequency("7.5 Hz", scenario).hz == pytest.approx(7.5)


@pytest.mark.parametrize("text", ["soft", "0 Hz", "-3 Hz", "7.5 kg"])
def test_what_is_no_tap_test_is_said(text: str) -> None:
    with pytest.raises(InputError, match=r"7\.5 Hz"):
        spin.natural_frequency(text, load(VAN))


def test_power_in_still_air_by_hand() -> None:
    """Leishman's hover profile power rho A Vtip^3 sigma Cd / 8 (from memory): 1.2, 1 m, 50 rad/s, 0.1, Cd 0.03."""
    flat = spin.still_air_power_w(1.2, 1.0, 50.0, 0.1, 0.0)
    assert flat == pytest.approx(1.2 * math.pi * 125_000 * 0.1 * 0.03 / 8)
    assert spin.still_air_power_w(1.2, 1.0, 50.0, 0.1, math.pi / 2) == pytest.approx(flat * 1.23 / 0.03)


def test_energy_thrown_blade_and_motor_by_hand(found: SpinUp) -> None:
    scenario = load(VAN)
    table = scenario.blade_loads
    assert table is not None
    assert table.piece_masses is not None
    assert table.piece_radii is not None
    masses = np.array([v.value for v in table.piece_masses])
    radii = np.array([v.value for v in table.piece_radii])
    for step, rung in zip(found.steps, found.ladder.rungs, strict=True):
        speed = rung.rotor_speed_rad_s
        assert step.energy_j == pytest.approx(0.5 * 3 * float(masses @ radii**2) * speed**2)
        assert step.thrown_m_s == pytest.approx(speed * float(masses @ radii) / masses.sum())
        assert step.thrown_j == pytest.approx(0.5 * masses.sum() * step.thrown_m_s**2)
        assert step.thrown_j * 3 < step.energy_j
        assert step.motor_w == pytest.approx(step.motor_torque_n_m * speed)
        assert scenario.bearing is not None
        assert step.bearing_n == pytest.approx(scenario.bearing.radial_load.value + rung.imbalance_n)
        power = spin.still_air_power_w(1.19, 0.9, speed, scenario.rotor.solidity.value, math.radians(4))
        assert step.motor_w > 0.5 * power  # at least the order of the blades' drag
    assert found.steps[1].actuator_n == pytest.approx(found.steps[0].actuator_n * 4, rel=0.01)  # square of the speed


def test_critical_speeds_by_hand(found: SpinUp) -> None:
    assert {k: v * 30 / math.pi for k, v in found.critical_rad_s.items()} == pytest.approx({1: 450.0, 3: 150.0})
    assert [s.near_critical for s in found.steps] == [False, True, False, False, False]
    lines = words.critical_lines(found, "metric")
    assert any("450 rpm" in text and "skip" in text for text in lines)
    high = spin.spin_up(load(VAN), NaturalFrequency(40.0, 1.0, "as stated"))
    assert any("above the last step" in text for text in words.critical_lines(high, "metric"))
    assert "not checked" in words.critical_lines(spin.spin_up(load(VAN)), "metric")[0]


def _tap(path: Path, hz: float, *, noise: float = 0.05, ring: float = 1.0) -> Path:
    """A phone that is tapped after a second: uneven times, gravity on one axis, another axis silent."""
    draw = np.random.default_rng(4)
    time = np.cumsum(0.01 * (1 + 0.1 * draw.uniform(-1, 1, 800)))
    after = np.maximum(time - 1.0, 0.0)
    swing = ring * np.exp(-0.03 * 2 * math.pi * hz * after) * np.sin(2 * math.pi * hz * after) * (time > 1)
    rows = ["time_s,acceleration_x_m_s2,acceleration_z_m_s2"]
    rows += [
        f"{t:.5f},{a:.5f},{9.81 + noise * b:.5f}"
        for t, a, b in zip(time, swing + noise * draw.normal(size=800), draw.normal(size=800), strict=True)
    ]
    path.write_text("\n".join(rows) + "\n")
    return path


@pytest.mark.parametrize("hz", [3.3, 7.5, 18.0])
def test_a_tap_is_heard(tmp_path: Path, hz: float) -> None:
    assert spin.tapped(_tap(tmp_path / "tap.csv", hz)).hz == pytest.approx(hz, rel=0.02)


def test_noise_alone_rings_at_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no frequency stands out"):
        spin.tapped(_tap(tmp_path / "tap.csv", 7.5, ring=0.0))
    (tmp_path / "bare.csv").write_text("time_s,other\n" + "\n".join(f"{k},1" for k in range(40)))
    with pytest.raises(InputError, match="acceleration_m_s2"):
        spin.tapped(tmp_path / "bare.csv")


def _log(path: Path, found: SpinUp, imbalance_kg_m: float, mass_kg: float, top: float = 1.0) -> Path:
    """A mass on a spring shaken by an imbalance (Thomson): velocity is speed times amplitude, over root two."""
    rows = ["rotor_speed_rpm,vibration_mm_s"]
    for speed in np.linspace(0.1, top, 40) * found.top_rad_s:
        ratio = speed / (2 * math.pi * 7.5)
        amplitude = imbalance_kg_m / mass_kg * ratio**2 / math.hypot(1 - ratio**2, 0.06 * ratio)
        rows.append(f"{speed * 30 / math.pi:.2f},{1e3 * speed * amplitude / math.sqrt(2):.5f}")
    path.write_text("\n".join(rows) + "\n")
    return path


def test_a_log_gives_back_the_imbalance_and_the_resonance(tmp_path: Path, found: SpinUp) -> None:
    log = spin.read_log(_log(tmp_path / "log.csv", found, 2e-3, 50.0), found, 50.0)
    assert log.imbalance_kg_m == pytest.approx(2e-3, rel=0.05)
    assert log.peak_rad_s == pytest.approx(2 * math.pi * 7.5, rel=0.05)
    assert any("as the tap test said" in text for text in words.log_lines(found, log, "metric"))
    assert not log.above_ladder
    other = replace(found, natural=NaturalFrequency(12.0, 0.3, "as stated"))
    assert any("another part" in text for text in words.log_lines(other, log, "metric"))


def test_a_log_over_a_limit_comes_first(tmp_path: Path, found: SpinUp) -> None:
    fast = spin.read_log(_log(tmp_path / "log.csv", found, 1e-5, 50.0, top=1.1), found, 50.0)
    assert fast.above_ladder
    assert fast.stop_from_rad_s is None
    assert words.headlines(found, fast, "metric")[0].startswith("Do not operate. The log reaches")
    path = _log(tmp_path / "log.csv", found, 2e-2, 50.0)
    done = run("loads", str(VAN), "--ladder", "--tap-test", "7.5 Hz", "--spin-up-log", str(path))
    assert done.returncode == 3
    assert done.stdout.startswith("Do not operate. Vibration passes 7.1 mm/s from")
    data = json.loads(run("loads", str(VAN), "--spin-up-log", str(path), "--json").stdout)
    assert data["safe"] is False
    assert data["log"]["stop_from_rpm"] < data["log"]["largest_at_rpm"]


def test_a_log_that_cannot_be_is_said(tmp_path: Path, found: SpinUp) -> None:
    path = tmp_path / "log.csv"
    path.write_text("rotor_speed_rpm,vibration_mm_s\n100,1\n-200,1\n300,2\n")
    with pytest.raises(InputError, match="rotor_speed"):
        spin.read_log(path, found, 50.0)
