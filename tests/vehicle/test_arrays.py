"""Arrays of a dataclass: changed all at once, each by the power of air speed that its type says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vehicle.arrays import CubeOfAirSpeed, LikeAirSpeed, SquareOfAirSpeed, map_arrays, map_arrays_with_air_speed


@dataclass(frozen=True)
class Inner:
    volts: LikeAirSpeed


@dataclass(frozen=True)
class Figures:
    watts: CubeOfAirSpeed
    newtons: SquareOfAirSpeed | None
    ratio: np.ndarray
    name: str
    inner: Inner | None


FIGURES = Figures(np.array([1.0]), np.array([1.0]), np.array([1.0]), "x", Inner(np.array([1.0])))


def test_each_figure_goes_with_its_power_of_air_speed() -> None:
    twice = map_arrays_with_air_speed(lambda values, power: values * 2.0**power, FIGURES)
    assert twice.inner is not None
    assert twice.newtons is not None
    assert (twice.watts[0], twice.newtons[0], twice.ratio[0], twice.inner.volts[0]) == (8.0, 4.0, 1.0, 2.0)
    assert twice.name == "x"


def test_what_is_no_array_stays() -> None:
    bare = Figures(np.array([1.0]), None, np.array([1.0]), "x", None)
    changed = map_arrays(lambda values: values + 1, bare)
    assert (changed.newtons, changed.inner, changed.name, changed.watts[0]) == (None, None, "x", 2.0)
