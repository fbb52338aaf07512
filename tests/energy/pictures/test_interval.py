"""The picture of a verdict's range: its places are those of the numbers, and its texts keep apart at phone width."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from energy.chain.answer import answered
from energy.chain.load import load
from energy.pictures.interval import _rows, _span, _Text, domain_of, interval_html
from energy.scenario.read import Scenario
from energy.words.answer import as_data
from energy.words.interval import Interval, change_interval, heat_interval, main_interval


def _places(page: str, name: str) -> list[tuple[float, float]]:
    found = re.findall(rf'<i class="{name}" style="left:([\d.]+)%(?:;width:([\d.]+)%)?', page)
    return [(float(left) / 100, float(width or 0) / 100) for left, width in found]


def test_places_are_those_of_the_numbers(van: Scenario) -> None:
    told = answered(van)
    shown = change_interval(told, "metric")
    data = as_data(told)
    ninety, fifty = data["interval"]["fuel_change_l_per_h"], data["interval"]["half_of_fuel_change_l_per_h"]
    page, (low, high) = interval_html(shown), domain_of([shown])

    def at(value: float) -> float:
        return (value - low) / (high - low)

    for name, ends in (("ninety", ninety), ("fifty", fifty)):
        ((left, width),) = _places(page, name)
        assert left == pytest.approx(at(ends["low"]), abs=1e-4)
        assert left + width == pytest.approx(at(ends["high"]), abs=2e-4)
    assert _places(page, "median")[0][0] == pytest.approx(at(ninety["estimate"]), abs=1e-4)
    assert _places(page, "wt-strip-line zero")[0][0] == pytest.approx(at(0.0), abs=1e-4)
    stowed = data["states"]["stowed"]["fuel_l_per_h"] - data["states"]["absent"]["fuel_l_per_h"]
    by_alternator = next(s for s in data["other_sources"] if "alternator" in s["name"])["fuel_l_per_h"]
    others = _places(page, "wt-strip-line other")
    assert [place for place, _ in others] == pytest.approx([at(stowed), at(by_alternator)], abs=1e-4)
    assert "0: not fitted" in page
    assert "carried stowed" in page


def test_the_heat_stands_against_what_the_element_is_rated_for(van: Scenario) -> None:
    told = answered(van)
    shown = heat_interval(told, "metric")
    rated = next(limit for limit in as_data(told)["limits"] if limit["key"] == "heater.rated_power")
    (mark,) = [mark for mark in shown.marks if mark.kind == "limit"]
    assert mark.value == pytest.approx(rated["limit"] / 1e3)
    assert 'class="wt-strip-line limit"' in interval_html(shown)


def test_where_no_fuel_changes_the_heat_is_shown(demos: Path) -> None:
    told = answered(load(demos / "parked_on_a_ridge" / "scenario.toml"))
    shown = main_interval(told, "metric")
    assert shown.name.startswith("Heat into")
    assert shown.ends[2] == pytest.approx(as_data(told)["interval"]["heat_power_w"]["estimate"] / 1e3)


def test_zero_is_named_by_what_it_is_compared_with(van: Scenario) -> None:
    stowed = replace(van, trip=van.trip.model_copy(update={"compared_with": "stowed"}))
    shown = change_interval(answered(stowed, exact=True), "us")
    assert [mark.words for mark in shown.marks if mark.kind == "zero"] == ["0: carried stowed"]
    (other,) = [mark for mark in shown.marks if mark.kind == "baseline"]
    assert other.words == "not fitted"
    assert other.value < 0
    assert shown.unit == "US gal/h"


def test_a_hostile_name_is_text(van: Scenario) -> None:
    told = answered(van, exact=True)
    shown = replace(heat_interval(told, "metric"), name='"><script>alert(1)</script>')
    assert "<script" not in interval_html(shown)


@st.composite
def _texts(draw: st.DrawFn) -> list[_Text]:
    one = st.builds(_Text, st.floats(0, 1), st.text("abcdefgh", min_size=1, max_size=24), st.booleans())
    return draw(st.lists(one, min_size=1, max_size=6))


@given(_texts())
def test_texts_of_one_row_never_touch_and_stay_inside(texts: list[_Text]) -> None:
    rows = _rows(texts)
    for k, text in enumerate(texts):
        left, right = _span(text)
        assert left > -0.03 or text.wide > 0.5
        assert right < 1.03 or text.wide > 0.5
        for j in range(k):
            if rows[j] == rows[k]:
                a, b = _span(texts[j])
                assert right <= a or left >= b


@given(st.lists(st.tuples(st.floats(0, 0.45), st.text("abcdefgh", min_size=1, max_size=22)), min_size=2, max_size=4))
def test_no_line_goes_through_the_text_of_another(marks: list[tuple[float, str]]) -> None:
    texts = [_Text(place, words, lined=True) for place, words in marks]
    rows = _rows(texts)
    for one, row in zip(texts, rows, strict=True):
        for other, under in zip(texts, rows, strict=True):
            if under > row and abs(one.place - other.place) > 0.02:
                left, right = _span(one)
                assert not left + 0.02 < other.place < right - 0.02


def test_one_value_without_a_range_is_a_bar_alone() -> None:
    page = interval_html(Interval("Heat", "kW", (0.0,), (), signed=False))
    assert _places(page, "median")
    assert not _places(page, "ninety")
