"""The logs of a road test, read as its list of runs (`runs.toml`) says, and cut into windows for the comparison."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.logs.text import headers_of
from vehicle.problems import InputError, Problem
from vehicle.recording.schedule import COSTLY_RUNS, relative_runs
from vehicle.road_test.run_list import Manifest
from vehicle.road_test.windows import RunWindows, common_source, runs_of_states, windows_of

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
        columns = {**test.columns, **run.columns}
        key = (run.path, repr(columns))
        try:
            if key not in seen:
                seen[key] = read(run.path, present(run.path, columns, run.columns), test.path.name)
        except InputError as error:
            problems.extend(problem for problem in error.problems if problem not in problems)
        if progress is not None:
            progress((number + 1) / len(test.runs))
    if problems:
        raise InputError(problems)
    return seen


def windows_of_runs(
    test: Manifest, *, read: Reader = read_one, progress: Callable[[float], None] | None = None
) -> tuple[list[RunWindows], bool, tuple[str, ...]]:
    """Return the windows of every run of a test, whether litres are absolute, and in words how the fuel was found.

    `read` and `progress` are those of `logs_of`. Raises InputError with the faults of all logs, or where they share no
    source of fuel.
    """
    if not test.runs:
        raise InputError(Problem(test.path.name, "runs", "every run is left out", "at least one run to look at"))
    seen = logs_of(test, read=read, progress=progress)
    logs = [seen[run.path, repr({**test.columns, **run.columns})] for run in test.runs]
    fuel = common_source(list(seen.values()), test.engine)
    flows = {id(log): flow for log, flow in zip(seen.values(), fuel.flows, strict=True)}
    runs = [
        windows_of(log, flows[id(log)], part)
        for log, run in zip(logs, test.runs, strict=True)
        for part in runs_of_states(run, log)
    ]
    if runs:
        said = (*concerns_of(seen.values()), *cost_of_rate(seen.values()))
        runs[0] = replace(runs[0], warnings=(*said, *runs[0].warnings))
    return runs, fuel.absolute, (f"fuel from {fuel.source}", *flows[id(logs[0])].words)


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
    found = [f"{names[0] if len(names) == 1 else f'{len(names)} logs'}: {text}" for text, names in checks.items()]
    return found + [
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
    paths = {run.path for run in test.runs} if test.columns else set()
    fitting = {key for path in paths for key in present(path, test.columns, ())}
    return [f'[columns] "{key}" is no header of any log' for key in test.columns if key not in fitting]
