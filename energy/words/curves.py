"""Power and thrust curves of a rotor: title, rows and data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from energy.scenario.read import RotorOnly


def title(rotor: RotorOnly) -> str:
    """Return the best of the curves as the title of table and picture."""
    pitch, ratio, power = rotor.curves.best
    return f"Best power coefficient {power:.3f} at tip-speed ratio {ratio:.2g} and pitch {pitch:g}°"


def as_data(rotor: RotorOnly, condition: dict[str, float] | None, written: list[str]) -> dict[str, Any]:
    """Return the curves, and what was asked at one condition, as data for `--json`."""
    curves = rotor.curves
    pitch, ratio, power = curves.best
    found = None if condition is None else {k: v if math.isfinite(v) else None for k, v in condition.items()}
    return {
        "best": {"pitch_deg": pitch, "tip_speed_ratio": ratio, "power_coefficient": power},
        "condition": found,
        "tip_speed_ratio": curves.tip_speed_ratio.tolist(),
        "pitch_deg": curves.pitch_deg.tolist(),
        "power_coefficient": curves.power_coefficient.tolist(),
        "thrust_coefficient": curves.thrust_coefficient.tolist(),
        "thrust_is_estimated": curves.thrust_is_estimated,
        "stalled_torque_share": None if curves.stalled_torque_share is None else curves.stalled_torque_share.tolist(),
        "notes": list(curves.notes),
        "written": written,
    }
