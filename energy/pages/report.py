"""The report: an answer as one self-contained HTML file, to read anywhere, print, and keep.

Its first page, A4 or Letter, holds verdict, range, energy flow, limits, largest uncertainties and cautions; behind it
an appendix has numbers, pictures, ledger, defaults with sources, the scenario itself. All texts of the user are
escaped; the file loads nothing from anywhere and runs no script.
"""

from __future__ import annotations

import base64
import importlib.metadata
import re
from dataclasses import dataclass

from markupsafe import Markup

from energy.chain.answer import Answered
from energy.pages.templates import filled
from energy.pictures import interval, price
from energy.pictures.answer import operating_line
from energy.pictures.base import Picture
from energy.pictures.flow import flow_picture
from energy.pictures.interval import interval_html
from energy.pictures.over_speed import pictures_over_speed
from energy.pictures.palette import FONT, LIGHT, declared
from energy.pictures.price import bars_html, limits_html
from energy.scenario.bundle import Bundle, to_zip
from energy.words import answer as answer_words
from energy.words.cautions import cautions, pressing_cautions
from energy.words.first import cards, largest_limits
from energy.words.interval import main_interval
from energy.words.next_question import next_questions
from energy.words.price import prices_of_heat
from energy.words.verdict import verdict as verdict_of
from vehicle.units import UnitSystem


@dataclass(frozen=True)
class _Figure:
    """A picture's finding and its drawing."""

    title: str
    svg: Markup


def report_page(answered: Answered, system: UnitSystem, bundle: Bundle) -> str:
    """Return the report of an answer as HTML; `bundle` is the scenario that was answered, attached as text and zip."""
    flow = flow_picture(answered, system)
    behind = [*pictures_over_speed(answered, system), *operating_line(answered, system)]
    verdict, prices = verdict_of(answered, system), prices_of_heat(answered, system)
    return filled(
        "report.html",
        title=answered.scenario.title or "windtoll report",
        style=Markup(_style()),
        verdict=verdict,
        strip=Markup(interval_html(main_interval(answered, system), outcome=verdict.word)),
        cards=cards(answered, system),
        prices=Markup(bars_html(prices)) if prices else "",
        flow=_figure(flow),
        limits=Markup(limits_html(largest_limits(answered, system))),
        doubts=answer_words.largest_uncertainties(answered, system),
        next=[question.why for question in next_questions(answered, verdict)],
        pressing=pressing_cautions(answered, system),
        figures=[_figure(picture) for picture in behind],
        cautions=cautions(answered, system),
        numbers=answer_words.key_numbers(answered, system),
        sure=answer_words.sure_rows(answered, system),
        rotor=answer_words.rotor_sentence(answered, system),
        ledger=answer_words.ledger_lines(answered, system),
        others=answer_words.other_lines(answered, system),
        assumed=[answer_words.assumption_words(entry, system) for entry in answer_words.assumptions(answered)],
        zipped=base64.b64encode(to_zip(bundle)).decode(),
        names=", ".join(["scenario.toml", *bundle.names()]),
        scenario=bundle.text,
        version=_version(),
    )


def _style() -> str:
    """Return the colours, on paper the light ones, with the styles of what is drawn as HTML."""
    return f":root {{ {declared(LIGHT)} --wt-font: {FONT}; }} {interval.STYLE} {price.STYLE}"


def _figure(picture: Picture) -> _Figure:
    svg = picture.svg().decode()
    # Identifiers of clip paths and the like are numbered anew in every drawing: keep those of one page apart.
    own = re.sub(r'(id="|url\(#|href="#)', rf"\g<1>{picture.name}-", svg)
    return _Figure(picture.title, Markup(own))


def _version() -> str:
    try:
        return importlib.metadata.version("windtoll")
    except importlib.metadata.PackageNotFoundError:  # run from a checkout that was not installed
        return "(not installed)"
