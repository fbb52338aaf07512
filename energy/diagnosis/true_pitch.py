"""What the pitch must really have been: the pitch that explains logged air speed, rotor speed and watts.

Each row's power coefficient is set against the curve map over all pitches at once; no row is solved by itself. All rows
together are weighed by least squares with errors in the air speed and with errors that all rows share (calibration of
anemometer and wattmeter, the curves themselves), so that many rows do not pretend to more than one calibration allows.
The interval is that of the profile: the pitches whose sum of squares is not significantly worse than the best, which
comes out wide, and lopsided, where power hardly changes with pitch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from energy.aero.blade import PitchConvention
from energy.aero.curves import RotorCurves
from energy.chain.limits import OperatingLimit, measured_limits
from energy.diagnosis.pitch_fit import (
    CHUNK,
    FLOOR,
    FLOOR_SHARE,
    MANY_ROWS,
    ROWS_SHARE,
    CoefficientRows,
    PitchFit,
    PitchProblem,
    fit_offsets,
    pitch_grid,
)
from energy.diagnosis.pitch_fit import Accuracy as Accuracy
from energy.diagnosis.pitch_fit import MeasuredRows as MeasuredRows
from energy.diagnosis.tuning import limits_at_setting
from energy.electrical import ElectricalChain, electrical_state, idle_torque_n_m
from energy.progress import Progress, part, tell
from energy.scenario.inputs import inputs_of, reader
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from vehicle.problems import InputError, Problem
from vehicle.quantity import COVERAGE_FACTOR, Estimate
from vehicle.tables import read_table

Branch = Literal["stalled", "unstalled", "either", "none"]
_LEAST_DEG = 0.2  # half-width: curves known at every other degree tell no finer, however many the rows
_LEARNT = 4.0  # standard deviations, over the degrees of freedom: half a one with eight rows, next to none with many
_NO_PITCH = 3.5  # standard deviations of the shared errors beyond which no pitch explains the rows
_ROW_QUANTILE = 1.96
_READ = 0.5  # of the work: reading the file
_FASTEST = 0.99  # of the rows: a single gust is no air to judge a pitch by (own rule, no source)
_DIAL_REACH_DEG = 8.0  # offsets looked at to either side at least, though some rows then hold the curves' end


@dataclass(frozen=True)
class PitchInterval(Estimate):
    """An estimate in degrees whose both ends are known; they hold it 19 times out of 20."""

    low: float
    high: float
    level: float = 0.95


@dataclass(frozen=True)
class RowPitch:
    """Row by row (N,), degrees: the pitch on the stalled and on the unstalled side (NaN for none), the interval that
    holds both, whether any pitch explains the row, and whether it could be used at all."""

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

    `offset_deg` is true pitch minus dial at the middle of the run, `drift_deg` its change from the first row to the
    last. `shared_errors` are the calibration errors (in standard deviations) that the fit had to ask for: air speed,
    power or curves, thrust. `watts_ratio` is measured watts over those of the scenario's generator at the logged rotor
    speed.
    """

    pitch_deg: PitchInterval | None
    branch: Branch
    other_deg: PitchInterval | None
    other_branch: Branch | None
    offset_deg: PitchInterval | None
    drift_deg: PitchInterval | None
    rows: RowPitch
    shared_errors: np.ndarray
    scatter: float  # of the rows, over what the accuracies say
    correlation: float  # from one row to the next
    watts_ratio: float
    at_edge: bool
    notes: tuple[str, ...]
    ends_at: tuple[float, ...] = ()  # ends of the curves at which the interval was cut
    broken_read: tuple[OperatingLimit, ...] = ()  # limits that the rows break
    broken_at_pitch: tuple[OperatingLimit, ...] = ()  # those predicted at the pitch found, in the rows' fastest air

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
    """Return the rows of a CSV file: air_speed_*, rotor_speed_*, electrical_power_*; optional thrust_*, dial_deg,
    time_s.

    Units stand in the headers. `progress` is told the share done. Raises InputError for negative speeds or watts.
    """
    data = read_table(
        path,
        {"air_speed": "m/s", "rotor_speed": "rad/s", "electrical_power": "W"},
        optional={"thrust": "N", "dial": "deg", "time": "s"},
        blanks_allowed=("air_speed", "rotor_speed", "electrical_power", "thrust", "dial"),
        least_rows=1,
        progress=progress,
    )
    data = _whole_rows(path, data)
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


def _whole_rows(path: Path, data: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Return the rows that have air speed, rotor speed and watts (a call sheet has others too); thrust and dial only
    where every one of these rows has them. Raises InputError where none is whole.
    """
    needed = ("air_speed", "rotor_speed", "electrical_power")
    known = np.all([np.isfinite(data[name]) for name in needed], axis=0)
    if not known.any():
        raise InputError(
            Problem(path.name, "rows", "none with air speed, rotor speed and watts together", "one such row or more")
        )
    kept = {name: values[known] for name, values in data.items()}
    return {name: values for name, values in kept.items() if name in needed or np.isfinite(values).all()}


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

    The current follows from the measured watts (not from the generator's voltage), the losses from current and speed
    as in `energy.electrical`.
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
    if not (curves.power_coefficient > 0).any():
        read = "no power coefficient above 0"
        raise InputError(Problem(scenario.name, "rotor.curves", read, "curves of a rotor that gives power"))
    return curves


def as_setting(value: PitchInterval) -> dict[str, str]:
    """Return a pitch as the scenario takes it at rotor.pitch: its value, ± the wider side of its interval."""
    half = max(value.high - value.estimate, value.estimate - value.low)
    return {"value": f"{value.estimate:.2f} deg", "plus_minus": f"{max(half, 0.01):.2f} deg"}


def corrected(dial_deg: float, offset: PitchInterval) -> PitchInterval:
    """Return the true pitch at a reading of the dial, from the dial's offset at the middle of the run."""
    return PitchInterval(dial_deg + offset.estimate, dial_deg + offset.low, dial_deg + offset.high)


def true_pitch_of(scenario: Scenario, rows: MeasuredRows, progress: Progress | None = None) -> TruePitch:
    """Return the true pitch of logged rows with the rotor, generator and accuracies of a scenario.

    `progress` is told the share done (see energy/progress.py). Raises InputError where the scenario has no curves over
    several pitches.
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
    usable = expected > 0.02 * max(float(expected.max(initial=0.0)), 1e-9)
    ratio = float(np.median(rows.electrical_power_w[usable] / expected[usable])) if usable.any() else math.nan
    convention = scenario.pitch_convention
    dial = None if rows.dial_deg is None else convention.chord_angle_deg(rows.dial_deg)
    factors = [float(np.asarray(v)) for v in (inputs.turbine.power_factor, inputs.turbine.thrust_factor)]
    result = true_pitch(
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
    return _limited(scenario, rows, air, _as_the_dial_reads(result, convention))


def _limited(scenario: Scenario, rows: MeasuredRows, air_m_s: np.ndarray, result: TruePitch) -> TruePitch:
    """Return the result with the limits that the rows break, and those that the pitch found breaks in their fastest
    air at the rotor (`air_m_s`, one a row).
    """
    inputs = inputs_of(scenario)

    def top(values: np.ndarray | None) -> float:
        return math.nan if values is None or not np.isfinite(values).any() else float(np.nanmax(values))

    read = measured_limits(
        inputs,
        rotor_speed_rad_s=top(rows.rotor_speed_rad_s),
        thrust_n=top(rows.thrust_n),
        element_power_w=top(rows.electrical_power_w),
    )
    pitch, known = result.pitch_deg, air_m_s[np.isfinite(air_m_s)]
    if pitch is None or not len(known):
        return replace(result, broken_read=read)
    free = float(np.quantile(known, _FASTEST)) / float(np.asarray(inputs.turbine.local_speed_factor))
    held: dict[QuantityKey, float] = {"trip.road_speed": free, "air.wind_speed": 0.0}
    return replace(result, broken_read=read, broken_at_pitch=limits_at_setting(scenario, "pitch", pitch.estimate, held))


def _as_the_dial_reads(result: TruePitch, convention: PitchConvention) -> TruePitch:
    """Return angles from the rotor plane as readings of the scenario's dial; a dial may count the other way round."""
    sign = float(convention.setting_deg(np.asarray(1.0)) - convention.setting_deg(np.asarray(0.0)))

    def turned(value: PitchInterval | None) -> PitchInterval | None:
        if value is None:
            return None
        low, high = sorted((sign * value.low, sign * value.high))
        return PitchInterval(sign * value.estimate, low, high)

    def reading(value: PitchInterval | None) -> PitchInterval | None:
        if value is None:
            return None
        estimate, low, high = (
            float(convention.setting_deg(np.asarray(v))) for v in (value.estimate, value.low, value.high)
        )
        return PitchInterval(estimate, min(low, high), max(low, high))

    rows = result.rows
    ends = np.sort(np.stack([convention.setting_deg(rows.low_deg), convention.setting_deg(rows.high_deg)]), axis=0)
    return replace(
        result,
        pitch_deg=reading(result.pitch_deg),
        other_deg=reading(result.other_deg),
        offset_deg=turned(result.offset_deg),
        drift_deg=turned(result.drift_deg),
        ends_at=tuple(float(convention.setting_deg(np.asarray(v))) for v in result.ends_at),
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
    grid = pitch_grid(curves, len(rows.air_speed_m_s))
    problem = PitchProblem(grid, _coefficients_of(curves, radius_m, density_kg_m3, rows), accuracy)
    result = _no_pitch(_row_by_row(problem, progress), watts_ratio)
    used = problem.rows.used
    notes: list[str] = []
    if not used.all():
        notes.append(
            f"{int((~used).sum())} of {len(used)} rows were left out: standing, air below 1 m/s, or faster than "
            f"tip-speed ratio {curves.tip_speed_ratio[-1]:g}, where the curves end."
        )
    if rows.thrust_n is not None and problem.rows.thrust_coefficient is None:
        notes.append("The logged thrust was not used: the curves' own thrust is only an estimate.")
    if not used.any():
        return replace(result, notes=(*notes, "No row can be used."))
    fit = fit_offsets(problem, _offsets_deg(problem), progress)
    return _interpreted(problem, fit, replace(result, notes=tuple(notes)))


def _coefficients_of(curves: RotorCurves, radius_m: float, density_kg_m3: float, rows: MeasuredRows) -> CoefficientRows:
    """Return rows of shaft power as coefficients; thrust only where the curves' own is no estimate."""
    air = np.maximum(rows.air_speed_m_s, 1e-6)
    area = math.pi * radius_m**2
    ratio = rows.rotor_speed_rad_s * radius_m / air
    thrust = None
    if rows.thrust_n is not None and not curves.thrust_is_estimated:
        thrust = rows.thrust_n / (0.5 * density_kg_m3 * area * air**2)
    return CoefficientRows(
        tip_speed_ratio=ratio,
        power_coefficient=rows.electrical_power_w / (0.5 * density_kg_m3 * area * air**3),
        thrust_coefficient=thrust,
        dial_deg=rows.dial_deg,
        time_s=rows.time_s,
        used=(rows.air_speed_m_s > 1.0) & (rows.rotor_speed_rad_s > 0) & (ratio <= curves.tip_speed_ratio[-1]),
    )


def _offsets_deg(problem: PitchProblem) -> np.ndarray:
    """Return the offsets of the dial to look at (K,), or the pitches where no dial was logged."""
    pitch, step, dial = problem.grid.pitch_deg, problem.grid.step_deg, problem.rows.dial_deg
    if dial is None:
        return pitch
    used = dial[problem.rows.used]
    middle = float(np.median(used))
    first = min(pitch[0] - float(used.max()), max(pitch[0] - middle, -_DIAL_REACH_DEG))
    last = max(pitch[-1] - float(used.min()), min(pitch[-1] - middle, _DIAL_REACH_DEG))
    return np.arange(first, last + 0.5 * step, step)


def _no_pitch(rows: RowPitch, watts_ratio: float) -> TruePitch:
    """Return the answer where no pitch is found."""
    return TruePitch(
        pitch_deg=None,
        branch="none",
        other_deg=None,
        other_branch=None,
        offset_deg=None,
        drift_deg=None,
        rows=rows,
        shared_errors=np.zeros(4),
        scatter=math.nan,
        correlation=0.0,
        watts_ratio=watts_ratio,
        at_edge=False,
        notes=(),
    )


def _interpreted(problem: PitchProblem, fit: PitchFit, result: TruePitch) -> TruePitch:
    """Return what a fit of all rows says: pitch, other solution, offset and drift of the dial."""
    surface, noise, dial = fit.surface, fit.noise, problem.rows.dial_deg
    result = replace(result, shared_errors=surface.shared_errors, scatter=noise.over, correlation=noise.correlation)
    if float(np.linalg.norm(surface.shared_errors)) > _NO_PITCH:
        return result
    free = fit.degrees_of_freedom
    reach = _reach(free if free >= MANY_ROWS else 10**6) ** 2
    offsets = surface.offsets
    main, *others = _intervals(offsets, surface.chi_square.min(axis=0), reach)
    other = others[0] if others else None
    gradient = _power_gradient(problem, offsets)
    middle = 0.0 if dial is None else float(dial[problem.rows.used].mean())
    ends = problem.grid.curve_ends_deg
    pitch = _held(main, middle, ends)
    low_cut, high_cut = pitch.low <= ends[0] + 1e-6, pitch.high >= ends[1] - 1e-6
    return replace(
        result,
        pitch_deg=pitch,
        branch=_branch(main, offsets, gradient),
        other_deg=None if other is None else _held(other, middle, ends),
        other_branch=None if other is None else _branch(other, offsets, gradient),
        offset_deg=None if dial is None else main,
        drift_deg=_drift(fit, reach),
        at_edge=pitch.estimate <= ends[0] + 1e-6 or pitch.estimate >= ends[1] - 1e-6,
        ends_at=tuple(end for end, cut in zip(ends, (low_cut, high_cut), strict=True) if cut),
    )


def _held(part: PitchInterval, by: float, ends: tuple[float, float]) -> PitchInterval:
    """Return an interval moved and held to the curves: the clip at their ends is no pitch of the rotor."""
    return PitchInterval(*(min(max(v + by, ends[0]), ends[1]) for v in (part.estimate, part.low, part.high)))


def _drift(fit: PitchFit, reach: float) -> PitchInterval | None:
    """Return the change of the dial from the first row to the last, all stretches that fit together."""
    if not fit.with_drift:
        return None
    parts = _intervals(fit.surface.drifts, fit.surface.chi_square.min(axis=1), reach)
    return PitchInterval(parts[0].estimate, min(p.low for p in parts), max(p.high for p in parts))


def _power_gradient(problem: PitchProblem, offsets: np.ndarray) -> np.ndarray:
    """Return how the rows' mean power coefficient changes with the offset (K,), from at most 500 rows."""
    grid, rows = problem.grid, problem.rows
    some = np.flatnonzero(rows.used)
    some = some[:: max(1, len(some) // 500)]
    table = grid.over_pitch(grid.power.value, rows.tip_speed_ratio[some])
    return np.gradient(grid.at_offsets(table, rows.dial_at(some), offsets).mean(axis=0), offsets)


# --- row by row ---


def _row_by_row(problem: PitchProblem, progress: Progress | None) -> RowPitch:
    """Return each row's pitches: where the map's power coefficient crosses the measured one on its way up (stalled:
    more pitch, more power) and on its way down (unstalled)."""
    rows, count = problem.rows, len(problem.rows.power_coefficient)
    parts = []
    for start in range(0, count, CHUNK):
        tell(progress, ROWS_SHARE * start / count)
        parts.append(_some_rows(problem, slice(start, start + CHUNK)))
    stalled, unstalled, low, high, explained, more = (np.concatenate(values) for values in zip(*parts, strict=True))
    return RowPitch(
        tip_speed_ratio=rows.tip_speed_ratio,
        power_coefficient=rows.power_coefficient,
        stalled_deg=stalled,
        unstalled_deg=unstalled,
        low_deg=low,
        high_deg=high,
        explained=explained,
        used=rows.used,
        more_than_any_pitch=more,
    )


def _some_rows(problem: PitchProblem, part: slice) -> tuple[np.ndarray, ...]:
    """Return (stalled, unstalled, low, high, explained, more than any pitch) of some rows."""
    grid, accuracy, pitch = problem.grid, problem.accuracy, problem.grid.pitch_deg
    cp, used, ratio = problem.rows.power_coefficient[part], problem.rows.used[part], problem.rows.tip_speed_ratio[part]
    power = grid.over_pitch(grid.power.value, ratio)
    gap = cp[:, None] - power
    above = gap > 0
    stalled = _crossing(problem, gap, above[:, :-1] & ~above[:, 1:], first=True)
    unstalled = _crossing(problem, gap, ~above[:, :-1] & above[:, 1:], first=False)
    variance = grid.over_pitch(grid.power.slope, ratio)
    variance -= 3 * cp[:, None]
    variance *= variance
    variance *= accuracy.air_speed_noise**2 + accuracy.air_speed_calibration**2
    power *= accuracy.power_and_curves
    power *= power
    variance += power
    variance += (FLOOR**2 + (FLOOR_SHARE * cp) ** 2)[:, None]
    gap *= gap
    fits = gap <= _ROW_QUANTILE**2 * variance
    explained = fits.any(axis=1) & used
    first, last = np.argmax(fits, axis=1), fits.shape[1] - 1 - np.argmax(fits[:, ::-1], axis=1)
    unknown, unused = np.where(explained, 0.0, np.nan), np.where(used, 0.0, np.nan)
    return (
        stalled + unused,
        unstalled + unused,
        pitch[first] + unknown,
        pitch[last] + unknown,
        explained,
        used & above.all(axis=1),
    )


def _crossing(problem: PitchProblem, gap: np.ndarray, crosses: np.ndarray, *, first: bool) -> np.ndarray:
    """Return the pitch (N,) of the first or last marked crossing of zero, NaN for none."""
    if crosses.shape[1] == 0:
        return np.full(len(gap), np.nan)
    place = np.argmax(crosses, axis=1) if first else crosses.shape[1] - 1 - np.argmax(crosses[:, ::-1], axis=1)
    row = np.arange(len(gap))
    low, high = gap[row, place], gap[row, place + 1]
    share = np.divide(low, low - high, out=np.zeros_like(low), where=low != high)
    return np.where(crosses[row, place], problem.grid.pitch_deg[place] + share * problem.grid.step_deg, np.nan)


# --- all rows together ---


def _reach(free: int) -> float:
    """Return how many standard deviations the interval reaches: Student's t of 95 % (Cornish-Fisher expansion, from
    memory), and for few rows what learning the scatter from the same rows adds: 95 to 99 of 100 in trials."""
    return 1.96 + 2.37 / free + 2.8 / free**2 + _LEARNT / free


def _intervals(grid: np.ndarray, chi: np.ndarray, reach: float) -> list[PitchInterval]:
    """Return the stretches of `grid` on which `chi` is within `reach` of its least, the one with the least first.

    Ends are interpolated between grid points and reach half a step, or 0.2 degrees, at least.
    """
    excess = chi - chi.min() - reach
    inside = excess <= 0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    step = float(grid[1] - grid[0]) if len(grid) > 1 else 0.0
    intervals = []
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
        intervals.append((float(chi[place]), PitchInterval(estimate, low, high)))
    return [part for _, part in sorted(intervals, key=lambda entry: entry[0])]


def _branch(part: PitchInterval, offsets: np.ndarray, gradient: np.ndarray) -> Branch:
    """Return on which side of the best pitch an interval lies: more pitch, more power means stalled."""
    ends = np.interp([part.low, part.high], offsets, gradient)
    if ends[0] > 0 > ends[1]:
        return "either"
    return "stalled" if float(np.interp(part.estimate, offsets, gradient)) > 0 else "unstalled"
