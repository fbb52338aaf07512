"""Road load from coast-downs: F = A + B v + C v², from runs out of gear in both directions of one road.

The idea of SAE J1263 and J2263: the vehicle rolls down from speed in neutral, both ways, so that wind along the road
and grade act with opposite signs and can be told from the road load. Practice asks for at least 16 valid runs, 8 each
way (40 CFR 1066.310, for vehicles above 14,000 lb; for lighter ones 40 CFR 1066.301(b) points to the two standards).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vehicle.constants import GRAVITY_M_S2
from vehicle.driving.coast_cuts import deceleration_m_s2, without_braking
from vehicle.driving.coast_run import CoastRun
from vehicle.problems import InputError, Problem
from vehicle.quantity import Estimate

ROTATING_MASS = 0.03
ROTATING_WORDS = (
    "in neutral, wheels and shafts are counted as 3 % of the mass; where they are not measured, Regulation (EU) "
    "2017/1151, Annex XXI, Sub-Annex 4, 2.5.1 (read in a copy) takes 3 % of the mass in running order plus 25 kg"
)
_LEAST_SPAN_M_S = 20 / 3.6
_LEAST_C_N_S2_M2 = 0.06  # drag area 0.1 m²: less than any road vehicle's
_MOST_WIND_M_S = 8.0  # more than twice the wind in which the practice allows coast-downs
GOOD_PRACTICE_PAIRS = 8  # 40 CFR 1066.310, for vehicles above 14,000 lb


@dataclass(frozen=True)
class CoastDown:
    """Estimates in N, N s/m, N s²/m² (at the density of the day), with intervals from the spread between pairs of
    runs.

    `head_wind_m_s` is along the road for direction +1 (NaN where it cannot be told), `grade` rise over run in that
    direction, `residual_m_s` the root mean square of what the fit leaves of the speeds, `force_n` the road load at
    `speeds_m_s` with its interval: the curve is known better than its three coefficients one by one. `used` are the
    runs of the fit, without what was braked in them, `remarks` say what was cut or left out, and `unusable` why the
    coefficients are no road load ("" where they may be).
    """

    a_n: Estimate
    b_n_s_m: Estimate
    c_n_s2_m2: Estimate
    speeds_m_s: tuple[float, ...]
    force_n: tuple[Estimate, ...]
    head_wind_m_s: float
    grade: float
    residual_m_s: float
    level: float
    runs: int
    pairs: int
    mass_kg: float
    warnings: tuple[str, ...]
    used: tuple[CoastRun, ...] = ()
    remarks: tuple[str, ...] = ()
    unusable: str = ""


def fit_coastdown(
    runs: Sequence[CoastRun], mass_kg: float, *, level: float = 0.95, rotating_mass: float = ROTATING_MASS
) -> CoastDown:
    """Return A, B and C that make the simulated roll-outs fall on the measured speeds, wind and grade taken out.

    Along the road F = A + B v + C (v + s w)² + s m g grade [1]_, with s the direction: the wind w shows as a slope, the
    grade as a constant, of opposite sign in the two directions. Each pair of runs (one each way) is fitted by least
    squares on its speeds (not on their differences, which whole km/h make useless) with a wind of its own; the answer
    is the mean over pairs, its interval that of Student's t. One fit over all runs would lean towards the runs with
    less wind, which last longer.

    Parameters
    ----------
    runs
        Stretches of rolling out, at least two each way.
    mass_kg
        Of the vehicle as driven [kg].
    level
        Of the intervals, as a share of one.
    rotating_mass
        What wheels and shafts add to the mass, as a share of it.

    Returns
    -------
    CoastDown
        A [N], B [N s/m], C [N s²/m²] and the force [N] at five speeds, with their intervals.

    Raises
    ------
    InputError
        For fewer than two runs each way, runs that span under 20 km/h, or a mass that is not above zero.

    References
    ----------
    .. [1] SAE J1263, Road load measurement and dynamometer simulation using coastdown techniques.
    """
    _both_ways(runs)
    _span_m_s(runs)
    clean = without_braking(runs)
    ahead, back = _both_ways(clean.runs, clean.remarks)
    bottom, top = _span_m_s(clean.runs)
    _check_directions(clean.runs)
    if not mass_kg > 0:
        raise InputError(Problem("--mass", "", f"{mass_kg:g} kg", 'a mass above zero, such as "1400 kg"'))
    inertia = mass_kg * (1 + rotating_mass)
    used = [run for pair in zip(ahead, back, strict=False) for run in pair]
    pairs = len(used) // 2
    first, _ = _fit(used, inertia, None)
    fitted = [_fit(used[2 * pair : 2 * pair + 2], inertia, first) for pair in range(pairs)]
    each = np.array([parameters for parameters, _ in fitted])
    a, b, c = (_over_pairs(each[:, place], level) for place in range(3))
    wind = float((each[:, 2] * each[:, 3]).sum() / each[:, 2].sum())  # what the runs know is drag times wind
    speeds = np.linspace(max(bottom, 5.0), top, 5).tolist()
    return CoastDown(
        a_n=a,
        b_n_s_m=b,
        c_n_s2_m2=c,
        speeds_m_s=tuple(speeds),
        force_n=tuple(_over_pairs(each[:, 0] + each[:, 1] * v + each[:, 2] * v * v, level) for v in speeds),
        head_wind_m_s=wind,
        grade=float(each[:, 4].mean()) / (mass_kg * GRAVITY_M_S2),
        residual_m_s=math.sqrt(float(np.mean([left**2 for _, left in fitted]))),
        level=level,
        runs=len(used),
        pairs=pairs,
        mass_kg=mass_kg,
        warnings=(*_warnings_of_runs(ahead, back), *_warnings_of_fit(b)),
        used=tuple(used),
        remarks=clean.remarks,
        unusable=_unusable(a, b, c, wind),
    )


def _both_ways(runs: Sequence[CoastRun], remarks: Sequence[str] = ()) -> tuple[list[CoastRun], list[CoastRun]]:
    """Return the runs of each direction. Raises InputError for fewer than two of one."""
    ahead = [run for run in runs if run.direction > 0]
    back = [run for run in runs if run.direction < 0]
    if len(ahead) < 2 or len(back) < 2:
        why = "; one direction cannot part wind and grade from the road load" if runs and not (ahead and back) else ""
        read = "; ".join([f"{len(ahead)} one way and {len(back)} the other{why}", *remarks])
        accepted = (
            "at least two each way, undisturbed (good: eight each way, as 40 CFR 1066.310 asks of heavy vehicles)"
        )
        raise InputError(Problem("coast-downs", "", read, accepted))
    return ahead, back


def _check_directions(runs: Sequence[CoastRun]) -> None:
    """Refuse runs of which nothing shows that they were driven both ways.

    Where directions are only assumed to alternate, wind or grade must show it: the runs of the two directions must slow
    differently, by more than those of one direction among each other (Welch's t of 3, own choice). Raises InputError.
    """
    if not any(run.assumed for run in runs):
        return
    low = max(float(run.speed_m_s.min()) for run in runs)
    high = min(float(run.speed_m_s.max()) for run in runs)
    means: dict[int, list[float]] = {1: [], -1: []}
    for run in runs:
        inside = (run.speed_m_s >= low) & (run.speed_m_s <= high) if high - low > 2.0 else np.isfinite(run.speed_m_s)
        means[run.direction].append(float(np.nanmean(deceleration_m_s2(run)[inside])))
    one, other = np.array(means[1]), np.array(means[-1])
    error = math.sqrt(one.var(ddof=1) / one.size + other.var(ddof=1) / other.size)
    if abs(one.mean() - other.mean()) > 3.0 * error:
        return
    read = (
        "no direction in the logs, and every second run slows like the others: either it was calm and level, or all "
        "were driven one way, and one direction cannot part wind and grade from the road load"
    )
    raise InputError(Problem("coast-downs", "--directions", read, f'"{"+-" * (len(runs) // 2)}", or a satellite track'))


def _unusable(a: Estimate, b: Estimate, c: Estimate, wind: float) -> str:
    """Return why the coefficients cannot be those of a road vehicle, "" where they may be."""
    if abs(wind) > _MOST_WIND_M_S:
        return f"the runs fit only with a wind of {abs(wind):.0f} m/s along the road"
    if c.estimate <= 0 or a.estimate <= 0:
        return "A or C is not above zero"
    if b.ends[1] is not None and b.ends[1] < 0:
        return f"B is below zero ({b.estimate:.2g} N/(m/s)) with its whole interval"
    return ""


def _span_m_s(runs: Sequence[CoastRun]) -> tuple[float, float]:
    """Return the lowest and the highest speed of the runs. Raises InputError where they are too near."""
    top = max(float(run.speed_m_s.max()) for run in runs)
    bottom = min(float(run.speed_m_s.min()) for run in runs)
    if top - bottom < _LEAST_SPAN_M_S:
        read = f"speeds from {bottom * 3.6:.0f} to {top * 3.6:.0f} km/h"
        raise InputError(Problem("coast-downs", "", read, "at least 20 km/h from top to bottom, better 60"))
    return bottom, top


def _over_pairs(values: np.ndarray, level: float) -> Estimate:
    """Return the mean over pairs of runs (pairs,) with the interval of Student's t."""
    from scipy.special import stdtrit

    half = float(stdtrit(values.size - 1, 0.5 + level / 2)) * float(values.std(ddof=1)) / math.sqrt(values.size)
    return Estimate(float(values.mean()), float(values.mean()) - half, float(values.mean()) + half, level)


def _warnings_of_runs(ahead: Sequence[CoastRun], back: Sequence[CoastRun]) -> list[str]:
    warnings = []
    pairs = min(len(ahead), len(back))
    if pairs < GOOD_PRACTICE_PAIRS:
        warnings.append(
            f"{pairs} pairs of coast-downs: 8 each way are good practice (40 CFR 1066.310, for heavy vehicles)"
        )
    if len(ahead) != len(back):
        warnings.append(f"{len(ahead)} coast-downs one way and {len(back)} the other: the surplus is not used")
    return warnings


def _warnings_of_fit(b: Estimate) -> list[str]:
    warnings = []
    low, high = b.ends
    if low < 0 < high:
        warnings.append("B is not different from zero: A, B and C trade against each other; use all three together")
    return warnings


def _fit(runs: Sequence[CoastRun], inertia: float, start: np.ndarray | None) -> tuple[np.ndarray, float]:
    """Return (A, B, C, wind, grade force) and the root mean square residual in m/s."""
    from scipy.optimize import least_squares

    if start is None:
        start = _first_guess(runs, inertia)
    scale = np.array([100.0, 5.0, 0.5, 2.0, 50.0])
    top = max(float(run.speed_m_s.max()) for run in runs) + 2.0
    grid = np.linspace(max(0.0, min(float(run.speed_m_s.min()) for run in runs) - 2.0), top, 600)

    def curve(parameters: np.ndarray, sign: float) -> np.ndarray:
        """Return the seconds that rolling takes from the top of the grid down to each speed of it."""
        a, b, c, wind, slope = parameters
        air = grid + sign * wind
        force = np.maximum(a + b * grid + c * air * np.abs(air) + sign * slope, 1.0)
        seconds = inertia / force
        steps = 0.5 * (seconds[1:] + seconds[:-1]) * (grid[1] - grid[0])
        return np.concatenate([np.cumsum(steps[::-1])[::-1], [0.0]])

    def residuals(x: np.ndarray) -> np.ndarray:
        # every run of one direction is a piece of one curve, begun at its own moment
        curves = {sign: curve(x[:5] * scale, sign)[::-1] for sign in (1, -1)}
        return np.concatenate(
            [
                np.interp(x[5 + place] + run.time_s, curves[run.direction], grid[::-1]) - run.speed_m_s
                for place, run in enumerate(runs)
            ]
        )

    begun = {sign: curve(start, sign) for sign in (1, -1)}
    first = [float(np.interp(float(np.mean(run.speed_m_s[:3])), grid, begun[run.direction])) for run in runs]
    # Where the runs span few speeds, drag and wind trade against each other without end: both are held to what can be.
    low = np.full(5 + len(runs), -np.inf)
    low[2], low[3] = _LEAST_C_N_S2_M2 / scale[2], -1.1 * _MOST_WIND_M_S / scale[3]
    high = np.full(low.size, np.inf)
    high[3] = -low[3]
    begin = np.clip(np.concatenate([start / scale, first]), low + 1e-6, high - 1e-6)
    solution = least_squares(residuals, begin, x_scale="jac", max_nfev=80, bounds=(low, high))
    if not np.isfinite(solution.x).all():
        raise InputError(Problem("coast-downs", "", "no road load fits them", "runs that roll out undisturbed"))
    return solution.x[:5] * scale, float(np.sqrt(np.mean(solution.fun**2)))


def _first_guess(runs: Sequence[CoastRun], inertia: float) -> np.ndarray:
    """Return a start from slopes over about 4 s: force against 1, v², direction."""
    force, speed, sign = [], [], []
    for run in runs:
        step = max(2, round(4.0 / max(float(np.median(np.diff(run.time_s))), 1e-6)))
        v, t = run.speed_m_s[::step], run.time_s[::step]
        if v.size < 2:
            continue
        force.append(-inertia * np.diff(v) / np.diff(t))
        speed.append(0.5 * (v[1:] + v[:-1]))
        sign.append(np.full(v.size - 1, float(run.direction)))
    f, v, s = np.concatenate(force), np.concatenate(speed), np.concatenate(sign)
    design = np.column_stack([np.ones_like(v), v * v, s])
    a, c, slope = np.linalg.lstsq(design, f, rcond=None)[0]
    return np.array([max(float(a), 10.0), 0.5, max(float(c), 0.05), 0.0, float(slope)])
