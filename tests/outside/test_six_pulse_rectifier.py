"""Six-pulse diode bridge: Vdc = (3√2/π)·V_LL; ideal constant current: line current rms 0.8165·Idc, power factor 3/π.

Power-electronics texts. Here checked by integrating the waveforms, not by the formula.
"""

import numpy as np
import pytest

from energy.electrical import SIX_PULSE_VOLTAGE_RATIO, ElectricalChain, electrical_state


def test_mean_output_and_currents_from_the_waveforms() -> None:
    angle = np.linspace(0, 2 * np.pi, 360_001)[:-1]
    phases = [np.sin(angle - k * 2 * np.pi / 3) for k in range(3)]  # phase peak 1
    output = np.max(phases, axis=0) - np.min(phases, axis=0)
    line_rms = np.sqrt(np.mean((phases[0] - phases[1]) ** 2))
    assert output.mean() / line_rms == pytest.approx(SIX_PULSE_VOLTAGE_RATIO, rel=1e-6)
    assert pytest.approx(1.3505, abs=1e-4) == SIX_PULSE_VOLTAGE_RATIO
    stacked = np.array(phases)
    conducting = (stacked == stacked.max(axis=0)).astype(float) - (stacked == stacked.min(axis=0)).astype(float)
    rms = np.sqrt(np.mean(conducting[0] ** 2))
    assert rms == pytest.approx(0.8165, abs=1e-3)
    power_factor = output.mean() / (np.sqrt(3) * line_rms * rms)
    assert power_factor == pytest.approx(3 / np.pi, abs=1e-3)


def test_winding_loss_uses_that_current() -> None:
    # 3 phases × R_phase × (0.8165·Idc)² = 2·R_phase·Idc² = R between two terminals × Idc².
    chain = ElectricalChain("rectifier", 1.0, 1.0, 1.0, 2.0, 0.0, 1, 0.0, 0.0, 0.0, 0.5, 0.0, 0.0, 10.0)
    state = electrical_state(chain, 100.0)
    by_phase = 3 * 1.0 * (np.sqrt(2 / 3) * float(state.current_a)) ** 2
    assert float(state.winding_loss_w) == pytest.approx(by_phase)
