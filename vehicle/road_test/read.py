"""The logs of a road test, read as its list of runs (`runs.toml`) says, and cut into windows for the comparison."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vehicle.logs.columns import BY_NAME
from vehicle.logs.fuel_flow import FuelFlow, fuel_flow
from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.logs.text import headers_of
from vehicle.problems import InputError, Problem
from vehicle.recording.schedule import COSTLY_RUNS, relative_runs
from vehicle.road_test.alike import fuel_over_usual, not_alike
from vehicle.road_test.run_list import Manifest, Run
from vehicle.road_test.sources import CommonFuel, SourceError, common_source, level_flow
from vehicle.road_test.windows import RunWindows, runs_of_states, shifts_disturbed, windows_of

Reader = Callable[[Path, Mapping[str, str], str], Log]


def read_one(path: Path, columns: Mapping[str, str], where: str) -> Log:
    """Return one log with its columns as `where` says they are. Raises InputError."""
    return read_log(path, columns, where=where)


def logs_of(
    test: Manifest, *, read: Reader = read_one, progress: Callable[[float], None] | None = None
) -> dict[tuple[Path, str], Log]:
    """Return every log of a test once, by its path and what its columns are said to be.

    `read(path, columns, where)` reads one log; `progress` is called with the share of the runs done, 0 to 1. Raises
    InputError with the faults of all logs.
    """
    problems: list[Problem] = []
    seen: dict[tuple[Path, str], Log] = {}
    for number, run in enumerate(test.runs):
        wanted = [(run.path, {**test.columns, **run.columns}, run.columns)] if run.has_log else []
        wanted += [] if run.control is None else [(run.control, dict(test.columns), {})]
        try:
            for path, columns, own in wanted:
                if (path, repr(columns)) not in seen:
                    seen[path, repr(columns)] = read(path, present(path, columns, own), test.path.name)
        except InputError as error:
            problems.extend(problem for problem in error.problems if problem not in problems)
        if progress is not None:
            progress((number + 1) / len(test.runs))
    if problems:
        raise InputError(problems)
    return seen


@dataclass(frozen=True)
class Drives:
    """The runs of a test, cut into windows, and where their fuel comes from.

    `runs` are what is compared; `whole` the same with their gear shifts kept, where those are shown to be disturbed and
    left out of `runs` (None where they are kept anyway). `words` say how the fuel was found. `logs` are the logs read.
    """

    runs: tuple[RunWindows, ...]
    fuel: CommonFuel
    words: tuple[str, ...]
    whole: tuple[RunWindows, ...] | None
    warnings: tuple[str, ...]
    logs: tuple[Log, ...]


def windows_of_runs(
    test: Manifest, *, read: Reader = read_one, progress: Callable[[float], None] | None = None
) -> Drives:
    """Return the windows of every run of a test, and how the fuel was found.

    `read` and `progress` are those of `logs_of`. Raises InputError with the faults of all logs, or where they share no
    source of fuel.
    """
    if not test.runs:
        raise InputError(Problem(test.path.name, "run", "every run is left out", "at least one run to look at"))
    seen = logs_of(test, read=read, progress=progress)
    logs = [
        seen[run.path, repr({**test.columns, **run.columns})] if run.has_log else _level_log(run) for run in test.runs
    ]
    own = list({id(log): log for log in logs}.values())
    real = [log for log in own if log in seen.values()]
    fuel = _fuel_of(own, test)
    flows = {id(log): flow for log, flow in zip(own, fuel.flows, strict=True)}
    control = _controls(test, seen)
    disturbed = shifts_disturbed(own, fuel.flows)

    def cut(*, shifts_kept: bool) -> tuple[RunWindows, ...]:
        return tuple(
            replace(_cut(log, flows[id(log)], part, shifts_kept=shifts_kept), control=control.get(run.control))
            for log, run in zip(logs, test.runs, strict=True)
            for part in runs_of_states(run, log)
        )

    warnings = [*fuel.passed_over, *concerns_of(seen.values()), *cost_of_rate(real)]
    warnings += _burns_fuel(real, test)
    warnings += fuel_not_alike(logs, [flows[id(log)] for log in logs], test, fuel)
    if disturbed is not None:
        warnings.append(
            f"fuel in gear shifts is {disturbed:.2f} of that around them: they are left out, the answer is that of "
            "driving between gear shifts"
        )
    return Drives(
        cut(shifts_kept=disturbed is None),
        fuel,
        (BATTERY_WORDS,) if test.on_battery else (f"fuel from {fuel.source}", *flows[id(logs[0])].words),
        None if disturbed is None else cut(shifts_kept=True),
        tuple(warnings),
        tuple(real),
    )


BATTERY_WORDS = "battery energy as the display, or a meter at the charger, counted it for each run"


def _burns_fuel(logs: list[Log], test: Manifest) -> list[str]:
    """Return a warning where an engine ran in runs that are judged by battery energy: a hybrid."""
    if not test.on_battery:
        return []
    flows = [fuel_flow(log, test.engine).flow_m3_s for log in logs]
    burning = sum(bool((np.nan_to_num(flow) > 0).any()) for flow in flows)
    if not burning:
        return []
    return [
        f"not like for like: an engine ran in {burning} of {len(logs)} logs, and burnt what the battery did not give; "
        "battery energy alone does not show what the turbine does to such a vehicle"
    ]


def fuel_not_alike(logs: list[Log], flows: list[FuelFlow], test: Manifest, fuel: CommonFuel) -> list[str]:
    """Return in words which runs, or states, take another fuel at the same load than the others: a sensor drifts."""
    whole = all(run.state and run.has_log and run.start_s is None and run.end_s is None for run in test.runs)
    if not whole or not fuel.firm or fuel.source in (METERED, METERED_ENERGY):
        return []
    if (held_against := fuel_over_usual(logs, flows)) is None:
        return []
    against, ratios = held_against
    states = [run.state for run in test.runs]
    odd, gap = not_alike(ratios, [log.name for log in logs], states)
    words = BY_NAME[against].words
    said = [
        f"not like for like: {name} has {100 * off:+.0f} % more fuel at the same {words} than the other runs of its "
        "state: a sensor that reads differently? It is not left out"
        for name, off in odd.items()
    ]
    if gap:
        low, high = sorted(set(states))
        said.append(
            f"not like for like: at the same {words} the runs {high} have {100 * gap:+.0f} % more fuel than those "
            f"{low}; the turbine cannot do that, so a sensor reads differently between them"
        )
    return said


def _level_log(run: Run) -> Log:
    """Return a run of which only distance and time are known as a log at its mean speed, a row a second."""
    import pandas as pd

    assert run.distance_m is not None
    assert run.duration_s is not None
    time_s = np.arange(int(run.duration_s) + 1) * (run.duration_s / int(run.duration_s))
    speed = np.full(time_s.size, run.distance_m / run.duration_s)
    table = pd.DataFrame({"time_s": time_s, "step_s": run.duration_s / time_s.size, "speed_m_s": speed, "quality": 0})
    return Log(run.path.name, table, (), (), (), "the list of runs")


def _cut(log: Log, flow: FuelFlow, run: Run, *, shifts_kept: bool) -> RunWindows:
    """Return a run cut into windows; one without a log has no rows to show."""
    windows = windows_of(log, flow, run, shifts_kept=shifts_kept)
    return windows if run.has_log else replace(windows, rows=0, kept_rows=0, filters=())


METERED = "weighed or metered fuel"
METERED_ENERGY = "metered battery energy"
METERED_ERROR = SourceError(0.01, 0.01, "fuel weighed or metered: ± 1 % (weighing: SAE J1321, scope)")

METERED_ENERGY_ERROR = SourceError(
    0.01,
    0.01,
    "battery energy metered: ± 1 % (own choice, no source). Rounding of the display is in the interval of "
    "the runs. A meter at the charger counts the loss of charging as well: it cancels in percent, and kW and kWh are "
    "then those from the mains",
)


def _fuel_of(logs: list[Log], test: Manifest) -> CommonFuel:
    """Return the fuel of the logs; of runs that were weighed or metered, which need none, level flows at worst.

    Of metered battery energy no log shows the flow.
    """
    if test.on_battery:
        flows = tuple(level_flow(log) for log in logs)
        return CommonFuel(METERED_ENERGY, test.engine, True, flows, (1.0,) * len(flows), METERED_ENERGY_ERROR)
    metered = all(run.fuel_used_m3 is not None for run in test.runs)
    if not all(run.has_log for run in test.runs):
        flows = tuple(level_flow(log) for log in logs)
        return CommonFuel(METERED, test.engine, True, flows, (1.0,) * len(flows), METERED_ERROR)
    try:
        fuel = common_source(logs, test.engine, test.full_load)
    except InputError:
        if not metered:
            raise
        flows = tuple(level_flow(log) for log in logs)
        fuel = CommonFuel("", test.engine, True, flows, (1.0,) * len(flows))
    if not metered:
        return fuel
    return replace(fuel, source=METERED, absolute=True, error=METERED_ERROR, passed_over=())


def _controls(test: Manifest, seen: Mapping[tuple[Path, str], Log]) -> dict[Path | None, RunWindows]:
    """Return the drives of the vehicle that drove along, cut into windows, by the path of their logs."""
    paths = list(dict.fromkeys(run.control for run in test.runs if run.control is not None))
    if not paths:
        return {}
    logs = [seen[path, repr(dict(test.columns))] for path in paths]
    fuel = common_source(logs, test.control_engine or test.engine)
    by_path = {run.control: run for run in test.runs}
    return {
        path: windows_of(log, flow, _of_control(by_path[path], path))
        for path, log, flow in zip(paths, logs, fuel.flows, strict=True)
    }


def _of_control(run: Run, path: Path) -> Run:
    """Return the drive of the vehicle that drove along: its own log, of which nothing was metered."""
    return replace(run, path=path, state="absent", start_s=None, end_s=None, fuel_used_m3=None, energy_used_j=None)


def concerns_of(logs: Iterable[Log]) -> list[str]:
    """Return what deserves a look in logs, each once: what was settled by the numbers, and what was dropped of them."""
    logs = list(logs)
    checks: dict[str, list[str]] = {}
    dropped: dict[str, list[int]] = {}
    for log in logs:
        for text in log.checks:
            checks.setdefault(text, []).append(log.name)
        for repair in log.repairs:
            if repair.sensor:
                dropped.setdefault(repair.what, []).append(repair.count)
    concerns = [f"{names[0] if len(names) == 1 else f'{len(names)} logs'}: {text}" for text, names in checks.items()]
    return concerns + [
        f"{what}: {sum(counts)} values in {len(counts)} of {len(logs)} logs" for what, counts in dropped.items()
    ]


def cost_of_rate(logs: Iterable[Log]) -> list[str]:
    """Return what few rows cost in runs, for the slowest of the logs; nothing where they cost little."""
    rows_s = [float(log.table["time_s"].diff().median()) for log in logs if log.rows > 1]
    if not rows_s or (cost := relative_runs(max(rows_s))) <= COSTLY_RUNS:
        return []
    return [
        f"a row in {max(rows_s):.2g} s: this road test needs about {cost:.1f} times the runs of one with a row in 1.5 s"
        "; record fewer parameters"
    ]


def present(path: Path, columns: Mapping[str, str], own: Container[str]) -> dict[str, str]:
    """Return the meanings of columns that this log has headers for: the test's table serves all logs, a run's `own`
    must fit."""
    return fitting(headers_of(path, columns) if columns else (), columns, own)


def fitting(headers: Iterable[str], columns: Mapping[str, str], own: Container[str] = ()) -> dict[str, str]:
    """Return the meanings of columns that are among the headers of a log, or that are its `own`."""
    have = {header.strip().lower() for header in headers}
    bare = {header.removesuffix("()").strip() for header in have}
    return {key: text for key, text in columns.items() if key in own or key.strip().lower() in have | bare}


def in_no_log(test: Manifest) -> list[str]:
    """Return a warning for each entry of the test's [columns] that fits no log: most likely misspelt."""
    paths = {run.path for run in test.runs if run.has_log} if test.columns else set()
    fitting = {key for path in paths for key in present(path, test.columns, ())}
    return [f'[columns] "{key}" is no header of any log' for key in test.columns if key not in fitting]
