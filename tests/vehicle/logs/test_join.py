"""The second log: its offset found or given, its columns on the first log's clock, nothing invented."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from energy.commands.join import command
from vehicle.logs.join import join_second_log, read_log_text
from vehicle.logs.offset import find_offset
from vehicle.problems import InputError

Floats = NDArray[np.float64]


def drive(length_s: float, seed: int) -> tuple[Floats, Floats]:
    """Return a speed that wanders as traffic makes it, at 1 ms steps for exact reference values."""
    rng = np.random.default_rng(seed)
    at = np.arange(0, length_s, 5.0)
    fine = np.arange(0, length_s - 5, 0.01)
    speed = np.interp(fine, at, 60 + np.cumsum(rng.normal(0, 6, len(at))))
    return fine, speed


def seen(fine: Floats, signal: Floats, at: Floats) -> Floats:
    return np.interp(at, fine, signal)


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    offset=st.floats(-300, 300),
    step=st.sampled_from([0.1, 0.5, 1.0]),
    gain=st.floats(0.01, 50),
)
def test_offset_is_found_between_logs_of_other_rates_units_and_spans(
    seed: int, offset: float, step: float, gain: float
) -> None:
    fine, speed = drive(1200, seed)
    rng = np.random.default_rng(seed)
    first_at = np.sort(rng.uniform(0, 1190, 2400))  # about 2 a second, uneven
    second_at = np.arange(200, 1000, step)
    second = gain * seen(fine, speed, second_at) + rng.normal(0, 0.3 * gain, len(second_at))
    found = find_offset(first_at, seen(fine, speed, first_at), second_at - offset, second)
    assert found.offset_s == pytest.approx(offset, abs=0.25)
    assert found.correlation > 0.95
    assert 750 < found.overlap_s < 802  # less where uneven sampling leaves long gaps


def test_correlation_is_numpys_own_over_the_overlap() -> None:
    fine, speed = drive(300, 3)
    at = np.arange(0.0, 200, 1.0)
    first, second = seen(fine, speed, at), seen(fine, speed, at + 40) + np.sin(at)
    found = find_offset(at, first, at, second)
    lag = round(found.offset_s)
    assert lag == 40
    assert found.correlation == pytest.approx(np.corrcoef(first[lag:], second[:-lag])[0, 1], rel=1e-9)


def test_a_signal_that_repeats_itself_is_doubted() -> None:
    at = np.arange(0, 600, 0.5)
    wave = np.sin(2 * np.pi * at / 60)
    found = find_offset(at, wave, at, np.roll(wave, 7))
    assert any("repeat themselves" in doubt for doubt in found.doubts())


def test_signals_that_have_nothing_to_do_with_each_other_are_doubted() -> None:
    fine, speed = drive(900, 1)
    rng = np.random.default_rng(2)
    at = np.arange(0, 800, 1.0)
    found = find_offset(at, seen(fine, speed, at), at, rng.normal(size=len(at)))
    assert any("agree poorly" in doubt for doubt in found.doubts())


def test_search_stays_within_the_limits_given() -> None:
    fine, speed = drive(900, 4)
    at = np.arange(0, 800, 1.0)
    values = seen(fine, speed, at)
    assert find_offset(at, values, at, values, around_s=50, within_s=20).offset_s == pytest.approx(30, abs=1)


@pytest.mark.parametrize(
    ("values", "words"), [(np.ones(100), "does not change"), (np.full(100, np.nan), "only 0 samples")]
)
def test_signal_without_a_story_is_refused(values: Floats, words: str) -> None:
    at = np.arange(100.0)
    with pytest.raises(ValueError, match=words):
        find_offset(at, np.sin(at / 5), at, values)


@given(offset=st.floats(-50, 50), gap=st.floats(6, 30))
def test_nothing_is_invented_outside_the_second_log_or_in_its_gaps(offset: float, gap: float) -> None:
    second_at = np.concatenate((np.arange(0, 40, 1.0), np.arange(39 + gap, 80 + gap, 1.0)))
    at = np.arange(-60, 200, 0.7)
    joined = join_second_log({"time_s": at}, {"time_s": second_at, "watts": 3 * second_at + 1}, offset_s=offset)
    watts = joined.columns["watts"]
    own = at - offset
    covered = ((own >= 0) & (own <= 39)) | ((own >= 39 + gap) & (own <= second_at[-1]))
    edge = np.min(np.abs(own[:, None] - np.array([0, 39, 39 + gap, second_at[-1]])), axis=1) < 1e-6
    assert (np.isfinite(watts) == covered)[~edge].all()
    assert watts[covered & ~edge] == pytest.approx(3 * own[covered & ~edge] + 1)


def test_without_offset_match_or_clocks_it_asks_for_one() -> None:
    at = np.arange(20.0)
    with pytest.raises(ValueError, match="no offset"):
        join_second_log({"time_s": at}, {"time_s": at, "watts": at})


# ------------------------------------------------------------------------------------------------- files


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def recording(path: Path, fine: Floats, speed: Floats) -> Path:
    lines = ["time_s,time_utc,state,mark,vehicle_speed_km_h"]
    for at in np.arange(0, 600, 0.5):
        minutes, seconds = divmod(at, 60)
        moment = f"2026-05-01T08:{int(minutes):02d}:{seconds:06.3f}Z"
        lines.append(f"{at},{moment},working,,{np.interp(at, fine, speed):.0f}")
    return write(path, "\n".join(lines) + "\n")


def test_join_by_matching_keeps_every_cell_of_the_first(tmp_path: Path) -> None:
    fine, speed = drive(700, 8)
    first = recording(tmp_path / "run.csv", fine, speed)
    meter = "\ufeffelapsed_s;rotor_speed_rpm;watts\n" + "".join(
        f"{at:.1f};{7.5 * np.interp(at + 42, fine, speed):.1f};{at:.1f}\n".replace(".", ",") for at in range(500)
    )
    second = write(tmp_path / "meter.csv", meter)
    said = CliRunner().invoke(
        command, [str(first), str(second), "--match", "vehicle_speed_km_h", "rotor_speed_rpm", "--json"]
    )
    assert said.exit_code == 0, said.output
    answer = json.loads(said.output)
    assert answer["how"] == "correlation"
    assert answer["offset_s"] == pytest.approx(42, abs=0.3)
    assert answer["warnings"] == []
    with first.open(newline="") as file:
        before = list(csv.reader(file))
    with (tmp_path / "run_joined.csv").open(newline="") as file:
        after = list(csv.reader(file))
    assert [row[: len(before[0])] for row in after] == before
    assert after[0][-2:] == ["rotor_speed_rpm", "watts"]
    at_100 = next(row for row in after if row[0] == "100.0")
    assert float(at_100[-1]) == pytest.approx(100 - answer["offset_s"], abs=0.01)
    assert after[1][-1] == ""  # before the meter was switched on


def test_join_by_dates(tmp_path: Path) -> None:
    fine, speed = drive(700, 8)
    first = recording(tmp_path / "run.csv", fine, speed)
    second = write(
        tmp_path / "meter.csv",
        "timestamp,load_temperature_degc\n"
        + "".join(f"2026-05-01T10:0{minute}:00+02:00,{20 + minute}\n" for minute in range(1, 9)),
    )
    said = CliRunner().invoke(command, [str(first), str(second), "--longest-gap", "2 min"])
    assert said.exit_code == 0, said.output
    assert "moved by +60.00 s, from the dates in both logs" in said.output
    joined = read_log_text(tmp_path / "run_joined.csv")
    values = joined.numbers["load_temperature_degc"]
    assert np.interp(90.0, joined.numbers["time_s"], np.nan_to_num(values)) == pytest.approx(21.5)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("watts,volts\n1,2\n", "no time column"),
        ("time_s,watts\n", "no rows"),
        ("time,watts\nsoon,3\nlater,4\n", "seconds, ISO dates, or clock times"),
        (None, "no such file"),
    ],
)
def test_bad_second_log_is_one_clear_sentence(tmp_path: Path, text: str | None, words: str) -> None:
    path = tmp_path / "meter.csv"
    if text is not None:
        write(path, text)
    with pytest.raises(InputError, match=words):
        read_log_text(path)


def test_join_never_overwrites_unasked(tmp_path: Path) -> None:
    log = write(tmp_path / "a.csv", "time_s,watts\n" + "".join(f"{at},{at}\n" for at in range(20)))
    target = write(tmp_path / "out.csv", "mine")
    said = CliRunner().invoke(command, [str(log), str(log), "--offset", "0 s", "--out", str(target)])
    assert isinstance(said.exception, InputError)
    assert target.read_text() == "mine"
    said = CliRunner().invoke(command, [str(log), str(log), "--offset", "0 s", "--out", str(target), "--force"])
    assert said.exit_code == 0
    assert target.read_text().splitlines()[:2] == ["time_s,watts,second_watts", "0,0,0"]


@pytest.mark.parametrize(
    ("head", "per_second", "codec"),
    [
        ("Time [ms],watts", 1000.0, "utf-8"),
        ("Zeit (s),watts", 1.0, "cp1252"),
        ("elapsed (min),watts", 1 / 60, "utf-16-le"),
        ("Milliseconds,watts", 1000.0, "utf-8"),
    ],
)
def test_a_second_log_is_read_as_any_log_is(tmp_path: Path, head: str, per_second: float, codec: str) -> None:
    rows = "".join(f"{at * per_second:.6f},{at + 5}\n" for at in range(60))
    path = tmp_path / "meter.csv"
    path.write_bytes(f"{head}\n{rows}".encode(codec))
    log = read_log_text(path)
    assert log.numbers["time_s"][-1] == pytest.approx(59)
    assert log.numbers["watts"][10] == 15


def test_a_clock_of_a_second_log_that_may_count_minutes_is_asked_for(tmp_path: Path) -> None:
    path = write(tmp_path / "meter.csv", "time,watts\n" + "".join(f"{at / 60:.6f},{at}\n" for at in range(60)))
    with pytest.raises(InputError, match="min or s is possible"):
        read_log_text(path)
