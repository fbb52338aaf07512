"""How big a rotor for the heat that is wanted: sentences, rows and data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.sizing import NOISY_TIP_SPEED_M_S
from energy.scenario.checks import WIDEST_IN_MANY_COUNTRIES_M
from energy.scenario.plausible import LANE_WIDTH_M
from energy.words import rotor_choice
from energy.words.verdict import UNCHECKED
from vehicle import units
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.chain.rotor_choice import RotorChoice
    from energy.chain.sizing import SizingTable
    from energy.words.size_model import DiameterData


TRADE = (
    "Smaller and fuller loaded or larger and lightly loaded: the larger one has less drag for the same heat, and "
    "is heavier to mount."
)


NOT_CHECKED = f"{UNCHECKED}: put it into a scenario (windtoll begin FOLDER), then run windtoll loads SCENARIO.toml"


DANGER = "A rotor of this size on a vehicle can kill: see the cautions of windtoll answer before building."


NEXT = (
    TRADE,
    "Give your rotor, generator and vehicle to windtoll answer (windtoll example FOLDER makes scenarios to start "
    "from).",
    DANGER,
)


def as_data(table: SizingTable, choice: RotorChoice) -> dict[str, Any]:
    """Return the table of diameters, and rotors next to each other, as data for `--json`."""
    from energy.words.size_model import GradeData, SizeData

    return SizeData(
        wanted_heat_w=table.wanted_heat_w,
        tip_speed_m_s=table.tip_speed_m_s,
        grades={
            grade.name: GradeData(
                power_coefficient=grade.power_coefficient,
                share_of_betz_limit=grade.betz_share,
                needed_diameter_m=table.needed_diameter_m[k],
                rows=_grade_data(table, k),
            )
            for k, grade in enumerate(table.grades)
        },
        notes=list(table.notes),
        rotors=rotor_choice.as_data(choice),
    ).model_dump()


def _grade_data(table: SizingTable, k: int) -> list[DiameterData]:
    """Return the diameters of one quality of rotor."""
    from energy.words.size_model import DiameterData

    return [
        DiameterData(
            diameter_m=table.diameter_m[j],
            heat_power_w=table.heat_w[k, j],
            enough=bool(table.enough[k, j]),
            thrust_n=table.thrust_n[k, j],
            drag_power_w=table.drag_power_w[k, j],
            fuel_change_l_per_h=table.fuel_flow_m3_s[k, j] * 3.6e6,
            rotor_speed_rpm=table.rotor_speed_rad_s[j] * 30 / np.pi,
            generator_speed_rpm={
                f"{r:g}": v * 30 / np.pi
                for r, v in zip(table.gear_ratios, table.generator_speed_rad_s[:, j], strict=True)
            },
        )
        for j in range(len(table.diameter_m))
    ]


def sentence(table: SizingTable, road_speed_m_s: float, system: UnitSystem) -> str:
    """Return the answer: the diameter that is needed, its range, and the fuel that a rotor of that size costs."""
    ideal, usual, poor, good = (show(float(v), "length", system) for v in table.needed_diameter_m)
    best = int(np.argmax(table.enough[1]))
    first = _too_wide(float(table.needed_diameter_m[1]), road_speed_m_s, system)
    return (
        f"{_too_fast(table.tip_speed_m_s, system)}{first}"
        f"{show(table.wanted_heat_w, 'power', system)} of heat at {show(road_speed_m_s, 'speed', system)} takes a "
        f"hand-made rotor of about {usual} ({good} if well made, {poor} if poorly; no rotor can do with less than "
        f"{ideal}). Plan with a hand-made one: about "
        f"{show(float(table.fuel_flow_m3_s[1, best]), 'fuel_flow', system, signed=True)} of fuel (at the next size of "
        f"the table, {show(float(table.diameter_m[best]), 'length', system)})."
    )


def _too_fast(tip_speed_m_s: float, system: UnitSystem) -> str:
    """Return that the tips are faster than hand-made blades are let turn; empty where they are not."""
    if tip_speed_m_s <= NOISY_TIP_SPEED_M_S * 1.001:
        return ""
    tips, most = (show(value, "tip_speed", system) for value in (tip_speed_m_s, NOISY_TIP_SPEED_M_S))
    return (
        f"Tips too fast: {tips} at this tip-speed ratio. Hand-made blades are kept below {most} (common practice, no "
        "source), and one that breaks is a projectile. "
    )


def _too_wide(diameter_m: float, road_speed_m_s: float, system: UnitSystem) -> str:
    """Return that a rotor does not fit on a road, as a sentence to begin with; empty where it does, or parks."""
    if road_speed_m_s <= 0 or diameter_m <= WIDEST_IN_MANY_COUNTRIES_M:
        return ""
    size = show(diameter_m, "length", system)
    if diameter_m > LANE_WIDTH_M:
        return f"Not on a road: {size} is wider than a lane ({show(LANE_WIDTH_M, 'length', system)}). "
    widest = show(WIDEST_IN_MANY_COUNTRIES_M, "length", system)
    return f"Too wide in many countries: {size} is more than the largest vehicle width there, {widest}. "


def headings(table: SizingTable, system: UnitSystem) -> list[str]:
    """Return the headings of the table of diameters, with a line break where a narrow column wants one."""
    labels = {kind: units.label(kind, system) for kind in ("length", "force", "fuel_flow")}
    names = [f"size\n{labels['length']}"]
    for grade in ("ideal", "real"):
        names += [f"{grade}\nheat W", f"\nthrust {labels['force']}", f"\nfuel {labels['fuel_flow']}"]
    return [*names, "rotor\nrpm", *(f"{ratio:g}:1\nrpm" for ratio in table.gear_ratios)]


def rows(table: SizingTable, system: UnitSystem) -> list[list[str]]:
    """Return the table of diameters as texts under `headings`; * marks a rotor that gives all it can and not enough."""
    texts = []
    for j, diameter in enumerate(table.diameter_m):
        cells = [figures(units.to_user(float(diameter), "length", system), 3)]
        for k in (0, 1):
            cells += [
                figures(float(table.heat_w[k, j]), 3) + ("" if table.enough[k, j] else "*"),
                figures(units.to_user(float(table.thrust_n[k, j]), "force", system), 3),
                figures(units.to_user(float(table.fuel_flow_m3_s[k, j]), "fuel_flow", system), 2, signed=True),
            ]
        cells += [f"{v * 30 / np.pi:.0f}" for v in (table.rotor_speed_rad_s[j], *table.generator_speed_rad_s[:, j])]
        texts.append(cells)
    return texts


def rows_title(table: SizingTable, system: UnitSystem) -> str:
    """Return the heading of the table of diameters."""
    tips = show(table.tip_speed_m_s, "tip_speed", system)
    return f"Diameters, loaded just so far as the heat needs; tips at {tips} (* all that it can give)"
