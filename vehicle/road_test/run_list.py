"""The manifest of a road test (`runs.toml`): the vehicle, what the columns of its logs mean, and the runs.

[vehicle]
name = "our van"
mass = "2300 kg"

[engine]
fuel = "diesel"
displacement = "2.0 L"
volumetric_efficiency = 0.82        # where it is known
peak_torque = "190 N*m"             # or torque_curve = "torque.csv": for litres from calculated load

[columns]                           # only where windtoll does not know a header
"Spd2" = "vehicle speed (mph)"

[directions]                        # where your words for the direction are no compass points
out = "north-east"
back = "south-west"

[[run]]                             # `windtoll record` appends these
file = "run_01.csv"
state = "working"                   # absent, stowed or working
pair = 1                            # runs of one pair: same road, same hour
direction = "north"
head_wind = "2 m/s"                 # along the road, a tail wind is negative
temperature = "14 degC"
gust = "4 m/s"
tyre_pressure = "2.5 bar"           # checked cold, the same for every run
vehicle_ahead = false               # or how much of the run: "20 %"
fuel_used = "1.84 L"                # weighed ("1.37 kg") or metered: the best source of all
# energy_used = "3.2 kWh"           # of a battery vehicle, in its place: its display, or a meter at the charger
distance = "15 km"                  # in place of file where no log was made: with what it used, and duration
duration = "10.5 min"
control = "control_01.csv"          # log of a second vehicle that drove along, always the same and without turbine
"""

from __future__ import annotations

import difflib
import math
import os
import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any, TypeVar

import numpy as np
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, ValidationError

from vehicle.files import read_input
from vehicle.logs.fuel_flow import LoggedEngine, fuel_named
from vehicle.problems import InputError, Problem, nearest, shown
from vehicle.quantity import COVERAGE_FACTOR, FieldError, Spec, read_quantity
from vehicle.road_test.sources import FullLoad
from vehicle.tables import read_table
from vehicle.units import QuantityError, example, parse

MOST_BYTES = 4 * 1024 * 1024
STATES = ("absent", "stowed", "working")
SAME_KEYS = {
    "log": "file",
    "path": "file",
    "csv": "file",
    "turbine": "state",
    "state_of_turbine": "state",
    "turbine_state": "state",
    "heading": "direction",
    "from": "start",
    "until": "end",
    "to": "end",
    "note": "notes",
    "ambient_temperature": "temperature",
    "headwind": "head_wind",
}
STATE_WORDS = {
    "on": "working",
    "with": "working",
    "running": "working",
    "off": "stowed",
    "feathered": "stowed",
    "stopped": "stowed",
    "without": "absent",
    "removed": "absent",
    "none": "absent",
}
_LEAST_TYRE_PA, _MOST_TYRE_PA = 0.5e5, 12e5  # of any road vehicle: common practice, no source
_TYRE = 'the cold pressure, 0.5-12 bar, such as "2.5 bar" or "36 psi"'
_TABLES = ("vehicle", "engine", "control", "columns", "directions", "run", "title", "note", "notes")


def _in_si(value: object, unit: str) -> float:
    """Return what a list says of a quantity, in SI. Raises FieldError."""
    if isinstance(value, dict) and "value" in value:  # an uncertain quantity, as scenarios write it
        value = value["value"]
    if isinstance(value, (int, float)) and not isinstance(value, bool) and unit == "dimensionless":
        return float(value)
    if not isinstance(value, str):
        raise FieldError(shown(value), example(unit))
    try:
        return parse(value, unit)
    except QuantityError as error:
        raise FieldError(str(error), example(unit)) from None


def _quantity(unit: str) -> BeforeValidator:
    return BeforeValidator(lambda value: _in_si(value, unit))


def _displacement(volume_m3: float | None) -> float | None:
    if volume_m3 is not None and not 0.05 <= round(volume_m3 * 1000, 9) <= 30:  # 30 L is 0.03 m³ and a last digit
        raise FieldError(f"{volume_m3 * 1000:.3g} L", "0.05-30 L")
    return volume_m3


def _filling(share: float | None) -> float | None:
    if share is not None and not 0.2 <= share <= 2.0:
        raise FieldError(f"{share:g}", "0.2-2, such as 0.8")
    return share


def _file(value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise FieldError("missing" if value is None else shown(value), "the log's name")
    return value


def _state(value: object) -> str:
    word = str(value).strip().lower()
    word = STATE_WORDS.get(word, word)
    if word not in STATES:
        near = nearest(word, STATES) if word else None
        raise FieldError(shown(value), ", ".join(STATES) + (f" ({near}?)" if near else ""))
    return word


def _share_of_run(value: object) -> float:
    if isinstance(value, bool):
        return 1.0 if value else 0.0
    share = _in_si(value, "dimensionless")
    if not 0 <= share <= 1:
        raise FieldError(shown(value), 'true, false, or how much of the run: "20 %"')
    return share


def _tyre_pressure(value: object) -> float:
    try:
        pressure_pa = _in_si(value, "Pa")
    except FieldError as error:
        raise FieldError(error.read, _TYRE) from None
    if not _LEAST_TYRE_PA <= pressure_pa <= _MOST_TYRE_PA:
        raise FieldError(f"{pressure_pa / 1e5:.3g} bar", _TYRE)
    return pressure_pa


def _label(value: object) -> str:
    if isinstance(value, (dict, list)):
        raise FieldError(shown(value), "a number or a word")
    return str(value)


def _meanings(value: object) -> dict[str, str]:
    if not isinstance(value, dict):
        raise FieldError(shown(value), 'a table such as {"Spd" = "vehicle speed (mph)"}')
    return {str(key): str(meaning) for key, meaning in value.items()}


class _Table(BaseModel):
    """A table of the list. What it does not know is told by `_Reading.unknown`, which is milder than a refusal."""

    model_config = ConfigDict(extra="ignore", frozen=True)


class _EngineTable(_Table):
    fuel: Any = None
    displacement: Annotated[float | None, AfterValidator(_displacement), _quantity("m**3")] = None
    volumetric_efficiency: Annotated[float | None, AfterValidator(_filling), _quantity("dimensionless")] = None
    peak_torque: Any = None
    torque_curve: Any = None


class _VehicleTable(_Table):
    name: Any = None
    mass: Annotated[float | None, _quantity("kg")] = None
    coastdown_a: Annotated[float | None, _quantity("N")] = None
    coastdown_b: Annotated[float | None, _quantity("N*s/m")] = None
    coastdown_c: Annotated[float | None, _quantity("N*s**2/m**2")] = None

    @property
    def road_load(self) -> tuple[float, float, float] | None:
        """A, B and C of the road load in SI, None where nothing is said of it."""
        said = (self.coastdown_a, self.coastdown_b, self.coastdown_c)
        if said == (None, None, None):
            return None
        return (said[0] or 0.0, said[1] or 0.0, said[2] or 0.0)


class _RunTable(_Table):
    file: Annotated[str, BeforeValidator(_file)] = ""
    state: Annotated[str, BeforeValidator(_state)] = ""
    pair: Annotated[str, BeforeValidator(_label)] = ""
    block: Any = None
    temperature: Annotated[float | None, _quantity("K")] = None
    pressure: Annotated[float | None, _quantity("Pa")] = None
    start: Annotated[float | None, _quantity("s")] = None
    end: Annotated[float | None, _quantity("s")] = None
    head_wind: Annotated[float | None, _quantity("m/s")] = None
    gust: Annotated[float | None, _quantity("m/s")] = None
    vehicle_ahead: Annotated[float | None, BeforeValidator(_share_of_run)] = None
    tyre_pressure: Annotated[float | None, BeforeValidator(_tyre_pressure)] = None
    fuel_used: Any = None
    energy_used: Any = None
    distance: Annotated[float | None, _quantity("m")] = None
    duration: Annotated[float | None, _quantity("s")] = None
    control: Annotated[str, BeforeValidator(_file)] = ""
    columns: Annotated[dict[str, str], BeforeValidator(_meanings)] = {}
    direction: Annotated[str, BeforeValidator(lambda value: str(value).strip())] = ""
    date: Annotated[str, BeforeValidator(str)] = ""
    started: Annotated[str, BeforeValidator(str)] = ""
    exclude: Any = None
    # read only where `head_wind` does not say it
    wind: Any = None
    wind_speed: Any = None
    wind_from: Any = ""
    # told to people; nothing is computed from these
    name: Any = None
    notes: Any = None
    route: Any = None
    vehicle: Any = None
    driver: Any = None
    displacement: Any = None
    fuel: Any = None
    protocol: Any = None
    parameters: Any = None


RUN_KEYS = frozenset(_RunTable.model_fields)


@dataclass(frozen=True)
class Run:
    """One drive. `pair` is the label of its pair or block ("" where it has none); SI, None where unknown.

    `state` is "" where the manifest does not say it: then the log's own column of states has to. `vehicle_ahead` is the
    share of the run behind another vehicle, `fuel_used_m3` the fuel of the whole run as weighed or metered,
    `energy_used_j` the energy of its battery as metered (one of the two at most), `energy_step_j` the step in which it
    is written (0 where none can be seen), `control` the log of a second vehicle over the same drive. `distance_m` and
    `duration_s` are those of a run without a log (None where there is one); `path` then has its name alone.
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
    gust_m_s: float | None = None
    vehicle_ahead: float | None = None
    fuel_used_m3: float | None = None
    control: Path | None = None
    distance_m: float | None = None
    duration_s: float | None = None
    tyre_pressure_pa: float | None = None
    energy_used_j: float | None = None
    energy_step_j: float = 0.0

    @property
    def has_log(self) -> bool:
        """Return whether the run was logged."""
        return self.duration_s is None

    @property
    def logs(self) -> tuple[Path, ...]:
        """Return the files of the run: its log and that of the control vehicle, where there are such."""
        return (*([self.path] if self.has_log else []), *([] if self.control is None else [self.control]))


@dataclass(frozen=True)
class Manifest:
    """The runs of a test and what they have in common; `warnings` names what was read and not used.

    `full_load` is the engine's torque at full load where the list says it, `control_engine` that of the vehicle that
    drove along.
    """

    path: Path
    engine: LoggedEngine
    mass_kg: float | None
    road_load: tuple[float, float, float] | None
    columns: Mapping[str, str]
    runs: tuple[Run, ...]
    warnings: tuple[str, ...]
    fuel_is_named: bool = True
    full_load: FullLoad | None = None
    control_engine: LoggedEngine | None = None
    name: str = ""  # of the vehicle, as the list has it

    @property
    def on_battery(self) -> bool:
        """Return whether the runs are judged by metered battery energy."""
        return bool(self.runs) and all(run.energy_used_j is not None for run in self.runs)


_T = TypeVar("_T", bound=_Table)


@dataclass(frozen=True)
class _Reading:
    """A list of runs while it is read, and what is found wrong with it."""

    path: Path
    problems: list[Problem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def problem(self, key: str, read: str, accepted: str) -> None:
        """Tell a fault."""
        self.problems.append(Problem(self.path.name, key, read, accepted))

    def table(self, document: Mapping[str, Any], name: str) -> dict[str, Any]:
        """Return a table of the document, empty where there is none."""
        table = document.get(name, {})
        if not isinstance(table, dict):
            self.problem(name, shown(table), f"a table [{name}]")
            return {}
        return dict(table)

    def unknown(self, where: str, keys: Collection[str], known: Collection[str]) -> None:
        """Refuse what is surely a typing error; notes of the driver may stand under any other name."""
        for key in keys:
            if key in known:
                continue
            near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.78)
            if near:
                self.problem(f"{where}.{key}".lstrip("."), "unknown key", f"do you mean {near[0]}?")
            else:
                self.warnings.append(f"{where}.{key}".lstrip(".") + f" in {self.path.name} is not used")

    def validated(self, model: type[_T], where: str, table: Mapping[str, Any]) -> _T | None:
        """Return a table as its model reads it, or None with every fault told."""
        try:
            return model.model_validate(dict(table))
        except ValidationError as error:
            for fault in error.errors(include_url=False):
                cause = fault.get("ctx", {}).get("error")
                key = f"{where}.{fault['loc'][0]}"
                if isinstance(cause, FieldError):
                    self.problem(key, cause.read, cause.accepted)
                else:
                    self.problem(key, shown(fault["input"]), fault["msg"])
            return None


def read_manifest(path: Path | str, *, needs_runs: bool = True) -> Manifest:
    """Return the manifest in `path`. Raises InputError naming every fault: unknown states, missing files, bad
    quantities."""
    path = Path(path)
    return _manifest(path, _document(path), needs_runs=needs_runs)


def manifest_of(text: str, path: Path, warnings: tuple[str, ...] = ()) -> Manifest:
    """Return the manifest that a text (TOML) makes, as if it stood in `path`; `warnings` go with it. Raises
    InputError.
    """
    manifest = _manifest(path, tomllib.loads(text), needs_runs=True)
    return replace(manifest, warnings=(*warnings, *manifest.warnings))


def _manifest(path: Path, document: dict[str, Any], *, needs_runs: bool) -> Manifest:
    reading = _Reading(path)
    vehicle = reading.table(document, "vehicle")
    of_engine = {key: value for key, value in vehicle.items() if key in _EngineTable.model_fields}
    engine = {**of_engine, **reading.table(document, "engine")}
    columns = {str(key): str(value) for key, value in reading.table(document, "columns").items()}
    reading.unknown("vehicle", vehicle, [*_VehicleTable.model_fields, *_EngineTable.model_fields])
    reading.unknown("engine", engine, list(_EngineTable.model_fields))
    reading.unknown("", document, _TABLES)
    spec = _engine(reading, "engine", engine)
    runs = _runs(reading, document, spec.fuel.density_kg_m3, needs_runs=needs_runs)
    control = reading.table(document, "control")
    reading.unknown("control", control, [*_EngineTable.model_fields, "name"])
    car = reading.validated(_VehicleTable, "vehicle", vehicle)
    full_load = _full_load(reading, engine)
    control_engine = _engine(reading, "control", control)
    if reading.problems or car is None:
        raise InputError(reading.problems)
    warnings = tuple(dict.fromkeys(reading.warnings))
    named = "fuel" in engine
    name = vehicle.get("name")
    name = name if isinstance(name, str) and name.isprintable() else ""
    return Manifest(
        path, spec, car.mass, car.road_load, columns, runs, warnings, named, full_load, control_engine, name
    )


def _runs(reading: _Reading, document: Mapping[str, Any], density_kg_m3: float, *, needs_runs: bool) -> tuple[Run, ...]:
    headings = _headings(reading, reading.table(document, "directions"))
    entries = _entries(reading, document)
    if needs_runs and not entries and not reading.problems:
        reading.problem("run", "no runs", "one [[run]] table for each run, with file and state")
    read = [_run(reading, number, entry, headings, density_kg_m3) for number, entry in enumerate(entries, 1)]
    runs = tuple(run for run in read if run is not None)
    _for_every_run_or_none(reading, runs)
    runs = _one_step(reading, runs)
    seen: dict[tuple[Path, float | None, float | None], int] = {}
    for number, run in enumerate(runs, 1):
        key = (run.path.resolve(), run.start_s, run.end_s)
        if key in seen:
            already = f"{run.path.name} is run {seen[key]} already"
            reading.problem(f"run[{number}].file", already, "each run once (or another start and end)")
        seen.setdefault(key, number)
    return runs


_FOR_EVERY_RUN = {
    "control": "a control log",
    "fuel_used_m3": "weighed or metered fuel (fuel_used)",
    "energy_used_j": "metered battery energy (energy_used)",
}


def _for_every_run_or_none(reading: _Reading, runs: Collection[Run]) -> None:
    """Report what some runs have and others lack; fuel and battery energy in one list are one fault."""
    having = {name: sum(getattr(run, name) is not None for run in runs) for name in _FOR_EVERY_RUN}
    fuel, energy = having["fuel_used_m3"], having["energy_used_j"]
    if fuel and energy:
        reading.problem("run", f"{fuel} runs have fuel_used and {energy} energy_used", "one of the two for every run")
        having["fuel_used_m3"] = having["energy_used_j"] = 0
    for name, what in _FOR_EVERY_RUN.items():
        if 0 < having[name] < len(runs):
            read = f"{having[name]} of {len(runs)} runs have {what}"
            reading.problem("run", read, f"{what} for every run, or for none")


def _one_step(reading: _Reading, runs: tuple[Run, ...]) -> tuple[Run, ...]:
    """Return the runs with the finest step in which any of them writes its energy: a display has one step.

    A display too coarse for the runs is warned of.
    """
    if not runs or any(run.energy_used_j is None for run in runs):
        return runs
    step_j = min(run.energy_step_j for run in runs)
    if step_j > _COARSE_STEP * max(run.energy_used_j or 0.0 for run in runs):
        reading.warnings.append(
            "energy_used is written in steps of more than 1 % of a run: what rounding can make or hide is counted in "
            "the interval; longer runs, or a finer meter, make it narrower"
        )
    return tuple(replace(run, energy_step_j=step_j) for run in runs)


def _entries(reading: _Reading, document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the tables of the runs."""
    entries = document.get("run", [])
    entries = [entries] if isinstance(entries, dict) else entries
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        reading.problem("run", shown(entries), "one [[run]] table for each run")
        return []
    return entries


def _headings(reading: _Reading, table: Mapping[str, Any]) -> dict[str, float]:
    """Return degrees from north for the user's own words for a direction."""
    headings: dict[str, float] = {}
    for word, text in table.items():
        bearing = _bearing(text)
        if bearing is None:
            reading.problem(f"directions.{word}", shown(text), '"north-east", "WNW" or "290 deg"')
        else:
            headings[word.strip().lower()] = bearing
    return headings


def _document(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(read_input(path, MOST_BYTES, "a manifest of runs").decode("utf-8-sig"))
    except FileNotFoundError:
        raise InputError(Problem(str(path), "", "no such file", "a manifest of runs (runs.toml)")) from None
    except OSError as error:
        raise InputError(Problem(str(path), "", f"cannot be read ({error.strerror})", "a TOML file")) from None
    except UnicodeDecodeError:
        raise InputError(Problem(path.name, "", "not UTF-8 text", "a TOML file in UTF-8")) from None
    except (ValueError, RecursionError) as error:  # an integer of thousands of digits is a ValueError too
        raise InputError(Problem(path.name, "", f"not TOML: {error}", "see `windtoll compare --help`")) from None


def _engine(reading: _Reading, where: str, table: Mapping[str, Any]) -> LoggedEngine:
    fuel = LoggedEngine().fuel
    if "fuel" in table:
        try:
            fuel = fuel_named(str(table["fuel"]), f"{reading.path.name}: {where}.fuel")
        except InputError as error:
            reading.problems.extend(error.problems)
    spec = reading.validated(_EngineTable, where, table)
    return LoggedEngine() if spec is None else LoggedEngine(spec.displacement, fuel, spec.volumetric_efficiency)


PEAK_TORQUE = Spec("N*m", "peak torque of the engine", above=0.0, at_most=5000.0)
_TORQUE_ERROR = 0.10  # of a torque that is given without a range: common practice, no source


def full_load_of(peak: object | None, curve: Path | None) -> FullLoad | None:
    """Return torque at full load from a peak torque (text or table with a range) or a CSV curve; None for neither.

    Raises FieldError for a peak torque that cannot be read, InputError for a curve.
    """
    if curve is not None:
        data = read_table(curve, {"engine_speed": "rad/s", "torque": "N*m"})
        if (data["torque"] <= 0).any() or (np.diff(data["engine_speed"]) <= 0).any():
            raise InputError(
                Problem(curve.name, "", "torque or engine speed out of order", "rising speeds, torques > 0")
            )
        return FullLoad(data["engine_speed"], data["torque"], _TORQUE_ERROR)
    if peak is None:
        return None
    torque = read_quantity(peak, PEAK_TORQUE)
    spread = COVERAGE_FACTOR * torque.standard_deviation / torque.value
    return FullLoad(np.zeros(1), np.array([torque.value]), spread or _TORQUE_ERROR)


def _full_load(reading: _Reading, table: Mapping[str, Any]) -> FullLoad | None:
    peak, curve = table.get("peak_torque"), table.get("torque_curve")
    if peak is not None and curve is not None:
        reading.problem("engine.peak_torque", "given together with torque_curve", "one of the two")
        return None
    try:
        return full_load_of(peak, None if curve is None else reading.path.parent / _file(curve))
    except FieldError as error:
        reading.problem("engine.peak_torque" if curve is None else "engine.torque_curve", error.read, error.accepted)
    except InputError as error:
        reading.problems.extend(error.problems)
    return None


def _fuel_used(reading: _Reading, where: str, value: object, density_kg_m3: float) -> float | None:
    """Return the volume of fuel that a run used, from litres or a weight."""
    if value is None:
        return None
    accepted = '"1.84 L" or, weighed, "1.37 kg"'
    for unit, factor in (("m**3", 1.0), ("kg", 1 / density_kg_m3)):
        try:
            volume = _in_si(value, unit) * factor
        except FieldError:
            continue
        if 0 < volume < 1.0:
            return volume
        break
    reading.problem(f"{where}.fuel_used", shown(value), accepted)
    return None


_MOST_ENERGY_J = 200 * 3.6e6  # no road vehicle's battery gives more in one run: own choice, no source
_COARSE_STEP = 0.01  # of a run: own choice, no source


def _energy_used(reading: _Reading, where: str, said: _RunTable) -> float | None:
    """Return the energy that the battery gave for a run [J]."""
    if said.energy_used is None:
        return None
    if said.fuel_used is not None:
        reading.problem(f"{where}.energy_used", "given together with fuel_used", "one of the two")
        return None
    try:
        energy_j = _in_si(said.energy_used, "J")
    except FieldError:
        energy_j = math.nan
    if not 0 < energy_j < _MOST_ENERGY_J:
        accepted = 'what the display or a meter counted, above 0 and under 200 kWh, such as "3.2 kWh", Wh or MJ'
        reading.problem(f"{where}.energy_used", shown(said.energy_used), accepted)
        return None
    return energy_j


def _last_digit(value: object) -> float:
    """Return a step of the last digit that is written of a quantity, as a share of it; 0 where none can be seen."""
    text = str(value.get("value")) if isinstance(value, dict) else str(value)
    number = re.match(r"\s*(\d+)(?:[.](\d+))?(?![\d.eE])", text)
    if number is None:
        return 0.0
    decimals = number.group(2) or ""
    return 1.0 / max(int(number.group(1) + decimals), 1)


def _beside(reading: _Reading, where: str, key: str, name: str) -> Path:
    """Return the path of a log that stands in the folder of the list, and report one that does not."""
    log = reading.path.parent / name
    if not os.path.exists(log):  # False, too, for a name that no file system takes
        others = [entry.name for entry in log.parent.glob("*.csv")] if log.parent.is_dir() else []
        near = nearest(log.name, others)
        perhaps = f", perhaps {near}" if near else ""
        reading.problem(f"{where}.{key}", f"{name}: no such file", f"a log in the folder of the run list{perhaps}")
    return log


def _run(
    reading: _Reading, number: int, entry: Mapping[str, Any], headings: Mapping[str, float], density_kg_m3: float
) -> Run | None:
    where = f"run[{number}]"
    table = {key if key in RUN_KEYS else SAME_KEYS.get(key, key): value for key, value in entry.items()}
    reading.unknown(where, table, sorted(RUN_KEYS))
    if table.get("exclude") is True:
        reading.warnings.append(f"{where} ({table.get('file')}) is left out as the manifest says")
        return None
    before = len(reading.problems)
    logged = "file" in table or not {"fuel_used", "energy_used"} & table.keys()
    log = Path(f"run {number} (no log)")
    try:
        log = _beside(reading, where, "file", _file(table.get("file"))) if logged else log
    except FieldError as error:
        reading.problem(f"{where}.file", error.read, error.accepted)
        return None
    if "pair" not in table and "block" in table:
        table["pair"] = table["block"]
    said = reading.validated(_RunTable, where, table)
    # faults of the wind are told beside others, so that all are told at once
    head_wind = None if said is None else said.head_wind
    if head_wind is None and not (said is None and _is_speed(table.get("head_wind"))):
        head_wind = _head_wind(reading, where, table, headings)
    fuel_used = None if said is None else _fuel_used(reading, where, said.fuel_used, density_kg_m3)
    energy_used = None if said is None else _energy_used(reading, where, said)
    control = None if said is None or not said.control else _beside(reading, where, "control", said.control)
    if said is not None:
        _whole_run(reading, where, said, logged=logged)
    if said is None or len(reading.problems) > before:
        return None
    return Run(
        path=log,
        state=said.state,
        pair=said.pair,
        direction=said.direction.lower(),
        head_wind_m_s=head_wind,
        temperature_k=said.temperature,
        pressure_pa=said.pressure,
        date=said.date if "date" in said.model_fields_set else said.started,
        start_s=said.start,
        end_s=said.end,
        columns=said.columns,
        gust_m_s=said.gust,
        vehicle_ahead=said.vehicle_ahead,
        fuel_used_m3=fuel_used,
        control=control,
        distance_m=None if logged else said.distance,
        duration_s=None if logged else said.duration,
        tyre_pressure_pa=said.tyre_pressure,
        energy_used_j=energy_used,
        energy_step_j=0.0 if energy_used is None else energy_used * _last_digit(said.energy_used),
    )


_WHOLE_RUN = {  # of a run without a log: least, most, their unit, what is accepted
    "distance": (500.0, 500e3, "m", 'the way driven, 0.5-500 km, such as "15 km": there is no log'),
    "duration": (60.0, 43200.0, "s", 'the time it took, 1 min to 12 h, such as "10.5 min": there is no log'),
}


def _whole_run(reading: _Reading, where: str, said: _RunTable, *, logged: bool) -> None:
    """Report what a run without a log lacks, and what one with a log does not need."""
    for key, (least, most, unit, accepted) in _WHOLE_RUN.items():
        value = getattr(said, key)
        if logged and value is not None:
            reading.warnings.append(f"{where}.{key} in {reading.path.name} is not used: the log has it")
        elif not logged and (value is None or not least <= value <= most):
            reading.problem(f"{where}.{key}", "not given" if value is None else f"{value:g} {unit}", accepted)
    if not logged and not said.state:
        reading.problem(f"{where}.state", "not given", ", ".join(STATES))


def _is_speed(value: object) -> bool:
    try:
        _in_si(value, "m/s")
    except FieldError:
        return False
    return True


def _head_wind(reading: _Reading, where: str, table: Mapping[str, Any], headings: Mapping[str, float]) -> float | None:
    """Return the wind along the road, from its speed, where it comes from and the direction driven, or None."""
    key = "wind_speed" if "wind_speed" in table else "wind"
    if not table.get(key):
        return None
    try:
        speed = _in_si(table[key], "m/s")
    except FieldError as error:
        reading.problem(f"{where}.{key}", error.read, error.accepted)
        return None
    if not speed:
        return speed  # calm
    direction = str(table.get("direction", "")).strip()
    comes_from, heading = _bearing(table.get("wind_from", "")), headings.get(direction.lower(), _bearing(direction))
    name = reading.path.name
    if comes_from is None:
        reading.warnings.append(
            f'the wind of some runs is not used: wind_from = "west" (or an angle) is missing in {name}'
        )
        return None
    if heading is None:
        said = direction if re.fullmatch(r"[\w-]+", direction) else "out"
        leads = shown(direction) if direction else "the run"
        reading.warnings.append(
            f"the wind of some runs is not used: {name} does not say where {leads} leads: "
            f'[directions] {said} = "north-east"'
        )
        return None
    return speed * math.cos(math.radians(comes_from - heading))


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
