"""Uploads with bytes changed, too much inside, or locked: a sentence or the files, never another error."""

from __future__ import annotations

import io
import tracemalloc
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests_support import of_study

from energy.scenario import bundle as bundles
from energy.scenario import road_uploads
from vehicle.problems import InputError

TEXT = b"[air]\nwind_speed = '3 m/s'\n" * 40


def _zip(method: int, files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()


WHOLE = {
    method: _zip(method, {"scenario.toml": TEXT, "a.csv": b"1,2\n" * 50})
    for method in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
}


@settings(max_examples=of_study(400, 1500))
@given(st.sampled_from(sorted(WHOLE)), st.integers(0, 10**6), st.integers(0, 255), st.booleans())
def test_a_changed_byte_is_told_or_does_not_matter(method: int, place: int, value: int, cut: bool) -> None:
    content = bytearray(WHOLE[method])
    place %= len(content)
    content[place] = value
    try:
        found = bundles.unzipped("x.zip", bytes(content[:place] if cut else content))
    except InputError:
        return
    assert all(isinstance(inner, bytes) for _, inner in found)


def test_a_whole_zip_of_each_method_is_read() -> None:
    for content in WHOLE.values():
        assert dict(bundles.unzipped("x.zip", content))["scenario.toml"] == TEXT


def test_a_small_zip_that_grows_is_refused_while_it_is_unpacked() -> None:
    bomb = _zip(zipfile.ZIP_DEFLATED, {f"{k}.csv": b"0" * road_uploads.MOST_LOG_BYTES for k in range(8)})
    assert len(bomb) < 1_000_000
    tracemalloc.start()
    with pytest.raises(InputError, match="unpacked"):
        road_uploads.taken([("test.zip", bomb)])
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < road_uploads.MOST_TEST_BYTES + 2.5 * road_uploads.MOST_LOG_BYTES


def test_what_several_zips_hold_counts_together() -> None:
    """Each is within the limit by itself."""
    files = {f"{k}.csv": b"0" * bundles.MOST_FILE_BYTES for k in range(3)}
    zips = [(f"{k}.zip", _zip(zipfile.ZIP_DEFLATED, files)) for k in range(2)]
    toml = ("scenario.toml", TEXT)
    with pytest.raises(InputError, match="unpacked"):
        bundles.from_uploads([toml, *zips])
    most = road_uploads.MOST_TEST_BYTES // road_uploads.MOST_LOG_BYTES
    logs = {f"{k}.csv": b"0" * road_uploads.MOST_LOG_BYTES for k in range(most)}
    first, second = _zip(zipfile.ZIP_DEFLATED, logs), _zip(zipfile.ZIP_DEFLATED, {"more.csv": b"1"})
    with pytest.raises(InputError, match="unpacked"):
        road_uploads.taken([("a.zip", first), ("b.zip", second)])


def test_a_locked_zip_is_called_so() -> None:
    content = bytearray(_zip(zipfile.ZIP_STORED, {"a.csv": b"1"}))
    for signature, flags in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
        content[content.index(signature) + flags] |= 1
    with pytest.raises(InputError, match="password"):
        bundles.unzipped("x.zip", bytes(content))


def test_an_integer_of_thousands_of_digits_is_told() -> None:
    for name in ("scenario.toml", "runs.toml"):
        content = b"x = " + b"9" * 5000
        with pytest.raises(InputError, match="not TOML"):
            (bundles.from_uploads if name[0] == "s" else road_uploads.taken)([(name, content)])


def test_an_interrupted_copy_of_the_examples_leaves_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from click.testing import CliRunner

    from energy.commands.example import command

    done = 0
    rename = Path.rename

    def interrupted(self: Path, target: Path) -> Path:
        nonlocal done
        done += 1
        if done == 3:
            raise KeyboardInterrupt
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", interrupted)
    CliRunner().invoke(command, [str(tmp_path / "mine")])
    assert list((tmp_path / "mine").iterdir()) == []
