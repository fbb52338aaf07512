"""What a command prints with --json is what its schema says, and every field says its meaning and its unit."""

from __future__ import annotations

import contextlib
import functools
import importlib
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from tests_support import run

from energy.chain.load import load
from energy.cli import COMMANDS as SUBCOMMANDS
from energy.cli import group
from energy.commands.fit import SUBCOMMANDS as FITS
from energy.diagnosis import examples
from energy.words.schema import COMMANDS, schema_of
from vehicle.problems import InputError

pytestmark = pytest.mark.usefixtures("few_draws")

DEMOS = ("van_water_tank", "pickup_drying_box", "parked_on_a_ridge", "camper_oven", "van_in_town")
OF_A_SCENARIO = (
    "answer",
    "answer --exact",
    "check",
    "match",
    "payback",
    "payback --exact",
    "curves",
    "curves --air=20m/s",
    "heat",
    "heat --exact",
    "loads",
    "loads --ladder",
    "loads --electrical",
    "loads --pitch-system",
    "loads --bearing",
    "loads --root",
    "callsheet --out={out}",
)
OF_NO_SCENARIO = (
    ("curves", ("{demos}/wind_tunnel_rotor/rotor.toml",)),
    ("size", ("--heat", "2 kW", "--speed", "65 mph")),
    ("begin", ("{out}/mine",)),
    ("begin", ("{out}/ours", "--vehicle", "pickup", "--fuel", "battery")),
    ("example", ("{out}/demos",)),
    ("plan", ("--effect", "4 %")),
    ("compare", ("{demos}/road_test/runs.toml",)),
    ("read", ("{demos}/van_water_tank/trip.csv",)),
    ("read", ("{run}", "--manifest", "{demos}/road_test/runs.toml")),
    ("read", ("{run}", "{other}")),
    ("join", ("{run}", "{other}", "--offset", "1 s", "--out", "{out}/joined.csv")),
    ("fit load --reading", ("77 degF to 187 degF in 6 minutes at about 2 kW",)),
    ("fit load", ("{demos}/van_water_tank/warm_up_log.csv",)),
    ("keys", ()),
    ("keys", ("rotor",)),
    ("balance", ("--knife-edge", "12 g, 300 mm, 90 deg")),
    ("balance", ("--knife-edge", "12 g, 300 mm, 90 deg", "--rotor-mass", "11 kg", "--speed", "900 rpm")),
)
OF_MEASUREMENTS = ("truepitch", "tune", "reconcile", "shortfall", "plan", "compare")
# By tests/energy/commands/test_road_test.py, tests/energy/words/test_record.py and tests/energy/chain/test_evidence.py.
HELD_ELSEWHERE = ("fit coastdown", "record", "evidence")
# Parts that a scenario may lack, which the command says instead.
MAY_BE_REFUSED = ("loads --",)


def printed(*words: str) -> Any:
    """Return what a command prints with --json."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        try:
            group()([*words, "--json"], standalone_mode=False)
        except SystemExit as end:
            if end.code != 3:  # do not operate: an answer all the same
                raise
    return json.loads(out.getvalue())


@functools.cache
def validator_of(name: str) -> Any:
    """Return what holds something against a schema: made, and the schema itself held against its own, once a name."""
    schema = schema_of(name)
    kind = jsonschema.validators.validator_for(schema)
    kind.check_schema(schema)
    return kind(schema)


def keeps_its_schema(name: str, *words: str) -> None:
    """Hold what a command prints against the schema of its name: no key more, none less."""
    said = printed(*words)
    assert (fault := jsonschema.exceptions.best_match(validator_of(name).iter_errors(said))) is None, fault


def named(words: str) -> str:
    """Return the name under which a command's schema stands."""
    return words if words in COMMANDS else words.partition(" ")[0]


@pytest.mark.parametrize("demo", DEMOS)
@pytest.mark.parametrize("words", OF_A_SCENARIO)
def test_what_a_scenario_answers_keeps_its_schema(demos: Path, tmp_path: Path, demo: str, words: str) -> None:
    command, *options = words.format(out=tmp_path / "page.html").split()
    arguments = (command, str(demos / demo / "scenario.toml"), *options)
    try:
        keeps_its_schema(named(words), *arguments)
    except InputError:
        assert words.startswith(MAY_BE_REFUSED)
        assert demo != "van_water_tank"  # has every part


@pytest.mark.parametrize("demo", DEMOS)
def test_what_measurements_answer_keeps_its_schema(demos: Path, tmp_path: Path, demo: str) -> None:
    path = demos / demo / "scenario.toml"
    scenario = load(path)
    files = {
        "truepitch": ("measured.csv", examples.measured_example(scenario)),
        "tune": ("sweep.csv", examples.sweep_example(scenario)),
        "reconcile": ("results.toml", examples.results_example(scenario)),
    }
    for command, (name, text) in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
        keeps_its_schema(command, command, str(path), str(tmp_path / name))
    if demo != "parked_on_a_ridge":  # burns no fuel
        keeps_its_schema("plan", "plan", str(path), "--length", "15 km")
        runs = str(demos / "road_test" / "runs.toml")
        keeps_its_schema("compare", "compare", runs, "--scenario", str(path))
    keeps_its_schema("shortfall", "shortfall", str(path), "--reading", "210 W at 60 mph, 400 rpm")
    keeps_its_schema("heat", "heat", str(path), "--trip", str(demos / "van_water_tank" / "trip.csv"))


@pytest.mark.parametrize(("name", "options"), OF_NO_SCENARIO)
def test_what_needs_no_scenario_keeps_its_schema(
    demos: Path, tmp_path: Path, name: str, options: tuple[str, ...]
) -> None:
    run, other, *_ = sorted((demos / "road_test").glob("*.csv"))
    words = (one.format(demos=demos, out=tmp_path, run=run, other=other) for one in options)
    keeps_its_schema(name, *name.split(), *words)


def objects(name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield each object of a schema with its title."""
    schema = schema_of(name)
    yield from schema.get("$defs", {}).items()
    yield schema["title"], schema


def kinds(field: Any) -> set[str]:
    """Return the types that a field may hold, at any depth, and the objects that it refers to."""
    if isinstance(field, list):
        return set().union(*(kinds(one) for one in field))
    if not isinstance(field, dict) or "const" in field:
        return set()
    own = {field["type"]} if isinstance(field.get("type"), str) else set()
    refers = {field["$ref"].rpartition("/")[2]} if "$ref" in field else set()
    inner = [field.get(key) for key in ("anyOf", "items", "prefixItems", "additionalProperties")]
    return own | refers | kinds(inner)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_field_has_a_meaning_and_every_number_a_unit(name: str) -> None:
    estimates = {"EstimateData", "EstimatesData", "OffsetData", "ForceData"}  # their numbers have the unit of the field
    for title, part in objects(name):
        for key, field in part.get("properties", {}).items():
            assert field.get("description"), (title, key)
            if kinds(field) & ({"number", "integer"} | estimates):
                assert field.get("unit"), (title, key)


@pytest.mark.parametrize("name", COMMANDS)
def test_an_interval_has_one_shape(name: str) -> None:
    """Ends stand in `{"estimate", "low", "high", "level"}` and nowhere else, but where something has ends without a
    level: what a scenario states of an input, and the span of settings that keep a share of the heat.
    """
    without_level = {"AssumptionData", "StatedData", "FlatnessData"}
    for title, part in objects(name):
        keys = set(part.get("properties", {}))
        if "low" in keys and title not in without_level:
            assert {"estimate", "low", "high", "level"} <= keys, title
        odd = (
            r"confidence|l_per_100_km|^(low|high|lower|upper)_(?!is_limit)|_(low|high|lower|upper)$|_(low|high)_(?!is)"
        )
        assert not [key for key in keys if re.search(odd, key)], title


@pytest.mark.parametrize("name", COMMANDS)
def test_no_key_may_be_missing_and_none_added(name: str) -> None:
    for title, part in objects(name):
        if "properties" in part:
            assert part["additionalProperties"] is False, title
            assert sorted(part["required"]) == sorted(part["properties"]), title


def test_every_command_with_json_has_a_schema() -> None:
    tables = [(f"fit {name}", module) for name, module in FITS.items()]
    tables += [(name, module) for name, module in SUBCOMMANDS.items() if name != "fit"]
    for name, module in tables:
        command = importlib.import_module(f"energy.commands.{module}").command
        assert (name in COMMANDS) == any(one.name == "as_json" for one in command.params), name


def test_every_schema_is_held_against_what_its_command_prints() -> None:
    held = {named(words) for words in OF_A_SCENARIO} | {name for name, _ in OF_NO_SCENARIO} | {*OF_MEASUREMENTS}
    assert held | {*HELD_ELSEWHERE} == set(COMMANDS)


def test_the_command_prints_a_schema_by_name_and_lists_the_names() -> None:
    assert json.loads(run("schema", "loads", "--ladder").stdout) == schema_of("loads --ladder")
    assert run("schema").stdout.split("\n")[:-1] == list(COMMANDS)
    wrong = run("schema", "anser")
    assert wrong.returncode == 2
    assert "nearest: answer" in wrong.stderr
