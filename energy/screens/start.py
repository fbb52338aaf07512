"""The app's frame: which scenario, which units, which question."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import streamlit as st

from energy.scenario import bundle as bundles
from energy.screens import catalogue, desk, look, mine, page, shell
from energy.screens.catalogue import Screen
from energy.words import screens as screen_words
from vehicle.problems import InputError
from vehicle.units import UNIT_SYSTEMS

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

    from energy.chain.answer import Answered

_HAS_ITS_OWN_NEXT = {"fuel"}  # higher up, beside the answer
_UNIT_WORDS = {"metric": "metric (km/h, N, L)", "us": "US (mph, lbf, gal)", "uk": "UK (mph, N, mpg)"}


def run() -> None:
    """Show the app: the sidebar, then the screen that was asked for."""
    st.set_page_config(page_title="windtoll", page_icon=look.MARK, layout="wide", initial_sidebar_state="auto")
    st.html(page.STYLE + shell.style())
    st.logo(look.LOGO, size="large", icon_image=look.LOGO)
    desk.start()
    first = catalogue.SCREENS[0]
    pages = {
        screen.place: st.Page(_shown(screen), title=screen.question, url_path=screen.place)
        for screen in catalogue.SCREENS
    }
    pages[first.place] = st.Page(_shown(first), title=first.question, url_path="start", default=True)
    # The default page stands at the root of the address only; this one lets it be written like the others.
    again = st.Page(_shown(first), title=first.question, url_path=first.place)
    listed = st.Page(_works(pages[first.place]), title=mine.HEADING, url_path="works")
    chosen = st.navigation([*pages.values(), again, listed], position="hidden")
    desk.look_at(chosen.title)
    mine.bar()
    with st.sidebar:
        _questions(pages, chosen.title)
        page.finding("Your scenario")
        _link(listed, mine.HEADING, chosen.title)
        _scenario(listed)
        _units()
    mine.notices()
    mine.watch()
    invitation = st.empty()  # its place stays when it goes: else all below is drawn anew, and a slider loses the focus
    if chosen.title not in (pages["scenario"].title, mine.HEADING):
        _invite(invitation, pages["scenario"])
    st.session_state["pages"] = pages  # what screens link to
    chosen.run()
    place = next((screen.place for screen in catalogue.SCREENS if screen.question == chosen.title), "")
    if place and place not in _HAS_ITS_OWN_NEXT:
        page.next_steps(_latest_answer(), place)
    st.html(f'<p class="wt-note">{page.escape(screen_words.ESTIMATES)}</p>')
    desk.drawn()


def warm_up() -> None:
    """Import what the first screen shows, and answer its demo: both are then at hand for every session."""
    from energy.screens import fuel

    first = desk.demos()[desk.FIRST_DEMO]
    desk.answered_of(first)
    fuel.pictures_of(first, "metric")


def _invite(place: DeltaGenerator, page_of_scenario: Any) -> None:
    """Link to where a scenario is put in, while what is open is a demo, or guesses stand in it."""
    guesses = len(desk.guesses())
    if desk.is_demo():
        place.page_link(page_of_scenario, label=screen_words.DEMO_IS_OPEN, query_params=desk.address())
    elif guesses:
        words = "1 value is" if guesses == 1 else f"{guesses} values are"
        label = f"{words} still a guess: put in your own"
        place.page_link(page_of_scenario, label=label, query_params=desk.address())


def _shown(screen: Screen) -> Callable[[], None]:
    """Return a function that shows a screen and imports its module only then."""

    def shown() -> None:
        screen.shows()()

    return shown


def _works(first: Any) -> Callable[[], None]:
    def shown() -> None:
        mine.show(first)

    return shown


def _link(target: Any, words: str, here: str) -> None:
    """Link a screen; the one that is shown is marked instead."""
    if words == here:
        st.html(f'<p class="wt-here" aria-current="page">{page.escape(words)}</p>')
    else:
        st.page_link(target, label=words, query_params=desk.address())


def _questions(pages: dict[str, Any], here: str) -> None:
    """Link the screens by groups. Streamlit's own list of groups is no list to a screen reader."""
    group = ""
    for screen in catalogue.SCREENS:
        if screen.group != group:
            group = screen.group
            page.finding(group)
        _link(pages[screen.place], screen.question, here)


def _latest_answer() -> Answered:
    """Return the answer with its range where it is at hand, else that of the values as exact."""
    work = desk.work()
    return desk.answered_of.held(work.usable) or work.answered


def _units() -> None:
    key = "system_choice"
    if st.session_state.get(key) != desk.system():
        st.session_state[key] = desk.system()

    def change() -> None:
        desk.choose_system(st.session_state[key])

    st.radio(
        "Units",
        UNIT_SYSTEMS,
        desk.stands_in(key, UNIT_SYSTEMS),
        key=key,
        on_change=desk.if_drawn(change),
        format_func=_UNIT_WORDS.__getitem__,
    )


def _scenario(listed: Any) -> None:
    held = desk.bundle()  # what is made when it is asked for has no session to look into
    changed = held != desk.loaded()
    st.download_button(
        "Download it (zip: scenario.toml and its CSV files)",
        data=lambda: bundles.to_zip(held),
        file_name="windtoll_scenario.zip",
        mime="application/zip",
        key="take zip",
        on_click="ignore",
        width="stretch",
    )
    st.download_button(
        "Take only scenario.toml",
        data=lambda: held.text.encode(),
        file_name=bundles.SCENARIO_NAME,
        mime="application/toml",
        key="take toml",
        on_click="ignore",
        width="stretch",
    )
    st.button("Revert to loaded", on_click=desk.revert, disabled=not changed, width="stretch")
    with st.expander("Open a file, or start from a demo"):
        _open_files()
        names = list(desk.demos())
        st.page_link(listed, label=screen_words.GALLERY, query_params=desk.address())
        demo = st.selectbox("Demo (invented)", names, format_func=desk.demo_title, key="demo")
        st.button("Start from this demo", on_click=desk.open_demo, args=(demo,), width="stretch")


def _open_files() -> None:
    uploads = st.file_uploader(
        "The zip, or scenario.toml with its CSV files",
        type=["zip", "toml", "csv"],
        accept_multiple_files=True,
        key=desk.field_key("uploads"),
    )
    if st.button("Open it", disabled=not uploads, width="stretch"):
        try:
            bundle = bundles.from_uploads([(upload.name, upload.getvalue()) for upload in uploads])
        except InputError as error:
            page.problem_list([str(problem) for problem in error.problems], "Nothing was opened")
            return
        desk.load(bundle)
        st.rerun()
