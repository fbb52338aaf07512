"""Does it save or cost fuel? The verdict, the flow of energy, fuel over road speed, the ledger."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from energy.pictures.base import Picture
from energy.pictures.flow import flow_picture
from energy.pictures.interval import interval_html
from energy.pictures.over_speed import pictures_over_speed
from energy.pictures.price import price_of_heat
from energy.scenario.bundle import Bundle
from energy.screens import desk, dials, page, tour, waiting
from energy.words import answer as report
from energy.words import screens as screen_words
from energy.words.cautions import cautions
from energy.words.interval import main_interval
from energy.words.terms import TERMS, drawing
from energy.words.verdict import verdict as verdict_of
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.answer import Answered


@waiting.drawn
def _flow(bundle: Bundle, system: UnitSystem, difference: bool) -> Picture:
    return flow_picture(desk.nominal_of(bundle), system, difference=difference)


@waiting.drawn
def _over_speed(bundle: Bundle, system: UnitSystem) -> tuple[Picture, Picture]:
    return pictures_over_speed(desk.answered_of(bundle), system)


def pictures_of(bundle: Bundle, system: UnitSystem) -> tuple[Picture, ...]:
    """Return the screen's pictures of a bundle, kept for the next time they are asked for."""
    return _flow(bundle, system, True), *_over_speed(bundle, system)


def _first(answered: Answered, system: UnitSystem) -> str:
    """Return what stands under the verdict: its range as a picture, and three numbers."""
    shown = interval_html(main_interval(answered, system), outcome=verdict_of(answered, system).word)
    return shown + page.cards_html(answered, system)


def show() -> None:
    """Show the screen: first what is quick, then the verdict's interval and what rests on it."""
    work, system = desk.work(), desk.system()
    surely = page.verdict(work, screen_words.QUESTIONS["fuel"], lambda answered: _first(answered, system))
    next_steps = st.container()
    with st.container():  # always there: what comes after it keeps its place, and so the focus, when the tour goes
        tour.show()
    with st.container(border=True):
        dials.show(work)
    left, right = st.columns([370, 500], gap="large")
    with left:
        whole = st.toggle("show the whole trip, not the change", key="whole trip")
        page.picture(
            _flow(work.usable, system, not whole),
            screen_words.WIDTHS_TO_SCALE,
        )
    answered = surely()
    with next_steps:
        page.next_steps(answered, "fuel")
        page.link("evidence")
    with right:
        page.finding("The numbers that matter")
        page.table(("", ""), report.key_numbers(answered, system), caption="The numbers that matter")
        if answered.spread is not None:
            st.html(f'<p class="wt-note">{page.escape(screen_words.STATED_VALUES)}</p>')
    fuel, heat = _over_speed(work.usable, system)
    page.picture(fuel, screen_words.OVER_SPEED_NOTES[0])
    page.picture(heat, screen_words.OVER_SPEED_NOTES[1])
    if answered.spread is not None:
        page.finding("How sure it is")
        page.table(("", ""), report.sure_rows(answered, system), caption="How sure it is")
    page.cautions(cautions(answered, system))
    with st.expander("The ledger: every watt, without and with the turbine"):
        page.table(
            ("account", "row", "without, W", "working, W", "difference, W"),
            report.ledger_lines(answered, system),
            numbers=(2, 3, 4),
            caption="The ledger in watts",
        )
    with st.expander("The same heat from elsewhere"):
        price = price_of_heat(answered, system)
        if price is not None:
            page.finding(price.title)
            page.chart(price)
        page.table(
            ("source", "what it takes", "mind"),
            report.other_lines(answered, system),
            caption="The same heat from elsewhere",
        )
    with st.expander("What the words mean"):
        st.html(_terms())
    page.assumptions(work)
    page.report_button(work)


def _terms() -> str:
    """Return every term with its meaning, and its drawing where it has one."""
    entries = "".join(
        f"<dt><b>{page.escape(term)}</b></dt><dd>{page.escape(meaning)}{page.drawn_html(drawing(term))}</dd>"
        for term, meaning in TERMS.items()
    )
    return f"<dl>{entries}</dl>"
