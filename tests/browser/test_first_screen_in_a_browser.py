"""The first screen as a builder meets it: danger first, the answer without scrolling, in light and in dark."""

from __future__ import annotations

from itertools import combinations
from typing import Any

from browser_support import PHONE, open_screen, settled

from energy.pictures.palette import DARK, LIGHT

LAPTOP = {"width": 1366, "height": 768}
_RECTANGLES = """sel => [...document.querySelectorAll(sel)].map(e => {
  const r = e.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom] })"""


def _bottom(page: Any, selector: str) -> float:
    return max(float(rectangle[3]) for rectangle in page.evaluate(_RECTANGLES, selector))


def _answer_range_and_three_numbers_need_no_scrolling(page: Any, size: dict[str, int]) -> None:
    for selector in (".wt-loud", ".wt-strip", ".wt-card"):
        assert _bottom(page, selector) <= size["height"], selector
    assert page.locator(".wt-card").count() == 3
    height = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.wt-loud')).lineHeight)")
    loud = page.evaluate(_RECTANGLES, ".wt-loud")[0]
    assert loud[3] - loud[1] < 1.7 * height  # one line


def _texts_on_the_range_are_readable_and_apart(page: Any) -> None:
    page.get_by_text("What the words mean").click()
    drawing = page.get_by_role("img", name="A blade turned from the plane of rotation by the pitch")
    drawing.scroll_into_view_if_needed()  # the framework takes out SVG: it is drawn all the same
    assert drawing.bounding_box()["height"] == 60
    assert "svg+xml" in drawing.evaluate("e => getComputedStyle(e).maskImage")
    sizes = page.evaluate(
        "[...document.querySelectorAll('.wt-strip span, .wt-card p, .wt-bars span')]"
        ".map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= 14
    texts = page.evaluate(_RECTANGLES, ".wt-strip span")
    assert len(texts) >= 5
    assert min(text[0] for text in texts) >= 0
    assert max(text[2] for text in texts) <= PHONE["width"]
    for one, other in combinations(texts, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] + 1 or other[3] <= one[1] + 1
        assert apart, (one, other)


def _danger_stands_before_the_answer(page: Any) -> None:
    slider = page.get_by_role("slider", name="road speed, km/h")
    slider.focus()
    slider.press("End")
    page.wait_for_selector(".wt-danger")
    settled(page)
    danger, loud = (page.evaluate(_RECTANGLES, s)[0] for s in (".wt-danger", ".wt-loud"))
    assert danger[3] <= loud[1]
    assert page.locator(".wt-danger").inner_text().startswith("Do not operate.")
    sizes = page.evaluate(
        "['.wt-danger p', '.wt-loud'].map(s => parseFloat(getComputedStyle(document.querySelector(s)).fontSize))"
    )
    assert sizes[0] >= 20
    first = page.locator(".wt-next").first.inner_text()
    assert first.startswith("Over a limit")


def _rgb(colour: str) -> str:
    return f"rgb({', '.join(str(int(colour[k : k + 2], 16)) for k in (1, 3, 5))})"


def _page_range_and_charts_follow_the_theme(page: Any, palette: Any) -> None:
    page.wait_for_selector("[data-testid=stVegaLiteChart] svg text")
    found = page.evaluate(
        """() => { const c = (s, p) => getComputedStyle(document.querySelector(s))[p]; return {
        paper: c('[data-testid=stApp]', 'backgroundColor'), loud: c('.wt-loud', 'color'),
        card: c('.wt-card', 'backgroundColor'), fifty: c('.wt-strip .fifty', 'backgroundColor'),
        axis: c('[data-testid=stVegaLiteChart] svg .role-axis-label text', 'fill') } }"""
    )
    assert found == {
        "paper": _rgb(palette.paper),
        "loud": _rgb(palette.cost),
        "card": _rgb(palette.card),
        "fifty": _rgb(palette.cost),
        "axis": _rgb(palette.ink),
    }


def _one_or_two_next_questions_take_the_place_of_all(page: Any) -> None:
    main = page.locator("[data-testid=stMain]")
    assert "Other questions" not in main.inner_text()
    assert main.get_by_text("What to check next").count() == 1
    assert 1 <= main.locator(".wt-next").count() <= 2
    main.get_by_role("link", name="What must it withstand?").click()
    page.wait_for_function("document.querySelector('h1')?.innerText === 'What must it withstand?'")
    settled(page)
    assert "Other questions" not in main.inner_text()
    assert 1 <= main.locator(".wt-next").count() <= 2
    assert main.get_by_role("link", name="What must it withstand?").count() == 0  # not where one stands


def _logo_and_typeface_are_its_own_and_from_this_machine(page: Any) -> None:
    assert page.locator("[data-testid=stSidebar] img[data-testid=stSidebarLogo], img[data-testid=stLogo]").count() >= 1
    assert page.evaluate("document.fonts.ready.then(() => document.fonts.check('16px \"Atkinson Hyperlegible Next\"'))")
    loaded = page.evaluate(
        "[...document.fonts].filter(f => f.family.includes('Hyperlegible') && f.status === 'loaded').length"
    )
    assert loaded >= 1
    assert page.evaluate("getComputedStyle(document.querySelector('.wt-loud')).fontFamily").startswith('"Atkinson')


def _nothing_moves(page: Any) -> None:
    """As the visitor's system asks for it (WCAG 2.2, 2.3.3); that it moves for others: test_works_in_a_browser.py."""
    moving = page.evaluate(
        """[...document.querySelectorAll('*')].map(e => [e, getComputedStyle(e)])
        .filter(([e, s]) => s.animationName !== 'none' || s.transitionDuration.split(', ').some(t => t !== '0s'))
        .map(([e]) => e.outerHTML.slice(0, 100))"""
    )
    assert moving == []


# Most of the time goes into opening the screen: once on a laptop, in the light, and once on a phone, in the dark.


def test_on_a_laptop_the_answer_is_in_sight_with_its_own_looks_and_the_next_questions(page: Any, address: str) -> None:
    page.set_viewport_size(LAPTOP)
    open_screen(page, address)
    _answer_range_and_three_numbers_need_no_scrolling(page, LAPTOP)
    _page_range_and_charts_follow_the_theme(page, LIGHT)
    _logo_and_typeface_are_its_own_and_from_this_machine(page)
    _nothing_moves(page)
    _one_or_two_next_questions_take_the_place_of_all(page)  # the last: it leaves the screen


def test_on_a_phone_in_the_dark_answer_range_and_danger_are_in_sight_and_readable(page: Any, address: str) -> None:
    page.set_viewport_size(PHONE)
    page.emulate_media(color_scheme="dark")
    open_screen(page, address)
    _answer_range_and_three_numbers_need_no_scrolling(page, PHONE)
    _page_range_and_charts_follow_the_theme(page, DARK)
    _texts_on_the_range_are_readable_and_apart(page)
    _danger_stands_before_the_answer(page)  # the last: the answer is another one
