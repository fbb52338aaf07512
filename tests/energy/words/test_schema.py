"""What a command prints with --json is what its schema says, and every field says its meaning."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from tests_support import run

from energy.words.schema import COMMANDS, schema_of


@pytest.mark.parametrize("demo", ["van_water_tank", "parked_on_a_ridge", "van_in_town"])
def test_the_answers_json_keeps_its_schema(demos: Path, demo: str) -> None:
    printed = run("schema", "answer")
    assert printed.returncode == 0
    schema = json.loads(printed.stdout)
    done = run("answer", str(demos / demo / "scenario.toml"), "--json")
    jsonschema.validate(json.loads(done.stdout), schema)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_field_has_a_meaning(name: str) -> None:
    schema = schema_of(name)

    def fields(part: dict[str, Any]) -> None:
        for key, field in part.get("properties", {}).items():
            assert field.get("description"), key

    fields(schema)
    for part in schema.get("$defs", {}).values():
        fields(part)
