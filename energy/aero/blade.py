"""Power and thrust curves from blade geometry and section polars.

The pure core: files to arrays, arrays to `BladeCurves`. The equations are in `energy.aero.blade_element`, the polars in
`energy.aero.polar`; `energy.aero.curve_cache` keeps what was computed.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np

from energy.aero.blade_element import Sections, SectionStates, solve
from energy.aero.curves import RotorCurves
from energy.aero.polar import (
    FullPolar,
    SectionPolar,
    by_reynolds,
    cambered_plate_polar,
    full_polar,
    tube_blade_polar,
    with_stall_delay,
)
from energy.aero.stall import stall_error
from vehicle.constants import FOOT_M
from vehicle.problems import InputError, Problem
from vehicle.tables import increasing, read_table

STALL_SHARE_LIMIT = 0.2

AIR_SPEED_DEFAULT_M_S = 25.0
VISCOSITY_DEFAULT_M2_S = 1.46e-5  # air at 15 degC


@dataclass(frozen=True)
class Blade:
    """One rotor's blades. Lengths in metres; `twist_deg` positive towards feather, as in the file.

    `radius_m`, `chord_m`, `twist_deg` are the stations (N,); the last station is the tip. `hub_radius_m` is where the
    root begins; between it and `aerofoil_start_m` the root is bare: a bar of `root_diameter_m` across the flow (0: no
    drag) with drag coefficient `root_drag_coefficient` (1.2 for a cylinder below its critical Reynolds number, from
    memory).
    """

    radius_m: np.ndarray
    chord_m: np.ndarray
    twist_deg: np.ndarray
    number_of_blades: int
    hub_radius_m: float
    aerofoil_start_m: float
    root_diameter_m: float = 0.0
    root_drag_coefficient: float = 1.2
    name: str = "blade"

    @property
    def tip_radius_m(self) -> float:
        """Radius of the tip, the last station, in metres."""
        return float(self.radius_m[-1])

    @property
    def aspect_ratio(self) -> float:
        """Length of the aerofoil part over the chord at three quarters of the radius."""
        chord = float(np.interp(0.75 * self.tip_radius_m, self.radius_m, self.chord_m))
        return (self.tip_radius_m - self.aerofoil_start_m) / chord

    @property
    def area_m2(self) -> float:
        """Area of one blade's aerofoil part (chord over radius, straight lines between stations), in m²."""
        radius, chord = self._outside(self.aerofoil_start_m)
        return float(np.trapezoid(chord, radius))

    @property
    def solidity(self) -> float:
        """Area of all blades over the swept area."""
        return self.number_of_blades * self.area_m2 / (math.pi * self.tip_radius_m**2)

    @property
    def middle_radius_m(self) -> float:
        """Radius of the middle of a blade's area, in metres: of its middle mass where the thickness is even."""
        radius, chord = self._outside(self.aerofoil_start_m)
        fine = np.unique(np.concatenate([radius, np.linspace(radius[0], radius[-1], 200)]))
        return float(np.trapezoid(fine * np.interp(fine, radius, chord), fine)) / self.area_m2

    @property
    def outer_chord_m(self) -> float:
        """Mean chord of the outer half of the radius, in metres."""
        radius, chord = self._outside(max(self.tip_radius_m / 2, self.aerofoil_start_m))
        return float(np.trapezoid(chord, radius)) / float(radius[-1] - radius[0])

    def _outside(self, start_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Return radius and chord of the blade from a radius outwards."""
        beyond = self.radius_m > start_m
        inner = np.interp(start_m, self.radius_m, self.chord_m)
        return np.r_[start_m, self.radius_m[beyond]], np.r_[inner, self.chord_m[beyond]]

    def twist_at(self, fraction: float) -> float:
        """Return the twist in degrees at `fraction` of the tip radius (straight lines between stations).

        Parameters
        ----------
        fraction : [-] radius over tip radius

        Returns
        -------
        [°] towards feather.
        """
        return float(np.interp(fraction * self.tip_radius_m, self.radius_m, self.twist_deg))


@dataclass(frozen=True)
class PitchConvention:
    """What a pitch reading means.

    `measured_at`: fraction of the tip radius whose chord is meant (1 = the tip chord, 0.75 = at three quarters), or
    None: the pitch is what has to be added to the twist column (the chord of the station of zero twist is meant).
    `zero_is`: where the dial shows 0, with that chord in the rotor plane ("flat") or along the rotor axis ("feather").
    `positive_towards`: "feather" or "flat".
    """

    measured_at: float | None = None
    zero_is: Literal["flat", "feather"] = "flat"
    positive_towards: Literal["feather", "flat"] = "feather"

    def __post_init__(self) -> None:
        if self.measured_at is not None and not 0.0 < self.measured_at <= 1.0:
            raise InputError(
                Problem("pitch", "measured_at", f"{self.measured_at:g} of the radius", "above 0, to 1 (1 = the tip)")
            )

    def chord_angle_deg(self, setting_deg: np.ndarray) -> np.ndarray:
        """Return the angle of the meant chord from the rotor plane, towards feather, for readings of the dial.

        Parameters
        ----------
        setting_deg : [°] any shape

        Returns
        -------
        [°], of that shape.
        """
        signed = np.asarray(setting_deg, float) * (1.0 if self.positive_towards == "feather" else -1.0)
        return signed + (90.0 if self.zero_is == "feather" else 0.0)

    def setting_deg(self, chord_angle_deg: np.ndarray) -> np.ndarray:
        """Return the reading of the dial at an angle of the meant chord from the rotor plane (inverse of the above).

        Parameters
        ----------
        chord_angle_deg : [°] any shape

        Returns
        -------
        [°], of that shape.
        """
        signed = np.asarray(chord_angle_deg, float) - (90.0 if self.zero_is == "feather" else 0.0)
        return signed * (1.0 if self.positive_towards == "feather" else -1.0)

    def describe(self) -> str:
        """Return the convention as one sentence.

        Returns
        -------
        The sentence, without a full stop.
        """
        place = {None: "the chord of zero twist", 1.0: "the tip chord"}.get(
            self.measured_at, f"the chord at {100 * (self.measured_at or 0):.0f} % of the radius"
        )
        zero = "in the rotor plane" if self.zero_is == "flat" else "along the rotor axis (feathered)"
        return f"pitch is measured at {place}; 0 means {zero}; positive turns towards {self.positive_towards}"


@dataclass(frozen=True)
class Corrections:
    """Which corrections are on. Each that is on is named in the curves' notes.

    `yaw_deg`: angle between the air and the rotor axis; only the axial component of the air speed is used.
    `speed_factor`: air speed at the rotor over the free air speed (speed-up over a roof, shear), 1 = none.
    `blockage_area_ratio`: rotor area over the cross-section of the duct or tunnel it stands in, 0 = free air.
    """

    tip_loss: bool = True
    root_loss: bool = True
    wake_rotation: bool = True
    stall_delay: bool = True
    root_drag: bool = True
    yaw_deg: float = 0.0
    speed_factor: float = 1.0
    blockage_area_ratio: float = 0.0

    def __post_init__(self) -> None:
        checks = (
            ("yaw", f"{self.yaw_deg:g} degrees", abs(self.yaw_deg) <= 60.0, "-60 to 60 degrees"),
            ("speed_factor", f"{self.speed_factor:g}", 0.2 <= self.speed_factor <= 2.0, "0.2 to 2"),
            (
                "blockage_area_ratio",
                f"{self.blockage_area_ratio:g}",
                0.0 <= self.blockage_area_ratio <= 0.3,
                "0 to 0.3",
            ),
        )
        problems = [Problem("rotor", key, read, accepted) for key, read, good, accepted in checks if not good]
        if problems:
            raise InputError(problems)


@dataclass(frozen=True)
class Root:
    """Where a blade begins: see `Blade`. None stands for the first station."""

    hub_radius_m: float | None = None
    aerofoil_start_m: float | None = None
    diameter_m: float = 0.0
    drag_coefficient: float = 1.2


@dataclass(frozen=True)
class CurveSettings:
    """How curves are computed: what the pitch means, the corrections, the number of sections, and the air.

    Air speed [m/s] and kinematic viscosity [m²/s] set the Reynolds numbers and matter only with polars at several.
    """

    convention: PitchConvention = field(default_factory=PitchConvention)
    corrections: Corrections = field(default_factory=Corrections)
    sections: int = 30
    air_speed_m_s: float = AIR_SPEED_DEFAULT_M_S
    kinematic_viscosity_m2_s: float = VISCOSITY_DEFAULT_M2_S


@dataclass(frozen=True)
class BladeCurves:
    """Curves over tip-speed ratio (L,) and pitch (P,), both rising; the maps are (P, L).

    `pitch_deg` is positive towards feather, 0 with the meant chord in the rotor plane. `stalled_torque_share` is the
    stalled sections' share of the torque's size (0..1); `multiple_roots` flags points where a section had several
    states; `worst_residual` is the largest error of the section balance, in local speed ratio over (1 + local speed
    ratio).
    """

    tip_speed_ratio: np.ndarray
    pitch_deg: np.ndarray
    power_coefficient: np.ndarray
    thrust_coefficient: np.ndarray
    stalled_torque_share: np.ndarray
    multiple_roots: np.ndarray
    worst_residual: float = 0.0
    notes: tuple[str, ...] = field(default=())

    @property
    def stalled(self) -> np.ndarray:
        """(P, L) True where more than `STALL_SHARE_LIMIT` of the torque comes from stalled sections."""
        return np.asarray(self.stalled_torque_share > STALL_SHARE_LIMIT)


def read_blade(
    path: Path,
    number_of_blades: int,
    root: Root | None = None,
    *,
    twist_positive_towards: Literal["feather", "flat"] = "feather",
) -> Blade:
    """Return the blade of a CSV file with the columns radius, chord, twist, units in the headers (as `chord_in`).

    The last station is the tip.

    Parameters
    ----------
    path : the CSV file
    number_of_blades : [1]
    root : what the aerofoil begins at; none without it
    twist_positive_towards : how the file counts twist

    Returns
    -------
    The blade, stations (N,) from root to tip, twist towards feather.

    Raises
    ------
    InputError
        Naming the file, the row and what would be accepted.
    """
    table = read_table(path, {"radius": "m", "chord": "m", "twist": "deg"}, least_rows=2)
    increasing(path, "radius", table["radius"])
    sign = 1.0 if twist_positive_towards == "feather" else -1.0
    return blade_from_stations(
        table["radius"], table["chord"], sign * table["twist"], number_of_blades, root, name=path.name
    )


def blade_from_stations(
    radius_m: np.ndarray,
    chord_m: np.ndarray,
    twist_deg: np.ndarray,
    number_of_blades: int,
    root: Root | None = None,
    *,
    name: str = "blade",
) -> Blade:
    """Return a checked `Blade` (see there); InputError names the station and what would be accepted.

    Parameters
    ----------
    radius_m, chord_m : [m] (N,)
    twist_deg : [°] (N,) towards feather
    number_of_blades : [1]
    root : what the aerofoil begins at; none without it
    name : what a message calls the blade

    Returns
    -------
    The blade.

    Raises
    ------
    InputError
        For fewer than two stations, radii that do not rise and what no blade can be.
    """
    root = root or Root()
    radius, chord, twist = (np.asarray(values, float) for values in (radius_m, chord_m, twist_deg))
    if radius.size < 2:
        raise InputError(Problem(name, "", f"{radius.size} stations", "at least 2, from root to tip"))
    hub = float(radius[0]) if root.hub_radius_m is None else float(root.hub_radius_m)
    start = max(float(radius[0]), hub) if root.aerofoil_start_m is None else float(root.aerofoil_start_m)
    problems = _station_problems(name, radius, chord, twist)
    if number_of_blades not in range(1, 10_001):
        problems.append(Problem(name, "number_of_blades", f"{number_of_blades}", "a whole number above 0"))
    problems += _root_problems(name, radius, hub, start, root)
    if problems:
        raise InputError(problems)
    return Blade(
        radius_m=radius,
        chord_m=chord,
        twist_deg=twist,
        number_of_blades=int(number_of_blades),
        hub_radius_m=hub,
        aerofoil_start_m=start,
        root_diameter_m=float(root.diameter_m),
        root_drag_coefficient=float(root.drag_coefficient),
        name=name,
    )


def _station_problems(name: str, radius: np.ndarray, chord: np.ndarray, twist: np.ndarray) -> list[Problem]:
    rising = (radius >= 0) & (radius <= 200) & np.r_[True, np.diff(radius) > 0]
    slender = (chord > 0) & (chord <= max(float(radius[-1]), 1e-9))
    problems = []
    for column, values, good, accepted in (
        ("radius", radius, rising, "metres from 0 to 200 that rise from row to row"),
        ("chord", chord, slender, "a chord above 0, shorter than the tip radius"),
        ("twist", twist, np.abs(twist) <= 90.0, "degrees from -90 to 90, positive towards feather"),
    ):
        if not good.all():
            row = int(np.argmin(good))
            place = f"column {column}, row {row + 1} of the numbers"
            problems.append(Problem(name, place, f"{values[row]:.6g}", accepted))
    return problems


def _root_problems(name: str, radius: np.ndarray, hub: float, start: float, root: Root) -> list[Problem]:
    tip, problems = float(radius[-1]), []
    if not 0.0 <= hub < tip:
        problems.append(Problem(name, "hub_radius", f"{hub:g} m with the tip at {tip:g} m", "0 to less than the tip"))
    elif not hub <= start < 0.95 * tip:
        accepted = f"from the hub radius {hub:g} m to 95 % of the tip {tip:g} m"
        problems.append(Problem(name, "aerofoil_start", f"{start:g} m", accepted))
    elif start < radius[0] - 1e-9 * tip:
        accepted = f"at or beyond the first station, {radius[0]:g} m"
        problems.append(Problem(name, "aerofoil_start", f"{start:g} m", accepted))
    if not 0.0 <= root.diameter_m < max(tip, 1e-9) / 2:
        problems.append(Problem(name, "root_diameter", f"{root.diameter_m:g} m", "0 to half the tip radius"))
    if not 0.0 <= root.drag_coefficient <= 3.0:
        problems.append(Problem(name, "root_drag_coefficient", f"{root.drag_coefficient:g}", "0 to 3"))
    return problems


def reference_twist_deg(blade: Blade, convention: PitchConvention) -> float:
    """Return the twist of the chord that a convention measures at.

    Parameters
    ----------
    blade : whose twist is read
    convention : where pitch is measured

    Returns
    -------
    [°]; 0 where pitch is not measured at a chord.
    """
    return 0.0 if convention.measured_at is None else blade.twist_at(convention.measured_at)


def polar_of_plate_blade(
    blade: Blade,
    *,
    camber: float | None = None,
    tube_radius_m: float | None = None,
    thickness_m: float = 0.004,
    air_speed_m_s: float = AIR_SPEED_DEFAULT_M_S,
    tip_speed_ratio: float = 5.0,
    kinematic_viscosity_m2_s: float = VISCOSITY_DEFAULT_M2_S,
) -> SectionPolar:
    """Return one ESTIMATED polar for a blade bent from plate (`camber` of the chord) or cut from a tube.

    Chord, hence the camber of a tube-cut blade, and Reynolds number are those at three quarters of the radius; the
    polar serves the whole blade. Give one of `camber` and `tube_radius_m`; InputError otherwise. See `energy.polar`.

    Parameters
    ----------
    blade : whose chord is read
    camber : [-] height of the arc over the chord
    tube_radius_m, thickness_m : [m]
    air_speed_m_s : [m/s] at the rotor
    tip_speed_ratio : [-]
    kinematic_viscosity_m2_s : [m²/s]

    Returns
    -------
    The polar, of one Reynolds number.

    Raises
    ------
    InputError
        Unless just one of `camber` and `tube_radius_m` is given.
    """
    chord = float(np.interp(0.75 * blade.tip_radius_m, blade.radius_m, blade.chord_m))
    speed = air_speed_m_s * math.hypot(1.0, 0.75 * tip_speed_ratio)
    reynolds = min(max(speed * chord / kinematic_viscosity_m2_s, 1e3), 1e8)
    if (camber is None) == (tube_radius_m is None):
        read = "neither" if camber is None else "both"
        raise InputError(Problem(blade.name, "camber, tube_radius", read, "one of them, where no polar is given"))
    if tube_radius_m is not None:
        polar = tube_blade_polar(chord, tube_radius_m, thickness_m, reynolds)
    else:
        polar = cambered_plate_polar(camber or 0.0, reynolds, thickness=min(thickness_m / chord, 0.2))
    note = f"{polar.name}: chord and Reynolds number ({reynolds:.2g}) are those at 75 % of the radius"
    return dataclasses.replace(polar, notes=(*polar.notes, note))


def blade_sections(
    blade: Blade, polars: Sequence[SectionPolar], settings: CurveSettings | None = None
) -> tuple[Sections, tuple[str, ...]]:
    """Return `Sections` of the aerofoil part (annuli narrow at root and tip) and notes on the polars.

    The twist in them includes the pitch convention's reference, so that they take pitch from the rotor plane. The air
    speed of the settings is the one at the rotor.

    Parameters
    ----------
    blade : the blade
    polars : one for each Reynolds number
    settings : how it is computed; the usual ones where not given

    Returns
    -------
    `Sections` of S annuli, and notes on the polars.
    """
    settings = settings or CurveSettings()
    corrections = settings.corrections
    fulls = [full_polar(polar, blade.aspect_ratio) for polar in by_reynolds(polars)]
    tip = blade.tip_radius_m
    start = blade.aerofoil_start_m / tip
    edges = start + (1.0 - start) * 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, settings.sections + 1)))
    x = 0.5 * (edges[1:] + edges[:-1])
    chord = np.interp(x * tip, blade.radius_m, blade.chord_m)
    twist = np.interp(x * tip, blade.radius_m, blade.twist_deg) - reference_twist_deg(blade, settings.convention)
    solidity = blade.number_of_blades * chord / (2.0 * math.pi * x * tip)
    half = 0.5 * blade.number_of_blades
    tip_exponent = half * (1.0 - x) / x if corrections.tip_loss else np.full_like(x, np.inf)
    loss_at_root = corrections.root_loss and start > 0
    root_exponent = half * (x - start) / max(start, 1e-9) if loss_at_root else np.full_like(x, np.inf)
    lift, drag, table = _tables(fulls, chord / (x * tip), corrections.stall_delay)
    notes = tuple(note for full in fulls for note in full.notes)
    if solidity.max() > 1.0:
        notes += (
            f"{blade.name}: the blades overlap near the root (solidity {solidity.max():.2g}): the theory is weak there",
        )
    at = Sections(
        radius=x,
        width=np.diff(edges),
        solidity=solidity,
        twist_deg=twist,
        tip_exponent=tip_exponent,
        root_exponent=root_exponent,
        zero_lift_deg=np.full_like(x, np.mean([f.zero_lift_deg for f in fulls])),
        stall_deg=np.full_like(x, min(f.stall_deg for f in fulls)),
        negative_stall_deg=np.full_like(x, max(f.negative_stall_deg for f in fulls)),
        lift=lift,
        drag=drag,
        table=table,
        log_reynolds=np.log(np.array([full.reynolds_number or 1e6 for full in fulls], float)),
        reynolds_per_speed=settings.air_speed_m_s * chord / settings.kinematic_viscosity_m2_s,
        wake_rotation=corrections.wake_rotation,
    )
    return at, notes


def _tables(
    fulls: Sequence[FullPolar], chord_over_radius: np.ndarray, delay: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return lift and drag tables (D, K, 7201) over -360..360 degrees and each section's place in them (S,)."""

    def twice(tables: Sequence[np.ndarray]) -> np.ndarray:
        """-360..-180, -180..180, 180..360 degrees, of one table for each Reynolds number."""
        ends = [part for table in tables for part in (table[..., 1800:3600], table[..., :3600], table[..., :1801])]
        return np.concatenate(ends, axis=-1).reshape(*tables[0].shape[:-1], len(tables), -1)

    drag = twice([full.drag_coefficient for full in fulls])
    if not delay:
        return twice([full.lift_coefficient for full in fulls])[None], drag[None], np.zeros(chord_over_radius.size, int)
    lift = twice([with_stall_delay(full, chord_over_radius) for full in fulls])
    count = chord_over_radius.size
    return lift, np.broadcast_to(drag, (count, *drag.shape)), np.arange(count)


def blade_curves(
    blade: Blade,
    polars: Sequence[SectionPolar],
    tip_speed_ratio: np.ndarray,
    chord_angle_deg: np.ndarray,
    settings: CurveSettings | None = None,
) -> BladeCurves:
    """Return power and thrust coefficient of the rotor by blade-element momentum.

    See `energy.aero.blade_element` for the equations [1]_.

    Parameters
    ----------
    blade, polars : the blade, and polars of its section at one Reynolds number or several.
    tip_speed_ratio : (L,) above 0 and rising [-].
    chord_angle_deg : (P,) angles of the chord that `settings.convention` means, from the rotor plane towards feather
        [deg].
    settings : pitch convention, corrections, number of sections and the air; the usual ones where not given.

    Returns
    -------
    The curves, maps of (P, L) by rising pitch from the rotor plane.

    Raises
    ------
    InputError
        For ratios or pitches that cannot be.

    References
    ----------
    .. [1] Glauert, H., "Airplane propellers", in Durand (ed.), Aerodynamic Theory IV (1935), from memory.
    """
    settings = settings or CurveSettings()
    convention, corrections = settings.convention, settings.corrections
    ratio = _grid("tip_speed_ratio", tip_speed_ratio, 1e-3, 100.0)
    pitch = np.sort(_grid("pitch", chord_angle_deg, -180.0, 180.0, rising=False))
    factor = corrections.speed_factor * math.cos(math.radians(corrections.yaw_deg))
    at_rotor = dataclasses.replace(settings, air_speed_m_s=settings.air_speed_m_s * factor)
    at, notes = blade_sections(blade, polars, at_rotor)
    inner = ratio / factor
    falling = inner[::-1]  # the solver's own order: nothing is turned round but what comes out
    states = solve(at, falling, pitch)
    power, thrust, share, several = (
        np.ascontiguousarray(values[:, ::-1])
        for values in (*integrate(at, states, falling), np.any(states.multiple_roots, axis=0))
    )
    if corrections.root_drag and blade.root_diameter_m > 0:
        lost, pushed = root_drag(blade, inner)
        power, thrust = power - lost, thrust + pushed
    power, thrust = factor**3 * power, factor**2 * thrust
    if corrections.blockage_area_ratio > 0:
        power, thrust, share = _blocked(ratio, power, thrust, share, corrections.blockage_area_ratio)
    error = np.abs(states.residual)
    error /= 1.0 + states.local_speed_ratio[:, :1]
    worst = float(error.max())
    solved = _solution_notes(at, states, power[:, ::-1], share[:, ::-1], error, delay=corrections.stall_delay)
    notes = (*_assumptions(blade, convention, corrections), *notes, *solved)
    return BladeCurves(ratio, pitch, power, thrust, share, several, worst, notes)


def _grid(name: str, values: np.ndarray, low: float, high: float, *, rising: bool = True) -> np.ndarray:
    array = np.atleast_1d(np.asarray(values, float))
    good = array.ndim == 1 and array.size > 0 and bool(np.all((array >= low) & (array <= high)))
    if good and rising and not np.all(np.diff(array) > 0):
        raise InputError(Problem("curves", name, "values that do not rise", "rising values, each once"))
    if not good:
        raise InputError(Problem("curves", name, "a value outside", f"numbers from {low:g} to {high:g}"))
    return array


def integrate(
    at: Sections, states: SectionStates, tip_speed_ratio: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return power coefficient, thrust coefficient and stalled torque share, each (P, L), summed over the annuli.

    Cp = sum 2 sigma x (W/U)^2 Ct lambda x dx, CT = sum 2 sigma x (W/U)^2 Cn dx (forces on the blade, drag included).

    Parameters
    ----------
    at : the sections (S,)
    states : their states (S, P, L)
    tip_speed_ratio : [-] (L,)

    Returns
    -------
    [-] power coefficient, thrust coefficient and stalled share of the torque, each (P, L).

    References
    ----------
    .. [1] Blade-element theory (from memory): sums over the annuli.
    """
    weight = (2.0 * at.solidity * at.radius * at.width)[:, None, None]
    square = np.square(states.relative_speed)
    square *= weight
    thrust = np.einsum("spl,spl->pl", square, states.normal_coefficient)
    square *= at.radius[:, None, None]
    torque = np.multiply(square, states.tangential_coefficient, out=square)
    power = torque.sum(axis=0) * tip_speed_ratio
    size = np.abs(torque, out=torque)
    total = size.sum(axis=0)
    share = np.einsum("spl,spl->pl", size, states.stalled.view(np.int8)) / np.maximum(total, 1e-300)
    return power, thrust, np.minimum(share, 1.0)


def root_drag(blade: Blade, tip_speed_ratio: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the power coefficient that the bare root costs and the thrust coefficient that it adds, each (L,).

    A bar of the root's diameter across the undisturbed relative wind, from hub radius to where the aerofoil begins.

    Parameters
    ----------
    blade : whose root is bare
    tip_speed_ratio : [-] (L,)

    Returns
    -------
    [-] loss of power coefficient and gain of thrust coefficient, each (L,).

    References
    ----------
    .. [1] Definition of a drag coefficient; that of a cylinder from memory.
    """
    tip = blade.tip_radius_m
    edges = np.linspace(blade.hub_radius_m, blade.aerofoil_start_m, 21) / tip
    x, width = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    local = x[:, None] * np.asarray(tip_speed_ratio, float)[None, :]
    scale = blade.number_of_blades * blade.root_drag_coefficient * blade.root_diameter_m / (math.pi * tip)
    speed = np.sqrt(1.0 + local * local) * width[:, None] * scale
    return (speed * local * local).sum(axis=0), speed.sum(axis=0)


def blockage_speed_factor(thrust_coefficient: np.ndarray, area_ratio: float) -> np.ndarray:
    """Return the free air speed over the tunnel speed at which a rotor would do the same: Glauert (1935), from memory.

    1 + area_ratio CT / (4 sqrt(1 - CT)); held at CT = 8/9 beyond, where the formula runs away.

    Parameters
    ----------
    thrust_coefficient : [-] any shape
    area_ratio : [-] swept area over the area of the tunnel

    Returns
    -------
    [-], of that shape.

    References
    ----------
    .. [1] Glauert (1935), from memory.
    """
    held = np.clip(thrust_coefficient, 0.0, 8.0 / 9.0)
    return np.asarray(1.0 + area_ratio * held / (4.0 * np.sqrt(1.0 - held)))


def _blocked(
    ratio: np.ndarray, power: np.ndarray, thrust: np.ndarray, share: np.ndarray, area_ratio: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the maps per tunnel speed, read off the free curves at the corrected ratio."""
    out = [np.empty_like(power) for _ in range(3)]
    for row in range(power.shape[0]):
        # Free curve point at ratio r: in the tunnel the same loads appear at tunnel speed U = U_free / f, at ratio r f.
        factor = blockage_speed_factor(thrust[row], area_ratio)
        # In deep stall the thrust can drop so steeply that r f falls: keep the first of the double readings.
        seen = np.maximum.accumulate(ratio * factor)
        for target, values, exponent in ((out[0], power, 3), (out[1], thrust, 2), (out[2], share, 0)):
            target[row] = np.interp(ratio, seen, values[row] * factor**exponent)
    return out[0], out[1], out[2]


def _assumptions(blade: Blade, convention: PitchConvention, corrections: Corrections) -> tuple[str, ...]:
    on = [
        ("Prandtl's tip loss", corrections.tip_loss),
        ("Prandtl's root loss", corrections.root_loss),
        ("wake rotation", corrections.wake_rotation),
        ("Buhl's high-thrust line", True),
        ("stall delay by Snel, Houwink and Bosschers", corrections.stall_delay),
        ("drag of the bare root", corrections.root_drag and blade.root_diameter_m > 0),
    ]
    notes = [
        f"curves computed by blade-element momentum from {blade.name} ({blade.number_of_blades} blades, tip radius "
        f"{blade.tip_radius_m:.4g} m ({blade.tip_radius_m / FOOT_M:.3g} ft)), with "
        f"{', '.join(name for name, used in on if used)}; without "
        f"{', '.join(name for name, used in on if not used) or 'none left out'}",
        convention.describe(),
    ]
    if corrections.yaw_deg:
        notes.append(
            f"yaw {corrections.yaw_deg:g} degrees: axial component of the air speed only (power falls with its "
            "cube); real yaw losses depend on thrust and governing"
        )
    if corrections.speed_factor != 1.0:
        notes.append(
            f"air speed at the rotor taken as {corrections.speed_factor:g} of the free air speed (roof, shear)"
        )
    if corrections.blockage_area_ratio:
        notes.append(
            f"blockage: Glauert's correction for a closed duct, area ratio {corrections.blockage_area_ratio:g}"
        )
    return tuple(notes)


def _solution_notes(
    at: Sections, states: SectionStates, power: np.ndarray, share: np.ndarray, error: np.ndarray, *, delay: bool
) -> list[str]:
    """Return what the solution has to say: stall near the best point, several roots, Reynolds numbers, residuals."""
    notes = []
    best = np.unravel_index(int(np.argmax(power)), power.shape)
    if share[best] > STALL_SHARE_LIMIT:
        notes.append(
            f"{100 * share[best]:.0f} % of the torque at the best point comes from stalled sections: "
            f"{stall_error(delay=delay)}"
        )
    elif (share > STALL_SHARE_LIMIT)[power > 0].any():
        notes.append(
            f"parts of the curves stand on stalled sections (more than a fifth of the torque): "
            f"{stall_error(delay=delay)}"
        )
    several = np.count_nonzero(states.multiple_roots) / states.multiple_roots.size
    if several:
        notes.append(
            f"{100 * several:.1f} % of the section states have several solutions near stall: the nearest to zero lift "
            "is taken"
        )
    if at.log_reynolds.size > 1:
        working = (power > 0)[None] & (states.relative_speed > 0)
        if working.any():
            numbers = (at.reynolds_per_speed[:, None, None] * states.relative_speed)[working]
            low, high = np.exp(at.log_reynolds[[0, -1]])
            if numbers.min() < low * 0.999 or numbers.max() > high * 1.001:
                notes.append(
                    f"warning: Reynolds numbers {numbers.min():.3g} to {numbers.max():.3g} on the working blade, "
                    f"polars {low:.3g} to {high:.3g}: the end polars are used outside"
                )
    worst = error.max()
    if worst > 1e-8:
        missed = int((error > 1e-8).sum())
        notes.append(f"{missed} of {error.size} section states did not settle (worst {worst:.2g})")
    return notes


def usual_grid() -> tuple[np.ndarray, np.ndarray]:
    """Return tip-speed ratios (60,) from 0.2 to 12 and pitches (25,) from -6 to 90 degrees for any road rotor.

    Returns
    -------
    [-] (60,) tip-speed ratios and [°] (25,) pitches, both rising.
    """
    return np.linspace(0.2, 12.0, 60), np.concatenate([np.arange(-6.0, 30.1, 2.0), np.arange(40.0, 91.0, 10.0)])


def to_rotor_curves(curves: BladeCurves) -> RotorCurves:
    """Return the curves as `RotorCurves`, with a first column at standstill (no power, thrust of the lowest ratio).

    Parameters
    ----------
    curves : of a blade, (P, L)

    Returns
    -------
    The curves, (P, 1 + L).
    """
    still = np.zeros((curves.pitch_deg.size, 1))
    return RotorCurves(
        np.concatenate([[0.0], curves.tip_speed_ratio]),
        curves.pitch_deg,
        np.concatenate([still, curves.power_coefficient], axis=1),
        np.concatenate([curves.thrust_coefficient[:, :1], curves.thrust_coefficient], axis=1),
        thrust_is_estimated=False,
        notes=curves.notes,
        stalled_torque_share=np.concatenate([curves.stalled_torque_share[:, :1], curves.stalled_torque_share], axis=1),
    )
