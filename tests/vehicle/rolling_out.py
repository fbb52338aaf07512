"""Logs of coast-downs of an invented car, braked where a driver brakes. Shares no code with windtoll."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

A_N, B_N_S_M, C_N_S2_M2, MASS_KG = 150.0, 1.5, 0.45, 1400.0

Brake = Callable[[int, float, float], float]  # number of the run, seconds in it, speed in m/s -> braking in N


def no_brake(number: int, seconds: float, speed: float) -> float:
    """Return no braking."""
    return 0.0


def write(
    path: Path,
    brake: Brake = no_brake,
    *,
    runs: int = 8,
    seed: int = 1,
    wind_m_s: float = 1.5,
    gusts_m_s: float = 0.3,
    grade: float = 0.001,
    one_way: bool = False,
    down_to_m_s: float = 6.0,
    step_s: float = 1.0,
) -> Path:
    """Write coast-downs from 108 km/h, out and back in turn unless `one_way`; neutral is seen by the engine's idling.

    Below `down_to_m_s` the driver brakes to a stop.
    """
    draw = np.random.default_rng(seed)
    rows, clock = [], 0.0
    for number in range(runs):
        sign = 1 if one_way or number % 2 == 0 else -1
        gust = draw.normal(0, gusts_m_s)
        speed, state, since = float(draw.uniform(0, 1)), "up", 0.0
        while state != "still":
            fine = 20
            for _ in range(fine):
                dt = step_s / fine
                if state == "up":
                    speed += 1.5 * dt
                    if speed > 30:
                        state, since = "roll", 0.0
                else:
                    gust += dt * (-gust / 8 + gusts_m_s * draw.normal(0, 0.5) / np.sqrt(dt) / 2)
                    air = speed + sign * (wind_m_s + gust)
                    force = A_N + B_N_S_M * speed + C_N_S2_M2 * air * abs(air) + sign * MASS_KG * 9.80665 * grade
                    force += brake(number, since, speed) if state == "roll" else 2.0 * MASS_KG
                    speed, since = speed - dt * force / (1.03 * MASS_KG), since + dt
                    if state == "roll" and speed < down_to_m_s:
                        state = "stop"
                    if speed <= 0:
                        state, speed = "still", 0.0
                        break
            idle = 800 if state != "up" else 2000
            rows.append(f"{clock:g},{round(3.6 * speed)},{idle},{40 if state == 'up' else 15}")
            clock += step_s
        for _ in range(5):
            rows.append(f"{clock:g},0,800,15")
            clock += step_s
    path.write_text("time,speed,rpm,throttle\n" + "\n".join(rows) + "\n")
    return path
