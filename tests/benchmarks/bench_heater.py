"""How quick the heated load is: 10 000 draws over a trip of an hour at 1 s, against a loop of scipy's solve_ivp.

Run as `python tests/benchmarks/bench_heater.py` from the project's folder. The loop runs over a few draws in the same
process and is scaled up; both answer the same question, and the benchmark prints how far their answers lie apart.
"""

from __future__ import annotations

import time

import numpy as np
from scipy.integrate import solve_ivp

from energy.heat.heater import ElementControl, HeatingSteps, simulate
from energy.heat.load import HeatedLoad, SecondNode, Thermostat

DRAWS, SECONDS, REFERENCE_DRAWS = 10_000, 3600, 4
SIGMA = 5.670374419e-8
AMBIENT, TARGET = 288.15, 313.15


def reference(capacity, loss, radiating, element, power):
    """Final temperature and time to target by solve_ivp, one draw; the power is looked up second by second."""

    def slope(moment, state):
        watts = power[min(int(moment), SECONDS - 1)]
        out = loss * (state[0] - AMBIENT) + SIGMA * radiating * (state[0] ** 4 - AMBIENT**4)
        if element is None:
            return [(watts - out) / capacity]
        flow = element.coupling_w_k * (state[1] - state[0])
        return [(flow - out) / capacity, (watts - flow) / element.heat_capacity_j_k]

    def reached(_moment, state):
        return state[0] - TARGET

    start = [AMBIENT] * (1 if element is None else 2)
    done = solve_ivp(slope, (0, SECONDS), start, rtol=1e-6, atol=1e-6, max_step=10.0, events=reached)
    times = done.t_events[0]
    return done.y[0, -1], times[0] if times.size else np.nan


def main() -> None:
    """Print one line a case."""
    rng = np.random.default_rng(1)
    capacity = 126e3 * (1 + 0.05 * rng.standard_normal(DRAWS))
    loss = 2.5 * (1 + 0.1 * rng.standard_normal(DRAWS))
    power = 1000 + 800 * np.sin(np.arange(SECONDS) / 50.0)
    wind = 20 + 5 * np.sin(np.arange(SECONDS) / 30.0)
    element = SecondNode(2000.0, 40.0, takes_power=True)
    cases = {
        "one node, linear": (HeatedLoad(capacity, loss), 0.0, None),
        "one node, radiation": (HeatedLoad(capacity, loss, radiating_area_m2=0.2), 0.2, None),
        "two nodes, element": (HeatedLoad(capacity, loss, second_node=element), 0.0, element),
        "two nodes, radiation": (HeatedLoad(capacity, loss, radiating_area_m2=0.2, second_node=element), 0.2, element),
    }
    print(f"{DRAWS} draws, {SECONDS} steps of 1 s; CPU seconds")
    for name, (heater, radiating, node) in cases.items():
        begun = time.process_time()
        outcome = simulate(heater, HeatingSteps(power, 1.0, AMBIENT), target_k=TARGET, start_k=AMBIENT)
        took = time.process_time() - begun
        begun = time.process_time()
        answers = [reference(capacity[k], loss[k], radiating, node, power) for k in range(REFERENCE_DRAWS)]
        loop = (time.process_time() - begun) / REFERENCE_DRAWS * DRAWS
        apart_k = max(abs(outcome.final_temperature_k[k] - answers[k][0]) for k in range(REFERENCE_DRAWS))
        apart_s = max(abs(outcome.time_to_target_s[k] - answers[k][1]) for k in range(REFERENCE_DRAWS))
        ratio = f"ratio {loop / took:6.0f}"
        print(f"{name:24} {took:6.2f} s   loop {loop:7.0f} s   {ratio}   apart {apart_k:.1e} K, {apart_s:.1e} s")
    print("without a reference in the same run:")
    more = {
        "in the road wind": (HeatedLoad(capacity, loss, outside_area_m2=1.0), {"air_speed_m_s": wind}),
        "thermostat": (HeatedLoad(capacity / 20, loss), {"control": ElementControl(Thermostat(313.15, 4.0))}),
        "element and thermostat": (
            HeatedLoad(capacity / 20, loss, second_node=SecondNode(500.0, 40.0, takes_power=True)),
            {"control": ElementControl(Thermostat(313.15, 4.0))},
        ),
        "walls that radiate": (
            HeatedLoad(capacity / 10, loss, second_node=SecondNode(2e4, 10.0, 2.0, radiating_area_m2=0.1)),
            {},
        ),
        "water that boils": (HeatedLoad(capacity / 3, loss, water_kg=8.0), {}),
        "open water": (HeatedLoad(capacity / 3, loss, water_kg=8.0, open_water_area_m2=0.1), {}),
        "a power for every draw": (HeatedLoad(capacity, loss), {"power": power[:, None] * np.ones(DRAWS)}),
    }
    for name, (heater, extra) in more.items():
        drive = HeatingSteps(extra.pop("power", power), 1.0, AMBIENT, extra.pop("air_speed_m_s", 0.0))
        begun = time.process_time()
        outcome = simulate(heater, drive, target_k=TARGET, start_k=AMBIENT, **extra)
        took = time.process_time() - begun
        print(f"{name:24} {took:6.2f} s   switchings a draw {outcome.switchings.mean():.1f}")


if __name__ == "__main__":
    main()
