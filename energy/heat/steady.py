"""What a steady power comes to: the power that holds a temperature, where a power ends, how quick a load is."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from energy.heat import steps
from energy.heat.load import HeatedLoad, Number, coefficients, draws_of
from energy.heat.steps import FloatArray, surroundings


def holding_at(load: steps.Coefficients, around: steps.Surroundings, main: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (power that holds the main node at `main`, temperature of the second node then), steady state.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : arrays (draws,) or (1,)
    main : [K] (draws,) temperature of the main node

    Returns
    -------
    [W] power and [K] temperature of the second node (NaN where there is none), each (draws,).

    References
    ----------
    .. [1] Balance of powers, closed form but for the walls of a load that radiates.
    """
    loss0, _ = steps.losses(load, around, main, main)
    if load.steams:
        loss0 = loss0 + steps.steam_w(load, main, around.ambient, load.water)
    if not load.two_nodes:
        return loss0, np.full_like(main, np.nan)
    if load.main_share == 0:  # the element feeds the main node: its excess carries all of the main's loss
        second_node = main + loss0 / load.coupling
        _, loss1 = steps.losses(load, around, main, second_node)
        return loss0 + loss1, second_node
    # Walls: what flows into them, coupling (main - wall), is what they lose: one root between ambient and main.
    wall = _rising_root(
        lambda wall: steps.losses(load, around, main, wall)[1] - load.coupling * (main - wall),
        np.zeros_like(main),
        np.minimum(around.ambient, main),
        np.maximum(around.ambient, main),
    )
    return loss0 + steps.losses(load, around, main, wall)[1], wall


def _rising_root(
    function: Callable[[FloatArray], FloatArray], value: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Return where a rising function has the value, between low and high (to about 1e-9), for each draw.

    The Illinois variant of the false position, which keeps its bracket. scipy.optimize.elementwise.find_root (scipy
    1.15) takes arrays too and finds the same root, in four to five times the CPU time (1 to 4096 draws) and after
    importing scipy.
    """
    low, high = low + np.zeros_like(value), high + np.zeros_like(value)
    below, above = function(low) - value, function(high) - value
    middle = low
    last = np.zeros(value.shape, dtype=np.int8)
    for _ in range(100):
        span = above - below
        flat = ~(span > 0)
        part = np.where(flat, 0.5, np.clip(above / np.where(flat, 1.0, span), 0.0, 1.0))
        middle = high - part * (high - low)
        gap = function(middle) - value
        over = gap > 0
        above, below = (
            np.where(over, gap, np.where(last == -1, 0.5 * above, above)),
            np.where(over, np.where(last == 1, 0.5 * below, below), gap),
        )
        low, high = np.where(over, low, middle), np.where(over, middle, high)
        last = np.where(over, 1, -1).astype(np.int8)
        if bool((np.minimum(np.abs(gap) - 1e-12 * np.abs(value), high - low - 1e-9) <= 1e-11).all()):
            break
    return middle


def ending_at(load: steps.Coefficients, around: steps.Surroundings, power: FloatArray) -> FloatArray:
    """Return where the main node ends under a steady power (draws,) [W], K; no higher than boiling where water is held.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : arrays (draws,) or (1,); its power is not read
    power : [W] (draws,)

    Returns
    -------
    [K] (draws,); NaN for a load without any loss.

    References
    ----------
    .. [1] Balance of powers; one node with a linear loss in closed form.
    """
    ambient = np.broadcast_to(around.ambient, power.shape)
    leaks = around.main_loss + load.main_radiating > 0
    if load.two_nodes:
        leaks = leaks | (around.second_loss + load.second_radiating > 0)
    # One node with a linear loss: at once. Else the holding power rises with temperature: one root, in a bracket that
    # is widened until it holds it.
    if not load.two_nodes and not load.radiates and not load.steams:
        ends = ambient + power / np.where(leaks, around.main_loss, 1.0)
        return _below_boiling(load, np.where(leaks, ends, np.where(power > 0, np.nan, ambient)))
    walls = load.two_nodes and load.main_share > 0

    def power_for(coolest: FloatArray) -> FloatArray:
        """Return the power that holds the walls, or where there are none the main node, at a temperature."""
        if not walls:
            return holding_at(load, around, coolest)[0]
        main = _main_above(load, around, coolest)
        loss0, loss1 = steps.losses(load, around, main, coolest)
        return loss0 + loss1 + (steps.steam_w(load, main, around.ambient, load.water) if load.steams else 0.0)

    width = np.full(power.shape, 10.0)
    for _ in range(40):
        short = leaks & (power_for(ambient + width) < power)
        if not short.any():
            break
        width = np.where(short, width * 2, width)
    coolest_end = _rising_root(power_for, power, ambient, ambient + width)
    ends = np.where(leaks, _main_above(load, around, coolest_end), np.where(power > 0, np.nan, ambient))
    return _below_boiling(load, ends)


def _below_boiling(load: steps.Coefficients, ends: FloatArray) -> FloatArray:
    """Return the temperature at which the load ends, no higher than the boiling point; NaN where it has no end."""
    return np.where(np.isfinite(load.boiling), np.fmin(ends, load.boiling), ends)


def _main_above(load: steps.Coefficients, around: steps.Surroundings, coolest: FloatArray) -> FloatArray:
    """Return the steady temperature of the main node over walls of a temperature; without walls that temperature."""
    if not load.two_nodes or load.main_share == 0:
        return coolest
    return coolest + steps.losses(load, around, coolest, coolest)[1] / load.coupling


def slowest_time_constant_s(heater: HeatedLoad, ambient_k: Number, temperature_k: Number) -> FloatArray:
    """Return the time in which the slow part of a temperature difference falls to 1/e, s, shape (draws,); still air.

    With radiation or steam it is that of small changes around `temperature_k`. NaN for a load without loss.

    Parameters
    ----------
    heater : the load
    ambient_k, temperature_k : [K] single values or (draws,)

    Returns
    -------
    [s] (draws,).

    Raises
    ------
    HeaterError
        For a load or numbers that cannot be.

    References
    ----------
    .. [1] As `rates_at`.
    """
    draws = draws_of(heater, ambient_k, temperature_k)
    load = coefficients(heater, draws)
    around = surroundings(load, np.zeros(draws), np.asarray(ambient_k, dtype=float), None)
    rates = rates_at(load, around, np.broadcast_to(np.asarray(temperature_k, dtype=float), (draws,)).copy())
    slow = np.broadcast_to(rates[0], (draws,))
    return np.where(slow > 0, 1.0 / np.where(slow > 0, slow, 1.0), np.nan)


def rates_at(load: steps.Coefficients, around: steps.Surroundings, main: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the slow and the fast rate of the load near a temperature, 1/s.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : arrays (draws,) or (1,)
    main : [K] (draws,) temperature near which the loss is taken as linear

    Returns
    -------
    [1/s] slow and fast rate, each (draws,) or (1,); alike for one node.

    References
    ----------
    .. [1] Eigenvalues of a 2 x 2 matrix, closed form.
    """
    slope0, slope1 = steps.slopes(load, around, main, main)
    if load.steams:
        slope0 = slope0 + steps.steam_slope_w_k(load, around, main, load.water)
    c0 = steps.main_capacity(load, load.water)
    if not load.two_nodes:
        return slope0 / c0, slope0 / c0
    c1, k = load.second_capacity, load.coupling
    middle = 0.5 * ((k + slope0) / c0 + (k + slope1) / c1)
    half = 0.5 * ((k + slope0) / c0 - (k + slope1) / c1)
    fast = middle + np.sqrt(half * half + k * k / (c0 * c1))
    slow = (k * (slope0 + slope1) + slope0 * slope1) / (c0 * c1) / fast
    return slow, fast
