"""An invented van on an invented road, for the road test: what its engine reports with a rotor stowed and working.

    python tests/vehicle/simulated_van.py scenarios/road_test      writes the demo study anew

Its physics is plain and its own (road load, hills, wind along the road, fuel as a straight line in power), so that a
study driven with it checks windtoll and not itself. All numbers are invented.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

MASS_KG = 2955.0
ROLLING_N = 275.0
DRAG_N_S2_M2 = 0.945  # body and frame, with the rotor stowed
ROTOR_N_S2_M2 = 0.36  # what the working rotor adds: the known load that a study has to find
IDLE_L_H = 1.53
L_H_PER_W = 2.37e-4
RPM_PER_KM_H = 1000 / 58
HEADINGS = {"north": 1, "south": -1}


@dataclass(frozen=True)
class Drive:
    """One run: state of the turbine, pair, heading, wind from the north in m/s, and what differs by chance."""

    state: str
    pair: int
    heading: str
    wind_m_s: float
    speed_km_h: float
    engine_factor: float  # fuel of this run against the model: filters, fuel temperature, traffic
    phase: float


def study(pairs: int, seed: int, *, wind_m_s: float = 2.5, spread: float = 0.006) -> list[Drive]:
    """Return the runs in driving order: blocks A B B A and B A A B, north and south in turn, in a changing wind."""
    draw = np.random.default_rng(seed)
    drives = []
    for block in range((pairs + 1) // 2):
        order = (
            ("working", "stowed", "stowed", "working") if block % 2 == 0 else ("stowed", "working", "working", "stowed")
        )
        for place, state in enumerate(order):
            heading = "north" if place % 2 == 0 else "south"
            drives.append(
                Drive(
                    state,
                    2 * block + 1 + place % 2,
                    heading,
                    round(wind_m_s + draw.normal(0, 0.25), 1),
                    98 + draw.normal(0, 0.5),
                    1 + draw.normal(0, spread / np.sqrt(2)),
                    draw.uniform(0, 6),
                )
            )
    return drives


def fuel_l_h(drive: Drive, time_s: np.ndarray, hill_s: float, *, state: str = "") -> tuple[np.ndarray, np.ndarray]:
    """Return speed in km/h and fuel flow in L/h; `state` in place of the drive's own gives what it would have burnt.

    `hill_s` is the time between two hilltops: short, it packs a long road into a short run.
    """
    speed = drive.speed_km_h + 1.5 * np.sin(2 * np.pi * time_s / (1.3 * hill_s) + drive.phase)
    v = speed / 3.6
    grade = 0.012 * np.sin(2 * np.pi * time_s / hill_s) * HEADINGS[drive.heading]
    air = v + drive.wind_m_s * HEADINGS[drive.heading]
    drag = DRAG_N_S2_M2 + (ROTOR_N_S2_M2 if (state or drive.state) == "working" else 0.0)
    force = ROLLING_N + drag * air**2 + MASS_KG * (9.81 * grade + np.gradient(v, time_s))
    return speed, np.maximum(IDLE_L_H + L_H_PER_W * force * v, 0.0) * drive.engine_factor


def true_effect(drives: list[Drive], time_s: np.ndarray, hill_s: float) -> float:
    """Return what the rotor costs over these very drives, as a share of the fuel that they would burn without it."""
    fuel = {
        state: sum(fuel_l_h(drive, time_s, hill_s, state=state)[1].mean() for drive in drives)
        for state in ("working", "stowed")
    }
    return float(fuel["working"] / fuel["stowed"] - 1)


def raw_integers(drive: Drive, time_s: np.ndarray, hill_s: float) -> dict[str, list[float]]:
    """Return what the engine sends over time, as raw numbers of SAE J1979, for the emulated car."""
    speed, fuel = fuel_l_h(drive, time_s, hill_s)
    load = 0.03 + 0.05 * fuel
    return {
        "time_s": time_s.tolist(),
        "0D": speed.tolist(),
        "0C": (4 * RPM_PER_KM_H * speed).tolist(),
        "5E": (20 * fuel).tolist(),
        "04": (255 * load).tolist(),
    }


STEADY = {"05": 88 + 40, "0F": 24 + 40, "46": 14 + 40, "33": 100, "42": 14100, "1F": 1800}


def write_demo(folder: Path) -> None:
    """Write twelve logs as the recorder writes them, and their manifest."""
    from vehicle.recording.row_file import COLUMNS

    draw = np.random.default_rng(3)
    started = datetime(2026, 5, 2, 8, 10, tzinfo=UTC)
    time_s = np.arange(0, 300, 2.0)
    text = [
        "# An invented road test: twelve runs of the van of ../van_water_tank, six pairs, "
        "north and south on one road.\n"
        "# No vehicle was driven and no engine logged for it. Try: windtoll compare runs.toml\n\n"
        '[vehicle]\nname = "touring van (invented)"\nmass = "2955 kg"\n\n'
        '[engine]\nfuel = "diesel"\ndisplacement = "2.2 L"\n'
    ]
    for drive in study(6, seed=5, spread=0.03):
        name = f"{started:%Y-%m-%d_%H%M%S}_{drive.state}.csv"
        speed, fuel = fuel_l_h(drive, time_s, 75.0)
        fuel = fuel * (1 + draw.normal(0, 0.03, fuel.size))
        rows = [",".join(COLUMNS)]
        for second, v, f in zip(time_s, speed, fuel, strict=True):
            jitter = draw.uniform(0, 0.02)
            cells = dict.fromkeys(COLUMNS, "") | {
                "time_s": f"{second + jitter:.4f}",
                "row_duration_s": f"{draw.uniform(0.3, 0.4):.4f}",
                "time_utc": f"{started + timedelta(seconds=second + jitter):%Y-%m-%dT%H:%M:%S}.000Z",
                "state": drive.state,
                "vehicle_speed_km_h": f"{v:.0f}",
                "engine_speed_rpm": f"{RPM_PER_KM_H * v:.0f}",
                "calculated_load_percent": f"{round(255 * (0.03 + 0.05 * f)) / 2.55:.4g}",
                "fuel_rate_l_h": f"{round(20 * f) / 20:g}",
            }
            if second % 10 == 0:
                cells |= {
                    "coolant_temperature_degc": "88",
                    "ambient_air_temperature_degc": "14",
                    "barometric_pressure_kpa": "100",
                }
            rows.append(",".join(cells[column] for column in COLUMNS))
        (folder / name).write_text("\n".join(rows) + "\n")
        text.append(
            f'\n[[run]]\nfile = "{name}"\nstarted = {started:%Y-%m-%dT%H:%M:%SZ}\nstate = "{drive.state}"\n'
            f'pair = {drive.pair}\ndirection = "{drive.heading}"\nwind = "{drive.wind_m_s} m/s"\n'
            'wind_from = "north"\ntemperature = "14 degC"\n'
        )
        started += timedelta(minutes=12)
    (folder / "runs.toml").write_text("".join(text))


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))
    out = Path(sys.argv[1])
    out.mkdir(exist_ok=True)
    write_demo(out)
