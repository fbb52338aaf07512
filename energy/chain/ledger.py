"""The ledger: the same trip without and with the turbine, every watt from fuel and wind to the heated load.

Each state (absent, stowed, working) is computed with the full physics: air, rotor, generator, road load, gear, engine.
The books are double entry: what one account gives ("rotor drag" of the road) another receives, and each account sums to
zero.

    road:        fuel = engine + drivetrain + brakes + tyres + body + grade + acceleration + mount + rotor drag
    rotor:       rotor drag + wind = wake and blade loss + shaft
    electrical:  shaft = belt + generator + rectifier + leads + heat into the load

In still air the vehicle pays thrust × road speed and the rotor can give no more than thrust × air speed at the disc:
the shaft power is always below the drag power. With a head wind the wind pays the difference (air speed − road speed) ×
thrust.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from energy.aero.curves import least_thrust_coefficient, thrust_coefficient_of_lift
from energy.aero.operating_point import OperatingPoint, Rotor, free_run_speed_rad_s, solve, stalled_torque_share
from energy.electrical import ElectricalState, electrical_state
from energy.scenario.inputs import Inputs
from energy.uncertainty.quantiles import ChainOutcome
from vehicle.arrays import CubeOfAirSpeed, LikeAirSpeed, SquareOfAirSpeed, Values, map_arrays
from vehicle.driving.engine import Battery, Engine, Supply, calculated_load_points, drive
from vehicle.driving.fuels import FUELS
from vehicle.driving.road_load import RoadForces, air_drag_n, road_forces, with_added_mass

_SLOWEST_M_S = 1e-6  # below this the vehicle stands: fuel per distance has no meaning
Rows = tuple[tuple[str, str, np.ndarray], ...]  # (account, name, watts)


@dataclass(frozen=True)
class TurbineAtWork:
    """The working turbine: arrays of the conditions' shape, SI.

    `rotor_drag_n` is what the vehicle feels along its way: thrust with the factors for local speed and interaction,
    never less than the shaft power needs. `thrust_floor` tells where that least value had to be used.
    """

    point: OperatingPoint | None
    electrical: ElectricalState | None
    rotor_speed_rad_s: LikeAirSpeed
    shaft_power_w: CubeOfAirSpeed
    electrical_power_w: CubeOfAirSpeed
    heat_power_w: CubeOfAirSpeed
    thrust_n: SquareOfAirSpeed
    rotor_drag_n: SquareOfAirSpeed
    air_power_w: CubeOfAirSpeed  # what the air gives up to rotor and wake
    power_coefficient: np.ndarray
    thrust_coefficient: np.ndarray
    tip_speed_ratio: np.ndarray
    thrust_floor: np.ndarray
    free_run_speed_rad_s: LikeAirSpeed
    turning: np.ndarray
    beyond_data: np.ndarray
    stalled_torque_share: np.ndarray  # NaN where the curves do not tell
    stowed_drag_n: SquareOfAirSpeed | None = None  # of the stowed rotor, where it has been found already


@dataclass(frozen=True)
class TripState:
    """One state of the turbine on the road: forces (N) and what engine or pack supplies (W)."""

    state: str
    forces: RoadForces
    mount_drag_n: np.ndarray
    rotor_drag_n: np.ndarray
    supply: Supply
    rows: Rows

    @property
    def residual_w(self) -> np.ndarray:
        """Sum of the rows: zero but for rounding."""
        return np.asarray(sum(watts for _, _, watts in self.rows))


@dataclass(frozen=True)
class FuelChange:
    """What working costs against the trip without (positive costs); NaN where a figure has no meaning."""

    power_w: np.ndarray  # fuel (or pack) power
    volume_m3_s: np.ndarray
    volume_m3_per_m: np.ndarray
    percent: np.ndarray
    co2_kg_s: np.ndarray
    load_points: np.ndarray


@dataclass(frozen=True)
class Answer:
    """The whole answer; every array has the shape of the conditions (or draws)."""

    inputs: Inputs
    turbine: TurbineAtWork
    states: dict[str, TripState]
    compared_with: str
    without: TripState  # of `states`, with the alternator's load where credited
    change: FuelChange
    change_without_credit: FuelChange
    other_sources: dict[str, OtherSource]

    @property
    def ledger(self) -> Rows:
        """Rows of the working state."""
        return self.states["working"].rows

    @property
    def residual_w(self) -> np.ndarray:
        """The greatest miss of any state's books, in watts."""
        return np.max(np.abs([state.residual_w for state in (*self.states.values(), self.without)]), axis=0)


@dataclass(frozen=True)
class OtherSource:
    """Another way to the same heat: extra fuel of the vehicle (m³/s), gas (m³/s), mains energy (W); NaN for none."""

    name: str
    fuel_m3_s: np.ndarray
    gas_m3_s: np.ndarray
    mains_w: np.ndarray
    note: str


def answer(inputs: Inputs, turbine: TurbineAtWork | None = None, *, with_other_sources: bool = True) -> Answer:
    """Return the ledger of a scenario's numbers: three states, the change in fuel, and other sources of the same heat.

    `turbine` takes the place of what the turbine does in the scenario's air (see energy/chain/trip.py). Other sources
    are left out where nobody asks for them.
    """
    turbine = turbine_at_work(inputs) if turbine is None else turbine
    absent = _state(inputs, "absent", turbine)
    turbine = _spread(turbine, np.shape(absent.supply.source_w))
    states = {
        "absent": absent,
        "stowed": _state(inputs, "stowed", turbine),
        "working": _state(inputs, "working", turbine),
    }
    plain = states[inputs.compared_with]
    change_plain = _change(inputs, states["working"], plain)
    without, change = plain, change_plain
    if inputs.credit.replaces_alternator:
        without = _state(inputs, inputs.compared_with, turbine, alternator_heat_w=turbine.heat_power_w)
        change = _change(inputs, states["working"], without)
    other = _other_sources(inputs, turbine, plain) if with_other_sources else {}
    return Answer(inputs, turbine, states, inputs.compared_with, without, change, change_plain, other)


def change_and_heat(inputs: Inputs, turbine: TurbineAtWork | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Return (change in fuel or pack power, heat), in W: what `answer` says of them, without all else. For
    many draws.
    """
    outcome = outcome_of_draws(inputs, turbine)
    return outcome.change_w, outcome.heat_w


def outcome_of_draws(inputs: Inputs, turbine: TurbineAtWork | None = None) -> ChainOutcome:
    """Return change and heat of many draws, and where engine or motor lacks torque with the turbine or without."""
    turbine = turbine_at_work(inputs, with_free_run=False) if turbine is None else turbine
    heat = turbine.heat_power_w if inputs.credit.replaces_alternator else None
    without = _state(inputs, inputs.compared_with, turbine, alternator_heat_w=heat)
    working = _state(inputs, "working", turbine)
    return ChainOutcome(
        change_w=working.supply.source_w - without.supply.source_w,
        heat_w=turbine.heat_power_w,
        short_of_torque=~(working.supply.enough_torque & without.supply.enough_torque),
    )


def _spread(turbine: TurbineAtWork, road: tuple[int, ...]) -> TurbineAtWork:
    """Return the turbine with every figure in the shape of all conditions, those of the road (its shape) too."""
    shape = np.broadcast_shapes(road, np.shape(turbine.heat_power_w))
    figures = map_arrays(lambda values: np.broadcast_to(values, shape), replace(turbine, point=None))
    return replace(figures, point=turbine.point)


def turbine_at_work(inputs: Inputs, *, with_free_run: bool = True) -> TurbineAtWork:
    """Return what the working turbine does in the scenario's air; without `with_free_run` that speed is left at NaN."""
    turbine = inputs.turbine
    area = np.pi / 4 * np.asarray(turbine.diameter_m) ** 2
    if turbine.measured is not None:
        return _from_measured(inputs, area)
    assert turbine.chain is not None
    rotor = _rotor(inputs)
    point = solve(rotor, turbine.chain, load_connected_after_spin_up=turbine.load_connected_after_spin_up)
    state = electrical_state(turbine.chain, point.rotor_speed_rad_s)
    # Past the end of the curves nothing balances the torques; the load's own power is the one that is certain.
    balanced = ~point.beyond_table
    shaft = np.where(balanced, point.shaft_power_w, state.shaft_w)
    thrust, drag, air_power, floor = _drag(inputs, point.thrust_n, shaft, point.rotor_speed_rad_s > 0)
    return TurbineAtWork(
        point=point,
        electrical=state,
        rotor_speed_rad_s=point.rotor_speed_rad_s,
        shaft_power_w=shaft,
        electrical_power_w=state.generator_output_w,
        heat_power_w=state.element_w,
        thrust_n=thrust,
        rotor_drag_n=drag,
        air_power_w=air_power,
        power_coefficient=point.power_coefficient,
        thrust_coefficient=point.thrust_coefficient,
        tip_speed_ratio=point.tip_speed_ratio,
        thrust_floor=floor,
        free_run_speed_rad_s=free_run_speed_rad_s(rotor, turbine.chain)
        if with_free_run
        else np.full(np.shape(shaft), np.nan),
        turning=point.rotor_speed_rad_s > 0,
        beyond_data=point.beyond_table,
        stalled_torque_share=stalled_torque_share(rotor.curves, turbine.pitch_deg, point.tip_speed_ratio),
    )


def _rotor(inputs: Inputs) -> Rotor:
    """Return the rotor in the scenario's air."""
    turbine = inputs.turbine
    assert turbine.curves is not None
    return Rotor(
        turbine.curves,
        np.asarray(turbine.diameter_m) / 2,
        turbine.pitch_deg,
        inputs.density_kg_m3,
        inputs.rotor_air_speed_m_s,
        turbine.power_factor,
        turbine.thrust_factor,
        turbine.departures,
    )


def _from_measured(inputs: Inputs, area: np.ndarray) -> TurbineAtWork:
    """Return the turbine known only by measured watts over air speed; thrust assumed where it was not measured."""
    turbine, table = inputs.turbine, inputs.turbine.measured
    assert table is not None
    air = inputs.rotor_air_speed_m_s
    density = np.asarray(inputs.density_kg_m3)
    speeds = table.air_speed_m_s
    along = table.times_its_end(air)
    power = np.interp(air, speeds, table.electrical_power_w) * along**3
    shaft = power / np.asarray(turbine.chain_efficiency)
    wind_power = 0.5 * density * area * np.maximum(air, 1e-9) ** 3
    cp = np.minimum(np.where(air > 0, shaft / wind_power, 0.0), 1.0)
    nan = np.full(np.shape(air), np.nan)
    turn = nan if table.rotor_speed_rad_s is None else np.interp(air, speeds, table.rotor_speed_rad_s)
    turn = turn * along
    ratio = turn * np.asarray(turbine.diameter_m) / 2 / np.maximum(air, 1e-9)
    if table.thrust_n is not None:
        thrust = np.interp(air, speeds, table.thrust_n) * along**2
    else:
        thrust = _unmeasured_thrust_coefficient(inputs, cp, ratio) * 0.5 * density * area * air**2
    felt, drag, air_power, floor = _drag(inputs, thrust, shaft, power > 0)
    return TurbineAtWork(
        point=None,
        electrical=None,
        rotor_speed_rad_s=turn,
        shaft_power_w=shaft,
        electrical_power_w=power,
        heat_power_w=power,
        thrust_n=felt,
        rotor_drag_n=drag,
        air_power_w=air_power,
        power_coefficient=cp,
        thrust_coefficient=felt / (0.5 * density * area * np.maximum(air, 1e-9) ** 2),
        tip_speed_ratio=ratio,
        thrust_floor=floor,
        free_run_speed_rad_s=nan,
        turning=power > 0,
        beyond_data=(along != 1) & (power > 0),
        stalled_torque_share=nan,
    )


def _unmeasured_thrust_coefficient(inputs: Inputs, power_coefficient: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    """Return the thrust coefficient of a rotor whose thrust was not measured: at least what its power needs."""
    assumed = inputs.turbine.unmeasured_thrust
    assert assumed is not None
    known = assumed.thrust_coefficient
    if known is None:
        known = thrust_coefficient_of_lift(assumed.solidity, assumed.lift_coefficient, ratio)
    return np.maximum(known, least_thrust_coefficient(power_coefficient))


def _drag(
    inputs: Inputs, thrust_n: np.ndarray, shaft_w: np.ndarray, turning: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return (thrust, drag the vehicle feels along its way, power the air gives up, whether the least drag was used).

    A rotor in air that the body has sped up takes energy that the body's own drag then has to supply: the drag is
    charged at thrust × local speed factor. Whatever the factors say, thrust power is never below shaft power.
    """
    turbine, air = inputs.turbine, inputs.air
    free = inputs.free_air_speed_m_s
    factor = np.asarray(turbine.interaction_factor) * np.maximum(1.0, turbine.local_speed_factor)
    wanted = thrust_n * factor
    least = np.where(free > 0, np.maximum(shaft_w, 0.0) / np.maximum(free, 1e-9), 0.0)
    # A rotor that stands still is a grid of flat plates.
    standing = resting_blades_drag_n(inputs, turbine.stopped_drag_area_m2)
    force = np.where(turning, np.maximum(wanted, least), np.abs(standing))
    along = np.where(air.speed_m_s > 0, np.cos(air.yaw_rad), 1.0) if turbine.turns_into_wind else 1.0
    drag = np.where(turning, force * along, standing)
    air_power = np.where(turning, force * free, standing * air.ahead_m_s)
    return np.where(turning, thrust_n, np.abs(standing)), drag, air_power, turning & (least > wanted * (1 + 1e-9))


def stowed_drag_n(inputs: Inputs) -> np.ndarray:
    """Return the drag (N) of the stowed rotor: blades stopped, feathered, or spinning without load."""
    turbine = inputs.turbine
    stopped = resting_blades_drag_n(inputs, turbine.stopped_drag_area_m2)
    if turbine.stowed == "stopped":
        return stopped
    feathered = resting_blades_drag_n(inputs, turbine.feathered_drag_area_m2)
    if turbine.stowed == "feathered" or turbine.curves is None or turbine.chain is None:
        return feathered if turbine.stowed == "feathered" else stopped
    rotor = _rotor(inputs)
    free = solve(rotor, replace(turbine.chain, element_resistance_ohm=np.inf), load_connected_after_spin_up=True)
    _, drag, _, _ = _drag(inputs, free.thrust_n, free.shaft_power_w, free.rotor_speed_rad_s > 0)
    return drag


def resting_blades_drag_n(inputs: Inputs, drag_area_m2: Values) -> np.ndarray:
    """Return the drag (N) on the vehicle of blades that do not turn, of a drag area (m²): they feel the rotor's air."""
    return _drag_in_local_air_n(inputs, drag_area_m2, inputs.turbine.local_speed_factor)


def mount_drag_n(inputs: Inputs) -> np.ndarray:
    """Return the drag (N) on the vehicle of mount, mast and generator, in the air where they stand."""
    return _drag_in_local_air_n(inputs, inputs.turbine.mount_drag_area_m2, inputs.turbine.mount_speed_factor)


def _drag_in_local_air_n(inputs: Inputs, drag_area_m2: Values, factor: Values) -> np.ndarray:
    """Return the drag (N) of a part in air of `factor` times the free speed, charged as the thrust is in `_drag`."""
    factor = np.asarray(factor)
    area = np.asarray(drag_area_m2) * factor**2 * np.maximum(1.0, factor)
    return air_drag_n(area, inputs.density_kg_m3, inputs.air.ahead_m_s, inputs.air.across_m_s)


def forces_on_road(inputs: Inputs, added_mass_kg: Values) -> RoadForces:
    """Return the forces (N) on the vehicle itself in the scenario's air, on its grade, with a mass added to its own."""
    return road_forces(
        with_added_mass(inputs.road_load, added_mass_kg),
        inputs.road_speed_m_s,
        inputs.density_kg_m3,
        inputs.air.ahead_m_s,
        inputs.air.across_m_s,
        grade=inputs.grade,
        acceleration_m_s2=inputs.acceleration_m_s2,
    )


def _state(inputs: Inputs, state: str, turbine: TurbineAtWork, alternator_heat_w: Values | None = None) -> TripState:
    """Return one state of the trip; `alternator_heat_w` is heat that the engine makes electrically besides."""
    carried = state != "absent"
    mass = inputs.turbine.mass_kg if carried else 0.0
    speed = np.asarray(inputs.road_speed_m_s, float)
    forces = forces_on_road(inputs, mass)
    zero = np.zeros(np.shape(forces.total_n))
    mount = mount_drag_n(inputs) if carried else zero
    rotor = zero
    if state == "working":
        rotor = turbine.rotor_drag_n
    elif state == "stowed":
        rotor = stowed_drag_n(inputs) if turbine.stowed_drag_n is None else turbine.stowed_drag_n
    wheel = (forces.total_n + mount + rotor) * speed
    heat = np.asarray(0.0 if alternator_heat_w is None else alternator_heat_w)
    path = np.asarray(inputs.credit.path_efficiency)
    supply = drive(_with_load(inputs.engine, heat / path), wheel, speed)
    trip_state = TripState(state, forces, mount, rotor, supply, rows=())
    rows = _road_rows(inputs, trip_state, heat)
    if state == "working":
        rows += _turbine_rows(turbine, rotor * speed)
    elif state == "stowed":
        rows += (("rotor", "rotor drag", rotor * speed), ("rotor", "wake and blade loss", -rotor * speed))
    return replace(trip_state, rows=rows)


def _with_load(engine: Engine | Battery, extra_w: np.ndarray) -> Engine | Battery:
    """Return the drive with an electrical load more; a parked engine has to be started for it."""
    if isinstance(engine, Battery):
        return replace(engine, auxiliary_power_w=np.asarray(engine.auxiliary_power_w) + extra_w)
    return replace(
        engine,
        accessory_power_w=np.asarray(engine.accessory_power_w) + extra_w,
        runs_when_parked=np.asarray(engine.runs_when_parked) | (extra_w > 0),
    )


def _road_rows(inputs: Inputs, state: TripState, heat: np.ndarray) -> Rows:
    """Return the road's account, and the alternator's where the engine makes heat besides."""
    speed, path = np.asarray(inputs.road_speed_m_s, float), np.asarray(inputs.credit.path_efficiency)
    forces, supply = state.forces, state.supply
    source = "fuel" if inputs.fuel is not None else "battery pack"
    rows: list[tuple[str, str, np.ndarray]] = [
        ("road", source, supply.source_w),
        ("road", "engine loss" if inputs.fuel is not None else "drive and pack loss", -supply.engine_loss_w),
        ("road", "accessories", -(supply.accessory_w - heat / path)),
        ("road", "drivetrain loss", -supply.drivetrain_loss_w),
        ("road", "brakes", -supply.brake_loss_w),
        ("road", "tyres", -forces.tyres_n * speed),
        ("road", "body drag", -forces.body_drag_n * speed),
        ("road", "grade", -forces.grade_n * speed),
        ("road", "acceleration", -forces.inertia_n * speed),
        ("road", "mount drag", -state.mount_drag_n * speed),
        ("road", "rotor drag", -state.rotor_drag_n * speed),
    ]
    if np.any(heat > 0):
        rows += [
            ("alternator", "alternator and inverter loss", -(heat / path - heat)),
            ("alternator", "heat into the load", -heat),
        ]
    return tuple(rows)


def _turbine_rows(turbine: TurbineAtWork, paid_w: np.ndarray) -> Rows:
    shaft = turbine.shaft_power_w
    rows: list[tuple[str, str, np.ndarray]] = [
        ("rotor", "rotor drag", paid_w),
        ("rotor", "wind", turbine.air_power_w - paid_w),
        ("rotor", "wake and blade loss", -(turbine.air_power_w - shaft)),
        ("rotor", "shaft", -shaft),
        ("electrical", "shaft", shaft),
    ]
    parts = turbine.electrical
    if parts is None:
        rows += [("electrical", "belt, generator and wiring loss", -(shaft - turbine.heat_power_w))]
    else:
        rows += [
            ("electrical", "belt loss", -parts.belt_loss_w),
            ("electrical", "generator friction and iron", -(parts.friction_loss_w + parts.iron_loss_w)),
            ("electrical", "generator winding", -parts.winding_loss_w),
            ("electrical", "rectifier", -parts.rectifier_loss_w),
            ("electrical", "leads", -parts.lead_loss_w),
        ]
    return (*rows, ("electrical", "heat into the load", -turbine.heat_power_w))


def _change(inputs: Inputs, working: TripState, without: TripState) -> FuelChange:
    power = working.supply.source_w - without.supply.source_w
    base = without.supply.source_w
    speed = np.asarray(inputs.road_speed_m_s, float)
    nan = np.full(np.shape(power), np.nan)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        percent = np.where(np.abs(base) > 0, 100 * power / base, np.nan)
        if inputs.fuel is None:
            return FuelChange(power, nan, nan, percent, nan, nan)
        volume = power / inputs.fuel.heating_value_j_per_m3
        moving = speed > _SLOWEST_M_S
        per_metre = np.where(moving, volume / np.where(moving, speed, 1.0), np.nan)
    load = calculated_load_points(working.supply, without.supply)
    return FuelChange(power, volume, per_metre, percent, volume * inputs.fuel.co2_kg_per_m3, load)


def _other_sources(inputs: Inputs, turbine: TurbineAtWork, without: TripState) -> dict[str, OtherSource]:
    """Return other ways to the heat that the turbine makes, each with what it would take."""
    heat = turbine.heat_power_w
    nan = np.full(np.shape(heat), np.nan)
    other = inputs.other_sources
    sources: dict[str, OtherSource] = {}
    by_alternator = _state(inputs, without.state, turbine, alternator_heat_w=heat)
    extra = by_alternator.supply.source_w - without.supply.source_w
    if inputs.fuel is not None:
        sources["alternator"] = OtherSource(
            "engine's alternator",
            extra / inputs.fuel.heating_value_j_per_m3,
            nan,
            nan,
            "most alternators give 1 to 2 kW, less when hot or at idle; parked, the engine idles for it",
        )
    else:
        assert isinstance(inputs.engine, Battery)
        sources["pack"] = OtherSource(
            "the vehicle's own battery pack",
            nan,
            nan,
            extra / np.asarray(inputs.engine.charging_efficiency),
            "from the pack through a converter, charged from the mains with the charger's loss",
        )
    gas = heat / np.asarray(other.burner_efficiency) / FUELS["lpg"].heating_value_j_per_m3
    sources["burner"] = OtherSource(
        "gas burner",
        nan,
        gas,
        nan,
        "only where a flame is allowed; never while driving unless it is approved for that",
    )
    mains = heat / np.asarray(other.mains_charge_efficiency)
    kilograms = heat * 3600 / np.asarray(other.battery_energy_per_mass_j_kg)
    mass_kg = float(np.median(kilograms))
    carried = _carried(inputs, without, kilograms) if inputs.fuel is not None else nan
    sources["mains"] = OtherSource(
        "mains charge carried in a battery",
        carried,
        nan,
        mains,
        f"about {mass_kg:.0f} kg ({mass_kg / 0.45359237:.0f} lb) of battery for each hour of this heat",
    )
    if inputs.fuel is not None:
        sources["exhaust"] = OtherSource(
            "exhaust or coolant heat",
            np.where(np.isfinite(heat), 0.0, np.nan),
            nan,
            nan,
            "carbon monoxide, scalding and back pressure: a workshop's job, never into a closed space",
        )
    return sources


def _carried(inputs: Inputs, without: TripState, mass_kg: np.ndarray) -> np.ndarray:
    """Return the extra fuel (m³/s) of carrying a mass on the same trip."""
    assert inputs.fuel is not None
    turbine_kg = 0.0 if without.state == "absent" else np.asarray(inputs.turbine.mass_kg)
    speed = np.asarray(inputs.road_speed_m_s, float)
    forces = forces_on_road(inputs, turbine_kg + mass_kg)
    wheel = (forces.total_n + without.mount_drag_n + without.rotor_drag_n) * speed
    extra = drive(inputs.engine, wheel, speed).source_w - without.supply.source_w
    return extra / inputs.fuel.heating_value_j_per_m3


def turbine_efficiency_at_flywheel(outcome: Answer) -> np.ndarray:
    """Return heat over the engine power that the working turbine adds (W/W); NaN where it adds none.

    This is the efficiency that the alternator path has to beat: the turbine pays as a substitute where it is the
    greater.
    """
    working, without = outcome.states["working"].supply, outcome.states[outcome.compared_with].supply
    added = (working.wheel_w + working.drivetrain_loss_w + working.brake_loss_w) - (
        without.wheel_w + without.drivetrain_loss_w + without.brake_loss_w
    )
    heat = outcome.turbine.heat_power_w
    return np.where(added > 1e-6, heat / np.where(added > 1e-6, added, 1.0), np.nan)


def heat_less_drag_w(inputs: Inputs, turbine: TurbineAtWork) -> np.ndarray:
    """Return the heat less the power that the drag of mount and working rotor takes at the wheels, in W."""
    speed = np.asarray(inputs.road_speed_m_s, float)
    return turbine.heat_power_w - (mount_drag_n(inputs) + turbine.rotor_drag_n) * speed


def break_even_head_wind_m_s(winds_m_s: np.ndarray, inputs: Inputs, turbine: TurbineAtWork) -> float:
    """Return the head wind (m/s) from which the heat exceeds the power that the turbine's drag takes at the wheels.

    `inputs` and `turbine` are those over `winds_m_s` (rising, along the last axis). 0 where it does so in still air
    already, NaN where not even the strongest of the winds suffices, or where the vehicle stands.
    """
    if np.all(np.asarray(inputs.road_speed_m_s) == 0):
        return float("nan")
    gain = heat_less_drag_w(inputs, turbine)
    above = np.flatnonzero(gain >= 0)
    if not above.size:
        return float("nan")
    k = int(above[0])
    if k == 0:
        return float(winds_m_s[0])
    return float(winds_m_s[k - 1] + (winds_m_s[k] - winds_m_s[k - 1]) * -gain[k - 1] / (gain[k] - gain[k - 1]))
