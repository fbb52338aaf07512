"""One file, saved in every way that spreadsheets and loggers save it, is read alike by every door of windtoll.

The drive is invented: speeds and engine speeds with tenths that rise and fall smoothly, so that nothing is mended.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from energy.screens.tables import from_csv, to_csv
from vehicle import csv_text
from vehicle.logs.join import read_log_text
from vehicle.logs.read import read_log
from vehicle.logs.tail import look_at
from vehicle.problems import InputError
from vehicle.tables import read_table

ROWS = 60
TIME_S = np.arange(ROWS) + 0.5
SPEED_KM_H = np.round(70 + 9 * np.sin(TIME_S / 9), 1)
SPEED_KM_H[SPEED_KM_H % 1 == 0] += 0.1  # each has its decimal sign
ENGINE_RPM = np.round(SPEED_KM_H * 30.03, 1)
HEADERS = ("time (s)", "speed (km/h)", "engine speed (rpm)")


def cells(decimal: str = ".", units: tuple[str, ...] = ("", "", "")) -> list[list[str]]:
    rows = zip(TIME_S, SPEED_KM_H, ENGINE_RPM, strict=True)
    return [[f"{v:.1f}{u}".replace(".", decimal) for v, u in zip(row, units, strict=True)] for row in rows]


def text(mark=",", decimal=".", quote="", end="\n", headers=HEADERS, units=("", "", ""), above="", under="") -> str:
    def line(row):
        return mark.join(f"{quote}{cell}{quote}" for cell in row)

    return above + end.join([line(headers), *([under] if under else []), *map(line, cells(decimal, units))]) + end


FORMS: dict[str, bytes] = {
    "commas": text().encode(),
    "semicolons, decimal commas": text(";", ",").encode(),
    "semicolons, decimal points": text(";").encode(),
    "tabs, decimal commas": text("\t", ",").encode(),
    "bars": text("|").encode(),
    "quoted": text(quote='"').encode(),
    "quoted decimal commas between commas": text(",", ",", quote='"').encode(),
    "quoted decimal commas between semicolons": text(";", ",", quote='"').encode(),
    "a mark in front": text().encode("utf-8-sig"),
    "a mark in front of quotes": text(quote='"').encode("utf-8-sig"),
    "UTF-16 with its mark": text(";", ",").encode("utf-16"),
    "UTF-16, the other order, with its mark": b"\xfe\xff" + text(";", ",").encode("utf-16-be"),
    "UTF-16 without a mark": text().encode("utf-16-le"),
    "UTF-16, the other order, without a mark": text().encode("utf-16-be"),
    "eight bits": text(headers=(*HEADERS[:2], "engine speed (rpm)"), above="# Straße nach Süden\n").encode("cp1252"),
    "ends of a carriage return": text(end="\r").encode(),
    "ends of both": text(end="\r\n").encode(),
    "no last end": text().rstrip("\n").encode(),
    "blank lines": text(end="\n\n").encode(),
    "comments": ("# a calm day\n" + text(end="\n# so\n")).encode(),
    "lines above the header": text(above="Exported 2026-05-02\nDevice;invented\n\n").encode(),
    "packed": gzip.compress(text(";", ",").encode()),
    "a row of units": text(headers=("time", "speed", "engine speed"), under="s,km/h,rpm").encode(),
    "units in the cells": text(headers=("time", "speed", "engine speed"), units=(" s", " km/h", " rpm")).encode(),
    "units in the cells, decimal commas": text(
        ";", ",", headers=("time", "speed", "engine speed"), units=(" s", " km/h", " rpm")
    ).encode(),
    "units after a comma": text(";", ",", headers=("time, s", "speed, km/h", "engine speed, rpm")).encode(),
    "units in the name": text(headers=("time_s", "speed_km_h", "engine_speed_rpm")).encode(),
    "spaces around": text(" , ").encode(),
}
COLUMNS = {"time": "s", "speed": "m/s", "engine_speed": "rad/s"}


WIDE = [name for name in FORMS if name.startswith(("UTF-16", "packed", "ends of a carriage"))]


def _saved(folder: Path, content: bytes) -> Path:
    path = folder / "drive.csv"
    path.write_bytes(content)
    return path


def _is_the_drive(time_s, speed_m_s, engine_rad_s) -> None:
    np.testing.assert_allclose(np.asarray(time_s) - time_s[0], TIME_S - TIME_S[0], atol=1e-9)
    np.testing.assert_allclose(speed_m_s, SPEED_KM_H / 3.6, rtol=1e-9)
    np.testing.assert_allclose(engine_rad_s, ENGINE_RPM * 2 * np.pi / 60, rtol=1e-9)


@pytest.mark.parametrize("form", FORMS)
def test_the_table_of_a_scenario(form: str, tmp_path: Path) -> None:
    table = read_table(_saved(tmp_path, FORMS[form]), COLUMNS)
    _is_the_drive(table["time"], table["speed"], table["engine_speed"])


@pytest.mark.parametrize("form", FORMS)
def test_the_table_on_the_screen(form: str, tmp_path: Path) -> None:
    if form == "lines above the header":  # they would be lost when it is saved
        with pytest.raises(InputError, match="no even table"):
            from_csv(FORMS[form])
        return
    comments, held = from_csv(FORMS[form])
    assert len(held) == ROWS + (form == "a row of units")
    table = read_table(_saved(tmp_path, to_csv(held, comments)), COLUMNS)
    _is_the_drive(table["time"], table["speed"], table["engine_speed"])


@pytest.mark.parametrize("form", FORMS)
def test_the_log(form: str, tmp_path: Path) -> None:
    log = read_log(_saved(tmp_path, FORMS[form]))
    _is_the_drive(*(log.table[name].to_numpy() for name in ("time_s", "speed_m_s", "engine_speed_rad_s")))


@pytest.mark.parametrize("form", FORMS)
def test_the_second_log(form: str, tmp_path: Path) -> None:
    log = read_log_text(_saved(tmp_path, FORMS[form]))
    speed, engine = (next(v for k, v in log.numbers.items() if k.startswith(name)) for name in ("speed", "engine"))
    _is_the_drive(log.numbers["time_s"], speed / 3.6, engine * 2 * np.pi / 60)
    named = " ".join(log.numbers)
    assert "km" in named
    assert "rpm" in named


@pytest.mark.parametrize("form", FORMS)
def test_the_recording_that_grows(form: str, tmp_path: Path) -> None:
    path = _saved(tmp_path, FORMS[form])
    if form in WIDE:
        with pytest.raises(InputError, match="no plain text"):
            look_at(path, None, 0.0)
        return
    last = -2 if form == "no last end" else -1  # it may be half a row
    values = look_at(path, None, 0.0).values
    assert values["speed_m_s"] == pytest.approx(SPEED_KM_H[last] / 3.6, rel=1e-9)
    assert values["engine_speed_rad_s"] == pytest.approx(ENGINE_RPM[last] * 2 * np.pi / 60, rel=1e-9)


@pytest.mark.parametrize(("mark", "decimal"), [(",", "."), (";", ","), ("\t", ",")])
def test_a_last_line_that_is_cut_has_no_numbers(mark: str, decimal: str, tmp_path: Path) -> None:
    """Of its last cells nothing is known: a table is refused by its line, a log goes on without the row."""
    whole = text(mark, decimal).rstrip("\n")
    path = _saved(tmp_path, whole[: whole.rfind(mark)].encode())
    with pytest.raises(InputError, match=f"line {ROWS + 1}.*2 cells under 3 headers"):
        read_table(path, COLUMNS)
    with pytest.raises(InputError, match="no even table"):
        from_csv(path.read_bytes())
    log = read_log(path)
    assert log.table["speed_m_s"].iloc[-2] == pytest.approx(SPEED_KM_H[-2] / 3.6)
    assert "cut short" in " ".join(repair.what for repair in log.repairs)
    second = read_log_text(path).numbers["speed (km/h)"]
    assert np.isnan(second[-1])
    assert second[-2] == SPEED_KM_H[-2]
    assert look_at(path, None, 0.0).values["speed_m_s"] == pytest.approx(SPEED_KM_H[-2] / 3.6)


def test_a_comma_that_may_part_thousands_is_no_decimal_sign_at_any_door(tmp_path: Path) -> None:
    """ "1,234" between commas is 1234 in one country and 1.234 in another: it is read as neither."""
    rows = [f'{k},{70 + k % 3},"1,{200 + k}"' for k in range(ROWS)]
    path = _saved(tmp_path, "\n".join(["time_s,speed_km_h,engine_speed_rpm", *rows]).encode())
    with pytest.raises(InputError, match="could part thousands"):
        read_table(path, COLUMNS)
    assert "engine_speed_rpm" not in read_log_text(path).numbers
    log = read_log(path)
    assert "engine_speed_rad_s" not in log.table or log.table["engine_speed_rad_s"].isna().all()
    assert any("no number" in repair.what and repair.count == ROWS for repair in log.repairs)


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1.5", ".", 1.5),
        (" −1.5 ", ".", -1.5),
        ("+.5", ".", 0.5),
        ("5.", ".", 5.0),
        ("1e3", ".", 1000.0),
        ("1,5", ",", 1.5),
        ("15", ",", 15.0),
        ("1,5e-2", ",", 0.015),
        ("1,5", ".", None),
        ("1.5", ",", None),
        ("1.234,5", ",", None),
        ("1,2,3", ",", None),
        ("1e999", ".", None),
        ("nan", ".", None),
        ("inf", ".", None),
        ("0x10", ".", None),
        ("1_000", ".", None),
        ("", ".", None),
        ("--", ".", None),
        ("12 km/h", ".", None),
    ],
)
def test_one_number_and_a_column_of_them_are_read_alike(cell: str, decimal: str, value: float | None) -> None:
    assert csv_text.number(cell, decimal) == value
    found, unread = csv_text.numbers_of(pd.Series([cell, "x"], dtype="str"), decimal)
    assert found[0] == value if value is not None else np.isnan(found[0])
    assert bool(unread[0]) == (value is None and cell.upper() not in csv_text.SAID_EMPTY)


def test_a_unit_in_a_cell_is_worth_what_it_is_in_a_header(tmp_path: Path) -> None:
    path = _saved(tmp_path, b"time (s);speed (km/h);engine speed\n0;36 km/h;600 rpm\n1;22,5 mph;10 Hz\n2;36;700 rpm\n")
    table = read_table(path, COLUMNS)
    np.testing.assert_allclose(table["speed"], [10, 22.5 * 0.44704, 10])
    np.testing.assert_allclose(table["engine_speed"], np.array([600, 600, 700]) * 2 * np.pi / 60)
    path.write_text("time_s,speed_km_h,engine_speed_rpm\n0,36 kg,600\n1,36,600\n")
    with pytest.raises(InputError, match=r"line 2, column speed_km_h.*36 kg"):
        read_table(path, COLUMNS)
