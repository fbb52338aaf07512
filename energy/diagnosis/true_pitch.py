"""What the pitch must really have been: the pitch that explains logged air speed, rotor speed and watts.

Each row's power coefficient is set against the curve map over all pitches at once; no row is solved by itself. All rows
together are weighed by least squares with errors in the air speed and with errors that all rows share (calibration of
anemometer and wattmeter, the curves themselves), so that many rows do not pretend to more than one calibration allows.
The interval is that of the profile: the pitches whose sum of squares is not significantly worse than the best, which comes
out wide, and lopsided, where power hardly changes with pitch.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from energy.aero.blade import PitchConvention
from energy.aero.curves import RotorCurves, at_pitch
from energy.electrical import ElectricalChain, electrical_state, idle_torque_n_m
from energy.progress import Progress, part, tell
from energy.scenario.inputs import inputs_of, reader
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from vehicle.problems import InputError, Problem
from vehicle.quantity import COVERAGE_FACTOR
from vehicle.tables import read_table

Branch = Literal["stalled", "unstalled", "either", "none"]
_STEP_DEG = 0.1
_MOST_PITCHES = 241
_BLOCKS = 12  # of time, for the drift
_DRIFTS = 61
_LEAST_DEG = 0.2  # half-width: curves known at every other degree tell no finer, however many the rows
_FLOOR = 0.003  # scatter of a coefficient that is always there (rounding), and of the reading as a share (unsteadiness)
_FLOOR_SHARE = 0.015
_MANY_FOR_FINE = 3000
_CHUNK = 192  # rows at a time, so that the working arrays fit the processor's cache
_MANY_ROWS = 8  # from here on the scatter is taken from the rows themselves
_NO_PITCH = 3.5  # standard deviations of the shared errors beyond which no pitch explains the rows
_ROW_QUANTILE = 1.96
_READ = 0.5  # of the work: reading the file
_ROWS_SHARE = 0.2  # of the work: row by row, before all rows together
_PASSES = 16  # at most; the last is that after scatter and pitch have settled


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


@dataclass(frozen=True)
class Interval:
    """An estimate with the interval that holds it 19 times out of 20."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True)
class RowPitch:
    """Row by row (N,), degrees: the pitch on the stalled and on the unstalled side (NaN for none), the interval that holds
    both, whether any pitch explains the row, and whether it could be used at all."""

    tip_speed_ratio: np.ndarray
    power_coefficient: np.ndarray
    stalled_deg: np.ndarray
    unstalled_deg: np.ndarray
    low_deg: np.ndarray
    high_deg: np.ndarray
    explained: np.ndarray
    used: np.ndarray
    more_than_any_pitch: np.ndarray


@dataclass(frozen=True)
class TruePitch:
    """The pitch of all rows together (at the middle of the run), the other solution, and what the dial did.

    `offset_deg` is true pitch minus dial at the middle of the run, `drift_deg` its change from the first row to the last.
    `shared_errors` are the calibration errors (in standard deviations) that the fit had to ask for: air speed, power or
    curves, thrust. `watts_ratio` is measured watts over those of the scenario's generator at the logged rotor speed.
    """

    pitch_deg: Interval | None
    branch: Branch
    other_deg: Interval | None
    other_branch: Branch | None
    offset_deg: Interval | None
    drift_deg: Interval | None
    rows: RowPitch
    shared_errors: np.ndarray
    scatter: float  # of the rows, over what the accuracies say
    correlation: float  # from one row to the next
    watts_ratio: float
    at_edge: bool
    notes: tuple[str, ...]
    ends_at: tuple[float, ...] = ()  # ends of the curves at which the interval was cut

    @property
    def explained(self) -> bool:
        """Whether some pitch explains the rows."""
        return self.pitch_deg is not None


def true_pitch_of_file(
    scenario: Scenario, path: Path, progress: Progress | None = None
) -> tuple[TruePitch, MeasuredRows]:
    """Return `true_pitch_of` the rows in a CSV file, and the rows (see `read_measured`)."""
    rows = read_measured(path, part(progress, 0.0, _READ))
    return true_pitch_of(scenario, rows, part(progress, _READ, 1.0)), rows


def read_measured(path: Path, progress: Progress | None = None) -> MeasuredRows:
    """Return the rows of a CSV file: air_speed_*, rotor_speed_*, electrical_power_*; optional thrust_*, dial_deg, time_s.

    Units stand in the headers. `progress` is told the share done. Raises InputError for negative speeds or watts.
    """
    data = read_table(
        path,
        {"air_speed": "m/s", "rotor_speed": "rad/s", "electrical_power": "W"},
        optional={"thrust": "N", "dial": "deg", "time": "s"},
        least_rows=1,
        progress=progress,
    )
    problems = []
    for name in ("air_speed", "rotor_speed", "electrical_power"):
        if (data[name] < 0).any():
            row = int(np.argmax(data[name] < 0)) + 1
            problems.append(
                Problem(
                    path.name, f"column {name}", f"{data[name].min():g}, first in row {row} of the numbers", "0 or more"
                )
            )
    if problems:
        raise InputError(problems)
    return MeasuredRows(
        data["air_speed"],
        data["rotor_speed"],
        data["electrical_power"],
        data.get("thrust"),
        data.get("dial"),
        data.get("time"),
    )


def accuracy_of(scenario: Scenario) -> Accuracy:
    """Return standard deviations: the instruments' from [measurement] (its half-widths hold 19 times out of 20), the
    curves' from the ranges of rotor.power_factor and rotor.thrust_factor."""
    read = reader(scenario)

    def one(key: QuantityKey) -> float:
        return float(read(key)) / COVERAGE_FACTOR

    power, thrust = scenario.rotor.power_factor, scenario.rotor.thrust_factor
    return Accuracy(
        one("measurement.air_speed_noise"),
        one("measurement.air_speed_calibration"),
        one("measurement.power_accuracy"),
        power.standard_deviation / power.value,
        math.hypot(one("measurement.thrust_accuracy"), thrust.standard_deviation / thrust.value),
    )


def shaft_power_w(chain: ElectricalChain, electrical_w: np.ndarray, rotor_speed_rad_s: np.ndarray) -> np.ndarray:
    """Return the shaft power (W) behind measured watts into the element at a logged rotor speed.

    The current follows from the measured watts (not from the generator's voltage), the losses from current and speed as in
    `energy.generator`.
    """
    three_phase = chain.connection == "three_phase"
    phases, winding_share = (3.0, 0.5) if three_phase else (1.0, 1.0)
    current = np.sqrt(np.maximum(electrical_w, 0.0) / (phases * np.asarray(chain.element_resistance_ohm)))
    copper = (
        phases * current**2 * (np.asarray(chain.winding_resistance_ohm) * winding_share + chain.lead_resistance_ohm)
    )
    drop = current * np.asarray(chain.rectifier_drop_v) if chain.connection == "rectifier" else 0.0
    speed = np.asarray(rotor_speed_rad_s) * chain.ratio
    idle = idle_torque_n_m(chain, speed) * speed
    return (electrical_w + copper + drop + idle) / np.asarray(chain.belt_efficiency)


def curves_over_pitches(scenario: Scenario) -> RotorCurves:
    """Return the curves of a scenario. Raises InputError where it has none over several pitches."""
    curves = scenario.curves
    if curves is None or len(curves.pitch_deg) < 2:
        raise InputError(
            Problem(scenario.name, "rotor.curves", "no curves over several pitches", "curves with a column pitch_deg")
        )
    return curves


def as_setting(value: Interval) -> dict[str, str]:
    """Return a pitch as the scenario takes it at rotor.pitch: its value, ± the wider side of its interval."""
    half = max(value.high - value.estimate, value.estimate - value.low)
    return {"value": f"{value.estimate:.2f} deg", "plus_minus": f"{max(half, 0.01):.2f} deg"}


def corrected(dial_deg: float, offset: Interval) -> Interval:
    """Return the true pitch at a reading of the dial, from the dial's offset at the middle of the run."""
    return Interval(dial_deg + offset.estimate, dial_deg + offset.low, dial_deg + offset.high)


def true_pitch_of(scenario: Scenario, rows: MeasuredRows, progress: Progress | None = None) -> TruePitch:
    """Return the true pitch of logged rows with the rotor, generator and accuracies of a scenario.

    `progress` is told the share done (see energy/progress.py). Raises InputError where the scenario has no curves over several pitches.
    """
    curves = curves_over_pitches(scenario)
    inputs = inputs_of(scenario)
    chain = inputs.turbine.chain
    assert chain is not None
    air = rows.air_speed_m_s
    if scenario.measurement.air_speed_at == "free_air":
        air = air * float(np.asarray(inputs.turbine.local_speed_factor))
    shaft = shaft_power_w(chain, rows.electrical_power_w, rows.rotor_speed_rad_s)
    expected = electrical_state(chain, rows.rotor_speed_rad_s).element_w
    told = expected > 0.02 * max(float(expected.max(initial=0.0)), 1e-9)
    ratio = float(np.median(rows.electrical_power_w[told] / expected[told])) if told.any() else math.nan
    convention = scenario.pitch_convention
    dial = None if rows.dial_deg is None else convention.chord_angle_deg(rows.dial_deg)
    factors = [float(np.asarray(v)) for v in (inputs.turbine.power_factor, inputs.turbine.thrust_factor)]
    found = true_pitch(
        replace(
            curves,
            power_coefficient=curves.power_coefficient * factors[0],
            thrust_coefficient=curves.thrust_coefficient * factors[1],
        ),
        float(np.asarray(inputs.turbine.diameter_m)) / 2,
        float(inputs.density_kg_m3),
        MeasuredRows(air, rows.rotor_speed_rad_s, shaft, rows.thrust_n, dial, rows.time_s),
        accuracy_of(scenario),
        watts_ratio=ratio,
        progress=progress,
    )
    return _as_the_dial_reads(found, convention)


def _as_the_dial_reads(found: TruePitch, convention: PitchConvention) -> TruePitch:
    """Return angles from the rotor plane as readings of the scenario's dial; a dial may count the other way round."""
    sign = float(convention.setting_deg(np.asarray(1.0)) - convention.setting_deg(np.asarray(0.0)))

    def turned(value: Interval | None) -> Interval | None:
        if value is None:
            return None
        low, high = sorted((sign * value.low, sign * value.high))
        return Interval(sign * value.estimate, low, high)

    def reading(value: Interval | None) -> Interval | None:
        if value is None:
            return None
        estimate, low, high = (
            float(convention.setting_deg(np.asarray(v))) for v in (value.estimate, value.low, value.high)
        )
        return Interval(estimate, min(low, high), max(low, high))

    rows = found.rows
    ends = np.sort(np.stack([convention.setting_deg(rows.low_deg), convention.setting_deg(rows.high_deg)]), axis=0)
    return replace(
        found,
        pitch_deg=reading(found.pitch_deg),
        other_deg=reading(found.other_deg),
        offset_deg=turned(found.offset_deg),
        drift_deg=turned(found.drift_deg),
        ends_at=tuple(float(convention.setting_deg(np.asarray(v))) for v in found.ends_at),
        rows=replace(
            rows,
            stalled_deg=convention.setting_deg(rows.stalled_deg),
            unstalled_deg=convention.setting_deg(rows.unstalled_deg),
            low_deg=ends[0],
            high_deg=ends[1],
        ),
    )


def true_pitch(
    curves: RotorCurves,
    radius_m: float,
    density_kg_m3: float,
    rows: MeasuredRows,
    accuracy: Accuracy,
    *,
    watts_ratio: float = math.nan,
    progress: Progress | None = None,
) -> TruePitch:
    """Return the pitch that explains rows whose `electrical_power_w` is already shaft power."""
    fit = _Fit(curves, radius_m, density_kg_m3, rows, accuracy, progress)
    return fit.result(watts_ratio)


class _Fit:
    """The rows on the grid of pitches, and the sums of squares over it."""

    def __init__(
        self,
        curves: RotorCurves,
        radius_m: float,
        density_kg_m3: float,
        rows: MeasuredRows,
        accuracy: Accuracy,
        progress: Progress | None = None,
    ) -> None:
        self.curves, self.accuracy, self.rows, self.progress = curves, accuracy, rows, progress
        low, high = float(curves.pitch_deg[0]), float(curves.pitch_deg[-1])
        most = _MOST_PITCHES if len(rows.air_speed_m_s) <= _MANY_FOR_FINE else _MOST_PITCHES // 2
        self.step = max(_STEP_DEG, (high - low) / (most - 1))
        self.pitch = np.arange(low, high + 0.5 * self.step, self.step)
        self.step = self.step if len(self.pitch) > 1 else 1.0
        air = np.maximum(rows.air_speed_m_s, 1e-6)
        area = math.pi * radius_m**2
        self.ratio = rows.rotor_speed_rad_s * radius_m / air
        self.cp = rows.electrical_power_w / (0.5 * density_kg_m3 * area * air**3)
        self.used = (
            (rows.air_speed_m_s > 1.0) & (rows.rotor_speed_rad_s > 0) & (self.ratio <= curves.tip_speed_ratio[-1])
        )
        self.use_thrust = rows.thrust_n is not None and not curves.thrust_is_estimated
        self.ct = (
            rows.thrust_n / (0.5 * density_kg_m3 * area * air**2)
            if rows.thrust_n is not None and self.use_thrust
            else np.zeros_like(air)
        )
        # Maps are (L, J), so that a row's pitches lie together.
        self.power_map = at_pitch(curves.power_coefficient, curves, self.pitch).T
        self.slope_map = _slope(self.power_map, curves.tip_speed_ratio)  # λ·dCp/dλ
        self.thrust_map = at_pitch(curves.thrust_coefficient, curves, self.pitch).T
        self.thrust_slope_map = _slope(self.thrust_map, curves.tip_speed_ratio)

    def _over_pitch(self, table: np.ndarray, ratio: np.ndarray) -> np.ndarray:
        """Return a map (L, J) interpolated to tip-speed ratios (N,), (N, J)."""
        ratios = self.curves.tip_speed_ratio
        inside = np.clip(ratio, ratios[0], ratios[-1])
        cell = np.clip(np.searchsorted(ratios, inside, side="right") - 1, 0, len(ratios) - 2)
        share = ((inside - ratios[cell]) / (ratios[cell + 1] - ratios[cell]))[:, None]
        found = np.diff(table, axis=0)[cell]
        found *= share
        found += table[cell]
        return found

    # --- all rows together ---

    def _at_offsets(self, table: np.ndarray, dial: np.ndarray | None, offsets: np.ndarray) -> np.ndarray:
        """Return (N, K): rows over pitch read at dial + offset; the ends of the curves held."""
        if dial is None:
            return table
        place = (dial[:, None] + offsets[None, :] - self.pitch[0]) / self.step
        place = np.clip(place, 0.0, len(self.pitch) - 1.000001)
        column = place.astype(np.intp)
        share = place - column
        low = np.take_along_axis(table, column, axis=1)
        return low + share * (np.take_along_axis(table, column + 1, axis=1) - low)

    def result(self, watts_ratio: float) -> TruePitch:
        rows_found = self._row_by_row()
        notes: list[str] = []
        skipped = int((~self.used).sum())
        if skipped:
            notes.append(
                f"{skipped} of {len(self.used)} rows were left out: standing, air below 1 m/s, or faster than tip-speed ratio "
                f"{self.curves.tip_speed_ratio[-1]:g}, where the curves end."
            )
        if self.rows.thrust_n is not None and not self.use_thrust:
            notes.append("The logged thrust was not used: the curves' own thrust is only an estimate.")
        if not self.used.any():
            notes.append("No row can be used.")
            return TruePitch(
                None,
                "none",
                None,
                None,
                None,
                None,
                rows_found,
                np.zeros(4),
                math.nan,
                0.0,
                watts_ratio,
                False,
                tuple(notes),
            )
        dial = self.rows.dial_deg
        if dial is None:
            offsets = self.pitch
        else:
            used_dial = dial[self.used]
            first = self.pitch[0] - float(used_dial.max())
            last = self.pitch[-1] - float(used_dial.min())
            # At least 8 degrees to either side, though some rows then hold the curves' end.
            middle = float(np.median(used_dial))
            first, last = min(first, max(self.pitch[0] - middle, -8.0)), max(last, min(self.pitch[-1] - middle, 8.0))
            offsets = np.arange(first, last + 0.5 * self.step, self.step)
        return self._fit_all(offsets, rows_found, watts_ratio, notes)

    def _reader_at(self, pitch: np.ndarray, ratio: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
        """Return a function that reads a map (tip-speed ratio, pitch) at points (N,), linear between its own."""
        across = np.clip((pitch - self.pitch[0]) / self.step, 0, len(self.pitch) - 1.000001)
        column = across.astype(np.intp)
        table = self.curves.tip_speed_ratio
        inside = np.clip(ratio, table[0], table[-1])
        cell = np.clip(np.searchsorted(table, inside, side="right") - 1, 0, len(table) - 2)
        x, y = (inside - table[cell]) / (table[cell + 1] - table[cell]), across - column

        def value(values: np.ndarray) -> np.ndarray:
            low = values[cell, column] + x * (values[cell + 1, column] - values[cell, column])
            high = values[cell, column + 1] + x * (values[cell + 1, column + 1] - values[cell, column + 1])
            return low + y * (high - low)

        return value

    def _fitted(self, ratio: np.ndarray, columns: np.ndarray, offsets: np.ndarray) -> dict[str, np.ndarray]:
        """Return the fitted curves' values (N,) at given tip-speed ratios and each row's best offset."""
        pitch = offsets[columns] + (0.0 if self.rows.dial_deg is None else self.rows.dial_deg[self.used])
        value = self._reader_at(pitch, ratio)
        return {
            "power": value(self.power_map),
            "slope": value(self.slope_map),
            "thrust": value(self.thrust_map),
            "thrust_slope": value(self.thrust_slope_map),
        }

    def _in_order(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the places of the rows used in order of time, and their time from −½ to +½ (row order without a time)."""
        keep = np.flatnonzero(self.used)
        if self.rows.time_s is None:
            time = keep.astype(float)
        else:
            keep = keep[np.argsort(self.rows.time_s[keep], kind="stable")]
            time = self.rows.time_s[keep]
        span = float(np.ptp(time))
        return keep, (time - 0.5 * (time[0] + time[-1])) / span if span > 0 else np.zeros(time.shape)

    def _fit_all(self, offsets: np.ndarray, rows_found: RowPitch, watts_ratio: float, notes: list[str]) -> TruePitch:
        """Fit all rows: errors in the air speed (each row's is freed, its own estimate), and errors that rows share.

        Functional errors-in-variables fit (Deming regression, by the trade's name) linearised about each row's estimated
        true air speed, iterated: weights taken from the noisy rows would follow the noise and pull the pitch with it.
        """
        keep, time = self._in_order()
        with_drift = self.rows.dial_deg is not None and len(keep) >= 6 and np.ptp(time) > 0
        block = (
            np.minimum(((time + 0.5) * _BLOCKS).astype(int), _BLOCKS - 1) if with_drift else np.zeros(len(time), int)
        )
        drifts = np.linspace(-0.5, 0.5, _DRIFTS) * np.ptp(offsets) if with_drift else np.zeros(1)
        state = _Noise(self.accuracy.air_speed_noise, self.accuracy.air_speed_noise)
        air_error = np.zeros(len(time))  # each row's own error of ln(air speed), as the fit sees it
        free = len(time) - (2 if with_drift else 1)
        # The passes before the last only settle scatter and air speeds: five hundred rows among many do for that.
        few = slice(None, None, max(1, len(time) // 500))
        last, before = False, np.full(7, np.inf)
        for turn in range(_PASSES):
            last = last or turn == _PASSES - 1
            some = slice(None) if last else few
            sums = np.zeros((len(_SUMS), int(block.max()) + 1, len(offsets)))
            places, errors, blocks = keep[some], air_error[some], block[some]
            for start in range(0, len(places), _CHUNK):
                if last:
                    tell(self.progress, _ROWS_SHARE + (1 - _ROWS_SHARE) * start / len(places))
                part = slice(start, start + _CHUNK)
                found, first = np.unique(blocks[part], return_index=True)
                sums[:, found] += self._sums(places[part], errors[part], offsets, state, first)
            surface = _surface(sums, time[some], blocks, offsets, drifts)
            if last:
                tell(self.progress, 1.0)
                break
            at = self._at_best(surface, keep, time, air_error)
            air_error = state.part_of_air(at.tilt[0], at.level[0]) * at.rest[0]
            air_error = np.clip(air_error, -0.5, 0.5)
            if free >= _MANY_ROWS:
                state = state.learnt(at.rest, at.tilt, at.level, len(time) / free)
            now = np.array([*surface.best, *surface.shared_errors, 20 * math.log(max(state.over, 1e-9))])
            last = bool(np.all(np.abs(now - before) < 0.5 * np.array([self.step, self.step, 0.1, 0.1, 0.1, 0.1, 1.0])))
            before = now
        return self._told(surface, state, free, with_drift, rows_found, watts_ratio, notes)

    def _sums(
        self,
        places: np.ndarray,
        air_error: np.ndarray,
        offsets: np.ndarray,
        state: _Noise,
        first: np.ndarray,
    ) -> np.ndarray:
        """Return the sums (_SUMS, blocks, K) of some rows: squares, products with the shared errors, and of these.

        `first` are the places at which the rows' blocks of time begin.
        """
        ratio, cp, ct = self.ratio[places], self.cp[places], self.ct[places]
        dial = None if self.rows.dial_deg is None else self.rows.dial_deg[places]
        freed = ratio * np.exp(air_error)
        kinds = [(cp * np.exp(3 * air_error), 3, self.power_map, self.slope_map)]
        if self.use_thrust:
            kinds.append((ct * np.exp(2 * air_error), 2, self.thrust_map, self.thrust_slope_map))
        found = np.zeros((len(_SUMS), len(first), len(offsets)))
        calibration = self.accuracy.air_speed_calibration
        for kind, (level, power_of_air, table, slope_table) in enumerate(kinds):
            fitted = self._at_offsets(self._over_pitch(table, freed), dial, offsets)
            tilt = self._at_offsets(self._over_pitch(slope_table, freed), dial, offsets)
            # The slope of the fitted curves, not of the measured level: that would carry the row's own noise.
            tilt -= power_of_air * fitted
            residual = level[:, None] - fitted
            residual += tilt * air_error[:, None]
            root = 1 / np.sqrt(state.variance(kind, tilt, level[:, None]) * state.inflation)
            residual *= root
            tilt *= root
            tilt *= calibration
            fitted *= root
            fitted *= self._own_share(kind)
            products = {
                "rr": residual * residual,
                "ra": residual * tilt,
                "rp" if kind == 0 else "rt": residual * fitted,
                "aa": tilt * tilt,
                "ap" if kind == 0 else "at": tilt * fitted,
                "pp" if kind == 0 else "tt": fitted * fitted,
            }
            if kind == 0:
                lean = (self._lean(freed) * self.accuracy.curves / max(self._own_share(0), 1e-12))[:, None]
                products |= {name[0] + "l": products[name] * lean for name in ("rp", "ap", "pp")}
                products["ll"] = products["pl"] * lean
            for name, product in products.items():
                found[_SUMS.index(name)] += np.add.reduceat(product, first, axis=0)
        return found

    def _lean(self, ratio: np.ndarray) -> np.ndarray:
        """Return how an error of the curves that leans with the tip-speed ratio weighs: 1 half again past the best."""
        best = self.curves.best[1]
        return (ratio - best) / (0.5 * best)

    def _own_share(self, kind: int) -> float:
        """Return the shared error of power (with the curves) or of thrust, as a share."""
        return math.hypot(self.accuracy.power, self.accuracy.curves) if kind == 0 else self.accuracy.thrust

    def _at_best(self, surface: _Surface, keep: np.ndarray, time: np.ndarray, air_error: np.ndarray) -> _AtBest:
        """Return residuals, slopes and levels (kinds, N) of all rows at the best pitch, the shared errors taken out."""
        offset, drift = surface.best
        pitch = offset + drift * time + (0.0 if self.rows.dial_deg is None else self.rows.dial_deg[keep])
        value = self._reader_at(pitch, self.ratio[keep] * np.exp(air_error))
        errors = surface.shared_errors
        kinds = [(self.cp[keep] * np.exp(3 * air_error), 3, self.power_map, self.slope_map)]
        if self.use_thrust:
            kinds.append((self.ct[keep] * np.exp(2 * air_error), 2, self.thrust_map, self.thrust_slope_map))
        rest, tilts, levels = [], [], []
        for kind, (level, power_of_air, values, slopes) in enumerate(kinds):
            fitted, tilt = value(values), value(slopes) - power_of_air * value(values)
            shared = (
                errors[0] * self.accuracy.air_speed_calibration * tilt
                + errors[1 + kind] * self._own_share(kind) * fitted
            )
            if kind == 0:
                freed = self.ratio[keep] * np.exp(air_error)
                shared += errors[3] * self.accuracy.curves * self._lean(freed) * fitted
            rest.append(level - fitted + tilt * air_error - shared)
            tilts.append(tilt)
            levels.append(level)
        return _AtBest(np.stack(rest), np.stack(tilts), np.stack(levels))

    def _told(
        self,
        surface: _Surface,
        state: _Noise,
        free: int,
        with_drift: bool,
        rows_found: RowPitch,
        watts_ratio: float,
        notes: list[str],
    ) -> TruePitch:
        reach = _reach(free if free >= _MANY_ROWS else 10**6) ** 2
        dial = self.rows.dial_deg
        middle = 0.0 if dial is None else float(dial[self.used].mean())
        profile = surface.chi.min(axis=0)
        parts = _intervals(surface.offsets, profile, reach)
        gradient = self._gradient(surface.offsets, dial)
        main = parts[0]
        other = parts[1] if len(parts) > 1 else None
        # The clip at the ends of the curves is no pitch of the rotor: hold what is told to the curves.
        low_end, high_end = float(self.curves.pitch_deg[0]), float(self.curves.pitch_deg[-1])

        def told(part: Interval) -> Interval:
            values = [min(max(v + middle, low_end), high_end) for v in (part.estimate, part.low, part.high)]
            return Interval(*values)

        errors = surface.shared_errors
        if float(np.linalg.norm(errors)) > _NO_PITCH:
            return TruePitch(
                None, "none", None, None, None, None, rows_found, errors, state.over, state.correlation,
                watts_ratio, False, tuple(notes),
            )  # fmt: skip
        drift = None
        if with_drift:
            found = _intervals(surface.drifts, surface.chi.min(axis=1), reach)
            drift = Interval(found[0].estimate, min(p.low for p in found), max(p.high for p in found))
        pitch = told(main)
        edge = pitch.estimate <= low_end + 1e-6 or pitch.estimate >= high_end - 1e-6
        return TruePitch(
            pitch_deg=pitch,
            branch=_branch(main, surface.offsets, gradient),
            other_deg=None if other is None else told(other),
            other_branch=None if other is None else _branch(other, surface.offsets, gradient),
            offset_deg=None if dial is None else main,
            drift_deg=drift,
            rows=rows_found,
            shared_errors=errors,
            scatter=state.over,
            correlation=state.correlation,
            watts_ratio=watts_ratio,
            at_edge=edge,
            notes=tuple(notes),
            ends_at=tuple(
                end
                for end, cut in ((low_end, pitch.low <= low_end + 1e-6), (high_end, pitch.high >= high_end - 1e-6))
                if cut
            ),
        )

    def _gradient(self, offsets: np.ndarray, dial: np.ndarray | None) -> np.ndarray:
        """Return how the rows' mean power coefficient changes with the offset (K,), from at most 500 rows."""
        some = np.flatnonzero(self.used)
        some = some[:: max(1, len(some) // 500)]
        table = self._over_pitch(self.power_map, self.ratio[some])
        return np.gradient(self._at_offsets(table, None if dial is None else dial[some], offsets).mean(axis=0), offsets)

    # --- row by row ---

    def _row_by_row(self) -> RowPitch:
        """Return each row's pitches: where the map's power coefficient crosses the measured one on its way up (stalled:
        more pitch, more power) and on its way down (unstalled)."""
        parts = []
        for start in range(0, len(self.cp), _CHUNK):
            tell(self.progress, _ROWS_SHARE * start / len(self.cp))
            parts.append(self._some_rows(slice(start, start + _CHUNK)))
        stalled, unstalled, low, high, explained, more = (np.concatenate(values) for values in zip(*parts, strict=True))
        return RowPitch(self.ratio, self.cp, stalled, unstalled, low, high, explained, self.used, more)

    def _some_rows(self, part: slice) -> tuple[np.ndarray, ...]:
        """Return (stalled, unstalled, low, high, explained, more than any pitch) of some rows."""
        cp, used = self.cp[part], self.used[part]
        power = self._over_pitch(self.power_map, self.ratio[part])
        gap = cp[:, None] - power
        above = gap > 0
        stalled = self._crossing(gap, above[:, :-1] & ~above[:, 1:], first=True)
        unstalled = self._crossing(gap, ~above[:, :-1] & above[:, 1:], first=False)
        variance = self._over_pitch(self.slope_map, self.ratio[part])
        variance -= 3 * cp[:, None]
        variance *= variance
        variance *= self.accuracy.air_speed_noise**2 + self.accuracy.air_speed_calibration**2
        power *= self._own_share(0)
        power *= power
        variance += power
        variance += (_FLOOR**2 + (_FLOOR_SHARE * cp) ** 2)[:, None]
        gap *= gap
        fits = gap <= _ROW_QUANTILE**2 * variance
        explained = fits.any(axis=1) & used
        first, last = np.argmax(fits, axis=1), fits.shape[1] - 1 - np.argmax(fits[:, ::-1], axis=1)
        unknown = np.where(explained, 0.0, np.nan)
        nan = np.where(used, 0.0, np.nan)
        return (
            stalled + nan,
            unstalled + nan,
            self.pitch[first] + unknown,
            self.pitch[last] + unknown,
            explained,
            used & above.all(axis=1),
        )

    def _crossing(self, gap: np.ndarray, crosses: np.ndarray, *, first: bool) -> np.ndarray:
        """Return the pitch (N,) of the first or last marked crossing of zero, NaN for none."""
        if crosses.shape[1] == 0:
            return np.full(len(gap), np.nan)
        place = np.argmax(crosses, axis=1) if first else crosses.shape[1] - 1 - np.argmax(crosses[:, ::-1], axis=1)
        row = np.arange(len(gap))
        low, high = gap[row, place], gap[row, place + 1]
        share = np.divide(low, low - high, out=np.zeros_like(low), where=low != high)
        return np.where(crosses[row, place], self.pitch[place] + share * self.step, np.nan)


@dataclass(frozen=True)
class _Noise:
    """Scatter of the rows: of the air speed (share), leftover factors for power and thrust, correlation of neighbours."""

    air_speed: float
    declared: float  # what the accuracies say of air_speed
    power: float = 1.0
    thrust: float = 1.0
    correlation: float = 0.0

    @property
    def inflation(self) -> float:
        """What correlated neighbours do to the variance of a mean: (1 + r)/(1 − r) of an autoregression."""
        return (1 + self.correlation) / (1 - self.correlation)

    def variance(self, kind: int, tilt: np.ndarray, level: np.ndarray) -> np.ndarray:
        """Return the variance of a residual: air speed's share times the residual's slope, and the floor."""
        found = tilt * self.air_speed
        found *= found
        found += _FLOOR**2 + (_FLOOR_SHARE * level) ** 2
        found *= (self.power, self.thrust)[kind]
        return np.asarray(found)

    def part_of_air(self, tilt: np.ndarray, level: np.ndarray) -> np.ndarray:
        """Return the likeliest error of ln(air speed) per residual of the power coefficient (regression on the residual)."""
        return np.asarray(self.air_speed**2 * self.power * tilt / self.variance(0, tilt, level))

    @property
    def over(self) -> float:
        """The scatter over what the accuracies say, in standard deviations."""
        return self.air_speed / max(self.declared, 1e-9) * math.sqrt(self.power)

    def learnt(self, rest: np.ndarray, tilt: np.ndarray, level: np.ndarray, correction: float) -> _Noise:
        """Return the noise as the rows' own residuals (kinds, N) show it."""

        def over(state: _Noise, kind: int) -> float:
            return _mean_square(rest[kind] / np.sqrt(state.variance(kind, tilt[kind], level[kind]))) * correction

        # Within reason the scatter is that of the air speed; what goes beyond is counted without a cause.
        low, high = 0.4 * self.declared, 2.5 * self.declared
        air = min(max(self.air_speed * math.sqrt(over(self, 0) * self.power), low), high)
        fresh = _Noise(air, self.declared)
        thrust = over(fresh, 1) if len(rest) > 1 else 1.0
        return replace(
            fresh,
            power=max(over(fresh, 0), 1e-3),
            thrust=max(thrust, 1e-3),
            correlation=_correlation(rest[0] / np.abs(tilt[0]).clip(1e-3)),
        )


@dataclass(frozen=True)
class _AtBest:
    """Residuals without the shared errors, their slopes with ln(air speed), and levels, (kinds, N)."""

    rest: np.ndarray
    tilt: np.ndarray
    level: np.ndarray


def _mean_square(standard: np.ndarray) -> float:
    """Return the mean square, single wild rows held to three robust standard deviations."""
    square = standard**2
    return float(np.mean(np.minimum(square, 9.0 * max(float(np.median(square)) / 0.455, 1e-9))))


def _correlation(rest: np.ndarray) -> float:
    """Return the correlation of neighbouring rows, 0 where it is not above its own error."""
    if len(rest) < 20:
        return 0.0
    centred = rest - rest.mean()
    found = float(np.sum(centred[1:] * centred[:-1]) / max(float(np.sum(centred**2)), 1e-30))
    return min(found, 0.95) if found > 1.5 / math.sqrt(len(rest)) else 0.0


@dataclass(frozen=True)
class _Surface:
    """Sums of squares over drift (D,) and offset (K,), with the shared errors taken out."""

    chi: np.ndarray
    offsets: np.ndarray
    drifts: np.ndarray
    shared_errors: np.ndarray  # at the best, in standard deviations

    @property
    def best(self) -> tuple[float, float]:
        """Return the best (offset, drift)."""
        row, column = np.unravel_index(int(np.argmin(self.chi)), self.chi.shape)
        return float(self.offsets[column]), float(self.drifts[row])


# Sums over rows of products, over variance: r residual; shared errors a of the air speed, p of power and curves, t of
# thrust, l of curves that lean with the tip-speed ratio.
_SUMS = ("rr", "ra", "rp", "rt", "rl", "aa", "ap", "at", "al", "pp", "pl", "tt", "ll")
_SHARED = "aptl"


def _surface(
    sums: np.ndarray, time: np.ndarray, block: np.ndarray, offsets: np.ndarray, drifts: np.ndarray
) -> _Surface:
    """Return rᵀC⁻¹r for the covariance C = diag(variance) + Σ d·dᵀ of the shared errors d (Woodbury's identity).

    Rows were summed in blocks of time; for a drift every block's sums are read at its own offset.
    """
    total = sums.sum(axis=1)[:, None]  # (_SUMS, D, K)
    if len(drifts) > 1:
        times = np.bincount(block, time) / np.maximum(np.bincount(block), 1)
        step = offsets[1] - offsets[0]
        columns = np.arange(len(offsets))
        total = np.zeros((len(sums), len(drifts), len(offsets)))
        for m, at in enumerate(times):
            place = np.clip(columns + (drifts * at / step)[:, None], 0, len(offsets) - 1.000001)
            low = place.astype(np.intp)
            share = place - low
            here = sums[:, m]
            total += here[:, low] + share * (here[:, low + 1] - here[:, low])
    named = dict(zip(_SUMS, total, strict=True))
    zero = np.zeros_like(total[0])
    normal = np.stack(
        [np.stack([named.get(one + two, named.get(two + one, zero)) for two in _SHARED], -1) for one in _SHARED], -2
    )
    cross = np.stack([named["r" + one] for one in _SHARED], -1)[..., None]
    pulled = np.linalg.solve(normal + np.eye(len(_SHARED)), cross)
    chi = named["rr"] - (cross * pulled).sum(axis=(-2, -1))
    row, column = np.unravel_index(int(np.argmin(chi)), chi.shape)
    return _Surface(chi, offsets, drifts, pulled[row, column, :, 0])


def _reach(free: int) -> float:
    """Return how many standard deviations the interval reaches: Student's t of 95 % (Cornish-Fisher expansion, from
    memory), and half a one for what learning the scatter from the same rows adds: 97 to 99 of 100 in trials."""
    return 1.96 + 2.37 / free + 2.8 / free**2 + 0.5


def _intervals(grid: np.ndarray, chi: np.ndarray, reach: float) -> list[Interval]:
    """Return the stretches of `grid` on which `chi` is within `reach` of its least, the one with the least first.

    Ends are interpolated between grid points and reach half a step, or 0.2 degrees, at least.
    """
    excess = chi - chi.min() - reach
    inside = excess <= 0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    step = float(grid[1] - grid[0]) if len(grid) > 1 else 0.0
    found = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        place = start + int(np.argmin(chi[start:stop]))
        low, high = float(grid[start]), float(grid[stop - 1])
        if start > 0:
            low -= step * float(-excess[start] / (excess[start - 1] - excess[start]))
        if stop < len(grid):
            high += step * float(-excess[stop - 1] / (excess[stop] - excess[stop - 1]))
        estimate = float(grid[place])
        if 0 < place < len(grid) - 1:
            left, middle, right = chi[place - 1 : place + 2]
            bend = left - 2 * middle + right
            if bend > 0:
                estimate += 0.5 * step * float(np.clip((left - right) / bend, -1, 1))
        least = max(0.5 * step, _LEAST_DEG)
        low, high = min(low, estimate - least), max(high, estimate + least)
        found.append((float(chi[place]), Interval(estimate, low, high)))
    return [part for _, part in sorted(found, key=lambda entry: entry[0])]


def _branch(part: Interval, offsets: np.ndarray, gradient: np.ndarray) -> Branch:
    """Return on which side of the best pitch an interval lies: more pitch, more power means stalled."""
    ends = np.interp([part.low, part.high], offsets, gradient)
    if ends[0] > 0 > ends[1]:
        return "either"
    return "stalled" if float(np.interp(part.estimate, offsets, gradient)) > 0 else "unstalled"


def _slope(table: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    """Return λ·dC/dλ of a map (L, J)."""
    return ratio[:, None] * np.gradient(table, ratio, axis=0)
