"""Which engine or road parameter a column of a log holds, and in which unit.

Header names are matched as sets of words, so that "VEHICLE_SPEED ()", "Vehicle speed [mph]", "speed_km_h" and
"Speed, km/h" are one thing. Names are those of SAE J1979 (as python-obd spells them too) and plain English synonyms.
"""

from __future__ import annotations

import difflib
import functools
import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from vehicle.constants import (
    FOOT_M,
    IMPERIAL_GALLON_M3,
    MILE_M,
    MILE_PER_HOUR_M_S,
    POUND_KG,
    US_GALLON_M3,
    ZERO_CELSIUS_K,
)
from vehicle.csv_text import name_and_unit
from vehicle.logs.languages import FILLERS, UNIT_WORDS, WORDS
from vehicle.problems import InputError, Problem, nearest, shown

_RPM = 2 * math.pi / 60


@dataclass(frozen=True)
class LoggedParameter:
    """One quantity of a tidy log: `name` is its column (SI unit in the name), `usual_unit` what an unmarked column
    holds.

    `low` and `high` bound what can be believed, in SI (the range of the SAE J1979 encoding, narrowed where a road
    vehicle cannot reach it). `median_low` and `median_high` bound the median of an unmarked column while the engine
    runs: outside of it the unit must be another one. `hold_s` is how long a value may be carried over rows that lack
    it.
    """

    name: str
    words: str
    kind: str
    usual_unit: str
    low: float
    high: float
    hold_s: float
    synonyms: tuple[str, ...]
    median_low: float = -math.inf
    median_high: float = math.inf


# Factor and offset to SI, by kind; spelled lower case without spaces, degree signs or underscores.
_UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "time": {
        "s": (1, 0),
        "sec": (1, 0),
        "secs": (1, 0),
        "second": (1, 0),
        "seconds": (1, 0),
        "ms": (1e-3, 0),
        "msec": (1e-3, 0),
        "millisecond": (1e-3, 0),
        "milliseconds": (1e-3, 0),
        "us": (1e-6, 0),
        "ns": (1e-9, 0),
        "min": (60, 0),
        "mins": (60, 0),
        "minutes": (60, 0),
        "h": (3600, 0),
        "hr": (3600, 0),
        "hours": (3600, 0),
        "d": (86400, 0),
        "day": (86400, 0),
        "days": (86400, 0),
    },
    "speed": {
        "km/h": (1 / 3.6, 0),
        "kmh": (1 / 3.6, 0),
        "kph": (1 / 3.6, 0),
        "kmph": (1 / 3.6, 0),
        "kilometerperhour": (1 / 3.6, 0),
        "km/hr": (1 / 3.6, 0),
        "mph": (MILE_PER_HOUR_M_S, 0),
        "mi/h": (MILE_PER_HOUR_M_S, 0),
        "mile/h": (MILE_PER_HOUR_M_S, 0),
        "mileperhour": (MILE_PER_HOUR_M_S, 0),
        "m/s": (1, 0),
        "meterpersecond": (1, 0),
        "mps": (1, 0),
        "kn": (1852 / 3600, 0),
        "knot": (1852 / 3600, 0),
        "kt": (1852 / 3600, 0),
        "ft/s": (FOOT_M, 0),
    },
    "rotation": {
        "rpm": (_RPM, 0),
        "1/min": (_RPM, 0),
        "rev/min": (_RPM, 0),
        "r/min": (_RPM, 0),
        "min-1": (_RPM, 0),
        "u/min": (_RPM, 0),
        "revolutionperminute": (_RPM, 0),
        "rev/s": (2 * math.pi, 0),
        "rps": (2 * math.pi, 0),
        "rad/s": (1, 0),
        "hz": (2 * math.pi, 0),
    },
    "fraction": {
        "%": (0.01, 0),
        "percent": (0.01, 0),
        "pct": (0.01, 0),
        "fraction": (1, 0),
        "1": (1, 0),
        "dimensionless": (1, 0),
    },
    "ratio": {"": (1, 0), "ratio": (1, 0), "lambda": (1, 0), "1": (1, 0), "dimensionless": (1, 0), "-": (1, 0)},
    "pressure": {
        "kpa": (1e3, 0),
        "kpaabs": (1e3, 0),
        "kpa(abs)": (1e3, 0),
        "kilopascal": (1e3, 0),
        "pa": (1, 0),
        "hpa": (100, 0),
        "mbar": (100, 0),
        "bar": (1e5, 0),
        "mpa": (1e6, 0),
        "psi": (6894.757, 0),
        "psia": (6894.757, 0),
        "inhg": (3386.389, 0),
        "mmhg": (133.3224, 0),
    },
    "temperature": {
        "c": (1, ZERO_CELSIUS_K),
        "degc": (1, ZERO_CELSIUS_K),
        "celsius": (1, ZERO_CELSIUS_K),
        "degreecelsius": (1, ZERO_CELSIUS_K),
        "f": (5 / 9, ZERO_CELSIUS_K - 160 / 9),
        "degf": (5 / 9, ZERO_CELSIUS_K - 160 / 9),
        "fahrenheit": (5 / 9, ZERO_CELSIUS_K - 160 / 9),
        "k": (1, 0),
        "kelvin": (1, 0),
        "degk": (1, 0),
    },
    "mass flow": {
        "g/s": (1e-3, 0),
        "gps": (1e-3, 0),
        "grampersecond": (1e-3, 0),
        "g/sec": (1e-3, 0),
        "kg/s": (1, 0),
        "kg/h": (1 / 3600, 0),
        "g/min": (1e-3 / 60, 0),
        "lb/min": (POUND_KG / 60, 0),
        "lbs/min": (POUND_KG / 60, 0),
        "lb/h": (POUND_KG / 3600, 0),
        "mg/s": (1e-6, 0),
    },
    "volume flow": {
        "l/h": (1e-3 / 3600, 0),
        "lph": (1e-3 / 3600, 0),
        "l/hr": (1e-3 / 3600, 0),
        "literperhour": (1e-3 / 3600, 0),
        "ml/min": (1e-6 / 60, 0),
        "ml/s": (1e-6, 0),
        "cc/min": (1e-6 / 60, 0),
        "gal/h": (US_GALLON_M3 / 3600, 0),
        "gph": (US_GALLON_M3 / 3600, 0),
        "galus/h": (US_GALLON_M3 / 3600, 0),
        "usgal/h": (US_GALLON_M3 / 3600, 0),
        "impgal/h": (IMPERIAL_GALLON_M3 / 3600, 0),
        "m3/s": (1, 0),
    },
    "distance per volume": {  # fuel economy, in metres for each cubic metre
        "mpg": (MILE_M / US_GALLON_M3, 0),
        "mpgus": (MILE_M / US_GALLON_M3, 0),
        "usmpg": (MILE_M / US_GALLON_M3, 0),
        "mi/gal": (MILE_M / US_GALLON_M3, 0),
        "us": (MILE_M / US_GALLON_M3, 0),
        "uk": (MILE_M / IMPERIAL_GALLON_M3, 0),
        "imp": (MILE_M / IMPERIAL_GALLON_M3, 0),
        "mpguk": (MILE_M / IMPERIAL_GALLON_M3, 0),
        "mpgimp": (MILE_M / IMPERIAL_GALLON_M3, 0),
        "mpgimperial": (MILE_M / IMPERIAL_GALLON_M3, 0),
        "ukmpg": (MILE_M / IMPERIAL_GALLON_M3, 0),
        "impmpg": (MILE_M / IMPERIAL_GALLON_M3, 0),
        "km/l": (1e6, 0),
        "kpl": (1e6, 0),
        "kml": (1e6, 0),
    },
    "volume per distance": {  # fuel consumption, in cubic metres for each metre
        "l/100km": (1e-8, 0),
        "l/100": (1e-8, 0),
        "lper100km": (1e-8, 0),
    },
    "gauge pressure": {
        "psi": (6894.757, 0),
        "psig": (6894.757, 0),
        "bar": (1e5, 0),
        "barg": (1e5, 0),
        "mbar": (100, 0),
        "hpa": (100, 0),
        "kpa": (1e3, 0),
        "kpag": (1e3, 0),
        "kpagauge": (1e3, 0),
        "psigauge": (6894.757, 0),
        "bargauge": (1e5, 0),
        "inhg": (3386.389, 0),
        "mmhg": (133.3224, 0),
        "pa": (1, 0),
    },
    "torque": {
        "nm": (1, 0),
        "n*m": (1, 0),
        "n·m": (1, 0),
        "newtonmeter": (1, 0),
        "lbft": (1.3558179, 0),
        "lb-ft": (1.3558179, 0),
        "ftlb": (1.3558179, 0),
        "ft-lb": (1.3558179, 0),
        "lbf*ft": (1.3558179, 0),
    },
    "voltage": {"v": (1, 0), "volt": (1, 0), "volts": (1, 0), "mv": (1e-3, 0)},
    "length": {
        "m": (1, 0),
        "meter": (1, 0),
        "km": (1e3, 0),
        "ft": (FOOT_M, 0),
        "mi": (MILE_M, 0),
        "mile": (MILE_M, 0),
    },
    "angle": {"deg": (1, 0), "degree": (1, 0), "": (1, 0)},
    "power": {"w": (1, 0), "kw": (1e3, 0), "watt": (1, 0), "watts": (1, 0)},
    "count": {"": (1, 0), "1": (1, 0)},
}

# Units to choose from where a person says what a column holds, the likeliest first.
UNITS_TO_CHOOSE: dict[str, tuple[str, ...]] = {
    "time": ("s", "ms", "min"),
    "speed": ("km/h", "mph", "m/s", "kn"),
    "rotation": ("rpm", "rad/s"),
    "fraction": ("%", "fraction"),
    "ratio": ("",),
    "pressure": ("kPa", "bar", "hPa", "psi", "inHg"),
    "temperature": ("degC", "degF", "K"),
    "mass flow": ("g/s", "kg/h", "lb/min"),
    "distance per volume": ("mpg", "mpg UK", "km/L"),
    "volume per distance": ("L/100km",),
    "gauge pressure": ("psi", "bar", "kPa"),
    "volume flow": ("L/h", "mL/min", "gal/h"),
    "torque": ("N*m", "lb-ft"),
    "voltage": ("V", "mV"),
    "length": ("m", "km", "ft", "mi"),
    "angle": ("deg",),
    "power": ("W", "kW"),
    "count": ("",),
}

FAST_HOLD_S = 3.0
_FAST, _SLOW = FAST_HOLD_S, 120.0
PARAMETERS: tuple[LoggedParameter, ...] = (
    LoggedParameter(
        "speed_m_s",
        "vehicle speed",
        "speed",
        "km/h",
        0,
        84,
        _FAST,
        ("speed", "vehicle speed", "vehicle speed vss", "vss", "road speed", "car speed", "vehicle road speed"),
    ),
    LoggedParameter(
        "engine_speed_rad_s",
        "engine speed",
        "rotation",
        "rpm",
        0,
        12000 * _RPM,
        _FAST,
        ("rpm", "engine rpm", "engine speed", "engine revolutions", "revs", "crankshaft speed", "engine revs"),
    ),
    LoggedParameter(
        "calculated_load",
        "calculated load",
        "fraction",
        "%",
        0,
        1.0001,
        _FAST,
        (
            "engine load",
            "calculated load",
            "calculated engine load",
            "load",
            "engine load calculated load",
            "calculated load engine",
        ),
    ),
    LoggedParameter(
        "absolute_load", "absolute load", "fraction", "%", 0, 4, _FAST, ("absolute load", "absolute engine load")
    ),
    LoggedParameter(
        "air_flow_kg_s",
        "air flow",
        "mass flow",
        "g/s",
        1e-5,
        0.656,
        _FAST,
        (
            "maf",
            "mass air flow",
            "air flow",
            "maf air flow",
            "maf air flow rate",
            "mass air flow rate",
            "air flow rate",
            "maf rate",
            "air flow rate maf",
            "air flow rate from mass air flow",
            "intake air flow",
            "maf flow rate",
            "intake air mass flow",
            "air mass flow",
        ),
        4e-4,
        0.4,
    ),
    LoggedParameter(
        "manifold_pressure_pa",
        "manifold pressure",
        "pressure",
        "kPa",
        5e3,
        4.1e5,
        _FAST,
        (
            "map",
            "intake manifold pressure",
            "manifold pressure",
            "manifold absolute pressure",
            "intake pressure",
            "intake manifold absolute pressure",
            "inlet manifold pressure",
            "inlet pressure",
        ),
        12e3,
        3.5e5,
    ),
    LoggedParameter(
        "intake_temperature_k",
        "intake air temperature",
        "temperature",
        "degC",
        ZERO_CELSIUS_K - 40,
        ZERO_CELSIUS_K + 130,
        _SLOW,
        ("iat", "intake temperature", "intake air temperature", "inlet air temperature", "intake temp"),
        ZERO_CELSIUS_K - 40,
        ZERO_CELSIUS_K + 85,
    ),
    LoggedParameter(
        "coolant_temperature_k",
        "coolant temperature",
        "temperature",
        "degC",
        ZERO_CELSIUS_K - 40,
        ZERO_CELSIUS_K + 150,
        _SLOW,
        (
            "ect",
            "coolant temperature",
            "engine coolant temperature",
            "coolant",
            "water temperature",
            "engine temperature",
            "engine water temperature",
        ),
        ZERO_CELSIUS_K - 40,
        ZERO_CELSIUS_K + 125,
    ),
    LoggedParameter(
        "ambient_temperature_k",
        "ambient temperature",
        "temperature",
        "degC",
        ZERO_CELSIUS_K - 40,
        ZERO_CELSIUS_K + 65,
        _SLOW,
        (
            "ambient air temperature",
            "ambient temperature",
            "outside temperature",
            "outside air temperature",
            "aat",
            "air temperature",
        ),
        ZERO_CELSIUS_K - 40,
        ZERO_CELSIUS_K + 50,
    ),
    LoggedParameter(
        "barometric_pressure_pa",
        "barometric pressure",
        "pressure",
        "kPa",
        5e4,
        1.1e5,
        3600.0,
        (
            "barometric pressure",
            "absolute barometric pressure",
            "barometer",
            "baro",
            "baro pressure",
            "atmospheric pressure",
            "ambient pressure",
        ),
        5e4,
        1.1e5,
    ),
    LoggedParameter(
        "short_term_trim_1",
        "short-term fuel trim, bank 1",
        "fraction",
        "%",
        -1.0,
        1.0,
        _SLOW,
        (
            "short term fuel trim bank 1",
            "short term fuel trim 1",
            "short term fuel trim",
            "short fuel trim 1",
            "short fuel trim bank 1",
        ),
    ),
    LoggedParameter(
        "long_term_trim_1",
        "long-term fuel trim, bank 1",
        "fraction",
        "%",
        -1.0,
        1.0,
        _SLOW,
        (
            "long term fuel trim bank 1",
            "long term fuel trim 1",
            "long term fuel trim",
            "long fuel trim 1",
            "long fuel trim bank 1",
        ),
    ),
    LoggedParameter(
        "short_term_trim_2",
        "short-term fuel trim, bank 2",
        "fraction",
        "%",
        -1.0,
        1.0,
        _SLOW,
        ("short term fuel trim bank 2", "short term fuel trim 2", "short fuel trim 2", "short fuel trim bank 2"),
    ),
    LoggedParameter(
        "long_term_trim_2",
        "long-term fuel trim, bank 2",
        "fraction",
        "%",
        -1.0,
        1.0,
        _SLOW,
        ("long term fuel trim bank 2", "long term fuel trim 2", "long fuel trim 2", "long fuel trim bank 2"),
    ),
    LoggedParameter(
        "commanded_equivalence_ratio",
        "commanded equivalence ratio (lambda)",
        "ratio",
        "",
        0.3,
        2.0,
        30.0,
        (
            "commanded equivalence ratio",
            "equivalence ratio",
            "lambda",
            "commanded lambda",
            "fuel air commanded equivalence ratio",
            "air fuel commanded equivalence ratio",
            "commanded air fuel equivalence ratio",
            "commanded fuel air equivalence ratio",
        ),
    ),
    LoggedParameter(
        "fuel_rate_m3_s",
        "fuel rate",
        "volume flow",
        "L/h",
        0,
        300e-3 / 3600,
        _FAST,
        (
            "fuel rate",
            "engine fuel rate",
            "fuel flow",
            "fuel flow rate",
            "fuel consumption rate",
            "fuel volume flow",
            "fuel flow rate hour",
            "fuel flow per hour",
            "fuel rate per hour",
        ),
    ),
    LoggedParameter(
        "fuel_mass_flow_kg_s",
        "fuel mass flow",
        "mass flow",
        "g/s",
        0,
        0.07,
        _FAST,
        ("fuel mass flow", "fuel mass flow rate", "fuel mass rate", "engine fuel mass rate"),
    ),
    LoggedParameter(
        "economy_m_m3",
        "distance for each volume of fuel",
        "distance per volume",
        "mpg",
        0,
        1.2e9,
        _FAST,
        (
            "mpg",
            "miles per gallon",
            "fuel economy",
            "instant mpg",
            "instantaneous mpg",
            "miles per gallon instant",
            "instant fuel economy",
            "instantaneous fuel economy",
            "kilometers per litre",
            "kilometres per litre instant",
        ),
    ),
    LoggedParameter(
        "consumption_m3_m",
        "fuel for each distance",
        "volume per distance",
        "L/100km",
        0,
        1e-6,
        _FAST,
        (
            "litres per 100 km",
            "liters per 100 km",
            "litres per 100 kilometer instant",
            "litres per 100 km instant",
            "fuel consumption",
            "consumption",
            "instant fuel consumption",
            "instantaneous fuel consumption",
            "instant consumption",
        ),
    ),
    LoggedParameter(
        "boost_pa",
        "boost pressure",
        "gauge pressure",
        "psi",
        -1.05e5,
        3.5e5,
        _FAST,
        (
            "boost",
            "boost pressure",
            "turbo boost",
            "turbo boost pressure",
            "boost gauge",
            "turbo boost vacuum gauge",
            "boost vacuum",
            "charge pressure",
            "gauge manifold pressure",
            "manifold gauge pressure",
            "relative manifold pressure",
        ),
    ),
    LoggedParameter(
        "throttle",
        "throttle position",
        "fraction",
        "%",
        0,
        1.0001,
        _FAST,
        (
            "throttle",
            "throttle position",
            "absolute throttle position",
            "absolute throttle position a",
            "throttle position a",
            "tps",
            "throttle opening",
        ),
    ),
    LoggedParameter(
        "relative_throttle",
        "relative throttle position",
        "fraction",
        "%",
        0,
        1.0001,
        _FAST,
        ("relative throttle position", "relative throttle"),
    ),
    LoggedParameter(
        "pedal",
        "accelerator pedal",
        "fraction",
        "%",
        0,
        1.0001,
        _FAST,
        (
            "pedal d",
            "accelerator pedal position d",
            "accelerator pedal d",
            "accelerator pedal",
            "accelerator pedal position",
            "accelerator position d",
            "relative accelerator position",
            "pedal position",
            "pedal",
            "relative accelerator pedal position",
        ),
    ),
    LoggedParameter(
        "actual_torque",
        "actual engine torque, share of the reference",
        "fraction",
        "%",
        -1.25,
        1.3,
        _FAST,
        (
            "actual torque",
            "actual engine torque",
            "actual engine percent torque",
            "engine percent torque",
            "torque percent",
            "actual percent torque",
            "engine actual torque",
        ),
    ),
    LoggedParameter(
        "friction_torque",
        "engine friction torque, share of the reference",
        "fraction",
        "%",
        -1.25,
        1.3,
        _SLOW,
        (
            "friction torque",
            "nominal friction torque",
            "engine friction percent torque",
            "friction percent torque",
            "nominal friction percent torque",
        ),
    ),
    LoggedParameter(
        "reference_torque_n_m",
        "engine reference torque",
        "torque",
        "N*m",
        10,
        65535,
        1e9,
        ("reference torque", "engine reference torque"),
    ),
    LoggedParameter(
        "run_time_s",
        "run time since engine start",
        "time",
        "s",
        0,
        1e6,
        _FAST,
        (
            "run time",
            "runtime",
            "engine run time",
            "run time since engine start",
            "time since engine start",
            "engine running time",
            "engine time",
            "run time since start",
            "time since engine started",
        ),
    ),
    LoggedParameter(
        "control_module_voltage_v",
        "control module voltage",
        "voltage",
        "V",
        5,
        66,
        _SLOW,
        (
            "control module voltage",
            "module voltage",
            "battery voltage",
            "ecu voltage",
            "voltage",
            "adapter voltage",
            "elm voltage",
        ),
    ),
    LoggedParameter(
        "fuel_level",
        "fuel level",
        "fraction",
        "%",
        0,
        1.0001,
        _SLOW,
        ("fuel level", "fuel tank", "fuel tank level", "fuel level input", "fuel tank level input"),
    ),
    LoggedParameter(
        "brake", "brake", "count", "", 0, 1, _FAST, ("brake", "brake switch", "brake pedal", "brake light")
    ),
    LoggedParameter(
        "grade",
        "road grade",
        "fraction",
        "%",
        -0.4,
        0.4,
        30.0,
        ("grade", "road grade", "slope", "gradient", "road slope", "road gradient"),
    ),
    LoggedParameter(
        "altitude_m",
        "altitude",
        "length",
        "m",
        -430,
        6000,
        30.0,
        ("altitude", "elevation", "gps altitude", "height above sea", "altitude gps"),
    ),
    LoggedParameter("latitude_deg", "latitude", "angle", "deg", -90, 90, 30.0, ("latitude", "gps latitude", "lat")),
    LoggedParameter(
        "longitude_deg",
        "longitude",
        "angle",
        "deg",
        -180,
        180,
        30.0,
        ("longitude", "gps longitude", "lon", "lng", "long"),
    ),
    LoggedParameter(
        "gps_speed_m_s",
        "speed by satellite",
        "speed",
        "km/h",
        0,
        84,
        _FAST,
        ("gps speed", "speed gps", "ground speed", "speed over ground", "gps ground speed", "satellite speed"),
    ),
    LoggedParameter(
        "head_wind_m_s", "head wind", "speed", "m/s", -45, 45, 30.0, ("head wind", "headwind", "head wind speed")
    ),
    LoggedParameter(
        "electrical_power_w",
        "electrical power",
        "power",
        "W",
        -1e6,
        1e6,
        10.0,
        ("electrical power", "watts", "wattmeter", "electric power", "load power"),
    ),
    LoggedParameter("rotor_speed_rad_s", "rotor speed", "rotation", "rpm", 0, 1000, 10.0, ("rotor rpm", "rotor speed")),
    LoggedParameter(
        "load_temperature_k",
        "temperature of the load",
        "temperature",
        "degC",
        ZERO_CELSIUS_K - 40,
        ZERO_CELSIUS_K + 600,
        _SLOW,
        ("load temperature", "oven temperature", "tank temperature", "heater temperature"),
    ),
)
BY_NAME = {parameter.name: parameter for parameter in PARAMETERS}

# Columns that are no numbers of the table but have a place in reading it.
TIME, DATE, PARAMETER, VALUE, UNIT, MARK = "time", "date", "parameter", "value", "unit", "mark"
_ROLES: dict[str, tuple[str, ...]] = {
    TIME: (
        "time",
        "elapsed time",
        "elapsed",
        "seconds",
        "monotonic",
        "monotonic time",
        "monotonic clock",
        "timestamp",
        "time stamp",
        "t",
        "device time",
        "gps time",
        "datetime",
        "date time",
        "clock",
        "wall clock",
        "wall time",
        "wall clock time",
        "local time",
        "utc",
        "utc time",
        "time utc",
        "session time",
        "log time",
        "recorded at",
        "time of day",
        "trip time",
        "system time",
        "time since start",
        "elapsed seconds",
        "epoch",
        "milliseconds",
        "millis",
        "elapsed milliseconds",
        "minutes",
        "hours",
        "unix time",
        "iso time",
        "time iso",
    ),
    DATE: ("date", "day", "calendar date"),
    PARAMETER: (
        "parameter",
        "pid",
        "name",
        "signal",
        "quantity",
        "channel",
        "measurement",
        "command",
        "item",
        "parameter name",
    ),
    VALUE: ("value", "reading", "result", "measured value"),
    UNIT: ("unit", "units"),
    MARK: (
        "mark",
        "marks",
        "marker",
        "event",
        "state",
        "turbine",
        "turbine state",
        "note",
        "notes",
        "comment",
        "state of turbine",
        "flag",
        "flags",
        "gap",
    ),
}
_NOT_NEEDED = (
    "timing advance",
    "ignition timing advance",
    "catalyst temperature bank 1 sensor 1",
    "catalyst temperature bank 1 sensor 2",
    "catalyst temperature bank 2 sensor 1",
    "catalyst temperature bank 2 sensor 2",
    "commanded evaporative purge",
    "evaporative purge",
    "time run with mil on",
    "time since trouble codes cleared",
    "distance traveled with mil on",
    "distance travelled with mil on",
    "distance since codes cleared",
    "distance traveled since codes cleared",
    "distance travelled since codes cleared",
    "warm ups since codes cleared",
    "absolute throttle b",
    "absolute throttle position b",
    "throttle position b",
    "absolute throttle position c",
    "pedal e",
    "pedal f",
    "accelerator pedal position e",
    "accelerator pedal position f",
    "commanded throttle actuator",
    "throttle actuator",
    "fuel pressure",
    "fuel rail pressure",
    "commanded egr",
    "egr error",
    "fuel system status",
    "status",
    "fuel type",
    "ethanol",
    "ethanol percent",
    "oil temperature",
    "engine oil temperature",
    "engine demand torque",
    "demand torque",
    "drivers demand torque",
    "distance",
    "odometer",
    "trip distance",
    "vin",
    "oxygen bank 1 sensor 1 voltage",
    "oxygen bank 1 sensor 2 voltage",
    "bearing",
    "heading",
    "gps accuracy",
    "row",
    "index",
    "number of trouble codes",
    "hybrid battery remaining",
    "gear",
    "current gear",
    "air fuel ratio",
    "fuel injection timing",
    "evaporative system vapor pressure",
    "mil",
    "acceleration",
)

_ABBREVIATIONS = {
    "temp": "temperature",
    "temps": "temperature",
    "tempr": "temperature",
    "pos": "position",
    "eng": "engine",
    "veh": "vehicle",
    "abs": "absolute",
    "manif": "manifold",
    "press": "pressure",
    "calc": "calculated",
    "equiv": "equivalence",
    "eq": "equivalence",
    "baro": "barometric",
    "accel": "accelerator",
    "cmd": "commanded",
    "ref": "reference",
    "volt": "voltage",
    "volts": "voltage",
    "revolutions": "revs",
    "rev": "revs",
    "ctrl": "control",
    "evap": "evaporative",
    "tach": "rpm",
    "airflow": "air flow",
    "stft": "short term fuel trim",
    "shrtft": "short term fuel trim",
    "longft": "long term fuel trim",
    "ltft": "long term fuel trim",
    "spd": "speed",
    "vel": "speed",
    "velocity": "speed",
    "thr": "throttle",
    "temperatur": "temperature",
    "inlet": "intake",
    "accelarator": "accelerator",
    "amb": "ambient",
    "ambiant": "ambient",
    "lvl": "level",
    "dist": "distance",
    "b1": "bank 1",
    "b2": "bank 2",
    "s1": "sensor 1",
    "s2": "sensor 2",
    "bank1": "bank 1",
    "bank2": "bank 2",
    "sensor1": "sensor 1",
    "sensor2": "sensor 2",
    "o2": "oxygen",
    "alt": "altitude",
    "equivalent": "equivalence",
    "coolanttemp": "coolant temperature",
    "altitute": "altitude",
    "ts": "timestamp",
}
_FILLERS = frozenset(
    {
        "obd",
        "obd2",
        "obdii",
        "the",
        "of",
        "a",
        "in",
        "value",
        "sensor",
        "sae",
        "and",
        "since",
        "from",
        "to",
        "current",
        "for",
    }
)


def plain_letters(text: str) -> str:
    """Return a text without accents: "Régime" as Regime, "Außen" as Aussen."""
    return unicodedata.normalize("NFKD", text.replace("ß", "ss")).encode("ascii", "ignore").decode("ascii")


def _tokens(text: str) -> tuple[str, ...]:
    text = re.sub(r"([a-z])([A-Z])", r"\1 \2", text)
    text = plain_letters(text.replace("%", " percent ").replace("λ", " lambda ")).lower()
    if text.strip() == "temps":  # French for time; next to another word it is short for temperatures
        return ("temps",)
    words = " ".join(_ABBREVIATIONS.get(word, word) for word in re.findall(r"[a-z]+\d*|\d+", text))
    # "trim1", "stft1": a number glued to a word of its own
    words = re.sub(r"\b(short term fuel trim|long term fuel trim|trim|bank|sensor|stft|ltft)(\d)\b", r"\1 \2", words)
    return tuple(
        _ABBREVIATIONS.get(word, word)
        for word in " ".join(_ABBREVIATIONS.get(word, word) for word in words.split()).split()
    )


def _key(text: str) -> frozenset[str]:
    words = frozenset(_tokens(text))
    return (words - _FILLERS) or words


@functools.cache
def _small_words() -> frozenset[str]:
    return frozenset(plain_letters(word).lower() for words in FILLERS.values() for word in words)


def _foreign_key(text: str) -> frozenset[str]:
    """Return the words of a header in another language, its small words left out as well."""
    words = _key(text)
    return (words - _small_words()) or words


@functools.cache
def _known() -> dict[frozenset[str], str]:
    """Return word set -> parameter name, role, or "" for a parameter that windtoll recognises and does not need."""
    table: dict[frozenset[str], str] = {}
    for phrase in _NOT_NEEDED:
        table[_key(phrase)] = ""
    for role, phrases in _ROLES.items():
        for phrase in phrases:
            table[_key(phrase)] = role
    for parameter in PARAMETERS:
        own = (parameter.name,) if parameter.kind == "fraction" else ()  # other names end in a unit, found as such
        for phrase in (*parameter.synonyms, parameter.words, *own):
            table[_key(phrase)] = parameter.name
    return table


@functools.cache
def _known_foreign() -> dict[frozenset[str], str]:
    """Return word set -> parameter name or role, for the languages of `vehicle.logs.languages`."""
    return {
        _foreign_key(phrase): name
        for name, languages in WORDS.items()
        for said in languages.values()
        for phrase in said
    }


def _name_of(text: str) -> str | None:
    """Return the parameter or role that a header without its unit names, "" for one not needed, None unknown."""
    name = _known().get(_key(text))
    return name if name is not None else _known_foreign().get(_foreign_key(text))


@functools.cache
def _spelled() -> dict[str, str]:
    """Return sorted words as one text -> name, for headers with a typing error."""
    return {" ".join(sorted(words)): name for words, name in _known().items()}


@dataclass(frozen=True)
class Column:
    """What one column of a log was taken for.

    `parameter` is the tidy name (or "time", "date", "mark"; "" where none), `unit` the unit its numbers were read in,
    `unit_from` where that unit was found ("header", "unit row", "unit column", "standard", "manifest", "option"), `use`
    one of "used", "recognised, not needed", "not understood", "not used", and `note` what else there is to say.
    """

    index: int
    header: str
    parameter: str = ""
    unit: str = ""
    unit_from: str = ""
    use: str = "not understood"
    note: str = ""


# Words of a unit on either side of "per".
_UNIT_PARTS: dict[str, str] = UNIT_WORDS | {
    **dict.fromkeys(("meter", "meters", "metre", "metres"), "m"),
    **dict.fromkeys(("kilometer", "kilometers", "kilometre", "kilometres"), "km"),
    **dict.fromkeys(("mile", "miles"), "mi"),
    **dict.fromkeys(("foot", "feet"), "ft"),
    **dict.fromkeys(("second", "seconds", "sec", "secs"), "s"),
    **dict.fromkeys(("minute", "minutes", "mins", "mn"), "min"),
    **dict.fromkeys(("hour", "hours", "hr", "hrs", "std"), "h"),
    **dict.fromkeys(("liter", "liters", "litre", "litres", "ltr", "lt"), "l"),
    **dict.fromkeys(("gallon", "gallons", "gals"), "gal"),
    **dict.fromkeys(("gram", "grams", "gramme", "grammes"), "g"),
    **dict.fromkeys(("kilogram", "kilograms"), "kg"),
    **dict.fromkeys(("pound", "pounds"), "lb"),
    **dict.fromkeys(("revolution", "revolutions", "revs"), "rev"),
}


def _unit_key(text: str) -> str:
    text = (
        text.strip()
        .lower()
        .replace("â°", "°")
        .replace("°", "deg")
        .replace("º", "deg")
        .replace("µ", "u")
        .replace("²", "2")
    )
    text = text if text in ("%",) else "".join(c if c in "·°%" else plain_letters(c) for c in text)
    text = re.sub(r"\s*(?:_per_|\bper\b|\bpro\b|\bpar\b|\bpor\b)\s*", "/", text)
    text = re.sub(r"\s+", "", text).replace("_", "/")
    if "/" in text:
        text = "/".join(_UNIT_PARTS.get(part, part) for part in text.split("/"))
    text = _UNIT_PARTS.get(text, text) if text in UNIT_WORDS else text
    return {
        "degreecelsius": "degc",
        "degree/celsius": "degc",
        "degree/fahrenheit": "degf",
        "degreefahrenheit": "degf",
        "revolutions/minute": "rpm",
        "revolution/minute": "rpm",
        "newton*meter": "nm",
        "newton/meter": "nm",
        "gram/second": "g/s",
        "second": "s",
        "liter/hour": "l/h",
        "degrees": "deg",
        "kilometer/hour": "kmh",
        "percent": "%",
        "litre/h": "l/h",
        "liter/h": "l/h",
        "kilometer/h": "km/h",
    }.get(text, text)


def unit_factor(kind: str, unit: str) -> tuple[float, float] | None:
    """Return (factor, offset) that take a number in `unit` to SI, or None where it is no unit of that kind."""
    known = _UNITS[kind].get(_unit_key(unit))
    if known is not None:
        return known
    si = {
        "time": "s",
        "speed": "m/s",
        "rotation": "rad/s",
        "pressure": "Pa",
        "gauge pressure": "Pa",
        "temperature": "K",
        "mass flow": "kg/s",
        "volume flow": "m**3/s",
        "torque": "N*m",
        "voltage": "V",
        "length": "m",
        "power": "W",
    }.get(kind)
    if si is None or not unit.strip():
        return None
    from vehicle.units import QuantityError, convert

    try:
        zero = convert(0.0, unit, si) if kind != "temperature" else None
    except QuantityError:
        return None
    if zero is None:
        return None
    return convert(1.0, unit, si) - zero, zero


def _any_unit(text: str) -> bool:
    return any(_unit_key(text) in units for units in _UNITS.values())


@functools.lru_cache(maxsize=4096)
def match_header(header: str, unit_row: str = "") -> Column:
    """Return what a column headed `header` (with `unit_row` in a second row) holds; `index` is left at -1."""
    text = header.strip().strip('"').strip()
    if not text:
        return Column(-1, header, use="not used" if not unit_row else "not understood", note="no name")
    if text.lower().startswith("second_"):
        return Column(-1, header, use="not used", note="a column that both joined logs have: the first's is used")
    bare, unit, source = _split_unit(text)
    if not unit and unit_row.strip():
        unit, source = unit_row.strip().strip("()[]"), "unit row"
    name = _name_of(bare)
    if name is None and bare != text:
        name = _name_of(text)
    note = ""
    if name is None:
        name, suffix = _with_unit_suffix(bare)
        if name is not None and suffix and not unit:
            unit, source = suffix, "header"
    if name is None:
        name, note = _misspelled(bare)
    if name is None:
        return Column(-1, header)
    if name == "":
        return Column(-1, header, use="recognised, not needed", note=note)
    if name in _ROLES:
        if name == TIME and not unit and unit_factor_quick("time", bare):
            unit, source = bare, "header"
        return Column(-1, header, name, unit, source, "used", note)
    return _with_unit(Column(-1, header, name, unit, source, "used", note))


def _split_unit(text: str) -> tuple[str, str, str]:
    """Return name, unit and "header" of "Speed (km/h)", "Speed [km/h]", "Speed, km/h"; the unit "" where there is
    none."""
    name, inside = name_and_unit(text, _any_unit)
    if inside is None:
        return text, "", ""
    if not inside:
        return name, "", ""
    if _any_unit(inside) or not _known().get(_key(text)):
        return name, inside, "header"
    return text, "", ""


def _with_unit_suffix(text: str) -> tuple[str | None, str]:
    """Return (name, unit) of "speed_km_h", "coolant_temp_c", "engine speed rpm"."""
    parts = [part for part in re.split(r"[\s_\-]+", text.strip()) if part]
    for count in (3, 2, 1):
        if len(parts) <= count:
            continue
        tail = "/".join(parts[-count:]) if count > 1 else parts[-1]
        if count == 3 and parts[-2].lower() == "per":
            tail = f"{parts[-3]}/{parts[-1]}"
        name = _name_of(" ".join(parts[:-count]))
        if name and name not in _ROLES and unit_factor_quick(BY_NAME[name].kind, tail):
            return name, tail
        if name == TIME and _unit_key(tail) in _UNITS["time"]:
            return name, tail
        swapped = "".join(parts[-count:])
        if name and name not in _ROLES and unit_factor_quick(BY_NAME[name].kind, swapped):
            return name, swapped
        if name == "":
            return name, ""
    return None, ""


def unit_factor_quick(kind: str, unit: str) -> bool:
    """Return whether `unit` is a common spelling of a unit of that kind (no look-up in the unit registry)."""
    key = _unit_key(unit)
    return bool(key) and key in _UNITS[kind]


def _misspelled(text: str) -> tuple[str | None, str]:
    words = " ".join(sorted(_key(text)))
    if len(words) < 6 or len(words) > 80 or not re.search("[a-z]{3}", words):
        return None, ""
    digits = re.findall(r"\d+", words)
    near = [
        w for w in difflib.get_close_matches(words, _spelled(), n=3, cutoff=0.88) if re.findall(r"\d+", w) == digits
    ]
    names = {_spelled()[w] for w in near}
    if len(names) != 1:
        return None, ""
    name = names.pop()
    return name, f"taken for {BY_NAME[name].words if name in BY_NAME else near[0]!r} although spelled otherwise"


# What the unit parts where the name does not: "fuel consumption" in L/h, L/100 km or mpg.
_OF_THE_SAME_NAME = {
    "fuel_rate_m3_s": ("fuel_mass_flow_kg_s", "consumption_m3_m", "economy_m_m3"),
    "consumption_m3_m": ("fuel_rate_m3_s", "economy_m_m3", "fuel_mass_flow_kg_s"),
    "economy_m_m3": ("consumption_m3_m", "fuel_rate_m3_s"),
}
_GAUGE_UNITS = frozenset({"psig", "barg", "kpag", "kpagauge", "psigauge", "bargauge"})


def _with_unit(column: Column) -> Column:
    parameter = BY_NAME[column.parameter]
    if column.unit:
        for other in _OF_THE_SAME_NAME.get(column.parameter, ()):
            if not unit_factor_quick(parameter.kind, column.unit) and unit_factor_quick(
                BY_NAME[other].kind, column.unit
            ):
                return replace(column, parameter=other)
        if column.parameter == "manifold_pressure_pa" and _unit_key(column.unit) in _GAUGE_UNITS:
            return replace(column, parameter="boost_pa")
        if column.parameter == "actual_torque" and unit_factor_quick("torque", column.unit):
            return replace(
                column, use="not understood", note="torque in newton metres: windtoll reads percent of reference"
            )
        if unit_factor(parameter.kind, column.unit) is None:
            return replace(
                column,
                use="not understood",
                note=f"{shown(column.unit)} is no unit of {parameter.words}; {parameter.usual_unit} would be",
            )
        return column
    if parameter.kind == "gauge pressure":
        return replace(column, use="not understood", note="boost without a unit: name it, such as boost (psi)")
    if parameter.kind == "fraction" and re.search(r"percent|pct|%", column.header.lower()):
        return replace(column, unit="%", unit_from="header")
    return replace(column, unit=parameter.usual_unit, unit_from="standard")


def from_manifest(header: str, text: str, where: str) -> Column:
    """Return the column that a `columns` table (or --column) names: "vehicle speed (mph)"; InputError if it cannot
    be."""
    if text.strip().lower() in ("ignore", "unused", "-"):
        return Column(-1, header, use="not used", note="left out as asked")
    column = match_header(text)
    if column.use != "used":
        words = [word for parameter in PARAMETERS for word in (parameter.words, *parameter.synonyms)]
        near = nearest(text.split("(")[0].strip(), words)
        hint = f'perhaps "{near}"' if near else '"vehicle speed (km/h)", "manifold pressure (kPa)" or "ignore"'
        raise InputError(
            Problem(where, f"columns.{header}", shown(text) + (f" ({column.note})" if column.note else ""), hint)
        )
    source = "manifest" if column.unit_from == "header" else column.unit_from
    return replace(column, header=header, unit_from=source)


def assign(headers: Sequence[str], unit_row: Sequence[str], overrides: Mapping[str, str], where: str) -> list[Column]:
    """Return one `Column` per header; of two columns for one parameter the second is listed as not used.

    `overrides` maps a header, as it stands in the file, to a parameter and unit. Raises InputError for an override
    whose header is not in the file or whose parameter is unknown.
    """
    plain = {header.strip().strip('"').strip().lower(): header for header in headers}
    wanted: dict[str, Column] = {}
    problems: list[Problem] = []
    for header, text in overrides.items():
        key = header.strip().lower()
        chosen = plain.get(key) or next((plain[p] for p in plain if re.sub(r"\s*\(\s*\)$", "", p) == key), None)
        if chosen is None:
            near = nearest(header, [h.strip() for h in headers])
            problems.append(
                Problem(
                    where,
                    f"columns.{header}",
                    "no such column in the log",
                    f"a header of the log{f', perhaps {near}' if near else ''}",
                )
            )
            continue
        try:
            wanted[chosen] = from_manifest(chosen, text, where)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    units = [*unit_row, *[""] * len(headers)]
    columns = [
        replace(wanted[header] if header in wanted else match_header(header, units[index]), index=index)
        for index, header in enumerate(headers)
    ]
    return _once_each(columns, {column.parameter for column in wanted.values()}, set(wanted))


def _once_each(columns: list[Column], forced: set[str], forced_headers: set[str]) -> list[Column]:
    kept: list[Column] = []
    taken: dict[str, Column] = {}
    for column in columns:
        name = column.parameter
        if column.use != "used" or name in (TIME, MARK) or not name:
            kept.append(column)
            continue
        beaten = name in forced and column.header not in forced_headers
        if name in taken or beaten:
            first = taken.get(name)
            by = f"column {first.header.strip()}" if first else "the column named in the manifest"
            kept.append(replace(column, use="not used", note=f"{by} is used for {_words(name)}"))
            continue
        taken[name] = column
        kept.append(column)
    return kept


def _words(name: str) -> str:
    return BY_NAME[name].words if name in BY_NAME else name
