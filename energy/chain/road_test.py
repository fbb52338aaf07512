"""A road test: the comparison of its runs beside the prediction, and what to mind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from vehicle.road_test.comparison import Comparison, compare
from vehicle.road_test.read import Reader, in_no_log, read_one, windows_of_runs
from vehicle.road_test.run_list import Manifest


@dataclass(frozen=True)
class ComparisonAsked:
    """The state whose effect is asked for, against which (None: stowed if logged, else absent), at which level."""

    with_state: str = "working"
    without_state: str | None = None
    level: float = 0.95


@dataclass(frozen=True)
class RoadTest:
    """The comparison of a test's runs, what to mind, where the fuel came from, and what was predicted.

    `predicted` is the effect and its half-width as shares of the fuel (0.04: 4 % more), None where nothing was.
    """

    answer: Comparison
    warnings: tuple[str, ...]
    fuel_words: tuple[str, ...]
    predicted: tuple[float, float] | None


def road_test(
    test: Manifest,
    asked: ComparisonAsked | None = None,
    *,
    predict: Callable[[str, str], tuple[float, float] | None] = lambda _with, _without: None,
    planned_m_s: float | None = None,
    read: Reader = read_one,
    progress: Callable[[float], None] | None = None,
) -> RoadTest:
    """Return what a state of the turbine does in the runs of a test, against another.

    `predict(with_state, without_state)` gives the effect expected and its half-width, `planned_m_s` the road speed that
    it is for, where it is for one. `read` reads one log; `progress` hears the share done, 0 to 1. Raises InputError for
    logs that cannot be read, or runs that cannot be compared.
    """
    asked = asked or ComparisonAsked()
    with_state, without_state = asked.with_state, asked.without_state
    reading = None if progress is None else lambda share: progress(0.9 * share)
    runs, absolute, words = windows_of_runs(test, read=read, progress=reading)
    stowed = any(run.state == "stowed" for run in runs) and with_state != "stowed"
    predicted = predict(with_state, without_state or ("stowed" if stowed else "absent"))
    value, error = predicted if predicted is not None else (None, 0.0)
    answer = compare(
        runs,
        with_state=with_state,
        without_state=without_state,
        level=asked.level,
        predicted=value,
        predicted_error=error,
        absolute=absolute,
    )
    warnings = [*test.warnings, *in_no_log(test), *answer.warnings]
    if not test.fuel_is_named and not words[0].endswith("fuel rate"):
        warnings.append(
            f'the fuel is not named, {test.engine.fuel.name} is taken ([engine] fuel = "diesel" in the '
            "manifest): litres depend on it, percent does not"
        )
    if predicted is not None:
        warnings += _other_speed(planned_m_s, answer)
    if not absolute:
        warnings.append(
            "displacement not given: percent is known, litres are not ([engine] displacement in the manifest)"
        )
    return RoadTest(answer, tuple(warnings), words, predicted)


def _other_speed(planned_m_s: float | None, answer: Comparison) -> list[str]:
    """Return a warning where the prediction is for another speed than the one that was driven."""
    if planned_m_s is None or not at_other_speed(planned_m_s, answer):
        return []  # a schedule has its own mean speed, and its stops
    driven = driven_m_s(answer)
    return [
        f"the prediction is for {planned_m_s * 3.6:.0f} km/h, the runs were driven at {driven * 3.6:.0f} km/h: "
        f'--set trip.road_speed="{driven * 3.6:.0f} km/h" predicts for that'
    ]


def at_other_speed(planned_m_s: float, answer: Comparison) -> bool:
    """Return whether the runs were driven at a speed that a prediction for `planned_m_s` does not serve."""
    return abs(driven_m_s(answer) / max(planned_m_s, 1e-9) - 1) > 0.04


def driven_m_s(answer: Comparison) -> float:
    """Return the mean road speed of the runs that were compared."""
    return sum(run.means["speed_m_s"] for run in answer.runs) / len(answer.runs)
