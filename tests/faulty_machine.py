"""A small rotor, belt, generator and element of its own, with faults, gusts and misread instruments.

Nothing here comes from the package: the power coefficient is the exponential form found in textbooks on wind-power
control (Heier; from memory) with constants of our own, the generator an ideal source behind a resistance, the speed is
found on a grid. All machines and numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

CAUSES = ("pitch", "local_air", "blades", "stall", "generator", "element", "belt", "wiring", "wind", "meter")
RADIUS, DENSITY, LOCAL, RATIO, BELT = 0.9, 1.225, 0.80, 2.5, 0.95
VOLTS, WINDING, LEAD, ELEMENT, DROP, FRICTION, DIAL = 0.573, 0.8, 0.05, 12.0, 1.8, 0.15, 4.0
_BRIDGE = 1.3505  # mean of a six-pulse bridge over the rms voltage between lines
_SPEEDS = np.concatenate([[0.0], np.geomspace(0.5, 260, 420)])
# Fault -> (parameter, from, to) of one case; drawn evenly in the logarithm, or evenly where it crosses zero.
FAULTS: dict[str, tuple[tuple[str, float, float], ...]] = {
    "pitch": (("pitch", 4.0, 14.0), ("pitch", -9.0, -3.5)),
    "local_air": (("local", 0.4, 0.8),),
    "blades": (("power", 0.25, 0.7),),
    "stall": (("stalled", 1.0, 1.0),),
    "generator": (("volts", 0.45, 0.8), ("volts", 2 / 3, 2 / 3), ("winding", 5.0, 18.0)),
    "element": (("element", 1.6, 7.0), ("element", 0.2, 0.5)),
    "belt": (("slip", 0.2, 0.65),),
    "wiring": (("lead", 0.3, 2.0),),
    "wind": (("tail", 3.5, 9.0),),
    "meter": (("meter", 0.35, 0.78),),
}
_RIGHT = {"pitch": 0.0, "local": 1.0, "power": 1.0, "stalled": 0.0, "volts": 1.0, "winding": 1.0, "element": 1.0}
_RIGHT |= {"slip": 0.0, "lead": 0.0, "tail": 0.0, "meter": 1.0, "side": 0.0, "friction": 1.0}


def power_coefficient(ratio: np.ndarray, pitch_deg: np.ndarray) -> np.ndarray:
    """Return Cp of the invented blades: best near a tip-speed ratio of 5, hardly any torque below 1.5."""
    over = np.maximum(ratio, 0.02) / 0.62
    steep = np.maximum(pitch_deg, 0.0) * 1.1 + np.maximum(-pitch_deg, 0.0) * 0.9
    inverse = 1 / (over + 0.08 * np.maximum(pitch_deg, 0.0)) - 0.035
    found = 0.42 * (116 * inverse - 0.4 * steep - 5) * np.exp(-21 * np.maximum(inverse, 0.0))
    start = 0.010 * ratio * (1 + np.clip(pitch_deg, -5, 20) / 12) * np.exp(-ratio / 2)
    return np.where(ratio > 0, np.clip(found, -0.2, 0.45) + start, 0.0)


def thrust_coefficient(ratio: np.ndarray, pitch_deg: np.ndarray) -> np.ndarray:
    """Return Ct of the invented blades."""
    return np.clip(0.95 * (1 - np.exp(-ratio / 3.5)) * (1 - pitch_deg / 35), 0.05, 1.2) * np.ones_like(ratio)


def write_scenario(folder: Path, *, range_of_local: tuple[float, float] = (0.70, 0.88)) -> Path:
    """Write the machine as its builder would state it; return the scenario's path."""
    ratios, pitches = np.arange(0, 9.01, 0.25), np.arange(-10, 25.1, 1.0)
    rows = ["tip_speed_ratio,pitch_deg,power_coefficient,thrust_coefficient"]
    for pitch in pitches:
        power = power_coefficient(ratios, np.full(len(ratios), pitch))
        thrust = np.maximum(thrust_coefficient(ratios, np.full(len(ratios), pitch)), power * 1.05)
        rows += [f"{r:g},{pitch:g},{p:.5f},{t:.4f}" for r, p, t in zip(ratios, power, thrust, strict=True)]
    (folder / "curves.csv").write_text("# Invented.\n" + "\n".join(rows) + "\n")
    low, high = range_of_local
    text = f"""title = "Invented machine"
[air]
temperature = "15 degC"
pressure = "1013 hPa"
relative_humidity = "0 %"
wind_speed = "0 m/s"
[rotor]
diameter = "{2 * RADIUS} m"
curves = "curves.csv"
pitch = "{DIAL} deg"
turbine_mass = "50 kg"
local_speed_factor = {{ value = {LOCAL}, low = {low}, high = {high} }}
[drive]
ratio = {RATIO}
efficiency = "{100 * BELT:g} %"
[generator]
connection = "rectifier"
voltage_constant = "{VOLTS} V*s/rad"
winding_resistance = "{WINDING} ohm"
winding_inductance = "0 mH"
load_connected = "after_spin_up"
[heater]
resistance = "{ELEMENT} ohm"
[vehicle]
mass = "2500 kg"
drag_area = "1.4 m^2"
[engine]
fuel = "diesel"
displacement = "2 L"
peak_torque = "300 N*m"
speed_per_1000_rpm = ["10 km/h", "25 km/h", "45 km/h"]
[trip]
road_speed = "90 km/h"
"""
    path = folder / "scenario.toml"
    path.write_text(text)
    return path


def steady(machine: dict[str, Any], road: np.ndarray, dial: np.ndarray, heading: np.ndarray) -> dict[str, np.ndarray]:
    """Return what instruments without error would show of machines (K, 1) at readings (R,): arrays (K, R)."""
    given = [np.atleast_2d(np.asarray(machine.get(name, value), float)) for name, value in _RIGHT.items()]
    m = dict(zip(_RIGHT, np.broadcast_arrays(*given), strict=True))
    ahead = road - m["tail"] * np.cos(heading) + m["side"] * np.sin(heading)
    air = np.maximum(ahead, 0.3) * LOCAL * m["local"]
    pitch = dial + m["pitch"]
    speed = _SPEEDS
    generator = speed * RATIO * (1 - m["slip"][..., None])
    element, lead = ELEMENT * m["element"], LEAD + m["lead"] * ELEMENT
    winding = WINDING * m["winding"]
    driving = _BRIDGE * VOLTS * m["volts"][..., None] * generator - DROP
    current = np.maximum(driving, 0.0) / (element + lead + winding)[..., None]
    torque = (current**2 * (element + lead + winding)[..., None] + DROP * current) / np.maximum(generator, 1e-6)
    torque = (torque + FRICTION * m["friction"][..., None] + 0.0007 * generator) * RATIO / BELT
    ratio = speed * RADIUS / air[..., None]
    wind = 0.5 * DENSITY * np.pi * RADIUS**2 * air[..., None] ** 3
    power = power_coefficient(ratio, np.broadcast_to(pitch[..., None], ratio.shape)) * m["power"][..., None] * wind
    excess = power / np.maximum(speed, 1e-6) - torque
    gain = excess > 0
    stable = gain[..., :-1] & ~gain[..., 1:]
    fast = stable.shape[-1] - 1 - np.argmax(stable[..., ::-1], axis=-1)
    slow = np.argmax(stable, axis=-1)
    slow = np.where(gain[..., 1], slow, 0)  # no torque to start with: it stands
    some = stable.any(axis=-1)
    place = np.where(m["stalled"] > 0.5, slow, np.where(some, fast, 0))
    turn = _between(excess, place)
    driving = np.maximum(_BRIDGE * VOLTS * m["volts"] * turn * RATIO * (1 - m["slip"]) - DROP, 0.0)
    amps = driving / (element + lead + winding)
    watts = amps**2 * element
    push = thrust_coefficient(turn * RADIUS / air, np.broadcast_to(pitch, air.shape)) * (0.4 + 0.6 * m["power"])
    return {
        "electrical_power_w": watts * m["meter"],
        "rotor_speed_rpm": turn * 30 / np.pi,
        "voltage_v": amps * element,
        "current_a": amps,
        "thrust_n": push * 0.5 * DENSITY * np.pi * RADIUS**2 * air**2,
        "air_speed_m_s": air * np.ones_like(turn),
        "free_air_speed_m_s": np.maximum(ahead, 0.3) * np.ones_like(turn),
        "true_w": watts,
        "two_speeds": np.where(some, fast > slow, False).astype(float),
    }


def _between(excess: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Return the speed where the excess torque crosses zero after a place of the grid; 0 where it stands."""
    here, after = (np.take_along_axis(excess, k[..., None], -1)[..., 0] for k in (place, place + 1))
    share = np.where(place > 0, here / np.where(place > 0, here - after, 1.0), 0.0)
    return _SPEEDS[place] + share * (_SPEEDS[place + 1] - _SPEEDS[place])


LITTLE = ("electrical_power_w",)
SOME = ("electrical_power_w", "rotor_speed_rpm", "voltage_v")
MUCH = (*SOME, "current_a", "air_speed_m_s", "free_air_speed_m_s", "thrust_n")
# Of ln(shown), one standard deviation: shared by all readings of an instrument, and of one reading.
NOISE = {"electrical_power_w": (0.02, 0.03), "rotor_speed_rpm": (0.01, 0.01), "voltage_v": (0.015, 0.01)}
NOISE |= {"current_a": (0.02, 0.015), "thrust_n": (0.05, 0.05), "air_speed_m_s": (0.02, 0.03)}
NOISE |= {"free_air_speed_m_s": (0.02, 0.03)}


@dataclass(frozen=True)
class Case:
    """One invented case: its true causes, the columns of its readings, and the machine behind them."""

    causes: tuple[str, ...]
    columns: dict[str, np.ndarray]
    machine: dict[str, float] = field(default_factory=dict)

    def some(self, places: tuple[int, ...]) -> Case:
        """Return the case with some of its readings."""
        return replace(self, columns={name: values[list(places)] for name, values in self.columns.items()})

    def write(self, path: Path) -> Path:
        """Write the readings as a passenger's file."""
        rows = [",".join(self.columns)]
        rows += [",".join(f"{v[k]:.5g}" for v in self.columns.values()) for k in range(len(self.columns["time_s"]))]
        path.write_text("\n".join(rows) + "\n")
        return path


def drawn_fault(cause: str, draw: np.random.Generator) -> tuple[str, float]:
    """Return the parameter of one fault and its value."""
    name, low, high = FAULTS[cause][draw.integers(len(FAULTS[cause]))]
    if low <= 0 or name == "pitch":
        return name, float(draw.uniform(low, high))
    return name, float(low * (high / low) ** draw.uniform())


def case(causes: tuple[str, ...], seed: int, read: tuple[str, ...], short: float = 0.75) -> Case:
    """Return an invented case whose watts are short enough to be asked about.

    With `MUCH` the passenger drives three speeds, two dial settings, both ways: twelve readings.
    """
    draw = np.random.default_rng([seed, *(CAUSES.index(c) for c in causes)])
    rich = read == MUCH
    road = np.tile([17.0, 21.0, 25.0], 4) if rich else np.array([25.0] if read == LITTLE else [20.0, 25.0])
    dial = np.repeat([DIAL, DIAL + 4.0], 6) if rich else np.full(len(road), DIAL)
    heading = np.tile(np.repeat([0.0, np.pi], 3), 2) if rich else np.zeros(len(road))
    usual = steady({k: np.array([[v]]) for k, v in _RIGHT.items()}, road, dial, heading)["true_w"][0]
    for _ in range(400):
        machine = {
            "local": float(np.exp(draw.normal(0, 0.05))),
            "power": float(np.clip(draw.normal(0.97, 0.06), 0.8, 1.1)),
            "volts": float(np.exp(draw.normal(0, 0.02))),
            "element": float(np.exp(draw.normal(0, 0.02))),
            "winding": float(np.exp(draw.normal(0, 0.05))),
            "friction": float(np.exp(draw.normal(0, 0.3))),
            "pitch": float(draw.normal(0, 0.5)),
            "tail": float(draw.normal(0, 0.8)),
            "side": float(draw.normal(0, 0.8)),
        }
        for cause in causes:
            name, value = drawn_fault(cause, draw)
            machine[name] = value if name in ("pitch", "tail") else machine.get(name, 1.0) * value
        shown = _read(machine, (road, dial, heading), draw)
        asked = shown["electrical_power_w"].sum() < short * usual.sum()
        if asked and ("stall" not in causes or shown["two_speeds"].all()):
            break
    columns = {"time_s": 60.0 * np.arange(len(road)), "road_speed_m_s": road}
    if rich:
        columns |= {"dial_deg": dial, "heading_deg": np.degrees(heading)}
    return Case(causes, {**columns, **{name: shown[name] for name in read}}, machine)


def _read(
    machine: dict[str, float], at: tuple[np.ndarray, np.ndarray, np.ndarray], draw: np.random.Generator
) -> dict[str, np.ndarray]:
    """Return readings: each the mean over what the rotor's inertia leaves of gusts, then the instruments' errors."""
    road, dial, heading = at
    gusts = 1 + 0.03 * draw.normal(size=(24, len(road)))
    one = {k: np.array([[v]]) for k, v in machine.items()}
    mean, found = steady(one, road, dial, heading), steady(one, road * gusts, dial, heading)
    # Its inertia carries a rotor through short gusts: it stays on the branch that the mean air keeps it on.
    same = found["two_speeds"] == mean["two_speeds"]
    count = np.maximum(same.sum(axis=0), 1)
    shown = {k: np.where(same.any(axis=0), (v * same).sum(axis=0) / count, mean[k][0]) for k, v in found.items()}
    for name, (shared, alone) in NOISE.items():
        shown[name] = shown[name] * np.exp(shared * draw.normal() + alone * draw.normal(size=len(road)))
    return shown


# What differs from machine to machine anyway: mean and standard deviation, of the logarithm where a factor.
_ANYWAY = {"local": (0.0, 0.05), "power": (np.log(0.97), 0.06), "volts": (0.0, 0.02), "element": (0.0, 0.02)}
_ANYWAY |= {"winding": (0.0, 0.05), "friction": (0.0, 0.3), "pitch": (0.0, 0.5), "tail": (0.0, 0.8), "side": (0.0, 0.8)}
_ADDED = ("pitch", "tail", "side")
_ALIKE = 9.0  # sum of squares below which noise hides a difference: three standard deviations


def can_be_parted(found: Case, read: tuple[str, ...]) -> bool:
    """Return whether no other single cause, at any severity, would show nearly the same.

    Readings without noise are compared: for each severity of each other cause, what differs from machine to machine
    anyway is moved to meet them (two Gauss-Newton steps). Another cause that comes within what noise does makes it one
    that cannot be parted: a slipping belt, a poor contact and a winding of more ohms lose the same share of the same
    torque's power, whatever is read at the element.
    """
    columns = found.columns
    road, heading = columns["road_speed_m_s"], np.radians(columns.get("heading_deg", np.zeros(len(columns["time_s"]))))
    dial = columns.get("dial_deg", np.full(len(road), DIAL))
    at = road, dial, heading
    truth = steady({k: np.array([[v]]) for k, v in found.machine.items()}, *at)
    spoiled = {name for cause in found.causes for name, _, _ in FAULTS[cause]}
    start = np.array([0.0 if n in spoiled else _score(n, found.machine[n]) for n in _ANYWAY])
    for cause in CAUSES:
        if cause in found.causes:
            continue
        for name, low, high in FAULTS[cause]:
            wide = (low * 0.7, high * 1.3) if low > 0 else (low * 1.3, high * 0.7)
            size = np.linspace(*wide, 24) if low != high else np.array([low])
            if _nearest((name, size), start, (truth, at, read)) < _ALIKE:
                return False
    return True


def _score(name: str, value: float) -> float:
    mean, spread = _ANYWAY[name]
    return float(((value if name in _ADDED else np.log(value)) - mean) / spread)


def _with_fault(name: str, size: np.ndarray, scores: np.ndarray) -> dict[str, np.ndarray]:
    """Return machines (K, 1) of scores (K, N) of what differs anyway, with one fault of sizes (K,)."""
    machine = {n: m + s * scores[:, [k]] for k, (n, (m, s)) in enumerate(_ANYWAY.items())}
    machine = {n: v if n in _ADDED else np.exp(v) for n, v in machine.items()}
    fault = size[:, None]
    before = machine.get(name, np.full_like(fault, _RIGHT[name]))
    machine[name] = before + fault if _RIGHT[name] == 0 else before * fault
    return machine


def _nearest(
    fault: tuple[str, np.ndarray],
    start: np.ndarray,
    of: tuple[dict[str, np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray], tuple[str, ...]],
) -> float:
    """Return the least sum of squares by which a fault misses the truth, unusual machines counted by how unusual."""
    truth, at, read = of
    name, size = fault
    count, own = len(size), len(start)
    scores = np.tile(start, (count, 1))
    best = np.inf
    for step in range(3):
        moved = scores[:, None, :] + np.concatenate([np.zeros((1, own)), 0.5 * np.eye(own)])
        machines = _with_fault(name, np.repeat(size, own + 1), moved.reshape(-1, own))
        miss = _misses(truth, steady(machines, *at), read).reshape(count, own + 1, -1)
        square = (miss[:, 0] ** 2).sum(axis=1) + (scores**2).sum(axis=1) - start @ start
        best = min(best, float(square.min()))
        if step < 2:
            slope = (miss[:, 1:] - miss[:, :1]) / 0.5
            normal = slope @ slope.transpose(0, 2, 1) + np.eye(own)
            pull = np.einsum("kpv,kv->kp", slope, np.einsum("kpv,kp->kv", slope, scores) - miss[:, 0])
            scores = np.clip(np.linalg.solve(normal, pull[..., None])[..., 0], -3, 3)
    return best


def _misses(truth: dict[str, np.ndarray], other: dict[str, np.ndarray], read: tuple[str, ...]) -> np.ndarray:
    """Return how far noiseless readings are apart (K, values) in standard deviations, shared errors as one value."""
    apart = []
    for name in read:
        shared, alone = NOISE[name]
        miss = np.log((other[name] + 1e-3) / (truth[name] + 1e-3))
        mean = miss.mean(axis=1, keepdims=True)
        apart += [mean / np.hypot(shared, 0.03), (miss - mean) / np.hypot(alone, 0.04)]
    return np.concatenate(apart, axis=1)
