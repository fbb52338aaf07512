"""What a recording leaves on the disk, and what spoils it."""

from __future__ import annotations

import os
import threading
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vehicle.problems import InputError
from vehicle.recording import row_file
from vehicle.recording.loop import Settings, record
from vehicle.recording.row_file import RowFile, append_run


@settings(max_examples=60)
@given(
    notes=st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\r"), max_size=40),
    earlier=st.sampled_from(
        ["", "# mine\n", '[columns]\nspeed = "GPS"', '[[run]]\nfile = "a.csv"   # keep\n\n[fuel]\nprice = 1.7\n']
    ),
)
def test_manifest_keeps_its_earlier_text(tmp_path_factory: pytest.TempPathFactory, notes: str, earlier: str) -> None:
    manifest = tmp_path_factory.mktemp("manifest") / "runs.toml"
    if earlier:
        manifest.write_text(earlier)
    append_run(manifest, {"file": "b.csv", "notes": notes, "pair": 3})
    text = manifest.read_bytes().decode()
    assert text.startswith(earlier)
    last = tomllib.loads(text)["run"][-1]
    assert last == {"file": "b.csv", "pair": 3, **({"notes": notes} if notes else {})}
    assert [path.name for path in manifest.parent.iterdir()] == ["runs.toml"]


def test_of_recorders_that_begin_at_once_none_loses_the_run_of_another(tmp_path: Path) -> None:
    start = threading.Barrier(6)

    def begin(number: int) -> None:
        start.wait()
        for run in range(5):
            append_run(tmp_path / "runs.toml", {"file": f"{number}_{run}.csv"})

    with ThreadPoolExecutor(6) as recorders:
        list(recorders.map(begin, range(6)))
    listed = [run["file"] for run in tomllib.loads((tmp_path / "runs.toml").read_text())["run"]]
    assert sorted(listed) == sorted(f"{number}_{run}.csv" for number in range(6) for run in range(5))
    assert [path.name for path in tmp_path.iterdir()] == ["runs.toml"]


@pytest.mark.parametrize("earlier", ["run = [1]\n", "[[run]\n", "[run]\nfile = 1\n", "\xff"])
def test_manifest_that_cannot_take_a_run_is_left_alone(tmp_path: Path, earlier: str) -> None:
    manifest = tmp_path / "runs.toml"
    manifest.write_bytes(earlier.encode("latin-1"))
    with pytest.raises(InputError, match=r"runs\.toml"):
        append_run(manifest, {"file": "b.csv"})
    assert manifest.read_bytes() == earlier.encode("latin-1")


def test_broken_manifest_is_told_before_the_drive(tmp_path: Path) -> None:
    (tmp_path / "runs.toml").write_text("[[run]\n")
    with pytest.raises(InputError, match="not TOML"):
        record(Settings(tmp_path, port=str(tmp_path / "nowhere")))


def test_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").touch()
    with pytest.raises(InputError, match="cannot be made"):
        record(Settings(tmp_path / "taken", port=str(tmp_path / "nowhere")))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
def test_full_disk_is_an_error_and_not_a_silent_loss(monkeypatch: pytest.MonkeyPatch) -> None:
    opened = os.open
    monkeypatch.setattr(row_file.os, "open", lambda path, flags, mode=0o777: opened("/dev/full", os.O_WRONLY))
    with pytest.raises(OSError, match="No space left"):
        RowFile(Path("any.csv"))
