"""Rotors next to each other, and the stations of a textbook blade: sentences, rows and data."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

from energy.aero.textbook_blade import HUB_FILL, SOURCE
from vehicle import units
from vehicle.units import UnitSystem, figures, label, show, to_user

if TYPE_CHECKING:
    from energy.aero.textbook_blade import Build, TextbookBlade
    from energy.chain.rotor_choice import Alternative, RotorChoice
    from energy.words.rotor_choice_model import BladeData, RotorsData

TITLE = "Which rotor to draw (* the one to choose); fuel, thrust as if perfectly made: plan with the fuel above"
NOTES = (
    "These are blades as drawn. Hand-made ones give less: windtoll size counts on a power coefficient of 0.3, and its "
    "drag and fuel are the ones to plan with; this table is for comparing.",
    "Textbook blades with the section of a bent plate, solved by blade elements; each is turned towards feather until "
    "it brings just the heat. Power within 20 %, starting wind within a factor of two (common practice, no source).",
    "Starting air speed: against the usual friction and cogging of a generator, at the scenario's drive ratio (one to "
    "one where there is none); it rises with the square root of the ratio.",
    "Root pull is the centrifugal pull of one blade at the shown rotor speed; at runaway it is several times that. Run "
    "windtoll loads.",
    "Tips above 80 m/s (260 ft/s) get loud, and blades must be proven for the pull (common practice, no source).",
)
DANGER = (
    "A blade that fails is a projectile: have blades, root and hub checked by someone licensed to do so, prove them "
    "behind a barrier first, and keep everyone out of the rotor's plane.",
    "Dust of wood, glass and aluminium harms lungs and eyes: mask, goggles, clamps.",
)


def sentence(choice: RotorChoice, system: UnitSystem) -> str:
    """Return which rotor to choose and why it wins."""
    heat = show(choice.wanted.heat_w, "power", system)
    best = choice.chosen
    if best is None:
        kinds = Counter(_kind(reason) for each in choice.alternatives for reason in each.against)
        reasons = ", ".join(f"{kind} ({count} of {len(choice.alternatives)})" for kind, count in kinds.most_common(3))
        return f"No rotor of these brings {heat} within its limits: {reasons}."
    least = min((e for e in choice.alternatives if not e.against), key=lambda e: e.drag_power_w)
    text = f"Choose {_name(best, system)} for {heat}: the smallest diameter whose drag is within 10 % of the minimum"
    text += "." if best is least else f" ({show(least.thrust_n, 'force', system)}, {_name(least, system)})."
    fuel = show(best.fuel_flow_m3_s, "fuel_flow", system, signed=True, digits=2)
    return f"{text} Made exactly as drawn it would take {fuel} of fuel; plan with the figure of a hand-made one."


def _kind(reason: str) -> str:
    """Return what a reason against a rotor is about, without its numbers."""
    kinds = {"too weak": "blades too weak at the root", "only": "blades too narrow", "it would": "blades too thick"}
    return next((kind for begins, kind in kinds.items() if reason.startswith(begins)), reason)


def why(choice: RotorChoice, system: UnitSystem) -> list[str]:
    """Return what each other number of blades that can be built would change at the chosen diameter, one a line."""
    best = choice.chosen
    if best is None:
        return []
    said = []
    for other in choice.best_of_each:
        if other.diameter_m != best.diameter_m or other.number_of_blades == best.number_of_blades:
            continue
        if other.against:
            continue
        start = show(other.starting_air_m_s, "speed", system), show(best.starting_air_m_s, "speed", system)
        pull = show(other.root_pull_n, "force", system), show(best.root_pull_n, "force", system)
        said.append(
            f"{other.number_of_blades} blades: drag "
            f"{100 * (other.drag_power_w / max(best.drag_power_w, 1e-9) - 1):+.0f} "
            f"%, root pull {pull[0]} instead of {pull[1]}, starts at {start[0]} instead of {start[1]}."
        )
    return said


def _name(each: Alternative, system: UnitSystem) -> str:
    size = show(each.diameter_m, "length", system)
    return f"{size}, {each.number_of_blades} blades, tip-speed ratio {each.tip_speed_ratio:g}"


def headings(system: UnitSystem) -> list[str]:
    """Return the headings of the table of alternatives."""
    names = {kind: units.label(kind, system) for kind in ("length", "force", "fuel_flow", "tip_speed", "speed")}
    return [
        f"size\n{names['length']}",
        " \nblades",
        "tip\nratio",
        "heat\nW",
        f"thrust\n{names['force']}",
        f"fuel\n{names['fuel_flow']}",
        "rotor\nrpm",
        f"tips\n{names['tip_speed']}",
        f"root pull\n{names['force']}",
        f"starts at\n{names['speed']}",
        " \nbuild",
        " \nagainst it",
    ]


def rows(choice: RotorChoice, system: UnitSystem) -> list[list[str]]:
    """Return the best tip-speed ratio of each diameter and number of blades as texts under `headings`."""

    def cell(value: float, kind: str, digits: int = 3, *, signed: bool = False) -> str:
        return "never" if math.isnan(value) else figures(units.to_user(value, kind, system), digits, signed=signed)

    return [
        [
            cell(e.diameter_m, "length") + ("*" if e is choice.chosen else ""),
            str(e.number_of_blades),
            f"{e.tip_speed_ratio:g}",
            figures(e.heat_w, 3),
            cell(e.thrust_n, "force"),
            cell(e.fuel_flow_m3_s, "fuel_flow", 2, signed=True),
            f"{e.rotor_speed_rad_s * 30 / math.pi:.0f}",
            cell(e.tip_speed_m_s, "tip_speed", 2),
            cell(e.root_pull_n, "force", 2),
            cell(e.starting_air_m_s, "speed", 2),
            _short_build(e.build, system),
            "; ".join(e.against),
        ]
        for e in choice.best_of_each
    ]


_PRINTED = (0, 1, 2, 4, 5, 7, 8, 9, 10)  # a terminal's width: heat is the wanted one, rpm follows from the tips


def printed_table(choice: RotorChoice, system: UnitSystem) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows that a terminal of 80 columns holds."""
    names = headings(system)
    return [names[k] for k in _PRINTED], [[row[k] for k in _PRINTED] for row in rows(choice, system)]


def against_lines(choice: RotorChoice, system: UnitSystem) -> list[str]:
    """Return what speaks against the rotors that cannot be built, one reason a line."""
    by_reason: dict[str, list[str]] = {}
    for each in choice.best_of_each:
        if each.against:
            name = f"{show(each.diameter_m, 'length', system)} with {each.number_of_blades} blades"
            by_reason.setdefault("; ".join(each.against), []).append(name)
    return [f"{', '.join(names)}: {reason}." for reason, names in by_reason.items()]


def _short_build(build: Build, system: UnitSystem) -> str:
    thick = show(build.thickness_m, "small_length", system, digits=2)
    return f"{thick} sheet" if build.material == "plate" else f"wood, {thick}"


def build_words(build: Build) -> str:
    """Return what a blade is made of, for either workshop: millimetres and inches, kilograms and pounds."""
    thick = f"{1e3 * build.thickness_m:.0f} mm"
    thick += f" ({figures(build.thickness_m / 0.0254, 2)} in)"
    mass = f"{build.blade_mass_kg:.2g} kg ({figures(build.blade_mass_kg / 0.45359237, 2)} lb) a blade"
    if build.material == "plate":
        return f"bent aluminium sheet, {thick}, {mass}"
    return f"carved wood, {thick} at the widest chord, {mass}"


def blade_lines(blade: TextbookBlade, build: Build, system: UnitSystem) -> list[str]:
    """Return what hands make of a textbook blade: material, what is narrowed at the hub, why it is not buildable."""
    said = [f"Buildable as {build_words(build)}." if not build.against else f"Not buildable as drawn: {build.against}."]
    if build.no_plate:
        said.append(f"Bent sheet will not do: {build.no_plate}. Put the polar of the carved section (blade.polar).")
    if blade.narrowed.any():
        first = int(blade.narrowed.argmax())
        said.append(
            f"Narrowed near the hub: the formula's {show(blade.optimum_chord_m[first], 'small_length', system)} at "
            f"radius {show(blade.radius_m[first], 'small_length', system)} would make {blade.number_of_blades} blades "
            f"fill {100 * _fill(blade, first):.0f} % of the circumference; {100 * HUB_FILL:.0f} % is left, so that "
            "they pass each other when the pitch turns."
        )
    said.append(f"Formula: {SOURCE}. A beam formula: clamps, holes, flutter and fatigue are beyond it.")
    return said


def _fill(blade: TextbookBlade, place: int) -> float:
    return float(blade.number_of_blades * blade.optimum_chord_m[place] / (2 * math.pi * blade.radius_m[place]))


def station_headings(system: UnitSystem) -> tuple[str, ...]:
    """Return the headings of the stations of a blade."""
    unit = label("small_length", system)
    return f"radius {unit}", f"chord {unit}", "angle deg"


def station_rows(blade: TextbookBlade, system: UnitSystem) -> list[list[str]]:
    """Return the stations of a blade as texts under `station_headings`."""
    places = 2 if system == "us" else 0

    def length(metres: float) -> str:
        return f"{to_user(metres, 'small_length', system):.{places}f}"

    return [
        [length(r), length(c), f"{t:.1f}"]
        for r, c, t in zip(blade.radius_m, blade.chord_m, blade.twist_deg, strict=True)
    ]


def blade_data(blade: TextbookBlade, build: Build) -> BladeData:
    """Return a textbook blade as data for `--json`."""
    from energy.words.rotor_choice_model import BladeData, BuildData, StationData

    return BladeData(
        source=SOURCE,
        number_of_blades=blade.number_of_blades,
        tip_speed_ratio=blade.tip_speed_ratio,
        stations=[
            StationData(radius_m=float(r), chord_m=float(c), angle_deg=float(t), narrowed=bool(n))
            for r, c, t, n in zip(blade.radius_m, blade.chord_m, blade.twist_deg, blade.narrowed, strict=True)
        ],
        build=BuildData(
            material="plate" if build.material == "plate" else "wood",
            thickness_m=build.thickness_m,
            blade_mass_kg=build.blade_mass_kg,
            root_stress_pa=build.stress_pa,
            buildable=not build.against,
            against=build.against,
            no_plate=build.no_plate,
        ),
    )


def as_data(choice: RotorChoice) -> RotorsData:
    """Return all alternatives as data for `--json`."""
    from energy.words.rotor_choice_model import CandidateRotorData, RotorsData

    return RotorsData(
        chosen=next((k for k, e in enumerate(choice.alternatives) if e is choice.chosen), None),
        rotors=[
            CandidateRotorData(
                diameter_m=e.diameter_m,
                number_of_blades=e.number_of_blades,
                tip_speed_ratio=e.tip_speed_ratio,
                heat_power_w=e.heat_w,
                thrust_n=e.thrust_n,
                drag_power_w=e.drag_power_w,
                fuel_change_l_per_h=e.fuel_flow_m3_s * 3.6e6,
                rotor_speed_rpm=e.rotor_speed_rad_s * 30 / math.pi,
                tip_speed_m_s=e.tip_speed_m_s,
                root_pull_n=e.root_pull_n,
                starting_air_m_s=None if math.isnan(e.starting_air_m_s) else e.starting_air_m_s,
                against=list(e.against),
                blade=blade_data(e.blade, e.build),
            )
            for e in choice.alternatives
        ],
    )
