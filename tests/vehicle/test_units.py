from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicle import units
from vehicle.typed import as_people_type
from vehicle.units import QuantityError, parse, show


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        # Exact by definition: international mile 1609.344 m, pound 0.45359237 kg, standard gravity 9.80665 m/s2.
        ("65 mph", "m/s", 65 * 0.44704),
        ("100 km/h", "m/s", 100 / 3.6),
        ("100km/h", "m/s", 100 / 3.6),
        ("18 lbf", "N", 18 * 0.45359237 * 9.80665),
        ("59 degF", "K", 288.15),
        ("59 °F", "K", 288.15),
        ("15 C", "K", 288.15),
        ("-40 F", "K", 233.15),
        ("9 degF", "delta_degC", 5.0),
        ("5 K", "delta_degC", 5.0),
        ("5 degC", "delta_degC", 5.0),
        ("0.42 L/h", "m**3/s", 0.42e-3 / 3600),
        ("3.2 ohm", "ohm", 3.2),
        ("3.2 Ω", "ohm", 3.2),
        ("72 in", "m", 1.8288),
        ("6 ft", "m", 1.8288),
        ("0.04 lbf/mph^2", "N*s**2/m**2", 0.04 * 4.4482216152605 / 0.44704**2),
        ("94 V/krpm", "V*s/rad", 94 / (1000 * 2 * math.pi / 60)),
        ("450 rpm", "rad/s", 450 * 2 * math.pi / 60),
        ("180 Nm", "N*m", 180.0),
        ("180 lb-ft", "N*m", 180 * 4.4482216152605 * 0.3048),
        ("85 %", "dimensionless", 0.85),
        ("0.85", "dimensionless", 0.85),
        ("1.8e0 m", "m", 1.8),
        ("−5 m", "m", -5.0),
        ("0.15 m²", "m**2", 0.15),
        ("1.2 kg/m³", "kg/m**3", 1.2),
        ("2 m2", "m**2", 2.0),
        ("7.5 L/100 km", "m**2", 7.5e-3 / 1e5),
        ("10 US gal", "m**3", 0.0378541178400),
        ("1013.25 hPa", "Pa", 101325.0),
        # Capitals that carry no meaning.
        ("2300 KG", "kg", 2300.0),
        ("2300 Kg", "kg", 2300.0),
        ("5000 LB", "kg", 5000 * 0.45359237),
        ("90 Km/H", "m/s", 25.0),
        ("3 KW", "W", 3000.0),
    ],
)
def test_reads_what_people_write(text: str, unit: str, value: float) -> None:
    assert parse(text, unit) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("3 kg", "m/s"),
        ("65", "m/s"),
        ("mph", "m/s"),
        ("", "m/s"),
        ("nan km/h", "m/s"),
        ("inf m", "m"),
        ("1e999 m", "m"),
        ("1,8 m", "m"),
        ("1.234,5 m", "m"),
        ("1 2 m", "m"),
        ("1.8.2 m", "m"),
        ("18 lb", "N"),
        ("5 parsnips", "m"),
        ("5 m//s", "m/s"),
        ("5 m**9**9**9", "m"),
        ("5 __import__", "m"),
        ("5 (m", "m"),
        ("9" * 200 + " m", "m"),
        ("-300 degC", "K"),
        ("5 m\0", "m"),
        ("5 degC", "m"),
        ("5 km", "K"),
        ("5 1/0", "1/K"),
        ("2 lambda", "m"),
        ("5 m.__class__", "m"),
        ("5 degC/m", "K"),
        ("1 'm'", "m"),
    ],
)
def test_refuses_what_is_no_such_quantity(text: str, unit: str) -> None:
    with pytest.raises(QuantityError):
        parse(text, unit)


@given(st.text(max_size=40), st.sampled_from(["m/s", "K", "N", "dimensionless", "V*s/rad", "m**2"]))
def test_any_text_is_a_finite_number_or_a_quantity_error(text: str, unit: str) -> None:
    try:
        value = parse(text, unit)
    except QuantityError:
        return
    assert math.isfinite(value)


@given(st.floats(-1e4, 1e4), st.sampled_from([1.0, -1.0]))
def test_a_temperature_difference_never_gets_an_offset(size: float, sign: float) -> None:
    size = round(size, 3)
    assert parse(f"{size:.3f} degF", "delta_degC") == pytest.approx(size / 1.8, abs=1e-9)
    assert parse(f"{size:.3f} degC", "delta_degC") == pytest.approx(size, abs=1e-9)


@pytest.mark.parametrize("system", units.UNIT_SYSTEMS)
@pytest.mark.parametrize("kind", sorted(units._METRIC))
def test_every_kind_is_shown_in_every_system(kind: str, system: units.UnitSystem) -> None:
    text = show(300.0, kind, system)
    assert text[0].isdigit()
    assert units.label(kind, system).split()[-1] in text or "kW" in text


def test_hertz_of_what_turns_are_turns_a_second() -> None:
    """BIPM, The International System of Units, 9th ed. (2019), 2.3.4: hertz for periodic phenomena; a turn is 2 pi."""
    assert units.parse("10 Hz", "rad/s") == pytest.approx(units.parse("600 rpm", "rad/s"))
    assert units.parse("0.01 kHz", "rad/s") == pytest.approx(20 * np.pi)
    assert units.parse("10 rad/s", "rad/s") == 10


def test_shown_values() -> None:
    assert show(100 / 3.6, "speed", "metric") == "100 km/h"
    assert show(100 / 3.6, "speed", "us") == "62.1 mph"
    assert show(1430.0, "power", "metric") == "1.43 kW"
    assert show(0.9e-3 / 3600, "fuel_flow", "metric", signed=True) == "+0.90 L/h"
    assert show(-273.15 + 273.15, "temperature", "metric") == "−273 °C"
    assert show(373.15, "temperature", "us") == "212 °F"
    assert units.figures(0.000123, 2) == "0.00012"
    # What rounds up to a power of ten has as many digits as any other.
    assert [units.figures(number, 3) for number in (0.9999, 99.96, -0.009996)] == ["1.00", "100", "−0.0100"]
    assert units.figures(-0.5, 2, signed=True) == "−0.50"
    assert units.figures(float("nan"), 2) == "not defined"


@pytest.mark.parametrize(("text", "unit"), [("3 MW", "W"), ("3 mW", "W"), ("3 kN", "N"), ("3 kn", "m/s")])
def test_capitals_that_part_two_units_are_left_alone(text: str, unit: str) -> None:
    value = {"3 MW": 3e6, "3 mW": 3e-3, "3 kN": 3e3, "3 kn": 3 * 1852 / 3600}[text]
    assert parse(text, unit) == pytest.approx(value)


@pytest.mark.parametrize(
    ("value", "limit", "kind", "texts"),
    [
        (80.04, 80.0, "tip_speed", ("80.04 m/s", "80.00 m/s")),
        (99.3, 80.0, "tip_speed", ("99.3 m/s", "80.0 m/s")),
        (2000.4, 2000.0, "power", ("2.0004 kW", "2.0000 kW")),
        (80.0, 80.0, "tip_speed", ("80.0 m/s", "80.0 m/s")),
    ],
)
def test_a_value_and_its_limit_are_shown_to_differ_where_they_do(
    value: float, limit: float, kind: str, texts: tuple[str, str]
) -> None:
    assert units.show_pair(value, limit, kind, "metric") == texts


@pytest.mark.parametrize(
    ("value", "unit", "metric", "us"),
    [
        (13.4112, "m/s", "13.4 m/s", "30 mph"),  # 1 mph = 0.44704 m/s
        (293.15, "K", "20 °C", "68 °F"),
        (10.0, "delta_degC", "10 K", "18 °F"),  # a difference has no offset
        (0.3048**2 * 5, "m**2", "0.465 m²", "5 ft²"),
        (45.359237, "kg", "45.4 kg", "100 lb"),
        (0.5, "dimensionless", "0.5", "0.5"),
        (300.0, "ohm", "300 Ω", "300 Ω"),
    ],
)
def test_a_value_is_shown_in_the_units_of_the_system(value: float, unit: str, metric: str, us: str) -> None:
    from vehicle.quantity import shown_value

    assert shown_value(value, unit) == metric
    assert shown_value(value, unit, "us") == us


@pytest.mark.parametrize(
    ("value", "kind", "us", "metric"),
    # NIST SP 811 (2008), appendix B.8: inch, ounce, pound-force per square inch, foot pound-force.
    [
        (0.0254, "small_length", "1.00 in", "25.4 mm"),
        (2 * 0.028349523, "small_mass", "2.00 oz", "56.7 g"),
        (2 * 0.028349523 * 0.0254, "imbalance", "2.00 oz·in", "1440 g·mm"),
        (0.0254, "vibration", "1.0 in/s", "25 mm/s"),
        (6.894757e6, "stress", "1000 psi", "6.89 MPa"),
        (1355.818, "kinetic_energy", "1000 ft·lbf", "1.4 kJ"),
    ],
)
def test_small_parts_are_shown_in_the_units_of_the_workshop(value: float, kind: str, us: str, metric: str) -> None:
    assert units.show(value, kind, "us") == us
    assert units.show(value, kind, "metric") == units.show(value, kind, "uk") == metric


def test_a_comma_in_a_quantity_of_us_usage_parts_thousands_in_any_system() -> None:
    assert as_people_type("4,600 lb", thousands_comma=False) == "4600 lb"
    assert as_people_type("4,600 kg", thousands_comma=False) == "4,600 kg"
    assert as_people_type("4,600 kg", thousands_comma=True) == "4600 kg"
