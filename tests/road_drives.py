"""Invented road tests with known truth: traffic, gear shifts, gusts and noise, by a model that imports nothing of
windtoll.

A study is a set of runs of one invented van, driven in blocks A B B A out and back, with the rotor stowed and working.
Its physics is its own: road load with hills by place, wind along the road as an autocorrelated series, traffic that
slows the van down, five gears, and an engine whose fuel follows friction and brake torque at each engine speed. Every
fault that a builder's test can have is an option of `Case`. All numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.signal import lfilter

SECONDS = 300
KM_H = 3.6
RPM = 2 * np.pi / 60
FUEL_J_PER_M3 = 32.2e9
DENSITY_KG_M3 = 745.0
AIR_PER_FUEL = 14.7
SPEEDS_RPM = np.array([800.0, 1600.0, 2400.0, 3200.0, 4000.0, 5200.0])
GEAR_RPM_PER_KM_H = np.array([118.0, 66.0, 44.0, 33.0, 27.0])  # first to fifth
SHIFT_UP_KM_H = np.array([18.0, 38.0, 58.0, 76.0])


@dataclass(frozen=True)
class Case:
    """What a study is like, and what goes wrong in it.

    `extra_drag_n_s2_m2` is the rotor's; `spread` the run-to-run deviation of fuel that nothing logged explains; the
    faults: `speed_share` more speed in working runs, `unwritten_wind_m_s` more head wind in working runs in both
    directions, `dead_column` the fuel rate empty after a minute in working runs, `odd_run` a traffic jam in one run,
    `swapped` the two labels of one pair exchanged, `control` a second vehicle in the same air, `load_only` nothing but
    speed, engine speed and calculated load, `drift` of fuel per run along the order, `one_way` all runs out. `town`
    drives are half as fast and stop at lights, some of them for long. `vehicles` scales how far the vans of studies
    differ from each other.
    """

    pairs: int = 6
    extra_drag_n_s2_m2: float = 0.12
    spread: float = 0.012
    noise: float = 0.03
    wind_sd_m_s: float = 0.5
    gust_m_s: float = 0.9
    hill: float = 0.008
    traffic: float = 1.0
    wind_written: bool = False
    grade_logged: bool = False
    interrupted: bool = True
    alternating: bool = True
    speed_share: float = 0.0
    unwritten_wind_m_s: float = 0.0
    dead_column: bool = False
    odd_run: bool = False
    swapped: bool = False
    control: bool = False
    load_only: bool = False
    drift: float = 0.0
    one_way: bool = False
    town: bool = False
    vehicles: float = 1.0


@dataclass(frozen=True)
class Drive:
    """One logged run: what the list says of it, its columns as a logger shows them, and those of a control vehicle.

    `truth` has the mean fuel flow of this very drive with the rotor stowed and working [m3/s], and the mean load.
    """

    state: str
    pair: int
    direction: str
    head_wind_m_s: float
    columns: dict[str, np.ndarray]
    control: dict[str, np.ndarray] | None
    truth: dict[str, tuple[float, float]] = field(repr=False)


@dataclass(frozen=True)
class Study:
    """The drives of a test and the truth: change of fuel as a share, and of load in points; the engine's peak
    torque.
    """

    drives: tuple[Drive, ...]
    effect: float
    effect_m3_s: float
    load_points: float
    peak_torque_n_m: float


@dataclass(frozen=True)
class _Van:
    """An engine and a body."""

    mass_kg: float = 1950.0
    rolling_n: float = 240.0
    drag_n_s2_m2: float = 0.66
    peak_n_m: float = 190.0
    friction_n_m: float = 24.0
    efficiency: float = 0.37


def _wandering(draw: np.random.Generator, shape: tuple[int, int], deviation: float, over_s: float) -> np.ndarray:
    """Return series (runs, seconds) with exponentially falling autocorrelation."""
    keep = np.exp(-1 / over_s)
    steps = draw.normal(0, deviation * np.sqrt(1 - keep**2), shape)
    steps[:, 0] = draw.normal(0, deviation, shape[0])
    series: np.ndarray = lfilter([1.0], [1.0, -keep], steps, axis=1)
    return series


def _order(case: Case) -> list[tuple[str, int, int]]:
    """Return (state, pair, way) in driving order."""
    found = []
    for block in range((case.pairs + 1) // 2):
        first, second = ("working", "stowed") if block % 2 == 0 or not case.alternating else ("stowed", "working")
        block_order = (first, second, second, first) if case.alternating else (first, first, second, second)
        for place, state in enumerate(block_order):
            pair = 2 * block + 1 + place % 2
            if pair <= case.pairs:
                found.append((state, pair, 1 if place % 2 == 0 or case.one_way else -1))
    return found


def _speeds(case: Case, draw: np.random.Generator, working: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Return road speed in m/s (runs, seconds): a target, wandering, hills that slow, lorries that slow."""
    runs = working.size
    time_s = np.arange(SECONDS)
    base = (
        (46 if case.town else 92)
        / KM_H
        * (1 + draw.normal(0, 0.006, (runs, 1)))
        * (1 + case.speed_share * working[:, None])
    )
    speed = base + _wandering(draw, (runs, SECONDS), 0.45, 25.0)
    for run in range(runs):
        for _ in range(draw.poisson(1.0 * case.traffic)):
            at, length, depth = draw.uniform(20, SECONDS - 60), draw.uniform(15, 45), draw.uniform(0.08, 0.4)
            speed[run] *= 1 - depth * 0.25 * (1 + np.tanh((time_s - at) / 5)) * (
                1 - np.tanh((time_s - at - length) / 7)
            )
        for _ in range(draw.poisson(5.0 if case.town else 0.0)):
            at, standing = draw.uniform(10, SECONDS - 20), np.exp(draw.normal(2.5, 0.7))
            speed[run] *= 1 - 0.25 * (1 + np.tanh((time_s - at) / 4)) * (1 - np.tanh((time_s - at - standing) / 4))
    if case.odd_run:
        run = int(draw.integers(runs))
        crawl = 0.5 * (1 + np.tanh((time_s - 70) / 6)) * 0.5 * (1 - np.tanh((time_s - 230) / 8))
        speed[run] = speed[run] * (1 - 0.83 * crawl) + crawl * 2.5 * np.abs(np.sin(time_s / 9))
    hills = _grade(speed, way, case.hill)
    return np.maximum(speed - 60 * lfilter([0.1], [1, -0.9], hills, axis=1), 0.5)


def _grade(speed: np.ndarray, way: np.ndarray, size: float) -> np.ndarray:
    """Return the grade (runs, seconds) by place along one road, driven one way or the other."""
    gone = np.cumsum(speed, axis=1)
    place = np.where(way[:, None] > 0, gone, 7600 - gone)
    rise = np.sin(place / 310) + 0.6 * np.sin(place / 117 + 1) + 0.5 * np.sin(place / 720 + 2)
    return way[:, None] * size * rise


def _gears(speed: np.ndarray) -> np.ndarray:
    """Return the gear (runs, seconds), 0 to 4, with a band in which the lower or higher one is kept."""
    gear = np.full(speed.shape, 4)
    now = np.full(speed.shape[0], 4)
    for second in range(speed.shape[1]):
        v = speed[:, second] * KM_H
        up = (now < 4) & (v > SHIFT_UP_KM_H[np.minimum(now, 3)] + 3)
        down = (now > 0) & (v < SHIFT_UP_KM_H[np.maximum(now - 1, 0)] - 3)
        now = now + up.astype(int) - down.astype(int)
        gear[:, second] = now
    return gear


def _full_torque(van: _Van, rpm: np.ndarray) -> np.ndarray:
    return van.peak_n_m * np.interp(rpm, SPEEDS_RPM, [0.62, 0.84, 0.95, 1.0, 0.99, 0.86])


def _driven(
    van: _Van, case: Case, speed: np.ndarray, grade: np.ndarray, air: np.ndarray, extra: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return fuel flow [m3/s], load [share] and engine speed [rpm] (runs, seconds), before noise."""
    gear = _gears(speed)
    rpm = np.maximum(GEAR_RPM_PER_KM_H[gear] * speed * KM_H, 850.0)
    accelerating = np.gradient(speed, axis=1)
    drag = (van.drag_n_s2_m2 + extra[:, None]) * air * np.abs(air)
    force = van.rolling_n + drag + van.mass_kg * (9.81 * grade + 1.05 * accelerating)
    power = force * speed / 0.93 + 450.0  # alternator and pumps
    torque = power / (rpm * RPM)
    full = _full_torque(van, rpm)
    friction = van.friction_n_m * (0.75 + 0.25 * rpm / 2400)
    indicated = np.clip(torque + friction, 0.0, full + friction)
    if case.interrupted:
        shifting = np.zeros(speed.shape, dtype=bool)
        shifting[:, 1:] = np.diff(gear, axis=1) != 0
        indicated = np.where(shifting, 0.25 * friction, indicated)
    fuel = indicated * rpm * RPM / (van.efficiency * FUEL_J_PER_M3)
    return fuel, indicated / (full + friction), rpm


def study(case: Case, seed: int) -> Study:
    """Return one test of a case, the same for the same seed; every study has a van of its own."""
    draw = np.random.default_rng(seed)
    order = _order(case)
    working = np.array([state == "working" for state, _, _ in order], dtype=float)
    way = np.array([direction for _, _, direction in order], dtype=float)
    shape = (len(order), SECONDS)
    van = _Van(
        rolling_n=240 * np.exp(draw.normal(0, 0.15 * case.vehicles)),
        drag_n_s2_m2=0.66 * np.exp(draw.normal(0, 0.2 * case.vehicles)),
        peak_n_m=190 * np.exp(draw.normal(0, 0.08)),
        friction_n_m=24 * np.exp(draw.normal(0, 0.15 * case.vehicles)),
    )
    day = draw.normal(0, 2.0)
    wind = way * (day + draw.normal(0, case.wind_sd_m_s, len(order))) + case.unwritten_wind_m_s * working
    speed = _speeds(case, draw, working, way)
    grade = _grade(speed, way, case.hill)
    air = speed + wind[:, None] + _wandering(draw, shape, case.gust_m_s, 12.0)
    fuels, loads = {}, {}
    for state, share in (("stowed", 0.0), ("working", 1.0)):
        extra = np.full(len(order), share * case.extra_drag_n_s2_m2)
        fuels[state], loads[state], rpm = _driven(van, case, speed, grade, air, extra)
    weather = 1 + draw.normal(0, case.spread, (len(order), 1)) + case.drift * np.arange(len(order))[:, None]
    ripple = 1 + _wandering(draw, shape, case.noise, 8.0)
    is_working = working[:, None] > 0
    fuel = np.where(is_working, fuels["working"], fuels["stowed"]) * weather * ripple
    load = np.clip(np.where(is_working, loads["working"], loads["stowed"]) * weather * ripple, 0, 1)
    other = _control(case, draw, speed, grade, air, weather) if case.control else [None] * len(order)
    states = [state for state, _, _ in order]
    if case.swapped:
        chosen = order[int(draw.integers(len(order)))][1]
        flip = {"working": "stowed", "stowed": "working"}
        states = [flip[state] if pair == chosen else state for state, pair, _ in order]
    drives = tuple(
        Drive(
            states[run],
            order[run][1],
            "out" if way[run] > 0 else "back",
            float(round(wind[run], 1)),
            _columns(case, draw, speed[run], rpm[run], fuel[run], load[run], grade[run], working[run] > 0),
            other[run],
            {
                "stowed": (
                    float((fuels["stowed"] * weather)[run].mean()),
                    float((loads["stowed"] * weather)[run].mean()),
                ),
                "working": (
                    float((fuels["working"] * weather)[run].mean()),
                    float((loads["working"] * weather)[run].mean()),
                ),
            },
        )
        for run in range(len(order))
    )
    without = np.array([drive.truth["stowed"] for drive in drives]).mean(axis=0)
    with_it = np.array([drive.truth["working"] for drive in drives]).mean(axis=0)
    return Study(
        drives,
        float(with_it[0] / without[0] - 1),
        float(with_it[0] - without[0]),
        float(100 * (with_it[1] - without[1])),
        van.peak_n_m,
    )


def _control(
    case: Case, draw: np.random.Generator, speed: np.ndarray, grade: np.ndarray, air: np.ndarray, weather: np.ndarray
) -> list[dict[str, np.ndarray]]:
    """Return the logs of a second vehicle that drives a few hundred metres behind: same air, same traffic, no rotor."""
    van = _Van(mass_kg=1700, rolling_n=215, drag_n_s2_m2=0.64, peak_n_m=175, efficiency=0.36)
    fuel, load, rpm = _driven(van, case, speed, grade, air, np.zeros(len(speed)))
    own = weather * (1 + draw.normal(0, 0.004, weather.shape)) * (1 + _wandering(draw, speed.shape, case.noise, 8.0))
    return [
        _columns(case, draw, speed[run], rpm[run], (fuel * own)[run], (load * own)[run], grade[run], False)
        for run in range(len(speed))
    ]


def _columns(
    case: Case,
    draw: np.random.Generator,
    speed: np.ndarray,
    rpm: np.ndarray,
    fuel: np.ndarray,
    load: np.ndarray,
    grade: np.ndarray,
    working: bool,
) -> dict[str, np.ndarray]:
    """Return what a logger shows of one run, in the steps that adapters send, in the units that loggers use."""
    litres_per_hour = fuel * 3.6e6
    columns = {
        "time_s": np.arange(SECONDS) + draw.uniform(0, 0.05, SECONDS),
        "speed_km_h": np.round(speed * KM_H),
        "engine_speed_rpm": np.round(rpm * 4) / 4,
        "load_percent": np.round(load * 255) / 2.55,
    }
    if case.grade_logged:
        columns["grade_percent"] = 100 * grade
    if case.load_only:
        return columns
    columns["coolant_degc"] = np.full(SECONDS, 89.0)
    columns["fuel_rate_l_h"] = np.round(litres_per_hour / 0.05) * 0.05
    if case.dead_column:
        columns["air_flow_g_s"] = np.round(fuel * DENSITY_KG_M3 * AIR_PER_FUEL * 1e5) / 100
        if working:
            columns["fuel_rate_l_h"][60:] = np.nan
    return columns
