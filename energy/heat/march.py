"""Marching a heated load through the steps of a trip, from event to event where it switches or boils.

`energy.heat.steps` solves one stretch of time in which nothing switches; here the stretches are found and put together,
for many draws at once: the levels of a thermostat, the boiling point, the last of the water. What a draw is given,
refused and reaches on the way is written down in a book. Inside: kelvin, seconds, watts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from energy.heat.steps import (
    BoolArray,
    Coefficients,
    FloatArray,
    HeaterError,
    Linearised,
    Seconds,
    State,
    Surroundings,
    advance,
    boil,
    boils,
    linearised,
    losses,
    main_capacity,
    slopes,
    steam_slope_w_k,
    steam_w,
    surroundings,
    time_to_dry_s,
)
from energy.progress import Progress, tell

MOST_ROUNDS = 5_000
MOST_LAG_K = 1.0
MOST_LAG_M_S = 0.3
SHORT_STEP = 0.02  # of a node's time constant
CLOSE_ENOUGH_K = 1e-4
_MOST_TOLD = 100  # times that a march tells how far it is, or little more

Row = Callable[[int], FloatArray]
Places = npt.NDArray[np.intp]


@dataclass(frozen=True)
class HeatDrive:
    """What holds in each step of a march: its length (steps,) [s], and by the step's number arrays of (draws,) or (1,).

    `power` [W] is what the element may take, `refused` [W] what is offered above its limit (None: nothing is),
    `ambient` [K], `wind` [m/s] over the outer surface (None: sheltered).
    """

    durations_s: FloatArray
    power: Row
    ambient: Row
    refused: Row | None = None
    wind: Row | None = None


@dataclass(frozen=True)
class Levels:
    """Temperatures (draws,) [K] at which a thermostat opens and closes."""

    off_above: FloatArray
    on_below: FloatArray


@dataclass(frozen=True)
class Control:
    """What cuts the power: a thermostat (None: none), and whether it stays off once the water is gone."""

    levels: Levels | None = None
    cut_when_dry: bool = False


@dataclass(frozen=True)
class _Piece:
    """A stretch of time, of all draws or some: what holds in it, the load at both ends, its beginning and length."""

    around: Surroundings
    before: State
    after: State
    begun: Seconds
    duration: Seconds


@dataclass
class _Book:
    """What is kept while marching; changed in place. Arrays of (draws,)."""

    control: Control
    target: FloatArray
    on: BoolArray
    given: FloatArray
    refused: FloatArray
    peak: FloatArray
    second_peak: FloatArray
    boiling_from: FloatArray
    dry_from: FloatArray
    switchings: npt.NDArray[np.int64]
    rounds_left: int  # of events, before the march is given up as endless
    pending: BoolArray  # target not reached yet
    waiting: bool  # any pending
    # The piece in which each draw first reaches the target, to be solved for all draws at once when the march is over.
    hit_state: State
    hit_around: Surroundings
    hit_duration: FloatArray
    hit_clock: FloatArray  # NaN where the target is not reached
    hit_given: FloatArray


def _opened(start: State, target: FloatArray, control: Control, steps: int) -> _Book:
    draws = start.main.size
    pending = start.main < target
    levels = control.levels
    return _Book(
        control=control,
        target=target,
        on=np.ones(draws, dtype=bool) if levels is None else start.main < levels.off_above,
        given=np.zeros(draws),
        refused=np.zeros(draws),
        peak=start.main.copy(),
        second_peak=start.second.copy(),
        boiling_from=np.full(draws, np.nan),
        dry_from=np.full(draws, np.nan),
        switchings=np.zeros(draws, dtype=np.int64),
        rounds_left=MOST_ROUNDS + 5 * steps,
        pending=pending,
        waiting=bool(pending.any()),
        hit_state=State(*(array.copy() for array in start.all())),
        hit_around=Surroundings(*(np.zeros(draws) for _ in range(4))),
        hit_duration=np.zeros(draws),
        hit_clock=np.full(draws, np.nan),
        hit_given=np.zeros(draws),
    )


def _note_target(book: _Book, where: Places | None, piece: _Piece) -> None:
    """Keep the piece in which a draw first reaches its target.

    `where` are the draws that the piece's arrays speak of (None: all).
    """
    reaches = piece.after.main >= (book.target if where is None else book.target[where])
    hit = np.flatnonzero(reaches & (book.pending if where is None else book.pending[where]))
    if not hit.size:
        return
    at = hit if where is None else where[hit]
    for kept, array in zip(book.hit_state.all(), piece.before.all(), strict=True):
        kept[at] = array[hit]
    for kept, array in zip(book.hit_around.all(), piece.around.all(), strict=True):
        kept[at] = array if array.size == 1 else array[hit]
    book.hit_duration[at] = piece.duration if isinstance(piece.duration, float) else piece.duration[hit]
    book.hit_clock[at] = piece.begun if isinstance(piece.begun, float) else piece.begun[hit]
    book.hit_given[at] = book.given[at]
    book.pending[at] = False
    book.waiting = bool(book.pending.any())


def _note_calm(book: _Book, busy: Places, piece: _Piece) -> None:
    """Note the target for the draws in which nothing switches or boils; the busy ones are noted event by event."""
    quiet = np.ones(book.pending.size, dtype=bool)
    quiet[busy] = False
    calm = np.flatnonzero(quiet)
    if calm.size:
        few = replace(
            piece, around=piece.around.take(calm), before=piece.before.take(calm), after=piece.after.take(calm)
        )
        _note_target(book, calm, few)


def _solved_targets(load: Coefficients, book: _Book, start: State) -> tuple[FloatArray, FloatArray]:
    """Return (when each draw reaches its target, energy given until then); NaN where it does not.

    By bisection on `advance` itself inside the piece, so that the crossing agrees with the march to the last digits.
    """
    target = book.target
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


def _cut(load: Coefficients, piece: _Piece, level: FloatArray) -> tuple[FloatArray, State]:
    """Return when the main node crosses `level` inside a piece, and the state then.

    Each event of each draw comes here, so it has to be quick: the closed form for one node; for two the cubic through
    temperatures and rates at both ends, and secant steps only where that is not close enough.
    """
    around, before, after, duration = piece.around, piece.before, piece.after, np.asarray(piece.duration)
    if not load.two_nodes:
        used = _time_of_one(load, around, before, duration, level)
        return used, advance(load, around, before, used)
    used = duration * _where_cubic(
        before.main - level,
        after.main - level,
        duration * _main_rate(load, around, before),
        duration * _main_rate(load, around, after),
    )
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
    loss0, _ = losses(load, around, before.main, before.second)
    slope0, _ = slopes(load, around, before.main, before.second)
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
    loss0, _ = losses(load, around, state.main, state.second)
    if load.steams:
        loss0 = loss0 + steam_w(load, state.main, around.ambient, state.water)
    net = around.power * load.main_share - load.coupling * (state.main - state.second) - loss0
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


def _settle_events(load: Coefficients, book: _Book, piece: _Piece, offered: FloatArray, busy: Places) -> State:
    """Return the end of a step where the draws `busy` switch or boil inside it; the piece's end holds for the others.

    Each busy draw is taken from event to event until its step is over.
    """
    state, after, duration = piece.before, piece.after, piece.duration
    # `after` is fresh from `advance`, but for what a step leaves as it was.
    parts = [array.copy() if array is before else array for array, before in zip(after.all(), state.all(), strict=True)]
    now, left = state.take(busy), np.full(busy.size, duration)
    then: State | None = after.take(busy)
    offered = np.broadcast_to(offered, state.main.shape)
    while True:
        _spend(book)
        few, others, offer = load.take(busy), piece.around.take(busy), offered[busy]
        given = np.where(book.on[busy], offer, 0.0)
        here = Surroundings(given, others.ambient, others.main_loss, others.second_loss)
        if then is None:
            then = advance(few, here, now, left)
        begun = piece.begun + duration - left
        event = _next_event(few, book, busy, _Piece(here, now, then, begun, left))
        then, used = event.after, event.used
        _note_event(book, busy, _Piece(here, now, then, begun, used), event)
        book.refused[busy] += (offer - given) * used
        left = left - used
        more = left > 1e-12 * duration
        done = ~more
        finished = busy[done]
        for array, end in zip(parts, then.all(), strict=True):
            array[finished] = end[done]
        if not more.any():
            return State(*parts)
        if not done.any():
            now = then
        else:
            busy, left, now = busy[more], left[more], then.take(np.flatnonzero(more))
        then = None


@dataclass(frozen=True)
class _Event:
    """How far a piece goes until something happens: time used, the load then, and what happens to which draw."""

    used: FloatArray
    after: State
    switches: BoolArray
    stands: BoolArray | None  # at the boiling point; None for a load that cannot boil
    starts_boiling: BoolArray | None


def _next_event(load: Coefficients, book: _Book, busy: Places, piece: _Piece) -> _Event:
    """Return the first event inside a piece of the draws `busy`, or its end; `load` is that of these draws."""
    now, then, left = piece.before, piece.after, np.asarray(piece.duration)
    level, switches = _switching(book, then.main, busy)
    crosses, lasting = switches, left
    stands = starts_boiling = None
    if load.wet:
        stands = boils(load, piece.around, now)
        lasting = np.where(stands, np.minimum(left, time_to_dry_s(load, piece.around, now, left)), left)
        boiled = boil(load, piece.around, now, lasting)
        then = State(*(np.where(stands, b, a) for b, a in zip(boiled.all(), then.all(), strict=True)))
        starts_boiling = ~stands & (then.main > load.boiling) & (now.main < load.boiling) & (now.water > 0)
        starts_boiling &= ~(switches & (level < load.boiling))
        switches &= ~stands & ~starts_boiling
        level = np.where(starts_boiling, load.boiling, level)
        crosses = switches | starts_boiling
    used, then = _until_crossing(load, replace(piece, after=then), lasting, level, crosses)
    if starts_boiling is not None:
        then = replace(then, main=np.where(starts_boiling, load.boiling, then.main))
    return _Event(used, then, switches, stands, starts_boiling)


def _until_crossing(
    load: Coefficients, piece: _Piece, lasting: FloatArray, level: FloatArray, crosses: BoolArray
) -> tuple[FloatArray, State]:
    """Return (time used, state then): where `crosses` until the main node is at `level`, else all that lasts."""
    here, now, then, left = piece.around, piece.before, piece.after, np.asarray(piece.duration)
    spot = np.flatnonzero(crosses)
    if spot.size == left.size:
        return _cut(load, piece, level)
    if not spot.size:
        return lasting, then
    part = _Piece(here.take(spot), now.take(spot), then.take(spot), piece.begun, left[spot])
    used = lasting.copy()
    used[spot], cut = _cut(load.take(spot), part, level[spot])
    then = State(*(array.copy() for array in then.all()))
    for array, end in zip(then.all(), cut.all(), strict=True):
        array[spot] = end
    return used, then


def _note_event(book: _Book, busy: Places, piece: _Piece, event: _Event) -> None:
    """Write down what an event of the draws `busy` does: boiling, running dry, target, energy, switching, peak."""
    begun, used = piece.begun, event.used
    if event.stands is not None and event.starts_boiling is not None:
        begins = (event.stands | event.starts_boiling) & np.isnan(book.boiling_from[busy])
        book.boiling_from[busy[begins]] = (begun + np.where(event.starts_boiling, used, 0.0))[begins]
        dries = (piece.before.water > 0) & (piece.after.water <= 0)
        book.dry_from[busy[dries]] = (begun + used)[dries]
        if book.control.cut_when_dry:
            book.on[busy[dries]] = False
    if book.waiting:
        _note_target(book, busy, piece)
    book.given[busy] += piece.around.power * used
    turned = busy[event.switches]
    book.on[turned] ^= True
    book.switchings[turned] += 1
    book.peak[busy] = np.maximum(book.peak[busy], piece.after.main)


def _spend(book: _Book) -> None:
    """Count a round of events; raise HeaterError where a thermostat would keep the march going for ever."""
    book.rounds_left -= 1
    if book.rounds_left < 0:
        raise HeaterError(
            f"the thermostat switches far too often ({int(book.switchings.max())} times so far): its hysteresis is too "
            "narrow for a load of so little heat capacity; accepted: a wider hysteresis, or a shorter time"
        )


def _switching(book: _Book, main: FloatArray, busy: Places) -> tuple[FloatArray, BoolArray]:
    """Return the level at which each draw's thermostat acts next, and where the end of the piece is beyond it."""
    levels = book.control.levels
    if levels is None:
        return np.full(main.shape, np.inf), np.zeros(main.shape, dtype=bool)
    on = book.on[busy]
    level = np.where(on, levels.off_above[busy], levels.on_below[busy])
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
    second_peak: FloatArray
    switchings: npt.NDArray[np.int64]
    recorded_s: FloatArray
    recorded_main: FloatArray
    recorded_second: FloatArray


def integrate(
    load: Coefficients,
    start: State,
    drive: HeatDrive,
    control: Control,
    *,
    target: FloatArray,
    records: Places,
    progress: Progress | None = None,
) -> March:
    """Return the load after all steps of a drive.

    Parameters
    ----------
    load, start : the load and its state at the start, arrays (draws,) or (1,).
    drive : what holds in each step.
    control : what cuts the power. `cut_when_dry` works without a thermostat only.
    target : (draws,) temperature of the main node [K] whose first reaching is noted.
    records : (R,) the step ends (0 = the start), rising, at which temperatures are kept.
    progress : is told the share of the steps done.

    Returns
    -------
    The state at the end, sums of energy [J] and records, arrays (draws,) and (records, draws).

    Raises
    ------
    HeaterError
        Where a thermostat would switch for ever.

    References
    ----------
    .. [1] energy/heat/steps.py; from event to event, own derivation.
    """
    state = start
    book = _opened(start, target, control, drive.durations_s.size)
    boiling = load.boiling if bool(np.isfinite(load.boiling).any()) else None
    line: Linearised | None = None
    made_at: _MadeAt = (0.0, state, None, 0.0)
    kept = [(0.0, state.main, state.second)] if records.size and records[0] == 0 else []
    wanted = set(records.tolist())
    clock = 0.0
    every = max(1, drive.durations_s.size // _MOST_TOLD)
    for step, duration in enumerate(drive.durations_s.tolist()):
        if step % every == 0:
            tell(progress, step / drive.durations_s.size)
        offered = drive.power(step)
        always_on = control.levels is None and not control.cut_when_dry
        power = offered if always_on else np.where(book.on, offered, 0.0)
        wind = None if drive.wind is None else drive.wind(step)
        around = surroundings(load, power, drive.ambient(step), wind)
        if line is None or _has_bent(load, made_at, state, duration, wind):
            line = linearised(load, around, state, duration)
            made_at = duration, state, wind, _most_lag_m_s(load, line, duration)
        after = advance(load, around, state, duration, line)
        after = _booked(load, book, _Piece(around, state, after, clock, duration), offered, boiling)
        clock += duration
        if load.steams:
            _note_dry(book, state, after, clock)
        if drive.refused is not None:
            book.refused += drive.refused(step) * duration
        state = after
        np.maximum(book.peak, state.main, out=book.peak)
        if load.two_nodes:
            np.maximum(book.second_peak, state.second, out=book.second_peak)
        if step + 1 in wanted:
            kept.append((clock, state.main, state.second))
    tell(progress, 1.0)
    return _marched(load, book, start, state, kept)


def _booked(load: Coefficients, book: _Book, piece: _Piece, offered: FloatArray, boiling: FloatArray | None) -> State:
    """Return the end of a step after all its events, what it gave and whom it brought to the target written down."""
    busy = _eventful(book, piece, boiling)
    if busy is None:
        if book.waiting:
            _note_target(book, None, piece)
        _count_energy(book, piece, offered)
        return piece.after
    if book.waiting:
        _note_calm(book, busy, piece)
    # All draws, then the busy ones put back: what those take is counted event by event.
    given, refused = book.given[busy], book.refused[busy]
    _count_energy(book, piece, offered)
    book.given[busy], book.refused[busy] = given, refused
    return _settle_events(load, book, piece, offered, busy)


def _count_energy(book: _Book, piece: _Piece, offered: FloatArray) -> None:
    power, duration = piece.around.power, piece.duration
    book.given += power * duration
    if power is not offered:
        book.refused += (offered - power) * duration


def _note_dry(book: _Book, before: State, after: State, clock: float) -> None:
    """Note the draws whose water has steamed away within a step that ended at `clock`."""
    dries = (before.water > 0) & (after.water <= 0) & np.isnan(book.dry_from)
    book.dry_from[dries] = clock
    if book.control.cut_when_dry:
        book.on[dries] = False


def _marched(
    load: Coefficients, book: _Book, start: State, state: State, kept: list[tuple[float, FloatArray, FloatArray]]
) -> March:
    reached, given_at_target = _solved_targets(load, book, start)
    shape = (len(kept), start.main.size)
    return March(
        state=state,
        on=book.on,
        given=book.given,
        refused=book.refused,
        peak=book.peak,
        reached_s=reached,
        given_at_target=given_at_target,
        boiling_from_s=book.boiling_from,
        dry_from_s=book.dry_from,
        second_peak=book.second_peak,
        switchings=book.switchings,
        recorded_s=np.array([entry[0] for entry in kept]),
        recorded_main=np.array([entry[1] for entry in kept]).reshape(shape),
        recorded_second=np.array([entry[2] for entry in kept]).reshape(shape),
    )


_MadeAt = tuple[float, State, FloatArray | None, float]


def _most_lag_m_s(load: Coefficients, line: Linearised, duration: float) -> float:
    """Return by how much the wind may differ from that of a linearisation: not at all in a long step."""
    rate = float(((line.slope0 + load.coupling) / line.capacity).max())
    if load.two_nodes:
        rate = max(rate, float(((line.slope1 + load.coupling) / load.second_capacity).max()))
    return MOST_LAG_M_S if duration * rate < SHORT_STEP else 0.0


def _has_bent(load: Coefficients, made_at: _MadeAt, state: State, duration: float, wind: FloatArray | None) -> bool:
    """Return whether a linearisation made at (duration, state, wind, lag of the wind) is no longer good for any draw.

    A slope that lags by 1 K is about a hundredth off, one that lags by 0.3 m/s up to a fifth (from still air, where the
    film is all that insulates). In a step of a fiftieth of the load's time constant that is at most a five-hundredth of
    its rise, and the next step sets out from the true net power. In a long step the wind may not differ at all: there
    a straight loss is solved exactly. A step of another length always needs a new linearisation.
    """
    made_duration, then, then_wind, lag = made_at
    if duration != made_duration:
        return True
    if wind is not None and then_wind is not None and bool((np.abs(wind - then_wind) > lag).any()):
        return True
    if load.radiates or load.steams:
        if bool((np.abs(state.main - then.main) > MOST_LAG_K).any()):
            return True
        if load.two_nodes and bool((np.abs(state.second - then.second) > MOST_LAG_K).any()):
            return True
    return load.wet and bool((state.water < then.water * 0.99).any())


def _eventful(book: _Book, piece: _Piece, boiling: FloatArray | None) -> Places | None:
    """Return the draws whose thermostat switches or whose water boils inside a step, None where there are none."""
    state, after, levels = piece.before, piece.after, book.control.levels
    events = None
    if levels is not None:
        events = np.where(book.on, after.main >= levels.off_above, after.main <= levels.on_below)
    if boiling is not None:
        boils_now = (after.main >= boiling) & (state.water > 0)
        events = boils_now if events is None else events | boils_now
    return None if events is None or not events.any() else np.flatnonzero(events)
