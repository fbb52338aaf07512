"""From a scenario's [rotor] and [blade] tables to computed curves: the files they name, conventions, corrections."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from energy.aero.blade import (
    Blade,
    Corrections,
    CurveSettings,
    PitchConvention,
    Root,
    polar_of_plate_blade,
    read_blade,
    to_rotor_curves,
    usual_grid,
)
from energy.aero.curve_cache import cached_blade_curves
from energy.aero.curves import RotorCurves
from energy.aero.polar import SectionPolar, read_polars
from energy.aero.stall import with_stall
from vehicle.problems import InputError, Problem

if TYPE_CHECKING:
    from energy.scenario.keys.rotor import BladeTable, RotorTable

LEAST_AIR_SPEED_M_S = 3.0  # for Reynolds numbers only: below this a road rotor does nothing


def pitch_convention(table: BladeTable) -> PitchConvention:
    """Return what the scenario's pitch means."""
    at = table.pitch_measured_at
    return PitchConvention(None if at is None else at.value, table.pitch_zero_is, table.pitch_positive_towards)


def blade_of(rotor: RotorTable, table: BladeTable, folder: Path) -> Blade:
    """Return the blade of the file that `rotor.blade` names. Raises InputError, also where it does not fit the
    diameter.
    """
    assert rotor.blade is not None
    blade = read_blade(
        folder / rotor.blade,
        round(table.number_of_blades.value),
        Root(
            hub_radius_m=None if table.hub_radius is None else table.hub_radius.value,
            aerofoil_start_m=None if table.aerofoil_start is None else table.aerofoil_start.value,
            diameter_m=table.root_diameter.value,
            drag_coefficient=table.root_drag_coefficient.value,
        ),
        twist_positive_towards=table.twist_positive_towards,
    )
    problems = []
    if abs(table.number_of_blades.value - round(table.number_of_blades.value)) > 1e-9:
        read = f"{table.number_of_blades.value:g}"
        problems.append(Problem("scenario", "blade.number_of_blades", read, "a whole number"))
    radius = rotor.diameter.value / 2
    if abs(blade.tip_radius_m / radius - 1) > 0.01:
        problems.append(
            Problem(
                rotor.blade,
                "the last radius",
                f"{blade.tip_radius_m:g} m, but half of rotor.diameter is {radius:g} m",
                "a blade that ends at half the diameter, within 1 %",
            )
        )
    if problems:
        raise InputError(problems)
    return blade


def polars_of(
    table: BladeTable, blade: Blade, folder: Path, air_speed_m_s: float, viscosity_m2_s: float
) -> tuple[SectionPolar, ...]:
    """Return the polars of the section: from the files named, or by formula for a bent plate or a tube-cut blade."""
    if table.polar is None:
        speed = max(air_speed_m_s, LEAST_AIR_SPEED_M_S)
        return (
            polar_of_plate_blade(
                blade,
                camber=None if table.camber is None else table.camber.value,
                tube_radius_m=None if table.tube_radius is None else table.tube_radius.value,
                thickness_m=table.thickness.value,
                air_speed_m_s=speed,
                kinematic_viscosity_m2_s=viscosity_m2_s,
            ),
        )
    names = [table.polar] if isinstance(table.polar, str) else table.polar
    numbers = table.polar_reynolds_numbers
    if not names:
        raise InputError(Problem("scenario", "blade.polar", "an empty list", "at least one CSV file"))
    if numbers is not None and len(numbers) != len(names):
        read = f"{len(numbers)} Reynolds numbers for {len(names)} files"
        raise InputError(Problem("scenario", "blade.polar_reynolds_numbers", read, "one for each polar file"))
    polars: list[SectionPolar] = []
    for k, name in enumerate(names):
        polars += read_polars(folder / name, None if numbers is None else numbers[k].value)
    return tuple(polars)


def corrections_of(table: BladeTable, *, stall_delay: bool) -> Corrections:
    """Return which corrections the scenario has switched on. Yaw and roof speed-up act on the air speed, not here."""
    return Corrections(
        tip_loss=table.tip_loss,
        root_loss=table.root_loss,
        wake_rotation=table.wake_rotation,
        stall_delay=stall_delay,
        root_drag=table.root_drag,
        blockage_area_ratio=table.blockage_area_ratio.value,
    )


def computed_curves(
    rotor: RotorTable, table: BladeTable, folder: Path, air_speed_m_s: float, viscosity_m2_s: float
) -> RotorCurves:
    """Return the curves of the scenario's blade over the usual tip-speed ratios and pitches (kept in the user's cache).

    With stall delay there are two sets, with all of it and without; what lies between goes by its share. Pitches of
    the result count from the rotor plane towards feather; `pitch_convention` translates the dial. The air
    speed matters only for Reynolds numbers. Raises InputError naming file and row.
    """
    blade = blade_of(rotor, table, folder)
    polars = polars_of(table, blade, folder, air_speed_m_s, viscosity_m2_s)
    ratio, angle = usual_grid()
    convention = pitch_convention(table)

    def curves(*, stall_delay: bool) -> RotorCurves:
        settings = CurveSettings(
            convention=convention,
            corrections=corrections_of(table, stall_delay=stall_delay),
            air_speed_m_s=max(air_speed_m_s, LEAST_AIR_SPEED_M_S),
            kinematic_viscosity_m2_s=viscosity_m2_s,
        )
        return to_rotor_curves(cached_blade_curves(blade, polars, ratio, angle, settings))

    return with_stall(
        curves(stall_delay=False),
        curves(stall_delay=True) if table.stall_delay else None,
        delay_share=table.stall_delay_share.value,
        power_factor=table.stalled_power_factor.value,
    )
