"""The two cases in which a turbine is looked at: at the operating point, and the worst.

The worst case is a gust with a truck passing while the load is cut and the pitch linkage lets go: every rotor speed
from standstill to the fastest free run (or to the overspeed stop), every pitch of the linkage's travel, every air
speed up to the worst, each range of the scenario at its unfavourable end. Each load takes its own maximum of these.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from energy.aero.air import shear_speed_factor
from energy.aero.curves import with_departures
from energy.aero.momentum import BETZ_LIMIT
from energy.aero.operating_point import Rotor, coefficients_of, free_run_is_known, free_run_speed_rad_s
from energy.chain.ledger import TurbineAtWork, turbine_at_work
from energy.scenario.inputs import Inputs, KeyReader, inputs_of, reader
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.strength.equations import BladeMass, gust_air_speed_m_s, wind_force_n
from vehicle.arrays import Values
from vehicle.quantity import Uncertain

Case = Literal["operating point", "worst case", ""]
NOT_TURNING = "At the operating point the rotor does not turn: only the worst case and standing loads mean something."
NO_LOAD_CUT = (
    "rotor speed with the load cut, and thrust there: rotor.curves with [generator] (a measured table does not tell)"
)
LIMIT_STANDS_IN = "Worst rotor speed: the limit in the scenario, as the free-running speed is not known."
CURVES_END = "The curves end before the power falls to zero: the rotor runs away to more than the speed shown here."


@dataclass(frozen=True)
class Rig:
    """A scenario's turbine as the parts read it: the wheel's radius (m), the air's density (kg/m³), one blade's
    mass."""

    scenario: Scenario
    read: KeyReader
    inputs: Inputs
    turbine: TurbineAtWork
    density_kg_m3: float
    radius_m: float
    blade: BladeMass | None
    worst_inputs: Inputs  # every range of the scenario at its unfavourable end
    heavy_blade: BladeMass | None
    light_blade: BladeMass | None

    def radius_in(self, at: Conditions) -> float:
        """Return the wheel's radius (m) in a case: the upper end of its range in the worst one."""
        return _radius_m(self.inputs_in(at))

    def area_in(self, at: Conditions) -> float:
        """Return the swept area (m²) in a case."""
        return math.pi * self.radius_in(at) ** 2

    def maybe(self, key: QuantityKey) -> float | None:
        """Return a key's value in SI, None where the scenario does not tell it."""
        value = self.read.maybe(key)
        return None if value is None else float(value)

    def taken(self, key: QuantityKey, at: Conditions, *, least: bool = False) -> float:
        """Return a key's value (SI) in a case: as stated, or the unfavourable end of its range in the worst case."""
        stated = float(self.read(key))
        value = self.read.uncertain(key)
        if not at.unfavourable or value is None:
            return stated
        return float(value.low if least else value.high)

    def inputs_in(self, at: Conditions) -> Inputs:
        """Return the inputs of a case."""
        return self.worst_inputs if at.unfavourable else self.inputs

    def rotor(self, inputs: Inputs, pitch_deg: Values, air_speed_m_s: Values) -> Rotor:
        """Return the rotor with the factors of `inputs`, at pitches of its curves and air speeds.

        Factors and what departs from the curves change them in full: each point's power is held at the Betz limit by
        itself, so that no point limits another.
        """
        turbine = inputs.turbine
        assert turbine.curves is not None
        curves = with_departures(turbine.curves, [float(np.asarray(v)) for v in turbine.departures])
        power = curves.power_coefficient * float(np.asarray(turbine.power_factor))
        return Rotor(
            replace(curves, power_coefficient=np.minimum(power, BETZ_LIMIT)),
            _radius_m(inputs),
            pitch_deg,
            float(np.asarray(inputs.density_kg_m3)),
            air_speed_m_s,
            thrust_factor=turbine.thrust_factor,
        )

    def blade_in(self, at: Conditions) -> BladeMass:
        """Return the blade of a case: the heavy ends of its masses in the worst case."""
        blade = self.heavy_blade if at.unfavourable else self.blade
        assert blade is not None
        return blade

    def number_of_blades(self) -> float:
        """Return the number of blades, of [blade_loads] or of [blade]."""
        given = self.read.maybe("blade_loads.number_of_blades")
        return float(self.read("blade.number_of_blades") if given is None else given)


@dataclass(frozen=True)
class Conditions:
    """One case, or an array of corners (N,): air speed at the rotor and in the free air (m/s), rotor speed (rad/s; NaN
    unknown), thrust (N), pitch of the curves (degrees; NaN where they have none); whether ranges stand at their
    unfavourable ends.
    """

    air_speed_m_s: Values
    free_air_speed_m_s: Values
    rotor_speed_rad_s: Values
    thrust_n: Values
    thrust_from: str
    pitch_deg: Values = math.nan
    unfavourable: bool = False

    def corner(self, k: int) -> Conditions:
        """Return one corner of the array of corners."""
        return self.mapped(lambda values: float(np.asarray(values)[k]))

    def mapped(self, function: Callable[[Values], Values]) -> Conditions:
        """Return the conditions with a function of every number in its place."""
        return replace(
            self,
            air_speed_m_s=function(self.air_speed_m_s),
            free_air_speed_m_s=function(self.free_air_speed_m_s),
            rotor_speed_rad_s=function(self.rotor_speed_rad_s),
            thrust_n=function(self.thrust_n),
            pitch_deg=function(self.pitch_deg),
        )


@dataclass(frozen=True)
class BothCases:
    """Both cases, the speed of the rotor running free in the worst air (NaN unknown), and what must be said of them.

    `worst` holds the ends of what is scanned (fastest air, fastest rotor, the maximum thrust), which need not come
    together; `corners` are all of its combinations, of which each load takes its own maximum.
    """

    operating: Conditions
    worst: Conditions
    corners: Conditions
    free_run_rad_s: float = math.nan
    free_run_known: bool = False
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def named(self) -> tuple[tuple[Case, Conditions], ...]:
        """Return the cases by name."""
        return (("operating point", self.operating), ("worst case", self.worst))


def rig_of(scenario: Scenario) -> Rig:
    """Return a scenario's turbine as the parts read it. Raises InputError where nothing turns the rotor."""
    fastest = _fastest_of_schedule(scenario)
    read, inputs = reader(scenario), inputs_of(scenario, fastest)
    worst = inputs_of(scenario, {**fastest, **_unfavourable_ends(scenario)})
    radius = _radius_m(inputs)
    density = float(np.asarray(inputs.density_kg_m3))
    blade, heavy, light = (_blade_mass(scenario, read, end) for end in ("value", "high", "low"))
    return Rig(scenario, read, inputs, turbine_at_work(inputs), density, radius, blade, worst, heavy, light)


def _fastest_of_schedule(scenario: Scenario) -> dict[str, Values]:
    """Return what takes the place of a schedule's mean speed, which would be an idle rotor in town."""
    if scenario.schedule is None:
        return {}
    return {"trip.road_speed": np.asarray(scenario.fastest_road_speed_m_s)}


def _radius_m(inputs: Inputs) -> float:
    return float(np.asarray(inputs.turbine.diameter_m)) / 2


_HIGH_IS_WORSE: tuple[QuantityKey, ...] = (
    "air.pressure",
    "rotor.diameter",
    "rotor.power_factor",
    "rotor.thrust_factor",
    "rotor.thrust_in_stall",
    "blade.stall_delay_share",
    "blade.stalled_power_factor",
    "rotor.mount_drag_area",
    "rotor.turbine_mass",
    "drive.efficiency",
)
_LOW_IS_WORSE: tuple[QuantityKey, ...] = (
    "air.temperature",
    "air.altitude",
    "air.relative_humidity",
    "drive.ratio",
    "generator.friction_torque",
    "generator.iron_loss",
    "generator.eddy_share",
    "generator.cogging_torque",
)


# What the air does to a blade: its density, the rotor's size, and what the curves are multiplied by and bent with.
_OF_THE_AIR: tuple[tuple[QuantityKey, ...], ...] = (
    ("air.pressure", "air.temperature", "air.altitude", "air.relative_humidity"),
    ("rotor.diameter",),
    ("rotor.power_factor",),
    ("rotor.thrust_factor", "rotor.thrust_in_stall"),
    ("blade.stall_delay_share", "blade.stalled_power_factor"),
)


def air_at_either_end(rig: Rig) -> tuple[Inputs, ...]:
    """Return the worst case's inputs with density, size and curves each at the end of more force and at that of less.

    Where the air relieves a part, less of it is the unfavourable end.
    """
    scenario = rig.scenario
    more = {**_fastest_of_schedule(scenario), **_unfavourable_ends(scenario)}
    less = _unfavourable_ends(scenario, opposite=True)
    groups: list[dict[str, Values]] = [{key: less[key] for key in keys if key in less} for keys in _OF_THE_AIR]
    chosen: list[dict[str, Values]] = [{}]
    for group in groups:
        chosen += [{**one, **group} for one in chosen] if group else []
    return (rig.worst_inputs, *(inputs_of(scenario, {**more, **one}) for one in chosen[1:]))


def _unfavourable_ends(scenario: Scenario, *, opposite: bool = False) -> dict[str, Values]:
    """Return the ends of the ranges that make air denser, thrust and drag larger, and the free run faster; or the
    other ends.
    """
    ends: dict[str, Values] = {}
    high, low = ("low", "high") if opposite else ("high", "low")
    for keys, end in ((_HIGH_IS_WORSE, high), (_LOW_IS_WORSE, low)):
        for key in keys:
            table, name = key.split(".")
            stated = getattr(scenario.table(table), name, None)
            if isinstance(stated, Uncertain) and stated.shape != "exact":
                ends[key] = np.asarray(getattr(stated, end))
    return ends


def _blade_mass(scenario: Scenario, read: KeyReader, end: str) -> BladeMass | None:
    """Return one blade's pieces, or its mass at its centre, at an end of their ranges ("low", "high") or at the stated
    values ("value"); None where the scenario tells neither.
    """
    table = scenario.blade_loads
    if table is None:
        return None
    if table.piece_masses is not None and table.piece_radii is not None:
        ends = (table.piece_masses, table.piece_radii)
    elif table.mass is not None and table.centre_of_mass is not None:
        read("blade_loads.mass"), read("blade_loads.centre_of_mass")
        ends = ((table.mass,), (table.centre_of_mass,))
    else:
        return None
    masses, radii = (np.array([getattr(value, end) for value in entries]) for entries in ends)
    return BladeMass(masses, radii)


_AIR_SHARES = np.linspace(0.1, 1.0, 19)  # of the worst air speed
_SPEED_STEPS = 41  # rotor speeds between standstill and the fastest
STOP_BELOW_WORK = (
    "The overspeed stop (gust.overspeed_stop) lies below the rotor speed of the operating point: it would stop the "
    "rotor at work. The worst case takes the operating point's rotor speed."
)
FASTEST_OF_SCHEDULE = "Operating point: the fastest road speed of the schedule."
SCANNED = (
    "Worst case: each load is the maximum over every rotor speed up to the fastest, every pitch that the scenario "
    "allows, air speeds up to the worst, and the unfavourable end of every range. Under each load stands its corner."
)


def both_cases(rig: Rig) -> BothCases:
    """Return the operating point and the worst case."""
    operating = _operating_point(rig)
    free_air, air = _worst_air_speeds_m_s(rig)
    turbine = rig.inputs.turbine
    if turbine.curves is None or turbine.chain is None:
        cases = _worst_of_a_measured_table(rig, operating, free_air, air)
    else:
        cases = _worst_of_curves(rig, operating, free_air, air)
    notes: tuple[str, ...] = () if bool(rig.turbine.turning) else (NOT_TURNING,)
    notes += () if rig.scenario.schedule is None else (FASTEST_OF_SCHEDULE,)
    stop = _upper(rig, "gust.overspeed_stop")
    notes += () if stop is None or stop >= operating.rotor_speed_rad_s else (STOP_BELOW_WORK,)
    return replace(cases, notes=(*notes, *cases.notes))


def _operating_point(rig: Rig) -> Conditions:
    return Conditions(
        air_speed_m_s=float(rig.inputs.rotor_air_speed_m_s),
        free_air_speed_m_s=float(rig.inputs.air.speed_m_s),
        rotor_speed_rad_s=float(rig.turbine.rotor_speed_rad_s),
        thrust_n=float(rig.turbine.thrust_n),
        thrust_from="settled",
        pitch_deg=float(np.asarray(rig.inputs.turbine.pitch_deg)),
    )


def _worst_air_speeds_m_s(rig: Rig) -> tuple[float, float]:
    """Return the worst air speed (m/s) in the free air and at the rotor: each range at its upper end."""
    read, scenario = rig.read, rig.scenario

    def highest(key: QuantityKey) -> float | None:
        read.maybe(key)
        value = read.uncertain(key)
        return None if value is None else value.high

    trip_speed = max(float(np.asarray(rig.inputs.road_speed_m_s)), scenario.fastest_road_speed_m_s)
    stated = None if scenario.schedule is not None else highest("trip.road_speed")
    road = max(trip_speed, highest("gust.road_speed") or 0.0, stated or 0.0)
    # From ahead, wherever it comes from in the scenario: a bend or the way back turns the vehicle into it.
    head_wind = (highest("air.wind_speed") or 0.0) * _highest_shear(rig)
    shelter = highest("rotor.local_speed_factor") or 1.0  # not to be trusted in a gust: the upper end
    gust, passing = highest("gust.speed") or 0.0, highest("gust.passing_factor") or 1.0
    free_air = float(gust_air_speed_m_s(road, head_wind, gust, passing, 1.0))
    return free_air, float(gust_air_speed_m_s(road, head_wind, gust, passing, shelter))


def _highest_shear(rig: Rig) -> float:
    """Return what the wind grows by from where it was measured to the hub: the worse end of the shear's range."""
    measured_at, hub = rig.read.uncertain("air.wind_measured_at"), _upper(rig, "rotor.hub_height")
    exponent = rig.read.uncertain("air.shear_exponent")
    if measured_at is None or hub is None or exponent is None:
        return 1.0
    ends = np.array([exponent.low, exponent.high])
    return float(shear_speed_factor(hub, _radius_m(rig.worst_inputs), measured_at.low, ends).max())


def _worst_of_a_measured_table(rig: Rig, operating: Conditions, free_air: float, air: float) -> BothCases:
    """Return the cases where nothing tells the free run: the thrust grows with the square of the air speed."""
    stop = _upper(rig, "gust.overspeed_stop")
    fastest = rig.inputs.turbine.highest_rotor_speed_rad_s if stop is None else stop
    factor = _thrust_factor_of_the_worst(rig)
    denser = float(np.asarray(rig.worst_inputs.density_kg_m3)) / rig.density_kg_m3
    measured = rig.inputs.turbine.unmeasured_thrust is None
    grown = factor if measured else _highest_unmeasured_thrust(rig)
    thrust = operating.thrust_n * grown * denser * (air / max(float(operating.air_speed_m_s), 1e-9)) ** 2
    # A rotor that stands still now, or turns in air below the table's, says nothing of a gust: the table itself does.
    thrust = max(thrust, _thrust_of_the_table_n(rig, air) * (factor * denser if measured else 1.0))
    speed = math.nan if fastest is None else float(np.asarray(fastest))
    worst = Conditions(
        air, free_air, speed, thrust, "scaled with the square of air speed", operating.pitch_deg, unfavourable=True
    )
    corners = worst.mapped(np.atleast_1d)
    notes = () if fastest is None else (LIMIT_STANDS_IN,)
    return BothCases(operating, worst, corners, left_out=(NO_LOAD_CUT,), notes=notes)


def _thrust_factor_of_the_worst(rig: Rig) -> float:
    """Return by what the worst end of rotor.thrust_factor lies above the stated one."""
    worst, stated = (float(np.asarray(of.turbine.thrust_factor)) for of in (rig.worst_inputs, rig.inputs))
    return worst / stated


def _thrust_of_the_table_n(rig: Rig, air_speed_m_s: float) -> float:
    """Return the thrust (N) that a measured table gives at an air speed: in the air of its day where it was measured,
    in the worst air with all that is assumed at its upper end where not.
    """
    ends = {
        **_fastest_of_schedule(rig.scenario),
        **_unfavourable_ends(rig.scenario),
        **_unmeasured_at_its_upper_end(rig),
    }
    inputs = replace(inputs_of(rig.scenario, ends), rotor_air_speed_m_s=np.asarray(air_speed_m_s))
    return float(turbine_at_work(inputs).thrust_n)


def _unmeasured_at_its_upper_end(rig: Rig) -> dict[str, Values]:
    """Return the upper ends of what is assumed of a thrust that was not measured."""
    rotor = rig.scenario.rotor
    return {
        f"rotor.{key}": np.asarray(getattr(rotor, key).high)
        for key in ("thrust_coefficient", "mean_lift_coefficient", "solidity")
    }


def _highest_unmeasured_thrust(rig: Rig) -> float:
    """Return the thrust of a rotor whose thrust was not measured, at the upper ends of what is assumed, over the
    assumed.
    """
    ends = {**_unmeasured_at_its_upper_end(rig), **_fastest_of_schedule(rig.scenario)}
    highest = float(turbine_at_work(inputs_of(rig.scenario, ends)).thrust_coefficient)
    assumed = float(rig.turbine.thrust_coefficient)
    return highest / assumed if bool(rig.turbine.turning) and assumed > 0 else 1.0


def _upper(rig: Rig, key: QuantityKey) -> float | None:
    """Return the upper end of a key's range (SI), None where the scenario does not give it."""
    rig.read.maybe(key)
    value = rig.read.uncertain(key)
    return None if value is None else value.high


def scanned_pitches_deg(rig: Rig) -> np.ndarray:
    """Return the pitches of the curves that the worst case may stand at: the own one with its range, and the whole
    travel of a linkage, since a linkage that breaks or is set wrongly stands anywhere in it.

    The curves' own pitches lie between, where the coefficients (linear between them) have their maxima.
    """
    turbine, table, convention = rig.inputs.turbine, rig.scenario.linkage, rig.scenario.pitch_convention
    curves = turbine.curves
    assert curves is not None
    ends = [float(np.asarray(turbine.pitch_deg))]
    own = rig.scenario.rotor.pitch
    if own is not None:
        ends += [float(convention.chord_angle_deg(np.asarray(v))) for v in (own.low, own.high)]
    if table is not None:
        travel = (table.travel_from, table.travel_to)
        ends += [float(convention.chord_angle_deg(np.asarray(end))) for v in travel for end in (v.low, v.high)]
    low, high = min(ends), max(ends)
    inside = curves.pitch_deg[(curves.pitch_deg > low) & (curves.pitch_deg < high)]
    return np.unique(np.concatenate([ends, inside]))


def _worst_of_curves(rig: Rig, operating: Conditions, free_air: float, air: float) -> BothCases:
    """Return the cases of a rotor with curves: all corners of pitch, air speed and rotor speed."""
    turbine = rig.worst_inputs.turbine
    chain = turbine.chain
    assert chain is not None
    density = float(np.asarray(rig.worst_inputs.density_kg_m3))
    pitches = scanned_pitches_deg(rig)
    radius = _radius_m(rig.worst_inputs)
    rotor = rig.rotor(rig.worst_inputs, pitches, np.full(pitches.shape, air))
    curves = rotor.curves
    # A small rotor runs away faster, a large one has more thrust: each end of the diameter where it is worse.
    free_runs = free_run_speed_rad_s(replace(rotor, radius_m=rig.scenario.rotor.diameter.low / 2), chain)
    free_run = float(free_runs.max())
    known = free_run_is_known(curves, float(pitches[int(np.argmax(free_runs))]))
    stop = _upper(rig, "gust.overspeed_stop")
    fastest = max(free_run if stop is None else min(free_run, stop), float(operating.rotor_speed_rad_s))
    # At the fastest speed each of the curves' own tip-speed ratios is met at an air speed of its own.
    met = fastest * radius / curves.tip_speed_ratio[curves.tip_speed_ratio > 0]
    airs = np.unique(np.concatenate([air * _AIR_SHARES, met[(met < air) & (met > 0.1 * air)]]))
    speeds = _scanned_speeds_rad_s(curves.tip_speed_ratio, airs / radius, fastest)  # (airs, speeds)
    ratios = speeds * radius / np.maximum(airs, 1e-9)[:, None]
    _, ct, beyond = coefficients_of(replace(rotor, pitch_deg=pitches[:, None, None]), ratios)
    thrusts = wind_force_n(density, math.pi * radius**2, airs[:, None], ct)  # (pitches, airs, speeds)
    # Whatever the curves say at the gust, the thrust does not fall below that of the operating point.
    least = max(float(thrusts.max()), float(operating.thrust_n))
    shape = thrusts.shape
    corners = Conditions(
        air_speed_m_s=np.broadcast_to(airs[:, None], shape).ravel(),
        free_air_speed_m_s=np.broadcast_to(_free_air_m_s(rig, airs, free_air)[:, None], shape).ravel(),
        rotor_speed_rad_s=np.broadcast_to(speeds, shape).ravel(),
        thrust_n=np.where(thrusts == thrusts.max(), least, thrusts).ravel(),
        thrust_from="the highest over all pitches and rotor speeds",
        pitch_deg=np.broadcast_to(pitches[:, None, None], shape).ravel(),
        unfavourable=True,
    )
    place = corners.corner(int(np.argmax(corners.thrust_n)))
    worst = replace(place, air_speed_m_s=air, free_air_speed_m_s=free_air, rotor_speed_rad_s=fastest)
    notes: tuple[str, ...] = (SCANNED,) if known else (SCANNED, CURVES_END)
    if bool(beyond.any()):
        notes += (
            f"The worst case reaches tip-speed ratio {ratios[-1].max():.1f} in the worst air, and the curves end at "
            f"{curves.tip_speed_ratio[-1]:g}: past their end the last thrust coefficient is held.",
        )
    return BothCases(operating, worst, corners, free_run, known, notes=notes)


def _free_air_m_s(rig: Rig, airs_m_s: np.ndarray, highest: float) -> np.ndarray:
    """Return the fastest free air that leaves so little at the rotor: the lower end of the shelter, up to the worst."""
    local = rig.read.uncertain("rotor.local_speed_factor")
    low = 1.0 if local is None else max(local.low, 1e-9)
    return np.minimum(airs_m_s / low, highest)


def _scanned_speeds_rad_s(tip_speed_ratio: np.ndarray, per_ratio: np.ndarray, fastest: float) -> np.ndarray:
    """Return rotor speeds (airs, speeds) to look at: even steps, and those at the curves' own tip-speed ratios."""
    even = np.broadcast_to(np.linspace(0.0, fastest, _SPEED_STEPS), (len(per_ratio), _SPEED_STEPS))
    nodes = np.minimum(tip_speed_ratio * per_ratio[:, None], fastest)
    return np.sort(np.concatenate([even, nodes], axis=1), axis=1)
