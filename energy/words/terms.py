"""One sentence for each term that a field or a table uses, with a small drawing where that helps."""

from __future__ import annotations

_STROKE = 'fill="none" stroke="currentColor" stroke-width="2" stroke-linecap="round"'

TERMS = {
    "local speed factor": "Air speed where the rotor sits over that well away from the vehicle: 1 in free air, "
    "above 1 where the body speeds the air up, towards 0 behind it.",
    "interaction": "How much the rotor's thrust adds to the vehicle's drag: 1 is all of it, less where the "
    "rotor raises "
    "the pressure on the back of the body.",
    "credit": "What the turbine's watts replace: with a credit, the fuel that the alternator no longer burns "
    "is counted "
    "in the turbine's favour.",
    "tip-speed ratio": "Speed of the blade tips over the air speed at the rotor. Each rotor gives most power "
    "at one value "
    "of it.",
    "pitch": "Angle of the blade from the plane of rotation, positive towards feather (edge into the air).",
    "power coefficient": "Shaft power over the power of the air through the rotor's disc; its limit is 0.593 (Betz).",
    "thrust coefficient": "Thrust over the dynamic pressure of the air times the disc's area.",
    "solidity": "Area of the blades over the area of the disc.",
    "stalled": "The air no longer follows the blade: power drops, and the rotor can stay slow although it "
    "could run fast.",
    "power factor": "Real power coefficient over that of the curves: below 1 for rough or dirty blades.",
    "drag area": "Drag coefficient times frontal area: drag over the dynamic pressure of the air.",
    "coast-down": "Rolling out in neutral: how fast the vehicle slows shows what drag and tyres take.",
    "range": "90 of 100 simulations, each with other values inside the stated ranges, lie between its ends.",
    "stowed": "The turbine is carried and does not turn.",
}
"""Term -> what it means."""

_OF_KEYS = {
    "rotor.local_speed_factor": "local speed factor",
    "rotor.mount_speed_factor": "local speed factor",
    "rotor.interaction_factor": "interaction",
    "credit.replaces_alternator": "credit",
    "rotor.pitch": "pitch",
    "rotor.solidity": "solidity",
    "rotor.power_factor": "power factor",
    "rotor.thrust_factor": "thrust coefficient",
    "rotor.stowed": "stowed",
    "trip.compared_with": "stowed",
    "vehicle.drag_area": "drag area",
    "vehicle.coastdown_a": "coast-down",
    "vehicle.coastdown_b": "coast-down",
    "vehicle.coastdown_c": "coast-down",
}


def _svg(label: str, body: str) -> str:
    size = 'viewBox="0 0 120 60" width="120" height="60"'
    return f'<svg {size} role="img" aria-label="{label}"><g {_STROKE}>{body}</g></svg>'


_DRAWINGS = {
    "local speed factor": _svg(
        "Long arrows of air ahead of a box, short ones behind it",
        '<path d="M4 14h30m-6-4 6 4-6 4M4 32h30m-6-4 6 4-6 4"/><rect x="44" y="20" width="34" height="30"/>'
        '<path d="M86 40h12m-5-4 5 4-5 4M44 10h40m-6-4 6 4-6 4"/>',
    ),
    "pitch": _svg(
        "A blade turned from the plane of rotation by the pitch",
        '<path d="M60 4v52" stroke-dasharray="3 4"/><path d="M52 54 70 6"/><path d="M60 16a20 20 0 0 1 6 1"/>'
        '<path d="M6 30h34m-6-4 6 4-6 4"/>',
    ),
    "tip-speed ratio": _svg(
        "The circle of a rotor with the speed of the tip along it and the air speed into it",
        '<ellipse cx="70" cy="30" rx="12" ry="26"/><path d="M70 4h36m-6-3 6 3-6 4M6 30h34m-6-4 6 4-6 4M70 30V4"/>',
    ),
}


def term_of(key: str) -> str | None:
    """Return what the term behind a key of the scenario means, None where its name says it."""
    term = _OF_KEYS.get(key)
    return None if term is None else TERMS[term]


def drawing(term: str) -> str:
    """Return a small drawing of a term as SVG in the colour of the text around it; "" where words do."""
    return _DRAWINGS.get(term, "")
