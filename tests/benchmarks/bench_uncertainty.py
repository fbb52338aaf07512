"""Ratio of the draws as arrays to the loop of single answers, steady and over a trip.

Run: python tests/benchmarks/bench_uncertainty.py
"""

import time
from pathlib import Path

import numpy as np

from energy.inputs import inputs_of, ranges_of
from energy.ledger import answer
from energy.scenario import load
from energy.uncertainty import draws_of, shares, steady_chain

VAN = Path(__file__).resolve().parents[2] / "scenarios" / "van_water_tank" / "scenario.toml"
COUNT, LOOP = 10_000, 60


def steady() -> None:
    scenario = load(VAN)
    ranges = ranges_of(scenario)
    drawn = draws_of(ranges, shares(16_384, len(ranges))[:COUNT])
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
        f"steady, {COUNT} draws of {len(drawn)} inputs: full answer {full_s:.3f} s of CPU, change and heat {quick_s:.3f} s"
    )
    print(
        f"loop of single answers {loop_s:.1f} s (from {LOOP}); ratio {loop_s / full_s:.0f}; largest difference {miss:.1e} W"
    )


if __name__ == "__main__":
    np.seterr(all="raise", under="ignore")
    steady()
