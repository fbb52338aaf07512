"""The app's frame: which scenario, which units, which question."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import streamlit as st

from energy.scenario import bundle as bundles
from energy.screens import catalogue, desk, look, page
from energy.screens.catalogue import Screen
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
    st.html(page.STYLE)
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
    chosen = st.navigation([*pages.values(), again], position="hidden")
    with st.sidebar:
        _questions(pages)
        _scenario()
        _units()
    invitation = st.empty()  # its place stays when it goes: else all below is drawn anew, and a slider loses the focus
    if chosen.title != pages["scenario"].title:
        _invite(invitation, pages["scenario"])
    st.session_state["pages"] = pages  # what screens link to
    chosen.run()
    place = next(screen.place for screen in catalogue.SCREENS if screen.question == chosen.title)
    if place not in _HAS_ITS_OWN_NEXT:
        page.next_steps(_latest_answer(), place)
    st.html(
        '<p class="wt-note">Estimates for planning: no structural, electrical or roadworthiness approval. Nothing '
        "leaves "
        "this machine.</p>"
    )


def warm_up() -> None:
    """Import what the first screen shows, and answer its demo: both are then at hand for every session."""
    from energy.screens import fuel

    first = desk.demos()[desk.FIRST_DEMO]
    desk.told_of(first)
    fuel.pictures_of(first, "metric")


def _invite(place: DeltaGenerator, page_of_scenario: Any) -> None:
    """Link to where a scenario is put in, while what is open is a demo, or guesses stand in it."""
    guesses = len(desk.guesses())
    if desk.is_demo():
        place.page_link(page_of_scenario, label="An invented demo is open: put in your own")
    elif guesses:
        words = "1 value is" if guesses == 1 else f"{guesses} values are"
        place.page_link(page_of_scenario, label=f"{words} still a guess: put in your own")


def _shown(screen: Screen) -> Callable[[], None]:
    """Return a function that shows a screen and imports its module only then."""

    def shown() -> None:
        screen.shows()()

    return shown


def _questions(pages: dict[str, Any]) -> None:
    """Link the screens by groups. Streamlit's own list of groups is no list to a screen reader."""
    group = ""
    for screen in catalogue.SCREENS:
        if screen.group != group:
            group = screen.group
            page.finding(group)
        st.page_link(pages[screen.place], label=screen.question)


def _latest_answer() -> Answered:
    """Return the answer with its range where it is at hand, else that of the values as exact."""
    work = desk.work()
    return desk.told_of.held(work.usable) or work.told


def _units() -> None:
    if "system_choice" not in st.session_state:
        st.session_state["system_choice"] = desk.system()

    def change() -> None:
        st.session_state["system"] = st.session_state["system_choice"]
        desk.renew()

    st.radio("Units", UNIT_SYSTEMS, key="system_choice", on_change=change, format_func=_UNIT_WORDS.__getitem__)


def _scenario() -> None:
    page.finding("Your scenario")
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
    st.button("Revert to loaded", on_click=_undo, disabled=not changed, width="stretch")
    earlier = desk.before()
    if earlier is not None:
        st.button("Back to the one before", on_click=desk.load, args=(earlier,), width="stretch", key="one before")
    with st.expander("Open a file, or start from a demo"):
        _bring_back()
        names = list(desk.demos())
        demo = st.selectbox("Demo (invented)", names, format_func=desk.demo_title, key="demo")
        st.button("Start from this demo", on_click=lambda: desk.load(desk.demos()[demo]), width="stretch")


def _undo() -> None:
    desk.put(desk.loaded())
    desk.renew()


def _bring_back() -> None:
    uploads = st.file_uploader(
        "The zip, or scenario.toml with its CSV files",
        type=["zip", "toml", "csv"],
        accept_multiple_files=True,
        key=desk.field_key("uploads"),
    )
    if st.button("Open it", disabled=not uploads, width="stretch"):
        try:
            found = bundles.from_uploads([(upload.name, upload.getvalue()) for upload in uploads])
        except InputError as error:
            page.problem_list([str(problem) for problem in error.problems], "Nothing was taken")
            return
        desk.load(found)
        st.rerun()
