"""Random settings made from the key table itself, and what must hold of whatever windtoll makes of them.

Every key is drawn, inside its limits, on them and beyond, with its own units and with others, as a value, as a range
and as something else altogether. `faults_of_answer` and `faults_of_result` are the oracle: they know the shapes of
the results, nothing of how they are computed.
"""

from __future__ import annotations

import functools
import json
import math
import re
import tomllib
import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from click.testing import CliRunner
from hypothesis import strategies as st

from energy.cli import group
from energy.scenario import read
from energy.scenario.keys import TABLES
from vehicle.problems import InputError
from vehicle.quantity import Spec
from vehicle.units import examples

NOTHING_W = 0.051  # of fuel: up to some 40 mL of diesel a year a verdict may call it none
ODD_TEXTS = ("", " ", "−5", "1e400", "nan kg", "0x10 m", "1,5 m", "1 234 kg", "ü", "m", "3 m//s", "-0 m/s", "1e-320 m")
ODD_VALUES = (None, True, False, [], {}, [1, [2]], {"value": 1}, {"low": "9 m", "high": "1 m"}, "9" * 400, 10**40, -1)
OTHER_UNITS = ("m", "kg", "mph", "km/h", "degF", "ft", "W", "V", "rpm", "%", "lbf", "psi", "L", "furlong", "")


@dataclass(frozen=True)
class Setting:
    """One value laid over a scenario: its key, and what stands behind the sign of equality on a command line."""

    key: str
    value: Any

    def option(self) -> str:
        """Return the setting as the command line takes it."""
        return f"{self.key}={toml(self.value)}"


def toml(value: Any) -> str:
    """Return a value as TOML; a text is quoted."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    return json.dumps(value, ensure_ascii=False) if value is not None else '""'


def _numbers(spec: Spec) -> st.SearchStrategy[float]:
    """Return numbers in and about the limits of a key, in the first of its units."""
    ends = [end for end in (spec.at_least, spec.above, spec.at_most) if end is not None]
    about = [end * factor + step for end in ends for factor in (1.0, 0.999, 1.001, 2.0) for step in (0.0, 1e-9, -1e-9)]
    wide = st.builds(lambda sign, power: sign * 10.0**power, st.sampled_from([1.0, 1.0, 1.0, -1.0]), st.floats(-4, 5))
    inside = st.floats(ends[0], ends[-1]) if len(ends) > 1 and ends[0] < ends[-1] else st.floats(0, 100)
    return st.one_of(inside, wide, st.sampled_from([*about, 0.0]), st.floats(allow_nan=False, width=32))


def _texts(spec: Spec) -> st.SearchStrategy[Any]:
    """Return quantities as people write them: a number with a unit, or a bare one where the key has no unit."""
    own = [text.split(maxsplit=1)[1] for text in examples(spec.unit) if " " in text] or [""]
    units = st.one_of(st.sampled_from(own), st.sampled_from(own), st.sampled_from(own), st.sampled_from(OTHER_UNITS))
    with_unit = st.builds(lambda number, unit: f"{number:.6g} {unit}".strip(), _numbers(spec), units)
    return with_unit if spec.unit != "dimensionless" else st.one_of(_numbers(spec).map(lambda n: n), with_unit)


def _quantities(spec: Spec) -> st.SearchStrategy[Any]:
    texts = _texts(spec)
    return st.one_of(
        texts,
        texts,
        st.builds(lambda a, b: {"low": a, "high": b}, texts, texts),
        st.builds(lambda a, b: {"value": a, "plus_minus": b}, texts, texts),
        st.builds(lambda a, b, c: {"value": a, "low": b, "high": c, "shape": "normal"}, texts, texts, texts),
    )


def _values(table: str, name: str, own: object = None) -> st.SearchStrategy[Any]:
    """Return values for a key: most near what the scenario has (`own`) or its default, some anything of its kind, some
    nothing of it.
    """
    field = TABLES[table].model_fields[name]
    extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
    odd = st.one_of(st.sampled_from(ODD_TEXTS), st.sampled_from(ODD_VALUES), st.text(max_size=8))
    spec, near = extra.get("spec"), [own] if own is not None else []
    if isinstance(spec, Spec):
        wide = _quantities(spec)
        wide = st.lists(wide, max_size=4) if extra.get("list") else wide
        near += [spec.default] if spec.default is not None and not near else []
    elif "price_per" in extra:
        wide = st.builds(
            lambda n, unit: f"{n:.4g} EUR/{unit}", st.floats(-1, 1e4), st.sampled_from(["L", "gal", "kWh"])
        )
    else:
        leaves = _leaves(field.annotation)
        choices = [c for a in leaves for c in (typing.get_args(a) or ((True, False) if a is bool else ()))]
        wide = st.sampled_from(choices) if choices else st.just(own) if own is not None else odd
    usual = _near(near[0]) if near else wide
    return st.integers(0, 19).flatmap(lambda k: odd if k == 0 else wide if k < 5 else usual)


def _near(value: Any) -> st.SearchStrategy[Any]:
    """Return values like one that a scenario has: each of its numbers times up to three, or a third."""
    if isinstance(value, dict):
        return st.fixed_dictionaries({key: _near(part) for key, part in value.items()})
    if isinstance(value, list):
        return st.tuples(*[_near(part) for part in value]).map(list)
    number = re.match(r"[-+]?\d+(\.\d*)?", value) if isinstance(value, str) else None
    if number is None and (isinstance(value, (str, bool)) or not isinstance(value, (int, float))):
        return st.just(value)
    factors = _factors()
    if number is None:
        return factors.map(
            lambda factor: round(value * factor) if isinstance(value, int) else float(f"{value * factor:.4g}")
        )
    rest = str(value)[number.end() :]
    return factors.map(lambda factor: f"{float(number[0]) * factor:.4g}{rest}")


@functools.cache
def _factors() -> st.SearchStrategy[float]:
    return st.floats(-1, 1).map(lambda power: 3.0**power)


def _leaves(annotation: Any) -> list[Any]:
    """Return the parts of a type such as `Literal[...] | None`."""
    if typing.get_origin(annotation) is typing.Literal:
        return [annotation]
    parts = typing.get_args(annotation)
    return [leaf for part in parts for leaf in _leaves(part)] if parts else [annotation]


KEYS = [(table, name) for table, model in TABLES.items() for name in model.model_fields]
SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"
STEADY = ("camper_oven", "parked_on_a_ridge", "pickup_drying_box", "van_water_tank")
ALL = (*STEADY, "van_in_town")


@dataclass(frozen=True)
class Case:
    """A demo scenario with settings laid over it."""

    name: str
    changes: tuple[Setting, ...]


def cases(names: Sequence[str] = ALL) -> st.SearchStrategy[Case]:
    """Return demo scenarios of these names with one to three settings laid over each; most keys are its own."""
    return st.sampled_from(names).flatmap(
        lambda name: st.builds(
            Case,
            st.just(name),
            st.lists(_setting(name), min_size=1, max_size=3, unique_by=lambda change: change.key).map(tuple),
        )
    )


@functools.cache
def _setting(name: str) -> st.SearchStrategy[Setting]:
    """Return settings for a demo: nine of ten of keys that it has or that have defaults in its tables."""
    tables = _tables(name)
    usual = [
        (table, key)
        for table, key in KEYS
        if key in tables.get(table, {}) or (table in tables and _spec_default(table, key) is not None)
    ]
    return st.integers(0, 9).flatmap(
        lambda k: st.sampled_from(KEYS if k == 0 else usual).flatmap(lambda key: _setting_of(name, *key))
    )


@functools.cache
def _setting_of(name: str, table: str, key: str) -> st.SearchStrategy[Setting]:
    """Return settings of one key for a demo, made once: to make them takes longer than to draw from them."""
    return st.builds(Setting, st.just(f"{table}.{key}"), _values(table, key, _tables(name).get(table, {}).get(key)))


@functools.cache
def _tables(name: str) -> dict[str, dict[str, Any]]:
    own = tomllib.loads((SCENARIOS / name / "scenario.toml").read_text(encoding="utf-8"))
    return {table: entries for table, entries in own.items() if isinstance(entries, dict)}


def _spec_default(table: str, key: str) -> object:
    extra = TABLES[table].model_fields[key].json_schema_extra
    spec = extra.get("spec") if isinstance(extra, dict) else None
    return spec.default if isinstance(spec, Spec) else None


def answer_of(command: str, case: Case, *options: str, seen: list[str] | None = None) -> list[str]:
    """Run a command on a case, as typed; return what is wrong with what it did, [] if nothing.

    What is unforeseen is not caught: it ends the test with its traceback. `seen` takes what came of it.
    """
    arguments = [command, str(SCENARIOS / case.name / "scenario.toml"), "--json", *options]
    for change in case.changes:
        arguments += ["--set", change.option()]
    result = CliRunner().invoke(group(), arguments, standalone_mode=False)
    seen = [] if seen is None else seen
    if isinstance(result.exception, InputError):
        seen.append("refused")
        return _faults_of_refusal(result.exception)
    if isinstance(result.exception, SystemExit):
        status = result.exception.code
    elif result.exception is not None:
        raise result.exception
    else:
        status = result.return_value or 0
    seen.append("unsafe" if status == 3 else "answered")
    faults = [] if status in (0, 3) else [f"exit status {status}"]
    try:
        data = json.loads(result.stdout, parse_constant=lambda text: text)
    except ValueError:
        return [*faults, f"no JSON: {result.stdout[:200]}"]
    faults += faults_of_result(data)
    if command == "answer":
        faults += faults_of_answer(data, status)
    return faults


_READERS = ("read_curves", "read_measured_power", "read_torque_curve", "read_schedule", "read_profile")


def read_once(put: Callable[[str, Callable[[Path], Any]], None]) -> None:
    """Have the CSV files of a scenario read once, by `put(name, reader)` for `energy.scenario.read`.

    They are the same in every case. Their arrays are locked, so that whatever would write into one fails.
    """
    for name in _READERS:
        put(name, _kept(getattr(read, name)))


def _kept(reader: Callable[[Path], Any]) -> Callable[[Path], Any]:
    """Return a reader that keeps what it has read, its arrays locked; what it refuses is read and refused again."""

    @functools.cache
    def kept(path: Path) -> Any:
        found = reader(path)
        for part in vars(found).values() if hasattr(found, "__dict__") else ():
            if isinstance(part, np.ndarray):
                part.setflags(write=False)
        return found

    return kept


def _faults_of_refusal(error: InputError) -> list[str]:
    lines = str(error).splitlines()
    faults = [] if lines else ["a refusal without a word"]
    faults += [
        f"no word of what is accepted: {line}"
        for line in lines
        if not line.rstrip().endswith(".") and "accepted" not in line
    ]
    return faults + [
        f"a refusal in a program's words: {line}" for line in lines if "Input should" in line or "Error(" in line
    ]


def faults_of_result(data: Any, place: str = "") -> list[str]:
    """Return what is wrong with any result: numbers that are none, intervals whose ends are not in order."""
    if isinstance(data, str):
        return [f"{place}: {data}"] if data in ("NaN", "Infinity", "-Infinity") else []
    if isinstance(data, float):
        return [] if math.isfinite(data) else [f"{place}: {data}"]
    if isinstance(data, list):
        return [fault for k, entry in enumerate(data) for fault in faults_of_result(entry, f"{place}[{k}]")]
    if not isinstance(data, Mapping):
        return []
    faults = [fault for key, entry in data.items() for fault in faults_of_result(entry, f"{place}.{key}")]
    low, middle, high = (data.get(key) for key in ("low", "estimate", "high"))
    if {"low", "high", "level"} <= set(data) and None not in (low, high):
        ordered = low <= high and (middle is None or low <= middle <= high)
        faults += [] if ordered else [f"{place}: {low}, {middle}, {high} are not in order"]
    return faults


def faults_of_answer(data: Mapping[str, Any], status: int) -> list[str]:
    """Return what is wrong with an answer: the ledger, the powers, the verdict against the sign, the exit status."""
    faults = []
    scale = max([1.0, *(abs(row["watts"]) for row in data["ledger"])])
    for account in {row["account"] for row in data["ledger"]}:
        left = sum(row["watts"] for row in data["ledger"] if row["account"] == account)
        faults += [f"the account {account} is open by {left} W"] if abs(left) > 1e-6 * scale else []
    rotor, trip = data["rotor"], data["trip"]
    if trip is None:
        fed = rotor["thrust_n"] * rotor["air_speed_m_s"]
        shaft = rotor["shaft_power_w"]
        faults += [f"shaft {shaft} W out of {fed} W of thrust"] if shaft > fed * (1 + 1e-9) + 1e-6 else []
        electrical = data["electrical_power_w"]
        faults += (
            [f"electrical {electrical} W out of {shaft} W"] if electrical > max(shaft, 0) * (1 + 1e-9) + 1e-6 else []
        )
        still = data["conditions"]["air_speed_ahead_m_s"] <= data["conditions"]["road_speed_m_s"] * (1 + 1e-9)
        straight = abs(data["conditions"]["air_speed_across_m_s"]) < 1e-9
        if still and straight and shaft > rotor["drag_power_w"] * (1 + 1e-9) + 1e-6:
            faults.append(f"still air gives {shaft} W for a drag power of {rotor['drag_power_w']} W")
    verdict, interval = data["verdict"], data["interval"]
    if interval is not None:
        both = interval["probability_saves"], interval["probability_costs"]
        likely = {"saves": both[0], "costs": both[1]}.get(verdict, 1.0)
        faults += [f"the verdict is {verdict!r} with a probability of {likely}"] if likely < 0.5 else []
        faults += [f"probabilities {both}"] if not (min(both) >= 0 and sum(both) <= 1 + 1e-9) else []
    elif verdict != "cannot tell" and abs(data["fuel_change"]["power_w"] or 0) > NOTHING_W:
        sign = data["fuel_change"]["power_w"] > 0
        faults += [f"{verdict!r} for {data['fuel_change']['power_w']} W"] if sign != (verdict == "costs") else []
    broken = any(limit["broken"] for limit in data["limits"])
    faults += [f"status {status} with limits broken: {broken}"] if (status == 3) != broken else []
    faults += [f"safe is {data['safe']} with limits broken: {broken}"] if broken != (data["safe"] is False) else []
    headline = data["headline"]
    if (verdict == "costs" and headline.startswith("Saves")) or (verdict == "saves" and headline.startswith("Costs")):
        faults.append(f"{headline!r} for {verdict!r}")
    return faults
