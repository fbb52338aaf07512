"""The spin-up in the shop, step by step: motor, energy, linkage, bearing, what shakes; and a log of it read back."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from energy.electrical import open_load, shaft_torque_n_m
from energy.scenario.read import Scenario
from energy.strength.cases import Conditions, Rig, both_cases, rig_of
from energy.strength.equations import imbalance_force_n
from energy.strength.linkage import PitchedBlades, pitched_blades, travel_of
from energy.strength.table import Ladder, Rung, spin_up_ladder
from vehicle.problems import InputError, Problem
from vehicle.tables import increasing, read_table
from vehicle.units import QuantityError, parse

# Drag coefficient of a section along the rotor plane, without and with an angle to it (common practice, no source).
_SMOOTH_DRAG, _ANGLED_DRAG = 0.03, 1.2
_MOTOR_RESERVE = 2.0  # drag of blades in their own wash is known within that factor (common practice, no source)
NEAR = 0.2  # share of a critical speed within which no one stays (common practice, no source)
DAMPING = 0.03  # share of critical damping of a bolted steel frame (common practice, no source)
# Vibration velocity, root mean square, to watch and to stop at (zones of ISO 20816-1, from memory).
WATCH_M_S, STOP_M_S = 4.5e-3, 7.1e-3
_ROWS, _FINEST_BINS, _CLEAR = 32, 4, 20.0
_AWAY = 0.3  # of the natural frequency: nearer than that damping decides, and no imbalance is read off


@dataclass(frozen=True)
class NaturalFrequency:
    """The mount's first natural frequency (Hz) with how far it may be off (Hz), and what it comes from."""

    hz: float
    off_hz: float
    source: str


@dataclass(frozen=True)
class SpinStep:
    """One step (SI): what the driving motor must give, what the rotor holds, linkage and bearing.

    `motor_torque_n_m` includes the reserve. `thrown_m_s` and `thrown_j` are speed and energy of one blade that leaves.
    `actuator_n` is None without a linkage; `amplification` is the shaking of the mount over that of a stiff one, None
    without a natural frequency. `near_critical` marks a speed at which no one stays.
    """

    rotor_speed_rad_s: float
    motor_torque_n_m: float
    motor_w: float
    energy_j: float
    thrown_m_s: float
    thrown_j: float
    actuator_n: float | None
    bearing_n: float
    amplification: float | None
    near_critical: bool


@dataclass(frozen=True)
class SpinUp:
    """The ladder with all of its steps; critical speeds (rad/s) by how often a turn they are shaken."""

    ladder: Ladder
    steps: tuple[SpinStep, ...]
    blade_mass_kg: float
    generator_turns: bool
    natural: NaturalFrequency | None
    critical_rad_s: dict[int, float]

    @property
    def top_rad_s(self) -> float:
        """Rotor speed of the last step."""
        return self.steps[-1].rotor_speed_rad_s


@dataclass(frozen=True)
class SpinLog:
    """A log of the spin-up against the plan (SI): maxima, where vibration passed a limit, peak, imbalance seen.

    `stop_from_rad_s` is the lowest rotor speed at which vibration passed the stop limit; `peak_rad_s` where it was
    largest below the top, None where it only rises; `imbalance_kg_m` as seen away from the natural frequency, None
    without one.
    """

    name: str
    top_rad_s: float
    largest_m_s: float
    largest_at_rad_s: float
    stop_from_rad_s: float | None
    peak_rad_s: float | None
    imbalance_kg_m: float | None
    above_ladder: bool


def spin_up(scenario: Scenario, natural: NaturalFrequency | None = None) -> SpinUp:
    """Return the spin-up in the shop.

    Parameters
    ----------
    scenario : Scenario
        With the mass of its blades.
    natural : NaturalFrequency, optional
        The mount's, of a tap test or a stiffness.

    Raises
    ------
    InputError
        Where the scenario does not say what the blades weigh.
    """
    ladder, rig = spin_up_ladder(scenario), rig_of(scenario)
    assert rig.blade is not None
    number = rig.number_of_blades()
    critical = {} if natural is None else {k: 2 * math.pi * natural.hz / k for k in (1, round(number))}
    imbalance = ladder.rungs[-1].imbalance_n / ladder.rungs[-1].rotor_speed_rad_s ** 2
    blades, at = pitched_blades(rig), both_cases(rig).operating
    steps = tuple(
        _step(rig, rung.rotor_speed_rad_s, imbalance, natural, critical, _actuator_n(rig, blades, at, rung))
        for rung in ladder.rungs
    )
    turns = rig.inputs.turbine.chain is not None
    return SpinUp(ladder, steps, rig.blade.mass_kg, turns, natural, critical)


def near(natural: NaturalFrequency) -> float:
    """Return the share of a critical speed within which no one stays: wider where the frequency is not known well."""
    return NEAR + natural.off_hz / natural.hz


def _step(
    rig: Rig,
    speed: float,
    imbalance_kg_m: float,
    natural: NaturalFrequency | None,
    critical: dict[int, float],
    actuator_n: float | None,
) -> SpinStep:
    assert rig.blade is not None
    number, blade = rig.number_of_blades(), rig.blade
    power = still_air_power_w(
        rig.density_kg_m3, rig.radius_m, speed, float(rig.read("rotor.solidity")), _angle_rad(rig)
    )
    torque = power / speed
    chain = rig.inputs.turbine.chain
    if chain is not None:
        torque += float(np.asarray(shaft_torque_n_m(open_load(chain), np.asarray(speed))))
    leaves = speed * blade.first_moment_kg_m / blade.mass_kg
    shaking = float(imbalance_force_n(imbalance_kg_m, speed))
    weight = float(rig.read("bearing.radial_load")) if rig.scenario.bearing is not None else 0.0
    return SpinStep(
        rotor_speed_rad_s=speed,
        motor_torque_n_m=_MOTOR_RESERVE * torque,
        motor_w=_MOTOR_RESERVE * torque * speed,
        energy_j=0.5 * number * blade.inertia_kg_m2 * speed**2,
        thrown_m_s=leaves,
        thrown_j=0.5 * blade.mass_kg * leaves**2,
        actuator_n=actuator_n,
        bearing_n=weight + shaking,
        amplification=None if natural is None else shaking_ratio(speed, 2 * math.pi * natural.hz, DAMPING),
        near_critical=natural is not None and any(abs(speed / at - 1) < near(natural) for at in critical.values()),
    )


def still_air_power_w(
    density_kg_m3: float, radius_m: float, rotor_speed_rad_s: float, solidity: float, angle_rad: float
) -> float:
    """Return the power that blades take when they are driven in still air: rho A Vtip^3 sigma Cd / 8 [1]_.

    Parameters
    ----------
    density_kg_m3, radius_m, rotor_speed_rad_s : float
        Air [kg/m^3], tip radius [m], rotor speed [rad/s].
    solidity : float
        Blade area over swept area sigma [-].
    angle_rad : float
        Angle of the sections to the rotor plane at 70 % of the radius [rad]; its drag is taken as
        0.03 + 1.2 sin^2 (common practice, no source).

    Returns
    -------
    float
        Power [W].

    References
    ----------
    .. [1] Profile power of a hovering rotor, Leishman, Principles of Helicopter Aerodynamics, chapter 2 (from memory).
    """
    drag = _SMOOTH_DRAG + _ANGLED_DRAG * math.sin(angle_rad) ** 2
    return density_kg_m3 * math.pi * radius_m**2 * (rotor_speed_rad_s * radius_m) ** 3 * solidity * drag / 8


def _angle_rad(rig: Rig) -> float:
    """Return the sections' angle to the rotor plane at the scenario's pitch; curves hold no twist."""
    return math.radians(float(np.asarray(rig.inputs.turbine.pitch_deg)))


def _actuator_n(rig: Rig, blades: PitchedBlades | None, operating: Conditions, rung: Rung) -> float | None:
    """Return the maximum force on the actuator over its travel in still air, friction included."""
    if blades is None:
        return None
    travel = travel_of(rig, blades, replace(operating, rotor_speed_rad_s=rung.rotor_speed_rad_s, air_speed_m_s=0.0))
    return float(np.max(np.abs(travel.actuator_n) + np.abs(travel.friction_n)))


def shaking_ratio(rotor_speed_rad_s: float, natural_rad_s: float, damping: float) -> float:
    """Return how much more an imbalance moves a mount than it would without any resonance.

    1 / sqrt((1 - r^2)^2 + (2 zeta r)^2) with r = rotor speed over natural frequency: a mass on a spring (rotating
    unbalance; Thomson, Theory of Vibration with Applications, chapter 3, from memory). At r = 1 that is 1 / (2 zeta).

    Parameters
    ----------
    rotor_speed_rad_s, natural_rad_s : float
        Rotor speed and natural frequency [rad/s].
    damping : float
        Share of critical damping zeta [-].
    """
    ratio = rotor_speed_rad_s / natural_rad_s
    return 1 / math.hypot(1 - ratio**2, 2 * damping * ratio)


def natural_frequency(text: str, scenario: Scenario) -> NaturalFrequency:
    """Return the mount's natural frequency from a tap test as the command line names it: a value, or a CSV file.

    Raises InputError.
    """
    if text.lower().endswith((".csv", ".txt")):
        return tapped(Path(text))
    return stated_frequency(text, scenario.rotor.turbine_mass.value)


def stated_frequency(
    text: str, turbine_mass_kg: float, where: tuple[str, str] = ("command line", "--tap-test")
) -> NaturalFrequency:
    """Return the mount's natural frequency as typed: "7.5 Hz", or its stiffness "40 N/mm" (with the turbine's mass).

    A stiffness k gives sqrt(k / m) / (2 pi), a mass on a spring. Raises InputError that names
    `where`.
    """
    for unit in ("Hz", "N/m"):
        try:
            value = parse(text, unit)
        except QuantityError:
            continue
        if not value > 0:
            break
        if unit == "Hz":
            return NaturalFrequency(value, 0.05 * value, "as stated")
        hz = math.sqrt(value / turbine_mass_kg) / (2 * math.pi)
        return NaturalFrequency(hz, 0.15 * hz, "stiffness and rotor.turbine_mass")
    accepted = 'a frequency ("7.5 Hz"), a stiffness ("40 N/mm") or a CSV with time_s and acceleration_m_s2'
    raise InputError(Problem(*where, f'"{text}"', accepted))


def tapped(path: Path) -> NaturalFrequency:
    """Return the frequency at which a mount rings after a tap, from a phone's accelerometer.

    Columns time and acceleration, or acceleration_x, _y, _z (m/s²). The rows are laid on even times, each axis loses
    its mean; from the hardest hit on (an exponential window, as in tap tests; from memory) the highest peak of the
    summed spectra is read between its bins by a parabola.
    Raises InputError where nothing rings clearly.
    """
    axes = ("acceleration", "acceleration_x", "acceleration_y", "acceleration_z")
    table = read_table(path, {"time": "s"}, optional=dict.fromkeys(axes, "m/s**2"), least_rows=_ROWS)
    accelerations = [table[name] for name in axes if name in table]
    if not accelerations:
        accepted = "acceleration_m_s2, or acceleration_x_m_s2, acceleration_y_m_s2, acceleration_z_m_s2"
        raise InputError(Problem(path.name, "columns", "no acceleration", accepted))
    time = table["time"]
    increasing(path, "time", time)
    step = float(np.median(np.diff(time)))
    even = np.arange(time[0], time[-1], step)
    laid = np.stack([np.interp(even, time, values) for values in accelerations])
    laid -= laid.mean(axis=1, keepdims=True)
    hit = int(np.argmax((laid**2).sum(axis=0)))
    if len(even) - hit < _ROWS:
        hit = 0
    after = even[hit:] - even[hit]
    power = (np.abs(np.fft.rfft(laid[:, hit:] * np.exp(-4 * after / after[-1]))) ** 2).sum(axis=0)
    # Below are slow drift, and fewer than four swings in the whole log: what rings there leaves a flank, and no peak.
    k = _FINEST_BINS + int(np.argmax(power[_FINEST_BINS:]))
    bin_hz = 1 / (len(after) * step)
    usual = float(np.median(power[_FINEST_BINS:]))
    if not power[k] > _CLEAR * usual or k >= len(power) - 1 or power[k - 1] > power[k]:
        accepted = "a log of a sharp tap and its ringing, some seconds long, 50 rows a second or more"
        raise InputError(Problem(path.name, "acceleration", "no frequency stands out", accepted))
    low, middle, high = np.log(np.maximum(power[k - 1 : k + 2], 1e-300))
    shift = 0.5 * (low - high) / (low - 2 * middle + high)
    return NaturalFrequency(float((k + shift) * bin_hz), bin_hz, path.name)


def read_log(path: Path, plan: SpinUp, turbine_mass_kg: float) -> SpinLog:
    """Return what a log of the spin-up shows against the plan.

    Columns rotor_speed (rpm) and vibration (mm/s, root mean square); time may be there. With a natural frequency the
    imbalance is read off speeds well away from it: x = (u/m) r² / |1 - r²| for a mass on a spring without damping.
    Raises InputError.
    """
    table = read_table(path, {"rotor_speed": "rad/s", "vibration": "m/s"}, optional={"time": "s"}, least_rows=3)
    speed, vibration = table["rotor_speed"], table["vibration"]
    problems = [
        Problem(path.name, f"column {name}", f"{values.min():.3g} {unit}", "0 or more")
        for name, values, unit in (("rotor_speed", speed, "rad/s"), ("vibration", vibration, "m/s"))
        if (values < 0).any()
    ]
    if problems or not (speed > 0).any():
        raise InputError(problems or [Problem(path.name, "column rotor_speed", "never above 0", "a rotor that turns")])
    k = int(np.argmax(vibration))
    over = speed[vibration > STOP_M_S]
    top = float(speed.max())
    inside = bool(speed[k] < 0.93 * top) and bool(vibration[k] > 1.3 * np.median(vibration[speed > 0.93 * top]))
    return SpinLog(
        name=path.name,
        top_rad_s=top,
        largest_m_s=float(vibration[k]),
        largest_at_rad_s=float(speed[k]),
        stop_from_rad_s=float(over.min()) if over.size else None,
        peak_rad_s=float(speed[k]) if inside else None,
        imbalance_kg_m=_imbalance_kg_m(speed, vibration, plan.natural, turbine_mass_kg),
        above_ladder=top > plan.top_rad_s * 1.01,
    )


def _imbalance_kg_m(
    speed: np.ndarray, vibration_m_s: np.ndarray, natural: NaturalFrequency | None, mass_kg: float
) -> float | None:
    if natural is None:
        return None
    square = (speed / (2 * math.pi * natural.hz)) ** 2
    use = (speed > 0) & (np.abs(np.sqrt(square) - 1) > _AWAY) & (square > 0.05)
    if use.sum() < 2:
        return None
    amplitude = math.sqrt(2) * vibration_m_s[use] / speed[use]
    return float(np.median(amplitude * mass_kg * np.abs(1 - square[use]) / square[use]))
