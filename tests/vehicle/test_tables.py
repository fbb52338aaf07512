from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicle.problems import InputError
from vehicle.tables import increasing, read_table

COLUMNS = {"air_speed": "m/s", "power": "W"}


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "table.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize(
    "text",
    [
        "air_speed_m_s,power_w\n10,100.5\n20,800\n",
        "\ufeffair_speed_m_s,power_w\r\n10,100.5\r\n20,800\r\n",
        "air_speed_m_s;power_w\n10;100,5\n20;800\n",
        "air_speed_m_s\tpower_w\n10\t100,5\n20\t800\n",
        "\n\nair_speed_m_s,power_w\n\n10,100.5\n,\n20,800\n\n",
        "# measured on a calm day\nair_speed_m_s,power_w,\n10,100.5,\n20,800,\n",
        "Air speed (km/h),Power [kW],remark\n36,0.1005,\n72,0.8,gusty\n",
        "power_w,air_speed_km_h\n100.5,36\n800,72\n",
        '"air_speed_m_s","power_w"\n"10","100.5"\n"20","800"\n',
    ],
)
def test_reads_a_table_however_it_was_saved(tmp_path: Path, text: str) -> None:
    data = read_table(write(tmp_path, text), COLUMNS)
    np.testing.assert_allclose(data["air_speed"], [10, 20])
    np.testing.assert_allclose(data["power"], [100.5, 800])


def test_reads_what_spreadsheets_save(tmp_path: Path) -> None:
    path = write(tmp_path, "air_speed_m_s,power_w,Straße\n10,1,ü\n20,2,é\n".encode("cp1252"))
    assert len(read_table(path, COLUMNS)["power"]) == 2
    path = write(tmp_path, "air_speed_m_s,power_w\n10,1\n20,2\n".encode("utf-16"))
    assert len(read_table(path, COLUMNS)["power"]) == 2


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no rows"),
        ("air_speed_m_s,power_w\n", "0 rows of numbers"),
        ("air_speed,power_w\n10,1\n20,2\n", "no unit in the header"),
        ("air_speed_kg,power_w\n10,1\n20,2\n", "unit of another kind"),
        ("air_speed (parsnips),power_w\n10,1\n20,2\n", "not a unit"),
        ("air_sped_m_s,power_w\n10,1\n20,2\n", "air_sped_m_s"),
        ("air_speed_m_s,air_speed_km_h,power_w\n10,36,1\n20,72,2\n", "second column"),
        ("air_speed_m_s,power_w\n10,one\n20,2\n", "line 2"),
        ("air_speed_m_s,power_w\n10,nan\n20,2\n", "finite"),
        ("air_speed_m_s,power_w\n10,1e999\n20,2\n", "finite"),
        ("air_speed_m_s,power_w\n10,\n20,2\n", "an empty cell"),
        ("air_speed_m_s,power_w\n10\n20,2\n", "1 cells under 2 headers"),
        ("air_speed_m_s,power_w\n10,5,100,5\n20,2\n", "semicolons"),
        ("air_speed_m_s;power_w\n1.234,5;1\n20;2\n", "finite"),
        (b"air_speed_m_s,power_w\n10,\x00\n", "binary"),
        ('air_speed_m_s,power_w\n"10,1\n20,2\n', "not a CSV"),
    ],
)
def test_tells_what_is_wrong(tmp_path: Path, text: str | bytes, told: str) -> None:
    with pytest.raises(InputError) as caught:
        read_table(write(tmp_path, text), COLUMNS)
    assert told in str(caught.value)
    assert "table.csv" in str(caught.value)


def test_names_a_missing_file_and_its_neighbour(tmp_path: Path) -> None:
    write(tmp_path, "a\n")
    with pytest.raises(InputError, match=r"no such file.*perhaps table\.csv"):
        read_table(tmp_path / "tabel.csv", COLUMNS)
    with pytest.raises(InputError, match="a folder"):
        read_table(tmp_path, COLUMNS)


def test_many_faults_are_cut_short(tmp_path: Path) -> None:
    rows = "".join("x,y\n" for _ in range(100))
    with pytest.raises(InputError) as caught:
        read_table(write(tmp_path, "air_speed_m_s,power_w\n" + rows), COLUMNS)
    assert len(caught.value.problems) == 21


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ([1, 2, 2], "row 3 of the numbers: the value of row 2 again"),
        ([1, 3, 2], "row 3 of the numbers: less than in row 2"),
        ([2, 1], "row 2 of the numbers: less than in row 1"),
    ],
)
def test_an_abscissa_must_rise(values: list[float], told: str) -> None:
    with pytest.raises(InputError, match=told):
        increasing(Path("t.csv"), "air_speed", np.array(values, float))


@given(st.binary(max_size=200))
def test_any_bytes_are_a_table_or_an_input_error(tmp_path: Path, raw: bytes) -> None:
    try:
        data = read_table(write(tmp_path, b"air_speed_m_s,power_w\n10,1\n" + raw), COLUMNS)
    except InputError:
        return
    assert all(np.isfinite(values).all() for values in data.values())


@pytest.mark.parametrize(
    ("header", "columns", "optional", "first_row"),
    [
        ("RPM,Nm", {"engine_speed": "rad/s", "torque": "N*m"}, {}, {"engine_speed": 104.72, "torque": 2.0}),
        ("Engine RPM,Torque (lb-ft)", {"engine_speed": "rad/s", "torque": "N*m"}, {}, {"torque": 2.7116}),
        (
            "mph,Watts,rotor RPM",
            {"air_speed": "m/s", "electrical_power": "W"},
            {"rotor_speed": "rad/s", "thrust": "N"},
            {"air_speed": 447.04, "electrical_power": 2.0, "rotor_speed": 0.31416},
        ),
        ("Time (s),Power [kW]", {"time": "s", "power": "W"}, {"speed": "m/s"}, {"time": 1000.0, "power": 2000.0}),
        ("time_s,Watts", {"time": "s", "power": "W"}, {}, {"power": 2.0}),
    ],
)
def test_headings_as_people_write_them(tmp_path, header, columns, optional, first_row):
    path = tmp_path / "measured.csv"
    cells = header.count(",") + 1
    rows = [["1000", "2", "3"][:cells], ["2000", "3", "4"][:cells]]
    path.write_text("\n".join([header, *(",".join(row) for row in rows)]))
    found = read_table(path, columns, optional=optional)
    for name, value in first_row.items():
        assert found[name][0] == pytest.approx(value, rel=1e-4), name


@pytest.mark.parametrize(
    ("header", "columns"),
    [
        ("time_s,Watts,kW", {"time": "s", "power": "W"}),  # which of the two
        ("time_s,note", {"time": "s", "power": "W"}),
        ("m,deg,radius_m", {"radius": "m", "chord": "m", "twist": "deg"}),
    ],
)
def test_a_heading_that_may_mean_two_columns_is_asked_for(tmp_path, header, columns):
    path = tmp_path / "measured.csv"
    path.write_text(f"{header}\n1,2,3\n2,3,4\n" if header.count(",") == 2 else f"{header}\n1,2\n2,3\n")
    with pytest.raises(InputError, match="missing; the header has"):
        read_table(path, columns)
