"""Quantities as people write them, to floats in SI and back.

Inside windtoll every number is an SI float (temperatures in kelvin); this module is the edge. It never evaluates what
it reads: a quantity is one number and one unit, nothing else.
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Callable

    import pint

UnitSystem = Literal["metric", "us", "uk"]
UNIT_SYSTEMS: tuple[UnitSystem, ...] = ("metric", "us", "uk")

_NUMBER = re.compile(r"\s*([+\-−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+\-]?\d+)?)(?![\d.,])\s*(.*?)\s*$", re.DOTALL)
_UNIT = re.compile(r"[A-Za-zµμΩ°%][A-Za-zµμΩ°%_0-9*/ ()\-.]*")
_POWER = re.compile(r"\*\*\s*(?!-?[1-4](?![\d.*]))")

# What people write, where the registry would read something else ("Nm" as nanometre-like, "C" as coulomb) or nothing.
_SPELLINGS = {
    "Nm": "N*m",
    "N m": "N*m",
    "kNm": "kN*m",
    "N·m": "N*m",
    "N-m": "N*m",
    "lb-ft": "lbf*ft",
    "lb ft": "lbf*ft",
    "lbf ft": "lbf*ft",
    "lbft": "lbf*ft",
    "ft-lb": "lbf*ft",
    "ft lb": "lbf*ft",
    "lbf-ft": "lbf*ft",
    "ft lbf": "lbf*ft",
    "ft-lbf": "lbf*ft",
    "foot-pound": "lbf*ft",
    "RPM": "rpm",
    "rev/min": "rpm",
    "r/min": "rpm",
    "1/min": "rpm",
    "rev/s": "revolution/s",
    "Ohm": "ohm",
    "Ohms": "ohm",
    "ohms": "ohm",
    "amps": "A",  # the registry would read atto-metres a second
    "Amps": "A",
    "Amp": "A",
    "Ampere": "A",
    "Amperes": "A",
    "Volt": "V",
    "Volts": "V",
    "Watt": "W",
    "Watts": "W",
    "MPH": "mph",
    "mi/h": "mph",
    "km/hr": "km/h",
    "kmh": "km/h",
    "kph": "km/h",
    "KPH": "km/h",
    "kmph": "km/h",
    "knots": "knot",
    "kn": "knot",
    "kt": "knot",
    "L/100km": "L/hundred_km",
    "L/100 km": "L/hundred_km",
    "l/100km": "L/hundred_km",
    "l/100 km": "L/hundred_km",
    "kWh/100km": "kWh/hundred_km",
    "kWh/100 km": "kWh/hundred_km",
    "gal/h": "US_liquid_gallon/h",
    "gph": "US_liquid_gallon/h",
    "US gal/h": "US_liquid_gallon/h",
    "gal": "US_liquid_gallon",
    "US gal": "US_liquid_gallon",
    "imp gal": "imperial_gallon",
    "UK gal": "imperial_gallon",
    "imp gal/h": "imperial_gallon/h",
    "mins": "min",
    "minutes": "min",
    "hr": "h",
    "hrs": "h",
    "hours": "h",
    "Lit": "L",
    "litre": "L",
    "litres": "L",
    "liter": "L",
    "liters": "L",
    "cc": "cm**3",
    "ccm": "cm**3",
    "kcal": "kilocalorie",
    "cubic inch": "inch**3",
    "cu in": "inch**3",
    "cid": "inch**3",
    "sq ft": "ft**2",
    "sqft": "ft**2",
    "sq m": "m**2",
    "m2": "m**2",
    "m3": "m**3",
    "ft2": "ft**2",
    "kg/m3": "kg/m**3",
    "HP": "hp",
    "PS": "metric_horsepower",
    "deg C": "degC",
    "deg F": "degF",
    "degrees": "degree",
    "°": "degree",
    "lbs": "lb",
    "inches": "inch",
    "feet": "foot",
    "W/m2K": "W/m**2/K",
    "W/(m2 K)": "W/m**2/K",
    "W/(m2K)": "W/m**2/K",
    "Ah": "A*h",
    "kW h": "kWh",
    "V/(1000 rpm)": "V/krpm",
    "V/1000rpm": "V/krpm",
    "V/1000 rpm": "V/krpm",
    "mm/s": "mm/s",
}
# Units that are one letter short of another: what they would mean, and what is wanted nearly always.
_MISREAD = dict.fromkeys(("m/h", "m/hr", "m/hour", "M/h", "M/H", "m/H"), "metres an hour: write mph, km/h or m/s")
# Units whose capitals carry no meaning here: "KG", "Kg" and "kg" are one, and nobody builds in megametres. Where
# capitals part two units that a builder may mean (mW and MW, kn and kN, the henry and the hour) they stay as they are.
_IN_ANY_CAPITALS = {
    name.lower(): name
    for name in (
        "kg",
        "lb",
        "oz",
        "km/h",
        "mph",
        "rpm",
        "km",
        "mi",
        "mm",
        "cm",
        "ft",
        "inch",
        "W",
        "kW",
        "kWh",
        "Wh",
        "kJ",
        "V",
        "kPa",
        "hPa",
        "psi",
        "mbar",
        "bar",
        "hp",
        "degC",
        "degF",
        "lbf",
        "min",
        "mL",
        "cm**3",
        "degree",
        "kg/m**3",
    )
} | {"in": "inch"}
_TEMPERATURE_LETTERS = {"C": "degC", "F": "degF", "°C": "degC", "°F": "degF", "K": "kelvin", "degK": "kelvin"}

# How an accepted unit is told to the user: (SI unit, kind) -> examples.
_EXAMPLES = {
    "m/s": '"100 km/h", "65 mph" or "28 m/s"',
    "m": '"1.8 m", "72 in" or "6 ft"',
    "m**2": '"0.15 m^2" or "1.6 ft^2"',
    "m**3": '"30 L" or "8 gal"',
    "kg": '"2600 kg" or "5700 lb"',
    "K": '"15 degC" or "59 degF"',
    "delta_degC": '"5 K", "5 degC" or "9 degF" (a difference)',
    "Pa": '"1013 hPa" or "29.9 inHg"',
    "N": '"200 N" or "45 lbf"',
    "N*m": '"180 N*m" or "130 lbf*ft"',
    "W": '"1.4 kW" or "2 hp"',
    "J": '"2 kWh" or "3 MJ"',
    "W/K": '"2.5 W/K"',
    "J/K": '"126 kJ/K"',
    "J/kg/K": '"3.6 kJ/(kg K)"',
    "rad/s": '"450 rpm" or "47 rad/s"',
    "rad": '"20 deg"',
    "deg": '"6 deg"',
    "ohm": '"12 ohm"',
    "H": '"4 mH"',
    "A": '"10 A"',
    "V": '"0.7 V"',
    "V*s/rad": '"120 V/krpm" or "1.1 V*s/rad"',
    "1/K": '"0.0001 1/K"',
    "dimensionless": '"85 %" or 0.85',
    "s": '"45 min" or "2 h"',
    "kg/m**3": '"1.2 kg/m^3"',
    "N*s/m": '"1.2 N/(m/s)" or "0.1 lbf/mph"',
    "N*s**2/m**2": '"0.9 N/(m/s)^2" or "0.04 lbf/mph^2"',
    "kg*m**2": '"2.5 kg*m^2"',
    "m/s**2": '"0.5 m/s^2"',
    "kg*m": '"900 g*mm"',
    "kg/J": '"230 g/kWh"',
}


@functools.cache
def registry() -> pint.UnitRegistry:
    """Return the one unit registry of this process.

    The definitions are parsed at each start, which takes 0.2 s. The library's own cache would take 0.02 s but keeps
    pickles: a cut one stops every start, and one that another user wrote runs that user's code.
    """
    import pint

    units = pint.UnitRegistry(cache_folder=None)
    units.define("hundred_km = 100 * kilometer")
    return units


class QuantityError(ValueError):
    """A text that is no quantity of the wanted dimension; the message says what was wrong with it."""


def example(unit: str) -> str:
    """Return what a user may write for a quantity held in SI unit `unit`."""
    return _EXAMPLES.get(unit, f"a number and a unit of the kind {unit}")


def examples(unit: str) -> list[str]:
    """Return the texts of `example`, one by one."""
    return re.findall(r'"([^"]+)"', _EXAMPLES.get(unit, ""))


def parse(text: str, unit: str) -> float:
    """Return `text` ("65 mph", "59 degF", "85 %") as a float in `unit`.

    `unit` is the SI unit of the wanted kind; "K" means a temperature, "delta_degC" a temperature difference.
    Raises QuantityError for anything but one finite number followed by one unit of that dimension.
    """
    number, name = split(text)
    if not name:
        if unit in ("dimensionless", "1"):
            return number
        raise QuantityError(f"{text.strip()!r} has no unit")
    return convert(number, name, unit)


def split(text: str) -> tuple[float, str]:
    """Return the number and the unit text of a quantity, neither yet checked against a dimension."""
    if len(text) > 100:
        raise QuantityError("text too long for a quantity")
    match = _NUMBER.match(text)
    if not match:
        if re.match(r"\s*[+-]?(nan|inf)", text, re.IGNORECASE):
            raise QuantityError(f"{text.strip()!r} is not a finite number")
        if re.match(r"\s*[+-]?\d+(\.\d{3})*,\d", text):
            raise QuantityError(f"{text.strip()!r} has a comma: write a decimal point and no thousands separator")
        raise QuantityError(f"{text.strip()!r} does not begin with a number")
    number = float(match.group(1).replace("−", "-"))
    if not math.isfinite(number):
        raise QuantityError(f"{text.strip()!r} is not a finite number")
    return number, match.group(2)


def convert(number: float, name: str, unit: str) -> float:
    """Return `number` of the unit that people call `name` as a float in `unit`; QuantityError where it cannot be."""
    factor, offset = _linear(name, unit)
    value = number * factor + offset
    if not math.isfinite(value):
        raise QuantityError(f"{number:g} {name} is not a finite number")
    if unit == "K" and value < 0:
        raise QuantityError(f"{number:g} {name} is below absolute zero")
    return value


def express(value: float, name: str, unit: str) -> float:
    """Return a `value` in `unit` as a number of the unit that people call `name`: the inverse of `convert`."""
    factor, offset = _linear(name, unit)
    return (value - offset) / factor


@functools.lru_cache(maxsize=512)
def _linear(name: str, unit: str) -> tuple[float, float]:
    """Return (factor, offset) that take a number in the unit called `name` to `unit`."""
    import pint

    units = registry()
    spelled = normal_name(name, temperature=unit in ("K", "delta_degC"))
    if unit == "delta_degC":  # "5 degC" meant as a difference: no 32, no 273
        spelled = {"degC": "delta_degC", "degF": "delta_degF"}.get(spelled, spelled)
    target = {"K": "kelvin", "1": "dimensionless"}.get(unit, unit)
    try:
        # Absolute scales: convert two points instead of a factor.
        zero = units.Quantity(0.0, spelled).to(target).magnitude
        one = units.Quantity(1.0, spelled).to(target).magnitude
    except pint.DimensionalityError:
        hint = {("lb", "N"): " (for a force write lbf)", ("kg", "N"): " (for a force write N or kgf)"}.get(
            (name, unit), ""
        )
        raise QuantityError(f"{name!r} is a unit of another kind{hint}") from None
    except (
        pint.UndefinedUnitError,
        pint.errors.DefinitionSyntaxError,
        pint.errors.OffsetUnitCalculusError,
        ValueError,
        TypeError,
        AttributeError,
        AssertionError,
        KeyError,
        ZeroDivisionError,
        OverflowError,
    ):
        # The registry's parser raises these for text that is no unit ("m//s", "2 m", "__class__").
        raise QuantityError(f"{name!r} is not a unit windtoll knows") from None
    # Hertz counts turns where something turns; the registry knows neither turns nor radians and takes it for 1 rad/s.
    turns = unit == "rad/s" and re.search("hz|hertz", spelled, re.IGNORECASE)
    return (one - zero) * (2 * math.pi if turns else 1), zero


def normal_name(name: str, *, temperature: bool = False) -> str:
    """Return the registry's spelling of a unit as people write it; QuantityError for text that cannot be a unit."""
    text = " ".join(name.strip().split())
    if temperature and text in _TEMPERATURE_LETTERS:
        return _TEMPERATURE_LETTERS[text]
    text = text.replace("²", "^2").replace("³", "^3").replace("·", "*").replace("⋅", "*").replace("^", "**")
    if text in _MISREAD:
        raise QuantityError(f"{text!r} would be {_MISREAD[text]}")
    if text in _SPELLINGS:
        return _SPELLINGS[text]
    if text in ("%", "percent"):
        return "percent"
    text = text.replace("°C", "degC").replace("°F", "degF").replace("Ω", "ohm").replace("μ", "µ")
    if text not in _IN_ANY_CAPITALS.values() and text.lower() in _IN_ANY_CAPITALS and text.lower() != text:
        return _IN_ANY_CAPITALS[text.lower()]
    if (
        len(text) > 40
        or not (_UNIT.fullmatch(text) or text.startswith("1/"))
        or _POWER.search(text)
        or "__" in text
        or "//" in text
    ):
        raise QuantityError(f"{name[:40]!r} is not a unit windtoll knows")
    return text


@dataclass(frozen=True)
class Display:
    """How one kind of number is shown in one unit system."""

    unit: str
    label: str
    digits: int  # significant digits


_METRIC: dict[str, Display] = {
    "speed": Display("km/h", "km/h", 3),
    "rotor_speed": Display("rpm", "rpm", 3),
    "tip_speed": Display("m/s", "m/s", 3),
    "length": Display("m", "m", 3),
    "small_length": Display("mm", "mm", 3),
    "distance": Display("km", "km", 3),
    "area": Display("m**2", "m²", 3),
    "volume": Display("L", "L", 3),
    "mass": Display("kg", "kg", 3),
    "small_mass": Display("g", "g", 3),
    "imbalance": Display("g*mm", "g·mm", 3),
    "vibration": Display("mm/s", "mm/s", 2),
    "stress": Display("MPa", "MPa", 3),
    "temperature": Display("degC", "°C", 3),
    "temperature_difference": Display("delta_degC", "K", 3),
    "force": Display("N", "N", 3),
    "torque": Display("N*m", "N·m", 3),
    "power": Display("W", "W", 3),
    "energy": Display("kWh", "kWh", 3),
    "kinetic_energy": Display("kJ", "kJ", 2),
    "pressure": Display("hPa", "hPa", 4),
    "density": Display("kg/m**3", "kg/m³", 4),
    "fuel_flow": Display("L/h", "L/h", 2),
    "fuel_per_distance": Display("L/hundred_km", "L/100 km", 2),
    "fuel_per_heat": Display("L/kWh", "L per kWh", 2),
    "resistance": Display("ohm", "Ω", 3),
    "current": Display("A", "A", 3),
    "voltage": Display("V", "V", 3),
    "co2_flow": Display("kg/h", "kg/h", 2),
    "angle": Display("degree", "°", 3),
    "time": Display("min", "min", 3),
    "heat_capacity": Display("kJ/K", "kJ/K", 3),
    "heat_loss": Display("W/K", "W/K", 3),
    "share": Display("percent", "%", 2),
}
_US = _METRIC | {
    "speed": Display("mph", "mph", 3),
    "tip_speed": Display("ft/s", "ft/s", 3),
    "length": Display("ft", "ft", 3),
    "small_length": Display("inch", "in", 3),
    "distance": Display("mile", "mi", 3),
    "area": Display("ft**2", "ft²", 3),
    "volume": Display("US_liquid_gallon", "US gal", 3),
    "mass": Display("lb", "lb", 3),
    "small_mass": Display("oz", "oz", 3),
    "imbalance": Display("oz*inch", "oz·in", 3),
    "vibration": Display("inch/s", "in/s", 2),
    "stress": Display("psi", "psi", 3),
    "kinetic_energy": Display("ft*lbf", "ft·lbf", 2),
    "temperature": Display("degF", "°F", 3),
    "temperature_difference": Display("delta_degF", "°F", 3),
    "force": Display("lbf", "lbf", 3),
    "torque": Display("lbf*ft", "lbf·ft", 3),
    "pressure": Display("inHg", "inHg", 4),
    "density": Display("lb/ft**3", "lb/ft³", 3),
    "fuel_flow": Display("US_liquid_gallon/h", "US gal/h", 2),
    "fuel_per_distance": Display("US_liquid_gallon/(mile)", "US gal/mi", 2),
    "fuel_per_heat": Display("US_liquid_gallon/kWh", "US gal per kWh", 2),
    "co2_flow": Display("lb/h", "lb/h", 2),
    "heat_capacity": Display("Btu/delta_degF", "Btu/°F", 3),
    "heat_loss": Display("Btu/h/delta_degF", "Btu/(h·°F)", 3),
}
_UK = _METRIC | {
    "speed": Display("mph", "mph", 3),
    "distance": Display("mile", "mi", 3),
    "fuel_per_distance": Display("L/hundred_km", "L/100 km", 2),
}
_SYSTEMS: dict[UnitSystem, dict[str, Display]] = {"metric": _METRIC, "us": _US, "uk": _UK}

_SI_OF_KIND = {
    "speed": "m/s",
    "rotor_speed": "rad/s",
    "tip_speed": "m/s",
    "length": "m",
    "small_length": "m",
    "distance": "m",
    "area": "m**2",
    "volume": "m**3",
    "mass": "kg",
    "small_mass": "kg",
    "imbalance": "kg*m",
    "vibration": "m/s",
    "stress": "Pa",
    "temperature": "K",
    "temperature_difference": "delta_degC",
    "force": "N",
    "torque": "N*m",
    "power": "W",
    "energy": "J",
    "kinetic_energy": "J",
    "pressure": "Pa",
    "density": "kg/m**3",
    "fuel_flow": "m**3/s",
    "fuel_per_distance": "m**2",
    "fuel_per_heat": "m**3/J",
    "resistance": "ohm",
    "current": "A",
    "voltage": "V",
    "co2_flow": "kg/s",
    "angle": "rad",
    "time": "s",
    "heat_capacity": "J/K",
    "heat_loss": "W/K",
    "share": "dimensionless",
}


def to_user(value: float, kind: str, system: UnitSystem) -> float:
    """Return an SI value of `kind` in the unit that `system` shows it in."""
    display = _SYSTEMS[system][kind]
    factor, offset = _from_si(_SI_OF_KIND[kind], display.unit)
    return value * factor + offset


def label(kind: str, system: UnitSystem) -> str:
    """Return the label of the unit that `system` shows `kind` in."""
    return _SYSTEMS[system][kind].label


@functools.lru_cache(maxsize=256)
def _from_si(si: str, unit: str) -> tuple[float, float]:
    units = registry()
    if si == "K":
        zero = units.Quantity(0.0, "kelvin").to(unit).magnitude
        return units.Quantity(1.0, "kelvin").to(unit).magnitude - zero, zero
    return units.Quantity(1.0, si).to(unit).magnitude, 0.0


def show(value: float, kind: str, system: UnitSystem, *, signed: bool = False, digits: int | None = None) -> str:
    """Return an SI value of `kind` as text with its unit ("1.43 kW", "65 mph", "+0.9 L/h")."""
    display = _SYSTEMS[system][kind]
    number, name = to_user(float(value), kind, system), display.label
    if name == "W" and abs(number) >= 1000:
        number, name = number / 1000, "kW"
    gap = "" if name == "°" else " "
    return f"{figures(number, digits or display.digits, signed=signed)}{gap}{name}"


def show_pair(value: float, limit: float, kind: str, system: UnitSystem) -> tuple[str, str]:
    """Return a value and the limit that it is held against, with as many digits as it takes to see them differ.

    80.04 m/s against 80 m/s would both read "80.0 m/s" in three digits, and a broken limit as a kept one.
    """
    usual = _SYSTEMS[system][kind].digits
    return differing(value, limit, lambda number, more: show(number, kind, system, digits=usual + more))


_MOST_MORE_DIGITS = 6


def differing(value: float, limit: float, shown: Callable[[float, int], str]) -> tuple[str, str]:
    """Return both numbers by `shown(number, more digits)`, with the fewest digits in which unequal ones differ."""
    texts = shown(value, 0), shown(limit, 0)
    for more in range(1, _MOST_MORE_DIGITS + 1):
        if texts[0] != texts[1] or value == limit:
            break
        texts = shown(value, more), shown(limit, more)
    return texts


def figures(number: float, digits: int, *, signed: bool = False) -> str:
    """Return a number with `digits` significant digits, never in exponent notation within 1e-4..1e7."""
    if not math.isfinite(number):
        return "not defined"
    plus = "+" if signed else ""
    if number == 0:
        return "0"
    rounded = f"{number:{plus}.{digits - 1}e}"  # first: 9.996 has the size of 10.0
    size = int(rounded.partition("e")[2])
    if size < -4 or size > 7:
        return rounded.replace("-", "−")
    text = f"{float(rounded):{plus}.{max(0, digits - 1 - size)}f}"
    return text.replace("-", "−")


# Units that a form offers for a quantity held in an SI unit: those of the metric system first, then the others.
_WRITTEN: dict[str, tuple[str, ...]] = {
    "m/s": ("km/h", "mph", "m/s", "knot"),
    "m": ("m", "cm", "mm", "ft", "inch", "km", "mile"),
    "m**2": ("m^2", "ft^2"),
    "m**3": ("L", "m^3", "gal"),
    "m**3/s": ("L/h", "gal/h"),
    "kg": ("kg", "g", "lb"),
    "K": ("degC", "degF"),
    "delta_degC": ("K", "degF"),
    "Pa": ("hPa", "kPa", "bar", "inHg", "psi"),
    "N": ("N", "lbf", "kgf"),
    "N*m": ("N*m", "lbf*ft"),
    "W": ("W", "kW", "hp"),
    "J": ("kWh", "Wh", "MJ", "kJ"),
    "W/K": ("W/K", "Btu/(h*degF)"),
    "J/K": ("kJ/K", "J/K", "Btu/degF"),
    "J/kg/K": ("kJ/(kg*K)", "Btu/(lb*degF)"),
    "rad/s": ("rpm", "rad/s"),
    "rad": ("deg", "rad"),
    "deg": ("deg", "rad"),
    "ohm": ("ohm",),
    "H": ("mH", "H"),
    "A": ("A",),
    "V": ("V",),
    "V*s/rad": ("V/krpm", "V*s/rad"),
    "1/K": ("1/K",),
    "dimensionless": ("", "%"),
    "s": ("min", "h", "s"),
    "kg/m**3": ("kg/m^3", "lb/ft^3"),
    "N*s/m": ("N/(m/s)", "lbf/mph"),
    "N*s**2/m**2": ("N/(m/s)^2", "lbf/mph^2"),
    "kg*m": ("g*mm", "oz*inch"),
    "kg*m**2": ("kg*m^2",),
    "m/s**2": ("m/s^2", "ft/s^2"),
    "J/kg": ("kWh/kg", "Wh/kg", "kWh/lb"),
}
_FIRST_IN_US = (
    "mph",
    "ft",
    "ft^2",
    "gal",
    "gal/h",
    "lb",
    "degF",
    "inHg",
    "lbf",
    "lbf*ft",
    "lb/ft^3",
    "lbf/mph",
    "lbf/mph^2",
    "Btu/(h*degF)",
    "Btu/degF",
    "Btu/(lb*degF)",
    "oz*inch",
    "ft/s^2",
    "kWh/lb",
)
_FIRST_IN_UK = ("mph",)
# Who writes these parts thousands by commas.
OF_US_USAGE = frozenset({"mph", "ft", "lb", "lbf", "gal", "sq ft", "cu in", "cubic inch"})


def written_units(unit: str, system: UnitSystem) -> tuple[str, ...]:
    """Return the units that a form offers for a quantity held in SI `unit`, the system's usual one first."""
    offered = _WRITTEN.get(unit, (unit,))
    usual = {"metric": (), "us": _FIRST_IN_US, "uk": _FIRST_IN_UK}[system]
    return tuple(sorted(offered, key=lambda name: name not in usual))
