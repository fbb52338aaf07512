"""A scenario of one's own from a few choices: what is not known yet gets a typical value with a wide range.

Road load, engine size and top gear of cars and pickups come from certified vehicles of that mass, with their spread.
Every other typical value below is common practice, no source. Each stands in the scenario with its range and a comment
that says where it comes from; the ledger's interval is wide accordingly, and shows what to measure first.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, Protocol

from energy.chain.load import opened
from energy.progress import Progress
from energy.scenario.bundle import GUESS, SCENARIO_NAME, Bundle, with_value
from energy.scenario.keys import spec_of
from vehicle.driving import typical
from vehicle.problems import InputError, Problem
from vehicle.units import QuantityError, parse

if TYPE_CHECKING:
    import tomlkit

    from energy.aero.textbook_blade import Build, TextbookBlade
    from energy.scenario.read import Scenario

_Range = tuple[float, float, float]  # (typical, low, high)
RotorBy = Literal["typical", "stations", "watts", "curves"]

ROTOR_FILES: dict[str, str] = {"stations": "blade.csv", "watts": "measured_power.csv", "curves": "rotor_curves.csv"}
_TYPICAL = "typical"
_ROTOR_KEYS = {_TYPICAL: "blade", "stations": "blade", "watts": "measured_power", "curves": "curves"}
_GUESS = f"{GUESS} (common practice, no source): put your own"


@dataclass(frozen=True)
class VehicleKind:
    """A kind of vehicle: mass as (typical, low, high) in kg, the certified vehicles it is like, width in m.

    A kind that no certified vehicle is like has a drag area (typical, m²) and an engine size (L) of its own.
    """

    words: str
    mass_kg: tuple[float, float, float]
    like: str
    width_m: float
    drag_area_m2: float | None = None
    displacement_l: float | None = None


VEHICLES = {
    "small_car": VehicleKind("small car", (1150, 1000, 1350), "car", 1.7),
    "family_car": VehicleKind("family car or estate", (1550, 1350, 1850), "car", 1.8),
    "tall_car": VehicleKind("tall car with four driven wheels", (2000, 1700, 2400), "truck", 1.9),
    "pickup": VehicleKind("pickup truck", (2300, 1900, 2800), "truck", 1.95),
    "van": VehicleKind("delivery or camper van", (2500, 2000, 3200), "truck", 2.05, 1.40, 2.2),
    "motorhome": VehicleKind("motorhome with a built-on body", (3500, 3000, 4300), "truck", 2.3, 2.40, 2.3),
}


def usual_fuel(vehicle: str) -> str:
    """Return what most vehicles of a kind run on: common practice, no source."""
    return "diesel" if vehicle in ("van", "motorhome") else "petrol"


@dataclass(frozen=True)
class RotorPlace:
    """Where a rotor sits, with the air speed there over that of the free air as (typical, low, high), and why."""

    words: str
    local_speed_factor: tuple[float, float, float]
    why: str = ""


PLACES = {
    "above_roof": RotorPlace("above the roof, clear of it", (1.05, 0.95, 1.15)),
    "on_roof": RotorPlace("on the roof rack, close to the roof", (0.95, 0.80, 1.10)),
    "ahead": RotorPlace("ahead of the front", (0.90, 0.70, 1.00)),
    "beside": RotorPlace("next to the vehicle or on a trailer, in free air", (1.0, 0.85, 1.10)),
    "behind": RotorPlace(
        "behind the vehicle",
        (0.50, 0.05, 0.85),
        "the air behind a blunt back circulates, next to still for one to two body heights; the wake after that dies "
        "away only as distance^(-2/3) (Howell, SAE 2011-01-0178); clean air is 0.5 m above the roof or out from the "
        "side (common practice, no source)",
    ),
}


@dataclass(frozen=True)
class LoadKind:
    """What is heated: how a choice and a sentence call it, a usual volume where it has one, and how hot it
    should get.
    """

    words: str
    what: str
    volume: str
    target: str


LOADS = {
    "water_tank": LoadKind("a water tank", "the tank", "30 L", "60 degC"),
    "insulated_box": LoadKind("an insulated box", "the box", "100 L", "45 degC"),
    "small_electric_oven": LoadKind("a small electric oven", "the oven", "", "180 degC"),
    "domestic_oven": LoadKind("a household oven", "the oven", "", "200 degC"),
}

_BY_MASS = (
    f"{GUESS} (certified vehicles of this mass, US EPA lists 2014-2019, nine in ten; older ones may lie outside): put "
    "your own"
)
_NONE_CERTIFIED = f"{GUESS} (no certified vehicle is of this kind: common practice, no source): put your own"
# Factors about the typical value where no certified vehicle is of the kind: coefficient A, drag area, engine size.
_WIDE_A, _WIDE_DRAG, _WIDE_ENGINE = (0.7, 1.5), (0.75, 1.5), (0.8, 1.8)
# Greatest torque over displacement in N·m/L (common practice, no source).
_TORQUE_N_M_PER_L = {"diesel": (150.0, 120.0, 190.0)}
_TORQUE_OTHERS_N_M_PER_L = (100.0, 85.0, 160.0)
_NUMBER_OF_GEARS = 6
_COASTDOWN_AIR_KG_M3 = 1.2  # the default of vehicle.coastdown_air_density
_GENERATOR = {"voltage_constant": ("60 V/krpm", 0.2), "winding_resistance": ("1 ohm", 0.5)}

_DESIGN_TIP_SPEED_M_S = 70.0  # below the 80 m/s that are the default limit
_DESIGN_TIP_SPEED_RATIOS = (2.0, 5.0)
_CAMBER = 0.06
_GUST = 1.4  # of the air speed (common practice, no source)


@dataclass(frozen=True)
class Beginning:
    """What is known at the beginning. Quantities are written as in a scenario ("90 km/h"); empty: typical.

    `wind_speed` comes from ahead (empty: still air). `engine_speed` is that of top gear at `road_speed`. `rotor_csv` is
    the content of the file that `rotor_by` needs: stations of the blade, measured watts over air speed, or curves.
    `element` is the element's resistance ("12 ohm"). What is empty of pitch, drive ratio and element is looked for: the
    setting of least drag for a good part of the most heat.
    """

    title: str = ""
    vehicle: str = "van"
    fuel: str = ""
    mass: str = ""
    displacement: str = ""
    engine_speed: str = ""
    road_speed: str = "90 km/h"
    wind_speed: str = ""
    place: str = "above_roof"
    diameter: str = "1.5 m"
    number_of_blades: int = 3
    rotor_by: RotorBy = "typical"
    rotor_csv: bytes = b""
    pitch: str = ""
    connection: str = "rectifier"
    voltage_constant: str = ""
    winding_resistance: str = ""
    ratio: str = ""
    element: str = ""
    load: str = "water_tank"
    volume: str = ""


class FittingSetting(Protocol):
    """A setting whose pitch (degrees, as the dial reads), drive ratio and element resistance fit each other."""

    @property
    def pitch_deg(self) -> float:
        """Blade pitch in degrees, as the dial reads."""
        ...

    @property
    def ratio(self) -> float:
        """Generator turns per rotor turn."""
        ...

    @property
    def resistance_ohm(self) -> float:
        """Resistance of the element in ohm."""
        ...


Search = Callable[["Scenario", tuple[str, ...], Progress | None], FittingSetting]
"""Finds a setting for a scenario, some of whose keys are held; `thriftiest` of energy/chain/matching.py is one."""


def begin(known: Beginning, search: Search, progress: Progress | None = None) -> Bundle:
    """Return the scenario that these choices make, checked.

    `search` looks for the settings that are not known; `progress` is told the share done of that. Raises InputError
    for what cannot be used, in the words of the scenario's own keys.
    """
    import tomlkit

    _check(known)
    known = replace(known, fuel=known.fuel or usual_fuel(known.vehicle))
    _free_air_m_s(known)
    document = tomlkit.document()
    document.add(
        tomlkit.comment("windtoll scenario, begun from a few choices. What is marked as a guess: put your own.")
    )
    document["title"] = known.title.strip() or f"My {VEHICLES[known.vehicle].words}"
    files: dict[str, bytes] = {}
    trip = _table(document, "trip")
    trip["road_speed"] = known.road_speed
    if known.wind_speed:
        _table(document, "air")["wind_speed"] = known.wind_speed
    _rotor(document, known, files)
    if known.rotor_by != "watts":
        _generator(document, known)
    _load(document, known)
    _vehicle(document, known)
    bundle = Bundle(tomlkit.dumps(document), tuple(sorted(files.items())))
    scenario = opened(bundle)  # nothing faulty is handed on
    if known.rotor_by == "watts":
        return bundle
    given = {"rotor.pitch": known.pitch, "drive.ratio": known.ratio, "heater.resistance": known.element}
    if all(given.values()):
        return bundle
    setting = search(scenario, tuple(key for key, text in given.items() if text), progress)
    return _with_settings(bundle, setting, [key for key, text in given.items() if not text])


def _check(known: Beginning) -> None:
    problems = []
    for key, value, names in (
        ("vehicle", known.vehicle, VEHICLES),
        ("place", known.place, PLACES),
        ("load", known.load, LOADS),
    ):
        if value not in names:
            problems.append(Problem("beginning", key, value, ", ".join(names)))
    if known.rotor_by != _TYPICAL and not known.rotor_csv:
        problems.append(Problem(ROTOR_FILES[known.rotor_by], "", "nothing given", "the rows of its table"))
    if problems:
        raise InputError(problems)


def _table(document: tomlkit.TOMLDocument, name: str) -> Any:
    import tomlkit

    document[name] = tomlkit.table()
    return document[name]


def _guess(table: Any, key: str, values: tuple[float, float, float], unit: str = "", why: str = _GUESS) -> None:
    """Write a typical value with its range, and that it is a guess."""
    import tomlkit

    entry = tomlkit.inline_table()
    for name, value in zip(("value", "low", "high"), values, strict=True):
        entry[name] = f"{value:.4g} {unit}" if unit else float(f"{value:.4g}")
    table[key] = entry
    table[key].comment(why)


def _rotor(document: tomlkit.TOMLDocument, known: Beginning, files: dict[str, bytes]) -> None:
    rotor = _table(document, "rotor")
    rotor["diameter"] = known.diameter
    place = PLACES[known.place]
    textbook = known.rotor_by == _TYPICAL
    key, name = _ROTOR_KEYS[known.rotor_by], ROTOR_FILES["stations" if textbook else known.rotor_by]
    files[name] = drawn_blade_csv(known) if textbook else known.rotor_csv
    rotor[key] = name
    if textbook:
        rotor[key].comment(f"{GUESS}: a textbook blade, as none is given")
    if known.rotor_by != "watts":
        rotor["pitch"] = known.pitch or "0 deg"
    _guess(
        rotor,
        "local_speed_factor",
        place.local_speed_factor,
        why=f"{place.words}{place.why and f', where {place.why}'}: {_GUESS}",
    )
    if known.place == "behind":
        why = f"a rotor behind raises the pressure on the back: 10 to 20 % of its thrust; {_GUESS}"
        _guess(rotor, "interaction_factor", (0.85, 0.80, 1.0), why=why)
    if key == "blade":
        blade = _table(document, "blade")
        blade["number_of_blades"] = known.number_of_blades
        blade["camber"] = _CAMBER
        blade["camber"].comment(f"a bent plate; {_GUESS}, or its polar")
        if textbook and (build := drawn_blade(known)[1]).material == "plate":
            blade["thickness"] = f"{1e3 * build.thickness_m:.3g} mm"
            blade["thickness"].comment(f"{GUESS}: aluminium sheet that carries it in a gust")


def _design_tip_speed_ratio(known: Beginning) -> float:
    """Return the tip-speed ratio that keeps hand-made blades within their usual tip speed in this air."""
    air_speed = _free_air_m_s(known) * PLACES[known.place].local_speed_factor[0]
    low, high = _DESIGN_TIP_SPEED_RATIOS
    return min(max(_DESIGN_TIP_SPEED_M_S / air_speed, low), high)


def _free_air_m_s(known: Beginning) -> float:
    """Return the air speed that road and wind make. Raises InputError where there is none."""
    speed = _parsed("trip.road_speed", known.road_speed)
    if known.wind_speed:
        speed += _parsed("air.wind_speed", known.wind_speed)
    if not speed > 0:
        read = f"{known.road_speed} in still air: nothing blows at the rotor"
        raise InputError(Problem(SCENARIO_NAME, "trip.road_speed", read, "a road speed or a wind speed above zero"))
    return speed


def _generator(document: tomlkit.TOMLDocument, known: Beginning) -> None:
    drive = _table(document, "drive")
    drive["ratio"] = _number("drive.ratio", known.ratio) if known.ratio else 1.0
    generator = _table(document, "generator")
    generator["connection"] = known.connection
    for key, (usual, doubt) in _GENERATOR.items():
        text = getattr(known, key)
        if text:
            generator[key] = text
            continue
        number, _, unit = usual.partition(" ")
        _guess(generator, key, (float(number), float(number) * (1 - doubt), float(number) * (1 + doubt)), unit)


def _load(document: tomlkit.TOMLDocument, known: Beginning) -> None:
    kind = LOADS[known.load]
    heater = _table(document, "heater")
    heater["what"] = kind.what
    if known.rotor_by != "watts":
        heater["resistance"] = known.element or "12 ohm"
    load = _table(document, "load")
    load["kind"] = known.load
    if kind.volume:
        load["volume"] = known.volume or kind.volume
        if not known.volume:
            load["volume"].comment(f"{GUESS}: put your own")
    load["target_temperature"] = kind.target
    load["target_temperature"].comment(f"{GUESS}: put your own")


def _vehicle(document: tomlkit.TOMLDocument, known: Beginning) -> None:
    kind = VEHICLES[known.vehicle]
    vehicle = _table(document, "vehicle")
    if known.mass:
        vehicle["mass"] = known.mass
    else:
        _guess(vehicle, "mass", kind.mass_kg, "kg")
    mass_kg = _positive("vehicle.mass", known.mass) if known.mass else kind.mass_kg[0]
    (a_n, c_n_s2_m2), why = _road_load(kind, mass_kg)
    _guess(vehicle, "coastdown_a", a_n, "N", why)
    _guess(vehicle, "coastdown_c", c_n_s2_m2, "N*s^2/m^2", why)
    vehicle["width"] = f"{kind.width_m:g} m"
    vehicle["width"].comment(_GUESS)
    if known.fuel == "battery":
        _table(document, "battery")
        return
    engine = _table(document, "engine")
    engine["fuel"] = known.fuel
    size, why = usual_displacement_l(known.vehicle, known.fuel, mass_kg)
    if known.displacement:
        engine["displacement"] = known.displacement
        litres = 1e3 * _positive("engine.displacement", known.displacement)
    else:
        _guess(engine, "displacement", size, "L", why)
        litres = size[0]
    torque, low, high = _TORQUE_N_M_PER_L.get(known.fuel, _TORQUE_OTHERS_N_M_PER_L)
    _guess(engine, "peak_torque", (litres * torque, litres * low, litres * high), "N*m")
    turns = typical.TOP_GEAR_RAD_M[_data_fuel(known.fuel)]
    metres_per_radian = 1 / turns.at(mass_kg)[0]
    if known.engine_speed:
        speed = _positive("trip.road_speed", known.road_speed)
        metres_per_radian = speed / _positive("engine speed", known.engine_speed, "rad/s", "2300 rpm")
    gears = typical.spaced_gears(metres_per_radian, _NUMBER_OF_GEARS) * (1000 * math.pi / 30)
    engine["speed_per_1000_rpm"] = [f"{3.6 * gear:.3g} km/h" for gear in gears]
    low, high = (0.9, 1.5) if kind.drag_area_m2 else (turns.low_factor, turns.high_factor)
    engine["speed_per_1000_rpm"].comment(
        "top gear from the rev counter, the lower gears a guess"
        if known.engine_speed
        else f"{_NONE_CERTIFIED if kind.drag_area_m2 else _BY_MASS}; "
        f"the engine turns {low:g} to {high:g} times as fast in nine of ten"
    )


def _data_fuel(fuel: str) -> str:
    """Return the fuel of the certified vehicles that stand for a fuel."""
    return "diesel" if fuel == "diesel" else "petrol"


def _road_load(kind: VehicleKind, mass_kg: float) -> tuple[tuple[_Range, _Range], str]:
    """Return coast-down A (N) and C (N·s²/m²) of a kind at a mass, each (typical, low, high), and where from."""
    constant = typical.CONSTANT_N[kind.like].at(mass_kg)
    if kind.drag_area_m2 is None:
        return (constant, typical.SQUARE_N_S2_M2[kind.like].at(mass_kg)), _BY_MASS
    square = 0.5 * _COASTDOWN_AIR_KG_M3 * kind.drag_area_m2
    return (_about(constant[0], _WIDE_A), _about(square, _WIDE_DRAG)), _NONE_CERTIFIED


def usual_displacement_l(vehicle: str, fuel: str, mass_kg: float | None = None) -> tuple[_Range, str]:
    """Return the usual engine size of a kind of vehicle in L as (typical, low, high), and where it comes from."""
    kind = VEHICLES[vehicle]
    if kind.displacement_l is not None:
        return _about(kind.displacement_l, _WIDE_ENGINE), _NONE_CERTIFIED
    law = typical.DISPLACEMENT_L[_data_fuel(fuel)]
    return law.at(kind.mass_kg[0] if mass_kg is None else mass_kg), _BY_MASS


def _about(value: float, factors: tuple[float, float]) -> _Range:
    return value, value * factors[0], value * factors[1]


def _with_settings(bundle: Bundle, setting: FittingSetting, keys: list[str]) -> Bundle:
    """Return the bundle with those of its settings that were not known such that they fit each other."""
    fitting = {
        "rotor.pitch": f"{round(setting.pitch_deg, 1) + 0.0:g} deg",  # as a dial can be set
        "drive.ratio": float(f"{setting.ratio:.3g}"),
        "heater.resistance": f"{setting.resistance_ohm:.3g} ohm",
    }
    for key in keys:
        bundle = with_value(bundle, key, fitting[key], comment=f"{GUESS}: found so that pitch, ratio and element fit")
    return bundle


def _positive(key: str, text: str, unit: str = "", example: str = "") -> float:
    """Return a text with its unit as a number above zero in SI. Raises InputError."""
    accepted = f'above zero, such as "{example}"' if example else spec_of(key).accepted()
    value = _parsed(key, text, unit, accepted)
    if not value > 0:
        raise InputError(Problem(SCENARIO_NAME, key, text, accepted))
    return value


def _parsed(key: str, text: str, unit: str = "", accepted: str = "") -> float:
    """Return a text with its unit in SI. Raises InputError."""
    try:
        return parse(text, unit or spec_of(key).unit)
    except QuantityError as error:
        raise InputError(Problem(SCENARIO_NAME, key, str(error), accepted or spec_of(key).accepted())) from None


def _number(key: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(Problem(SCENARIO_NAME, key, f'"{text}" is no number', spec_of(key).accepted())) from None


def drawn_blade(known: Beginning) -> tuple[TextbookBlade, Build]:
    """Return the textbook blade of this size for this road speed, and what carries it. Raises InputError.

    It must carry a gust of 1.4 times the air speed at the thrust of the optimum, 8/9 of the dynamic pressure.
    """
    from energy.aero.textbook_blade import build_of, textbook_blade

    radius = _positive("rotor.diameter", known.diameter) / 2
    ratio = _design_tip_speed_ratio(known)
    air_speed = _free_air_m_s(known) * PLACES[known.place].local_speed_factor[0]
    thrust = 8 / 9 * 0.5 * _COASTDOWN_AIR_KG_M3 * (_GUST * air_speed) ** 2 * math.pi * radius**2
    blade = textbook_blade(radius, known.number_of_blades, ratio)
    return blade, build_of(blade, thrust, ratio * air_speed / radius)


def drawn_blade_csv(known: Beginning) -> bytes:
    """Return `drawn_blade` as a blade file. Raises InputError."""
    return blade_csv(drawn_blade(known)[0])


def resistance_of_rating(power_w: float, voltage_v: float) -> str:
    """Return the resistance of an element by its rating (Ohm's law: voltage squared over power), as a
    scenario has it.
    """
    return f"{voltage_v**2 / power_w:.4g} ohm"


def blade_csv(blade: TextbookBlade) -> bytes:
    """Return the stations of a textbook blade as a blade file: radius and chord in m, angle in deg towards feather."""
    lines = [
        f"# Only {GUESS}: a textbook blade for a tip-speed ratio of {blade.tip_speed_ratio:.3g}, not yours. "
        "Put your own stations.",
        "radius_m,chord_m,twist_deg",
        *(f"{r:.4f},{c:.4f},{t:.2f}" for r, c, t in zip(blade.radius_m, blade.chord_m, blade.twist_deg, strict=True)),
    ]
    return ("\n".join(lines) + "\n").encode()
