"""Line charts as text, for a terminal: drawn by plotext, in plain characters so that they can be piped and kept."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from energy.heat.heater import TemperatureBand
    from vehicle.units import UnitSystem

FloatArray = npt.NDArray[np.float64]

_MARKS = ("braille", "·", "x", "o")


@dataclass(frozen=True)
class Curve:
    """One line of a chart: its name, and arrays x and y of one length; points that are no number are left out."""

    name: str
    x: FloatArray
    y: FloatArray


def line_chart(
    curves: Sequence[Curve],
    *,
    x_label: str,
    y_label: str,
    title: str = "",
    width: int = 78,
    height: int = 18,
) -> str:
    """Return a chart of the curves as lines of text at most `width` characters wide.

    Raises ValueError where there is no curve, no point to draw, or x and y differ in length.
    """
    import plotext  # type: ignore[import-untyped]

    if not curves:
        raise ValueError("a chart needs at least one curve")
    figure = plotext.figure  # plotext keeps one figure for the process: cleared before and after
    figure.clear()
    try:
        figure.theme("colorless")
        figure.plot_size(width, height)
        for number, curve in enumerate(curves):
            if curve.x.shape != curve.y.shape:
                raise ValueError(f"curve {curve.name!r} has {curve.x.size} x and {curve.y.size} y")
            good = np.isfinite(curve.x) & np.isfinite(curve.y)
            if not good.any():
                raise ValueError(f"curve {curve.name!r} has no point to draw")
            signal = figure.signal(curve.x[good].tolist(), curve.y[good].tolist(), marker=_MARKS[number % len(_MARKS)])
            signal.lines(True)
            signal.label(curve.name)
            figure.draw(signal)
        for axis, count in (("x", max(2, width // 10)), ("y", max(2, height // 4))):
            values = [np.asarray(getattr(curve, axis)) for curve in curves]
            low, high = (float(pick([pick(v[np.isfinite(v)]) for v in values])) for pick in (min, max))
            if high > low:
                places = round_ticks(low, high, count)
                figure.ruler(axis).ticks(places, [f"{place:.6g}" for place in places])
        if title:
            figure.title(title)
        figure.label(x_label, axis="x")
        figure.label(y_label, axis="y")
        text = str(figure.build().string(colorless=True))
    finally:
        figure.clear()
    return "\n".join(line.rstrip() for line in text.rstrip().splitlines())


def round_ticks(low: float, high: float, most: int) -> list[float]:
    """Return at most about `most` round numbers between low and high: steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / most
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * factor for factor in (1.0, 2.0, 5.0, 10.0) if size * factor >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [k * step + 0.0 for k in range(first, math.floor(high / step + 1e-9) + 1)]


def temperature_chart(
    bands: Sequence[tuple[str, TemperatureBand]],
    *,
    target_k: float | None = None,
    system: UnitSystem = "metric",
    width: int = 78,
    height: int = 18,
) -> str:
    """Return the temperatures of named bands over time in the user's units, with the target as a level line."""
    from vehicle.units import label, to_user

    longest = max((float(band.time_s[-1]) for _, band in bands), default=0.0)
    unit, seconds = ("h", 3600.0) if longest > 3 * 3600 else ("min", 60.0)
    curves = [
        Curve(name, band.time_s / seconds, np.array([to_user(float(k), "temperature", system) for k in band.middle_k]))
        for name, band in bands
    ]
    if target_k is not None and curves:
        ends = np.array([min(curve.x.min() for curve in curves), max(curve.x.max() for curve in curves)])
        curves.append(Curve("target", ends, np.full(2, to_user(target_k, "temperature", system))))
    return line_chart(
        curves,
        x_label=f"time ({unit})",
        y_label=f"temperature ({label('temperature', system)})",
        width=width,
        height=height,
    )
