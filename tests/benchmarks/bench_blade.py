"""CPU time of the blade map (60 tip-speed ratios x 40 pitches x 30 sections) against a plain loop of scipy's brentq.

Run as `python tests/benchmarks/bench_blade.py`. The loop solves the same equations over the same tables with the `math`
module, one section state after another, over every pitch and ratio of every `LOOP_EVERY`-th section, and its time is
scaled.
Both times are CPU time of this process (time.process_time); the vectorised one is the least of several runs.
"""

from __future__ import annotations

import math
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from energy.aero.blade import Root, blade_curves, blade_sections, read_blade
from energy.aero.blade_element import Sections, solve
from energy.aero.polar import read_polars

DATA = Path(__file__).resolve().parents[1] / "data" / "two_blade_rotor"
RATIOS = np.linspace(0.1, 20.0, 60)
PITCHES = np.linspace(-10.0, 90.0, 40)
LOOP_EVERY = 3


def brentq_loop(sections: Sections, every: int) -> tuple[dict[tuple[int, int, int], float], float]:
    """Return inflow angles (radians) by (section, pitch, ratio) and the CPU seconds spent."""
    from scipy.optimize import brentq

    ratios, pitches = RATIOS.tolist(), PITCHES.tolist()
    eps = 1e-6
    found = {}
    start = time.process_time()
    for s in range(0, sections.radius.size, every):
        lift, drag = (table[sections.table[s], 0].tolist() for table in (sections.lift, sections.drag))
        radius, solidity, twist = float(sections.radius[s]), float(sections.solidity[s]), float(sections.twist_deg[s])
        tip, root = float(sections.tip_exponent[s]), float(sections.root_exponent[s])
        for p, pitch in enumerate(pitches):
            chord_angle = twist + pitch
            for k, ratio in enumerate(ratios):
                local = ratio * radius

                def miss(
                    phi: float,
                    local: float = local,
                    chord_angle: float = chord_angle,
                    solidity: float = solidity,
                    tip: float = tip,
                    root: float = root,
                    lift: list[float] = lift,
                    drag: list[float] = drag,
                ) -> float:
                    sine, cosine = math.sin(phi), math.cos(phi)
                    size = max(abs(sine), 1e-9)
                    loss = math.acos(math.exp(-tip / size)) * math.acos(math.exp(-root / size)) * 4.0 / math.pi**2
                    loss = max(loss, 1e-4)
                    place = (math.degrees(phi) - chord_angle + 360.0) * 10.0
                    index = int(place)
                    part = place - index
                    cl = lift[index] + part * (lift[index + 1] - lift[index])
                    cd = drag[index] + part * (drag[index + 1] - drag[index])
                    normal = solidity * (cl * cosine + cd * sine)
                    tangential = solidity * (cl * sine - cd * cosine)
                    four = 4.0 * loss
                    if sine > 0 and 1.5 * normal <= four * sine * sine:
                        h = 1.0 / (four * size)
                        w = sine + normal * h
                    else:
                        square = max(four * (four - 16.0 / 3.0) * sine * sine + 8.0 * normal, 0.0)
                        w = 0.25 * ((20.0 / 3.0 - four) * sine + math.sqrt(square))
                        brake = sine + normal / (four * size)
                        if sine < 0 and (brake < w or normal <= 0):
                            h, w = 1.0 / (four * size), brake
                        else:
                            h = (w - sine) / normal
                    return w * local - (cosine - tangential * h)

                low, high = eps, 0.5 * math.pi
                if miss(low) > 0:
                    low, high = -0.5 * math.pi, eps
                elif miss(high) < 0:
                    low, high = high, math.pi - eps
                found[s, p, k] = brentq(miss, low, high)
    return found, time.process_time() - start


def main() -> None:
    """Print CPU times, ratio, and how well both agree."""
    blade = read_blade(DATA / "blade_geometry.csv", 2, Root(aerofoil_start_m=1.2575))
    polars = read_polars(DATA / "polar_s809_re1000k.csv", 1e6)
    sections, _ = blade_sections(blade, polars)
    blade_curves(blade, polars, RATIOS, PITCHES)
    times, whole = [], []
    for _ in range(15):
        start = time.process_time()
        states = solve(sections, RATIOS, PITCHES)
        times.append(time.process_time() - start)
        start = time.process_time()
        blade_curves(blade, polars, RATIOS, PITCHES)
        whole.append(time.process_time() - start)
    found, loop = brentq_loop(sections, LOOP_EVERY)
    loop *= sections.radius.size * PITCHES.size * RATIOS.size / len(found)
    index = np.array(list(found))
    angles = np.degrees(np.array(list(found.values())))
    single = ~states.multiple_roots[tuple(index.T)]
    apart = np.abs(states.inflow_deg[tuple(index.T)] - angles)
    print(f"{states.inflow_deg.size} section states")
    print(f"section states alone:    {1e3 * min(times):7.1f} ms CPU (median {1e3 * np.median(times):.1f})")
    print(f"whole map, from polars:  {1e3 * min(whole):7.1f} ms CPU (median {1e3 * np.median(whole):.1f})")
    print(f"loop of brentq:          {1e3 * loop:7.0f} ms CPU (scaled from {len(found)} states)")
    print(f"ratio: {loop / min(times):.0f} (states), {loop / min(whole):.0f} (whole map)")
    print(
        f"same root in {np.mean(apart[single] < 1e-6):.4%} of the states with one root; largest residual "
        f"{np.abs(states.residual / (1 + states.local_speed_ratio)).max():.1e}"
    )


if __name__ == "__main__":
    main()
