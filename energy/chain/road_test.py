"""A road test: the comparison of its runs beside the prediction, and what to mind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from energy.chain.prediction import Prediction
from vehicle.problems import InputError, Problem
from vehicle.quantity import Estimate
from vehicle.road_test.comparison import Comparison, compare
from vehicle.road_test.read import Drives, Reader, in_no_log, read_one, windows_of_runs
from vehicle.road_test.run_list import Manifest
from vehicle.road_test.run_quantities import About
from vehicle.road_test.sources import FullLoad, marginal_m3_j, source_word
from vehicle.road_test.windows import RunWindows


@dataclass(frozen=True)
class ComparisonAsked:
    """The state whose effect is asked for, against which (None: stowed if logged, else absent), at which level.

    `full_load` goes before the torque that the list says.
    """

    with_state: str = "working"
    without_state: str | None = None
    level: float = 0.95
    full_load: FullLoad | None = None


@dataclass(frozen=True)
class RoadTest:
    """The comparison of a test's runs, what to mind, where the fuel came from, and what was predicted.

    `whole` is the effect with gear shifts kept, where they were left out. `beyond_words` say what runs cannot remove.
    `test` is the list of runs, `drives` are its logs and windows.
    """

    answer: Comparison
    warnings: tuple[str, ...]
    fuel_words: tuple[str, ...]
    predicted: Prediction | None
    whole: Estimate | None
    beyond_words: str
    test: Manifest
    drives: Drives


def road_test(
    test: Manifest,
    asked: ComparisonAsked | None = None,
    *,
    predict: Callable[[str, str], Prediction | None] = lambda _with, _without: None,
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
    if asked.full_load is not None:
        test = replace(test, full_load=asked.full_load)
    drives = windows_of_runs(test, read=read, progress=reading)
    stowed = any(run.state == "stowed" for run in drives.runs) and with_state != "stowed"
    predicted = predict(with_state, without_state or ("stowed" if stowed else "absent"))
    if predicted is not None:
        _check_one_drive(test, predicted)
    about = _about(test, drives, predicted)

    def compared(runs: tuple[RunWindows, ...]) -> Comparison:
        return compare(
            runs,
            with_state=with_state,
            without_state=without_state,
            level=asked.level,
            predicted=None if predicted is None else predicted.share,
            predicted_error=0.0 if predicted is None else predicted.error,
            about=about,
        )

    answer = compared(drives.runs)
    whole = None if drives.whole is None else compared(drives.whole).effect
    warnings = [*drives.warnings, *answer.warnings, *test.warnings, *in_no_log(test)]
    if not test.fuel_is_named and not test.on_battery and drives.fuel.source != "fuel rate":
        warnings.append(
            f'the fuel is not named, {test.engine.fuel.in_words} is taken ([engine] fuel = "diesel" in the '
            "manifest): litres depend on it, percent does not"
        )
    if predicted is not None:
        warnings += _other_speed(planned_m_s, answer)
    if not about.absolute:
        key = "displacement" if drives.fuel.source != "calculated load" else 'peak_torque = "190 N*m" (or torque_curve)'
        warnings.append(
            f"{key.split(' ')[0].replace('_', ' ')} not given: percent is known, litres are not ([engine] {key} in the "
            "manifest)"
        )
    return RoadTest(answer, tuple(warnings), drives.words, predicted, whole, drives.fuel.error.words, test, drives)


def _check_one_drive(test: Manifest, predicted: Prediction) -> None:
    """Raise InputError where the scenario drives on another source than the one that the runs are judged by."""
    if predicted.on_battery is None or predicted.on_battery == test.on_battery:
        return
    ours, theirs = source_word(test.on_battery), source_word(predicted.on_battery)
    need = "[battery] in the scenario, no [engine]" if test.on_battery else "[engine] in the scenario, no [battery]"
    other = f'energy_used = "3.2 kWh" for every run of {test.path.name}'
    accepted = need if test.on_battery else f"{need}; or {other}"
    read = f"the scenario predicts {theirs}, the runs are judged by {ours}"
    raise InputError(Problem("--scenario", "", read, accepted))


def _about(test: Manifest, drives: Drives, predicted: Prediction | None) -> About:
    fuel = drives.fuel
    load = None
    if predicted is not None and predicted.load_points is not None:
        load = (predicted.load_points, predicted.load_error)
    return About(
        absolute=fuel.absolute,
        firm=fuel.firm,
        load_name=fuel.source if not fuel.firm else "calculated load",
        error=fuel.error,
        drag_n_s2_m2=None if test.road_load is None else test.road_load[2] or None,
        marginal_m3_j=marginal_m3_j(test.engine),
        predicted_load=load if fuel.source == "calculated load" else None,
    )


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
