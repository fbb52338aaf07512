"""A trip driven without a turbine, step by step: what the ledger of a trip is held against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vehicle.arrays import Values
from vehicle.driving.engine import Battery, Engine, Supply, drive
from vehicle.driving.road_load import RoadForces, RoadLoad, road_forces, with_added_mass
from vehicle.driving.trip import Steps, with_idling


@dataclass(frozen=True)
class Driven:
    """A trip as driven: forces and supply of every step, (…, steps), and totals (…) over the trip."""

    forces: RoadForces
    supply: Supply
    source_j: np.ndarray  # fuel energy, or energy out of the pack
    brake_j: np.ndarray
    wheel_j: np.ndarray


def drive_trip(
    engine: Engine | Battery,
    load: RoadLoad,
    steps: Steps,
    density_kg_m3: Values,
    air_ahead_m_s: Values | None = None,
    air_across_m_s: Values = 0.0,
    *,
    extra_force_n: Values = 0.0,
    added_mass_kg: Values = 0.0,
    longest_idle_s: Values = 300.0,
) -> Driven:
    """Return the trip as driven, with an extra force (N, against the motion, per step) and mass (kg) on the vehicle.

    Air from ahead defaults to still air. Draws stand in front of the steps: fields of `engine` and `load` may be
    (draws, 1).
    """
    ahead = steps.speed_m_s if air_ahead_m_s is None else air_ahead_m_s
    forces = road_forces(
        with_added_mass(load, added_mass_kg),
        steps.speed_m_s,
        density_kg_m3,
        ahead,
        air_across_m_s,
        grade=steps.grade,
        acceleration_m_s2=steps.acceleration_m_s2,
    )
    wheel = (forces.total_n + np.asarray(extra_force_n)) * steps.speed_m_s
    supply = drive(with_idling(engine, steps.standing_s, longest_idle_s), wheel, steps.speed_m_s)
    return Driven(
        forces,
        supply,
        (supply.source_w * steps.duration_s).sum(axis=-1),
        (supply.brake_loss_w * steps.duration_s).sum(axis=-1),
        (supply.wheel_w * steps.duration_s).sum(axis=-1),
    )
