"""How often the interval of `windtoll compare` holds the truth, over invented road tests with every fault.

Run as `python tests/benchmarks/road_test_coverage.py [studies a case] [words of case names]`; 300 studies a case are
the final run. One line a case: the share of intervals at 95 % that hold the truth, over all studies and over those
without the warning that the fault deserves; bias, half-width and spread in percent of the fuel (points, where the logs
hold load alone); how often the verdict is wrong in sign.

The share of few studies says little: 100 clean ones held the truth in 94 to 100 of 100, ten times over;
over all 1000 it was 96.2 %, with an error over its printed standard error that scatters by 1.22 where
Student's t for six pairs has 1.29.
The rest is true of the runs and is left in: the effect differs between out and back by the wind of the day, which
widens the scatter of the pairs by a twentieth though it cancels in their mean. Taking it out costs a degree of freedom,
and the interval is no narrower for it.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
sys.path.insert(0, str(ROOT / "tests"))

from road_drives import Case, Drive, Study, study  # noqa: E402

from energy.chain.road_test import RoadTest, road_test  # noqa: E402
from energy.words.road_test import verdict  # noqa: E402
from vehicle.driving.fuels import FUELS  # noqa: E402
from vehicle.logs.fuel_flow import LoggedEngine  # noqa: E402
from vehicle.logs.log import Log  # noqa: E402
from vehicle.road_test.run_list import Manifest, Run  # noqa: E402

CASES: dict[str, tuple[Case, str]] = {
    "clean": (Case(), ""),
    "grade logged": (Case(grade_logged=True), ""),
    "shifts uninterrupted": (Case(interrupted=False, traffic=2.5), ""),
    "speed +2 %": (Case(speed_share=0.02), ""),
    "speed +5 %": (Case(speed_share=0.05), ""),
    "wind +3 m/s, unwritten": (Case(unwritten_wind_m_s=3.0), "the wind is not written down"),
    "wind +3 m/s, written": (Case(unwritten_wind_m_s=3.0, wind_written=True), ""),
    # the share of the fuel that air drag takes differs by a quarter between certified vehicles, by an eighth between
    # these vans: with twice their spread it is as among real vehicles
    "the same, any vehicle": (Case(unwritten_wind_m_s=3.0, wind_written=True, vehicles=2.0), ""),
    "column dies": (Case(dead_column=True), ""),
    "odd run": (Case(odd_run=True), ""),
    "swapped label": (Case(swapped=True), "It is not left out"),
    "control vehicle": (Case(control=True, spread=0.03, unwritten_wind_m_s=1.5), ""),
    "load only": (Case(load_only=True), ""),
    "drift 0.5 % a run": (Case(drift=0.005), ""),
    "three pairs": (Case(pairs=3), ""),
    "town": (Case(town=True), ""),
    "no effect": (Case(extra_drag_n_s2_m2=0.0), ""),
}
TO_SI = {
    "time_s": ("time_s", lambda x: x),
    "speed_km_h": ("speed_m_s", lambda x: x / 3.6),
    "engine_speed_rpm": ("engine_speed_rad_s", lambda x: x * np.pi / 30),
    "load_percent": ("calculated_load", lambda x: x / 100),
    "coolant_degc": ("coolant_temperature_k", lambda x: x + 273.15),
    "fuel_rate_l_h": ("fuel_rate_m3_s", lambda x: x / 3.6e6),
    "air_flow_g_s": ("air_flow_kg_s", lambda x: x / 1000),
    "grade_percent": ("grade", lambda x: x / 100),
}


def log_of(name: str, columns: Mapping[str, np.ndarray]) -> Log:
    """Return logged columns as a tidy log."""
    table = {TO_SI[key][0]: TO_SI[key][1](values) for key, values in columns.items()}
    table["time_s"] = table["time_s"] - table["time_s"][0]
    table["step_s"] = np.append(np.diff(table["time_s"]), 1.0)
    table["quality"] = np.zeros(table["time_s"].size, dtype=int)
    return Log(name, pd.DataFrame(table), (), (), (), "time")


def as_test(case: Case, made: Study) -> tuple[Manifest, dict[str, Log]]:
    """Return a study as a list of runs and its logs by name."""
    logs, runs = {}, []
    for number, drive in enumerate(made.drives, 1):
        name = f"run_{number:02d}.csv"
        logs[name] = log_of(name, drive.columns)
        runs.append(_run(case, drive, name))
        if drive.control is not None:
            runs[-1] = replace(runs[-1], control=Path(f"control_{name}"))
            logs[f"control_{name}"] = log_of(f"control_{name}", drive.control)
    engine = LoggedEngine(1.6e-3, FUELS["petrol"])
    return Manifest(Path("runs.toml"), engine, 1950.0, None, {}, tuple(runs), ()), logs


def _run(case: Case, drive: Drive, name: str) -> Run:
    wind = drive.head_wind_m_s if case.wind_written else None
    return Run(Path(name), drive.state, str(drive.pair), drive.direction, head_wind_m_s=wind)


def compared(case: Case, made: Study) -> RoadTest:
    """Return what windtoll says of a study."""
    test, logs = as_test(case, made)
    return road_test(test, read=lambda path, _columns, _where: logs[path.name])


@dataclass
class Tally:
    """What a case gave, a value a study."""

    held: list[bool]
    warned: list[bool]
    error: list[float]
    half: list[float]
    wrong: list[bool]
    words: list[str]


def tally(case: Case, warning: str, studies: int) -> Tally:
    """Return how the studies of a case came out."""
    out = Tally([], [], [], [], [], [])
    for seed in range(studies):
        made = study(case, seed + 1)
        found = compared(case, made)
        answer = found.answer
        effect, truth = (
            (answer.load_points, made.load_points) if case.load_only else (answer.effect.times(100), 100 * made.effect)
        )
        low, high = effect.ends
        out.held.append(low <= truth <= high)
        text = "\n".join([*verdict(found).lines, *found.warnings])
        out.warned.append(bool(warning) and warning in text)
        out.error.append(effect.estimate - truth)
        out.half.append((high - low) / 2)
        out.wrong.append(low > 0 >= truth or high < 0 <= truth)
        out.words.append(text)
    return out


def main() -> None:
    """Print one line a case."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    names = sys.argv[2:]
    print(
        f"{'case':<24} {'held %':>7} {'unwarned':>9} {'held %':>7} {'bias':>7} {'± 95 %':>7} {'spread':>7} "
        f"{'wrong %':>8} {'s':>6}"
    )
    for name, (case, warning) in CASES.items():
        if names and not any(word in name for word in names):
            continue
        start = time.perf_counter()
        found = tally(case, warning, studies)
        held, warned = np.array(found.held), np.array(found.warned)
        quiet = held[~warned]
        print(
            f"{name:<24} {100 * held.mean():>7.1f} {100 * (~warned).mean():>9.0f} "
            f"{100 * quiet.mean() if quiet.size else np.nan:>7.1f} {np.mean(found.error):>+7.2f} "
            f"{np.mean(found.half):>7.2f} {np.std(found.error):>7.2f} {100 * np.mean(found.wrong):>8.1f} "
            f"{time.perf_counter() - start:>6.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
