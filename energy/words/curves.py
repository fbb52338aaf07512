"""Power and thrust curves of a rotor: title, rows and data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.aero.curves import RotorCurves
    from energy.chain.rotor_at import RotorAt
    from energy.scenario.read import RotorOnly


def title(rotor: RotorOnly) -> str:
    """Return the best of the curves as the title of table and picture."""
    pitch, ratio, power = rotor.curves.best
    return f"Best power coefficient {power:.3f} at tip-speed ratio {ratio:.2g} and pitch {pitch:g}°"


def as_data(rotor: RotorOnly, condition: RotorAt | None, written: list[str]) -> dict[str, Any]:
    """Return the curves, and what was asked at one condition, as data for `--json`."""
    from energy.words.curves_model import BestPointData, CurvesData, RotorAtData

    curves = rotor.curves
    pitch, ratio, power = curves.best
    stalled = curves.stalled_torque_share
    return CurvesData(
        best=BestPointData(pitch_deg=pitch, tip_speed_ratio=ratio, power_coefficient=power),
        condition=None if condition is None else RotorAtData.model_validate(vars(condition)),
        tip_speed_ratio=curves.tip_speed_ratio.tolist(),
        pitch_deg=curves.pitch_deg.tolist(),
        power_coefficient=curves.power_coefficient.tolist(),
        thrust_coefficient=curves.thrust_coefficient.tolist(),
        thrust_is_estimated=curves.thrust_is_estimated,
        stalled_torque_share=None if stalled is None else stalled.tolist(),
        notes=list(curves.notes),
        written=written,
    ).model_dump()


BEST_OF_EACH_PITCH = "Best of each pitch (from the rotor plane towards feather)"
PITCH_COLUMNS = ("pitch", "best tip-speed ratio", "power coefficient", "thrust coefficient", "from stalled sections")


def pitch_rows(curves: RotorCurves) -> list[tuple[str, ...]]:
    """Return the best of each pitch that gives power, as rows of text for `PITCH_COLUMNS`."""
    rows: list[tuple[str, ...]] = []
    for row in np.flatnonzero(curves.power_coefficient.max(axis=1) > 0.01):
        best = int(np.argmax(curves.power_coefficient[row]))
        stalled = (
            "" if curves.stalled_torque_share is None else f"{100 * (curves.stalled_torque_share[row, best]):.0f} %"
        )
        rows.append(
            (
                f"{curves.pitch_deg[row]:g}°",
                f"{curves.tip_speed_ratio[best]:.1f}",
                f"{curves.power_coefficient[row, best]:.3f}",
                f"{curves.thrust_coefficient[row, best]:.2f}",
                stalled,
            )
        )
    return rows


def condition_rows(at: RotorAt, system: UnitSystem) -> list[tuple[str, str]]:
    """Return what the rotor does at one condition, as (name, text)."""
    from energy.aero.blade import STALL_SHARE_LIMIT
    from energy.aero.stall import stall_error

    rows = [
        (
            "air speed, rotor speed",
            f"{show(at.air_speed_m_s, 'speed', system)}, {show(at.rotor_speed_rad_s, 'rotor_speed', system)}",
        ),
        (
            "pitch of the curves, tip-speed ratio",
            f"{figures(at.pitch_deg, 3)}°, {figures(at.tip_speed_ratio, 3)}",
        ),
        ("power and thrust coefficient", f"{at.power_coefficient:.3f}, {at.thrust_coefficient:.3f}"),
        ("shaft power, thrust", f"{show(at.shaft_power_w, 'power', system)}, {show(at.thrust_n, 'force', system)}"),
    ]
    if at.stalled_torque_share > STALL_SHARE_LIMIT:
        error = stall_error(delay=at.stall_delay)
        rows.append(
            ("stall", f"{100 * at.stalled_torque_share:.0f} % of the torque comes from stalled sections: {error}")
        )
    return rows
