"""The spin-up in the shop: steps, when the mount resonates, when to stop, and a log against the plan."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from energy.strength.spin_up import DAMPING, STOP_M_S, WATCH_M_S, near
from energy.words.loads import LADDER_CAUTIONS, ladder_headline, ladder_notes, rungs_data
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.strength.spin_up import SpinLog, SpinUp

STEP_COLUMNS = (
    "rotor speed",
    "motor",
    "torque",
    "energy held",
    "one blade leaves at",
    "actuator",
    "bearing",
    "shakes",
)
STEP_TITLE = "For each step: what drives it, what it holds"
STOP_TITLE = "Stop at once when"


def headlines(spin_up: SpinUp, log: SpinLog | None, system: UnitSystem) -> list[str]:
    """Return danger first: what the log broke, then a critical speed among the steps, then the ladder."""
    said = [] if log is None else log_dangers(spin_up, log, system)
    said += critical_lines(spin_up, system)
    return [*said, ladder_headline(spin_up.ladder, system)]


def log_dangers(spin_up: SpinUp, log: SpinLog, system: UnitSystem) -> list[str]:
    """Return what a log says that must end the spin-up: a limit of vibration or of speed that was passed."""
    said = []
    if log.above_ladder:
        top, last = (show(v, "rotor_speed", system) for v in (log.top_rad_s, spin_up.top_rad_s))
        said.append(f"Do not operate. The log reaches {top}, above the last step of {last}: inspect everything.")
    if log.stop_from_rad_s is not None:
        at = show(log.stop_from_rad_s, "rotor_speed", system)
        said.append(
            f"Do not operate. Vibration passes {1e3 * STOP_M_S:.1f} mm/s from {at}: balance it, tighten the mount, and "
            "spin it up again."
        )
    return said


def critical_lines(spin_up: SpinUp, system: UnitSystem) -> list[str]:
    """Return at which rotor speeds the mount's natural frequency is crossed."""
    if spin_up.natural is None:
        return ["Critical speed: not checked. Give --tap-test (a frequency, a stiffness or a phone's CSV)."]
    said, band = [], near(spin_up.natural)
    for often, speed in sorted(spin_up.critical_rad_s.items()):
        at = show(speed, "rotor_speed", system)
        by = "the imbalance (once a turn)" if often == 1 else f"the blades passing ({often} times a turn)"
        if speed > spin_up.top_rad_s * (1 + band):
            said.append(f"{_hertz(spin_up)} is shaken by {by} only at {at}, above the last step.")
        else:
            ends = (show(speed * f, "rotor_speed", system) for f in (1 - band, 1 + band))
            said.append(
                f"Critical: {_hertz(spin_up)} is shaken by {by} at {at}. Pass from {' to '.join(ends)} quickly; skip "
                "steps in between."
            )
    return said


def _hertz(spin_up: SpinUp) -> str:
    natural = spin_up.natural
    assert natural is not None
    return f"the mount's {figures(natural.hz, 3)} Hz (± {figures(natural.off_hz, 2)} Hz; {natural.source})"


def step_rows(spin_up: SpinUp, system: UnitSystem) -> list[tuple[str, ...]]:
    """Return the steps as rows of text for `STEP_COLUMNS`."""
    return [
        (
            show(s.rotor_speed_rad_s, "rotor_speed", system),
            show(s.motor_w, "power", system, digits=2),
            show(s.motor_torque_n_m, "torque", system, digits=2),
            show(s.energy_j, "kinetic_energy", system),
            f"{show(s.thrown_m_s, 'tip_speed', system, digits=2)}, {figures(s.thrown_j, 2)} J",
            "no linkage" if s.actuator_n is None else show(s.actuator_n, "force", system, digits=2),
            show(s.bearing_n, "force", system, digits=2),
            _shakes(s.amplification, near=s.near_critical),
        )
        for s in spin_up.steps
    ]


def _shakes(amplification: float | None, *, near: bool) -> str:
    if amplification is None:
        return "not known"
    return f"{figures(amplification, 2)} times{', skip' if near else ''}"


def notes(spin_up: SpinUp, system: UnitSystem) -> list[str]:
    """Return what to know of the numbers."""
    generator = "with the generator turning, its load off" if spin_up.generator_turns else "without the generator"
    return [
        *ladder_notes(spin_up.ladder),
        f"Motor: twice the profile drag of the blades in still air at the scenario's pitch, {generator}. Feathered "
        "blades take several times as much: spin up at the working pitch.",
        f"A blade of {show(spin_up.blade_mass_kg, 'mass', system)} that leaves is "
        "a thrown mass at the speed and energy shown; the barrier must stop it, and all blades together (energy held).",
        "Bearing: its stated radial load and the imbalance; still air has no thrust. Actuator: still air, whole "
        "travel.",
        f"Shakes: movement of the mount over that of a stiff one, at {100 * DAMPING:.0f} % damping (common practice, "
        "no source); a mount with several soft directions has a critical speed for each.",
    ]


def stop_rules(spin_up: SpinUp, system: UnitSystem) -> list[str]:
    """Return when to stop."""
    top = show(spin_up.top_rad_s, "rotor_speed", system)
    stop, watch = (show(speed, "vibration", system) for speed in (STOP_M_S, WATCH_M_S))
    return [
        f"vibration passes {stop} root mean square; watch from {watch} (zones of ISO 20816-1, from memory)",
        "vibration doubles within one step, or differs at a speed that was quiet before",
        "the motor's power jumps or passes that of the table",
        "the bearing is too hot to keep a hand on (stopped and locked first), about 60 °C (140 °F)",
        "the pitch moves by itself, or its actuator gets hot or stalls",
        "anything is heard, smelled or shed that was not there before",
        f"rotor speed nears {top}: never above it",
    ]


def log_lines(spin_up: SpinUp, log: SpinLog, system: UnitSystem) -> list[str]:
    """Return what a log shows against the plan."""
    at = show(log.largest_at_rad_s, "rotor_speed", system)
    said = [
        f"{log.name}: up to {show(log.top_rad_s, 'rotor_speed', system)} of "
        f"{show(spin_up.top_rad_s, 'rotor_speed', system)}; largest vibration "
        f"{show(log.largest_m_s, 'vibration', system)} at {at}."
    ]
    if log.peak_rad_s is not None:
        hertz = figures(log.peak_rad_s / (2 * math.pi), 3)
        text = f"A peak at {show(log.peak_rad_s, 'rotor_speed', system)}: something rings at {hertz} Hz, once a turn"
        said.append(text + (_agrees(spin_up, log.peak_rad_s) or "; make a tap test."))
    if log.imbalance_kg_m is not None:
        planned = spin_up.ladder.rungs[-1].imbalance_n / spin_up.top_rad_s**2
        shakes, counted = (show(kg_m, "imbalance", system, digits=2) for kg_m in (log.imbalance_kg_m, planned))
        said.append(
            f"Away from the resonance it shakes like an imbalance of {shakes}; the steps count on {counted} "
            f"({spin_up.ladder.imbalance_from})"
            + (": balance it (windtoll balance)." if log.imbalance_kg_m > 1.5 * planned else ".")
        )
    return said


def _agrees(spin_up: SpinUp, peak_rad_s: float) -> str:
    if spin_up.natural is None:
        return ""
    hz = peak_rad_s / (2 * math.pi)
    if abs(hz / spin_up.natural.hz - 1) < near(spin_up.natural):
        return f", as the tap test said ({figures(spin_up.natural.hz, 3)} Hz)."
    return f", but the tap test said {figures(spin_up.natural.hz, 3)} Hz: another part or direction. Tap there, too."


def as_data(spin_up: SpinUp, log: SpinLog | None) -> dict[str, Any]:
    """Return the spin-up as data for `--json`."""
    from energy.words.loads_model import LadderData, SpinLogData, SpinStepData

    def rpm(value: float | None) -> float | None:
        return None if value is None else value * 30 / math.pi

    return LadderData(
        ladder=rungs_data(spin_up.ladder),
        steps=[
            SpinStepData(
                rotor_speed_rpm=s.rotor_speed_rad_s * 30 / math.pi,
                motor_torque_n_m=s.motor_torque_n_m,
                motor_w=s.motor_w,
                energy_j=s.energy_j,
                thrown_m_s=s.thrown_m_s,
                thrown_j=s.thrown_j,
                actuator_n=s.actuator_n,
                bearing_n=s.bearing_n,
                amplification=s.amplification,
                near_critical=s.near_critical,
            )
            for s in spin_up.steps
        ],
        natural_frequency_hz=None if spin_up.natural is None else spin_up.natural.hz,
        critical_rpm={str(often): speed * 30 / math.pi for often, speed in spin_up.critical_rad_s.items()},
        stop_rules=stop_rules(spin_up, "metric"),
        log=None
        if log is None
        else SpinLogData(
            top_rpm=log.top_rad_s * 30 / math.pi,
            largest_mm_s=1e3 * log.largest_m_s,
            largest_at_rpm=log.largest_at_rad_s * 30 / math.pi,
            stop_from_rpm=rpm(log.stop_from_rad_s),
            peak_rpm=rpm(log.peak_rad_s),
            imbalance_g_mm=None if log.imbalance_kg_m is None else 1e6 * log.imbalance_kg_m,
            above_ladder=log.above_ladder,
        ),
        safe=False if log is not None and (log.above_ladder or log.stop_from_rad_s is not None) else None,
        cautions=list(LADDER_CAUTIONS),
    ).model_dump()
