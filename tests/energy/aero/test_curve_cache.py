"""Curves kept in the cache folder: told apart by whatever they depend on, whole, and never wrong ones."""

from __future__ import annotations

import dataclasses
import io
import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from energy.aero import curve_cache
from energy.aero.blade import BladeCurves, Corrections, CurveSettings, PitchConvention, Root, blade_from_stations
from energy.aero.curve_cache import cached_blade_curves, curves_key
from energy.aero.polar import cambered_plate_polar

BLADE = blade_from_stations([0.2, 0.6, 1.0], [0.2, 0.15, 0.1], [20.0, 8.0, 1.0], 3, Root(0.1, 0.25, 0.03, 1.1))
POLAR = cambered_plate_polar(0.05, 2e5)
RATIO, PITCH = np.array([2.0, 4.0]), np.array([0.0, 5.0, 30.0])
SETTINGS = CurveSettings(PitchConvention(0.75), Corrections(), 6, 20.0, 1.5e-5)
CURVES = BladeCurves(
    RATIO,
    PITCH,
    np.arange(6.0).reshape(3, 2),
    np.arange(6.0).reshape(3, 2) + 0.5,
    np.linspace(0, 1, 6).reshape(3, 2),
    np.array([[True, False], [False, True], [False, False]]),
    3e-12,
    ("one", "two"),
)


def variants() -> list[tuple]:
    """Everything that curves depend on, each changed alone."""
    changed = []
    for f in dataclasses.fields(BLADE):
        value = getattr(BLADE, f.name)
        other = value + "x" if isinstance(value, str) else value + 1
        changed.append((replace(BLADE, **{f.name: other}), [POLAR], RATIO, PITCH, SETTINGS))
    for f in dataclasses.fields(POLAR):
        value = getattr(POLAR, f.name)
        other = {"name": "x", "notes": ("x",), "is_estimated": False}.get(
            f.name, value if isinstance(value, str) else None
        )
        other = value * 1.01 if other is None else other
        changed.append((BLADE, [replace(POLAR, **{f.name: other})], RATIO, PITCH, SETTINGS))
    corrections = [
        *(replace(SETTINGS.corrections, **{name: False}) for name in ("tip_loss", "root_loss", "wake_rotation")),
        *(replace(SETTINGS.corrections, **{name: False}) for name in ("stall_delay", "root_drag")),
        *(replace(SETTINGS.corrections, **{name: 0.21}) for name in ("yaw_deg", "speed_factor", "blockage_area_ratio")),
    ]
    conventions = [PitchConvention(1.0), PitchConvention(0.75, "feather"), PitchConvention(0.75, "flat", "flat")]
    settings = [
        *(replace(SETTINGS, corrections=one) for one in corrections),
        *(replace(SETTINGS, convention=one) for one in conventions),
        *(replace(SETTINGS, **{name: 7}) for name in ("sections", "air_speed_m_s", "kinematic_viscosity_m2_s")),
    ]
    changed += [(BLADE, [POLAR], RATIO, PITCH, one) for one in settings]
    changed += [(BLADE, [POLAR, POLAR], RATIO, PITCH, SETTINGS), (BLADE, [POLAR], RATIO, PITCH[:2], SETTINGS)]
    changed += [(BLADE, [POLAR], RATIO * 1.01, PITCH, SETTINGS), (BLADE, [POLAR], PITCH[1:], PITCH, SETTINGS)]
    return changed


def test_a_change_of_anything_is_another_file() -> None:
    cases = [(BLADE, [POLAR], RATIO, PITCH, SETTINGS), *variants()]
    keys = [curves_key(*case) for case in cases]
    assert len(set(keys)) == len(keys) > 30


def test_the_same_numbers_in_other_clothes_are_the_same_file() -> None:
    key = curves_key(BLADE, [POLAR], RATIO, PITCH, SETTINGS)
    plain = replace(SETTINGS, sections=np.int64(6), air_speed_m_s=20, kinematic_viscosity_m2_s=np.float64(1.5e-5))
    assert curves_key(BLADE, (POLAR,), [2, 4], [0, 5, 30], plain) == key


@pytest.fixture
def computed(monkeypatch: pytest.MonkeyPatch) -> list[tuple]:
    """What was computed anew; each time it comes to the same curves."""
    calls: list[tuple] = []
    monkeypatch.setattr(curve_cache, "blade_curves", lambda *given: calls.append(given) or CURVES)
    return calls


def ask(folder: Path | None) -> BladeCurves:
    return cached_blade_curves(
        blade=BLADE, polars=[POLAR], tip_speed_ratio=RATIO, chord_angle_deg=PITCH, settings=SETTINGS, folder=folder
    )


def test_all_of_the_curves_comes_back(tmp_path: Path, computed: list[tuple]) -> None:
    assert ask(tmp_path / "new" / "folder") is CURVES
    kept = ask(tmp_path / "new" / "folder")
    assert computed == [(BLADE, [POLAR], RATIO, PITCH, SETTINGS)]
    for f in dataclasses.fields(CURVES):
        if isinstance(getattr(CURVES, f.name), np.ndarray):
            np.testing.assert_array_equal(getattr(kept, f.name), getattr(CURVES, f.name))
        else:
            assert getattr(kept, f.name) == getattr(CURVES, f.name)
    assert kept.multiple_roots.dtype == bool


@pytest.mark.parametrize(
    "spoilt",
    [
        {"power_coefficient": np.zeros((2, 3))},
        {"thrust_coefficient": np.full((3, 2), np.nan)},
        {"stalled_torque_share": np.array([[0.0, np.inf]] * 3)},
        {"multiple_roots": np.zeros((3, 3), bool)},
        {"tip_speed_ratio": np.array([2.0, 4.0, 6.0])},
        {"pitch_deg": np.array([0.0])},
        {"notes": np.array(json.dumps("no list"))},
        {"notes": np.array("no json")},
        {"worst_residual": np.array("word")},
        {"power_coefficient": None},
    ],
    ids=lambda spoilt: next(iter(spoilt)),
)
def test_a_file_that_is_not_whole_is_computed_anew(tmp_path: Path, computed: list[tuple], spoilt: dict) -> None:
    ask(tmp_path)
    (path,) = tmp_path.iterdir()
    with np.load(io.BytesIO(path.read_bytes())) as stored:
        parts = {name: stored[name] for name in stored.files} | spoilt
    with path.open("wb") as stream:
        np.savez(stream, **{name: values for name, values in parts.items() if values is not None})
    assert ask(tmp_path) is CURVES
    assert len(computed) == 2
    ask(tmp_path)  # and was kept again
    assert len(computed) == 2


def test_the_users_cache_folder_is_taken_where_none_is_given(
    tmp_path: Path, computed: list[tuple], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("platformdirs.user_cache_path", lambda name: tmp_path / name)
    ask(None)
    assert [path.suffix for path in (tmp_path / "windtoll" / "blade_curves").iterdir()] == [".npz"]


def test_settings_are_the_usual_ones_where_none_are_given(tmp_path: Path, computed: list[tuple]) -> None:
    cached_blade_curves(BLADE, [POLAR], RATIO, PITCH, folder=tmp_path)
    assert computed[0][4] == CurveSettings()


def test_the_oldest_files_go_and_nothing_else(
    tmp_path: Path, computed: list[tuple], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(curve_cache, "MOST_CACHE_FILES", 3)
    for age, name in enumerate(("newest.npz", "middle.npz", "oldest.npz", "older.txt")):
        path = tmp_path / name
        path.write_bytes(b"")
        os.utime(path, (1e9 - age, 1e9 - age))
    ask(tmp_path)
    assert {path.name for path in tmp_path.iterdir() if path.stem in ("newest", "middle", "oldest", "older")} == {
        "newest.npz",
        "middle.npz",
        "older.txt",
    }
    assert curve_cache.MOST_CACHE_FILES == 3


def test_without_a_folder_that_can_be_written_curves_are_given_all_the_same(
    tmp_path: Path, computed: list[tuple]
) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    assert ask(tmp_path / "file" / "below") is CURVES
