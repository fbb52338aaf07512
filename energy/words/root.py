"""Bearing and blade root in words: lives and safety of each kind of bearing, stress and frequency of the root."""

from __future__ import annotations

import math
from typing import Any

from energy.strength.bearing_kinds import Bearings, KindOfBearing
from energy.strength.root import BladeRoot, RootStress
from energy.words.said import Said, SaidTable
from vehicle.units import UnitSystem, figures, show

BEYOND = (
    "This is a beam and a catalogue formula. Beyond it, and not computed: fatigue, notches and threads, glue joints "
    "and laminate layers, buckling of a thin shell, fretting, misalignment and shock on the bearing."
)
CAUTIONS = (
    BEYOND,
    "A blade that leaves is a projectile. Have root, hub and shaft checked by a licensed engineer; pull-test a root to "
    "twice its worst pull behind a shield before it ever turns.",
)
_NAMES = {
    "deep_groove_ball": "deep-groove ball",
    "angular_contact_ball": "angular-contact ball, one (40°)",
    "angular_contact_pair": "angular-contact ball, a pair back to back",
    "tapered_roller": "tapered roller (one of an opposed pair)",
    "thrust_ball": "thrust ball",
}


def _hours(seconds: float) -> str:
    hours = seconds / 3600
    return "over 100 000 h" if hours > 1e5 else f"{figures(hours, 2)} h"


def suited(one: KindOfBearing, all_of: Bearings) -> str:
    """Return whether a kind suits, in a few words."""
    if not one.takes_radial:
        return "no radial load: only with a second bearing"
    if one.axial_share > 1:
        return f"no: axial load {figures(one.axial_share, 2)} times what it takes"
    if one.static_safety < all_of.wanted_safety:
        return f"no: static safety under {figures(all_of.wanted_safety, 2)}"
    if one.life_with_moment_s < all_of.wanted_life_s:
        return "no: too short a life"
    if one.kind == "deep_groove_ball":
        return "by its ratings yes; thrust is not what it is made for"
    if one.kind in ("angular_contact_ball", "tapered_roller"):
        return "yes, against a second one that takes the push backwards"
    return "yes"


def bearing_said(bearings: Bearings, system: UnitSystem) -> Said:
    """Return the kinds of bearing in words and rows."""
    own = next((one for one in bearings.kinds if one.chosen), bearings.kinds[0])
    notes = [
        f"Operating point: thrust {show(bearings.thrust_n, 'force', system)}, radial "
        f"{show(bearings.radial_n, 'force', system)}. "
        f"Worst: thrust {show(bearings.worst_thrust_n, 'force', system)}, radial "
        f"{show(bearings.worst_radial_n, 'force', system)}.",
        "Every kind is shown with the ratings of your bearing; put in those of the one you mean to buy. A pair counts "
        "1.62 times the dynamic and twice the static rating (ISO 281, ISO 76).",
    ]
    if bearings.spacing_m is None:
        notes.append("The gyroscopic moment is left out: bearing.spacing would add it as radial load.")
    else:
        notes.append(
            f"The gyroscopic moment of bumps (up to {show(bearings.moment_n_m, 'torque', system)}) "
            "adds radial load over "
            f"the spacing of {show(bearings.spacing_m, 'small_length', system)}; the life with moment takes it as "
            "lasting, "
            "on the safe side."
        )
    rows = [
        (
            _NAMES[one.kind] + (" (yours)" if one.chosen else ""),
            _hours(one.life_s),
            _hours(one.life_with_moment_s),
            figures(one.static_safety, 3),
            suited(one, bearings),
        )
        for one in bearings.kinds
    ]
    columns = ("kind", "life, thrust", "life, with moment", "static safety, worst", "suited")
    return Said(
        [f"Your bearing ({_NAMES[own.kind]}): {suited(own, bearings)}."],
        [SaidTable("Kinds of bearing (ISO 281, ISO 76)", columns, rows)],
        [("Notes", notes), ("Cautions", CAUTIONS)],
    )


def bearing_data(bearings: Bearings) -> dict[str, Any]:
    """Return the kinds of bearing as data for `--json`."""
    from energy.words.loads_model import BearingsData, KindOfBearingData

    return BearingsData(
        thrust_n=bearings.thrust_n,
        radial_n=bearings.radial_n,
        worst_thrust_n=bearings.worst_thrust_n,
        worst_radial_n=bearings.worst_radial_n,
        kinds=[
            KindOfBearingData(
                kind=one.kind,
                yours=one.chosen,
                life_h=one.life_s / 3600,
                life_with_moment_h=one.life_with_moment_s / 3600,
                static_safety=one.static_safety,
                axial_share=one.axial_share,
                suited=suited(one, bearings),
            )
            for one in bearings.kinds
        ],
        cautions=list(CAUTIONS),
    ).model_dump()


def root_said(root: BladeRoot, system: UnitSystem) -> Said:
    """Return the root in words and rows."""
    rows = [
        _stress_row(root, name, stress, system)
        for name, stress in (("operating point", root.operating), ("worst case", root.worst))
    ]
    columns = ("case", "pull", "bending", "stress of pull", "of bending", "safety")
    return Said(
        [_headline(root, system), *_frequency_words(root, system)],
        [SaidTable(f"Stress at the root ({root.section.what})", columns, rows)],
        [
            (
                "Notes",
                [
                    "Bending: flap with the blade's gyroscopic part in the worst case, and the blade's own weight. "
                    "Straight beam, even section.",
                    "Frequency: an even blade as stiff and as heavy all along as its root section and mean mass, "
                    "clamped in a rigid hub: a real hub and a tapered blade differ by some ten percent and more.",
                ],
            ),
            ("Cautions", CAUTIONS),
        ],
        unsafe=_breaks(root),
    )


def _breaks(root: BladeRoot) -> bool:
    safety = root.safety(root.worst)
    return safety is not None and safety < 1


def _headline(root: BladeRoot, system: UnitSystem) -> str:
    safety = root.safety(root.worst)
    if safety is None:
        stress = _stress(root.worst.total_pa, system)
        return f"Worst stress at the root: {stress}. Not checked: blade_loads.root_strength is not given."
    worst, speed = _stress(root.worst.total_pa, system), float(root.worst.at.rotor_speed_rad_s)
    where = f"{worst} at {show(speed, 'rotor_speed', system)}"
    if _breaks(root):
        strength = _stress(root.strength_pa or 0, system)
        return f"Do not operate: the blade root breaks by calculation, {where} against {strength}."
    if safety < root.wanted_safety:
        return (
            f"Too little at the blade root: safety {figures(safety, 2)} where {figures(root.wanted_safety, 2)} is "
            f"wanted ({where})."
        )
    return f"Blade root: safety {figures(safety, 2)} of {figures(root.wanted_safety, 2)} wanted ({where})."


def _stress(pascal: float, system: UnitSystem) -> str:
    return show(pascal, "stress", system)


def _stress_row(root: BladeRoot, name: str, stress: RootStress, system: UnitSystem) -> tuple[str, ...]:
    safety = root.safety(stress)
    return (
        name,
        show(stress.pull_n, "force", system),
        show(stress.bending_n_m, "torque", system),
        _stress(stress.pull_pa, system),
        _stress(stress.bending_pa, system),
        "not checked" if safety is None else figures(safety, 2),
    )


def _frequency_words(root: BladeRoot, system: UnitSystem) -> list[str]:
    if not math.isfinite(root.standing_rad_s):
        return ["First flapwise frequency: not computed, blade_loads.root_stiffness is not given."]
    hertz = root.working_rad_s / (2 * math.pi)
    said = (
        f"First flapwise frequency: {figures(root.standing_rad_s / (2 * math.pi), 3)} Hz standing, "
        f"{figures(hertz, 3)} Hz at {show(root.rotor_rad_s, 'rotor_speed', system)}"
    )
    near = root.near()
    if near:
        return [f"{said}: near {near[0]} per turn. Do not stay at this speed."]
    meets = [
        f"{n} per turn at {show(at, 'rotor_speed', system)}"
        for n, at in root.crossings_rad_s().items()
        if at <= root.fastest_rad_s
    ]
    return [
        f"{said}. It meets {', '.join(meets)}: pass through quickly."
        if meets
        else f"{said}; 1, 2, 3 per turn are clear."
    ]


def root_data(root: BladeRoot) -> dict[str, Any]:
    """Return the root as data for `--json` (SI)."""
    from energy.words.loads_model import BladeRootData, RootStressData

    def stress(one: RootStress) -> RootStressData:
        return RootStressData(
            pull_n=one.pull_n,
            bending_n_m=one.bending_n_m,
            stress_pa=one.total_pa,
            safety=root.safety(one),
            rotor_speed_rad_s=float(one.at.rotor_speed_rad_s),
        )

    known = math.isfinite(root.standing_rad_s)
    meets = root.crossings_rad_s().items() if known else ()
    return BladeRootData(
        section=root.section.what,
        operating=stress(root.operating),
        worst=stress(root.worst),
        strength_pa=root.strength_pa,
        safety_wanted=root.wanted_safety,
        standing_frequency_hz=root.standing_rad_s / (2 * math.pi),
        working_frequency_hz=root.working_rad_s / (2 * math.pi) if known else None,
        meets_per_turn_rad_s={str(n): at for n, at in meets if math.isfinite(at)},
        cautions=list(CAUTIONS),
    ).model_dump()
