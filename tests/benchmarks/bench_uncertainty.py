"""Ratio of the draws as arrays to the loop of single answers, steady and over a trip.

Run: python tests/benchmarks/bench_uncertainty.py
"""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from energy.chain.draws import steady_chain
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.chain.trip import answer_trip, steps_of_scenario, trip_chain
from energy.scenario.inputs import inputs_of, ranges_of
from energy.uncertainty.draws import draws_of, sobol_sample
from vehicle.driving.trip import Schedule

VAN = Path(__file__).resolve().parents[2] / "scenarios" / "van_water_tank" / "scenario.toml"
TOWN = VAN.parents[1] / "van_in_town" / "scenario.toml"
COUNT, LOOP, TRIP_DRAWS = 10_000, 60, 2_000


def steady() -> None:
    scenario = load(VAN)
    ranges = ranges_of(scenario)
    drawn = draws_of(ranges, sobol_sample(16_384, len(ranges))[:COUNT])
    drawn = {key: values[:COUNT] for key, values in drawn.items()}
    steady_chain(scenario)(drawn)
    start = time.process_time()
    together = answer(inputs_of(scenario, drawn))
    full_s = time.process_time() - start
    start = time.process_time()
    steady_chain(scenario)(drawn)
    quick_s = time.process_time() - start
    start = time.process_time()
    alone = [answer(inputs_of(scenario, {k: v[i] for k, v in drawn.items()})) for i in range(LOOP)]
    loop_s = (time.process_time() - start) * COUNT / LOOP
    miss = max(abs(float(a.change.power_w) - together.change.power_w[i]) for i, a in enumerate(alone))
    print(
        f"steady, {COUNT} draws of {len(drawn)} inputs: full answer {full_s:.3f} s of CPU, "
        f"change and heat {quick_s:.3f} s"
    )
    print(
        f"loop of single answers {loop_s:.1f} s (from {LOOP}); ratio {loop_s / full_s:.0f}; "
        f"largest difference {miss:.1e} W"
    )


def trip() -> None:
    """A schedule of 1 800 steps, every second another speed, so that nothing can be merged."""
    scenario = load(TOWN)
    assert scenario.schedule is not None
    time_s = np.arange(1801.0)
    speed = 12 + 9 * np.sin(time_s / 40) + 3 * np.sin(time_s / 7.3)
    scenario = replace(scenario, schedule=Schedule("bench", time_s, np.maximum(speed, 0.0)))
    ranges = ranges_of(scenario)
    drawn = {key: values[:TRIP_DRAWS] for key, values in draws_of(ranges, sobol_sample(2048, len(ranges))).items()}
    chain = trip_chain(scenario)
    chain({key: values[:8] for key, values in drawn.items()})
    start = time.process_time()
    together = chain(drawn)
    array_s = time.process_time() - start
    steps = steps_of_scenario(scenario)
    rng = np.random.default_rng(1)
    start = time.process_time()
    for draw, step in zip(rng.integers(0, TRIP_DRAWS, LOOP), rng.integers(0, len(steps.speed_m_s), LOOP), strict=True):
        one = {key: values[draw] for key, values in drawn.items()}
        one |= {"trip.road_speed": steps.speed_m_s[step], "trip.acceleration": steps.acceleration_m_s2[step]}
        answer(inputs_of(scenario, one))
    loop_s = (time.process_time() - start) * TRIP_DRAWS * len(steps.speed_m_s) / LOOP
    start = time.process_time()
    answer_trip(scenario)
    single_s = (time.process_time() - start) * TRIP_DRAWS
    print(
        f"trip, {len(steps.speed_m_s)} steps x {TRIP_DRAWS} draws: {array_s:.2f} s of CPU "
        f"(mean change {together.change_w.mean():.0f} W)"
    )
    print(f"loop of single answers, second by second {loop_s:.0f} s (from {LOOP}); ratio {loop_s / array_s:.0f}")
    print(f"loop of whole trips one draw at a time {single_s:.0f} s (from 1); ratio {single_s / array_s:.0f}")


if __name__ == "__main__":
    np.seterr(all="raise", under="ignore")
    steady()
    trip()
