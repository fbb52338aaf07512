"""An evening's work is safe: it comes back after a reload, another browser and a new start; every step can be undone.

Own rules of the project, no source. Numbers are held against the command line's.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from browser_support import PHONE, open_screen, settled

from energy.screens import catalogue

QUESTIONS = {screen.place: screen.question for screen in catalogue.SCREENS}
SPEED = "road speed, km/h"
_WIND = "wind speed, km/h"
_GRADE = "grade (downhill below 0), %"


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


def _fill(page: Any, name: str, text: str) -> None:
    page.get_by_role("textbox", name=name, exact=True).fill(text)
    page.keyboard.press("Tab")
    settled(page)


def _begin_form(page: Any) -> None:
    mass = page.get_by_role("textbox", name="mass with load and people", exact=True)
    if not mass.is_visible():  # the form itself is open where a demo is
        page.get_by_text("What else do you know?").click()
    mass.wait_for()
    settled(page)


def _shown(page: Any, address: str) -> None:
    page.goto(address)
    page.wait_for_selector(".wt-verdict")
    settled(page)


def test_a_work_comes_back_after_reload_another_browser_and_a_new_start(
    page: Any, browser: Any, emptied: Any, demos: Path
) -> None:
    address = emptied.address
    _shown(page, address)
    _press(page, "ArrowRight")
    _to(page, "pitch")
    rows = (demos / "van_water_tank" / "measured.csv").read_bytes()
    upload = {"name": "mine.csv", "mimeType": "text/csv", "buffer": rows}
    page.locator("[data-testid=stMain] input[type=file]").set_input_files([upload])
    page.wait_for_selector("[data-testid=stMain] .wt-table")
    settled(page)
    _to(page, "size")
    _fill(page, "heat wanted", "1234")
    page.get_by_text("US (mph, lbf, gal)").click()
    page.wait_for_function("document.querySelector('h1') && document.body.innerText.includes('mph')")
    settled(page)
    named = page.url
    assert re.search(r"\?work=[0-9a-f]{10}$", named)

    def looked_at(page: Any) -> None:
        _shown(page, named)
        assert page.get_by_role("textbox", name="heat wanted", exact=True).input_value() == "1234"
        assert (
            page.locator("[data-testid=stSidebar] input[type=radio]:checked")
            .evaluate("e => e.closest('label').innerText")
            .startswith("US")
        )
        _to(page, "pitch")
        assert "In use: mine.csv, uploaded before." in page.locator("[data-testid=stMain]").inner_text()

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
        looked_at(second)
        _shown(second, address)  # no name in the address: the work that was changed last
        assert second.url == f"{address}/?work={named[-10:]}"
        assert round(1.609344 * _value(second, "road speed, mph")) == 101
        _click(second, "Undo")
        assert round(1.609344 * _value(second, "road speed, mph")) == 100
    finally:
        other.close()
    assert {p.name for p in emptied.works.iterdir()} == {named[-10:]}


# The lines of the answer, whatever stands with them on a screen.
_ANSWER = """[...document.querySelectorAll('.wt-verdict .wt-headline, .wt-verdict .wt-line')]
  .map(e => e.innerText.replace(/\\s+/g, ' ').trim()).join(' | ')"""


def test_every_change_is_a_step_to_undo_and_redo(page: Any, address: str) -> None:
    open_screen(page, address)
    steps = [page.evaluate(_ANSWER)]
    for key in ("ArrowRight", "ArrowRight", "Home"):
        _press(page, key)
        steps.append(page.evaluate(_ANSWER))
    _press(page, "ArrowRight", _WIND)
    steps.append(page.evaluate(_ANSWER))
    _to(page, "scenario")
    _fill(page, "ratio", "3.3")
    steps.append(page.evaluate(_ANSWER))
    _to(page, "fuel")  # where a step is drawn in a third of the time
    page.get_by_role("button", name="Revert to loaded").click()  # one step more
    page.wait_for_function(f"t => {_ANSWER} === t", arg=steps[0])
    settled(page)
    steps.append(page.evaluate(_ANSWER))
    assert steps[-1] == steps[0]
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
    _to(page, "scenario")
    assert _number(page, "ratio") == 2.5
    _click(page, "Undo")
    page.wait_for_function(f"t => {_ANSWER} === t", arg=steps[-2])
    settled(page)
    assert _number(page, "ratio") == 3.3


def test_back_in_the_browser_loses_no_change(page: Any, address: str) -> None:
    open_screen(page, address)
    _press(page, "ArrowRight")
    _to(page, "heat")
    for _ in range(2):
        page.go_back()
        settled(page)
    page.wait_for_selector(".wt-verdict")
    settled(page)
    assert page.get_by_role("heading", level=1).inner_text() == QUESTIONS["fuel"]
    assert "?work=" in page.url
    assert _value(page) == 101


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
    _click(second, "Undo")
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


@pytest.mark.parametrize(
    ("unit", "walk"),
    [
        # From each of the three screens to each other one, and over one that does not show the value.
        ("US (mph, lbf, gal)", ("plan", "fuel", "scenario", "plan", "rotor", "plan")),
        ("metric (km/h, N, L)", ("plan", "fuel", "scenario", "fuel", "plan")),
    ],
)
def test_one_value_stands_alike_on_every_screen_that_shows_it(
    page: Any, address: str, unit: str, walk: tuple[str, ...]
) -> None:
    open_screen(page, address)
    page.get_by_text(unit).click()
    settled(page)
    name = "road speed, mph" if unit.startswith("US") else SPEED
    _press(page, "ArrowRight", name)
    speed = _value(page, name)
    assert speed > 50
    others = {"wind speed": "wind speed, mph"} if unit.startswith("US") else {"wind speed": _WIND, "grade": _GRADE}
    moved = {}
    for field, label in others.items():
        _slider(page, label).press("ArrowRight")  # together they may leave the verdict's words as they were
        settled(page)
        moved[field] = _value(page, label)
        assert moved[field] != 0
    for place in walk:
        _to(page, place)
        if place in ("plan", "fuel"):
            assert _value(page, name) == pytest.approx(speed, abs=0.5), place
        if place == "fuel":
            assert [_value(page, label) for label in others.values()] == pytest.approx(list(moved.values()))
        elif place == "scenario":
            assert _number(page, "road speed") == pytest.approx(speed, abs=0.5)
            for field, value in moved.items():
                assert _number(page, field) == pytest.approx(value, abs=0.01)
            _fill(page, "road speed", f"{speed + 5:.0f}")
            speed += 5
            for field in others:
                _fill(page, field, "")
                moved[field] = 0
    _slider(page, name).press("ArrowRight")
    settled(page)
    _to(page, "fuel")
    assert _value(page, name) == pytest.approx(round(speed) + 1, abs=0.6)
    assert [_value(page, label) for label in others.values()] == pytest.approx(list(moved.values()))


def test_a_half_filled_form_stays_and_a_negative_mass_is_a_fault_at_its_field(page: Any, address: str) -> None:
    open_screen(page, address, "scenario")
    page.get_by_text("money", exact=True).click()  # fewer fields under the form: each step is drawn in half the time
    settled(page)
    _begin_form(page)
    _fill(page, "mass with load and people", "-5")
    fault = page.locator(".wt-problem").first.inner_text()
    assert "mass with load and people: -5 kg" in fault
    assert "above" in fault
    _click(page, "Show me the answer")
    told = page.locator(".wt-problem", has_text="This cannot be begun yet")
    told.first.wait_for()
    assert told.count() == 1
    _fill(page, "mass with load and people", "2150")
    _fill(page, "rotor diameter", "1.7")
    page.get_by_text("US (mph, lbf, gal)").click()
    settled(page)
    _to(page, "pitch")
    page.get_by_text("metric (km/h, N, L)").click()
    settled(page)
    _to(page, "scenario")
    _begin_form(page)
    for name, text in (("mass with load and people", "2150"), ("rotor diameter", "1.7")):
        assert page.get_by_role("textbox", name=name, exact=True).input_value() == text
    _click(page, "Show me the answer")
    page.wait_for_function("document.querySelector('.wt-title')?.innerText.startsWith('My ')")
    settled(page)
    # The blade of a begun scenario goes with its diameter; a field that was emptied keeps its unit.
    _fill(page, "diameter", "2")
    page.wait_for_selector("text=The textbook blade was scaled to the new diameter")
    assert page.locator(".wt-problem").count() == 0
    _fill(page, "diameter", "80 in")
    assert page.locator(".wt-problem").count() == 0
    _fill(page, "diameter", "")
    _fill(page, "diameter", "55")
    assert page.get_by_role("combobox", name="unit of diameter").input_value() == "in"
    _to(page, "pitch")
    _to(page, "scenario")  # the field is made anew from the scenario
    assert page.get_by_role("textbox", name="diameter", exact=True).input_value() == "55"
    assert page.get_by_role("combobox", name="unit of diameter").input_value() == "in"
    assert "PydanticUndefined" not in page.content()


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
