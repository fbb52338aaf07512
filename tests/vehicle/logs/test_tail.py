"""A recording looked at while it is written: only its tail is read, and what stops, is cut or replaced is told."""

from __future__ import annotations

import os
import stat
import time
from pathlib import Path
from typing import BinaryIO

import pytest

from vehicle.logs.tail import TAIL_BYTES, look_at, newest_recording
from vehicle.problems import InputError
from vehicle.recording.row_file import COLUMNS


def row(second: float, speed: float, state: str = "working", gap: str = "", coolant: str = "") -> str:
    cells = {"time_s": f"{second:.4f}", "time_utc": "", "row_duration_s": "0.2", "state": state, "gap": gap}
    if not gap:
        cells |= {"vehicle_speed_km_h": f"{speed:g}", "engine_speed_rpm": "1700", "coolant_temperature_degc": coolant}
    return ",".join(cells.get(column, "") for column in COLUMNS) + "\n"


def begun(path: Path, rows: int, coolant: str = "") -> Path:
    first = row(0, 50, coolant=coolant)
    path.write_text(",".join(COLUMNS) + "\n" + first + "".join(row(k, 50 + k % 7) for k in range(1, rows)))
    return path


def test_rows_and_values_grow_and_half_a_row_is_not_read(tmp_path: Path) -> None:
    path = begun(tmp_path / "run.csv", 20)
    first = look_at(path, None, time.time())
    assert (first.rows, first.duration_s, first.state) == (20, pytest.approx(19), "working")
    assert first.values["speed_m_s"] == pytest.approx((50 + 19 % 7) / 3.6)
    whole = row(20, 80)
    with path.open("a") as file:
        file.write(whole[:-9])
    half = look_at(path, first.seen, time.time())
    assert (half.rows, half.values) == (20, first.values)
    with path.open("a") as file:
        file.write(whole[-9:] + row(21, 90, "stowed"))
    then = look_at(path, half.seen, time.time())
    assert (then.rows, then.state) == (22, "stowed")
    assert then.values["speed_m_s"] == pytest.approx(90 / 3.6)


class _Counted:
    """A file of which is counted how much was read."""

    def __init__(self, file: BinaryIO, read: list[int]) -> None:
        self.file, self.sizes = file, read

    def __enter__(self) -> _Counted:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> object:
        return getattr(self.file, name)

    def read(self, size: int = -1) -> bytes:
        data = self.file.read(size)
        self.sizes.append(len(data))
        return data


def test_a_long_recording_is_read_from_its_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = begun(tmp_path / "run.csv", 100_000, coolant="88")
    first = look_at(path, None, time.time())
    assert (first.rows, first.duration_s) == (100_000, pytest.approx(99_999))
    assert "coolant_temperature_k" not in first.values  # said once, a day ago
    with path.open("a") as file:
        file.write(row(100_000, 123))
    sizes: list[int] = []
    counted = lambda *given: _Counted(open(*given), sizes)  # noqa: E731, SIM115
    monkeypatch.setattr("vehicle.logs.tail.open", counted, raising=False)
    then = look_at(path, first.seen, time.time())
    assert 0 < sum(sizes) < 2 * TAIL_BYTES < path.stat().st_size / 20  # of some megabytes
    assert then.rows == 100_001
    assert then.duration_s == pytest.approx(100_000)
    assert then.values["speed_m_s"] == pytest.approx(123 / 3.6)


def test_a_replaced_or_cut_file_is_begun_anew(tmp_path: Path) -> None:
    path = begun(tmp_path / "run.csv", 50)
    seen = look_at(path, None, time.time()).seen
    other = begun(tmp_path / "new", 80)
    os.replace(other, path)
    assert look_at(path, seen, time.time()).rows == 80
    seen = look_at(path, None, time.time()).seen
    begun(path, 5)  # the same file, cut
    assert look_at(path, seen, time.time()).rows == 5


def test_silence_and_a_lost_adapter_are_told(tmp_path: Path) -> None:
    path = begun(tmp_path / "run.csv", 10)
    look = look_at(path, None, path.stat().st_mtime + 3)
    assert not look.stopped
    assert look_at(path, None, path.stat().st_mtime + 6).stopped
    with path.open("a") as file:
        file.write(row(10, 0, gap="begin: the adapter does not answer"))
    assert look_at(path, look.seen, time.time()).gap == "the adapter does not answer"
    with path.open("a") as file:
        file.write(row(20, 60, gap="").replace(",working,,,", ",working,,end: 9.0 s,"))
    assert look_at(path, look.seen, time.time()).gap == ""


def test_what_may_be_looked_at(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file or folder yet"):
        newest_recording(tmp_path / "none.csv")
    with pytest.raises(InputError, match="no CSV file in this folder yet"):
        newest_recording(tmp_path)
    old, new = begun(tmp_path / "b.csv", 3), begun(tmp_path / "a.csv", 3)
    os.utime(old, (1, 1))
    assert newest_recording(tmp_path) == new
    assert newest_recording(old) == old
    (tmp_path / "secret.txt").write_text("x")
    with pytest.raises(InputError, match=r"a file of kind \.txt"):
        newest_recording(tmp_path / "secret.txt")
    os.mkfifo(tmp_path / "pipe.csv")
    with pytest.raises(InputError, match="no plain file"):
        newest_recording(tmp_path / "pipe.csv")
    with pytest.raises(InputError):
        newest_recording(Path("\0.csv"))
    with pytest.raises(InputError, match="cannot be looked at"):
        newest_recording(old / "inside.csv")  # "inside" a file
    empty = tmp_path / "empty.csv"
    for text, words in (
        ("", "no whole row yet"),
        (",".join(COLUMNS) + "\n1,2", "no whole row yet"),
        ("a,b\n1,2\n", r"empty\.csv"),
    ):
        empty.write_text(text)
        with pytest.raises(InputError, match=words):
            look_at(empty, None, time.time())


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="permissions bind other users only")
def test_a_file_that_may_not_be_read_is_told(tmp_path: Path) -> None:
    path = begun(tmp_path / "run.csv", 5)
    path.chmod(0)
    with pytest.raises(InputError, match="cannot be read"):
        look_at(path, None, time.time())
    path.chmod(stat.S_IRUSR)


def test_a_parameter_that_stopped_is_old_and_all_are_while_it_waits(tmp_path: Path) -> None:
    path = begun(tmp_path / "run.csv", 20, coolant="88")
    with path.open("a") as file:
        file.write("".join(row(k, 60).replace(",1700,", ",,") for k in range(20, 25)))
    look = look_at(path, None, time.time())
    assert look.ages_s["engine_speed_rad_s"] == pytest.approx(5.0)
    assert look.old == {"engine_speed_rad_s"}  # the coolant's single value may still come again
    with path.open("a") as file:
        file.write(row(25, 0, gap="begin: the adapter does not answer"))
    assert look_at(path, None, time.time()).old == set(look.values)
