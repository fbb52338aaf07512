"""Balancing in words: how many grams where, on which bolts, and what is left."""

from __future__ import annotations

import math
from typing import Any

from energy.strength.balance import CLEAR_CHANGE, LEAST_CHANGE, Balance
from energy.words.said import Said, SaidTable
from vehicle.units import figures

CAUTIONS = (
    "Weights that come loose are bullets: screws with locking nuts or glue and screw, behind a cover, never tape; "
    "nobody in the rotor's plane.",
    "Stop and tie the rotor before you touch it. Begin at the lowest speed that shows the vibration; stop at once if "
    "it grows.",
    "One plane only: a rotor whose blades do not track in one plane, or bent, or loose, is not cured by weights.",
)


def _grams(kilograms: float) -> str:
    return f"{figures(kilograms * 1000, 3)} g"


def _degrees(radians: float) -> str:
    return f"{round(math.degrees(radians)) % 360}°"


def _left(kg_m: float) -> str:
    return "under 1 g·mm" if kg_m < 1e-6 else f"{figures(kg_m * 1e6, 3)} g·mm"


def too_little_change(change: float) -> tuple[str, str]:
    """Return what is wrong with a trial weight that changed the reading too little, and what would be accepted."""
    return (
        f"the trial weight changed the reading by {100 * change:.1f} % only: no weight can be calculated from that",
        "a heavier trial weight or a larger radius, step by step, until the reading changes by "
        f"{100 * LEAST_CHANGE:.0f} % at least, better {100 * CLEAR_CHANGE:.0f} %, or its phase by 30°",
    )


def is_enough(balance: Balance) -> bool:
    """Return whether what is left is permitted; also where that is not known."""
    return balance.permitted_kg_m is None or balance.left_kg_m <= balance.permitted_kg_m


def said(balance: Balance) -> Said:
    """Return the answer in words."""
    answer = (
        f"Add {_grams(balance.correction_kg)} at {figures(balance.radius_m * 1000, 3)} mm and "
        f"{_degrees(balance.correction_rad)} from the mark (imbalance {_left(abs(balance.imbalance_kg_m))})."
        if balance.bolts
        else f"Nothing to add: the imbalance ({_left(abs(balance.imbalance_kg_m))}) is below half a step of weight."
    )
    rough = balance.trial_change is not None and balance.trial_change < CLEAR_CHANGE
    if rough:
        answer = f"Rough, a first step only. {answer}"
    left = f"Left with the bolts below: {_left(balance.left_kg_m)}" if balance.bolts else "Left as it is"
    danger = []
    if balance.permitted_kg_m is None:
        left += ". Not checked yet: is that little enough? Give --rotor-mass and --speed (ISO 21940-11)."
    else:
        permitted = f"{figures(balance.permitted_kg_m * 1e6, 3)} g·mm permitted (ISO 21940-11)"
        left += f" of {permitted}: {'enough' if is_enough(balance) else 'not enough'}."
        if not is_enough(balance):
            danger = [
                f"Do not operate with these weights: {_left(balance.left_kg_m)} would be left, more than the "
                f"{permitted}. What to change: a smaller --step, more --holes, or a larger --radius."
            ]
    notes = ["Angles count from the mark in the direction of rotation, as the readings did."]
    if balance.trial_change is not None:
        notes += ["Take the trial weight off, then measure again at the same speed: it must shake much less."]
    if balance.other_way_rad is not None and balance.bolts:
        notes += [
            "If it shakes more, the phases were read against the rotation (a lag, as many instruments show it): the "
            f"weight then belongs at {_degrees(balance.other_way_rad)} instead of {_degrees(balance.correction_rad)}."
        ]
    if rough:
        notes.insert(
            0,
            f"The trial weight changed the reading by {100 * (balance.trial_change or 0):.0f} % only: the scatter of "
            "the readings can turn the answer. Measure again with these weights on, or with a heavier trial weight.",
        )
    rows = [(str(bolt.number), _degrees(bolt.angle_rad), _grams(bolt.mass_kg)) for bolt in balance.bolts]
    return Said(
        [*danger, answer, left],
        [SaidTable("On the bolts (number 1 at the mark)", ("bolt", "angle", "weight"), rows)] if rows else [],
        [("Notes", notes), ("Cautions", CAUTIONS)],
        bool(danger),
    )


def as_data(balance: Balance) -> dict[str, Any]:
    """Return the answer as data for `--json` (SI)."""
    from energy.words.balance_model import BalanceData, BoltData

    return BalanceData(
        safe=None if is_enough(balance) else False,
        imbalance_kg_m=abs(balance.imbalance_kg_m),
        correction_kg=balance.correction_kg,
        correction_deg=math.degrees(balance.correction_rad),
        other_way_deg=None if balance.other_way_rad is None else math.degrees(balance.other_way_rad),
        trial_change=balance.trial_change,
        radius_m=balance.radius_m,
        bolts=[
            BoltData(number=one.number, mass_kg=one.mass_kg, angle_deg=math.degrees(one.angle_rad))
            for one in balance.bolts
        ],
        left_kg_m=balance.left_kg_m,
        permitted_kg_m=balance.permitted_kg_m,
        cautions=list(CAUTIONS),
    ).model_dump()
