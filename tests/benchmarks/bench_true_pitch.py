"""True pitch of 10 000 logged rows: CPU seconds, and the ratio against one root finding per row
(scipy.optimize.brentq).

Run: python -m tests.benchmarks.bench_true_pitch   (or: python tests/benchmarks/bench_true_pitch.py with PYTHONPATH=.)
"""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from energy.aero.operating_point import coefficients
from energy.chain.load import load
from energy.diagnosis.true_pitch import Accuracy, MeasuredRows, true_pitch

RADIUS, DENSITY, ROWS = 0.9, 1.2, 10_000


def main() -> None:
    """Print CPU seconds with and without a dial, and the ratio to the plain reference."""
    curves = load(Path(__file__).resolve().parents[2] / "scenarios" / "van_water_tank" / "scenario.toml").curves
    assert curves is not None
    g = np.random.default_rng(1)
    air, ratio = g.uniform(12, 18, ROWS), g.uniform(3.5, 6, ROWS)
    dial = np.repeat([2.0, 4.0, 6.0, 8.0], ROWS // 4)
    accuracy = Accuracy(0.03, 0.02, 0.02, 0.05, 0.05)

    def rows(pitch: np.ndarray, dial: np.ndarray | None) -> MeasuredRows:
        power = 0.5 * DENSITY * math.pi * RADIUS**2 * air**3 * coefficients(curves, pitch, ratio)[0]
        noisy = air * (1 + 0.03 * g.normal(size=ROWS))
        return MeasuredRows(noisy, ratio * air / RADIUS, power, None, dial, np.arange(ROWS, dtype=float))

    for name, pitch, told in (("pitch alone", np.full(ROWS, 9.5), None), ("with dial and drift", dial + 4, dial)):
        log = rows(pitch, told)
        true_pitch(curves, RADIUS, DENSITY, log, accuracy)
        start = time.process_time()
        found = true_pitch(curves, RADIUS, DENSITY, log, accuracy)
        taken = time.process_time() - start
        print(f"{name}: {taken:.3f} s of CPU for {ROWS} rows; {found.pitch_deg}")
        if told is None:
            vectorised = taken
    some = 300
    log = rows(np.full(ROWS, 9.5), None)
    start = time.process_time()
    for k in range(some):
        cp = log.electrical_power_w[k] / (0.5 * DENSITY * math.pi * RADIUS**2 * log.air_speed_m_s[k] ** 3)
        at = log.rotor_speed_rad_s[k] * RADIUS / log.air_speed_m_s[k]

        def miss(pitch: float, cp: float = cp, at: float = at) -> float:
            return float(coefficients(curves, pitch, at)[0]) - cp

        if miss(5.0) * miss(18.0) < 0:
            brentq(miss, 5.0, 18.0)
    reference = (time.process_time() - start) * ROWS / some
    print(f"one root finding per row: {reference:.1f} s, {reference / vectorised:.0f} times as long")


if __name__ == "__main__":
    main()
