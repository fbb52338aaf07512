"""Works on disk: what is saved comes back, whole or not at all; names from outside reach nothing; damage stays local.

Own rules of the project, no source.
"""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

import pytest

from energy.scenario import bundle as bundles
from energy.scenario import works
from energy.scenario.bundle import Bundle
from energy.scenario.works import Content, Step, Upload
from vehicle.problems import InputError


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(works.FOLDER_VARIABLE, str(tmp_path / "works"))
    return tmp_path / "works"


@pytest.fixture
def van_bundle(demos: Path) -> Bundle:
    return bundles.from_folder(demos / "van_water_tank" / "scenario.toml")


def _content(bundle: Bundle, steps: int = 3) -> Content:
    found = [Step(bundles.with_value(bundle, "trip.road_speed", f"{60 + k} km/h"), bundle) for k in range(steps)]
    typed = {"own mass": "5070 lb", "plan seed": 3, "hold drive.ratio": True, "road columns": {"v": "vehicle speed"}}
    uploads = {"pitch": (Upload("../<b>ä</b>.csv", bytes(range(256))),)}
    return Content(bundle, tuple(found), 1, "us", typed, uploads)


def test_what_is_saved_comes_back_the_same(folder: Path, van_bundle: Bundle) -> None:
    content = _content(van_bundle)
    mark = works.saved("abc123", content)
    assert works.opened("abc123") == works.Opened(content, "", mark)
    assert not list(folder.rglob("*.pkl"))
    assert {p.name for p in folder.rglob("*") if p.is_file()} - {"work.json"} == {
        p.name for p in (folder / "abc123" / "files").iterdir()
    }


def test_a_change_that_cannot_be_written_leaves_the_work_as_it_was(
    folder: Path, van_bundle: Bundle, monkeypatch: pytest.MonkeyPatch
) -> None:
    works.saved("abc123", _content(van_bundle))
    before = works.opened("abc123")
    real = os.replace

    def full(source: str, target: Path) -> None:
        if Path(target).name == "work.json":
            raise OSError(28, "No space left on device")
        real(source, target)

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(InputError, match="No space left on device"):
        works.saved("abc123", _content(van_bundle, 5))
    monkeypatch.setattr(os, "replace", real)
    assert works.opened("abc123") == before
    assert not list(folder.rglob(".windtoll-*"))


_HOSTILE = ["", "..", "../abc123", "/etc", "abc/123", "abc\\123", "abc123\n", "abc\0123", "ABC123", "äbc123", "١٢٣٤٥٦"]
_HOSTILE += [".deleted", "a" * 300, "%2e%2e", "con", "abc123 ", "~abc123", "C:abc123"]


@pytest.mark.parametrize("key", _HOSTILE)
def test_a_hostile_key_reaches_nothing(folder: Path, van_bundle: Bundle, key: str) -> None:
    works.saved("abc123", _content(van_bundle))
    before = {p: p.stat().st_mtime_ns for p in folder.parent.rglob("*")}
    assert works.mark_of(key) == ""
    for act in (
        works.opened,
        works.duplicated,
        works.deleted,
        works.restored,
        lambda k: works.renamed(k, "x"),
        lambda k: works.saved(k, _content(van_bundle)),
    ):
        with pytest.raises(InputError, match="the key of one of your works"):
            act(key)
    assert {p: p.stat().st_mtime_ns for p in folder.parent.rglob("*")} == before


def test_a_link_to_another_place_is_not_followed(folder: Path, van_bundle: Bundle, tmp_path: Path) -> None:
    works.saved("abc123", _content(van_bundle))
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "work.json").write_bytes((folder / "abc123" / "work.json").read_bytes())
    (folder / "def456").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="a link to another place"):
        works.opened("def456")
    assert [entry.key for entry in works.listed()[0]] == ["abc123"]
    secret = tmp_path / "secret.txt"
    secret.write_text("x")
    digest = next((folder / "abc123" / "files").iterdir())
    digest.unlink()
    digest.symlink_to(secret)
    assert works_is_hurt("abc123")


def works_is_hurt(key: str) -> bool:
    try:
        return bool(works.opened(key).lost)
    except InputError:
        return True


@pytest.mark.parametrize(
    "damage",
    [
        b"",
        b"{",
        b"[]",
        b'{"windtoll_work": 1}',
        b"\xff\xfe\0",
        b'{"a":' * 5000,
        b"\x80\x04\x95",
    ],
)
def test_a_damaged_work_is_named_and_the_rest_opens(folder: Path, van_bundle: Bundle, damage: bytes) -> None:
    works.saved("abc123", _content(van_bundle))
    works.saved("def456", _content(van_bundle))
    (folder / "def456" / "work.json").write_bytes(damage)
    found, problems = works.listed()
    assert [entry.key for entry in found] == ["abc123"]
    assert len(problems) == 1
    assert str(folder / "def456" / "work.json") in str(problems[0])
    assert "is damaged" in str(problems[0])
    with pytest.raises(InputError, match="is damaged"):
        works.opened("def456")
    assert works.opened("abc123").content == _content(van_bundle)
    works.saved("def456", _content(van_bundle))  # what is written anew is whole again
    assert works.opened("def456").content == _content(van_bundle)


def test_damage_of_a_part_costs_that_part_only(folder: Path, van_bundle: Bundle) -> None:
    content = _content(van_bundle)
    works.saved("abc123", content)
    index = json.loads((folder / "abc123" / "work.json").read_text())
    files = folder / "abc123" / "files"
    (files / index["steps"][0]["bundle"]["text"]).write_bytes(b"other")
    (files / index["uploads"]["pitch"][0][1]).unlink()
    found = works.opened("abc123")
    assert found.content.step == content.step
    assert found.content.steps == content.steps[1:]
    assert found.content.at == 0
    assert found.content.uploads == {}
    assert len(found.lost) == 2
    (files / index["steps"][1]["bundle"]["text"]).write_bytes(b"other")
    with pytest.raises(InputError, match="is damaged"):
        works.opened("abc123")


def test_rename_duplicate_delete_and_restore(folder: Path, van_bundle: Bundle) -> None:
    works.saved("abc123", _content(van_bundle))
    assert works.listed()[0][0].called == van_bundle.data()["title"]
    works.renamed("abc123", "  Roof\n mill " + "x" * 200)
    assert works.listed()[0][0].called.startswith("Roof mill xxx")
    assert len(works.listed()[0][0].called) == works.MOST_NAME
    works.saved("abc123", _content(van_bundle, 4))  # a change keeps the name
    assert works.opened("abc123").name.startswith("Roof mill")
    copy = works.duplicated("abc123")
    assert works.opened(copy).content == works.opened("abc123").content
    works.deleted("abc123")
    assert [entry.key for entry in works.listed()[0]] == [copy]
    assert [entry.key for entry in works.deleted_works()] == ["abc123"]
    works.restored("abc123")
    assert works.opened("abc123").content == _content(van_bundle, 4)
    works.deleted("abc123")
    old = time.time() - works.KEPT_DELETED_S - 1
    os.utime(folder / ".deleted" / "abc123", (old, old))
    assert works.deleted_works() == []
    with pytest.raises(InputError, match="cannot be restored"):
        works.restored("abc123")


def test_steps_are_bounded_and_files_of_no_step_go(
    folder: Path, van_bundle: Bundle, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(works, "MOST_STEPS", 40)
    works.saved("abc123", Content(van_bundle, _content(van_bundle, works.MOST_STEPS + 9).steps, works.MOST_STEPS + 8))
    found = works.opened("abc123").content
    assert len(found.steps) == works.MOST_STEPS
    assert found.step.bundle.data()["trip"]["road_speed"] == f"{60 + works.MOST_STEPS + 8} km/h"
    files = folder / "abc123" / "files"
    orphan = files / ("0" * 64)
    orphan.write_bytes(b"x")
    works.saved("abc123", found)
    assert orphan.exists()  # it may belong to a change that is being written
    os.utime(orphan, (1, 1))
    works.saved("abc123", found)
    assert not orphan.exists()
    assert works.opened("abc123").content == found


def test_every_change_has_another_mark(folder: Path, van_bundle: Bundle) -> None:
    marks = [works.saved("abc123", _content(van_bundle)) for _ in range(20)]
    assert len(set(marks)) == 20
    assert works.mark_of("abc123") == marks[-1]
    assert works.mark_of("def456") == ""


@pytest.mark.skipif(os.name != "posix", reason="permissions of Unix")
def test_only_the_user_looks_into_a_work(folder: Path, van_bundle: Bundle) -> None:
    works.saved("abc123", _content(van_bundle))
    assert (folder / "abc123" / "files").stat().st_mode & 0o077 == 0
