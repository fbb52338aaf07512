"""A ledger worked out number by number with plain scalar arithmetic: what the tests hold an answer against.

Forces and powers from mechanics, the books from the head of energy/chain/ledger.py. What rotor, generator and engine do
at one point is taken from their own rooms, which have checks of their own.
"""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest

from energy.aero.curves import least_thrust_coefficient, thrust_coefficient_of_lift
from energy.aero.operating_point import Rotor, free_run_speed_rad_s, solve, stalled_torque_share
from energy.electrical import electrical_state
from energy.scenario.inputs import Inputs
from vehicle.driving.engine import Battery, Engine, drive

GRAVITY = 9.80665  # m/s², standard
LPG_J_M3 = 84250 * 1055.056 / 3.785411784e-3  # Btu per US gallon of propane, US DOE AFDC

Numbers = dict[str, Any]


def number(value: Any) -> float:
    """Return a 0-dimensional array or number as a float."""
    return float(np.asarray(value))


def flat(thing: Any, *but: str, path: str = "") -> Numbers:
    """Return every number and text of a result by its path."""
    if is_dataclass(thing):
        items = [(f.name, getattr(thing, f.name)) for f in fields(thing)]
    elif isinstance(thing, dict):
        items = list(thing.items())
    elif isinstance(thing, tuple) and thing and isinstance(thing[0], tuple):  # rows of a ledger
        items = [(f"{k} {account}, {name}", watts) for k, (account, name, watts) in enumerate(thing)]
    else:
        return {path: thing if isinstance(thing, str) or thing is None else number(thing)}
    found: Numbers = {}
    for name, value in items:
        if name not in but and not (isinstance(value, tuple) and not value):
            found |= flat(value, *but, path=f"{path}.{name}" if path else name)
    return found


def in_local_air(inputs: Inputs, area_m2: float, factor: float) -> float:
    """Drag of a part that stands in air of `factor` times the free speed: ½ρ·CdA·|u|·u_ahead there; the vehicle pays it
    once more times the factor where its body has sped up the air.
    """
    ahead, across = number(inputs.air.ahead_m_s), number(inputs.air.across_m_s)
    pressure = 0.5 * number(inputs.density_kg_m3) * math.hypot(ahead, across) * ahead
    return pressure * area_m2 * factor * factor * (factor if factor > 1 else 1.0)


def drag_of(inputs: Inputs, thrust: float, shaft: float, turning: bool) -> Numbers:
    """Thrust, what of it the vehicle feels, what the air gives up (force times the free air), whether shaft power over
    free air speed had to be taken: a rotor cannot give more than its thrust takes.
    """
    turbine = inputs.turbine
    local = number(turbine.local_speed_factor)
    standing = in_local_air(inputs, number(turbine.stopped_drag_area_m2), local)
    ahead, across = number(inputs.air.ahead_m_s), number(inputs.air.across_m_s)
    if not turning:
        return {
            "thrust_n": abs(standing),
            "rotor_drag_n": standing,
            "air_power_w": standing * ahead,
            "thrust_floor": 0.0,
        }
    felt = thrust * number(turbine.interaction_factor) * (local if local > 1 else 1.0)
    free = number(inputs.free_air_speed_m_s)
    needed = shaft / free if free > 0 and shaft > 0 else 0.0
    force = max(felt, needed)
    along = ahead / math.hypot(ahead, across) if turbine.turns_into_wind and (ahead or across) else 1.0
    return {
        "thrust_n": thrust,
        "rotor_drag_n": force * along,
        "air_power_w": force * free,
        "thrust_floor": float(needed > felt * (1 + 1e-9)),
    }


def at_work(inputs: Inputs) -> Numbers:
    """What the working turbine does, by the field's names."""
    turbine = inputs.turbine
    diameter, density = number(turbine.diameter_m), number(inputs.density_kg_m3)
    air = number(inputs.rotor_air_speed_m_s)
    pressure_area = 0.5 * density * math.pi * diameter**2 / 4 * air**2
    nan = math.nan
    if turbine.measured is None:
        assert turbine.curves is not None
        assert turbine.chain is not None
        rotor = rotor_of(inputs)
        point = solve(rotor, turbine.chain, load_connected_after_spin_up=turbine.load_connected_after_spin_up)
        parts = electrical_state(turbine.chain, point.rotor_speed_rad_s)
        beyond = bool(point.beyond_table)
        shaft = number(parts.shaft_w if beyond else point.shaft_power_w)
        turning = number(point.rotor_speed_rad_s) > 0
        at_output = number(parts.rectifier_loss_w) + number(parts.lead_loss_w) + number(parts.element_w)
        return {
            **{f"electrical.{k}": v for k, v in flat(parts).items()},
            "rotor_speed_rad_s": number(point.rotor_speed_rad_s),
            "shaft_power_w": shaft,
            "electrical_power_w": at_output,
            "heat_power_w": number(parts.element_w),
            **drag_of(inputs, number(point.thrust_n), shaft, turning),
            "power_coefficient": number(point.power_coefficient),
            "thrust_coefficient": number(point.thrust_coefficient),
            "tip_speed_ratio": number(point.tip_speed_ratio),
            "free_run_speed_rad_s": number(free_run_speed_rad_s(rotor, turbine.chain)),
            "turning": float(turning),
            "beyond_data": float(beyond),
            "stalled_torque_share": number(
                stalled_torque_share(turbine.curves, turbine.pitch_deg, point.tip_speed_ratio)
            ),
            "stowed_drag_n": None,
        }
    table = turbine.measured
    first, last = float(table.air_speed_m_s[0]), float(table.air_speed_m_s[-1])
    # Past the ends power goes with the cube of air speed.
    over = air / last if air > last else air / first if air < first else 1.0

    def read(column: np.ndarray, at: float) -> float:
        speeds = table.air_speed_m_s
        if at <= speeds[0]:
            return float(column[0])
        for k in range(1, len(speeds)):
            if at <= speeds[k]:
                share = (at - speeds[k - 1]) / (speeds[k] - speeds[k - 1])
                return float(column[k - 1] + share * (column[k] - column[k - 1]))
        return float(column[-1])

    watts = read(table.electrical_power_w, air) * over**3
    shaft = watts / number(turbine.chain_efficiency)
    cp = min(1.0, shaft / (pressure_area * air)) if air > 0 else 0.0
    turn = nan if table.rotor_speed_rad_s is None else read(table.rotor_speed_rad_s, air) * over
    ratio = turn * diameter / 2 / air if air > 0 else (nan if math.isnan(turn) else turn * diameter / 2 / 1e-9)
    if table.thrust_n is not None:
        thrust = read(table.thrust_n, air) * over**2
    else:
        assumed = turbine.unmeasured_thrust
        assert assumed is not None
        ct = assumed.thrust_coefficient
        if ct is None:
            ct = thrust_coefficient_of_lift(assumed.solidity, assumed.lift_coefficient, ratio)
        thrust = max(number(ct), number(least_thrust_coefficient(cp))) * pressure_area
    drag = drag_of(inputs, thrust, shaft, watts > 0)
    return {
        "electrical": None,
        "rotor_speed_rad_s": turn,
        "shaft_power_w": shaft,
        "electrical_power_w": watts,
        "heat_power_w": watts,
        **drag,
        "power_coefficient": cp,
        "thrust_coefficient": drag["thrust_n"] / pressure_area if air > 0 else 0.0,
        "tip_speed_ratio": ratio,
        "free_run_speed_rad_s": nan,
        "turning": float(watts > 0),
        "beyond_data": float((air > last or air < first) and watts > 0),
        "stalled_torque_share": nan,
        "stowed_drag_n": None,
    }


def rotor_of(inputs: Inputs) -> Rotor:
    """The rotor in the air of one condition."""
    turbine = inputs.turbine
    assert turbine.curves is not None
    radius = number(turbine.diameter_m) / 2
    return Rotor(
        turbine.curves,
        radius,
        turbine.pitch_deg,
        inputs.density_kg_m3,
        inputs.rotor_air_speed_m_s,
        turbine.power_factor,
        turbine.thrust_factor,
        turbine.departures,
    )


def stowed_drag(inputs: Inputs) -> float:
    """Drag of the stowed rotor in N: of blades that stand, feathered ones, or a rotor that spins unloaded."""
    turbine = inputs.turbine
    local = number(turbine.local_speed_factor)
    if turbine.stowed == "feathered":
        return in_local_air(inputs, number(turbine.feathered_drag_area_m2), local)
    if turbine.stowed == "spinning" and turbine.chain is not None:
        unloaded = replace(turbine.chain, element_resistance_ohm=np.inf)
        free = solve(rotor_of(inputs), unloaded, load_connected_after_spin_up=True)
        turns = number(free.rotor_speed_rad_s) > 0
        return float(drag_of(inputs, number(free.thrust_n), number(free.shaft_power_w), turns)["rotor_drag_n"])
    return in_local_air(inputs, number(turbine.stopped_drag_area_m2), local)


def road_forces(inputs: Inputs, added_kg: float) -> Numbers:
    """Coast-down form A·cos + B·v + ½ρ·CdA·|u|·u, weight times sine, mass (with what turns) times acceleration."""
    vehicle, speed = inputs.road_load, number(inputs.road_speed_m_s)
    slope = math.atan(number(inputs.grade))
    mass = number(vehicle.mass_kg) + added_kg
    rolls = number(vehicle.constant_n) + added_kg * GRAVITY * number(vehicle.extra_mass_rolling_coefficient)
    return {
        "tyres_n": rolls * math.cos(slope) + number(vehicle.linear_n_s_m) * speed if speed > 0 else 0.0,
        "body_drag_n": in_local_air(inputs, number(vehicle.drag_area_m2), 1.0),
        "grade_n": mass * GRAVITY * math.sin(slope),
        "inertia_n": mass * number(vehicle.rotating_mass_factor) * number(inputs.acceleration_m_s2),
    }


def supply_of(inputs: Inputs, wheel_w: float, electric_w: float) -> Numbers:
    """What engine or pack supplies for a power at the wheels and an electrical load more."""
    engine = inputs.engine
    if isinstance(engine, Battery):
        engine = replace(engine, auxiliary_power_w=number(engine.auxiliary_power_w) + electric_w)
    else:
        assert isinstance(engine, Engine)
        runs = bool(engine.runs_when_parked) or electric_w > 0  # nothing but a running engine turns the alternator
        engine = replace(engine, accessory_power_w=number(engine.accessory_power_w) + electric_w, runs_when_parked=runs)
    return flat(drive(engine, wheel_w, number(inputs.road_speed_m_s)))


def state_of(inputs: Inputs, state: str, turbine: Numbers, heat_by_engine_w: float = 0.0) -> Numbers:
    """Forces, what engine or pack supplies, and the books of one state."""
    carried = state != "absent"
    forces = road_forces(inputs, number(inputs.turbine.mass_kg) if carried else 0.0)
    mount = number(inputs.turbine.mount_speed_factor)
    mount_n = in_local_air(inputs, number(inputs.turbine.mount_drag_area_m2), mount) if carried else 0.0
    rotor_n = 0.0
    if state == "working":
        rotor_n = turbine["rotor_drag_n"]
    elif state == "stowed":
        rotor_n = stowed_drag(inputs) if turbine["stowed_drag_n"] is None else turbine["stowed_drag_n"]
    speed = number(inputs.road_speed_m_s)
    path = number(inputs.credit.path_efficiency)
    supply = supply_of(inputs, (sum(forces.values()) + mount_n + rotor_n) * speed, heat_by_engine_w / path)
    burns = inputs.fuel is not None
    rows = [
        ("road", "fuel" if burns else "battery pack", supply["source_w"]),
        ("road", "engine loss" if burns else "drive and pack loss", -supply["engine_loss_w"]),
        ("road", "accessories", heat_by_engine_w / path - supply["accessory_w"]),
        ("road", "drivetrain loss", -supply["drivetrain_loss_w"]),
        ("road", "brakes", -supply["brake_loss_w"]),
        ("road", "tyres", -forces["tyres_n"] * speed),
        ("road", "body drag", -forces["body_drag_n"] * speed),
        ("road", "grade", -forces["grade_n"] * speed),
        ("road", "acceleration", -forces["inertia_n"] * speed),
        ("road", "mount drag", -mount_n * speed),
        ("road", "rotor drag", -rotor_n * speed),
    ]
    if heat_by_engine_w > 0:
        rows += [
            ("alternator", "alternator and inverter loss", heat_by_engine_w - heat_by_engine_w / path),
            ("alternator", "heat into the load", -heat_by_engine_w),
        ]
    if state == "stowed":
        rows += [("rotor", "rotor drag", rotor_n * speed), ("rotor", "wake and blade loss", -rotor_n * speed)]
    if state == "working":
        shaft, given = turbine["shaft_power_w"], turbine["air_power_w"]
        rows += [
            ("rotor", "rotor drag", rotor_n * speed),
            ("rotor", "wind", given - rotor_n * speed),
            ("rotor", "wake and blade loss", shaft - given),
            ("rotor", "shaft", -shaft),
            ("electrical", "shaft", shaft),
        ]
        if "electrical" in turbine:
            rows += [("electrical", "belt, generator and wiring loss", turbine["heat_power_w"] - shaft)]
        else:
            lost = {k.removeprefix("electrical."): v for k, v in turbine.items()}
            rows += [
                ("electrical", "belt loss", -lost["belt_loss_w"]),
                ("electrical", "generator friction and iron", -lost["friction_loss_w"] - lost["iron_loss_w"]),
                ("electrical", "generator winding", -lost["winding_loss_w"]),
                ("electrical", "rectifier", -lost["rectifier_loss_w"]),
                ("electrical", "leads", -lost["lead_loss_w"]),
            ]
        rows += [("electrical", "heat into the load", -turbine["heat_power_w"])]
    return {
        "state": state,
        **{f"forces.{k}": v for k, v in forces.items()},
        "mount_drag_n": mount_n,
        "rotor_drag_n": rotor_n,
        **{f"supply.{k}": v for k, v in supply.items()},
        **{f"rows.{k} {account}, {name}": watts for k, (account, name, watts) in enumerate(rows)},
    }


def change_of(inputs: Inputs, working: Numbers, without: Numbers) -> Numbers:
    """What working changes against the trip without."""
    power = working["supply.source_w"] - without["supply.source_w"]
    base, speed = without["supply.source_w"], number(inputs.road_speed_m_s)
    nan = math.nan
    load = 100 * (
        working["supply.torque_n_m"] / working["supply.greatest_torque_n_m"]
        - without["supply.torque_n_m"] / without["supply.greatest_torque_n_m"]
    )
    percent = 100 * power / base if base != 0 else nan
    if inputs.fuel is None:
        return {
            "power_w": power,
            "volume_m3_s": nan,
            "volume_m3_per_m": nan,
            "percent": percent,
            "co2_kg_s": nan,
            "load_points": nan,
        }
    volume = power / inputs.fuel.heating_value_j_per_m3
    return {
        "power_w": power,
        "volume_m3_s": volume,
        "volume_m3_per_m": volume / speed if speed > 0 else nan,
        "percent": percent,
        "co2_kg_s": volume * inputs.fuel.co2_kg_per_m3,
        "load_points": load,
    }


def other_sources(inputs: Inputs, turbine: Numbers, plain: Numbers) -> Numbers:
    """What the same heat takes by other ways."""
    heat, nan, other = turbine["heat_power_w"], math.nan, inputs.other_sources
    extra = state_of(inputs, plain["state"], turbine, heat)["supply.source_w"] - plain["supply.source_w"]
    found: Numbers = {}

    def source(key: str, fuel: float, gas: float, mains: float) -> None:
        found.update({f"{key}.fuel_m3_s": fuel, f"{key}.gas_m3_s": gas, f"{key}.mains_w": mains})

    kilograms = heat * 3600 / number(other.battery_energy_per_mass_j_kg)
    if inputs.fuel is not None:
        source("alternator", extra / inputs.fuel.heating_value_j_per_m3, nan, nan)
        turbine_kg = 0.0 if plain["state"] == "absent" else number(inputs.turbine.mass_kg)
        forces = sum(road_forces(inputs, turbine_kg + kilograms).values())
        wheel = (forces + plain["mount_drag_n"] + plain["rotor_drag_n"]) * number(inputs.road_speed_m_s)
        carried = supply_of(inputs, wheel, 0.0)["source_w"] - plain["supply.source_w"]
        carried /= inputs.fuel.heating_value_j_per_m3
    else:
        assert isinstance(inputs.engine, Battery)
        source("pack", nan, nan, extra / number(inputs.engine.charging_efficiency))
        carried = nan
    source("burner", nan, heat / number(other.burner_efficiency) / LPG_J_M3, nan)
    source("mains", carried, nan, heat / number(other.mains_charge_efficiency))
    if inputs.fuel is not None:  # a battery drive has none
        source("exhaust", 0.0, nan, nan)
    return found


def same(found: Numbers, expected: Numbers) -> None:
    """Hold every number against the one expected."""
    assert found.keys() == expected.keys()
    for path, value in expected.items():
        if value is None or isinstance(value, str):
            assert found[path] == value, path
        else:
            whole = 1e-7 if path.endswith(("_w", "_n")) or path.startswith("rows.") else 1e-16  # W and N cancel
            close = pytest.approx(value, rel=1e-9, abs=whole, nan_ok=True)
            assert found[path] == close, path
