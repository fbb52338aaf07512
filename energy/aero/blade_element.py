"""Blade-element momentum: the inflow angle of every blade section, for all tip-speed ratios and pitches at once.

How it is solved. For one section at one pitch, an inflow angle phi fixes the angle of attack, hence the force
coefficients, hence (from the thrust balance, in closed form) the relative speed, hence (from the torque balance) the
local speed ratio that would bring this inflow about. So local speed ratio is an EXPLICIT function of phi: one sweep
over phi, from -90 to 180 degrees, serves every tip-speed ratio, and the wanted one is read off backwards and polished
to rounding.

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

from dataclasses import dataclass

import numpy as np

from energy.aero.momentum import wake_speed_at_high_thrust

LEAST_LOSS = 1e-4
_STEPS_PER_DEG = 10
_TABLE_START_DEG = -360.0
_GROUP_STATES = 24_000
_GROUP_SWEEP = 120_000

# Inflow angles of the sweep, degrees: dense where working rotors live. None of them is 0 or 180.
_SWEEP_DEG = np.concatenate(
    [
        [-89.999],
        np.arange(-80.0, -20.0, 10.0),
        np.arange(-20.0, -4.0, 2.0),
        np.arange(-4.0, 8.0, 0.25) + 0.01,
        np.arange(8.0, 32.0, 0.5),
        np.arange(32.0, 96.0, 1.0),
        np.arange(96.0, 176.0, 8.0),
        [179.0, 179.999],
    ]
)


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
    (thrust-wise, and torque-wise in the sense of rotation); `axial_induction` a; `swirl_speed` is a' lambda_r; `loss`
    is Prandtl's factor; `residual` is the local speed ratio that follows from the inflow angle minus the wanted one.
    """

    inflow_deg: np.ndarray
    alpha_deg: np.ndarray
    relative_speed: np.ndarray
    normal_coefficient: np.ndarray
    tangential_coefficient: np.ndarray
    axial_induction: np.ndarray
    swirl_speed: np.ndarray
    loss: np.ndarray
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
    inverse = -1.0 / np.maximum(np.abs(sine), 1e-9)
    both = np.arccos(np.exp(tip_exponent * inverse))
    both *= np.arccos(np.exp(root_exponent * inverse))
    both *= 4.0 / np.pi**2
    return np.maximum(both, LEAST_LOSS, out=both)


def _inflow(
    sine: np.ndarray, cosine: np.ndarray, normal: np.ndarray, tangential: np.ndarray, loss: np.ndarray, rotation: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return w = U/W, the numerator of lambda_r = numerator / w, and h with a' lambda_r = tangential h / w.

    `normal` and `tangential` are sigma Cn and sigma Ct. w <= 0 means that no inflow speed gives this angle.
    """
    four = 4.0 * loss
    simple_h = 1.0 / (four * np.maximum(np.abs(sine), 1e-12))  # (w - s)/normal of momentum theory and of the brake line
    w = normal * simple_h
    w += sine
    h = np.empty_like(w)
    h[...] = simple_h
    limit = np.where(sine > 0, (2.0 / 3.0) * four * (sine * sine), -np.inf)  # up to here a <= 0.4
    odd = np.flatnonzero(normal > limit)
    if odd.size:
        s, f, n = (np.broadcast_to(part, w.shape).reshape(-1)[odd] for part in (sine, four, normal))
        flat_w, flat_h = w.reshape(-1), h.reshape(-1)
        high = wake_speed_at_high_thrust(s, f, n)
        brake = (s <= 0) & ((flat_w[odd] < high) | (n <= 0))
        with np.errstate(divide="ignore", invalid="ignore"):
            flat_h[odd] = np.where(brake, flat_h[odd], (high - s) / n)
        flat_w[odd] = np.where(brake, flat_w[odd], high)
    return w, (cosine - tangential * h if rotation else cosine + 0.0 * h), h


def _place(w: np.ndarray, numerator: np.ndarray, cosine: np.ndarray) -> np.ndarray:
    """Return a bounded stand-in for phi's local speed ratio: 1/(1+lambda_r) where that is positive, above 1 where it is
    negative, at most 0 where no state exists on the side of infinite ratio, 2 on the other side. Continuous.
    """
    if w.size and w.min() > 0 and numerator.min() > 0:
        return w / (w + numerator)
    place = w / (np.abs(w) + np.abs(numerator) + 1e-300)
    back = cosine < 0
    odd = np.flatnonzero((numerator < 0) | ((w <= 0) & back))
    if odd.size:
        flat, some = place.reshape(-1), w.reshape(-1)[odd] > 0
        behind = np.broadcast_to(back, place.shape).reshape(-1)[odd]
        turned = numerator.reshape(-1)[odd] < 0
        flat[odd] = np.where(some, np.where(turned, 2.0 - flat[odd], flat[odd]), np.where(behind, 2.0, -1.0))
    return place


class _Polars:
    """Flat lookup tables: coefficient and its step to the next angle, so that a lookup is two gathers and no search."""

    def __init__(self, sections: Sections) -> None:
        self.count = sections.log_reynolds.size
        self.length = sections.lift.shape[-1]
        # Lift and drag as one complex number (lift - i drag): one gather instead of two, and one product with
        # cos + i sin turns them into normal + i tangential.
        both = sections.lift - 1j * sections.drag
        step = np.zeros_like(both)
        step[..., :-1] = np.diff(both, axis=-1)
        self.value, self.step = both.ravel(), step.ravel()
        self.log_reynolds, self.table = sections.log_reynolds, sections.table

    def lookup(self, section: np.ndarray | int, alpha_deg: np.ndarray) -> np.ndarray:
        """Return lift - i drag at the lowest Reynolds number."""
        return self._at(section, 0, alpha_deg)

    def _at(self, section: np.ndarray | int, which: np.ndarray | int, alpha_deg: np.ndarray) -> np.ndarray:
        place = alpha_deg * _STEPS_PER_DEG
        place -= _TABLE_START_DEG * _STEPS_PER_DEG
        index = place.astype(np.intp)
        place -= index
        if self.value.size > self.length:
            index += (self.table[section] * self.count + which) * self.length
        return np.asarray(self.value.take(index) + place * self.step.take(index))

    def lookup_reynolds(self, section: np.ndarray | int, log_reynolds: np.ndarray, alpha_deg: np.ndarray) -> np.ndarray:
        """Return lift - i drag interpolated over the logarithm of the Reynolds number, held at the ends."""
        if self.count == 1:
            return self._at(section, 0, alpha_deg)
        level = np.interp(log_reynolds, self.log_reynolds, np.arange(self.count, dtype=float))
        low = np.minimum(level.astype(np.intp), self.count - 2)
        share = level - low
        return (1.0 - share) * self._at(section, low, alpha_deg) + share * self._at(section, low + 1, alpha_deg)


@dataclass(frozen=True)
class _Trial:
    """What an inflow angle implies; arrays of one shape."""

    sine: np.ndarray
    force: np.ndarray  # solidity (Cn + i Ct)
    w: np.ndarray
    numerator: np.ndarray
    h: np.ndarray
    loss: np.ndarray
    place: np.ndarray


def _sine_cosine(angle_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return sine and cosine by the tangent of half the angle: numpy's tangent is vectorised, its sine is not."""
    half = np.tan(angle_deg * (np.pi / 360.0))
    share = 1.0 / (1.0 + half * half)
    return 2.0 * half * share, (1.0 - half * half) * share


_TRIAL_FIELDS = ("sine", "force", "w", "numerator", "h", "loss", "place")


def _try(
    polars: _Polars,
    sections: Sections,
    section: np.ndarray | int,
    phi_deg: np.ndarray,
    chord_deg: np.ndarray,
    circle: tuple[np.ndarray, np.ndarray, np.ndarray] | None = None,
) -> _Trial:
    """Return the state that follows from inflow angle `phi_deg` at chord angle `chord_deg` (both broadcast).

    `circle` gives sine, cosine and loss of `phi_deg` where the caller has them.
    """
    if circle is None:
        sine, cosine = _sine_cosine(phi_deg)
        loss = tip_loss_factor(sine, sections.tip_exponent[section], sections.root_exponent[section])
    else:
        sine, cosine, loss = circle
    solidity = sections.solidity[section]
    turn = np.empty(np.broadcast_shapes(np.shape(sine), np.shape(solidity)), complex)
    turn.real, turn.imag = solidity * cosine, solidity * sine
    alpha = phi_deg - chord_deg
    # Alike everywhere below: solidity is in `turn`, so that `force` is sigma (Cn + i Ct).
    if polars.count == 1:
        force = polars.lookup(section, alpha) * turn
    else:
        # The Reynolds number needs the relative speed, which needs the force: one pass from W = (2/3) U / sin phi,
        # bounded.
        base = sections.reynolds_per_speed[section]
        first = np.log(base * np.minimum(2.0 / 3.0 / np.maximum(np.abs(sine), 0.02), 30.0))
        force = polars.lookup_reynolds(section, first, alpha) * turn
        w, _, _ = _inflow(sine, cosine, force.real, force.imag, loss, False)
        second = np.log(base / np.clip(w, 1.0 / 30.0, 5.0))
        force = polars.lookup_reynolds(section, second, alpha) * turn
    w, numerator, h = _inflow(sine, cosine, force.real, force.imag, loss, sections.wake_rotation)
    return _Trial(sine, force, w, numerator, h, loss, _place(w, numerator, cosine))


def solve(sections: Sections, tip_speed_ratio: np.ndarray, pitch_deg: np.ndarray) -> SectionStates:
    """Return the state of every section at every pitch (P,) and tip-speed ratio (L,), both in any order.

    Where several inflow angles satisfy the balance (near stall), the one taken has its angle of attack nearest to the
    section's zero-lift angle, among those where the local speed ratio falls as the inflow angle rises (the others are
    not stable); the state is flagged in `multiple_roots`. Two further roots inside one step of the sweep (0.25 to 1
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
    back = np.argsort(order)
    count, pitches, ratios = sections.radius.size, np.size(pitch_deg), ratio.size
    local = sections.radius[:, None] * ratio[order]
    polars = _Polars(sections)
    # Chord angles wrapped to -180..180, so that the angle of attack stays inside the tables.
    chord = sections.twist_deg[:, None] + np.asarray(pitch_deg, float)
    chord = chord - 360.0 * np.round(chord / 360.0)
    circle = np.sin(np.radians(_SWEEP_DEG)), np.cos(np.radians(_SWEEP_DEG))

    size = pitches * ratios
    phi, many = np.empty((count, size)), np.empty((count, size), bool)
    kept = _Trial(*(np.empty((count, size), complex if name == "force" else float) for name in _TRIAL_FIELDS))
    open_states = []
    # A few sections at a time: enough to spread numpy's cost per call, few enough to stay in the processor's cache.
    step = min(max(1, _GROUP_STATES // size), max(1, _GROUP_SWEEP // (pitches * _SWEEP_DEG.size)))
    for start in range(0, count, step):
        group = np.arange(start, min(start + step, count))
        phi[group], many[group], trial, rest = _solve_group(sections, polars, group, chord[group], local[group], circle)
        open_states.append(rest)
        for name in _TRIAL_FIELDS:
            getattr(kept, name)[group] = getattr(trial, name)
    _settle(sections, polars, [np.concatenate(parts) for parts in zip(*open_states, strict=True)], phi, kept)
    return _states(sections, _Solved(chord, local, phi, kept, many), back)


@dataclass(frozen=True)
class _Solved:
    """Solved trials over sections (S), pitches (P) and falling tip-speed ratios (L).

    `chord` is (S, P), `local` (S, L), the others (S, P*L).
    """

    chord: np.ndarray
    local: np.ndarray
    phi: np.ndarray
    trial: _Trial
    many: np.ndarray


def _states(sections: Sections, solved: _Solved, back: np.ndarray) -> SectionStates:
    """Return the solved trials as `SectionStates`; `back` (L,) puts tip-speed ratios into the caller's order."""
    trial, shape = solved.trial, (*solved.chord.shape, solved.local.shape[1])
    straight = bool(np.all(back == np.arange(back.size)[::-1]))

    def shaped(values: np.ndarray) -> np.ndarray:
        cube = values.reshape(shape)
        return cube[:, :, ::-1] if straight else np.ascontiguousarray(cube[:, :, back])

    speed = 1.0 / trial.w
    alpha = solved.phi.reshape(shape) - solved.chord[:, :, None]
    alpha -= 360.0 * np.round(alpha / 360.0)
    limits = sections.stall_deg[:, None, None], sections.negative_stall_deg[:, None, None]
    stalled = (alpha > limits[0]) | (alpha < limits[1])
    spread = np.broadcast_to(solved.local[:, None, :], shape)
    force = trial.force / sections.solidity[:, None]
    swirl = trial.force.imag * trial.h * speed * sections.wake_rotation
    return SectionStates(
        inflow_deg=shaped(solved.phi),
        alpha_deg=shaped(alpha),
        relative_speed=shaped(speed),
        normal_coefficient=shaped(force.real),
        tangential_coefficient=shaped(force.imag),
        axial_induction=shaped(1.0 - trial.sine * speed),
        swirl_speed=shaped(swirl),
        loss=shaped(trial.loss),
        local_speed_ratio=shaped(spread),
        residual=shaped((trial.numerator * speed).reshape(shape) - spread),
        multiple_roots=shaped(solved.many),
        stalled=shaped(stalled),
    )


def _solve_group(
    sections: Sections,
    polars: _Polars,
    group: np.ndarray,
    chord: np.ndarray,
    local: np.ndarray,
    circle: tuple[np.ndarray, np.ndarray],
) -> tuple[np.ndarray, np.ndarray, _Trial, tuple[np.ndarray, ...]]:
    """Return for sections `group` (G,) the inflow angles (G, P*L), where roots were several, the trials, the rest.

    `chord` is (G, P), `local` (G, L). Sweep, read backwards, evaluate, improve with what the evaluation told, evaluate
    again. The rest are, for each state not exact yet: its index in (S, P*L), the wanted place, the chord angle, the
    last two trials' slope of inflow angle over place, and its bracket (low, high, residual at each).
    """
    angle, section = _SWEEP_DEG, group[:, None]
    loss = tip_loss_factor(circle[0], sections.tip_exponent[section], sections.root_exponent[section])[:, None, :]
    place = _try(polars, sections, section[:, :, None], angle, chord[:, :, None], (*circle, loss)).place
    target = 1.0 / (1.0 + local)
    interval, several = _choose(place, target, chord, sections.zero_lift_deg[group])
    wanted, each = np.tile(target, (1, chord.shape[1])), np.repeat(chord, local.shape[1], axis=1)
    column, flat = interval % angle.size, place.ravel()
    low, high = angle[column], angle[column + 1]
    below, above = np.maximum(column - 1, 0), np.minimum(column + 2, angle.size - 1)
    x = (low, high, angle[below], angle[above])
    y = (flat[interval], flat[interval + 1], flat[interval - column + below], flat[interval - column + above])
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        guess = _inside(_inverse_cubic(x, y, wanted), low, high, _inverse_line(x, y, wanted))
        first = _try(polars, sections, section, guess, each)
        better = _inverse_square((x[0], guess, x[1]), (y[0], first.place, y[1]), wanted)
        phi = _inside(better, low, high, guess)
        trial = _try(polars, sections, section, phi, each)
        # Where a kink of the polar lies in the interval: the two trials lie so near together that none is between most
        # of them, so their secant.
        left = np.flatnonzero(~(np.abs(trial.place - wanted) <= _tolerance(wanted)))
        wished, angles, ends = wanted.ravel()[left], each.ravel()[left], (low.ravel()[left], high.ravel()[left])
        at, last, flat_phi = trial.place.ravel()[left], phi.ravel()[left], phi.reshape(-1)
        slope = (last - guess.ravel()[left]) / (at - first.place.ravel()[left])
        now = _inside(last + (wished - at) * slope, *ends, last)
        again = _try(polars, sections, group[left // phi.shape[1]], now, angles)
        slope = (now - last) / (again.place - at)
    flat_phi[left] = now
    for name in _TRIAL_FIELDS:
        getattr(trial, name).reshape(-1)[left] = getattr(again, name)
    open_ = np.flatnonzero(np.abs(again.place - wished) > _tolerance(wished))
    wished, spots = wished[open_], left[open_]
    residuals = y[0].ravel()[spots] - wished, y[1].ravel()[spots] - wished
    rest = (
        spots + group[0] * phi.shape[1],
        wished,
        angles[open_],
        slope[open_],
        ends[0][open_],
        ends[1][open_],
        *residuals,
    )
    return phi, several, trial, rest


def _tolerance(wanted: np.ndarray) -> np.ndarray:
    """Return the allowed error of a place: 4e-11 of the local speed ratio, no finer than rounding."""
    return np.asarray(4e-11 * wanted * (1.0 - wanted) + 4e-16)


def _choose(
    place: np.ndarray, wanted: np.ndarray, chord: np.ndarray, zero_lift: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return (G, P*L) the interval of each root in the flat sweep (G*P*N), and whether there was more than one.

    Every upward crossing of a wanted place between neighbouring sweep angles is listed; `wanted` (G, L) rises.
    """
    groups, pitches, angles = place.shape
    ratios = wanted.shape[1]
    passed = np.empty(place.shape, np.intp)  # how many wanted places lie below each sweep point
    for g in range(groups):
        passed[g] = np.searchsorted(wanted[g], place[g])
    flat = passed.reshape(-1)
    gained = np.empty_like(flat)
    np.subtract(flat[1:], flat[:-1], out=gained[:-1])
    gained[angles - 1 :: angles] = 0  # from one sweep to the next there is no interval
    crossed = np.flatnonzero(gained > 0)
    counts = gained[crossed]
    ends = np.cumsum(counts)
    state = np.repeat(crossed // angles * ratios + flat[crossed] - (ends - counts), counts)
    state += np.arange(state.size)
    interval = np.repeat(crossed, counts)
    chosen = np.zeros(groups * pitches * ratios, np.intp)
    chosen[state] = interval
    several: np.ndarray = np.zeros(chosen.size, bool)
    if state.size > chosen.size:
        several = np.bincount(state, minlength=chosen.size) > 1
        again = np.flatnonzero(several[state])
        state, interval = state[again], interval[again]
        row, column = interval // angles, interval % angles
        alpha = 0.5 * (_SWEEP_DEG[column] + _SWEEP_DEG[column + 1]) - chord.ravel()[row]
        far = np.argsort(-np.abs(alpha - zero_lift[row // pitches]), kind="stable")
        chosen[state[far]] = interval[far]  # the last written, the nearest, stays
    return chosen.reshape(groups, -1), several.reshape(groups, -1)


_Four = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def _inverse_line(x: _Four, y: _Four, wanted: np.ndarray) -> np.ndarray:
    """Return x at `wanted` on the straight line through the first two points."""
    return np.asarray(x[0] + (wanted - y[0]) * ((x[1] - x[0]) / (y[1] - y[0])))


def _inverse_cubic(x: _Four, y: _Four, wanted: np.ndarray) -> np.ndarray:
    """Return x at `wanted` by inverse interpolation through four points (Newton's divided differences)."""
    d01 = (x[1] - x[0]) / (y[1] - y[0])
    d12 = (x[2] - x[1]) / (y[2] - y[1])
    d23 = (x[3] - x[2]) / (y[3] - y[2])
    d012 = (d12 - d01) / (y[2] - y[0])
    d0123 = ((d23 - d12) / (y[3] - y[1]) - d012) / (y[3] - y[0])
    return np.asarray(x[0] + (wanted - y[0]) * (d01 + (wanted - y[1]) * (d012 + (wanted - y[2]) * d0123)))


def _inverse_square(x: tuple[np.ndarray, ...], y: tuple[np.ndarray, ...], wanted: np.ndarray) -> np.ndarray:
    """Return x at `wanted` by inverse interpolation through three points."""
    d01 = (x[1] - x[0]) / (y[1] - y[0])
    d12 = (x[2] - x[1]) / (y[2] - y[1])
    return np.asarray(x[0] + (wanted - y[0]) * (d01 + (wanted - y[1]) * (d12 - d01) / (y[2] - y[0])))


def _inside(value: np.ndarray, low: np.ndarray, high: np.ndarray, instead: np.ndarray) -> np.ndarray:
    """Return `value` where it lies between `low` and `high`, else `instead`, else the middle."""
    value = np.where((value > low) & (value < high), value, instead)
    return np.where((value >= low) & (value <= high), value, 0.5 * (low + high))


def _settle(sections: Sections, polars: _Polars, rest: list[np.ndarray], phi: np.ndarray, kept: _Trial) -> None:
    """Bring the states that are not yet exact (a kink of the polar in their interval) to rounding, in place.

    Bracketed false position, every third step a bisection. `rest` as `_solve_group` gives it, `phi` and `kept` (S,
    P*L).
    """
    left, target, angles, slope = rest[:4]
    flat = {name: getattr(kept, name).reshape(-1) for name in _TRIAL_FIELDS}
    size, phi = phi.shape[1], phi.reshape(-1)
    allowed = _tolerance(target)
    residual = flat["place"][left] - target
    box = _narrowed(tuple(rest[4:]), phi[left], residual)
    first = _inside(phi[left] - residual * slope, box[0], box[1], phi[left])
    for step in range(90):
        if not left.size:
            return
        at = _next_angle(box, step) if step else first
        now = _try(polars, sections, left // size, at, angles)
        residual = now.place - target
        better = np.abs(residual) <= np.abs(flat["place"][left] - target)
        spots = left[better]
        phi[spots] = at[better]
        for name, values in flat.items():
            values[spots] = getattr(now, name)[better]
        going = (np.abs(residual) > allowed) & (box[1] - box[0] > 1e-14 * (1.0 + np.abs(at)))
        box = _narrowed(tuple(part[going] for part in box), at[going], residual[going])
        left, target, allowed, angles = left[going], target[going], allowed[going], angles[going]


def _next_angle(box: tuple[np.ndarray, ...], step: int) -> np.ndarray:
    """Return where to try next inside the bracket `box` = (low, high, residual at low, residual at high)."""
    low, high, residual_low, residual_high = box
    middle = 0.5 * (low + high)
    if step % 3 == 2:
        return np.asarray(middle)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = low - residual_low * (high - low) / (residual_high - residual_low)
    if step % 3 == 1:  # a nudge past the root, so that both ends of the bracket move
        nearer_low = np.abs(residual_low) < np.abs(residual_high)
        at = at + np.where(nearer_low, 1e-3, -1e-3) * np.minimum(at - low, high - at)
    return np.where((at >= low) & (at <= high), at, middle)


def _narrowed(box: tuple[np.ndarray, ...], at: np.ndarray, residual: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return the bracket with the point `at` as its new end on its own side; points outside change nothing."""
    low, high, residual_low, residual_high = box
    inside = (at > low) & (at < high)
    under, over = inside & (residual < 0), inside & (residual >= 0)
    return (
        np.where(under, at, low),
        np.where(over, at, high),
        np.where(under, residual, residual_low),
        np.where(over, residual, residual_high),
    )
