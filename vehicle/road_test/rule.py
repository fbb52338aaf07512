"""The rule by which a run is rejected, fixed before the test and never by its fuel, and the limits of the weather.

Both stand on the run sheet that `windtoll plan` prints; `compare` applies and prints the same rule. All limits are
common practice, no source, but for those named.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vehicle.road_test.windows import RunWindows

MOST_OFF_SPEED = 0.10
MOST_STANDING_S = 10.0
LEAST_KEPT = 0.5
# In traffic the runs differ more by themselves, and stops belong to them: a run is then held against what is usual.
_OF_USUAL_OFF, _OF_USUAL_KEPT = 6.0, 0.5  # of the median
_STEADY, _LEAST_RUNS = 0.03, 4

# EPA SmartWay's interim method (modifies SAE J1321) takes up to 12 mph of wind with gusts of 15 mph; a rotor that takes
# its power from that wind asks for less.
MOST_WIND_M_S = 3.0
MOST_GUST_M_S = 5.0
MOST_WARMER_K = 5.0

_SPEED_STANDING_ROWS = (
    f"A run is rejected if its mean speed is more than {100 * MOST_OFF_SPEED:.0f} % off the median of all runs. "
    f"In traffic the limit is {_OF_USUAL_OFF:.0f} times the median distance from that median, where this is more.",
    f"A run is rejected if the vehicle stands or creeps (under 7 km/h, 4 mph) for more than {MOST_STANDING_S:.0f} s in "
    f"it. Where stops belong to the road the limit is the median standing time plus {_OF_USUAL_OFF:.0f} times the "
    "median distance from it (or a quarter of it, where that is more).",
    f"A run is rejected if less than {100 * LEAST_KEPT:.0f} % of its rows are left (braking, cold engine, gaps), or "
    "less than half the median share where that is lower.",
)


def rule_words(used: str) -> tuple[str, ...]:
    """Return the rule for runs that are judged by `used`, fuel or battery energy."""
    last = f"No run is rejected for its {used}. The other run of the pair is left out with it; drive the pair again."
    return (*_SPEED_STANDING_ROWS, last)


RULE = rule_words("fuel")


@dataclass(frozen=True)
class RunLimits:
    """The limits of the rule for one set of runs: distance from the median speed [share], standing [s], rows kept."""

    median_m_s: float
    off_speed: float
    standing_s: float
    kept: float


def limits_of(runs: Sequence[RunWindows]) -> RunLimits:
    """Return the limits of the rule: those of steady runs, or wider where the runs differ more by themselves.

    "Usual" is the median over all runs, whatever their state, so that a few odd runs do not move a limit.
    """
    speeds = np.array([run.means["speed_m_s"] for run in runs])
    standing = np.array([_standing_s(run) for run in runs])
    middle, usual = float(np.median(speeds)), float(np.median(standing))
    off = float(np.median(np.abs(speeds / middle - 1))) if middle > 0 else math.inf
    longer = float(np.median(np.abs(standing - usual)))
    return RunLimits(
        middle,
        max(MOST_OFF_SPEED, _OF_USUAL_OFF * off),
        max(MOST_STANDING_S, usual + _OF_USUAL_OFF * max(longer, usual / 4)),
        min(LEAST_KEPT, _OF_USUAL_KEPT * float(np.median([run.kept_share for run in runs]))),
    )


def _standing_s(run: RunWindows) -> float:
    return run.means.get("standing_s", 0.0)


def _moving(runs: Sequence[RunWindows]) -> list[RunWindows]:
    return [run for run in runs if run.kept_s and math.isfinite(run.means["speed_m_s"])]


def rejected(runs: Sequence[RunWindows]) -> tuple[dict[str, str], str]:
    """Return why runs are rejected, by their name, and why the rule is not applied at all ("" where it is)."""
    moving = _moving(runs)
    if len(moving) < _LEAST_RUNS:
        return {}, "fewer than four runs"
    limits = limits_of(moving)
    if not limits.median_m_s > 0:
        return {}, "the vehicle stands in most runs"
    reasons: dict[str, list[str]] = {}
    for run in moving:
        off, standing, kept = run.means["speed_m_s"] / limits.median_m_s - 1, _standing_s(run), run.kept_share
        if abs(off) > limits.off_speed:
            reasons.setdefault(run.name, []).append(
                f"mean speed {100 * off:+.0f} % off the median, limit {100 * limits.off_speed:.0f} %"
            )
        if standing > limits.standing_s:
            reasons.setdefault(run.name, []).append(
                f"the vehicle stands or creeps for {standing:.0f} s, limit {limits.standing_s:.0f} s"
            )
        if kept < limits.kept and run.known_share > LEAST_KEPT:
            reasons.setdefault(run.name, []).append(
                f"only {100 * kept:.0f} % of its rows are left, limit {100 * limits.kept:.0f} %"
            )
    return {name: ", ".join(why) for name, why in reasons.items()}, ""


def at_steady_speed(runs: Sequence[RunWindows]) -> bool:
    """Return whether the runs are driven at one steady speed without stops: other runs have heavier tails."""
    moving = _moving(runs)
    if len(moving) < _LEAST_RUNS:
        return False
    speeds = np.array([run.means["speed_m_s"] for run in moving])
    middle = float(np.median(speeds))
    if not middle > 0 or float(np.median(np.abs(speeds / middle - 1))) > _STEADY:
        return False
    return float(np.median([_standing_s(run) for run in moving])) <= MOST_STANDING_S / 2


def beyond_limits(runs: Sequence[RunWindows]) -> list[str]:
    """Return in words which runs break the sheet's limits of wind, gusts and temperature, where these are written."""
    said = []
    windy = [run for run in runs if abs(run.means["head_wind_m_s"]) > MOST_WIND_M_S]
    gusty = [run for run in runs if run.means.get("gust_m_s", math.nan) > MOST_GUST_M_S]
    for measured, what, most, key in (
        (windy, "wind along the road", MOST_WIND_M_S, "head_wind_m_s"),
        (gusty, "gusts", MOST_GUST_M_S, "gust_m_s"),
    ):
        if measured:
            worst = max(abs(run.means[key]) for run in measured)
            said.append(
                f"{what} over the sheet's limit of {most:g} m/s in {len(measured)} of {len(runs)} runs (up to "
                f"{worst:.1f} m/s)"
            )
    by_pair: dict[str, list[float]] = {}
    for run in runs:
        if math.isfinite(run.means["temperature_k"]):
            by_pair.setdefault(run.pair, []).append(run.means["temperature_k"])
    warm = [pair for pair, measured in by_pair.items() if pair and max(measured) - min(measured) > MOST_WARMER_K]
    if warm:
        said.append(
            f"air temperature differs by more than the sheet's {MOST_WARMER_K:g} K inside pair{'s' * (len(warm) > 1)} "
            f"{', '.join(warm[:6])}"
        )
    return said
