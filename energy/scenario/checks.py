"""What a scenario must keep beyond the rules of each key: what must be there, what excludes what, what contradicts
what.
"""

from __future__ import annotations

import collections
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.scenario.keys import quantity_keys, spec_of
from energy.scenario.keys.garage import Bearing, BladeLoads, Linkage, Mount
from vehicle.problems import Problem, nearest, shown

if TYPE_CHECKING:
    from energy.aero.blade import Blade
    from energy.scenario.read import Scenario

WIDEST_IN_MANY_COUNTRIES_M = 2.55
_NAMEPLATE_SHARE = 0.25  # of the resistance: elements are made to -5 and +10 %, and hot is not cold (own choice)
_CONTRADICTION = 0.05  # of the value that the blade's file gives
_READING_OF_ANGLE_DEG = 0.5  # of a protractor: 5 % of a small angle is less than anybody reads
_WRONG_TWIST_DEG = 3.0  # more at the tip than at the root: own rule, no source
_DEAD_ON_THE_HORN_DEG = 80  # of rod and horn from their right angle

Tables = Mapping[str, Any]
Fault = Callable[[str, str, str], Problem]
"""Takes key, what was read and what is accepted; knows the file."""


# Presence, in the raw tables


def either_or(name: str, data: Tables) -> list[Problem]:
    """Return faults of presence: what must be there, and what excludes what. Works on the raw tables."""
    fault = partial(Problem, name)
    problems = []
    for key, words in (
        ("rotor", "diameter and curves"),
        ("vehicle", "mass and drag_area"),
        ("trip", "road_speed or schedule"),
    ):
        if key not in data:
            problems.append(fault(f"[{key}]", "missing", f"a table [{key}] with at least {words}"))
    if ("engine" in data) == ("battery" in data):
        read = "both given" if "engine" in data else "missing"
        problems.append(fault("[engine]", read, "either a table [engine] or a table [battery]"))
    problems += rotor_either_or(name, data)
    if "measured_power" not in _table(data, "rotor"):
        if "generator" not in data:
            accepted = "a table [generator] with voltage_constant and winding_resistance"
            problems.append(fault("[generator]", "missing", accepted))
        if "resistance" not in _table(data, "heater"):
            problems.append(fault("heater.resistance", "missing", 'the element, such as "12 ohm"'))
    if "trip" in data:
        problems += _trip_problems(fault, _table(data, "trip"))
    if "vehicle" in data:
        problems += _vehicle_either_or(fault, _table(data, "vehicle"))
    if "engine" in data:
        problems += _engine_either_or(fault, _table(data, "engine"))
    problems += _load_either_or(fault, _table(data, "load"))
    if "pressure" in _table(data, "air") and "altitude" in _table(data, "air"):
        problems.append(fault("air.altitude", "given together with pressure", "either pressure or altitude"))
    return problems


def _table(data: Tables, key: str) -> Tables:
    table = data.get(key, {})
    return table if isinstance(table, dict) else {}


def rotor_either_or(name: str, data: Tables) -> list[Problem]:
    """Return faults of presence in [rotor] and [blade]."""
    fault = partial(Problem, name)
    rotor = _table(data, "rotor")
    problems = []
    shapes = [key for key in ("curves", "blade", "measured_power") if key in rotor]
    if "rotor" in data and len(shapes) != 1:
        read = f"{' and '.join(shapes)} given" if shapes else "missing"
        accepted = "one of curves, blade and measured_power: a CSV file in the scenario's folder"
        problems.append(fault("rotor.curves", read, accepted))
    if "blade" in rotor and "blade" not in data:
        accepted = "a table [blade] with number_of_blades and polar (or camber, or tube_radius)"
        problems.append(fault("[blade]", "missing", accepted))
    if "blade" in data and "blade" not in rotor and "rotor" in data:
        problems.append(fault("rotor.blade", "missing next to [blade]", "the CSV file with radius, chord and twist"))
    if isinstance(data.get("blade"), dict):
        sections = [key for key in ("polar", "camber", "tube_radius") if key in data["blade"]]
        if len(sections) != 1:
            read = f"{' and '.join(sections)} given" if sections else "missing"
            accepted = "one of polar (CSV), camber (bent plate) and tube_radius (blade cut from a tube)"
            problems.append(fault("blade.polar", read, accepted))
    return problems


def _vehicle_either_or(fault: Fault, vehicle: Tables) -> Iterator[Problem]:
    coastdown = [key for key in ("coastdown_a", "coastdown_c") if key in vehicle]
    if len(coastdown) == 1:
        yield fault("vehicle.coastdown_a", "coastdown_a and coastdown_c go together", "both, or drag_area")
    if bool(coastdown) == ("drag_area" in vehicle):
        read = "both given" if coastdown else "missing"
        accepted = "either drag_area or the coast-down coefficients coastdown_a, _b, _c"
        yield fault("vehicle.drag_area", read, accepted)


def _engine_either_or(fault: Fault, engine: Tables) -> Iterator[Problem]:
    if ("peak_torque" in engine) == ("torque_curve" in engine):
        read = "both given" if "peak_torque" in engine else "missing"
        yield fault("engine.peak_torque", read, "either peak_torque or torque_curve")
    by_ratio = [key for key in ("gear_ratios", "final_drive_ratio", "tyre_radius") if key in engine]
    if ("speed_per_1000_rpm" in engine) == bool(by_ratio):
        read = "both given" if by_ratio else "missing"
        accepted = "either speed_per_1000_rpm or gear_ratios, final_drive_ratio and tyre_radius"
        yield fault("engine.speed_per_1000_rpm", read, accepted)
    elif 0 < len(by_ratio) < 3:
        accepted = "gear_ratios, final_drive_ratio and tyre_radius together"
        yield fault("engine.gear_ratios", f"only {', '.join(by_ratio)} given", accepted)


def _load_either_or(fault: Fault, load: Tables) -> Iterator[Problem]:
    if load.get("kind") in ("water_tank", "insulated_box") and "volume" not in load:
        yield fault("load.volume", "missing", f'how much the {load["kind"]} holds, such as "30 L" or "8 gal"')
    if load.get("second_node") in ("element", "walls"):
        walls = ("second_loss",) if load["second_node"] == "walls" else ()
        for key in ("second_heat_capacity", "second_coupling", *walls):
            if key not in load:
                example = '"1.2 kJ/K"' if key.endswith("capacity") else '"8 W/K"'
                accepted = f'with second_node = "{load["second_node"]}", a value such as {example}'
                yield fault(f"load.{key}", "missing", accepted)
    of_contents = [key for key in ("contents", "contents_specific_heat", "contents_water_share") if key in load]
    accepted = "one of contents (a name), contents_specific_heat and contents_water_share, with contents_mass"
    if len(of_contents) > 1:
        yield fault(f"load.{of_contents[1]}", f"given together with {of_contents[0]}", accepted)
    if of_contents and "contents_mass" not in load:
        yield fault("load.contents_mass", "missing", accepted)
    if "contents_mass" in load and not of_contents:
        yield fault("load.contents", "missing", accepted)


def _trip_problems(fault: Fault, trip: Tables) -> Iterator[Problem]:
    if ("road_speed" in trip) == ("schedule" in trip):
        read = "both given" if "schedule" in trip else "missing"
        accepted = 'either road_speed, such as "100 km/h", or schedule, a CSV of speed over time'
        yield fault("trip.road_speed", read, accepted)
    if "schedule" not in trip:
        for key in ("profile", "works", "works_speed", "longest_idle"):
            if key in trip:
                yield fault(f"trip.{key}", "given without a schedule", "trip.schedule, a CSV of speed over time")
        return
    for key in ("acceleration", "distance"):
        if key in trip:
            yield fault(f"trip.{key}", "given together with a schedule", "the schedule alone: it holds this")
    by_speed = trip.get("works") in ("below_speed", "above_speed")
    if by_speed != ("works_speed" in trip):
        accepted = 'a speed such as "50 km/h" together with works = "below_speed" or "above_speed"'
        yield fault("trip.works_speed", "missing" if by_speed else "given", accepted)


# Contradictions, in the checked tables


def cross_checks(scenario: Scenario) -> list[Problem]:
    """Return faults between keys that are right each by itself."""
    fault = partial(Problem, scenario.name)
    return [
        *_pole_problems(fault, scenario),
        *_pitch_problems(fault, scenario),
        *_pair_problems(fault, scenario),
        *_gear_problems(fault, scenario),
        *_garage_checks(fault, scenario),
    ]


def _pole_problems(fault: Fault, scenario: Scenario) -> Iterator[Problem]:
    """Return that pole pairs are counted in whole ones: the value, or both ends of a range without one."""
    poles = None if scenario.generator is None else scenario.generator.pole_pairs
    if poles is None:
        return
    stated = (poles.low, poles.high) if poles.shape == "uniform" else (poles.value,)
    for count in stated:
        if abs(count - round(count)) > 1e-9:
            yield fault("generator.pole_pairs", f"{count:g}", "a whole number, such as 7")


def _pitch_problems(fault: Fault, scenario: Scenario) -> Iterator[Problem]:
    curves, pitch = scenario.curves, scenario.rotor.pitch
    if curves is None or len(curves.pitch_deg) < 2:
        return
    ends = sorted(float(v) for v in scenario.pitch_convention.setting_deg(curves.pitch_deg[[0, -1]]))
    accepted = f"a pitch within the curves, {ends[0]:g} to {ends[1]:g} deg"
    if pitch is None:
        yield fault("rotor.pitch", "missing", accepted)
    elif not ends[0] - 1e-9 <= pitch.value <= ends[1] + 1e-9:
        yield fault("rotor.pitch", f"{pitch.value:g} deg", accepted)


def _pair_problems(fault: Fault, scenario: Scenario) -> list[Problem]:
    """Return faults of the correlated pairs: keys that do not exist or hold no quantity, a pair given twice, pairs
    that contradict others.
    """
    key, quantities, pairs = "uncertainty.correlated", quantity_keys(), scenario.uncertainty.correlated
    named = list(dict.fromkeys(end for pair in pairs for end in (pair.first, pair.second)))
    problems = []
    for end in named:
        if end not in quantities:
            near = nearest(end, quantities)
            accepted = f"a known key, perhaps {near} (nearest)" if near else "a key such as rotor.power_factor"
            problems.append(fault(key, f"unknown key {shown(end)}", accepted))
    matrix = np.eye(len(named))
    for pair in pairs:
        i, j = named.index(pair.first), named.index(pair.second)
        matrix[i, j] = matrix[j, i] = pair.coefficient.value
        if i == j:
            problems.append(fault(key, f"{pair.first} twice", "two inputs"))
    for (first, second), count in collections.Counter(tuple(sorted((p.first, p.second))) for p in pairs).items():
        if count > 1:
            problems.append(fault(key, f"the pair {first}, {second} given {count} times", "each pair once"))
    if not problems and pairs and np.linalg.eigvalsh(matrix)[0] < 1e-6:
        accepted = "a positive definite set of correlations"
        problems.append(fault(key, "coefficients that contradict each other", accepted))
    return problems


def _gear_problems(fault: Fault, scenario: Scenario) -> Iterator[Problem]:
    engine = scenario.engine
    if engine is None:
        return
    for key, entries, falling in (
        ("speed_per_1000_rpm", engine.speed_per_1000_rpm, False),
        ("gear_ratios", engine.gear_ratios, True),
    ):
        values = [entry.value for entry in entries or ()]
        if values != sorted(values, reverse=falling) or len(set(values)) != len(values):
            yield fault(f"engine.{key}", "not in order", "lowest gear first, each gear once")


def blade_contradictions(scenario: Scenario, blade: str, computed: Mapping[str, float]) -> list[Problem]:
    """Return faults of keys that say otherwise than the stations of the blade's file (`computed`, SI; deg) do."""
    problems = []
    for key, value in computed.items():
        table_name, name = key.split(".")
        table = scenario.table(table_name)
        if table is None or name not in table.model_fields_set:
            continue
        given, unit = getattr(table, name).value, spec_of(key).unit
        allowed = max(_CONTRADICTION * abs(value), _READING_OF_ANGLE_DEG if unit == "deg" else 0.0)
        if abs(given - value) > allowed:
            shown_unit = "" if unit == "dimensionless" else f" {unit}"
            read = f"{given:.3g}{shown_unit}, but {blade} gives {value:.3g}{shown_unit}"
            problems.append(
                Problem(scenario.name, key, read, "no value next to a blade, or one within 5 % of the file's")
            )
    return problems


# What the parts must stand


def _garage_checks(fault: Fault, scenario: Scenario) -> Iterator[Problem]:
    """Return faults between the keys that the loads need."""
    if scenario.blade_loads is not None:
        yield from _blade_mass_problems(fault, scenario.blade_loads, counted=scenario.blade is not None)
        yield from _blade_radius_problems(fault, scenario.blade_loads, scenario.rotor.diameter.value / 2)
    if scenario.mount is not None:
        yield from _mount_problems(fault, scenario.mount)
    if scenario.linkage is not None:
        yield from _linkage_problems(fault, scenario.linkage)
    if scenario.bearing is not None:
        yield from _bearing_problems(fault, scenario.bearing)


def _blade_mass_problems(fault: Fault, blades: BladeLoads, *, counted: bool) -> Iterator[Problem]:
    """Return faults of the number and masses of the blades; `counted` where [blade] tells their number already."""
    count = blades.number_of_blades
    if count is not None and count.value != round(count.value):
        yield fault("blade_loads.number_of_blades", f"{count.value:g}", "a whole number")
    if count is None and not counted:
        yield fault("blade_loads.number_of_blades", "missing", "the number of blades, such as 3")
    for one, other in (("mass", "centre_of_mass"), ("piece_masses", "piece_radii")):
        if (getattr(blades, one) is None) != (getattr(blades, other) is None):
            yield fault(f"blade_loads.{one}", f"without {other}, or the other way", "both")
    if blades.mass is not None and blades.piece_masses is not None:
        yield fault("blade_loads.mass", "given together with piece_masses", "either of them")
    masses, radii = blades.piece_masses or (), blades.piece_radii or ()
    if masses and radii and len(masses) != len(radii):
        yield fault("blade_loads.piece_radii", f"{len(radii)} radii for {len(masses)} masses", "one each")
    if masses and not sum(entry.value for entry in masses) > 0:
        yield fault("blade_loads.piece_masses", "all zero", "a blade that weighs something")


def _blade_radius_problems(fault: Fault, blades: BladeLoads, radius_m: float) -> Iterator[Problem]:
    for key, values in (
        ("centre_of_mass", (blades.centre_of_mass,)),
        ("piece_radii", blades.piece_radii or ()),
        ("root_radius", (blades.root_radius,)),
    ):
        for entry in values:
            if entry is not None and entry.value > radius_m:
                yield fault(f"blade_loads.{key}", f"{entry.value:g} m", f"at most the rotor radius, {radius_m:g} m")


def _mount_problems(fault: Fault, mount: Mount) -> Iterator[Problem]:
    if mount.bolt_distances is not None and not any(distance.value > 0 for distance in mount.bolt_distances):
        yield fault("mount.bolt_distances", "all zero", "at least one bolt ahead of the rear edge")


def _linkage_problems(fault: Fault, linkage: Linkage) -> Iterator[Problem]:
    low, high = linkage.travel_from.value, linkage.travel_to.value
    if low >= high:
        yield fault("linkage.travel_to", f"{high:g} deg", "above travel_from")
    square = (low + high) / 2 if linkage.square_at is None else linkage.square_at.value
    if max(high - square, square - low) > _DEAD_ON_THE_HORN_DEG:
        accepted = "a right angle within 80 deg of both ends of the travel: beyond that the rod lies dead on the horn"
        yield fault("linkage.square_at", f"{square:g} deg", accepted)


def _bearing_problems(fault: Fault, bearing: Bearing) -> Iterator[Problem]:
    if bearing.kind != "tapered_roller":
        return
    for key, factor in (
        ("axial_factor", bearing.axial_factor),
        ("static_axial_factor", bearing.static_axial_factor),
    ):
        if factor is None:
            yield fault(f"bearing.{key}", "missing", "the factor of a tapered roller bearing's maker's sheet")


def warnings_of(scenario: Scenario) -> list[str]:
    """Return what looks odd but does not stop an answer, a sentence each."""
    warnings = []
    climate = scenario.wind_climate is not None
    if scenario.schedule is not None and climate and "wind_speed" in scenario.air.model_fields_set:
        warnings.append("air.wind_speed is given, so the trip does not use wind_climate")
    diameter = scenario.rotor.diameter.value
    if scenario.measured is not None and "thrust_factor" in scenario.rotor.model_fields_set:
        warnings.append(
            "rotor.thrust_factor is used for structural loads only, with measured_power: give rotor.thrust_coefficient "
            "or its thrust"
        )
    warnings += _pitch_without_effect(scenario)
    width = scenario.vehicle.width
    if width is not None and diameter > width.value:
        warnings.append(f"the rotor ({diameter:g} m) stands out beyond the vehicle ({width.value:g} m wide)")
    elif diameter > WIDEST_IN_MANY_COUNTRIES_M:
        warnings.append(f"the rotor ({diameter:g} m) is wider than 2.55 m, the largest vehicle width in many countries")
    return [*warnings, *_nameplate_warning(scenario)]


def _nameplate_warning(scenario: Scenario) -> list[str]:
    """Return that an element's rated power and voltage belong to another resistance than the stated one.

    Of three elements in star the rated power may be that of each, or of all.
    """
    heater, generator = scenario.heater, scenario.generator
    if heater.rated_power is None or heater.rated_voltage is None or heater.resistance is None:
        return []
    each = heater.rated_voltage.value**2 / heater.rated_power.value
    three = generator is not None and generator.connection == "three_phase"
    stated = heater.resistance.value
    if any(abs(stated / (parts * each) - 1) <= _NAMEPLATE_SHARE for parts in ((1, 3) if three else (1,))):
        return []
    return [
        f"heater.rated_power and heater.rated_voltage belong to an element of {each:.3g} ohm, but heater.resistance is "
        f"{stated:.3g} ohm: measure it cold, or correct the rating"
    ]


def warnings_of_blade(blade: Blade) -> list[str]:
    """Return that a blade is twisted the other way than the air asks for."""
    root, tip = (blade.twist_at(radius / blade.tip_radius_m) for radius in (blade.aerofoil_start_m, blade.tip_radius_m))
    if tip - root < _WRONG_TWIST_DEG:
        return []
    return [
        f"the twist of {blade.name} grows from {root:.3g} deg at the root to {tip:.3g} deg at the tip, counted towards "
        "feather: a blade needs most at its root. Look at its sign and at blade.twist_positive_towards"
    ]


def _pitch_without_effect(scenario: Scenario) -> list[str]:
    """Return that a pitch changes nothing, as the curve file holds for one pitch only."""
    curves, pitch = scenario.curves, scenario.rotor.pitch
    if curves is None or pitch is None or len(curves.pitch_deg) > 1 or pitch.value == curves.pitch_deg[0]:
        return []
    return [
        f"the pitch of {pitch.value:g} deg (rotor.pitch) has no effect: the curve file holds for one pitch only. "
        "Curves of other pitches go in with a column pitch_deg"
    ]
