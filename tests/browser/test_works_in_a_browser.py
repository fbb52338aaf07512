"""An evening's work is safe: it comes back after a reload, another browser and a new start; every step can be undone.

Own rules of the project, no source. Numbers are held against the command line's.
"""

from __future__ import annotations

import re
from typing import Any

from browser_support import PHONE, open_screen, settled

from energy.screens import catalogue

QUESTIONS = {screen.place: screen.question for screen in catalogue.SCREENS}
SPEED = "road speed, km/h"
_WIND = "wind speed, km/h"


def _slider(page: Any, name: str = SPEED) -> Any:
    return page.get_by_role("slider", name=name)


def _value(page: Any, name: str = SPEED) -> float:
    return float(_slider(page, name).input_value())


def _press(page: Any, key: str, name: str = SPEED) -> None:
    """Press a key on a slider, and wait for the new verdict."""
    before = page.locator(".wt-verdict").first.inner_text()
    _slider(page, name).press(key)
    page.wait_for_function(
        "b => ![undefined, b].includes(document.querySelector('.wt-verdict')?.innerText)", arg=before
    )
    settled(page)


def _to(page: Any, place: str) -> None:
    """Choose a screen in the sidebar."""
    words = QUESTIONS.get(place, "Your works")
    page.get_by_test_id("stSidebar").get_by_role("link", name=words, exact=True).click()
    page.wait_for_function("q => document.querySelector('h1')?.innerText.trim() === q", arg=words)
    settled(page)


def _number(page: Any, name: str) -> float:
    """Return the number in a field of the scenario."""
    return float(page.get_by_role("textbox", name=name, exact=True).input_value())


def _click(page: Any, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).first.click()
    settled(page)


def _undo(page: Any, slider: str = SPEED) -> None:
    """Undo what was done to a slider, and wait until it has moved."""
    from playwright.sync_api import expect

    before = _slider(page, slider).input_value()
    _click(page, "Undo")
    expect(_slider(page, slider)).not_to_have_value(before, timeout=60_000)
    settled(page)


def _fill(page: Any, name: str, text: str) -> None:
    page.get_by_role("textbox", name=name, exact=True).fill(text)
    page.keyboard.press("Tab")
    settled(page)


def _shown(page: Any, address: str) -> None:
    page.goto(address)
    page.wait_for_selector(".wt-verdict")
    settled(page)


def test_a_work_comes_back_after_reload_another_browser_and_a_new_start(page: Any, browser: Any, emptied: Any) -> None:
    """What of it comes back, value by value, typed and uploaded: tests/energy/screens/test_one_session.py."""
    address = emptied.address
    _shown(page, address)
    _press(page, "ArrowRight")
    page.get_by_text("US (mph, lbf, gal)").click()
    page.wait_for_function("document.querySelector('.wt-verdict')?.innerText.includes('mph')")
    settled(page)
    named = page.url
    assert re.search(r"\?work=[0-9a-f]{10}$", named)

    def looked_at(page: Any) -> None:
        page.wait_for_selector(".wt-verdict")
        settled(page)
        assert page.url == named
        assert (
            page.locator("[data-testid=stSidebar] input[type=radio]:checked")
            .evaluate("e => e.closest('label').innerText")
            .startswith("US")
        )
        assert round(1.609344 * _value(page, "road speed, mph")) == 101

    page.reload()
    looked_at(page)
    emptied.stop()
    page.wait_for_selector("#wt-ended")
    said = page.locator("#wt-ended").inner_text()
    assert said.startswith("windtoll has ended")
    assert page.locator("[role=dialog]:visible").count() == 0
    assert "connected to the internet" not in page.evaluate(
        "[...document.querySelectorAll('body *')].filter(e => e.checkVisibility()).map(e => e.innerText).join(' ')"
    )
    emptied.start()
    page.wait_for_selector("#wt-ended", state="detached")
    page.goto("about:blank")
    other = browser.new_context(viewport={"width": 1280, "height": 900})
    try:
        second = other.new_page()
        second.goto(address)  # no name in the address: the work that was changed last
        looked_at(second)
        _undo(second, "road speed, mph")
        assert round(1.609344 * _value(second, "road speed, mph")) == 100
    finally:
        other.close()
    assert {p.name for p in emptied.works.iterdir()} == {named[-10:]}


# The lines of the answer, whatever stands with them on a screen.
_ANSWER = """[...document.querySelectorAll('.wt-verdict .wt-headline, .wt-verdict .wt-line')]
  .map(e => e.innerText.replace(/\\s+/g, ' ').trim()).join(' | ')"""


def test_changes_are_steps_to_undo_and_redo_also_after_a_reload(page: Any, address: str) -> None:
    """Six of them, on two screens, and what is reverted: tests/energy/screens/test_one_session.py."""
    open_screen(page, address)
    steps = [page.evaluate(_ANSWER)]
    _press(page, "ArrowRight")
    steps.append(page.evaluate(_ANSWER))
    page.get_by_role("button", name="Revert to loaded").click()  # one step more
    page.wait_for_function(f"t => {_ANSWER} === t", arg=steps[0])
    steps.append(steps[0])
    settled(page)
    page.reload()  # the steps are saved with the work
    page.wait_for_selector(".wt-verdict")
    settled(page)
    for expected in reversed(steps[:-1]):
        _click(page, "Undo")
        page.wait_for_function(f"t => {_ANSWER} === t", arg=expected)
    assert page.get_by_role("button", name="Undo", exact=True).is_disabled()
    for expected in steps[1:]:
        _click(page, "Redo")
        page.wait_for_function(f"t => {_ANSWER} === t", arg=expected)
    assert page.get_by_role("button", name="Redo", exact=True).is_disabled()


def test_two_tabs_on_one_work_the_later_change_wins_and_the_other_says_so(page: Any, address: str) -> None:
    open_screen(page, address)
    _press(page, "ArrowRight")
    second = page.context.new_page()
    _shown(second, page.url)
    assert _value(second) == 101
    _press(second, "ArrowRight")
    _press(second, "ArrowRight", _WIND)
    page.wait_for_selector("text=This work was changed in another tab.")
    assert _value(page) == 101
    page.bring_to_front()
    _press(page, "ArrowLeft")  # the later change wins; what the other tab changed of other values stays
    said = page.locator("[data-testid=stMain]").inner_text()
    assert "changed in another tab; you see it as it stands since then" in said
    assert (_value(page), _value(page, _WIND)) == (100, 1)
    second.bring_to_front()
    second.wait_for_selector("text=This work was changed in another tab.")
    second.get_by_role("button", name="Show it as it stands").click()
    second.wait_for_selector("text=Show it as it stands", state="detached")
    settled(second)
    assert (_value(second), _value(second, _WIND)) == (100, 1)
    _undo(second)
    assert _value(second) == 102
    second.close()


_HOSTILE = (
    "work=../../../../etc/passwd",
    "work=..%2F..%2Fetc",
    "work=",
    "work=zzzzzzzzzz",
    "demo=../../etc",
    "work=%00",
)


def test_a_hostile_address_opens_nothing_and_is_named(page: Any, address: str) -> None:
    """Each address in a session of its own: tests/energy/screens/test_screens.py."""
    said = set()
    for asked in _HOSTILE:
        if page.url == "about:blank":
            _shown(page, f"{address}/?{asked}")
        else:  # as Back and Forward come to an address: the page stays, the app is asked anew
            page.evaluate(
                "asked => { history.pushState(null, '', '/?' + asked); dispatchEvent(new Event('popstate')) }", asked
            )
        page.wait_for_url("**/?demo=van_water_tank")
        settled(page)
        notice = page.locator(".wt-notice").first.inner_text()
        assert notice.startswith("work zzzzzzzzzz: " if "zzz" in asked else "address: "), asked
        assert page.locator("[data-testid=stException]").count() == 0
        said.add(notice)
    assert len(said) == len(_HOSTILE)  # none was left over from the one before


def test_works_are_listed_renamed_duplicated_deleted_and_restored(page: Any, emptied: Any) -> None:
    works = emptied.works
    _shown(page, emptied.address)
    _press(page, "ArrowRight")
    _to(page, "works")
    hostile = '<img src=x onerror="alert(1)"> **bold** [x](http://x)'
    page.get_by_role("button", name="Rename").click()
    page.get_by_role("textbox", name=re.compile("^new name of")).fill(hostile)
    page.keyboard.press("Enter")
    page.wait_for_function("t => document.querySelector('.wt-work')?.innerText.startsWith(t)", arg=hostile[:70])
    settled(page)
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Duplicate").click()
    page.wait_for_function("document.querySelectorAll('.wt-work').length === 2")
    settled(page)
    (works / "damaged1").mkdir()
    (works / "damaged1" / "work.json").write_bytes(b"\x80\x04\x95")
    page.get_by_role("button", name="Delete").last.click()
    page.wait_for_selector("text=Undo: restore it")
    settled(page)
    assert page.locator(".wt-problem li").all_inner_texts() == [
        f"work damaged1: {works / 'damaged1' / 'work.json'}: is damaged; accepted: a file that windtoll wrote"
    ]
    page.get_by_role("button", name="Undo: restore it").click()
    page.wait_for_selector("text=Undo: restore it", state="detached")
    settled(page)
    names = page.locator(".wt-work").all_inner_texts()
    assert sorted(len(name) > 20 for name in names) == [True, True]
    assert page.locator(".wt-demo").count() == page.locator(".wt-bars").count() == 5  # every demo with its picture
    page.get_by_role("link", name=re.compile("^Open .*copy")).first.click()
    page.wait_for_selector(".wt-verdict")
    settled(page)
    assert _value(page) == 101


def test_one_value_stands_alike_on_every_screen_that_shows_it_and_back_in_the_browser(page: Any, address: str) -> None:
    """More ways between the screens, in two systems of units: tests/energy/screens/test_one_session.py."""
    open_screen(page, address)
    _press(page, "ArrowRight")
    _to(page, "plan")
    assert _value(page) == 101
    for _ in range(2):  # Back, to where it was still a demo: no change is lost
        page.go_back()
        settled(page)
    page.wait_for_selector(".wt-verdict")
    settled(page)
    assert page.get_by_role("heading", level=1).inner_text() == QUESTIONS["fuel"]
    assert "?work=" in page.url
    assert _value(page) == 101
    _to(page, "scenario")
    assert _number(page, "road speed") == 101
    _fill(page, "road speed", "106")
    _to(page, "plan")
    assert _value(page) == 106
    _slider(page, SPEED).press("ArrowRight")
    settled(page)
    _to(page, "fuel")
    assert _value(page) == 107


_RINGS = """() => { const e = document.activeElement; const ringed = [e, e.parentElement, e.closest('label'),
  e.closest('[data-baseweb]'), e.closest('[data-testid=stFileUploaderDropzone]'),
  [...document.querySelectorAll('div')].find(d => d.matches(':focus-within') &&
    d.querySelector(':scope > [data-testid=stSliderThumbValue]'))];
  const seen = ringed.some(r => r && (parseFloat(getComputedStyle(r).outlineWidth) >= 2
    && getComputedStyle(r).outlineStyle !== 'none' || getComputedStyle(r).boxShadow !== 'none'
    && getComputedStyle(r).boxShadow.includes('px')));
  return [seen, e.tagName + ' ' + (e.getAttribute('aria-label') || e.innerText || e.id).slice(0, 60)]; }"""


def test_a_ring_shows_where_the_keyboard_is_and_the_new_screen_takes_the_focus(page: Any, address: str) -> None:
    open_screen(page, address)
    without = []
    for _ in range(45):
        page.keyboard.press("Tab")
        seen, name = page.evaluate(_RINGS)
        if not seen and not name.startswith("BODY"):
            without.append(name)
    assert without == []
    link = page.get_by_test_id("stSidebar").get_by_role("link", name=QUESTIONS["heat"], exact=True)
    link.focus()
    page.keyboard.press("Enter")
    wanted = f"H1 {QUESTIONS['heat']}"
    page.wait_for_function(
        "q => `${document.activeElement.tagName} ${document.activeElement.innerText.trim()}` === q", arg=wanted
    )
    here = page.locator("[data-testid=stSidebar] [aria-current=page]")
    assert here.inner_text() == QUESTIONS["heat"]


_SMALL = """() => [...document.querySelectorAll('a, button, summary, [role=combobox], label:has(input[type=radio]),' +
  'label:has(input[type=checkbox])')].filter(e => e.checkVisibility({visibilityProperty: true})
  && e.getBoundingClientRect().width > 2 && !e.closest('[data-testid=stElementToolbar]')
  && e.getAttribute('data-testid') !== 'stSkipToContent')
  .map(e => [(e.getAttribute('role') === 'combobox' ? e.parentElement : e).getBoundingClientRect().height,
    e.tagName + ' ' + (e.innerText || e.ariaLabel || '').slice(0, 50)])
  .filter(([height]) => height < 43.5)"""


def test_on_a_phone_the_list_closes_rows_are_for_fingers_and_the_answer_is_in_sight(browser: Any, address: str) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True, reduced_motion="no-preference")
    try:
        page = context.new_page()
        open_screen(page, address, "heat")
        slides = "getComputedStyle(document.querySelector('[data-testid=stSidebar]')).transitionDuration"
        assert page.evaluate(slides) != "0s"
        for place in ("fuel", "scenario", "plan", "setting"):
            page.get_by_test_id("stExpandSidebarButton").click()
            page.wait_for_selector("[data-testid=stSidebar][data-collapsed=false]")
            _to(page, place)
            page.wait_for_selector("[data-testid=stSidebar][data-collapsed=true]", state="attached")
            answer = page.locator(".wt-headline, p.wt-verdict").first.bounding_box()
            assert answer["y"] + answer["height"] < PHONE["height"], place
            assert page.evaluate(_SMALL) == [], place
            thumbs = page.evaluate(
                """() => [...document.querySelectorAll('div:has(> [data-testid=stSliderThumbValue])')].map(e =>
                parseFloat(getComputedStyle(e, '::after').height))"""
            )
            assert all(height >= 44 for height in thumbs), place
    finally:
        context.close()
