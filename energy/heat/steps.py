"""Stepping the temperature of a heated load through time, for many draws at once.

Each step solves the load's equation exactly as linearised at the start of the step: exact for linear losses and
constant power however long the step, second order in the step where radiation or evaporation bend the loss (the
exponential Rosenbrock-Euler method: Hochbruck & Ostermann, Acta Numerica 19 (2010) 209, from memory). It is stable for
any step. Inside: kelvin, seconds, watts. All arrays of one call have the shape (draws,), or () in the case of a number
that holds for every draw.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from energy.heat import water

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

STEFAN_BOLTZMANN_W_M2_K4 = 5.670374419e-8  # exact by definition of the SI of 2019


class HeaterError(ValueError):
    """A load, power or target that cannot be; the message says which number and what would be accepted."""


@dataclass(frozen=True)
class Coefficients:
    """The load's numbers, arrays of shape (draws,), or (1,) where one holds for all draws.

    "Main" is the node whose temperature is asked for.
    """

    main_dry_capacity: FloatArray  # without the water that can evaporate or boil away, J/K
    main_loss: FloatArray  # W/K in still air
    main_radiating: FloatArray  # emissivity x area x Stefan-Boltzmann constant, W/K^4
    main_outside: FloatArray  # area in the road wind, m²; 0 = sheltered
    water: FloatArray  # kg at the start
    open_water: FloatArray  # m²
    humidity: FloatArray
    water_film: FloatArray  # W/(m² K)
    boiling: FloatArray  # K; inf where nothing boils
    second_capacity: FloatArray
    second_loss: FloatArray
    second_radiating: FloatArray
    second_outside: FloatArray
    coupling: FloatArray  # W/K between the nodes
    main_share: float  # share of the power that goes into the main node: 1 or 0
    two_nodes: bool
    wet: bool  # holds water that can leave
    radiates: bool
    steams: bool
    windy: bool

    @property
    def second_share(self) -> float:
        """Share of the power that goes into the second node."""
        return 1.0 - self.main_share

    def take(self, where: npt.NDArray[np.intp]) -> Coefficients:
        """Return the coefficients of some draws only.

        Parameters
        ----------
        where : their indices (k,)

        Returns
        -------
        The coefficients.
        """
        varied = {name: array[where] for name in _ARRAYS_OF_LOAD if (array := getattr(self, name)).size > 1}
        return replace(self, **varied) if varied else self


# The three `take` are written out, not by vehicle.arrays.map_arrays: each event of a thermostat comes through them, and
# a march with many events takes a tenth longer with it, as measured.


@dataclass(frozen=True)
class Surroundings:
    """What holds during a step: power, ambient, the loss of each node in that wind. Shapes (draws,) or (1,)."""

    power: FloatArray
    ambient: FloatArray
    main_loss: FloatArray
    second_loss: FloatArray

    def take(self, where: npt.NDArray[np.intp]) -> Surroundings:
        """Return the surroundings of some draws only.

        Parameters
        ----------
        where : their indices (k,)

        Returns
        -------
        The surroundings.
        """
        return Surroundings(*(array if array.size == 1 else array[where] for array in self.all()))

    def all(self) -> tuple[FloatArray, ...]:
        """Return the four arrays.

        Returns
        -------
        The arrays, each (draws,).
        """
        return self.power, self.ambient, self.main_loss, self.second_loss


@dataclass(frozen=True)
class State:
    """The load at one moment, and what has gone where since the start (J). Shapes (draws,)."""

    main: FloatArray
    second: FloatArray
    water: FloatArray
    lost: FloatArray
    vapour: FloatArray
    stored: FloatArray

    def take(self, where: npt.NDArray[np.intp]) -> State:
        """Return the state of some draws only.

        Parameters
        ----------
        where : their indices (k,)

        Returns
        -------
        The state.
        """
        return State(*(array[where] for array in self.all()))

    def all(self) -> tuple[FloatArray, ...]:
        """Return the six arrays.

        Returns
        -------
        The arrays, each (draws,).
        """
        return self.main, self.second, self.water, self.lost, self.vapour, self.stored


_ARRAYS_OF_LOAD = tuple(f.name for f in fields(Coefficients) if f.type == "FloatArray")


def film_in_wind_w_m2_k(air_speed_m_s: npt.ArrayLike) -> FloatArray:
    """Return the film coefficient of a surface in wind, 5.7 + 3.8 v, W/(m² K), v in m/s.

    McAdams, Heat Transmission (1954), from memory; a flat plate, and meant up to about
    5 m/s: beyond that it is an extrapolation.

    Parameters
    ----------
    air_speed_m_s : [m/s] any shape

    Returns
    -------
    [W/(m² K)], of that shape.

    References
    ----------
    .. [1] McAdams, Heat Transmission (1954), from memory.
    """
    return np.asarray(5.7 + 3.8 * np.asarray(air_speed_m_s, dtype=float))


def loss_in_wind_w_k(still_loss: FloatArray, outside_area: FloatArray, air_speed_m_s: FloatArray) -> FloatArray:
    """Return the loss of a node whose outer surface stands in wind, from its loss in still air, W/K.

    Wall and film are in series: wind thins the film and leaves the wall as it is. Where the area is 0 the loss stays.

    Parameters
    ----------
    still_loss : [W/K] (draws,) or (1,)
    outside_area : [m²] (draws,) or (1,)
    air_speed_m_s : [m/s] (draws,) or (1,)

    Returns
    -------
    [W/K], the shape of all inputs broadcast.

    References
    ----------
    .. [1] Resistances in series, closed form; film of `film_in_wind_w_m2_k`.
    """
    area = np.where(outside_area > 0, outside_area, 1.0)
    still, windy = 1.0 / (film_in_wind_w_m2_k(0.0) * area), 1.0 / (film_in_wind_w_m2_k(air_speed_m_s) * area)
    exposed = still_loss / (1.0 - still_loss * (still - windy))
    return np.asarray(np.where(outside_area > 0, exposed, still_loss))


def surroundings(
    load: Coefficients, power: FloatArray, ambient: FloatArray, air_speed: FloatArray | None
) -> Surroundings:
    """Return what holds in a step, the losses of both nodes in that wind [m/s] worked out (None: sheltered).

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    power : [W] into the element, (draws,) or (1,)
    ambient : [K] (draws,) or (1,)
    air_speed : [m/s] (draws,) or (1,)

    Returns
    -------
    The surroundings.

    References
    ----------
    .. [1] As `loss_in_wind_w_k`.
    """
    if air_speed is None:
        return Surroundings(power, ambient, load.main_loss, load.second_loss)
    main, second = load.main_loss, load.second_loss
    if bool(load.main_outside.any()):
        main = loss_in_wind_w_k(main, load.main_outside, air_speed)
    if bool(load.second_outside.any()):
        second = loss_in_wind_w_k(second, load.second_outside, air_speed)
    return Surroundings(power, ambient, main, second)


def averages(z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return phi1(z) = (e^z - 1)/z and phi2(z) = (phi1(z) - 1)/z for z <= 0, accurate down to z = 0.

    Parameters
    ----------
    z : [-] 0 or less, any shape

    Returns
    -------
    [-] phi1 and phi2, of that shape.

    References
    ----------
    .. [1] Hochbruck and Ostermann, Acta Numerica 19 (2010) 209, from memory.
    """
    lowest = float(z.min(initial=0.0))
    if lowest > -0.05:
        second = _phi2_series(z)
        return 1.0 + z * second, second
    if float(z.max(initial=-np.inf)) < -0.05:
        first = np.expm1(z) / z
        return first, (first - 1.0) / z
    safe = np.where(z < -0.05, z, -1.0)
    first = np.expm1(safe) / safe
    second = np.where(z < -0.05, (first - 1.0) / safe, _phi2_series(np.maximum(z, -0.05)))
    return 1.0 + z * second, second


def _phi2_series(z: FloatArray) -> FloatArray:
    """Return phi2 by its power series (|z| <= 0.05: the first term left out is below 1e-14)."""
    total = z * (1.0 / 40320.0)
    for factor in (5040.0, 720.0, 120.0, 24.0, 6.0):
        total += 1.0 / factor
        total *= z
    total += 0.5
    return total


Matrix = tuple[tuple[FloatArray, ...], ...]
Seconds = FloatArray | float


def propagator_of_one(capacity: FloatArray, slope: FloatArray, duration: Seconds) -> tuple[Matrix, Matrix]:
    """Return (rise, its time integral) per watt of net power at the start, of C dT/dt = net - slope (T - T0).

    K/W and K s/W, each as a matrix of one row and one column.

    Parameters
    ----------
    capacity : [J/K] (draws,) or (1,)
    slope : [W/K] (draws,) or (1,)
    duration : [s] a number or (draws,)

    Returns
    -------
    [K/W] and [K s/W], each of 2 x 2 arrays (draws,).

    References
    ----------
    .. [1] Linear differential equation, closed form.
    """
    per_watt = duration / capacity
    first, second = averages(-slope * per_watt)
    return ((per_watt * first,),), ((duration * per_watt * second,),)


def propagator_of_two(
    capacity: tuple[FloatArray, FloatArray],
    slope: tuple[FloatArray, FloatArray],
    coupling: FloatArray,
    duration: Seconds,
) -> tuple[Matrix, Matrix]:
    """Return (rise, its time integral) of two coupled nodes: [i][j] is node i for net power into node j.

    By the closed form of a function of a 2 x 2 matrix (Sylvester). Its two rates are real and apart, since the nodes
    are coupled.

    Parameters
    ----------
    capacity : [J/K] of both nodes, each (draws,)
    slope : [W/K] of both nodes, each (draws,)
    coupling : [W/K] between them, above 0, (draws,)
    duration : [s] a number or (draws,)

    Returns
    -------
    [K/W] and [K s/W], each of 2 x 2 arrays (draws,).

    References
    ----------
    .. [1] Sylvester's formula, closed form.
    """
    c0, c1 = capacity
    a00, a11 = -(coupling + slope[0]) / c0, -(coupling + slope[1]) / c1
    a01, a10 = coupling / c0, coupling / c1
    middle, half = 0.5 * (a00 + a11), 0.5 * (a00 - a11)
    spread = np.sqrt(half * half + a01 * a10)
    fast = middle - spread
    determinant = (coupling * (slope[0] + slope[1]) + slope[0] * slope[1]) / (c0 * c1)
    slow = determinant / fast  # = middle + spread, without the cancellation
    gap = 1.0 / (slow - fast)
    slow1, slow2 = averages(slow * duration)
    fast1, fast2 = averages(fast * duration)
    b00, b11, b01, b10 = (a00 - fast) / c0, (a11 - fast) / c1, a01 / c1, a10 / c0

    def matrix(of_slow: FloatArray, of_fast: FloatArray, scale: Seconds) -> Matrix:
        divided = (of_slow - of_fast) * gap * scale
        base = of_fast * scale
        return (base / c0 + divided * b00, divided * b01), (divided * b10, base / c1 + divided * b11)

    return matrix(slow1, fast1, duration), matrix(slow2, fast2, duration * duration)


@dataclass(frozen=True)
class Linearised:
    """A load linearised at some temperatures, solved for one duration."""

    rise: Matrix
    integral: Matrix
    capacity: FloatArray  # of the main node, its water included
    slope0: FloatArray  # of the main node's dry loss, W/K
    slope1: FloatArray
    steam_slope: FloatArray | None


def steam_w(load: Coefficients, temperature: FloatArray, ambient: FloatArray, left: FloatArray) -> FloatArray:
    """Return the watts that vapour carries off the open water while there is water left.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    temperature, ambient : [K] (draws,) or (1,)
    left : [kg] water, (draws,)

    Returns
    -------
    [W] (draws,).

    References
    ----------
    .. [1] As `energy.heat.water.evaporation_w_m2`.
    """
    flux = water.evaporation_w_m2(temperature, ambient, load.humidity, load.water_film)
    return np.asarray(np.where(left > 0, load.open_water * flux, 0.0))


def losses(
    load: Coefficients, around: Surroundings, main: FloatArray, second: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the dry losses of both nodes, W.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : arrays (draws,) or (1,)
    main, second : [K] temperatures, (draws,)

    Returns
    -------
    [W] of main and second node, each (draws,).

    References
    ----------
    .. [1] Linear loss and the law of Stefan and Boltzmann.
    """
    loss0 = around.main_loss * (main - around.ambient)
    loss1 = around.second_loss * (second - around.ambient) if load.two_nodes else around.second_loss
    if load.radiates:
        ambient2 = around.ambient * around.ambient
        ambient4 = ambient2 * ambient2
        square = main * main
        loss0 = loss0 + load.main_radiating * (square * square - ambient4)
        if load.two_nodes:
            square = second * second
            loss1 = loss1 + load.second_radiating * (square * square - ambient4)
    return loss0, loss1


def slopes(
    load: Coefficients, around: Surroundings, main: FloatArray, second: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how the dry losses of both nodes rise with their own temperature, W/K.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : arrays (draws,) or (1,)
    main, second : [K] temperatures, (draws,)

    Returns
    -------
    [W/K] of main and second node, each (draws,) or (1,).

    References
    ----------
    .. [1] Derivative of `losses`, closed form.
    """
    slope0, slope1 = around.main_loss, around.second_loss
    if load.radiates:
        slope0 = slope0 + 4.0 * load.main_radiating * main * main * main
        if load.two_nodes:
            slope1 = slope1 + 4.0 * load.second_radiating * second * second * second
    return slope0, slope1


def steam_slope_w_k(load: Coefficients, around: Surroundings, main: FloatArray, left: FloatArray) -> FloatArray:
    """Return how the watts carried by vapour rise with temperature, W/K (by a difference over 0.01 K).

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : arrays (draws,) or (1,)
    main : [K] (draws,)
    left : [kg] water, (draws,)

    Returns
    -------
    [W/K] (draws,), 0 or more.

    References
    ----------
    .. [1] Difference quotient of `steam_w`.
    """
    rise = steam_w(load, main + 0.01, around.ambient, left) - steam_w(load, main, around.ambient, left)
    return np.asarray(np.maximum(rise / 0.01, 0.0))


def main_capacity(load: Coefficients, left: FloatArray) -> FloatArray:
    """Return the capacity of the main node with the water that is left, J/K.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    left : [kg] water, (draws,)

    Returns
    -------
    [J/K] (draws,) or (1,).

    References
    ----------
    .. [1] Definition of specific heat.
    """
    return load.main_dry_capacity + water.SPECIFIC_HEAT_J_KG_K * left if load.wet else load.main_dry_capacity


def linearised(load: Coefficients, around: Surroundings, state: State, duration: Seconds) -> Linearised:
    """Return the load linearised at a state.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : arrays (draws,) or (1,)
    state : arrays (draws,)
    duration : [s] a number or (draws,)

    Returns
    -------
    The linearisation.

    References
    ----------
    .. [1] Hochbruck and Ostermann, see the head of this module.
    """
    slope0, slope1 = slopes(load, around, state.main, state.second)
    capacity = main_capacity(load, state.water)
    steam_slope = steam_slope_w_k(load, around, state.main, state.water) if load.steams else None
    total0 = slope0 if steam_slope is None else slope0 + steam_slope
    if load.two_nodes:
        rise, integral = propagator_of_two((capacity, load.second_capacity), (total0, slope1), load.coupling, duration)
    else:
        rise, integral = propagator_of_one(capacity, total0, duration)
    return Linearised(rise, integral, capacity, slope0, slope1, steam_slope)


def advance(
    load: Coefficients, around: Surroundings, state: State, duration: Seconds, line: Linearised | None = None
) -> State:
    """Return the state `duration` seconds later (a number or one per draw); nothing switches and nothing boils inside.

    `line` is a linearisation of the same load and duration made a little earlier, to be used again: what is lost and
    stored still adds up to what is given.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : what holds meanwhile
    state : arrays (draws,)
    duration : [s]
    line : see above; made here where not given

    Returns
    -------
    The state, arrays (draws,).

    References
    ----------
    .. [1] Hochbruck and Ostermann, see the head of this module.
    """
    if line is None:
        line = linearised(load, around, state, duration)
    main, second, left, vapour = state.main, state.second, state.water, state.vapour
    loss0, loss1 = losses(load, around, main, second)
    steam = steam_w(load, main, around.ambient, left) if load.steams else None
    total0 = loss0 if steam is None else loss0 + steam
    if load.two_nodes:
        flow = load.coupling * (main - second)
        net0 = around.power * load.main_share - flow - total0
        net1 = around.power * load.second_share + flow - loss1
        rise0 = line.rise[0][0] * net0 + line.rise[0][1] * net1
        rise1 = line.rise[1][0] * net0 + line.rise[1][1] * net1
        excess0 = line.integral[0][0] * net0 + line.integral[0][1] * net1
        excess1 = line.integral[1][0] * net0 + line.integral[1][1] * net1
        lost = (loss0 + loss1) * duration + line.slope0 * excess0 + line.slope1 * excess1
        stored = line.capacity * rise0 + load.second_capacity * rise1
        second = second + rise1
    else:
        net0 = around.power - total0
        rise0, excess0 = line.rise[0][0] * net0, line.integral[0][0] * net0
        lost = loss0 * duration + line.slope0 * excess0
        stored = line.capacity * rise0
    if steam is not None and line.steam_slope is not None:
        carried = steam * duration + line.steam_slope * excess0
        vapour = vapour + carried
        left = np.maximum(left - carried / water.latent_heat_j_kg(main), 0.0)
    return State(main + rise0, second, left, state.lost + lost, vapour, state.stored + stored)


def boil(load: Coefficients, around: Surroundings, state: State, duration: FloatArray) -> State:
    """Return the state after `duration` seconds in which the main node stands at the boiling point and makes vapour.

    When the water gives out inside the step, what is left of the energy warms the dry load.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : what holds meanwhile
    state : arrays (draws,), at the boiling point
    duration : [s] (draws,)

    Returns
    -------
    The state, arrays (draws,).

    References
    ----------
    .. [1] Balance of energy; latent heat of energy/heat/water.py.
    """
    main, second = state.main, state.second
    loss0, loss1 = losses(load, around, main, second)
    into, lost, stored = (around.power - loss0) * duration, loss0 * duration, np.zeros_like(main)
    if load.two_nodes:
        slope1 = slopes(load, around, main, second)[1]
        flow = load.coupling * (main - second)
        net1 = around.power * load.second_share + flow - loss1
        rise, integral = propagator_of_one(load.second_capacity, load.coupling + slope1, duration)
        rise1, excess1 = rise[0][0] * net1, integral[0][0] * net1
        into = (around.power * load.main_share - flow - loss0) * duration + load.coupling * excess1
        lost = lost + loss1 * duration + slope1 * excess1
        stored = load.second_capacity * rise1
        second = second + rise1
    latent = water.latent_heat_j_kg(main)
    vapour = np.minimum(np.maximum(into, 0.0), state.water * latent)
    rest = into - vapour
    left = np.where(vapour < state.water * latent, state.water - vapour / latent, 0.0)
    warmer = main + rest / main_capacity(load, left)
    return State(warmer, second, left, state.lost + lost, state.vapour + vapour, state.stored + stored + rest)


def time_to_dry_s(load: Coefficients, around: Surroundings, state: State, duration: FloatArray) -> FloatArray:
    """Return how long a boiling load has water at its mean rate of vapour over `duration`, s (exact for one node).

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : what holds meanwhile
    state : arrays (draws,), at the boiling point
    duration : [s] (draws,)

    Returns
    -------
    [s] (draws,).

    References
    ----------
    .. [1] Balance of energy; latent heat of energy/heat/water.py.
    """
    ample = replace(state, water=np.full_like(state.water, 1e12))
    vapour = boil(load, around, ample, duration).vapour - state.vapour
    needed = state.water * water.latent_heat_j_kg(state.main)
    within = vapour > needed
    # A hair longer, so that the last gram is not chased through ever shorter pieces.
    return np.where(within, duration * needed / np.where(within, vapour, 1.0) * (1 + 1e-9), duration)


def boils(load: Coefficients, around: Surroundings, state: State) -> BoolArray:
    """Return where the main node stands at its boiling point, with water left and more heat coming than leaving.

    Parameters
    ----------
    load : arrays (draws,) or (1,)
    around : what holds
    state : arrays (draws,)

    Returns
    -------
    Whether, (draws,).

    References
    ----------
    .. [1] Balance of powers at the boiling point.
    """
    loss0, _ = losses(load, around, state.main, state.second)
    coming = around.power * load.main_share + load.coupling * (state.second - state.main)
    return np.asarray((state.main >= load.boiling) & (state.water > 0) & (coming > loss0))
