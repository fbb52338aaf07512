"""The equations of strength go over arrays: what their docstrings say of shapes is so."""

from __future__ import annotations

import inspect

import numpy as np
import pytest

from energy.strength import equations

OVER_VALUES = [
    function
    for name, function in inspect.getmembers(equations, inspect.isfunction)
    if not name.startswith("_")
    and function.__module__ == equations.__name__
    and all("Values" in str(p.annotation) for p in inspect.signature(function).parameters.values())
]


def test_most_equations_are_looked_at() -> None:
    assert len(OVER_VALUES) >= 14


@pytest.mark.parametrize("function", OVER_VALUES, ids=lambda function: function.__name__)
def test_an_equation_broadcasts_and_gives_each_element_what_it_gives_alone(function) -> None:
    draw = np.random.default_rng(5)
    names = list(inspect.signature(function).parameters)
    given = [draw.uniform(0.2, 0.9, (3, 1) if k % 2 else (4,)) for k in range(len(names))]
    whole = np.asarray(function(*given))
    assert whole.shape == np.broadcast_shapes(*(values.shape for values in given))
    wide = [np.broadcast_to(values, whole.shape) for values in given]
    for place in np.ndindex(whole.shape):
        alone = np.asarray(function(*(float(values[place]) for values in wide)))
        np.testing.assert_allclose(whole[place], alone, rtol=1e-12)
