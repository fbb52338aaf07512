"""What a scenario's turbine has to carry: every load at the operating point and at the worst case, with its limit.

One function a part: each reads its own keys, and returns its loads and a line on everything that it has to leave out.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from energy.aero.air import sound_speed_m_s
from energy.scenario.inputs import Assumption
from energy.scenario.keys.garage import Bearing
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.strength import equations
from energy.strength.cases import BothCases, Case, Conditions, Rig, both_cases, rig_of
from energy.strength.linkage import Travel, WorstForce, pitched_blades, travel_of, worst_actuator_force
from vehicle.arrays import Values
from vehicle.constants import GRAVITY_M_S2
from vehicle.problems import InputError, Problem
from vehicle.quantity import Uncertain

ENOUGH_MARGIN = 2.0
LADDER_SHARES = (0.25, 0.5, 0.7, 0.85, 1.0)  # of the speed limit: loads of 6, 25, 49, 72 and 100 %
_SAMPLE_LOST_KG = 0.010
Kind = Literal["force", "torque", "rotor_speed", "tip_speed", "plain", "hours", "imbalance"]
_UNITS: dict[Kind, str] = {
    "force": "N",
    "torque": "N*m",
    "rotor_speed": "rad/s",
    "tip_speed": "m/s",
    "plain": "1",
    "hours": "s",
    "imbalance": "kg*m",
}
_RESTS_ON_THE_STOP = (
    "Everything in the worst case rests on the overspeed stop: without it the rotor runs up to its free run. "
    "Try the stop before each drive; leave gust.overspeed_stop out to see the loads without it."
)
_NEAR_THE_SPEED_OF_SOUND = (
    "In the worst case the tips near the speed of sound: no curve holds there. Read it as a rotor that destroys "
    "itself unless something stops it."
)
_BEARING_NOTES = {
    "deep_groove_ball": (
        "A small deep-groove ball bearing is not made for axial load; rotor thrust asks for an angular-contact, "
        "tapered-roller or thrust bearing (common practice)."
    ),
    "thrust_ball": "A thrust ball bearing takes no radial load: a second bearing must hold the rotor's weight.",
}
_SPEED_IS_HELD = (
    "The linkage table holds the rotor speed of its case through the whole travel; a rotor that is feathered slows "
    "down and asks for less. The forces in the list of loads also take the unfavourable ends of the ranges."
)


@dataclass(frozen=True)
class LoadLimit:
    """A limit in SI, where it comes from, and whether it is a least value."""

    value: float
    source: str
    least: bool = False


@dataclass(frozen=True)
class StructuralLoad:
    """One load in one case: its value in the SI unit of its kind, and what it is held against, if anything."""

    name: str
    case: Case
    value: float
    kind: Kind
    held_against: LoadLimit | None = None
    at: Conditions | None = None  # the corner of the worst case at which it lies

    @property
    def unit(self) -> str:
        """SI unit of value and limit."""
        return _UNITS[self.kind]

    @property
    def limit(self) -> float | None:
        """Limit in the unit of the value, None where there is none."""
        return None if self.held_against is None else self.held_against.value

    @property
    def limit_from(self) -> str:
        """Where the limit comes from, a key or in words; empty where there is none."""
        return "" if self.held_against is None else self.held_against.source

    @property
    def least(self) -> bool:
        """Whether the limit is a least value."""
        return self.held_against is not None and self.held_against.least

    @property
    def margin(self) -> float | None:
        """Limit over value (value over limit where the limit is a least value)."""
        if self.limit is None or not math.isfinite(self.value):
            return None
        if self.least:
            return self.value / self.limit
        return self.limit / abs(self.value) if self.value != 0 else None


@dataclass(frozen=True)
class Rung:
    """One step of the spin-up: rotor speed (rad/s), tip speed (m/s), centrifugal force a blade (N), its share of the
    force at the limit, imbalance force (N), and the blade root's margin (None where its rating is not told)."""

    rotor_speed_rad_s: float
    tip_speed_m_s: float
    centrifugal_n: float
    share: float
    imbalance_n: float
    root_margin: float | None


@dataclass(frozen=True)
class Ladder:
    """The spin-up ladder, which limit its top is, and what its imbalance is that of."""

    rungs: tuple[Rung, ...]
    limit_from: str
    imbalance_from: str


@dataclass(frozen=True)
class PartLoads:
    """What one part adds to the table: loads, what is left out and the keys that would add it, and notes."""

    rows: tuple[StructuralLoad, ...] = ()
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class StructuralLoads:
    """All loads of a scenario, what was left out for want of keys, the linkage's travel in both cases, the ladder."""

    scenario: Scenario
    operating: Conditions
    worst: Conditions
    free_run_rad_s: float
    free_run_known: bool
    rows: tuple[StructuralLoad, ...]
    left_out: tuple[str, ...]
    travel: dict[Case, Travel]
    ladder: Ladder | None
    notes: tuple[str, ...]
    assumptions: tuple[Assumption, ...]

    def row(self, name: str, case: Case = "") -> StructuralLoad:
        """Return one load by name and case."""
        return next(r for r in self.rows if r.name == name and r.case == case)

    @property
    def thin(self) -> tuple[StructuralLoad, ...]:
        """The loads with a margin under 2, the thinnest first."""
        thin = [row for row in self.rows if row.margin is not None and row.margin < ENOUGH_MARGIN]
        return tuple(sorted(thin, key=lambda row: row.margin or 0.0))


def structural_loads(scenario: Scenario) -> StructuralLoads:
    """Return what mount, bearing, blades and linkage must carry. Raises InputError where nothing turns the rotor."""
    rig = rig_of(scenario)
    cases = both_cases(rig)
    parts = [PartLoads(left_out=cases.left_out, notes=cases.notes)]
    parts += [part(rig, cases) for part in (_thrust, _speeds, _mount, _bearing, _blade_roots, _balance)]
    blades = pitched_blades(rig)
    turning = [(case, at) for case, at in cases.named() if math.isfinite(at.rotor_speed_rad_s)]
    travel = {} if blades is None else {case: travel_of(rig, blades, at) for case, at in turning}
    worst = None if "worst case" not in travel else worst_actuator_force(rig, cases.worst)
    parts.append(_linkage(rig, travel, worst, blades is not None))
    ladder = _ladder(rig)
    return StructuralLoads(
        scenario=scenario,
        operating=cases.operating,
        worst=cases.worst,
        free_run_rad_s=cases.free_run_rad_s,
        free_run_known=cases.free_run_known,
        rows=tuple(row for part in parts for row in part.rows),
        left_out=tuple(text for part in parts for text in part.left_out),
        travel=travel,
        ladder=ladder,
        notes=tuple(text for part in parts for text in part.notes),
        assumptions=tuple(rig.read.assumptions.values()),
    )


def spin_up_ladder(scenario: Scenario) -> Ladder:
    """Return the spin-up ladder; InputError where the scenario does not say what the blades weigh."""
    ladder = _ladder(rig_of(scenario))
    if ladder is None:
        raise InputError(
            Problem(
                scenario.name,
                "[blade_loads]",
                "no mass of the blades",
                "blade_loads.number_of_blades, blade_loads.mass and blade_loads.centre_of_mass",
            )
        )
    return ladder


# --- what parts share ---


def _in_both(
    cases: BothCases,
    name: str,
    kind: Kind,
    value: Callable[[Conditions], Values],
    limit: LoadLimit | None = None,
) -> tuple[StructuralLoad, ...]:
    """Return a load at the operating point and at its own worst corner; a case in which it is not known is left out."""
    rows: list[StructuralLoad] = []
    steady = float(np.asarray(value(cases.operating)))
    if math.isfinite(steady):
        rows.append(StructuralLoad(name, "operating point", steady, kind, limit))
    values = np.broadcast_to(np.asarray(value(cases.corners), float), np.shape(cases.corners.air_speed_m_s))
    known = np.isfinite(values)
    if known.any():
        size = np.where(known, np.abs(values), np.nan)
        least = limit is not None and limit.least
        k = int(np.nanargmin(size) if least else np.nanargmax(size))
        equal = known & np.isclose(np.abs(values), abs(values[k]), rtol=1e-9)
        corner = _what_matters(cases.corners, k, equal)
        rows.append(StructuralLoad(name, "worst case", float(values[k]), kind, limit, corner))
    return tuple(rows)


def _what_matters(corners: Conditions, k: int, equal: np.ndarray) -> Conditions:
    """Return a corner without the pitch or air speed that a load does not depend on (NaN): others are as bad."""
    corner = corners.corner(k)
    if np.ptp(np.asarray(corners.pitch_deg)[equal]) > 0:
        corner = replace(corner, pitch_deg=math.nan)
    if np.ptp(np.asarray(corners.air_speed_m_s)[equal]) > 0:
        corner = replace(corner, air_speed_m_s=math.nan)
    return corner


def _limit(rig: Rig, key: QuantityKey, *, least: bool = False) -> LoadLimit | None:
    """Return the limit that stands at a key of the scenario: the cautious end where it has a range."""
    rig.maybe(key)
    limit = rig.read.uncertain(key)
    return None if limit is None else LoadLimit(limit.high if least else limit.low, key, least)


def _unless(limit: LoadLimit | None, what: str, key: str) -> tuple[str, ...]:
    """Return the line on a limit that is not told."""
    return () if limit is not None else (f"{what}: {key}",)


# --- parts ---


def _thrust(rig: Rig, cases: BothCases) -> PartLoads:
    limit = _limit(rig, "rotor.highest_thrust")
    rows = _in_both(cases, "thrust of the rotor", "force", lambda at: at.thrust_n, limit)
    return PartLoads(rows, _unless(limit, "limit of the thrust", "rotor.highest_thrust"))


def _speeds(rig: Rig, cases: BothCases) -> PartLoads:
    limit = _limit(rig, "rotor.highest_rotor_speed")
    rows = _in_both(cases, "rotor speed", "rotor_speed", lambda at: at.rotor_speed_rad_s, limit)
    notes: tuple[str, ...] = ()
    if math.isfinite(cases.free_run_rad_s):
        stopped = float(cases.worst.rotor_speed_rad_s) < cases.free_run_rad_s
        held = None if stopped else limit  # with a stop the rotor never gets there
        at_trip = float(np.asarray(rig.turbine.free_run_speed_rad_s))
        name = "free run with the load cut"
        rows += (
            StructuralLoad(name, "operating point", at_trip, "rotor_speed", held),
            StructuralLoad(name, "worst case", cases.free_run_rad_s, "rotor_speed", held),
        )
        notes += (_RESTS_ON_THE_STOP,) if stopped else ()
    tip = _limit(rig, "rotor.highest_tip_speed")
    rows += _in_both(cases, "tip speed", "tip_speed", lambda at: at.rotor_speed_rad_s * rig.radius_in(at), tip)

    def mach(at: Conditions) -> np.ndarray:
        sound = float(sound_speed_m_s(np.asarray(rig.inputs_in(at).temperature_k)))
        return np.hypot(at.rotor_speed_rad_s * rig.radius_in(at), at.air_speed_m_s) / sound

    if float(mach(cases.worst)) > 0.6:
        notes += (_NEAR_THE_SPEED_OF_SOUND,)
    rows += _in_both(cases, "Mach number of the tips through the air", "plain", mach)
    return PartLoads(rows, notes=notes)


def gyroscopic_n_m(rig: Rig, at: Conditions) -> Values:
    """Return the gyroscopic moment (N·m) of a nose that dips over a bump, 0 where the blades' masses are not told.

    Two blades: the moment swings between nothing and twice its mean, and the peak counts.
    """
    if rig.blade is None or rig.scenario.blade_loads is None:
        return 0.0
    number = rig.number_of_blades()
    peak = 2.0 if number <= 2 else 1.0
    inertia = number * rig.blade_in(at).inertia_kg_m2
    return peak * equations.gyroscopic_moment_n_m(inertia, at.rotor_speed_rad_s, equations.PITCHING_RATE_RAD_S)


_GYROSCOPIC_ADDED = (
    "Mount and bolts in the worst case carry the gyroscopic moment of a swerve or bump (1 rad/s) about their "
    "overturning axis, on top of thrust and drag: on the safe side, since both seldom point the same way."
)


def _mount(rig: Rig, cases: BothCases) -> PartLoads:
    table = rig.scenario.mount
    mass = float(np.asarray(rig.worst_inputs.turbine.mass_kg))
    braking = mass * equations.BRAKING_SHARE_OF_GRAVITY * GRAVITY_M_S2
    rows: tuple[StructuralLoad, ...] = (StructuralLoad("pull forward in hard braking, 0.8 g", "", braking, "force"),)
    if table is None:
        keys = "[mount] height, bolt_distances, bolt_rating, highest_moment"
        return PartLoads(rows, (f"overturning moment and bolts: {keys}",))

    def moment(at: Conditions) -> np.ndarray:
        turbine, height = rig.inputs_in(at).turbine, rig.taken("mount.height", at)
        density = float(np.asarray(rig.inputs_in(at).density_kg_m3))
        drag_area = float(np.asarray(turbine.mount_drag_area_m2))
        # Shelter is not to be trusted in a gust; a speed-up is counted.
        speed_up = max(1.0, float(np.asarray(turbine.mount_speed_factor)))
        mount_drag = equations.wind_force_n(density, drag_area, at.free_air_speed_m_s * speed_up, 1.0)
        gyroscopic = gyroscopic_n_m(rig, at) if at.unfavourable else 0.0
        return at.thrust_n * height + mount_drag * height / 2 + gyroscopic

    highest = _limit(rig, "mount.highest_moment")
    notes = () if rig.blade is None else (_GYROSCOPIC_ADDED,)
    rows += _in_both(cases, "overturning moment at the feet", "torque", moment, highest)
    height = rig.taken("mount.height", cases.worst)
    rows += (StructuralLoad("moment at the feet in hard braking, 0.8 g", "", braking * height, "torque", highest),)
    if table.bolt_distances is None:
        return PartLoads(rows, ("pull of the bolts: mount.bolt_distances, mount.bolt_rating",), notes)
    rig.read.all_of("mount.bolt_distances")
    distances, rating = table.bolt_distances, _limit(rig, "mount.bolt_rating")
    rows += _in_both(
        cases,
        "pull of the hardest-worked bolt",
        "force",
        lambda at: moment(at) * _hardest_worked(distances, ends=at.unfavourable),
        rating,
    )
    return PartLoads(rows, _unless(rating, "limit of the bolts", "mount.bolt_rating"), notes)


def _hardest_worked(distances: tuple[Uncertain, ...], *, ends: bool) -> float:
    """Return the pull of the hardest-worked bolt per moment (1/m); with `ends` that of the worst ends of the distances:
    the bolt itself at either end, the others near the edge.
    """
    stated = np.array([d.value for d in distances])
    if not ends:
        return float(equations.bolt_pulls_n(1.0, stated).max())
    low = np.array([d.low for d in distances])
    pulls = [float(equations.bolt_pulls_n(1.0, stated).max())]
    for k, of in enumerate(distances):
        for end in (of.low, of.value, of.high):
            pulls.append(float(equations.bolt_pulls_n(1.0, np.where(np.arange(len(low)) == k, end, low))[k]))
    return max(pulls)


def _bearing(rig: Rig, cases: BothCases) -> PartLoads:
    table = rig.scenario.bearing
    if table is None:
        return PartLoads(left_out=("bearing: [bearing] kind, static_rating, dynamic_rating",))
    static, dynamic = float(rig.read("bearing.static_rating")), float(rig.read("bearing.dynamic_rating"))
    axial_factor, static_factor = rig.maybe("bearing.axial_factor"), rig.maybe("bearing.static_axial_factor")
    low = table.static_rating.low
    highest = equations.highest_axial_load_n(low, table.kind, rig.maybe("bearing.bore"), table.light_series)
    axial = None if highest is None else LoadLimit(highest, "share of C0 (common practice)")
    rows = _in_both(cases, "axial load on the bearing", "force", lambda at: at.thrust_n, axial)

    def equivalent_static_n(at: Conditions) -> np.ndarray:
        radial = rig.taken("bearing.radial_load", at)
        factor = static_factor if static_factor is None else rig.taken("bearing.static_axial_factor", at)
        return equations.equivalent_static_load_n(table.kind, radial, at.thrust_n, factor)

    def safety(at: Conditions) -> np.ndarray:
        with np.errstate(divide="ignore"):
            return (low if at.unfavourable else static) / equivalent_static_n(at)  # unloaded: infinite, no row

    rows += _in_both(cases, "static equivalent load (ISO 76)", "force", equivalent_static_n)
    wanted = _limit(rig, "bearing.required_static_safety", least=True)
    rows += _in_both(
        cases,
        "static safety factor (ISO 76)",
        "plain",
        safety,
        wanted,
    )
    thrust, radial = cases.operating.thrust_n, float(rig.read("bearing.radial_load"))
    load = float(equations.equivalent_dynamic_load_n(table.kind, radial, thrust, static, axial_factor))
    rows += (StructuralLoad("dynamic equivalent load (ISO 281)", "operating point", load, "force"),)
    rows += _bearing_life(rig, cases, table, load, dynamic)
    return PartLoads(rows, notes=(_BEARING_NOTES[table.kind],) if table.kind in _BEARING_NOTES else ())


def _bearing_life(
    rig: Rig, cases: BothCases, table: Bearing, load_n: float, dynamic_rating_n: float
) -> tuple[StructuralLoad, ...]:
    """Return the bearing's life at the operating point, where it is loaded and turns."""
    speed = float(cases.operating.rotor_speed_rad_s)
    if not (load_n > 0 and speed > 0):
        return ()
    revolutions = equations.basic_life_revolutions(dynamic_rating_n, load_n, table.kind)
    life = float(equations.basic_life_s(revolutions, speed))
    wanted = _limit(rig, "bearing.required_life", least=True)
    return (StructuralLoad("basic life, 9 of 10 bearings (ISO 281)", "operating point", life, "hours", wanted),)


def _blade_roots(rig: Rig, cases: BothCases) -> PartLoads:
    blade = rig.blade
    if rig.scenario.blade_loads is None:
        keys = "[blade_loads] number_of_blades, mass, centre_of_mass (or piece_masses, piece_radii)"
        return PartLoads(left_out=(f"blade roots, balance, pitch linkage: {keys}",))
    number = rig.number_of_blades()
    rows, left_out = _root_pull(rig, cases)
    rating = _limit(rig, "blade_loads.root_bending_rating")

    def flap(at: Conditions) -> np.ndarray:
        root = rig.taken("blade_loads.root_radius", at, least=True)
        thrust = equations.flap_bending_n_m(np.abs(at.thrust_n) / number, rig.radius_in(at), root)
        if blade is None or not at.unfavourable:
            return thrust
        return thrust + equations.gyroscopic_root_bending_n_m(
            rig.blade_in(at), root, at.rotor_speed_rad_s, equations.PITCHING_RATE_RAD_S
        )

    rows += _in_both(cases, "flap bending at each blade root", "torque", flap, rating)
    left_out += _unless(rating, "limit of the blade roots' bending", "blade_loads.root_bending_rating")
    if blade is None:
        return PartLoads(rows, left_out)
    rows += _in_both(
        cases,
        "gyroscopic moment over a bump, nose dipping at 1 rad/s",
        "torque",
        lambda at: gyroscopic_n_m(rig, at),
    )
    return PartLoads(rows, left_out, (_FLAP_GYROSCOPIC,))


_FLAP_GYROSCOPIC = (
    "Flap bending in the worst case is thrust and, on top, what the blade's own mass does once a turn while the nose "
    "dips at 1 rad/s."
)


def _root_pull(rig: Rig, cases: BothCases) -> tuple[tuple[StructuralLoad, ...], tuple[str, ...]]:
    """Return the centrifugal force at a blade root, and what is missing of it and of its limit."""
    if rig.blade is None:
        keys = "blade_loads.mass and blade_loads.centre_of_mass, or piece_masses and piece_radii"
        return (), (f"centrifugal force of the blades: {keys}",)
    rating = _limit(rig, "blade_loads.root_pull_rating")
    rows = _in_both(
        cases,
        "centrifugal force at each blade root",
        "force",
        lambda at: equations.centrifugal_force_n(rig.blade_in(at).first_moment_kg_m, 1.0, at.rotor_speed_rad_s),
        rating,
    )
    return rows, _unless(rating, "limit of the blade roots' pull", "blade_loads.root_pull_rating")


def _balance(rig: Rig, cases: BothCases) -> PartLoads:
    if rig.scenario.blade_loads is None:
        return PartLoads()

    def force(of: str, imbalance_kg_m: Callable[[Conditions], float]) -> tuple[StructuralLoad, ...]:
        name = f"imbalance force of {of}"
        return _in_both(
            cases,
            name,
            "force",
            lambda at: equations.imbalance_force_n(imbalance_kg_m(at), at.rotor_speed_rad_s),
        )

    rows = force("10 g (0.35 oz) lost at a tip", lambda at: _SAMPLE_LOST_KG * rig.radius_in(at))
    rig.maybe("blade_loads.rotor_mass"), rig.maybe("rotor.highest_rotor_speed")
    mass, limit = rig.read.uncertain("blade_loads.rotor_mass"), rig.read.uncertain("rotor.highest_rotor_speed")
    speed = float(cases.operating.rotor_speed_rad_s) if limit is None else limit.high
    if mass is None or not speed > 0:
        return PartLoads(rows, ("permissible imbalance (ISO 21940-11): blade_loads.rotor_mass",))
    grade = rig.taken("blade_loads.balance_grade", cases.worst, least=True)
    permitted = float(equations.permissible_imbalance_kg_m(grade, mass.low, speed))
    rig.maybe("blade_loads.residual_imbalance")
    left = rig.read.uncertain("blade_loads.residual_imbalance")
    if left is None:
        rows += (StructuralLoad("permissible residual imbalance (ISO 21940-11)", "", permitted, "imbalance"),)
        rows += force("the permissible imbalance", lambda at: permitted)
        return PartLoads(rows, ("your residual imbalance as well: blade_loads.residual_imbalance",))
    against = LoadLimit(permitted, "blade_loads.balance_grade")
    rows += (StructuralLoad("residual imbalance (ISO 21940-11)", "", left.high, "imbalance", against),)
    return PartLoads(rows + force("the residual imbalance", lambda at: rig.taken("blade_loads.residual_imbalance", at)))


def _linkage(rig: Rig, travel: dict[Case, Travel], worst: WorstForce | None, enough: bool) -> PartLoads:
    """Return the maximum forces of the linkage's travel; `enough` tells whether the scenario tells enough of it."""
    table = rig.scenario.blade_loads
    if rig.scenario.linkage is None:
        return PartLoads(left_out=("pitch linkage: [linkage] arm, travel_from, travel_to, actuator_rating",))
    if table is None:
        return PartLoads()
    if not enough:
        keys = "blade_loads.chord, blade_loads.mass, blade_loads.centre_of_mass and rotor.curves"
        return PartLoads(left_out=(f"pitch linkage: {keys}",))
    left_out: tuple[str, ...] = ()
    if table.pitch_bearing_diameter is None:
        left_out += ("friction of the pitch bearings: blade_loads.pitch_bearing_diameter",)
    rows: tuple[StructuralLoad, ...] = ()
    rated: tuple[tuple[str, QuantityKey, float], ...] = (
        ("force on the pitch actuator, maximum of the travel", "linkage.actuator_rating", 1.0),
        ("force in each blade's pitch rod", "linkage.rod_rating", rig.number_of_blades()),
    )
    for name, key, sharing in rated:
        limit = _limit(rig, key)
        for case, of in travel.items():
            greatest = float(np.max(np.abs(of.actuator_n) + of.friction_n)) / sharing
            corner = None
            if case == "worst case" and worst is not None:
                greatest, corner = worst.force_n / sharing, worst.at
            rows += (StructuralLoad(name, case, greatest, "force", limit, corner),)
        left_out += _unless(limit, f"limit of the {name.split(',')[0]}", key)
    return PartLoads(rows, left_out, (_SPEED_IS_HELD,))


def _ladder(rig: Rig) -> Ladder | None:
    """Return the speeds at which to stop and inspect, up to the lower of both speed limits."""
    if rig.blade is None or rig.scenario.blade_loads is None:
        return None
    by_tip, limit = float(rig.read("rotor.highest_tip_speed")) / rig.radius_m, rig.maybe("rotor.highest_rotor_speed")
    top, limit_from = (by_tip, "rotor.highest_tip_speed")
    if limit is not None and not by_tip < limit:
        top, limit_from = (limit, "rotor.highest_rotor_speed")
    imbalance, imbalance_from = _imbalance_on_the_ladder(rig, top)
    rating = rig.maybe("blade_loads.root_pull_rating")
    rungs = []
    for share in LADDER_SHARES:
        speed = share * top
        pull = float(equations.centrifugal_force_n(rig.blade.first_moment_kg_m, 1.0, speed))
        shaking = float(equations.imbalance_force_n(imbalance, speed))
        margin = None if rating is None else rating / pull
        rungs.append(Rung(speed, speed * rig.radius_m, pull, share**2, shaking, margin))
    return Ladder(tuple(rungs), limit_from, imbalance_from)


def _imbalance_on_the_ladder(rig: Rig, top_rad_s: float) -> tuple[float, str]:
    """Return the imbalance (kg·m) that the ladder is shown with, and what it is: measured, permissible, or a sample."""
    left, mass = rig.maybe("blade_loads.residual_imbalance"), rig.maybe("blade_loads.rotor_mass")
    if left is not None:
        return left, "blade_loads.residual_imbalance"
    if mass is None:
        return _SAMPLE_LOST_KG * rig.radius_m, "10 g at a tip"
    grade = rig.read("blade_loads.balance_grade")
    permitted = float(equations.permissible_imbalance_kg_m(grade, mass, top_rad_s))
    return permitted, "the permissible imbalance of blade_loads.balance_grade"
