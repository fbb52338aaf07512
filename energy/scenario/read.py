"""The scenario file: one TOML file, one table a thing, every quantity with its unit.

`load` reads it with the CSV files it names and tells every fault at once, one line each. Keys that are left out take the
defaults below, each with its source; an answer lists those it used.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from pydantic import ValidationError
from pydantic_core import ErrorDetails

from energy.aero.blade import PitchConvention, to_rotor_curves
from energy.aero.curves import RotorCurves, read_curves
from energy.scenario.files import MeasuredPower, map_reader, read_measured_power, read_torque_curve
from energy.scenario.keys import (
    MAY_BE_LEFT_OUT,
    TABLES,
    TEXTS,
    Air,
    BatteryTable,
    Bearing,
    BladeLoads,
    BladeTable,
    Credit,
    Drive,
    EngineTable,
    GeneratorTable,
    Gust,
    Heater,
    Linkage,
    LoadTable,
    Measurement,
    Mount,
    OtherSources,
    Prices,
    RotorTable,
    Table,
    Trip,
    UncertaintyTable,
    VehicleTable,
    WindClimate,
    is_plain,
)
from vehicle.driving.engine import FuelMap, TorqueCurve
from vehicle.driving.trip import Profile, Schedule, read_profile, read_schedule
from vehicle.problems import InputError, Problem, nearest, shown
from vehicle.quantity import FieldError, Spec, Uncertain

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
    heater: Heater
    load: LoadTable
    vehicle: VehicleTable
    engine: EngineTable | None
    battery: BatteryTable | None
    trip: Trip
    wind_climate: WindClimate | None
    credit: Credit
    other_sources: OtherSources
    prices: Prices
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
    measurement: Measurement
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
        found = getattr(self, name)
        assert found is None or isinstance(found, Table)
        return found


def load(path: Path, overrides: Sequence[str] = ()) -> Scenario:
    """Return the scenario of a TOML file, with `overrides` ("trip.road_speed=65 mph") laid over it.

    Raises InputError with every fault that can be told at once.
    """
    data = _read_toml(path)
    problems = _apply(data, overrides)
    try:
        return _build(data, path.name, path.parent, problems)
    except InputError as error:
        raise InputError([_told_as_override(problem, overrides) for problem in error.problems]) from None


@dataclass(frozen=True)
class RotorOnly:
    """The rotor of a scenario by itself: its table, curves, pitch of the curves (degrees) and the air's density."""

    rotor: RotorTable
    curves: RotorCurves
    pitch_deg: float
    density_kg_m3: float


def load_rotor(path: Path, overrides: Sequence[str] = ()) -> RotorOnly:
    """Return only the rotor of a scenario file: [air], [rotor] and [blade] are read, other tables are not needed.

    Raises InputError, also for a rotor that is known only by measured watts.
    """
    data = _read_toml(path)
    problems = _apply(data, overrides)
    kept = {key: value for key, value in data.items() if key in ("air", "rotor", "blade")}
    unknown = [key for key in data if key not in TABLES and key not in TEXTS]
    problems += [Problem(path.name, key, "unknown key", f"the tables {', '.join(TABLES)}") for key in unknown]
    tables: dict[str, Table | None] = {"air": Air(), "rotor": None, "blade": None}
    for key, value in kept.items():
        if not isinstance(value, dict):
            problems.append(Problem(path.name, key, f"{shown(value)} is no table", f"a table [{key}]"))
            continue
        tables[key], faults = _validate(path.name, key, value)
        problems += faults
    rotor, blade, air = tables["rotor"], tables["blade"], tables["air"]
    if "rotor" not in kept:
        problems.append(Problem(path.name, "[rotor]", "missing", "a table [rotor] with diameter and curves or blade"))
    else:
        raw = kept["rotor"] if isinstance(kept["rotor"], dict) else {}
        problems += _rotor_either_or(path.name, raw, kept)
        if "measured_power" in raw:
            problems.append(
                Problem(path.name, "rotor.measured_power", "given", "curves or blade: measured watts have no curves")
            )
    curves, convention = None, PitchConvention()
    try:
        if not problems and isinstance(rotor, RotorTable) and isinstance(air, Air):
            if isinstance(blade, BladeTable):
                speed = _nominal_speed(data)
                curves, convention = _curves_of_blade(rotor, blade, air, path.parent, speed)
            elif rotor.curves:
                curves = read_curves(path.parent / rotor.curves)
    except InputError as error:
        problems += error.problems
    if problems or curves is None or not isinstance(rotor, RotorTable) or not isinstance(air, Air):
        raise InputError([_told_as_override(problem, overrides) for problem in _unique(problems)])
    from energy.aero.air import density_kg_m3, standard_atmosphere

    pressure = standard_atmosphere(air.altitude.value)[1] if air.pressure is None else air.pressure.value
    density = float(density_kg_m3(air.temperature.value, pressure, air.relative_humidity.value))
    dial = float(convention.setting_deg(curves.pitch_deg[:1])[0]) if rotor.pitch is None else rotor.pitch.value
    return RotorOnly(rotor, curves, float(convention.chord_angle_deg(np.asarray(dial))), density)


def _nominal_speed(data: Mapping[str, Any]) -> float:
    """Return the road speed of a scenario where it has a right one, else 0: it sets Reynolds numbers only."""
    trip = data.get("trip")
    if not isinstance(trip, dict):
        return 0.0
    table, _ = _validate("", "trip", trip)
    return table.road_speed.value if isinstance(table, Trip) and table.road_speed is not None else 0.0


def _told_as_override(problem: Problem, overrides: Sequence[str]) -> Problem:
    """Return the problem under "--set" where the faulty value came from there and not from the file."""
    keys = {text.partition("=")[0].strip() for text in overrides}
    if problem.key in keys or problem.key.partition(":")[0] in keys:
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
        raw = path.read_bytes()
    except FileNotFoundError:
        near = nearest(path.name, [p.name for p in path.parent.glob("*.toml")]) if path.parent.is_dir() else None
        accepted = f"an existing TOML file{f', perhaps {near}' if near else ''} (windtoll example FOLDER makes some)"
        raise InputError(Problem(name, "", "no such file", accepted)) from None
    except OSError as error:
        raise InputError(Problem(name, "", f"cannot be read ({error.strerror})", "a readable TOML file")) from None
    except ValueError:  # a NUL in the path
        raise InputError(Problem(shown(name), "", "no file name", "an existing TOML file")) from None
    if len(raw) > MOST_BYTES:
        raise InputError(Problem(name, "", f"{len(raw)} bytes", f"a scenario of at most {MOST_BYTES} bytes"))
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError(Problem(name, f"byte {error.start}", "not UTF-8 text", "a TOML file saved as UTF-8")) from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(Problem(name, "", f"not TOML: {error}", 'lines such as road_speed = "100 km/h"')) from None
    except RecursionError:
        raise InputError(Problem(name, "", "tables nested too deeply", "one level of tables")) from None


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
    try:
        return tomllib.loads(f"x = {raw}")["x"] if "\n" not in raw else raw
    except (tomllib.TOMLDecodeError, RecursionError):
        return raw  # the shell has eaten the quotes: 65 mph


def _build(data: dict[str, Any], name: str, folder: Path, problems: list[Problem]) -> Scenario:
    texts = {key: data.pop(key, "") for key in TEXTS}
    problems += [
        Problem(name, k, f"{shown(v)} is no text", "a text in quotes")
        for k, v in texts.items()
        if not isinstance(v, str)
    ]
    problems += [
        Problem(name, k, f"{shown(v)} with control characters", "plain text")
        for k, v in texts.items()
        if isinstance(v, str) and not is_plain(v)
    ]
    tables: dict[str, Table | None] = dict.fromkeys(TABLES)
    for key, value in data.items():
        if key not in TABLES:
            near = nearest(key, [*TABLES, *TEXTS]) or _table_that_has(key)
            hint = f"{near} (nearest)" if near else f"the tables {', '.join(TABLES)}"
            problems.append(Problem(name, shown(key).strip("'"), "unknown key", hint))
        elif not isinstance(value, dict):
            problems.append(Problem(name, key, f"{shown(value)} is no table", f"a table [{key}]"))
        else:
            table, faults = _validate(name, key, value)
            tables[key] = table
            problems += faults
    for key in MAY_BE_LEFT_OUT:
        if tables[key] is None and key not in data:
            tables[key] = TABLES[key]()
    problems += _either_or(name, data)
    files, faults = _read_files(data, folder)
    problems += faults
    curves, measured, torque_curve, fuel_map, schedule, profile = files
    convention = PitchConvention()
    rotor, blade, air = tables["rotor"], tables["blade"], tables["air"]
    if isinstance(rotor, RotorTable) and isinstance(blade, BladeTable) and isinstance(air, Air) and rotor.blade:
        trip = tables["trip"]
        speed = trip.road_speed.value if isinstance(trip, Trip) and trip.road_speed is not None else 0.0
        if schedule is not None:
            speed = schedule.mean_moving_speed_m_s
        try:
            curves, convention = _curves_of_blade(rotor, blade, air, folder, speed)
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
        curves=curves,
        measured=measured,
        torque_curve=torque_curve,
        fuel_map=fuel_map,
        schedule=schedule,
        profile=profile,
        pitch_convention=convention,
    )
    problems = _cross_checks(scenario)
    if problems:
        raise InputError(problems)
    return _with_load_defaults(_widened_where_doubtful(replace(scenario, warnings=tuple(_warnings(scenario)))))


def _curves_of_blade(
    rotor: RotorTable, blade: BladeTable, air: Air, folder: Path, road_speed_m_s: float
) -> tuple[RotorCurves, PitchConvention]:
    """Return the curves computed from the blade's files, and what the pitch means."""
    from energy.aero.air import (
        density_kg_m3,
        dynamic_viscosity_pa_s,
        rotor_air_speed_m_s,
        standard_atmosphere,
        wind_triangle,
    )
    from energy.scenario.blade import computed_curves, pitch_convention

    met = wind_triangle(road_speed_m_s, air.wind_speed.value, air.wind_from.value)
    speed = float(rotor_air_speed_m_s(met, 0.0, rotor.local_speed_factor.value))
    pressure = standard_atmosphere(air.altitude.value)[1] if air.pressure is None else air.pressure.value
    density = density_kg_m3(air.temperature.value, pressure, air.relative_humidity.value)
    viscosity = float(dynamic_viscosity_pa_s(air.temperature.value) / density)
    # Rounded, so that a change of weather or speed within 5 % finds the kept curves.
    curves = computed_curves(rotor, blade, folder, _rounded(speed), _rounded(viscosity))
    return to_rotor_curves(curves), pitch_convention(blade)


def _rounded(value: float) -> float:
    """Return a value rounded to steps of 5 %: Reynolds numbers matter by their order."""
    return math.exp(round(math.log(max(value, 1e-9)) / 0.05) * 0.05)


def _widened_where_doubtful(scenario: Scenario) -> Scenario:
    """Return the scenario with a wider range of rotor.power_factor where its curves deserve it.

    That is where the rotor works on stalled sections, or its polar is an estimate.
    """
    curves, key = scenario.curves, "power_factor"
    if curves is None or curves.stalled_torque_share is None or key in scenario.rotor.model_fields_set:
        return scenario
    from energy.aero.blade import STALL_SHARE_LIMIT
    from energy.chain.ledger import turbine_at_work
    from energy.scenario.inputs import inputs_of

    share = float(turbine_at_work(inputs_of(scenario)).stalled_torque_share)
    if share > STALL_SHARE_LIMIT:
        ends = (0.5, 2.0)
        reason = (
            f"{share:.0%} of the torque comes from stalled sections, where power from two-dimensional polars can be wrong "
            "by a factor of two (common practice, no source)"
        )
    elif scenario.blade is not None and scenario.blade.polar is None:
        ends = (0.55, 1.05)
        reason = (
            "curves of a polar estimated by formula; hand-made rotors reach power coefficients of 0.25 to 0.35 (common "
            "practice, no source)"
        )
    else:
        return scenario
    wide = scenario.rotor.model_copy(update={key: Uncertain(1.0, *ends, "triangular")})
    wide.model_fields_set.discard(key)  # the user did not set it: it stays an assumption
    return replace(scenario, rotor=wide, reasons={**scenario.reasons, f"rotor.{key}": reason})


def _with_load_defaults(scenario: Scenario) -> Scenario:
    """Return the scenario with the heat capacity and loss that go with load.kind, where the user gave none."""
    table = scenario.load
    if table.second_node == "walls" and table.loss is None:
        table = table.model_copy(update={"loss": Uncertain(0.0, 0.0, 0.0)})
        scenario = replace(scenario, load=table)
    if table.kind is None:
        return scenario
    from energy.heat.kinds import load_of_kind

    litres = 0.0 if table.volume is None else table.volume.value * 1e3
    named = load_of_kind(table.kind, litres, full=table.filled.value, insulation_mm=table.insulation.value * 1e3)
    values = {
        "heat_capacity": (named.heat_capacity_j_k, named.capacity_source),
        "loss": (named.loss_w_k, named.loss_source),
    }
    left = {key: pair for key, pair in values.items() if key not in table.model_fields_set}
    filled = table.model_copy(update={key: between for key, (between, _) in left.items()})
    filled.model_fields_set.difference_update(left)  # the user did not set them: they stay assumptions
    reasons = {f"load.{key}": f"{named.name}: {source}" for key, (_, source) in left.items()}
    return replace(scenario, load=filled, reasons={**scenario.reasons, **reasons})


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
        accepted = f"{hint} (nearest)" if hint else f"the keys {', '.join(model.model_fields)}"
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
    return Problem(name, place, shown(fault["input"]), fault["msg"])


def _either_or(name: str, data: Mapping[str, Any]) -> list[Problem]:
    """Return faults of presence: what must be there, and what excludes what. Works on the raw tables."""

    def table(key: str) -> Mapping[str, Any]:
        found = data.get(key, {})
        return found if isinstance(found, dict) else {}

    problems = []
    for key, words in (
        ("rotor", "diameter and curves"),
        ("vehicle", "mass and drag_area"),
        ("trip", "road_speed or schedule"),
    ):
        if key not in data:
            problems.append(Problem(name, f"[{key}]", "missing", f"a table [{key}] with at least {words}"))
    if ("engine" in data) == ("battery" in data):
        read = "both given" if "engine" in data else "missing"
        problems.append(Problem(name, "[engine]", read, "either a table [engine] or a table [battery]"))
    rotor, vehicle, engine = table("rotor"), table("vehicle"), table("engine")
    problems += _rotor_either_or(name, rotor, data)
    if "measured_power" not in rotor:
        if "generator" not in data:
            problems.append(
                Problem(
                    name, "[generator]", "missing", "a table [generator] with voltage_constant and winding_resistance"
                )
            )
        if "resistance" not in table("heater"):
            problems.append(Problem(name, "heater.resistance", "missing", 'the element, such as "12 ohm"'))
    if "trip" in data:
        problems += _trip_problems(name, table("trip"))
    coastdown = [key for key in ("coastdown_a", "coastdown_c") if key in vehicle]
    if "vehicle" in data and len(coastdown) == 1:
        problems.append(
            Problem(name, "vehicle.coastdown_a", "coastdown_a and coastdown_c go together", "both, or drag_area")
        )
    if "vehicle" in data and bool(coastdown) == ("drag_area" in vehicle):
        read = "both given" if coastdown else "missing"
        problems.append(
            Problem(
                name, "vehicle.drag_area", read, "either drag_area or the coast-down coefficients coastdown_a, _b, _c"
            )
        )
    if "engine" in data:
        if ("peak_torque" in engine) == ("torque_curve" in engine):
            read = "both given" if "peak_torque" in engine else "missing"
            problems.append(Problem(name, "engine.peak_torque", read, "either peak_torque or torque_curve"))
        by_ratio = [key for key in ("gear_ratios", "final_drive_ratio", "tyre_radius") if key in engine]
        if ("speed_per_1000_rpm" in engine) == bool(by_ratio):
            read = "both given" if by_ratio else "missing"
            problems.append(
                Problem(
                    name,
                    "engine.speed_per_1000_rpm",
                    read,
                    "either speed_per_1000_rpm or gear_ratios, final_drive_ratio and tyre_radius",
                )
            )
        elif 0 < len(by_ratio) < 3:
            problems.append(
                Problem(
                    name,
                    "engine.gear_ratios",
                    f"only {', '.join(by_ratio)} given",
                    "gear_ratios, final_drive_ratio and tyre_radius together",
                )
            )
    problems += _load_either_or(name, table("load"))
    if "pressure" in table("air") and "altitude" in table("air"):
        problems.append(Problem(name, "air.altitude", "given beside pressure", "either pressure or altitude"))
    return problems


def _load_either_or(name: str, load: Mapping[str, Any]) -> list[Problem]:
    """Return faults of presence in [load]."""
    problems = []

    def missing(key: str, accepted: str) -> None:
        problems.append(Problem(name, f"load.{key}", "missing", accepted))

    if load.get("kind") in ("water_tank", "insulated_box") and "volume" not in load:
        missing("volume", f'how much the {load["kind"]} holds, such as "30 L" or "8 gal"')
    if load.get("second_node") in ("element", "walls"):
        walls = ("second_loss",) if load["second_node"] == "walls" else ()
        for key in ("second_heat_capacity", "second_coupling", *walls):
            if key not in load:
                missing(key, f'with second_node = "{load["second_node"]}", a value such as {_load_example(key)}')
    of_contents = [key for key in ("contents", "contents_specific_heat", "contents_water_share") if key in load]
    accepted = "one of contents (a name), contents_specific_heat and contents_water_share, with contents_mass"
    if len(of_contents) > 1:
        problems.append(Problem(name, f"load.{of_contents[1]}", f"given beside {of_contents[0]}", accepted))
    if of_contents and "contents_mass" not in load:
        missing("contents_mass", accepted)
    if "contents_mass" in load and not of_contents:
        missing("contents", accepted)
    return problems


def _load_example(key: str) -> str:
    return '"1.2 kJ/K"' if key.endswith("capacity") else '"8 W/K"'


def _rotor_either_or(name: str, rotor: Mapping[str, Any], data: Mapping[str, Any]) -> list[Problem]:
    problems = []
    shapes = [key for key in ("curves", "blade", "measured_power") if key in rotor]
    if "rotor" in data and len(shapes) != 1:
        read = f"{' and '.join(shapes)} given" if shapes else "missing"
        accepted = "one of curves, blade and measured_power: a CSV file beside the scenario"
        problems.append(Problem(name, "rotor.curves", read, accepted))
    if "blade" in rotor and "blade" not in data:
        problems.append(
            Problem(
                name,
                "[blade]",
                "missing",
                "a table [blade] with number_of_blades and polar (or camber, or tube_radius)",
            )
        )
    if "blade" in data and "blade" not in rotor and "rotor" in data:
        problems.append(
            Problem(name, "rotor.blade", "missing beside [blade]", "the CSV file with radius, chord and twist")
        )
    blade = data.get("blade")
    if isinstance(blade, dict):
        sections = [key for key in ("polar", "camber", "tube_radius") if key in blade]
        if len(sections) != 1:
            read = f"{' and '.join(sections)} given" if sections else "missing"
            accepted = "one of polar (CSV), camber (bent plate) and tube_radius (blade cut from a tube)"
            problems.append(Problem(name, "blade.polar", read, accepted))
    return problems


_Files = tuple[
    RotorCurves | None, MeasuredPower | None, TorqueCurve | None, FuelMap | None, Schedule | None, Profile | None
]


def _read_files(data: Mapping[str, Any], folder: Path) -> tuple[_Files, list[Problem]]:
    problems: list[Problem] = []

    def read(table: str, key: str, reader: Any) -> Any:
        entry = data.get(table)
        value = entry.get(key) if isinstance(entry, dict) else None
        if not isinstance(value, str):
            return None
        try:
            return reader(folder / value)
        except InputError as error:
            problems.extend(
                Problem(p.where, f"{table}.{key}: {p.key}" if p.key else f"{table}.{key}", p.read, p.accepted)
                for p in error.problems
            )
        except ValueError:  # a NUL in the name
            problems.append(Problem(shown(value), f"{table}.{key}", "no file name", "a CSV file beside the scenario"))
        return None

    files = (
        read("rotor", "curves", read_curves),
        read("rotor", "measured_power", read_measured_power),
        read("engine", "torque_curve", read_torque_curve),
        read("engine", "fuel_map", None if not isinstance(data.get("engine"), dict) else map_reader(data["engine"])),
        read("trip", "schedule", read_schedule),
        read("trip", "profile", read_profile),
    )
    return files, problems


def _cross_checks(scenario: Scenario) -> list[Problem]:
    problems = []
    curves, pitch = scenario.curves, scenario.rotor.pitch
    if curves is not None and len(curves.pitch_deg) > 1:
        convention = scenario.pitch_convention
        ends = sorted(float(v) for v in convention.setting_deg(curves.pitch_deg[[0, -1]]))
        accepted = f"a pitch within the curves, {ends[0]:g} to {ends[1]:g} deg"
        if pitch is None:
            problems.append(Problem(scenario.name, "rotor.pitch", "missing", accepted))
        elif not ends[0] - 1e-9 <= pitch.value <= ends[1] + 1e-9:
            problems.append(Problem(scenario.name, "rotor.pitch", f"{pitch.value:g} deg", accepted))
    problems += _pair_problems(scenario)
    engine = scenario.engine
    if engine is not None:
        for key, falling in (("speed_per_1000_rpm", False), ("gear_ratios", True)):
            entries = getattr(engine, key)
            if entries is not None:
                values = [entry.value for entry in entries]
                if values != sorted(values, reverse=falling) or len(set(values)) != len(values):
                    problems.append(
                        Problem(scenario.name, f"engine.{key}", "not in order", "lowest gear first, each gear once")
                    )
    return problems + _garage_checks(scenario)


def _garage_checks(scenario: Scenario) -> list[Problem]:
    """Return faults between the keys that the loads need."""
    problems = []
    blades, mount, linkage, bearing = scenario.blade_loads, scenario.mount, scenario.linkage, scenario.bearing
    radius = scenario.rotor.diameter.value / 2
    if blades is not None:
        count = blades.number_of_blades
        if count is not None and count.value != round(count.value):
            problems.append(
                Problem(scenario.name, "blade_loads.number_of_blades", f"{count.value:g}", "a whole number")
            )
        if count is None and scenario.blade is None:
            problems.append(
                Problem(scenario.name, "blade_loads.number_of_blades", "missing", "the number of blades, such as 3")
            )
        for one, other in (("mass", "centre_of_mass"), ("piece_masses", "piece_radii")):
            if (getattr(blades, one) is None) != (getattr(blades, other) is None):
                problems.append(
                    Problem(scenario.name, f"blade_loads.{one}", f"without {other}, or the other way", "both")
                )
        if blades.mass is not None and blades.piece_masses is not None:
            problems.append(Problem(scenario.name, "blade_loads.mass", "given beside piece_masses", "either of them"))
        masses, radii = blades.piece_masses or (), blades.piece_radii or ()
        if masses and radii and len(masses) != len(radii):
            problems.append(
                Problem(
                    scenario.name, "blade_loads.piece_radii", f"{len(radii)} radii for {len(masses)} masses", "one each"
                )
            )
        if masses and not sum(entry.value for entry in masses) > 0:
            problems.append(
                Problem(scenario.name, "blade_loads.piece_masses", "all zero", "a blade that weighs something")
            )
        for key, values in (
            ("centre_of_mass", [blades.centre_of_mass]),
            ("piece_radii", radii),
            ("root_radius", [blades.root_radius]),
        ):
            for entry in values:
                if entry is not None and entry.value > radius:
                    problems.append(
                        Problem(
                            scenario.name,
                            f"blade_loads.{key}",
                            f"{entry.value:g} m",
                            f"at most the rotor radius, {radius:g} m",
                        )
                    )
    if mount is not None and mount.bolt_distances is not None and not any(d.value > 0 for d in mount.bolt_distances):
        problems.append(
            Problem(scenario.name, "mount.bolt_distances", "all zero", "at least one bolt ahead of the rear edge")
        )
    if linkage is not None and linkage.travel_from.value >= linkage.travel_to.value:
        problems.append(
            Problem(scenario.name, "linkage.travel_to", f"{linkage.travel_to.value:g} deg", "above travel_from")
        )
    if linkage is not None:
        square = linkage.square_at
        middle = (linkage.travel_from.value + linkage.travel_to.value) / 2 if square is None else square.value
        if max(linkage.travel_to.value - middle, middle - linkage.travel_from.value) > 80:
            problems.append(
                Problem(
                    scenario.name,
                    "linkage.square_at",
                    f"{middle:g} deg",
                    "a right angle within 80 deg of both ends of the travel: beyond that the rod lies dead on the horn",
                )
            )
    if bearing is not None and bearing.kind == "tapered_roller":
        problems += [
            Problem(
                scenario.name, f"bearing.{key}", "missing", "the factor of a tapered roller bearing's maker's sheet"
            )
            for key in ("axial_factor", "static_axial_factor")
            if getattr(bearing, key) is None
        ]
    return problems


def _trip_problems(name: str, trip: Mapping[str, Any]) -> list[Problem]:
    """Return faults of what stands together in [trip]."""
    problems = []
    if ("road_speed" in trip) == ("schedule" in trip):
        read = "both given" if "schedule" in trip else "missing"
        problems.append(
            Problem(
                name,
                "trip.road_speed",
                read,
                'either road_speed, such as "100 km/h", or schedule, a CSV of speed over time',
            )
        )
    if "schedule" not in trip:
        problems += [
            Problem(name, f"trip.{key}", "given without a schedule", "trip.schedule, a CSV of speed over time")
            for key in ("profile", "works", "works_speed", "longest_idle")
            if key in trip
        ]
    else:
        problems += [
            Problem(name, f"trip.{key}", "given beside a schedule", "the schedule alone: it tells this itself")
            for key in ("acceleration", "distance")
            if key in trip
        ]
        by_speed = trip.get("works") in ("below_speed", "above_speed")
        if by_speed != ("works_speed" in trip):
            problems.append(
                Problem(
                    name,
                    "trip.works_speed",
                    "missing" if by_speed else "given",
                    'a speed such as "50 km/h" together with works = "below_speed" or "above_speed"',
                )
            )
    return problems


def _pair_problems(scenario: Scenario) -> list[Problem]:
    """Return faults of the correlated pairs: keys that do not exist or hold no quantity, pairs that contradict others."""
    quantities = [
        f"{table}.{key}"
        for table, model in TABLES.items()
        for key, info in model.model_fields.items()
        if isinstance(info.json_schema_extra, dict) and isinstance(info.json_schema_extra.get("spec"), Spec)
    ]
    pairs = scenario.uncertainty.correlated
    named = list(dict.fromkeys(key for pair in pairs for key in (pair.first, pair.second)))
    problems = [
        Problem(
            scenario.name,
            "uncertainty.correlated",
            f"unknown key {shown(key)}",
            f"{near} (nearest)" if (near := nearest(key, quantities)) else "a key such as rotor.power_factor",
        )
        for key in named
        if key not in quantities
    ]
    matrix = np.eye(len(named))
    for pair in pairs:
        i, j = named.index(pair.first), named.index(pair.second)
        matrix[i, j] = matrix[j, i] = pair.coefficient.value
        if i == j:
            problems.append(Problem(scenario.name, "uncertainty.correlated", f"{pair.first} twice", "two inputs"))
    if not problems and pairs and np.linalg.eigvalsh(matrix)[0] < 1e-6:
        problems.append(
            Problem(
                scenario.name,
                "uncertainty.correlated",
                "coefficients that contradict each other",
                "a positive definite set of correlations",
            )
        )
    return problems


def _warnings(scenario: Scenario) -> list[str]:
    found = []
    if (
        scenario.schedule is not None
        and scenario.wind_climate is not None
        and "wind_speed" in scenario.air.model_fields_set
    ):
        found.append("air.wind_speed is given, so the trip does not use wind_climate")
    diameter = scenario.rotor.diameter.value
    if diameter > 10:
        found.append(f"rotor.diameter is {diameter:g} m: wider than 10 m on a vehicle looks like a slip of the pen")
    width = scenario.vehicle.width
    if width is not None and diameter > width.value:
        found.append(f"the rotor ({diameter:g} m) stands out beyond the vehicle ({width.value:g} m wide)")
    elif 2.55 < diameter <= 10:
        found.append(f"the rotor ({diameter:g} m) is wider than 2.55 m, the greatest vehicle width in many countries")
    if scenario.vehicle.mass.value < 150:
        found.append(f"vehicle.mass is {scenario.vehicle.mass.value:g} kg: light for a road vehicle")
    return found
