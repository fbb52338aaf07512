"""The manifest of a road test (`runs.toml`): the vehicle, what the columns of its logs mean, and the runs.

[vehicle]
name = "our van"
mass = "2300 kg"

[engine]
fuel = "diesel"
displacement = "2.0 L"
volumetric_efficiency = 0.82        # where it is known

[columns]                           # only where windtoll does not know a header
"Spd2" = "vehicle speed (mph)"

[directions]                        # where your words for the direction are no compass points
out = "north-east"
back = "south-west"

[[runs]]                            # `windtoll record` appends these, as [[run]]
file = "run_01.csv"
state = "working"                   # absent, stowed or working
pair = 1                            # runs of one pair: same road, same hour
direction = "north"
head_wind = "2 m/s"                 # along the road, a tail wind is negative
temperature = "14 degC"
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from vehicle.logs.fuel_flow import LoggedEngine, fuel_named
from vehicle.problems import InputError, Problem, nearest, shown
from vehicle.units import QuantityError, example, parse

STATES = ("absent", "stowed", "working")
_VEHICLE = {"name": "", "mass": "kg", "coastdown_a": "N", "coastdown_b": "N*s/m", "coastdown_c": "N*s**2/m**2"}
_ENGINE = {"fuel": "", "displacement": "m**3", "volumetric_efficiency": "dimensionless"}
RUN_KEYS = {
    "file": "", "state": "", "pair": "", "block": "", "direction": "", "head_wind": "m/s", "temperature": "K",
    "pressure": "Pa", "route": "", "notes": "", "date": "", "start": "s", "end": "s", "exclude": "", "columns": "",
    "wind": "", "wind_speed": "m/s", "wind_from": "", "vehicle": "", "driver": "", "tyre_pressure": "Pa",
    "displacement": "m**3", "fuel": "", "name": "", "started": "", "protocol": "", "parameters": "",
}  # fmt: skip
_TABLES = dict.fromkeys(("vehicle", "engine", "columns", "directions", "runs", "run", "title", "note", "notes"), "")
SAME_KEYS = {"log": "file", "path": "file", "csv": "file", "turbine": "state", "heading": "direction", "from": "start",
         "until": "end", "to": "end", "note": "notes", "ambient_temperature": "temperature", "headwind": "head_wind",
         "state_of_turbine": "state", "turbine_state": "state"}  # fmt: skip
STATE_WORDS = {"on": "working", "with": "working", "off": "stowed", "without": "absent", "removed": "absent",
                "none": "absent", "feathered": "stowed", "stopped": "stowed", "running": "working"}  # fmt: skip


@dataclass(frozen=True)
class Run:
    """One logged drive. `pair` is the label of its pair or block ("" where it has none); SI, None where unknown.

    `state` is "" where the manifest does not say it: then the log's own column of states has to.
    """

    path: Path
    state: str
    pair: str = ""
    direction: str = ""
    head_wind_m_s: float | None = None
    temperature_k: float | None = None
    pressure_pa: float | None = None
    date: str = ""
    start_s: float | None = None
    end_s: float | None = None
    columns: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Manifest:
    """The runs of a test and what they have in common; `warnings` names what was read and not used."""

    path: Path
    engine: LoggedEngine
    mass_kg: float | None
    road_load: tuple[float, float, float] | None
    columns: Mapping[str, str]
    runs: tuple[Run, ...]
    warnings: tuple[str, ...]
    fuel_is_named: bool = True


def read_manifest(path: Path | str, *, needs_runs: bool = True) -> Manifest:
    """Return the manifest in `path`. Raises InputError naming every fault: unknown states, missing files, bad
    quantities."""
    path = Path(path)
    document = _document(path)
    problems: list[Problem] = []
    warnings: list[str] = []
    vehicle = _table(path, document, "vehicle", problems)
    engine = {**{k: v for k, v in vehicle.items() if k in _ENGINE}, **_table(path, document, "engine", problems)}
    columns = {str(key): str(value) for key, value in _table(path, document, "columns", problems).items()}
    for table, keys, known in (("vehicle", vehicle, {**_VEHICLE, **_ENGINE}), ("engine", engine, _ENGINE)):
        _unknown(path, table, keys, known, problems, warnings)
    _unknown(path, "", document, _TABLES, problems, warnings)
    headings = _headings(path, _table(path, document, "directions", problems), problems)
    entries = _entries(path, document, problems)
    runs: list[Run] = []
    if needs_runs and not entries and not problems:
        problems.append(Problem(path.name, "runs", "no runs", "one [[runs]] table for each run, with file and state"))
    for number, entry in enumerate(entries, 1):
        run = _run(path, number, entry, headings, problems, warnings)
        if run is not None:
            runs.append(run)
    seen: dict[tuple[Path, float | None, float | None], int] = {}
    for number, run in enumerate(runs, 1):
        key = (run.path.resolve(), run.start_s, run.end_s)
        if key in seen:
            problems.append(
                Problem(
                    path.name,
                    f"runs[{number}].file",
                    f"{run.path.name} is run {seen[key]} already",
                    "each run once (or another start and end)",
                )
            )
        seen.setdefault(key, number)
    spec = _engine(path, engine, problems)
    mass = _quantity(path, "vehicle.mass", vehicle.get("mass"), "kg", problems)
    abc = [_quantity(path, f"vehicle.{key}", vehicle.get(key), _VEHICLE[key], problems)
           for key in ("coastdown_a", "coastdown_b", "coastdown_c")]  # fmt: skip
    if problems:
        raise InputError(problems)
    load = (abc[0] or 0.0, abc[1] or 0.0, abc[2] or 0.0) if any(value is not None for value in abc) else None
    return Manifest(path, spec, mass, load, columns, tuple(runs), tuple(dict.fromkeys(warnings)), "fuel" in engine)


def _entries(path: Path, document: Mapping[str, Any], problems: list[Problem]) -> list[dict[str, Any]]:
    """Return the tables of the runs, those written by hand ([[runs]]) before those of the recorder ([[run]])."""
    found: list[dict[str, Any]] = []
    for name in ("runs", "run"):
        entries = document.get(name, [])
        entries = [entries] if isinstance(entries, dict) else entries
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            problems.append(Problem(path.name, name, shown(entries), f"one [[{name}]] table for each run"))
            continue
        found += entries
    return found


def _headings(path: Path, table: Mapping[str, Any], problems: list[Problem]) -> dict[str, float]:
    """Return degrees from north for the user's own words for a direction."""
    found: dict[str, float] = {}
    for word, text in table.items():
        bearing = _bearing(text)
        if bearing is None:
            problems.append(Problem(path.name, f"directions.{word}", shown(text), '"north-east", "WNW" or "290 deg"'))
        else:
            found[word.strip().lower()] = bearing
    return found


def _document(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise InputError(Problem(str(path), "", "no such file", "a manifest of runs (runs.toml)")) from None
    except IsADirectoryError:
        raise InputError(Problem(str(path), "", "a folder", "a manifest file such as runs.toml in it")) from None
    except OSError as error:
        raise InputError(Problem(str(path), "", f"cannot be read ({error.strerror})", "a TOML file")) from None
    except UnicodeDecodeError:
        raise InputError(Problem(path.name, "", "not UTF-8 text", "a TOML file in UTF-8")) from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(Problem(path.name, "", f"not TOML: {error}", "see `windtoll compare --help`")) from None


def _table(path: Path, document: Mapping[str, Any], name: str, problems: list[Problem]) -> dict[str, Any]:
    table = document.get(name, {})
    if not isinstance(table, dict):
        problems.append(Problem(path.name, name, shown(table), f"a table [{name}]"))
        return {}
    return dict(table)


def _unknown(
    path: Path, where: str, keys: Mapping[str, Any], known: Mapping[str, str], problems: list[Problem],
    warnings: list[str]
) -> None:  # fmt: skip
    for key in keys:
        if key in known:
            continue
        # only what is surely a typing error is refused: notes of the driver may stand under any other name
        near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.78)
        if near:
            problems.append(Problem(path.name, f"{where}.{key}".lstrip("."), "unknown key", f"do you mean {near[0]}?"))
        else:
            warnings.append(f"{where}.{key}".lstrip(".") + f" in {path.name} is not used")


def _quantity(path: Path, key: str, value: object, unit: str, problems: list[Problem]) -> float | None:
    if value is None:
        return None
    if isinstance(value, dict) and "value" in value:  # an uncertain quantity, as scenarios write it
        value = value["value"]
    if isinstance(value, (int, float)) and not isinstance(value, bool) and unit == "dimensionless":
        return float(value)
    if not isinstance(value, str):
        problems.append(Problem(path.name, key, shown(value), example(unit)))
        return None
    try:
        return parse(value, unit)
    except QuantityError as error:
        problems.append(Problem(path.name, key, str(error), example(unit)))
        return None


_POINTS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")


def _bearing(text: object) -> float | None:
    """Return degrees from north of "WNW", "north west" or "290 deg"; None for anything else ("out", "back")."""
    word = re.sub(r"[\s_-]|bound", "", str(text).lower())
    for name, letter in (("north", "n"), ("east", "e"), ("south", "s"), ("west", "w")):
        word = word.replace(name, letter)
    if word in _POINTS:
        return 22.5 * _POINTS.index(word)
    try:
        return parse(str(text), "deg") % 360
    except QuantityError:
        return None


def _head_wind(
    path: Path, where: str, table: Mapping[str, Any], headings: Mapping[str, float], problems: list[Problem],
    warnings: list[str],
) -> float | None:  # fmt: skip
    """Return the wind along the road, from its speed, where it comes from and the direction driven, or None."""
    key = "wind_speed" if "wind_speed" in table else "wind"
    if not table.get(key):
        return None
    speed = _quantity(path, f"{where}.{key}", table[key], "m/s", problems)
    if not speed:
        return speed  # calm, or a problem told of
    direction = str(table.get("direction", "")).strip()
    comes_from, heading = _bearing(table.get("wind_from", "")), headings.get(direction.lower(), _bearing(direction))
    if comes_from is None:
        warnings.append(
            f'the wind of some runs is not used: wind_from = "west" (or an angle) is missing in {path.name}'
        )
        return None
    if heading is None:
        said = f"[directions] {direction} = " if re.fullmatch(r"[\w-]+", direction) else "[directions] out = "
        warnings.append(
            f"the wind of some runs is not used: {path.name} does not say where "
            f'{shown(direction) if direction else "the run"} leads: {said}"north-east"'
        )
        return None
    return speed * math.cos(math.radians(comes_from - heading))


def _engine(path: Path, table: Mapping[str, Any], problems: list[Problem]) -> LoggedEngine:
    fuel = LoggedEngine().fuel
    if "fuel" in table:
        try:
            fuel = fuel_named(str(table["fuel"]), f"{path.name}: engine.fuel")
        except InputError as error:
            problems.extend(error.problems)
    displacement = _quantity(path, "engine.displacement", table.get("displacement"), "m**3", problems)
    if displacement is not None and not 5e-5 <= displacement <= 0.03:
        problems.append(Problem(path.name, "engine.displacement", f"{displacement * 1000:.3g} L", "0.05-30 L"))
    efficiency = _quantity(path, "engine.volumetric_efficiency", table.get("volumetric_efficiency"), "dimensionless",
                           problems)  # fmt: skip
    if efficiency is not None and not 0.2 <= efficiency <= 2.0:
        problems.append(Problem(path.name, "engine.volumetric_efficiency", f"{efficiency:g}", "0.2-2, such as 0.8"))
    return LoggedEngine(displacement, fuel, efficiency)


def _run(
    path: Path, number: int, entry: Mapping[str, Any], headings: Mapping[str, float], problems: list[Problem],
    warnings: list[str],
) -> Run | None:  # fmt: skip
    where = f"runs[{number}]"
    table: dict[str, Any] = {}
    for key, value in entry.items():
        table[SAME_KEYS.get(key, key) if key not in RUN_KEYS else key] = value
    _unknown(path, where, table, RUN_KEYS, problems, warnings)
    if table.get("exclude") is True:
        warnings.append(f"{where} ({table.get('file')}) is left out as the manifest says")
        return None
    before = len(problems)
    file = table.get("file")
    if not isinstance(file, str) or not file.strip():
        problems.append(
            Problem(path.name, f"{where}.file", "missing" if file is None else shown(file), "the log's name")
        )
        return None
    log = path.parent / file
    if not log.exists():
        beside = [entry.name for entry in log.parent.glob("*.csv")] if log.parent.is_dir() else []
        near = nearest(log.name, beside)
        problems.append(
            Problem(
                path.name,
                f"{where}.file",
                f"{file}: no such file",
                f"a log beside the manifest{f', perhaps {near}' if near else ''}",
            )
        )
    state = str(table.get("state", "")).strip().lower()
    state = STATE_WORDS.get(state, state)
    if state not in STATES and "state" in table:
        near = nearest(state, STATES) if state else None
        read = shown(table["state"])
        problems.append(Problem(path.name, f"{where}.state", read, ", ".join(STATES) + (f" ({near}?)" if near else "")))
    pair = table.get("pair", table.get("block", ""))
    if isinstance(pair, (dict, list)):
        problems.append(Problem(path.name, f"{where}.pair", shown(pair), "a number or a word"))
    numbers = {
        key: _quantity(path, f"{where}.{key}", table.get(key), RUN_KEYS[key], problems)
        for key in ("temperature", "pressure", "start", "end")
    }
    wind = table.get("head_wind")
    head_wind = _quantity(path, f"{where}.head_wind", wind, "m/s", problems)
    if head_wind is None:
        head_wind = _head_wind(path, where, table, headings, problems, warnings)
    columns = table.get("columns", {})
    if not isinstance(columns, dict):
        problems.append(
            Problem(path.name, f"{where}.columns", shown(columns), 'a table such as {"Spd" = "vehicle speed (mph)"}')
        )
        columns = {}
    if len(problems) > before:
        return None
    return Run(log, state, str(pair), str(table.get("direction", "")).strip().lower(), head_wind,
    numbers["temperature"],
               numbers["pressure"], str(table.get("date", table.get("started", ""))), numbers["start"], numbers["end"],
               {str(key): str(value) for key, value in columns.items()})  # fmt: skip
