"""Where the rotor settles: the speed at which the air's torque and the load's torque agree.

Found for whole arrays of conditions at once: torques are compared on a grid of tip-speed ratios, every change of sign
is a solution, and the one wanted is closed in on. A solution is stable where more speed means too little torque.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from energy.aero.curves import CurveSlope, RotorCurves, at_pitch, free_running_tip_speed_ratio
from energy.aero.momentum import BETZ_LIMIT
from energy.electrical import ElectricalChain, TorqueOfSpeed, open_load, torque_of_speed
from vehicle.arrays import Values, bilinear, cell_of, map_arrays, product_in_strips

_GRID = 48  # least number of tip-speed ratios compared per condition; a pair of solutions nearer than that is not seen
_BLOCK = 2048  # conditions per block: the working arrays of a block fit the processor's cache
_MOST_SOLUTIONS = 6


@dataclass(frozen=True)
class Rotor:
    """A rotor in its air: curves, radius (m), and per condition the pitch, density and air speed (floats or arrays).

    `power_factor` and `thrust_factor` scale the coefficients of the curves; power is kept within the Betz limit.
    `departures` say for the first of the curves' slopes how far its input lies from the value stated in the curves.
    """

    curves: RotorCurves
    radius_m: Values
    pitch_deg: Values
    density_kg_m3: Values
    air_speed_m_s: Values
    power_factor: Values = 1.0
    thrust_factor: Values = 1.0
    departures: tuple[Values, ...] = ()


@dataclass(frozen=True)
class OperatingPoint:
    """Where the rotor settles, arrays of the conditions' shape.

    `solutions` counts the speeds at which the torques agree; `stable_speeds_rad_s` (shape, 6) lists the stable ones,
    NaN-padded, rising. `starts` tells whether it turns from standstill with the load on; `is_stalled` that a faster
    stable state exists which it does not reach from standstill; `beyond_table` that the answer lies past the last
    tip-speed ratio of the curves, where they are carried on along their last slope.
    """

    rotor_speed_rad_s: np.ndarray
    tip_speed_ratio: np.ndarray
    power_coefficient: np.ndarray
    thrust_coefficient: np.ndarray
    shaft_power_w: np.ndarray
    thrust_n: np.ndarray
    solutions: np.ndarray
    stable_speeds_rad_s: np.ndarray
    starts: np.ndarray
    is_stalled: np.ndarray
    beyond_table: np.ndarray


def coefficients(
    curves: RotorCurves, pitch_deg: Values, tip_speed_ratio: Values
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (Cp, Ct, beyond the table) at pitches and tip-speed ratios (broadcast), linear between table points.

    Linear in Cp itself, so that no point between can exceed its neighbours. Past the last tip-speed ratio Cp goes on
    along its last slope if that falls, else stays, and Ct stays.

    Parameters
    ----------
    curves : (P, L)
    pitch_deg : [°] broadcasts with the tip-speed ratio
    tip_speed_ratio : [-], any shape

    Returns
    -------
    [-] Cp and Ct, and whether the tip-speed ratio lies beyond the table, each of the broadcast shape.

    References
    ----------
    .. [1] Bilinear interpolation, closed form; the line beyond the table: common practice, no source.
    """
    pitch, ratio = np.broadcast_arrays(np.asarray(pitch_deg, float), np.asarray(tip_speed_ratio, float))
    table, pitches = curves.tip_speed_ratio, curves.pitch_deg
    inside = np.clip(ratio, table[0], table[-1])
    columns = cell_of(table, inside)
    beyond = ratio > table[-1]
    if len(pitches) == 1:  # one row twice, so that there is a cell to lie in
        power_map, thrust_map = curves.power_coefficient[[0, 0]], curves.thrust_coefficient[[0, 0]]
        rows = np.zeros(pitch.shape, dtype=np.intp), np.zeros(pitch.shape)
    else:
        power_map, thrust_map = curves.power_coefficient, curves.thrust_coefficient
        rows = cell_of(pitches, np.clip(pitch, pitches[0], pitches[-1]))
    power, thrust = bilinear(power_map, rows, columns), bilinear(thrust_map, rows, columns)
    if beyond.any():
        row, down = rows
        last = (power_map[:, -1] - power_map[:, -2]) / (table[-1] - table[-2])  # at each pitch of the table
        slope = last.take(row) + down * (last.take(row + 1) - last.take(row))
        power = np.where(beyond, power + np.minimum(slope, 0.0) * (ratio - table[-1]), power)
    return power, thrust, beyond


def coefficients_of(rotor: Rotor, tip_speed_ratio: Values) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (Cp, Ct, beyond the table) of a rotor at tip-speed ratios, with its factors and departures.

    As `solve` takes them: power stays within the Betz limit, thrust never falls below what that power needs.

    Parameters
    ----------
    rotor : fields of shapes that broadcast
    tip_speed_ratio : [1] broadcasts with them

    Returns
    -------
    [1], [1] and booleans, the shape of all inputs broadcast.

    References
    ----------
    .. [1] A. Betz, 1920: no rotor in free air takes more than 16/27 of the power.
    .. [2] Momentum theory: the thrust that a power coefficient needs at least.
    """
    power, thrust, beyond = _bent(rotor, _acting(rotor), tip_speed_ratio)
    power = np.minimum(power * rotor.power_factor, BETZ_LIMIT)
    return power, _thrust_for(rotor, thrust, power), beyond


def stalled_torque_share(curves: RotorCurves, pitch_deg: Values, tip_speed_ratio: Values) -> np.ndarray:
    """Return the share of the torque from stalled sections at pitches and tip-speed ratios; NaN where not told.

    Parameters
    ----------
    curves : (P, L)
    pitch_deg : [°] broadcasts with the tip-speed ratio
    tip_speed_ratio : [-], any shape

    Returns
    -------
    [-] 0 to 1, of the broadcast shape; NaN where the curves do not show it.

    References
    ----------
    .. [1] Bilinear interpolation, closed form.
    """
    if curves.stalled_torque_share is None:
        return np.full(np.broadcast_shapes(np.shape(pitch_deg), np.shape(tip_speed_ratio)), np.nan)
    as_power = replace(curves, power_coefficient=curves.stalled_torque_share)
    return np.clip(coefficients(as_power, pitch_deg, tip_speed_ratio)[0], 0.0, 1.0)


def solve(rotor: Rotor, chain: ElectricalChain, *, load_connected_after_spin_up: bool = False) -> OperatingPoint:
    """Return where the rotor settles for every condition (all fields broadcast to one shape).

    With the load always connected that is the first stable speed met when spinning up from standstill; with
    `load_connected_after_spin_up` it is the fastest stable speed. No wind, or no torque to start with: speed 0.

    Parameters
    ----------
    rotor : curves, pitch, air; fields of shapes that broadcast
    chain : what the rotor drives; fields of shapes that broadcast
    load_connected_after_spin_up : whether the load is switched on once the rotor spins

    Returns
    -------
    The operating point, arrays of the broadcast shape, SI.

    References
    ----------
    .. [1] Balance of torques; stable where more speed means too little torque. Closed form but for the root.
    """
    shape = np.broadcast_shapes(
        *(np.shape(getattr(rotor, f.name)) for f in fields(rotor) if f.name not in ("curves", "departures")),
        *map(np.shape, rotor.departures),
        *(np.shape(getattr(chain, f.name)) for f in fields(chain) if f.name != "connection"),
    )
    count = int(np.prod(shape, dtype=int))

    def flat(values: np.ndarray) -> np.ndarray:
        if not values.ndim:
            return values
        return np.asarray(values if values.shape == shape else np.broadcast_to(values, shape), float).ravel()

    flat_rotor, flat_chain = map_arrays(flat, rotor, but=("curves",)), map_arrays(flat, chain)
    grid = _on_grid(rotor.curves)
    blocks = [(start, min(start + _BLOCK, count)) for start in range(0, count, _BLOCK)]
    parts = [
        _solve_block(*_block(flat_rotor, flat_chain, *block), grid, load_connected_after_spin_up) for block in blocks
    ]
    joined = {f.name: [getattr(part, f.name) for part in parts] for f in fields(OperatingPoint)}
    whole = {name: values[0] if len(parts) == 1 else np.concatenate(values) for name, values in joined.items()}
    return map_arrays(lambda values: values.reshape((*shape, *values.shape[1:])), OperatingPoint(**whole))


def free_run_speed_rad_s(rotor: Rotor, chain: ElectricalChain) -> np.ndarray:
    """Return the speed (rad/s) the rotor runs away to when its load is cut, held only by friction and iron loss.

    Parameters
    ----------
    rotor : curves, pitch, air
    chain : what stays connected

    Returns
    -------
    [rad/s], the shape of all fields broadcast.

    References
    ----------
    .. [1] Balance of torques as in `solve`.
    """
    point = solve(rotor, open_load(chain), load_connected_after_spin_up=True)
    return point.rotor_speed_rad_s


def free_run_is_known(curves: RotorCurves, pitch_deg: Values) -> bool:
    """Return whether the curves reach (or fall towards) zero power, so that the free-running speed can be
    calculated.

    Parameters
    ----------
    curves : (P, L)
    pitch_deg : [°] any shape

    Returns
    -------
    Whether they do at every pitch.
    """
    return bool(np.all([np.isfinite(free_running_tip_speed_ratio(curves, float(p))) for p in np.ravel(pitch_deg)]))


def grid_of(curves: RotorCurves) -> np.ndarray:
    """Return the tip-speed ratios to compare torques at: the table's own, cut finer, and a stretch past its end.

    Parameters
    ----------
    curves : (P, L)

    Returns
    -------
    [-] rising, (n,).
    """
    table = curves.tip_speed_ratio
    end = table[-1] * 1.5  # free running past the table is looked for so far
    cells = np.concatenate([table, [table[-1] * 1.25, end]])
    parts = max(1, -(-_GRID // (len(cells) - 1)))
    steps = np.arange(parts) / parts
    grid = (cells[:-1, None] + np.diff(cells)[:, None] * steps).ravel()
    # Standstill itself has no defined torque ratio: begin just above it.
    first = 1e-3 * table[1]
    return np.concatenate([[first], grid[grid > first], [end]])


def _block(rotor: Rotor, chain: ElectricalChain, start: int, stop: int) -> tuple[Rotor, ElectricalChain]:
    """Return some of the conditions of a flat rotor and chain."""

    def part(values: np.ndarray) -> np.ndarray:
        return values[start:stop] if values.ndim else values

    rotor, chain = map_arrays(part, rotor, but=("curves",)), map_arrays(part, chain)
    if not np.ndim(rotor.air_speed_m_s):
        rotor = replace(rotor, air_speed_m_s=np.full(stop - start, float(rotor.air_speed_m_s)))
    return rotor, chain


@dataclass(frozen=True)
class _OnGrid:
    """The curves at the tip-speed ratios that torques are compared at: Cp and its slopes, (P, grid)."""

    ratios: np.ndarray
    power: np.ndarray
    slopes: tuple[np.ndarray, ...]


def _on_grid(curves: RotorCurves) -> _OnGrid:
    """Return the curves on their grid: the same for every condition, so looked up once."""
    ratios, table = grid_of(curves), curves.tip_speed_ratio
    beyond = np.maximum(ratios - table[-1], 0.0)
    cell, across = cell_of(table, np.minimum(ratios, table[-1]))

    def along(rows: np.ndarray) -> np.ndarray:
        start = rows[:, cell]
        return np.asarray(start + across * (rows[:, cell + 1] - start))

    # As `coefficients` has it, at the pitches of the table itself: there is nothing to look up between pitches.
    power = curves.power_coefficient
    falls = np.minimum((power[:, -1] - power[:, -2]) / (table[-1] - table[-2]), 0.0)
    slopes = tuple(along(slope.power_coefficient) for slope in curves.slopes)
    return _OnGrid(ratios, along(power) + falls[:, None] * beyond, slopes)


def _solve_block(rotor: Rotor, chain: ElectricalChain, on_grid: _OnGrid, after_spin_up: bool) -> OperatingPoint:
    air = np.asarray(rotor.air_speed_m_s, float)
    moving = air > 1e-6
    air = np.where(moving, air, 1.0)
    radius = np.asarray(rotor.radius_m, float)
    # Aerodynamic torque = ½·ρ·π·R³·U²·Cp/λ.
    scale = 0.5 * np.asarray(rotor.density_kg_m3) * np.pi * radius**3 * air**2
    slopes, grid = _acting(rotor), on_grid.ratios
    per_ratio = air / radius  # rotor speed = λ·U/R
    load, turns = torque_of_speed(chain), per_ratio * np.asarray(chain.ratio)
    spare, power_factor = _spare_on_grid(rotor, slopes, on_grid, load, scale, turns)
    held = load.holds_back(spare, turns, grid)
    if not moving.all():
        held[~moving] = True
    # At standstill the rotor's torque has to overcome cogging; it is what it has to spare, and friction and iron.
    at_start = spare[:, 0] + load.idle_n_m + load.eddy_n_m_s * turns * grid[0]
    starts = ~held[:, 0] & (at_start > np.asarray(chain.cogging_torque_n_m)) & moving

    falls = held[:, 1:] > held[:, :-1]  # stable: too much torque below, too little above
    where, cell = np.divmod(np.flatnonzero(falls), falls.shape[1])
    stable = np.full((len(air), _MOST_SOLUTIONS), np.nan)
    count = np.bincount(where, minlength=len(air))
    # Signs alternate: as many rises as falls, but for how it begins and ends.
    solutions = 2 * count + held[:, 0] - held[:, -1].astype(int)
    if where.size:
        order = np.arange(where.size) - np.repeat(np.cumsum(count[count > 0]) - count[count > 0], count[count > 0])
        kept = order < _MOST_SOLUTIONS
        where, cell, order = where[kept], cell[kept], order[kept]
        here = map_arrays(lambda v: v[where] if v.ndim else v, load)
        ends = tuple(_torque_times_ratio(here, spare[where, c], grid[c], turns[where]) for c in (cell, cell + 1))
        stable[where, order] = _close_in(here, grid, cell, (ends[0], ends[1]), per_ratio[where])
    stable_count = np.minimum(count, _MOST_SOLUTIONS)
    chosen = np.maximum(stable_count - 1, 0) if after_spin_up else np.zeros(len(air), dtype=int)
    # A rotor whose torque at standstill is too small stays there, unless it was spun up before the load came on.
    running = (stable_count > 0) & (moving if after_spin_up else starts)
    ratio = np.where(running, stable[np.arange(len(air)), chosen], 0.0)
    # Still gaining at the end of the grid: nothing holds it. The end is given, and told as beyond the table.
    runaway = ~held[:, -1] & moving & (count == 0)
    ratio = np.where(runaway, grid[-1], ratio)
    cp, ct, beyond = _bent(rotor, slopes, ratio)
    cp = cp * power_factor
    ct = _thrust_for(rotor, ct, cp)
    return OperatingPoint(
        rotor_speed_rad_s=ratio * per_ratio,
        tip_speed_ratio=ratio,
        power_coefficient=cp,
        thrust_coefficient=ct,
        shaft_power_w=np.where(moving, cp * scale * per_ratio, 0.0),
        thrust_n=np.where(moving, ct * scale / radius, 0.0),
        solutions=np.where(moving, solutions, 0),
        stable_speeds_rad_s=stable * per_ratio[:, None],
        starts=starts,
        is_stalled=running & (stable_count > chosen + 1),
        beyond_table=beyond & moving,
    )


def _torque_times_ratio(load: TorqueOfSpeed, spare_n_m: np.ndarray, ratio: np.ndarray, turns: np.ndarray) -> np.ndarray:
    """Return the air's torque at the rotor shaft times λ, from what it spares at the generator's shaft (N·m)."""
    return np.asarray((spare_n_m + load.idle_n_m + load.eddy_n_m_s * turns * ratio) * load.per_rotor * ratio)


def _acting(rotor: Rotor) -> list[tuple[CurveSlope, Values]]:
    """Return the slopes whose input departs from what the curves hold for, and by how much.

    No departure lifts a point of the table over the Betz limit.
    """
    acting = []
    for slope, departure in zip(rotor.curves.slopes, rotor.departures, strict=False):
        if not np.any(np.asarray(departure) != 0):
            continue
        rises = slope.power_coefficient > 1e-12
        if rises.any():
            room = BETZ_LIMIT - rotor.curves.power_coefficient[rises]
            departure = np.minimum(departure, max(0.0, float(np.min(room / slope.power_coefficient[rises]))))
        acting.append((slope, departure))
    return acting


def _bent(
    rotor: Rotor, slopes: Sequence[tuple[CurveSlope, Values]], tip_speed_ratio: Values
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (Cp, Ct, beyond the table) of the curves, bent by what departs from them, without the rotor's factors."""
    power, thrust, beyond = coefficients(rotor.curves, rotor.pitch_deg, tip_speed_ratio)
    for slope, departure in slopes:
        more_power, more_thrust = _of_slope(rotor.curves, slope, rotor.pitch_deg, np.asarray(tip_speed_ratio))
        power, thrust = power + departure * more_power, thrust + departure * more_thrust
    return power, thrust, beyond


def _thrust_for(rotor: Rotor, thrust: np.ndarray, power: np.ndarray) -> np.ndarray:
    """Return Ct with its factor: the air gives up no more power than thrust times its speed, whatever that factor."""
    return np.asarray(np.maximum(np.maximum(thrust, 0.0) * rotor.thrust_factor, power))


def _of_slope(
    curves: RotorCurves, slope: CurveSlope, pitch_deg: Values, ratio: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return a slope's (Cp, Ct) at pitches and tip-speed ratios; past the table its last values stay."""
    as_curves = replace(
        curves, power_coefficient=slope.power_coefficient, thrust_coefficient=slope.thrust_coefficient, slopes=()
    )
    power, thrust, _ = coefficients(as_curves, pitch_deg, np.minimum(ratio, curves.tip_speed_ratio[-1]))
    return power, thrust


def _spare_on_grid(
    rotor: Rotor,
    slopes: Sequence[tuple[CurveSlope, Values]],
    on_grid: _OnGrid,
    load: TorqueOfSpeed,
    scale: np.ndarray,
    turns: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Return the torque (N·m) that the air leaves at the generator's shaft above friction and iron, and the power
    factor used: of every condition on the grid, (conditions, grid).

    `scale` is ½·ρ·π·R³·U², `turns` the generator's speed over λ. Interpolation between pitches is a product with a
    matrix of weights, which is quick; friction and iron are two more of its columns.
    """
    curves, grid = rotor.curves, on_grid.ratios
    weights = at_pitch(np.eye(len(curves.pitch_deg)), curves, rotor.pitch_deg)
    by = scale / load.per_rotor
    factor = np.minimum(rotor.power_factor, BETZ_LIMIT / max(float(curves.power_coefficient.max()), 1e-9))
    known = {id(slope): values for slope, values in zip(curves.slopes, on_grid.slopes, strict=True)}
    bending = [(known[id(slope)], departure) for slope, departure in slopes if slope.power_coefficient.any()]
    if bending:
        weights = np.ascontiguousarray(np.broadcast_to(weights, (len(turns), len(curves.pitch_deg))))
        coefficient = product_in_strips(weights, on_grid.power)
        for values, departure in bending:
            coefficient += product_in_strips(weights * np.reshape(departure, (-1, 1)), values)
        factor = np.minimum(factor, BETZ_LIMIT / np.maximum(coefficient.max(axis=1), 1e-9))
        coefficient /= grid
        coefficient *= (by * factor)[:, None]
        coefficient -= np.reshape(load.idle_n_m, (-1, 1))
        coefficient -= np.reshape(load.eddy_n_m_s * turns, (-1, 1)) * grid
        return coefficient, factor
    columns = np.empty((len(turns), len(curves.pitch_deg) + 2))
    np.multiply(weights, np.reshape(by * factor, (-1, 1)), out=columns[:, :-2])
    columns[:, -2], columns[:, -1] = -load.idle_n_m, -load.eddy_n_m_s * turns
    return product_in_strips(columns, np.vstack([on_grid.power / grid, np.ones(len(grid)), grid])), factor


def _close_in(
    load: TorqueOfSpeed,
    grid: np.ndarray,
    cell: np.ndarray,
    torque_at_ends: tuple[np.ndarray, np.ndarray],
    per_ratio: np.ndarray,
) -> np.ndarray:
    """Return the tip-speed ratio in the given grid cells at which the torques agree.

    Inside a cell Cp is linear in λ; `torque_at_ends` is torque times λ at its ends. Regula falsi in its Illinois form
    keeps the bracket; every sixth step halves it, because the load's torque has a kink where the rectifier begins to
    conduct.
    """
    low, high = grid[cell], grid[cell + 1]
    start, slope = torque_at_ends[0], (torque_at_ends[1] - torque_at_ends[0]) / (high - low)
    origin = low

    def residual(ratio: np.ndarray) -> np.ndarray:
        return (start + slope * (ratio - origin)) / ratio - load.at(per_ratio * ratio)

    at_low, at_high = residual(low), residual(high)
    size = 1e-12 * (np.abs(at_low) + np.abs(at_high))
    side = np.zeros(low.shape, dtype=int)
    for step in range(100):
        gap = at_low - at_high
        middle = low + (high - low) * np.divide(at_low, gap, out=np.full(low.shape, 0.5), where=gap > 0)
        if step % 6 == 5:
            middle = 0.5 * (low + high)
        value = residual(middle)
        if ((np.abs(value) <= size) | (high - low <= 4e-16 * high)).all():
            return middle
        up = value > 0  # the solution lies above
        at_high = np.where(up & (side == 1), 0.5 * at_high, np.where(up, at_high, value))
        at_low = np.where(~up & (side == -1), 0.5 * at_low, np.where(up, value, at_low))
        low, high = np.where(up, middle, low), np.where(up, high, middle)
        side = np.where(up, 1, -1)
    return 0.5 * (low + high)
