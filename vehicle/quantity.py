"""Values of a scenario: a number in SI with its range, how it was told, and the rules it must keep."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, TypedDict, Unpack

from pydantic import Field

from vehicle import units
from vehicle.constants import ZERO_CELSIUS_K
from vehicle.problems import shown

Shape = Literal["exact", "normal", "uniform", "triangular"]
# "± x" is read as: 19 times out of 20 within x (JCGM 100:2008, 6.2: expanded uncertainty, coverage factor 1.96).
COVERAGE_FACTOR = 1.959963984540054


@dataclass(frozen=True)
class Estimate:
    """An estimate with the ends of its interval at `level` (0.95: nineteen of twenty such intervals hold the truth).

    `low` and `high` are None where there is not enough data to give them.
    """

    estimate: float
    low: float | None
    high: float | None
    level: float

    def times(self, factor: float) -> Estimate:
        """Return the estimate in another unit (`factor` above zero)."""
        return self.mapped(lambda value: value * factor)

    def moved(self, by: float) -> Estimate:
        """Return the estimate with its ends, moved."""
        return self.mapped(lambda value: value + by)

    def mapped(self, rising: Callable[[float], float]) -> Estimate:
        """Return the estimate and its ends after a rising function."""
        low = None if self.low is None else rising(self.low)
        high = None if self.high is None else rising(self.high)
        return replace(self, estimate=rising(self.estimate), low=low, high=high)

    @property
    def ends(self) -> tuple[float, float]:
        """Lower and upper end. Raises ValueError where they are not known."""
        if self.low is None or self.high is None:
            raise ValueError("an estimate without an interval")
        return self.low, self.high

    def as_dict(self) -> dict[str, float | None]:
        """Return the estimate as data, for `--json`."""
        return {"estimate": self.estimate, "low": self.low, "high": self.high, "level": self.level}


@dataclass(frozen=True)
class Uncertain:
    """A value in SI and what is known of it: exact, normal (±, 95 %), uniform or triangular between low and high."""

    value: float
    low: float
    high: float
    shape: Shape = "exact"

    @property
    def standard_deviation(self) -> float:
        """Standard deviation in SI: of a normal ± (95 %), a uniform or a triangular distribution."""
        if self.shape == "exact":
            return 0.0
        if self.shape == "normal":
            return (self.high - self.low) / (2 * COVERAGE_FACTOR)
        if self.shape == "uniform":
            return (self.high - self.low) / math.sqrt(12)
        a, b, c = self.low, self.high, self.value
        return math.sqrt(max(0.0, a * a + b * b + c * c - a * b - a * c - b * c) / 18)


def exact(value: float) -> Uncertain:
    """Return a value known exactly."""
    return Uncertain(value, value, value)


@dataclass(frozen=True)
class Way:
    """How a builder measures a quantity: with what, and to ± what (95 % interval; SI, or a share where `relative`).

    `of` says what a number without unit is a share of ("of the free air speed"): it is then read in percent.
    Common practice, no source.
    """

    plus_minus: float
    how: str
    relative: bool = False
    of: str = ""


@dataclass(frozen=True)
class Spec:
    """The rules of one key: its unit, limits (in that unit), meaning, and where its default comes from.

    `called` is its name in a sentence, where that is not its key; `measured` is how a builder would measure it.
    `plausible` are the ends of what road vehicles with a home-made turbine have (common practice, no source): a value
    outside is a slip of the pen, unless the file says that it is meant. `us` is the unit that it has in US units where
    its kind has another, `own` the one that it has in the others, or in all. `reading` is what an instrument tells:
    near a limit its ± reaches past it (0 W ± 10 W), and only what was read must keep to it.
    """

    unit: str
    meaning: str
    at_least: float | None = None
    above: float | None = None
    at_most: float | None = None
    source: str = ""
    called: str = ""
    measured: Way | None = None
    default: str | float | None = None
    such_as: str = ""
    plausible: tuple[str | float, str | float] | None = None
    us: str = ""
    own: str = ""
    reading: bool = False

    def written(self, system: units.UnitSystem) -> tuple[str, ...]:
        """Return the units that a form offers for it, the system's usual one first: small parts in mm or inches."""
        small = self.unit == "m" and any(str(text).endswith(" mm") for text in (self.default, *(self.plausible or ())))
        if system == "us":
            first = self.us or self.own or ("inch" if small else "")
        else:
            first = self.own or ("mile" if system == "uk" and self.us == "mile" else "mm" if small else "")
        offered = units.written_units(self.unit, system)
        return tuple(dict.fromkeys((first, *offered))) if first else offered

    def shown(self, value: float, system: units.UnitSystem = "metric") -> str:
        """Return an SI value of this key in a unit that people read."""
        if system == "metric" and self.unit == "m/s" and str((self.plausible or ("",))[-1]).endswith(" km/h"):
            return f"{_plain(units.express(value, 'km/h', self.unit))} km/h"
        if self.own or self.written(system)[0] != self.written("metric")[0]:
            return shown_value(value, self.unit, system, self.written(system)[0])
        return shown_value(value, self.unit, system)

    def example(self, system: units.UnitSystem = "metric") -> str:
        """Return what a user may write for this key, each alternative within its limits: '"95 %" or 0.95'.

        Where the system has another unit for it than the metric one, the examples stand in that.
        """
        usual = self.written(system)[0]
        if usual == self.written("metric")[0]:
            return self._example()
        written = re.findall(r'"([^"]+)"', self.such_as) if self.such_as else units.examples(self.unit)
        kept = [text for text in written if units.split(text)[1] in self._alike(usual)]
        fitting = [text for text in kept if self._fits(units.parse(text, self.unit))]
        if fitting:
            return " or ".join(f'"{text}"' for text in fitting)
        first = re.search(r'"([^"]+)"', self._example())
        if first is None:
            return self._example()
        number = units.figures(units.express(units.parse(first[1], self.unit), usual, self.unit), 2)
        return f'"{number} {usual}"'

    @staticmethod
    def _alike(usual: str) -> tuple[str, ...]:
        return {"ft": ("ft", "in"), "inch": ("in",), "lb": ("lb", "oz"), "mile": ("mile", "mi")}.get(usual, (usual,))

    def _example(self) -> str:
        if self.such_as:
            return self.such_as
        if self.unit == "dimensionless":
            return self._plain_example()
        fitting = [text for text in units.examples(self.unit) if self._fits(units.parse(text, self.unit))]
        if fitting:
            return " or ".join(f'"{text}"' for text in fitting)
        if self.default is not None:
            return f'"{self.default}"'
        return self._usual_example() or units.example(self.unit)

    def _usual_example(self) -> str:
        """Return a round value from the middle of the plausible range, in a unit that its ends are written in."""
        ends = self.plausible_ends()
        if ends is None or self.plausible is None:
            return ""
        low, high = ends
        middle = math.sqrt(low * high) if low > 0 and self.unit != "K" else (low + high) / 2
        written = []
        for end in self.plausible:
            name = units.split(str(end))[1]
            number = middle - ZERO_CELSIUS_K if self.unit == "K" else units.express(middle, name, self.unit)
            written.append(f'"{units.figures(number, 1)} {name}"')
            if number < 1000:
                break
        return written[-1]

    def _plain_example(self) -> str:
        """Return an example of a number without a unit: a share as per cent too."""
        number = 0.85 if self.default is None else units.parse(str(self.default), self.unit)
        is_share = self.at_most is not None and self.at_most <= 1 and 0 < number <= 1
        number = number if self._fits(number) else float(f"{0.8 * (self.at_most or 1.0):.2g}")
        return f'"{100 * number:g} %" or {number:g}' if is_share else f"{number:g}"

    def _fits(self, value: float) -> bool:
        above = self.above is None or value > self.above
        least = self.at_least is None or value >= self.at_least
        ends = self.plausible_ends()
        usual = ends is None or ends[0] <= value <= ends[1]
        return usual and above and least and (self.at_most is None or value <= self.at_most)

    def plausible_ends(self) -> tuple[float, float] | None:
        """Return the ends of the plausible range in the key's unit, None where the key has none."""
        return self._plausible_ends

    @functools.cached_property
    def _plausible_ends(self) -> tuple[float, float] | None:
        if self.plausible is None:
            return None
        low, high = self.plausible
        return _one(low, self), _one(high, self)

    def usually(self, system: units.UnitSystem = "metric") -> str:
        """Return the plausible range as the end of a sentence, "" where the limits already say it."""
        ends = self.plausible_ends()
        if ends is None or ends == (self.at_least if self.above is None else self.above, self.at_most):
            return ""
        return f", usually {self.shown(ends[0], system)} to {self.shown(ends[1], system)}"

    def accepted(self, system: units.UnitSystem = "metric") -> str:
        """Return what a user may write, in words; the limits in the units of `system`."""
        bounds = (("above", self.above), ("at least", self.at_least), ("at most", self.at_most))
        limits = [f"{word} {self.shown(limit, system)}" for word, limit in bounds if limit is not None]
        # Absolute zero is refused by the unit itself.
        words = f", {' and '.join(limits)}" if limits else ""
        return f"{self.meaning}, such as {self.example(system)}{words}"


def _accepted_and_usual(spec: Spec) -> str:
    """Return what a key accepts, with its usual range: within the limits but beyond that it would be refused again."""
    return spec.accepted() + spec.usually()


_HOUR_S = 3600.0


# Units of their own that other systems than the metric read, as they are written.
_WRITTEN_NAMES = {
    "ft^2": "ft²",
    "degF": "°F",
    "lbf*ft": "lbf·ft",
    "lb/ft^3": "lb/ft³",
    "lbf/mph": "lbf/mph",
    "lbf/mph^2": "lbf/mph²",
    "inch": "in",
    "ft/s^2": "ft/s²",
    "Btu/degF": "Btu/°F",
    "Btu/(h*degF)": "Btu/(h·°F)",
    "Btu/(lb*degF)": "Btu/(lb·°F)",
    "oz*inch": "oz·in",
}


def shown_value(value: float, unit: str, system: units.UnitSystem = "metric", usual: str = "") -> str:
    """Return an SI value in a unit that people read, the `usual` one where that is given."""
    usual = usual or units.written_units(unit, system)[0]
    if usual != units.written_units(unit, "metric")[0]:
        return f"{_plain(units.express(value, usual, unit))} {_WRITTEN_NAMES.get(usual, usual)}"
    pretty = {
        "K": ("degC", "°C"),
        "V*s/rad": ("V/krpm", "V per 1000 rpm"),
        "rad/s": ("rpm", "rpm"),
        "dimensionless": ("", ""),
        "m**3": ("L", "L"),
        "Pa": ("kPa", "kPa"),
        "m/s": ("m/s", "m/s"),
        "J/kg": ("kWh/kg", "kWh/kg"),
        "J/K": ("kJ/K", "kJ/K"),
        "delta_degC": ("delta_degC", "K"),
        "J/kg/K": ("kJ/kg/K", "kJ/(kg K)"),
        "rad": ("deg", "°"),
        "m**2": ("m**2", "m²"),
        "m/s**2": ("m/s**2", "m/s²"),
        "N*m": ("N*m", "N·m"),
        "kg/m**3": ("kg/m**3", "kg/m³"),
        "ohm": ("ohm", "Ω"),
        "s": ("h", "h"),
        "deg": ("deg", "°"),
        "N*s/m": ("N*s/m", "N·s/m"),
        "N*s**2/m**2": ("N*s**2/m**2", "N·s²/m²"),
        "kg*m": ("kg*m", "kg·m"),
        "1/K": ("1/K", "1/K"),
        "H": ("mH", "mH"),
    }
    target, name = pretty.get(unit, (unit, unit))
    if unit == "s" and abs(value) < _HOUR_S:
        target, name = "min", "min"
    if unit == "K":
        return f"{_plain(value - ZERO_CELSIUS_K)} °C"
    if target and target != unit:
        value = value / units.convert(1.0, target, unit)
    return f"{_plain(value)} {name}".strip()


def _plain(value: float) -> str:
    """Return a number with three significant digits and no trailing zeros."""
    text = units.figures(value, 3)
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text


class FieldError(ValueError):
    """A value that a key does not take: what was read, and what would be accepted; `key` where it is another key."""

    def __init__(self, read: str, accepted: str, key: str | None = None) -> None:
        super().__init__(read)
        self.read, self.accepted, self.key = read, accepted, key


class Declared(TypedDict, total=False):
    """What a quantity may declare besides unit and meaning."""

    required: bool
    default: str | float
    low: str | float  # with `high`: the default is uncertain
    high: str | float
    shape: Shape  # of that uncertainty, triangular where not given
    source: str  # where the default comes from
    at_least: float
    above: float
    at_most: float
    called: str  # its name in a sentence
    measured: Way  # how a builder would measure it
    such_as: str  # what may be written, where the examples of the unit do not fit
    plausible: tuple[str | float, str | float]  # the usual ends
    us: str  # its unit in US units, where its kind has another
    own: str  # its unit in the other systems, or in all
    reading: bool  # of an instrument: its ± may reach past the limits


def quantity(unit: str, meaning: str, **declared: Unpack[Declared]) -> Any:
    """Return a pydantic field for a quantity in SI unit `unit`; see `Declared` for the rest."""
    default, shape = declared.get("default"), declared.get("shape", "triangular")
    spec = Spec(
        unit,
        meaning,
        at_least=declared.get("at_least"),
        above=declared.get("above"),
        at_most=declared.get("at_most"),
        source=declared.get("source", ""),
        called=declared.get("called", ""),
        measured=declared.get("measured"),
        default=default,
        such_as=declared.get("such_as", ""),
        plausible=declared.get("plausible"),
        us=declared.get("us", ""),
        own=declared.get("own", ""),
        reading=declared.get("reading", False),
    )
    extra: dict[str, Any] = {"spec": spec}
    if declared.get("required"):
        return Field(description=meaning, json_schema_extra=extra)
    if default is None:
        return Field(default=None, description=meaning, json_schema_extra=extra)
    low, high = declared.get("low"), declared.get("high")
    # It cannot be changed: one serves all scenarios.
    assumed = functools.cache(lambda: _default(spec, default, low, high, shape))
    return Field(default_factory=assumed, description=meaning, json_schema_extra=extra)


def _default(
    spec: Spec, value: str | float, low: str | float | None, high: str | float | None, shape: Shape
) -> Uncertain:
    middle = _one(value, spec)
    if low is None or high is None:
        return exact(middle)
    return Uncertain(middle, _one(low, spec), _one(high, spec), shape)


def read_quantity(raw: object, spec: Spec) -> Uncertain:
    """Return a TOML value as an `Uncertain`: a text with unit, a plain number (no dimension), or a table with a range.

    Tables: {value, plus_minus}, {low, high}, {value, low, high}, each with an optional `shape`. Raises FieldError.
    """
    if isinstance(raw, Uncertain):
        return raw
    if not isinstance(raw, dict):
        value = exact(_one(raw, spec))
        _check(value, spec, {"value": raw})
        return value
    keys = {"value", "plus_minus", "low", "high", "shape"}
    unknown = sorted(set(raw) - keys)
    if unknown:
        raise FieldError(
            f"unknown key {', '.join(map(repr, unknown))} in a range", "value, plus_minus, low, high, shape"
        )
    value = _range(raw, spec)
    _check(value, spec, raw)
    return value


def _range(raw: dict[str, object], spec: Spec) -> Uncertain:
    shape = raw.get("shape")
    if shape not in (None, "normal", "uniform", "triangular"):
        raise FieldError(f"shape = {shown(shape)}", 'shape "normal", "uniform" or "triangular"')
    if "plus_minus" in raw:
        if "value" not in raw or "low" in raw or "high" in raw:
            raise FieldError("plus_minus without a value, or together with low and high", "value with plus_minus")
        middle = _one(raw["value"], spec)
        # A difference of temperatures has no 273 K and no 32 °F in it; "± 10 %" of a plain number is a share of it.
        width_spec = Spec("delta_degC" if spec.unit == "K" else spec.unit, "a half-width", at_least=0.0)
        width = _half_width(raw["plus_minus"], middle, width_spec)
        return Uncertain(middle, middle - width, middle + width, shape or "normal")
    if "low" not in raw or "high" not in raw:
        if set(raw) == {"value"}:
            return exact(_one(raw["value"], spec))
        raise FieldError("a range without both low and high", "low and high, or value with plus_minus")
    low, high = _one(raw["low"], spec), _one(raw["high"], spec)
    if low > high:
        raise FieldError(f"low {shown(raw['low'])} above high {shown(raw['high'])}", "low not above high")
    if "value" not in raw:
        return Uncertain((low + high) / 2, low, high, shape or "uniform")
    middle = _one(raw["value"], spec)
    if not low <= middle <= high:
        raise FieldError(f"value {shown(raw['value'])} outside low..high", "a value between low and high")
    return Uncertain(middle, low, high, shape or "triangular")


def _half_width(raw: object, middle: float, spec: Spec) -> float:
    if isinstance(raw, str) and raw.strip().endswith("%") and spec.unit != "dimensionless":
        return abs(middle) * _one(raw, Spec("dimensionless", "a share", at_least=0.0))
    width = _one(raw, spec)
    if width < 0:
        raise FieldError(f"plus_minus {shown(raw)}", "a half-width of 0 or more")
    return width


def _one(raw: object, spec: Spec) -> float:
    if isinstance(raw, bool) or not isinstance(raw, (str, int, float)):
        raise FieldError(f"{shown(raw)} is no quantity", _accepted_and_usual(spec))
    if isinstance(raw, str):
        try:
            return units.parse(raw, spec.unit)
        except units.QuantityError as fault:
            raise FieldError(str(fault), _accepted_and_usual(spec)) from None
    if not math.isfinite(raw):
        raise FieldError(f"{raw} is not a finite number", _accepted_and_usual(spec))
    if spec.unit != "dimensionless":
        raise FieldError(f"the bare number {raw:g} has no unit", _accepted_and_usual(spec))
    return float(raw)


def _check(value: Uncertain, spec: Spec, raw: Mapping[str, object]) -> None:
    """Refuse a value, or an end of its range, beyond the key's limits; it is named as it was written in `raw`."""
    ends = {"value": value.value} if spec.reading else {"value": value.value, "low": value.low, "high": value.high}
    for name, number in ends.items():
        low_wrong = (spec.at_least is not None and number < spec.at_least - 1e-12) or (
            spec.above is not None and number <= spec.above
        )
        high_wrong = spec.at_most is not None and number > spec.at_most + 1e-12
        if low_wrong or high_wrong:
            typed = raw.get(name)
            read = f"{number:g}" if isinstance(typed, int | float) else spec.shown(number)
            read = shown(typed).strip("'") if isinstance(typed, str) else read
            what = "" if number == value.value else " (an end of its range)"
            raise FieldError(f"{read}{what}", _accepted_and_usual(spec))


def written(value: Uncertain, unit: str) -> str:
    """Return a value known to ± as TOML for a scenario file: { value = "1.45 m**2", plus_minus = "0.1 m**2" }."""
    half = (value.high - value.low) / 2
    places = 1 - math.floor(math.log10(half)) if half > 0 else 6

    def number(amount: float) -> str:
        return f"{round(amount, places):.{max(places, 0)}f}"

    if unit == "dimensionless":
        return f"{{ value = {number(value.value)}, plus_minus = {number(half)} }}"
    if unit == "K":
        return f'{{ value = "{number(value.value - ZERO_CELSIUS_K)} degC", plus_minus = "{number(half)} K" }}'
    return f'{{ value = "{number(value.value)} {unit}", plus_minus = "{number(half)} {unit}" }}'
