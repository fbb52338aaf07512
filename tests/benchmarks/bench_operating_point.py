"""Ratio of the array solver to a plain loop of scipy.optimize.brentq over the same operating points.

Run: python tests/benchmarks/bench_operating_point.py
"""

import math
import time

import numpy as np
from scipy.optimize import brentq

from energy.aero.curves import RotorCurves, estimate_thrust_coefficient
from energy.aero.operating_point import Rotor, grid_of, solve
from energy.electrical import SIX_PULSE_VOLTAGE_RATIO, ElectricalChain

COUNT = 100_000
SAMPLE = 400


def curves() -> RotorCurves:
    ratio = np.linspace(0, 9, 31)
    pitch = np.linspace(0, 20, 6)
    best = 5.0 - 0.12 * pitch[:, None]
    power = np.maximum(-0.2, 0.36 * (1 - 0.01 * pitch[:, None]) * (1 - ((ratio - best) / best) ** 2))
    power[:, 0] = 0
    return RotorCurves(ratio, pitch, power, estimate_thrust_coefficient(ratio, power))


def main() -> None:
    table = curves()
    rng = np.random.default_rng(1)
    air = rng.uniform(10, 35, COUNT)
    pitch = rng.uniform(0, 20, COUNT)
    resistance = rng.uniform(4, 30, COUNT)
    chain = ElectricalChain("rectifier", 3.0, 0.95, 1.0, 1.2, 0.004, 8, 0.2, 0.3, 20.0, 0.5, 1.8, 0.1, resistance)
    rotor = Rotor(table, 0.9, pitch, 1.2, air)
    solve(rotor, chain)
    times = []
    for _ in range(5):
        start = time.process_time()
        point = solve(rotor, chain)
        times.append(time.process_time() - start)
    array_s = min(times)

    grid = [float(g) for g in grid_of(table)]
    table_x, table_p = table.tip_speed_ratio.tolist(), table.pitch_deg.tolist()
    table_cp = table.power_coefficient.tolist()

    def loop_one(k: int) -> float:
        u, beta, r_element = float(air[k]), float(pitch[k]), float(resistance[k])
        scale = 0.5 * 1.2 * math.pi * 0.9**3 * u * u

        def residual(ratio: float) -> float:
            x = min(max(ratio, table_x[0]), table_x[-1])
            col = min(int(np.searchsorted(table_x, x, side="right")) - 1, len(table_x) - 2)
            row = min(int(beta / 4.0), len(table_p) - 2)
            sx = (x - table_x[col]) / (table_x[col + 1] - table_x[col])
            sy = (beta - table_p[row]) / 4.0
            low = table_cp[row][col] + sx * (table_cp[row][col + 1] - table_cp[row][col])
            high = table_cp[row + 1][col] + sx * (table_cp[row + 1][col + 1] - table_cp[row + 1][col])
            cp = low + sy * (high - low)
            omega = 3.0 * ratio * u / 0.9
            resist = r_element + 0.1 + 1.2
            current = max(0.0, SIX_PULSE_VOLTAGE_RATIO * omega - 1.8) / (resist + 3 / math.pi * 8 * 0.002 * omega)
            share = omega / 104.71975511965977
            torque = (
                (current * current * resist + 1.8 * current) / omega
                + 0.2
                + 20.0 / 104.71975511965977 * (0.5 + 0.5 * share)
            )
            return scale * cp / ratio - torque * 3.0 / 0.95

        values = [residual(g) for g in grid]
        for i in range(len(grid) - 1):
            if values[i] > 0 >= values[i + 1]:
                return float(brentq(residual, grid[i], grid[i + 1], xtol=1e-12)) * u / 0.9
        return 0.0

    start = time.process_time()
    speeds = np.array([loop_one(k) for k in range(SAMPLE)])
    loop_s = (time.process_time() - start) * COUNT / SAMPLE
    inside = ~point.beyond_table[:SAMPLE]
    worst = np.max(np.abs(speeds - point.rotor_speed_rad_s[:SAMPLE])[inside])
    print(
        f"operating points: {COUNT}; array call {array_s:.3f} s of CPU (best of 5); loop {loop_s:.1f} s (from {SAMPLE})"
    )
    print(f"ratio {loop_s / array_s:.0f}; largest difference in rotor speed {worst:.2e} rad/s")


if __name__ == "__main__":
    main()
