"""Invented measurements in the form that the questions about measured ones take, made from a scenario.

What a rotor would have done comes from the scenario's own curves, generator and element; small scatter is drawn with a
fixed seed. Each file says in its first line that it is invented, and what is hidden in it.
"""

from __future__ import annotations

import numpy as np

from energy.chain.ledger import answer, turbine_at_work
from energy.diagnosis.true_pitch import curves_over_pitches
from energy.diagnosis.tuning import lagged
from energy.electrical import ElectricalState
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem, express

HIDDEN_OFFSET_DEG = 1.5  # of the example's dial
_LEAST_AIR_M_S = 8.0  # blown at where the scenario has less air than that
_HOLD_S = 45
_LAG_S = 2.0
_GUSTS = 0.08  # standard deviation of the air speed over its mean
_LEAST_WATTS = 5.0
_LESS_WATTS = 0.93  # of what the scenario predicts
_SEED = 1
_RINGS, _HEAVIER, _TAPPED_HZ = 0.55, 1.8, 7.5  # of the spin-up: its mount, its imbalance, a tap
_SPEED = {"metric": ("km_h", "km/h"), "us": ("mph", "mph"), "uk": ("mph", "mph")}


def measured_example(scenario: Scenario, system: UnitSystem = "metric") -> str:
    """Return a CSV of steady stretches as `true_pitch.read_measured` takes it; the dial reads HIDDEN_OFFSET_DEG too
    little.

    Raises InputError where the scenario has no curves over several pitches, or its rotor does not turn.
    """
    low, high = _dial_range(scenario)
    own = _own_pitch(scenario)
    dials = np.unique(np.clip(own + np.array([-2.0, 0.0, 2.0, 4.0]), low, max(high - HIDDEN_OFFSET_DEG, low)).round(1))
    dial = np.repeat(np.tile(dials, 2), 4)
    air = _air_m_s(scenario) * np.resize([0.8, 0.93, 1.0, 1.1], len(dial))
    pitch = np.minimum(dial + HIDDEN_OFFSET_DEG, high)
    work = turbine_at_work(inputs_of(scenario, {**_in_air(scenario, air), "rotor.pitch": pitch}), with_free_run=False)
    keep = np.flatnonzero((work.rotor_speed_rad_s > 0) & (work.heat_power_w > 0) & ~work.beyond_data)
    if not len(keep):
        raise _standing(scenario)
    draw = np.random.default_rng(_SEED)
    shown = _logged_air(scenario, air) * (1 + 0.01 * draw.normal(size=len(air)))
    watts = np.asarray(work.heat_power_w) * (1 + 0.005 * draw.normal(size=len(air)))
    slug, unit = _SPEED[system]
    lines = [
        "# Invented, not measured: steady stretches of a drive; the true pitch was "
        f"{HIDDEN_OFFSET_DEG:g} degrees more than the dial read.",
        f"time_s,air_speed_{slug},rotor_speed_rpm,electrical_power_w,dial_deg",
    ]
    lines += [
        f"{40 * n},{express(float(shown[k]), unit, 'm/s'):.1f},{work.rotor_speed_rad_s[k] * 30 / np.pi:.0f},"
        f"{watts[k]:.0f},{dial[k]:g}"
        for n, k in enumerate(keep)
    ]
    return "\n".join(lines) + "\n"


def sweep_example(scenario: Scenario, system: UnitSystem = "metric") -> str:
    """Return a CSV of a drive with the pitch (or, with one pitch only, the element) stepped, as `tuning.read_sweep`
    takes it.

    Raises InputError where the scenario has no curves or its rotor does not turn.
    """
    key, column, settings = stepped(scenario)
    mean = _air_m_s(scenario)
    draw = np.random.default_rng(_SEED)
    order = np.concatenate([draw.permutation(len(settings)), draw.permutation(len(settings))])
    place = np.repeat(order, _HOLD_S)
    gust = np.zeros(len(place))
    for k in range(1, len(gust)):
        gust[k] = 0.9 * gust[k - 1] + np.sqrt(1 - 0.81) * draw.normal()
    air = mean * np.clip(1 + _GUSTS * gust, 0.5, 1.5)
    grid = mean * np.linspace(0.5, 1.5, 21)
    airs, values = np.tile(grid, len(settings)), np.repeat(settings, len(grid))
    found = turbine_at_work(inputs_of(scenario, {**_in_air(scenario, airs), key: values}), with_free_run=False)
    heat = np.asarray(found.heat_power_w).reshape(len(settings), len(grid))
    time = np.arange(len(place), dtype=float)
    steady = np.array([np.interp(v, grid, heat[p]) for v, p in zip(air, place, strict=True)])
    if not steady.any():
        raise _standing(scenario)
    watts = np.maximum(lagged(steady, time, _LAG_S) * (1 + 0.01 * draw.normal(size=len(time))), 0)
    slug, unit = _SPEED[system]
    lines = [
        "# Invented, not measured: each setting held twice, in another order the second time; "
        "gusts larger than the effect.",
        f"time_s,{column},air_speed_{slug},electrical_power_w",
    ]
    logged = _logged_air(scenario, air)
    lines += [
        f"{t:.0f},{settings[p]:g},{express(float(v), unit, 'm/s'):.1f},{w:.0f}"
        for t, p, v, w in zip(time, place, logged, watts, strict=True)
    ]
    return "\n".join(lines) + "\n"


def spin_up_example(scenario: Scenario) -> str:
    """Return a CSV of a spin-up in the shop as `spin_up.read_log` takes it: a mount that rings, an imbalance, scatter.

    Raises InputError where the scenario does not say what the blades weigh.
    """
    from energy.strength.spin_up import shaking_ratio, spin_up

    plan = spin_up(scenario)
    top, mass = plan.top_rad_s, scenario.rotor.turbine_mass.value
    natural = _RINGS * top
    imbalance = _HEAVIER * plan.ladder.rungs[-1].imbalance_n / top**2
    speed = np.repeat(np.linspace(0.1, 1.0, 28) * top, 2)
    draw = np.random.default_rng(_SEED)
    ratio = speed / natural
    amplitude = imbalance / mass * ratio**2 * [shaking_ratio(v, natural, 0.05) for v in speed.tolist()]
    vibration = speed * amplitude / np.sqrt(2) * (1 + 0.04 * draw.normal(size=len(speed)))
    lines = [
        f"# Invented, not measured: an imbalance of {_HEAVIER:g} times the planned one, on a mount that rings at "
        f"{natural / (2 * np.pi):.1f} Hz.",
        "time_s,rotor_speed_rpm,vibration_mm_s",
    ]
    lines += [
        f"{10 * k},{v * 30 / np.pi:.0f},{1e3 * shakes:.3f}"
        for k, (v, shakes) in enumerate(zip(speed, vibration, strict=True))
    ]
    return "\n".join(lines) + "\n"


def tap_example() -> str:
    """Return a CSV of a tap on a mount as `spin_up.tapped` takes it: it rings at 7.5 Hz."""
    draw = np.random.default_rng(_SEED)
    time = np.arange(0.0, 6.0, 0.01)
    after = np.maximum(time - 1.0, 0.0)
    swing = np.exp(-1.4 * after) * np.sin(2 * np.pi * _TAPPED_HZ * after) + 0.03 * draw.normal(size=len(time))
    lines = [f"# Invented, not measured: a mount that rings at {_TAPPED_HZ:g} Hz.", "time_s,acceleration_m_s2"]
    return "\n".join([*lines, *(f"{t:.2f},{a:.4f}" for t, a in zip(time, swing, strict=True))]) + "\n"


def results_example(scenario: Scenario) -> str:
    """Return readings as TOML, as `reconcile.read_results` takes them: fewer watts than the scenario predicts, and
    fuel.

    Raises InputError where the scenario predicts no watts.
    """
    here = float(np.asarray(inputs_of(scenario).road_speed_m_s))
    if here > 0:  # fast enough to turn the rotor, where the scenario's own is town driving
        here = max(here, _LEAST_AIR_M_S / scenario.rotor.local_speed_factor.value)
    speeds = np.array([0.85 * here, here])
    found = answer(inputs_of(scenario, {"trip.road_speed": speeds}))
    watts = _LESS_WATTS * np.asarray(found.turbine.electrical_power_w) * np.ones(2)
    if not (watts > _LEAST_WATTS).any():
        raise _standing(scenario)
    lines = [
        f"# Invented, not measured: {100 * (1 - _LESS_WATTS):.0f} % fewer watts than the scenario predicts. "
        "Every reading has its uncertainty, the half-width of a 95 % interval.",
    ]
    for speed, power in zip(speeds, watts, strict=True):
        if power > _LEAST_WATTS:
            words = f'electrical_power = {{ value = "{power:.0f} W", plus_minus = "{max(0.04 * power, 1):.0f} W" }}'
            lines += _result("wattmeter", speed, words)
        if here == 0:  # parked: both would be one
            break
    change = float(np.asarray(found.change.volume_m3_s)[-1]) * 3.6e6
    if found.inputs.fuel is not None and abs(change) > 0.01:
        words = f'fuel_change = {{ value = "{0.95 * change:.2f} L/h", plus_minus = "{0.2 * abs(change):.2f} L/h" }}'
        lines += _result("road test", here, words)
    return "\n".join(lines) + "\n"


def _result(what: str, speed_m_s: float, reading: str) -> list[str]:
    return ["[[result]]", f'what = "{what}"', f'road_speed = "{3.6 * speed_m_s:.1f} km/h"', reading, ""]


def _own_pitch(scenario: Scenario) -> float:
    if scenario.rotor.pitch is not None:
        return scenario.rotor.pitch.value
    assert scenario.curves is not None
    return float(scenario.pitch_convention.setting_deg(scenario.curves.pitch_deg[:1])[0])


def _dial_range(scenario: Scenario) -> tuple[float, float]:
    """Return the least and the greatest reading of the dial that the curves know."""
    ends = scenario.pitch_convention.setting_deg(curves_over_pitches(scenario).pitch_deg[[0, -1]])
    return float(ends.min()), float(ends.max())


def stepped(scenario: Scenario, kind: str | None = None) -> tuple[str, str, np.ndarray]:
    """Return the key that is stepped, its column in a file, and six settings about the scenario's own.

    `kind` is pitch, resistance or ratio; None: the pitch where the curves know several, else the element. Raises
    InputError where the scenario has no curves, or none over several pitches for a pitch.
    """
    if scenario.curves is None or scenario.heater.resistance is None or scenario.generator is None:
        raise InputError(
            Problem(
                scenario.name,
                "rotor.measured_power",
                "a measured table has no setting to step",
                "rotor.curves with [generator] and heater.resistance",
            )
        )
    chosen = kind or ("pitch" if len(scenario.curves.pitch_deg) > 1 else "resistance")
    if chosen == "pitch":
        low, high = _dial_range(scenario)
        own = _own_pitch(scenario)
        return "rotor.pitch", "pitch_deg", np.linspace(max(low, own - 4), min(high, own + 6), 6).round(1)
    key, column = ("drive.ratio", "ratio") if chosen == "ratio" else ("heater.resistance", "resistance_ohm")
    stated = scenario.drive.ratio if chosen == "ratio" else scenario.heater.resistance
    return key, column, np.array([float(f"{stated.value * f:.3g}") for f in np.geomspace(0.5, 2, 6)])


def _air_m_s(scenario: Scenario) -> float:
    """Return the scenario's air speed at the rotor, or enough to turn it."""
    return max(float(np.asarray(inputs_of(scenario).rotor_air_speed_m_s)), _LEAST_AIR_M_S)


def _in_air(scenario: Scenario, air_m_s: np.ndarray) -> dict[str, np.ndarray]:
    """Return the draws that blow at the rotor with given air speeds (N,): driven in still air."""
    still = np.zeros_like(air_m_s)
    local = scenario.rotor.local_speed_factor.value
    return {"trip.road_speed": air_m_s / local, "air.wind_speed": still, "air.wind_from": still}


def _logged_air(scenario: Scenario, air_m_s: np.ndarray) -> np.ndarray:
    """Return air speeds at the rotor as the scenario's anemometer has them, which may stand in the free air."""
    if scenario.measurement.air_speed_at == "free_air":
        return air_m_s / scenario.rotor.local_speed_factor.value
    return air_m_s


def _standing(scenario: Scenario) -> InputError:
    return InputError(Problem(scenario.name, "rotor", "no watts in the scenario's air", "a scenario whose rotor turns"))


HIDDEN_AIR_SHARE = 0.7  # of the scenario's air at the rotor, in the example of few watts


def shortfall_example(scenario: Scenario, system: UnitSystem = "metric") -> str:
    """Return readings as a CSV, as `shortfall_readings.read_readings` takes them; the air is slower than assumed.

    Raises InputError where the scenario's rotor gives no watts in that air.
    """
    air = _air_m_s(scenario)
    speeds = air / scenario.rotor.local_speed_factor.value * np.array([1.0, 1.15, 1.3])
    local = {"rotor.local_speed_factor": np.full(3, HIDDEN_AIR_SHARE * scenario.rotor.local_speed_factor.value)}
    still = dict.fromkeys(("air.wind_speed", "air.wind_from"), np.zeros(3))
    work = turbine_at_work(inputs_of(scenario, {"trip.road_speed": speeds, **still, **local}), with_free_run=False)
    if work.electrical is None or not (np.asarray(work.heat_power_w) > _LEAST_WATTS).any():
        raise _standing(scenario)
    slug, unit = _SPEED[system]
    lines = [
        f"# Invented, not measured: the air at the rotor is {HIDDEN_AIR_SHARE:g} times what the scenario says.",
        f"road_speed_{slug},electrical_power_w,rotor_speed_rpm,voltage_v",
    ]
    lines += [
        f"{express(float(v), unit, 'm/s'):.1f},{w:.0f},{t * 30 / np.pi:.0f},{u:.1f}"
        for v, w, t, u in zip(
            speeds, work.heat_power_w, work.rotor_speed_rad_s, _terminal_volts(scenario, work.electrical), strict=True
        )
    ]
    return "\n".join(lines) + "\n"


def _terminal_volts(scenario: Scenario, electrical: ElectricalState) -> np.ndarray:
    """Return the volts that a meter reads at the element, between two leads."""
    star = scenario.generator is not None and scenario.generator.connection == "three_phase"
    return np.asarray(electrical.element_voltage_v) * (np.sqrt(3.0) if star else 1.0)
