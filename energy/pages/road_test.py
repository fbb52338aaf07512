"""A road test as one self-contained HTML file for a sceptic: every run, every filter, the raw logs, and how to
check it.

Readable without windtoll: it loads nothing, runs no script, and says in plain words how each number is made. All
texts of
the user are escaped.
"""

from __future__ import annotations

import base64
import hashlib
import importlib.metadata
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from markupsafe import Markup

from energy.chain.road_test import RoadTest
from energy.pages.templates import filled
from energy.pictures.road import effect_picture
from energy.words import road_test as words
from vehicle.road_test.rule import rule_words
from vehicle.units import UnitSystem

MOST_ATTACHED_BYTES = 2 * 1024 * 1024
MOST_ATTACHED_IN_ALL = 12 * 1024 * 1024

_EFFECT = (
    "The effect is the mean difference within pairs. Its interval is that of Student's t over pairs: rows of one run "
    "are not independent, runs are. What is uncertain in the slopes is in the interval.",
    "The randomisation test swaps the labels inside pairs in every possible way (or in 9 999 random ways) and counts "
    "how often so large a difference comes out. It assumes nothing of the shape of the scatter.",
)
_BY_FUEL = (
    "Each run gives one number: its mean fuel flow over the rows that the filters leave (table above). No row is "
    "chosen by its fuel.",
    "Each run is brought to the mean speed, acceleration, grade, head wind and coolant temperature of its pair, by "
    "slopes that are learnt inside runs, where the state of the turbine does not change, and by the physics of air "
    "drag.",
)
_BY_BATTERY = (
    "Each run gives one number: the battery energy that was metered for it, over the time that it took. No part of a "
    "run is left out of it.",
    "Each run is brought to the mean speed and head wind of its pair by the physics of air drag.",
)


def method_words(test: RoadTest) -> tuple[str, ...]:
    """Return how the numbers are made, for a reader who checks them."""
    used = test.answer.used
    return (
        *(_BY_FUEL if test.answer.battery is None else _BY_BATTERY),
        *_EFFECT,
        f"The rule for rejecting runs stands on the run sheet before the first run, and is applied before any {used} "
        "is compared.",
    )


@dataclass(frozen=True)
class Attached:
    """A file of the test: its name, size, SHA-256, and its bytes in base64 where they are not too many ("" else)."""

    name: str
    size: str
    digest: str
    data: str


def as_html(test: RoadTest, system: UnitSystem) -> str:
    """Return the page of a road test."""
    picture = effect_picture(test)
    first = words.verdict(test, system)
    return filled(
        "road_test.html",
        title=f"Road test: what the turbine does to the {test.answer.used}",
        verdict=first,
        figure=Markup(picture.svg().decode()),
        figure_title=picture.title,
        cautions=words.CAUTIONS,
        explains=words.explains_words(test, system),
        minds=words.other_warnings(test),
        rule=rule_words(test.answer.used),
        rejected=[f"{name}: {why}" for name, why in test.answer.rejected.runs.items()],
        numbers=words.number_rows(test, system),
        how=words.how_words(test),
        run_columns=words.run_columns(test),
        runs=words.run_rows(test, system),
        left_out=words.left_out_rows(test, system),
        filters=filter_rows(test),
        filter_columns=("log", *filter_columns(test), "rows in all"),
        pair_columns=("pair", test.answer.with_state, test.answer.without_state, "difference"),
        pairs=pair_rows(test),
        by_hand=by_hand(test),
        without=words.without_rows(test),
        method=method_words(test),
        files=attached(test),
        list_text=test.test.path.read_text(encoding="utf-8", errors="replace"),
        version=_version(),
    )


def filter_columns(test: RoadTest) -> list[str]:
    """Return the filters of all runs, in the order in which they are applied."""
    return list(dict.fromkeys(one.what for run in test.drives.runs for one in run.filters))


def filter_rows(test: RoadTest) -> list[tuple[str, ...]]:
    """Return a row for each run: the rows that each filter took (an empty cell: not applied), and the rows in all."""
    rows = []
    for run in test.drives.runs:
        taken = {one.what: str(one.rows) for one in run.filters}
        rows.append((run.name, *(taken.get(what, "") for what in filter_columns(test)), str(run.rows)))
    return rows


def pair_rows(test: RoadTest) -> list[tuple[str, str, str, str]]:
    """Return the adjusted change of each pair with and without against the mean without, and their difference."""
    return [
        (pair, f"{ours:+.2f} %", f"{theirs:+.2f} %", f"{ours - theirs:+.2f} %")
        for pair, ours, theirs in _differences(test)
    ]


def _differences(test: RoadTest) -> list[tuple[str, float, float]]:
    differences = []
    for pair in dict.fromkeys(change.pair for change in test.answer.changes if change.pair):
        own = [change for change in test.answer.changes if change.pair == pair]
        ours = [100 * change.adjusted for change in own if change.state == test.answer.with_state]
        theirs = [100 * change.adjusted for change in own if change.state != test.answer.with_state]
        if ours and theirs:
            differences.append((pair, float(np.mean(ours)), float(np.mean(theirs))))
    return differences


_MORE_THAN_BY_HAND = {
    "fuel": "what is uncertain in the slopes of speed and wind",
    "battery energy": "what is uncertain in the physics of speed and wind, and by what a display rounds off",
}


def by_hand(test: RoadTest) -> str:
    """Return the calculation of the mean difference over the pairs, to be done again by hand; "" without pairs."""
    pairs = _differences(test)
    if len(pairs) < 2:
        return ""
    from scipy.special import stdtrit

    each = np.array([ours - theirs for _, ours, theirs in pairs])
    mean, spread, count = float(each.mean()), float(each.std(ddof=1)), each.size
    error = spread / count**0.5
    t = float(stdtrit(count - 1, 0.5 + test.answer.level / 2))
    return (
        f"By hand: mean of the {count} differences {mean:+.2f} %, standard deviation {spread:.2f} %, over the "
        f"square root "
        f"of {count}: {error:.2f} %. Student's t for {count - 1} degrees of freedom at {100 * test.answer.level:g} %: "
        f"{t:.3f}. Interval {mean - t * error:+.2f} to {mean + t * error:+.2f} %. The interval of the answer "
        f"is wider or "
        f"narrower by {_MORE_THAN_BY_HAND[test.answer.used]}."
    )


def attached(test: RoadTest) -> list[Attached]:
    """Return the list of runs and every raw log, attached up to a bound, each with its SHA-256."""
    paths = [test.test.path]
    paths += [path for run in test.test.runs for path in run.logs]
    files, total = [], 0
    for path in dict.fromkeys(paths):
        content = Path(path).read_bytes()
        fits = len(content) <= MOST_ATTACHED_BYTES and total + len(content) <= MOST_ATTACHED_IN_ALL
        total += len(content) if fits else 0
        data = base64.b64encode(content).decode() if fits else ""
        size = f"{len(content) / 1024:.0f} kB"
        files.append(Attached(path.name, size, hashlib.sha256(content).hexdigest(), data))
    return files


def _version() -> str:
    try:
        return importlib.metadata.version("windtoll")
    except importlib.metadata.PackageNotFoundError:  # run from a checkout that was not installed
        return "(not installed)"
