"""Random settings of every key through the commands: an answer that holds, or one sentence a fault.

Some five hundred, a sample. The study, with thousands of them, is started by hand: tests/benchmarks/any_input.py.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from scenario_fuzz import STEADY, Case, Setting, answer_of, cases, read_once
from tests_support import of_study

from energy.scenario import read

FOUND = Path(__file__).resolve().parents[2] / "data" / "any_input.json"


@pytest.fixture(scope="module", autouse=True)
def _files_read_once() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        read_once(lambda name, reader: patch.setattr(read, name, reader))
        yield


@settings(max_examples=of_study(250, 1000))
@given(cases())
def test_answer_at_the_stated_values(case: Case) -> None:
    assert answer_of("answer", case, "--exact") == []


@settings(max_examples=of_study(15, 60))
@given(cases(STEADY))
def test_answer_with_draws(case: Case) -> None:
    assert answer_of("answer", case) == []


@pytest.mark.parametrize(
    ("command", "examples"),
    of_study(
        [("loads", 25), ("heat", 5), ("match", 3), ("check", 250)],
        [("loads", 100), ("heat", 20), ("match", 10), ("check", 810)],
    ),
)
def test_the_other_questions(command: str, examples: int) -> None:
    @settings(max_examples=examples)
    @given(cases())
    def holds(case: Case) -> None:
        assert answer_of(command, case) == []

    holds()


@pytest.mark.parametrize("found", json.loads(FOUND.read_text(encoding="utf-8")), ids=lambda found: found[-1])
def test_what_was_ever_found(found: tuple[str, str, dict[str, object], str]) -> None:
    words, name, changes, _ = found
    command, *options = words.split()
    assert answer_of(command, Case(name, tuple(Setting(*change) for change in changes.items())), *options) == []
