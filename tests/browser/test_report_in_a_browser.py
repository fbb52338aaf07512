"""The report's first page is one page, on A4 and on Letter, whatever is answered."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from energy.chain.answer import answered
from energy.chain.load import opened
from energy.pages.report import report_page
from energy.scenario import bundle as bundles

pytestmark = pytest.mark.usefixtures("few_draws")  # how wide a range is moves no line

_PX_PER_MM = 96 / 25.4  # CSS pixels (CSS Values and Units, section 6.2)
_MARGIN_MM = 11
_SHEETS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # mm; ISO 216, ANSI/ASME Y14.1 size A


@pytest.fixture
def reader(browser: Any) -> Iterator[Any]:
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.emulate_media(media="print")
    yield page
    context.close()


@pytest.mark.parametrize(
    ("demo", "changed"),
    [
        ("van_water_tank", {}),
        ("van_water_tank", {"trip.road_speed": "130 km/h"}),  # over several limits
        ("pickup_drying_box", {}),
        ("parked_on_a_ridge", {}),
        ("camper_oven", {}),
        ("van_in_town", {}),
    ],
)
def test_the_first_page_is_one_page(
    reader: Any, demos: Path, tmp_path: Path, demo: str, changed: dict[str, str]
) -> None:
    bundle = bundles.from_folder(demos / demo / "scenario.toml")
    for key, value in changed.items():
        bundle = bundles.with_value(bundle, key, value)
    told = answered(opened(bundle))
    target = tmp_path / "report.html"
    target.write_text(report_page(told, "metric", bundle), encoding="utf-8")
    reader.goto(target.as_uri())
    for name, (wide, high) in _SHEETS.items():
        width, height = ((side - 2 * _MARGIN_MM) * _PX_PER_MM for side in (wide, high))
        reader.set_viewport_size({"width": int(width), "height": int(height)})
        box = reader.locator(".first").bounding_box()
        assert box["height"] <= height, name
        assert reader.evaluate("document.documentElement.scrollWidth") <= int(width), name
        assert reader.evaluate("getComputedStyle(document.querySelector('.first')).breakAfter") == "page"
    first = reader.locator(".first").inner_text()
    for heading in ("Where the energy goes", "Limits", "What to check next", "Cautions"):
        assert heading in first
    assert reader.locator(".first .wt-strip").count() == 1
    assert reader.locator(".first .wt-bars").first.is_visible()
    assert "Appendix" not in first
    if changed:
        assert reader.locator(".first .danger").inner_text().startswith("Do not operate.")
        top = reader.locator(".first .danger").bounding_box()["y"]
        assert top < reader.locator(".first .verdict").bounding_box()["y"]
