"""Blade-element momentum: the inflow angle of every blade section, for all tip-speed ratios and pitches at once.

How it is solved. For one section at one pitch, an inflow angle phi fixes the angle of attack, hence the force
coefficients, hence (from the thrust balance, in closed form) the relative speed, hence (from the torque balance) the local
speed ratio that would bring this inflow about. So local speed ratio is an EXPLICIT function of phi: one sweep over phi,
from -90 to 180 degrees, serves every tip-speed ratio, and the wanted one is read off backwards and polished to rounding.

Balance equations, forces over 1/2 rho U^2 of annulus area, w = U/W with W the relative speed, a the axial induction:

- thrust: sigma Cn / w^2 = T(a), where T = 4 a (1-a) F up to a = 0.4 (momentum theory), then the line of Buhl (2005)
  T = 8/9 + (4F - 40/9) a + (50/9 - 4F) a^2 (the high-thrust correction; both from memory), which is carried on beyond a = 1
  (flow through the disc reversed) until the propeller-brake line 4 a (a-1) F overtakes it. T is continuous throughout.
- torque: sigma Ct / w^2 = 4 (T/4a) a' lambda_r: the air that takes up the swirl is the air that takes up the thrust. For
  a <= 0.4 this is the textbook form (mass flow F (1-a)); in the high-thrust state the textbook mass flow runs to zero while
  the thrust does not, and with drag that makes a root which is not physical at every tip-speed ratio. Here the induced
  velocity stays parallel to the blade force in every state, so no such root exists and no region has to be chosen.
- closure: (1-a) / (lambda_r (1+a')) = tan phi.

Written with w, nothing divides by cos phi nor by 1-a, so phi = 90 degrees and phi = 0 are ordinary points. A root always
exists: at phi = -90 degrees the section can only be driven (w <= 0), at 180 the local speed ratio is negative, and it is
continuous between where w > 0.

Equations: Glauert (1935); tip loss Prandtl; induction with loss as in Selvatici and Stevens, "Blade element momentum with tip
correction", eqs. 1, 4, 5; bracketing by the inflow angle after Ning, Wind Energy 17 (2014) 1327 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LEAST_LOSS = 1e-4
_STEPS_PER_DEG = 10
_TABLE_START_DEG = -360.0
_BRAKE_LIMIT = 0.4

# Inflow angles of the sweep, degrees: dense where working rotors live. None of them is 0 or 180.
_SWEEP_DEG = np.concatenate(
    [
        [-89.999],
        np.arange(-85.0, -20.0, 5.0),
        np.arange(-20.0, -4.0, 1.0),
        np.arange(-4.0, 8.0, 0.25) + 0.01,
        np.arange(8.0, 32.0, 0.5),
        np.arange(32.0, 96.0, 2.0),
        np.arange(96.0, 176.0, 5.0),
        [179.0, 179.999],
    ]
)


@dataclass(frozen=True)
class Sections:
    """Blade sections as the solver needs them; arrays (S,) unless said.

    `radius` and `width` over the tip radius; `solidity` = blades chord / (2 pi r); `twist_deg` positive towards feather;
    `tip_exponent` and `root_exponent` of Prandtl's loss times sin(phi) (infinite where the loss is off). `lift` and `drag`
    (S, K, 7201) are tables over angle of attack -360..360 degrees for each of K Reynolds numbers; `log_reynolds` (K,);
    `reynolds_per_speed` = air speed chord / viscosity.
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
    log_reynolds: np.ndarray
    reynolds_per_speed: np.ndarray
    wake_rotation: bool = True


@dataclass(frozen=True)
class SectionStates:
    """Solved section states, arrays (S, P, L): section x pitch x tip-speed ratio.

    `relative_speed` is W over the air speed; `normal_coefficient` and `tangential_coefficient` are those of the section
    (thrust-wise, and torque-wise in the sense of rotation); `axial_induction` a; `swirl_speed` is a' lambda_r; `loss` is
    Prandtl's factor; `residual` is the local speed ratio that follows from the inflow angle minus the wanted one.
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


def thrust_relation(axial_induction: np.ndarray, loss: np.ndarray) -> np.ndarray:
    """Return T(a), annulus thrust over 1/2 rho U^2 annulus area, in every state (see the module's head)."""
    a, F = axial_induction, loss
    momentum = 4.0 * a * (1.0 - a) * F
    high = 8.0 / 9.0 + (4.0 * F - 40.0 / 9.0) * a + (50.0 / 9.0 - 4.0 * F) * a * a
    return np.where(a <= _BRAKE_LIMIT, momentum, np.where(a <= 1.0, high, np.maximum(high, -momentum)))


def loss_factor(sine: np.ndarray, tip_exponent: np.ndarray, root_exponent: np.ndarray) -> np.ndarray:
    """Return Prandtl's loss factor of tip and root together, floored at `LEAST_LOSS` so that the tip itself is finite.

    Shapes broadcast; (2/pi) acos(exp(-f)) each, f = exponent/|sin phi|.
    """
    size = np.maximum(np.abs(sine), 1e-9)
    tip = np.arccos(np.exp(-tip_exponent / size))
    root = np.arccos(np.exp(-root_exponent / size))
    return np.maximum(tip * root * (4.0 / np.pi**2), LEAST_LOSS)


def _inflow(
    sine: np.ndarray, cosine: np.ndarray, normal: np.ndarray, tangential: np.ndarray, loss: np.ndarray, rotation: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return w = U/W, the numerator of lambda_r = numerator / w, and h with a' lambda_r = tangential h / w.

    `normal` and `tangential` are sigma Cn and sigma Ct. w <= 0 means that no inflow speed gives this angle.
    """
    size = np.maximum(np.abs(sine), 1e-12)
    four = 4.0 * loss
    h_momentum = 1.0 / (four * size)  # (w - s)/normal of momentum theory; the brake line has the same
    w_momentum = sine + normal * h_momentum
    # High-thrust line: (normal - c2 s^2) W^2 + B s W - 2 = 0 with a = 1 - W s, in the form without cancellation.
    root = np.sqrt(np.maximum(four * (four - 16.0 / 3.0) * (sine * sine) + 8.0 * normal, 0.0))
    w_high = 0.25 * ((20.0 / 3.0 - four) * sine + root)
    through = sine > 0
    simple = np.where(through, normal * 1.5 <= four * sine * sine, (w_momentum < w_high) | (normal <= 0))
    safe = np.where(simple, 1.0, normal)  # beyond the simple states the normal force is above zero
    w = np.where(simple, w_momentum, w_high)
    h = np.where(simple, h_momentum, (w_high - sine) / safe)
    return w, (cosine - tangential * h if rotation else cosine + 0.0 * h), h


def _place(w: np.ndarray, numerator: np.ndarray, cosine: np.ndarray) -> np.ndarray:
    """Return a bounded stand-in for phi's local speed ratio: 1/(1+lambda_r) where that is positive, above 1 where it is
    negative, at most 0 where no state exists on the side of infinite ratio, 2 on the other side. Continuous.
    """
    share = w / (np.abs(w) + np.abs(numerator) + 1e-300)
    forward = numerator >= 0
    if forward.all():
        return np.where((w <= 0) & (cosine < 0), 2.0, share)
    valid = np.where(forward, share, 2.0 - share)
    return np.where(w > 0, valid, np.where(cosine < 0, 2.0, np.where(forward, share, -1.0)))


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
        self.log_reynolds = sections.log_reynolds

    def lookup(self, section: np.ndarray | int, alpha_deg: np.ndarray) -> np.ndarray:
        """Return lift - i drag at the lowest Reynolds number."""
        return self._at(section, 0, alpha_deg)

    def _at(self, section: np.ndarray | int, which: np.ndarray | int, alpha_deg: np.ndarray) -> np.ndarray:
        place = (alpha_deg - _TABLE_START_DEG) * _STEPS_PER_DEG
        index = place.astype(np.intp)
        place -= index
        index += (section * self.count + which) * self.length
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
    force: np.ndarray  # Cn + i Ct
    w: np.ndarray
    numerator: np.ndarray
    h: np.ndarray
    loss: np.ndarray
    place: np.ndarray


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
        phi = np.radians(phi_deg)
        sine, cosine = np.sin(phi), np.cos(phi)
        loss = loss_factor(sine, sections.tip_exponent[section], sections.root_exponent[section])
    else:
        sine, cosine, loss = circle
    solidity = sections.solidity[section]
    turn = cosine + 1j * sine
    alpha = phi_deg - chord_deg
    if polars.count == 1:
        force = polars.lookup(section, alpha) * turn
    else:
        # The Reynolds number needs the relative speed, which needs the force: one pass from W = (2/3) U / sin phi, bounded.
        base = sections.reynolds_per_speed[section]
        first = np.log(base * np.minimum(2.0 / 3.0 / np.maximum(np.abs(sine), 0.02), 30.0))
        force = polars.lookup_reynolds(section, first, alpha) * turn
        w, _, _ = _inflow(sine, cosine, solidity * force.real, solidity * force.imag, loss, False)
        second = np.log(base / np.clip(w, 1.0 / 30.0, 5.0))
        force = polars.lookup_reynolds(section, second, alpha) * turn
    w, numerator, h = _inflow(
        sine, cosine, solidity * force.real, solidity * force.imag, loss, sections.wake_rotation
    )
    return _Trial(sine, force, w, numerator, h, loss, _place(w, numerator, cosine))


def solve(sections: Sections, tip_speed_ratio: np.ndarray, pitch_deg: np.ndarray) -> SectionStates:
    """Return the state of every section at every pitch (P,) and tip-speed ratio (L,), both in any order.

    Where several inflow angles satisfy the balance (near stall), the one taken has its angle of attack nearest to the
    section's zero-lift angle, among those where the local speed ratio falls as the inflow angle rises (the others are not
    stable); the state is flagged in `multiple_roots`.
    """
    ratio = np.asarray(tip_speed_ratio, float)
    order = np.argsort(-ratio)  # rising place = falling ratio
    back = np.argsort(order)
    shape = (sections.radius.size, pitch_deg.size, ratio.size)
    local = sections.radius[:, None] * ratio[order][None, :]
    polars = _Polars(sections)
    # Chord angles wrapped to -180..180, so that the angle of attack stays inside the tables.
    chord = sections.twist_deg[:, None] + np.asarray(pitch_deg, float)[None, :]
    chord = chord - 360.0 * np.round(chord / 360.0)

    guess, many, low, high, place_low, place_high = _sweep(sections, polars, chord, local)
    wanted = np.broadcast_to((1.0 / (1.0 + local))[:, None, :], shape).ravel()
    section = np.repeat(np.arange(shape[0]), shape[1] * shape[2])
    chord_flat = np.repeat(chord.ravel(), shape[2])
    phi, trial = _polish(sections, polars, section, chord_flat, wanted, guess, low, high, place_low, place_high)

    def shaped(values: np.ndarray) -> np.ndarray:
        return np.ascontiguousarray(values.reshape(shape)[:, :, back])

    with np.errstate(divide="ignore", invalid="ignore"):
        speed = 1.0 / trial.w
    alpha = phi - chord_flat
    alpha = alpha - 360.0 * np.round(alpha / 360.0)
    local_flat = np.broadcast_to(local[:, None, :], shape).ravel()
    solidity = sections.solidity[section]
    stalled = (alpha > sections.stall_deg[section]) | (alpha < sections.negative_stall_deg[section])
    return SectionStates(
        inflow_deg=shaped(phi),
        alpha_deg=shaped(alpha),
        relative_speed=shaped(speed),
        normal_coefficient=shaped(trial.force.real),
        tangential_coefficient=shaped(trial.force.imag),
        axial_induction=shaped(1.0 - trial.sine * speed),
        swirl_speed=shaped(solidity * trial.force.imag * trial.h * speed * sections.wake_rotation),
        loss=shaped(trial.loss),
        local_speed_ratio=shaped(local_flat),
        residual=shaped(trial.numerator * speed - local_flat),
        multiple_roots=shaped(many),
        stalled=shaped(stalled),
    )


def _sweep(
    sections: Sections, polars: _Polars, chord: np.ndarray, local: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return for every state (flat S*P*L) a first inflow angle, whether there were several, and its bracket."""
    count, pitches, ratios = local.shape[0], chord.shape[1], local.shape[1]
    angle = _SWEEP_DEG
    sine, cosine = np.sin(np.radians(angle)), np.cos(np.radians(angle))
    places = np.empty((count, pitches, angle.size))
    chosen = np.zeros((count, pitches * ratios), np.intp)  # index of the interval in the section's flat sweep
    many = np.zeros((count, pitches * ratios), bool)
    for s in range(count):
        loss = loss_factor(sine, sections.tip_exponent[s], sections.root_exponent[s])
        place = _try(polars, sections, s, angle[None, :], chord[s][:, None], (sine, cosine, loss)).place
        places[s] = place
        _choose(place, 1.0 / (1.0 + local[s]), angle, chord[s], sections.zero_lift_deg[s], chosen[s], many[s])
    flat = (chosen + (np.arange(count) * pitches * angle.size)[:, None]).ravel()
    column = chosen.ravel() % angle.size
    values = places.ravel()
    wanted = np.broadcast_to((1.0 / (1.0 + local))[:, None, :], (count, pitches, ratios)).ravel()
    guess = _inverse_cubic(angle, column, values, flat, wanted)
    return guess, many.ravel(), angle[column], angle[column + 1], values[flat], values[flat + 1]


def _choose(
    place: np.ndarray,
    wanted: np.ndarray,
    angle: np.ndarray,
    chord: np.ndarray,
    zero_lift: float,
    chosen: np.ndarray,
    many: np.ndarray,
) -> None:
    """Fill `chosen` (P*L,) with the sweep interval of each root and `many` with whether there was more than one.

    Every upward crossing of a wanted place between neighbouring sweep angles is listed; `wanted` (L,) rises.
    """
    passed = np.searchsorted(wanted, place)  # how many wanted places lie below each sweep point
    gained = passed[:, 1:] - passed[:, :-1]
    row, column = np.nonzero(gained > 0)
    counts = gained[row, column]
    ends = np.cumsum(counts)
    within = np.arange(ends[-1]) - np.repeat(ends - counts, counts)
    state = np.repeat(row * wanted.size + passed[row, column], counts) + within
    interval = np.repeat(row * angle.size + column, counts)
    chosen[state] = interval
    if state.size == chosen.size:
        return
    found = np.bincount(state, minlength=chosen.size)
    several = found > 1
    many |= several
    again = np.flatnonzero(several[state])
    alpha = np.repeat(0.5 * (angle[column] + angle[column + 1]) - chord[row], counts)[again]
    far = np.argsort(-np.abs(alpha - zero_lift), kind="stable")
    chosen[state[again][far]] = interval[again][far]  # the last written, the nearest, stays


def _inverse_cubic(
    angle: np.ndarray, column: np.ndarray, values: np.ndarray, flat: np.ndarray, wanted: np.ndarray
) -> np.ndarray:
    """Return the inflow angle at `wanted` by inverse cubic interpolation over four sweep points, or linear where that strays."""
    low, high = angle[column], angle[column + 1]
    below, above = np.maximum(column - 1, 0), np.minimum(column + 2, angle.size - 1)
    y1, y2 = values.take(flat), values.take(flat + 1)
    y0, y3 = values.take(flat - column + below), values.take(flat - column + above)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        d12 = (high - low) / (y2 - y1)
        d01 = (low - angle[below]) / (y1 - y0)
        d23 = (angle[above] - high) / (y3 - y2)
        d012 = (d12 - d01) / (y2 - y0)
        d0123 = ((d23 - d12) / (y3 - y1) - d012) / (y3 - y0)
        linear = low + (wanted - y1) * d12
        cubic = low + (wanted - y1) * (d12 + (wanted - y2) * (d012 + (wanted - y0) * d0123))
    good = (cubic > low) & (cubic < high)
    return np.where(good, cubic, np.clip(np.where(np.isfinite(linear), linear, 0.5 * (low + high)), low, high))


def _polish(
    sections: Sections,
    polars: _Polars,
    section: np.ndarray,
    chord: np.ndarray,
    wanted: np.ndarray,
    guess: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    place_low: np.ndarray,
    place_high: np.ndarray,
) -> tuple[np.ndarray, _Trial]:
    """Return the inflow angles brought to rounding, and their states.

    One inverse quadratic step does for smooth intervals; what is left (a kink of the polar in the interval) goes on by
    bracketed false position with bisection.
    """
    first = _try(polars, sections, section, guess, chord)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        d_low = (guess - low) / (first.place - place_low)
        d_high = (high - guess) / (place_high - first.place)
        bend = (d_high - d_low) / (place_high - place_low)
        phi = guess + (wanted - first.place) * (d_low + (wanted - place_low) * bend)
    phi = np.where((phi > low) & (phi < high), phi, guess)
    trial = _try(polars, sections, section, phi, chord)
    tolerance = 1e-12 * wanted * (1.0 - wanted) + 4e-16
    left = np.flatnonzero(~(np.abs(trial.place - wanted) <= tolerance))
    if not left.size:
        return phi, trial

    def narrowed(
        at: np.ndarray, place: np.ndarray, target: np.ndarray, box: tuple[np.ndarray, ...]
    ) -> tuple[np.ndarray, ...]:
        lo, hi, f_lo, f_hi = box
        under = place < target
        f = place - target
        return np.where(under, at, lo), np.where(under, hi, at), np.where(under, f, f_lo), np.where(under, f_hi, f)

    target = wanted[left]
    box: tuple[np.ndarray, ...] = (low[left], high[left], place_low[left] - target, place_high[left] - target)
    for tried in (first, trial):
        at = (guess if tried is first else phi)[left]
        inside = (at > box[0]) & (at < box[1])
        new = narrowed(at, tried.place[left], target, box)
        box = tuple(np.where(inside, a, b) for a, b in zip(new, box, strict=True))
    best, kept = phi.copy(), {name: getattr(trial, name) for name in _Trial.__dataclass_fields__}
    for step in range(90):
        lo, hi, f_lo, f_hi = box
        with np.errstate(divide="ignore", invalid="ignore"):
            at = lo - f_lo * (hi - lo) / (f_hi - f_lo)
        if step % 3 == 2:
            at = 0.5 * (lo + hi)
        elif step % 3 == 1:  # a nudge past the root, so that both ends move
            at = at + np.where(np.abs(f_lo) < np.abs(f_hi), 1.0, -1.0) * 1e-3 * np.minimum(at - lo, hi - at)
        at = np.where((at >= lo) & (at <= hi), at, 0.5 * (lo + hi))
        now = _try(polars, sections, section[left], at, chord[left])
        better = np.abs(now.place - target) <= np.abs(kept["place"][left] - target)
        spots = left[better]
        best[spots] = at[better]
        for name in kept:
            kept[name][spots] = getattr(now, name)[better]
        open_ = (np.abs(now.place - target) > tolerance[left]) & (hi - lo > 1e-14 * (1.0 + np.abs(at)))
        if not open_.any():
            break
        box = tuple(part[open_] for part in narrowed(at, now.place, target, box))
        left, target = left[open_], target[open_]
    return best, _Trial(**kept)
