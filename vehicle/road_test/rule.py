"""The rule by which a run is rejected, fixed before the test and never by its fuel, and the limits of the weather.

Both stand on the run sheet that `windtoll plan` prints; `compare` applies and prints the same rule. All limits are
common practice, no source, but for those named.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from vehicle.road_test.windows import RunWindows

MOST_OFF_SPEED = 0.10
MOST_STANDING_S = 10.0
LEAST_KEPT = 0.5
_STEADY, _LEAST_RUNS = 0.03, 4

# EPA SmartWay's interim method (modifies SAE J1321) takes up to 12 mph of wind with gusts of 15 mph; a rotor that takes
# its power from that wind asks for less.
MOST_WIND_M_S = 3.0
MOST_GUST_M_S = 5.0
MOST_WARMER_K = 5.0

RULE = (
    f"A run is rejected if its mean speed is more than {100 * MOST_OFF_SPEED:.0f} % off the median of all runs.",
    f"A run is rejected if the vehicle stands or creeps (under 7 km/h) for more than {MOST_STANDING_S:.0f} s in it.",
    f"A run is rejected if less than {100 * LEAST_KEPT:.0f} % of its rows are left (braking, cold engine, gaps).",
    "No run is rejected for its fuel. The other run of the pair is left out with it; drive the pair again.",
)


def rejected(runs: Sequence[RunWindows]) -> tuple[dict[str, str], str]:
    """Return why runs are rejected, by their name, and why the rule is not applied at all ("" where it is).

    The rule is for runs at one steady speed on one road.
    """
    moving = [run for run in runs if run.kept_s and math.isfinite(run.means["speed_m_s"])]
    speeds = np.array([run.means["speed_m_s"] for run in moving])
    if speeds.size < _LEAST_RUNS:
        return {}, "fewer than four runs"
    middle = float(np.median(speeds))
    if not middle > 0 or float(np.median(np.abs(speeds / middle - 1))) > _STEADY:
        return {}, "the runs are not at one steady speed"
    if float(np.median([run.means.get("standing_s", 0.0) for run in moving])) > MOST_STANDING_S / 2:
        return {}, "stops belong to these runs"
    reasons: dict[str, list[str]] = {}
    for run, speed in zip(moving, speeds.tolist(), strict=True):
        standing = run.means.get("standing_s", 0.0)
        kept = run.kept_share
        if abs(speed / middle - 1) > MOST_OFF_SPEED:
            reasons.setdefault(run.name, []).append(f"mean speed {100 * (speed / middle - 1):+.0f} % off the median")
        if standing > MOST_STANDING_S:
            reasons.setdefault(run.name, []).append(f"the vehicle stands or creeps for {standing:.0f} s")
        if kept < LEAST_KEPT and run.known_share > LEAST_KEPT:
            reasons.setdefault(run.name, []).append(f"only {100 * kept:.0f} % of its rows are left")
    return {name: ", ".join(why) for name, why in reasons.items()}, ""


def at_steady_speed(runs: Sequence[RunWindows]) -> bool:
    """Return whether the runs are driven at one steady speed without stops, as the rule needs them."""
    return not rejected(runs)[1]


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
