"""The one writer of outputs, and inputs that are no files. Own rules of the project, no source."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from vehicle import files
from vehicle.files import MARK, checked_output, read_by_run, read_input, refused_by_windows, write_output, write_whole
from vehicle.problems import InputError

POSIX = pytest.mark.skipif(os.name != "posix", reason="links, pipes and devices of POSIX")


def test_a_new_file_is_written_and_a_foreign_one_is_kept(tmp_path: Path) -> None:
    target = tmp_path / "notes.txt"
    write_output(target, b"first")
    with pytest.raises(InputError, match="exists already"):
        write_output(target, b"second")
    assert target.read_bytes() == b"first"
    write_output(target, b"second", force=True)
    assert target.read_bytes() == b"second"
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_what_windtoll_drew_is_drawn_anew(tmp_path: Path) -> None:
    target = tmp_path / "x.html"
    target.write_bytes(f'<meta name="generator" content="{MARK}">'.encode())
    write_output(target, b"new")
    assert target.read_bytes() == b"new"
    target.write_bytes(b" " * 2000 + MARK.encode())  # the mark somewhere in a text is no mark
    with pytest.raises(InputError, match="exists already"):
        write_output(target, b"newer")


@pytest.mark.parametrize("link", ["", "symbolic", "hard"])
def test_an_input_is_never_replaced(tmp_path: Path, link: str) -> None:
    source = tmp_path / "scenario.toml"
    source.write_text(f"# {MARK}")
    target = tmp_path / "out"
    if link == "symbolic":
        target.symlink_to(source)
    elif link == "hard":
        os.link(source, target)
    else:
        target = tmp_path / "." / "scenario.toml"
    with pytest.raises(InputError, match="input of this run"):
        write_output(target, b"x", [source, tmp_path / "none"], force=True)
    assert source.read_text() == f"# {MARK}"


@POSIX
def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    real, link = tmp_path / "there" / "real.svg", tmp_path / "link.svg"
    link.symlink_to(real)
    write_output(link, b"one")
    assert link.is_symlink()
    assert real.read_bytes() == b"one"
    real.chmod(0o600)
    write_output(link, b"two", force=True)
    assert (real.read_bytes(), real.stat().st_mode & 0o777) == (b"two", 0o600)


@POSIX
def test_devices_pipes_folders_and_odd_names_are_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    circle = tmp_path / "circle"
    circle.symlink_to(circle)
    for path in (
        tmp_path / "pipe",
        Path("/dev/null"),
        tmp_path,
        circle,
        tmp_path / "none" / "x",
        tmp_path / ("a" * 300),
    ):
        with pytest.raises(InputError):
            checked_output(path, force=True)
    with pytest.raises(InputError):
        checked_output(Path("a\0b"))


@POSIX
def test_a_disk_that_is_full_leaves_what_was_there(tmp_path: Path) -> None:
    """The limit of file size of POSIX (setrlimit) stands for the disk: the kernel refuses the write half way."""
    target = tmp_path / "x.csv"
    target.write_bytes(b"before")
    code = (
        "import resource, sys; from pathlib import Path; from vehicle.files import write_output\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))\n"
        "write_output(Path(sys.argv[1]), b'x' * 100_000, force=True)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(target)], capture_output=True, text=True, check=False)
    assert "InputError" in done.stderr
    assert "cannot be written (File too large)" in done.stderr
    assert target.read_bytes() == b"before"
    assert [path.name for path in tmp_path.iterdir()] == ["x.csv"]


def test_nothing_is_left_where_replacing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "x", b"x")
    assert list(tmp_path.iterdir()) == []


@POSIX
def test_only_regular_files_of_bounded_size_are_read(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")  # opening it would wait for a writer for ever
    large = tmp_path / "large"
    large.write_bytes(b"x" * 11)
    for path in (tmp_path / "pipe", Path("/dev/zero"), large, tmp_path):
        with pytest.raises(InputError):
            read_input(path, 10, "a file")
    assert read_input(large, 11, "a file") == b"x" * 11


@POSIX
def test_no_room_for_temporary_files_is_told(tmp_path: Path) -> None:
    """As on a full disk: a file may have ten bytes, in a process of its own; the error is not that of some output."""
    code = (
        "import resource\n"
        "from vehicle.files import temporary_files\n"
        "from vehicle.problems import InputError\n"
        "_, most = resource.getrlimit(resource.RLIMIT_FSIZE)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (10, most))\n"
        "try:\n"
        "    with temporary_files([('a.csv', b'x' * 11)]): print('written')\n"
        "except InputError as error: print(error)\n"
    )
    env = {**os.environ, "TMPDIR": str(tmp_path), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env)
    assert "cannot be written (File too large)" in done.stdout
    assert str(tmp_path) in done.stdout
    assert list(tmp_path.iterdir()) == []


def test_only_what_was_left_long_ago_is_called_left_behind(tmp_path: Path) -> None:
    for name in (".windtoll-old", ".windtoll-new", "old.npz"):
        (tmp_path / name).write_bytes(b"x")
        if "old" in name:
            os.utime(tmp_path / name, (0, 0))
    assert files.left_behind(tmp_path) == [tmp_path / ".windtoll-old"]
    write_whole(tmp_path / "out", b"x")
    (temporary,) = {path.name for path in tmp_path.iterdir()} - {".windtoll-old", ".windtoll-new", "old.npz"}
    assert temporary == "out"


def test_what_a_toml_file_names_is_read_by_the_run(tmp_path: Path) -> None:
    for name in ("a.csv", "b.csv", "c.csv", "d.csv"):
        (tmp_path / name).write_text("x")
    listed, plain = tmp_path / "x.toml", tmp_path / "d.csv"
    listed.write_text('[rotor]\npolar = ["a.csv", "none.csv"]\n[[run]]\nfile = "b.csv"\nodd = "a\\u0000b"\n')
    assert set(read_by_run(listed, None, plain)) == {listed, plain, tmp_path / "a.csv", tmp_path / "b.csv"}
    listed.write_text("[")  # told by whoever reads it
    assert read_by_run(listed, tmp_path / "none.toml") == (listed, tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("name", "word"),
    [
        # Names with which Windows has no file: Microsoft, "Naming Files, Paths, and Namespaces" (from memory).
        *((name, "device") for name in ("CON", "nul", "aux.csv", "Com1.log.txt", "LPT9 .csv", "prn.html")),
        *((name, "sign") for name in ("12:30.csv", "what?.html", 'a"b.csv', "a|b", "a<b>.svg", "a*b", "a\tb.csv")),
        *((name, "ends with") for name in ("report.", "report. ", "notes ")),
    ],
)
def test_names_that_windows_refuses(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str, word: str) -> None:
    assert word in str(refused_by_windows(name))
    monkeypatch.setattr(files, "on_windows", lambda: True)
    with pytest.raises(InputError, match=word):
        write_output(tmp_path / name, b"x", force=True)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["console.csv", "com.csv", "com10.csv", "aux1.csv", "a b.csv", "_con.csv", "ü.html"])
def test_names_that_windows_takes(name: str) -> None:
    assert refused_by_windows(name) is None


def test_a_file_that_another_program_lets_go_is_replaced_and_one_that_it_keeps_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    target, locked, real = tmp_path / "log.csv", [True, True, False], os.replace
    target.write_bytes(b"old")

    def replace(new: str, path: str) -> None:
        if locked and locked.pop(0):
            raise PermissionError(13, "in use")
        real(new, path)

    monkeypatch.setattr(files, "on_windows", lambda: True)
    monkeypatch.setattr(files, "_REPLACE_PAUSE_S", 0.0)
    monkeypatch.setattr(files.os, "replace", replace)
    write_output(target, b"new", force=True)
    assert target.read_bytes() == b"new"
    locked[:] = [True] * 99
    with pytest.raises(InputError, match="open in another program"):
        write_output(target, b"newer", force=True)
    assert target.read_bytes() == b"new"
    assert [path.name for path in tmp_path.iterdir()] == ["log.csv"]


def test_a_name_too_long_for_the_disk_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="too long a name"):
        write_output(tmp_path / ("x" * 300), b"x")
