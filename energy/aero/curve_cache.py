"""Curves computed from a blade, kept in the user's cache folder under a hash of everything that goes into them."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import io
import json
import struct
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from energy.aero.blade import Blade, BladeCurves, CurveSettings, blade_curves
from energy.aero.polar import SectionPolar
from vehicle.files import left_behind, write_whole

MOST_CACHE_FILES = 400


@functools.cache
def _code() -> bytes:
    """Return a hash over the source of this room: what another version has computed is computed anew."""
    files = sorted(Path(__file__).parent.glob("*.py"))
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).digest()


def curves_key(
    blade: Blade,
    polars: Sequence[SectionPolar],
    tip_speed_ratio: np.ndarray,
    pitch_deg: np.ndarray,
    settings: CurveSettings,
) -> str:
    """Return a hash over everything that the curves depend on, the code included, in hexadecimal.

    Parameters
    ----------
    blade : the blade
    polars : of its sections
    tip_speed_ratio : [-] (L,)
    pitch_deg : [°] (P,)
    settings : how the curves are computed

    Returns
    -------
    The hash, hexadecimal.
    """
    digest = hashlib.sha256(b"windtoll blade curves" + _code())

    def add(value: object) -> None:
        if isinstance(value, np.ndarray):
            digest.update(f"array {value.shape}".encode() + np.ascontiguousarray(value, dtype="<f8").tobytes())
        elif dataclasses.is_dataclass(value):
            for part in dataclasses.fields(value):
                digest.update(part.name.encode())
                add(getattr(value, part.name))
        else:
            digest.update(f"{type(value).__name__} {value!r};".encode())

    plain = dataclasses.replace(
        settings,
        sections=int(settings.sections),
        air_speed_m_s=float(settings.air_speed_m_s),
        kinematic_viscosity_m2_s=float(settings.kinematic_viscosity_m2_s),
    )
    for part in (blade, *polars, np.asarray(tip_speed_ratio, float), np.asarray(pitch_deg, float), plain):
        add(part)
    return digest.hexdigest()


def cached_blade_curves(
    blade: Blade,
    polars: Sequence[SectionPolar],
    tip_speed_ratio: np.ndarray,
    chord_angle_deg: np.ndarray,
    settings: CurveSettings | None = None,
    *,
    folder: Path | None = None,
) -> BladeCurves:
    """Return `blade_curves(...)`, kept in the user's cache folder (or `folder`).

    A cache file that is damaged is computed anew and replaced; a folder that cannot be written is done without.

    Parameters
    ----------
    blade : the blade
    polars : of its sections
    tip_speed_ratio : [-] (L,)
    chord_angle_deg : [°] (P,) as `blade_curves` takes them
    settings : how the curves are computed; the usual ones where not given
    folder : where to keep them; the user's cache folder where not given

    Returns
    -------
    The curves, (P, L).
    """
    settings = settings or CurveSettings()
    if folder is None:
        import platformdirs

        folder = platformdirs.user_cache_path("windtoll") / "blade_curves"
    path = folder / f"{curves_key(blade, polars, tip_speed_ratio, chord_angle_deg, settings)}.npz"
    kept = _load_curves(path)
    if kept is not None:
        return kept
    curves = blade_curves(blade, polars, tip_speed_ratio, chord_angle_deg, settings)
    _keep_curves(path, curves)
    return curves


_MAPS = ("power_coefficient", "thrust_coefficient", "stalled_torque_share", "multiple_roots")


def _load_curves(path: Path) -> BladeCurves | None:
    """Return the curves of a cache file, or None where it is missing, damaged or of another shape."""
    try:
        # Through bytes: numpy leaves the file open where the archive is damaged.
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as stored:
            ratio, pitch = stored["tip_speed_ratio"], stored["pitch_deg"]
            maps = {name: stored[name] for name in _MAPS}
            notes = json.loads(str(stored["notes"]))
            worst = float(stored["worst_residual"])
    except (
        OSError,
        ValueError,
        KeyError,
        EOFError,
        TypeError,
        IndexError,
        SyntaxError,
        struct.error,
        zlib.error,
        zipfile.BadZipFile,
        NotImplementedError,
        RuntimeError,
        MemoryError,
    ):
        return None  # missing or damaged: the caller computes it anew
    whole = all(values.shape == (pitch.size, ratio.size) and np.isfinite(values).all() for values in maps.values())
    if not (whole and isinstance(notes, list)):
        return None
    return BladeCurves(ratio, pitch, **maps, worst_residual=worst, notes=tuple(str(note) for note in notes))


def _keep_curves(path: Path, curves: BladeCurves) -> None:
    """Store curves in the cache and drop the oldest over `MOST_CACHE_FILES`; do without where that is not allowed."""
    stream = io.BytesIO()
    np.savez(
        stream,
        tip_speed_ratio=curves.tip_speed_ratio,
        pitch_deg=curves.pitch_deg,
        notes=np.array(json.dumps(curves.notes)),
        worst_residual=np.array(curves.worst_residual),
        **{name: getattr(curves, name) for name in _MAPS},
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, stream.getvalue())
        oldest = sorted(path.parent.glob("*.npz"), key=lambda entry: entry.stat().st_mtime)[:-MOST_CACHE_FILES]
        for entry in (*oldest, *left_behind(path.parent)):
            entry.unlink(missing_ok=True)
    except OSError:
        return  # a full disk or read-only home costs the next run some 20 ms, no more
