"""What a scenario's turbine has to carry: every load at the operating point and at the worst case, with its limit.

The worst case is a gust with a truck passing while the load is cut: the greatest thrust of the rotor speed held, of the
rotor settled in the gust and of the rotor running free; and the speed it runs away to, unless a brake stops it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from energy.aero.air import sound_speed_m_s
from energy.aero.operating_point import Rotor, coefficients, free_run_is_told, free_run_speed_rad_s, solve
from energy.chain.ledger import TurbineAtWork, turbine_at_work
from energy.scenario.inputs import Assumption, Inputs, inputs_of, reader
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.strength import equations as loads
from energy.strength.equations import BladeMass, blade_mass
from vehicle.problems import InputError, Problem

Case = Literal["operating point", "worst case", ""]
ENOUGH_MARGIN = 2.0
_TRAVEL_STEPS = 181
_SHOWN_STEPS = 9
_SAMPLE_LOST_KG = 0.010


@dataclass(frozen=True)
class Load:
    """One load: `value` and `limit` in the SI unit `unit`; `margin` is limit over value, or value over limit where the
    limit is a least value (`least`); None where there is no limit. `kind` is how it is shown."""

    name: str
    case: Case
    value: float
    unit: str
    kind: str
    limit: float | None = None
    limit_from: str = ""
    least: bool = False

    @property
    def margin(self) -> float | None:
        """Limit over value (value over limit where the limit is a least value)."""
        if self.limit is None or not math.isfinite(self.value):
            return None
        if self.least:
            return self.value / self.limit
        return self.limit / abs(self.value) if self.value != 0 else None


@dataclass(frozen=True)
class Conditions:
    """One case: air speed at the rotor and in the free air (m/s), rotor speed (rad/s; NaN unknown), thrust (N)."""

    air_speed_m_s: float
    free_air_speed_m_s: float
    rotor_speed_rad_s: float
    thrust_n: float
    thrust_from: str


@dataclass(frozen=True)
class Travel:
    """The pitch linkage through its travel, arrays of the pitches (degrees): moments per blade (N·m) and the force (N)
    that all blades put on the actuator, positive towards feather; `friction_n` works against any motion."""

    pitch_deg: np.ndarray
    aerodynamic_n_m: np.ndarray
    centrifugal_n_m: np.ndarray
    friction_n_m: np.ndarray
    actuator_n: np.ndarray
    friction_n: np.ndarray
    changes_sign_at_deg: np.ndarray
    settles_at_deg: np.ndarray  # where a loose blade would rest
    beyond_curves: np.ndarray

    def shown(self) -> np.ndarray:
        """Return the places of the pitches to print."""
        return np.unique(np.linspace(0, len(self.pitch_deg) - 1, _SHOWN_STEPS).round().astype(int))


@dataclass(frozen=True)
class Rung:
    """One step of the spin-up: rotor speed (rad/s), tip speed (m/s), centrifugal force a blade (N), its share of the force
    at the limit, imbalance force (N) and its share of the permissible one (NaN where not told)."""

    rotor_speed_rad_s: float
    tip_speed_m_s: float
    centrifugal_n: float
    share: float
    imbalance_n: float
    root_margin: float | None


@dataclass(frozen=True)
class Ladder:
    """The spin-up ladder and what its top is (which limit)."""

    rungs: tuple[Rung, ...]
    limit_from: str
    imbalance_from: str


@dataclass(frozen=True)
class LoadTable:
    """All loads of a scenario, what was left out for want of keys, the linkage's travel in both cases, the ladder."""

    scenario: Scenario
    operating: Conditions
    worst: Conditions
    free_run_rad_s: float
    free_run_known: bool
    rows: tuple[Load, ...]
    left_out: tuple[str, ...]
    travel: dict[str, Travel]
    ladder: Ladder | None
    notes: tuple[str, ...]
    assumptions: tuple[Assumption, ...]

    def row(self, name: str, case: Case = "") -> Load:
        """Return one load by name and case."""
        return next(r for r in self.rows if r.name == name and r.case == case)

    @property
    def thin(self) -> tuple[Load, ...]:
        """The loads with a margin under 2, the thinnest first."""
        found = [row for row in self.rows if row.margin is not None and row.margin < ENOUGH_MARGIN]
        return tuple(sorted(found, key=lambda row: row.margin or 0.0))


def load_table(scenario: Scenario) -> LoadTable:
    """Return what mount, bearing, blades and linkage must carry. Raises InputError where nothing turns the rotor."""
    return _Builder(scenario).table()


class _Builder:
    """Collects rows part by part; each part reads its own table and adds its rows or one line on what is missing."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.read = reader(scenario)
        self.inputs: Inputs = inputs_of(scenario)
        self.turbine: TurbineAtWork = turbine_at_work(self.inputs)
        self.density = float(self.inputs.density_kg_m3)
        self.radius = float(self.inputs.turbine.diameter_m) / 2
        self.area = math.pi * self.radius**2
        self.pitch = float(self.inputs.turbine.pitch_deg)
        self.rows: list[Load] = []
        self.left_out: list[str] = []
        self.notes: list[str] = []
        self.free_run, self.free_run_known = math.nan, False
        self.operating = self._operating()
        self.worst = self._worst()
        self.blade = self._blade()

    def table(self) -> LoadTable:
        self._thrust()
        self._speeds()
        self._mount()
        self._bearing()
        self._roots()
        self._balance()
        travel = self._linkage()
        return LoadTable(
            scenario=self.scenario,
            operating=self.operating,
            worst=self.worst,
            free_run_rad_s=self.free_run,
            free_run_known=self.free_run_known,
            rows=tuple(self.rows),
            left_out=tuple(self.left_out),
            travel=travel,
            ladder=self._ladder(),
            notes=tuple(self.notes),
            assumptions=tuple(self.read.assumptions.values()),
        )

    # --- the two cases ---

    def _operating(self) -> Conditions:
        turbine = self.turbine
        speed = float(turbine.rotor_speed_rad_s)
        if not bool(turbine.turning):
            self.notes.append(
                "At the operating point the rotor does not turn: only the worst case and standing loads mean something."
            )
        return Conditions(
            float(self.inputs.rotor_air_speed_m_s),
            float(self.inputs.air.speed_m_s),
            speed,
            float(turbine.thrust_n),
            "settled",
        )

    def _worst(self) -> Conditions:
        read, scenario = self.read, self.scenario
        trip_speed = max(float(np.asarray(self.inputs.road_speed_m_s)), self.scenario.fastest_road_speed_m_s)
        highest = read.maybe("gust.road_speed")
        speed = trip_speed if highest is None else max(trip_speed, float(highest))
        wind = float(np.maximum(0.0, np.asarray(read("air.wind_speed")) * np.cos(read("air.wind_from"))))
        local = scenario.rotor.local_speed_factor.high  # shelter is not to be trusted in a gust: the upper end
        read("rotor.local_speed_factor")
        gust, passing = float(read("gust.speed")), float(read("gust.passing_factor"))
        free_air = float(loads.gust_air_speed_m_s(speed, wind, gust, passing, 1.0))
        air = float(loads.gust_air_speed_m_s(speed, wind, gust, passing, local))
        limits = self.inputs.turbine
        stop = read.maybe("gust.overspeed_stop")
        if limits.curves is None or limits.chain is None:
            share = (air / max(self.operating.air_speed_m_s, 1e-9)) ** 2
            fastest = limits.highest_rotor_speed_rad_s if stop is None else stop
            self.left_out.append(
                "rotor speed with the load cut, and thrust there: rotor.curves with [generator] (a measured table does not tell)"
            )
            known = math.nan if fastest is None else float(np.asarray(fastest))
            if fastest is not None:
                self.notes.append(
                    "Worst rotor speed: the limit in the scenario, as the free-running speed is not known."
                )
            return Conditions(
                air, free_air, known, self.operating.thrust_n * share, "scaled with the square of air speed"
            )
        return self._worst_of_curves(air, free_air, None if stop is None else float(stop))

    def _worst_of_curves(self, air: float, free_air: float, stop: float | None) -> Conditions:
        limits = self.inputs.turbine
        assert limits.curves is not None
        assert limits.chain is not None
        power, thrust = (float(np.asarray(v)) for v in (limits.power_factor, limits.thrust_factor))
        rotor = Rotor(limits.curves, self.radius, self.pitch, self.density, air, power, thrust)
        self.free_run = float(free_run_speed_rad_s(rotor, limits.chain))
        self.free_run_known = free_run_is_told(limits.curves, self.pitch)
        if not self.free_run_known:
            self.notes.append(
                "The curves end before the power falls to zero: the rotor runs away to more than the speed shown here."
            )
        fastest = self.free_run if stop is None else min(self.free_run, stop)
        settled = solve(rotor, limits.chain, load_connected_after_spin_up=True)
        speeds = {
            "rotor speed held": self.operating.rotor_speed_rad_s,
            "settled in the gust": float(settled.rotor_speed_rad_s),
            "load cut" if stop is None or stop >= self.free_run else "at the overspeed stop": fastest,
        }
        ratios = np.array(list(speeds.values())) * self.radius / max(air, 1e-9)
        _, ct, beyond = coefficients(limits.curves, self.pitch, ratios)
        thrusts = loads.wind_force_n(self.density, self.area, air, ct * thrust)
        if bool(beyond.any()):
            self.notes.append(
                f"The worst case reaches tip-speed ratio {ratios.max():.1f}, past the curves' last of "
                f"{limits.curves.tip_speed_ratio[-1]:g}: the thrust coefficient of their end is held there."
            )
        place = int(np.argmax(thrusts))
        # Whatever the curves say at the gust, the thrust does not fall below that of the operating point.
        return Conditions(
            air, free_air, fastest, max(float(thrusts[place]), self.operating.thrust_n), list(speeds)[place]
        )

    def _cases(self) -> tuple[tuple[Case, Conditions], ...]:
        return (("operating point", self.operating), ("worst case", self.worst))

    def _add(
        self,
        name: str,
        value: Callable[[Conditions], float],
        unit: str,
        kind: str,
        limit: float | None,
        limit_from: str,
    ) -> None:
        for case, at in self._cases():
            found = value(at)
            if math.isfinite(found):
                self.rows.append(Load(name, case, found, unit, kind, limit, limit_from if limit is not None else ""))

    def _limit(self, key: QuantityKey) -> float | None:
        found = self.read.maybe(key)
        return None if found is None else float(found)

    def _missing(self, what: str, *keys: str) -> None:
        self.left_out.append(f"{what}: {', '.join(keys)}")

    # --- parts ---

    def _thrust(self) -> None:
        self._add(
            "thrust of the rotor",
            lambda at: at.thrust_n,
            "N",
            "force",
            self._limit("rotor.highest_thrust"),
            "rotor.highest_thrust",
        )
        if self.scenario.rotor.highest_thrust is None:
            self._missing("limit of the thrust", "rotor.highest_thrust")

    def _speeds(self) -> None:
        read = self.read
        limit = self._limit("rotor.highest_rotor_speed")
        self._add(
            "rotor speed", lambda at: at.rotor_speed_rad_s, "rad/s", "rotor_speed", limit, "rotor.highest_rotor_speed"
        )
        if math.isfinite(self.free_run):
            at_trip = float(np.asarray(self.turbine.free_run_speed_rad_s))
            stopped = self.worst.rotor_speed_rad_s < self.free_run
            held = None if stopped else limit  # with a stop the rotor never gets there
            if stopped:
                self.notes.append(
                    "Everything in the worst case rests on the overspeed stop: without it the rotor runs up to its free run. "
                    "Try the stop before each drive; leave gust.overspeed_stop out to see the loads without it."
                )
            for case, speed in (("operating point", at_trip), ("worst case", self.free_run)):
                source = "rotor.highest_rotor_speed" if held is not None else ""
                self.rows.append(Load("free run with the load cut", case, speed, "rad/s", "rotor_speed", held, source))  # type: ignore[arg-type]
        tip = float(read("rotor.highest_tip_speed"))
        self._add(
            "tip speed",
            lambda at: at.rotor_speed_rad_s * self.radius,
            "m/s",
            "tip_speed",
            tip,
            "rotor.highest_tip_speed",
        )
        sound = float(sound_speed_m_s(np.asarray(self.inputs.temperature_k)))
        if math.hypot(self.worst.rotor_speed_rad_s * self.radius, self.worst.air_speed_m_s) > 0.6 * sound:
            self.notes.append(
                "In the worst case the tips near the speed of sound: no curve holds there. Read it as a rotor that destroys "
                "itself unless something stops it."
            )
        self._add(
            "Mach number of the tips through the air",
            lambda at: math.hypot(at.rotor_speed_rad_s * self.radius, at.air_speed_m_s) / sound,
            "1",
            "plain",
            None,
            "",
        )

    def _mount(self) -> None:
        read = self.read
        mass = float(np.asarray(self.inputs.turbine.mass_kg))
        braking = mass * loads.BRAKING_SHARE_OF_GRAVITY * loads.STANDARD_GRAVITY_M_S2
        self.rows.append(Load("pull forward in hard braking, 0.8 g", "", braking, "N", "force"))
        if self.scenario.mount is None:
            self._missing("overturning moment and bolts", "[mount] height, bolt_distances, bolt_rating, highest_moment")
            return
        height = float(read("mount.height"))
        drag_area = float(np.asarray(self.inputs.turbine.mount_drag_area_m2))

        def moment(at: Conditions) -> float:
            mount_drag = loads.wind_force_n(self.density, drag_area, at.free_air_speed_m_s, 1.0)
            return float(at.thrust_n * height + mount_drag * height / 2)

        self._add(
            "overturning moment at the feet",
            moment,
            "N*m",
            "torque",
            self._limit("mount.highest_moment"),
            "mount.highest_moment",
        )
        self.rows.append(
            Load(
                "moment at the feet in hard braking, 0.8 g",
                "",
                braking * height,
                "N*m",
                "torque",
                self._limit("mount.highest_moment"),
                "mount.highest_moment",
            )
        )
        if self.scenario.mount.bolt_distances is None:
            self._missing("pull of the bolts", "mount.bolt_distances, mount.bolt_rating")
            return
        distances = read.all_of("mount.bolt_distances")
        self._add(
            "pull of the hardest-worked bolt",
            lambda at: float(loads.bolt_pulls_n(moment(at), distances).max()),
            "N",
            "force",
            self._limit("mount.bolt_rating"),
            "mount.bolt_rating",
        )
        if self.scenario.mount.bolt_rating is None:
            self._missing("limit of the bolts", "mount.bolt_rating")

    def _bearing(self) -> None:
        read, table = self.read, self.scenario.bearing
        if table is None:
            self._missing("bearing", "[bearing] kind, static_rating, dynamic_rating")
            return
        static, dynamic = float(read("bearing.static_rating")), float(read("bearing.dynamic_rating"))
        radial = float(read("bearing.radial_load"))
        axial_factor, static_factor = self._limit("bearing.axial_factor"), self._limit("bearing.static_axial_factor")
        bore = self._limit("bearing.bore")
        axial_limit = loads.highest_axial_load_n(static, table.kind, bore, table.light_series)
        self._add(
            "axial load on the bearing",
            lambda at: at.thrust_n,
            "N",
            "force",
            axial_limit,
            "share of C0 (catalogue text)",
        )
        self._add(
            "static equivalent load (ISO 76)",
            lambda at: float(loads.equivalent_static_load_n(table.kind, radial, at.thrust_n, static_factor)),
            "N",
            "force",
            None,
            "",
        )
        wanted = float(read("bearing.required_static_safety"))
        for case, at in self._cases():
            load = float(loads.equivalent_static_load_n(table.kind, radial, at.thrust_n, static_factor))
            if load > 0:
                self.rows.append(
                    Load(
                        "static safety factor (ISO 76)",
                        case,
                        static / load,
                        "1",
                        "plain",
                        wanted,
                        "bearing.required_static_safety",
                        least=True,
                    )
                )
        load = float(loads.equivalent_dynamic_load_n(table.kind, radial, self.operating.thrust_n, static, axial_factor))
        self.rows.append(Load("dynamic equivalent load (ISO 281)", "operating point", load, "N", "force"))
        if load > 0 and self.operating.rotor_speed_rad_s > 0:
            life = float(
                loads.basic_life_s(
                    loads.basic_life_revolutions(dynamic, load, table.kind), self.operating.rotor_speed_rad_s
                )
            )
            wanted_life = float(read("bearing.required_life"))
            self.rows.append(
                Load(
                    "basic life, 9 of 10 bearings (ISO 281)",
                    "operating point",
                    life,
                    "s",
                    "hours",
                    wanted_life,
                    "bearing.required_life",
                    least=True,
                )
            )
        if table.kind == "deep_groove_ball":
            self.notes.append(
                "A palm-size deep-groove ball bearing is not made for axial load; rotor thrust asks for an angular-contact, "
                "tapered-roller or thrust bearing (common practice)."
            )
        if table.kind == "thrust_ball":
            self.notes.append(
                "A thrust ball bearing takes no radial load: a second bearing must hold the rotor's weight."
            )

    def _blade(self) -> BladeMass | None:
        table = self.scenario.blade_loads
        if table is None:
            return None
        if table.piece_masses is not None:
            return blade_mass(
                list(self.read.all_of("blade_loads.piece_masses")), list(self.read.all_of("blade_loads.piece_radii"))
            )
        if table.mass is not None:
            return blade_mass([float(self.read("blade_loads.mass"))], [float(self.read("blade_loads.centre_of_mass"))])
        return None

    def _count(self) -> float:
        given = self.read.maybe("blade_loads.number_of_blades")
        return float(self.read("blade.number_of_blades") if given is None else given)

    def _roots(self) -> None:
        read, blade = self.read, self.blade
        if self.scenario.blade_loads is None:
            self._missing(
                "blade roots, balance, pitch linkage",
                "[blade_loads] number_of_blades, mass, centre_of_mass (or piece_masses, piece_radii)",
            )
            return
        count, root = self._count(), float(read("blade_loads.root_radius"))
        if blade is None:
            self._missing(
                "centrifugal force of the blades",
                "blade_loads.mass and blade_loads.centre_of_mass, or piece_masses and piece_radii",
            )
        else:
            first = blade.first_moment_kg_m
            self._add(
                "centrifugal force at each blade root",
                lambda at: float(loads.centrifugal_force_n(first, 1.0, at.rotor_speed_rad_s)),
                "N",
                "force",
                self._limit("blade_loads.root_pull_rating"),
                "blade_loads.root_pull_rating",
            )
            if self.scenario.blade_loads.root_pull_rating is None:
                self._missing("limit of the blade roots' pull", "blade_loads.root_pull_rating")
        self._add(
            "flap bending at each blade root",
            lambda at: float(loads.flap_bending_n_m(at.thrust_n / count, self.radius, root)),
            "N*m",
            "torque",
            self._limit("blade_loads.root_bending_rating"),
            "blade_loads.root_bending_rating",
        )
        if self.scenario.blade_loads.root_bending_rating is None:
            self._missing("limit of the blade roots' bending", "blade_loads.root_bending_rating")
        if blade is not None:
            doubled = 2.0 if count <= 2 else 1.0  # two blades: the moment swings between nothing and twice
            self._add(
                "gyroscopic moment over a bump, nose dipping at 1 rad/s",
                lambda at: float(
                    doubled
                    * loads.gyroscopic_moment_n_m(
                        count * blade.inertia_kg_m2, at.rotor_speed_rad_s, loads.PITCHING_RATE_RAD_S
                    )
                ),
                "N*m",
                "torque",
                None,
                "",
            )

    def _balance(self) -> None:
        read = self.read
        if self.scenario.blade_loads is None:
            return
        lost = _SAMPLE_LOST_KG * self.radius
        self._add(
            "imbalance force of 10 g lost at a tip",
            lambda at: float(loads.imbalance_force_n(lost, at.rotor_speed_rad_s)),
            "N",
            "force",
            None,
            "",
        )
        mass = self._limit("blade_loads.rotor_mass")
        speed = self._service_speed()
        if mass is None or not speed > 0:
            self._missing("permissible imbalance (ISO 21940-11)", "blade_loads.rotor_mass")
            return
        permitted = float(loads.permissible_imbalance_kg_m(read("blade_loads.balance_grade"), mass, speed))
        left = self._limit("blade_loads.residual_imbalance")
        if left is None:
            self.rows.append(Load("permissible residual imbalance (ISO 21940-11)", "", permitted, "kg*m", "imbalance"))
            self._missing("your residual imbalance beside it", "blade_loads.residual_imbalance")
        else:
            self.rows.append(
                Load(
                    "residual imbalance (ISO 21940-11)",
                    "",
                    left,
                    "kg*m",
                    "imbalance",
                    permitted,
                    "blade_loads.balance_grade",
                )
            )
        self._add(
            "imbalance force of the residual imbalance"
            if left is not None
            else "imbalance force of the permissible imbalance",
            lambda at: float(loads.imbalance_force_n(permitted if left is None else left, at.rotor_speed_rad_s)),
            "N",
            "force",
            None,
            "",
        )

    def _service_speed(self) -> float:
        limit = self._limit("rotor.highest_rotor_speed")
        return self.operating.rotor_speed_rad_s if limit is None else limit

    def _linkage(self) -> dict[str, Travel]:
        scenario = self.scenario
        if scenario.linkage is None:
            self._missing("pitch linkage", "[linkage] arm, travel_from, travel_to, actuator_rating")
            return {}
        if scenario.blade_loads is None:
            return {}
        if scenario.blade_loads.chord is None or self.blade is None or self.inputs.turbine.curves is None:
            self._missing(
                "pitch linkage", "blade_loads.chord, blade_loads.mass, blade_loads.centre_of_mass and rotor.curves"
            )
            return {}
        if scenario.blade_loads.pitch_bearing_diameter is None:
            self._missing("friction of the pitch bearings", "blade_loads.pitch_bearing_diameter")
        travel: dict[str, Travel] = {
            case: self._travel(at) for case, at in self._cases() if math.isfinite(at.rotor_speed_rad_s)
        }
        count = self._count()
        rated: tuple[tuple[str, QuantityKey, float], ...] = (
            ("force on the pitch actuator, greatest of the travel", "linkage.actuator_rating", 1.0),
            ("force in each blade's pitch rod", "linkage.rod_rating", count),
        )
        for name, key, share in rated:
            limit = self._limit(key)
            for case, found in travel.items():
                worst = float(np.max(np.abs(found.actuator_n) + found.friction_n)) / share
                self.rows.append(Load(name, case, worst, "N", "force", limit, key if limit is not None else ""))  # type: ignore[arg-type]
            if limit is None:
                self._missing(f"limit of the {name.split(',')[0]}", key)
        self.notes.append(
            "The linkage table holds the rotor speed of its case through the whole travel; a rotor that is feathered slows down "
            "and asks for less."
        )
        return travel

    def _travel(self, at: Conditions) -> Travel:
        read, table, blade = self.read, self.scenario.linkage, self.blade
        curves = self.inputs.turbine.curves
        assert table is not None
        assert blade is not None
        assert curves is not None
        low, high = float(read("linkage.travel_from")), float(read("linkage.travel_to"))
        square = self._limit("linkage.square_at")
        square = (low + high) / 2 if square is None else square
        pitch = np.linspace(low, high, _TRAVEL_STEPS)
        angle = self.scenario.pitch_convention.chord_angle_deg(pitch)  # the travel is told as the dial reads
        beta = np.deg2rad(angle + float(read("blade_loads.mean_twist")))
        count, chord, axis = (
            self._count(),
            float(read("blade_loads.chord")),
            float(read("blade_loads.pitch_axis")),
        )
        ratio = at.rotor_speed_rad_s * self.radius / max(at.air_speed_m_s, 1e-9)
        cp, ct, _ = coefficients(curves, angle, ratio)
        cp, ct = cp * self.inputs.turbine.power_factor, ct * self.inputs.turbine.thrust_factor
        thrust = loads.wind_force_n(self.density, self.area, at.air_speed_m_s, ct)
        torque = cp * 0.5 * self.density * self.area * at.air_speed_m_s**3 / max(at.rotor_speed_rad_s, 1e-9)
        section = loads.section_moment_n_m(
            read("blade_loads.section_moment_coefficient"),
            self.density,
            chord,
            at.air_speed_m_s,
            at.rotor_speed_rad_s,
            read("blade_loads.root_radius"),
            self.radius,
        )
        aerodynamic = loads.lift_moment_n_m(thrust / count, torque / count, self.radius, beta, chord, axis) + section
        inertia = loads.plate_inertia_difference_kg_m2(
            blade.mass_kg,
            chord,
            chord * float(read("blade_loads.thickness_ratio")),
            (float(read("blade_loads.mass_axis")) - axis) * chord,
        )
        centrifugal = loads.centrifugal_twisting_moment_n_m(inertia, at.rotor_speed_rad_s, beta)
        pull = loads.centrifugal_force_n(blade.first_moment_kg_m, 1.0, at.rotor_speed_rad_s)
        diameter = read.maybe("blade_loads.pitch_bearing_diameter")
        friction = (
            0.0
            if diameter is None
            else float(loads.pitch_friction_n_m(pull, read("blade_loads.pitch_bearing_friction"), diameter))
        )
        lever = loads.rod_lever_m(float(read("linkage.arm")), pitch, square)
        moment = aerodynamic + centrifugal
        towards = float(np.sign(angle[-1] - angle[0]))  # a dial may count towards fine
        change = np.flatnonzero(moment[:-1] * moment[1:] < 0)
        at_zero = pitch[change] + (pitch[change + 1] - pitch[change]) * moment[change] / (
            moment[change] - moment[change + 1]
        )
        return Travel(
            pitch_deg=pitch,
            aerodynamic_n_m=aerodynamic,
            centrifugal_n_m=centrifugal,
            friction_n_m=np.full(pitch.shape, friction),
            actuator_n=count * moment / lever,
            friction_n=count * friction / lever,
            changes_sign_at_deg=at_zero,
            settles_at_deg=at_zero[moment[change] * towards > 0],
            beyond_curves=(angle < curves.pitch_deg[0] - 1e-9) | (angle > curves.pitch_deg[-1] + 1e-9),
        )

    def _ladder(self) -> Ladder | None:
        if self.blade is None or self.scenario.blade_loads is None:
            return None
        tip = float(self.read("rotor.highest_tip_speed"))
        by_tip = tip / self.radius
        limit = self._limit("rotor.highest_rotor_speed")
        top, limit_from = (
            (by_tip, "rotor.highest_tip_speed")
            if limit is None or by_tip < limit
            else (limit, "rotor.highest_rotor_speed")
        )
        imbalance, imbalance_from = self._limit("blade_loads.residual_imbalance"), "blade_loads.residual_imbalance"
        mass = self._limit("blade_loads.rotor_mass")
        if imbalance is None and mass is not None:
            imbalance = float(loads.permissible_imbalance_kg_m(self.read("blade_loads.balance_grade"), mass, top))
            imbalance_from = "the permissible imbalance of blade_loads.balance_grade"
        if imbalance is None:
            imbalance, imbalance_from = _SAMPLE_LOST_KG * self.radius, "10 g at a tip"
        rating = self._limit("blade_loads.root_pull_rating")
        rungs = []
        for share in loads.LADDER_SHARES:
            speed = share * top
            pull = float(loads.centrifugal_force_n(self.blade.first_moment_kg_m, 1.0, speed))
            rungs.append(
                Rung(
                    speed,
                    speed * self.radius,
                    pull,
                    share**2,
                    float(loads.imbalance_force_n(imbalance, speed)),
                    None if rating is None else rating / pull,
                )
            )
        return Ladder(tuple(rungs), limit_from, imbalance_from)


def spin_up_ladder(scenario: Scenario) -> Ladder:
    """Return the spin-up ladder; InputError where the scenario does not say what the blades weigh."""
    found = load_table(scenario).ladder
    if found is None:
        raise InputError(
            Problem(
                scenario.name,
                "[blade_loads]",
                "no mass of the blades",
                "blade_loads.number_of_blades, blade_loads.mass and blade_loads.centre_of_mass",
            )
        )
    return found
