"""What charts over road speed show, as sentences made from the same result as the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from energy.chain.limits import broken_limits
from energy.words.verdict import conditions, median_heat_w, number, verdict
from vehicle.units import UnitSystem, figures, show, to_user

if TYPE_CHECKING:
    from energy.chain.answer import Answered

COSTS, SAVES, OPEN, NOTHING = "costs", "saves", "cannot tell", "no effect"


def fuel_title(answered: Answered, speeds_m_s: Sequence[float], outcomes: Sequence[str], system: UnitSystem) -> str:
    """Return what the change in fuel does over road speed.

    `outcomes` hold one of COSTS, SAVES, OPEN and NOTHING for each speed. At the scenario's own speed the verdict
    counts.
    """
    own, what = own_speed(answered), _what(answered)
    against = {"absent": "not fitting it", "stowed": "carrying it stowed"}[answered.answer.compared_with]
    if answered.answer.inputs.credit.replaces_alternator:
        against += " and the alternator making the heat"
    against = f", compared with {against}"
    air = _air(answered, system)
    start = "" if own is not None else "Driven steadily: " if answered.trip is not None else "If driven: "
    kinds = list(outcomes)
    if own is not None:
        kinds[_nearest(speeds_m_s, own)] = verdict(answered, system).word
    said = {
        COSTS: f"working costs {what} at every road speed",
        SAVES: f"working costs no extra {what} at any road speed",
        OPEN: "too close to call at every road speed",
        NOTHING: "no effect at any road speed",
    }
    if len(set(kinds)) == 1:
        return _capital(f"{start}{said[kinds[0]]}{air}{against}")
    clause = {
        COSTS: f"costs {what}",
        SAVES: f"costs no extra {what}",
        OPEN: "is too close to call",
        NOTHING: "has no effect",
    }
    here = 0 if own is None else _nearest(speeds_m_s, own)
    first, last = here, here  # of the speeds around it with the same outcome
    while first > 0 and kinds[first - 1] == kinds[here]:
        first -= 1
    while last + 1 < len(kinds) and kinds[last + 1] == kinds[here]:
        last += 1
    parts = [f"{start}at {_round(float(speeds_m_s[here]), system)} it {clause[kinds[here]]}{air}{against}"]
    if first > 0:
        parts.append(f"below about {_round(speeds_m_s[first], system)} it {clause[kinds[first - 1]]}")
    if last + 1 < len(kinds):
        parts.append(f"above about {_round(speeds_m_s[last], system)} it {clause[kinds[last + 1]]}")
    return _capital("; ".join(parts))


def heat_title(
    answered: Answered,
    passed: Sequence[tuple[str, float]],
    stalled_up_to: float | None,
    top: float,
    system: UnitSystem,
) -> str:
    """Return what the heat does over road speed: danger first, then the verdict's heat, then limits and stall.

    `passed` are limits with the road speed (m/s) from which each is passed on the chart, the first one first;
    `stalled_up_to` is the speed up to which the rotor is stalled, None where it never is; `top` ends the chart.
    """
    own = own_speed(answered)
    parts = []
    broken = [limit.name.lower() for limit in broken_limits(answered)] if own is not None else []
    if own is not None:
        at = f"at {_round(own, system)}"
        heat = show(median_heat_w(answered), "power", system) if median_heat_w(answered) > 0.5 else "no heat"
        if broken:
            parts.append(f"Over the limit of {broken[0]} {at} ({heat})")
        elif answered.stall is not None and answered.stall.at_stated_values:
            parts.append(f"Stalled {at}: {heat}")
        elif answered.stall is not None and answered.stall.matters:
            parts.append(f"Can get stuck in stall {at}: {heat}, or far less")
        else:
            parts.append(f"{heat[0].upper()}{heat[1:]} {at}")
    others = [(name, speed) for name, speed in passed if name not in broken]
    if others:
        name, speed = others[0]
        parts.append(f"the limit of {name} is passed from {_round(speed, system)}")
    elif not broken and not passed:
        parts.append(f"no limit is passed up to {_round(top, system)}")
    if stalled_up_to is not None:
        parts.append(f"stalled up to {_round(stalled_up_to, system)}")
    return _capital("; ".join(parts))


def own_speed(answered: Answered) -> float | None:
    """Return the scenario's own steady road speed (m/s); None where it stands, or over a trip."""
    speed = number(answered.answer.inputs.road_speed_m_s)
    return None if answered.trip is not None or speed <= 0 else speed


def _what(answered: Answered) -> str:
    return "battery energy" if answered.answer.inputs.fuel is None else "fuel"


def _air(answered: Answered, system: UnitSystem) -> str:
    if answered.trip is not None:
        return ""
    _, _, rest = conditions(answered, system).partition(" in ")
    return f" in {rest}" if rest else ""


def _nearest(speeds_m_s: Sequence[float], own: float) -> int:
    return min(range(len(speeds_m_s)), key=lambda k: abs(speeds_m_s[k] - own))


def _round(speed_m_s: float, system: UnitSystem) -> str:
    """Return a speed without figures that the chart does not hold."""
    unit = show(speed_m_s, "speed", system).rpartition(" ")[2]
    value = to_user(speed_m_s, "speed", system)
    return f"{figures(value, 2 if value < 100 else 3)} {unit}"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
