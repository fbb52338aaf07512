"""The scenario file: one TOML file, one table a thing, every quantity with its unit.

`read_scenario` reads it with the CSV files it names and tells every fault at once, one line each. Keys that are left
out take the defaults below, each with its source; an answer lists those it used.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from pydantic import ValidationError
from pydantic_core import ErrorDetails

from energy.aero.air import (
    density_kg_m3,
    dynamic_viscosity_pa_s,
    rotor_air_speed_m_s,
    standard_atmosphere,
    wind_triangle,
)
from energy.aero.blade import AIR_SPEED_DEFAULT_M_S, PitchConvention
from energy.aero.curves import RotorCurves, read_curves
from energy.scenario.blade import LEAST_AIR_SPEED_M_S, blade_of, computed_curves, pitch_convention
from energy.scenario.checks import (
    blade_contradictions,
    cross_checks,
    either_or,
    rotor_either_or,
    warnings_of,
    warnings_of_blade,
)
from energy.scenario.defaults import (
    of_the_blade,
    with_blade_defaults,
    with_load_defaults,
    with_mount_default,
    with_stall_default,
)
from energy.scenario.files import MeasuredPower, map_reader, read_measured_power, read_torque_curve
from energy.scenario.keys import MAY_BE_LEFT_OUT, TABLES, TEXTS, UNUSUAL, Table
from energy.scenario.keys.air import Air, WindClimate
from energy.scenario.keys.base import is_plain
from energy.scenario.keys.costs import CostsTable
from energy.scenario.keys.garage import Bearing, BladeLoads, Gust, Linkage, Mount
from energy.scenario.keys.heat import CreditTable, HeaterTable, LoadTable, OtherSourcesTable, Prices
from energy.scenario.keys.knowledge import MeasurementTable, UncertaintyTable
from energy.scenario.keys.rotor import BladeTable, Drive, GeneratorTable, RotorTable
from energy.scenario.keys.vehicle import BatteryTable, EngineTable, TripTable, VehicleTable
from energy.scenario.plausible import impossible_together, outside, unusual_keys
from vehicle.driving.engine import FuelMap, TorqueCurve
from vehicle.driving.trip import Profile, Schedule, read_profile, read_schedule
from vehicle.files import read_input
from vehicle.problems import InputError, Problem, nearest, shown
from vehicle.quantity import FieldError, Spec

MOST_BYTES = 1024 * 1024
M = TypeVar("M", bound=Table)


@dataclass(frozen=True)
class Scenario:
    """A checked scenario: its tables, the files it names, and warnings that do not stop an answer."""

    name: str
    title: str
    note: str
    air: Air
    rotor: RotorTable
    blade: BladeTable | None
    drive: Drive
    generator: GeneratorTable | None
    heater: HeaterTable
    load: LoadTable
    vehicle: VehicleTable
    engine: EngineTable | None
    battery: BatteryTable | None
    trip: TripTable
    wind_climate: WindClimate | None
    credit: CreditTable
    other_sources: OtherSourcesTable
    prices: Prices
    costs: CostsTable
    uncertainty: UncertaintyTable
    curves: RotorCurves | None
    measured: MeasuredPower | None
    torque_curve: TorqueCurve | None
    fuel_map: FuelMap | None
    gust: Gust
    mount: Mount | None
    bearing: Bearing | None
    blade_loads: BladeLoads | None
    linkage: Linkage | None
    measurement: MeasurementTable
    schedule: Schedule | None = None
    profile: Profile | None = None
    warnings: tuple[str, ...] = field(default=())
    pitch_convention: PitchConvention = field(default_factory=PitchConvention)
    reasons: Mapping[str, str] = field(default_factory=dict)  # key -> why its default differs from the usual one

    @property
    def fastest_road_speed_m_s(self) -> float:
        """The road speed, or the greatest of the schedule."""
        if self.schedule is not None:
            return float(self.schedule.speed_m_s.max())
        return 0.0 if self.trip.road_speed is None else self.trip.road_speed.value

    def table(self, name: str) -> Table | None:
        """Return one of the scenario's tables by name, None where it has none."""
        table = getattr(self, name)
        assert table is None or isinstance(table, Table)
        return table


def read_scenario(path: Path, overrides: Sequence[str] = ()) -> Scenario:
    """Return the checked scenario of a TOML file, with `overrides` ("trip.road_speed=65 mph") laid over it.

    What is to be answered is loaded by energy/chain/load.py. Raises InputError with every fault that can be told at
    once.
    """
    data = _read_toml(path)
    problems = _apply(data, overrides)
    try:
        return _build(data, path.name, path.parent, problems)
    except InputError as error:
        raise InputError([_as_override(problem, overrides) for problem in error.problems]) from None


@dataclass(frozen=True)
class RotorOnly:
    """The rotor of a scenario by itself: its table, curves, pitch of the curves (degrees) and the air's density."""

    rotor: RotorTable
    curves: RotorCurves
    pitch_deg: float
    density_kg_m3: float


def load_rotor(path: Path, overrides: Sequence[str] = (), air_speed_m_s: float | None = None) -> RotorOnly:
    """Return only the rotor of a scenario file: [air], [rotor] and [blade] are read, other tables are not needed.

    Curves of a blade hold for the Reynolds numbers at `air_speed_m_s` at the rotor; without it, for the scenario's trip
    and wind; without these, for `AIR_SPEED_DEFAULT_M_S`. Their notes say which. Raises InputError, also for a rotor
    that is known only by measured watts.
    """
    data = _read_toml(path)
    problems = _apply(data, overrides)
    kept = {key: value for key, value in data.items() if key in ("air", "rotor", "blade")}
    unknown = [key for key in data if key not in TABLES and key not in (*TEXTS, UNUSUAL)]
    meant, faults = unusual_keys(path.name, data.get(UNUSUAL))
    problems += faults
    problems += [Problem(path.name, key, "unknown key", f"the tables {', '.join(TABLES)}") for key in unknown]
    tables: dict[str, Table | None] = {"air": Air(), "rotor": None, "blade": None}
    for key, value in kept.items():
        if not isinstance(value, dict):
            problems.append(Problem(path.name, key, f"{shown(value)} is no table", f"a table [{key}]"))
            continue
        tables[key], faults = _validate(path.name, key, value)
        problems += faults
    problems += outside(path.name, tables, meant)[0]
    rotor, blade, air = tables["rotor"], tables["blade"], tables["air"]
    if "rotor" not in kept:
        problems.append(Problem(path.name, "[rotor]", "missing", "a table [rotor] with diameter and curves or blade"))
    else:
        raw = kept["rotor"] if isinstance(kept["rotor"], dict) else {}
        problems += rotor_either_or(path.name, kept)
        if "measured_power" in raw:
            problems.append(
                Problem(path.name, "rotor.measured_power", "given", "curves or blade: measured watts have no curves")
            )
    curves, convention = None, PitchConvention()
    try:
        if not problems and isinstance(rotor, RotorTable) and isinstance(air, Air):
            if isinstance(blade, BladeTable):
                speed, why = _reynolds_air_speed(data, rotor, air, air_speed_m_s)
                curves = _curves_at_air_speed(rotor, blade, air, path.parent, speed)
                curves = replace(curves, notes=(*curves.notes, _reynolds_note(blade, speed, why)))
                convention = pitch_convention(blade)
            elif rotor.curves:
                curves = read_curves(path.parent / rotor.curves)
    except InputError as error:
        problems += error.problems
    if problems or curves is None or not isinstance(rotor, RotorTable) or not isinstance(air, Air):
        raise InputError([_as_override(problem, overrides) for problem in _unique(problems)])
    pressure = standard_atmosphere(air.altitude.value)[1] if air.pressure is None else air.pressure.value
    density = float(density_kg_m3(air.temperature.value, pressure, air.relative_humidity.value))
    set_to = None if rotor.pitch is None else float(convention.chord_angle_deg(np.asarray(rotor.pitch.value)))
    return RotorOnly(rotor, curves, float(curves.pitch_deg[0]) if set_to is None else set_to, density)


def _reynolds_air_speed(
    data: Mapping[str, Any], rotor: RotorTable, air: Air, asked_m_s: float | None
) -> tuple[float, str]:
    """Return the air speed (m/s) at the rotor that sets the Reynolds numbers of its curves, and where it comes from."""
    if asked_m_s is not None:
        return asked_m_s, "as asked"
    speed = _air_speed_at_rotor(rotor, air, _nominal_speed(data))
    if speed >= LEAST_AIR_SPEED_M_S:
        return speed, "of the trip and the wind"
    return AIR_SPEED_DEFAULT_M_S, "assumed, as there is no trip.road_speed and no wind"


def _reynolds_note(blade: BladeTable, speed_m_s: float, why: str) -> str:
    """Return what the air speed does to the curves: with one measured polar nothing."""
    speed = f"{speed_m_s:.3g} m/s ({speed_m_s / 0.44704:.3g} mph)"
    if blade.polar and (isinstance(blade.polar, str) or len(blade.polar) == 1):
        return (
            f"one polar holds at every air speed: the curves are the same at {speed} as at any other; polars at "
            "several Reynolds numbers (blade.polar) make them follow it"
        )
    return f"Reynolds numbers are those at an air speed of {speed} at the rotor ({why})"


def _nominal_speed(data: Mapping[str, Any]) -> float:
    """Return the road speed of a scenario where it has a right one, else 0: it sets Reynolds numbers only."""
    trip = data.get("trip")
    if not isinstance(trip, dict):
        return 0.0
    table, _ = _validate("", "trip", trip)
    return table.road_speed.value if isinstance(table, TripTable) and table.road_speed is not None else 0.0


def _as_override(problem: Problem, overrides: Sequence[str]) -> Problem:
    """Return the problem under "--set" where the faulty value came from there and not from the file."""
    keys = {text.partition("=")[0].strip() for text in overrides}
    tables = {key.partition(".")[0] for key in keys} - set(TABLES) - set(TEXTS)  # a table that no file can have
    if problem.key in keys | tables or problem.key.partition(":")[0] in keys:
        return Problem("--set", problem.key, problem.read, problem.accepted)
    return problem


def toml_data(path: Path) -> dict[str, Any]:
    """Return what a TOML file holds; InputError for one that is missing, no TOML, or too large."""
    return _read_toml(path)


def _read_toml(path: Path) -> dict[str, Any]:
    name = str(path)
    try:
        if path.is_dir():
            inside = path / "scenario.toml"
            hint = f"a TOML file, perhaps {inside}" if inside.is_file() else "a TOML scenario file"
            raise InputError(Problem(name, "", "a folder", hint))
        raw = read_input(path, MOST_BYTES, "a TOML scenario file")
    except FileNotFoundError:
        near = nearest(path.name, [p.name for p in path.parent.glob("*.toml")]) if path.parent.is_dir() else None
        accepted = f"an existing TOML file{f', perhaps {near}' if near else ''} (windtoll example FOLDER makes some)"
        raise InputError(Problem(name, "", "no such file", accepted)) from None
    except OSError as error:
        raise InputError(Problem(name, "", f"cannot be read ({error.strerror})", "a readable TOML file")) from None
    except ValueError:  # a NUL in the path
        raise InputError(Problem(shown(name), "", "no file name", "an existing TOML file")) from None
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError(Problem(name, f"byte {error.start}", "not UTF-8 text", "a TOML file saved as UTF-8")) from None
    except ValueError as error:  # TOMLDecodeError, and what Python says of an integer with thousands of digits
        raise InputError(Problem(name, "", _toml_fault(raw, str(error)), _toml_hint(raw, str(error)))) from None
    except RecursionError:
        raise InputError(Problem(name, "", "tables nested too deeply", "one level of tables")) from None


def _toml_line(raw: bytes, error: str) -> str:
    """Return the line that an error of the TOML reader names, "" where it names none."""
    at = re.search(r"at line (\d+)", error)
    lines = raw.decode("utf-8-sig").splitlines()
    return lines[int(at[1]) - 1].strip() if at and int(at[1]) <= len(lines) else ""


def _said_twice(error: str) -> bool:
    return "Cannot overwrite" in error or "twice" in error


def _toml_fault(raw: bytes, error: str) -> str:
    """Return what was wrong with a file that is no TOML, in plain words where a builder's slip is known."""
    line = _toml_line(raw, error)
    where = f"; that line reads {shown(line)}" if line else ""
    if line and _said_twice(error):
        at = re.search(r"at line (\d+)", error)
        return f"line {at[1] if at else '?'}: {shown(line.partition('=')[0].strip())} is given a second time"
    return f"not TOML: {error}{where}"


def _toml_hint(raw: bytes, error: str) -> str:
    """Return what would be accepted instead of a line that is no TOML."""
    line = _toml_line(raw, error)
    if line and _said_twice(error):
        return "each table and each of its keys once"
    if re.search(r"=\s*(true|false|yes|no|on|off)\b", line, re.IGNORECASE):
        return "true or false, in small letters"
    return 'lines such as road_speed = "100 km/h"'


def _apply(data: dict[str, Any], overrides: Sequence[str]) -> list[Problem]:
    """Lay "table.key=value" settings over `data`; return the faulty ones."""
    problems: list[Problem] = []
    for text in overrides:
        key, sign, raw = text.partition("=")
        parts = key.strip().split(".")
        if not sign or not 1 <= len(parts) <= 2 or not all(re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", p) for p in parts):
            problems.append(
                Problem("--set", "", shown(text), '--set table.key="value unit", as in --set trip.road_speed="65 mph"')
            )
            continue
        target = data
        if len(parts) == 2:
            target = data.setdefault(parts[0], {})
            if not isinstance(target, dict):
                problems.append(Problem("--set", parts[0], "is not a table in the file", "table.key"))
                continue
        target[parts[-1]] = override_value(raw.strip())
    return problems


def override_value(raw: str) -> Any:
    """Return the value of a setting "table.key=value" as TOML would have it; text that is no TOML value is a text."""
    if raw.lower() in ("true", "false"):
        return raw.lower() == "true"
    try:
        return tomllib.loads(f"x = {raw}")["x"] if "\n" not in raw else raw
    except (ValueError, RecursionError):  # an integer of thousands of digits is a ValueError too
        return raw  # the shell has eaten the quotes: 65 mph


def _build(data: dict[str, Any], name: str, folder: Path, problems: list[Problem]) -> Scenario:
    texts = {key: data.pop(key, "") for key in TEXTS}
    problems += _text_problems(name, texts)
    meant, faults = unusual_keys(name, data.pop(UNUSUAL, None))
    problems += faults
    tables, faults = _tables(name, data)
    problems += faults
    faults, unusual = outside(name, tables, meant)
    problems += faults
    problems += either_or(name, data)
    files, faults = _read_files(data, folder)
    problems += faults
    convention = PitchConvention()
    built = None
    rotor, blade, air = tables["rotor"], tables["blade"], tables["air"]
    if isinstance(rotor, RotorTable) and isinstance(blade, BladeTable) and isinstance(air, Air) and rotor.blade:
        trip = tables["trip"]
        speed = trip.road_speed.value if isinstance(trip, TripTable) and trip.road_speed is not None else 0.0
        if files.schedule is not None:
            speed = files.schedule.mean_moving_speed_m_s
        try:
            built = blade_of(rotor, blade, folder)
            curves, convention = _curves_of_blade(rotor, blade, air, folder, speed)
            files = replace(files, curves=curves)
        except InputError as error:
            problems += [
                Problem(name if p.where == "scenario" else p.where, p.key, p.read, p.accepted) for p in error.problems
            ]
    if problems:
        raise InputError(_unique(problems))
    scenario = Scenario(
        name=name,
        title=str(texts["title"]),
        note=str(texts["note"]),
        **tables,  # type: ignore[arg-type]
        **{f.name: getattr(files, f.name) for f in fields(files)},
        pitch_convention=convention,
    )
    problems = [*cross_checks(scenario), *impossible_together(scenario, meant)]
    if built is not None:
        problems += blade_contradictions(scenario, built.name, of_the_blade(scenario, built))
        scenario = with_blade_defaults(scenario, built)
    if problems:
        raise InputError(problems)
    of_blade = [] if built is None else warnings_of_blade(built)
    warned = with_stall_default(replace(scenario, warnings=(*unusual, *warnings_of(scenario), *of_blade)))
    return with_mount_default(with_load_defaults(warned))


def _text_problems(name: str, texts: Mapping[str, Any]) -> list[Problem]:
    """Return faults of title and note."""
    no_text = [key for key, value in texts.items() if not isinstance(value, str)]
    hostile = [key for key, value in texts.items() if isinstance(value, str) and not is_plain(value)]
    return [Problem(name, key, f"{shown(texts[key])} is no text", "a text in quotes") for key in no_text] + [
        Problem(name, key, f"{shown(texts[key])} with control characters", "plain text") for key in hostile
    ]


def _tables(name: str, data: Mapping[str, Any]) -> tuple[dict[str, Table | None], list[Problem]]:
    """Return every table by name, None for those that are not there or faulty, and the faults."""
    problems: list[Problem] = []
    tables: dict[str, Table | None] = dict.fromkeys(TABLES)
    for key, value in data.items():
        if key not in TABLES:
            near = nearest(key, [*TABLES, *TEXTS]) or _table_that_has(key)
            hint = f"a known key, perhaps {near} (nearest)" if near else f"the tables {', '.join(TABLES)}"
            problems.append(Problem(name, shown(key).strip("'"), "unknown key", hint))
        elif not isinstance(value, dict):
            problems.append(Problem(name, key, f"{shown(value)} is no table", f"a table [{key}]"))
        else:
            tables[key], faults = _validate(name, key, value)
            problems += faults
    for key in MAY_BE_LEFT_OUT:
        if tables[key] is None and key not in data:
            tables[key] = TABLES[key]()
    return tables, problems


def _curves_of_blade(
    rotor: RotorTable, blade: BladeTable, air: Air, folder: Path, road_speed_m_s: float
) -> tuple[RotorCurves, PitchConvention]:
    """Return the curves computed from the blade's files, and what the pitch means."""
    speed = _air_speed_at_rotor(rotor, air, road_speed_m_s)
    return _curves_at_air_speed(rotor, blade, air, folder, speed), pitch_convention(blade)


def _air_speed_at_rotor(rotor: RotorTable, air: Air, road_speed_m_s: float) -> float:
    """Return the air speed (m/s) at the rotor, of the values as stated."""
    met = wind_triangle(road_speed_m_s, air.wind_speed.value, air.wind_from.value)
    return float(rotor_air_speed_m_s(met, 0.0, rotor.local_speed_factor.value))


def _curves_at_air_speed(rotor: RotorTable, blade: BladeTable, air: Air, folder: Path, speed_m_s: float) -> RotorCurves:
    """Return the curves computed from the blade's files, for the Reynolds numbers at an air speed at the rotor."""
    pressure = standard_atmosphere(air.altitude.value)[1] if air.pressure is None else air.pressure.value
    density = density_kg_m3(air.temperature.value, pressure, air.relative_humidity.value)
    viscosity = float(dynamic_viscosity_pa_s(air.temperature.value) / density)
    # Rounded, so that a change of weather or speed within 5 % finds the kept curves.
    return computed_curves(rotor, blade, folder, _rounded(speed_m_s), _rounded(viscosity))


def _rounded(value: float) -> float:
    """Return a value rounded to steps of 5 %: Reynolds numbers matter by their order."""
    return math.exp(round(math.log(max(value, 1e-9)) / 0.05) * 0.05)


def _table_that_has(key: str) -> str | None:
    for table, model in TABLES.items():
        if key in model.model_fields:
            return f"{table}.{key}"
    return None


def _unique(problems: Sequence[Problem]) -> list[Problem]:
    return list(dict.fromkeys(problems))


def _validate(name: str, key: str, value: Mapping[str, Any]) -> tuple[Table | None, list[Problem]]:
    return validated(name, key, TABLES[key], value)


def validated(name: str, place: str, model: type[M], value: Mapping[str, Any]) -> tuple[M | None, list[Problem]]:
    """Return a table of a model from what TOML holds, or None and its faults, told at `place` of the file `name`."""
    try:
        return model(**{str(k): v for k, v in value.items()}), []
    except ValidationError as error:
        return None, [_problem(name, place, model, fault) for fault in error.errors(include_url=False)]


# What pydantic wants, by the type of its fault, in our words.
_WANTED = {
    "bool_type": "true or false, in small letters, without quotes",
    "string_type": "a text in quotes",
    "list_type": "a list in square brackets",
    "dict_type": "a table",
    "model_type": "a table",  # one of our own models inside a list
}


def _problem(name: str, table: str, model: type[Table], fault: ErrorDetails) -> Problem:
    """Return one of pydantic's faults in our words."""
    key = ".".join(str(part) for part in fault["loc"][:1])
    place = f"{table}.{key}" if key else table
    field_info = model.model_fields.get(key)
    extra = field_info.json_schema_extra if field_info else None
    spec = extra.get("spec") if isinstance(extra, dict) else None
    if fault["type"] == "extra_forbidden":
        near = nearest(key, model.model_fields)
        elsewhere = _table_that_has(key)
        hint = near or elsewhere
        accepted = f"a known key, perhaps {hint} (nearest)" if hint else f"the keys {', '.join(model.model_fields)}"
        return Problem(name, f"{table}.{shown(key, 40).strip(chr(39))}", "unknown key", accepted)
    if fault["type"] == "missing":
        meaning = spec.accepted() if isinstance(spec, Spec) else (field_info.description if field_info else "")
        return Problem(name, place, "missing", meaning or "")
    own = fault.get("ctx", {}).get("error")
    if isinstance(own, FieldError):
        return Problem(name, place, own.read, own.accepted)
    if fault["type"] == "literal_error":
        expected = str(fault["ctx"]["expected"])
        near = nearest(str(fault["input"]), re.findall(r"'([^']*)'", expected))
        return Problem(name, place, shown(fault["input"]), expected + (f" (nearest: {near})" if near else ""))
    meaning = f": {field_info.description}" if field_info and field_info.description else ""
    kind = _WANTED.get(fault["type"])
    return Problem(name, place, shown(fault["input"]), f"{kind}{meaning}" if kind else fault["msg"])


@dataclass(frozen=True)
class _Files:
    """What the CSV files hold that a scenario names; None for those that it does not."""

    curves: RotorCurves | None
    measured: MeasuredPower | None
    torque_curve: TorqueCurve | None
    fuel_map: FuelMap | None
    schedule: Schedule | None
    profile: Profile | None


def _read_files(data: Mapping[str, Any], folder: Path) -> tuple[_Files, list[Problem]]:
    problems = [
        Problem("scenario", f"{table}.{key}", "an empty name", "a CSV file in the scenario's folder, or no such line")
        for table, model in TABLES.items()
        for key, info in model.model_fields.items()
        if (info.description or "").startswith("CSV")
        and isinstance(data.get(table), dict)
        and data[table].get(key) == ""
    ]

    def read(table: str, key: str, reader: Any) -> Any:
        entry = data.get(table)
        value = entry.get(key) if isinstance(entry, dict) else None
        if not isinstance(value, str) or not value:
            return None
        try:
            return reader(folder / value)
        except InputError as error:
            problems.extend(
                Problem(p.where, f"{table}.{key}: {p.key}" if p.key else f"{table}.{key}", p.read, p.accepted)
                for p in error.problems
            )
        except ValueError:  # a NUL in the name
            problems.append(
                Problem(shown(value), f"{table}.{key}", "no file name", "a CSV file in the scenario's folder")
            )
        return None

    files = _Files(
        read("rotor", "curves", read_curves),
        read("rotor", "measured_power", read_measured_power),
        read("engine", "torque_curve", read_torque_curve),
        read("engine", "fuel_map", None if not isinstance(data.get("engine"), dict) else map_reader(data["engine"])),
        read("trip", "schedule", read_schedule),
        read("trip", "profile", read_profile),
    )
    return files, problems
