"""What a rotor makes of the air: power and thrust coefficients over tip-speed ratio and pitch.

Cp = P / (½·ρ·A·U³), Ct = T / (½·ρ·A·U²), tip-speed ratio λ = Ω·R / U.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from energy.aero.momentum import (
    BETZ_LIMIT,
    disc_power_coefficient,
    induction_of_power_coefficient,
    thrust_coefficient_of_induction,
)
from vehicle.arrays import Values, cell_of
from vehicle.files import write_output
from vehicle.problems import InputError, Problem
from vehicle.tables import read_table

TOLERANCE = 1e-6
STALL_THRUST_KEY, STALL_THRUST = "rotor.thrust_in_stall", 1.5
_HIGHEST_MEAN_THRUST = 1.1


@dataclass(frozen=True)
class CurveSlope:
    """What an input that is not known exactly does to curves: their maps (P, L) change by these per unit of it.

    `key` is the input's, `stated` its value in the curves themselves.
    """

    key: str
    stated: float
    power_coefficient: np.ndarray
    thrust_coefficient: np.ndarray


@dataclass(frozen=True)
class RotorCurves:
    """Power and thrust coefficients of a rotor.

    `tip_speed_ratio` (L,) and `pitch_deg` (P,) rise; `power_coefficient` and `thrust_coefficient` are (P, L). Pitch is
    positive towards feather. `thrust_is_estimated` tells that thrust came from momentum theory, not from data.
    `stalled_torque_share` (P, L), where curves were computed from a blade: the part of the torque from stalled
    sections. `slopes`: what else could change the maps.
    """

    tip_speed_ratio: np.ndarray
    pitch_deg: np.ndarray
    power_coefficient: np.ndarray
    thrust_coefficient: np.ndarray
    thrust_is_estimated: bool = False
    notes: tuple[str, ...] = field(default=())
    stalled_torque_share: np.ndarray | None = None
    slopes: tuple[CurveSlope, ...] = ()

    @property
    def best(self) -> tuple[float, float, float]:
        """Return (pitch in degrees, tip-speed ratio, power coefficient) of the table's greatest power coefficient."""
        row, column = np.unravel_index(np.argmax(self.power_coefficient), self.power_coefficient.shape)
        return (
            float(self.pitch_deg[row]),
            float(self.tip_speed_ratio[column]),
            float(self.power_coefficient[row, column]),
        )


def estimate_thrust_coefficient(tip_speed_ratio: Values, power_coefficient: Values) -> np.ndarray:
    """Return an estimate (P, L) of Ct where only Cp (P, L) over tip-speed ratio (L,) is known.

    The best point of the whole table is taken as loaded like the ideal rotor (a = 1/3): a hand-made rotor falls short
    of the Betz limit by drag of its blades, not by sparing the air. Left of each pitch's best tip-speed ratio the
    induction is the light root of momentum theory, right of it it grows by half towards free running, through the
    high-thrust branch. Chosen to err towards too much thrust; real thrust can differ by a quarter.

    Parameters
    ----------
    tip_speed_ratio : [-] (L,)
    power_coefficient : [-] (P, L)

    Returns
    -------
    [-] Ct (P, L).

    References
    ----------
    .. [1] Momentum theory of energy/aero/momentum.py; the loading of the best point and the rise right of it: common
       practice, no source.
    """
    ratio = np.asarray(tip_speed_ratio, float)
    cp = np.atleast_2d(np.asarray(power_coefficient, float))
    greatest = max(float(cp.max()), 1e-6)
    best = np.maximum(cp.max(axis=1, keepdims=True), 1e-9)
    light = induction_of_power_coefficient(BETZ_LIMIT * np.clip(cp / greatest, 0.0, 1.0))
    at_best = induction_of_power_coefficient(BETZ_LIMIT * np.clip(best / greatest, 0.0, 1.0))
    past_best = at_best * (1 + 0.5 * (1 - np.clip(cp / best, 0.0, 1.0)))
    right = ratio[None, :] > ratio[np.argmax(cp, axis=1)][:, None]
    ct = thrust_coefficient_of_induction(np.where(right, past_best, light))
    # At standstill blades still catch air; and the thrust is never less than the shaft power needs.
    return np.maximum(ct, np.maximum(cp, 0.05))


def with_thrust_in_stall(curves: RotorCurves) -> RotorCurves:
    """Return curves of estimated thrust with more of it where the rotor has stalled, and how far that is unknown.

    Left of each pitch's best tip-speed ratio thrust is (1 + k·(1 − Cp/best)³) times the estimate: power falls in stall,
    but the blades still stop the air. k is 0 to 6, at first 1.5: what holds the true thrust of curves computed by
    blade-element momentum, of 14 blades at five pitches each (own computation, no measurement).

    Parameters
    ----------
    curves : with estimated thrust, (P, L)

    Returns
    -------
    The curves, with a slope for k.

    References
    ----------
    .. [1] Own computation, no measurement.
    """
    best = np.maximum(curves.power_coefficient.max(axis=1, keepdims=True), 1e-9)
    left = curves.tip_speed_ratio < curves.tip_speed_ratio[np.argmax(curves.power_coefficient, axis=1)][:, None]
    lost = np.where(left, 1 - np.clip(curves.power_coefficient / best, 0.0, 1.0), 0.0)
    more = curves.thrust_coefficient * lost**3
    slope = CurveSlope(STALL_THRUST_KEY, STALL_THRUST, np.zeros_like(more), more)
    return replace(curves, thrust_coefficient=curves.thrust_coefficient + STALL_THRUST * more, slopes=(slope,))


def least_thrust_coefficient(power_coefficient: Values) -> np.ndarray:
    """Return the least Ct that gives a power coefficient.

    Parameters
    ----------
    power_coefficient : float or array, any shape
        Cp at the shaft [-], up to 16/27; more is held there, and the thrust never falls below Cp.

    Returns
    -------
    array of the same shape
        4a(1−a) at the light root of Cp = 4a(1−a)² [-]: an ideal rotor gets as much from no less thrust.

    References
    ----------
    .. [1] Betz, see energy/aero/momentum.py.
    """
    cp = np.clip(np.asarray(power_coefficient, float), 0.0, None)
    induction = induction_of_power_coefficient(np.minimum(cp, BETZ_LIMIT))
    return np.maximum(thrust_coefficient_of_induction(induction), cp)


def thrust_coefficient_of_lift(solidity: Values, lift_coefficient: Values, tip_speed_ratio: Values) -> np.ndarray:
    """Return Ct of blades that turn at a tip-speed ratio with a mean lift coefficient.

    Parameters
    ----------
    solidity : float or array, any shape
        Blade area over swept area σ [-].
    lift_coefficient : float or array, any shape
        Mean lift coefficient of the blades at work [-].
    tip_speed_ratio : float or array, any shape
        Tip speed over air speed λ [-].

    Returns
    -------
    array of the broadcast shape
        σ·Cl·(λ²/3 + 4/9) [-]: the blades' relative speed squared over the disc, its axial part that of the Betz point
        (1 − a = 2/3); at most 1.1, about what stalls every blade.

    References
    ----------
    .. [1] Blade-element theory (from memory); the mean lift, the inflow held and the ceiling are common
       practice, no source.
    """
    ratio = np.asarray(tip_speed_ratio, float)
    coefficient = np.asarray(solidity) * np.asarray(lift_coefficient) * (ratio * ratio / 3.0 + 4.0 / 9.0)
    return np.minimum(coefficient, _HIGHEST_MEAN_THRUST)


def read_curves(path: Path) -> RotorCurves:
    """Return the curves of a CSV file with columns tip_speed_ratio, power_coefficient and, if known, pitch_deg and
    thrust_coefficient.

    One row a point; with several pitch angles every one needs the same tip-speed ratios.

    Parameters
    ----------
    path : the CSV file

    Returns
    -------
    The curves, from standstill on.

    Raises
    ------
    InputError
        For a point given twice, a missing point, a power coefficient above 16/27, or more shaft power than the thrust
        can give.
    """
    columns = {"tip_speed_ratio": "dimensionless", "power_coefficient": "dimensionless"}
    data = read_table(path, columns, optional={"pitch": "deg", "thrust_coefficient": "dimensionless"})
    pitch_of_row = data.get("pitch", np.zeros(len(data["tip_speed_ratio"])))
    ratios, pitches = np.unique(data["tip_speed_ratio"]), np.unique(pitch_of_row)
    row, column = np.searchsorted(pitches, pitch_of_row), np.searchsorted(ratios, data["tip_speed_ratio"])
    count = np.zeros((len(pitches), len(ratios)), dtype=int)
    np.add.at(count, (row, column), 1)
    problems = [*_grid_problems(path, ratios, pitches, count), *_range_problems(path, data)]
    if problems:
        raise InputError(problems)
    power = np.empty(count.shape)
    power[row, column] = data["power_coefficient"]
    if "thrust_coefficient" in data:
        thrust = np.empty(count.shape)
        thrust[row, column] = data["thrust_coefficient"]
        curves = RotorCurves(ratios, pitches, power, thrust)
    else:
        note = (
            "thrust estimated from the power coefficient by momentum theory: the curve file has no thrust_coefficient"
        )
        thrust = estimate_thrust_coefficient(ratios, power)
        curves = RotorCurves(ratios, pitches, power, thrust, thrust_is_estimated=True, notes=(note,))
    impossible = more_power_than_thrust(curves)
    if impossible:
        raise InputError([Problem(path.name, place, read, accepted) for place, read, accepted in impossible])
    curves = with_standstill(curves)
    return with_thrust_in_stall(curves) if curves.thrust_is_estimated else curves


def _grid_problems(path: Path, ratios: np.ndarray, pitches: np.ndarray, count: np.ndarray) -> list[Problem]:
    problems: list[Problem] = []
    if len(ratios) < 3:
        problems.append(Problem(path.name, "column tip_speed_ratio", f"{len(ratios)} different values", "at least 3"))
    if ratios[0] < 0:
        problems.append(Problem(path.name, "column tip_speed_ratio", f"{ratios[0]:g}", "0 or more"))
    for word, wrong in (("given more than once", count > 1), ("missing", count == 0)):
        for i, j in np.argwhere(wrong)[:5]:
            at = f"pitch {pitches[i]:g} deg, tip-speed ratio {ratios[j]:g}"
            problems.append(Problem(path.name, at, word, "one row for each tip-speed ratio at each pitch"))
    return problems


def _range_problems(path: Path, data: dict[str, np.ndarray]) -> list[Problem]:
    problems: list[Problem] = []
    power = data["power_coefficient"]
    best = int(np.argmax(power))
    pitch = data.get("pitch", np.zeros(len(power)))
    slower = (data["tip_speed_ratio"] < data["tip_speed_ratio"][best]) & (pitch == pitch[best])
    least = float(power[slower].min(initial=0.0) if power[best] > 0 else power.min())
    # A rotor that has to be driven harder than it ever gives before it gives any: the sign of another convention.
    if power[best] <= 0 or least < -power[best]:
        read, accepted = f"{least:g} to {power[best]:g}", "power that the rotor gives above 0, that drives it below 0"
        problems.append(Problem(path.name, "column power_coefficient", read, accepted))
    for name, highest, why in (
        ("power_coefficient", BETZ_LIMIT, "at most 16/27 = 0.5926, the Betz limit"),
        ("thrust_coefficient", 2.5, "up to 2.5 (a flat plate has about 1.2)"),
    ):
        # A driven rotor (no power) may brake harder than any plate: only points that give power are held to the limit.
        values = np.where(data["power_coefficient"] > 0, data.get(name, 0.0), 0.0)
        if (values > highest + TOLERANCE).any():
            worst = int(np.argmax(values))
            at = f"column {name}, tip-speed ratio {data['tip_speed_ratio'][worst]:g}"
            problems.append(Problem(path.name, at, f"{values[worst]:g}", why))
    return problems


def more_power_than_thrust(curves: RotorCurves) -> list[tuple[str, str, str]]:
    """Return (place, read, accepted) for points whose shaft power exceeds what the thrust gives up at the disc.

    Shaft power is at most thrust × air speed at the disc, Cp ≤ Ct·(1 − a). Thrust estimated from Cp and the rounding of
    published tables are allowed 3 % more.

    Parameters
    ----------
    curves : (P, L)

    Returns
    -------
    Up to five points; empty where there is none.

    References
    ----------
    .. [1] Momentum theory of energy/aero/momentum.py.
    """
    excess = curves.power_coefficient - disc_power_coefficient(curves.thrust_coefficient) * 1.03 - 0.002
    # Where the flow is turbulent (Ct > 0.96) only the free stream bounds the power: Cp ≤ Ct.
    turbulent = curves.thrust_coefficient > 0.96
    excess = np.where(turbulent, curves.power_coefficient - curves.thrust_coefficient, excess)
    impossible = []
    for i, j in np.argwhere(excess > 0)[:5]:
        cp, ct = curves.power_coefficient[i, j], curves.thrust_coefficient[i, j]
        place = f"pitch {curves.pitch_deg[i]:g} deg, tip-speed ratio {curves.tip_speed_ratio[j]:g}"
        limit = float(disc_power_coefficient(ct))
        impossible.append(
            (
                place,
                f"power coefficient {cp:g} with thrust coefficient {ct:g}",
                f"at most {limit:.3f} with that thrust (thrust times the air speed at the disc)",
            )
        )
    return impossible


def with_standstill(curves: RotorCurves) -> RotorCurves:
    """Return the curves with a first column at tip-speed ratio 0, where no power is made.

    Where the table begins above 0 the torque coefficient Cp/λ and the thrust coefficient of its first column are held
    down to standstill, which the notes say.

    Parameters
    ----------
    curves : (P, L)

    Returns
    -------
    The curves, (P, L) or (P, 1 + L).
    """
    first = curves.tip_speed_ratio[0]
    if first == 0:
        power = curves.power_coefficient.copy()
        power[:, 0] = 0.0
        return replace(curves, power_coefficient=power)
    note = (
        f"below tip-speed ratio {first:g} the curve file is silent: its first torque and thrust are held to standstill"
    )
    return replace(
        curves,
        tip_speed_ratio=np.concatenate([[0.0], curves.tip_speed_ratio]),
        power_coefficient=np.concatenate([np.zeros((len(curves.pitch_deg), 1)), curves.power_coefficient], axis=1),
        thrust_coefficient=np.concatenate([curves.thrust_coefficient[:, :1], curves.thrust_coefficient], axis=1),
        notes=(*curves.notes, note),
    )


def with_departures(curves: RotorCurves, departures: Sequence[float]) -> RotorCurves:
    """Return the curves with each of their slopes added in by one number; power stays within the Betz limit.

    Parameters
    ----------
    curves : with K slopes
    departures : (K,) by how much each input departs from its stated value [unit of the input]

    Returns
    -------
    The curves, without slopes.

    References
    ----------
    .. [1] First-order expansion, closed form; Betz limit of energy/aero/momentum.py.
    """
    power, thrust = curves.power_coefficient, curves.thrust_coefficient
    for slope, departure in zip(curves.slopes, departures, strict=True):
        power = power + departure * slope.power_coefficient
        thrust = thrust + departure * slope.thrust_coefficient
    return replace(curves, power_coefficient=np.minimum(power, BETZ_LIMIT), thrust_coefficient=thrust, slopes=())


def free_running_tip_speed_ratio(curves: RotorCurves, pitch_deg: float) -> float:
    """Return the tip-speed ratio at which an unloaded rotor settles: where Cp falls through zero on the fast side.

    Past the table's end Cp is carried on along its last slope if that falls; otherwise NaN (the table does not tell).

    Parameters
    ----------
    curves : (P, L)
    pitch_deg : [°]

    Returns
    -------
    [-]; NaN where the table does not show it.

    References
    ----------
    .. [1] Definition of free running; straight lines between points: common practice, no source.
    """
    cp = at_pitch(curves.power_coefficient, curves, pitch_deg)
    ratio = curves.tip_speed_ratio
    falling = np.flatnonzero((cp[:-1] > 0) & (cp[1:] <= 0))
    if falling.size:
        k = falling[-1]
        return float(ratio[k] + (ratio[k + 1] - ratio[k]) * cp[k] / (cp[k] - cp[k + 1]))
    slope = (cp[-1] - cp[-2]) / (ratio[-1] - ratio[-2])
    return float(ratio[-1] - cp[-1] / slope) if cp[-1] > 0 and slope < 0 else float("nan")


def at_pitch(values: np.ndarray, curves: RotorCurves, pitch_deg: Values) -> np.ndarray:
    """Return `values` (P, L) interpolated linearly to pitches of any shape S -> (*S, L); pitch clipped to the table.

    Parameters
    ----------
    values : (P, L)
    curves : whose pitches the rows are
    pitch_deg : [°] any shape S

    Returns
    -------
    Of the values' unit, (*S, L).

    References
    ----------
    .. [1] Linear interpolation, closed form.
    """
    pitch = np.clip(np.asarray(pitch_deg, float), curves.pitch_deg[0], curves.pitch_deg[-1])
    if len(curves.pitch_deg) == 1:
        return np.broadcast_to(values[0], (*pitch.shape, values.shape[1]))
    row, share = cell_of(curves.pitch_deg, pitch)
    return values[row] + share[..., None] * (values[row + 1] - values[row])


def write_curves(path: Path, curves: RotorCurves, inputs: Iterable[Path] = (), *, force: bool = False) -> None:
    """Write the curves as a CSV file that `read_curves` takes, pitch by pitch, whole or not at all.

    Columns `tip_speed_ratio,pitch_deg,power_coefficient,thrust_coefficient`; the notes stand above as comment lines.
    `inputs` are files that it must not replace, `force` lets it replace others. Raises InputError.

    Parameters
    ----------
    path : the file to write
    curves : (P, L)
    inputs : files that must not be replaced
    force : replace another file that exists

    Returns
    -------
    Nothing.

    Raises
    ------
    InputError
        Where a file stands in the way.
    """
    lines = [f"# {' '.join(note.split())}" for note in curves.notes]
    lines.append("tip_speed_ratio,pitch_deg,power_coefficient,thrust_coefficient")
    for p, pitch in enumerate(curves.pitch_deg):
        for k, ratio in enumerate(curves.tip_speed_ratio):
            cells = (ratio, pitch, curves.power_coefficient[p, k], curves.thrust_coefficient[p, k])
            lines.append(",".join(f"{cell:.10g}" for cell in cells))
    write_output(path, ("\n".join(lines) + "\n").encode(), inputs, force=force)
