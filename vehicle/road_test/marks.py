"""A list of runs (`runs.toml`) as text that is marked by hand: what it says of each run, and what is put over it.

Names of logs are matched by their base name and never used as paths. Editing goes through tomlkit, so that comments,
order and whatever else the list says (engine, vehicle, start and end of a run) stay as they are.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from vehicle.problems import InputError, Problem, shown
from vehicle.road_test.run_list import RUN_KEYS, SAME_KEYS, STATE_WORDS, STATES

RUN_LIST = "runs.toml"
LEFT_OUT = "left out"
LEAST_NAME = "log"
_LONGEST_NAME = 100


@dataclass(frozen=True)
class Marks:
    """What one run is marked as; a text is "" where nothing is said.

    `file` is the base name of its log. `state` is one of `STATES`, `LEFT_OUT`, or "" (then the log has to say it).
    `wind` is what the list says of the wind by speed and where it comes from, `part` of the stretch of the log that the
    run is, `metered` of the fuel or battery energy metered in a run that needs no log; they are shown and not edited.
    """

    file: str
    state: str = ""
    pair: str = ""
    direction: str = ""
    head_wind: str = ""
    wind: str = ""
    part: str = ""
    metered: str = ""


def base_name(path: str) -> str:
    """Return the last part of a path of any system."""
    return re.split(r"[/\\]", path.strip())[-1]


def plain_names(names: Sequence[str]) -> list[str]:
    """Return a file name for each log as it was called, fit for any folder: plain characters, no two alike."""
    result: list[str] = []
    for name in names:
        plain = "".join(c if c.isalnum() or c in " ._-+()" else "_" for c in base_name(name)).strip(" .")
        stem, dot, ending = plain.rpartition(".")
        if not dot or ending.lower() not in ("csv", "txt"):
            stem, ending = plain or LEAST_NAME, "csv"
        stem = stem[:_LONGEST_NAME] or LEAST_NAME
        number, taken = 1, {other.lower() for other in result}
        while (own := f"{stem}{f'_{number}' if number > 1 else ''}.{ending}").lower() in taken:
            number += 1
        result.append(own)
    return result


def marks_of(text: str) -> tuple[Marks, ...]:
    """Return what a list says of each of its runs, in its order. Raises InputError where it is no list of runs."""
    return tuple(_marks(run) for run in _runs(_read(text)))


def says_engine(text: str) -> dict[str, str]:
    """Return what a list says of the engine ("fuel", "displacement"), as texts. Raises InputError for no TOML."""
    data = _read(text)
    said: dict[str, str] = {}
    for table in ("vehicle", "engine"):
        entries = data.get(table)
        if isinstance(entries, dict):
            said |= {key: _text(entries[key]) for key in ("fuel", "displacement") if key in entries}
    return said


def on_battery(text: str) -> bool:
    """Return whether the runs of a list were driven on a battery: some say its energy (a list can be half filled in),
    none says fuel. Raises InputError for no TOML.
    """
    runs = _runs(_read(text))
    return any(_said(run, "energy_used") for run in runs) and not any(_said(run, "fuel_used") for run in runs)


def burnt_fuel(text: str) -> bool:
    """Return whether a list speaks of fuel or an engine: its own, or what a run used. Raises InputError for no TOML."""
    return bool(says_engine(text)) or any(_said(run, "fuel_used") for run in _runs(_read(text)))


def columns_of(text: str, name: str) -> dict[str, str]:
    """Return what a list says of the columns of the log with this base name: of all logs, then of its runs."""
    data = _read(text)
    columns: dict[str, str] = {}
    own = [run.get("columns") for run in _runs(data) if base_name(_said(run, "file")).lower() == name.lower()]
    for table in (data.get("columns"), *own):
        if isinstance(table, dict):
            columns |= {str(header): str(meaning) for header, meaning in table.items()}
    return columns


def _read(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, and an integer with thousands of digits
        raise InputError(
            Problem(RUN_LIST, "", f"not TOML: {error}", "a list of runs, as windtoll record writes it")
        ) from None
    except RecursionError:
        raise InputError(Problem(RUN_LIST, "", "tables nested too deeply", "[[run]] tables")) from None


def _runs(data: Mapping[str, Any]) -> list[Any]:
    """Return the tables of the runs."""
    entries = data.get("run", [])
    entries = [entries] if isinstance(entries, dict) else entries
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise InputError(Problem(RUN_LIST, "run", shown(entries), "one [[run]] table for each run"))
    return entries


def _key_of(run: Mapping[str, Any], name: str) -> str | None:
    """Return the key under which a run says `name`, the last where it says it twice (as `run_list` reads it)."""
    known = [key for key in run if (key if key in RUN_KEYS else SAME_KEYS.get(key, key)) == name]
    if name == "pair" and not known:
        return "block" if "block" in run else None
    return known[-1] if known else None


def _said(run: Mapping[str, Any], name: str) -> str:
    key = _key_of(run, name)
    return "" if key is None else _text(run[key])


def _used(run: Mapping[str, Any]) -> str:
    """Return what a run says that it used: fuel, or battery energy."""
    return _said(run, "fuel_used") or _said(run, "energy_used")


def _text(value: Any) -> str:
    if isinstance(value, dict) and "value" in value:
        value = value["value"]
    return str(value).strip()


def _marks(run: Mapping[str, Any]) -> Marks:
    state = _said(run, "state").lower()
    state = LEFT_OUT if run.get("exclude") is True else STATE_WORDS.get(state, state)
    wind = _said(run, "wind_speed") or _said(run, "wind")
    comes_from = _said(run, "wind_from")
    return Marks(
        base_name(_said(run, "file")),
        state if state in (*STATES, LEFT_OUT) else "",
        _said(run, "pair"),
        _said(run, "direction"),
        _said(run, "head_wind"),
        f"{wind} from {comes_from}" if wind and comes_from else wind,
        " ".join(f"{word} {_said(run, key)}" for word, key in (("from", "start"), ("to", "end")) if _said(run, key)),
        "" if _said(run, "file") else " over ".join(filter(None, (_used(run), _said(run, "distance")))),
    )


def matched(marks: Sequence[Marks], names: Sequence[str]) -> tuple[list[Marks], list[str], list[str]]:
    """Return the runs under the names of the logs that are there, the names that are missing, the logs no run names.

    A run whose log is missing is left out, but for one of which fuel or battery energy was metered and no log is named.
    Case counts only where it tells two logs apart.
    """
    by_lower = {name.lower(): name for name in reversed(names)}
    kept: list[Marks] = []
    missing: list[str] = []
    used: set[str] = set()
    for run in marks:
        there = run.file if run.file in names else by_lower.get(run.file.lower())
        if there is None and run.metered:
            kept.append(run)
            continue
        if there is None:
            if run.state != LEFT_OUT:
                missing.append(run.file or "(no name)")
            kept.append(replace(run, state=LEFT_OUT))
            continue
        used.add(there)
        kept.append(replace(run, file=there))
    return kept, list(dict.fromkeys(missing)), [name for name in names if name not in used]


def marked_by_order(logs: Sequence[tuple[str, Sequence[str]]]) -> tuple[list[Marks], bool]:
    """Return marks to begin with for logs (name, the states that the log itself marks), and whether they fit a plan.

    The state is the log's own, else what the name says, else working and stowed in turn. Where the states come in whole
    blocks A B B A, or A A B B with few changes, as `windtoll plan` draws them, pairs and directions are those of
    such a plan; else two logs that
    follow each other are a pair.
    """
    states, marks = [], []
    for number, (name, own) in enumerate(logs):
        in_name = [state for state in STATES if state in name.lower()]
        by_turn = "stowed" if number % 2 else "working"
        said = in_name[0] if len(in_name) == 1 else by_turn
        states.append(own[0] if len(own) == 1 else "" if own else said)
        marks.append(Marks(name, "" if own else said, str(number // 2 + 1)))
    blocks = [states[k : k + 4] for k in range(0, len(states), 4)]
    planned = bool(blocks) and all(
        len(block) == 4
        and "" not in block
        and (block[0] == block[3] != block[1] == block[2] or block[0] == block[1] != block[2] == block[3])
        for block in blocks
    )
    if planned:
        marks = [
            replace(run, pair=str(2 * (k // 4) + k % 2 + 1), direction="back" if k % 2 else "out")
            for k, run in enumerate(marks)
        ]
    return marks, planned


def with_marks(
    text: str, marks: Sequence[Marks], columns: Mapping[str, str] | None = None, engine: Mapping[str, str] | None = None
) -> str:
    """Return the list with marks put over its runs, in its order; marks beyond them are further runs.

    `columns` are meanings of headers for all logs: they go before what a run says of the same header. `engine` has
    "fuel" and "displacement". What is as the list says it stays as it is written there.
    """
    import tomlkit

    before = marks_of(text)
    document: Any = tomlkit.parse(text)
    if columns:
        _put_in(document, "columns", columns)
    said = says_engine(text)
    changed = {key: value for key, value in (engine or {}).items() if value != said.get(key, "")}
    if changed:
        _put_in(document, "engine", changed)
    for run, was, now in zip(_runs(document), before, marks, strict=False):
        _mark(run, was, now)
        _forget(run, columns or {})
    _add(document, [now for now in marks[len(before) :] if now.state != LEFT_OUT])
    return tomlkit.dumps(document)


def _add(document: Any, further: Sequence[Marks]) -> None:
    """Put further runs at the end of the list, in the way in which it writes its runs."""
    import tomlkit
    from tomlkit.items import AoT, Array

    if isinstance(document.get("run"), Array) and not len(document["run"]):
        del document["run"]  # an empty list in brackets, to which no [[run]] can be added
    if "run" in document and not isinstance(document["run"], AoT | Array):  # one run that stands as a plain table
        alone = document["run"]
        del document["run"]
        document["run"] = tomlkit.aot()
        document["run"].append(alone)
    for now in further:
        if "run" not in document:
            document["run"] = tomlkit.aot()
        table: Any = tomlkit.inline_table() if isinstance(document["run"], Array) else tomlkit.table()
        _mark(table, Marks(""), now)
        document["run"].append(table)


def _put_in(document: Any, name: str, values: Mapping[str, str]) -> None:
    """Put values into a table of the list; "" takes a key away."""
    import tomlkit

    if not isinstance(document.get(name), dict):
        document[name] = tomlkit.table()
    for key, value in values.items():
        for there in [k for k in document[name] if k.strip().lower() == key.strip().lower()]:
            del document[name][there]
        if value:
            document[name][key] = value


def _forget(run: Any, columns: Mapping[str, str]) -> None:
    """Take out of a run's own table of columns what is said of the same headers for all logs."""
    own, corrected = run.get("columns"), {header.strip().lower() for header in columns}
    if isinstance(own, dict):
        for header in [header for header in own if header.strip().lower() in corrected]:
            del own[header]


def _mark(run: Any, was: Marks, now: Marks) -> None:
    if _said(run, "file") != now.file:
        run[_key_of(run, "file") or "file"] = now.file
    if now.state == LEFT_OUT:
        if was.state != LEFT_OUT:
            run["exclude"] = True
    elif now.state != was.state:
        run.pop("exclude", None)
        _put(run, "state", now.state)
    for name in ("pair", "direction", "head_wind"):
        value = getattr(now, name).strip()
        if value != getattr(was, name):
            _put(run, name, value)


def _put(run: Any, name: str, value: str) -> None:
    key = _key_of(run, name) or name
    if value:
        run[key] = value
    else:
        run.pop(key, None)
