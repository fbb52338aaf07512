"""Power and thrust curves from blade geometry and section polars.

The pure core: files to arrays, arrays to `BladeCurves`, curves to a CSV file and a cache. The equations are in
`energy.blade_element`, the polars in `energy.polar`.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import math
import struct
import zipfile
import zlib
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
from vehicle.files import write_whole
from vehicle.problems import InputError, Problem
from vehicle.tables import increasing, read_table

STALL_SHARE_LIMIT = 0.2
CACHE_VERSION = 1
MOST_CACHE_FILES = 200

AIR_SPEED_DEFAULT_M_S = 25.0
VISCOSITY_DEFAULT_M2_S = 1.46e-5  # air at 15 degC


@dataclass(frozen=True)
class Blade:
    """One rotor's blades. Lengths in metres; `twist_deg` positive towards feather, as in the file.

    `radius_m`, `chord_m`, `twist_deg` are the stations (N,); the last station is the tip. `hub_radius_m` is where the
    root begins; between it and `aerofoil_start_m` the root is bare: a bar of `root_diameter_m` across the flow (0: no
    drag) with drag coefficient `root_drag_coefficient` (1.2 for a cylinder below its critical Reynolds number, from memory).
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

    def twist_at(self, fraction: float) -> float:
        """Return the twist in degrees at `fraction` of the tip radius (straight lines between stations)."""
        return float(np.interp(fraction * self.tip_radius_m, self.radius_m, self.twist_deg))


@dataclass(frozen=True)
class PitchConvention:
    """What a pitch reading means.

    `measured_at`: fraction of the tip radius whose chord is meant (1 = the tip chord, 0.75 = at three quarters), or None:
    the pitch is what has to be added to the twist column (the chord of the station of zero twist is meant).
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
        """Return the angle of the meant chord from the rotor plane, positive towards feather, for readings of the dial."""
        signed = np.asarray(setting_deg, float) * (1.0 if self.positive_towards == "feather" else -1.0)
        return signed + (90.0 if self.zero_is == "feather" else 0.0)

    def setting_deg(self, chord_angle_deg: np.ndarray) -> np.ndarray:
        """Return the reading of the dial at an angle of the meant chord from the rotor plane (inverse of the above)."""
        signed = np.asarray(chord_angle_deg, float) - (90.0 if self.zero_is == "feather" else 0.0)
        return signed * (1.0 if self.positive_towards == "feather" else -1.0)

    def describe(self) -> str:
        """Return the convention as one sentence."""
        place = {None: "the chord of zero twist", 1.0: "the tip chord"}.get(
            self.measured_at, f"the chord at {self.measured_at or 0:.0%} of the radius"
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
    stall_delay: bool = False
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
class BladeCurves:
    """Curves over tip-speed ratio (L,) and pitch (P,), both rising; the maps are (P, L).

    `pitch_deg` is positive towards feather, 0 with the meant chord in the rotor plane. `stalled_torque_share` is the
    stalled sections' share of the torque's size (0..1); `multiple_roots` flags points where a section had several states;
    `worst_residual` is the largest error of the section balance, in local speed ratio over (1 + local speed ratio).
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
    *,
    hub_radius_m: float | None = None,
    aerofoil_start_m: float | None = None,
    root_diameter_m: float = 0.0,
    root_drag_coefficient: float = 1.2,
    twist_positive_towards: Literal["feather", "flat"] = "feather",
) -> Blade:
    """Return the blade of a CSV file with columns radius, chord and twist, units in the headers (`radius_m`, `chord_in`).

    The last station is the tip. `hub_radius_m` and `aerofoil_start_m` are the first station by default. Raises InputError
    naming the file, the row and what would be accepted.
    """
    table = read_table(path, {"radius": "m", "chord": "m", "twist": "deg"}, least_rows=2)
    increasing(path, "radius", table["radius"])
    sign = 1.0 if twist_positive_towards == "feather" else -1.0
    return blade_from_stations(
        table["radius"], table["chord"], sign * table["twist"], number_of_blades, hub_radius_m=hub_radius_m,
        aerofoil_start_m=aerofoil_start_m, root_diameter_m=root_diameter_m,
        root_drag_coefficient=root_drag_coefficient, name=path.name,
    )  # fmt: skip


def blade_from_stations(
    radius_m: np.ndarray,
    chord_m: np.ndarray,
    twist_deg: np.ndarray,
    number_of_blades: int,
    *,
    hub_radius_m: float | None = None,
    aerofoil_start_m: float | None = None,
    root_diameter_m: float = 0.0,
    root_drag_coefficient: float = 1.2,
    name: str = "blade",
) -> Blade:
    """Return a checked `Blade` (see there); InputError names the station and what would be accepted."""
    radius, chord, twist = (np.asarray(values, float) for values in (radius_m, chord_m, twist_deg))
    if radius.size < 2:
        raise InputError(Problem(name, "", f"{radius.size} stations", "at least 2, from root to tip"))
    tip = float(radius[-1])
    hub = float(radius[0]) if hub_radius_m is None else float(hub_radius_m)
    start = max(float(radius[0]), hub) if aerofoil_start_m is None else float(aerofoil_start_m)
    problems = []
    for column, values, good, accepted in (
        ("radius", radius, (radius >= 0) & (radius <= 200) & np.r_[True, np.diff(radius) > 0],
         "metres from 0 to 200 that rise from row to row"),
        ("chord", chord, (chord > 0) & (chord <= max(tip, 1e-9)), "a chord above 0, shorter than the tip radius"),
        ("twist", twist, np.abs(twist) <= 90.0, "degrees from -90 to 90, positive towards feather"),
    ):  # fmt: skip
        if not good.all():
            row = int(np.argmin(good))
            problems.append(
                Problem(name, f"column {column}, row {row + 1} of the numbers", f"{values[row]:.6g}", accepted)
            )
    if number_of_blades not in range(1, 10_001):
        problems.append(Problem(name, "number_of_blades", f"{number_of_blades}", "a whole number above 0"))
    if not 0.0 <= hub < tip:
        problems.append(Problem(name, "hub_radius", f"{hub:g} m with the tip at {tip:g} m", "0 to less than the tip"))
    elif not hub <= start < 0.95 * tip:
        problems.append(
            Problem(
                name, "aerofoil_start", f"{start:g} m", f"from the hub radius {hub:g} m to 95 % of the tip {tip:g} m"
            )
        )
    elif start < radius[0] - 1e-9 * tip:
        problems.append(
            Problem(name, "aerofoil_start", f"{start:g} m", f"at or beyond the first station, {radius[0]:g} m")
        )
    if not 0.0 <= root_diameter_m < max(tip, 1e-9) / 2:
        problems.append(Problem(name, "root_diameter", f"{root_diameter_m:g} m", "0 to half the tip radius"))
    if not 0.0 <= root_drag_coefficient <= 3.0:
        problems.append(Problem(name, "root_drag_coefficient", f"{root_drag_coefficient:g}", "0 to 3"))
    if problems:
        raise InputError(problems)
    return Blade(radius, chord, twist, int(number_of_blades), hub, start, float(root_diameter_m),
                 float(root_drag_coefficient), name)  # fmt: skip


def convert_pitch(blade: Blade, setting_deg: np.ndarray, told: PitchConvention, wanted: PitchConvention) -> np.ndarray:
    """Return dial readings of convention `told` as readings of convention `wanted`, in degrees, same shape."""
    added = told.chord_angle_deg(setting_deg) - _reference_twist(blade, told)
    return wanted.setting_deg(added + _reference_twist(blade, wanted))


def _reference_twist(blade: Blade, convention: PitchConvention) -> float:
    """Return the twist of the chord that a convention measures at."""
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
    """Return one ESTIMATED polar for a blade bent from plate (`camber` of the chord) or cut from a tube (`tube_radius_m`).

    Chord, hence the camber of a tube-cut blade, and Reynolds number are those at three quarters of the radius; the polar
    serves the whole blade. Give one of `camber` and `tube_radius_m`; InputError otherwise. See `energy.polar`.
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
    blade: Blade,
    polars: Sequence[SectionPolar],
    *,
    corrections: Corrections | None = None,
    convention: PitchConvention | None = None,
    sections: int = 30,
    air_speed_m_s: float = AIR_SPEED_DEFAULT_M_S,
    kinematic_viscosity_m2_s: float = VISCOSITY_DEFAULT_M2_S,
) -> tuple[Sections, tuple[str, ...]]:
    """Return `Sections` of the aerofoil part (annuli narrow at root and tip) and notes on the polars.

    The twist in them includes the pitch convention's reference, so that they take pitch from the rotor plane.
    """
    corrections = corrections or Corrections()
    convention = convention or PitchConvention()
    fulls = [full_polar(polar, blade.aspect_ratio) for polar in by_reynolds(polars)]
    tip = blade.tip_radius_m
    start = blade.aerofoil_start_m / tip
    edges = start + (1.0 - start) * 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, sections + 1)))
    x = 0.5 * (edges[1:] + edges[:-1])
    chord = np.interp(x * tip, blade.radius_m, blade.chord_m)
    twist = np.interp(x * tip, blade.radius_m, blade.twist_deg) - _reference_twist(blade, convention)
    solidity = blade.number_of_blades * chord / (2.0 * math.pi * x * tip)
    half = 0.5 * blade.number_of_blades
    tip_exponent = half * (1.0 - x) / x if corrections.tip_loss else np.full_like(x, np.inf)
    loss_at_root = corrections.root_loss and start > 0
    root_exponent = half * (x - start) / max(start, 1e-9) if loss_at_root else np.full_like(x, np.inf)
    lift, drag, table = _tables(fulls, chord / (x * tip), corrections.stall_delay)
    reynolds = [full.reynolds_number or 1e6 for full in fulls]
    notes = tuple(note for full in fulls for note in full.notes)
    if solidity.max() > 1.0:
        notes += (
            f"{blade.name}: the blades overlap near the root (solidity {solidity.max():.2g}): the theory is weak there",
        )
    return (
        Sections(
            radius=x, width=np.diff(edges), solidity=solidity, twist_deg=twist, tip_exponent=tip_exponent,
            root_exponent=root_exponent, zero_lift_deg=np.full_like(x, np.mean([f.zero_lift_deg for f in fulls])),
            stall_deg=np.full_like(x, min(f.stall_deg for f in fulls)),
            negative_stall_deg=np.full_like(x, max(f.negative_stall_deg for f in fulls)),
            lift=lift, drag=drag, table=table, log_reynolds=np.log(np.array(reynolds, float)),
            reynolds_per_speed=air_speed_m_s * chord / kinematic_viscosity_m2_s,
            wake_rotation=corrections.wake_rotation,
        ),
        notes,
    )  # fmt: skip


def _tables(
    fulls: Sequence[FullPolar], chord_over_radius: np.ndarray, delay: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return lift and drag tables (D, K, 7201) over -360..360 degrees and each section's place in them (S,)."""

    def twice(table: np.ndarray) -> np.ndarray:
        return np.concatenate([table[1800:3600], table[:3600], table[:1801]])  # -360..-180, -180..180, 180..360

    drag = np.stack([twice(full.drag_coefficient) for full in fulls])
    if not delay:
        lift = np.stack([twice(full.lift_coefficient) for full in fulls])
        return lift[None], drag[None], np.zeros(chord_over_radius.size, np.intp)
    delayed = [[twice(with_stall_delay(full, float(ratio))) for full in fulls] for ratio in chord_over_radius]
    count = chord_over_radius.size
    return np.array(delayed), np.broadcast_to(drag, (count, *drag.shape)), np.arange(count)


def blade_curves(
    blade: Blade,
    polars: Sequence[SectionPolar],
    tip_speed_ratio: np.ndarray,
    pitch_deg: np.ndarray,
    *,
    convention: PitchConvention | None = None,
    corrections: Corrections | None = None,
    sections: int = 30,
    air_speed_m_s: float = AIR_SPEED_DEFAULT_M_S,
    kinematic_viscosity_m2_s: float = VISCOSITY_DEFAULT_M2_S,
) -> BladeCurves:
    """Return power and thrust coefficient of the rotor by blade-element momentum.

    `tip_speed_ratio` (L,) above 0 and rising, `pitch_deg` (P,) as read on the dial of `convention`. Air speed and
    viscosity set the Reynolds numbers and matter only with polars at several. See `energy.blade_element` for equations.
    Raises InputError for ratios or pitches that cannot be.
    """
    convention = convention or PitchConvention()
    corrections = corrections or Corrections()
    ratio = _grid("tip_speed_ratio", tip_speed_ratio, 1e-3, 100.0)
    pitch = np.sort(convention.chord_angle_deg(_grid("pitch_deg", pitch_deg, -180.0, 180.0, rising=False)))
    factor = corrections.speed_factor * math.cos(math.radians(corrections.yaw_deg))
    at, notes = blade_sections(
        blade, polars, corrections=corrections, convention=convention, sections=sections,
        air_speed_m_s=air_speed_m_s * factor, kinematic_viscosity_m2_s=kinematic_viscosity_m2_s,
    )  # fmt: skip
    inner = ratio / factor
    states = solve(at, inner, pitch)
    power, thrust, share = integrate(at, states, inner)
    if corrections.root_drag and blade.root_diameter_m > 0:
        lost, pushed = root_drag(blade, inner)
        power, thrust = power - lost, thrust + pushed
    power, thrust = factor**3 * power, factor**2 * thrust
    if corrections.blockage_area_ratio > 0:
        power, thrust, share = _blocked(ratio, power, thrust, share, corrections.blockage_area_ratio)
    error = np.abs(states.residual) / (1.0 + states.local_speed_ratio)
    worst = float(error.max())
    notes = (*_assumptions(blade, convention, corrections), *notes, *_solution_notes(at, states, power, share, error))
    return BladeCurves(ratio, pitch, power, thrust, share, np.asarray(states.multiple_roots.any(axis=0)), worst, notes)


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
    """
    weight = (2.0 * at.solidity * at.radius * at.width)[:, None, None]
    square = states.relative_speed * states.relative_speed * weight
    thrust = np.einsum("spl,spl->pl", square, states.normal_coefficient)
    torque = square * states.tangential_coefficient * at.radius[:, None, None]
    power = torque.sum(axis=0) * tip_speed_ratio
    size = np.abs(torque)
    total = size.sum(axis=0)
    share = np.where(states.stalled, size, 0.0).sum(axis=0) / np.maximum(total, 1e-300)
    return power, thrust, np.minimum(share, 1.0)


def root_drag(blade: Blade, tip_speed_ratio: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the power coefficient that the bare root costs and the thrust coefficient that it adds, each (L,).

    A bar of the root's diameter across the undisturbed relative wind, from hub radius to where the aerofoil begins.
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
    """
    held = np.clip(thrust_coefficient, 0.0, 8.0 / 9.0)
    return np.asarray(1.0 + area_ratio * held / (4.0 * np.sqrt(1.0 - held)))


def _blocked(
    ratio: np.ndarray, power: np.ndarray, thrust: np.ndarray, share: np.ndarray, area_ratio: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the maps per tunnel speed instead of per free air speed (read off the free curves at the corrected ratio)."""
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
        f"{blade.tip_radius_m:.4g} m), with {', '.join(name for name, used in on if used)}; without "
        f"{', '.join(name for name, used in on if not used) or 'none left out'}",
        convention.describe(),
    ]
    if corrections.yaw_deg:
        notes.append(f"yaw {corrections.yaw_deg:g} degrees: axial component of the air speed only (power falls with its "
                     "cube); real yaw losses depend on thrust and governing")  # fmt: skip
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
    at: Sections, states: SectionStates, power: np.ndarray, share: np.ndarray, error: np.ndarray
) -> list[str]:
    """Return what the solution has to say: stall near the best point, several roots, Reynolds numbers outside, residuals."""
    notes = []
    best = np.unravel_index(int(np.argmax(power)), power.shape)
    if share[best] > STALL_SHARE_LIMIT:
        notes.append(f"{share[best]:.0%} of the torque at the best point comes from stalled sections: power there can be "
                     "wrong by a factor of two")  # fmt: skip
    elif (share > STALL_SHARE_LIMIT)[power > 0].any():
        notes.append("parts of the curves stand on stalled sections (more than a fifth of the torque): power there can be "
                     "wrong by a factor of two")  # fmt: skip
    if states.multiple_roots.any():
        notes.append(f"{states.multiple_roots.mean():.1%} of the section states have several solutions near stall: the one "
                     "nearest to zero lift is taken")  # fmt: skip
    if at.log_reynolds.size > 1:
        working = (power > 0)[None] & (states.relative_speed > 0)
        if working.any():
            numbers = (at.reynolds_per_speed[:, None, None] * states.relative_speed)[working]
            low, high = np.exp(at.log_reynolds[[0, -1]])
            if numbers.min() < low * 0.999 or numbers.max() > high * 1.001:
                notes.append(f"warning: Reynolds numbers {numbers.min():.3g} to {numbers.max():.3g} on the working blade, polars "
                             f"{low:.3g} to {high:.3g}: the end polars are used outside")  # fmt: skip
    missed = int((error > 1e-8).sum())
    if missed:
        notes.append(f"{missed} of {error.size} section states did not settle (worst {error.max():.2g})")
    return notes


def usual_grid() -> tuple[np.ndarray, np.ndarray]:
    """Return tip-speed ratios (60,) from 0.2 to 12 and pitches (25,) from -6 to 90 degrees that serve any road rotor."""
    return np.linspace(0.2, 12.0, 60), np.concatenate([np.arange(-6.0, 30.1, 2.0), np.arange(40.0, 91.0, 10.0)])


def to_rotor_curves(curves: BladeCurves) -> RotorCurves:
    """Return the curves as `RotorCurves`, with a first column at standstill (no power, thrust of the lowest ratio)."""
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


def curves_key(
    blade: Blade,
    polars: Sequence[SectionPolar],
    tip_speed_ratio: np.ndarray,
    pitch_deg: np.ndarray,
    *,
    convention: PitchConvention,
    corrections: Corrections,
    sections: int,
    air_speed_m_s: float,
    kinematic_viscosity_m2_s: float,
) -> str:
    """Return a hash over everything that the curves depend on, in hexadecimal."""
    digest = hashlib.sha256(f"windtoll blade curves {CACHE_VERSION}".encode())

    def add(value: object) -> None:
        if isinstance(value, np.ndarray):
            digest.update(f"array {value.shape}".encode() + np.ascontiguousarray(value, dtype="<f8").tobytes())
        elif dataclasses.is_dataclass(value):
            for part in dataclasses.fields(value):
                digest.update(part.name.encode())
                add(getattr(value, part.name))
        else:
            digest.update(f"{type(value).__name__} {value!r};".encode())

    for part in (blade, *polars, np.asarray(tip_speed_ratio, float), np.asarray(pitch_deg, float), convention, corrections,
                 int(sections), float(air_speed_m_s), float(kinematic_viscosity_m2_s)):  # fmt: skip
        add(part)
    return digest.hexdigest()


def cached_blade_curves(
    blade: Blade,
    polars: Sequence[SectionPolar],
    tip_speed_ratio: np.ndarray,
    pitch_deg: np.ndarray,
    *,
    convention: PitchConvention | None = None,
    corrections: Corrections | None = None,
    sections: int = 30,
    air_speed_m_s: float = AIR_SPEED_DEFAULT_M_S,
    kinematic_viscosity_m2_s: float = VISCOSITY_DEFAULT_M2_S,
    folder: Path | None = None,
) -> BladeCurves:
    """Return `blade_curves(...)`, kept in the user's cache folder (or `folder`) under a hash of everything that goes in.

    A cache file that is damaged is computed anew and replaced; a folder that cannot be written is done without.
    """
    arguments = {
        "convention": convention or PitchConvention(), "corrections": corrections or Corrections(), "sections": sections,
        "air_speed_m_s": air_speed_m_s, "kinematic_viscosity_m2_s": kinematic_viscosity_m2_s,
    }  # fmt: skip
    key = curves_key(blade, polars, tip_speed_ratio, pitch_deg, **arguments)  # type: ignore[arg-type]
    if folder is None:
        import platformdirs

        folder = platformdirs.user_cache_path("windtoll") / "blade_curves"
    path = folder / f"{key}.npz"
    kept = _load_curves(path)
    if kept is not None:
        return kept
    curves = blade_curves(blade, polars, tip_speed_ratio, pitch_deg, **arguments)  # type: ignore[arg-type]
    _keep_curves(path, curves)
    return curves


_MAPS = ("power_coefficient", "thrust_coefficient", "stalled_torque_share", "multiple_roots")


def _load_curves(path: Path) -> BladeCurves | None:
    """Return the curves of a cache file, or None where it is missing, damaged or of another shape."""
    try:
        # Through bytes: numpy leaves the file open where the archive is damaged.
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as stored:
            ratio, pitch = stored["tip_speed_ratio"], stored["pitch_deg"]
            maps = {name: stored[name] for name in _MAPS}
            told = json.loads(str(stored["notes"]))
            worst = float(stored["worst_residual"])
    except (OSError, ValueError, KeyError, EOFError, TypeError, IndexError, SyntaxError, struct.error, zlib.error,
            zipfile.BadZipFile, NotImplementedError, RuntimeError, MemoryError):  # fmt: skip
        return None  # missing or damaged: the caller computes it anew
    whole = all(values.shape == (pitch.size, ratio.size) and np.isfinite(values).all() for values in maps.values())
    if not (whole and isinstance(told, list)):
        return None
    return BladeCurves(ratio, pitch, **maps, worst_residual=worst, notes=tuple(str(note) for note in told))


def _keep_curves(path: Path, curves: BladeCurves) -> None:
    """Store curves in the cache and drop the oldest files over `MOST_CACHE_FILES`; do without where that is not allowed."""
    stream = io.BytesIO()
    np.savez(
        stream, tip_speed_ratio=curves.tip_speed_ratio, pitch_deg=curves.pitch_deg, notes=np.array(json.dumps(curves.notes)),
        worst_residual=np.array(curves.worst_residual), **{name: getattr(curves, name) for name in _MAPS},
    )  # fmt: skip
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, stream.getvalue())
        oldest = sorted(path.parent.glob("*.npz"), key=lambda entry: entry.stat().st_mtime)[:-MOST_CACHE_FILES]
        for entry in oldest:
            entry.unlink(missing_ok=True)
    except OSError:
        return  # a full disk or read-only home costs the next run some milliseconds, no more
