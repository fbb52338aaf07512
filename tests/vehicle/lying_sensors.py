"""Logs of an invented car whose sensors, clock and logger lie in known ways. Shares no code with windtoll.

The drive is a random walk of wanted speeds over hills, in five gears; engine pressures and loads follow from the force
at the wheels. All numbers are invented, of the size that a middle-sized car with a petrol engine has.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

KM_H_PER_1000_RPM = (7.8, 14.2, 21.0, 28.5, 37.5)  # five gears of an invented car
_MASS_KG, _PEAK_TORQUE_N_M, _LITRES = 1500.0, 165.0, 1.6
BAROMETER_KPA = 98.0


@dataclass
class Drive:
    """One drive, one value a row: names are those that stand in the header of `csv`."""

    time_s: np.ndarray
    columns: dict[str, np.ndarray] = field(default_factory=dict)

    def csv(self, header: dict[str, str] | None = None, clock: str = "time", times: np.ndarray | None = None) -> str:
        """Return the log as a logger writes it: numbers as short as they are, NaN as an empty cell."""
        header = header or {}
        names = [header.get(name, name) for name in self.columns]
        rows = [",".join([clock, *names])]
        for place, second in enumerate(self.time_s if times is None else times):
            cells = [values[place] for values in self.columns.values()]
            rows.append(",".join([f"{second:.12g}", *("" if np.isnan(cell) else f"{cell:.6g}" for cell in cells)]))
        return "\n".join(rows) + "\n"

    def metres(self) -> float:
        """Return the true way, from the speed before any rounding."""
        return self.true_metres

    true_metres: float = 0.0
    true_litres: float = 0.0


def wandering_speed(draw: np.random.Generator, seconds: np.ndarray, kind: str) -> np.ndarray:
    """Return a speed in m/s: town with stops, or a motorway with slow drift."""
    step = seconds[1] - seconds[0]
    wanted, speed, out = 14.0, 0.0, []
    for _ in seconds:
        if draw.random() < step / (25 if kind == "town" else 60):
            wanted = draw.choice([0, 8, 14, 19]) if kind == "town" else draw.normal(27, 3)
        pull = min(max(0.35 * (wanted - speed), -1.8), 1.5 if speed < 15 else 0.7)
        speed = max(0.0, speed + step * pull + step * draw.normal(0, 0.15))
        out.append(speed)
    return np.array(out)


def drive(
    seed: int, *, seconds: float = 900, step_s: float = 1.0, kind: str = "mixed", boost: float = 1.0, scale: float = 1.0
) -> Drive:
    """Return a drive; `kind` is town, motorway or mixed, `boost` what a compressor makes of the torque (1: none).

    `scale` stretches all gears: 1.5 is the long gearing of a diesel.
    """
    draw = np.random.default_rng(seed)
    time_s = np.arange(0, seconds, step_s)
    half = time_s.size // 2
    speed = wandering_speed(draw, time_s, "motorway" if kind == "motorway" else "town")
    if kind == "mixed":
        speed[half:] = wandering_speed(draw, time_s[half:], "motorway")
    accel = np.gradient(speed, step_s)
    grade = 0.015 * np.sin(2 * np.pi * time_s / 140 + draw.uniform(0, 6))
    force = 190 + 0.42 * speed**2 + _MASS_KG * (9.81 * grade + 1.05 * accel)
    ratios = scale * np.array(KM_H_PER_1000_RPM)
    gear = np.digitize(3.6 * speed, scale * np.array([20.0, 36, 52, 68]))
    rpm = np.where(speed < 1.5, 780.0, np.maximum(900.0, 1000 * 3.6 * speed / ratios[gear])) + draw.normal(
        0, 6, time_s.size
    )
    torque = np.maximum(force, -300) * speed / (rpm * np.pi / 30) / 0.92
    share = np.clip(0.16 + 0.84 * torque / (_PEAK_TORQUE_N_M * boost), 0.06, 1.0) + draw.normal(0, 0.008, time_s.size)
    share = np.clip(share, 0.04, 1.0)
    pressure = np.clip(BAROMETER_KPA * boost * share, 18, None) + draw.normal(0, 0.5, time_s.size)
    air = 0.78 * pressure * 1e3 / (287 * 303) * _LITRES * 1e-3 * rpm / 120 * 1e3  # g/s
    result = Drive(time_s)
    result.columns = {
        "speed": np.round(3.6 * speed),
        "rpm": np.round(rpm * 4) / 4,
        "engine load": np.round(255 * share) / 2.55,
        "map": np.round(np.minimum(pressure, 254)),
        "maf": np.round(air, 2),
        "throttle": np.round(255 * (0.14 + 0.7 * share**1.5)) / 2.55,
        "intake temperature": np.full(time_s.size, 30.0),
        "barometric pressure": np.full(time_s.size, BAROMETER_KPA),
    }
    result.true_metres = float(speed.sum() * step_s)
    result.true_litres = float((air / 14.7 / 745).sum() * step_s)
    return result


def with_rows(one: Drive, name: str, rows: np.ndarray, value: float) -> Drive:
    """Return the drive with `value` in some rows of one column."""
    changed = one.columns[name].copy()
    changed[rows] = value
    return Drive(one.time_s, {**one.columns, name: changed}, one.true_metres, one.true_litres)


def frozen(one: Drive, name: str, start: int, stop: int) -> Drive:
    """Return the drive with one column standing still from one row to another."""
    return with_rows(one, name, np.arange(start, stop), one.columns[name][start])


def only(one: Drive, *names: str) -> Drive:
    """Return the drive with these columns alone."""
    return Drive(one.time_s, {name: one.columns[name] for name in names}, one.true_metres, one.true_litres)
