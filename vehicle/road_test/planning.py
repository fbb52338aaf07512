"""How many pairs of runs a road test needs, what a number of pairs can show, and in which order to drive them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vehicle.problems import InputError, Problem

DEFAULT_SPREAD = 0.04
DEFAULT_SPREAD_WORDS = (
    "an assumption without a source: weighing the fuel reaches about 1 % (SAE J1321, scope), an engine log on an open "
    "road is worse; your own logs tell it with --runs"
)
MOST_PAIRS = 100_000


@dataclass(frozen=True)
class PlannedRun:
    """One drive of the plan: its place in the order, its block of four and pair, the state, and the direction."""

    number: int
    block: int
    pair: int
    state: str
    direction: str

    def as_dict(self) -> dict[str, int | str]:
        """Return the run as data, for `--json`."""
        return {
            "run": self.number,
            "block": self.block,
            "pair": self.pair,
            "state": self.state,
            "direction": self.direction,
        }


def power_of_pairs(effect: float, spread: float, pairs: int, level: float = 0.95) -> float:
    """Return the chance that a paired t-test on `pairs` pairs shows an `effect`, both as shares of the fuel.

    `spread` is the standard deviation of the difference within a pair. Exact, from the noncentral t distribution.
    """
    from scipy.special import nctdtr, stdtr, stdtrit

    if pairs < 2:
        return 0.0
    freedom = pairs - 1
    limit = float(stdtrit(freedom, 0.5 + level / 2))
    shift = abs(effect) / spread * np.sqrt(pairs)
    if shift > 37:  # beyond what the series can sum; certain
        return 1.0
    upper = 1.0 - float(nctdtr(freedom, shift, limit))
    lower = float(nctdtr(freedom, shift, -limit)) if shift < 5 else 0.0
    return upper + lower if shift > 0 else 2 * float(stdtr(freedom, -limit))


def pairs_needed(effect: float, spread: float, power: float = 0.8, level: float = 0.95) -> int:
    """Return the least number of pairs with which a paired t-test shows `effect` with the chance `power`.

    Raises InputError where effect or spread is not above zero, or more than 100 000 pairs would be needed.
    """
    if not (np.isfinite(effect) and abs(effect) > 0):
        raise InputError(Problem("effect", "", f"{effect:g}", 'an effect other than zero, such as "4 %"'))
    if not (np.isfinite(spread) and spread > 0):
        raise InputError(Problem("spread", "", f"{spread:g}", 'a spread above zero, such as "3 %"'))
    low, high = 1, 2
    while power_of_pairs(effect, spread, high, level) < power:
        low, high = high, high * 2
        if high > MOST_PAIRS:
            raise InputError(
                Problem(
                    "effect",
                    "",
                    f"{100 * effect:.3g} % with a spread of {100 * spread:.3g} %",
                    f"an effect that {MOST_PAIRS} pairs could show",
                )
            )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power_of_pairs(effect, spread, middle, level) >= power else (middle, high)
    return high


def smallest_effect(spread: float, pairs: int, power: float = 0.8, level: float = 0.95) -> float:
    """Return the smallest effect (share of the fuel) that `pairs` pairs show with the chance `power`."""
    if pairs < 2:
        return float("inf")
    low, high = 0.0, spread
    while power_of_pairs(high, spread, pairs, level) < power:
        high *= 2
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if power_of_pairs(middle, spread, pairs, level) >= power else (middle, high)
    return high


def driving_order(
    pairs: int, states: Sequence[str] = ("working", "stowed"), seed: int | None = None
) -> tuple[PlannedRun, ...]:
    """Return the runs in blocks of four, A B B A or B A A B by lot, out and back on the same road.

    Runs 1 and 3 of a block go out, 2 and 4 come back, so that no leg is driven for nothing; a pair is the two runs of
    one direction. A drift that is even over a block (warming up, wind dying down) cancels in it. `pairs` is rounded
    up to even.
    """
    draw = np.random.default_rng(seed)
    first, second = states
    runs: list[PlannedRun] = []
    blocks = (pairs + 1) // 2
    # half of the blocks begin with each state, in random order, so that neither state gets the cooler hours
    starts = np.resize([0, 1], blocks)
    if blocks % 2 and draw.random() < 0.5:
        starts = 1 - starts
    draw.shuffle(starts)
    for block, start in enumerate(starts.tolist(), 1):
        a, b = (first, second) if start == 0 else (second, first)
        for place, (state, direction) in enumerate(((a, "out"), (b, "back"), (b, "out"), (a, "back"))):
            runs.append(PlannedRun(len(runs) + 1, block, 2 * block - 1 + place % 2, state, direction))
    return tuple(runs)
