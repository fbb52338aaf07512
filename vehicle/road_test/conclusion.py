"""What a comparison of runs is told as: its conclusion, whether a prediction agrees, what else differed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Literal

import numpy as np

from vehicle.quantity import Estimate
from vehicle.road_test.effect import RunLevelEffect
from vehicle.road_test.planning import HEAVIER, HEAVIER_UNSTEADY, chance_on_the_road, pairs_needed
from vehicle.road_test.rule import at_steady_speed
from vehicle.road_test.sources import source_word
from vehicle.road_test.windows import RunWindows

Conclusion = Literal["costs", "saves", "no effect larger than", "cannot tell"]


@dataclass(frozen=True)
class Design:
    """The runs that are compared: `words` is "within pairs" or "two groups" (then no run has a pair)."""

    with_state: str
    without_state: str
    runs: tuple[RunWindows, ...]
    words: str
    pairs: int

    @cached_property
    def treated(self) -> np.ndarray:
        """Which runs are those with (runs,)."""
        return np.array([run.state == self.with_state for run in self.runs])

    @cached_property
    def blocks(self) -> np.ndarray:
        """Pair of each run (runs,)."""
        return np.array([run.pair for run in self.runs])

    @property
    def on_battery(self) -> bool:
        """Whether the runs are judged by metered battery energy."""
        return all(run.on_battery for run in self.runs)

    @property
    def used(self) -> str:
        """What the runs are judged by, in words."""
        return source_word(self.on_battery)

    @property
    def runs_with(self) -> int:
        """Number of runs with."""
        return int(self.treated.sum())

    @property
    def runs_without(self) -> int:
        """Number of runs without."""
        return int((~self.treated).sum())


def concluded(
    effect: RunLevelEffect, design: Design, target: float, *, named: bool
) -> tuple[Conclusion, str, int | None]:
    """Return the conclusion ("costs", "saves", "no effect larger than", "cannot tell"), its sentence, and how many more
    pairs would tell.

    `effect` is a share of the fuel (or battery energy), `target` the share that is worth telling; `named` where that is
    a prediction.
    """
    change = effect.change
    subject = f"{design.with_state.capitalize()} compared with {design.without_state}"
    if change.low is None or change.high is None or effect.pair_spread is None:
        return "cannot tell", f"{subject}: {_too_few(change, design)}.", None
    percent = f"{round(100 * change.level)} %"
    half = f"{100 * 0.5 * (change.high - change.low):.1f} %"
    if change.low > 0:
        return "costs", f"{subject}: costs {100 * change.estimate:.1f} % ± {half} more {design.used} ({percent}).", None
    if change.high < 0:
        saved = f"saves {-100 * change.estimate:.1f} % ± {half} of the {design.used} ({percent})"
        return "saves", f"{subject}: {saved}.", None
    bound = max(-change.low, change.high)
    seen = f"{100 * change.estimate:+.1f} % ± {half}"
    if bound <= target:
        most = f"no effect larger than {100 * bound:.1f} %"
        words = f"{subject}: {most}, anything larger can be excluded at {percent} ({seen})."
        return "no effect larger than", words, None
    heavier = HEAVIER if at_steady_speed(design.runs) else HEAVIER_UNSTEADY
    chance = partial(chance_on_the_road, heavier=heavier)
    need = pairs_needed(target, max(effect.pair_spread, 1e-6), 0.8, change.level, chance)
    have = design.pairs if design.words == "within pairs" else min(design.runs_with, design.runs_without)
    more = max(1, need - have)
    aim = f"the predicted {100 * target:.1f} %" if named else f"an effect of {100 * target:.0f} %"
    words = (
        f"{subject}: too close to call ({seen}, {percent}): {more} more pair{'s' if more > 1 else ''} needed to show "
        f"{aim} with a chance of 80 %."
    )
    return "cannot tell", words, more


def load_words(conclusion: str, words: str, points: Estimate, share: Estimate, design: Design, load_name: str) -> str:
    """Return the sentence of a conclusion on load: in points, and as a share of the load."""
    subject = f"{design.with_state.capitalize()} compared with {design.without_state}"
    if conclusion not in ("costs", "saves") or points.low is None or points.high is None:
        return words.replace(f"{subject}:", f"{subject}, on {load_name}:", 1)
    half = f"{0.5 * (points.high - points.low):.2f}"
    verb = "raises" if conclusion == "costs" else "lowers"
    return (
        f"{subject}: {verb} the {load_name} by {abs(points.estimate):.2f} points ± {half} "
        f"({round(100 * points.level)} %), {100 * abs(share.estimate):.1f} % of the load."
    )


def _too_few(change: Estimate, design: Design) -> str:
    few = (
        f"{design.runs_with} run{'s' if design.runs_with != 1 else ''} {design.with_state} and "
        f"{design.runs_without} {design.without_state}"
    )
    return (
        f"no conclusion: {few} {'show' if len(design.runs) > 2 else 'give'} one difference "
        f"({100 * change.estimate:+.1f} %), but not how much two equal runs differ; drive at least two "
        "pairs, better six"
    )


_ONLY_ON = {  # what makes a prediction miss on one kind of drive alone
    "fuel": "a marginal efficiency other than the model's; filling that changes with load, where fuel comes from "
    "manifold pressure",
    "battery energy": "an efficiency of the drive other than the model's; heating or cooling that was not the same in "
    "every run",
}


def agreement_words(
    effect: Estimate, predicted: float | None, error: float, unit: str = "%", used: str = "fuel"
) -> str:
    """Return what the measurement says of a prediction with its half-width `error`, "" where nothing is predicted."""
    if predicted is None:
        return ""
    said = f"predicted {100 * predicted:+.1f} {unit}" + (f" ± {100 * error:.1f} {unit}" if error else "")
    if effect.low is None or effect.high is None:
        return f"{said}: no interval to hold it against."
    if predicted + error < effect.low or predicted - error > effect.high:
        more = "more" if effect.estimate > predicted else "less"
        return (
            f"{said}: disagrees with the measurement, which shows {more}. What could explain it: wind or traffic that "
            "was not the same for both states; a rotor that turned at another speed or pitch than assumed; drag of "
            f"frame and mast; {_ONLY_ON[used]}."
        )
    if effect.low <= 0 <= effect.high and predicted:
        return f"{said}. The measurement is too rough to confirm or to exclude it."
    if effect.low <= predicted <= effect.high:
        return f"{said}: agrees with the measurement (inside its {100 * effect.level:.0f} % interval)."
    return f"{said}: agrees with the measurement (the two ranges overlap)."


def confounding(design: Design, *, controlled: bool = False) -> list[str]:
    """Return what else than the turbine differs between the two groups, in words."""
    concerns = [*_apart(design), *_mixed_pairs(design), *_conditions_apart(design), *_always_first(design)]
    return [*concerns, *([] if controlled else _behind_others(design))]


_LEAST_BEHIND = 0.05


def _behind_others(design: Design) -> list[str]:
    """Return in words that one state drove behind other vehicles more than the other, by the ticks of the list."""
    behind = [_known(_group(design, treated), "vehicle_ahead") for treated in (True, False)]
    if not behind[0].size or not behind[1].size:
        return []
    ours, theirs = float(behind[0].mean()), float(behind[1].mean())
    if abs(ours - theirs) <= _LEAST_BEHIND:
        return []
    return [
        f"a vehicle ahead for {100 * ours:.0f} % of the driving {design.with_state} and {100 * theirs:.0f} % "
        f"{design.without_state}: its slipstream saves {design.used}, and is part of the difference"
    ]


def _apart(design: Design) -> list[str]:
    """Return in words that the groups have no direction, or no day, in common."""
    concerns = []
    by: tuple[tuple[str, Callable[[RunWindows], str]], ...] = (
        ("in one direction", lambda run: run.direction),
        ("on one day", lambda run: run.date[:10]),
    )
    for label, get in by:
        ours = {get(run) for run in design.runs if run.state == design.with_state} - {""}
        theirs = {get(run) for run in design.runs if run.state != design.with_state} - {""}
        if ours and theirs and not ours & theirs:
            concerns.append(
                f"confounded: all {design.with_state} runs are {label} ({', '.join(sorted(ours))}) and all "
                f"{design.without_state} runs on another ({', '.join(sorted(theirs))}): the difference may be that of "
                f"{label.split()[-1]}s"
            )
    return concerns


def _mixed_pairs(design: Design) -> list[str]:
    by_pair: dict[str, set[str]] = {}
    for run in design.runs:
        if run.pair and run.direction:
            by_pair.setdefault(run.pair, set()).add(run.direction)
    mixed = [pair for pair, directions in by_pair.items() if len(directions) > 1]
    if not design.pairs or not mixed or _balanced(design):
        return []
    return [f"pairs {', '.join(sorted(mixed)[:6])} hold runs in different directions, not balanced between states"]


def _balanced(design: Design) -> bool:
    balance: dict[str, int] = {}
    for run in design.runs:
        if run.direction:
            balance[run.direction] = balance.get(run.direction, 0) + (1 if run.state == design.with_state else -1)
    return not any(balance.values())


# condition, its name, the least difference of means that is told, factor and unit for the eye
_CONDITIONS = (
    ("speed_m_s", "speed", 0.6, 3.6, "km/h"),
    ("temperature_k", "air temperature", 4.0, 1.0, "K"),
    ("head_wind_m_s", "head wind", 1.0, 1.0, "m/s"),
    ("coolant_k", "coolant temperature", 4.0, 1.0, "K"),
    # a few hundredths of the pressure: of the rolling resistance some percent (from memory)
    ("tyre_pressure_pa", "tyre pressure", 0.09e5, 1e-5, "bar"),
)
_ERROR_INSIDE = ("speed_m_s", "head_wind_m_s")
_LEAST_SHARE_OF_SPEED = 0.02


def _conditions_apart(design: Design) -> list[str]:
    """Return in words which mean conditions differ between the groups."""
    concerns = []
    for key, name, least, scale, unit in _CONDITIONS:
        ours, theirs = (_known(group, key) for group in (_group(design, True), _group(design, False)))
        if not ours.size or not theirs.size:
            continue
        gap = float(ours.mean() - theirs.mean())
        if key == "speed_m_s":
            least = max(least, _LEAST_SHARE_OF_SPEED * float(theirs.mean()))
        if abs(gap) > least:
            concerns.append(
                f"{name} differs: {design.with_state} runs {gap * scale:+.1f} {unit} against "
                f"{design.without_state} runs"
                + (" (adjusted for; the error of that is in the interval)" if key in _ERROR_INSIDE else "")
            )
    return concerns


def _group(design: Design, treated: bool) -> list[RunWindows]:
    return [run for run in design.runs if (run.state == design.with_state) == treated]


def _known(runs: Sequence[RunWindows], key: str) -> np.ndarray:
    values = np.array([run.means.get(key, math.nan) for run in runs], dtype=float)
    return values[np.isfinite(values)]


def _always_first(design: Design) -> list[str]:
    """Return in words that one state comes first in every pair of two."""
    by_pair: dict[str, list[str]] = {}
    for run in design.runs:
        if run.pair:
            by_pair.setdefault(run.pair, []).append(run.state)
    firsts = [states[0] for states in by_pair.values() if len(states) == 2]
    if len(firsts) < 3 or len(set(firsts)) != 1:
        return []
    return [
        f"in every pair the {firsts[0]} run comes first in the list: a drift (warming up, wind, traffic) would "
        "look like an effect; alternate the order, as `windtoll plan` does"
    ]
