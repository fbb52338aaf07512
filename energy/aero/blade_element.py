"""Blade-element momentum: the inflow angle of every blade section, for all tip-speed ratios and pitches at once.

How it is solved. For one section at one pitch, an inflow angle phi fixes the angle of attack, hence the force
coefficients, hence (from the thrust balance, in closed form) the relative speed, hence (from the torque balance) the
local speed ratio that would bring this inflow about. So local speed ratio is an EXPLICIT function of phi: one sweep
over phi, from -90 to 180 degrees, serves every tip-speed ratio, and the wanted one is read off backwards and polished
to rounding. The sweep is in single precision, for it only finds the interval of each root. Inverse interpolation then
gives an angle, its evaluation a better one, and from these two the line leads to the root: the polar is a table with
straight steps, so inside one of them all is smooth and the line's error is known. Where a kink of the table lies
between, bracketed false position goes on.

Balance equations, forces over 1/2 rho U^2 of annulus area, w = U/W with W the relative speed, a the axial induction:

- thrust: sigma Cn / w^2 = T(a), where T = 4 a (1-a) F up to a = 0.4 (momentum theory), then the line for high thrust
  (`energy.aero.momentum`), which is carried on beyond a = 1 (flow through the disc reversed) until the propeller-brake
  line 4 a (a-1) F overtakes it. T is continuous throughout.
- torque: sigma Ct / w^2 = 4 (T/4a) a' lambda_r: the air that takes up the swirl is the air that takes up the thrust.
  For a <= 0.4 this is the textbook form (mass flow F (1-a)); in the high-thrust state the textbook mass flow runs to
  zero while the thrust does not, and with drag that makes a root which is not physical at every tip-speed ratio. Here
  the induced velocity stays parallel to the blade force in every state, so no such root exists and no region has to be
  chosen.
- closure: (1-a) / (lambda_r (1+a')) = tan phi.

Written with w, nothing divides by cos phi nor by 1-a, so phi = 90 degrees and phi = 0 are ordinary points. A root
always exists: at phi = -90 degrees the section can only be driven (w <= 0), at 180 the local speed ratio is negative,
and it is continuous between where w > 0.

Equations: Glauert (1935); tip loss Prandtl; induction with loss as in Selvatici and Stevens, "Blade element momentum
with tip correction", eqs. 1, 4, 5; bracketing by the inflow angle after Ning, Wind Energy 17 (2014) 1327 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from energy.aero.momentum import wake_speed_at_high_thrust

LEAST_LOSS = 1e-4
_STEPS_PER_DEG = 10
_TABLE_START_DEG = -360.0
_GROUP_STATES = 36_000
_GROUP_SWEEP = 120_000
_FEW_STATES = 64  # so few that a dozen trials of each cost less than one more round of calls
_LEAST_SQUARE_DEG2 = 1e-9  # 3e-13 rad^2: a line so near its root misses coefficients by less than 1e-9
_BINS = 2048  # of places: fine enough to hold one of a usual map's ratios each, small enough for the nearest cache

# Inflow angles of the sweep, in steps of the polars' tables: dense where rotors work and where roots lie close. Whole
# steps, so that all angles of a sweep lie at the same part of their step.
_SWEEP_STEPS = np.concatenate(
    [
        [-900, -900],
        np.arange(-800, -200, 200),
        np.arange(-200, -40, 20),
        np.sort(np.concatenate([np.arange(-39, 80, 5), np.arange(-36, 80, 5)])),
        np.arange(80, 320, 5),
        np.arange(320, 400, 6),
        np.arange(400, 480, 8),
        np.arange(480, 800, 10),
        np.arange(800, 960, 20),
        np.arange(960, 1760, 80),
        [1790, 1800, 1800],
    ]
)
_SWEEP_DEG = _SWEEP_STEPS / _STEPS_PER_DEG
# The ends stay clear of -90 and 180 degrees, a thousandth of a degree from where their polar is read; none is 0.
_SWEEP_DEG[:2], _SWEEP_DEG[-2:] = (-89.9999, -89.999), (179.999, 179.9999)
_AHEAD = int(np.searchsorted(_SWEEP_DEG, 0.0))
_WIDTHS = np.concatenate([[np.nan], np.diff(_SWEEP_DEG), [np.nan]]).astype(np.float32)  # nan for want of a neighbour


@dataclass(frozen=True)
class Sections:
    """Blade sections as the solver needs them; arrays (S,) unless said.

    `radius` and `width` over the tip radius; `solidity` = blades chord / (2 pi r); `twist_deg` positive towards
    feather; `tip_exponent` and `root_exponent` of Prandtl's loss times sin(phi) (infinite where the loss is off).
    `lift` and `drag` (D, K, 7201) are tables over angle of attack -360..360 degrees for each of K Reynolds numbers,
    `table` (S,) tells which of the D a section uses; `log_reynolds` (K,); `reynolds_per_speed` = air speed chord /
    viscosity.
    """

    radius: np.ndarray
    width: np.ndarray
    solidity: np.ndarray
    twist_deg: np.ndarray
    tip_exponent: np.ndarray
    root_exponent: np.ndarray
    zero_lift_deg: np.ndarray
    stall_deg: np.ndarray
    negative_stall_deg: np.ndarray
    lift: np.ndarray
    drag: np.ndarray
    table: np.ndarray
    log_reynolds: np.ndarray
    reynolds_per_speed: np.ndarray
    wake_rotation: bool = True


@dataclass(frozen=True)
class SectionStates:
    """Solved section states, arrays (S, P, L): section x pitch x tip-speed ratio.

    `relative_speed` is W over the air speed; `normal_coefficient` and `tangential_coefficient` are those of the section
    (thrust-wise, and torque-wise in the sense of rotation); `residual` is the local speed ratio that follows from the
    inflow angle minus the wanted one.
    """

    inflow_deg: np.ndarray
    alpha_deg: np.ndarray
    relative_speed: np.ndarray
    normal_coefficient: np.ndarray
    tangential_coefficient: np.ndarray
    local_speed_ratio: np.ndarray
    residual: np.ndarray
    multiple_roots: np.ndarray
    stalled: np.ndarray


def tip_loss_factor(sine: np.ndarray, tip_exponent: np.ndarray, root_exponent: np.ndarray) -> np.ndarray:
    """Return Prandtl's loss factor of tip and root together, floored at `LEAST_LOSS` so that the tip itself is finite.

    Shapes broadcast; (2/pi) acos(exp(-f)) each, f = exponent/|sin phi|.

    Parameters
    ----------
    sine : [-] of the inflow angle, any shape
    tip_exponent, root_exponent : [-] blades × distance to tip or root over twice the radius, any shape

    Returns
    -------
    [-] F, the shape of all inputs broadcast, `LEAST_LOSS` to 1.

    References
    ----------
    .. [1] Prandtl's tip loss as in Selvatici and Stevens, blade element momentum with tip correction, eq. 1; the root
       likewise, from memory.
    """
    root = np.abs(sine)
    np.maximum(root, 1e-9, out=root)
    both = np.divide(-tip_exponent, root)
    root = np.divide(-root_exponent, root)
    for part in (both, root):
        np.exp(part, out=part)
        np.arccos(part, out=part)
    both *= root
    both *= 4.0 / np.pi**2
    return np.maximum(both, LEAST_LOSS, out=both)


@dataclass(frozen=True)
class _Annulus:
    """Where the air meets a section; the arrays broadcast."""

    sine: np.ndarray
    cosine: np.ndarray
    loss: np.ndarray
    solidity: np.ndarray


class _Tables:
    """Sections with their polars as flat tables of lift and drag: a lookup is gathers and no search."""

    def __init__(self, sections: Sections, chord_deg: np.ndarray) -> None:
        self.sections = sections
        self.count, self.length = sections.log_reynolds.size, sections.lift.shape[-1]
        used = self._used(chord_deg)
        self.of_type: dict[np.dtype, list[np.ndarray]] = {
            np.dtype(kind): [self._flat(table, used, kind) for table in (sections.lift, sections.drag)]
            for kind in (np.float64, np.float32)
        }
        sine, cosine = _sine_cosine(_SWEEP_DEG)
        loss = tip_loss_factor(sine, sections.tip_exponent[:, None, None], sections.root_exponent[:, None, None])
        air = (sine, cosine, loss, sections.solidity[:, None, None])
        self.sweep = _Annulus(*(values.astype(np.float32) for values in air))

    @staticmethod
    def _used(chord_deg: np.ndarray) -> slice:
        """Return which part of the tables the sweep's angles of attack need, a step to spare."""
        lowest, highest = _SWEEP_DEG[0] - chord_deg.max(), _SWEEP_DEG[-1] - chord_deg.min()
        start, end = (int((alpha - _TABLE_START_DEG) * _STEPS_PER_DEG) for alpha in (lowest, highest))
        return slice(max(0, start - 1), end + 4)

    @staticmethod
    def _flat(table: np.ndarray, used: slice, kind: type) -> np.ndarray:
        """Return the table in one row, in the precision `kind`; a copy is filled only where it is used."""
        if table.dtype == kind and table.flags.c_contiguous:
            return table.reshape(-1)
        flat: np.ndarray = np.empty(table.shape, kind)
        flat[:, :, used] = table[:, :, used]
        flat[:, :, 0] = table[:, :, 0]  # the end of the table before reads on to it, by no part
        return flat.reshape(-1)

    def origin(self, section: np.ndarray, chord_deg: np.ndarray) -> np.ndarray:
        """Return what to add to an inflow angle, counted in steps of the polar, for its place in the flat tables."""
        start = self.sections.table[section] * (self.count * self.length)
        return np.asarray(start - _STEPS_PER_DEG * (_TABLE_START_DEG + chord_deg))

    def at(self, cell: np.ndarray, part: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return lift and drag coefficient at `part` of the way through `cell`, in the precision of `part`."""
        low, lift, drag = (np.empty(cell.shape, part.dtype) for _ in range(3))
        for table, value in zip(self.of_type[part.dtype], (lift, drag), strict=True):
            # Clipped, as no cell is outside: so numpy writes straight into `out`.
            table.take(cell, out=low, mode="clip")
            table[1:].take(cell, out=value, mode="clip")
            value -= low
            value *= part
            value += low
        return lift, drag

    def at_reynolds(
        self, cell: np.ndarray, part: np.ndarray, log_reynolds: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return both coefficients interpolated over the logarithm of the Reynolds number, and the cell used.

        `cell` is that of the lowest Reynolds number; beyond the first and the last one their values are held.
        """
        level = np.interp(log_reynolds, self.sections.log_reynolds, np.arange(self.count, dtype=float))
        low = np.minimum(level.astype(np.intp), self.count - 2)
        share = level - low
        cell = cell + low * self.length
        pairs = zip(self.at(cell, part), self.at(cell + self.length, part), strict=True)
        lift, drag = ((1.0 - share) * below + share * above for below, above in pairs)
        return lift, drag, cell


@dataclass(frozen=True)
class _Trial:
    """What inflow angles imply; arrays of one shape. `normal` and `tangential` are coefficients of the section."""

    inflow_deg: np.ndarray
    normal: np.ndarray
    tangential: np.ndarray
    w: np.ndarray
    numerator: np.ndarray
    place: np.ndarray
    cell: np.ndarray  # which step of the polars' tables is in use


_SOLVED = ("inflow_deg", "normal", "tangential", "w", "numerator")


def _sine_cosine(angle_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return sine and cosine by the tangent of half the angle: numpy's tangent is vectorised, its sine is not."""
    sine = angle_deg * (np.pi / 360.0)
    np.tan(sine, out=sine)
    cosine = sine * sine
    cosine += 1.0
    np.divide(2.0, cosine, out=cosine)
    sine *= cosine
    cosine -= 1.0
    return sine, cosine


def _try(tables: _Tables, section: np.ndarray, inflow_deg: np.ndarray, origin: np.ndarray) -> _Trial:
    """Return what follows from inflow angles; `section` broadcasts to them, `origin` is that of `_Tables`."""
    sections = tables.sections
    sine, cosine = _sine_cosine(inflow_deg)
    loss = tip_loss_factor(sine, sections.tip_exponent[section], sections.root_exponent[section])
    air = _Annulus(sine, cosine, loss, sections.solidity[section])
    part = inflow_deg * _STEPS_PER_DEG
    part += origin
    whole = np.floor(part)
    part -= whole
    normal, tangential, cell = _forces(tables, section, (whole.astype(np.intp), part), air)
    w, numerator = _inflow(air, normal, tangential, rotation=sections.wake_rotation)
    return _Trial(inflow_deg, normal, tangential, w, numerator, _place(w, numerator, cosine), cell)


def _forces(
    tables: _Tables, section: np.ndarray, at: tuple[np.ndarray, np.ndarray], air: _Annulus
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return normal and tangential coefficient, and the cell used; `at` is a cell of the tables and the part of it."""
    cell, part = at
    if tables.count == 1:
        lift, drag = tables.at(cell, part)
    else:
        # The Reynolds number needs the relative speed, which needs the force: one pass from W = (2/3) U / sin phi,
        # bounded.
        base = tables.sections.reynolds_per_speed[section]
        first = np.log(base * np.minimum(2.0 / 3.0 / np.maximum(np.abs(air.sine), 0.02), 30.0))
        lift, drag, _ = tables.at_reynolds(cell, part, first)
        full = _Annulus(*(np.broadcast_to(part, cell.shape) for part in vars(air).values()))
        w, _ = _inflow(full, *_turned(lift, drag, air), rotation=False)
        second = np.log(base / np.clip(w, 1.0 / 30.0, 5.0))
        lift, drag, cell = tables.at_reynolds(cell, part, second)
    return *_turned(lift, drag, air), cell


def _turned(lift: np.ndarray, drag: np.ndarray, air: _Annulus) -> tuple[np.ndarray, np.ndarray]:
    """Return the normal and tangential parts of lift and drag, which are used up."""
    normal = lift * air.cosine
    normal += drag * air.sine
    lift *= air.sine
    drag *= air.cosine
    lift -= drag
    return normal, lift


def _inflow(
    air: _Annulus, normal: np.ndarray, tangential: np.ndarray, *, rotation: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Return w = U/W and the numerator of lambda_r = numerator / w. w <= 0: no inflow speed gives this angle."""
    # w = sin phi + h Cn, with h = sigma / (4 F |sin phi|) in momentum theory and on the brake line; the swirl takes
    # h Ct from the numerator.
    h = np.abs(air.sine)
    np.maximum(h, 1e-12, out=h)
    h *= air.loss
    np.divide(0.25 * air.solidity, h, out=h)
    w = normal * h
    odd = np.flatnonzero(w > (2.0 / 3.0) * air.sine)  # a > 0.4, or the air comes from behind
    if odd.size:
        some = (part.reshape(-1).take(odd) for part in (air.sine, air.loss, w, h))
        w.reshape(-1)[odd], h.reshape(-1)[odd] = _beyond_momentum(*some)
    w += air.sine
    return w, _numerator(air, h, tangential, rotation=rotation)


def _beyond_momentum(
    sine: np.ndarray, loss: np.ndarray, simple: np.ndarray, h: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return w - sin phi and h where a > 0.4 or the air comes from behind; `simple` and `h` are without that."""
    four = 4.0 * loss
    high = wake_speed_at_high_thrust(sine, four, simple * np.maximum(np.abs(sine), 1e-12) * four) - sine
    kept = (sine <= 0) & (simple < high)
    high[kept] = simple[kept]
    return high, high * h / simple


def _numerator(air: _Annulus, h: np.ndarray, tangential: np.ndarray, *, rotation: bool) -> np.ndarray:
    """Return cos phi - h Ct, in the place of `h`: the swirl takes its part, if there is one."""
    if not rotation:
        h[...] = air.cosine
        return h
    h *= tangential
    return np.subtract(air.cosine, h, out=h)


def _from_ahead(air: _Annulus, normal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return w = sin phi + h Cn and h where sin phi > 0, in one expression for both laws of thrust.

    Momentum theory's w - sin phi = sigma Cn / (4 F sin phi) ends at (2/3) sin phi, with Cn = 8/3 F sin^2 phi / sigma;
    below that, h is what it is there. Beyond, it is `wake_speed_at_high_thrust`.
    """
    half = 0.5 * air.solidity
    reach = air.loss * air.sine
    start = (2.0 / 3.0) * air.sine
    most = reach * start
    most += most
    square = reach * reach
    square -= most
    start = np.subtract(start, reach, out=reach)
    h = normal * half
    np.maximum(h, most, out=h)
    root = h + square
    np.sqrt(root, out=root)
    root += start
    np.divide(root, h, out=h)
    h *= half
    w = np.multiply(h, normal, out=root)
    w += air.sine
    return w, h


def _from_behind(air: _Annulus, normal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return w = sin phi + h Cn and h where sin phi <= 0: the line for high thrust or the propeller brake's."""
    h = 0.25 * air.solidity / (np.maximum(np.abs(air.sine), 1e-12) * air.loss)
    w = wake_speed_at_high_thrust(air.sine, 4.0 * air.loss, air.solidity * normal) - air.sine
    np.minimum(w, h * normal, out=w)
    h = w / np.copysign(np.maximum(np.abs(normal), 1e-30), normal)
    w += air.sine
    return w, h


def _place(w: np.ndarray, numerator: np.ndarray, cosine: np.ndarray) -> np.ndarray:
    """Return a bounded stand-in for phi's local speed ratio: 1/(1+lambda_r) where that is positive, above 1 where it is
    negative, at most 0 where no state exists on the side of infinite ratio, 2 on the other side. Continuous.
    """
    everywhere = w.min(initial=1.0) > 0
    place = np.abs(numerator)
    place += w if everywhere else np.abs(w)
    np.divide(numerator, place, out=place)
    np.subtract(1.0, place, out=place)
    if everywhere:
        return place
    np.copysign(place, w, out=place)
    back = cosine < 0
    if back.any():
        place[back & (w <= 0)] = 2.0
    return place


def solve(sections: Sections, tip_speed_ratio: np.ndarray, pitch_deg: np.ndarray) -> SectionStates:
    """Return the state of every section at every pitch (P,) and tip-speed ratio (L,), both in any order.

    Where several inflow angles satisfy the balance (near stall), the one taken has its angle of attack nearest to the
    section's zero-lift angle, among those where the local speed ratio falls as the inflow angle rises (the others are
    not stable); the state is flagged in `multiple_roots`. Two further roots inside one step of the sweep (0.2 to 1
    degree where rotors work) go unseen: about one state in ten thousand, all on the brink of stall.

    Parameters
    ----------
    sections : S annuli
    tip_speed_ratio : [-] (L,)
    pitch_deg : [°] (P,) towards feather

    Returns
    -------
    The states, arrays (S, P, L).

    References
    ----------
    .. [1] Blade-element momentum theory, see the head of this module; that inflow angle nearest to zero lift is taken:
       own choice.
    """
    # Freed at once and never touched: it lets the C library keep the work arrays below instead of handing their pages
    # back to the system after each step (glibc raises its threshold to the largest block freed), a fifth of the time.
    np.empty(3_500_000)
    ratio = np.asarray(tip_speed_ratio, float)
    order = np.argsort(-ratio)  # rising place = falling ratio
    local = sections.radius[:, None] * ratio[order]
    # Chord angles wrapped to -180..180, so that the angle of attack stays inside the tables.
    chord = sections.twist_deg[:, None] + np.asarray(pitch_deg, float)
    chord = chord - 360.0 * np.round(chord / 360.0)
    (count, pitches), size = chord.shape, chord.shape[1] * ratio.size
    tables = _Tables(sections, chord)
    solved = {name: np.empty((count, size)) for name in _SOLVED}
    many = np.empty((count, size), bool)
    open_states = []
    # A few sections at a time: enough to spread numpy's cost per call, few enough to stay in the processor's cache.
    most = max(1, min(_GROUP_STATES // size, _GROUP_SWEEP // (pitches * _SWEEP_DEG.size)))
    step = math.ceil(count / math.ceil(count / most))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for start in range(0, count, step):
            group = slice(start, min(start + step, count))
            section = np.arange(count)[group, None]
            states = {name: values[group] for name, values in solved.items()}
            many[group], rest = _solve_group(tables, section, chord[group], local[group], states)
            open_states.append(rest)
        _settle(tables, [np.concatenate(parts) for parts in zip(*open_states, strict=True)], solved)
    return _states(sections, (chord, local), solved, many, np.argsort(order))


def _states(
    sections: Sections,
    grid: tuple[np.ndarray, np.ndarray],
    solved: dict[str, np.ndarray],
    many: np.ndarray,
    back: np.ndarray,
) -> SectionStates:
    """Return what was solved (S, P*L) as `SectionStates`; `grid` are the chord angles (S, P) and local ratios (S, L).

    `back` (L,) puts the falling tip-speed ratios into the caller's order.
    """
    chord, local = grid
    shape = (*chord.shape, local.shape[1])
    own = np.arange(back.size)
    step = next((step for step in (1, -1) if np.array_equal(back, own[::step])), 0)

    def shaped(values: np.ndarray) -> np.ndarray:
        cube = values.reshape(shape)
        return cube[:, :, ::step] if step else np.ascontiguousarray(cube[:, :, back])

    speed = 1.0 / solved["w"]
    alpha = solved["inflow_deg"].reshape(shape) - chord[:, :, None]
    if np.abs(alpha).max() > 180.0:
        alpha -= 360.0 * np.round(alpha / 360.0)
    stalled = (alpha > sections.stall_deg[:, None, None]) | (alpha < sections.negative_stall_deg[:, None, None])
    spread = np.broadcast_to(local[:, None, :], shape)
    return SectionStates(
        inflow_deg=shaped(solved["inflow_deg"]),
        alpha_deg=shaped(alpha),
        relative_speed=shaped(speed),
        normal_coefficient=shaped(solved["normal"]),
        tangential_coefficient=shaped(solved["tangential"]),
        local_speed_ratio=shaped(spread),
        residual=shaped((solved["numerator"] * speed).reshape(shape) - spread),
        multiple_roots=shaped(many),
        stalled=shaped(stalled),
    )


def _solve_group(
    tables: _Tables, section: np.ndarray, chord: np.ndarray, local: np.ndarray, states: dict[str, np.ndarray]
) -> tuple[np.ndarray, list[np.ndarray]]:
    """Solve the sections (G, 1) into `states` (G, P*L); return where roots were several, and what is still open.

    `chord` is (G, P), `local` (G, L). Sweep, read backwards, evaluate, improve with what the evaluation told, evaluate
    again, and take the rest of the way along the line through the two. Open states, as `_settle` takes them: index in
    (S, P*L), wanted place, origin, fields of the interval, angle and place of the first trial, and the second trial.
    """
    origin = tables.origin(section, chord)
    place = _sweep(tables, section, origin)
    target = 1.0 / (1.0 + local)
    interval, several = _choose(place, target, chord, tables.sections.zero_lift_deg[section[:, 0]])
    pitches, ratios = chord.shape[1], local.shape[1]
    wanted, each = np.tile(target, (1, pitches)), np.repeat(origin, ratios, axis=1)
    between, column = _interval(place, interval)
    offset = _first_guess(place, interval, column, between, np.tile(target.astype(place.dtype), (1, pitches)))
    first = _try(tables, section, between.low_deg + offset, each)
    second = _try(tables, section, first.inflow_deg + _second_guess(between, offset, first.place, wanted), each)
    done, share = _last_step(first, second, wanted, np.tile(_allowed(target), (1, pitches)))
    for name, values in states.items():
        _carried(getattr(first, name), getattr(second, name), share, values)
    left = np.flatnonzero(~done)
    fields = (wanted, each, *vars(between).values(), first.inflow_deg, first.place, *vars(second).values())
    return several, [left + section[0] * wanted.shape[1], *(part.reshape(-1).take(left) for part in fields)]


def _sweep(tables: _Tables, section: np.ndarray, origin: np.ndarray) -> np.ndarray:
    """Return the place (G, P, A) of every angle of the sweep, in single precision: it only has to find the intervals.

    An interval may so miss its root by some 1e-7 of the place; `_settle` allows for that.
    """
    place = np.empty((*origin.shape, _SWEEP_DEG.size), np.float32)
    air = tables.sweep
    air = _Annulus(air.sine, air.cosine, air.loss[section[:, 0]], air.solidity[section[:, 0]])
    whole = np.floor(origin)
    cell, share = whole.astype(np.intp)[:, :, None], (origin - whole).astype(np.float32)[:, :, None]
    for part, inflow in ((slice(0, _AHEAD), _from_behind), (slice(_AHEAD, None), _from_ahead)):
        some = _Annulus(air.sine[part], air.cosine[part], air.loss[:, :, part], air.solidity)
        normal, tangential, _ = _forces(tables, section[:, :, None], (cell + _SWEEP_STEPS[part], share), some)
        w, h = inflow(some, normal)
        numerator = _numerator(some, h, tangential, rotation=tables.sections.wake_rotation)
        place[:, :, part] = _place(w, numerator, some.cosine)
    return place


def _last_step(first: _Trial, second: _Trial, wanted: np.ndarray, allowed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return where the line through two trials ends at the root, and the share of their difference still to go.

    Inside one step of the polar all is smooth, and the line misses by its curvature times the product of the two
    trials' distances from the root: that product must be small both in place (`allowed`) and in angle.
    """
    missing = wanted - second.place
    before = wanted - first.place
    share = before - missing
    np.divide(missing, share, out=share)
    before *= missing
    done = np.abs(before, out=before) <= allowed
    step = second.inflow_deg - first.inflow_deg
    step *= step
    step *= share
    done &= np.abs(step, out=step) <= _LEAST_SQUARE_DEG2
    done &= np.abs(share, out=step) < 0.1
    done &= first.cell == second.cell
    return done, share


def _allowed(wanted: np.ndarray) -> np.ndarray:
    """Return the allowed product of two errors of a place: 1e-11 of the local speed ratio's square."""
    return np.asarray(1e-11 * np.square(wanted * (1.0 - wanted)))


def _carried(first: np.ndarray, second: np.ndarray, share: np.ndarray, out: np.ndarray | None = None) -> np.ndarray:
    """Return `second` and `share` of its difference from `first`."""
    value = np.subtract(second, first, out=out)
    value *= share
    value += second
    return value


def _choose(
    place: np.ndarray, wanted: np.ndarray, chord: np.ndarray, zero_lift: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return (G, P*L) the interval of each root in the flat sweep (G*P*N), and whether there was more than one.

    An interval holds the roots of the wanted places that it passes upwards; `wanted` (G, L) rises. Where a sweep
    never falls through them it passes each just once, in order.
    """
    groups, pitches, angles = place.shape
    ratios = wanted.shape[1]
    passed = _passed(wanted.astype(place.dtype), place)
    gained = np.empty_like(passed)
    np.subtract(passed[1:], passed[:-1], out=gained[:-1])
    gained[angles - 1 :: angles] = 0  # from one sweep to the next there is no interval
    rows, of_row = gained.reshape(-1, angles), passed.reshape(-1, angles)
    odd = np.flatnonzero((of_row[:, -1] - of_row[:, 0] != ratios) | (rows.min(axis=1) < 0))
    held = np.maximum(rows[odd], 0)
    rows[odd] = 0
    rows[odd, 0] = ratios  # any: they are chosen below
    holding = np.flatnonzero(gained > 0)
    chosen = np.repeat(holding, gained.take(holding)).reshape(groups * pitches, ratios)
    several: np.ndarray = np.zeros(chosen.shape, bool)
    if odd.size:
        centre = (chord + zero_lift[:, None]).reshape(-1)[odd]
        column, several[odd] = _choose_nearest(held, of_row[odd], centre, ratios)
        chosen[odd] = column + (odd * angles)[:, None]
    return chosen.reshape(groups, -1), several.reshape(groups, -1)


def _passed(wanted: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Return how many of its group's `wanted` (G, L) lie below each `place` (G, P, N), flat.

    As a binary search finds it, but by a table of bins of places; the search ends with the few inside one bin.
    """
    groups, ratios = wanted.shape
    first = _bins(wanted) + 1
    longest = _longest_run(first)
    edges = np.full((groups, ratios + 2), _BINS)
    edges[:, 0] = 0
    edges[:, 1:-1] = first
    ends = np.full((groups, ratios + longest), np.inf, wanted.dtype)
    ends[:, :ratios] = wanted
    start = (np.arange(groups) * ends.shape[1])[:, None]
    next_end = np.repeat((start + np.arange(ratios + 1)).reshape(-1), np.diff(edges).reshape(-1))
    below = (next_end.reshape(groups, _BINS) - start).astype(np.int16 if ratios < 30_000 else np.intp)
    bins = _bins(place)
    bins += (np.arange(groups) * _BINS)[:, None, None]
    bins = bins.reshape(-1)
    passed = below.take(bins)
    for nth in range(longest):
        passed += ends.take(next_end + nth).take(bins) < place.reshape(-1)
    return passed


def _longest_run(values: np.ndarray) -> int:
    """Return how many equal values stand side by side at most in the rows of `values` (G, L), which rise."""
    length = 1
    while (values[:, length:] == values[:, :-length]).any():
        length += 1
    return length


def _bins(place: np.ndarray) -> np.ndarray:
    """Return the bin of each place, of `_BINS` from 0 to 1; those outside in the first or the last."""
    bins = place * place.dtype.type(_BINS)
    np.clip(bins, 0, _BINS - 1, out=bins)
    return bins.astype(np.intp)


def _choose_nearest(
    gained: np.ndarray, passed: np.ndarray, centre: np.ndarray, ratios: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return the column of the interval nearest to the angle `centre` (R,) for each root (R, L), and whether several.

    `gained` (R, N) tells how many wanted places an interval passes upwards, `passed` how many lie below its start.
    """
    rows = gained.shape[0]
    row, column = np.nonzero(gained)
    counts = gained[row, column]
    state = np.repeat(row * ratios + passed[row, column] - (np.cumsum(counts) - counts), counts)
    state += np.arange(state.size)
    distance = np.abs(0.5 * (_SWEEP_DEG[column] + _SWEEP_DEG[column + 1]) - centre[row])
    column, distance = np.repeat(column, counts), np.repeat(distance, counts)
    chosen = np.zeros(rows * ratios, np.intp)
    chosen[state] = column
    several = np.bincount(state, minlength=chosen.size) > 1
    some = np.flatnonzero(several.take(state))
    far = some[np.argsort(-distance[some], kind="stable")]
    chosen[state[far]] = column[far]  # the last written, the nearest, stays
    return chosen.reshape(rows, ratios), several.reshape(rows, ratios)


_Box = tuple[np.ndarray, ...]


@dataclass(frozen=True)
class _Interval:
    """The step of the sweep that holds a root, in the sweep's precision: width in degrees, places at its ends."""

    low_deg: np.ndarray
    width: np.ndarray
    under: np.ndarray
    over: np.ndarray


def _interval(place: np.ndarray, index: np.ndarray) -> tuple[_Interval, np.ndarray]:
    """Return the intervals at `index` (G, P*L) in the flat sweep, and their columns."""
    groups, pitches, angles = place.shape
    row = (np.arange(groups * pitches) * angles)[:, None]
    column = (index.reshape(groups * pitches, -1) - row).reshape(index.shape)
    flat = place.reshape(-1)
    return _Interval(_SWEEP_DEG.take(column), _WIDTHS[1:].take(column), flat.take(index), flat[1:].take(index)), column


def _first_guess(
    place: np.ndarray, index: np.ndarray, column: np.ndarray, between: _Interval, wanted: np.ndarray
) -> np.ndarray:
    """Return the angle over the interval's low end by inverse cubic interpolation, (G, P*L).

    The cubic goes through the two ends and their neighbours (Newton's divided differences, from the low end on), in
    the precision of `place`; in the first and the last interval of a sweep it is the straight line.
    """
    flat = place.reshape(-1)
    y0, y3 = np.concatenate([flat[:1], flat]).take(index), flat[2:].take(index, mode="clip")
    y1, y2 = between.under, between.over
    d01, d23 = (_WIDTHS[start:][: _SWEEP_DEG.size].take(column) for start in (0, 2))
    d12 = between.width / (y2 - y1)
    d01 /= y1 - y0
    d23 /= y3 - y2
    d23 -= d12
    d23 /= y3 - y1
    d01 -= d12
    d01 /= y0 - y2
    d23 -= d01
    d23 /= y3 - y0
    d23 *= wanted - y0
    d23 += d01
    d23 *= wanted - y2
    d23 += d12
    d23 *= wanted - y1
    odd = _outside(d23, between)
    if odd.size:
        d23.reshape(-1)[odd] = _straight(between, wanted, odd)
    return d23


def _second_guess(between: _Interval, offset: np.ndarray, place: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Return how far to go from the angle `offset` over the low end, where the place is `place`, to the wanted one.

    By inverse interpolation through the ends and that point. The differences are small, so single precision will do.
    """
    to_go = (wanted - place).astype(offset.dtype)
    above = place.astype(offset.dtype)
    above -= between.under
    low = offset / above
    curve = between.width - offset
    curve /= between.over - between.under - above
    curve -= low
    curve /= between.over - between.under
    above += to_go
    curve *= above
    curve += low
    curve *= to_go
    odd = _outside(offset + curve, between)
    if odd.size:
        curve.reshape(-1)[odd] = _straight(between, wanted, odd) - offset.reshape(-1).take(odd)
    return curve


def _outside(offset: np.ndarray, between: _Interval) -> np.ndarray:
    """Return the flat indices of what is not inside its interval."""
    good = offset > 0
    good &= offset < between.width
    return np.flatnonzero(~good)


def _straight(between: _Interval, wanted: np.ndarray, odd: np.ndarray) -> np.ndarray:
    """Return how far over the low end the ends' straight line has the wanted place, at the indices `odd`."""
    width, under, over, at = (
        part.reshape(-1).take(odd) for part in (between.width, between.under, between.over, wanted)
    )
    return np.asarray(width * np.clip((at - under) / (over - under), 0.0, 1.0))


def _settle(tables: _Tables, rest: list[np.ndarray], solved: dict[str, np.ndarray]) -> None:
    """Bring the states that are not exact yet (a kink of the polar lies in their interval) to rounding, in `solved`.

    First the line through the two trials, then bracketed false position; when few are left, inside the one step of the
    polar that holds the root. `rest` as `_solve_group` gives it.
    """
    now, done = _tried(tables, rest, _Trial(*rest[9:]), _on_line(rest), solved)
    going = np.flatnonzero(~done)
    left, target, origin, low, width, under, over, *trials = (part.take(going) for part in rest)
    last = _Trial(*(part.take(going) for part in vars(now).values()))
    # The interval was found in single precision: a little wider, and its ends on the right side.
    box: _Box = (
        low - 1e-3 * width,
        low + 1.001 * width.astype(float),
        np.minimum(under - target, -1e-12),
        np.maximum(over - target, 1e-12),
        0.0 * low,
    )
    for angle, place in ((trials[0], trials[1]), (trials[2], trials[7]), (last.inflow_deg, last.place)):
        box = _narrowed(box, angle, place - target)
    before, wide = _Trial(*trials[2:]), True
    for _ in range(90):
        if not left.size:
            return
        if wide and left.size <= _FEW_STATES:
            box, wide = _in_one_cell(tables, left // solved["w"].shape[1], target, origin, box), False
        at = _next_angle(box, target, before, last)
        now, done = _tried(tables, [left, target, origin], last, at, solved)
        box = _narrowed(box, at, now.place - target)
        going = np.flatnonzero(~done & (box[1] - box[0] > 1e-14 * (1.0 + np.abs(at))))
        left, target, origin = (part.take(going) for part in (left, target, origin))
        box = tuple(part.take(going) for part in box)
        before, last = (_Trial(*(part.take(going) for part in vars(trial).values())) for trial in (last, now))


def _in_one_cell(tables: _Tables, section: np.ndarray, target: np.ndarray, origin: np.ndarray, box: _Box) -> _Box:
    """Return the bracket (n,) narrowed to the step of the polars' tables that holds its first root: smooth inside."""
    low, high, under, over, moved = box
    start = np.floor(_STEPS_PER_DEG * low + origin)
    end = np.ceil(_STEPS_PER_DEG * high + origin)
    inner = np.maximum(end - start - 1.0, 0.0).astype(np.intp)  # ends of steps inside the bracket
    owner = np.repeat(np.arange(low.size), inner)
    nth = np.arange(1, owner.size + 1) - np.repeat(np.cumsum(inner) - inner, inner)
    start, section, target, origin = (part.take(owner) for part in (start, section, target, origin))
    angle = (start + nth - origin) / _STEPS_PER_DEG
    residual = _try(tables, section, angle, origin).place - target
    # Of those written to one place the last stays: the lowest above the root, then the highest below it.
    above = np.flatnonzero(residual >= 0)[::-1]
    high[owner[above]], over[owner[above]] = angle[above], residual[above]
    below = np.flatnonzero((residual < 0) & (angle < high[owner]))
    low[owner[below]], under[owner[below]] = angle[below], residual[below]
    return low, high, under, over, moved


def _on_line(rest: list[np.ndarray]) -> np.ndarray:
    """Return where the line through both trials of `rest` ends, or the interval's middle where that is outside."""
    target, low, width, angle, place, last_angle, last_place = (rest[k] for k in (1, 3, 4, 7, 8, 9, 14))
    high = low + width
    at = last_angle + (target - last_place) * (last_angle - angle) / (last_place - place)
    return np.where((at > low) & (at < high), at, 0.5 * (low + high))


def _tried(
    tables: _Tables, rest: list[np.ndarray], last: _Trial, at: np.ndarray, solved: dict[str, np.ndarray]
) -> tuple[_Trial, np.ndarray]:
    """Return the trial at angles `at` and which of them are at the root; all go into `solved`.

    The first three of `rest` are the states' indices in (S, P*L), wanted places, origins; `last` is the trial before.
    """
    left, target, origin = rest[:3]
    now = _try(tables, left // solved["w"].shape[1], at, origin)
    done, share = _last_step(last, now, target, _allowed(target))
    share[~done] = 0.0
    for name, values in solved.items():
        values.reshape(-1)[left] = _carried(getattr(last, name), getattr(now, name), share)
    done |= np.abs(now.place - target) <= 4e-11 * target * (1.0 - target) + 4e-16
    return now, done


def _next_angle(box: _Box, target: np.ndarray, before: _Trial, last: _Trial) -> np.ndarray:
    """Return where to try next inside the bracket: on the line through the last two trials if they share a cell, else
    on the straight line between the bracket's ends, else in the middle.
    """
    low, high, under, over, _ = box
    slope = (last.inflow_deg - before.inflow_deg) / (last.place - before.place)
    line = last.inflow_deg + (target - last.place) * slope
    smooth = (last.cell == before.cell) & (line > low) & (line < high)
    at = np.where(smooth, line, low - under * (high - low) / (over - under))
    return np.where((at > low) & (at < high), at, 0.5 * (low + high))


def _narrowed(box: _Box, at: np.ndarray, residual: np.ndarray) -> _Box:
    """Return the bracket (low, high, residual at each, side moved last) with `at` as its new end on its own side.

    Where one side moves twice running, the other's residual is scaled down, so that it moves next (Anderson and
    Bjorck, BIT 13 (1973) 253, from memory). Points outside change nothing.
    """
    low, high, under, over, moved = box
    side = np.where((at > low) & (at < high), np.where(residual < 0, -1.0, 1.0), 0.0)
    scale = 1.0 - residual / np.where(side < 0, under, over)
    scale = np.where(side * moved > 0, np.where(scale > 0, scale, 0.5), 1.0)
    under = np.where(side < 0, residual, np.where(side > 0, scale * under, under))
    over = np.where(side > 0, residual, np.where(side < 0, scale * over, over))
    return np.where(side < 0, at, low), np.where(side > 0, at, high), under, over, side
