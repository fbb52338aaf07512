"""Least squares of logged rows over pitch: errors in the air speed, errors that all rows share, scatter learnt.

Functional errors-in-variables fit (Deming regression, by the trade's name) linearised about each row's estimated true
air speed and iterated: weights taken from the noisy rows would follow the noise and pull the pitch with it. The shared
errors are taken out by Woodbury's identity, over a grid of offsets and drifts at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from energy.aero.curves import RotorCurves, at_pitch
from energy.progress import Progress, tell
from vehicle.arrays import bilinear, cell_of, map_arrays

FLOOR = 0.003  # scatter of a coefficient that is always there (rounding), and of the reading as a share (unsteadiness)
FLOOR_SHARE = 0.015
CHUNK = 192  # rows at a time, so that the working arrays fit the processor's cache
MANY_ROWS = 8  # from here on the scatter is taken from the rows themselves
ROWS_SHARE = 0.2  # of the work: row by row, before all rows together
_STEP_DEG = 0.1
_MOST_PITCHES = 241
_BLOCKS = 12  # of time, for the drift
_DRIFTS = 61
_MANY_FOR_FINE = 3000
_PASSES = 16  # at most; the last is that after scatter and pitch have settled
_FEW = 500  # rows that the passes before the last are content with
_LAST_PLACE = 1.000001  # before the end of the grid, so that a place on the end has a cell above it


@dataclass(frozen=True)
class MeasuredRows:
    """Logged rows (N,): air speed m/s, rotor speed rad/s, electrical watts into the element; thrust N, dial degrees and
    time s where logged."""

    air_speed_m_s: np.ndarray
    rotor_speed_rad_s: np.ndarray
    electrical_power_w: np.ndarray
    thrust_n: np.ndarray | None = None
    dial_deg: np.ndarray | None = None
    time_s: np.ndarray | None = None


@dataclass(frozen=True)
class Accuracy:
    """Standard deviations as shares: scatter of the air speed from row to row, and errors that all rows share."""

    air_speed_noise: float
    air_speed_calibration: float
    power: float
    curves: float
    thrust: float

    @property
    def power_and_curves(self) -> float:
        """Shared error of the power coefficient: wattmeter and curves."""
        return math.hypot(self.power, self.curves)


@dataclass(frozen=True)
class CoefficientMap:
    """A coefficient C over tip-speed ratio and pitch (L, J), a row's pitches side by side, and its slope λ·dC/dλ.

    `power_of_air_speed`: C is watts or newtons over that power of the air speed.
    """

    value: np.ndarray
    slope: np.ndarray
    power_of_air_speed: int


@dataclass(frozen=True)
class PitchGrid:
    """The curves on a grid of pitches `pitch_deg` (J,), `step_deg` apart, at their own tip-speed ratios (L,)."""

    pitch_deg: np.ndarray
    step_deg: float
    tip_speed_ratio: np.ndarray
    curve_ends_deg: tuple[float, float]
    best_tip_speed_ratio: float
    power: CoefficientMap
    thrust: CoefficientMap

    def over_pitch(self, table: np.ndarray, ratio: np.ndarray) -> np.ndarray:
        """Return a map (L, J) interpolated to tip-speed ratios (N,), (N, J)."""
        cell, share = cell_of(self.tip_speed_ratio, self._held(ratio))
        slope = np.diff(table, axis=0)[cell]
        slope *= share[:, None]
        slope += table[cell]
        return slope

    def at_offsets(self, table: np.ndarray, dial_deg: np.ndarray | None, offsets: np.ndarray) -> np.ndarray:
        """Return (N, K): rows over pitch (N, J) read at dial + offset; the ends of the curves held."""
        if dial_deg is None:
            return table
        column, share = self._column((dial_deg[:, None] + offsets[None, :] - self.pitch_deg[0]) / self.step_deg)
        low = np.take_along_axis(table, column, axis=1)
        return low + share * (np.take_along_axis(table, column + 1, axis=1) - low)

    def reader_at(self, pitch_deg: np.ndarray, ratio: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
        """Return a function that reads a map (L, J) at points (N,), linear between its own."""
        across = self._column((pitch_deg - self.pitch_deg[0]) / self.step_deg)
        along = cell_of(self.tip_speed_ratio, self._held(ratio))
        return lambda table: bilinear(table.T, across, along)

    def _held(self, ratio: np.ndarray) -> np.ndarray:
        return np.asarray(np.clip(ratio, self.tip_speed_ratio[0], self.tip_speed_ratio[-1]))

    def _column(self, place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the cell, and the share of it, of places in steps of the even grid (which needs no search)."""
        held = np.clip(place, 0.0, len(self.pitch_deg) - _LAST_PLACE)
        column = held.astype(np.intp)
        return column, held - column


def pitch_grid(curves: RotorCurves, rows: int) -> PitchGrid:
    """Return curves on a grid of pitches, coarser where there are many rows."""
    low, high = float(curves.pitch_deg[0]), float(curves.pitch_deg[-1])
    most = _MOST_PITCHES if rows <= _MANY_FOR_FINE else _MOST_PITCHES // 2
    step = max(_STEP_DEG, (high - low) / (most - 1))
    pitch = np.arange(low, high + 0.5 * step, step)
    ratio = curves.tip_speed_ratio

    def table(values: np.ndarray, power_of_air_speed: int) -> CoefficientMap:
        value = at_pitch(values, curves, pitch).T
        return CoefficientMap(value, ratio[:, None] * np.gradient(value, ratio, axis=0), power_of_air_speed)

    power, thrust = table(curves.power_coefficient, 3), table(curves.thrust_coefficient, 2)
    step = step if len(pitch) > 1 else 1.0
    return PitchGrid(pitch, step, ratio, (low, high), curves.best[1], power, thrust)


@dataclass(frozen=True)
class CoefficientRows:
    """Logged rows (N,) as coefficients; `thrust_coefficient` is None where it is not used; `used` tells which count."""

    tip_speed_ratio: np.ndarray
    power_coefficient: np.ndarray
    thrust_coefficient: np.ndarray | None
    dial_deg: np.ndarray | None
    time_s: np.ndarray | None
    used: np.ndarray

    def dial_at(self, places: np.ndarray) -> np.ndarray | None:
        """Return the dial of some rows, None where none was logged."""
        return None if self.dial_deg is None else self.dial_deg[places]


@dataclass(frozen=True)
class PitchProblem:
    """What is fitted: rows against curves, with the accuracies of the instruments."""

    grid: PitchGrid
    rows: CoefficientRows
    accuracy: Accuracy

    def lean(self, ratio: np.ndarray) -> np.ndarray:
        """Return how an error of the curves that leans with the tip-speed ratio weighs: 1 half again past the best."""
        best = self.grid.best_tip_speed_ratio
        return np.asarray((ratio - best) / (0.5 * best))


@dataclass(frozen=True)
class _Quantity:
    """Power or thrust of some rows: measured level (N,) at the freed air speeds, the fitted map, its shared error."""

    level: np.ndarray
    table: CoefficientMap
    shared_error: float


def _quantities(problem: PitchProblem, places: np.ndarray, air_error: np.ndarray) -> list[_Quantity]:
    """Return power, and thrust where it is used, of some rows whose ln(air speed) is freed of `air_error` (N,)."""
    rows, grid, accuracy = problem.rows, problem.grid, problem.accuracy
    kinds = [(rows.power_coefficient, grid.power, accuracy.power_and_curves)]
    if rows.thrust_coefficient is not None:
        kinds.append((rows.thrust_coefficient, grid.thrust, accuracy.thrust))
    return [
        _Quantity(values[places] * np.exp(table.power_of_air_speed * air_error), table, shared)
        for values, table, shared in kinds
    ]


@dataclass(frozen=True)
class NormalProducts:
    """Sums over rows of products over the variance, all of one shape: of the residual and of what the errors that all
    rows share do to it: of the air speed, of power and curves, of thrust, of curves that lean with the tip-speed
    ratio."""

    residual_residual: np.ndarray
    residual_air: np.ndarray
    residual_power: np.ndarray
    residual_thrust: np.ndarray
    residual_lean: np.ndarray
    air_air: np.ndarray
    air_power: np.ndarray
    air_thrust: np.ndarray
    air_lean: np.ndarray
    power_power: np.ndarray
    power_lean: np.ndarray
    thrust_thrust: np.ndarray
    lean_lean: np.ndarray

    def add(self, blocks: np.ndarray, more: NormalProducts) -> None:
        """Add the sums of some blocks of time, in place: a log has many chunks."""
        for field in fields(self):
            getattr(self, field.name)[blocks] += getattr(more, field.name)

    def matrix(self) -> np.ndarray:
        """Return the products of the shared errors with one another (*shape, 4, 4); power and thrust do not meet."""
        zero = np.zeros_like(self.air_air)
        rows = (
            (self.air_air, self.air_power, self.air_thrust, self.air_lean),
            (self.air_power, self.power_power, zero, self.power_lean),
            (self.air_thrust, zero, self.thrust_thrust, zero),
            (self.air_lean, self.power_lean, zero, self.lean_lean),
        )
        return np.stack([np.stack(row, -1) for row in rows], -2)

    def cross(self) -> np.ndarray:
        """Return the products of the residual with the shared errors (*shape, 4, 1)."""
        of = (self.residual_air, self.residual_power, self.residual_thrust, self.residual_lean)
        return np.stack(of, -1)[..., None]


def _no_products(shape: tuple[int, int]) -> NormalProducts:
    return NormalProducts(*(np.zeros(shape) for _ in fields(NormalProducts)))


@dataclass(frozen=True)
class RowNoise:
    """Scatter of the rows: of the air speed (share), leftover factors for power and thrust, correlation of
    neighbours."""

    air_speed: float
    declared: float  # what the accuracies say of air_speed
    power: float = 1.0
    thrust: float = 1.0
    correlation: float = 0.0

    @property
    def inflation(self) -> float:
        """What correlated neighbours do to the variance of a mean: (1 + r)/(1 − r) of an autoregression."""
        return (1 + self.correlation) / (1 - self.correlation)

    @property
    def over(self) -> float:
        """The scatter over what the accuracies say, in standard deviations."""
        return self.air_speed / max(self.declared, 1e-9) * math.sqrt(self.power)

    def variance(self, kind: int, tilt: np.ndarray, level: np.ndarray) -> np.ndarray:
        """Return the variance of a residual: air speed's share times the residual's slope, and the floor."""
        error = tilt * self.air_speed
        error *= error
        error += FLOOR**2 + (FLOOR_SHARE * level) ** 2
        error *= (self.power, self.thrust)[kind]
        return np.asarray(error)

    def part_of_air(self, tilt: np.ndarray, level: np.ndarray) -> np.ndarray:
        """Return the likeliest error of ln(air speed) per residual of the power coefficient (regression on the
        residual)."""
        return np.asarray(self.air_speed**2 * self.power * tilt / self.variance(0, tilt, level))

    def learnt(self, at: ResidualsAtBest, correction: float) -> RowNoise:
        """Return the noise as the rows' own residuals show it."""

        def over(state: RowNoise, kind: int) -> float:
            standard = at.residual[kind] / np.sqrt(state.variance(kind, at.tilt[kind], at.level[kind]))
            return _mean_square(standard) * correction

        # Within reason the scatter is that of the air speed; what goes beyond is counted without a cause.
        low, high = 0.4 * self.declared, 2.5 * self.declared
        air = min(max(self.air_speed * math.sqrt(over(self, 0) * self.power), low), high)
        fresh = RowNoise(air, self.declared)
        thrust = over(fresh, 1) if len(at.residual) > 1 else 1.0
        return replace(
            fresh,
            power=max(over(fresh, 0), 1e-3),
            thrust=max(thrust, 1e-3),
            correlation=_correlation(at.residual[0] / np.abs(at.tilt[0]).clip(1e-3)),
        )


@dataclass(frozen=True)
class ResidualsAtBest:
    """Residuals without the shared errors, their slopes with ln(air speed), and levels, (kinds, N)."""

    residual: np.ndarray
    tilt: np.ndarray
    level: np.ndarray


def _mean_square(standard: np.ndarray) -> float:
    """Return the mean square, single wild rows held to three robust standard deviations."""
    square = standard**2
    return float(np.mean(np.minimum(square, 9.0 * max(float(np.median(square)) / 0.455, 1e-9))))


def _correlation(residual: np.ndarray) -> float:
    """Return the correlation of neighbouring rows, 0 where it is not above its own error."""
    if len(residual) < 20:
        return 0.0
    centred = residual - residual.mean()
    coefficient = float(np.sum(centred[1:] * centred[:-1]) / max(float(np.sum(centred**2)), 1e-30))
    return min(coefficient, 0.95) if coefficient > 1.5 / math.sqrt(len(residual)) else 0.0


@dataclass(frozen=True)
class Surface:
    """Sums of squares over drift (D,) and offset (K,), with the shared errors taken out."""

    chi_square: np.ndarray
    offsets: np.ndarray
    drifts: np.ndarray
    shared_errors: np.ndarray  # at the best, in standard deviations

    @property
    def best(self) -> tuple[float, float]:
        """Return the best (offset, drift)."""
        row, column = np.unravel_index(int(np.argmin(self.chi_square)), self.chi_square.shape)
        return float(self.offsets[column]), float(self.drifts[row])


@dataclass(frozen=True)
class PitchFit:
    """The fit of all rows: its surface, the scatter learnt, degrees of freedom, and whether the dial could drift."""

    surface: Surface
    noise: RowNoise
    degrees_of_freedom: int
    with_drift: bool


@dataclass(frozen=True)
class _RowsInOrder:
    """The rows used in order of time: their places, time from −½ to +½ (row order without a time), block of time."""

    places: np.ndarray
    time: np.ndarray
    block: np.ndarray

    def some(self, which: slice) -> _RowsInOrder:
        """Return some of the rows."""
        return _RowsInOrder(self.places[which], self.time[which], self.block[which])


def fit_offsets(problem: PitchProblem, offsets: np.ndarray, progress: Progress | None = None) -> PitchFit:
    """Return the fit of all rows at offsets (K,) of the dial, or at pitches where no dial was logged."""
    accuracy, step = problem.accuracy, problem.grid.step_deg
    order, with_drift = _in_order(problem.rows)
    drifts = np.linspace(-0.5, 0.5, _DRIFTS) * np.ptp(offsets) if with_drift else np.zeros(1)
    noise = RowNoise(accuracy.air_speed_noise, accuracy.air_speed_noise)
    air_error = np.zeros(len(order.time))  # each row's own error of ln(air speed), as the fit sees it
    free = len(order.time) - (2 if with_drift else 1)
    blocks = int(order.block.max()) + 1
    # The passes before the last only settle scatter and air speeds: five hundred rows among many do for that.
    few = slice(None, None, max(1, len(order.time) // _FEW))
    settled = 0.5 * np.array([step, step, 0.1, 0.1, 0.1, 0.1, 1.0])
    before = np.full(7, np.inf)
    for _ in range(_PASSES - 1):
        sums = _products(problem, order.some(few), air_error[few], offsets, (noise, blocks))
        surface = _surface(sums, order.some(few), offsets, drifts)
        at = _residuals_at_best(problem, surface, order, air_error)
        air_error = np.clip(noise.part_of_air(at.tilt[0], at.level[0]) * at.residual[0], -0.5, 0.5)
        if free >= MANY_ROWS:
            noise = noise.learnt(at, len(order.time) / free)
        now = np.array([*surface.best, *surface.shared_errors, 20 * math.log(max(noise.over, 1e-9))])
        if np.all(np.abs(now - before) < settled):
            break
        before = now
    sums = _products(problem, order, air_error, offsets, (noise, blocks), progress)
    surface = _surface(sums, order, offsets, drifts)
    tell(progress, 1.0)
    return PitchFit(surface, noise, free, with_drift)


def _in_order(rows: CoefficientRows) -> tuple[_RowsInOrder, bool]:
    """Return the rows used in order of time, and whether the dial may be taken to drift."""
    places = np.flatnonzero(rows.used)
    if rows.time_s is None:
        time = places.astype(float)
    else:
        places = places[np.argsort(rows.time_s[places], kind="stable")]
        time = rows.time_s[places]
    span = float(np.ptp(time))
    time = (time - 0.5 * (time[0] + time[-1])) / span if span > 0 else np.zeros(time.shape)
    with_drift = rows.dial_deg is not None and len(places) >= 6 and bool(np.ptp(time) > 0)
    block = np.minimum(((time + 0.5) * _BLOCKS).astype(int), _BLOCKS - 1) if with_drift else np.zeros(len(time), int)
    return _RowsInOrder(places, time, block), with_drift


def _products(
    problem: PitchProblem,
    order: _RowsInOrder,
    air_error: np.ndarray,
    offsets: np.ndarray,
    noise_and_blocks: tuple[RowNoise, int],
    progress: Progress | None = None,
) -> NormalProducts:
    """Return the products (blocks, K) of rows, summed in blocks of time."""
    noise, blocks = noise_and_blocks
    sums = _no_products((blocks, len(offsets)))
    for start in range(0, len(order.places), CHUNK):
        tell(progress, ROWS_SHARE + (1 - ROWS_SHARE) * start / len(order.places))
        part = slice(start, start + CHUNK)
        numbers, first = np.unique(order.block[part], return_index=True)
        sums.add(numbers, _products_of_chunk(problem, order.places[part], air_error[part], offsets, (noise, first)))
    return sums


def _products_of_chunk(
    problem: PitchProblem,
    places: np.ndarray,
    air_error: np.ndarray,
    offsets: np.ndarray,
    noise_and_first: tuple[RowNoise, np.ndarray],
) -> NormalProducts:
    """Return the products (blocks, K) of some rows; `first` are the places at which their blocks of time begin."""
    noise, first = noise_and_first
    grid, accuracy, dial = problem.grid, problem.accuracy, problem.rows.dial_at(places)
    ratio = problem.rows.tip_speed_ratio[places] * np.exp(air_error)
    sums = _no_products((len(first), len(offsets)))
    for kind, of in enumerate(_quantities(problem, places, air_error)):
        # Worked on in place: these (rows, offsets) arrays are what the time goes into.
        power = grid.at_offsets(grid.over_pitch(of.table.value, ratio), dial, offsets)
        air = grid.at_offsets(grid.over_pitch(of.table.slope, ratio), dial, offsets)
        # The slope of the fitted curves, not of the measured level: that would carry the row's own noise.
        air -= of.table.power_of_air_speed * power
        residual = of.level[:, None] - power
        residual += air * air_error[:, None]
        root = 1 / np.sqrt(noise.variance(kind, air, of.level[:, None]) * noise.inflation)
        residual *= root
        air *= root
        air *= accuracy.air_speed_calibration
        power *= root
        power *= of.shared_error

        def add(to: np.ndarray, product: np.ndarray) -> None:
            to += np.add.reduceat(product, first, axis=0)

        add(sums.residual_residual, residual * residual)
        add(sums.residual_air, residual * air)
        add(sums.air_air, air * air)
        if kind == 1:
            add(sums.residual_thrust, residual * power)
            add(sums.air_thrust, air * power)
            add(sums.thrust_thrust, power * power)
            continue
        lean = (problem.lean(ratio) * accuracy.curves / max(of.shared_error, 1e-12))[:, None]
        products = [residual * power, air * power, power * power]
        leaning = [product * lean for product in products]
        for to, product in zip((sums.residual_power, sums.air_power, sums.power_power), products, strict=True):
            add(to, product)
        for to, product in zip((sums.residual_lean, sums.air_lean, sums.power_lean), leaning, strict=True):
            add(to, product)
        add(sums.lean_lean, leaning[2] * lean)
    return sums


def _residuals_at_best(
    problem: PitchProblem, surface: Surface, order: _RowsInOrder, air_error: np.ndarray
) -> ResidualsAtBest:
    """Return residuals, slopes and levels (kinds, N) of all rows at the best pitch, the shared errors taken out."""
    accuracy, dial = problem.accuracy, problem.rows.dial_at(order.places)
    offset, drift = surface.best
    pitch = offset + drift * order.time + (0.0 if dial is None else dial)
    ratio = problem.rows.tip_speed_ratio[order.places] * np.exp(air_error)
    value = problem.grid.reader_at(pitch, ratio)
    air, power, thrust, lean = surface.shared_errors
    residuals, tilts, levels = [], [], []
    for kind, of in enumerate(_quantities(problem, order.places, air_error)):
        fitted = value(of.table.value)
        tilt = value(of.table.slope) - of.table.power_of_air_speed * fitted
        shared = air * accuracy.air_speed_calibration * tilt + (power, thrust)[kind] * of.shared_error * fitted
        if kind == 0:
            shared += lean * accuracy.curves * problem.lean(ratio) * fitted
        residuals.append(of.level - fitted + tilt * air_error - shared)
        tilts.append(tilt)
        levels.append(of.level)
    return ResidualsAtBest(np.stack(residuals), np.stack(tilts), np.stack(levels))


def _surface(sums: NormalProducts, order: _RowsInOrder, offsets: np.ndarray, drifts: np.ndarray) -> Surface:
    """Return rᵀC⁻¹r for the covariance C = diag(variance) + Σ d·dᵀ of the shared errors d (Woodbury's identity)."""
    total = map_arrays(lambda blocks: blocks.sum(axis=0)[None], sums)  # (D, K)
    if len(drifts) > 1:
        total = _drifted(sums, order, offsets, drifts)
    cross = total.cross()
    pulled = np.linalg.solve(total.matrix() + np.eye(4), cross)
    chi_square = total.residual_residual - (cross * pulled).sum(axis=(-2, -1))
    row, column = np.unravel_index(int(np.argmin(chi_square)), chi_square.shape)
    return Surface(chi_square, offsets, drifts, pulled[row, column, :, 0])


def _drifted(sums: NormalProducts, order: _RowsInOrder, offsets: np.ndarray, drifts: np.ndarray) -> NormalProducts:
    """Return the products (D, K): for a drift every block's sums are read at its own offset."""
    times = np.bincount(order.block, order.time) / np.maximum(np.bincount(order.block), 1)
    step, columns = offsets[1] - offsets[0], np.arange(len(offsets))
    total = _no_products((len(drifts), len(offsets)))
    for m, at in enumerate(times):
        place = np.clip(columns + (drifts * at / step)[:, None], 0, len(offsets) - _LAST_PLACE)
        low = place.astype(np.intp)
        share = place - low
        for field in fields(total):
            here, to = getattr(sums, field.name)[m], getattr(total, field.name)
            to += here[low] + share * (here[low + 1] - here[low])
    return total
