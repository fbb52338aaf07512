"""The pitch system in words: force by rotor speed, when the actuator stalls and what then, what to ask for."""

from __future__ import annotations

import math
from typing import Any

from energy.strength.pitch_system import COUNTERWEIGHT_ARM_M, PitchSystem
from energy.words.loads import shown_load
from energy.words.said import Said, SaidTable
from vehicle.units import UnitSystem, figures, show

CAUTIONS = (
    "Towards fine is the dangerous side: the rotor keeps its speed or gains. Power, rod or thread can fail: a spring "
    "or weights that feather by themselves are the brake that counts.",
    "Small linear servos give tens of newtons; blade pitch at road speed can ask for hundreds (common practice).",
    "Never reach into a linkage that can move; stop and tie the rotor first.",
)

TRAVEL_AXIS = "pitch as the dial reads it, °"
RATING = "actuator's rating"
CENTRIFUGAL, AIR, FRICTION = "centrifugal", "air", "friction (against any motion)"
TRAVEL_NOTE = "Stated values; colour: rotor speed, line: air at the rotor. Friction is added."
SPEED_NOTE = (
    "Solid: every range at its unfavourable end; where it crosses the rating the actuator stalls. Dashed: the stated "
    "values."
)
WORST_LINE = "every range at its unfavourable end"


def said(pitch: PitchSystem, system: UnitSystem) -> Said:
    """Return the answer in words and rows."""
    rows = [
        (
            show(row.rotor_speed_rad_s, "rotor_speed", system),
            show(row.air_speed_m_s, "speed", system),
            shown_load(row.force_n, "force", system),
            f"{figures(row.pitch_deg, 3)}°",
            *(show(v, "torque", system) for v in (row.centrifugal_n_m, row.aerodynamic_n_m, row.friction_n_m)),
        )
        for row in pitch.rows
    ]
    columns = ("rotor speed", "air", "actuator", "at pitch", "centrifugal", "air's", "friction ±")
    table = SaidTable("Maximum over the travel, stated values (a blade's moments; + towards feather)", columns, rows)
    lists = [("What to ask for", _asked(pitch, system)), ("Cautions", CAUTIONS)]
    return Said(headlines(pitch, system), [table], lists, unsafe=math.isfinite(pitch.stalls_from_rad_s))


def headlines(pitch: PitchSystem, system: UnitSystem) -> list[str]:
    """Return whether the actuator is strong enough, and where the blades drive without it."""
    side = "fine: the dangerous side" if pitch.towards_fine else "feather: the safe side"
    drives = f"Without its actuator the blades drive towards {side}."
    if pitch.rating_n is None:
        return [drives, "Not checked against an actuator: linkage.actuator_rating is not given."]
    if math.isinf(pitch.stalls_from_rad_s):
        return [f"The actuator is strong enough for the whole travel up to the fastest rotor speed. {drives}"]
    held = " It locks itself and holds where it stands." if pitch.self_locking else ""
    return [
        f"Do not operate: the actuator ({shown_load(pitch.rating_n, 'force', system)}) stalls "
        f"{_stalls(pitch, system)}.{held}",
        drives,
    ]


def travel_finding(pitch: PitchSystem, system: UnitSystem) -> str:
    """Return what the force over the travel shows: its maximum, where, and from where the actuator is too weak."""
    row = max(pitch.rows, key=lambda one: one.force_n)
    return (
        f"Force over the travel: up to {shown_load(row.force_n, 'force', system)} at {figures(row.pitch_deg, 3)}°, "
        f"{show(row.rotor_speed_rad_s, 'rotor_speed', system)} in {show(row.air_speed_m_s, 'speed', system)} of air "
        "(stated values)."
    )


def terms_finding(pitch: PitchSystem, system: UnitSystem) -> str:
    """Return which term makes the most of the maximum, and each one's share of the sum."""
    row = pitch.rows[-1]
    sizes = {
        "centrifugal force": abs(row.centrifugal_n_m),
        "air": abs(row.aerodynamic_n_m),
        "friction": abs(row.friction_n_m),
    }
    whole = sum(sizes.values())
    at = f"at {show(row.rotor_speed_rad_s, 'rotor_speed', system)} and {figures(row.pitch_deg, 3)}°"
    if not whole > 0:
        return f"Nothing loads the actuator {at}."
    shares = ", ".join(f"{name} {100 * size / whole:.0f} %" for name, size in sizes.items())
    return f"Mainly {max(sizes, key=lambda name: sizes[name])}, {at}: {shares} of the sum of all three."


def speed_finding(pitch: PitchSystem, system: UnitSystem) -> str:
    """Return from which rotor speed the actuator stalls, or what to ask for."""
    asked = shown_load(pitch.asked_n, "force", system)
    top = show(float(pitch.speeds_rad_s[-1]), "rotor_speed", system)
    if pitch.rating_n is None:
        return f"Up to {asked} over rotor speeds up to {top}; no rating to hold it against."
    if math.isinf(pitch.stalls_from_rad_s):
        return f"Up to {asked} over rotor speeds up to {top}: within the actuator's rating."
    return f"The actuator stalls {_stalls(pitch, system)}; up to {asked} is asked for by {top}."


def _stalls(pitch: PitchSystem, system: UnitSystem) -> str:
    if pitch.stalls_from_rad_s <= 0:
        return "at any rotor speed"
    return f"from {show(pitch.stalls_from_rad_s, 'rotor_speed', system)} upwards"


def _asked(pitch: PitchSystem, system: UnitSystem) -> list[str]:
    force = shown_load(pitch.asked_n, "force", system)

    def small(length_m: float, digits: int = 3) -> str:
        return show(length_m, "small_length", system, digits=digits)

    asked = [
        "These numbers take every range at its unfavourable end; the table above takes the stated values.",
        f"Actuator: {force} or more, {small(pitch.rod_travel_m)} of travel, self-locking (back-drive without power: "
        f"{shown_load(pitch.held_n, 'force', system)} pushes on it), the whole travel within 2 s (our choice).",
        f"Slider bearing between turning rods and still actuator: {force} along the axis at "
        f"{show(pitch.rows[-1].rotor_speed_rad_s, 'rotor_speed', system)}: a static rating of twice that or more.",
        f"Counterweight: {show(pitch.counterweight_kg, 'small_mass', system)} on each blade root, "
        f"{small(COUNTERWEIGHT_ARM_M, 2)} from the pitch axis, square to the chord, cancels the "
        "centrifugal part; its own pull comes on the root.",
    ]
    if pitch.arm_needed_m is not None and pitch.arm_needed_m > pitch.arm_m:
        asked.append(
            f"Or an arm of {small(pitch.arm_needed_m)} instead of {small(pitch.arm_m)}: "
            "less force, as much more travel."
        )
    return asked


def as_data(pitch: PitchSystem) -> dict[str, Any]:
    """Return the pitch system as data for `--json` (SI)."""
    from energy.words.loads_model import PitchRowData, PitchSystemData

    return PitchSystemData(
        rows=[PitchRowData.model_validate(vars(row)) for row in pitch.rows],
        asked_n=pitch.asked_n,
        rating_n=pitch.rating_n,
        stalls_from_rad_s=pitch.stalls_from_rad_s,
        drives_towards="fine" if pitch.towards_fine else "feather",
        arm_needed_m=pitch.arm_needed_m,
        counterweight_kg=pitch.counterweight_kg,
        counterweight_arm_m=COUNTERWEIGHT_ARM_M,
        rod_travel_m=pitch.rod_travel_m,
        back_drive_n=pitch.held_n,
        self_locking=pitch.self_locking,
        cautions=list(CAUTIONS),
    ).model_dump()
