"""Logs of every shape to one table: formats, clocks, units, repairs, damage."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests_support import of_study

from vehicle.logs.columns import BY_NAME, match_header, unit_factor
from vehicle.logs.fuel_flow import LoggedEngine, fuel_flow
from vehicle.logs.log import Log, Quality
from vehicle.logs.read import read_log
from vehicle.problems import InputError

LOGS = Path(__file__).parents[2] / "data" / "obd_logs"
ENGINE = LoggedEngine(1.5e-3)
T = np.arange(120)
SPEED = 50 + 10 * np.sin(T / 9)  # km/h
RPM = SPEED * 30
PRESSURE = 35 + 8 * np.sin(T / 7)  # kPa
METRES = float((SPEED / 3.6).sum())


def iso(second: int) -> str:
    return f"2026-05-03T10:{second // 60:02d}:{second % 60:02d}Z"


def clock_12(second: int) -> str:
    second += 12 * 3600 + 59 * 60
    hour = second // 3600
    return f"{(hour - 1) % 12 + 1}:{second // 60 % 60:02d}:{second % 60:02d} {'PM' if hour % 24 >= 12 else 'AM'}"


def clock_24(second: int) -> str:
    second += 86400 - 60
    return f"{second // 3600 % 24:02d}:{second // 60 % 60:02d}:{second % 60:02d}"


def wide(
    header: str, clock=str, *, speed_factor: float = 1.0, air: str = "20", mark: str = ",", comma: bool = False
) -> str:
    lines = []
    for t, v, n, p in zip(T.tolist(), SPEED, RPM, PRESSURE, strict=True):
        cells = [clock(t), f"{v * speed_factor:.4f}", f"{n:.2f}", f"{p:.3f}", air]
        if comma:
            cells = [cell.replace(".", ",") for cell in cells]
        lines.append(mark.join(cells))
    return header + "\n" + "\n".join(lines) + "\n"


def read(tmp_path: Path, text: str | bytes, **more) -> Log:
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(path, **more)


PLAIN = "time,speed,rpm,map,iat"
FORMATS = {
    "plain": wide(PLAIN),
    "units in the header": wide(
        "time (s),Speed [mph],Engine RPM (rpm),MAP (kPa),Intake temperature (°F)", speed_factor=1 / 1.609344, air="68"
    ),
    "slug headers": wide("time_s,speed_km_h,engine_speed_rpm,manifold_pressure_kpa,intake_temperature_c"),
    "semicolons and decimal commas": wide(
        "Time;Vehicle speed;Engine RPM;Intake manifold pressure;IAT", mark=";", comma=True
    ),
    "tabs": wide("Time\tVehicle speed\tEngine RPM\tIntake manifold pressure\tIAT", mark="\t"),
    "unit row": wide(
        "Time,Vehicle speed,Engine speed,Manifold pressure,Intake air temperature\ns,mph,rpm,kPa,°F",
        speed_factor=1 / 1.609344,
        air="68",
    ),
    "byte order mark": "\ufeff" + wide(PLAIN),
    "utf-16": wide(PLAIN).encode("utf-16"),
    "old line ends": wide(PLAIN).replace("\n", "\r"),
    "ISO clock": wide(PLAIN, iso),
    "12-hour clock": wide(PLAIN, clock_12),
    "over midnight": wide(PLAIN, clock_24),
    "milliseconds since 1970": wide(PLAIN, lambda t: str(1_777_777_000_000 + 1000 * t)),
    "milliseconds by their size": wide(PLAIN, lambda t: str(1000 * t)),
    "month first": wide(PLAIN, lambda t: "05/13/2026 " + clock_12(t)),
    "date and time columns": wide("date," + PLAIN, lambda t: f"2026-05-03,{iso(t)[11:19]}"),
    "quoted": '"' + wide(PLAIN).strip().replace(",", '","').replace("\n", '"\n"') + '"\n',
    "trailing separators": wide(PLAIN).replace("\n", ",\n"),
    "lines before the header": "logged by hand\nvehicle;van\n\n" + wide(PLAIN),
    "python-obd names": wide("time,SPEED,RPM,INTAKE_PRESSURE,INTAKE_TEMP"),
    "torn spelling": wide(
        "ENGINE_RUN_TINE (),VEHICLE_SPED (),ENGINE_RPM (),INTAKE_MANIFOLD_PRESURE (),INTAKE_AIR_TEMP ()"
    ),
}


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_gives_the_same_drive(tmp_path, name):
    log = read(tmp_path, FORMATS[name])
    assert log.rows == 120
    assert log.duration_s == pytest.approx(119)
    assert log.distance_m == pytest.approx(METRES, rel=1e-4)
    flow = fuel_flow(log, ENGINE)
    assert flow.source == "speed-density"
    assert flow.litres == pytest.approx(fuel_flow(read(tmp_path, FORMATS["plain"]), ENGINE).litres, rel=1e-4)
    assert not (log.table["quality"] != 0).any()


@pytest.mark.parametrize("units", [("kph", "degC", 1.0, "20"), ("mph", "°F", 1 / 1.609344, "68")])
def test_long_log(tmp_path, units):
    speed_unit, air_unit, factor, air = units
    lines = ["time;parameter;value;unit"]
    for t, v, n, p in zip(T.tolist(), SPEED, RPM, PRESSURE, strict=True):
        lines += [
            f"{t}.1;SPEED;{v * factor:.4f};{speed_unit}",
            f"{t}.3;RPM;{n:.2f};rpm",
            f"{t}.5;INTAKE_PRESSURE;{p:.3f};kPa",
        ]
        if t % 30 == 0:
            lines.append(f"{t}.7;INTAKE_TEMP;{air};{air_unit}")
    log = read(tmp_path, "\n".join(lines))
    assert log.rows == 120
    assert log.distance_m == pytest.approx(METRES, rel=1e-4)
    assert float(log.table["intake_temperature_k"].iloc[-1]) == pytest.approx(293.15)
    assert {column.unit_from for column in log.columns if column.parameter == "speed_m_s"} == {"unit column"}


def test_whole_seconds_shared_by_rows_are_spread(tmp_path):
    log = read(tmp_path, wide(PLAIN, lambda t: str(t // 4)))
    steps = np.diff(log.table["time_s"])
    assert np.allclose(steps, 0.25)
    assert [(r.what, r.count) for r in log.repairs] == [("rows sharing one clock reading, spread evenly", 90)]


@pytest.mark.parametrize(
    ("clock", "what"),
    [
        (lambda t: str(t if t != 60 else 9999), "clock cells out of line, interpolated"),
        (lambda t: str(t if t != 60 else 3), "clock cells out of line, interpolated"),
        (lambda t: str(t if t < 60 else t - 60), "clock jumped back, extended from the row before"),
        (lambda t: str(t) if t % 10 else "x", "clock cells that are no time, interpolated"),
        (lambda t: str(t if t < 119 else 900000), "clock cells out of line, interpolated"),
    ],
)
def test_damaged_clocks(tmp_path, clock, what):
    log = read(tmp_path, wide(PLAIN, clock))
    assert log.duration_s == pytest.approx(119, abs=1)
    assert (np.diff(log.table["time_s"]) > 0).all()
    assert what in {repair.what for repair in log.repairs}
    assert log.flagged(Quality.CLOCK).any()


def test_gap_is_not_driven(tmp_path):
    log = read(tmp_path, wide(PLAIN, lambda t: str(t if t < 60 else t + 600)))
    assert log.duration_s == pytest.approx(719)
    assert log.distance_m == pytest.approx(METRES, rel=1e-3)
    assert log.flagged(Quality.AFTER_GAP).sum() == 1


def test_spikes_holes_and_stuck_values_are_emptied_and_told(tmp_path):
    lines = wide(PLAIN).splitlines()
    row = lines[50].split(",")
    lines[50] = ",".join([row[0], "0", *row[2:]])  # a moving car does not stop for one row
    row = lines[70].split(",")
    lines[70] = ",".join([row[0], "", *row[2:]])
    row = lines[80].split(",")
    lines[80] = ",".join([*row[:3], "NO DATA", row[4]])
    row = lines[90].split(",")
    lines[90] = ",".join([row[0], "-12", *row[2:]])
    log = read(tmp_path, "\n".join(lines))
    assert log.distance_m == pytest.approx(METRES, rel=2e-3)
    for flag, places in ((Quality.SPIKE, [49]), (Quality.OUT_OF_RANGE, [89]), (Quality.FILLED, [49, 69, 79, 89])):
        assert np.flatnonzero(log.flagged(flag)).tolist() == places
    assert {
        "vehicle speed: values that jump away and back, left empty",
        "vehicle speed: values out of range, left empty",
    } <= {repair.what for repair in log.repairs}
    stuck = [
        line if i < 30 else ",".join([*line.split(",")[:1], "55", *line.split(",")[2:]]) for i, line in enumerate(lines)
    ]
    log = read(tmp_path, "\n".join(stuck))
    assert log.flagged(Quality.STUCK).sum() > 60
    assert log.table["speed_m_s"].isna().sum() > 60


def test_a_speed_of_zero_under_an_engine_that_pulls_is_not_believed(tmp_path):
    lines = (LOGS / "live1.csv").read_bytes().split(b"\r\n")
    rows = [line.split(b",") for line in lines[1:-1]]
    dead = [b",".join([*row[:2], b" 0.000000", *row[3:]]) for row in rows]
    log = read(tmp_path, b"\r\n".join([lines[0], *dead, b""]))
    assert log.distance_m is None
    assert any("vehicle speed: stuck" in repair.what for repair in log.repairs)
    assert not any("stuck" in repair.what for repair in read_log(LOGS / "idle1.csv").repairs)


def test_broken_rows_lose_their_values_and_nothing_else(tmp_path):
    lines = wide(PLAIN).splitlines()
    lines[30] = lines[30][:9]
    lines[60] = lines[60] + ",7,8,9"
    lines[90:91] = [lines[90][:12], lines[90][12:]]
    log = read(tmp_path, "\n".join(lines) + "\n" + lines[0] + "\n")
    assert log.rows == 120
    assert np.flatnonzero(log.flagged(Quality.BROKEN_ROW)).tolist() == [29, 59, 89]
    assert log.distance_m == pytest.approx(METRES, rel=1e-3)
    assert {
        ("rows with too few cells (cut short), values not used", 1),
        ("rows with too many cells, values not used", 1),
        ("rows broken over two lines, joined", 1),
        ("repeated header lines left out", 1),
    } <= {(r.what, r.count) for r in log.repairs}


def test_units_that_cannot_be_are_not_believed(tmp_path):
    log = read(tmp_path, wide(PLAIN + ",coolant", air="104,190"))
    uses = {column.header: column for column in log.columns}
    assert uses["iat"].use == uses["coolant"].use == "not understood"
    flow = fuel_flow(log, ENGINE)
    assert flow.source == "none"
    assert any("intake air temperature" in reason for reason in flow.why_not)
    log = read(
        tmp_path,
        wide(PLAIN + ",coolant", air="104,190"),
        columns={"iat": "intake air temperature (degF)", "coolant": "coolant temperature (degF)"},
    )
    assert float(log.table["coolant_temperature_k"].iloc[0]) == pytest.approx(273.15 + (190 - 32) / 1.8)


def test_columns_are_listed_never_dropped(tmp_path):
    log = read(tmp_path, wide("time,speed,rpm,wobble,iat"))
    assert [column.header for column in log.columns] == ["time", "speed", "rpm", "wobble", "iat"]
    assert log.columns[3].use == "not understood"
    log = read(tmp_path, wide("time,speed,rpm,wobble,iat"), columns={"wobble": "manifold pressure (kPa)"})
    assert "manifold_pressure_pa" in log.table
    with pytest.raises(InputError, match="no such column"):
        read(tmp_path, wide(PLAIN), columns={"spead": "vehicle speed (mph)"})
    with pytest.raises(InputError, match="wibble"):
        read(tmp_path, wide(PLAIN), columns={"speed": "wibble (mph)"})


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n\n",
        "hello",
        "a,b\n1,2\n",
        "time,speed\n",
        "time,speed\n1,2\n",
        wide("speed,rpm,map,iat,x"),
        wide(PLAIN, lambda t: "7"),
        b"\x00\x01\x02" * 50,
        wide("time,speed,rpm"),
        wide(PLAIN, mark=",", comma=True),
        wide("time,speed,rpm,map,iat,coolant,load"),
    ],
)
def test_what_is_no_log_is_refused_in_words(tmp_path, text):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert all(problem.read for problem in caught.value.problems)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_log(tmp_path / "none.csv")
    with pytest.raises(InputError, match="a folder"):
        read_log(tmp_path)


@pytest.mark.parametrize(
    ("name", "rows", "duration", "kilometres"),
    [("idle1", 1213, 590, 0.0), ("drive1", 2709, 1330, 6.61), ("live1", 3853, 1893, 10.31)],
)
def test_real_logs(name, rows, duration, kilometres):
    log = read_log(LOGS / f"{name}.csv")
    assert log.rows == rows
    assert log.duration_s == pytest.approx(duration, abs=1.5)
    assert log.distance_m == pytest.approx(1000 * kilometres, rel=0.002, abs=0.1)
    assert len(log.columns) == 27
    assert not [column for column in log.columns if column.use == "not understood"]
    ratio = next(column for column in log.columns if "EQUIV" in column.header)
    assert ratio.use == "not reported"


# --- damage -----------------------------------------------------------------------------------------------------------


def damaged(data: bytes, draw: random.Random) -> bytes:
    """Return a log after one kind of accident."""
    lines = data.split(b"\r\n")
    kind = draw.choice(["bytes", "cut", "insert", "cell", "rows", "header", "end", "drop cell", "clock", "newline"])
    raw = bytearray(data)
    if kind == "bytes":
        for _ in range(draw.choice([1, 5, 60])):
            raw[draw.randrange(len(raw))] = draw.randrange(256)
    elif kind == "cut":
        for _ in range(draw.choice([1, 4])):
            place = draw.randrange(len(raw))
            del raw[place : place + draw.choice([1, 7, 900])]
    elif kind == "insert":
        for _ in range(draw.choice([1, 9])):
            place = draw.randrange(len(raw))
            raw[place:place] = draw.choice([b",", b"\n", b'"', b";", b"\0", b"9", b"-", b"\xff", b"\r", b"nan"])
    elif kind == "end":
        del raw[draw.randrange(1, len(raw)) :]
    elif kind == "header":
        head = bytearray(lines[0])
        for _ in range(draw.choice([1, 3])):
            head[draw.randrange(len(head))] = draw.choice(b"AXQ_,; ()0")
        raw = bytearray(b"\r\n".join([bytes(head), *lines[1:]]))
    else:
        for _ in range(draw.choice([1, 20])):
            place = draw.randrange(1, len(lines) - 1)
            cells = lines[place].split(b",")
            spot = draw.randrange(len(cells))
            if kind == "cell":
                cells[spot] = draw.choice([b"", b"inf", b"1e99", b"-5", b"NO DATA", b"12:00", b"99999", b"0"])
            elif kind == "drop cell":
                del cells[spot]
            elif kind == "clock":
                cells[0] = draw.choice([b"0", b"", b"99999", b"-1"])
            elif kind == "newline":
                cells[spot] = cells[spot][:2] + b"\r\n" + cells[spot][2:]
            elif kind == "rows":
                lines[place], lines[-2] = lines[-2], lines[place]
                continue
            lines[place] = b",".join(cells)
        raw = bytearray(b"\r\n".join(lines))
    return bytes(raw)


def test_damaged_logs_give_a_table_with_flags_or_a_clear_error(tmp_path):
    lines = (LOGS / "drive1.csv").read_bytes().split(b"\r\n")
    data = b"\r\n".join([lines[0], *lines[100:500], b""])
    engine = LoggedEngine(1.496e-3)
    whole = read(tmp_path, data)
    litres = fuel_flow(whole, engine).litres
    plain = {repair.what for repair in whole.repairs}
    for seed in range(of_study(80, 250)):
        try:
            log = read(tmp_path, damaged(data, random.Random(seed)))
        except InputError:
            continue
        flow = fuel_flow(log, engine)
        told = (
            {repair.what for repair in log.repairs} - plain
            or log.notes[1:]
            or any(column.use in ("not understood", "not used") for column in log.columns)
        )
        assert np.isfinite(log.table["time_s"]).all(), seed
        assert (np.diff(log.table["time_s"]) > 0).all(), seed
        if flow.litres is None or log.rows < whole.rows - 5:  # rows gone at the end or in the middle leave no trace
            continue
        assert told or abs(flow.litres / litres - 1) < 0.02, (seed, flow.litres, litres)


@settings(max_examples=of_study(60, 150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(
        st.binary(max_size=300),
        st.text(max_size=300).map(str.encode),
        st.lists(
            st.lists(
                st.sampled_from(["1", "2.5", "x", "", "time", "speed", "rpm", "10:00", "-3", '"', "1,2"]), max_size=5
            ).map(",".join),
            max_size=12,
        )
        .map("\n".join)
        .map(str.encode),
    )
)
def test_any_bytes_give_a_table_or_a_clear_error(tmp_path, data):
    try:
        log = read(tmp_path, data)
    except InputError:
        return
    assert log.rows >= 2


@given(st.sampled_from(sorted(BY_NAME)), st.sampled_from(["", " ", "_"]))
def test_every_parameter_is_found_by_its_own_words(name, gap):
    parameter = BY_NAME[name]
    for phrase in parameter.synonyms:
        column = match_header(phrase.upper().replace(" ", gap or " "))
        if gap:
            assert column.parameter == name, phrase
    assert unit_factor(parameter.kind, parameter.usual_unit) is not None
