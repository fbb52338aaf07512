"""Terms that are explained are those of keys, and a drawing is one that a page takes. Own rules, no source."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from energy.scenario.keys import TABLES
from energy.words import terms


@pytest.mark.parametrize("key", terms._OF_KEYS)
def test_every_key_with_a_term_is_a_key(key: str) -> None:
    table, _, name = key.partition(".")
    assert name in TABLES[table].model_fields
    assert terms.term_of(key) == terms.TERMS[terms._OF_KEYS[key]]


def test_a_key_without_a_term_has_none() -> None:
    assert terms.term_of("vehicle.mass") is None


@pytest.mark.parametrize("term", terms.TERMS)
def test_one_sentence_or_two_and_a_drawing_that_is_whole(term: str) -> None:
    meaning = terms.TERMS[term]
    assert meaning.endswith(".")
    assert len(meaning) < 200
    svg = terms.drawing(term)
    assert not svg or ET.fromstring(svg).attrib["aria-label"]


def test_drawings_are_of_terms() -> None:
    assert set(terms._DRAWINGS) <= set(terms.TERMS)
