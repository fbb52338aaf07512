"""Stepping the temperature of a heated load through time, for many draws at once.

Each step solves the load's equation exactly as linearised at the start of the step: exact for linear losses and
constant power however long the step, second order in the step where radiation or evaporation bend the loss (the
exponential Rosenbrock-Euler method: Hochbruck & Ostermann, Acta Numerica 19 (2010) 209, from memory). It is stable for
any step. Inside: kelvin, seconds, watts. All arrays of one call have the shape (draws,), or () in the case of a number
that holds for every draw.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from energy.heat import water
from energy.progress import Progress, tell

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

STEFAN_BOLTZMANN_W_M2_K4 = 5.670374419e-8  # exact by definition of the SI of 2019
MOST_ROUNDS = 5_000
MOST_LAG_K = 1.0
MOST_LAG_M_S = 0.3
CLOSE_ENOUGH_K = 1e-4
_MOST_TOLD = 100  # times that a march tells how far it is, or little more


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
    partner_capacity: FloatArray
    partner_loss: FloatArray
    partner_radiating: FloatArray
    partner_outside: FloatArray
    coupling: FloatArray  # W/K between the nodes
    main_share: float  # share of the power that goes into the main node: 1 or 0
    two_nodes: bool
    wet: bool  # holds water that can leave
    radiates: bool
    steams: bool
    windy: bool

    @property
    def partner_share(self) -> float:
        """Share of the power that goes into the partner."""
        return 1.0 - self.main_share

    def take(self, where: npt.NDArray[np.intp]) -> Coefficients:
        """Return the coefficients of some draws only."""
        varied = {name: array[where] for name in _ARRAYS_OF_LOAD if (array := getattr(self, name)).size > 1}
        return replace(self, **varied) if varied else self


@dataclass(frozen=True)
class Surroundings:
    """What holds during a step: power, ambient, the loss of each node in that wind. Shapes (draws,) or (1,)."""

    power: FloatArray
    ambient: FloatArray
    main_loss: FloatArray
    partner_loss: FloatArray

    def take(self, where: npt.NDArray[np.intp]) -> Surroundings:
        """Return the surroundings of some draws only."""
        return Surroundings(*(v if v.size == 1 else v[where] for v in self.all()))

    def all(self) -> tuple[FloatArray, ...]:
        """Return the four arrays."""
        return self.power, self.ambient, self.main_loss, self.partner_loss


@dataclass(frozen=True)
class State:
    """The load at one moment, and what has gone where since the start (J). Shapes (draws,)."""

    main: FloatArray
    partner: FloatArray
    water: FloatArray
    lost: FloatArray
    vapour: FloatArray
    stored: FloatArray

    def take(self, where: npt.NDArray[np.intp]) -> State:
        """Return the state of some draws only."""
        return State(*(array[where] for array in self.all()))

    def all(self) -> tuple[FloatArray, ...]:
        """Return the six arrays."""
        return self.main, self.partner, self.water, self.lost, self.vapour, self.stored


_ARRAYS_OF_LOAD = tuple(f.name for f in fields(Coefficients) if f.type == "FloatArray")


def film_in_wind_w_m2_k(air_speed_m_s: npt.ArrayLike) -> FloatArray:
    """Return the film coefficient of a surface in wind, 5.7 + 3.8 v, W/(m² K), v in m/s.

    McAdams, Heat Transmission (1954), as quoted in the solar-collector literature; a flat plate, and meant up to about
    5 m/s: beyond that it is an extrapolation.
    """
    return np.asarray(5.7 + 3.8 * np.asarray(air_speed_m_s, dtype=float))


def loss_in_wind_w_k(still_loss: FloatArray, outside_area: FloatArray, air_speed_m_s: FloatArray) -> FloatArray:
    """Return the loss of a node whose outer surface stands in wind, from its loss in still air, W/K.

    Wall and film are in series: wind thins the film and leaves the wall as it is. Where the area is 0 the loss stays.
    """
    area = np.where(outside_area > 0, outside_area, 1.0)
    still, windy = 1.0 / (film_in_wind_w_m2_k(0.0) * area), 1.0 / (film_in_wind_w_m2_k(air_speed_m_s) * area)
    exposed = still_loss / (1.0 - still_loss * (still - windy))
    return np.asarray(np.where(outside_area > 0, exposed, still_loss))


def averages(z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return phi1(z) = (e^z - 1)/z and phi2(z) = (phi1(z) - 1)/z for z <= 0, accurate down to z = 0."""
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
    """Return the watts that vapour carries off the open water while there is water left."""
    flux = water.evaporation_w_m2(temperature, ambient, load.humidity, load.water_film)
    return np.asarray(np.where(left > 0, load.open_water * flux, 0.0))


def losses(
    load: Coefficients, around: Surroundings, main: FloatArray, partner: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the dry losses of both nodes, W."""
    loss0 = around.main_loss * (main - around.ambient)
    loss1 = around.partner_loss * (partner - around.ambient) if load.two_nodes else around.partner_loss
    if load.radiates:
        ambient2 = around.ambient * around.ambient
        ambient4 = ambient2 * ambient2
        square = main * main
        loss0 = loss0 + load.main_radiating * (square * square - ambient4)
        if load.two_nodes:
            square = partner * partner
            loss1 = loss1 + load.partner_radiating * (square * square - ambient4)
    return loss0, loss1


def slopes(
    load: Coefficients, around: Surroundings, main: FloatArray, partner: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how the dry losses of both nodes rise with their own temperature, W/K."""
    slope0, slope1 = around.main_loss, around.partner_loss
    if load.radiates:
        slope0 = slope0 + 4.0 * load.main_radiating * main * main * main
        if load.two_nodes:
            slope1 = slope1 + 4.0 * load.partner_radiating * partner * partner * partner
    return slope0, slope1


def steam_slope_w_k(load: Coefficients, around: Surroundings, main: FloatArray, left: FloatArray) -> FloatArray:
    """Return how the watts carried by vapour rise with temperature, W/K (by a difference over 0.01 K)."""
    rise = steam_w(load, main + 0.01, around.ambient, left) - steam_w(load, main, around.ambient, left)
    return np.asarray(np.maximum(rise / 0.01, 0.0))


def main_capacity(load: Coefficients, left: FloatArray) -> FloatArray:
    """Return the capacity of the main node with the water that is left, J/K."""
    return load.main_dry_capacity + water.SPECIFIC_HEAT_J_KG_K * left if load.wet else load.main_dry_capacity


def linearised(load: Coefficients, around: Surroundings, state: State, duration: Seconds) -> Linearised:
    """Return the load linearised at a state."""
    slope0, slope1 = slopes(load, around, state.main, state.partner)
    capacity = main_capacity(load, state.water)
    steam_slope = steam_slope_w_k(load, around, state.main, state.water) if load.steams else None
    total0 = slope0 if steam_slope is None else slope0 + steam_slope
    if load.two_nodes:
        rise, integral = propagator_of_two((capacity, load.partner_capacity), (total0, slope1), load.coupling, duration)
    else:
        rise, integral = propagator_of_one(capacity, total0, duration)
    return Linearised(rise, integral, capacity, slope0, slope1, steam_slope)


def advance(
    load: Coefficients, around: Surroundings, state: State, duration: Seconds, line: Linearised | None = None
) -> State:
    """Return the state `duration` seconds later (a number or one per draw); nothing switches and nothing boils inside.

    `line` is a linearisation of the same load and duration made a little earlier, to be used again: what is lost and
    stored still adds up to what is given.
    """
    if line is None:
        line = linearised(load, around, state, duration)
    main, partner, left, vapour = state.main, state.partner, state.water, state.vapour
    loss0, loss1 = losses(load, around, main, partner)
    steam = steam_w(load, main, around.ambient, left) if load.steams else None
    total0 = loss0 if steam is None else loss0 + steam
    if load.two_nodes:
        flow = load.coupling * (main - partner)
        net0 = around.power * load.main_share - flow - total0
        net1 = around.power * load.partner_share + flow - loss1
        rise0 = line.rise[0][0] * net0 + line.rise[0][1] * net1
        rise1 = line.rise[1][0] * net0 + line.rise[1][1] * net1
        excess0 = line.integral[0][0] * net0 + line.integral[0][1] * net1
        excess1 = line.integral[1][0] * net0 + line.integral[1][1] * net1
        lost = (loss0 + loss1) * duration + line.slope0 * excess0 + line.slope1 * excess1
        stored = line.capacity * rise0 + load.partner_capacity * rise1
        partner = partner + rise1
    else:
        net0 = around.power - total0
        rise0, excess0 = line.rise[0][0] * net0, line.integral[0][0] * net0
        lost = loss0 * duration + line.slope0 * excess0
        stored = line.capacity * rise0
    if steam is not None and line.steam_slope is not None:
        carried = steam * duration + line.steam_slope * excess0
        vapour = vapour + carried
        left = np.maximum(left - carried / water.latent_heat_j_kg(main), 0.0)
    return State(main + rise0, partner, left, state.lost + lost, vapour, state.stored + stored)


def boil(load: Coefficients, around: Surroundings, state: State, duration: FloatArray) -> State:
    """Return the state after `duration` seconds in which the main node stands at the boiling point and makes vapour.

    When the water gives out inside the step, what is left of the energy warms the dry load.
    """
    main, partner = state.main, state.partner
    loss0, loss1 = losses(load, around, main, partner)
    into, lost, stored = (around.power - loss0) * duration, loss0 * duration, np.zeros_like(main)
    if load.two_nodes:
        slope1 = slopes(load, around, main, partner)[1]
        flow = load.coupling * (main - partner)
        net1 = around.power * load.partner_share + flow - loss1
        rise, integral = propagator_of_one(load.partner_capacity, load.coupling + slope1, duration)
        rise1, excess1 = rise[0][0] * net1, integral[0][0] * net1
        into = (around.power * load.main_share - flow - loss0) * duration + load.coupling * excess1
        lost = lost + loss1 * duration + slope1 * excess1
        stored = load.partner_capacity * rise1
        partner = partner + rise1
    latent = water.latent_heat_j_kg(main)
    vapour = np.minimum(np.maximum(into, 0.0), state.water * latent)
    rest = into - vapour
    left = np.where(vapour < state.water * latent, state.water - vapour / latent, 0.0)
    warmer = main + rest / main_capacity(load, left)
    return State(warmer, partner, left, state.lost + lost, state.vapour + vapour, state.stored + stored + rest)


def _time_to_dry(load: Coefficients, around: Surroundings, state: State, duration: FloatArray) -> FloatArray:
    """Return how long a boiling load has water at its mean rate of vapour over `duration`, s (exact for one node)."""
    ample = replace(state, water=np.full_like(state.water, 1e12))
    vapour = boil(load, around, ample, duration).vapour - state.vapour
    needed = state.water * water.latent_heat_j_kg(state.main)
    within = vapour > needed
    # A hair longer, so that the last gram is not chased through ever shorter pieces.
    return np.where(within, duration * needed / np.where(within, vapour, 1.0) * (1 + 1e-9), duration)


def boils(load: Coefficients, around: Surroundings, state: State) -> BoolArray:
    """Return where the main node stands at its boiling point, with water left and more heat coming than leaving."""
    loss0, _ = losses(load, around, state.main, state.partner)
    coming = around.power * load.main_share + load.coupling * (state.partner - state.main)
    return np.asarray((state.main >= load.boiling) & (state.water > 0) & (coming > loss0))


Row = Callable[[int], FloatArray]
Places = npt.NDArray[np.intp]


@dataclass
class _Book:
    """What is kept while marching; changed in place. Arrays of (draws,)."""

    on: BoolArray
    given: FloatArray
    refused: FloatArray
    peak: FloatArray
    partner_peak: FloatArray
    boiling_from: FloatArray
    dry_from: FloatArray
    switchings: npt.NDArray[np.int64]
    cut_when_dry: bool
    rounds_left: int  # of events, before the march is given up as endless
    pending: BoolArray  # target not reached yet
    waiting: bool  # any pending
    # The piece in which each draw first reaches the target, to be solved for all draws at once when the march is over.
    hit_state: State
    hit_around: Surroundings
    hit_duration: FloatArray
    hit_clock: FloatArray  # NaN where the target is not reached
    hit_given: FloatArray


def _opened(start: State, target: FloatArray, off_above: FloatArray | None, steps: int, cut_when_dry: bool) -> _Book:
    draws = start.main.size
    pending = start.main < target
    return _Book(
        on=np.ones(draws, dtype=bool) if off_above is None else start.main < off_above,
        given=np.zeros(draws),
        refused=np.zeros(draws),
        peak=start.main.copy(),
        partner_peak=start.partner.copy(),
        boiling_from=np.full(draws, np.nan),
        dry_from=np.full(draws, np.nan),
        switchings=np.zeros(draws, dtype=np.int64),
        cut_when_dry=cut_when_dry,
        rounds_left=MOST_ROUNDS + 5 * steps,
        pending=pending,
        waiting=bool(pending.any()),
        hit_state=State(*(array.copy() for array in start.all())),
        hit_around=Surroundings(*(np.zeros(draws) for _ in range(4))),
        hit_duration=np.zeros(draws),
        hit_clock=np.full(draws, np.nan),
        hit_given=np.zeros(draws),
    )


def _note_target(
    book: _Book, where: Places | None, around: Surroundings, before: State, after: State, target: FloatArray,
    clock: FloatArray | float, duration: FloatArray | float,
) -> None:  # fmt: skip
    """Keep the piece in which a draw first reaches its target. `where` are the draws that the arrays speak of (None:
    all).
    """
    reaches = after.main >= (target if where is None else target[where])
    hit = np.flatnonzero(reaches & (book.pending if where is None else book.pending[where]))
    if not hit.size:
        return
    at = hit if where is None else where[hit]
    for kept, array in zip(book.hit_state.all(), before.all(), strict=True):
        kept[at] = array[hit]
    for kept, array in zip(book.hit_around.all(), around.all(), strict=True):
        kept[at] = array if array.size == 1 else array[hit]
    book.hit_duration[at] = duration if isinstance(duration, float) else duration[hit]
    book.hit_clock[at] = clock if isinstance(clock, float) else clock[hit]
    book.hit_given[at] = book.given[at]
    book.pending[at] = False
    book.waiting = bool(book.pending.any())


def _solved_targets(load: Coefficients, book: _Book, start: State, target: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (when each draw reaches its target, energy given until then); NaN where it does not.

    By bisection on `advance` itself inside the piece, so that the crossing agrees with the march to the last digits.
    """
    there = start.main >= target
    reached, given = np.where(there, 0.0, np.nan), np.where(there, 0.0, np.nan)
    hit = np.flatnonzero(~np.isnan(book.hit_clock))
    if not hit.size:
        return reached, given
    few, around, before, level = load.take(hit), book.hit_around.take(hit), book.hit_state.take(hit), target[hit]
    low, high = np.zeros(hit.size), book.hit_duration[hit]
    for _ in range(52):
        half = 0.5 * (low + high)
        short = advance(few, around, before, half).main < level
        low, high = np.where(short, half, low), np.where(short, high, half)
    reached[hit] = book.hit_clock[hit] + high
    given[hit] = book.hit_given[hit] + around.power * high
    return reached, given


def _cut(
    load: Coefficients, around: Surroundings, before: State, after: State, duration: FloatArray, level: FloatArray
) -> tuple[FloatArray, State]:
    """Return when the main node crosses `level` inside a step, and the state then.

    Each event of each draw comes here, so it has to be quick: the closed form for one node; for two the cubic through
    temperatures and rates at both ends, and secant steps only where that is not close enough.
    """
    if not load.two_nodes:
        used = _time_of_one(load, around, before, duration, level)
        return used, advance(load, around, before, used)
    used = duration * _where_cubic(
        before.main - level, after.main - level,
        duration * _main_rate(load, around, before), duration * _main_rate(load, around, after),
    )  # fmt: skip
    state = advance(load, around, before, used)
    gap = state.main - level
    if bool((np.abs(gap) < CLOSE_ENOUGH_K).all()):
        return used, state
    low, high = np.zeros_like(duration), duration.copy()
    low_gap, high_gap = before.main - level, after.main - level
    for _ in range(60):
        same = (gap > 0) == (high_gap > 0)
        high, high_gap = np.where(same, used, high), np.where(same, gap, high_gap)
        low, low_gap = np.where(same, low, used), np.where(same, low_gap, gap)
        share = np.clip(low_gap / (low_gap - high_gap), 0.02, 0.98)  # the secant, kept off its ends so that both move
        used = low + share * (high - low)
        state = advance(load, around, before, used)
        gap = state.main - level
        if bool((np.abs(gap) < CLOSE_ENOUGH_K).all()):
            break
    return used, state


def _time_of_one(
    load: Coefficients, around: Surroundings, before: State, duration: FloatArray, level: FloatArray
) -> FloatArray:
    """Return when a single node crosses `level`, from the logarithm of its exponential."""
    loss0, _ = losses(load, around, before.main, before.partner)
    slope0, _ = slopes(load, around, before.main, before.partner)
    capacity = main_capacity(load, before.water)
    if load.steams:
        loss0 = loss0 + steam_w(load, before.main, around.ambient, before.water)
        slope0 = slope0 + steam_slope_w_k(load, around, before.main, before.water)
    linear_time = (level - before.main) * capacity / (around.power - loss0)
    z = slope0 * linear_time / capacity
    small = np.abs(z) < 1e-8
    safe = np.where(small, 0.5, np.minimum(z, 1.0 - 1e-15))
    bend = np.where(small, 1.0 + 0.5 * z, -np.log1p(-safe) / safe)
    return np.asarray(np.clip(linear_time * bend, 0.0, duration))


def _main_rate(load: Coefficients, around: Surroundings, state: State) -> FloatArray:
    """Return how fast the main node of two warms, K/s."""
    loss0, _ = losses(load, around, state.main, state.partner)
    if load.steams:
        loss0 = loss0 + steam_w(load, state.main, around.ambient, state.water)
    net = around.power * load.main_share - load.coupling * (state.main - state.partner) - loss0
    return np.asarray(net / main_capacity(load, state.water))


def _where_cubic(start: FloatArray, end: FloatArray, start_rate: FloatArray, end_rate: FloatArray) -> FloatArray:
    """Return where between 0 and 1 the cubic with these values and rates at its ends is 0 (Newton from the chord)."""
    span = end - start
    share = np.clip(-start / np.where(span == 0, 1.0, span), 0.0, 1.0)
    square, cube = 3 * span - 2 * start_rate - end_rate, start_rate + end_rate - 2 * span
    for _ in range(3):
        value = start + share * (start_rate + share * (square + share * cube))
        rate = start_rate + share * (2 * square + 3 * share * cube)
        share = np.clip(share - value / np.where(rate == 0, np.inf, rate), 0.0, 1.0)
    return share


@dataclass(frozen=True)
class _Switch:
    """Levels of a thermostat."""

    off_above: FloatArray
    on_below: FloatArray


def _settle_events(
    load: Coefficients, book: _Book, around: Surroundings, offered: FloatArray, state: State, after: State,
    busy: Places, switch: _Switch | None, target: FloatArray, clock: float, duration: float,
) -> State:  # fmt: skip
    """Return the end of a step where the draws `busy` switch or boil inside it; `after` holds for the others.

    Each busy draw is taken from event to event until its step is over.
    """
    # `after` is fresh from `advance`, but for what a step leaves as it was.
    parts = [array.copy() if array is before else array for array, before in zip(after.all(), state.all(), strict=True)]
    now, then, left = state.take(busy), after.take(busy), np.full(busy.size, duration)
    offered = np.broadcast_to(offered, state.main.shape)
    first_round = True
    while True:
        _spend(book)
        few, others, offer = load.take(busy), around.take(busy), offered[busy]
        given = np.where(book.on[busy], offer, 0.0)
        here = Surroundings(given, others.ambient, others.main_loss, others.partner_loss)
        if not first_round:
            then = advance(few, here, now, left)
        first_round = False
        level, switches = _switching(book.on[busy], then.main, switch, busy)
        stands = starts_boiling = None
        crosses, lasting = switches, left
        if load.wet:
            stands = boils(few, here, now)
            lasting = np.where(stands, np.minimum(left, _time_to_dry(few, here, now, left)), left)
            boiled = boil(few, here, now, lasting)
            then = State(*(np.where(stands, b, a) for b, a in zip(boiled.all(), then.all(), strict=True)))
            starts_boiling = ~stands & (then.main > few.boiling) & (now.main < few.boiling) & (now.water > 0)
            starts_boiling &= ~(switches & (level < few.boiling))
            switches &= ~stands & ~starts_boiling
            level = np.where(starts_boiling, few.boiling, level)
            crosses = switches | starts_boiling
        used = lasting
        spot = np.flatnonzero(crosses)
        if spot.size == busy.size:
            used, then = _cut(few, here, now, then, left, level)
        elif spot.size:
            some, those, first = few.take(spot), here.take(spot), now.take(spot)
            used = lasting.copy()
            used[spot], cut = _cut(some, those, first, then.take(spot), left[spot], level[spot])
            then = State(*(array.copy() for array in then.all()))
            for array, piece in zip(then.all(), cut.all(), strict=True):
                array[spot] = piece
        begun = clock + duration - left
        if stands is not None and starts_boiling is not None:
            then = replace(then, main=np.where(starts_boiling, few.boiling, then.main))
            begins = (stands | starts_boiling) & np.isnan(book.boiling_from[busy])
            book.boiling_from[busy[begins]] = (begun + np.where(starts_boiling, used, 0.0))[begins]
            dries = (now.water > 0) & (then.water <= 0)
            book.dry_from[busy[dries]] = (begun + used)[dries]
            if book.cut_when_dry:
                book.on[busy[dries]] = False
        if book.waiting:
            _note_target(book, busy, here, now, then, target, begun, used)
        book.given[busy] += given * used
        book.refused[busy] += (offer - given) * used
        turned = busy[switches]
        book.on[turned] ^= True
        book.switchings[turned] += 1
        book.peak[busy] = np.maximum(book.peak[busy], then.main)
        left = left - used
        more = left > 1e-12 * duration
        done = ~more
        finished = busy[done]
        for array, piece in zip(parts, then.all(), strict=True):
            array[finished] = piece[done]
        if not more.any():
            return State(*parts)
        if not done.any():
            now = then
        else:
            busy, left, now = busy[more], left[more], then.take(np.flatnonzero(more))


def _spend(book: _Book) -> None:
    """Count a round of events; raise HeaterError where a thermostat would keep the march going for ever."""
    book.rounds_left -= 1
    if book.rounds_left < 0:
        raise HeaterError(
            f"the thermostat switches far too often ({int(book.switchings.max())} times so far): its hysteresis is too "
            "narrow for a load of so little heat capacity; accepted: a wider hysteresis, or a shorter time"
        )


def _switching(on: BoolArray, main: FloatArray, switch: _Switch | None, busy: Places) -> tuple[FloatArray, BoolArray]:
    """Return the level at which each draw's thermostat acts next, and where the end of the piece is beyond it."""
    if switch is None:
        return np.full(main.shape, np.inf), np.zeros(main.shape, dtype=bool)
    level = np.where(on, switch.off_above[busy], switch.on_below[busy])
    return level, np.where(on, main >= level, main <= level)


@dataclass(frozen=True)
class March:
    """What a march through the steps gives. Shapes (draws,) but for `recorded_*`, which have (records, draws)."""

    state: State
    on: BoolArray
    given: FloatArray  # J into the element
    refused: FloatArray  # J offered while the thermostat was open or above the element's limit
    peak: FloatArray  # highest main temperature
    reached_s: FloatArray  # NaN where the target was not reached
    given_at_target: FloatArray
    boiling_from_s: FloatArray
    dry_from_s: FloatArray
    partner_peak: FloatArray
    switchings: npt.NDArray[np.int64]
    recorded_s: FloatArray
    recorded_main: FloatArray
    recorded_partner: FloatArray


def march(
    load: Coefficients,
    start: State,
    *,
    durations_s: FloatArray,
    power_row: Row,
    refused_row: Row | None,
    ambient_row: Row,
    wind_row: Row | None,
    target: FloatArray,
    off_above: FloatArray | None,
    on_below: FloatArray | None,
    records: Places,
    cut_when_dry: bool = False,
    progress: Progress | None = None,
) -> March:
    """Return the load after all steps. `*_row(step)` gives what holds during a step, of shape (draws,) or (1,).

    `records` are the step ends (0 = the start) at which temperatures are kept, rising. With `cut_when_dry` (and no
    thermostat) the power stays off once the water is gone. `progress` is told the share of the steps done.
    """
    state = start
    book = _opened(start, target, off_above, durations_s.size, cut_when_dry)
    switch = None if off_above is None or on_below is None else _Switch(off_above, on_below)
    may_boil = bool(np.isfinite(load.boiling).any())
    line: Linearised | None = None
    made_at: _MadeAt = (0.0, state, None)
    kept = [(0.0, state.main, state.partner)] if records.size and records[0] == 0 else []
    wanted = set(records.tolist())
    clock = 0.0
    every = max(1, durations_s.size // _MOST_TOLD)
    for step, duration in enumerate(durations_s.tolist()):
        if step % every == 0:
            tell(progress, step / durations_s.size)
        offered = power_row(step)
        power = offered if switch is None and not cut_when_dry else np.where(book.on, offered, 0.0)
        wind = None if wind_row is None else wind_row(step)
        around = _surroundings(load, power, ambient_row(step), wind)
        if line is None or _has_bent(load, made_at, state, duration, wind):
            line, made_at = linearised(load, around, state, duration), (duration, state, wind)
        after = advance(load, around, state, duration, line)
        busy = _eventful(book, state, after, switch, load.boiling if may_boil else None)
        if busy is None:
            if book.waiting:
                _note_target(book, None, around, state, after, target, clock, duration)
            book.given += power * duration
            if power is not offered:
                book.refused += (offered - power) * duration
        else:
            if book.waiting:
                quiet = np.ones(start.main.size, dtype=bool)
                quiet[busy] = False
                calm = np.flatnonzero(quiet)
                if calm.size:
                    few, those, ends = around.take(calm), state.take(calm), after.take(calm)
                    _note_target(book, calm, few, those, ends, target, clock, duration)
            # All draws, then the busy ones put back: what those take is counted event by event.
            given, refused = book.given[busy], book.refused[busy]
            book.given += power * duration
            if power is not offered:
                book.refused += (offered - power) * duration
            book.given[busy], book.refused[busy] = given, refused
            after = _settle_events(load, book, around, offered, state, after, busy, switch, target, clock, duration)
        clock += duration
        if load.steams:
            dries = (state.water > 0) & (after.water <= 0) & np.isnan(book.dry_from)
            book.dry_from[dries] = clock
            if cut_when_dry:
                book.on[dries] = False
        if refused_row is not None:
            book.refused += refused_row(step) * duration
        state = after
        np.maximum(book.peak, state.main, out=book.peak)
        if load.two_nodes:
            np.maximum(book.partner_peak, state.partner, out=book.partner_peak)
        if step + 1 in wanted:
            kept.append((clock, state.main, state.partner))
    reached, given_at_target = _solved_targets(load, book, start, target)
    tell(progress, 1.0)
    shape = (len(kept), start.main.size)
    return March(
        state, book.on, book.given, book.refused, book.peak, reached, given_at_target, book.boiling_from, book.dry_from,
        book.partner_peak, book.switchings, np.array([entry[0] for entry in kept]),
        np.array([entry[1] for entry in kept]).reshape(shape), np.array([entry[2] for entry in kept]).reshape(shape),
    )  # fmt: skip


_MadeAt = tuple[float, State, FloatArray | None]


def _has_bent(load: Coefficients, made_at: _MadeAt, state: State, duration: float, wind: FloatArray | None) -> bool:
    """Return whether a linearisation made at (duration, state, wind) is no longer good enough for any draw.

    Slopes that lag by 1 K or 0.3 m/s are about a hundredth off; in a step short against the load's time constant that
    is a hundred-thousandth of the rise. A step of another length always needs a new one.
    """
    made_duration, then, then_wind = made_at
    if duration != made_duration:
        return True
    if wind is not None and then_wind is not None and bool((np.abs(wind - then_wind) > MOST_LAG_M_S).any()):
        return True
    if load.radiates or load.steams:
        if bool((np.abs(state.main - then.main) > MOST_LAG_K).any()):
            return True
        if load.two_nodes and bool((np.abs(state.partner - then.partner) > MOST_LAG_K).any()):
            return True
    return load.wet and bool((state.water < then.water * 0.99).any())


def _surroundings(
    load: Coefficients, power: FloatArray, ambient: FloatArray, air_speed: FloatArray | None
) -> Surroundings:
    if air_speed is None:
        return Surroundings(power, ambient, load.main_loss, load.partner_loss)
    main, partner = load.main_loss, load.partner_loss
    if bool(load.main_outside.any()):
        main = loss_in_wind_w_k(main, load.main_outside, air_speed)
    if bool(load.partner_outside.any()):
        partner = loss_in_wind_w_k(partner, load.partner_outside, air_speed)
    return Surroundings(power, ambient, main, partner)


def _eventful(
    book: _Book, state: State, after: State, switch: _Switch | None, boiling: FloatArray | None
) -> Places | None:
    """Return the draws whose thermostat switches or whose water boils inside a step, None where there are none."""
    events = None
    if switch is not None:
        events = np.where(book.on, after.main >= switch.off_above, after.main <= switch.on_below)
    if boiling is not None:
        boils_now = (after.main >= boiling) & (state.water > 0)
        events = boils_now if events is None else events | boils_now
    return None if events is None or not events.any() else np.flatnonzero(events)
