"""A whole trip: speed over time, grade and wind along the way, cut into the steps that a vehicle drives.

A trip is cut into steps between the times of its schedule; in each the speed runs in a straight line, so that kinetic
and potential energy come out exactly: sum(force × mean speed × duration) of inertia is the change of ½·m·v², of grade
that of m·g·h. Everything else is taken at the mean speed of the step.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np

from vehicle.arrays import Values
from vehicle.driving.engine import Battery, Engine
from vehicle.problems import InputError, Problem
from vehicle.tables import increasing, read_table

MOST_SPEED_M_S = 100.0
LONGEST_TRIP_M, LONGEST_TRIP_S = 5e6, 7 * 86400.0  # as trip.distance; more is another unit of the time
MOST_ACCELERATION_M_S2 = 12.0  # a car does not brake harder; more is a slip in the file


@dataclass(frozen=True)
class Schedule:
    """Speed (m/s) over time (s), arrays of one length; grade (rise over run) and wind where the file has them."""

    name: str
    time_s: np.ndarray
    speed_m_s: np.ndarray
    grade: np.ndarray | None = None
    wind_speed_m_s: np.ndarray | None = None
    wind_from_rad: np.ndarray | None = None

    @property
    def mean_moving_speed_m_s(self) -> float:
        """Mean speed while it moves, 0 where it never does."""
        steps = steps_of(self)
        moving_s = float(steps.duration_s[steps.speed_m_s > 0].sum())
        return steps.distance_m / moving_s if moving_s > 0 else 0.0


@dataclass(frozen=True)
class Profile:
    """The way: altitude (m) and wind over distance (m), where known."""

    name: str
    distance_m: np.ndarray
    altitude_m: np.ndarray | None = None
    wind_speed_m_s: np.ndarray | None = None
    wind_from_rad: np.ndarray | None = None


@dataclass(frozen=True)
class Steps:
    """The steps of a trip, arrays (steps,): mean speed, acceleration, grade; NaN wind where nothing is said of it.

    `standing_s` is the length of the stop that a step belongs to, 0 while it drives.
    """

    duration_s: np.ndarray
    speed_m_s: np.ndarray
    acceleration_m_s2: np.ndarray
    grade: np.ndarray
    wind_speed_m_s: np.ndarray
    wind_from_rad: np.ndarray
    standing_s: np.ndarray

    @property
    def total_s(self) -> float:
        """Length of the trip in seconds."""
        return float(self.duration_s.sum())

    @property
    def distance_m(self) -> float:
        """Length of the way in metres."""
        return float((self.speed_m_s * self.duration_s).sum())

    @property
    def climb_m(self) -> float:
        """Sum of all rises in metres, descents not taken off."""
        rise = np.sin(np.arctan(self.grade)) * self.speed_m_s * self.duration_s
        return float(np.maximum(rise, 0.0).sum())


def read_schedule(path: Path) -> Schedule:
    """Return a schedule from a CSV file: columns time_*, speed_*; grade (%, or plain), wind_* where known.

    Parameters
    ----------
    path : the CSV file

    Returns
    -------
    The schedule, arrays (N,), SI.

    Raises
    ------
    InputError
        For times that do not rise, speeds below 0 or above 100 m/s, jumps of speed that no vehicle makes.
    """
    data = read_table(
        path,
        {"time": "s", "speed": "m/s"},
        optional={"grade": "dimensionless", "wind_speed": "m/s", "wind_from": "rad"},
    )
    increasing(path, "time", data["time"])
    time, speed = data["time"], data["speed"]
    problems = []
    for wrong, read, accepted in (
        (speed < 0, f"{speed.min():g} m/s", "0 or more"),
        (speed > MOST_SPEED_M_S, f"{speed.max():g} m/s", f"at most {MOST_SPEED_M_S:g} m/s"),
    ):
        if wrong.any():
            problems.append(Problem(path.name, "column speed", read, accepted))
    rate = np.diff(speed) / np.diff(time)
    if np.abs(rate).max() > MOST_ACCELERATION_M_S2:
        at = int(np.argmax(np.abs(rate)))
        problems.append(
            Problem(
                path.name,
                f"column speed, time {time[at]:g} s",
                f"a jump of {rate[at]:.3g} m/s in a second",
                f"at most {MOST_ACCELERATION_M_S2:g} m/s each second",
            )
        )
    length_m, length_s = float(np.sum((speed[1:] + speed[:-1]) / 2 * np.diff(time))), float(time[-1] - time[0])
    if length_m > LONGEST_TRIP_M or length_s > LONGEST_TRIP_S:
        read = f"a trip of {length_m / 1e3:.0f} km in {length_s / 3600:.0f} h"
        accepted = f"at most {LONGEST_TRIP_M / 1e3:g} km in {LONGEST_TRIP_S / 3600:g} h: check the unit of the time"
        problems.append(Problem(path.name, "column time", read, accepted))
    if speed.max() == 0:
        problems.append(Problem(path.name, "column speed", "0 throughout", "a trip that moves"))
    problems += _grade_problems(path, data.get("grade"))
    if problems:
        raise InputError(problems)
    return Schedule(path.name, time, speed, data.get("grade"), data.get("wind_speed"), data.get("wind_from"))


def read_profile(path: Path) -> Profile:
    """Return a profile from a CSV file: column distance_*; altitude_* or grade, wind_speed_*, wind_from_* as known.

    A grade (rise over run) is summed up to an altitude.

    Parameters
    ----------
    path : the CSV file

    Returns
    -------
    The profile, arrays (N,), SI.

    Raises
    ------
    InputError
        Where neither grade nor wind is in it.
    """
    data = read_table(
        path,
        {"distance": "m"},
        optional={"altitude": "m", "grade": "dimensionless", "wind_speed": "m/s", "wind_from": "rad"},
    )
    increasing(path, "distance", data["distance"])
    if set(data) == {"distance"} or {"altitude", "grade"} <= set(data):
        read = "both given" if "grade" in data else "distance alone"
        raise InputError(
            Problem(path.name, "columns", read, "altitude_m or grade_percent, or wind_speed_*, wind_from_*")
        )
    altitude, grade = data.get("altitude"), data.get("grade")
    if grade is not None:
        rise = np.sin(np.arctan(grade))
        altitude = np.concatenate([[0.0], np.cumsum((rise[1:] + rise[:-1]) / 2 * np.diff(data["distance"]))])
    if altitude is not None:
        slope = np.diff(altitude) / np.diff(data["distance"])
        problems = _grade_problems(path, np.tan(np.arcsin(np.clip(slope, -0.999, 0.999))))
        if problems:
            raise InputError(problems)
    return Profile(path.name, data["distance"], altitude, data.get("wind_speed"), data.get("wind_from"))


def _grade_problems(path: Path, grade: np.ndarray | None) -> list[Problem]:
    if grade is None or np.abs(grade).max() <= 0.4:
        return []
    worst = grade[np.argmax(np.abs(grade))]
    return [
        Problem(path.name, "grade", f"{100 * worst:.3g} %", "-40 % to 40 % (a share is 0.05, per cent have _percent)")
    ]


def steps_of(schedule: Schedule, profile: Profile | None = None, *, grade: float = 0.0) -> Steps:
    """Return the steps of a schedule along a profile; `grade` holds where neither of them tells one.

    Parameters
    ----------
    schedule : of N times
    profile : along the way
    grade : [-] rise over run

    Returns
    -------
    The steps, arrays (N - 1,), SI; NaN wind where none is known.

    References
    ----------
    .. [1] Straight lines between the times, closed form.
    """
    duration = np.diff(schedule.time_s)
    speed = (schedule.speed_m_s[1:] + schedule.speed_m_s[:-1]) / 2
    ends = np.concatenate([[0.0], np.cumsum(speed * duration)])
    slope = np.full(len(duration), grade)
    if schedule.grade is not None:
        slope = (schedule.grade[1:] + schedule.grade[:-1]) / 2
    elif profile is not None and profile.altitude_m is not None:
        rise = np.diff(np.interp(ends, profile.distance_m, profile.altitude_m))
        length = np.diff(ends)
        sine = np.divide(rise, length, out=np.zeros(len(rise)), where=length > 0)
        slope = np.tan(np.arcsin(np.clip(sine, -0.999, 0.999)))
    return Steps(
        duration_s=duration,
        speed_m_s=speed,
        acceleration_m_s2=np.diff(schedule.speed_m_s) / duration,
        grade=slope,
        wind_speed_m_s=_along("wind_speed_m_s", schedule, profile, ends),
        wind_from_rad=_along("wind_from_rad", schedule, profile, ends),
        standing_s=_standing_s(duration, speed),
    )


def split_at_speeds(schedule: Schedule, speeds_m_s: np.ndarray, *, most_change_m_s: float = 1.5) -> Schedule:
    """Return the schedule with points added where its speed crosses given speeds, and within large changes of speed.

    In a step that crosses the speed at which a policy or a gear changes, its mean speed would decide for all of it; in
    one in which speed changes much, the mean of its cube is not the cube of its mean. Speed over time stays the same.

    Parameters
    ----------
    schedule : Schedule
        Speed over time, straight between its times.
    speeds_m_s : array, shape (k,)
        Speeds at which something changes [m/s].
    most_change_m_s : float, optional
        Steps in which the speed changes by more are divided evenly [m/s].

    Returns
    -------
    Schedule
        With all times of the old one, and those between.

    References
    ----------
    .. [1] Straight lines between the times, closed form.
    """
    time, speed = schedule.time_s, schedule.speed_m_s
    change = np.diff(speed)
    parts = np.maximum(1, np.ceil(np.abs(change) / most_change_m_s - 1e-9)).astype(int)
    places = [time]
    for at in np.flatnonzero(parts > 1):
        places.append(np.linspace(time[at], time[at + 1], parts[at] + 1)[1:-1])
    for level in np.asarray(speeds_m_s, float):
        crosses = np.flatnonzero((speed[:-1] - level) * (speed[1:] - level) < 0)
        places.append(time[crosses] + (level - speed[crosses]) / change[crosses] * np.diff(time)[crosses])
    all_times = np.unique(np.concatenate(places))
    apart = np.concatenate([[True], np.diff(all_times) > 1e-6])
    all_times = np.union1d(all_times[apart], time)
    names = ("speed_m_s", "grade", "wind_speed_m_s", "wind_from_rad")
    between = {
        name: np.interp(all_times, time, values) for name in names if (values := getattr(schedule, name)) is not None
    }
    return replace(schedule, time_s=all_times, **between)


def _along(name: str, schedule: Schedule, profile: Profile | None, ends: np.ndarray) -> np.ndarray:
    by_time, by_distance = getattr(schedule, name), getattr(profile, name, None)
    if by_time is not None:
        values: np.ndarray = by_time
    elif by_distance is not None and profile is not None:
        values = np.interp(ends, profile.distance_m, by_distance)
    else:
        return np.full(len(ends) - 1, np.nan)
    return (values[1:] + values[:-1]) / 2


def _standing_s(duration: np.ndarray, speed: np.ndarray) -> np.ndarray:
    """Return for every step the length of the stop it belongs to, 0 while it drives."""
    stands = speed == 0
    number = np.cumsum(np.concatenate([[True], stands[1:] != stands[:-1]])) - 1
    return np.where(stands, np.bincount(number, weights=duration)[number], 0.0)


# Steps are nearly alike within: m/s, m/s², grade, m/s of wind, rad, s of standing.
_ALIKE = {
    "speed_m_s": 1.5,
    "acceleration_m_s2": 0.3,
    "grade": 0.01,
    "wind_speed_m_s": 2.0,
    "wind_from_rad": 0.5,
    "standing_s": 60.0,
}


def stops_and_goes(steps: Steps) -> bool:
    """Return whether a trip is one of town: it stands for 5 % of the time or more, and goes at 50 km/h or less on
    average between stops (own rule, no source).

    Parameters
    ----------
    steps : of the trip

    Returns
    -------
    Whether it is.
    """
    standing = np.asarray(steps.standing_s) > 0
    moving_s = float(steps.duration_s[~standing].sum())
    if moving_s <= 0:
        return False
    return float(steps.duration_s[standing].sum()) >= 0.05 * steps.total_s and steps.distance_m / moving_s <= 50 / 3.6


def merged(steps: Steps, *, nearly: bool = False) -> Steps:
    """Return the trip with equal steps put together, or those `nearly` alike; their order is lost.

    Equal steps give the same totals from fewer of them; steps nearly alike are stood for by their mean.

    Parameters
    ----------
    steps : (N,)
    nearly : put together what is nearly alike

    Returns
    -------
    The steps, (M,) with M at most N, of the same length in time.
    """
    names = [f.name for f in fields(Steps) if f.name != "duration_s"]
    table = np.column_stack([np.nan_to_num(getattr(steps, name), nan=-1e6) for name in names])
    width = np.array([_ALIKE[name] if nearly else 1e-9 for name in names])
    # Standing stays apart from creeping.
    keys = np.column_stack([np.round(table / width), steps.speed_m_s > 0])
    _, number = np.unique(keys, axis=0, return_inverse=True)
    number = number.ravel()
    duration = np.bincount(number, weights=steps.duration_s)
    kept = {name: np.bincount(number, weights=getattr(steps, name) * steps.duration_s) / duration for name in names}
    return replace(steps, duration_s=duration, **kept)


def weibull_quantile(share: Values, mean_m_s: Values, shape: Values) -> np.ndarray:
    """Return the wind speed (m/s) below which `share` of the time the wind of a Weibull climate stays.

    Scale c = mean/Γ(1 + 1/k); F(u) = 1 − exp(−(u/c)^k): Troen & Petersen, European Wind Atlas (1989).

    Parameters
    ----------
    share : [-] 0 to below 1, any shape
    mean_m_s : [m/s], any shape
    shape : [-] k

    Returns
    -------
    [m/s], the shape of all inputs broadcast.

    References
    ----------
    .. [1] Troen and Petersen, European Wind Atlas (1989).
    """
    from scipy.special import gamma

    k = np.asarray(shape, float)
    scale = np.asarray(mean_m_s) / gamma(1 + 1 / k)
    return np.asarray(scale * (-np.log1p(-np.asarray(share, float))) ** (1 / k))


def spread_over(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return `count` evenly spread pairs in (0, 1)², for wind speed and direction of as many steps.

    The additive sequence of the plastic number (common practice, no source): neighbours in time are far apart, and any
    stretch of it covers the square evenly.

    Parameters
    ----------
    count : [1]

    Returns
    -------
    [-] two arrays (count,).

    References
    ----------
    .. [1] Additive sequence of the plastic number: common practice, no source.
    """
    plastic = 1.324717957244746
    k = np.arange(1, count + 1)
    return (0.5 + k / plastic) % 1.0, (0.5 + k / plastic**2) % 1.0


def with_idling(engine: Engine | Battery, standing_s: np.ndarray, longest_idle_s: Values) -> Engine | Battery:
    """Return the engine as it runs on a trip: it idles through stops up to `longest_idle_s`, longer ones it is off.

    Parameters
    ----------
    engine : of the vehicle
    standing_s : [s] (steps,) length of the stop that a step belongs to
    longest_idle_s : [s], any shape

    Returns
    -------
    The engine, `runs_when_parked` of shape (steps,).

    References
    ----------
    .. [1] Own rule, no source.
    """
    if isinstance(engine, Battery):
        return engine
    return replace(engine, runs_when_parked=np.asarray(engine.runs_when_parked) | (standing_s <= longest_idle_s))
