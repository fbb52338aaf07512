"""A turbine's loads worked out once more, from handbook formulas and the words of the docstrings: an oracle for tests.

Nothing of energy/strength is used here. Mechanics: m·r·ω², c·½·ρ·A·U², J·ω·Ω, M·x/Σx². Air: ideal gases and the Magnus
form (Alduchov and Eskridge 1996, from memory). Curves: straight lines between the points of the table, in pitch and
tip-speed ratio.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from energy.scenario.read import Scenario
from vehicle.constants import DRY_AIR_GAS_CONSTANT_J_KG_K, WATER_VAPOUR_GAS_CONSTANT_J_KG_K

BETZ = 16 / 27


def told(scenario: Scenario, key: str):
    """What the scenario tells of a key, with its range; None for nothing."""
    table, name = key.split(".")
    return getattr(getattr(scenario, table), name, None)


@dataclass
class Hand:
    """One scenario with curves, at its stated values or (`worst`) with each range at the end that hurts."""

    scenario: Scenario
    worst: bool
    other_end: tuple[str, ...] = ()  # keys that stand at the end of less force: less air relieves less

    def high(self, key: str):
        of = told(self.scenario, key)
        return (
            None if of is None else getattr(of, "low" if key in self.other_end else "high") if self.worst else of.value
        )

    def low(self, key: str):
        of = told(self.scenario, key)
        return (
            None if of is None else getattr(of, "high" if key in self.other_end else "low") if self.worst else of.value
        )

    @property
    def radius(self) -> float:
        return self.high("rotor.diameter") / 2

    @property
    def area(self) -> float:
        return math.pi * self.radius**2

    @property
    def density(self) -> float:
        kelvin, humid = self.low("air.temperature"), self.low("air.relative_humidity")
        celsius = kelvin - 273.15
        vapour = humid * 610.94 * math.exp(17.625 * celsius / (celsius + 243.04))
        dry = self.high("air.pressure") - vapour
        return dry / DRY_AIR_GAS_CONSTANT_J_KG_K / kelvin + vapour / WATER_VAPOUR_GAS_CONSTANT_J_KG_K / kelvin

    @property
    def blades(self) -> float:
        given = told(self.scenario, "blade_loads.number_of_blades")
        return (told(self.scenario, "blade.number_of_blades") if given is None else given).value

    @property
    def pieces(self) -> list[tuple[float, float]]:
        """Masses and radii of one blade: of the pieces, or the whole at its centre."""
        table = self.scenario.blade_loads
        if table.piece_masses is not None:
            pairs = zip(table.piece_masses, table.piece_radii, strict=True)
        else:
            pairs = [(table.mass, table.centre_of_mass)]
        if not self.worst:
            return [(m.value, r.value) for m, r in pairs]
        return [(m.low, r.low) if "pieces" in self.other_end else (m.high, r.high) for m, r in pairs]

    def moment(self, power: int) -> float:
        """Σ m·r^power of one blade."""
        return sum(m * r**power for m, r in self.pieces)

    def coefficients(self, pitch, ratio):
        """Cp and Ct; power held at Betz at each point of the table, thrust never below power."""
        curves = self.scenario.curves
        gusts = told(self.scenario, "air.turbulence").value ** 2
        more_power = self.high("rotor.power_factor") * (1 + 3 * gusts)
        more_thrust = self.high("rotor.thrust_factor") * (1 + gusts)
        power, thrust = curves.power_coefficient, curves.thrust_coefficient
        for slope in curves.slopes:
            departs = self.high(slope.key) - slope.stated
            power, thrust = power + departs * slope.power_coefficient, thrust + departs * slope.thrust_coefficient
        power = np.minimum(np.minimum(power, BETZ) * more_power, BETZ)
        pitches, ratios = curves.pitch_deg, curves.tip_speed_ratio
        pitch, x = np.broadcast_arrays(np.asarray(pitch, float), np.asarray(ratio, float))
        p = np.clip(pitch, pitches[0], pitches[-1])
        i = np.clip(np.searchsorted(pitches, p) - 1, 0, max(len(pitches) - 2, 0))
        j = np.clip(np.searchsorted(ratios, x) - 1, 0, len(ratios) - 2)
        k = np.minimum(i + 1, len(pitches) - 1)
        s = np.zeros(p.shape) if len(pitches) == 1 else (p - pitches[i]) / (pitches[k] - pitches[i])
        t = np.minimum((x - ratios[j]) / (ratios[j + 1] - ratios[j]), 1.0)

        def at(values, column):
            return values[i, column] * (1 - s) + values[k, column] * s

        cp = at(power, j) * (1 - t) + at(power, j + 1) * t
        ct = at(thrust, j) * (1 - t) + at(thrust, j + 1) * t
        # Past the table power goes on along its last slope where that falls.
        last = np.minimum(at(power, -1) - at(power, -2), 0.0) / (ratios[-1] - ratios[-2])
        cp = cp + last * np.maximum(x - ratios[-1], 0.0)
        return cp, np.maximum(np.maximum(ct, 0) * more_thrust, cp)

    def thrust(self, pitch, speed, air):
        _, ct = self.coefficients(pitch, np.asarray(speed) * self.radius / np.maximum(air, 1e-9))
        return 0.5 * self.density * self.area * np.asarray(air) ** 2 * ct

    def worst_air(self) -> tuple[float, float]:
        """Free air and air at the rotor: (road + wind from ahead + gust) next to a truck, then the shelter."""
        s = self.scenario
        road = max(s.fastest_road_speed_m_s, told(s, "gust.road_speed").high if told(s, "gust.road_speed") else 0.0)
        if s.schedule is None:
            road = max(road, s.trip.road_speed.high)
        wind, measured, hub = s.air.wind_speed.high, told(s, "air.wind_measured_at"), told(s, "rotor.hub_height")
        if measured is not None and hub is not None:
            # The cube of the wind's power law, averaged over the disc in level strips.
            up = np.linspace(-1, 1, 4001)[1:-1]
            strips = np.sqrt(1 - up**2)
            grown = []
            for exponent in (s.air.shear_exponent.low, s.air.shear_exponent.high):
                cube = ((hub.high + up * s.rotor.diameter.high / 2) / measured.low) ** (3 * exponent)
                grown.append((np.sum(strips * cube) / np.sum(strips)) ** (1 / 3))
            wind *= max(grown)
        free = (road + wind + s.gust.speed.high) * s.gust.passing_factor.high
        return free, free * s.rotor.local_speed_factor.high

    def gyroscopic(self, speed):
        """J·ω·1 rad/s; two blades swing between nothing and twice that."""
        return (2 if self.blades <= 2 else 1) * self.blades * self.moment(2) * speed

    def flap(self, speed, thrust):
        """Thrust growing with the radius, 2·T·r/R², at its arms about the root, as a sum; and 2·ω·Ω·Σm·r·(r − r₀)."""
        root, tip = self.low("blade_loads.root_radius"), self.radius
        r = np.linspace(root, tip, 2001)
        r = (r[1:] + r[:-1]) / 2
        arm = np.sum(2 * r / tip**2 * (r - root)) * (tip - root) / 2000
        own = 2 * speed * sum(m * r * max(r - root, 0.0) for m, r in self.pieces) if self.worst else 0.0
        return abs(thrust) / self.blades * arm + own

    def bolt_share(self) -> float:
        """Pull of the hardest-worked bolt per moment: x/Σx²; the worst of all ends of the distances."""
        told_of = self.scenario.mount.bolt_distances
        ends = [sorted({d.low, d.value, d.high}) if self.worst else [d.value] for d in told_of]
        return max(max(x) / sum(d * d for d in x) for x in itertools.product(*ends))

    def static_load(self, thrust):
        kind, radial, axial = self.scenario.bearing.kind, self.high("bearing.radial_load"), abs(thrust)
        if kind == "thrust_ball":
            return axial + 2.7 * radial
        x0, y0 = {"deep_groove_ball": (0.6, 0.5), "angular_contact_ball": (0.5, 0.26), "tapered_roller": (0.5, 0)}[kind]
        y0 = self.high("bearing.static_axial_factor") or y0
        return max(x0 * radial + y0 * axial, radial)

    def loads(self, speed: float, air: float, free_air: float, thrust: float) -> dict[str, float]:
        """Every load that stands at one corner, by its name."""
        s = self.scenario
        found = {
            "thrust of the rotor": thrust,
            "rotor speed": speed,
            "tip speed": speed * self.radius,
            "Mach number of the tips through the air": math.hypot(speed * self.radius, air)
            / math.sqrt(1.4 * DRY_AIR_GAS_CONSTANT_J_KG_K * self.low("air.temperature")),
        }
        if s.mount is not None:
            height = self.high("mount.height")
            flow = free_air * max(1.0, s.rotor.mount_speed_factor.value)
            moment = thrust * height + 0.5 * self.density * self.high("rotor.mount_drag_area") * flow**2 * height / 2
            if self.worst and s.blade_loads is not None:
                moment += self.gyroscopic(speed)
            found["overturning moment at the feet"] = moment
            if s.mount.bolt_distances is not None:
                found["pull of the hardest-worked bolt"] = moment * self.bolt_share()
        if s.bearing is not None:
            found["axial load on the bearing"] = thrust
            found["static equivalent load (ISO 76)"] = self.static_load(thrust)
            if found["static equivalent load (ISO 76)"] > 0:
                found["static safety factor (ISO 76)"] = (
                    self.low("bearing.static_rating") / found["static equivalent load (ISO 76)"]
                )
        if s.blade_loads is not None:
            found |= {
                "centrifugal force at each blade root": self.moment(1) * speed**2,
                "flap bending at each blade root": self.flap(speed, thrust),
                "gyroscopic moment over a bump, nose dipping at 1 rad/s": self.gyroscopic(speed),
                "imbalance force of 10 g (0.35 oz) lost at a tip": 0.010 * self.radius * speed**2,
            }
            if told(s, "blade_loads.residual_imbalance") is not None:
                left = self.high("blade_loads.residual_imbalance")
                found["imbalance force of the residual imbalance"] = left * speed**2
            elif told(s, "blade_loads.rotor_mass") is not None:
                found["imbalance force of the permissible imbalance"] = self.permitted() * speed**2
        return found

    def permitted(self, working_rad_s: float = math.nan) -> float:
        """m·G/ω of the lightest rotor, the finest grade and the fastest speed."""
        s = self.scenario
        fastest = told(s, "rotor.highest_rotor_speed")
        speed = working_rad_s if fastest is None else fastest.high
        return s.blade_loads.balance_grade.low * s.blade_loads.rotor_mass.low / speed

    # --- linkage ---

    def pitching(self, chosen: dict[str, float], dial, speed, air) -> tuple:
        """One blade's moments about its pitch axis (air, centrifugal, friction), and the rod's lever, by the dial."""
        s = self.scenario

        def of(key: str) -> float:
            return chosen[key] if key in chosen else told(s, key).value

        chord, axis = of("blade_loads.chord"), of("blade_loads.pitch_axis")
        angle = np.asarray(s.pitch_convention.chord_angle_deg(np.asarray(dial)))
        beta = np.deg2rad(angle + of("blade_loads.mean_twist"))
        mass, tip, root = self.moment(0), self.radius, of("blade_loads.root_radius")
        # A flat plate: ξ along the chord, η across it, about an axis away from its middle.
        plate = mass * (
            chord**2 / 12
            - (chord * of("blade_loads.thickness_ratio")) ** 2 / 12
            + (chord * (of("blade_loads.mass_axis") - axis)) ** 2
        )
        centrifugal = -plate * speed**2 * np.sin(beta) * np.cos(beta)
        cp, ct = self.coefficients(angle, speed * tip / np.maximum(air, 1e-9))
        wind = 0.5 * self.density * self.area * air**2
        sideways = wind * air * cp / np.maximum(speed, 1e-9) / (2 / 3 * tip)
        lift = (wind * ct * np.cos(beta) + sideways * np.sin(beta)) / self.blades * chord * (0.25 - axis)
        square = air**2 * (tip - root) + speed**2 * (tip**3 - root**3) / 3
        section = -of("blade_loads.section_moment_coefficient") * 0.5 * self.density * chord**2 * square
        friction = 0.0
        if told(s, "blade_loads.pitch_bearing_diameter") is not None:
            friction = of("blade_loads.pitch_bearing_friction") * self.moment(1) * speed**2
            friction *= of("blade_loads.pitch_bearing_diameter") / 2
        middle = (of("linkage.travel_from") + of("linkage.travel_to")) / 2
        square_at = middle if told(s, "linkage.square_at") is None else of("linkage.square_at")
        lever = of("linkage.arm") * np.cos(np.deg2rad(dial - square_at))
        return lift + section, centrifugal, friction, lever

    def ends_of_the_linkage(self) -> list[dict[str, float]]:
        """Every combination of ends that can hurt; friction high, arm short."""
        fixed, either = {}, {}
        for key, hurts in (
            ("blade_loads.pitch_bearing_friction", "high"),
            ("blade_loads.pitch_bearing_diameter", "high"),
            ("linkage.arm", "low"),
        ):
            if told(self.scenario, key) is not None:
                fixed[key] = getattr(told(self.scenario, key), hurts)
        sections = "pitch_axis", "mass_axis", "mean_twist", "section_moment_coefficient", "thickness_ratio"
        for name in (*sections, "chord", "root_radius"):
            either[f"blade_loads.{name}"] = told(self.scenario, f"blade_loads.{name}")
        for name in ["travel_from", "travel_to", "square_at"]:
            if told(self.scenario, f"linkage.{name}") is not None:
                either[f"linkage.{name}"] = told(self.scenario, f"linkage.{name}")
        ends = [sorted({of.low, of.high}) for of in either.values()]
        return [fixed | dict(zip(either, chosen, strict=True)) for chosen in itertools.product(*ends)]

    def actuator_force(self, chosen: dict[str, float], dial, speed, air):
        aero, centrifugal, friction, lever = self.pitching(chosen, dial, speed, air)
        return self.blades * (np.abs(aero + centrifugal) + friction) / np.abs(lever)


AIR = ("air.temperature", "air.pressure", "air.relative_humidity")


def hands_in_either_air(scenario: Scenario) -> list[Hand]:
    """The worst case with more and with less of air, rotor, curves and masses, as far as they have ranges."""
    pieces = scenario.blade_loads.piece_masses or (scenario.blade_loads.mass,)
    alone = [(f"rotor.{name}",) for name in ("diameter", "power_factor", "thrust_factor")]
    groups = [keys for keys in (AIR, *alone) if any(_has_range(scenario, key) for key in keys)]
    groups += [("pieces",)] if any(piece.shape != "exact" for piece in pieces) else []
    hands = []
    for chosen in itertools.product((False, True), repeat=len(groups)):
        keys = itertools.chain.from_iterable(itertools.compress(groups, chosen))
        hands.append(Hand(scenario, True, tuple(keys)))
    return hands


def _has_range(scenario: Scenario, key: str) -> bool:
    return told(scenario, key).shape != "exact"
