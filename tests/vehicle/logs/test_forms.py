"""Forms of logs that loggers in use write: languages, units in cells, packed and wide text, boost, fuel for a distance.

The drive is invented and the same in every form; what is no form of it is still refused.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from energy.commands import read as read_command
from tests.vehicle import lying_sensors
from vehicle.logs.columns import BY_NAME, match_header
from vehicle.logs.fuel_flow import LoggedEngine, fuel_flow
from vehicle.logs.languages import WORDS
from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.problems import InputError

ROWS = 300
DRIVE = lying_sensors.drive(1, seconds=ROWS)
SPEED, RPM, PRESSURE = (DRIVE.columns[name] for name in ("speed", "rpm", "map"))  # km/h, rpm, kPa


def text(header: Sequence[str], cells: Callable[[int], Sequence[object]], mark: str = ",") -> str:
    rows = [mark.join(str(cell) for cell in cells(row)) for row in range(ROWS)]
    return "\n".join([mark.join(header), *rows]) + "\n"


def plain(row: int) -> list[object]:
    return [row, f"{SPEED[row]:g}", f"{RPM[row]:g}", f"{PRESSURE[row]:g}", 30]


def read(tmp_path: Path, data: str | bytes, name: str = "log.csv", **more) -> Log:
    path = tmp_path / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return read_log(path, **more)


def same_drive(log: Log) -> None:
    assert log.duration_s == pytest.approx(ROWS - 1)
    assert log.distance_m == pytest.approx(DRIVE.true_metres, rel=0.005)
    if "manifold_pressure_pa" in log.table:
        assert log.table["manifold_pressure_pa"].median() == pytest.approx(1e3 * np.median(PRESSURE), rel=0.01)
    assert log.table["intake_temperature_k"].median() == pytest.approx(303.15, abs=0.1)


@pytest.mark.parametrize("codec", ["utf-8", "cp1252"])
@pytest.mark.parametrize(
    "header",
    [
        ["Zeit", "Geschwindigkeit", "Drehzahl", "Saugrohrdruck", "Ansauglufttemperatur"],
        [
            "Zeit (Sekunden)",
            "FAHRZEUGGESCHWINDIGKEIT [km/h]",
            "Motordrehzahl (U/min)",
            "Saugrohrdruck, kPa",
            "Ansaugtemperatur (°C)",
        ],
        ["Temps", "Vitesse du véhicule", "Régime moteur (tr/min)", "Pression d'admission", "Température d'admission"],
        ["Tiempo (s)", "Velocidad (km/h)", "Revoluciones", "Presión del colector", "Temperatura del aire de admisión"],
    ],
)
def test_headers_in_other_languages(tmp_path, header, codec):
    log = read(tmp_path, text(header, plain, ";").encode(codec))
    same_drive(log)
    assert fuel_flow(log, LoggedEngine(1.6e-3)).source == "speed-density"


def test_every_word_of_the_table_is_found_and_means_one_thing():
    for name, languages in WORDS.items():
        for phrases in languages.values():
            for phrase in phrases:
                found = match_header(phrase).parameter
                if name == "boost_pa":  # known, and asked for its unit
                    assert match_header(f"{phrase} (bar)").parameter == name, phrase
                else:
                    assert found == name, phrase
        assert name in BY_NAME or name in ("time", "date")


def test_headers_of_any_language_can_be_named(tmp_path):
    header = ["aika", "nopeus", "kierrosluku", "imusarjan paine", "imuilma"]
    with pytest.raises(InputError, match="no known parameter"):
        read(tmp_path, text(header, plain))
    named = {
        "aika": "time (s)",
        "nopeus": "vehicle speed (km/h)",
        "kierrosluku": "engine speed (rpm)",
        "imusarjan paine": "manifold pressure (kPa)",
        "imuilma": "intake air temperature (degC)",
    }
    same_drive(read(tmp_path, text(header, plain), columns=named))
    options = [item for key, value in named.items() for item in ("--column", f"{key}={value}")]
    result = CliRunner().invoke(read_command.command, [str(tmp_path / "log.csv"), *options])
    assert result.exit_code == 0, result.output


@pytest.mark.parametrize("clock", ["Time(ms)", "timestamp_ms", "Elapsed time in ms", "Milliseconds", "time [millis]"])
def test_milliseconds_in_the_header(tmp_path, clock):
    header = [clock, "speed", "rpm", "map", "iat"]
    same_drive(read(tmp_path, text(header, lambda row: [1000 * row, *plain(row)[1:]])))


def test_units_inside_the_cells(tmp_path):
    header = ["time", "speed", "rpm", "map", "iat"]
    metric = text(header, lambda r: [f"{r} s", f"{SPEED[r]:g} km/h", f"{RPM[r]:g}rpm", f"{PRESSURE[r]:g} kPa", "30 °C"])
    same_drive(read(tmp_path, metric))
    us = text(
        header,
        lambda r: [r, f"{SPEED[r] / 1.609344:.2f} mph", f"{RPM[r]:g}", f"{PRESSURE[r] * 0.1450377:.3f} psi", "86 F"],
    )
    log = read(tmp_path, us)
    same_drive(log)
    assert {column.header: column.unit_from for column in log.columns}["speed"] == "cells"
    both = text(  # a logger whose unit was changed on the way
        header,
        lambda r: [r, f"{SPEED[r]:g} km/h" if r < 200 else f"{SPEED[r] / 1.609344:.3f} mph", *plain(r)[2:4], "30 °C"],
    )
    same_drive(read(tmp_path, both))
    comma = text(header, lambda r: [r, f"{SPEED[r]:.1f} km/h".replace(".", ","), *plain(r)[2:4], "30,0 °C"], ";")
    same_drive(read(tmp_path, comma))


@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be", "utf-16"])
def test_wide_text_with_and_without_a_mark(tmp_path, codec):
    header = ["time", "speed", "rpm", "map", "iat"]
    same_drive(read(tmp_path, text(header, plain).encode(codec)))


@pytest.mark.parametrize("name", ["log.csv.gz", "log.csv"])
@pytest.mark.parametrize("codec", ["utf-8", "utf-16-le"])
def test_packed_logs(tmp_path, name, codec):
    data = gzip.compress(text(["time", "speed", "rpm", "map", "iat"], plain).encode(codec))
    same_drive(read(tmp_path, data, name))
    with pytest.raises(InputError, match="damaged gzip"):
        read(tmp_path, data[: len(data) // 2], name)


@pytest.mark.parametrize(
    ("column", "per_kpa"), [("boost (psi)", 0.1450377), ("Turbo boost [bar]", 0.01), ("Ladedruck (hPa)", 10.0)]
)
def test_boost_is_pressure_above_the_barometer(tmp_path, column, per_kpa):
    def cells(row: int) -> list[object]:
        return [*plain(row)[:3], f"{(PRESSURE[row] - 98) * per_kpa:.4f}", 30, 98]

    log = read(tmp_path, text(["time", "speed", "rpm", column, "iat", "barometric pressure (kPa)"], cells))
    same_drive(log)
    assert "manifold_pressure_pa" in log.table
    assert any("boost plus a barometer of the log" in said for said in log.checks)
    bare = read(tmp_path, text(["time", "speed", "rpm", "boost", "iat", "baro"], cells))
    assert next(c for c in bare.columns if c.header == "boost").use == "not understood"


@pytest.mark.parametrize(
    ("column", "cell", "l_per_100km"),
    [
        ("mpg", "29.4", 8.0),  # 235.2 / mpg (US), 282.5 / mpg (imperial): by the definition of the gallons
        ("Miles per gallon (instant)(mpg UK)", "35.31", 8.0),
        ("Litres per 100 km (instant)", "8", 8.0),
        ("Verbrauch (L/100km)", "8", 8.0),
        ("fuel economy (km/L)", "12.5", 8.0),
    ],
)
def test_fuel_for_a_distance_is_a_flow(tmp_path, column, cell, l_per_100km):
    header = ["time", "speed (km/h)", "rpm", column, "iat"]
    log = read(tmp_path, text(header, lambda row: [*plain(row)[:3], cell, 30]))
    flow = fuel_flow(log, LoggedEngine())
    assert flow.source == "fuel rate"
    driving = SPEED > 10
    expected = np.sum(SPEED[driving]) / 3600 * l_per_100km / 100
    assert float(np.nansum(flow.flow_m3_s[driving]) * 1e3) == pytest.approx(expected, rel=0.003)
    assert any("fuel rate is speed" in said for said in log.checks)
    assert any("US gallons taken" in said for said in log.checks) == (column == "mpg")


def test_an_average_of_the_trip_is_no_flow(tmp_path):
    log = read(tmp_path, text(["time", "speed", "rpm", "average mpg", "iat"], lambda row: [*plain(row)[:3], 30, 30]))
    assert "fuel_rate_m3_s" not in log.table


@pytest.mark.parametrize(
    ("header", "kind", "factor"),
    [
        ("Speed (Meters/second)", "speed_m_s", 1.0),
        ("speed [metres per second]", "speed_m_s", 1.0),
        ("GPS Speed (miles/hour)", "gps_speed_m_s", 0.44704),
        ("fuel flow (l/hr)", "fuel_rate_m3_s", 1 / 3.6e6),
        ("fuel rate (litres per hour)", "fuel_rate_m3_s", 1 / 3.6e6),
        ("Fuel flow rate/hour (gal/hr)", "fuel_rate_m3_s", 3.785411784e-3 / 3600),
        ("Luftmasse (Gramm/Sekunde)", "air_flow_kg_s", 1e-3),
    ],
)
def test_units_spelled_out(tmp_path, header, kind, factor):
    log = read(tmp_path, text(["time", "rpm", header, "iat"], lambda row: [row, f"{RPM[row]:g}", 2 + row % 5, 30]))
    assert log.table[kind].to_numpy()[7] == pytest.approx(4 * factor, rel=1e-6)


@pytest.mark.parametrize("unit", ["furlongs", "m/h", "wobbles per second"])
def test_the_rest_is_refused_aloud(tmp_path, unit):
    log = read(tmp_path, text(["time", f"speed ({unit})", "rpm", "map", "iat"], plain))
    column = log.columns[1]
    assert column.use == "not understood"
    assert "no unit of vehicle speed" in column.note
    assert log.distance_m is None
