"""From power at the wheels to fuel: drivetrain, gears, engine (Willans line or map), or battery and motor.

Willans line: fuel power = (brake power + friction power) / indicated efficiency, friction power = friction mean
effective pressure × displacement × cycles per second. Its slope and its idle point have published sources (see the
scenario's defaults); the friction of a throttled engine lumps pumping and accessories into one pressure.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vehicle.arrays import Values, bilinear, cell_of
from vehicle.driving.fuels import Fuel


@dataclass(frozen=True)
class FuelMap:
    """Fuel power in W over engine speed (rad/s) and torque (N·m), both rising; from a brake-specific map."""

    engine_speed_rad_s: np.ndarray
    torque_n_m: np.ndarray
    fuel_power_w: np.ndarray  # (speeds, torques)


@dataclass(frozen=True)
class TorqueCurve:
    """Greatest brake torque over engine speed; one point means a constant peak torque."""

    engine_speed_rad_s: np.ndarray
    torque_n_m: np.ndarray

    def at(self, engine_speed_rad_s: Values) -> np.ndarray:
        """Return the greatest torque (N·m) at a speed; held constant beyond the ends of the curve.

        Parameters
        ----------
        engine_speed_rad_s : [rad/s] any shape

        Returns
        -------
        [N·m], of that shape.
        """
        return np.interp(np.asarray(engine_speed_rad_s, float), self.engine_speed_rad_s, self.torque_n_m)


@dataclass(frozen=True)
class Engine:
    """An engine with its gears; numeric fields are floats or arrays of draws."""

    fuel: Fuel
    displacement_m3: Values
    indicated_efficiency: Values
    friction_mean_pressure_pa: Values
    idle_speed_rad_s: Values
    torque_curve: TorqueCurve
    travel_per_radian_m: np.ndarray  # (gears,) metres of road per radian of the engine, lowest gear first
    drivetrain_efficiency: Values
    lowest_driving_speed_rad_s: Values
    highest_speed_rad_s: Values
    overrun_cut_off: bool = True
    runs_when_parked: bool | np.ndarray = False
    accessory_power_w: Values = 0.0
    fuel_map: FuelMap | None = None
    drivetrain_spin_force_n: Values = 0.0  # what oil and seals hold back whatever the torque, as a force at the wheels
    torque_factor: Values = 1.0  # on the torque curve, for air thinner or denser than where it was measured
    full_load_enrichment: Values = 0.0  # share of fuel more at full torque, growing from none at nine tenths of it
    converter_slip: Values = 0.0  # of a torque converter that is not locked
    converter_locks_above_m_s: Values = 0.0


@dataclass(frozen=True)
class Battery:
    """A battery-electric drive: energy comes from the pack, and some of the braking goes back."""

    drive_efficiency: Values  # pack to wheels
    regeneration_efficiency: Values  # wheels to pack
    regeneration_limit_w: Values  # greatest power at the wheels that the drive can take back
    auxiliary_power_w: Values = 0.0
    charging_efficiency: Values = 1.0  # mains to pack


@dataclass(frozen=True)
class Supply:
    """What drives the wheels and what it takes from tank or pack; watts, arrays of the operating points' shape.

    Closes: source = engine_loss + accessory + drivetrain_loss + brake_loss + wheel (wheel negative on overrun).
    """

    source_w: np.ndarray  # fuel power, or power out of the pack (negative while charging)
    engine_loss_w: np.ndarray
    accessory_w: np.ndarray
    drivetrain_loss_w: np.ndarray
    brake_loss_w: np.ndarray
    wheel_w: np.ndarray
    engine_speed_rad_s: np.ndarray
    torque_n_m: np.ndarray
    greatest_torque_n_m: np.ndarray
    gear: np.ndarray  # 1 is the lowest; 0 where the vehicle stands or there is none
    enough_torque: np.ndarray
    notes: tuple[str, ...] = field(default=())


def friction_power_w(engine: Engine, engine_speed_rad_s: Values) -> np.ndarray:
    """Return the friction power of a four-stroke engine: mean pressure × displacement × cycles per second.

    Parameters
    ----------
    engine : fields of shapes that broadcast
    engine_speed_rad_s : [rad/s] broadcasts with them

    Returns
    -------
    [W], the shape of all inputs broadcast.

    References
    ----------
    .. [1] Definition of a mean effective pressure, four strokes.
    """
    cycles_per_s = np.asarray(engine_speed_rad_s, float) / (4 * np.pi)
    return np.asarray(engine.friction_mean_pressure_pa) * np.asarray(engine.displacement_m3) * cycles_per_s


def fuel_power_w(engine: Engine, brake_power_w: Values, engine_speed_rad_s: Values) -> np.ndarray:
    """Return the fuel power (W) for a brake power (negative: driven by the wheels) at an engine speed.

    Never below zero. Willans line, or the map interpolated linearly in torque and speed (below the lowest torque of the
    map along the line of its two lowest, above the highest along the two highest).

    Parameters
    ----------
    engine : fields of shapes that broadcast
    brake_power_w : [W], any shape
    engine_speed_rad_s : [rad/s], any shape

    Returns
    -------
    [W] of lower heating value, the shape of all inputs broadcast.

    References
    ----------
    .. [1] Willans line, see the head of this module; slopes of Commission Implementing Decision (EU) 2020/728, Annex,
       in the defaults.
    """
    brake, speed = np.broadcast_arrays(np.asarray(brake_power_w, float), np.asarray(engine_speed_rad_s, float))
    if engine.fuel_map is None:
        return np.maximum(0.0, (brake + friction_power_w(engine, speed)) / np.asarray(engine.indicated_efficiency))
    return np.maximum(0.0, _from_map(engine.fuel_map, brake, speed))


def _from_map(table: FuelMap, brake_w: np.ndarray, speed_rad_s: np.ndarray) -> np.ndarray:
    speeds, torques = table.engine_speed_rad_s, table.torque_n_m
    speed = np.clip(speed_rad_s, speeds[0], speeds[-1])
    # Outside the map's speeds the torque is kept and the fuel scales with speed: same fuel per turn.
    scale = speed_rad_s / speed
    torque = brake_w / np.maximum(speed_rad_s, 1e-9)
    return scale * bilinear(table.fuel_power_w, cell_of(speeds, speed), cell_of(torques, torque))


def outside_the_map(engine: Engine, supply: Supply) -> np.ndarray:
    """Return where a burning engine works outside its fuel map's speeds or torques; nowhere without a map.

    Parameters
    ----------
    engine : with or without a map
    supply : arrays of shape S

    Returns
    -------
    Whether, of shape S.
    """
    table, torque, speed = engine.fuel_map, np.asarray(supply.torque_n_m), np.asarray(supply.engine_speed_rad_s)
    if table is None:
        return np.zeros(torque.shape, dtype=bool)
    rounding = 1 + 1e-9
    low = (speed * rounding < table.engine_speed_rad_s[0]) | (torque * rounding < table.torque_n_m[0])
    high = (speed > table.engine_speed_rad_s[-1] * rounding) | (torque > table.torque_n_m[-1] * rounding)
    return (np.asarray(supply.source_w) > 0) & (low | high)


def idle_fuel_power_w(engine: Engine) -> np.ndarray:
    """Return the fuel power (W) of the engine running unloaded at its idle speed.

    Parameters
    ----------
    engine : fields of shapes that broadcast

    Returns
    -------
    [W] of lower heating value, the shape of all fields broadcast.

    References
    ----------
    .. [1] Willans line, as `fuel_power_w`.
    """
    return fuel_power_w(engine, engine.accessory_power_w, engine.idle_speed_rad_s)


def greatest_torque_n_m(engine: Engine, engine_speed_rad_s: Values) -> np.ndarray:
    """Return the greatest torque (N·m) at an engine speed in the air of the day.

    Parameters
    ----------
    engine : fields of shapes that broadcast
    engine_speed_rad_s : [rad/s] broadcasts with them

    Returns
    -------
    [N·m], the shape of all inputs broadcast.

    References
    ----------
    .. [1] The torque curve times a factor for the air; the factor's source is in the defaults.
    """
    return engine.torque_curve.at(engine_speed_rad_s) * np.asarray(engine.torque_factor)


def enrichment(engine: Engine, torque_n_m: Values, engine_speed_rad_s: Values) -> np.ndarray:
    """Return the factor on fuel near full load: 1 up to nine tenths of the greatest torque, then rising in a line.

    Parameters
    ----------
    engine : fields of shapes that broadcast
    torque_n_m : [N·m], any shape
    engine_speed_rad_s : [rad/s], any shape

    Returns
    -------
    [-] 1 or more, the shape of all inputs broadcast.

    References
    ----------
    .. [1] Common practice, no source.
    """
    share = np.asarray(torque_n_m) / np.maximum(greatest_torque_n_m(engine, engine_speed_rad_s), 1e-9)
    return 1 + np.asarray(engine.full_load_enrichment) * np.clip((share - 0.9) / 0.1, 0.0, 1.0)


def choose_gear(engine: Engine, speed_m_s: np.ndarray, brake_power_w: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return (gear index from 0, engine speed, enough torque) for driving at a speed with a brake power.

    The highest gear is used in which the engine turns fast enough and has the torque; the next lower one where it has
    not; if none has, the lowest gear that does not overspeed, with `enough torque` False.

    Parameters
    ----------
    engine : with gears (G,)
    speed_m_s : [m/s] of shape S
    brake_power_w : [W] of shape S

    Returns
    -------
    Index from 0, [rad/s] engine speed, whether the torque is enough; each of shape S.

    References
    ----------
    .. [1] Own rule, no source.
    """
    speed, brake = np.broadcast_arrays(speed_m_s, brake_power_w)
    chosen = np.full(speed.shape, -1)
    fallback = np.full(speed.shape, -1)
    for gear in range(len(engine.travel_per_radian_m)):  # from low to high: the last that serves wins
        turning = speed / engine.travel_per_radian_m[gear]
        in_range = (turning >= engine.lowest_driving_speed_rad_s) | (gear == 0)
        in_range &= (turning <= engine.highest_speed_rad_s) | (gear == len(engine.travel_per_radian_m) - 1)
        at = np.maximum(turning, engine.idle_speed_rad_s)
        serves = in_range & (brake <= greatest_torque_n_m(engine, at) * at)
        chosen = np.where(serves, gear, chosen)
        fallback = np.where(in_range & (fallback < 0), gear, fallback)
    enough = chosen >= 0
    gear_index = np.where(enough, chosen, np.maximum(fallback, 0))
    # Below idle speed in the lowest gear the clutch slips and the engine idles.
    turning = np.maximum(speed / engine.travel_per_radian_m[gear_index], engine.idle_speed_rad_s)
    return gear_index, turning, enough


def drive(engine: Engine | Battery, wheel_power_w: Values, speed_m_s: Values) -> Supply:
    """Return what engine or pack does for a power at the wheels (W; negative: the road pushes) at a speed (m/s).

    Parameters
    ----------
    engine : engine or pack; fields of shapes that broadcast
    wheel_power_w : [W], any shape
    speed_m_s : [m/s], any shape

    Returns
    -------
    What it does, arrays of the broadcast shape, SI.

    References
    ----------
    .. [1] Balance of power through drivetrain and engine; Willans line, see the head of this module.
    """
    wheel, speed = np.broadcast_arrays(np.asarray(wheel_power_w, float), np.asarray(speed_m_s, float))
    return _drive_battery(engine, wheel, speed) if isinstance(engine, Battery) else _drive_engine(engine, wheel, speed)


def _drive_engine(engine: Engine, wheel: np.ndarray, speed: np.ndarray) -> Supply:
    efficiency = np.asarray(engine.drivetrain_efficiency)
    accessory = np.asarray(engine.accessory_power_w)
    moving = speed > 0
    spin = np.asarray(engine.drivetrain_spin_force_n) * speed
    asked = wheel + spin
    # An unlocked torque converter passes the torque on and loses its slip in speed (power-transmission texts).
    slip = np.where(speed < engine.converter_locks_above_m_s, np.asarray(engine.converter_slip), 0.0)
    efficiency = efficiency * (1 - slip)
    flywheel = np.where(asked >= 0, asked / efficiency, asked * efficiency)  # either way the meshes take their share
    gear, turning, enough = choose_gear(engine, speed, (flywheel + accessory) * (1 - slip))
    turning = np.maximum(turning, speed / engine.travel_per_radian_m[gear] / (1 - slip))
    # On overrun the engine can hold back only what its own friction and accessories take; the brakes do the rest.
    hold_back = _motoring_power_w(engine, turning)
    wanted = flywheel + accessory
    brake = np.maximum(wanted, -hold_back)
    braked_flywheel = brake - wanted  # at the flywheel, ≥ 0
    brake_loss = braked_flywheel / efficiency
    through = asked + brake_loss  # what still goes through the meshes
    flywheel = np.where(through >= 0, through / efficiency, through * efficiency)
    fuel = fuel_power_w(engine, brake, turning) * enrichment(engine, brake / np.maximum(turning, 1e-9), turning)
    if not engine.overrun_cut_off:
        fuel = np.maximum(fuel, idle_fuel_power_w(engine))
    running = moving | np.asarray(engine.runs_when_parked)
    fuel = np.where(moving, fuel, np.where(running, idle_fuel_power_w(engine), 0.0))
    accessory = np.where(running, accessory, 0.0)
    drivetrain_loss = np.where(moving, flywheel - through + spin, 0.0)
    brake_loss = np.where(moving, brake_loss, 0.0)
    wheel = np.where(moving, wheel, 0.0)
    engine_loss = np.where(moving, fuel - brake, fuel - accessory)
    turning = np.where(moving, turning, np.where(running, engine.idle_speed_rad_s, 0.0))
    torque = np.where(moving, brake / np.maximum(turning, 1e-9), 0.0)
    return Supply(
        fuel,
        engine_loss,
        np.broadcast_to(accessory, fuel.shape),
        drivetrain_loss,
        brake_loss,
        wheel,
        turning,
        torque,
        greatest_torque_n_m(engine, turning),
        np.where(moving, gear + 1, 0),
        enough | ~moving,
    )


def _motoring_power_w(engine: Engine, turning_rad_s: np.ndarray) -> np.ndarray:
    """Return the power (W) that the engine takes when driven with the fuel cut: where its fuel line reaches zero."""
    if engine.fuel_map is None:
        return friction_power_w(engine, turning_rad_s)
    at_zero = _from_map(engine.fuel_map, np.zeros_like(turning_rad_s), turning_rad_s)
    step = 1.0  # W; the map is linear below its lowest torque
    slope = (at_zero - _from_map(engine.fuel_map, np.full_like(turning_rad_s, -step), turning_rad_s)) / step
    return np.maximum(0.0, at_zero / np.maximum(slope, 1e-6))


def _drive_battery(battery: Battery, wheel: np.ndarray, speed: np.ndarray) -> Supply:
    wheel, auxiliary = np.broadcast_arrays(wheel, np.asarray(battery.auxiliary_power_w, float))
    back = np.minimum(np.maximum(-wheel, 0.0), battery.regeneration_limit_w)
    brake_loss = np.maximum(-wheel, 0.0) - back
    forward = np.maximum(wheel, 0.0)
    source = forward / np.asarray(battery.drive_efficiency) - back * np.asarray(battery.regeneration_efficiency)
    loss = source - forward + back
    zero = np.zeros_like(wheel)
    return Supply(
        source + auxiliary,
        zero,
        auxiliary,
        loss,
        brake_loss,
        wheel,
        zero,
        zero,
        np.full_like(wheel, np.nan),
        zero.astype(int),
        np.ones(wheel.shape, dtype=bool),
    )


def calculated_load_points(with_it: Supply, without: Supply) -> np.ndarray:
    """Return the change of calculated engine load in points (per cent of the greatest torque at that engine speed).

    SAE J1979 calculated load is air flow over the greatest air flow at that speed; torque over greatest torque at that
    speed stands for it here, which is good to a few points for a petrol engine and a guess for a diesel.

    Parameters
    ----------
    with_it, without : arrays of shapes that broadcast

    Returns
    -------
    [percentage points], of the broadcast shape.

    References
    ----------
    .. [1] SAE J1979, definition of calculated load; torque in place of air flow: own choice.
    """
    return 100 * (with_it.torque_n_m / with_it.greatest_torque_n_m - without.torque_n_m / without.greatest_torque_n_m)
