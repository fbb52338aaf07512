"""Section polars: lift and drag over the angle of attack, from a file or a formula, extended to every angle.

A polar measured to 20 degrees is not enough for a rotor: starting, feathering and braking put sections at any angle.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vehicle.problems import InputError, Problem
from vehicle.tables import increasing, read_table

TABLE_STEP_DEG = 0.1
WAKE_FADE_DEG = 8.0
LEAST_DRAG = 1e-4
MOST_STALL_DELAY = 0.5
_SUCTION_LOST = 0.7  # of a sharp leading edge
_ROUNDING_PER_DEG = 1e-9  # a slope below it is the rounding of a fit

_LIFT_NAMES = ("lift_coefficient", "cl")
_DRAG_NAMES = ("drag_coefficient", "cd", "cdw", "cdp")


@dataclass(frozen=True)
class SectionPolar:
    """Lift and drag coefficient of one section at one Reynolds number.

    `alpha_deg` rises strictly; the arrays have one length.
    """

    alpha_deg: np.ndarray
    lift_coefficient: np.ndarray
    drag_coefficient: np.ndarray
    reynolds_number: float | None = None
    is_estimated: bool = False
    name: str = "polar"
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class FullPolar:
    """A polar on the uniform angles -180..180 degrees in steps of `TABLE_STEP_DEG`, with its marks.

    `zero_lift_deg` is the angle of no lift, `stall_deg` and `negative_stall_deg` the ends of the attached range,
    `lift_slope_per_deg` the slope of the attached line.
    """

    alpha_deg: np.ndarray
    lift_coefficient: np.ndarray
    drag_coefficient: np.ndarray
    zero_lift_deg: float
    stall_deg: float
    negative_stall_deg: float
    lift_slope_per_deg: float
    reynolds_number: float | None
    notes: tuple[str, ...]


def read_polars(path: Path, reynolds_number: float | None = None) -> tuple[SectionPolar, ...]:
    """Return the polars of a CSV file, one for each Reynolds number in it, by rising Reynolds number.

    Columns: `alpha_deg`, `lift_coefficient` (or `cl`), `drag_coefficient` (or `cd`, or the pressure drag `cdp` and the
    total drag from a wake traverse `cdw`, blank where not measured), and optionally `reynolds_number`; any other is not
    looked at. `reynolds_number` given here holds for a file without that column. Raises InputError.

    Parameters
    ----------
    path : the CSV file
    reynolds_number : [-]

    Returns
    -------
    The polars.

    Raises
    ------
    InputError
        For a column that is missing or a point that cannot be.
    """
    plain = "dimensionless"
    names = (*_LIFT_NAMES, *_DRAG_NAMES, "reynolds_number")
    table = read_table(
        path,
        {"alpha": "deg"},
        optional=dict.fromkeys(names, plain),
        blanks_allowed=("cdw", "cdp"),
        least_rows=4,
    )
    problems = _missing_columns(path, table) + _odd_values(path, table)
    if reynolds_number is not None and not 1e3 <= reynolds_number <= 1e9:
        problems.append(Problem(path.name, "reynolds_number", f"{reynolds_number:g}", "a number from 1e3 to 1e9"))
    if problems:
        raise InputError(problems)
    column = table.get("reynolds_number")
    if column is None:
        return (_one_polar(path, table, reynolds_number),)
    return tuple(
        _one_polar(path, {name: values[column == number] for name, values in table.items()}, float(number))
        for number in np.unique(column)
    )


def _missing_columns(path: Path, table: dict[str, np.ndarray]) -> list[Problem]:
    problems = []
    for what, names in (("lift", _LIFT_NAMES), ("drag", _DRAG_NAMES)):
        present = [name for name in names if name in table]
        if not present:
            problems.append(
                Problem(path.name, f"column {names[0]}", "missing", f"a column {' or '.join(names)} with the {what}")
            )
        if len(present) > 1 and not set(present) <= {"cdw", "cdp"}:
            problems.append(Problem(path.name, f"columns {', '.join(present)}", f"{what} given twice", "one of them"))
    return problems


def _odd_values(path: Path, table: dict[str, np.ndarray]) -> list[Problem]:
    limits = {"alpha": (-180.0, 180.0, "degrees from -180 to 180"), "reynolds_number": (1e3, 1e9, "1e3 to 1e9")}
    limits |= dict.fromkeys(_LIFT_NAMES, (-5.0, 5.0, "a coefficient from -5 to 5"))
    limits |= dict.fromkeys(_DRAG_NAMES, (0.0, 5.0, "a coefficient from 0 to 5"))
    problems = []
    for name, values in table.items():
        low, high, accepted = limits[name]
        wrong = np.flatnonzero((values < low) | (values > high))
        if wrong.size:
            row = int(wrong[0])
            problems.append(
                Problem(path.name, f"column {name}, row {row + 1} of the numbers", f"{values[row]:g}", accepted)
            )
    return problems


def _one_polar(path: Path, table: dict[str, np.ndarray], reynolds_number: float | None) -> SectionPolar:
    alpha = table["alpha"]
    increasing(path, "alpha_deg", alpha)
    lift = next(table[name] for name in _LIFT_NAMES if name in table)
    if alpha.size < 4 or alpha[-1] - alpha[0] < 5.0:
        raise InputError(
            Problem(
                path.name,
                "column alpha_deg",
                f"{alpha.size} angles over {np.ptp(alpha):.3g} degrees",
                "at least 4 angles over 5 degrees for each Reynolds number",
            )
        )
    near = (alpha >= -8.0) & (alpha <= 8.0)
    if near.sum() >= 2 and np.polyfit(alpha[near], lift[near], 1)[0] <= _ROUNDING_PER_DEG:
        raise InputError(
            Problem(
                path.name,
                "column lift",
                "falls with the angle of attack between -8 and 8 degrees",
                "lift that rises with the angle (is the angle signed the other way, or the blade upside down?)",
            )
        )
    drag, notes = _total_drag(path, table)
    return SectionPolar(alpha, lift, drag, reynolds_number, name=path.name, notes=tuple(notes))


def _total_drag(path: Path, table: dict[str, np.ndarray]) -> tuple[np.ndarray, list[str]]:
    """Return drag over the angle, the wake column carried on into the pressure column where it ends, and notes."""
    for name in ("drag_coefficient", "cd"):
        if name in table:
            return table[name], []
    pressure, wake = table.get("cdp"), table.get("cdw")
    if wake is not None and np.isfinite(wake).sum() >= 2:
        if pressure is None:
            if np.isnan(wake).any():
                raise InputError(
                    Problem(path.name, "column cdw", "blank cells and no column cdp", "cdw filled, or a column cdp")
                )
            return wake, []
        return blend_wake_drag(table["alpha"], _filled(path, table["alpha"], pressure), wake), [
            f"{path.name}: drag is the wake-traverse value (cdw) where measured; outside, pressure drag (cdp) plus the "
            f"wake's excess at its end, faded to none over {WAKE_FADE_DEG:g} degrees (our rule)"
        ]
    if pressure is None:
        raise InputError(Problem(path.name, "column cdw", "fewer than two numbers", "the drag of each row"))
    return _filled(path, table["alpha"], pressure), [
        f"{path.name}: pressure drag only (cdp): skin friction is missing, so power comes out too high"
    ]


def _filled(path: Path, alpha: np.ndarray, values: np.ndarray) -> np.ndarray:
    if np.isnan(values).any():
        row = int(np.argmax(np.isnan(values)))
        raise InputError(Problem(path.name, f"column cdp, row {row + 1} of the numbers", "an empty cell", "a number"))
    return values


def blend_wake_drag(alpha_deg: np.ndarray, pressure_drag: np.ndarray, wake_drag: np.ndarray) -> np.ndarray:
    """Return total drag (N,): `wake_drag` where finite, else pressure drag plus a share of the wake's excess.

    Between wake points the excess is interpolated; outside it fades linearly to none over `WAKE_FADE_DEG`, and while
    it fades the drag does not fall below the last wake value (a fall there is an artefact of changing the method).

    Parameters
    ----------
    alpha_deg : [°] (N,) rising
    pressure_drag, wake_drag : [-] (N,); NaN where the wake was not measured

    Returns
    -------
    [-] (N,).

    References
    ----------
    .. [1] Own rule, no source.
    """
    known = np.isfinite(wake_drag)
    angles, excess = alpha_deg[known], (wake_drag - pressure_drag)[known]
    fade = np.clip(1.0 - np.maximum(angles[0] - alpha_deg, alpha_deg - angles[-1]) / WAKE_FADE_DEG, 0.0, 1.0)
    drag = pressure_drag + np.interp(alpha_deg, angles, excess) * fade
    floor = np.interp(alpha_deg, angles, wake_drag[known])
    outside = (alpha_deg < angles[0]) | (alpha_deg > angles[-1])
    drag = np.where(outside & (fade > 0), np.maximum(drag, floor), drag)
    return np.where(known, wake_drag, drag)


def cambered_plate_polar(
    camber: float, reynolds_number: float = 2e5, *, thickness: float = 0.03, name: str = "thin cambered plate"
) -> SectionPolar:
    """Return an ESTIMATED polar of a thin circular-arc plate, from -12 to 24 degrees.

    `camber` is the arc's height over the chord (0..0.15), `thickness` the plate's thickness over the chord. Lift line:
    thin-aerofoil theory, 2 pi (alpha + 2 camber), times 0.9 for viscosity; friction: 0.074 Re^-0.2 on both sides
    (turbulent flat plate, Prandtl), both from memory. A sharp leading edge loses its suction: above the ideal lift
    4 pi camber (times 0.9), at which the flow meets the edge smoothly, the force stands square on the chord, so that
    its drag is the lift gained times tan alpha (from memory); 0.7 of that is taken, as some of the suction comes back
    round the bubble behind the edge (our share, no source). Highest lift 0.9 + 5 camber, form drag 0.1 thickness + 2
    camber^2 and the drag of lost lift are common practice, no source: expect +-20 % in lift, +-50 % in drag. At a
    Reynolds number of 1e5 lift over drag reaches 11 for a flat plate and 30 at 6 % camber (published 10 to 12 and 25
    to 35, from memory).

    Parameters
    ----------
    camber : [-] 0 to 0.15
    reynolds_number : [-]
    thickness : [-] above 0, to 0.2
    name : what a message calls it

    Returns
    -------
    The polar, marked as estimated.

    Raises
    ------
    InputError
        For a camber or thickness outside these.

    References
    ----------
    .. [1] Thin-aerofoil theory and Prandtl's turbulent flat plate, from memory; the rest common practice, no source.
    """
    if not 0.0 <= camber <= 0.15:
        raise InputError(Problem(name, "camber", f"{camber:g} of the chord", "0 to 0.15"))
    if not 0.0 < thickness <= 0.2:
        raise InputError(Problem(name, "thickness", f"{thickness:g} of the chord", "above 0, to 0.2"))
    alpha = np.arange(-12.0, 24.01, 0.5)
    line = 0.9 * 2.0 * math.pi * (np.radians(alpha) + 2.0 * camber)
    top, bottom = 0.9 + 5.0 * camber, -0.7
    # The lift leaves the line smoothly and sags after the top: a smooth minimum of the line and a falling shelf.
    shelf = top - 0.012 * np.maximum(alpha - 10.0, 0.0)
    lift = _smooth_least(line, shelf)
    lift = -_smooth_least(-lift, np.full_like(alpha, -bottom))
    friction = 2.0 * 0.074 * reynolds_number**-0.2 + 0.1 * thickness + 2.0 * camber**2
    ideal = 0.9 * 4.0 * math.pi * camber
    suction_lost = np.maximum((lift - ideal) * np.tan(np.radians(alpha)), 0.0)
    lost_lift = np.abs(line - lift) * np.abs(np.sin(np.radians(alpha)))
    drag = friction + _SUCTION_LOST * suction_lost + 0.25 * lost_lift
    notes = (
        f"{name}: estimated by formula (camber {100 * camber:.3g} % of the chord), not measured: "
        "take lift as +-20 % and drag as +-50 %",
    )
    return SectionPolar(alpha, lift, drag, reynolds_number, True, name, notes)


def _smooth_least(first: np.ndarray, second: np.ndarray, width: float = 0.08) -> np.ndarray:
    return 0.5 * (first + second - np.sqrt((first - second) ** 2 + width**2))


def tube_blade_polar(chord_m: float, tube_radius_m: float, wall_m: float, reynolds_number: float = 2e5) -> SectionPolar:
    """Return the ESTIMATED polar of a blade cut from a tube: a circular arc of the tube's mean radius.

    The camber is the arc's height over the chord.
    See `cambered_plate_polar` for the formula and its limits.

    Parameters
    ----------
    chord_m, tube_radius_m, wall_m : [m] the radius is the tube's mean one
    reynolds_number : [-]

    Returns
    -------
    The polar, marked as estimated.

    Raises
    ------
    InputError
        Where the chord is longer than the tube is wide.

    References
    ----------
    .. [1] Geometry of a circular arc, closed form; then as `cambered_plate_polar`.
    """
    if not (tube_radius_m > 0 and wall_m > 0 and 0 < chord_m < 2.0 * tube_radius_m):
        read = f"chord {chord_m:g} m, tube radius {tube_radius_m:g} m, wall {wall_m:g} m"
        raise InputError(
            Problem("tube-cut blade", "", read, "a chord shorter than the tube's diameter, all above zero")
        )
    height = tube_radius_m - math.sqrt(tube_radius_m**2 - 0.25 * chord_m**2)
    camber = height / chord_m
    if camber > 0.15:
        raise InputError(
            Problem(
                "tube-cut blade",
                "",
                f"camber {100 * camber:.3g} % of the chord (chord {chord_m:g} m, tube radius {tube_radius_m:g} m)",
                "at most 15 %: a shorter chord or a wider tube",
            )
        )
    return cambered_plate_polar(
        camber, reynolds_number, thickness=min(wall_m / chord_m, 0.2), name="blade cut from a tube"
    )


def full_polar(polar: SectionPolar, aspect_ratio: float) -> FullPolar:
    """Return `polar` extended to -180..180 degrees by the method of Viterna and Corrigan (1981), from memory.

    `aspect_ratio` is the blade's length over its chord; it sets the drag across the flow, 1.11 + 0.018 aspect ratio
    (at most 50). Angles inside the polar keep its own values. Beyond 90 degrees the mirrored lift is taken times 0.7.
    A polar without negative angles gets the attached line carried on to -0.7 of its highest lift.

    Parameters
    ----------
    polar : of some angles
    aspect_ratio : [-]

    Returns
    -------
    The tables over all angles, every 0.1°.

    References
    ----------
    .. [1] Viterna and Corrigan (1981), from memory.
    """
    notes = list(polar.notes)
    alpha, lift, drag = _with_negative_side(polar, notes)
    across = 1.11 + 0.018 * min(max(aspect_ratio, 1.0), 50.0)
    alpha, lift, drag = _extended(alpha, lift, drag, across)
    low_alpha, low_lift, low_drag = _extended(-alpha[::-1], -lift[::-1], drag[::-1], across)
    alpha, lift, drag = -low_alpha[::-1], -low_lift[::-1], low_drag[::-1]
    grid = np.arange(-1800, 1801) * TABLE_STEP_DEG
    lift_table, drag_table = np.interp(grid, alpha, lift), np.interp(grid, alpha, drag)
    measured = (grid >= polar.alpha_deg[0]) & (grid <= polar.alpha_deg[-1])  # there a drag of nought is the user's word
    drag_table = np.where(measured, drag_table, np.maximum(drag_table, LEAST_DRAG))
    zero, slope, stall, negative_stall = _marks(grid, lift_table)
    if polar.lift_coefficient[-1] >= 0.85 * slope * (polar.alpha_deg[-1] - zero) and polar.alpha_deg[-1] < 45.0:
        notes.append(f"{polar.name}: ends at {polar.alpha_deg[-1]:g} degrees, before its stall: stall is extrapolated")
    notes.append(
        f"{polar.name}: measured {polar.alpha_deg[0]:g} to {polar.alpha_deg[-1]:g} degrees, beyond extended by Viterna "
        "and Corrigan's method"
        if not polar.is_estimated
        else f"{polar.name}: beyond {polar.alpha_deg[-1]:g} degrees extended by Viterna and Corrigan's method"
    )
    return FullPolar(
        grid, lift_table, drag_table, zero, stall, negative_stall, slope, polar.reynolds_number, tuple(notes)
    )


def _with_negative_side(polar: SectionPolar, notes: list[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the polar's points, with the negative side filled in where the file has none to speak of."""
    alpha, lift, drag = polar.alpha_deg, polar.lift_coefficient, polar.drag_coefficient
    highest = float(lift[alpha <= 45.0].max()) if (alpha <= 45.0).any() else 1.0
    target = -0.7 * max(highest, 0.3)
    if lift[0] <= 0.5 * target or alpha[0] <= -15.0:
        return alpha, lift, drag
    rising = alpha <= alpha[0] + 6.0
    slope = max(float(np.polyfit(alpha[rising], lift[rising], 1)[0]), 0.02) if rising.sum() >= 2 else 0.1
    end = alpha[0] + (target - lift[0]) / slope
    notes.append(
        f"{polar.name}: starts at {alpha[0]:g} degrees: the negative side is an assumption (attached line to "
        f"a lift of {target:.2g})"
    )
    crest = float(np.interp(alpha[int(np.argmax(np.where(alpha <= 45.0, lift, -9.0)))], alpha, drag))
    middle = 0.5 * (end + alpha[0])
    return (
        np.concatenate([[end, middle], alpha]),
        np.concatenate([[target, 0.5 * (target + lift[0])], lift]),
        np.concatenate([[max(crest, float(drag[0]))], [drag[0] + 0.25 * max(crest - drag[0], 0.0)], drag]),
    )


def _extended(
    alpha: np.ndarray, lift: np.ndarray, drag: np.ndarray, across: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the points with the side from the last angle to 180 degrees added (Viterna and Corrigan)."""
    last = float(alpha[-1])
    if last < 85.0:
        matched = math.radians(max(last, 1.0))
        sine, cosine = math.sin(matched), math.cos(matched)
        angle = np.radians(np.arange(math.floor(last) + 2.0, 90.05, TABLE_STEP_DEG))
        share_lift = (lift[-1] - across * sine * cosine) * sine / cosine**2
        share_drag = (drag[-1] - across * sine**2) / cosine
        beyond_lift = 0.5 * across * np.sin(2.0 * angle) + share_lift * np.cos(angle) ** 2 / np.sin(angle)
        beyond_drag = across * np.sin(angle) ** 2 + share_drag * np.cos(angle)
        alpha = np.concatenate([alpha, np.degrees(angle)])
        lift = np.concatenate([lift, beyond_lift])
        drag = np.concatenate([drag, np.maximum(beyond_drag, min(float(drag[-1]), 0.01))])
    if alpha[-1] >= 175.0:
        return alpha, lift, drag
    # Tail first: the mirrored front, lift times 0.7; within the front's attached range it runs straight to no lift.
    foot = min(max(last, 10.0), 30.0)
    angle = np.arange(max(100.0, math.floor(float(alpha[-1])) + 5.0), 180.0 - foot + 0.01, TABLE_STEP_DEG)
    back = 180.0 - angle
    end_drag = max(float(np.interp(2.0, alpha, drag)), LEAST_DRAG)
    return (
        np.concatenate([alpha, angle, [180.0]]),
        np.concatenate([lift, -0.7 * np.interp(back, alpha, lift), [0.0]]),
        np.concatenate([drag, np.interp(back, alpha, drag), [end_drag]]),
    )


def _marks(grid: np.ndarray, lift: np.ndarray) -> tuple[float, float, float, float]:
    """Return zero-lift angle, attached slope per degree, stall angle and negative stall angle of a full table."""
    start = int(np.searchsorted(grid, -25.0))
    stop = int(np.searchsorted(grid, 25.0))
    inner = lift[start:stop]
    crossings = np.flatnonzero((inner[:-1] <= 0) & (inner[1:] > 0))
    if crossings.size:
        at = start + int(crossings[np.argmin(np.abs(grid[start + crossings]))])
        zero = float(grid[at] - lift[at] * (grid[at + 1] - grid[at]) / (lift[at + 1] - lift[at]))
    else:
        zero = float(grid[start + int(np.argmin(np.abs(inner)))])
    slope = float(np.interp(zero + 4.0, grid, lift) - np.interp(zero - 1.0, grid, lift)) / 5.0
    slope = max(slope, 0.02)
    return zero, slope, _stall(zero, slope, grid, lift), -_stall(-zero, slope, -grid[::-1], -lift[::-1])


def _stall(zero: float, slope: float, grid: np.ndarray, lift: np.ndarray) -> float:
    """Return the angle where the attached range ends: its first crest, or where a fifth of the line's lift is lost."""
    angle = zero + np.arange(2.0, 45.0, TABLE_STEP_DEG)
    value = np.interp(angle, grid, lift)
    lost = np.flatnonzero((value < 0.8 * slope * (angle - zero)) & (angle > zero + 4.0))
    crest = np.maximum.accumulate(value)
    fallen = np.flatnonzero(value < crest - 0.03 * np.abs(crest))
    ends = [45.0]
    if lost.size:
        ends.append(float(angle[lost[0]]))
    if fallen.size:
        ends.append(float(angle[int(np.argmax(value[: fallen[0]]))]))
    return min(ends)


def with_stall_delay(full: FullPolar, chord_over_radius: float | np.ndarray) -> np.ndarray:
    """Return the lift table of `full` with rotational stall delay, one for each section.

    Lift is raised by 3 (chord/radius)^2 of its gap to the attached line (Snel, Houwink and Bosschers 1994, from
    memory), fully to 30 degrees over zero lift and fading to none at 50; drag stays (no published correction fixes all
    speeds). Never by more than half of the gap: on wide hand-made chords the square passes 1 over half of the span,
    and all of the gap would mean that such a blade never stalls. The formula was made for slender blades, which reach a
    half only at their roots; there measurement does not tell a half from all (our bound, no source).

    Parameters
    ----------
    full : the polar over all angles
    chord_over_radius : [-] any shape

    Returns
    -------
    [-] lift coefficients, that shape and (3601,).

    References
    ----------
    .. [1] Snel, Houwink and Bosschers (1994), from memory; the bound of a half is ours, no source.
    """
    above = full.alpha_deg - full.zero_lift_deg
    gap = full.lift_slope_per_deg * above - full.lift_coefficient
    fade = np.clip((50.0 - above) / 20.0, 0.0, 1.0) * (above > 0)
    share = np.minimum(3.0 * np.square(chord_over_radius), MOST_STALL_DELAY)
    raised = share[..., None] * (np.maximum(gap, 0.0) * fade)
    raised += full.lift_coefficient
    return np.asarray(raised)


def by_reynolds(polars: Sequence[SectionPolar]) -> tuple[SectionPolar, ...]:
    """Return the polars by rising Reynolds number; InputError where there is none, or several not told apart.

    Parameters
    ----------
    polars : in any order

    Returns
    -------
    The polars, by rising Reynolds number.

    Raises
    ------
    InputError
        Where there is none, or several do not differ in Reynolds number.
    """
    if not polars:
        raise InputError(Problem("polar", "", "no polar", "at least one section polar"))
    if len(polars) == 1:
        return tuple(polars)
    unknown = [polar.name for polar in polars if polar.reynolds_number is None]
    if unknown:
        raise InputError(Problem(unknown[0], "reynolds_number", "missing, with several polars", "one for each polar"))
    ordered = sorted(polars, key=lambda polar: polar.reynolds_number or 0.0)
    numbers = [polar.reynolds_number for polar in ordered]
    twice = [b.name for a, b in itertools.pairwise(ordered) if a.reynolds_number == b.reynolds_number]
    if twice:
        raise InputError(Problem(twice[0], "reynolds_number", f"one given twice, of {numbers}", "each once"))
    return tuple(ordered)
