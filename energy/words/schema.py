"""JSON Schemas of what the commands print with --json, made from the models that fill it."""

from __future__ import annotations

from typing import Any

from energy.words.answer_model import AnswerData
from energy.words.result_model import ResultModel

COMMANDS: dict[str, type[ResultModel]] = {"answer": AnswerData}


def schema_of(command: str) -> dict[str, Any]:
    """Return the JSON Schema of a command's JSON."""
    return COMMANDS[command].model_json_schema(mode="serialization")
